"""The demo session and specification, and what the program prints for the session."""

import copy
import json
import os
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Tree = dict[str, Any]
Program = Callable[..., Tree]

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="session")
def session_path() -> Path:
    """The file of the demo session."""
    return ROOT / "examples" / "pulling-car.json"


@pytest.fixture(scope="session")
def session_text(session_path: Path) -> str:
    """The JSON of the demo session."""
    return session_path.read_text(encoding="utf-8")


@pytest.fixture
def session(session_text: str) -> Tree:
    """The demo session as a dict, to change at will."""
    tree: Tree = json.loads(session_text)
    return tree


@pytest.fixture(scope="session")
def specification_path() -> Path:
    """The file of the demo specification."""
    return ROOT / "examples" / "demo_specification.json"


@pytest.fixture
def specification(specification_path: Path) -> Tree:
    """The demo specification as a dict, to change at will."""
    tree: Tree = json.loads(specification_path.read_text(encoding="utf-8"))
    return tree


@pytest.fixture(scope="session")
def program() -> Program:
    """What `align --json` prints: of the program ALIGN_PROGRAM, else built by Cargo."""
    program = os.environ.get("ALIGN_PROGRAM")
    cargo = ["cargo", "run", "--quiet", "--release", "--example", "align", "--"]
    command = cargo if program is None else [program]

    def run(*arguments: str | Path) -> Tree:
        done = subprocess.run(
            [*command, "--json", *map(str, arguments)],
            cwd=ROOT,
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == 0, done.stderr
        tree: Tree = json.loads(done.stdout)
        return tree

    return run


@pytest.fixture(scope="session")
def _program_tree(program: Program, session_path: Path) -> Tree:
    return program(session_path)


@pytest.fixture
def program_tree(_program_tree: Tree) -> Tree:
    """What the program prints for the demo session, as a dict."""
    return copy.deepcopy(_program_tree)
