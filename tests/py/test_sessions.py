"""Sessions that are read once: from JSON, from arrays, from tables, to the same bits."""

from __future__ import annotations

import copy
import csv
import json
import pickle
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import polars as pl
import pyarrow as pa
import pytest
import wheel_alignment as wa
from scipy.spatial.transform import Rotation
from wheel_alignment import (
    ByAxle,
    ByWheel,
    NotASessionError,
    NotFiniteError,
    NotUnitLengthError,
    Pose,
    Session,
    ThirdAxleError,
)
from wheel_alignment.session import MAX_STATIONS, Camera, up_in_rig
from wheel_alignment.simulate import VirtualVehicle
from wheel_alignment.uncertainty import monte_carlo, propagate

Tree = dict[str, Any]

STAGES = ("rolling", "ahead", "sweep", "lock_left", "lock_right")
WHEELS = ("fl", "fr", "rl", "rr")


def keys(session: Session) -> Tree:
    """All that a session says beside its stations."""
    return {
        key: value
        for key, value in session.to_dict().items()
        if key not in (*STAGES, "format")
    }


@pytest.fixture(scope="module")
def demo(session_path: Path) -> Session:
    """The demo session."""
    return Session.from_json(session_path)


@pytest.fixture(scope="module")
def framed() -> Session:
    """A session with several frames of each wheel."""
    noise = {"rotation_deg": 0.005, "translation_mm": 0.05}
    return VirtualVehicle(pose_noise=noise, frames=3).session()  # type: ignore[arg-type]


@pytest.fixture
def table(demo: Session) -> Tree:
    """The demo session as a table, to change at will."""
    return {name: list(column) for name, column in demo.to_table().items()}


def test_a_session_is_read_alike_from_a_file_a_text_and_a_dict(
    demo: Session, session_path: Path, session: Tree
) -> None:
    text = session_path.read_text(encoding="utf-8")
    assert Session.from_json(text) == demo
    assert Session.from_json(session) == demo
    assert Session.from_json(demo.to_json()) == demo
    assert Session.from_json(demo.to_dict()) == demo


def test_a_session_measures_as_what_it_was_read_from(
    demo: Session, session_path: Path
) -> None:
    for method in (None, "staged", "joint"):
        expected = wa.measure(session_path, method=method)  # type: ignore[arg-type]
        assert wa.measure(demo, method=method) == expected  # type: ignore[arg-type]
    assert wa.assess(demo).alignment == wa.assess(session_path).alignment
    assert propagate(demo).standard == propagate(session_path).standard
    assert demo == Session.from_json(session_path), "it is not changed"


def test_a_session_is_a_value(demo: Session, session: Tree) -> None:
    again = pickle.loads(pickle.dumps(demo))
    assert again == demo
    assert hash(again) == hash(demo)
    assert copy.copy(demo) is demo
    assert copy.deepcopy(demo) is demo
    assert {demo: 1}[again] == 1
    session["ahead"]["fl"]["translation_mm"][0] += 1e-9
    assert Session.from_json(session) != demo
    assert demo != "session"
    with pytest.raises(AttributeError, match="frozen"):
        demo.note = "changed"  # type: ignore[attr-defined]
    with pytest.raises(TypeError, match="from_json"):
        Session()


def test_a_session_shows_what_it_holds(session: Tree) -> None:
    del session["ahead"]["rl"]
    session["sweep"][0]["fr"] = None
    session["note"] = "<b>& a kerb</b>"
    shown = repr(Session.from_json(session))
    assert "ahead            fl fr rr\n" in shown
    assert "fr (8 of 9)" in shown
    assert "0.005°, 0.05 mm" in shown
    page = Session.from_json(session)._repr_html_()
    assert "&lt;b&gt;&amp; a kerb" in page


