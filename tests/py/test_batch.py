"""Batches of records: arrays in, arrays out, watched, stopped, on any number of cores."""

import os
import pickle
import signal
import subprocess
import sys
import threading
import time
from typing import Any

import numpy as np
import pytest
import wheel_alignment
from numpy.typing import NDArray
from wheel_alignment import (
    ErrorCode,
    NotFiniteError,
    NotUnitLengthError,
    Session,
    UnknownReadingError,
    batch,
    compensation,
)
from wheel_alignment.error import WarningCode
from wheel_alignment.paths import READINGS
from wheel_alignment.simulate import VirtualVehicle

Floats = NDArray[np.float64]
WHEELS = ("fl", "fr", "rl", "rr")
RECORDS = 9_000
"""More than two parts of the work, and no whole number of registers."""


def stack(count: int) -> dict[str, Any]:
    """Sessions of as many virtual cars, as the arguments of `batch.measure`."""
    sessions = [VirtualVehicle.random(seed).session() for seed in range(count)]
    keys = [session.to_dict() for session in sessions]
    poses = [session.to_arrays() for session in sessions]
    stages = ("rolling", "ahead", "sweep", "lock_left", "lock_right")
    standoffs: Any = [key["clamp_standoff_mm"] for key in keys]
    return {stage: np.stack([one[stage] for one in poses]) for stage in stages} | {
        "up": np.array([key["up"] for key in keys]),
        "clamp_standoff_mm": np.array([[s[w] for w in WHEELS] for s in standoffs]),
        "sweep_wheels_locked": True,
    }


def stands(count: int) -> dict[str, Any]:
    """One car, seen so often by cameras that scatter, for `batch.ahead_readings`."""
    session = VirtualVehicle().session()
    poses = session.to_arrays()
    seen = np.repeat(poses["ahead"][None], count, axis=0)
    seen[..., :3, 3] += np.random.default_rng(1).normal(0.0, 0.05, (count, 4, 3))
    clamps = compensation.from_rolling(
        poses["rolling"], up=[0, 0, 1], clamp_standoff_mm=session.clamp_standoff_mm
    )
    return {"poses": seen, "compensation": clamps, "up": [0, 0, 1]}


def same(one: batch.Readings, other: batch.Readings) -> bool:
    """Whether two batches have the same bits."""
    both = zip(
        (one.numbers, one.codes, one.warnings),
        (other.numbers, other.codes, other.warnings),
        strict=True,
    )
    return one.paths == other.paths and all(a.tobytes() == b.tobytes() for a, b in both)


def test_a_session_has_the_bits_that_it_has_by_itself() -> None:
    given = stack(12)
    readings = batch.measure(**given)
    assert readings.records == 12
    assert readings.paths == READINGS
    for record in range(12):
        keys = {
            key: value if key == "sweep_wheels_locked" else value[record]
            for key, value in given.items()
        }
        alone = wheel_alignment.measure(Session.from_arrays(**keys))
        assert readings.record(record) == alone.alignment
        bits = 0
        for warning in alone.warnings:
            bits |= 1 << (WarningCode[warning.code] - 1)
        assert readings.warnings[record] == bits


@pytest.mark.parametrize("threads", [1, 2, 3, 16])
def test_the_bits_do_not_depend_on_the_threads(threads: int) -> None:
    given = stands(RECORDS)
    one = batch.ahead_readings(**given, threads=1)
    assert same(batch.ahead_readings(**given, threads=threads), one)
    sessions = stack(40)
    some = {
        key: np.concatenate([value] * 15)
        for key, value in sessions.items()
        if key != "sweep_wheels_locked"
    }
    whole = batch.measure(**some, sweep_wheels_locked=True, threads=1)
    again = batch.measure(**some, sweep_wheels_locked=True, threads=threads)
    assert same(again, whole)


def test_other_layouts_are_converted_and_change_nothing() -> None:
    given = stands(50)
    poses: Floats = given.pop("poses")
    plain = batch.ahead_readings(poses, **given)
    frozen = poses.copy()
    frozen.flags.writeable = False
    for other in (
        np.asfortranarray(poses),
        poses[::-1].copy()[::-1],
        poses.astype(">f8"),
        poses.tolist(),
        frozen,
        poses[..., :3, :],
    ):
        assert same(batch.ahead_readings(other, **given), plain)
    single = batch.ahead_readings(poses.astype(np.float32), **given)
    assert np.allclose(single["wheels.fl.camber_deg"], -0.5, atol=1e-3)


