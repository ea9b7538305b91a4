"""The studies, one file each, and what several of them share.

Notes on what was decided, and why.

Odds (`odds`, `draws`, `effects`). A case is a point of the unit cube: one coordinate for each uncertain value, two for
`each curve by itself`. Both cars are made from the same point, so that what they share drops out of the difference.
Points are at least 16 independent scramblings (Owen) of a Sobol sequence; the interval of a share is Student's t over
the shares of the scramblings, reaches 3 cases to either side at least (scramblings of a single value agree on their
counts), and is Wilson's below 10 outcomes of one kind. Launches run at 2e-3: against 1e-6, times of four demonstration
cars are off by 2 ms at most, and the converter car sets that. A launch that cannot be followed is tried again at 1e-4
and 1e-6, and counts as `lost` if that does not help. What decides comes from a polynomial of second degree,
orthonormal over the drawn cases, whose squared coefficients are Sobol indices (Sudret 2008); of lines, curves and
products, the set that leaves least open when each case is left out in turn is taken. It is left out where a case
misses the target or values are drawn together (correlation above one half).

Parts (`parts`, `peak_events`, `damage`, `demand`). `demand` holds the one rule for ratings, and every study asks it:
steady pull against the rating, the peak against the torque of expected failure. `plateau` leaves 0.2 % free, so that
its curve, written with rounded values, is never too much in `compare`. A slipping clutch is named as the cause of a
peak only where a launch with 3 % less capacity lowers the peak in the same event by half of that at least. Teeth are
loaded once a turn: damage of a gear is the integral of torque^slope over turns of the input shaft while it pulls, and
the gear with the most damage stands for the gearbox. Clutch and shafts are counted by rainflow (ASTM E1049-85), closed
by zero torque at both ends. Miner's rule adds both up. The usual slopes are assumptions: 6.611 for teeth (life factor
1.6 at 1e5 to 1.0 at 5e7 turns, stress with the root of torque), 5 for shafts (from memory); no standard was opened.

Worth (`worth`, `bump`, `gear_worth`). Bands are Hermite cubics with level ends, so they add up to one. Central
differences with two step sizes: the difference of the two is the noise, and covers what the integrator adds (at 1e-5
gains are off by 0.003 ms for 10 N m, and the noise says 0.01 to 0.1 ms). `gear_worth` changes the car while it runs;
with an unchanged car the time is that of the whole launch, which is tested.

Plateau (`plateau`, `plateau_search_space`, `limits`). Where tyres spin, time is rough over the shape: many starts
matter more than a fine local search, and a millisecond is no promise. So heights are gone through one by one on a grid
that closes in, then by differential evolution, then by trials around the eight best points that lie apart. Launches
run at 1e-4 (times off by 0.08 ms at most over 180 shapes of three cars). The height that was found is then held
longer, from an earlier start and to a later end, each by launches. A limit is named alone only where lifting it saves
more than counts as equal. `tests/benchmarks/plateau_search.py` sets the search against a dense grid on ten cars.

Verdict (`verdict`). With drawn cases: no difference if half of them are level within 0.01 s; quicker or slower if the
lower end of the interval reaches 90 % (common practice), as `odds` has it too; else not sure.
"""
