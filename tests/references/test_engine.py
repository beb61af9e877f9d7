"""Every reading of cars built at random in two rigid-body engines."""

import copy
from dataclasses import replace

import numpy as np
import pytest

from agreement import assert_same, assert_true
from conftest import STATED, Measure, Read
from engine import (
    AXLE_OF_WHEEL,
    ENGINES,
    POSE_FORMS,
    SIDE_OF_WHEEL,
    WHEELS,
    Car,
    Procedure,
    SteeringAxis,
    Wheel,
    quaternion,
)
from random_cars import random_clamp, random_measured, random_setup
from truth import measure_in_engine


@pytest.mark.parametrize("seed", range(25))
def test_car_swept_with_locked_wheels(
    read: Read, seed: int, method: str, engine: str
) -> None:
    session, true, _ = random_measured(
        seed, pose_form=POSE_FORMS[seed % 3], method=method, engine=engine
    )
    assert_true(read(session), true, against=engine)


@pytest.mark.parametrize("seed", range(100, 110))
def test_car_swept_with_free_wheels(
    read: Read, seed: int, method: str, engine: str
) -> None:
    session, true, _ = random_measured(
        seed,
        wheels_locked=False,
        pose_form=POSE_FORMS[seed % 3],
        method=method,
        engine=engine,
    )
    assert_true(read(session), true, against=engine)


@pytest.mark.parametrize("seed", range(25))
def test_what_was_not_captured_is_absent(
    read: Read, seed: int, method: str, engine: str
) -> None:
    session, true, _ = random_measured(seed, method=method, engine=engine)
    optional = {
        path
        for path in read(session)
        if path.startswith("turns.") or path.endswith("_to_body_deg")
    }
    assert optional == {
        path
        for path in true
        if path.startswith("turns.") or path.endswith("_to_body_deg")
    }


@pytest.mark.parametrize("seed", range(5))
def test_three_forms_of_a_pose_give_the_same_readings(
    read: Read, seed: int, method: str, engine: str
) -> None:
    by_matrix, by_quaternion, by_vector = (
        read(
            random_measured(seed, pose_form=form, method=method, engine=engine).session
        )
        for form in POSE_FORMS
    )
    assert by_matrix.keys() == by_quaternion.keys() == by_vector.keys()
    for path, value in by_matrix.items():
        assert by_quaternion[path] == pytest.approx(value, rel=0, abs=1e-8), path
        assert by_vector[path] == pytest.approx(value, rel=0, abs=1e-8), path


@pytest.mark.parametrize("as_null", [False, True])
@pytest.mark.parametrize("wheel", WHEELS)
def test_camera_blocked_at_one_rolling_station(
    read: Read, wheel: str, as_null: bool, method: str, engine: str
) -> None:
    seen, true, _ = random_measured(3, method=method, engine=engine)
    assert len(seen["rolling"]) >= 4
    session = copy.deepcopy(seen)
    if as_null:
        session["rolling"][1][wheel] = None
    else:
        del session["rolling"][1][wheel]
    assert_true(read(session), true, against=engine)


@pytest.mark.parametrize("seed", range(200, 210))
def test_a_rack_turned_before_the_ahead_station_is_no_rigid_car(
    measure: Measure, seed: int, engine: str
) -> None:
    """The joint method says so. What else `untouched` undoes is farther off still."""
    car, procedure = random_setup(seed, method="joint")
    for turned_deg, fits in ((0.0, True), (0.2, False)):
        steer_deg = procedure.rolling_steer_deg + turned_deg
        touched = replace(procedure, ahead_steer_deg=steer_deg)
        session = measure_in_engine(car, touched, engine=engine).session
        result = measure(session | {"pose_noise": STATED})
        p_value = result["fit"]["p_value"]
        assert p_value > 1.0 - 1e-9 if fits else p_value < 1e-9
        named = {
            warning["wheel"]
            for warning in result["warnings"]
            if warning["code"] == "ahead_disagrees"
        }
        assert named == (set() if fits else {"fl", "fr"})


@pytest.mark.parametrize("seed", range(10))
def test_the_two_engines_agree(seed: int) -> None:
    """The reference itself: they share the description of the car, and nothing else."""
    one, other = (random_measured(seed, engine=engine) for engine in ENGINES)
    assert_same(other.readings, one.readings)
    for stage in ("rolling", "sweep"):
        seen, again = (of.session[stage] for of in (one, other))
        for here, there in zip(seen, again, strict=True):
            for wheel, pose in here.items():
                for part, value in pose.items():
                    assert there[wheel][part] == pytest.approx(
                        np.array(value), rel=0, abs=1e-11
                    )


def test_engine_gives_back_what_went_in(engine: str) -> None:
    """The reference itself, where its readings are plain: square, level, straight."""
    rng = np.random.default_rng(7)
    camber = {"fl": -1.0, "fr": -0.5, "rl": 0.25, "rr": -0.75}
    toe = {"fl": 0.1, "fr": 0.1, "rl": 0.2, "rr": 0.2}
    car = Car(
        wheels={
            name: Wheel(
                centre_mm=np.array(
                    [
                        2600.0 if AXLE_OF_WHEEL[name] == "front" else 0.0,
                        side * 750.0,
                        300.0,
                    ]
                ),
                camber_deg=camber[name],
                toe_deg=toe[name],
                clamp=random_clamp(rng),
            )
            for name, side in SIDE_OF_WHEEL.items()
        },
        steering={
            "left": SteeringAxis.from_angles(
                1, 4.0, 12.0, np.array([2590.0, 680.0, 310.0])
            ),
            "right": SteeringAxis.from_angles(
                -1, 3.0, 13.0, np.array([2590.0, -680.0, 310.0])
            ),
        },
        rolling_radius_mm={"front": 300.0, "rear": 310.0},
    )
    procedure = Procedure(
        rig_from_level_wxyz=quaternion(np.array([0.6, 0.0, 0.8]), 35.0),
        origin_mm=np.array([100.0, -200.0, 50.0]),
        crab_deg=1.0,
        rolling_travel_mm=(0.0, 150.0, 300.0),
        sweep_steer_deg=(-20.0, -10.0, 0.0, 10.0, 20.0),
        wheels_locked=True,
        sweep_roll_deg=(dict.fromkeys(WHEELS, 12.0),) * 5,
    )
    expected = {
        **{f"wheels.{name}.camber_deg": value for name, value in camber.items()},
        **{f"wheels.{name}.toe_deg": value for name, value in toe.items()},
        "steering.left.caster_deg": 4.0,
        "steering.left.sai_deg": 12.0,
        "steering.right.caster_deg": 3.0,
        "steering.right.sai_deg": 13.0,
        "steering.left.included_angle_deg": 11.0,
        "steering.ahead_error_deg": 0.0,
        "chassis.thrust_angle_deg": 0.0,
        "chassis.wheelbase_left_mm": 2600.0,
        "axles.front.track_mm": 1500.0,
        "axles.front.setback_mm": 0.0,
        "chassis.axle_offset_mm": 0.0,
    }
    readings = measure_in_engine(car, procedure, engine=engine).readings
    for path, value in expected.items():
        assert readings[path] == pytest.approx(value, rel=0, abs=1e-9), path
