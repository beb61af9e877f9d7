"""Poses: where a target is and how it is turned, in every form of camera libraries."""

from __future__ import annotations

import enum
import struct
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, TypeAlias, Union, cast

from wheel_alignment import _arrays, _native
from wheel_alignment._values import Value, Vector
from wheel_alignment.error import AlignmentError

if TYPE_CHECKING:
    from numpy.typing import ArrayLike
    from typing_extensions import Self

    from wheel_alignment._types import Array as Floats


PoseLike: TypeAlias = Union[
    "Pose",
    "ArrayLike",
    Mapping[str, "ArrayLike"],
    tuple[object, "ArrayLike"],
    Sequence["PoseLike | None"],
]
"""A pose, or a stack of them, in any form of `as_matrix4`."""

ROTATION_TOLERANCE: Final[float] = 1e-6
"""How far RᵀR may differ from the identity before a matrix is refused as a rotation."""

UNIT_LENGTH_TOLERANCE: Final[float] = 1e-6
"""How far the length of a unit vector or quaternion may differ from 1."""

MAX_COORDINATE_MM: Final[float] = 1e6
"""The greatest coordinate of a pose, mm: a kilometre is a wrong unit."""

_FLAT = struct.Struct("<16d")
_FORMS = ("rotation", "quaternion_wxyz", "rotation_vector_rad")


@dataclass(frozen=True, slots=True, eq=False)
class Spread(Value):
    """How much the frames of one station scatter about their mean.

    Attributes
    ----------
    frames : int
        How many frames there were.
    rotation_deg : float
        Of the rotation, one standard deviation of a single frame about each axis,
        degrees.
    translation_mm : float
        Of the translation, one standard deviation of a single frame along each axis,
        mm.
    """

    frames: int
    rotation_deg: float
    translation_mm: float


