"""Many records in one call: readings from four poses, and whole sessions, as arrays.

A record is one car at one moment, or one session. Records come as the first axis of
arrays; each reading is an array with one number per record, of the same bits as when
the record is measured by itself. A record that is refused keeps its place: its readings
are NaN, and its code says why.

The work is done without the interpreter, on all cores. The numbers do not depend on how
many there are.

Arrays of float64 that are contiguous in C order are read where they lie; all others
are converted to that first, which takes as much memory again.

One array of poses may be larger than memory allows: split it, and call the functions
here on its parts, on one machine or on many. Nothing is kept between calls.
"""

from __future__ import annotations

import operator
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Final, Literal, TypedDict, cast, final

from wheel_alignment import _arrays, _native
from wheel_alignment._tables import extra
from wheel_alignment.paths import READINGS

if TYPE_CHECKING:
    import numpy
    import pandas
    import polars
    import pyarrow
    from numpy.typing import ArrayLike, NDArray
    from typing_extensions import Unpack

    from wheel_alignment._types import Array, Codes
    from wheel_alignment.alignment import Alignment
    from wheel_alignment.compensation import ClampCompensation, Compensation
    from wheel_alignment.pose import PoseLike
    from wheel_alignment.session import ByAxle, ByWheel, PerWheel, SessionKeys

__all__ = ["Clamps", "Readings", "Tree", "ahead_readings", "measure"]

_WHEELS: Final = ("fl", "fr", "rl", "rr")


class Clamps(TypedDict, total=False):
    """Where the wheels sit in their targets, as arrays: fl, fr, rl, rr.

    Attributes
    ----------
    spindle_in_target : array-like of shape (4, 3) or (N, 4, 3)
        The spindles, unit vectors outward, in the target frames; for all records, or
        for each.
    centre_in_target_mm : array-like of shape (4, 3) or (N, 4, 3)
        The wheel centres in the target frames, mm.
    rolling_radius_mm : array-like of shape (4,) or (N, 4)
        The rolling radii, mm: NaN, or left out, where there are none.
    """

    spindle_in_target: ArrayLike
    centre_in_target_mm: ArrayLike
    rolling_radius_mm: ArrayLike


@final
class Tree:
    """A part of the tree of readings, with arrays as its leaves.

    Attributes are those of the tree that one session has: further parts, arrays of
    shape (N,), and arrays of shape (N, 3) for vectors. What was not asked for is None.
    """

    __slots__ = ("_prefix", "_readings")

    def __init__(self, readings: Readings, prefix: str) -> None:
        self._readings: Final = readings
        self._prefix: Final = prefix

    def __getattr__(self, name: str) -> Tree | Array | None:
        path = f"{self._prefix}{name}"
        if any(reading.startswith(f"{path}.") for reading in READINGS):
            return Tree(self._readings, f"{path}.")
        if path not in READINGS and f"{path}[0]" not in READINGS:
            raise AttributeError(f"there is no reading {path}", name=name, obj=self)
        return self._readings.get(path)

    def __dir__(self) -> list[str]:
        below = (r for r in READINGS if r.startswith(self._prefix))
        names = (reading[len(self._prefix) :] for reading in below)
        return sorted({name.partition(".")[0].partition("[")[0] for name in names})

    def __repr__(self) -> str:
        return f"<Tree {self._prefix}{{{', '.join(dir(self))}}}>"


