"""Tables, columns and JSON that follow from the table of quantities."""

from __future__ import annotations

from math import inf, nan
from types import SimpleNamespace

import numpy as np
import pytest

from simlaunch.output.as_json import group_object
from simlaunch.output.groups import columns, heads, row, rows, table
from simlaunch.output.words import Numbers
from simlaunch.quantities import about, groups, quantity
from simlaunch.units.spelling import Dimension, System

METRIC, US = Numbers(System.METRIC), Numbers(System.US)
PULL = SimpleNamespace(rows=120, noise=0.0031, deviation=0.012, bound=None)
LEFT_OUT = SimpleNamespace(rows=80, noise=None, deviation=nan, bound=inf)


def test_a_table_has_a_row_for_each_source_and_a_column_for_each_quantity() -> None:
    made = table("Pulls", "pull", (("pull 1", PULL), ("pull 2", LEFT_OUT)), METRIC, ("rows", "noise", "deviation"))
    assert made.heads == ("rows", "scatter [%]", "off median [%]")
    assert [each.cells for each in made.rows] == [("120", "0.3", "+1.2"), ("80", "-", "-")]


def test_rows_stand_for_quantities_with_the_unit_of_the_system() -> None:
    """100 N m are 73.756 lb-ft. Source: NIST SP 811, appendix B.8 (1 lbf ft = 1.355818 N m), from memory."""
    points = [SimpleNamespace(shape=SimpleNamespace(height=height)) for height in (100.0, 200.0)]
    (metric,), (us,) = (rows("plateau", points, numbers, ("height",)) for numbers in (METRIC, US))
    assert (metric.label, metric.unit, metric.cells) == ("height", "N m", ("100", "200"))
    assert (us.unit, us.cells) == ("lb-ft", ("74", "148"))
    assert heads("plateau", US, ("height", "start")) == ("plateau [lb-ft]", "from [rpm]")


def test_json_names_units_and_has_null_for_what_there_is_not() -> None:
    assert group_object("pull", PULL) == {"rows": 120, "noise": 0.0031, "deviation": 0.012, "peak_bound": None}
    assert group_object("pull", LEFT_OUT, ("deviation", "peak_bound")) == {"deviation": None, "peak_bound": None}
    unknown = SimpleNamespace(peak=None)
    assert group_object("load", unknown, ("peak_time", "steady_pull")) == {"peak_time_s": None, "steady_pull_N_m": None}
    worth = SimpleNamespace(gain=np.array([1e-3, nan]), gears=np.zeros((0, 2)))
    assert group_object("worth", worth, ("gain",)) == {"gain_s_per_N_m": [1e-3, None]}
    assert group_object("worth", worth, ("gain_by_gear",)) == {"gain_by_gear_s_per_N_m": []}
    assert quantity("fitted.error").key == "error_value"


def test_columns_stand_under_the_keys_of_json() -> None:
    found = columns("pull", [PULL, LEFT_OUT], ("rows",))
    assert list(found) == ["rows"]
    assert found["rows"].tolist() == [120, 80]


def test_a_row_of_differences_carries_signs() -> None:
    assert row("gap", (0.25, -0.5, 0.0, nan), Dimension.TIME, METRIC, sign=True).cells == (
        "+0.250",
        "-0.500",
        "0.000",
        "-",
    )


@pytest.mark.parametrize("group", sorted(groups()))
def test_the_glossary_has_a_sentence_for_every_quantity(group: str) -> None:
    meanings = [about(group), *(each.meaning for each in groups()[group].values())]
    assert all(text[:1].isupper() and text.endswith(".") for text in meanings)
    assert len({each.key for each in groups()[group].values()}) == len(groups()[group])
