"""The hand gauge: caster and SAI from cambers on turning plates, or from pitches.

The knuckle turns about the steering axis, so whatever is fixed in it keeps its angle to
the axis. Three positions give caster and SAI exactly; the rules that make do with two
leave something out, and each says what.

With 0.01° of noise in each camber at −20°, 0° and +20°, caster scatters by 0.02° and
SAI by 0.19°. By pitch it is the other way round. Hence camber for caster, pitch for
SAI.
"""

# A number is an array too for the type checker, but a number comes of it.
# mypy: disable-error-code="overload-overlap"

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, Generic, Literal, overload

from wheel_alignment._formulas import number, numbers, several, sides
from wheel_alignment._values import T_co, Value

if TYPE_CHECKING:
    from wheel_alignment._types import Array, Codes, Column, Number, Numbers, Sides

MIN_SWEEP_THREE_POSITIONS_DEG: Final[float] = 15.0
"""The least sweep of three positions, degrees: they must span as wide a triangle on the
unit circle as −7.5°, 0° and +7.5° do.
"""

YAW_RANGE_DEG: Final[tuple[float, float]] = (-60.0, 60.0)
"""The least and greatest yaw of a steered wheel, degrees."""

READING_RANGE_DEG: Final[tuple[float, float]] = (-45.0, 45.0)
"""The least and greatest camber or pitch that a gauge reads, degrees."""

AXIS_RANGE_DEG: Final[tuple[float, float]] = (-30.0, 30.0)
"""The least and greatest caster or SAI for which a reading is foretold, degrees."""

AHEAD_YAW_RANGE_DEG: Final[tuple[float, float]] = (-10.0, 10.0)
"""The least and greatest toe or yaw of a wheel straight ahead, degrees."""

AHEAD_READING_RANGE_DEG: Final[tuple[float, float]] = (-15.0, 15.0)
"""The least and greatest camber or pitch straight ahead for which a reading is
foretold, degrees. Within these ranges the cone about the steering axis reaches every
yaw: the sine that is inverted stays below 0.91.
"""


@dataclass(frozen=True, slots=True, eq=False)
class GaugePosition(Value, Generic[T_co]):
    """One reading of the camber gauge; arrays hold many.

    Attributes
    ----------
    yaw_deg : float or array
        Yaw of the wheel in the vehicle frame, left positive: `yaw_from_plate_deg`.
    camber_deg : float or array
        Camber there, positive with the top outward.
    """

    yaw_deg: T_co
    camber_deg: T_co


@dataclass(frozen=True, slots=True, eq=False)
class PitchPosition(Value, Generic[T_co]):
    """One reading of the inclination gauge on a hub that the brake holds.

    Attributes
    ----------
    azimuth_deg : float or array
        Azimuth of the hub's line in the vehicle frame, left positive:
        `hub_line_azimuth_deg`.
    pitch_deg : float or array
        Pitch of the hub's line there, positive nose up.
    """

    azimuth_deg: T_co
    pitch_deg: T_co


@dataclass(frozen=True, slots=True, eq=False)
class AxisAngles(Value, Generic[T_co]):
    """Both projected angles of a steering axis.

    Attributes
    ----------
    caster_deg : float or array
        Caster, in the side view; positive with the top of the axis rearward.
    sai_deg : float or array
        SAI, in the front view; positive with the top of the axis inboard.
    """

    caster_deg: T_co
    sai_deg: T_co


def _gauge(name: str, given: GaugePosition[Numbers]) -> list[Column]:
    return _fields(name, given, GaugePosition)


def _pitch(name: str, given: PitchPosition[Numbers]) -> list[Column]:
    return _fields(name, given, PitchPosition)


def _axis(name: str, given: AxisAngles[Numbers]) -> list[Column]:
    return _fields(name, given, AxisAngles)


def _fields(name: str, given: object, kind: type[Any]) -> list[Column]:
    if not isinstance(given, kind):
        raise TypeError(f"{name} is of type {kind.__name__}, not {given!r:.60}")
    fields = kind.__dataclass_fields__
    return [numbers(f"{name}.{field}", getattr(given, field)) for field in fields]


def _three(
    positions: Sequence[T_co], read: Callable[[str, T_co], list[Column]]
) -> list[Column]:
    if len(positions) != 3:
        raise ValueError(f"positions are three, not {len(positions)}")
    return [
        column
        for place, position in enumerate(positions)
        for column in read(f"positions[{place}]", position)
    ]


