"""The file of a sweep: one SQLite database that holds the question and every finished chunk of launches.

A chunk and its rows are written in one transaction, so that a file holds all of it or nothing of it, whenever the
process ends. Two processes never write into one file: a writer holds a lock that the system takes back when it dies.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import sqlite3
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import asdict, fields, replace
from pathlib import Path
from typing import Any, Self
from urllib.parse import quote

import numpy as np

from simlaunch.errors import Fault, InputError, SimlaunchError, UsageError, plain
from simlaunch.sweeping.axes import Kind
from simlaunch.sweeping.chunk import BESIDE_MARKS, SCHEMA, ChunkResult, Study, in_order
from simlaunch.sweeping.plan import Cases, Plan

if sys.platform == "win32":
    import msvcrt
else:
    import fcntl

APPLICATION = 0x534C5357
"""Mark in the head of the database, by which a file of ours is known."""

_WAIT = 10.0  # for a reader that holds things up [s]
_HELD = "SELECT number, groups FROM chunk ORDER BY number"


_MUST_AGREE = {
    "format": "the format of the file",
    "version": "the version of simlaunch",
    "source": "the numeric code, or the processor or compiler it was made for",
    "scenario_hash": "the scenario",
    "axes": "the axes",
    "sample": "the sample",
    "tolerance": "the tolerance",
    "columns": "the measures",
    "tests": "what is timed beside the goal",
    "axes_hash": "the cases that the sample gives",
}
"""What has to agree before a file is carried on, in the order in which differences are reported."""
_SEVERAL = ("the axes", "the measures", "the cases that the sample gives")


def identifier(name: str) -> str:
    """Name of a column as it stands in a statement."""
    return '"' + name.replace('"', '""') + '"'


def _fault(path: Path, why: str, instead: str) -> InputError:
    return InputError(Fault(plain(str(path)), "", why, instead))


_DAMAGED = ("is damaged", "restore a copy, or begin again in another file")


def _damaged(path: Path) -> InputError:
    return _fault(path, *_DAMAGED)


_DATABASE_FAULTS: tuple[tuple[str, str, str], ...] = (
    ("not a database", "is not a file of a sweep", "name another file"),
    *(
        (sign, *_DAMAGED)
        for sign in ("malformed", "no such table", "no such column", "Could not decode", "UNIQUE constraint")
    ),
    (
        "disk is full",
        "has no room left on its disk",
        "free some; what is finished is kept, and the same command goes on",
    ),
    ("readonly", "cannot be written", "check its permissions, or name another file"),
    ("unable to open", "cannot be opened", "check the path and its permissions"),
    ("locked", "is held by another process", "wait until that one is done"),
)


@contextlib.contextmanager
def _spoken(path: Path) -> Iterator[None]:
    """Turn an error of the database into a message that states the remedy."""
    try:
        yield
    except UnicodeError:  # the complaint itself, or a name in the file, is no text
        raise _damaged(path) from None
    except sqlite3.Error as error:
        text = str(error)
        for sign, why, instead in _DATABASE_FAULTS:
            if sign in text:
                raise _fault(path, why, instead) from None
        raise _fault(path, f"cannot be used ({text})", "check the disk; what is finished is kept") from None


class Lock:
    """The right to write a file, held through an empty file beside it; the system frees it when the process ends.

    Parameters
    ----------
    path : Path
        The file to be written.
    """

    def __init__(self, path: Path) -> None:
        self._path = path.with_name(f"{path.name}.lock")
        self._target = path
        self._descriptor = self._take()

    def _take(self) -> int:
        while True:
            try:
                _refuse_strangers(self._target)
                flags = os.O_RDWR | os.O_CREAT | getattr(os, "O_CLOEXEC", 0) | getattr(os, "O_NOFOLLOW", 0)
                descriptor = os.open(self._path, flags, 0o666)
            except OSError as error:
                why = f"cannot be written ({error.strerror})"
                raise _fault(self._target, why, "name a file in a folder that you may write to") from None
            if not _locked(descriptor):
                os.close(descriptor)
                raise _fault(self._target, "is being written by another process", "wait for it, or name another file")
            if self._is_still_there(descriptor):
                return descriptor
            os.close(descriptor)  # the one before us took the file away as it left: begin again

    def _is_still_there(self, descriptor: int) -> bool:
        try:
            return os.path.samestat(os.fstat(descriptor), self._path.stat())
        except OSError:
            return False

    def release(self) -> None:
        """Give the right back, and leave no trace of it."""
        with contextlib.suppress(OSError):
            self._path.unlink()
        os.close(self._descriptor)


def _refuse_strangers(path: Path) -> None:
    """Refuse to work with files beside the results that simlaunch cannot have left there."""
    lock = path.with_name(f"{path.name}.lock")
    beside = [lock] if lock.is_symlink() or (lock.exists() and (not lock.is_file() or lock.stat().st_size)) else []
    if not path.exists():  # a journal is only ever left beside its own file, and would be overwritten
        beside += [each for end in ("-wal", "-shm", "-journal") if (each := Path(f"{path}{end}")).exists()]
    if path.is_symlink() and not path.exists():
        raise _fault(path, "is a link that leads nowhere", "name the file itself")
    if beside:
        raise _fault(
            beside[0], "is there already, and does not belong to this sweep", "move it, or name other results with -o"
        )


def _locked(descriptor: int) -> bool:
    try:
        if sys.platform == "win32":
            msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)
        else:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


class Reader:
    """A file of results, read only; another process may be writing it meanwhile.

    Parameters
    ----------
    path : Path
        The file.

    Raises
    ------
    InputError
        It is not there, or it is no file of a sweep.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        if not path.exists():
            raise _fault(path, "does not exist", "check the path")
        with _spoken(path):
            self.connection = _read_only(path)
            try:
                self.study = _study_in(self.connection, path)
                self.connection.isolation_level = None
                self.connection.execute("BEGIN")  # one state of the file for all questions
            except BaseException:
                self.connection.close()
                raise

    def rows(self, statement: str, values: Sequence[object] = ()) -> list[tuple[Any, ...]]:
        """All rows that a statement gives; meant for few."""
        with _spoken(self.path):
            return self.connection.execute(statement, values).fetchall()

    def stream(self, statement: str, values: Sequence[object] = ()) -> Iterator[tuple[Any, ...]]:
        """Rows that a statement gives, one after the other."""
        with _spoken(self.path):
            yield from self.connection.execute(statement, values)

    def count(self, condition: str = "1", values: Sequence[object] = ()) -> int:
        """Number of finished launches that meet a condition."""
        return int(self.rows(f"SELECT count(*) FROM launch WHERE {condition}", values)[0][0])

    def digest(self) -> str:
        """Hash of all finished results, in the order of their numbers, however they were split into chunks."""
        whole = hashlib.sha256()
        for row in self.stream("SELECT * FROM launch ORDER BY number"):
            whole.update(repr(row).encode())
        return whole.hexdigest()

    def damaged(self) -> list[int]:
        """Numbers of finished chunks whose rows are no longer the bits that were written."""
        known = self.rows("SELECT number, first, last, digest FROM chunk ORDER BY number")
        return [number for number, first, last, digest in known if not self._is_as_written(first, last, digest)]

    def _is_as_written(self, first: int, last: int, digest: str) -> bool:
        rows = self.rows("SELECT * FROM launch WHERE number >= ? AND number < ? ORDER BY number", (first, last))
        plan = self.study.plan
        after = 1 + len(plan.axes)
        try:
            values = np.array([[np.nan if v is None else v for v in row[after + 2 :]] for row in rows], np.float64)
            ending = np.array([row[after] for row in rows], np.int64)
        except (TypeError, ValueError):  # no numbers at all
            return False
        reasons = {n: row[after + 1] for n, row in enumerate(rows) if row[after + 1] is not None}
        expected = list(_axis_cells(plan, plan.cases(first, last)))
        if [row[:after] for row in rows] != expected or not all(isinstance(why, str) for why in reasons.values()):
            return False
        return ChunkResult(first, values, ending, reasons, "").digest == digest

    def astray(self) -> list[str]:
        """Parts of the file, other than the rows of finished chunks, that are no longer as they were written.

        The check leaves out bytes that no answer depends on: counters, versions and reserved space in the head, and
        what pages hold beyond their rows.
        """
        with _spoken(self.path):
            tables = self.rows("SELECT type, name, tbl_name, sql FROM sqlite_master ORDER BY rowid")
            kept = self.rows("SELECT digest FROM study")
            chunks = self.rows("SELECT number, first, last FROM chunk")
            whole = self.rows("PRAGMA integrity_check(1)")[0][0] == "ok"
        found = {
            "the database itself": whole,
            "the description of its tables": tables == list(_described(self.study)),
            "what the sweep is about": kept == [(_study_digest(self.study),)],
            "the list of finished chunks": all((a, b) == self.study.chunk(n) for n, a, b in chunks),
            "the number of launches": self.count() == sum(b - a for _, a, b in chunks),
        }
        return [name for name, sound in found.items() if not sound]

    def held(self) -> dict[int, frozenset[str]]:
        """What each finished chunk holds beside the marks."""
        return {number: frozenset(json.loads(groups)) for number, groups in self.rows(_HELD)}

    def lacking(self, groups: Iterable[str]) -> dict[int, tuple[int, int]]:
        """First and last number of every finished chunk that was measured without some of these groups."""
        wanted = set(groups)
        return {number: self.study.chunk(number) for number, held in self.held().items() if not wanted <= held}

    def close(self) -> None:
        """Close the file."""
        self.connection.close()

    def is_sound(self) -> bool:
        """Whether the database is whole, and every finished chunk is the bits that were written."""
        try:
            return not self.astray() and not self.damaged()
        except Exception:  # noqa: BLE001  whatever a damaged file leads to, it is not sound
            return False

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: object, error: BaseException | None, trace: object) -> None:
        """Close the file; an error within counts as damage of the file where the file is damaged."""
        with contextlib.ExitStack() as last:
            last.callback(self.close)
            if isinstance(error, Exception) and not isinstance(error, SimlaunchError) and not self.is_sound():
                raise _damaged(self.path) from None


