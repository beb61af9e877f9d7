"""The virtual car: built again by SciPy's transforms, and drawn by numpy's generator.

Wheels, knuckles, the car and its rig are transforms that follow one another. Readings
are taken off them by their definitions, in plain numpy.
"""

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy import optimize, stats
from scipy.spatial.transform import RigidTransform, Rotation
from wheel_alignment.session import PoseNoise
from wheel_alignment.simulate import VirtualAxle, VirtualVehicle, VirtualWheel

from ledger import hold

Array = np.ndarray
WHEELS = ("fl", "fr", "rl", "rr")
SIGN = {"fl": 1.0, "fr": -1.0, "rl": 1.0, "rr": -1.0}
SIDES = {"left": "fl", "right": "fr"}
UP = np.array([0.0, 0.0, 1.0])


def about(point: Array, turn: Rotation) -> RigidTransform:
    """A turn that leaves a point where it is."""
    there = RigidTransform.from_translation(point)
    return there * RigidTransform.from_rotation(turn) * there.inv()


class Rebuilt:
    """The same car, by transforms."""

    def __init__(self, car: VirtualVehicle) -> None:
        self.car = car
        heights = {
            wheel: self.axle(wheel).rolling_radius_mm
            * math.cos(math.radians(self.wheel(wheel).camber_deg))
            for wheel in WHEELS
        }
        level = (heights["rl"] + heights["rr"]) / 2
        self.centre = {
            wheel: np.array(
                [
                    car.wheelbase_mm * (wheel[0] == "f")
                    + SIGN[wheel] * self.axle(wheel).setback_mm / 2,
                    SIGN[wheel] * self.axle(wheel).track_mm / 2,
                    heights[wheel] - level,
                ]
            )
            for wheel in WHEELS
        }
        self.turned = {
            wheel: Rotation.from_euler(
                "ZX",
                [
                    -SIGN[wheel] * self.wheel(wheel).toe_to_centreline_deg,
                    -SIGN[wheel] * self.wheel(wheel).camber_deg,
                ],
                degrees=True,
            )
            for wheel in WHEELS
        }
        self.spindle = {
            wheel: self.turned[wheel].apply([0.0, SIGN[wheel], 0.0]) for wheel in WHEELS
        }
        self.contact = {
            wheel: self.centre[wheel]
            - self.axle(wheel).rolling_radius_mm * self.turned[wheel].apply(UP)
            for wheel in WHEELS
        }
        self.axis, self.ground = {}, {}
        for wheel in SIDES.values():
            of, sign = self.wheel(wheel), SIGN[wheel]
            side_view = Rotation.from_euler("y", -of.caster_deg, degrees=True)
            front_view = Rotation.from_euler("x", sign * of.sai_deg, degrees=True)
            line = np.cross(side_view.apply([1.0, 0, 0]), front_view.apply([0, 1.0, 0]))
            self.axis[wheel] = line / np.linalg.norm(line)
            beside = np.array([of.caster_trail_mm, -sign * of.scrub_radius_mm, 0.0])
            self.ground[wheel] = self.contact[wheel] + beside
        pose = car.rig_from_vehicle
        self.rig = RigidTransform.from_components(
            pose.translation_mm, Rotation.from_matrix(pose.rotation)
        )

    def axle(self, wheel: str) -> VirtualAxle:
        return self.car.front if wheel[0] == "f" else self.car.rear

    def wheel(self, wheel: str) -> VirtualWheel:
        axle = self.axle(wheel)
        return axle.left if wheel[1] == "l" else axle.right

    def target(self, wheel: str) -> RigidTransform:
        """On the wheel straight ahead: z outward, y up; clocked, then tilted."""
        clamp, spindle = self.wheel(wheel).clamp, self.spindle[wheel]
        up = self.turned[wheel].apply(UP)
        rearward = np.cross(up, spindle)
        origin = self.centre[wheel] + clamp.standoff_mm * spindle
        along, upward = clamp.eccentricity_mm
        origin = origin + SIGN[wheel] * along * rearward + upward * up
        bearing = Rotation.from_rotvec(spindle * math.radians(clamp.tilt_bearing_deg))
        clocked = Rotation.from_rotvec(spindle * math.radians(clamp.clock_deg))
        tilted = Rotation.from_rotvec(bearing.apply(up) * math.radians(clamp.tilt_deg))
        true = Rotation.from_matrix(np.column_stack([rearward, up, spindle]))
        return RigidTransform.from_components(origin, tilted * clocked * true)

    def knuckle(self, wheel: str, steer_deg: float) -> RigidTransform:
        """More on the inside of a turn, by its share of Ackermann's ideal."""
        if wheel[0] != "f":
            return RigidTransform.identity()
        steer = math.radians(steer_deg)
        half = self.car.front.track_mm / (2 * self.car.wheelbase_mm)
        ratio = SIGN[wheel] * self.car.ackermann_share * half
        turn = math.atan2(math.sin(steer), math.cos(steer) - ratio * math.sin(steer))
        return about(self.ground[wheel], Rotation.from_rotvec(self.axis[wheel] * turn))

    def pose(self, wheel: str, roll_deg: float = 0.0, steer_deg: float = 0.0) -> Array:
        travel = self.car.front.rolling_radius_mm * math.radians(roll_deg)
        rolled = SIGN[wheel] * travel / self.axle(wheel).rolling_radius_mm
        spun = about(
            self.centre[wheel], Rotation.from_rotvec(self.spindle[wheel] * rolled)
        )
        crab = Rotation.from_euler("z", self.car.travel_direction_deg, degrees=True)
        along = RigidTransform.from_translation(crab.apply([travel, 0.0, 0.0]))
        moved = self.rig * along * self.knuckle(wheel, steer_deg) * spun
        return (moved * self.target(wheel)).as_matrix()

    def steer_deg(self, wheel: str, commanded_deg: float) -> float:
        """Yaw of the wheel's heading, from straight ahead."""

        def yaw(spindle: Array) -> float:
            across = SIGN[wheel] * spindle
            return math.degrees(math.atan2(-across[0], across[1]))

        turn = self.knuckle(wheel, commanded_deg).rotation
        return yaw(turn.apply(self.spindle[wheel])) - yaw(self.spindle[wheel])

    def turn(self, inside: str) -> tuple[float, float] | None:
        """Inner and outer angle where the inner wheel stands at 20°."""
        inner = SIDES[inside]
        outer = "fr" if inner == "fl" else "fl"
        into = SIGN[inner]
        at = optimize.brentq(
            lambda steer: into * self.steer_deg(inner, into * steer) - 20.0, 0, 40
        )
        return 20.0, into * self.steer_deg(outer, into * at)

    def readings(self) -> dict[str, Any]:
        found: dict[str, Any] = {}
        rear = [self.wheel(wheel).toe_to_centreline_deg for wheel in ("rl", "rr")]
        thrust = (rear[0] - rear[1]) / 2
        for wheel in WHEELS:
            of = self.wheel(wheel)
            target = self.target(wheel).rotation.inv().apply(self.spindle[wheel])
            found |= {
                f"wheels.{wheel}.camber_deg": of.camber_deg,
                f"wheels.{wheel}.toe_to_centreline_deg": of.toe_to_centreline_deg,
                f"wheels.{wheel}.toe_deg": of.toe_to_centreline_deg
                - (SIGN[wheel] * thrust if wheel[0] == "f" else 0.0),
                f"wheels.{wheel}.runout_deg": math.degrees(
                    math.asin(math.hypot(target[0], target[1]))
                ),
                f"wheels.{wheel}.rolling_radius_mm": self.axle(wheel).rolling_radius_mm,
                f"wheels.{wheel}.centre_mm": self.centre[wheel],
                f"wheels.{wheel}.spindle": self.spindle[wheel],
            }
        for axle, left, right in (("front", "fl", "fr"), ("rear", "rl", "rr")):
            across = self.centre[left] - self.centre[right]
            ground = self.contact[left] - self.contact[right]
            found |= {
                f"axles.{axle}.track_mm": across[1],
                f"axles.{axle}.track_at_ground_mm": ground[1],
                f"axles.{axle}.setback_mm": across[0],
                f"axles.{axle}.setback_deg": math.degrees(
                    math.atan(across[0] / across[1])
                ),
                f"axles.{axle}.total_toe_deg": self.wheel(left).toe_to_centreline_deg
                + self.wheel(right).toe_to_centreline_deg,
                f"axles.{axle}.cross_camber_deg": self.wheel(left).camber_deg
                - self.wheel(right).camber_deg,
            }

        def level(a: str, b: str) -> float:
            return float(np.linalg.norm((self.centre[a] - self.centre[b])[:2]))

        bases = [
            self.centre[f][0] - self.centre[r][0]
            for f, r in (("fl", "rl"), ("fr", "rr"))
        ]
        found |= {
            "chassis.thrust_angle_deg": thrust,
            "chassis.wheelbase_left_mm": bases[0],
            "chassis.wheelbase_right_mm": bases[1],
            "chassis.wheelbase_difference_mm": bases[0] - bases[1],
            "chassis.diagonal_fl_rr_mm": level("fl", "rr"),
            "chassis.diagonal_fr_rl_mm": level("fr", "rl"),
            "chassis.diagonal_difference_mm": level("fl", "rr") - level("fr", "rl"),
        }
        for side, wheel in SIDES.items():
            of, axis = self.wheel(wheel), self.axis[wheel]
            nearest = self.ground[wheel] + axis * (
                axis @ (self.centre[wheel] - self.ground[wheel])
            )
            # The heading's own frame: trail along it, scrub square to it.
            beside = self.ground[wheel] - self.contact[wheel]
            heading = Rotation.from_euler(
                "z", -SIGN[wheel] * of.toe_to_centreline_deg, degrees=True
            )
            along = heading.inv().apply(beside)
            found |= {
                f"steering.{side}.caster_deg": of.caster_deg,
                f"steering.{side}.sai_deg": of.sai_deg,
                f"steering.{side}.included_angle_deg": of.sai_deg + of.camber_deg,
                f"steering.{side}.caster_trail_mm": of.caster_trail_mm,
                f"steering.{side}.scrub_radius_mm": of.scrub_radius_mm,
                f"steering.{side}.caster_trail_in_wheel_plane_mm": along[0],
                f"steering.{side}.scrub_radius_in_wheel_plane_mm": -SIGN[wheel]
                * along[1],
                f"steering.{side}.axis_direction": axis,
                f"steering.{side}.axis_point_mm": nearest,
            }
            turn = self.turn(side)
            lock = SIGN[wheel] * self.car.lock_deg
            found |= {
                f"turns.{side}_turn.inner_deg": turn[0],
                f"turns.{side}_turn.outer_deg": turn[1],
                f"turns.{side}_turn.toe_out_deg": turn[0] - turn[1],
                f"turns.lock_{side}.left_deg": self.steer_deg("fl", lock),
                f"turns.lock_{side}.right_deg": self.steer_deg("fr", lock),
            }
        return found


