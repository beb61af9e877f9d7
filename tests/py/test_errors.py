"""An exception per code, with its fields, and the place named alike in every form."""

import copy
import json
import pickle
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any, Literal

import numpy as np
import pytest
import wheel_alignment
from wheel_alignment import (
    AlignmentError,
    NotASessionError,
    _native,
    measure,
    uncertainty,
)
from wheel_alignment.error import WarningCode

Tree = dict[str, Any]


def test_every_code_has_its_class() -> None:
    codes = _native.error_codes()
    for number, name in codes:
        title = "".join(word.capitalize() for word in name.split("_")) + "Error"
        kind = getattr(wheel_alignment, title)
        assert issubclass(kind, AlignmentError)
        assert issubclass(kind, ValueError)
        assert (kind.code, kind.name) == (number, name)
        assert kind.__doc__
        assert title in wheel_alignment.__all__
    assert len(AlignmentError.__subclasses__()) == len(codes)


def test_the_numbers_and_names_are_the_cores() -> None:
    errors = [(int(code), code.name) for code in wheel_alignment.ErrorCode]
    assert errors == _native.error_codes()
    warnings = [(int(code), code.name) for code in WarningCode]
    assert warnings == _native.warning_codes()


def refused(session: Tree, kind: type[AlignmentError]) -> AlignmentError:
    """The error that a session raises, the same as a dict and as JSON."""
    with pytest.raises(AlignmentError) as caught:
        measure(session)
    assert type(caught.value) is kind
    with pytest.raises(kind) as as_text:
        measure(json.dumps(session))
    if kind is not NotASessionError:
        assert str(as_text.value) == str(caught.value)
        assert vars(as_text.value) == vars(caught.value)
    return caught.value


def test_a_missing_input_is_named(session: Tree) -> None:
    del session["up"]
    error = refused(session, wheel_alignment.MissingInputError)
    assert vars(error) == {
        "stage": None,
        "station": None,
        "wheel": None,
        "input": "up",
        "unit": "",
        "value": None,
        "minimum": None,
        "maximum": None,
        "path": "",
        "index": None,
        "line": None,
        "column": None,
    }
    assert str(error).startswith("up: ")


def test_a_figure_comes_with_its_bounds(session: Tree) -> None:
    session["clamp_standoff_mm"]["rr"] = 5000
    error = refused(session, wheel_alignment.LengthOutOfRangeError)
    assert (error.input, error.wheel) == ("clamp_standoff_mm", "rr")
    assert error.value == 5000.0
    assert error.minimum is not None
    assert error.maximum is not None
    assert error.minimum < error.maximum < 5000.0


def test_the_station_and_the_wheel_are_named(session: Tree) -> None:
    pose = session["sweep"][2]["fr"]
    session["sweep"][2]["fr"] = {
        "rotation": [[1, 0, 0], [0, 1, 0], [0, 0, 1.5]],
        "translation_mm": pose["translation_mm"],
    }
    error = refused(session, wheel_alignment.NotARotationError)
    assert (error.stage, error.station, error.wheel) == ("sweep", 2, "fr")
    assert error.value is not None
    assert error.maximum is not None
    assert error.value > error.maximum
    assert str(error).startswith("sweep[2].fr: ")


def test_a_wheel_that_is_needed_must_be_seen(session: Tree) -> None:
    del session["up"]
    session["reference"] = {"datum": "wheel_plane"}
    session["ahead"]["rl"] = None
    error = refused(session, wheel_alignment.WheelNotSeenError)
    assert (error.stage, error.station, error.wheel) == ("ahead", None, "rl")


def test_a_third_axle_is_named_alike(session: Tree) -> None:
    session["rolling"][1]["fm"] = None
    for form in (session, json.dumps(session)):
        with pytest.raises(wheel_alignment.ThirdAxleError) as caught:
            measure(form)
        assert caught.value.path == "rolling[1]"
        assert "unknown wheel `fm`: a third axle" in str(caught.value)


def test_frames_that_move_are_refused_in_their_unit(session: Tree) -> None:
    pose = session["ahead"]["rl"]
    x, y, z = pose["translation_mm"]
    session["ahead"]["rl"] = [
        pose | {"translation_mm": [x, y, z + 0.4 * i]} for i in range(9)
    ]
    error = refused(session, wheel_alignment.NotStillError)
    assert (error.stage, error.wheel, error.unit) == ("ahead", "rl", "mm")


def turn(pose: Tree, axis: int, angle_deg: float) -> None:
    """Turns a target about an axis of the rig."""
    sin, cos = np.sin(np.radians(angle_deg)), np.cos(np.radians(angle_deg))
    matrix, i, j = np.eye(3), (axis + 1) % 3, (axis + 2) % 3
    matrix[[i, i, j, j], [i, j, i, j]] = cos, -sin, sin, cos
    pose["rotation"] = (matrix @ pose["rotation"]).tolist()


