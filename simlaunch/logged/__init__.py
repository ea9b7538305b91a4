"""What logged runs are worked out with."""