SEEDS = range(25)


@pytest.mark.parametrize("seed", SEEDS)
def test_sessions(seed: int) -> None:
    car = VirtualVehicle.random(seed)
    seen, rebuilt = car.session().to_arrays(), Rebuilt(car)
    expected = {
        "rolling": [
            [rebuilt.pose(w, roll_deg=roll) for w in WHEELS] for roll in car.roll_deg
        ],
        "ahead": [rebuilt.pose(wheel) for wheel in WHEELS],
        "sweep": [
            [rebuilt.pose(w, steer_deg=steer) for w in WHEELS]
            for steer in car.sweep_deg
        ],
        "lock_left": [rebuilt.pose(w, steer_deg=car.lock_deg) for w in WHEELS],
        "lock_right": [rebuilt.pose(w, steer_deg=-car.lock_deg) for w in WHEELS],
    }
    for stage, poses in expected.items():
        off = seen[stage] - np.array(poses)
        hold(
            "simulate::VirtualVehicle::session",
            against="SciPy RigidTransform",
            quantity="rotations of all targets of all stages",
            off=off[..., :3, :3],
            allowed=4e-15,
            unit="1",
            why="rounding of six turns after one another",
        )
        hold(
            "simulate::VirtualVehicle::session",
            against="SciPy RigidTransform",
            quantity="translations of all targets of all stages",
            off=off[..., :3, 3],
            allowed=2e-11,
            unit="mm",
            why="rounding of turns at a distance of 1e4 mm",
        )
    up = car.session().up
    hold(
        "simulate::VirtualVehicle::session",
        against="SciPy RigidTransform",
        quantity="up",
        off=np.array(up) - rebuilt.rig.rotation.apply(UP),
        allowed=1e-15,
        unit="1",
        why="rounding of a unit vector",
    )


