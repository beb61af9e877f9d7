"""Every error comes out of some call as its own exception, with its number and name."""

import copy
import json
import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import wheel_alignment
from wheel_alignment import (
    AlignmentError,
    ErrorCode,
    assess,
    measure,
    record,
    tyre,
    uncertainty,
    wheel,
)
from wheel_alignment.simulate import VirtualVehicle

Tree = dict[str, Any]
ROOT = Path(__file__).resolve().parents[2]
DEMO = json.loads((ROOT / "examples" / "pulling-car.json").read_text(encoding="utf-8"))
OTHER_SIDE = {"fl": "fr", "fr": "fl", "rl": "rr", "rr": "rl"}
OTHER_END = {"fl": "rl", "fr": "rr", "rl": "fl", "rr": "fr"}


NOISE = {"rotation_deg": 0.005, "translation_mm": 0.05}


def car(**properties: Any) -> Tree:
    """The session of a virtual car, as a tree to spoil."""
    return VirtualVehicle(**properties).session().to_dict()


def stations(tree: Tree) -> list[Tree]:
    """Every station of a session."""
    single = [
        tree[key] for key in ("ahead", "lock_left", "lock_right") if tree.get(key)
    ]
    return [*tree["rolling"], *tree.get("sweep", []), *single]


def exchanged(tree: Tree, other: dict[str, str]) -> Tree:
    """The same session with its wheels exchanged."""
    for station in stations(tree):
        station.update({name: station[other[name]] for name in copy.copy(station)})
    return tree


def pose(tree: Tree) -> Tree:
    """A pose of a session."""
    return tree["rolling"][1]["fl"]


def not_finite() -> object:
    return wheel.side_slip_mm_per_m(math.nan)


def not_a_rotation() -> object:
    tree = car()
    pose(tree)["rotation"][0][0] += 0.01
    return measure(tree)


def reflection() -> object:
    tree = car()
    pose(tree)["rotation"] = (-np.array(pose(tree)["rotation"])).tolist()
    return measure(tree)


def not_unit_length() -> object:
    return wheel.camber_deg((0.0, 2.0, 0.0))


def length_out_of_range() -> object:
    return wheel.toe_length_mm(0.1, reference_diameter_mm=5.0)


def angle_out_of_range() -> object:
    return wheel.side_slip_mm_per_m(46.0)


def missing_input() -> object:
    tree = car()
    del tree["up"]
    return measure(tree)


def wheel_not_seen() -> object:
    tree = car() | {"reference": {"datum": "wheel_plane"}}
    tree["ahead"]["fl"] = None
    return measure(tree)


def too_few_stations() -> object:
    tree = car()
    return measure(tree | {"rolling": tree["rolling"][:1]})


def roll_too_small() -> object:
    return measure(car(roll_deg=(0.0, 2.0, 4.0)))


def roll_full_turn() -> object:
    return measure(car(roll_deg=(0.0, 360.0)))


def sweep_too_small() -> object:
    return measure(car(sweep_deg=(-2.0, 0.0, 2.0)))


def up_inverted() -> object:
    return measure(car() | {"up": [0.0, 0.0, -1.0]})


def sides_swapped() -> object:
    return measure(exchanged(car(), OTHER_SIDE))


def ends_swapped() -> object:
    return measure(exchanged(car(), OTHER_END))


def mirrored() -> object:
    tree = exchanged(car(), OTHER_SIDE)
    for key in ("sweep", "lock_left", "lock_right"):
        tree.pop(key, None)
    return measure(tree)


def spindle_not_lateral() -> object:
    return wheel.toe_deg((0.0, 0.0, 1.0), side="left")


def not_a_session() -> object:
    return measure({"format": "alignment-session/2"})


def not_a_tyre_size() -> object:
    return tyre.size_from_code("205/55")


def not_still() -> object:
    tree = car() | {"pose_noise": NOISE}
    frames = [copy.deepcopy(tree["sweep"][4]["rr"]) for _ in range(12)]
    for index, frame in enumerate(frames):
        frame["translation_mm"][2] += 0.1 * index
    tree["sweep"][4]["rr"] = frames
    return measure(tree)


def different_vehicles() -> object:
    return measure(car() | {"ahead": car(wheelbase_mm=2760.0)["ahead"]})


