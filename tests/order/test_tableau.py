"""Order conditions of the Rosenbrock pair: one for each rooted tree, so that no coefficient rests on memory."""

from __future__ import annotations

from collections.abc import Iterator
from math import prod

import numpy as np
import pytest
from numpy.typing import NDArray

from simlaunch.integrator import tableau as c
from simlaunch.integrator.differences import all_free, make_linearise
from simlaunch.integrator.step import fill_dense, make_step, make_work, read_dense

Array = NDArray[np.float64]
Tree = tuple["Tree", ...]

# From the transformed coefficients back to those in which the order conditions are written.
LOWER = np.linalg.inv(np.eye(c.STAGES) / c.GAMMA - c.C)
INNER = c.A @ LOWER
BOTH = INNER + LOWER
LAST = np.eye(c.STAGES)[-1]
WEIGHTS, EMBEDDED = (c.A[-1] + LAST) @ LOWER, c.A[-1] @ LOWER


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
    """Elementary weight of each stage: a node with one branch sees the Jacobian, one with more does not."""
    if len(tree) == 1:
        only: Array = BOTH @ stages(tree[0])
        return only
    weight: Array = np.prod([INNER @ stages(child) for child in tree], axis=0) if tree else np.ones(c.STAGES)
    return weight


UP_TO_4 = [tree for order in range(1, 5) for tree in trees(order)]
UP_TO_3 = [tree for tree in UP_TO_4 if size(tree) <= 3]


def test_number_of_trees() -> None:
    """1, 1, 2, 4 rooted trees of one to four nodes. Source: Cayley; Hairer, Norsett and Wanner, table II.2.1."""
    assert [sum(size(tree) == order for tree in UP_TO_4) for order in range(1, 5)] == [1, 1, 2, 4]


@pytest.mark.parametrize("tree", UP_TO_4, ids=str)
def test_step_is_of_order_four(tree: Tree) -> None:
    """sum b_i phi_i = 1 / gamma. Source: Hairer and Wanner, sec. IV.7, table 7.1 and theorem 7.4 (from memory)."""
    assert WEIGHTS @ stages(tree) == pytest.approx(1.0 / density(tree), abs=1e-13)


@pytest.mark.parametrize("tree", UP_TO_3, ids=str)
def test_embedded_step_is_of_order_three(tree: Tree) -> None:
    """The same for the weights without the last stage. Source: as above."""
    assert EMBEDDED @ stages(tree) == pytest.approx(1.0 / density(tree), abs=1e-13)


def test_embedded_step_is_not_of_order_four() -> None:
    """Else the last stage would not measure the error."""
    misses = [abs(EMBEDDED @ stages(tree) - 1.0 / density(tree)) for tree in UP_TO_4 if size(tree) == 4]
    assert max(misses) > 1e-4


def test_clock_follows_the_stages() -> None:
    """alpha_i = sum alpha_ij and delta_i = sum gamma_ij. Source: Hairer and Wanner, equations IV.7.10 (from memory)."""
    np.testing.assert_allclose(INNER.sum(axis=1), c.ALPHA, atol=1e-13)
    np.testing.assert_allclose(LOWER.sum(axis=1), c.DELTA, atol=1e-13)


def decay(t: float, y: Array, model: float, phase: None, out: Array) -> None:
    out[:] = model * y


def one_step(z: float) -> float:
    work = make_work(1, 1)
    work.state[:] = 1.0
    decay(0.0, work.state, z, None, work.rates)
    all_free(z, None, work.structure)
    make_linearise(decay)(0.0, work.state, work.rates, None, z, None, np.ones(1), work.structure, work.linear)
    make_step(decay)(0.0, 1.0, z, None, work)
    return float(work.trial[0])


def test_step_applies_these_coefficients() -> None:
    """A linear right-hand side turns the step into 1 + z b (I - z B)^-1 1.

    Source: Hairer and Wanner, sec. IV.7, stability function (from memory).
    """
    z = -0.7
    expected = 1.0 + z * WEIGHTS @ np.linalg.solve(np.eye(c.STAGES) - z * BOTH, np.ones(c.STAGES))
    assert one_step(z) == pytest.approx(expected, abs=1e-6)  # the Jacobian is a difference


def test_what_is_very_fast_has_settled_after_a_step() -> None:
    """L-stability: the stability function vanishes at minus infinity. Source: Hairer and Wanner, sec. IV.3."""
    assert abs(one_step(-1e7)) < 1e-4


@pytest.mark.parametrize("share", [0.1, 0.37, 0.5, 0.8, 1.0])
@pytest.mark.parametrize("tree", UP_TO_3, ids=str)
def test_continuous_extension_is_of_order_three(tree: Tree, share: float) -> None:
    """sum b_i(theta) phi_i = theta^|t| / gamma, the weights read off the extension itself. Source: as above."""
    weights = np.empty(c.STAGES)
    for stage in range(c.STAGES):
        work = make_work(1, 1)
        work.stages[stage] = 1.0
        work.trial[:] = (c.A[-1] + LAST)[stage]
        fill_dense(work)
        read_dense(share, work, work.inner)
        weights[stage] = work.inner[0]
    assert weights @ LOWER @ stages(tree) == pytest.approx(share ** size(tree) / density(tree), abs=1e-13)
