"""Wheel-alignment maths: clamp target poses in, every alignment reading out.

A rig's cameras watch one flat target per wheel and hand over its pose. The car is
rolled a little, stood straight ahead, and steered left and right. `measure` takes the
whole session and returns camber, toe, thrust line, setback, dimensions, caster,
steering-axis inclination, included angle and toe-out on turns, in one tree.

Axes follow ISO 8855:2011: X forward, Y left, Z up. Degrees and millimetres, always, and
the name says so.

Readings are no licence to drive: the vehicle maker's procedure and figures, local codes
and licensed practice come first.
"""

from wheel_alignment._errors import (
    AlignmentError,
    AngleOutOfRangeError,
    ContradictionError,
    DifferentVehiclesError,
    EndsSwappedError,
    LengthOutOfRangeError,
    MirroredError,
    MissingInputError,
    NotARotationError,
    NotASessionError,
    NotATyreSizeError,
    NotFiniteError,
    NotStillError,
    NotUnitLengthError,
    RearWheelSteerError,
    ReflectionError,
    RollFullTurnError,
    RollTooSmallError,
    SidesSwappedError,
    SpindleNotLateralError,
    SweepTooSmallError,
    ThirdAxleError,
    TooFewStationsError,
    TooManyError,
    UpInvertedError,
    WheelNotSeenError,
)
from wheel_alignment._measure import measure
from wheel_alignment._native import __version__
from wheel_alignment._readings import (
    Alignment,
    AxleReadings,
    ByAxle,
    BySide,
    ByWheel,
    ChassisReadings,
    InstantaneousAxis,
    LockReadings,
    Measurement,
    Reference,
    Residual,
    Residuals,
    StationSpread,
    SteeringAxisReadings,
    SteeringReadings,
    Turn,
    TurnReadings,
    TurnsReadings,
    WheelReadings,
)
from wheel_alignment._readings import Warning as Warning  # not for `import *`

__all__ = [
    "Alignment",
    "AlignmentError",
    "AngleOutOfRangeError",
    "AxleReadings",
    "ByAxle",
    "BySide",
    "ByWheel",
    "ChassisReadings",
    "ContradictionError",
    "DifferentVehiclesError",
    "EndsSwappedError",
    "InstantaneousAxis",
    "LengthOutOfRangeError",
    "LockReadings",
    "Measurement",
    "MirroredError",
    "MissingInputError",
    "NotARotationError",
    "NotASessionError",
    "NotATyreSizeError",
    "NotFiniteError",
    "NotStillError",
    "NotUnitLengthError",
    "RearWheelSteerError",
    "Reference",
    "ReflectionError",
    "Residual",
    "Residuals",
    "RollFullTurnError",
    "RollTooSmallError",
    "SidesSwappedError",
    "SpindleNotLateralError",
    "StationSpread",
    "SteeringAxisReadings",
    "SteeringReadings",
    "SweepTooSmallError",
    "ThirdAxleError",
    "TooFewStationsError",
    "TooManyError",
    "Turn",
    "TurnReadings",
    "TurnsReadings",
    "UpInvertedError",
    "WheelNotSeenError",
    "WheelReadings",
    "__version__",
    "measure",
]
