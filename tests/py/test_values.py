"""Every result is a frozen value: it shows itself, compares, hashes, pickles, copies.

And in a notebook it is a table with units.
"""

import copy
import dataclasses
import importlib
import inspect
import pickle
import types
import typing
from html.parser import HTMLParser
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
import pytest
import wheel_alignment
from wheel_alignment import Alignment, Assessment, assess, measure
from wheel_alignment._values import Value
from wheel_alignment.error import Warning
from wheel_alignment.paths import READINGS
from wheel_alignment.session import ByWheel
from wheel_alignment.uncertainty import Uncertainty, propagate

Tree = dict[str, Any]

MODULES = [
    importlib.import_module(f"wheel_alignment.{path.stem}")
    for path in sorted(Path(wheel_alignment.__file__).parent.glob("*.py"))
    if not path.stem.startswith("_")
]
KINDS = [
    kind
    for module in MODULES
    for kind in vars(module).values()
    if inspect.isclass(kind)
    and kind.__module__ == module.__name__
    and dataclasses.is_dataclass(kind)
    and kind is not Uncertainty  # It holds what the native half knows: see below.
]
HARM = "<b>&'\"x"


def sample(hint: object, number: float) -> Any:
    """Something of a type, made of a number."""
    arguments = typing.get_args(hint)
    origin = typing.get_origin(hint)
    if origin in (typing.Union, types.UnionType):
        return sample(arguments[0], number)
    if origin is tuple:
        if arguments[-1] is ...:
            return (sample(arguments[0], number), sample(arguments[0], number + 1))
        return tuple(sample(argument, number) for argument in arguments)
    if origin is typing.Literal:
        return arguments[0]
    kind = origin or hint
    if isinstance(kind, type) and dataclasses.is_dataclass(kind):
        hints = typing.get_type_hints(kind)
        made = {
            field.name: sample(
                (arguments or (float,))[0]
                if isinstance(hints[field.name], TypeVar)
                else hints[field.name],
                number + index / 8,
            )
            for index, field in enumerate(dataclasses.fields(kind))
        }
        return kind(**made)
    if kind is bool:
        return number > 1.0
    if kind in (int, float):
        return kind(number)
    assert kind is str, hint
    return HARM


