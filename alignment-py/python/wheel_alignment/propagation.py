"""What the uncertainties of any inputs make of any function of them."""

# A number is an array too for the type checker, but a number comes of it.
# mypy: disable-error-code="overload-overlap"

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, SupportsIndex, overload

from wheel_alignment._formulas import integers, number, numbers, vectors
from wheel_alignment._values import Value

if TYPE_CHECKING:
    from wheel_alignment._types import Array, Codes, Column, Number, Numbers


@dataclass(frozen=True, slots=True, eq=False)
class Expanded(Value):
    """An interval about a reading, reading ± expanded uncertainty.

    Attributes
    ----------
    coverage_factor : float
        The factor on the standard uncertainty.
    expanded_uncertainty : float
        Half the length of the interval, in the reading's unit.
    """

    coverage_factor: float
    expanded_uncertainty: float


def _pairs(shares: Numbers) -> list[Column]:
    if isinstance(shares, list | tuple):
        pairs = [vectors("shares", pair, 2) for pair in shares]
        if all(isinstance(column, float) for pair in pairs for column in pair):
            return [column for pair in pairs for column in pair]
    array = numbers("shares", shares)
    if isinstance(array, float) or array.shape[-1:] != (2,) or array.ndim < 2:
        raise ValueError("shares are pairs of a share and its degrees of freedom")
    return [array[..., i, j] for i in range(array.shape[-2]) for j in range(2)]


@overload
def coverage_factor(
    probability: Number,
    *,
    degrees_of_freedom: Number,
    on_error: Literal["raise"] = "raise",
) -> float: ...
@overload
def coverage_factor(
    probability: Number, *, degrees_of_freedom: Number, on_error: Literal["codes"]
) -> tuple[float, int]: ...
@overload
def coverage_factor(
    probability: Numbers,
    *,
    degrees_of_freedom: Numbers,
    on_error: Literal["raise"] = "raise",
) -> Array: ...
@overload
def coverage_factor(
    probability: Numbers, *, degrees_of_freedom: Numbers, on_error: Literal["codes"]
) -> tuple[Array, Codes]: ...
def coverage_factor(
    probability: Numbers,
    *,
    degrees_of_freedom: Numbers,
    on_error: Literal["raise", "codes"] = "raise",
) -> object:
    """Find the factor on a standard uncertainty for a coverage probability.

    The (1 + probability)/2 quantile of Student's t.

    Parameters
    ----------
    probability : float or array
        That the interval holds the quantity, 0 to 1 − 1e-9.
    degrees_of_freedom : float or array
        At least 1; `math.inf` for the normal distribution. Whole or not, they count as
        they are.
    on_error : {"raise", "codes"}
        ``raise`` raises the first error, whose ``index`` is its place. ``codes`` gives
        a pair: the values, NaN where they fail, and at each place the number of the
        error, 0 for none.

    Returns
    -------
    float or array
        The coverage factor.

    Raises
    ------
    NotFiniteError
        A number is NaN.
    OutOfRangeError
        A probability outside its range, or fewer than 1 degree of freedom.

    Notes
    -----
    Source: JCGM 100:2008.

    Examples
    --------
    >>> import math
    >>> from wheel_alignment.propagation import coverage_factor
    >>> print(f"{coverage_factor(0.95, degrees_of_freedom=math.inf):.3f}")
    1.960
    >>> print(f"{coverage_factor(0.95, degrees_of_freedom=4):.3f}")
    2.776
    """
    return number(
        "propagation::coverage_factor",
        on_error,
        numbers("probability", probability),
        numbers("degrees_of_freedom", degrees_of_freedom),
    )


