"""Before and after: a record of the work that can be checked, and pages made from it.

Alignment work is paid when it is documented. A `Record` holds what was measured before
the work and after it, each reading with its uncertainty, limits and verdict; what was
done; notes; and the digests of files that belong to it. It is plain data: whoever makes
one fills in what is known, and what is not stays None. The library has no clock and
invents nothing.

`Record.to_json` writes it as JSON of format ``alignment-record/1``, whose last member
is ``digest``: the SHA-256 of the whole text with its own 64 digits replaced by zeros.
It tells a text that was damaged or changed, and `Record.from_json` checks it. It is no
signature: whoever changes a text can write a new digest.

Readings are no licence to drive, and a record is no more than its readings: the vehicle
maker's procedure, local codes and licensed practice come first.
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final, Literal

from wheel_alignment import _inputs, _native
from wheel_alignment._values import T, Value, build
from wheel_alignment.conformity import Decision
from wheel_alignment.error import NotARecordError
from wheel_alignment.session import Reference

if TYPE_CHECKING:
    import os
    from collections.abc import Sequence

    from typing_extensions import Buffer, Self

    from wheel_alignment._inputs import Given, SessionLike
    from wheel_alignment.adjustment import Adjuster, Adjustment
    from wheel_alignment.conformity import Specification
    from wheel_alignment.stand import StandAssessment

SHOWN_CHARACTERS: Final[int] = 600
"""So many characters of a text stand on a page; the rest is in the record alone, and
the page says so.
"""


@dataclass(frozen=True, slots=True, eq=False)
class Library(Value):
    """The program that wrote a record.

    Attributes
    ----------
    name, version : str
        Its name and its version.
    """

    name: str
    version: str


@dataclass(frozen=True, slots=True, eq=False)
class Convention(Value):
    """A convention that the readings follow, in a sentence.

    Attributes
    ----------
    name : str
        What it is about.
    meaning : str
        What it says.
    """

    name: str
    meaning: str


@dataclass(frozen=True, slots=True, eq=False)
class Identity(Value):
    """Whose car it is, and who worked on it when and with what.

    Texts of the caller, none of which is checked. Personal data is the caller's to
    protect.

    Attributes
    ----------
    record_id : str or None
        What the workshop calls this record.
    date : str or None
        When the work was done, best as in ISO 8601.
    vehicle, registration, chassis_number, odometer : str or None
        The car, its registration, its number, and what the odometer showed, with its
        unit.
    customer, workshop, operator : str or None
        Who had the work done, who answers for it, who did it.
    equipment : str or None
        What it was measured with, and when that was last checked.
    """

    record_id: str | None = None
    date: str | None = None
    vehicle: str | None = None
    registration: str | None = None
    chassis_number: str | None = None
    odometer: str | None = None
    customer: str | None = None
    workshop: str | None = None
    operator: str | None = None
    equipment: str | None = None


@dataclass(frozen=True, slots=True, eq=False)
class MeasuredWarning(Value):
    """A warning that came with a measurement.

    Attributes
    ----------
    code : str
        What is weak, by its stable name.
    number : int
        The stable number of the code.
    message : str
        All of it as one sentence.
    """

    code: str
    number: int
    message: str


@dataclass(frozen=True, slots=True, eq=False)
class MeasuredReading(Value):
    """One reading of a measurement, with what it is worth and its verdict.

    Attributes
    ----------
    path : str
        The path of the reading, as in ``wheels.fl.camber_deg``.
    unit : str
        The unit of all that follows: ``deg``, ``mm``, or ``1``.
    value : float or None
        The reading; None when it was not measured.
    standard_uncertainty : float or None
        Its standard uncertainty, where it is known.
    degrees_of_freedom : float or None
        Those of the uncertainty: `math.inf` where the noise of the poses is known.
    expanded_uncertainty : float or None
        value ± this holds the true value with the coverage probability.
    nominal, min, max : float or None
        The value to aim at, and the least and greatest that conform.
    verdict : str or None
        ``conforms``, ``does_not_conform`` or ``undetermined``; None without limits.
    reason : str or None
        Why it is undetermined: ``not_measured``, ``near_limit``, ``too_uncertain``.
    probability_of_conformity, risk_of_wrong_verdict : float or None
        The probabilities that the true value lies within the limits, and that the
        verdict is wrong.
    """

    path: str
    unit: str
    value: float | None = None
    standard_uncertainty: float | None = None
    degrees_of_freedom: float | None = None
    expanded_uncertainty: float | None = None
    nominal: float | None = None
    min: float | None = None
    max: float | None = None
    verdict: Literal["conforms", "does_not_conform", "undetermined"] | None = None
    reason: Literal["not_measured", "near_limit", "too_uncertain"] | None = None
    probability_of_conformity: float | None = None
    risk_of_wrong_verdict: float | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Measured(Value):
    """What was measured of the car at one time.

    Attributes
    ----------
    inputs_sha256 : str
        The SHA-256 of the session as `json.session_to_json` writes it.
    method : str
        How the readings were estimated: ``staged`` or ``joint``.
    reference : Reference or None
        The choices that the readings rest on, defaults included.
    specification_note, load_state : str or None
        Whose limits they are, and the load at which they hold.
    decision : Decision or None
        The rule by which readings were judged; None without a specification.
    overall : str or None
        The verdict on the whole; None without a specification.
    coverage_probability : float or None
        That of the expanded uncertainties; None where no uncertainty is known.
    warnings : tuple of MeasuredWarning
        What is weak in the measurement.
    readings : tuple of MeasuredReading
        Every reading, in the order of the tree.
    """

    inputs_sha256: str
    method: Literal["staged", "joint"]
    reference: Reference | None
    specification_note: str | None
    load_state: str | None
    decision: Decision | None
    overall: Literal["conforms", "does_not_conform", "undetermined"] | None
    coverage_probability: float | None
    warnings: tuple[MeasuredWarning, ...]
    readings: tuple[MeasuredReading, ...]

    @classmethod
    def of(
        cls,
        session: SessionLike,
        specification: Specification | Given | None = None,
    ) -> Self:
        """Measure a car and keep what a record needs of it, degrees and mm.

        Parameters
        ----------
        session : Session, mapping, str or path-like
            What the rig hands over, as `measure` takes it.
        specification : Specification, mapping, str or path-like, optional
            The limits, as `assess` takes them.

        Returns
        -------
        Measured
            Every reading, with what it is worth and its verdict.

        Raises
        ------
        AlignmentError
            As `assess`: `NotFiniteError`, `NotARotationError`, `ReflectionError`,
            `LengthOutOfRangeError`, `NotUnitLengthError`, `AngleOutOfRangeError`,
            `MissingInputError`, `WheelNotSeenError`, `TooFewStationsError`,
            `RollTooSmallError`, `RollFullTurnError`, `SweepTooSmallError`,
            `UpInvertedError`, `SidesSwappedError`, `EndsSwappedError`,
            `MirroredError`, `SpindleNotLateralError`, `NotStillError`,
            `DifferentVehiclesError`, `RearWheelSteerError`, `TooManyError`,
            `ContradictionError`, `NotACovarianceError`, `NotDeterminedError`,
            `NotConvergedError`, `UnknownReadingError`, `NotASpecificationError` or
            `OutOfRangeError`.

        Examples
        --------
        >>> from wheel_alignment.record import Measured
        >>> from wheel_alignment.simulate import VirtualVehicle
        >>> measured = Measured.of(VirtualVehicle().session())
        >>> measured.readings[0].path, round(measured.readings[0].value, 2)
        ('wheels.fl.camber_deg', -0.5)
        """
        text = _native.measured_of(
            _inputs.session(session),
            None if specification is None else _inputs.specification(specification),
        )
        return build(cls, _with_freedom(json.loads(text)))


@dataclass(frozen=True, slots=True, eq=False)
class AdjustmentDone(Value):
    """One adjuster that was turned, moved or exchanged.

    Attributes
    ----------
    adjuster : str
        What was adjusted, as the workshop calls it.
    wheel : str or None
        The wheel that it moves, where it is one alone.
    amount : float or None
        By how much, in `unit`.
    unit : str or None
        The unit of the amount, with its direction, such as ``turns longer``.
    note : str or None
        A remark.
    """

    adjuster: str
    wheel: Literal["fl", "fr", "rl", "rr"] | None = None
    amount: float | None = None
    unit: str | None = None
    note: str | None = None

    @classmethod
    def of(cls, adjusters: Sequence[Adjuster], plan: Adjustment) -> tuple[Self, ...]:
        """Return the rows of a plan that was carried out, one for each move.

        Parameters
        ----------
        adjusters : sequence of Adjuster
            Those that the plan was made for; moves of others are left out.
        plan : Adjustment
            What `adjustment.fewest_moves` found.

        Returns
        -------
        tuple of AdjustmentDone
            In the order of the moves.

        Examples
        --------
        >>> from wheel_alignment.adjustment import Adjuster, fewest_moves
        >>> from wheel_alignment.conformity import Specification, Tolerance
        >>> from wheel_alignment.record import AdjustmentDone
        >>> from wheel_alignment.simulate import VirtualVehicle
        >>> wanted = Specification({"wheels.fl.camber_deg": Tolerance(min=-0.3)})
        >>> cams = [Adjuster("fl cam", {"wheels.fl.camber_deg": 0.1}, -4.0, 4.0)]
        >>> plan = fewest_moves(VirtualVehicle().truth(), cams, wanted)
        >>> [(row.adjuster, row.wheel) for row in AdjustmentDone.of(cams, plan)]
        [('fl cam', 'fl')]
        """
        from wheel_alignment.adjustment import Adjustment, _adjusters

        if not isinstance(plan, Adjustment):
            raise TypeError(f"plan is Adjustment, not {type(plan).__qualname__}")
        moves = [(move.adjuster, move.amount) for move in plan.moves]
        rows = json.loads(_native.adjustments_done(_adjusters(adjusters), moves))
        return tuple(build(cls, row) for row in rows)


@dataclass(frozen=True, slots=True, eq=False)
class Attachment(Value):
    """A file that belongs to the record, by its digest; it is kept elsewhere.

    Attributes
    ----------
    name : str
        The name of the file.
    media_type : str
        Its media type, as ``image/jpeg``.
    length_bytes : int
        How many bytes it has.
    sha256 : str
        The SHA-256 of its bytes, in hexadecimal digits.
    """

    name: str
    media_type: str
    length_bytes: int
    sha256: str

    @classmethod
    def of(cls, name: str, media_type: str, content: Buffer) -> Self:
        """Return the attachment of a file's bytes.

        Parameters
        ----------
        name, media_type : str
            The name of the file, and its media type.
        content : bytes-like
            All of it.

        Returns
        -------
        Attachment
            With the length and the digest of the bytes.

        Examples
        --------
        >>> from wheel_alignment.record import Attachment
        >>> Attachment.of("note.txt", "text/plain", b"abc").sha256[:8]
        'ba7816bf'
        """
        text = _native.attachment_of(
            _text(name, "name"), _text(media_type, "media_type"), _bytes(content)
        )
        return build(cls, json.loads(text))

    def matches(self, content: Buffer) -> bool:
        """Return whether these bytes are those of the file.

        Parameters
        ----------
        content : bytes-like
            All of a file.

        Returns
        -------
        bool
            Whether their number and their digest agree.

        Examples
        --------
        >>> from wheel_alignment.record import Attachment
        >>> note = Attachment.of("note.txt", "text/plain", b"right tie rod end worn")
        >>> note.matches(b"right tie rod end worn"), note.matches(b"left")
        (True, False)
        """
        return _native.attachment_matches(self, _bytes(content))


@dataclass(frozen=True, slots=True, eq=False)
class StandParameter(Value):
    """One number of a stand's set-up.

    Attributes
    ----------
    name : str
        Its name, which ends in its unit: ``distance_mm``, ``yaw_deg``.
    value, expanded_uncertainty : float or None
        What was set up, and its expanded uncertainty. An angle counts from the nominal
        by the shorter way, so that it compares with the limits.
    nominal, min, max : float or None
        The value to aim at, and the least and greatest that conform.
    verdict, reason : str or None
        As in `MeasuredReading`.
    """

    name: str
    value: float | None = None
    expanded_uncertainty: float | None = None
    nominal: float | None = None
    min: float | None = None
    max: float | None = None
    verdict: Literal["conforms", "does_not_conform", "undetermined"] | None = None
    reason: Literal["not_measured", "near_limit", "too_uncertain"] | None = None


@dataclass(frozen=True, slots=True, eq=False)
class StandSetup(Value):
    """Where a calibration stand was set up before the car.

    Attributes
    ----------
    procedure : str or None
        Whose procedure it is, for which sensor, and at what load it holds.
    line : str or None
        The line of the car to which it was set up: thrust line or centreline.
    reference_point : str or None
        The point of the car from which distances are told.
    ground_tilt_deg : float or None
        How far the ground is tilted against the datum of the car's own angles, degrees.
    ground_residual_mm : float or None
        How far the ground under car and stand is from one plane, mm.
    overall : str or None
        The verdict on the whole; None when nothing is required.
    parameters : tuple of StandParameter
        Where it stood: ``distance_mm``, ``lateral_offset_mm``, ``height_mm``,
        ``yaw_deg``, ``pitch_deg``, ``roll_deg``.
    """

    procedure: str | None = None
    line: str | None = None
    reference_point: str | None = None
    ground_tilt_deg: float | None = None
    ground_residual_mm: float | None = None
    overall: Literal["conforms", "does_not_conform", "undetermined"] | None = None
    parameters: tuple[StandParameter, ...] = ()

    @classmethod
    def of(cls, found: StandAssessment) -> Self:
        """Return the set-up that `stand.assess` found.

        Parameters
        ----------
        found : StandAssessment
            The stand as it was left.

        Returns
        -------
        StandSetup
            All six readings with their uncertainties, limits and verdicts, degrees and
            mm.

        Examples
        --------
        >>> from wheel_alignment.pose import Pose
        >>> from wheel_alignment.record import StandSetup
        >>> from wheel_alignment.simulate import VirtualVehicle
        >>> from wheel_alignment.stand import PlacedStand, assess
        >>> seen = Pose.from_rotation_vector_rad([0, 0, 0.017], [5000, 30, 1200])
        >>> square = {"yaw_deg": {"nominal": 0.0, "minus": 0.2, "plus": 0.2}}
        >>> wanted = {"format": "alignment-stand/1", "required": square}
        >>> found = assess(VirtualVehicle().session(), PlacedStand(seen), wanted)
        >>> setup = StandSetup.of(found)
        >>> setup.line, setup.parameters[3].name, setup.parameters[3].max
        ('thrust line', 'yaw_deg', 0.2)
        """
        from wheel_alignment.stand import StandAssessment

        if not isinstance(found, StandAssessment):
            name = type(found).__qualname__
            raise TypeError(f"found is StandAssessment, not {name}")
        return build(cls, json.loads(_native.stand_setup(found)))


@dataclass(frozen=True, slots=True, eq=False)
class Record(Value):
    """A record of the work on one car; at least `before` or `after` must be there.

    Attributes
    ----------
    identity : Identity
        Whose car it is, and who worked on it.
    before, after : Measured or None
        The car before and after the work.
    adjustments : tuple of AdjustmentDone
        What was adjusted, in the order of the work.
    notes : tuple of str
        Remarks.
    attachments : tuple of Attachment
        Files that belong to it.
    stand : StandSetup or None
        The set-up of a calibration stand.
    format : str
        The version of the format.
    library : Library
        The program that wrote it.
    conventions : tuple of Convention
        How to read it: axes, units and signs, in sentences.

    Examples
    --------
    >>> from wheel_alignment.record import Identity, Measured, Record
    >>> from wheel_alignment.simulate import VirtualVehicle
    >>> record = Record(
    ...     Identity(vehicle="an invented car"),
    ...     before=Measured.of(VirtualVehicle().session()),
    ...     notes=("Tyres even.",),
    ... )
    >>> text = record.to_json()
    >>> Record.from_json(text) == record
    True
    >>> record.to_html()[:15]
    '<!doctype html>'
    """

    identity: Identity = Identity()
    before: Measured | None = None
    after: Measured | None = None
    adjustments: tuple[AdjustmentDone, ...] = ()
    notes: tuple[str, ...] = ()
    attachments: tuple[Attachment, ...] = ()
    stand: StandSetup | None = None
    format: Literal["alignment-record/1"] = "alignment-record/1"
    library: Library = field(default_factory=lambda: _new().library)
    conventions: tuple[Convention, ...] = field(
        default_factory=lambda: _new().conventions
    )

    @classmethod
    def from_json(cls, text: str | os.PathLike[str]) -> Self:
        """Read a record from its JSON, and check its digest first.

        Parameters
        ----------
        text : str or path-like
            The JSON, or the path of a file that holds it.

        Returns
        -------
        Record
            What was written.

        Raises
        ------
        RecordDamagedError
            The text is not what was written, by whatever byte.
        NotARecordError
            It is no record, or one of a newer version.

        Examples
        --------
        >>> import wheel_alignment
        >>> from wheel_alignment.record import Record
        >>> try:
        ...     Record.from_json("{}")
        ... except wheel_alignment.NotARecordError as error:
        ...     print(error.code)
        -33
        """
        return _read(cls, _native.record_from_json(_file(text)))

    @classmethod
    def from_details(cls, text: str | os.PathLike[str]) -> Self:
        """Make a record of what the caller has to say beside the measurements.

        Parameters
        ----------
        text : str or path-like
            JSON, or the path of a file, with ``identity``, ``adjustments``, ``notes``,
            ``attachments`` and ``stand``, as in a record; each may be left out.

        Returns
        -------
        Record
            Without measurements: `dataclasses.replace` puts them in.

        Raises
        ------
        NotARecordError
            With the place: a key that is unknown, or of another type; and for
            measurements, another library or other conventions, which are not told.

        Examples
        --------
        >>> from wheel_alignment.record import Record
        >>> Record.from_details('{ "notes": ["Tyres even."] }').notes
        ('Tyres even.',)
        """
        return _read(cls, _native.record_from_details(_file(text)))

    def to_json(self) -> str:
        """Write the record as JSON, with its digest at the end.

        Numbers that are not finite come out as null, infinite degrees of freedom as
        ``"infinite"``.

        Returns
        -------
        str
            JSON of format ``alignment-record/1``, the same in every language.

        Raises
        ------
        MissingInputError
            Neither `before` nor `after` is there.

        Examples
        --------
        >>> from wheel_alignment.record import Measured, Record
        >>> from wheel_alignment.simulate import VirtualVehicle
        >>> text = Record(after=Measured.of(VirtualVehicle().session())).to_json()
        >>> Record.from_json(text).to_json() == text
        True
        """
        return _native.record_text(self, "json")

    def to_markdown(self) -> str:
        """Make a page of Markdown (CommonMark, with tables) from the record.

        Returns
        -------
        str
            The page. No text of the record becomes markup in it.

        Raises
        ------
        MissingInputError
            Neither `before` nor `after` is there.

        Examples
        --------
        >>> from wheel_alignment.record import Measured, Record
        >>> from wheel_alignment.simulate import VirtualVehicle
        >>> before = Measured.of(VirtualVehicle().session())
        >>> Record(before=before).to_markdown().splitlines()[0]
        '# Wheel alignment record'
        """
        return _native.record_text(self, "markdown")

    def to_html(self) -> str:
        """Make a page of HTML from the record, which prints on A4 and on Letter.

        Returns
        -------
        str
            One file, without scripts or anything from outside, with a plan view. No
            text of the record becomes markup in it.

        Raises
        ------
        MissingInputError
            Neither `before` nor `after` is there.

        Examples
        --------
        >>> from wheel_alignment.record import Measured, Record
        >>> from wheel_alignment.simulate import VirtualVehicle
        >>> before = Measured.of(VirtualVehicle().session())
        >>> "<script" in Record(before=before, notes=("<script>",)).to_html()
        False
        """
        return _native.record_text(self, "html")


def _new() -> Record:
    return _read(Record, _native.record_new({}))


def _read(kind: type[T], text: str) -> T:
    tree = json.loads(text)
    for state in ("before", "after"):
        if tree[state] is not None:
            tree[state] = _with_freedom(tree[state])
    return build(kind, tree)


def _with_freedom(measured: dict[str, object]) -> dict[str, object]:
    """Put infinity where the text has its word: JSON has none."""
    rows = measured["readings"]
    assert isinstance(rows, list)
    for row in rows:
        if row["degrees_of_freedom"] == "infinite":
            row["degrees_of_freedom"] = math.inf
    return measured


def _file(text: str | os.PathLike[str]) -> str:
    given = _inputs._text_or_tree(text, "record", NotARecordError)
    if not isinstance(given, str):
        kind = type(given).__qualname__
        raise TypeError(f"a record is a JSON text or a path-like object, not {kind}")
    return given


def _text(text: str, name: str) -> str:
    if not isinstance(text, str):
        raise TypeError(f"{name} is a str, not {type(text).__qualname__}")
    return text


def _bytes(content: Buffer) -> bytes:
    return bytes(memoryview(content))
