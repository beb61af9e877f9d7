"""The exceptions: one per error code of the core, all of them `AlignmentError`."""

from __future__ import annotations

from typing import ClassVar


class AlignmentError(ValueError):
    """A computation was refused.

    The message is one sentence: the place, what is wrong, the figure, the bound and
    the remedy. The same stands in the attributes.

    Attributes
    ----------
    code : int
        The stable number of the error, negative, the same in every language.
    name : str
        The stable name of the error in snake case.
    stage : str or None
        The group of stations: ``rolling``, ``ahead``, ``sweep``, ``lock_left`` or
        ``lock_right``.
    station : int or None
        The station of the stage, counted from 0 as in the session.
    wheel : str or None
        The wheel: ``fl``, ``fr``, ``rl`` or ``rr``.
    input : str or None
        The input, by its key in the session, when the fault is not in a pose.
    unit : str
        The unit of the figures: ``deg``, ``mm`` or nothing.
    value : float or None
        The figure seen, in `unit`.
    minimum : float or None
        The least that is allowed, in `unit`.
    maximum : float or None
        The most that is allowed, in `unit`.
    path : str
        The place in what was handed over, as in ``rolling[2].fl``, when it could not
        be read; the path that is no reading; else empty.
    line, column : int or None
        The place in a JSON text that could not be read, counted from 1.

    Examples
    --------
    >>> import wheel_alignment
    >>> try:
    ...     wheel_alignment.measure({"format": "alignment-session/2"})
    ... except wheel_alignment.AlignmentError as error:
    ...     print(error.code, error.name)
    -18 not_a_session
    """

    code: ClassVar[int]
    name: ClassVar[str]

    def __init__(
        self,
        message: str = "",
        *,
        stage: str | None = None,
        station: int | None = None,
        wheel: str | None = None,
        input: str | None = None,
        unit: str = "",
        value: float | None = None,
        minimum: float | None = None,
        maximum: float | None = None,
        path: str = "",
        line: int | None = None,
        column: int | None = None,
    ) -> None:
        super().__init__(message)
        self.stage = stage
        self.station = station
        self.wheel = wheel
        self.input = input
        self.value = value
        self.minimum = minimum
        self.maximum = maximum
        self.unit = unit
        self.path = path
        self.line = line
        self.column = column


class NotFiniteError(AlignmentError):
    """A number is NaN or infinite."""

    code = -1
    name = "not_finite"


class NotARotationError(AlignmentError):
    """A rotation matrix is not orthonormal within the tolerance."""

    code = -2
    name = "not_a_rotation"


class ReflectionError(AlignmentError):
    """A rotation matrix has a negative determinant: it mirrors."""

    code = -3
    name = "reflection"


class NotUnitLengthError(AlignmentError):
    """A direction or a quaternion does not have length 1."""

    code = -4
    name = "not_unit_length"


class LengthOutOfRangeError(AlignmentError):
    """A length lies outside what a car and a rig can have."""

    code = -5
    name = "length_out_of_range"


class AngleOutOfRangeError(AlignmentError):
    """An angle lies outside its range."""

    code = -6
    name = "angle_out_of_range"


class MissingInputError(AlignmentError):
    """An input that this computation needs is missing."""

    code = -7
    name = "missing_input"


class WheelNotSeenError(AlignmentError):
    """A wheel's target was not seen where it is needed."""

    code = -8
    name = "wheel_not_seen"


class TooFewStationsError(AlignmentError):
    """There are fewer stations than the computation needs."""

    code = -9
    name = "too_few_stations"


class RollTooSmallError(AlignmentError):
    """The car was rolled too little to find a spindle."""

    code = -10
    name = "roll_too_small"


class RollFullTurnError(AlignmentError):
    """The stations lie a full turn of the wheel apart, which tells nothing."""

    code = -11
    name = "roll_full_turn"


class SweepTooSmallError(AlignmentError):
    """The steering was swept too little to find the steering axis."""

    code = -12
    name = "sweep_too_small"


class UpInvertedError(AlignmentError):
    """The up direction points down: the wheels roll the wrong way for it."""

    code = -13
    name = "up_inverted"


class SidesSwappedError(AlignmentError):
    """The left targets are on the right of the car, and the right ones on the left."""

    code = -14
    name = "sides_swapped"


class EndsSwappedError(AlignmentError):
    """The front targets are on the rear wheels, and the rear ones on the front."""

    code = -15
    name = "ends_swapped"


class MirroredError(AlignmentError):
    """Sides, ends or up are mirrored, and nothing in the session decides which."""

    code = -16
    name = "mirrored"


class SpindleNotLateralError(AlignmentError):
    """A spindle does not run across the car: the wheels are not of one vehicle."""

    code = -17
    name = "spindle_not_lateral"


class NotASessionError(AlignmentError):
    """It is not a session: malformed JSON, an unknown key, a wrong type."""

    code = -18
    name = "not_a_session"


class NotATyreSizeError(AlignmentError):
    """The text is not a metric tyre size code."""

    code = -19
    name = "not_a_tyre_size"


class NotStillError(AlignmentError):
    """The frames of one station move by more than they scatter."""

    code = -20
    name = "not_still"


class DifferentVehiclesError(AlignmentError):
    """The wheels cannot belong to one car, or not to the same at every station."""

    code = -21
    name = "different_vehicles"


class RearWheelSteerError(AlignmentError):
    """The rear wheels steer with the front ones, which is not measured."""

    code = -22
    name = "rear_wheel_steer"


class ThirdAxleError(AlignmentError):
    """A station has wheels beyond fl, fr, rl and rr: a third axle is not measured."""

    code = -23
    name = "third_axle"


class TooManyError(AlignmentError):
    """A stage has more stations, or a station more frames, than any session needs."""

    code = -24
    name = "too_many"


class ContradictionError(AlignmentError):
    """Two inputs contradict each other."""

    code = -25
    name = "contradiction"


class OutOfRangeError(AlignmentError):
    """A number lies outside its range."""

    code = -26
    name = "out_of_range"


class NotASpecificationError(AlignmentError):
    """A text is not a specification."""

    code = -27
    name = "not_a_specification"


class UnknownReadingError(AlignmentError):
    """No reading has this path."""

    code = -28
    name = "unknown_reading"


class NotACovarianceError(AlignmentError):
    """A matrix is no covariance: not symmetric, or some variance would be negative."""

    code = -29
    name = "not_a_covariance"


class NotSettledError(AlignmentError):
    """A Monte Carlo run did not settle within the trials allowed."""

    code = -30
    name = "not_settled"


class NotDeterminedError(AlignmentError):
    """The stations do not tell an unknown of the joint fit from the others."""

    code = -31
    name = "not_determined"


class NotConvergedError(AlignmentError):
    """The joint fit did not converge: no rigid car is near the poses."""

    code = -32
    name = "not_converged"


# Tracebacks name the class as its reader imports it.
for _class in (AlignmentError, *AlignmentError.__subclasses__()):
    _class.__module__ = "wheel_alignment"
