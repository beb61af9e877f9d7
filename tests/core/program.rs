//! The program `align`, run as a user runs it.

use alignment_core::conformity::Verdict;
use alignment_core::record::{Measured, Record};
use serde_json::Value;
use std::path::PathBuf;
use std::process::{Command, Output};

/// An example program, built by the same command as this test.
pub fn example(name: &str) -> Command {
    let test = std::env::current_exe().unwrap();
    let folder = test.parent().and_then(|deps| deps.parent()).unwrap().join("examples");
    let program = folder.join(name);
    assert!(program.exists(), "{} is not there: cargo build --examples", program.display());
    Command::new(program)
}

fn align(arguments: &[&str]) -> Output {
    example("align").args(arguments).output().unwrap()
}

fn text(output: &Output) -> String {
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout.clone()).unwrap()
}

/// A file that holds this text, in a folder of its own for each name.
fn file(name: &str, content: &[u8]) -> PathBuf {
    let path = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join(name);
    std::fs::write(&path, content).unwrap();
    path
}

/// One clear sentence on standard error, and status 2.
fn refusal(arguments: &[&str]) -> String {
    let output = align(arguments);
    assert_eq!(output.status.code(), Some(2));
    assert!(output.stdout.is_empty());
    let sentence = String::from_utf8(output.stderr).unwrap();
    assert_eq!(sentence.lines().count(), 1, "{sentence}");
    assert!(!sentence.contains("panicked"), "{sentence}");
    sentence
}

#[test]
fn the_demo_session_is_the_generated_one() {
    let generated = example("demo_session").output().unwrap();
    crate::assert_generated("examples/pulling-car.json", &text(&generated));
}

#[test]
fn with_no_argument_the_demo_is_reported_with_its_story() {
    let report = text(&align(&[]));
    for expected in
        ["Invented demonstration data", "Caster, + top rearward", "Datum: ", "No warnings.", "licence to drive"]
    {
        assert!(report.contains(expected), "{expected} is not in\n{report}");
    }
    // The story is in the readings: less caster on the right, and that wheel further back.
    let result: Value = serde_json::from_str(&text(&align(&["--json"]))).unwrap();
    let reading = |path: &str| result.pointer(path).unwrap().as_f64().unwrap();
    assert!((reading("/alignment/steering/cross_caster_deg") - 1.57).abs() < 0.03);
    assert!((reading("/alignment/axles/front/setback_mm") - 11.5).abs() < 0.3);
}

#[test]
fn a_session_file_reads_like_the_demo() {
    let path = crate::project_file("examples/pulling-car.json");
    assert_eq!(text(&align(&["--json", path.to_str().unwrap()])), text(&align(&["--json"])));
}

#[test]
fn minutes_are_printed_on_request() {
    // The right SAI of the demo, 13.12°.
    assert!(text(&align(&["--minutes"])).contains("13°07′ ± 2′"));
    assert!(text(&align(&[])).contains("13.12 ± 0.02°"));
    assert!(!text(&align(&[])).contains('′'));
}

