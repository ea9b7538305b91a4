"""What torque is worth, as tables, as sentences and as JSON."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import isnan

import numpy as np

from simlaunch.analysis.simulate import target_label
from simlaunch.analysis.verdict import WORTH_NAMING
from simlaunch.analysis.worth import PedalWorth, Span, Worth, best_span, costly_span, first_used
from simlaunch.output.as_json import Object, listed, number
from simlaunch.output.layout import Row, Table, paragraph, short, tables_text
from simlaunch.output.words import CAUTION, NOT_REACHED, PEDAL_WORDS, Numbers, named
from simlaunch.record import Pedal
from simlaunch.units.quantity import display_unit
from simlaunch.units.spelling import Dimension, System

MORE = 10.0
"""Torque that worth is told for, in the unit that is shown."""

_MILLI = 1e3
_LEAST_TOLD = 0.5e-3  # a smaller time over a whole span is none worth telling [s]


@dataclass(frozen=True)
class _Teller:
    """Worth of so much torque as is told, in the units that are shown."""

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
        return f"{abs(self.seconds(gain)):.3f} s"

    def speed(self, value: float) -> str:
        return self.numbers.with_unit(value, Dimension.ROTATIONAL_SPEED)

    def between(self, span: Span) -> str:
        first = self.numbers.plain(span.first, Dimension.ROTATIONAL_SPEED)
        return f"between {first} and {self.speed(span.last)}"


def _heads(found: Worth, tell: _Teller) -> tuple[str, ...]:
    pedals = (text for each in found.pedals for text in (PEDAL_WORDS[each.pedal], "noise"))
    return (tell.numbers.unit(Dimension.TORQUE), *pedals)


def _band_table(found: Worth, tell: _Teller) -> Table:
    rows = []
    for k, middle in enumerate(found.middles):
        label = tell.numbers.plain(middle, Dimension.ROTATIONAL_SPEED)
        torque = tell.numbers.plain(found.torque[k], Dimension.TORQUE)
        cells = (text for each in found.pedals for text in (tell.cell(each.gain[k]), tell.doubt(float(each.noise[k]))))
        rows.append(Row(label, "rpm", (torque, *cells)))
    whole = (text for each in found.pedals for text in (tell.cell(each.whole), tell.doubt(each.whole_noise)))
    rows.append(Row("whole curve", "rpm", ("", *whole)))
    return Table(f"ms for {tell.more} at", _heads(found, tell), tuple(rows))


def _gear_table(found: Worth, each: PedalWorth, tell: _Teller) -> Table:
    used = [gear for gear, gains in enumerate(each.gears) if not np.isnan(gains).all()]
    rows = [
        Row(
            tell.numbers.plain(middle, Dimension.ROTATIONAL_SPEED),
            "rpm",
            tuple(tell.cell(each.gears[g, k]) for g in used),
        )
        for k, middle in enumerate(found.middles)
    ]
    heads = tuple(f"gear {gear + 1}" for gear in used)
    return Table(f"{PEDAL_WORDS[each.pedal]}, in one gear", heads, tuple(rows))


def _sums(results: Sequence[Worth], tell: _Teller) -> Table:
    rows = [
        Row(
            each.gear_set,
            "",
            tuple(
                text
                for pedal in each.pedals
                for text in (tell.numbers.plain(pedal.time, Dimension.TIME), tell.cell(pedal.whole))
            ),
        )
        for each in results
    ]
    heads = tuple(text for pedal in results[0].pedals for text in (f"{PEDAL_WORDS[pedal.pedal]}, s", "ms for it"))
    return Table(f"{tell.more} more everywhere", heads, tuple(rows))


def worth_tables(results: Sequence[Worth], units: System) -> tuple[Table, ...]:
    """Tables of every gear set, and one that sets them side by side where there are several."""
    tell = _Teller(Numbers(units))
    tables = []
    for each in results:
        tables.append(_band_table(each, tell))
        tables += [_gear_table(each, pedal, tell) for pedal in each.pedals if len(pedal.gears)]
    return (*tables, *([_sums(results, tell)] if len(results) > 1 else []))


def _gained(found: Worth, span: Span, tell: _Teller) -> str:
    full, held = (tell.time(gain) for gain in span.gains)
    goal = target_label(found.target)
    return f"{tell.more} more {tell.between(span)} buys {full} for {goal} ({held} with held slip)"


def _cost(span: Span, tell: _Teller) -> str:
    if abs(tell.seconds(span.gains[0])) < _LEAST_TOLD:
        what = "buys nothing with full pedal"
    else:
        what = f"costs {tell.time(span.gains[0])} with full pedal"
    why = " and only spins the tyres" if span.spins and span.gains[1] >= span.gains[0] else ""
    return f"{tell.between(span)} it {what}{why}"


def worth_verdict(found: Worth, units: System) -> str:
    """What a result comes to, in plain sentences."""
    tell, best, cost = _Teller(Numbers(units)), best_span(found), costly_span(found)
    told = [_gained(found, best, tell) if best else f"{tell.more} more gains no time anywhere"]
    if cost:
        told.append(_cost(cost, tell))
    unused = first_used(found)
    if unused > found.middles[0]:
        told.append(f"below {tell.speed(unused)} it changes nothing, since the engine does not run there")
    return f"{'; '.join(told)}."


def _wanted(results: Sequence[Worth], tell: _Teller) -> str:
    """The gear set with which the curve as it is gets there first."""
    times = [each.of(Pedal.FULL).time for each in results]
    best, first = results[int(np.argmin(times))], results[0]
    gain = times[0] - min(times)
    if gain < WORTH_NAMING:
        return f"{named(first.curve)} is as quick with {named(first.gear_set)} as with any other gear set."
    shown = tell.numbers.with_unit(min(times), Dimension.TIME)
    return (
        f"{named(first.curve)} wants gear set {named(best.gear_set)}: {shown}, {gain:.3f} s quicker than as described."
    )


def worth_text(results: Sequence[Worth], units: System) -> str:
    """Everything, with the verdict last."""
    first, tell, parts = results[0], _Teller(Numbers(units)), []
    about = f"Worth of torque for {target_label(first.target)}, curve {named(first.curve)}"
    parts.append(f"{short(first.scenario, 78)}\n{paragraph(about)}")
    for each in results:
        tables = tables_text(worth_tables((each,), units))
        head = [f'Gear set "{short(each.gear_set, 40)}"'] if len(results) > 1 else []
        parts += [*head, *tables]
    if len(results) > 1:
        parts += tables_text([_sums(results, tell)])
    parts.append(
        paragraph(
            f"Milliseconds gained by {tell.more} more about an engine speed; below zero, lost. A band fades out at the "
            "middles of its neighbours, so all bands add up to the whole curve. Noise: how far two step sizes differ. "
            "Shift speeds stay as they are. Worth is that of a small change; much torque gains less than it foretells."
        )
    )
    parts.append(paragraph(CAUTION))
    verdicts = [worth_verdict(each, units) for each in results]
    if len(results) > 1:
        verdicts = [f"{named(each.gear_set)}: {text}" for each, text in zip(results, verdicts, strict=True)]
        verdicts.append(_wanted(results, tell))
    parts.append("\n".join(["Verdict", *map(paragraph, verdicts)]))
    return "\n\n".join(parts)


_KEYS = {Pedal.FULL: "full_pedal", Pedal.HELD_SLIP: "held_slip"}


def _pedal_object(each: PedalWorth) -> Object:
    return {
        "time_s": number(each.time),
        "gain_s_per_N_m": listed(each.gain),
        "noise_s_per_N_m": listed(each.noise),
        "wheelspin_s_per_N_m": listed(each.spin),
        "whole_curve_gain_s_per_N_m": number(each.whole),
        "whole_curve_noise_s_per_N_m": number(each.whole_noise),
        "gain_by_gear_s_per_N_m": [listed(gains) for gains in each.gears],
    }


def worth_object(results: Sequence[Worth], units: System) -> Object:
    """Results as JSON, SI units."""
    return {
        "format": "simlaunch-worth-1",
        "scenario": results[0].scenario,
        "curve": results[0].curve,
        "target": target_label(results[0].target),
        "gear_sets": [
            {
                "gear_set": each.gear_set,
                "engine_speed_rad_per_s": listed(each.middles),
                "torque_N_m": listed(each.torque),
                "verdict": worth_verdict(each, units),
                **{_KEYS[pedal.pedal]: _pedal_object(pedal) for pedal in each.pedals},
            }
            for each in results
        ],
    }
