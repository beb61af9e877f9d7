"""Numbers that callers hand over, on their way to the native half and back."""

from __future__ import annotations

import contextlib
from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from wheel_alignment._types import Array as Floats


def floats(given: ArrayLike, what: str) -> Floats:
    """Return real numbers as an array of float64; name what was found if they are not.

    Any order of bytes, strides and width is read.
    """
    import numpy as np

    try:
        array = np.asarray(given)
    except (TypeError, ValueError) as error:
        raise TypeError(
            f"{what}: numbers in rows of equal length are needed, not {_kind(given)} "
            f"({error})"
        ) from None
    if array.dtype.kind == "O" and array.size:
        # Numbers in a column of objects, as tables have them where some are missing.
        with contextlib.suppress(TypeError):
            array = np.array(
                [np.nan if v is None else _number(v) for v in array.ravel().tolist()]
            ).reshape(array.shape)
    if isinstance(given, np.ma.MaskedArray) and array.dtype.kind in "fiu":
        # What is masked was not seen.
        array = np.ma.filled(np.ma.asarray(given, np.float64), np.nan)
    if array.dtype.kind not in "fiu":
        raise TypeError(
            f"{what}: real numbers are needed, not dtype {array.dtype} of shape "
            f"{array.shape}"
        )
    return array.astype(np.float64, copy=False)


def _number(value: object) -> float:
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        return float(value)
    raise TypeError(_kind(value))


def _kind(value: object) -> str:
    return type(value).__qualname__


def shaped(given: ArrayLike, shape: tuple[int, ...], what: str) -> Floats:
    """Return real numbers of one shape as an array of float64."""
    array = floats(given, what)
    if array.shape != shape:
        raise ValueError(
            f"{what}: shape {shape} is needed, not {array.shape} (dtype {array.dtype})"
        )
    return array


def listed(given: ArrayLike, what: str) -> list[float]:
    """Return real numbers in a row as a list; numpy is not needed."""
    try:
        return [_number(_item(v)) for v in _sequence(given, what)]
    except TypeError as error:
        raise TypeError(f"{what}: real numbers are needed, not {error}") from None


def rows(given: ArrayLike, what: str) -> list[list[float]]:
    """Return rows of real numbers as lists; numpy is not needed."""
    return [listed(row, what) for row in _sequence(given, what)]  # type: ignore[arg-type]


def _sequence(given: object, what: str) -> Sequence[object]:
    tree = _item(given)
    if isinstance(tree, (str, bytes)) or not isinstance(tree, Sequence):
        raise TypeError(f"{what}: numbers in a row are needed, not {_kind(given)}")
    return tree


def _item(value: object) -> object:
    """Return an array, or a scalar of one, as Python's own."""
    if getattr(value, "size", None) == 0:
        # However many rows of nothing it has: as lists they would fill the memory.
        return []
    tolist = getattr(value, "tolist", None)
    return value if tolist is None else tolist()


def numbers(given: ArrayLike, count: int, what: str) -> list[float]:
    """Return so many numbers; a column or a row of two axes is as good."""
    found = getattr(given, "shape", None)
    if found in ((count, 1), (1, count)):
        given = given.reshape(count)  # type: ignore[union-attr]
    numbers = listed(given, what)
    if len(numbers) != count:
        raise ValueError(
            f"{what}: {count} numbers are needed, not {found or len(numbers)}"
        )
    return numbers


def three(given: ArrayLike, what: str) -> tuple[float, float, float]:
    """Return the three numbers of a vector."""
    x, y, z = numbers(given, 3, what)
    return x, y, z


def packed(array: Floats) -> bytes:
    """Return an array as the native half takes it: its bytes, row by row."""
    import numpy as np

    return np.ascontiguousarray(array, "<f8").tobytes()


def unpacked(data: bytearray, shape: tuple[int, ...]) -> Floats:
    """Return the array whose bytes the native half returned."""
    import numpy as np

    array: Floats = np.frombuffer(data, "<f8").reshape(shape)
    return array
