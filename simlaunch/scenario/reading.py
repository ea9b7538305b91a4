"""From a scenario file to a scenario, or to every fault of the file at once."""

from __future__ import annotations

import os
import re
import stat
import tomllib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from difflib import get_close_matches
from functools import cache
from pathlib import Path, PurePosixPath
from typing import Any

from pydantic import TypeAdapter, ValidationError

from simlaunch.errors import Fault, InputError, ScenarioError
from simlaunch.scenario.curve_file import RAW_SHEET, read_conditions, read_curve, read_gear_curves, read_limit
from simlaunch.scenario.decision import unsound
from simlaunch.scenario.model import Scenario, disagreements
from simlaunch.scenario.schema import FILE_SECTIONS, fitting, how_to_add, keys, kinds, quantity_at
from simlaunch.units.gate import quoted

MAX_BYTES = 2**20
MAX_FAULTS = 60
MAX_DOTS = 1000
MAX_KEYS = 5000
MAX_LIST = 400
MAX_VALUES = 80_000

Table = dict[str, Any]
CsvReader = Callable[[str, str], Table]
Steps = tuple[str | int, ...]


def load(path: str | os.PathLike[str]) -> Scenario:
    """Scenario from a file.

    Parameters
    ----------
    path : str or path-like
        TOML 1.0 file in UTF-8, at most 1 MiB.

    Returns
    -------
    Scenario
        Checked and frozen.

    Raises
    ------
    ScenarioError
        With every fault of the file and of the files that it names.
    """
    file = Path(path)
    scenario = from_mapping(_toml(read_text(file), str(file)), str(file), file.parent)
    return scenario.loaded_from(file)


def from_mapping(data: Mapping[str, Any], source: str, folder: Path | None = None) -> Scenario:
    """Scenario from tables that were read already.

    Parameters
    ----------
    data : mapping
        Tables as a TOML file would hold them.
    source : str
        What to call their origin in messages.
    folder : Path, optional
        Folder below which `file` keys are looked up; without it they are faults.

    Returns
    -------
    Scenario
        Checked and frozen.

    Raises
    ------
    ScenarioError
        With every fault.
    """
    references = _References(folder)
    whole = references.resolve(data)
    try:
        scenario = Scenario.model_validate(whole)
    except ValidationError as error:
        faults = [references.located(fault) for fault in _faults(error, whole)]
        unread = tuple(fault.place for fault in references.faults)
        faults = [fault for fault in faults if not _inside_any(fault.place, unread)]
        raise ScenarioError(source, shown_faults((*references.faults, *faults))) from None
    found = (*references.faults, *uncertain_faults(scenario), *gear_faults(scenario))
    if found:
        raise ScenarioError(source, shown_faults(found))
    return scenario


def uncertain_faults(scenario: Scenario) -> tuple[Fault, ...]:
    """Faults of the uncertain values of a scenario."""
    return tuple(unsound(scenario.uncertain or (), quantity_at))


def gear_faults(scenario: Scenario) -> Iterator[Fault]:
    """Faults of torque limits in gears that neither the gearbox nor any gear set has.

    No rule between sections: a gear set with fewer gears may stand in for the gearbox, and leave limits unused.
    """
    gears = max(map(len, (scenario.gearbox.ratios, *(each.ratios for each in scenario.gear_sets or ()))))
    for n, curve in enumerate(scenario.curves, start=1):
        for k, limit in enumerate(curve.gear_limits or (), start=1):
            if limit.gear.si > gears:
                why = f"is above the number of gears, {gears}"
                place = f"curves[{n}].gear_limits[{k}].gear"
                yield Fault(place, quoted(limit.gear.text), why, f"write 1 to {gears}, or leave this limit out")


def shown_faults(faults: tuple[Fault, ...]) -> tuple[Fault, ...]:
    """As many faults as anyone would read, and a word on the rest."""
    rest = len(faults) - MAX_FAULTS
    if rest <= 0:
        return faults
    return (*faults[:MAX_FAULTS], Fault("file", "", f"has {rest} more faults", "correct these first"))


