"""Records of the work from Python: what is written reads back, and nothing gets out of its place."""

import dataclasses
import hashlib
import json
import math
import random
import re
from pathlib import Path
from typing import Any

import pytest
import wheel_alignment
from wheel_alignment import adjustment, assess, error
from wheel_alignment.json import record_schema
from wheel_alignment.record import (
    AdjustmentDone,
    Attachment,
    Identity,
    Measured,
    MeasuredReading,
    Record,
    StandParameter,
    StandSetup,
)
from wheel_alignment.simulate import VirtualVehicle

ROOT = Path(__file__).resolve().parents[2]
FIRST = ROOT / "tests" / "vectors" / "record-1.json"
DEMO = ROOT / "examples" / "pulling-car.json"
SPECIFICATION = ROOT / "examples" / "demo_specification.json"


def test_the_first_version_is_read_to_the_same_bytes() -> None:
    record = Record.from_json(FIRST)
    assert record.to_json() == FIRST.read_text(encoding="utf-8")
    assert record.before is not None
    assert record.before.readings[0].degrees_of_freedom == math.inf
    assert record.stand is not None
    assert record.stand.parameters[0].name == "distance_mm"


def test_a_record_holds_what_was_measured() -> None:
    known = assess(DEMO, SPECIFICATION)
    measured = Measured.of(DEMO, SPECIFICATION)
    assert known.verdicts is not None
    assert (measured.overall, measured.coverage_probability) == (
        known.verdicts.overall,
        0.95,
    )
    for row in measured.readings:
        assert row.value == known.alignment.get(row.path)
        assert known.uncertainty is not None
        assert row.standard_uncertainty == known.uncertainty.get(row.path)
    assert measured.reference == known.reference
    session = wheel_alignment.Session.from_json(DEMO).to_json()
    assert measured.inputs_sha256 == hashlib.sha256(session.encode()).hexdigest()


def text_of(rng: random.Random) -> str:
    """A text of anything but surrogates, which no UTF-8 has."""
    choices = ["<b>", "|", "\n", "\0", "\u202e", '"', "\\", "é", "\U0001f697", "x" * 9]
    return "".join(rng.choice(choices) for _ in range(rng.randrange(6)))


def random_record(rng: random.Random) -> Record:
    number = [None, math.nan, math.inf, -math.inf, 0.1, -0.0, 1e308, 5e-324]
    verdict: list[Any] = ["conforms", "does_not_conform", "undetermined", None]

    def reading() -> MeasuredReading:
        numbers = {
            field.name: rng.choice(number)
            for field in dataclasses.fields(MeasuredReading)
            if field.name not in ("path", "unit", "verdict", "reason")
        }
        made: Any = MeasuredReading
        return made(text_of(rng), text_of(rng), verdict=rng.choice(verdict), **numbers)

    measured = Measured.of(VirtualVehicle().session())
    measured = dataclasses.replace(
        measured, load_state=text_of(rng), readings=(reading(), reading())
    )
    return Record(
        Identity(*(text_of(rng) for _ in range(10))),
        before=measured,
        adjustments=(
            AdjustmentDone(text_of(rng), rng.choice(["fl", None]), rng.choice(number)),
        ),
        notes=(text_of(rng), text_of(rng)),
        attachments=(Attachment.of(text_of(rng), "text/plain", b"abc"),),
        stand=StandSetup(
            parameters=(StandParameter(text_of(rng), rng.choice(number)),)
        ),
    )


def test_random_records_are_written_to_the_same_bytes_again() -> None:
    for seed in range(200):
        record = random_record(random.Random(seed))
        text = record.to_json()
        read = Record.from_json(text)
        assert read.to_json() == text
        assert (read.notes, read.identity) == (record.notes, record.identity)
        assert "<b>" not in record.to_html()
        assert record.to_markdown().startswith("# Wheel alignment record")


def test_the_digest_is_that_of_hashlib() -> None:
    text = FIRST.read_text(encoding="utf-8")
    stated = json.loads(text)["digest"]
    zeroed = re.sub(r'("digest": ")[0-9a-f]{64}', r"\g<1>" + "0" * 64, text)
    assert hashlib.sha256(zeroed.encode()).hexdigest() == stated


def test_changed_texts_are_refused_with_their_place() -> None:
    text = FIRST.read_text(encoding="utf-8")
    rng = random.Random(5)
    for _ in range(200):
        at = rng.randrange(len(text))
        other = rng.choice('x0 \n"é')
        if other == text[at]:
            continue
        with pytest.raises(error.RecordDamagedError) as caught:
            Record.from_json(text[:at] + other + text[at + 1 :])
        assert caught.value.path == "digest"
        assert caught.value.line > 0
    with pytest.raises(error.NotARecordError, match="does not end with a digest"):
        Record.from_json("{}")
    with pytest.raises(error.NotARecordError, match="hand over a file as a"):
        Record.from_json("record.json")
    with pytest.raises(error.NotARecordError, match="unknown field `colour`"):
        Record.from_details('{"identity": {"colour": "red"}}')


@pytest.mark.parametrize(
    "broken",
    [
        lambda: Record(identity="me"),  # type: ignore[arg-type]
        lambda: Record(notes="one"),  # type: ignore[arg-type]
        lambda: Record(notes=(1,)),  # type: ignore[arg-type]
        lambda: Record(before=3),  # type: ignore[arg-type]
        lambda: Record(adjustments=[{"adjuster": None}]),  # type: ignore[arg-type]
        lambda: Record(attachments=[{"name": "x"}]),  # type: ignore[arg-type]
        lambda: Record(stand={"line": 5}),  # type: ignore[arg-type]
        lambda: Record(format="alignment-record/9"),  # type: ignore[arg-type]
        lambda: Record(notes=("\ud800",)),
    ],
)
def test_what_is_no_part_of_a_record_is_refused(broken: Any) -> None:
    made = broken()
    for write in (made.to_json, made.to_html, made.to_markdown):
        with pytest.raises((TypeError, ValueError)):
            write()


def test_a_record_without_measurements_is_refused() -> None:
    for write in (Record().to_json, Record().to_html, Record().to_markdown):
        with pytest.raises(error.MissingInputError) as caught:
            write()
        assert caught.value.input == "before"


def test_attachments_and_plans() -> None:
    for content in (b"abc", bytearray(b"abc"), memoryview(b"abc")):
        attachment = Attachment.of("a", "text/plain", content)
        assert attachment.sha256 == hashlib.sha256(b"abc").hexdigest()
        assert attachment.matches(content)
    assert not attachment.matches(b"abd")
    with pytest.raises(TypeError):
        Attachment.of("a", "text/plain", "abc")  # type: ignore[arg-type]
    with pytest.raises(TypeError, match="name is a str"):
        Attachment.of(1, "text/plain", b"")  # type: ignore[arg-type]
    with pytest.raises(TypeError, match="plan is Adjustment"):
        AdjustmentDone.of([], None)  # type: ignore[arg-type]
    empty = adjustment.Adjustment((), VirtualVehicle().truth(), (), ())
    assert AdjustmentDone.of([], empty) == ()


def test_the_schema_is_the_committed_one() -> None:
    path = ROOT / "alignment-core" / "schema" / "alignment-record-1.json"
    assert record_schema() == path.read_text(encoding="utf-8")
