"""One wheel: camber, toe, contact centre."""

# A number is an array too for the type checker, but a number comes of it.
# mypy: disable-error-code="overload-overlap"

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal, overload

from wheel_alignment._formulas import number, numbers, sides, vector, vectors
from wheel_alignment._values import Value, Vector

if TYPE_CHECKING:
    from wheel_alignment._types import Array, Codes, Number, Numbers, Sides

REFERENCE_DIAMETER_RANGE_MM: Final[tuple[float, float]] = (100.0, 3000.0)
"""The least and greatest diameter to which a toe length refers, mm."""


@dataclass(frozen=True, slots=True, eq=False)
class WheelReadings(Value):
    """The readings of one wheel; None where one is absent.

    Attributes
    ----------
    camber_deg : float or None
        Camber in degrees: inclination of the wheel plane to the datum's normal;
        positive with the top outward.
    toe_deg : float or None
        Toe in degrees, positive toe-in: of a front wheel to the thrust line, of a rear
        wheel to the centreline.
    toe_to_centreline_deg : float or None
        Toe to the vehicle's centreline in degrees, positive toe-in.
    centre_mm : tuple of 3 floats or None
        Wheel centre in the vehicle frame, mm: x forward, y left, z up, from the
        midpoint of the rear wheel centres.
    spindle : tuple of 3 floats or None
        Spindle, unit vector outward, in the vehicle frame.
    runout_deg : float or None
        Runout of the clamp in degrees: angle between the spindle and the nearest axis
        of the target.
    rolling_radius_mm : float or None
        Rolling radius in mm: travel of the wheel centre over roll angle.
    """

    camber_deg: float | None
    toe_deg: float | None
    toe_to_centreline_deg: float | None
    centre_mm: Vector | None
    spindle: Vector | None
    runout_deg: float | None
    rolling_radius_mm: float | None


@overload
def camber_deg(
    spindle: Sequence[float], *, on_error: Literal["raise"] = "raise"
) -> float: ...
@overload
def camber_deg(
    spindle: Sequence[float], *, on_error: Literal["codes"]
) -> tuple[float, int]: ...
@overload
def camber_deg(spindle: Numbers, *, on_error: Literal["raise"] = "raise") -> Array: ...
@overload
def camber_deg(
    spindle: Numbers, *, on_error: Literal["codes"]
) -> tuple[Array, Codes]: ...
def camber_deg(
    spindle: Numbers, *, on_error: Literal["raise", "codes"] = "raise"
) -> object:
    """Find the camber: −asin(a_z) of the outward spindle a.

    Positive with the top of the wheel outward.

    Parameters
    ----------
    spindle : vector or array (..., 3)
        The outward spindle, a unit vector in the vehicle frame: x forward, y left, z
        up.
    on_error : {"raise", "codes"}
        ``raise`` raises the first error, whose ``index`` is its place. ``codes`` gives
        a pair: the values, NaN where they fail, and at each place the number of the
        error, 0 for none.

    Returns
    -------
    float or array
        Camber, degrees, −90 to 90.

    Raises
    ------
    NotFiniteError
        A number is NaN or infinite.
    NotUnitLengthError
        The spindle does not have length 1.

    Notes
    -----
    Source: ISO 8855:2011.

    Examples
    --------
    The left wheel's spindle points left and a little down: the top leans outward.

    >>> import math
    >>> from wheel_alignment.wheel import camber_deg
    >>> tilt = math.radians(1.0)
    >>> print(f"{camber_deg((0.0, math.cos(tilt), -math.sin(tilt))):.6f}°")
    1.000000°

    An array of spindles, of which one is none:

    >>> values, codes = camber_deg(
    ...     [[0.0, 1.0, 0.0], [0.0, 2.0, 0.0]], on_error="codes"
    ... )
    >>> codes.tolist()
    [0, -4]
    """
    return number("wheel::camber_deg", on_error, *vectors("spindle", spindle))