class Axes(enum.Enum):
    """The axes of a source that are not X forward, Y left, Z up.

    `as_matrix4` takes poses of such a source, and each has its constructor of `Pose`.

    Examples
    --------
    >>> from wheel_alignment.pose import Axes
    >>> Axes.LEFT_HANDED_Y_UP.direction([0, 1, 0])
    (0.0, 0.0, 1.0)
    >>> Axes("z_down").direction([0, 0, -1])
    (0.0, 0.0, 1.0)
    """

    LEFT_HANDED_Y_RIGHT = "left_handed_y_right"
    """Left-handed, X forward, Y right, Z up."""
    LEFT_HANDED_Y_UP = "left_handed_y_up"
    """Left-handed, X right, Y up, Z forward, the custom of game engines."""
    RIGHT_HANDED_Y_UP = "right_handed_y_up"
    """Right-handed, X right, Y up, Z backward."""
    Z_DOWN = "z_down"
    """Right-handed, X forward, Y right, Z down (SAE J670)."""

    def direction(self, direction: ArrayLike) -> Vector:
        """Return a direction of the source, such as ``up``, in X forward, Y left, Z up.

        Its length stays.
        """
        x, y, z = _arrays.three(direction, "direction")
        x, y, z = _native.direction_from(self.value, (x, y, z))
        return x + 0.0, y + 0.0, z + 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Pose(Value):
    """The pose of a target in the rig frame, ``rig_from_target``.

    A point p of the target lies at R·p + t in the rig. Plain numbers, checked when they
    are used. `as_matrix4` makes one form of all the others, also for stacks of poses.

    Parameters
    ----------
    rotation : array-like of shape (3, 3)
        R, row by row: its columns are the target's axes seen in the rig frame.
    translation_mm : array-like of 3 numbers
        t, the target's origin in the rig frame, mm.

    Attributes
    ----------
    rotation : tuple of 3 tuples of 3 floats
        R, row by row.
    translation_mm : tuple of 3 floats
        t, mm.

    Examples
    --------
    >>> import math
    >>> from wheel_alignment import Pose
    >>> pose = Pose.from_rotation_vector_rad([0, 0, math.pi / 2], [10, 20, 30])
    >>> pose.translation_mm
    (10.0, 20.0, 30.0)
    >>> pose.matrix4().round(6) + 0.0
    array([[ 0., -1.,  0., 10.],
           [ 1.,  0.,  0., 20.],
           [ 0.,  0.,  1., 30.],
           [ 0.,  0.,  0.,  1.]])
    """

    rotation: tuple[Vector, Vector, Vector]
    translation_mm: Vector

    def __post_init__(self) -> None:
        """Make plain tuples of whatever holds the numbers."""
        rows = _arrays.rows(self.rotation, "rotation")
        if len(rows) != 3:
            raise ValueError(
                f"rotation: 3 rows of 3 numbers are needed, not {len(rows)}"
            )
        a, b, c = (_arrays.three(row, "rotation") for row in rows)
        object.__setattr__(self, "rotation", (a, b, c))
        translation = _arrays.three(self.translation_mm, "translation_mm")
        object.__setattr__(self, "translation_mm", translation)

    @classmethod
    def from_quaternion_wxyz(
        cls, quaternion_wxyz: ArrayLike, translation_mm: ArrayLike
    ) -> Self:
        """Return the pose of a unit quaternion, w first.

        Parameters
        ----------
        quaternion_wxyz : array-like of 4 numbers
            w, x, y, z. Within 1e-6 of length 1 it is scaled to length 1.
        translation_mm : array-like of 3 numbers
            The target's origin in the rig frame, mm.

        Raises
        ------
        NotUnitLengthError
            The quaternion is further from length 1.
        NotFiniteError
            A number is NaN or infinite.

        Examples
        --------
        >>> from wheel_alignment import Pose
        >>> pose = Pose.from_quaternion_wxyz([0.5**0.5, 0, 0, 0.5**0.5], [0, 0, 0])
        >>> round(pose.rotation[1][0], 12)  # x turns to y
        1.0
        """
        quaternion = _arrays.numbers(quaternion_wxyz, 4, "quaternion_wxyz")
        translation = _arrays.three(translation_mm, "translation_mm")
        return cls._made("quaternion_wxyz", quaternion, translation)

    @classmethod
    def from_rotation_vector_rad(
        cls, rotation_vector_rad: ArrayLike, translation_mm: ArrayLike
    ) -> Self:
        """Return the pose of a rotation vector: its length is the angle in radians.

        This is the pair ``rvec, tvec`` of OpenCV, in any of its shapes, if the board's
        unit was mm.

        Parameters
        ----------
        rotation_vector_rad : array-like of 3 numbers
            Axis times angle, radians; also of shape (3, 1) or (1, 3).
        translation_mm : array-like of 3 numbers
            The target's origin in the rig frame, mm; also of shape (3, 1) or (1, 3).

        Raises
        ------
        AngleOutOfRangeError
            Longer than ten turns: not radians.
        NotFiniteError
            A number is NaN or infinite.

        Examples
        --------
        >>> import math
        >>> from wheel_alignment import Pose
        >>> pose = Pose.from_rotation_vector_rad([0, 0, math.pi / 2], [0, 0, 0])
        >>> round(pose.rotation[1][0], 12)  # x turns to y
        1.0
        """
        vector = _arrays.three(rotation_vector_rad, "rotation_vector_rad")
        translation = _arrays.three(translation_mm, "translation_mm")
        return cls._made("rotation_vector_rad", vector, translation)

    @classmethod
    def from_matrix4(cls, matrix: ArrayLike) -> Self:
        """Return the pose of a homogeneous 4×4 matrix, row by row.

        Parameters
        ----------
        matrix : array-like of shape (4, 4)
            R and t, mm, in the first three rows, 0 0 0 1 in the last.

        Raises
        ------
        NotARotationError
            The last row is another: the matrix may be column-major.
        NotFiniteError
            A number of the last row is NaN or infinite.

        Examples
        --------
        >>> from wheel_alignment import Pose
        >>> rows = [[1, 0, 0, 10], [0, 1, 0, 20], [0, 0, 1, 30], [0, 0, 0, 1]]
        >>> Pose.from_matrix4(rows).translation_mm
        (10.0, 20.0, 30.0)
        """
        rows = _arrays.rows(matrix, "matrix")
        if [len(row) for row in rows] != [4] * 4:
            raise ValueError(
                "matrix: 4 rows of 4 numbers are needed, not rows of "
                f"{[len(row) for row in rows]}"
            )
        return cls._made("matrix", [v for row in rows for v in row], ())

    @classmethod
    def from_matrix4_row_major(cls, matrix: ArrayLike) -> Self:
        """Return the pose of a flat homogeneous 4×4 matrix, row after row.

        Parameters
        ----------
        matrix : array-like of 16 numbers
            The translation, mm, stands at 3, 7 and 11.

        Raises
        ------
        NotARotationError, NotFiniteError
            As `from_matrix4`. A matrix in the other order is refused for its
            translation; one without translation cannot be told from its inverse.

        Examples
        --------
        >>> from wheel_alignment import Pose
        >>> flat = [1, 0, 0, 10, 0, 1, 0, 20, 0, 0, 1, 30, 0, 0, 0, 1]
        >>> Pose.from_matrix4_row_major(flat).translation_mm
        (10.0, 20.0, 30.0)
        """
        return cls._made("matrix", _arrays.numbers(matrix, 16, "matrix"), ())

    @classmethod
    def from_matrix4_column_major(cls, matrix: ArrayLike) -> Self:
        """Return the pose of a flat homogeneous 4×4 matrix, column after column.

        Graphics libraries store it so.

        Parameters
        ----------
        matrix : array-like of 16 numbers
            The translation, mm, stands at 12, 13 and 14.

        Raises
        ------
        NotARotationError, NotFiniteError
            As `from_matrix4_row_major`.

        Examples
        --------
        >>> from wheel_alignment import Pose
        >>> flat = [1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1, 0, 10, 20, 30, 1]
        >>> Pose.from_matrix4_column_major(flat).translation_mm
        (10.0, 20.0, 30.0)
        """
        flat = _arrays.numbers(matrix, 16, "matrix")
        rows = [flat[4 * column + row] for row in range(4) for column in range(4)]
        return cls._made("matrix", rows, ())

    @classmethod
    def from_left_handed_y_right(
        cls, rotation: ArrayLike, translation_mm: ArrayLike
    ) -> Self:
        """Return a pose of a left-handed source with X forward, Y right, Z up.

        (x, y, z) → (x, −y, z). Rig and target axes are mapped by the same M:
        R′ = M·R·Mᵀ, t′ = M·t. Convert ``up`` alike, with `Axes.direction`.

        Parameters
        ----------
        rotation : array-like of shape (3, 3)
            R of the source, row by row.
        translation_mm : array-like of 3 numbers
            t of the source, mm.

        Examples
        --------
        >>> from wheel_alignment import Pose
        >>> rotation = [[1, 0, 0], [0, 1, 0], [0, 0, 1]]
        >>> Pose.from_left_handed_y_right(rotation, [1, 2, 3]).translation_mm
        (1.0, -2.0, 3.0)
        """
        return cls._of_axes(Axes.LEFT_HANDED_Y_RIGHT, rotation, translation_mm)

    @classmethod
    def from_left_handed_y_up(
        cls, rotation: ArrayLike, translation_mm: ArrayLike
    ) -> Self:
        """Return a pose of a left-handed source with X right, Y up, Z forward.

        (x, y, z) → (z, −x, y), the custom of game engines; else as
        `from_left_handed_y_right`.

        Parameters
        ----------
        rotation : array-like of shape (3, 3)
            R of the source, row by row.
        translation_mm : array-like of 3 numbers
            t of the source, mm.

        Examples
        --------
        >>> from wheel_alignment import Pose
        >>> rotation = [[1, 0, 0], [0, 1, 0], [0, 0, 1]]
        >>> Pose.from_left_handed_y_up(rotation, [1, 2, 3]).translation_mm
        (3.0, -1.0, 2.0)
        """
        return cls._of_axes(Axes.LEFT_HANDED_Y_UP, rotation, translation_mm)

    @classmethod
    def from_right_handed_y_up(
        cls, rotation: ArrayLike, translation_mm: ArrayLike
    ) -> Self:
        """Return a pose of a right-handed source with X right, Y up, Z backward.

        (x, y, z) → (−z, −x, y); else as `from_left_handed_y_right`.

        Parameters
        ----------
        rotation : array-like of shape (3, 3)
            R of the source, row by row.
        translation_mm : array-like of 3 numbers
            t of the source, mm.

        Examples
        --------
        >>> from wheel_alignment import Pose
        >>> rotation = [[1, 0, 0], [0, 1, 0], [0, 0, 1]]
        >>> Pose.from_right_handed_y_up(rotation, [1, 2, 3]).translation_mm
        (-3.0, -1.0, 2.0)
        """
        return cls._of_axes(Axes.RIGHT_HANDED_Y_UP, rotation, translation_mm)

    @classmethod
    def from_z_down(cls, rotation: ArrayLike, translation_mm: ArrayLike) -> Self:
        """Return a pose of a source with X forward, Y right, Z down (SAE J670).

        (x, y, z) → (x, −y, −z); else as `from_left_handed_y_right`.

        Parameters
        ----------
        rotation : array-like of shape (3, 3)
            R of the source, row by row.
        translation_mm : array-like of 3 numbers
            t of the source, mm.

        Examples
        --------
        >>> from wheel_alignment import Pose
        >>> rotation = [[1, 0, 0], [0, 1, 0], [0, 0, 1]]
        >>> Pose.from_z_down(rotation, [1, 2, 3]).translation_mm
        (1.0, -2.0, -3.0)
        """
        return cls._of_axes(Axes.Z_DOWN, rotation, translation_mm)

    @classmethod
    def mean(cls, frames: PoseLike) -> Self:
        """Return the mean of several frames of a target that stands still.

        The rotation is the one nearest to the mean of the matrices, the translation
        the mean of the translations; one frame is itself.

        Parameters
        ----------
        frames : pose-like
            A stack of poses in any form of `as_matrix4`.

        Raises
        ------
        WheelNotSeenError
            There is no frame.
        AlignmentError
            As `rig_from_target`, of any frame.

        Examples
        --------
        >>> from wheel_alignment import Pose
        >>> one = Pose.from_rotation_vector_rad([0, 0, 0.1], [1, 0, 0])
        >>> other = Pose.from_rotation_vector_rad([0, 0, 0.3], [3, 0, 0])
        >>> Pose.mean([one, other]).translation_mm
        (2.0, 0.0, 0.0)
        """
        return cls.mean_and_spread(frames)[0]

    @classmethod
    def mean_and_spread(cls, frames: PoseLike) -> tuple[Self, Spread | None]:
        """Return the mean of several frames, and how much they scatter about it.

        Parameters
        ----------
        frames : pose-like
            A stack of poses in any form of `as_matrix4`.

        Returns
        -------
        tuple of Pose and Spread or None
            The mean, as `mean` returns it, and the scatter; None for one frame.

        Examples
        --------
        >>> from wheel_alignment import Pose
        >>> at = [Pose.from_rotation_vector_rad([0, 0, 0], [x, 0, 0]) for x in (1, 3)]
        >>> mean, spread = Pose.mean_and_spread(at)
        >>> spread.frames, round(spread.translation_mm, 3)
        (2, 0.816)
        """
        stack = as_matrix4(frames) if _any(frames) else None
        flat = b"" if stack is None else _arrays.packed(stack)
        mean, spread = _native.mean_pose(flat)
        return cls._of_flat(mean), None if spread is None else Spread(*spread)

    def rig_from_target(self) -> Self:
        """Return the pose checked, its rotation taken to the nearest one.

        Raises
        ------
        NotFiniteError
            A number is NaN or infinite.
        NotARotationError
            RᵀR is further than 1e-6 from the identity.
        ReflectionError
            The rotation mirrors.
        LengthOutOfRangeError
            A coordinate lies beyond a kilometre.

        Examples
        --------
        >>> from wheel_alignment import Pose
        >>> pose = Pose([[1, 0, 0], [0, 1, 1e-7], [0, 0, 1]], [0, 0, 0])
        >>> print(f"{pose.rig_from_target().rotation[2][1]:.1e}")
        -5.0e-08
        """
        return self._of_flat(_native.rig_from_target(self._flat()))

    def matrix4(self) -> Floats:
        """Return the homogeneous 4×4 matrix, row by row, mm.

        Examples
        --------
        >>> from wheel_alignment import Pose
        >>> rows = [[1, 0, 0, 10], [0, 1, 0, 20], [0, 0, 1, 30], [0, 0, 0, 1]]
        >>> (Pose.from_matrix4(rows).matrix4() == rows).all()
        np.True_
        """
        return _arrays.unpacked(bytearray(self._flat()), (4, 4))

    @classmethod
    def _made(
        cls, form: str, rotation: Sequence[float], translation_mm: Sequence[float]
    ) -> Self:
        both = (struct.pack(f"<{len(of)}d", *of) for of in (rotation, translation_mm))
        pose = cls._of_flat(_native.poses_from(form, *both))
        if pose.rotation[0][0] != pose.rotation[0][0]:
            pose.rig_from_target()  # nothing but NaN: as_matrix4 alone lets it pass
        return pose

    @classmethod
    def _of_axes(
        cls, axes: Axes, rotation: ArrayLike, translation_mm: ArrayLike
    ) -> Self:
        pose = cls(
            cast("tuple[Vector, Vector, Vector]", rotation),
            cast("Vector", translation_mm),
        )
        flat = [v for row in pose.rotation for v in row]
        return cls._made(axes.value, flat, pose.translation_mm)

    @classmethod
    def _of_flat(cls, data: bytes | bytearray) -> Self:
        a, b, c, x, d, e, f, y, g, h, i, z, *_ = _FLAT.unpack(data)
        return cls(((a, b, c), (d, e, f), (g, h, i)), (x, y, z))

    def _flat(self) -> bytes:
        (a, b, c), (d, e, f), (g, h, i) = self.rotation
        x, y, z = self.translation_mm
        return _FLAT.pack(a, b, c, x, d, e, f, y, g, h, i, z, 0.0, 0.0, 0.0, 1.0)


