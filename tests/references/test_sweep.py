"""The sweep: a body that moves in it, and the axis from station to station.

Cars in two rigid-body engines. The truth is that of a body that stands still. The
axis between neighbouring stations is this project's own definition.
"""

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from agreement import ANGLE_DEG, assert_true
from conftest import STATED, Measure, Read
from engine import STEERED, Bay, Car, Matrix, Procedure, Session, pose
from random_cars import random_setup, with_moving_body
from sightings import STATIONS, without
from truth import Readings, measure_in_engine, swept_deg

# Rear wheels that roll show where the line between them went, but not how the body
# pitched about it; a roll after a yaw pitches it by half their product.
ROLLED_DEG = 1e-3


def moving(
    seed: int,
    how: str,
    *,
    body: str | None = "found_again",
    wheels_locked: bool = True,
    method: str = "staged",
) -> tuple[Car, Procedure]:
    car, procedure = random_setup(seed, wheels_locked=wheels_locked, method=method)
    rng = np.random.default_rng(seed)
    return car, with_moving_body(rng, car, procedure, how, body)


def codes(result: dict[str, Any]) -> set[str]:
    return {warning["code"] for warning in result["warnings"]}


# --------------------------------------------------------------------------------------
# The body


@pytest.mark.parametrize("how", ["smooth", "random"])
@pytest.mark.parametrize("seed", range(500, 515))
def test_body_that_moves_is_found_again(
    read: Read, seed: int, how: str, method: str, engine: str
) -> None:
    session, true, _ = measure_in_engine(
        *moving(seed, how, method=method), engine=engine
    )
    assert_true(read(session), true, against=engine)


@pytest.mark.parametrize("seed", range(515, 520))
def test_body_found_again_is_no_warning(
    measure: Measure, seed: int, method: str, engine: str
) -> None:
    session = measure_in_engine(
        *moving(seed, "random", method=method), engine=engine
    ).session
    assert "body_moved" not in codes(measure(session))


@pytest.mark.parametrize("seed", range(520, 525))
def test_body_that_stands_still_may_be_found_again(
    read: Read, seed: int, method: str, engine: str
) -> None:
    car, procedure = moving(seed, "random", method=method)
    session, true, _ = measure_in_engine(car, still(procedure), engine=engine)
    assert_true(read(session), true, against=engine)


def still(procedure: Procedure) -> Procedure:
    return replace(procedure, sweep_shift=None, lock_shift={})


@pytest.mark.parametrize("body", ["still", None])
@pytest.mark.parametrize("seed", range(525, 530))
def test_body_taken_to_stand_still_is_warned_of(
    measure: Measure, read: Read, seed: int, body: str | None, method: str, engine: str
) -> None:
    setup = moving(seed, "random", body=body, method=method)
    session, true, _ = measure_in_engine(*setup, engine=engine)
    result = measure(session | {"pose_noise": STATED})
    assert "body_moved" in codes(result)
    if method == "joint":
        assert result["fit"]["p_value"] < 1e-9
    found = read(session)
    for side in STEERED:
        off = found[f"steering.{side}.caster_deg"] - true[f"steering.{side}.caster_deg"]
        assert abs(off) > 0.01


@pytest.mark.parametrize("how", ["smooth", "random"])
@pytest.mark.parametrize("seed", range(530, 540))
def test_body_is_found_again_on_wheels_that_roll(
    read: Read, seed: int, how: str, engine: str
) -> None:
    """The rear wheels turn on their spindles; the body does not pitch."""
    session, true, _ = measure_in_engine(
        *moving(seed, how, wheels_locked=False), engine=engine
    )
    found = read(session)
    for side in STEERED:
        # SAI rests on the sagitta of the sweep, which multiplies errors tenfold and more.
        for name, within_deg in (("caster_deg", ROLLED_DEG), ("sai_deg", 0.1)):
            path = f"steering.{side}.{name}"
            assert found[path] == pytest.approx(true[path], rel=0, abs=within_deg)
    steered = ("steering.", "turns.")
    straight = {path: true[path] for path in true if not path.startswith(steered)}
    assert_true(found, straight, against=engine)


@pytest.mark.parametrize("how", ["smooth", "random"])
@pytest.mark.parametrize("seed", range(530, 540))
def test_one_fit_finds_the_body_on_wheels_that_roll(
    read: Read, seed: int, how: str, engine: str
) -> None:
    """Even how it pitches, which the front wheels show on their axes."""
    setup = moving(seed, how, wheels_locked=False, method="joint")
    session, true, _ = measure_in_engine(*setup, engine=engine)
    assert_true(read(session), true, against=engine)


@pytest.mark.parametrize("wheel", ["rl", "rr"])
@pytest.mark.parametrize("seed", range(540, 543))
def test_body_is_found_again_by_one_rear_wheel(
    read: Read, seed: int, wheel: str, method: str, engine: str
) -> None:
    session, true, _ = measure_in_engine(
        *moving(seed, "random", method=method), engine=engine
    )
    seen = without(session, "sweep", wheel, slice(1, 3), as_null=bool(seed % 2))
    assert_true(read(seen), true, against=engine)


