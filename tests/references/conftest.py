"""The library under test, as a function from a session to what it measured.

With the environment variable ALIGN_PROGRAM set, a program that prints the same JSON
for `--json FILE` stands in for the Python package: the core can be tested without it.
"""

import json
import os
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

# One standard deviation of a pose, as told to the library. There is no noise:
# chi-squared is that of what does not fit.
STATED = {"rotation_deg": 0.005, "translation_mm": 0.05}

Session = dict[str, Any]
Measure = Callable[[Session], dict[str, Any]]
Read = Callable[[Session], dict[str, Any]]


@pytest.fixture(params=["staged", "joint"])
def method(request: pytest.FixtureRequest) -> str:
    """By which a session is to be measured; each must find the car."""
    return request.param


@pytest.fixture(params=["MuJoCo", "Pinocchio"])
def engine(request: pytest.FixtureRequest) -> str:
    """In which a car is built; the library must agree with each."""
    return request.param


@pytest.fixture(scope="session")
def measure(tmp_path_factory: pytest.TempPathFactory) -> Measure:
    """Measures a session: the whole result as plain dictionaries and lists."""
    program = os.environ.get("ALIGN_PROGRAM")
    if program is None:
        import wheel_alignment

        return lambda session: wheel_alignment.measure(session).to_dict()
    return _measure_by(program, tmp_path_factory.mktemp("sessions") / "session.json")


def _measure_by(program: str, path: Path) -> Measure:
    def run(session: Session) -> dict[str, Any]:
        path.write_text(json.dumps(session))
        done = subprocess.run(
            [program, "--json", path], capture_output=True, text=True, check=False
        )
        assert done.returncode == 0, done.stderr
        return json.loads(done.stdout)

    return run


@pytest.fixture(scope="session")
def read(measure: Measure) -> Read:
    """Measures a session: the readings by dotted path, but for absent ones."""
    return lambda session: dict(_flatten(measure(session)["alignment"]))


def _flatten(tree: dict[str, Any], parent: str = "") -> Iterator[tuple[str, Any]]:
    for key, value in tree.items():
        if isinstance(value, dict):
            yield from _flatten(value, f"{parent}{key}.")
        elif value is not None:
            yield f"{parent}{key}", value


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Let the ledger be checked last, and only when all that it tells of has run."""
    last = [item for item in items if item.path.name == "test_ledger.py"]
    if not last:
        return
    files = {path.name for path in Path(__file__).parent.glob("test_*.py")}
    items[:] = [item for item in items if item not in last]
    if files <= {item.path.name for item in [*items, *last]}:
        items.extend(last)
