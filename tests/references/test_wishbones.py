"""Cars on double wishbones, whose steering axis is the line through two ball joints.

The loops are closed by each engine. As the car is steered the body rises and rolls; the
rear targets show how. While the springs do not give, the wishbones stand still in the
body, and all readings are true. As they give, one front wheel sinks and the other
rises, wishbones swing, and the knuckle turns about another line than that through its
ball joints: the angle between the two is the suspension's, and no sweep, however short,
sees it. What the sweep sees is the line about which the knuckle turns (ISO 8855's
steering axis), as long as it does not itself move too much.
"""

import math
from dataclasses import replace
from itertools import product
from typing import Any

import numpy as np
import pytest

from agreement import ANGLE_DEG, ROUNDING, assert_true, tell
from conftest import STATED, Measure, Read
from engine import ENGINES, LEFT, STEERED, WHEELS, WHEELS_OF_AXLE, Bay, Procedure
from ledger import hold
from mechanism import IDENTITY_WXYZ
from random_cars import random_procedure, untouched
from truth import Measured, measure_in_engine
from wishbones import (
    WishboneCar,
    caster_and_sai_deg,
    contact_height,
    giving,
    jacked,
    random_wishbone_car,
    turned_about,
    turning_axes,
)

# An engine closes its loops to rounding.
LOOPS_MM = 1e-10
# The axis about which a knuckle turns itself turns by some 0.5 deg over a sweep of
# ± 20 deg, much the same to both sides; what is left in the mean grows as the square of
# the sweep, and is some 0.005 deg there.
TURNING_DEG = 0.01
# Rear wheels that roll do not show how the body pitches: a product of two turns.
ROLLED_DEG = 1e-3
# Springs of equal roll stiffness front and rear take half of the warp; an anti-roll bar
# in front leaves less.
COMMON_SHARE = 0.4
# No springs: a body that keeps level while its wheels sink and rise.
WHOLE_SHARE = 1.0
# On wheels that roll SAI rests on the sagitta of the sweep. Wishbones swing with the
# sine of the steer angle and camber changes with its product with that angle: bent as
# much as a sagitta, whatever the range.
SAGITTA_DEG = 0.15


def setup(
    seed: int,
    *,
    share: float = 0.0,
    wheels_locked: bool = True,
    method: str = "staged",
    sweep_deg: float | None = None,
) -> tuple[WishboneCar, Procedure]:
    """A car and a procedure at random, or swept evenly by as much to either side."""
    rng = np.random.default_rng(seed)
    car = random_wishbone_car(rng)
    procedure = random_procedure(rng, car, wheels_locked)
    rear = {wheel: procedure.ahead_roll_deg[wheel] for wheel in WHEELS_OF_AXLE["rear"]}
    steer_deg, rolls = procedure.sweep_steer_deg, procedure.sweep_roll_deg
    if sweep_deg is not None:
        steer_deg = tuple(np.linspace(-sweep_deg, sweep_deg, 7).tolist())
        rolls = tuple(rolls[i % len(rolls)] for i in range(7))
    procedure = replace(
        procedure,
        method=method,
        sweep_steer_deg=steer_deg,
        sweep_roll_deg=tuple({**roll, **rear} for roll in rolls),
        lock_steer_deg={"left": 28.0, "right": -28.0},
        reference={**procedure.reference, "turn": {"wheel": "inner", "angle_deg": 8.0}},
    )
    if method == "joint":
        procedure = untouched(procedure)
    car = giving(car, procedure, share)
    # By the stages nothing shows how the body pitches on wheels that roll.
    return car, jacked(car, procedure, pitches=wheels_locked or method == "joint")


def off_turning_deg(
    measured: Measured, found: dict[str, Any], bay: Bay
) -> dict[str, tuple[float, float]]:
    """Caster and SAI off the axis about which each knuckle turns."""
    axes = turning_axes(bay, measured.vehicle_from_rig)
    off = {}
    for side in STEERED:
        caster, sai = caster_and_sai_deg(side, axes[side])
        of_side = (found[f"steering.{side}.{name}_deg"] for name in ("caster", "sai"))
        off[side] = tuple(np.subtract(list(of_side), (caster, sai)).tolist())
    return off


def straight(true: dict[str, Any]) -> dict[str, Any]:
    """What rests on no steering axis."""
    leans = ("steering.", "turns.")
    return {path: true[path] for path in true if not path.startswith(leans)}


# --------------------------------------------------------------------------------------
# Springs that do not give


