"""Stands before random cars, placed and moved by SciPy and read by the library.

The lines, the ground and the angles are computed here from wheel centres and spindles
by NumPy and SciPy Rotation, with no formula of the library.
"""

from __future__ import annotations

import copy
import json as python_json
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pytest
from jsonschema import Draft202012Validator
from scipy.spatial.transform import Rotation

from frames import Matrix, Vector
from ledger import hold

pytest.importorskip("wheel_alignment", reason="a program stands in for the package")

import wheel_alignment as wa
from wheel_alignment import Pose, json, stand
from wheel_alignment.datum import plane_through
from wheel_alignment.live import Tracker
from wheel_alignment.session import ByWheel, PoseCovariance, PoseNoise
from wheel_alignment.simulate import VirtualVehicle
from wheel_alignment.stand import (
    GroundLine,
    PlacedStand,
    ReferencePoint,
    Required,
    StandMoves,
    StandReadings,
    StandRequirements,
)
from wheel_alignment.vehicle import AheadReadings, ahead_readings

SCIPY = "SciPy Rotation"
WHEELS = ("fl", "fr", "rl", "rr")
NAMES = (
    "distance_mm",
    "lateral_offset_mm",
    "height_mm",
    "yaw_deg",
    "pitch_deg",
    "roll_deg",
)
MOVES = ("yaw_deg", "pitch_deg", "roll_deg", "forward_mm", "left_mm", "up_mm")
PLACEMENTS = 10_000
ANGLES = {
    "allowed": 1e-9,
    "unit": "deg",
    "why": "rounding of coordinates of 1e4 mm, steep pitch",
}
LENGTHS = {"allowed": 1e-6, "unit": "mm", "why": "rounding of coordinates of 1e4 mm"}


@dataclass
class Placed:
    """A frame in another: its axes and its origin."""

    turn: Rotation
    at: Vector

    def then(self, other: Placed) -> Placed:
        """Return a frame that is given in this one."""
        return Placed(self.turn * other.turn, self.at + self.turn.apply(other.at))

    def inverse(self) -> Placed:
        """Return this frame the other way round."""
        back = self.turn.inv()
        return Placed(back, -back.apply(self.at))

    def pose(self) -> Pose:
        """Return it as the library takes it."""
        return Pose(self.turn.as_matrix(), self.at)


def placed(pose: Pose) -> Placed:
    """Return a pose of the library as SciPy has it."""
    return Placed(
        Rotation.from_matrix(np.array(pose.rotation)), np.array(pose.translation_mm)
    )


def unit(v: Vector) -> Vector:
    """Scale to length 1."""
    return v / np.linalg.norm(v)


def wrapped(angle: Any) -> Any:
    """Within half a turn of 0."""
    return (np.asarray(angle) + 180.0) % 360.0 - 180.0


def plane(points: Matrix) -> tuple[Vector, Vector, float]:
    """Find normal, middle and residual by a singular value decomposition."""
    middle = points.mean(0)
    normal = np.linalg.svd(points - middle)[2][2]
    return normal, middle, float(np.sqrt(np.mean(((points - middle) @ normal) ** 2)))


def line_of(
    wheels: dict[str, tuple[Vector, Vector, float]],
    rig_from_vehicle: Placed,
    floor: Matrix | None,
    along: str,
    reference: object,
) -> tuple[Placed, float, float]:
    """Find the line in the rig, the tilt of its ground and the ground's residual."""
    up = np.array([0.0, 0.0, 1.0])
    contacts = []
    for centre, spindle, radius in wheels.values():
        # Straight down in the wheel plane: what is left of down square to the spindle.
        contacts.append(centre + radius * unit(-up - spindle * (-up @ spindle)))
    points = (
        rig_from_vehicle.turn.apply(np.array(contacts)) + rig_from_vehicle.at
        if floor is None
        else floor
    )
    normal, middle, residual_mm = plane(points)
    datum = rig_from_vehicle.turn.apply(up)
    normal = normal if normal @ datum > 0 else -normal
    tilt_deg = np.degrees(
        np.arctan2(np.linalg.norm(np.cross(normal, datum)), normal @ datum)
    )
    heading = np.array([1.0, 0.0, 0.0])
    if along == "thrust_line":
        # Each rear wheel points square to its spindle, level; the line halves them.
        yaws = []
        for wheel in ("rl", "rr"):
            ahead = np.cross(wheels[wheel][1], up)
            ahead = ahead if ahead[0] > 0 else -ahead
            yaws.append(np.arctan2(ahead[1], ahead[0]))
        yaw = sum(yaws) / 2
        heading = np.array([np.cos(yaw), np.sin(yaw), 0.0])
    x = rig_from_vehicle.turn.apply(heading)
    x = unit(x - normal * (x @ normal))
    y = np.cross(normal, x)
    if isinstance(reference, ReferencePoint):
        point = np.array(reference.point_mm)
    else:
        ends = ("fl", "fr") if reference == "front_axle" else ("rl", "rr")
        point = (wheels[ends[0]][0] + wheels[ends[1]][0]) / 2
    point = rig_from_vehicle.turn.apply(point) + rig_from_vehicle.at
    # In the axes of the line: x of the reference, y of the rear axle, z of the ground.
    axes = np.column_stack([x, y, normal])
    own = np.array([x @ point, y @ rig_from_vehicle.at, normal @ middle])
    return Placed(Rotation.from_matrix(axes), axes @ own), tilt_deg, residual_mm


