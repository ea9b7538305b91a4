"""The file of results: what it holds after any end, what it refuses, and that nothing is lost."""

from __future__ import annotations

import os
import sqlite3
import sys
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np
import pytest

from simlaunch.cli.main import answer
from simlaunch.errors import InputError, SimlaunchError
from simlaunch.scenario.model import Scenario
from simlaunch.sweeping import campaign
from simlaunch.sweeping.backends import Threads
from simlaunch.sweeping.campaign import Progress, carry_out, chunk_length, estimate
from simlaunch.sweeping.chunk import ChunkResult, Pace, Spec, calculate, maker, never, prepared, spec_of, study_of
from simlaunch.sweeping.export import KINDS
from simlaunch.sweeping.plan import Draw, Plan, Sample
from simlaunch.sweeping.store import Lock, Reader, Store
from sweep.conftest import SMALL, filled, planned

posix = pytest.mark.skipif(os.name != "posix", reason="permissions of a POSIX system")
not_root = pytest.mark.skipif(hasattr(os, "geteuid") and os.geteuid() == 0, reason="nothing is forbidden to root")


def _has_grown(entries: list[int], beyond: int) -> bool:
    return len(entries) > beyond


def _quiet(progress: Progress) -> None:
    del progress


def _made_up(spec: Spec, seed: int = 0) -> np.ndarray:
    values = np.random.default_rng(seed).normal(10.0, 1.0, (spec.plan.size, len(prepared(spec).columns)))
    values[::5, 3] = np.nan
    return values


def _digest(path: Path) -> str:
    with Reader(path) as reader:
        assert reader.damaged() == []
        return reader.digest()


def _write_all(store: Store, spec: Spec, values: np.ndarray) -> None:
    for number, (first, last) in store.missing().items():
        result = ChunkResult(first, values[first:last], np.zeros(last - first, np.int64), {}, maker())
        store.write(number, spec.plan.cases(first, last), result)


# --- what is in it ---


def test_every_launch_stands_in_it_with_its_values_and_measures(tmp_path: Path, small: Spec) -> None:
    path = tmp_path / "a.sqlite"
    assert carry_out(small, path, Threads(1), never, _quiet).done == small.plan.size
    whole = calculate(small, 0, small.plan.size)
    assert whole is not None
    with sqlite3.connect(path) as plain:
        rows = plain.execute("SELECT * FROM launch ORDER BY number").fetchall()
        assert plain.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        types = {row[1]: row[2] for row in plain.execute("PRAGMA table_info(launch)")}
    plain.close()
    assert (types["curve"], types["body.mass"], types["time 1/4 mile"]) == ("TEXT", "REAL", "REAL")
    for number, row in enumerate(rows):
        texts = small.plan.texts(small.plan.cases(number, number + 1), 0)
        assert row[0] == number
        assert [row[1], row[2], f"{row[3]:g} kg"] == list(texts.values())
        assert np.array_equal(np.array(row[6:], float), whole.values[number], equal_nan=True)
    assert [entry.name for entry in tmp_path.iterdir()] == ["a.sqlite"]


def test_a_finished_file_is_left_alone(tmp_path: Path, small: Spec) -> None:
    path = tmp_path / "a.sqlite"
    carry_out(small, path, Threads(1), never, _quiet)
    before = path.read_bytes()
    assert carry_out(small, path, Threads(1), never, _quiet).done == small.plan.size
    assert _digest(path)
    with sqlite3.connect(path) as connection:
        again = connection.execute("SELECT count(*) FROM launch").fetchone()
    connection.close()
    assert again == (small.plan.size,)
    assert len(path.read_bytes()) == len(before)


def test_an_interrupted_sweep_carried_on_equals_an_uninterrupted_one(tmp_path: Path, small: Spec) -> None:
    whole, parts = tmp_path / "whole.sqlite", tmp_path / "parts.sqlite"
    carry_out(small, whole, Threads(1), never, _quiet)
    seen: list[int] = []
    while not seen or seen[-1] < small.plan.size:
        count = len(seen)
        stopped = partial(_has_grown, seen, count + 2)
        seen.append(carry_out(small, parts, Threads(1), stopped, lambda far: seen.append(far.done)).done)
    assert len(seen) > 6
    assert _digest(parts) == _digest(whole)


def test_the_hash_of_results_does_not_depend_on_how_they_were_parted(tmp_path: Path, small: Spec) -> None:
    values = _made_up(small)
    for length in (1, 3, 16):
        filled(tmp_path / f"{length}.sqlite", small, values, length)
    assert len({_digest(tmp_path / f"{length}.sqlite") for length in (1, 3, 16)}) == 1
    filled(tmp_path / "other.sqlite", small, _made_up(small, 1), 3)
    assert _digest(tmp_path / "other.sqlite") != _digest(tmp_path / "3.sqlite")