#[test]
fn the_method_is_told_and_can_be_chosen() {
    let result = |arguments: &[&str]| -> Value { serde_json::from_str(&text(&align(arguments))).unwrap() };
    let staged = result(&["--json"]);
    assert_eq!((staged.get("method").unwrap(), staged.get("fit").unwrap()), (&"staged".into(), &Value::Null));
    assert!(text(&align(&[])).contains("\nEstimated stage by stage.\n"));

    // By the option, and by the session's own key, which the option overrides.
    let joint = result(&["--json", "--method", "joint"]);
    let mut session: Value =
        serde_json::from_str(&std::fs::read_to_string(crate::project_file("examples/pulling-car.json")).unwrap())
            .unwrap();
    session["method"] = "joint".into();
    let path = file("joint.json", session.to_string().as_bytes());
    let path = path.to_str().unwrap();
    assert_eq!(result(&["--json", path]), joint);
    assert_eq!(result(&["--json", "--method", "staged", path]), staged);

    let fit = joint.get("fit").unwrap();
    let figure = |tree: &Value, key: &str| tree[key].as_f64().unwrap();
    let poses = fit["poses"].as_array().unwrap();
    let worst = poses.iter().max_by(|a, b| figure(a, "standardised").total_cmp(&figure(b, "standardised"))).unwrap();
    let report = text(&align(&["--method", "joint"]));
    let line = report.lines().find(|line| line.starts_with("Estimated by one fit of a rigid car: ")).unwrap();
    let station = worst["station"].as_u64().map(|index| format!("[{index}]")).unwrap_or_default();
    for expected in [
        format!("χ² {:.1}, {} degrees of freedom", figure(fit, "chi_squared"), figure(fit, "degrees_of_freedom")),
        format!("p = {:.3}", figure(fit, "p_value")),
        format!("worst pose {}{station}.{}, ", worst["stage"].as_str().unwrap(), worst["wheel"].as_str().unwrap()),
    ] {
        assert!(line.contains(&expected), "{expected} is not in {line}");
    }

    let unknown = align(&["--method", "both"]);
    assert_eq!(unknown.status.code(), Some(2));
    assert!(String::from_utf8(unknown.stderr).unwrap().contains("[possible values: staged, joint]"));
}

#[test]
fn a_spoiled_pose_is_named_and_left_out() {
    let mut session: Value =
        serde_json::from_str(&std::fs::read_to_string(crate::project_file("examples/pulling-car.json")).unwrap())
            .unwrap();
    let x = &mut session["sweep"][3]["fl"]["translation_mm"][0];
    *x = (x.as_f64().unwrap() + 5.0).into();
    session["joint"] = serde_json::json!({ "robust": true });
    let path = file("spoiled.json", session.to_string().as_bytes());
    let report = text(&align(&["--method", "joint", path.to_str().unwrap()]));
    assert!(report.contains("worst pose sweep[3].fl, ") && report.contains(" and left out.\n"), "{report}");
}

#[test]
fn the_schema_is_the_committed_one() {
    let committed = |name: &str| std::fs::read_to_string(crate::project_file(name)).unwrap();
    assert_eq!(text(&align(&["--schema"])), committed("alignment-core/schema/alignment-session-1.json"));
    assert_eq!(text(&align(&["--result-schema"])), committed("alignment-core/schema/assessment.json"));
    assert_eq!(text(&align(&["--record-schema"])), committed("alignment-core/schema/alignment-record-1.json"));
}

#[test]
fn a_bad_file_gets_one_sentence_with_the_place() {
    let missing = refusal(&["no-such-file.json"]);
    assert!(missing.starts_with("no-such-file.json: "), "{missing}");

    let truncated = file("truncated.json", b"{ \"format\": \"alignment-session/1\",\n  \"up\": [0, 0");
    assert!(refusal(&[truncated.to_str().unwrap()]).contains("line 2"));
    let nothing = file("nothing.json", b"{");
    assert!(refusal(&[nothing.to_str().unwrap()]).contains("nothing.json: EOF while parsing"));

    let binary = file("binary.json", &[0xff, 0xfe, 0x00]);
    assert!(refusal(&[binary.to_str().unwrap()]).contains("not UTF-8"));

    let demo = std::fs::read_to_string(crate::project_file("examples/pulling-car.json")).unwrap();
    let unknown = file("unknown.json", demo.replacen("\"sweep\"", "\"swoop\"", 1).as_bytes());
    assert!(refusal(&[unknown.to_str().unwrap()]).contains("unknown field `swoop`"));

    let inverted = {
        let mut session: Value = serde_json::from_str(&demo).unwrap();
        for v in session["up"].as_array_mut().unwrap() {
            *v = (-v.as_f64().unwrap()).into();
        }
        file("inverted.json", session.to_string().as_bytes())
    };
    assert!(refusal(&[inverted.to_str().unwrap()]).contains("reverse the sign of `up`"));
}

