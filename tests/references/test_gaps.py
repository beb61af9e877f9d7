"""Cameras that are blocked: what can still be read is read, and nothing else.

Cars in two rigid-body engines. Which reading rests on which wheel follows from the
definitions of the readings.
"""

from collections.abc import Iterable
from dataclasses import replace
from fnmatch import fnmatchcase
from typing import Any

import numpy as np
import pytest

from agreement import assert_true
from conftest import Measure, Read
from engine import (
    AXLE_OF_WHEEL,
    STEERED,
    WHEELS,
    WHEELS_OF_AXLE,
    Car,
    Procedure,
    Session,
)
from random_cars import random_runway, random_setup, random_spinning, with_moving_body
from sightings import without
from truth import Readings, measure_in_engine, swept_deg

ALL = slice(None)
SIDE_OF_STEERED = {wheel: side for side, wheel in STEERED.items()}
BLOCKED = [(wheel, as_null) for wheel in WHEELS for as_null in (False, True)]


def setup(
    seed: int, datum: str = "up", *, method: str = "staged"
) -> tuple[Car, Procedure]:
    """Seen all round, and with all there is to read: locks, turns, ride heights."""
    car, procedure = random_setup(seed, method=method)
    rng = np.random.default_rng(seed)
    procedure = replace(
        procedure,
        lock_steer_deg={"left": 33.0, "right": -33.0},
        ride_height_at_origin_mm=150.0,
        rear_seen_while_steering=True,
        reference={"turn": {"wheel": "inner", "angle_deg": 8.0}, "datum": datum},
    )
    if datum == "runway":
        procedure = replace(procedure, runway_mm=random_runway(rng, car, procedure))
    return car, procedure


def picked(true: Readings, patterns: Iterable[str]) -> Readings:
    """The readings whose path matches one of the patterns, each of which has one."""
    found: Readings = {}
    for pattern in patterns:
        matching = {p: true[p] for p in true if fnmatchcase(p, pattern)}
        assert matching, pattern
        found |= matching
    return found


def range_of_one_wheel(
    true: Readings, car: Car, procedure: Procedure, hidden: str
) -> Readings:
    """Where one front wheel is hidden, the sweep ranges as the other one turned."""
    if hidden not in SIDE_OF_STEERED:
        return true
    seen = "right" if SIDE_OF_STEERED[hidden] == "left" else "left"
    swept = float(np.ptp(swept_deg(car, procedure)[seen]))
    return true | {"steering.sweep_range_deg": swept}


def assert_read(found: Readings, true: Readings, must: set[str], may: set[str]) -> None:
    """All that must be read, some of what may be, nothing else: and all of it true."""
    assert must <= found.keys(), sorted(must - found.keys())
    unfounded = found.keys() - must - may
    assert not unfounded, sorted(unfounded)
    assert_true(found, {path: true[path] for path in found})


def blocked_at(result: dict[str, Any]) -> set[tuple[str, str]]:
    return {
        (warning["stage"], warning["wheel"])
        for warning in result["warnings"]
        if warning["code"] == "wheel_blocked"
    }


# --------------------------------------------------------------------------------------
# A wheel of which it is not known where it stood straight ahead: no centreline


def shown_without(true: Readings, hidden: str, stage: str) -> tuple[set[str], set[str]]:
    """What must be read, and what no centreline is needed for but may be left out.

    How far a wheel turned is such, a front wheel's toe to the thrust line, a diagonal,
    and trail and scrub in the plane of the wheel.
    """
    others = [wheel for wheel in WHEELS if wheel != hidden]
    whole = "rear" if AXLE_OF_WHEEL[hidden] == "front" else "front"
    must = [f"wheels.{wheel}.camber_deg" for wheel in others]
    must += [f"wheels.{wheel}.r[ou]*" for wheel in others]  # runout, rolling radius
    must += [f"axles.{whole}.total_toe_deg", f"axles.{whole}.cross_camber_deg"]

    diagonal = "fr_rl" if hidden in ("fl", "rr") else "fl_rr"
    may = [
        "steering.*.residual_*",
        "steering.sweep_range_deg",
        f"chassis.diagonal_{diagonal}_mm",
        *(
            f"steering.{side}.*_in_wheel_plane_mm"
            for side, wheel in STEERED.items()
            if wheel != hidden
        ),
    ]
    if stage == "ahead":
        may.append(f"wheels.{hidden}.r[ou]*")
    if whole == "rear":
        may += [
            f"wheels.{wheel}.toe_deg" for wheel in STEERED.values() if wheel != hidden
        ]
        may += [
            f"turns.lock_*.{side}_deg"
            for side, wheel in STEERED.items()
            if wheel != hidden
        ]
    else:
        may += [
            "turns.lock_*",
            *(f"turns.*.{a}_deg" for a in ("inner", "outer", "toe_out")),
        ]
    return set(picked(true, must)), set(picked(true, may))


