"""A virtual vehicle with known truth: tests, demos, exercises.

A rigid car with known camber, toe, caster, SAI, offsets and clamp errors, that hands
over poses as a rig would. It is invented. `VirtualVehicle.session` is the exercise,
`VirtualVehicle.truth` the answer key. `Faults` give it what an instructor wants found:
a bent knuckle, a shifted subframe, a camera that sees nothing.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final, Literal

from wheel_alignment import _arrays, _native
from wheel_alignment._values import Value, build_fields, from_json
from wheel_alignment.alignment import Alignment
from wheel_alignment.pose import Pose
from wheel_alignment.session import PoseNoise, Reference, Session

if TYPE_CHECKING:
    from typing_extensions import Self


@dataclass(frozen=True, slots=True, eq=False)
class Clamp(Value):
    """How a target sits on its wheel.

    All zero, it sits true: its z axis is the spindle, outward, its y axis up.

    Attributes
    ----------
    standoff_mm : float
        From the wheel's centre plane outward along the spindle to the target's origin,
        mm.
    eccentricity_mm : tuple of 2 floats
        How far the target's origin lies off the spindle: rearward and upward, mm.
    tilt_deg : float
        Tilt of the target's z axis from the spindle, degrees: the runout.
    tilt_bearing_deg : float
        The direction of that tilt about the spindle, degrees.
    clock_deg : float
        How far the target is turned on the clamp about its own z axis, degrees.
    """

    standoff_mm: float = 0.0
    eccentricity_mm: tuple[float, float] = (0.0, 0.0)
    tilt_deg: float = 0.0
    tilt_bearing_deg: float = 0.0
    clock_deg: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class VirtualWheel(Value):
    """One virtual wheel, straight ahead.

    Attributes
    ----------
    camber_deg : float
        Camber, degrees, positive with the top outward.
    toe_to_centreline_deg : float
        Toe to the centreline, degrees, positive toe-in.
    caster_deg : float
        Caster, degrees, positive with the top rearward. Unused at the rear.
    sai_deg : float
        Steering-axis inclination, degrees, positive with the top inboard. Unused at the
        rear.
    caster_trail_mm : float
        Caster trail, mm, positive when the axis meets the ground ahead of the contact
        centre. Unused at the rear.
    scrub_radius_mm : float
        Scrub radius, mm, positive when the axis meets the ground inboard of the contact
        centre. Unused at the rear.
    clamp : Clamp
        How the target is clamped.
    """

    camber_deg: float
    toe_to_centreline_deg: float
    caster_deg: float
    sai_deg: float
    caster_trail_mm: float
    scrub_radius_mm: float
    clamp: Clamp


@dataclass(frozen=True, slots=True, eq=False)
class VirtualAxle(Value):
    """One virtual axle.

    Attributes
    ----------
    left, right : VirtualWheel
        The left wheel, the right wheel.
    track_mm : float
        Track between wheel centres, mm.
    setback_mm : float
        Setback, mm, positive with the right wheel further rearward.
    rolling_radius_mm : float
        Rolling radius, and loaded radius as well, mm.
    """

    left: VirtualWheel
    right: VirtualWheel
    track_mm: float
    setback_mm: float
    rolling_radius_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class BodyMotion(Value):
    """How the body moves on its plates while the front wheels are steered.

    At the greatest steer of the sweep. In between, rise and pitch go with the square of
    the steer, the others with the steer itself.

    Attributes
    ----------
    rise_mm : float
        Upward, mm.
    slide_mm : tuple of 2 floats
        Forward and to the left, mm.
    roll_deg : float
        About the vehicle's x axis, left side up, degrees.
    pitch_deg : float
        About the vehicle's y axis, nose down, degrees.
    yaw_deg : float
        About the vehicle's z axis, to the left, degrees.
    """

    rise_mm: float = 0.0
    slide_mm: tuple[float, float] = (0.0, 0.0)
    roll_deg: float = 0.0
    pitch_deg: float = 0.0
    yaw_deg: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class ClampSlip(Value):
    """A fault: a target that slips on its clamp, round the spindle.

    Attributes
    ----------
    stage : {"rolling", "sweep"}
        In which group of stations.
    station : int
        At which station of the group, counted from 0.
    onward : bool
        Whether it stays so at the later stations of the group.
    wheel : {"fl", "fr", "rl", "rr"}
        At which wheel.
    angle_deg : float
        By how much, as if the wheel rolled forward, degrees.
    """

    stage: Literal["rolling", "sweep"]
    station: int
    onward: bool
    wheel: Literal["fl", "fr", "rl", "rr"]
    angle_deg: float


PIVOT_HEIGHTS_MM: Final[tuple[float, float]] = (200.0, 800.0)
"""How high above the ground a virtual knuckle hangs on its lower and its upper pivot,
mm: as that of a strut."""


@dataclass(frozen=True, slots=True, eq=False)
class BentKnuckle(Value):
    """A fault: a knuckle or spindle that is bent.

    The spindle turns against the steering axis, about the wheel centre; the axis stays
    where it is.

    Attributes
    ----------
    wheel : {"fl", "fr", "rl", "rr"}
        At which wheel. At a rear wheel it is the stub axle.
    camber_deg : float
        By how much the camber grows, degrees. The included angle grows by as much.
    toe_deg : float
        By how much the toe grows, degrees.
    """

    wheel: Literal["fl", "fr", "rl", "rr"]
    camber_deg: float = 0.0
    toe_deg: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class BentSteeringArm(Value):
    """A fault: a steering arm that is bent.

    Its wheel is steered further than the linkage asks, or less. Toe is set right again.

    Attributes
    ----------
    wheel : {"fl", "fr", "rl", "rr"}
        At which wheel; a rear wheel has none.
    more_turn_share : float
        By which share of the sound turn the knuckle turns further about its axis: 0.05
        is 5 % more, −0.05 is less.
    """

    wheel: Literal["fl", "fr", "rl", "rr"]
    more_turn_share: float


@dataclass(frozen=True, slots=True, eq=False)
class ShiftedPivot(Value):
    """A fault: one pivot of a front knuckle stands elsewhere.

    The knuckle with its spindle leans about the other pivot, by the shortest turn, and
    the included angle stays. The pivots lie on the steering axis, at the heights
    `PIVOT_HEIGHTS_MM`.

    Attributes
    ----------
    wheel : {"fl", "fr", "rl", "rr"}
        At which wheel; a rear wheel has none.
    end : {"lower", "upper"}
        Which pivot: the lower ball joint, on the control arm; the upper one, or the
        mount of the strut in its tower.
    forward_mm, left_mm : float
        How far it has moved forward and to the left, mm.
    """

    wheel: Literal["fl", "fr", "rl", "rr"]
    end: Literal["lower", "upper"]
    forward_mm: float = 0.0
    left_mm: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class AxleShift(Value):
    """A fault: a subframe, or an axle, that stands elsewhere under the car.

    Attributes
    ----------
    forward_mm, left_mm : float
        How far it has moved forward and to the left, mm.
    turn_deg : float
        How far it has turned to the left about its middle, seen from above, degrees.
    """

    forward_mm: float = 0.0
    left_mm: float = 0.0
    turn_deg: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class DeadCamera(Value):
    """A fault: a camera that does not see a wheel. By default it never does.

    Attributes
    ----------
    wheel : {"fl", "fr", "rl", "rr"}
        Which wheel.
    stage : {"rolling", "ahead", "sweep", "lock_left", "lock_right"}
        In which group of stations; they are taken in this order.
    station : int
        At which station of the group, counted from 0.
    onward : bool
        Whether it stays dead, at the later stations of the group and in all groups that
        follow.
    """

    wheel: Literal["fl", "fr", "rl", "rr"]
    stage: Literal["rolling", "ahead", "sweep", "lock_left", "lock_right"] = "rolling"
    station: int = 0
    onward: bool = True


@dataclass(frozen=True, slots=True, eq=False)
class Faults(Value):
    """What is wrong with a virtual car. By default nothing is.

    Attributes
    ----------
    bent_knuckles : tuple of BentKnuckle
        Bent knuckles or spindles; at the rear stub axles.
    bent_steering_arms : tuple of BentSteeringArm
        Bent steering arms.
    shifted_pivots : tuple of ShiftedPivot
        Pivots of a front knuckle that stand elsewhere: by a bent arm, a strut rod that
        gave, a strut tower that moved.
    shifted_subframe : AxleShift
        The front subframe, and with it both lower pivots.
    shifted_rear_axle : AxleShift
        The rear axle with both wheels.
    dead_cameras : tuple of DeadCamera
        Cameras that see nothing.

    Examples
    --------
    A right front wheel whose lower arm met a kerb:

    >>> from wheel_alignment.simulate import Faults, ShiftedPivot, VirtualVehicle
    >>> kerb = ShiftedPivot("fr", "lower", forward_mm=-15.0)
    >>> car = VirtualVehicle(faults=Faults(shifted_pivots=(kerb,)))
    >>> for truth in VirtualVehicle().truth(), car.truth():
    ...     caster_deg = truth.steering.right.caster_deg
    ...     print(f"{truth.axles.front.setback_mm:.1f} mm, {caster_deg:.2f}°")
    3.0 mm, 4.30°
    15.7 mm, 2.87°
    """

    bent_knuckles: tuple[BentKnuckle, ...] = ()
    bent_steering_arms: tuple[BentSteeringArm, ...] = ()
    shifted_pivots: tuple[ShiftedPivot, ...] = ()
    shifted_subframe: AxleShift = AxleShift()
    shifted_rear_axle: AxleShift = AxleShift()
    dead_cameras: tuple[DeadCamera, ...] = ()

    def __post_init__(self) -> None:
        """Make tuples of the lists that stand for them."""
        for name in (
            "bent_knuckles",
            "bent_steering_arms",
            "shifted_pivots",
            "dead_cameras",
        ):
            object.__setattr__(self, name, tuple(getattr(self, name)))


_DEFAULTS: dict[str, Any] = {}


def _of_core(name: str) -> Callable[[], Any]:
    """Return what makes the default that the core has."""

    def default() -> object:
        if not _DEFAULTS:
            tree = json.loads(_native.virtual_vehicle(None))
            _DEFAULTS.update(build_fields(VirtualVehicle, tree))
        return _DEFAULTS[name]

    return default


@dataclass(frozen=True, slots=True, eq=False)
class VirtualVehicle(Value):
    """A rigid car on a rig, and what is done with it.

    By default a sound front-wheel-drive car, a little askew on its rig, clamps as they
    come, no noise. `dataclasses.replace` makes another of it.

    Attributes
    ----------
    wheelbase_mm : float
        Mean wheelbase, mm.
    front, rear : VirtualAxle
        The front axle, the rear axle.
    ackermann_share : float
        Share of Ackermann's ideal that the linkage makes: 0 parallel steer, 1 ideal.
    axis_drift_deg : tuple of 2 floats
        By how much caster and SAI of the instantaneous steering axis have grown when
        the knuckle has turned by 20° to the left, degrees; 0 is a rigid axis.
    rig_from_vehicle : Pose
        Where the car stands in the rig, straight ahead.
    roll_deg : tuple of float
        Roll angles of the front wheels at the rolling stations, forward positive,
        degrees.
    travel_direction_deg : float
        Direction in which the car travels as it rolls, to the left of the centreline,
        degrees: how much it crabs.
    rolling_yaw_deg_per_m : float
        How much the car turns to the left as it rolls, degrees per metre.
    compensation : {"rolled", "spun"}
        Whether the car is rolled, or raised and its wheels spun by `roll_deg`, one
        after the other.
    sweep_deg : tuple of float
        Commanded steer at the sweep stations, left positive, degrees.
    sweep_wheels_locked : bool
        Whether the brake holds the wheels to their knuckles in the sweep; otherwise
        they roll as they are steered.
    body_motion : BodyMotion
        How the body moves while the front wheels are steered.
    sweep_body : {"still", "found_again"}
        What the session says about that.
    slips : tuple of ClampSlip
        Targets that slip.
    faults : Faults
        What is wrong with the car and its cameras; every other number is that of the
        car before.
    lock_deg : float or None
        Commanded steer at full lock, to either side, degrees; None leaves the locks
        out.
    reference : Reference
        The choices that go into the session.
    pose_noise : PoseNoise or None
        One standard deviation of every pose, per axis; None for none.
    frames : int
        Frames of each wheel at each station, 1 to 10 000; each has its own noise.
    seed : int
        The seed of the noise, 0 to 2**64 − 1.

    Examples
    --------
    >>> import dataclasses
    >>> from wheel_alignment import measure
    >>> from wheel_alignment.session import PoseNoise
    >>> from wheel_alignment.simulate import VirtualVehicle
    >>> car = VirtualVehicle(pose_noise=PoseNoise(0.005, 0.05))
    >>> for seed in (1, 2):
    ...     again = dataclasses.replace(car, seed=seed)
    ...     caster_deg = measure(again.session()).alignment.steering.left.caster_deg
    ...     print(f"{caster_deg:.3f}° of {car.truth().steering.left.caster_deg}°")
    3.986° of 4.0°
    4.003° of 4.0°
    """

    wheelbase_mm: float = field(default_factory=_of_core("wheelbase_mm"))
    front: VirtualAxle = field(default_factory=_of_core("front"))
    rear: VirtualAxle = field(default_factory=_of_core("rear"))
    ackermann_share: float = field(default_factory=_of_core("ackermann_share"))
    axis_drift_deg: tuple[float, float] = field(
        default_factory=_of_core("axis_drift_deg")
    )
    rig_from_vehicle: Pose = field(default_factory=_of_core("rig_from_vehicle"))
    roll_deg: tuple[float, ...] = field(default_factory=_of_core("roll_deg"))
    travel_direction_deg: float = field(
        default_factory=_of_core("travel_direction_deg")
    )
    rolling_yaw_deg_per_m: float = field(
        default_factory=_of_core("rolling_yaw_deg_per_m")
    )
    compensation: Literal["rolled", "spun"] = field(
        default_factory=_of_core("compensation")
    )
    sweep_deg: tuple[float, ...] = field(default_factory=_of_core("sweep_deg"))
    sweep_wheels_locked: bool = field(default_factory=_of_core("sweep_wheels_locked"))
    body_motion: BodyMotion = field(default_factory=_of_core("body_motion"))
    sweep_body: Literal["still", "found_again"] = field(
        default_factory=_of_core("sweep_body")
    )
    slips: tuple[ClampSlip, ...] = field(default_factory=_of_core("slips"))
    faults: Faults = field(default_factory=_of_core("faults"))
    lock_deg: float | None = field(default_factory=_of_core("lock_deg"))
    reference: Reference = field(default_factory=_of_core("reference"))
    pose_noise: PoseNoise | None = field(default_factory=_of_core("pose_noise"))
    frames: int = field(default_factory=_of_core("frames"))
    seed: int = field(default_factory=_of_core("seed"))

    def __post_init__(self) -> None:
        """Make tuples of the lists and arrays that stand for them."""
        for name in ("roll_deg", "sweep_deg"):
            listed = _arrays.listed(getattr(self, name), name)
            object.__setattr__(self, name, tuple(listed))
        object.__setattr__(self, "slips", tuple(self.slips))

    @classmethod
    def random(cls, seed: int) -> Self:
        """Draw a car by a seed, far beyond what is sound. No noise.

        Caster −5 to 15°, SAI 0 to 20°, camber ± 8°, toe ± 3°, clamp tilt to 5°,
        standing askew by any angle in a tilted rig, crabbing by up to 2°, not given to
        symmetry.

        Parameters
        ----------
        seed : int
            0 to 2**64 − 1. The same seed draws the same car, on every platform.

        Examples
        --------
        >>> from wheel_alignment.simulate import VirtualVehicle
        >>> VirtualVehicle.random(7) == VirtualVehicle.random(7)
        True
        """
        return from_json(cls, _native.virtual_vehicle(seed))

    def session(self) -> Session:
        """Return the session that a rig would hand over about this car.

        Raises
        ------
        NotFiniteError
            A number is NaN or infinite, or makes a pose so.
        TypeError, ValueError
            A field is not what it has to be.
        """
        return Session._of(_native.virtual_session(self))

    def truth(self) -> Alignment:
        """Return the readings that this car has: the answer key.

        They come from the numbers that the car is built of. Toe-out on turns is found
        by steering it until the asked-for wheel stands at its angle. A steering axis
        that moves is given as it stands straight ahead, with no residual. It is that of
        the car with its `faults`, and has what a dead camera hides.
        """
        return from_json(Alignment, _native.virtual_truth(self))
