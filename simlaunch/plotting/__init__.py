"""The common look of all figures, and how they are saved."""
