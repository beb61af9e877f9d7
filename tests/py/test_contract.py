"""Python has what the core has, under the same paths: alignment-core/contract.json.

The contract is held to the core's source by tests/core/contract.rs.
"""

import dataclasses
import importlib
import inspect
import json
from pathlib import Path
from typing import Any, is_typeddict

import pytest
import wheel_alignment
from wheel_alignment.error import ErrorCode, WarningCode
from wheel_alignment.paths import COUNT, READINGS, unit
from wheel_alignment.session import Session, SessionKeys

ROOT = Path(__file__).resolve().parents[2]
CONTRACT: dict[str, list[dict[str, Any]]] = json.loads(
    (ROOT / "alignment-core" / "contract.json").read_text(encoding="utf-8")
)
FUNCTIONS = {row["name"]: row for row in CONTRACT["functions"]}
STRUCTS = {row["name"]: row["fields"] for row in CONTRACT["structs"]}
CONSTANTS = {row["name"]: row["value"] for row in CONTRACT["constants"]}

NO_FUNCTION = {
    "batch::AheadRecords::one": "a record of arrays is a slice of them",
    "batch::AheadRecords::part": "a part of arrays is a slice of them",
    "batch::SessionRecords::new": "the arrays are keyword arguments",
    "batch::SessionRecords::one": "a record of arrays is a slice of them",
    "batch::SessionRecords::part": "a part of arrays is a slice of them",
    "batch::poses_of": "Session.to_arrays gives every station",
    "json::JsonError::code_of": "an exception has its class already",
    "json::JsonError::specification_code_of": "an exception has its class already",
    "monte_carlo::try_monte_carlo": "what a function raises ends monte_carlo",
    "session::Sighting::frames": "a station of a session holds the frames themselves",
    "uncertainty::watched_monte_carlo": "monte_carlo has progress",
}
"""Functions of the core that Python does without, and why."""

ELSEWHERE = {
    # Alignment is at home in its own module, as its fields are.
    "paths::Alignment::get": "alignment::Alignment::get",
    "paths::Alignment::values": "alignment::Alignment::values",
    "paths::Alignment::from_values": "alignment::Alignment::from_values",
    # Making one is calling the class.
    "live::Tracker::new": "live::Tracker",
    "record::Record::new": "record::Record",
    # An error of the core is an exception.
    "error::Error": "error::AlignmentError",
    "json::JsonError": "error::AlignmentError",
}
"""What Python has under another path."""

KEYWORDS = {
    "conformity::judge": {
        "uncertainty": "conformity::Uncertain",
        "decision": "conformity::Decision",
    },
    "conformity::global_risks": {"production": "conformity::Production"},
    "adjustment::effects": {"stance": "adjustment::Stance"},
    "adjustment::foresee": {"stance": "adjustment::Stance"},
    "adjustment::fewest_moves": {
        "request": "adjustment::Request",
        "stance": "adjustment::Stance",
    },
    "live::Tracker::new": {"settings": "live::LiveSettings"},
    "uncertainty::plan": {"plan": "uncertainty::Plan"},
    "uncertainty::reach": {"plan": "uncertainty::Plan"},
    "uncertainty::monte_carlo": {"settings": "monte_carlo::Settings"},
    "monte_carlo::monte_carlo": {"settings": "monte_carlo::Settings"},
}
"""Arguments of which the fields are keywords in Python: a struct only bundles them."""

ARRAYS = {"batch::ahead_readings", "batch::measure"}
"""Functions whose records and columns are arrays and keywords in Python."""

BUNDLES = {
    "adjustment::Request",
    "adjustment::Stance",
    "conformity::Uncertain",
    "conformity::Production",
    "live::LiveSettings",
    "monte_carlo::Settings",
}
"""Structs that are nothing but such a bundle."""

NO_STRUCT = {
    "batch::AheadRecords": "arrays and keywords hold the records",
    "batch::SessionRecords": "arrays and keywords hold the records",
    "batch::Stations": "an array holds them",
    "batch::Columns": "batch.Readings holds the arrays",
}
"""Structs that Python does without, and why."""

FLAT = {
    # As in the JSON: an assessment is a measurement, a reading's verdict a judgement.
    "assessment::Assessment": ("measurement", "alignment::Measurement"),
    "conformity::ReadingVerdict": ("judgement", "conformity::Judgement"),
}
"""Structs of which the fields of one field are their own in Python."""

OTHER_FIELDS = {
    "json::JsonError": {"reason"},  # The message has it.
    "session::Session": {"format"},  # A session that is made is of the newest.
}
"""Fields that Python has otherwise."""


