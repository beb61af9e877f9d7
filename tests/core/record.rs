//! Records of the work: what is written reads back to the same bytes, whatever is damaged is noticed, and no text becomes markup.

use alignment_core::adjustment::{Adjuster, Effect, Line, Move, Rigid};
use alignment_core::conformity::{Decision, Reason, Rule, Specification, Verdict};
use alignment_core::json::{record_schema, session_to_json, specification_from_json};
use alignment_core::paths::READINGS;
use alignment_core::record::{
    AdjustmentDone, Attachment, Identity, Measured, MeasuredReading, MeasuredWarning, Record, StandParameter,
    StandSetup,
};
use alignment_core::session::{Centreline, Datum, Method, Noise, PoseNoise, Reference, Turn, TurnWheel};
use alignment_core::simulate::VirtualVehicle;
use alignment_core::stand::{self, PlacedStand, ReferencePoint, Required, StandRequirements};
use alignment_core::{Alignment, ByWheel, ErrorCode, Pose, Wheel, assess};
use rand::{Rng, RngExt, SeedableRng};
use rand_pcg::Pcg64;
use std::io::Write as _;
use std::process::{Command, Stdio};

/// The demo car, whose noise is known, and the demo specification.
fn demo() -> (VirtualVehicle, Specification) {
    let noise = PoseNoise { rotation_deg: 0.005, translation_mm: 0.05 };
    let text = std::fs::read_to_string(crate::project_file("examples/demo_specification.json")).unwrap();
    (VirtualVehicle { pose_noise: Some(noise), ..VirtualVehicle::default() }, specification_from_json(&text).unwrap())
}

/// A record that has something of everything.
pub fn full() -> Record {
    let (mut car, specification) = demo();
    let identity = Identity {
        record_id: Some("D-1".into()),
        date: Some("2026-05-04".into()),
        vehicle: Some("Invented estate car".into()),
        registration: Some("IN-VT 1".into()),
        chassis_number: Some("INVENTED0000000001".into()),
        odometer: Some("41 200 km".into()),
        customer: Some("A. N. Owner (invented)".into()),
        workshop: Some("An invented workshop".into()),
        operator: Some("An apprentice".into()),
        equipment: Some("Simulated cameras and targets".into()),
    };
    let before = Measured::of(&car.session(), Some(&specification)).unwrap();
    (car.front.left.toe_to_centreline_deg, car.front.right.toe_to_centreline_deg) = (0.05, 0.05);
    // Frames that show their noise: few degrees of freedom.
    let framed = VirtualVehicle { pose_noise: None, frames: 4, ..car };
    let mut session = framed.session();
    scatter(&mut session);
    let after = Measured::of(&session, Some(&specification)).unwrap();
    Record {
        before: Some(before),
        after: Some(after),
        adjustments: vec![AdjustmentDone {
            adjuster: "left front tie rod".into(),
            wheel: Some(Wheel::Fl),
            amount: Some(0.25),
            unit: Some("turns to toe-in".into()),
            note: Some("lock nut tight".into()),
        }],
        notes: vec!["Invented data, for tests alone.".into(), "Tyres even, brakes free.".into()],
        attachments: vec![Attachment::of("session.json", "application/json", b"{}")],
        stand: Some(StandSetup {
            procedure: Some("An invented procedure, for tests alone.".into()),
            line: Some("thrust line".into()),
            reference_point: Some("middle of the front axle".into()),
            ground_tilt_deg: Some(0.12),
            ground_residual_mm: Some(0.8),
            overall: Some(Verdict::Undetermined),
            parameters: vec![
                StandParameter {
                    name: "distance_mm".into(),
                    value: Some(1500.4),
                    expanded_uncertainty: Some(0.6),
                    nominal: Some(1500.0),
                    min: Some(1497.0),
                    max: Some(1503.0),
                    verdict: Some(Verdict::Conforms),
                    reason: None,
                },
                StandParameter {
                    name: "yaw_deg".into(),
                    value: Some(0.09),
                    expanded_uncertainty: Some(0.03),
                    nominal: Some(0.0),
                    min: Some(-0.1),
                    max: Some(0.1),
                    verdict: Some(Verdict::Undetermined),
                    reason: Some(Reason::NearLimit),
                },
            ],
        }),
        ..Record::new(identity)
    }
}

/// Moves every frame a little, each otherwise.
fn scatter(session: &mut alignment_core::Session) {
    let mut rng = Pcg64::seed_from_u64(7);
    let stations = session.rolling.iter_mut().chain(&mut session.sweep).chain([&mut session.ahead]);
    for station in stations.chain(session.lock_left.iter_mut()).chain(session.lock_right.iter_mut()) {
        for wheel in Wheel::ALL {
            let sighting = station.get_mut(wheel);
            let frames = sighting.frames().to_vec();
            *sighting = alignment_core::session::Sighting::Frames(
                frames
                    .into_iter()
                    .map(|mut pose| {
                        for coordinate in &mut pose.translation_mm {
                            *coordinate += rng.random_range(-0.05..0.05);
                        }
                        pose
                    })
                    .collect(),
            );
        }
    }
}

