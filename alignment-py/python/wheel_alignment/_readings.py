"""The result as a tree of frozen objects, by the same names as in every language."""

from __future__ import annotations

import dataclasses
import json
import math
import operator
import types
import typing
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final, Generic, TypeAlias, TypeVar

from wheel_alignment import _native

T = TypeVar("T")

READINGS: Final[tuple[str, ...]] = _native.READINGS
"""The path of every reading, in the order of the tree."""

Vector: TypeAlias = tuple[float, float, float]
"""x, y, z."""


@dataclass(frozen=True, slots=True)
class ByWheel(Generic[T]):
    """One value per wheel.

    Attributes
    ----------
    fl, fr, rl, rr
        Front left, front right, rear left, rear right.
    """

    fl: T
    fr: T
    rl: T
    rr: T


@dataclass(frozen=True, slots=True)
class BySide(Generic[T]):
    """One value per side.

    Attributes
    ----------
    left, right
        The driver's left, the driver's right.
    """

    left: T
    right: T


@dataclass(frozen=True, slots=True)
class ByAxle(Generic[T]):
    """One value per axle.

    Attributes
    ----------
    front, rear
        The front axle, the rear axle.
    """

    front: T
    rear: T


@dataclass(frozen=True, slots=True)
class WheelReadings:
    """The readings of one wheel; None where one is absent.

    Attributes
    ----------
    camber_deg : float or None
        Camber in degrees: inclination of the wheel plane to the datum's normal;
        positive with the top outward.
    toe_deg : float or None
        Toe in degrees, positive toe-in: of a front wheel to the thrust line, of a rear
        wheel to the centreline.
    toe_to_centreline_deg : float or None
        Toe to the vehicle's centreline in degrees, positive toe-in.
    centre_mm : tuple of 3 floats or None
        Wheel centre in the vehicle frame, mm: x forward, y left, z up, from the
        midpoint of the rear wheel centres.
    spindle : tuple of 3 floats or None
        Spindle, unit vector outward, in the vehicle frame.
    runout_deg : float or None
        Runout of the clamp in degrees: angle between the spindle and the nearest axis
        of the target.
    rolling_radius_mm : float or None
        Rolling radius in mm: travel of the wheel centre over roll angle.
    """

    camber_deg: float | None
    toe_deg: float | None
    toe_to_centreline_deg: float | None
    centre_mm: Vector | None
    spindle: Vector | None
    runout_deg: float | None
    rolling_radius_mm: float | None


@dataclass(frozen=True, slots=True)
class AxleReadings:
    """The readings of one axle; None where one is absent.

    Attributes
    ----------
    total_toe_deg : float or None
        Toe of both wheels in degrees, positive toe-in.
    cross_camber_deg : float or None
        Camber in degrees, left minus right.
    track_mm : float or None
        Track in mm between the wheel centres, across the vehicle.
    track_at_ground_mm : float or None
        Track in mm between the contact centres, across the vehicle.
    setback_deg : float or None
        Setback in degrees, positive with the right wheel further rearward.
    setback_mm : float or None
        Setback in mm, positive with the right wheel further rearward.
    """

    total_toe_deg: float | None
    cross_camber_deg: float | None
    track_mm: float | None
    track_at_ground_mm: float | None
    setback_deg: float | None
    setback_mm: float | None


@dataclass(frozen=True, slots=True)
class ChassisReadings:
    """The readings of the chassis, taken at the wheel centres; None where absent.

    Attributes
    ----------
    thrust_angle_deg : float or None
        Thrust angle in degrees, positive with the thrust line to the right of the
        centreline.
    wheelbase_left_mm, wheelbase_right_mm : float or None
        Wheelbase in mm on the left and on the right.
    wheelbase_difference_mm : float or None
        Wheelbase in mm, left minus right.
    diagonal_fl_rr_mm, diagonal_fr_rl_mm : float or None
        The diagonals in mm.
    diagonal_difference_mm : float or None
        The diagonal from front left minus the one from front right, mm.
    track_difference_mm : float or None
        Track in mm, front minus rear.
    axle_offset_mm : float or None
        Offset of the rear axle from the front one in mm, positive to the left.
    """

    thrust_angle_deg: float | None
    wheelbase_left_mm: float | None
    wheelbase_right_mm: float | None
    wheelbase_difference_mm: float | None
    diagonal_fl_rr_mm: float | None
    diagonal_fr_rl_mm: float | None
    diagonal_difference_mm: float | None
    track_difference_mm: float | None
    axle_offset_mm: float | None


