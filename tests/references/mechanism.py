"""A car as links, joints and loops: what every rigid-body engine is told, and asked.

Each link hangs on its parent by one joint, which stands in the link's origin. An engine
is given the joints' coordinates and works out by its own kinematics where marks and
joint axes then stand. Where links form loops it finds the coordinates of the joints
that it was not told, by the Jacobian of its own constraints.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple, Protocol

import numpy as np

from frames import Matrix, Vector

IDENTITY_WXYZ = (1.0, 0.0, 0.0, 0.0)
# Loops are closed by the time that they gape by no more than this.
CLOSED_MM = 1e-8
MOST_STEPS = 50


@dataclass(frozen=True)
class Link:
    """A rigid part, its joint and its frame at zero."""

    name: str
    """Of the link and of its joint."""
    parent: str | None
    joint: str
    """`free`, `hinge`, `slide` or `ball`."""
    at_mm: Vector
    """The origin, in the parent's frame."""
    turned_wxyz: Vector | Sequence[float] = IDENTITY_WXYZ
    axis: Vector | None = None
    """Unit vector of a hinge or a slide, in the frame of the link."""


@dataclass(frozen=True)
class Mark:
    """A frame that is fixed to a link."""

    name: str
    link: str
    at_mm: Vector
    turned_wxyz: Vector | Sequence[float] = IDENTITY_WXYZ


class Loop(NamedTuple):
    """Two marks of which the origins are held together, as by a ball joint."""

    one: str
    other: str


@dataclass(frozen=True)
class Mechanism:
    """Parents come before their children."""

    links: tuple[Link, ...]
    marks: tuple[Mark, ...]
    loops: tuple[Loop, ...] = ()


class Line(NamedTuple):
    direction: Vector
    point: Vector


class Engine(Protocol):
    """What a rigid-body engine must do."""

    name: str

    def __init__(self, mechanism: Mechanism) -> None: ...

    def place(self, coordinates: Mapping[str, Vector | float]) -> None:
        """Put joints where they are told and let the engine work out the rest.

        The coordinates are radians, mm, or for a free joint x, y, z and the quaternion,
        w first. What is not told stays, but for what the loops move.
        """

    def mark(self, name: str) -> tuple[Matrix, Vector]:
        """Rotation and origin of a mark in the world."""

    def axis(self, joint: str) -> Line:
        """A hinge's axis in the world, through the origin of its link."""

    @staticmethod
    def quaternion_wxyz(rotation: Matrix) -> Vector:
        """The engine's own conversion."""

    @staticmethod
    def rotation_vector_rad(rotation: Matrix) -> Vector:
        """The engine's own axis times angle."""


def close_loops(
    gape: Callable[[], tuple[Vector, Matrix]], move: Callable[[Vector], None]
) -> None:
    """Newton's steps of least length, until rounding alone is left.

    `gape` gives how far the loops are open, and its Jacobian by the joints that are
    free to follow; `move` moves these.
    """
    for _ in range(MOST_STEPS):
        open_mm, jacobian = gape()
        move(-np.linalg.lstsq(jacobian, open_mm, rcond=None)[0])
        if np.abs(open_mm).max() < CLOSED_MM:  # and the last step took away the rest
            return
    raise AssertionError(f"the loops stay open by {np.abs(open_mm).max()} mm")
