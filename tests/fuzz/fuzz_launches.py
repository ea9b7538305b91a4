"""Random fuzzing of whole launches: sound scenarios over the full range of every key, each run and measured.

    python tests/fuzz/fuzz_launches.py 20000

The scenarios come from the demonstration scenarios, of which a few keys, half of them, or all of them are drawn anew
from everything that `check` accepts, with the ends of each range among them. A launch may end at its target, at its
time limit, stalled, or in a refusal with exit code 3 or 4. Anything else is a fault, and so is a launch that takes
longer than the time limit. The seed decides every scenario; `--seed` changes it, `--first` leaves out earlier cases.
"""

from __future__ import annotations

import argparse
import faulthandler
import sys
import time
import warnings
from collections import Counter
from collections.abc import Iterator, Mapping
from pathlib import Path
from types import UnionType
from typing import Annotated, Literal, Union, get_args, get_origin

import numpy as np
from pydantic import BaseModel

from simlaunch.analysis.simulate import simulate
from simlaunch.analysis.usable import usable
from simlaunch.errors import InputError, SimlaunchError
from simlaunch.record import Pedal
from simlaunch.scenario.car import Body, Drive, Tyre
from simlaunch.scenario.model import Run, Scenario
from simlaunch.scenario.powertrain import (
    Engine,
    FrictionClutch,
    Gearbox,
    Launch,
    PedalSettings,
    TorqueConverter,
    TorqueDip,
    TorqueGap,
    TorqueHandOver,
)
from simlaunch.scenario.reading import load
from simlaunch.scenario.surroundings import Air, Road, surfaces
from simlaunch.units.field import Within
from simlaunch.units.quantity import to_si
from simlaunch.units.spelling import Dimension, kinds

SAMPLES = Path(__file__).parents[2] / "scenarios"
SECONDS = 60
"""Time that one case may take [s]; none came near it."""
SLOW = 5
"""A case that takes longer is printed, as is each refusal [s]."""

_PLAIN: Mapping[str, type[BaseModel]] = {
    "body": Body, "air": Air, "road": Road, "drive": Drive, "engine": Engine, "gearbox": Gearbox, "launch": Launch,
    "pedal": PedalSettings, "run": Run,
}  # fmt: skip
_COUPLINGS = (FrictionClutch, TorqueConverter)
_SHIFTS = (TorqueGap, TorqueHandOver, TorqueDip)
_AT_AN_END = 0.3
_MOST_TRIES = 400

Changes = dict[str, object]
Draw = np.random.Generator


def _text(value: float, dimension: Dimension) -> str:
    """A value in SI units as it would be typed: in a unit that stands for one, or else in the first of its units."""
    units = {spelled: to_si(f"1 {spelled}".strip(), dimension) for spelled in kinds()[dimension].spelling}
    unit = next((spelled for spelled, size in units.items() if size == 1.0), next(iter(units)))
    return f"{value / units[unit]:.9g} {unit}".strip()


def drawn(within: Within, rng: Draw) -> str:
    """Text of a value from anywhere in its range: an end of it, even over it, or even over its powers of ten."""
    dimension, low, high = within.ranges[int(rng.integers(len(within.ranges)))]
    if rng.random() < _AT_AN_END:
        return low if rng.random() < 0.5 else high
    least, most = to_si(low, dimension), to_si(high, dimension)
    if least >= 0.0 and rng.random() < 0.5:
        value = float(np.exp(rng.uniform(np.log(max(least, 1e-4 * most)), np.log(most))))
    else:
        value = float(rng.uniform(least, most))
    if within.whole:
        value = float(round(value))
    return _text(value, dimension)


def _within(annotation: object, metadata: object = ()) -> Within | None:
    """Range of a field that holds one number, or may."""
    if isinstance(metadata, list | tuple):
        found = next((each for each in metadata if isinstance(each, Within)), None)
        if found is not None:
            return found
    if get_origin(annotation) is Annotated:
        inner, *more = get_args(annotation)
        return _within(inner, more)
    if get_origin(annotation) in (Union, UnionType):
        return next((found for each in get_args(annotation) if (found := _within(each)) is not None), None)
    return None