@overload
def yaw_from_plate_deg(
    plate_deg: Number,
    *,
    side: Literal["left", "right"],
    toe_deg: Number,
    on_error: Literal["raise"] = "raise",
) -> float: ...
@overload
def yaw_from_plate_deg(
    plate_deg: Number,
    *,
    side: Literal["left", "right"],
    toe_deg: Number,
    on_error: Literal["codes"],
) -> tuple[float, int]: ...
@overload
def yaw_from_plate_deg(
    plate_deg: Numbers,
    *,
    side: Sides,
    toe_deg: Numbers,
    on_error: Literal["raise"] = "raise",
) -> Array: ...
@overload
def yaw_from_plate_deg(
    plate_deg: Numbers, *, side: Sides, toe_deg: Numbers, on_error: Literal["codes"]
) -> tuple[Array, Codes]: ...
def yaw_from_plate_deg(
    plate_deg: Numbers,
    *,
    side: Sides,
    toe_deg: Numbers,
    on_error: Literal["raise", "codes"] = "raise",
) -> object:
    """Find the wheel's yaw from a turning plate: plate − s·toe.

    The plate was zeroed with the wheels straight ahead. s is +1 on the left, −1 on the
    right. A plate whose zero lies along the centreline reads the yaw itself.

    Parameters
    ----------
    plate_deg : float or array
        What the plate reads, degrees, left positive, −60 to 60.
    side : {"left", "right"} or array of them
        Of the wheel.
    toe_deg : float or array
        Toe of this wheel to the centreline, straight ahead, degrees, positive toe-in,
        −10 to 10.
    on_error : {"raise", "codes"}
        ``raise`` raises the first error, whose ``index`` is its place. ``codes`` gives
        a pair: the values, NaN where they fail, and at each place the number of the
        error, 0 for none.

    Returns
    -------
    float or array
        The wheel's yaw in the vehicle frame, degrees, left positive.

    Raises
    ------
    NotFiniteError
        A number is NaN or infinite.
    AngleOutOfRangeError
        A plate beyond ± 60°, or a toe beyond ± 10°.

    Notes
    -----
    Source: definition of this project.

    Examples
    --------
    With 1° of toe-out the left wheel points left before it is steered.

    >>> from wheel_alignment.gauge import yaw_from_plate_deg
    >>> yaw_from_plate_deg(20.0, side=["left", "right"], toe_deg=-1.0).tolist()
    [21.0, 19.0]
    """
    return number(
        "gauge::yaw_from_plate_deg",
        on_error,
        sides(side),
        numbers("plate_deg", plate_deg),
        numbers("toe_deg", toe_deg),
    )


@overload
def hub_line_azimuth_deg(
    wheel: GaugePosition[float],
    *,
    side: Literal["left", "right"],
    pitch_deg: Number,
    on_error: Literal["raise"] = "raise",
) -> float: ...
@overload
def hub_line_azimuth_deg(
    wheel: GaugePosition[float],
    *,
    side: Literal["left", "right"],
    pitch_deg: Number,
    on_error: Literal["codes"],
) -> tuple[float, int]: ...
@overload
def hub_line_azimuth_deg(
    wheel: GaugePosition[Numbers],
    *,
    side: Sides,
    pitch_deg: Numbers,
    on_error: Literal["raise"] = "raise",
) -> Array: ...
@overload
def hub_line_azimuth_deg(
    wheel: GaugePosition[Numbers],
    *,
    side: Sides,
    pitch_deg: Numbers,
    on_error: Literal["codes"],
) -> tuple[Array, Codes]: ...
def hub_line_azimuth_deg(
    wheel: GaugePosition[Numbers],
    *,
    side: Sides,
    pitch_deg: Numbers,
    on_error: Literal["raise", "codes"] = "raise",
) -> object:
    """Find the azimuth of a line of the hub that pitches in the wheel plane.

    yaw + s·asin(tan(pitch)·tan(camber)), with s = +1 on the left and −1 on the right.

    Parameters
    ----------
    wheel : GaugePosition
        Yaw, −60 to 60, and camber, −45 to 45, of the wheel.
    side : {"left", "right"} or array of them
        Of the wheel.
    pitch_deg : float or array
        Pitch of the line, degrees, nose up positive, −45 to 45.
    on_error : {"raise", "codes"}
        ``raise`` raises the first error, whose ``index`` is its place. ``codes`` gives
        a pair: the values, NaN where they fail, and at each place the number of the
        error, 0 for none.

    Returns
    -------
    float or array
        The azimuth in the vehicle frame, degrees, left positive.

    Raises
    ------
    NotFiniteError
        A number is NaN or infinite.
    AngleOutOfRangeError
        A yaw beyond ± 60°, a camber or pitch beyond ± 45°.

    Notes
    -----
    Source: textbook geometry, derived in the module.

    Examples
    --------
    >>> from wheel_alignment.gauge import GaugePosition, hub_line_azimuth_deg
    >>> wheel = GaugePosition(yaw_deg=20.0, camber_deg=3.0)
    >>> print(f"{hub_line_azimuth_deg(wheel, side='left', pitch_deg=5.0):.3f}°")
    20.263°
    """
    return number(
        "gauge::hub_line_azimuth_deg",
        on_error,
        sides(side),
        *_gauge("wheel", wheel),
        numbers("pitch_deg", pitch_deg),
    )