def put_back(session: Session, wheel: str) -> Session:
    """The sweep of a body that is put back by the target of one rear wheel."""
    ahead = session["ahead"][wheel]

    def back(station: dict[str, Any]) -> dict[str, Any]:
        turn = np.array(ahead["rotation"]) @ np.transpose(station[wheel]["rotation"])
        to = np.array(ahead["translation_mm"])
        at = np.array(station[wheel]["translation_mm"])
        return {
            name: moved(turn, to - turn @ at, seen) for name, seen in station.items()
        }

    changed = {key: value for key, value in session.items() if key != "sweep_body"}
    changed["sweep"] = [back(station) for station in session["sweep"]]
    for lock in session.keys() & set(STATIONS) - {"ahead"}:
        changed[lock] = back(session[lock])
    return changed


def moved(turn: Matrix, shift_mm: np.ndarray, seen: dict[str, Any]) -> dict[str, Any]:
    return pose(
        turn @ np.array(seen["rotation"]),
        turn @ np.array(seen["translation_mm"]) + shift_mm,
    )


@pytest.mark.parametrize("wheel", ["rl", "rr"])
@pytest.mark.parametrize("seed", range(500, 505))
def test_body_put_back_by_hand_reads_the_same(
    read: Read, seed: int, wheel: str, method: str, engine: str
) -> None:
    session, true, _ = measure_in_engine(
        *moving(seed, "random", method=method), engine=engine
    )
    assert_true(read(put_back(session, wheel)), true)


# --------------------------------------------------------------------------------------
# The axis between neighbouring stations


def neighbours(steer_deg: list[float]) -> Iterator[tuple[int, int]]:
    order = np.argsort(steer_deg).tolist()
    return zip(order, order[1:], strict=False)


def assert_axes_true(
    result: dict[str, Any], true: Readings, swept: dict[str, list[float]]
) -> None:
    for side in STEERED:
        entries = result["instantaneous_axes"][side]
        by_stations = {frozenset(entry["stations"]): entry for entry in entries}
        expected = list(neighbours(swept[side]))
        assert len(entries) == len(expected)
        assert by_stations.keys() == {frozenset(pair) for pair in expected}
        for i, j in expected:
            entry = by_stations[frozenset((i, j))]
            truth = {
                "steer_deg": (swept[side][i] + swept[side][j]) / 2,
                "caster_deg": true[f"steering.{side}.caster_deg"],
                "sai_deg": true[f"steering.{side}.sai_deg"],
            }
            for name, value in truth.items():
                assert entry[name] == pytest.approx(value, rel=0, abs=ANGLE_DEG), name


@pytest.mark.parametrize("seed", range(550, 560))
def test_axis_between_neighbouring_stations(
    measure: Measure, seed: int, method: str, engine: str
) -> None:
    car, procedure = random_setup(seed, method=method)
    session, true, _ = measure_in_engine(car, procedure, engine=engine)
    assert_axes_true(measure(session), true, swept_deg(car, procedure, engine))


@pytest.mark.parametrize("seed", range(560, 565))
def test_axis_between_stations_of_a_body_found_again(
    measure: Measure, seed: int, method: str, engine: str
) -> None:
    car, procedure = moving(seed, "random", method=method)
    session, true, _ = measure_in_engine(car, procedure, engine=engine)
    assert_axes_true(measure(session), true, swept_deg(car, procedure, engine))


@pytest.mark.parametrize("seed", range(565, 568))
def test_wheels_that_roll_show_no_axis_between_stations(
    measure: Measure, seed: int, method: str, engine: str
) -> None:
    setup = random_setup(seed, wheels_locked=False, method=method)
    session = measure_in_engine(*setup, engine=engine).session
    axes = measure(session)["instantaneous_axes"]
    assert axes == {"left": [], "right": []}


@pytest.mark.parametrize("seed", range(550, 553))
def test_reference_steers_as_it_is_told(seed: int, engine: str) -> None:
    """The reference itself: range and ends of the sweep are those of the readings."""
    car, procedure = random_setup(seed)
    true = measure_in_engine(car, procedure, engine=engine).readings
    swept = swept_deg(car, procedure, engine)
    mean = np.mean([swept["left"], swept["right"]], axis=0)
    assert np.ptp(mean) == pytest.approx(true["steering.sweep_range_deg"])
    assert np.argsort(mean).tolist() == np.argsort(procedure.sweep_steer_deg).tolist()


@pytest.mark.parametrize("seed", range(530, 533))
def test_reference_rolls_its_rear_wheels_by_the_slide(seed: int, engine: str) -> None:
    """The reference itself: beside wheels that are held, by the way along the car."""
    car, procedure = moving(seed, "random", wheels_locked=False)
    forward = measure_in_engine(car, procedure, engine=engine).vehicle_from_rig[0]
    free, held = (
        Bay(car, replace(procedure, wheels_locked=locked), engine)
        for locked in (False, True)
    )
    for wheel, side in (("rl", 1), ("rr", -1)):
        held.stand_ahead()
        before = held.engine.spindle(wheel).point
        for bay in (free, held):
            bay.steer_to(0.0, procedure.ahead_roll_deg, procedure.sweep_shift[0])
        spindle = held.engine.spindle(wheel)
        turn = free.engine.target(wheel)[0] @ held.engine.target(wheel)[0].T
        angle = (spindle.point - before) @ forward / car.rolling_radius_mm["rear"]
        assert abs(angle) > 1e-4
        assert Rotation.from_matrix(turn).as_rotvec() == pytest.approx(
            side * spindle.direction * angle, rel=0, abs=1e-12
        )