def test_arrays_give_the_bits_of_the_json(demo: Session, framed: Session) -> None:
    for session in (
        demo,
        framed,
        VirtualVehicle(lock_deg=None, sweep_deg=()).session(),
    ):
        arrays: Any = session.to_arrays()
        assert Session.from_arrays(**arrays, **keys(session)) == session
    assert framed.to_arrays()["rolling"].shape == (5, 4, 3, 4, 4)
    assert demo.to_arrays()["rolling"].shape[1:] == (4, 4, 4)


def test_every_form_of_a_station_gives_the_bits_of_the_json(demo: Session) -> None:
    arrays: Any = demo.to_arrays()
    rest = keys(demo) | {name: arrays[name] for name in STAGES[2:]}
    rolling, ahead = arrays["rolling"], arrays["ahead"]
    poses = [Pose.from_matrix4(one) for one in ahead]

    def by_wheel(station: Any) -> Tree:
        return dict(zip(WHEELS, station, strict=True))

    forms: list[tuple[Any, Any]] = [
        (rolling.astype(">f8"), ahead[::-1].copy()[::-1]),
        (rolling[..., :3, :], ahead[:, :3]),
        ([by_wheel(one) for one in rolling], by_wheel(ahead)),
        ([ByWheel(*one) for one in rolling], ByWheel(*poses)),
        ([list(one) for one in rolling], poses),
        ((rolling[..., :3, :3], rolling[..., :3, 3]), by_wheel(poses)),
        (
            {"rotation": rolling[..., :3, :3], "translation_mm": rolling[..., :3, 3]},
            {"rotation": ahead[:, :3, :3], "translation_mm": ahead[:, :3, 3]},
        ),
        (rolling.tolist(), demo.to_dict()["ahead"]),
        (
            demo.to_dict()["rolling"],
            by_wheel([(one[:3, :3], one[:3, 3]) for one in ahead]),
        ),
    ]
    for one, other in forms:
        assert Session.from_arrays(rolling=one, ahead=other, **rest) == demo


def test_rotation_vectors_and_quaternions_give_the_bits_of_the_json() -> None:
    car = VirtualVehicle(sweep_deg=(), lock_deg=None).session()
    rolling = car.to_arrays()["rolling"]
    rotations = Rotation.from_matrix(rolling[..., :3, :3].reshape(-1, 3, 3))
    vectors = rotations.as_rotvec().reshape(5, 4, 3)
    quaternions = rotations.as_quat(scalar_first=True).reshape(5, 4, 4)
    places = rolling[..., :3, 3]
    for form, turned in [
        ("rotation_vector_rad", vectors),
        ("quaternion_wxyz", quaternions),
    ]:
        tree = car.to_dict() | {
            "rolling": [
                {
                    wheel: {
                        form: turned[i, j].tolist(),
                        "translation_mm": places[i, j].tolist(),
                    }
                    for j, wheel in enumerate(WHEELS)
                }
                for i in range(5)
            ]
        }
        expected = Session.from_json(json.dumps(tree))
        stack: Any = {form: turned, "translation_mm": places}
        rest: Any = keys(car) | {"ahead": car.to_arrays()["ahead"]}
        assert Session.from_arrays(rolling=stack, **rest) == expected
        if form == "rotation_vector_rad":
            opencv = (vectors[..., None], places[..., None])
            assert Session.from_arrays(rolling=opencv, **rest) == expected


def test_what_was_not_seen_is_left_out(demo: Session, framed: Session) -> None:
    arrays: Any = demo.to_arrays()
    tree: Any = demo.to_dict()
    arrays["rolling"][1, 2] = np.nan
    tree["rolling"][1]["rl"] = None
    assert Session.from_arrays(**arrays, **keys(demo)) == Session.from_json(tree)
    station: Any = dict(zip(WHEELS, arrays["ahead"], strict=True)) | {"fr": None}
    arrays["ahead"] = station
    del tree["ahead"]["fr"]
    assert Session.from_arrays(**arrays, **keys(demo)) == Session.from_json(tree)
    arrays, tree = framed.to_arrays(), framed.to_dict()
    arrays["sweep"][3, 0, 1] = np.nan
    del tree["sweep"][3]["fl"][1]
    made = Session.from_arrays(**arrays, **keys(framed))
    assert made == Session.from_json(tree)
    again: Any = made.to_arrays()
    assert np.isnan(again["sweep"][3, 0, 2]).all(), "filled up at the end"
    assert Session.from_arrays(**again, **keys(framed)) == made
    assert [len(made.frames("sweep", 3, wheel)) for wheel in WHEELS] == [2, 3, 3, 3]


