"""Cars and procedures at random, as askew as a workshop would still measure them."""

import math
from dataclasses import replace
from typing import Any

import numpy as np

from engine import (
    AXLE_OF_WHEEL,
    SIDE_OF_WHEEL,
    STEERED,
    UP,
    WHEELS,
    WHEELS_OF_AXLE,
    Angle,
    Bay,
    Car,
    Clamp,
    Course,
    Procedure,
    Shift,
    Spinning,
    SteeringAxis,
    Vector,
    Wheel,
    product,
    quaternion,
    rotate,
)
from frames import contact_centre
from truth import Measured, measure_in_engine


def random_clamp(rng: np.random.Generator) -> Clamp:
    """A bad clamp: tilted, off centre, its target turned any way round."""
    quarter_turns = [
        quaternion(axis, 90.0 * rng.integers(4))
        for axis in np.eye(3)[rng.permutation(3)]
    ]
    tilt_towards = rng.uniform(0.0, 2 * math.pi)
    tilt_axis = np.array([math.cos(tilt_towards), 0.0, math.sin(tilt_towards)])
    off_centre, towards = rng.uniform(0.0, 20.0), rng.uniform(0.0, 2 * math.pi)
    return Clamp(
        standoff_mm=rng.uniform(40.0, 160.0),
        eccentricity_mm=(
            off_centre * math.cos(towards),
            off_centre * math.sin(towards),
        ),
        wheel_from_target_wxyz=product(
            quaternion(tilt_axis, rng.uniform(0.0, 5.0)),
            quaternion(np.array([0.0, 1.0, 0.0]), rng.uniform(0.0, 360.0)),
            *quarter_turns,
        ),
    )


def random_car(rng: np.random.Generator) -> Car:
    wheelbase = rng.uniform(2300.0, 3100.0)
    track = {"front": rng.uniform(1400.0, 1650.0), "rear": rng.uniform(1400.0, 1650.0)}
    radius = {"front": rng.uniform(280.0, 360.0), "rear": rng.uniform(280.0, 360.0)}
    wheels = {}
    for name, side in SIDE_OF_WHEEL.items():
        axle = AXLE_OF_WHEEL[name]
        nominal = np.array(
            [
                wheelbase if axle == "front" else 0.0,
                side * track[axle] / 2,
                radius[axle],
            ]
        )
        wheels[name] = Wheel(
            centre_mm=nominal + rng.uniform(-12.0, 12.0, 3),
            camber_deg=rng.uniform(-4.0, 4.0),
            toe_deg=rng.uniform(-1.5, 1.5),
            clamp=random_clamp(rng),
        )
    steering = {}
    for side_name, wheel in STEERED.items():
        side = SIDE_OF_WHEEL[wheel]
        inboard = -side * rng.uniform(20.0, 140.0)
        steering[side_name] = SteeringAxis.from_angles(
            side,
            caster_deg=rng.uniform(-2.0, 12.0),
            sai_deg=rng.uniform(4.0, 18.0),
            point_mm=wheels[wheel].centre_mm
            + np.array([rng.uniform(-30.0, 30.0), inboard, rng.uniform(-40.0, 40.0)]),
        )
    return Car(
        wheels=wheels,
        steering=steering,
        rolling_radius_mm=radius,
        linkage=rng.uniform(0.2, 1.1) * track["front"] / wheelbase,
        pitch_deg=rng.uniform(-0.5, 0.5),
        roll_deg=rng.uniform(-0.5, 0.5),
    )


