"""The formulas of wheel, steering, turns, gauge, vehicle, by what others turn and cut.

Wheels are turned by SciPy's Rotation and pytransform3d to a camber and a toe that are
known, knuckles about a steering axis, and read off; lines of the ground plan are cut by
SymPy; units are those of astropy and pint. test_vectors.py has the same at 40 digits.
"""

import math
from collections.abc import Callable

import numpy as np
import pint
import pytest
import sympy
from astropy import units as u
from astropy.coordinates import Angle
from pytransform3d import rotations as pr
from scipy import optimize, stats
from scipy.spatial.transform import Rotation
from wheel_alignment import gauge, steering, turns, tyre, units, vehicle, wheel
from wheel_alignment.session import ByWheel

from ledger import hold

Array = np.ndarray

COUNT = 300
SIGN = {"left": 1.0, "right": -1.0}
UP = np.array([0.0, 0.0, 1.0])
# Angles up to 60° are read off unit vectors, whose components are rounded.
ANGLE = {"allowed": 2e-13, "unit": "deg", "why": "rounding of unit vectors, 1e-16"}
LENGTH = {"allowed": 2e-12, "unit": "mm", "why": "rounding of lengths of 1e4 mm"}
PERCENT = {"allowed": 1e-10, "unit": "1", "why": "rounding of 1e5 %"}
UNIT = {"allowed": 1e-15, "unit": "1", "why": "rounding of unit vectors"}


def rng_of(name: str) -> np.random.Generator:
    return np.random.default_rng(list(name.encode()))


def sides(rng: np.random.Generator, count: int = COUNT) -> tuple[Array, Array]:
    """Sides by name, and by the sign of their y."""
    names = rng.choice(["left", "right"], count)
    return names, np.where(names == "left", 1.0, -1.0)


def spread(rng: np.random.Generator, most: float, count: int = COUNT) -> Array:
    """Angles of both signs, none, tiny ones and the greatest."""
    special = [0.0, 1e-12, -1e-9, 1e-5, most, -most]
    return np.append(special, rng.uniform(-most, most, count - len(special)))


def scipy_wheel(yaw_deg: Array, tipped_deg: Array) -> Array:
    """Matrices of the wheel: turned to its heading, then tipped about that."""
    euler = np.column_stack([yaw_deg, tipped_deg])
    return Rotation.from_euler("ZX", euler, degrees=True).as_matrix()


def pytransform3d_wheel(yaw_deg: Array, tipped_deg: Array) -> Array:
    return np.array(
        [
            pr.matrix_from_euler([*np.radians(pair), 0.0], 2, 0, 1, extrinsic=False)
            for pair in zip(yaw_deg, tipped_deg, strict=True)
        ]
    )


WHEELS: dict[str, Callable[[Array, Array], Array]] = {
    "SciPy Rotation": scipy_wheel,
    "pytransform3d": pytransform3d_wheel,
}


@pytest.mark.parametrize("against", WHEELS)
def test_camber_and_toe_of_a_turned_wheel(against: str) -> None:
    rng = rng_of("wheel")
    side, sign = sides(rng)
    camber, toe = spread(rng, 60.0), rng.permutation(spread(rng, 60.0))
    matrices = WHEELS[against](-sign * toe, -sign * camber)
    spindle = sign[:, None] * matrices[:, :, 1]
    hold(
        "wheel::camber_deg",
        against=against,
        quantity="camber to which a wheel was tipped, ± 60°",
        off=wheel.camber_deg(spindle) - camber,
        **ANGLE,
    )
    hold(
        "wheel::toe_deg",
        against=against,
        quantity="toe to which it was turned, ± 60°",
        off=wheel.toe_deg(spindle, side=side) - toe,
        **ANGLE,
    )
    centre, radius = rng.uniform(-4e3, 4e3, (COUNT, 3)), rng.uniform(200, 450, COUNT)
    contact = wheel.contact_centre_mm(
        centre_mm=centre, spindle=spindle, loaded_radius_mm=radius
    )
    hold(
        "wheel::contact_centre_mm",
        against=against,
        quantity="the turned wheel's lower end",
        off=contact - (centre - radius[:, None] * matrices[:, :, 2]),
        **LENGTH,
    )


