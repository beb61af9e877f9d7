"""JSON, schemas and paths: jsonschema judges documents, Python's json reads the bits.

Documents are sound ones, and the same with one place spoilt: what a schema refuses the
library refuses, and what it passes is read. pandas flattens results, pint knows units.
"""

import copy
import json as python_json
from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
import pint
import pytest
from jsonschema import Draft202012Validator
from wheel_alignment import Alignment, NotASessionError, ThirdAxleError, assess, measure
from wheel_alignment import json as wa_json
from wheel_alignment.error import NotASpecificationError, UnknownReadingError
from wheel_alignment.paths import READINGS, position, unit
from wheel_alignment.session import PoseNoise
from wheel_alignment.simulate import VirtualVehicle

from ledger import hold

Tree = dict[str, Any]
NONE = {"allowed": 0.0, "unit": "1", "why": "none may"}
BITS = {"allowed": 0.0, "unit": "ulp", "why": "every number keeps its last bit"}
NOISE = {"rotation_deg": 0.005, "translation_mm": 0.05}
SPECIFICATION: Tree = {
    "format": "alignment-specification/1",
    "note": "Invented.",
    "decision": {"rule": "guarded", "probability": 0.9},
    "limits": {
        "wheels.{fl,fr}.camber_deg": {"min": -1.0, "max": 0.1},
        "axles.front.total_toe_deg": {
            "nominal": 1.0,
            "minus": 0.7,
            "plus": 0.9,
            "unit": "mm",
            "reference_diameter_mm": 390.5,
        },
    },
}


def session() -> Tree:
    """Two rolling stations, in all forms that a sighting may have."""
    car = replace(
        VirtualVehicle.random(3), lock_deg=None, roll_deg=(-20.0, 20.0), sweep_deg=()
    )
    tree: Tree = car.session().to_dict()
    rng = np.random.default_rng(1)
    pose = tree["ahead"]["fl"]
    turned = {
        "quaternion_wxyz": [1.0, 0.0, 0.0, 0.0],
        "translation_mm": rng.normal(0, 1e3, 3).tolist(),
    }
    tree["rolling"][0]["fl"] = turned
    tree["rolling"][0]["fr"] = {
        "rotation_vector_rad": rng.normal(0, 1, 3).tolist(),
        "translation_mm": rng.normal(0, 1e3, 3).tolist(),
    }
    tree["rolling"][1]["fl"] = [turned, turned]
    tree["ahead"]["fl"] = pose
    tree["pose_noise"] = dict(NOISE)
    tree["input_uncertainty"] = {"up_deg": 0.01, "right_cameras": dict(NOISE)}
    return tree


def spoilt(
    tree: Any, at: tuple[Any, ...] = ()
) -> Iterator[tuple[tuple[Any, ...], Any]]:
    """Every place of a document, and what is put there instead; Ellipsis is nothing."""
    if at:
        # A quaternion of another length is no rotation, which no schema can say.
        number = -tree if "quaternion_wxyz" in at and isinstance(tree, float) else 1.5
        for instead in (..., None, True, "one", number, [], {}, [1.0, 2.0, 3.0]):
            yield at, instead
    if isinstance(tree, dict):
        yield (*at, "colour"), 1.0
        yield (*at, "fm"), tree.get("fl")
        for key, value in tree.items():
            yield from spoilt(value, (*at, key))
    elif isinstance(tree, list):
        yield (*at, len(tree)), 1.0
        # A second element is spoilt as the first.
        for index, value in enumerate(tree[:1]):
            yield from spoilt(value, (*at, index))


def put(tree: Tree, at: tuple[Any, ...], instead: Any) -> Tree:
    changed = copy.deepcopy(tree)
    holder: Any = changed
    for key in at[:-1]:
        holder = holder[key]
    if isinstance(holder, list):
        holder[at[-1] : at[-1] + 1] = [] if instead is ... else [instead]
    elif instead is ...:
        del holder[at[-1]]
    else:
        holder[at[-1]] = instead
    return changed


