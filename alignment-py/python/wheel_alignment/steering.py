"""The steering axis: caster, SAI, included angle, trail, scrub."""

# A number is an array too for the type checker, but a number comes of it.
# mypy: disable-error-code="overload-overlap"

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal, overload

from wheel_alignment._formulas import (
    number,
    numbers,
    several,
    sides,
    vector,
    vectors,
)
from wheel_alignment._values import Value, Vector

if TYPE_CHECKING:
    from wheel_alignment._types import Array, Codes, Column, Number, Numbers, Sides
    from wheel_alignment.session import ByWheel

MIN_SWEEP_LOCKED_DEG: Final[float] = 10.0
"""The least sweep with the wheels locked, from one end to the other, degrees."""

MIN_SWEEP_FREE_DEG: Final[float] = 16.0
"""The least sweep with the wheels free to roll, from one end to the other, degrees: ±
8°.
"""

SHORT_SWEEP_DEG: Final[float] = 20.0
"""The sweep below which the result carries a warning, degrees. Common practice: ± 10°
to ± 20°.
"""


@dataclass(frozen=True, slots=True, eq=False)
class SteeringAxisReadings(Value):
    """The readings of one side's steering axis; None where one is absent.

    Attributes
    ----------
    caster_deg : float or None
        Caster to the datum in degrees, in the side view; positive with the top of the
        axis rearward.
    sai_deg : float or None
        Steering-axis inclination to the datum in degrees, in the front view; positive
        with the top inboard.
    included_angle_deg : float or None
        Included angle in degrees: SAI plus camber.
    caster_trail_mm : float or None
        Caster trail in mm along the vehicle's x axis; positive when the axis meets the
        ground ahead of the contact centre.
    scrub_radius_mm : float or None
        Scrub radius in mm along the vehicle's y axis; positive when the axis meets the
        ground inboard of the contact centre.
    caster_trail_in_wheel_plane_mm : float or None
        Caster trail in mm along the wheel's heading.
    scrub_radius_in_wheel_plane_mm : float or None
        Scrub radius in mm square to the wheel's heading.
    caster_to_body_deg, sai_to_body_deg : float or None
        Caster and SAI in degrees to the body, whose pitch and roll come from the ride
        heights.
    axis_direction : tuple of 3 floats or None
        Steering axis, unit vector upward, in the vehicle frame.
    axis_point_mm : tuple of 3 floats or None
        Point of the steering axis nearest to the wheel centre straight ahead, in the
        vehicle frame, mm.
    residual_deg, residual_mm : float or None
        How far one fixed axis leaves the sweep unexplained, root mean square over the
        stations: direction in degrees, position in mm.
    """

    caster_deg: float | None
    sai_deg: float | None
    included_angle_deg: float | None
    caster_trail_mm: float | None
    scrub_radius_mm: float | None
    caster_trail_in_wheel_plane_mm: float | None
    scrub_radius_in_wheel_plane_mm: float | None
    caster_to_body_deg: float | None
    sai_to_body_deg: float | None
    axis_direction: Vector | None
    axis_point_mm: Vector | None
    residual_deg: float | None
    residual_mm: float | None


@dataclass(frozen=True, slots=True, eq=False)
class SteeringReadings(Value):
    """The readings of the steering, from the sweep; None where one is absent.

    Attributes
    ----------
    left, right : SteeringAxisReadings
        The left and the right steering axis.
    ahead_error_deg : float or None
        How far from straight ahead the front wheels stood at the ahead station, in
        degrees, positive to the left: half of right toe minus left toe, both to the
        thrust line.
    cross_caster_deg : float or None
        Caster in degrees, left minus right.
    cross_sai_deg : float or None
        SAI in degrees, left minus right.
    sweep_range_deg : float or None
        Largest minus smallest mean steer angle of the front wheels, degrees.
    """

    left: SteeringAxisReadings
    right: SteeringAxisReadings
    ahead_error_deg: float | None
    cross_caster_deg: float | None
    cross_sai_deg: float | None
    sweep_range_deg: float | None


