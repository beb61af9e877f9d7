"""Every reading by its path, and the tree as a flat list."""

from __future__ import annotations

from typing import Final, Literal, cast

from wheel_alignment import _native

READINGS: Final[tuple[str, ...]] = _native.READINGS
"""The path of every reading, in the order of the tree."""

COUNT: Final[int] = len(READINGS)
"""How many readings there are; of a vector each component counts."""


def position(path: str) -> int:
    """Find where a path stands in `READINGS`.

    Parameters
    ----------
    path : str
        The path of a reading, as in ``wheels.fl.camber_deg``.

    Returns
    -------
    int
        Its place, counted from 0.

    Raises
    ------
    UnknownReadingError
        No reading has this path. A vector is no reading, its components are.

    Examples
    --------
    >>> from wheel_alignment.paths import READINGS, position
    >>> READINGS[position("axles.front.total_toe_deg")]
    'axles.front.total_toe_deg'
    """
    return _native.position(path)


def unit(path: str) -> Literal["deg", "mm", "1"]:
    """Tell the unit of the reading at a path, which its name ends in.

    Parameters
    ----------
    path : str
        The path of a reading, as in ``wheels.fl.camber_deg``.

    Returns
    -------
    str
        ``deg``, ``mm``, or ``1`` for a component of a unit vector.

    Examples
    --------
    >>> from wheel_alignment.paths import unit
    >>> unit("wheels.fl.centre_mm[0]")
    'mm'
    """
    return cast("Literal['deg', 'mm', '1']", _native.unit(path))
