"""What to turn, and by how much: from readings to a car within its specification.

Plain formulas come first, one for each kind of adjuster, then a solver for all of them
together. Rear before front, since rear toe moves the thrust line; camber and caster
before toe, which they change.

The vehicle maker's procedure decides what may be adjusted, in which order, at which
load and to which torque. Support the car before you go under it, settle the suspension
before you read again, and measure after the last nut is tight.
"""

# A number is an array too for the type checker, but a number comes of it.
# mypy: disable-error-code="overload-overlap"

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Generic, Literal, overload

from wheel_alignment import _arrays, _inputs, _native, _stations
from wheel_alignment._formulas import number, numbers, several
from wheel_alignment._inputs import Given
from wheel_alignment._values import T_co, Tree, Value, Vector, build, from_json
from wheel_alignment.alignment import Alignment
from wheel_alignment.conformity import Limits, Specification
from wheel_alignment.gauge import AxisAngles, _axis, _fields
from wheel_alignment.session import ByAxle, ByWheel

if TYPE_CHECKING:
    from wheel_alignment._types import Array, Codes, Number, Numbers

MAX_ADJUSTERS: Final[int] = 16
"""The most adjusters of one car."""

TURN_RANGE_DEG: Final[tuple[float, float]] = (-30.0, 30.0)
"""How far one adjuster may turn its wheels from where they are, degrees."""

SHIFT_RANGE_MM: Final[tuple[float, float]] = (-300.0, 300.0)
"""How far one adjuster may shift its wheels from where they are, mm."""

NOMINAL_WITHIN_DEG: Final[float] = 0.005
"""So near to its nominal value a reading is at it, by default, degrees; of a length ten
times as many mm.
"""

MM_PER_DEG: Final[float] = 10.0
"""So many mm count as one degree where readings are weighed against each other."""

THREAD_PITCH_RANGE_MM: Final[tuple[float, float]] = (0.2, 10.0)
"""The least and greatest pitch of a tie rod's thread, mm per turn; of a sleeve with two
threads that of both together.
"""

LEVER_RANGE_MM: Final[tuple[float, float]] = (10.0, 3000.0)
"""The least and greatest distance of a joint from the line about which it turns a
wheel, mm.
"""

STEER_RANGE_DEG: Final[tuple[float, float]] = (-30.0, 30.0)
"""How far a tie rod may turn a wheel, degrees."""

STEERING_RATIO_RANGE: Final[tuple[float, float]] = (1.0, 50.0)
"""The least and greatest ratio of the steering wheel's turn to that of the wheels."""

ECCENTRICITY_RANGE_MM: Final[tuple[float, float]] = (0.01, 100.0)
"""The least and greatest eccentricity of a cam, mm."""

TAPER_RANGE_DEG: Final[tuple[float, float]] = (0.0, 15.0)
"""The least and greatest taper of a shim, degrees."""


@dataclass(frozen=True, slots=True, eq=False)
class ToeChanges(Value, Generic[T_co]):
    """By how much the toe of either front wheel has to change.

    Attributes
    ----------
    left_deg, right_deg : float or array
        Of the left and of the right wheel, degrees, positive toe-in.
    """

    left_deg: T_co
    right_deg: T_co


@dataclass(frozen=True, slots=True, eq=False)
class EccentricAngles(Value, Generic[T_co]):
    """The two positions of an eccentric that give one shift.

    Attributes
    ----------
    near_deg : float or array
        The one nearer to the middle position, degrees, −90 to 90.
    far_deg : float or array
        The one beyond the end of its stroke, degrees: 180 less the other.
    """

    near_deg: T_co
    far_deg: T_co


@dataclass(frozen=True, slots=True, eq=False)
class ShimThicknesses(Value, Generic[T_co]):
    """By how much the shims of a wishbone have to grow at its two bolts.

    Attributes
    ----------
    front_mm, rear_mm : float or array
        At the front and at the rear bolt, mm; negative for shims to be taken out.
    """

    front_mm: T_co
    rear_mm: T_co


@dataclass(frozen=True, slots=True, eq=False)
class SubframeShift(Value, Generic[T_co]):
    """How a subframe has to be moved in its clearance holes.

    Attributes
    ----------
    lateral_mm : float or array
        To the left, mm.
    longitudinal_mm : float or array
        Forward, mm.
    yaw_deg : float or array
        To the left, about the middle between its two lower joints, degrees.
    """

    lateral_mm: T_co
    longitudinal_mm: T_co
    yaw_deg: T_co


@dataclass(frozen=True, slots=True, eq=False)
class TaperedShim(Value, Generic[T_co]):
    """A tapered shim between hub and axle.

    Attributes
    ----------
    taper_deg : float or array
        The angle between its two faces, degrees.
    bearing_deg : float or array
        Where its thick edge is, seen in the plane of the wheel: 0° at the top, positive
        toward the front, degrees, −180 to 180.
    """

    taper_deg: T_co
    bearing_deg: T_co


@dataclass(frozen=True, slots=True, eq=False)
class ShimChanges(Value, Generic[T_co]):
    """What a tapered shim changes.

    Attributes
    ----------
    camber_change_deg : float or array
        Camber, degrees, positive with the top further outward.
    toe_change_deg : float or array
        Toe, degrees, positive for more toe-in.
    """

    camber_change_deg: T_co
    toe_change_deg: T_co


@dataclass(frozen=True, slots=True, eq=False)
class ShelfShim(Value, Generic[T_co]):
    """A tapered shim as it is on the shelf, and what it leaves over.

    Attributes
    ----------
    taper_deg : float or array
        The angle between its two faces, degrees; 0 where none is better than any.
    bearing_deg : float or array
        Where its thick edge is: 0° at the top, positive toward the front, degrees, −180
        to 180.
    camber_left_deg, toe_left_deg : float or array
        What is left of the wanted changes of camber and toe, degrees.
    """

    taper_deg: T_co
    bearing_deg: T_co
    camber_left_deg: T_co
    toe_left_deg: T_co


