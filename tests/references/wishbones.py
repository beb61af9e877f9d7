"""A front axle on double wishbones: what a hinged knuckle hides.

The knuckle hangs on two ball joints, and a tie rod holds it by a third; a rack moves
both rods. The steering axis is the line through the two ball joints. It moves in the
body as soon as a spring gives, for the wishbones then swing.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from scipy.spatial.transform import Rotation

from engine import (
    LEFT,
    SIDE_OF_WHEEL,
    STEERED,
    UP,
    WHEELS_OF_AXLE,
    Bay,
    Car,
    Procedure,
    Shift,
    SteeringAxis,
)
from frames import Matrix, Vector, contact_centre, unit
from mechanism import Engine, Line, Link, Loop, Mark, Mechanism
from random_cars import random_car


class Wishbone(NamedTuple):
    """In the body frame, the rack in the middle and the springs as they are ahead."""

    rear_pivot_mm: Vector
    front_pivot_mm: Vector
    ball_mm: Vector


class Rod(NamedTuple):
    """A tie rod: its ball joints on the rack and on the knuckle."""

    inner_mm: Vector
    outer_mm: Vector


class Corner(NamedTuple):
    lower: Wishbone
    upper: Wishbone
    rod: Rod


def _still(_: float) -> dict[str, float]:
    return {"left": 0.0, "right": 0.0}


@dataclass(frozen=True, kw_only=True)
class WishboneCar(Car):
    corners: Mapping[str, Corner]
    arm_mm: float
    """The rack's travel to the right over the sine of the steer angle told."""
    swing_rad: Callable[[float], Mapping[str, float]] = _still
    """How the lower wishbones have swung, by the steer angle: the springs give."""

    def steered(self, steer_deg: float) -> dict[str, float]:
        """The rack's travel to the left, mm, and how the wishbones have swung."""
        swing = self.swing_rad(steer_deg)
        rack_mm = -self.arm_mm * math.sin(math.radians(steer_deg))
        return {"rack": rack_mm} | {f"{side} lower": swing[side] for side in STEERED}

    def mechanism(self) -> Mechanism:
        links = [
            Link("body", None, "free", np.zeros(3)),
            Link("rack", "body", "slide", np.zeros(3), axis=LEFT),
        ]
        marks, loops = [Mark("body", "body", np.zeros(3))], []
        for side, (lower, upper, rod) in self.corners.items():
            for name, wishbone in (("lower", lower), ("upper", upper)):
                hinge = unit(wishbone.front_pivot_mm - wishbone.rear_pivot_mm)
                at_mm = wishbone.rear_pivot_mm
                links.append(Link(f"{side} {name}", "body", "hinge", at_mm, axis=hinge))
                ball = wishbone.ball_mm - at_mm
                marks.append(Mark(f"{side} {name} ball", f"{side} {name}", ball))
            knuckle_at = lower.ball_mm
            ball = lower.ball_mm - lower.rear_pivot_mm
            links.append(Link(side, f"{side} lower", "ball", ball))
            # Two hinges: a third would let the rod spin about itself.
            along = unit(rod.outer_mm - rod.inner_mm)
            first = unit(np.cross(along, UP))
            swivel, tie = f"{side} swivel", f"{side} tie rod"
            links.append(Link(swivel, "rack", "hinge", rod.inner_mm, axis=first))
            second = np.cross(along, first)
            links.append(Link(tie, swivel, "hinge", np.zeros(3), axis=second))
            for end, link, at_mm, held_mm in (
                ("top", f"{side} upper", upper.rear_pivot_mm, upper.ball_mm),
                ("arm", tie, rod.inner_mm, rod.outer_mm),
            ):
                there, here = f"{side} {end} to", f"{side} {end}"
                marks.append(Mark(there, link, held_mm - at_mm))
                marks.append(Mark(here, side, held_mm - knuckle_at))
                loops.append(Loop(there, here))
        carriers = {
            wheel: (side, self.corners[side].lower.ball_mm)
            for side, wheel in STEERED.items()
        }
        hubs, targets = self.hubs(carriers)
        return Mechanism((*links, *hubs), (*marks, *targets), tuple(loops))

    def axis_in(self, engine: Engine, side_name: str) -> Line:
        """Through both ball joints."""
        lower, upper = (
            engine.mark(f"{side_name} {name} ball")[1] for name in ("lower", "upper")
        )
        return Line(unit(upper - lower), lower)