def random_procedure(
    rng: np.random.Generator, car: Car, wheels_locked: bool
) -> Procedure:
    tilt_towards = rng.uniform(0.0, 2 * math.pi)
    tilt_axis = np.array([math.cos(tilt_towards), math.sin(tilt_towards), 0.0])

    total_roll = math.radians(rng.uniform(40.0, 90.0)) * car.rolling_radius_mm["front"]
    stations = int(rng.integers(3, 8))
    travel = total_roll * np.linspace(rng.uniform(-1.0, 0.0), 1.0, stations)
    travel = travel[0] + (travel - travel[0]) * total_roll / (travel[-1] - travel[0])
    travel[1:-1] += total_roll / stations * rng.uniform(-0.3, 0.3, stations - 2)

    half_sweep = rng.uniform(12.0, 22.0)
    stations = int(rng.integers(5, 12))
    sweep = np.linspace(-half_sweep, half_sweep, stations)
    sweep[1:-1] += half_sweep / stations * rng.uniform(-0.5, 0.5, stations - 2)

    def any_roll() -> dict[str, float]:
        return dict(zip(WHEELS, rng.uniform(-180.0, 180.0, 4), strict=True))

    braked_at = any_roll()
    reference: dict[str, Any] = {}
    if rng.random() < 0.5:
        reference["turn"] = {
            "wheel": str(rng.choice(["inner", "outer"])),
            "angle_deg": rng.uniform(0.4, 0.8) * half_sweep,
        }
    if rng.random() < 0.3:
        reference["centreline"] = "side_line_bisector"

    return Procedure(
        rig_from_level_wxyz=product(
            quaternion(tilt_axis, rng.uniform(0.0, 10.0)),
            quaternion(UP, rng.uniform(-180.0, 180.0)),
        ),
        origin_mm=rng.uniform(-3000.0, 3000.0, 3),
        crab_deg=rng.uniform(-1.5, 1.5),
        # Rigs roll the car backwards as well as forwards, and sweep from either side.
        rolling_travel_mm=tuple(travel[:: rng.choice([-1, 1])].tolist()),
        rolling_steer_deg=rng.uniform(-0.7, 0.7),
        ahead_steer_deg=rng.uniform(-0.5, 0.5),
        ahead_roll_deg=any_roll(),
        sweep_steer_deg=tuple(sweep[:: rng.choice([-1, 1])].tolist()),
        wheels_locked=wheels_locked,
        sweep_roll_deg=tuple(braked_at if wheels_locked else any_roll() for _ in sweep),
        lock_steer_deg={
            "left": rng.uniform(28.0, 38.0),
            "right": -rng.uniform(28.0, 38.0),
        }
        if rng.random() < 0.8
        else {},
        loaded_radius_mm={
            axle: radius - rng.uniform(0.0, 15.0)
            for axle, radius in car.rolling_radius_mm.items()
        }
        if rng.random() < 0.7
        else None,
        ride_height_at_origin_mm=rng.uniform(80.0, 200.0)
        if rng.random() < 0.5
        else None,
        rear_seen_while_steering=bool(rng.random() < 0.7),
        reference=reference,
    )


def untouched(procedure: Procedure) -> Procedure:
    """Nothing is touched from stage to stage, as the joint method takes it.

    The rack stands as it stood while the car was rolled, and the wheels stand as they
    rolled there; but for front wheels that are not locked, which roll in the sweep.
    """
    held = dict.fromkeys(
        WHEELS if procedure.wheels_locked else WHEELS_OF_AXLE["rear"], 0.0
    )
    return replace(
        procedure,
        ahead_steer_deg=procedure.rolling_steer_deg,
        ahead_roll_deg=dict.fromkeys(WHEELS, 0.0),
        sweep_roll_deg=tuple({**roll, **held} for roll in procedure.sweep_roll_deg),
    )


def random_setup(
    seed: int, *, wheels_locked: bool = True, method: str = "staged"
) -> tuple[Car, Procedure]:
    """A car at random and a procedure at random: the seed gives both.

    By the joint method nothing is touched from stage to stage.
    """
    rng = np.random.default_rng(seed)
    car = random_car(rng)
    procedure = replace(random_procedure(rng, car, wheels_locked), method=method)
    return car, untouched(procedure) if method == "joint" else procedure


def random_measured(
    seed: int,
    *,
    wheels_locked: bool = True,
    pose_form: str = "rotation",
    method: str = "staged",
    engine: str = "MuJoCo",
) -> Measured:
    """A car at random, measured by a procedure at random."""
    setup = random_setup(seed, wheels_locked=wheels_locked, method=method)
    return measure_in_engine(*setup, pose_form, engine)


def standing_flat(car: Car, procedure: Procedure) -> Car:
    """The same car with all its contact centres on one level plane."""
    for _ in range(10):  # steered wheels rise along a slant: once is not enough
        bay = Bay(car, procedure)
        wheels = {}
        for name, wheel in car.wheels.items():
            spindle = bay.engine.spindle(name)
            contact = contact_centre(
                spindle.point, spindle.direction, bay.radius_mm(name), bay.up
            )
            height = (contact - procedure.origin_mm) @ bay.up
            lowered = wheel.centre_mm - [0.0, 0.0, height]
            wheels[name] = replace(wheel, centre_mm=lowered)
        car = replace(car, wheels=wheels)
    return car


def random_runway(
    rng: np.random.Generator, car: Car, procedure: Procedure, raised_mm: float = 0.0
) -> dict[str, Vector]:
    """Points of the level floor near below the wheels, one of them raised."""
    raised = rng.choice(WHEELS)
    points = {}
    for name, wheel in car.wheels.items():
        in_level = wheel.centre_mm * [1.0, 1.0, 0.0]
        in_level += np.append(rng.uniform(-60.0, 60.0, 2), raised_mm * (name == raised))
        rig_from_level = procedure.rig_from_level_wxyz
        points[name] = procedure.origin_mm + rotate(rig_from_level, in_level)
    return points


