"""Decisions: what torque is worth, which plateau pays, how sure a difference is, what the parts take."""