@cache
def validator(name: str) -> TypeAdapter[Any]:
    """Validator of a key at the top of a scenario."""
    return TypeAdapter(Scenario.model_fields[name].rebuild_annotation())


# --- bytes to text, text to tables ---


def read_text(path: Path) -> str:
    """Text of a regular UTF-8 file of at most 1 MiB.

    Parameters
    ----------
    path : Path
        File to read.

    Returns
    -------
    str
        Its content.

    Raises
    ------
    ScenarioError
        When it is anything else, with what to do.
    """
    try:
        content = read_bytes(path)
        return _decoded(content)
    except InputError as error:
        raise ScenarioError(str(path), (error.args[0],)) from None


def _refuse(why: str, instead: str) -> InputError:
    return InputError(Fault("file", "", why, instead))


def read_bytes(path: Path, limit: int = MAX_BYTES) -> bytes:
    """Content of a regular file of bounded size.

    It is opened so that a pipe cannot make us wait, and judged once it is open.

    Parameters
    ----------
    path : Path
        File to read.
    limit : int
        Largest number of bytes.

    Returns
    -------
    bytes
        All of it.

    Raises
    ------
    InputError
        With a `Fault` as its only argument.
    """
    flags = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
    try:
        descriptor = os.open(path, flags)
    except FileNotFoundError:
        raise _refuse("does not exist", "check the path") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "the name is not a path"
        raise _refuse(f"cannot be opened ({reason})", "check the path and its permissions") from None
    try:
        return _regular(descriptor, limit)
    finally:
        os.close(descriptor)


def _regular(descriptor: int, limit: int) -> bytes:
    status = os.fstat(descriptor)
    if not stat.S_ISREG(status.st_mode):
        raise _refuse("is not a regular file", "name a file, not a folder, a pipe or a device")
    content = b""
    if status.st_size <= limit:
        try:
            with open(descriptor, "rb", closefd=False) as stream:
                content = stream.read(limit + 1)
        except OSError as error:  # some files of the system open, and are not to be read
            raise _refuse(f"cannot be read ({error.strerror})", "name a file that holds text") from None
    if max(status.st_size, len(content)) > limit:
        instead = "name a scenario or curve file; keep logs elsewhere" if limit == MAX_BYTES else "give a part of it"
        raise _refuse(f"is larger than {limit // 2**20} MiB", instead)
    return content


def _decoded(content: bytes) -> str:
    if content.startswith((b"\xef\xbb\xbf", b"\xff\xfe", b"\xfe\xff")):
        raise _refuse("begins with a byte order mark", "save it as UTF-8 without one")
    try:
        return content.decode("utf-8")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        raise InputError(Fault(f"line {line}", "", "is not UTF-8", "save the file as UTF-8")) from None


def _toml(text: str, source: str) -> Table:
    for number, line in enumerate(text.split("\n"), start=1):
        if line.count(".") > MAX_DOTS:  # a key of very many parts keeps the parser busy for hours
            why = f"has more than {MAX_DOTS} dots in one line"
            raise ScenarioError(source, (Fault(f"line {number}", quoted(line), why, "break the line up"),))
    try:
        if text.count(",") + text.count("\n[") > MAX_VALUES:  # refused in the end; parsing it all would take long
            raise _holds_too_much()
        return _bounded(tomllib.loads(text))
    except RecursionError:
        fault = Fault("file", "", "is nested too deeply", "write plain tables and lists")
    except InputError as error:
        fault = error.args[0]
    except ValueError as error:  # also numbers and dates that Python itself refuses
        fault = _syntax_fault(str(error), text)
    raise ScenarioError(source, (fault,))


def _bounded(tables: Table) -> Table:
    """The same tables, unless they hold so much that listing their faults would take long."""
    keys, values = 0, 0
    waiting: list[Table | list[Any]] = [tables]
    while waiting:
        holder = waiting.pop()
        inner = list(holder.values()) if isinstance(holder, dict) else holder
        keys, values = keys + len(inner) * isinstance(holder, dict), values + len(inner)
        longest = len(holder) if isinstance(holder, list) else 0
        if keys > MAX_KEYS or values > MAX_VALUES or longest > MAX_LIST:
            raise _holds_too_much()
        waiting.extend(value for value in inner if isinstance(value, dict | list))
    return tables


