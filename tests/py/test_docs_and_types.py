"""Docstrings that run and leave no field out; types that hold."""

import dataclasses
import doctest
import importlib.metadata
import inspect
import re
import subprocess
import sys
from pathlib import Path

import pytest
import wheel_alignment
import wheel_alignment._errors
import wheel_alignment._measure
import wheel_alignment._readings

HERE = Path(__file__).parent
MODULES = [
    wheel_alignment,
    wheel_alignment._errors,
    wheel_alignment._measure,
    wheel_alignment._readings,
]
EXAMPLES = [
    example
    for module in MODULES
    for example in doctest.DocTestFinder(exclude_empty=True).find(module)
    if example.examples
]


def test_the_main_job_and_its_errors_have_examples() -> None:
    names = {example.name.rpartition(".")[2] for example in EXAMPLES}
    assert {"measure", "AlignmentError"} <= names


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
    if dataclasses.is_dataclass(public):
        heads = re.findall(r"^(\w+(?:, \w+)*)(?: : .+)?$", docs, re.MULTILINE)
        documented = {field for head in heads for field in head.split(", ")}
        missing = {field.name for field in dataclasses.fields(public)} - documented
        assert not missing


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
