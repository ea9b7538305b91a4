"""Tables and figures; computes nothing."""
