"""Bent cars: built bent in rigid-body engines, and bent again by SciPy.

What is normal and what a deviation hints at is common practice, and no reference. What
the hints say of a car, by how much its sides differ and how well that is known, is held
to engines and numpy; the faulty virtual cars to transforms of another library.
"""

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy.spatial.transform import Rotation
from wheel_alignment import Alignment, diagnosis
from wheel_alignment.conformity import Specification, Tolerance
from wheel_alignment.paths import COUNT, READINGS, position
from wheel_alignment.simulate import (
    AxleShift,
    BentKnuckle,
    BentSteeringArm,
    Faults,
    ShiftedPivot,
    VirtualVehicle,
)

from agreement import ROUNDING
from conftest import Measure
from engine import SIDE_OF_WHEEL, STEERED, Car, SteeringAxis, Wheel
from frames import Vector
from ledger import hold
from random_cars import random_setup
from test_simulate import SIGN, UP, WHEELS, Rebuilt, about
from truth import measure_in_engine

# --------------------------------------------------------------------------------------
# Cars that are built bent in an engine

LOWER_MM, UPPER_MM = 130.0, 280.0
"""The pivots below and above the wheel centre."""


def even(car: Car) -> Car:
    """The same car, its right side the mirror image of its left one."""
    mirror = np.array([1.0, -1.0, 1.0])
    wheels = dict(car.wheels)
    for left, right in (("fl", "fr"), ("rl", "rr")):
        centre = car.wheels[left].centre_mm * mirror
        wheels[right] = replace(
            car.wheels[right],
            centre_mm=centre,
            camber_deg=wheels[left].camber_deg,
            toe_deg=wheels[left].toe_deg,
        )
    axis = car.steering["left"]
    other = SteeringAxis(axis.direction * mirror, axis.point_mm * mirror)
    steering = {"left": axis, "right": other}
    return replace(car, wheels=wheels, steering=steering, pitch_deg=0.0, roll_deg=0.0)


def turned(wheel: str, of: Wheel, turn: Rotation) -> tuple[float, float]:
    """Camber and toe of a wheel that is turned, in degrees."""
    side = SIDE_OF_WHEEL[wheel]
    angles = [-side * of.toe_deg, -side * of.camber_deg]
    out = turn.apply(
        Rotation.from_euler("ZX", angles, degrees=True).apply([0.0, side, 0.0])
    )
    return math.degrees(math.asin(-out[2])), math.degrees(
        math.atan2(out[0], side * out[1])
    )


def moved_pivots(car: Car, side_name: str, lower: Vector, upper: Vector) -> Car:
    """The pivots of a knuckle moved: it leans by the shortest turn."""
    wheel, axis = STEERED[side_name], car.steering[side_name]
    of = car.wheels[wheel]

    def on_axis(rise_mm: float) -> Vector:
        up = of.centre_mm[2] + rise_mm - axis.point_mm[2]
        return axis.point_mm + axis.direction * up / axis.direction[2]

    low, high = on_axis(-LOWER_MM), on_axis(UPPER_MM)
    now = SteeringAxis.through(low + lower, high + upper)
    turn, _ = Rotation.align_vectors([now.direction], [axis.direction])
    camber_deg, toe_deg = turned(wheel, of, turn)
    leant = replace(
        of,
        centre_mm=low + lower + turn.apply(of.centre_mm - low),
        camber_deg=camber_deg,
        toe_deg=toe_deg,
    )
    return replace(
        car,
        wheels={**car.wheels, wheel: leant},
        steering={**car.steering, side_name: now},
    )


def bent_spindle(car: Car, wheel: str, by_deg: float) -> Car:
    of = car.wheels[wheel]
    bent = replace(of, camber_deg=of.camber_deg + by_deg)
    return replace(car, wheels={**car.wheels, wheel: bent})


def turned_axle(car: Car, wheels: tuple[str, str], by_deg: float) -> Car:
    turn = Rotation.from_euler("z", by_deg, degrees=True)
    middle = sum(car.wheels[wheel].centre_mm for wheel in wheels) / 2
    there = dict(car.wheels)
    for wheel in wheels:
        of = car.wheels[wheel]
        camber_deg, toe_deg = turned(wheel, of, turn)
        there[wheel] = replace(
            of,
            centre_mm=middle + turn.apply(of.centre_mm - middle),
            camber_deg=camber_deg,
            toe_deg=toe_deg,
        )
    return replace(car, wheels=there)


def both(car: Car, lower: Vector) -> Car:
    for side_name in STEERED:
        car = moved_pivots(car, side_name, lower, np.zeros(3))
    return car


