"""Functions of `measure` called by themselves, on the poses of a car in an engine."""

from __future__ import annotations

import operator
from dataclasses import replace
from typing import Any, Literal

import numpy as np
import pytest
from numpy.typing import ArrayLike

from agreement import (
    ANGLE_DEG,
    INTERPOLATED_DEG,
    LENGTH_MM,
    ROUNDING,
    off_by,
    tolerance,
)
from engine import (
    SIDE_OF_WHEEL,
    STEERED,
    WHEELS,
    Bay,
    Car,
    Procedure,
    RaisedBay,
    Session,
)
from frames import Matrix, Vector
from ledger import hold
from random_cars import random_car, random_procedure, random_spinning
from truth import Readings, measure_in_engine, swept_deg

pytest.importorskip("wheel_alignment", reason="a program stands in for the package")

from wheel_alignment import ByWheel, batch, compensation, sweep, vehicle

CARS = range(700, 705)


def setup(seed: int) -> tuple[Car, Procedure]:
    """As many stations each, and the same said of all: records of one batch."""
    rng = np.random.default_rng(seed)
    car = random_car(rng)
    procedure = random_procedure(rng, car, wheels_locked=True)
    half_sweep, rolled = max(procedure.sweep_steer_deg), procedure.sweep_roll_deg[0]
    return car, replace(
        procedure,
        rolling_travel_mm=tuple(np.linspace(-60.0, 380.0, 5).tolist()),
        sweep_steer_deg=tuple(np.linspace(-half_sweep, half_sweep, 7).tolist()),
        sweep_roll_deg=(rolled,) * 7,
        lock_steer_deg={"left": 30.0, "right": -30.0},
        loaded_radius_mm={"front": 290.0, "rear": 300.0},
        ride_height_at_origin_mm=None,
        rear_seen_while_steering=True,
        reference={"turn": {"wheel": "inner", "angle_deg": 8.0}},
    )


def matrix(seen: dict[str, Any] | None) -> Matrix:
    """Four by four, and NaN where a wheel was not seen."""
    if seen is None:
        return np.full((4, 4), np.nan)
    pose = np.eye(4)
    pose[:3, :3], pose[:3, 3] = seen["rotation"], seen["translation_mm"]
    return pose


def station(seen: dict[str, Any]) -> Matrix:
    return np.array([matrix(seen.get(wheel)) for wheel in WHEELS])


def stations(session: Session, stage: str) -> Matrix:
    return np.array([station(seen) for seen in session[stage]])


def between_deg(one: Vector, other: Vector) -> float:
    return float(
        np.degrees(np.arctan2(np.linalg.norm(np.cross(one, other)), one @ other))
    )


def tell(what: str, engine: str, quantity: str, off: ArrayLike, unit: str) -> None:
    hold(
        what,
        against=engine,
        quantity=quantity,
        off=off,
        allowed={"deg": ANGLE_DEG, "mm": LENGTH_MM}[unit],
        unit=unit,
        why=ROUNDING,
    )


def clamp_of(bay: Bay, wheel: str) -> tuple[Vector, Vector]:
    """Spindle and wheel centre in the frame of the target."""
    rotation, at = bay.engine.target(wheel)
    spindle, centre = bay.engine.spindle(wheel)
    return rotation.T @ spindle, rotation.T @ (centre - at)


def tell_clamps(what: str, engine: str, bay: Bay, found: ByWheel[Any]) -> None:
    turned, shifted = [], []
    for wheel in WHEELS:
        spindle, centre = clamp_of(bay, wheel)
        clamp = getattr(found, wheel)
        turned.append(between_deg(np.array(clamp.spindle_in_target), spindle))
        shifted.append(np.subtract(clamp.centre_in_target_mm, centre))
    tell(what, engine, "spindle in the target", turned, "deg")
    tell(what, engine, "wheel centre in the target", shifted, "mm")


def side_of(wheel: str) -> Literal["left", "right"]:
    return "left" if SIDE_OF_WHEEL[wheel] > 0 else "right"


# --------------------------------------------------------------------------------------
# Clamps


