"""The committed conformance vectors are those that their program makes."""

import json
from typing import Any

import pytest

import make_conformity
import make_vectors


def assert_close(found: Any, expected: Any, place: str) -> None:
    assert type(found) is type(expected), place
    if isinstance(expected, dict):
        assert found.keys() == expected.keys(), place
        for key, value in expected.items():
            assert_close(found[key], value, f"{place}.{key}")
    elif isinstance(expected, list):
        assert len(found) == len(expected), place
        for index, value in enumerate(expected):
            assert_close(found[index], value, f"{place}[{index}]")
    elif isinstance(expected, float):
        assert found == pytest.approx(expected, rel=1e-12, abs=1e-12), place
    else:
        assert found == expected, place


def test_the_vectors_are_current() -> None:
    found = json.loads(make_vectors.VECTORS.read_text())
    assert_close(found, make_vectors.vectors(), "gauge")


def test_the_vectors_of_conformity_are_current() -> None:
    found = json.loads(make_conformity.CONFORMITY.read_text())
    assert_close(found, make_conformity.vectors(), "conformity")