@dataclass(frozen=True, slots=True)
class SteeringAxisReadings:
    """The readings of one side's steering axis; None where one is absent.

    Attributes
    ----------
    caster_deg : float or None
        Caster to the datum in degrees, in the side view; positive with the top of the
        axis rearward.
    sai_deg : float or None
        Steering-axis inclination to the datum in degrees, in the front view; positive
        with the top inboard.
    included_angle_deg : float or None
        Included angle in degrees: SAI plus camber.
    caster_trail_mm : float or None
        Caster trail in mm along the vehicle's x axis; positive when the axis meets the
        ground ahead of the contact centre.
    scrub_radius_mm : float or None
        Scrub radius in mm along the vehicle's y axis; positive when the axis meets the
        ground inboard of the contact centre.
    caster_trail_in_wheel_plane_mm : float or None
        Caster trail in mm along the wheel's heading.
    scrub_radius_in_wheel_plane_mm : float or None
        Scrub radius in mm square to the wheel's heading.
    caster_to_body_deg, sai_to_body_deg : float or None
        Caster and SAI in degrees to the body, whose pitch and roll come from the ride
        heights.
    axis_direction : tuple of 3 floats or None
        Steering axis, unit vector upward, in the vehicle frame.
    axis_point_mm : tuple of 3 floats or None
        Point of the steering axis nearest to the wheel centre straight ahead, in the
        vehicle frame, mm.
    residual_deg, residual_mm : float or None
        How far one fixed axis leaves the sweep unexplained, root mean square over the
        stations: direction in degrees, position in mm.
    """

    caster_deg: float | None
    sai_deg: float | None
    included_angle_deg: float | None
    caster_trail_mm: float | None
    scrub_radius_mm: float | None
    caster_trail_in_wheel_plane_mm: float | None
    scrub_radius_in_wheel_plane_mm: float | None
    caster_to_body_deg: float | None
    sai_to_body_deg: float | None
    axis_direction: Vector | None
    axis_point_mm: Vector | None
    residual_deg: float | None
    residual_mm: float | None


@dataclass(frozen=True, slots=True)
class SteeringReadings:
    """The readings of the steering, from the sweep; None where one is absent.

    Attributes
    ----------
    left, right : SteeringAxisReadings
        The left and the right steering axis.
    ahead_error_deg : float or None
        How far from straight ahead the front wheels stood at the ahead station, in
        degrees, positive to the left: half of right toe minus left toe, both to the
        thrust line.
    cross_caster_deg : float or None
        Caster in degrees, left minus right.
    cross_sai_deg : float or None
        SAI in degrees, left minus right.
    sweep_range_deg : float or None
        Largest minus smallest mean steer angle of the front wheels, degrees.
    """

    left: SteeringAxisReadings
    right: SteeringAxisReadings
    ahead_error_deg: float | None
    cross_caster_deg: float | None
    cross_sai_deg: float | None
    sweep_range_deg: float | None


@dataclass(frozen=True, slots=True)
class TurnReadings:
    """The readings of one turn: magnitudes; None where one is absent.

    Attributes
    ----------
    inner_deg, outer_deg : float or None
        Steer angle in degrees of the wheel on the inside and on the outside of the
        turn, from its own heading straight ahead.
    toe_out_deg : float or None
        Toe-out on turns in degrees: inner minus outer.
    ackermann_deg : float or None
        Ideal toe-out there in degrees, by Ackermann.
    """

    inner_deg: float | None
    outer_deg: float | None
    toe_out_deg: float | None
    ackermann_deg: float | None


@dataclass(frozen=True, slots=True)
class LockReadings:
    """The steer angles at full lock; None where one is absent.

    Attributes
    ----------
    left_deg, right_deg : float or None
        Steer angle in degrees of the left and of the right wheel, from its own heading
        straight ahead; positive to the left.
    """

    left_deg: float | None
    right_deg: float | None


@dataclass(frozen=True, slots=True)
class TurnsReadings:
    """The readings of turning, from the sweep and the locks.

    Attributes
    ----------
    left_turn, right_turn : TurnReadings
        Turning left, with the left wheel on the inside, and turning right.
    lock_left, lock_right : LockReadings
        Full lock to the left and to the right.
    """

    left_turn: TurnReadings
    right_turn: TurnReadings
    lock_left: LockReadings
    lock_right: LockReadings


