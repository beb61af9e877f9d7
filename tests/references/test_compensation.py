"""Two more ways to compensate a clamp: wheels spun in the air, and a body that turns.

Cars in two rigid-body engines. Both procedures are common practice, no source.
"""

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from agreement import assert_same, assert_true
from conftest import STATED, Measure, Read
from engine import (
    AXLE_OF_WHEEL,
    POSE_FORMS,
    SIDE_OF_WHEEL,
    WHEELS,
    Bay,
    Car,
    Procedure,
    RaisedBay,
)
from random_cars import random_course, random_setup, random_spinning
from truth import Measured, Readings, measure_in_engine

# --------------------------------------------------------------------------------------
# Spun


def spun(
    seed: int,
    loaded_axles: tuple[str, ...] = ("front", "rear"),
    *,
    method: str = "staged",
) -> tuple[Car, Procedure]:
    car, procedure = random_setup(seed, method=method)
    rng = np.random.default_rng(seed)
    loaded = {axle: car.rolling_radius_mm[axle] - 8.0 for axle in loaded_axles}
    return car, replace(
        procedure,
        spinning=random_spinning(rng, car),
        loaded_radius_mm=loaded or None,
    )


@pytest.mark.parametrize("seed", range(400, 420))
def test_wheels_spun_one_at_a_time(
    read: Read, seed: int, method: str, engine: str
) -> None:
    setup = spun(seed, method=method)
    session, true, _ = measure_in_engine(*setup, POSE_FORMS[seed % 3], engine=engine)
    assert_true(read(session), true, against=engine)


@pytest.mark.parametrize("seed", range(400, 405))
def test_a_wheel_spun_reads_as_it_does_rolled(
    read: Read, seed: int, method: str, engine: str
) -> None:
    car, procedure = spun(seed, method=method)
    in_the_air = read(measure_in_engine(car, procedure, engine=engine).session)
    on_the_floor = read(
        measure_in_engine(car, replace(procedure, spinning=None), engine=engine).session
    )
    radii = {f"wheels.{wheel}.rolling_radius_mm" for wheel in WHEELS}
    assert in_the_air.keys() == on_the_floor.keys() - radii
    # Each comes within the tolerance of one truth, on either side of it.
    assert_true(in_the_air, {path: on_the_floor[path] for path in in_the_air})


@pytest.mark.parametrize("loaded", [(), ("front",), ("rear",)])
@pytest.mark.parametrize("seed", range(420, 423))
def test_wheels_spun_do_not_show_where_the_ground_is(
    read: Read, seed: int, loaded: tuple[str, ...], method: str, engine: str
) -> None:
    session, true, _ = measure_in_engine(
        *spun(seed, loaded, method=method), engine=engine
    )
    found = read(session)
    assert_true(found, true, against=engine)
    assert found.keys() == true.keys()


@pytest.mark.parametrize("seed", range(423, 426))
def test_the_order_of_the_spins_does_not_matter(
    read: Read, seed: int, method: str, engine: str
) -> None:
    session = measure_in_engine(*spun(seed, method=method), engine=engine).session
    assert_same(read(session | {"rolling": session["rolling"][::-1]}), read(session))


@pytest.mark.parametrize("seed", range(400, 403))
def test_reference_spins_nothing_but_the_wheel(seed: int, engine: str) -> None:
    """The reference itself: a turn about a spindle that hangs, of the stated angle."""
    car, procedure = spun(seed)
    bay, ahead = RaisedBay(procedure, engine), Bay(car, procedure, engine)
    ahead.stand_ahead()
    for wheel, side in SIDE_OF_WHEEL.items():
        turns = [turn for name, turn in procedure.spinning.spins if name == wheel]
        poses = []
        for turn_deg in turns:
            bay.spin(wheel, turn_deg)
            poses.append(bay.engine.target(wheel))
        line = bay.engine.spindle(wheel)
        standing = ahead.engine.spindle(wheel).direction
        assert np.degrees(np.linalg.norm(line.direction - standing)) > 0.1
        for step in pairwise(zip(turns, poses, strict=True)):
            (from_deg, (before, at)), (to_deg, (after, gone)) = step
            turned = Rotation.from_rotvec(
                side * line.direction * np.radians(to_deg - from_deg)
            )
            assert after == pytest.approx(turned.as_matrix() @ before)
            assert gone - line.point == pytest.approx(turned.apply(at - line.point))


# --------------------------------------------------------------------------------------
# The body turns as the car is rolled

# The library takes each wheel's arc for straight when it fits the radius: an
# approximation, worth some 1e-3 mm and a few 1e-6 deg at a yaw of 0.2 deg.
TURNING_DEG = 2e-5
TURNING_MM = 2e-2
# By the joint method the body turns about all axes and scrubs, at rates that stay: what
# is left is the product of two turns of some 0.2 deg, for turns do not commute.
SCRUBBING_DEG = 1e-6
SCRUBBING_MM = 1e-4
# What leans on the centreline leans on lengths, over a wheelbase of more than 2 m.
WHEELBASE_MM = 2000.0


def turning(seed: int, method: str = "staged") -> tuple[Car, Procedure]:
    car, procedure = random_setup(seed, method=method)
    rng = np.random.default_rng(seed)
    return car, replace(procedure, course=random_course(rng, car, procedure))


