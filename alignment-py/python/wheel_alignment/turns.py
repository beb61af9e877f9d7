"""Toe-out on turns, Ackermann, the angles at full lock."""

# A number is an array too for the type checker, but a number comes of it.
# mypy: disable-error-code="overload-overlap"

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal, overload

from wheel_alignment._formulas import number, numbers
from wheel_alignment._values import Value

if TYPE_CHECKING:
    from wheel_alignment._types import Array, Codes, Number, Numbers

TURN_MARGIN_DEG: Final[float] = 1.0
"""How far past the last station of the sweep toe-out on turns is still read, degrees: a
wheel brought to 20° never stands at 20.000°.
"""


@dataclass(frozen=True, slots=True, eq=False)
class TurnReadings(Value):
    """The readings of one turn: magnitudes; None where one is absent.

    Attributes
    ----------
    inner_deg, outer_deg : float or None
        Steer angle in degrees of the wheel on the inside and on the outside of the
        turn, from its own heading straight ahead.
    toe_out_deg : float or None
        Toe-out on turns in degrees: inner minus outer.
    ackermann_deg : float or None
        Ideal toe-out there in degrees, by Ackermann.
    """

    inner_deg: float | None
    outer_deg: float | None
    toe_out_deg: float | None
    ackermann_deg: float | None


@dataclass(frozen=True, slots=True, eq=False)
class LockReadings(Value):
    """The steer angles at full lock; None where one is absent.

    Attributes
    ----------
    left_deg, right_deg : float or None
        Steer angle in degrees of the left and of the right wheel, from its own heading
        straight ahead; positive to the left.
    """

    left_deg: float | None
    right_deg: float | None


@dataclass(frozen=True, slots=True, eq=False)
class TurnsReadings(Value):
    """The readings of turning, from the sweep and the locks.

    Attributes
    ----------
    left_turn, right_turn : TurnReadings
        Turning left, with the left wheel on the inside, and turning right.
    lock_left, lock_right : LockReadings
        Full lock to the left and to the right.
    """

    left_turn: TurnReadings
    right_turn: TurnReadings
    lock_left: LockReadings
    lock_right: LockReadings


@overload
def ackermann_outer_deg(
    inner_deg: Number,
    *,
    axis_distance_mm: Number,
    wheelbase_mm: Number,
    on_error: Literal["raise"] = "raise",
) -> float: ...
@overload
def ackermann_outer_deg(
    inner_deg: Number,
    *,
    axis_distance_mm: Number,
    wheelbase_mm: Number,
    on_error: Literal["codes"],
) -> tuple[float, int]: ...
@overload
def ackermann_outer_deg(
    inner_deg: Numbers,
    *,
    axis_distance_mm: Numbers,
    wheelbase_mm: Numbers,
    on_error: Literal["raise"] = "raise",
) -> Array: ...
@overload
def ackermann_outer_deg(
    inner_deg: Numbers,
    *,
    axis_distance_mm: Numbers,
    wheelbase_mm: Numbers,
    on_error: Literal["codes"],
) -> tuple[Array, Codes]: ...
def ackermann_outer_deg(
    inner_deg: Numbers,
    *,
    axis_distance_mm: Numbers,
    wheelbase_mm: Numbers,
    on_error: Literal["raise", "codes"] = "raise",
) -> object:
    """Find Ackermann's ideal outer angle for an inner one.

    cot(outer) = cot(inner) + axis distance/wheelbase.

    Parameters
    ----------
    inner_deg : float or array
        Steer angle of the wheel on the inside of the turn, degrees, 0 to 90.
    axis_distance_mm : float or array
        Distance of the steering axes at the ground, mm.
    wheelbase_mm : float or array
        Wheelbase, mm.
    on_error : {"raise", "codes"}
        ``raise`` raises the first error, whose ``index`` is its place. ``codes`` gives
        a pair: the values, NaN where they fail, and at each place the number of the
        error, 0 for none.

    Returns
    -------
    float or array
        Steer angle of the wheel on the outside, degrees.

    Raises
    ------
    NotFiniteError
        A number is NaN or infinite.
    AngleOutOfRangeError
        An angle outside 0 to 90°.
    LengthOutOfRangeError
        A length that is not positive, or beyond all cars.

    Notes
    -----
    Source: Ackermann's condition, textbook geometry.

    Examples
    --------
    >>> from wheel_alignment.turns import ackermann_outer_deg
    >>> outer_deg = ackermann_outer_deg(
    ...     20.0, axis_distance_mm=1400.0, wheelbase_mm=2600.0
    ... )
    >>> print(f"{outer_deg:.3f}°")
    16.926°
    """
    return number(
        "turns::ackermann_outer_deg",
        on_error,
        numbers("inner_deg", inner_deg),
        numbers("axis_distance_mm", axis_distance_mm),
        numbers("wheelbase_mm", wheelbase_mm),
    )