def test_a_record_that_is_refused_keeps_its_place_or_raises_with_its_index() -> None:
    given = stands(30)
    given["poses"][17, 2, 0, 0] = np.nan
    readings = batch.ahead_readings(**given)
    assert np.flatnonzero(readings.codes).tolist() == [17]
    assert readings.codes[17] == ErrorCode.not_finite
    assert np.isnan(readings.numbers[:, 17]).all()
    assert not np.isnan(readings["chassis.thrust_angle_deg"][:17]).any()
    with pytest.raises(NotFiniteError) as caught:
        batch.ahead_readings(**given, on_error="raise")
    assert (caught.value.index, caught.value.wheel) == ((17,), "rl")

    sessions = stack(5)
    sessions["up"][3] = (0, 0, 2)
    assert batch.measure(**sessions).codes.tolist() == [0, 0, 0, -4, 0]
    with pytest.raises(NotUnitLengthError) as unit:
        batch.measure(**sessions, on_error="raise")
    assert unit.value.index == (3,)


def test_a_wheel_that_was_not_seen_is_absent_and_warned_of() -> None:
    given = stack(3)
    given["ahead"][1, 3] = np.nan
    readings = batch.measure(**given)
    camber = readings["wheels.rr.camber_deg"]
    assert np.isnan(camber).tolist() == [False, True, False]
    assert readings.codes.tolist() == [0, 0, 0]
    assert readings.warnings[1] & 1 << (WarningCode["wheel_blocked"] - 1)


def test_readings_that_are_wanted_come_in_their_order() -> None:
    given = stands(10)
    wanted = ("chassis.thrust_angle_deg", "wheels.fl.runout_deg", "wheels.rr.toe_deg")
    readings = batch.ahead_readings(**given, readings=wanted)
    assert (readings.paths, tuple(readings), len(readings)) == (wanted, wanted, 3)
    assert readings.numbers.shape == (3, 10)
    runout_deg = given["compensation"].wheels.fl.runout_deg
    assert readings["wheels.fl.runout_deg"].tolist() == [runout_deg] * 10
    with pytest.raises(UnknownReadingError):
        batch.ahead_readings(**given, readings=["wheels.fl.chamber_deg"])
    with pytest.raises(TypeError, match="sequence of paths"):
        batch.ahead_readings(**given, readings="wheels.fl.camber_deg")
    with pytest.raises(KeyError, match="was not asked for"):
        readings["wheels.fl.camber_deg"]


def test_vectors_and_the_tree_are_views() -> None:
    readings = batch.ahead_readings(**stands(10))
    centre = readings["wheels.fl.centre_mm"]
    assert centre.shape == (10, 3)
    assert np.shares_memory(centre, readings.numbers)
    front: Any = readings.alignment.axles
    assert front.front.track_mm is not None
    assert np.shares_memory(front.front.track_mm, readings.numbers)
    assert "thrust_angle_deg" in dir(readings.alignment.chassis)
    assert readings.alignment.steering.left.caster_deg is None  # type: ignore[union-attr]
    with pytest.raises(AttributeError, match="there is no reading"):
        _ = readings.alignment.colour


def test_tables_hold_every_column() -> None:
    readings = batch.ahead_readings(**stands(10))
    columns = [*readings.paths, "code", "warnings"]
    frame, polar, arrow = (
        readings.to_pandas(),
        readings.to_polars(),
        readings.to_arrow(),
    )
    assert list(frame.columns) == polar.columns == arrow.column_names == columns
    for path in readings:
        assert frame[path].to_numpy().tobytes() == readings[path].tobytes()
        assert polar[path].to_numpy().tobytes() == readings[path].tobytes()
        assert arrow[path].to_numpy().tobytes() == readings[path].tobytes()
    assert same(pickle.loads(pickle.dumps(readings)), readings)


@pytest.mark.parametrize("count", [0, 1, 7, RECORDS])
def test_progress_adds_up(count: int) -> None:
    told: list[int] = []
    readings = batch.ahead_readings(**stands(count), progress=told.append)
    assert (sum(told), readings.records) == (count, count)
    assert all(told)


