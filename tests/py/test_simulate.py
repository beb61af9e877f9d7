"""The virtual vehicle: the core's car, its session and its truth."""

from __future__ import annotations

import dataclasses
import json
import math
from typing import Any

import numpy as np
import pytest
import wheel_alignment as wa
from wheel_alignment import ByAxle, ByWheel, Pose, compensation
from wheel_alignment.datum import plane_through
from wheel_alignment.session import Reference, Turn
from wheel_alignment.simulate import (
    BodyMotion,
    Clamp,
    ClampSlip,
    VirtualVehicle,
    VirtualWheel,
)
from wheel_alignment.vehicle import ahead_readings

UP = [0, 0, 1]


def test_the_default_car_hands_over_the_bits_that_it_does_in_rust() -> None:
    # The figures stand in the core's own test of the virtual vehicle.
    session = VirtualVehicle().session()
    (seen,) = session.frames("sweep", 0, "fl")
    assert seen.rotation == (
        (-0.9070637240988779, 0.3083426011025704, 0.286636077228907),
        (0.2599769925080909, -0.12526787740049908, 0.9574549191779329),
        (0.3311304331986458, 0.9429914099486137, 0.03346396528809015),
    )
    assert seen.translation_mm == (
        5148.352146540756,
        1019.4417285350561,
        308.57025073550074,
    )
    (seen,) = session.frames("lock_left", 0, "fr")
    assert seen.translation_mm == (
        5203.508941069609,
        -672.7592320720682,
        307.9123525910841,
    )


def test_a_car_is_a_value_and_replace_makes_another() -> None:
    car = VirtualVehicle()
    assert car == VirtualVehicle()
    assert hash(car) == hash(VirtualVehicle())
    other = dataclasses.replace(car, wheelbase_mm=2700.0)
    assert other != car
    assert other.truth().chassis.wheelbase_left_mm == 2702.5
    assert VirtualVehicle.random(7) == VirtualVehicle.random(7)
    assert VirtualVehicle.random(7) != VirtualVehicle.random(8)
    assert (car.frames, car.seed, car.pose_noise, car.slips) == (1, 0, None, ())
    assert car.front.left.clamp.standoff_mm == 90.0
    assert Clamp() == Clamp(0.0, (0.0, 0.0), 0.0, 0.0, 0.0)
    assert BodyMotion() == car.body_motion


@pytest.mark.parametrize("seed", [0, 1, 2**64 - 1])
def test_a_random_car_is_read_back_to_its_truth(seed: int) -> None:
    car = VirtualVehicle.random(seed)
    measured, truth = wa.measure(car.session()).alignment, car.truth()
    for path in wa.paths.READINGS:
        one, other = measured.get(path), truth.get(path)
        if other is None or "residual" in path or path.startswith("turns"):
            continue
        assert one is not None
        assert math.isclose(one, other, rel_tol=0, abs_tol=1e-6), path


def test_every_field_reaches_the_session() -> None:
    wheel: Any = dataclasses.replace(VirtualVehicle().front.left, camber_deg=-2.0)
    assert isinstance(wheel, VirtualWheel)
    car = VirtualVehicle()
    noise: Any = {"rotation_deg": 0.01, "translation_mm": 0.1}
    car = dataclasses.replace(
        car,
        front=dataclasses.replace(car.front, left=wheel),
        compensation="spun",
        sweep_wheels_locked=False,
        sweep_body="found_again",
        slips=(ClampSlip("rolling", 1, True, "fl", 0.3),),
        lock_deg=None,
        pose_noise=noise,
        frames=2,
        seed=5,
        reference=Reference("side_line_bisector", "up", Turn("outer", 18.0)),
        roll_deg=[-20, 0, 20],  # type: ignore[arg-type]
    )
    tree = json.loads(car.session().to_json())
    assert tree["compensation"] == "spun"
    assert tree["sweep_body"] == "found_again"
    assert tree["sweep_wheels_locked"] is False
    assert tree["pose_noise"] == noise
    assert tree["reference"]["turn"] == {"wheel": "outer", "angle_deg": 18.0}
    assert "lock_left" not in tree
    assert len(tree["rolling"]) == 12
    assert len(tree["ahead"]["fl"]) == 2
    assert car.truth().wheels.fl.camber_deg == -2.0


