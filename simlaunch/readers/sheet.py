"""Pulls of a dyno sheet: which rows count, and what several pulls say together.

- A row counts when engine speed and load are there and the load is above zero.
- A pull is a rise of engine speed: it ends where speed falls back by more than 15 % of the whole range, at the last
  row before the fall. Rows in falls are dropped, the lowest one too. So is a pull that spans less than half of the
  longest one.
- A sheet whose speed only falls from row to row is read from the bottom up.
- Torque and power of one row have to agree within 1 %, where power is above 5 % of its peak.
- A pull is an outlier when its mean torque lies further from the median of the pulls than 2 %, and than three times
  their usual scatter (1.4826 times the median deviation). That takes three pulls at least.
"""

from __future__ import annotations

import os
import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from simlaunch.errors import InputError
from simlaunch.readers.columns import NO_CHOICES, Choices, Column, air_fuel_ratio, place_of, speed_and_load
from simlaunch.readers.delimited import Lines, Table, TableOptions, read_table, refusal
from simlaunch.readers.smoothing import Smooth
from simlaunch.scenario.powertrain import Correction, MeasuredAt
from simlaunch.units.quantity import RPM, to_si
from simlaunch.units.spelling import Dimension

Array = NDArray[np.float64]

FALL = 0.15
SHORT = 0.5
MOST_PULLS = 20
FEWEST_ROWS = 5
AGREE = 0.01
NEAR_IDLE_LOAD = 0.05
LEAST_DEVIATION = 0.02
SCATTERS = 3.0
_HIGHEST_SPEED = (1500.0 * RPM, 25000.0 * RPM)
_PEAK_TORQUE = (5.0, 20000.0)
AIR_FUEL_RANGE = (3.0, 100.0)
"""Air-fuel ratios that can be: methanol runs at 4 to 6, a diesel engine at up to 60 at full load (common practice)."""


@dataclass(frozen=True)
class Pull:
    """One sweep at full load: where it stands, and its rows.

    Parameters
    ----------
    source : str
        The file.
    lines : tuple of int
        First and last line.
    speed : ndarray, shape (n,)
        Engine speed, as it came [rad/s].
    torque : ndarray, shape (n,)
        Torque [N m].
    air_fuel : ndarray, shape (n,), or None
        Mass of air over mass of fuel, nan where it is blank or cannot be one; None where it was not logged [-].
    """

    source: str
    lines: tuple[int, int]
    speed: Array
    torque: Array
    air_fuel: Array | None = None

    def __str__(self) -> str:
        return f"{self.source}, lines {self.lines[0]} to {self.lines[1]}"


@dataclass(frozen=True)
class Dropped:
    """Rows of a file that were not used: how many, and why."""

    source: str
    rows: int
    why: str

    def __str__(self) -> str:
        return f"{self.source}: {self.rows} row{'s' if self.rows != 1 else ''} dropped: {self.why}"


@dataclass(frozen=True)
class Sheet:
    """A dyno sheet as understood."""

    source: str
    understood: tuple[str, ...]
    rows: int
    pulls: tuple[Pull, ...]
    dropped: tuple[Dropped, ...]
    preamble: tuple[str, ...]
    place: MeasuredAt | None = None
    """Where the figures were taken, as the headings say."""


@dataclass(frozen=True)
class Together:
    """Several pulls on one grid.

    Parameters
    ----------
    torque : ndarray, shape (n,)
        Mean [N m].
    spread : ndarray, shape (n,)
        Standard deviation between the pulls; zero for one pull [N m].
    deviations : tuple of float
        Mean deviation of each pull from the median of all [-].
    outliers : tuple of int
        Indices of outlying pulls.
    """

    torque: Array
    spread: Array
    deviations: tuple[float, ...]
    outliers: tuple[int, ...]


