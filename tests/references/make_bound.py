"""Writes tests/vectors/bound.json: how well a session can tell each reading at best.

The Cramér–Rao bound: no estimate without bias scatters less than the square root of
the diagonal of the inverse Fisher matrix (common practice, no source). The car, its
clamps and what was done with it are the unknowns of a forward model from which every
pose of the session follows; readings are taken from them by their definitions. All
derivatives are central differences. Nothing here fits anything.
"""

import json
import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from scipy.linalg import solve_triangular
from scipy.spatial.transform import Rotation

from frames import contact_centre, unit, vehicle_axes
from make_vectors import Case

BOUND = Path(__file__).parent.parent / "vectors" / "bound.json"
Array = np.ndarray[Any, np.dtype[np.float64]]
Unknowns = dict[str, float]
"""By name, whose end tells degrees from mm."""
Readings = dict[str, float]

UP = np.array([0.0, 0.0, 1.0])
SIDE = {"fl": 1, "fr": -1, "rl": 1, "rr": -1}
AXLES = {"front": ("fl", "fr"), "rear": ("rl", "rr")}
STEERED = {"left": "fl", "right": "fr"}
SIDE_NAME = {wheel: side for side, wheel in STEERED.items()}

# One standard deviation of a pose, per axis.
NOISE = {"deg": 0.005, "mm": 0.05}
# A third of it changes no bound by more than 2e-8, but for runout, which is least
# smooth, by 2e-6.
STEP = {"deg": 0.002, "mm": 0.002}

# The virtual car, as it is when nothing else is said. Its place in the rig is left out:
# noise that is alike along all axes does not tell one from another.
WHEELBASE_MM = 2620.0
TRACK_MM = {"front": 1540.0, "rear": 1530.0}
SETBACK_MM = {"front": 3.0, "rear": -2.0}
CAMBER_DEG = {"front": -0.5, "rear": -1.0}
TOE_DEG = {"front": 0.1, "rear": 0.15}
CASTER_DEG = {"left": 4.0, "right": 4.3}
SAI_DEG, TRAIL_MM, SCRUB_MM = 13.0, 18.0, -6.0
RADIUS_MM = 308.0
STANDOFF_MM = 90.0
ECCENTRICITY_MM = (-6.0, -4.0)  # forward, upward
# Tilt, its bearing, clock.
CLAMP_DEG = {
    "fl": (1.2, 40.0, 15.0),
    "fr": (0.6, -70.0, 5.0),
    "rl": (0.8, 200.0, -30.0),
    "rr": (1.6, 110.0, 80.0),
}
ACKERMANN_SHARE = 0.6
MIDDLE_MM = (WHEELBASE_MM / 2, 0.0, 0.0)
FREE_ROLL_SHARE = 0.3  # of the steer, by a wheel that the brake does not hold


@dataclass(frozen=True)
class Procedure:
    """What is done with the car, and what the estimate may take for granted."""

    name: str
    rolling_deg: tuple[float, ...] = (-27.0, -13.5, 0.0, 13.5, 27.0)
    sweep_deg: tuple[float, ...] = tuple(range(-20, 21, 5))
    lock_deg: float | None = None
    body: str = "translates"
    """In the rolling: translates along one direction; turns anyhow, about its middle, and
    is free on the level; or is free."""
    sweep_wheels_locked: bool = True
    middle_mm: tuple[float, ...] = MIDDLE_MM

    def steered(self) -> list[float]:
        """The steer commanded at every station but for the rolling ones."""
        locks = [] if self.lock_deg is None else [self.lock_deg, -self.lock_deg]
        return [*self.sweep_deg, *locks]


def about(axis: Array, angle_deg: float) -> Rotation:
    return Rotation.from_rotvec(angle_deg * unit(axis), degrees=True)


def axle_of(wheel: str) -> str:
    return "front" if wheel in AXLES["front"] else "rear"


