"""What the uncertainties of any inputs make of any function of them."""

# A number is an array too for the type checker, but a number comes of it.
# mypy: disable-error-code="overload-overlap"

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import (
    TYPE_CHECKING,
    Final,
    Literal,
    SupportsIndex,
    TypeVar,
    cast,
    overload,
)

from wheel_alignment import _arrays, _native
from wheel_alignment._formulas import integers, number, numbers, vectors
from wheel_alignment._native import Dual as Dual
from wheel_alignment._values import Value

if TYPE_CHECKING:
    from numpy.typing import ArrayLike
    from typing_extensions import Self

    from wheel_alignment._types import Array, Codes, Column, Number, Numbers

MAX_INPUTS: Final[int] = _native.MAX_INPUTS
"""The most inputs of a function that is called with `Dual` numbers."""

N = TypeVar("N", float, Dual)


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


@dataclass(frozen=True, slots=True, eq=False)
class Input(Value):
    """What is known of one input of a measurement function.

    Attributes
    ----------
    estimate : float
        The best estimate, in the input's unit.
    standard_uncertainty : float
        Its standard uncertainty, in the same unit: one standard deviation.
    degrees_of_freedom : float
        How well that uncertainty is known: its degrees of freedom, at least 1, not
        whole if need be; `math.inf` for an uncertainty that is known.
    """

    estimate: float
    standard_uncertainty: float
    degrees_of_freedom: float

    @classmethod
    def known(cls, estimate: float, standard_uncertainty: float) -> Self:
        """Return an input whose standard uncertainty is known.

        Parameters
        ----------
        estimate, standard_uncertainty : float
            Both in one unit.

        Examples
        --------
        >>> from wheel_alignment.propagation import Input
        >>> Input.known(20.0, 0.1).degrees_of_freedom
        inf
        """
        return cls(estimate, standard_uncertainty, math.inf)

    @classmethod
    def from_observations(cls, observations: ArrayLike) -> Self:
        """Return the mean of n repeated, independent observations, in their unit.

        Its uncertainty is s/√n, with n − 1 degrees of freedom; s is their standard
        deviation.

        Parameters
        ----------
        observations : array-like of numbers
            At least two.

        Raises
        ------
        OutOfRangeError
            Fewer than two.
        NotFiniteError
            A number is NaN or infinite.

        Examples
        --------
        >>> from wheel_alignment.propagation import Input
        >>> camber_deg = Input.from_observations([-0.52, -0.48, -0.50, -0.50])
        >>> print(f"{camber_deg.estimate:.2f} ± {camber_deg.standard_uncertainty:.4f}")
        -0.50 ± 0.0082
        """
        listed = _arrays.listed(observations, "observations")
        return cls(*_native.input_from_observations(listed))


@dataclass(frozen=True, slots=True, eq=False)
class Contribution(Value):
    """What one input contributes to the uncertainty of an output.

    Attributes
    ----------
    input : int
        Which input, counted from 0.
    standard_uncertainty : float
        Its own part of the output's standard uncertainty, in the output's unit.
    share : float
        Its share of the output's variance. The shares of an output add up to 1. What
        two correlated inputs cause together is split evenly between them, and may make
        a share negative.
    """

    input: int
    standard_uncertainty: float
    share: float


@dataclass(frozen=True, slots=True, eq=False)
class Output(Value):
    """One output of a measurement function, with its uncertainty.

    Attributes
    ----------
    estimate : float
        The estimate.
    standard_uncertainty : float
        Its standard uncertainty, in the same unit.
    degrees_of_freedom : float or None
        The effective degrees of freedom of that uncertainty, by Welch and
        Satterthwaite; `math.inf` if it is known. None when correlated inputs differ in
        them: no formula is then exact.
    sensitivities : tuple of float
        The derivative to each input, in the order of the inputs.
    budget : tuple of Contribution
        What each input contributes, the greatest share first.
    """

    estimate: float
    standard_uncertainty: float
    degrees_of_freedom: float | None
    sensitivities: tuple[float, ...]
    budget: tuple[Contribution, ...]

    def expanded(self, probability: float) -> Expanded:
        """Return the expanded uncertainty for a probability, in the output's unit.

        The effective degrees of freedom are rounded down to a whole number, as is the
        cautious custom.

        Raises
        ------
        OutOfRangeError
            A probability outside 0 to 1 − 1e-9.
        MissingInputError
            The effective degrees of freedom are absent.

        Examples
        --------
        >>> from wheel_alignment.propagation import Input, law_of_propagation
        >>> inputs = [Input.known(2.0, 0.3), Input.known(1.0, 0.4)]
        >>> (total,) = law_of_propagation(lambda a, b: a + b, inputs).outputs
        >>> print(f"{total.expanded(0.95).expanded_uncertainty:.2f}")
        0.98
        """
        known = (self.estimate, self.standard_uncertainty, self.degrees_of_freedom)
        return Expanded(*_native.expanded_output(known, probability))


