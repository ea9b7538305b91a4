"""The strict gate in front of all quantities: one finite number and one known unit, or a helpful refusal.

Text is never evaluated. The number is matched by a pattern of bounded length, the unit is looked up whole.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

from simlaunch.errors import Fault, InputError, plain
from simlaunch.units.spelling import Dimension, kinds, refused_units

MAX_LENGTH, MAX_DECIMALS = 64, 15
_SMALLEST, _LARGEST = 1e-30, 1e30
_NUMBER = re.compile(rf"[+-]?\d{{1,15}}(?:\.\d{{1,{MAX_DECIMALS}}})?(?:[eE][+-]?\d{{1,3}})?", re.ASCII)
_SHOWN = 40


@dataclass(frozen=True)
class Typed:
    """A quantity as typed: the number, the unit's spelling and the kind of quantity it belongs to."""

    number: float
    spelling: str
    dimension: Dimension


@dataclass(frozen=True)
class _Misfit:
    """Text that did not pass, taken apart for the search of the reason."""

    text: str
    number: str
    blank: bool
    unit: str
    wanted: tuple[Dimension, ...]


_Reason = tuple[str, str]


def quoted(text: str) -> str:
    """Text as shown in a message: in quotes, on one line, without control characters, cut when long.

    Examples
    --------
    >>> quoted("5 kg")
    '"5 kg"'
    """
    short = text if len(text) <= _SHOWN else text[: _SHOWN - 3] + "..."
    return f'"{plain(short)}"'


def example(*dimensions: Dimension) -> str:
    """Examples of the wanted kinds, quoted and joined by "or"."""
    return " or ".join(f'"{kinds()[dimension].example}"' for dimension in dimensions)


def phrase(*dimensions: Dimension) -> str:
    """The wanted kinds in words."""
    return " or ".join(kinds()[dimension].phrase for dimension in dimensions)


def spellings(*dimensions: Dimension) -> tuple[str, ...]:
    """Every accepted unit spelling of the given kinds; a pure number has the empty spelling."""
    return tuple(spelling for dimension in dimensions for spelling in kinds()[dimension].spelling)


def examine(text: str, *dimensions: Dimension) -> Typed:
    """Take text apart into one finite number and one known unit of a wanted kind.

    Parameters
    ----------
    text : str
        What was typed, such as ``"1610 kg"``.
    dimensions : Dimension
        The kinds that are wanted here, at least one.

    Returns
    -------
    Typed
        Number, spelling and the kind that the spelling belongs to.

    Raises
    ------
    InputError
        With a `Fault` as its only argument, when the text is anything else.

    Examples
    --------
    >>> examine("450 lb-ft", Dimension.TORQUE).number
    450.0
    """
    bare = text.strip(" ")
    match = _NUMBER.match(bare)
    if len(text) > MAX_LENGTH or match is None:
        raise _refusal(text, _no_number(text), dimensions)
    rest = bare[match.end() :]
    unit = rest.lstrip(" ")
    blank = rest != unit
    if unit[:1].isdigit() and not blank:  # "71/min" must not be read as 7 1/min, nor sixteen digits as fifteen
        raise _refusal(text, _too_many_digits(dimensions), dimensions)
    for dimension in dimensions:
        if unit in kinds()[dimension].spelling:
            return Typed(_finite(text, match.group(), dimensions), unit, dimension)
    raise _refusal(text, _reason(_Misfit(text, match.group(), blank, unit, dimensions)), dimensions)


def _refusal(text: str, reason: _Reason, wanted: tuple[Dimension, ...]) -> InputError:
    why, instead = reason
    place = " or ".join(dimension.value.replace("_", " ") for dimension in wanted)
    if not (instead and instead.isprintable()):  # no remedy is made from characters that cannot be seen
        instead = f"write {phrase(*wanted)}, such as {example(*wanted)}"
    return InputError(Fault(place, quoted(text), why, instead))


def _finite(text: str, number: str, wanted: tuple[Dimension, ...]) -> float:
    value = float(number)
    mantissa = re.split("[eE]", number)[0]
    if value == 0.0 and not mantissa.strip("+-0."):
        return 0.0
    if not _SMALLEST <= abs(value) <= _LARGEST:
        raise _refusal(text, (f"lies outside {_SMALLEST:g} to {_LARGEST:g} in size", ""), wanted)
    return value