@overload
def tie_rod_steer_deg(
    turns: Number,
    *,
    thread_pitch_mm: Number,
    arm_mm: Number,
    on_error: Literal["raise"] = "raise",
) -> float: ...
@overload
def tie_rod_steer_deg(
    turns: Number,
    *,
    thread_pitch_mm: Number,
    arm_mm: Number,
    on_error: Literal["codes"],
) -> tuple[float, int]: ...
@overload
def tie_rod_steer_deg(
    turns: Numbers,
    *,
    thread_pitch_mm: Numbers,
    arm_mm: Numbers,
    on_error: Literal["raise"] = "raise",
) -> Array: ...
@overload
def tie_rod_steer_deg(
    turns: Numbers,
    *,
    thread_pitch_mm: Numbers,
    arm_mm: Numbers,
    on_error: Literal["codes"],
) -> tuple[Array, Codes]: ...
def tie_rod_steer_deg(
    turns: Numbers,
    *,
    thread_pitch_mm: Numbers,
    arm_mm: Numbers,
    on_error: Literal["raise", "codes"] = "raise",
) -> object:
    """Find by how much turning a tie rod turns its wheel about the steering axis.

    asin(turns·pitch/arm). The arm stands square to the rod before it is turned; the rod
    keeps its direction, as a long one does. Positive turns give toe-in where you count
    them so: whether that is a longer rod depends on where it runs.

    Parameters
    ----------
    turns : float or array
        Turns of the rod, of either sign.
    thread_pitch_mm : float or array
        Pitch of the thread, mm per turn, 0.2 to 10; of a sleeve with a right-hand and a
        left-hand thread that of both together.
    arm_mm : float or array
        Steering arm: from the steering axis to the joint, mm, 10 to 3000.
    on_error : {"raise", "codes"}
        ``raise`` raises the first error, whose ``index`` is its place. ``codes`` gives
        a pair: the values, NaN where they fail, and at each place the number of the
        error, 0 for none.

    Returns
    -------
    float or array
        The turn of the wheel about the steering axis, degrees, of the sign of the
        turns.

    Raises
    ------
    NotFiniteError
        A number is NaN or infinite.
    LengthOutOfRangeError
        A pitch outside 0.2 to 10 mm or an arm outside 10 to 3000 mm.
    OutOfRangeError
        Turns that steer by more than 30°.

    Notes
    -----
    Source: textbook geometry, with published check values.

    Examples
    --------
    >>> from wheel_alignment.adjustment import tie_rod_steer_deg
    >>> print(f"{tie_rod_steer_deg(1.0, thread_pitch_mm=1.5, arm_mm=100.0):.2f}°")
    0.86°
    """
    return number(
        "adjustment::tie_rod_steer_deg",
        on_error,
        numbers("turns", turns),
        numbers("thread_pitch_mm", thread_pitch_mm),
        numbers("arm_mm", arm_mm),
    )


@overload
def tie_rod_turns(
    steer_deg: Number,
    *,
    thread_pitch_mm: Number,
    arm_mm: Number,
    on_error: Literal["raise"] = "raise",
) -> float: ...
@overload
def tie_rod_turns(
    steer_deg: Number,
    *,
    thread_pitch_mm: Number,
    arm_mm: Number,
    on_error: Literal["codes"],
) -> tuple[float, int]: ...
@overload
def tie_rod_turns(
    steer_deg: Numbers,
    *,
    thread_pitch_mm: Numbers,
    arm_mm: Numbers,
    on_error: Literal["raise"] = "raise",
) -> Array: ...
@overload
def tie_rod_turns(
    steer_deg: Numbers,
    *,
    thread_pitch_mm: Numbers,
    arm_mm: Numbers,
    on_error: Literal["codes"],
) -> tuple[Array, Codes]: ...
def tie_rod_turns(
    steer_deg: Numbers,
    *,
    thread_pitch_mm: Numbers,
    arm_mm: Numbers,
    on_error: Literal["raise", "codes"] = "raise",
) -> object:
    """Find how many turns of a tie rod turn its wheel by an angle.

    arm·sin(angle)/pitch. The geometry is that of `tie_rod_steer_deg`.

    Parameters
    ----------
    steer_deg : float or array
        The turn of the wheel about the steering axis, degrees, −30 to 30.
    thread_pitch_mm : float or array
        Pitch of the thread, mm per turn, 0.2 to 10.
    arm_mm : float or array
        Steering arm, mm, 10 to 3000.
    on_error : {"raise", "codes"}
        ``raise`` raises the first error, whose ``index`` is its place. ``codes`` gives
        a pair: the values, NaN where they fail, and at each place the number of the
        error, 0 for none.

    Returns
    -------
    float or array
        Turns, of the sign of the angle.

    Raises
    ------
    NotFiniteError
        A number is NaN or infinite.
    AngleOutOfRangeError
        An angle beyond ± 30°.
    LengthOutOfRangeError
        A pitch outside 0.2 to 10 mm or an arm outside 10 to 3000 mm.

    Notes
    -----
    Source: textbook geometry, with published check values.

    Examples
    --------
    >>> from wheel_alignment.adjustment import tie_rod_turns
    >>> print(f"{tie_rod_turns(0.43, thread_pitch_mm=1.5, arm_mm=100.0):.2f} turns")
    0.50 turns
    """
    return number(
        "adjustment::tie_rod_turns",
        on_error,
        numbers("steer_deg", steer_deg),
        numbers("thread_pitch_mm", thread_pitch_mm),
        numbers("arm_mm", arm_mm),
    )


@overload
def toe_changes_deg(
    *,
    left_toe_deg: Number,
    right_toe_deg: Number,
    total_toe_deg: Number,
    steering_wheel_deg: Number,
    steering_ratio: Number,
    on_error: Literal["raise"] = "raise",
) -> ToeChanges[float]: ...
@overload
def toe_changes_deg(
    *,
    left_toe_deg: Number,
    right_toe_deg: Number,
    total_toe_deg: Number,
    steering_wheel_deg: Number,
    steering_ratio: Number,
    on_error: Literal["codes"],
) -> tuple[ToeChanges[float], int]: ...
@overload
def toe_changes_deg(
    *,
    left_toe_deg: Numbers,
    right_toe_deg: Numbers,
    total_toe_deg: Numbers,
    steering_wheel_deg: Numbers,
    steering_ratio: Numbers,
    on_error: Literal["raise"] = "raise",
) -> ToeChanges[Array]: ...
@overload
def toe_changes_deg(
    *,
    left_toe_deg: Numbers,
    right_toe_deg: Numbers,
    total_toe_deg: Numbers,
    steering_wheel_deg: Numbers,
    steering_ratio: Numbers,
    on_error: Literal["codes"],
) -> tuple[ToeChanges[Array], Codes]: ...
def toe_changes_deg(
    *,
    left_toe_deg: Numbers,
    right_toe_deg: Numbers,
    total_toe_deg: Numbers,
    steering_wheel_deg: Numbers,
    steering_ratio: Numbers,
    on_error: Literal["raise", "codes"] = "raise",
) -> object:
    """Find the toe changes of both front wheels that centre the steering wheel.

    With the steering wheel turned by some angle the front wheels stand at these toes,
    to the thrust line; brought to its centre it turns both back by that over the
    steering ratio. Each wheel then has to have half the total toe.

    Parameters
    ----------
    left_toe_deg : float or array
        Toe of the left front wheel to the thrust line, degrees, positive toe-in.
    right_toe_deg : float or array
        Toe of the right front wheel, the same.
    total_toe_deg : float or array
        Total toe wanted, degrees.
    steering_wheel_deg : float or array
        The steering wheel's angle from its centre, positive to the left, degrees, ±
        360.
    steering_ratio : float or array
        Turn of the steering wheel over that of the road wheels, 1 to 50.
    on_error : {"raise", "codes"}
        ``raise`` raises the first error, whose ``index`` is its place. ``codes`` gives
        a pair: the values, NaN where they fail, and at each place the number of the
        error, 0 for none.

    Returns
    -------
    ToeChanges
        By how much the toe of each wheel has to change, degrees, positive toe-in.

    Raises
    ------
    NotFiniteError
        A number is NaN or infinite.
    AngleOutOfRangeError
        A toe beyond ± 20° or a steering wheel beyond ± 360°.
    OutOfRangeError
        A ratio outside 1 to 50.

    Notes
    -----
    Source: textbook geometry, derived in the function's docs.

    Examples
    --------
    >>> from wheel_alignment.adjustment import toe_changes_deg
    >>> changes = toe_changes_deg(
    ...     left_toe_deg=0.1,
    ...     right_toe_deg=0.1,
    ...     total_toe_deg=0.2,
    ...     steering_wheel_deg=8.0,
    ...     steering_ratio=16.0,
    ... )
    >>> print(f"left {changes.left_deg:+.2f}°, right {changes.right_deg:+.2f}°")
    left -0.50°, right +0.50°
    """
    return several(
        "adjustment::toe_changes_deg",
        on_error,
        ToeChanges,
        2,
        numbers("left_toe_deg", left_toe_deg),
        numbers("right_toe_deg", right_toe_deg),
        numbers("total_toe_deg", total_toe_deg),
        numbers("steering_wheel_deg", steering_wheel_deg),
        numbers("steering_ratio", steering_ratio),
    )


