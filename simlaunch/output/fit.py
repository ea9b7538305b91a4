"""A fit as tables, as text, and as JSON."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from math import floor, isfinite, isnan, log10
from typing import Any

import numpy as np
from numpy.typing import NDArray

from simlaunch.fitting.identifiability import Unidentified
from simlaunch.fitting.logs import Kind
from simlaunch.fitting.residuals import Misfit
from simlaunch.fitting.result import Fit, Fitted, FittedRun, MarkTime
from simlaunch.launching.goals import target_label
from simlaunch.output.as_json import Object, group_object, listed, number
from simlaunch.output.groups import cells, plain_heads
from simlaunch.output.groups import columns as group_columns
from simlaunch.output.layout import Row, Table, block, clean, paragraph, short, tables_text
from simlaunch.output.words import NOT_REACHED, PEDAL_WORDS, Numbers
from simlaunch.quantities import Reported, quantity, reported
from simlaunch.readers.delimited import shown
from simlaunch.units.quantity import display_unit, unit_spelled
from simlaunch.units.spelling import Dimension, System, kinds

_STRONG = 0.7  # correlations beyond this are printed
_MOST_PAIRS = 6
_LAG = 0.01  # a shorter one is not printed [s]
_LOADED = (70.0 / 3.6, 60.0 / 3.6)  # speeds between which the time of a coast-down is printed [m/s]
_MEANING = (
    "Error: standard error, widened where neighbouring residuals are alike. From, to: contains the true value in 19 of "
    "20 fits, if the rest of the description is right. Logs: share of the knowledge of a value that comes from the "
    "logs; the rest was known beforehand, from [[uncertain]] or, where that is silent, as three usual spreads (common "
    "practice)."
)
_FIT_OF = (
    "Noise: standard deviation of one sample, found in the log or stated. Weighed: the deviation that the fit gave "
    "the samples, more than noise where neighbouring residuals are alike and larger. Beyond: the part of rms that "
    "noise does not explain. Chance: how likely noise alone is to change its sign as seldom."
)


# --- numbers ---


def _decimals(error: float, value: float) -> int:
    """Decimals at which an error has two digits; those of the value where there is no error."""
    size = error if error > 0.0 and isfinite(error) else abs(value) * 1e-3
    return min(max(1 - floor(log10(size)), 0), 6) if size > 0.0 else 3


class _Shown:
    """One fitted value in the unit of display."""

    def __init__(self, each: Fitted, system: System) -> None:
        unit = display_unit(each.parameter.dimension, system)
        self.unit = unit.label
        self._digits = _decimals(each.error / unit.scale, unit.of(each.value))
        self._of = unit.of
        self._scale = unit.scale

    def value(self, value: float) -> str:
        return NOT_REACHED if isnan(value) else f"{self._of(value):.{self._digits}f}"

    def difference(self, value: float) -> str:
        return NOT_REACHED if isnan(value) or value == 0.0 else f"{value / self._scale:.{self._digits}f}"


def _name(each: Fitted) -> str:
    return each.parameter.name if each.log is None else f"{each.parameter.name}, log {each.log + 1}"


# --- tables ---


def _values(fit: Fit, system: System) -> Table:
    rows = []
    for each in fit.fitted:
        own = _Shown(each, system)
        cells = [own.value(each.parameter.own), own.value(each.value), own.difference(each.error)]
        ends = [own.value(each.low), own.value(each.high)] if not each.at_bound else ["bound", "bound"]
        rows.append(Row(short(_name(each), 28), own.unit, (*cells, *ends, f"{100.0 * each.from_logs:.0f} %")))
    return Table("Value", plain_heads("fitted"), tuple(rows))


def _profiles(fit: Fit, system: System) -> list[Table]:
    rows = []
    for each in fit.fitted:
        if each.profiled is not None:
            own = _Shown(each, system)
            rows.append(Row(short(_name(each), 28), own.unit, tuple(own.value(end) for end in each.profiled)))
    return [Table("Profile of the likelihood", ("from", "to"), tuple(rows))] if rows else []


def _pairs(fit: Fit) -> list[Table]:
    """Pairs of values whose errors go together, the closest first."""
    names = [_name(each) for each in fit.fitted]
    found = [
        (float(fit.correlation[j, k]), j, k)
        for j in range(len(names))
        for k in range(j)
        if abs(fit.correlation[j, k]) > _STRONG
    ]
    rows = [
        Row(short(f"{names[k]} and {names[j]}", 44), "", (f"{value:+.3f}",))
        for value, j, k in sorted(found, key=lambda entry: -abs(entry[0]))[:_MOST_PAIRS]
    ]
    return [Table("Errors that go together", ("correlation",), tuple(rows))] if rows else []


def _every_correlation(fit: Fit) -> Table:
    names = tuple(_name(each) for each in fit.fitted)
    rows = (
        Row(name, "", tuple(f"{value:.4f}" for value in line))
        for name, line in zip(names, fit.correlation, strict=True)
    )
    return Table("Correlation of errors", names, tuple(rows))


def _misfit_row(left: Misfit, numbers: Numbers) -> Row:
    channel = _channel(left.channel)
    unit = display_unit(channel.dimension, numbers.system)
    digits = 2 if channel.dimension is Dimension.SPEED else 0
    sizes = (f"{value / unit.scale:.{digits}f}" for value in (left.noise, left.weight, left.rms, left.beyond))
    chance = f"{left.runs_chance:.3f}" if left.runs_chance >= 5e-4 else "<0.001"
    return Row(channel.label, unit.label, (str(left.samples), *sizes, chance))


def _misfits(found: FittedRun, title: str, numbers: Numbers) -> Table:
    rows = tuple(_misfit_row(left, numbers) for left in found.misfits)
    shown = ("sample_rows", "noise", "weight", "rms", "beyond_noise", "runs_chance_share")
    return Table(title, plain_heads("residual", shown), rows)


def _times(found: FittedRun, title: str, numbers: Numbers) -> Table:
    unit = numbers.unit(Dimension.TIME)
    rows = (Row(target_label(mark.target), unit, cells("fit_time", mark, numbers)) for mark in found.times)
    return Table(title, plain_heads("fit_time"), tuple(rows))


def _road_load(found: FittedRun, title: str, numbers: Numbers) -> Table:
    load = found.road_load
    assert load is not None, "only asked of coast-downs"
    speed = display_unit(Dimension.SPEED, numbers.system)
    force = display_unit(Dimension.FORCE, numbers.system)
    per, square = f"{force.label}/({speed.label})", f"{force.label}/({speed.label})^2"
    rows = (
        Row("at standstill", force.label, (f"{load.constant / force.scale:.2f}",)),
        Row("with speed", per, (f"{load.linear * speed.scale / force.scale:.4f}",)),
        Row("with its square", square, (f"{load.square * speed.scale**2 / force.scale:.5f}",)),
        Row(
            "mass with what turns", numbers.unit(Dimension.MASS), (numbers.plain(load.effective_mass, Dimension.MASS),)
        ),
        Row("time from 70 to 60 km/h", "s", (f"{load.time_between(*_LOADED):.2f}",)),
    )
    return Table(title, ("road load",), rows)


def _of_run(found: FittedRun, label: str, numbers: Numbers) -> Iterator[Table]:
    yield _misfits(found, f"Residuals{label}", numbers)
    if found.road_load is not None:
        yield _road_load(found, f"Coast-down{label}", numbers)
    else:
        yield _times(found, f"Time{label}", numbers)


def _labels(fit: Fit) -> list[str]:
    several = len(fit.runs) > 1 or fit.left_out
    return [f", log {found.run.place + 1}" if several else "" for found in fit.runs]


def tables(fit: Fit, system: System) -> tuple[Table, ...]:
    """Every table of a fit, for a file."""
    return (*_printed(fit, system), _every_correlation(fit))


def _printed(fit: Fit, system: System) -> tuple[Table, ...]:
    numbers = Numbers(system)
    runs = (
        table for found, label in zip(fit.runs, _labels(fit), strict=True) for table in _of_run(found, label, numbers)
    )
    left_out = _of_run(fit.left_out, ", left out", numbers) if fit.left_out else ()
    return (_values(fit, system), *_profiles(fit, system), *_pairs(fit), *runs, *left_out)


# --- in words ---


def unidentified_words(combination: Unidentified, *, stated: bool = False) -> str:
    """What the logs do not determine, in a sentence."""
    names = [clean(name) for name in combination.names]
    unknown = not isfinite(combination.uncertainty) or combination.uncertainty > 100.0
    size = "at all" if unknown else "to better than is usual"
    if len(names) == 1:
        then = "what [[uncertain]] says of it decides" if stated else "give it, leave it out, or log what shows it"
        return f"{names[0]} is not determined by these logs {size}; {then}"
    listed = f"{', '.join(names[:-1])} and {names[-1]}"
    return f"{listed} cannot be separated by these logs {size}; give one of them, or log a run that differs in it"


def _identifiability(fit: Fit) -> list[str]:
    found = fit.identifiability
    known = found.of - len(found.unidentified)
    determined = f"the logs determine {known} of {found.of} combinations of values to better than their usual spread"
    condition = f"condition {found.condition:.3g}" if isfinite(found.condition) else "condition without bound"
    stated = {each.parameter.name for each in fit.fitted if each.parameter.stated}
    words = (unidentified_words(each, stated=set(each.names) <= stated) for each in found.unidentified)
    return [f"{determined}; {condition}", *words]


def _source(found: FittedRun, label: str) -> str:
    run = found.run
    drove = f'curve "{short(run.curve, 24)}"' if run.log.kind is not Kind.COAST_DOWN else "coast-down"
    if run.log.kind is Kind.COAST_DOWN:
        return f"{shown(run.log.request.path)}{label}: {drove}"
    timing = found.timing
    lag = (
        f", of which {timing.lag:.3f} s is a lag"
        if timing.delay >= timing.lag
        else f" with a lag of {timing.lag:.3f} s"
    )
    late = f"{abs(timing.delay):.3f} s {'early' if timing.delay < 0.0 else 'late'}{lag if timing.lag > _LAG else ''}"
    if run.log.kind is Kind.ROLL:
        drove += f", a roll that begins in gear {int(run.car.launch.roll_gear)}"
    begun = "full pedal" if run.log.kind is Kind.ROLL else "let go"
    timed = f"{begun} at {timing.start:.3f} s of the log, its speed {late}"
    return f"{shown(run.log.request.path)}{label}: {drove}; {timed}"


def _goal_time(found: FittedRun) -> MarkTime | None:
    reached = [mark for mark in found.times if isfinite(mark.logged) and isfinite(mark.fitted)]
    return reached[-1] if reached else None


def summary(fit: Fit, system: System) -> str:
    """What a fit comes to, in a sentence or two."""
    numbers = Numbers(system)
    left = max(
        (left for found in fit.runs for left in found.misfits if left.channel == "speed"), key=lambda each: each.rms
    )
    sizes = (_speed_error(left.rms, numbers), _speed_error(left.noise, numbers))
    if not fit.follows:
        verdict = f"Do not use this fit: the car does not follow the log ({sizes[0]} rms left over); see the warnings"
    elif not fit.agreed:
        verdict = "Do not use this fit: the starts of the search do not agree; see the warnings"
    elif unlike := _unlike_noise(fit):
        why = f"what is left over of {unlike} is not noise alone"
        verdict = f"The fitted car follows the log to {sizes[0]} rms with a noise of {sizes[1]}, but {why}"
        verdict += "; the errors are widened for it"
    else:
        doubt = ", but see the warnings" if fit.warnings else ""
        verdict = f"The fitted car follows the log to its noise ({sizes[0]} rms left over, noise {sizes[1]}){doubt}"
    return f"{verdict}.{_time(fit, numbers)}{_prediction(fit, numbers)}"


def _speed_error(value: float, numbers: Numbers) -> str:
    """A difference of speed as the table of residuals has it."""
    unit = display_unit(Dimension.SPEED, numbers.system)
    return f"{value / unit.scale:.2f} {unit.label}"


def _unlike_noise(fit: Fit) -> str:
    """Channels whose residuals are larger than noise or hang together; empty where none are."""
    unlike = {left.channel for found in fit.runs for left in found.misfits if not left.noisy_only}
    names = [each.label for name, each in reported("channel").items() if name in unlike]
    return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)


def _time(fit: Fit, numbers: Numbers) -> str:
    mark = next((mark for found in fit.runs if (mark := _goal_time(found))), None)
    if mark is None:
        return ""
    values = (mark.fitted, mark.low, mark.high, mark.before, mark.logged)
    fitted, low, high, before, logged = map(numbers.rounded_time, values)
    label = target_label(mark.target)
    return f" {label} takes it {fitted} (from {low} to {high}), against {before} as described and {logged} in the log."


def _prediction(fit: Fit, numbers: Numbers) -> str:
    mark = _goal_time(fit.left_out) if fit.left_out else None
    if mark is None:
        return ""
    late = numbers.gap_words(mark.fitted - mark.logged, "late", "early")
    return f" The log that was left out is predicted {late} there."


def text(fit: Fit, system: System) -> str:
    """A fit as text of 80 columns, the verdict last."""
    head = f"{fit.scenario.name}, {PEDAL_WORDS[fit.pedal]}"
    sources = [_source(found, label) for found, label in zip(fit.runs, _labels(fit), strict=True)]
    if fit.left_out:
        sources.append(_source(fit.left_out, ", left out"))
    blocks = [
        paragraph(head),
        *block("Fitted to", sources),
        paragraph(_MEANING),
        paragraph(_FIT_OF),
        *tables_text(_printed(fit, system)),
        *block("What the logs cannot determine", _identifiability(fit)),
        *block("Worth knowing", fit.notes),
        *block("Warnings", fit.warnings),
        f"Verdict\n{paragraph(summary(fit, system))}",
    ]
    return "\n\n".join(blocks)


# --- JSON ---


def _channel(name: str) -> Reported:
    return quantity(f"channel.{name}")


def _si_unit(dimension: Dimension) -> str:
    """Symbol of the SI unit; empty for a pure number."""
    spelled = (unit_spelled(each, dimension) for each in kinds()[dimension].spelling)
    return next((unit.label for unit in spelled if (unit.scale, unit.offset) == (1.0, 0.0)), "")


def _fitted_object(each: Fitted) -> Object:
    return {
        "name": each.parameter.name,
        "key": each.parameter.key or None,
        "log": None if each.log is None else f"log {each.log + 1}",
        "unit": _si_unit(each.parameter.dimension),
        "is_factor": bool(each.parameter.factor),
        **group_object("fitted", each),
        "bound_flagged": each.at_bound,
        "known_before": {**group_object("known_before", each), "origin": each.parameter.origin or None},
        "profile_values": None if each.profiled is None else listed(each.profiled),
    }


def _misfit_object(left: Misfit) -> Object:
    return {
        "channel": left.channel,
        "unit": _si_unit(_channel(left.channel).dimension),
        **group_object("residual", left),
        "noise_only": left.noisy_only,
        "wrong_flagged": left.wrong,
    }


def _run_object(found: FittedRun) -> Object:
    load = found.road_load
    return {
        "source": str(found.run.log.request.path),
        "kind": found.run.log.kind.value,
        "curve": found.run.curve if load is None else None,
        **group_object("timing", found.timing),
        "channels": [_misfit_object(left) for left in found.misfits],
        "times": [{"label": target_label(mark.target), **group_object("fit_time", mark)} for mark in found.times],
        "understood": list(found.run.log.account.understood),
        "notes": list(found.run.log.account.notes),
        "road_load": None
        if load is None
        else {
            **group_object("road_load", load),
            "units": ["N", "N s/m", "N s^2/m^2"],
            "time_70_to_60_km_h_s": number(load.time_between(*_LOADED)),
        },
    }


def columns(fit: Fit) -> Mapping[str, NDArray[Any]]:
    """Every fitted value in its SI unit, those of one log with its number."""
    return {
        "name": np.array([_name(each) for each in fit.fitted]),
        "key": np.array([each.parameter.key for each in fit.fitted]),
        "unit": np.array([_si_unit(each.parameter.dimension) for each in fit.fitted]),
        **group_columns("fitted", fit.fitted),
    }


def document(fit: Fit) -> Object:
    """A fit as a document; `unit` names the SI unit of the values beside it, empty for pure numbers."""
    return {
        "format": "simlaunch-fit-1",
        "scenario": fit.scenario.name,
        "pedal": fit.pedal.name.lower(),
        "values": [_fitted_object(each) for each in fit.fitted],
        "correlation_ratios": [listed(row) for row in np.asarray(fit.correlation)],
        "logs": [_run_object(found) for found in fit.runs],
        "left_out": _run_object(fit.left_out) if fit.left_out else None,
        "identifiability": {
            **group_object("identifiability", fit.identifiability),
            "unidentified": [
                {
                    "names": list(combination.names),
                    **group_object("unidentified", combination),
                }
                for combination in fit.identifiability.unidentified
            ],
        },
        "warnings": list(fit.warnings),
        "notes": list(fit.notes),
        "follows_flagged": fit.follows,
        "agreed_flagged": fit.agreed,
        **group_object("fit", fit),
    }
