"""Weather, places and losses of `simlaunch curve`: from what was typed to what the figures stand on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from simlaunch.cli.curve_options import PlaceChoice
from simlaunch.cli.quantities import Asked, quantity
from simlaunch.errors import UsageError
from simlaunch.parameters import weather as corrections
from simlaunch.readers import reference_conditions
from simlaunch.scenario import powertrain
from simlaunch.units.spelling import Dimension

if TYPE_CHECKING:
    from simlaunch.scenario.model import Scenario

_PRESSURE = Asked("--pressure", Dimension.PRESSURE, "40 kPa", "120 kPa")
_TEMPERATURE = Asked("--temperature", Dimension.TEMPERATURE, "-50 degC", "70 degC")
_HUMIDITY = Asked("--humidity", Dimension.SHARE, "0 %", "100 %")
_LOSSES = Asked("--losses", Dimension.SHARE, "0 %", "50 %")
_SWEEP_RATE = Asked("--sweep-rate", Dimension.ROTATIONAL_ACCELERATION, "0 rpm/s", "20000 rpm/s")


def weather(pressure: str | None, temperature: str | None, humidity: str | None) -> corrections.Weather | None:
    """Air of the test; None where it is not given."""
    if pressure is None and temperature is None and humidity is None:
        return None
    if pressure is None or temperature is None or humidity is None:
        given = {"--pressure": pressure, "--temperature": temperature, "--humidity": humidity}
        missing = " and ".join(option for option, text in given.items() if text is None)
        raise UsageError(f"a correction needs the whole weather of the test; give {missing} too")
    return corrections.Weather(
        quantity(pressure, _PRESSURE), quantity(temperature, _TEMPERATURE), quantity(humidity, _HUMIDITY)
    )


@dataclass(frozen=True)
class Driveline:
    """What was typed of the way from the crank to the place of measurement."""

    losses: str | None
    gear: int | None
    sweep_rate: str | None
    measured_at: PlaceChoice | None
    to: PlaceChoice | None

    @property
    def given(self) -> bool:
        """Whether any losses are named."""
        return self.losses is not None or self.gear is not None

    @property
    def wanted_at(self) -> PlaceChoice | None:
        """Where the curve shall be valid; the crank where losses are named and nothing else is said."""
        return PlaceChoice.CRANK if self.to is None and self.given else self.to

    def between(self, scenario: Scenario | None) -> reference_conditions.Losses | None:
        """Losses as stated, or those of a scenario's driveline; None where none are named."""
        if self.losses is not None and self.gear is not None:
            raise UsageError("--losses states the losses, and --gear works them out; give one of the two")
        if self.sweep_rate is not None and self.gear is None:
            raise UsageError(
                "--sweep-rate is used with the inertia of a scenario; give --gear and --scenario too, or leave it out"
            )
        if self.losses is not None:
            return reference_conditions.stated_losses(quantity(self.losses, _LOSSES))
        return None if self.gear is None else self._of(scenario, self.gear)

    def _of(self, scenario: Scenario | None, gear: int) -> reference_conditions.Losses:
        if scenario is None:
            raise UsageError("--gear names a gear of a scenario; give it with --scenario FILE")
        if self.sweep_rate is None:
            raise UsageError('--gear needs --sweep-rate too, such as "300 rpm/s", or "0 rpm/s" for steady points')
        outer = next((place for place in (self.to, self.measured_at) if place not in (None, PlaceChoice.CRANK)), None)
        if outer is None:
            raise UsageError("--gear needs a place beyond the crank; give --measured-at or --to with hub or wheel")
        place = powertrain.MeasuredAt(outer.value)
        return reference_conditions.driveline_losses(scenario, place, gear, quantity(self.sweep_rate, _SWEEP_RATE))