def misjudged(
    sound: Tree,
    schema: str,
    read: Callable[[str], object],
    refusals: tuple[type[Exception], ...],
) -> tuple[list[bool], int]:
    """Where the library and jsonschema differ, and how many are refused."""
    judge = Draft202012Validator(python_json.loads(schema))
    assert judge.is_valid(sound)
    read(python_json.dumps(sound))
    wrong, refused = [], 0
    for at, instead in spoilt(sound):
        document = put(sound, at, instead)
        valid = judge.is_valid(document)
        try:
            read(python_json.dumps(document))
        except refusals:
            wrong.append(valid)
            refused += 1
        else:
            wrong.append(not valid)
        assert not wrong[-1], (at, instead, valid)
    return wrong, refused


def test_sessions_that_a_schema_refuses() -> None:
    wrong, refused = misjudged(
        session(),
        wa_json.session_schema(),
        wa_json.session_from_json,
        (NotASessionError, ThirdAxleError),
    )
    assert refused > 300
    assert len(wrong) > refused + 50
    for what in ("session_schema", "session_from_json"):
        hold(
            f"json::{what}",
            against="jsonschema",
            quantity="sessions spoilt in one place that are judged otherwise",
            off=wrong,
            **NONE,
        )


def test_code_of_a_third_axle() -> None:
    """A station of all four wheels and another, as jsonschema finds it."""
    judge = Draft202012Validator(python_json.loads(wa_json.session_schema()))
    sound, wrong = session(), []
    for at, instead in spoilt(sound):
        document = put(sound, at, instead)
        if judge.is_valid(document):
            continue
        holder: Any = document
        for key in at[:-1]:
            holder = holder[key]
        extra = instead is not ... and at[-1] in ("colour", "fm")
        axle = extra and {"fl", "fr", "rl", "rr"} <= holder.keys()
        with pytest.raises((NotASessionError, ThirdAxleError)) as refused:
            wa_json.session_from_json(python_json.dumps(document))
        wrong.append(refused.type is not (ThirdAxleError if axle else NotASessionError))
        assert not wrong[-1], (at, instead, refused.value)
    hold(
        "json::JsonError::code_of",
        against="jsonschema",
        quantity="refused sessions with another code than a third axle has, or has not",
        off=wrong,
        **NONE,
    )


def properties(schema: Tree, of: Tree) -> dict[str, Tree]:
    """What an object may hold, by a schema; of a vector its components."""
    while "$ref" in of:
        of = schema["$defs"][of["$ref"].rpartition("/")[2]]
    found: dict[str, Tree] = of.get("properties", {})
    return found


def readings_of(schema: Tree, of: Tree, at: str = "") -> Iterator[str]:
    for name, inner in properties(schema, of).items():
        path = f"{at}.{name}" if at else name
        if properties(schema, inner):
            yield from readings_of(schema, inner, path)
        elif "array" in inner.get("type", ()):
            for index in range(inner["maxItems"]):
                yield f"{path}[{index}]"
        else:
            yield path


def test_paths_of_the_schema() -> None:
    schema = python_json.loads(wa_json.measurement_schema())
    paths = list(readings_of(schema, properties(schema, schema)["alignment"]))
    assert sorted(paths) == sorted(READINGS)
    registry = pint.UnitRegistry()
    wrong = []
    for path in paths:
        name = path.partition("[")[0].rpartition("_")[2]
        known = name if name in ("deg", "mm") else "dimensionless"
        named = {"1": "dimensionless"}.get(unit(path), unit(path))
        wrong.append(registry.Unit(named) != registry.Unit(known))
    hold(
        "paths::unit",
        against="pint",
        quantity="units of all readings of the schema that differ",
        off=wrong,
        **NONE,
    )
    wrong = []
    for path in [*paths, "wheels.fl", "wheels.fl.centre_mm", "camber_deg", "", "a.b"]:
        document = copy.deepcopy(SPECIFICATION) | {"limits": {path: {"max": 1.0}}}
        limited = path in paths and "[" not in path
        try:
            wa_json.specification_from_json(python_json.dumps(document))
        except UnknownReadingError:
            wrong.append(limited)
        except NotASpecificationError:
            wrong.append(True)
        else:
            wrong.append(not limited)
    hold(
        "json::JsonError::specification_code_of",
        against="jsonschema, paths of the result's schema",
        quantity="limits of a path, or of none, whose code is another",
        off=wrong,
        **NONE,
    )