def test_wheels_may_differ_in_frames(demo: Session) -> None:
    arrays: Any = demo.to_arrays()
    tree: Any = demo.to_dict()
    fl = arrays["ahead"][0]
    arrays["ahead"] = dict(zip(WHEELS, arrays["ahead"], strict=True)) | {"fl": [fl, fl]}
    tree["ahead"]["fl"] = [tree["ahead"]["fl"]] * 2
    made = Session.from_arrays(**arrays, **keys(demo))
    assert made == Session.from_json(tree)
    assert made.frames("ahead", 0, "fl") == (Pose.from_matrix4(fl),) * 2
    assert made.frames("ahead", 0, "fr") == demo.frames("ahead", 0, "fr")
    with pytest.raises(ValueError, match="no stage 'back'"):
        made.frames("back", 0, "fl")


def test_keys_are_read_as_in_the_json(demo: Session) -> None:
    arrays: Any = demo.to_arrays()
    pose = Pose.from_rotation_vector_rad([0, 0, 0.1], [1, 2, 3])
    points = np.arange(12.0).reshape(4, 3)
    made = Session.from_arrays(
        **arrays,
        up=np.array([[0.0], [0.0], [1.0]]).ravel(),
        clamp_standoff_mm=np.array([90, 91, 92, 93]),
        loaded_radius_mm=310,
        ride_height_mm=[1, 2, 3, 4],
        runway_mm=points,
        cameras={"left": Camera(rig_from_camera=pose, wheels=("fl", "rl"))},
        sweep_wheels_locked=True,
        note="arrays",
    )
    tree = made.to_dict()
    assert tree["clamp_standoff_mm"] == {"fl": 90, "fr": 91, "rl": 92, "rr": 93}
    assert tree["loaded_radius_mm"] == {"front": 310, "rear": 310}
    assert tree["runway_mm"]["rr"] == [9, 10, 11]  # type: ignore[index]
    assert tree["ride_height_mm"]["rl"] == 3  # type: ignore[index]
    assert tree["cameras"]["left"]["wheels"] == ["fl", "rl"]  # type: ignore[index]
    front = Session.from_arrays(
        **arrays,
        clamp_standoff_mm=ByWheel(90.0, 90.0, 90.0, 90.0),
        loaded_radius_mm=ByAxle(300.0, None),
    )
    assert front.to_dict()["loaded_radius_mm"] == {"front": 300, "rear": None}


@pytest.mark.parametrize(
    ("change", "kind", "words"),
    [
        (
            {"rolling": np.broadcast_to(np.eye(4), (5, 3, 4, 4))},
            ValueError,
            r"rolling: .*\(5, 3, 4, 4\)",
        ),
        ({"rolling": np.eye(4)}, ValueError, r"rolling: .*\(4, 4\)"),
        ({"ahead": np.zeros((4, 4, 5))}, ValueError, r"ahead: .*\(4, 4, 5\)"),
        ({"ahead": {"lf": np.eye(4)}}, ValueError, "unknown wheel 'lf'"),
        ({"ahead": {"fl": np.eye(5)}}, ValueError, r"ahead\.fl: .*\(5, 5\)"),
        ({"rolling": [{"fl": "pose"}]}, TypeError, r"rolling\[0\]\.fl: "),
        ({"clamp_standoff_mm": [1, 2, 3]}, ValueError, r"clamp_standoff_mm: .*\(3,\)"),
        ({"clamp_standoff_mm": "far"}, TypeError, "clamp_standoff_mm"),
        ({"clamp_standoff_mm": {"fl": 1}}, NotASessionError, "clamp_standoff_mm"),
        ({"runway_mm": np.zeros((3, 4))}, ValueError, r"runway_mm: .*\(3, 4\)"),
        ({"up": "high"}, NotASessionError, "up: "),
        ({"method": "both"}, NotASessionError, "method: "),
        ({"colour": 1}, TypeError, "colour"),
        ({"format": "alignment-session/1"}, TypeError, "format"),
        ({"up": [0, 0, np.nan]}, NotFiniteError, r"up\[2\]: "),
        ({"clamp_standoff_mm": np.inf}, NotFiniteError, r"clamp_standoff_mm\.fl: "),
        ({"loaded_radius_mm": np.nan}, NotFiniteError, "not finite"),
    ],
)
def test_what_is_no_session_is_refused(
    demo: Session, change: Tree, kind: type[Exception], words: str
) -> None:
    given: Any = demo.to_arrays() | keys(demo) | change
    with pytest.raises(kind, match=words):
        Session.from_arrays(**given)


