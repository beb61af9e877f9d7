"""Poses and frames: SciPy, pytransform3d and transforms3d turn, average and fit alike.

What each library takes for a quaternion, a rotation vector or a matrix is its own; all
of them must make one rotation of one set of numbers.
"""

import math
from typing import Any

import numpy as np
import pytest
from pytransform3d import rotations as pr
from pytransform3d import transformations as pt
from scipy import linalg
from scipy.spatial.transform import RigidTransform, Rotation
from transforms3d import affines, axangles, quaternions
from wheel_alignment.datum import plane_through
from wheel_alignment.pose import Axes, Pose
from wheel_alignment.session import Session, up_in_rig

from ledger import hold

# A rotation matrix is worth a few units of the last digit of 1.
ROUNDING = {"allowed": 4e-15, "unit": "1", "why": "rounding of elements of 1"}
# Coordinates reach 10 m here: 2e-12 mm is one unit of their last digit.
ROUNDING_MM = {
    "allowed": 4e-12,
    "unit": "mm",
    "why": "rounding of coordinates of 1e4 mm",
}


def rng_of(name: str) -> np.random.Generator:
    return np.random.default_rng(list(name.encode()))


def angles(rng: np.random.Generator) -> np.ndarray:
    """Turns to try: ordinary ones, none, tiny ones, and those near half a turn."""
    special = [0.0, 1e-300, 1e-16, 1e-9, 1e-5, math.pi - 1e-9, math.pi - 1e-3]
    return np.concatenate([special, rng.uniform(0.0, math.pi, 200)])


def rotation_vectors(rng: np.random.Generator) -> np.ndarray:
    size = angles(rng)
    axes = rng.normal(size=(size.size, 3))
    return axes * (size / np.linalg.norm(axes, axis=1))[:, None]


def translations(rng: np.random.Generator, count: int) -> np.ndarray:
    return rng.uniform(-1e4, 1e4, (count, 3))


def matrix_of(pose: Pose) -> np.ndarray:
    return np.array(pose.rotation)


def told(what: str, quantity: str, off: dict[str, Any]) -> None:
    for against, deviations in off.items():
        hold(what, against=against, quantity=quantity, off=deviations, **ROUNDING)


def test_quaternions() -> None:
    rng = rng_of("quaternions")
    turns = Rotation.from_rotvec(rotation_vectors(rng))
    wxyz = turns.as_quat(scalar_first=True)
    wxyz *= np.where(rng.random(len(wxyz)) < 0.5, 1.0, -1.0)[:, None]
    at = translations(rng, len(wxyz))
    poses = [Pose.from_quaternion_wxyz(*pair) for pair in zip(wxyz, at, strict=True)]
    found = np.array([matrix_of(pose) for pose in poses])
    told(
        "pose::Pose::from_quaternion_wxyz",
        "matrix; no turn to half a turn, either sign",
        {
            "SciPy Rotation": found
            - Rotation.from_quat(wxyz, scalar_first=True).as_matrix(),
            "pytransform3d": found
            - [pr.matrix_from_quaternion(quaternion) for quaternion in wxyz],
            "transforms3d": found
            - [quaternions.quat2mat(quaternion) for quaternion in wxyz],
        },
    )
    assert np.array_equal([pose.translation_mm for pose in poses], at)


def test_rotation_vectors() -> None:
    rng = rng_of("rotation vectors")
    vectors = rotation_vectors(rng)
    at = translations(rng, len(vectors))
    poses = [
        Pose.from_rotation_vector_rad(*pair) for pair in zip(vectors, at, strict=True)
    ]
    found = np.array([matrix_of(pose) for pose in poses])
    sizes = np.linalg.norm(vectors, axis=1)
    told(
        "pose::Pose::from_rotation_vector_rad",
        "matrix; no turn to half a turn",
        {
            "SciPy Rotation": found - Rotation.from_rotvec(vectors).as_matrix(),
            "pytransform3d": found
            - [pr.matrix_from_compact_axis_angle(vector) for vector in vectors],
            "transforms3d": found[sizes > 0]
            - [
                axangles.axangle2mat(vector / size, size, is_normalized=True)
                for vector, size in zip(vectors, sizes, strict=True)
                if size > 0
            ],
        },
    )
    assert np.array_equal([pose.translation_mm for pose in poses], at)