def _holds_too_much() -> InputError:
    why = f"holds more than {MAX_KEYS} keys, {MAX_VALUES} values, or {MAX_LIST} values in one list"
    return _refuse(why, "leave out what is not part of a scenario")


def _syntax_fault(message: str, text: str) -> Fault:
    match = re.search(r"\(at line (\d+), column (\d+)\)", message)
    reason = message[: message.rfind(" (at ")] if " (at " in message else message
    lines = text.splitlines()
    line = int(match.group(1)) if match else max(len(lines), 1)
    typed = quoted(lines[line - 1].strip()) if line <= len(lines) else ""
    instead = 'correct the TOML syntax; write text in quotes, as in mass = "1610 kg"'
    return Fault(f"line {line}", typed, f"is not TOML: {reason[:1].lower()}{reason[1:160]}", instead)


# --- files named in a scenario ---


@dataclass
class _References:
    """Tables that stand in files of their own: puts them in, and remembers which key came from where."""

    folder: Path | None
    faults: list[Fault] = field(default_factory=list)
    files: dict[str, tuple[str, frozenset[str]]] = field(default_factory=dict)

    def resolve(self, data: Mapping[str, Any]) -> Table:
        """The tables with every `file` key replaced by what the file holds."""
        whole = dict(data)
        for key in FILE_SECTIONS:
            if key in whole:
                whole[key] = self._expanded(whole[key], key)
        if "tyres" in whole:
            whole["tyres"] = self._axles(whole["tyres"], "tyres")
        if isinstance(whole.get("tyre_sets"), list | tuple):
            whole["tyre_sets"] = [
                self._axles(tyres, f"tyre_sets[{n}]") for n, tyres in enumerate(whole["tyre_sets"], start=1)
            ]
        if isinstance(whole.get("gear_sets"), list | tuple):
            whole["gear_sets"] = [
                self._expanded(gears, f"gear_sets[{n}]") for n, gears in enumerate(whole["gear_sets"], start=1)
            ]
        if isinstance(whole.get("curves"), list | tuple):
            whole["curves"] = [self._curve(curve, f"curves[{n}]") for n, curve in enumerate(whole["curves"], start=1)]
        if "limits" in whole:
            whole["limits"] = self._limits(whole["limits"])
        return whole

    def _axles(self, tyres: object, place: str) -> object:
        """Tables of tyres, each of which may stand in a file."""
        if not isinstance(tyres, dict):
            return tyres
        return {key: self._expanded(value, f"{place}.{key}") for key, value in tyres.items()}

    def _limits(self, limits: object) -> object:
        """Limits of a curve, whose measured ones may stand in files."""
        if not isinstance(limits, dict) or not isinstance(limits.get("curves"), list | tuple):
            return limits
        curves = [
            self._expanded(curve, f"limits.curves[{n}]", csv=read_limit)
            for n, curve in enumerate(limits["curves"], start=1)
        ]
        return {**limits, "curves": curves}

    def _curve(self, table: object, place: str) -> object:
        """A curve, which may stand in a file; so may its curves of single gears."""
        curve = self._expanded(table, place, csv=_curve_in)
        limits = curve.get("gear_limits") if isinstance(curve, dict) else None
        if not isinstance(curve, dict) or not isinstance(limits, list | tuple):
            return curve
        named = [self._gear_limit(limit, f"{place}.gear_limits[{n}]", curve) for n, limit in enumerate(limits, start=1)]
        return {**curve, "gear_limits": named}

    def _gear_limit(self, limit: object, place: str, curve: Table) -> object:
        """The limit of a gear; a file with its torque must share the correction and the place of the curve."""
        found = self._expanded(limit, place, csv=_curve_in)
        if not isinstance(limit, dict) or "file" not in limit or not isinstance(found, dict):
            return found
        for key in ("correction", "measured_at"):
            stated, own = found.pop(key, None), curve.get(key)
            if stated is not None and stated not in (own, "crank"):
                why = f"states {key} {stated}, and the curve {own if own is not None else 'states none'}"
                self.faults.append(
                    Fault(f"{place}.file", quoted(str(limit["file"])), why, "bring both to one correction and place")
                )
        return {"torque" if key == "points" else key: value for key, value in found.items()}

    def located(self, fault: Fault) -> Fault:
        """The fault with the name of the file that its key came from, when that is not the scenario's own."""
        for place, (file, own) in self.files.items():
            if _inside_any(fault.place, (place,)):
                key = re.split(r"[.\[]", fault.place[len(place) :].lstrip("."))[0]
                return fault if key in own else replace(fault, place=f"{fault.place} ({file})")
        return fault

    def _expanded(self, table: object, place: str, *, csv: CsvReader | None = None) -> object:
        if not isinstance(table, dict) or "file" not in table:
            return table
        own = {key: value for key, value in table.items() if key != "file"}
        name = table["file"]
        try:
            content = self._content(name, csv)
        except ScenarioError as error:
            self.faults.extend(replace(fault, place=f"{place} ({name}), {fault.place}") for fault in error.faults)
            return own
        except InputError as error:
            self.faults.append(replace(error.args[0], place=f"{place}.file"))
            return own
        self.files[place] = (name, frozenset(own))
        return {**content, **own}  # a key beside `file` replaces the one in the file

    def _content(self, name: object, csv: CsvReader | None) -> Table:
        path = self._below(name)
        suffix = path.suffix.lower()
        if suffix == ".csv" and csv:
            return csv(read_text(path), str(name))
        if suffix != ".toml":
            wanted = f"a .toml or .csv file, or {RAW_SHEET}" if csv else "a .toml file"
            raise InputError(Fault("", quoted(str(name)), "is of the wrong type", f"name {wanted}"))
        content = _toml(read_text(path), str(name))
        if "file" in content:
            raise InputError(Fault("", quoted(str(name)), "names a further file", "put the values into this one"))
        return content

    def _below(self, name: object) -> Path:
        if not isinstance(name, str):
            raise InputError(Fault("", "", "is not text", 'write a path in quotes, such as "tyres/road.toml"'))
        parts = PurePosixPath(name).parts
        plain = name.isprintable() and not re.search(r"[\\:]", name) and bool(parts)
        if self.folder is None or not plain or ".." in parts or parts[0] == "/" or parts[0].startswith("~"):
            why = "is not a plain relative path below the scenario's folder"
            raise InputError(Fault("", quoted(name), why, 'write one such as "tyres/road.toml"'))
        path = self.folder / name
        real, home = (Path(os.path.realpath(part)) for part in (path, self.folder))  # a loop of links stays as it is
        if not real.is_relative_to(home):
            raise InputError(Fault("", quoted(name), "is outside the scenario's folder", "copy the file into it"))
        return path