def knuckle_deg(wheel: str, steer_deg: float) -> float:
    """More on the inside of the turn."""
    half = ACKERMANN_SHARE * TRACK_MM["front"] / (2 * WHEELBASE_MM)
    sin, cos = math.sin(math.radians(steer_deg)), math.cos(math.radians(steer_deg))
    return math.degrees(math.atan2(sin, cos - SIDE[wheel] * half * sin))


def nominal(procedure: Procedure) -> Unknowns:
    """The unknowns as they are, in the vehicle's frame as it is."""
    unknowns: Unknowns = {}

    def put(place: str, **values: float) -> None:
        unknowns.update({f"{place}.{name}": value for name, value in values.items()})

    def height(axle: str) -> float:
        return RADIUS_MM * math.cos(math.radians(CAMBER_DEG[axle]))

    for wheel, side in SIDE.items():
        axle = axle_of(wheel)
        axle_x = WHEELBASE_MM if axle == "front" else 0.0
        put(
            wheel,
            camber_deg=CAMBER_DEG[axle],
            toe_deg=TOE_DEG[axle],
            x_mm=axle_x + side * SETBACK_MM[axle] / 2,
            y_mm=side * TRACK_MM[axle] / 2,
            z_mm=height(axle) - height("rear"),
            target_turn_x_deg=0.0,
            target_turn_y_deg=0.0,
            target_turn_z_deg=0.0,
            eccentricity_forward_mm=ECCENTRICITY_MM[0],
            eccentricity_upward_mm=ECCENTRICITY_MM[1],
            radius_mm=RADIUS_MM,
        )
    for side_name, wheel in STEERED.items():
        contact = contact_of(unknowns, wheel)
        put(
            side_name,
            caster_deg=CASTER_DEG[side_name],
            sai_deg=SAI_DEG,
            # Where the axis passes the level of the contact centre as it is.
            x_mm=contact[0] + TRAIL_MM,
            y_mm=contact[1] - SIDE[wheel] * SCRUB_MM,
        )
    if procedure.body == "translates":
        put("rolling", travel_direction_deg=0.0)
    for index, roll_deg in enumerate(procedure.rolling_deg):
        place = f"rolling.{index}"
        put(place, travel_mm=RADIUS_MM * math.radians(roll_deg))
        if procedure.body != "translates":
            put(place, left_mm=0.0, roll_deg=0.0, pitch_deg=0.0, yaw_deg=0.0)
        if procedure.body == "free":
            put(place, up_mm=0.0)
    for index, steer_deg in enumerate(procedure.steered()):
        for wheel in STEERED.values():
            place = f"steered.{index}.{wheel}"
            put(place, knuckle_deg=knuckle_deg(wheel, steer_deg))
            if not procedure.sweep_wheels_locked:
                put(place, spun_deg=FREE_ROLL_SHARE * steer_deg)
    return unknowns


def outward_of(unknowns: Unknowns, wheel: str) -> Array:
    side = SIDE[wheel]
    turn = Rotation.from_euler(
        "xz",
        [-side * unknowns[f"{wheel}.{name}_deg"] for name in ("camber", "toe")],
        degrees=True,
    )
    outward: Array = turn.apply([0.0, side, 0.0])
    return outward


def centre_of(unknowns: Unknowns, wheel: str) -> Array:
    return np.array([unknowns[f"{wheel}.{axis}_mm"] for axis in "xyz"])


def contact_of(unknowns: Unknowns, wheel: str) -> Array:
    """Under the loaded radius, which is known."""
    centre, outward = centre_of(unknowns, wheel), outward_of(unknowns, wheel)
    contact: Array = contact_centre(centre, outward, RADIUS_MM, UP)
    return contact


