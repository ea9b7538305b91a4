"""Numbers, labels and sentences as they are printed; a number is rounded in one place, so it reads alike everywhere."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import ceil, floor, isfinite, isnan

from simlaunch.analysis.odds import Odds
from simlaunch.comparing.attribution import LimitsByGear, Span
from simlaunch.comparing.driving import Tried
from simlaunch.comparing.shapley import Share
from simlaunch.comparing.verdict import Case, Finding, Verdict
from simlaunch.launching.goals import WORTH_NAMING, target_label
from simlaunch.output.layout import NOT_REACHED as NOT_REACHED
from simlaunch.output.layout import short
from simlaunch.ratings.demand import Demand, PeakEvent
from simlaunch.record import Pedal
from simlaunch.scenario.model import UNLIKE_SIDES, Scenario, unlike_sides
from simlaunch.units.gate import quoted
from simlaunch.units.quantity import to_display
from simlaunch.units.spelling import Dimension, System, kinds

PEDAL_WORDS = {Pedal.FULL: "full pedal", Pedal.HELD_SLIP: "held slip"}
CAUTION = (
    "Drive launches on a closed course only. Hold part torque against the maker's ratings, and emissions and "
    "road law against any change of torque; leave the work on the car to qualified people. A calculation "
    "shows tendencies; it approves no car and no part."
)


def sides_caution(scenario: Scenario) -> str:
    """What to take care of besides on a road whose sides grip unlike; empty elsewhere."""
    return f"On this road {UNLIKE_SIDES}." if unlike_sides(scenario) else ""


def caution(scenario: Scenario) -> str:
    """What to take care of with results of a scenario."""
    return f"{CAUTION} {sides_caution(scenario)}".rstrip()


_LONGEST_NAME = 32
_MOST_SPANS = 3  # of engine speed in a sentence; tables hold them all
_LEVEL_POWER = 1e-3  # a smaller share of the peak power is no reason for anything
_SENTENCE_DIGITS = 2  # of a time in a sentence

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


def gears_words(gears: Sequence[int]) -> str:
    """Gears by their numbers: gear 1, or gears 1, 2 and 3."""
    *others, last = map(str, gears)
    return f"gears {', '.join(others)} and {last}" if others else f"gear {last}"


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

    def beside(self, one: float, other: float, dimension: Dimension) -> tuple[str, str, str]:
        """Two numbers and their difference, which is that of the numbers as printed: a reader who subtracts finds it.

        >>> Numbers(System.METRIC).beside(49.988, 50.013, Dimension.SPEED)
        ('180.0', '180.0', '0.0')
        """
        first, second = self.plain(one, dimension), self.plain(other, dimension)
        if NOT_REACHED in (first, second):
            return first, second, NOT_REACHED
        text = f"{float(second) - float(first):+.{_DIGITS[dimension]}f}"
        return first, second, text if text.strip("+-0.") else text.lstrip("+-")

    def times(self, ratio: float) -> str:
        """How many times as much, for what is known no better than to some percent."""
        return f"{ratio:.2f}" if isfinite(ratio) else NOT_REACHED

    def rounded_time(self, seconds: float) -> str:
        """Time in a sentence, to a hundredth of a second, as timing is read; tables hold the thousandth."""
        return f"{seconds:.{_SENTENCE_DIGITS}f} s" if isfinite(seconds) else NOT_REACHED

    def rounded_span(self, seconds: float) -> str:
        """How long something lasts; no time is printed as 0.00 s, since that reads like none."""
        if seconds == 0.0:
            return "none"
        return self.rounded_time(seconds) if not seconds < 0.5 * WORTH_NAMING else f"less than {self.least()}"

    def rounded_times(self, first: float, second: float) -> tuple[str, str]:
        """Two times whose difference is stated beside them.

        To a thousandth where two hundredths would not differ by the hundredth that is stated, so a reader who subtracts
        finds what is printed.
        """
        one, other = (round(100.0 * float(f"{time:.2f}")) if isfinite(time) else 0 for time in (first, second))
        gap = abs(second - first)
        if isnan(gap) or gap < WORTH_NAMING or f"{gap:.2f}" == f"{abs(other - one) / 100.0:.2f}":
            return self.rounded_time(first), self.rounded_time(second)
        return self.with_unit(first, Dimension.TIME), self.with_unit(second, Dimension.TIME)

    def gap_words(self, seconds: float, more: str, less: str) -> str:
        """Difference in words; one that is not worth naming has no sign.

        >>> Numbers(System.METRIC).gap_words(-0.25, "slower", "quicker")
        '0.25 s quicker'
        >>> Numbers(System.METRIC).gap_words(0.0098, "slower", "quicker")
        'level within 0.01 s'
        """
        if abs(seconds) < WORTH_NAMING:
            return f"level {self.within()}"
        return f"{self.rounded_time(abs(seconds))} {more if seconds > 0.0 else less}"

    def least(self) -> str:
        """Smallest difference that is worth naming."""
        return self.rounded_time(WORTH_NAMING)

    def within(self) -> str:
        """How close two times are that are called level."""
        return f"within {self.least()}"

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


CASES_HEADS = ("cases", "from [%]", "to [%]")
"""Columns of a table of tallies."""


@dataclass(frozen=True)
class Tally:
    """How many of so many cases, and what share of all cases that makes likely.

    Parameters
    ----------
    cases : int
        How many there are.
    share, low, high : float
        Share of them, and the interval that holds the true share [-].
    """

    cases: int
    share: float
    low: float
    high: float

    @property
    def count(self) -> int:
        """How many."""
        return round(self.share * self.cases)

    @property
    def percents(self) -> tuple[int, int]:
        """The interval in whole percent, rounded outwards: a few hundred cases do not support tenths."""
        return floor(100.0 * self.low + 1e-9), ceil(100.0 * self.high - 1e-9)

    @property
    def cells(self) -> tuple[str, str, str]:
        """Count and interval for a table."""
        low, high = self.percents
        return str(self.count), str(low), str(high)

    def words(self, what: str) -> str:
        """In words, such as "in all 256 cases (at least 98 %)"."""
        low, high = self.percents
        if self.count == self.cases:
            return f"in all {self.cases} {what} (at least {low} %)"
        if self.count == 0:
            return f"in none of {self.cases} {what} (at most {high} %)"
        return f"in {self.count} of {self.cases} {what} ({low} to {high} %)"


# --- the verdict ---

_ALIKE = 0.05
"""Wheelspin times that differ by no larger share last about as long: a reader sees a tenth as a difference [-]."""

_HOLDS = (0.5, 2.0)
"""A gap that stays within these multiples of itself is said to hold (common practice) [-]."""


def above_the_curve(*, converter: bool) -> str:
    """Why a steady pull at clutch or gearbox input is higher than the curve's highest torque."""
    if converter:
        return (
            "Steady pull exceeds the curve's highest torque: the converter multiplies torque while it slips, and parts "
            "that slow down add the torque of their inertia."
        )
    return "Steady pull exceeds the curve's highest torque: the engine slows there, and its inertia adds torque."


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
    cause = event_words(event, numbers)
    return f"in shocks to {share} of its torque of expected failure{f' ({cause})' if cause else ''}"


