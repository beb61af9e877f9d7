"""`measure`: the core's readings, whatever form the session has."""

import copy
import dataclasses
import json
import pickle
from collections.abc import Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from types import MappingProxyType
from typing import Any

import numpy as np
import pytest
import wheel_alignment
from wheel_alignment import (
    Measurement,
    assess,
    conformity,
    measure,
    repeatability,
    uncertainty,
)

Tree = dict[str, Any]


def leaves(tree: object, path: str = "") -> Iterator[tuple[str, object]]:
    """Every value of a JSON tree by its path; an array is one value."""
    if isinstance(tree, dict):
        for key, value in tree.items():
            yield from leaves(value, f"{path}.{key}" if path else key)
    else:
        yield path, tree


def at(result: object, path: str) -> object:
    """The attribute at a dotted path."""
    for name in path.split("."):
        result = getattr(result, name)
    return result


def as_json(value: object) -> object:
    """Tuples as the lists that JSON has."""
    return list(value) if isinstance(value, tuple) else value


def test_every_reading_is_the_programs_at_the_same_path(
    session: Tree, program_tree: Tree
) -> None:
    result = measure(session)
    readings = dict(leaves(program_tree["alignment"]))
    assert len(readings) > 80
    for path, value in readings.items():
        assert as_json(at(result.alignment, path)) == value, path
    for path, value in leaves(program_tree["reference"]):
        assert at(result.reference, path) == value, path


def test_to_dict_is_the_json(session: Tree, program_tree: Tree) -> None:
    tree = assess(session).to_dict()
    assert tree == program_tree
    assert json.dumps(tree) == json.dumps(program_tree)  # the order of keys too


def test_each_form_of_a_session_gives_the_same(
    session: Tree, session_text: str, session_path: Path
) -> None:
    expected = measure(session)
    assert measure(session_text) == expected
    assert measure(session_path) == expected
    assert measure(MappingProxyType(session)) == expected
    assert measure(json.dumps(session)) == expected


def test_a_session_is_not_changed(session: Tree) -> None:
    before = copy.deepcopy(session)
    measure(session)
    assert session == before


def with_arrays(tree: object) -> object:
    """Lists of numbers as arrays, and numbers as their scalars."""
    if isinstance(tree, dict):
        return {key: with_arrays(value) for key, value in tree.items()}
    if isinstance(tree, list):
        if all(isinstance(item, dict) for item in tree):
            return tuple(with_arrays(item) for item in tree)
        return np.array(tree, dtype=float)
    if isinstance(tree, bool):
        return np.bool_(tree)
    if isinstance(tree, float | int):
        return np.float64(tree)
    return tree


def test_arrays_and_their_scalars_are_as_good_as_lists(session: Tree) -> None:
    arrays = with_arrays(session)
    assert isinstance(arrays, Mapping)
    assert isinstance(arrays["rolling"][0]["fl"]["translation_mm"], np.ndarray)
    assert measure(arrays) == measure(session)
    session["clamp_standoff_mm"]["fl"] = np.int32(90)
    arrays["clamp_standoff_mm"]["fl"] = np.float32(90)
    assert measure(arrays) == measure(session)


def test_what_was_not_captured_is_none(session: Tree) -> None:
    for key in ("sweep", "sweep_wheels_locked", "lock_left", "lock_right"):
        session.pop(key, None)
    result = measure(session)
    assert result.alignment.steering.left.caster_deg is None
    assert result.alignment.steering.left.axis_direction is None
    assert result.alignment.turns.lock_left.left_deg is None
    assert result.residuals.sweep == ()
    assert "caster_deg       left absent  right absent" in repr(result)
    assert measure(json.dumps(session)) == result


def test_a_wheel_that_was_not_seen_has_no_residual(session: Tree) -> None:
    rolling = session["rolling"]
    rolling[1]["rr"] = None
    del rolling[2]["fl"]
    result = measure(session)
    assert result.residuals.rolling[1].rr is None
    assert result.residuals.rolling[2].fl is None
    residual = result.residuals.rolling[0].rr
    assert residual is not None
    assert residual.rotation_deg >= 0.0
    assert measure(json.dumps(session)) == result


