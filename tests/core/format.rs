//! The session format: every form that a rig may write, and one clear sentence for every form that it may not.

use crate::paths::{EXACT, assert_same};
use crate::truth::READ_BACK;
use alignment_core::conformity::Specification;
use alignment_core::json::{measurement_to_json, session_from_json, session_to_json};
use alignment_core::record::Record;
use alignment_core::simulate::VirtualVehicle;
use alignment_core::stand::{StandAssessment, StandRequirements};
use alignment_core::{Assessment, ErrorCode, Measurement, Session, Wheel, measure};
use serde_json::{Value, json};

fn demo() -> Value {
    serde_json::from_str(&session_to_json(&VirtualVehicle::default().session())).unwrap()
}

/// The sentence with which the reader refuses a session.
fn refusal(session: &Value) -> String {
    let error = session_from_json(&serde_json::to_string_pretty(session).unwrap()).unwrap_err();
    assert_eq!(error.code, ErrorCode::NotASession);
    assert!(error.line > 0, "{error}");
    error.to_string()
}

/// The session with one member more, or another.
fn with_member(session: &Value, name: &str, value: Value) -> Value {
    let mut session = session.clone();
    session[name] = value;
    session
}

/// Replaces the member at a JSON pointer.
fn with(pointer: &str, value: Value) -> Value {
    let mut session = demo();
    *session.pointer_mut(pointer).unwrap_or_else(|| panic!("no {pointer}")) = value;
    session
}

#[test]
fn the_schemas_are_the_committed_ones() {
    use schemars::{JsonSchema, generate::SchemaSettings};
    let text = |schema: schemars::Schema| serde_json::to_string_pretty(&schema).unwrap() + "\n";
    fn written<T: JsonSchema>() -> schemars::Schema {
        SchemaSettings::draft2020_12().for_serialize().into_generator().into_root_schema_for::<T>()
    }
    crate::assert_generated("alignment-core/schema/alignment-session-1.json", &text(schemars::schema_for!(Session)));
    crate::assert_generated(
        "alignment-core/schema/alignment-specification-1.json",
        &text(schemars::schema_for!(Specification)),
    );
    let mut record = written::<Record>();
    // Details may leave members out, a record none: it states no defaults.
    for member in record.pointer_mut("/properties").and_then(Value::as_object_mut).unwrap().values_mut() {
        member.as_object_mut().unwrap().remove("default");
    }
    // The digest is of the text, not of the record: it is written last.
    record.pointer_mut("/properties").unwrap()["digest"] = json!({
        "description": "The SHA-256 of the whole text with these 64 digits replaced by zeros.",
        "type": "string",
        "pattern": "^[0-9a-f]{64}$",
    });
    record.pointer_mut("/required").and_then(Value::as_array_mut).unwrap().push(json!("digest"));
    crate::assert_generated("alignment-core/schema/alignment-record-1.json", &text(record));
    crate::assert_generated(
        "alignment-core/schema/alignment-stand-1.json",
        &text(schemars::schema_for!(StandRequirements)),
    );
    crate::assert_generated("alignment-core/schema/stand-assessment.json", &text(written::<StandAssessment>()));
    crate::assert_generated("alignment-core/schema/measurement.json", &text(written::<Measurement>()));
    let mut assessment = written::<Assessment>();
    // Degrees of freedom stand in the tree of the readings, and infinite ones are null: those of a vector's components too.
    for tree in ["WheelReadings", "SteeringAxisReadings"] {
        let readings = assessment.pointer_mut(&format!("/$defs/{tree}/properties")).and_then(Value::as_object_mut);
        for items in readings.unwrap().values_mut().filter_map(|reading| reading.get_mut("items")) {
            items["type"] = json!(["number", "null"]);
        }
    }
    crate::assert_generated("alignment-core/schema/assessment.json", &text(assessment));
}

#[test]
fn a_session_survives_writing_and_reading() {
    for seed in 0..20 {
        let session = VirtualVehicle::random(seed).session();
        assert_eq!(session_from_json(&session_to_json(&session)).unwrap(), session);
    }
}

