"""Steps, step control, events and dense output for ordinary differential equations."""
