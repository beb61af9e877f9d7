"""How many digits the formulas of adjusters lose."""

from typing import Any

import mpmath as mp
import numpy as np
import pytest
from wheel_alignment import adjustment, gauge

from digits import Exact, angles, apart, arguments, circle, deg, lengths, rad, told


def of_each(which: str, call: Exact) -> Exact:
    """One of several results."""
    return lambda *row: float(getattr(call(*row), which))


PITCH, LEVER = lengths(0.2, 10), lengths(10, 3000)
PART = [0.0, 5e-324, 1e-300, 1e-9, -1e-3, 0.3, -0.7, 0.999999, 1.0, -1.0]
WHEEL, LEAN = angles(-20, 20), angles(-60, 60)
# Fifty digits do not tell an angle from one that is 1e-290 more.
TILT = [one for one in WHEEL if one == 0 or abs(one) > 1e-20]
EFFECT = [0.001, 0.25, apart(0.25, 1), 10.0, 0.05]


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
    for which, exact in (
        ("near_deg", lambda shift, of: deg(mp.asin(shift / of))),
        ("far_deg", lambda shift, of: 180 - deg(mp.asin(shift / of))),
    ):
        told("adjustment::eccentric_angles_deg", of_each(which, eccentric), exact, cams)


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