def test_a_number_that_is_not_finite_is_refused_where_it_stands(demo: Session) -> None:
    arrays: Any = demo.to_arrays()
    arrays["sweep"][4, 1, 0, 3] = np.nan
    with pytest.raises(NotFiniteError) as caught:
        Session.from_arrays(**arrays, **keys(demo))
    error = caught.value
    assert (error.stage, error.station, error.wheel) == ("sweep", 4, "fr")
    tree: Any = demo.to_dict()
    tree["rolling"][0]["rr"]["rotation"][1][1] = np.inf
    with pytest.raises(NotFiniteError) as caught:
        Session.from_json(tree)
    error = caught.value
    assert (error.stage, error.station, error.wheel) == ("rolling", 0, "rr")
    tree = demo.to_dict()
    tree["sweep"][2]["fl"]["covariance"] = np.diag([np.nan] * 6)
    with pytest.raises(NotFiniteError) as caught:
        Session.from_json(tree)
    assert caught.value.path == "sweep[2].fl.covariance"


def test_a_fault_of_the_form_says_where(demo: Session) -> None:
    tree: Any = demo.to_dict()
    tree["ahead"]["third"] = tree["ahead"]["fl"]
    with pytest.raises(ThirdAxleError):
        Session.from_json(tree)
    with pytest.raises(NotASessionError) as caught:
        Session.from_json('{"format": "alignment-session/1",\n "colour": 1}')
    assert (caught.value.path, caught.value.line) == ("colour", 2)
    with pytest.raises(NotASessionError, match="pathlib"):
        Session.from_json("session.json")
    with pytest.raises(TypeError, match="int"):
        Session.from_json(7)  # type: ignore[arg-type]
    quaternions: Any = {
        "quaternion_wxyz": np.full((2, 4, 4), 0.6),
        "translation_mm": np.zeros((2, 4, 3)),
    }
    arrays: Any = demo.to_arrays() | {"rolling": quaternions}
    with pytest.raises(NotUnitLengthError, match=r"rolling\[0, 0\]: ") as unit:
        Session.from_arrays(**arrays, **keys(demo))
    assert unit.value.index == (0, 0)


def test_too_many_stations_are_refused_when_measured(demo: Session) -> None:
    arrays: Any = demo.to_arrays()
    arrays["rolling"] = np.broadcast_to(arrays["ahead"], (MAX_STATIONS + 1, 4, 4, 4))
    session = Session.from_arrays(**arrays, **keys(demo))
    with pytest.raises(wa.TooManyError):
        wa.measure(session)


def test_a_table_of_any_library_gives_the_bits_of_the_json(
    demo: Session, framed: Session, tmp_path: Path
) -> None:
    for session in (demo, framed):
        columns: Any = session.to_table()
        frame = pd.DataFrame(columns)
        shuffled = frame.sample(frac=1, random_state=1)
        file = tmp_path / "poses.csv"
        frame.to_csv(file, index=False)
        forms: list[Any] = [
            columns,
            {name: list(column) for name, column in columns.items()},
            frame,
            shuffled,
            frame.convert_dtypes(),
            pl.DataFrame(columns),
            pa.table(columns),
            frame.to_dict("records"),
            file,
        ]
        for form in forms:
            assert Session.from_table(form, **keys(session)) == session, type(form)
    assert "frame" not in demo.to_table()
    assert list(framed.to_table())[3] == "frame"


