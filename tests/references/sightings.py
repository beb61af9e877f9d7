"""Sessions changed pose by pose: what other cameras would have seen of the same car."""

from collections.abc import Callable, Mapping
from typing import Any, NamedTuple

import numpy as np
from scipy.spatial.transform import Rotation

from engine import Matrix, Session, Vector, pose

STATIONS = ("ahead", "lock_left", "lock_right")
GROUPS = ("rolling", "sweep")


class Camera(NamedTuple):
    rig_from_camera: Matrix
    origin_mm: Vector
    wheels: tuple[str, ...]


def change_poses(session: Session, change: Callable[[str, Any], Any]) -> Session:
    """The same session with what was seen of each wheel put through `change`."""

    def station(seen: Mapping[str, Any]) -> dict[str, Any]:
        return {wheel: change(wheel, sighting) for wheel, sighting in seen.items()}

    changed = dict(session)
    for key in GROUPS:
        changed[key] = [station(seen) for seen in session[key]]
    for key in session.keys() & set(STATIONS):
        changed[key] = station(session[key])
    return changed


def through_cameras(
    session: Session, cameras: Mapping[str, Camera], pose_form: str = "rotation"
) -> Session:
    """The same session, its wheels seen in the frames of cameras of known pose."""
    camera_of = {
        wheel: camera for camera in cameras.values() for wheel in camera.wheels
    }

    def seen(wheel: str, in_rig: dict[str, Any]) -> dict[str, Any]:
        if wheel not in camera_of:
            return in_rig
        camera = camera_of[wheel]
        camera_from_rig = camera.rig_from_camera.T
        from_camera = np.subtract(in_rig["translation_mm"], camera.origin_mm)
        return pose(
            camera_from_rig @ in_rig["rotation"],
            camera_from_rig @ from_camera,
            pose_form,
        )

    return change_poses(session, seen) | {
        "cameras": {
            name: {
                "rig_from_camera": pose(
                    camera.rig_from_camera, camera.origin_mm, pose_form
                ),
                "wheels": list(camera.wheels),
            }
            for name, camera in cameras.items()
        }
    }


def random_cameras(
    rng: np.random.Generator, layout: tuple[tuple[str, ...], ...]
) -> dict[str, Camera]:
    """Anywhere about the car, turned any way: a pose is only a pose."""
    return {
        f"camera {number}": Camera(
            Rotation.random(rng=rng).as_matrix(), rng.uniform(-4e3, 4e3, 3), wheels
        )
        for number, wheels in enumerate(layout)
    }


def without(
    session: Session, stage: str, wheel: str, stations: slice, *, as_null: bool
) -> Session:
    """The same session with one wheel hidden at some stations of a stage."""

    def hide(seen: dict[str, Any]) -> dict[str, Any]:
        hidden = {name: sighting for name, sighting in seen.items() if name != wheel}
        return hidden | {wheel: None} if as_null else hidden

    if stage not in GROUPS:
        return session | {stage: hide(session[stage])}
    changed = list(session[stage])
    changed[stations] = [hide(seen) for seen in changed[stations]]
    return session | {stage: changed}
