"""Full-load curves: read off, drawn through their peaks, raised in one band or in one gear."""