@pytest.mark.parametrize("wheels_locked", [True, False])
@pytest.mark.parametrize("seed", range(10))
def test_every_reading_while_the_body_rises_and_rolls(
    read: Read, seed: int, wheels_locked: bool, method: str, engine: str
) -> None:
    car, procedure = setup(seed, wheels_locked=wheels_locked, method=method)
    session, true, _ = measure_in_engine(car, procedure, engine=engine)
    found = read(session)
    if method == "staged" and not wheels_locked:
        # As with rigid cars: rear wheels that roll do not show how the body pitches.
        for side in STEERED:
            caster, sai = (f"steering.{side}.{of}_deg" for of in ("caster", "sai"))
            assert found[caster] == pytest.approx(true[caster], rel=0, abs=ROLLED_DEG)
            assert found[sai] == pytest.approx(true[sai], rel=0, abs=SAGITTA_DEG)
        true = straight(true)
    assert_true(found, true)
    tell(found, true, engine, "double wishbones, stiff springs", ROUNDING)


# --------------------------------------------------------------------------------------
# Springs that give


@pytest.mark.parametrize("seed", range(10))
def test_axis_is_that_about_which_the_knuckle_turns(
    read: Read, seed: int, engine: str
) -> None:
    car, procedure = setup(seed, share=COMMON_SHARE)
    measured = measure_in_engine(car, procedure, engine=engine)
    found = read(measured.session)
    assert_true(found, straight(measured.readings))
    off = off_turning_deg(measured, found, Bay(car, procedure, engine))
    for name, of_name in zip(
        ("caster", "sai"), zip(*off.values(), strict=True), strict=True
    ):
        hold(
            f"steering.{{left,right}}.{name}_deg",
            against=engine,
            quantity="double wishbones, springs that give: as the knuckle turns",
            off=of_name,
            allowed=TURNING_DEG,
            unit="deg",
            why="the axis moves while the car is steered",
        )


@pytest.mark.parametrize("seed", range(10))
def test_axis_of_wheels_that_roll(read: Read, seed: int, engine: str) -> None:
    car, procedure = setup(seed, share=COMMON_SHARE, wheels_locked=False)
    measured = measure_in_engine(car, procedure, engine=engine)
    found = read(measured.session)
    assert_true(found, straight(measured.readings))
    off = off_turning_deg(measured, found, Bay(car, procedure, engine))
    for caster, sai in off.values():
        assert abs(caster) < TURNING_DEG
        assert abs(sai) < SAGITTA_DEG


# Cars of much caster and trail, which warp their axle most, and some that hardly do.
WARPING, TAME = (3, 4, 6, 14, 18), (0, 2, 8, 11, 16)


@pytest.mark.parametrize("seed", WARPING)
def test_axis_is_as_far_off_as_the_square_of_the_sweep(
    read: Read, seed: int, engine: str
) -> None:
    """And the line through the ball joints is off by as much, however short it is."""
    off, off_balls = [], []
    for sweep_deg in (9.0, 18.0):
        car, procedure = setup(seed, share=WHOLE_SHARE, sweep_deg=sweep_deg)
        procedure = replace(procedure, ahead_steer_deg=0.0)
        measured = measure_in_engine(car, procedure, engine=engine)
        found, true = read(measured.session), measured.readings
        of_sides = off_turning_deg(measured, found, Bay(car, procedure, engine))
        off.append([math.hypot(*of_side) for of_side in of_sides.values()])
        paths = [
            [f"steering.{side}.{name}_deg" for name in ("caster", "sai")]
            for side in STEERED
        ]
        off_balls.append(
            [math.hypot(*(found[path] - true[path] for path in of)) for of in paths]
        )
    assert off[1] == pytest.approx(4.0 * np.array(off[0]), rel=0.1)
    assert off_balls[1] == pytest.approx(off_balls[0], abs=2 * TURNING_DEG)
    assert max(off_balls[0]) > 10 * TURNING_DEG


@pytest.mark.parametrize("seed", WARPING + TAME)
def test_residual_is_high_where_the_axis_moves_enough_to_matter(
    measure: Measure, read: Read, seed: int, engine: str
) -> None:
    """With the noise of a pose stated; where nothing is said, the axis is true."""
    car, procedure = setup(seed, share=WHOLE_SHARE, sweep_deg=20.0)
    measured = measure_in_engine(car, procedure, engine=engine)
    session = measured.session | {"pose_noise": STATED}
    high = {
        warning["wheel"]
        for warning in measure(session)["warnings"]
        if (warning["code"], warning["stage"]) == ("residual_high", "sweep")
    }
    off = off_turning_deg(measured, read(session), Bay(car, procedure, engine))
    matters = {
        STEERED[side] for side in STEERED if np.abs(off[side]).max() > TURNING_DEG
    }
    assert matters <= high
    assert bool(matters) == (seed in WARPING)
    assert bool(high) == (seed in WARPING)


