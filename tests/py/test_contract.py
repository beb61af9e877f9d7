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

ROOT = Path(__file__).resolve().parents[2]
CONTRACT: dict[str, list[dict[str, Any]]] = json.loads(
    (ROOT / "alignment-core" / "contract.json").read_text(encoding="utf-8")
)
FUNCTIONS = {row["name"]: row for row in CONTRACT["functions"]}
STRUCTS = {row["name"]: row["fields"] for row in CONTRACT["structs"]}
CONSTANTS = {row["name"]: row["value"] for row in CONTRACT["constants"]}

NO_FUNCTION = {
    # An exception carries what these tell.
    "json::JsonError::code_of": "a code from a parser's own sentence",
    "json::JsonError::specification_code_of": "a code from a parser's own sentence",
    # The tree is at home where its readings are.
}
"""Functions of the core that Python does without, and why."""

ELSEWHERE = {
    "paths::Alignment::get": "alignment::Alignment::get",
    "paths::Alignment::values": "alignment::Alignment::values",
    "paths::Alignment::from_values": "alignment::Alignment::from_values",
}
"""Functions that Python has at the home of their type."""

OTHER_ARGUMENTS: dict[str, str] = {}
"""Functions whose arguments are others in Python, and why."""

NO_STRUCT: dict[str, str] = {}
"""Structs of the core that Python does without, and why."""

OTHER_FIELDS: dict[str, str] = {}
"""Structs of which Python has some fields otherwise, and why."""


def found(path: str) -> Any:
    """What stands in Python at a path of the core."""
    module, *names = path.split("::")
    value: Any = importlib.import_module(f"wheel_alignment.{module}")
    for name in names:
        value = getattr(value, name, None)
    return value


@pytest.mark.parametrize("name", FUNCTIONS)
def test_a_function_is_there(name: str) -> None:
    function = found(ELSEWHERE.get(name, name))
    if name in NO_FUNCTION:
        assert function is None
        return
    assert callable(function)
    docs = inspect.getdoc(function)
    assert docs
    errors = {f"{code}Error" for code in FUNCTIONS[name]["errors"]}
    missing = {error for error in errors if error not in docs}
    assert not missing, f"its docs do not name {missing}"


@pytest.mark.parametrize("name", FUNCTIONS.keys() - NO_FUNCTION.keys())
def test_a_function_has_the_same_arguments(name: str) -> None:
    function = found(ELSEWHERE.get(name, name))
    arguments = inspect.signature(function).parameters
    missing = set(FUNCTIONS[name]["parameters"]) - set(arguments)
    assert bool(missing) == (name in OTHER_ARGUMENTS), missing


@pytest.mark.parametrize("name", STRUCTS)
def test_a_struct_has_the_same_fields(name: str) -> None:
    kind = found(name)
    if name in NO_STRUCT:
        assert kind is None
        return
    assert inspect.isclass(kind)
    if is_typeddict(kind):
        fields = set(kind.__annotations__)
    elif dataclasses.is_dataclass(kind):
        fields = {field.name for field in dataclasses.fields(kind)}
    else:
        fields = {field for field in STRUCTS[name] if hasattr(kind, field)}
    missing = set(STRUCTS[name]) - fields
    assert bool(missing) == (name in OTHER_FIELDS), missing


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
