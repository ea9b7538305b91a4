"""`simlaunch curve`: from dyno sheets to one full-load curve of known correction and place."""

from __future__ import annotations

from simlaunch.analysis import curve as study
from simlaunch.cli import curve_options as given
from simlaunch.cli.curve_conditions import Driveline, weather
from simlaunch.cli.options import AsJson, Force, Out, Quiet, Units, meant
from simlaunch.cli.output import note, prepare, show
from simlaunch.cli.quantities import Asked, quantity_or_none
from simlaunch.cli.scenario_file import read
from simlaunch.cli.table_options import Decimal, Delimiter, Encoding, table_options
from simlaunch.errors import UsageError
from simlaunch.readers import columns
from simlaunch.readers import curve as sheet
from simlaunch.scenario import powertrain
from simlaunch.units.spelling import Dimension, System

_DISPLACEMENT = Asked("--displacement", Dimension.VOLUME, "50 cc", "30 l")
_CONSUMPTION = Asked("--fuel-consumption", Dimension.SPECIFIC_CONSUMPTION, "100 g/(kW h)", "2000 g/(kW h)")
_RATIO = Asked("--air-fuel-ratio", Dimension.NUMBER, "3", "100")


def _choices(names: list[str] | None, units: list[str] | None) -> columns.Choices:
    roles = (columns.ENGINE_SPEED, columns.TORQUE, columns.POWER)
    pairs = columns.pairs_named
    return columns.Choices(pairs(tuple(names or ()), "--column", roles), pairs(tuple(units or ()), "--unit", roles))


def curve(
    sheets: given.Sheets,
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
    units: Units = System.METRIC,
    as_json: AsJson = False,
    out: Out = None,
    force: Force = False,
    quiet: Quiet = False,
) -> int:
    """Make one full-load curve from dyno sheets.

    The output states how the sheets were read, and every step from their figures to the curve.
    """
    if override and not boosted:
        raise UsageError("--override corrects a boosted engine all the same; give it together with --boosted")
    volume = quantity_or_none(displacement, _DISPLACEMENT)
    mixture = quantity_or_none(fuel_consumption, _CONSUMPTION), quantity_or_none(air_fuel_ratio, _RATIO)
    stem = f"{sheets[0].stem}-curve"
    prepare(out, stem, force=force)
    car = None if scenario is None else read(scenario)
    if volume is None and car is not None and car.engine.displacement is not None:
        volume = car.engine.displacement.si
    way = Driveline(losses, gear, sweep_rate, measured_at, to)
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
    consumption, ratio = mixture
    found = study.read_curve(sheets, options, displacement=volume, fuel_consumption=consumption, air_fuel_ratio=ratio)
    if save is not None:
        found.save(save, overwrite=force)
    show(found, stem, units=units, as_json=as_json, out=out, force=force, quiet=quiet)
    if save is not None:
        note(f"wrote {save}", quiet=quiet)
    return 0