@pytest.mark.parametrize("seed", CARS)
def test_clamps_by_rolling(seed: int, engine: str) -> None:
    car, procedure = setup(seed)
    measured = measure_in_engine(car, procedure, engine=engine)
    session, true = measured.session, measured.readings
    rolling = stations(session, "rolling")
    standoff_mm = session["clamp_standoff_mm"]
    of_all = compensation.from_rolling(
        rolling, up=session["up"], clamp_standoff_mm=standoff_mm
    )
    of_each = {
        wheel: compensation.wheel_from_rolling(
            rolling[:, index],
            side=side_of(wheel),
            forward=measured.vehicle_from_rig[0].tolist(),
            up=session["up"],
            clamp_standoff_mm=standoff_mm[wheel],
        )
        for index, wheel in enumerate(WHEELS)
    }
    bay = Bay(car, procedure, engine)
    for what, found in (
        ("compensation::from_rolling", of_all.wheels),
        ("compensation::ClampCompensation::all_wheels", of_all.all_wheels()),
        ("compensation::wheel_from_rolling", ByWheel(**of_each)),
    ):
        tell_clamps(what, engine, bay, found)
        radius = [
            getattr(found, wheel).rolling_radius_mm
            - true[f"wheels.{wheel}.rolling_radius_mm"]
            for wheel in WHEELS
        ]
        tell(what, engine, "rolling radius", radius, "mm")


@pytest.mark.parametrize("seed", CARS)
def test_clamps_by_spinning(seed: int, engine: str) -> None:
    car, procedure = setup(seed)
    spinning = random_spinning(np.random.default_rng(seed), car)
    procedure = replace(procedure, spinning=spinning)
    measured = measure_in_engine(car, procedure, engine=engine)
    spun = stations(measured.session, "rolling")
    up, standoff_mm = (measured.session[key] for key in ("up", "clamp_standoff_mm"))
    of_all = compensation.from_spinning(spun, up=up, clamp_standoff_mm=standoff_mm)
    of_each = {}
    for index, wheel in enumerate(WHEELS):
        seen = spun[:, index]
        of_each[wheel] = compensation.wheel_from_spinning(
            seen[np.isfinite(seen[:, 0, 0])],
            side=side_of(wheel),
            forward=measured.vehicle_from_rig[0].tolist(),
            up=up,
            clamp_standoff_mm=standoff_mm[wheel],
        )
    bay = RaisedBay(procedure, engine)
    for what, found in (
        ("compensation::from_spinning", of_all.wheels),
        ("compensation::wheel_from_spinning", ByWheel(**of_each)),
    ):
        tell_clamps(what, engine, bay, found)
        assert all(getattr(found, wheel).rolling_radius_mm is None for wheel in WHEELS)


# --------------------------------------------------------------------------------------
# Readings


def tell_readings(what: str, engine: str, found: Readings, true: Readings) -> None:
    """Of those that are found: angles, and lengths."""
    assert found.keys() <= true.keys()
    exact = [path for path in found if not interpolated(path)]
    for unit, name in (("deg", "angles"), ("mm", "lengths")):
        off = [off_by(path, found, true) for path in exact if path.endswith(unit)]
        tell(what, engine, name, off, unit)


def interpolated(path: str) -> bool:
    return tolerance(path) == INTERPOLATED_DEG


def folded(readings: batch.Readings, record: int) -> Readings:
    """One record of a batch, the parts of a vector put together."""
    found: dict[str, Any] = {}
    for path in readings:
        name, _, part = path.partition("[")
        value = float(readings[path][record])
        if np.isnan(value):
            continue
        found[name] = [*found.get(name, []), value] if part else value
    return found


