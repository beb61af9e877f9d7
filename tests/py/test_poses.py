"""Poses in every form: the same bits from each, and what no pose is."""

from __future__ import annotations

import copy
import json
import pickle
import re
from typing import Any

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation
from wheel_alignment import (
    AngleOutOfRangeError,
    NotARotationError,
    NotFiniteError,
    NotUnitLengthError,
    Pose,
    ReflectionError,
    WheelNotSeenError,
)
from wheel_alignment.pose import ROTATION_TOLERANCE, Axes, as_matrix4

Array = NDArray[Any]

RNG = np.random.default_rng(5)
VECTORS = RNG.normal(size=(5, 3))
QUATERNIONS = Rotation.from_rotvec(VECTORS).as_quat(scalar_first=True)
PLACES = RNG.normal(scale=1000.0, size=(5, 3))


def matrix_of(pose: Pose) -> Array:
    """The matrix of a pose, without the package's help."""
    matrix = np.eye(4)
    matrix[:3, :3] = pose.rotation
    matrix[:3, 3] = pose.translation_mm
    return matrix


def same(one: Array, other: Array) -> bool:
    """Whether two arrays have the same bits, shape and type."""
    alike = one.shape == other.shape and one.dtype == other.dtype
    return alike and one.tobytes() == other.tobytes()


def test_opencv_turns_the_rotation_vector_into_the_same_matrix() -> None:
    for vector, place in zip(VECTORS, PLACES, strict=True):
        rvec, tvec = vector.reshape(3, 1), place.reshape(3, 1)
        expected, _ = cv2.Rodrigues(rvec)
        pose = Pose.from_rotation_vector_rad(rvec, tvec)
        np.testing.assert_allclose(pose.rotation, expected, rtol=0, atol=1e-15)
        assert pose.translation_mm == tuple(place)
        assert same(as_matrix4((rvec, tvec)), pose.matrix4())


def test_opencvs_own_solver_is_read_as_it_is() -> None:
    board = np.array(
        [[x, y, 0.0] for x in (0.0, 30.0, 60.0) for y in (0.0, 20.0, 40.0)]
    )
    camera = np.array([[900.0, 0, 320], [0, 900, 240], [0, 0, 1]])
    rvec, tvec = np.array([[0.1], [-0.2], [0.3]]), np.array([[5.0], [7.0], [400.0]])
    image, _ = cv2.projectPoints(board, rvec, tvec, camera, None)
    found, *both = cv2.solvePnP(board, image, camera, None)
    assert found
    matrix = as_matrix4((both[0], both[1]))
    np.testing.assert_allclose(
        matrix, matrix_of(Pose.from_rotation_vector_rad(rvec, tvec)), atol=1e-4
    )


def test_scipys_quaternions_are_read_with_w_first() -> None:
    expected = Rotation.from_quat(QUATERNIONS, scalar_first=True).as_matrix()
    poses = as_matrix4({"quaternion_wxyz": QUATERNIONS, "translation_mm": PLACES})
    np.testing.assert_allclose(poses[:, :3, :3], expected, rtol=0, atol=1e-15)
    one = Pose.from_quaternion_wxyz(QUATERNIONS[2], PLACES[2])
    assert same(one.matrix4(), poses[2])


def test_scipys_rotations_are_read_alone_and_in_stacks() -> None:
    rotations = Rotation.from_rotvec(VECTORS)
    stack = as_matrix4((rotations, PLACES))
    assert same(np.ascontiguousarray(stack[:, :3, :3]), rotations.as_matrix())
    assert same(as_matrix4((rotations[1], PLACES[1])), stack[1])


def test_every_form_of_a_stack_gives_the_bits_of_the_single_poses() -> None:
    singles = np.stack(
        [
            Pose.from_rotation_vector_rad(v, p).matrix4()
            for v, p in zip(VECTORS, PLACES, strict=True)
        ]
    )
    rvecs, tvecs = VECTORS[:, :, None], PLACES[:, :, None]
    forms: list[Any] = [
        (rvecs, tvecs),
        (rvecs, PLACES),
        (VECTORS[:, None, :], PLACES[:, None, :]),
        {"rotation_vector_rad": VECTORS, "translation_mm": PLACES},
        {"rotation_vector_rad": VECTORS.tolist(), "translation_mm": PLACES.tolist()},
        [(v, p) for v, p in zip(VECTORS, PLACES, strict=True)],
        tuple((v, p) for v, p in zip(rvecs, tvecs, strict=True)),
        [
            {"rotation_vector_rad": v, "translation_mm": p}
            for v, p in zip(VECTORS, PLACES, strict=True)
        ],
        [
            Pose.from_rotation_vector_rad(v, p)
            for v, p in zip(VECTORS, PLACES, strict=True)
        ],
        singles,
        singles[:, :3],
        singles.tolist(),
        (singles[:, :3, :3], singles[:, :3, 3]),
        {"rotation": singles[:, :3, :3], "translation_mm": singles[:, :3, 3]},
        singles.astype(">f8"),
        singles[::-1].copy()[::-1],
        np.asfortranarray(singles),
    ]
    for form in forms:
        assert same(np.ascontiguousarray(as_matrix4(form), np.float64), singles)
    grid = as_matrix4((rvecs.reshape(1, 5, 3, 1), tvecs.reshape(1, 5, 3, 1)))
    assert same(grid, singles[None])