BENT: dict[str, tuple[Callable[[Car], Car], str, str | None]] = {
    "spindle": (lambda car: bent_spindle(car, "fr", 1.4), "bent_knuckle", "fr"),
    "tower": (
        lambda car: moved_pivots(car, "left", np.zeros(3), np.array([0.0, -14.0, 0.0])),
        "shifted_pivot",
        "fl",
    ),
    "subframe": (
        lambda car: both(car, np.array([0.0, 11.0, 0.0])),
        "shifted_subframe",
        None,
    ),
    "kerb": (
        lambda car: moved_pivots(
            car, "right", np.array([-17.0, 0.0, 0.0]), np.zeros(3)
        ),
        "pushed_back_wheel",
        "fr",
    ),
    "stub axle": (
        lambda car: bent_spindle(car, "rl", -1.2),
        "bent_rear_stub_axle",
        "rl",
    ),
    "rear axle": (
        lambda car: turned_axle(car, ("rl", "rr"), -0.7),
        "shifted_rear_axle",
        None,
    ),
}


def aims(readings: dict[str, Any]) -> Specification:
    """The readings of the car before it was bent."""
    paths = [
        f"wheels.{wheel}.{name}"
        for wheel in WHEELS
        for name in ("camber_deg", "toe_deg")
    ]
    paths += [
        f"steering.{side}.{name}_deg" for side in STEERED for name in ("sai", "caster")
    ]
    return Specification(
        {path: Tolerance(nominal=readings[path], minus=0.5, plus=0.5) for path in paths}
    )


@pytest.mark.parametrize("fault", BENT)
@pytest.mark.parametrize("seed", range(300, 304))
def test_cars_built_bent(measure: Measure, seed: int, fault: str, engine: str) -> None:
    """In the engine knuckles and pivots are others than those of the virtual car."""
    any_car, procedure = random_setup(seed)
    sound = even(any_car)
    procedure = replace(procedure, reference={}, ahead_steer_deg=0.0)
    before = measure_in_engine(sound, procedure, engine=engine)
    bend, cause, wheel = BENT[fault]
    after = measure_in_engine(bend(sound), procedure, engine=engine)

    def hints(session: dict[str, Any], given: Specification) -> tuple[Any, ...]:
        tree = measure(session)["alignment"]
        return diagnosis.diagnose(Alignment.from_dict(tree), specification=given)

    assert hints(before.session, aims(before.readings)) == ()
    (hint,) = hints(after.session, aims(before.readings))
    assert (hint.cause, hint.wheel) == (cause, wheel)
    read = Alignment.from_dict(measure(after.session)["alignment"])
    off: dict[str, list[float]] = {"deg": [], "mm": []}
    for one in hint.evidence:
        expected = one.expected
        if one.compared_with is not None:
            # What is wanted beside the other side's reading was no part of the engine.
            wanted = one.expected - (read.get(one.compared_with) or 0.0)
            expected = after.readings[one.compared_with] + wanted
        off[one.unit].append(one.deviation - (after.readings[one.path] - expected))
    for unit, allowed in (("deg", 2e-9), ("mm", 2e-6)):
        if off[unit]:
            hold(
                "diagnosis::diagnose",
                against=engine,
                quantity=f"deviations in {unit} that hints on cars built bent rest on",
                off=off[unit],
                allowed=allowed,
                unit=unit,
                why=f"two readings: {ROUNDING}",
            )


def test_uncertainties_of_differences() -> None:
    """Of readings that hint at everything at once, with covariances drawn at random."""
    values: list[float | None] = [0.0] * COUNT
    for path, value in {
        "steering.left.included_angle_deg": 30.0,
        "wheels.fl.camber_deg": -40.0,
        "steering.left.sai_deg": 50.0,
        "steering.left.caster_deg": 60.0,
        "axles.front.setback_mm": 700.0,
        "chassis.wheelbase_left_mm": 700.0,
        "wheels.rl.camber_deg": 35.0,
        "chassis.thrust_angle_deg": 45.0,
    }.items():
        values[position(path)] = value
    readings = Alignment.from_values(values)
    rng = np.random.default_rng(0)
    off = []
    for _ in range(20):
        root = rng.normal(size=(COUNT, COUNT)) * rng.uniform(0.01, 1.0, COUNT)[:, None]
        covariance = root @ root.T / COUNT
        for hint in diagnosis.diagnose(readings, covariance=covariance):
            for one in hint.evidence:
                weights = np.zeros(COUNT)
                weights[READINGS.index(one.path)] += 1.0
                if one.compared_with is not None:
                    weights[READINGS.index(one.compared_with)] -= 1.0
                # Through the root, not through the covariance.
                expected = np.linalg.norm(root.T @ weights) / math.sqrt(COUNT)
                assert one.standard_uncertainty is not None
                off.append(one.standard_uncertainty / expected - 1.0)
    assert len(off) > 100
    hold(
        "diagnosis::diagnose",
        against="numpy linalg.norm",
        quantity="standard uncertainties of deviations by random covariances, relative",
        off=off,
        allowed=1e-13,
        unit="1",
        why="rounding of a covariance of 115 terms",
    )