@overload
def axis_from_cambers(
    positions: Sequence[GaugePosition[float]],
    *,
    side: Literal["left", "right"],
    on_error: Literal["raise"] = "raise",
) -> AxisAngles[float]: ...
@overload
def axis_from_cambers(
    positions: Sequence[GaugePosition[float]],
    *,
    side: Literal["left", "right"],
    on_error: Literal["codes"],
) -> tuple[AxisAngles[float], int]: ...
@overload
def axis_from_cambers(
    positions: Sequence[GaugePosition[Numbers]],
    *,
    side: Sides,
    on_error: Literal["raise"] = "raise",
) -> AxisAngles[Array]: ...
@overload
def axis_from_cambers(
    positions: Sequence[GaugePosition[Numbers]],
    *,
    side: Sides,
    on_error: Literal["codes"],
) -> tuple[AxisAngles[Array], Codes]: ...
def axis_from_cambers(
    positions: Sequence[GaugePosition[Numbers]],
    *,
    side: Sides,
    on_error: Literal["raise", "codes"] = "raise",
) -> object:
    """Find caster and SAI, exactly, from the camber at three positions of the wheel.

    For any two of them, with yaw T, camber γ, caster τ, SAI σ: s·(cos γ₁·sin T₁ − cos
    γ₂·sin T₂)·tan τ − (cos γ₁·cos T₁ − cos γ₂·cos T₂)·tan σ = sin γ₁ − sin γ₂, with s =
    +1 on the left and −1 on the right. Two such equations give both.

    Parameters
    ----------
    positions : sequence of 3 GaugePosition
        Yaw, −60 to 60, and camber, −45 to 45, at three positions, in any order.
    side : {"left", "right"} or array of them
        Of the wheel.
    on_error : {"raise", "codes"}
        ``raise`` raises the first error, whose ``index`` is its place. ``codes`` gives
        a pair: the values, NaN where they fail, and at each place the number of the
        error, 0 for none.

    Returns
    -------
    AxisAngles
        Caster, positive with the top rearward, and SAI, positive with the top inboard.

    Raises
    ------
    NotFiniteError
        A number is NaN or infinite.
    AngleOutOfRangeError
        A yaw beyond ± 60° or a camber beyond ± 45°.
    SweepTooSmallError
        Positions more alike than `MIN_SWEEP_THREE_POSITIONS_DEG` allows.

    Notes
    -----
    Source: textbook geometry, derived in the module.

    Examples
    --------
    >>> from wheel_alignment.gauge import GaugePosition, axis_from_cambers
    >>> axis = axis_from_cambers(
    ...     [
    ...         GaugePosition(yaw_deg=-20.0, camber_deg=-1.476249),
    ...         GaugePosition(yaw_deg=0.0, camber_deg=-0.5),
    ...         GaugePosition(yaw_deg=20.0, camber_deg=1.954496),
    ...     ],
    ...     side="left",
    ... )
    >>> print(f"{axis.caster_deg:.3f}° {axis.sai_deg:.3f}°")
    5.000° 12.000°
    """
    return several(
        "gauge::axis_from_cambers",
        on_error,
        AxisAngles,
        2,
        sides(side),
        *_three(positions, _gauge),
    )