@pytest.mark.parametrize("seed", SEEDS)
def test_truths(seed: int) -> None:
    car = VirtualVehicle.random(seed)
    truth = car.truth()
    off: dict[str, list[Any]] = {"deg": [], "mm": [], "1": []}
    absent = 0
    for path, expected in Rebuilt(car).readings().items():
        if isinstance(expected, np.ndarray):
            found = [truth.get(f"{path}[{index}]") for index in range(3)]
        else:
            found = [truth.get(path)]
        if None in found:
            # The sweep ends before the inner wheel stands at 20°.
            assert path.startswith("turns.")
            absent += 1
            continue
        unit = path.rpartition("_")[2]
        off[unit if unit in off else "1"].append(np.subtract(found, expected))
    assert absent <= 6
    for unit, deviations in off.items():
        hold(
            "simulate::VirtualVehicle::truth",
            against="SciPy Rotation, numpy",
            quantity=f"readings in {unit} of the same car by transforms",
            off=np.concatenate(deviations),
            allowed={"deg": 2e-12, "mm": 4e-12, "1": 1e-15}[unit],
            unit=unit,
            why={
                "deg": "a steer angle is searched to 1e-12",
                "mm": "rounding of coordinates of 4e3 mm",
                "1": "rounding of unit vectors",
            }[unit],
        )