# --------------------------------------------------------------------------------------
# The faulty virtual car


class Bent(Rebuilt):
    """A car with faults, by transforms, in the frame of the car before them."""

    def __init__(self, car: VirtualVehicle) -> None:
        super().__init__(car)
        ground_z = self.contact["rl"][2]
        low, high, faults = {}, {}, car.faults
        for wheel in self.axis:
            up = self.axis[wheel] / self.axis[wheel][2]
            low[wheel], high[wheel] = (
                self.ground[wheel] + up * height for height in (200.0, 800.0)
            )
        middle = {
            "f": (low["fl"] + low["fr"]) / 2,
            "r": (self.centre["rl"] + self.centre["rr"]) / 2,
        }
        for wheel in WHEELS:
            of, radius = self.wheel(wheel), self.axle(wheel).rolling_radius_mm
            bends = [bend for bend in faults.bent_knuckles if bend.wheel == wheel]
            camber = of.camber_deg + sum(bend.camber_deg for bend in bends)
            toe = of.toe_to_centreline_deg + sum(bend.toe_deg for bend in bends)
            lean = Rotation.from_euler(
                "ZX", [-SIGN[wheel] * toe, -SIGN[wheel] * camber], degrees=True
            )
            shift = faults.shifted_subframe
            if wheel[0] == "r":
                shift = faults.shifted_rear_axle
            swing = about(
                middle[wheel[0]],
                Rotation.from_euler("z", shift.turn_deg, degrees=True),
            )
            slide = np.array([shift.forward_mm, shift.left_mm, 0.0])
            if wheel[0] == "r":
                centre = swing.apply(self.centre[wheel]) + slide
                turn, axis_point = swing.rotation, centre
            else:
                move = {
                    end: sum(
                        (
                            np.array([pivot.forward_mm, pivot.left_mm, 0.0])
                            for pivot in faults.shifted_pivots
                            if (pivot.wheel, pivot.end) == (wheel, end)
                        ),
                        np.zeros(3),
                    )
                    for end in ("lower", "upper")
                }
                axis_point = swing.apply(low[wheel]) + slide + move["lower"]
                along = high[wheel] + move["upper"] - axis_point
                along /= np.linalg.norm(along)
                across = np.cross(self.axis[wheel], along)
                angle = math.asin(np.linalg.norm(across))
                turn = Rotation.from_rotvec(across * angle / math.sin(angle))
                centre = axis_point + turn.apply(self.centre[wheel] - low[wheel])
                self.axis[wheel] = along
            spindle = turn.apply(lean.apply([0.0, SIGN[wheel], 0.0]))
            upward = UP - spindle * spindle[2]
            upward /= np.linalg.norm(upward)
            left = SIGN[wheel] * spindle
            self.turned[wheel] = Rotation.from_matrix(
                np.column_stack([np.cross(left, upward), left, upward])
            )
            # The body settles until the wheel stands on the ground.
            settled = ground_z + radius * upward[2] - centre[2]
            self.centre[wheel] = centre + settled * UP
            self.spindle[wheel] = spindle
            self.contact[wheel] = self.centre[wheel] - radius * upward
            if wheel[0] == "f":
                point, line = axis_point + settled * UP, self.axis[wheel]
                self.ground[wheel] = point + line * (ground_z - point[2]) / line[2]
        front = (self.centre["fl"] + self.centre["fr"]) / 2
        rear = (self.centre["rl"] + self.centre["rr"]) / 2
        ahead = (front - rear)[:2]
        self.base_mm = float(np.linalg.norm(ahead))
        self.yaw_deg = math.degrees(math.atan2(ahead[1], ahead[0]))
        back = Rotation.from_euler("z", -self.yaw_deg, degrees=True)
        self.level = back.apply

    def knuckle_rad(self, wheel: str, steer_deg: float) -> float:
        arms = self.car.faults.bent_steering_arms
        share = sum(arm.more_turn_share for arm in arms if arm.wheel == wheel)
        across = self.level(self.centre["fl"] - self.centre["fr"])
        half = across[1] / (2 * self.base_mm)
        ratio = SIGN[wheel] * self.car.ackermann_share * half
        sin, cos = math.sin(math.radians(steer_deg)), math.cos(math.radians(steer_deg))
        return (1 + share) * math.atan2(sin, cos - ratio * sin)

    def origin_of_target(self, wheel: str, steer_deg: float) -> np.ndarray:
        """In the rig, at a commanded steer."""
        target = self.target(wheel)
        if wheel[0] == "f":
            turn = Rotation.from_rotvec(
                self.axis[wheel] * self.knuckle_rad(wheel, steer_deg)
            )
            target = about(self.ground[wheel], turn) * target
        return (self.rig * target).as_matrix()

    def told(self) -> dict[str, float]:
        """Readings by their definitions, along the new centreline."""
        found: dict[str, float] = {}
        for wheel in WHEELS:
            out = self.level(self.spindle[wheel])
            found[f"wheels.{wheel}.camber_deg"] = -math.degrees(math.asin(out[2]))
            found[f"wheels.{wheel}.toe_to_centreline_deg"] = math.degrees(
                math.atan(SIGN[wheel] * out[0] / out[1])
            )
        for axle, left, right in (("front", "fl", "fr"), ("rear", "rl", "rr")):
            across = self.level(self.centre[left] - self.centre[right])
            found[f"axles.{axle}.setback_mm"], found[f"axles.{axle}.track_mm"] = across[
                :2
            ]
        for side, wheel, rear in (("left", "fl", "rl"), ("right", "fr", "rr")):
            line = self.level(self.axis[wheel])
            beside = self.level(self.ground[wheel] - self.contact[wheel])
            along = self.level(self.centre[wheel] - self.centre[rear])
            found |= {
                f"steering.{side}.caster_deg": -math.degrees(
                    math.atan(line[0] / line[2])
                ),
                f"steering.{side}.sai_deg": -SIGN[wheel]
                * math.degrees(math.atan(line[1] / line[2])),
                f"steering.{side}.caster_trail_mm": beside[0],
                f"steering.{side}.scrub_radius_mm": -SIGN[wheel] * beside[1],
                f"chassis.wheelbase_{side}_mm": along[0],
            }
        return found


