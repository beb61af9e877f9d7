"""Wheel-alignment maths: clamp target poses in, every alignment reading out.

A rig's cameras watch one flat target per wheel and hand over its pose. The car is
rolled a little, stood straight ahead, and steered left and right. `measure` takes the
whole session and returns camber, toe, thrust line, setback, dimensions, caster,
steering-axis inclination, included angle and toe-out on turns, in one tree. `assess`
also says what every reading is worth, and judges it by its limits. All else is in the
modules, which have the names of the core's and load when they are first used.

Axes follow ISO 8855:2011: X forward, Y left, Z up. Degrees and millimetres, always, and
the name says so.

Readings are no licence to drive: the vehicle maker's procedure and figures, local codes
and licensed practice come first.
"""

from __future__ import annotations

# As in typing, whose own import would take most of the time.
TYPE_CHECKING = False

if TYPE_CHECKING:
    from wheel_alignment import (
        adjustment,
        alignment,
        assessment,
        batch,
        compensation,
        conformity,
        datum,
        diagnosis,
        error,
        gauge,
        joint,
        json,
        live,
        monte_carlo,
        paths,
        pose,
        propagation,
        record,
        repeatability,
        session,
        simulate,
        stand,
        steering,
        sweep,
        turns,
        tyre,
        uncertainty,
        units,
        vehicle,
        wheel,
    )
    from wheel_alignment._native import __version__
    from wheel_alignment.alignment import Alignment, Measurement, measure
    from wheel_alignment.assessment import Assessment, assess
    from wheel_alignment.error import (
        AlignmentError,
        AngleOutOfRangeError,
        ContradictionError,
        DifferentVehiclesError,
        EndsSwappedError,
        ErrorCode,
        LengthOutOfRangeError,
        MirroredError,
        MissingInputError,
        NotACovarianceError,
        NotARecordError,
        NotARotationError,
        NotASessionError,
        NotASpecificationError,
        NotATyreSizeError,
        NotConvergedError,
        NotDeterminedError,
        NotFiniteError,
        NotSettledError,
        NotStillError,
        NotUnitLengthError,
        OutOfRangeError,
        RearWheelSteerError,
        RecordDamagedError,
        ReflectionError,
        RollFullTurnError,
        RollTooSmallError,
        SidesSwappedError,
        SpindleNotLateralError,
        SweepTooSmallError,
        ThirdAxleError,
        TooFewStationsError,
        TooManyError,
        UnknownReadingError,
        UpInvertedError,
        WheelNotSeenError,
    )
    from wheel_alignment.pose import Pose
    from wheel_alignment.session import ByAxle, BySide, ByWheel, Session

__all__ = [
    "Alignment",
    "AlignmentError",
    "AngleOutOfRangeError",
    "Assessment",
    "ByAxle",
    "BySide",
    "ByWheel",
    "ContradictionError",
    "DifferentVehiclesError",
    "EndsSwappedError",
    "ErrorCode",
    "LengthOutOfRangeError",
    "Measurement",
    "MirroredError",
    "MissingInputError",
    "NotACovarianceError",
    "NotARecordError",
    "NotARotationError",
    "NotASessionError",
    "NotASpecificationError",
    "NotATyreSizeError",
    "NotConvergedError",
    "NotDeterminedError",
    "NotFiniteError",
    "NotSettledError",
    "NotStillError",
    "NotUnitLengthError",
    "OutOfRangeError",
    "Pose",
    "RearWheelSteerError",
    "RecordDamagedError",
    "ReflectionError",
    "RollFullTurnError",
    "RollTooSmallError",
    "Session",
    "SidesSwappedError",
    "SpindleNotLateralError",
    "SweepTooSmallError",
    "ThirdAxleError",
    "TooFewStationsError",
    "TooManyError",
    "UnknownReadingError",
    "UpInvertedError",
    "WheelNotSeenError",
    "__version__",
    "adjustment",
    "alignment",
    "assess",
    "assessment",
    "batch",
    "compensation",
    "conformity",
    "datum",
    "diagnosis",
    "error",
    "gauge",
    "joint",
    "json",
    "live",
    "measure",
    "monte_carlo",
    "paths",
    "pose",
    "propagation",
    "record",
    "repeatability",
    "session",
    "simulate",
    "stand",
    "steering",
    "sweep",
    "turns",
    "tyre",
    "uncertainty",
    "units",
    "vehicle",
    "wheel",
]

# What the top level has of the modules, by the module. Nothing is imported before it is
# used, neither the native half nor anything that a program may not need.
_HOMES = {
    "_native": ["__version__"],
    "alignment": ["Alignment", "Measurement", "measure"],
    "assessment": ["Assessment", "assess"],
    "error": [
        "AlignmentError",
        "AngleOutOfRangeError",
        "ContradictionError",
        "DifferentVehiclesError",
        "EndsSwappedError",
        "ErrorCode",
        "LengthOutOfRangeError",
        "MirroredError",
        "MissingInputError",
        "NotACovarianceError",
        "NotARecordError",
        "NotARotationError",
        "NotASessionError",
        "NotASpecificationError",
        "NotATyreSizeError",
        "NotConvergedError",
        "NotDeterminedError",
        "NotFiniteError",
        "NotSettledError",
        "NotStillError",
        "NotUnitLengthError",
        "OutOfRangeError",
        "RearWheelSteerError",
        "RecordDamagedError",
        "ReflectionError",
        "RollFullTurnError",
        "RollTooSmallError",
        "SidesSwappedError",
        "SpindleNotLateralError",
        "SweepTooSmallError",
        "ThirdAxleError",
        "TooFewStationsError",
        "TooManyError",
        "UnknownReadingError",
        "UpInvertedError",
        "WheelNotSeenError",
    ],
    "pose": ["Pose"],
    "session": ["ByAxle", "BySide", "ByWheel", "Session"],
}
_HOME = {name: module for module, names in _HOMES.items() for name in names}

if not TYPE_CHECKING:

    def __getattr__(name: str) -> object:
        """Import what is asked for, and keep it."""
        if name not in __all__:
            raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
        import importlib

        module = importlib.import_module(f"{__name__}.{_HOME.get(name, name)}")
        found = getattr(module, name) if name in _HOME else module
        globals()[name] = found
        return found


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