@overload
def axis_from_pitches(
    positions: Sequence[PitchPosition[float]],
    *,
    side: Literal["left", "right"],
    on_error: Literal["raise"] = "raise",
) -> AxisAngles[float]: ...
@overload
def axis_from_pitches(
    positions: Sequence[PitchPosition[float]],
    *,
    side: Literal["left", "right"],
    on_error: Literal["codes"],
) -> tuple[AxisAngles[float], int]: ...
@overload
def axis_from_pitches(
    positions: Sequence[PitchPosition[Numbers]],
    *,
    side: Sides,
    on_error: Literal["raise"] = "raise",
) -> AxisAngles[Array]: ...
@overload
def axis_from_pitches(
    positions: Sequence[PitchPosition[Numbers]],
    *,
    side: Sides,
    on_error: Literal["codes"],
) -> tuple[AxisAngles[Array], Codes]: ...
def axis_from_pitches(
    positions: Sequence[PitchPosition[Numbers]],
    *,
    side: Sides,
    on_error: Literal["raise", "codes"] = "raise",
) -> object:
    """Find caster and SAI, exactly, from the pitch of the locked hub, thrice.

    For any two of them, with azimuth T and pitch p of the hub's line, caster τ, SAI σ:
    s·(cos p₁·sin T₁ − cos p₂·sin T₂)·tan σ + (cos p₁·cos T₁ − cos p₂·cos T₂)·tan τ =
    sin p₁ − sin p₂, with s = +1 on the left and −1 on the right. Two such equations
    give both.

    Parameters
    ----------
    positions : sequence of 3 PitchPosition
        Azimuth, −60 to 60, and pitch, −45 to 45, of the hub's line at three positions,
        in any order.
    side : {"left", "right"} or array of them
        Of the wheel.
    on_error : {"raise", "codes"}
        ``raise`` raises the first error, whose ``index`` is its place. ``codes`` gives
        a pair: the values, NaN where they fail, and at each place the number of the
        error, 0 for none.

    Returns
    -------
    AxisAngles
        Caster, positive with the top rearward, and SAI, positive with the top inboard.

    Raises
    ------
    NotFiniteError
        A number is NaN or infinite.
    AngleOutOfRangeError
        An azimuth beyond ± 60° or a pitch beyond ± 45°.
    SweepTooSmallError
        Positions more alike than `MIN_SWEEP_THREE_POSITIONS_DEG` allows.

    Notes
    -----
    Source: textbook geometry, derived in the module.

    Examples
    --------
    >>> from wheel_alignment import gauge
    >>> axis = gauge.AxisAngles(caster_deg=5.0, sai_deg=12.0)
    >>> ahead = gauge.PitchPosition(azimuth_deg=0.0, pitch_deg=0.0)
    >>> def read(azimuth_deg):
    ...     pitch_deg = gauge.pitch_at_azimuth_deg(
    ...         side="right", axis=axis, ahead=ahead, azimuth_deg=azimuth_deg
    ...     )
    ...     return gauge.PitchPosition(azimuth_deg, pitch_deg)
    >>> positions = [read(-20.0), read(0.0), read(20.0)]
    >>> found = gauge.axis_from_pitches(positions, side="right")
    >>> print(f"{found.caster_deg:.6f}° {found.sai_deg:.6f}°")
    5.000000° 12.000000°
    """
    return several(
        "gauge::axis_from_pitches",
        on_error,
        AxisAngles,
        2,
        sides(side),
        *_three(positions, _pitch),
    )


@overload
def caster_by_two_positions_deg(
    *,
    side: Literal["left", "right"],
    turn_deg: Number,
    camber_turned_left_deg: Number,
    camber_turned_right_deg: Number,
    on_error: Literal["raise"] = "raise",
) -> float: ...
@overload
def caster_by_two_positions_deg(
    *,
    side: Literal["left", "right"],
    turn_deg: Number,
    camber_turned_left_deg: Number,
    camber_turned_right_deg: Number,
    on_error: Literal["codes"],
) -> tuple[float, int]: ...
@overload
def caster_by_two_positions_deg(
    *,
    side: Sides,
    turn_deg: Numbers,
    camber_turned_left_deg: Numbers,
    camber_turned_right_deg: Numbers,
    on_error: Literal["raise"] = "raise",
) -> Array: ...
@overload
def caster_by_two_positions_deg(
    *,
    side: Sides,
    turn_deg: Numbers,
    camber_turned_left_deg: Numbers,
    camber_turned_right_deg: Numbers,
    on_error: Literal["codes"],
) -> tuple[Array, Codes]: ...
def caster_by_two_positions_deg(
    *,
    side: Sides,
    turn_deg: Numbers,
    camber_turned_left_deg: Numbers,
    camber_turned_right_deg: Numbers,
    on_error: Literal["raise", "codes"] = "raise",
) -> object:
    """Find caster by the two-position rule.

    tan(caster) = s·(sin γ₁ − sin γ₂)/(2·sin T), with the camber γ₁ turned left and γ₂
    turned right; s is +1 on the left, −1 on the right. It takes cos γ for 1, and so
    leaves SAI out: a few thousandths of a degree on a common car.

    Parameters
    ----------
    side : {"left", "right"} or array of them
        Of the wheel.
    turn_deg : float or array
        The yaw T to either side, degrees, 5 to 60.
    camber_turned_left_deg : float or array
        Camber turned left, degrees, positive with the top outward, −45 to 45.
    camber_turned_right_deg : float or array
        Camber turned right, degrees, positive with the top outward, −45 to 45.
    on_error : {"raise", "codes"}
        ``raise`` raises the first error, whose ``index`` is its place. ``codes`` gives
        a pair: the values, NaN where they fail, and at each place the number of the
        error, 0 for none.

    Returns
    -------
    float or array
        Caster, degrees, positive with the top rearward.

    Raises
    ------
    NotFiniteError
        A number is NaN or infinite.
    AngleOutOfRangeError
        A turn outside 0 to 60° or a camber beyond ± 45°.
    SweepTooSmallError
        A turn below 5°.

    Notes
    -----
    Source: common practice, with published check values.

    Examples
    --------
    >>> from wheel_alignment.gauge import caster_by_two_positions_deg
    >>> caster_deg = caster_by_two_positions_deg(
    ...     side="left",
    ...     turn_deg=20.0,
    ...     camber_turned_left_deg=1.954496,
    ...     camber_turned_right_deg=-1.476249,
    ... )
    >>> print(f"{caster_deg:.2f}°")
    5.00°
    """
    return number(
        "gauge::caster_by_two_positions_deg",
        on_error,
        sides(side),
        numbers("turn_deg", turn_deg),
        numbers("camber_turned_left_deg", camber_turned_left_deg),
        numbers("camber_turned_right_deg", camber_turned_right_deg),
    )


