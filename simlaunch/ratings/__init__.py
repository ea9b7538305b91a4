"""What parts and engine are allowed, what a launch asks of them, and where the highest torques come from.

Notes on what was decided, and why.

`demand` holds the one rule for ratings, and every study asks it: steady pull against the rating, the peak against the
torque of expected failure. `plateau` leaves 0.2 % free, so that its curve, written with rounded values, is never too
much in `compare`. A slipping clutch is named as the cause of a peak only where a launch with 3 % less capacity lowers
the peak in the same event by half of that at least. Teeth are loaded once a turn: damage of a gear is the integral of
torque^slope over turns of the input shaft while it pulls, and the gear with the most damage stands for the gearbox.
Clutch and shafts are counted by rainflow (ASTM E1049-85), closed by zero torque at both ends. Miner's rule adds both
up. The usual slopes are assumptions: 6.611 for teeth (life factor 1.6 at 1e5 to 1.0 at 5e7 turns, stress with the root
of torque), 5 for shafts (from memory); no standard was opened.
"""
