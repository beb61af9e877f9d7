"""Four wheels: thrust line, setback, dimensions."""

# A number is an array too for the type checker, but a number comes of it.
# mypy: disable-error-code="overload-overlap"

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal, overload

from wheel_alignment import _arrays, _native, _stations
from wheel_alignment._formulas import number, numbers, sides
from wheel_alignment._values import Value, from_json
from wheel_alignment.compensation import Compensation
from wheel_alignment.error import WheelNotSeenError
from wheel_alignment.pose import Pose
from wheel_alignment.session import ByAxle, ByWheel
from wheel_alignment.wheel import WheelReadings

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from wheel_alignment._types import Array, Codes, Number, Numbers, Sides
    from wheel_alignment.session import StationLike

WHEELBASE_RANGE_MM: Final[tuple[float, float]] = (500.0, 12_000.0)
"""The least and greatest wheelbase, mm, on each side."""

TRACK_RANGE_MM: Final[tuple[float, float]] = (300.0, 4000.0)
"""The least and greatest track, mm."""


@dataclass(frozen=True, slots=True, eq=False)
class AxleReadings(Value):
    """The readings of one axle; None where one is absent.

    Attributes
    ----------
    total_toe_deg : float or None
        Toe of both wheels in degrees, positive toe-in.
    cross_camber_deg : float or None
        Camber in degrees, left minus right.
    track_mm : float or None
        Track in mm between the wheel centres, across the vehicle.
    track_at_ground_mm : float or None
        Track in mm between the contact centres, across the vehicle.
    setback_deg : float or None
        Setback in degrees, positive with the right wheel further rearward.
    setback_mm : float or None
        Setback in mm, positive with the right wheel further rearward.
    """

    total_toe_deg: float | None
    cross_camber_deg: float | None
    track_mm: float | None
    track_at_ground_mm: float | None
    setback_deg: float | None
    setback_mm: float | None


@dataclass(frozen=True, slots=True, eq=False)
class ChassisReadings(Value):
    """The readings of the chassis, taken at the wheel centres; None where absent.

    Attributes
    ----------
    thrust_angle_deg : float or None
        Thrust angle in degrees, positive with the thrust line to the right of the
        centreline.
    wheelbase_left_mm, wheelbase_right_mm : float or None
        Wheelbase in mm on the left and on the right.
    wheelbase_difference_mm : float or None
        Wheelbase in mm, left minus right.
    diagonal_fl_rr_mm, diagonal_fr_rl_mm : float or None
        The diagonals in mm.
    diagonal_difference_mm : float or None
        The diagonal from front left minus the one from front right, mm.
    track_difference_mm : float or None
        Track in mm, front minus rear.
    axle_offset_mm : float or None
        Offset of the rear axle from the front one in mm, positive to the left.
    """

    thrust_angle_deg: float | None
    wheelbase_left_mm: float | None
    wheelbase_right_mm: float | None
    wheelbase_difference_mm: float | None
    diagonal_fl_rr_mm: float | None
    diagonal_fr_rl_mm: float | None
    diagonal_difference_mm: float | None
    track_difference_mm: float | None
    axle_offset_mm: float | None


@overload
def thrust_angle_deg(
    *, rear_left_toe_deg: Number, rear_right_toe_deg: Number
) -> float: ...
@overload
def thrust_angle_deg(
    *, rear_left_toe_deg: Numbers, rear_right_toe_deg: Numbers
) -> Array: ...
def thrust_angle_deg(
    *, rear_left_toe_deg: Numbers, rear_right_toe_deg: Numbers
) -> object:
    """Find the thrust angle: (rear left toe − rear right toe)/2.

    Positive when the thrust line points to the right of the centreline. NaN in gives
    NaN out.

    Parameters
    ----------
    rear_left_toe_deg : float or array
        Toe of the rear left wheel to the centreline, degrees, positive toe-in.
    rear_right_toe_deg : float or array
        Toe of the rear right wheel to the centreline, degrees, positive toe-in.

    Returns
    -------
    float or array
        The thrust angle, degrees.

    Notes
    -----
    Source: common practice, no source.

    Examples
    --------
    >>> from wheel_alignment.vehicle import thrust_angle_deg
    >>> thrust_angle_deg(rear_left_toe_deg=0.30, rear_right_toe_deg=-0.10)
    0.2
    """
    return number(
        "vehicle::thrust_angle_deg",
        "raise",
        numbers("rear_left_toe_deg", rear_left_toe_deg),
        numbers("rear_right_toe_deg", rear_right_toe_deg),
    )