def random_corner(
    rng: np.random.Generator, side: int, centre_mm: Vector, axis: SteeringAxis
) -> Corner:
    """Wishbones of common lengths, not parallel, and a tie rod behind the axle."""

    def on_axis(height_mm: float) -> Vector:
        rise = centre_mm[2] + height_mm - axis.point_mm[2]
        return axis.point_mm + axis.direction * rise / axis.direction[2]

    def from_ball(ball: Vector, forward: float, inboard: float, up: float) -> Vector:
        return ball + np.array([forward, -side * inboard, up])

    def wishbone(ball: Vector, length_mm: float, up_mm: float) -> Wishbone:
        dive_mm = rng.uniform(-8.0, 8.0)
        return Wishbone(
            from_ball(ball, -rng.uniform(120, 180), length_mm, up_mm - dive_mm),
            from_ball(ball, rng.uniform(120, 180), length_mm, up_mm + dive_mm),
            ball,
        )

    lower = wishbone(
        on_axis(-rng.uniform(90, 130)), rng.uniform(320, 380), rng.uniform(-10, 20)
    )
    upper = wishbone(
        on_axis(rng.uniform(110, 180)), rng.uniform(220, 280), rng.uniform(-30, 0)
    )
    outer = on_axis(-40.0) + np.array([-rng.uniform(110, 150), -side * 20.0, 0.0])
    share = (outer[2] - lower.ball_mm[2]) / (upper.ball_mm[2] - lower.ball_mm[2])
    pivots = [(of.rear_pivot_mm + of.front_pivot_mm) / 2 for of in (lower, upper)]
    inner = pivots[0] + share * (pivots[1] - pivots[0])
    inner[0] = outer[0] + rng.uniform(-15, 15)
    inner[2] += rng.uniform(-3, 3)
    return Corner(lower, upper, Rod(inner, outer))


def random_wishbone_car(rng: np.random.Generator) -> WishboneCar:
    """The rear as on any car."""
    plain = random_car(rng)
    corners = {
        side: random_corner(
            rng,
            SIDE_OF_WHEEL[wheel],
            plain.wheels[wheel].centre_mm,
            plain.steering[side],
        )
        for side, wheel in STEERED.items()
    }
    arm_mm = np.mean(
        [
            np.linalg.norm((of.rod.outer_mm - of.lower.ball_mm)[:2])
            for of in corners.values()
        ]
    )
    return WishboneCar(
        wheels=plain.wheels,
        steering={},
        rolling_radius_mm=plain.rolling_radius_mm,
        pitch_deg=plain.pitch_deg,
        roll_deg=plain.roll_deg,
        corners=corners,
        arm_mm=arm_mm,
    )


# --------------------------------------------------------------------------------------
# Jacking


def contact_height(bay: Bay, wheel: str) -> float:
    """How high the contact centre stands in the rig, mm."""
    spindle = bay.engine.spindle(wheel)
    contact = contact_centre(
        spindle.point, spindle.direction, bay.radius_mm(wheel), bay.up
    )
    return float((contact - bay.procedure.origin_mm) @ bay.up)


def giving(car: WishboneCar, procedure: Procedure, share: float) -> WishboneCar:
    """The same car, its springs taking a share of what steering warps the axle by.

    Steering lets one front wheel down and lifts the other. Stiff springs make the body
    roll by all of it; as the springs give, wishbones swing instead.
    """
    bay, at_deg = Bay(car, procedure), 10.0

    def left_above_right_mm(steer_deg: float) -> float:
        bay.steer_to(steer_deg, procedure.ahead_roll_deg)
        return contact_height(bay, "fl") - contact_height(bay, "fr")

    warp_mm = (left_above_right_mm(at_deg) - left_above_right_mm(-at_deg)) / 4
    per_sine = share * warp_mm / math.sin(math.radians(at_deg))

    def swing_rad(steer_deg: float) -> dict[str, float]:
        down_mm = per_sine * math.sin(math.radians(steer_deg))
        return {
            side: SIDE_OF_WHEEL[wheel] * down_mm / lever_mm(car.corners[side].lower)
            for side, wheel in STEERED.items()
        }

    return replace(car, swing_rad=swing_rad)


