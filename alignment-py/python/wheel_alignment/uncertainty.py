"""What every reading is worth, and what a measurement will be worth."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal, TypedDict, overload

from wheel_alignment import _inputs, _native
from wheel_alignment._inputs import SessionLike
from wheel_alignment._tables import Column, Table
from wheel_alignment._values import (
    Tree,
    Value,
    build,
    from_json,
    plain,
    table,
    with_infinities,
)
from wheel_alignment.alignment import Alignment, Measurement
from wheel_alignment.monte_carlo import Agreement, Simulation
from wheel_alignment.paths import unit
from wheel_alignment.propagation import Expanded
from wheel_alignment.session import InputUncertainty, PoseNoise

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from typing_extensions import Unpack

ROLL_RANGE_DEG: Final[tuple[float, float]] = (10.1, 160.0)
"""The least and greatest planned roll from one end to the other, degrees."""

SWEEP_RANGE_DEG: Final[tuple[float, float]] = (11.0, 90.0)
"""The least and greatest planned sweep from one end to the other, degrees: the mean of
the wheels turns by a little less.
"""

MAX_PLANNED: Final[int] = 200
"""The most planned stations of a stage."""


@dataclass(frozen=True, slots=True, eq=False)
class Source(Value):
    """What makes a reading uncertain.

    Attributes
    ----------
    kind : str
        ``poses``, ``clamp_standoff``, ``up``, ``runway``, ``front_loaded_radius``,
        ``rear_loaded_radius``, ``ride_height`` or ``right_cameras``.
    stage : str or None
        Of poses: in which group of stations.
    station : int or None
        Of poses: at which station of the group, counted from 0 as in the session; None
        for all together.
    wheel : str or None
        Of poses and clamp standoffs: of which wheel.
    """

    kind: str
    stage: str | None = None
    station: int | None = None
    wheel: str | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Contribution(Value):
    """What one input contributes to the uncertainty of one reading.

    Attributes
    ----------
    source : Source
        The input.
    standard_uncertainty : float
        The standard uncertainty that the reading would have from this input alone, in
        the reading's unit.
    share : float
        Its share of the reading's variance, 0 to 1.
    """

    source: Source
    standard_uncertainty: float
    share: float


@dataclass(frozen=True, slots=True, eq=False)
class Budget(Tree, Table, Sequence[Contribution]):
    """What makes one reading uncertain: its contributions, the largest first.

    A sequence of them; the shares add up to 1. Empty when the reading is absent or
    exact. As a table it has one row for each contribution: ``kind``, ``stage``,
    ``station``, ``wheel``, ``standard_uncertainty``, ``unit`` and ``share``.

    Attributes
    ----------
    path : str
        The path of the reading.
    unit : str
        Its unit: ``deg``, ``mm`` or ``1``.
    standard_uncertainty : float or None
        Its standard uncertainty in that unit; None when it is absent.
    contributions : tuple of Contribution
        What each input contributes.
    """

    path: str
    unit: str
    standard_uncertainty: float | None
    contributions: tuple[Contribution, ...]

    @overload
    def __getitem__(self, index: int) -> Contribution: ...
    @overload
    def __getitem__(self, index: slice) -> tuple[Contribution, ...]: ...
    def __getitem__(
        self, index: int | slice
    ) -> Contribution | tuple[Contribution, ...]:
        return self.contributions[index]

    def __len__(self) -> int:
        return len(self.contributions)

    def _columns(self) -> list[Column]:
        sources = [part.source for part in self.contributions]
        worth = [part.standard_uncertainty for part in self.contributions]
        return [
            Column("kind", "text", [source.kind for source in sources]),
            Column("stage", "text", [source.stage for source in sources]),
            Column("station", "count", [source.station for source in sources]),
            Column("wheel", "text", [source.wheel for source in sources]),
            Column("standard_uncertainty", "number", worth),
            Column("unit", "text", [self.unit for _ in sources]),
            Column("share", "number", [part.share for part in self.contributions]),
        ]

    def plot(self, *, ax: Axes | None = None) -> Axes:
        """Draw what each input contributes, and what they make together.

        A bar is the standard uncertainty that the reading would have from this input
        alone; the last one is the root of their sum of squares. Of a long budget the
        least contributions stand together.

        Parameters
        ----------
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

        return _plots.budget(self, ax)


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Uncertainty(Value, Table):
    """What `propagate` returns: a measurement, and what each of its readings is worth.

    Paths are those of `READINGS`. Readings that are absent are None. Two are equal when
    their sessions are; a copy by `pickle` is computed anew of the session, to the same
    bits.

    As a table it has one row for each of `READINGS`: ``path``, ``value``, ``unit``,
    ``standard_uncertainty``, ``degrees_of_freedom`` and, for 95 %,
    ``expanded_uncertainty``.

    Attributes
    ----------
    measurement : Measurement
        The measurement itself.
    standard : Alignment
        The standard uncertainty of every reading, in its own unit, under the same
        path.
    degrees_of_freedom : Alignment
        The effective degrees of freedom of every standard uncertainty: `math.inf`
        where the noise is known.
    """

    measurement: Measurement
    standard: Alignment
    degrees_of_freedom: Alignment
    _known: _native.Uncertainty

    def __eq__(self, other: object) -> bool:
        """Compare the sessions, of which all the rest follows."""
        if not isinstance(other, Uncertainty):
            return NotImplemented
        return self._known.session() == other._known.session()

    def __hash__(self) -> int:
        """Hash the session."""
        return hash(self._known.session())

    def __copy__(self) -> Uncertainty:
        """Return the very same, since nothing in it can change."""
        return self

    def __deepcopy__(self, memo: object) -> Uncertainty:
        """Return the very same, since nothing in it can change."""
        return self

    def __reduce__(self) -> tuple[Callable[[str], Uncertainty], tuple[str]]:
        """Keep the session."""
        return propagate, (self._known.session(),)

    def expanded(self, path: str, probability: float = 0.95) -> Expanded | None:
        """Return the expanded uncertainty of a reading for a coverage probability.

        The factor is by Student's t, for the degrees of freedom rounded down.

        Raises
        ------
        UnknownReadingError
            No reading has this path.
        NotFiniteError, OutOfRangeError
            A probability that is none, or outside 0 to 1 − 1e-9.
        """
        both = self._known.expanded(path, probability)
        return None if both is None else Expanded(*both)

    def expanded_tree(self, probability: float = 0.95) -> Alignment:
        """Return the expanded uncertainty of every reading, under the same path.

        Raises
        ------
        NotFiniteError, OutOfRangeError
            A probability that is none, or outside 0 to 1 − 1e-9.
        """
        return from_json(Alignment, self._known.expanded_tree(probability))

    def budget(self, path: str) -> Budget:
        """Return what each input contributes to a reading, the largest first.

        The poses of one wheel and stage stand together.

        Raises
        ------
        UnknownReadingError
            No reading has this path.
        """
        return self._budget(path, self._known.budget(path))

    def budget_by_pose(self, path: str) -> Budget:
        """Return the budget pose by pose: which station to take with more care.

        Raises
        ------
        UnknownReadingError
            No reading has this path.
        """
        return self._budget(path, self._known.budget_by_pose(path))

    def _budget(self, path: str, contributions: str) -> Budget:
        parts = tuple(
            Contribution(**one | {"source": _source(one["source"])})
            for one in json.loads(contributions)
        )
        return Budget(path, unit(path), self.standard.get(path), parts)

    def covariance(self, path: str, other: str) -> float | None:
        """Return the covariance of two readings, in the product of their units.

        Raises
        ------
        UnknownReadingError
            No reading has this path.
        """
        return self._known.covariance(path, other)

    def correlation(self, path: str, other: str) -> float | None:
        """Return the correlation of two readings, −1 to 1; None if one is exact.

        Raises
        ------
        UnknownReadingError
            No reading has this path.
        """
        return self._known.correlation(path, other)

    def covariance_matrix(self) -> list[list[float]]:
        """Return the covariance of all `READINGS`, in the products of their units.

        Zero where a reading is absent.
        """
        return self._known.covariance_matrix()

    def to_dict(self) -> dict[str, object]:
        """Return all but the covariances as plain dicts and lists.

        ``measurement`` as its own `to_dict`, ``standard`` and ``degrees_of_freedom``.
        """
        return {
            "measurement": plain(self.measurement),
            "standard": plain(self.standard),
            "degrees_of_freedom": plain(self.degrees_of_freedom),
        }

    def _columns(self) -> list[Column]:
        expanded = self.expanded_tree().values()
        return [
            *self.measurement._columns(),
            Column("standard_uncertainty", "number", self.standard.values()),
            Column("degrees_of_freedom", "number", self.degrees_of_freedom.values()),
            Column("expanded_uncertainty", "number", expanded),
        ]

    def __repr__(self) -> str:
        return table("Uncertainty", self.measurement, self.expanded_tree())

    def _repr_html_(self) -> str:
        from wheel_alignment import _html

        return _html.page(self.measurement, self.expanded_tree(), "Uncertainty")


