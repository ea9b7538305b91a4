"""The verdict in words: every finding, in both systems of units, with no number that was not weighed."""

from __future__ import annotations

import re
from dataclasses import replace
from decimal import Decimal
from math import nan

import numpy as np
import pytest

from evidence import stated_odds
from simlaunch.comparing.verdict import Case, Finding, judge
from simlaunch.launching.goals import WORTH_NAMING, target_label
from simlaunch.metrics.marks import STANDARD, Kind, Target
from simlaunch.output.words import Numbers, Tally, sentences
from simlaunch.units.quantity import to_display
from simlaunch.units.spelling import Dimension, System

GOAL = Target("402.336 m", Kind.DISTANCE, 0.0, 402.336)
CASE = Case(
    higher="peak",
    lower="plateau",
    higher_peak=560.0,
    lower_peak=450.0,
    higher_power=245_500.0,
    lower_power=284_700.0,
    target=GOAL,
    higher_time=13.7506,
    lower_time=13.5296,
    full_gap=0.2210,
    held_gap=0.1,
    grip_gaps=(0.334, 0.046),
    spin_times=(2.7027, 1.6927),
    input_torques=(694.2, 655.2),
)


def _told(**changes: object) -> tuple[Finding, str, str]:
    """The finding, who is quicker, and cost and doubt."""
    verdict = judge(replace(CASE, **changes), 0.05)  # type: ignore[arg-type]
    first, *_, last = sentences(verdict, "metric")
    return verdict.finding, first, last


def test_a_harmful_peak() -> None:
    finding, first, second = _told()
    assert finding is Finding.HURTS
    assert first == ('"plateau" takes 13.53 s for 1/4 mile, "peak" 13.75 s: "plateau" is 0.22 s quicker.')
    assert second == (
        'Wheelspin: 2.70 s with "peak", 1.69 s with "plateau"; "peak" pulls 694 N m at the gearbox input '
        'against 655 N m; the difference varies with the grip: "peak" is 0.33 s slower with 5 % less grip and '
        "0.05 s slower with 5 % more."
    )


def test_a_helpful_peak() -> None:
    finding, first, second = _told(higher_time=13.3296, full_gap=-0.2, held_gap=-0.2, grip_gaps=(-0.1, -0.3))
    assert finding is Finding.HELPS
    assert first == '"peak" takes 13.33 s for 1/4 mile, "plateau" 13.53 s: "peak" is 0.20 s quicker.'
    assert second.endswith(
        'the difference holds: "peak" is 0.10 s quicker with 5 % less grip and 0.30 s quicker with 5 % more.'
    )


def test_no_difference_worth_naming() -> None:
    finding, first, second = _told(full_gap=0.004, held_gap=0.003, grip_gaps=(-0.002, 0.0))
    assert finding is Finding.NO_DIFFERENCE
    assert first.endswith("no difference worth naming (within 0.01 s).")
    assert "other grip changes nothing worth naming: level within 0.01 s with 5 % less grip and with 5 % more" in second


def test_grip_decides() -> None:
    finding, first, second = _told(grip_gaps=(0.3, -0.2))
    assert finding is Finding.DEPENDS_ON_GRIP
    assert first.endswith(': "plateau" is 0.22 s quicker, but that depends on the grip.')
    assert 'not sure: "peak" is 0.30 s slower with 5 % less grip and 0.20 s quicker with 5 % more.' in second


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"lower_time": nan}, '1/4 mile was reached by "peak" in 13.75 s, but not by "plateau"'),
        ({"higher_time": nan, "lower_time": nan}, '1/4 mile was reached neither by "peak" nor by "plateau"'),
    ],
)
def test_out_of_reach(changes: dict[str, float], words: str) -> None:
    finding, first, second = _told(full_gap=nan, grip_gaps=(nan, nan), **changes)
    assert finding is Finding.OUT_OF_REACH
    assert first.startswith("No verdict: ")
    assert words in first
    assert "nan" not in first + second


@pytest.mark.parametrize(
    ("whys", "words"),
    [
        ({"peak": "it stalls: do this"}, "; it stalls: do this."),
        ({"peak": "it stalls: do this", "plateau": "it stalls: do this"}, "; it stalls: do this."),
        ({"peak": "it stalls: a", "plateau": "it is slow"}, 'with "peak" it stalls: a; with "plateau" it is slow.'),
    ],
)
def test_why_a_goal_was_not_reached_is_said_once_where_it_is_the_same(whys: dict[str, str], words: str) -> None:
    _, _, second = _told(full_gap=nan, grip_gaps=(nan, nan), higher_time=nan, lower_time=nan, why_missed=whys)
    assert second.startswith("So far, ")
    assert second.endswith(words)
    assert second.count("it stalls") == 1


