"""Text with a unit in, SI out; SI in, display text out."""
