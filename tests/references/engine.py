"""A car built in a rigid-body engine, and what a rig sees of it.

Everything here runs forward. The engine is told where the steering axes, the spindles
and the clamps are in the body; its kinematics says where every target then stands. One
description serves both engines, which share no code. The attitudes that go in are
multiplied out by MuJoCo's functions of quaternions, whichever engine they go into.

The world frame of the engine is the rig frame. Lengths are millimetres.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

import mujoco
import numpy as np

from frames import Matrix, Vector, plane_normal, unit, vehicle_axes, wheel_plane_normal
from in_mujoco import MuJoCo
from in_pinocchio import Pinocchio
from mechanism import Engine, Line, Link, Mark, Mechanism

Session = dict[str, Any]

SIDE_OF_WHEEL = {"fl": 1, "fr": -1, "rl": 1, "rr": -1}
WHEELS = tuple(SIDE_OF_WHEEL)
AXLE_OF_WHEEL = {"fl": "front", "fr": "front", "rl": "rear", "rr": "rear"}
WHEELS_OF_AXLE = {"front": ("fl", "fr"), "rear": ("rl", "rr")}
STEERED = {"left": "fl", "right": "fr"}
ENGINES: dict[str, type[Engine]] = {of.name: of for of in (MuJoCo, Pinocchio)}
POSE_FORMS = ("rotation", "quaternion_wxyz", "rotation_vector_rad")
UP = np.array([0.0, 0.0, 1.0])
LEFT = np.array([0.0, 1.0, 0.0])
FORWARD = np.array([1.0, 0.0, 0.0])
# Into so many steps a course is cut to follow the paths of the wheel centres.
COURSE_STEPS = 400
# The most by which a joint that steers is moved at a time: mm of a rack, or radians.
LARGEST_STEP = 20.0


# --------------------------------------------------------------------------------------
# Attitudes that go in


def quaternion(axis: Vector, angle_deg: float) -> Vector:
    """MuJoCo's quaternion (w first) for a turn about a unit axis."""
    result = np.empty(4)
    mujoco.mju_axisAngle2Quat(
        result, np.asarray(axis, dtype=float), math.radians(angle_deg)
    )
    return result


def product(*quaternions: Vector) -> Vector:
    """MuJoCo's product of quaternions, the last one applied first."""
    result = np.array([1.0, 0.0, 0.0, 0.0])
    for factor in quaternions:
        left = result.copy()
        mujoco.mju_mulQuat(result, left, factor)
    return result


def rotate(rotation: Vector, vector: Vector) -> Vector:
    """MuJoCo's rotation of a vector by a quaternion."""
    result = np.empty(3)
    mujoco.mju_rotVecQuat(result, np.asarray(vector, dtype=float), rotation)
    return result


def inverse(rotation: Vector) -> Vector:
    """MuJoCo's inverse of a unit quaternion."""
    result = np.empty(4)
    mujoco.mju_negQuat(result, rotation)
    return result


def rotation_vector(rotation: Vector) -> Vector:
    """MuJoCo's axis times angle, radians."""
    result = np.empty(3)
    mujoco.mju_quat2Vel(result, rotation, 1.0)
    return result


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

    def steered(self, steer_deg: float) -> dict[str, float]:
        """Coordinates of the joints that steer, at one position of the rack.

        Here the knuckles' turn about their axes, radians, left positive.
        """
        steer = math.tan(math.radians(steer_deg))
        return {
            "left": math.atan(steer / (1.0 - 0.5 * self.linkage * steer)),
            "right": math.atan(steer / (1.0 + 0.5 * self.linkage * steer)),
        }

    def mechanism(self) -> Mechanism:
        """A free body, hinged knuckles and wheels, targets as marks."""
        links = [Link("body", None, "free", np.zeros(3))]
        for side_name, axis in self.steering.items():
            links.append(
                Link(side_name, "body", "hinge", axis.point_mm, axis=axis.direction)
            )
        carriers = {
            wheel: (side_name, self.steering[side_name].point_mm)
            for side_name, wheel in STEERED.items()
        }
        hubs, marks = self.hubs(carriers)
        return Mechanism((*links, *hubs), (Mark("body", "body", np.zeros(3)), *marks))

    def hubs(
        self, carriers: Mapping[str, tuple[str, Vector]]
    ) -> tuple[list[Link], list[Mark]]:
        """The wheels on their spindles, and their targets.

        `carriers` are the links, with their origins in the body, that carry a wheel;
        the others the body itself carries.
        """
        links, marks = [], []
        for name, wheel in self.wheels.items():
            side, clamp = SIDE_OF_WHEEL[name], wheel.clamp
            carrier, carrier_at = carriers.get(name, ("body", np.zeros(3)))
            turned_out = product(
                quaternion(UP, -side * wheel.toe_deg),
                quaternion(FORWARD, -side * wheel.camber_deg),
            )
            # The hinge points left on both sides: a positive turn rolls forward.
            links.append(
                Link(
                    name,
                    carrier,
                    "hinge",
                    wheel.centre_mm - carrier_at,
                    turned_out,
                    axis=LEFT,
                )
            )
            forward, upward = clamp.eccentricity_mm
            at_mm = np.array([forward, side * clamp.standoff_mm, upward])
            marks.append(Mark(name, name, at_mm, clamp.wheel_from_target_wxyz))
        return links, marks

    def axis_in(self, engine: Engine, side_name: str) -> Line:
        """The steering axis where the engine now has it."""
        return engine.axis(side_name)