@pytest.mark.parametrize("seed", WARPING)
def test_one_fit_says_that_an_axis_which_moves_is_of_no_rigid_car(
    measure: Measure, seed: int, engine: str
) -> None:
    for share, fits in ((0.0, True), (COMMON_SHARE, False)):
        car, procedure = setup(seed, share=share, method="joint", sweep_deg=20.0)
        session = measure_in_engine(car, procedure, engine=engine).session
        result = measure(session | {"pose_noise": STATED})
        p_value = result["fit"]["p_value"]
        assert p_value > 1.0 - 1e-9 if fits else p_value < 1e-9
        doubted = {
            warning["wheel"]
            for warning in result["warnings"]
            if warning["stage"] == "sweep"
        }
        assert doubted == (set() if fits else set(STEERED.values()))
        # It is no fault of a target.
        codes = {warning["code"] for warning in result["warnings"]}
        assert not any(code.startswith("target_slipped") for code in codes)


@pytest.mark.parametrize("seed", range(5))
def test_axis_between_stations_is_that_of_the_turn_between_them(
    measure: Measure, seed: int, method: str, engine: str
) -> None:
    car, procedure = setup(seed, share=COMMON_SHARE, method=method)
    measured = measure_in_engine(car, procedure, engine=engine)
    bay = Bay(car, procedure, engine)
    entries = measure(measured.session)["instantaneous_axes"]
    for side in STEERED:
        assert len(entries[side]) == len(procedure.sweep_steer_deg) - 1
        for entry in entries[side]:
            one, other = entry["stations"]
            ends = procedure.sweep_steer_deg[one], procedure.sweep_steer_deg[other]
            axis = turned_about(bay, *ends, measured.vehicle_from_rig)[side]
            read_off = (entry["caster_deg"], entry["sai_deg"])
            expected = caster_and_sai_deg(side, axis)
            assert read_off == pytest.approx(expected, rel=0, abs=ANGLE_DEG)


# --------------------------------------------------------------------------------------
# The reference itself


@pytest.mark.parametrize("seed", range(5))
def test_reference_closes_its_loops(seed: int, engine: str) -> None:
    """Ball joints meet, and no link has changed its length."""
    car, procedure = setup(seed, share=COMMON_SHARE)
    mechanism = ENGINES[engine](car.mechanism())
    body = np.array([0.0, 0.0, 0.0, *IDENTITY_WXYZ])
    for steer_deg in (*procedure.sweep_steer_deg, 28.0, -28.0):
        mechanism.place({"body": body, **car.steered(steer_deg)})
        for side, corner in car.corners.items():

            def at(name: str, side: str = side) -> np.ndarray:
                return mechanism.mark(f"{side} {name}")[1]

            for end in ("top", "arm"):
                assert np.abs(at(end) - at(f"{end} to")).max() < LOOPS_MM
            upright, lower, upper = (
                at("top") - at("lower ball"),
                corner.lower,
                corner.upper,
            )
            design = upper.ball_mm - lower.ball_mm
            assert np.linalg.norm(upright) == pytest.approx(np.linalg.norm(design))
            rack = car.steered(steer_deg)["rack"]
            inner = corner.rod.inner_mm + rack * LEFT
            rod = np.linalg.norm(corner.rod.outer_mm - corner.rod.inner_mm)
            assert np.linalg.norm(at("arm") - inner) == pytest.approx(rod, rel=1e-14)
            for name, wishbone in (("lower", lower), ("upper", upper)):
                for pivot in (wishbone.rear_pivot_mm, wishbone.front_pivot_mm):
                    length = np.linalg.norm(wishbone.ball_mm - pivot)
                    now = np.linalg.norm(at(f"{name} ball") - pivot)
                    assert now == pytest.approx(length, rel=1e-14)


@pytest.mark.parametrize("seed", range(5))
def test_reference_stands_on_its_front_wheels(seed: int, engine: str) -> None:
    """The body moves by tenths of a millimetre and more, the contact centres do not."""
    car, procedure = setup(seed, share=COMMON_SHARE)
    bay = Bay(car, procedure, engine)
    bay.stand_ahead()
    ahead = {wheel: contact_height(bay, wheel) for wheel in STEERED.values()}
    moved = []
    for steer_deg, shift in zip(
        procedure.sweep_steer_deg, procedure.sweep_shift, strict=True
    ):
        bay.steer_to(steer_deg, procedure.ahead_roll_deg, shift)
        for wheel in STEERED.values():
            assert contact_height(bay, wheel) == pytest.approx(ahead[wheel], abs=0.02)
        moved.append(abs(shift.roll_deg) + abs(shift.pitch_deg))
    assert max(moved) > 0.01


@pytest.mark.parametrize("seed", range(5))
def test_the_two_engines_agree(seed: int) -> None:
    car, procedure = setup(seed, share=COMMON_SHARE)
    bays = [Bay(car, procedure, engine) for engine in ENGINES]
    for steer_deg, wheel in product(procedure.sweep_steer_deg, WHEELS):
        seen = []
        for bay in bays:
            bay.steer_to(steer_deg, procedure.ahead_roll_deg)
            seen.append(bay.engine.target(wheel))
        (one, at), (other, there) = seen
        assert other == pytest.approx(one, rel=0, abs=1e-12)
        assert there == pytest.approx(at, rel=0, abs=LOOPS_MM)
