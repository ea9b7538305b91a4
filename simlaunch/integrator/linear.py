"""Linear equations of a handful of unknowns, column by column."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from simlaunch.compiled import inline
from simlaunch.record import Record

Array = NDArray[np.float64]


def matrix_type(width: int) -> np.dtype[np.void]:
    """A square matrix; once factorised, both triangles of M = L U, with ones on the diagonal of L.

    Parameters
    ----------
    width : int
        Most equations that fit [-].

    Returns
    -------
    dtype
        Type of record.
    """
    return np.dtype(
        [
            ("column", "f8", (width, width)),  # [column, row]
            ("inverse", "f8", (width,)),  # of the diagonal of U
        ],
        align=True,
    )


@inline
def factorise(matrix: Record, count: int) -> None:
    """Split a matrix into a lower and an upper triangle, in place and without exchanging rows.

    The matrices of an implicit step hardly ever need one, since one over the step stands on their diagonal; where a
    pivot vanishes all the same, the step fails its error test and is tried again with another length.

    Parameters
    ----------
    matrix : Record
        The matrix.
    count : int
        Number of equations [-].

    Source: Gaussian elimination; Golub and Van Loan, Matrix Computations, sec. 3.2 (from memory).
    """
    for k in range(count):
        pivot = matrix.column[k]
        inverse = 1.0 / pivot[k]
        matrix.inverse[k] = inverse
        for i in range(k + 1, count):
            pivot[i] *= inverse
        for j in range(k + 1, count):
            column = matrix.column[j]
            factor = column[k]
            if factor != 0.0:
                for i in range(k + 1, count):
                    column[i] -= factor * pivot[i]


@inline
def substitute(matrix: Record, count: int, x: Array) -> None:
    """Solve for one right-hand side, in place.

    Parameters
    ----------
    matrix : Record
        Both triangles, from `factorise`.
    count : int
        Number of equations [-].
    x : ndarray, shape (m,)
        Right-hand side, replaced by the solution.

    Source: forward and back substitution; Golub and Van Loan, Matrix Computations, sec. 3.1 (from memory).
    """
    for k in range(count):
        known, column = x[k], matrix.column[k]
        for i in range(k + 1, count):
            x[i] -= column[i] * known
    for k in range(count - 1, -1, -1):
        known, column = x[k] * matrix.inverse[k], matrix.column[k]
        x[k] = known
        for i in range(k):
            x[i] -= column[i] * known