def read(line: Placed, here: Placed) -> Vector:
    """Return the six readings by SciPy's Euler angles."""
    seen = line.inverse().then(here)
    return np.concatenate([seen.at, seen.turn.as_euler("ZYX", degrees=True)], axis=-1)


def built(line: Placed, readings: Vector) -> Placed:
    """Return a stand with these readings."""
    turn = Rotation.from_euler("ZYX", readings[..., 3:], degrees=True)
    return line.then(Placed(turn, readings[..., :3]))


def off(found: StandReadings[float], expected: Vector) -> Vector:
    """Return by how much readings are off, angles by the shorter way."""
    difference = np.array(found.values()) - expected
    difference[3:] = wrapped(difference[3:])
    return difference


def random_readings(rng: np.random.Generator) -> Vector:
    """Anywhere about a car, turned anyhow, but for a pitch that is upright."""
    return rng.uniform(
        [-8000, -3000, 0, -180, -80, -180], [8000, 3000, 2500, 180, 80, 180]
    )


def random_car(
    rng: np.random.Generator,
) -> tuple[dict[str, tuple[Vector, Vector, float]], AheadReadings, Placed]:
    """Four wheels that no linkage holds, somewhere in a rig."""
    rig_from_vehicle = Placed(
        Rotation.random(random_state=rng), rng.uniform(-5e3, 5e3, 3)
    )
    wheels = {}
    for wheel, x, side in (
        ("fl", 2600, 1),
        ("fr", 2600, -1),
        ("rl", 0, 1),
        ("rr", 0, -1),
    ):
        centre = np.array([x, 760 * side, 0.0]) + rng.uniform(-15, 15, 3)
        turn = Rotation.from_euler("zx", rng.uniform(-2, 2, 2), degrees=True)
        wheels[wheel] = (centre, turn.apply([0.0, side, 0.0]), rng.uniform(280, 340))
    # The origin lies in the middle between the rear wheel centres.
    middle = (wheels["rl"][0] + wheels["rr"][0]) / 2
    wheels = {
        name: (at - middle, spindle, r) for name, (at, spindle, r) in wheels.items()
    }
    template = ahead_of(VirtualVehicle())
    blank = template.wheels.fl
    seen = {
        name: replace(
            blank,
            centre_mm=tuple(centre),
            spindle=tuple(spindle),
            rolling_radius_mm=radius,
        )
        for name, (centre, spindle, radius) in wheels.items()
    }
    now = replace(
        template,
        wheels=ByWheel(**seen),
        rig_from_vehicle=rig_from_vehicle.pose(),
    )
    return wheels, now, rig_from_vehicle


_TEMPLATE: list[AheadReadings] = []


def ahead_of(car: VirtualVehicle) -> AheadReadings:
    """Read the default virtual car once: its numbers are replaced."""
    if not _TEMPLATE:
        poses = car.session().to_arrays()
        clamps = wa.compensation.from_rolling(
            poses["rolling"], up=[0, 0, 1], clamp_standoff_mm=90
        )
        now = ahead_readings(
            poses["ahead"], compensation=clamps.all_wheels(), up=[0, 0, 1]
        )
        _TEMPLATE.append(now)
    return _TEMPLATE[0]


