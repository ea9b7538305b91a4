"""The studies, one file each; a second one beside it where a study alone needs it.

Notes on what was decided, and why.

Worth (`worth`, and `bump` and `gear_worth` in `curves`). Bands are Hermite cubics with level ends, so they add up to
one. Central differences with two step sizes: the difference of the two is the noise, and covers what the integrator
adds (at 1e-5 gains are off by 0.003 ms for 10 N m, and the noise says 0.01 to 0.1 ms). `gear_worth` changes the car
while it runs; with an unchanged car the time is that of the whole launch, which is tested.
"""