@overload
def toe_deg(
    spindle: Sequence[float],
    *,
    side: Literal["left", "right"],
    on_error: Literal["raise"] = "raise",
) -> float: ...
@overload
def toe_deg(
    spindle: Sequence[float],
    *,
    side: Literal["left", "right"],
    on_error: Literal["codes"],
) -> tuple[float, int]: ...
@overload
def toe_deg(
    spindle: Numbers, *, side: Sides, on_error: Literal["raise"] = "raise"
) -> Array: ...
@overload
def toe_deg(
    spindle: Numbers, *, side: Sides, on_error: Literal["codes"]
) -> tuple[Array, Codes]: ...
def toe_deg(
    spindle: Numbers, *, side: Sides, on_error: Literal["raise", "codes"] = "raise"
) -> object:
    """Find the toe: atan2(a_x, s·a_y) of the outward spindle a.

    Positive toe-in; s is +1 on the left, −1 on the right. This is the horizontal trace
    of the wheel plane, the toe of a cambered wheel too.

    Parameters
    ----------
    spindle : vector or array (..., 3)
        The outward spindle, a unit vector in the vehicle frame: x forward, y left, z
        up.
    side : {"left", "right"} or array of them
        Of the wheel.
    on_error : {"raise", "codes"}
        ``raise`` raises the first error, whose ``index`` is its place. ``codes`` gives
        a pair: the values, NaN where they fail, and at each place the number of the
        error, 0 for none.

    Returns
    -------
    float or array
        Toe to the vehicle's x axis, degrees, −180 to 180.

    Raises
    ------
    NotFiniteError
        A number is NaN or infinite.
    NotUnitLengthError
        The spindle does not have length 1.
    SpindleNotLateralError
        The spindle is vertical.

    Notes
    -----
    Source: ISO 8855:2011.

    Examples
    --------
    Toe-in of the left wheel: it points right, so its spindle swings forward.

    >>> import math
    >>> from wheel_alignment.wheel import toe_deg
    >>> turn = math.radians(1.0)
    >>> print(f"{toe_deg((math.sin(turn), math.cos(turn), 0.0), side='left'):.6f}°")
    1.000000°
    """
    return number("wheel::toe_deg", on_error, sides(side), *vectors("spindle", spindle))


@overload
def contact_centre_mm(
    *,
    centre_mm: Sequence[float],
    spindle: Sequence[float],
    loaded_radius_mm: Number,
    on_error: Literal["raise"] = "raise",
) -> Vector: ...
@overload
def contact_centre_mm(
    *,
    centre_mm: Sequence[float],
    spindle: Sequence[float],
    loaded_radius_mm: Number,
    on_error: Literal["codes"],
) -> tuple[Vector, int]: ...
@overload
def contact_centre_mm(
    *,
    centre_mm: Numbers,
    spindle: Numbers,
    loaded_radius_mm: Numbers,
    on_error: Literal["raise"] = "raise",
) -> Array: ...
@overload
def contact_centre_mm(
    *,
    centre_mm: Numbers,
    spindle: Numbers,
    loaded_radius_mm: Numbers,
    on_error: Literal["codes"],
) -> tuple[Array, Codes]: ...
def contact_centre_mm(
    *,
    centre_mm: Numbers,
    spindle: Numbers,
    loaded_radius_mm: Numbers,
    on_error: Literal["raise", "codes"] = "raise",
) -> object:
    """Find the contact centre: from the wheel centre down the wheel plane.

    By the loaded radius along the steepest descent, −(z − a_z·a)/‖z − a_z·a‖, with the
    outward spindle a. Straight down would miss the ground's true place under a cambered
    wheel: by 25 mm of scrub at −5°.

    Parameters
    ----------
    centre_mm : vector or array (..., 3)
        The wheel centre, mm, in the vehicle frame: x forward, y left, z up.
    spindle : vector or array (..., 3)
        The outward spindle, a unit vector in the vehicle frame: x forward, y left, z
        up.
    loaded_radius_mm : float or array
        Wheel centre to ground in the wheel plane, mm, 50 to 1500.
    on_error : {"raise", "codes"}
        ``raise`` raises the first error, whose ``index`` is its place. ``codes`` gives
        a pair: the values, NaN where they fail, and at each place the number of the
        error, 0 for none.

    Returns
    -------
    tuple of 3 floats, or array (..., 3)
        The contact centre, mm, in the vehicle frame.

    Raises
    ------
    NotFiniteError
        A number is NaN or infinite.
    NotUnitLengthError
        The spindle does not have length 1.
    LengthOutOfRangeError
        A radius outside 50 to 1500 mm.
    SpindleNotLateralError
        The spindle is vertical: its wheel plane has no descent.

    Notes
    -----
    Source: textbook geometry.

    Examples
    --------
    >>> from wheel_alignment.wheel import contact_centre_mm
    >>> contact_centre_mm(
    ...     centre_mm=(0.0, 700.0, 300.0),
    ...     spindle=(0.0, 1.0, 0.0),
    ...     loaded_radius_mm=300.0,
    ... )
    (0.0, 700.0, 0.0)
    """
    return vector(
        "wheel::contact_centre_mm",
        on_error,
        *vectors("centre_mm", centre_mm),
        *vectors("spindle", spindle),
        numbers("loaded_radius_mm", loaded_radius_mm),
    )


