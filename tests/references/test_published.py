"""Published figures, each with its source beside it: of formulas, and of measured cars.

A figure is held to half a unit of its last printed digit.
"""

import math
from dataclasses import replace

import numpy as np
import pytest
from wheel_alignment import gauge, steering, turns, tyre, units, wheel
from wheel_alignment.session import ByWheel

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
from ledger import hold
from random_cars import random_clamp
from truth import measure_in_engine

MIRRORED = np.array([1.0, -1.0, 1.0])

# What rounding adds to half a unit of a last digit: 2.45 itself is no float.
A_HAIR = 1e-9

# Renault Sport, FR2.0 chassis manual, rear axle, static row; X forward, Y outboard.
UPRIGHT = {
    "lower_mm": np.array([77.880, 587.570, 180.530]),
    "upper_mm": np.array([-5.900, 516.350, 409.310]),
    "centre_mm": np.array([0.0, 634.730, 283.920]),
    "radius_mm": 283.92,
    "camber_deg": -5.0,
    "caster_deg": 20.11,
    "sai_deg": 17.29,
}


def printed(what: str, against: str, quantity: str, **how: object) -> None:
    """Hold figures to half a unit of the last printed digit."""
    allowed = 0.5 * 10.0 ** -how.pop("decimals") + A_HAIR
    why = "half a unit of the last printed digit"
    hold(what, against=against, quantity=quantity, allowed=allowed, why=why, **how)


def test_formulas_for_a_racing_upright() -> None:
    """The upright above, as a left and as a right one."""
    axis = UPRIGHT["upper_mm"] - UPRIGHT["lower_mm"]
    for side, mirror in (("left", np.ones(3)), ("right", MIRRORED)):
        direction = axis * mirror / np.linalg.norm(axis)
        printed(
            "steering::caster_deg",
            "published chassis data",
            "caster of an axis through two printed points",
            off=steering.caster_deg(direction) - UPRIGHT["caster_deg"],
            decimals=2,
            unit="deg",
        )
        printed(
            "steering::sai_deg",
            "published chassis data",
            "inclination of an axis through two printed points",
            off=steering.sai_deg(direction, side=side) - UPRIGHT["sai_deg"],
            decimals=2,
            unit="deg",
        )
        hold(
            "steering::axis_direction",
            against="published chassis data",
            quantity="axis through two printed points, from the printed angles",
            off=direction
            - steering.axis_direction(
                side=side,
                caster_deg=UPRIGHT["caster_deg"],
                sai_deg=UPRIGHT["sai_deg"],
            ),
            allowed=9e-5,
            unit="1",
            why="half a unit of the last printed digit, 0.005°, of each angle",
        )
        tipped = math.radians(UPRIGHT["camber_deg"])
        spindle = np.array([0.0, math.cos(tipped), -math.sin(tipped)]) * mirror
        contact = wheel.contact_centre_mm(
            centre_mm=UPRIGHT["centre_mm"] * mirror,
            spindle=spindle,
            loaded_radius_mm=UPRIGHT["radius_mm"],
        )
        lower = UPRIGHT["lower_mm"] * mirror
        ground = lower + direction * ((contact[2] - lower[2]) / direction[2])
        hold(
            "wheel::contact_centre_mm",
            against="published chassis data",
            quantity="scrub there; 16.05 is printed, its own points make 16.04",
            off=(contact - ground)[1] * mirror[1] - 16.05,
            allowed=0.01,
            unit="mm",
            why="one unit of the last printed digit, which is rounded badly",
        )
        assert (contact - ground)[1] * mirror[1] == pytest.approx(16.042, abs=5e-4)
        assert (ground - contact)[0] == pytest.approx(143.595, abs=5e-4)


def minutes(of: float) -> float:
    return units.deg_from_degrees_minutes(
        units.DegreesMinutes(negative=False, degrees=0.0, minutes=of)
    )


