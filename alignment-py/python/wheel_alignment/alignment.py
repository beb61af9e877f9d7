"""One whole session → every reading, in one tree."""

from __future__ import annotations

import operator
import typing
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final, Literal

from wheel_alignment import _inputs, _native
from wheel_alignment._inputs import SessionLike
from wheel_alignment._tables import Column, Table
from wheel_alignment._values import Tree, Value, build, from_json, table
from wheel_alignment.compensation import Residual
from wheel_alignment.error import Warning
from wheel_alignment.joint import Fit
from wheel_alignment.paths import READINGS, unit
from wheel_alignment.session import ByAxle, BySide, ByWheel, Reference, StationSpread
from wheel_alignment.steering import InstantaneousAxis, SteeringReadings
from wheel_alignment.turns import TurnsReadings
from wheel_alignment.vehicle import AxleReadings, ChassisReadings
from wheel_alignment.wheel import WheelReadings

if typing.TYPE_CHECKING:
    from matplotlib.axes import Axes

MAX_REAR_STEER_DEG: Final[float] = 0.5
"""The most by which both rear wheels may turn against their axle while the front wheels
are steered, degrees.
"""


@dataclass(frozen=True, slots=True, eq=False)
class Alignment(Tree, Table):
    """Every reading of one session: degrees and millimetres, by their names.

    A reading that the session does not hold is None, never zero. As a table it has one
    row for each of `READINGS`: ``path``, ``value`` and ``unit``.

    Attributes
    ----------
    wheels : ByWheel of WheelReadings
        Per wheel: ``fl``, ``fr``, ``rl``, ``rr``.
    axles : ByAxle of AxleReadings
        Per axle: ``front``, ``rear``.
    chassis : ChassisReadings
        The chassis.
    steering : SteeringReadings
        The steering, from the sweep.
    turns : TurnsReadings
        Turning, from the sweep and the locks.
    """

    wheels: ByWheel[WheelReadings]
    axles: ByAxle[AxleReadings]
    chassis: ChassisReadings
    steering: SteeringReadings
    turns: TurnsReadings

    def get(self, path: str) -> float | None:
        """Return the reading at a path of `READINGS`: degrees or mm; None where absent.

        Of a vector each component is a reading: ``wheels.fl.centre_mm[0]``.

        Raises
        ------
        UnknownReadingError
            No reading has this path.
        """
        _native.position(path)
        names, _, index = path.partition("[")
        value: typing.Any = operator.attrgetter(names)(self)
        if index and value is not None:
            value = value[int(index[0])]
        return typing.cast("float | None", value)

    def values(self) -> tuple[float | None, ...]:
        """Return every reading, in the order of `READINGS`; None where absent.

        Examples
        --------
        >>> from wheel_alignment import uncertainty
        >>> planned = uncertainty.plan()
        >>> planned.values()[0] == planned.wheels.fl.camber_deg
        True
        """
        return tuple(self.get(path) for path in READINGS)

    @classmethod
    def from_values(cls, values: Iterable[float | None]) -> Alignment:
        """Build the tree of values that stand in the order of `READINGS`; any unit.

        A vector of which one component is absent is absent.

        Parameters
        ----------
        values : iterable of float or None
            One value for each of `READINGS`.

        Returns
        -------
        Alignment
            The tree.

        Raises
        ------
        ValueError
            There are more or fewer values.

        Examples
        --------
        >>> from wheel_alignment import Alignment
        >>> from wheel_alignment.paths import COUNT, position
        >>> values = [None] * COUNT
        >>> values[position("steering.left.caster_deg")] = 5.0
        >>> Alignment.from_values(values).steering.left.caster_deg
        5.0
        """
        tree: dict[str, typing.Any] = {}
        for path, value in zip(READINGS, values, strict=True):
            *places, name = path.partition("[")[0].split(".")
            at = tree
            for place in places:
                at = at.setdefault(place, {})
            if "[" not in path:
                at[name] = value
                continue
            # The first component that is absent makes the vector absent.
            vector = at.setdefault(name, [])
            if vector is not None:
                at[name] = None if value is None else [*vector, value]
        return build(cls, tree)

    def _columns(self) -> list[Column]:
        return [
            Column("path", "text", READINGS),
            Column("value", "number", self.values()),
            Column("unit", "text", [unit(path) for path in READINGS]),
        ]

    def plot(
        self, *, exaggeration: float | None = None, ax: Axes | None = None
    ) -> Axes:
        """Draw the car from above: wheels, axles, centreline, thrust line, setback.

        Toe and thrust angle are too small to be seen: they are drawn larger, as the
        picture states, and so is setback. Each value stands beside what it is of, with
        its unit, and what its sign means in words.

        Parameters
        ----------
        exaggeration : float, optional
            How many times larger toe and thrust angle are drawn; as many as the picture
            has room for when left out.
        ax : Axes, optional
            Where to draw; on a new figure when left out.

        Returns
        -------
        Axes
            Its ``figure`` can be shown and saved.

        Raises
        ------
        ImportError
            Matplotlib, the extra ``plot``, is not installed.
        """
        from wheel_alignment import _plots

        return _plots.plan_view(self, None, exaggeration, ax)


