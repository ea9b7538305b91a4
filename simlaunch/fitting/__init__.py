"""From measured runs to a scenario that agrees with them, and to how sure its values then are."""