def test_contact_centre_is_the_lowest_point_of_the_wheel() -> None:
    rng = rng_of("lowest")
    height, place = [], []
    for _ in range(60):
        turned = Rotation.from_euler("ZX", rng.uniform(-1, 1, 2))
        centre, radius = rng.uniform(-4e3, 4e3, 3), rng.uniform(200, 450)

        def rim(angle: float, of: tuple[Rotation, Array, float]) -> Array:
            turned, centre, radius = of
            circle = radius * np.array([math.sin(angle), 0.0, -math.cos(angle)])
            return centre + turned.apply(circle)

        of = (turned, centre, radius)
        lowest = optimize.minimize_scalar(
            lambda angle, of=of: rim(angle, of)[2],
            bounds=(-3.0, 3.0),
            method="bounded",
            options={"xatol": 1e-10},
        )
        spindle = turned.apply([0.0, 1.0, 0.0])
        found = wheel.contact_centre_mm(
            centre_mm=centre, spindle=spindle, loaded_radius_mm=radius
        )
        height.append(found[2] - lowest.fun)
        place.append(found - rim(lowest.x, of))
    for quantity, off, allowed, why in (
        ("height of the lowest point of a circle", height, 1e-9, "squared search step"),
        ("the lowest point", place, 1e-3, "a minimum is found to √1e-13 in its place"),
    ):
        hold(
            "wheel::contact_centre_mm",
            against="scipy.optimize",
            quantity=quantity,
            off=off,
            allowed=allowed,
            unit="mm",
            why=why,
        )


def heading(yaw_deg: Array) -> Array:
    """Directions in the plane."""
    turned = Rotation.from_euler("z", np.reshape(yaw_deg, (-1, 1)), degrees=True)
    return turned.apply([1.0, 0.0, 0.0])


def test_toe_and_side_slip_as_lengths() -> None:
    rng = rng_of("lengths")
    toe, diameter = spread(rng, 45.0), rng.uniform(100, 3000, COUNT)
    along = heading(toe)
    drift = along[:, 1] / along[:, 0]
    hold(
        "wheel::toe_length_mm",
        against="SciPy Rotation",
        quantity="how far a turned line leaves the other over a diameter",
        off=wheel.toe_length_mm(toe, reference_diameter_mm=diameter) - diameter * drift,
        **LENGTH,
    )
    hold(
        "wheel::side_slip_mm_per_m",
        against="SciPy Rotation",
        quantity="how far a turned line drifts in 1 m",
        off=wheel.side_slip_mm_per_m(toe) - 1000 * drift,
        **LENGTH,
    )
    axis = sympy.Line(sympy.Point(0, 0), sympy.Point(1, 0))
    toe_off, slip_off = [], []
    for index in range(60):
        length = float(rng.uniform(-1, 1) * 10.0 ** -rng.integers(0, 9)) * 100.0
        for size, found, off in (
            (
                float(diameter[index]),
                wheel.toe_from_length_deg(
                    length, reference_diameter_mm=diameter[index]
                ),
                toe_off,
            ),
            (1000.0, wheel.angle_from_side_slip_deg(length), slip_off),
        ):
            end = sympy.Point(sympy.Rational(size), sympy.Rational(length))
            line = sympy.Line(sympy.Point(0, 0), end)
            angle = sympy.deg(line.angle_between(axis)).evalf(30)
            off.append(found - math.copysign(float(angle), length))
    for what, off in (
        ("wheel::toe_from_length_deg", toe_off),
        ("wheel::angle_from_side_slip_deg", slip_off),
    ):
        hold(
            what,
            against="SymPy geometry",
            quantity="angle between two lines",
            off=off,
            **ANGLE | {"allowed": 2e-14, "why": "rounding of angles up to 45°"},
        )


