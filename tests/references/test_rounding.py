"""How many digits the closed formulas lose: readings, gauges, vectors, poses."""

import math
from typing import Any

import mpmath as mp
import numpy as np
import pytest
from wheel_alignment import gauge, propagation, steering, turns, units, vehicle, wheel
from wheel_alignment.pose import Pose
from wheel_alignment.session import ByWheel, up_in_rig

from digits import (
    CASES,
    ULP,
    Exact,
    angles,
    apart,
    arguments,
    circle,
    deg,
    lengths,
    nearest,
    rad,
    told,
    told_vectors,
    ulps,
    vector_ulps,
)
from ledger import hold

# --------------------------------------------------------------------------------------
# Formulas of numbers

ANY = [*angles(-360, 360), 5e-324, 1e300, -1e-310, 180.0, 90.0]
HALF = angles(-45, 45)
DIAMETER = lengths(100, 3000)
PLAN = lengths(1.0, 1e5)
INNER = angles(1, 90)


def ackermann(sign: int) -> Exact:
    def exact(angle: Any, distance: Any, wheelbase: Any) -> Any:
        sin, cos = mp.sin(rad(angle)), mp.cos(rad(angle))
        return deg(mp.atan2(sin, cos + sign * sin * distance / wheelbase))

    return exact


def cot(angle: Any) -> Any:
    return mp.cos(rad(angle)) / mp.sin(rad(angle))


def by_toe_out(inner: Any, outer: Any, distance: Any, wheelbase: Any) -> Any:
    return 100 * (inner - outer) / (inner - ackermann(1)(inner, distance, wheelbase))


def by_cotangents(inner: Any, outer: Any, distance: Any, wheelbase: Any) -> Any:
    return 100 * (cot(outer) - cot(inner)) * wheelbase / distance


FORMULAS: dict[str, tuple[Exact, Exact, list[list[float]]]] = {
    "units::deg_from_rad": (units.deg_from_rad, deg, [ANY]),
    "units::rad_from_deg": (units.rad_from_deg, rad, [ANY]),
    "units::deg_from_degrees_minutes": (
        lambda d, m: units.deg_from_degrees_minutes(units.DegreesMinutes(False, d, m)),
        lambda d, m: d + m / 60,
        [[*range(0, 360, 7), 360.0], [*map(float, range(60)), 59.999, 60.0]],
    ),
    "wheel::toe_length_mm": (
        lambda toe, d: wheel.toe_length_mm(toe, reference_diameter_mm=d),
        lambda toe, d: d * mp.tan(rad(toe)),
        [HALF, DIAMETER],
    ),
    "wheel::toe_from_length_deg": (
        lambda of, d: wheel.toe_from_length_deg(of * d, reference_diameter_mm=d),
        lambda of, d: deg(mp.atan(mp.mpf(float(of) * float(d)) / d)),
        [[0.0, 1e-300, 1e-9, -1e-3, 1.0, -1.0], DIAMETER],
    ),
    "wheel::side_slip_mm_per_m": (
        wheel.side_slip_mm_per_m,
        lambda angle: 1000 * mp.tan(rad(angle)),
        [HALF],
    ),
    "wheel::angle_from_side_slip_deg": (
        wheel.angle_from_side_slip_deg,
        lambda slip: deg(mp.atan(slip / 1000)),
        [[0.0, 5e-324, 1e-300, 1e-9, -5.0, 1000.0, -1000.0, 999.9999]],
    ),
    "vehicle::thrust_angle_deg": (
        lambda a, b: vehicle.thrust_angle_deg(
            rear_left_toe_deg=a, rear_right_toe_deg=b
        ),
        lambda left, right: (left - right) / 2,
        [HALF, HALF],
    ),
    "vehicle::toe_to_thrust_line_deg": (
        lambda toe, thrust: vehicle.toe_to_thrust_line_deg(
            toe, side="right", thrust_angle_deg=thrust
        ),
        lambda toe, thrust: toe + thrust,
        [HALF, HALF],
    ),
    "vehicle::dog_tracking_offset_mm": (
        lambda angle, of: vehicle.dog_tracking_offset_mm(
            wheelbase_mm=of, thrust_angle_deg=angle
        ),
        lambda angle, of: of * mp.tan(rad(angle)),
        [HALF, lengths(500, 12000)],
    ),
    "turns::ackermann_outer_deg": (
        lambda a, d, w: turns.ackermann_outer_deg(
            a, axis_distance_mm=d, wheelbase_mm=w
        ),
        ackermann(1),
        [angles(0, 90), PLAN, PLAN],
    ),
    "turns::ackermann_inner_deg": (
        lambda a, d, w: turns.ackermann_inner_deg(
            a, axis_distance_mm=d, wheelbase_mm=w
        ),
        ackermann(-1),
        [angles(0, 90), PLAN, PLAN],
    ),
    "turns::ackermann_percent_by_toe_out": (
        lambda i, o, d, w: turns.ackermann_percent_by_toe_out(
            inner_deg=i, outer_deg=o, axis_distance_mm=d, wheelbase_mm=w
        ),
        by_toe_out,
        [INNER, INNER, PLAN, PLAN],
    ),
    "turns::ackermann_percent_by_cotangents": (
        lambda i, o, d, w: turns.ackermann_percent_by_cotangents(
            inner_deg=i, outer_deg=o, axis_distance_mm=d, wheelbase_mm=w
        ),
        by_cotangents,
        [INNER, INNER, PLAN, PLAN],
    ),
    "turns::turning_radius_mm": (
        lambda w, steer: turns.turning_radius_mm(wheelbase_mm=w, steer_deg=steer),
        lambda w, steer: w / mp.sin(rad(steer)),
        [PLAN, angles(0.1, 90)],
    ),
}


