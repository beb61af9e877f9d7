"""Writes tests/vectors/gauge.json: cases for the formulas that are used by hand.

Nothing here is a formula under test, but for the two rules that are their own
definition. A spindle, and a line of the hub, are turned about a steering axis and read
off; turning and tracking come from lines that meet in the plane. All of it at 40
digits.
"""

import json
import random
from pathlib import Path
from typing import Any

import mpmath as mp

VECTORS = Path(__file__).parent.parent / "vectors" / "gauge.json"
Case = dict[str, Any]
SIDES = {"left": 1, "right": -1}
UP = mp.matrix([0, 0, 1])


def turned(vector: mp.matrix, axis: mp.matrix, angle_rad: mp.mpf) -> mp.matrix:
    """The vector, turned right-handed about the unit axis: the textbook's matrix."""
    x, y, z = axis
    cross = mp.matrix([[0, -z, y], [z, 0, -x], [-y, x, 0]])
    turn = mp.eye(3) + mp.sin(angle_rad) * cross
    return (turn + (1 - mp.cos(angle_rad)) * cross * cross) * vector


def about(axis: str, vector: mp.matrix, angle_deg: float) -> mp.matrix:
    unit = mp.matrix([int(axis == name) for name in "xyz"])
    return turned(vector, unit, mp.radians(angle_deg))


def deg(angle_rad: mp.mpf) -> float:
    return float(mp.degrees(angle_rad))


def crossed(a: mp.matrix, b: mp.matrix) -> mp.matrix:
    return mp.matrix(
        [
            a[1] * b[2] - a[2] * b[1],
            a[2] * b[0] - a[0] * b[2],
            a[0] * b[1] - a[1] * b[0],
        ]
    )


def draw(rng: random.Random, least: float, most: float) -> float:
    return round(rng.uniform(least, most), 4)


def wheel(rng: random.Random) -> Case:
    """One front wheel, straight ahead and steered to three positions.

    The line of the hub lies in the wheel plane, as a gauge held square to the spindle
    does, and starts at some pitch of its own.
    """
    side = rng.choice(list(SIDES))
    s = SIDES[side]
    caster, sai = draw(rng, -5, 15), draw(rng, 0, 20)
    camber, toe = draw(rng, -8, 8), rng.choice([0.0, draw(rng, -3, 3)])
    # Seen from the side the axis leans back by caster; seen from the front it leans
    # inboard by SAI: the line in which those two planes meet.
    side_view = about("y", mp.matrix([1, 0, 0]), -caster)
    front_view = about("x", mp.matrix([0, 1, 0]), s * sai)
    axis = crossed(side_view, front_view)
    axis /= mp.norm(axis)
    # Top outward: a left wheel tips to the left, against the turn about x.
    spindle = about("x", mp.matrix([0, s, 0]), -s * camber)
    spindle = about("z", spindle, -s * toe)
    line = s * crossed(spindle, UP)
    line = turned(line / mp.norm(line), spindle, mp.radians(draw(rng, -6, 6)))

    def position(steer: float) -> Case:
        out = turned(spindle, axis, mp.radians(steer))
        forward = turned(line, axis, mp.radians(steer))
        heading = s * crossed(out, UP)
        return {
            "yaw_deg": deg(mp.atan2(heading[1], heading[0])),
            "camber_deg": deg(-mp.asin(out[2])),
            "azimuth_deg": deg(mp.atan2(forward[1], forward[0])),
            "pitch_deg": deg(mp.asin(forward[2])),
        }

    steer = [draw(rng, -35, -10), draw(rng, -5, 5), draw(rng, 10, 35)]
    rng.shuffle(steer)
    ahead, positions = position(0.0), [position(angle) for angle in steer]
    for at in positions:
        # A plate zeroed straight ahead.
        at["plate_deg"] = float(mp.mpf(at["yaw_deg"]) - mp.mpf(ahead["yaw_deg"]))
    return {
        "side": side,
        "caster_deg": caster,
        "sai_deg": sai,
        "toe_deg": toe,
        "ahead": ahead,
        "positions": positions,
    }