@final
class Readings(Mapping[str, "Array"]):
    """Readings of many records: a mapping from their paths to arrays.

    A vector can be had whole, ``readings["wheels.fl.centre_mm"]`` of shape (N, 3), or
    by components, ``readings["wheels.fl.centre_mm[0]"]``.

    Attributes
    ----------
    paths : tuple of str
        The readings that were asked for.
    numbers : numpy.ndarray of float64, shape (len(paths), N)
        The numbers, one row for each path: NaN where a record has no such reading, and
        where it is refused. All arrays of readings are views of it.
    codes : numpy.ndarray of int32, shape (N,)
        The `ErrorCode` of each record; 0 where it was measured.
    warnings : numpy.ndarray of uint32, shape (N,)
        What is weak in each record, a bit for each `WarningCode`:
        ``1 << (number - 1)``.

    Examples
    --------
    >>> import numpy as np
    >>> from wheel_alignment import batch
    >>> from wheel_alignment.simulate import VirtualVehicle
    >>> poses = VirtualVehicle().session().to_arrays()
    >>> three = {stage: np.stack([poses[stage]] * 3) for stage in ("rolling", "ahead")}
    >>> readings = batch.measure(**three, up=[0, 0, 1], clamp_standoff_mm=90)
    >>> readings["axles.front.total_toe_deg"].round(3)
    array([0.2, 0.2, 0.2])
    >>> readings.alignment.chassis.thrust_angle_deg.shape
    (3,)
    >>> readings.codes
    array([0, 0, 0], dtype=int32)
    """

    __slots__ = ("_rows", "codes", "numbers", "paths", "warnings")

    def __init__(
        self,
        paths: tuple[str, ...],
        numbers: Array,
        codes: Codes,
        warnings: NDArray[numpy.uint32],
    ) -> None:
        self.paths: Final = paths
        self.numbers: Final = numbers
        self.codes: Final = codes
        self.warnings: Final = warnings
        self._rows: Final = {path: row for row, path in enumerate(paths)}

    @property
    def records(self) -> int:
        """How many records there are."""
        return int(self.codes.shape[0])

    @property
    def alignment(self) -> Tree:
        """The readings as the tree that one session has, with arrays as its leaves."""
        return Tree(self, "")

    def __getitem__(self, path: str) -> Array:
        row = self._rows.get(path)
        if row is not None:
            column: Array = self.numbers[row]
            return column
        if f"{path}[0]" in self._rows:
            first = self._rows[f"{path}[0]"]
            if self.paths[first : first + 3] == tuple(f"{path}[{i}]" for i in range(3)):
                vectors: Array = self.numbers[first : first + 3].T
                return vectors
        if path not in READINGS and f"{path}[0]" not in READINGS:
            _native.position(path)  # raises the error that teaches
        raise KeyError(f"{path} was not asked for")

    def __contains__(self, path: object) -> bool:
        if not isinstance(path, str):
            return False
        return path in self._rows or all(f"{path}[{i}]" in self._rows for i in range(3))

    def __iter__(self) -> Iterator[str]:
        return iter(self.paths)

    def __len__(self) -> int:
        return len(self.paths)

    def __repr__(self) -> str:
        refused = int((self.codes != 0).sum())
        return (
            f"<Readings: {len(self.paths)} of {self.records} records, "
            f"{refused} refused>"
        )

    def record(self, index: int) -> Alignment:
        """Return the readings of one record, in their tree; None where absent."""
        from wheel_alignment.alignment import Alignment

        column = self.numbers[:, operator.index(index)]
        given = {
            path: float(value) for path, value in zip(self.paths, column, strict=True)
        }
        every = (given.get(path, float("nan")) for path in READINGS)
        return Alignment.from_values([None if v != v else v for v in every])

    def to_dict(self) -> dict[str, Array | Codes | NDArray[numpy.uint32]]:
        """Return a dict of columns: the readings by their paths, code and warnings."""
        return {**self, "code": self.codes, "warnings": self.warnings}

    def to_pandas(self) -> pandas.DataFrame:
        """Return a pandas DataFrame, one row per record. It shares no memory."""
        with extra("pandas"):
            import pandas as pd

        frame = pd.DataFrame(self.numbers.T, columns=list(self.paths), copy=True)
        return frame.assign(code=self.codes, warnings=self.warnings)

    def to_polars(self) -> polars.DataFrame:
        """Return a polars DataFrame, one row per record; NaN stays NaN."""
        with extra("polars"):
            import polars as pl

        return pl.DataFrame(self.to_dict())

    def to_arrow(self) -> pyarrow.Table:
        """Return a pyarrow Table, one row per record; NaN stays NaN."""
        with extra("arrow"):
            import pyarrow as pa

        return pa.table(
            {name: pa.array(column) for name, column in self.to_dict().items()}
        )