@overload
def toe_length_mm(
    toe_deg: Number,
    *,
    reference_diameter_mm: Number,
    on_error: Literal["raise"] = "raise",
) -> float: ...
@overload
def toe_length_mm(
    toe_deg: Number, *, reference_diameter_mm: Number, on_error: Literal["codes"]
) -> tuple[float, int]: ...
@overload
def toe_length_mm(
    toe_deg: Numbers,
    *,
    reference_diameter_mm: Numbers,
    on_error: Literal["raise"] = "raise",
) -> Array: ...
@overload
def toe_length_mm(
    toe_deg: Numbers, *, reference_diameter_mm: Numbers, on_error: Literal["codes"]
) -> tuple[Array, Codes]: ...
def toe_length_mm(
    toe_deg: Numbers,
    *,
    reference_diameter_mm: Numbers,
    on_error: Literal["raise", "codes"] = "raise",
) -> object:
    """Turn toe into a length: D·tan(toe).

    Always state D: some manuals mean the rim flange (nominal rim + 35 mm), some the
    nominal rim, some the tyre. For total toe, add the lengths of both wheels.

    Parameters
    ----------
    toe_deg : float or array
        Toe, degrees, positive toe-in, −45 to 45.
    reference_diameter_mm : float or array
        The diameter D to which the length refers, mm, 100 to 3000.
    on_error : {"raise", "codes"}
        ``raise`` raises the first error, whose ``index`` is its place. ``codes`` gives
        a pair: the values, NaN where they fail, and at each place the number of the
        error, 0 for none.

    Returns
    -------
    float or array
        Toe, mm, positive toe-in.

    Raises
    ------
    NotFiniteError
        A number is NaN or infinite.
    AngleOutOfRangeError
        A toe beyond ± 45°.
    LengthOutOfRangeError
        A diameter outside 100 to 3000 mm.

    Notes
    -----
    Source: common practice, with published check values.

    Examples
    --------
    >>> from wheel_alignment.wheel import toe_length_mm
    >>> print(f"{toe_length_mm(0.33, reference_diameter_mm=416.0):.1f} mm")
    2.4 mm
    """
    return number(
        "wheel::toe_length_mm",
        on_error,
        numbers("toe_deg", toe_deg),
        numbers("reference_diameter_mm", reference_diameter_mm),
    )


@overload
def toe_from_length_deg(
    toe_length_mm: Number,
    *,
    reference_diameter_mm: Number,
    on_error: Literal["raise"] = "raise",
) -> float: ...
@overload
def toe_from_length_deg(
    toe_length_mm: Number, *, reference_diameter_mm: Number, on_error: Literal["codes"]
) -> tuple[float, int]: ...
@overload
def toe_from_length_deg(
    toe_length_mm: Numbers,
    *,
    reference_diameter_mm: Numbers,
    on_error: Literal["raise"] = "raise",
) -> Array: ...
@overload
def toe_from_length_deg(
    toe_length_mm: Numbers,
    *,
    reference_diameter_mm: Numbers,
    on_error: Literal["codes"],
) -> tuple[Array, Codes]: ...
def toe_from_length_deg(
    toe_length_mm: Numbers,
    *,
    reference_diameter_mm: Numbers,
    on_error: Literal["raise", "codes"] = "raise",
) -> object:
    """Turn a toe length into an angle: atan(length/D).

    Parameters
    ----------
    toe_length_mm : float or array
        Toe as a length, mm, positive toe-in, −D to D.
    reference_diameter_mm : float or array
        The diameter D to which the length refers, mm, 100 to 3000.
    on_error : {"raise", "codes"}
        ``raise`` raises the first error, whose ``index`` is its place. ``codes`` gives
        a pair: the values, NaN where they fail, and at each place the number of the
        error, 0 for none.

    Returns
    -------
    float or array
        Toe, degrees, positive toe-in.

    Raises
    ------
    NotFiniteError
        A number is NaN or infinite.
    LengthOutOfRangeError
        A diameter outside 100 to 3000 mm, or a length beyond ± D.

    Notes
    -----
    Source: common practice, with published check values.

    Examples
    --------
    >>> from wheel_alignment.wheel import toe_from_length_deg
    >>> print(f"{60 * toe_from_length_deg(2.0, reference_diameter_mm=390.6):.1f}′")
    17.6′
    """
    return number(
        "wheel::toe_from_length_deg",
        on_error,
        numbers("toe_length_mm", toe_length_mm),
        numbers("reference_diameter_mm", reference_diameter_mm),
    )