def two_positions(rng: random.Random) -> Case:
    """Both rules for two readings, which are their own definition."""
    side = rng.choice(list(SIDES))
    turn = draw(rng, 5, 35)
    left, right = draw(rng, -8, 8), draw(rng, -8, 8)
    sines = mp.sin(mp.radians(left)) - mp.sin(mp.radians(right))
    chord = 2 * mp.sin(mp.radians(turn))
    linear = SIDES[side] * (mp.mpf(left) - mp.mpf(right)) / chord
    return {
        "side": side,
        "turn_deg": turn,
        "turned_left_deg": left,
        "turned_right_deg": right,
        "two_positions_deg": deg(mp.atan(SIDES[side] * sines / chord)),
        "linear_deg": float(linear),
    }


def slope(direction: mp.matrix, across: int, along: int) -> mp.mpf:
    return direction[across] / direction[along]


def length(rng: random.Random) -> Case:
    """A toe angle between two lines across the car, a diameter apart."""
    angle, diameter = draw(rng, -6, 6), draw(rng, 300, 800)
    drift = slope(about("z", mp.matrix([1, 0, 0]), angle), 1, 0)
    return {
        "angle_deg": angle,
        "reference_diameter_mm": diameter,
        "toe_length_mm": float(diameter * drift),
        "side_slip_mm_per_m": float(1000 * drift),
    }


def turn(rng: random.Random) -> Case:
    """The front axle's middle and both steered wheels, in the plane of the ground.

    A left turn about the origin of the vehicle frame, the middle of the rear axle.
    Every wheel's own line, square to its heading, meets the rear axle's at some y.
    """
    wheelbase, distance = draw(rng, 1800, 4000), draw(rng, 1000, 1700)
    steer, inner, outer = draw(rng, 5, 45), draw(rng, 5, 40), draw(rng, 5, 40)

    def meets_at(y: float, angle: float) -> mp.mpf:
        line = about("z", mp.matrix([0, 1, 0]), angle)
        return y - wheelbase * slope(line, 1, 0)

    centre = meets_at(mp.mpf(0), steer)
    half = mp.mpf(distance) / 2
    inner_meets, outer_meets = meets_at(half, inner), meets_at(-half, outer)
    ideal_outer = mp.degrees(mp.atan2(wheelbase, inner_meets + half))
    by_toe_out = 100 * (mp.mpf(inner) - outer) / (inner - ideal_outer)
    # Parallel lines meet the rear axle as far apart as the wheels stand; the ideal
    # ones in one point.
    by_cotangents = 100 * (1 - (inner_meets - outer_meets) / distance)
    return {
        "wheelbase_mm": wheelbase,
        "axis_distance_mm": distance,
        "steer_deg": steer,
        "turning_radius_mm": float(mp.sqrt(centre**2 + mp.mpf(wheelbase) ** 2)),
        "inner_deg": inner,
        "outer_deg": outer,
        "ideal_outer_deg": float(ideal_outer),
        "percent_by_toe_out": float(by_toe_out),
        "percent_by_cotangents": float(by_cotangents),
    }


def tracking(rng: random.Random) -> Case:
    """A rear axle that steers to the right, and the front one left beside its line."""
    wheelbase, thrust = draw(rng, 1800, 4000), draw(rng, -3, 3)
    line = about("z", mp.matrix([1, 0, 0]), -thrust)
    beside = 0 - wheelbase * slope(line, 1, 0)
    return {
        "wheelbase_mm": wheelbase,
        "thrust_angle_deg": thrust,
        "dog_tracking_offset_mm": float(beside),
    }


TABLES = {
    "wheels": wheel,
    "two_positions": two_positions,
    "lengths": length,
    "turns": turn,
    "tracking": tracking,
}


def vectors() -> dict[str, list[Case]]:
    with mp.workdps(40):
        return {
            name: [make(rng) for _ in range(300)]
            for name, make in TABLES.items()
            for rng in [random.Random(name)]
        }


def text(tables: dict[str, list[Case]]) -> str:
    """JSON with a line for each case."""
    written = [
        f'"{name}": [\n' + ",\n".join(map(json.dumps, cases)) + "\n]"
        for name, cases in tables.items()
    ]
    return "{\n" + ",\n".join(written) + "\n}\n"


if __name__ == "__main__":
    VECTORS.parent.mkdir(exist_ok=True)
    VECTORS.write_text(text(vectors()))