@dataclass(frozen=True, slots=True, eq=False)
class Propagation(Value):
    """What the law of propagation makes of a measurement function.

    Attributes
    ----------
    outputs : tuple of Output
        The outputs, in the function's order.
    covariance : tuple of tuples of float
        The covariances of the outputs, each in the product of both units; the variances
        stand on the diagonal.
    correlation : tuple of tuples of float
        The correlations of the outputs; 0 beside an output that is certain.
    """

    outputs: tuple[Output, ...]
    covariance: tuple[tuple[float, ...], ...]
    correlation: tuple[tuple[float, ...], ...]

    @classmethod
    def _of(cls, law: _native._Law) -> Self:
        outputs, covariance, correlation = law
        return cls(
            tuple(
                Output(
                    estimate,
                    uncertainty,
                    freedom,
                    tuple(sensitivities),
                    tuple(Contribution(*part) for part in budget),
                )
                for estimate, uncertainty, freedom, sensitivities, budget in outputs
            ),
            tuple(map(tuple, covariance)),
            tuple(map(tuple, correlation)),
        )


def law_of_propagation(
    function: Callable[..., object],
    inputs: Sequence[Input],
    *,
    correlation: ArrayLike | None = None,
) -> Propagation:
    """Propagate the uncertainties of the inputs through a function, to first order.

    With its derivatives c at the estimates,
    cov(y_k, y_l) = Σ_i Σ_j c_ki·c_lj·r_ij·u_i·u_j.

    Parameters
    ----------
    function : callable
        The measurement function, called once with a `Dual` number for each input. It
        returns a number or a sequence of numbers. Its arithmetic is Python's, its
        elementary functions those of this module or of numpy: those of `math` would
        lose the derivatives, and are refused.
    inputs : sequence of Input
        What is known of each input; 64 at most.
    correlation : array-like of shape (N, N), optional
        The correlation coefficients r of the inputs; independent when left out.

    Returns
    -------
    Propagation
        Uncertainties, covariances and budgets of the outputs, in the function's own
        units.

    Raises
    ------
    NotFiniteError
        A number is NaN or infinite, or the function has no value or no derivative at
        the estimates.
    OutOfRangeError
        A negative uncertainty, fewer than 1 degree of freedom, correlations of the
        wrong size.
    NotACovarianceError
        Correlations that cannot be, to 1e-9.
    ValueError
        More than 64 inputs.
    TypeError
        The function returned something that is no number.

    Notes
    -----
    What the function raises comes out as it is.

    Examples
    --------
    Toe-out of a steered wheel pair, and their mean, from two angles read with one
    instrument:

    >>> from wheel_alignment.propagation import Input, law_of_propagation
    >>> inputs = [Input.known(20.0, 0.05), Input.known(18.0, 0.05)]
    >>> difference, mean = law_of_propagation(
    ...     lambda inner, outer: (inner - outer, (inner + outer) / 2),
    ...     inputs,
    ...     correlation=[[1, 0.8], [0.8, 1]],
    ... ).outputs

    What both share cancels in the difference and stays in the mean:

    >>> print(f"{difference.standard_uncertainty:.4f}, {mean.standard_uncertainty:.4f}")
    0.0316, 0.0474

    Toe from the distances of the rim at the front and at the rear, mm:

    >>> import numpy as np
    >>> rim_mm = [Input.known(1540.0, 0.2), Input.known(1542.0, 0.2)]
    >>> (toe_deg,) = law_of_propagation(
    ...     lambda front, rear: np.degrees(np.arcsin((rear - front) / 450)), rim_mm
    ... ).outputs
    >>> print(f"{toe_deg.estimate:.3f}° ± {toe_deg.standard_uncertainty:.3f}°")
    0.255° ± 0.036°
    """
    law = _native.law_of_propagation(function, _known(inputs), _matrix(correlation))
    return Propagation._of(law)


