"""One launch: phases, hand-overs, and the run that turns numbers into a trace."""