def test_specifications_that_a_schema_refuses() -> None:
    """It has rules beside those of its schema, which refuses no sound one."""
    schema = Draft202012Validator(python_json.loads(wa_json.specification_schema()))
    wrong, refused = [], 0
    for at, instead in spoilt(SPECIFICATION):
        document = put(SPECIFICATION, at, instead)
        text, valid = python_json.dumps(document), schema.is_valid(document)
        try:
            written = wa_json.specification_to_json(text)
        except (NotASpecificationError, UnknownReadingError):
            refused += not valid
            # Neither form of limits, or a path that is no reading.
            wrong.append(valid and at[0] != "limits")
        else:
            wrong.append(not valid or not schema.is_valid(python_json.loads(written)))
        assert not wrong[-1], (at, instead)
    assert refused > 50
    for what in ("specification_schema", "specification_from_json"):
        hold(
            f"json::{what}",
            against="jsonschema",
            quantity="specifications spoilt in one place that are judged otherwise",
            off=wrong,
            **NONE,
        )


def apart(found: Any, expected: Any) -> Any:
    """How many floats lie between both, number by number."""
    found, expected = (np.array(of, dtype=float).ravel() for of in (found, expected))
    assert found.shape == expected.shape
    return np.abs(found.view(np.int64) - expected.view(np.int64)).astype(float)


def test_sessions_keep_every_bit() -> None:
    rng = np.random.default_rng(2)
    tree = session()
    tree["clamp_standoff_mm"] = dict(
        zip(("fl", "fr", "rl", "rr"), rng.uniform(0, 200, 4).tolist(), strict=True)
    )
    read = wa_json.session_from_json(python_json.dumps(tree))
    standoffs = read.clamp_standoff_mm
    given, found = [], []
    for wheel in ("fl", "fr", "rl", "rr"):
        pose = tree["ahead"][wheel]
        matrix = np.eye(4)
        matrix[:3, :3], matrix[:3, 3] = pose["rotation"], pose["translation_mm"]
        given.append([*matrix.ravel(), tree["clamp_standoff_mm"][wheel]])
        (pose,) = getattr(read.ahead, wheel)
        seen = pose.matrix4()
        found.append([*seen.ravel(), getattr(standoffs, wheel)])
    hold(
        "json::session_from_json",
        against="Python json",
        quantity="numbers that were written as JSON",
        off=apart(found, given),
        **BITS,
    )
    written = python_json.loads(wa_json.session_to_json(read))
    poses = [written["ahead"][wheel] for wheel in ("fl", "fr", "rl", "rr")]
    off = apart(
        [np.column_stack([p["rotation"], p["translation_mm"]]) for p in poses],
        np.array(given)[:, :12],
    )
    hold(
        "json::session_to_json",
        against="Python json",
        quantity="numbers as they are read back",
        off=off,
        **BITS,
    )
    schema = Draft202012Validator(python_json.loads(wa_json.session_schema()))
    hold(
        "json::session_to_json",
        against="jsonschema",
        quantity="faults that it finds",
        off=len(list(schema.iter_errors(written))),
        **NONE,
    )


def flat(tree: Tree) -> dict[str, Any]:
    """By pandas: dotted paths, and the components of vectors."""
    table = pd.json_normalize(tree)
    flattened: dict[str, Any] = {}
    for path, value in table.iloc[0].items():
        if isinstance(value, list):
            flattened |= {f"{path}[{i}]": one for i, one in enumerate(value)}
        else:
            flattened[str(path)] = None if pd.isna(value) else float(value)
    return flattened


CAR = replace(VirtualVehicle.random(5), pose_noise=PoseNoise(0.005, 0.05))


