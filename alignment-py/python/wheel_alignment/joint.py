"""The joint estimate: one rigid car, fitted to all poses at once."""

from __future__ import annotations

from dataclasses import dataclass

from wheel_alignment._values import Value


@dataclass(frozen=True, slots=True, eq=False)
class PoseFit(Value):
    """One pose, and how far it lies from where all other poses say that it must be.

    Attributes
    ----------
    stage : str
        In which group of stations.
    station : int or None
        At which station of the group, counted from 0 as in the session.
    wheel : str
        Of which wheel.
    rotation_deg : float
        The leave-one-out residual: by how much the target is turned from where the
        fit to all other poses puts it, degrees; never negative.
    translation_mm : float
        And by how much it is shifted, mm; never negative.
    standardised : float
        The same over its own standard deviation, root mean square: about 1 when
        nothing is wrong.
    p_value : float or None
        The chance that noise alone makes it so large, 0 to 1; None when the poses are
        too few to tell.
    left_out : bool
        Whether the pose was left out of the fit, as the robust option does with what
        does not belong.
    """

    stage: str
    station: int | None
    wheel: str
    rotation_deg: float
    translation_mm: float
    standardised: float
    p_value: float | None
    left_out: bool


@dataclass(frozen=True, slots=True, eq=False)
class Fit(Value):
    """How well the poses of a session fit one rigid car, and which of them do not.

    Attributes
    ----------
    chi_squared : float
        The sum of squares of all that is left over, each over its standard deviation.
    degrees_of_freedom : float
        Equations less unknowns: what ``chi_squared`` is on average if the model and
        the noise are true.
    p_value : float or None
        The chance that noise alone makes ``chi_squared`` so large, 0 to 1; None when
        nothing tells the noise.
    steps : int
        How many steps the fit took.
    poses : tuple of PoseFit
        Every pose held against the fit to all the others, in the order of the session.
    """

    chi_squared: float
    degrees_of_freedom: float
    p_value: float | None
    steps: int
    poses: tuple[PoseFit, ...]
