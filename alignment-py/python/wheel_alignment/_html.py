"""Results as tables of a notebook, with their units."""

from __future__ import annotations

import dataclasses
import html
import math
from collections.abc import Iterable

from wheel_alignment._values import Value, plus_minus

_UNITS = {"_deg": "°", "_mm": " mm", "_percent": " %", "_rad": " rad"}
# Fields that are in the unit which the object names in its field `unit`.
_IN_UNIT = {
    "value",
    "limit",
    "nominal",
    "standard_uncertainty",
    "guard_band",
    "min",
    "max",
}
# Lines take the colour of the text: legible on light and on dark.
_TABLE = '<table style="border-collapse:collapse;margin:.4em 0">'
_CELL = "border:1px solid;padding:.1em .5em;text-align:"


def page(value: Value, beside: object = None, name: str | None = None) -> str:
    """Show a result: chief figures in tables, and lists folded in.

    Parameters
    ----------
    value : Value
        The result.
    beside : Value, optional
        A tree of the readings' expanded uncertainties.
    name : str, optional
        What stands above; the class when left out.
    """
    if beside is not None:
        # Readings have their uncertainties; all else stands alone.
        beside = _Beside(beside)
    title = html.escape(name or type(value).__name__)
    return f"<div><b>{title}</b>{_sections(value, beside, '')}</div>"


class _Beside:
    """The tree that goes with the field `alignment` of a measurement."""

    def __init__(self, alignment: object) -> None:
        self.alignment = alignment


def _sections(value: Value, beside: object, unit: str) -> str:
    """Show the fields in their order: figures, columns of a kind, parts, lists."""
    unit = _unit_of(value, unit)
    parts: list[str] = []
    for kind, names in _groups(value):
        pairs = [(n, getattr(value, n), getattr(beside, n, None)) for n in names]
        if kind is None:
            rows = [[_text(n), _leaf(n, of, by, unit)] for n, of, by in pairs]
            parts.append(_table([], rows))
        elif kind is tuple:
            parts += (_folded(n, of, unit) for n, of, _ in pairs)
        elif len(names) > 1 and set(dict(_groups(pairs[0][1]))) <= {None}:
            parts.append(_columns(pairs, unit))
        else:
            # Of several trees the first is what people look for.
            (n, of, by), *rest = pairs
            parts.append(f"<div>{_text(n)}{_sections(of, by, unit)}</div>")
            parts += (_details(n, _sections(of, by, unit)) for n, of, by in rest)
    return "".join(parts)


def _groups(value: Value) -> Iterable[tuple[type | None, list[str]]]:
    """Put fields together that stand in one table, in the order of the first.

    Leaves are of kind None, lists of results `tuple`, results their own class.
    """
    groups: dict[type | None, list[str]] = {}
    assert dataclasses.is_dataclass(value)
    for field in dataclasses.fields(value):
        if field.name.startswith("_"):
            continue
        of = getattr(value, field.name)
        kind: type | None = None
        if isinstance(of, Value):
            kind = type(of)
        elif isinstance(of, tuple) and any(isinstance(item, Value) for item in of):
            kind = tuple
        groups.setdefault(kind, []).append(field.name)
    return groups.items()


def _columns(pairs: list[tuple[str, Value, object]], unit: str) -> str:
    """Show results of one class side by side, a row per field."""
    first = pairs[0][1]
    assert dataclasses.is_dataclass(first)
    rows = [
        [
            _text(field.name),
            *(
                _leaf(
                    field.name,
                    getattr(of, field.name),
                    getattr(by, field.name, None),
                    _unit_of(of, unit),
                )
                for _, of, by in pairs
            ),
        ]
        for field in dataclasses.fields(first)
    ]
    return _table(["", *(_text(name) for name, _, _ in pairs)], rows)


def _folded(name: str, items: tuple[object, ...], unit: str) -> str:
    """Show a list of results, a row for each, folded in."""
    values = [item for item in items if isinstance(item, Value)]
    fields = [field.name for field in dataclasses.fields(values[0])]  # type: ignore[arg-type]
    rows = [
        [_leaf(field, getattr(of, field), None, _unit_of(of, unit)) for field in fields]
        for of in values
    ]
    table = _table([_text(field) for field in fields], rows)
    return _details(f"{name} ({len(items)})", table)


def _details(name: str, inner: str) -> str:
    return f"<details><summary>{_text(name)}</summary>{inner}</details>"


def _table(head: list[str], rows: list[list[str]]) -> str:
    if head:
        cells = "".join(f'<th style="{_CELL}left">{cell}</th>' for cell in head)
        top = f"<thead><tr>{cells}</tr></thead>"
    else:
        top = ""
    lines = "".join(
        f'<tr><th style="{_CELL}left;font-weight:normal">{first}</th>'
        + "".join(f'<td style="{_CELL}right">{cell}</td>' for cell in rest)
        + "</tr>"
        for first, *rest in rows
    )
    return f"{_TABLE}{top}<tbody>{lines}</tbody></table>"


def _leaf(name: str, value: object, beside: object, unit: str) -> str:
    """Show what a field holds on one line, as text of HTML."""
    suffix = next((_UNITS[end] for end in _UNITS if name.endswith(end)), None)
    if suffix is None:
        suffix = _UNITS.get(f"_{unit}", "") if name in _IN_UNIT else ""
    if value is None:
        return "–"
    if isinstance(value, bool) or not isinstance(value, float | tuple | Value):
        shape = getattr(value, "shape", ())
        return _text(f"array of shape {shape}" if shape else str(value))
    if isinstance(value, float):
        if isinstance(beside, float):
            return _text(plus_minus(value, beside) + suffix)
        return _text(_number(value, suffix) + suffix)
    if isinstance(value, Value):
        inner = [
            f"{_text(n)} {_leaf(n, getattr(value, n), None, _unit_of(value, unit))}"
            for _, names in _groups(value)
            for n in names
        ]
        return ", ".join(inner)
    items = [_leaf(name, item, None, unit) for item in value]
    return ", ".join(items) if items else "none"


def _number(value: float, suffix: str) -> str:
    if not math.isfinite(value):
        return "∞" if value == math.inf else str(value)
    digits = {"°": 3, " mm": 2}.get(suffix)
    if digits is None or 0.0 < abs(value) < 0.5 * 10.0**-digits:
        return f"{value:.4g}"
    # A value that rounds to zero has no sign for a person.
    return f"{round(value, digits) + 0.0:.{digits}f}"


def _unit_of(value: Value, unit: str) -> str:
    own = getattr(value, "unit", unit)
    return own if isinstance(own, str) else unit


def _text(text: str) -> str:
    return html.escape(text)