#[test]
fn the_result_has_its_members() {
    let result = measure(&VirtualVehicle::default().session()).unwrap();
    let json: Value = serde_json::from_str(&measurement_to_json(&result)).unwrap();
    let mut keys: Vec<_> = json.as_object().unwrap().keys().collect();
    keys.sort();
    assert_eq!(
        keys,
        [
            "alignment",
            "datum_normal",
            "fit",
            "instantaneous_axes",
            "method",
            "reference",
            "residuals",
            "spreads",
            "warnings"
        ]
    );
    let camber = json.pointer("/alignment/wheels/fl/camber_deg").unwrap().as_f64();
    assert_eq!(camber, result.alignment.wheels.fl.camber_deg);
}

#[test]
fn the_three_forms_of_a_pose_read_alike() {
    let pose = |rotation: Value| {
        let mut pose = rotation;
        pose["translation_mm"] = json!([1.0, 2.0, 3.0]);
        let session = session_from_json(&with("/ahead/fl", pose).to_string()).unwrap();
        session.ahead.fl.frames()[0]
    };
    let half = 0.5_f64.sqrt();
    let by_matrix = pose(json!({"rotation": [[0.0, -1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]]}));
    let by_quaternion = pose(json!({"quaternion_wxyz": [half, 0.0, 0.0, half]}));
    let by_vector = pose(json!({"rotation_vector_rad": [0.0, 0.0, std::f64::consts::FRAC_PI_2]}));
    for other in [by_quaternion, by_vector] {
        assert_eq!(other.translation_mm, by_matrix.translation_mm);
        for (a, b) in other.rotation.iter().flatten().zip(by_matrix.rotation.iter().flatten()) {
            assert!((a - b).abs() < 1e-15);
        }
    }
}

#[test]
fn a_wheel_not_seen_may_be_null_empty_or_left_out() {
    let expected = measure(&session_from_json(&demo().to_string()).unwrap()).unwrap().alignment;
    let mut left_out = demo();
    left_out["rolling"][0].as_object_mut().unwrap().remove("fl");
    for session in [with("/rolling/0/fl", Value::Null), with("/rolling/0/fl", json!([])), left_out] {
        let session = session_from_json(&session.to_string()).unwrap();
        assert_eq!(session.rolling[0].fl.frames(), []);
        // One station fewer for one wheel: the noise-free car reads the same.
        assert_same(&measure(&session).unwrap().alignment, &expected, EXACT);
    }
}

#[test]
fn choices_have_defaults_one_by_one() {
    let mut session = demo();
    session.as_object_mut().unwrap().remove("reference");
    let by_default = session_from_json(&session.to_string()).unwrap();
    assert_eq!(by_default.reference, VirtualVehicle::default().reference);
    session["reference"] = json!({"turn": {"wheel": "outer"}});
    let outer = session_from_json(&session.to_string()).unwrap();
    assert!((outer.reference.turn.angle_deg - 20.0).abs() < f64::EPSILON);
}

#[test]
fn unknown_keys_are_named_with_their_place() {
    let mut top = demo();
    top["ceiling"] = json!(1);
    assert!(refusal(&top).starts_with("ceiling: unknown field `ceiling`"), "{}", refusal(&top));

    let mut wheel = demo();
    wheel["ahead"] = json!({"xl": null});
    assert!(refusal(&wheel).starts_with("ahead: unknown field `xl`"), "{}", refusal(&wheel));

    let mut pose = demo();
    pose["sweep"][3]["rr"]["scale"] = json!(1.0);
    assert!(refusal(&pose).starts_with("sweep[3].rr.scale: unknown field `scale`"), "{}", refusal(&pose));

    let mut choice = demo();
    choice["reference"]["centerline"] = json!("axle_midpoints");
    assert!(refusal(&choice).contains("unknown field `centerline`"), "{}", refusal(&choice));
}

/// Beside all four wheels, another can only be on a third axle.
#[test]
fn a_third_axle_is_refused_by_name() {
    let mut truck = demo();
    truck["rolling"][1]["rear_2_left"] = truck["rolling"][1]["rl"].clone();
    let error = session_from_json(&truck.to_string()).unwrap_err();
    assert_eq!((error.code, error.path.as_str()), (ErrorCode::ThirdAxle, "rolling[1]"));
    assert!(error.to_string().contains("unknown wheel `rear_2_left`: a third axle"), "{error}");
}

