"""`simlaunch curve`: from dyno sheets or logged pulls to one full-load curve of known correction and place."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from simlaunch.analysis import curve as study
from simlaunch.analysis import curve_from_log
from simlaunch.cli import curve_options as given
from simlaunch.cli.curve_conditions import Driveline, weather
from simlaunch.cli.file_lists import taking_lists
from simlaunch.cli.log import Channels, channels_named, units_named
from simlaunch.cli.options import AsJson, Force, Out, Quiet, Units, meant
from simlaunch.cli.output import note, prepare, show
from simlaunch.cli.quantities import Asked, quantity_or_none
from simlaunch.cli.scenario_file import read
from simlaunch.cli.table_options import Decimal, Delimiter, Encoding, table_options
from simlaunch.errors import UsageError
from simlaunch.readers import columns
from simlaunch.readers import curve as sheet
from simlaunch.readers import log as logged
from simlaunch.scenario import powertrain
from simlaunch.units import gate
from simlaunch.units.spelling import Dimension, System

_DISPLACEMENT = Asked("--displacement", Dimension.VOLUME, "50 cc", "30 l")
_CONSUMPTION = Asked("--fuel-consumption", Dimension.SPECIFIC_CONSUMPTION, "100 g/(kW h)", "2000 g/(kW h)")
_RATIO = Asked("--air-fuel-ratio", Dimension.NUMBER, "3", "100")
_HOLD_TO = Asked("--hold-to", Dimension.ROTATIONAL_SPEED, "500 rpm", "30000 rpm")


def _choices(names: list[str] | None, units: list[str] | None) -> columns.Choices:
    roles = (columns.ENGINE_SPEED, columns.TORQUE, columns.POWER)
    pairs = columns.pairs_named
    return columns.Choices(pairs(tuple(names or ()), "--column", roles), pairs(tuple(units or ()), "--unit", roles))


def curve(
    sheets: given.Sheets = None,
    from_log: given.FromLog = None,
    channel: Channels = None,
    column: given.ColumnNames = None,
    unit: given.ColumnUnits = None,
    encoding: Encoding = None,
    delimiter: Delimiter = None,
    decimal: Decimal = None,
    leave_out: given.LeaveOut = None,
    no_smoothing: given.NoSmoothing = False,
    measured_at: given.MeasuredAt = None,
    to: given.To = None,
    losses: given.Losses = None,
    scenario: given.FromScenario = None,
    gear: given.Gear = None,
    sweep_rate: given.SweepRate = None,
    correction: given.Carried = None,
    to_correction: given.Wanted = None,
    pressure: given.Pressure = None,
    temperature: given.Temperature = None,
    humidity: given.Humidity = None,
    boosted: given.Boosted = False,
    override: given.Override = False,
    displacement: given.Displacement = None,
    fuel_consumption: given.FuelConsumption = None,
    air_fuel_ratio: given.AirFuelRatio = None,
    save: given.Save = None,
    hold_to: given.HoldTo = None,
    units: Units = System.METRIC,
    as_json: AsJson = False,
    out: Out = None,
    force: Force = False,
    quiet: Quiet = False,
) -> int:
    """Make one full-load curve from dyno sheets, or from logged pulls.

    The output states how sheets or logs were read, and every step from their figures to the curve.
    """
    if from_log:
        idle = {
            "SHEET": sheets, "--column": column, "--leave-out": leave_out, "--no-smoothing": no_smoothing,
            "--measured-at": measured_at, "--to": to, "--losses": losses, "--sweep-rate": sweep_rate,
            "--correction": correction, "--to-correction": to_correction, "--pressure": pressure,
            "--temperature": temperature, "--humidity": humidity, "--boosted": boosted, "--override": override,
        }  # fmt: skip
        if taken := [name for name, value in idle.items() if value]:
            raise UsageError(
                f"--from-log cannot be combined with {', '.join(taken)}; save the curve, then read it like a sheet"
            )
    elif channel:
        raise UsageError("--channel applies to --from-log; for a sheet, write --column")
    elif not sheets:
        raise UsageError("no dyno sheet is named; name one, or a logged pull with --from-log")
    if override and not boosted:
        raise UsageError("--override corrects a boosted engine all the same; give it together with --boosted")
    if hold_to is not None and save is None:
        raise UsageError("--hold-to applies to the curve that --save writes; give --save too")
    volume = quantity_or_none(displacement, _DISPLACEMENT)
    mixture = quantity_or_none(fuel_consumption, _CONSUMPTION), quantity_or_none(air_fuel_ratio, _RATIO)
    stem = f"{(from_log or sheets or [])[0].stem}-curve"
    prepare(out, stem, force=force)
    car = None if scenario is None else read(scenario)
    if volume is None and car is not None and car.engine.displacement is not None:
        volume = car.engine.displacement.si
    consumption, ratio = mixture
    engine = {
        "displacement": volume, "fuel_consumption": consumption, "air_fuel_ratio": ratio,
        "hold_to": quantity_or_none(hold_to, _HOLD_TO),
    }  # fmt: skip
    if from_log:
        if car is None:
            raise UsageError("--from-log needs the car of a scenario; give --scenario too")
        logs = logged.LogOptions(
            channels_named(channel), units_named(unit), table=table_options(encoding, delimiter, decimal)
        )
        named = _gear(gear, "all")
        found = curve_from_log.read_curve_from_logs(from_log, car, gear=named, options=logs, units=units, **engine)
        return _shown(found, stem, save, units, as_json, out, force, quiet)
    way = Driveline(losses, _gear(gear), sweep_rate, measured_at, to)
    options = sheet.CurveOptions(
        table=table_options(encoding, delimiter, decimal),
        choices=_choices(column, unit),
        leave_out=tuple(leave_out or ()),
        smoothing=not no_smoothing,
        carried=meant(correction, powertrain.Correction),
        wanted=meant(to_correction, powertrain.Correction),
        weather=weather(pressure, temperature, humidity),
        boosted=boosted,
        correct_boosted=override,
        measured_at=meant(measured_at, powertrain.MeasuredAt),
        wanted_at=meant(way.wanted_at, powertrain.MeasuredAt),
        losses=way.between(car),
    )
    rev_limit = None if car is None else car.engine.rev_limit.si
    found = study.read_curve(sheets or (), options, rev_limit=rev_limit, **engine)
    return _shown(found, stem, save, units, as_json, out, force, quiet)


_MOST_GEARS = 12


def _gear(text: str | None, *words: str) -> Any:
    """A gear by its number, or one of some words."""
    if text is None or text in words:
        return text
    if not (text.isascii() and text.isdecimal()) or int(text) > _MOST_GEARS:
        joins = ', or "all" for all gears of the logs' if words else ""
        raise UsageError(f"--gear {gate.quoted(text)} is no gear; write 1 to {_MOST_GEARS}, such as 4{joins}")
    return int(text)


def _shown(
    found: study.DynoCurve, stem: str, save: Path | None, units: System, as_json: bool, out: Path | None, force: bool,
    quiet: bool,
) -> int:  # fmt: skip
    if save is not None:
        found.save(save, overwrite=force)
    show(found, stem, units=units, as_json=as_json, out=out, force=force, quiet=quiet)
    if save is not None:
        note(f"wrote {save}", quiet=quiet)
    return 0


curve.command_class = taking_lists("--from-log")  # type: ignore[attr-defined]