@dataclass(frozen=True, slots=True, eq=False)
class Residuals(Value):
    """How far each pose lies from the rigid motion fitted to its stage.

    By station, then by wheel; None where a wheel was not seen.

    Attributes
    ----------
    rolling : tuple of ByWheel of Residual
        The rolling stations: tilt of the spindle, and distance of the target's origin
        from the fitted path.
    sweep : tuple of ByWheel of Residual
        The sweep stations. Front wheels: tilt and shift of the steering axis. Rear
        wheels: how far spindle and wheel centre moved since the ahead station, which
        the body should not have.
    """

    rolling: tuple[ByWheel[Residual | None], ...]
    sweep: tuple[ByWheel[Residual | None], ...]


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Measurement(Tree, Table):
    """What `measure` returns.

    As a table it has one row for each of `READINGS`: ``path``, ``value`` and ``unit``.

    Attributes
    ----------
    alignment : Alignment
        Every reading.
    reference : Reference
        The choices that the readings rest on, defaults included.
    datum_normal : tuple of float
        The normal of the datum, unit vector upward in the rig frame: what angles to
        the vertical refer to.
    warnings : tuple of Warning
        What is weak, with the figures; empty when nothing is.
    residuals : Residuals
        How far each pose lies from the fits.
    spreads : tuple of StationSpread
        How much the frames of each wheel scatter, station by station, where there
        were several.
    method : str
        How the readings were estimated: ``staged`` or ``joint``.
    fit : Fit or None
        How well one rigid car explains all poses; of the joint method alone.
    instantaneous_axes : BySide of tuple of InstantaneousAxis
        The steering axis from each station of the sweep to the next, in the order of
        their steer angles. Empty with wheels free to roll.
    """

    alignment: Alignment
    reference: Reference
    datum_normal: tuple[float, float, float]
    warnings: tuple[Warning, ...]
    residuals: Residuals
    spreads: tuple[StationSpread, ...]
    method: str
    fit: Fit | None
    instantaneous_axes: BySide[tuple[InstantaneousAxis, ...]]

    def _columns(self) -> list[Column]:
        return self.alignment._columns()

    def plot(
        self, *, exaggeration: float | None = None, ax: Axes | None = None
    ) -> Axes:
        """Draw the car from above, as `Alignment.plot` does."""
        return self.alignment.plot(exaggeration=exaggeration, ax=ax)

    def __repr__(self) -> str:
        return table("Measurement", self, None)


