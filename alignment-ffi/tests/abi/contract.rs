//! C has what the core has, under the same names: alignment-core/contract.json, which tests/core/contract.rs holds to the core's source.

use crate::header_text::Header;
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};

/// What C does without, and why.
const NO_FUNCTION: &[(&str, &str)] = &[
    ("batch::AheadRecords::one", "a record of arrays is a place in them"),
    ("batch::AheadRecords::part", "a part of arrays is a place in them"),
    ("batch::SessionRecords::new", "the caller fills in the struct"),
    ("batch::SessionRecords::one", "a record of arrays is a place in them"),
    ("batch::SessionRecords::part", "a part of arrays is a place in them"),
    ("batch::poses_of", "the caller's poses are its own"),
    ("json::JsonError::code_of", "a status has its number already"),
    ("json::JsonError::specification_code_of", "a status has its number already"),
    ("json::session_from_json", "what takes a session takes its text"),
    ("json::specification_from_json", "what takes a specification takes its text"),
    ("monte_carlo::Distribution::input", "trials in C are those of a session"),
    ("monte_carlo::agree", "trials in C are those of a session, which say whether they agree"),
    ("monte_carlo::monte_carlo", "trials in C are those of a session"),
    ("monte_carlo::try_monte_carlo", "trials in C are those of a session"),
    ("propagation::law_of_propagation", "derivatives are carried along by a function of Rust; wa_combine takes them"),
    ("record::AdjustmentDone::of", "the details are the caller's own text"),
    ("record::Measured::of", "wa_record_to_json measures the sessions"),
    ("record::Record::from_details", "wa_record_to_json takes the details"),
    ("record::Record::new", "wa_record_to_json makes one"),
    ("json::stand_requirements_from_json", "what takes requirements takes their text"),
    ("stand::StandReadings::values", "the members of the struct are the six"),
    ("session::Sighting::frames", "a sighting in C is its frames"),
    ("uncertainty::watched_monte_carlo", "a run is bounded by most_trials"),
];

/// What C has under another name than its own.
const ELSEWHERE: &[(&str, &str)] = &[
    ("alignment::measure", "wa_measure"),
    ("assessment::assess", "wa_assess"),
    ("stand::assess", "wa_stand_assess"),
    ("stand::moves", "wa_stand_moves"),
    ("stand::moved", "wa_stand_moved"),
    ("vehicle::ahead_readings", "wa_ahead_readings"),
    ("uncertainty::monte_carlo", "wa_monte_carlo_json"),
    // By themselves the names say too little.
    ("paths::position", "wa_reading_position"),
    ("paths::unit", "wa_reading_unit"),
    // A 4×4 array of C is the flat matrix by rows.
    ("pose::Pose::from_matrix4", "wa_pose_from_matrix4_row_major"),
    // The text of a result is what makes it.
    ("json::measurement_to_json", "wa_measure_json"),
    ("json::assessment_to_json", "wa_assess_json"),
    ("json::verdicts_to_json", "wa_judge_all_json"),
    ("json::stand_assessment_to_json", "wa_stand_assess_json"),
];

/// Parameters that C has otherwise: as the members of a struct that only bundles them, as a text, or as a place.
const PARAMETERS: &[(&str, &str, &[&str])] = &[
    ("alignment_core", "session", &["session", "session_json"]),
    ("alignment_core", "specification", &["specification_json"]),
    ("adjustment::effects", "adjusters", &["adjusters_json"]),
    ("adjustment::foresee", "adjusters", &["adjusters_json"]),
    ("adjustment::fewest_moves", "adjusters", &["adjusters_json"]),
    ("adjustment::fewest_moves", "request", &["specification_json"]),
    ("simulate::VirtualVehicle::adjusted", "adjusters", &["adjusters_json"]),
    ("conformity::judge", "decision", &["rule"]),
    ("conformity::global_risks", "production", &["mean"]),
    ("repeatability::one_way", "groups", &["values"]),
    ("paths::unit", "path", &["position"]),
    // The text is that of a session, whose measurement, assessment or verdicts they are.
    ("json::measurement_to_json", "measurement", &["session_json"]),
    ("json::assessment_to_json", "assessment", &["session_json"]),
    ("json::verdicts_to_json", "verdicts", &["readings"]),
    ("json::stand_assessment_to_json", "assessment", &["session_json"]),
    ("json::stand_requirements_to_json", "requirements", &["requirements_json"]),
    // What is found is of the session whose text it is.
    ("record::StandSetup::of", "found", &["session_json"]),
    ("stand::assess", "requirements", &["requirements_json"]),
    ("stand::moves", "requirements", &["requirements_json"]),
];