def test_a_changed_number_is_found(tmp_path: Path, small: Spec) -> None:
    path = tmp_path / "a.sqlite"
    filled(path, small, _made_up(small), 4)
    with sqlite3.connect(path) as connection:
        connection.execute('UPDATE launch SET "wheelspin time" = "wheelspin time" + 1e-15 WHERE number = 9')
        connection.execute('UPDATE launch SET "wheelspin time" = 3.0 WHERE number = 5')
    connection.close()
    with Reader(path) as reader:
        assert reader.damaged() in ([1], [1, 2])


def test_a_stretch_that_came_back_wrong_is_not_written(tmp_path: Path, small: Spec) -> None:
    with Store(tmp_path / "a.sqlite", study_of(small), lambda: 4) as store:
        result, cases = ChunkResult(8, _made_up(small)[:4], np.zeros(4, np.int64), {}, maker()), small.plan.cases(4, 8)
        with pytest.raises(SimlaunchError, match="came back as 4 launches from 8 on"):
            store.write(1, cases, result)
        assert len(store.missing()) == 4


def test_a_file_can_be_read_while_it_is_written(tmp_path: Path, small: Spec) -> None:
    path = tmp_path / "a.sqlite"
    with Store(path, study_of(small), lambda: 4) as store:
        for number, (first, last) in store.missing().items():
            values = _made_up(small)[first:last]
            with Reader(path) as reader:
                assert reader.count() == first
                store.write(
                    number, small.plan.cases(first, last), ChunkResult(first, values, np.zeros(4, int), {}, maker())
                )
                assert reader.count() == first  # one state for all questions
    assert _digest(path)


# --- what is refused ---


def _refusal(path: Path, spec: Spec) -> str:
    before = path.read_bytes() if path.is_file() else b""
    with pytest.raises(InputError) as caught:
        carry_out(spec, path, Threads(1), never, _quiet)
    if path.is_file():
        assert path.read_bytes() == before
    return str(caught.value)


def test_another_sweep_is_refused_with_what_differs(tmp_path: Path, brief: Scenario, small: Spec) -> None:
    path = tmp_path / "a.sqlite"
    filled(path, small, _made_up(small))
    heavier = brief.replace({"body.mass": "1601 kg"})
    cases = {
        "the scenario differs": spec_of(heavier, small.plan),
        "the axes differ": spec_of(brief, Plan(small.plan.axes[:2])),
        "the tolerance differs": replace(small, tolerance=1e-7),
        "the sample differs": spec_of(brief, Plan(small.plan.axes, Sample(Draw.SOBOL, 16, 1))),
        "the scenario and the axes differ": spec_of(heavier, Plan(small.plan.axes[:2])),
    }
    for told, spec in cases.items():
        assert told in _refusal(path, spec)


@pytest.mark.parametrize(
    ("column", "told"),
    [("version", "the version of simlaunch"), ("source", "the numeric code"), ("axes_hash", "the cases that")],
)
def test_another_version_is_refused(tmp_path: Path, small: Spec, column: str, told: str) -> None:
    path = tmp_path / "a.sqlite"
    filled(path, small, _made_up(small)[:9])
    with sqlite3.connect(path) as connection:
        connection.execute(f"UPDATE study SET {column} = 'other'")
    connection.close()
    assert told in _refusal(path, small)


def test_how_it_is_ranked_and_noted_plays_no_part(tmp_path: Path, brief: Scenario, small: Spec) -> None:
    path = tmp_path / "a.sqlite"
    filled(path, small, _made_up(small))
    other = brief.replace({"note": "another word", "sweep": {"vary": ["curve"], "by": "wheelspin time"}})
    assert planned(other, *SMALL) == small
    carry_out(small, path, Threads(1), never, _quiet, '{"by": "wheelspin time"}')
    with Reader(path) as reader:
        assert reader.study.asked == '{"by": "wheelspin time"}'