def test_no_wheelspin_is_not_called_a_cost() -> None:
    _, _, second = _told(spin_times=(0.0, 0.0))
    assert second.startswith('There is no wheelspin with either curve; "peak" pulls 694 N m')


def test_a_run_that_fails_on_other_grip_leaves_a_verdict_that_is_not_sure() -> None:
    finding, _, second = _told(grip_gaps=(nan, 0.1))
    assert finding is Finding.HURTS
    assert (
        'the difference is not sure: "peak" is without a finish with 5 % less grip and 0.10 s slower with 5 % more'
        in second
    )


def test_a_peak_that_slip_control_would_put_to_use_is_said_to_be_one() -> None:
    _, _, second = _told(held_gap=-0.15)
    assert second.endswith('; with slip control "peak" would be 0.15 s quicker.')


def test_a_gain_that_slip_control_would_undo_is_said_to_be_one() -> None:
    _, _, second = _told(full_gap=-0.2, grip_gaps=(-0.2, -0.2), held_gap=0.15)
    assert second.endswith('; with slip control "peak" would be 0.15 s slower.')


def test_held_slip_that_agrees_needs_no_word() -> None:
    assert "slip control" not in _told(held_gap=0.2)[2]


def test_equal_peaks_are_not_called_higher() -> None:
    told = sentences(judge(replace(CASE, lower_peak=560.0), 0.05), "metric")[1]
    assert told == '"peak" has the same peak torque and 39.2 kW less peak power.'


def test_peak_power_stands_beside_peak_torque() -> None:
    for power, words in ((284_700.0, "and the same peak power"), (290_000.0, "and 5.3 kW more peak power")):
        told = sentences(judge(replace(CASE, higher_power=power), 0.05), "metric")[1]
        assert told == f'"peak" has 110 N m more peak torque {words}.'
    assert sentences(judge(CASE, 0.05), "metric")[1].endswith(" more peak torque but 39.2 kW less peak power.")


def test_each_is_one_sentence() -> None:
    for gaps in ((0.3, 0.2), (-0.3, -0.2), (0.3, -0.2), (0.0, 0.0), (nan, nan)):
        times = {"higher_time": nan} if gaps[0] != gaps[0] else {}
        for sentence in _told(full_gap=gaps[0], grip_gaps=gaps, **times)[1:]:
            assert sentence[0].isupper() or sentence[0] == '"'
            assert sentence.endswith(".")
            assert not re.search(r"\. ", sentence)


def test_us_units() -> None:
    _, why, last = sentences(judge(CASE, 0.05), "us")
    assert why == '"peak" has 81 lb-ft more peak torque but 52.6 hp less peak power.'
    assert "512 lb-ft at the gearbox input against 483 lb-ft" in last


def test_a_hostile_name_cannot_give_orders() -> None:
    _, first, _ = _told(higher="\x1b[2J" + "x" * 60)
    assert first.isprintable()
    assert '"\\x1b[2J' in first
    assert "..." in first


@pytest.mark.parametrize("standard", STANDARD)
def test_a_usual_target_is_called_by_its_usual_name(standard: Target) -> None:
    assert target_label(replace(standard, label="as typed")) == standard.label


def test_an_unusual_target_keeps_what_was_typed() -> None:
    assert target_label(Target("50 m", Kind.DISTANCE, 0.0, 50.0)) == "50 m"


@pytest.mark.parametrize(
    ("value", "kind", "plain", "signed"),
    [
        (0.0, Dimension.TIME, "0.000", "0.000"),
        (-0.0001, Dimension.TIME, "0.000", "0.000"),
        (0.0004, Dimension.TIME, "0.000", "0.000"),
        (1.23456, Dimension.TIME, "1.235", "+1.235"),
        (-10.0, Dimension.TORQUE, "-10", "-10"),
        (0.05, Dimension.SHARE, "5.0", "+5.0"),
        (nan, Dimension.TORQUE, "-", "-"),
        (float("inf"), Dimension.SPEED, "-", "-"),
    ],
)
def test_numbers(value: float, kind: Dimension, plain: str, signed: str) -> None:
    numbers = Numbers(System.METRIC)
    assert (numbers.plain(value, kind), numbers.signed(value, kind)) == (plain, signed)
    assert (numbers.with_unit(value, kind) == "-") == (plain == "-")