/// Structs that C has under another name than its own, since a function has that name, or since it says too little.
const STRUCTS: &[(&str, &str)] = &[
    ("adjustment::SubframeShift", "wa_subframe_shift_result"),
    ("adjustment::TaperedShim", "wa_tapered_shim_result"),
    ("error::Error", "wa_error"),
    ("monte_carlo::Settings", "wa_trials"),
    ("repeatability::Repeatability", "wa_repeatability_result"),
    ("stand::StandMoves", "wa_stand_moves_result"),
    ("uncertainty::Reach", "wa_reach_result"),
    ("vehicle::AheadReadings", "wa_ahead_readings_result"),
    ("session::ByAxle", "wa_axles"),
    ("session::BySide", "wa_steering_readings"),
    ("session::ByWheel", "wa_wheels"),
];

/// Structs that C has as text alone, under the same keys: they hold lists.
const AS_TEXT: &[&str] = &[
    "adjustment::Adjuster",
    "adjustment::Adjustment",
    "adjustment::Line",
    "adjustment::Move",
    "adjustment::Rigid",
    "adjustment::Unmet",
    "alignment::Residuals",
    "assessment::Assessment",
    "conformity::ReadingVerdict",
    "conformity::Specification",
    "conformity::Verdicts",
    "diagnosis::Evidence",
    "diagnosis::Hint",
    "error::Warning",
    "joint::PoseFit",
    "monte_carlo::Agreement",
    "monte_carlo::Simulated",
    "monte_carlo::Simulation",
    "record::AdjustmentDone",
    "record::Attachment",
    "record::Convention",
    "record::Identity",
    "record::Library",
    "record::Measured",
    "record::MeasuredReading",
    "record::MeasuredWarning",
    "record::Record",
    "record::StandParameter",
    "record::StandSetup",
    "repeatability::AnovaRow",
    "repeatability::Crossed",
    "repeatability::OneWay",
    "repeatability::Share",
    "session::StationSpread",
    "simulate::AxleShift",
    "simulate::BentKnuckle",
    "simulate::BentSteeringArm",
    "simulate::BodyMotion",
    "simulate::Clamp",
    "simulate::ClampSlip",
    "simulate::DeadCamera",
    "simulate::Faults",
    "simulate::ShiftedPivot",
    "simulate::VirtualAxle",
    "simulate::VirtualVehicle",
    "simulate::VirtualWheel",
    "stand::Required",
    "stand::StandRequirements",
    "steering::InstantaneousAxis",
    "sweep::Sweep",
    "sweep::SweptStation",
    "sweep::SweptWheel",
    "uncertainty::Contribution",
    "uncertainty::Trials",
];

/// Structs that C does without, and why.
const NO_STRUCT: &[(&str, &str)] = &[
    ("compensation::Residual", "residuals are lists, in the text of a result"),
    ("adjustment::Request", "its members are arguments"),
    ("conformity::Decision", "its members are arguments"),
    ("conformity::GlobalRisks", "its members are arguments"),
    ("conformity::Production", "its members are arguments"),
    ("json::JsonError", "wa_error has the sentence"),
    ("propagation::Contribution", "wa_combine is handed the derivatives"),
    ("propagation::Dual", "derivatives are carried along by a function of Rust"),
    ("propagation::Propagation", "its members are arguments"),
];

