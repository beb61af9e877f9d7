"""The directions that angles refer to, from points and spindles, in plain numpy."""

from collections.abc import Mapping

import numpy as np

Vector = np.ndarray
Matrix = np.ndarray

# The fixed point is found when the normal turns by less than this, radians.
STILL_RAD = 1e-15


def unit(vector: Vector) -> Vector:
    return vector / np.linalg.norm(vector)


def plane_normal(points: Mapping[str, Vector], towards: Vector) -> Vector:
    """Of the plane of least squared distances, on the side of `towards`."""
    cloud = np.array(list(points.values()))
    centroid = cloud.mean(axis=0)
    normal = np.linalg.svd(cloud - centroid)[2][-1]
    return normal if normal @ (towards - centroid) > 0.0 else -normal


def contact_centre(
    centre: Vector, outward: Vector, radius_mm: float, normal: Vector
) -> Vector:
    """From the wheel centre down the steepest line of the wheel plane."""
    return centre + radius_mm * unit(outward * (outward @ normal) - normal)


def wheel_plane_normal(
    centre: Mapping[str, Vector],
    outward: Mapping[str, Vector],
    radius_mm: Mapping[str, float],
    start: Vector,
) -> Vector:
    """Of the plane of the contact centres, which themselves lie down along it."""
    normal = start
    middle = np.mean(list(centre.values()), axis=0)
    for _ in range(100):
        contact = {
            wheel: contact_centre(
                centre[wheel], outward[wheel], radius_mm[wheel], normal
            )
            for wheel in centre
        }
        previous, normal = normal, plane_normal(contact, middle)
        if np.linalg.norm(normal - previous) < STILL_RAD:
            return normal
    raise AssertionError("the plane of the contact centres does not settle")


def vehicle_axes(
    centre: Mapping[str, Vector], normal: Vector, centreline: str
) -> Matrix:
    """Rows: forward, left, up."""

    def level(vector: Vector) -> Vector:
        return unit(vector - normal * (normal @ vector))

    if centreline == "side_line_bisector":
        left = level(centre["fl"] - centre["rl"])
        right = level(centre["fr"] - centre["rr"])
        forward = unit(left + right)
    else:
        front_middle = (centre["fl"] + centre["fr"]) / 2
        rear_middle = (centre["rl"] + centre["rr"]) / 2
        forward = level(front_middle - rear_middle)
    return np.array([forward, np.cross(normal, forward), normal])
