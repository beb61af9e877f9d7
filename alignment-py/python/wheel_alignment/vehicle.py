"""Four wheels: thrust line, setback, dimensions."""

from __future__ import annotations

from dataclasses import dataclass

from wheel_alignment._values import Value


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