@pytest.mark.parametrize(
    ("change", "kind", "words"),
    [
        ({"seed": -1}, ValueError, "seed"),
        ({"seed": 2**64}, (ValueError, TypeError), "seed"),
        ({"frames": 1.5}, TypeError, "frames"),
        ({"compensation": "pushed"}, ValueError, "compensation"),
        ({"front": None}, TypeError, "front"),
        ({"roll_deg": "far"}, TypeError, "roll_deg"),
        ({"axis_drift_deg": (1, 2, 3)}, TypeError, "axis_drift_deg"),
        ({"wheelbase_mm": math.nan}, wa.NotFiniteError, "not finite"),
        ({"slips": (ClampSlip("rolling", 1, True, "lf", 0.3),)}, ValueError, "slips"),  # type: ignore[arg-type]
    ],
)
def test_what_is_no_car_is_refused(
    change: dict[str, Any], kind: type[Exception], words: str
) -> None:
    with pytest.raises(kind, match=words):
        dataclasses.replace(VirtualVehicle(), **change).session()
    with pytest.raises((ValueError, OverflowError, TypeError)):
        VirtualVehicle.random(-1)


def test_the_stages_by_themselves_give_what_measure_gives() -> None:
    session = VirtualVehicle.random(3).session()
    measured = wa.measure(session).alignment
    tree: Any = session.to_dict()
    poses = session.to_arrays()
    standoff, up = tree["clamp_standoff_mm"], tree["up"]
    clamps = compensation.from_rolling(
        poses["rolling"],
        up=up,
        clamp_standoff_mm=standoff,
        loaded_radius_mm=tree["loaded_radius_mm"],
    )
    assert clamps.warnings == ()
    assert len(clamps.residuals) == 5
    now = ahead_readings(
        poses["ahead"],
        compensation=clamps.all_wheels(),
        up=up,
        loaded_radius_mm=ByAxle(**tree["loaded_radius_mm"]),
    )
    assert now.wheels == measured.wheels
    assert now.axles == measured.axles
    assert now.chassis == measured.chassis
    expected = VirtualVehicle.random(3).rig_from_vehicle.matrix4()
    np.testing.assert_allclose(now.rig_from_vehicle.matrix4(), expected, atol=1e-6)


def test_spun_wheels_and_single_wheels_are_compensated() -> None:
    car = dataclasses.replace(VirtualVehicle(), compensation="spun")
    poses = car.session().to_arrays()
    spun = compensation.from_spinning(poses["rolling"], up=UP, clamp_standoff_mm=90)
    assert spun.travel_direction_in_rig is None
    assert spun.wheels.rr is not None
    assert spun.wheels.rr.rolling_radius_mm is None
    assert spun.wheels.rr.runout_deg == pytest.approx(1.6, abs=1e-9)
    rolled = VirtualVehicle().session().to_arrays()["rolling"]
    one = compensation.wheel_from_rolling(
        rolled[:, 0], side="left", forward=[1, 0, 0], up=UP, clamp_standoff_mm=90
    )
    assert one.rolling_radius_mm == pytest.approx(308, abs=1e-6)
    two = compensation.wheel_from_rolling(
        rolled[::4, 0],
        side="left",
        forward=[1, 0, 0],
        up=UP,
        clamp_standoff_mm=90,
        loaded_radius_mm=305.0,
    )
    assert two.rolling_radius_mm == 305.0
    alone = compensation.wheel_from_spinning(
        poses["rolling"][:5, 0],
        side="left",
        forward=[1, 0, 0],
        up=UP,
        clamp_standoff_mm=90,
    )
    assert alone.runout_deg == pytest.approx(1.2, abs=1e-9)


