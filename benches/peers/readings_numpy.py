"""What a good researcher would write for one reading of many cars: plain numpy.

The same formulas as `ahead_readings`, as the textbook has them: all records at once,
each step one call of numpy over the whole, no loop but over wheels and axles. Nothing
is checked: not that a pose is a rotation, not that a wheel is where a wheel can be, and
no bad record is told from a good one. `readings_tuned` gives the same in numpy as fast
as we could make it.

The steps' own arrays are as long as the records are many: at its peak a million records
take 0.9 GB beyond the arrays given, of which the readings are 0.5 GB.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

WHEELS = ("fl", "fr", "rl", "rr")
SIDE = np.array([1.0, -1.0, 1.0, -1.0])
DOWN = np.array([0.0, 0.0, -1.0])


def ahead_readings(
    poses: Array,
    spindle_in_target: Array,
    centre_in_target_mm: Array,
    radius_mm: Array,
    up: Array,
) -> dict[str, Array]:
    """Give every reading of cars straight ahead, by its path.

    Parameters
    ----------
    poses : ndarray, (N, 4, 4, 4)
        rig_from_target by record and wheel, fl fr rl rr.
    spindle_in_target, centre_in_target_mm : ndarray, (4, 3)
    radius_mm : ndarray, (4,)
    up : ndarray, (3,)
    """
    turn, origin = poses[..., :3, :3], poses[..., :3, 3]
    spindle = times(turn, spindle_in_target)
    centre = times(turn, centre_in_target_mm) + origin
    rig_from_vehicle, rear = vehicle_frame(centre, up)
    a, c = spindle @ rig_from_vehicle, (centre - rear[:, None]) @ rig_from_vehicle
    return readings(a, c, contact_centres(a, c, radius_mm))


def vehicle_frame(centre: Array, up: Array) -> tuple[Array, Array]:
    """Find axes, in columns, x from rear to front axle's middle; and the origin."""
    front, rear = centre[:, :2].mean(axis=1), centre[:, 2:].mean(axis=1)
    forward = front - rear
    x = unit(forward - (forward @ up)[:, None] * up)
    z = np.broadcast_to(up, x.shape)
    return np.stack([x, np.cross(up, x), z], axis=-1), rear


def contact_centres(a: Array, c: Array, radius_mm: Array) -> Array:
    """Go from the centres down the planes of the wheels by their radii."""
    down = DOWN - (a @ DOWN)[..., None] * a
    return c + radius_mm[:, None] * unit(down)


def readings(a: Array, c: Array, contact: Array) -> dict[str, Array]:
    """Give every reading of spindles and centres in the vehicle's frame, (N, 4, 3)."""
    camber = np.degrees(-np.arcsin(a[..., 2]))
    to_centreline = np.degrees(np.arctan2(a[..., 0], SIDE * a[..., 1]))
    thrust = (to_centreline[:, 2] - to_centreline[:, 3]) / 2
    toe = to_centreline.copy()
    toe[:, 0] -= thrust
    toe[:, 1] += thrust
    found: dict[str, Array] = {}
    for w, wheel in enumerate(WHEELS):
        found |= {
            f"wheels.{wheel}.camber_deg": camber[:, w],
            f"wheels.{wheel}.toe_deg": toe[:, w],
            f"wheels.{wheel}.toe_to_centreline_deg": to_centreline[:, w],
            f"wheels.{wheel}.spindle": a[:, w],
            f"wheels.{wheel}.centre_mm": c[:, w],
        }
    for axle, left, right in (("front", 0, 1), ("rear", 2, 3)):
        setback, track, _ = (c[:, left] - c[:, right]).T
        found |= {
            f"axles.{axle}.total_toe_deg": toe[:, left] + toe[:, right],
            f"axles.{axle}.cross_camber_deg": camber[:, left] - camber[:, right],
            f"axles.{axle}.track_mm": track,
            f"axles.{axle}.track_at_ground_mm": (
                contact[:, left, 1] - contact[:, right, 1]
            ),
            f"axles.{axle}.setback_deg": np.degrees(np.arctan2(setback, track)),
            f"axles.{axle}.setback_mm": setback,
        }
    base_left, base_right = (c[:, :2, 0] - c[:, 2:, 0]).T
    diagonal_fl = np.linalg.norm(c[:, 0, :2] - c[:, 3, :2], axis=-1)
    diagonal_fr = np.linalg.norm(c[:, 1, :2] - c[:, 2, :2], axis=-1)
    front_axle = unit(c[:, 0, :2] - c[:, 1, :2])
    front_middle = c[:, :2, :2].mean(axis=1)
    return found | {
        "chassis.thrust_angle_deg": thrust,
        "chassis.wheelbase_left_mm": base_left,
        "chassis.wheelbase_right_mm": base_right,
        "chassis.wheelbase_difference_mm": base_left - base_right,
        "chassis.diagonal_fl_rr_mm": diagonal_fl,
        "chassis.diagonal_fr_rl_mm": diagonal_fr,
        "chassis.diagonal_difference_mm": diagonal_fl - diagonal_fr,
        "chassis.track_difference_mm": (
            found["axles.front.track_mm"] - found["axles.rear.track_mm"]
        ),
        "chassis.axle_offset_mm": -dot(front_middle, front_axle),
        "steering.ahead_error_deg": (toe[:, 1] - toe[:, 0]) / 2,
    }


def times(matrix: Array, vector: Array) -> Array:
    """Multiply matrices and vectors."""
    product: Array = (matrix @ vector[..., None])[..., 0]
    return product


def dot(a: Array, b: Array) -> Array:
    """Multiply vectors along the last axis."""
    product: Array = np.einsum("...i,...i->...", a, b)
    return product


def unit(v: Array) -> Array:
    """Scale vectors along the last axis to length one."""
    scaled: Array = v / np.linalg.norm(v, axis=-1, keepdims=True)
    return scaled