def choices(rng: np.random.Generator) -> tuple[str, Any]:
    """Draw a line and a reference point."""
    reference = ["front_axle", "rear_axle", ReferencePoint(rng.uniform(-3e3, 3e3, 3))]
    return ["thrust_line", "centreline"][rng.integers(2)], reference[rng.integers(3)]


def floor_of(rng: np.random.Generator, rig_from_vehicle: Placed) -> Matrix:
    """Points of a floor under the car and before it, neither flat nor level."""
    points = rng.uniform([-1e3, -2e3, -320], [6e3, 2e3, -316], (6, 3))
    points[:, 2] += points[:, 0] * rng.uniform(-0.02, 0.02)
    points[:, 2] += points[:, 1] * rng.uniform(-0.02, 0.02)
    return rig_from_vehicle.turn.apply(points) + rig_from_vehicle.at


def tell(name: str, quantity: str, off: Matrix) -> None:
    """Tell of lengths and angles in one row each."""
    off = np.asarray(off)
    for kind, part, allowed in (
        ("lengths", off[:, :3], LENGTHS),
        ("angles", off[:, 3:], ANGLES),
    ):
        hold(
            f"stand::{name}",
            against=SCIPY,
            quantity=f"{kind}: {quantity}",
            off=part,
            **allowed,
        )


def test_lines_and_readings_of_random_cars_and_stands() -> None:
    rng = np.random.default_rng(2024)
    readings, ground = [], []
    for case in range(PLACEMENTS):
        wheels, now, rig_from_vehicle = random_car(rng)
        along, reference = choices(rng)
        points = None if case % 2 else floor_of(rng, rig_from_vehicle)
        floor = None if points is None else plane_through(points)
        line, tilt_deg, residual_mm = line_of(
            wheels, rig_from_vehicle, points, along, reference
        )
        found = GroundLine.from_ahead(now, floor=floor, line=along, reference=reference)
        here = Placed(Rotation.random(random_state=rng), rng.uniform(-9e3, 9e3, 3))
        expected = read(line, here)
        if abs(expected[4]) > 80:
            expected = random_readings(rng)
            here = built(line, expected)
        readings.append(off(found.readings(here.pose()), expected))
        ground.append(
            [
                found.ground.tilt_deg - tilt_deg,
                found.ground.residual_mm - residual_mm,
                float(found.ground.uneven != (residual_mm > 1.0)),
            ]
        )
    quantity = f"stands before {PLACEMENTS} random cars, on floors and contact centres"
    tell("GroundLine::readings", quantity, readings)
    tell("GroundLine::from_ahead", quantity, readings)
    names = np.array(ground)
    hold(
        "stand::GroundLine::from_ahead",
        against="NumPy SVD",
        quantity="tilt of the ground",
        off=names[:, 0],
        allowed=1e-8,
        unit="deg",
        why="an angle near 0 between unit vectors",
    )
    hold(
        "stand::GroundLine::from_ahead",
        against="NumPy SVD",
        quantity="residual of the ground",
        off=names[:, 1],
        **LENGTHS,
    )
    assert not names[:, 2].any()


def test_values_are_the_readings_in_their_order() -> None:
    numbers = np.random.default_rng(1).normal(size=(100, 6))
    found = [StandReadings(**dict(zip(NAMES, row, strict=True))) for row in numbers]
    hold(
        "stand::StandReadings::values",
        against="NumPy",
        quantity="numbers in their order",
        off=np.array([one.values() for one in found]) - numbers,
        allowed=0.0,
        unit="bits",
        why="exact",
    )


def one_by_one(here: Placed, moves: Matrix, pivot: Matrix) -> Placed:
    """Do one move after the other, along and about the stand's axes as they then lie.

    Of many stands at once: a row each.
    """
    turn, at = here.turn, here.at
    for axis, angle in zip(np.eye(3)[[2, 1, 0]], moves[:, :3].T, strict=True):
        held = at + turn.apply(pivot)
        # About the axis where it lies in the rig, through the pivot where it is.
        by = Rotation.from_rotvec(np.radians(angle)[:, None] * turn.apply(axis))
        turn, at = by * turn, held + by.apply(at - held)
    for axis, length in zip(np.eye(3), moves[:, 3:].T, strict=True):
        at = at + length[:, None] * turn.apply(axis)
    return Placed(turn, at)


def requirements(
    values: Vector, left_out: Matrix, along: str, reference: Any
) -> StandRequirements:
    """Require these values, but for some of which nothing is required."""
    required = [
        None if out else Required(value, 1.0, 1.0)
        for value, out in zip(values, left_out, strict=True)
    ]
    return StandRequirements(StandReadings(*required), line=along, reference=reference)