@dataclass(frozen=True, slots=True)
class Alignment:
    """Every reading of one session: degrees and millimetres, by their names.

    A reading that the session does not hold is None, never zero.

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


@dataclass(frozen=True, slots=True)
class Turn:
    """The custom by which toe-out on turns was read.

    Attributes
    ----------
    wheel : str
        The wheel that is brought to the angle: ``inner`` or ``outer``.
    angle_deg : float
        The steer angle of that wheel, from its own heading straight ahead, degrees.
    """

    wheel: str
    angle_deg: float


@dataclass(frozen=True, slots=True)
class Reference:
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

    centreline: str
    datum: str
    turn: Turn


@dataclass(frozen=True, slots=True)
class Warning:  # One name in every language; `import *` leaves it out.
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


@dataclass(frozen=True, slots=True)
class Residual:
    """How far a pose lies from the motion fitted to it.

    Attributes
    ----------
    rotation_deg : float
        Angle between the axis seen at this station and the fitted one, degrees.
    translation_mm : float
        Distance between the point seen at this station and where the fit puts it, mm.
    """

    rotation_deg: float
    translation_mm: float


@dataclass(frozen=True, slots=True)
class Residuals:
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


@dataclass(frozen=True, slots=True)
class StationSpread:
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


@dataclass(frozen=True, slots=True)
class PoseFit:
    """One pose, and how far it lies from where all other poses say that it must be.

    Attributes
    ----------
    stage : str
        In which group of stations.
    station : int or None
        At which station of the group, counted from 0 as in the session.
    wheel : str
        Of which wheel.
    rotation_deg : float
        The leave-one-out residual: by how much the target is turned from where the
        fit to all other poses puts it, degrees; never negative.
    translation_mm : float
        And by how much it is shifted, mm; never negative.
    standardised : float
        The same over its own standard deviation, root mean square: about 1 when
        nothing is wrong.
    p_value : float or None
        The chance that noise alone makes it so large, 0 to 1; None when the poses are
        too few to tell.
    left_out : bool
        Whether the pose was left out of the fit, as the robust option does with what
        does not belong.
    """

    stage: str
    station: int | None
    wheel: str
    rotation_deg: float
    translation_mm: float
    standardised: float
    p_value: float | None
    left_out: bool


@dataclass(frozen=True, slots=True)
class Fit:
    """How well the poses of a session fit one rigid car, and which of them do not.

    Attributes
    ----------
    chi_squared : float
        The sum of squares of all that is left over, each over its standard deviation.
    degrees_of_freedom : float
        Equations less unknowns: what ``chi_squared`` is on average if the model and
        the noise are true.
    p_value : float or None
        The chance that noise alone makes ``chi_squared`` so large, 0 to 1; None when
        nothing tells the noise.
    steps : int
        How many steps the fit took.
    poses : tuple of PoseFit
        Every pose held against the fit to all the others, in the order of the session.
    """

    chi_squared: float
    degrees_of_freedom: float
    p_value: float | None
    steps: int
    poses: tuple[PoseFit, ...]


@dataclass(frozen=True, slots=True)
class InstantaneousAxis:
    """The steering axis between two neighbouring stations of a sweep.

    Attributes
    ----------
    stations : tuple of int
        The two stations of the sweep, in the order of their steer angles.
    steer_deg : float
        Steer angle halfway between them, from the wheel's own heading straight ahead;
        positive to the left.
    caster_deg : float
        Caster to the datum, in the side view; positive with the top of the axis
        rearward.
    sai_deg : float
        Steering-axis inclination to the datum, in the front view; positive with the
        top inboard.
    caster_trail_mm : float or None
        Caster trail along the vehicle's x axis; positive when the axis meets the
        ground ahead of the contact centre.
    scrub_radius_mm : float or None
        Scrub radius along the vehicle's y axis; positive when the axis meets the
        ground inboard of the contact centre.
    """

    stations: tuple[int, int]
    steer_deg: float
    caster_deg: float
    sai_deg: float
    caster_trail_mm: float | None
    scrub_radius_mm: float | None


@dataclass(frozen=True, slots=True, repr=False)
class Measurement:
    """What `measure` returns.

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

    def to_dict(self) -> dict[str, object]:
        """Return the result as plain dicts and lists, as the JSON has it."""
        tree = _plain(self)
        assert isinstance(tree, dict)
        return tree

    def __repr__(self) -> str:
        return table("Measurement", self, None)


