"""Numbers, labels and sentences as they are printed; a number is rounded in one place, so it reads alike everywhere."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import isfinite, isnan

from simlaunch.analysis.demand import Demand, PeakEvent
from simlaunch.analysis.simulate import target_label
from simlaunch.analysis.verdict import WORTH_NAMING, Case, Finding, Sureness, Verdict
from simlaunch.output.layout import short
from simlaunch.record import Pedal
from simlaunch.units.quantity import to_display
from simlaunch.units.spelling import Dimension, System, kinds

NOT_REACHED = "-"
PEDAL_WORDS = {Pedal.FULL: "full pedal", Pedal.HELD_SLIP: "held slip"}
CAUTION = (
    "Drive launches on a closed course only. Hold part torque against the maker's ratings, and emissions and "
    "road law against any change of torque; leave the work on the car to qualified people. A calculation "
    "shows tendencies; it approves no car and no part."
)
_LONGEST_NAME = 24

_DIGITS: dict[Dimension, int] = {
    Dimension.TIME: 3,
    Dimension.SPEED: 1,
    Dimension.TORQUE: 0,
    Dimension.ENERGY: 1,
    Dimension.LENGTH: 1,
    Dimension.MASS: 0,
    Dimension.SHARE: 1,
    Dimension.SLOPE: 1,
    Dimension.ROTATIONAL_SPEED: 0,
    Dimension.NUMBER: 3,
    Dimension.DENSITY: 4,
    Dimension.ACCELERATION: 2,
    Dimension.POWER: 1,
    Dimension.PRESSURE: 2,
    Dimension.MASS_FLOW: 1,
}


@dataclass(frozen=True)
class Numbers:
    """Numbers in one system of units."""

    system: System

    def plain(self, value_si: float, dimension: Dimension) -> str:
        """Number without its unit; a hyphen where there is none."""
        return self._text(value_si, dimension, "")

    def signed(self, value_si: float, dimension: Dimension) -> str:
        """Number that carries its sign; zero has none."""
        return self._text(value_si, dimension, "+")

    def with_unit(self, value_si: float, dimension: Dimension) -> str:
        """Number and unit; a hyphen alone where there is no number."""
        if not isfinite(value_si):
            return NOT_REACHED
        return f"{self.plain(value_si, dimension)} {self.unit(dimension)}".strip()

    def rough(self, value_si: float, dimension: Dimension) -> str:
        """Number of three digits with its unit, for what is known no better."""
        shown, unit = to_display(value_si, dimension, self.system)
        return f"{shown:.3g} {unit}".strip()

    def times(self, ratio: float) -> str:
        """How many times as much, for what is known no better than to some percent."""
        return f"{ratio:.2f}" if isfinite(ratio) else NOT_REACHED

    def unit(self, dimension: Dimension) -> str:
        """Label of the unit; empty for a pure number."""
        return kinds()[dimension].label(self.system)

    def _text(self, value_si: float, dimension: Dimension, sign: str) -> str:
        if not isfinite(value_si):
            return NOT_REACHED
        offset_free, _ = to_display(float(value_si), dimension, self.system)
        text = f"{offset_free:{sign}.{_DIGITS[dimension]}f}"
        return text if text.strip("+-0.") else text.lstrip("+-")


def named(curve: str) -> str:
    """Name of a curve inside a sentence."""
    return f'"{short(curve, _LONGEST_NAME)}"'


# --- the verdict ---


def above_the_curve(*, converter: bool) -> str:
    """Why a steady pull at clutch or gearbox input is higher than the curve's highest torque."""
    if converter:
        return (
            "Steady pull above the curve's highest torque: the converter multiplies torque while it slips, and turning "
            "parts that slow give back inertia."
        )
    return "Steady pull above the curve's highest torque: the engine slows there and gives back inertia."


def event_words(event: PeakEvent, numbers: Numbers) -> str:
    """What the highest torque of a part comes from; empty where that is not known."""
    if not event.cause:
        return event.when
    torque = "" if isnan(event.torque) else f" {numbers.with_unit(event.torque, Dimension.TORQUE)}"
    return f"{event.when}: {event.cause}{torque}"