/// The texts that break pages and parsers.
const HOSTILE: [&str; 24] = [
    "",
    " ",
    "</td></table><script>alert(1)</script>",
    "\"><img src=x onerror=alert(1)>",
    "&lt;b&gt; &amp; &#x202e;",
    "| a | b |\n|---|---|\n| c | d |",
    "**bold** _it_ `code` [a](javascript:alert(1)) ![b](c) <http://example.org>",
    "# heading\n\n- item\n\n    code\n\n```\nfence\n```",
    "\u{0}\u{1}\u{7}\u{8}\u{b}\u{1b}[2J\u{7f}\u{80}\u{9f}",
    "\u{202e}desrever\u{202c} \u{2066}isolated",
    "\u{5d0}\u{5d1}\u{5d2} 12 \u{627}\u{644}\u{633}\u{64a}\u{627}\u{631}\u{629}",
    "\u{fffe}\u{ffff}\u{fdd0}\u{10ffff}\u{feff}",
    "line one\r\nline two\u{2028}line three\u{2029}\u{85}end",
    "{{ 7 * 7 }} {% raw %} ${x} %s %n",
    "\\ \\\\ \\| \\`",
    "https://example.org www.example.org a@example.org",
    "z\u{334}\u{335}\u{336}\u{337}\u{338}\u{340}\u{341}\u{342}\u{343}\u{344}a",
    "\u{1f468}\u{200d}\u{1f469}\u{200d}\u{1f467} \u{1f1e9}\u{1f1ea}",
    "]]> <!-- --> <![CDATA[ ?>",
    "\"digest\": \"0000000000000000000000000000000000000000000000000000000000000000\"\n}\n",
    "alignment-record/2",
    "=cmd|' /C calc'!A0",
    "1. one\n2. two",
    "~~~ ~~struck~~ $x^2$ :smile: #12 @who",
];

fn text(rng: &mut Pcg64) -> String {
    match rng.random_range(0..6) {
        0 => HOSTILE[rng.random_range(0..HOSTILE.len())].to_owned(),
        1 => (0..rng.random_range(0..20)).map(|_| rng.random::<char>()).collect(),
        2 => (0..rng.random_range(0..12)).map(|_| char::from(rng.random_range(0..=255_u8))).collect(),
        _ => (0..rng.random_range(0..30)).map(|_| char::from(rng.random_range(32..127_u8))).collect(),
    }
}

fn maybe<T>(rng: &mut Pcg64, make: impl FnOnce(&mut Pcg64) -> T) -> Option<T> {
    rng.random::<bool>().then(|| make(rng))
}

fn number(rng: &mut Pcg64) -> Option<f64> {
    match rng.random_range(0..8) {
        0 => None,
        1 => Some(f64::from_bits(rng.next_u64())),
        2 => Some([f64::INFINITY, f64::NEG_INFINITY, f64::NAN, -0.0, 5e-324, f64::MAX, 0.1][rng.random_range(0..7)]),
        _ => Some(rng.random_range(-5.0..5.0)),
    }
}

fn verdict(rng: &mut Pcg64) -> Option<Verdict> {
    maybe(rng, |rng| [Verdict::Conforms, Verdict::DoesNotConform, Verdict::Undetermined][rng.random_range(0..3)])
}

fn reason(rng: &mut Pcg64) -> Option<Reason> {
    maybe(rng, |rng| [Reason::NotMeasured, Reason::NearLimit, Reason::TooUncertain][rng.random_range(0..3)])
}

fn list<T>(rng: &mut Pcg64, most: usize, mut make: impl FnMut(&mut Pcg64) -> T) -> Vec<T> {
    (0..rng.random_range(0..=most)).map(|_| make(rng)).collect()
}