def test_rotations_of_a_table_may_be_vectors_or_quaternions(
    demo: Session, table: Tree
) -> None:
    matrix = np.array([table.pop(f"r{i}{j}") for i in "123" for j in "123"]).T
    rotations = Rotation.from_matrix(matrix.reshape(-1, 3, 3))
    vectors, quaternions = rotations.as_rotvec(), rotations.as_quat(scalar_first=True)
    tree: Any = demo.to_dict()
    rest = keys(demo)
    for names, form, turned in [
        (["rx_rad", "ry_rad", "rz_rad"], "rotation_vector_rad", vectors),
        (["qw", "qx", "qy", "qz"], "quaternion_wxyz", quaternions),
    ]:
        for row, (stage, station, wheel) in enumerate(
            zip(table["stage"], table["station"], table["wheel"], strict=True)
        ):
            stations = tree[stage]
            of = stations[station] if isinstance(stations, list) else stations
            place = [table[name][row] for name in ("x_mm", "y_mm", "z_mm")]
            of[wheel] = {form: turned[row].tolist(), "translation_mm": place}
        given = table | dict(zip(names, turned.T, strict=True))
        assert Session.from_table(given, **rest) == Session.from_json(json.dumps(tree))


def test_an_empty_pose_and_a_missing_row_are_a_wheel_not_seen(
    demo: Session, table: Tree
) -> None:
    tree: Any = demo.to_dict()
    tree["rolling"][0]["fr"] = None
    expected = Session.from_json(tree)
    row = 1
    assert [table[name][row] for name in ("stage", "station", "wheel")] == [
        "rolling",
        0,
        "fr",
    ]
    numbers = [name for name in table if name.endswith("_mm") or name[1:].isdigit()]
    shorter = {name: column[:row] + column[row + 1 :] for name, column in table.items()}
    assert Session.from_table(shorter, **keys(demo)) == expected
    for nothing in (None, np.nan, ""):
        for name in numbers:
            table[name][row] = nothing
        assert Session.from_table(table, **keys(demo)) == expected


@pytest.mark.parametrize(
    ("row", "column", "value", "words"),
    [
        (3, "stage", "back", "'back' is none of rolling, ahead"),
        (3, "stage", None, "None is none of"),
        (3, "wheel", "lf", "'lf' is none of fl, fr, rl, rr"),
        (3, "station", -1, "no whole number"),
        (3, "station", 0.5, "no whole number"),
        (3, "station", "first", "no whole number"),
        (3, "station", None, "missing"),
        (3, "station", 10**400, "no whole number"),
        (3, "x_mm", "far", "'far' is no number"),
        (3, "x_mm", True, "True is no number"),
        (3, "r22", None, "a number is missing"),
        (3, "r22", float("nan"), "a number is missing"),
        (3, "wheel", "fl", "stand in row 0"),
    ],
)
def test_a_fault_in_a_table_names_row_and_column(
    demo: Session, table: Tree, row: int, column: str, value: object, words: str
) -> None:
    table[column][row] = value
    with pytest.raises(NotASessionError, match=words) as caught:
        Session.from_table(table, **keys(demo))
    assert f"row {row}" in str(caught.value)
    assert caught.value.path.startswith(f"[{row}]")


