"""What holds for any car, with the car itself as the example that is searched for and made small."""

from __future__ import annotations

import numpy as np
from hypothesis import assume, event, given, settings
from hypothesis import strategies as st

from cars import PLATEAU, Changes, coupe, full_load
from simlaunch.metrics.energy import audit
from simlaunch.physics.table import values_at
from simlaunch.record import Pedal
from simlaunch.simulation.run import Outcome, launch

FEW = settings(max_examples=30)
MILLISECOND = 1e-3


@st.composite
def cars(draw: st.DrawFn) -> dict[str, object]:
    """Changes to a plain rear-drive coupe that make any other car of the kind that is driven on roads."""
    mass = draw(st.floats(800.0, 2400.0))
    per_mass = draw(st.floats(0.15, 0.45))  # peak torque over mass [N m/kg]
    return {
        "body.mass": mass,
        "body.front_share": draw(st.floats(0.4, 0.65)),
        "body.cg_height": draw(st.floats(0.35, 0.7)),
        "body.drag_area": draw(st.floats(0.4, 1.1)),
        "road.friction_factor": draw(st.floats(0.5, 1.6)),
        "drive.front_share": draw(st.sampled_from([0.0, 0.3, 0.5, 1.0])),
        "drive.rigid": draw(st.integers(0, 1)),
        **full_load(PLATEAU, per_mass * mass / 460.0),
        "engine.lagged_share": draw(st.floats(0.0, 0.8)),
        "coupling.capacity": 1.4 * per_mass * mass,
        "gearbox.shift_speed": [6800.0 * np.pi / 30.0] * 5,
        "run.stop_distance": 150.0,
    }


@FEW
@given(cars(), st.sampled_from(list(Pedal)))
def test_energy_is_neither_made_nor_lost(changes: Changes, pedal: Pedal) -> None:
    """Source: first law of thermodynamics."""
    run = launch(coupe({**changes, "pedal.kind": int(pedal)}))
    event(run.outcome.name)
    assert abs(audit(run.trace).residual_share) < 1e-6


@FEW
@given(cars(), st.sampled_from(list(Pedal)))
def test_no_car_beats_its_own_power(changes: Changes, pedal: Pedal) -> None:
    """m v^2 / 2 <= P t + E0 at every moment, level and without wind. Source: energy at constant power."""
    car = coupe({**changes, "pedal.kind": int(pedal)})
    trace = launch(car).trace
    speeds = np.linspace(car.engine.idle, car.engine.rev_limit + car.engine.limiter_band, 2000)
    power = float(np.max(values_at(car.engine.torque, speeds) * speeds))
    given_so_far = power * trace.time + trace["stored_energy"][0]
    assert np.all(0.5 * car.body.mass * trace["speed"] ** 2 <= given_so_far * (1.0 + 1e-9))


@FEW
@given(cars(), st.floats(1.01, 1.3))
def test_more_torque_is_never_slower_with_slip_control(changes: Changes, factor: float) -> None:
    """The tool's main claim, one half of it. Source: first principles. The same shift speeds in both runs."""
    held = {**changes, "pedal.kind": int(Pedal.HELD_SLIP)}
    more = coupe(held)
    more.engine.torque.cubic *= factor
    plain, raised = launch(coupe(held), tolerance=1e-8), launch(more, tolerance=1e-8)
    assume(plain.outcome is raised.outcome is Outcome.FINISHED)
    assert raised.trace.time[-1] <= plain.trace.time[-1] + MILLISECOND


@FEW
@given(cars())
def test_slip_control_keeps_wheelspin_short(changes: Changes) -> None:
    """Once rolling faster than 4 m/s no driven tyre is held beyond twice its slip of peak force."""
    trace = launch(coupe({**changes, "pedal.kind": int(Pedal.HELD_SLIP)})).trace
    rolling = trace["speed"] > 4.0
    for end in ("front", "rear"):
        beyond = rolling & (trace[f"slip_{end}"] > 2.0 * trace[f"peak_slip_{end}"])
        assert np.mean(beyond) < 0.02