def _no_roll() -> dict[str, float]:
    return dict.fromkeys(WHEELS, 0.0)


@dataclass(frozen=True)
class Shift:
    """How far the whole car stands from where it stands ahead, in the level frame."""

    slide_mm: Vector = field(default_factory=lambda: np.zeros(3))
    yaw_deg: float = 0.0
    pitch_deg: float = 0.0
    roll_deg: float = 0.0
    about_mm: Vector = field(default_factory=lambda: np.zeros(3))
    """The point of the body, in its frame, that the turns leave alone."""


STILL = Shift()

Angle = Callable[[Vector], Vector]


@dataclass(frozen=True)
class Course:
    """How the body turns while it is rolled: degrees by the travel in mm.

    The rear of the body drives where it points, but for the crab; pitch and roll go
    about a point between the axles, `about_mm` in the body frame. A body that is not
    steered into the arc scrubs: that point drives where the body points, but for the
    crab, and wheels roll by the part of their way that goes there too.
    """

    yaw_deg: Angle
    pitch_deg: Angle
    roll_deg: Angle
    about_mm: Vector
    scrubs: bool = False


@dataclass(frozen=True)
class Spinning:
    """The car raised, its wheels hanging, one of them spun at a time."""

    hanging: Car
    raised: Mapping[str, Shift]
    """Where the body stands while this wheel is spun."""
    steer_deg: Mapping[str, float]
    """Where the rack stands while this wheel is spun."""
    spins: tuple[tuple[str, float], ...]
    """One station each: the wheel, and its turn in degrees."""


@dataclass(frozen=True)
class Procedure:
    """Where the car stands in the rig, and what is done with it.

    `rig_from_level_wxyz` turns the level frame (z up, x where the body's nose points)
    into the rig frame. The body is at `origin_mm` for all stations but the rolling
    ones, where it has travelled along one direction square to the datum's normal,
    `crab_deg` to the left of its nose.
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
    runway_mm: Mapping[str, Vector] | None = None
    """Points of the runway under the wheels, in the rig."""
    spinning: Spinning | None = None
    """Stands in for the rolling."""
    course: Course | None = None
    """How the body turns while it is rolled; without one it does not."""
    sweep_shift: tuple[Shift, ...] | None = None
    """By station. Wheels that are not locked roll as the body slides."""
    lock_shift: Mapping[str, Shift] = field(default_factory=dict)
    sweep_body: str | None = None
    method: str = "staged"
    """By which the session is to be measured."""


# --------------------------------------------------------------------------------------
# The engine


class CarInEngine:
    """The car as the engine has it."""

    def __init__(self, car: Car, engine: str) -> None:
        self._car = car
        self._engine = ENGINES[engine](car.mechanism())
        self._steered: Mapping[str, float] = {}

    def place(
        self,
        position_mm: Vector,
        rig_from_body_wxyz: Vector,
        steered: Mapping[str, float],
        roll_deg: Mapping[str, float],
    ) -> None:
        body = np.concatenate([position_mm, rig_from_body_wxyz])
        rolled = {wheel: math.radians(angle) for wheel, angle in roll_deg.items()}
        # Loops that are closed in small steps stay on the branch that they are on.
        was = {joint: self._steered.get(joint, 0.0) for joint in steered}
        furthest = max((abs(steered[joint] - was[joint]) for joint in was), default=0.0)
        steps = max(1, math.ceil(furthest / LARGEST_STEP))
        for step in range(1, steps + 1):
            on_the_way = {
                joint: was[joint] + (steered[joint] - was[joint]) * step / steps
                for joint in was
            }
            self._engine.place({"body": body, **on_the_way, **rolled})
        self._steered = steered

    def target(self, wheel: str) -> tuple[Matrix, Vector]:
        return self._engine.mark(wheel)

    def pose(self, wheel: str, form: str) -> dict[str, Any]:
        """Of the target, as the session format has it."""
        return pose(*self.target(wheel), form, converted_by=type(self._engine))

    def spindle(self, wheel: str) -> Line:
        """The outward spindle, through the wheel's centre."""
        direction, point = self._engine.axis(wheel)
        return Line(SIDE_OF_WHEEL[wheel] * direction, point)

    def steering_axis(self, side_name: str) -> Line:
        return self._car.axis_in(self._engine, side_name)

    def body_up(self) -> Vector:
        return self._engine.mark("body")[0][:, 2]


