"""A car built in the MuJoCo physics engine, and what a rig sees of it.

Everything here runs forward. The engine is told where the steering axes, the spindles
and the clamps are in the body; its kinematics says where every target then stands.

The world frame of the engine is the rig frame. Lengths are millimetres.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, NamedTuple

import mujoco
import numpy as np

Vector = np.ndarray
Matrix = np.ndarray
Session = dict[str, Any]

SIDE_OF_WHEEL = {"fl": 1, "fr": -1, "rl": 1, "rr": -1}
WHEELS = tuple(SIDE_OF_WHEEL)
AXLE_OF_WHEEL = {"fl": "front", "fr": "front", "rl": "rear", "rr": "rear"}
WHEELS_OF_AXLE = {"front": ("fl", "fr"), "rear": ("rl", "rr")}
STEERED = {"left": "fl", "right": "fr"}
POSE_FORMS = ("rotation", "quaternion_wxyz", "rotation_vector_rad")
UP = np.array([0.0, 0.0, 1.0])


def unit(vector: Vector) -> Vector:
    return vector / np.linalg.norm(vector)


# --------------------------------------------------------------------------------------
# What goes in


@dataclass(frozen=True)
class Clamp:
    """How a target sits on its wheel, whose y axis is the spindle to the left."""

    standoff_mm: float
    eccentricity_mm: tuple[float, float]  # forward and up, seen at zero roll
    wheel_from_target_wxyz: Vector


@dataclass(frozen=True)
class Wheel:
    """A wheel in the body frame, its knuckle at zero."""

    centre_mm: Vector
    camber_deg: float
    toe_deg: float
    clamp: Clamp


@dataclass(frozen=True)
class SteeringAxis:
    """A steering axis in the body frame: the unit vector up it, and a point on it."""

    direction: Vector
    point_mm: Vector

    @classmethod
    def from_angles(
        cls, side: int, caster_deg: float, sai_deg: float, point_mm: Vector
    ) -> "SteeringAxis":
        """By its side view and its front view: both angles are projected ones."""
        up_the_axis = np.array(
            [
                -math.tan(math.radians(caster_deg)),
                -side * math.tan(math.radians(sai_deg)),
                1.0,
            ]
        )
        return cls(unit(up_the_axis), np.asarray(point_mm, dtype=float))

    @classmethod
    def through(cls, lower_mm: Vector, upper_mm: Vector) -> "SteeringAxis":
        """By the centres of its two ball joints."""
        return cls(
            unit(np.subtract(upper_mm, lower_mm)), np.asarray(lower_mm, dtype=float)
        )


@dataclass(frozen=True)
class Car:
    wheels: Mapping[str, Wheel]
    steering: Mapping[str, SteeringAxis]
    rolling_radius_mm: Mapping[str, float]
    linkage: float = 0.5
    """cot(right knuckle) - cot(left): ideally kingpin distance over wheelbase."""
    pitch_deg: float = 0.0
    """Attitude of the body on level ground, nose down positive."""
    roll_deg: float = 0.0
    """Attitude of the body on level ground, left side up positive."""

    def knuckle_rad(self, steer_deg: float) -> dict[str, float]:
        """The knuckles' turn about their axes, left positive, at one rack position."""
        steer = math.tan(math.radians(steer_deg))
        return {
            "left": math.atan(steer / (1.0 - 0.5 * self.linkage * steer)),
            "right": math.atan(steer / (1.0 + 0.5 * self.linkage * steer)),
        }


def _no_roll() -> dict[str, float]:
    return dict.fromkeys(WHEELS, 0.0)


@dataclass(frozen=True)
class Procedure:
    """Where the car stands in the rig, and what is done with it.

    `rig_from_level_wxyz` turns the level frame (z up, x where the body's nose points)
    into the rig frame. The body is at `origin_mm` for all stations but the rolling
    ones, where it has travelled along one horizontal direction, `crab_deg` to the left
    of its nose.
    """

    rig_from_level_wxyz: Vector
    origin_mm: Vector
    crab_deg: float
    rolling_travel_mm: tuple[float, ...]
    sweep_steer_deg: tuple[float, ...]
    wheels_locked: bool
    sweep_roll_deg: tuple[Mapping[str, float], ...]
    rolling_steer_deg: float = 0.0
    ahead_steer_deg: float = 0.0
    ahead_roll_deg: Mapping[str, float] = field(default_factory=_no_roll)
    lock_steer_deg: Mapping[str, float] = field(default_factory=dict)
    loaded_radius_mm: Mapping[str, float] | None = None
    ride_height_at_origin_mm: float | None = None
    rear_seen_while_steering: bool = True
    reference: Mapping[str, Any] = field(default_factory=dict)