@overload
def caster_by_linear_rule_deg(
    *,
    side: Literal["left", "right"],
    turn_deg: Number,
    camber_turned_left_deg: Number,
    camber_turned_right_deg: Number,
    on_error: Literal["raise"] = "raise",
) -> float: ...
@overload
def caster_by_linear_rule_deg(
    *,
    side: Literal["left", "right"],
    turn_deg: Number,
    camber_turned_left_deg: Number,
    camber_turned_right_deg: Number,
    on_error: Literal["codes"],
) -> tuple[float, int]: ...
@overload
def caster_by_linear_rule_deg(
    *,
    side: Sides,
    turn_deg: Numbers,
    camber_turned_left_deg: Numbers,
    camber_turned_right_deg: Numbers,
    on_error: Literal["raise"] = "raise",
) -> Array: ...
@overload
def caster_by_linear_rule_deg(
    *,
    side: Sides,
    turn_deg: Numbers,
    camber_turned_left_deg: Numbers,
    camber_turned_right_deg: Numbers,
    on_error: Literal["codes"],
) -> tuple[Array, Codes]: ...
def caster_by_linear_rule_deg(
    *,
    side: Sides,
    turn_deg: Numbers,
    camber_turned_left_deg: Numbers,
    camber_turned_right_deg: Numbers,
    on_error: Literal["raise", "codes"] = "raise",
) -> object:
    """Find caster by the customary linear rule.

    s·(γ₁ − γ₂)·1/(2·sin T), with the camber γ₁ turned left and γ₂ turned right; s is +1
    on the left, −1 on the right. At 20° the factor is 1.4619. It takes each sine and
    tangent for its angle: 0.2 % too much at 4.3° of caster.

    Parameters
    ----------
    side : {"left", "right"} or array of them
        Of the wheel.
    turn_deg : float or array
        The yaw T to either side, degrees, 5 to 60.
    camber_turned_left_deg : float or array
        Camber turned left, degrees, positive with the top outward, −45 to 45.
    camber_turned_right_deg : float or array
        Camber turned right, degrees, positive with the top outward, −45 to 45.
    on_error : {"raise", "codes"}
        ``raise`` raises the first error, whose ``index`` is its place. ``codes`` gives
        a pair: the values, NaN where they fail, and at each place the number of the
        error, 0 for none.

    Returns
    -------
    float or array
        Caster, degrees, positive with the top rearward.

    Raises
    ------
    NotFiniteError
        A number is NaN or infinite.
    AngleOutOfRangeError
        A turn outside 0 to 60°, a camber beyond ± 45°, or a caster beyond ± 90°.
    SweepTooSmallError
        A turn below 5°.

    Notes
    -----
    Source: common practice, with published check values.

    Examples
    --------
    >>> from wheel_alignment.gauge import caster_by_linear_rule_deg
    >>> caster_deg = caster_by_linear_rule_deg(
    ...     side="left",
    ...     turn_deg=20.0,
    ...     camber_turned_left_deg=1.10,
    ...     camber_turned_right_deg=-1.86,
    ... )
    >>> print(f"{caster_deg:.3f}°")
    4.327°
    """
    return number(
        "gauge::caster_by_linear_rule_deg",
        on_error,
        sides(side),
        numbers("turn_deg", turn_deg),
        numbers("camber_turned_left_deg", camber_turned_left_deg),
        numbers("camber_turned_right_deg", camber_turned_right_deg),
    )