fn measured(rng: &mut Pcg64) -> Measured {
    Measured {
        inputs_sha256: text(rng),
        method: if rng.random() { Method::Staged } else { Method::Joint },
        reference: maybe(rng, |rng| Reference {
            centreline: if rng.random() { Centreline::AxleMidpoints } else { Centreline::SideLineBisector },
            datum: [Datum::Up, Datum::WheelPlane, Datum::Runway][rng.random_range(0..3)],
            turn: Turn { wheel: TurnWheel::Outer, angle_deg: number(rng).unwrap_or(20.0) },
        }),
        specification_note: maybe(rng, text),
        load_state: maybe(rng, text),
        decision: maybe(rng, |rng| Decision {
            rule: if rng.random() { Rule::Guarded } else { Rule::SimpleAcceptance },
            probability: number(rng).unwrap_or(0.95),
        }),
        overall: verdict(rng),
        coverage_probability: number(rng),
        warnings: list(rng, 2, |rng| MeasuredWarning { code: text(rng), number: rng.random(), message: text(rng) }),
        readings: list(rng, 4, |rng| MeasuredReading {
            path: if rng.random() { READINGS[rng.random_range(0..READINGS.len())].to_owned() } else { text(rng) },
            unit: ["deg".to_owned(), "mm".to_owned(), "1".to_owned(), text(rng)][rng.random_range(0..4)].clone(),
            value: number(rng),
            standard_uncertainty: number(rng),
            degrees_of_freedom: number(rng),
            expanded_uncertainty: number(rng),
            nominal: number(rng),
            min: number(rng),
            max: number(rng),
            verdict: verdict(rng),
            reason: reason(rng),
            probability_of_conformity: number(rng),
            risk_of_wrong_verdict: number(rng),
        }),
    }
}

/// Any record at all.
pub fn random(rng: &mut Pcg64) -> Record {
    let identity = Identity {
        record_id: maybe(rng, text),
        date: maybe(rng, text),
        vehicle: maybe(rng, text),
        registration: maybe(rng, text),
        chassis_number: maybe(rng, text),
        odometer: maybe(rng, text),
        customer: maybe(rng, text),
        workshop: maybe(rng, text),
        operator: maybe(rng, text),
        equipment: maybe(rng, text),
    };
    let mut record = Record::new(identity);
    record.library.name = text(rng);
    record.library.version = text(rng);
    record.conventions.truncate(rng.random_range(0..3));
    for convention in &mut record.conventions {
        (convention.name, convention.meaning) = (text(rng), text(rng));
    }
    record.before = maybe(rng, measured);
    record.after = if record.before.is_none() || rng.random() { Some(measured(rng)) } else { None };
    record.adjustments = list(rng, 2, |rng| AdjustmentDone {
        adjuster: text(rng),
        wheel: maybe(rng, |rng| Wheel::ALL[rng.random_range(0..4)]),
        amount: number(rng),
        unit: maybe(rng, text),
        note: maybe(rng, text),
    });
    record.notes = list(rng, 3, text);
    record.attachments = list(rng, 2, |rng| Attachment {
        name: text(rng),
        media_type: text(rng),
        length_bytes: rng.random(),
        sha256: text(rng),
    });
    record.stand = maybe(rng, |rng| StandSetup {
        procedure: maybe(rng, text),
        line: maybe(rng, text),
        reference_point: maybe(rng, text),
        ground_tilt_deg: number(rng),
        ground_residual_mm: number(rng),
        overall: verdict(rng),
        parameters: list(rng, 2, |rng| StandParameter {
            name: ["yaw_deg".to_owned(), "height_mm".to_owned(), text(rng)][rng.random_range(0..3)].clone(),
            value: number(rng),
            expanded_uncertainty: number(rng),
            nominal: number(rng),
            min: number(rng),
            max: number(rng),
            verdict: verdict(rng),
            reason: reason(rng),
        }),
    });
    record
}

#[test]
fn ten_thousand_records_read_back_and_are_written_to_the_same_bytes() {
    let mut infinite = 0;
    for seed in 0..10_000 {
        let record = random(&mut Pcg64::seed_from_u64(seed));
        let written = record.to_json().unwrap();
        let read = Record::from_json(&written).unwrap_or_else(|error| panic!("seed {seed}: {error}\n{written}"));
        assert_eq!(read.to_json().unwrap(), written, "seed {seed}");
        assert_eq!(read.notes, record.notes, "seed {seed}");
        assert_eq!(read.identity, record.identity, "seed {seed}");
        for (before, after) in
            record.after.iter().zip(&read.after).flat_map(|(a, b)| a.readings.iter().zip(&b.readings))
        {
            let finite = |number: Option<f64>| number.filter(|number| number.is_finite()).map(f64::to_bits);
            assert_eq!(finite(before.value), after.value.map(f64::to_bits), "seed {seed}");
            if before.degrees_of_freedom == Some(f64::INFINITY) {
                assert_eq!(after.degrees_of_freedom, before.degrees_of_freedom, "seed {seed}");
                infinite += 1;
            }
        }
    }
    assert!(infinite > 100, "infinite degrees of freedom were hardly tried: {infinite}");
}

