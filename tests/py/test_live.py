"""Live readings: a virtual car that is steered, hidden, adjusted, lifted, knocked."""

from typing import Any

import pytest
import wheel_alignment
from conftest import Tree
from wheel_alignment import compensation, measure
from wheel_alignment.live import Flags, Tracker
from wheel_alignment.simulate import VirtualVehicle

CLEAN = Flags(held=False, stale=False, weak=False)


def car(**other: Any) -> VirtualVehicle:
    return VirtualVehicle(roll_deg=(0.0,), lock_deg=None, **other)


def steered(steer_deg: float, **other: Any) -> Tree:
    """What the cameras see of the default car, or another, steered by so much."""
    session = car(sweep_deg=(steer_deg,), **other).session()
    sweep: Tree = session.to_dict()["sweep"][0]
    return sweep


def test_a_frame_reads_as_the_session_and_steered_wheels_are_referred_back() -> None:
    session = VirtualVehicle().session()
    tracker, expected = Tracker(session), measure(session).alignment
    before = tracker.readings()
    assert before.time_s is None
    assert before.lag_s.fl is None
    assert before.flags.of("wheels.fl.camber_deg").stale
    now = tracker.frame(0.0, session.ahead)
    assert now.flags.of("chassis.thrust_angle_deg") == CLEAN
    for wheel in ("fl", "fr", "rl", "rr"):
        path = f"wheels.{wheel}.camber_deg"
        assert now.alignment.get(path) == pytest.approx(expected.get(path), abs=1e-9)
    for steer_deg in (-15.0, 7.0, 15.0):
        now = tracker.frame(steer_deg + 20.0, steered(steer_deg))
        assert now.flags.vehicle == CLEAN
        for path in ("wheels.fl.camber_deg", "wheels.fr.toe_deg"):
            assert now.alignment.get(path) == pytest.approx(
                expected.get(path), abs=0.01
            )
    assert tracker.readings() == now


def test_what_is_hidden_is_held_then_stale() -> None:
    tracker = Tracker(VirtualVehicle().session(), held_after_s=0.2)
    tracker.frame(0.0, steered(0.0))
    for time_s, held, stale in (
        (0.1, False, False),
        (0.5, True, False),
        (2, True, True),
    ):
        now = tracker.frame(time_s, {**steered(0.0), "rr": None})
        flags = now.flags.of("wheels.rr.camber_deg")
        assert (flags.held, flags.stale) == (held, stale)
        assert now.flags.of("wheels.fl.camber_deg") == CLEAN
        assert now.lag_s.rr == pytest.approx(time_s)


def test_what_is_adjusted_lifted_and_knocked() -> None:
    session = VirtualVehicle().session()
    tracker = Tracker(session, steering="held")
    tracker.frame(0.0, steered(0.0))
    tracker.adjust("rl")
    tilted = VirtualVehicle().rear.left
    bent = {**steered(0.0), "rl": steered(0.0, rear=_with_camber(-1.5))["rl"]}
    assert tilted.camber_deg == -1.0
    now = tracker.frame(1.0, bent)
    assert now.alignment.wheels.rl.camber_deg == pytest.approx(-1.5, abs=1e-9)
    tracker.lift()
    now = tracker.frame(1.1, bent)
    assert now.flags.of("wheels.rl.camber_deg").held
    tracker.lifted()
    tracker.lowered()
    tracker.adjust(())
    tracker.steer("free")
    # The right target is on the left wheel.
    wrong = {**bent, "fl": bent["fr"]}
    for frame in range(3):
        now = tracker.frame(2.0 + frame, wrong)
    assert now.knocked.fl
    assert now.alignment.wheels.fl.camber_deg is None
    poses = session.to_arrays()
    clamps = compensation.from_rolling(
        poses["rolling"], up=session.up or (0, 0, 1), clamp_standoff_mm=90
    )
    tracker.compensate("fl", clamps.all_wheels().fl)
    now = tracker.frame(6.0, bent)
    assert not now.knocked.fl
    assert now.alignment.wheels.fl.camber_deg == pytest.approx(-0.5, abs=1e-9)


def _with_camber(camber_deg: float) -> Any:
    import dataclasses

    rear = VirtualVehicle().rear
    left = dataclasses.replace(rear.left, camber_deg=camber_deg)
    return dataclasses.replace(rear, left=left)


def test_what_does_not_fit_is_refused_by_its_name() -> None:
    session = VirtualVehicle().session()
    tracker = Tracker(session)
    now = tracker.frame(1.0, session.ahead)
    with pytest.raises(wheel_alignment.OutOfRangeError, match="time_s"):
        tracker.frame(0.5, session.ahead)
    broken = steered(0.0)
    broken["fr"]["translation_mm"] = [float("inf"), 0, 0]
    with pytest.raises(wheel_alignment.NotFiniteError) as caught:
        tracker.frame(2.0, broken)
    assert caught.value.wheel == "fr"
    assert tracker.readings() == now
    with pytest.raises(ValueError, match="one pose"):
        tracker.frame(2.0, {"fl": [session.ahead.fl[0]] * 2})
    with pytest.raises(wheel_alignment.UnknownReadingError):
        now.flags.of("wheels.fl.camber")
    with pytest.raises(ValueError, match="'xx'"):
        tracker.adjust(["xx"])
    wrong: Any = "loose"
    with pytest.raises(ValueError, match="loose"):
        tracker.steer(wrong)
    with pytest.raises(wheel_alignment.OutOfRangeError, match="smoothing_s"):
        Tracker(session, smoothing_s=-1.0)
    with pytest.raises(ValueError, match="loose"):
        Tracker(session, steering=wrong)
    clamp = compensation.Compensation((0, 0, 3), (0, 0, 0), 0.0, None, 30.0)
    with pytest.raises(wheel_alignment.NotUnitLengthError):
        tracker.compensate("rr", clamp)