@pytest.mark.parametrize("seed", CARS)
def test_one_station_straight_ahead(seed: int, engine: str) -> None:
    session, true, _ = measure_in_engine(*setup(seed), engine=engine)
    clamps = compensation.from_rolling(
        stations(session, "rolling"),
        up=session["up"],
        clamp_standoff_mm=session["clamp_standoff_mm"],
    )
    found = vehicle.ahead_readings(
        station(session["ahead"]),
        compensation=clamps.all_wheels(),
        up=session["up"],
        loaded_radius_mm=session["loaded_radius_mm"],
    )
    paths = [path for path in true if path.startswith(("wheels", "axles", "chassis"))]
    readings = {path: operator.attrgetter(path)(found) for path in paths}
    tell_readings("vehicle::ahead_readings", engine, readings, true)


def test_many_stations_straight_ahead(engine: str) -> None:
    """The clamps are the engine's own."""
    measured = [measure_in_engine(*setup(seed), engine=engine) for seed in CARS]
    bays = [Bay(*setup(seed), engine) for seed in CARS]
    clamps = np.array(
        [[np.concatenate(clamp_of(bay, wheel)) for wheel in WHEELS] for bay in bays]
    )
    readings = batch.ahead_readings(
        np.array([station(of.session["ahead"]) for of in measured]),
        compensation={
            "spindle_in_target": clamps[..., :3],
            "centre_in_target_mm": clamps[..., 3:],
        },
        up=[of.session["up"] for of in measured],
        loaded_radius_mm=measured[0].session["loaded_radius_mm"],
    )
    for record, (_, true, _) in enumerate(measured):
        found = folded(readings, record)
        tell_readings("batch::ahead_readings", engine, found, true)


def test_many_sessions(engine: str) -> None:
    measured = [measure_in_engine(*setup(seed), engine=engine) for seed in CARS]
    sessions = [of.session for of in measured]
    standoffs = [session["clamp_standoff_mm"] for session in sessions]

    def lone(stage: str) -> Matrix:
        return np.array([station(session[stage]) for session in sessions])

    def several(stage: str) -> Matrix:
        return np.array([stations(session, stage) for session in sessions])

    readings = batch.measure(
        rolling=several("rolling"),
        ahead=lone("ahead"),
        sweep=several("sweep"),
        lock_left=lone("lock_left"),
        lock_right=lone("lock_right"),
        clamp_standoff_mm=[[of[wheel] for wheel in WHEELS] for of in standoffs],
        up=[session["up"] for session in sessions],
        sweep_wheels_locked=True,
        loaded_radius_mm=sessions[0]["loaded_radius_mm"],
        reference=sessions[0]["reference"],
    )
    for record, (_, true, _) in enumerate(measured):
        found = folded(readings, record)
        assert found.keys() == true.keys()
        tell_readings("batch::measure", engine, found, true)


@pytest.mark.parametrize("seed", CARS)
def test_a_sweep_station_by_station(seed: int, engine: str) -> None:
    car, procedure = setup(seed)
    measured = measure_in_engine(car, procedure, engine=engine)
    followed = sweep.follow(measured.session)
    steered, bay = swept_deg(car, procedure, engine), Bay(car, procedure, engine)
    bay.stand_ahead()
    rear = [bay.engine.spindle(wheel).point for wheel in ("rl", "rr")]
    turned, shifted = [], []
    for station_of, steer_deg in enumerate(procedure.sweep_steer_deg):
        bay.steer_to(steer_deg, procedure.sweep_roll_deg[station_of])
        for side, wheel in STEERED.items():
            found = getattr(followed, side).stations[station_of]
            spindle, centre = bay.engine.spindle(wheel)
            spindle = measured.vehicle_from_rig @ spindle
            centre = measured.vehicle_from_rig @ (centre - np.mean(rear, axis=0))
            assert found.station == station_of
            turned += [
                found.steer_deg - steered[side][station_of],
                found.camber_deg + np.degrees(np.arcsin(spindle[2])),
                between_deg(np.array(found.spindle), spindle),
                found.residual.rotation_deg,
            ]
            shifted += [*np.subtract(found.centre_mm, centre)]
            shifted.append(found.residual.translation_mm)
    quantity = "steer angle, camber, spindle, residual by station"
    tell("sweep::follow", engine, quantity, turned, "deg")
    tell("sweep::follow", engine, "wheel centre, residual by station", shifted, "mm")
