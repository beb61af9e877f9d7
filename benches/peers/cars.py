"""Invented cars on a rig, many at once: the poses of their targets, without noise.

A forward model of its own, in numpy: nothing here is taken from the library or from the
peers, so that the three can check each other. Every car stands in one rig, with its own
camber, toe, caster, SAI, clamps, radii and stance. The data are invented, for tests and
timing only.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

WHEELS = ("fl", "fr", "rl", "rr")
SIDE = np.array([1.0, -1.0, 1.0, -1.0])
"""The side of each wheel, fl fr rl rr: left is positive, as y is."""

CLAMP_STANDOFF_MM = np.array([90.0, 95.0, 88.0, 102.0])
LOADED_RADIUS_MM = np.array([303.0, 303.0, 311.0, 311.0])
ROLL_DEG = np.array([-27.0, -13.5, 0.0, 13.5, 27.0])
SWEEP_DEG = np.array([-20.0, -15.0, -10.0, -5.0, 0.0, 5.0, 10.0, 15.0, 20.0])


@dataclass(frozen=True)
class Stands:
    """Cars that stand straight ahead, all with the same four clamped targets.

    Attributes
    ----------
    poses : ndarray, (N, 4, 4, 4)
        rig_from_target of each car and wheel.
    spindle_in_target, centre_in_target_mm : ndarray, (4, 3)
        Where each wheel sits in its target.
    rolling_radius_mm : ndarray, (4,)
    up : ndarray, (3,)
        Unit vector upward in the rig.
    """

    poses: Array
    spindle_in_target: Array
    centre_in_target_mm: Array
    rolling_radius_mm: Array
    up: Array


@dataclass(frozen=True)
class Sessions:
    """Whole sessions: rolled, stood straight ahead, swept with the wheels locked.

    Attributes
    ----------
    rolling : ndarray, (N, S, 4, 4, 4)
    ahead : ndarray, (N, 4, 4, 4)
    sweep : ndarray, (N, S', 4, 4, 4)
    up : ndarray, (3,)
    clamp_standoff_mm : ndarray, (4,)
    loaded_radius_mm : ndarray, (4,)
        Per wheel; both wheels of an axle have the same.
    """

    rolling: Array
    ahead: Array
    sweep: Array
    up: Array
    clamp_standoff_mm: Array
    loaded_radius_mm: Array


def stands(count: int, seed: int = 0) -> Stands:
    """Draw cars that stand straight ahead, their clamps all alike."""
    rng = np.random.default_rng(seed)
    clamps = _clamps(rng, ())
    rig_from_level = _tilt(rng)
    poses = np.zeros((count, 4, 4, 4))
    # Many cars are drawn some at a time: the model's own arrays stay small.
    for start in range(0, count, 20_000):
        block = poses[start : start + 20_000]
        car = _Car(rng, len(block), clamps, rig_from_level)
        _write(block, *car.in_rig(car.axes, car.origin))
    wheel_from_target, target_in_wheel = clamps
    inverse = np.swapaxes(wheel_from_target, -1, -2)
    return Stands(
        poses=poses,
        # The wheel's third axis is its spindle.
        spindle_in_target=inverse[..., 2].copy(),
        centre_in_target_mm=-np.einsum("wij,wj->wi", inverse, target_in_wheel),
        rolling_radius_mm=LOADED_RADIUS_MM + 8.0,
        up=rig_from_level[:, 2].copy(),
    )


def sessions(
    count: int,
    seed: int = 0,
    roll_deg: Array = ROLL_DEG,
    sweep_deg: Array = SWEEP_DEG,
) -> Sessions:
    """Draw whole sessions, each car with clamps of its own."""
    rng = np.random.default_rng(seed)
    rig_from_level = _tilt(rng)
    rolling = np.zeros((count, len(roll_deg), 4, 4, 4))
    ahead = np.zeros((count, 4, 4, 4))
    sweep = np.zeros((count, len(sweep_deg), 4, 4, 4))
    for start in range(0, count, 5_000):
        part = slice(start, start + 5_000)
        size = len(ahead[part])
        car = _Car(rng, size, _clamps(rng, (size,)), rig_from_level)
        _write(ahead[part], *car.in_rig(car.axes, car.origin))
        for station, angle_deg in enumerate(roll_deg):
            _write(rolling[part, station], *car.rolled(angle_deg))
        for station, angle_deg in enumerate(sweep_deg):
            _write(sweep[part, station], *car.steered(angle_deg))
    return Sessions(
        rolling=rolling,
        ahead=ahead,
        sweep=sweep,
        up=rig_from_level[:, 2].copy(),
        clamp_standoff_mm=CLAMP_STANDOFF_MM,
        loaded_radius_mm=LOADED_RADIUS_MM,
    )


class _Car:
    """Cars straight ahead, in their own level frame: x forward, y left, z up."""

    def __init__(
        self,
        rng: np.random.Generator,
        count: int,
        clamps: tuple[Array, Array],
        rig_from_level: Array,
    ) -> None:
        def draw(least: float, most: float, *shape: int) -> Array:
            return rng.uniform(least, most, (count, *shape))

        camber, toe = np.radians(draw(-4, 4, 4)), np.radians(draw(-1.5, 1.5, 4))
        self.spindle = np.stack(
            [
                np.cos(camber) * np.sin(toe),
                SIDE * np.cos(camber) * np.cos(toe),
                -np.sin(camber),
            ],
            axis=-1,
        )
        # The wheel's own axes: forward or rearward, up its plane, outward.
        upward = np.array([0.0, 0.0, 1.0]) - self.spindle[..., 2:] * self.spindle
        upward /= np.linalg.norm(upward, axis=-1, keepdims=True)
        wheel = np.stack(
            [np.cross(upward, self.spindle), upward, self.spindle], axis=-1
        )
        wheelbase, track = draw(2300, 3100), draw(1350, 1700, 2)
        contact = np.zeros((count, 4, 3))
        contact[:, :2, 0] = wheelbase[:, None]
        contact[..., 1] = SIDE / 2 * np.repeat(track, 2, axis=1)
        contact[..., :2] += draw(-10, 10, 4, 2)
        self.centre = contact + LOADED_RADIUS_MM[:, None] * upward
        wheel_from_target, target_in_wheel = clamps
        self.axes = wheel @ wheel_from_target
        self.origin = self.centre + (wheel @ target_in_wheel[..., None])[..., 0]

        self.radius = LOADED_RADIUS_MM + draw(4, 12, 4)
        crab = np.radians(draw(-1, 1))
        self.travel = np.stack([np.cos(crab), np.sin(crab), 0 * crab], axis=-1)
        caster, sai = np.radians(draw(-2, 12, 2)), np.radians(draw(2, 18, 2))
        axis = np.stack(
            [-np.tan(caster), -SIDE[:2] * np.tan(sai), np.ones_like(sai)], axis=-1
        )
        self.steering_axis = axis / np.linalg.norm(axis, axis=-1, keepdims=True)
        trail, scrub = draw(-20, 50, 2), draw(-30, 60, 2)
        self.steering_point = contact[:, :2] + np.stack(
            [trail, -SIDE[:2] * scrub, np.zeros_like(trail)], axis=-1
        )
        self.ackermann = draw(0.2, 0.9) * track[:, 0] / (2 * wheelbase)

        yaw = draw(-np.pi, np.pi)
        vertical = np.broadcast_to([0.0, 0.0, 1.0], (count, 3))
        self.to_rig = rig_from_level @ _turn(vertical, yaw)
        self.in_rig_mm = draw(-3000, 3000, 3)

    def in_rig(self, axes: Array, origin: Array) -> tuple[Array, Array]:
        """The targets' axes, in columns, and origins, seen in the rig."""
        turned = self.to_rig[:, None]
        return turned @ axes, (turned @ origin[..., None])[..., 0] + self.in_rig_mm[
            :, None
        ]

    def rolled(self, angle_deg: float) -> tuple[Array, Array]:
        """The targets after the car has rolled by as much as a wheel of 310 mm."""
        travelled = 310.0 * np.radians(angle_deg)
        turn = _turn(self.spindle, SIDE * travelled / self.radius)
        origin = self.centre + (turn @ (self.origin - self.centre)[..., None])[..., 0]
        return self.in_rig(turn @ self.axes, origin + travelled * self.travel[:, None])

    def steered(self, angle_deg: float) -> tuple[Array, Array]:
        """The targets with the front knuckles turned, the inner one further."""
        sin, cos = np.sin(np.radians(angle_deg)), np.cos(np.radians(angle_deg))
        own = np.arctan2(sin, cos - SIDE[:2] * self.ackermann[:, None] * sin)
        turn = _turn(self.steering_axis, own)
        axes, origin = self.axes.copy(), self.origin.copy()
        axes[:, :2] = turn @ axes[:, :2]
        from_point = origin[:, :2] - self.steering_point
        origin[:, :2] = self.steering_point + (turn @ from_point[..., None])[..., 0]
        return self.in_rig(axes, origin)


def _turn(axis: Array, angle: Array) -> Array:
    """Rotation about unit vectors, right-handed, by Rodrigues' formula."""
    x, y, z = np.moveaxis(axis, -1, 0)
    nil = np.zeros_like(x)
    cross = np.stack([nil, -z, y, z, nil, -x, -y, x, nil], -1).reshape(*x.shape, 3, 3)
    sin, cos = np.sin(angle)[..., None, None], np.cos(angle)[..., None, None]
    along = axis[..., :, None] * axis[..., None, :]
    turn: Array = cos * np.eye(3) + sin * cross + (1 - cos) * along
    return turn


def _tilt(rng: np.random.Generator) -> Array:
    """A rig that stands askew: rig_from_level."""
    axis = rng.normal(size=3)
    return _turn(axis / np.linalg.norm(axis), np.radians(rng.uniform(5, 20)))


def _clamps(rng: np.random.Generator, shape: tuple[int, ...]) -> tuple[Array, Array]:
    """Targets clamped askew: wheel_from_target, and the origin seen in the wheel."""
    bearing = rng.uniform(-np.pi, np.pi, (*shape, 4))
    axis = np.stack([np.cos(bearing), np.sin(bearing), np.zeros_like(bearing)], -1)
    tilt = _turn(axis, np.radians(rng.uniform(0, 5, (*shape, 4))))
    outward = np.broadcast_to([0.0, 0.0, 1.0], (*shape, 4, 3))
    clock = _turn(outward, rng.uniform(-np.pi, np.pi, (*shape, 4)))
    origin = rng.uniform(-25, 25, (*shape, 4, 3))
    origin[..., 2] = CLAMP_STANDOFF_MM
    return tilt @ clock, origin


def _write(poses: Array, axes: Array, origin: Array) -> None:
    poses[..., :3, :3], poses[..., :3, 3], poses[..., 3, 3] = axes, origin, 1.0


def session_of(sessions: Sessions, record: int) -> dict[str, object]:
    """One of the sessions as a tree, format `alignment-session/1`."""

    def station(poses: Array) -> dict[str, object]:
        return {
            wheel: {"rotation": pose[:3, :3], "translation_mm": pose[:3, 3]}
            for wheel, pose in zip(WHEELS, poses, strict=True)
        }

    standoffs = dict(zip(WHEELS, sessions.clamp_standoff_mm, strict=True))
    return {
        "format": "alignment-session/1",
        "up": sessions.up,
        "clamp_standoff_mm": standoffs,
        "loaded_radius_mm": {
            "front": sessions.loaded_radius_mm[0],
            "rear": sessions.loaded_radius_mm[2],
        },
        "rolling": [station(poses) for poses in sessions.rolling[record]],
        "ahead": station(sessions.ahead[record]),
        "sweep": [station(poses) for poses in sessions.sweep[record]],
        "sweep_wheels_locked": True,
    }
