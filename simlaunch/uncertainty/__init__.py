"""Values that are not known exactly: how they are spread, drawn, and what they move.

Notes on what was decided, and why.

A case is a point of the unit cube: one coordinate for each uncertain value, two for `each curve by itself`. Both cars
are made from the same point, so that what they share drops out of the difference. Points are at least 16 independent
scramblings (Owen) of a Sobol sequence; the interval of a share is Student's t over the shares of the scramblings,
reaches 3 cases to either side at least (scramblings of a single value agree on their counts), and is Wilson's below 10
outcomes of one kind. Launches run at 2e-3: against 1e-6, times of four demonstration cars are off by 2 ms at most, and
the converter car sets that. A launch that cannot be followed is tried again at 1e-4 and 1e-6, and counts as `lost` if
that does not help. What decides comes from a polynomial of second degree, orthonormal over the drawn cases, whose
squared coefficients are Sobol indices (Sudret 2008); of lines, curves and products, the set that leaves least open when
each case is left out in turn is taken. It is left out where a case misses the target or values are drawn together
(correlation above one half).
"""
