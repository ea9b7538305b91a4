"""Tables and sentences of each command's answer, laid out for a terminal."""