def ahead_readings(
    poses: PoseLike,
    *,
    compensation: ClampCompensation | ByWheel[Compensation] | Clamps,
    up: ArrayLike,
    loaded_radius_mm: float
    | ByAxle[float | None]
    | Mapping[str, float | None]
    | None = None,
    centreline: Literal["axle_midpoints", "side_line_bisector"] = "axle_midpoints",
    readings: Sequence[str] | None = None,
    on_error: Literal["codes", "raise"] = "codes",
    threads: int | None = None,
    progress: Callable[[int], object] | None = None,
    out: Readings | None = None,
) -> Readings:
    """Camber, toe, thrust line, setback and dimensions of cars straight ahead.

    The readings, and their bits, are those of `wheel_alignment.vehicle.ahead_readings`.

    Parameters
    ----------
    poses : array-like of shape (N, 4, 4, 4), or pose-like of shape (N, 4)
        ``rig_from_target`` by record and wheel, fl, fr, rl, rr.
    compensation : ClampCompensation, ByWheel of Compensation, or Clamps
        Where each wheel sits in its target: as rolling found it for all records, or as
        arrays for each.
    up : array-like of shape (3,) or (N, 3)
        Unit vector upward in the rig frame.
    loaded_radius_mm : float, or by axle, optional
        Loaded radius, mm: of both axles, or ``front`` and ``rear``. The rolling radius
        stands in.
    centreline : {"axle_midpoints", "side_line_bisector"}, optional
        How the centreline is defined.
    readings : sequence of str, optional
        The paths of the readings that are wanted, of `READINGS`; all that the poses
        give when left out.
    on_error : {"codes", "raise"}, optional
        What is done with a record that is refused: it gets its code, or its error is
        raised. The error of the first one is raised, with its ``index``.
    threads : int, optional
        How many cores may work; all of them when left out.
    progress : callable, optional
        Called now and then with the number of records done since the last call, as in
        ``with tqdm(total=N) as bar: ahead_readings(..., progress=bar.update)``.
    out : Readings, optional
        Readings of an earlier call, of as many records and the same paths. Their arrays
        are written again, which saves the system finding new memory: for a stream of
        equal parts. After an exception they hold neither.

    Returns
    -------
    Readings
        One array per reading; ``out`` if it is given.

    Raises
    ------
    UnknownReadingError
        No reading has this path.
    LengthOutOfRangeError, NotFiniteError
        A loaded radius that no wheel has.
    ContradictionError
        Of records that do not fit together; here their shapes tell before.
    AlignmentError
        With ``"raise"``: the error of the first record that is refused.
    TypeError, ValueError
        Not numbers, or not the shapes above: the message says what was found.
    KeyboardInterrupt
        Ctrl-C ends the work within a moment.

    Examples
    --------
    >>> import numpy as np
    >>> from wheel_alignment import batch
    >>> poses = np.zeros((1, 4, 4, 4)) + np.eye(4)
    >>> front, rear = [[2700, 760], [2700, -760]], [[0, 750], [0, -750]]
    >>> poses[0, :, :2, 3] = front + rear
    >>> poses[0, :, 2, 3] = 310
    >>> side = np.array([1, -1, 1, -1])
    >>> clamps = {
    ...     "spindle_in_target": np.outer(side, [0, 1, 0]),
    ...     "centre_in_target_mm": np.zeros((4, 3)),
    ... }
    >>> readings = batch.ahead_readings(poses, compensation=clamps, up=[0, 0, 1])
    >>> readings["axles.front.track_mm"]
    array([1520.])
    """
    import numpy as np

    matrices = _poses(poses, "poses", 4)
    count = matrices.shape[0]
    clamps = _clamps(compensation)
    radius = clamps.get("rolling_radius_mm", np.full(4, np.nan))
    paths = _paths(readings, _OF_POSES)
    results = _native.ahead_records(
        matrices,
        _each(clamps["spindle_in_target"], (4, 3), count, "spindle_in_target"),
        _each(clamps["centre_in_target_mm"], (4, 3), count, "centre_in_target_mm"),
        _each(radius, (4,), count, "rolling_radius_mm"),
        _each(up, (3,), count, "up"),
        _radii(loaded_radius_mm),
        centreline,
        *_how(paths, on_error, threads, progress),
        _room(out, paths, count),
    )
    return Readings(paths, *results) if out is None else out