def numbers(model: type[BaseModel]) -> Mapping[str, Within]:
    """Every key of a section that holds one number, with its range."""
    found = {name: _within(field.annotation, field.metadata) for name, field in model.model_fields.items()}
    return {name: within for name, within in found.items() if within is not None}


def words(model: type[BaseModel]) -> Mapping[str, tuple[str, ...]]:
    """Every key of a section that holds one of some words, with these; its kind is left out."""
    fields = model.model_fields.items()
    return {n: get_args(f.annotation) for n, f in fields if get_origin(f.annotation) is Literal and n != "kind"}


def _section(model: type[BaseModel], rng: Draw, share: float) -> Changes:
    """Values for a share of the keys of a section."""
    made: Changes = {name: drawn(within, rng) for name, within in numbers(model).items() if rng.random() < share}
    made |= {name: str(rng.choice(each)) for name, each in words(model).items() if rng.random() < share}
    return made


def _tyre(rng: Draw, share: float) -> Changes:
    made = _section(Tyre, rng, share)
    made.setdefault("friction", f"{rng.uniform(0.6, 1.8):.3f}")
    if "radius" in made:
        made.pop("rolling_factor_of_radius", None)
    else:
        made["size"] = f"{rng.integers(125, 400)}/{rng.integers(25, 90)} R{rng.integers(10, 24)}"
    return made


def _table(speeds: np.ndarray, values: np.ndarray, unit: str) -> list[list[str]]:
    return [[f"{speed:.7g} rpm", f"{value:.7g} {unit}"] for speed, value in zip(speeds, values, strict=True)]


def _curve(rng: Draw, last: float) -> list[list[str]]:
    """A full-load curve up to a speed [rpm]: any shape, any height."""
    count = int(rng.integers(2, 40))
    speeds = np.sort(rng.uniform(0.0, last, count))
    speeds[-1] = last
    peak = 10.0 ** rng.uniform(0.0, 4.3)
    torque = peak * np.clip(rng.uniform(-0.2, 1.2, count), 0.0, 1.0)
    return _table(speeds, np.minimum(torque, 20000.0), "N m")


def _engine(rng: Draw, share: float) -> Changes:
    """An engine whose speeds agree with each other, and a curve and a launch that fit it."""
    made: Changes = {f"engine.{name}": value for name, value in _section(Engine, rng, share).items()}
    limit = 10.0 ** rng.uniform(2.0, np.log10(30000.0))
    idle = limit * rng.choice([0.0, rng.uniform(0.0, 0.9)])
    made |= {"engine.rev_limit": f"{limit:.6g} rpm", "engine.idle": f"{idle:.6g} rpm"}
    made["engine.limiter_band"] = f"{min(max(1.0, rng.uniform(0.0, 0.9) * (limit - idle)), 1000.0):.6g} rpm"
    made["launch.engine_speed"] = f"{idle + rng.choice([0.0, 0.999, rng.random()]) * (limit - idle):.6g} rpm"
    speeds = np.linspace(0.0, limit, int(rng.integers(2, 10)))
    made["engine.overrun_torque"] = _table(speeds, rng.uniform(0.0, 200.0, speeds.size), "N m")
    made["engine.boost_time_constant"] = _table(speeds, 10.0 ** rng.uniform(-3.0, 1.3, speeds.size), "s")
    made["curves"] = [{"name": "drawn", "points": _curve(rng, limit * rng.choice([1.0, 1.2]) + 1.0)}]
    return made


def _ratios(rng: Draw) -> list[float]:
    count = int(rng.integers(1, 13))
    first = 10.0 ** rng.uniform(-0.9, 1.47)
    steps = np.cumprod(np.concatenate(([1.0], rng.uniform(0.55, 0.99, count - 1))))
    return [ratio for ratio in (first * steps).tolist() if ratio >= 0.1][:12]


def _gearbox(rng: Draw, share: float) -> Changes:
    made = {f"gearbox.{name}": value for name, value in _section(Gearbox, rng, share).items()}
    ratios = _ratios(rng)
    made["gearbox.ratios"] = [f"{ratio:.6g}" for ratio in ratios]
    each = [f"{value:.4g}" for value in rng.uniform(0.3, 1.0, len(ratios))]
    made["gearbox.efficiency"] = each if rng.random() < 0.5 else each[:1]
    made["gearbox.shift_at"] = "best force"
    return made


