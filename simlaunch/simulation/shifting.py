"""When a gear is left: at an engine speed, which the tyres and the coupling turn into a road speed.

A road speed rises whatever the wheels do, so a shift moves evenly with every number of the car. The speed of the engine
does not: wheels that spin take it up to its limiter, and grip takes it back.
"""

from __future__ import annotations

from math import inf, isnan

from simlaunch.compiled import inline, part
from simlaunch.physics import air, body, engine, sides
from simlaunch.physics.driveline import driven_radius
from simlaunch.physics.sides import Joined, Sides
from simlaunch.physics.table import value_at
from simlaunch.record import Coupling, Pedal, Record

_CONVERTER, _HELD_SLIP = int(Coupling.TORQUE_CONVERTER), int(Pedal.HELD_SLIP)
_HALVINGS = 60
_SHIFT_SCAN = 400  # engine speeds that are tried on the way down from where the rev limiter begins
_LEAST_RATIO = 0.5  # no gear is left before a converter's turbine has come up to this share of its pump
_LOCKED_WITHIN = 0.25  # a lock-up is over by the shift if the converter would get this share beyond where it begins


@inline
def _effective_mass(car: Record, gear: int) -> float:
    """Mass of the car with all that turns, full load and losses of the gear counted in [kg]."""
    radius = driven_radius(car.front, car.rear, car.drive)
    turning = car.front.axle_inertia + car.rear.axle_inertia + car.drive.inertia
    inertia = car.engine.inertia + car.gearbox.input_inertia
    turning += car.gearbox.efficiency[gear] * car.gearbox.ratio[gear] ** 2 * inertia
    return float(car.body.mass + turning / radius**2)


@inline
def _full_load(car: Record, gear: int, engine_speed: float) -> float:
    """Torque at full load and full boost [N m]."""
    return engine.limited_torque(value_at(car.engine.torque, engine_speed), engine_speed, gear, car.engine)


@inline
def _pull(car: Record, gear: int, torque: float) -> float:
    """Force at the driven wheels of a torque on the gearbox input, before anything that turns is sped up [N]."""
    radius = driven_radius(car.front, car.rear, car.drive)
    return float(car.gearbox.efficiency[gear] * car.gearbox.ratio[gear] * torque / radius)


@part
def gear_acceleration(car: Record, gear: int, engine_speed: float) -> float:
    """Acceleration that full load gives in a gear, on enough grip and without resistance.

    a = e i T / (r (m + (J_wheels + J_shafts + e i^2 J) / r^2))

    Parameters
    ----------
    car : Record
        The car.
    gear : int
        Index of the gear [-].
    engine_speed : float
        Engine speed [rad/s].

    Returns
    -------
    float
        Acceleration [m/s^2].
    """
    return _pull(car, gear, _full_load(car, gear, engine_speed)) / _effective_mass(car, gear)


@part
def _advantage(car: Record, gear: int, engine_speed: float) -> float:
    """Acceleration in a gear less that in the next one at the same road speed [m/s^2]."""
    next_speed = engine_speed * car.gearbox.ratio[gear + 1] / car.gearbox.ratio[gear]
    return gear_acceleration(car, gear, engine_speed) - gear_acceleration(car, gear + 1, next_speed)


@part
def best_shift_speed(car: Record, gear: int) -> float:
    """Engine speed above which the next gear pushes harder at the same road speed.

    Where none does, it is the speed at which the rev limiter begins.

    Parameters
    ----------
    car : Record
        The car.
    gear : int
        Index of the gear that is left [-].

    Returns
    -------
    float
        Engine speed [rad/s].
    """
    high = engine.limiter_start(car.engine)
    if _advantage(car, gear, high) >= 0.0:
        return high
    stride = (high - car.engine.idle) / _SHIFT_SCAN
    low = high - stride
    while low > car.engine.idle and _advantage(car, gear, low) < 0.0:
        high, low = low, low - stride
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        if _advantage(car, gear, middle) >= 0.0:
            low = middle
        else:
            high = middle
    return max(0.5 * (low + high), car.engine.idle)


