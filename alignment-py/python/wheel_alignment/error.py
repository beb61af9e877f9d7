"""Errors that teach, and warnings that come with the result.

One exception per error code, all of them `AlignmentError`.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum
from typing import ClassVar

from wheel_alignment._values import Value


class ErrorCode(IntEnum):
    """What went wrong, as a stable number and name.

    The number is negative, never reused, and the same in every language. The name is
    that of the member, in snake case.

    Examples
    --------
    >>> from wheel_alignment.error import ErrorCode
    >>> ErrorCode(-10).name
    'roll_too_small'
    >>> int(ErrorCode.roll_too_small)
    -10
    """

    not_finite = -1
    """A number is NaN or infinite."""
    not_a_rotation = -2
    """A rotation matrix is not orthonormal within the tolerance."""
    reflection = -3
    """A rotation matrix has a negative determinant: it mirrors."""
    not_unit_length = -4
    """A direction or a quaternion does not have length 1."""
    length_out_of_range = -5
    """A length lies outside what a car and a rig can have."""
    angle_out_of_range = -6
    """An angle lies outside its range."""
    missing_input = -7
    """An input that this computation needs is missing."""
    wheel_not_seen = -8
    """A wheel's target was not seen where it is needed."""
    too_few_stations = -9
    """There are fewer stations than the computation needs."""
    roll_too_small = -10
    """The car was rolled too little to find a spindle."""
    roll_full_turn = -11
    """The stations lie a full turn of the wheel apart, which tells nothing about its
    spindle."""
    sweep_too_small = -12
    """The steering was swept too little to find the steering axis."""
    up_inverted = -13
    """The up direction points down: the wheels roll the wrong way for it."""
    sides_swapped = -14
    """The left targets are on the right of the car, and the right ones on the left."""
    ends_swapped = -15
    """The front targets are on the rear wheels, and the rear ones on the front
    wheels."""
    mirrored = -16
    """Sides, ends or up are mirrored, and nothing in the session decides which."""
    spindle_not_lateral = -17
    """A spindle does not run across the car: the wheels cannot belong to one
    vehicle."""
    not_a_session = -18
    """The text is not a session: malformed JSON, an unknown key, a wrong type."""
    not_a_tyre_size = -19
    """The text is not a metric tyre size code."""
    not_still = -20
    """The frames of one station move by more than they scatter: the target did not
    stand still."""
    different_vehicles = -21
    """The wheels cannot belong to one car, or not to the same car at every station."""
    rear_wheel_steer = -22
    """The rear wheels steer with the front ones: this library measures cars that steer
    with the front wheels alone."""
    third_axle = -23
    """A station has wheels beyond fl, fr, rl and rr: a third axle, which this library
    does not measure."""
    too_many = -24
    """A stage has more stations, or a station more frames, than any session needs."""
    contradiction = -25
    """Two inputs contradict each other."""
    out_of_range = -26
    """A number lies outside its range."""
    not_a_specification = -27
    """A text is not a specification."""
    unknown_reading = -28
    """No reading has this path."""
    not_a_covariance = -29
    """A matrix is no covariance: it is not symmetric, or it would give a combination of
    its quantities a negative variance."""
    not_settled = -30
    """A Monte Carlo run did not settle within the trials allowed."""
    not_determined = -31
    """The stations do not determine an unknown of the joint fit: nothing, or next to
    nothing, tells it from the others."""
    not_converged = -32
    """The joint fit did not converge: no rigid car is near the poses."""
    not_a_record = -33
    """A text is no record of the work, or one of a newer version."""
    record_damaged = -34
    """A record is not as it was written: its digest does not fit its bytes."""


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
    index : tuple of int or None
        Of a formula, or of poses: the first place in the arrays at which it failed, ()
        for numbers alone.
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
        index: tuple[int, ...] | None = None,
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
        self.index = index
        self.line = line
        self.column = column

    def __str__(self) -> str:
        message = super().__str__()
        return f"{[*self.index]} {message}" if self.index else message


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


class NotARecordError(AlignmentError):
    """A text is no record of the work, or one of a newer version."""

    code = -33
    name = "not_a_record"