def _source(tree: str | dict[str, str | dict[str, str | int | None]]) -> Source:
    if isinstance(tree, str):
        return Source(tree)
    ((kind, of),) = tree.items()
    of = {"wheel": of} if isinstance(of, str) else of
    return build(Source, {"kind": kind, **of})


def propagate(
    session: SessionLike, *, method: Literal["staged", "joint"] | None = None
) -> Uncertainty:
    """Measure a car, and say what each reading is worth.

    By the law of propagation, from the noise of every pose and the
    ``input_uncertainty`` of the session, through the whole chain, to first order.

    Parameters
    ----------
    session : Session, mapping, str or path-like
        What the rig hands over, as `measure` takes it. ``pose_noise`` states how much
        a pose scatters, per axis or as a 6×6 ``covariance`` in deg and mm; a pose may
        have a ``covariance`` of its own; without either it is estimated from the
        frames.
    method : {"staged", "joint"}, optional
        As `measure` takes it.

    Returns
    -------
    Uncertainty
        Standard and expanded uncertainties, budgets and covariances.

    Raises
    ------
    MissingInputError
        The noise of the poses is not stated, and a wheel was seen in a single frame.
    NotACovarianceError
        A covariance is none.
    AlignmentError
        As `measure`:
        `NotFiniteError`, `NotARotationError`, `ReflectionError`,
        `LengthOutOfRangeError`, `NotUnitLengthError`, `AngleOutOfRangeError`,
        `WheelNotSeenError`, `TooFewStationsError`, `RollTooSmallError`,
        `RollFullTurnError`, `SweepTooSmallError`, `UpInvertedError`,
        `SidesSwappedError`, `EndsSwappedError`, `MirroredError`,
        `SpindleNotLateralError`, `NotStillError`, `DifferentVehiclesError`,
        `RearWheelSteerError`, `TooManyError`, `ContradictionError`,
        `NotDeterminedError` or `NotConvergedError`.

    Notes
    -----
    The uncertainty covers what the inputs say. It knows nothing of a target that
    slipped: the warnings of the measurement do. The interpreter is free for other
    threads meanwhile.

    Examples
    --------
    A flawless car, whose targets sit on the wheel centres:

    >>> import math
    >>> from wheel_alignment import uncertainty
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
    ...     "pose_noise": {"rotation_deg": 0.005, "translation_mm": 0.05},
    ...     "input_uncertainty": {"up_deg": 0.005},
    ...     "rolling": [station(0), station(20), station(40)],
    ...     "ahead": station(0),
    ... }
    >>> known = uncertainty.propagate(session)
    >>> print(f"{known.standard.wheels.fl.camber_deg:.4f}°")
    0.0125°
    >>> camber = known.expanded("wheels.fl.camber_deg", 0.95)
    >>> print(f"{camber.coverage_factor:.2f}, {camber.expanded_uncertainty:.3f}°")
    1.96, 0.024°
    >>> for part in known.budget("wheels.fl.camber_deg"):
    ...     print(f"{part.source.kind} {part.source.stage}: {100 * part.share:.0f} %")
    poses rolling: 68 %
    poses ahead: 16 %
    up None: 16 %
    """
    native = _native.propagate(_inputs.session(session), method)
    standard = json.loads(native.standard())
    freedom = with_infinities(json.loads(native.degrees_of_freedom()), standard)
    return Uncertainty(
        from_json(Measurement, native.measurement()),
        build(Alignment, standard),
        build(Alignment, freedom),
        native,
    )


