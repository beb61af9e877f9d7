"""What a good researcher would write for whole sessions of many cars: plain numpy.

Rolled, stood straight ahead, swept with the wheels locked: the readings that `measure`
gives by its default method, as the textbook has them. All records at once, each step
one call of numpy over the whole, no loop but over wheels and sides: an eigenvector for
what turns least, normal equations for least squares, Lagrange's cubic for the turns.

Nothing is checked and nothing is warned of: not that a pose is a rotation, that the
car rolled or the wheels were swept, that the stations belong together, or how well a
fit is determined; and no bad record is told from a good one. `sessions_tuned` gives
the same in numpy as fast as we could make it.

The steps' own arrays are as long as the sessions are many: at its peak, with 5 rolling
and 9 sweep stations, a session takes 10 kB beyond the arrays given, a hundred thousand
1.0 GB, of which the readings are 0.09 GB.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from readings_numpy import (
    SIDE,
    WHEELS,
    contact_centres,
    dot,
    readings,
    times,
    unit,
    vehicle_frame,
)

Array = NDArray[np.float64]

SIDES = ("left", "right")
VERTICAL = np.array([0.0, 0.0, 1.0])
AT_DEG = 20.0
"""Where toe-out on turns is read, of the inner wheel."""
SAME_STATION_DEG = 0.5
TURN_MARGIN_DEG = 1.0


def measure(
    rolling: Array,
    ahead: Array,
    sweep: Array,
    up: Array,
    clamp_standoff_mm: Array,
    loaded_radius_mm: Array,
) -> dict[str, Array]:
    """Give every reading of whole sessions, by its path.

    Parameters
    ----------
    rolling : ndarray, (N, S, 4, 4, 4)
        rig_from_target by record, station and wheel, fl fr rl rr.
    ahead : ndarray, (N, 4, 4, 4)
    sweep : ndarray, (N, S', 4, 4, 4)
    up : ndarray, (3,)
    clamp_standoff_mm, loaded_radius_mm : ndarray, (4,)
    """
    spindle, centre, radius = compensate(rolling.swapaxes(1, 2), up, clamp_standoff_mm)
    turn, origin = parts(ahead)
    in_rig = times(turn, centre) + origin
    rig_from_vehicle, rear = vehicle_frame(in_rig, up)
    a = times(turn, spindle) @ rig_from_vehicle
    c = (in_rig - rear[:, None]) @ rig_from_vehicle
    contact = contact_centres(a, c, loaded_radius_mm)
    found = readings(a, c, contact)
    by_size = np.sort(np.abs(spindle), axis=-1)
    runout = np.arctan2(np.linalg.norm(by_size[..., :2], axis=-1), by_size[..., 2])
    for w, wheel in enumerate(WHEELS):
        found[f"wheels.{wheel}.runout_deg"] = np.degrees(runout[:, w])
        found[f"wheels.{wheel}.rolling_radius_mm"] = radius[:, w]

    swept = sweep[:, :, :2].swapaxes(1, 2)
    direction, point, tilt, shift = fixed_axis(swept, centre[:, :2], up)
    k, q = direction @ rig_from_vehicle, (point - rear[:, None]) @ rig_from_vehicle
    side, a, c, contact = SIDE[:2], a[:, :2], c[:, :2], contact[:, :2]
    caster = np.degrees(np.arctan2(-k[..., 0], k[..., 2]))
    sai = np.degrees(np.arctan2(-side * k[..., 1], k[..., 2]))
    ground = q + k * ((contact[..., 2] - q[..., 2]) / k[..., 2])[..., None]
    from_contact = ground - contact
    heading = unit(side[:, None] * np.cross(a, VERTICAL))
    inboard = -side[:, None] * np.cross(VERTICAL, heading)
    nearest = q + k * dot(c - q, k)[..., None]
    # The heading of each front wheel at each station, from its heading straight ahead.
    swung = times(swept[..., :3, :3], spindle[:, :2, None])
    swung = swung @ rig_from_vehicle[:, None]
    steer = yaw_deg(swung, side[:, None]) - yaw_deg(a, side)[..., None]
    steer -= 360.0 * np.round(steer / 360.0)
    for w, name in enumerate(SIDES):
        found |= {
            f"steering.{name}.caster_deg": caster[:, w],
            f"steering.{name}.sai_deg": sai[:, w],
            f"steering.{name}.included_angle_deg": (
                sai[:, w] + found[f"wheels.{WHEELS[w]}.camber_deg"]
            ),
            f"steering.{name}.caster_trail_mm": from_contact[:, w, 0],
            f"steering.{name}.scrub_radius_mm": -side[w] * from_contact[:, w, 1],
            f"steering.{name}.caster_trail_in_wheel_plane_mm": dot(
                from_contact[:, w], heading[:, w]
            ),
            f"steering.{name}.scrub_radius_in_wheel_plane_mm": dot(
                from_contact[:, w], inboard[:, w]
            ),
            f"steering.{name}.residual_deg": np.degrees(tilt[:, w]),
            f"steering.{name}.residual_mm": shift[:, w],
            f"steering.{name}.axis_direction": k[:, w],
            f"steering.{name}.axis_point_mm": nearest[:, w],
        }
    found["steering.cross_caster_deg"] = caster[:, 0] - caster[:, 1]
    found["steering.cross_sai_deg"] = sai[:, 0] - sai[:, 1]
    found["steering.sweep_range_deg"] = np.ptp(steer.mean(axis=1), axis=-1)

    base = found["chassis.wheelbase_left_mm"] + found["chassis.wheelbase_right_mm"]
    ratio = (ground[:, 0, 1] - ground[:, 1, 1]) / (base / 2)
    cot_outer = 1 / np.tan(np.radians(AT_DEG)) + ratio
    ideal = AT_DEG - np.degrees(np.arctan2(1.0, cot_outer))
    for name, asked, other in (
        ("left", steer[:, 0], steer[:, 1]),
        ("right", -steer[:, 1], -steer[:, 0]),
    ):
        outer = outer_deg(asked, other)
        reached = np.isfinite(outer)
        found |= {
            f"turns.{name}_turn.inner_deg": np.where(reached, AT_DEG, np.nan),
            f"turns.{name}_turn.outer_deg": outer,
            f"turns.{name}_turn.toe_out_deg": AT_DEG - outer,
            f"turns.{name}_turn.ackermann_deg": np.where(reached, ideal, np.nan),
        }
    return found


def compensate(
    rolling: Array, up: Array, clamp_standoff_mm: Array
) -> tuple[Array, Array, Array]:
    """Find spindle and centre in each target, and the rolling radius: (N, 4, ...)."""
    turn, origin = parts(rolling)
    spindle, square = least_turned(turn)
    outward = unit(times(turn.mean(axis=2), spindle))
    # Outward is away from the wheel on the other side.
    middle = origin.mean(axis=2)
    sign = np.sign(dot(outward, middle - middle[:, [1, 0, 3, 2]]))[..., None]
    spindle, outward = sign * spindle, sign * outward

    # The roll angle since the first station, about the spindle, forward positive.
    since = turn @ turn[:, :, :1].swapaxes(-1, -2)
    twice_sin = np.stack(
        [
            since[..., 2, 1] - since[..., 1, 2],
            since[..., 0, 2] - since[..., 2, 0],
            since[..., 1, 0] - since[..., 0, 1],
        ],
        axis=-1,
    )
    sin = dot(twice_sin, outward[:, :, None]) / 2
    cos = (np.trace(since, axis1=-2, axis2=-1) - 1) / 2
    roll = SIDE[:, None] * np.arctan2(sin, cos)

    # Which way the car rolled: the sum of each wheel's own steps on the level.
    heading = unit(SIDE[:, None] * np.cross(outward, up))
    level = np.stack([heading, np.cross(up, heading)], axis=-1)
    steps, _ = path(turn, origin, roll, square, level)
    travel = unit(times(level, steps).sum(axis=1))
    # How far: one direction for all four.
    along = np.broadcast_to(travel[:, None, :, None], (*spindle.shape, 1))
    radius, offset = path(turn, origin, roll, square, along)
    return spindle, offset - clamp_standoff_mm[:, None] * spindle, radius[..., 0]


def path(
    turn: Array, origin: Array, roll: Array, square: Array, along: Array
) -> tuple[Array, Array]:
    """Fit p = c₀ + θ·(steps along) − R·o by least squares: the steps, and o."""
    steps = roll[..., None, None] * along[:, :, None]
    design = np.concatenate([steps, -turn @ square[:, :, None]], axis=-1)
    solution = least_squares(design, origin)
    count = along.shape[-1]
    return solution[..., :count], times(square, solution[..., count:])


def fixed_axis(
    swept: Array, near: Array, up: Array
) -> tuple[Array, Array, Array, Array]:
    """Find the axis that the knuckles turned about, and its point nearest to `near`.

    And how far the stations scatter about it, RMS, in radians and mm.
    """
    turn, origin = parts(swept)
    axis, square = least_turned(turn)
    direction = unit(times(turn.mean(axis=2), axis))
    sign = np.sign(direction @ up)[..., None]
    axis, direction = sign * axis, sign * direction
    # The point that stays, c = R·q + p. Along the axis any q will do.
    solution = least_squares(-turn @ square[:, :, None], origin)
    point = times(square, solution) + axis * dot(axis, near)[..., None]
    seen = times(turn, point[:, :, None]) + origin
    middle = seen.mean(axis=2)
    tilt = rms(times(turn, axis[:, :, None]) - direction[:, :, None])
    return direction, middle, tilt, rms(seen - middle[:, :, None])


def least_turned(turn: Array) -> tuple[Array, Array]:
    """Find what the stations move least in the target, and two directions square to it.

    Shapes (N, wheels, 3) and (N, wheels, 3, 2).
    """
    apart = stacked(turn - turn.mean(axis=2, keepdims=True))
    _, vectors = np.linalg.eigh(apart.swapaxes(-1, -2) @ apart)
    return vectors[..., 0], vectors[..., 1:]


def least_squares(design: Array, right: Array) -> Array:
    """Solve design · unknowns + constant = right over all stations of a wheel.

    By the normal equations. Taking the means off rids them of the constant.
    """
    a = stacked(design - design.mean(axis=2, keepdims=True))
    b = stacked((right - right.mean(axis=2, keepdims=True))[..., None])
    transposed = a.swapaxes(-1, -2)
    unknowns = np.linalg.solve(transposed @ a, transposed @ b)[..., 0]
    return np.asarray(unknowns, np.float64)


def outer_deg(asked: Array, other: Array) -> Array:
    """Find the other wheel's angle where the asked one's is 20°.

    The ahead station counts, its angles 0. A station of the sweep that stands by it is
    one with it, half way between.
    """
    near = np.abs(asked) < SAME_STATION_DEG
    has_ahead = near.any(axis=1)
    asked, other = np.where(near, asked / 2, asked), np.where(near, other / 2, other)
    outer = np.empty(len(asked))
    outer[has_ahead] = cubic(asked[has_ahead], other[has_ahead])
    outer[~has_ahead] = cubic(
        *(np.pad(angle[~has_ahead], ((0, 0), (0, 1))) for angle in (asked, other))
    )
    return outer


def cubic(x: Array, y: Array) -> Array:
    """Evaluate at 20° Lagrange's polynomial through the four stations nearest to it."""
    beyond = (x.min(axis=1) > AT_DEG) | (x.max(axis=1) < AT_DEG - TURN_MARGIN_DEG)
    nearest = np.argsort(np.abs(x - AT_DEG), axis=1)[:, :4]
    x, y = np.take_along_axis(x, nearest, 1), np.take_along_axis(y, nearest, 1)
    value = np.zeros(len(x))
    for i in range(x.shape[1]):
        others = np.delete(x, i, axis=1)
        value += y[:, i] * ((AT_DEG - others) / (x[:, i, None] - others)).prod(axis=1)
    return np.where(beyond, np.nan, value)


def parts(poses: Array) -> tuple[Array, Array]:
    """Take rotations and origins."""
    return poses[..., :3, :3], poses[..., :3, 3]


def stacked(stations: Array) -> Array:
    """Put the rows of all stations of a wheel one below the other."""
    n, wheels, count, three, columns = stations.shape
    return stations.reshape(n, wheels, count * three, columns)


def yaw_deg(spindle: Array, side: Array) -> Array:
    """Turn spindles in the vehicle's frame into headings, positive to the left."""
    return np.degrees(np.arctan2(-spindle[..., 0] * side, spindle[..., 1] * side))


def rms(v: Array) -> Array:
    """Take the RMS of the lengths of the vectors of all stations."""
    root: Array = np.sqrt(dot(v, v).mean(axis=-1))
    return root