@overload
def eccentric_shift_mm(
    *,
    eccentricity_mm: Number,
    angle_deg: Number,
    on_error: Literal["raise"] = "raise",
) -> float: ...
@overload
def eccentric_shift_mm(
    *,
    eccentricity_mm: Number,
    angle_deg: Number,
    on_error: Literal["codes"],
) -> tuple[float, int]: ...
@overload
def eccentric_shift_mm(
    *,
    eccentricity_mm: Numbers,
    angle_deg: Numbers,
    on_error: Literal["raise"] = "raise",
) -> Array: ...
@overload
def eccentric_shift_mm(
    *,
    eccentricity_mm: Numbers,
    angle_deg: Numbers,
    on_error: Literal["codes"],
) -> tuple[Array, Codes]: ...
def eccentric_shift_mm(
    *,
    eccentricity_mm: Numbers,
    angle_deg: Numbers,
    on_error: Literal["raise", "codes"] = "raise",
) -> object:
    """Find how far an eccentric pushes what it guides.

    eccentricity·sin(angle), along the direction in which it can move.

    Parameters
    ----------
    eccentricity_mm : float or array
        Distance between the two centres of the cam, mm, 0.01 to 100.
    angle_deg : float or array
        Its angle from its middle position, degrees, −360 to 360.
    on_error : {"raise", "codes"}
        ``raise`` raises the first error, whose ``index`` is its place. ``codes`` gives
        a pair: the values, NaN where they fail, and at each place the number of the
        error, 0 for none.

    Returns
    -------
    float or array
        The shift, mm, of the sign of the angle.

    Raises
    ------
    NotFiniteError
        A number is NaN or infinite.
    LengthOutOfRangeError
        An eccentricity outside 0.01 to 100 mm.
    AngleOutOfRangeError
        An angle beyond ± 360°.

    Notes
    -----
    Source: textbook geometry.

    Examples
    --------
    >>> from wheel_alignment.adjustment import eccentric_shift_mm
    >>> print(f"{eccentric_shift_mm(eccentricity_mm=5.0, angle_deg=30.0):.2f} mm")
    2.50 mm
    """
    return number(
        "adjustment::eccentric_shift_mm",
        on_error,
        numbers("eccentricity_mm", eccentricity_mm),
        numbers("angle_deg", angle_deg),
    )


@overload
def eccentric_angles_deg(
    shift_mm: Number,
    *,
    eccentricity_mm: Number,
    on_error: Literal["raise"] = "raise",
) -> EccentricAngles[float]: ...
@overload
def eccentric_angles_deg(
    shift_mm: Number,
    *,
    eccentricity_mm: Number,
    on_error: Literal["codes"],
) -> tuple[EccentricAngles[float], int]: ...
@overload
def eccentric_angles_deg(
    shift_mm: Numbers,
    *,
    eccentricity_mm: Numbers,
    on_error: Literal["raise"] = "raise",
) -> EccentricAngles[Array]: ...
@overload
def eccentric_angles_deg(
    shift_mm: Numbers,
    *,
    eccentricity_mm: Numbers,
    on_error: Literal["codes"],
) -> tuple[EccentricAngles[Array], Codes]: ...
def eccentric_angles_deg(
    shift_mm: Numbers,
    *,
    eccentricity_mm: Numbers,
    on_error: Literal["raise", "codes"] = "raise",
) -> object:
    """Find where an eccentric has to stand for a shift.

    asin(shift/eccentricity) from its middle position, and 180° less that.

    Parameters
    ----------
    shift_mm : float or array
        The shift, mm.
    eccentricity_mm : float or array
        Distance between the two centres of the cam, mm, 0.01 to 100.
    on_error : {"raise", "codes"}
        ``raise`` raises the first error, whose ``index`` is its place. ``codes`` gives
        a pair: the values, NaN where they fail, and at each place the number of the
        error, 0 for none.

    Returns
    -------
    EccentricAngles
        Both positions, degrees from the middle one.

    Raises
    ------
    NotFiniteError
        A number is NaN or infinite.
    LengthOutOfRangeError
        An eccentricity outside 0.01 to 100 mm, or a shift beyond it.

    Notes
    -----
    Source: textbook geometry.

    Examples
    --------
    >>> from wheel_alignment.adjustment import eccentric_angles_deg
    >>> angles = eccentric_angles_deg(2.5, eccentricity_mm=5.0)
    >>> print(f"{angles.near_deg:.1f}° or {angles.far_deg:.1f}°")
    30.0° or 150.0°
    """
    return several(
        "adjustment::eccentric_angles_deg",
        on_error,
        EccentricAngles,
        2,
        numbers("shift_mm", shift_mm),
        numbers("eccentricity_mm", eccentricity_mm),
    )