def numpy_generator(seed: int) -> np.random.PCG64:
    """PCG64 of numpy in the state that the seed stands for, filled up by PCG32."""
    state, words = seed, []
    for _ in range(8):
        state = (state * 6364136223846793005 + 11634580027462260723) % 2**64
        shifted, turn = ((state >> 18 ^ state) >> 27) % 2**32, state >> 59
        words.append((shifted >> turn | shifted << (32 - turn)) % 2**32)
    start, step = (
        sum(word << 32 * place for place, word in enumerate(half))
        for half in (words[:4], words[4:])
    )
    step |= 1
    # One step from the start, as PCG's authors begin.
    first = (start + step) * 0x2360ED051FC65DA44385DF649FCCF645 + step
    generator = np.random.PCG64()
    generator.state = {
        "bit_generator": "PCG64",
        "state": {"state": first % 2**128, "inc": step},
        "has_uint32": 0,
        "uinteger": 0,
    }
    return generator


class Draw:
    """Numbers between limits, of the upper 52 bits."""

    def __init__(self, seed: int) -> None:
        self.generator = numpy_generator(seed)

    def __call__(self, least: float, most: float) -> float:
        bits = int(self.generator.random_raw()) >> 12
        return bits * 2.0**-52 * (most - least) + least


WHEEL = {
    "camber_deg": (-8, 8),
    "toe_to_centreline_deg": (-3, 3),
    "caster_deg": (-5, 15),
    "sai_deg": (0, 20),
    "caster_trail_mm": (-30, 60),
    "scrub_radius_mm": (-40, 80),
}
CLAMP = ((-50, 250), (-30, 30), (-30, 30), (0, 5), (-180, 180), (-180, 180))
AXLE = {
    "track_mm": (1300, 1750),
    "setback_mm": (-20, 20),
    "rolling_radius_mm": (250, 400),
}