@part
def fluid_ratio(torque: float, engine_speed: float, coupling: Record) -> float:
    """Speed ratio at which the fluid of a converter takes a torque from an engine.

    Parameters
    ----------
    torque : float
        Torque [N m].
    engine_speed : float
        Engine speed [rad/s].
    coupling : Record
        The converter.

    Returns
    -------
    float
        Speed of turbine over pump, 0 to 1 [-].
    """
    low, high = 0.0, 1.0
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        if value_at(coupling.fluid_capacity, middle) * engine_speed**2 >= torque:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


@part
def speed_ratio_at_shift(car: Record, gear: int, engine_speed: float) -> float:
    """Speed of the gearbox input over that of the engine, at full load and when the gear is left.

    A clutch has closed by then. A converter slips as far as its fluid needs for the torque, unless its lock-up clutch
    has closed: it begins to at the stated speed ratio, and needs some time.

    Parameters
    ----------
    car : Record
        The car.
    gear : int
        Index of the gear [-].
    engine_speed : float
        Engine speed at which it is left [rad/s].

    Returns
    -------
    float
        Ratio, 0.5 to 1 [-].
    """
    if car.coupling.kind != _CONVERTER:
        return 1.0
    ratio = max(fluid_ratio(_full_load(car, gear, engine_speed), engine_speed, car.coupling), _LEAST_RATIO)
    if not 0 < car.coupling.lock_gear <= gear + 1:
        return ratio
    begins = car.coupling.lock_ratio
    locked = min(max((ratio - begins) / (_LOCKED_WITHIN * (1.0 - begins)), 0.0), 1.0)
    return ratio + locked * (1.0 - ratio)


@inline
def _axle_turns(force: float, at: Sides, end: Record, car: Record) -> float:
    """Speed of an axle over that of the car while it drives with a force, at most at its target or peak [rad/m]."""
    slip = sides.slip_for_force(force, at, end)
    if car.pedal.kind == _HELD_SLIP:
        slip = min(slip, car.pedal.target_slip)
    return float((1.0 + slip) / end.radius)


@inline
def _second_behind(second: Record, drive: Record) -> Joined:
    """How the second axle turns with the first: with all that it takes where the centre is locked."""
    return Joined(drive.lead, drive.capacity / second.radius if drive.clutched == 1 else inf)


@part
def hardest_turns(at_front: Sides, at_rear: Sides, car: Record) -> float:
    """Speed of half shafts on which both axles hang, over that of the car, at which they push hardest together.

    Parameters
    ----------
    at_front : Sides
        Wheels of the front axle.
    at_rear : Sides
        Wheels of the rear axle.
    car : Record
        The car, with a locked centre, or with a clutch that has brought the second axle in.

    Returns
    -------
    float
        Speed, of the first axle's half shafts [rad/m].
    """
    front, rear, drive = car.front, car.rear, car.drive
    if drive.clutched == 1 and drive.front_share <= 0.0:
        return sides.hardest_common_turns(at_rear, at_front, rear, front, _second_behind(front, drive))
    return sides.hardest_common_turns(at_front, at_rear, front, rear, _second_behind(rear, drive))