@overload
def slot_tilt_deg(
    shift_mm: Number,
    *,
    height_mm: Number,
    inclination_deg: Number,
    on_error: Literal["raise"] = "raise",
) -> float: ...
@overload
def slot_tilt_deg(
    shift_mm: Number,
    *,
    height_mm: Number,
    inclination_deg: Number,
    on_error: Literal["codes"],
) -> tuple[float, int]: ...
@overload
def slot_tilt_deg(
    shift_mm: Numbers,
    *,
    height_mm: Numbers,
    inclination_deg: Numbers,
    on_error: Literal["raise"] = "raise",
) -> Array: ...
@overload
def slot_tilt_deg(
    shift_mm: Numbers,
    *,
    height_mm: Numbers,
    inclination_deg: Numbers,
    on_error: Literal["codes"],
) -> tuple[Array, Codes]: ...
def slot_tilt_deg(
    shift_mm: Numbers,
    *,
    height_mm: Numbers,
    inclination_deg: Numbers,
    on_error: Literal["raise", "codes"] = "raise",
) -> object:
    """Find by how much a strut leans further when its top mount is shifted.

    atan(tan(inclination) + shift/height) − inclination. The strut stands on a joint
    that stays, below a slot that is level. Camber and caster, or SAI, change by as
    much, in the view in which the slot runs.

    Parameters
    ----------
    shift_mm : float or array
        The shift, mm, −500 to 500.
    height_mm : float or array
        Height of the slot above the joint, mm, 10 to 3000.
    inclination_deg : float or array
        How far the strut leans toward the side to which the shift counts, degrees, −60
        to 60.
    on_error : {"raise", "codes"}
        ``raise`` raises the first error, whose ``index`` is its place. ``codes`` gives
        a pair: the values, NaN where they fail, and at each place the number of the
        error, 0 for none.

    Returns
    -------
    float or array
        The tilt, degrees, of the sign of the shift.

    Raises
    ------
    NotFiniteError
        A number is NaN or infinite.
    LengthOutOfRangeError
        A height outside 10 to 3000 mm or a shift beyond ± 500 mm.
    AngleOutOfRangeError
        An inclination beyond ± 60°.

    Notes
    -----
    Source: textbook geometry.

    Examples
    --------
    >>> from wheel_alignment.adjustment import slot_tilt_deg
    >>> print(f"{slot_tilt_deg(10.0, height_mm=600.0, inclination_deg=12.0):.2f}°")
    0.91°
    """
    return number(
        "adjustment::slot_tilt_deg",
        on_error,
        numbers("shift_mm", shift_mm),
        numbers("height_mm", height_mm),
        numbers("inclination_deg", inclination_deg),
    )


@overload
def slot_shift_mm(
    tilt_deg: Number,
    *,
    height_mm: Number,
    inclination_deg: Number,
    on_error: Literal["raise"] = "raise",
) -> float: ...
@overload
def slot_shift_mm(
    tilt_deg: Number,
    *,
    height_mm: Number,
    inclination_deg: Number,
    on_error: Literal["codes"],
) -> tuple[float, int]: ...
@overload
def slot_shift_mm(
    tilt_deg: Numbers,
    *,
    height_mm: Numbers,
    inclination_deg: Numbers,
    on_error: Literal["raise"] = "raise",
) -> Array: ...
@overload
def slot_shift_mm(
    tilt_deg: Numbers,
    *,
    height_mm: Numbers,
    inclination_deg: Numbers,
    on_error: Literal["codes"],
) -> tuple[Array, Codes]: ...
def slot_shift_mm(
    tilt_deg: Numbers,
    *,
    height_mm: Numbers,
    inclination_deg: Numbers,
    on_error: Literal["raise", "codes"] = "raise",
) -> object:
    """Find how far the top mount of a strut has to be shifted for a tilt.

    height·(tan(inclination + tilt) − tan(inclination)). The geometry is that of
    `slot_tilt_deg`.

    Parameters
    ----------
    tilt_deg : float or array
        How far the strut is to lean further, degrees, −20 to 20.
    height_mm : float or array
        Height of the slot above the joint, mm, 10 to 3000.
    inclination_deg : float or array
        How far it leans already, degrees, −60 to 60.
    on_error : {"raise", "codes"}
        ``raise`` raises the first error, whose ``index`` is its place. ``codes`` gives
        a pair: the values, NaN where they fail, and at each place the number of the
        error, 0 for none.

    Returns
    -------
    float or array
        The shift, mm, of the sign of the tilt.

    Raises
    ------
    NotFiniteError
        A number is NaN or infinite.
    LengthOutOfRangeError
        A height outside 10 to 3000 mm.
    AngleOutOfRangeError
        An inclination beyond ± 60° or a tilt beyond ± 20°.

    Notes
    -----
    Source: textbook geometry.

    Examples
    --------
    >>> from wheel_alignment.adjustment import slot_shift_mm
    >>> print(f"{slot_shift_mm(0.5, height_mm=600.0, inclination_deg=12.0):.2f} mm")
    5.48 mm
    """
    return number(
        "adjustment::slot_shift_mm",
        on_error,
        numbers("tilt_deg", tilt_deg),
        numbers("height_mm", height_mm),
        numbers("inclination_deg", inclination_deg),
    )


@overload
def shim_thicknesses_mm(
    *,
    camber_change_deg: Number,
    caster_change_deg: Number,
    camber_deg_per_mm: Number,
    caster_deg_per_mm: Number,
    on_error: Literal["raise"] = "raise",
) -> ShimThicknesses[float]: ...
@overload
def shim_thicknesses_mm(
    *,
    camber_change_deg: Number,
    caster_change_deg: Number,
    camber_deg_per_mm: Number,
    caster_deg_per_mm: Number,
    on_error: Literal["codes"],
) -> tuple[ShimThicknesses[float], int]: ...
@overload
def shim_thicknesses_mm(
    *,
    camber_change_deg: Numbers,
    caster_change_deg: Numbers,
    camber_deg_per_mm: Numbers,
    caster_deg_per_mm: Numbers,
    on_error: Literal["raise"] = "raise",
) -> ShimThicknesses[Array]: ...
@overload
def shim_thicknesses_mm(
    *,
    camber_change_deg: Numbers,
    caster_change_deg: Numbers,
    camber_deg_per_mm: Numbers,
    caster_deg_per_mm: Numbers,
    on_error: Literal["codes"],
) -> tuple[ShimThicknesses[Array], Codes]: ...
def shim_thicknesses_mm(
    *,
    camber_change_deg: Numbers,
    caster_change_deg: Numbers,
    camber_deg_per_mm: Numbers,
    caster_deg_per_mm: Numbers,
    on_error: Literal["raise", "codes"] = "raise",
) -> object:
    """Find the shims of a wishbone from the camber and caster wanted.

    A linear law in the two effects that makers state: 1 mm more at both bolts changes
    camber by C, 1 mm moved from the rear bolt to the front one changes caster by K.
    Then front = camber/C + caster/K and rear = camber/C − caster/K. Both are positive
    where shims push an upper wishbone outward.

    Parameters
    ----------
    camber_change_deg : float or array
        Change of camber wanted, degrees, −20 to 20.
    caster_change_deg : float or array
        Change of caster wanted, degrees, −20 to 20.
    camber_deg_per_mm : float or array
        C: change of camber for 1 mm more at both bolts, 0.001 to 10 in magnitude.
    caster_deg_per_mm : float or array
        K: change of caster for 1 mm moved from the rear bolt to the front one, 0.001 to
        10 in magnitude.
    on_error : {"raise", "codes"}
        ``raise`` raises the first error, whose ``index`` is its place. ``codes`` gives
        a pair: the values, NaN where they fail, and at each place the number of the
        error, 0 for none.

    Returns
    -------
    ShimThicknesses
        By how much the shims have to grow, mm.

    Raises
    ------
    NotFiniteError
        A number is NaN or infinite.
    AngleOutOfRangeError
        A change beyond ± 20°.
    OutOfRangeError
        An effect outside its range.

    Notes
    -----
    Source: linear law, with published check values.

    Examples
    --------
    >>> from wheel_alignment.adjustment import shim_thicknesses_mm
    >>> shims = shim_thicknesses_mm(
    ...     camber_change_deg=0.5,
    ...     caster_change_deg=-0.5,
    ...     camber_deg_per_mm=0.25,
    ...     caster_deg_per_mm=0.5,
    ... )
    >>> shims.front_mm, shims.rear_mm
    (1.0, 3.0)
    """
    return several(
        "adjustment::shim_thicknesses_mm",
        on_error,
        ShimThicknesses,
        2,
        numbers("camber_change_deg", camber_change_deg),
        numbers("caster_change_deg", caster_change_deg),
        numbers("camber_deg_per_mm", camber_deg_per_mm),
        numbers("caster_deg_per_mm", caster_deg_per_mm),
    )