def test_toe_at_the_rim() -> None:
    off_mm, off_deg = [], []
    for toe_deg, diameter_mm, length_mm in [
        # Volvo, C70 service data, at the rim flange.
        (0.33, 416.0, 2.4),
        (0.33, 441.4, 2.5),
        (0.33, 466.8, 2.7),
        # Mazda, MX-5 service data.
        (minutes(22), 406.4, 2.6),
        (minutes(22), 431.8, 2.8),
        (minutes(9), 611.4, 1.6),
        # BMW, service data for 14-inch wheels.
        (minutes(18), 390.6, 2.0),
    ]:
        at = {"reference_diameter_mm": diameter_mm}
        off_mm.append(wheel.toe_length_mm(toe_deg, **at) - length_mm)
        off_deg.append(wheel.toe_from_length_deg(length_mm, **at) - toe_deg)
    printed(
        "wheel::toe_length_mm",
        "published service data",
        "toe of a wheel in mm, seven rims",
        off=off_mm,
        decimals=1,
        unit="mm",
    )
    hold(
        "wheel::toe_from_length_deg",
        against="published service data",
        quantity="toe of a wheel in degrees, seven rims",
        off=off_deg,
        allowed=math.degrees(0.05 / 390.6),
        unit="deg",
        why="half a unit of the last printed digit, 0.05 mm, at the least rim",
    )
    hold(
        "units::deg_from_degrees_minutes",
        against="published service data",
        quantity="minutes whose printed toe in mm is met, four rims",
        off=np.array(off_mm[3:]),
        allowed=0.05 + A_HAIR,
        unit="mm",
        why="half a unit of the last printed digit",
    )


def test_side_slip() -> None:
    """Japan's inspection limit, 5 mm in 1 m. The angle, 0.2865°, is computed."""
    printed(
        "wheel::angle_from_side_slip_deg",
        "inspection limit of 5 mm in 1 m",
        "0.2865°",
        off=wheel.angle_from_side_slip_deg(5.0) - 0.2865,
        decimals=4,
        unit="deg",
    )
    hold(
        "wheel::side_slip_mm_per_m",
        against="inspection limit of 5 mm in 1 m",
        quantity="mm in 1 m at 0.2865°",
        off=wheel.side_slip_mm_per_m(0.2865) - 5.0,
        allowed=1000 * math.radians(0.5e-4),
        unit="mm",
        why="half a unit of the last digit of the angle",
    )


FOOT_MM = 304.8


@pytest.mark.parametrize(
    ("wheelbase_ft", "steer_deg", "radius_ft", "decimals"),
    [
        (11, 31.6, 21.0, 0),
        (20, 31.8, 38.0, 0),
        (25, 41.4, 37.8, 1),
        (12.5, 20.3, 36, 1),
    ],
    ids=["P", "SU-30", "CITY-BUS", "WB-40"],
)
def test_turning_radii(
    wheelbase_ft: float, steer_deg: float, radius_ft: float, decimals: int
) -> None:
    """AASHTO, design vehicles; values from memory, feet."""
    radius_mm = turns.turning_radius_mm(
        wheelbase_mm=wheelbase_ft * FOOT_MM, steer_deg=steer_deg
    )
    hold(
        "turns::turning_radius_mm",
        against="AASHTO design vehicles, from memory",
        quantity=f"radii printed to {'whole feet' if decimals == 0 else '0.1 ft'}",
        off=radius_mm - radius_ft * FOOT_MM,
        allowed=0.5 * 10.0**-decimals * FOOT_MM,
        unit="mm",
        why="half a unit of the last printed digit",
    )


def test_caster_from_two_cambers() -> None:
    """A published worked example by an amateur; the third decimal of 4.327 is computed.

    It then rounds the factor 1.4619 of the linear rule to 1.5, and so prints 4.44.
    """
    read = {
        "side": "left",
        "turn_deg": 20.0,
        "camber_turned_left_deg": 1.10,
        "camber_turned_right_deg": -1.86,
    }
    by_linear_rule = gauge.caster_by_linear_rule_deg(**read)
    printed(
        "gauge::caster_by_two_positions_deg",
        "published worked example",
        "4.32° from cambers at ± 20°",
        off=gauge.caster_by_two_positions_deg(**read) - 4.32,
        decimals=2,
        unit="deg",
    )
    printed(
        "gauge::caster_by_linear_rule_deg",
        "published worked example",
        "4.327° from cambers at ± 20°",
        off=by_linear_rule - 4.327,
        decimals=3,
        unit="deg",
    )
    printed(
        "gauge::caster_by_linear_rule_deg",
        "published worked example",
        "with its factor put to 1.5, as printed, the 4.44° printed; 0.11° too much",
        off=by_linear_rule * 1.5 * 2 * math.sin(math.radians(20.0)) - 4.44,
        decimals=2,
        unit="deg",
    )


