"""What the angles refer to: cameras of their own frame, the datum, the centreline.

Cars in two rigid-body engines; normals and centrelines from numpy. The definitions
are this project's own; that a runway or the wheels can be the datum is common practice,
no source.
"""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from agreement import assert_same, assert_true
from conftest import Read
from engine import POSE_FORMS, WHEELS, Car, Procedure
from frames import plane_normal, vehicle_axes, wheel_plane_normal
from random_cars import (
    random_measured,
    random_runway,
    random_setup,
    standing_flat,
)
from sightings import random_cameras, through_cameras
from truth import Measured, measure_in_engine

LAYOUTS = {
    "one a side": (("fl", "rl"), ("fr", "rr")),
    "one an axle": (("fl", "fr"), ("rl", "rr")),
    "two a side": (("fl",), ("rl",), ("fr",), ("rr",)),
    "only one": (("fr", "rr"),),
    "only one for one wheel": (("rl",),),
    "one for all": (WHEELS,),
}
RAISED_MM = 6.0


def to_datum(
    car: Car, procedure: Procedure, datum: str, engine: str, **changes: Any
) -> Measured:
    reference = dict(procedure.reference) | {"datum": datum}
    changed = replace(procedure, reference=reference, **changes)
    return measure_in_engine(car, changed, engine=engine)


def on_runway(seed: int, raised_mm: float, method: str, engine: str) -> Measured:
    car, procedure = random_setup(seed, wheels_locked=seed % 3 > 0, method=method)
    rng = np.random.default_rng(seed)
    runway = random_runway(rng, car, procedure, raised_mm)
    return to_datum(car, procedure, "runway", engine, runway_mm=runway)


def on_its_wheels(seed: int, method: str, engine: str) -> Measured:
    car, procedure = random_setup(seed, wheels_locked=seed % 3 > 0, method=method)
    return to_datum(car, procedure, "wheel_plane", engine)


# --------------------------------------------------------------------------------------
# Cameras


@pytest.mark.parametrize("seed", range(300, 303))
@pytest.mark.parametrize("layout", LAYOUTS.values(), ids=LAYOUTS.keys())
def test_wheels_seen_in_the_frame_of_a_camera(
    read: Read, layout: tuple[tuple[str, ...], ...], seed: int, method: str, engine: str
) -> None:
    session, true, _ = random_measured(seed, method=method, engine=engine)
    cameras = random_cameras(np.random.default_rng(seed), layout)
    assert_true(read(through_cameras(session, cameras, POSE_FORMS[seed % 3])), true)


@pytest.mark.parametrize("seed", range(303, 306))
def test_cameras_leave_the_runway_in_the_rig(
    read: Read, seed: int, method: str, engine: str
) -> None:
    session, true, _ = on_runway(seed, RAISED_MM, method, engine)
    cameras = random_cameras(np.random.default_rng(seed), LAYOUTS["two a side"])
    assert_true(read(through_cameras(session, cameras)), true)


def test_cameras_see_what_stands_in_the_rig() -> None:
    """The reference itself: back in the rig, the poses are what they were."""
    session = random_measured(300).session
    cameras = random_cameras(np.random.default_rng(0), LAYOUTS["one a side"])
    seen = through_cameras(session, cameras)
    for camera in seen["cameras"].values():
        rig_from_camera = Rotation.from_matrix(camera["rig_from_camera"]["rotation"])
        origin = camera["rig_from_camera"]["translation_mm"]
        for wheel in camera["wheels"]:
            there, here = seen["ahead"][wheel], session["ahead"][wheel]
            turned = rig_from_camera * Rotation.from_matrix(there["rotation"])
            placed = rig_from_camera.apply(there["translation_mm"]) + origin
            assert turned.as_matrix() == pytest.approx(np.array(here["rotation"]))
            assert placed == pytest.approx(here["translation_mm"])
            assert np.abs(placed - there["translation_mm"]).max() > 100.0


# --------------------------------------------------------------------------------------
# The datum


@pytest.mark.parametrize("raised_mm", [0.0, RAISED_MM])
@pytest.mark.parametrize("seed", range(310, 320))
def test_angles_to_the_runway(
    read: Read, seed: int, raised_mm: float, method: str, engine: str
) -> None:
    session, true, _ = on_runway(seed, raised_mm, method, engine)
    assert "up" not in session
    assert_true(read(session), true, against=engine)


@pytest.mark.parametrize("seed", range(320, 335))
def test_angles_to_the_plane_of_the_wheels(
    read: Read, seed: int, method: str, engine: str
) -> None:
    session, true, _ = on_its_wheels(seed, method, engine)
    assert "up" not in session
    assert_true(read(session), true, against=engine)


@pytest.mark.parametrize("centreline", ["axle_midpoints", "side_line_bisector"])
@pytest.mark.parametrize("datum", ["up", "wheel_plane", "runway"])
def test_every_datum_goes_with_every_centreline(
    read: Read, datum: str, centreline: str, method: str, engine: str
) -> None:
    car, procedure = random_setup(335, method=method)
    rng = np.random.default_rng(335)
    measured = to_datum(
        car,
        replace(procedure, reference={"centreline": centreline}),
        datum,
        engine,
        runway_mm=random_runway(rng, car, procedure, RAISED_MM),
    )
    assert_true(read(measured.session), measured.readings, against=engine)


