"""How near a reading must come to the truth."""

import numpy as np

from truth import Readings

ANGLE_DEG = 1e-9
LENGTH_MM = 1e-6
# The angle of the other wheel may be interpolated between sweep stations.
INTERPOLATED_DEG = 0.02


def tolerance(
    path: str, angle_deg: float = ANGLE_DEG, length_mm: float = LENGTH_MM
) -> float:
    if "_turn." in path and path.endswith((".outer_deg", ".inner_deg", ".toe_out_deg")):
        return INTERPOLATED_DEG
    if path.endswith("_deg"):
        return angle_deg
    if path.endswith("_mm"):
        return length_mm
    return np.radians(angle_deg)  # the components of a unit vector


def disagreements(
    found: Readings, true: Readings, **allowed: float
) -> dict[str, tuple[object, object]]:
    """What is missing or out of tolerance, by path: what was found, what is true."""
    wrong = {}
    for path, truth in true.items():
        if path not in found:
            wrong[path] = (None, truth)
            continue
        off = np.abs(np.subtract(found[path], truth)).max()
        if path.endswith(".axis_point_mm"):
            # Any point of the axis will do: its distance from the true axis counts.
            axis = true[path.replace("axis_point_mm", "axis_direction")]
            off = np.linalg.norm(np.cross(np.subtract(found[path], truth), axis))
        if not off <= tolerance(path, **allowed):
            wrong[path] = (found[path], truth)
    return wrong


def assert_true(found: Readings, true: Readings, **allowed: float) -> None:
    """Every true reading is found, within `angle_deg` and `length_mm`."""
    wrong = disagreements(found, true, **allowed)
    assert not wrong, "\n".join(
        f"{path}: found {value}, true {truth}" for path, (value, truth) in wrong.items()
    )


def assert_same(found: Readings, expected: Readings) -> None:
    """Two ways to the same readings: nothing but rounding lies between them."""
    assert found.keys() == expected.keys()
    for path, value in expected.items():
        allowed = 1e-7 if path.endswith("_mm") else 1e-9
        assert np.abs(np.subtract(found[path], value)).max() <= allowed, path
