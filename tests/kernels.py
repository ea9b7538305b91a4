"""Compiles the kernels that most tests run on, where that has not been done yet."""

from __future__ import annotations

from cars import coupe
from simlaunch.compiled import is_kept

LOOPS = ("run_compiled", "_measure_each", "follow_each")
"""Of one launch, of many that are measured, and of many whose histories are kept."""


def compile_kernels() -> None:
    """Compile the loops in one process, which shares what they have in common, and the rest in another beside it."""
    from simlaunch.fitting.histories import Runner, last_until
    from simlaunch.launching.compile_ahead import compile_together
    from simlaunch.launching.launches import as_many, measure_all

    compile_together()
    car = coupe()
    last_until(car, 0.1)
    measure_all(as_many([car]), (), None, 1)
    Runner(1)(as_many([car]), 0.1)


if __name__ == "__main__" and not all(map(is_kept, LOOPS)):
    compile_kernels()