#[test]
fn a_session_without_a_sweep_says_what_is_absent() {
    let demo = std::fs::read_to_string(crate::project_file("examples/pulling-car.json")).unwrap();
    let mut session: Value = serde_json::from_str(&demo).unwrap();
    for key in ["sweep", "sweep_wheels_locked", "lock_left", "lock_right"] {
        session.as_object_mut().unwrap().remove(key);
    }
    let path = file("no-sweep.json", session.to_string().as_bytes());
    let report = text(&align(&[path.to_str().unwrap()]));
    assert!(report.contains("No caster sweep in this session"));
    // What is absent has no unit.
    assert!(!report.contains("-°") && !report.contains("- mm"), "{report}");
    let result: Value = serde_json::from_str(&text(&align(&["--json", path.to_str().unwrap()]))).unwrap();
    assert_eq!(result.pointer("/alignment/steering/left/caster_deg"), Some(&Value::Null));
    assert_eq!(result.pointer("/alignment/turns/lock_left/left_deg"), Some(&Value::Null));
}

#[test]
fn a_remark_cannot_drive_the_terminal() {
    let demo = std::fs::read_to_string(crate::project_file("examples/pulling-car.json")).unwrap();
    let mut session: Value = serde_json::from_str(&demo).unwrap();
    session["note"] = "\u{1b}[2J\u{7}hello".into();
    let path = file("note.json", session.to_string().as_bytes());
    assert!(!text(&align(&[path.to_str().unwrap()])).contains('\u{1b}'));
}

#[test]
fn a_specification_is_judged_in_words_and_in_json() {
    let specification = crate::project_file("examples/demo_specification.json");
    let specification = specification.to_str().unwrap();
    let report = text(&align(&["--spec", specification]));
    for expected in ["By the specification: does not conform.", "undetermined (too near a limit)", "over 99.9 %"] {
        assert!(report.contains(expected), "{expected} is not in\n{report}");
    }
    let result: Value = serde_json::from_str(&text(&align(&["--json", "--spec", specification]))).unwrap();
    assert_eq!(result.pointer("/verdicts/overall").unwrap(), "does_not_conform");
    let expanded = result.pointer("/expanded_uncertainty/wheels/fl/camber_deg").unwrap().as_f64().unwrap();
    let standard = result.pointer("/uncertainty/wheels/fl/camber_deg").unwrap().as_f64().unwrap();
    assert!((expanded / standard - 1.96).abs() < 1e-3);

    // Nobody knows the noise: judged as it stands, and so it says.
    let mut session: Value =
        serde_json::from_str(&std::fs::read_to_string(crate::project_file("examples/pulling-car.json")).unwrap())
            .unwrap();
    session.as_object_mut().unwrap().remove("pose_noise");
    let unknown = file("unknown-noise.json", session.to_string().as_bytes());
    let report = text(&align(&["--spec", specification, unknown.to_str().unwrap()]));
    assert!(report.contains("by simple acceptance") && report.contains("neither states pose_noise"), "{report}");
    assert!(!report.contains('±'), "{report}");

    let misspelt = file(
        "misspelt.json",
        br#"{ "format": "alignment-specification/1", "limits": { "wheels.fl.chamber_deg": { "max": 1 } } }"#,
    );
    assert!(refusal(&["--spec", misspelt.to_str().unwrap()]).contains("wheels.fl.chamber_deg"));
    // The file at fault is named: the specification, not the session.
    let percent = br#"{ "format": "alignment-specification/1", "decision": { "probability": 95 }, "limits": {} }"#;
    let percent = file("percent.json", percent);
    assert!(refusal(&["--spec", percent.to_str().unwrap()]).contains("percent.json: probability"));
}