def _curve_in(text: str, source: str) -> Table:
    """Keys of a full-load curve from its file."""
    conditions = read_conditions(text, source)
    limits = [*conditions.pop("gear_limits", []), *read_gear_curves(text, source)]
    more = {"gear_limits": limits} if limits else {}
    return {"points": read_curve(text, source), **conditions, **more}


def _inside_any(place: str, tables: tuple[str, ...]) -> bool:
    """Whether a key path lies in one of the tables; text after a blank is no part of its name."""
    heads = (re.sub(r"\.file$| .*$", "", table) for table in tables)
    return any(place == head or place.startswith((f"{head}.", f"{head} ")) for head in heads)


# --- pydantic's errors to our faults ---


def _faults(error: ValidationError, data: Table) -> list[Fault]:
    """Faults inside the sections, and those between the sections that are sound."""
    entries = error.errors(include_url=False)
    own = [fault for entry in entries for fault in _of_entry(entry, data)]
    broken = {entry["loc"][0] for entry in entries if entry["loc"]}
    if not broken:  # the sections had been compared already
        return own
    sound: dict[str, object] = {}
    for name in Scenario.model_fields:
        if name not in broken and name in data:
            sound[name] = validator(name).validate_python(data[name])
    uncertain: Any = sound.get("uncertain") or ()
    return [*own, *disagreements(sound), *unsound(uncertain, quantity_at)]


