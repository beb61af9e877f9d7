"""What a rig hands over, and what the readings are arranged by."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import (
    TYPE_CHECKING,
    Final,
    Generic,
    Literal,
    TypeAlias,
    TypedDict,
    Union,
    cast,
    final,
)

from wheel_alignment import _arrays, _inputs, _native, _stations
from wheel_alignment._inputs import Given
from wheel_alignment._stations import STAGES, WHEELS, Stations
from wheel_alignment._values import T, T_co, Value, Vector, build, build_as
from wheel_alignment.pose import Pose, PoseLike

if TYPE_CHECKING:
    from numpy.typing import ArrayLike
    from typing_extensions import Unpack

    from wheel_alignment._tidy import Table
    from wheel_alignment._types import Array as Floats

PerWheel: TypeAlias = Union[float, "ArrayLike", "ByWheel[float]", Mapping[str, float]]
"""A number for all wheels, or one for each: fl fr rl rr."""

StationLike: TypeAlias = Union[
    PoseLike, Mapping[str, "PoseLike | None"], "ByWheel[PoseLike | None]"
]
"""The poses of the wheels at one moment, as `Session.from_arrays` takes them."""

StationsLike: TypeAlias = Union[PoseLike, Sequence[StationLike]]  # noqa: UP007
"""The stations of a stage, as `Session.from_arrays` takes them."""

CLAMP_STANDOFF_RANGE_MM: Final[tuple[float, float]] = (-1000.0, 1000.0)
"""The shortest and longest clamp standoff, mm: either sign, since a target may sit
inside the rim.
"""

LOADED_RADIUS_RANGE_MM: Final[tuple[float, float]] = (50.0, 1500.0)
"""The least and greatest loaded radius, mm."""

RIDE_HEIGHT_RANGE_MM: Final[tuple[float, float]] = (-2000.0, 5000.0)
"""The least and greatest ride height, mm; the reference point may lie anywhere on the
body.
"""

TURN_ANGLE_RANGE_DEG: Final[tuple[float, float]] = (1.0, 60.0)
"""The least and greatest angle at which toe-out on turns can be asked for, degrees."""

MAX_STATIONS: Final[int] = 10_000
"""The most stations of one stage."""

MAX_FRAMES: Final[int] = 10_000
"""The most frames of one wheel at one station."""


@dataclass(frozen=True, slots=True, eq=False)
class ByWheel(Value, Generic[T_co]):
    """One value per wheel.

    Attributes
    ----------
    fl, fr, rl, rr
        Front left, front right, rear left, rear right.
    """

    fl: T_co
    fr: T_co
    rl: T_co
    rr: T_co


@dataclass(frozen=True, slots=True, eq=False)
class BySide(Value, Generic[T_co]):
    """One value per side.

    Attributes
    ----------
    left, right
        The driver's left, the driver's right.
    """

    left: T_co
    right: T_co


@dataclass(frozen=True, slots=True, eq=False)
class ByAxle(Value, Generic[T_co]):
    """One value per axle.

    Attributes
    ----------
    front, rear
        The front axle, the rear axle.
    """

    front: T_co
    rear: T_co


@dataclass(frozen=True, slots=True, eq=False)
class StationSpread(Value):
    """How much the frames of one wheel scatter at one station.

    Attributes
    ----------
    stage : str
        In which group of stations.
    station : int or None
        At which station of the group, counted from 0 as in the session.
    wheel : str
        At which wheel.
    frames : int
        How many frames there were.
    rotation_deg : float
        Of the rotation, one standard deviation of a single frame about each axis,
        degrees.
    translation_mm : float
        Of the translation, one standard deviation of a single frame along each axis,
        mm.
    """

    stage: str
    station: int | None
    wheel: str
    frames: int
    rotation_deg: float
    translation_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class PoseNoise(Value):
    """How much a pose scatters: one standard deviation per axis.

    Attributes
    ----------
    rotation_deg : float
        Of the rotation, about each axis, degrees.
    translation_mm : float
        Of the translation, along each axis, mm.
    """

    rotation_deg: float = 0.0
    translation_mm: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class PoseCovariance(Value):
    """How much a pose scatters, when its axes scatter differently or together.

    The covariance of a small turn and a small shift, in the frame in which the pose is
    given.

    Attributes
    ----------
    covariance : tuple of 6 tuples of 6 floats
        In the order x, y, z of the rotation, in degrees, then x, y, z of the
        translation, in mm: the elements are in deg², deg·mm and mm².
    """

    covariance: tuple[tuple[float, ...], ...]

    def __post_init__(self) -> None:
        """Make tuples of the lists and arrays that stand for them."""
        rows = _arrays.rows(self.covariance, "covariance")
        object.__setattr__(self, "covariance", tuple(map(tuple, rows)))


@dataclass(frozen=True, slots=True, eq=False)
class InputUncertainty(Value):
    """Standard uncertainties of the inputs beside the poses; 0 is exact.

    Attributes
    ----------
    clamp_standoff_mm : float
        Of each clamp's standoff, mm.
    up_deg : float
        Of ``up``, about each level axis, degrees.
    loaded_radius_mm : float
        Of each axle's loaded radius, mm, where it is given.
    runway_mm : float
        Of each coordinate of a point of the runway, mm.
    ride_height_mm : float
        Of each ride height, mm.
    right_cameras : PoseNoise
        Of where the cameras of the right wheels stand against those of the left.
    """

    clamp_standoff_mm: float = 0.0
    up_deg: float = 0.0
    loaded_radius_mm: float = 0.0
    runway_mm: float = 0.0
    ride_height_mm: float = 0.0
    right_cameras: PoseNoise = PoseNoise()


@dataclass(frozen=True, slots=True, eq=False)
class Turn(Value):
    """The custom by which toe-out on turns was read.

    Attributes
    ----------
    wheel : str
        The wheel that is brought to the angle: ``inner`` or ``outer``.
    angle_deg : float
        The steer angle of that wheel, from its own heading straight ahead, degrees.
    """

    wheel: str = "inner"
    angle_deg: float = 20.0


@dataclass(frozen=True, slots=True, eq=False)
class Reference(Value):
    """The choices that the readings rest on, defaults included.

    Attributes
    ----------
    centreline : str
        How the centreline is defined: ``axle_midpoints`` or ``side_line_bisector``.
    datum : str
        What angles to the vertical are measured from: ``up``, ``wheel_plane`` or
        ``runway``.
    turn : Turn
        How toe-out on turns was read.
    """

    centreline: str = "axle_midpoints"
    datum: str = "up"
    turn: Turn = Turn()


@dataclass(frozen=True, slots=True, eq=False)
class Camera(Value):
    """A camera that reports in its own frame.

    Attributes
    ----------
    rig_from_camera : Pose
        Where the camera is and how it is turned in the rig.
    wheels : tuple of str
        The wheels that it sees, whose poses are ``camera_from_target``.
    """

    rig_from_camera: Pose
    wheels: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class JointOptions(Value):
    """What the joint fit is told beside the session.

    Attributes
    ----------
    robust : bool
        Whether poses that do not belong to the car of the others are found and left
        out, each with a warning. Up to a fifth may be bad.
    rolling_slip_mm : float
        How far a wheel may slip on the ground between the ahead station and one of the
        rolling, one standard deviation, mm.
    """

    robust: bool = False
    rolling_slip_mm: float = 0.0


class SessionKeys(TypedDict, total=False):
    """What a session may say beside its stations, each key with its default.

    Attributes
    ----------
    up : array-like of 3 numbers
        Unit vector upward in the rig frame: against gravity, or the normal of a
        calibrated runway. The datum ``up`` needs it.
    note : str
        A remark for people.
    cameras : mapping of str to Camera
        The cameras that report in their own frames, by name; none.
    pose_noise : PoseNoise, PoseCovariance or mapping
        How much a pose scatters, per axis or as a covariance; unknown.
    input_uncertainty : InputUncertainty or mapping
        How well the rig knows its other inputs; exactly.
    loaded_radius_mm : number or mapping of axles
        Loaded radius, mm; the rolling radius stands in.
    ride_height_mm : number, 4 numbers or mapping of wheels
        Ride height at each wheel, mm; unknown.
    runway_mm : array-like of shape (4, 3) or mapping of wheels
        Points of the runway, one under each wheel, in the rig frame, mm; none.
    compensation : {"rolled", "spun"}
        What was done with the car at the rolling stations; rolled.
    rolling_body : {"translates", "turns"}
        What the body may do while the car is rolled; it translates.
    sweep_wheels_locked : bool
        Whether the brake held the wheels during the sweep. A sweep needs it said.
    sweep_body : {"still", "found_again"}
        What the body does while the front wheels are steered; it stands still.
    reference : Reference or mapping
        The choices on which readings depend.
    method : {"staged", "joint"}
        How the readings are estimated; stage by stage.
    joint : JointOptions or mapping
        What the joint fit is told.
    """

    up: ArrayLike
    note: str
    cameras: Mapping[str, Camera | Mapping[str, object]]
    pose_noise: PoseNoise | PoseCovariance | Mapping[str, ArrayLike]
    input_uncertainty: InputUncertainty | Mapping[str, object]
    loaded_radius_mm: float | ByAxle[float | None] | Mapping[str, float | None]
    ride_height_mm: PerWheel
    runway_mm: ArrayLike | ByWheel[Vector] | Mapping[str, ArrayLike]
    compensation: Literal["rolled", "spun"]
    rolling_body: Literal["translates", "turns"]
    sweep_wheels_locked: bool
    sweep_body: Literal["still", "found_again"]
    reference: Reference | Mapping[str, object]
    method: Literal["staged", "joint"]
    joint: JointOptions | Mapping[str, object]


Station: TypeAlias = ByWheel[tuple[Pose, ...]]
"""The wheels at one moment: the frames that were seen of each, none, one or several."""


@final
class Session:
    """Everything that a rig hands over about one car, read and kept.

    What takes a session takes this as well, and need not read it again. It is frozen;
    it can be compared, hashed, copied and pickled. `from_json`, `from_arrays` and
    `from_table` make one: nothing but the form is checked before it is used, and that
    every number is finite. Its attributes are the keys of the JSON.

    Examples
    --------
    >>> from wheel_alignment import Session, measure
    >>> from wheel_alignment.simulate import VirtualVehicle
    >>> session = VirtualVehicle().session()
    >>> session
    <Session
        rolling          5 stations: fl fr rl rr
        ahead            fl fr rl rr
        sweep            9 stations: fl fr rl rr
        lock_left        fl fr rl rr
        lock_right       fl fr rl rr
        pose_noise       unknown
        method           staged
    >
    >>> Session.from_json(session.to_json()) == session
    True
    >>> print(f"{measure(session).alignment.wheels.fl.camber_deg:.2f}°")
    -0.50°
    """

    __slots__ = ("_core",)
    _core: _native.Session

    def __init__(self) -> None:
        raise TypeError(
            "a session is made by Session.from_json, from_arrays or from_table"
        )

    @classmethod
    def _of(cls, native: _native.Session) -> Session:
        session = object.__new__(cls)
        object.__setattr__(session, "_core", native)
        return session

    @classmethod
    def from_json(cls, given: Given) -> Session:
        """Read a session of format ``alignment-session/1``.

        Parameters
        ----------
        given : mapping, str or path-like
            A dict, the text of its JSON, or the path of a JSON file as a
            `pathlib.Path`. In a dict, arrays and their scalars are as good as lists
            and numbers, and objects of this package as the mappings that they stand
            for.

        Raises
        ------
        NotASessionError
            Malformed JSON, an unknown or missing key, a wrong type: ``path``, ``line``
            and ``column`` say where.
        ThirdAxleError
            A station has wheels beyond fl, fr, rl and rr.
        NotFiniteError
            A number is NaN or infinite.
        OSError
            The file cannot be read.

        Examples
        --------
        >>> from wheel_alignment import NotASessionError, Session
        >>> try:
        ...     Session.from_json({"format": "alignment-session/1", "colour": 1})
        ... except NotASessionError as error:
        ...     print(error.path)
        colour
        """
        return cls._of(_native.Session.read(_inputs.session(given)))

    @classmethod
    def from_arrays(
        cls,
        *,
        rolling: StationsLike,
        ahead: StationLike,
        clamp_standoff_mm: PerWheel,
        sweep: StationsLike | None = None,
        lock_left: StationLike | None = None,
        lock_right: StationLike | None = None,
        **keys: Unpack[SessionKeys],
    ) -> Session:
        """Make a session of arrays of poses.

        Parameters
        ----------
        rolling : array of shape (S, 4, 4, 4) or pose-like
            ``rig_from_target`` by station and wheel, in the order fl fr rl rr: the
            stations at which the car was rolled, or its wheels spun. With an axis of
            frames, (S, 4, F, 4, 4). Any form of `pose.as_matrix4` is as good, and so
            is a sequence of stations, each as `ahead`. 16 times NaN is a wheel, or a
            frame, that was not seen.
        ahead : array of shape (4, 4, 4) or pose-like
            The station with the wheels straight ahead; with frames, (4, F, 4, 4). Or a
            mapping of wheels, each with a pose, a stack of frames, or None: then one
            wheel may have more frames than another.
        clamp_standoff_mm : number, 4 numbers or mapping of wheels
            From the wheel's centre plane outward along the spindle to the target's
            origin, mm: one for all wheels, or each its own.
        sweep : array of shape (S, 4, 4, 4) or pose-like, optional
            The stations of the caster sweep, as `rolling`.
        lock_left, lock_right : array of shape (4, 4, 4) or pose-like, optional
            Full lock to the left and to the right, as `ahead`.
        **keys
            All else that a session may say: see `SessionKeys`. The datum ``up`` needs
            ``up``, a sweep needs ``sweep_wheels_locked``.

        Raises
        ------
        AlignmentError
            As `pose.as_matrix4` and `from_json`.
        TypeError, ValueError
            As `pose.as_matrix4`; not four wheels.

        Notes
        -----
        Poses with a covariance of their own are for `from_json`.

        Examples
        --------
        >>> import numpy as np
        >>> from wheel_alignment import Session
        >>> from wheel_alignment.simulate import VirtualVehicle
        >>> given = VirtualVehicle().session()
        >>> poses = given.to_arrays()
        >>> poses["rolling"].shape
        (5, 4, 4, 4)
        >>> poses["ahead"][2] = np.nan  # the camera of rl was blocked
        >>> session = Session.from_arrays(
        ...     **poses, up=[0, 0, 1], clamp_standoff_mm=90, sweep_wheels_locked=True
        ... )
        >>> print(repr(session).splitlines()[2])
            ahead            fl fr rr
        """
        return cls._of_stages(
            {
                "rolling": _stations.stations(rolling, "rolling"),
                "ahead": _stations.station(ahead, "ahead"),
                "sweep": None if sweep is None else _stations.stations(sweep, "sweep"),
                "lock_left": None
                if lock_left is None
                else _stations.station(lock_left, "lock_left"),
                "lock_right": None
                if lock_right is None
                else _stations.station(lock_right, "lock_right"),
            },
            clamp_standoff_mm,
            keys,
        )

    @classmethod
    def _of_stages(
        cls,
        stages: Mapping[str, Stations | None],
        clamp_standoff_mm: PerWheel,
        keys: SessionKeys,
    ) -> Session:
        unknown = set(keys) - SessionKeys.__optional_keys__
        if unknown:
            raise TypeError(f"a session has no key {sorted(unknown)[0]!r}")
        tree: dict[str, object] = {
            key: value for key, value in keys.items() if value is not None
        }
        tree["format"] = "alignment-session/1"
        tree["clamp_standoff_mm"] = _stations.per_wheel(
            clamp_standoff_mm, "clamp_standoff_mm"
        )
        if "ride_height_mm" in tree:
            height = keys["ride_height_mm"]
            tree["ride_height_mm"] = _stations.per_wheel(height, "ride_height_mm")
        if "loaded_radius_mm" in tree:
            tree["loaded_radius_mm"] = _stations.per_axle(keys["loaded_radius_mm"])
        if "runway_mm" in tree and not isinstance(
            tree["runway_mm"], (Mapping, ByWheel)
        ):
            points = cast("ArrayLike", tree["runway_mm"])
            runway = _arrays.shaped(points, (4, 3), "runway_mm")
            tree["runway_mm"] = dict(zip(WHEELS, runway.tolist(), strict=True))
        # The stations follow as arrays.
        tree |= {"rolling": [], "ahead": {}}
        given = [(name, stage) for name, stage in stages.items() if stage is not None]
        return cls._of(_native.Session.from_stations(tree, given))

    @classmethod
    def from_table(
        cls, table: Table, *, clamp_standoff_mm: PerWheel, **keys: Unpack[SessionKeys]
    ) -> Session:
        """Make a session of a tidy table: one row per station and wheel.

        Parameters
        ----------
        table : DataFrame, Table, mapping, sequence of mappings or path-like
            A DataFrame of pandas or polars, a Table of pyarrow, a mapping of columns, a
            sequence of rows, or the path of a CSV file as a `pathlib.Path`. Its
            columns:

            - ``stage``: ``rolling``, ``ahead``, ``sweep``, ``lock_left`` or
              ``lock_right``;
            - ``station``: counted from 0 in its stage, without a gap; nothing or 0
              where the stage has a single station;
            - ``wheel``: ``fl``, ``fr``, ``rl`` or ``rr``;
            - ``frame``, which may be left out: tells apart several frames of a wheel at
              a station, in their order; nothing where there is one pose alone;
            - ``x_mm``, ``y_mm``, ``z_mm``: the target's origin in the rig frame;
            - the rotation as ``qw``, ``qx``, ``qy``, ``qz``, a unit quaternion; or as
              ``rx_rad``, ``ry_rad``, ``rz_rad``, a rotation vector; or as ``r11``,
              ``r12`` … ``r33``, a matrix.

            Other columns are let be. A row whose pose is empty or NaN, and a row that
            is missing, is a wheel that was not seen.
        clamp_standoff_mm : number, 4 numbers or mapping of wheels
            As `from_arrays`.
        **keys
            As `from_arrays`.

        Raises
        ------
        NotASessionError
            A column is missing, or a row does not fit: the message names the row,
            counted from 0, and the column, ``line`` the line of a CSV file.
        AlignmentError
            As `from_arrays`; of a pose, the message names the row.

        Examples
        --------
        >>> from wheel_alignment import Session
        >>> from wheel_alignment.simulate import VirtualVehicle
        >>> given = VirtualVehicle().session()
        >>> table = given.to_table()
        >>> [name for name in table if name[0] != "r"]
        ['stage', 'station', 'wheel', 'x_mm', 'y_mm', 'z_mm']
        >>> session = Session.from_table(
        ...     table, up=[0, 0, 1], clamp_standoff_mm=90, sweep_wheels_locked=True
        ... )
        >>> session.to_arrays()["sweep"].shape
        (9, 4, 4, 4)
        """
        from wheel_alignment import _tidy

        return cls._of_stages(_tidy.stages(table), clamp_standoff_mm, keys)

    def to_json(self) -> str:
        """Return the session as JSON that reads back to the same bits."""
        return self._core.json()

    def to_dict(self) -> dict[str, object]:
        """Return the session as plain dicts and lists, as the JSON has it."""
        tree: dict[str, object] = json.loads(self.to_json())
        return tree

    def to_arrays(self) -> dict[str, Floats]:
        """Return the poses, by stage, as `from_arrays` takes them.

        Stages that are not there are left out. Where a wheel has several frames at
        some station, its stage has the axis of frames, filled up with NaN.
        """
        return {
            stage: array if stage in ("rolling", "sweep") else array[0]
            for stage, array, _ in self._stages()
        }

    def to_table(self) -> dict[str, list[str] | list[int] | list[int | None] | Floats]:
        """Return the poses as columns, as `from_table` takes them.

        Hand them to ``pandas.DataFrame`` or ``polars.DataFrame``. One row per pose that
        was seen; rotations as matrices; ``frame`` only if some wheel has frames.
        """
        import numpy as np

        rows: list[tuple[str, int, str, int | None]] = []
        poses: list[Floats] = []
        for stage, array, counts in self._stages():
            for station, row in enumerate(counts):
                for wheel, count in enumerate(row):
                    seen = array[station, wheel]
                    frames = range(count) if count >= 0 else [None]
                    for frame in frames:
                        rows.append((stage, station, WHEELS[wheel], frame))
                        flat = seen.reshape(-1, 4, 4)
                        poses.append(flat[frame or 0])
        stack = np.array(poses).reshape(-1, 4, 4)
        columns: dict[str, list[str] | list[int] | list[int | None] | Floats] = {
            "stage": [stage for stage, *_ in rows],
            "station": [station for _, station, *_ in rows],
            "wheel": [wheel for _, _, wheel, _ in rows],
        }
        if any(frame is not None for *_, frame in rows):
            columns["frame"] = [frame for *_, frame in rows]
        for axis, name in enumerate(("x_mm", "y_mm", "z_mm")):
            columns[name] = stack[:, axis, 3]
        for axis in range(3):
            for column in range(3):
                columns[f"r{axis + 1}{column + 1}"] = stack[:, axis, column]
        return columns

    @property
    def format(self) -> str:
        """The version of the format: ``alignment-session/1``."""
        return str(self._keys()["format"])

    @property
    def note(self) -> str | None:
        """A remark for people; it plays no part in any reading."""
        return cast("str | None", self._keys().get("note"))

    @property
    def up(self) -> Vector | None:
        """Unit vector upward, in the rig frame."""
        up = cast("list[float] | None", self._keys().get("up"))
        return None if up is None else (up[0], up[1], up[2])

    @property
    def clamp_standoff_mm(self) -> ByWheel[float]:
        """From the wheel's centre plane outward to the target's origin, mm."""
        return self._known(ByWheel[float], "clamp_standoff_mm")

    @property
    def cameras(self) -> dict[str, Camera]:
        """The cameras that report in their own frames, by name."""
        cameras = cast("dict[str, object]", self._keys().get("cameras", {}))
        return {name: build(Camera, camera) for name, camera in cameras.items()}

    @property
    def pose_noise(self) -> PoseNoise | PoseCovariance | None:
        """How much a pose scatters, if that is stated."""
        noise = cast("dict[str, object] | None", self._keys().get("pose_noise"))
        if noise is None:
            return None
        if "covariance" in noise:
            return build(PoseCovariance, noise)
        return build(PoseNoise, noise)

    @property
    def input_uncertainty(self) -> InputUncertainty | None:
        """How well the rig knows its other inputs, if that is stated."""
        return self._key(InputUncertainty, "input_uncertainty")

    @property
    def loaded_radius_mm(self) -> ByAxle[float | None] | None:
        """Loaded radius per axle, mm."""
        return self._key(ByAxle[float | None], "loaded_radius_mm")

    @property
    def ride_height_mm(self) -> ByWheel[float] | None:
        """Ride height at each wheel, mm."""
        return self._key(ByWheel[float], "ride_height_mm")

    @property
    def runway_mm(self) -> ByWheel[Vector] | None:
        """Points of the runway, one under each wheel, in the rig frame, mm."""
        return self._key(ByWheel[Vector], "runway_mm")

    @property
    def compensation(self) -> str:
        """How the clamps are compensated: ``rolled`` or ``spun``."""
        return str(self._keys()["compensation"])

    @property
    def rolling_body(self) -> str:
        """What the body may do while the car is rolled: ``translates`` or ``turns``."""
        return str(self._keys()["rolling_body"])

    @property
    def rolling(self) -> tuple[Station, ...]:
        """The stations at which the car was rolled or its wheels spun."""
        return self._seen("rolling")

    @property
    def ahead(self) -> Station:
        """The station with the wheels straight ahead."""
        return self._seen("ahead")[0]

    @property
    def sweep(self) -> tuple[Station, ...]:
        """The stations of the caster sweep."""
        return self._seen("sweep")

    @property
    def sweep_wheels_locked(self) -> bool | None:
        """Whether the brake held the wheels during the sweep."""
        return cast("bool | None", self._keys().get("sweep_wheels_locked"))

    @property
    def sweep_body(self) -> str:
        """What the body does in the sweep: ``still`` or ``found_again``."""
        return str(self._keys()["sweep_body"])

    @property
    def lock_left(self) -> Station | None:
        """Full lock to the left."""
        return next(iter(self._seen("lock_left")), None)

    @property
    def lock_right(self) -> Station | None:
        """Full lock to the right."""
        return next(iter(self._seen("lock_right")), None)

    @property
    def reference(self) -> Reference:
        """The choices on which readings depend."""
        return self._known(Reference, "reference")

    @property
    def method(self) -> str:
        """How the readings are estimated: ``staged`` or ``joint``."""
        return str(self._keys()["method"])

    @property
    def joint(self) -> JointOptions:
        """What the joint fit is told beside the session."""
        return self._known(JointOptions, "joint")

    def _keys(self) -> dict[str, object]:
        """Return all but the stations, as the JSON has it."""
        tree: dict[str, object] = json.loads(self._core.keys())
        return tree

    def _key(self, kind: type[T], name: str) -> T | None:
        tree = self._keys().get(name)
        return None if tree is None else cast("T", build_as(kind, tree))

    def _known(self, kind: type[T], name: str) -> T:
        return cast("T", build_as(kind, self._keys()[name]))

    def _seen(self, stage: str) -> tuple[Station, ...]:
        """Return the stations of a stage, each frame as a pose."""
        data, counts = self._core.stations(stage)
        poses = (
            Pose._of_flat(data[start : start + 128])
            for start in range(0, len(data), 128)
        )
        frames = [tuple(next(poses) for _ in range(abs(count))) for count in counts]
        return tuple(ByWheel(*frames[i : i + 4]) for i in range(0, len(frames), 4))

    def _stages(self) -> Iterator[tuple[str, Floats, list[list[int]]]]:
        """Walk through the stages: poses by station and wheel, and their counts."""
        import numpy as np

        for stage in STAGES:
            data, flat = self._core.stations(stage)
            if not flat and stage != "rolling":
                continue
            counts = np.array(flat, dtype=np.int64).reshape(-1, 4)
            axes = () if (counts <= 0).all() else (int(counts.max()),)
            array = np.full((*counts.shape, *axes, 4, 4), np.nan)
            seen = _arrays.unpacked(data, (-1, 4, 4))
            place = np.abs(counts)
            if axes:
                array[np.arange(axes[0]) < place[..., None]] = seen
            else:
                array[place == 1] = seen
            yield stage, array, counts.tolist()

    def __eq__(self, other: object) -> bool:
        """Compare every number and word."""
        if not isinstance(other, Session):
            return NotImplemented
        return self._core == other._core

    def __hash__(self) -> int:
        return hash(self._core)

    def __reduce__(self) -> tuple[Callable[[str], Session], tuple[str]]:
        return Session.from_json, (self.to_json(),)

    def __copy__(self) -> Session:
        return self

    def __deepcopy__(self, memo: object) -> Session:
        return self

    def __setattr__(self, name: str, value: object) -> None:
        raise AttributeError(f"a session is frozen: {name} cannot be set")

    def __delattr__(self, name: str) -> None:
        raise AttributeError(f"a session is frozen: {name} cannot be deleted")

    def __repr__(self) -> str:
        lines = [f"    {key:<17}{value}" for key, value in self._summary()]
        return "\n".join(["<Session", *lines, ">"])

    def _repr_html_(self) -> str:
        import html

        rows = "".join(
            f"<tr><th style='text-align:left'>{key}</th>"
            f"<td style='text-align:left'>{html.escape(value)}</td></tr>"
            for key, value in self._summary()
        )
        return f"<div><b>Session</b><table><tbody>{rows}</tbody></table></div>"

    def _summary(self) -> list[tuple[str, str]]:
        """Tell what a person wants to know of a session at a glance."""
        lines = []
        for stage in STAGES:
            _, flat = self._core.stations(stage)
            stations = len(flat) // 4
            if not stations and stage != "rolling":
                continue
            many = stage in ("rolling", "sweep")
            seen = [sum(count != 0 for count in flat[wheel::4]) for wheel in range(4)]
            wheels = " ".join(
                name if count == stations else f"{name} ({count} of {stations})"
                for name, count in zip(WHEELS, seen, strict=True)
                if count
            )
            frames = [count for count in flat if count > 0]
            text = f"{stations} station{'s' * (stations != 1)}: " if many else ""
            text += wheels or "no wheel seen"
            if frames:
                least, most = min(frames), max(frames)
                text += f"; {least}{f' to {most}' * (most > least)} frames"
            lines.append((stage, text))
        lines.append(("pose_noise", _noise(self.pose_noise)))
        lines.append(("method", self.method))
        if self.note:
            lines.append(("note", " ".join(self.note.split())))
        return lines


def _noise(noise: PoseNoise | PoseCovariance | None) -> str:
    if noise is None:
        return "unknown"
    if isinstance(noise, PoseCovariance):
        return "a covariance"
    return f"{noise.rotation_deg:g}°, {noise.translation_mm:g} mm per axis"


def up_in_rig(up: ArrayLike) -> Vector:
    """Check ``up`` and make it a unit vector in the rig frame.

    Parameters
    ----------
    up : array-like of 3 numbers
        Upward, of length 1 within 1e-6.

    Raises
    ------
    NotUnitLengthError
        It is further from length 1.
    NotFiniteError
        A number is NaN or infinite.

    Examples
    --------
    >>> from wheel_alignment.session import up_in_rig
    >>> up_in_rig([0, 0, 1 + 1e-7])
    (0.0, 0.0, 1.0)
    """
    return _native.up_in_rig(_arrays.three(up, "up"))