@pytest.mark.parametrize("seed", range(340, 343))
def test_up_plays_no_part_beside_another_datum(
    read: Read, seed: int, method: str, engine: str
) -> None:
    for session, true, vehicle_from_rig in (
        on_runway(seed, RAISED_MM, method, engine),
        on_its_wheels(seed, method, engine),
    ):
        rng = np.random.default_rng(seed)
        leaning = Rotation.from_rotvec(rng.normal(0.0, 0.02, 3))
        up = leaning.apply(vehicle_from_rig[2])
        found = read(session | {"up": up.tolist()})
        assert_true(found, true)
        assert_same(found, read(session))


@pytest.mark.parametrize("seed", range(310, 315))
def test_normal_of_the_datum_told_as_up_reads_the_same(
    read: Read, seed: int, method: str, engine: str
) -> None:
    for session, true, vehicle_from_rig in (
        on_runway(seed, RAISED_MM, method, engine),
        on_its_wheels(seed, method, engine),
    ):
        told = session | {"up": vehicle_from_rig[2].tolist()}
        told["reference"] = session["reference"] | {"datum": "up"}
        told.pop("runway_mm", None)
        assert_true(read(told), true)


@pytest.mark.parametrize("seed", range(345, 350))
def test_on_a_flat_floor_every_datum_reads_the_same(
    read: Read, seed: int, method: str, engine: str
) -> None:
    car, procedure = random_setup(seed, method=method)
    car = standing_flat(car, procedure)
    runway = random_runway(np.random.default_rng(seed), car, procedure)
    for datum in ("up", "runway", "wheel_plane"):
        session = to_datum(car, procedure, datum, engine, runway_mm=runway).session
        assert_true(
            read(session), measure_in_engine(car, procedure, engine=engine).readings
        )


@pytest.mark.parametrize("seed", range(345, 350))
def test_reference_normals_of_a_flat_floor(seed: int, engine: str) -> None:
    """The reference itself: on a flat floor the three normals are one."""
    car, procedure = random_setup(seed)
    car = standing_flat(car, procedure)
    runway = random_runway(np.random.default_rng(seed), car, procedure)
    true = measure_in_engine(car, procedure, engine=engine)
    for datum in ("runway", "wheel_plane"):
        measured = to_datum(car, procedure, datum, engine, runway_mm=runway)
        # An arc cosine would round: the axes themselves are compared.
        assert measured.vehicle_from_rig == pytest.approx(
            true.vehicle_from_rig, rel=0, abs=1e-12
        )
        assert_true(measured.readings, true.readings)


def test_reference_normal_of_four_corners_one_raised() -> None:
    """The reference itself: one corner h up tilts the plane by h/2a, h/2b."""
    length, width, height = 2600.0, 1500.0, RAISED_MM
    corners = {
        "fl": np.array([length, width, height]),
        "fr": np.array([length, 0.0, 0.0]),
        "rl": np.array([0.0, width, 0.0]),
        "rr": np.array([0.0, 0.0, 0.0]),
    }
    normal = plane_normal(corners, towards=np.array([0.0, 0.0, 300.0]))
    # To first order in the slopes, which are 2 in 1000.
    assert -normal[0] / normal[2] == pytest.approx(height / (2 * length), rel=1e-4)
    assert -normal[1] / normal[2] == pytest.approx(height / (2 * width), rel=1e-4)
    below = plane_normal(corners, towards=np.array([0.0, 0.0, -300.0]))
    assert below == pytest.approx(-normal)


def test_reference_normal_of_wheels_of_two_sizes() -> None:
    """The reference itself: upright wheels, the centres level, the front ones smaller.

    The plane touches a circle of 280 and one of 310 mm, 2600 mm apart: it is inclined
    by asin(30/2600).
    """
    outward = {"fl": 1.0, "fr": -1.0, "rl": 1.0, "rr": -1.0}
    centre = {
        wheel: np.array([2600.0 if wheel[0] == "f" else 0.0, side * 750.0, 300.0])
        for wheel, side in outward.items()
    }
    radius = {"fl": 280.0, "fr": 280.0, "rl": 310.0, "rr": 310.0}
    normal = wheel_plane_normal(
        centre,
        {wheel: np.array([0.0, side, 0.0]) for wheel, side in outward.items()},
        radius,
        start=np.array([0.0, 0.0, 1.0]),
    )
    slope = 30.0 / 2600.0
    assert normal == pytest.approx([-slope, 0.0, np.sqrt(1 - slope**2)], abs=1e-14)


def test_reference_centrelines_of_a_skewed_car() -> None:
    """The reference itself: one side line turned by 2 deg turns the bisector by 1."""
    two_deg = np.radians(2.0)
    centre = {
        "rl": np.array([0.0, 700.0, 0.0]),
        "fl": np.array([2000.0, 700.0, 50.0]),
        "rr": np.array([0.0, -700.0, 0.0]),
        "fr": np.array([3000.0 * np.cos(two_deg), -700.0 + 3000 * np.sin(two_deg), 0]),
    }
    up = np.array([0.0, 0.0, 1.0])
    bisector = vehicle_axes(centre, up, "side_line_bisector")[0]
    assert np.degrees(np.arctan2(bisector[1], bisector[0])) == pytest.approx(1.0)
    midpoints = vehicle_axes(centre, up, "axle_midpoints")[0]
    slope = 3000 * np.sin(two_deg) / (2000 + 3000 * np.cos(two_deg))
    assert midpoints[1] / midpoints[0] == pytest.approx(slope)
