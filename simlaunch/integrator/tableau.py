"""Coefficients of the Dormand-Prince 5(4) pair and of its continuous extension.

Source: J. R. Dormand and P. J. Prince, J. Comput. Appl. Math. 6 (1980) 19; the continuous extension after
E. Hairer, S. P. Norsett and G. Wanner, Solving Ordinary Differential Equations I, sec. II.6 (from memory). The tests
check the order conditions, so that no digit rests on memory.
"""

from __future__ import annotations

ORDER = 5
STAGES = 7

C2, C3, C4, C5 = 1 / 5, 3 / 10, 4 / 5, 8 / 9

A21 = 1 / 5
A31, A32 = 3 / 40, 9 / 40
A41, A42, A43 = 44 / 45, -56 / 15, 32 / 9
A51, A52, A53, A54 = 19372 / 6561, -25360 / 2187, 64448 / 6561, -212 / 729
A61, A62, A63, A64, A65 = 9017 / 3168, -355 / 33, 46732 / 5247, 49 / 176, -5103 / 18656

# Weights of the fifth-order solution; the seventh stage is the next step's first.
B1, B3, B4, B5, B6 = 35 / 384, 500 / 1113, 125 / 192, -2187 / 6784, 11 / 84

# Fifth-order weights less the embedded fourth-order weights.
E1, E3, E4, E5, E6, E7 = 71 / 57600, -71 / 16695, 71 / 1920, -17253 / 339200, 22 / 525, -1 / 40

# Continuous extension, fourth order over the whole step.
D1 = -12715105075 / 11282082432
D3 = 87487479700 / 32700410799
D4 = -10690763975 / 1880347072
D5 = 701980252875 / 199316789632
D6 = -1453857185 / 822651844
D7 = 69997945 / 29380423
