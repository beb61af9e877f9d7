"""One reading of many cars in numpy tuned far beyond what a researcher would write.

The same formulas as `ahead_readings`, and nothing else: no pose is checked, no bad
record is told from a good one. `readings_numpy` is the plain form; this is the higher
bar that the library is timed against, as fast as we could make it in numpy:

* All cars share their clamps and the datum, so a wheel's spindle and centre in level
  axes are linear in the 16 numbers of its pose: one matrix product per wheel does it.
* In level axes the vehicle's frame is a turn in the plane; z needs nothing more.
* The record is the last axis, so that every step runs over contiguous numbers, some
  thousand records at a time, so that they stay in the cache.
* What is written is written in place.

What was tried and cost more, in ns per record on a machine where the whole takes 240:
the wheels located by `einsum` 430 instead of 100; rotations and points by `@` on small
matrices 180; all four wheels in one product of 64 numbers 180; all records at a time,
without blocks, 2000 for the whole.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

WHEELS = ("fl", "fr", "rl", "rr")
SIDE = np.array([[1.0], [-1.0], [1.0], [-1.0]])
DEG = 180.0 / np.pi
BLOCK = 4096
"""Records at a time."""

NAMES = (
    *(f"wheels.{wheel}.camber_deg" for wheel in WHEELS),
    *(f"wheels.{wheel}.toe_deg" for wheel in WHEELS),
    *(f"wheels.{wheel}.toe_to_centreline_deg" for wheel in WHEELS),
    *(f"axles.{axle}.total_toe_deg" for axle in ("front", "rear")),
    *(f"axles.{axle}.cross_camber_deg" for axle in ("front", "rear")),
    *(f"axles.{axle}.track_mm" for axle in ("front", "rear")),
    *(f"axles.{axle}.track_at_ground_mm" for axle in ("front", "rear")),
    *(f"axles.{axle}.setback_deg" for axle in ("front", "rear")),
    *(f"axles.{axle}.setback_mm" for axle in ("front", "rear")),
    "chassis.thrust_angle_deg",
    "chassis.wheelbase_left_mm",
    "chassis.wheelbase_right_mm",
    "chassis.wheelbase_difference_mm",
    "chassis.diagonal_fl_rr_mm",
    "chassis.diagonal_fr_rl_mm",
    "chassis.diagonal_difference_mm",
    "chassis.track_difference_mm",
    "chassis.axle_offset_mm",
    "steering.ahead_error_deg",
)


def level_from_rig(up: Array) -> Array:
    """Axes square to `up`, in rows: two level ones and `up` itself."""
    x = np.cross(np.eye(3)[np.argmin(np.abs(up))], up)
    x /= np.linalg.norm(x)
    return np.stack([x, np.cross(up, x), up])


def located(level: Array, spindle: Array, centre: Array) -> Array:
    """The matrices from a wheel's 16 numbers to its spindle and centre: (4, 6, 16)."""
    matrices = np.zeros((4, 6, 4, 4))
    # Rows of a rotation turn with the level axes; columns meet what is in the target.
    matrices[:, :3, :3, :3] = np.einsum("ai,wj->waij", level, spindle)
    matrices[:, 3:, :3, :3] = np.einsum("ai,wj->waij", level, centre)
    matrices[:, 3:, :3, 3] = level
    return matrices.reshape(4, 6, 16)


def ahead_readings(
    poses: Array,
    spindle_in_target: Array,
    centre_in_target_mm: Array,
    radius_mm: Array,
    up: Array,
) -> dict[str, Array]:
    """Every reading of cars straight ahead, by its path.

    Parameters
    ----------
    poses : ndarray, (N, 4, 4, 4)
        rig_from_target by record and wheel, fl fr rl rr.
    spindle_in_target, centre_in_target_mm : ndarray, (4, 3)
    radius_mm : ndarray, (4,)
    up : ndarray, (3,)
    """
    count = len(poses)
    matrices = located(level_from_rig(up), spindle_in_target, centre_in_target_mm)
    rows = poses.reshape(count, 4, 16).transpose(1, 2, 0)
    radius = radius_mm[:, None]
    out = np.empty((len(NAMES), count))
    vectors = np.empty((4, 6, count))  # per wheel: spindle, centre
    for start in range(0, count, BLOCK):
        part = slice(start, start + BLOCK)
        _block(rows[..., part], matrices, radius, vectors[..., part], out[:, part])
    readings = dict(zip(NAMES, out, strict=True))
    for wheel, (spindle, centre) in zip(
        WHEELS, vectors.reshape(4, 2, 3, -1), strict=True
    ):
        readings[f"wheels.{wheel}.spindle"] = spindle.T
        readings[f"wheels.{wheel}.centre_mm"] = centre.T
    return readings


