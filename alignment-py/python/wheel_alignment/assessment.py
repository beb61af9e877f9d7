"""Every reading, what it is worth, and whether it is within its limits."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

from wheel_alignment import _inputs, _native
from wheel_alignment._inputs import Given, SessionLike
from wheel_alignment._tables import Column
from wheel_alignment._values import table, with_infinities
from wheel_alignment.alignment import Alignment, Measurement
from wheel_alignment.conformity import Specification, Verdicts
from wheel_alignment.paths import COUNT, READINGS

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from matplotlib.axes import Axes
    from typing_extensions import Self

COVERAGE: Final[float] = 0.95
"""The coverage probability of `Assessment::expanded_uncertainty`."""


@dataclass(frozen=True, eq=False, repr=False)
class Assessment(Measurement):
    """What `assess` returns: a measurement with all that can be said of it.

    As a table it has beside ``path``, ``value`` and ``unit``: ``standard_uncertainty``,
    ``degrees_of_freedom``, ``expanded_uncertainty``, the limits ``min`` and ``max``,
    ``verdict`` and ``probability_of_conformity``.

    Attributes
    ----------
    alignment, reference, datum_normal, warnings, residuals, spreads
        As in `Measurement`.
    method, fit, instantaneous_axes
        As in `Measurement`.
    uncertainty : Alignment or None
        The standard uncertainty of every reading, in its own unit, under the same
        path. None as a whole when the noise of the poses is not known.
    degrees_of_freedom : Alignment or None
        The effective degrees of freedom of every standard uncertainty: `math.inf`
        where the noise is known.
    expanded_uncertainty : Alignment or None
        The expanded uncertainty U of every reading: reading ± U holds the true value
        with a probability of 95 %.
    verdicts : Verdicts or None
        The verdicts by the specification, when there is one.
    """

    # By hand: of slots that a dataclass adds to inherited ones, mypy has another idea.
    __slots__ = (
        "degrees_of_freedom",
        "expanded_uncertainty",
        "uncertainty",
        "verdicts",
    )

    uncertainty: Alignment | None
    degrees_of_freedom: Alignment | None
    expanded_uncertainty: Alignment | None
    verdicts: Verdicts | None

    @classmethod
    def from_dict(cls, tree: Mapping[str, object]) -> Self:
        """Make it again of what `to_dict` returned, or of its JSON once parsed."""
        freedom = tree.get("degrees_of_freedom")
        if freedom is not None:
            # Where the noise is known they are infinite, and null in JSON.
            freedom = with_infinities(freedom, tree.get("uncertainty"))
            tree = {**tree, "degrees_of_freedom": freedom}
        return super().from_dict(tree)

    def _columns(self) -> list[Column]:
        verdicts = () if self.verdicts is None else self.verdicts.readings
        by_path = {verdict.path: verdict for verdict in verdicts}
        judged = [by_path.get(path) for path in READINGS]
        limits = [of and of.limits for of in judged]
        chance = [of and of.probability_of_conformity for of in judged]
        return [
            *super()._columns(),
            Column("standard_uncertainty", "number", _values(self.uncertainty)),
            Column("degrees_of_freedom", "number", _values(self.degrees_of_freedom)),
            Column(
                "expanded_uncertainty", "number", _values(self.expanded_uncertainty)
            ),
            Column("min", "number", [of and of.min for of in limits]),
            Column("max", "number", [of and of.max for of in limits]),
            Column("verdict", "text", [of and of.verdict for of in judged]),
            Column("probability_of_conformity", "number", chance),
        ]

    def plot(
        self, *, exaggeration: float | None = None, ax: Axes | None = None
    ) -> Axes:
        """Draw the car from above, as `Alignment.plot` does, with uncertainties.

        ± is the expanded uncertainty of each value.
        """
        from wheel_alignment import _plots

        expanded = self.expanded_uncertainty
        return _plots.plan_view(self.alignment, expanded, exaggeration, ax)

    def __repr__(self) -> str:
        more = []
        if self.verdicts is not None:
            overall = self.verdicts.overall
            paths = [v.path for v in self.verdicts.readings if v.verdict == overall]
            named = "" if overall == "conforms" else ": " + ", ".join(paths)
            more.append(("verdicts", overall + named))
        return table("Assessment", self, self.expanded_uncertainty, more)

    def _repr_html_(self) -> str:
        from wheel_alignment import _html

        return _html.page(self, self.expanded_uncertainty)


def assess(
    session: SessionLike,
    specification: Specification | Given | None = None,
    *,
    method: Literal["staged", "joint"] | None = None,
) -> Assessment:
    """Measure a car, say what every reading is worth, and judge it by its limits.

    The noise of the poses must be stated, as ``pose_noise`` or as a pose's own
    ``covariance``, or be seen in several frames. Without it there are no uncertainties,
    and readings are judged as they stand.

    Parameters
    ----------
    session : Session, mapping, str or path-like
        What the rig hands over, as `measure` takes it.
    specification : Specification, mapping, str or path-like, optional
        The limits, format ``alignment-specification/1``, in the same forms.
    method : {"staged", "joint"}, optional
        As `measure` takes it.

    Returns
    -------
    Assessment
        A `Measurement` with the uncertainties of its readings, and the verdicts.

    Raises
    ------
    AlignmentError
        One subclass per code, as `measure`; `NotASpecificationError` and
        `UnknownReadingError` for a specification that is none:
        `NotFiniteError`, `NotARotationError`, `ReflectionError`,
        `LengthOutOfRangeError`, `NotUnitLengthError`, `AngleOutOfRangeError`,
        `MissingInputError`, `WheelNotSeenError`, `TooFewStationsError`,
        `RollTooSmallError`, `RollFullTurnError`, `SweepTooSmallError`,
        `UpInvertedError`, `SidesSwappedError`, `EndsSwappedError`, `MirroredError`,
        `SpindleNotLateralError`, `NotStillError`, `DifferentVehiclesError`,
        `RearWheelSteerError`, `TooManyError`, `ContradictionError`,
        `NotACovarianceError`, `NotDeterminedError`, `NotConvergedError`,
        `UnknownReadingError`, `NotASpecificationError` or `OutOfRangeError`.

    Notes
    -----
    The interpreter is free for other threads while the car is measured.

    Examples
    --------
    A flawless car, whose targets sit on the wheel centres:

    >>> import math
    >>> import wheel_alignment
    >>> front = {"fl": (2700, 760), "fr": (2700, -760)}
    >>> rear = {"rl": (0, 750), "rr": (0, -750)}
    >>> def station(roll_deg):
    ...     roll = math.radians(roll_deg)
    ...     return {
    ...         wheel: {
    ...             "rotation_vector_rad": [0, roll, 0],
    ...             "translation_mm": [x + 310 * roll, y, 310],
    ...         }
    ...         for wheel, (x, y) in (front | rear).items()
    ...     }
    >>> session = {
    ...     "format": "alignment-session/1",
    ...     "up": [0, 0, 1],
    ...     "clamp_standoff_mm": {"fl": 0, "fr": 0, "rl": 0, "rr": 0},
    ...     "pose_noise": {"rotation_deg": 0.005, "translation_mm": 0.05},
    ...     "rolling": [station(0), station(20), station(40)],
    ...     "ahead": station(0),
    ... }
    >>> specification = {
    ...     "format": "alignment-specification/1",
    ...     "limits": {
    ...         "axles.{front,rear}.total_toe_deg": {"min": -0.1, "max": 0.1},
    ...         "wheels.{fl,fr}.camber_deg": {"min": -1.0, "max": 0.01},
    ...     },
    ... }
    >>> assessment = wheel_alignment.assess(session, specification)
    >>> print(f"± {assessment.expanded_uncertainty.wheels.fl.camber_deg:.3f}°")
    ± 0.022°
    >>> for reading in assessment.verdicts.readings:
    ...     print(reading.path, reading.verdict)
    wheels.fl.camber_deg undetermined
    wheels.fr.camber_deg undetermined
    axles.front.total_toe_deg conforms
    axles.rear.total_toe_deg conforms
    """
    text = _native.assess(
        _inputs.session(session),
        None if specification is None else _inputs.specification(specification),
        method,
    )
    return Assessment.from_dict(json.loads(text))


def _values(tree: Alignment | None) -> Sequence[float | None]:
    return [None] * COUNT if tree is None else tree.values()
