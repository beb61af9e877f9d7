"""The types of numbers and arrays, for type checkers: importing it imports NumPy."""

from collections.abc import Sequence
from typing import Any, Literal, Protocol, TypeAlias

import numpy as np
from numpy.typing import NDArray

Number: TypeAlias = float | np.floating[Any] | np.integer[Any]
"""A number of Python or NumPy."""


class HasArray(Protocol):
    """An array, or what NumPy makes one of."""

    def __array__(self) -> NDArray[Any]:
        """Return the array."""


Numbers: TypeAlias = (
    Number
    | HasArray
    | Sequence[Number]
    | Sequence[Sequence[Number]]
    | Sequence[Sequence[Sequence[Number]]]
)
"""Numbers, or arrays of them, which broadcast as those of NumPy do."""

Sides: TypeAlias = (
    Literal["left", "right"] | Sequence[Literal["left", "right"]] | NDArray[np.str_]
)
"""A side of the car, as its driver has it, or an array of sides."""

Array: TypeAlias = NDArray[np.float64]
"""What comes of arrays."""

Codes: TypeAlias = NDArray[np.int32]
"""The number of the error at each place, 0 where there is none."""

Column: TypeAlias = float | Array
"""One number of every row."""