def _of_entry(entry: Any, data: Table) -> list[Fault]:
    place = _place(entry["loc"], data)
    given = entry.get("ctx", {}).get("faults")
    if given:
        loc = entry["loc"]
        return [replace(f, place=_joined(place, f.place), instead=fitting(loc, f.instead)) for f in given]
    if entry["type"] == "too_short" and len(entry["input"]) >= entry["ctx"]["min_length"]:
        return []  # only the sound elements were counted; each of the others has a fault of its own
    why, instead = _REASONS.get(entry["type"], _other)(entry)
    return [Fault(place, _typed(entry), why, instead)]


def _joined(place: str, rest: str) -> str:
    return f"{place}{'.' if place and rest and not rest.startswith('[') else ''}{rest}"


def _place(path: Steps, data: object) -> str:
    """Key path as a reader would write it: lists count from 1, steps that pydantic adds are left out."""
    place = ""
    for step in path:
        is_key = isinstance(data, dict) and (step in data or (step == path[-1] and " " not in str(step)))
        if isinstance(data, dict) and is_key:  # a step with a blank is the kind of a coupling or of a shift
            place, data = _joined(place, str(step)), data.get(step)
        elif isinstance(data, list | tuple) and isinstance(step, int):
            place, data = f"{place}[{step + 1}]", data[step] if step < len(data) else None
    return place


def _typed(entry: Any) -> str:
    value = entry["input"]
    if entry["type"] == "missing" or isinstance(value, dict | list | tuple):
        return ""
    return quoted(value) if isinstance(value, str) else str(value).lower()[:40]


def suggestion(key: str, known: tuple[str, ...]) -> str:
    """What to write for a key that is not known, after a semicolon."""
    near = get_close_matches(key, known, n=1, cutoff=0.7)
    return f"; did you mean {near[0]}?" if near else f"; choose one of {', '.join(known)}"


def _unknown_key(entry: Any) -> tuple[str, str]:
    path = entry["loc"]
    return "is not a known key", suggestion(str(path[-1]), keys(path[:-1])).removeprefix("; ")


def _missing(entry: Any) -> tuple[str, str]:
    if isinstance(entry["loc"][-1], int):
        return "is missing", "write each point as a pair of engine speed and value"
    return "is missing", how_to_add(entry["loc"])


def _choice(entry: Any) -> tuple[str, str]:
    ctx = entry["ctx"]
    expected = ctx.get("expected") or ctx["expected_tags"]
    return "is not one of the choices", f"write one of {expected.replace(chr(39), chr(34))}"


def _no_kind(entry: Any) -> tuple[str, str]:
    return "has no kind", "add kind = " + " or ".join(f'"{kind}"' for kind in kinds(entry["loc"]))


def _too_few(entry: Any) -> tuple[str, str]:
    ctx = entry["ctx"]
    return f"has {ctx['actual_length']} values", f"give at least {ctx['min_length']}"


def _too_many(entry: Any) -> tuple[str, str]:
    ctx = entry["ctx"]
    return f"has {len(entry['input'])} values", f"give at most {ctx['max_length']}"


def _other(entry: Any) -> tuple[str, str]:
    return "cannot be used", str(entry["msg"])


def _fixed(why: str, instead: str) -> Callable[[Any], tuple[str, str]]:
    return lambda entry: (why, instead)


_NO_TABLE = _fixed("is not a table", "write its keys below a heading in square brackets")

_REASONS: Mapping[str, Callable[[Any], tuple[str, str]]] = {
    "missing": _missing,
    "extra_forbidden": _unknown_key,
    "model_type": _NO_TABLE,
    "model_attributes_type": _NO_TABLE,
    "literal_error": _choice,
    "enum": _choice,
    "union_tag_invalid": _choice,
    "union_tag_not_found": _no_kind,
    "string_type": _fixed("is not text", "write it in quotes"),
    "tuple_type": _fixed("is not a list", "write it as a list in square brackets"),
    "too_short": _too_few,
    "too_long": _too_many,
}