@dataclass(frozen=True)
class _Phrases:
    """The phrases that a verdict is put together from."""

    case: Case
    numbers: Numbers
    grip_doubt: float

    def seconds(self, value: float) -> str:
        return self.numbers.rounded_time(abs(value))

    def torque(self, value: float) -> str:
        return self.numbers.with_unit(value, Dimension.TORQUE)

    def gap(self, value: float) -> str:
        """How the higher peak fares against the lower one."""
        return self.numbers.gap_words(value, "slower", "quicker") if isfinite(value) else "without a finish"

    def peaks(self) -> str:
        """The curve with the higher peak: by how much it is higher, and how the peak powers compare."""
        case, numbers = self.case, self.numbers
        torque = numbers.beside(case.lower_peak, case.higher_peak, Dimension.TORQUE)[2].lstrip("+")
        *powers, gap = map(float, numbers.beside(case.higher_power, case.lower_power, Dimension.POWER))
        power = f"{abs(gap):.{_DIGITS[Dimension.POWER]}f}"
        unit, watts = numbers.unit(Dimension.TORQUE), numbers.unit(Dimension.POWER)
        same_torque = float(torque) == 0.0
        first = "the same peak torque" if same_torque else f"{torque} {unit} more peak torque"
        if powers[0] == powers[1] or float(power) == 0.0:
            return f"{named(case.higher)} has {first}{'' if same_torque else ' and the same peak power'}"
        if not same_torque and abs(case.higher_power - case.lower_power) < _LEVEL_POWER * case.higher_power:
            return f"{named(case.higher)} has {first} and, within {100.0 * _LEVEL_POWER:g} %, the same peak power"
        more = powers[0] > powers[1]
        joint = "and" if more or same_torque else "but"
        return f"{named(case.higher)} has {first} {joint} {power} {watts} {'more' if more else 'less'} peak power"

    def times(self) -> str:
        """Which curve is quicker, to what, and both times."""
        case = self.case
        goal = target_label(case.target)
        higher, lower = self.numbers.rounded_times(case.higher_time, case.lower_time)
        if abs(case.full_gap) < WORTH_NAMING:
            if higher == lower:
                return f"{named(case.higher)} and {named(case.lower)} both take {higher} for {goal}"
            return f"{named(case.higher)} takes {higher} for {goal}, {named(case.lower)} {lower}"
        quick, slow = (case.higher, case.lower) if case.full_gap < 0.0 else (case.lower, case.higher)
        one, other = (higher, lower) if case.full_gap < 0.0 else (lower, higher)
        return f"{named(quick)} takes {one} for {goal}, {named(slow)} {other}"

    def quicker(self) -> str:
        """By how much the quicker curve is so."""
        case = self.case
        return f"{named(case.higher if case.full_gap < 0.0 else case.lower)} is {self.seconds(case.full_gap)} quicker"

    def elsewhere(self) -> str:
        """Where the other curve wins, or either where they are level here; empty where there is no such test."""
        test = self.case.won_elsewhere
        if test is None:
            return ""
        winner = named(self.case.higher if test.gap < 0.0 else self.case.lower)
        return f"; in {quoted(test.target.label)} {winner} is {self.seconds(test.gap)} quicker"

    def why(self) -> str:
        """Peaks of both curves, and what each span of engine speed adds to the gap."""
        case = self.case
        if case.why is None:
            return self.peaks()
        limits = self.limits(case.why.limits)
        if not case.why.spans:
            same = "both curves are the same at every engine speed"
            return f"{same} but for their torque limits by gear: {limits}" if limits else same
        peak = case.why.peak
        others = [span for span in case.why.spans if span is not peak and abs(span.full.share) >= WORTH_NAMING]
        others.sort(key=lambda span: -abs(span.full.share))
        counts = [*([peak] if peak else []), *others][:_MOST_SPANS]
        by_gear = f"; {limits}" if limits else ""
        if not counts:
            return f"{self.peaks()}; no span of engine speed makes a difference worth naming{by_gear}"
        ordered = sorted(counts, key=lambda span: -abs(span.full.share))
        return f"{self.peaks()}: {', '.join(self.span(span) for span in ordered)}{by_gear}"

    def limits(self, limits: LimitsByGear | None) -> str:
        """What the torque limits by gear do, with the gears in which they differ; empty where they do not."""
        if limits is None:
            return ""
        return f"the difference in torque limits of {gears_words(limits.gears)} {self.does(limits.full)}"

    def other_driving(self) -> str:
        """What the gap would be if each curve were launched and shifted as suits it best."""
        driving = self.case.driving
        if driving is None:
            return ""
        driven = ""
        if (tried := driving.launch) and tried.best and (tried.matters or tried.changes_sides):
            lower, higher = (self.numbers.plain(tried.values[k], Dimension.ROTATIONAL_SPEED) for k in tried.best)
            unit = self.numbers.unit(Dimension.ROTATIONAL_SPEED)
            at = f"{lower} {unit}" if lower == higher else f"{higher} and {lower} {unit}"
            driven += f"; launched at {at}, which suits each best of the speeds tried, {self.at_best(tried)}"
        if (tried := driving.shifts) and tried.best and (tried.matters or tried.changes_sides):
            driven += f"; with the shift speeds that suit each best, of those tried, {self.at_best(tried)}"
        return driven

    def at_best(self, tried: Tried) -> str:
        return f"{named(self.case.higher)} is {self.gap(tried.gap_at_best)}"

    def span(self, span: Span) -> str:
        """What one span does, in which the curves may interact."""
        ends = [self.numbers.plain(each, Dimension.ROTATIONAL_SPEED) for each in (span.start, span.end)]
        where = f"{span.name.value} ({ends[0]} to {ends[1]} {self.numbers.unit(Dimension.ROTATIONAL_SPEED)})"
        return f"{where} {self.does(span.full)}{self.hardly_used(span)}{self.spin_takes(span)}"

    def hardly_used(self, span: Span) -> str:
        """How long the engine runs in the span of a peak that makes no difference, and how much of it with spin."""
        used = self.case.peak_use
        peak = self.case.why.peak if self.case.why else None
        share = span.full
        if span is not peak or used is None or max(map(abs, (share.share, share.least, share.most))) >= WORTH_NAMING:
            return ""
        inside, spinning = (self.numbers.rounded_span(each) for each in used)
        of_it = "" if used[1] < 0.5 * WORTH_NAMING else f", {spinning} of it with spinning tyres"
        return f" (the engine runs there for {inside}{of_it})"

    def does(self, share: Share) -> str:
        """Gain or loss of a span, with its range where that depends on the rest of the curve."""
        ends = (share.least, share.most)
        if all(abs(each) < WORTH_NAMING for each in (*ends, share.share)):
            return "makes no difference worth naming"
        if ends[0] <= -WORTH_NAMING and ends[1] >= WORTH_NAMING:
            return f"gains {self.seconds(ends[0])} or loses {self.seconds(ends[1])}, depending on the rest of the curve"
        if abs(share.share) < WORTH_NAMING:
            return "makes next to no difference"
        change = f"{'gains' if share.share < 0.0 else 'loses'} {self.seconds(share.share)}"
        least, most = sorted(map(abs, ends))
        if most - least > max(WORTH_NAMING, 0.5 * abs(share.share)):
            return f"{change} ({self.numbers.rounded_span(least)} to {self.seconds(most)}, depending on the rest)"
        return change

    def spin_takes(self, span: Span) -> str:
        """What the span would do with held slip, where wheelspin takes some of it; only the peak's is named."""
        peak = self.case.why.peak if self.case.why else None
        held = span.held.share
        if span is not peak or span.full.share - held < max(WORTH_NAMING, 0.1 * abs(held)):
            return ""
        if abs(held) < WORTH_NAMING:
            return "; with slip control it would lose nothing worth naming"
        return f"; with slip control it would {'gain' if held < 0.0 else 'lose'} {self.seconds(held)}"

    def cost(self) -> str:
        """Wheelspin with both curves, and what the higher peak asks of the driveline: facts, not causes of the gap."""
        load = self.load()
        return f"{self.wheelspin()}; {f'{named(self.case.higher)} {load}' if load else self.pull()}"

    def wheelspin(self) -> str:
        """Wheelspin time with both curves; it is one thing among others that go into a time."""
        higher, lower = self.case.spin_times
        most = max(higher, lower)
        if most < 0.5 * WORTH_NAMING:
            return "there is no wheelspin with either curve" if most == 0.0 else self._next_to_none()
        alike = "wheelspin lasts about as long" if abs(higher - lower) <= _ALIKE * most else "wheelspin"
        times = {self.case.higher: higher, self.case.lower: lower}
        each = (f"{self.numbers.rounded_span(time)} with {named(name)}" for name, time in times.items())
        return f"{alike}: {', '.join(each)}"

    def _next_to_none(self) -> str:
        return f"wheelspin lasts less than {self.numbers.least()} with either curve"

    def pull(self) -> str:
        """Steady torque at the gearbox input, where no part is rated."""
        higher, lower = map(self.torque, self.case.input_torques)
        if higher == lower:
            return f"both pull {higher} at the gearbox input"
        return f"{named(self.case.higher)} pulls {higher} at the gearbox input against {lower}"

    def share(self, value: float) -> str:
        return self.numbers.with_unit(value, Dimension.SHARE)

    def load(self) -> str:
        """The part that is asked most above what it is allowed, or else comes nearest; empty where none is rated."""
        worst = self.case.worst
        if worst is None:
            return ""
        part, event = worst.higher, worst.higher.event
        alike = f", as with {named(self.case.lower)}" if worst.lower.broken else ""
        flag = f" (too much{alike})" if part.broken else ""
        choice = ", the same with both curves and so no reason to choose" if worst.alike else ""
        return f"loads {named(part.name)} {allowed_share(part.demand, event, self.numbers)}{flag}{choice}"

    def certainty(self) -> str:
        """What other grip, or the cases, make of a gain or a loss."""
        if drawn := self.case.odds:
            low, middle, high = drawn.difference_quantiles()
            return "holds" if _alike(middle, (low, high)) else "varies"
        if any(isnan(gap) for gap in self.case.grip_gaps):
            return "is not sure"
        return "holds" if _alike(self.case.full_gap, self.case.grip_gaps) else "varies with the grip"

    def doubt(self) -> str:
        """How the difference fares in the cases, or else with other grip."""
        return self.cases(self.case.odds) if self.case.odds else self.grip()

    def cases(self, drawn: Odds) -> str:
        quicker, slower = drawn.second_quicker, drawn.first_quicker
        ahead = quicker.share >= slower.share
        chance = quicker if ahead else slower
        tally = Tally(drawn.cases, chance.share, chance.low, chance.high)
        outcome = f"{'quicker' if ahead else 'slower'} {tally.words('cases')}"
        low, _, high = drawn.difference_quantiles()
        least, most = sorted((abs(low), abs(high)))
        named = least >= WORTH_NAMING and isfinite(most) and low * high > 0.0
        if self.certainty() != "varies" or not named:
            return outcome
        return f"{outcome}, mostly by {self.seconds(least)} to {self.seconds(most)}"

    def grip(self) -> str:
        percent = self.numbers.plain(self.grip_doubt, Dimension.SHARE).removesuffix(".0")
        less, more = (self.gap(gap) for gap in self.case.grip_gaps)
        if less == more:
            return f"{less} with {percent} % less grip and with {percent} % more"
        return f"{less} with {percent} % less grip and {more} with {percent} % more"

    def named_gaps(self, gaps: str) -> str:
        """The same, with the curve named that is quicker or slower."""
        return f"{named(self.case.higher)} is {gaps}"

    def held(self) -> str:
        """What slip control would change; empty where it changes nothing worth a word."""
        full, held = self.case.full_gap, self.case.held_gap
        if isnan(held) or isnan(full) or abs(held) < WORTH_NAMING:
            return ""
        turns = (held < 0.0 and full > -WORTH_NAMING) or (held > 0.0 and full < WORTH_NAMING)
        return f"; with slip control {named(self.case.higher)} would be {self.gap(held)}" if turns else ""


