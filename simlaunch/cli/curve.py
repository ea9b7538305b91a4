"""`simlaunch curve`: from dyno sheets to one full-load curve on a known footing."""

from __future__ import annotations

from typing import TYPE_CHECKING

from simlaunch.cli import curve_options as given
from simlaunch.cli.options import AsJson, Force, Out, Quiet, Units, meant
from simlaunch.cli.output import Shown, deliver, prepare
from simlaunch.cli.quantities import Asked, quantity_or_none
from simlaunch.cli.table_options import Decimal, Delimiter, Encoding
from simlaunch.errors import UsageError
from simlaunch.units.spelling import Dimension, System

if TYPE_CHECKING:
    from simlaunch.readers.columns import Choices
    from simlaunch.readers.curve import CurveAccount, CurveOptions

_DISPLACEMENT = Asked("--displacement", Dimension.VOLUME, "50 cc", "30 l")
_CONSUMPTION = Asked("--fuel-consumption", Dimension.SPECIFIC_CONSUMPTION, "100 g/(kW h)", "2000 g/(kW h)")
_RATIO = Asked("--air-fuel-ratio", Dimension.NUMBER, "3", "100")


def _choices(columns: list[str] | None, units: list[str] | None) -> Choices:
    from simlaunch.readers.columns import ENGINE_SPEED, POWER, TORQUE, Choices, pairs_named

    roles = (ENGINE_SPEED, TORQUE, POWER)
    return Choices(
        pairs_named(tuple(columns or ()), "--column", roles), pairs_named(tuple(units or ()), "--unit", roles)
    )


def _check_all_used(account: CurveAccount, options: CurveOptions) -> None:
    """Refuse what was given and played no part, since it was meant to."""
    if options.losses is not None and not account.conversion:
        raise UsageError(
            f"losses are given, but the figures stand at the {account.measured_at} already; leave the losses out, "
            "or say with --to where the curve shall be valid"
        )
    if options.weather is not None and account.taken_back is None:
        raise UsageError(
            "the weather is given, but no correction; say with --correction which one the figures carry (none: as "
            "measured), and with --to-correction which one is wanted"
        )


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
    """Make one full-load curve of dyno sheets, and say what was understood and done on the way."""
    from simlaunch.analysis.engine_figures import engine_figures
    from simlaunch.cli.curve_conditions import Driveline, weather
    from simlaunch.cli.scenario_file import read
    from simlaunch.cli.table_options import table_options
    from simlaunch.output.curve import curve_tables, curve_text
    from simlaunch.output.curve_as_json import curve_object
    from simlaunch.readers.curve import CurveOptions, read_curve_sheets, write_curve
    from simlaunch.scenario import powertrain

    if override and not boosted:
        raise UsageError("--override goes with --boosted: it takes back what that one does")
    volume = quantity_or_none(displacement, _DISPLACEMENT)
    mixture = quantity_or_none(fuel_consumption, _CONSUMPTION), quantity_or_none(air_fuel_ratio, _RATIO)
    stem = f"{sheets[0].stem}-curve"
    prepare(out, stem, force=force)
    car = None if scenario is None else read(scenario)
    if volume is None and car is not None and car.engine.displacement is not None:
        volume = car.engine.displacement.si
    way = Driveline(losses, gear, sweep_rate, measured_at, to)
    options = CurveOptions(
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
    account = read_curve_sheets(sheets, options)
    _check_all_used(account, options)
    figures = engine_figures(account, volume, *mixture)
    if save is not None:
        write_curve(account, save, overwrite=force)

    def drawn() -> dict[str, object]:
        from simlaunch.plotting.curve import curve_figure

        return {"torque": curve_figure(account, figures, units)}

    shown = Shown(
        stem,
        text=lambda: curve_text(account, figures, save, units),
        document=lambda: curve_object(account, figures, save),
        tables=lambda: curve_tables(account, figures, units),
        figures=drawn,
    )
    deliver(shown, as_json=as_json, out=out, force=force, quiet=quiet)
    return 0