def as_matrix4(poses: PoseLike | None, *, axes: Axes | str | None = None) -> Floats:
    """Return poses in any form as homogeneous 4×4 matrices, row by row, mm.

    Every function of the package that takes poses reads them with this one.

    Parameters
    ----------
    poses : pose-like
        One pose, or a stack of them with any leading axes:

        =====================================  =======================================
        a `Pose`                               one pose
        an array of shape (…, 4, 4)            homogeneous, the last row 0 0 0 1
        an array of shape (…, 3, 4)            the same without the last row
        a tuple (rotation, translation_mm)     rotation: by its shape, see below, or a
                                               ``scipy.spatial.transform.Rotation``;
                                               translation_mm: (…, 3), (…, 3, 1) or
                                               (…, 1, 3)
        a mapping, as in the JSON              ``translation_mm`` (…, 3) with one of
                                               ``rotation`` (…, 3, 3),
                                               ``quaternion_wxyz`` (…, 4) or
                                               ``rotation_vector_rad`` (…, 3)
        a list of any of these                 a stack; None in it is a pose that was
                                               not seen
        =====================================  =======================================

        The last axes of an array tell what rotation it is: (…, 3, 3) are matrices,
        and (3,), (…, 3, 1) and (…, 1, 3) are rotation vectors, as OpenCV returns them.
        So a stack of N rotation vectors is (N, 3, 1), never (N, 3), which for N = 3
        would be a matrix. Quaternions have no tuple form, since both orders are in
        use. A tuple of two is always rotation and translation.
    axes : Axes or str, optional
        Of the source, when they are not X forward, Y left, Z up.

    Returns
    -------
    numpy.ndarray of float64, shape (…, 4, 4)
        ``rig_from_target``. It may share its memory with an array that was given. A
        pose of which every number is NaN was not seen, and is 16 times NaN.

    Raises
    ------
    AlignmentError
        As the constructor of `Pose` that has the form; ``index`` says at which pose of
        the stack.
    TypeError, ValueError
        Not numbers, or shapes that are no poses: the message names the dtype and
        the shape found, and those that are poses.

    Examples
    --------
    >>> import numpy as np
    >>> from wheel_alignment.pose import Pose, as_matrix4
    >>> as_matrix4(np.eye(4)).shape
    (4, 4)
    >>> as_matrix4((np.zeros((5, 3, 1)), np.zeros((5, 3, 1)))).shape  # OpenCV
    (5, 4, 4)
    >>> as_matrix4([Pose(np.eye(3), [0, 0, 0]), None])[1, 3]
    array([nan, nan, nan, nan])
    >>> stack = {"quaternion_wxyz": [[1, 0, 0, 0]] * 5, "translation_mm": [[0] * 3] * 5}
    >>> as_matrix4(stack).shape
    (5, 4, 4)
    """
    matrices = _as_matrix4(poses)
    if axes is None:
        return matrices
    source = Axes(axes)
    translations = matrices[..., :3, 3]
    return _converted(source.value, matrices[..., :3, :3], translations, 2)