def undetermined(session: Tree) -> Tree:
    """No two poses of a wheel that was rolled belong together: all are left out.

    Each is shifted along the spindle: beside the pose straight ahead, one alone would
    agree with any other shift.
    """
    shifts_mm = (10.0, -10.0, 15.0, -15.0, 20.0)
    for index, (station, shift_mm) in enumerate(
        zip(session["rolling"], shifts_mm, strict=True)
    ):
        turn(station["fl"], index % 3, 1.0 if index < 3 else -1.0)
        station["fl"]["translation_mm"][1] += shift_mm
    return session | {"joint": {"robust": True}}


def no_car(session: Tree) -> Tree:
    """Front targets turned about the rig's y axis by -25, 0 and 25 degrees in turn."""
    for index, station in enumerate(session["sweep"]):
        for pose in (station["fl"], station["fr"]):
            turn(pose, 1, 25.0 * (index % 3 - 1))
    return session


def test_the_joint_fit_names_what_it_cannot_tell(session: Tree) -> None:
    spoiled = undetermined(session)
    assert measure(spoiled).method == "staged"
    error = refused(spoiled | {"method": "joint"}, wheel_alignment.NotDeterminedError)
    assert (error.input, error.wheel) == ("spindle", "fl")
    assert error.value is not None
    assert error.minimum is not None
    assert error.value < error.minimum


def test_no_rigid_car_is_told_from_a_poor_one(session: Tree) -> None:
    assert measure(no_car(session)).method == "staged"
    error = refused(session | {"method": "joint"}, wheel_alignment.NotConvergedError)
    assert error.value is not None
    assert error.maximum is not None
    assert error.value > error.maximum


@pytest.mark.parametrize("method", ["staged", "joint"])
def test_every_function_takes_the_method_asked_for(
    session: Tree, method: Literal["staged", "joint"]
) -> None:
    no_car(session)
    own: Literal["staged", "joint"] = "joint" if method == "staged" else "staged"
    session["method"] = own
    watched = "wheels.fl.camber_deg"
    calls: list[Callable[[], object]] = [
        lambda: measure(session, method=method),
        lambda: wheel_alignment.assess(session, method=method),
        lambda: uncertainty.propagate(session, method=method),
        lambda: uncertainty.monte_carlo(
            session, watched, significant_digits=1, method=method
        ),
    ]
    for call in calls:
        if method == "staged":
            call()
        else:
            with pytest.raises(wheel_alignment.NotConvergedError):
                call()


@pytest.mark.parametrize(
    "bad", [np.nan, np.inf, -np.inf, float("nan"), np.float32("nan"), 10**400]
)
def test_a_number_that_is_not_finite_is_named(session: Tree, bad: float) -> None:
    rolling = copy.deepcopy(session)
    rolling["rolling"][1]["fl"]["translation_mm"][0] = bad
    with pytest.raises(wheel_alignment.NotFiniteError) as caught:
        measure(rolling)
    error = caught.value
    assert (error.stage, error.station, error.wheel) == ("rolling", 1, "fl")
    assert str(error).startswith("rolling[1].fl: ")

    standoff = copy.deepcopy(session)
    standoff["clamp_standoff_mm"]["rr"] = bad
    with pytest.raises(wheel_alignment.NotFiniteError) as caught:
        measure(standoff)
    assert (caught.value.input, caught.value.wheel) == ("clamp_standoff_mm", "rr")

    # JSON has no such numbers: there it is not a session, at a line and a column.
    with pytest.raises(NotASessionError) as as_text:
        measure(json.dumps(standoff, default=float))
    assert as_text.value.path == "clamp_standoff_mm.rr"
    assert as_text.value.line == 1


