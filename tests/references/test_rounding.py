"""How many digits the closed formulas lose: the same formulas by mpmath at 50 digits.

Arguments are none, tiny, ordinary, at the ends of their ranges, of mixed signs, and a
few units of the last digit apart. A result may be off by 4 units of its last digit;
where it is a small difference of greater things, by as many times its condition number:
the relative change of the result over that of the arguments, or of their sines and
cosines where the formula is one of these. These rows prove no formula right: the other
files do.
"""

import math
from collections.abc import Callable, Iterable
from typing import Any

import mpmath as mp
import numpy as np
import pytest
from wheel_alignment import (
    adjustment,
    gauge,
    propagation,
    stand,
    steering,
    turns,
    units,
    vehicle,
    wheel,
)
from wheel_alignment.pose import Pose
from wheel_alignment.session import ByWheel, up_in_rig

from ledger import hold

ULP = {"allowed": 4.0, "unit": "ulp", "rounding": True}
CASES = 150
Exact = Callable[..., Any]


def rad(angle_deg: Any) -> Any:
    return mp.radians(angle_deg)


def deg(angle_rad: Any) -> Any:
    return mp.degrees(angle_rad)


def apart(value: float, steps: int) -> float:
    """So many floats further."""
    for _ in range(abs(steps)):
        value = math.nextafter(value, math.copysign(math.inf, steps))
    return value


def angles(least: float, most: float) -> list[float]:
    """Special angles within limits, degrees."""
    middle = (least + most) / 2
    tiny = [0.0, 1e-290, 1e-16, 1e-8, 1e-3, 0.3, 5.0, 20.0, 30.0, 44.999999]
    ends = [least, most, apart(least, 3), apart(most, -3), most - 1e-9, least + 1e-9]
    near = [apart(20.0, 1), apart(20.0, -2), 89.999999, 59.9, middle]
    every = [*tiny, *(-one for one in tiny), *ends, *near]
    return [one for one in every if least <= one <= most]


def lengths(least: float, most: float) -> list[float]:
    return [least, most, apart(least, 2), math.sqrt(least * most), (least + most) / 3]