def test_what_is_no_file_of_a_sweep_is_refused(tmp_path: Path, small: Spec) -> None:
    (tmp_path / "text").write_text("not a database, but long enough to look like a file" * 20)
    assert "is not a file of a sweep" in _refusal(tmp_path / "text", small)
    with sqlite3.connect(tmp_path / "foreign") as connection:
        connection.execute("CREATE TABLE mine (x)")
    connection.close()
    assert "is not a file of a sweep" in _refusal(tmp_path / "foreign", small)
    (tmp_path / "folder").mkdir()
    assert "cannot be opened" in _refusal(tmp_path / "folder", small)
    assert "cannot be written" in _refusal(tmp_path / "nowhere" / "a.sqlite", small)
    with pytest.raises(InputError, match="does not exist"):
        Reader(tmp_path / "missing")
    with pytest.raises(InputError, match="is not a file of a sweep"):
        Reader(tmp_path / "text")


def test_a_file_of_another_format_is_refused(tmp_path: Path, small: Spec) -> None:
    path = tmp_path / "a.sqlite"
    filled(path, small, _made_up(small))
    with sqlite3.connect(path) as connection:
        connection.execute("PRAGMA user_version = 99")
    connection.close()
    assert "is of format 99" in _refusal(path, small)


def _spoilt(path: Path, how: str) -> None:
    with sqlite3.connect(path) as connection:
        connection.execute(how)
    connection.close()


