"""The numpy and SciPy peers of benches/peers: they read cars as the library does.

The peers share no line with the library, and the cars come from a forward model of
their own: each checks the other.
"""

import sys
from operator import attrgetter
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
import wheel_alignment

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "benches" / "peers"))

import cars
import readings_numpy
import readings_tuned
import sessions_numpy
import sessions_tuned

TURN_NOT_REACHED = {"turn_not_reached"}
# What a number of radians or mm in the data is worth, times some thousand roundings.
TOLERANCE = 1e-9


@pytest.mark.parametrize("peer", ["sessions_numpy", "sessions_tuned", "sessions_scipy"])
def test_a_peer_reads_whole_sessions_as_the_library_does(peer: str) -> None:
    module: ModuleType = pytest.importorskip(peer, reason="it needs SciPy")
    sessions = cars.sessions(40, seed=1)
    readings = module.measure(
        sessions.rolling,
        sessions.ahead,
        sessions.sweep,
        sessions.up,
        sessions.clamp_standoff_mm,
        sessions.loaded_radius_mm,
    )
    assert len(readings) >= 79
    for record in range(40):
        measured = wheel_alignment.measure(cars.session_of(sessions, record))
        # Some sweeps do not reach 20°; nothing else is weak.
        assert {warning.code for warning in measured.warnings} <= TURN_NOT_REACHED
        for path, values in readings.items():
            expected = attrgetter(path)(measured.alignment)
            expected = np.nan if expected is None else expected
            np.testing.assert_allclose(
                values[record], expected, rtol=0, atol=TOLERANCE, err_msg=path
            )


@pytest.mark.parametrize("peer", [readings_numpy, readings_tuned])
def test_a_peer_reads_cars_straight_ahead_as_the_library_does(peer: ModuleType) -> None:
    stands = cars.stands(40, seed=2)
    readings = peer.ahead_readings(
        stands.poses,
        stands.spindle_in_target,
        stands.centre_in_target_mm,
        stands.rolling_radius_mm,
        stands.up,
    )
    library = wheel_alignment.batch.ahead_readings(
        stands.poses,
        compensation={
            "spindle_in_target": stands.spindle_in_target,
            "centre_in_target_mm": stands.centre_in_target_mm,
            "rolling_radius_mm": stands.rolling_radius_mm,
        },
        up=stands.up,
    )
    assert set(readings) == {path.split("[")[0] for path in library.paths}
    for path, values in readings.items():
        np.testing.assert_allclose(
            values, library[path], rtol=0, atol=TOLERANCE, err_msg=path
        )


def test_the_plain_and_the_tuned_peer_give_the_same_readings() -> None:
    sessions = [*vars(cars.sessions(2, seed=4)).values()]
    assert set(sessions_numpy.measure(*sessions)) == set(
        sessions_tuned.measure(*sessions)
    )


@pytest.mark.parametrize("peer", [sessions_numpy, sessions_tuned])
def test_the_peer_finds_turns_wherever_the_stations_stand(peer: ModuleType) -> None:
    # Without a station straight ahead, with few stations, and too short a sweep.
    for sweep_deg in (
        [-22.0, -14.0, -6.0, 5.0, 12.0, 23.0],
        [-20.0, 0.0, 20.0],
        [-9, 9],
    ):
        sessions = cars.sessions(5, seed=3, sweep_deg=np.array(sweep_deg, float))
        readings = peer.measure(
            sessions.rolling,
            sessions.ahead,
            sessions.sweep,
            sessions.up,
            sessions.clamp_standoff_mm,
            sessions.loaded_radius_mm,
        )
        for record in range(5):
            turns = wheel_alignment.measure(cars.session_of(sessions, record)).alignment
            for path in (path for path in readings if path.startswith("turns.")):
                expected = attrgetter(path)(turns)
                expected = np.nan if expected is None else expected
                np.testing.assert_allclose(
                    readings[path][record], expected, rtol=0, atol=TOLERANCE
                )
