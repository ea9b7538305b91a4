"""The page as one file: texts, figures, tables and data in its template, and nothing that needs a network."""

from __future__ import annotations

import base64
import hashlib
import json
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import log10
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from simlaunch.analysis.logs import COPY
from simlaunch.comparing.reference_conditions import unstated
from simlaunch.output import compare as compare_words
from simlaunch.output import log_beside as beside_words
from simlaunch.output import logs as logs_words
from simlaunch.output import parts as parts_words
from simlaunch.output.layout import NOT_REACHED, Row, Table, csv_text
from simlaunch.output.words import CAUTION, PEDAL_WORDS, Numbers, sides_caution
from simlaunch.plotting.look import curve_style
from simlaunch.record import Pedal
from simlaunch.reporting import what_if
from simlaunch.reporting.drawings import Picture, pictures
from simlaunch.reporting.gather import Material
from simlaunch.reporting.inputs import curve_tables, inputs
from simlaunch.reporting.plain_words import plain_key, plain_origin, plain_table
from simlaunch.reporting.print_pdf import Paper
from simlaunch.reporting.story import both_units, main_times, parts_table, story
from simlaunch.reporting.typeset import named, typeset, unit_text
from simlaunch.reporting.words import words
from simlaunch.scenario.decision import Uncertain
from simlaunch.scenario.defaults import defaults
from simlaunch.scenario.model import UNLIKE_SIDES, Scenario, warnings
from simlaunch.scenario.powertrain import coupling_name
from simlaunch.scenario.schema import field_at
from simlaunch.units.spelling import Dimension, System

MARKER = "simlaunch report"
"""What a page of ours says of itself near its beginning."""

_HERE = Path(__file__).parent
_IN_A_SCRIPT = {"<": "\\u003c", ">": "\\u003e", "&": "\\u0026"}
_SMALL = 4  # of the heights, one in so many stands in the table for readers without script
_CAUTIONS = (
    "Wear in the tables ranks the curves against each other; it foretells no life of a part.",
    "Ratings of parts, spreads of values and the curves themselves are what the author of this page says they are.",
)


_SIZE = {
    Paper.ANY: "",
    Paper.A4: "@media print { @page { size: A4; } }\n",
    Paper.LETTER: "@media print { @page { size: letter; } }\n",
}


def script_data(document: Mapping[str, Any]) -> Markup:
    """JSON that can stand within a script element: no character of it can end the element or begin markup."""
    text = json.dumps(document, separators=(",", ":"), sort_keys=True, allow_nan=False)  # ASCII only
    return Markup("".join(_IN_A_SCRIPT.get(character, character) for character in text))


def _hash(text: str) -> str:
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"


def policy(style: str, script: str) -> str:
    """What the page may do: run its own script, take its own style, and nothing else; no request of any kind."""
    return (
        f"default-src 'none'; script-src {_hash(script)}; style-src {_hash(style)}; base-uri 'none'; form-action 'none'"
    )


def project_page(title: str, rows: Sequence[Mapping[str, str]], version: str) -> str:
    """The page that lists all scenarios of a project, each with a link to its own page.

    Parameters
    ----------
    title : str
        What the project is called.
    rows : sequence of mapping of str to str
        For each scenario `link`, `name`, `goal`, `first`, `second`, `gap` and `verdict`.
    version : str
        Version of this package.

    Returns
    -------
    str
        HTML, with no script and no request.
    """
    style = _text("palette.css") + _text("style.css")
    return (
        _environment()
        .get_template("project.html.jinja")
        .render(
            title=title,
            rows=rows,
            version=version,
            marker=f"{MARKER} {version}",
            style=Markup(style),
            policy=f"default-src 'none'; style-src {_hash(style)}; base-uri 'none'; form-action 'none'",
            cautions=_cautions(),
        )
    )


