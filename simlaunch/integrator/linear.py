"""Linear equations of a handful of unknowns, solved by the inverse of their matrix.

An implicit step solves the same equations six times. With the inverse each solution is one product, which runs through
whole columns; forward and back substitution would wait for every single number.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from simlaunch.compiled import inline
from simlaunch.record import Record

Array = NDArray[np.float64]


LANE = 4
"""Numbers that a processor handles at once [-]."""


def in_lanes(count: int) -> int:
    """The next higher count that fills whole lanes.

    Parameters
    ----------
    count : int
        Numbers [-].

    Returns
    -------
    int
        Count [-].
    """
    return -(-count // LANE) * LANE


def matrix_type(rows: int, columns: int) -> np.dtype[np.void]:
    """A matrix with a column for each unknown and a row for each state, so that an unknown keeps its place.

    Parameters
    ----------
    rows : int
        Number of states [-].
    columns : int
        Most unknowns that fit [-].

    Returns
    -------
    dtype
        Type of record.
    """
    return np.dtype(
        [
            ("column", "f8", (columns, in_lanes(rows))),  # [column, row]
            ("rows", "i8"),  # that count; not known to the compiler, which would unroll loops instead of filling lanes
            ("pivot", "f8", (in_lanes(rows),)),  # scratch space
        ],
        align=True,
    )


@inline
def invert(matrix: Record, place: NDArray[np.int64], count: int) -> None:
    """Put the inverse of a matrix in its place, without exchanging rows.

    The matrices of an implicit step hardly ever need one, since one over the step stands on their diagonal; where a
    pivot vanishes all the same, the step fails its error test and is tried again with another length.

    Parameters
    ----------
    matrix : Record
        The matrix, replaced by its inverse.
    place : ndarray of int, shape (m,)
        Row of each unknown; other rows end as garbage.
    count : int
        Number of unknowns [-].

    Source: Gauss-Jordan elimination; Golub and Van Loan, Matrix Computations, sec. 3.2 (from memory).
    """
    m, pivot, rows = matrix.column, matrix.pivot, matrix.rows
    for p in range(count - 1, -1, -1):
        row = place[p]
        inverse = 1.0 / m[p, row]
        for i in range(rows):
            pivot[i] = m[p, i]
        for j in range(count):
            factor, column = m[j, row] * inverse, m[j]
            if factor != 0.0 and j != p:
                for i in range(rows):
                    column[i] -= factor * pivot[i]
                column[row] = factor
        for i in range(rows):
            m[p, i] = -inverse * pivot[i]
        m[p, row] = inverse


@inline
def multiply(matrix: Record, x: Array, count: int, out: Array) -> None:
    """Product of a matrix and a vector.

    Parameters
    ----------
    matrix : Record
        The matrix.
    x : ndarray, shape (m,)
        A number for each column.
    count : int
        Number of columns that count [-].
    out : ndarray, shape (n,)
        Filled with the product.
    """
    rows = matrix.rows
    for i in range(rows):
        out[i] = 0.0
    for j in range(count):
        factor, column = x[j], matrix.column[j]
        for i in range(rows):
            out[i] += factor * column[i]