def test_arrays_are_written_again_with_the_same_bits() -> None:
    given = stands(RECORDS)
    first = batch.ahead_readings(**given)
    expected = first.numbers.copy()
    first.numbers[:], first.codes[:], first.warnings[:] = 1.5, 7, 9
    again = batch.ahead_readings(**given, out=first)
    assert again is first
    np.testing.assert_array_equal(again.numbers, expected)
    assert not again.codes.any() and not again.warnings.any()
    sessions = stack(5)
    measured = batch.measure(**sessions)
    expected = measured.numbers.copy()
    measured.numbers[:] = 0.0
    np.testing.assert_array_equal(
        batch.measure(**sessions, out=measured).numbers, expected
    )


def test_arrays_of_other_results_are_not_written() -> None:
    given = stands(5)
    few = batch.ahead_readings(**given, readings=["axles.front.track_mm"])
    with pytest.raises(ValueError, match="58 readings of 5 records"):
        batch.ahead_readings(**given, out=few)
    with pytest.raises(ValueError, match="not 58 of 4"):
        batch.ahead_readings(**given, out=batch.ahead_readings(**stands(4)))
    wrong: Any = {}
    with pytest.raises(TypeError, match="Readings are needed, not dict"):
        batch.ahead_readings(**given, out=wrong)
    whole = batch.ahead_readings(**given)
    whole.numbers.flags.writeable = False
    with pytest.raises(TypeError, match="not writeable"):
        batch.ahead_readings(**given, out=whole)


def test_what_the_progress_raises_ends_the_work() -> None:
    class Enough(Exception):
        pass

    def refuse(done: int) -> None:
        raise Enough(done)

    given = stack(20)
    stages = ("rolling", "ahead", "sweep")
    many = {key: np.concatenate([given[key]] * 200) for key in (*stages, "up")}
    begun = threading.active_count()
    with pytest.raises(Enough):
        batch.measure(
            **many, clamp_standoff_mm=90, sweep_wheels_locked=True, progress=refuse
        )
    assert threading.active_count() == begun


@pytest.mark.skipif(os.name == "nt", reason="there is no SIGINT to a process alone")
def test_an_interrupt_ends_the_work() -> None:
    program = """
import numpy as np
from wheel_alignment import batch
from wheel_alignment.simulate import VirtualVehicle
poses = VirtualVehicle().session().to_arrays()
many = {key: np.repeat(poses[key][None], 60_000, axis=0) for key in ("rolling", "ahead")}
print("begun", flush=True)
for _ in range(1000):
    batch.measure(**many, up=[0, 0, 1], clamp_standoff_mm=90)
"""
    with subprocess.Popen(
        [sys.executable, "-c", program], stdout=subprocess.PIPE, stderr=subprocess.PIPE
    ) as running:
        assert running.stdout is not None
        assert running.stderr is not None
        running.stdout.readline()
        time.sleep(0.5)
        running.send_signal(signal.SIGINT)
        running.wait(timeout=30)
        assert "KeyboardInterrupt" in running.stderr.read().decode()


def test_other_threads_of_python_go_on() -> None:
    given = stands(200_000)
    count, ended = 0, threading.Event()

    def go_on() -> None:
        nonlocal count
        while not ended.is_set():
            count += 1
            time.sleep(0.001)

    beside = threading.Thread(target=go_on)
    beside.start()
    before = count
    batch.ahead_readings(**given, threads=1)
    during = count - before
    ended.set()
    beside.join()
    assert during > 0


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"poses": np.zeros((3, 4, 4))}, r"\(3, 4, 4\)"),
        ({"poses": np.zeros((3, 3, 4, 4))}, r"\(3, 3, 4, 4\)"),
        ({"up": np.zeros((7, 3))}, r"\(7, 3\)"),
        ({"threads": 0}, "1 to 1024"),
        ({"on_error": "ignore"}, "'ignore'"),
        ({"compensation": {"spindle": 1}}, "unknown key 'spindle'"),
        ({"loaded_radius_mm": {"middle": 300}}, "unknown axle 'middle'"),
        ({"centreline": "rear"}, "rear"),
    ],
)
def test_what_does_not_fit_is_refused_by_its_name(
    change: dict[str, Any], message: str
) -> None:
    with pytest.raises(ValueError, match=message):
        batch.ahead_readings(**(stands(5) | change))


def test_stages_of_different_lengths_are_refused() -> None:
    given = stack(3)
    given["sweep"] = given["sweep"][:2]
    with pytest.raises(ValueError, match="sweep: 2 records, but ahead has 3"):
        batch.measure(**given)