#[test]
fn the_record_holds_what_was_measured() {
    let (car, specification) = demo();
    let session = car.session();
    let known = assess(&session, Some(&specification)).unwrap();
    let measured = Measured::of(&session, Some(&specification)).unwrap();
    assert_eq!(measured.inputs_sha256, Attachment::of("", "", session_to_json(&session).as_bytes()).sha256);
    assert_eq!(measured.reference, Some(known.measurement.reference));
    let verdicts = known.verdicts.unwrap();
    assert_eq!((measured.overall, measured.decision), (Some(verdicts.overall), Some(verdicts.decision)));
    assert_eq!(measured.load_state, specification.load_state);
    assert_eq!(measured.coverage_probability, Some(0.95));
    assert_eq!(measured.readings.len(), READINGS.len());
    for (row, path) in measured.readings.iter().zip(READINGS) {
        assert_eq!(row.path, path);
        let at = |tree: &Option<Alignment>| tree.as_ref().and_then(|tree| tree.get(path).unwrap());
        assert_eq!(row.value, known.measurement.alignment.get(path).unwrap());
        assert_eq!(row.standard_uncertainty, at(&known.uncertainty));
        assert_eq!(row.degrees_of_freedom, at(&known.degrees_of_freedom));
        assert_eq!(row.expanded_uncertainty, at(&known.expanded_uncertainty));
        let verdict = verdicts.readings.iter().find(|verdict| verdict.path == path);
        assert_eq!(row.verdict, verdict.map(|verdict| verdict.judgement.verdict));
        assert_eq!(row.min, verdict.and_then(|verdict| verdict.limits.min));
        assert_eq!(row.max, verdict.and_then(|verdict| verdict.limits.max));
        assert_eq!(row.risk_of_wrong_verdict, verdict.and_then(|verdict| verdict.judgement.risk_of_wrong_verdict));
    }
    assert!(measured.readings.iter().any(|row| row.verdict.is_some()));
    assert!(measured.readings.iter().any(|row| row.degrees_of_freedom == Some(f64::INFINITY)));
}

/// A record of a few lines, so that every byte of it can be tried.
fn short() -> String {
    let mut record = full();
    record.conventions.truncate(1);
    record.before = None;
    record.after.as_mut().unwrap().readings.truncate(2);
    record.to_json().unwrap()
}

#[test]
fn any_changed_byte_is_noticed() {
    let text = short();
    assert!(text.is_ascii());
    let refused = |changed: &str, at: usize| {
        let error = Record::from_json(changed).expect_err("a changed text");
        assert_eq!(error.code, ErrorCode::RecordDamaged, "byte {at}: {error}");
        assert!(error.to_string().contains("changed or damaged"), "{error}");
    };
    for at in 0..text.len() {
        let byte = text.as_bytes()[at];
        for other in [byte ^ 1, byte ^ 0x20, b' ', b'"', b'0'] {
            if other != byte && other.is_ascii() {
                let mut changed = text.clone().into_bytes();
                changed[at] = other;
                refused(std::str::from_utf8(&changed).unwrap(), at);
            }
        }
        refused(&format!("{}{}", &text[..at], &text[at + 1..]), at);
        refused(&format!("{} {}", &text[..at], &text[at..]), at);
        // What is cut off before it says what it is, is no record.
        let error = Record::from_json(&text[..at]).unwrap_err();
        assert!(matches!(error.code, ErrorCode::RecordDamaged | ErrorCode::NotARecord), "{error}");
    }
    refused(&format!("{text}\n"), text.len());
    refused(&text.replace('\n', "\r\n"), 0);
}

/// The text with the digest that belongs to it: what anybody could write.
fn sealed(text: &str) -> String {
    let at = text.rfind("\"digest\": \"").unwrap() + "\"digest\": \"".len();
    let zeroed = format!("{}{}{}", &text[..at], "0".repeat(64), &text[at + 64..]);
    let digest = Attachment::of("", "", zeroed.as_bytes()).sha256;
    format!("{}{digest}{}", &text[..at], &text[at + 64..])
}

