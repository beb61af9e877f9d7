"""Judging: limits, decision rules and verdicts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

from wheel_alignment import _inputs, _native
from wheel_alignment._inputs import Given
from wheel_alignment._tables import Column, Table
from wheel_alignment._values import Tree, Value, from_json
from wheel_alignment.alignment import Alignment

PROBABILITY_RANGE: Final[tuple[float, float]] = (0.5, 0.999_999)
"""The least and greatest probability that a decision rule may ask for. At one half a
guard band has no width.
"""


@dataclass(frozen=True, slots=True, eq=False)
class Limits(Value):
    """The least and the greatest value that conform; at least one of them.

    Attributes
    ----------
    min : float or None
        The least, in the unit of the value; None when nothing is too small.
    max : float or None
        The greatest; None when nothing is too great.
    """

    min: float | None = None
    max: float | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Decision(Value):
    """The rule by which readings are judged.

    Attributes
    ----------
    rule : str
        ``guarded``: conforming and not conforming each need the stated probability.
        ``simple_acceptance``: within the limits conforms, beyond them does not.
    probability : float
        The probability with which the rule ``guarded`` must be right.
    """

    rule: str
    probability: float


@dataclass(frozen=True, slots=True, eq=False)
class Judgement(Value):
    """The verdict on one value, and what it rests on.

    Attributes
    ----------
    verdict : str
        ``conforms``, ``does_not_conform`` or ``undetermined``.
    reason : str or None
        Why it is undetermined: ``not_measured``, ``near_limit`` or ``too_uncertain``.
    rule : str
        The rule by which it was found: ``simple_acceptance`` wherever the uncertainty
        is not known.
    probability_of_conformity : float or None
        The probability that the true value lies within the limits. None without an
        uncertainty.
    risk_of_wrong_verdict : float or None
        The probability that the verdict is wrong. None without an uncertainty, and
        where nothing is decided.
    guard_band : float or None
        The guard band of one limit, in the unit of the value. 0 by simple acceptance.
    acceptance : Limits or None
        What conforms by the rule: the limits, less the guard bands. None when no value
        could conform, or none was measured.
    """

    verdict: str
    reason: str | None
    rule: str
    probability_of_conformity: float | None
    risk_of_wrong_verdict: float | None
    guard_band: float | None
    acceptance: Limits | None


@dataclass(frozen=True, slots=True, eq=False)
class ReadingVerdict(Value):
    """The verdict on one reading.

    Attributes
    ----------
    path : str
        The path of the reading.
    unit : str
        The unit of all that follows: ``deg`` or ``mm``.
    value : float or None
        The reading; None when it was not measured.
    standard_uncertainty : float or None
        Its standard uncertainty, where it is known.
    degrees_of_freedom : float or None
        The degrees of freedom of the uncertainty, where they are few.
    nominal : float or None
        The value to aim at, where the specification names one.
    limits : Limits
        The limits.
    verdict, reason, rule, probability_of_conformity, risk_of_wrong_verdict
        As in `Judgement`.
    guard_band, acceptance
        As in `Judgement`.
    """

    path: str
    unit: str
    value: float | None
    standard_uncertainty: float | None
    degrees_of_freedom: float | None
    nominal: float | None
    limits: Limits
    verdict: str
    reason: str | None
    rule: str
    probability_of_conformity: float | None
    risk_of_wrong_verdict: float | None
    guard_band: float | None
    acceptance: Limits | None


@dataclass(frozen=True, slots=True, eq=False)
class Verdicts(Tree, Table):
    """The verdicts on a car.

    As a table it has one row for each of `readings`, with the fields of
    `ReadingVerdict` as columns; the limits are ``min`` and ``max``, and those of what
    is accepted ``acceptance_min`` and ``acceptance_max``.

    Attributes
    ----------
    overall : str
        ``does_not_conform`` when one reading does not; ``conforms`` when every reading
        with limits does; else ``undetermined``.
    decision : Decision
        The rule that the specification asked for.
    load_state : str or None
        The load at which the limits hold.
    readings : tuple of ReadingVerdict
        One verdict for each limit of the specification, in the order of the tree.
    """

    overall: str
    decision: Decision
    load_state: str | None
    readings: tuple[ReadingVerdict, ...]

    def _columns(self) -> list[Column]:
        def text(name: str) -> Column:
            return Column(name, "text", [getattr(one, name) for one in self.readings])

        def number(name: str) -> Column:
            return Column(name, "number", [getattr(one, name) for one in self.readings])

        limits = [one.limits for one in self.readings]
        accepted = [one.acceptance or Limits() for one in self.readings]
        return [
            text("path"),
            number("value"),
            text("unit"),
            number("standard_uncertainty"),
            number("degrees_of_freedom"),
            number("nominal"),
            Column("min", "number", [of.min for of in limits]),
            Column("max", "number", [of.max for of in limits]),
            text("verdict"),
            text("reason"),
            text("rule"),
            number("probability_of_conformity"),
            number("risk_of_wrong_verdict"),
            number("guard_band"),
            Column("acceptance_min", "number", [of.min for of in accepted]),
            Column("acceptance_max", "number", [of.max for of in accepted]),
        ]


@dataclass(frozen=True, slots=True, eq=False)
class GlobalRisks(Value):
    """The risks of judging all that is produced.

    Attributes
    ----------
    consumer : float
        The probability that one of them does not conform and is accepted.
    producer : float
        The probability that one of them conforms and is not accepted.
    """

    consumer: float
    producer: float


@dataclass(frozen=True, slots=True, eq=False)
class Tolerance(Value):
    """The limits of one reading as a specification writes them.

    ``min``, ``max`` or both, or else ``nominal`` with ``minus`` and ``plus``.

    Attributes
    ----------
    min, max : float or None
        The least and the greatest value that conform.
    nominal : float or None
        The value to aim at.
    minus, plus : float or None
        How far below and above the nominal value conforms; not negative.
    unit : {"deg", "arcmin", "mm"} or None
        The unit of all of them: that of the reading when left out. Minutes of arc for
        an angle; mm for a length, or for a toe at the reference diameter.
    reference_diameter_mm : float or None
        The diameter at which a toe in mm is told, mm.
    """

    min: float | None = None
    max: float | None = None
    nominal: float | None = None
    minus: float | None = None
    plus: float | None = None
    unit: Literal["deg", "arcmin", "mm"] | None = None
    reference_diameter_mm: float | None = None

    def limits(self, path: str) -> Limits:
        """Return the limits in the reading's own unit, degrees or mm.

        60 minutes of arc are 1°. A toe of one wheel in mm is atan(length/D) at the
        reference diameter D, a total toe in mm 2·atan(length/(2·D)).

        Parameters
        ----------
        path : str
            The path of the reading.

        Returns
        -------
        Limits
            The least and the greatest that conform.

        Raises
        ------
        UnknownReadingError
            The path is no reading, or that of a vector's component, which has no
            limits.
        NotASpecificationError
            The tolerance is in neither form, or in a unit that the reading does not
            have.
        NotFiniteError
            A number is NaN or infinite.
        OutOfRangeError
            A negative ``minus`` or ``plus``, a least value above the greatest, or
            numbers beyond ± 1e9.
        LengthOutOfRangeError
            A diameter outside 100 to 3000 mm, or a toe beyond ± 45° there.

        Examples
        --------
        >>> from wheel_alignment.conformity import Tolerance
        >>> toe = Tolerance(min=1.0, max=3.0, unit="mm", reference_diameter_mm=400.0)
        >>> print(f"{toe.limits('axles.front.total_toe_deg').max:.5f}°")
        0.42972°
        """
        return Limits(*_native.tolerance_limits(_given(self), path))


@dataclass(frozen=True, slots=True, eq=False)
class Specification(Value):
    """The limits of one car: what its maker, or whoever answers for it, asks.

    `assess` and `judge_all` take it in place of its JSON.

    Attributes
    ----------
    limits : mapping of str to Tolerance
        The limits, by the paths of the readings. Names in braces stand for a path
        each, as in ``wheels.{fl,fr}.camber_deg``. Vectors have no limits.
    note : str or None
        A remark for people: whose limits they are, and of which car.
    load_state : str or None
        The load at which the limits hold, for people: tank, persons, ballast, ride
        height.
    decision : Decision
        The rule by which readings are judged.
    format : str
        The version of the format.

    Examples
    --------
    >>> from wheel_alignment.conformity import Specification, Tolerance, judge_all
    >>> from wheel_alignment.uncertainty import plan
    >>> wanted = Specification({"wheels.{fl,fr}.camber_deg": Tolerance(max=0.01)})
    >>> judge_all(plan(), wanted).overall
    'conforms'
    """

    limits: Mapping[str, Tolerance]
    note: str | None = None
    load_state: str | None = None
    decision: Decision = Decision("guarded", 0.95)
    format: str = "alignment-specification/1"

    def to_dict(self) -> dict[str, object]:
        """Return the specification as plain dicts, as the JSON has it."""
        limits = {path: _given(tolerance) for path, tolerance in self.limits.items()}
        return _given(self) | {"limits": limits, "decision": _given(self.decision)}


def _given(value: Tolerance | Decision | Specification) -> dict[str, object]:
    """Return what is given of a value: as the JSON has it."""
    fields = ((name, getattr(value, name)) for name in value.__dataclass_fields__)
    return {name: of for name, of in fields if of is not None}


def judge(
    value: float,
    limits: Limits,
    *,
    standard_uncertainty: float | None = None,
    degrees_of_freedom: float | None = None,
    rule: Literal["guarded", "simple_acceptance"] = "guarded",
    probability: float = 0.95,
) -> Judgement:
    """Judge one value against its limits, all in one unit, degrees or mm alike.

    By the rule ``guarded`` a value conforms when it is at least as probable as stated
    that the true one lies within the limits; it does not conform when it is so
    probable that the true one lies beyond one and the same limit. Without an
    uncertainty a value is judged as it stands.

    Parameters
    ----------
    value : float
        The value.
    limits : Limits
        The least and the greatest that conform.
    standard_uncertainty : float, optional
        Of the value, in its unit; 0 for a value that is known exactly.
    degrees_of_freedom : float, optional
        On which the uncertainty rests, at least 1; infinite when left out.
    rule : str
        ``guarded`` or ``simple_acceptance``.
    probability : float
        The probability with which the rule ``guarded`` must be right, 0.5 to 0.999999.

    Returns
    -------
    Judgement
        The verdict, and what it rests on.

    Raises
    ------
    OutOfRangeError
        A probability, an uncertainty or degrees of freedom outside their range; a
        least value above the greatest; numbers beyond ± 1e9.
    MissingInputError
        No limit is given.
    NotFiniteError
        A number is not finite.

    Examples
    --------
    >>> from wheel_alignment.conformity import Limits, judge
    >>> limits = Limits(min=-1.0, max=0.0)
    >>> judged = judge(-0.05, limits, standard_uncertainty=0.05)
    >>> judged.verdict, judged.reason
    ('undetermined', 'near_limit')
    >>> print(f"{judged.probability_of_conformity:.3f}, {judged.acceptance.max:.3f}°")
    0.841, -0.082°
    >>> judge(-0.05, limits).verdict
    'conforms'
    """
    text = _native.judge(
        value,
        _pair("limits", limits),
        standard_uncertainty,
        degrees_of_freedom,
        {"rule": rule, "probability": probability},
    )
    return from_json(Judgement, text)


def judge_all(
    readings: Alignment,
    specification: Specification | Given,
    *,
    standard_uncertainty: Alignment | None = None,
    degrees_of_freedom: Alignment | None = None,
) -> Verdicts:
    """Judge every reading that has limits. `assess` does so with all that it knows.

    Parameters
    ----------
    readings : Alignment
        The readings, in degrees and mm.
    specification : Specification, mapping, str or path-like
        The limits, format ``alignment-specification/1``: a dict, the text of its JSON,
        or the path of a JSON file as a `pathlib.Path`.
    standard_uncertainty, degrees_of_freedom : Alignment, optional
        Of every reading, under its path. A reading without an uncertainty is judged as
        it stands, one without degrees of freedom by the normal distribution.

    Returns
    -------
    Verdicts
        One verdict for each limit, and one on the whole.

    Raises
    ------
    NotASpecificationError, UnknownReadingError
        It is not a specification, or has limits of what is no reading.
    OutOfRangeError, LengthOutOfRangeError, NotFiniteError
        A number that cannot be judged; ``input`` is its path.

    Examples
    --------
    Whether a planned measurement is good enough for its purpose:

    >>> from wheel_alignment import conformity, uncertainty
    >>> wanted = {
    ...     "format": "alignment-specification/1",
    ...     "limits": {
    ...         "wheels.{fl,fr}.camber_deg": {"max": 0.01},
    ...         "steering.{left,right}.caster_deg": {"max": 0.005},
    ...     },
    ... }
    >>> verdicts = conformity.judge_all(uncertainty.plan(), wanted)
    >>> verdicts.overall
    'does_not_conform'
    >>> [reading.path for reading in verdicts.readings if reading.verdict == "conforms"]
    ['wheels.fl.camber_deg', 'wheels.fr.camber_deg']
    """
    return from_json(
        Verdicts,
        _native.judge_all(
            _values("readings", readings),
            None
            if standard_uncertainty is None
            else _values("standard_uncertainty", standard_uncertainty),
            None
            if degrees_of_freedom is None
            else _values("degrees_of_freedom", degrees_of_freedom),
            _inputs.specification(specification),
        ),
    )


def global_risks(
    *,
    mean: float,
    standard_deviation: float,
    standard_uncertainty: float,
    limits: Limits,
    acceptance: Limits,
) -> GlobalRisks:
    """Find the risks of accepting what is measured within the acceptance limits.

    All in one unit, degrees or mm alike; production and measurement are taken to be
    normal.

    Parameters
    ----------
    mean, standard_deviation : float
        Of the true values of what is produced; the deviation is above 0.
    standard_uncertainty : float
        Of the measurement.
    limits : Limits
        What conforms.
    acceptance : Limits
        What is accepted: `limits` by simple acceptance, else `Judgement.acceptance`.

    Returns
    -------
    GlobalRisks
        The global risks of the consumer and of the producer.

    Raises
    ------
    OutOfRangeError, MissingInputError, NotFiniteError
        As `judge`.

    Examples
    --------
    >>> from wheel_alignment.conformity import Limits, global_risks
    >>> limits = Limits(-0.5, 0.5)
    >>> guarded = global_risks(
    ...     mean=0.0,
    ...     standard_deviation=0.3,
    ...     standard_uncertainty=0.05,
    ...     limits=limits,
    ...     acceptance=Limits(-0.42, 0.42),
    ... )
    >>> print(f"{guarded.consumer:.4f} {guarded.producer:.4f}")
    0.0007 0.0724
    """
    consumer, producer = _native.global_risks(
        mean,
        standard_deviation,
        standard_uncertainty,
        _pair("limits", limits),
        _pair("acceptance", acceptance),
    )
    return GlobalRisks(consumer, producer)


def _pair(name: str, limits: Limits) -> tuple[float | None, float | None]:
    _check_kind(name, limits, Limits)
    return limits.min, limits.max


def _values(name: str, tree: Alignment) -> list[float | None]:
    _check_kind(name, tree, Alignment)
    return list(tree.values())


def _check_kind(name: str, given: object, kind: type) -> None:
    if not isinstance(given, kind):
        other = type(given).__qualname__
        raise TypeError(f"{name} is {kind.__name__}, not {other}")