@overload
def toe_to_thrust_line_deg(
    toe_to_centreline_deg: Number,
    *,
    side: Literal["left", "right"],
    thrust_angle_deg: Number,
) -> float: ...
@overload
def toe_to_thrust_line_deg(
    toe_to_centreline_deg: Numbers, *, side: Sides, thrust_angle_deg: Numbers
) -> Array: ...
def toe_to_thrust_line_deg(
    toe_to_centreline_deg: Numbers, *, side: Sides, thrust_angle_deg: Numbers
) -> object:
    """Refer a front wheel's toe to the thrust line: toe − s·thrust angle.

    With s = +1 on the left and −1 on the right. Total toe is the same to either line.
    NaN in gives NaN out.

    Parameters
    ----------
    toe_to_centreline_deg : float or array
        Toe of a front wheel to the centreline, degrees, positive toe-in.
    side : {"left", "right"} or array of them
        Of the wheel.
    thrust_angle_deg : float or array
        The thrust angle, degrees, positive to the right.

    Returns
    -------
    float or array
        Toe to the thrust line, degrees, positive toe-in.

    Notes
    -----
    Source: common practice, no source.

    Examples
    --------
    >>> from wheel_alignment.vehicle import toe_to_thrust_line_deg
    >>> toe_to_thrust_line_deg(
    ...     0.25, side=["left", "right"], thrust_angle_deg=0.10
    ... ).round(9).tolist()
    [0.15, 0.35]
    """
    return number(
        "vehicle::toe_to_thrust_line_deg",
        "raise",
        sides(side),
        numbers("toe_to_centreline_deg", toe_to_centreline_deg),
        numbers("thrust_angle_deg", thrust_angle_deg),
    )


@overload
def dog_tracking_offset_mm(
    *,
    wheelbase_mm: Number,
    thrust_angle_deg: Number,
    on_error: Literal["raise"] = "raise",
) -> float: ...
@overload
def dog_tracking_offset_mm(
    *, wheelbase_mm: Number, thrust_angle_deg: Number, on_error: Literal["codes"]
) -> tuple[float, int]: ...
@overload
def dog_tracking_offset_mm(
    *,
    wheelbase_mm: Numbers,
    thrust_angle_deg: Numbers,
    on_error: Literal["raise"] = "raise",
) -> Array: ...
@overload
def dog_tracking_offset_mm(
    *, wheelbase_mm: Numbers, thrust_angle_deg: Numbers, on_error: Literal["codes"]
) -> tuple[Array, Codes]: ...
def dog_tracking_offset_mm(
    *,
    wheelbase_mm: Numbers,
    thrust_angle_deg: Numbers,
    on_error: Literal["raise", "codes"] = "raise",
) -> object:
    """Find the dog tracking: wheelbase·tan(thrust angle).

    How far the rear axle runs beside the track of the front one. The car travels along
    its thrust line. With a positive thrust angle that line points to the right of the
    centreline, and the rear runs to the right of the front. Measured square to the
    centreline; square to the travel it is wheelbase·sin(thrust angle), 0.02 % less at
    1°.

    Parameters
    ----------
    wheelbase_mm : float or array
        Wheelbase, mm, 500 to 12000.
    thrust_angle_deg : float or array
        The thrust angle, degrees, positive to the right, −45 to 45.
    on_error : {"raise", "codes"}
        ``raise`` raises the first error, whose ``index`` is its place. ``codes`` gives
        a pair: the values, NaN where they fail, and at each place the number of the
        error, 0 for none.

    Returns
    -------
    float or array
        The offset, mm, positive to the right.

    Raises
    ------
    NotFiniteError
        A number is NaN or infinite.
    LengthOutOfRangeError
        A wheelbase outside 500 to 12000 mm.
    AngleOutOfRangeError
        A thrust angle beyond ± 45°.

    Notes
    -----
    Source: textbook geometry.

    Examples
    --------
    >>> from wheel_alignment.vehicle import dog_tracking_offset_mm
    >>> offset_mm = dog_tracking_offset_mm(wheelbase_mm=2600.0, thrust_angle_deg=1.0)
    >>> print(f"{offset_mm:.2f} mm")
    45.38 mm
    """
    return number(
        "vehicle::dog_tracking_offset_mm",
        on_error,
        numbers("wheelbase_mm", wheelbase_mm),
        numbers("thrust_angle_deg", thrust_angle_deg),
    )


