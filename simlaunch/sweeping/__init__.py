"""Many launches: which curve on which gear set, final drive, tyre and surface."""