def arguments(name: str, *ranges: list[float]) -> Iterable[tuple[float, ...]]:
    """Every special value with others drawn, and pairs of neighbours."""
    rng = np.random.default_rng(list(name.encode()))
    for place, special in enumerate(ranges):
        for value in special:
            row = [rng.uniform(min(of), max(of)) for of in ranges]
            row[place] = value
            yield tuple(map(float, row))
    for _ in range(CASES):
        yield tuple(float(rng.uniform(min(of), max(of))) for of in ranges)
    for _ in range(CASES // 3):
        yield tuple(float(rng.choice(of)) for of in ranges)
    # A few floats apart: what a difference of angles would lose.
    for steps in (0, 1, -1, 2, 5, 100):
        row = [rng.uniform(min(of), max(of)) for of in ranges]
        if len(row) > 1 and ranges[0] == ranges[1]:
            row[1] = apart(row[0], steps)
            if min(ranges[1]) <= row[1] <= max(ranges[1]):
                yield tuple(map(float, row))


def ulps(found: float, exact: Any, size: Any = None) -> float:
    """How far it is off, in units of the last digit of what it should be."""
    size = float(abs(exact) if size is None else size)
    return float(abs(mp.mpf(found) - exact) / mp.mpf(np.spacing(max(size, 0.0))))


def condition(exact: Exact, row: list[Any], value: Any) -> Any:
    """How much a relative change of the arguments changes the result, at most 1e30."""
    if value == 0:
        return mp.mpf(1)
    total = mp.mpf(0)
    for place, argument in enumerate(row):
        # Inward: a formula may end at the end of its range.
        step = -mp.mpf(argument) * mp.mpf(10) ** -20
        moved = [mp.mpf(of) for of in row]
        moved[place] += step
        total += abs((exact(*moved) - value) / value) * mp.mpf(10) ** 20
    return max(mp.mpf(1), total)


def told(
    what: str,
    found: Exact,
    exact: Exact,
    rows: Iterable[tuple[float, ...]],
    of: Callable[..., list[Any]] = lambda *row: list(row),
) -> None:
    """Hold a formula of numbers, or of what `of` makes of them, to its last digits."""
    off, worst = [], mp.mpf(1)
    with mp.workdps(50):
        for row in rows:
            given = of(*map(mp.mpf, row))
            value = exact(*given)
            by = condition(exact, given, value)
            worst = max(worst, by)
            off.append(ulps(found(*row), value) / float(by))
            assert off[-1] <= ULP["allowed"], (what, row, found(*row), value, float(by))
    hold(
        what,
        against="mpmath at 50 digits",
        quantity="zero, tiny, at the ends, mixed signs, neighbours"
        + ("; over the condition number" if worst > 1.5 else ""),
        off=off,
        why="a few operations, each rounded"
        + (", on arguments that nearly cancel" if worst > 1.5 else ""),
        **ULP,
    )


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


def circle(angle: Any) -> tuple[Any, Any]:
    return mp.sin(rad(angle)), mp.cos(rad(angle))


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
# Adjusters

PITCH, LEVER = lengths(0.2, 10), lengths(10, 3000)
PART = [0.0, 5e-324, 1e-300, 1e-9, -1e-3, 0.3, -0.7, 0.999999, 1.0, -1.0]
WHEEL, LEAN = angles(-20, 20), angles(-60, 60)
# Fifty digits do not tell an angle from one that is 1e-290 more.
TILT = [one for one in WHEEL if one == 0 or abs(one) > 1e-20]
EFFECT = [0.001, 0.25, apart(0.25, 1), 10.0, 0.05]


def of_each(which: str, call: Exact) -> Exact:
    """One of several results."""
    return lambda *row: float(getattr(call(*row), which))


def rods(turns_: float, pitch: float, arm: float) -> float:
    found = adjustment.tie_rod_steer_deg(turns_, thread_pitch_mm=pitch, arm_mm=arm)
    return float(found)


def toe_changes(left: Any, right: Any, total: Any, wheel: Any, ratio: Any) -> Any:
    return adjustment.toe_changes_deg(
        left_toe_deg=left,
        right_toe_deg=right,
        total_toe_deg=total,
        steering_wheel_deg=wheel,
        steering_ratio=ratio,
    )


def shims(camber: Any, caster: Any, by_camber: Any, by_caster: Any) -> Any:
    return adjustment.shim_thicknesses_mm(
        camber_change_deg=camber,
        caster_change_deg=caster,
        camber_deg_per_mm=by_camber,
        caster_deg_per_mm=by_caster,
    )


def subframe(*row: Any) -> Any:
    caster_left, sai_left, caster_right, sai_right, wanted, height, distance = row
    return adjustment.subframe_shift(
        left=gauge.AxisAngles(caster_left, sai_left),
        right=gauge.AxisAngles(caster_right, sai_right),
        caster_deg=wanted,
        height_mm=height,
        joint_distance_mm=distance,
    )


def eccentric(part: Any, eccentricity: Any) -> Any:
    return adjustment.eccentric_angles_deg(part, eccentricity_mm=eccentricity)


def tangent(angle: Any) -> Any:
    return mp.tan(rad(angle))


ADJUSTERS: dict[str, tuple[Exact, Exact, list[list[float]]]] = {
    "tie_rod_turns": (
        lambda steer, pitch, arm: adjustment.tie_rod_turns(
            steer, thread_pitch_mm=pitch, arm_mm=arm
        ),
        lambda steer, pitch, arm: arm * mp.sin(rad(steer)) / pitch,
        [angles(-30, 30), PITCH, LEVER],
    ),
    "toe_changes_deg left_deg": (
        of_each("left_deg", toe_changes),
        lambda left, _, total, wheel, ratio: total / 2 - left - wheel / ratio,
        [WHEEL, WHEEL, WHEEL, angles(-360, 360), [1.0, 50.0, 16.0, 3.7]],
    ),
    "toe_changes_deg right_deg": (
        of_each("right_deg", toe_changes),
        lambda _, right, total, wheel, ratio: total / 2 - right + wheel / ratio,
        [WHEEL, WHEEL, WHEEL, angles(-360, 360), [1.0, 50.0, 16.0, 3.7]],
    ),
    "eccentric_shift_mm": (
        lambda of, angle: adjustment.eccentric_shift_mm(
            eccentricity_mm=of, angle_deg=angle
        ),
        lambda of, angle: of * mp.sin(rad(angle)),
        [lengths(0.01, 100), angles(-360, 360)],
    ),
    "slot_tilt_deg": (
        lambda shift, height, lean: adjustment.slot_tilt_deg(
            shift, height_mm=height, inclination_deg=lean
        ),
        lambda shift, height, lean: deg(mp.atan(tangent(lean) + shift / height)) - lean,
        [[0.0, 1e-16, -1e-9, 10.0, -500.0, 500.0], LEVER, LEAN],
    ),
    "slot_shift_mm": (
        lambda tilt, height, lean: adjustment.slot_shift_mm(
            tilt, height_mm=height, inclination_deg=lean
        ),
        lambda tilt, height, lean: height * (tangent(lean + tilt) - tangent(lean)),
        [TILT, LEVER, LEAN],
    ),
    "shim_thicknesses_mm front_mm": (
        of_each("front_mm", shims),
        lambda camber, caster, c, k: camber / c + caster / k,
        [WHEEL, WHEEL, EFFECT, EFFECT],
    ),
    "shim_thicknesses_mm rear_mm": (
        of_each("rear_mm", shims),
        lambda camber, caster, c, k: camber / c - caster / k,
        [WHEEL, WHEEL, EFFECT, EFFECT],
    ),
}


@pytest.mark.parametrize("what", ADJUSTERS)
def test_adjusters(what: str) -> None:
    found, exact, ranges = ADJUSTERS[what]
    name = what.split()[0]
    told(f"adjustment::{name}", found, exact, arguments(what, *ranges))


def test_arc_sines_of_adjusters() -> None:
    rows = list(arguments("rods", PART, PITCH, LEVER))
    told(
        "adjustment::tie_rod_steer_deg",
        rods,
        lambda turns_, pitch, arm: deg(mp.asin(turns_ * pitch / arm)),
        [(part * 0.5 * arm / pitch, pitch, arm) for part, pitch, arm in rows],
    )
    cams = [(part * of, of) for part, of in arguments("cams", PART, lengths(0.01, 100))]
    for which, far in (("near_deg", 0), ("far_deg", 180)):
        told(
            "adjustment::eccentric_angles_deg",
            of_each(which, eccentric),
            lambda shift, of, far=far: (
                abs(far - deg(mp.asin(shift / of))) if far else deg(mp.asin(shift / of))
            ),
            cams,
        )


def test_subframes() -> None:
    def lateral(
        _a: Any, left: Any, _b: Any, right: Any, _c: Any, h: Any, _: Any
    ) -> Any:
        return h * (tangent(right) - tangent(left)) / 2

    def along(left: Any, _a: Any, right: Any, _b: Any, to: Any, h: Any, _: Any) -> Any:
        return h * (tangent(to) - (tangent(left) + tangent(right)) / 2)

    def yaw(left: Any, _a: Any, right: Any, _b: Any, _c: Any, h: Any, w: Any) -> Any:
        return deg(mp.asin(h * (tangent(left) - tangent(right)) / w))

    ranges = [angles(-20, 20), LEAN, angles(-20, 20), LEAN, LEAN, lengths(200, 900)]
    rows = list(arguments("subframe", *ranges, lengths(1400, 3000)))
    # Sides that all but agree: what tangents lose.
    rng = np.random.default_rng(11)
    for steps in (0, 1, -3, 40):
        for _ in range(10):
            caster, sai = (float(one) for one in rng.uniform(-15, 15, 2))
            near = apart(caster, steps), apart(sai, steps)
            rows.append((caster, sai, *near, 4.0, 600.0, 1500.0))
    for which, exact in (
        ("lateral_mm", lateral),
        ("longitudinal_mm", along),
        ("yaw_deg", yaw),
    ):
        told("adjustment::subframe_shift", of_each(which, subframe), exact, rows)


# A wheel on the left, straight ahead: forward x, outward y, up z.


def spindle(camber: Any, toe: Any) -> list[Any]:
    """Outward; toe-in turns it forward."""
    (sin, cos), (sin_toe, cos_toe) = circle(camber), circle(toe)
    return [cos * sin_toe, cos * cos_toe, -sin]


def tipped(camber: Any, taper: Any, bearing: Any) -> list[Any]:
    """The spindle of a wheel on a tapered shim: toward the thin edge."""
    (sin, cos), (sin_taper, cos_taper) = circle(camber), circle(taper)
    sin_bearing, cos_bearing = circle(bearing)
    before, up = [0, cos, -sin], [0, sin, cos]
    tipping = [-sin_bearing * (axis == 0) - cos_bearing * up[axis] for axis in range(3)]
    pairs_ = zip(before, tipping, strict=True)
    return [cos_taper * a + sin_taper * b for a, b in pairs_]


def changes(camber: Any, taper: Any, bearing: Any) -> tuple[Any, Any]:
    x, y, z = tipped(camber, taper, bearing)
    return deg(mp.atan2(-z, mp.sqrt(x**2 + y**2))) - camber, deg(mp.atan2(x, y))


def test_tapered_shims() -> None:
    def shim(camber: Any, camber_change: Any, toe_change: Any) -> Any:
        return adjustment.tapered_shim(
            camber_deg=camber,
            camber_change_deg=camber_change,
            toe_change_deg=toe_change,
        )

    def taper(camber: Any, camber_change: Any, toe_change: Any) -> Any:
        after = spindle(camber + camber_change, toe_change)
        before = spindle(camber, 0)
        apart_ = [a - b for a, b in zip(after, before, strict=True)]
        return deg(2 * mp.asin(mp.sqrt(sum(one**2 for one in apart_)) / 2))

    def bearing(camber: Any, camber_change: Any, toe_change: Any) -> Any:
        x, y, z = spindle(camber + camber_change, toe_change)
        sin, cos = circle(camber)
        return deg(mp.atan2(-x, -(y * sin + z * cos)))

    rows = list(arguments("taper", WHEEL, WHEEL, WHEEL))
    told("adjustment::tapered_shim", of_each("taper_deg", shim), taper, rows)
    # Half a turn has two names, and without a change there is no thick edge.
    with mp.workdps(50):
        turned = [row for row in rows if any(row[1:]) and abs(bearing(*row)) < 179.99]
    told("adjustment::tapered_shim", of_each("bearing_deg", shim), bearing, turned)

    def reached(camber: Any, of: Any, at: Any) -> Any:
        return adjustment.tapered_shim_changes(
            camber_deg=camber,
            shim=adjustment.TaperedShim(taper_deg=of, bearing_deg=at),
        )

    tapers = [one for one in TILT if 0 <= one <= 15]
    rows = list(arguments("changes", WHEEL, tapers, angles(-360, 360)))
    for place, which in enumerate(("camber_change_deg", "toe_change_deg")):
        told(
            "adjustment::tapered_shim_changes",
            of_each(which, reached),
            lambda *row, place=place: changes(*row)[place],
            rows,
        )


def test_tapered_shims_from_the_shelf() -> None:
    steps = [[0.001, 0.25, 0.1, 15.0], [0.0, 1.5, 15.0], [0.1, 15.0, 7.5, 360.0]]
    left: dict[tuple[float, ...], Any] = {}
    for row in arguments("shelf", WHEEL, WHEEL, WHEEL, *steps):
        camber, camber_change, toe_change, taper_step, most, bearing_step = row
        found = adjustment.tapered_shim_on_shelf(
            camber_deg=camber,
            camber_change_deg=camber_change,
            toe_change_deg=toe_change,
            taper_step_deg=taper_step,
            most_taper_deg=most,
            bearing_step_deg=bearing_step,
        )
        shim = float(found.taper_deg), float(found.bearing_deg)
        left[(*row[:3], *shim)] = found
    for place, which in enumerate(("camber_left_deg", "toe_left_deg")):
        told(
            "adjustment::tapered_shim_on_shelf",
            lambda *row, which=which: float(getattr(left[row], which)),
            lambda camber, a, b, of, at, place=place: (
                (a, b)[place] - changes(camber, of, at)[place]
            ),
            left,
        )


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


def vector_ulps(found: Any, exact: Any, size: Any = 1) -> list[float]:
    return [ulps(a, b, size=abs(size)) for a, b in zip(found, exact, strict=True)]


def told_vectors(what: str, quantity: str, off: list[list[float]]) -> None:
    hold(
        what,
        against="mpmath at 50 digits",
        quantity=quantity,
        off=np.ravel(off),
        why="a few operations, each rounded",
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
# Stands: angles in units of the last digit of a radian, over the cosine of pitch


def matrix_of(yaw: Any, pitch: Any, roll: Any) -> Any:
    (sz, cz), (sy, cy), (sx, cx) = circle(yaw), circle(pitch), circle(roll)
    about_z = mp.matrix([[cz, -sz, 0], [sz, cz, 0], [0, 0, 1]])
    about_y = mp.matrix([[cy, 0, sy], [0, 1, 0], [-sy, 0, cy]])
    return about_z * about_y * mp.matrix([[1, 0, 0], [0, cx, -sx], [0, sx, cx]])


def angles_of(turn: Any) -> list[Any]:
    """Yaw, pitch and roll, degrees."""
    level = mp.sqrt(turn[0, 0] ** 2 + turn[1, 0] ** 2)
    yaw, roll = mp.atan2(turn[1, 0], turn[0, 0]), mp.atan2(turn[2, 1], turn[2, 2])
    return [deg(yaw), deg(mp.atan2(-turn[2, 0], level)), deg(roll)]


def angle_ulps(found: Iterable[float], exact: list[Any]) -> list[float]:
    by = mp.cos(rad(exact[1]))
    apart_ = [mp.mpf(a) - b for a, b in zip(found, exact, strict=True)]
    # Half a turn has two names.
    apart_ = [(one + 180) % 360 - 180 for one in apart_]
    return [float(abs(rad(one)) * by / mp.mpf(np.spacing(1.0))) for one in apart_]


def nearest(rotation: Any) -> Any:
    """The polar decomposition by Newton's steps."""
    exact = mp.matrix(np.asarray(rotation).tolist())
    for _ in range(4):
        exact = exact * (3 * mp.eye(3) - exact.T * exact) / 2
    return exact


def stances(rng: Any, most: float) -> Iterable[list[float]]:
    """Yaw, pitch and roll of stands, degrees."""
    for pitch in [*angles(-88.9, 88.9), *rng.uniform(-80, 80, CASES)]:
        tiny, any_ = rng.uniform(-1e-9, 1e-9, 2), rng.uniform(-most, most, 2)
        yaw, roll = tiny if rng.random() < 0.2 else any_
        yield [float(yaw), float(pitch), float(roll)]


def pose_of(rng: Any, angles_: list[float]) -> Pose:
    turn = np.array(matrix_of(*map(mp.mpf, angles_)).tolist(), dtype=float)
    return Pose(turn, rng.uniform(-1e4, 1e4, 3))


def origin(pose: Pose) -> Any:
    return mp.matrix([mp.mpf(float(one)) for one in pose.translation_mm])


def test_readings_of_stands() -> None:
    rng = np.random.default_rng(12)
    ground = stand.Ground(tilt_deg=0.0, residual_mm=0.0, uneven=False)
    lengths_, turns_ = [], []
    with mp.workdps(50):
        for stance in stances(rng, 180):
            line = pose_of(rng, [float(one) for one in rng.uniform(-10, 10, 3)])
            placed = pose_of(rng, stance)
            of_line, of_stand = nearest(line.rotation), nearest(placed.rotation)
            exact = angles_of(of_line.T * of_stand)
            if abs(exact[1]) > 88.99:
                continue
            to = of_line.T * (origin(placed) - origin(line))
            found = stand.GroundLine(line, ground).readings(placed)
            mm = found.distance_mm, found.lateral_offset_mm, found.height_mm
            size = max(map(abs, [*origin(placed), *origin(line)]))
            lengths_.append(vector_ulps(mm, list(to), size))
            found_deg = found.yaw_deg, found.pitch_deg, found.roll_deg
            turns_.append(angle_ulps(found_deg, exact))
    what = "stand::GroundLine::readings"
    told_vectors(what, "lengths, in ulp of the greatest coordinate", lengths_)
    told_vectors(what, "angles, in ulp of a radian, times the cosine of pitch", turns_)


def test_moves_of_stands() -> None:
    rng = np.random.default_rng(13)
    shifts, turns_, elements, places = [], [], [], []
    with mp.workdps(50):
        for stance in stances(rng, 170):
            now = [float(one) for one in rng.uniform(-5e3, 5e3, 3)] + stance
            aim = [float(one) for one in rng.uniform(-5e3, 5e3, 3)]
            aim += [float(one) for one in rng.uniform(-5, 5, 3)]
            pivot = [float(one) for one in rng.uniform(-500, 500, 3)]
            required = [stand.Required(one, 1.0, 1.0) for one in aim]
            moves = stand.moves(
                stand.StandReadings(*now),
                stand.StandRequirements(required=stand.StandReadings(*required)),
                pivot_mm=pivot,
            )
            from_, to = (matrix_of(*map(mp.mpf, of[3:])) for of in (now, aim))
            at, there, about = (
                mp.matrix([mp.mpf(one) for one in of[:3]]) for of in (now, aim, pivot)
            )
            shift = to.T * (there - at - (from_ - to) * about)
            mm = moves.forward_mm, moves.left_mm, moves.up_mm
            size = max(map(abs, [*now[:3], *aim[:3], *pivot]))
            shifts.append(vector_ulps(mm, list(shift), size))
            given = moves.yaw_deg, moves.pitch_deg, moves.roll_deg
            turns_.append(angle_ulps(given, angles_of(from_.T * to)))

            placed = pose_of(rng, stance)
            found = stand.moved(placed, moves, pivot_mm=pivot)
            turned = nearest(placed.rotation) * matrix_of(*map(mp.mpf, given))
            elements.append(vector_ulps(np.ravel(found.rotation), list(turned)))
            moved = nearest(placed.rotation) * about + turned * (
                mp.matrix([mp.mpf(one) for one in mm]) - about
            )
            size = max(map(abs, [*origin(placed), *mm, *pivot]))
            places.append(
                vector_ulps(found.translation_mm, list(origin(placed) + moved), size)
            )
    what = "stand::moves"
    told_vectors(what, "shifts, in ulp of the greatest length", shifts)
    told_vectors(what, "turns, in ulp of a radian, times the cosine of pitch", turns_)
    told_vectors("stand::moved", "elements, in ulp of 1", elements)
    told_vectors("stand::moved", "translation, in ulp of the greatest length", places)


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