@pytest.mark.parametrize("stage", ["ahead", "rolling"])
@pytest.mark.parametrize(("wheel", "as_null"), BLOCKED)
@pytest.mark.parametrize("seed", range(600, 603))
def test_wheel_blocked_where_the_frame_is_found(
    read: Read,
    measure: Measure,
    seed: int,
    wheel: str,
    as_null: bool,
    stage: str,
    method: str,
    engine: str,
) -> None:
    car, procedure = setup(seed, method=method)
    seen, true, _ = measure_in_engine(car, procedure, engine=engine)
    session = without(seen, stage, wheel, ALL, as_null=as_null)
    if (method, stage) == ("joint", "ahead"):
        # The rolling shows where the wheel stood.
        assert_read(read(session), true, set(true), set())
        return
    must, may = shown_without(true, wheel, stage)
    true = range_of_one_wheel(true, car, procedure, wheel)
    assert_read(read(session), true, must, may)
    assert (stage, wheel) in blocked_at(measure(session))


@pytest.mark.parametrize("wheel", WHEELS)
def test_wheel_blocked_while_wheels_are_spun(
    read: Read, measure: Measure, wheel: str, method: str, engine: str
) -> None:
    car, procedure = setup(603, method=method)
    spinning = random_spinning(np.random.default_rng(603), car)
    procedure = replace(procedure, spinning=spinning)
    seen, true, _ = measure_in_engine(car, procedure, engine=engine)
    session = without(seen, "rolling", wheel, ALL, as_null=False)
    must, may = shown_without(true, wheel, "rolling")
    true = range_of_one_wheel(true, car, procedure, wheel)
    assert_read(read(session), true, must, may)
    assert ("rolling", wheel) in blocked_at(measure(session))


@pytest.mark.parametrize("wheel", WHEELS)
def test_wheel_blocked_on_a_runway(
    read: Read, wheel: str, method: str, engine: str
) -> None:
    """The runway gives the normal whatever is seen of the wheels."""
    car, procedure = setup(604, "runway", method=method)
    seen, true, _ = measure_in_engine(car, procedure, engine=engine)
    session = without(seen, "ahead", wheel, ALL, as_null=False)
    if method == "joint":
        assert_read(read(session), true, set(true), set())
        return
    must, may = shown_without(true, wheel, "ahead")
    true = range_of_one_wheel(true, car, procedure, wheel)
    assert_read(read(session), true, must, may)


# --------------------------------------------------------------------------------------
# A wheel that was not seen as it was steered


@pytest.mark.parametrize("also_at_locks", [False, True])
@pytest.mark.parametrize("as_null", [False, True])
@pytest.mark.parametrize("side", STEERED)
@pytest.mark.parametrize("seed", range(610, 613))
def test_front_wheel_blocked_in_the_sweep(
    read: Read,
    measure: Measure,
    seed: int,
    side: str,
    as_null: bool,
    also_at_locks: bool,
    method: str,
    engine: str,
) -> None:
    car, procedure = setup(seed, method=method)
    seen, true, _ = measure_in_engine(car, procedure, engine=engine)
    wheel = STEERED[side]
    session = without(seen, "sweep", wheel, ALL, as_null=as_null)
    gone = [f"steering.{side}.*", "steering.cross_*", "turns.*_turn.*"]
    if also_at_locks:
        session = blocked_at_locks(session, wheel, as_null)
        gone.append(f"turns.lock_*.{side}_deg")
    may = {"steering.sweep_range_deg"}
    must = true.keys() - picked(true, gone).keys() - may
    true = range_of_one_wheel(true, car, procedure, wheel)
    result = measure(session)
    assert_read(read(session), true, must, may)
    assert ("sweep", wheel) in blocked_at(result)
    other = "right" if side == "left" else "left"
    assert result["instantaneous_axes"][side] == []
    assert result["instantaneous_axes"][other]


