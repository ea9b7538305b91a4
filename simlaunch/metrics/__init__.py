"""Trace to numbers: the definitions of everything that is reported."""