def lever_mm(wishbone: Wishbone) -> float:
    """How far the ball joint goes down as the wishbone swings, mm by radian."""
    hinge = unit(wishbone.front_pivot_mm - wishbone.rear_pivot_mm)
    return float(-np.cross(hinge, wishbone.ball_mm - wishbone.rear_pivot_mm)[2])


def jacked(car: WishboneCar, procedure: Procedure, pitches: bool = True) -> Procedure:
    """The body stands on its front wheels as they are steered: it rises and rolls.

    Rear wheels that roll do not show stage by stage how it pitches.
    """
    bay = Bay(car, procedure)
    bay.stand_ahead()
    ahead = {wheel: contact_height(bay, wheel) for wheel in WHEELS_OF_AXLE["front"]}
    front, rear = (
        np.mean([car.wheels[wheel].centre_mm for wheel in wheels], axis=0)
        for wheels in WHEELS_OF_AXLE.values()
    )
    wheelbase, track = front[0] - rear[0], 2 * car.wheels["fl"].centre_mm[1]

    def moved(sinks_mm: float, roll_deg: float) -> Shift:
        return Shift(
            slide_mm=np.array([0.0, 0.0, 0.0 if pitches else -sinks_mm]),
            pitch_deg=math.degrees(sinks_mm / wheelbase) if pitches else 0.0,
            roll_deg=roll_deg,
            about_mm=rear,
        )

    def shift(steer_deg: float) -> Shift:
        sinks_mm, roll_deg = 0.0, 0.0
        for _ in range(3):  # nearer each time: the body turns about slanting axes
            at = moved(sinks_mm, roll_deg)
            bay.steer_to(steer_deg, procedure.ahead_roll_deg, at)
            left, right = (contact_height(bay, wheel) - ahead[wheel] for wheel in ahead)
            sinks_mm += (left + right) / 2
            roll_deg += math.degrees((right - left) / track)
        return moved(sinks_mm, roll_deg)

    return replace(
        procedure,
        rear_seen_while_steering=True,
        sweep_shift=tuple(shift(steer) for steer in procedure.sweep_steer_deg),
        lock_shift={
            lock: shift(steer) for lock, steer in procedure.lock_steer_deg.items()
        },
        sweep_body="found_again",
    )


# --------------------------------------------------------------------------------------
# What the axis does


def turned_about(
    bay: Bay, from_deg: float, to_deg: float, vehicle_from_rig: Matrix
) -> dict[str, Vector]:
    """Unit vector up the axis about which each knuckle turns in a body that stands."""
    stood = []
    for steer_deg in (from_deg, to_deg):
        bay.steer_to(steer_deg, bay.procedure.ahead_roll_deg)
        stood.append({side: bay.engine.target(STEERED[side])[0] for side in STEERED})
    axes = {}
    for side in STEERED:
        turn = Rotation.from_matrix(stood[1][side] @ stood[0][side].T).as_rotvec()
        axis = unit(vehicle_from_rig @ turn)
        axes[side] = axis if axis[2] > 0.0 else -axis
    return axes


def turning_axes(bay: Bay, vehicle_from_rig: Matrix) -> dict[str, Vector]:
    """As the rack leaves the ahead station: beside the ball joints, wishbones swing.

    ISO 8855 has the steering axis as the one about which the wheel turns in the body
    when it is steered. By central differences, good to 1e-6 of what they differ by.
    """
    ahead, step_deg = bay.procedure.ahead_steer_deg, 0.05
    return turned_about(bay, ahead - step_deg, ahead + step_deg, vehicle_from_rig)


def caster_and_sai_deg(side_name: str, axis: Vector) -> tuple[float, float]:
    inboard = -SIDE_OF_WHEEL[STEERED[side_name]]
    forward, left, up = axis
    caster, sai = math.atan2(-forward, up), math.atan2(inboard * left, up)
    return math.degrees(caster), math.degrees(sai)