def _environment() -> Environment:
    made = Environment(
        loader=FileSystemLoader(_HERE),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    made.filters["typeset"] = typeset
    made.filters["plain_key"] = plain_key
    made.filters["plain_origin"] = plain_origin
    made.filters["meaning"] = _meaning
    made.filters["unit_text"] = unit_text
    made.filters["drawn"] = Markup  # our own SVG, in which user text is escaped already
    return made


def _meaning(key: str) -> str:
    """What a key of a scenario means, as the model describes it."""
    field = field_at(key)
    return (field.description or "") if field else ""


def _text(name: str) -> str:
    return (_HERE / name).read_text(encoding="utf-8")


@dataclass(frozen=True)
class Edition:
    """All that stands on a page, drawn and ready to be set.

    Parameters
    ----------
    material : Material
        All studies.
    drawn : mapping of str to Picture
        Every figure.
    system : System
        Units.
    stem : str
        Beginning of the name of the file that numbers are saved to.
    version : str
        Version of this package.
    cases : int
        Cases that were asked for.
    index : str
        Name of the page that lists all scenarios of a project; empty for a page that stands alone.
    """

    material: Material
    drawn: Mapping[str, Picture]
    system: System
    stem: str
    version: str
    cases: int
    index: str = ""


def edition(material: Material, system: System, *, stem: str, version: str, cases: int, index: str = "") -> Edition:
    """Draw every figure of a report, once for all papers that it is set for; parameters as of `Edition`."""
    return Edition(material, pictures(material, system), system, stem, version, cases, index)


def page(ready: Edition, paper: Paper = Paper.ANY) -> str:
    """The page.

    Parameters
    ----------
    ready : Edition
        What stands on it.
    paper : Paper
        Size of paper that it asks for.

    Returns
    -------
    str
        HTML; the same material gives the same text.
    """
    style, script = _SIZE[paper] + _text("palette.css") + _text("style.css"), _text("page.js")
    context = {
        **_first_page(ready.material, ready.drawn, ready.system),
        **_sections(ready.material, ready.system),
        **_about_inputs(ready.material),
        "policy": policy(style, script),
        "marker": f"{MARKER} {ready.version}",
        "style": Markup(style),
        "script": Markup(script),
        "version": ready.version,
        "stem": ready.stem,
        "index": ready.index,
        "fingerprint": _fingerprint(ready),
        "csv": _csv(ready.material, ready.drawn, ready.system),
    }
    template = _environment().get_template("page.html.jinja")
    used = glossary_of(template.render({**context, "glossary": ()}))
    return template.render({**context, "glossary": used})


def _first_page(material: Material, drawn: Mapping[str, Picture], system: System) -> dict[str, Any]:
    names = (material.pair.first.name, material.pair.second.name)
    return {
        "scenario": material.scenario,
        "story": story(material, system),
        "alarms": list(_alarms(material)),
        "story_parts": parts_table(material, system),
        "pictures": {name: drawn.get(name) for name in _PICTURES},
        "styles": [_style(index) for index in range(2)],
        "names": [named(name) for name in names],
        "coupling": coupling_name(material.scenario.coupling, material.scenario.gearbox.shift),
        "quicker": named(material.quicker),
        "contents": list(_contents(material)),
        "both_units": both_units(material),
        "main_times": main_times(material, system),
    }


def _alarms(material: Material) -> Iterator[str]:
    """What a reader has to know before any number is believed."""
    yield from compare_words.bad_runs(material.comparison)
    for gap in material.comparison.correction_gaps:
        yield f"Different reference conditions: {gap}. A difference of this size can come from the correction alone."
    unknown = unstated(material.scenario, list(material.usable.curves))
    if unknown:
        yield f"Weather correction not known: {unknown}."


_PICTURES = (
    "why",
    "torque",
    "run",
    "change",
    "beside",
    "beside-after",
    "worth",
    "what-if",
    "odds",
    "parts",
    "map",
    "winners",
    "trade-off",
)


def _style(index: int) -> dict[str, str]:
    line = curve_style(index)
    return {"colour": line.colour, "dash": " ".join(f"{1.6 * each:g}" for each in line.dash)}


def _contents(material: Material) -> Iterator[tuple[str, str]]:
    yield "run", "How the run unfolds"
    if material.measured:
        yield "measured", "What was measured"
    if material.worth:
        yield "worth", "Where torque pays"
    yield "what-if", "What if the plateau were higher or lower?"
    yield "odds", "How sure is it?"
    yield "parts", "What the driveline takes"
    if material.swept:
        yield "sweep", "Other gear sets, tyres and roads"
    yield "inputs", "What went in"
    yield "defaults", "What was assumed"
    yield "method", "How it was calculated, and how exactly"
    yield "cautions", "Cautions"
    yield "glossary", "Words used on this page"


def _sections(material: Material, system: System) -> dict[str, Any]:
    pair, goal, numbers = material.pair, material.comparison.goal, Numbers(system)
    grid, swept = material.what_if, material.swept
    return {
        "time_tables": [*compare_words.time_tables(pair, goal, numbers), compare_words.sections_table(pair, numbers)],
        "grip_table": compare_words.grip_table(pair, goal, numbers),
        "worth_verdict": material.worth.summary(system) if material.worth else "",
        "grid": grid,
        "limited_words": what_if.limits_words(grid),
        "grips": what_if.GRIPS,
        "steps": what_if.STEPS,
        "as_given": what_if.AS_GIVEN,
        "what_if_table": what_if.first_table(grid, system),
        "small_grid": what_if.grid_table(grid, 0, system, stride=2),
        "what_if_data": script_data(what_if.document(grid, system)),
        "cases": material.odds.cases if material.odds else 0,
        "odds_verdict": material.odds.summary(system) if material.odds else "",
        "uncertain": _uncertain(material.scenario.uncertain or ()),
        "parts_tables": parts_words.tables(material.loads, system),
        "origins": [(part.name, part.origin) for part in material.scenario.parts or ()],
        "rigid": material.loads.rigid,
        **_measured(material, system),
        "swept": swept,
        "sweep_verdict": swept.result.summary(system) if swept else "",
        "worth_naming": numbers.least(),
        "audit": _audit(material),
        "cautions": [*_cautions(), *filter(None, [sides_caution(material.scenario)])],
    }


def _measured(material: Material, system: System) -> dict[str, Any]:
    """Logged runs: what a change did, and how they stand beside the launches."""
    measured, numbers, goal = material.measured, Numbers(system), material.comparison.goal
    if measured is None:
        return {"measured": None}
    sets = [("", measured.before)] if measured.after is None else [
        ("Before: ", measured.before), ("After: ", measured.after),
    ]  # fmt: skip
    change = measured.change
    return {
        "measured": measured,
        "change_verdict": change.summary(system) if change else "",
        "change_table": _reached(logs_words.change_table(change, numbers)) if change else None,
        "copies": [note for note in change.notes if COPY in note] if change else [],
        "beside_sentences": [f"{name}{beside_words.sentence(each, numbers, goal)}" for name, each in sets],
        "beside_tables": [
            _named(name, table)
            for name, each in sets
            for table in (beside_words.table(each, numbers), beside_words.wheels_table(each, numbers))
            if table
        ],
        "beside_wheels": next(filter(None, (beside_words.wheels(each) for _, each in sets)), ""),
        "beside_meaning": beside_words.WHAT_IT_IS,
        "beside_conditions": [f"{name}{beside_words.conditions(each)}" for name, each in sets],
        "corrected": any(log.corrected for log in measured.before.logs),
    }


def _reached(table: Table) -> Table:
    """Rows that hold a number."""
    return Table(table.title, table.heads, tuple(row for row in table.rows if set(row.cells) != {NOT_REACHED}))


def _named(name: str, table: Table) -> Table:
    return Table(
        f"{name}{table.title[:1].lower() if name else table.title[:1]}{table.title[1:]}", table.heads, table.rows
    )


def _uncertain(entries: Sequence[Uncertain]) -> Table:
    rows = [Row(plain_key(each.key), "", (each.kind, _spread(each), each.origin)) for each in entries]
    return Table("What varies from case to case", ("how", "numbers", "where that comes from"), tuple(rows))


def _spread(entry: Uncertain) -> str:
    given = entry.model_dump(exclude_unset=True, exclude={"key", "kind", "origin", "note"}, exclude_none=True)
    return ", ".join(f"{name} {getattr(value, 'text', value)}" for name, value in given.items())


def _audit(material: Material) -> str:
    audits = [runs.of(pedal).measures.audit for runs in material.comparison.runs for pedal in Pedal]
    worst = max(abs(audit.residual_share) for audit in audits)
    if any(audit.bad for audit in audits):
        return "In at least one run of this page it does not add up: do not use its numbers."
    parts = 10 ** int(-log10(max(worst, 1e-12)))
    return f"In every run of this page it adds up to one part in {parts:,} of the work of the engine, or better."


def _cautions() -> list[str]:
    return [*(sentence.strip() + "." for sentence in CAUTION.rstrip(".").split(". ")), *_CAUTIONS]


def _about_inputs(material: Material) -> dict[str, Any]:
    scenario, names = material.scenario, material.usable.curves
    return {
        "inputs": inputs(scenario, names),
        "curve_tables": [table for name in names for table in curve_tables(scenario.curve(name))],
        "defaults": defaults(scenario),
        "warnings": [each for each in warnings(scenario) if UNLIKE_SIDES not in each],  # that one is among the cautions
        "left_out": _left_out(material.left_out),
        "notes": list(_notes(scenario, tuple(names))),
    }


def _left_out(names: Sequence[str]) -> str:
    if not names:
        return ""
    listed = ", ".join(named(name) for name in names[:5])
    more = f" and {len(names) - 5} more" if len(names) > 5 else ""
    return f"the curve{'s' if len(names) > 1 else ''} {listed}{more}"


def _notes(scenario: Scenario, names: Sequence[str]) -> Iterator[tuple[str, str]]:
    if scenario.note:
        yield "on the car", scenario.note
    for name in names:
        note = scenario.curve(name).note
        if note:
            yield f"on {named(name)}", note


def _fingerprint(ready: Edition) -> str:
    """A short name for everything that the page depends on."""
    description, curves = ready.material.scenario.model_dump_json(), list(ready.material.usable.curves)
    swept = ready.material.swept.digest if ready.material.swept else None
    logs = [ready.material.measured.digest] if ready.material.measured else []
    made_from = [description, curves, ready.system.value, ready.version, ready.cases, swept, *logs]
    return hashlib.sha256(json.dumps(made_from).encode()).hexdigest()[:16]


def _csv(material: Material, drawn: Mapping[str, Picture], system: System) -> str:
    """Every number as CSV, within an address that leads nowhere."""
    tables = [main_times(material, system), both_units(material), *compare_words.tables(material.comparison, system)]
    tables += [table for picture in drawn.values() for table in picture.tables]
    if material.odds:
        names = (material.odds.first, material.odds.second)
        numbers = Numbers(system)
        rows = [
            Row(str(n), "s", tuple(numbers.plain(value, Dimension.TIME) for value in pair))
            for n, pair in enumerate(material.odds.times, start=1)
        ]
        tables.append(Table(f"Cases, {PEDAL_WORDS[material.odds.pedal]}", names, tuple(rows)))
    content = base64.b64encode(csv_text(map(plain_table, tables)).encode()).decode()
    return f"data:text/csv;charset=utf-8;base64,{content}"


def glossary_of(text: str) -> list[tuple[str, str]]:
    """Words of the glossary that a page uses, with what they mean, by the alphabet.

    Parameters
    ----------
    text : str
        The page without its glossary.

    Returns
    -------
    list of tuple of str
        Word and meaning.
    """
    entries = words()
    used = re.sub(r"<(style|script)\b.*?</\1>|<[^>]*>", " ", text, flags=re.DOTALL)
    shown = " ".join(used.split())
    found = [
        (word, entry.meaning)
        for word, entry in entries.items()
        if any(re.search(rf"(?<!\w){re.escape(each)}(?!\w)", shown, re.IGNORECASE) for each in (word, *entry.also))
    ]
    return sorted(found, key=lambda each: each[0].lower())