@pytest.mark.parametrize("what", FORMULAS)
def test_formulas(what: str) -> None:
    found, exact, ranges = FORMULAS[what]
    told(what, found, exact, arguments(what, *ranges))


# --------------------------------------------------------------------------------------
# The gauge: either side

SIDES = {"left": 1, "right": -1}
YAW, READING = angles(-60, 60), angles(-45, 45)
AXIS, AHEAD_YAW, AHEAD = angles(-30, 30), angles(-10, 10), angles(-15, 15)


def of_the_cone(caster: Any, sai: Any, turn: Any, reading: Any, to: Any) -> list[Any]:
    """What the cone's formula is made of: tangents, sines and cosines."""
    tangents = mp.tan(rad(caster)), mp.tan(rad(sai))
    return [*tangents, *circle(turn), *circle(reading), *circle(to)]


def on_the_cone(slope: Exact) -> Exact:
    """The elevation that keeps slope·cos - sin of it what it is straight ahead."""

    def exact(tan_caster: Any, tan_sai: Any, *circles: Any) -> Any:
        sin_ahead, cos_ahead, sin, cos, sin_to, cos_to = circles
        constant = slope(tan_caster, tan_sai, sin_ahead, cos_ahead) * cos - sin
        there = slope(tan_caster, tan_sai, sin_to, cos_to)
        return deg(mp.atan(there) - mp.asin(constant / mp.sqrt(1 + there**2)))

    return exact


def gauges(side: str) -> dict[str, tuple[Exact, Exact, list[list[float]]]]:
    s = SIDES[side]

    def two(name: str, kind: str) -> Exact:
        rule = getattr(gauge, name)
        return lambda left, right, turn: rule(
            side=side,
            turn_deg=turn,
            **{f"{kind}_turned_left_deg": left, f"{kind}_turned_right_deg": right},
        )

    def by_sines(left: Any, right: Any, turn: Any) -> Any:
        sines = mp.sin(rad(left)) - mp.sin(rad(right))
        return deg(mp.atan(s * sines / (2 * mp.sin(rad(turn)))))

    def linear(left: Any, right: Any, turn: Any) -> Any:
        return s * (left - right) / (2 * mp.sin(rad(turn)))

    position = gauge.GaugePosition
    rules = [READING, READING, angles(5, 60)]
    # The linear rule refuses more than 90°.
    gentle = [angles(-7.5, 7.5), angles(-7.5, 7.5), angles(10, 60)]
    return {
        "yaw_from_plate_deg": (
            lambda plate, toe: gauge.yaw_from_plate_deg(plate, side=side, toe_deg=toe),
            lambda plate, toe: plate - s * toe,
            [YAW, AHEAD_YAW],
        ),
        "hub_line_azimuth_deg": (
            lambda yaw, camber, pitch: gauge.hub_line_azimuth_deg(
                position(yaw, camber), side=side, pitch_deg=pitch
            ),
            lambda yaw, camber, pitch: (
                yaw
                + s
                * deg(
                    mp.asin(min(1, max(-1, mp.tan(rad(pitch)) * mp.tan(rad(camber)))))
                )
            ),
            [YAW, angles(-44, 44), angles(-44, 44)],
        ),
        "caster_by_two_positions_deg": (
            two("caster_by_two_positions_deg", "camber"),
            by_sines,
            rules,
        ),
        "sai_by_two_positions_deg": (
            two("sai_by_two_positions_deg", "pitch"),
            by_sines,
            rules,
        ),
        "caster_by_linear_rule_deg": (
            two("caster_by_linear_rule_deg", "camber"),
            linear,
            gentle,
        ),
        "sai_by_linear_rule_deg": (
            two("sai_by_linear_rule_deg", "pitch"),
            linear,
            gentle,
        ),
    }