def random_faults(seed: int) -> Faults:
    rng = np.random.default_rng(seed)

    def off(most: float) -> float:
        return float(rng.uniform(-most, most))

    return Faults(
        bent_knuckles=(
            BentKnuckle("fl", off(2.0), off(2.0)),
            BentKnuckle("rr", off(2.0), off(2.0)),
        ),
        bent_steering_arms=(BentSteeringArm("fr", off(0.1)),),
        shifted_pivots=(
            ShiftedPivot("fr", "lower", off(25.0), off(25.0)),
            ShiftedPivot("fl", "upper", off(25.0), off(25.0)),
            ShiftedPivot("fl", "upper", off(5.0), off(5.0)),
        ),
        shifted_subframe=AxleShift(off(20.0), off(20.0), off(1.5)),
        shifted_rear_axle=AxleShift(off(20.0), off(20.0), off(1.5)),
    )


@pytest.mark.parametrize("seed", range(25))
def test_faulty_cars(seed: int) -> None:
    car = replace(VirtualVehicle.random(seed), faults=random_faults(seed))
    rebuilt, seen, truth = Bent(car), car.session().to_arrays(), car.truth()
    steered = {
        "ahead": [0.0],
        "sweep": car.sweep_deg,
        "lock_left": [car.lock_deg],
        "lock_right": [-(car.lock_deg or 0.0)],
    }
    for stage, angles in steered.items():
        expected = np.array(
            [[rebuilt.origin_of_target(w, angle) for w in WHEELS] for angle in angles]
        )
        off = seen[stage].reshape(expected.shape) - expected
        for part, where, allowed, unit in (
            ("rotations", np.s_[..., :3, :3], 1e-14, "1"),
            ("translations", np.s_[..., :3, 3], 5e-11, "mm"),
        ):
            hold(
                "simulate::VirtualVehicle::session",
                against="SciPy RigidTransform",
                quantity=f"{part} of the targets of cars with every fault",
                off=off[where],
                allowed=allowed,
                unit=unit,
                why="rounding of ten turns after one another",
            )
    told = rebuilt.told()
    for unit, allowed in (("deg", 1e-12), ("mm", 2e-11)):
        hold(
            "simulate::VirtualVehicle::truth",
            against="SciPy Rotation, numpy",
            quantity=f"readings in {unit} of cars with every fault",
            off=[
                (truth.get(path) or math.nan) - value
                for path, value in told.items()
                if path.endswith(unit)
            ],
            allowed=allowed,
            unit=unit,
            why="rounding of ten turns after one another",
        )