# --------------------------------------------------------------------------------------
# The engine


def quaternion(axis: Vector, angle_deg: float) -> Vector:
    """The engine's own quaternion (w first) for a turn about a unit axis."""
    result = np.empty(4)
    mujoco.mju_axisAngle2Quat(
        result, np.asarray(axis, dtype=float), math.radians(angle_deg)
    )
    return result


def product(*quaternions: Vector) -> Vector:
    """The engine's own product of quaternions, the last one applied first."""
    result = np.array([1.0, 0.0, 0.0, 0.0])
    for factor in quaternions:
        left = result.copy()
        mujoco.mju_mulQuat(result, left, factor)
    return result


def rotate(rotation: Vector, vector: Vector) -> Vector:
    """The engine's own rotation of a vector by a quaternion."""
    result = np.empty(3)
    mujoco.mju_rotVecQuat(result, np.asarray(vector, dtype=float), rotation)
    return result


class Line(NamedTuple):
    direction: Vector
    point: Vector


class Engine:
    """The compiled car: a free body, hinged knuckles and wheels, targets as sites."""

    def __init__(self, car: Car) -> None:
        spec = mujoco.MjSpec()
        body = _add_body(spec.worldbody, "body", np.zeros(3))
        body.add_freejoint(name="body")
        for name, wheel in car.wheels.items():
            side = SIDE_OF_WHEEL[name]
            carrier, carrier_at = body, np.zeros(3)
            if AXLE_OF_WHEEL[name] == "front":
                side_name = "left" if side > 0 else "right"
                axis = car.steering[side_name]
                carrier = _add_body(body, side_name, axis.point_mm)
                carrier_at = axis.point_mm
                carrier.add_joint(
                    name=side_name,
                    type=mujoco.mjtJoint.mjJNT_HINGE,
                    axis=axis.direction,
                )
            turned_out = product(
                quaternion(UP, -side * wheel.toe_deg),
                quaternion(np.array([1.0, 0.0, 0.0]), -side * wheel.camber_deg),
            )
            hub = _add_body(carrier, name, wheel.centre_mm - carrier_at, turned_out)
            # The hinge points left on both sides: a positive turn rolls forward.
            hub.add_joint(
                name=name, type=mujoco.mjtJoint.mjJNT_HINGE, axis=[0.0, 1.0, 0.0]
            )
            forward, upward = wheel.clamp.eccentricity_mm
            hub.add_site(
                name=name,
                pos=[forward, side * wheel.clamp.standoff_mm, upward],
                quat=wheel.clamp.wheel_from_target_wxyz,
            )
        self._model = spec.compile()
        self._data = mujoco.MjData(self._model)

    def place(
        self,
        position_mm: Vector,
        rig_from_body_wxyz: Vector,
        knuckle_rad: Mapping[str, float],
        roll_deg: Mapping[str, float],
    ) -> None:
        """Puts every joint where it is told and lets the engine work out the rest."""
        self._data.joint("body").qpos[:] = np.concatenate(
            [position_mm, rig_from_body_wxyz]
        )
        for side_name, angle in knuckle_rad.items():
            self._data.joint(side_name).qpos[:] = angle
        for wheel, angle_deg in roll_deg.items():
            self._data.joint(wheel).qpos[:] = math.radians(angle_deg)
        mujoco.mj_kinematics(self._model, self._data)

    def target(self, wheel: str) -> tuple[Matrix, Vector]:
        site = self._data.site(wheel)
        return site.xmat.reshape(3, 3).copy(), site.xpos.copy()

    def spindle(self, wheel: str) -> Line:
        """The outward spindle, through the wheel's centre."""
        joint = self._data.joint(wheel)
        return Line(SIDE_OF_WHEEL[wheel] * joint.xaxis, joint.xanchor.copy())

    def steering_axis(self, side_name: str) -> Line:
        joint = self._data.joint(side_name)
        return Line(joint.xaxis.copy(), joint.xanchor.copy())

    def body_up(self) -> Vector:
        return self._data.body("body").xmat.reshape(3, 3)[:, 2].copy()