def measure(
    session: SessionLike, *, method: Literal["staged", "joint"] | None = None
) -> Measurement:
    """Measure a car: from the target poses of one session to every reading.

    Rolling stations compensate the clamps; the ahead station gives camber, toe and the
    vehicle's frame; the sweep gives the steering axes and toe-out on turns. The result
    does not depend on how the rig's frame lies, nor on the order of the stations. Same
    session, same bits, on every platform.

    Parameters
    ----------
    session : Session, mapping, str or path-like
        What the rig hands over: a `Session`, or what `Session.from_json` reads, a
        dict, the text of its JSON, or the path of a JSON file as a `pathlib.Path`.
        Keys carry their units: degrees and millimetres. In a dict, arrays and their
        scalars are as good as lists and numbers.
    method : {"staged", "joint"}, optional
        How the readings are estimated: stage by stage, or all stages at once by one
        fit of a rigid car, which scatters less and gives ``fit``. What the session's
        own key ``method`` says when left out; staged when it says nothing.

    Returns
    -------
    Measurement
        ``alignment`` holds the readings by their paths, as in
        ``alignment.wheels.fl.camber_deg``: degrees and millimetres, absent ones None.
        Positive are camber with the top outward, toe-in, caster with the top rearward,
        SAI with the top inboard, a thrust line to the right, steering to the left.

    Raises
    ------
    AlignmentError
        One subclass per code. Its message is one sentence and its attributes say what
        is wrong, where, the figure, the bound and the remedy:
        `NotFiniteError`, `NotARotationError`, `ReflectionError`,
        `LengthOutOfRangeError`, `NotUnitLengthError`, `AngleOutOfRangeError`,
        `MissingInputError`, `WheelNotSeenError`, `TooFewStationsError`,
        `RollTooSmallError`, `RollFullTurnError`, `SweepTooSmallError`,
        `UpInvertedError`, `SidesSwappedError`, `EndsSwappedError`, `MirroredError`,
        `SpindleNotLateralError`, `NotStillError`, `DifferentVehiclesError`,
        `RearWheelSteerError`, `TooManyError`, `ContradictionError`,
        `NotACovarianceError`, `NotDeterminedError` or `NotConvergedError`;
        `NotASessionError` and `ThirdAxleError` when it cannot be read.
    TypeError
        An argument is none of the above.
    ValueError
        No method has this name.
    OSError
        The file cannot be read.

    Notes
    -----
    The interpreter is free for other threads while the car is measured.

    Examples
    --------
    A flawless car, whose targets sit on the wheel centres, rolled forward by 40° and
    back:

    >>> import math
    >>> import wheel_alignment
    >>> front = {"fl": (2700, 760), "fr": (2700, -760)}
    >>> rear = {"rl": (0, 750), "rr": (0, -750)}
    >>> def station(roll_deg):
    ...     roll = math.radians(roll_deg)
    ...     return {
    ...         wheel: {
    ...             "rotation_vector_rad": [0, roll, 0],
    ...             "translation_mm": [x + 310 * roll, y, 310],
    ...         }
    ...         for wheel, (x, y) in (front | rear).items()
    ...     }
    >>> session = {
    ...     "format": "alignment-session/1",
    ...     "up": [0, 0, 1],
    ...     "clamp_standoff_mm": {"fl": 0, "fr": 0, "rl": 0, "rr": 0},
    ...     "rolling": [station(0), station(20), station(40)],
    ...     "ahead": station(0),
    ... }
    >>> result = wheel_alignment.measure(session)
    >>> print(f"{result.alignment.chassis.wheelbase_left_mm:.1f} mm")
    2700.0 mm
    >>> print(f"{result.alignment.wheels.fl.rolling_radius_mm:.1f} mm")
    310.0 mm
    >>> result.alignment.steering.left.caster_deg is None
    True
    >>> print(result.warnings[0])
    fl: loaded_radius_mm was not given, the rolling radius stands in: trail, scrub and \
track at the ground lean on it (310 mm)

    All stages at once:

    >>> wheel_alignment.measure(session, method="joint").fit.degrees_of_freedom
    48.0

    Rolled by less than it takes to find the spindles:

    >>> session["rolling"] = [station(0), station(2), station(4)]
    >>> try:
    ...     wheel_alignment.measure(session)
    ... except wheel_alignment.RollTooSmallError as error:
    ...     print(error)
    ...     print(error.stage, error.wheel, round(error.value, 9), error.minimum)
    rolling.fl: the wheel was rolled too little: 4°, at least 10° needed; roll the car \
further between the stations
    rolling fl 4.0 10.0
    """
    return from_json(Measurement, _native.measure(_inputs.session(session), method))