@pytest.mark.parametrize("seed", range(3))
def test_caster_and_sai_of_a_leaned_axis(seed: int) -> None:
    rng = rng_of(f"axis {seed}")
    side, sign = sides(rng)
    caster, sai = spread(rng, 60.0), rng.permutation(spread(rng, 60.0))

    def leaned(order: str, angles: list[Array]) -> Array:
        turn = Rotation.from_euler(order, np.column_stack(angles), degrees=True)
        return turn.apply(UP)

    # The turn about y comes last: whatever leans the axis sideways, that is its caster.
    for what, found, true in (
        (
            "steering::caster_deg",
            steering.caster_deg(leaned("xy", [sai, -caster])),
            caster,
        ),
        (
            "steering::sai_deg",
            steering.sai_deg(leaned("yx", [-caster, sign * sai]), side=side),
            sai,
        ),
    ):
        hold(
            what,
            against="SciPy Rotation",
            quantity="angle by which an axis was leaned last, ± 60°",
            off=found - true,
            **ANGLE,
        )
    # Seen from the side it lies in one plane, seen from the front in another.
    in_side_view = leaned("y", [-caster])
    in_front_view = leaned("x", [sign * sai])
    axes = np.cross(
        np.cross(in_front_view, [1.0, 0.0, 0.0]), np.cross(in_side_view, [0, 1.0, 0.0])
    )
    axes *= np.sign(axes[:, 2:]) / np.linalg.norm(axes, axis=1, keepdims=True)
    found = steering.axis_direction(side=side, caster_deg=caster, sai_deg=sai)
    hold(
        "steering::axis_direction",
        against="SciPy Rotation",
        quantity="line in which two leaned planes meet",
        off=found - axes,
        **UNIT,
    )
    pitch, roll = rng.uniform(-45, 45, (2, COUNT))
    body = Rotation.from_euler("YX", np.column_stack([pitch, roll]), degrees=True)
    hold(
        "steering::axis_to_body",
        against="SciPy Rotation",
        quantity="the axis in the frame of a pitched and rolled body",
        off=steering.axis_to_body(axes, pitch_deg=pitch, roll_deg=roll)
        - body.inv().apply(axes),
        **UNIT,
    )


def test_attitude_of_the_body() -> None:
    """A regression of the heights over their places has the slopes of the body."""
    rng = rng_of("attitude")
    off = []
    for _ in range(COUNT):
        wheelbase, track = rng.uniform(1500, 4000), rng.uniform(1000, 2000)
        height = rng.uniform(20, 400, 4)
        x = np.array([wheelbase, wheelbase, 0.0, 0.0])
        y = np.array([track, 0.0, track, 0.0])
        found = steering.body_attitude_deg(
            ByWheel(*map(float, height)), wheelbase_mm=wheelbase, track_mm=track
        )
        slopes = (
            -stats.linregress(x, height).slope,
            stats.linregress(y, height).slope,
        )
        off.append(np.subtract(found, np.degrees(np.arctan(slopes))))
    hold(
        "steering::body_attitude_deg",
        against="scipy.stats.linregress",
        quantity="slopes of heights over their places",
        off=off,
        **ANGLE | {"why": "rounding in a sum of squares"},
    )


def rational(number: float | sympy.Expr) -> sympy.Rational:
    """Exactly what it is, or to 40 digits."""
    if isinstance(number, float):
        return sympy.Rational(number)
    return sympy.Rational(str(sympy.N(number, 40)))


def ground_line(x: float, y: sympy.Expr, steer_deg: float) -> sympy.Line:
    """The line of a wheel's spindle in the plan, square to its heading."""
    steer = sympy.Rational(steer_deg) * sympy.pi / 180
    at = sympy.Point(sympy.Rational(x), y)
    return sympy.Line(
        at, at + (rational(-sympy.sin(steer)), rational(sympy.cos(steer)))
    )