/// Fields that C has otherwise, and why.
const OTHER_FIELDS: &[(&str, &[&str], &str)] = &[
    ("alignment::Measurement", &["residuals", "spreads", "instantaneous_axes"], "lists, in the text of a result"),
    ("compensation::ClampCompensation", &["residuals"], "lists, in the text of a result"),
    ("error::Error", &["input", "unit"], "in the sentence"),
    ("joint::Fit", &["poses"], "a list, in the text of a result"),
    ("propagation::Output", &["sensitivities", "budget"], "the caller has them"),
    (
        "stand::StandAssessment",
        &["judgements", "pivot_mm", "requirements", "warnings"],
        "in the text of a result, but for the verdicts and what the caller handed over",
    ),
    ("session::Session", &["format"], "a session that is handed over is of the newest"),
];

fn rows(table: &str) -> Vec<Value> {
    let path = format!("{}/../alignment-core/contract.json", env!("CARGO_MANIFEST_DIR"));
    let contract: Value = serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap();
    contract[table].as_array().unwrap().clone()
}

fn strings(list: &Value) -> Vec<String> {
    list.as_array().unwrap().iter().map(|one| one.as_str().unwrap().to_owned()).collect()
}

fn snake(name: &str) -> String {
    let mut snake = String::new();
    for letter in name.chars() {
        if letter.is_uppercase() && !snake.is_empty() {
            snake.push('_');
        }
        snake.push(letter.to_ascii_lowercase());
    }
    snake
}

/// The name that C has for a function of the core: without its module, but for that of a name that two modules have.
fn expected(path: &str, twice: &BTreeSet<String>) -> String {
    if let Some((_, name)) = ELSEWHERE.iter().find(|(known, _)| *known == path) {
        return (*name).to_owned();
    }
    match path.split("::").collect::<Vec<_>>()[..] {
        [module, name] if twice.contains(name) => format!("wa_{module}_{name}"),
        [_, name] => format!("wa_{name}"),
        [_, kind, name] => format!("wa_{}_{name}", snake(kind)),
        _ => panic!("{path}"),
    }
}

#[test]
fn every_function_is_there_with_its_parameters_in_order() {
    let header = Header::read();
    let functions: BTreeMap<&str, &Vec<String>> =
        header.functions.iter().map(|function| (function.name.as_str(), &function.parameters)).collect();
    let rows = rows("functions");
    let paths: Vec<&str> = rows.iter().map(|row| row["name"].as_str().unwrap()).collect();
    let mut twice = BTreeSet::new();
    let mut once = BTreeSet::new();
    for path in paths.iter().filter(|path| path.matches("::").count() == 1) {
        let (_, name) = path.split_once("::").unwrap();
        if !once.insert(name) {
            twice.insert(name.to_owned());
        }
    }
    for row in &rows {
        let path = row["name"].as_str().unwrap();
        if NO_FUNCTION.iter().any(|(known, _)| *known == path) {
            continue;
        }
        let name = expected(path, &twice);
        let found = [name.clone(), format!("{name}_json")].into_iter().find_map(|name| functions.get(name.as_str()));
        let parameters = found.unwrap_or_else(|| panic!("{path}: the header has no {name}"));
        // Those of the core in their order; C has counts, places for results and the error beside them.
        let mut rest = parameters.iter();
        for parameter in strings(&row["parameters"]) {
            let otherwise =
                PARAMETERS.iter().find(|(of, named, _)| *named == parameter && [path, "alignment_core"].contains(of));
            let accepted = otherwise.map_or(vec![parameter.as_str()], |(_, _, names)| names.to_vec());
            assert!(
                rest.any(|there| accepted.contains(&there.as_str())),
                "{path}: {name} has {parameters:?}, not {accepted:?} in its place"
            );
        }
    }
    for (path, _) in NO_FUNCTION.iter().chain(ELSEWHERE) {
        assert!(paths.contains(path), "{path} is excused and not there");
    }
    for (path, parameter, _) in PARAMETERS.iter().filter(|(path, ..)| path.contains("::")) {
        let row = rows.iter().find(|row| row["name"] == *path).unwrap();
        assert!(strings(&row["parameters"]).iter().any(|known| known == parameter), "{path} has no {parameter}");
    }
}