def _shift(rng: Draw, share: float) -> Changes:
    shift = _SHIFTS[int(rng.integers(3))]
    kind = get_args(shift.model_fields["kind"].annotation)[0]
    return {"gearbox.shift": {"kind": kind, **_section(shift, rng, share)}}


def _coupling(rng: Draw, share: float) -> Changes:
    coupling = _COUPLINGS[int(rng.integers(2))]
    kind = get_args(coupling.model_fields["kind"].annotation)[0]
    made: Changes = {"kind": kind, **_section(coupling, rng, share)}
    if coupling is FrictionClutch:
        made.setdefault("capacity", f"{10.0 ** rng.uniform(0.0, 4.3):.5g} N m")
        return {"coupling": made}
    count = int(rng.integers(2, 12))
    ratio = np.concatenate(([0.0], np.sort(rng.uniform(0.05, 0.999, count - 1))))
    most = np.minimum(6.0, 0.98 / np.maximum(ratio, 0.05))
    torque = np.minimum(np.maximum(rng.uniform(0.5, 6.0) * (1.0 - ratio) + ratio * 0.9, 0.5), most)
    factor = 10.0 ** rng.uniform(0.0, 5.0) * np.sort(rng.uniform(0.5, 2.0, count))
    made["speed_ratio"] = [f"{value:.6f}" for value in ratio]
    made["capacity_factor"] = [f"{value:.6g} rpm/sqrt(N m)" for value in np.clip(factor, 1.0, 1e5)]
    made["torque_ratio"] = [f"{value:.6f}" for value in torque]
    return {"coupling": made}


def _drive(rng: Draw, share: float) -> Changes:
    made = _section(Drive, rng, share)
    made["driven"] = str(rng.choice(("front", "rear", "all")))
    if made["driven"] != "all":
        made.pop("centre", None)
    if made["driven"] != "all" or made.get("centre") == "locked":
        made.pop("front_share", None)
    return {"drive": made}


def _air(rng: Draw, share: float) -> Changes:
    made = _section(Air, rng, share)
    if "pressure" in made:
        made.pop("altitude", None)
    return {"air": made}


def _road(rng: Draw, share: float) -> Changes:
    return {"road": {"surface": str(rng.choice(list(surfaces()))), **_section(Road, rng, share)}}


def _tyres(rng: Draw, share: float) -> Changes:
    if rng.random() < 0.5:
        return {"tyres": {"both": _tyre(rng, share)}}
    return {"tyres": {"front": _tyre(rng, share), "rear": _tyre(rng, share)}}


def _body(rng: Draw, share: float) -> Changes:
    return {f"body.{name}": value for name, value in _section(Body, rng, share).items()}


def _run(rng: Draw, share: float) -> Changes:
    goals = (f"{10.0 ** rng.uniform(-1.0, 4.3):.5g} m", f"{10.0 ** rng.uniform(0.0, 3.0):.5g} km/h")
    which = (goals, goals[:1], goals[1:])[int(rng.integers(3))]
    made: Changes = {f"run.{name}": value for name, value in _section(Run, rng, share).items()}
    marks = [goals[0], goals[1], "80 km/h to 120 km/h", "10 m to 50 m"]
    return {**made, "run.until": list(which), "run.marks": marks[: int(rng.integers(5))]}


def _other(rng: Draw, share: float) -> Changes:
    made = {f"launch.{name}": value for name, value in _section(Launch, rng, share).items() if name != "engine_speed"}
    return made | {f"pedal.{name}": value for name, value in _section(PedalSettings, rng, share).items()}


_GROUPS = (_body, _air, _road, _tyres, _drive, _engine, _coupling, _gearbox, _shift, _run, _other)


def _single_keys() -> tuple[tuple[str, Within], ...]:
    """Every key path of the plain sections that holds one number."""
    return tuple((f"{name}.{key}", each) for name, model in _PLAIN.items() for key, each in numbers(model).items())


