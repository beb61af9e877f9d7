"""The same by trials: distributions instead of first order."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import astuple, dataclass
from typing import TYPE_CHECKING, ClassVar

from wheel_alignment import _arrays, _native
from wheel_alignment._values import Value, from_json
from wheel_alignment.propagation import Input, Output

if TYPE_CHECKING:
    from numpy.typing import ArrayLike


@dataclass(frozen=True, slots=True, eq=False)
class Simulated(Value):
    """One reading, from its values in all trials, in its own unit.

    Attributes
    ----------
    estimate : float
        The mean of the values.
    standard_uncertainty : float
        Their standard deviation.
    symmetric_interval : tuple of 2 floats
        The interval that leaves as much outside below as above.
    shortest_interval : tuple of 2 floats
        The shortest interval of the same probability.
    """

    estimate: float
    standard_uncertainty: float
    symmetric_interval: tuple[float, float]
    shortest_interval: tuple[float, float]


@dataclass(frozen=True, slots=True, eq=False)
class Simulation(Value):
    """What a run of trials gave.

    Attributes
    ----------
    outputs : tuple of Simulated
        One per reading that was watched.
    covariance : tuple of tuples of float
        Their covariances, each in the product of both units.
    trials : int
        So many trials were made.
    probability : float
        The probability of the intervals.
    """

    outputs: tuple[Simulated, ...]
    covariance: tuple[tuple[float, ...], ...]
    trials: int
    probability: float


@dataclass(frozen=True, slots=True, eq=False)
class Agreement(Value):
    """How far the law of propagation is from the trials, in the reading's unit.

    Attributes
    ----------
    low, high : float
        The distance of the lower, and of the upper, ends of both intervals.
    tolerance : float
        What either may be.
    agrees : bool
        Whether both are within the tolerance: the law of propagation will do.
    """

    low: float
    high: float
    tolerance: float
    agrees: bool


class Distribution(Value):
    """How the values of an input that can be are distributed, in the input's unit.

    One of `Normal`, `StudentT`, `Rectangular`, `Triangular`, `Trapezoidal`,
    `CurvilinearTrapezoid`, `Arcsine` and `Exponential`.
    """

    __slots__ = ()
    _NAME: ClassVar[str]

    def input(self) -> Input:
        """Return the input that the law of propagation makes of it.

        Mean and standard deviation; Student's t keeps its scale as uncertainty, and its
        degrees of freedom.

        Raises
        ------
        OutOfRangeError
            A negative deviation, limits in reverse, or a figure outside the range that
            its docs state.
        NotFiniteError
            A number is NaN or infinite.

        Examples
        --------
        A display that rounds to 0.01°:

        >>> from wheel_alignment.monte_carlo import Rectangular
        >>> reading = Rectangular(least=1.235, most=1.245).input()
        >>> print(f"{reading.estimate:.3f} ± {reading.standard_uncertainty:.5f}")
        1.240 ± 0.00289
        """
        return Input(*_native.input_of(self._given()))

    def _given(self) -> tuple[str, list[float]]:
        return self._NAME, list(astuple(self))  # type: ignore[call-overload]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Normal(Distribution):
    """A best estimate and its known standard uncertainty.

    Attributes
    ----------
    mean : float
        The estimate.
    standard_deviation : float
        One standard deviation.
    """

    _NAME: ClassVar[str] = "normal"
    mean: float
    standard_deviation: float


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class StudentT(Distribution):
    """A mean of few observations, normal ones: Student's t, shifted and scaled.

    Attributes
    ----------
    centre : float
        The estimate.
    scale : float
        The standard uncertainty of that mean, s/√n.
    degrees_of_freedom : float
        n − 1 for n observations; at least 1.
    """

    _NAME: ClassVar[str] = "student_t"
    centre: float
    scale: float
    degrees_of_freedom: float


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Rectangular(Distribution):
    """Nothing is known but two limits.

    Attributes
    ----------
    least, most : float
        The lower limit, the upper limit.
    """

    _NAME: ClassVar[str] = "rectangular"
    least: float
    most: float


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Triangular(Distribution):
    """The sum of two quantities that are rectangular and alike, within two limits.

    Attributes
    ----------
    least, most : float
        The lower limit, the upper limit.
    """

    _NAME: ClassVar[str] = "triangular"
    least: float
    most: float


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Trapezoidal(Distribution):
    """The sum of two rectangular quantities, within two limits.

    Attributes
    ----------
    least, most : float
        The lower limit, the upper limit.
    top : float
        The length of the top over that of the base: 0 is triangular, 1 rectangular.
    """

    _NAME: ClassVar[str] = "trapezoidal"
    least: float
    most: float
    top: float


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class CurvilinearTrapezoid(Distribution):
    """Nothing is known but two limits, and those not exactly.

    Attributes
    ----------
    least, most : float
        The lower limit, the upper limit.
    limits_within : float
        By how much either limit may be off, at equal distance from the middle; at most
        half their distance.
    """

    _NAME: ClassVar[str] = "curvilinear_trapezoid"
    least: float
    most: float
    limits_within: float


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Arcsine(Distribution):
    """What swings as a sine between two limits, met at an unknown moment.

    Attributes
    ----------
    least, most : float
        The lower limit, the upper limit.
    """

    _NAME: ClassVar[str] = "arcsine"
    least: float
    most: float


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Exponential(Distribution):
    """A quantity that is not negative, with a known mean.

    Attributes
    ----------
    mean : float
        The mean, 0 or above.
    """

    _NAME: ClassVar[str] = "exponential"
    mean: float


def monte_carlo(
    function: Callable[..., object],
    inputs: Sequence[Distribution],
    *,
    correlation: ArrayLike | None = None,
    probability: float = 0.95,
    significant_digits: int = 2,
    most_trials: int = 10_000_000,
    seed: int = 0,
) -> Simulation:
    """Draw the inputs, evaluate a function, and repeat until its outputs stand still.

    The check on `propagation.law_of_propagation`; `agree` compares the two. A run
    settles when of every output the estimate, the standard uncertainty and both ends of
    the symmetric interval stand still to the digits asked for.

    Parameters
    ----------
    function : callable
        The measurement function, called in every trial with a float for each input,
        and once before with the estimates. It returns a number or a sequence of
        numbers, always as many.
    inputs : sequence of Distribution
        How each input is distributed.
    correlation : array-like of shape (N, N), optional
        The correlation coefficients of the inputs; independent when left out. Only
        normal ones can be correlated.
    probability : float
        The probability that an interval is to hold.
    significant_digits : int
        So many digits of the standard uncertainty are to stand still, 1 to 4. Each
        further digit takes a hundred times as many trials.
    most_trials : int
        The most trials of the run, 100 000 to 10 million.
    seed : int
        The seed of the trials, 0 to 2**64 − 1. The same seed gives the same bits.

    Returns
    -------
    Simulation
        The outputs, in the function's order and its own units.

    Raises
    ------
    NotFiniteError
        A number is not finite, or the function has no value in some trial.
    OutOfRangeError
        As `Distribution.input`; a setting that no run has; correlation of an input that
        is not normal.
    NotACovarianceError
        Correlations that cannot be.
    NotSettledError
        The trials allowed are used up.
    TypeError, ValueError
        The function returned something that is no number, or not always as many.

    Notes
    -----
    What the function raises comes out as it is, and Ctrl-C ends a run.

    Examples
    --------
    Two readings of a display that rounds to 0.01°: their difference.

    >>> from wheel_alignment.monte_carlo import Rectangular, monte_carlo
    >>> inputs = [Rectangular(least=v - 0.005, most=v + 0.005) for v in (1.24, 0.87)]
    >>> result = monte_carlo(lambda a, b: a - b, inputs, significant_digits=1)
    >>> print(f"{result.outputs[0].standard_uncertainty:.4f}°")
    0.0041°
    """
    for index, one in enumerate(inputs):
        if not isinstance(one, Distribution):
            kind = type(one).__qualname__
            raise TypeError(f"inputs[{index}]: a Distribution is needed, not {kind}")
    settings = {
        "probability": probability,
        "significant_digits": significant_digits,
        "most_trials": most_trials,
        "seed": seed,
    }
    rows = None if correlation is None else _arrays.rows(correlation, "correlation")
    given = [one._given() for one in inputs]
    return from_json(Simulation, _native.trials_of(function, given, rows, settings))


def agree(
    by_law: Output, by_trials: Simulation, *, output: int, significant_digits: int
) -> Agreement:
    """Say whether the law of propagation gives the interval that the trials give.

    Parameters
    ----------
    by_law : Output
        The output by the law of propagation.
    by_trials : Simulation
        The run, which should have settled to a digit more than is asked for here, or
        its own scatter can make the difference.
    output : int
        Which output of the run, counted from 0.
    significant_digits : int
        To so many digits of the standard uncertainty, 1 to 4.

    Returns
    -------
    Agreement
        How far they are apart, in the output's unit.

    Raises
    ------
    NotFiniteError
        A number is NaN or infinite.
    OutOfRangeError
        There is no such output; digits other than 1 to 4.
    MissingInputError
        The output has no effective degrees of freedom.

    Examples
    --------
    >>> from wheel_alignment.monte_carlo import Normal, agree, monte_carlo
    >>> from wheel_alignment.propagation import atan2, law_of_propagation
    >>> inputs = [Normal(mean=v, standard_deviation=0.02) for v in (3.0, 400.0)]
    >>> law = law_of_propagation(atan2, [one.input() for one in inputs])
    >>> trials = monte_carlo(atan2, inputs)
    >>> agree(law.outputs[0], trials, output=0, significant_digits=1).agrees
    True
    """
    for name, given, kind in (
        ("by_law", by_law, Output),
        ("by_trials", by_trials, Simulation),
    ):
        if not isinstance(given, kind):
            other = type(given).__qualname__
            raise TypeError(f"{name} is {kind.__name__}, not {other}")
    known = (by_law.estimate, by_law.standard_uncertainty, by_law.degrees_of_freedom)
    intervals = [list(one.symmetric_interval) for one in by_trials.outputs]
    return Agreement(
        *_native.agree(
            known, intervals, by_trials.probability, output, significant_digits
        )
    )