/// Every function takes an error last, or cannot fail in more than one way.
#[test]
fn functions_report_alike() {
    for function in Header::read().functions {
        let last = function.parameters.last().map(String::as_str);
        let short = ["wa_abi_version", "wa_version", "wa_status_name", "wa_is_present"]
            .contains(&function.name.as_str())
            || function.name.ends_with("_default")
            || function.name.starts_with("wa_reading_") && function.name != "wa_reading_position";
        assert_eq!(last == Some("error"), !short, "{}", function.declaration);
        assert!(short || function.declaration.starts_with("int32_t "), "{}", function.declaration);
    }
}

#[test]
fn every_field_is_a_member() {
    let header = Header::read();
    let rows = rows("structs");
    for row in &rows {
        let path = row["name"].as_str().unwrap();
        if AS_TEXT.contains(&path) || NO_STRUCT.iter().any(|(known, _)| *known == path) {
            continue;
        }
        let renamed = STRUCTS.iter().find(|(known, _)| *known == path).map(|(_, name)| (*name).to_owned());
        let name = renamed.unwrap_or_else(|| format!("wa_{}", snake(path.rsplit("::").next().unwrap())));
        let of = header.structs.get(&name).unwrap_or_else(|| panic!("{path}: the header has no {name}"));
        let members: BTreeSet<&str> = of.members.iter().map(|member| member.name.as_str()).collect();
        let fields = strings(&row["fields"]);
        let missing: Vec<&str> = fields.iter().map(String::as_str).filter(|field| !members.contains(field)).collect();
        let excused = OTHER_FIELDS.iter().find(|(known, ..)| *known == path).map_or(&[][..], |(_, fields, _)| fields);
        assert_eq!(missing, excused, "{name}");
    }
    let paths: Vec<&str> = rows.iter().map(|row| row["name"].as_str().unwrap()).collect();
    let excused = NO_STRUCT.iter().chain(STRUCTS).map(|(path, _)| path).chain(AS_TEXT);
    for path in excused.chain(OTHER_FIELDS.iter().map(|(path, ..)| path)) {
        assert!(paths.contains(path), "{path} is excused and not there");
    }
}

/// The readings of the contract are members, and their comments are its meaning.
#[test]
fn the_comments_of_the_readings_are_the_contracts_meaning() {
    let path = format!("{}/include/wheel_alignment.h", env!("CARGO_MANIFEST_DIR"));
    let header = std::fs::read_to_string(path).unwrap();
    let (mut comment, mut comments) = (String::new(), BTreeMap::<String, Vec<String>>::new());
    for line in header.lines() {
        if let Some(text) = line.strip_prefix("    // ") {
            comment = format!("{comment} {text}");
        } else if let Some(member) = line.trim().strip_prefix("double ") {
            let name = member.trim_end_matches(';').split('[').next().unwrap().to_owned();
            comments.entry(name).or_default().push(std::mem::take(&mut comment).trim().to_owned());
        } else {
            comment.clear();
        }
    }
    for row in rows("readings") {
        let path = row["path"].as_str().unwrap();
        let meaning = row["meaning"].as_str().unwrap().replace('−', "-");
        let meaning = meaning.trim_end_matches('.');
        let found = &comments[path.rsplit('.').next().unwrap()];
        let unit = match row["unit"].as_str().unwrap() {
            "deg" => "egrees.",
            "mm" => "mm.",
            _ => "",
        };
        assert!(
            found.iter().any(|comment| comment.starts_with(meaning) && comment.ends_with(unit)),
            "{path}: none of {found:#?} is the contract's {meaning:?} with its unit"
        );
    }
}