def read_sheet(
    path: str | os.PathLike[str], choices: Choices = NO_CHOICES, options: TableOptions | None = None
) -> Sheet:
    """Pulls of one dyno sheet.

    Parameters
    ----------
    path : str or path-like
        Delimited text.
    choices : Choices
        Columns and units that the caller names.
    options : TableOptions, optional
        What is known of the text.

    Returns
    -------
    Sheet
        What was understood, the pulls, and the rows that were dropped.

    Raises
    ------
    InputError
        The file is no such table, or its figures cannot be right.
    """
    table = read_table(path, options)
    speed, torque, power = speed_and_load(table, choices)
    _check_speed(table, speed)
    load = _torque(table, speed, torque, power)
    mixture = air_fuel_ratio(table)
    pulls, dropped = _pulls(table, speed.values, load, None if mixture is None else _ratios(mixture))
    _check_torque(table, max(float(pull.torque.max()) for pull in pulls))
    understood = (*table.notes, *(str(column) for column in (speed, torque, power, mixture) if column is not None))
    place = _place(table, [column for column in (torque, power) if column is not None])
    stated = () if place is None else (f"place: {place}, as the heading says",)
    return Sheet(table.source, (*understood, *stated), len(load), pulls, dropped, table.preamble, place)


def _place(table: Table, columns: Sequence[Column]) -> MeasuredAt | None:
    """Where the figures were taken, as their headings say; all of those that say it have to agree."""
    said = {place: column for column in columns if (place := place_of(column))}
    if len(said) > 1:
        listed = " and ".join(f"{column.header} at the {place}" for place, column in said.items())
        why = "names different places of measurement"
        raise refusal(table.source, "header", listed, why, "leave one of the columns out, or name one with --column")
    return next(iter(said), None)


def _ratios(mixture: Column) -> Array:
    """Air-fuel ratios of the rows, those left out that no burning mixture has."""
    low, high = AIR_FUEL_RANGE
    return np.where((mixture.values >= low) & (mixture.values <= high), mixture.values, np.nan)


# --- can the figures be right? ---


def _check_speed(table: Table, speed: Column) -> None:
    """Refuse engine speeds that no engine has, with a guess at the unit that was meant."""
    known = speed.values[np.isfinite(speed.values)]
    if not len(known):
        raise refusal(table.source, f"column {speed.header}", "", "holds no engine speed", "fill the column")
    if (known < 0.0).any():
        line = int(table.line_numbers[np.flatnonzero(speed.values < 0.0)[0]])
        raise refusal(table.source, f"line {line}, engine speed", "", "is negative", "write it as a positive number")
    if (known == known[0]).all():
        shown = f"{known[0] / RPM:.6g} rpm"
        count = "one row" if len(known) == 1 else "one engine speed"
        raise refusal(table.source, "engine speed", shown, f"is all there is: {count}", "give a sweep of several rows")
    top = float(known.max())
    low, high = _HIGHEST_SPEED
    if low <= top <= high:
        return
    why = f"is the highest engine speed, in {speed.unit.spelling}, which no dyno sweep ends at"
    meant = next((unit for unit in ("rad/s", "rpm") if low <= top / speed.unit.scale * _scale(unit) <= high), None)
    hint = f'it looks like {meant}; give --unit "engine speed={meant}"' if meant else "check the column and its unit"
    raise refusal(table.source, f"column {speed.header}", f"{top / speed.unit.scale:.6g}", why, hint)


def _scale(unit: str) -> float:
    return to_si(f"1 {unit}", Dimension.ROTATIONAL_SPEED)


def _check_torque(table: Table, peak: float) -> None:
    low, high = _PEAK_TORQUE
    if not low <= peak <= high:
        why = f"is the highest torque, outside {low:g} to {high:g} N m"
        raise refusal(table.source, "torque", f"{peak:.6g} N m", why, "check the columns and their units")


def _torque(table: Table, speed: Column, torque: Column | None, power: Column | None) -> Array:
    """Torque of every row, from power where there is none; both have to agree."""
    turning = np.where(speed.values > 0.0, speed.values, np.nan)
    if torque is None:
        assert power is not None, "one of the two is always there"
        return power.values / turning
    if power is not None:
        _cross_check(table, turning, torque, power)
    return torque.values


def _mistakes(torque: Column, power: Column) -> dict[float, str]:
    """Power over torque times speed when a heading names a wrong unit, and what to say."""
    found = {1.0 / RPM: "engine speed looks like rad/s under a heading in rpm"}
    found[RPM] = "engine speed looks like rpm under a heading in rad/s"
    for meant in ("hp", "PS", "kW"):
        ratio = power.unit.scale / to_si(f"1 {meant}", Dimension.POWER)
        found[ratio] = f'power looks like {meant}; give --unit "power={meant}"'
    for meant in ("N m", "lb-ft"):
        ratio = to_si(f"1 {meant}", Dimension.TORQUE) / torque.unit.scale
        found[ratio] = f'torque looks like {meant}; give --unit "torque={meant}"'
    return {ratio: text for ratio, text in found.items() if abs(ratio - 1.0) > AGREE}