def allowed_share(demand: Demand, event: PeakEvent, numbers: Numbers) -> str:
    """The torque of a part that comes nearest to what is allowed, as a share of that, and what a shock comes from."""
    share = numbers.with_unit(demand.share, Dimension.SHARE)
    if not demand.in_shocks:
        return f"in steady pull to {share} of its rating"
    told = event_words(event, numbers)
    return f"in shocks to {share} of its torque of expected failure{f' ({told})' if told else ''}"


@dataclass(frozen=True)
class _Teller:
    """The phrases that a verdict is put together from."""

    case: Case
    numbers: Numbers
    grip_doubt: float

    def seconds(self, value: float) -> str:
        return self.numbers.with_unit(abs(value), Dimension.TIME)

    def torque(self, value: float) -> str:
        return self.numbers.with_unit(value, Dimension.TORQUE)

    def gap(self, value: float) -> str:
        """How the higher peak fares against the lower one."""
        if isnan(value):
            return "without a finish"
        if float(self.numbers.plain(value, Dimension.TIME)) == 0.0:
            return f"level ({self.seconds(value)})"
        return f"{self.seconds(value)} {'slower' if value > 0.0 else 'quicker'}"

    def peaks(self) -> str:
        """The curve with the higher peak, and by how much it is higher."""
        more = self.numbers.plain(self.case.higher_peak - self.case.lower_peak, Dimension.TORQUE)
        higher, unit = named(self.case.higher), self.numbers.unit(Dimension.TORQUE)
        if float(more) == 0.0:
            return f"with the same peak torque (difference {more} {unit}), {higher}"
        return f"with {more} {unit} more peak torque, {higher}"

    def times(self) -> str:
        goal = target_label(self.case.target)
        higher, lower = self.seconds(self.case.higher_time), self.seconds(self.case.lower_time)
        return f"takes {higher} for {goal} against {lower} with {named(self.case.lower)}"

    def cost(self) -> str:
        """Wheelspin with the higher peak against that with the lower, and what it asks of the driveline."""
        spin = self.case.spin_times
        told = tuple(self.seconds(time) for time in spin)
        wheelspin = f"brings {told[0]} of wheelspin against {told[1]}"
        if float(self.numbers.plain(max(spin), Dimension.TIME)) == 0.0:
            wheelspin = f"brings no wheelspin with either curve ({told[0]})"
        return f"{wheelspin} and {self.load() or self.pull()}"

    def pull(self) -> str:
        """Steady torque at the gearbox input, where no part is rated."""
        higher, lower = self.case.input_torques
        return f"pulls {self.torque(higher)} at the gearbox input against {self.torque(lower)}"

    def share(self, value: float) -> str:
        return self.numbers.with_unit(value, Dimension.SHARE)

    def load(self) -> str:
        """The part that is asked most above what it is allowed, or else comes nearest; empty where none is rated."""
        worst = self.case.overload or max(self.case.rated, key=lambda part: part.shares[0], default=None)
        if worst is None or isnan(worst.shares[0]):
            return ""
        alike = f", as with {named(self.case.lower)}" if worst.over[1] else ""
        flag = f" (too much{alike})" if worst.over[0] else ""
        choice = ", the same with both curves and so no reason to choose" if worst.alike else ""
        return f"loads {named(worst.part)} {allowed_share(worst.demands[0], worst.event, self.numbers)}{flag}{choice}"

    def certainty(self) -> str:
        if self.case.sureness:
            return "holds"
        return "is not sure" if any(isnan(gap) for gap in self.case.grip_gaps) else "holds"

    def doubt(self) -> str:
        """How the difference fares in the drawn cases, or else with other grip."""
        return self.cases(self.case.sureness) if self.case.sureness else self.grip()

    def cases(self, sure: Sureness) -> str:
        ahead = sure.quicker[0] >= sure.slower[0]
        share, low, high = sure.quicker if ahead else sure.slower
        told = f"{'quicker' if ahead else 'slower'} in {self.share(share)} of {sure.cases} drawn cases"
        return f"{told} ({self.numbers.plain(low, Dimension.SHARE)} to {self.share(high)})"

    def grip(self) -> str:
        percent = self.numbers.plain(self.grip_doubt, Dimension.SHARE).removesuffix(".0")
        less, more = (self.gap(gap) for gap in self.case.grip_gaps)
        return f"{less} with {percent} % less grip and {more} with {percent} % more"

    def held(self) -> str:
        """What slip control would change; empty where it changes nothing worth a word."""
        full, held = self.case.full_gap, self.case.held_gap
        if isnan(held) or isnan(full) or abs(held) < WORTH_NAMING:
            return ""
        if held < 0.0 and full > -WORTH_NAMING:
            return f"; with slip control the higher peak would help, {self.gap(held)}"
        if held > 0.0 and full < WORTH_NAMING:
            return f"; with slip control it would be {self.gap(held)}"
        return ""


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _helps(tell: _Teller) -> tuple[str, str]:
    return (
        f"{tell.peaks()} {tell.times()}: {tell.seconds(tell.case.full_gap)} gained",
        f"it {tell.cost()}; the gain {tell.certainty()}: {tell.doubt()}{tell.held()}",
    )


