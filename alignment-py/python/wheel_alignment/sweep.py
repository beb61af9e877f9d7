"""The caster sweep station by station, to be drawn and taught from.

As a wheel is steered its spindle stays on a cone about the steering axis, so its camber
changes: with caster in step with the steer angle, one way to the left and the other way
to the right; with SAI alike to both sides. Camber over steer angle shows caster as a
slope and SAI as a bend.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from wheel_alignment import _inputs, _native
from wheel_alignment._inputs import SessionLike
from wheel_alignment._tables import Column, Table
from wheel_alignment._values import Tree, Value, Vector, from_json
from wheel_alignment.compensation import Residual
from wheel_alignment.steering import SteeringAxisReadings

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.axes import Axes


@dataclass(frozen=True, slots=True, eq=False)
class SweptStation(Value):
    """One front wheel at one station of the sweep.

    In the vehicle frame as it stood at the ahead station. Where the session says that
    the body is found again, its motion is taken out.

    Attributes
    ----------
    station : int
        Which station of the sweep, counted from 0 as in the session.
    steer_deg : float
        Steer angle from the wheel's own heading straight ahead, degrees; positive to
        the left.
    camber_deg : float
        Camber, degrees; positive with the top outward.
    spindle : tuple of 3 floats
        Spindle, unit vector outward.
    centre_mm : tuple of 3 floats
        Wheel centre, mm: x forward, y left, z up.
    residual : Residual or None
        How far the station lies from the fixed axis: direction and position. None when
        there is none.
    """

    station: int
    steer_deg: float
    camber_deg: float
    spindle: Vector
    centre_mm: Vector
    residual: Residual | None


@dataclass(frozen=True, slots=True, eq=False)
class SweptWheel(Value):
    """One front wheel in the sweep.

    Attributes
    ----------
    axis : SteeringAxisReadings
        The fixed axis that fits the stations best: the very readings that `measure`
        gives of this side.
    stations : tuple of SweptStation
        The stations that saw the wheel, in the order in which they were taken.
    """

    axis: SteeringAxisReadings
    stations: tuple[SweptStation, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Sweep(Tree, Table):
    """What `follow` returns: a sweep, station by station.

    As a table it has one row for each wheel and station: ``side``, ``station``,
    ``steer_deg``, ``camber_deg``, ``spindle_x`` to ``spindle_z``, ``centre_x_mm`` to
    ``centre_z_mm``, and the residuals ``rotation_deg`` and ``translation_mm``.

    Attributes
    ----------
    left, right : SweptWheel
        The left and the right front wheel.
    sweep_wheels_locked : bool
        Whether the brake held the wheels to their knuckles, or they rolled as they were
        steered.
    method : str
        How the axes were estimated: ``staged`` or ``joint``.
    """

    left: SweptWheel
    right: SweptWheel
    sweep_wheels_locked: bool
    method: str

    def _columns(self) -> list[Column]:
        rows = [
            (side, station)
            for side, wheel in (("left", self.left), ("right", self.right))
            for station in wheel.stations
        ]
        off = [station.residual for _, station in rows]
        spindle = [
            Column(
                f"spindle_{axis}", "number", [station.spindle[i] for _, station in rows]
            )
            for i, axis in enumerate("xyz")
        ]
        centre = [
            Column(
                f"centre_{axis}_mm",
                "number",
                [station.centre_mm[i] for _, station in rows],
            )
            for i, axis in enumerate("xyz")
        ]
        return [
            Column("side", "text", [side for side, _ in rows]),
            Column("station", "count", [station.station for _, station in rows]),
            Column("steer_deg", "number", [station.steer_deg for _, station in rows]),
            Column("camber_deg", "number", [station.camber_deg for _, station in rows]),
            *spindle,
            *centre,
            Column("rotation_deg", "number", [of and of.rotation_deg for of in off]),
            Column(
                "translation_mm", "number", [of and of.translation_mm for of in off]
            ),
        ]

    def plot(self, *, ax: Sequence[Axes] | None = None) -> tuple[Axes, Axes, Axes]:
        """Draw camber against steer angle, and how far each station is off the axis.

        A wheel that turns about its fitted axis follows the curve; the marks are what
        was seen. Caster is the slope of the curve, SAI its bend. Below stands what
        one fixed axis leaves over, in direction and in position.

        Parameters
        ----------
        ax : sequence of 3 Axes, optional
            Where to draw camber, directions and positions; on a new figure when left
            out.

        Returns
        -------
        tuple of 3 Axes
            Their ``figure`` can be shown and saved.

        Raises
        ------
        ImportError
            Matplotlib, the extra ``plot``, is not installed.
        """
        from wheel_alignment import _plots

        return _plots.sweep(self, ax)


def follow(
    session: SessionLike, *, method: Literal["staged", "joint"] | None = None
) -> Sweep:
    """Follow the front wheels of a session through the sweep.

    What `measure` says of the same session holds here to the last bit.

    Parameters
    ----------
    session : Session, mapping, str or path-like
        What the rig hands over, as `measure` takes it.
    method : {"staged", "joint"}, optional
        As `measure` takes it.

    Returns
    -------
    Sweep
        Steer angle, camber, spindle and wheel centre at each station, degrees and mm,
        and how far each lies from the fitted axis. A wheel that was not seen has no
        stations.

    Raises
    ------
    MissingInputError
        The session has no sweep, or lacks what `measure` needs.
    AlignmentError
        One subclass per code, as `measure`:
        `NotFiniteError`, `NotARotationError`, `ReflectionError`,
        `LengthOutOfRangeError`, `NotUnitLengthError`, `AngleOutOfRangeError`,
        `WheelNotSeenError`, `TooFewStationsError`, `RollTooSmallError`,
        `RollFullTurnError`, `SweepTooSmallError`, `UpInvertedError`,
        `SidesSwappedError`, `EndsSwappedError`, `MirroredError`,
        `SpindleNotLateralError`, `NotStillError`, `DifferentVehiclesError`,
        `RearWheelSteerError`, `TooManyError`, `ContradictionError`,
        `NotACovarianceError`, `NotDeterminedError` or `NotConvergedError`;
        `NotASessionError` and `ThirdAxleError` when it cannot be read.

    Notes
    -----
    By the stages the root mean square of the residuals over the stations is the axis'
    ``residual_deg`` and ``residual_mm``. By the joint fit clamps, body and axis are
    those of the fit, a steer angle is where the fit puts the wheel, spindle and wheel
    centre are where its target was seen; the root mean square is the axis' own again,
    and a pose that was left out has no station.

    Examples
    --------
    An invented car, swept by 20° to either side:

    >>> from wheel_alignment import sweep
    >>> from wheel_alignment.simulate import VirtualVehicle
    >>> swept = sweep.follow(VirtualVehicle().session())
    >>> axis = swept.left.axis
    >>> print(f"caster {axis.caster_deg:.2f}°, SAI {axis.sai_deg:.2f}°")
    caster 4.00°, SAI 13.00°
    >>> for station in swept.left.stations[::4]:
    ...     print(f"{station.steer_deg:7.2f}° {station.camber_deg:6.2f}°")
     -18.42°  -1.08°
       0.00°  -0.50°
      20.62°   1.76°
    """
    return from_json(Sweep, _native.sweep(_inputs.session(session), method))
