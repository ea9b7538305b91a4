"""Order conditions of the Runge-Kutta pair: one for each rooted tree, so that no coefficient rests on memory."""

from __future__ import annotations

from collections.abc import Iterator
from math import factorial, prod

import numpy as np
import pytest
from numpy.typing import NDArray

from simlaunch.integrator import tableau as c
from simlaunch.integrator.step import fill_dense, make_step, make_work, read_dense

Array = NDArray[np.float64]
Tree = tuple["Tree", ...]

A = np.zeros((7, 7))
A[1, :1] = (c.A21,)
A[2, :2] = (c.A31, c.A32)
A[3, :3] = (c.A41, c.A42, c.A43)
A[4, :4] = (c.A51, c.A52, c.A53, c.A54)
A[5, :5] = (c.A61, c.A62, c.A63, c.A64, c.A65)
B = np.array([c.B1, 0.0, c.B3, c.B4, c.B5, c.B6, 0.0])
A[6] = B
E = np.array([c.E1, 0.0, c.E3, c.E4, c.E5, c.E6, c.E7])


def trees(order: int) -> Iterator[Tree]:
    """Every rooted tree of so many nodes, as a tuple of the trees that hang on its root."""
    for parts in partitions(order - 1):
        pools = [list(trees(nodes)) for nodes in parts]
        seen = set()
        for choice in combine(pools):
            tree = tuple(sorted(choice))
            if tree not in seen:
                seen.add(tree)
                yield tree


def partitions(total: int, largest: int | None = None) -> Iterator[tuple[int, ...]]:
    if total == 0:
        yield ()
        return
    for first in range(min(total, largest or total), 0, -1):
        for rest in partitions(total - first, first):
            yield (first, *rest)


def combine(pools: list[list[Tree]]) -> Iterator[tuple[Tree, ...]]:
    if not pools:
        yield ()
        return
    for first in pools[0]:
        for rest in combine(pools[1:]):
            yield (first, *rest)


def size(tree: Tree) -> int:
    return 1 + sum(size(child) for child in tree)


def density(tree: Tree) -> int:
    return size(tree) * prod(density(child) for child in tree)


def stages(tree: Tree) -> Array:
    """Elementary weight of each stage."""
    return np.prod([A @ stages(child) for child in tree], axis=0) if tree else np.ones(7)


UP_TO_5 = [tree for order in range(1, 6) for tree in trees(order)]
UP_TO_4 = [tree for tree in UP_TO_5 if size(tree) <= 4]


def test_number_of_trees() -> None:
    """1, 1, 2, 4, 9 rooted trees of one to five nodes. Source: Cayley; Hairer, Norsett and Wanner, table II.2.1."""
    assert [sum(size(tree) == order for tree in UP_TO_5) for order in range(1, 6)] == [1, 1, 2, 4, 9]


@pytest.mark.parametrize("tree", UP_TO_5, ids=str)
def test_step_is_of_order_five(tree: Tree) -> None:
    """sum b_i phi_i = 1 / gamma. Source: Butcher; Hairer, Norsett and Wanner, theorem II.2.13."""
    assert B @ stages(tree) == pytest.approx(1.0 / density(tree), abs=1e-14)


@pytest.mark.parametrize("tree", UP_TO_4, ids=str)
def test_embedded_step_is_of_order_four(tree: Tree) -> None:
    """The same for the weights less the error weights. Source: as above."""
    assert (B - E) @ stages(tree) == pytest.approx(1.0 / density(tree), abs=1e-14)


def test_embedded_step_is_not_of_order_five() -> None:
    """Else the difference of the two would not measure the error."""
    misses = [abs((B - E) @ stages(tree) - 1.0 / density(tree)) for tree in UP_TO_5 if size(tree) == 5]
    assert max(misses) > 1e-4


def test_nodes_are_row_sums() -> None:
    """c_i = sum a_ij. Source: Hairer, Norsett and Wanner, equation II.1.9."""
    np.testing.assert_allclose(A.sum(axis=1), [0.0, c.C2, c.C3, c.C4, c.C5, 1.0, 1.0], atol=1e-15)


def test_step_applies_these_coefficients() -> None:
    """A linear right-hand side turns the step into its stability polynomial 1 + z + ... + z^5/120 + z^6/600.

    Source: Hairer and Wanner, Solving Ordinary Differential Equations II, sec. IV.2, from memory.
    """

    def rates(t: float, y: Array, model: float, phase: None, out: Array) -> None:
        out[:] = model * y

    work, y, z = make_work(1, 1), np.array([1.0]), -0.7
    rates(0.0, y, z, None, work.stages[0])
    make_step(rates)(0.0, y, 1.0, z, None, work)
    expected = sum(z**k / factorial(k) for k in range(6)) + z**6 / 600.0
    assert work.trial[0] == pytest.approx(expected, abs=1e-15)


@pytest.mark.parametrize("share", [0.1, 0.37, 0.5, 0.8, 1.0])
@pytest.mark.parametrize("tree", UP_TO_4, ids=str)
def test_continuous_extension_is_of_order_four(tree: Tree, share: float) -> None:
    """sum b_i(theta) phi_i = theta^|t| / gamma, the weights read off the extension itself. Source: as above."""
    weights = np.empty(7)
    for stage in range(7):
        work = make_work(1, 1)
        work.stages[:] = 0.0
        work.stages[stage] = 1.0
        work.trial[:] = B[stage]
        fill_dense(np.zeros(1), 1.0, work)
        read_dense(share, work, work.inner)
        weights[stage] = work.inner[0]
    assert weights @ stages(tree) == pytest.approx(share ** size(tree) / density(tree), abs=1e-14)
