"""How near a reading must come to the truth."""

import itertools
import re

import numpy as np

from ledger import READINGS, hold
from truth import Readings

ANGLE_DEG = 1e-9
LENGTH_MM = 1e-6
# The angle of the other wheel may be interpolated between sweep stations.
INTERPOLATED_DEG = 0.02
ROUNDING = "rounding of coordinates of 1e4 mm, with a margin"
UNITS = {"deg": "deg", "mm": "mm"}
NAMES = {"deg": "angles", "mm": "lengths"}


def paths_of(pattern: str) -> list[str]:
    """`axles.{front,rear}.track_mm` is two paths."""
    parts = re.split(r"\{(.*?)\}", pattern)
    choices = [
        part.split(",") if index % 2 else [part] for index, part in enumerate(parts)
    ]
    return ["".join(chosen) for chosen in itertools.product(*choices)]


PATHS = {pattern: paths_of(pattern) for pattern in READINGS}
"""Of each reading of the contract."""


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


def off_by(path: str, found: Readings, true: Readings) -> float:
    off = float(np.abs(np.subtract(found[path], true[path])).max())
    if path.endswith(".axis_point_mm"):
        # Any point of the axis will do: its distance from the true axis counts.
        axis = true[path.replace("axis_point_mm", "axis_direction")]
        apart = np.subtract(found[path], true[path])
        off = float(np.linalg.norm(np.cross(apart, axis)))
    return off


def disagreements(
    found: Readings, true: Readings, **allowed: float
) -> dict[str, tuple[object, object]]:
    """What is missing or out of tolerance, by path: what was found, what is true."""
    wrong = {}
    for path, truth in true.items():
        if path not in found:
            wrong[path] = (None, truth)
        elif not off_by(path, found, true) <= tolerance(path, **allowed):
            wrong[path] = (found[path], truth)
    return wrong


def assert_true(
    found: Readings, true: Readings, *, against: str | None = None, **allowed: float
) -> None:
    """Every true reading is found, within `angle_deg` and `length_mm`.

    `against` is the engine that the truth is from: the ledger is told of it.
    """
    wrong = disagreements(found, true, **allowed)
    assert not wrong, "\n".join(
        f"{path}: found {value}, true {truth}" for path, (value, truth) in wrong.items()
    )
    if against is not None:
        assert not allowed, "the ledger has one tolerance for all rigid cars"
        tell(found, true, against, "rigid cars", ROUNDING)


def tell(
    found: Readings,
    true: Readings,
    against: str,
    quantity: str,
    why: str,
    **allowed: float,
) -> None:
    """Let the ledger know of every reading, and of `measure`."""
    of_measure: dict[str, list[float]] = {"deg": [], "mm": []}
    for pattern, paths in PATHS.items():
        seen = [path for path in paths if path in true]
        if not seen:
            continue
        off = [off_by(path, found, true) for path in seen]
        within = tolerance(seen[0], **allowed)
        interpolated = within == INTERPOLATED_DEG
        unit = UNITS.get(pattern.rpartition("_")[2], "1")
        hold(
            pattern,
            against=against,
            quantity=quantity,
            off=off,
            allowed=within,
            unit=unit,
            why="interpolated between sweep stations" if interpolated else why,
        )
        if not interpolated and unit in of_measure:
            of_measure[unit] += off
    for unit, off in of_measure.items():
        if off:
            hold(
                "alignment::measure",
                against=against,
                quantity=f"{NAMES[unit]} of {quantity}",
                off=off,
                allowed=tolerance(f"_{unit}", **allowed),
                unit=unit,
                why=why,
            )


def assert_same(found: Readings, expected: Readings) -> None:
    """Two ways to the same readings: nothing but rounding lies between them."""
    assert found.keys() == expected.keys()
    for path, value in expected.items():
        allowed = 1e-7 if path.endswith("_mm") else 1e-9
        assert np.abs(np.subtract(found[path], value)).max() <= allowed, path
