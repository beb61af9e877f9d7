"""The true readings of a car in the engine, and the session that goes with them.

They are taken from the joint axes and anchors that the engine itself reports, by the
definitions of the readings alone, so that nothing here can share a mistake with the
estimation of those axes from poses.
"""

import math
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from scipy.optimize import brentq

from engine import (
    AXLE_OF_WHEEL,
    SIDE_OF_WHEEL,
    STEERED,
    UP,
    WHEELS,
    WHEELS_OF_AXLE,
    Bay,
    Car,
    Matrix,
    Procedure,
    Session,
    Vector,
    session_of,
)
from frames import contact_centre, unit

Readings = dict[str, Any]

# A wheel brought to 20 deg never stands at 20.000: this far past a sweep still counts.
TURN_MARGIN_DEG = 1.0


class Measured(NamedTuple):
    session: Session
    readings: Readings
    """By dotted path, as in the tree of readings."""
    vehicle_from_rig: Matrix
    """Rows are the vehicle's axes in the rig frame, at the ahead station."""


def measure_in_engine(
    car: Car,
    procedure: Procedure,
    pose_form: str = "rotation",
    engine: str = "MuJoCo",
) -> Measured:
    """Takes the car through the procedure: what the rig sees, and what is true."""
    bay = Bay(car, procedure, engine)
    session = session_of(bay, pose_form)
    bay.stand_ahead()
    corners = _Corners.of(bay)
    readings = {
        **_wheels(bay, corners),
        **_axles(corners),
        **_chassis(corners),
        **_steering(corners),
        **_turns(bay, corners),
    }
    if procedure.ride_height_at_origin_mm is not None:
        bay.stand_ahead()
        body_up = corners.frame.vector(bay.engine.body_up())
        session["ride_height_mm"] = _ride_heights(
            procedure.ride_height_at_origin_mm, body_up, corners
        )
        readings |= _steering_to_body(body_up, corners)
    for path in _not_shown(procedure, readings):
        del readings[path]
    return Measured(session, readings, corners.frame.axes)


def _not_shown(procedure: Procedure, readings: Readings) -> list[str]:
    """What rests on a radius that wheels spun in the air do not show."""
    if procedure.spinning is None:
        return []
    loaded = procedure.loaded_radius_mm or {}
    unknown = [axle for axle in WHEELS_OF_AXLE if axle not in loaded]
    hidden = [path for path in readings if path.endswith(".rolling_radius_mm")]
    hidden += [f"axles.{axle}.track_at_ground_mm" for axle in unknown]
    if "front" in unknown:
        # The ideal toe-out rests on where the steering axes meet the ground.
        at_ground = ("caster_trail", "scrub_radius", "ackermann_deg")
        hidden += [path for path in readings if any(name in path for name in at_ground)]
    return hidden


@dataclass(frozen=True)
class _VehicleFrame:
    axes: Matrix  # rows: forward, left, up, in the rig
    origin: Vector

    @classmethod
    def of(cls, bay: Bay) -> "_VehicleFrame":
        left, right = (bay.engine.spindle(wheel).point for wheel in ("rl", "rr"))
        return cls(bay.vehicle_axes, (left + right) / 2)

    def vector(self, in_rig: Vector) -> Vector:
        return self.axes @ in_rig

    def point(self, in_rig: Vector) -> Vector:
        return self.axes @ (in_rig - self.origin)