@overload
def sai_by_two_positions_deg(
    *,
    side: Literal["left", "right"],
    turn_deg: Number,
    pitch_turned_left_deg: Number,
    pitch_turned_right_deg: Number,
    on_error: Literal["raise"] = "raise",
) -> float: ...
@overload
def sai_by_two_positions_deg(
    *,
    side: Literal["left", "right"],
    turn_deg: Number,
    pitch_turned_left_deg: Number,
    pitch_turned_right_deg: Number,
    on_error: Literal["codes"],
) -> tuple[float, int]: ...
@overload
def sai_by_two_positions_deg(
    *,
    side: Sides,
    turn_deg: Numbers,
    pitch_turned_left_deg: Numbers,
    pitch_turned_right_deg: Numbers,
    on_error: Literal["raise"] = "raise",
) -> Array: ...
@overload
def sai_by_two_positions_deg(
    *,
    side: Sides,
    turn_deg: Numbers,
    pitch_turned_left_deg: Numbers,
    pitch_turned_right_deg: Numbers,
    on_error: Literal["codes"],
) -> tuple[Array, Codes]: ...
def sai_by_two_positions_deg(
    *,
    side: Sides,
    turn_deg: Numbers,
    pitch_turned_left_deg: Numbers,
    pitch_turned_right_deg: Numbers,
    on_error: Literal["raise", "codes"] = "raise",
) -> object:
    """Find SAI by the two-position rule.

    tan(SAI) = s·(sin p₁ − sin p₂)/(2·sin T), with the pitch p₁ of the locked wheel's
    hub turned left and p₂ turned right; s is +1 on the left, −1 on the right. It takes
    cos p for 1, and so leaves caster out.

    Parameters
    ----------
    side : {"left", "right"} or array of them
        Of the wheel.
    turn_deg : float or array
        The yaw T to either side, degrees, 5 to 60.
    pitch_turned_left_deg : float or array
        Pitch of the locked wheel's hub turned left, degrees, nose up positive, −45 to
        45.
    pitch_turned_right_deg : float or array
        Pitch of the locked wheel's hub turned right, degrees, nose up positive, −45 to
        45.
    on_error : {"raise", "codes"}
        ``raise`` raises the first error, whose ``index`` is its place. ``codes`` gives
        a pair: the values, NaN where they fail, and at each place the number of the
        error, 0 for none.

    Returns
    -------
    float or array
        SAI, degrees, positive with the top inboard.

    Raises
    ------
    NotFiniteError
        A number is NaN or infinite.
    AngleOutOfRangeError
        A turn outside 0 to 60° or a pitch beyond ± 45°.
    SweepTooSmallError
        A turn below 5°.

    Notes
    -----
    Source: common practice, no source.

    Examples
    --------
    >>> from wheel_alignment.gauge import sai_by_two_positions_deg
    >>> sai_deg = sai_by_two_positions_deg(
    ...     side="left",
    ...     turn_deg=20.0,
    ...     pitch_turned_left_deg=4.0,
    ...     pitch_turned_right_deg=-4.1,
    ... )
    >>> print(f"{sai_deg:.1f}°")
    11.7°
    """
    return number(
        "gauge::sai_by_two_positions_deg",
        on_error,
        sides(side),
        numbers("turn_deg", turn_deg),
        numbers("pitch_turned_left_deg", pitch_turned_left_deg),
        numbers("pitch_turned_right_deg", pitch_turned_right_deg),
    )


