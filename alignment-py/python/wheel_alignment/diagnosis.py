"""Hints: parts that may be bent or shifted, from readings that do not go together.

Never a verdict. Some readings are set with a spanner, others are built into the car,
and these tell where something has moved:

- SAI says how the steering axis of a front wheel leans, which follows where the body,
  the arms and the subframe hold the pivots of the knuckle.
- The included angle, SAI plus camber, is the angle between the axis and the wheel. It
  belongs to the knuckle alone: whatever moves a pivot tips axis and wheel together, so
  that SAI grows by as much as camber falls.
- Caster says where the lower pivot stands against the upper one along the car, setback
  where the wheel stands.
- Toe-out on turns is made by the steering arms; left turn and right turn mirror each
  other on a sound car.
- A rear wheel has its camber and toe from the axle that carries it.

A car is compared with itself, left against right; a specification says which of the
two sides is off. A deviation stands out when it exceeds what is normal from car to car
by more than its expanded uncertainty.

A hint says where to look. Whether a part is replaced is for the vehicle maker's
procedure, local codes and licensed practice, never for a number. Never straighten or
heat parts of the steering or the suspension, and support a raised car before anybody
reaches under it.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from enum import IntEnum
from typing import TYPE_CHECKING, Final

from wheel_alignment import _arrays, _inputs, _native
from wheel_alignment._inputs import Given
from wheel_alignment._values import Value, build
from wheel_alignment.alignment import Alignment

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from wheel_alignment.conformity import Specification

COVERAGE_FACTOR_RANGE: Final[tuple[float, float]] = (0.0, 100.0)
"""The least and greatest coverage factor."""


class Cause(IntEnum):
    """What may be wrong, as a stable number and name.

    The number is never reused, and the same in every language. The name is that of the
    member, in snake case.

    Examples
    --------
    >>> from wheel_alignment.diagnosis import Cause
    >>> Cause(1).name
    'bent_knuckle'
    """

    bent_knuckle = 1
    """The knuckle, the spindle or the strut of a front wheel is bent."""
    shifted_pivot = 2
    """A pivot of a front knuckle stands elsewhere: the strut tower, the control arm or
    its mount has moved."""
    shifted_subframe = 3
    """The front subframe stands elsewhere: sideways, lengthwise or turned."""
    pushed_back_wheel = 4
    """A front wheel is pushed back: its lower arm, strut rod or their mount has
    moved."""
    bent_steering_arm = 5
    """A steering arm is bent."""
    bent_rear_stub_axle = 6
    """The stub axle, knuckle or arm of a rear wheel is bent."""
    shifted_rear_axle = 7
    """The rear axle stands elsewhere: sideways or turned."""


@dataclass(frozen=True, slots=True, eq=False)
class NormalTolerances(Value):
    """How much readings of sound cars differ from side to side.

    The defaults are common practice, no source; where the vehicle maker gives figures,
    these come first. All are magnitudes.

    Attributes
    ----------
    camber_deg : float
        Camber, left against right, of either axle, degrees.
    sai_deg : float
        SAI, left against right, degrees.
    included_angle_deg : float
        Included angle, left against right, degrees.
    caster_deg : float
        Caster, left against right, degrees.
    setback_mm : float
        Setback of either axle, and the difference of the wheelbases, mm.
    axle_offset_mm : float
        Axle offset, mm.
    thrust_angle_deg : float
        Thrust angle, degrees.
    toe_out_on_turns_deg : float
        Toe-out on turns, left turn against right turn, degrees.
    coverage_factor : float
        By how many standard uncertainties a deviation must exceed its tolerance to
        stand out, 0 to 100: 2 covers some 95 %.
    """

    camber_deg: float = 0.5
    sai_deg: float = 0.5
    included_angle_deg: float = 0.5
    caster_deg: float = 0.5
    setback_mm: float = 6.0
    axle_offset_mm: float = 12.0
    thrust_angle_deg: float = 0.25
    toe_out_on_turns_deg: float = 0.5
    coverage_factor: float = 2.0


@dataclass(frozen=True, slots=True, eq=False)
class Evidence(Value):
    """A reading that a hint rests on, and what it was compared with.

    Attributes
    ----------
    path : str
        The path of the reading.
    unit : str
        The unit of all that follows: ``deg`` or ``mm``.
    value : float
        The reading.
    compared_with : str or None
        The reading from which it was expected: that of the other side, mostly. None
        where a specification says what is expected, or it is 0.
    expected : float
        What was expected.
    deviation : float
        Value less what was expected.
    tolerance : float
        How large a deviation is normal.
    standard_uncertainty : float or None
        The standard uncertainty of the deviation, where a covariance was given.
    stands_out : bool
        Whether the deviation stands out of what is normal by more than its expanded
        uncertainty. Some evidence is that a reading does not.
    """

    path: str
    unit: str
    value: float
    compared_with: str | None
    expected: float
    deviation: float
    tolerance: float
    standard_uncertainty: float | None
    stands_out: bool


@dataclass(frozen=True, slots=True, eq=False)
class Hint(Value):
    """What may be bent or shifted, and why it may. As text it is its `message`.

    Attributes
    ----------
    cause : str
        What may be wrong, by the name of its `Cause`.
    number : int
        The stable number of the cause.
    wheel : str or None
        At which wheel: ``fl``, ``fr``, ``rl`` or ``rr``. None where the readings do not
        tell the side, and where the cause is of the whole axle.
    evidence : tuple of Evidence
        The readings that the hint rests on, those first that stand out.
    other_causes : tuple of str
        What else may lie behind the same readings, in no order of likelihood:
        ``ride_height``, ``worn_joints``, ``clamp_or_target``, ``datum_not_level``,
        ``earlier_adjustment``, ``camber_set_at_strut``, ``wheel_rolled_in_sweep``,
        ``steering_not_centred``, ``unlike_tie_rods``, ``unlike_rims`` or
        ``subframe_or_body``.
    message : str
        All of it in a few sentences, with where to look next.
    """

    cause: str
    number: int
    wheel: str | None
    evidence: tuple[Evidence, ...]
    other_causes: tuple[str, ...]
    message: str

    def __str__(self) -> str:
        return self.message


def diagnose(
    readings: Alignment,
    *,
    covariance: ArrayLike | None = None,
    specification: Specification | Given | None = None,
    tolerances: NormalTolerances | None = None,
) -> tuple[Hint, ...]:
    """Say what the readings of a car hint at.

    Parameters
    ----------
    readings : Alignment
        The readings, in degrees and mm. What is absent gives no hint.
    covariance : array_like of shape (115, 115), optional
        Of all readings in the order of `READINGS`, as
        `Uncertainty.covariance_matrix` gives it. Without it readings are taken for
        exact.
    specification : Specification, mapping, str or path-like, optional
        What to aim at, and so which side is off: ``nominal``, or ``min`` and ``max``,
        whose middle it then is. Without it a car is compared with itself.
    tolerances : NormalTolerances, optional
        What is normal.

    Returns
    -------
    tuple of Hint
        Empty when nothing stands out, which is no proof that the car is sound.

    Raises
    ------
    NotFiniteError, OutOfRangeError
        A reading that is NaN, infinite or beyond ± 1e9; a tolerance that is negative or
        beyond 1e9.
    NotACovarianceError
        The covariance is none.
    NotASpecificationError, UnknownReadingError, LengthOutOfRangeError
        The specification is none.

    Examples
    --------
    >>> import dataclasses
    >>> from wheel_alignment import diagnosis, measure
    >>> from wheel_alignment.simulate import BentKnuckle, Faults, VirtualVehicle
    >>> car = VirtualVehicle()
    >>> diagnosis.diagnose(measure(car.session()).alignment)
    ()
    >>> faults = Faults(bent_knuckles=(BentKnuckle("fl", camber_deg=-1.5),))
    >>> bent = dataclasses.replace(car, faults=faults)
    >>> (hint,) = diagnosis.diagnose(measure(bent.session()).alignment)
    >>> hint.cause
    'bent_knuckle'
    >>> for one in hint.evidence:
    ...     print(one.path, f"{one.deviation:+.2f}°", one.stands_out)
    steering.left.included_angle_deg -1.50° True
    wheels.fl.camber_deg -1.50° True
    steering.left.sai_deg +0.00° False
    """
    if not isinstance(readings, Alignment):
        other = type(readings).__qualname__
        raise TypeError(f"readings is Alignment, not {other}")
    text = _native.diagnose(
        list(readings.values()),
        None if covariance is None else _square(covariance),
        None if specification is None else _inputs.specification(specification),
        NormalTolerances() if tolerances is None else tolerances,
    )
    return tuple(build(Hint, hint) for hint in json.loads(text))


def _square(covariance: ArrayLike) -> list[float]:
    rows = _arrays.rows(covariance, "covariance")
    count = len(_native.READINGS)
    if len(rows) != count or any(len(row) != count for row in rows):
        lengths = " or ".join(map(str, sorted({len(row) for row in rows}))) or "none"
        raise ValueError(
            f"covariance: {count} rows of {count} numbers are needed, one for each of "
            f"READINGS, not {len(rows)} rows of {lengths}"
        )
    return [number for row in rows for number in row]
