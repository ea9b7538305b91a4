"""Many launches: which curve on which gear set, final drive, tyre and surface.

A case is one value of every axis; cases are numbered, and number to case is a pure function (`plan`): mixed radix for
a grid, SciPy's Sobol (fast-forwarded) or Latin hypercube for a sample. A chunk is a run of neighbouring numbers,
calculated and written together.

Notes on what was decided, and why.

The file. A chunk and its rows are one transaction (WAL, `synchronous = FULL`), so that pulling the plug loses nothing
that was finished; nothing depends on an orderly end, and the tests kill the process (`SIMLAUNCH_TEST_KILLS=100` for
many times). What has to agree before a file is continued is one list in `store`. The digest of a file does not depend
on how results were cut into chunks, so it is what back ends are compared by. nan stands as NULL; there is one nan and
no negative zero, so equal results have equal bits. An error while a file is read is put down to the file only where
the file is damaged; else it is an internal error.

Workers name their version and the hash of their kernels with every result, and a stranger's result is never written.
The hash holds the processor's name too, since bits may differ between processors. When a worker dies, what was out is
given out again one chunk at a time, so that a chunk is blamed only for what it did alone; one that kills three times
ends the sweep.

Corner cases of a dry run are all corners, or a two-level design from a Hadamard matrix; up to half as many axes as
corners are named with its mirror image.
"""