@dataclass(frozen=True)
class _Corners:
    """The geometry at the ahead station, in the vehicle frame."""

    frame: _VehicleFrame
    outward: dict[str, Vector]
    centre: dict[str, Vector]
    contact: dict[str, Vector]
    axis_direction: dict[str, Vector]
    axis_point: dict[str, Vector]

    @classmethod
    def of(cls, bay: Bay) -> "_Corners":
        frame = _VehicleFrame.of(bay)
        outward, centre, contact = {}, {}, {}
        for wheel in WHEELS:
            spindle = bay.engine.spindle(wheel)
            outward[wheel] = frame.vector(spindle.direction)
            centre[wheel] = frame.point(spindle.point)
            contact[wheel] = contact_centre(
                centre[wheel], outward[wheel], bay.radius_mm(wheel), UP
            )
        axes = {side: bay.engine.steering_axis(side) for side in STEERED}
        return cls(
            frame,
            outward,
            centre,
            contact,
            {side: frame.vector(axis.direction) for side, axis in axes.items()},
            {side: frame.point(axis.point) for side, axis in axes.items()},
        )

    def camber_deg(self, wheel: str) -> float:
        return -math.degrees(math.asin(self.outward[wheel][2]))

    def toe_to_centreline_deg(self, wheel: str) -> float:
        return -SIDE_OF_WHEEL[wheel] * _yaw_deg(wheel, self.outward[wheel])

    def thrust_deg(self) -> float:
        return (self.toe_to_centreline_deg("rl") - self.toe_to_centreline_deg("rr")) / 2

    def track_mm(self, axle: str) -> float:
        left, right = WHEELS_OF_AXLE[axle]
        return (self.centre[left] - self.centre[right])[1]

    def wheelbase_mm(self, side: str) -> float:
        front, rear = ("fl", "rl") if side == "left" else ("fr", "rr")
        return (self.centre[front] - self.centre[rear])[0]

    def mean_wheelbase_mm(self) -> float:
        return (self.wheelbase_mm("left") + self.wheelbase_mm("right")) / 2

    def axis_at_ground(self, side: str) -> Vector:
        """Where the steering axis meets the level of its wheel's contact centre."""
        direction, point = self.axis_direction[side], self.axis_point[side]
        drop = (self.contact[STEERED[side]] - point)[2] / direction[2]
        return point + drop * direction


def _heading(wheel: str, outward: Vector) -> Vector:
    return unit(SIDE_OF_WHEEL[wheel] * np.cross(outward, UP))


def _yaw_deg(wheel: str, outward: Vector) -> float:
    forward, left, _ = _heading(wheel, outward)
    return math.degrees(math.atan2(left, forward))


def _wheels(bay: Bay, corners: _Corners) -> Readings:
    readings: Readings = {}
    thrust = corners.thrust_deg()
    to_thrust_line = {"fl": -thrust, "fr": thrust, "rl": 0.0, "rr": 0.0}
    for wheel, axle in AXLE_OF_WHEEL.items():
        toe = corners.toe_to_centreline_deg(wheel)
        readings |= {
            f"wheels.{wheel}.camber_deg": corners.camber_deg(wheel),
            f"wheels.{wheel}.toe_deg": toe + to_thrust_line[wheel],
            f"wheels.{wheel}.toe_to_centreline_deg": toe,
            f"wheels.{wheel}.centre_mm": corners.centre[wheel],
            f"wheels.{wheel}.spindle": corners.outward[wheel],
            f"wheels.{wheel}.runout_deg": _runout_deg(bay, wheel),
            f"wheels.{wheel}.rolling_radius_mm": bay.car.rolling_radius_mm[axle],
        }
    return readings


def _runout_deg(bay: Bay, wheel: str) -> float:
    spindle = bay.engine.spindle(wheel).direction
    target_axes, _ = bay.engine.target(wheel)
    along = np.abs(spindle @ target_axes)
    nearest = target_axes[:, np.argmax(along)]
    across = np.linalg.norm(np.cross(spindle, nearest))
    return math.degrees(math.atan2(across, along.max()))


def _axles(corners: _Corners) -> Readings:
    readings: Readings = {}
    for axle, (left, right) in WHEELS_OF_AXLE.items():
        toe_left = corners.toe_to_centreline_deg(left)
        toe_right = corners.toe_to_centreline_deg(right)
        setback, track, _ = corners.centre[left] - corners.centre[right]
        at_ground = (corners.contact[left] - corners.contact[right])[1]
        cross_camber = corners.camber_deg(left) - corners.camber_deg(right)
        readings |= {
            f"axles.{axle}.total_toe_deg": toe_left + toe_right,
            f"axles.{axle}.cross_camber_deg": cross_camber,
            f"axles.{axle}.track_mm": track,
            f"axles.{axle}.track_at_ground_mm": at_ground,
            f"axles.{axle}.setback_mm": setback,
            f"axles.{axle}.setback_deg": math.degrees(math.atan(setback / track)),
        }
    return readings