#[test]
fn what_is_no_record_is_told_with_its_place() {
    let text = short();
    assert_eq!(sealed(&text), text);
    let refusal = |from: &str, to: &str| {
        assert!(text.contains(from), "{from}");
        let error = Record::from_json(&sealed(&text.replacen(from, to, 1))).unwrap_err();
        assert_eq!(error.code, ErrorCode::NotARecord, "{error}");
        error.to_string()
    };
    let newer = refusal("alignment-record/1", "alignment-record/2");
    assert!(newer.starts_with("format: the record is of version 2 of its format, this library "), "{newer}");
    assert!(newer.contains("reads up to version 1"), "{newer}");
    let other = refusal("alignment-record/1", "alignment-session/1");
    assert!(other.contains("its format is not alignment-record/1"), "{other}");
    let key = refusal("\"customer\"", "\"client\"");
    assert!(key.starts_with("unknown field `client`") && key.contains("(line "), "{key}");
    let verdict = refusal("\"reason\": \"near_limit\"", "\"reason\": \"fine\"");
    assert!(verdict.contains("unknown variant `fine`"), "{verdict}");
    let missing = refusal("\"notes\"", "\"note\"");
    assert!(missing.contains("missing field `notes`"), "{missing}");
    let array = refusal("\"library\": {", "\"library\": [], \"x\": {");
    assert!(array.contains("expected an object with named members"), "{array}");
    let row = refusal("\"attachments\": [", "\"attachments\": [[], ");
    assert!(row.contains("expected an object with named members"), "{row}");
    for (text, code) in [
        ("", ErrorCode::NotARecord),
        ("{}", ErrorCode::NotARecord),
        ("not JSON", ErrorCode::NotARecord),
        ("{\"format\": \"alignment-record/1\"}", ErrorCode::RecordDamaged),
    ] {
        let error = Record::from_json(text).unwrap_err();
        assert_eq!((error.code, error.line), (code, 1), "{error}");
    }
    let nothing = Record::new(Identity::default()).to_json().unwrap_err();
    assert_eq!((nothing.code, nothing.input), (ErrorCode::MissingInput, Some("before")));
    let mut neither = full();
    neither.before = None;
    let start = neither.to_json().unwrap();
    let mut tree: serde_json::Value = serde_json::from_str(&start).unwrap();
    tree["after"] = serde_json::Value::Null;
    let digest = tree.as_object_mut().unwrap().remove("digest").unwrap();
    let body = serde_json::to_string_pretty(&tree).unwrap();
    let text = format!("{},\n  \"digest\": {digest}\n}}\n", body.strip_suffix("\n}").unwrap());
    let error = Record::from_json(&sealed(&text)).unwrap_err();
    assert!(error.to_string().contains("neither before nor after"), "{error}");
}

/// As the docs say, with tools that every system has.
#[test]
fn anybody_can_check_the_digest() {
    let text = full().to_json().unwrap();
    let docs = std::fs::read_to_string(crate::project_file("alignment-core/src/record/mod.rs")).unwrap();
    let command = docs.split("```sh\n//! ").nth(1).unwrap().lines().next().unwrap().replace("record.json", "-");
    let mut child =
        Command::new("sh").args(["-c", &command]).stdin(Stdio::piped()).stdout(Stdio::piped()).spawn().unwrap();
    child.stdin.take().unwrap().write_all(text.as_bytes()).unwrap();
    let found = String::from_utf8(child.wait_with_output().unwrap().stdout).unwrap();
    let stated = text.rsplit("\"digest\": \"").next().unwrap();
    assert_eq!(&found[..64], &stated[..64]);
}

/// Format 1 is read for ever. The file is never written anew.
#[test]
fn the_first_version_is_read_for_ever() {
    let text = std::fs::read_to_string(crate::project_file("tests/vectors/record-1.json")).unwrap();
    let record = Record::from_json(&text).unwrap();
    assert_eq!(record.to_json().unwrap(), text);
    assert_eq!(record.identity.vehicle.as_deref(), Some("Invented estate car"));
    let [before, after] = [&record.before, &record.after].map(|state| &state.as_ref().unwrap().readings[0]);
    assert_eq!(before.path, "wheels.fl.camber_deg");
    assert_eq!(before.degrees_of_freedom, Some(f64::INFINITY));
    assert!(after.degrees_of_freedom.is_some_and(f64::is_finite));
    assert_eq!(record.stand.unwrap().parameters[1].verdict, Some(Verdict::Undetermined));
}

/// A program that lays a text out anew and writes a new digest to it makes another text: pages would name a digest that nobody has.
#[test]
fn a_text_that_is_laid_out_anew_is_none() {
    let text = full().to_json().unwrap();
    let stated = text.rsplit("\"digest\": \"").next().unwrap()[..64].to_owned();
    for (from, to) in [("\"notes\": [", "\"notes\":  ["), ("1500.0", "1500"), ("D-1", "D\\u002d1")] {
        let zeroed = text.replacen(from, to, 1).replacen(&stated, &"0".repeat(64), 1);
        let digest = Attachment::of("", "", zeroed.as_bytes()).sha256;
        let error = Record::from_json(&zeroed.replacen(&"0".repeat(64), &digest, 1)).unwrap_err();
        assert_eq!(error.code, ErrorCode::NotARecord, "{from}");
        assert!(error.reason.contains("laid out anew"), "{error}");
    }
}

#[test]
fn an_attachment_is_known_by_its_bytes() {
    // FIPS 180-4's examples, and those of nothing and of a million letters.
    for (bytes, digest) in [
        (&b"abc"[..], "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"),
        (b"", "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"),
        (
            b"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq",
            "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1",
        ),
        (&[b'a'; 1_000_000], "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0"),
    ] {
        let attachment = Attachment::of("file", "text/plain", bytes);
        assert_eq!((attachment.sha256.as_str(), attachment.length_bytes), (digest, bytes.len() as u64));
        assert!(attachment.matches(bytes) && !attachment.matches(b"another"));
        assert!(Attachment { sha256: digest.to_uppercase(), ..attachment.clone() }.matches(bytes));
        assert!(!Attachment { length_bytes: attachment.length_bytes + 1, ..attachment }.matches(bytes));
    }
}

