"""Rolling stations → where each wheel sits in its target."""

from __future__ import annotations

from dataclasses import dataclass

from wheel_alignment._values import Value


@dataclass(frozen=True, slots=True, eq=False)
class Residual(Value):
    """How far a pose lies from the motion fitted to it.

    Attributes
    ----------
    rotation_deg : float
        Angle between the axis seen at this station and the fitted one, degrees.
    translation_mm : float
        Distance between the point seen at this station and where the fit puts it, mm.
    """

    rotation_deg: float
    translation_mm: float