#[test]
fn cameras_are_read_by_name_and_once() {
    let here = json!({"rotation_vector_rad": [0, 0, 0], "translation_mm": [0, 0, 0]});
    let mut seen = demo();
    seen["cameras"] = json!({"left": {"rig_from_camera": here, "wheels": ["fl", "rl"]}});
    let session = session_from_json(&seen.to_string()).unwrap();
    assert_eq!(session.cameras["left"].wheels, [Wheel::Fl, Wheel::Rl]);
    assert_same(&measure(&session).unwrap().alignment, &VirtualVehicle::default().truth(), READ_BACK);
    let none = with_member(&seen, "cameras", Value::Null);
    assert!(session_from_json(&none.to_string()).unwrap().cameras.is_empty());
    let twice =
        seen.to_string().replacen("\"cameras\":{", &format!("\"cameras\":{{\"left\":{},", seen["cameras"]["left"]), 1);
    let error = session_from_json(&twice).unwrap_err();
    assert!(error.to_string().contains("duplicate field `left`"), "{error}");
}

#[test]
fn wrong_types_missing_keys_and_versions_are_named_with_their_place() {
    for (session, expected) in [
        (with("/up", json!("above")), "up: invalid type"),
        (with("/up", json!([0.0, 0.0])), "up: invalid length 2"),
        (with("/rolling/2/fl/rotation/1", json!([1.0, 2.0])), "rolling[2].fl.rotation[1]: invalid length 2"),
        (with("/ahead/rl", json!(7)), "ahead.rl: invalid type"),
        (with("/format", json!("alignment-session/2")), "format: unknown variant `alignment-session/2`"),
        (with("/reference/datum", json!("sea_level")), "reference.datum: unknown variant `sea_level`"),
        (with("/ahead/rl", json!({"translation_mm": [0, 0, 0]})), "ahead.rl: a pose needs exactly one of rotation"),
        (with("/ahead/rl", json!({"rotation_vector_rad": [0, 0, 0]})), "ahead.rl: missing field `translation_mm`"),
        (
            with("/ahead/rl", json!({"quaternion_wxyz": [2, 0, 0, 0], "translation_mm": [0, 0, 0]})),
            "ahead.rl: quaternion_wxyz: the vector does not have length 1: 2",
        ),
    ] {
        let refusal = refusal(&session);
        assert!(refusal.starts_with(expected), "{refusal}\nexpected {expected}");
    }
    let mut missing = demo();
    missing.as_object_mut().unwrap().remove("ahead");
    assert!(refusal(&missing).starts_with("missing field `ahead`"), "{}", refusal(&missing));
}

/// An array in the place of an object would have its order guessed.
#[test]
fn members_are_named_never_positional() {
    let ahead = demo()["ahead"].clone();
    let in_order: Vec<Value> = ["fl", "fr", "rl", "rr"].iter().map(|wheel| ahead[wheel].clone()).collect();
    for (pointer, value) in [
        ("/clamp_standoff_mm", json!([90, 90, 90, 90])),
        ("/ahead", json!(in_order)),
        ("/loaded_radius_mm", json!([300, 300])),
        ("/reference", json!(["axle_midpoints", "up", {}])),
        ("/reference/turn", json!(["inner", 20])),
        ("/ahead/fl", json!([[[[1, 0, 0], [0, 1, 0], [0, 0, 1]], null, null, [0, 0, 0]]])),
    ] {
        let refusal = refusal(&with(pointer, value));
        assert!(refusal.contains("expected an object with named members"), "{pointer}: {refusal}");
    }
    assert!(session_from_json("[]").unwrap_err().to_string().contains("expected an object with named members"));
}

#[test]
fn text_that_is_not_json_is_refused_at_its_line() {
    let good = session_to_json(&VirtualVehicle::default().session());
    for (text, line) in [("", 1), ("{", 1), ("[]", 1), ("{\n \"up\": [0, 0, NaN]\n}", 2)] {
        let error = session_from_json(text).unwrap_err();
        assert_eq!(error.line, line, "{error}");
    }
    assert!(session_from_json(&format!("{good} {{}}")).is_err(), "trailing text");
    assert!(session_from_json(&good.replacen("27", "1e999", 1)).is_err() || !good.contains("27"));
    let repeated = good.replacen("\"rolling\"", "\"up\": [0.0, 0.0, 1.0], \"rolling\"", 1);
    let error = session_from_json(&repeated).unwrap_err();
    assert!(error.to_string().contains("duplicate field `up`"), "{error}");
    // A bottomless nest is refused, not followed.
    assert!(session_from_json(&"[".repeat(100_000)).is_err());
}