@pytest.mark.parametrize("side", SIDES)
def test_foretold_readings(side: str) -> None:
    s, ranges = SIDES[side], [AXIS, AXIS, AHEAD_YAW, AHEAD, YAW]

    def camber(caster: float, sai: float, yaw: float, ahead: float, to: float) -> float:
        axis, at = gauge.AxisAngles(caster, sai), gauge.GaugePosition(yaw, ahead)
        return gauge.camber_at_yaw_deg(side=side, axis=axis, ahead=at, yaw_deg=to)

    def pitch(caster: float, sai: float, turn: float, ahead: float, to: float) -> float:
        axis, at = gauge.AxisAngles(caster, sai), gauge.PitchPosition(turn, ahead)
        return gauge.pitch_at_azimuth_deg(
            side=side, axis=axis, ahead=at, azimuth_deg=to
        )

    for name, found, slope in (
        (
            "camber_at_yaw_deg",
            camber,
            lambda caster, sai, sin, cos: s * sin * caster - cos * sai,
        ),
        (
            "pitch_at_azimuth_deg",
            pitch,
            lambda caster, sai, sin, cos: cos * caster + s * sin * sai,
        ),
    ):
        rows = arguments(name + side, *ranges)
        told(f"gauge::{name}", found, on_the_cone(slope), rows, of=of_the_cone)


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize("name", gauges("left"))
def test_gauges(name: str, side: str) -> None:
    found, exact, ranges = gauges(side)[name]
    told(f"gauge::{name}", found, exact, arguments(name + side, *ranges))


@pytest.mark.parametrize("which", ["caster_deg", "sai_deg"])
@pytest.mark.parametrize("name", ["axis_from_cambers", "axis_from_pitches"])
@pytest.mark.parametrize("side", SIDES)
def test_axes_from_three_positions(side: str, name: str, which: str) -> None:
    s, of_camber = SIDES[side], name == "axis_from_cambers"
    position = gauge.GaugePosition if of_camber else gauge.PitchPosition
    solve = getattr(gauge, name)

    def exact(*circles: Any) -> Any:
        rows = []
        for sin, cos, sin_reading, level in zip(*[iter(circles)] * 4, strict=True):
            along, across = level * cos, s * level * sin
            row = (across, -along) if of_camber else (along, across)
            rows.append((*row, -1, sin_reading))
        solved = mp.lu_solve(
            mp.matrix([row[:3] for row in rows]), mp.matrix([row[3] for row in rows])
        )
        return deg(mp.atan(solved[0 if which == "caster_deg" else 1]))

    def circles(*flat: Any) -> list[Any]:
        return [one for angle in flat for one in circle(angle)]

    def found(*flat: float) -> float:
        at = [position(turn, reading) for turn, reading in pairs(flat)]
        return float(getattr(solve(at, side=side), which))

    ends = (angles(-45, -12), angles(-5, 5), angles(12, 45))
    ranges = [one for end in ends for one in (end, angles(-8, 8))]
    told(f"gauge::{name}", found, exact, arguments(name + side, *ranges), of=circles)


def pairs(flat: tuple[Any, ...]) -> list[tuple[Any, Any]]:
    return list(zip(flat[::2], flat[1::2], strict=True))


# --------------------------------------------------------------------------------------
# Vectors: in units of the last digit of their length


def unit_vectors(name: str) -> list[tuple[float, ...]]:
    """Any direction, along axes, all but along them, and 9e-7 off their length."""
    rng = np.random.default_rng(list(name.encode()))
    vectors = [*rng.normal(size=(CASES, 3))]
    for axis in np.vstack([np.eye(3), -np.eye(3)]):
        vectors += [axis + off * rng.normal(size=3) for off in (0, 1e-16, 1e-9, 1e-4)]
    found = []
    for vector in vectors:
        size = np.linalg.norm(vector) * rng.choice([1.0, 1.0 + 9e-7, 1.0 - 9e-7])
        found.append(tuple(map(float, vector / size)))
    return found