def _add_body(parent: Any, name: str, at: Vector, turned: Vector | None = None) -> Any:
    body = parent.add_body(name=name, pos=at)
    if turned is not None:
        body.quat = turned
    # The compiler wants mass on whatever moves. No dynamics is run.
    body.explicitinertial = True
    body.mass = 1.0
    body.inertia = np.ones(3)
    return body


# --------------------------------------------------------------------------------------
# The stations of a session


class Bay:
    """One car in one rig: puts the engine into the state of each station."""

    def __init__(self, car: Car, procedure: Procedure) -> None:
        self.car = car
        self.procedure = procedure
        self.engine = Engine(car)
        self._rig_from_body = product(
            procedure.rig_from_level_wxyz,
            quaternion(np.array([0.0, 1.0, 0.0]), car.pitch_deg),
            quaternion(np.array([1.0, 0.0, 0.0]), car.roll_deg),
        )
        self._travel_direction = rotate(
            procedure.rig_from_level_wxyz,
            rotate(quaternion(UP, procedure.crab_deg), np.array([1.0, 0.0, 0.0])),
        )
        self.up = rotate(procedure.rig_from_level_wxyz, UP)

    def roll_to(self, travel_mm: float) -> None:
        """Rolls without slip: each wheel turns by the travel over its radius."""
        self.engine.place(
            self.procedure.origin_mm + travel_mm * self._travel_direction,
            self._rig_from_body,
            self.car.knuckle_rad(self.procedure.rolling_steer_deg),
            {
                wheel: math.degrees(travel_mm / self.car.rolling_radius_mm[axle])
                for wheel, axle in AXLE_OF_WHEEL.items()
            },
        )

    def steer_to(self, steer_deg: float, roll_deg: Mapping[str, float]) -> None:
        self.engine.place(
            self.procedure.origin_mm,
            self._rig_from_body,
            self.car.knuckle_rad(steer_deg),
            roll_deg,
        )

    def stand_ahead(self) -> None:
        self.steer_to(self.procedure.ahead_steer_deg, self.procedure.ahead_roll_deg)


def pose(
    rotation: Matrix, translation_mm: Vector, form: str = "rotation"
) -> dict[str, Any]:
    """A pose of the session format, its rotation converted by the engine itself."""
    value = rotation
    if form != "rotation":
        value = np.empty(4)
        mujoco.mju_mat2Quat(value, rotation.ravel())
    if form == "rotation_vector_rad":
        wxyz, value = value, np.empty(3)
        mujoco.mju_quat2Vel(value, wxyz, 1.0)
    return {form: value.tolist(), "translation_mm": translation_mm.tolist()}


def session_of(bay: Bay, pose_form: str = "rotation") -> Session:
    """Takes the car through the procedure: what the rig hands over."""
    car, procedure, engine = bay.car, bay.procedure, bay.engine

    def station(wheels: tuple[str, ...] = WHEELS) -> dict[str, Any]:
        return {wheel: pose(*engine.target(wheel), pose_form) for wheel in wheels}

    session: Session = {
        "format": "alignment-session/1",
        "up": bay.up.tolist(),
        "clamp_standoff_mm": {
            name: car.wheels[name].clamp.standoff_mm for name in WHEELS
        },
    }
    if procedure.loaded_radius_mm is not None:
        session["loaded_radius_mm"] = dict(procedure.loaded_radius_mm)
    if procedure.reference:
        session["reference"] = dict(procedure.reference)

    session["rolling"] = []
    for travel_mm in procedure.rolling_travel_mm:
        bay.roll_to(travel_mm)
        session["rolling"].append(station())

    bay.stand_ahead()
    session["ahead"] = station()

    seen = WHEELS if procedure.rear_seen_while_steering else WHEELS_OF_AXLE["front"]
    session["sweep"] = []
    for steer_deg, roll_deg in zip(
        procedure.sweep_steer_deg, procedure.sweep_roll_deg, strict=True
    ):
        bay.steer_to(steer_deg, roll_deg)
        session["sweep"].append(station(seen))
    session["sweep_wheels_locked"] = procedure.wheels_locked
    for lock, steer_deg in procedure.lock_steer_deg.items():
        bay.steer_to(steer_deg, procedure.sweep_roll_deg[0])
        session[f"lock_{lock}"] = station(seen)
    return session