def found(path: str) -> Any:
    """What stands in Python at a path of the core."""
    module, *names = path.split("::")
    value: Any = importlib.import_module(f"wheel_alignment.{module}")
    for name in names:
        value = getattr(value, name, None)
    return value


def arguments(name: str) -> set[str]:
    """The arguments of a function of the core, a bundle as what it holds."""
    keywords = KEYWORDS.get(name, {})
    return {
        argument
        for parameter in FUNCTIONS[name]["parameters"]
        for argument in STRUCTS.get(keywords.get(parameter, ""), [parameter])
    }


@pytest.mark.parametrize("name", FUNCTIONS)
def test_a_function_is_there(name: str) -> None:
    if name in NO_FUNCTION:
        return
    function = found(ELSEWHERE.get(name, name))
    assert callable(function)
    docs = inspect.getdoc(function)
    assert docs
    missing = {f"{code}Error" for code in FUNCTIONS[name]["errors"]}
    missing = {error for error in missing if error not in docs}
    assert not missing, f"its docs do not name {missing}"
    if name in ARRAYS:
        return
    there = inspect.signature(function).parameters
    taken = set(there)
    for one in there.values():
        if one.kind is inspect.Parameter.VAR_KEYWORD:
            assert name in KEYWORDS
            taken |= found("uncertainty::Plan").__annotations__.keys()
    assert not arguments(name) - taken, arguments(name) - taken


@pytest.mark.parametrize("name", STRUCTS.keys() - BUNDLES - NO_STRUCT.keys())
def test_a_struct_has_the_same_fields(name: str) -> None:
    kind = found(ELSEWHERE.get(name, name))
    assert inspect.isclass(kind)
    fields = set(getattr(kind, "__annotations__", {}))
    if dataclasses.is_dataclass(kind):
        fields = {field.name for field in dataclasses.fields(kind)}
    elif issubclass(kind, wheel_alignment.AlignmentError):
        fields |= set(vars(kind()))
    elif kind is Session:
        fields = set(inspect.signature(Session.from_arrays).parameters)
        fields |= SessionKeys.__annotations__.keys()
    elif not is_typeddict(kind):
        fields |= set(dir(kind))
    expected = set(STRUCTS[name])
    if name in FLAT:
        nested, of = FLAT[name]
        expected = expected - {nested} | set(STRUCTS[of])
    missing = expected - fields
    assert missing == OTHER_FIELDS.get(name, set()), missing


def test_nothing_is_excused_that_is_not_missing() -> None:
    for name in NO_FUNCTION:
        assert name in FUNCTIONS
    for name in BUNDLES:
        assert name in STRUCTS
        assert any(name in of.values() for of in KEYWORDS.values())
        assert found(name) is None
    for name in ELSEWHERE:
        assert name in FUNCTIONS or name in STRUCTS
    for name in {*FLAT, *OTHER_FIELDS, *NO_STRUCT}:
        assert name in STRUCTS


@pytest.mark.parametrize("name", CONSTANTS)
def test_a_constant_has_the_same_value(name: str) -> None:
    value = CONSTANTS[name]
    assert found(name) == (tuple(value) if isinstance(value, list) else value)


def expanded(path: str) -> list[str]:
    """Return both paths of ``wheels.{fl,fr}.camber_deg``."""
    before, brace, rest = path.partition("{")
    if not brace:
        return [path]
    choices, _, after = rest.partition("}")
    return [before + choice + after for choice in choices.split(",")]


def test_readings_have_the_same_paths_and_units() -> None:
    units = {
        path: row["unit"]
        for row in CONTRACT["readings"]
        for path in expanded(row["path"])
    }
    assert {path.partition("[")[0] for path in READINGS} == units.keys()
    assert len(READINGS) == COUNT
    for path in READINGS:
        assert unit(path) == units[path.partition("[")[0]]


@pytest.mark.parametrize("row", CONTRACT["errors"], ids=lambda row: row["name"])
def test_an_error_has_its_number_name_and_class(row: dict[str, Any]) -> None:
    code = ErrorCode(row["number"])
    assert code.name == row["name"]
    kind = getattr(wheel_alignment, f"{row['code']}Error")
    assert (kind.code, kind.name) == (row["number"], row["name"])
    assert issubclass(kind, wheel_alignment.AlignmentError)


@pytest.mark.parametrize("row", CONTRACT["warnings"], ids=lambda row: row["name"])
def test_a_warning_has_its_number_and_name(row: dict[str, Any]) -> None:
    assert WarningCode(row["number"]).name == row["name"]


def test_there_are_no_other_codes() -> None:
    assert len(ErrorCode) == len(CONTRACT["errors"])
    assert len(WarningCode) == len(CONTRACT["warnings"])