def _as_matrix4(poses: PoseLike | None) -> Floats:
    import numpy as np

    if poses is None:
        return np.full((4, 4), np.nan)
    if isinstance(poses, Pose):
        return poses.matrix4()
    if isinstance(poses, Mapping):
        return _of_mapping(poses)
    if isinstance(poses, tuple) and len(poses) == 2:
        return _of_pair(*cast("tuple[object, ArrayLike]", poses))
    if isinstance(poses, (list, tuple)) and any(map(_is_pose, poses)):
        stack = [_as_matrix4(cast("PoseLike | None", one)) for one in poses]
        shapes = sorted({one.shape for one in stack}, key=len)
        # What was not seen has the shape of the others.
        most = shapes[-1]
        stack = [
            np.full(most, np.nan) if one is None else array
            for one, array in zip(poses, stack, strict=True)
        ]
        if len({one.shape for one in stack}) > 1:
            raise ValueError(f"poses: a stack of poses of different shapes: {shapes}")
        return np.stack(stack)
    if callable(getattr(poses, "as_matrix", None)):
        raise TypeError(
            "poses: a rotation alone has no translation; hand over a tuple of both"
        )
    matrices = _arrays.floats(cast("ArrayLike", poses), "poses")
    if matrices.shape[-2:] not in ((4, 4), (3, 4)):
        raise ValueError(
            f"poses: an array of shape (…, 4, 4) or (…, 3, 4) is needed, not "
            f"{matrices.shape} (dtype {matrices.dtype}); rotation and translation_mm "
            "go into a tuple, a quaternion into a mapping"
        )
    if matrices.shape[-2] == 3:
        last = np.broadcast_to([0.0, 0.0, 0.0, 1.0], (*matrices.shape[:-2], 1, 4))
        # Where nothing was seen, nothing is known of the last row either.
        unseen = np.isnan(matrices).all((-1, -2), keepdims=True)
        return np.concatenate([matrices, np.where(unseen, np.nan, last)], axis=-2)
    exact = (matrices[..., 3, :] == (0.0, 0.0, 0.0, 1.0)).all(-1)
    if not exact.all():
        matrices = matrices.copy()
        matrices[~exact] = _native_poses("matrix", matrices[~exact], None, ~exact)
    return matrices