def test_moves_done_by_scipy_land() -> None:
    rng = np.random.default_rng(7)
    line = Placed(Rotation.random(random_state=rng), rng.uniform(-5e3, 5e3, 3))
    now, aim = (
        np.array([random_readings(rng) for _ in range(PLACEMENTS)]) for _ in range(2)
    )
    left_out = rng.random((PLACEMENTS, 6)) < 0.3
    pivot = rng.uniform(-1500, 1500, (PLACEMENTS, 3))
    here = built(line, now)
    poses = [Pose(*both) for both in zip(here.turn.as_matrix(), here.at, strict=True)]
    moves = [
        stand.moves(
            StandReadings(*row),
            requirements(target, out, "thrust_line", "front_axle"),
            pivot_mm=about,
        )
        for row, target, out, about in zip(now, aim, left_out, pivot, strict=True)
    ]
    amounts = np.array([[getattr(one, name) for name in MOVES] for one in moves])
    there = one_by_one(here, amounts, pivot)
    landed = read(line, there) - np.where(left_out, now, aim)
    landed[:, 3:] = wrapped(landed[:, 3:])
    tell("moves", f"{PLACEMENTS} stands moved one move after the other", landed)
    found = np.array(
        [
            stand.moved(pose, one, pivot_mm=about).matrix4()
            for pose, one, about in zip(poses, moves, pivot, strict=True)
        ]
    )
    turn = Rotation.from_matrix(found[:, :3, :3]).inv() * there.turn
    ended = np.hstack([found[:, :3, 3] - there.at, turn.as_rotvec(degrees=True)])
    tell("moved", f"{PLACEMENTS} stands moved one move after the other", ended)


def test_stands_by_their_targets_and_by_the_rig_that_rides_on_them() -> None:
    rng = np.random.default_rng(3)
    by_target, by_rig, noises = [], [], []
    for _ in range(1000):
        seen, mark = (
            Placed(Rotation.random(random_state=rng), rng.uniform(-4e3, 4e3, 3))
            for _ in range(2)
        )
        root = rng.normal(size=(6, 6)) * [0.01, 0.01, 0.01, 0.2, 0.2, 0.2]
        covariance = root.T @ root
        found = PlacedStand.from_target(
            seen.pose(), mark.pose(), PoseCovariance(tuple(map(tuple, covariance)))
        )
        expected = seen.then(mark.inverse())
        for list_, pose, true in (
            (by_target, found.rig_from_stand, expected),
            (by_rig, PlacedStand.from_rig(mark.pose()).rig_from_stand, mark.inverse()),
        ):
            at = placed(pose)
            turn = (at.turn.inv() * true.turn).as_rotvec(degrees=True)
            list_.append(np.concatenate([at.at - true.at, turn]))
        # Small turns and shifts of the target, and what they do to the stand.
        step = 1e-6
        columns = []
        for axis in np.eye(6) * step:
            nudged = Placed(
                Rotation.from_rotvec(axis[:3], degrees=True) * seen.turn,
                seen.at + axis[3:],
            ).then(mark.inverse())
            turn = (nudged.turn * expected.turn.inv()).as_rotvec(degrees=True)
            columns.append(np.concatenate([turn, nudged.at - expected.at]) / step)
        follows = np.array(columns).T
        assert isinstance(found.noise, PoseCovariance)
        carried = np.array(found.noise.covariance)
        scale = np.sqrt(np.diag(follows @ covariance @ follows.T))
        noises.append(
            (carried - follows @ covariance @ follows.T) / np.outer(scale, scale)
        )
    tell("PlacedStand::from_target", "poses", by_target)
    tell("PlacedStand::from_rig", "poses", by_rig)
    hold(
        "stand::PlacedStand::from_target",
        against=SCIPY,
        quantity="covariance by nudged poses, over its deviations",
        off=noises,
        allowed=1e-4,
        unit="1",
        why="differences of steps of 1e-6 at 1e4 mm",
    )