def test_frames_are_averaged_alike(session: Tree) -> None:
    session["ahead"]["fl"] = [session["ahead"]["fl"]] * 3
    assert measure(session) == measure(json.dumps(session))


def test_warnings_are_data(session: Tree) -> None:
    session.pop("loaded_radius_mm", None)
    session["sweep_wheels_locked"] = False
    result = measure(session)
    by_code = {warning.code: warning for warning in result.warnings}
    assumed = by_code["loaded_radius_assumed"]
    assert assumed.number == 3
    assert assumed.wheel in ("fl", "fr", "rl", "rr")
    assert assumed.value is not None
    assert assumed.unit == "mm"
    assert by_code["sweep_wheel_free"].stage == "sweep"
    assert str(assumed) == assumed.message
    assert "loaded_radius_assumed" in repr(result)
    assert result.to_dict()["warnings"] == [
        dataclasses.asdict(warning) for warning in result.warnings
    ]


def test_the_choices_of_a_session_come_back(session: Tree) -> None:
    session["reference"] = {"turn": {"wheel": "outer", "angle_deg": 12}}
    turn = measure(session).reference.turn
    assert (turn.wheel, turn.angle_deg) == ("outer", 12.0)


def test_repr_shows_the_readings(session: Tree) -> None:
    result = measure(session)
    camber_deg = result.alignment.wheels.fl.camber_deg
    caster_deg = result.alignment.steering.right.caster_deg
    assert camber_deg is not None
    assert caster_deg is not None
    assert f"fl {camber_deg:+.2f}" in repr(result)
    assert f"right {caster_deg:+.2f}" in repr(result)


def nodes(value: object) -> Iterator[Any]:
    """Every object of the result."""
    if dataclasses.is_dataclass(value):
        yield value
        for field in dataclasses.fields(value):
            yield from nodes(getattr(value, field.name))
    elif isinstance(value, tuple):
        for item in value:
            yield from nodes(item)


def every_result(session: Tree, specification: Tree) -> Iterator[object]:
    """A result of each function."""
    yield measure(session, method="joint")
    yield wheel_alignment.assess(session, specification)
    known = uncertainty.propagate(session)
    yield known
    yield known.expanded("wheels.fl.camber_deg")
    yield known.budget("wheels.fl.camber_deg")
    yield uncertainty.reach(0.02)
    yield uncertainty.monte_carlo(session, "wheels.fl.camber_deg", significant_digits=1)
    limits = conformity.Limits(-1.0, 1.0)
    yield conformity.judge(0.5, limits)
    yield conformity.global_risks(
        mean=0.0,
        standard_deviation=0.5,
        standard_uncertainty=0.1,
        limits=limits,
        acceptance=limits,
    )
    yield repeatability.repeatability([1.0, 2.0])
    yield repeatability.one_way([[1.0, 2.0], [3.0, 4.0]])
    yield repeatability.crossed([[[1.0, 2.0], [2.0, 4.0]], [[3.0, 5.0], [1.0, 9.0]]])


def test_a_result_cannot_be_changed(session: Tree, specification: Tree) -> None:
    session.pop("loaded_radius_mm", None)
    session["ahead"]["rl"] = [session["ahead"]["rl"]] * 2
    for result in every_result(session, specification):
        if not isinstance(result, tuple):
            again = pickle.loads(pickle.dumps(result))
            assert again == result
            assert hash(again) == hash(result)
        for node in nodes(result):
            field = dataclasses.fields(node)[0].name
            with pytest.raises(dataclasses.FrozenInstanceError):
                setattr(node, field, 0.0)
            with pytest.raises((AttributeError, TypeError)):
                node.invented = 1
            assert not hasattr(node, "__dict__")


def test_a_result_survives_pickling_and_copying(session: Tree) -> None:
    result = measure(session)
    for protocol in range(2, pickle.HIGHEST_PROTOCOL + 1):
        again = pickle.loads(pickle.dumps(result, protocol))
        assert isinstance(again, Measurement)
        assert again == result
    assert copy.deepcopy(result) == result
    assert len({result, measure(session)}) == 1


def test_every_thread_gets_the_same(session: Tree) -> None:
    expected = measure(session)
    with ThreadPoolExecutor(4) as pool:
        assert all(result == expected for result in pool.map(measure, [session] * 16))