@pytest.mark.parametrize(
    ("path", "value", "reason"),
    [
        (["colour"], 1, "unknown field `colour`"),
        (["format"], "alignment-session/2", "unknown variant `alignment-session/2`"),
        (["format"], 1, ""),
        (["up"], [0, 1], "invalid length 2"),
        (["up"], "up", 'invalid type: string "up"'),
        (["rolling", 1, "fl", "translation_mm", 2], "x", 'invalid type: string "x"'),
        (["rolling", 1, "fl", "colour"], 1, "unknown field `colour`"),
        (["rolling", 1, "fl"], 3, "a pose, an array of poses, or null"),
        (["rolling", 1], {"fm": None}, "unknown field `fm`"),
        (["rolling", 1], None, "invalid type"),
        (["ahead", "rr"], {"translation_mm": [0, 0, 0]}, "exactly one of rotation"),
        (["sweep_wheels_locked"], 1, "invalid type: integer `1`, expected a boolean"),
        (["reference"], {"turn": {"wheel": "third"}}, "unknown variant `third`"),
    ],
)
def test_what_is_no_session_is_named_alike(
    session: Tree, path: list[str | int], value: object, reason: str
) -> None:
    parent: Any = session
    for key in path[:-1]:
        parent = parent[key]
    parent[path[-1]] = value
    error = refused(session, NotASessionError)
    assert isinstance(error, NotASessionError)
    assert reason in str(error)
    assert (error.line, error.column) == (None, None)
    with pytest.raises(NotASessionError) as caught:
        measure(json.dumps(session))
    as_text = caught.value
    assert as_text.path == error.path
    assert reason in str(as_text)
    assert as_text.line == 1
    assert as_text.column is not None
    if as_text.path:
        assert str(as_text).startswith(f"{as_text.path}: ")


def test_the_path_of_a_fault_goes_down_to_the_number(session: Tree) -> None:
    session["rolling"][1]["fl"]["translation_mm"][2] = "x"
    error = refused(session, NotASessionError)
    assert isinstance(error, NotASessionError)
    assert error.path.startswith("rolling[1].fl")


@pytest.mark.parametrize(
    "thing",
    [
        object(),
        b"bytes",
        {1, 2},
        1j,
        ...,
        [1, [2]],
        np.array(["a"]),
        np.zeros((2, 2, 2)),
    ],
    ids=repr,
)
def test_a_python_object_that_is_no_part_of_a_session_is_refused(
    session: Tree, thing: object
) -> None:
    session["rolling"][1]["fl"]["translation_mm"] = thing
    with pytest.raises(NotASessionError) as caught:
        measure(session)
    assert caught.value.path.startswith("rolling[1].fl")
    assert " object at 0x" not in str(caught.value)


def test_keys_that_are_no_text_are_refused(session: Tree) -> None:
    session[1] = 2  # type: ignore[index]
    with pytest.raises(NotASessionError, match="integer `1`"):
        measure(session)


def test_an_exception_of_the_objects_own_passes_through(session: Tree) -> None:
    class Broken(Mapping[str, object]):
        def __getitem__(self, key: str) -> object:
            raise KeyError(key)

        def __iter__(self) -> Iterator[str]:
            raise ZeroDivisionError("on purpose")

        def __len__(self) -> int:
            return 1

    session["ahead"] = Broken()
    with pytest.raises(ZeroDivisionError, match="on purpose"):
        measure(session)


def test_a_tree_without_end_is_refused(session: Tree) -> None:
    class Endless:
        def tolist(self) -> list[object]:
            return [self]

    loop: list[object] = []
    loop.append(loop)
    for endless in (loop, Endless()):
        session["ahead"]["fl"] = endless
        with pytest.raises(NotASessionError):
            measure(session)


@pytest.mark.parametrize("text", ["", "  ", "session.json", "\ufeff{}", "nul"])
def test_a_text_that_is_no_json_hints_at_a_path(text: str) -> None:
    with pytest.raises(NotASessionError, match=r"pathlib\.Path") as caught:
        measure(text)
    assert (caught.value.line, caught.value.column) == (1, 1)


@pytest.mark.parametrize(
    "text", ["{", "[]", "{}", "[" * 100_000, '{"note": "\\ud800"}']
)
def test_a_text_that_is_no_session_is_refused(text: str) -> None:
    with pytest.raises(NotASessionError):
        measure(text)


def test_a_text_that_has_no_utf8_form_is_refused() -> None:
    with pytest.raises(ValueError, match="surrogates"):
        measure('{"note": "\ud800"}')


def test_a_file_that_is_not_utf8_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "session.json"
    path.write_bytes(b'{"note": "\xff"}')
    with pytest.raises(NotASessionError, match="byte 10"):
        measure(path)
    with pytest.raises(FileNotFoundError):
        measure(tmp_path / "absent.json")


@pytest.mark.parametrize("thing", [None, 1, b"{}", [], object()], ids=repr)
def test_other_arguments_are_a_type_error(thing: Any) -> None:
    with pytest.raises(TypeError, match="a mapping, a JSON text or a path-like object"):
        measure(thing)


def test_errors_survive_pickling(session: Tree) -> None:
    session["clamp_standoff_mm"]["rr"] = 5000
    error = refused(session, wheel_alignment.LengthOutOfRangeError)
    again = pickle.loads(pickle.dumps(error))
    assert type(again) is type(error)
    assert str(again) == str(error)
    assert vars(again) == vars(error)
    assert type(error).__module__ == "wheel_alignment.error"