def measure(
    *,
    rolling: PoseLike,
    ahead: PoseLike,
    sweep: PoseLike | None = None,
    lock_left: PoseLike | None = None,
    lock_right: PoseLike | None = None,
    clamp_standoff_mm: PerWheel | ArrayLike,
    readings: Sequence[str] | None = None,
    on_error: Literal["codes", "raise"] = "codes",
    threads: int | None = None,
    progress: Callable[[int], object] | None = None,
    out: Readings | None = None,
    **keys: Unpack[SessionKeys],
) -> Readings:
    """Every reading of many sessions that have as many stations each.

    The readings, and their bits, are those of `wheel_alignment.measure`.

    Parameters
    ----------
    rolling : array-like of shape (N, S, 4, 4, 4), or pose-like of shape (N, S, 4)
        ``rig_from_target`` by record, station and wheel, fl, fr, rl, rr. Sixteen times
        NaN is a wheel that was not seen.
    ahead : array-like of shape (N, 4, 4, 4), or pose-like of shape (N, 4)
        The station straight ahead.
    sweep : as rolling, optional
        The stations of the sweep.
    lock_left, lock_right : as ahead, optional
        Full lock to either side.
    clamp_standoff_mm : float, array-like of shape (4,) or (N, 4), or by wheel
        From the wheel's centre plane outward to the target's origin, mm.
    readings : sequence of str, optional
        The paths of the readings that are wanted, of `READINGS`; all of them when left
        out, but those of a stage that is not there.
    on_error : {"codes", "raise"}, optional
        What is done with a record that is refused: it gets its code, or its error is
        raised. The error of the first one is raised, with its ``index``.
    threads : int, optional
        How many cores may work; all of them when left out.
    progress : callable, optional
        Called now and then with the number of records done since the last call, as in
        ``with tqdm(total=N) as bar: measure(..., progress=bar.update)``.
    out : Readings, optional
        Readings of an earlier call, of as many records and the same paths. Their arrays
        are written again, which saves the system finding new memory: for a stream of
        equal parts. After an exception they hold neither.
    **keys
        What else the sessions say: `SessionKeys`. ``up`` may be of shape (N, 3); all
        else holds for every session.

    Returns
    -------
    Readings
        One array per reading; ``out`` if it is given.

    Raises
    ------
    UnknownReadingError
        No reading has this path.
    ContradictionError
        Of records that do not fit together; here their shapes tell before.
    AlignmentError
        What is wrong with what all sessions say; with ``"raise"`` also the error of the
        first record that is refused.
    TypeError, ValueError
        Not numbers, or not the shapes above: the message says what was found.
    KeyboardInterrupt
        Ctrl-C ends the work within a moment.

    Examples
    --------
    >>> import numpy as np
    >>> from wheel_alignment import batch, simulate
    >>> cars = [simulate.VirtualVehicle.random(seed) for seed in range(4)]
    >>> sessions = [car.session() for car in cars]
    >>> poses = [session.to_arrays() for session in sessions]
    >>> keys = [session.to_dict() for session in sessions]
    >>> stages = ("rolling", "ahead", "sweep")
    >>> readings = batch.measure(
    ...     **{stage: np.stack([one[stage] for one in poses]) for stage in stages},
    ...     sweep_wheels_locked=True,
    ...     up=[key["up"] for key in keys],
    ...     clamp_standoff_mm=[
    ...         [key["clamp_standoff_mm"][wheel] for wheel in ("fl", "fr", "rl", "rr")]
    ...         for key in keys
    ...     ],
    ... )
    >>> caster_deg = readings["steering.left.caster_deg"]
    >>> truth_deg = [car.truth().steering.left.caster_deg for car in cars]
    >>> bool(np.allclose(caster_deg, truth_deg, atol=1e-9))
    True
    """
    import numpy as np

    from wheel_alignment.session import Session

    straight = _poses(ahead, "ahead", 4)
    count = straight.shape[0]
    rolled = _poses(rolling, "rolling", 5, count)
    swept = None if sweep is None else _poses(sweep, "sweep", 5, count)
    left = None if lock_left is None else _poses(lock_left, "lock_left", 4, count)
    right = None if lock_right is None else _poses(lock_right, "lock_right", 4, count)
    up = keys.get("up")
    if up is not None:
        up = _each(up, (3,), count, "up")
        keys["up"] = up[0] if len(up) else [0.0, 0.0, 1.0]
    standoffs = _standoffs(clamp_standoff_mm, count)
    settings = Session.from_arrays(
        rolling=np.empty((0, 4, 4, 4)),
        ahead=np.full((4, 4, 4), np.nan),
        clamp_standoff_mm=standoffs[0] if len(standoffs) else 0.0,
        **keys,
    )
    locks = left is not None or right is not None
    default = tuple(
        path
        for path in READINGS
        if _is_given(path, sweep=swept is not None, locks=locks)
    )
    paths = _paths(readings, default)
    results = _native.measure_records(
        settings._core,
        rolled,
        straight,
        swept,
        left,
        right,
        up,
        standoffs,
        *_how(paths, on_error, threads, progress),
        _room(out, paths, count),
    )
    return Readings(paths, *results) if out is None else out