# --------------------------------------------------------------------------------------
# The stations of a session


class Bay:
    """One car in one rig: puts the engine into the state of each station."""

    def __init__(
        self, car: Car, procedure: Procedure, engine: str = MuJoCo.name
    ) -> None:
        self.car = car
        self.procedure = procedure
        self.engine_name = engine
        self.engine = CarInEngine(car, engine)
        self._rig_from_body = product(
            procedure.rig_from_level_wxyz,
            quaternion(LEFT, car.pitch_deg),
            quaternion(FORWARD, car.roll_deg),
        )
        self.up = self._rig_from_level(UP)
        self.stand_ahead()
        self._centre_ahead = {
            wheel: self.engine.spindle(wheel).point for wheel in WHEELS
        }
        self.normal = self._datum_normal()
        self.vehicle_axes = vehicle_axes(
            self._centre_ahead,
            self.normal,
            procedure.reference.get("centreline", "axle_midpoints"),
        )
        crabwise = self._rig_from_level(
            rotate(quaternion(UP, procedure.crab_deg), FORWARD)
        )
        self._travel_direction = unit(crabwise - self.normal * (self.normal @ crabwise))

    def radius_mm(self, wheel: str) -> float:
        """From the wheel centre to the ground, in the wheel plane."""
        axle = AXLE_OF_WHEEL[wheel]
        return (self.procedure.loaded_radius_mm or {}).get(
            axle, self.car.rolling_radius_mm[axle]
        )

    def middle_of_targets_mm(self) -> Vector:
        """In the body frame, straight ahead."""
        self.stand_ahead()
        middle = np.mean([self.engine.target(wheel)[1] for wheel in WHEELS], axis=0)
        return rotate(inverse(self._rig_from_body), middle - self.procedure.origin_mm)

    def _datum_normal(self) -> Vector:
        """What angles to the vertical are measured from, in the rig."""
        datum = self.procedure.reference.get("datum", "up")
        if datum == "runway":
            targets = [self.engine.target(wheel)[1] for wheel in WHEELS]
            return plane_normal(self.procedure.runway_mm, np.mean(targets, axis=0))
        if datum == "wheel_plane":
            return wheel_plane_normal(
                self._centre_ahead,
                {wheel: self.engine.spindle(wheel).direction for wheel in WHEELS},
                {wheel: self.radius_mm(wheel) for wheel in WHEELS},
                start=self.up,
            )
        return self.up

    def _rig_from_level(self, vector: Vector) -> Vector:
        return rotate(self.procedure.rig_from_level_wxyz, vector)

    def _stance(self, shift: Shift) -> tuple[Vector, Vector]:
        """Position and attitude of the body in the rig."""
        level = self.procedure.rig_from_level_wxyz
        turn = product(
            level,
            quaternion(UP, shift.yaw_deg),
            quaternion(LEFT, shift.pitch_deg),
            quaternion(FORWARD, shift.roll_deg),
            inverse(level),
        )
        arm = rotate(self._rig_from_body, shift.about_mm)
        position = self.procedure.origin_mm + self._rig_from_level(shift.slide_mm)
        return position + arm - rotate(turn, arm), product(turn, self._rig_from_body)

    def roll_to(self, travel_mm: float) -> None:
        """Rolls without slip: each wheel turns by the travel over its radius."""
        self.engine.place(
            self.procedure.origin_mm + travel_mm * self._travel_direction,
            self._rig_from_body,
            self.car.steered(self.procedure.rolling_steer_deg),
            {
                wheel: math.degrees(travel_mm / self.car.rolling_radius_mm[axle])
                for wheel, axle in AXLE_OF_WHEEL.items()
            },
        )

    def rolled(self) -> list[Callable[[], None]]:
        """What puts the engine into the state of each rolling station."""
        stops = self.procedure.rolling_travel_mm
        if self.procedure.course is None:
            return [lambda stop=stop: self.roll_to(stop) for stop in stops]
        by_stop = self._drive()
        return [lambda stop=stop: self.engine.place(*by_stop[stop]) for stop in stops]

    def _drive(self) -> dict[float, tuple[Any, ...]]:
        """Follows the course step by step: the state of the engine at each stop.

        Rolling without slip: about its spindle, and against the ground, a wheel turns
        by the level path of its centre over its radius. The body's own turn about the
        spindle is a part of that.
        """
        course, stops = self.procedure.course, self.procedure.rolling_travel_mm
        steered = self.car.steered(self.procedure.rolling_steer_deg)
        fine = np.linspace(min(stops), max(stops), COURSE_STEPS)
        travel = np.unique(np.concatenate([fine, stops, [0.0]]))
        yaw_deg, pitch_deg, roll_deg = (
            of(travel) for of in (course.yaw_deg, course.pitch_deg, course.roll_deg)
        )
        heading = np.radians(yaw_deg + self.procedure.crab_deg)
        steps = np.diff(travel)[:, None]
        along = np.column_stack([np.cos(heading), np.sin(heading)])
        rear = np.vstack(
            [[0.0, 0.0], np.cumsum((along[1:] + along[:-1]) / 2 * steps, axis=0)]
        )
        # The travel starts where the car stands ahead.
        (start,) = np.flatnonzero(travel == 0.0)
        rear -= rear[start]
        ahead_of_rear = (0.0 if course.scrubs else 1.0) * course.about_mm * FORWARD

        states: dict[float, tuple[Any, ...]] = {}
        hinge = dict.fromkeys(WHEELS, 0.0)
        before: dict[str, Line] = {}
        attitude_before = self._rig_from_body
        for i, stop in enumerate(travel):
            swung = rotate(quaternion(UP, yaw_deg[i]), ahead_of_rear) - ahead_of_rear
            shift = Shift(
                slide_mm=np.append(rear[i], 0.0) + swung,
                yaw_deg=yaw_deg[i],
                pitch_deg=pitch_deg[i],
                roll_deg=roll_deg[i],
                about_mm=course.about_mm,
            )
            position, attitude = self._stance(shift)
            self.engine.place(position, attitude, steered, hinge)
            now = {wheel: self.engine.spindle(wheel) for wheel in WHEELS}
            if before:
                turn = rotation_vector(product(attitude, inverse(attitude_before)))
                for wheel, axle in AXLE_OF_WHEEL.items():
                    spindle = (now[wheel].direction + before[wheel].direction) / 2
                    to_the_left = SIDE_OF_WHEEL[wheel] * spindle
                    gone = now[wheel].point - before[wheel].point
                    path = np.linalg.norm(np.cross(self.up, gone))
                    if course.scrubs:
                        along_deg = (yaw_deg[i] + yaw_deg[i - 1]) / 2
                        turned = quaternion(UP, along_deg + self.procedure.crab_deg)
                        path = gone @ self._rig_from_level(rotate(turned, FORWARD))
                    rolled = path / self.car.rolling_radius_mm[axle]
                    hinge[wheel] += math.degrees(rolled - turn @ to_the_left)
            before, attitude_before = now, attitude
            states[float(stop)] = (position, attitude, steered, dict(hinge))
        at_start = states[0.0][-1]
        return {
            stop: (*state, {wheel: hinge[wheel] - at_start[wheel] for wheel in WHEELS})
            for stop, (*state, hinge) in states.items()
            if stop in stops
        }

    def steer_to(
        self, steer_deg: float, roll_deg: Mapping[str, float], shift: Shift = STILL
    ) -> None:
        stance, steered = self._stance(shift), self.car.steered(steer_deg)
        self.engine.place(*stance, steered, roll_deg)
        if shift is not STILL and not self.procedure.wheels_locked:
            rolled = dict(roll_deg)
            for wheel in WHEELS_OF_AXLE["rear"]:
                radius = self.car.rolling_radius_mm["rear"]
                rolled[wheel] += math.degrees(self._gone_ahead_mm(wheel) / radius)
            self.engine.place(*stance, steered, rolled)

    def _gone_ahead_mm(self, wheel: str) -> float:
        """How far along the vehicle's x axis the wheel stands from straight ahead."""
        gone = self.engine.spindle(wheel).point - self._centre_ahead[wheel]
        return float(gone @ self.vehicle_axes[0])

    def stand_ahead(self) -> None:
        self.steer_to(self.procedure.ahead_steer_deg, self.procedure.ahead_roll_deg)


