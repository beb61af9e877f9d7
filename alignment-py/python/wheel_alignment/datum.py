"""The datum: the plane that angles to the vertical refer to, found from points."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from wheel_alignment import _arrays, _native
from wheel_alignment._values import Value, Vector, from_json

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

MIN_EXTENT_MM: Final[float] = 50.0
"""The least extent of the points in the plane, mm, root mean square."""

UNEVEN_MM: Final[float] = 1.0
"""The distance of the points from their plane above which a result carries a warning,
mm, root mean square."""


@dataclass(frozen=True, slots=True, eq=False)
class Plane(Value):
    """A plane through points, by least squares.

    Attributes
    ----------
    normal : tuple of 3 floats
        Unit vector square to the plane. Its sign is not settled by the points.
    point_mm : tuple of 3 floats
        The mean of the points, mm; it lies in the plane.
    residual_mm : float
        How far the points lie from the plane, mm, root mean square. Zero for three.
    """

    normal: Vector
    point_mm: Vector
    residual_mm: float


def plane_through(points_mm: ArrayLike) -> Plane:
    """Find the plane through points, by least squares of the distances square to it.

    Parameters
    ----------
    points_mm : array-like of shape (N, 3)
        At least three points, mm.

    Returns
    -------
    Plane
        Its normal is the eigenvector of the smallest eigenvalue of Σ(p − p̄)(p − p̄)ᵀ.

    Raises
    ------
    TooFewStationsError
        Fewer than three points.
    LengthOutOfRangeError
        Points beyond a kilometre, or that lie in one line.
    NotFiniteError
        A number is NaN or infinite.

    Examples
    --------
    >>> from wheel_alignment.datum import plane_through
    >>> plane = plane_through([[0, 0, 5], [1000, 0, 5], [0, 800, 5], [1000, 800, 5]])
    >>> plane.point_mm, abs(plane.normal[2]), plane.residual_mm
    ((500.0, 400.0, 5.0), 1.0, 0.0)
    """
    points = _arrays.floats(points_mm, "points_mm")
    if points.size == 0:
        points = points.reshape(-1, 3)
    if points.ndim != 2 or points.shape[1] != 3:
        raise ValueError(
            f"points_mm: shape (N, 3) is needed, not {points.shape} "
            f"(dtype {points.dtype})"
        )
    return from_json(Plane, _native.plane_through(_arrays.packed(points)))