def _poses(given: PoseLike, what: str, axes: int, count: int | None = None) -> Array:
    """Return poses as a contiguous array of 4×4 matrices: the caller's, if it is."""
    import numpy as np

    from wheel_alignment.pose import as_matrix4

    if isinstance(given, np.ndarray) and given.shape[-2:] == (4, 4):
        # The native half looks at every row by itself.
        matrices = _arrays.floats(given, what)
    else:
        matrices = as_matrix4(given)
    stations = ", S" if axes == 5 else ""
    if matrices.ndim != axes or matrices.shape[-3] != 4:
        raise ValueError(
            f"{what}: poses of shape (N{stations}, 4, 4, 4), record{stations} and "
            f"wheel first, are needed, not {matrices.shape}"
        )
    if count is not None and matrices.shape[0] != count:
        raise ValueError(
            f"{what}: {matrices.shape[0]} records, but ahead has {count} of them"
        )
    return np.ascontiguousarray(matrices)


def _each(given: ArrayLike, shape: tuple[int, ...], count: int, what: str) -> Array:
    """Return what holds for all records, or for each, with the records in front."""
    import numpy as np

    array = _arrays.floats(given, what)
    if array.shape == shape:
        array = array[None]
    if array.shape[1:] != shape or array.shape[0] not in (1, count):
        each = ", ".join(map(str, ("N", *shape)))
        raise ValueError(
            f"{what}: shape {shape} for all records, or ({each}) for each of {count}, "
            f"is needed, not {np.shape(given)}"
        )
    return np.ascontiguousarray(array)


def _standoffs(given: PerWheel | ArrayLike, count: int) -> Array:
    import numpy as np

    from wheel_alignment import _stations
    from wheel_alignment.session import ByWheel

    if not isinstance(given, (Mapping, ByWheel)) and np.ndim(given) == 2:
        return _each(given, (4,), count, "clamp_standoff_mm")
    if isinstance(given, ByWheel):
        return np.array(
            [[getattr(given, wheel) for wheel in _WHEELS]], dtype=np.float64
        )
    four = cast("Mapping[str, float]", _stations.per_wheel(given, "clamp_standoff_mm"))
    if set(four) != set(_WHEELS):
        raise ValueError(f"clamp_standoff_mm: {', '.join(_WHEELS)} are needed")
    return np.array([[four[wheel] for wheel in _WHEELS]], dtype=np.float64)


