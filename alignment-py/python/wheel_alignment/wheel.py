"""One wheel: camber, toe, contact centre."""

from __future__ import annotations

from dataclasses import dataclass

from wheel_alignment._values import Value, Vector


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