def _alike(gap: float, others: tuple[float, ...]) -> bool:
    """Whether gaps are of one sign, worth naming and of one size."""
    if gap == 0.0 or not all(map(isfinite, (gap, *others))):
        return False
    least, most = _HOLDS
    return all(abs(other) >= WORTH_NAMING and least <= other / gap <= most for other in others)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _three(say: _Phrases, first: str, doubt: str) -> tuple[str, ...]:
    """Who wins, why, and at what cost and how surely."""
    return (
        f"{say.times()}: {first}{say.elsewhere()}",
        f"{say.why()}{say.other_driving()}",
        f"{say.cost()}; {doubt}{say.held()}",
    )


def _settled(say: _Phrases, further: str = "") -> tuple[str, ...]:
    return _three(say, f"{say.quicker()}{further}", f"the difference {say.certainty()}: {say.named_gaps(say.doubt())}")


def _no_difference(say: _Phrases) -> tuple[str, ...]:
    gap, what = say.case.full_gap, f"no difference worth naming ({say.numbers.within()})"
    if drawn := say.case.odds:
        level = round(drawn.level * drawn.cases)
        nothing = f"{level} of {drawn.cases} cases are level {say.numbers.within()}"
        if abs(gap) >= WORTH_NAMING:
            what = f"{say.quicker()}, but in most cases there is no difference worth naming"
    elif any(map(isnan, say.case.grip_gaps)):
        nothing = f"on other grip that is not sure: {say.doubt()}"
    else:
        nothing = f"other grip changes nothing worth naming: {say.doubt()}"
    return _three(say, what, nothing)


