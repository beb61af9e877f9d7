"""Docstrings that run and leave no field out; types that hold."""

import doctest
import importlib
import importlib.metadata
import inspect
import re
import subprocess
import sys
import types
from pathlib import Path
from types import ModuleType
from typing import is_typeddict

import pytest
import wheel_alignment
from wheel_alignment import ByWheel
from wheel_alignment.error import AlignmentError

HERE = Path(__file__).parent
PACKAGE = Path(wheel_alignment.__file__).parent
NAMES = sorted(
    path.stem for path in PACKAGE.glob("*.py") if not path.stem.startswith("_")
)
MODULES = [
    wheel_alignment,
    *(importlib.import_module(f"wheel_alignment.{name}") for name in NAMES),
]


def is_public(module: ModuleType, name: str) -> bool:
    """Whether a module defines a name for its users."""
    home = getattr(getattr(module, name), "__module__", None)
    return not name.startswith("_") and home == module.__name__


PUBLIC = [
    (module, name)
    for module in MODULES[1:]
    for name in sorted(vars(module))
    if is_public(module, name)
]
EXAMPLES = [
    example
    for module in MODULES
    for example in doctest.DocTestFinder(exclude_empty=True).find(module)
    if example.examples
]


def test_every_function_and_the_errors_have_examples() -> None:
    names = {example.name for example in EXAMPLES}
    public = {
        f"{module.__name__}.{name}"
        for module, name in PUBLIC
        if inspect.isfunction(getattr(module, name))
    }
    assert len(public) > 10
    assert public | {"wheel_alignment.error.AlignmentError"} <= names


@pytest.mark.parametrize("example", EXAMPLES, ids=lambda example: example.name)
def test_the_example_runs(example: doctest.DocTest) -> None:
    report: list[str] = []
    failed, _ = doctest.DocTestRunner().run(example, out=report.append)
    assert failed == 0, "".join(report)


@pytest.mark.parametrize(
    ("module", "name"), PUBLIC, ids=[f"{m.__name__}.{name}" for m, name in PUBLIC]
)
def test_everything_public_is_documented(module: ModuleType, name: str) -> None:
    public = getattr(module, name)
    if isinstance(public, types.GenericAlias | type(ByWheel[int])):
        return  # an alias is documented where it stands
    docs = inspect.getdoc(public)
    assert docs
    assert not docs.startswith(f"{name}(")  # what a dataclass makes up
    fields = set(getattr(public, "__dataclass_fields__", {}))
    if is_typeddict(public):
        fields = set(public.__annotations__)
    heads = re.findall(r"^(\w+(?:, \w+)*)(?: : .+)?$", docs, re.MULTILINE)
    documented = {field for head in heads for field in head.split(", ")}
    assert not {field for field in fields if not field.startswith("_")} - documented


def test_the_top_level_has_what_the_core_has_there() -> None:
    errors = {kind.__name__ for kind in AlignmentError.__subclasses__()}
    names = {"AlignmentError", "ErrorCode", "__version__", *errors, *NAMES}
    names |= {"measure", "Alignment", "Measurement", "assess", "Assessment"}
    names |= {"ByAxle", "BySide", "ByWheel", "Pose", "Session"}
    assert set(wheel_alignment.__all__) == names
    assert len(wheel_alignment.__all__) == len(names)
    assert names <= set(dir(wheel_alignment))
    for name in names:
        assert getattr(wheel_alignment, name) is not None
    name = "invented"
    with pytest.raises(AttributeError, match="no attribute 'invented'"):
        getattr(wheel_alignment, name)


def test_the_package_imports_what_is_used_and_no_more() -> None:
    program = (
        "import sys, wheel_alignment; before = set(sys.modules); "
        "wheel_alignment.paths.READINGS; "
        "print([name in before for name in "
        "('numpy', 'wheel_alignment._native', 'wheel_alignment.paths', 'dataclasses')],"
        " 'wheel_alignment.paths' in sys.modules, 'numpy' in sys.modules)"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "[False, False, False, False] True False"


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


def test_a_users_program_type_checks_with_pyright() -> None:
    run("pyright", "--pythonpath", sys.executable, "typed_program.py")


def test_the_package_type_checks(tmp_path: Path) -> None:
    run("mypy", "--strict", f"--cache-dir={tmp_path}", "-p", "wheel_alignment")


def test_the_types_are_those_at_run_time() -> None:
    run("mypy.stubtest", "wheel_alignment")