@part
def _locked_turns(force: float, at_front: Sides, at_rear: Sides, car: Record) -> float:
    """The same for two axles on one shaft, which share the force as their tyres have it [rad/m].

    Up to the speed at which both together push hardest, or to the target: beyond it there is no steady pull, however
    little the force that is asked exceeds what they have.
    """
    front, rear, drive = car.front, car.rear, car.drive
    one_speed = sides.turns_as_one(at_front) and sides.turns_as_one(at_rear)
    most = hardest_turns(at_front, at_rear, car)
    if car.pedal.kind == _HELD_SLIP:
        larger = max(front.radius, rear.radius) if drive.clutched == 0 else driven_radius(front, rear, drive)
        most = min(most, (1.0 + car.pedal.target_slip) / larger)
    if drive.clutched == 1 and drive.front_share <= 0.0:
        behind = _second_behind(front, drive)
        if one_speed:
            return sides.common_turns_for_force(force, most, at_rear, at_front, rear, front, behind)
        return min(most, sides.common_mean_turns_for_force(force, at_rear, at_front, rear, front, behind))
    behind = _second_behind(rear, drive)
    if one_speed:
        return sides.common_turns_for_force(force, most, at_front, at_rear, front, rear, behind)
    return min(most, sides.common_mean_turns_for_force(force, at_front, at_rear, front, rear, behind))


@part
def _turns(force: float, speed: float, car: Record) -> float:
    """Speed of the half shafts over that of the car while its tyres drive with a force [rad/m]."""
    wind, shape, share = speed + car.air.head_wind, car.body, car.drive.front_share
    load_front, load_rear = body.axle_loads(
        body.load_transfer(force, shape),
        air.dynamic_force(shape.lift_area_front, car.air.density, wind),
        air.dynamic_force(shape.lift_area_rear, car.air.density, wind),
        shape,
        car.road.grade_angle,
    )
    at_front = sides.axle_sides(0, load_front, 0.0, car)
    at_rear = sides.axle_sides(1, load_rear, car.drive.cross_lever * force * car.rear.radius, car)
    if car.drive.locked == 1:
        return _locked_turns(force, at_front, at_rear, car)
    front = _axle_turns(share * force, at_front, car.front, car) if share > 0.0 else 0.0
    rear = _axle_turns((1.0 - share) * force, at_rear, car.rear, car) if share < 1.0 else 0.0
    return share * front + (1.0 - share) * rear


@part
def shift_road_speed(car: Record, gear: int) -> float:
    """Road speed at which the engine, at full load, comes to the speed at which a gear is left.

    v = w n / (i g), n the speed ratio of the coupling, g the turns of the half shafts per metre of road

    Tyres slip as the steady pull of full load asks, or as at their peak where it asks more: wheels that spin are ahead
    of that. They are held by the rev limiter until the car has come up.

    Parameters
    ----------
    car : Record
        The car, with its shift speeds and its target slip.
    gear : int
        Index of the gear [-].

    Returns
    -------
    float
        Speed [m/s].
    """
    engine_speed = car.gearbox.shift_speed[gear]
    ratio = speed_ratio_at_shift(car, gear, engine_speed)
    at_shafts = ratio * engine_speed / car.gearbox.ratio[gear]
    rolling = at_shafts * driven_radius(car.front, car.rear, car.drive)
    torque = _full_load(car, gear, engine_speed)
    if car.coupling.kind == _CONVERTER:
        torque *= value_at(car.coupling.torque_ratio, ratio)
    resistance = air.dynamic_force(car.body.drag_area, car.air.density, rolling + car.air.head_wind)
    resistance += body.grade_force(car.body.mass, car.road.grade_angle)
    acceleration = (_pull(car, gear, torque) - resistance) / _effective_mass(car, gear)
    return at_shafts / _turns(car.body.mass * acceleration + resistance, rolling, car)


@part
def settle_shifts(car: Record) -> None:
    """Fill in the engine speed and the road speed at which each gear is left; none is left within the limiter's band.

    Parameters
    ----------
    car : Record
        The car, changed in place.
    """
    for gear in range(car.gearbox.count - 1):
        if isnan(car.gearbox.shift_speed[gear]):
            car.gearbox.shift_speed[gear] = best_shift_speed(car, gear)
        car.gearbox.shift_speed[gear] = min(car.gearbox.shift_speed[gear], engine.limiter_start(car.engine))
        if isnan(car.gearbox.shift_road_speed[gear]):
            car.gearbox.shift_road_speed[gear] = shift_road_speed(car, gear)
