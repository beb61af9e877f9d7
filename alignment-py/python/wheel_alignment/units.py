"""Degrees, radians, and minutes of arc."""

# A number is an array too for the type checker, but a number comes of it.
# mypy: disable-error-code="overload-overlap"

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Generic, Literal, overload

from wheel_alignment._formulas import number, numbers, several
from wheel_alignment._values import T_co, Value

if TYPE_CHECKING:
    from wheel_alignment._types import Array, Codes, Column, Number, Numbers

DEG_PER_RAD: Final[float] = 180.0 / math.pi
"""Degrees in one radian, 180/π."""


@dataclass(frozen=True, slots=True, eq=False)
class DegreesMinutes(Value, Generic[T_co]):
    """An angle as workshop manuals print it; as a text ``-1°05′``.

    Attributes
    ----------
    negative : bool or array
        True below zero. It stands apart from ``degrees``, since −0°12′ has no negative
        whole degree.
    degrees : float or array
        Whole degrees, without sign.
    minutes : float or array
        Minutes of arc, 0 to 59.
    """

    negative: bool | T_co
    degrees: T_co
    minutes: T_co

    def __str__(self) -> str:
        if not (isinstance(self.degrees, float) and isinstance(self.minutes, float)):
            return repr(self)
        sign = "-" if self.negative else ""
        return f"{sign}{self.degrees:.0f}°{self.minutes:02.0f}′"


def _made(negative: Column, degrees: Column, minutes: Column) -> DegreesMinutes[Column]:
    below = negative > 0.0
    return DegreesMinutes(below, degrees, minutes)  # type: ignore[arg-type]


def _parts(angle: DegreesMinutes[Numbers]) -> list[Column]:
    if not isinstance(angle, DegreesMinutes):
        raise TypeError(f"angle is a DegreesMinutes, not {angle!r:.60}")
    below = angle.negative
    if not isinstance(below, int):
        import numpy as np

        below = np.where(np.asarray(below, dtype=np.bool_), 1.0, 0.0)
    names = ("angle.negative", "angle.degrees", "angle.minutes")
    parts = (below, angle.degrees, angle.minutes)
    return [numbers(name, part) for name, part in zip(names, parts, strict=True)]


@overload
def deg_from_rad(angle_rad: Number) -> float: ...
@overload
def deg_from_rad(angle_rad: Numbers) -> Array: ...
def deg_from_rad(angle_rad: Numbers) -> object:
    """Turn radians into degrees: angle·180/π.

    Parameters
    ----------
    angle_rad : float or array
        The angle, radians.

    Returns
    -------
    float or array
        The angle, degrees.

    Notes
    -----
    Source: definition of the degree.

    Examples
    --------
    >>> import math
    >>> from wheel_alignment.units import deg_from_rad
    >>> deg_from_rad(math.pi)
    180.0
    """
    return number("units::deg_from_rad", "raise", numbers("angle_rad", angle_rad))


@overload
def rad_from_deg(angle_deg: Number) -> float: ...
@overload
def rad_from_deg(angle_deg: Numbers) -> Array: ...
def rad_from_deg(angle_deg: Numbers) -> object:
    """Turn degrees into radians: angle·π/180.

    Parameters
    ----------
    angle_deg : float or array
        The angle, degrees.

    Returns
    -------
    float or array
        The angle, radians.

    Notes
    -----
    Source: definition of the degree.

    Examples
    --------
    >>> import math
    >>> from wheel_alignment.units import rad_from_deg
    >>> rad_from_deg(180.0) == math.pi
    True
    """
    return number("units::rad_from_deg", "raise", numbers("angle_deg", angle_deg))


@overload
def degrees_minutes_from_deg(angle_deg: Number) -> DegreesMinutes[float]: ...
@overload
def degrees_minutes_from_deg(angle_deg: Numbers) -> DegreesMinutes[Array]: ...
def degrees_minutes_from_deg(angle_deg: Numbers) -> object:
    """Split degrees into sign, whole degrees and whole minutes: 1° = 60′.

    Rounded to the nearest minute.

    Parameters
    ----------
    angle_deg : float or array
        The angle, degrees.

    Returns
    -------
    DegreesMinutes
        The angle as workshop manuals print it.

    Notes
    -----
    Source: definition of the arc minute.

    Examples
    --------
    >>> from wheel_alignment.units import degrees_minutes_from_deg
    >>> print(degrees_minutes_from_deg(-0.2), degrees_minutes_from_deg(13.999))
    -0°12′ 14°00′
    """
    return several(
        "units::degrees_minutes_from_deg",
        "raise",
        _made,
        3,
        numbers("angle_deg", angle_deg),
    )


@overload
def deg_from_degrees_minutes(
    angle: DegreesMinutes[float], *, on_error: Literal["raise"] = "raise"
) -> float: ...
@overload
def deg_from_degrees_minutes(
    angle: DegreesMinutes[float], *, on_error: Literal["codes"]
) -> tuple[float, int]: ...
@overload
def deg_from_degrees_minutes(
    angle: DegreesMinutes[Numbers], *, on_error: Literal["raise"] = "raise"
) -> Array: ...
@overload
def deg_from_degrees_minutes(
    angle: DegreesMinutes[Numbers], *, on_error: Literal["codes"]
) -> tuple[Array, Codes]: ...
def deg_from_degrees_minutes(
    angle: DegreesMinutes[Numbers], *, on_error: Literal["raise", "codes"] = "raise"
) -> object:
    """Join sign, degrees and minutes: ± (degrees + minutes/60).

    The inverse of `degrees_minutes_from_deg`. Manuals print half minutes too.

    Parameters
    ----------
    angle : DegreesMinutes
        Sign, degrees and minutes; neither number need be whole.
    on_error : {"raise", "codes"}
        ``raise`` raises the first error, whose ``index`` is its place. ``codes`` gives
        a pair: the values, NaN where they fail, and at each place the number of the
        error, 0 for none.

    Returns
    -------
    float or array
        The angle, degrees.

    Raises
    ------
    NotFiniteError
        A number is NaN or infinite.
    AngleOutOfRangeError
        Degrees outside 0 to 360, or minutes outside 0 to 60 (told in degrees): the sign
        stands apart.

    Notes
    -----
    Source: definition of the arc minute.

    Examples
    --------
    >>> from wheel_alignment.units import DegreesMinutes, deg_from_degrees_minutes
    >>> angle = DegreesMinutes(negative=True, degrees=0.0, minutes=12.0)
    >>> deg_from_degrees_minutes(angle)
    -0.2
    """
    return number("units::deg_from_degrees_minutes", on_error, *_parts(angle))
