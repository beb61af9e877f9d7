"""Live readings of cars in an engine: steered, swaying, tilted, turned at by SciPy."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from numpy.typing import ArrayLike
from scipy.spatial.transform import Rotation

from agreement import ANGLE_DEG, LENGTH_MM, ROUNDING, off_by
from engine import SIDE_OF_WHEEL, WHEELS, Bay, Car, Procedure, Session
from frames import Matrix, Vector
from ledger import hold
from random_cars import with_moving_body
from test_calls import clamp_of, setup, station, stations
from truth import Measured, measure_in_engine

pytest.importorskip("wheel_alignment", reason="a program stands in for the package")

from wheel_alignment import compensation, live

CARS = range(900, 904)
REFERRED_DEG = 0.01
LIVE = ("wheels", "axles", "chassis", "steering")
SCIPY = "SciPy Rotation"


def held(seed: int) -> tuple[Car, Procedure]:
    """The rear wheels are held from straight ahead on, as for live readings."""
    car, procedure = setup(seed)
    rear = {wheel: procedure.ahead_roll_deg[wheel] for wheel in ("rl", "rr")}
    rolled = tuple({**roll, **rear} for roll in procedure.sweep_roll_deg)
    return car, replace(procedure, sweep_roll_deg=rolled)


def swaying(seed: int, engine: str) -> Measured:
    car, procedure = setup(seed)
    rng = np.random.default_rng(seed)
    moving = with_moving_body(rng, car, procedure, "random", "found_again")
    return measure_in_engine(car, moving, engine=engine)


def standing(seed: int, engine: str) -> tuple[Measured, Bay]:
    car, procedure = held(seed)
    measured = measure_in_engine(car, procedure, engine=engine)
    bay = Bay(car, procedure, engine)
    bay.stand_ahead()
    return measured, bay


def tell(what: str, against: str, quantity: str, off: ArrayLike, unit: str) -> None:
    hold(
        f"live::{what}",
        against=against,
        quantity=quantity,
        off=off,
        allowed={"deg": ANGLE_DEG, "mm": LENGTH_MM, "1": 0.0}[unit],
        unit=unit,
        why=ROUNDING if unit != "1" else "exact",
    )


def off(measured: Measured, now: live.LiveReadings, ending: str) -> list[float]:
    """How far the live readings that end so are from what is true in the engine."""
    true = {
        path: value
        for path, value in measured.readings.items()
        if path.split(".")[0] in LIVE
        and path.endswith(ending)
        and "range" not in path
        and "residual" not in path
    }
    found = {path: now.alignment.get(path) for path in true if "[" not in path}
    assert None not in found.values()
    return [off_by(path, found, true) for path in found]


def scalars(measured: Measured) -> Measured:
    readings = {
        path: value
        for path, value in measured.readings.items()
        if not isinstance(value, (list, tuple, np.ndarray))
    }
    return measured._replace(readings=readings)


def frame(tracker: live.Tracker, time_s: float, poses: Matrix) -> live.LiveReadings:
    return tracker.frame(time_s, poses)


def moved(poses: Matrix, turn: Rotation, about: Vector, shift: Vector) -> Matrix:
    """Poses (4, 4, 4) turned about a point of the rig, and shifted."""
    motion = np.eye(4)
    motion[:3, :3] = turn.as_matrix()
    motion[:3, 3] = about + shift - turn.apply(about)
    return motion @ poses


@pytest.mark.parametrize("seed", CARS)
def test_a_swaying_car_whose_wheels_are_steered(seed: int, engine: str) -> None:
    measured = scalars(swaying(seed, engine))
    session = measured.session
    tracker = live.Tracker(session)
    now = frame(tracker, 0.0, station(session["ahead"]))
    tell("Tracker::new", engine, "angles", off(measured, now, "_deg"), "deg")
    tell("Tracker::new", engine, "lengths", off(measured, now, "_mm"), "mm")
    assert tracker.readings() == now
    last = tracker.readings()
    tell("Tracker::readings", engine, "angles", off(measured, last, "_deg"), "deg")
    for index, poses in enumerate(stations(session, "sweep")):
        now = frame(tracker, 1.0 + index, poses)
        # At a station nothing is interpolated, but at one that stands straight ahead.
        at_station = abs(now.steer_deg.left or 0.0) > 0.5
        hold(
            "live::Tracker::frame",
            against=engine,
            quantity="angles at stations" if at_station else "angles near ahead",
            off=off(measured, now, "_deg"),
            allowed=ANGLE_DEG if at_station else REFERRED_DEG,
            unit="deg",
            why=ROUNDING if at_station else "the linkage is interpolated",
        )
        lengths = off(measured, now, "_mm")
        if at_station:
            tell("Tracker::frame", engine, "lengths at stations", lengths, "mm")
        assert not now.flags.vehicle.held


@pytest.mark.parametrize("seed", CARS)
def test_steering_between_the_stations(seed: int, engine: str) -> None:
    car, procedure = held(seed)
    measured = scalars(measure_in_engine(car, procedure, engine=engine))
    tracker = live.Tracker(measured.session)
    bay = Bay(car, procedure, engine)
    most_deg = min(15.0, max(procedure.sweep_steer_deg))
    for time_s, steer_deg in enumerate(np.linspace(-most_deg, most_deg, 14)):
        bay.steer_to(float(steer_deg), {wheel: 0.0 for wheel in WHEELS})
        seen = {wheel: bay.engine.pose(wheel, "rotation") for wheel in WHEELS}
        now = frame(tracker, float(time_s), station(seen))
        hold(
            "live::Tracker::frame",
            against=engine,
            quantity="camber, toe, caster between stations",
            off=off(measured, now, "_deg"),
            allowed=REFERRED_DEG,
            unit="deg",
            why="the linkage is interpolated between stations",
        )


def camber_deg(spindle: Vector) -> float:
    return -float(np.degrees(np.arcsin(spindle[2])))


@pytest.mark.parametrize("seed", CARS)
def test_a_wheel_that_is_turned_by_another_library(seed: int, engine: str) -> None:
    measured, bay = standing(seed, engine)
    session, axes = measured.session, measured.vehicle_from_rig
    ahead = station(session["ahead"])
    for index, wheel in enumerate(WHEELS):
        tracker = live.Tracker(session, steering="held")
        frame(tracker, 0.0, ahead)
        tracker.adjust(wheel)
        spindle, centre = (np.array(one) for one in bay.engine.spindle(wheel))
        turn = Rotation.from_rotvec(1.3 * axes[0] - 0.7 * axes[2], degrees=True)
        poses = ahead.copy()
        poses[index] = moved(ahead[index], turn, centre, np.zeros(3))
        # The whole car is tilted meanwhile.
        tilt = Rotation.from_rotvec(axes[1] * 2.0 + axes[0], degrees=True)
        seen = moved(poses, tilt, centre, np.array([5.0, -3.0, 40.0]))
        now = frame(tracker, 0.5, seen)
        turned = axes @ turn.apply(spindle)
        found = now.alignment.get(f"wheels.{wheel}.camber_deg")
        apart = np.subtract(found, camber_deg(turned))
        tell("Tracker::adjust", SCIPY, "camber of a wheel that is turned", apart, "deg")


@pytest.mark.parametrize("seed", CARS)
def test_steering_that_is_held_is_read_as_it_stands(seed: int, engine: str) -> None:
    measured, bay = standing(seed, engine)
    session, axes = measured.session, measured.vehicle_from_rig
    tracker = live.Tracker(session)
    tracker.steer("held")
    for time_s, seen in enumerate(session["sweep"]):
        now = frame(tracker, float(time_s), station(seen))
        for wheel in ("fl", "fr"):
            spindle_in_target, _ = _clamp_ahead(bay, wheel)
            spindle = axes @ np.array(seen[wheel]["rotation"]) @ spindle_in_target
            found = now.alignment.get(f"wheels.{wheel}.camber_deg")
            apart = np.subtract(found, camber_deg(spindle))
            tell("Tracker::steer", engine, "camber as it stands", apart, "deg")


def _clamp_ahead(bay: Bay, wheel: str) -> tuple[Vector, Vector]:
    bay.stand_ahead()
    return clamp_of(bay, wheel)


@pytest.mark.parametrize("seed", CARS)
def test_wheels_that_hang(seed: int, engine: str) -> None:
    measured, bay = standing(seed, engine)
    measured = scalars(measured)
    session, axes = measured.session, measured.vehicle_from_rig
    ahead = station(session["ahead"])
    tracker = live.Tracker(session)
    frame(tracker, 0.0, ahead)
    tracker.lift()
    tilt = Rotation.from_rotvec(2.0 * axes[1], degrees=True)
    hanging = moved(ahead, tilt, ahead[0, :3, 3], np.array([0.0, 0.0, 300.0]))
    for index, wheel in enumerate(WHEELS):
        droop = Rotation.from_rotvec(-1.5 * SIDE_OF_WHEEL[wheel] * axes[0], True)
        hanging[index] = moved(
            hanging[index], droop, hanging[index, :3, 3], np.array([0.0, 0.0, -60.0])
        )
    now = frame(tracker, 0.1, hanging)
    tell("Tracker::lift", engine, "angles held", off(measured, now, "_deg"), "deg")
    tracker.lifted()
    now = frame(tracker, 0.2, hanging)
    assert not now.flags.vehicle.held
    tell("Tracker::lifted", engine, "angles gone on", off(measured, now, "_deg"), "deg")
    tracker.lowered()
    now = frame(tracker, 0.3, ahead)
    tell("Tracker::lowered", engine, "angles again", off(measured, now, "_deg"), "deg")


@pytest.mark.parametrize("seed", CARS)
def test_a_clamp_put_on_anew(seed: int, engine: str) -> None:
    measured, bay = standing(seed, engine)
    measured = scalars(measured)
    session = measured.session
    ahead = station(session["ahead"])
    for index, wheel in enumerate(WHEELS):
        tracker = live.Tracker(session)
        frame(tracker, 0.0, ahead)
        # The target is turned on its wheel and shifted: by SciPy, in its own frame.
        other = np.eye(4)
        other[:3, :3] = Rotation.from_rotvec([4.0, -7.0, 20.0], True).as_matrix()
        other[:3, 3] = [12.0, -8.0, 5.0]
        poses = ahead.copy()
        poses[index] = ahead[index] @ other
        spindle, centre = clamp_of(bay, wheel)
        clamp = compensation.Compensation(
            tuple(other[:3, :3].T @ spindle),
            tuple(other[:3, :3].T @ (centre - other[:3, 3])),
            0.0,
            None,
            30.0,
        )
        tracker.compensate(wheel, clamp)
        now = frame(tracker, 0.1, poses)
        apart = [
            np.subtract(
                now.alignment.get(f"wheels.{wheel}.{reading}"),
                measured.readings[f"wheels.{wheel}.{reading}"],
            )
            for reading in ("camber_deg", "toe_deg")
        ]
        tell("Tracker::compensate", SCIPY, "camber and toe", apart, "deg")


def test_flags_follow_the_clock(engine: str) -> None:
    measured, _ = standing(900, engine)
    session: Session = measured.session
    ahead = station(session["ahead"])
    tracker = live.Tracker(session, held_after_s=0.25, stale_after_s=0.75)
    rng = np.random.default_rng(5)
    last_s = np.full(4, -np.inf)
    wrong: list[Any] = []
    for time_s in np.cumsum(rng.uniform(0.01, 0.2, 400)):
        seen = rng.random(4) < 0.3
        seen[2:] |= not seen[2:].any()  # the body is always found by a rear target
        last_s[seen] = time_s
        now = frame(
            tracker, float(time_s), np.where(seen[:, None, None], ahead, np.nan)
        )
        ages = time_s - last_s
        for bound, name in ((0.25, "held"), (0.75, "stale")):
            for index, wheel in enumerate(WHEELS[2:], 2):
                flags = now.flags.of(f"wheels.{wheel}.camber_deg")
                wrong.append(getattr(flags, name) != (ages[index] > bound))
            flags = now.flags.of("chassis.thrust_angle_deg")
            wrong.append(getattr(flags, name) != (ages.max() > bound))
    tell("FlagsByBasis::of", "a clock in numpy", "flags that are wrong", wrong, "1")