@overload
def sai_by_linear_rule_deg(
    *,
    side: Literal["left", "right"],
    turn_deg: Number,
    pitch_turned_left_deg: Number,
    pitch_turned_right_deg: Number,
    on_error: Literal["raise"] = "raise",
) -> float: ...
@overload
def sai_by_linear_rule_deg(
    *,
    side: Literal["left", "right"],
    turn_deg: Number,
    pitch_turned_left_deg: Number,
    pitch_turned_right_deg: Number,
    on_error: Literal["codes"],
) -> tuple[float, int]: ...
@overload
def sai_by_linear_rule_deg(
    *,
    side: Sides,
    turn_deg: Numbers,
    pitch_turned_left_deg: Numbers,
    pitch_turned_right_deg: Numbers,
    on_error: Literal["raise"] = "raise",
) -> Array: ...
@overload
def sai_by_linear_rule_deg(
    *,
    side: Sides,
    turn_deg: Numbers,
    pitch_turned_left_deg: Numbers,
    pitch_turned_right_deg: Numbers,
    on_error: Literal["codes"],
) -> tuple[Array, Codes]: ...
def sai_by_linear_rule_deg(
    *,
    side: Sides,
    turn_deg: Numbers,
    pitch_turned_left_deg: Numbers,
    pitch_turned_right_deg: Numbers,
    on_error: Literal["raise", "codes"] = "raise",
) -> object:
    """Find SAI by the customary linear rule.

    s·(p₁ − p₂)·1/(2·sin T), with the pitch p₁ of the locked wheel's hub turned left and
    p₂ turned right; s is +1 on the left, −1 on the right. It takes each sine and
    tangent for its angle: 1.5 % too much at 12° of SAI.

    Parameters
    ----------
    side : {"left", "right"} or array of them
        Of the wheel.
    turn_deg : float or array
        The yaw T to either side, degrees, 5 to 60.
    pitch_turned_left_deg : float or array
        Pitch of the locked wheel's hub turned left, degrees, nose up positive, −45 to
        45.
    pitch_turned_right_deg : float or array
        Pitch of the locked wheel's hub turned right, degrees, nose up positive, −45 to
        45.
    on_error : {"raise", "codes"}
        ``raise`` raises the first error, whose ``index`` is its place. ``codes`` gives
        a pair: the values, NaN where they fail, and at each place the number of the
        error, 0 for none.

    Returns
    -------
    float or array
        SAI, degrees, positive with the top inboard.

    Raises
    ------
    NotFiniteError
        A number is NaN or infinite.
    AngleOutOfRangeError
        A turn outside 0 to 60°, a pitch beyond ± 45°, or an SAI beyond ± 90°.
    SweepTooSmallError
        A turn below 5°.

    Notes
    -----
    Source: common practice, no source.

    Examples
    --------
    >>> from wheel_alignment.gauge import sai_by_linear_rule_deg
    >>> sai_deg = sai_by_linear_rule_deg(
    ...     side="left",
    ...     turn_deg=20.0,
    ...     pitch_turned_left_deg=4.0,
    ...     pitch_turned_right_deg=-4.1,
    ... )
    >>> print(f"{sai_deg:.2f}°")
    11.84°
    """
    return number(
        "gauge::sai_by_linear_rule_deg",
        on_error,
        sides(side),
        numbers("turn_deg", turn_deg),
        numbers("pitch_turned_left_deg", pitch_turned_left_deg),
        numbers("pitch_turned_right_deg", pitch_turned_right_deg),
    )


@overload
def camber_at_yaw_deg(
    *,
    side: Literal["left", "right"],
    axis: AxisAngles[float],
    ahead: GaugePosition[float],
    yaw_deg: Number,
    on_error: Literal["raise"] = "raise",
) -> float: ...
@overload
def camber_at_yaw_deg(
    *,
    side: Literal["left", "right"],
    axis: AxisAngles[float],
    ahead: GaugePosition[float],
    yaw_deg: Number,
    on_error: Literal["codes"],
) -> tuple[float, int]: ...
@overload
def camber_at_yaw_deg(
    *,
    side: Sides,
    axis: AxisAngles[Numbers],
    ahead: GaugePosition[Numbers],
    yaw_deg: Numbers,
    on_error: Literal["raise"] = "raise",
) -> Array: ...
@overload
def camber_at_yaw_deg(
    *,
    side: Sides,
    axis: AxisAngles[Numbers],
    ahead: GaugePosition[Numbers],
    yaw_deg: Numbers,
    on_error: Literal["codes"],
) -> tuple[Array, Codes]: ...
def camber_at_yaw_deg(
    *,
    side: Sides,
    axis: AxisAngles[Numbers],
    ahead: GaugePosition[Numbers],
    yaw_deg: Numbers,
    on_error: Literal["raise", "codes"] = "raise",
) -> object:
    """Foretell the camber that a wheel shows at a yaw: what a gauge must read.

    With A(T) = s·sin T·tan(caster) − cos T·tan(SAI) the spindle's cone is A·cos γ − sin
    γ = C, and C is known straight ahead. It is
    γ = 2·atan((A − C)/(1 + √(1 + A² − C²))); s is +1 on the left, −1 on the right. The
    yaw straight ahead is −s·toe: `yaw_from_plate_deg` at a plate of 0.

    Parameters
    ----------
    side : {"left", "right"} or array of them
        Of the wheel.
    axis : AxisAngles
        Caster and SAI, each −30 to 30.
    ahead : GaugePosition
        Yaw, −10 to 10, and camber, −15 to 15, straight ahead.
    yaw_deg : float or array
        The yaw, degrees, left positive, −60 to 60.
    on_error : {"raise", "codes"}
        ``raise`` raises the first error, whose ``index`` is its place. ``codes`` gives
        a pair: the values, NaN where they fail, and at each place the number of the
        error, 0 for none.

    Returns
    -------
    float or array
        Camber, degrees, positive with the top outward.

    Raises
    ------
    NotFiniteError
        A number is NaN or infinite.
    AngleOutOfRangeError
        Caster or SAI beyond ± 30°, a yaw beyond ± 60°, and straight ahead a yaw beyond
        ± 10° or a camber beyond ± 15°.

    Notes
    -----
    Source: textbook geometry, derived in the module.

    Examples
    --------
    >>> from wheel_alignment.gauge import AxisAngles, GaugePosition, camber_at_yaw_deg
    >>> cambers_deg = camber_at_yaw_deg(
    ...     side="left",
    ...     axis=AxisAngles(caster_deg=5.0, sai_deg=12.0),
    ...     ahead=GaugePosition(yaw_deg=0.0, camber_deg=-0.5),
    ...     yaw_deg=[-20.0, 0.0, 20.0],
    ... )
    >>> cambers_deg.round(6).tolist()
    [-1.476249, -0.5, 1.954496]
    """
    return number(
        "gauge::camber_at_yaw_deg",
        on_error,
        sides(side),
        *_axis("axis", axis),
        *_gauge("ahead", ahead),
        numbers("yaw_deg", yaw_deg),
    )


