"""Words, tables and JSON of finished results; computes nothing."""