@overload
def subframe_shift(
    *,
    left: AxisAngles[float],
    right: AxisAngles[float],
    caster_deg: Number,
    height_mm: Number,
    joint_distance_mm: Number,
    on_error: Literal["raise"] = "raise",
) -> SubframeShift[float]: ...
@overload
def subframe_shift(
    *,
    left: AxisAngles[float],
    right: AxisAngles[float],
    caster_deg: Number,
    height_mm: Number,
    joint_distance_mm: Number,
    on_error: Literal["codes"],
) -> tuple[SubframeShift[float], int]: ...
@overload
def subframe_shift(
    *,
    left: AxisAngles[Numbers],
    right: AxisAngles[Numbers],
    caster_deg: Numbers,
    height_mm: Numbers,
    joint_distance_mm: Numbers,
    on_error: Literal["raise"] = "raise",
) -> SubframeShift[Array]: ...
@overload
def subframe_shift(
    *,
    left: AxisAngles[Numbers],
    right: AxisAngles[Numbers],
    caster_deg: Numbers,
    height_mm: Numbers,
    joint_distance_mm: Numbers,
    on_error: Literal["codes"],
) -> tuple[SubframeShift[Array], Codes]: ...
def subframe_shift(
    *,
    left: AxisAngles[Numbers],
    right: AxisAngles[Numbers],
    caster_deg: Numbers,
    height_mm: Numbers,
    joint_distance_mm: Numbers,
    on_error: Literal["raise", "codes"] = "raise",
) -> object:
    """Find how a front subframe has to be moved to make both sides alike.

    The subframe carries the lower joints of both steering axes; the upper mounts stay
    in the body. Moved so, caster is as wanted on both sides, and SAI alike. Camber
    changes by as much as SAI, the other way.

    Parameters
    ----------
    left : AxisAngles
        Caster and SAI of the left side, degrees, ± 60.
    right : AxisAngles
        Caster and SAI of the right side.
    caster_deg : float or array
        Caster wanted on both sides, degrees, ± 60.
    height_mm : float or array
        Height of the upper mounts above the lower joints, mm, 10 to 3000.
    joint_distance_mm : float or array
        Distance of the lower joints from each other, mm, 10 to 3000.
    on_error : {"raise", "codes"}
        ``raise`` raises the first error, whose ``index`` is its place. ``codes`` gives
        a pair: the values, NaN where they fail, and at each place the number of the
        error, 0 for none.

    Returns
    -------
    SubframeShift
        How to move it, mm and degrees.

    Raises
    ------
    NotFiniteError
        A number is NaN or infinite.
    AngleOutOfRangeError
        Caster or SAI beyond ± 60°, or sides that differ by more than a yaw of 30° makes
        good.
    LengthOutOfRangeError
        A height or distance outside 10 to 3000 mm.

    Notes
    -----
    Source: textbook geometry, derived in the function's docs.

    Examples
    --------
    >>> from wheel_alignment.adjustment import subframe_shift
    >>> from wheel_alignment.gauge import AxisAngles
    >>> shift = subframe_shift(
    ...     left=AxisAngles(caster_deg=4.0, sai_deg=13.5),
    ...     right=AxisAngles(caster_deg=4.0, sai_deg=12.5),
    ...     caster_deg=4.0,
    ...     height_mm=600.0,
    ...     joint_distance_mm=1300.0,
    ... )
    >>> print(f"{shift.lateral_mm:.2f} mm to the left")
    -5.52 mm to the left
    """
    return several(
        "adjustment::subframe_shift",
        on_error,
        SubframeShift,
        3,
        *_axis("left", left),
        *_axis("right", right),
        numbers("caster_deg", caster_deg),
        numbers("height_mm", height_mm),
        numbers("joint_distance_mm", joint_distance_mm),
    )


@overload
def tapered_shim(
    *,
    camber_deg: Number,
    camber_change_deg: Number,
    toe_change_deg: Number,
    on_error: Literal["raise"] = "raise",
) -> TaperedShim[float]: ...
@overload
def tapered_shim(
    *,
    camber_deg: Number,
    camber_change_deg: Number,
    toe_change_deg: Number,
    on_error: Literal["codes"],
) -> tuple[TaperedShim[float], int]: ...
@overload
def tapered_shim(
    *,
    camber_deg: Numbers,
    camber_change_deg: Numbers,
    toe_change_deg: Numbers,
    on_error: Literal["raise"] = "raise",
) -> TaperedShim[Array]: ...
@overload
def tapered_shim(
    *,
    camber_deg: Numbers,
    camber_change_deg: Numbers,
    toe_change_deg: Numbers,
    on_error: Literal["codes"],
) -> tuple[TaperedShim[Array], Codes]: ...
def tapered_shim(
    *,
    camber_deg: Numbers,
    camber_change_deg: Numbers,
    toe_change_deg: Numbers,
    on_error: Literal["raise", "codes"] = "raise",
) -> object:
    """Find the tapered shim that changes camber and toe by these amounts.

    Hub and wheel tip toward the thin edge by the taper, about a line in the face of the
    flange: exactly, for turns do not add. Nearly, camber = taper·cos(bearing) and toe =
    −taper·sin(bearing). It is the same on both sides of the car.

    Parameters
    ----------
    camber_deg : float or array
        Camber of the wheel without the shim, degrees, −20 to 20.
    camber_change_deg : float or array
        Change of camber wanted, degrees, −20 to 20.
    toe_change_deg : float or array
        Change of toe wanted, degrees, positive toe-in, −20 to 20.
    on_error : {"raise", "codes"}
        ``raise`` raises the first error, whose ``index`` is its place. ``codes`` gives
        a pair: the values, NaN where they fail, and at each place the number of the
        error, 0 for none.

    Returns
    -------
    TaperedShim
        Taper and the bearing of the thick edge, degrees.

    Raises
    ------
    NotFiniteError
        A number is NaN or infinite.
    AngleOutOfRangeError
        An angle beyond ± 20°.

    Notes
    -----
    Source: textbook geometry, derived in the function's docs.

    Examples
    --------
    >>> from wheel_alignment.adjustment import tapered_shim
    >>> shim = tapered_shim(
    ...     camber_deg=-1.5, camber_change_deg=0.75, toe_change_deg=0.25
    ... )
    >>> print(f"{shim.taper_deg:.2f}° at {shim.bearing_deg:.1f}°")
    0.79° at -18.4°
    """
    return several(
        "adjustment::tapered_shim",
        on_error,
        TaperedShim,
        2,
        numbers("camber_deg", camber_deg),
        numbers("camber_change_deg", camber_change_deg),
        numbers("toe_change_deg", toe_change_deg),
    )