@pytest.mark.parametrize("kind", list(Dimension))
def test_a_number_carries_the_unit_of_its_system(kind: Dimension) -> None:
    for system in System:
        unit = Numbers(system).unit(kind)
        assert unit == unit.strip()


# --- sentences follow their numbers ---

_SECONDS = re.compile(r"(\d+\.\d+) s\b")
_GAP = re.compile(r"(\d+\.\d+) s (slower|quicker)|(level) within 0\.01 s")
_SIGNS = {"slower": 1.0, "quicker": -1.0}


def _random_case(rng: np.random.Generator) -> Case:
    """Gaps from a thousandth of a second to some tenths, with and without drawn cases."""
    size = 10.0 ** rng.uniform(-3.5, -0.3)
    gap = float(rng.choice([-1.0, 1.0])) * size
    grips = gap * rng.uniform(-0.3, 3.0, 2)
    lower = rng.uniform(4.0, 16.0)
    spins = np.where(rng.random(2) < 0.2, 0.0, 10.0 ** rng.uniform(-3.0, 0.7, 2))
    case = replace(
        CASE, higher_time=float(lower + gap), lower_time=float(lower), full_gap=gap,
        held_gap=float(rng.normal(0.0, 0.1)), grip_gaps=(float(grips[0]), float(grips[1])),
        spin_times=(float(spins[0]), float(spins[1])),
    )  # fmt: skip
    if rng.random() < 0.5:
        return case
    drawn = rng.normal(gap, size * rng.uniform(0.05, 1.5), 256)
    ahead, behind = float((drawn < 0.0).mean()), float((drawn > 0.0).mean())
    quantiles = np.quantile(drawn, (0.05, 0.5, 0.95), method="inverted_cdf")
    level = float((np.abs(drawn) < WORTH_NAMING).mean())
    ends = [(share, max(share - 0.013, 0.0), min(share + 0.013, 1.0)) for share in (ahead, behind)]
    gaps = (float(quantiles[0]), float(quantiles[1]), float(quantiles[2]))
    return replace(case, odds=stated_odds(256, ends[0], ends[1], level, gaps))


def _signed(text: str) -> list[float]:
    """Gaps that a text names, below zero for quicker; level: zero."""
    return [0.0 if level else _SIGNS[way] * float(size) for size, way, level in _GAP.findall(text)]


@pytest.mark.parametrize("seed", range(400))
def test_no_sentence_contradicts_its_numbers(seed: int) -> None:
    case = _random_case(np.random.default_rng(seed))
    first, _, second = sentences(judge(case, 0.05), "metric")
    assert ("both take" in first) == (" takes " not in first)
    if "both take" in first:
        assert abs(case.full_gap) < WORTH_NAMING
        return
    one, quick, other, slow, said = re.search(
        r'^"(\w+)" takes (\d+\.\d+) s for 1/4 mile, "(\w+)" (\d+\.\d+) s: (.*)\.$', first
    ).groups()  # type: ignore[union-attr]
    between = round(float(slow) - float(quick), 3)
    gap = re.match(r'"(\w+)" is (\d+\.\d\d) s quicker', said)
    if gap:  # the times, subtracted, give the gap that is printed
        assert gap[1] == one != other
        assert between == pytest.approx(float(gap[2]), abs=1e-9 if len(quick.partition(".")[2]) == 2 else 0.0051)
        assert float(gap[2]) >= WORTH_NAMING
        assert (one == "peak") == (case.full_gap < 0.0)
    else:
        assert "within 0.01 s" in said
        assert abs(between) <= WORTH_NAMING
    assert not re.search(r"(?<!\d)0\.00 s", first + second)
    if " holds: " in second:
        if case.odds is None:
            named = _signed(second.partition(" holds: ")[2].partition("; with slip control")[0])
            named = named * 2 if len(named) == 1 else named
        else:
            low, _, high = case.odds.difference_quantiles()
            named = [low, high]
        assert len(set(np.sign(named))) == 1  # both of one sign
        assert min(map(abs, named)) >= WORTH_NAMING
        assert max(map(abs, named)) <= 4.0 * min(map(abs, named)) + 0.03  # half to twice, and what rounding may add
    if "about as long" in second.partition(";")[0]:
        longer, shorter = map(float, _SECONDS.findall(second.partition(";")[0]))
        assert abs(longer - shorter) <= 0.05 * max(longer, shorter) + 0.01