@dataclass(frozen=True, slots=True, eq=False)
class InstantaneousAxis(Value):
    """The steering axis between two neighbouring stations of a sweep.

    Attributes
    ----------
    stations : tuple of int
        The two stations of the sweep, in the order of their steer angles.
    steer_deg : float
        Steer angle halfway between them, from the wheel's own heading straight ahead;
        positive to the left.
    caster_deg : float
        Caster to the datum, in the side view; positive with the top of the axis
        rearward.
    sai_deg : float
        Steering-axis inclination to the datum, in the front view; positive with the
        top inboard.
    caster_trail_mm : float or None
        Caster trail along the vehicle's x axis; positive when the axis meets the
        ground ahead of the contact centre.
    scrub_radius_mm : float or None
        Scrub radius along the vehicle's y axis; positive when the axis meets the
        ground inboard of the contact centre.
    """

    stations: tuple[int, int]
    steer_deg: float
    caster_deg: float
    sai_deg: float
    caster_trail_mm: float | None
    scrub_radius_mm: float | None


def _of_wheels(name: str, given: ByWheel[Numbers]) -> list[Column]:
    from wheel_alignment.session import ByWheel

    if not isinstance(given, ByWheel):
        raise TypeError(f"{name} is a ByWheel, not {type(given).__qualname__}")
    wheels = ("fl", "fr", "rl", "rr")
    return [numbers(f"{name}.{wheel}", getattr(given, wheel)) for wheel in wheels]


def _pair(pitch_deg: Column, roll_deg: Column) -> tuple[Column, Column]:
    return pitch_deg, roll_deg


@overload
def caster_deg(
    axis_direction: Sequence[float], *, on_error: Literal["raise"] = "raise"
) -> float: ...
@overload
def caster_deg(
    axis_direction: Sequence[float], *, on_error: Literal["codes"]
) -> tuple[float, int]: ...
@overload
def caster_deg(
    axis_direction: Numbers, *, on_error: Literal["raise"] = "raise"
) -> Array: ...
@overload
def caster_deg(
    axis_direction: Numbers, *, on_error: Literal["codes"]
) -> tuple[Array, Codes]: ...
def caster_deg(
    axis_direction: Numbers, *, on_error: Literal["raise", "codes"] = "raise"
) -> object:
    """Find the caster: atan2(−k_x, k_z) of the steering axis k.

    In the side view; positive with the top of the axis rearward.

    Parameters
    ----------
    axis_direction : vector or array (..., 3)
        The steering axis, a unit vector upward in the vehicle frame: x forward, y left,
        z up.
    on_error : {"raise", "codes"}
        ``raise`` raises the first error, whose ``index`` is its place. ``codes`` gives
        a pair: the values, NaN where they fail, and at each place the number of the
        error, 0 for none.

    Returns
    -------
    float or array
        Caster, degrees.

    Raises
    ------
    NotFiniteError
        A number is NaN or infinite.
    NotUnitLengthError
        The axis does not have length 1.

    Notes
    -----
    Source: ISO 8855:2011.

    Examples
    --------
    >>> import math
    >>> from wheel_alignment.steering import caster_deg
    >>> tilt = math.radians(5.0)
    >>> print(f"{caster_deg((-math.sin(tilt), 0.0, math.cos(tilt))):.6f}°")
    5.000000°
    """
    return number(
        "steering::caster_deg", on_error, *vectors("axis_direction", axis_direction)
    )


@overload
def sai_deg(
    axis_direction: Sequence[float],
    *,
    side: Literal["left", "right"],
    on_error: Literal["raise"] = "raise",
) -> float: ...
@overload
def sai_deg(
    axis_direction: Sequence[float],
    *,
    side: Literal["left", "right"],
    on_error: Literal["codes"],
) -> tuple[float, int]: ...
@overload
def sai_deg(
    axis_direction: Numbers, *, side: Sides, on_error: Literal["raise"] = "raise"
) -> Array: ...
@overload
def sai_deg(
    axis_direction: Numbers, *, side: Sides, on_error: Literal["codes"]
) -> tuple[Array, Codes]: ...
def sai_deg(
    axis_direction: Numbers,
    *,
    side: Sides,
    on_error: Literal["raise", "codes"] = "raise",
) -> object:
    """Find the steering-axis inclination: atan2(−s·k_y, k_z) of the axis k.

    In the front view; positive with the top inboard; s is +1 on the left, −1 on the
    right.

    Parameters
    ----------
    axis_direction : vector or array (..., 3)
        The steering axis, a unit vector upward in the vehicle frame: x forward, y left,
        z up.
    side : {"left", "right"} or array of them
        Of the wheel.
    on_error : {"raise", "codes"}
        ``raise`` raises the first error, whose ``index`` is its place. ``codes`` gives
        a pair: the values, NaN where they fail, and at each place the number of the
        error, 0 for none.

    Returns
    -------
    float or array
        SAI, degrees.

    Raises
    ------
    NotFiniteError
        A number is NaN or infinite.
    NotUnitLengthError
        The axis does not have length 1.

    Notes
    -----
    Source: ISO 8855:2011.

    Examples
    --------
    >>> import math
    >>> from wheel_alignment.steering import sai_deg
    >>> tilt = math.radians(12.0)
    >>> print(f"{sai_deg((0.0, -math.sin(tilt), math.cos(tilt)), side='left'):.6f}°")
    12.000000°
    """
    return number(
        "steering::sai_deg",
        on_error,
        sides(side),
        *vectors("axis_direction", axis_direction),
    )


