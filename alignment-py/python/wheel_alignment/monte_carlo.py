"""The same by trials: distributions instead of first order."""

from __future__ import annotations

from dataclasses import dataclass

from wheel_alignment._values import Value


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