@overload
def ackermann_inner_deg(
    outer_deg: Number,
    *,
    axis_distance_mm: Number,
    wheelbase_mm: Number,
    on_error: Literal["raise"] = "raise",
) -> float: ...
@overload
def ackermann_inner_deg(
    outer_deg: Number,
    *,
    axis_distance_mm: Number,
    wheelbase_mm: Number,
    on_error: Literal["codes"],
) -> tuple[float, int]: ...
@overload
def ackermann_inner_deg(
    outer_deg: Numbers,
    *,
    axis_distance_mm: Numbers,
    wheelbase_mm: Numbers,
    on_error: Literal["raise"] = "raise",
) -> Array: ...
@overload
def ackermann_inner_deg(
    outer_deg: Numbers,
    *,
    axis_distance_mm: Numbers,
    wheelbase_mm: Numbers,
    on_error: Literal["codes"],
) -> tuple[Array, Codes]: ...
def ackermann_inner_deg(
    outer_deg: Numbers,
    *,
    axis_distance_mm: Numbers,
    wheelbase_mm: Numbers,
    on_error: Literal["raise", "codes"] = "raise",
) -> object:
    """Find Ackermann's ideal inner angle for an outer one.

    cot(inner) = cot(outer) − axis distance/wheelbase.

    Parameters
    ----------
    outer_deg : float or array
        Steer angle of the wheel on the outside of the turn, degrees, 0 to 90.
    axis_distance_mm : float or array
        Distance of the steering axes at the ground, mm.
    wheelbase_mm : float or array
        Wheelbase, mm.
    on_error : {"raise", "codes"}
        ``raise`` raises the first error, whose ``index`` is its place. ``codes`` gives
        a pair: the values, NaN where they fail, and at each place the number of the
        error, 0 for none.

    Returns
    -------
    float or array
        Steer angle of the wheel on the inside, degrees.

    Raises
    ------
    NotFiniteError
        A number is NaN or infinite.
    AngleOutOfRangeError
        An angle outside 0 to 90°.
    LengthOutOfRangeError
        A length that is not positive, or beyond all cars.

    Notes
    -----
    Source: Ackermann's condition, textbook geometry.

    Examples
    --------
    >>> from wheel_alignment.turns import ackermann_inner_deg, ackermann_outer_deg
    >>> car = {"axis_distance_mm": 1400.0, "wheelbase_mm": 2600.0}
    >>> outer_deg = ackermann_outer_deg(20.0, **car)
    >>> print(f"{ackermann_inner_deg(outer_deg, **car):.6f}°")
    20.000000°
    """
    return number(
        "turns::ackermann_inner_deg",
        on_error,
        numbers("outer_deg", outer_deg),
        numbers("axis_distance_mm", axis_distance_mm),
        numbers("wheelbase_mm", wheelbase_mm),
    )