def test_turning_in_the_plan() -> None:
    rng = rng_of("plan")
    rear = sympy.Line(sympy.Point(0, 0), sympy.Point(0, 1))
    off: dict[str, list[float]] = {}
    for _ in range(40):
        wheelbase, distance = rng.uniform(1800, 4000), rng.uniform(1000, 1700)
        inner, outer, steer = rng.uniform(2, 50, 3)
        half = sympy.Rational(distance) / 2
        front = sympy.Point(sympy.Rational(wheelbase), 0)
        plan = {"axis_distance_mm": distance, "wheelbase_mm": wheelbase}
        both = {"inner_deg": inner, "outer_deg": outer}

        def meets(
            y: sympy.Expr, angle: float, front: sympy.Point = front
        ) -> sympy.Point:
            return ground_line(front.x, y, angle).intersection(rear)[0]

        def angle_to(
            centre: sympy.Point, y: sympy.Expr, front: sympy.Point = front
        ) -> sympy.Expr:
            spoke = sympy.Line(centre, sympy.Point(front.x, y))
            angle = sympy.N(sympy.deg(spoke.angle_between(rear)), 30)
            return min(angle, 180 - angle)

        def told(what: str, found: float, expected: sympy.Expr) -> None:
            off.setdefault(what, []).append(float(sympy.Rational(found) - expected))

        of_inner = meets(half, inner)
        ideal_outer = angle_to(of_inner, -half)
        told(
            "turns::ackermann_outer_deg",
            turns.ackermann_outer_deg(inner, **plan),
            ideal_outer,
        )
        outer_too = float(ideal_outer)
        told(
            "turns::ackermann_inner_deg",
            turns.ackermann_inner_deg(outer_too, **plan),
            angle_to(meets(-half, outer_too), half),
        )
        told(
            "turns::ackermann_percent_by_toe_out",
            turns.ackermann_percent_by_toe_out(**both, **plan),
            100
            * (sympy.Rational(inner) - sympy.Rational(outer))
            / (sympy.Rational(inner) - ideal_outer),
        )
        apart = (of_inner.y - meets(-half, outer).y) / sympy.Rational(distance)
        told(
            "turns::ackermann_percent_by_cotangents",
            turns.ackermann_percent_by_cotangents(**both, **plan),
            100 * (1 - apart),
        )
        centre = meets(sympy.Integer(0), steer)
        told(
            "turns::turning_radius_mm",
            turns.turning_radius_mm(wheelbase_mm=wheelbase, steer_deg=steer),
            sympy.N(centre.distance(front), 30),
        )
        # The front axle's middle runs along the thrust line, to the right positive.
        thrust = rng.uniform(-5, 5)
        way = ground_line(wheelbase, sympy.Integer(0), -thrust - 90.0)
        told(
            "vehicle::dog_tracking_offset_mm",
            vehicle.dog_tracking_offset_mm(
                wheelbase_mm=wheelbase, thrust_angle_deg=thrust
            ),
            way.intersection(rear)[0].y,
        )
    told_as = {
        "turns::ackermann_outer_deg": (
            "the outer wheel through the same centre",
            ANGLE,
        ),
        "turns::ackermann_inner_deg": (
            "the inner wheel through the same centre",
            ANGLE,
        ),
        "turns::ackermann_percent_by_toe_out": (
            "percentage of the toe-out through one centre",
            PERCENT,
        ),
        "turns::ackermann_percent_by_cotangents": (
            "percentage of the way between two centres and one",
            PERCENT,
        ),
        "turns::turning_radius_mm": (
            "distance from the centre, up to 1e5 mm",
            LENGTH | {"allowed": 5e-11, "why": "rounding of 1e5 mm"},
        ),
        "vehicle::dog_tracking_offset_mm": (
            "where the front axle's way meets the rear axle",
            LENGTH,
        ),
    }
    for what, (quantity, how) in told_as.items():
        hold(what, against="SymPy geometry", quantity=quantity, off=off[what], **how)