def table(
    name: str,
    measured: Measurement,
    expanded: Alignment | None,
    more: Iterable[tuple[str, str]] = (),
) -> str:
    """Show the chief readings, each with its expanded uncertainty if that is known."""
    corners = [f"wheels.{wheel}" for wheel in ("fl", "fr", "rl", "rr")]
    sides = [f"steering.{side}" for side in ("left", "right")]
    rows = {
        "camber_deg": corners,
        "toe_deg": corners,
        "caster_deg": sides,
        "sai_deg": sides,
        "thrust_angle_deg": ["chassis"],
    }
    lines = []
    for reading, places in rows.items():
        cells = []
        for place in places:
            path = f"{place}.{reading}"
            of = None if expanded is None else expanded.get(path)
            at = "car" if place == "chassis" else place.rpartition(".")[2]
            cells.append(f"{at} {_angle(measured.alignment.get(path), of)}")
        lines.append((reading, "  ".join(cells)))
    codes = ", ".join(dict.fromkeys(warning.code for warning in measured.warnings))
    lines += [("warnings", codes or "none"), *more]
    return "\n".join([f"<{name}", *(f"    {key:<17}{row}" for key, row in lines), ">"])


def _angle(value: float | None, expanded: float | None) -> str:
    if value is None:
        return "absent"
    if expanded is None:
        # A value that rounds to zero has no sign for a person.
        return f"{round(value, 2) + 0.0:+.2f}"
    # Two significant digits of the uncertainty, and of the value what stands above.
    digits = 1 - math.floor(math.log10(expanded)) if expanded > 0.0 else 2
    digits = min(max(digits, 2), 6)
    return f"{round(value, digits) + 0.0:+.{digits}f} ± {expanded:.{digits}f}"


def from_json(kind: type[T], text: str) -> T:
    """Build a result from its JSON."""
    return build(kind, json.loads(text))


def build(kind: type[T], tree: object) -> T:
    """Build a result from its tree."""
    built = _build(kind, tree)
    assert isinstance(built, kind)
    return built


def with_infinities(tree: object, like: object) -> object:
    """Put infinity where there is none in a tree, but a number in another like it.

    JSON has no infinity, and infinite degrees of freedom are null in it.
    """
    if isinstance(like, dict):
        assert isinstance(tree, dict)
        return {key: with_infinities(tree[key], of) for key, of in like.items()}
    if isinstance(like, list):
        assert isinstance(tree, list)
        return [with_infinities(*both) for both in zip(tree, like, strict=True)]
    return math.inf if tree is None and like is not None else tree


def _plain(value: object) -> object:
    if dataclasses.is_dataclass(value):
        fields = dataclasses.fields(value)
        return {field.name: _plain(getattr(value, field.name)) for field in fields}
    if isinstance(value, tuple):
        return [_plain(item) for item in value]
    return None if value == math.inf else value


def _build(kind: object, tree: object) -> object:
    """Build what the annotation `kind` says; a key too many or too few is an error."""
    if isinstance(kind, types.UnionType):
        if tree is None:
            return None
        (kind,) = (one for one in typing.get_args(kind) if one is not types.NoneType)
    origin = typing.get_origin(kind) or kind
    if origin is tuple:
        assert isinstance(tree, list)
        one, more = typing.get_args(kind)[:2]
        return tuple(_build(one, item) for item in tree) if more is ... else tuple(tree)
    if isinstance(origin, type) and dataclasses.is_dataclass(origin):
        assert isinstance(tree, dict)
        fields = _fields(origin)
        arguments = typing.get_args(kind)
        return origin(
            **{
                name: _build(
                    arguments[0] if fields.get(name) is T else fields.get(name), value
                )
                for name, value in tree.items()
            }
        )
    return tree


_FIELDS: dict[type, dict[str, object]] = {}


def _fields(kind: type) -> dict[str, object]:
    if kind not in _FIELDS:
        _FIELDS[kind] = typing.get_type_hints(kind)
    return _FIELDS[kind]