def _address(path: Path, mode: str) -> str:
    return f"file:{quote(str(path.absolute()))}?{mode}"


def _read_only(path: Path) -> sqlite3.Connection:
    """Connection for reading; where nothing may be written beside the file, it is read as one that never changes."""
    connection = sqlite3.connect(_address(path, "mode=ro"), uri=True, timeout=_WAIT, check_same_thread=False)
    try:
        connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
    except sqlite3.OperationalError:
        connection.close()
        if path.with_name(f"{path.name}-wal").exists():
            raise
        connection = sqlite3.connect(_address(path, "immutable=1"), uri=True, check_same_thread=False)
    return connection


def _study_in(connection: sqlite3.Connection, path: Path) -> Study:
    if connection.execute("PRAGMA application_id").fetchone()[0] != APPLICATION:
        raise _fault(path, "is not a file of a sweep", "name another file")
    kept = connection.execute("PRAGMA user_version").fetchone()[0]
    if kept != SCHEMA:
        raise _fault(path, f"is of format {kept}, not {SCHEMA}", "use the version that wrote it")
    names = ", ".join(identifier(field.name) for field in fields(Study))
    rows = connection.execute(f"SELECT {names} FROM study").fetchall()
    try:
        study = Study(*rows[0])
        usable = len(rows) == 1 and len(study.measures) > 0 and study.plan.size == study.launches > 0
        usable &= study.chunk_length > 0 and isinstance(json.loads(study.asked), dict)
        usable &= study.measured <= set(BESIDE_MARKS)
        usable &= study.goal in {measure.name for measure in study.measures}
        usable &= hashlib.sha256(study.scenario.encode()).hexdigest() == study.scenario_hash
    except (LookupError, TypeError, ValueError, AttributeError, UsageError):
        usable = False
    if not usable:
        raise _damaged(path)
    return study