def test_thrust_line_is_the_mean_of_both_rear_headings() -> None:
    rng = rng_of("thrust")
    toe = np.column_stack([spread(rng, 10.0), rng.permutation(spread(rng, 10.0))])
    found = vehicle.thrust_angle_deg(
        rear_left_toe_deg=toe[:, 0], rear_right_toe_deg=toe[:, 1]
    )
    mean = [
        Rotation.from_euler("z", [[-left], [right]], degrees=True).mean()
        for left, right in toe
    ]
    yaw = np.array([one.as_euler("zyx", degrees=True)[0] for one in mean])
    hold(
        "vehicle::thrust_angle_deg",
        against="SciPy Rotation.mean",
        quantity="yaw of the mean of both headings",
        off=found + yaw,
        **ANGLE | {"allowed": 2e-14},
    )
    side, sign = sides(rng)
    front = spread(rng, 10.0)
    wheel_is = Rotation.from_euler("z", -(sign * front)[:, None], degrees=True)
    line = Rotation.from_euler("z", -found[:, None], degrees=True)
    to_line = (line.inv() * wheel_is).as_euler("zyx", degrees=True)[:, 0]
    hold(
        "vehicle::toe_to_thrust_line_deg",
        against="SciPy Rotation",
        quantity="turn from the thrust line to the wheel",
        off=vehicle.toe_to_thrust_line_deg(front, side=side, thrust_angle_deg=found)
        + sign * to_line,
        **ANGLE | {"allowed": 2e-14},
    )


# --------------------------------------------------------------------------------------
# The hand gauge


def carried(against: str, axis: Array, turn_deg: Array, vectors: Array) -> Array:
    """Vectors of a knuckle, turned with it about its axis."""
    if against == "SciPy Rotation":
        return Rotation.from_rotvec(axis * np.radians(turn_deg)[:, None]).apply(vectors)
    matrices = [
        pr.matrix_from_axis_angle([*one, math.radians(turn)])
        for one, turn in zip(axis, turn_deg, strict=True)
    ]
    return np.einsum("nij,nj->ni", matrices, vectors)


class Knuckles:
    """Front wheels with a line of the hub in the wheel plane, and their axes."""

    def __init__(self, rng: np.random.Generator, against: str) -> None:
        self.against = against
        self.side, self.sign = sides(rng)
        self.caster, self.sai = rng.uniform(-5, 15, COUNT), rng.uniform(0, 20, COUNT)
        self.camber, self.toe = rng.uniform(-8, 8, COUNT), rng.uniform(-3, 3, COUNT)
        sign = self.sign[:, None]
        side_view = Rotation.from_euler("y", -self.caster[:, None], degrees=True)
        front_view = Rotation.from_euler("x", sign * self.sai[:, None], degrees=True)
        axis = np.cross(side_view.apply([1.0, 0, 0]), front_view.apply([0, 1.0, 0]))
        self.axis = axis / np.linalg.norm(axis, axis=1, keepdims=True)
        matrices = WHEELS[against](-self.sign * self.toe, -self.sign * self.camber)
        self.spindle = sign * matrices[:, :, 1]
        tilted = Rotation.from_rotvec(
            self.spindle * np.radians(rng.uniform(-6, 6, (COUNT, 1)))
        )
        self.line = tilted.apply(matrices[:, :, 0])

    def at(self, turn_deg: Array) -> tuple[Array, Array, Array, Array]:
        """Yaw and camber of the wheel, azimuth and pitch of the line."""
        spindle = carried(self.against, self.axis, turn_deg, self.spindle)
        line = carried(self.against, self.axis, turn_deg, self.line)
        across = self.sign[:, None] * spindle
        return (
            np.degrees(np.arctan2(-across[:, 0], across[:, 1])),
            -np.degrees(np.arcsin(spindle[:, 2])),
            np.degrees(np.arctan2(line[:, 1], line[:, 0])),
            np.degrees(np.arcsin(line[:, 2])),
        )


