"""How formulas take numbers and arrays side by side, and say where they fail."""

from __future__ import annotations

import math
import operator
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, SupportsFloat, SupportsIndex

from wheel_alignment import _native

if TYPE_CHECKING:
    from wheel_alignment._types import Array, Column, Numbers, Sides

_SIDES = {"left": 0.0, "right": 1.0}


def number(path: str, on_error: str, *columns: Column) -> object:
    """Evaluate a formula that gives one number."""
    return _evaluate(path, on_error, columns, lambda found, _: found(0))


def vector(path: str, on_error: str, *columns: Column) -> object:
    """Evaluate a formula that gives a vector: of arrays an array (..., 3)."""

    def make(found: Callable[[int], Column], rows: Array | None) -> object:
        return (found(0), found(1), found(2)) if rows is None else rows

    return _evaluate(path, on_error, columns, make)


def several(
    path: str, on_error: str, make: Callable[..., object], count: int, *columns: Column
) -> object:
    """Evaluate a formula that gives several numbers, of which `make` makes one."""
    return _evaluate(
        path, on_error, columns, lambda found, _: make(*map(found, range(count)))
    )


def _evaluate(
    path: str,
    on_error: str,
    columns: Sequence[Column],
    make: Callable[[Callable[[int], Column], Array | None], object],
) -> object:
    """Evaluate row by row, and make the result of what each column of it holds."""
    if on_error not in ("raise", "codes"):
        raise ValueError(f"on_error is 'raise' or 'codes', not {on_error!r}")
    raising = on_error == "raise"
    row = [column for column in columns if isinstance(column, float)]
    if len(row) == len(columns):
        found, code = _native.of_numbers(path, row, raising)
        value = make(found.__getitem__, None)
        return value if raising else (value, code)
    import numpy as np

    views = np.broadcast_arrays(*columns)
    shape = views[0].shape
    table, codes = _native.of_arrays(path, list(views), raising)
    rows = table.reshape(*shape, table.shape[1])
    value = make(lambda i: np.ascontiguousarray(rows[..., i]).reshape(shape), rows)
    return value if raising else (value, codes.reshape(shape))


def numbers(name: str, value: Numbers) -> Column:
    """Read numbers: one of Python's or NumPy's is a number, all else an array."""
    if isinstance(value, int):
        try:
            return float(value)
        except OverflowError:  # Past all floats: the core says that it is not finite.
            return math.inf
    if isinstance(value, SupportsFloat) and not hasattr(value, "__len__"):
        return float(value)
    import numpy as np

    array = np.asarray(value)
    if array.dtype.kind not in "iuf":
        raise TypeError(f"{name} is a number or an array of numbers, not {value!r:.60}")
    return array.astype(np.float64, copy=False)


def integers(name: str, value: Numbers | SupportsIndex) -> Column:
    """Read whole numbers."""
    if isinstance(value, SupportsIndex) and not hasattr(value, "__len__"):
        return numbers(name, operator.index(value))
    import numpy as np

    array = np.asarray(value)
    if array.dtype.kind not in "iu":
        raise TypeError(f"{name} is a whole number or an array, not {value!r:.60}")
    return array.astype(np.float64)


def vectors(name: str, value: Numbers, length: int = 3) -> list[Column]:
    """Read vectors, whose components are the last axis."""
    if isinstance(value, list | tuple) and len(value) == length:
        components = [numbers(name, component) for component in value]
        if all(isinstance(component, float) for component in components):
            return components
    array = numbers(name, value)
    shape = getattr(array, "shape", ())
    if isinstance(array, float) or shape[-1:] != (length,):
        raise ValueError(
            f"{name} has the shape {shape}; its last axis is the vector, of {length}"
        )
    return [array[..., component] for component in range(length)]


def sides(value: Sides) -> Column:
    """Read sides: 0 for left, 1 for right."""
    if isinstance(value, str):
        if value not in _SIDES:
            raise ValueError(f"side is 'left' or 'right', not {value!r}")
        return _SIDES[value]
    import numpy as np

    array = np.asarray(value)
    right = array == "right"
    wrong = ~(right | (array == "left"))
    if np.any(wrong):
        raise ValueError(f"side is 'left' or 'right', not {array[wrong].flat[0]!r}")
    found: Array = right.astype(np.float64)
    return found