#[test]
fn a_plan_that_was_carried_out_becomes_rows() {
    let rigid = |wheels: ByWheel<bool>| Adjuster {
        name: "eccentric".into(),
        unit: "notches".into(),
        effect: Effect::Rigid(Rigid {
            wheels,
            line: Some(Line { point_mm: [0.0; 3], direction: [1.0, 0.0, 0.0] }),
            turn_deg: 0.1,
            shift_mm: 0.0,
            carries_axis: false,
        }),
        least: -4.0,
        most: 4.0,
        step: 1.0,
    };
    let measured = |path: &str| Adjuster {
        effect: Effect::Measured([(path.to_owned(), 0.1), ("chassis.thrust_angle_deg".to_owned(), 0.05)].into()),
        ..rigid(ByWheel::from_fn(|_| false))
    };
    let adjusters = [
        rigid(ByWheel::from_fn(|wheel| wheel == Wheel::Rr)),
        rigid(ByWheel::from_fn(|_| true)),
        measured("wheels.rl.toe_deg"),
        measured("axles.rear.total_toe_deg"),
    ];
    let step = |adjuster| Move { adjuster, amount: -2.0, foreseen: Alignment::default() };
    let plan = alignment_core::adjustment::Adjustment {
        moves: [2, 0, 1, 3, 9].map(step).to_vec(),
        foreseen: Alignment::default(),
        unmet: Vec::new(),
        unforeseen: Vec::new(),
    };
    let rows = AdjustmentDone::of(&adjusters, &plan);
    let wheels: Vec<_> = rows.iter().map(|row| row.wheel).collect();
    assert_eq!(wheels, [Some(Wheel::Rl), Some(Wheel::Rr), None, None]);
    assert!(rows.iter().all(|row| row.amount == Some(-2.0) && row.unit.as_deref() == Some("notches")));
}

#[test]
fn a_stand_that_was_assessed_becomes_rows() {
    let noise = PoseNoise { rotation_deg: 0.005, translation_mm: 0.05 };
    let session = VirtualVehicle { pose_noise: Some(noise), ..VirtualVehicle::default() }.session();
    let seen = Pose::from_rotation_vector_rad([0.0, 0.0, 0.02], [5000.0, 30.0, 1200.0]).unwrap();
    let required = Required { nominal: 1.0, minus: 0.25, plus: 0.5 };
    let mut requirements = StandRequirements { note: Some("invented".into()), ..StandRequirements::default() };
    requirements.reference = ReferencePoint::Point([2600.0, 0.0, 100.5]);
    let assessed = |requirements: &StandRequirements, noise: Option<Noise>| {
        stand::assess(&session, &PlacedStand { rig_from_stand: seen, noise, pivot_mm: [0.0; 3] }, &[], requirements)
    };

    let free = StandSetup::of(&assessed(&requirements, None).unwrap());
    assert_eq!((free.overall, free.parameters.len()), (None, 6));
    assert!(free.parameters.iter().all(|of| of.value.is_some() && of.min.is_none() && of.verdict.is_none()));
    requirements.required.yaw_deg = Some(required);
    let found = assessed(&requirements, Some(noise.into())).unwrap();
    let setup = StandSetup::of(&found);
    assert_eq!((setup.procedure.as_deref(), setup.overall), (Some("invented"), Some(found.overall)));
    let point = "point 2600 mm ahead of the middle of the rear axle, 0 mm to its left, 100.5 mm above it";
    assert_eq!(setup.reference_point.as_deref(), Some(point));
    let yaw = &setup.parameters[3];
    assert_eq!((yaw.name.as_str(), yaw.value), ("yaw_deg", Some(found.readings.yaw_deg)));
    assert_eq!((yaw.nominal, yaw.min, yaw.max), (Some(1.0), Some(0.75), Some(1.5)));
    assert_eq!(yaw.verdict, found.judgements.yaw_deg.map(|of| of.verdict));
    assert_eq!(yaw.expanded_uncertainty, found.expanded_uncertainty.map(|of| of.yaw_deg));

    // Half a turn is written on the side of the limits that it is held against.
    let seen = Pose::from_rotation_vector_rad([0.0, 0.0, 0.02 - std::f64::consts::PI], [5000.0, 30.0, 1200.0]).unwrap();
    let half_turn = Required { nominal: -180.0, minus: 2.0, plus: 2.0 };
    for nominal in [180.0, -180.0] {
        requirements.required.yaw_deg = Some(Required { nominal, ..half_turn });
        let stand = PlacedStand { rig_from_stand: seen, noise: Some(noise.into()), pivot_mm: [0.0; 3] };
        let found = stand::assess(&session, &stand, &[], &requirements).unwrap();
        let yaw = &StandSetup::of(&found).parameters[3];
        assert_eq!(yaw.verdict, Some(Verdict::Conforms));
        assert!(yaw.min < yaw.value && yaw.value < yaw.max, "{yaw:?}");
    }
    let conventions = Record::new(Identity::default()).conventions;
    assert!(conventions.iter().any(|one| one.name == "calibration stand"), "what the signs of a stand mean is written");
}