def test_a_wheel_not_seen_has_no_compensation() -> None:
    poses = VirtualVehicle().session().to_arrays()
    poses["rolling"][1:, 3] = np.nan
    clamps = compensation.from_rolling(poses["rolling"], up=UP, clamp_standoff_mm=90)
    assert clamps.wheels.rr is None
    assert clamps.residuals[1].rr is None
    assert [warning.code for warning in clamps.warnings] == ["wheel_blocked"]
    with pytest.raises(wa.WheelNotSeenError) as caught:
        clamps.all_wheels()
    assert caught.value.wheel == "rr"
    whole = compensation.from_rolling(
        VirtualVehicle().session().to_arrays()["rolling"], up=UP, clamp_standoff_mm=90
    ).all_wheels()
    poses["ahead"][1] = np.nan
    with pytest.raises(wa.WheelNotSeenError) as caught:
        ahead_readings(poses["ahead"], compensation=whole, up=UP)
    assert caught.value.wheel == "fr"
    with pytest.raises(ValueError, match="2 frames"):
        ahead_readings(
            np.repeat(poses["ahead"][:, None], 2, axis=1)[[0, 0, 2, 3]],
            compensation=whole,
            up=UP,
        )


def test_faults_of_the_stages_are_the_cores() -> None:
    rolling = VirtualVehicle().session().to_arrays()["rolling"]
    with pytest.raises(wa.TooFewStationsError):
        compensation.from_rolling(rolling[:1], up=UP, clamp_standoff_mm=90)
    with pytest.raises(wa.UpInvertedError):
        compensation.from_rolling(rolling, up=[0, 0, -1], clamp_standoff_mm=90)
    with pytest.raises(wa.LengthOutOfRangeError) as caught:
        standoff = ByWheel(90.0, 90.0, 9000.0, 90.0)
        compensation.from_rolling(rolling, up=UP, clamp_standoff_mm=standoff)
    assert caught.value.wheel == "rl"
    with pytest.raises(ValueError, match="body"):
        body: Any = "floats"
        compensation.from_rolling(rolling, up=UP, clamp_standoff_mm=90, body=body)
    with pytest.raises(ValueError, match="side"):
        side: Any = "front"
        compensation.wheel_from_rolling(
            rolling[:, 0], side=side, forward=[1, 0, 0], up=UP, clamp_standoff_mm=90
        )
    with pytest.raises(ValueError, match=r"\(S, 4, 4\)"):
        compensation.wheel_from_rolling(
            rolling, side="left", forward=[1, 0, 0], up=UP, clamp_standoff_mm=90
        )


def test_a_plane_goes_through_points() -> None:
    points = [[0, 0, 6], [2600, 0, 0], [0, 1500, 0], [2600, 1500, 0]]
    plane = plane_through(points)
    # A corner up by h leaves ± h/4 at the corners.
    assert plane.residual_mm == pytest.approx(1.5, abs=1e-5)
    assert plane_through(np.array(points, ">f4")[::-1]).point_mm == plane.point_mm
    for hostile, kind in [
        ([], wa.TooFewStationsError),
        (points[:2], wa.TooFewStationsError),
        ([[0, 0, 0]] * 4, wa.LengthOutOfRangeError),
        ([[math.nan] * 3] * 4, wa.NotFiniteError),
        (np.zeros((4, 2)), ValueError),
        (np.zeros((4, 3), complex), TypeError),
    ]:
        with pytest.raises(kind):
            plane_through(hostile)  # type: ignore[arg-type]


def test_poses_of_python_stand_in_a_session() -> None:
    tree: Any = VirtualVehicle().session().to_dict()
    pose = Pose(tree["ahead"]["fl"]["rotation"], tree["ahead"]["fl"]["translation_mm"])
    before = wa.measure(tree)
    tree["ahead"]["fl"] = pose
    assert wa.measure(tree) == before
