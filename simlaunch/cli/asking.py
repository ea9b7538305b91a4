"""Questions on a terminal, one after another: a refusal asks again, and nothing is written before the last answer."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Mapping
from dataclasses import replace

import typer

from simlaunch.analysis.data_sheet import Answers, DataSheet, data_sheet, names_a_sheet
from simlaunch.cli.ending import before_leaving
from simlaunch.cli.output import complain
from simlaunch.errors import Fault, InputError, UsageError
from simlaunch.output.layout import clean_lines, paragraph
from simlaunch.scenario.questions import BACK, QUESTIONS, Question

_HEAD = (
    f"Answer with a number and its unit. Enter takes what stands in [brackets], {BACK} goes back, Ctrl-C ends "
    "without a file."
)


def sheet_of(given: Mapping[str, str | None]) -> DataSheet:
    """Data sheet of options, and of answers where something needed is missing and somebody is there to ask.

    Raises
    ------
    UsageError
        Something needed is missing, and nobody is there.
    InputError
        An option that does not do.
    """
    missing = _missing(given)
    if missing and not _somebody_there():
        wanted = ", ".join(f'{question.option} "{question.example}"' for question in missing)
        raise UsageError(f"new needs {wanted}; on a terminal it asks")
    try:
        return _ask(given) if missing else data_sheet(given)
    except InputError as error:
        raise InputError(*_by_option(error.args)) from None


def _missing(given: Mapping[str, str | None]) -> list[Question]:
    needless = {"power"} if names_a_sheet(given.get("torque") or "") else set[str]()
    return [each for each in QUESTIONS if not each.usual and each.name not in needless and given.get(each.name) is None]


def _somebody_there() -> bool:
    return all(stream is not None and stream.isatty() for stream in (sys.stdin, sys.stderr))


def _by_option(args: tuple[object, ...]) -> tuple[object, ...]:
    """A fault with its place as the option that was typed."""
    options = {question.name: question.option for question in QUESTIONS}
    return tuple(replace(a, place=options.get(a.place, a.place)) if isinstance(a, Fault) else a for a in args)


def _say(text: str, end: str = "\n") -> None:
    with contextlib.suppress(OSError, ValueError):
        sys.stderr.write(f"{text}{end}")
        sys.stderr.flush()


def _line() -> str:
    """What is typed; the end of the input ends the command."""
    try:
        line = sys.stdin.readline()
    except UnicodeDecodeError:
        return "\N{REPLACEMENT CHARACTER}"
    if not line:
        _say("")
        complain("the input ended; no file was written")
        raise typer.Abort
    return line.strip()


def _ask(given: Mapping[str, str | None]) -> DataSheet:
    answers, place = Answers(), 0
    asked: list[int] = []
    _say(paragraph(_HEAD))
    with before_leaving(lambda: complain("\nno file was written")):
        while place < len(QUESTIONS):
            question = QUESTIONS[place]
            if not answers.wanted(question):
                place += 1
            elif given.get(question.name) is not None:
                answers.give(question, given[question.name])
                place += 1
            elif _answered(answers, question, place):
                asked.append(place)
                place += 1
            elif asked:
                place = asked.pop()
    return answers.complete()


def _answered(answers: Answers, question: Question, place: int) -> bool:
    """Ask until an answer does; False: go back to the question before."""
    usual = answers.usual(question)
    number, all_asked = sum(map(answers.wanted, QUESTIONS[:place])) + 1, sum(map(answers.wanted, QUESTIONS))
    _say(f"\n{paragraph(f'{number}/{all_asked} {question.what}')}")
    _say(paragraph(f"    {question.where}; such as {question.example}", "    "))
    while True:
        _say(f"  {question.name.replace('_', ' ')}{f' [{usual}]' if usual else ''}: ", end="")
        typed = _line()
        if typed == BACK:
            return False
        try:
            answers.give(question, typed)
            return True
        except InputError as error:
            fault = error.args[0]
            _say(clean_lines(paragraph(f"  {_refusal(fault)}", "  ")))


def _refusal(fault: object) -> str:
    """What is wrong with an answer, and what to write."""
    if not isinstance(fault, Fault):
        return str(fault)
    return f"{' '.join(part for part in (fault.typed, fault.why) if part)}; {fault.instead}"
