"""Records of many sessions: parts of them, single ones, and poses as arrays.

Each record is a car of the physics engine in another rig, which SciPy's RigidTransform
moved it to: the true readings stay those of the engine.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
from scipy.spatial.transform import RigidTransform, Rotation
from wheel_alignment import batch, measure
from wheel_alignment.compensation import from_rolling
from wheel_alignment.session import Session

from agreement import INTERPOLATED_DEG, tolerance
from engine import WHEELS
from ledger import hold
from random_cars import random_measured

Array = np.ndarray
RECORDS = 12
STAGES = ("rolling", "ahead", "sweep", "lock_left", "lock_right")
AHEAD = (
    "camber_deg",
    "toe_deg",
    "centre_mm",
    "track_mm",
    "setback_mm",
    "thrust_angle_deg",
)


@dataclass
class Records:
    """One engine car in many rigs."""

    session: dict[str, Any]
    truth: dict[str, Any]
    stages: dict[str, Array]
    up: Array

    @classmethod
    def of(cls, seed: int) -> "Records":
        session, truth, _ = random_measured(seed)
        rng = np.random.default_rng(seed)
        rigs = RigidTransform.from_components(
            rng.uniform(-2e3, 2e3, (RECORDS, 3)), Rotation.random(RECORDS, rng=rng)
        )
        stages = {}
        for stage in STAGES:
            if stage in session:
                seen = session[stage]
                poses = matrices(seen if isinstance(seen, list) else [seen])
                moved = np.einsum("nij,swjk->nswik", rigs.as_matrix(), poses)
                stages[stage] = moved if isinstance(seen, list) else moved[:, 0]
        return cls(session, truth, stages, rigs.rotation.apply(session["up"]))

    def keys(self) -> dict[str, Any]:
        names = (
            "loaded_radius_mm",
            "ride_height_mm",
            "sweep_wheels_locked",
            "reference",
        )
        return {name: self.session[name] for name in names if name in self.session}

    def measured(self, which: slice, **how: Any) -> batch.Readings:
        return batch.measure(
            **{stage: poses[which] for stage, poses in self.stages.items()},
            up=self.up[which],
            clamp_standoff_mm=self.session["clamp_standoff_mm"],
            on_error="raise",
            **self.keys(),
            **how,
        )

    def one(self, index: int) -> Session:
        return Session.from_arrays(
            **{stage: poses[index] for stage, poses in self.stages.items()},
            up=self.up[index],
            clamp_standoff_mm=self.session["clamp_standoff_mm"],
            **self.keys(),
        )


def matrices(stations: list[dict[str, Any]]) -> Array:
    """Poses by station and wheel; sixteen NaN where a wheel was not seen."""
    found = np.full((len(stations), 4, 4, 4), np.nan)
    for index, station in enumerate(stations):
        for place, wheel in enumerate(WHEELS):
            if station.get(wheel) is not None:
                found[index, place] = RigidTransform.from_components(
                    station[wheel]["translation_mm"],
                    Rotation.from_matrix(station[wheel]["rotation"]),
                ).as_matrix()
    return found


def told(what: str, quantity: str, pairs: list[tuple[str, Any, Any]]) -> None:
    """Keep how far readings are from those of the engine, by unit."""
    off: dict[str, list[Any]] = {}
    for path, found, true in pairs:
        # What is interpolated between sweep stations is no matter here.
        if tolerance(path) != INTERPOLATED_DEG and "axis_point" not in path:
            unit = path.partition("[")[0].rpartition("_")[2]
            unit = unit if unit in ("deg", "mm") else "1"
            off.setdefault(unit, []).append(np.subtract(found, true))
    for unit, deviations in off.items():
        allowed = {"deg": 1e-11, "mm": 1e-9, "1": 1e-13}[unit]
        hold(
            what,
            against="MuJoCo, SciPy RigidTransform",
            quantity=f"{quantity}, {unit}",
            off=np.concatenate([np.ravel(one) for one in deviations]),
            allowed=allowed,
            unit=unit,
            why="rounding of poses, through the fits",
        )


def pairs_of(readings: batch.Readings, truth: dict[str, Any]) -> list[Any]:
    """Each true reading beside what was found of it in every record."""
    pairs = []
    for path, true in truth.items():
        if isinstance(true, (list, tuple, np.ndarray)):
            for index, component in enumerate(true):
                at = f"{path}[{index}]"
                if at in readings:
                    pairs.append((at, readings[at], component))
        elif path in readings:
            pairs.append((path, readings[path], true))
    return pairs


@pytest.mark.parametrize("seed", range(700, 704))
def test_parts_of_sessions(seed: int) -> None:
    records = Records.of(seed)
    for which in (slice(0, 5), slice(5, 6), slice(6, None), slice(None, None, 3)):
        for threads in (1, 2):
            readings = records.measured(which, threads=threads)
            assert readings.records == len(range(RECORDS)[which])
            told(
                "batch::SessionRecords::part",
                "readings of cars of the engine, in slices",
                pairs_of(readings, records.truth),
            )


@pytest.mark.parametrize("seed", range(700, 704))
def test_single_sessions(seed: int) -> None:
    records = Records.of(seed)
    for index in (0, 4, RECORDS - 1):
        session = records.one(index)
        seen = session.to_arrays()
        for stage, poses in records.stages.items():
            hold(
                "batch::SessionRecords::one",
                against="numpy",
                quantity="poses of the record",
                off=np.nan_to_num(seen[stage] - poses[index]),
                allowed=0.0,
                unit="1",
                why="they are handed through",
            )
            assert np.array_equal(np.isnan(seen[stage]), np.isnan(poses[index]))
        alignment = measure(session).alignment
        found = []
        for path, true in records.truth.items():
            if isinstance(true, (list, tuple, np.ndarray)):
                found += [
                    (f"{path}[{i}]", alignment.get(f"{path}[{i}]"), component)
                    for i, component in enumerate(true)
                ]
            else:
                found.append((path, alignment.get(path), true))
        told("batch::SessionRecords::one", "readings of a car of the engine", found)


def test_no_records() -> None:
    records = Records.of(700)
    readings = records.measured(slice(0, 0))
    shapes = [readings[path].shape for path in readings]
    hold(
        "batch::SessionRecords::new",
        against="numpy",
        quantity="records in the arrays of no records",
        off=[readings.records, *(np.zeros(shape).size for shape in shapes)],
        allowed=0.0,
        unit="1",
        why="there are none",
    )
    assert len(shapes) > 80


@pytest.mark.parametrize("seed", range(700, 704))
def test_records_of_one_station(seed: int) -> None:
    """Straight ahead alone, by the clamps that one rig found."""
    records = Records.of(seed)
    clamps = from_rolling(
        records.stages["rolling"][0],
        up=records.up[0],
        clamp_standoff_mm=records.session["clamp_standoff_mm"],
    )
    centreline = records.session.get("reference", {}).get(
        "centreline", "axle_midpoints"
    )

    def read(which: slice) -> batch.Readings:
        return batch.ahead_readings(
            records.stages["ahead"][which],
            compensation=clamps,
            up=records.up[which],
            centreline=centreline,
            on_error="raise",
        )

    truth = {path: true for path, true in records.truth.items() if path.endswith(AHEAD)}
    assert len(truth) > 14
    for what, parts in (
        ("part", (slice(0, 5), slice(5, None), slice(None, None, 3))),
        ("one", [slice(index, index + 1) for index in range(RECORDS)]),
    ):
        for which in parts:
            told(
                f"batch::AheadRecords::{what}",
                "readings straight ahead of cars of the engine",
                pairs_of(read(which), truth),
            )


def test_poses_of_a_station() -> None:
    """Quaternions and rotation vectors by SciPy, as the arrays of records have them."""
    rng = np.random.default_rng(5)
    at, turns = rng.uniform(-3e3, 3e3, (4, 3)), Rotation.random(4, rng=rng)
    forms = (
        {"quaternion_wxyz": turns[0].as_quat(scalar_first=True).tolist()},
        {"rotation_vector_rad": turns[1].as_rotvec().tolist()},
        {"rotation": turns[2].as_matrix().tolist()},
    )
    station = {
        wheel: form | {"translation_mm": place.tolist()}
        for wheel, form, place in zip(WHEELS, forms, at, strict=False)
    }
    session = Session.from_json(
        {
            "format": "alignment-session/1",
            "up": [0, 0, 1],
            "clamp_standoff_mm": dict.fromkeys(WHEELS, 90.0),
            "rolling": [],
            "ahead": station,
        }
    )
    found = session.to_arrays()["ahead"]
    assert np.isnan(found[3]).all()
    hold(
        "batch::poses_of",
        against="SciPy RigidTransform",
        quantity="matrices of a station told in three forms",
        off=(found - RigidTransform.from_components(at, turns).as_matrix())[:3],
        allowed=4e-15,
        unit="1",
        why="rounding of rotations; translations are handed through",
    )
