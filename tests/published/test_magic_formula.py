"""The Magic Formula against published coefficient sets; the shares are computed from the printed coefficients."""

from __future__ import annotations

from math import atan, inf, pi, sin, tan

import numpy as np
import pytest

from cars import change, coupe
from simlaunch.physics import magic_formula as formula
from simlaunch.physics import tyre
from simlaunch.record import Record

PASSENGER = {
    "shape_factor": 1.6411, "friction": 1.1739, "curvature": 0.46403, "slip_stiffness": 22.303,
    "friction_load": -0.16395, "curvature_load": 0.25022, "curvature_load_square": 0.067842,
    "stiffness_load": 0.48896, "stiffness_load_exponent": 0.21253, "nominal_load": 4000.0,
}  # fmt: skip


def passenger() -> Record:
    """MF 5.2 set in public parameter listings after Althoff and Wuersching; horizontal and vertical shift left out."""
    own: Record = change(coupe(), {f"rear.{name}": value for name, value in PASSENGER.items()}).rear
    tyre.settle_tyre(own)
    return own


@pytest.mark.parametrize("shape", [1.05, 1.4, 1.6411, 1.9])
def test_table_of_the_outer_curve(shape: float) -> None:
    """Within 1e-8 of sin(C atan u), its slope within 5e-7. Source: the formula itself."""
    own: Record = change(coupe(), {"rear.shape_factor": shape}).rear
    tyre.settle_tyre(own)
    for u in (*np.linspace(-3.0, 3.0, 601), *np.geomspace(1e-6, 1e9, 301)):
        read, exact = formula.tabulated_shape(float(u), own), formula.shape_curve(float(u), shape)
        assert read.force == pytest.approx(exact.force, abs=1e-8)
        assert read.slope_share == pytest.approx(exact.slope_share, abs=5e-7)


@pytest.mark.parametrize(
    ("slip", "share"),
    [(0.02, 0.42505), (0.05, 0.86619), (0.1, 1.13243), (0.2, 1.15751), (0.5, 0.98219), (1.0, 0.84224)],
)
def test_passenger_tyre_at_nominal_load(slip: float, share: float) -> None:
    """Fx / Fz over slip, five figures as printed. Source: public listings of the MF 5.2 passenger set."""
    assert tyre.axle_contact(slip, 8000.0, passenger(), 1.0).force / 8000.0 == pytest.approx(share, abs=6e-6)


def test_passenger_tyre_factors() -> None:
    """B = 11.5770, peak slip 0.15034, far limit 0.62729 of the load. Source: as above."""
    own = passenger()
    factor = tyre.stiffness_factor_at(0.0, 1.1739, own)
    assert factor == pytest.approx(11.5770, abs=6e-5)
    assert tyre.axle_peak_slip(8000.0, own, 1.0) == pytest.approx(0.15034, abs=6e-6)
    assert tyre.axle_contact(1e9, 8000.0, own, 1.0).force / 8000.0 == pytest.approx(0.62729, abs=6e-6)
    assert 1.1739 * sin(pi * 1.6411 / 2.0) == pytest.approx(0.62729, abs=6e-6)


@pytest.mark.parametrize(
    ("change_of_load", "friction", "stiffness", "peak"),
    [(-0.5, 1.2559, 19.835, 0.170), (0.0, 1.1739, 22.303, 0.150), (0.5, 1.0919, 25.075, 0.138)],
)
def test_passenger_tyre_load_terms(change_of_load: float, friction: float, stiffness: float, peak: float) -> None:
    """Friction, slip stiffness per load and peak slip at half, whole and one and a half times the nominal load."""
    own, load = passenger(), 8000.0 * (1.0 + change_of_load)
    assert tyre.axle_force_limit(load, own, 1.0) / load == pytest.approx(friction, abs=6e-5)
    slope = (tyre.axle_contact(1e-7, load, own, 1.0).force - tyre.axle_contact(-1e-7, load, own, 1.0).force) / 2e-7
    assert slope / load == pytest.approx(stiffness, abs=6e-4)
    assert tyre.axle_peak_slip(load, own, 1.0) == pytest.approx(peak, abs=6e-4)


TEACHING = [  # surface, B, C, D, E, peak slip
    ("dry", 10.0, 1.9, 1.0, 0.97, 0.18019),
    ("wet", 12.0, 2.3, 0.82, 1.0, 0.0882),
    ("snow", 5.0, 2.0, 0.3, 1.0, 0.3115),
    ("ice", 4.0, 2.0, 0.1, 1.0, 0.3894),
]