class Plan(TypedDict, total=False):
    """How a car is to be measured: the keywords of `plan` and `reach`.

    Attributes
    ----------
    pose_noise : PoseNoise or mapping
        How much a single frame scatters; 0.005° and 0.05 mm by default.
    frames : int
        How many frames of each wheel are averaged at each station; 1.
    compensation : str
        Whether the car is ``rolled`` or its wheels are ``spun``; ``rolled``.
    roll_range_deg : float
        From the first rolling station to the last, degrees of roll; 54.
    roll_stations : int
        How many rolling stations there are, evenly spaced; 5.
    sweep_range_deg : float
        From one end of the sweep to the other, degrees of mean steer; 40.
    sweep_stations : int
        How many stations the sweep has, evenly spaced; 9, and 0 for no sweep.
    sweep_wheels_locked : bool
        Whether the brake holds the wheels in the sweep; True.
    input_uncertainty : InputUncertainty or mapping
        How well the rig knows its other inputs; exactly.
    method : str
        How the readings are to be estimated, ``staged`` or ``joint``; ``staged``.
    wheelbase_mm, track_mm, rolling_radius_mm : float
        The size of the car, which hardly matters; 2620, 1540 and 308 mm.
    """

    pose_noise: PoseNoise | Mapping[str, float]
    frames: int
    compensation: str
    roll_range_deg: float
    roll_stations: int
    sweep_range_deg: float
    sweep_stations: int
    sweep_wheels_locked: bool
    input_uncertainty: InputUncertainty | Mapping[str, object]
    method: str
    wheelbase_mm: float
    track_mm: float
    rolling_radius_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class Reach(Value):
    """How far to roll and to sweep.

    Attributes
    ----------
    roll_range_deg : float or None
        The least roll from one end to the other, degrees, for camber, toe and thrust
        angle. None when no roll is enough, and more frames are the remedy.
    wheels_expanded_deg : float
        The largest expanded uncertainty of these at that roll, or else at the longest,
        degrees.
    sweep_range_deg : float or None
        The least sweep from one end to the other, degrees, for caster and SAI, after
        that roll. None when no sweep is enough, or none is planned.
    steering_expanded_deg : float or None
        The largest expanded uncertainty of caster and SAI at that sweep, or else at
        the longest, degrees; None when no sweep is planned.
    """

    roll_range_deg: float | None
    wheels_expanded_deg: float
    sweep_range_deg: float | None
    steering_expanded_deg: float | None