def target_of(unknowns: Unknowns, wheel: str) -> tuple[Rotation, Array]:
    """The target on its wheel, straight ahead."""
    outward, side = outward_of(unknowns, wheel), SIDE[wheel]
    up = unit(UP - outward * (outward @ UP))
    tilt_deg, bearing_deg, clock_deg = CLAMP_DEG[wheel]
    true = Rotation.from_matrix(np.column_stack([np.cross(up, outward), up, outward]))
    tilt_axis = about(outward, bearing_deg).apply(up)
    clamped = about(tilt_axis, tilt_deg) * about(outward, clock_deg) * true
    turn_deg = [unknowns[f"{wheel}.target_turn_{axis}_deg"] for axis in "xyz"]
    forward_mm, upward_mm = (
        unknowns[f"{wheel}.eccentricity_{name}_mm"] for name in ("forward", "upward")
    )
    origin = centre_of(unknowns, wheel) + STANDOFF_MM * outward
    origin = origin + forward_mm * side * np.cross(outward, up) + upward_mm * up
    return Rotation.from_rotvec(turn_deg, degrees=True) * clamped, origin


def rolled(
    unknowns: Unknowns, procedure: Procedure, index: int, wheel: str
) -> tuple[Rotation, Array]:
    """How a wheel has turned about its centre, and shifted, since it stood ahead."""

    def value(name: str) -> float:
        return unknowns.get(f"rolling.{index}.{name}", 0.0)

    travel = np.array([value("travel_mm"), value("left_mm"), value("up_mm")])
    if procedure.body == "translates":
        direction_deg = unknowns["rolling.travel_direction_deg"]
        travel = about(UP, direction_deg).apply(travel)
    turn_deg = np.array([value("roll_deg"), value("pitch_deg"), value("yaw_deg")])
    body = Rotation.from_rotvec(turn_deg, degrees=True)
    centre = centre_of(unknowns, wheel)
    arm = centre - procedure.middle_mm
    shift = body.apply(arm) + travel - arm
    # The way of its centre is told along the car, near which the body stays. What it
    # turns by on the ground, less the body's own pitch, it turns by in the body.
    way_mm = value("travel_mm") + (shift - travel)[0]
    axle = SIDE[wheel] * outward_of(unknowns, wheel)
    ground_deg = math.degrees(way_mm / unknowns[f"{wheel}.radius_mm"])
    return body * about(axle, ground_deg - float(turn_deg @ axle)), shift


def axis_of(unknowns: Unknowns, wheel: str) -> tuple[Array, Array]:
    """The steering axis: its direction, upward, and a point."""
    side = SIDE_NAME[wheel]
    caster, sai = (
        math.tan(math.radians(unknowns[f"{side}.{name}_deg"]))
        for name in ("caster", "sai")
    )
    direction = unit(np.array([-caster, -SIDE[wheel] * sai, 1.0]))
    # Any level does, so long as it does not move with the unknowns.
    level = -RADIUS_MM * math.cos(math.radians(CAMBER_DEG["rear"]))
    return direction, np.array(
        [unknowns[f"{side}.x_mm"], unknowns[f"{side}.y_mm"], level]
    )


def poses(unknowns: Unknowns, procedure: Procedure) -> Iterator[tuple[Rotation, Array]]:
    """Every pose of the session, wheel by wheel."""
    for wheel in SIDE:
        target, origin = target_of(unknowns, wheel)
        centre = centre_of(unknowns, wheel)
        yield target, origin  # straight ahead
        for index in range(len(procedure.rolling_deg)):
            turn, shift = rolled(unknowns, procedure, index, wheel)
            yield turn * target, centre + shift + turn.apply(origin - centre)
        for index in range(len(procedure.steered())):
            if axle_of(wheel) == "rear":
                yield target, origin
                continue
            place = f"steered.{index}.{wheel}"
            spun_deg = unknowns.get(f"{place}.spun_deg", 0.0)
            spun = about(SIDE[wheel] * outward_of(unknowns, wheel), spun_deg)
            direction, point = axis_of(unknowns, wheel)
            knuckle = about(direction, unknowns[f"{place}.knuckle_deg"])
            spun_origin = centre + spun.apply(origin - centre)
            yield knuckle * spun * target, point + knuckle.apply(spun_origin - point)


def yaw_deg(wheel: str, outward: Array) -> float:
    """Of the heading, to the left."""
    side = SIDE[wheel]
    return math.degrees(math.atan2(-side * outward[0], side * outward[1]))