def _is_pose(one: object) -> bool:
    """Whether a member of a list is a pose, and not a row of numbers."""
    pair = isinstance(one, tuple) and len(one) == 2
    nested = isinstance(one, (list, tuple)) and any(map(_is_pose, one))
    return one is None or isinstance(one, (Pose, Mapping)) or pair or nested


def _any(frames: PoseLike) -> bool:
    """Whether there are frames at all."""
    return not hasattr(frames, "__len__") or len(cast("Sequence[object]", frames)) > 0


def _of_mapping(pose: Mapping[str, ArrayLike]) -> Floats:
    forms = [key for key in _FORMS if pose.get(key) is not None]
    unknown = [key for key in pose if key not in (*_FORMS, "translation_mm")]
    if unknown:
        raise ValueError(
            f"poses: unknown key {unknown[0]!r}; a pose has translation_mm and one of "
            f"{', '.join(_FORMS)}"
        )
    if len(forms) != 1 or "translation_mm" not in pose:
        raise ValueError(
            f"poses: a pose needs translation_mm and exactly one of {', '.join(_FORMS)}"
        )
    (form,) = forms
    rotation = _arrays.floats(pose[form], form)
    axes = {"rotation": (3, 3), "quaternion_wxyz": (4,), "rotation_vector_rad": (3,)}
    if rotation.shape[-len(axes[form]) :] != axes[form]:
        raise ValueError(_needs(form, axes[form], rotation))
    return _converted(form, rotation, pose["translation_mm"], len(axes[form]))