@pytest.mark.parametrize("against", WHEELS)
def test_gauge_on_a_turned_knuckle(against: str) -> None:
    rng = rng_of("gauge")
    knuckles = Knuckles(rng, against)
    side, axis = knuckles.side, gauge.AxisAngles(knuckles.caster, knuckles.sai)
    turned = [rng.uniform(*ends, COUNT) for ends in ((-35, -10), (-5, 5), (10, 35))]
    seen = [knuckles.at(turn) for turn in turned]
    yaw, camber, azimuth, pitch = knuckles.at(np.zeros(COUNT))

    def told(what: str, quantity: str, off: list[Array], **how: object) -> None:
        loose: dict[str, object] = {"allowed": 1e-12, "unit": "deg"}
        loose["why"] = "rounding of unit vectors, through tangents"
        hold(what, against=against, quantity=quantity, off=off, **loose | how)

    told(
        "gauge::yaw_from_plate_deg",
        "yaw of a wheel turned on a plate zeroed ahead",
        [
            gauge.yaw_from_plate_deg(at[0] - yaw, side=side, toe_deg=knuckles.toe)
            - at[0]
            for at in seen
        ],
    )
    told(
        "gauge::hub_line_azimuth_deg",
        "azimuth of a line of the hub",
        [
            gauge.hub_line_azimuth_deg(
                gauge.GaugePosition(at[0], at[1]), side=side, pitch_deg=at[3]
            )
            - at[2]
            for at in seen
        ],
    )
    told(
        "gauge::camber_at_yaw_deg",
        "camber after turning about the axis",
        [
            gauge.camber_at_yaw_deg(
                side=side,
                axis=axis,
                ahead=gauge.GaugePosition(yaw, camber),
                yaw_deg=at[0],
            )
            - at[1]
            for at in seen
        ],
    )
    told(
        "gauge::pitch_at_azimuth_deg",
        "pitch after turning about the axis",
        [
            gauge.pitch_at_azimuth_deg(
                side=side,
                axis=axis,
                ahead=gauge.PitchPosition(azimuth, pitch),
                azimuth_deg=at[2],
            )
            - at[3]
            for at in seen
        ],
    )
    # SAI from cambers and caster from pitches rest on 1 - cos of the turn.
    for what, found in (
        (
            "gauge::axis_from_cambers",
            gauge.axis_from_cambers(
                [gauge.GaugePosition(at[0], at[1]) for at in seen], side=side
            ),
        ),
        (
            "gauge::axis_from_pitches",
            gauge.axis_from_pitches(
                [gauge.PitchPosition(at[2], at[3]) for at in seen], side=side
            ),
        ),
    ):
        told(
            what,
            "caster and SAI about which it was turned",
            [found.caster_deg - knuckles.caster, found.sai_deg - knuckles.sai],
            allowed=5e-12,
            why="rounding over 1 − cos of the turn",
        )


@pytest.mark.parametrize("side", SIGN)
def test_rules_for_two_positions_are_right_for_small_angles(side: str) -> None:
    """What they leave out is of the third order: a leaned axis of 0.1° shows none."""
    rng = rng_of(f"rules {side}")
    lean = 0.1
    for name, rules, axis in (
        (
            "camber",
            (gauge.caster_by_two_positions_deg, gauge.caster_by_linear_rule_deg),
            Rotation.from_euler("y", -lean, degrees=True).apply(UP),
        ),
        (
            "pitch",
            (gauge.sai_by_two_positions_deg, gauge.sai_by_linear_rule_deg),
            Rotation.from_euler("x", SIGN[side] * lean, degrees=True).apply(UP),
        ),
    ):
        off: dict[str, list[float]] = {}
        for turn in rng.uniform(5, 40, 50):
            read = []
            for to in (turn, -turn):
                knuckle = Rotation.from_rotvec(axis * math.radians(to))
                spindle = knuckle.apply([0.0, SIGN[side], 0.0])
                line = knuckle.apply([1.0, 0.0, 0.0])
                height = -spindle[2] if name == "camber" else line[2]
                read.append(math.degrees(math.asin(height)))
            readings = {
                f"{name}_turned_left_deg": read[0],
                f"{name}_turned_right_deg": read[1],
            }
            for rule in rules:
                found = rule(side=side, turn_deg=turn, **readings)
                off.setdefault(rule.__name__, []).append(found - lean)
        for rule_name, deviations in off.items():
            hold(
                f"gauge::{rule_name}",
                against="SciPy Rotation",
                quantity="an axis leaned by 0.1° alone",
                off=deviations,
                allowed=1e-6,
                unit="deg",
                why="the rule leaves out terms of the third order",
            )


