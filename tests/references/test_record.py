"""Records of the work: hashlib, jsonschema, html5lib and a CommonMark parser judge them.

What a text says must stay text: parsers of HTML and of Markdown that know nothing of
this library find the same elements whatever the fields hold, and the fields' own words
in their places.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterator
from dataclasses import asdict, fields, replace
from pathlib import Path
from typing import Any

import html5lib
import numpy as np
import pandas as pd
from jsonschema import Draft202012Validator
from ledger import hold
from markdown_it import MarkdownIt
from wheel_alignment import Alignment, AlignmentError, Pose, adjustment, stand
from wheel_alignment.json import record_schema, session_to_json
from wheel_alignment.record import (
    AdjustmentDone,
    Attachment,
    Convention,
    Identity,
    Library,
    Measured,
    Record,
    StandSetup,
)
from wheel_alignment.session import PoseNoise
from wheel_alignment.simulate import VirtualVehicle

ROOT = Path(__file__).resolve().parents[2]
FIRST = (ROOT / "tests" / "vectors" / "record-1.json").read_text(encoding="utf-8")
SPECIFICATION = ROOT / "examples" / "demo_specification.json"
NONE: dict[str, Any] = {"allowed": 0.0, "unit": "1", "why": "none may differ"}
SCHEMA = Draft202012Validator(json.loads(record_schema()))

PLAIN = Record.from_json(FIRST)
SIX = [
    "distance_mm",
    "lateral_offset_mm",
    "height_mm",
    "yaw_deg",
    "pitch_deg",
    "roll_deg",
]


def shortened(measured: Measured | None) -> Measured:
    """The same with a few of its readings: parsers take long over all of them."""
    assert measured is not None
    return replace(measured, readings=measured.readings[:4])


SHORT = replace(
    PLAIN, before=shortened(PLAIN.before), after=shortened(PLAIN.after)
).to_json()
"""The first record with a few of its readings."""

HOSTILE = [
    "plain words",
    "</td></tr></table><script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "&lt;b&gt; &amp; &#60; &nbsp;",
    "| a | b | `c` **d** _e_ ~~f~~ [g](h) ![i](j) <http://example.org>",
    "# heading",
    "- item 1. one 2) two > quote",
    "www.example.org https://example.org/?a=b",
    "\\| \\\\ \\` \\",
    "<!-- --> <![CDATA[ ]]> <?php ?> {{ x }} {% y %}",
    "שלום עולם 12 العربية",
    "$x^2$ :smile: #12 @who ==mark== ^a^ ~b~ ++c++",
    "[ref]: http://example.org 'title'",
    "a  b",
]
"""Every one of them is shown as it is."""


def sealed(text: str) -> str:
    """The text with its digest as hashlib has it."""
    at = text.rindex('"digest": "') + len('"digest": "')
    zeroed = text[:at] + "0" * 64 + text[at + 64 :]
    digest = hashlib.sha256(zeroed.encode()).hexdigest()
    return text[:at] + digest + text[at + 64 :]


def filled(words: str) -> Record:
    """The first record with these words in every text of it."""
    identity = Identity(**{one.name: words for one in fields(Identity)})

    def spoilt(measured: Measured | None) -> Measured:
        measured = shortened(measured)
        readings = list(measured.readings)
        # A path that nobody knows is shown as it is.
        readings.append(replace(readings[0], path=words))
        return replace(
            measured,
            inputs_sha256=words,
            specification_note=words,
            load_state=words,
            readings=tuple(readings),
        )

    stand = PLAIN.stand or StandSetup()
    return Record(
        identity,
        before=spoilt(PLAIN.before),
        after=spoilt(PLAIN.after),
        adjustments=(AdjustmentDone(words, "fl", 1.0, words, words),),
        notes=(words, words),
        attachments=(Attachment(words, words, 3, words),),
        stand=replace(
            stand,
            line=words,
            reference_point=words,
            parameters=tuple(replace(one, name=words) for one in stand.parameters),
        ),
        library=Library(words, words),
        conventions=(Convention(words, words),),
    )


def test_digests_are_those_of_hashlib() -> None:
    rng = np.random.default_rng(1)
    texts = [FIRST, *(filled(words).to_json() for words in HOSTILE)]
    hold(
        "record::Record::to_json",
        against="hashlib",
        quantity="texts whose digest is another",
        off=[sealed(text) != text for text in texts],
        **NONE,
    )
    contents = [rng.bytes(int(n)) for n in (0, 1, 55, 56, 63, 64, 65, 119, 1 << 20)]
    found = [Attachment.of("a", "b", content) for content in contents]
    hold(
        "record::Attachment::of",
        against="hashlib",
        quantity="files whose digest is another",
        off=[
            one.sha256 != hashlib.sha256(content).hexdigest()
            for one, content in zip(found, contents, strict=True)
        ],
        **NONE,
    )
    hold(
        "record::Attachment::matches",
        against="hashlib",
        quantity="pairs of files that are told apart otherwise",
        off=[
            one.matches(content) != (one.sha256 == hashlib.sha256(content).hexdigest())
            for one in found
            for content in contents
        ],
        **NONE,
    )
    session = VirtualVehicle().session()
    of_session = hashlib.sha256(session_to_json(session).encode()).hexdigest()
    hold(
        "record::Measured::of",
        against="hashlib",
        quantity="sessions whose digest is another",
        off=Measured.of(session).inputs_sha256 != of_session,
        **NONE,
    )


def changed(text: str) -> Iterator[str]:
    """Texts that differ from it in one character."""
    rng = np.random.default_rng(2)
    for at in rng.integers(0, len(text), 300):
        other = chr(int(rng.integers(32, 127)))
        if other != text[at]:
            yield text[:at] + other + text[at + 1 :]


def refused(text: str) -> bool:
    try:
        Record.from_json(text)
    except AlignmentError:
        return True
    return False


def test_damage_is_noticed_as_by_hashlib() -> None:
    hold(
        "record::Record::from_json",
        against="hashlib",
        quantity="texts with one character changed that are taken for sound",
        off=[refused(text) != (sealed(text) != text) for text in changed(SHORT)],
        **NONE,
    )


def places(tree: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Every place of a document but those of the readings beyond the first."""
    if isinstance(tree, dict):
        for key, value in tree.items():
            yield (*path, key)
            yield from places(value, (*path, key))
    elif isinstance(tree, list):
        for index, value in enumerate(tree[:1]):
            yield (*path, index)
            yield from places(value, (*path, index))


