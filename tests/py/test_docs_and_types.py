"""Docstrings that run and leave no field out; types that hold."""

import doctest
import importlib.metadata
import inspect
import re
import subprocess
import sys
from pathlib import Path
from typing import is_typeddict

import pytest
import wheel_alignment
import wheel_alignment._assessment
import wheel_alignment._conformity
import wheel_alignment._errors
import wheel_alignment._measure
import wheel_alignment._readings
import wheel_alignment._repeatability
import wheel_alignment._uncertainty

HERE = Path(__file__).parent
MODULES = [
    wheel_alignment,
    wheel_alignment._assessment,
    wheel_alignment._conformity,
    wheel_alignment._errors,
    wheel_alignment._measure,
    wheel_alignment._readings,
    wheel_alignment._repeatability,
    wheel_alignment._uncertainty,
]
EXAMPLES = [
    example
    for module in MODULES
    for example in doctest.DocTestFinder(exclude_empty=True).find(module)
    if example.examples
]


def test_every_function_and_the_errors_have_examples() -> None:
    names = {example.name.rpartition(".")[2] for example in EXAMPLES}
    public = {
        name
        for name in wheel_alignment.__all__
        if inspect.isfunction(getattr(wheel_alignment, name))
    }
    assert len(public) > 10
    assert public | {"AlignmentError"} <= names


@pytest.mark.parametrize("example", EXAMPLES, ids=lambda example: example.name)
def test_the_example_runs(example: doctest.DocTest) -> None:
    report: list[str] = []
    failed, _ = doctest.DocTestRunner().run(example, out=report.append)
    assert failed == 0, "".join(report)


@pytest.mark.parametrize("name", [*wheel_alignment.__all__, "Warning"])
def test_everything_public_is_documented(name: str) -> None:
    public = getattr(wheel_alignment, name)
    if isinstance(public, str):
        return
    docs = inspect.getdoc(public)
    assert docs
    assert not docs.startswith(f"{name}(")  # what a dataclass makes up
    fields = set(getattr(public, "__dataclass_fields__", {}))
    if is_typeddict(public):
        fields = set(public.__annotations__)
    heads = re.findall(r"^(\w+(?:, \w+)*)(?: : .+)?$", docs, re.MULTILINE)
    assert not fields - {field for head in heads for field in head.split(", ")}


def test_the_version_is_the_packages() -> None:
    assert wheel_alignment.__version__ == importlib.metadata.version("wheel_alignment")


def run(*arguments: str) -> None:
    done = subprocess.run(
        [sys.executable, "-m", *arguments],
        cwd=HERE,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr


def test_a_users_program_type_checks(tmp_path: Path) -> None:
    run("mypy", "--strict", f"--cache-dir={tmp_path}", str(HERE / "typed_program.py"))


def test_the_package_type_checks(tmp_path: Path) -> None:
    run("mypy", "--strict", f"--cache-dir={tmp_path}", "-p", "wheel_alignment")


def test_the_types_are_those_at_run_time() -> None:
    run("mypy.stubtest", "wheel_alignment")
