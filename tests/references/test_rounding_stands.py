"""How many digits the readings and the moves of stands lose.

Angles are in units of the last digit of a radian, over the cosine of pitch.
"""

from collections.abc import Iterable
from typing import Any

import mpmath as mp
import numpy as np
from wheel_alignment import stand
from wheel_alignment.pose import Pose

from digits import (
    CASES,
    angles,
    circle,
    deg,
    nearest,
    rad,
    told_vectors,
    vector_ulps,
)


def matrix_of(yaw: Any, pitch: Any, roll: Any) -> Any:
    (sz, cz), (sy, cy), (sx, cx) = circle(yaw), circle(pitch), circle(roll)
    about_z = mp.matrix([[cz, -sz, 0], [sz, cz, 0], [0, 0, 1]])
    about_y = mp.matrix([[cy, 0, sy], [0, 1, 0], [-sy, 0, cy]])
    return about_z * about_y * mp.matrix([[1, 0, 0], [0, cx, -sx], [0, sx, cx]])


def angles_of(turn: Any) -> list[Any]:
    """Yaw, pitch and roll, degrees."""
    level = mp.sqrt(turn[0, 0] ** 2 + turn[1, 0] ** 2)
    yaw, roll = mp.atan2(turn[1, 0], turn[0, 0]), mp.atan2(turn[2, 1], turn[2, 2])
    return [deg(yaw), deg(mp.atan2(-turn[2, 0], level)), deg(roll)]


def angle_ulps(found: Iterable[float], exact: list[Any]) -> list[float]:
    by = mp.cos(rad(exact[1]))
    apart_ = [mp.mpf(a) - b for a, b in zip(found, exact, strict=True)]
    # Half a turn has two names.
    apart_ = [(one + 180) % 360 - 180 for one in apart_]
    return [float(abs(rad(one)) * by / mp.mpf(np.spacing(1.0))) for one in apart_]


def stances(rng: Any, most: float) -> Iterable[list[float]]:
    """Yaw, pitch and roll of stands, degrees."""
    for pitch in [*angles(-88.9, 88.9), *rng.uniform(-80, 80, CASES)]:
        tiny, any_ = rng.uniform(-1e-9, 1e-9, 2), rng.uniform(-most, most, 2)
        yaw, roll = tiny if rng.random() < 0.2 else any_
        yield [float(yaw), float(pitch), float(roll)]


def pose_of(rng: Any, angles_: list[float]) -> Pose:
    turn = np.array(matrix_of(*map(mp.mpf, angles_)).tolist(), dtype=float)
    return Pose(turn, rng.uniform(-1e4, 1e4, 3))


def origin(pose: Pose) -> Any:
    return mp.matrix([mp.mpf(float(one)) for one in pose.translation_mm])


def test_readings_of_stands() -> None:
    rng = np.random.default_rng(12)
    ground = stand.Ground(tilt_deg=0.0, residual_mm=0.0, uneven=False)
    lengths_, turns_ = [], []
    with mp.workdps(50):
        for stance in stances(rng, 180):
            line = pose_of(rng, [float(one) for one in rng.uniform(-10, 10, 3)])
            placed = pose_of(rng, stance)
            of_line, of_stand = nearest(line.rotation), nearest(placed.rotation)
            exact = angles_of(of_line.T * of_stand)
            if abs(exact[1]) > 88.99:
                continue
            to = of_line.T * (origin(placed) - origin(line))
            found = stand.GroundLine(line, ground).readings(placed)
            mm = found.distance_mm, found.lateral_offset_mm, found.height_mm
            size = max(map(abs, [*origin(placed), *origin(line)]))
            lengths_.append(vector_ulps(mm, list(to), size))
            found_deg = found.yaw_deg, found.pitch_deg, found.roll_deg
            turns_.append(angle_ulps(found_deg, exact))
    what = "stand::GroundLine::readings"
    told_vectors(what, "lengths, in ulp of the greatest coordinate", lengths_)
    told_vectors(what, "angles, in ulp of a radian, times the cosine of pitch", turns_)


def test_moves_of_stands() -> None:
    rng = np.random.default_rng(13)
    shifts, turns_, elements, places = [], [], [], []
    with mp.workdps(50):
        for stance in stances(rng, 170):
            now = [float(one) for one in rng.uniform(-5e3, 5e3, 3)] + stance
            aim = [float(one) for one in rng.uniform(-5e3, 5e3, 3)]
            aim += [float(one) for one in rng.uniform(-5, 5, 3)]
            pivot = [float(one) for one in rng.uniform(-500, 500, 3)]
            required = [stand.Required(one, 1.0, 1.0) for one in aim]
            moves = stand.moves(
                stand.StandReadings(*now),
                stand.StandRequirements(required=stand.StandReadings(*required)),
                pivot_mm=pivot,
            )
            from_, to = (matrix_of(*map(mp.mpf, of[3:])) for of in (now, aim))
            at, there, about = (
                mp.matrix([mp.mpf(one) for one in of[:3]]) for of in (now, aim, pivot)
            )
            shift = to.T * (there - at - (from_ - to) * about)
            mm = moves.forward_mm, moves.left_mm, moves.up_mm
            size = max(map(abs, [*now[:3], *aim[:3], *pivot]))
            shifts.append(vector_ulps(mm, list(shift), size))
            given = moves.yaw_deg, moves.pitch_deg, moves.roll_deg
            turns_.append(angle_ulps(given, angles_of(from_.T * to)))

            placed = pose_of(rng, stance)
            found = stand.moved(placed, moves, pivot_mm=pivot)
            turned = nearest(placed.rotation) * matrix_of(*map(mp.mpf, given))
            elements.append(vector_ulps(np.ravel(found.rotation), list(turned)))
            moved = nearest(placed.rotation) * about + turned * (
                mp.matrix([mp.mpf(one) for one in mm]) - about
            )
            size = max(map(abs, [*origin(placed), *mm, *pivot]))
            places.append(
                vector_ulps(found.translation_mm, list(origin(placed) + moved), size)
            )
    what = "stand::moves"
    told_vectors(what, "shifts, in ulp of the greatest length", shifts)
    told_vectors(what, "turns, in ulp of a radian, times the cosine of pitch", turns_)
    told_vectors("stand::moved", "elements, in ulp of 1", elements)
    told_vectors("stand::moved", "translation, in ulp of the greatest length", places)