def _open_gap(say: _Phrases) -> str:
    """The gap of a comparison that is not settled."""
    level = abs(say.case.full_gap) < WORTH_NAMING
    return f"they are level {say.numbers.within()}" if level else say.quicker()


def _depends(say: _Phrases) -> tuple[str, ...]:
    return _three(
        say,
        f"{_open_gap(say)}, but that depends on the grip",
        f"which curve is quicker is not sure: {say.named_gaps(say.grip())}",
    )


def _depends_on_driver(say: _Phrases) -> tuple[str, ...]:
    launch = say.case.driving is not None and say.case.turned_by_driver is say.case.driving.launch
    return _three(
        say,
        f"{_open_gap(say)}, but that depends on the {'launch' if launch else 'shift speeds'}",
        f"as launched and shifted here, {say.named_gaps(say.doubt())}",
    )


def _not_sure(say: _Phrases) -> tuple[str, ...]:
    return _three(
        say,
        f"{_open_gap(say)}, but that is not sure",
        f"which curve is quicker is not sure: {say.named_gaps(say.doubt())}",
    )


def _overloads(say: _Phrases) -> tuple[str, ...]:
    either = " with either curve" if say.case.overload_is_shared else ""
    return _settled(say, f", but too much is asked of a part{either}")


def _out_of_reach(say: _Phrases) -> tuple[str, ...]:
    case, goal = say.case, target_label(say.case.target)
    ends = {case.higher: case.higher_time, case.lower: case.lower_time}
    there = [f"{named(name)} in {say.seconds(time)}" for name, time in ends.items() if not isnan(time)]
    short_of = [named(name) for name, time in ends.items() if isnan(time)]
    if there and short_of:
        reached = f"{goal} was reached by {there[0]}, but not by {short_of[0]}"
    else:
        reached = f"{goal} was reached neither by {short_of[0]} nor by {short_of[1]}"
    whys = set(case.why_missed.values())
    each = whys if len(whys) == 1 else [f"with {named(name)} {why}" for name, why in case.why_missed.items()]
    return f"no verdict: {reached}", "; ".join((f"so far, {say.cost()}", *each))


_SENTENCES: dict[Finding, Callable[[_Phrases], tuple[str, ...]]] = {
    Finding.HELPS: _settled,
    Finding.HELPS_BUT_OVERLOADS: _overloads,
    Finding.HURTS: _settled,
    Finding.NO_DIFFERENCE: _no_difference,
    Finding.DEPENDS_ON_LAUNCH: _depends_on_driver,
    Finding.DEPENDS_ON_SHIFTS: _depends_on_driver,
    Finding.DEPENDS_ON_GRIP: _depends,
    Finding.NOT_SURE: _not_sure,
    Finding.OUT_OF_REACH: _out_of_reach,
}


def sentences(verdict: Verdict, system: str) -> tuple[str, ...]:
    """The verdict in three sentences: which curve is quicker, why, and what it costs and how sure that is.

    Two where the goal was not reached: then nothing is known of a cause.
    """
    say = _Phrases(verdict.case, Numbers(System(system)), verdict.grip_doubt)
    return tuple(f"{_capital(each)}." for each in _SENTENCES[verdict.finding](say))