#[test]
fn fields_of_a_megabyte_are_kept() {
    for filling in ["x", "\u{202e}", "|", "<", "\u{1f697}", "\n", "\u{0}"] {
        let long = filling.repeat(1_000_000 / filling.len());
        let mut record = full();
        record.identity.vehicle = Some(long.clone());
        record.notes = vec![long.clone()];
        let text = record.to_json().unwrap();
        assert_eq!(Record::from_json(&text).unwrap().notes[0], long);
    }
}

#[test]
fn the_schema_says_what_must_be_there() {
    let schema: serde_json::Value = serde_json::from_str(record_schema()).unwrap();
    let required = schema["required"].as_array().unwrap();
    let text = full().to_json().unwrap();
    let record: serde_json::Value = serde_json::from_str(&text).unwrap();
    for key in record.as_object().unwrap().keys() {
        assert!(required.iter().any(|name| name == key), "{key} is written always");
        assert!(schema["properties"][key].is_object(), "{key} is not in the schema");
    }
    assert_eq!(schema["additionalProperties"], false);
}

/// What a reader sees of a page of HTML: the tags in their order, without what stands between them.
fn tags(html: &str) -> Vec<String> {
    html.split('<').skip(1).map(|rest| rest.split('>').next().unwrap().to_owned()).collect()
}

/// Whatever a field says, a page has the same tags in the same order.
#[test]
fn no_text_becomes_markup() {
    let plain = full();
    let structure = tags(&plain.to_html().unwrap());
    let rows = |markdown: &str| -> Vec<usize> {
        markdown.lines().map(|line| line.replace("\\\\", "").replace("\\|", "").matches('|').count()).collect()
    };
    let table = rows(&plain.to_markdown().unwrap());
    let long = "<b>|".repeat(300_000);
    for hostile in HOSTILE.iter().copied().chain([long.as_str()]) {
        let mut record = plain.clone();
        let identity = &mut record.identity;
        for field in [
            &mut identity.record_id,
            &mut identity.date,
            &mut identity.vehicle,
            &mut identity.registration,
            &mut identity.chassis_number,
            &mut identity.odometer,
            &mut identity.customer,
            &mut identity.workshop,
            &mut identity.operator,
            &mut identity.equipment,
        ] {
            *field = Some(hostile.to_owned());
        }
        record.library.name = hostile.to_owned();
        for convention in &mut record.conventions {
            (convention.name, convention.meaning) = (hostile.to_owned(), hostile.to_owned());
        }
        for state in [&mut record.before, &mut record.after] {
            let state = state.as_mut().unwrap();
            (state.specification_note, state.load_state) = (Some(hostile.to_owned()), Some(hostile.to_owned()));
            state.inputs_sha256 = hostile.to_owned();
            for warning in &mut state.warnings {
                warning.message = hostile.to_owned();
            }
        }
        let done = &mut record.adjustments[0];
        (done.adjuster, done.unit, done.note) =
            (hostile.to_owned(), Some(hostile.to_owned()), Some(hostile.to_owned()));
        record.notes.fill(hostile.to_owned());
        let file = &mut record.attachments[0];
        (file.name, file.media_type, file.sha256) = (hostile.to_owned(), hostile.to_owned(), hostile.to_owned());
        let stand = record.stand.as_mut().unwrap();
        for field in [&mut stand.procedure, &mut stand.line, &mut stand.reference_point] {
            *field = Some(hostile.to_owned());
        }
        stand.parameters[0].name = hostile.to_owned();

        let html = record.to_html().unwrap();
        let found: Vec<String> = tags(&html).into_iter().filter(|tag| tag != "span class=\"cut\"").collect();
        // A sentence says where a text was cut: it adds its own pair of tags.
        let cuts = html.matches("<span class=\"cut\">").count();
        let spans = |tags: &[String]| tags.iter().filter(|tag| *tag == "/span").count();
        assert_eq!(spans(&found), spans(&structure) + cuts, "{hostile:.40?}");
        let without = |tags: &[String]| tags.iter().filter(|tag| *tag != "/span").cloned().collect::<Vec<_>>();
        assert_eq!(without(&found), without(&structure), "{hostile:.40?}");
        assert_eq!(cuts > 0, hostile.len() > 10_000);
        assert!(html.len() < 400_000, "{} bytes", html.len());
        let markdown = record.to_markdown().unwrap();
        assert_eq!(rows(&markdown), table, "{hostile:.40?}");
        for page in [&html, &markdown] {
            let stray = page.chars().find(|&c| c.is_control() && c != '\n' || matches!(c, '\u{202a}'..='\u{202e}'));
            assert_eq!(stray, None, "{hostile:.40?}");
        }
        if hostile.len() > 10_000 {
            assert!(html.contains("(cut here: 1200000 characters in the record)"));
            assert!(markdown.contains("(cut here: 1200000 characters in the record)"));
        }
    }
}