def blocked_at_locks(session: Session, wheel: str, as_null: bool) -> Session:
    for lock in ("lock_left", "lock_right"):
        session = without(session, lock, wheel, ALL, as_null=as_null)
    return session


@pytest.mark.parametrize("body", ["still", "found_again"])
@pytest.mark.parametrize("wheel", WHEELS_OF_AXLE["rear"])
@pytest.mark.parametrize("seed", range(613, 616))
def test_rear_wheel_blocked_at_some_stations_of_the_sweep(
    read: Read,
    measure: Measure,
    seed: int,
    wheel: str,
    body: str,
    method: str,
    engine: str,
) -> None:
    car, procedure = setup(seed, method=method)
    if body == "found_again":
        rng = np.random.default_rng(seed)
        procedure = with_moving_body(rng, car, procedure, "smooth", body)
    seen, true, _ = measure_in_engine(car, procedure, engine=engine)
    session = without(seen, "sweep", wheel, slice(1, 3), as_null=False)
    assert_read(read(session), true, set(true), set())
    # Nothing is absent: the other rear wheel watches the body.
    assert not blocked_at(measure(session))


@pytest.mark.parametrize("seed", range(600, 603))
def test_nothing_is_blocked_where_all_is_seen(
    measure: Measure, seed: int, method: str, engine: str
) -> None:
    session = measure_in_engine(*setup(seed, method=method), engine=engine).session
    assert not blocked_at(measure(session))


@pytest.mark.parametrize("hidden", WHEELS)
@pytest.mark.parametrize("seed", range(600, 603))
def test_reference_reads_nothing_from_a_hidden_wheel(
    seed: int, hidden: str, engine: str
) -> None:
    """The reference itself: set that wheel otherwise, and just these readings stay."""
    car, procedure = setup(seed)
    wheel = car.wheels[hidden]
    otherwise = replace(
        wheel,
        centre_mm=wheel.centre_mm + [7.0, 5.0, 3.0],
        camber_deg=wheel.camber_deg + 1.0,
        toe_deg=wheel.toe_deg + 0.5,
    )
    other_car = replace(car, wheels={**car.wheels, hidden: otherwise})
    true = measure_in_engine(car, procedure, engine=engine).readings
    other = measure_in_engine(other_car, procedure, engine=engine).readings
    stays = {
        path
        for path, value in true.items()
        if np.abs(np.subtract(value, other[path])).max() < 1e-9
    }
    must, may = shown_without(true, hidden, "ahead")
    if hidden in SIDE_OF_STEERED:
        may.discard("steering.sweep_range_deg")  # the other wheel's alone stays
        stays -= picked(true, ["turns.*_turn.inner_deg"]).keys()  # the angle asked for
    assert stays == must | may


def test_reference_hides_one_wheel_and_nothing_else(engine: str) -> None:
    """The reference itself."""
    seen = measure_in_engine(*setup(600), engine=engine).session
    session = without(seen, "sweep", "rl", slice(1, 3), as_null=True)
    for index, (before, after) in enumerate(
        zip(seen["sweep"], session["sweep"], strict=True)
    ):
        assert after["rl"] == (None if index in (1, 2) else before["rl"])
        assert {**after, "rl": before["rl"]} == before
    assert "fr" not in without(seen, "ahead", "fr", ALL, as_null=False)["ahead"]
    assert {key: session[key] for key in session if key != "sweep"} == {
        key: seen[key] for key in seen if key != "sweep"
    }
