"""A type checker knows the fields of a car's record, and no other names.

What `mypy` has to find here it finds when it checks this file: types that differ, or an `ignore` without a fault.
"""

from __future__ import annotations

from typing import assert_type

import numpy as np
import pytest
from numpy.typing import NDArray

from house.record_types import KEPT, stub
from simlaunch.record import blank


def test_the_stub_is_up_to_date() -> None:
    """`python tests/house/record_types.py` writes it anew."""
    assert KEPT.read_text("utf-8") == stub()


def test_each_field_has_a_type_and_a_name_that_is_none_is_a_fault() -> None:
    car = blank()
    assert assert_type(car.gearbox.shift_speed, NDArray[np.float64]).dtype == np.float64
    assert isinstance(assert_type(car.front.radius, float), float)
    assert int(assert_type(car.engine.torque.count, int)) == 0
    with pytest.raises(AttributeError):
        car.gearbox.shift_sped  # type: ignore[attr-defined]  # noqa: B018
    with pytest.raises(AttributeError):
        car.gearbox.shift_sped = 1.0  # type: ignore[attr-defined]
