"""What torque is worth, as tables, as sentences and as JSON."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import isnan
from typing import Any

import numpy as np
from numpy.typing import NDArray

from simlaunch.analysis.worth import (
    Beyond,
    GearSetWorth,
    PedalWorth,
    Span,
    Worth,
    best_span,
    beyond,
    costly_span,
    unused,
)
from simlaunch.launching.goals import WORTH_NAMING, target_label
from simlaunch.metrics.marks import Kind
from simlaunch.output.as_json import Object, group_object
from simlaunch.output.groups import with_unit
from simlaunch.output.layout import Row, Table, paragraph, short, tables_text
from simlaunch.output.words import NOT_REACHED, PEDAL_WORDS, Numbers, caution, gears_words, named
from simlaunch.quantities import reported
from simlaunch.record import Pedal
from simlaunch.units.quantity import display_unit
from simlaunch.units.spelling import Dimension, System

MORE = 10.0
"""Amount of torque for which worth is stated, in the unit that is shown."""

_MILLI = 1e3
LEAST = 0.5e-3
"""Smallest time over a whole span that is worth naming [s]."""


@dataclass(frozen=True)
class _Shown:
    """Worth of a stated amount of torque, in the units that are shown."""

    numbers: Numbers

    @property
    def more(self) -> str:
        return f"{MORE:.0f} {self.numbers.unit(Dimension.TORQUE)}"

    def seconds(self, gain: float) -> float:
        """Time gained by so much torque [s]."""
        return MORE * gain / float(display_unit(Dimension.TORQUE, self.numbers.system).of(1.0))

    def cell(self, gain: float) -> str:
        if isnan(gain):
            return NOT_REACHED
        text = f"{_MILLI * self.seconds(gain):.2f}"
        return text if text.strip("-0.") else text.lstrip("-")

    def doubt(self, noise: float) -> str:
        """Noise, one digit finer than what it belongs to."""
        return f"{_MILLI * self.seconds(noise):.3f}"

    def time(self, gain: float) -> str:
        return self.numbers.rounded_span(abs(self.seconds(gain)))

    def nothing(self, gain: float) -> bool:
        """Whether a gain or a cost is too small to name."""
        return abs(self.seconds(gain)) < LEAST

    def change(self, gain: float) -> str:
        """What more torque does, in words."""
        return "buys nothing" if self.nothing(gain) else f"{'buys' if gain > 0.0 else 'costs'} {self.time(gain)}"

    def speed(self, value: float) -> str:
        return self.numbers.with_unit(value, Dimension.ROTATIONAL_SPEED)

    def between(self, span: Span) -> str:
        first = self.numbers.plain(span.first, Dimension.ROTATIONAL_SPEED)
        return f"between {first} and {self.speed(span.last)}"


def _heads(found: GearSetWorth, shown: _Shown) -> tuple[str, ...]:
    pedals = (text for each in found.pedals for text in (PEDAL_WORDS[each.pedal], "noise"))
    return (with_unit("curve", shown.numbers.unit(Dimension.TORQUE)), *pedals)


def _band_table(found: GearSetWorth, shown: _Shown) -> Table:
    rows = []
    for k, label in enumerate(_labels(found, shown)):
        torque = shown.numbers.plain(found.torque[k], Dimension.TORQUE)
        cells = (
            text for each in found.pedals for text in (shown.cell(each.gain[k]), shown.doubt(float(each.noise[k])))
        )
        rows.append(Row(label, "rpm", (torque, *cells)))
    whole = (text for each in found.pedals for text in (shown.cell(each.whole), shown.doubt(each.whole_noise)))
    rows.append(Row("whole curve", "rpm", ("", *whole)))
    return Table("ms gained at", _heads(found, shown), tuple(rows))


def _labels(found: GearSetWorth, shown: _Shown) -> list[str]:
    """Middles of the bands; a band that takes in all beyond it says so."""
    labels = [shown.numbers.plain(middle, Dimension.ROTATIONAL_SPEED) for middle in found.middles]
    below, above = found.open_ends
    labels[0] = f"up to {labels[0]}" if below else labels[0]
    labels[-1] = f"from {labels[-1]}" if above else labels[-1]
    return labels


def _gear_table(found: GearSetWorth, each: PedalWorth, shown: _Shown) -> Table:
    used = [gear for gear, gains in enumerate(each.gears) if not np.isnan(gains).all()]
    rows = [
        Row(
            label,
            "rpm",
            tuple(shown.cell(each.gears[g, k]) for g in used),
        )
        for k, label in enumerate(_labels(found, shown))
    ]
    heads = tuple(f"gear {gear + 1}" for gear in used)
    return Table(f"{PEDAL_WORDS[each.pedal]}, in one gear", heads, tuple(rows))


def _sums(results: Sequence[GearSetWorth], shown: _Shown) -> Table:
    rows = [
        Row(
            each.gear_set,
            "",
            tuple(
                text
                for pedal in each.pedals
                for text in (shown.numbers.plain(pedal.time, Dimension.TIME), shown.cell(pedal.whole))
            ),
        )
        for each in results
    ]
    heads = tuple(text for pedal in results[0].pedals for text in (f"{PEDAL_WORDS[pedal.pedal]} [s]", "gain [ms]"))
    return Table(f"{shown.more} more everywhere", heads, tuple(rows))


def gear_set_tables(found: GearSetWorth, system: System) -> tuple[Table, ...]:
    """Tables of one gear set."""
    shown = _Shown(Numbers(system))
    return (_band_table(found, shown), *(_gear_table(found, each, shown) for each in found.pedals if len(each.gears)))


def tables(worth: Worth, system: System) -> tuple[Table, ...]:
    """Tables of every gear set, and one that sets them side by side where there are several."""
    each = [table for found in worth.gear_sets for table in gear_set_tables(found, system)]
    several = len(worth.gear_sets) > 1
    return (*each, *([_sums(worth.gear_sets, _Shown(Numbers(system)))] if several else []))


def _gained(found: GearSetWorth, span: Span, shown: _Shown) -> str:
    full, held = span.gains
    gained = f"{shown.more} more {shown.between(span)} {shown.change(full)} for {target_label(found.target)}"
    if abs(shown.seconds(held - full)) < 0.5 * WORTH_NAMING:
        return f"{gained}, with held slip as with full pedal"  # two roundings would make a difference of a small one
    return f"{gained} ({shown.change(held)} with held slip)"


def _cost(span: Span, shown: _Shown) -> str:
    """What more torque costs; empty where that is nothing, and no spinning tyre is the reason."""
    full, held = span.gains
    only_spins = span.spins and held >= full
    if shown.nothing(full) and not only_spins:
        return ""
    why = " and only spins the tyres" if only_spins else ""
    return f"{shown.between(span)} it {shown.change(full)} with full pedal{why}"


def _in_limited_gears(found: GearSetWorth, shown: _Shown) -> list[str]:
    """What more torque does in each gear that limits it, full pedal, where torque in one gear was weighed."""
    gears = found.of(Pedal.FULL).gears
    return [
        f"in gear {gear} alone, its torque limit raised with the curve, {shown.more} more {shown.change(float(gain))}"
        for gear in found.limited_gears
        if len(gears) and not isnan(gain := float(gears[gear - 1].sum()))
    ]


def _limits(found: GearSetWorth) -> str:
    """What becomes of torque limits by gear; empty where the curve has none."""
    if not found.limited_gears:
        return ""
    kept = f" Torque limits stay as they are in {gears_words(found.limited_gears)}, where the engine gives no more."
    if not len(found.pedals[0].gears):
        return kept
    return f"{kept} In the tables of torque in one gear, the limit of that gear is raised with the curve."


def _unused(found: GearSetWorth, shown: _Shown) -> str:
    """Where more torque changes nothing, since the engine is not there; empty where it does change something."""
    (below, above), ends = unused(found), (found.middles[0], found.middles[-1])
    where = [f"below {shown.speed(below)}"] if below > ends[0] else []
    where += [f"above {shown.speed(above)}"] if above < ends[1] else []
    outside = (found.middles < below) | (found.middles > above)
    changes = any(not shown.nothing(float(np.abs(each.gain[outside]).sum())) for each in found.pedals)
    if not where or changes:
        return ""
    within = f" within {target_label(found.target)}" if found.target.kind is Kind.SPAN else ""
    return f"{' and '.join(where)} it changes nothing, since the engine does not run there{within}"


def _held_flat(end: Beyond, shown: _Shown, *, below: bool) -> str:
    """That the curve is held beyond its last point, from which speed on, how far that matters and what it is worth."""
    torque = shown.numbers.with_unit(end.torque, Dimension.TORQUE)
    which, to = ("below", "down to") if below else ("above", "up to")
    held = f"{which} {shown.speed(end.end)} the curve gives no torque and is held at {torque}; the engine runs {to}"
    held += f" {shown.speed(end.reached)}"
    if end.band is None:
        return held
    edge = end.band.last if below else end.band.first
    return (
        f"{held}, and {shown.more} more in all of that, {which} {shown.speed(edge)}, {shown.change(end.band.gains[0])}"
    )


def verdict(found: GearSetWorth, system: System) -> str:
    """What torque is worth with one gear set, in plain sentences."""
    shown, best, cost = _Shown(Numbers(system)), best_span(found), costly_span(found)
    gains = best is not None and not all(map(shown.nothing, best.gains))
    nowhere = f"{shown.more} more gains no time worth naming anywhere that the curve is given"
    findings = [_gained(found, best, shown) if gains and best else nowhere]
    findings += [_cost(cost, shown)] if cost else []
    findings += _in_limited_gears(found, shown)
    findings.append(_unused(found, shown))
    findings += [
        _held_flat(end, shown, below=below) for end, below in zip(beyond(found), (True, False), strict=True) if end
    ]
    return f"{'; '.join(filter(None, findings))}."


def _wanted(results: Sequence[GearSetWorth], shown: _Shown) -> str:
    """The gear set with which the curve as it is gets there first."""
    times = [each.of(Pedal.FULL).time for each in results]
    best, first = results[int(np.argmin(times))], results[0]
    gain = times[0] - min(times)
    if gain < WORTH_NAMING:
        least = shown.numbers.least()
        return f"No gear set makes {named(first.curve)} quicker by {least} or more than {named(first.gear_set)}."
    time, saved = (shown.numbers.rounded_time(time) for time in (min(times), gain))
    return f"{named(first.curve)} wants gear set {named(best.gear_set)}: {time}, {saved} quicker than as described."


def _verdicts(worth: Worth, system: System) -> list[str]:
    """A verdict for each gear set, and where there are several, which of them the curve wants."""
    verdicts = [verdict(each, system) for each in worth.gear_sets]
    if len(verdicts) == 1:
        return verdicts
    each = (f"{named(found.gear_set)}: {text}" for found, text in zip(worth.gear_sets, verdicts, strict=True))
    return [*each, _wanted(worth.gear_sets, _Shown(Numbers(system)))]


def summary(worth: Worth, system: System) -> str:
    """What torque is worth, in plain sentences."""
    return " ".join(_verdicts(worth, system))


def text(worth: Worth, system: System) -> str:
    """Everything, with the verdict last."""
    first, shown, several = worth.first, _Shown(Numbers(system)), len(worth.gear_sets) > 1
    about = f"Worth of torque for {target_label(first.target)}, curve {named(first.curve)}"
    parts = [f"{short(worth.scenario.name, 78)}\n{paragraph(about)}"]
    for each in worth.gear_sets:
        head = [f'Gear set "{short(each.gear_set, 40)}"'] if several else []
        parts += [*head, *tables_text(gear_set_tables(each, system))]
    if several:
        parts += tables_text([_sums(worth.gear_sets, shown)])
    parts.append(
        paragraph(
            f"A cell states the milliseconds that {shown.more} more around an engine speed gain; below zero, they lose "
            "time. The added torque falls to nothing at the middles of the neighbouring bands, so that all bands add "
            "up to the whole curve. Noise: the difference between two step sizes. Shift speeds stay as they are. The "
            f"numbers hold for small changes; a large one gains less than they suggest.{_limits(first)}"
        )
    )
    parts.append(paragraph(f"Caution: {caution(worth.scenario)}"))
    parts.append("\n".join(["Verdict", *map(paragraph, _verdicts(worth, system))]))
    return "\n\n".join(parts)


_BAND = ("gain", "noise", "wheelspin")
_KEYS = {Pedal.FULL: "full_pedal", Pedal.HELD_SLIP: "held_slip"}


def columns(worth: Worth) -> Mapping[str, NDArray[Any]]:
    """Every band of every gear set, with the gain, the noise and the wheelspin of both pedals."""
    sets = worth.gear_sets
    bands = {each.key: np.concatenate([each.of(one) for one in sets]) for each in reported("worth_band").values()}
    pedals = {
        f"{key}_{each.key}": np.concatenate([each.of(one.of(pedal)) for one in sets])
        for pedal, key in _KEYS.items()
        for each in reported("worth", _BAND).values()
    }
    return {"gear_set": np.concatenate([np.full(each.middles.size, each.gear_set) for each in sets]), **bands, **pedals}


def document(worth: Worth) -> Object:
    """Results as JSON, SI units; the verdict in metric ones."""
    return {
        "format": "simlaunch-worth-1",
        "scenario": worth.scenario.name,
        "curve": worth.first.curve,
        "target": target_label(worth.first.target),
        "gear_sets": [
            {
                "gear_set": each.gear_set,
                **group_object("worth_band", each),
                **group_object("worth_curve", each),
                "limited_gears": list(each.limited_gears),
                "verdict": verdict(each, System.METRIC),
                **{_KEYS[pedal.pedal]: group_object("worth", pedal) for pedal in each.pedals},
            }
            for each in worth.gear_sets
        ],
    }