def _hurts(tell: _Teller) -> tuple[str, str]:
    return (
        f"{tell.peaks()} {tell.times()}: {tell.seconds(tell.case.full_gap)} lost",
        f"it {tell.cost()}; the loss {tell.certainty()}: {tell.doubt()}{tell.held()}",
    )


def _no_difference(tell: _Teller) -> tuple[str, str]:
    nothing = f"other grip changes nothing worth naming: {tell.doubt()}"
    if sure := tell.case.sureness:
        within = tell.seconds(WORTH_NAMING)
        nothing = f"{tell.share(sure.level)} of {sure.cases} drawn cases are level within {within}"
    return (
        f"{tell.peaks()} {tell.times()}: no difference worth naming ({tell.seconds(tell.case.full_gap)})",
        f"it {tell.cost()}; {nothing}{tell.held()}",
    )


def _depends(tell: _Teller) -> tuple[str, str]:
    return (
        f"{tell.peaks()} {tell.times()}: {tell.gap(tell.case.full_gap)}, but that depends on the grip",
        f"it {tell.cost()}; which curve is quicker is not sure: {tell.grip()}{tell.held()}",
    )


def _not_sure(tell: _Teller) -> tuple[str, str]:
    return (
        f"{tell.peaks()} {tell.times()}: {tell.gap(tell.case.full_gap)}, but that is not sure",
        f"it {tell.cost()}; which curve is quicker is not sure: {tell.doubt()}{tell.held()}",
    )


def _overloads(tell: _Teller) -> tuple[str, str]:
    first, second = _helps(tell)
    either = " with either curve" if tell.case.overload_is_shared else ""
    return f"{first}, but too much is asked of a part{either}", second


def _out_of_reach(tell: _Teller) -> tuple[str, str]:
    case, goal = tell.case, target_label(tell.case.target)
    ends = {case.higher: case.higher_time, case.lower: case.lower_time}
    there = [f"{named(name)} in {tell.seconds(time)}" for name, time in ends.items() if not isnan(time)]
    short_of = [named(name) for name, time in ends.items() if isnan(time)]
    if there and short_of:
        reached = f"{goal} was reached by {there[0]}, but not by {short_of[0]}"
    else:
        reached = f"{goal} was reached neither by {short_of[0]} nor by {short_of[1]}"
    return (
        f"no verdict: {reached}",
        f"so far it {tell.cost()}; raise run.time_limit or lower the goal to learn more",
    )


_TELL: dict[Finding, Callable[[_Teller], tuple[str, str]]] = {
    Finding.HELPS: _helps,
    Finding.HELPS_BUT_OVERLOADS: _overloads,
    Finding.HURTS: _hurts,
    Finding.NO_DIFFERENCE: _no_difference,
    Finding.DEPENDS_ON_GRIP: _depends,
    Finding.NOT_SURE: _not_sure,
    Finding.OUT_OF_REACH: _out_of_reach,
}


def sentences(verdict: Verdict, system: str) -> tuple[str, str]:
    """The verdict in two sentences: what is gained or lost, then what it costs and how sure that is."""
    tell = _Teller(verdict.case, Numbers(System(system)), verdict.grip_doubt)
    first, second = _TELL[verdict.finding](tell)
    return f"{_capital(first)}.", f"{_capital(second)}."
