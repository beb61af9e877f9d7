"""Adjusters: wheels, joints and cams turned by others, shims and moves found by others.

A car is a handful of vectors here, turned by SciPy's Rotation and read by NumPy in the
frame that the four wheel centres make. The fewest moves are those of a mixed-integer
program, and of bounded least squares over every set of adjusters.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import numpy as np
from scipy import optimize
from scipy.spatial.transform import Rotation
from wheel_alignment import adjustment
from wheel_alignment.adjustment import Adjuster, Line, Rigid, TaperedShim
from wheel_alignment.alignment import Alignment
from wheel_alignment.conformity import Specification, Tolerance
from wheel_alignment.gauge import AxisAngles
from wheel_alignment.paths import READINGS
from wheel_alignment.session import ByWheel
from wheel_alignment.simulate import VirtualVehicle

from ledger import hold

Array = np.ndarray

COUNT = 300
WHEELS = ("fl", "fr", "rl", "rr")
ANGLE = {"allowed": 1e-11, "unit": "deg", "why": "rounding, times the slope of a root"}
LENGTH = {"allowed": 1e-9, "unit": "mm", "why": "rounding of lengths of 1e3 mm"}


def rng_of(name: str) -> np.random.Generator:
    return np.random.default_rng(list(name.encode()))


def turned(axis: Array, angle_deg: float, vector: Array) -> Array:
    return Rotation.from_rotvec(np.asarray(axis) * np.radians(angle_deg)).apply(vector)


def test_tie_rods() -> None:
    """The end of an arm, turned until it has moved as far along the rod as it is."""
    rng = rng_of("tie rod")
    turns, pitch, arm = rng.uniform([-5, 0.5, 60], [5, 2.5, 200], (COUNT, 3)).T

    def steer(turns: float, pitch: float, arm: float) -> float:
        def off(angle_deg: float) -> float:
            end = turned([0.0, 0.0, 1.0], -angle_deg, np.array([0.0, arm, 0.0]))
            return float(end[0] - turns * pitch)

        return optimize.brentq(off, -40.0, 40.0, xtol=1e-13, rtol=1e-14)

    found = np.array([steer(*row) for row in zip(turns, pitch, arm, strict=True)])
    ours = adjustment.tie_rod_steer_deg(turns, thread_pitch_mm=pitch, arm_mm=arm)
    hold(
        "adjustment::tie_rod_steer_deg",
        against="SciPy Rotation and brentq",
        quantity="steer of an arm whose end moves along the rod, ± 12°",
        off=ours - found,
        **ANGLE,
    )
    back = adjustment.tie_rod_turns(found, thread_pitch_mm=pitch, arm_mm=arm)
    hold(
        "adjustment::tie_rod_turns",
        against="SciPy Rotation and brentq",
        quantity="turns for that steer",
        off=back - turns,
        allowed=1e-11,
        unit="1",
        why="rounding, times the slope of a root",
    )


def test_published_tie_rod() -> None:
    """Hyundai Santa Fe 2004, service data: 0.86° per turn; pitch and arm are not."""
    hold(
        "adjustment::tie_rod_steer_deg",
        against="published service data",
        quantity="steer of one turn; pitch 1.5 mm and arm 100 mm are assumed",
        off=adjustment.tie_rod_steer_deg(1.0, thread_pitch_mm=1.5, arm_mm=100.0) - 0.86,
        allowed=0.005,
        unit="deg",
        why="half a unit of the last printed digit",
    )


def test_published_shims() -> None:
    """Mazda BT-50: 15' by 1 mm in both, 30' by 1 mm moved. Nissan D21: +30', −30'.

    The effects of the first give the shims of the second: 1.0 mm and 3.0 mm.
    """
    shims = adjustment.shim_thicknesses_mm(
        camber_change_deg=np.array([15.0, 0.0, 30.0]) / 60.0,
        caster_change_deg=np.array([0.0, 30.0, -30.0]) / 60.0,
        camber_deg_per_mm=15.0 / 60.0,
        caster_deg_per_mm=30.0 / 60.0,
    )
    printed = np.array([[1.0, 1.0, 1.0], [1.0, -1.0, 3.0]])
    hold(
        "adjustment::shim_thicknesses_mm",
        against="published service data",
        quantity="shims of two pick-ups, by one law",
        off=np.array([shims.front_mm, shims.rear_mm]) - printed,
        allowed=1e-12,
        unit="mm",
        why="rounding; the figures come out whole",
    )


def test_shims_solve_their_two_equations() -> None:
    rng = rng_of("shims")
    camber, caster = rng.uniform(-2.0, 2.0, (2, COUNT))
    by_both, by_moved = rng.uniform(0.05, 0.8, (2, COUNT)) * rng.choice([-1, 1], COUNT)
    ours = adjustment.shim_thicknesses_mm(
        camber_change_deg=camber,
        caster_change_deg=caster,
        camber_deg_per_mm=by_both,
        caster_deg_per_mm=by_moved,
    )
    matrix = np.array([[by_both, by_both], [by_moved, -by_moved]]) / 2.0
    solved = np.linalg.solve(
        np.moveaxis(matrix, 2, 0), np.column_stack([camber, caster])[:, :, None]
    )[:, :, 0]
    hold(
        "adjustment::shim_thicknesses_mm",
        against="NumPy linalg.solve",
        quantity="both thicknesses",
        off=np.column_stack([ours.front_mm, ours.rear_mm]) - solved,
        allowed=1e-12,
        unit="mm",
        why="rounding of lengths of 100 mm",
    )


def test_toe_changes_centre_the_steering_wheel() -> None:
    """Headings, turned back with the steering wheel, then each to its half."""
    rng = rng_of("toe")
    left, right = rng.uniform(-3.0, 3.0, (2, COUNT))
    total, wheel = rng.uniform(-0.5, 0.5, COUNT), rng.uniform(-30.0, 30.0, COUNT)
    ratio = rng.uniform(10.0, 22.0, COUNT)
    changes = adjustment.toe_changes_deg(
        left_toe_deg=left,
        right_toe_deg=right,
        total_toe_deg=total,
        steering_wheel_deg=wheel,
        steering_ratio=ratio,
    )
    forward = np.array([1.0, 0.0, 0.0])

    def yaw_of(*turns: Array) -> Array:
        about = [
            Rotation.from_euler("z", turn[:, None], degrees=True) for turn in turns
        ]
        heading = math.prod(about[1:], start=about[0]).apply(forward)
        return np.degrees(np.arctan2(heading[:, 1], heading[:, 0]))

    yaw_left = yaw_of(-left, -wheel / ratio, -changes.left_deg)
    yaw_right = yaw_of(right, -wheel / ratio, changes.right_deg)
    hold(
        "adjustment::toe_changes_deg",
        against="SciPy Rotation",
        quantity="heading of both wheels with the steering wheel centred",
        off=np.array([yaw_left + total / 2.0, yaw_right - total / 2.0]),
        **ANGLE,
    )


def test_eccentrics() -> None:
    rng = rng_of("cam")
    size, angle = rng.uniform(0.5, 12.0, COUNT), rng.uniform(-180.0, 180.0, COUNT)
    turn = Rotation.from_euler("z", angle[:, None], degrees=True)
    centre = turn.apply(np.column_stack([np.zeros(COUNT), -size, np.zeros(COUNT)]))
    shift = adjustment.eccentric_shift_mm(eccentricity_mm=size, angle_deg=angle)
    hold(
        "adjustment::eccentric_shift_mm",
        against="SciPy Rotation",
        quantity="how far the centre of a cam moves sideways",
        off=shift - centre[:, 0],
        **LENGTH,
    )
    wanted = rng.uniform(-0.99, 0.99, COUNT) * size
    angles = adjustment.eccentric_angles_deg(wanted, eccentricity_mm=size)
    off = []
    for place in range(COUNT):
        for found, low in ((angles.near_deg, -90.0), (angles.far_deg, 90.0)):

            def short(angle_deg: float, place: int = place) -> float:
                at = np.array([0.0, -size[place], 0.0])
                return float(turned([0, 0, 1], angle_deg, at)[0] - wanted[place])

            off.append(found[place] - optimize.brentq(short, low, low + 180.0))
    hold(
        "adjustment::eccentric_angles_deg",
        against="SciPy Rotation and brentq",
        quantity="both positions of a cam for a shift",
        off=off,
        allowed=1e-9,
        unit="deg",
        why="what brentq leaves, at the end of a stroke",
    )


def test_slots() -> None:
    """The angle between two struts, by their vectors."""
    rng = rng_of("slot")
    shift, height = rng.uniform(-40.0, 40.0, COUNT), rng.uniform(200.0, 900.0, COUNT)
    lean = rng.uniform(-30.0, 30.0, COUNT)
    zero = np.zeros(COUNT)
    before = Rotation.from_euler("y", lean[:, None], degrees=True).apply(
        [0.0, 0.0, 1.0]
    )
    before *= (height / before[:, 2])[:, None]
    after = before + np.column_stack([shift, zero, zero])
    tilt = np.degrees(
        np.arctan2(np.cross(before, after)[:, 1], np.einsum("ij,ij->i", before, after))
    )
    hold(
        "adjustment::slot_tilt_deg",
        against="SciPy Rotation",
        quantity="angle between a strut before and after",
        off=adjustment.slot_tilt_deg(shift, height_mm=height, inclination_deg=lean)
        - tilt,
        **ANGLE,
    )
    hold(
        "adjustment::slot_shift_mm",
        against="SciPy Rotation",
        quantity="shift for that angle",
        off=adjustment.slot_shift_mm(tilt, height_mm=height, inclination_deg=lean)
        - shift,
        **LENGTH,
    )


def test_subframes() -> None:
    """Joints moved as a body until both axes are as wanted, by a root finder."""
    rng = rng_of("subframe")
    off = []
    for _ in range(40):
        caster, sai = rng.uniform(2.0, 7.0, 2), rng.uniform(8.0, 15.0, 2)
        wanted, height = rng.uniform(3.0, 6.0), rng.uniform(450.0, 700.0)
        apart = rng.uniform(1100.0, 1500.0)
        sign = np.array([1.0, -1.0])
        joints = np.column_stack([np.zeros(2), sign * apart / 2.0, np.zeros(2)])
        up = np.column_stack(
            [-np.tan(np.radians(caster)), -sign * np.tan(np.radians(sai)), np.ones(2)]
        )
        mounts = joints + height * up

        def wrong(
            move: Array,
            joints: Array = joints,
            mounts: Array = mounts,
            wanted: float = wanted,
            sign: Array = sign,
        ) -> list[float]:
            forward, left, yaw = move
            moved = Rotation.from_euler("z", yaw, degrees=True).apply(joints)
            axes = mounts - moved - [forward, left, 0.0]
            casters = np.degrees(np.arctan2(-axes[:, 0], axes[:, 2]))
            sais = np.degrees(np.arctan2(-sign * axes[:, 1], axes[:, 2]))
            return [*(casters - wanted), sais[0] - sais[1]]

        root = optimize.root(wrong, [0.0, 0.0, 0.0], tol=1e-13)
        ours = adjustment.subframe_shift(
            left=AxisAngles(caster[0], sai[0]),
            right=AxisAngles(caster[1], sai[1]),
            caster_deg=wanted,
            height_mm=height,
            joint_distance_mm=apart,
        )
        off.append(root.x - [ours.longitudinal_mm, ours.lateral_mm, ours.yaw_deg])
    hold(
        "adjustment::subframe_shift",
        against="SciPy Rotation and root",
        quantity="shifts in mm, yaw in degrees",
        off=off,
        allowed=1e-8,
        unit="mm",
        why="what the root finder leaves",
    )


def spindle_of(camber_deg: Array, toe_deg: Array) -> Array:
    """Of a left wheel: tipped about x, then turned about z."""
    euler = np.column_stack([-toe_deg, -camber_deg])
    return Rotation.from_euler("ZX", euler, degrees=True).apply([0.0, 1.0, 0.0])


def camber_and_toe(spindle: Array) -> tuple[Array, Array]:
    camber = -np.degrees(np.arctan2(spindle[:, 2], np.hypot(*spindle[:, :2].T)))
    return camber, np.degrees(np.arctan2(spindle[:, 0], spindle[:, 1]))


def shimmed(camber: Array, taper: Array, bearing: Array) -> tuple[Array, Array]:
    """Camber and toe of a wheel that a shim tips away from its thick edge."""
    spindle = spindle_of(camber, np.zeros_like(camber))
    up = np.cross(np.cross(spindle, [0.0, 0.0, 1.0]), spindle)
    up /= np.linalg.norm(up, axis=1)[:, None]
    # Toward the front when seen from outside: about the spindle.
    thick = Rotation.from_rotvec(spindle * np.radians(bearing)[:, None]).apply(up)
    line = np.cross(thick, spindle)
    tip = Rotation.from_rotvec(line * np.radians(taper)[:, None])
    return camber_and_toe(tip.apply(spindle))


def test_tapered_shims() -> None:
    rng = rng_of("taper")
    camber = rng.uniform(-6.0, 4.0, COUNT)
    by_camber, by_toe = rng.uniform(-2.0, 2.0, (2, COUNT))
    shim = adjustment.tapered_shim(
        camber_deg=camber, camber_change_deg=by_camber, toe_change_deg=by_toe
    )
    reached, toe = shimmed(camber, shim.taper_deg, shim.bearing_deg)
    hold(
        "adjustment::tapered_shim",
        against="SciPy Rotation",
        quantity="camber and toe of a wheel that the shim tips",
        off=np.array([reached - camber - by_camber, toe - by_toe]),
        **ANGLE,
    )
    taper, bearing = rng.uniform(0.0, 3.0, COUNT), rng.uniform(-180.0, 180.0, COUNT)
    changes = adjustment.tapered_shim_changes(
        camber_deg=camber, shim=TaperedShim(taper, bearing)
    )
    reached, toe = shimmed(camber, taper, bearing)
    hold(
        "adjustment::tapered_shim_changes",
        against="SciPy Rotation",
        quantity="camber and toe of a wheel that a shim tips",
        off=np.array(
            [reached - camber - changes.camber_change_deg, toe - changes.toe_change_deg]
        ),
        **ANGLE,
    )


def test_shims_on_the_shelf() -> None:
    """Every shim of the shelf at every mark, by SciPy: none leaves less over."""
    rng = rng_of("shelf")
    worse = []
    for _ in range(60):
        camber, by_camber, by_toe = rng.uniform([-4, -1.3, -0.9], [2, 1.3, 0.9])
        mark = float(rng.choice([5.625, 15.0, 45.0, 90.0]))
        tapers = np.arange(0.0, 1.51, 0.25)
        grid = np.array(list(itertools.product(tapers, np.arange(0.0, 360.0, mark))))
        same = np.full(len(grid), camber)
        reached, toe = shimmed(same, *grid.T)
        least = np.hypot(by_camber - (reached - camber), by_toe - toe).min()
        ours = adjustment.tapered_shim_on_shelf(
            camber_deg=camber,
            camber_change_deg=by_camber,
            toe_change_deg=by_toe,
            taper_step_deg=0.25,
            most_taper_deg=1.5,
            bearing_step_deg=mark,
        )
        worse.append(math.hypot(ours.camber_left_deg, ours.toe_left_deg) - least)
    hold(
        "adjustment::tapered_shim_on_shelf",
        against="SciPy Rotation, all of a shelf tried",
        quantity="what is left over, against the best of all shims",
        off=worse,
        allowed=1e-4,
        unit="deg",
        why="neighbours are told by the plane, not by the sphere",
    )


class Car:
    """Spindles, wheel centres and steering axes, in the frame of a car as it stood."""

    def __init__(self, tree: Alignment, radii_mm: dict[str, float]) -> None:
        self.spindles = {w: np.array(getattr(tree.wheels, w).spindle) for w in WHEELS}
        self.centres = {w: np.array(getattr(tree.wheels, w).centre_mm) for w in WHEELS}
        sides = {"fl": tree.steering.left, "fr": tree.steering.right}
        self.axes = {
            wheel: (np.array(axis.axis_point_mm), np.array(axis.axis_direction))
            for wheel, axis in sides.items()
        }
        self.radii_mm = radii_mm
        self.ground = {w: self.contact(w)[2] for w in WHEELS}

    def contact(self, wheel: str) -> Array:
        spindle = self.spindles[wheel]
        down = np.array([0.0, 0.0, -1.0])
        down -= spindle * (down @ spindle)
        down *= self.radii_mm[wheel] / np.linalg.norm(down)
        return self.centres[wheel] + down

    def move(self, effect: Rigid, amount: float) -> None:
        for wheel in WHEELS:
            if not getattr(effect.wheels, wheel):
                continue
            if effect.line is None:
                point, along = self.axes[wheel]
            else:
                point, along = map(
                    np.array, (effect.line.point_mm, effect.line.direction)
                )
            turn = Rotation.from_rotvec(along * np.radians(effect.turn_deg * amount))
            shift = along * effect.shift_mm * amount
            self.spindles[wheel] = turn.apply(self.spindles[wheel])
            self.centres[wheel] = (
                point + turn.apply(self.centres[wheel] - point) + shift
            )
            if effect.carries_axis and wheel in self.axes:
                at, direction = self.axes[wheel]
                at = point + turn.apply(at - point) + shift
                self.axes[wheel] = (at, turn.apply(direction))

    def readings(self) -> dict[str, float]:
        for wheel in WHEELS:
            back = self.ground[wheel] - self.contact(wheel)[2]
            self.centres[wheel] = self.centres[wheel] + [0.0, 0.0, back]
            if wheel in self.axes:
                at, direction = self.axes[wheel]
                self.axes[wheel] = (at + [0.0, 0.0, back], direction)
        rear = (self.centres["rl"] + self.centres["rr"]) / 2.0
        ahead = (self.centres["fl"] + self.centres["fr"]) / 2.0 - rear
        yaw = Rotation.from_euler("z", -np.arctan2(ahead[1], ahead[0]))
        found: dict[str, float] = {}
        toes = {}
        for wheel in WHEELS:
            side = 1.0 if wheel.endswith("l") else -1.0
            x, y, z = yaw.apply(self.spindles[wheel])
            found[f"wheels.{wheel}.camber_deg"] = -math.degrees(math.asin(z))
            toes[wheel] = math.degrees(math.atan2(x, side * y))
            found[f"wheels.{wheel}.toe_to_centreline_deg"] = toes[wheel]
            if wheel in self.axes:
                at, k = self.axes[wheel]
                contact = self.contact(wheel)
                ground = yaw.apply(at + k * (contact[2] - at[2]) / k[2] - contact)
                kx, ky, kz = yaw.apply(k)
                name = "steering." + ("left" if side > 0.0 else "right")
                found[f"{name}.caster_deg"] = math.degrees(math.atan2(-kx, kz))
                found[f"{name}.sai_deg"] = math.degrees(math.atan2(-side * ky, kz))
                found[f"{name}.caster_trail_mm"] = ground[0]
                found[f"{name}.scrub_radius_mm"] = -side * ground[1]
        thrust = (toes["rl"] - toes["rr"]) / 2.0
        found["chassis.thrust_angle_deg"] = thrust
        found["wheels.fl.toe_deg"] = toes["fl"] - thrust
        found["wheels.fr.toe_deg"] = toes["fr"] + thrust
        for name, left, right in (("front", "fl", "fr"), ("rear", "rl", "rr")):
            across = yaw.apply(self.centres[left] - self.centres[right])
            found[f"axles.{name}.total_toe_deg"] = toes[left] + toes[right]
            found[f"axles.{name}.track_mm"] = across[1]
            found[f"axles.{name}.setback_mm"] = across[0]
        return found


def adjusters_of(car: VirtualVehicle, rng: np.random.Generator) -> list[Adjuster]:
    """One of every kind: a turn, a shift, a screw; one wheel, an axle, a tie rod."""
    made = []
    truth = car.truth()
    for wheel in WHEELS:
        only = ByWheel(*(wheel == other for other in WHEELS))
        centre = np.array(getattr(truth.wheels, wheel).centre_mm)
        for carries in (True, False):
            along = rng.normal(size=3)
            line = Line(
                centre + rng.uniform(-300, 300, 3), along / np.linalg.norm(along)
            )
            screw = Rigid(only, line, rng.uniform(-1, 1), rng.uniform(-2, 2), carries)
            made.append(Adjuster(f"{wheel} {carries}", screw, -5.0, 5.0))
        if wheel in ("fl", "fr"):
            made.append(Adjuster(f"{wheel} rod", Rigid(only, turn_deg=0.86), -5.0, 5.0))
    both = ByWheel(False, False, True, True)
    yaw = Rigid(both, Line((0.0, 30.0, 0.0), (0.0, 0.0, 1.0)), 0.3)
    made.append(Adjuster("subframe", yaw, -5.0, 5.0))
    return made


def radii_of(car: VirtualVehicle) -> dict[str, float]:
    front, rear = car.front.rolling_radius_mm, car.rear.rolling_radius_mm
    return dict(zip(WHEELS, (front, front, rear, rear), strict=True))


def test_moved_cars() -> None:
    """What is foreseen, the virtual car once adjusted, and derivatives, by SciPy."""
    rng = rng_of("cars")
    foreseen: dict[str, list[float]] = {"deg": [], "mm": []}
    virtual: dict[str, list[float]] = {"deg": [], "mm": []}
    slopes = []
    for seed in range(12):
        car = VirtualVehicle.random(seed)
        truth, adjusters = car.truth(), adjusters_of(car, rng)
        amounts = rng.uniform(-4.0, 4.0, len(adjusters))
        by_hand = Car(truth, radii_of(car))
        for adjuster, amount in zip(adjusters, amounts, strict=True):
            by_hand.move(adjuster.effect, amount)
        expected = by_hand.readings()
        loaded = {
            "front": car.front.rolling_radius_mm,
            "rear": car.rear.rolling_radius_mm,
        }
        ours = adjustment.foresee(truth, adjusters, amounts, loaded_radius_mm=loaded)
        after = car.adjusted(adjusters, amounts).truth()
        for path, value in expected.items():
            unit = path.rpartition("_")[2]
            foreseen[unit].append(ours.get(path) - value)
            virtual[unit].append(after.get(path) - value)
        for adjuster, effect in zip(
            adjusters,
            adjustment.effects(truth, adjusters, loaded_radius_mm=loaded),
            strict=True,
        ):
            either = []
            for amount in (1e-3, -1e-3):
                moved = Car(truth, radii_of(car))
                moved.move(adjuster.effect, amount)
                either.append(moved.readings())
            for path in expected:
                seen = (either[0][path] - either[1][path]) / 2e-3
                slopes.append(effect.get(path) - seen)
    for what, off in (
        ("adjustment::foresee", foreseen),
        ("simulate::VirtualVehicle::adjusted", virtual),
    ):
        for unit, allowed in (("deg", 1e-10), ("mm", 1e-8)):
            hold(
                what,
                against="SciPy Rotation",
                quantity=f"readings of a car after eleven moves, {unit}",
                off=off[unit],
                allowed=allowed,
                unit=unit,
                why="rounding of coordinates of 1e4 mm",
            )
    hold(
        "adjustment::effects",
        against="SciPy Rotation, central differences",
        quantity="change of readings per unit, degrees and mm",
        off=slopes,
        allowed=1e-6,
        unit="mm",
        why="what differences over 2e-3 units leave",
    )


OWN = [
    *(f"wheels.{wheel}.camber_deg" for wheel in WHEELS),
    *(f"wheels.{wheel}.toe_to_centreline_deg" for wheel in WHEELS),
]
CROSS = {"axles.front.cross_camber_deg": {OWN[0]: 1.0, OWN[1]: -1.0}}
"""A cross value, and what it is made of."""


def linear_case(
    rng: np.random.Generator,
) -> tuple[Alignment, list[Adjuster], Array, Array]:
    """Readings, seven measured adjusters, the matrix of effects, and ranges."""
    values = dict.fromkeys(READINGS, None) | dict(
        zip(OWN, rng.uniform(-1.5, 1.5, len(OWN)), strict=True)
    )
    values["axles.front.cross_camber_deg"] = values[OWN[0]] - values[OWN[1]]
    tree = Alignment.from_values([values[path] for path in READINGS])
    matrix = np.zeros((len(OWN), 7))
    ranges = rng.uniform(1.0, 9.0, 7)
    adjusters = []
    for index in range(7):
        moved = rng.choice(len(OWN), rng.integers(1, 4), replace=False)
        matrix[moved, index] = rng.uniform(0.1, 0.5, len(moved)) * rng.choice(
            [-1, 1], len(moved)
        )
        effect = {OWN[row]: float(matrix[row, index]) for row in moved}
        reach = float(ranges[index])
        adjusters.append(Adjuster(f"{index}", effect, -reach, reach))
    return tree, adjusters, matrix, ranges


def test_fewest_moves() -> None:
    """Limits alone: a mixed-integer program has as many moves, or no solution."""
    rng = rng_of("moves")
    counts, solved = [], 0
    for _ in range(150):
        tree, adjusters, matrix, ranges = linear_case(rng)
        half = rng.uniform(0.5, 1.5)
        limits = {
            **{path: Tolerance(min=-half, max=half) for path in OWN},
            "axles.front.cross_camber_deg": Tolerance(min=-0.6, max=0.6),
        }
        ours = adjustment.fewest_moves(
            tree, adjusters, Specification(limits), nominal_within_deg=None
        )
        start = np.array([tree.get(path) for path in OWN])
        rows = np.vstack([np.eye(len(OWN)), np.eye(len(OWN))[0] - np.eye(len(OWN))[1]])
        bound = np.append(np.full(len(OWN), half), 0.6)
        number = len(adjusters)
        effect, zeros = rows @ matrix, np.zeros((len(rows), number))
        tied = np.hstack([np.eye(number), -np.diag(ranges)])
        loose = np.hstack([np.eye(number), np.diag(ranges)])
        best = optimize.milp(
            np.append(np.zeros(number), np.ones(number)),
            constraints=[
                optimize.LinearConstraint(
                    np.hstack([effect, zeros]),
                    -bound - rows @ start,
                    bound - rows @ start,
                ),
                optimize.LinearConstraint(tied, -np.inf, 0.0),
                optimize.LinearConstraint(loose, 0.0, np.inf),
            ],
            bounds=optimize.Bounds(
                np.append(-ranges, np.zeros(number)), np.append(ranges, np.ones(number))
            ),
            integrality=np.append(np.zeros(number), np.ones(number)),
        )
        assert best.success == (not ours.unmet)
        if best.success:
            solved += 1
            counts.append(len(ours.moves) - round(best.fun))
    assert 40 <= solved <= 140
    hold(
        "adjustment::fewest_moves",
        against="SciPy milp",
        quantity="number of moves within limits; no solution where there is none",
        off=counts,
        allowed=0.0,
        unit="1",
        why="whole numbers",
    )


def test_nearest_to_nominal() -> None:
    """Nominal values: of all sets of moves none comes nearer, and none is smaller."""
    rng = rng_of("nominal")
    nearer, fewer = [], []
    within = 0.005
    for _ in range(40):
        tree, adjusters, matrix, ranges = linear_case(rng)
        wide = Tolerance(nominal=0.0, minus=50.0, plus=50.0)
        specification = Specification(dict.fromkeys(OWN, wide))
        ours = adjustment.fewest_moves(
            tree, adjusters, specification, nominal_within_deg=within
        )
        start = np.array([tree.get(path) for path in OWN])

        def left(
            chosen: tuple[int, ...],
            matrix: Array = matrix,
            start: Array = start,
            ranges: Array = ranges,
        ) -> float:
            if not chosen:
                return float(np.linalg.norm(start))
            columns = list(chosen)
            fit = optimize.lsq_linear(
                matrix[:, columns],
                -start,
                (-ranges[columns], ranges[columns]),
                method="bvls",
                tol=1e-14,
            )
            return math.sqrt(2.0 * fit.cost)

        every = range(len(adjusters))
        nearest = left(tuple(every))
        fewest = next(
            size
            for size in range(len(adjusters) + 1)
            if any(
                left(chosen) <= nearest + within + 1e-9
                for chosen in itertools.combinations(every, size)
            )
        )
        of_size = min(left(chosen) for chosen in itertools.combinations(every, fewest))
        reached = np.linalg.norm([ours.foreseen.get(path) for path in OWN])
        nearer.append(reached - of_size)
        fewer.append(len(ours.moves) - fewest)
    hold(
        "adjustment::fewest_moves",
        against="SciPy lsq_linear, all sets tried",
        quantity="number of moves to nominal values",
        off=fewer,
        allowed=0.0,
        unit="1",
        why="whole numbers",
    )
    hold(
        "adjustment::fewest_moves",
        against="SciPy lsq_linear, all sets tried",
        quantity="distance from all nominal values",
        off=nearer,
        allowed=1e-6,
        unit="deg",
        why="the last Newton step",
    )


def test_a_car_is_brought_to_nominal() -> None:
    """The moves found, done by SciPy: every nominal value is reached."""
    rng = rng_of("whole")
    off = []
    for seed in range(10):
        car = VirtualVehicle.random(seed)
        cars = {
            side: replace(getattr(car.front, side), camber_deg=rng.uniform(-2, 2))
            for side in ("left", "right")
        }
        car = replace(car, front=replace(car.front, **cars))
        truth = car.truth()
        adjusters = []
        for wheel, side in (("fl", 1.0), ("fr", -1.0)):
            only = ByWheel(*(wheel == other for other in WHEELS))
            x, y, z = getattr(truth.wheels, wheel).centre_mm
            mount = (x, y - side * 180.0, z + 300.0)
            for name, line, turn in (
                ("camber", Line(mount, (1.0, 0.0, 0.0)), 0.5),
                ("caster", Line(mount, (0.0, 1.0, 0.0)), 0.5),
                ("toe", None, 0.86),
            ):
                effect = Rigid(only, line, turn, 0.0, line is not None)
                adjusters.append(Adjuster(f"{wheel} {name}", effect, -30.0, 30.0))
        wanted = {
            "wheels.fl.camber_deg": -0.5,
            "wheels.fr.camber_deg": -0.6,
            "wheels.fl.toe_deg": 0.1,
            "wheels.fr.toe_deg": 0.1,
            "steering.left.caster_deg": 4.0,
            "steering.right.caster_deg": 4.3,
        }
        found = adjustment.fewest_moves(
            truth,
            adjusters,
            Specification(
                {
                    path: Tolerance(nominal=value, minus=0.1, plus=0.1)
                    for path, value in wanted.items()
                }
            ),
            nominal_within_deg=0.0,
        )
        by_hand = Car(truth, radii_of(car))
        for move in found.moves:
            by_hand.move(adjusters[move.adjuster].effect, move.amount)
        reached = by_hand.readings()
        off += [reached[path] - value for path, value in wanted.items()]
    hold(
        "adjustment::fewest_moves",
        against="SciPy Rotation",
        quantity="readings of a car after its moves, from nominal",
        off=off,
        allowed=1e-6,
        unit="deg",
        why="the last Newton step",
    )