# --------------------------------------------------------------------------------------
# Units and tyres


def test_degrees_and_radians() -> None:
    rng = rng_of("units")
    angle = np.concatenate(
        [[0.0, 5e-324, 1e-300, 180.0, -90.0], rng.normal(0.0, 100.0, 500)]
    )
    registry = pint.UnitRegistry()
    for what, found, given, other, name in (
        ("units::deg_from_rad", units.deg_from_rad, u.rad, u.deg, "degree"),
        ("units::rad_from_deg", units.rad_from_deg, u.deg, u.rad, "radian"),
    ):
        source = "radian" if name == "degree" else "degree"
        theirs = {
            "astropy Angle": Angle(angle, given).to_value(other),
            "pint": registry.Quantity(angle, source).to(name).magnitude,
        }
        for against, expected in theirs.items():
            hold(
                what,
                against=against,
                quantity="angles from 5e-324 on, relative",
                off=(found(angle) - expected)
                / np.maximum(np.spacing(np.abs(expected)), 5e-324),
                allowed=2.0,
                unit="ulp",
                why="two factors, each rounded",
            )


def test_degrees_and_minutes() -> None:
    rng = rng_of("minutes")
    angle = np.append(
        [0.0, -0.2, 0.2, 59.9999, -59.9999, 359.99], rng.uniform(-360, 360, 500)
    )
    found = units.degrees_minutes_from_deg(angle)
    minutes = np.round(Angle(angle, u.deg).to_value(u.arcmin))
    expected = Angle(minutes, u.arcmin).signed_dms
    hold(
        "units::degrees_minutes_from_deg",
        against="astropy Angle",
        quantity="sign, degrees and minutes of the nearest minute",
        off=np.concatenate(
            [
                found.negative != (expected.sign < 0),
                found.degrees - expected.d,
                found.minutes - np.round(expected.m + expected.s / 60),
            ]
        ),
        allowed=0.0,
        unit="1",
        why="whole numbers",
    )
    degrees, minute = rng.integers(0, 360, 200), rng.integers(0, 60, 200)
    negative = rng.random(200) < 0.5
    texts = [
        f"{'-' if below else ''}{d}d{m}m"
        for below, d, m in zip(negative, degrees, minute, strict=True)
    ]
    hold(
        "units::deg_from_degrees_minutes",
        against="astropy Angle",
        quantity="degrees of an angle written as 12d34m",
        off=units.deg_from_degrees_minutes(
            units.DegreesMinutes(negative, degrees, minute)
        )
        - Angle(texts).to_value(u.deg),
        allowed=1.2e-13,
        unit="deg",
        why="two units of the last digit of 360°",
    )


def test_tyre_sizes() -> None:
    registry = pint.UnitRegistry()
    off = []
    for width, aspect, rim in [
        (155, 80, 13),
        (205, 55, 16),
        (315, 30, 22),
        (225, 75, 17),
    ]:
        size = tyre.size_from_code(f"{width}/{aspect}R{rim}")
        section = registry.Quantity(width, "mm") * registry.Quantity(aspect, "percent")
        overall = registry.Quantity(rim, "inch") + 2 * section
        off.append(size.section_width_mm - width)
        off.append(size.section_height_mm - section.to("mm").magnitude)
        off.append(size.overall_diameter_mm - overall.to("mm").magnitude)
    hold(
        "tyre::size_from_code",
        against="pint",
        quantity="width, section height, rim inches and two sections",
        off=off,
        allowed=2.3e-13,
        unit="mm",
        why="two units of the last digit of 1000 mm",
    )