def plan(**planned: Unpack[Plan]) -> Alignment:
    """Say what a measurement will be worth, before anyone touches a car.

    Parameters
    ----------
    **planned
        How the car is to be measured, each with its default: see `Plan`.

    Returns
    -------
    Alignment
        The standard uncertainty of every reading, under the reading's path.

    Raises
    ------
    OutOfRangeError
        A range or a number of stations or frames that no measurement has.
    LengthOutOfRangeError
        A size that no car has.
    AngleOutOfRangeError, SweepTooSmallError, RollTooSmallError
        As `measure`.
    NotDeterminedError, NotConvergedError
        By the joint method, as `measure`.
    NotFiniteError
        A number is not finite.

    Examples
    --------
    >>> from wheel_alignment import uncertainty
    >>> short = uncertainty.plan(roll_range_deg=20)
    >>> long = uncertainty.plan(roll_range_deg=60)
    >>> long.wheels.fl.camber_deg < short.wheels.fl.camber_deg
    True
    """
    return from_json(Alignment, _native.plan(planned))


def reach(
    expanded_uncertainty_deg: float,
    coverage_factor: float = 2.0,
    **planned: Unpack[Plan],
) -> Reach:
    """Find how far to roll and to sweep for what a measurement shall be worth.

    The inverse of `plan`, for camber, toe, thrust angle, caster and SAI.

    Parameters
    ----------
    expanded_uncertainty_deg : float
        The expanded uncertainty U that each of them may have, degrees.
    coverage_factor : float
        The k of U = k·u.
    **planned
        All else as planned: see `Plan`. The ranges do not matter.

    Returns
    -------
    Reach
        The least roll and the least sweep, degrees.

    Raises
    ------
    OutOfRangeError
        As `plan`; an uncertainty or a factor that is not positive.
    LengthOutOfRangeError, AngleOutOfRangeError, NotFiniteError
        As `plan`.
    SweepTooSmallError, RollTooSmallError, NotDeterminedError, NotConvergedError
        As `plan`.

    Examples
    --------
    >>> from wheel_alignment import uncertainty
    >>> reach = uncertainty.reach(0.02)
    >>> print(f"{reach.roll_range_deg:.0f}° {reach.sweep_range_deg:.0f}°")
    58° 30°
    """
    text = _native.reach(planned, expanded_uncertainty_deg, coverage_factor)
    return from_json(Reach, text)


