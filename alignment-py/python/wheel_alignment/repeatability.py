"""How much a reading scatters when it is taken again, and where that comes from."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Protocol

from wheel_alignment import _native
from wheel_alignment._values import Value, from_json


class Array(Protocol):
    """An array, of NumPy or another: what gives its numbers as lists."""

    def tolist(self) -> object:
        """Return the numbers."""


MAX_VALUE: Final[float] = 1e9
"""The greatest magnitude of a value, in its own unit."""

POOL_ABOVE_P: Final[float] = 0.25
"""The p-value above which the interaction of a crossed study is customarily pooled with
the repeats. Common practice, no source.
"""

TOLERANCE_RANGE: Final[tuple[float, float]] = (1e-9, 1e9)
"""The least and greatest width of a tolerance, in the unit of the values."""


@dataclass(frozen=True, slots=True, eq=False)
class Repeatability(Value):
    """Repeats of one reading, in its own unit.

    Attributes
    ----------
    mean : float
        Mean.
    standard_deviation : float
        Standard deviation of one value.
    degrees_of_freedom : float
        Degrees of freedom: values less one.
    standard_deviation_of_mean : float
        Standard deviation of the mean.
    coverage_factor : float
        Coverage factor for 95 %, by Student's t.
    expanded : float
        Expanded uncertainty of one value, by scatter alone.
    expanded_of_mean : float
        Expanded uncertainty of the mean, by scatter alone.
    """

    mean: float
    standard_deviation: float
    degrees_of_freedom: float
    standard_deviation_of_mean: float
    coverage_factor: float
    expanded: float
    expanded_of_mean: float


@dataclass(frozen=True, slots=True, eq=False)
class AnovaRow(Value):
    """One line of an analysis of variance.

    Attributes
    ----------
    sum_of_squares : float
        Sum of squares.
    degrees_of_freedom : float
        Degrees of freedom.
    mean_square : float
        Sum of squares over degrees of freedom.
    f : float or None
        Mean square over that of the line it is compared with. None where there is
        none, or it is zero.
    p : float or None
        How probable such an F or a greater one is by chance alone.
    """

    sum_of_squares: float
    degrees_of_freedom: float
    mean_square: float
    f: float | None
    p: float | None


@dataclass(frozen=True, slots=True, eq=False)
class OneWay(Value):
    """Repeats in groups: clampings, or operators.

    Attributes
    ----------
    mean : float
        Mean of all values.
    between, within : AnovaRow
        Between the groups, and within them.
    repeats_per_group : float
        Repeats per group; of unequal groups, the number that takes its place.
    repeatability_sd : float
        Repeatability standard deviation: within a group.
    between_sd : float
        What changing the group adds. Zero when its variance was estimated below zero.
    between_negative : bool
        Whether the variance between groups was estimated below zero.
    reproducibility_sd : float
        Reproducibility standard deviation: one value in another group.
    reproducibility_degrees_of_freedom : float or None
        Its effective degrees of freedom. None when it is zero.
    repeatability_limit, reproducibility_limit : float
        2.8 standard deviations: two values of one group, and of different groups,
        differ by less in 95 % of cases.
    """

    mean: float
    between: AnovaRow
    within: AnovaRow
    repeats_per_group: float
    repeatability_sd: float
    between_sd: float
    between_negative: bool
    reproducibility_sd: float
    reproducibility_degrees_of_freedom: float | None
    repeatability_limit: float
    reproducibility_limit: float


@dataclass(frozen=True, slots=True, eq=False)
class Share(Value):
    """One share of the variance of a crossed study.

    Attributes
    ----------
    variance : float
        Variance; zero when it was estimated below zero.
    negative : bool
        Whether it was estimated below zero.
    standard_deviation : float
        Root of the variance.
    percent_contribution : float or None
        Percentage of the total variance. The shares add up to 100.
    percent_of_total : float or None
        Percentage of the total standard deviation. These do not add up to 100.
    percent_of_tolerance : float or None
        Percentage of the tolerance, if one was given: six standard deviations over its
        width.
    """

    variance: float
    negative: bool
    standard_deviation: float
    percent_contribution: float | None
    percent_of_total: float | None
    percent_of_tolerance: float | None


@dataclass(frozen=True, slots=True, eq=False)
class Crossed(Value):
    """A crossed study: cars × operators × repeats.

    Attributes
    ----------
    mean : float
        Mean of all values.
    cars, operators, interaction, repeats : AnovaRow
        Between cars, between operators, of operators who differ otherwise on one car
        than on another, and between the repeats of one operator on one car.
    pooled : AnovaRow or None
        Interaction and repeats in one, when the interaction is pooled.
    repeatability : Share
        Between repeats.
    operator, operator_by_car, between_operators : Share
        What operators add on all cars alike, on one car otherwise than on another, and
        both together.
    gauge : Share
        Gauge repeatability and reproducibility: repeatability and what operators add.
    car : Share
        What differs from car to car.
    total : Share
        All together.
    gauge_degrees_of_freedom : float or None
        Effective degrees of freedom of `gauge`. None when it is zero.
    distinct_categories : float or None
        1.41 times the standard deviation of cars over that of the gauge, customarily
        rounded down. None when the gauge's is zero.
    """

    mean: float
    cars: AnovaRow
    operators: AnovaRow
    interaction: AnovaRow
    repeats: AnovaRow
    pooled: AnovaRow | None
    repeatability: Share
    operator: Share
    operator_by_car: Share
    between_operators: Share
    gauge: Share
    car: Share
    total: Share
    gauge_degrees_of_freedom: float | None
    distinct_categories: float | None


def repeatability(values: Sequence[float] | Array) -> Repeatability:
    """Find how much a reading scatters under the same conditions.

    Parameters
    ----------
    values : sequence or array of float
        At least two repeats of one reading, in its own unit.

    Returns
    -------
    Repeatability
        Mean, standard deviation and what follows from them.

    Raises
    ------
    OutOfRangeError
        Fewer than two values, or one beyond ± 1e9.
    NotFiniteError
        A value is not finite.

    Examples
    --------
    >>> from wheel_alignment.repeatability import repeatability
    >>> found = repeatability([-0.51, -0.49, -0.50, -0.52, -0.48])
    >>> print(f"{found.standard_deviation:.4f}° {found.expanded:.4f}°")
    0.0158° 0.0439°
    """
    return from_json(Repeatability, _native.repeats(values))


def one_way(groups: Sequence[Sequence[float] | Array] | Array) -> OneWay:
    """Find repeatability and reproducibility from groups of repeats on one car.

    Parameters
    ----------
    groups : sequence of sequences or arrays of float
        The repeats of each clamping, or of each operator, of one reading in its own
        unit. Groups may differ in size.

    Returns
    -------
    OneWay
        The analysis of variance, and the standard deviations.

    Raises
    ------
    OutOfRangeError
        Fewer than two groups, an empty one, none with two values, or a value beyond
        ± 1e9.
    NotFiniteError
        A value is not finite.

    Examples
    --------
    Camber in degrees: three clampings, and three repeats in each.

    >>> from wheel_alignment.repeatability import one_way
    >>> found = one_way(
    ...     [[-0.51, -0.50, -0.50], [-0.54, -0.55, -0.54], [-0.47, -0.48, -0.48]]
    ... )
    >>> print(f"{found.repeatability_sd:.4f}° {found.reproducibility_sd:.4f}°")
    0.0058° 0.0339°
    """
    return from_json(OneWay, _native.one_way(groups))


def crossed(
    values: Sequence[Sequence[Sequence[float] | Array] | Array] | Array,
    pool_above_p: float = 0.25,
    tolerance: float | None = None,
) -> Crossed:
    """Find where the scatter of a reading comes from: several cars, each by everyone.

    Parameters
    ----------
    values : sequences or array of float
        ``values[car][operator][repeat]``, of one reading in its own unit. Operators
        may as well be rigs, or sets of clamps.
    pool_above_p : float
        The p-value above which the interaction is pooled with the repeats; 1 never
        pools.
    tolerance : float, optional
        The width from the lower to the upper limit, in the unit of the values.

    Returns
    -------
    Crossed
        The analysis of variance, and the shares of the variance.

    Raises
    ------
    OutOfRangeError
        Fewer than two cars, operators or repeats, or some are missing; a value beyond
        ± 1e9; a probability or a tolerance outside its range.
    NotFiniteError
        A value is not finite.

    Examples
    --------
    Toe in degrees: three cars, two operators, two repeats; specified to ± 0.10°.

    >>> from wheel_alignment.repeatability import crossed
    >>> toe_deg = [
    ...     [[0.10, 0.11], [0.12, 0.12]],
    ...     [[0.25, 0.24], [0.26, 0.27]],
    ...     [[-0.05, -0.04], [-0.04, -0.03]],
    ... ]
    >>> found = crossed(toe_deg, tolerance=0.20)
    >>> print(f"{found.gauge.standard_deviation:.4f}°")
    0.0120°
    >>> print(f"{found.gauge.percent_of_tolerance:.1f} %")
    36.0 %
    """
    return from_json(Crossed, _native.crossed(values, pool_above_p, tolerance))