def _of_pair(rotation: object, translation_mm: ArrayLike) -> Floats:
    as_matrix = getattr(rotation, "as_matrix", None)
    if callable(as_matrix):
        return _converted("rotation", as_matrix(), translation_mm, 2)
    if isinstance(rotation, (Pose, Mapping)) or rotation is None:
        raise TypeError(
            "poses: a tuple of two is rotation and translation_mm; two poses go into "
            "a list"
        )
    array = _arrays.floats(cast("ArrayLike", rotation), "rotation")
    if array.shape[-2:] == (3, 3):
        return _converted("rotation", array, translation_mm, 2)
    if array.shape == (3,):
        return _converted("rotation_vector_rad", array, translation_mm, 1)
    if array.shape[-2:] in ((3, 1), (1, 3)):
        vectors = array.reshape(*array.shape[:-2], 3)
        return _converted("rotation_vector_rad", vectors, translation_mm, 1)
    hint = "(…, 3, 3), (3,), (…, 3, 1) or (…, 1, 3)"
    more = ""
    if array.shape[-1:] == (4,):
        more = "; a quaternion is a mapping of quaternion_wxyz and translation_mm"
    elif array.shape[-1:] == (3,):
        more = "; a stack of rotation vectors is (…, 3, 1)"
    raise ValueError(
        f"rotation: an array of shape {hint} is needed, not {array.shape} "
        f"(dtype {array.dtype}){more}"
    )