def made_unit(vector: Any) -> list[Any]:
    size = mp.sqrt(sum(one**2 for one in vector))
    return [one / size for one in vector]


def angles_of_vectors() -> dict[str, tuple[Exact, Exact]]:
    def camber(*spindle: Any) -> Any:
        x, y, z = spindle
        return deg(mp.atan2(-z, mp.sqrt(x**2 + y**2)))

    return {
        "wheel::camber_deg": (lambda *a: wheel.camber_deg(a), camber),
        "wheel::toe_deg": (
            lambda *a: wheel.toe_deg(a, side="right"),
            lambda x, y, _: deg(mp.atan2(x, -y)),
        ),
        "steering::caster_deg": (
            lambda *k: steering.caster_deg(k),
            lambda x, _, z: deg(mp.atan2(-x, z)),
        ),
        "steering::sai_deg": (
            lambda *k: steering.sai_deg(k, side="right"),
            lambda _, y, z: deg(mp.atan2(y, z)),
        ),
    }


@pytest.mark.parametrize("what", angles_of_vectors())
def test_angles_of_unit_vectors(what: str) -> None:
    found, exact = angles_of_vectors()[what]
    off, worst = [], 1.0
    with mp.workdps(50):
        for row in unit_vectors(what):
            if what == "wheel::toe_deg" and math.hypot(row[0], row[1]) < 1e-5:
                continue
            value = exact(*map(mp.mpf, row))
            by = 1.0
            if what == "wheel::camber_deg":
                # An arc sine, of a sine that is rounded: ill near 90°, where none is.
                x, y, z = made_unit(row)
                level = mp.sqrt(x**2 + y**2)
                least = mp.mpf(10) ** -8
                by = max(
                    1.0, float(abs(z) / max(level, least) / max(abs(rad(value)), least))
                )
                if level < least:
                    by = math.inf
            worst = max(worst, by)
            if math.isfinite(by):
                off.append(ulps(found(*row), value) / by)
    hold(
        what,
        against="mpmath at 50 digits",
        quantity="any direction, along axes and all but along them"
        + ("; over the condition of an arc sine" if worst > 1.5 else ""),
        off=off,
        why="length, quotient, arc and degrees, each rounded",
        **ULP,
    )


def test_vectors() -> None:
    rng = np.random.default_rng(8)
    with mp.workdps(50):
        off = [
            vector_ulps(up_in_rig(row), made_unit([*map(mp.mpf, row)]))
            for row in unit_vectors("up")
        ]
        told_vectors("session::up_in_rig", "components, in ulp of 1", off)
        off = []
        for caster, sai in arguments("axis", angles(-80, 80), angles(-80, 80)):
            exact = made_unit([-mp.tan(rad(caster)), mp.tan(rad(sai)), mp.mpf(1)])
            found = steering.axis_direction(
                side="right", caster_deg=caster, sai_deg=sai
            )
            off.append(vector_ulps(found, exact))
        told_vectors("steering::axis_direction", "components, in ulp of 1", off)
        off = []
        for row in unit_vectors("body"):
            pitch, roll = rng.choice(HALF), rng.uniform(-45, 45)
            x, y, z = made_unit([*map(mp.mpf, row)])
            sin, cos = mp.sin(rad(pitch)), mp.cos(rad(pitch))
            x, z = cos * x - sin * z, sin * x + cos * z
            sin, cos = mp.sin(rad(roll)), mp.cos(rad(roll))
            found = steering.axis_to_body(row, pitch_deg=pitch, roll_deg=roll)
            off.append(vector_ulps(found, [x, cos * y + sin * z, cos * z - sin * y]))
        told_vectors("steering::axis_to_body", "components, in ulp of 1", off)
        off = []
        for row in unit_vectors("contact"):
            if math.hypot(row[0], row[1]) < 0.1:
                continue
            centre, radius = rng.uniform(-3e3, 3e3, 3), rng.uniform(50, 1500)
            x, y, z = made_unit([*map(mp.mpf, row)])
            level = mp.sqrt(x**2 + y**2)
            down = [-x * z / level, -y * z / level, level]
            exact = [mp.mpf(c) - radius * d for c, d in zip(centre, down, strict=True)]
            found = wheel.contact_centre_mm(
                centre_mm=centre, spindle=row, loaded_radius_mm=radius
            )
            # As the spindle rises the lower end swings the faster.
            size = max(*map(abs, centre), radius / float(level))
            off.append(vector_ulps(found, exact, size))
        told_vectors(
            "wheel::contact_centre_mm", "coordinates, in ulp of the greatest", off
        )