@overload
def side_slip_mm_per_m(
    angle_deg: Number, *, on_error: Literal["raise"] = "raise"
) -> float: ...
@overload
def side_slip_mm_per_m(
    angle_deg: Number, *, on_error: Literal["codes"]
) -> tuple[float, int]: ...
@overload
def side_slip_mm_per_m(
    angle_deg: Numbers, *, on_error: Literal["raise"] = "raise"
) -> Array: ...
@overload
def side_slip_mm_per_m(
    angle_deg: Numbers, *, on_error: Literal["codes"]
) -> tuple[Array, Codes]: ...
def side_slip_mm_per_m(
    angle_deg: Numbers, *, on_error: Literal["raise", "codes"] = "raise"
) -> object:
    """Turn an angle into side slip: 1000·tan(angle).

    Parameters
    ----------
    angle_deg : float or array
        The slip angle or toe, degrees, −45 to 45.
    on_error : {"raise", "codes"}
        ``raise`` raises the first error, whose ``index`` is its place. ``codes`` gives
        a pair: the values, NaN where they fail, and at each place the number of the
        error, 0 for none.

    Returns
    -------
    float or array
        Side slip, mm per m of travel, of the sign of the angle.

    Raises
    ------
    NotFiniteError
        A number is NaN or infinite.
    AngleOutOfRangeError
        An angle beyond ± 45°.

    Notes
    -----
    Source: common practice, with published check values.

    Examples
    --------
    >>> from wheel_alignment.wheel import side_slip_mm_per_m
    >>> print(f"{side_slip_mm_per_m(0.2865):.3f} mm per m")
    5.000 mm per m
    """
    return number(
        "wheel::side_slip_mm_per_m", on_error, numbers("angle_deg", angle_deg)
    )


@overload
def angle_from_side_slip_deg(
    side_slip_mm_per_m: Number, *, on_error: Literal["raise"] = "raise"
) -> float: ...
@overload
def angle_from_side_slip_deg(
    side_slip_mm_per_m: Number, *, on_error: Literal["codes"]
) -> tuple[float, int]: ...
@overload
def angle_from_side_slip_deg(
    side_slip_mm_per_m: Numbers, *, on_error: Literal["raise"] = "raise"
) -> Array: ...
@overload
def angle_from_side_slip_deg(
    side_slip_mm_per_m: Numbers, *, on_error: Literal["codes"]
) -> tuple[Array, Codes]: ...
def angle_from_side_slip_deg(
    side_slip_mm_per_m: Numbers, *, on_error: Literal["raise", "codes"] = "raise"
) -> object:
    """Turn side slip into an angle: atan(side slip/1000).

    Parameters
    ----------
    side_slip_mm_per_m : float or array
        Side slip, mm per m of travel, −1000 to 1000.
    on_error : {"raise", "codes"}
        ``raise`` raises the first error, whose ``index`` is its place. ``codes`` gives
        a pair: the values, NaN where they fail, and at each place the number of the
        error, 0 for none.

    Returns
    -------
    float or array
        The angle, degrees, of the sign of the side slip.

    Raises
    ------
    NotFiniteError
        A number is NaN or infinite.
    LengthOutOfRangeError
        A side slip beyond ± 1000 mm per m.

    Notes
    -----
    Source: common practice, with published check values.

    Examples
    --------
    >>> from wheel_alignment.wheel import angle_from_side_slip_deg
    >>> print(f"{angle_from_side_slip_deg(5.0):.4f}°")
    0.2865°
    """
    return number(
        "wheel::angle_from_side_slip_deg",
        on_error,
        numbers("side_slip_mm_per_m", side_slip_mm_per_m),
    )