def readings(unknowns: Unknowns, procedure: Procedure) -> Readings:
    """By their definitions, in the frame that the wheel centres make."""
    centre = {wheel: centre_of(unknowns, wheel) for wheel in SIDE}
    axes = vehicle_axes(centre, UP, "axle_midpoints")
    centre = {wheel: axes @ point for wheel, point in centre.items()}
    outward = {wheel: axes @ outward_of(unknowns, wheel) for wheel in SIDE}
    contact = {wheel: axes @ contact_of(unknowns, wheel) for wheel in SIDE}
    camber = {wheel: -math.degrees(math.asin(outward[wheel][2])) for wheel in SIDE}
    toe = {wheel: -SIDE[wheel] * yaw_deg(wheel, outward[wheel]) for wheel in SIDE}
    thrust = (toe["rl"] - toe["rr"]) / 2
    to_thrust_line = {"fl": -thrust, "fr": thrust, "rl": 0.0, "rr": 0.0}

    found: Readings = {}
    for wheel in SIDE:
        target = target_of(unknowns, wheel)[0].apply([0.0, 0.0, 1.0])
        spindle = outward_of(unknowns, wheel)
        runout = math.atan2(np.linalg.norm(np.cross(target, spindle)), target @ spindle)
        found |= {
            f"wheels.{wheel}.camber_deg": camber[wheel],
            f"wheels.{wheel}.toe_deg": toe[wheel] + to_thrust_line[wheel],
            f"wheels.{wheel}.toe_to_centreline_deg": toe[wheel],
            f"wheels.{wheel}.runout_deg": math.degrees(runout),
            f"wheels.{wheel}.rolling_radius_mm": unknowns[f"{wheel}.radius_mm"],
        }
    for axle, (left, right) in AXLES.items():
        setback, track, _ = centre[left] - centre[right]
        found |= {
            f"axles.{axle}.total_toe_deg": toe[left] + toe[right],
            f"axles.{axle}.cross_camber_deg": camber[left] - camber[right],
            f"axles.{axle}.track_mm": track,
            f"axles.{axle}.track_at_ground_mm": (contact[left] - contact[right])[1],
            f"axles.{axle}.setback_deg": math.degrees(math.atan2(setback, track)),
            f"axles.{axle}.setback_mm": setback,
        }
    wheelbase = {
        "left": (centre["fl"] - centre["rl"])[0],
        "right": (centre["fr"] - centre["rr"])[0],
    }
    across = [
        float(np.linalg.norm((centre[front] - centre[rear])[:2]))
        for front, rear in (("fl", "rr"), ("fr", "rl"))
    ]
    tracks = [found[f"axles.{axle}.track_mm"] for axle in AXLES]
    rear_from_front = (centre["rl"] + centre["rr"] - centre["fl"] - centre["fr"]) / 2
    along_front = unit((centre["fl"] - centre["fr"])[:2])
    found |= {
        "chassis.thrust_angle_deg": thrust,
        "chassis.wheelbase_left_mm": wheelbase["left"],
        "chassis.wheelbase_right_mm": wheelbase["right"],
        "chassis.wheelbase_difference_mm": wheelbase["left"] - wheelbase["right"],
        "chassis.diagonal_fl_rr_mm": across[0],
        "chassis.diagonal_fr_rl_mm": across[1],
        "chassis.diagonal_difference_mm": across[0] - across[1],
        "chassis.track_difference_mm": tracks[0] - tracks[1],
        "chassis.axle_offset_mm": rear_from_front[:2] @ along_front,
        "steering.ahead_error_deg": (toe["fr"] - toe["fl"]) / 2 + thrust,
    }
    for side, wheel in STEERED.items():
        inboard = -SIDE[wheel]
        direction, point = (axes @ vector for vector in axis_of(unknowns, wheel))
        drop = (contact[wheel] - point)[2] / direction[2]
        offset = point + drop * direction - contact[wheel]
        heading = unit(np.cross(UP, inboard * outward[wheel]))
        sai = math.degrees(math.atan2(inboard * direction[1], direction[2]))
        place = f"steering.{side}"
        found |= {
            f"{place}.caster_deg": math.degrees(
                math.atan2(-direction[0], direction[2])
            ),
            f"{place}.sai_deg": sai,
            f"{place}.included_angle_deg": sai + camber[wheel],
            f"{place}.caster_trail_mm": offset[0],
            f"{place}.scrub_radius_mm": inboard * offset[1],
            f"{place}.caster_trail_in_wheel_plane_mm": offset @ heading,
            f"{place}.scrub_radius_in_wheel_plane_mm": inboard
            * (offset @ np.cross(UP, heading)),
        }
        if procedure.lock_deg is not None:
            for index, lock in enumerate(["lock_left", "lock_right"], -2):
                station = len(procedure.steered()) + index
                turn_deg = unknowns[f"steered.{station}.{wheel}.knuckle_deg"]
                at_lock = about(direction, turn_deg).apply(outward[wheel])
                found[f"turns.{lock}.{side}_deg"] = yaw_deg(wheel, at_lock) - yaw_deg(
                    wheel, outward[wheel]
                )
    for name in ("caster", "sai"):
        of_left, of_right = (found[f"steering.{side}.{name}_deg"] for side in STEERED)
        found[f"steering.cross_{name}_deg"] = of_left - of_right
    return {path: float(value) for path, value in found.items()}