def test_attitudes() -> None:
    height = [10.0, 100.0, apart(100.0, 1), apart(100.0, -3), 200.0, 0.3]
    for place, size in ((0, lengths(500, 12000)), (1, lengths(500, 3000))):

        def found(
            fl: float, fr: float, rl: float, rr: float, of: float, at: int = place
        ) -> float:
            sizes = {"wheelbase_mm": 2000.0, "track_mm": 1500.0}
            sizes["track_mm" if at else "wheelbase_mm"] = of
            return float(
                steering.body_attitude_deg(ByWheel(fl, fr, rl, rr), **sizes)[at]
            )

        def exact(fl: Any, fr: Any, rl: Any, rr: Any, of: Any, at: int = place) -> Any:
            pitch = (rl + rr - fl - fr) / 2
            roll = (fl + rl - fr - rr) / 2
            return deg(mp.atan((roll if at else pitch) / of))

        told(
            "steering::body_attitude_deg",
            found,
            exact,
            arguments(f"attitude {place}", height, height, height, height, size),
        )


# --------------------------------------------------------------------------------------
# Poses and degrees of freedom


def test_poses() -> None:
    rng = np.random.default_rng(9)
    of_quaternion, of_vector = [], []
    sizes = [
        0.0,
        5e-324,
        1e-300,
        1e-160,
        1e-16,
        1e-9,
        1e-4,
        0.1,
        math.pi - 1e-12,
        math.pi,
    ]
    with mp.workdps(50):
        for size in [*sizes, *rng.uniform(0, math.pi, CASES)]:
            axis = rng.normal(size=3)
            vector = [float(one) for one in axis / np.linalg.norm(axis) * size]
            x, y, z = map(mp.mpf, vector)
            turn = mp.sqrt(x * x + y * y + z * z)
            cross = mp.matrix([[0, -z, y], [z, 0, -x], [-y, x, 0]])
            sinc = mp.sin(turn) / turn if turn else mp.mpf(1)
            half = 2 * (mp.sin(turn / 2) / turn) ** 2 if turn else mp.mpf(1) / 2
            exact = mp.eye(3) + sinc * cross + half * cross * cross
            found = Pose.from_rotation_vector_rad(vector, [0, 0, 0]).rotation
            of_vector.append(vector_ulps(np.ravel(found), list(exact)))
            quaternion = rng.normal(size=4)
            quaternion /= np.linalg.norm(quaternion) * rng.choice([1.0, 1 + 9e-7])
            w, x, y, z = made_unit([mp.mpf(float(one)) for one in quaternion])
            cross = mp.matrix([[0, -z, y], [z, 0, -x], [-y, x, 0]])
            exact = mp.eye(3) + 2 * w * cross + 2 * cross * cross
            found = Pose.from_quaternion_wxyz(quaternion, [0, 0, 0]).rotation
            of_quaternion.append(vector_ulps(np.ravel(found), list(exact)))
    told_vectors(
        "pose::Pose::from_quaternion_wxyz", "elements, in ulp of 1", of_quaternion
    )
    told_vectors(
        "pose::Pose::from_rotation_vector_rad", "elements, in ulp of 1", of_vector
    )


def test_nearest_rotations() -> None:
    """Of matrices up to 1e-7 off."""
    rng, off = np.random.default_rng(10), []
    with mp.workdps(50):
        for _ in range(CASES):
            rotation = np.linalg.qr(rng.normal(size=(3, 3)))[0]
            rotation *= np.sign(np.linalg.det(rotation))
            rotation += rng.uniform(-1e-7, 1e-7, (3, 3)) * rng.choice([1.0, 1e-3])
            exact = nearest(rotation)
            found = Pose(rotation, [0, 0, 0]).rig_from_target().rotation
            off.append(vector_ulps(np.ravel(found), list(exact)))
    told_vectors("pose::Pose::rig_from_target", "elements, in ulp of 1", off)


def test_degrees_of_freedom() -> None:
    told(
        "propagation::effective_degrees_of_freedom",
        lambda a, m, b, n: propagation.effective_degrees_of_freedom([(a, m), (b, n)]),
        lambda a, m, b, n: (a + b) ** 2 / (a**2 / m + b**2 / n),
        arguments(
            "freedom", [1e-12, 0.3, 1e6], [1.0, 5.5, 1e4], [1e-12, 0.3, 1e6], [1.0, 9.0]
        ),
    )