@overload
def ackermann_percent_by_toe_out(
    *,
    inner_deg: Number,
    outer_deg: Number,
    axis_distance_mm: Number,
    wheelbase_mm: Number,
    on_error: Literal["raise"] = "raise",
) -> float: ...
@overload
def ackermann_percent_by_toe_out(
    *,
    inner_deg: Number,
    outer_deg: Number,
    axis_distance_mm: Number,
    wheelbase_mm: Number,
    on_error: Literal["codes"],
) -> tuple[float, int]: ...
@overload
def ackermann_percent_by_toe_out(
    *,
    inner_deg: Numbers,
    outer_deg: Numbers,
    axis_distance_mm: Numbers,
    wheelbase_mm: Numbers,
    on_error: Literal["raise"] = "raise",
) -> Array: ...
@overload
def ackermann_percent_by_toe_out(
    *,
    inner_deg: Numbers,
    outer_deg: Numbers,
    axis_distance_mm: Numbers,
    wheelbase_mm: Numbers,
    on_error: Literal["codes"],
) -> tuple[Array, Codes]: ...
def ackermann_percent_by_toe_out(
    *,
    inner_deg: Numbers,
    outer_deg: Numbers,
    axis_distance_mm: Numbers,
    wheelbase_mm: Numbers,
    on_error: Literal["raise", "codes"] = "raise",
) -> object:
    """Find the Ackermann percentage by toe-out on turns.

    100·(inner − outer)/(ideal toe-out at the same inner angle). With d/L the distance
    of the steering axes at the ground over the wheelbase: tan(ideal) =
    (d/L)·sin²(inner)/(1 + (d/L)·sin(inner)·cos(inner)). Wheels that stay parallel give
    0, the ideal 100, toe-in on turns less than 0. The other definition,
    `ackermann_percent_by_cotangents`, agrees at 0 and 100 alone.

    Parameters
    ----------
    inner_deg : float or array
        Steer angle of the wheel on the inside of the turn, degrees, 1 to 90.
    outer_deg : float or array
        Steer angle of the wheel on the outside of the turn, degrees, 1 to 90.
    axis_distance_mm : float or array
        Distance of the steering axes at the ground, mm.
    wheelbase_mm : float or array
        Wheelbase, mm.
    on_error : {"raise", "codes"}
        ``raise`` raises the first error, whose ``index`` is its place. ``codes`` gives
        a pair: the values, NaN where they fail, and at each place the number of the
        error, 0 for none.

    Returns
    -------
    float or array
        The percentage.

    Raises
    ------
    NotFiniteError
        A number is NaN or infinite.
    AngleOutOfRangeError
        An angle outside 1 to 90°.
    LengthOutOfRangeError
        A length that is not positive, or beyond all cars.

    Notes
    -----
    Source: common practice, no source.

    Examples
    --------
    >>> from wheel_alignment.turns import ackermann_percent_by_toe_out
    >>> percent = ackermann_percent_by_toe_out(
    ...     inner_deg=20.0, outer_deg=18.0, axis_distance_mm=1400.0, wheelbase_mm=2600.0
    ... )
    >>> print(f"{percent:.1f} %")
    65.1 %
    """
    return number(
        "turns::ackermann_percent_by_toe_out",
        on_error,
        numbers("inner_deg", inner_deg),
        numbers("outer_deg", outer_deg),
        numbers("axis_distance_mm", axis_distance_mm),
        numbers("wheelbase_mm", wheelbase_mm),
    )


