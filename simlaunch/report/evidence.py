"""What backs the verdict of a comparison beside its launches: how sure it is, and what the parts take."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from simlaunch.analysis.compare import Comparison, Pair
    from simlaunch.analysis.odds import Odds
    from simlaunch.analysis.parts import Stress
    from simlaunch.analysis.verdict import Case, Rated, Sureness
    from simlaunch.scenario.model import Scenario


def with_evidence(found: Comparison, scenario: Scenario, cases: int) -> Comparison:
    """The same comparison, its verdicts weighed again with odds and ratings where the scenario has any."""
    from simlaunch.analysis.parts import stress_of

    load = stress_of(scenario, [runs.full for runs in found.runs]) if scenario.parts else None
    odds = [drawn_for(scenario, pair, found, cases) for pair in found.pairs]
    pairs = [judged(pair, drawn, load) for pair, drawn in zip(found.pairs, odds, strict=True)]
    return replace(found, pairs=tuple(pairs))


def judged(pair: Pair, drawn: Odds | None, load: Stress | None) -> Pair:
    """The same pair, its verdict weighed again with odds and loads where there are any."""
    from simlaunch.analysis.compare import GRIP_DOUBT
    from simlaunch.analysis.verdict import judge

    case = replace(
        pair.verdict.case,
        sureness=sureness_of(drawn) if drawn else None,
        rated=_rated(pair.verdict.case, load) if load else (),
    )
    return replace(pair, verdict=judge(case, GRIP_DOUBT))


def drawn_for(
    scenario: Scenario, pair: Pair, found: Comparison, cases: int, *, with_effects: bool = False
) -> Odds | None:
    """Odds of a pair, the higher peak as the second curve; None where nothing is uncertain or no case is wanted."""
    if not scenario.uncertain or cases == 0:
        return None
    from simlaunch.analysis.odds import odds

    case = pair.verdict.case
    return odds(scenario, case.lower, case.higher, target=found.goal, runs=cases, with_effects=with_effects)


def sureness_of(drawn: Odds) -> Sureness:
    """Odds of the higher peak as the second curve, as a verdict takes them."""
    from simlaunch.analysis.verdict import Sureness

    quicker, slower = drawn.second_quicker, drawn.first_quicker
    low, middle, high = drawn.difference_quantiles()
    return Sureness(
        drawn.cases,
        (quicker.share, quicker.low, quicker.high),
        (slower.share, slower.low, slower.high),
        drawn.level,
        (low, middle, high),
    )


def _rated(case: Case, load: Stress) -> tuple[Rated, ...]:
    from simlaunch.analysis.verdict import Rated

    place: Mapping[str, int] = {each.curve: k for k, each in enumerate(load.loads)}
    higher, lower = place[case.higher], place[case.lower]
    pairs = zip(load.loads[higher].parts, load.loads[lower].parts, strict=True)
    return tuple(
        Rated(one.name, (one.demand, other.demand), one.event)
        for one, other in pairs
        if one.rating and one.peak and other.peak
    )
