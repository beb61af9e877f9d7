"""Rolling stations → where each wheel sits in its target."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

from wheel_alignment import _arrays, _native, _stations, pose
from wheel_alignment._values import Value, Vector, from_json
from wheel_alignment.error import Warning, WheelNotSeenError
from wheel_alignment.session import ByAxle, ByWheel

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from wheel_alignment._types import Array as Floats
    from wheel_alignment.pose import PoseLike
    from wheel_alignment.session import PerWheel, StationsLike

SHORT_ROLL_DEG: Final[float] = 20.0
"""The roll below which the result carries a warning, degrees. Common practice: 20° to
45°.
"""

MIN_ROLL_DEG: Final[float] = 10.0
"""The least roll angle between the extreme stations, degrees."""


@dataclass(frozen=True, slots=True, eq=False)
class Residual(Value):
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


@dataclass(frozen=True, slots=True, eq=False)
class Compensation(Value):
    """Where a wheel sits in the target clamped to it.

    Attributes
    ----------
    spindle_in_target : tuple of 3 floats
        The spindle, unit vector outward, in the target frame.
    centre_in_target_mm : tuple of 3 floats
        The wheel centre in the target frame, mm.
    runout_deg : float
        Runout of the clamp, degrees: the angle between the spindle and the nearest axis
        of the target. It says nothing about the wheel.
    rolling_radius_mm : float or None
        Travel of the wheel centre over roll angle, mm. None when the wheel was spun.
    roll_range_deg : float
        Roll angle between the extreme stations, degrees.
    """

    spindle_in_target: Vector
    centre_in_target_mm: Vector
    runout_deg: float
    rolling_radius_mm: float | None
    roll_range_deg: float


@dataclass(frozen=True, slots=True, eq=False)
class ClampCompensation(Value):
    """The compensation of the wheels, with what the fit left over.

    Attributes
    ----------
    wheels : ByWheel of Compensation or None
        Where each wheel sits in its target. None for a wheel that was not seen often
        enough.
    travel_direction_in_rig : tuple of 3 floats or None
        The direction in which the car travelled as it rolled forward: unit vector,
        horizontal, in the rig frame. None when the wheels were spun.
    residuals : tuple of ByWheel of Residual or None
        Per station and wheel: how far the pose lies from the fitted motion. None where
        the wheel was not seen.
    warnings : tuple of Warning
        What is weak in it.
    """

    wheels: ByWheel[Compensation | None]
    travel_direction_in_rig: Vector | None
    residuals: tuple[ByWheel[Residual | None], ...]
    warnings: tuple[Warning, ...]

    def all_wheels(self) -> ByWheel[Compensation]:
        """Return the compensation of all four wheels.

        Raises
        ------
        WheelNotSeenError
            A wheel has none.
        """

        def of(wheel: str) -> Compensation:
            found: Compensation | None = getattr(self.wheels, wheel)
            if found is None:
                raise WheelNotSeenError(
                    f"rolling.{wheel}: the wheel's target was not seen often enough",
                    stage="rolling",
                    wheel=wheel,
                )
            return found

        return ByWheel(of("fl"), of("fr"), of("rl"), of("rr"))


def from_rolling(
    rolling: StationsLike,
    *,
    up: ArrayLike,
    clamp_standoff_mm: PerWheel,
    loaded_radius_mm: float
    | ByAxle[float | None]
    | Mapping[str, float | None]
    | None = None,
    body: Literal["translates", "turns"] = "translates",
) -> ClampCompensation:
    """Compensate the clamps from stations at which the car was rolled without slip.

    Parameters
    ----------
    rolling : array of shape (S, 4, 4, 4) or pose-like
        ``rig_from_target`` by station and wheel, as `Session.from_arrays` takes it. The
        order of the stations does not matter.
    up : array-like of 3 numbers
        Unit vector upward in the rig frame.
    clamp_standoff_mm : number, 4 numbers or mapping of wheels
        From the wheel's centre plane outward along the spindle to the target's origin,
        mm.
    loaded_radius_mm : number or mapping of axles, optional
        Loaded radius, mm. It stands in for the rolling radius where no wheel was seen
        at three distinct stations, since two cannot give it.
    body : {"translates", "turns"}
        What the body may do while the car is rolled. One that turns needs three
        stations.

    Returns
    -------
    ClampCompensation
        A wheel whose camera was blocked too often is None, with a warning.

    Raises
    ------
    AlignmentError
        As the poses; too few stations, too little roll or a full turn, sides or up
        exchanged, a length that no car has.

    Examples
    --------
    >>> from wheel_alignment import compensation
    >>> from wheel_alignment.simulate import VirtualVehicle
    >>> poses = VirtualVehicle().session().to_arrays()
    >>> rolled = compensation.from_rolling(
    ...     poses["rolling"], up=[0, 0, 1], clamp_standoff_mm=90
    ... )
    >>> print(f"{rolled.wheels.fl.rolling_radius_mm:.3f} mm")
    308.000 mm
    """
    arguments = {
        "up": _arrays.three(up, "up"),
        "clamp_standoff_mm": _stations.per_wheel(
            clamp_standoff_mm, "clamp_standoff_mm"
        ),
        "loaded_radius_mm": _stations.per_axle(loaded_radius_mm),
        "body": body,
    }
    stations = _stations.stations(rolling, "rolling")
    return from_json(ClampCompensation, _native.from_rolling(stations, arguments))


def from_spinning(
    spinning: StationsLike, *, up: ArrayLike, clamp_standoff_mm: PerWheel
) -> ClampCompensation:
    """Compensate the clamps from stations at which raised wheels were spun by hand.

    Lift and secure the car as its maker says, and keep clear of wheels that turn.

    Parameters
    ----------
    spinning : array of shape (S, 4, 4, 4) or pose-like
        ``rig_from_target`` by station and wheel, as `Session.from_arrays` takes it. A
        station holds the wheel that is spun; others may stand in it too, if the body
        stands still.
    up : array-like of 3 numbers
        Unit vector upward in the rig frame.
    clamp_standoff_mm : number, 4 numbers or mapping of wheels
        As `from_rolling`.

    Returns
    -------
    ClampCompensation
        There is no travel, hence no rolling radius.

    Raises
    ------
    AlignmentError
        As `from_rolling`.

    Examples
    --------
    >>> from wheel_alignment import compensation
    >>> from wheel_alignment.simulate import VirtualVehicle
    >>> poses = VirtualVehicle(compensation="spun").session().to_arrays()
    >>> spun = compensation.from_spinning(
    ...     poses["rolling"], up=[0, 0, 1], clamp_standoff_mm=90
    ... )
    >>> print(f"{spun.wheels.rr.runout_deg:.3f}°")
    1.600°
    """
    arguments = {
        "up": _arrays.three(up, "up"),
        "clamp_standoff_mm": _stations.per_wheel(
            clamp_standoff_mm, "clamp_standoff_mm"
        ),
    }
    stations = _stations.stations(spinning, "spinning")
    return from_json(ClampCompensation, _native.from_spinning(stations, arguments))


def wheel_from_rolling(
    poses: PoseLike,
    *,
    side: Literal["left", "right"],
    forward: ArrayLike,
    up: ArrayLike,
    clamp_standoff_mm: float,
    loaded_radius_mm: float | None = None,
) -> Compensation:
    """Compensate the clamp of one wheel alone that was rolled without slip.

    Parameters
    ----------
    poses : array of shape (S, 4, 4) or pose-like
        ``rig_from_target`` at each station, in any form of `pose.as_matrix4`.
    side : {"left", "right"}
        The side of the wheel: outward cannot be told from one wheel.
    forward : array-like of 3 numbers
        Unit vector forward in the rig frame, roughly.
    up : array-like of 3 numbers
        Unit vector upward in the rig frame.
    clamp_standoff_mm : float
        From the wheel's centre plane outward along the spindle to the target's origin,
        mm.
    loaded_radius_mm : float, optional
        Loaded radius, mm. It stands in for the rolling radius when there are two
        distinct stations only.

    Returns
    -------
    Compensation
        Where the wheel sits in its target.

    Raises
    ------
    AlignmentError
        As `from_rolling`; a `forward` more than 60° from level.

    Examples
    --------
    >>> from wheel_alignment import compensation
    >>> roll = [0.0, 0.4, 0.8]
    >>> wheel = compensation.wheel_from_rolling(
    ...     {
    ...         "rotation_vector_rad": [[0, angle, 0] for angle in roll],
    ...         "translation_mm": [[310 * angle, 760, 310] for angle in roll],
    ...     },
    ...     side="left",
    ...     forward=[1, 0, 0],
    ...     up=[0, 0, 1],
    ...     clamp_standoff_mm=80,
    ... )
    >>> print(f"{wheel.rolling_radius_mm:.3f} mm")
    310.000 mm
    """
    arguments = _turned(side, forward, up, clamp_standoff_mm)
    arguments["loaded_radius_mm"] = loaded_radius_mm
    stack = _arrays.packed(_one_wheel(poses))
    return from_json(Compensation, _native.wheel_from_rolling(stack, arguments))


def wheel_from_spinning(
    poses: PoseLike,
    *,
    side: Literal["left", "right"],
    forward: ArrayLike,
    up: ArrayLike,
    clamp_standoff_mm: float,
) -> Compensation:
    """Compensate the clamp of one wheel alone that was spun with the car raised.

    Lift and secure the car as its maker says, and keep clear of wheels that turn.

    Parameters
    ----------
    poses : array of shape (S, 4, 4) or pose-like
        ``rig_from_target`` at each station, in any form of `pose.as_matrix4`.
    side, forward, up, clamp_standoff_mm
        As `wheel_from_rolling`.

    Returns
    -------
    Compensation
        Where the wheel sits in its target, without a rolling radius.

    Raises
    ------
    AlignmentError
        As `wheel_from_rolling`.

    Examples
    --------
    >>> from wheel_alignment import compensation
    >>> wheel = compensation.wheel_from_spinning(
    ...     {
    ...         "rotation_vector_rad": [[0, angle, 0] for angle in (0, 2, 4)],
    ...         "translation_mm": [[0, 760, 310]] * 3,
    ...     },
    ...     side="left",
    ...     forward=[1, 0, 0],
    ...     up=[0, 0, 1],
    ...     clamp_standoff_mm=80,
    ... )
    >>> print(f"{wheel.centre_in_target_mm[1]:.3f} mm")
    -80.000 mm
    """
    arguments = _turned(side, forward, up, clamp_standoff_mm)
    stack = _arrays.packed(_one_wheel(poses))
    return from_json(Compensation, _native.wheel_from_spinning(stack, arguments))


def _turned(
    side: str, forward: ArrayLike, up: ArrayLike, clamp_standoff_mm: float
) -> dict[str, object]:
    return {
        "side": side,
        "forward": _arrays.three(forward, "forward"),
        "up": _arrays.three(up, "up"),
        "clamp_standoff_mm": clamp_standoff_mm,
    }


def _one_wheel(poses: PoseLike) -> Floats:
    stack = pose.as_matrix4(poses)
    if stack.ndim != 3:
        raise ValueError(f"poses: shape (S, 4, 4) is needed, not {stack.shape}")
    return stack
