"""Pure functions of launch physics, one phenomenon per file, SI units."""