@overload
def tapered_shim_changes(
    *,
    camber_deg: Number,
    shim: TaperedShim[float],
    on_error: Literal["raise"] = "raise",
) -> ShimChanges[float]: ...
@overload
def tapered_shim_changes(
    *,
    camber_deg: Number,
    shim: TaperedShim[float],
    on_error: Literal["codes"],
) -> tuple[ShimChanges[float], int]: ...
@overload
def tapered_shim_changes(
    *,
    camber_deg: Numbers,
    shim: TaperedShim[Numbers],
    on_error: Literal["raise"] = "raise",
) -> ShimChanges[Array]: ...
@overload
def tapered_shim_changes(
    *,
    camber_deg: Numbers,
    shim: TaperedShim[Numbers],
    on_error: Literal["codes"],
) -> tuple[ShimChanges[Array], Codes]: ...
def tapered_shim_changes(
    *,
    camber_deg: Numbers,
    shim: TaperedShim[Numbers],
    on_error: Literal["raise", "codes"] = "raise",
) -> object:
    """Find what a tapered shim changes: the inverse of `tapered_shim`.

    Thick at the top it brings the top outward, thick at the front it gives toe-out.

    Parameters
    ----------
    camber_deg : float or array
        Camber of the wheel without the shim, degrees, −20 to 20.
    shim : TaperedShim
        Taper, 0 to 15°, and the bearing of its thick edge, ± 360°.
    on_error : {"raise", "codes"}
        ``raise`` raises the first error, whose ``index`` is its place. ``codes`` gives
        a pair: the values, NaN where they fail, and at each place the number of the
        error, 0 for none.

    Returns
    -------
    ShimChanges
        Changes of camber and toe, degrees.

    Raises
    ------
    NotFiniteError
        A number is NaN or infinite.
    AngleOutOfRangeError
        A camber beyond ± 20°, a taper outside 0 to 15° or a bearing beyond ± 360°.

    Notes
    -----
    Source: textbook geometry, derived in the function's docs.

    Examples
    --------
    >>> from wheel_alignment.adjustment import TaperedShim, tapered_shim_changes
    >>> shim = TaperedShim(taper_deg=0.5, bearing_deg=90.0)
    >>> changes = tapered_shim_changes(camber_deg=-1.5, shim=shim)
    >>> print(f"toe {changes.toe_change_deg:+.2f}°")
    toe -0.50°
    """
    return several(
        "adjustment::tapered_shim_changes",
        on_error,
        ShimChanges,
        2,
        numbers("camber_deg", camber_deg),
        *_fields("shim", shim, TaperedShim),
    )


@overload
def tapered_shim_on_shelf(
    *,
    camber_deg: Number,
    camber_change_deg: Number,
    toe_change_deg: Number,
    taper_step_deg: Number,
    most_taper_deg: Number,
    bearing_step_deg: Number,
    on_error: Literal["raise"] = "raise",
) -> ShelfShim[float]: ...
@overload
def tapered_shim_on_shelf(
    *,
    camber_deg: Number,
    camber_change_deg: Number,
    toe_change_deg: Number,
    taper_step_deg: Number,
    most_taper_deg: Number,
    bearing_step_deg: Number,
    on_error: Literal["codes"],
) -> tuple[ShelfShim[float], int]: ...
@overload
def tapered_shim_on_shelf(
    *,
    camber_deg: Numbers,
    camber_change_deg: Numbers,
    toe_change_deg: Numbers,
    taper_step_deg: Numbers,
    most_taper_deg: Numbers,
    bearing_step_deg: Numbers,
    on_error: Literal["raise"] = "raise",
) -> ShelfShim[Array]: ...
@overload
def tapered_shim_on_shelf(
    *,
    camber_deg: Numbers,
    camber_change_deg: Numbers,
    toe_change_deg: Numbers,
    taper_step_deg: Numbers,
    most_taper_deg: Numbers,
    bearing_step_deg: Numbers,
    on_error: Literal["codes"],
) -> tuple[ShelfShim[Array], Codes]: ...
def tapered_shim_on_shelf(
    *,
    camber_deg: Numbers,
    camber_change_deg: Numbers,
    toe_change_deg: Numbers,
    taper_step_deg: Numbers,
    most_taper_deg: Numbers,
    bearing_step_deg: Numbers,
    on_error: Literal["raise", "codes"] = "raise",
) -> object:
    """Find the tapered shim from the shelf that comes nearest to what is wanted.

    Nearest is the least root of the sum of the squares of what is left over.

    Parameters
    ----------
    camber_deg : float or array
        Camber of the wheel without the shim, degrees, −20 to 20.
    camber_change_deg : float or array
        Change of camber wanted, degrees, −20 to 20.
    toe_change_deg : float or array
        Change of toe wanted, degrees, positive toe-in, −20 to 20.
    taper_step_deg : float or array
        Tapers are whole multiples of this, degrees, 0.001 to 15.
    most_taper_deg : float or array
        The greatest taper on the shelf, degrees, 0 to 15.
    bearing_step_deg : float or array
        The shim can be turned to whole multiples of this, counted from the top to 360°,
        degrees, 0.1 to 360.
    on_error : {"raise", "codes"}
        ``raise`` raises the first error, whose ``index`` is its place. ``codes`` gives
        a pair: the values, NaN where they fail, and at each place the number of the
        error, 0 for none.

    Returns
    -------
    ShelfShim
        The shim, and what it leaves over, degrees.

    Raises
    ------
    NotFiniteError
        A number is NaN or infinite.
    AngleOutOfRangeError
        An angle or a step outside its range.

    Notes
    -----
    Source: definition of this project.

    Examples
    --------
    >>> from wheel_alignment.adjustment import tapered_shim_on_shelf
    >>> shim = tapered_shim_on_shelf(
    ...     camber_deg=-1.5,
    ...     camber_change_deg=0.75,
    ...     toe_change_deg=0.25,
    ...     taper_step_deg=0.25,
    ...     most_taper_deg=1.5,
    ...     bearing_step_deg=15.0,
    ... )
    >>> print(f"{shim.taper_deg}° at {shim.bearing_deg}°")
    0.75° at -15.0°
    >>> print(f"left: camber {shim.camber_left_deg:.3f}°, toe {shim.toe_left_deg:.3f}°")
    left: camber 0.026°, toe 0.056°
    """
    return several(
        "adjustment::tapered_shim_on_shelf",
        on_error,
        ShelfShim,
        4,
        numbers("camber_deg", camber_deg),
        numbers("camber_change_deg", camber_change_deg),
        numbers("toe_change_deg", toe_change_deg),
        numbers("taper_step_deg", taper_step_deg),
        numbers("most_taper_deg", most_taper_deg),
        numbers("bearing_step_deg", bearing_step_deg),
    )


