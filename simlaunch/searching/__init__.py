"""The search for the curve that is quickest within its limits.

Notes on what was decided, and why.

Where tyres spin, time is rough over the shape: many starts matter more than a fine local search, and a millisecond is
no promise. So heights are gone through one by one on a grid that closes in, then by differential evolution, then by
trials around the eight best points that lie apart. Launches run at 1e-4 (times off by 0.08 ms at most over 180 shapes
of three cars). The height that was found is then held longer, from an earlier start and to a later end, each by
launches. A limit is named alone only where lifting it saves more than counts as equal.
`tests/benchmarks/plateau_search.py` sets the search against a dense grid on ten cars.
"""