def test_the_line_of_a_car_that_is_followed() -> None:
    rng = np.random.default_rng(5)
    session = VirtualVehicle().session()
    arrays = session.to_arrays()
    tracker, readings = Tracker(session), []
    for frame in range(200):
        turn = Rotation.from_euler("zyx", rng.uniform(-1, 1, 3), degrees=True)
        sway = Placed(turn, rng.uniform(-20, 20, 3))
        poses = {
            wheel: sway.then(
                Placed(Rotation.from_matrix(matrix[:3, :3]), matrix[:3, 3])
            ).pose()
            for wheel, matrix in zip(
                WHEELS, np.reshape(arrays["ahead"], (4, 4, 4)), strict=True
            )
        }
        now = tracker.frame(frame / 100, poses)
        along, reference = choices(rng)
        wheels = {
            wheel: (
                np.array(getattr(now.alignment.wheels, wheel).centre_mm),
                np.array(getattr(now.alignment.wheels, wheel).spindle),
                getattr(now.alignment.wheels, wheel).rolling_radius_mm,
            )
            for wheel in WHEELS
        }
        line, _, _ = line_of(
            wheels, placed(now.rig_from_vehicle), None, along, reference
        )
        found = GroundLine.from_live(now, line=along, reference=reference)
        expected = random_readings(rng)
        readings.append(off(found.readings(built(line, expected).pose()), expected))
    tell("GroundLine::from_live", "stands before a car that is moved", readings)


NOISE = PoseNoise(0.005, 0.05)
OF_STAND = PoseNoise(0.01, 0.3)
DRAWS = 2000


def scattered(rng: np.random.Generator, matrices: Matrix, noise: PoseNoise) -> Matrix:
    """Turn and shift poses about and along the axes of the rig."""
    flat = matrices.reshape(-1, 4, 4).copy()
    turns = rng.normal(0, noise.rotation_deg, (len(flat), 3))
    flat[:, :3, :3] = (
        Rotation.from_rotvec(turns, degrees=True).as_matrix() @ flat[:, :3, :3]
    )
    flat[:, :3, 3] += rng.normal(0, noise.translation_mm, (len(flat), 3))
    return flat.reshape(matrices.shape)


def bare(car: VirtualVehicle, **more: Any) -> tuple[dict[str, Any], dict[str, Any]]:
    """A session without a sweep as arrays and keys."""
    arrays = car.session().to_arrays()
    keys = {
        "up": [0.0, 0.0, 1.0],
        "clamp_standoff_mm": 90.0,
        "pose_noise": NOISE,
        **more,
    }
    return {name: np.asarray(arrays[name]) for name in ("rolling", "ahead")}, keys


def test_sessions_and_uncertainties_against_trials() -> None:
    rng = np.random.default_rng(11)
    car = VirtualVehicle()
    for floor in (False, True):
        given = wa.session.InputUncertainty(
            clamp_standoff_mm=0.4, up_deg=0.01, runway_mm=0.8
        )
        arrays, keys = bare(car, input_uncertainty=given)
        session = wa.Session.from_arrays(**arrays, **keys)
        rig = Placed(Rotation.identity(), np.zeros(3))
        ground = floor_of(rng, rig) if floor else np.zeros((0, 3))
        line = placed(
            stand.assess(
                session, PlacedStand(rig.pose()), StandRequirements(), ground_mm=ground
            ).ground_line.rig_from_line
        )
        expected = np.array([2000.0, 50.0, 1300.0, 178.0, 1.0, -2.0])
        here = built(line, expected)
        found = stand.assess(
            session,
            PlacedStand(here.pose(), OF_STAND),
            StandRequirements(),
            ground_mm=ground,
        )
        tell(
            "assess",
            "stands placed on the line of a session",
            [off(found.readings, expected)],
        )
        assert found.standard_uncertainty is not None
        stated = np.array(found.standard_uncertainty.values())
        drawn = []
        for _ in range(DRAWS):
            tilt = Rotation.from_rotvec([*rng.normal(0, 0.01, 2), 0.0], degrees=True)
            again = wa.Session.from_arrays(
                rolling=scattered(rng, arrays["rolling"], NOISE),
                ahead=scattered(rng, arrays["ahead"], NOISE),
                **{
                    **keys,
                    "up": tilt.apply([0.0, 0.0, 1.0]),
                    "clamp_standoff_mm": dict(
                        zip(WHEELS, 90.0 + rng.normal(0, 0.4, 4), strict=True)
                    ),
                },
            )
            seen = scattered(rng, np.asarray(here.pose().matrix4()), OF_STAND)
            points = ground + rng.normal(0, 0.8, ground.shape)
            one = stand.assess(
                again,
                PlacedStand(Pose.from_matrix4(seen)),
                StandRequirements(),
                ground_mm=points,
            )
            drawn.append(off(one.readings, expected))
        deviation = np.std(drawn, axis=0, ddof=1)
        hold(
            "stand::assess",
            against="NumPy generator",
            quantity="standard uncertainties over deviations of draws, less 1",
            off=stated / deviation - 1,
            allowed=4.5 / np.sqrt(2 * DRAWS),
            unit="1",
            why="4.5 standard deviations of one of 2000 draws",
        )


