"""Where a stand stands relative to the car, and the moves that put it right.

After an alignment many cars need the sensors of their driver assistance calibrated
against a board. The board hangs on a stand, square to the line along which the car
travels, and the car's maker says how far away, how far to the side, how high and at
what angles. The poses that measured the car also place the stand.

The stand's own frame has X forward, Y left, Z up, along the car's when the stand stands
true; its origin is the mark from which the maker's distances count. The ground is the
plane through the contact centres of the wheels, or through points of the floor. The
line lies in the ground, below the middle between the rear wheel centres, and runs
forward. In its frame the stand's origin has the coordinates distance, lateral offset
and height, and its axes are turned by Rz(yaw)·Ry(pitch)·Rx(roll), the angles of
ISO 8855:2011: yaw is positive to the left, pitch with the top forward, roll with the
top to the right.

The vehicle maker's procedure rules: which line, which distances, at what load, tyre
pressures, ride height and light, and on what floor. A car that is driven with a sensor
that was calibrated wrongly brakes or steers where it should not, and can hurt people.
Measure again when the stand or the car was moved.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Generic, Literal, TypeAlias

from wheel_alignment import _arrays, _inputs, _native, _stations
from wheel_alignment._values import T_co, Tree, Value, Vector, from_json, plain
from wheel_alignment.conformity import Decision, Judgement
from wheel_alignment.error import Warning
from wheel_alignment.pose import Pose, as_matrix4
from wheel_alignment.session import ByAxle, PoseCovariance, PoseNoise

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import ArrayLike

    from wheel_alignment._inputs import Given, SessionLike
    from wheel_alignment.datum import Plane
    from wheel_alignment.live import LiveReadings
    from wheel_alignment.pose import PoseLike
    from wheel_alignment.vehicle import AheadReadings

MAX_PITCH_DEG: Final[float] = 89.0
"""The greatest pitch of a stand, degrees. Nearer to 90° yaw and roll turn about one
line, and nothing tells them apart."""

MAX_TILT_DEG: Final[float] = 10.0
"""The most by which the floor may be tilted against the datum, degrees."""

MAX_GROUND_POINTS: Final[int] = 1000
"""The most points of the floor."""


@dataclass(frozen=True, slots=True, eq=False)
class ReferencePoint(Value):
    """A point of the car whose foot on the line is the zero of the distance.

    Attributes
    ----------
    point_mm : tuple of 3 floats
        The point in the vehicle frame, mm.
    """

    point_mm: Vector

    def __post_init__(self) -> None:
        """Make a plain tuple of whatever holds the numbers."""
        point_mm = _arrays.three(self.point_mm, "point_mm")
        object.__setattr__(self, "point_mm", point_mm)


_Reference: TypeAlias = Literal["front_axle", "rear_axle"] | ReferencePoint
"""The zero of the distance: the middle between the front or the rear wheel centres, or
another point of the car."""


@dataclass(frozen=True, slots=True, eq=False)
class StandReadings(Value, Generic[T_co]):
    """The six numbers that say where a stand stands, or one thing for each of them.

    Attributes
    ----------
    distance_mm
        Distance from the reference point to the stand's origin, along the line;
        positive ahead.
    lateral_offset_mm
        How far the stand's origin lies beside the line; positive to the left.
    height_mm
        Height of the stand's origin, square to the ground.
    yaw_deg
        Yaw of the stand to the line; positive to the left.
    pitch_deg
        Pitch of the stand to the ground; positive with the top forward.
    roll_deg
        Roll of the stand to the ground; positive with the top to the right.
    """

    distance_mm: T_co
    lateral_offset_mm: T_co
    height_mm: T_co
    yaw_deg: T_co
    pitch_deg: T_co
    roll_deg: T_co

    def values(self) -> tuple[T_co, T_co, T_co, T_co, T_co, T_co]:
        """Return the six in the order of the fields.

        Examples
        --------
        >>> from wheel_alignment.stand import StandReadings
        >>> StandReadings(1500.0, 0.0, 1200.0, 0.2, 0.0, 0.0).values()
        (1500.0, 0.0, 1200.0, 0.2, 0.0, 0.0)
        """
        return (
            self.distance_mm,
            self.lateral_offset_mm,
            self.height_mm,
            self.yaw_deg,
            self.pitch_deg,
            self.roll_deg,
        )


@dataclass(frozen=True, slots=True, eq=False)
class Required(Value):
    """What is required of one reading, in the reading's own unit.

    Attributes
    ----------
    nominal : float
        The value to aim at.
    minus, plus : float
        How far below and above it conforms; not negative.
    """

    nominal: float
    minus: float
    plus: float


_GUARDED: Final = Decision("guarded", 0.95)

_NOTHING: Final[StandReadings[Required | None]] = StandReadings(
    None, None, None, None, None, None
)


@dataclass(frozen=True, slots=True, eq=False)
class StandRequirements(Tree):
    """Where a stand is to stand. The numbers come from the vehicle maker's procedure.

    Functions that take it also take a dict, the text of its JSON, or the path of a JSON
    file, format ``alignment-stand/1``; there what is not required is left out.

    Attributes
    ----------
    required : StandReadings of Required or None
        What is required of each reading. One of which nothing is required is not
        judged, and stays as it is.
    line : {"thrust_line", "centreline"}
        The line along which the stand is placed.
    reference : {"front_axle", "rear_axle"} or ReferencePoint
        The point of the car from which the distance counts.
    note : str or None
        A remark for people: whose procedure it is, for which car and which sensor, and
        at what load it holds.
    decision : Decision
        The rule by which readings are judged.
    format : str
        The version of the format.
    """

    required: StandReadings[Required | None] = _NOTHING
    line: Literal["thrust_line", "centreline"] = "thrust_line"
    reference: _Reference = "front_axle"
    note: str | None = None
    decision: Decision = _GUARDED
    format: str = "alignment-stand/1"


@dataclass(frozen=True, slots=True, eq=False)
class PlacedStand(Value):
    """A stand as it was found.

    Attributes
    ----------
    rig_from_stand : Pose
        Where the stand is in the rig: the axes of its own frame seen there, and its
        origin.
    noise : PoseNoise, PoseCovariance or None
        How much that pose scatters, about the axes of the rig; None when it is not
        known.
    pivot_mm : tuple of 3 floats
        The point about which the stand is turned, in its own frame, mm: where its
        column stands. Its origin by default.
    """

    rig_from_stand: Pose
    noise: PoseNoise | PoseCovariance | None = None
    pivot_mm: Vector = (0.0, 0.0, 0.0)

    @classmethod
    def from_target(
        cls,
        rig_from_target: PoseLike,
        stand_from_target: PoseLike,
        noise: PoseNoise | PoseCovariance | None = None,
        *,
        pivot_mm: ArrayLike = (0.0, 0.0, 0.0),
    ) -> PlacedStand:
        """Find a stand by a target of its own, which the rig's cameras see.

        Parameters
        ----------
        rig_from_target : pose-like
            The target as it is seen.
        stand_from_target : pose-like
            Where the target hangs on the stand, as calibrated.
        noise : PoseNoise or PoseCovariance, optional
            Of the target's pose. An error of its turn moves the stand's origin the
            more, the further from the target it lies.
        pivot_mm : array-like of 3 numbers
            The point about which the stand is turned, in its own frame, mm.

        Returns
        -------
        PlacedStand
            rig_from_target·target_from_stand.

        Raises
        ------
        AlignmentError
            As the poses and the noise: `NotFiniteError`, `NotARotationError`,
            `ReflectionError`, `LengthOutOfRangeError`, `AngleOutOfRangeError` or
            `NotACovarianceError`.

        Examples
        --------
        >>> import numpy as np
        >>> from wheel_alignment import Pose
        >>> from wheel_alignment.stand import PlacedStand
        >>> seen = Pose(np.eye(3), [5000, 0, 800])
        >>> stand = PlacedStand.from_target(seen, Pose(np.eye(3), [0, 0, -400]))
        >>> stand.rig_from_stand.translation_mm
        (5000.0, 0.0, 1200.0)
        """
        text = _native.stand_from_target(
            _pose(rig_from_target, "rig_from_target"),
            _pose(stand_from_target, "stand_from_target"),
            {"noise": noise},
        )
        return _with_pivot(from_json(PlacedStand, text), pivot_mm)

    @classmethod
    def from_rig(
        cls,
        stand_from_rig: PoseLike,
        noise: PoseNoise | PoseCovariance | None = None,
        *,
        pivot_mm: ArrayLike = (0.0, 0.0, 0.0),
    ) -> PlacedStand:
        """Find a stand on which the cameras of the rig ride, as calibrated.

        The poses of the car must have been seen from where the stand stands now:
        whoever moves it moves the rig frame with it, points of the floor included.

        Parameters
        ----------
        stand_from_rig : pose-like
            Where the rig frame lies in the stand.
        noise : PoseNoise or PoseCovariance, optional
            Of the calibration, about the origin and the axes of the rig. An error of
            its turn moves the stand's origin the more, the further from the rig's it
            lies.
        pivot_mm : array-like of 3 numbers
            The point about which the stand is turned, in its own frame, mm.

        Returns
        -------
        PlacedStand
            The inverse of ``stand_from_rig``.

        Raises
        ------
        AlignmentError
            As the pose and the noise: `NotFiniteError`, `NotARotationError`,
            `ReflectionError`, `LengthOutOfRangeError`, `AngleOutOfRangeError` or
            `NotACovarianceError`.

        Examples
        --------
        >>> import numpy as np
        >>> from wheel_alignment import Pose
        >>> from wheel_alignment.stand import PlacedStand
        >>> stand = PlacedStand.from_rig(Pose(np.eye(3), [0, 300, 0]))
        >>> stand.rig_from_stand.translation_mm[1]
        -300.0
        """
        data = _pose(stand_from_rig, "stand_from_rig")
        text = _native.stand_from_rig(data, {"noise": noise})
        return _with_pivot(from_json(PlacedStand, text), pivot_mm)


@dataclass(frozen=True, slots=True, eq=False)
class Ground(Value):
    """The ground on which a stand stands.

    Attributes
    ----------
    tilt_deg : float
        How far the ground is tilted against the datum, to which the car's own angles
        refer, degrees.
    residual_mm : float
        How far the contact centres, or the points of the floor, lie from the plane, mm,
        root mean square.
    uneven : bool
        Whether that is more than `datum.UNEVEN_MM`: then the height and the angles
        depend on where the stand stands.
    """

    tilt_deg: float
    residual_mm: float
    uneven: bool


@dataclass(frozen=True, slots=True, eq=False)
class GroundLine(Value):
    """The line on the ground from which a stand is placed, as a car shows it.

    Attributes
    ----------
    rig_from_line : Pose
        Where the line lies in the rig: X along it, Y to its left, Z up, square to the
        ground; its origin is the zero of all distances.
    ground : Ground
        The ground in which it lies.
    """

    rig_from_line: Pose
    ground: Ground

    @classmethod
    def from_ahead(
        cls,
        now: AheadReadings,
        *,
        loaded_radius_mm: float
        | ByAxle[float | None]
        | Mapping[str, float | None]
        | None = None,
        floor: Plane | None = None,
        line: Literal["thrust_line", "centreline"] = "thrust_line",
        reference: _Reference = "front_axle",
    ) -> GroundLine:
        """Return the line that a car straight ahead shows.

        Parameters
        ----------
        now : AheadReadings
            What `vehicle.ahead_readings` returns.
        loaded_radius_mm : number or mapping of axles, optional
            Loaded radius, mm; the rolling radius stands in for it.
        floor : Plane, optional
            A plane through points of the floor, in the rig frame, as
            `datum.plane_through` returns it. Without it the ground is the plane through
            the contact centres.
        line : {"thrust_line", "centreline"}
            The line along which the stand is placed.
        reference : {"front_axle", "rear_axle"} or ReferencePoint
            The point of the car from which the distance counts.

        Returns
        -------
        GroundLine
            The line, and the ground in which it lies.

        Raises
        ------
        WheelNotSeenError
            A wheel without its centre.
        MissingInputError
            A wheel without a radius, when no floor is given.
        AngleOutOfRangeError
            A floor tilted by more than 10° against the datum.
        LengthOutOfRangeError
            A floor above a wheel's centre, among others.
        AlignmentError
            As the poses: `NotFiniteError`, `NotARotationError`, `ReflectionError`,
            `LengthOutOfRangeError` or `NotUnitLengthError`.

        Examples
        --------
        >>> from wheel_alignment import compensation
        >>> from wheel_alignment.simulate import VirtualVehicle
        >>> from wheel_alignment.stand import GroundLine
        >>> from wheel_alignment.vehicle import ahead_readings
        >>> poses = VirtualVehicle().session().to_arrays()
        >>> clamps = compensation.from_rolling(
        ...     poses["rolling"], up=[0, 0, 1], clamp_standoff_mm=90
        ... )
        >>> now = ahead_readings(
        ...     poses["ahead"], compensation=clamps.all_wheels(), up=[0, 0, 1]
        ... )
        >>> line = GroundLine.from_ahead(now)
        >>> here = line.readings(now.rig_from_vehicle)
        >>> print(f"{here.distance_mm:.0f} mm, {here.height_mm:.0f} mm up")
        -2620 mm, 308 mm up
        """
        wheels, pose = now.wheels, now.rig_from_vehicle
        return _line(wheels, pose, loaded_radius_mm, floor, line, reference)

    @classmethod
    def from_live(
        cls,
        now: LiveReadings,
        *,
        loaded_radius_mm: float
        | ByAxle[float | None]
        | Mapping[str, float | None]
        | None = None,
        floor: Plane | None = None,
        line: Literal["thrust_line", "centreline"] = "thrust_line",
        reference: _Reference = "front_axle",
    ) -> GroundLine:
        """Return the line of a car that is followed by a `live.Tracker`.

        What the readings' flags say holds of the line too, and is not said again; the
        loaded radii of the tracker's session have to be handed over here as well.

        Parameters
        ----------
        now : LiveReadings
            What `live.Tracker.frame` returns.
        loaded_radius_mm, floor, line, reference
            As `from_ahead` takes them.

        Returns
        -------
        GroundLine
            The line, and the ground in which it lies.

        Raises
        ------
        WheelNotSeenError
            A wheel without its centre, or whose clamp was knocked.
        AlignmentError
            As `from_ahead`: `MissingInputError`, `NotFiniteError`,
            `NotARotationError`, `ReflectionError`, `LengthOutOfRangeError`,
            `NotUnitLengthError` or `AngleOutOfRangeError`.

        Examples
        --------
        >>> from wheel_alignment.live import Tracker
        >>> from wheel_alignment.simulate import VirtualVehicle
        >>> from wheel_alignment.stand import GroundLine
        >>> session = VirtualVehicle().session()
        >>> line = GroundLine.from_live(Tracker(session).frame(0.0, session.ahead))
        >>> line.ground.uneven
        False
        """
        wheels, pose = now.alignment.wheels, now.rig_from_vehicle
        return _line(wheels, pose, loaded_radius_mm, floor, line, reference)

    def readings(self, rig_from_stand: PoseLike) -> StandReadings[float]:
        """Read where a stand stands.

        Parameters
        ----------
        rig_from_stand : pose-like
            The axes of the stand's own frame seen in the rig, and its origin.

        Returns
        -------
        StandReadings of float
            Degrees and mm.

        Raises
        ------
        AngleOutOfRangeError
            The stand pitches by more than 89°.
        AlignmentError
            As a pose: `NotFiniteError`, `NotARotationError`, `ReflectionError` or
            `LengthOutOfRangeError`.

        Examples
        --------
        >>> import numpy as np
        >>> from wheel_alignment import Pose
        >>> from wheel_alignment.stand import Ground, GroundLine
        >>> line = GroundLine(Pose(np.eye(3), np.zeros(3)), Ground(0.0, 0.0, False))
        >>> stand = Pose.from_rotation_vector_rad(
        ...     [0, 0, np.radians(0.35)], [1500, -4, 1200]
        ... )
        >>> here = line.readings(stand)
        >>> print(f"{here.yaw_deg:.2f}° at {here.distance_mm:.0f} mm")
        0.35° at 1500 mm
        """
        data = _pose(rig_from_stand, "rig_from_stand")
        return from_json(StandReadings, _native.stand_readings(plain(self), data))


@dataclass(frozen=True, slots=True, eq=False)
class StandMoves(Value):
    """What is done to a stand: in this order, along or about its own axes.

    Each move is as the stand then lies. The turns go through the pivot and leave it
    where it is; the shifts come after all turns, so that no move undoes another.
    ``str`` says it to a person, and leaves out what comes to 0.00° or 0.0 mm. Forward,
    left and right are the stand's own, not those of whoever faces it: of a stand before
    the car they are the driver's, and forward is away from the car.

    Attributes
    ----------
    yaw_deg : float
        First: turn about the stand's z axis; positive to the left.
    pitch_deg : float
        Second: tilt about its y axis; positive with the top forward.
    roll_deg : float
        Third: lean about its x axis; positive with the top to the right.
    forward_mm : float
        Fourth: shift along its x axis; positive forward.
    left_mm : float
        Fifth: shift along its y axis; positive to the left.
    up_mm : float
        Sixth: shift along its z axis; positive upward.
    """

    yaw_deg: float
    pitch_deg: float
    roll_deg: float
    forward_mm: float
    left_mm: float
    up_mm: float

    def __str__(self) -> str:
        """Say the moves as a person does."""
        return _native.stand_moves_text(plain(self))


def moves(
    readings: StandReadings[float],
    requirements: StandRequirements | Given,
    *,
    pivot_mm: ArrayLike = (0.0, 0.0, 0.0),
) -> StandMoves:
    """Find the moves that bring a stand from where it stands to what is required.

    What nothing is required of stays as it is.

    Parameters
    ----------
    readings : StandReadings of float
        Where the stand stands, degrees and mm.
    requirements : StandRequirements, mapping, str or path-like
        Where it is to stand: a dict, the text of its JSON, or the path of a JSON file
        as a `pathlib.Path`.
    pivot_mm : array-like of 3 numbers
        The point about which the stand is turned, in its own frame, mm.

    Returns
    -------
    StandMoves
        Turns, then shifts. With R the axes of the stand in the line's frame, p its
        origin there, and R′ and p′ what is required, the turns are the angles of
        Rᵀ·R′ = Rz·Ry·Rx, and the shifts R′ᵀ·(p′ − p − (R − R′)·pivot).

    Raises
    ------
    AngleOutOfRangeError, LengthOutOfRangeError
        Lengths beyond a kilometre, yaw and roll beyond ± 180°, pitch beyond ± 89°.
    OutOfRangeError
        A negative tolerance.
    NotFiniteError
        A number is NaN or infinite.
    NotASpecificationError
        The requirements cannot be read.

    Examples
    --------
    >>> from wheel_alignment.stand import StandReadings, moves
    >>> here = StandReadings(1487.6, 0.0, 0.0, -0.35, 0.0, 0.0)
    >>> wanted = {
    ...     "format": "alignment-stand/1",
    ...     "required": {
    ...         "distance_mm": {"nominal": 1500, "minus": 5, "plus": 5},
    ...         "yaw_deg": {"nominal": 0, "minus": 0.1, "plus": 0.1},
    ...     },
    ... }
    >>> print(moves(here, wanted))
    turn left by 0.35°, then shift forward by 12.4 mm
    """
    text = _native.stand_moves(
        plain(readings),
        _inputs.stand_requirements(requirements),
        _arrays.three(pivot_mm, "pivot_mm"),
    )
    return from_json(StandMoves, text)


def moved(
    rig_from_stand: PoseLike,
    moves: StandMoves,
    *,
    pivot_mm: ArrayLike = (0.0, 0.0, 0.0),
) -> Pose:
    """Return where a stand is in the rig after the moves, done exactly.

    Parameters
    ----------
    rig_from_stand : pose-like
        Where it is before.
    moves : StandMoves
        What is done to it, degrees and mm.
    pivot_mm : array-like of 3 numbers
        The point about which the stand is turned, in its own frame, mm.

    Returns
    -------
    Pose
        ``rig_from_stand`` after the moves.

    Raises
    ------
    AngleOutOfRangeError
        A turn beyond ± 180°.
    AlignmentError
        As a pose: `NotFiniteError`, `NotARotationError`, `ReflectionError` or
        `LengthOutOfRangeError`.

    Examples
    --------
    A quarter turn to the left about a column 100 mm behind the board, then 10 mm
    forward, which now is to the left:

    >>> import numpy as np
    >>> from wheel_alignment import Pose
    >>> from wheel_alignment.stand import StandMoves, moved
    >>> there = moved(
    ...     Pose(np.eye(3), np.zeros(3)),
    ...     StandMoves(90.0, 0.0, 0.0, 10.0, 0.0, 0.0),
    ...     pivot_mm=[-100, 0, 0],
    ... )
    >>> [round(mm, 6) for mm in there.translation_mm]
    [-100.0, 110.0, 0.0]
    """
    data = _native.stand_moved(
        _pose(rig_from_stand, "rig_from_stand"),
        plain(moves),
        _arrays.three(pivot_mm, "pivot_mm"),
    )
    return Pose.from_matrix4(_arrays.unpacked(data, (4, 4)))


@dataclass(frozen=True, slots=True, eq=False)
class StandAssessment(Tree):
    """Where a stand stands, what that is worth, and the moves that put it right.

    Attributes
    ----------
    readings : StandReadings of float
        Where the stand stands.
    standard_uncertainty : StandReadings of float, or None
        The standard uncertainty of each reading, in its own unit. None when the noise
        of the car's poses or of the stand's is not known.
    degrees_of_freedom : StandReadings of float or None
        The effective degrees of freedom of each standard uncertainty; None where the
        noise is known and they are infinite.
    expanded_uncertainty : StandReadings of float, or None
        The expanded uncertainty U of each reading: reading ± U holds the true value
        with a probability of 95 %.
    judgements : StandReadings of Judgement or None
        The verdict on each reading of which something is required. Without an
        uncertainty by simple acceptance, and it says so.
    overall : str
        On the whole: ``conforms``, ``does_not_conform`` or ``undetermined``.
    moves : StandMoves
        What to do to the stand, in this order. Whether anything has to be done at all
        the verdicts say.
    pivot_mm : tuple of 3 floats
        The point about which it is turned, in the stand's own frame, mm.
    ground_line : GroundLine
        The line on the ground from which it was read.
    thrust_angle_deg : float
        The thrust angle of the car, degrees; positive when the thrust line points to
        the right of the centreline.
    requirements : StandRequirements
        What was required, with the line, the reference point and the rule.
    warnings : tuple of Warning
        What is weak in the measurement of the car.
    """

    readings: StandReadings[float]
    standard_uncertainty: StandReadings[float] | None
    degrees_of_freedom: StandReadings[float | None]
    expanded_uncertainty: StandReadings[float] | None
    judgements: StandReadings[Judgement | None]
    overall: str
    moves: StandMoves
    pivot_mm: Vector
    ground_line: GroundLine
    thrust_angle_deg: float
    requirements: StandRequirements
    warnings: tuple[Warning, ...]


def assess(
    session: SessionLike,
    stand: PlacedStand,
    requirements: StandRequirements | Given,
    *,
    ground_mm: ArrayLike = (),
    method: Literal["staged", "joint"] | None = None,
) -> StandAssessment:
    """Measure a car and a stand before it: readings, verdicts and moves in one call.

    Parameters
    ----------
    session : Session, mapping, str or path-like
        What the rig hands over of the car, as `measure` takes it.
    stand : PlacedStand
        The stand as it was found, with its noise and its pivot.
    requirements : StandRequirements, mapping, str or path-like
        Where it is to stand: a dict, the text of its JSON, or the path of a JSON file
        as a `pathlib.Path`.
    ground_mm : array-like of shape (N, 3)
        Points of the floor, mm in the rig frame; none of them makes the plane through
        the contact centres the ground. Each of their coordinates is as uncertain as the
        session's ``input_uncertainty.runway_mm`` says.
    method : {"staged", "joint"}, optional
        As `measure` takes it.

    Returns
    -------
    StandAssessment
        Degrees and mm.

    Raises
    ------
    WheelNotSeenError, MissingInputError
        Not all four wheels were seen straight ahead, or one has no radius.
    AngleOutOfRangeError
        A stand that pitches by more than 89°; a floor tilted by more than 10° against
        the datum, or, without a floor, an ``up`` by as much against the plane of the
        contact centres.
    LengthOutOfRangeError
        Points of the floor in one line or above a wheel's centre, among others.
    TooFewStationsError, TooManyError
        One or two points of the floor, or more than a thousand.
    OutOfRangeError
        A negative tolerance, or a probability outside 0.5 to 0.999999.
    AlignmentError
        As `measure` and as poses and points: `NotFiniteError`,
        `NotARotationError`, `ReflectionError`, `LengthOutOfRangeError`,
        `NotUnitLengthError`, `RollTooSmallError`, `RollFullTurnError`,
        `SweepTooSmallError`, `UpInvertedError`, `SidesSwappedError`,
        `EndsSwappedError`, `MirroredError`, `SpindleNotLateralError`,
        `NotStillError`, `DifferentVehiclesError`, `RearWheelSteerError`,
        `ContradictionError`, `NotACovarianceError`, `NotDeterminedError` or
        `NotConvergedError`;
        `NotASessionError`, `ThirdAxleError` and `NotASpecificationError` when something
        cannot be read.

    Examples
    --------
    >>> import numpy as np
    >>> from wheel_alignment import Pose
    >>> from wheel_alignment.session import PoseNoise
    >>> from wheel_alignment.simulate import VirtualVehicle
    >>> from wheel_alignment.stand import PlacedStand, assess
    >>> session = VirtualVehicle().session()
    >>> seen = Pose.from_rotation_vector_rad([0, 0, 0.1], [5000, 30, 1200])
    >>> wanted = {
    ...     "format": "alignment-stand/1",
    ...     "required": {"yaw_deg": {"nominal": 0, "minus": 0.2, "plus": 0.2}},
    ... }
    >>> found = assess(session, PlacedStand(seen), wanted)
    >>> found.overall
    'does_not_conform'
    """
    points = _arrays.floats(ground_mm, "ground_mm")
    if points.size == 0:
        points = points.reshape(-1, 3)
    if points.ndim != 2 or points.shape[1] != 3:
        raise ValueError(
            f"ground_mm: shape (N, 3) is needed, not {points.shape} "
            f"(dtype {points.dtype})"
        )
    if not isinstance(stand, PlacedStand):
        kind = type(stand).__qualname__
        raise TypeError(f"stand is a PlacedStand, not {kind}")
    text = _native.stand_assess(
        _inputs.session(session),
        stand,
        _arrays.packed(points),
        _inputs.stand_requirements(requirements),
        method,
    )
    return from_json(StandAssessment, text)


def _with_pivot(stand: PlacedStand, pivot_mm: ArrayLike) -> PlacedStand:
    pivot = _arrays.three(pivot_mm, "pivot_mm")
    return PlacedStand(stand.rig_from_stand, stand.noise, pivot)


def _pose(given: PoseLike, name: str) -> bytes:
    matrix = as_matrix4(given)
    if matrix.shape != (4, 4):
        raise ValueError(f"{name}: one pose is needed, not shape {matrix.shape[:-2]}")
    return _arrays.packed(matrix)


def _line(
    wheels: object,
    rig_from_vehicle: Pose,
    loaded_radius_mm: float | ByAxle[float | None] | Mapping[str, float | None] | None,
    floor: Plane | None,
    line: Literal["thrust_line", "centreline"],
    reference: _Reference,
) -> GroundLine:
    car = {
        "wheels": wheels,
        "rig_from_vehicle": rig_from_vehicle,
        "loaded_radius_mm": _stations.per_axle(loaded_radius_mm),
        "floor": floor,
        "line": line,
        "reference": reference,
    }
    return from_json(GroundLine, _native.ground_line(car))