def put(tree: Any, path: tuple[Any, ...], value: Any) -> Any:
    """The document with another value at a place."""
    tree = json.loads(json.dumps(tree))
    at = tree
    for key in path[:-1]:
        at = at[key]
    at[path[-1]] = value
    return tree


def test_the_schema_judges_as_the_reader_does() -> None:
    Draft202012Validator.check_schema(SCHEMA.schema)
    document = json.loads(SHORT)
    wrong, faults = [], 0
    for path in places(document):
        if path == ("digest",):
            continue
        for other in ("no such word", 7.5, {"x": 1}, [7], None, True):
            spoilt = put(document, path, other)
            valid = SCHEMA.is_valid(spoilt)
            text = json.dumps(spoilt, indent=2, ensure_ascii=False) + "\n"
            wrong.append(refused(sealed(text)) == valid)
            faults += not valid
            assert not wrong[-1], (path, other, valid)
    assert faults > 200
    for what in ("json::record_schema", "record::Record::from_json"):
        hold(
            what,
            against="jsonschema",
            quantity="records spoilt in one place that are judged otherwise",
            off=wrong,
            **NONE,
        )
    for words in HOSTILE:
        written = json.loads(filled(words).to_json())
        for what in ("record::Record::to_json", "record::Record::new"):
            hold(
                what,
                against="jsonschema",
                quantity="faults that it finds",
                off=len(list(SCHEMA.iter_errors(written))),
                **NONE,
            )


def test_details_are_judged_as_their_parts_are() -> None:
    details = {
        key: json.loads(SHORT)[key]
        for key in ("identity", "adjustments", "notes", "attachments", "stand")
    }
    wrong = []
    for path in places(details):
        for other in ("no such word", 7.5, {"x": 1}, [7]):
            spoilt = put(details, path, other)
            try:
                Record.from_details(json.dumps(spoilt))
                taken = True
            except AlignmentError:
                taken = False
            valid = SCHEMA.is_valid(json.loads(SHORT) | spoilt)
            wrong.append(taken != valid)
            assert not wrong[-1], (path, other, valid)
    hold(
        "record::Record::from_details",
        against="jsonschema",
        quantity="details spoilt in one place that are judged otherwise",
        off=wrong,
        **NONE,
    )