@dataclass(frozen=True, slots=True, eq=False)
class AheadReadings(Value):
    """What four poses show straight ahead.

    Attributes
    ----------
    wheels : ByWheel of WheelReadings
        Per wheel.
    axles : ByAxle of AxleReadings
        Per axle.
    chassis : ChassisReadings
        The whole.
    rig_from_vehicle : Pose
        The axes of the vehicle frame seen in the rig, and its origin.
    """

    wheels: ByWheel[WheelReadings]
    axles: ByAxle[AxleReadings]
    chassis: ChassisReadings
    rig_from_vehicle: Pose


def ahead_readings(
    poses: StationLike,
    *,
    compensation: ByWheel[Compensation] | Mapping[str, Compensation],
    up: ArrayLike,
    loaded_radius_mm: float
    | ByAxle[float | None]
    | Mapping[str, float | None]
    | None = None,
    centreline: Literal["axle_midpoints", "side_line_bisector"] = "axle_midpoints",
) -> AheadReadings:
    """Take one reading from four poses of a car that stands straight ahead.

    Camber, toe, thrust line, setback and dimensions. `batch.ahead_readings` takes many
    at once.

    Parameters
    ----------
    poses : array of shape (4, 4, 4) or pose-like
        ``rig_from_target`` of fl, fr, rl and rr, as `Session.from_arrays` takes a
        station; one pose per wheel.
    compensation : ByWheel of Compensation
        Where each wheel sits in its target.
    up : array-like of 3 numbers
        Unit vector upward in the rig frame.
    loaded_radius_mm : number or mapping of axles, optional
        Loaded radius, mm, needed for the track at the ground alone; the rolling radius
        stands in for it.
    centreline : {"axle_midpoints", "side_line_bisector"}
        How the vehicle's centreline is defined.

    Returns
    -------
    AheadReadings
        Total toe is the sum of both toes. Thrust angle is (toe rl − toe rr)/2, to the
        right positive. Front toe is to the thrust line.

    Raises
    ------
    WheelNotSeenError
        A wheel has no pose.
    AlignmentError
        As the poses; a length that no car has, wheels that are no car's, sides or ends
        exchanged.

    Examples
    --------
    >>> from wheel_alignment import compensation
    >>> from wheel_alignment.simulate import VirtualVehicle
    >>> from wheel_alignment.vehicle import ahead_readings
    >>> poses = VirtualVehicle().session().to_arrays()
    >>> clamps = compensation.from_rolling(
    ...     poses["rolling"], up=[0, 0, 1], clamp_standoff_mm=90
    ... )
    >>> now = ahead_readings(
    ...     poses["ahead"], compensation=clamps.all_wheels(), up=[0, 0, 1]
    ... )
    >>> print(f"{now.wheels.fl.camber_deg:.3f}°, {now.chassis.thrust_angle_deg:.3f}°")
    -0.500°, 0.000°
    """
    data, counts = _stations.station(poses, "poses")
    for wheel, count in zip(_stations.WHEELS, counts, strict=True):
        if count == 0:
            raise WheelNotSeenError(
                f"poses.{wheel}: the wheel's target was not seen", wheel=wheel
            )
        if count > 1:
            raise ValueError(f"poses.{wheel}: one pose is needed, not {count} frames")
    arguments = {
        "compensation": compensation,
        "up": _arrays.three(up, "up"),
        "loaded_radius_mm": _stations.per_axle(loaded_radius_mm),
        "centreline": centreline,
    }
    return from_json(AheadReadings, _native.ahead_readings(data, arguments))
