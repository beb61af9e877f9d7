"""How results are built of what the native half returns, and shown."""

from __future__ import annotations

import dataclasses
import json
import math
import types
import typing
from collections.abc import Iterable, Mapping
from typing import TypeAlias, TypeVar

if typing.TYPE_CHECKING:
    from typing_extensions import Self

    from wheel_alignment.alignment import Alignment, Measurement

T = TypeVar("T")
T_co = TypeVar("T_co", covariant=True)

Vector: TypeAlias = tuple[float, float, float]
"""x, y, z."""


class Value:
    """A result: frozen, and equal to another when all their fields are.

    Of arrays that is every number; NaN stands for what is absent and equals itself.
    """

    __slots__ = ()

    def __eq__(self, other: object) -> bool:
        """Compare the types, then field by field."""
        if type(other) is not type(self):
            return NotImplemented
        return all(map(_equal, contents(self), contents(other)))

    def __hash__(self) -> int:
        """Hash the fields; of an array its shape, since its numbers may be many."""
        return hash((type(self), *map(_hashable, contents(self))))

    def _repr_html_(self) -> str:
        from wheel_alignment import _html

        return _html.page(self)


def contents(value: Value) -> list[object]:
    """Return what the fields hold."""
    assert dataclasses.is_dataclass(value)
    return [getattr(value, field.name) for field in dataclasses.fields(value)]


def _equal(one: object, other: object) -> bool:
    if not (_shape(one) or _shape(other)):
        return one == other or (one != one and other != other)
    import numpy as np

    first, second = np.asarray(one), np.asarray(other)
    return np.array_equal(first, second, equal_nan=first.dtype.kind == "f")


def _hashable(value: object) -> object:
    if isinstance(value, Mapping):
        return frozenset(value.items())
    return _shape(value) or value


def _shape(value: object) -> tuple[int, ...]:
    """Return the shape of an array; of all else it is ()."""
    shape: tuple[int, ...] = getattr(value, "shape", ())
    return shape


def table(
    name: str,
    measured: Measurement,
    expanded: Alignment | None,
    more: Iterable[tuple[str, str]] = (),
) -> str:
    """Show the chief readings, each with its expanded uncertainty if that is known."""
    corners = [f"wheels.{wheel}" for wheel in ("fl", "fr", "rl", "rr")]
    sides = [f"steering.{side}" for side in ("left", "right")]
    rows = {
        "camber_deg": corners,
        "toe_deg": corners,
        "caster_deg": sides,
        "sai_deg": sides,
        "thrust_angle_deg": ["chassis"],
    }
    lines = []
    for reading, places in rows.items():
        cells = []
        for place in places:
            path = f"{place}.{reading}"
            of = None if expanded is None else expanded.get(path)
            at = "car" if place == "chassis" else place.rpartition(".")[2]
            cells.append(f"{at} {_angle(measured.alignment.get(path), of)}")
        lines.append((reading, "  ".join(cells)))
    codes = ", ".join(dict.fromkeys(warning.code for warning in measured.warnings))
    lines += [("warnings", codes or "none"), *more]
    return "\n".join([f"<{name}", *(f"    {key:<17}{row}" for key, row in lines), ">"])


def _angle(value: float | None, expanded: float | None) -> str:
    if value is None:
        return "absent"
    if expanded is None:
        # A value that rounds to zero has no sign for a person.
        return f"{round(value, 2) + 0.0:+.2f}"
    return plus_minus(value, expanded)


def plus_minus(value: float, expanded: float) -> str:
    """Show a value with its expanded uncertainty, of which two digits matter."""
    digits = 1 - math.floor(math.log10(expanded)) if expanded > 0.0 else 2
    digits = min(max(digits, 2), 6)
    return f"{round(value, digits) + 0.0:+.{digits}f} ± {expanded:.{digits}f}"


def from_json(kind: type[T], text: str) -> T:
    """Build a result from its JSON."""
    return build(kind, json.loads(text))


def build_as(kind: object, tree: object) -> object:
    """Build what an annotation says."""
    return _build(kind, tree)


def build(kind: type[T], tree: object) -> T:
    """Build a result from its tree."""
    built = _build(kind, tree)
    assert isinstance(built, kind)
    return built


def with_infinities(tree: object, like: object) -> object:
    """Put infinity where there is none in a tree, but a number in another like it.

    JSON has no infinity, and infinite degrees of freedom are null in it.
    """
    if isinstance(like, dict):
        assert isinstance(tree, dict)
        return {key: with_infinities(tree[key], of) for key, of in like.items()}
    if isinstance(like, list):
        assert isinstance(tree, list)
        return [with_infinities(*both) for both in zip(tree, like, strict=True)]
    return math.inf if tree is None and like is not None else tree


class Tree(Value):
    """A result that can be had as plain data, and be made of it again."""

    __slots__ = ()

    def to_dict(self) -> dict[str, object]:
        """Return all of it as plain dicts and lists, as the JSON has it."""
        tree = plain(self)
        assert isinstance(tree, dict)
        return tree

    @classmethod
    def from_dict(cls, tree: Mapping[str, object]) -> Self:
        """Make it again of what `to_dict` returned, or of its JSON once parsed."""
        if not isinstance(tree, Mapping):
            kind = type(tree).__qualname__
            raise TypeError(f"{cls.__name__} is made of a mapping, not {kind}")
        return build(cls, dict(tree))


def plain(value: object) -> object:
    """Return the value as plain dicts, lists, texts and numbers."""
    if dataclasses.is_dataclass(value):
        fields = dataclasses.fields(value)
        return {field.name: plain(getattr(value, field.name)) for field in fields}
    if isinstance(value, tuple):
        return [plain(item) for item in value]
    return None if value == math.inf else value


def _build(kind: object, tree: object) -> object:
    """Build what the annotation `kind` says; a key too many or too few is an error."""
    if typing.get_origin(kind) in (types.UnionType, typing.Union):
        if tree is None:
            return None
        kind = _one_of(typing.get_args(kind), tree)
    origin = typing.get_origin(kind) or kind
    if origin is tuple:
        assert isinstance(tree, list)
        one, more = typing.get_args(kind)[:2]
        return tuple(_build(one, item) for item in tree) if more is ... else tuple(tree)
    if isinstance(origin, type) and dataclasses.is_dataclass(origin):
        assert isinstance(tree, dict)
        fields = _fields(origin)
        arguments = typing.get_args(kind) or (object,)
        return origin(
            **{
                name: _build(
                    arguments[0]
                    if isinstance(fields.get(name), TypeVar)
                    else fields.get(name),
                    value,
                )
                for name, value in tree.items()
            }
        )
    return tree


def _one_of(kinds: tuple[object, ...], tree: object) -> object:
    """Return the kind of which the tree is: of several the one that has its fields."""
    kinds = tuple(kind for kind in kinds if kind is not types.NoneType)
    if len(kinds) == 1 or not isinstance(tree, dict):
        return kinds[0]
    return next(
        kind
        for kind in kinds
        if isinstance(kind, type)
        and dataclasses.is_dataclass(kind)
        and _fields(kind).keys() == tree.keys()
    )


_FIELDS: dict[type, dict[str, object]] = {}


def _fields(kind: type) -> dict[str, object]:
    if kind not in _FIELDS:
        _FIELDS[kind] = typing.get_type_hints(kind)
    return _FIELDS[kind]


def build_fields(kind: type, tree: dict[str, object]) -> dict[str, object]:
    """Build what a dataclass is made of, each field by itself."""
    fields = _fields(kind)
    return {name: _build(fields[name], value) for name, value in tree.items()}