#[test]
fn the_pages_say_it_all() {
    let record = full();
    let text = record.to_json().unwrap();
    let digest = &text.rsplit("\"digest\": \"").next().unwrap()[..64];
    for page in [record.to_html().unwrap(), record.to_markdown().unwrap()] {
        for expected in [
            "D-1",
            "41 200 km",
            "✓ conforms",
            "left front tie rod",
            "+0.25 turns to toe-in",
            "Tyres even, brakes free",
            "44136fa355b3678a1146ad16f7e8649e94fb4fc21fe77e8310c060f61caaff8a",
            "1500.4 ± 0.6 mm",
            "1497.0 to 1503.0 mm, aim 1500.0 mm",
            "0.09 ± 0.03°",
            "too near a limit",
            "licence to drive",
            "local codes",
            "no signature",
            "sha256sum",
            "with a probability of 95\u{a0}%",
            digest,
        ] {
            let page = page.replace("<span class=\"mark\" aria-hidden=\"true\">", "").replace("</span>", "");
            assert!(page.contains(expected), "{expected} is not in\n{page}");
        }
    }
    let html = record.to_html().unwrap();
    for outside in ["src=", "href=", "url(", "@import", "<script", "http://", "https://"] {
        assert!(!html.contains(outside), "{outside}: a page needs nothing from outside");
    }
}

/// One state alone, readings that nobody knows, numbers that are none: a page all the same.
#[test]
fn any_record_has_its_pages() {
    for seed in 0..500 {
        let record = random(&mut Pcg64::seed_from_u64(seed));
        let html = record.to_html().unwrap();
        assert!(html.ends_with("</html>\n") || html.ends_with("</html>"), "seed {seed}");
        assert!(!html.contains("NaN") || format!("{record:?}").contains("NaN"), "seed {seed}");
        assert!(!record.to_markdown().unwrap().is_empty());
    }
}

/// A page shows a reading as often as the record gives it: a worse one cannot hide behind a better one.
#[test]
fn a_reading_given_again_is_shown_again() {
    let mut record = full();
    let after = record.after.as_mut().unwrap();
    let again =
        MeasuredReading { value: Some(7.77), verdict: Some(Verdict::DoesNotConform), ..after.readings[0].clone() };
    after.readings.push(again);
    for page in [record.to_html().unwrap(), record.to_markdown().unwrap()] {
        assert!(page.contains("Camber (given again)") && page.contains("7.77"), "{page}");
    }
}

/// A unit is a text of the record like any other.
#[test]
fn a_unit_is_isolated_and_cut_and_its_reading_is_not_drawn_in_another() {
    let mut record = full();
    for state in [&mut record.before, &mut record.after] {
        let camber = &mut state.as_mut().unwrap().readings[0];
        (camber.unit, camber.value) = ("\u{5d0} | <b>".into(), Some(7.0));
    }
    let [html, markdown] = [record.to_html().unwrap(), record.to_markdown().unwrap()];
    assert!(html.contains("\u{2068}\u{5d0} | &#60;b&#62;\u{2069}") && !html.contains("7.00°"), "{html}");
    assert!(markdown.contains("\u{2068}\u{5d0} \\| \\<b\\>\u{2069}"), "{markdown}");
    record.before.as_mut().unwrap().readings[0].unit = "z".repeat(1_000_000);
    assert!(record.to_html().unwrap().contains("z (cut here: 1000000 characters in the record)"));
}

/// Time grows with the number of readings, not with its square.
#[test]
fn a_hundred_thousand_readings_have_their_page() {
    let mut record = full();
    let row = |index: usize| MeasuredReading { path: format!("x{index}"), value: Some(1.0), ..Default::default() };
    record.after.as_mut().unwrap().readings.extend((0..100_000).map(row));
    assert!(record.to_html().unwrap().contains("x99999"));
}

/// Readings follow the conventions of the library, whatever details say.
#[test]
fn details_do_not_change_who_wrote_it_nor_what_signs_mean() {
    for details in [
        r#"{ "conventions": [{ "name": "camber", "meaning": "Positive when the top of the wheel leans inward." }] }"#,
        r#"{ "conventions": [] }"#,
        r#"{ "library": { "name": "another", "version": "9" } }"#,
    ] {
        let error = Record::from_details(details).unwrap_err();
        assert_eq!(error.code, ErrorCode::NotARecord);
        assert!(error.to_string().contains("leave them out"), "{error}");
    }
}
