"""Coefficients of RODAS, a stiffly accurate Rosenbrock method of order 4 with an embedded method of order 3.

They are those of the transformed stages u, with gamma on the diagonal:

    (I / (h gamma) - J) u_i = f(t + alpha_i h, y + sum_j a_ij u_j) + sum_j c_ij / h u_j + delta_i h df/dt

Source: E. Hairer and G. Wanner, Solving Ordinary Differential Equations II, sec. IV.7 and IV.10 (from memory). The
tests check the order conditions, so that no digit rests on memory.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

STAGES = 6
GAMMA = 0.25


def _lower(*rows: tuple[float, ...]) -> NDArray[np.float64]:
    square = np.zeros((STAGES, STAGES))
    for i, row in enumerate(rows):
        square[i, : len(row)] = row
    return square


A = _lower(
    (),
    (1.544,),
    (0.9466785280815826, 0.2557011698983284),
    (3.314825187068521, 2.896124015972201, 0.9986419139977817),
    (1.221224509226641, 6.019134481288629, 12.53708332932087, -0.6878860361058950),
    (1.221224509226641, 6.019134481288629, 12.53708332932087, -0.6878860361058950, 1.0),
)

C = _lower(
    (),
    (-5.6688,),
    (-2.430093356833875, -0.2063599157091915),
    (-0.1073529058151375, -9.594562251023355, -20.47028614809616),
    (7.496443313967647, -10.24680431464352, -33.99990352819905, 11.70890893206160),
    (8.083246795921522, -7.981132988064893, -31.52159432874371, 16.31930543123136, -6.058818238834054),
)

ALPHA = np.array([0.0, 0.386, 0.21, 0.63, 1.0, 1.0])
DELTA = np.array([0.25, -0.1043, 0.1035, -0.0362, 0.0, 0.0])

# Continuous extension: how far the course within a step departs from a straight line.
DENSE = np.array([
    [10.12623508344586, -7.487995877610167, -34.80091861555747, -7.992771707568823, 1.025137723295662, 0.0],
    [-0.6762803392801253, 6.087714651680015, 16.43084320892478, 24.76722511418386, -6.594389125716872, 0.0],
])  # fmt: skip

# How an integral, on whose value no rate depends, follows from the rates of all stages at once: its own stages v solve
# (I - gamma C) v = h gamma g, with g the rate of each stage, its drift, and what the free states' stages add to it.
_LAST = np.eye(STAGES)[-1]
SUMS = GAMMA * np.linalg.solve((np.eye(STAGES) - GAMMA * C).T, np.array([A[-1] + _LAST, *DENSE]).T).T
"""Weights of the stages in an integral's growth over a step, and in both parts of its continuous extension."""
SUM_DELTA = SUMS @ DELTA
