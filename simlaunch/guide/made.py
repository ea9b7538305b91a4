"""The pages of the guide that are made from tables of the package: the keys of a scenario, and the glossary."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterator, Mapping

from simlaunch.quantities import about, groups
from simlaunch.reporting.words import words
from simlaunch.scenario.schema import Key, Table, tables
from simlaunch.scenario.surroundings import surfaces
from simlaunch.units.gate import spellings
from simlaunch.units.spelling import Dimension

_WIDTH = 80
_GLUE = "\x1f"  # stands for a blank at which a line must not end

_KEYS = """# Keys of a scenario

A scenario is a TOML file. Every value is text with its unit; [start](start.md)
shows how to write one, [check](check.md) finds its faults, and
[schema](schema.md) gives the same as a JSON Schema. This page is made from the
model that reads scenarios. Every table may also have a `note`. The tables of
the car and each table of `tyres`, `curves` and `gear_sets` may name a `file`
that holds their keys, by its path relative to the scenario's folder.
"""

_GLOSSARY = """# Glossary

This page is made from the tables that printed results and the customer's page
are labelled by.
"""


def made() -> Mapping[str, str]:
    """Text of every page that is made, by its subject."""
    return {"keys": _keys_page(), "glossary": _glossary_page()}


def _keys_page() -> str:
    headings: dict[tuple[str, tuple[Key, ...]], list[str]] = {}
    for table in tables():
        headings.setdefault((table.meaning, table.keys), []).append(table.heading)
    sections = [_section(Table(", ".join(map(_heading, where)), *what)) for what, where in headings.items()]
    return "\n".join([_KEYS, *sections, _surfaces(), _units()])


def _heading(text: str) -> str:
    return f"`{text}`" if text.startswith("[") else text


def _section(table: Table) -> str:
    return (
        f"## {table.heading}\n\n{textwrap.fill(table.meaning, _WIDTH, break_long_words=False)}\n\n"
        + "\n".join(map(_entry, table.keys))
        + "\n"
    )


def _entry(key: Key) -> str:
    return _item(f"`{key.name}`: {' '.join(_sentences(key))}")


def _sentences(key: Key) -> Iterator[str]:
    yield key.meaning
    yield f"{'Required' if key.required else 'Optional'}, {key.takes}."
    if key.default:
        yield f"Default `{key.default}` ({key.origin})."
    if key.examples:
        yield f"Example: {' or '.join(f'`{example}`' for example in key.examples)}."


def _surfaces() -> str:
    lines = (
        _item(f'`"{name}"`: friction {each.friction_factor}, rolling {each.rolling_factor} ({each.origin})')
        for name, each in surfaces().items()
    )
    return "## Named road surfaces\n\nFactors are relative to dry asphalt.\n\n" + "\n".join(lines) + "\n"


def _units() -> str:
    named = ((kind.value.replace("_", " "), spellings(kind)) for kind in Dimension)
    lines = (
        _item(f"{name}: {', '.join(f'`{each}`' if each else 'no unit' for each in units)}") for name, units in named
    )
    return "## Accepted units\n\n" + "\n".join(lines) + "\n"


def _glossary_page() -> str:
    terms = (
        _item(f"**{name}**: {' '.join(filter(None, (word.meaning, word.exactly)))}")
        for name, word in sorted(words().items(), key=lambda each: each[0].lower())
    )
    quantities = (
        f"### {group.replace('_', ' ')}\n\n{textwrap.fill(about(group), _WIDTH)}\n\n"
        + "\n".join(_item(f"**{_unfilled(each.label)}** (`{each.key}`): {each.meaning}") for each in entries.values())
        + "\n"
        for group, entries in groups().items()
    )
    shown = "## Reported quantities\n\nIn brackets: the name in JSON, with its SI unit.\n"
    return "\n".join([_GLOSSARY, "## Words\n", "\n".join(terms) + "\n", shown, *quantities])


def _unfilled(label: str) -> str:
    return label.replace(" {part}", "").replace(" {target}", "")


def _item(text: str) -> str:
    """One entry of a list; code stays on one line."""
    whole = re.sub(r"`[^`]*`", lambda code: code[0].replace(" ", _GLUE), " ".join(text.split()))
    lines = textwrap.wrap(whole, _WIDTH, initial_indent="- ", subsequent_indent="  ", break_long_words=False)
    return "\n".join(lines).replace(_GLUE, " ")