@pytest.mark.parametrize(("surface", "b", "c", "d", "e", "peak"), TEACHING)
def test_teaching_sets(surface: str, b: float, c: float, d: float, e: float, peak: float) -> None:
    """Peak slip of four surfaces. Source: widely repeated teaching table, from memory; E = 1: tan(tan(pi/2C))/B."""
    assert formula.peak_slip(b, c, e) == pytest.approx(peak, abs=6e-5), surface
    if e == 1.0:
        assert formula.peak_slip(b, c, e) == pytest.approx(tan(tan(pi / (2.0 * c))) / b, rel=1e-12)
    assert d * formula.magic_formula(peak, b, c, e).force == pytest.approx(d, abs=1e-6)


@pytest.mark.parametrize(("slip", "force"), [(0.05, 0.73562), (1.0, 0.91452)])
def test_dry_teaching_set(slip: float, force: float) -> None:
    """Source: teaching table, from memory."""
    assert formula.magic_formula(slip, 10.0, 1.9, 0.97).force == pytest.approx(force, abs=6e-6)


def test_stiff_summer_tyre() -> None:
    """C = 1.65, mu = 1.1, E = 0, K/Fz = 25: peak at 0.10195, 0.77960 at 0.5, limit 0.57475. Source: common practice."""
    b = 25.0 / (1.65 * 1.1)
    assert formula.peak_slip(b, 1.65, 0.0) == pytest.approx(0.10195, abs=6e-6)
    assert 1.1 * formula.magic_formula(0.5, b, 1.65, 0.0).force == pytest.approx(0.77960, abs=6e-6)
    assert 1.1 * formula.magic_formula(1e9, b, 1.65, 0.0).force == pytest.approx(0.57475, abs=6e-6)


@pytest.mark.parametrize("shape", [1.3, 1.65, 1.9])
@pytest.mark.parametrize("curvature", [-5.0, -0.8, 0.0, 0.6, 0.97])
def test_peak_slip_is_the_root_of_the_derivative(shape: float, curvature: float) -> None:
    """B k (1 - E) + E atan(B k) = tan(pi / 2C). Source: dF/dk = 0."""
    x = formula.peak_slip(1.0, shape, curvature)
    assert x * (1.0 - curvature) + curvature * atan(x) == pytest.approx(tan(pi / (2.0 * shape)), rel=1e-12)


def test_a_curve_without_a_peak_says_so() -> None:
    """C = 1 rises for ever. Source: tan(pi / 2) is infinite."""
    assert formula.peak_slip(10.0, 1.0, 0.0) == inf


@pytest.mark.parametrize("slip", [0.005, 0.05, 0.15, 0.6, -0.05])
def test_slope_share_is_the_derivative(slip: float) -> None:
    """dF/dk over its value at zero slip, by central differences. Source: calculus."""
    own = passenger()
    step = 1e-6
    rise = (
        tyre.axle_contact(slip + step, 9000.0, own, 1.0).force - tyre.axle_contact(slip - step, 9000.0, own, 1.0).force
    )
    origin = tyre.axle_contact(step, 9000.0, own, 1.0).force - tyre.axle_contact(-step, 9000.0, own, 1.0).force
    assert tyre.axle_contact(slip, 9000.0, own, 1.0).slope_share == pytest.approx(rise / origin, abs=1e-6)


@pytest.mark.parametrize(("driving", "standard"), [(0.1, 1.0 / 9.0), (0.5, 1.0), (0.0, 0.0), (-0.3, -0.3)])
def test_two_conventions_of_slip(driving: float, standard: float) -> None:
    """k = s / (1 - s) between (w r - v) / (w r) and (w r - v) / v. Source: ISO 8855 and SAE J670, from memory."""
    assert tyre.standard_slip(driving) == pytest.approx(standard, rel=1e-15)


@pytest.mark.parametrize("slip", [0.0, 0.03, 0.1, 0.18019, 0.4, 2.0])
def test_the_slope_is_the_derivative_of_the_force(slip: float) -> None:
    """Central difference of the teaching set for a dry road; B C D is the slope at no slip. Source: calculus."""
    b, c, e, h = 10.0, 1.9, 0.97, 1e-6
    rise = formula.magic_formula(slip + h, b, c, e).force - formula.magic_formula(slip - h, b, c, e).force
    assert formula.magic_formula(slip, b, c, e).slope_share == pytest.approx(rise / (2.0 * h * b * c), abs=1e-8)