def test_homogeneous_matrices() -> None:
    """A point of the target lies in the rig where each library puts it."""
    rng = rng_of("matrices")
    rotations = Rotation.from_rotvec(rotation_vectors(rng))
    at = translations(rng, len(rotations))
    points = translations(rng, len(rotations))
    theirs = {
        "SciPy RigidTransform": RigidTransform.from_components(at, rotations).apply(
            points
        ),
        "pytransform3d": [
            pt.transform(pt.transform_from(r, t), np.append(p, 1.0))[:3]
            for r, t, p in zip(rotations.as_matrix(), at, points, strict=True)
        ],
        "transforms3d": [
            (affines.compose(t, r, np.ones(3)) @ np.append(p, 1.0))[:3]
            for r, t, p in zip(rotations.as_matrix(), at, points, strict=True)
        ],
    }
    matrices = RigidTransform.from_components(at, rotations).as_matrix()
    for name, written in {
        "from_matrix4": matrices,
        "from_matrix4_row_major": matrices.reshape(-1, 16),
        "from_matrix4_column_major": matrices.transpose(0, 2, 1).reshape(-1, 16),
    }.items():
        poses = [getattr(Pose, name)(matrix) for matrix in written]
        found = [
            matrix_of(pose) @ point + pose.translation_mm
            for pose, point in zip(poses, points, strict=True)
        ]
        for against, expected in theirs.items():
            hold(
                f"pose::Pose::{name}",
                against=against,
                quantity="points carried to the rig",
                off=np.subtract(found, expected),
                **ROUNDING_MM | {"allowed": 8e-12},
            )


# Where forward, left and up point in each source, by its own axes.
SOURCES = {
    Axes.LEFT_HANDED_Y_RIGHT: ([1, 0, 0], [0, -1, 0], [0, 0, 1]),
    Axes.LEFT_HANDED_Y_UP: ([0, 0, 1], [-1, 0, 0], [0, 1, 0]),
    Axes.RIGHT_HANDED_Y_UP: ([0, 0, -1], [-1, 0, 0], [0, 1, 0]),
    Axes.Z_DOWN: ([1, 0, 0], [0, -1, 0], [0, 0, -1]),
}


@pytest.mark.parametrize("axes", SOURCES)
def test_axes_of_other_sources(axes: Axes) -> None:
    """A turn is a pseudovector: a source of the other hand turns the other way."""
    rng = rng_of(axes.value)
    here = np.array(SOURCES[axes])
    vectors = rotation_vectors(rng)
    at = translations(rng, len(vectors))
    written = Rotation.from_rotvec(vectors).as_matrix()
    expected = Rotation.from_rotvec(round(linalg.det(here)) * vectors @ here.T)
    make = getattr(Pose, f"from_{axes.value}")
    poses = [make(*pair) for pair in zip(written, at, strict=True)]
    hold(
        f"pose::Pose::from_{axes.value}",
        against="SciPy Rotation",
        quantity="matrix, the turn mapped as a pseudovector",
        off=[matrix_of(pose) for pose in poses] - expected.as_matrix(),
        **ROUNDING,
    )
    hold(
        "pose::Axes::direction",
        against="SciPy Rotation",
        quantity="directions carried by mapped turns",
        off=[
            matrix_of(pose) @ axes.direction(direction)
            - axes.direction(rotation @ direction)
            for pose, rotation, direction in zip(
                poses, written, rng.uniform(-1, 1, at.shape), strict=True
            )
        ],
        **ROUNDING,
    )
    hold(
        "pose::Axes::direction",
        against="numpy",
        quantity="coordinates along forward, left and up of each source",
        off=[axes.direction(direction) for direction in at] - at @ here.T,
        allowed=0.0,
        unit="1",
        why="signs and order alone change",
    )
    assert np.array_equal([pose.translation_mm for pose in poses], at @ here.T)