def _needs(what: str, axes: tuple[int, ...], found: Floats) -> str:
    shape = ", ".join(map(str, ("…", *axes)))
    return (
        f"{what}: an array of shape ({shape}) is needed, not {found.shape} "
        f"(dtype {found.dtype})"
    )


def _converted(
    form: str, rotations: ArrayLike, translations: ArrayLike, axes: int
) -> Floats:
    """Return the poses of rotations whose last axes are those of one."""
    rotation = _arrays.floats(rotations, form)
    stack = rotation.shape[: rotation.ndim - axes]
    translation = _arrays.floats(translations, "translation_mm")
    if translation.shape not in ((*stack, 3), (*stack, 3, 1), (*stack, 1, 3)):
        raise ValueError(
            f"translation_mm: one for each rotation is needed, shape {(*stack, 3)}, "
            f"not {translation.shape} (dtype {translation.dtype})"
        )
    return _native_poses(form, rotation, translation, stack).reshape(*stack, 4, 4)


def _native_poses(
    form: str,
    rotation: Floats,
    translation: Floats | None,
    stack: tuple[int, ...] | Floats,
) -> Floats:
    """Let the core convert poses; `stack` is their shape, or where they are."""
    import numpy as np

    other = b"" if translation is None else _arrays.packed(translation)
    try:
        data = _native.poses_from(form, _arrays.packed(rotation), other)
    except AlignmentError as error:
        (flat,) = error.index or (0,)
        if isinstance(stack, tuple):
            error.index = tuple(int(i) for i in np.unravel_index(flat, stack))
        else:
            error.index = tuple(int(i) for i in np.argwhere(stack)[flat])
        raise
    return _arrays.unpacked(data, (-1, 4, 4))