def _clamps(
    compensation: ClampCompensation | ByWheel[Compensation] | Clamps,
) -> Mapping[str, ArrayLike]:
    import numpy as np

    from wheel_alignment.compensation import ClampCompensation
    from wheel_alignment.session import ByWheel

    if isinstance(compensation, ClampCompensation):
        compensation = compensation.all_wheels()
    if isinstance(compensation, ByWheel):
        wheels = [getattr(compensation, wheel) for wheel in _WHEELS]
        radii = [wheel.rolling_radius_mm for wheel in wheels]
        return {
            "spindle_in_target": [wheel.spindle_in_target for wheel in wheels],
            "centre_in_target_mm": [wheel.centre_in_target_mm for wheel in wheels],
            "rolling_radius_mm": [np.nan if r is None else r for r in radii],
        }
    if not isinstance(compensation, Mapping):
        kind = type(compensation).__qualname__
        raise TypeError(
            "compensation: a ClampCompensation, a ByWheel of Compensation or a mapping "
            f"of arrays is needed, not {kind}"
        )
    known, needed = Clamps.__annotations__, ("spindle_in_target", "centre_in_target_mm")
    for key in compensation:
        if key not in known:
            raise ValueError(
                f"compensation: unknown key {key!r}; known: {', '.join(known)}"
            )
    for key in needed:
        if key not in compensation:
            raise ValueError(f"compensation: {key} is missing")
    return compensation  # type: ignore[return-value]


def _radii(
    given: float | ByAxle[float | None] | Mapping[str, float | None] | None,
) -> tuple[float | None, float | None]:
    from wheel_alignment.session import ByAxle

    if isinstance(given, ByAxle):
        given = {"front": given.front, "rear": given.rear}
    if not isinstance(given, Mapping):
        given = {"front": given, "rear": given}
    for key in given:
        if key not in ("front", "rear"):
            raise ValueError(f"loaded_radius_mm: unknown axle {key!r}; front and rear")
    front, rear = (given.get(axle) for axle in ("front", "rear"))
    return front, rear


def _is_of_poses(path: str) -> bool:
    """Whether the poses of a car straight ahead decide a reading."""
    of_clamp = path.endswith((".runout_deg", ".rolling_radius_mm"))
    stage = path.partition(".")[0]
    known = stage in ("wheels", "axles", "chassis") and not of_clamp
    return known or path == "steering.ahead_error_deg"


def _is_given(path: str, *, sweep: bool, locks: bool) -> bool:
    """Whether the stages that there are can give a reading."""
    if ".lock_" in path:
        return locks
    swept = (
        path.startswith(("steering.", "turns.")) and path != "steering.ahead_error_deg"
    )
    return sweep or not swept


_OF_POSES: Final = tuple(filter(_is_of_poses, READINGS))


def _paths(readings: Sequence[str] | None, default: tuple[str, ...]) -> tuple[str, ...]:
    if isinstance(readings, str):
        raise TypeError(
            f"readings: a sequence of paths is needed, not the text {readings!r}"
        )
    return default if readings is None else tuple(readings)


def _room(
    out: Readings | None, paths: tuple[str, ...], count: int
) -> tuple[Array, Codes, NDArray[numpy.uint32]] | None:
    """Return the arrays that are to be written again."""
    if out is None:
        return None
    if not isinstance(out, Readings):
        raise TypeError(f"out: Readings are needed, not {type(out).__qualname__}")
    if out.records != count or out.paths != paths:
        raise ValueError(
            f"out: {len(paths)} readings of {count} records are needed, the same ones "
            f"in the same order, not {len(out.paths)} of {out.records}"
        )
    return out.numbers, out.codes, out.warnings


def _how(
    paths: tuple[str, ...],
    on_error: str,
    threads: int | None,
    progress: Callable[[int], object] | None,
) -> tuple[list[int], bool, int, Callable[[int], object] | None]:
    """Return how the work is to be done, as the native half takes it."""
    if on_error not in ("raise", "codes"):
        raise ValueError(f"on_error is 'raise' or 'codes', not {on_error!r}")
    count = _native.cores() if threads is None else operator.index(threads)
    if not 1 <= count <= 1024:
        raise ValueError(f"threads: 1 to 1024 are possible, not {threads}")
    if progress is not None and not callable(progress):
        raise TypeError(f"progress: not callable: {progress!r}")
    positions = [_native.position(path) for path in paths]
    return positions, on_error == "raise", count, progress