def test_a_fault_in_a_file_names_its_line(
    demo: Session, table: Tree, tmp_path: Path
) -> None:
    table["x_mm"][7] = "far"
    file = tmp_path / "poses.csv"
    with file.open("w", newline="") as opened:
        csv.writer(opened).writerows([list(table), *zip(*table.values(), strict=True)])
    with pytest.raises(
        NotASessionError, match=r"row 7 \(line 9\), column 'x_mm'"
    ) as caught:
        Session.from_table(file, **keys(demo))
    assert caught.value.line == 9
    with file.open("a") as opened:
        opened.write("ahead,0\n")
    with pytest.raises(NotASessionError, match="2 cells under 15"):
        Session.from_table(file, **keys(demo))
    file.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(NotASessionError, match="UTF-8"):
        Session.from_table(file, **keys(demo))
    file.write_text("")
    with pytest.raises(NotASessionError, match="'stage' is missing"):
        Session.from_table(file, **keys(demo))


def test_a_pose_that_the_core_refuses_names_its_row(demo: Session, table: Tree) -> None:
    for i in "123":
        for j in "123":
            del table[f"r{i}{j}"]
    count = len(table["stage"])
    for name, value in [("qw", 1.0), ("qx", 0.0), ("qy", 0.0), ("qz", 0.0)]:
        table[name] = [value] * count
    table["qx"][11] = 0.5
    with pytest.raises(NotUnitLengthError, match="row 11, column 'qw'") as caught:
        Session.from_table(table, **keys(demo))
    assert caught.value.index == (11,)


def test_stations_are_counted_without_a_gap(demo: Session, table: Tree) -> None:
    table["station"] = [station + 1 for station in table["station"]]
    with pytest.raises(NotASessionError, match="ahead has a single station"):
        Session.from_table(table, **keys(demo))
    singles = ("ahead", "lock_left", "lock_right")
    table["station"] = [
        None if stage in singles else station
        for stage, station in zip(table["stage"], table["station"], strict=True)
    ]
    with pytest.raises(NotASessionError, match="station 1 of rolling comes where 0"):
        Session.from_table(table, **keys(demo))


def test_a_table_needs_its_columns_and_one_form_of_rotation(
    demo: Session, table: Tree
) -> None:
    rest = keys(demo)
    for name in ("stage", "station", "wheel", "x_mm"):
        without = {key: column for key, column in table.items() if key != name}
        with pytest.raises(NotASessionError, match=f"'{name}' is missing"):
            Session.from_table(without, **rest)
    with pytest.raises(NotASessionError, match="not none"):
        Session.from_table(
            {key: column for key, column in table.items() if key != "r13"}, **rest
        )
    quaternions = {name: table["x_mm"] for name in ("qw", "qx", "qy", "qz")}
    with pytest.raises(NotASessionError, match="not several"):
        Session.from_table(table | quaternions, **rest)
    with pytest.raises(NotASessionError, match="differ in length"):
        Session.from_table(table | {"stage": table["stage"][:-1]}, **rest)
    twice = pd.DataFrame(table).rename(columns={"y_mm": "x_mm"})
    with pytest.raises(NotASessionError, match="two columns"):
        Session.from_table(twice, **rest)  # type: ignore[arg-type]
    for hostile in ("poses.csv", 7, None, [1, 2], {"stage": 7}):
        with pytest.raises(TypeError):
            Session.from_table(hostile, **rest)  # type: ignore[arg-type]
    extra: Tree = table | {"temperature": ["warm"] * len(table["stage"])}
    assert Session.from_table(extra, **rest) == demo


def test_up_is_checked() -> None:
    assert up_in_rig(np.array([[0], [0], [1.0]])) == (0.0, 0.0, 1.0)
    with pytest.raises(NotUnitLengthError):
        up_in_rig([0, 0, 2])
    with pytest.raises(TypeError, match="up"):
        up_in_rig("up")


def test_trials_tell_how_far_they_are_and_can_be_stopped(demo: Session) -> None:
    seen: list[tuple[int, int]] = []

    class StoppedError(Exception):
        pass

    def progress(trials: int, most: int) -> None:
        seen.append((trials, most))
        if len(seen) == 2:
            raise StoppedError

    with pytest.raises(StoppedError):
        monte_carlo(demo, "wheels.fl.camber_deg", progress=progress)
    (first, most), (second, _) = seen
    assert 0 < first < second < most == 10_000_000
