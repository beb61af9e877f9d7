"""What a rig hands over, and what the readings are arranged by."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Generic, TypedDict

from wheel_alignment._values import T, Value


@dataclass(frozen=True, slots=True, eq=False)
class ByWheel(Value, Generic[T]):
    """One value per wheel.

    Attributes
    ----------
    fl, fr, rl, rr
        Front left, front right, rear left, rear right.
    """

    fl: T
    fr: T
    rl: T
    rr: T


@dataclass(frozen=True, slots=True, eq=False)
class BySide(Value, Generic[T]):
    """One value per side.

    Attributes
    ----------
    left, right
        The driver's left, the driver's right.
    """

    left: T
    right: T


@dataclass(frozen=True, slots=True, eq=False)
class ByAxle(Value, Generic[T]):
    """One value per axle.

    Attributes
    ----------
    front, rear
        The front axle, the rear axle.
    """

    front: T
    rear: T


@dataclass(frozen=True, slots=True, eq=False)
class StationSpread(Value):
    """How much the frames of one wheel scatter at one station.

    Attributes
    ----------
    stage : str
        In which group of stations.
    station : int or None
        At which station of the group, counted from 0 as in the session.
    wheel : str
        At which wheel.
    frames : int
        How many frames there were.
    rotation_deg : float
        Of the rotation, one standard deviation of a single frame about each axis,
        degrees.
    translation_mm : float
        Of the translation, one standard deviation of a single frame along each axis,
        mm.
    """

    stage: str
    station: int | None
    wheel: str
    frames: int
    rotation_deg: float
    translation_mm: float


class PoseNoise(TypedDict):
    """How much a pose scatters: one standard deviation per axis.

    Attributes
    ----------
    rotation_deg : float
        Of the rotation, about each axis, degrees.
    translation_mm : float
        Of the translation, along each axis, mm.
    """

    rotation_deg: float
    translation_mm: float


class InputUncertainty(TypedDict, total=False):
    """Standard uncertainties of the inputs beside the poses; 0 when left out.

    Attributes
    ----------
    clamp_standoff_mm : float
        Of each clamp's standoff, mm.
    up_deg : float
        Of ``up``, about each level axis, degrees.
    loaded_radius_mm : float
        Of each axle's loaded radius, mm, where it is given.
    runway_mm : float
        Of each coordinate of a point of the runway, mm.
    ride_height_mm : float
        Of each ride height, mm.
    right_cameras : PoseNoise
        Of where the cameras of the right wheels stand against those of the left.
    """

    clamp_standoff_mm: float
    up_deg: float
    loaded_radius_mm: float
    runway_mm: float
    ride_height_mm: float
    right_cameras: PoseNoise


@dataclass(frozen=True, slots=True, eq=False)
class Turn(Value):
    """The custom by which toe-out on turns was read.

    Attributes
    ----------
    wheel : str
        The wheel that is brought to the angle: ``inner`` or ``outer``.
    angle_deg : float
        The steer angle of that wheel, from its own heading straight ahead, degrees.
    """

    wheel: str
    angle_deg: float


@dataclass(frozen=True, slots=True, eq=False)
class Reference(Value):
    """The choices that the readings rest on, defaults included.

    Attributes
    ----------
    centreline : str
        How the centreline is defined: ``axle_midpoints`` or ``side_line_bisector``.
    datum : str
        What angles to the vertical are measured from: ``up``, ``wheel_plane`` or
        ``runway``.
    turn : Turn
        How toe-out on turns was read.
    """

    centreline: str
    datum: str
    turn: Turn
