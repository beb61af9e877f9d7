"""Published figures that a measured car must show."""

import math
from dataclasses import replace

import numpy as np
import pytest

from conftest import Read
from engine import (
    AXLE_OF_WHEEL,
    SIDE_OF_WHEEL,
    WHEELS,
    Car,
    Procedure,
    SteeringAxis,
    Wheel,
    product,
    quaternion,
)
from random_cars import random_clamp
from truth import measure_in_engine

MIRRORED = np.array([1.0, -1.0, 1.0])


def car_with_front(
    *,
    centre_mm: np.ndarray,
    camber_deg: float,
    axis: SteeringAxis,
    radius_mm: float,
    wheelbase_mm: float,
) -> Car:
    """A car of which one front corner is published: its mirror, and a plain rear."""
    rng = np.random.default_rng(0)
    front = np.array([wheelbase_mm, 0.0, 0.0])
    wheels = {}
    for name, side in SIDE_OF_WHEEL.items():
        is_front = AXLE_OF_WHEEL[name] == "front"
        wheels[name] = Wheel(
            centre_mm=(centre_mm + front * is_front) * (1.0, side, 1.0),
            camber_deg=camber_deg if is_front else 0.0,
            toe_deg=0.0,
            clamp=random_clamp(rng),
        )
    left = replace(axis, point_mm=axis.point_mm + front)
    right = SteeringAxis(axis.direction * MIRRORED, left.point_mm * MIRRORED)
    return Car(
        wheels=wheels,
        steering={"left": left, "right": right},
        rolling_radius_mm={"front": radius_mm, "rear": radius_mm},
    )


def plain_procedure(radius_mm: float) -> Procedure:
    return Procedure(
        rig_from_level_wxyz=product(
            quaternion(np.array([0.6, 0.8, 0.0]), 4.0),
            quaternion(np.array([0.0, 0.0, 1.0]), 20.0),
        ),
        origin_mm=np.array([250.0, -400.0, 100.0]),
        crab_deg=0.3,
        rolling_travel_mm=(0.0, 130.0, 260.0),
        sweep_steer_deg=(-15.0, -7.5, 0.0, 7.5, 15.0),
        wheels_locked=True,
        sweep_roll_deg=(dict.fromkeys(WHEELS, 0.0),) * 5,
        loaded_radius_mm={"front": radius_mm, "rear": radius_mm},
    )


def test_kingpin_of_a_racing_upright(read: Read, engine: str) -> None:
    """Renault Sport, FR2.0 chassis manual, rear axle, static row: both axis angles.

    Scrub and trail are computed from the printed points; the manual prints a scrub of
    16.05 mm.
    """
    radius_mm = 283.92
    car = car_with_front(
        centre_mm=np.array([0.0, 634.730, 283.920]),
        camber_deg=-5.0,
        axis=SteeringAxis.through(
            np.array([77.880, 587.570, 180.530]), np.array([-5.900, 516.350, 409.310])
        ),
        radius_mm=radius_mm,
        wheelbase_mm=2600.0,
    )
    readings = read(
        measure_in_engine(car, plain_procedure(radius_mm), engine=engine).session
    )
    for side_name in ("left", "right"):
        assert readings[f"steering.{side_name}.caster_deg"] == pytest.approx(
            20.11, abs=0.005
        )
        assert readings[f"steering.{side_name}.sai_deg"] == pytest.approx(
            17.29, abs=0.005
        )
        assert readings[f"steering.{side_name}.scrub_radius_mm"] == pytest.approx(
            16.042, abs=0.0005
        )
        assert readings[f"steering.{side_name}.caster_trail_mm"] == pytest.approx(
            143.595, abs=0.0005
        )


@pytest.mark.parametrize(
    ("to_body_deg", "to_ground_deg"), [(10.60, 10.29), (13.50, 13.19)]
)
def test_caster_of_a_pitched_body(
    read: Read, to_body_deg: float, to_ground_deg: float, engine: str
) -> None:
    """Dallara, F308 manual: 15 and 30 mm over 2730 mm pitch the body by 0.31 deg."""
    wheelbase_mm, radius_mm = 2730.0, 280.0
    centre_mm = np.array([0.0, 750.0, 280.0])
    car = car_with_front(
        centre_mm=centre_mm,
        camber_deg=-3.0,
        axis=SteeringAxis.from_angles(
            1, to_body_deg, 9.0, centre_mm - [0.0, 60.0, 0.0]
        ),
        radius_mm=radius_mm,
        wheelbase_mm=wheelbase_mm,
    )
    pitched = replace(
        car, pitch_deg=math.degrees(math.atan((30.0 - 15.0) / wheelbase_mm))
    )
    session = measure_in_engine(
        pitched, plain_procedure(radius_mm), engine=engine
    ).session
    session["ride_height_mm"] = {"fl": 15.0, "fr": 15.0, "rl": 30.0, "rr": 30.0}
    readings = read(session)
    for side_name in ("left", "right"):
        to_ground = readings[f"steering.{side_name}.caster_deg"]
        to_body = readings[f"steering.{side_name}.caster_to_body_deg"]
        assert to_ground == pytest.approx(to_ground_deg, abs=0.005)
        assert to_body == pytest.approx(to_body_deg, abs=0.005)
        assert to_body - to_ground == pytest.approx(0.31, abs=0.005)
