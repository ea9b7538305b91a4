"""Figures of finished results; computes nothing."""