def _chassis(corners: _Corners) -> Readings:
    seen_from_above = {wheel: centre[:2] for wheel, centre in corners.centre.items()}
    fl, fr, rl, rr = (seen_from_above[wheel] for wheel in WHEELS)
    left, right = corners.wheelbase_mm("left"), corners.wheelbase_mm("right")
    diagonal_left, diagonal_right = np.linalg.norm(fl - rr), np.linalg.norm(fr - rl)
    rear_from_front = (rl + rr) / 2 - (fl + fr) / 2
    return {
        "chassis.thrust_angle_deg": corners.thrust_deg(),
        "chassis.wheelbase_left_mm": left,
        "chassis.wheelbase_right_mm": right,
        "chassis.wheelbase_difference_mm": left - right,
        "chassis.diagonal_fl_rr_mm": diagonal_left,
        "chassis.diagonal_fr_rl_mm": diagonal_right,
        "chassis.diagonal_difference_mm": diagonal_left - diagonal_right,
        "chassis.track_difference_mm": corners.track_mm("front")
        - corners.track_mm("rear"),
        "chassis.axle_offset_mm": rear_from_front @ unit(fl - fr),
    }


def _steering(corners: _Corners) -> Readings:
    toe_left = corners.toe_to_centreline_deg("fl") - corners.thrust_deg()
    toe_right = corners.toe_to_centreline_deg("fr") + corners.thrust_deg()
    readings: Readings = {"steering.ahead_error_deg": (toe_right - toe_left) / 2}
    caster, sai = {}, {}
    for side, wheel in STEERED.items():
        inboard = -SIDE_OF_WHEEL[wheel]
        axis = corners.axis_direction[side]
        caster[side] = math.degrees(math.atan2(-axis[0], axis[2]))
        sai[side] = math.degrees(math.atan2(inboard * axis[1], axis[2]))
        heading = _heading(wheel, corners.outward[wheel])
        offset = corners.axis_at_ground(side) - corners.contact[wheel]
        across = np.cross(UP, heading)
        of_side = {
            "caster_deg": caster[side],
            "sai_deg": sai[side],
            "included_angle_deg": sai[side] + corners.camber_deg(wheel),
            "caster_trail_mm": offset[0],
            "scrub_radius_mm": inboard * offset[1],
            "caster_trail_in_wheel_plane_mm": offset @ heading,
            "scrub_radius_in_wheel_plane_mm": inboard * (offset @ across),
            "axis_direction": axis,
            "axis_point_mm": corners.axis_point[side],
            "residual_deg": 0.0,
            "residual_mm": 0.0,
        }
        readings |= {
            f"steering.{side}.{name}": value for name, value in of_side.items()
        }
    return readings | {
        "steering.cross_caster_deg": caster["left"] - caster["right"],
        "steering.cross_sai_deg": sai["left"] - sai["right"],
    }


def _ride_heights(
    at_origin_mm: float, body_up: Vector, corners: _Corners
) -> dict[str, float]:
    """What a rule would read: pitch over the mean wheelbase, roll over each track.

    The body's own axes are the vehicle's, pitched and then rolled.
    """
    pitch_slope = body_up[0] / body_up[2]
    roll_slope = -body_up[1] / np.hypot(body_up[0], body_up[2])
    front_drop = {"front": pitch_slope * corners.mean_wheelbase_mm(), "rear": 0.0}
    return {
        wheel: at_origin_mm
        - front_drop[axle]
        + SIDE_OF_WHEEL[wheel] * roll_slope * corners.track_mm(axle) / 2
        for wheel, axle in AXLE_OF_WHEEL.items()
    }