class Store(Reader):
    """A file of results, to be written: begun, or carried on where it was left.

    Parameters
    ----------
    path : Path
        The file.
    study : Study
        What it shall be about; the number of launches written at a time is that of the file, where there is one.
    chunk_length : callable
        How many launches to write at a time in a file that is begun; asked only then.

    Raises
    ------
    InputError
        The file belongs to something else, or cannot be written.
    """

    def __init__(self, path: Path, study: Study, chunk_length: Callable[[], int]) -> None:
        self.path = path
        self._lock = Lock(path)
        try:
            with _spoken(path):
                self.connection = sqlite3.connect(path, isolation_level=None, timeout=_WAIT)
                self._open(study, chunk_length)
        except BaseException:
            if hasattr(self, "connection"):
                self.connection.close()
            self._lock.release()
            raise

    def _open(self, study: Study, chunk_length: Callable[[], int]) -> None:
        blank = self._is_blank()
        if not blank:
            self.study = _study_in(self.connection, self.path)
            _refuse_other(self.path, self.study, study)
        self.connection.execute("PRAGMA journal_mode = WAL")
        self.connection.execute("PRAGMA synchronous = FULL")
        if blank:
            self._begin(replace(study, chunk_length=chunk_length()))
        else:
            both = json.dumps(in_order(study.measured | self.study.measured))
            self._change(replace(self.study, asked=study.asked, groups=both))
        self._insert = self._insertion()

    def _change(self, now: Study) -> None:
        """Note how the ranking is asked for now, and what is measured from now on."""
        if now != self.study:
            values = (now.asked, now.groups, _study_digest(now))
            self.connection.execute("UPDATE study SET asked = ?, groups = ?, digest = ?", values)
            self.study = now

    def _is_blank(self) -> bool:
        """Whether nothing is in the file yet; one whose first writer died may have a head and nothing else."""
        tables = self.connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
        mark = self.connection.execute("PRAGMA application_id").fetchone()[0]
        return tables == 0 and mark in (0, APPLICATION)

    def _begin(self, study: Study) -> None:
        with self._transaction():
            self.connection.execute(f"PRAGMA application_id = {APPLICATION}")
            self.connection.execute(f"PRAGMA user_version = {SCHEMA}")
            for statement in _tables(study):
                self.connection.execute(statement)
            values = (*asdict(study).values(), _study_digest(study))
            self.connection.execute(f"INSERT INTO study VALUES ({', '.join('?' * len(values))})", values)
        self.study = study

    @contextlib.contextmanager
    def _transaction(self) -> Iterator[None]:
        """All of what is done within, or nothing of it."""
        self.connection.execute("BEGIN IMMEDIATE")
        try:
            yield
            self.connection.execute("COMMIT")
        except BaseException:
            with contextlib.suppress(sqlite3.Error):
                self.connection.execute("ROLLBACK")
            raise

    def _insertion(self) -> str:
        width = 3 + len(self.study.plan.axes) + len(self.study.measures)
        return f"INSERT INTO launch VALUES ({', '.join('?' * width)})"

    def missing(self) -> dict[int, tuple[int, int]]:
        """First and last number of every chunk that is not finished, or was finished when less was measured."""
        held, wanted = self.held(), self.study.measured
        every = range(-(-self.study.launches // self.study.chunk_length))
        return {number: self.study.chunk(number) for number in every if not (number in held and wanted <= held[number])}

    def write(self, number: int, cases: Cases, result: ChunkResult, groups: Iterable[str] | None = None) -> None:
        """Add a finished chunk, in place of the one that was measured with less.

        Parameters
        ----------
        number : int
            Its number.
        cases : Cases
            Its cases.
        result : ChunkResult
            What came of them.
        groups : iterable of str, optional
            What was measured beside the marks; what the study says if left out.

        Raises
        ------
        InputError
            It cannot be written; nothing of it is in the file then.
        SimlaunchError
            The result is not one of this chunk.
        """
        first, last = self.study.chunk(number)
        if (result.first, len(result.values), cases.first) != (first, last - first, first):
            raise SimlaunchError(f"chunk {number} came back as {len(result.values)} launches from {result.first} on")
        with _spoken(self.path), self._transaction():
            if self.connection.execute("DELETE FROM chunk WHERE number = ?", (number,)).rowcount:
                self.connection.execute("DELETE FROM launch WHERE number >= ? AND number < ?", (first, last))
            self.connection.executemany(self._insert, _rows(self.study.plan, cases, result))
            held = json.dumps(in_order(self.study.measured if groups is None else groups))
            row = (number, first, last, held, result.digest)
            self.connection.execute("INSERT INTO chunk VALUES (?, ?, ?, ?, ?)", row)

    def close(self) -> None:
        """Close the file; one that is complete becomes a single file that needs nothing beside it."""
        try:
            with contextlib.suppress(sqlite3.Error, InputError):
                if not self.missing():
                    self.connection.execute("PRAGMA journal_mode = DELETE")
            self.connection.close()
        finally:
            self._lock.release()


def _study_digest(study: Study) -> str:
    """Hash of everything that a file says about its sweep."""
    return hashlib.sha256(repr(tuple(asdict(study).values())).encode()).hexdigest()


def _tables(study: Study) -> Iterator[str]:
    types = {"int": "INTEGER", "float": "REAL", "str": "TEXT"}
    heads = (f"{identifier(field.name)} {types[str(field.type).split(' ')[0]]}" for field in fields(Study))
    axes = (f"{identifier(a.name)} {'REAL' if a.kind is Kind.NUMBER else 'TEXT'}" for a in study.plan.axes)
    measures = (f"{identifier(measure.name)} REAL" for measure in study.measures)
    own = ("number INTEGER PRIMARY KEY", *axes, "ending INTEGER", "reason TEXT", *measures)
    yield f"CREATE TABLE study ({', '.join(heads)}, digest TEXT)"
    yield "CREATE TABLE chunk (number INTEGER PRIMARY KEY, first INTEGER, last INTEGER, groups TEXT, digest TEXT)"
    yield f"CREATE TABLE launch ({', '.join(own)})"


def _described(study: Study) -> Iterator[tuple[str, str, str, str]]:
    """Tables of a file as the database lists them: kind, name, name again, and the statement that made them."""
    for statement in _tables(study):
        name = statement.split()[2]
        yield "table", name, name, statement


def _axis_cells(plan: Plan, cases: Cases) -> Iterator[tuple[object, ...]]:
    """Number and values by axis of each case, as they stand in the file."""
    si, position = cases.si.tolist(), cases.position.tolist()
    names = [axis.values if axis.kind is not Kind.NUMBER else None for axis in plan.axes]
    for row in range(len(si)):
        varied = (si[row][j] if own is None else own[position[row][j]] for j, own in enumerate(names))
        yield (cases.first + row, *varied)


def _rows(plan: Plan, cases: Cases, result: ChunkResult) -> Iterator[tuple[object, ...]]:
    """Rows of a chunk as they stand in the file; what is not a number stands there as nothing."""
    endings, values = result.ending.tolist(), result.values.tolist()
    for row, case in enumerate(_axis_cells(plan, cases)):
        yield (*case, endings[row], result.reasons.get(row), *values[row])


def _refuse_other(path: Path, there: Study, wanted: Study) -> None:
    different = [name for name in _MUST_AGREE if getattr(there, name) != getattr(wanted, name)]
    if len(different) > 1 and different[-1] == "axes_hash":
        different.pop()  # worth reporting only where all else agrees
    if different:
        words = [_MUST_AGREE[name] for name in different[:3]]
        one = len(words) == 1 and words[0] not in _SEVERAL
        why = f"holds another sweep: {' and '.join(words)} differ{'s' if one else ''}"
        raise _fault(path, why, "name another file, or repeat the command that began it")