def per_unit(
    difference: Callable[[Unknowns, Unknowns], Array], unknowns: Unknowns
) -> Array:
    """Central differences: a column for each unknown."""
    columns = []
    for name, value in unknowns.items():
        step = STEP[name.rpartition("_")[2]]
        more, less = unknowns | {name: value + step}, unknowns | {name: value - step}
        columns.append(difference(more, less) / (2 * step))
    return np.column_stack(columns)


def looks(unknowns: Unknowns, procedure: Procedure) -> Array:
    """How poses follow the unknowns, in standard deviations of their noise."""

    def difference(more: Unknowns, less: Unknowns) -> Array:
        pairs = zip(poses(more, procedure), poses(less, procedure), strict=True)
        return np.concatenate(
            [
                part
                for (turn, origin), (turn_less, origin_less) in pairs
                for part in (
                    (turn * turn_less.inv()).as_rotvec(degrees=True) / NOISE["deg"],
                    (origin - origin_less) / NOISE["mm"],
                )
            ]
        )

    return per_unit(difference, unknowns)


def bounds(procedure: Procedure) -> Readings:
    """The least standard deviation of every reading."""
    unknowns = nominal(procedure)

    def difference(more: Unknowns, less: Unknowns) -> Array:
        after, before = readings(more, procedure), readings(less, procedure)
        return np.array([after[path] - before[path] for path in after])

    gradients = per_unit(difference, unknowns)
    # The Fisher matrix is RᵀR of the QR decomposition, which need not be squared.
    triangle = np.linalg.qr(looks(unknowns, procedure), mode="r")
    spread = solve_triangular(triangle, gradients.T, trans="T")
    deviations = np.linalg.norm(spread, axis=0)
    paths = readings(unknowns, procedure)
    return dict(zip(paths, map(float, deviations), strict=True))


PROCEDURES = [
    Procedure("reference"),
    Procedure("locks", lock_deg=34.0),
    Procedure("turning body", body="turns"),
    Procedure("free body", body="free"),
    Procedure("free wheels", sweep_wheels_locked=False),
]


def case(procedure: Procedure) -> Case:
    return {
        "name": procedure.name,
        "rolling": list(procedure.rolling_deg),
        "sweep": list(procedure.sweep_deg),
        "lock_deg": procedure.lock_deg,
        "body": procedure.body,
        "sweep_wheels_locked": procedure.sweep_wheels_locked,
        "bounds": bounds(procedure),
    }


def vectors() -> dict[str, list[Case]]:
    return {"cases": [case(procedure) for procedure in PROCEDURES]}


if __name__ == "__main__":
    BOUND.write_text(json.dumps(vectors(), indent=1) + "\n")