@dataclass(frozen=True, slots=True, eq=False)
class Line(Value):
    """A line in the vehicle frame.

    Attributes
    ----------
    point_mm : tuple of 3 floats
        A point of it, mm.
    direction : tuple of 3 floats
        A unit vector along it.
    """

    point_mm: Vector
    direction: Vector

    def __post_init__(self) -> None:
        """Make tuples of the lists and arrays that stand for them."""
        for name in ("point_mm", "direction"):
            three = _arrays.three(getattr(self, name), name)
            object.__setattr__(self, name, tuple(three))


@dataclass(frozen=True, slots=True, eq=False)
class Rigid(Value):
    """What one unit of an adjuster does to wheels as rigid bodies.

    It turns them about a line, shifts them along it, or both, as a screw does. The line
    stands still in the body.

    Attributes
    ----------
    wheels : ByWheel of bool
        The wheels that it carries: one, or both of an axle on a subframe.
    line : Line or None
        The line; None for the steering axis of each wheel, wherever other adjusters
        have brought it.
    turn_deg : float
        By how much one unit turns the wheels about the line, degrees, right-handed;
        about a steering axis to the left.
    shift_mm : float
        By how much one unit shifts them along the line, mm.
    carries_axis : bool
        Whether the steering axis goes with the wheel, or stays.
    """

    wheels: ByWheel[bool]
    line: Line | None = None
    turn_deg: float = 0.0
    shift_mm: float = 0.0
    carries_axis: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Adjuster(Value):
    """What a mechanic can turn, shift or shim.

    Attributes
    ----------
    name : str
        What people call it.
    effect : Rigid or mapping of str to float
        What one unit does: geometry, from which all readings follow exactly, or the
        measured change of readings per unit, by their paths. What is not listed but
        follows from what is, does follow: totals, cross values, the thrust angle and
        with it front toe.
    least, most : float
        How far it can be moved from where it is, units; `least` is not above 0, `most`
        not below.
    step : float
        It moves by whole multiples of this, units, at least 1e-6; 0 for any amount.
    unit : str
        What one unit is, for people: turn, mm, notch.
    """

    name: str
    effect: Rigid | Mapping[str, float]
    least: float
    most: float
    step: float = 0.0
    unit: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class Move(Value):
    """One thing to do.

    Attributes
    ----------
    adjuster : int
        Which adjuster: its place in the list.
    amount : float
        By how much, in its units.
    foreseen : Alignment
        The readings once this and all earlier moves are done.
    """

    adjuster: int
    amount: float
    foreseen: Alignment


