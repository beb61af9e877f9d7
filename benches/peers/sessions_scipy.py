"""What many would write for whole sessions: one car after the other, with SciPy.

Rolled, stood straight ahead, swept with the wheels locked: the main readings that
`measure` gives by its default method, each by the formula of the textbook and the
function that SciPy has for it. Nothing is checked.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import linalg
from scipy.interpolate import BarycentricInterpolator
from scipy.spatial.transform import Rotation

Array = NDArray[np.float64]

WHEELS = ("fl", "fr", "rl", "rr")
SIDES = ("left", "right")
SIDE = (1.0, -1.0, 1.0, -1.0)
AT_DEG = 20.0


def measure(
    rolling: Array,
    ahead: Array,
    sweep: Array,
    up: Array,
    clamp_standoff_mm: Array,
    loaded_radius_mm: Array,
) -> dict[str, Array]:
    """Every main reading of whole sessions; arguments as in `sessions_numpy`."""
    cars = [
        measure_one(*car, up, clamp_standoff_mm, loaded_radius_mm)
        for car in zip(rolling, ahead, sweep, strict=True)
    ]
    return {path: np.array([car[path] for car in cars]) for path in cars[0]}


def measure_one(
    rolling: Array,
    ahead: Array,
    sweep: Array,
    up: Array,
    clamp_standoff_mm: Array,
    loaded_radius_mm: Array,
) -> dict[str, float | Array]:
    """Every main reading of one session, by its path."""
    readings: dict[str, float | Array] = {}
    spindles, centres, radii = compensate(rolling, up, clamp_standoff_mm)
    for name, spindle, radius in zip(WHEELS, spindles, radii, strict=True):
        largest = np.abs(spindle).max()
        readings[f"wheels.{name}.runout_deg"] = degrees(
            linalg.norm(np.delete(spindle, np.abs(spindle).argmax())), largest
        )
        readings[f"wheels.{name}.rolling_radius_mm"] = radius

    # The vehicle's frame, and the wheels in it.
    in_rig = Rotation.from_matrix(ahead[:, :3, :3])
    a = in_rig.apply(spindles)
    c = in_rig.apply(centres) + ahead[:, :3, 3]
    rear = c[2:].mean(axis=0)
    x = unit(square_to(c[:2].mean(axis=0) - rear, up))
    vehicle_from_rig = np.stack([x, np.cross(up, x), up])
    a, c = a @ vehicle_from_rig.T, (c - rear) @ vehicle_from_rig.T
    camber = np.degrees(-np.arcsin(a[:, 2]))
    toe = np.array([degrees(a[w, 0], SIDE[w] * a[w, 1]) for w in range(4)])
    thrust = (toe[2] - toe[3]) / 2
    to_thrust = toe - np.array([thrust, -thrust, 0, 0])
    down = np.array([square_to(np.array([0.0, 0.0, -1.0]), spindle) for spindle in a])
    contact = c + loaded_radius_mm[:, None] * down / linalg.norm(down, axis=1)[:, None]
    for w, name in enumerate(WHEELS):
        readings[f"wheels.{name}.camber_deg"] = camber[w]
        readings[f"wheels.{name}.toe_deg"] = to_thrust[w]
        readings[f"wheels.{name}.toe_to_centreline_deg"] = toe[w]
        readings[f"wheels.{name}.centre_mm"] = c[w]
        readings[f"wheels.{name}.spindle"] = a[w]
    for axle, left, right in (("front", 0, 1), ("rear", 2, 3)):
        setback, track, _ = c[left] - c[right]
        readings[f"axles.{axle}.total_toe_deg"] = toe[left] + toe[right]
        readings[f"axles.{axle}.cross_camber_deg"] = camber[left] - camber[right]
        readings[f"axles.{axle}.track_mm"] = track
        readings[f"axles.{axle}.track_at_ground_mm"] = (
            contact[left, 1] - contact[right, 1]
        )
        readings[f"axles.{axle}.setback_deg"] = degrees(setback, track)
        readings[f"axles.{axle}.setback_mm"] = setback
    base = c[:2, 0] - c[2:, 0]
    diagonals = linalg.norm((c[:2] - c[[3, 2]])[:, :2], axis=1)
    front_axle = unit((c[0] - c[1])[:2])
    readings |= {
        "chassis.thrust_angle_deg": thrust,
        "chassis.wheelbase_left_mm": base[0],
        "chassis.wheelbase_right_mm": base[1],
        "chassis.wheelbase_difference_mm": base[0] - base[1],
        "chassis.diagonal_fl_rr_mm": diagonals[0],
        "chassis.diagonal_fr_rl_mm": diagonals[1],
        "chassis.diagonal_difference_mm": diagonals[0] - diagonals[1],
        "chassis.track_difference_mm": c[0, 1] - c[1, 1] - c[2, 1] + c[3, 1],
        "chassis.axle_offset_mm": -c[:2, :2].mean(axis=0) @ front_axle,
        "steering.ahead_error_deg": (to_thrust[1] - to_thrust[0]) / 2,
    }

    steer = np.zeros((2, len(sweep)))
    ground = np.zeros((2, 3))
    caster, sai = np.zeros(2), np.zeros(2)
    for w, side in enumerate(SIDES):
        direction, point = fixed_axis(sweep[:, w], centres[w], up)
        k = vehicle_from_rig @ direction
        q = vehicle_from_rig @ (point - rear)
        caster[w] = degrees(-k[0], k[2])
        sai[w] = degrees(-SIDE[w] * k[1], k[2])
        ground[w] = q + k * (contact[w, 2] - q[2]) / k[2]
        from_contact = ground[w] - contact[w]
        heading = unit(SIDE[w] * np.cross(a[w], [0.0, 0.0, 1.0]))
        inboard = -SIDE[w] * np.cross([0.0, 0.0, 1.0], heading)
        readings |= {
            f"steering.{side}.caster_deg": caster[w],
            f"steering.{side}.sai_deg": sai[w],
            f"steering.{side}.included_angle_deg": sai[w] + camber[w],
            f"steering.{side}.caster_trail_mm": from_contact[0],
            f"steering.{side}.scrub_radius_mm": -SIDE[w] * from_contact[1],
            f"steering.{side}.caster_trail_in_wheel_plane_mm": from_contact @ heading,
            f"steering.{side}.scrub_radius_in_wheel_plane_mm": from_contact @ inboard,
            f"steering.{side}.axis_direction": k,
            f"steering.{side}.axis_point_mm": q + k * ((c[w] - q) @ k),
        }
        swung = Rotation.from_matrix(sweep[:, w, :3, :3]).apply(spindles[w])
        swung = swung @ vehicle_from_rig.T
        yaw = np.arctan2(-swung[:, 0] * SIDE[w], swung[:, 1] * SIDE[w])
        steer[w] = np.degrees(yaw) + SIDE[w] * toe[w]
    steer -= 360.0 * np.round(steer / 360.0)
    readings["steering.cross_caster_deg"] = caster[0] - caster[1]
    readings["steering.cross_sai_deg"] = sai[0] - sai[1]
    readings["steering.sweep_range_deg"] = np.ptp(steer.mean(axis=0))

    distance = ground[0, 1] - ground[1, 1]
    cot_outer = 1 / np.tan(np.radians(AT_DEG)) + distance / base.mean()
    ideal = AT_DEG - degrees(1.0, cot_outer)
    for turned, side, asked, other in (
        (1.0, "left", steer[0], steer[1]),
        (-1.0, "right", steer[1], steer[0]),
    ):
        outer = interpolate(turned * asked, turned * other)
        reached = 0.0 * outer  # NaN where the sweep does not go so far
        readings |= {
            f"turns.{side}_turn.inner_deg": AT_DEG + reached,
            f"turns.{side}_turn.outer_deg": outer,
            f"turns.{side}_turn.toe_out_deg": AT_DEG - outer,
            f"turns.{side}_turn.ackermann_deg": ideal + reached,
        }
    return readings


def compensate(
    rolling: Array, up: Array, clamp_standoff_mm: Array
) -> tuple[Array, Array, Array]:
    """Spindle and centre in each target, and the rolling radius."""
    origins = rolling[:, :, :3, 3].mean(axis=0)
    spindles, rolls, steps = [], [], []
    for w in range(4):
        turns = Rotation.from_matrix(rolling[:, w, :3, :3])
        spindle = least_turned(turns.as_matrix())
        outward = unit(turns.apply(spindle).mean(axis=0))
        if outward @ (origins[w] - origins[w ^ 1]) < 0:
            spindle, outward = -spindle, -outward
        roll = (turns * turns[0].inv()).as_rotvec() @ outward * SIDE[w]
        heading = unit(SIDE[w] * np.cross(outward, up))
        along = np.stack([heading, np.cross(up, heading)], axis=1)
        moved, _ = path(turns, rolling[:, w, :3, 3], roll, spindle, along)
        spindles.append(spindle)
        rolls.append(roll)
        steps.append(along @ moved)
    travel = unit(np.sum(steps, axis=0))
    centres, radii = [], []
    for w in range(4):
        turns = Rotation.from_matrix(rolling[:, w, :3, :3])
        (radius,), offset = path(
            turns, rolling[:, w, :3, 3], rolls[w], spindles[w], travel[:, None]
        )
        centres.append(offset - clamp_standoff_mm[w] * spindles[w])
        radii.append(radius)
    return np.array(spindles), np.array(centres), np.array(radii)


def path(
    turns: Rotation, origins: Array, roll: Array, spindle: Array, along: Array
) -> tuple[Array, Array]:
    """Least squares of p = c₀ + θ·(steps along) − R·o: the steps, and o."""
    square = linalg.null_space(spindle[None])
    count, steps = len(origins), along.shape[1]
    design = np.zeros((count, 3, 3 + steps + 2))
    design[:, :, :3] = np.eye(3)
    design[:, :, 3 : 3 + steps] = roll[:, None, None] * along
    design[:, :, 3 + steps :] = -turns.as_matrix() @ square
    solution, *_ = linalg.lstsq(design.reshape(3 * count, -1), origins.ravel())
    return solution[3 : 3 + steps], square @ solution[3 + steps :]


def fixed_axis(poses: Array, near: Array, up: Array) -> tuple[Array, Array]:
    """The axis about which the poses turned, and its point nearest to `near`."""
    turns, origins = poses[:, :3, :3], poses[:, :3, 3]
    axis = least_turned(turns)
    direction = unit((turns @ axis).mean(axis=0))
    if direction @ up < 0:
        axis, direction = -axis, -direction
    # R·q + p stays, less its mean. Along the axis any q will do.
    design = (turns - turns.mean(axis=0)).reshape(-1, 3)
    right = -(origins - origins.mean(axis=0)).ravel()
    square = linalg.null_space(axis[None])
    point = square @ linalg.lstsq(design @ square, right)[0] + axis * (axis @ near)
    return direction, (turns @ point + origins).mean(axis=0)


def least_turned(turns: Array) -> Array:
    """The unit vector that the turns move least."""
    _, _, rows = linalg.svd((turns - turns.mean(axis=0)).reshape(-1, 3))
    least: Array = rows[2]
    return least


def interpolate(asked: Array, other: Array) -> float:
    """The other wheel's angle, by the cubic through the four nearest stations."""
    near = np.abs(asked) < 0.5
    if near.any():  # one station with the ahead one, where both angles are 0
        asked, other = (
            np.where(near, asked / 2, asked),
            np.where(near, other / 2, other),
        )
    else:
        asked, other = np.append(asked, 0.0), np.append(other, 0.0)
    if not asked.min() <= AT_DEG <= asked.max() + 1.0:
        return float("nan")
    nearest = np.argsort(np.abs(asked - AT_DEG))[:4]
    return float(BarycentricInterpolator(asked[nearest], other[nearest])(AT_DEG))


def square_to(v: Array, direction: Array) -> Array:
    return v - direction * (v @ direction)


def unit(v: Array) -> Array:
    length: float = linalg.norm(v)
    return v / length


def degrees(y: float, x: float) -> float:
    return float(np.degrees(np.arctan2(y, x)))