def random_spinning(rng: np.random.Generator, car: Car) -> Spinning:
    """Each wheel hangs with a camber, a toe and a height of its own."""
    hanging = {
        name: replace(
            wheel,
            centre_mm=wheel.centre_mm + rng.uniform([-15, -15, -120], [15, 15, -40]),
            camber_deg=wheel.camber_deg + rng.uniform(-3.0, 3.0),
            toe_deg=wheel.toe_deg + rng.uniform(-2.0, 2.0),
        )
        for name, wheel in car.wheels.items()
    }
    spins = []
    for wheel in WHEELS:
        stations = int(rng.integers(2, 7))
        span = rng.uniform(60.0, 170.0) if stations == 2 else rng.uniform(60.0, 300.0)
        turns = rng.uniform(-180.0, 180.0) + np.linspace(0.0, span, stations)
        turns[1:-1] += span / stations * rng.uniform(-0.3, 0.3, stations - 2)
        spins += [(wheel, turn) for turn in turns.tolist()]
    return Spinning(
        hanging=replace(car, wheels=hanging),
        raised={
            wheel: Shift(
                slide_mm=rng.uniform([-30.0, -30.0, 100.0], [30.0, 30.0, 400.0]),
                yaw_deg=rng.uniform(-1.0, 1.0),
                pitch_deg=rng.uniform(-1.0, 1.0),
                roll_deg=rng.uniform(-1.0, 1.0),
            )
            for wheel in WHEELS
        },
        steer_deg={wheel: rng.uniform(-3.0, 3.0) for wheel in WHEELS},
        spins=tuple(spins[i] for i in rng.permutation(len(spins))),
    )


def between_axles(car: Car) -> Vector:
    """At the height of the wheel centres."""
    return np.mean([wheel.centre_mm for wheel in car.wheels.values()], axis=0)


def random_course(
    rng: np.random.Generator, car: Car, procedure: Procedure
) -> Course:
    """An arc of one curvature: the body yaws as the car is rolled.

    By the joint method it also pitches and rolls, about the middle of the targets.
    """
    stops = procedure.rolling_travel_mm
    start, length = min(stops), max(stops) - min(stops)
    size_deg = rng.uniform(0.1, 0.2) * rng.choice([-1, 1])

    def even(size_deg: float) -> Angle:
        return lambda travel: size_deg * (2 * (travel - start) / length - 1)

    def since_ahead(size_deg: float) -> Angle:
        return lambda travel: size_deg * 2 * travel / length

    if procedure.method == "staged":
        return Course(even(size_deg), even(0.0), even(0.0), between_axles(car))
    pitch_deg, roll_deg = rng.uniform(-0.1, 0.1, 2)
    return Course(
        since_ahead(size_deg),
        since_ahead(pitch_deg),
        since_ahead(roll_deg),
        about_mm=Bay(car, procedure).middle_of_targets_mm(),
        scrubs=True,
    )


def with_moving_body(
    rng: np.random.Generator, car: Car, procedure: Procedure, how: str, body: str
) -> Procedure:
    """The body moves as the wheels are steered: `smooth` with the steer, or `random`.

    The rear targets go with it: they stand in it as they stood straight ahead, but for
    what wheels that are not locked roll as it slides. Those do not show stage by stage
    how the body pitches.
    """
    told = procedure.wheels_locked or procedure.method == "joint"
    half_sweep = max(procedure.sweep_steer_deg)
    slide_towards = rng.uniform(0.0, 2 * math.pi) if told else 0.0
    slide_mm = 5.0 * np.array([math.cos(slide_towards), math.sin(slide_towards), 0.0])
    rear_middle = (car.wheels["rl"].centre_mm + car.wheels["rr"].centre_mm) / 2
    signs = rng.choice([-1, 1], 4)

    def shift(steer_deg: float) -> Shift:
        if how == "smooth":
            parts = signs * math.sin(steer_deg / half_sweep)
        else:
            parts = rng.uniform(-1.0, 1.0, 4)
        return Shift(
            slide_mm=parts[0] * (slide_mm + [0.0, 0.0, 8.0]),
            roll_deg=0.3 * parts[1],
            pitch_deg=0.2 * parts[2] if told else 0.0,
            yaw_deg=0.1 * parts[3],
            about_mm=between_axles(car) if told else rear_middle,
        )

    rear = {wheel: procedure.ahead_roll_deg[wheel] for wheel in WHEELS_OF_AXLE["rear"]}
    return replace(
        procedure,
        rear_seen_while_steering=True,
        sweep_roll_deg=tuple({**roll, **rear} for roll in procedure.sweep_roll_deg),
        sweep_shift=tuple(shift(steer) for steer in procedure.sweep_steer_deg),
        lock_shift={
            lock: shift(steer) for lock, steer in procedure.lock_steer_deg.items()
        },
        sweep_body=body,
    )