def _no_number(text: str) -> _Reason:
    bare = text.strip(" ")
    bold = bare.lstrip("+-").lower()
    if len(text) > MAX_LENGTH:
        return f"is longer than {MAX_LENGTH} characters", ""
    if not bare:
        return "is empty", ""
    if bold.startswith(("nan", "inf")):
        return "is not a finite number", ""
    if bold[:1] in (".", ",") and bold[1:2].isascii() and bold[1:2].isdigit():
        return "has no digit before the decimal point", f'write "0.{bold[1:]}"'
    if bare[:2] in ("--", "++", "+-", "-+"):
        return "has more than one sign", ""
    if bare[0] in "+-" and bare[1:2] == " ":
        return "has a blank after the sign", f'write "{bare[0]}{bare[1:].lstrip()}"'
    if not bare[0].isascii():
        return "does not begin with a plain digit or sign (0 to 9, + or -)", ""
    return "does not begin with a number", ""


def _too_many_digits(wanted: tuple[Dimension, ...]) -> _Reason:
    return (
        "has more digits than can be read",
        f"write at most 15 digits before and after the point, such as {example(*wanted)}",
    )


def _comma(m: _Misfit) -> _Reason | None:
    if not m.unit.startswith(","):
        return None
    after = m.unit[1:]
    digits = re.match(r"\d+", after, re.ASCII)
    if digits and len(digits.group()) == 3 and "." not in m.number:
        return (
            "has a comma, which may part decimals or thousands",
            f'write "{m.number}{after}" or "{m.number}.{after}"',
        )
    return "has a comma; decimals follow a point", f'write "{m.number}.{after.lstrip()}"' if digits else ""


def _blank_inside(m: _Misfit) -> _Reason | None:
    inside = m.blank and re.match(r"\d", m.unit, re.ASCII)
    return ("has a blank inside the number", f'write "{m.number}{m.unit}"') if inside else None


def _underscore(m: _Misfit) -> _Reason | None:
    return (
        ("has an underscore in the number", f'write "{m.number}{m.unit.lstrip("_")}"')
        if m.unit.startswith("_")
        else None
    )


def _point(m: _Misfit) -> _Reason | None:
    return ("has a stray decimal point", "") if m.unit.startswith(".") else None


def _no_unit(m: _Misfit) -> _Reason | None:
    if m.unit:
        return None
    return "has no unit", f"write one of {_listed(m.wanted)} after the number, such as {example(*m.wanted)}"


def _other_kind(m: _Misfit) -> _Reason | None:
    found = next((kind.phrase for kind in kinds().values() if m.unit in kind.spelling), None)
    if found is None:
        return None
    return (
        f"is {found}, but {phrase(*m.wanted)} is wanted",
        f"write {_choice(m.wanted)}, such as {example(*m.wanted)}",
    )


def _refused_by_name(m: _Misfit) -> _Reason | None:
    entry = refused_units().get(m.unit.lower())
    return (entry.why, entry.instead.format(number=m.number)) if entry else None


def _near_spelling(m: _Misfit) -> _Reason | None:
    near = next((s for s in spellings(*m.wanted) if s and _loose(s) == _loose(m.unit)), None)
    return (f"has the unit spelled {quoted(m.unit)}", f'write "{m.number} {near}"') if near else None


def _several(m: _Misfit) -> _Reason | None:
    if not re.search(r"[\d*+/()=;&]", m.unit):
        return None
    return (
        "is more than one number and one unit; nothing is worked out",
        f"write {_choice(m.wanted)}, such as {example(*m.wanted)}",
    )


def _unknown(m: _Misfit) -> _Reason:
    return (
        f"has the unknown unit {quoted(m.unit)}",
        f"write {_choice(m.wanted)}, such as {example(*m.wanted)}",
    )


_REASONS: tuple[Callable[[_Misfit], _Reason | None], ...] = (
    _comma,
    _blank_inside,
    _underscore,
    _point,
    _no_unit,
    _refused_by_name,
    _near_spelling,
    _other_kind,
    _several,
)


def _reason(misfit: _Misfit) -> _Reason:
    return next((reason for find in _REASONS if (reason := find(misfit))), None) or _unknown(misfit)


def _loose(unit: str) -> str:
    """Unit text without what people vary: case, blanks, dots, stars, hyphens."""
    return re.sub(r"[\s.*·_-]", "", unit).lower()


def _listed(wanted: tuple[Dimension, ...]) -> str:
    return ", ".join(spelling for spelling in spellings(*wanted) if spelling)


def _choice(wanted: tuple[Dimension, ...]) -> str:
    listed = _listed(wanted)
    listed = f"one of {listed}" if "," in listed else listed
    bare = "the number alone" if "" in spellings(*wanted) else ""
    return " or ".join(part for part in (listed, bare) if part)