@dataclass(frozen=True, slots=True, eq=False)
class Unmet(Value):
    """A limit that cannot be met.

    Attributes
    ----------
    path : str
        The path of the reading.
    limits : Limits
        Its limits, in its own unit.
    nearest : float
        What it comes to.
    short_by : float
        How far that is from the limit.
    at_end : tuple of int
        The adjusters that would bring it nearer, were they not at the end of their
        range: their places in the list. Empty when no adjuster moves it, when its steps
        are too coarse, or when other limits stand against it.
    """

    path: str
    limits: Limits
    nearest: float
    short_by: float
    at_end: tuple[int, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Adjustment(Tree):
    """What to do, and what comes of it.

    Attributes
    ----------
    moves : tuple of Move
        The moves, in the order in which they are done.
    foreseen : Alignment
        The readings once all are done. Those of turning, to the body, and of the sweep
        itself are None: nobody foresees them.
    unmet : tuple of Unmet
        The limits that cannot be met, in the order of the tree.
    unforeseen : tuple of str
        The paths with limits of which nothing could be foreseen, for the reading is
        None.
    """

    moves: tuple[Move, ...]
    foreseen: Alignment
    unmet: tuple[Unmet, ...]
    unforeseen: tuple[str, ...]


def effects(
    readings: Alignment,
    adjusters: Sequence[Adjuster],
    *,
    loaded_radius_mm: float
    | ByAxle[float | None]
    | Mapping[str, float | None]
    | None = None,
    centreline: Literal["axle_midpoints", "side_line_bisector"] = "axle_midpoints",
) -> tuple[Alignment, ...]:
    """Find what one unit of each adjuster changes of every reading.

    Of geometry these are the derivatives of the formulas of the readings themselves; of
    measured effects the figures given, and what follows from them.

    Parameters
    ----------
    readings : Alignment
        The readings of the car as it stands.
    adjusters : sequence of Adjuster
        At most 16.
    loaded_radius_mm : number or mapping of axles, optional
        Radii under load, mm; the rolling radius stands in.
    centreline : {"axle_midpoints", "side_line_bisector"}
        The centreline to which the readings refer.

    Returns
    -------
    tuple of Alignment
        Of each adjuster, degrees and mm per unit; None where the reading is.

    Raises
    ------
    AlignmentError
        As `fewest_moves`: `TooManyError`, `NotFiniteError`, `OutOfRangeError`,
        `AngleOutOfRangeError`, `LengthOutOfRangeError`, `NotUnitLengthError`,
        `UnknownReadingError`, `MissingInputError`, `SpindleNotLateralError`,
        `MirroredError`, `SidesSwappedError` or `DifferentVehiclesError`.

    Examples
    --------
    >>> from wheel_alignment import ByWheel, adjustment
    >>> from wheel_alignment.simulate import VirtualVehicle
    >>> left = ByWheel(True, False, False, False)
    >>> tie_rod = adjustment.Adjuster(
    ...     "left tie rod", adjustment.Rigid(left, turn_deg=-0.86), -10.0, 10.0
    ... )
    >>> (effect,) = adjustment.effects(VirtualVehicle().truth(), [tie_rod])
    >>> print(f"toe {effect.wheels.fl.toe_deg:+.3f}° per turn")
    toe +0.838° per turn
    """
    text = _native.effects(
        _values(readings), _adjusters(adjusters), _stance(loaded_radius_mm, centreline)
    )
    return tuple(build(Alignment, tree) for tree in json.loads(text))


def foresee(
    readings: Alignment,
    adjusters: Sequence[Adjuster],
    amounts: Sequence[float],
    *,
    loaded_radius_mm: float
    | ByAxle[float | None]
    | Mapping[str, float | None]
    | None = None,
    centreline: Literal["axle_midpoints", "side_line_bisector"] = "axle_midpoints",
) -> Alignment:
    """Foresee the readings once adjusters have been moved, one after the other.

    Each wheel then stands on its ground again, straight up or down, and the body stays
    where it was.

    Parameters
    ----------
    readings : Alignment
        The readings of the car as it stands.
    adjusters : sequence of Adjuster
        At most 16, in the order in which they are moved.
    amounts : sequence of float
        By how much each is moved, in its units.
    loaded_radius_mm : number or mapping of axles, optional
        Radii under load, mm; the rolling radius stands in.
    centreline : {"axle_midpoints", "side_line_bisector"}
        The centreline to which the readings refer.

    Returns
    -------
    Alignment
        Every reading that can be foreseen, degrees and mm.

    Raises
    ------
    AlignmentError
        As `fewest_moves`: `TooManyError`, `NotFiniteError`, `OutOfRangeError`,
        `AngleOutOfRangeError`, `LengthOutOfRangeError`, `NotUnitLengthError`,
        `UnknownReadingError`, `MissingInputError`, `SpindleNotLateralError`,
        `MirroredError`, `SidesSwappedError` or `DifferentVehiclesError`.

    Examples
    --------
    >>> from wheel_alignment.adjustment import Adjuster, foresee
    >>> from wheel_alignment.simulate import VirtualVehicle
    >>> shims = Adjuster("shims", {"wheels.fl.camber_deg": 0.25}, -3.0, 6.0, unit="mm")
    >>> after = foresee(VirtualVehicle().truth(), [shims], [2.0])
    >>> print(f"{after.wheels.fl.camber_deg:.2f}°")
    0.00°
    >>> print(f"{after.axles.front.cross_camber_deg:.2f}°")
    0.50°
    """
    text = _native.foresee(
        _values(readings),
        _adjusters(adjusters),
        _arrays.listed(amounts, "amounts"),
        _stance(loaded_radius_mm, centreline),
    )
    return from_json(Alignment, text)


def fewest_moves(
    readings: Alignment,
    adjusters: Sequence[Adjuster],
    specification: Specification | Given,
    *,
    nominal_within_deg: float | None = NOMINAL_WITHIN_DEG,
    loaded_radius_mm: float
    | ByAxle[float | None]
    | Mapping[str, float | None]
    | None = None,
    centreline: Literal["axle_midpoints", "side_line_bisector"] = "axle_midpoints",
) -> Adjustment:
    """Find the fewest moves that bring a car to its specification, in their order.

    What comes first: that all limits are met. If they cannot be, the one that is missed
    by most is given up, and so on until the others are met; those given up then come as
    near as the others allow. After that the readings with nominal values together come
    as near as the adjusters allow (root of the sum of squares), within
    `nominal_within_deg`; then as few adjusters as possible are moved; then nearness
    counts, to nominal values and to the middle between two limits.

    Parameters
    ----------
    readings : Alignment
        The readings of the car as it stands.
    adjusters : sequence of Adjuster
        At most 16. Their order does not matter.
    specification : Specification, mapping, str or path-like
        Limits and nominal values, cross limits among them, as `conformity.judge_all`
        takes them.
    nominal_within_deg : float or None
        So near to its nominal value a reading is at it, degrees, of a length ten times
        as many mm; None when it is enough that all limits are met.
    loaded_radius_mm : number or mapping of axles, optional
        Radii under load, mm; the rolling radius stands in.
    centreline : {"axle_midpoints", "side_line_bisector"}
        The centreline to which the readings refer.

    Returns
    -------
    Adjustment
        The moves, rear before front, camber and caster before toe; what is then read;
        and the limits that cannot be met.

    Raises
    ------
    TooManyError
        More than 16 adjusters.
    NotFiniteError, OutOfRangeError
        A number that is none; a range that does not hold 0, a step below 1e-6 that is
        not 0, or figures beyond 1e6.
    AngleOutOfRangeError, LengthOutOfRangeError
        An adjuster that turns its wheels by more than 30° or shifts them by more than
        300 mm.
    NotUnitLengthError
        The direction of a line, or a spindle.
    UnknownReadingError, NotASpecificationError
        A path that is no reading's; limits that are none.
    MissingInputError
        An adjuster without wheels; a wheel or a steering axis that was not measured but
        is moved.
    SpindleNotLateralError, MirroredError, SidesSwappedError, DifferentVehiclesError
        Wheels that no car has.

    Notes
    -----
    The vehicle maker's procedure decides what may be adjusted, in which order, at which
    load and to which torque. Support the car before anybody goes under it, settle the
    suspension before reading again, and measure after the last nut is tight.

    Of whole steps at most 400 ways to round are looked at, of the four best sets of
    each number of adjusters: with coarse steps neither that no fewer moves would do nor
    that a limit cannot be met is proven.

    Examples
    --------
    >>> from wheel_alignment.adjustment import Adjuster, fewest_moves
    >>> from wheel_alignment.conformity import Specification, Tolerance
    >>> from wheel_alignment.simulate import VirtualVehicle
    >>> wanted = Specification(
    ...     {"wheels.{fl,fr}.camber_deg": Tolerance(nominal=0.0, minus=0.4, plus=0.4)}
    ... )
    >>> cams = [
    ...     Adjuster(f"{wheel} cam", {f"wheels.{wheel}.camber_deg": 0.1}, -4.0, 4.0)
    ...     for wheel in ("fl", "fr")
    ... ]
    >>> found = fewest_moves(VirtualVehicle().truth(), cams, wanted)
    >>> [(cams[move.adjuster].name, move.amount) for move in found.moves]
    [('fl cam', 4.0), ('fr cam', 4.0)]
    >>> found.unmet
    ()
    """
    text = _native.fewest_moves(
        _values(readings),
        _adjusters(adjusters),
        _inputs.specification(specification),
        nominal_within_deg,
        _stance(loaded_radius_mm, centreline),
    )
    return from_json(Adjustment, text)


def _values(readings: Alignment) -> list[float | None]:
    if not isinstance(readings, Alignment):
        kind = type(readings).__qualname__
        raise TypeError(f"readings is Alignment, not {kind}")
    return list(readings.values())


def _adjusters(adjusters: Sequence[Adjuster]) -> list[Adjuster]:
    listed = list(adjusters)
    for index, adjuster in enumerate(listed):
        if not isinstance(adjuster, Adjuster):
            kind = type(adjuster).__qualname__
            raise TypeError(f"adjusters[{index}] is Adjuster, not {kind}")
    return listed


def _stance(loaded_radius_mm: object, centreline: str) -> dict[str, object]:
    stance = {"centreline": centreline}
    if loaded_radius_mm is None:
        return dict(stance)
    return {"loaded_radius_mm": _stations.per_axle(loaded_radius_mm), **stance}