@dataclass(frozen=True, slots=True, eq=False)
class Trials(Value):
    """What the trials of a session gave, beside the law of propagation.

    Attributes
    ----------
    paths : tuple of str
        The readings that were watched, by their paths.
    simulation : Simulation
        Their distributions, in the same order.
    agreement : tuple of Agreement
        How far the law of propagation is from each, in the same order.
    """

    paths: tuple[str, ...]
    simulation: Simulation
    agreement: tuple[Agreement, ...]


def monte_carlo(
    session: SessionLike,
    paths: Sequence[str],
    *,
    probability: float = 0.95,
    significant_digits: int = 2,
    most_trials: int = 10_000_000,
    seed: int = 0,
    method: Literal["staged", "joint"] | None = None,
    progress: Callable[[int], object] | None = None,
) -> Trials:
    """Measure a session again and again, every input drawn from what is known of it.

    The check on `propagate`: trials go on until the readings that are watched stand
    still. The same seed gives the same bits, on every platform.

    Parameters
    ----------
    session : Session, mapping, str or path-like
        What the rig hands over, as `propagate` takes it.
    paths : sequence of str
        The readings to watch, of `READINGS`; a text is one of them.
    probability : float
        The probability that an interval is to hold.
    significant_digits : int
        So many digits of the standard uncertainty are to stand still, 1 to 4. Each
        further digit takes a hundred times as many trials.
    most_trials : int
        The most trials of the run, 100 000 to 10 million. 8 bytes are kept for each of
        them and each reading.
    seed : int
        The seed of the trials, 0 to 2**64 − 1.
    method : {"staged", "joint"}, optional
        As `measure` takes it.
    progress : callable, optional
        Called some ten times a second with the number of trials made since the last
        call, as the ``update`` of a progress bar takes it. How many there will be is
        not known beforehand. An exception that it raises ends the run.

    Returns
    -------
    Trials
        The distributions, and how far the law of propagation is from them: judged at
        the digits asked for, of which the run settles to half.

    Raises
    ------
    NotSettledError
        The trials allowed are used up.
    UnknownReadingError
        No reading has this path.
    MissingInputError
        A reading that is watched is absent; or as `propagate`.
    OutOfRangeError
        A setting that no run has.
    AlignmentError
        As `propagate`:
        `NotFiniteError`, `NotARotationError`, `ReflectionError`,
        `LengthOutOfRangeError`, `NotUnitLengthError`, `AngleOutOfRangeError`,
        `WheelNotSeenError`, `TooFewStationsError`, `RollTooSmallError`,
        `RollFullTurnError`, `SweepTooSmallError`, `UpInvertedError`,
        `SidesSwappedError`, `EndsSwappedError`, `MirroredError`,
        `SpindleNotLateralError`, `NotStillError`, `DifferentVehiclesError`,
        `RearWheelSteerError`, `TooManyError`, `ContradictionError`,
        `NotACovarianceError`, `NotDeterminedError` or `NotConvergedError`.

    Notes
    -----
    The interpreter is free for other threads meanwhile. A run takes some hundred
    thousand measurements, or millions at worst; Ctrl-C ends it.

    Examples
    --------
    >>> from wheel_alignment import uncertainty
    >>> trials = uncertainty.monte_carlo(
    ...     session, ["wheels.fl.camber_deg"]
    ... )  # doctest: +SKIP
    >>> trials.agreement[0].agrees  # doctest: +SKIP
    True
    """
    settings: Mapping[str, object] = {
        "probability": probability,
        "significant_digits": significant_digits,
        "most_trials": most_trials,
        "seed": seed,
    }
    watched = [paths] if isinstance(paths, str) else [*map(_path, paths)]
    text = _native.monte_carlo(
        _inputs.session(session), watched, settings, method, progress
    )
    return from_json(Trials, text)


def _path(path: object) -> str:
    # The first that is none ends it, before a long array of them fills the memory.
    if not isinstance(path, str):
        raise TypeError(f"a path is a text, not {type(path).__qualname__}")
    return path