def test_three_rotation_vectors_are_no_matrix_and_three_by_three_is_no_stack() -> None:
    three = VECTORS[:3]
    with pytest.raises(ValueError, match=r"shape \(3,\), not \(3, 3\)"):
        as_matrix4((three, PLACES[:3]))
    assert as_matrix4((three[:, :, None], PLACES[:3])).shape == (3, 4, 4)
    with pytest.raises(ValueError, match=r"stack of rotation vectors is \(…, 3, 1\)"):
        as_matrix4((VECTORS, PLACES))


def test_single_precision_and_whole_numbers_are_widened() -> None:
    single = np.eye(4, dtype=np.float32)
    single[0, 3] = 0.1
    assert as_matrix4(single)[0, 3] == float(np.float32(0.1))
    assert as_matrix4(np.eye(4, dtype=np.int8)).dtype == np.float64


def test_what_was_not_seen_is_nan() -> None:
    assert np.isnan(as_matrix4(None)).all()
    stack = as_matrix4([Pose(np.eye(3), [1, 2, 3]), None])
    assert np.isnan(stack[1]).all()
    assert not np.isnan(stack[0]).any()
    unseen = np.full((2, 3, 1), np.nan)
    assert np.isnan(as_matrix4((unseen, unseen))).all()
    assert np.isnan(as_matrix4(np.full((2, 3, 4), np.nan))).all()


@pytest.mark.parametrize("axes", Axes)
def test_axes_of_stacks_are_those_of_the_constructors(axes: Axes) -> None:
    rotations = Rotation.from_rotvec(VECTORS).as_matrix()
    make = getattr(Pose, f"from_{axes.value}")
    expected = np.stack(
        [make(r, p).matrix4() for r, p in zip(rotations, PLACES, strict=True)]
    )
    assert same(as_matrix4((rotations, PLACES), axes=axes), expected)
    assert same(as_matrix4((rotations, PLACES), axes=axes.value), expected)
    up = axes.direction(PLACES[0])
    np.testing.assert_array_equal(up, make(np.eye(3), PLACES[0]).translation_mm)


def test_a_pose_is_a_value() -> None:
    pose = Pose.from_quaternion_wxyz(QUATERNIONS[0], PLACES[0])
    again = pickle.loads(pickle.dumps(pose))
    assert again == pose
    assert hash(again) == hash(pose)
    assert copy.deepcopy(pose) == pose
    assert eval(repr(pose)) == pose
    assert {pose, again} == {pose}
    assert pose != Pose.from_quaternion_wxyz(QUATERNIONS[1], PLACES[0])
    assert "<table" in pose._repr_html_()
    with pytest.raises(AttributeError):
        pose.translation_mm = (0.0, 0.0, 0.0)  # type: ignore[misc]


def test_matrices_read_alike_in_both_orders() -> None:
    matrix = Pose.from_rotation_vector_rad(VECTORS[0], PLACES[0]).matrix4()
    expected = Pose.from_matrix4(matrix)
    assert Pose.from_matrix4_row_major(matrix.ravel()) == expected
    assert Pose.from_matrix4_column_major(matrix.T.ravel()) == expected
    with pytest.raises(NotARotationError):
        Pose.from_matrix4_column_major(matrix.ravel())


def test_the_mean_is_scipys() -> None:
    tight = Rotation.from_rotvec(VECTORS[0] + 0.01 * VECTORS)
    mean, spread = Pose.mean_and_spread((tight, PLACES))
    np.testing.assert_allclose(mean.rotation, tight.mean().as_matrix(), atol=1e-12)
    np.testing.assert_allclose(mean.translation_mm, PLACES.mean(axis=0))
    assert spread is not None
    assert spread.frames == 5
    alone, none = Pose.mean_and_spread([mean])
    assert (alone, none) == (mean, None)
    with pytest.raises(WheelNotSeenError):
        Pose.mean([])


def test_faults_of_one_pose_are_the_cores() -> None:
    with pytest.raises(NotUnitLengthError) as caught:
        Pose.from_quaternion_wxyz([2, 0, 0, 0], [0, 0, 0])
    assert caught.value.value == 2.0
    with pytest.raises(AngleOutOfRangeError):
        Pose.from_rotation_vector_rad([0, 0, 180], [0, 0, 0])
    with pytest.raises(NotFiniteError):
        Pose.from_rotation_vector_rad([np.nan] * 3, [np.nan] * 3)
    with pytest.raises(ReflectionError):
        Pose(np.diag([1, -1, 1]), [0, 0, 0]).rig_from_target()
    with pytest.raises(NotARotationError):
        Pose(2 * np.eye(3), [0, 0, 0]).rig_from_target()
    assert ROTATION_TOLERANCE == 1e-6