def test_numbers_keep_every_bit() -> None:
    document = json.loads(FIRST)
    names = ["value", "standard_uncertainty", "expanded_uncertainty", "min", "max"]
    found, given = [], []
    for state in ("before", "after"):
        for row, written in zip(
            getattr(PLAIN, state).readings, document[state]["readings"], strict=True
        ):
            for name in names:
                if written[name] is not None:
                    found.append(getattr(row, name))
                    given.append(written[name])
    assert len(found) > 500
    found, given = np.array(found), np.array(given)
    hold(
        "record::Record::from_json",
        against="Python json",
        quantity="numbers as they are read",
        off=np.abs(found.view(np.int64) - given.view(np.int64)).astype(float),
        allowed=0.0,
        unit="ulp",
        why="every bit is kept",
    )


def test_rows_of_a_plan_are_those_of_a_table_joined() -> None:
    adjusters = [
        adjustment.Adjuster(
            f"{wheel} cam",
            {f"wheels.{wheel}.camber_deg": 0.1},
            -9.0,
            9.0,
            unit=f"notches {wheel}",
        )
        for wheel in ("fl", "fr", "rl", "rr")
    ]
    amounts = [(2, 1.5), (0, -3.0), (3, 0.25)]
    readings = Alignment.from_values([None] * len(VirtualVehicle().truth().values()))
    plan = adjustment.Adjustment(
        tuple(adjustment.Move(index, amount, readings) for index, amount in amounts),
        readings,
        (),
        (),
    )
    moves = pd.DataFrame(amounts, columns=["index", "amount"])
    known = pd.DataFrame(
        [(one.name, one.name[:2], one.unit) for one in adjusters],
        columns=["adjuster", "wheel", "unit"],
    )
    joined = moves.join(known, on="index")
    rows = pd.DataFrame(
        [
            (one.adjuster, one.wheel, one.amount, one.unit)
            for one in AdjustmentDone.of(adjusters, plan)
        ],
        columns=["adjuster", "wheel", "amount", "unit"],
    )
    hold(
        "record::AdjustmentDone::of",
        against="pandas, moves joined with adjusters",
        quantity="cells that differ",
        off=(joined[rows.columns] != rows).to_numpy().ravel(),
        **NONE,
    )


def test_set_up_of_a_stand_is_its_assessment_in_rows() -> None:
    rng = np.random.default_rng(3)
    session = VirtualVehicle(pose_noise=PoseNoise(0.005, 0.05)).session()
    off = []
    for _ in range(50):
        seen = Pose.from_rotation_vector_rad(
            rng.normal(0, 0.02, 3), [5000.0, *rng.normal(500, 200, 2)]
        )
        required = {
            name: dict(
                zip(("nominal", "minus", "plus"), rng.uniform(0, 9, 3), strict=True)
            )
            for name in rng.permutation(SIX)[:4]
        }
        found = stand.assess(
            session,
            stand.PlacedStand(seen, PoseNoise(0.01, 0.1)),
            {"format": "alignment-stand/1", "required": required},
        )
        table = pd.DataFrame(required).T.reindex(SIX)
        expected = pd.DataFrame(
            {
                "value": [getattr(found.readings, name) for name in SIX],
                "expanded_uncertainty": [
                    getattr(found.expanded_uncertainty, name) for name in SIX
                ],
                "nominal": table["nominal"],
                "min": table["nominal"] - table["minus"],
                "max": table["nominal"] + table["plus"],
                "verdict": [
                    None if of is None else of.verdict
                    for of in (getattr(found.judgements, name) for name in SIX)
                ],
            },
            index=SIX,
        )
        setup = StandSetup.of(found)
        rows = pd.DataFrame([asdict(row) for row in setup.parameters])
        rows = rows.set_index("name")[expected.columns]
        same = (rows == expected) | (rows.isna() & expected.isna())
        off.append(~same.to_numpy().ravel())
        assert setup.overall == found.overall
    hold(
        "record::StandSetup::of",
        against="pandas, readings joined with what is required",
        quantity="cells that differ",
        off=np.concatenate(off),
        **NONE,
    )


