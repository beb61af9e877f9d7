"""Stations that callers hand over, in each form, on their way to the native half."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Final, TypeAlias, cast

from wheel_alignment import _arrays, _inputs, pose

if TYPE_CHECKING:
    from wheel_alignment._types import Array as Floats
    from wheel_alignment.pose import PoseLike
    from wheel_alignment.session import PerWheel, StationLike, StationsLike

WHEELS: Final = ("fl", "fr", "rl", "rr")
"""The wheels, in the order of every array of wheels."""

STAGES: Final = ("rolling", "ahead", "sweep", "lock_left", "lock_right")
"""The groups of stations."""

Stations: TypeAlias = tuple[bytes, list[int]]
"""Poses one after the other; and how many there are by station and wheel: −1 is one
pose that stands alone, 0 none, all else so many frames."""

_FOUR = "the wheels are fl, fr, rl and rr, in this order"


def station(given: StationLike, what: str) -> Stations:
    """Return a station as the native half takes it."""
    from wheel_alignment.session import ByWheel

    if isinstance(given, ByWheel):
        given = {wheel: getattr(given, wheel) for wheel in WHEELS}
    if isinstance(given, Mapping) and not _is_poses(given):
        if not set(given) <= set(WHEELS):
            unknown = sorted(set(given) - set(WHEELS), key=str)[0]
            raise ValueError(f"{what}: unknown wheel {unknown!r}; {_FOUR}")
        data, counts = [], []
        for wheel in WHEELS:
            try:
                array = pose.as_matrix4(given.get(wheel))
            except (TypeError, ValueError) as error:
                raise _inputs.placed(error, f"{what}.{wheel}") from None
            if array.ndim > 3:
                raise ValueError(
                    f"{what}.{wheel}: a pose or a stack of frames is needed, not shape "
                    f"{array.shape}"
                )
            some, count = _seen(array[None, None] if array.ndim == 2 else array[None])
            data.append(some)
            counts += [-count[0]] if array.ndim == 2 else count
        return b"".join(data), counts
    try:
        array = pose.as_matrix4(cast("PoseLike", given))
    except (TypeError, ValueError) as error:
        raise _inputs.placed(error, what) from None
    if array.ndim not in (3, 4) or array.shape[0] != 4:
        raise ValueError(
            f"{what}: poses of shape (4, 4, 4), or (4, F, 4, 4) with frames, are "
            f"needed, not {array.shape}; {_FOUR}"
        )
    return _counted(array[None])


def stations(given: StationsLike, what: str) -> Stations:
    """Return stations as the native half takes them."""
    from wheel_alignment.session import ByWheel

    if isinstance(given, Sequence) and not isinstance(given, str):
        named = [isinstance(one, (Mapping, ByWheel)) for one in given]
        # A mapping of wheels is a station, one of rotation and translation are poses.
        if any(named) and not any(_is_poses(one) for one in given):
            both = [
                station(cast("StationLike", one), f"{what}[{index}]")
                for index, one in enumerate(given)
            ]
            data = b"".join(data for data, _ in both)
            return data, [count for _, counts in both for count in counts]
    try:
        array = pose.as_matrix4(cast("PoseLike", given))
    except (TypeError, ValueError) as error:
        raise _inputs.placed(error, what) from None
    if array.ndim not in (4, 5) or array.shape[1] != 4:
        raise ValueError(
            f"{what}: poses of shape (S, 4, 4, 4), or (S, 4, F, 4, 4) with frames, are "
            f"needed, not {array.shape}; {_FOUR}"
        )
    return _counted(array)


def _is_poses(one: object) -> bool:
    return isinstance(one, Mapping) and "translation_mm" in one


def _counted(array: Floats) -> Stations:
    """Return poses by station and wheel, with or without frames, and their counts."""
    if array.ndim == 5:
        return _seen(array.reshape(-1, *array.shape[2:]))
    data, counts = _seen(array.reshape(-1, 1, 4, 4))
    return data, [-count for count in counts]


def _seen(frames: Floats) -> Stations:
    """Return the frames that were seen, of shape (N, F, 4, 4), and how many each."""
    import numpy as np

    seen = ~np.isnan(frames).all((-1, -2))
    return _arrays.packed(frames[seen]), seen.sum(-1).tolist()


def per_wheel(given: PerWheel, what: str) -> object:
    """Return a number of each wheel as the native half takes it."""
    from wheel_alignment.session import ByWheel

    if isinstance(given, (Mapping, ByWheel)):
        return given
    if isinstance(given, (int, float)) and not isinstance(given, bool):
        return dict.fromkeys(WHEELS, given)
    array = _arrays.floats(given, what)
    if array.shape not in ((), (4,)):
        raise ValueError(f"{what}: one number or {_FOUR}, not shape {array.shape}")
    values = [array.item()] * 4 if array.shape == () else array.tolist()
    return dict(zip(WHEELS, values, strict=True))


def per_axle(given: object) -> object:
    """Return a number of each axle as the native half takes it."""
    from wheel_alignment.session import ByAxle

    if given is None or isinstance(given, (Mapping, ByAxle)):
        return given
    return {"front": given, "rear": given}