def test_a_fault_in_a_stack_says_which_pose() -> None:
    quaternions = QUATERNIONS[:4].reshape(2, 2, 4).copy()
    quaternions[1, 0] *= 1.1
    places = PLACES[:4].reshape(2, 2, 3)
    with pytest.raises(NotUnitLengthError) as caught:
        as_matrix4({"quaternion_wxyz": quaternions, "translation_mm": places})
    assert caught.value.index == (1, 0)
    matrices = np.broadcast_to(np.eye(4), (3, 2, 4, 4)).copy()
    matrices[0, 1] = np.nan
    matrices[2, 1, 3] = [0, 0, 0, 2]
    with pytest.raises(NotARotationError) as caught:
        as_matrix4(matrices)
    assert caught.value.index == (2, 1)
    vectors = VECTORS.copy()
    vectors[3, 1] = np.inf
    with pytest.raises(NotFiniteError) as caught:
        as_matrix4((vectors[:, :, None], PLACES))
    assert caught.value.index == (3,)


@pytest.mark.parametrize(
    ("hostile", "kind", "words"),
    [
        (np.eye(4, dtype=complex), TypeError, "complex128.*(4, 4)"),
        (np.eye(4, dtype=bool), TypeError, "bool.*(4, 4)"),
        (np.array([["a"] * 4] * 4), TypeError, "<U1.*(4, 4)"),
        (np.array([[object()] * 4] * 4), TypeError, "object.*(4, 4)"),
        (np.zeros((4, 4), "datetime64[s]"), TypeError, "datetime64"),
        (np.zeros((3, 5)), ValueError, "(…, 4, 4).*(3, 5).*float64"),
        (np.zeros(16), ValueError, "(16,)"),
        (np.zeros((0,)), ValueError, "(0,)"),
        ([], ValueError, "(0,)"),
        ([[1, 2], [3]], TypeError, "rows of equal length"),
        (object(), TypeError, "object"),
        ("pose", TypeError, "U4"),
        (7, ValueError, "()"),
        ((np.eye(3), [0, 0]), ValueError, "(3,).*(2,)"),
        ((np.eye(3), [[0, 0, 0]] * 2), ValueError, "(2, 3)"),
        ((np.zeros(4), [0, 0, 0]), ValueError, "quaternion"),
        ((np.zeros((2, 4)), np.zeros((2, 3))), ValueError, "quaternion"),
        ((np.eye(4), np.eye(4)), ValueError, "(4, 4)"),
        ((Pose(np.eye(3), [0] * 3), Pose(np.eye(3), [0] * 3)), TypeError, "a list"),
        (Rotation.identity(), TypeError, "translation"),
        ({"rotation": np.eye(3)}, ValueError, "translation_mm"),
        ({"translation_mm": [0, 0, 0]}, ValueError, "exactly one"),
        (
            {
                "rotation": np.eye(3),
                "quaternion_wxyz": [1, 0, 0, 0],
                "translation_mm": [0, 0, 0],
            },
            ValueError,
            "exactly one",
        ),
        (
            {"rotation": np.eye(3), "translation_mm": [0, 0, 0], "colour": 1},
            ValueError,
            "colour",
        ),
        ({"rotation": np.eye(4), "translation_mm": [0, 0, 0]}, ValueError, "(…, 3, 3)"),
        ([Pose(np.eye(3), [0] * 3), np.stack([np.eye(4)] * 2)], ValueError, "shapes"),
    ],
)
def test_what_is_no_pose_is_refused_with_what_was_found(
    hostile: Any, kind: type[Exception], words: str
) -> None:
    with pytest.raises(kind) as caught:
        as_matrix4(hostile)
    pattern = ".*".join(map(re.escape, words.split(".*")))
    assert re.search(pattern, str(caught.value)), str(caught.value)


@pytest.mark.parametrize(
    "hostile",
    [None, "abc", [1, 2], [1, 2, 3, 4], [1, 2, "3"], [1, 2, True], 5, [[1, 2, 3]]],
)
def test_a_vector_has_three_numbers(hostile: Any) -> None:
    with pytest.raises((TypeError, ValueError), match="translation_mm"):
        Pose.from_quaternion_wxyz([1, 0, 0, 0], hostile)


def test_an_empty_stack_stays_one() -> None:
    assert as_matrix4(np.zeros((0, 4, 4))).shape == (0, 4, 4)
    assert as_matrix4((np.zeros((0, 3, 1)), np.zeros((0, 3)))).shape == (0, 4, 4)


def test_the_json_reads_a_pose_to_the_same_bits(session: dict[str, Any]) -> None:
    import wheel_alignment as wa

    form = {"quaternion_wxyz": QUATERNIONS[0].tolist(), "translation_mm": [1, 2, 3]}
    session["ahead"]["fl"] = form
    text = json.loads(wa.Session.from_json(session).to_json())["ahead"]["fl"]
    pose = Pose(text["rotation"], text["translation_mm"])
    assert same(pose.matrix4(), as_matrix4(form))