@overload
def ackermann_percent_by_cotangents(
    *,
    inner_deg: Number,
    outer_deg: Number,
    axis_distance_mm: Number,
    wheelbase_mm: Number,
    on_error: Literal["raise"] = "raise",
) -> float: ...
@overload
def ackermann_percent_by_cotangents(
    *,
    inner_deg: Number,
    outer_deg: Number,
    axis_distance_mm: Number,
    wheelbase_mm: Number,
    on_error: Literal["codes"],
) -> tuple[float, int]: ...
@overload
def ackermann_percent_by_cotangents(
    *,
    inner_deg: Numbers,
    outer_deg: Numbers,
    axis_distance_mm: Numbers,
    wheelbase_mm: Numbers,
    on_error: Literal["raise"] = "raise",
) -> Array: ...
@overload
def ackermann_percent_by_cotangents(
    *,
    inner_deg: Numbers,
    outer_deg: Numbers,
    axis_distance_mm: Numbers,
    wheelbase_mm: Numbers,
    on_error: Literal["codes"],
) -> tuple[Array, Codes]: ...
def ackermann_percent_by_cotangents(
    *,
    inner_deg: Numbers,
    outer_deg: Numbers,
    axis_distance_mm: Numbers,
    wheelbase_mm: Numbers,
    on_error: Literal["raise", "codes"] = "raise",
) -> object:
    """Find the Ackermann percentage by cotangents.

    100·(cot(outer) − cot(inner))/(distance of the steering axes at the
    ground/wheelbase). Wheels that stay parallel give 0, the ideal 100, toe-in on turns
    less than 0. The other definition, `ackermann_percent_by_toe_out`, agrees at 0 and
    100 alone.

    Parameters
    ----------
    inner_deg : float or array
        Steer angle of the wheel on the inside of the turn, degrees, 1 to 90.
    outer_deg : float or array
        Steer angle of the wheel on the outside of the turn, degrees, 1 to 90.
    axis_distance_mm : float or array
        Distance of the steering axes at the ground, mm.
    wheelbase_mm : float or array
        Wheelbase, mm.
    on_error : {"raise", "codes"}
        ``raise`` raises the first error, whose ``index`` is its place. ``codes`` gives
        a pair: the values, NaN where they fail, and at each place the number of the
        error, 0 for none.

    Returns
    -------
    float or array
        The percentage.

    Raises
    ------
    NotFiniteError
        A number is NaN or infinite.
    AngleOutOfRangeError
        An angle outside 1 to 90°.
    LengthOutOfRangeError
        A length that is not positive, or beyond all cars.

    Notes
    -----
    Source: common practice, no source.

    Examples
    --------
    >>> from wheel_alignment.turns import ackermann_percent_by_cotangents
    >>> percent = ackermann_percent_by_cotangents(
    ...     inner_deg=20.0, outer_deg=18.0, axis_distance_mm=1400.0, wheelbase_mm=2600.0
    ... )
    >>> print(f"{percent:.1f} %")
    61.3 %
    """
    return number(
        "turns::ackermann_percent_by_cotangents",
        on_error,
        numbers("inner_deg", inner_deg),
        numbers("outer_deg", outer_deg),
        numbers("axis_distance_mm", axis_distance_mm),
        numbers("wheelbase_mm", wheelbase_mm),
    )


@overload
def turning_radius_mm(
    *, wheelbase_mm: Number, steer_deg: Number, on_error: Literal["raise"] = "raise"
) -> float: ...
@overload
def turning_radius_mm(
    *, wheelbase_mm: Number, steer_deg: Number, on_error: Literal["codes"]
) -> tuple[float, int]: ...
@overload
def turning_radius_mm(
    *, wheelbase_mm: Numbers, steer_deg: Numbers, on_error: Literal["raise"] = "raise"
) -> Array: ...
@overload
def turning_radius_mm(
    *, wheelbase_mm: Numbers, steer_deg: Numbers, on_error: Literal["codes"]
) -> tuple[Array, Codes]: ...
def turning_radius_mm(
    *,
    wheelbase_mm: Numbers,
    steer_deg: Numbers,
    on_error: Literal["raise", "codes"] = "raise",
) -> object:
    """Find the turning radius of the middle of the front axle: wheelbase/sin(steer).

    The vehicle rolls without slip about a point on the line of the rear axle.

    Parameters
    ----------
    wheelbase_mm : float or array
        Wheelbase, mm.
    steer_deg : float or array
        Steer angle of the front axle at its middle, degrees, 0.1 to 90.
    on_error : {"raise", "codes"}
        ``raise`` raises the first error, whose ``index`` is its place. ``codes`` gives
        a pair: the values, NaN where they fail, and at each place the number of the
        error, 0 for none.

    Returns
    -------
    float or array
        The radius, mm.

    Raises
    ------
    NotFiniteError
        A number is NaN or infinite.
    AngleOutOfRangeError
        An angle outside 0.1 to 90°.
    LengthOutOfRangeError
        A wheelbase that is not positive, or beyond all cars.

    Notes
    -----
    Source: textbook geometry, with published check values.

    Examples
    --------
    >>> from wheel_alignment.turns import turning_radius_mm
    >>> print(f"{turning_radius_mm(wheelbase_mm=2600.0, steer_deg=30.0):.0f} mm")
    5200 mm
    """
    return number(
        "turns::turning_radius_mm",
        on_error,
        numbers("wheelbase_mm", wheelbase_mm),
        numbers("steer_deg", steer_deg),
    )