class RaisedBay(Bay):
    """The same car raised, its wheels hanging."""

    def __init__(self, procedure: Procedure, engine: str = MuJoCo.name) -> None:
        super().__init__(procedure.spinning.hanging, procedure, engine)

    def spin(self, wheel: str, turn_deg: float) -> None:
        spinning = self.procedure.spinning
        self.engine.place(
            *self._stance(spinning.raised[wheel]),
            self.car.steered(spinning.steer_deg[wheel]),
            {wheel: turn_deg},
        )


def pose(
    rotation: Matrix,
    translation_mm: Vector,
    form: str = "rotation",
    converted_by: type[Engine] = MuJoCo,
) -> dict[str, Any]:
    """A pose of the session format, its rotation converted by the engine itself."""
    value = rotation
    if form == "quaternion_wxyz":
        value = converted_by.quaternion_wxyz(rotation)
    if form == "rotation_vector_rad":
        value = converted_by.rotation_vector_rad(rotation)
    return {form: value.tolist(), "translation_mm": translation_mm.tolist()}


def session_of(bay: Bay, pose_form: str = "rotation") -> Session:
    """Takes the car through the procedure: what the rig hands over."""
    car, procedure = bay.car, bay.procedure

    def station(
        wheels: tuple[str, ...] = WHEELS, engine: CarInEngine = bay.engine
    ) -> dict[str, Any]:
        return {wheel: engine.pose(wheel, pose_form) for wheel in wheels}

    session: Session = {
        "format": "alignment-session/1",
        "method": procedure.method,
        "clamp_standoff_mm": {
            name: car.wheels[name].clamp.standoff_mm for name in WHEELS
        },
    }
    if procedure.reference.get("datum", "up") == "up":
        session["up"] = bay.up.tolist()
    if procedure.runway_mm is not None:
        session["runway_mm"] = {
            wheel: np.asarray(point).tolist()
            for wheel, point in procedure.runway_mm.items()
        }
    if procedure.loaded_radius_mm is not None:
        session["loaded_radius_mm"] = dict(procedure.loaded_radius_mm)
    if procedure.reference:
        session["reference"] = dict(procedure.reference)

    session["rolling"] = []
    if procedure.spinning is None:
        for put in bay.rolled():
            put()
            session["rolling"].append(station())
    else:
        session["compensation"] = "spun"
        raised = RaisedBay(procedure, bay.engine_name)
        for wheel, turn_deg in procedure.spinning.spins:
            raised.spin(wheel, turn_deg)
            session["rolling"].append(station((wheel,), raised.engine))
    if procedure.course is not None:
        session["rolling_body"] = "turns"

    bay.stand_ahead()
    session["ahead"] = station()

    seen = WHEELS if procedure.rear_seen_while_steering else WHEELS_OF_AXLE["front"]
    session["sweep"] = []
    shifts = procedure.sweep_shift or (STILL,) * len(procedure.sweep_steer_deg)
    for steer_deg, roll_deg, shift in zip(
        procedure.sweep_steer_deg, procedure.sweep_roll_deg, shifts, strict=True
    ):
        bay.steer_to(steer_deg, roll_deg, shift)
        session["sweep"].append(station(seen))
    session["sweep_wheels_locked"] = procedure.wheels_locked
    if procedure.sweep_body is not None:
        session["sweep_body"] = procedure.sweep_body
    for lock, steer_deg in procedure.lock_steer_deg.items():
        shift = procedure.lock_shift.get(lock, STILL)
        bay.steer_to(steer_deg, procedure.sweep_roll_deg[0], shift)
        session[f"lock_{lock}"] = station(seen)
    return session