@pytest.mark.parametrize(
    "how",
    [
        "UPDATE launch SET \"time 60 ft\" = 'soon' WHERE number = 3",
        "UPDATE launch SET \"body.mass\" = x'00ff' WHERE number = 0",
        "UPDATE launch SET ending = NULL",
        "UPDATE launch SET reason = x'ff', ending = 9 WHERE number = 2",
        "UPDATE launch SET curve = 'moon'",
        "UPDATE launch SET curve = CAST(x'ff' AS TEXT)",
        "UPDATE study SET axes = '[{}]'",
        "UPDATE study SET axes = 'nonsense'",
        "UPDATE study SET columns = '[]'",
        'UPDATE study SET columns = \'[{"name": "weight", "dimension": "mass", "label": "w"}]\'',
        "UPDATE study SET asked = '3'",
        "UPDATE study SET chunk_length = 0",
        "UPDATE study SET launches = 'many'",
        "UPDATE study SET goal = 'glory'",
        "UPDATE study SET scenario = '{'",
        "UPDATE chunk SET digest = NULL",
        "UPDATE chunk SET first = 'a'",
        "DELETE FROM study",
        "INSERT INTO study SELECT * FROM study",
        "DROP TABLE launch",
        "DROP TABLE chunk",
        'ALTER TABLE launch DROP COLUMN "time 60 ft"',
    ],
)
def test_a_file_that_is_damaged_inside_is_never_a_fault_of_ours(
    tmp_path: Path, small: Spec, how: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Whatever is asked of it: an answer, or one line that says that it is damaged and what to do."""
    path = tmp_path / "a.sqlite"
    filled(path, small, _made_up(small), 4)
    _spoilt(path, how)
    files = [part for kind in KINDS for part in (f"--{kind}", str(tmp_path / f"a.{kind}"))]
    for options in ([], ["--json"], ["--jsonl", "-"], ["--verify"], files, ["--figure", str(tmp_path / "f")]):
        code = answer(["sweep", "show", str(path), *options])
        err = capsys.readouterr().err
        assert "internal error" not in err
        assert "Traceback" not in err
        assert code in (0, 3) or (code == 2 and "--figure" in options), err
        assert code != 3 or any(
            told in err for told in (" damaged; restore a copy", "are damaged, ", "is not a file")
        ), err
    assert answer(["sweep", "show", str(path), "--verify"]) != 0


@pytest.mark.parametrize(
    "how",
    ["DROP TABLE chunk", "DROP TABLE launch", "UPDATE chunk SET number = -number - 9", "UPDATE study SET axes = '{}'"],
)
def test_a_damaged_file_is_not_carried_on(tmp_path: Path, small: Spec, how: str) -> None:
    path = tmp_path / "a.sqlite"
    filled(path, small, _made_up(small)[:9], 4)
    _spoilt(path, how)
    with pytest.raises(InputError, match="is damaged; restore a copy"):
        carry_out(small, path, Threads(1), never, _quiet)


def test_bytes_that_were_changed_anywhere_are_never_a_fault_of_ours(
    tmp_path: Path, small: Spec, capsys: pytest.CaptureFixture[str]
) -> None:
    path, rng = tmp_path / "a.sqlite", np.random.default_rng(5)
    filled(path, small, _made_up(small), 4)
    whole, told = path.read_bytes(), 0
    for _ in range(60):
        content = bytearray(whole)
        for place in rng.integers(100, len(whole), rng.integers(1, 40)):
            content[place] = rng.integers(256)
        path.write_bytes(content)
        for options in ([], ["--json"], ["--jsonl", "-"], ["--verify"]):
            code = answer(["sweep", "show", str(path), *options])
            err = capsys.readouterr().err
            assert "internal error" not in err
            told += code != 0
    assert told > 30


def test_a_fault_of_ours_is_not_put_down_to_a_sound_file(tmp_path: Path, small: Spec) -> None:
    filled(tmp_path / "a.sqlite", small, _made_up(small), 4)
    with pytest.raises(KeyError), Reader(tmp_path / "a.sqlite"):
        raise KeyError("ours")


def test_a_damaged_file_is_reported(tmp_path: Path, small: Spec) -> None:
    path = tmp_path / "a.sqlite"
    filled(path, small, _made_up(small))
    content = bytearray(path.read_bytes())
    content[4096:] = b"\xaa" * (len(content) - 4096)
    path.write_bytes(content)
    with pytest.raises(InputError, match="is damaged; restore a copy"), Reader(path) as reader:
        reader.digest()


@posix
@not_root
def test_a_folder_or_a_file_that_is_read_only_is_reported_and_can_be_read(tmp_path: Path, small: Spec) -> None:
    path = tmp_path / "a.sqlite"
    filled(path, small, _made_up(small)[:9])
    path.chmod(0o444)
    try:
        assert "cannot be written" in _refusal(path, small)
        tmp_path.chmod(0o555)
        assert "cannot be written" in _refusal(path, small)
        assert "cannot be written" in _refusal(tmp_path / "b.sqlite", small)
        assert _digest(path)
    finally:
        tmp_path.chmod(0o755)


def test_a_full_disk_loses_nothing(tmp_path: Path, small: Spec) -> None:
    path = tmp_path / "a.sqlite"
    values = _made_up(small)
    with Store(path, study_of(small), lambda: 1) as store:
        pages = store.connection.execute("PRAGMA page_count").fetchone()[0]
        store.connection.execute(f"PRAGMA max_page_count = {pages + 2}")
        with pytest.raises(InputError, match="no room left on its disk"):
            _write_all(store, small, values)
    with Reader(path) as reader:
        assert 0 < reader.count() < small.plan.size
        assert reader.damaged() == []
    filled(path, small, values, 1)
    filled(tmp_path / "b.sqlite", small, values)
    assert _digest(path) == _digest(tmp_path / "b.sqlite")


def test_a_second_writer_is_refused_and_the_first_goes_on(tmp_path: Path, small: Spec) -> None:
    path = tmp_path / "a.sqlite"
    with Store(path, study_of(small), lambda: 4) as store:
        with pytest.raises(InputError, match="is being written by another process"):
            Store(path, study_of(small), lambda: 4)
        result = ChunkResult(0, _made_up(small)[:4], np.zeros(4, np.int64), {}, maker())
        store.write(0, small.plan.cases(0, 4), result)
    with Store(path, study_of(small), lambda: 4) as store:
        assert len(store.missing()) == 3


def test_a_lock_left_behind_by_a_dead_process_is_no_lock(tmp_path: Path, small: Spec) -> None:
    path = tmp_path / "a.sqlite"
    path.with_name("a.sqlite.lock").touch()
    Lock(path).release()
    assert list(tmp_path.iterdir()) == []
    filled(path, small, _made_up(small))


@pytest.mark.skipif(sys.platform == "win32", reason="the file cannot be taken away there")
def test_a_lock_that_was_taken_away_in_between_is_taken_anew(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    taken: list[int] = []
    real = Lock._is_still_there

    def first_gone(lock: Lock, descriptor: int) -> bool:
        if not taken:
            lock._path.unlink()
        taken.append(descriptor)
        return real(lock, descriptor)

    monkeypatch.setattr(Lock, "_is_still_there", first_gone)
    lock = Lock(tmp_path / "a.sqlite")
    assert len(taken) == 2
    with pytest.raises(InputError, match="another process"):
        Lock(tmp_path / "a.sqlite")
    lock.release()


def test_a_writer_that_died_before_it_wrote_anything_leaves_a_file_to_begin_in(tmp_path: Path, small: Spec) -> None:
    path = tmp_path / "a.sqlite"
    path.touch()
    filled(path, small, _made_up(small))
    other = tmp_path / "b.sqlite"
    connection = sqlite3.connect(other)
    connection.execute("PRAGMA journal_mode = WAL")
    connection.close()
    filled(other, small, _made_up(small))
    assert _digest(path) == _digest(other)


# --- how long, how much ---


def test_stretches_take_about_half_a_second(small: Spec) -> None:
    assert chunk_length(0.001, 1_000_000, 2) == 500
    assert chunk_length(0.001, 100, 2) == 13
    assert chunk_length(3.0, 100, 2) == 1


def test_an_estimate_counts_the_workers_that_find_work(
    brief: Scenario, small: Spec, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A launch takes 2 ms alone and a combination of names 10 ms once; two cores make 800 launches a second."""
    monkeypatch.setattr(campaign, "pace", lambda spec: Pace(0.002, 0.01, 40))
    monkeypatch.setattr(campaign, "_rate", lambda spec, together, each: (400.0 * together, 9))
    monkeypatch.setattr(campaign, "cores", lambda: 2)
    found = estimate(small, 8)
    assert (found.launches, found.workers, found.trials) == (16, 8, 49)
    assert found.seconds == pytest.approx(16 / 800.0 + 4 * 0.01)
    assert estimate(small, 1).seconds == pytest.approx(16 * 0.002 + 4 * 0.01)
    assert estimate(small, 8, elsewhere=True).seconds == pytest.approx(16 / 3200.0 + 4 * 0.01)
    assert estimate(planned(brief, "tyre"), 64).workers == 2  # as many as there are launches


def test_trial_launches_on_all_cores_give_a_rate(brief: Scenario) -> None:
    spec = planned(brief, *SMALL[:2], "body.mass: 1500 kg to 1700 kg in 500")
    rate, trials = campaign._rate(spec, 2, 0.01)
    assert trials == 24 * 3
    assert 1.0 < rate < 1e5
    assert campaign._rate(planned(brief, "tyre"), 2, 0.01) == (200.0, 0)


def test_the_room_on_the_disk_is_as_estimated(tmp_path: Path, brief: Scenario) -> None:
    spec = planned(brief, *SMALL[:2], "body.mass: 1500 kg to 1700 kg in 500")
    path = tmp_path / "a.sqlite"
    filled(path, spec, _made_up(spec), 500)
    assert 0.7 < path.stat().st_size / estimate(spec, 1).bytes < 1.3


def _readings(path: Path) -> list[list[tuple[object, ...]]]:
    """All that stands in the tables of a file, and what it says of these tables."""
    connection = sqlite3.connect(f"file:{path}?mode=ro", uri=True)
    try:
        return [
            connection.execute(f"SELECT * FROM {t}").fetchall() for t in ("sqlite_master", "study", "chunk", "launch")
        ]
    finally:
        connection.close()


def _passes(path: Path) -> bool:
    try:
        with Reader(path) as reader:
            return reader.is_sound()
    except InputError:
        return False


def test_no_flipped_bit_that_changes_a_reading_passes(tmp_path: Path, small: Spec) -> None:
    """One bit of each of many bytes: the description of the sweep and of the tables is looked at too."""
    path = tmp_path / "s.db"
    filled(path, small, _made_up(small))
    whole, good = path.read_bytes(), _readings(path)
    assert _passes(path)
    rng = np.random.default_rng(4)
    labels = [whole.index(text) + 2 for text in (b"time 0-60 mph", b"time at the grip limit", b"tablelaunchlaunch")]
    for place in [*labels, *rng.choice(len(whole), 400, replace=False).tolist()]:
        spoiled = bytearray(whole)
        spoiled[place] ^= 1 << int(rng.integers(8))
        path.write_bytes(spoiled)
        if _passes(path):
            assert _readings(path) == good, place
    for place in labels:
        spoiled = bytearray(whole)
        spoiled[place] ^= 1
        path.write_bytes(spoiled)
        assert answer(["sweep", "show", str(path), "--verify"]) == 3, place


@pytest.mark.parametrize("end", [".lock", "-wal", "-shm", "-journal"])
def test_a_file_of_somebody_else_beside_the_results_stays(tmp_path: Path, small: Spec, end: str) -> None:
    stranger = tmp_path / f"a.sqlite{end}"
    stranger.write_text("mine")
    with pytest.raises(InputError, match="exists already and does not belong to this sweep"):
        carry_out(small, tmp_path / "a.sqlite", Threads(1), never, _quiet)
    assert [path.name for path in tmp_path.iterdir()] == [stranger.name]
    assert stranger.read_text() == "mine"


@pytest.mark.skipif(os.name != "posix", reason="needs links")
def test_results_are_not_begun_through_a_link(tmp_path: Path, small: Spec) -> None:
    (tmp_path / "a.sqlite").symlink_to(tmp_path / "elsewhere")
    with pytest.raises(InputError, match="is a link that leads nowhere"):
        carry_out(small, tmp_path / "a.sqlite", Threads(1), never, _quiet)
    assert not (tmp_path / "elsewhere").exists()
