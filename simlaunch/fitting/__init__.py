"""From measured runs to a scenario that agrees with them, and to how sure its values then are.

Notes on what was decided, and why.

Unknowns are values of the car, counted in usual spreads; for each log its start, the square of its sensor's lag, and,
where other channels are logged, the delay of its speed. A lag of first order differs from a delay by its square only,
so lag and delay cannot be separated near zero; the square is regular there, and may go a little below zero.

Histories have a value every millisecond: engine speed bends within shifts, and a grid of 5 ms cuts its corners by
several times the rounding of a logger, anew at every value. Slopes are differences of 0.005 usual spreads; a step of
0.02 was five errors wide where engine speed is logged at 100 Hz, and searches crept. They serve until a value has
moved by two such steps. In the last search and for the errors they come from launches with a tolerance of 1e-8: two
values that do nearly the same, as drag and rolling resistance in one launch, have slopes nearly parallel, and the error
of rougher launches over so small a step turns them apart. With 1e-6 the errors of both came out 0.6 times as large as
with 1e-10, and of 40 intervals of rolling resistance 28 held the truth; steps of 0.02 and 0.04 bend the slopes as much.

The search is `scipy.optimize.least_squares` (trf) with soft L1 beyond 3 sd. From each start the noises begin as large
as the residuals and shrink with them (graduated non-convexity): with the noises of the sensors at once, a shift at
another time weighs so much that searches stop in the next narrow valley. Two starts that end level with the noise are
enough; if no second one ends within four errors of the best, the verdict is *do not use*. Engine speed counts from
moving off, road and wheel speed from 0.5 m/s, where their sensors are alive: without those first samples launch speed
and engagement go together, with several minima.

Errors are those of an M-estimate, widened by the long-run variance of the residuals (Newey and West), plus the prior;
Student's t. Where anything but noise is left over, an eighth of each log after the other is left out (jackknife), and
the covariance is no less than that in any direction. What a wrong model takes into a value without leaving anything
over shows in no residual, and no interval holds it. `tests/benchmarks/fit_coverage.py` counts how often intervals hold
the truth: with logs of the same kind of car they do; with a simpler car and no engine speed 3 of 12 did, with engine
speed 10 of 12, and three of the four fits were *do not use*.

Which combinations the data cannot separate follows from the eigenvalues of the information, clocks taken out (Schur
complement), counted in usual spreads. `[correlation]` is a Gaussian copula over the normal values; a spread is written
no wider than `odds` can draw within the bounds of its value.
"""