@overload
def pitch_at_azimuth_deg(
    *,
    side: Literal["left", "right"],
    axis: AxisAngles[float],
    ahead: PitchPosition[float],
    azimuth_deg: Number,
    on_error: Literal["raise"] = "raise",
) -> float: ...
@overload
def pitch_at_azimuth_deg(
    *,
    side: Literal["left", "right"],
    axis: AxisAngles[float],
    ahead: PitchPosition[float],
    azimuth_deg: Number,
    on_error: Literal["codes"],
) -> tuple[float, int]: ...
@overload
def pitch_at_azimuth_deg(
    *,
    side: Sides,
    axis: AxisAngles[Numbers],
    ahead: PitchPosition[Numbers],
    azimuth_deg: Numbers,
    on_error: Literal["raise"] = "raise",
) -> Array: ...
@overload
def pitch_at_azimuth_deg(
    *,
    side: Sides,
    axis: AxisAngles[Numbers],
    ahead: PitchPosition[Numbers],
    azimuth_deg: Numbers,
    on_error: Literal["codes"],
) -> tuple[Array, Codes]: ...
def pitch_at_azimuth_deg(
    *,
    side: Sides,
    axis: AxisAngles[Numbers],
    ahead: PitchPosition[Numbers],
    azimuth_deg: Numbers,
    on_error: Literal["raise", "codes"] = "raise",
) -> object:
    """Foretell the pitch that a line of the locked hub shows at an azimuth.

    What a gauge must read. With B(T) = cos T·tan(caster) + s·sin T·tan(SAI) the line's
    cone is B·cos p − sin p = C, and C is known straight ahead. It is
    p = 2·atan((B − C)/(1 + √(1 + B² − C²))); s is +1 on the left, −1 on the right.

    Parameters
    ----------
    side : {"left", "right"} or array of them
        Of the wheel.
    axis : AxisAngles
        Caster and SAI, each −30 to 30.
    ahead : PitchPosition
        Azimuth, −10 to 10, and pitch, −15 to 15, straight ahead.
    azimuth_deg : float or array
        The azimuth, degrees, left positive, −60 to 60.
    on_error : {"raise", "codes"}
        ``raise`` raises the first error, whose ``index`` is its place. ``codes`` gives
        a pair: the values, NaN where they fail, and at each place the number of the
        error, 0 for none.

    Returns
    -------
    float or array
        Pitch, degrees, nose up positive.

    Raises
    ------
    NotFiniteError
        A number is NaN or infinite.
    AngleOutOfRangeError
        Caster or SAI beyond ± 30°, an azimuth beyond ± 60°, and straight ahead an
        azimuth beyond ± 10° or a pitch beyond ± 15°.

    Notes
    -----
    Source: textbook geometry, derived in the module.

    Examples
    --------
    With SAI the left wheel's nose rises in a left turn, here by atan(sin 20°·tan 12°).

    >>> from wheel_alignment.gauge import AxisAngles, PitchPosition
    >>> from wheel_alignment.gauge import pitch_at_azimuth_deg
    >>> pitch_deg = pitch_at_azimuth_deg(
    ...     side="left",
    ...     axis=AxisAngles(caster_deg=0.0, sai_deg=12.0),
    ...     ahead=PitchPosition(azimuth_deg=0.0, pitch_deg=0.0),
    ...     azimuth_deg=20.0,
    ... )
    >>> print(f"{pitch_deg:.3f}°")
    4.158°
    """
    return number(
        "gauge::pitch_at_azimuth_deg",
        on_error,
        sides(side),
        *_axis("axis", axis),
        *_pitch("ahead", ahead),
        numbers("azimuth_deg", azimuth_deg),
    )