def _guess(usual: float, torque: Column, power: Column) -> str:
    """What may be wrong when power is off by the same factor in most rows."""
    mistakes = _mistakes(torque, power)
    nearest = min(mistakes, key=lambda ratio: abs(usual / ratio - 1.0))
    return mistakes[nearest] if abs(usual / nearest - 1.0) < 0.004 else "mend the row, or leave one of the columns out"


def _cross_check(table: Table, speed: Array, torque: Column, power: Column) -> None:
    """Refuse rows whose power is not torque times speed."""
    with np.errstate(invalid="ignore", divide="ignore"):
        counts = power.values > NEAR_IDLE_LOAD * np.nanmax(power.values)
        ratio = np.where(counts, power.values / (torque.values * speed), np.nan)
        wrong = np.flatnonzero(np.abs(ratio - 1.0) > AGREE)
    if not len(wrong):
        return
    first = int(wrong[0])
    instead = _guess(float(np.nanmedian(ratio)), torque, power)
    shown = (
        f"{power.values[first] / power.unit.scale:.6g} {power.unit.spelling}",
        f"{torque.values[first] / torque.unit.scale:.6g} {torque.unit.spelling}",
        f"{speed[first] / RPM:.6g} rpm",
    )
    rest = f", and so in {len(wrong) - 1} further rows" if len(wrong) > 1 else ""
    why = f"is {abs(ratio[first] - 1.0):.1%} away from torque times engine speed ({shown[1]} at {shown[2]}){rest}"
    line = int(table.line_numbers[first])
    raise refusal(table.source, f"line {line}, column {power.header}", shown[0], why, instead)


# --- rows to pulls ---


def _pulls(
    table: Table, speed: Array, torque: Array, air_fuel: Array | None
) -> tuple[tuple[Pull, ...], tuple[Dropped, ...]]:
    known = np.isfinite(speed) & np.isfinite(torque)
    loaded = known & (torque > 0.0) & (speed > 0.0)
    if not loaded.any():
        why = "holds no row with engine speed and torque above zero"
        raise refusal(table.source, "file", "", why, "check the columns and their units")
    kept = np.flatnonzero(loaded)
    dropped = [
        Dropped(table.source, int(np.sum(~known)), "engine speed or load is blank"),
        Dropped(table.source, int(np.sum(known & ~loaded)), "engine speed or torque is not above zero"),
    ]
    if len(kept) > 1 and (np.diff(speed[kept]) < 0.0).all():
        kept = kept[::-1]
    rises = _rises(speed[kept])
    spans = [speed[kept[high]] - speed[kept[low]] for low, high in rises]
    enough = SHORT * max(spans, default=0.0)
    long = [rise for rise, span in zip(rises, spans, strict=True) if span >= enough]
    _check_order(table, kept, rises, long)
    inside = sum(high - low + 1 for low, high in rises)
    used = sum(high - low + 1 for low, high in long)
    dropped.append(Dropped(table.source, len(kept) - inside, "engine speed falls, or holds after its highest"))
    dropped.append(Dropped(table.source, inside - used, f"sweep shorter than {SHORT:.0%} of the longest"))
    pulls = tuple(_pull(table, kept[low : high + 1], speed, torque, air_fuel) for low, high in long)
    return pulls, tuple(entry for entry in dropped if entry.rows)


def _pull(table: Table, rows: Lines, speed: Array, torque: Array, air_fuel: Array | None) -> Pull:
    lines = table.line_numbers[rows]
    return Pull(
        table.source,
        (int(lines.min()), int(lines.max())),
        speed[rows],
        torque[rows],
        None if air_fuel is None else air_fuel[rows],
    )


def _rises(speed: Array) -> list[tuple[int, int]]:
    """First and last index of every rise, a fall of more than 15 % of the range between each two; not all if many."""
    values = speed.tolist()
    threshold = FALL * (max(values) - min(values))
    rises: list[tuple[int, int]] = []
    low = high = 0
    rising = True
    for n, value in enumerate(values):
        if rising and value < values[low] and values[high] - values[low] <= threshold:
            low = high = n
        elif rising and value >= values[high]:
            high = n if value > values[high] else high
        elif rising and values[high] - value > threshold:
            rises.append((low, high))
            rising, low = False, n
            if len(rises) > MOST_PULLS:
                return rises
        elif not rising and value <= values[low]:
            low = n
        elif not rising and value - values[low] > threshold:
            gliding = values[rises[-1][1]] - values[low - 1] > threshold  # no jump: the lowest row is one of the fall
            rising, low, high = True, min(low + gliding, n), n
    if rising and high > low:
        rises.append((low, high))
    return rises