@pytest.mark.parametrize("gaps", [(-0.011, -0.058), (-0.030, -0.0101), (-0.009, -0.030)])
def test_a_gain_that_changes_its_size_is_not_said_to_hold(gaps: tuple[float, float]) -> None:
    _, _, second = _told(higher_time=13.5076, full_gap=-0.022, held_gap=-0.02, grip_gaps=gaps)
    assert "holds" not in second


def test_the_loss_is_not_laid_to_wheelspin() -> None:
    _, _, second = _told(spin_times=(2.641, 2.593))
    assert second.startswith('Wheelspin lasts about as long: 2.64 s with "peak", 2.59 s with "plateau"; ')
    assert "brings" not in second


def test_a_tenth_more_wheelspin_is_not_called_alike() -> None:
    _, _, second = _told(spin_times=(3.481, 3.133))
    assert second.startswith('Wheelspin: 3.48 s with "peak", 3.13 s with "plateau"; ')


@pytest.mark.parametrize("cases", [64, 256, 512, 4096])
def test_a_tally_claims_no_more_than_its_cases_show(cases: int) -> None:
    rng = np.random.default_rng(cases)
    for count in (0, 1, cases - 1, cases, *map(int, rng.integers(1, cases, 30))):
        share = count / cases
        low, high = max(share - rng.uniform(0.0, 0.05), 0.0), min(share + rng.uniform(0.0, 0.05), 1.0)
        told = Tally(cases, share, low, high).words("cases")
        assert ("in all " in told) == (count == cases)
        assert ("in none " in told) == (count == 0)
        ends = [int(each) for each in re.findall(r"(\d+)(?= %| to )", told.partition("(")[2])]
        assert min(ends) <= 100.0 * low + 1e-9 or "at most" in told
        assert max(ends) >= 100.0 * high - 1e-9 or "at least" in told
        assert not re.search(r"\d\.\d", told)


def test_two_times_are_printed_so_that_they_differ_by_their_gap() -> None:
    """For any two times, what a reader subtracts is the printed gap to the hundredth; a half may round either way."""
    numbers, rng = Numbers(System.METRIC), np.random.default_rng(3)
    for first, gap in zip(rng.uniform(2.0, 30.0, 3000), 10.0 ** rng.uniform(-3.0, 0.5, 3000), strict=True):
        one, other = (float(text.removesuffix(" s")) for text in numbers.rounded_times(first, first + gap))
        told = numbers.gap_words(gap, "more", "less")
        if told.startswith("level"):
            assert round(other - one, 3) <= WORTH_NAMING
        else:
            assert abs(round(other - one, 3) - float(told.partition(" ")[0])) <= 0.005 + 1e-9


@pytest.mark.parametrize("system", list(System))
@pytest.mark.parametrize("kind", [Dimension.TIME, Dimension.SPEED, Dimension.TORQUE, Dimension.SHARE])
def test_a_difference_is_that_of_the_numbers_beside_it(kind: Dimension, system: System) -> None:
    """A reader who subtracts finds what is printed, and it is the exact difference, rounded up or down."""
    rng, numbers = np.random.default_rng(11), Numbers(system)
    for one, gap in zip(rng.uniform(0.0, 80.0, 400), rng.uniform(-0.3, 0.3, 400), strict=True):
        first, second, difference = numbers.beside(one, one + gap, kind)
        assert Decimal(second) - Decimal(first) == Decimal(difference)
        step = 10.0 ** int(Decimal(difference).as_tuple().exponent)
        exact = to_display(one + gap, kind, system)[0] - to_display(one, kind, system)[0]
        assert abs(float(difference) - exact) <= step * (1.0 + 1e-6)


def test_a_difference_from_nothing_is_nothing() -> None:
    assert Numbers(System.METRIC).beside(1.0, nan, Dimension.TIME) == ("1.000", "-", "-")
    assert Numbers(System.METRIC).beside(49.988, 50.013, Dimension.SPEED) == ("180.0", "180.0", "0.0")


def test_pulls_that_are_printed_alike_are_stated_once() -> None:
    """No "380 N m against 380 N m": what differs by less than what is printed does not differ."""
    _, _, last = _told(input_torques=(380.2, 379.8))
    assert "; both pull 380 N m at the gearbox input; " in last
    assert "against" not in last
    _, _, last = _told(input_torques=(380.6, 379.8))
    assert '"peak" pulls 381 N m at the gearbox input against 380 N m' in last
