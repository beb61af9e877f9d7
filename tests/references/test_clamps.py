"""Clamps of single wheels, rolled and spun by SciPy's transforms.

A target sits on its wheel by a transform that is known: spindle and wheel centre in it
are what the compensation must find.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
from scipy.spatial.transform import RigidTransform, Rotation
from wheel_alignment.compensation import (
    Compensation,
    from_rolling,
    from_spinning,
    wheel_from_rolling,
    wheel_from_spinning,
)

from ledger import hold

Array = np.ndarray
UP = np.array([0.0, 0.0, 1.0])
SIDES = {"left": 1.0, "right": -1.0}


@dataclass
class Clamped:
    """A wheel on the ground of a tilted rig, and the target on it."""

    side: str
    rig: Rotation
    centre: Array
    spindle: Array
    radius_mm: float
    standoff_mm: float
    target: RigidTransform

    @classmethod
    def draw(
        cls, rng: np.random.Generator, side: str, rig: Rotation, centre: Array
    ) -> "Clamped":
        lean = Rotation.from_euler("ZX", rng.uniform(-6, 6, 2), degrees=True)
        spindle = rig.apply(lean.apply([0.0, SIDES[side], 0.0]))
        standoff = rng.uniform(-50, 250)
        beside = np.cross(spindle, rng.normal(size=3))
        origin = centre + standoff * spindle + beside * rng.uniform(-30, 30)
        target = RigidTransform.from_components(origin, Rotation.random(rng=rng))
        radius = rng.uniform(250, 400)
        return cls(side, rig, centre, spindle, radius, standoff, target)

    def turned(self, angle_rad: float, travel_mm: float) -> Array:
        """After a turn forward about the spindle, and travel along the rig's x."""
        turn = Rotation.from_rotvec(SIDES[self.side] * angle_rad * self.spindle)
        there = RigidTransform.from_translation(self.centre)
        away = RigidTransform.from_translation(self.rig.apply([travel_mm, 0.0, 0.0]))
        spun = there * RigidTransform.from_rotation(turn) * there.inv()
        return (away * spun * self.target).as_matrix()

    def off(self, found: Compensation, *, rolled: bool) -> dict[str, Any]:
        """How far a compensation is from what was built."""
        inward = self.target.inv()
        spindle = inward.rotation.apply(self.spindle)
        nearest = np.abs(spindle).max()
        runout = np.degrees(np.arctan2(np.sqrt(1 - nearest**2), nearest))
        off = {
            "1": np.subtract(found.spindle_in_target, spindle),
            "mm": np.subtract(found.centre_in_target_mm, inward.apply(self.centre)),
            "deg": [found.runout_deg - runout],
        }
        if rolled:
            off["mm"] = [*off["mm"], found.rolling_radius_mm - self.radius_mm]
        else:
            assert found.rolling_radius_mm is None
        return off


def told(what: str, off: dict[str, Any]) -> None:
    for unit, quantity, allowed, why in (
        ("1", "spindle in the target", 2e-14, "rounding of rotations"),
        ("mm", "wheel centre in the target, rolling radius", 1e-10, "of 1e4 mm"),
        ("deg", "runout", 2e-12, "rounding of rotations"),
    ):
        hold(
            what,
            against="SciPy RigidTransform",
            quantity=quantity,
            off=off[unit],
            allowed=allowed,
            unit=unit,
            why=why.replace("of 1e4 mm", "rounding of coordinates of 1e4 mm"),
        )


ANGLES = [np.linspace(-0.5, 0.6, 3), np.array([0.0, 0.3, 0.9, 1.4]), np.arange(7) * 0.2]


@pytest.mark.parametrize("angles", ANGLES, ids=len)
@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize("seed", range(6))
def test_one_wheel(seed: int, side: str, angles: Array) -> None:
    rng = np.random.default_rng(seed)
    rig = Rotation.random(rng=rng)
    wheel = Clamped.draw(rng, side, rig, rng.uniform(-3e3, 3e3, 3))
    how = {
        "side": side,
        # Roughly forward is enough.
        "forward": rig.apply(Rotation.from_euler("z", 0.3).apply([1.0, 0.0, 0.0])),
        "up": rig.apply(UP),
        "clamp_standoff_mm": wheel.standoff_mm,
    }
    rolled = [wheel.turned(angle, wheel.radius_mm * angle) for angle in angles]
    found = wheel_from_rolling(np.array(rolled), **how)
    told("compensation::wheel_from_rolling", wheel.off(found, rolled=True))
    # By hand a wheel may be spun any way round.
    spun = [wheel.turned(2.5 * angle, 0.0) for angle in angles]
    found = wheel_from_spinning(np.array(spun), **how)
    told("compensation::wheel_from_spinning", wheel.off(found, rolled=False))


@pytest.mark.parametrize("seed", range(6))
def test_all_wheels(seed: int) -> None:
    rng = np.random.default_rng(seed)
    rig = Rotation.random(rng=rng)
    corners = {"fl": (2600, 750), "fr": (2600, -750), "rl": (0, 740), "rr": (0, -740)}
    wheels = {
        name: Clamped.draw(
            rng,
            "left" if y > 0 else "right",
            rig,
            rig.apply([x, y, rng.uniform(-5, 5)]) + [300.0, -200.0, 100.0],
        )
        for name, (x, y) in corners.items()
    }
    how = {
        "up": rig.apply(UP),
        "clamp_standoff_mm": {name: one.standoff_mm for name, one in wheels.items()},
    }
    travels = np.array([0.0, 120.0, 260.0])
    rolling = [
        [one.turned(travel / one.radius_mm, travel) for one in wheels.values()]
        for travel in travels
    ]
    spinning = [
        [one.turned(angle, 0.0) for one in wheels.values()] for angle in (0.0, 0.9, 2.0)
    ]
    for clamps, rolled in (
        (from_rolling(np.array(rolling), **how), True),
        (from_spinning(np.array(spinning), **how), False),
    ):
        every = clamps.all_wheels()
        for name, one in wheels.items():
            told(
                "compensation::ClampCompensation::all_wheels",
                one.off(getattr(every, name), rolled=rolled),
            )
