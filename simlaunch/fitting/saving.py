"""The fitted scenario as a file: the old one with its comments, new values, their spreads and correlations."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import tomlkit
from numpy.typing import NDArray
from tomlkit.items import AoT, Item

from simlaunch.errors import Fault, InputError, UsageError, plain
from simlaunch.fitting.parameters import EFFICIENCY, SCALE, SHIFT_SPEED, Parameter
from simlaunch.launching.ready import runnable
from simlaunch.scenario.decision import ALL_CURVES
from simlaunch.scenario.model import Scenario
from simlaunch.scenario.powertrain import GearLimit
from simlaunch.scenario.reading import from_mapping, load, read_text
from simlaunch.units.quantity import as_typed, display_unit
from simlaunch.units.spelling import Dimension, System
from simlaunch.writing import check, write

if TYPE_CHECKING:
    from simlaunch.fitting.result import Fit, Fitted

Array = NDArray[np.float64]
Table = Any
"""A table of a TOML document that keeps its comments; the library types it as a mapping of anything."""

DIGITS = 6
"""Significant digits of what is written."""

_PLACE = "fitted scenario"
_REACH = 3.8  # standard deviations that the odds draw at most
_LEAST_EIGENVALUE = 1e-6
_LONGEST_NAME = 40
_HEAD_BEFORE = re.compile(r"\A# Fitted to [^\n]*\n(# Warning: [^\n]*\n)*")
_FITTED_BEFORE = re.compile(r"^fitted(; was [^;]*)?(; |$)")  # comment of an earlier fit, what else it says left out


@dataclass(frozen=True)
class Written:
    """One value as it is written: mean and deviation over the logs that have their own."""

    parameter: Parameter
    value: float
    deviation: float
    places: tuple[int, ...]
    """Where it stands among the fitted values."""

    @property
    def spread(self) -> float:
        """Deviation that keeps to the bounds of the value, as far as the odds draw it."""
        room = min(self.value - self.parameter.low, self.parameter.high - self.value)
        return min(self.deviation, max(room, 0.0) / _REACH)


def _combined(fit: Fit) -> list[Written]:
    places: dict[Parameter, list[int]] = {}
    for k, each in enumerate(fit.fitted):
        if each.parameter.sets:
            continue  # the start of one log is no value of the car
        places.setdefault(each.parameter, []).append(k)
    return [_of_logs(each, [fit.fitted[k] for k in at], tuple(at)) for each, at in places.items()]


def _of_logs(parameter: Parameter, found: Sequence[Fitted], places: tuple[int, ...]) -> Written:
    values, errors = np.array([each.value for each in found]), np.array([each.error for each in found])
    between = float(values.var(ddof=1)) if values.size > 1 else 0.0
    return Written(parameter, float(values.mean()), float(np.sqrt(between + np.mean(errors**2))), places)


# --- the document ---


def fitted_text(fit: Fit, text: str, today: date) -> str:
    """Scenario file with the fitted values.

    Parameters
    ----------
    fit : Fit
        What was fitted.
    text : str
        The file as it was.
    today : date
        Day of the fit.

    Returns
    -------
    str
        TOML; comments and order of the old file are kept.
    """
    document, origin = tomlkit.parse(_HEAD_BEFORE.sub("", text)), _provenance(fit, today)
    written = _combined(fit)
    for each in written:
        _put(document, fit, each)
    _put_uncertain(document, fit.scenario, written, origin)
    _put_correlation(document, fit, written, origin)
    head = [f"{origin[:1].upper()}{origin[1:]}.", *(f"Warning: {line}." for line in fit.warnings)]
    return "".join(f"# {plain(line)}\n" for line in head) + tomlkit.dumps(document)


def _against(fit: Fit) -> str:
    """Why a fit is not to be used."""
    return "the starts of the search do not agree" if fit.follows else "the car does not follow its logs"


def _provenance(fit: Fit, today: date) -> str:
    names = [Path(run.run.log.request.path).name for run in fit.runs]
    listed = ", ".join(name[:_LONGEST_NAME] for name in names[:3]) + (
        f" and {len(names) - 3} more" if names[3:] else ""
    )
    rms = [left.rms for run in fit.runs for left in run.misfits if left.channel == "speed"]
    unit = display_unit(Dimension.SPEED, System.METRIC)
    doubt = "" if fit.usable else f", not to be used: {_against(fit)}"
    left = f"residual {float(np.mean(rms)) / unit.scale:.2g} {unit.label} rms"
    return f"fitted to {listed}, {today.isoformat()}, {left}{doubt}"


def _put(document: Table, fit: Fit, each: Written) -> None:
    """Write one value where it belongs."""
    name = each.parameter.name
    special = {SCALE: _put_scale, SHIFT_SPEED: _put_shift_speeds, EFFICIENCY: _put_efficiency}.get(name)
    if special is not None:
        special(document, fit, each)
    else:
        _set(document, each.parameter.key, as_typed(each.value, each.parameter.dimension, DIGITS), "fitted")


def _set(document: Table, key: str, value: object, comment: str) -> None:
    *tables, name = key.split(".")
    table = document
    for inner in tables:
        if inner not in table:
            table[inner] = tomlkit.table()
        table = table[inner]
    old = table.get(name)
    was = f"; was {old}" if isinstance(old, str) else ""
    said = _FITTED_BEFORE.sub("", old.trivia.comment.lstrip("# ")) if isinstance(old, Item) else ""
    table[name] = value
    table[name].comment(f"{comment}{was}{f'; {said}' if said else ''}")


def _put_scale(document: Table, fit: Fit, each: Written) -> None:
    """Scale the points of every curve; one that was driven with a scale of its own by that."""
    for curve, table in zip(fit.scenario.curves, document["curves"], strict=True):
        factor = _scale_of(fit, each, curve.name)
        points = tomlkit.array().multiline(True)
        for speed, torque in curve.points:
            points.append([speed.text, as_typed(factor * torque.si, Dimension.TORQUE, DIGITS)])
        table["points"] = points
        table["points"].comment(f"fitted: torque times {factor:.5g}")
        if curve.gear_limits:
            table["gear_limits"] = _scaled_limits(curve.gear_limits, factor)


def _scaled_limits(limits: Sequence[GearLimit], factor: float) -> list[Table]:
    """Torque limits by gear, scaled like the curve that they limit."""
    found = []
    for limit in limits:
        torques = [as_typed(factor * torque.si, Dimension.TORQUE, DIGITS) for _, torque in limit.torque]
        points = [[speed.text, torque] for (speed, _), torque in zip(limit.torque, torques, strict=True)]
        found.append({"gear": limit.gear.text, "torque": points if len(points) > 1 else torques[0]})
    return found


def _scale_of(fit: Fit, each: Written, curve: str) -> float:
    own = [fit.fitted[k].value for k in each.places if fit.fitted[k].log is not None]
    driven = [
        fit.fitted[k].value
        for k in each.places
        if any(found.run.place == fit.fitted[k].log and found.run.curve == curve for found in fit.runs)
    ]
    return float(np.mean(driven)) if own and driven else each.value


def _put_shift_speeds(document: Table, fit: Fit, each: Written) -> None:
    first = fit.runs[0].run
    car = runnable(first.scenario, first.curve, fit.pedal)
    speeds = each.value * car.gearbox.shift_speed[: int(car.gearbox.count) - 1]
    typed = [as_typed(float(speed), Dimension.ROTATIONAL_SPEED, DIGITS) for speed in speeds]
    _set(document, "gearbox.shift_at", typed, f"fitted: as they were, times {each.value:.5g}")


def _put_efficiency(document: Table, fit: Fit, each: Written) -> None:
    values = [as_typed(each.value * own.si, Dimension.SHARE, DIGITS) for own in fit.scenario.gearbox.efficiency]
    _set(document, "gearbox.efficiency", values[0] if len(values) == 1 else values, "fitted")


# --- what stays uncertain ---


def _odds_key(scenario: Scenario, parameter: Parameter) -> str:
    """Key under [[uncertain]]; empty for what cannot stand there."""
    if parameter.name == EFFICIENCY and len(scenario.gearbox.efficiency) > 1:
        return ""
    return ALL_CURVES if parameter.name == SCALE else parameter.key


def _spread_known(scenario: Scenario, written: Sequence[Written]) -> list[Written]:
    return [each for each in written if _odds_key(scenario, each.parameter) and each.spread > 0.0]


def _deviation(scenario: Scenario, each: Written) -> str:
    """Standard deviation as text; that of a factor in percent of the value."""
    if each.parameter.factor:
        return f"{100.0 * each.spread / each.value:.4g} %"
    unit = display_unit(each.parameter.dimension, System.METRIC)
    number = np.format_float_positional(each.spread / unit.scale, precision=4, fractional=False, trim="-", unique=False)
    return f"{number} {unit.label}".strip()


def _put_uncertain(document: Table, scenario: Scenario, written: Sequence[Written], origin: str) -> None:
    """Put a normal spread in the place of every old one of a fitted value, and add the others at the end."""
    if "uncertain" in document and not isinstance(document["uncertain"], AoT):
        document["uncertain"] = _as_tables(document["uncertain"])
    fitted = {_odds_key(scenario, each.parameter) for each in written}
    spreads = {_odds_key(scenario, each.parameter): each for each in _spread_known(scenario, written)}
    entries = document.get("uncertain", tomlkit.aot())
    for n in reversed(range(len(entries))):
        key = entries[n]["key"]
        if key in spreads:
            _make_normal(entries[n], _deviation(scenario, spreads.pop(key)), origin)
        elif key in fitted:  # stopped at a bound: nothing is known of its spread
            del entries[n]
    for key, each in spreads.items():
        entry = _as_table({"key": key})
        _make_normal(entry, _deviation(scenario, each), origin)
        entry.trivia.indent = "\n"
        entries.append(entry)
    if len(entries) and "uncertain" not in document:
        document["uncertain"] = entries
    elif not len(entries) and "uncertain" in document:
        del document["uncertain"]


def _make_normal(entry: Table, deviation: str, origin: str) -> None:
    for name in ("middle", "low", "high"):
        if name in entry:
            del entry[name]
    entry["kind"], entry["deviation"], entry["origin"] = "normal", deviation, _plainly(origin)


def _as_tables(entries: Sequence[Mapping[str, object]]) -> AoT:
    found = tomlkit.aot()
    for entry in entries:
        found.append(_as_table(entry))
    return found


def _plainly(origin: str) -> str:
    return f"{plain(origin[:1].upper() + origin[1:])}."


def _as_table(entry: Mapping[str, object]) -> Table:
    table = tomlkit.table()
    for key, value in entry.items():
        table.add(key, value)
    return table


def _put_correlation(document: Table, fit: Fit, written: Sequence[Written], origin: str) -> None:
    """Correlations of the fitted values; those between others stay as they were."""
    scenario, shared = fit.scenario, _spread_known(fit.scenario, written)
    names = [_odds_key(scenario, each.parameter) for each in shared if len(each.places) == 1]
    places = [each.places[0] for each in shared if len(each.places) == 1]
    old = scenario.correlation
    fitted = {_odds_key(scenario, each.parameter) for each in written}
    kept = [k for k, key in enumerate(old.keys) if key not in fitted] if old else []
    whole = np.eye(len(names) + len(kept))
    whole[: len(names), : len(names)] = fit.correlation[np.ix_(places, places)]
    if old:
        whole[len(names) :, len(names) :] = old.matrix[np.ix_(kept, kept)]
        names += [old.keys[k] for k in kept]
    if "correlation" in document:
        del document["correlation"]
    if len(names) < 2:
        return
    rows = tomlkit.array().multiline(True)
    for row in _sound(whole):
        rows.append([f"{value:.6g}" for value in row])
    document["correlation"] = _as_table({"keys": names, "coefficients": rows, "origin": _plainly(origin)})


def _sound(matrix: Array) -> Array:
    """A correlation matrix that stays one when its numbers are rounded."""
    whole = 0.5 * (matrix + matrix.T)
    least = float(np.linalg.eigvalsh(whole)[0])
    share = max(0.0, (2.0 * _LEAST_EIGENVALUE - least) / (1.0 - least)) if least < 2.0 * _LEAST_EIGENVALUE else 0.0
    whole = np.round((1.0 - share) * whole, 6)
    np.fill_diagonal(whole, 1.0)
    return whole


# --- the file ---


def save(fit: Fit, new: Path, *, force: bool = False, anyway: bool = False, today: date | None = None) -> None:
    """Write a fitted scenario to a file.

    Parameters
    ----------
    fit : Fit
        What was fitted; the file of its scenario stays as it is.
    new : Path
        Where to write; curves and tyres that the scenario names have to be found from there as well.
    force : bool
        Whether a file that is there may be replaced.
    anyway : bool
        Whether a fit that is not to be used is written too; the file then says so.
    today : date, optional
        Day of the fit; today if left out.

    Raises
    ------
    UsageError
        The scenario does not come from a file, or its file says something else by now.
    InputError
        The car does not follow its logs, or the starts of the search do not agree;
        or the file is there, cannot be written, or could not be read back.
    """
    check_place(fit.scenario, new, force=force)
    if not fit.usable and not anyway:
        why = f"is not written, since {_against(fit)}: see the warnings"
        instead = "mend car or log, or have it written all the same (--save-anyway, or anyway=True)"
        raise InputError(Fault(_PLACE, f'"{new}"', why, instead))
    old = _file_of(fit.scenario)
    if load(old) != fit.scenario:
        raise UsageError(f"{old} does not hold the scenario that was fitted any more; load it and fit again")
    text = fitted_text(fit, read_text(old), today or date.today())
    try:
        from_mapping(tomllib.loads(text), str(new), new.parent)
    except InputError as error:
        raise InputError(
            f"{_PLACE} {new}: the fitted scenario would not be sound there, so it is not written: {error}"
        ) from None
    write(_PLACE, new, text, force=force)


def _file_of(scenario: Scenario) -> Path:
    if scenario.file is None:
        raise UsageError(
            "what is written is the scenario's own file with fitted values, and this scenario was changed after it was "
            "loaded, or does not come from a file: put its values into a file, and fit that"
        )
    return scenario.file


def check_place(scenario: Scenario, new: Path, *, force: bool, place: str = _PLACE) -> None:
    """Refuse to write to a place, before the work begins.

    Parameters
    ----------
    scenario : Scenario
        The scenario that is fitted.
    new : Path
        Where to write.
    force : bool
        Whether a file that is there may be replaced.
    place : str
        What named the file.

    Raises
    ------
    UsageError
        The scenario does not come from a file.
    InputError
        A file is there, is the scenario's own, is not TOML by its name, or its folder is not there.
    """
    old = _file_of(scenario)
    if new.suffix.lower() != ".toml":
        raise InputError(Fault(place, f'"{new}"', "does not end in .toml", "name a scenario file"))
    if not new.parent.is_dir():
        raise InputError(Fault(place, f'"{new}"', "lies in no folder that is there", "make the folder first"))
    if new.exists() and old.exists() and new.samefile(old):
        raise InputError(Fault(place, f'"{new}"', "is the scenario itself, which stays as it is", "give another name"))
    check(place, new, force=force)