DOCUMENT: dict[str, Any] = {
    "format": "alignment-stand/1",
    "note": "Invented.",
    "line": "centreline",
    "reference": {"point_mm": [1.0, -2.5, 1e-3]},
    "decision": {"rule": "guarded", "probability": 0.95},
    "required": {
        name: {"nominal": 0.1 * index, "minus": 1 / 3, "plus": 2.0}
        for index, name in enumerate(NAMES)
    },
}
BITS = {"allowed": 0.0, "unit": "bits", "why": "exact"}
NONE = {"allowed": 0.0, "unit": "1", "why": "exact"}


def spoilt() -> list[dict[str, Any]]:
    """The document with one member more, one less, or another at each place."""
    others: list[Any] = [None, 7, "text", [], {}, [1.0, 2.0], [1.0, 2.0, 3.0], True]
    found: list[dict[str, Any]] = []

    def walk(path: list[str], tree: dict[str, Any]) -> None:
        def changed(change: Any) -> None:
            document = copy.deepcopy(DOCUMENT)
            at = document
            for key in path:
                at = at[key]
            change(at)
            found.append(document)

        changed(lambda at: at.update(other=1))
        for key in tree:
            changed(lambda at, key=key: at.pop(key))
            for other in others:
                changed(lambda at, key=key, other=other: at.update({key: other}))
            if isinstance(tree[key], dict):
                walk([*path, key], tree[key])

    walk([], DOCUMENT)
    return found


def test_requirements_are_read_as_their_schema_says() -> None:
    schema = python_json.loads(json.stand_requirements_schema())
    Draft202012Validator.check_schema(schema)
    judge, wrong, refused = Draft202012Validator(schema), [], 0
    for document in spoilt():
        sound = judge.is_valid(document)
        refused += not sound
        try:
            json.stand_requirements_from_json(python_json.dumps(document))
        except wa.NotASpecificationError:
            wrong.append(sound)
        else:
            wrong.append(not sound)
    assert 0 < refused < len(wrong)
    for what in ("stand_requirements_from_json", "stand_requirements_schema"):
        hold(
            f"json::{what}",
            against="jsonschema",
            quantity="documents spoilt in one place that are judged otherwise",
            off=wrong,
            **NONE,
        )
    read_back = json.stand_requirements_from_json(python_json.dumps(DOCUMENT))
    written = python_json.loads(json.stand_requirements_to_json(read_back))
    hold(
        "json::stand_requirements_to_json",
        against="Python json",
        quantity="documents that read back otherwise",
        off=float(written != DOCUMENT),
        **BITS,
    )


def test_assessments_are_written_as_their_schema_says() -> None:
    schema = python_json.loads(json.stand_assessment_schema())
    Draft202012Validator.check_schema(schema)
    judge, faults, numbers = Draft202012Validator(schema), [], []
    session = VirtualVehicle(pose_noise=NOISE).session()
    here = Pose.from_rotation_vector_rad([0, 0, 0.02], [5000, 30, 1200])
    for noise in (None, OF_STAND):
        found = stand.assess(session, PlacedStand(here, noise), DOCUMENT)
        document = python_json.loads(json.stand_assessment_to_json(found))
        faults.append(len(list(judge.iter_errors(document))))
        numbers.append(
            [document["readings"][name] for name in NAMES]
            != list(found.readings.values())
        )
        less = [{k: v for k, v in document.items() if k != key} for key in document]
        faults += [judge.is_valid(one) for one in less]
    for what in ("stand_assessment_to_json", "stand_assessment_schema"):
        hold(
            f"json::{what}",
            against="jsonschema",
            quantity="faults, and results without a key that pass",
            off=np.array(faults, dtype=float),
            **NONE,
        )
    hold(
        "json::stand_assessment_to_json",
        against="Python json",
        quantity="readings that read back otherwise",
        off=np.array(numbers, dtype=float),
        **BITS,
    )
