"""Live readings: what the wheels read while the car is moved, steered, lifted, hidden.

A `Tracker` is made once, from a session that is measured. From then on it takes poses
as the cameras hand them over, all four targets at a time or a few, and keeps the
readings valid: the body is found again from the targets that are fixed in it, front
wheels that are turned are referred back to straight ahead about their own steering
axes, wheels that hang go on from what they read, and a clamp that is knocked is named.

Lifting, rolling and steering a car can hurt, and so can a car that is driven on a wrong
reading. Hold the wheels with the brake while live readings are taken: a target that
rolls with its wheel is not fixed in the body. The vehicle maker's procedure, local
codes and licensed practice come first. Measure the car again when the work is done.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

from wheel_alignment import _inputs, _native, _stations
from wheel_alignment._inputs import SessionLike
from wheel_alignment._values import Value, from_json, plain
from wheel_alignment.alignment import Alignment
from wheel_alignment.compensation import Compensation
from wheel_alignment.pose import Pose
from wheel_alignment.session import ByAxle, BySide, ByWheel

if TYPE_CHECKING:
    from wheel_alignment.session import StationLike

MAX_TIME_S: Final = 3600.0
"""The longest time that a setting may name, s."""

KNOCKED_RANGE_DEG: Final[tuple[float, float]] = (1e-3, 10.0)
"""The range in which a turn may be called a knock, degrees."""

KNOCKED_RANGE_MM: Final[tuple[float, float]] = (1e-2, 100.0)
"""The range in which a shift may be called a knock, mm."""


@dataclass(frozen=True, slots=True, eq=False)
class Flags(Value):
    """What is to be known of a reading before it is used.

    Attributes
    ----------
    held : bool
        It rests on something that was not seen for longer than ``held_after_s``, or
        whose reading is held while it is lifted.
    stale : bool
        It rests on something that was not seen for longer than ``stale_after_s``.
    weak : bool
        It rests on less than it should: a body found from one target that no other
        confirms, or from none; wheels turned beyond the sweep, between stations far
        apart or without one; the steering not held though it was said to be.
    """

    held: bool
    stale: bool
    weak: bool


@dataclass(frozen=True, slots=True, eq=False)
class FlagsByBasis(Value):
    """Flags by what a reading rests on; `of` finds those of a path.

    Attributes
    ----------
    wheels : ByWheel of Flags
        Of what rests on one wheel: its camber.
    axles : ByAxle of Flags
        Of what rests on the wheels of one axle: total toe and cross camber.
    vehicle : Flags
        Of what rests on all four wheels: everything else.
    """

    wheels: ByWheel[Flags]
    axles: ByAxle[Flags]
    vehicle: Flags

    def of(self, path: str) -> Flags:
        """Return what is to be known of a reading, by its path.

        Parameters
        ----------
        path : str
            As in ``wheels.fl.camber_deg``.

        Returns
        -------
        Flags
            Held, stale and weak, each true or false.

        Raises
        ------
        UnknownReadingError
            No reading has this path.

        Examples
        --------
        >>> from wheel_alignment.live import Tracker
        >>> from wheel_alignment.simulate import VirtualVehicle
        >>> tracker = Tracker(VirtualVehicle().session())
        >>> tracker.readings().flags.of("chassis.thrust_angle_deg").stale  # no frame
        True
        """
        return Flags(*_native.flags_of(plain(self), path))


@dataclass(frozen=True, slots=True, eq=False)
class LiveReadings(Value):
    """What the wheels read at one moment.

    Attributes
    ----------
    time_s : float or None
        When, s, by the clock of the frames; None before the first.
    alignment : Alignment
        The readings straight ahead, and those of the steering axes as the knuckles
        carry them; toe-out on turns is not read live. Absent where a clamp was knocked.
    flags : FlagsByBasis
        What is to be known of them before they are used.
    lag_s : ByWheel of float or None
        How old what each wheel's readings rest on is in the mean, s: the lag of the
        smoothing, and the time since the wheel was seen; None before.
    steer_deg : BySide of float or None
        How far each front wheel is turned from straight ahead, degrees, positive to the
        left. None without a measured steering axis.
    knocked : ByWheel of bool
        Whose clamp was knocked: its compensation is void.
    rig_from_vehicle : Pose
        Where the vehicle is now: the axes of its frame seen in the rig, and its origin.
    """

    time_s: float | None
    alignment: Alignment
    flags: FlagsByBasis
    lag_s: ByWheel[float | None]
    steer_deg: BySide[float | None]
    knocked: ByWheel[bool]
    rig_from_vehicle: Pose


class Tracker:
    """Follows a car, frame by frame.

    Everything refers to the body as it stood straight ahead in the session; nothing is
    summed up from frame to frame, so that nothing can drift.

    Parameters
    ----------
    session : Session, mapping, str or path-like
        What the rig hands over, as `measure` takes it. Every wheel was rolled, or spun,
        and seen straight ahead. Without a sweep, front wheels that are turned cannot be
        referred back.
    method : {"staged", "joint"}, optional
        As `measure` takes it.
    smoothing_s : float
        Time constant τ of the smoothing, s: y ← y + (1 − exp(−Δt/τ))·(x − y). 0 for
        none.
    held_after_s : float
        A reading is held when what it rests on was seen longer ago than this, s.
    stale_after_s : float
        And stale when longer ago than this, s.
    steering : {"free", "held"}
        Free, front wheels are referred back to straight ahead, and what the steering
        does not explain is shared by both as it was. Held, they are read as they stand,
        so that each tie rod shows at its own wheel.
    knocked_deg, knocked_mm : float
        A target is no longer where it belongs when it is turned or shifted by more than
        this.

    Raises
    ------
    WheelNotSeenError
        A wheel was not seen straight ahead, or not rolled.
    AlignmentError
        As `measure`; of a setting `NotFiniteError`, `OutOfRangeError`,
        `AngleOutOfRangeError` or `LengthOutOfRangeError`. In all:
        `NotFiniteError`, `NotARotationError`, `ReflectionError`,
        `LengthOutOfRangeError`, `NotUnitLengthError`, `AngleOutOfRangeError`,
        `MissingInputError`, `TooFewStationsError`, `RollTooSmallError`,
        `RollFullTurnError`, `SweepTooSmallError`, `UpInvertedError`,
        `SidesSwappedError`, `EndsSwappedError`, `MirroredError`,
        `SpindleNotLateralError`, `NotStillError`, `DifferentVehiclesError`,
        `RearWheelSteerError`, `TooManyError`, `ContradictionError`, `OutOfRangeError`,
        `NotACovarianceError`, `NotDeterminedError` or `NotConvergedError`;
        `NotASessionError` and `ThirdAxleError` when it cannot be read.

    Examples
    --------
    An invented car, whose front wheels are turned while one camera is blocked:

    >>> from wheel_alignment.live import Tracker
    >>> from wheel_alignment.simulate import VirtualVehicle
    >>> session = VirtualVehicle().session()
    >>> tracker = Tracker(session)
    >>> now = tracker.frame(0.00, session.ahead)
    >>> now = tracker.frame(0.01, {**session.to_dict()["sweep"][8], "rr": None})
    >>> print(f"{now.alignment.wheels.fl.camber_deg:.2f}°")
    -0.50°
    >>> print(f"turned by {now.steer_deg.left:.1f}°")
    turned by 20.6°
    """

    __slots__ = ("_tracker",)

    def __init__(
        self,
        session: SessionLike,
        *,
        method: Literal["staged", "joint"] | None = None,
        smoothing_s: float = 0.0,
        held_after_s: float = 0.1,
        stale_after_s: float = 1.0,
        steering: Literal["free", "held"] = "free",
        knocked_deg: float = 0.1,
        knocked_mm: float = 1.0,
    ) -> None:
        settings = {
            "smoothing_s": smoothing_s,
            "held_after_s": held_after_s,
            "stale_after_s": stale_after_s,
            "steering": steering,
            "knocked_deg": knocked_deg,
            "knocked_mm": knocked_mm,
        }
        self._tracker = _native.Tracker(_inputs.session(session), method, settings)

    def frame(self, time_s: float, poses: StationLike) -> LiveReadings:
        """Take what the cameras see at one moment.

        Cameras that are out of step hand over their targets as they come, each with its
        own time; times may repeat, but not go back. What is refused changes nothing.

        Parameters
        ----------
        time_s : float
            When, s, by any clock.
        poses : station-like
            The pose of each target that is seen, as `Session.from_arrays` takes a
            station, in the frame in which its camera reported in the session.

        Returns
        -------
        LiveReadings
            Degrees and mm, with the signs of the readings.

        Raises
        ------
        OutOfRangeError
            The time goes back.
        AlignmentError
            As the poses: `NotFiniteError`, `NotARotationError`, `ReflectionError` or
            `LengthOutOfRangeError`, with the wheel.

        Examples
        --------
        >>> from wheel_alignment.live import Tracker
        >>> from wheel_alignment.simulate import VirtualVehicle
        >>> session = VirtualVehicle().session()
        >>> now = Tracker(session).frame(0.0, session.ahead)
        >>> now.flags.of("wheels.fl.camber_deg")
        Flags(held=False, stale=False, weak=False)
        """
        data, counts = _stations.station(poses, "poses")
        for wheel, count in zip(_stations.WHEELS, counts, strict=True):
            if count > 1:
                raise ValueError(
                    f"poses.{wheel}: one pose is needed, not {count} frames"
                )
        return from_json(LiveReadings, self._tracker.frame(time_s, (data, counts)))

    def readings(self) -> LiveReadings:
        """Return the readings of the last frame; before the first, the session's.

        Returns
        -------
        LiveReadings
            Degrees and mm, with the signs of the readings.
        """
        return from_json(LiveReadings, self._tracker.readings())

    def adjust(self, wheels: str | Iterable[str]) -> None:
        """Say which wheels are being adjusted from now on; none of the others is.

        The target of a wheel that is adjusted is not fixed in the body. A wheel whose
        adjustment ends belongs where it is then, and helps to find the body again; one
        that is not seen then, from when it is seen.

        Parameters
        ----------
        wheels : str or iterable of str
            As in ``"fl"``, ``("fl", "fr")``, or ``()`` for none.
        """
        self._tracker.adjust(_wheels(wheels))

    def steer(self, steering: Literal["free", "held"]) -> None:
        """Say whether the front wheels may be steered from now on.

        Parameters
        ----------
        steering : {"free", "held"}
            As in `Tracker`.
        """
        self._tracker.steer(steering)

    def lift(self, wheels: str | Iterable[str] = _stations.WHEELS) -> None:
        """Say which wheels are about to be lifted: their readings are held.

        Parameters
        ----------
        wheels : str or iterable of str
            As in ``("fl", "fr")``; all when left out.
        """
        self._tracker.lift(_wheels(wheels))

    def lifted(self) -> None:
        """Say that what was to be lifted hangs still: readings go on from those held.

        They go on from the smoothed pose; without smoothing the noise of one pose stays
        in them. A wheel that is not seen goes on from when it is seen again.
        """
        self._tracker.lifted()

    def lowered(self) -> None:
        """Say that all wheels stand again: they are read as they stand.

        Wheels that hung may rest otherwise than before: they are taken for fixed within
        ten times the bounds of a knock until an adjustment of them ends, and all is
        weak while a rear one is beyond the bounds themselves. Roll or settle the car,
        and measure anew.
        """
        self._tracker.lowered()

    def compensate(
        self, wheel: Literal["fl", "fr", "rl", "rr"], compensation: Compensation
    ) -> None:
        """Take a clamp that was knocked, or put on anew, with its own compensation.

        The wheel is read by it from when it is seen again, and belongs where it is seen
        then. Compensated while it is being lifted it stays void until it is lowered.

        Parameters
        ----------
        wheel : str
            ``fl``, ``fr``, ``rl`` or ``rr``.
        compensation : Compensation
            Where the wheel sits in its target: mm and a unit vector.

        Raises
        ------
        AlignmentError
            It is no compensation: `NotFiniteError`, `NotUnitLengthError` or
            `LengthOutOfRangeError`.
        """
        self._tracker.compensate(_wheels(wheel).index(True), compensation)


def _wheels(given: str | Iterable[str]) -> list[bool]:
    names = [given] if isinstance(given, str) else list(given)
    unknown = [name for name in names if name not in _stations.WHEELS]
    if unknown:
        raise ValueError(f"unknown wheel {unknown[0]!r}; the wheels are fl, fr, rl, rr")
    return [wheel in names for wheel in _stations.WHEELS]