def from_directions_alone(true: Readings) -> Readings:
    """What rests on no length: neither on the rolling radius nor on the centreline."""
    return {
        path: value
        for path, value in true.items()
        if path.endswith(
            (".camber_deg", "total_toe_deg", "cross_camber_deg", "runout_deg")
        )
        or path
        in ("wheels.fl.toe_deg", "wheels.fr.toe_deg", "steering.ahead_error_deg")
        or path.startswith("turns.lock_")
    }


@pytest.mark.parametrize("seed", range(430, 440))
def test_body_turns_as_the_car_is_rolled(read: Read, seed: int, engine: str) -> None:
    session, true, _ = measure_in_engine(
        *turning(seed), POSE_FORMS[seed % 3], engine=engine
    )
    found = read(session)
    directions = from_directions_alone(true)
    assert_true(found, directions, angle_deg=TURNING_DEG, length_mm=TURNING_MM)
    by_centreline_deg = TURNING_DEG + math.degrees(TURNING_MM / WHEELBASE_MM)
    assert_true(found, true, angle_deg=by_centreline_deg, length_mm=TURNING_MM)


@pytest.mark.parametrize("seed", range(430, 440))
def test_body_turns_about_all_axes_as_the_car_is_rolled(
    read: Read, seed: int, engine: str
) -> None:
    """By the joint method, on a course that goes through the ahead station.

    The one above does not, and its front wheels roll along an arc into which they are
    not steered: no car that the joint method knows.
    """
    session, true, _ = measure_in_engine(
        *turning(seed, "joint"), POSE_FORMS[seed % 3], engine=engine
    )
    assert_true(read(session), true, angle_deg=SCRUBBING_DEG, length_mm=SCRUBBING_MM)


@pytest.mark.parametrize("seed", range(430, 433))
def test_a_body_that_turns_is_not_one_that_goes_straight(
    read: Read, measure: Measure, seed: int, method: str, engine: str
) -> None:
    session, true, _ = measure_in_engine(*turning(seed, method), engine=engine)
    straight = session | {"rolling_body": "translates", "pose_noise": STATED}
    result = measure(straight)
    codes = [warning["code"] for warning in result["warnings"]]
    assert "residual_high" in codes or any("slipped" in code for code in codes)
    if method == "joint":
        assert result["fit"]["p_value"] < 1e-9
    found = read(straight)
    off = [abs(found[path] - true[path]) for path in from_directions_alone(true)]
    assert max(off) > 100 * TURNING_DEG


@pytest.mark.parametrize("seed", range(440, 445))
def test_a_body_that_does_not_turn_may_be_taken_to(
    read: Read, seed: int, method: str, engine: str
) -> None:
    session, true, _ = measure_in_engine(
        *random_setup(seed, method=method), engine=engine
    )
    assert_true(read(session | {"rolling_body": "turns"}), true, against=engine)


def rolled_poses(
    measured: Measured, bay: Bay, wheel: str
) -> list[tuple[np.ndarray, ...]]:
    """By travel: the target's rotation, and where spindle and wheel centre stand."""
    bay.stand_ahead()
    target, at = bay.engine.target(wheel)
    line = bay.engine.spindle(wheel)
    spindle, centre = target.T @ line.direction, target.T @ (line.point - at)
    poses = []
    for travel, station in zip(
        bay.procedure.rolling_travel_mm, measured.session["rolling"], strict=True
    ):
        rotation = np.array(station[wheel]["rotation"])
        origin = np.array(station[wheel]["translation_mm"])
        poses.append((travel, rotation, rotation @ spindle, origin + rotation @ centre))
    return [tuple(parts) for _, *parts in sorted(poses, key=lambda pose: pose[0])]


@pytest.mark.parametrize("seed", range(430, 433))
def test_reference_rolls_without_slip(seed: int, engine: str) -> None:
    """The reference itself: the turn about the spindle times the radius is the way."""
    car, procedure = turning(seed)
    measured = measure_in_engine(car, procedure, engine=engine)
    bay = Bay(car, procedure, engine)
    for wheel in WHEELS:
        radius = car.rolling_radius_mm[AXLE_OF_WHEEL[wheel]]
        poses = rolled_poses(measured, bay, wheel)
        for (before, spindle, at), (after, now, gone) in pairwise(poses):
            turn = Rotation.from_matrix(after @ before.T).as_rotvec()
            rolled = turn @ (SIDE_OF_WHEEL[wheel] * (spindle + now) / 2)
            chord = np.linalg.norm(np.cross(bay.up, gone - at))
            assert radius * rolled == pytest.approx(chord, rel=0, abs=2e-3)
        (_, first, _), (_, last, _) = poses[0], poses[-1]
        # From one end of a yaw of 0.1 to 0.2 deg to the other.
        assert 0.19 < np.degrees(np.linalg.norm(last - first)) < 0.41


@pytest.mark.parametrize("seed", range(430, 433))
def test_reference_moves_the_wheel_centres_with_one_body(
    seed: int, engine: str
) -> None:
    """The reference itself: the wheel centres keep their distances."""
    car, procedure = turning(seed)
    measured = measure_in_engine(car, procedure, engine=engine)
    bay = Bay(car, procedure, engine)
    centres = [
        [centre for _, _, centre in rolled_poses(measured, bay, wheel)]
        for wheel in WHEELS
    ]
    by_station = np.array(centres).transpose(1, 0, 2)
    distances = np.linalg.norm(by_station[:, :, None] - by_station[:, None], axis=-1)
    assert distances == pytest.approx(
        np.broadcast_to(distances[0], distances.shape), rel=0, abs=1e-8
    )