def rear_wheel_steer() -> object:
    tree = car()
    sin, cos = math.sin(-0.04), math.cos(-0.04)
    turn = np.array([[cos, -sin, 0.0], [sin, cos, 0.0], [0.0, 0.0, 1.0]])
    for name in ("rl", "rr"):
        rear = tree["sweep"][8][name]
        rear["rotation"] = (turn @ rear["rotation"]).tolist()
    return measure(tree)


def third_axle() -> object:
    tree = car()
    tree["rolling"][0]["ml"] = None
    return measure(tree)


def too_many() -> object:
    tree = car()
    return measure(tree | {"rolling": tree["rolling"][:1] * 10_001})


def contradiction() -> object:
    place = {"rotation": np.eye(3), "translation_mm": [0.0, 0.0, 0.0]}
    camera = {"rig_from_camera": place, "wheels": ["fl"]}
    return measure(car() | {"cameras": {"one": camera, "other": camera}})


def out_of_range() -> object:
    return uncertainty.plan(frames=0)


def not_a_specification() -> object:
    return assess(DEMO, {"format": "alignment-specification/1"})


def unknown_reading() -> object:
    return uncertainty.plan().get("wheels.fl.camber")


def not_a_covariance() -> object:
    noise = np.eye(6)
    noise[0, 1] = 0.5
    return uncertainty.propagate(car() | {"pose_noise": {"covariance": noise}})


def not_settled() -> object:
    return uncertainty.monte_carlo(
        DEMO, "wheels.fl.camber_deg", significant_digits=4, most_trials=100_000
    )


def not_determined() -> object:
    tree = car() | {"pose_noise": NOISE, "joint": {"robust": True}}
    sin, cos = math.sin(math.radians(1.0)), math.cos(math.radians(1.0))
    for index, station in enumerate(tree["rolling"]):
        sign = 1.0 if index % 2 == 0 else -1.0
        axis, (x, y) = index % 3, [(1, 2), (2, 0), (0, 1)][index % 3]
        turn = np.eye(3)
        turn[[x, y], [x, y]], turn[x, y], turn[y, x] = cos, -sign * sin, sign * sin
        seen = station["rl"]
        seen["rotation"] = (turn @ seen["rotation"]).tolist()
        seen["translation_mm"][axis] += 10.0 * sign
    return measure(tree, method="joint")


def not_converged() -> object:
    tree = car()
    for index, station in enumerate(tree["sweep"]):
        angle = math.radians(25.0 * (index % 3 - 1))
        sin, cos = math.sin(angle), math.cos(angle)
        turn = np.array([[cos, 0.0, sin], [0.0, 1.0, 0.0], [-sin, 0.0, cos]])
        for seen in station.values():
            seen["rotation"] = (turn @ seen["rotation"]).tolist()
    return measure(tree, method="joint")


def not_a_record() -> object:
    return record.Record.from_json(json.dumps(car()))


def record_damaged() -> object:
    measured = record.Measured.of(VirtualVehicle().session())
    return record.Record.from_json(record.Record(before=measured).to_json() + "\n")


PROVOKED: list[Callable[[], object]] = [
    not_finite,
    not_a_rotation,
    reflection,
    not_unit_length,
    length_out_of_range,
    angle_out_of_range,
    missing_input,
    wheel_not_seen,
    too_few_stations,
    roll_too_small,
    roll_full_turn,
    sweep_too_small,
    up_inverted,
    sides_swapped,
    ends_swapped,
    mirrored,
    spindle_not_lateral,
    not_a_session,
    not_a_tyre_size,
    not_still,
    different_vehicles,
    rear_wheel_steer,
    third_axle,
    too_many,
    contradiction,
    out_of_range,
    not_a_specification,
    unknown_reading,
    not_a_covariance,
    not_settled,
    not_determined,
    not_converged,
    not_a_record,
    record_damaged,
]


def test_every_error_is_provoked() -> None:
    assert [provoke.__name__ for provoke in PROVOKED] == [
        code.name for code in ErrorCode
    ]


@pytest.mark.parametrize("provoke", PROVOKED, ids=lambda provoke: provoke.__name__)
def test_an_error_is_raised_as_its_class(provoke: Callable[[], object]) -> None:
    name = provoke.__name__
    title = "".join(word.capitalize() for word in name.split("_")) + "Error"
    with pytest.raises(AlignmentError) as caught:
        provoke()
    error = caught.value
    assert type(error) is getattr(wheel_alignment, title), error
    assert (error.name, error.code) == (name, ErrorCode[name])
    assert str(error)
