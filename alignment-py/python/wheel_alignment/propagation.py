"""What the uncertainties of any inputs make of any function of them."""

from __future__ import annotations

from dataclasses import dataclass

from wheel_alignment._values import Value


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