def _steering_to_body(body_up: Vector, corners: _Corners) -> Readings:
    """The projected angles in the body's axes, whose forward is over the centreline."""
    body_forward = unit(np.cross([0.0, 1.0, 0.0], body_up))
    body_left = np.cross(body_up, body_forward)
    readings: Readings = {}
    for side, wheel in STEERED.items():
        axis = corners.axis_direction[side]
        forward, left, up = axis @ body_forward, axis @ body_left, axis @ body_up
        inboard = -SIDE_OF_WHEEL[wheel] * left
        readings |= {
            f"steering.{side}.caster_to_body_deg": math.degrees(
                math.atan2(-forward, up)
            ),
            f"steering.{side}.sai_to_body_deg": math.degrees(math.atan2(inboard, up)),
        }
    return readings


def swept_deg(
    car: Car, procedure: Procedure, engine: str = "MuJoCo"
) -> dict[str, list[float]]:
    """How far each front wheel has turned from straight ahead, station by station."""
    bay = Bay(car, procedure, engine)
    bay.stand_ahead()
    corners = _Corners.of(bay)
    return {
        side: [
            _turned_deg(bay, corners, wheel, steer_deg)
            for steer_deg in procedure.sweep_steer_deg
        ]
        for side, wheel in STEERED.items()
    }


def _turned_deg(bay: Bay, corners: _Corners, wheel: str, steer_deg: float) -> float:
    bay.steer_to(steer_deg, bay.procedure.ahead_roll_deg)
    outward = corners.frame.vector(bay.engine.spindle(wheel).direction)
    return _yaw_deg(wheel, outward) - _yaw_deg(wheel, corners.outward[wheel])


def _turns(bay: Bay, corners: _Corners) -> Readings:
    procedure = bay.procedure

    def turned_deg(wheel: str, steer_deg: float) -> float:
        return _turned_deg(bay, corners, wheel, steer_deg)

    readings: Readings = {
        f"turns.lock_{lock}.{side}_deg": turned_deg(wheel, steer_deg)
        for lock, steer_deg in procedure.lock_steer_deg.items()
        for side, wheel in STEERED.items()
    }
    mean_steer = [
        (turned_deg("fl", steer_deg) + turned_deg("fr", steer_deg)) / 2
        for steer_deg in procedure.sweep_steer_deg
    ]
    readings["steering.sweep_range_deg"] = max(mean_steer) - min(mean_steer)

    custom = {"wheel": "inner", "angle_deg": 20.0} | procedure.reference.get("turn", {})
    furthest = {
        "left": max(procedure.sweep_steer_deg),
        "right": min(procedure.sweep_steer_deg),
    }
    for turn, sign in (("left", 1), ("right", -1)):
        inner, outer = ("fl", "fr") if turn == "left" else ("fr", "fl")
        counted = inner if custom["wheel"] == "inner" else outer

        def beyond(steer_deg: float, sign: int = sign, counted: str = counted) -> float:
            return sign * turned_deg(counted, steer_deg) - custom["angle_deg"]

        if beyond(furthest[turn]) < -TURN_MARGIN_DEG:
            continue  # the sweep did not get there
        steer_deg = brentq(beyond, 0.0, 1.5 * furthest[turn], xtol=1e-13, rtol=1e-14)
        inner_deg = sign * turned_deg(inner, steer_deg)
        outer_deg = sign * turned_deg(outer, steer_deg)
        of_turn = {
            "inner_deg": inner_deg,
            "outer_deg": outer_deg,
            "toe_out_deg": inner_deg - outer_deg,
            "ackermann_deg": _ideal_toe_out_deg(corners, **custom),
        }
        readings |= {f"turns.{turn}_turn.{name}": of_turn[name] for name in of_turn}
    return readings


def _ideal_toe_out_deg(corners: _Corners, wheel: str, angle_deg: float) -> float:
    """Both front wheels square to lines from one centre on the rear axle's line.

    Seen along that line, the steering axes are as far apart as they are across the car.
    """
    across = (corners.axis_at_ground("left") - corners.axis_at_ground("right"))[1]
    ratio = across / corners.mean_wheelbase_mm()
    cot = 1.0 / math.tan(math.radians(angle_deg))
    other = cot + ratio if wheel == "inner" else cot - ratio
    return abs(angle_deg - math.degrees(math.atan2(1.0, other)))