@pytest.mark.parametrize("seed", [0, 1, 7, 12345, 2**63, 2**64 - 1])
def test_random_cars(seed: int) -> None:
    """The same sixty numbers between the documented limits, from the same generator."""
    car, between = VirtualVehicle.random(seed), Draw(seed)
    found, expected = [], []
    for axle in (car.front, car.rear):
        for wheel in (axle.left, axle.right):
            clamp = wheel.clamp
            for name, limits in WHEEL.items():
                found.append(getattr(wheel, name))
                expected.append(between(*limits))
            found += [clamp.standoff_mm, *clamp.eccentricity_mm, clamp.tilt_deg]
            found += [clamp.tilt_bearing_deg, clamp.clock_deg]
            expected += [between(*limits) for limits in CLAMP]
    for axle in (car.front, car.rear):
        for name, limits in AXLE.items():
            found.append(getattr(axle, name))
            expected.append(between(*limits))
    lean = np.array([between(-1, 1), between(-1, 1), 0.1])
    lean *= math.radians(between(-20, 20)) / np.linalg.norm(lean)
    askew = Rotation.from_euler("z", between(-180, 180), degrees=True)
    origin = [between(*limits) for limits in ((-4e3, 4e3), (-4e3, 4e3), (-1e3, 1e3))]
    found += [*car.rig_from_vehicle.translation_mm, car.wheelbase_mm]
    found += [car.ackermann_share, car.travel_direction_deg]
    expected += [*origin, between(2200, 3300), between(0, 1), between(-2, 2)]
    hold(
        "simulate::VirtualVehicle::random",
        against="numpy PCG64",
        quantity="numbers drawn, in units of the last digit of the range",
        off=(np.array(found) - expected)
        / np.spacing(np.maximum(np.abs(expected), 1.0)),
        allowed=1.0,
        unit="ulp",
        why="a product and a sum, rounded once or twice",
    )
    hold(
        "simulate::VirtualVehicle::random",
        against="numpy PCG64, SciPy Rotation",
        quantity="how the car stands in the rig",
        off=np.array(car.rig_from_vehicle.rotation)
        - (Rotation.from_rotvec(lean) * askew).as_matrix(),
        allowed=1e-15,
        unit="1",
        why="rounding of a rotation",
    )
    assert car.seed == seed


def test_noise_of_poses() -> None:
    """Many frames about the pose without noise: normal, independent, as stated."""
    still = replace(VirtualVehicle.random(1), sweep_deg=(), lock_deg=None, roll_deg=())
    noisy = replace(still, pose_noise=PoseNoise(0.01, 0.05), frames=5000, seed=9)
    true = still.session().to_arrays()["ahead"][:, None]
    seen = noisy.session().to_arrays()["ahead"]
    turned = seen[..., :3, :3] @ np.swapaxes(true[..., :3, :3], -1, -2)
    vectors = Rotation.from_matrix(turned.reshape(-1, 3, 3)).as_rotvec(degrees=True)
    shifts = (seen - true)[..., :3, 3].reshape(-1, 3)
    normal = np.hstack([vectors / 0.01, shifts / 0.05])
    hold(
        "simulate::VirtualVehicle::session",
        against="scipy.stats.kstest",
        quantity="distance of the distribution of each component of the noise",
        off=[stats.kstest(column, "norm").statistic for column in normal.T],
        allowed=1.63 / math.sqrt(len(normal)),
        unit="1",
        why="exceeded by chance in 1 % of all cases",
    )
    hold(
        "simulate::VirtualVehicle::session",
        against="numpy corrcoef",
        quantity="correlation of any two components of the noise",
        off=np.corrcoef(normal.T) - np.eye(6),
        allowed=3.5 / math.sqrt(len(normal)),
        unit="1",
        why="3.5 standard deviations by chance",
    )