def _block(
    rows: Array, matrices: Array, radius: Array, vectors: Array, out: Array
) -> None:
    seen = matrices @ rows
    # The vehicle's x: from the middle of the rear axle to that of the front one.
    middles = seen[::2, 3:] + seen[1::2, 3:]
    middles *= 0.5
    forward = middles[0, :2] - middles[1, :2]
    forward /= np.sqrt(forward[0] * forward[0] + forward[1] * forward[1])
    cos, sin = forward
    seen[:, 3:] -= middles[1]
    # In the vehicle's frame: (wheel, spindle or centre, axis, record).
    level, own = seen.reshape(4, 2, 3, -1), vectors.reshape(4, 2, 3, -1)
    x, y = level[:, :, 0], level[:, :, 1]
    np.add(x * cos, y * sin, out=own[:, :, 0])
    np.subtract(y * cos, x * sin, out=own[:, :, 1])
    own[:, :, 2] = level[:, :, 2]
    fill(own, radius, out)


def fill(own: Array, radius: Array, out: Array) -> None:
    """Write the readings, in the order of `NAMES`, of wheels in the vehicle's frame.

    `own` is (wheel, spindle or centre, axis, record), `radius` is (wheel, 1 or record).
    """
    (a_x, a_y, a_z), (c_x, c_y) = own[:, 0].swapaxes(0, 1), own[:, 1, :2].swapaxes(0, 1)
    camber, toe, to_centreline = out[0:4], out[4:8], out[8:12]
    np.arcsin(a_z, out=camber)
    camber *= -DEG
    np.arctan2(a_x, a_y * SIDE, out=to_centreline)
    to_centreline *= DEG
    thrust = out[24]
    np.subtract(to_centreline[2], to_centreline[3], out=thrust)
    thrust *= 0.5
    toe[...] = to_centreline
    toe[0] -= thrust
    toe[1] += thrust

    np.add(to_centreline[::2], to_centreline[1::2], out=out[12:14])
    np.subtract(camber[::2], camber[1::2], out=out[14:16])
    track, setback = out[16:18], out[22:24]
    np.subtract(c_y[::2], c_y[1::2], out=track)
    np.subtract(c_x[::2], c_x[1::2], out=setback)
    np.arctan2(setback, track, out=out[20:22])
    out[20:22] *= DEG
    # The contact centre: down the wheel's plane by the radius.
    across = a_x * a_x
    across += a_y * a_y
    ground = a_z * a_y
    ground /= np.sqrt(across, out=across)
    ground *= radius
    ground += c_y
    np.subtract(ground[::2], ground[1::2], out=out[18:20])

    base = c_x[:2] - c_x[2:]
    out[25:27] = base
    np.subtract(base[0], base[1], out=out[27])
    for row, (front, rear) in enumerate(((0, 3), (1, 2)), start=28):
        along, beside = c_x[front] - c_x[rear], c_y[front] - c_y[rear]
        along *= along
        beside *= beside
        along += beside
        np.sqrt(along, out=out[row])
    np.subtract(out[28], out[29], out=out[30])
    np.subtract(track[0], track[1], out=out[31])
    # The front axle's midpoint lies on x, the rear one's at the origin.
    front, left = setback[0], track[0]
    ahead = c_x[0] + c_x[1]
    ahead *= -0.5
    ahead *= front
    ahead /= np.sqrt(front * front + left * left)
    out[32] = ahead
    np.subtract(toe[1], toe[0], out=out[33])
    out[33] *= 0.5
