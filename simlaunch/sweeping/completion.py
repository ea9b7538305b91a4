"""Measures that a sweep left out, worked out when they are asked for, by the launches that the file describes.

The same launch gives the same numbers to the last bit, whatever else is measured of it, as long as the numeric code is
the one that made the file.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import replace
from pathlib import Path

from simlaunch.errors import Fault, InputError, plain
from simlaunch.simulation.batch import on_threads
from simlaunch.sweeping.backends import Threads
from simlaunch.sweeping.chunk import BESIDE_MARKS, Study, calculate, kernels, never
from simlaunch.sweeping.ranking import Order, Ranked
from simlaunch.sweeping.store import Reader, Store

Watch = Callable[[int], None]

_NAMES = {"grip": "use of grip", "energy": "energies", "part": "torque of parts"}


def groups_of(study: Study, names: Iterable[str]) -> frozenset[str]:
    """Groups beside the marks that columns of these names belong to."""
    wanted = set(names)
    return frozenset(each.group for each in study.measures if each.name in wanted) & set(BESIDE_MARKS)


def groups_for(study: Study, order: Order) -> frozenset[str]:
    """Groups beside the marks that a ranking needs."""
    return groups_of(study, (order.by.name, *(constraint.column for constraint in order.constraints)))


def complete(path: Path, groups: Collection[str] = BESIDE_MARKS, watch: Watch | None = None) -> None:
    """Measure what finished launches of a file lack, by launching them again, and write it there.

    Parameters
    ----------
    path : Path
        The file.
    groups : collection of str
        What is wanted beside the marks.
    watch : callable, optional
        Takes the number of launches that have to be made again, before they are.

    Raises
    ------
    InputError
        Other numeric code made the file, or it cannot be written.
    """
    with Reader(path) as reader:
        study, chunks = reader.study, reader.lacking(groups)
    if not chunks:
        return
    if study.source != kernels():
        lacks = " and no ".join(
            _NAMES[group] for group in BESIDE_MARKS if group in groups and group not in study.measured
        )
        raise InputError(
            Fault(
                plain(str(path)),
                "",
                f"holds no {lacks}, and was made by other numeric code, so that its launches cannot be repeated",
                "sweep again into another file, or ask for times and speeds only",
            )
        )
    if watch is not None:
        watch(sum(last - first for first, last in chunks.values()))
    with Store(path, study, lambda: study.chunk_length) as store:
        whole = frozenset(groups).union(*store.held().values())
        for number, result in Threads().results(study.spec(whole), chunks, never):
            store.write(number, study.plan.cases(*chunks[number]), result, whole)


def filled(study: Study, launches: Sequence[Ranked]) -> tuple[Ranked, ...]:
    """A few launches with every measure, those that the file lacks from launches made again; blank by other code."""
    if study.source != kernels() or study.measured >= set(BESIDE_MARKS):
        return tuple(launches)
    spec, names = study.spec(BESIDE_MARKS), [each.name for each in study.measures]

    def some(piece: slice) -> list[Ranked]:
        found = []
        for launch in launches[piece]:
            result = calculate(spec, launch.number, launch.number + 1)
            assert result is not None, "nothing stops this"
            found.append(replace(launch, measures=dict(zip(names, result.values[0].tolist(), strict=True))))
        return found

    return tuple(launch for part in on_threads(some, len(launches)) for launch in part)