def elements(page: str) -> tuple[list[str], list[str]]:
    """The elements of a page in their order with their attributes, and its own texts."""
    tree = html5lib.parse(page, treebuilder="etree", namespaceHTMLElements=False)
    tags = [
        f"{one.tag} {sorted(one.attrib.items())}"
        for one in tree.iter()
        if isinstance(one.tag, str)
    ]
    texts = ["".join(one.itertext()) for one in tree.iter("bdi")]
    return tags, texts


def test_pages_of_html_have_the_same_elements_whatever_they_hold() -> None:
    parser = html5lib.HTMLParser(strict=True)
    expected, at_first = elements(filled("plain words").to_html())
    own = [index for index, text in enumerate(at_first) if "plain words" in text]
    assert len(own) > 25
    for words in HOSTILE:
        page = filled(words).to_html()
        # Strict: not one error of the standard's tokenizer and tree builder.
        parser.parse(page)
        tags, texts = elements(page)
        hold(
            "record::Record::to_html",
            against="html5lib",
            quantity="elements and attributes that a hostile text changes",
            off=float(tags != expected),
            **NONE,
        )
        hold(
            "record::Record::to_html",
            against="html5lib",
            quantity="texts that stand otherwise on the page",
            off=[
                texts[index] != at_first[index].replace("plain words", words)
                for index in own
            ],
            **NONE,
        )


def numbers_without_unit(page: str) -> list[str]:
    """The cells and lines of a page in which a number has no unit."""
    tree = html5lib.parse(page, treebuilder="etree", namespaceHTMLElements=False)
    number = r"[−+]?\d+(?:\.\d+)?"
    one = rf"{number}(?: (?:±|to) {number})?"
    unit = r"(?:°| mm| turns| bytes|\u00a0%)"
    whole = re.compile(rf"(?:{one}{unit}|\D)*")
    texts = [
        "".join(cell.itertext())
        for cell in tree.iter("td")
        if cell.get("class") == "number"
    ]
    texts += [
        "".join(line.itertext())
        for line in tree.iter()
        if isinstance(line.tag, str) and line.tag.rpartition("}")[2] == "tspan"
    ]
    assert len(texts) > 200
    return [text for text in texts if not whole.fullmatch(text)]


def test_every_number_on_a_page_has_its_unit() -> None:
    lacking = numbers_without_unit(PLAIN.to_html())
    assert not lacking, lacking[:5]


def blocks(page: str) -> tuple[list[str], list[str]]:
    """The blocks and marks of a page of Markdown, and its texts, as CommonMark has it."""
    parser = MarkdownIt("commonmark", {"linkify": False}).enable(
        ["table", "strikethrough"]
    )
    kinds, texts = [], []
    for token in parser.parse(page):
        kinds.append(token.type)
        if token.type == "inline":
            children = token.children or []
            marks = [one.type for one in children if one.type != "text"]
            marks = [one for one in marks if one != "text_special"]
            kinds += marks
            texts.append("".join(one.content for one in children))
    return kinds, texts


def test_pages_of_markdown_have_the_same_blocks_whatever_they_hold() -> None:
    expected, at_first = blocks(filled("plain words").to_markdown())
    own = [index for index, text in enumerate(at_first) if "plain words" in text]
    assert len(own) > 25
    assert expected.count("table_open") > 5
    isolated = str.maketrans("", "", "\u2068\u2069")
    for words in HOSTILE:
        kinds, texts = blocks(filled(words).to_markdown())
        hold(
            "record::Record::to_markdown",
            against="markdown-it-py, CommonMark with tables",
            quantity="blocks and marks that a hostile text changes",
            off=float(kinds != expected),
            **NONE,
        )
        hold(
            "record::Record::to_markdown",
            against="markdown-it-py, CommonMark with tables",
            quantity="texts that stand otherwise on the page",
            off=[
                texts[index].translate(isolated)
                != at_first[index].replace("plain words", words)
                for index in own
            ],
            **NONE,
        )


def test_a_page_measured_with_limits_says_so_in_html() -> None:
    measured = Measured.of(VirtualVehicle().session(), SPECIFICATION)
    page = Record(after=measured).to_html()
    tree = html5lib.parse(page, treebuilder="etree", namespaceHTMLElements=False)
    verdicts = [
        "".join(one.itertext())
        for one in tree.iter("span")
        if one.get("class", "").startswith("verdict")
    ]
    assert sum("conforms" in one for one in verdicts) >= 10
    assert all(one.strip() for one in verdicts)
