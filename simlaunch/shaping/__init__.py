"""A page on this machine in which a full-load curve is shaped by hand and the answers follow at once."""