@overload
def axis_direction(
    *,
    side: Literal["left", "right"],
    caster_deg: Number,
    sai_deg: Number,
    on_error: Literal["raise"] = "raise",
) -> Vector: ...
@overload
def axis_direction(
    *,
    side: Literal["left", "right"],
    caster_deg: Number,
    sai_deg: Number,
    on_error: Literal["codes"],
) -> tuple[Vector, int]: ...
@overload
def axis_direction(
    *,
    side: Sides,
    caster_deg: Numbers,
    sai_deg: Numbers,
    on_error: Literal["raise"] = "raise",
) -> Array: ...
@overload
def axis_direction(
    *, side: Sides, caster_deg: Numbers, sai_deg: Numbers, on_error: Literal["codes"]
) -> tuple[Array, Codes]: ...
def axis_direction(
    *,
    side: Sides,
    caster_deg: Numbers,
    sai_deg: Numbers,
    on_error: Literal["raise", "codes"] = "raise",
) -> object:
    """Find the unit vector up the steering axis from its two projected angles.

    (−tan caster, −s·tan SAI, 1) made unit, with s = +1 on the left and −1 on the right.

    Parameters
    ----------
    side : {"left", "right"} or array of them
        Of the wheel.
    caster_deg : float or array
        Caster, degrees, positive with the top rearward, −80 to 80.
    sai_deg : float or array
        SAI, degrees, positive with the top inboard, −80 to 80.
    on_error : {"raise", "codes"}
        ``raise`` raises the first error, whose ``index`` is its place. ``codes`` gives
        a pair: the values, NaN where they fail, and at each place the number of the
        error, 0 for none.

    Returns
    -------
    tuple of 3 floats, or array (..., 3)
        The steering axis, a unit vector in the vehicle frame.

    Raises
    ------
    NotFiniteError
        A number is NaN or infinite.
    AngleOutOfRangeError
        An angle beyond ± 80°.

    Notes
    -----
    Source: ISO 8855:2011.

    Examples
    --------
    >>> from wheel_alignment.steering import axis_direction, caster_deg, sai_deg
    >>> axis = axis_direction(side="right", caster_deg=5.0, sai_deg=12.0)
    >>> print(f"{caster_deg(axis):.6f}° {sai_deg(axis, side='right'):.6f}°")
    5.000000° 12.000000°
    """
    return vector(
        "steering::axis_direction",
        on_error,
        sides(side),
        numbers("caster_deg", caster_deg),
        numbers("sai_deg", sai_deg),
    )


