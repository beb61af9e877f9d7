"""The steering axis: caster, SAI, included angle, trail, scrub."""

from __future__ import annotations

from dataclasses import dataclass

from wheel_alignment._values import Value, Vector


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