def test_means_of_frames() -> None:
    rng = rng_of("means")
    turned, shifted, spread_deg, spread_mm = [], [], [], []
    for count in [2, 3, 4, 7, 30] * 20:
        middle = Rotation.random(rng=rng)
        scatter = Rotation.from_rotvec(rng.normal(0.0, rng.uniform(0, 0.4), (count, 3)))
        frames, at = scatter * middle, translations(rng, count)
        given = [Pose(r, t) for r, t in zip(frames.as_matrix(), at, strict=True)]
        mean, spread = Pose.mean_and_spread(given)
        assert mean == Pose.mean(given)
        expected = frames.mean()
        turned.append(matrix_of(mean) - expected.as_matrix())
        shifted.append(mean.translation_mm - at.mean(axis=0))
        assert spread is not None
        assert spread.frames == count
        # One standard deviation about each of three axes, n - 1 in the denominator.
        about = (frames * expected.inv()).magnitude()
        per_axis = np.degrees(math.sqrt((about**2).sum() / (3 * (count - 1))))
        spread_deg.append(spread.rotation_deg - per_axis)
        spread_mm.append(
            spread.translation_mm - math.sqrt(at.var(axis=0, ddof=1).mean())
        )
    for what in ("pose::Pose::mean", "pose::Pose::mean_and_spread"):
        hold(
            what,
            against="SciPy Rotation.mean",
            quantity="matrix; 2 to 30 frames up to 0.4 rad apart",
            off=np.concatenate([one.ravel() for one in turned]),
            **ROUNDING,
        )
        hold(
            what,
            against="numpy mean",
            quantity="translation",
            off=np.concatenate(shifted),
            **ROUNDING_MM,
        )
    hold(
        "pose::Pose::mean_and_spread",
        against="SciPy Rotation.magnitude",
        quantity="scatter of the rotation about each axis",
        off=spread_deg,
        allowed=2e-13,
        unit="deg",
        why="rounding of matrices, 1e-15 rad each",
    )
    hold(
        "pose::Pose::mean_and_spread",
        against="numpy var",
        quantity="scatter of the translation along each axis",
        off=spread_mm,
        **ROUNDING_MM | {"allowed": 8e-12},
    )


def test_documented_mean_of_four_rotations() -> None:
    """SciPy's documented example of Rotation.mean: extrinsic zyx angles in degrees."""
    four = Rotation.from_euler(
        "zyx", [[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]], degrees=True
    )
    mean = Pose.mean([Pose(matrix, [0, 0, 0]) for matrix in four.as_matrix()])
    found = Rotation.from_matrix(mean.rotation).as_euler("zyx", degrees=True)
    hold(
        "pose::Pose::mean",
        against="SciPy's documented example of Rotation.mean",
        quantity="zyx angles",
        off=found - [0.24945696, 0.25054542, 0.24945696],
        allowed=5e-9,
        unit="deg",
        why="half a unit of the last printed digit",
    )


def test_rotation_taken_to_the_nearest() -> None:
    rng = rng_of("nearest")
    off = []
    for _ in range(200):
        rotation = Rotation.random(rng=rng).as_matrix()
        rotation += rng.uniform(-2e-7, 2e-7, (3, 3))
        nearest = Pose(rotation, [1, 2, 3]).rig_from_target()
        assert nearest.translation_mm == (1, 2, 3)
        off.append(matrix_of(nearest) - linalg.polar(rotation)[0])
    hold(
        "pose::Pose::rig_from_target",
        against="scipy.linalg.polar",
        quantity="nearest rotation of matrices 2e-7 off",
        off=off,
        allowed=1e-14,
        unit="1",
        why="rounding of a decomposition into singular values that are nearly equal",
    )


