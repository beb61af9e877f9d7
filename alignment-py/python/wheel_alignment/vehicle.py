"""Four wheels: thrust line, setback, dimensions."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

from wheel_alignment import _native, session
from wheel_alignment._values import Value, from_json
from wheel_alignment.compensation import Compensation
from wheel_alignment.error import WheelNotSeenError
from wheel_alignment.pose import Pose, three
from wheel_alignment.session import ByAxle, ByWheel
from wheel_alignment.wheel import WheelReadings

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from wheel_alignment.session import StationLike

WHEELBASE_RANGE_MM: Final[tuple[float, float]] = _native.WHEELBASE_RANGE_MM
"""The least and greatest wheelbase, mm, on each side."""

TRACK_RANGE_MM: Final[tuple[float, float]] = _native.TRACK_RANGE_MM
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
    data, counts = session.station(poses, "poses")
    for wheel, count in zip(session.WHEELS, counts, strict=True):
        if count == 0:
            raise WheelNotSeenError(
                f"poses.{wheel}: the wheel's target was not seen", wheel=wheel
            )
        if count > 1:
            raise ValueError(f"poses.{wheel}: one pose is needed, not {count} frames")
    arguments = {
        "compensation": compensation,
        "up": three(up, "up"),
        "loaded_radius_mm": session.per_axle(loaded_radius_mm),
        "centreline": centreline,
    }
    return from_json(AheadReadings, _native.ahead_readings(data, arguments))