def test_results_keep_every_bit() -> None:
    measured = measure(CAR.session())
    given = CAR.session().to_dict() | {"pose_noise": NOISE}
    known = assess(given, SPECIFICATION)
    assert known.verdicts is not None
    assert known.uncertainty is not None
    for what, written, schema, trees in (
        (
            "measurement",
            wa_json.measurement_to_json(measured),
            wa_json.measurement_schema(),
            {"alignment": measured.alignment},
        ),
        (
            "assessment",
            wa_json.assessment_to_json(known),
            wa_json.assessment_schema(),
            {"alignment": known.alignment, "uncertainty": known.uncertainty},
        ),
    ):
        document = python_json.loads(written)
        judge = Draft202012Validator(python_json.loads(schema))
        hold(
            f"json::{what}_to_json",
            against="jsonschema",
            quantity="faults that it finds",
            off=len(list(judge.iter_errors(document))),
            **NONE,
        )
        for name, tree in trees.items():
            numbers = flat(document[name])
            present = [path for path in READINGS if tree.get(path) is not None]
            assert len(present) > 80
            hold(
                f"json::{what}_to_json",
                against="Python json, pandas",
                quantity="readings as they are read back",
                off=apart(
                    [numbers[path] for path in present],
                    [tree.get(path) for path in present],
                ),
                **BITS,
            )
        # Whatever is required is missed, and a text is no number.
        wrong = [
            judge.is_valid(put(document, (key,), instead))
            for key in judge.schema["required"]
            for instead in (..., "text")
        ]
        assert len(wrong) > 15
        hold(
            f"json::{what}_schema",
            against="jsonschema",
            quantity="results without a key, or with a text for it, that pass",
            off=wrong,
            **NONE,
        )
    for schema in (wa_json.session_schema(), wa_json.specification_schema()):
        Draft202012Validator.check_schema(python_json.loads(schema))


def test_verdicts_keep_every_bit() -> None:
    known = assess(CAR.session().to_dict() | {"pose_noise": NOISE}, SPECIFICATION)
    assert known.verdicts is not None
    written = python_json.loads(wa_json.verdicts_to_json(known.verdicts))
    schema = python_json.loads(wa_json.assessment_schema())
    judge = Draft202012Validator({"$ref": "#/$defs/Verdicts", "$defs": schema["$defs"]})
    hold(
        "json::verdicts_to_json",
        against="jsonschema",
        quantity="faults that it finds",
        off=len(list(judge.iter_errors(written))),
        **NONE,
    )
    names = ("value", "standard_uncertainty", "guard_band", "probability_of_conformity")
    hold(
        "json::verdicts_to_json",
        against="Python json",
        quantity="numbers as they are read back",
        off=apart(
            [[one[name] for name in names] for one in written["readings"]],
            [[getattr(one, name) for name in names] for one in known.verdicts.readings],
        ),
        **BITS,
    )


def test_specifications_keep_every_bit() -> None:
    rng = np.random.default_rng(3)
    limits = {
        path: {"min": -rng.uniform(0, 9), "max": rng.uniform(0, 9)}
        for path in READINGS
        if "[" not in path
    }
    text = python_json.dumps(SPECIFICATION | {"limits": limits})
    expected = [list(one.values()) for one in limits.values()]
    written = python_json.loads(wa_json.specification_to_json(text))
    read = wa_json.specification_from_json(text)
    for what, tree in (("to_json", written), ("from_json", read)):
        hold(
            f"json::specification_{what}",
            against="Python json",
            quantity="limits of every reading",
            off=apart(
                [
                    [tree["limits"][path][end] for end in ("min", "max")]
                    for path in limits
                ],
                expected,
            ),
            **BITS,
        )


def test_trees_and_lists_of_readings() -> None:
    rng = np.random.default_rng(4)
    numbers = rng.normal(0, 100, len(READINGS))
    made = Alignment.from_values(numbers.tolist())
    by_pandas = flat(made.to_dict())
    assert list(by_pandas) == list(READINGS)
    order = {path: index for index, path in enumerate(by_pandas)}
    for what, found, expected in (
        ("from_values", list(by_pandas.values()), numbers),
        ("values", made.values(), list(by_pandas.values())),
        ("get", [made.get(path) for path in by_pandas], list(by_pandas.values())),
    ):
        hold(
            f"paths::Alignment::{what}",
            against="pandas json_normalize",
            quantity="every reading of a flattened tree",
            off=apart(found, expected),
            **BITS,
        )
    hold(
        "paths::position",
        against="pandas json_normalize",
        quantity="columns of a flattened tree",
        off=[position(path) - order[path] for path in by_pandas],
        **NONE,
    )
