"""SciPy's Rotation as the outside reference for poses, axes and means."""

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from agreement import assert_same
from conftest import Read
from engine import SIDE_OF_WHEEL, STEERED, UP, WHEELS, Session
from random_cars import random_measured
from sightings import change_poses

TIGHT_DEG = 1e-9


def with_poses(session: Session, change: Callable[[dict[str, Any]], Any]) -> Session:
    """The same session with every pose put through `change`."""
    return change_poses(session, lambda _, pose: change(pose))


def rotation_of(pose: dict[str, Any]) -> Rotation:
    return Rotation.from_matrix(pose["rotation"])


@pytest.mark.parametrize("seed", range(5))
def test_rotation_as_quaternion_w_first(read: Read, seed: int) -> None:
    session = random_measured(seed).session

    def quaternion(pose: dict[str, Any], sign: float) -> dict[str, Any]:
        wxyz = sign * rotation_of(pose).as_quat(scalar_first=True)
        return {
            "quaternion_wxyz": wxyz.tolist(),
            "translation_mm": pose["translation_mm"],
        }

    expected = read(session)
    for sign in (1.0, -1.0):  # a quaternion and its negative are one rotation
        found = read(
            with_poses(session, lambda pose, sign=sign: quaternion(pose, sign))
        )
        assert_same(found, expected)


@pytest.mark.parametrize("seed", range(5))
def test_rotation_as_vector(read: Read, seed: int) -> None:
    session = random_measured(seed).session

    def vector(pose: dict[str, Any]) -> dict[str, Any]:
        return {
            "rotation_vector_rad": rotation_of(pose).as_rotvec().tolist(),
            "translation_mm": pose["translation_mm"],
        }

    assert_same(read(with_poses(session, vector)), read(session))


def turned_about(first: Rotation, last: Rotation) -> np.ndarray:
    """The unit axis, in the rig, of the turn from the first pose to the last."""
    turn = (last * first.inv()).as_rotvec()
    return turn / np.linalg.norm(turn)


@pytest.mark.parametrize("seed", range(10))
def test_caster_and_sai_from_two_poses(read: Read, seed: int) -> None:
    session, _, vehicle_from_rig = random_measured(seed)
    readings = read(session)
    first, last = session["sweep"][0], session["sweep"][-1]
    for side_name, wheel in STEERED.items():
        axis = vehicle_from_rig @ turned_about(
            rotation_of(first[wheel]), rotation_of(last[wheel])
        )
        axis *= np.sign(axis[2])
        caster = math.degrees(math.atan2(-axis[0], axis[2]))
        sai = math.degrees(math.atan2(-SIDE_OF_WHEEL[wheel] * axis[1], axis[2]))
        assert readings[f"steering.{side_name}.caster_deg"] == pytest.approx(
            caster, rel=0, abs=TIGHT_DEG
        )
        assert readings[f"steering.{side_name}.sai_deg"] == pytest.approx(
            sai, rel=0, abs=TIGHT_DEG
        )


@pytest.mark.parametrize("seed", range(10))
def test_camber_and_toe_from_two_poses(read: Read, seed: int) -> None:
    session, _, vehicle_from_rig = random_measured(seed)
    readings = read(session)
    first, last = session["rolling"][0], session["rolling"][-1]
    for wheel, side in SIDE_OF_WHEEL.items():
        start, end = rotation_of(first[wheel]), rotation_of(last[wheel])
        # The spindle is fixed in the target, and goes with it to the ahead station.
        in_target = start.inv().apply(turned_about(start, end))
        outward = vehicle_from_rig @ rotation_of(session["ahead"][wheel]).apply(
            in_target
        )
        outward *= side * np.sign(outward[1])
        heading = side * np.cross(outward, UP)
        camber = -math.degrees(math.asin(outward[2]))
        toe = -side * math.degrees(math.atan2(heading[1], heading[0]))
        assert readings[f"wheels.{wheel}.camber_deg"] == pytest.approx(
            camber, rel=0, abs=TIGHT_DEG
        )
        assert readings[f"wheels.{wheel}.toe_to_centreline_deg"] == pytest.approx(
            toe, rel=0, abs=TIGHT_DEG
        )


@pytest.mark.parametrize("seed", range(5))
def test_frames_are_averaged_by_the_chordal_mean(read: Read, seed: int) -> None:
    session = random_measured(seed).session
    rng = np.random.default_rng(seed)

    def frames(pose: dict[str, Any]) -> list[dict[str, Any]]:
        # Scattered widely enough to tell the chordal mean from the geodesic one.
        scattered = [
            Rotation.from_rotvec(rng.normal(0.0, 0.2, 3), degrees=True)
            * rotation_of(pose)
            for _ in range(4)
        ]
        return [
            {
                "rotation": rotation.as_matrix().tolist(),
                "translation_mm": (
                    pose["translation_mm"] + rng.normal(0.0, 0.5, 3)
                ).tolist(),
            }
            for rotation in scattered
        ]

    def mean(of: list[dict[str, Any]]) -> dict[str, Any]:
        rotations = Rotation.from_matrix([frame["rotation"] for frame in of])
        return {
            "rotation": rotations.mean().as_matrix().tolist(),
            "translation_mm": np.mean(
                [frame["translation_mm"] for frame in of], axis=0
            ).tolist(),
        }

    in_frames = with_poses(session, frames)
    assert_same(read(in_frames), read(with_poses(in_frames, mean)))


def test_documented_mean_of_four_rotations(read: Read) -> None:
    """SciPy's documented example of Rotation.mean: extrinsic zyx angles in degrees."""
    session = random_measured(0).session
    four = Rotation.from_euler(
        "zyx", [[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]], degrees=True
    )
    printed = Rotation.from_euler(
        "zyx", [0.24945696, 0.25054542, 0.24945696], degrees=True
    )

    def ahead_turned_by(rotations: list[Rotation]) -> Session:
        poses = {
            wheel: [
                {
                    "rotation": (rotation * rotation_of(pose)).as_matrix().tolist(),
                    "translation_mm": pose["translation_mm"],
                }
                for rotation in rotations
            ]
            for wheel, pose in session["ahead"].items()
        }
        return session | {"ahead": poses}

    found = read(ahead_turned_by(list(four)))
    expected = read(ahead_turned_by([printed]))
    for wheel in WHEELS:
        for angle in ("camber_deg", "toe_to_centreline_deg"):
            path = f"wheels.{wheel}.{angle}"
            # Half a unit of the last printed digit of three angles.
            assert found[path] == pytest.approx(expected[path], rel=0, abs=2e-8), path