@overload
def body_attitude_deg(
    ride_height_mm: ByWheel[float],
    *,
    wheelbase_mm: Number,
    track_mm: Number,
    on_error: Literal["raise"] = "raise",
) -> tuple[float, float]: ...
@overload
def body_attitude_deg(
    ride_height_mm: ByWheel[float],
    *,
    wheelbase_mm: Number,
    track_mm: Number,
    on_error: Literal["codes"],
) -> tuple[tuple[float, float], int]: ...
@overload
def body_attitude_deg(
    ride_height_mm: ByWheel[Numbers],
    *,
    wheelbase_mm: Numbers,
    track_mm: Numbers,
    on_error: Literal["raise"] = "raise",
) -> tuple[Array, Array]: ...
@overload
def body_attitude_deg(
    ride_height_mm: ByWheel[Numbers],
    *,
    wheelbase_mm: Numbers,
    track_mm: Numbers,
    on_error: Literal["codes"],
) -> tuple[tuple[Array, Array], Codes]: ...
def body_attitude_deg(
    ride_height_mm: ByWheel[Numbers],
    *,
    wheelbase_mm: Numbers,
    track_mm: Numbers,
    on_error: Literal["raise", "codes"] = "raise",
) -> object:
    """Find the pitch and roll of the body from its ride heights.

    Pitch = atan((rear − front)/wheelbase), nose-down positive; roll = atan((left −
    right)/track), left-up positive; each height the mean of its two wheels.

    Parameters
    ----------
    ride_height_mm : ByWheel of float or array
        The ride height at each wheel, mm, −2000 to 5000.
    wheelbase_mm : float or array
        Wheelbase, mm, 500 to 12000.
    track_mm : float or array
        Track, mm, 300 to 4000.
    on_error : {"raise", "codes"}
        ``raise`` raises the first error, whose ``index`` is its place. ``codes`` gives
        a pair: the values, NaN where they fail, and at each place the number of the
        error, 0 for none.

    Returns
    -------
    tuple of 2 floats or arrays
        Pitch and roll, degrees.

    Raises
    ------
    NotFiniteError
        A number is NaN or infinite.
    LengthOutOfRangeError
        A height, a wheelbase or a track outside its range.

    Notes
    -----
    Source: common practice, no source.

    Examples
    --------
    >>> from wheel_alignment import ByWheel
    >>> from wheel_alignment.steering import body_attitude_deg
    >>> heights = ByWheel(fl=15.0, fr=15.0, rl=30.0, rr=30.0)
    >>> pitch_deg, roll_deg = body_attitude_deg(
    ...     heights, wheelbase_mm=2730.0, track_mm=1500.0
    ... )
    >>> print(f"{pitch_deg:.4f}° {roll_deg:.4f}°")
    0.3148° 0.0000°
    """
    return several(
        "steering::body_attitude_deg",
        on_error,
        _pair,
        2,
        *_of_wheels("ride_height_mm", ride_height_mm),
        numbers("wheelbase_mm", wheelbase_mm),
        numbers("track_mm", track_mm),
    )


@overload
def axis_to_body(
    axis_direction: Sequence[float],
    *,
    pitch_deg: Number,
    roll_deg: Number,
    on_error: Literal["raise"] = "raise",
) -> Vector: ...
@overload
def axis_to_body(
    axis_direction: Sequence[float],
    *,
    pitch_deg: Number,
    roll_deg: Number,
    on_error: Literal["codes"],
) -> tuple[Vector, int]: ...
@overload
def axis_to_body(
    axis_direction: Numbers,
    *,
    pitch_deg: Numbers,
    roll_deg: Numbers,
    on_error: Literal["raise"] = "raise",
) -> Array: ...
@overload
def axis_to_body(
    axis_direction: Numbers,
    *,
    pitch_deg: Numbers,
    roll_deg: Numbers,
    on_error: Literal["codes"],
) -> tuple[Array, Codes]: ...
def axis_to_body(
    axis_direction: Numbers,
    *,
    pitch_deg: Numbers,
    roll_deg: Numbers,
    on_error: Literal["raise", "codes"] = "raise",
) -> object:
    """See a steering axis from the body instead of the ground.

    The axis turned back by the body's pitch, then by its roll. Pitch adds exactly to
    caster, and changes SAI as well: the angles cannot simply be added.

    Parameters
    ----------
    axis_direction : vector or array (..., 3)
        The steering axis, a unit vector upward in the vehicle frame: x forward, y left,
        z up.
    pitch_deg : float or array
        Pitch of the body, degrees, nose-down positive, −45 to 45.
    roll_deg : float or array
        Roll of the body, degrees, left-up positive, −45 to 45.
    on_error : {"raise", "codes"}
        ``raise`` raises the first error, whose ``index`` is its place. ``codes`` gives
        a pair: the values, NaN where they fail, and at each place the number of the
        error, 0 for none.

    Returns
    -------
    tuple of 3 floats, or array (..., 3)
        The steering axis, a unit vector in the axes of the body.

    Raises
    ------
    NotFiniteError
        A number is NaN or infinite.
    NotUnitLengthError
        The axis does not have length 1.
    AngleOutOfRangeError
        A pitch or roll beyond ± 45°.

    Notes
    -----
    Source: common practice, no source.

    Examples
    --------
    >>> from wheel_alignment.steering import axis_direction, axis_to_body, caster_deg
    >>> to_ground = axis_direction(side="left", caster_deg=10.29, sai_deg=12.0)
    >>> to_body = axis_to_body(to_ground, pitch_deg=0.31, roll_deg=0.0)
    >>> print(f"{caster_deg(to_body):.2f}°")
    10.60°
    """
    return vector(
        "steering::axis_to_body",
        on_error,
        *vectors("axis_direction", axis_direction),
        numbers("pitch_deg", pitch_deg),
        numbers("roll_deg", roll_deg),
    )