def test_pitch_of_a_body() -> None:
    """Dallara, F308 manual: ride heights of 15 and 30 mm, 2730 mm apart."""
    pitch_deg, roll_deg = steering.body_attitude_deg(
        ByWheel(15.0, 15.0, 30.0, 30.0), wheelbase_mm=2730.0, track_mm=1500.0
    )
    assert roll_deg == 0.0
    printed(
        "steering::body_attitude_deg",
        "published chassis data",
        "pitch of 0.31° from ride heights",
        off=pitch_deg - 0.31,
        decimals=2,
        unit="deg",
    )
    for to_body_deg, to_ground_deg in CASTER_OF_A_PITCHED_BODY:
        axis = steering.axis_direction(
            side="left", caster_deg=to_ground_deg, sai_deg=9.0
        )
        to_body = steering.axis_to_body(axis, pitch_deg=pitch_deg, roll_deg=roll_deg)
        printed(
            "steering::axis_to_body",
            "published chassis data",
            "caster to the body from that to the ground",
            off=steering.caster_deg(to_body) - to_body_deg,
            decimals=2,
            unit="deg",
        )


def test_tyre_diameters() -> None:
    """Overall diameters from tyre size tables; common practice, no source."""
    for code, diameter_mm in [
        ("215/65R17", 711.3),
        ("225/60R17", 701.8),
        ("205/55R16", 631.9),
    ]:
        printed(
            "tyre::size_from_code",
            "tyre size tables",
            "overall diameter, three sizes",
            off=tyre.size_from_code(code).overall_diameter_mm - diameter_mm,
            decimals=1,
            unit="mm",
        )


CASTER_OF_A_PITCHED_BODY = [(10.60, 10.29), (13.50, 13.19)]
"""To the body, to the ground, degrees: Dallara, F308 manual."""


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
    """The upright above, measured: both axis angles.

    Scrub and trail are computed from the printed points; the manual prints a scrub of
    16.05 mm.
    """
    car = car_with_front(
        centre_mm=UPRIGHT["centre_mm"],
        camber_deg=UPRIGHT["camber_deg"],
        axis=SteeringAxis.through(UPRIGHT["lower_mm"], UPRIGHT["upper_mm"]),
        radius_mm=UPRIGHT["radius_mm"],
        wheelbase_mm=2600.0,
    )
    procedure = plain_procedure(UPRIGHT["radius_mm"])
    readings = read(measure_in_engine(car, procedure, engine=engine).session)
    for side_name in ("left", "right"):
        for name, figure, decimals in (
            ("caster_deg", UPRIGHT["caster_deg"], 2),
            ("sai_deg", UPRIGHT["sai_deg"], 2),
            ("scrub_radius_mm", 16.042, 3),
            ("caster_trail_mm", 143.595, 3),
        ):
            printed(
                f"steering.{{left,right}}.{name}",
                "published chassis data",
                f"{figure} of a racing upright" + " (computed)" * (decimals == 3),
                off=readings[f"steering.{side_name}.{name}"] - figure,
                decimals=decimals,
                unit="mm" if name.endswith("mm") else "deg",
            )


@pytest.mark.parametrize(("to_body_deg", "to_ground_deg"), CASTER_OF_A_PITCHED_BODY)
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
        for name, found, figure in (
            ("caster_deg", to_ground, to_ground_deg),
            ("caster_to_body_deg", to_body, to_body_deg),
        ):
            printed(
                f"steering.{{left,right}}.{name}",
                "published chassis data",
                "caster of a pitched body, to the ground and to the body",
                off=found - figure,
                decimals=2,
                unit="deg",
            )
        assert to_body - to_ground == pytest.approx(0.31, abs=0.005)