class Reader(HTMLParser):
    """Reads a page: its text, and whether all that opens is closed."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.text = ""
        self.tags: set[str] = set()
        self.feed(page)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: object) -> None:
        """Opens."""
        self.open.append(tag)
        self.tags.add(tag)

    def handle_endtag(self, tag: str) -> None:
        """Closes what was opened last."""
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        """Reads."""
        self.text += data + "\n"


def test_there_are_results_of_every_kind() -> None:
    assert len(KINDS) > 35


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.__qualname__)
def test_a_result_is_a_value(kind: type[Any]) -> None:
    value, same, other = sample(kind, 1.5), sample(kind, 1.5), sample(kind, 2.5)
    assert issubclass(kind, Value)
    assert value == same
    assert hash(value) == hash(same)
    assert value != other or repr(value) == repr(other)
    assert value != 1
    assert kind.__name__ in repr(value)
    for protocol in range(2, pickle.HIGHEST_PROTOCOL + 1):
        again = pickle.loads(pickle.dumps(value, protocol))
        assert type(again) is kind
        assert again == value
        assert hash(again) == hash(value)
    for again in (copy.copy(value), copy.deepcopy(value)):
        assert type(again) is kind
        assert again == value
    name = dataclasses.fields(kind)[0].name
    with pytest.raises(dataclasses.FrozenInstanceError):
        setattr(value, name, 0.0)
    with pytest.raises((AttributeError, TypeError)):
        value.invented = 1
    assert not hasattr(value, "__dict__")


def leaves(value: object) -> Any:
    """Name and value of every field below."""
    if dataclasses.is_dataclass(value):
        for field in dataclasses.fields(value):
            of = getattr(value, field.name)
            yield field.name, of
            yield from leaves(of)
    elif isinstance(value, tuple):
        for item in value:
            yield from leaves(item)


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.__qualname__)
def test_a_result_is_a_table_in_a_notebook(kind: type[Any]) -> None:
    value = sample(kind, 1.5)
    if kind is Assessment:  # Its readings have their uncertainties beside them.
        value = dataclasses.replace(value, expanded_uncertainty=None)
    page = value._repr_html_()
    reader = Reader(page)
    assert kind.__name__ in reader.text
    assert reader.tags <= {
        *("div", "b", "table", "thead", "tbody", "tr", "th", "td"),
        *("details", "summary"),
    }
    assert "color:" not in page
    for name, of in leaves(value):
        assert name in reader.text
        if isinstance(of, float) and name.endswith("_deg"):
            assert f"{of:.3f}°" in reader.text
        if isinstance(of, float) and name.endswith("_mm"):
            assert f"{of:.2f} mm" in reader.text
        if isinstance(of, str) and of == HARM:
            assert HARM in reader.text


def test_what_is_absent_or_tiny_or_endless_is_shown_as_such() -> None:
    warning = Warning("x", 1, None, None, None, 1e-9, -np.inf, "deg", "y")
    text = Reader(warning._repr_html_()).text
    assert "1e-09°" in text
    assert "–" in text
    assert "-inf°" in text


def test_a_page_has_the_uncertainties(session: Tree, specification: Tree) -> None:
    known = assess(session, specification)
    camber_deg = known.alignment.wheels.fl.camber_deg
    assert known.expanded_uncertainty is not None
    expanded_deg = known.expanded_uncertainty.wheels.fl.camber_deg
    assert camber_deg is not None
    assert expanded_deg is not None
    text = Reader(known._repr_html_()).text
    shown = f"{camber_deg:+.3f} ± {expanded_deg:.3f}°"
    assert shown in text
    assert shown in Reader(propagate(session)._repr_html_()).text
    assert shown not in Reader(measure(session)._repr_html_()).text
    assert "does_not_conform" in text


def test_an_uncertainty_is_its_session(session: Tree) -> None:
    known = propagate(session)
    again = pickle.loads(pickle.dumps(known))
    assert type(again) is Uncertainty
    assert again == known
    assert hash(again) == hash(known)
    assert again.standard == known.standard
    assert again.covariance_matrix() == known.covariance_matrix()
    assert again.measurement == known.measurement
    assert copy.copy(known) is known
    assert copy.deepcopy([known])[0] is known
    assert known == propagate(session)
    joint = propagate(session, method="joint")
    assert joint != known
    assert pickle.loads(pickle.dumps(joint)).measurement.method == "joint"
    session["ahead"]["fl"]["translation_mm"][0] += 1e-9
    assert propagate(session) != known
    assert known != 1
    with pytest.raises(dataclasses.FrozenInstanceError):
        known.standard = joint.standard  # type: ignore[misc]


def with_arrays(value: Any, of: np.ndarray) -> Any:
    """The same result with an array for every number."""
    if dataclasses.is_dataclass(value):
        fields = dataclasses.fields(value)
        changed = {f.name: with_arrays(getattr(value, f.name), of) for f in fields}
        return type(value)(**changed)
    return of.copy()


def test_arrays_compare_by_their_numbers(session: Tree) -> None:
    tree = measure(session).alignment
    numbers = np.array([1.0, np.nan, 3.0])
    first, second = with_arrays(tree, numbers), with_arrays(tree, numbers)
    assert isinstance(first, Alignment)
    assert first == second
    assert hash(first) == hash(second)
    assert first == pickle.loads(pickle.dumps(first))
    assert first != with_arrays(tree, np.array([1.0, np.nan, 4.0]))
    assert first != with_arrays(tree, np.array([1.0, np.nan]))
    assert first != tree
    assert "array of shape (3,)" in first._repr_html_()
    nan = ByWheel(float("nan"), 0.0, 0.0, 0.0)
    assert nan == pickle.loads(pickle.dumps(nan))


def test_a_path_is_a_reading_of_the_tree(session: Tree) -> None:
    tree = measure(session).alignment
    assert [tree.get(path) for path in READINGS] == list(tree.values())
    assert Alignment.from_values(tree.values()) == tree