@overload
def effective_degrees_of_freedom(
    shares: Sequence[tuple[float, float]], *, on_error: Literal["raise"] = "raise"
) -> float: ...
@overload
def effective_degrees_of_freedom(
    shares: Sequence[tuple[float, float]], *, on_error: Literal["codes"]
) -> tuple[float, int]: ...
@overload
def effective_degrees_of_freedom(
    shares: Numbers, *, on_error: Literal["raise"] = "raise"
) -> Array: ...
@overload
def effective_degrees_of_freedom(
    shares: Numbers, *, on_error: Literal["codes"]
) -> tuple[Array, Codes]: ...
def effective_degrees_of_freedom(
    shares: Numbers, *, on_error: Literal["raise", "codes"] = "raise"
) -> object:
    """Find the effective degrees of freedom of a sum of independent parts.

    By Welch and Satterthwaite: (Σ v)²/Σ (v²/ν).

    Parameters
    ----------
    shares : sequence of pairs or array (..., n, 2)
        Of each part its variance v, or its share of the whole one, and its degrees of
        freedom ν.
    on_error : {"raise", "codes"}
        ``raise`` raises the first error, whose ``index`` is its place. ``codes`` gives
        a pair: the values, NaN where they fail, and at each place the number of the
        error, 0 for none.

    Returns
    -------
    float or array
        The effective degrees of freedom; `math.inf` when no part is uncertain.

    Raises
    ------
    NotFiniteError
        A number is NaN, or a share is infinite.
    OutOfRangeError
        A negative share, or fewer than 1 degree of freedom.

    Notes
    -----
    Source: JCGM 100:2008.

    Examples
    --------
    >>> import math
    >>> from wheel_alignment.propagation import effective_degrees_of_freedom
    >>> effective_degrees_of_freedom([(1.0, 4.0), (1.0, 4.0)])
    8.0
    >>> effective_degrees_of_freedom([(1.0, 4.0), (1.0, math.inf)])
    16.0
    """
    return number(
        "propagation::effective_degrees_of_freedom", on_error, *_pairs(shares)
    )


@overload
def numerical_tolerance(
    standard_uncertainty: Number,
    *,
    significant_digits: SupportsIndex,
    on_error: Literal["raise"] = "raise",
) -> float: ...
@overload
def numerical_tolerance(
    standard_uncertainty: Number,
    *,
    significant_digits: SupportsIndex,
    on_error: Literal["codes"],
) -> tuple[float, int]: ...
@overload
def numerical_tolerance(
    standard_uncertainty: Numbers,
    *,
    significant_digits: Numbers,
    on_error: Literal["raise"] = "raise",
) -> Array: ...
@overload
def numerical_tolerance(
    standard_uncertainty: Numbers,
    *,
    significant_digits: Numbers,
    on_error: Literal["codes"],
) -> tuple[Array, Codes]: ...
def numerical_tolerance(
    standard_uncertainty: Numbers,
    *,
    significant_digits: Numbers | SupportsIndex,
    on_error: Literal["raise", "codes"] = "raise",
) -> object:
    """Find half a unit of the last digit that an uncertainty shows.

    0.0314 to two digits is 0.031, its last digit counts 0.001, and the tolerance is
    0.0005. For 0 it is 0.

    Parameters
    ----------
    standard_uncertainty : float or array
        In any unit, not negative.
    significant_digits : int or array
        So many digits of it are stated, 1 to 4.
    on_error : {"raise", "codes"}
        ``raise`` raises the first error, whose ``index`` is its place. ``codes`` gives
        a pair: the values, NaN where they fail, and at each place the number of the
        error, 0 for none.

    Returns
    -------
    float or array
        The tolerance, in the unit of the uncertainty.

    Raises
    ------
    NotFiniteError
        A number is NaN or infinite.
    OutOfRangeError
        A negative uncertainty, or digits other than 1 to 4.

    Notes
    -----
    Source: JCGM 101:2008.

    Examples
    --------
    >>> from wheel_alignment.propagation import numerical_tolerance
    >>> print(f"{numerical_tolerance(0.0314, significant_digits=2):.4f}")
    0.0005
    """
    return number(
        "propagation::numerical_tolerance",
        on_error,
        numbers("standard_uncertainty", standard_uncertainty),
        integers("significant_digits", significant_digits),
    )