def combine(
    inputs: Sequence[Input],
    *,
    estimates: ArrayLike,
    sensitivities: ArrayLike,
    correlation: ArrayLike | None = None,
) -> Propagation:
    """Propagate by derivatives that are known already, of any number of inputs.

    Parameters
    ----------
    inputs : sequence of Input
        What is known of each input.
    estimates : array-like of M numbers
        The estimates of the outputs.
    sensitivities : array-like of shape (M, N)
        The derivatives: one row per output, one column per input.
    correlation : array-like of shape (N, N), optional
        As `law_of_propagation`.

    Returns
    -------
    Propagation
        As `law_of_propagation`.

    Raises
    ------
    AlignmentError
        As `law_of_propagation`; a row of the wrong length.

    Examples
    --------
    >>> from wheel_alignment.propagation import Input, combine
    >>> inputs = [Input.known(2.0, 0.3), Input.known(1.0, 0.4)]
    >>> known = combine(inputs, estimates=[3.0], sensitivities=[[1.0, 1.0]])
    >>> known.outputs[0].standard_uncertainty, known.outputs[0].budget[0].input
    (0.5, 1)
    """
    law = _native.combine(
        _known(inputs),
        _matrix(correlation),
        _arrays.listed(estimates, "estimates"),
        _arrays.rows(sensitivities, "sensitivities"),
    )
    return Propagation._of(law)


def _known(inputs: Sequence[Input]) -> list[tuple[float, float, float]]:
    for index, one in enumerate(inputs):
        if not isinstance(one, Input):
            kind = type(one).__qualname__
            raise TypeError(f"inputs[{index}]: an Input is needed, not {kind}")
    return [
        (one.estimate, one.standard_uncertainty, one.degrees_of_freedom)
        for one in inputs
    ]


def _matrix(correlation: ArrayLike | None) -> list[list[float]] | None:
    return None if correlation is None else _arrays.rows(correlation, "correlation")


def sqrt(x: N) -> N:
    """Return √x, of a number or of a `Dual`.

    Examples
    --------
    >>> from wheel_alignment import propagation
    >>> propagation.sqrt(2.25)
    1.5
    """
    return _elementary("sqrt", x)


def sin(x: N) -> N:
    """Return the sine of radians, of a number or of a `Dual`.

    Examples
    --------
    >>> from wheel_alignment import propagation
    >>> propagation.sin(0.5)
    0.479425538604203
    """
    return _elementary("sin", x)


def cos(x: N) -> N:
    """Return the cosine of radians, of a number or of a `Dual`.

    Examples
    --------
    >>> from wheel_alignment import propagation
    >>> propagation.cos(0.5)
    0.8775825618903728
    """
    return _elementary("cos", x)


def tan(x: N) -> N:
    """Return the tangent of radians, of a number or of a `Dual`.

    Examples
    --------
    >>> from wheel_alignment import propagation
    >>> propagation.tan(0.5)
    0.5463024898437905
    """
    return _elementary("tan", x)


def asin(x: N) -> N:
    """Return the arc sine in radians, of a number or of a `Dual`.

    Examples
    --------
    >>> from wheel_alignment import propagation
    >>> propagation.asin(0.5)
    0.5235987755982989
    """
    return _elementary("asin", x)


def atan(x: N) -> N:
    """Return the arc tangent in radians, of a number or of a `Dual`.

    Examples
    --------
    >>> from wheel_alignment import propagation
    >>> propagation.atan(0.5)
    0.4636476090008061
    """
    return _elementary("atan", x)


def atan2(y: Dual | float, x: Dual | float) -> Dual | float:
    """Return the angle of the point (x, y) from the x axis in radians.

    Examples
    --------
    >>> from wheel_alignment import propagation
    >>> propagation.atan2(1.0, 2.0)
    0.4636476090008061
    """
    return _of_two("atan2", y, x)


def exp(x: N) -> N:
    """Return e to the power x, of a number or of a `Dual`.

    Examples
    --------
    >>> from wheel_alignment import propagation
    >>> propagation.exp(0.5)
    1.6487212707001282
    """
    return _elementary("exp", x)


def ln(x: N) -> N:
    """Return the natural logarithm, of a number or of a `Dual`.

    Examples
    --------
    >>> from wheel_alignment import propagation
    >>> propagation.ln(0.5)
    -0.6931471805599453
    """
    return _elementary("ln", x)


def hypot(x: Dual | float, y: Dual | float) -> Dual | float:
    """Return √(x² + y²), of numbers or of `Dual` ones.

    Examples
    --------
    >>> from wheel_alignment import propagation
    >>> propagation.hypot(3.0, 4.0)
    5.0
    """
    return _of_two("hypot", x, y)


def _elementary(name: str, x: N) -> N:
    if isinstance(x, Dual):
        return cast("N", getattr(x, name)())
    return _native.elementary(name, x)


def _of_two(name: str, x: Dual | float, y: Dual | float) -> Dual | float:
    if isinstance(x, Dual):
        return cast("Dual", getattr(x, name)(y))
    if isinstance(y, Dual):
        return cast("Dual", getattr(y * 0.0 + x, name)(y))
    return _native.elementary(name, x, y)