#[test]
fn long_limits_do_not_run_into_the_reading() {
    let limits = r#""chassis.wheelbase_left_mm": { "min": 2600, "max": 2640 }, "chassis.axle_offset_mm": { "min": -1000, "max": 1000 }"#;
    let wide = format!("{{ \"format\": \"alignment-specification/1\", \"limits\": {{ {limits} }} }}");
    let wide = file("wide.json", wide.as_bytes());
    let report = text(&align(&["--spec", wide.to_str().unwrap()]));
    for expected in [" mm   2600.0 to 2640.0 mm  ", " mm  -1000.0 to 1000.0 mm  "] {
        assert!(report.contains(expected), "{expected} is not in\n{report}");
    }
}

#[test]
fn a_record_is_written_as_the_name_of_the_file_says() {
    let session = crate::project_file("examples/pulling-car.json");
    let session = session.to_str().unwrap();
    let details =
        file("details.json", br#"{ "identity": { "vehicle": "an <b>invented</b> car" }, "notes": ["Tyres even."] }"#);
    let details = details.to_str().unwrap();
    let written = |name: &str, more: &[&str]| {
        let path = file(name, b"");
        let report = text(&align(&[&["--record", path.to_str().unwrap(), "--details", details][..], more].concat()));
        assert!(report.starts_with("Wheel alignment: "), "the report is printed as well");
        std::fs::read_to_string(path).unwrap()
    };
    let record = Record::from_json(&written("record.json", &[])).unwrap();
    assert!(record.before.is_some() && record.after.is_none());
    assert_eq!(record.identity.vehicle.as_deref(), Some("an <b>invented</b> car"));
    let both = ["--spec", "examples/demo_specification.json", "--before", session, session];
    let record = Record::from_json(&written("both.json", &both)).unwrap();
    assert_eq!(record.before, record.after);
    assert!(record.before.unwrap().overall.is_some());
    assert!(written("record.html", &both).contains("an &#60;b&#62;invented&#60;/b&#62; car"));
    assert!(written("record.md", &both).contains(r"an \<b\>invented\</b\> car"));
    // A file that was read is not written over.
    let kept = std::fs::read(details).unwrap();
    let sentence = "this file was read, and the record would replace it; name another";
    assert!(refusal(&["--details", details, "--record", details]).contains(sentence));
    assert_eq!(std::fs::read(details).unwrap(), kept);
    for (arguments, sentence) in [
        (&["--record", "record.pdf"][..], "record.pdf: a record is written as .json, .html or .md"),
        (&["--record", "/no/such/folder/record.json"], "/no/such/folder/record.json: "),
        (&["--record", "record.json", "--before", details], "details.json: "),
        (&["--record", "record.json", "--details", session], "pulling-car.json: unknown variant `alignment-session/1`"),
    ] {
        let refusal = refusal(arguments);
        assert!(refusal.contains(sentence), "{refusal}");
    }
}

/// The demonstration says that it is one, on every page.
#[test]
fn the_work_on_an_invented_car_is_written_down() {
    let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join("before-after");
    text(&example("before_after").arg(&folder).output().unwrap());
    let read = |name: &str| std::fs::read_to_string(folder.join(name)).unwrap();
    let record = Record::from_json(&read("record.json")).unwrap();
    let overall = |state: &Option<Measured>| state.as_ref().unwrap().overall;
    assert_eq!(overall(&record.before), Some(Verdict::DoesNotConform));
    assert_eq!(overall(&record.after), Some(Verdict::Conforms));
    assert!(record.adjustments.iter().any(|done| done.adjuster == "right front strut rod"));
    for file in &record.attachments {
        assert!(file.matches(read(&file.name).as_bytes()), "{}", file.name);
    }
    for page in ["record.html", "record.md"] {
        assert!(read(page).contains("Invented car, invented limits, simulated measurements"), "{page}");
    }
    let nowhere = example("before_after").output().unwrap();
    assert!(String::from_utf8(nowhere.stderr).unwrap().contains("name the folder"));
}