def _few(rng: Draw, base: Scenario) -> Changes:
    """One to four keys of a scenario at any value."""
    keys = _single_keys()
    made: Changes = {}
    for _ in range(int(rng.integers(1, 5))):
        path, within = keys[int(rng.integers(len(keys)))]
        made[path] = drawn(within, rng)
    for name in ("front", "rear", "both") if rng.random() < 0.3 else ():
        if getattr(base.tyres, name) is not None:
            key, within = list(numbers(Tyre).items())[int(rng.integers(len(numbers(Tyre))))]
            made[f"tyres.{name}.{key}"] = drawn(within, rng)
    return made


def _many(rng: Draw) -> Changes:
    """Some sections drawn anew, or all of them."""
    share = float(rng.choice([0.3, 1.0]))
    groups = _GROUPS if rng.random() < 0.4 else [_GROUPS[i] for i in rng.choice(len(_GROUPS), 3, replace=False)]
    return {path: value for group in groups for path, value in group(rng, share).items()}


def _bases() -> list[Scenario]:
    return [load(path) for path in sorted(SAMPLES.glob("*.toml"))]


def scenarios(count: int, seed: int, first: int = 0) -> Iterator[tuple[int, Scenario, Changes, int]]:
    """Sound scenarios, each with its number, what was changed, and how many drawn before it were refused."""
    bases = _bases()
    for number in range(first, first + count):
        rng = np.random.default_rng([seed, number])
        for refused in range(_MOST_TRIES):
            base = bases[int(rng.integers(len(bases)))]
            changes = _few(rng, base) if rng.random() < 0.5 else _many(rng)
            try:
                yield number, base.replace(changes), changes, refused
            except InputError:
                continue
            break


def ending(scenario: Scenario, number: int) -> str:
    """How a launch of a scenario ends: in words, beginning with "fault" where that is no proper end."""
    pedal = Pedal(number % 2)
    curve = scenario.curve_names[number % len(scenario.curve_names)]
    try:
        found = simulate(scenario, curve, pedal)
        usable(scenario)
    except SimlaunchError as error:
        code = error.exit_code
        said = " ".join(str(error).split())[:200]
        return f"refused, exit {code}: {said}" if code in (3, 4) else f"fault: {said[:150]}"
    except Exception as error:  # noqa: BLE001  any exception is what is looked for
        return f"fault: {type(error).__name__}: {error}"[:150]
    if found.measures.audit.bad:
        return "fault: energy does not add up"
    return found.run.outcome.name.lower().replace("_", " ")


def survey(count: int, seed: int = 1, first: int = 0, *, loud: bool = False) -> tuple[Counter[str], list[str], float]:
    """Endings of many launches by kind, a line for every fault, and the longest time that one took [s]."""
    endings: Counter[str] = Counter()
    faults: list[str] = []
    longest = 0.0
    for number, scenario, changes, refused in scenarios(count, seed, first):
        endings["drawn and refused by check"] += refused
        faulthandler.dump_traceback_later(SECONDS, exit=True)
        begun = time.perf_counter()
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            end = ending(scenario, number)
        spent = time.perf_counter() - begun
        longest = max(longest, spent)
        faulthandler.cancel_dump_traceback_later()
        endings[end.split(":")[0]] += 1
        if loud and (spent > SLOW or end.startswith("refused")):
            sys.stdout.write(f"case {number} of seed {seed}: {end}, after {spent:.1f} s\n")
            sys.stdout.flush()
        if end.startswith("fault"):
            faults.append(f"case {number} of seed {seed}: {end}; {scenario.name} with {changes}")
            if loud:
                sys.stdout.write(f"{faults[-1][:1500]}\n")
                sys.stdout.flush()
    return endings, faults, longest


def main() -> None:
    """Run as many cases as the command line names, and print how they ended."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("count", type=int, nargs="?", default=1000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--first", type=int, default=0)
    given = parser.parse_args()
    endings, faults, longest = survey(given.count, given.seed, given.first, loud=True)
    told = [f"{end:32} {number:7}" for end, number in sorted(endings.items())]
    sys.stdout.write("\n".join([*told, f"longest case {longest:.1f} s; {len(faults)} faults", ""]))


if __name__ == "__main__":
    main()
