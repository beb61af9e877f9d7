"""Cars and procedures at random, as askew as a workshop would still measure them."""

import math
from typing import Any

import numpy as np

from engine import (
    AXLE_OF_WHEEL,
    SIDE_OF_WHEEL,
    STEERED,
    UP,
    WHEELS,
    Car,
    Clamp,
    Procedure,
    SteeringAxis,
    Wheel,
    product,
    quaternion,
)
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


def random_measured(
    seed: int, *, wheels_locked: bool = True, pose_form: str = "rotation"
) -> Measured:
    """A car at random, measured by a procedure at random: the seed gives both."""
    rng = np.random.default_rng(seed)
    car = random_car(rng)
    return measure_in_engine(car, random_procedure(rng, car, wheels_locked), pose_form)