def _check_order(table: Table, kept: Lines, rises: Sequence[tuple[int, int]], long: Sequence[tuple[int, int]]) -> None:
    """Refuse rows in no order: many short rises, or a rise of few rows that is not the whole sheet."""
    whole = len(rises) == 1 and rises[0][1] - rises[0][0] + 1 == len(kept)
    short = any(high - low + 1 < FEWEST_ROWS for low, high in long)
    if not long or len(rises) > MOST_PULLS or (short and not whole):
        many = len(rises) > MOST_PULLS
        count = f"more than {MOST_PULLS} rises" if many else f"{len(rises)} rise{'s' if len(rises) != 1 else ''}"
        why = f"does not form sweeps: {count}, where 1 to {MOST_PULLS} of {FEWEST_ROWS} rows or more are wanted"
        instead = "sort the rows by engine speed, or give the sweeps one after the other"
        raise refusal(table.source, "engine speed", "", why, instead)


# --- pulls together ---


_CONDITIONS = re.compile(r"#?\s*(correction|measured at)\s*[:;,=\t]\s*(.*?)[\s;,\t]*", re.ASCII | re.IGNORECASE)
_VALUES: dict[str, type[Correction] | type[MeasuredAt]] = {"correction": Correction, "measured at": MeasuredAt}


def stated_condition(line: str) -> str | None:
    """A line above the header that states correction or place, in the spelling of a curve file.

    Parameters
    ----------
    line : str
        As it stands in the sheet: `Correction;DIN 70020`, `# measured at: wheel`.

    Returns
    -------
    str or None
        None for any other line.
    """
    found = _CONDITIONS.fullmatch(line)
    if not found:
        return None
    key, value = found[1].lower(), found[2].casefold()
    known = next((str(member) for member in _VALUES[key] if str(member).casefold() == value), None)
    return f"# {key}: {known}" if known else None


def common_range(pulls: Sequence[Pull]) -> tuple[float, float]:
    """Engine speeds that every pull covers.

    Parameters
    ----------
    pulls : sequence of Pull
        At least one.

    Returns
    -------
    tuple of float
        Lowest and highest [rad/s].

    Raises
    ------
    InputError
        The pulls share less than half of the range that they cover together.
    """
    lows, highs = ([float(edge(pull.speed)) for pull in pulls] for edge in (np.min, np.max))
    low, high = max(lows), min(highs)
    if high - low < SHORT * (max(highs) - min(lows)):
        narrow = pulls[int(np.argmax(lows))] if low > min(lows) else pulls[int(np.argmin(highs))]
        raise InputError(
            f"{narrow}: leaves the pulls too narrow a range of engine speed in common, {low / RPM:.0f} to "
            f"{high / RPM:.0f} rpm; "
            "leave this pull out, or read the sheets one by one"
        )
    return low, high


def together(curves: Sequence[Smooth], grid: Array) -> Together:
    """Mean and spread of smoothed pulls on one grid, and which of them lie apart.

    Parameters
    ----------
    curves : sequence of Smooth
        One per pull.
    grid : ndarray, shape (n,)
        Engine speeds that all of them cover [rad/s].

    Returns
    -------
    Together
        Mean [N m], spread [N m], deviations and outliers.
    """
    rows = np.array([curve.at(grid) for curve in curves])
    middle = np.median(rows, axis=0)
    deviations = np.mean(rows, axis=1) / np.mean(middle) - 1.0
    scatter = 1.4826 * float(np.median(np.abs(deviations - np.median(deviations))))
    apart = np.abs(deviations) > max(LEAST_DEVIATION, SCATTERS * scatter)
    outliers = np.flatnonzero(apart) if len(rows) > 2 else np.array([], dtype=np.int64)
    spread = rows.std(axis=0, ddof=1) if len(rows) > 1 else np.zeros(len(grid))
    return Together(rows.mean(axis=0), spread, tuple(deviations.tolist()), tuple(outliers.tolist()))