def test_up() -> None:
    rng = rng_of("up")
    given = rng.normal(size=(200, 3))
    given /= np.linalg.norm(given, axis=1, keepdims=True)
    given *= rng.uniform(1 - 9e-7, 1 + 9e-7, (200, 1))
    hold(
        "session::up_in_rig",
        against="pytransform3d",
        quantity="unit vector; lengths up to 9e-7 off",
        off=[up_in_rig(up) - pr.norm_vector(up) for up in given],
        **ROUNDING | {"allowed": 4e-16},
    )


def test_plane_through_points() -> None:
    rng = rng_of("planes")
    turned, through, left_over = [], [], []
    for count in [3, 4, 4, 4, 5, 20] * 30:
        flat = rng.uniform(-300, 300, (count, 3)) * [1, 1, rng.choice([0, 1e-3, 0.05])]
        flat[:3] += [[0, 0, 0], [2600, 0, 0], [0, 1500, 0]]  # in no line
        points = Rotation.random(rng=rng).apply(flat) + rng.uniform(-4e3, 4e3, 3)
        plane = plane_through(points)
        centroid = points.mean(axis=0)
        _, sizes, axes = np.linalg.svd(points - centroid)
        # By how much the normals differ, and how well the points tell: the squares of
        # two nearly equal sizes are told apart as badly as they are near.
        square = np.square(np.append(sizes, 0.0)[:3])
        told_apart = (square[1] - square[2]) / square[0]
        across = np.linalg.norm(np.cross(plane.normal, axes[2]))
        turned.append(across * told_apart)
        through.append(plane.point_mm - centroid)
        residual = math.sqrt(square[2] / count) if count > 3 else 0.0
        left_over.append(plane.residual_mm - residual)
    hold(
        "datum::plane_through",
        against="numpy.linalg.svd",
        quantity="normal, times the part of λ₁ by which λ₂ and λ₃ differ",
        off=turned,
        allowed=2e-14,
        unit="1",
        why="condition of the eigenvector of a sum of squares",
    )
    hold(
        "datum::plane_through",
        against="numpy mean",
        quantity="point",
        off=np.concatenate(through),
        **ROUNDING_MM,
    )
    hold(
        "datum::plane_through",
        against="numpy.linalg.svd",
        quantity="root mean square of the distances",
        off=left_over,
        allowed=1e-4,
        unit="mm",
        why="root of a sum of squares: rounding of 1e7 mm² in it",
    )


def test_frames_of_a_session() -> None:
    """Frames told as quaternions by SciPy, read back one by one."""
    rng = rng_of("frames")
    wheels = ("fl", "fr", "rl", "rr")
    counts = dict(zip(wheels, (0, 1, 2, 5), strict=True))
    turns = {wheel: Rotation.random(counts[wheel], rng=rng) for wheel in wheels}
    at = {wheel: translations(rng, counts[wheel]) for wheel in wheels}
    station = {
        wheel: [
            {"quaternion_wxyz": q.tolist(), "translation_mm": t.tolist()}
            for q, t in zip(
                turns[wheel].as_quat(scalar_first=True), at[wheel], strict=True
            )
        ]
        for wheel in wheels
    }
    session = Session.from_json(
        {
            "format": "alignment-session/1",
            "up": [0, 0, 1],
            "clamp_standoff_mm": dict.fromkeys(wheels, 90),
            "rolling": [],
            "ahead": station | {"fl": None, "fr": station["fr"][0]},
        }
    )
    off = []
    for wheel in wheels:
        frames = getattr(session.ahead, wheel) or ()
        assert len(frames) == counts[wheel]
        for frame, matrix, place in zip(
            frames, turns[wheel].as_matrix(), at[wheel], strict=True
        ):
            assert np.array_equal(frame.translation_mm, place)
            off.append(matrix_of(frame) - matrix)
    hold(
        "session::Sighting::frames",
        against="SciPy Rotation",
        quantity="each of none, one and several frames",
        off=off,
        **ROUNDING,
    )