class RecordDamagedError(AlignmentError):
    """A record is not as it was written: its digest does not fit its bytes."""

    code = -34
    name = "record_damaged"


class WarningCode(IntEnum):
    """What is weak in a result, as a stable number and name.

    The number is positive, never reused, and the same in every language. The name is
    that of the member, in snake case.

    Examples
    --------
    >>> from wheel_alignment.error import WarningCode
    >>> WarningCode(4).name
    'sweep_short'
    """

    roll_short = 1
    """The car was rolled less than the customary 20°: camber and toe scatter more."""
    rolling_radius_assumed = 2
    """The wheel rolls over a radius that was assumed, since two stations cannot give
    it."""
    loaded_radius_assumed = 3
    """The loaded radius was not given: the rolling radius stands in for it."""
    sweep_short = 4
    """The steering was swept less than ± 10°: caster and SAI scatter more."""
    sweep_wheel_free = 5
    """The wheel was free to roll in the sweep: SAI scatters about ten times more than
    with the wheel locked."""
    residual_high = 6
    """The poses of the stage do not fit a rigid motion within their noise."""
    body_moved = 7
    """The body moved while the front wheels were steered: axes and angles are referred
    to a body that did not stand still."""
    turn_not_reached = 8
    """The sweep did not reach the angle at which toe-out on turns is read: that turn is
    absent."""
    wheel_blocked = 9
    """A wheel was not seen at enough stations of a stage: the readings that need it are
    absent."""
    target_slipped_once = 10
    """A target slipped on its clamp at one station: it fits the other stations of its
    stage but for this one. In the rolling, the first station alone cannot be told from
    all that follow."""
    target_slipped_from = 11
    """A target slipped on its clamp and stayed so: from this station on it fits the
    earlier ones of its stage no more."""
    wheel_rolled = 12
    """A wheel that was to be locked in the sweep rolled about its spindle, or its
    steering axis moves, which looks alike: SAI leans on it."""
    body_not_watched = 13
    """The body was not watched at all stations at which the front wheels were steered:
    it is assumed to have stood still there, or the station is left out."""
    datum_uneven = 14
    """The points that make the datum do not lie in one plane."""
    body_pitch_unseen = 15
    """The body was found again from rear wheels that were free to roll, which do not
    show how it pitches: caster leans on that."""
    ahead_disagrees = 16
    """A wheel stands otherwise at the ahead station than while the car was rolled or
    steered: its target slipped, it was steered, the car moved, or its suspension
    settled."""
    rear_disagree = 17
    """The rear targets do not show one motion of the body: one of them slipped or
    rolled."""
    radius_unknown = 18
    """No radius of the wheel is known: what lies at the ground is absent."""
    turn_sparse = 19
    """Toe-out on turns is interpolated between stations that lie far apart."""
    fit_poor = 20
    """The poses do not fit one rigid car within their noise: the car moved between
    stages, a steering axis moves, or the noise is understated."""
    pose_left_out = 21
    """A pose does not belong to the car that all others show, and was left out."""
    hardly_checked = 22
    """So many poses of a wheel were left out that the rest hardly check each other:
    they may be the wrong ones."""


@dataclass(frozen=True, slots=True, eq=False)
class Warning(Value):  # One name in every language; `import *` leaves it out.
    """What is weak in a result that was given all the same.

    Attributes
    ----------
    code : str
        What is weak, by its stable name.
    number : int
        The stable number of the code, positive.
    stage : str or None
        The group of stations: ``rolling``, ``ahead``, ``sweep``, ``lock_left`` or
        ``lock_right``.
    station : int or None
        The station of the stage, counted from 0 as in the session.
    wheel : str or None
        The wheel: ``fl``, ``fr``, ``rl`` or ``rr``.
    value : float or None
        The figure seen, in `unit`.
    limit : float or None
        The bound that it passed, in `unit`.
    unit : str
        The unit of both: ``deg``, ``mm`` or nothing.
    message : str
        All of it as one sentence.
    """

    code: str
    number: int
    stage: str | None
    station: int | None
    wheel: str | None
    value: float | None
    limit: float | None
    unit: str
    message: str

    def __str__(self) -> str:
        return self.message
