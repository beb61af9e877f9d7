//! Before and after: a record of the work that an owner, an insurer or a teacher can check, and pages made from it.
//!
//! Alignment work is paid when it is documented. A [`Record`] holds what was measured before the work and after it, each reading with its
//! uncertainty, limits and verdict; what was done; notes; and the digests of files that belong to it. It is plain data: whoever makes one
//! fills in what is known, and what is not stays absent. The library has no clock and invents nothing.
//!
//! # The text
//! [`Record::to_json`] writes it as JSON of format `alignment-record/1`, and [`Record::from_json`] reads it. The text explains itself: axes,
//! units and signs stand in it as sentences. Its last member is `digest`, the SHA-256 of the whole text with the 64 digits of the digest itself
//! replaced by zeros. Anybody can check it without this library:
//!
//! ```sh
//! sed -E '/^  "digest": /s/"[0-9a-f]{64}"/"0000000000000000000000000000000000000000000000000000000000000000"/' record.json | sha256sum
//! ```
//!
//! must print the digest that stands in the file. It tells a text that was damaged or changed. It is no signature: whoever changes a text can
//! write a new digest. [`Record::from_json`] checks it, and every version of the format keeps this rule.
//!
//! Absent is null. Infinite degrees of freedom are written `"infinite"`; any other number that is not finite is none, and absent.
//!
//! # The pages
//! [`Record::to_markdown`] and [`Record::to_html`] make a page for people: what the car was like before and after, what changed, what was done, and
//! how to check the record. The page of HTML is one file, without scripts or anything from outside, and prints on A4 and on Letter. Whatever a text of
//! the record holds, it stays text: it cannot become markup, reorder what stands around it, or push it off the page. A text of more than
//! [`SHOWN_CHARACTERS`] is cut there, and a sentence says how long it is in the record.
//!
//! Readings are no licence to drive, and a record is no more than its readings: the vehicle maker's procedure, local codes and licensed practice come
//! first.
//!
//! ```
//! use alignment_core::record::{Identity, Measured, Record};
//! use alignment_core::simulate::VirtualVehicle;
//!
//! let mut car = VirtualVehicle::default();
//! let before = Measured::of(&car.session(), None)?;
//! car.front.left.toe_to_centreline_deg += 0.1;
//! let after = Measured::of(&car.session(), None)?;
//! let identity = Identity { vehicle: Some("an invented car".into()), ..Identity::default() };
//! let record = Record { before: Some(before), after: Some(after), ..Record::new(identity) };
//!
//! let text = record.to_json()?;
//! assert_eq!(Record::from_json(&text).unwrap(), record);
//! assert!(Record::from_json(&text.replace("an invented car", "another car")).is_err(), "the digest tells");
//! assert!(record.to_html()?.starts_with("<!doctype html>"));
//! # Ok::<(), alignment_core::Error>(())
//! ```

mod page;
mod picture;
pub(crate) mod shown;
mod text;

use crate::adjustment::{Adjuster, Adjustment, Effect};
use crate::assessment::{COVERAGE, assess};
use crate::conformity::{Decision, ReadingVerdict, Reason, Specification, Verdict};
use crate::error::{Error, Warning};
use crate::json::session_to_json;
use crate::layout::Wheel;
use crate::paths::{self, READINGS};
use crate::session::{Method, Reference, Session};
use crate::stand::{self, StandAssessment, StandReadings, StandRequirements};
use alloc::borrow::ToOwned;
use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec::Vec;

pub use shown::SHOWN_CHARACTERS;

/// The version of the record format.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, serde::Serialize, serde::Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum RecordFormat {
    /// The first: `alignment-record/1`.
    #[default]
    #[serde(rename = "alignment-record/1")]
    V1,
}

/// The program that wrote a record.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Library {
    /// Its name.
    pub name: String,
    /// Its version.
    pub version: String,
}

/// A convention that the readings follow, in a sentence.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Convention {
    /// What it is about.
    pub name: String,
    /// What it says.
    pub meaning: String,
}

/// Whose car it is, and who worked on it when and with what: texts of the caller, none of which is checked. Personal data is the
/// caller's to protect.
#[derive(Debug, Clone, PartialEq, Eq, Default, serde::Serialize, serde::Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Identity {
    /// What the workshop calls this record.
    pub record_id: Option<String>,
    /// When the work was done, best as in ISO 8601.
    pub date: Option<String>,
    /// The car: make, model, year, engine.
    pub vehicle: Option<String>,
    /// The registration.
    pub registration: Option<String>,
    /// The number of the chassis.
    pub chassis_number: Option<String>,
    /// What the odometer showed, with its unit.
    pub odometer: Option<String>,
    /// Who had the work done.
    pub customer: Option<String>,
    /// Who answers for the work.
    pub workshop: Option<String>,
    /// Who measured and adjusted.
    pub operator: Option<String>,
    /// What it was measured with, and when that was last checked.
    pub equipment: Option<String>,
}

/// A warning that came with a measurement.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct MeasuredWarning {
    /// What is weak, by its stable name.
    pub code: String,
    /// The stable number of the code.
    pub number: i32,
    /// All of it as one sentence.
    pub message: String,
}

impl From<&Warning> for MeasuredWarning {
    fn from(warning: &Warning) -> Self {
        Self { code: warning.code.name().to_owned(), number: warning.code.number(), message: warning.to_string() }
    }
}

/// One reading of a measurement, with what it is worth and its verdict.
#[derive(Debug, Clone, PartialEq, Default, serde::Serialize, serde::Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct MeasuredReading {
    /// The path of the reading, as in `wheels.fl.camber_deg`.
    pub path: String,
    /// The unit of all that follows: `deg`, `mm`, or `1` for a component of a unit vector.
    pub unit: String,
    /// The reading; absent when it was not measured.
    #[serde(serialize_with = "text::finite")]
    pub value: Option<f64>,
    /// Its standard uncertainty, where it is known.
    #[serde(serialize_with = "text::finite")]
    pub standard_uncertainty: Option<f64>,
    /// The degrees of freedom of the uncertainty: a number, or `"infinite"` where the noise of the poses is known.
    #[serde(default, with = "text::freedom")]
    #[cfg_attr(feature = "schema", schemars(with = "Option<text::Freedom>"))]
    pub degrees_of_freedom: Option<f64>,
    /// Its expanded uncertainty U: value ± U holds the true value with the coverage probability of the measurement.
    #[serde(serialize_with = "text::finite")]
    pub expanded_uncertainty: Option<f64>,
    /// The value to aim at, where the specification names one.
    #[serde(serialize_with = "text::finite")]
    pub nominal: Option<f64>,
    /// The least value that conforms.
    #[serde(serialize_with = "text::finite")]
    pub min: Option<f64>,
    /// The greatest value that conforms.
    #[serde(serialize_with = "text::finite")]
    pub max: Option<f64>,
    /// The verdict; absent without limits.
    pub verdict: Option<Verdict>,
    /// Why the verdict is undetermined.
    pub reason: Option<Reason>,
    /// The probability that the true value lies within the limits.
    #[serde(serialize_with = "text::finite")]
    pub probability_of_conformity: Option<f64>,
    /// The probability that the verdict is wrong.
    #[serde(serialize_with = "text::finite")]
    pub risk_of_wrong_verdict: Option<f64>,
}

/// What was measured of the car at one time.
#[derive(Debug, Clone, PartialEq, serde::Serialize, serde::Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Measured {
    /// The SHA-256 of the session as [`session_to_json`] writes it: whoever keeps the session can show that these
    /// readings come of it.
    pub inputs_sha256: String,
    /// How the readings were estimated.
    pub method: Method,
    /// The choices that the readings rest on, defaults included.
    #[serde(serialize_with = "text::reference", deserialize_with = "crate::json::keyed_option")]
    pub reference: Option<Reference>,
    /// Whose limits they are, as the specification's note says.
    pub specification_note: Option<String>,
    /// The load at which the limits hold.
    pub load_state: Option<String>,
    /// The rule by which readings were judged; absent without a specification.
    #[serde(serialize_with = "text::decision", deserialize_with = "crate::json::keyed_option")]
    pub decision: Option<Decision>,
    /// The verdict on the whole; absent without a specification.
    pub overall: Option<Verdict>,
    /// The coverage probability of the expanded uncertainties; absent where no uncertainty is known.
    #[serde(serialize_with = "text::finite")]
    pub coverage_probability: Option<f64>,
    /// What is weak in the measurement.
    #[serde(deserialize_with = "text::rows")]
    pub warnings: Vec<MeasuredWarning>,
    /// Every reading, in the order of the tree.
    #[serde(deserialize_with = "text::rows")]
    pub readings: Vec<MeasuredReading>,
}

impl Measured {
    /// Measures a car and keeps what a record needs of it: [`assess`] with this session and specification, in degrees and mm.
    ///
    /// # Errors
    /// Those of [`assess`], such as [`ErrorCode::MissingInput`](crate::ErrorCode::MissingInput).
    ///
    /// ```
    /// # use alignment_core::{record::Measured, simulate::VirtualVehicle};
    /// let measured = Measured::of(&VirtualVehicle::default().session(), None)?;
    /// let camber = &measured.readings[0];
    /// assert_eq!((camber.path.as_str(), camber.unit.as_str()), ("wheels.fl.camber_deg", "deg"));
    /// assert!(camber.value.is_some() && camber.verdict.is_none());
    /// # Ok::<(), alignment_core::Error>(())
    /// ```
    pub fn of(session: &Session, specification: Option<&Specification>) -> Result<Self, Error> {
        let known = assess(session, specification)?;
        let flat = |tree: Option<&crate::Alignment>| tree.map_or([None; paths::COUNT], crate::Alignment::values);
        let values = known.measurement.alignment.values();
        let standard = flat(known.uncertainty.as_ref());
        let freedom = flat(known.degrees_of_freedom.as_ref());
        let expanded = flat(known.expanded_uncertainty.as_ref());
        let judged = known.verdicts.as_ref().map_or(&[][..], |verdicts| &verdicts.readings);
        let reading = |index: usize| {
            let path = READINGS[index];
            let verdict: Option<&ReadingVerdict> = judged.iter().find(|judged| judged.path == path);
            MeasuredReading {
                path: path.to_owned(),
                unit: paths::unit(path).to_owned(),
                value: values[index],
                standard_uncertainty: standard[index],
                degrees_of_freedom: freedom[index],
                expanded_uncertainty: expanded[index],
                nominal: verdict.and_then(|verdict| verdict.nominal),
                min: verdict.and_then(|verdict| verdict.limits.min),
                max: verdict.and_then(|verdict| verdict.limits.max),
                verdict: verdict.map(|verdict| verdict.judgement.verdict),
                reason: verdict.and_then(|verdict| verdict.judgement.reason),
                probability_of_conformity: verdict.and_then(|verdict| verdict.judgement.probability_of_conformity),
                risk_of_wrong_verdict: verdict.and_then(|verdict| verdict.judgement.risk_of_wrong_verdict),
            }
        };
        Ok(Self {
            inputs_sha256: text::sha256(session_to_json(session).as_bytes()),
            method: known.measurement.method,
            reference: Some(known.measurement.reference),
            specification_note: specification.and_then(|specification| specification.note.clone()),
            load_state: specification.and_then(|specification| specification.load_state.clone()),
            decision: specification.map(|specification| specification.decision),
            overall: known.verdicts.as_ref().map(|verdicts| verdicts.overall),
            coverage_probability: known.expanded_uncertainty.is_some().then_some(COVERAGE),
            warnings: known.measurement.warnings.iter().map(MeasuredWarning::from).collect(),
            readings: (0..paths::COUNT).map(reading).collect(),
        })
    }
}

/// One adjuster that was turned, moved or exchanged.
#[derive(Debug, Clone, PartialEq, Default, serde::Serialize, serde::Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct AdjustmentDone {
    /// What was adjusted, as the workshop calls it.
    pub adjuster: String,
    /// The wheel that it moves, where it is one alone.
    pub wheel: Option<Wheel>,
    /// By how much, in `unit`.
    #[serde(serialize_with = "text::finite")]
    pub amount: Option<f64>,
    /// The unit of the amount, with its direction, such as `turns longer`.
    pub unit: Option<String>,
    /// A remark.
    pub note: Option<String>,
}

impl AdjustmentDone {
    /// The rows of a plan that was carried out: one for each move of [`fewest_moves`](crate::adjustment::fewest_moves), in its order.
    /// Moves of adjusters that are not in the list are left out.
    ///
    /// ```
    /// # use alignment_core::adjustment::{Adjuster, Adjustment, Effect, Move};
    /// # use alignment_core::{Alignment, record::AdjustmentDone};
    /// let tie_rod = Adjuster {
    ///     name: "left front tie rod".into(),
    ///     unit: "turns to toe-in".into(),
    ///     effect: Effect::Measured([("wheels.fl.toe_deg".into(), 0.8)].into()),
    ///     least: -6.0,
    ///     most: 6.0,
    ///     step: 0.0,
    /// };
    /// let step = Move { adjuster: 0, amount: 0.25, foreseen: Alignment::default() };
    /// let foreseen = Alignment::default();
    /// let plan = Adjustment { moves: vec![step], foreseen, unmet: vec![], unforeseen: vec![] };
    /// let done = AdjustmentDone::of(&[tie_rod], &plan);
    /// assert_eq!((done[0].adjuster.as_str(), done[0].amount), ("left front tie rod", Some(0.25)));
    /// ```
    #[must_use]
    pub fn of(adjusters: &[Adjuster], plan: &Adjustment) -> Vec<Self> {
        let row = |step: &crate::adjustment::Move| {
            let adjuster = adjusters.get(step.adjuster)?;
            Some(Self {
                adjuster: adjuster.name.clone(),
                wheel: only_wheel(&adjuster.effect),
                amount: Some(step.amount),
                unit: Some(adjuster.unit.clone()),
                note: None,
            })
        };
        plan.moves.iter().filter_map(row).collect()
    }
}

/// The wheel that an adjuster moves, when it moves one alone.
fn only_wheel(effect: &Effect) -> Option<Wheel> {
    let moves = |wheel: Wheel| match effect {
        Effect::Rigid(rigid) => *rigid.wheels.get(wheel),
        Effect::Measured(changes) => changes.keys().any(|path| path.starts_with(&format!("wheels.{wheel}."))),
    };
    let mut moved = Wheel::ALL.into_iter().filter(|&wheel| moves(wheel));
    let first = moved.next();
    if moved.next().is_none() { first } else { None }
}

/// A file that belongs to the record, by its digest: a photograph, a session, a printout. The file itself is kept elsewhere.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Attachment {
    /// The name of the file.
    pub name: String,
    /// Its media type, as `image/jpeg`.
    pub media_type: String,
    /// How many bytes it has.
    pub length_bytes: u64,
    /// The SHA-256 of its bytes, in hexadecimal digits.
    pub sha256: String,
}

impl Attachment {
    /// The attachment of these bytes.
    ///
    /// ```
    /// # use alignment_core::record::Attachment;
    /// let photograph = Attachment::of("left-front.txt", "text/plain", b"abc");
    /// assert_eq!(photograph.length_bytes, 3);
    /// assert!(photograph.sha256.starts_with("ba7816bf"), "FIPS 180-4's own example");
    /// ```
    #[must_use]
    pub fn of(name: &str, media_type: &str, content: &[u8]) -> Self {
        Self {
            name: name.to_owned(),
            media_type: media_type.to_owned(),
            length_bytes: content.len() as u64,
            sha256: text::sha256(content),
        }
    }

    /// Whether these bytes are those of the file: their number and their digest agree.
    ///
    /// ```
    /// # use alignment_core::record::Attachment;
    /// let note = Attachment::of("note.txt", "text/plain", b"right front tie rod end worn");
    /// assert!(note.matches(b"right front tie rod end worn"));
    /// assert!(!note.matches(b"left front tie rod end worn"));
    /// ```
    #[must_use]
    pub fn matches(&self, content: &[u8]) -> bool {
        self.length_bytes == content.len() as u64 && self.sha256.eq_ignore_ascii_case(&text::sha256(content))
    }
}

/// Where a calibration stand was set up before the car.
#[derive(Debug, Clone, PartialEq, Default, serde::Serialize, serde::Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct StandSetup {
    /// Whose procedure it is, for which sensor, and at what load it holds.
    pub procedure: Option<String>,
    /// The line of the car to which it was set up: thrust line or centreline.
    pub line: Option<String>,
    /// The point of the car from which distances are told.
    pub reference_point: Option<String>,
    /// How far the ground is tilted against the datum of the car's own angles, degrees.
    #[serde(serialize_with = "text::finite")]
    pub ground_tilt_deg: Option<f64>,
    /// How far the ground under car and stand is from one plane, mm.
    #[serde(serialize_with = "text::finite")]
    pub ground_residual_mm: Option<f64>,
    /// The verdict on the whole; absent when nothing is required.
    pub overall: Option<Verdict>,
    /// Where it stood: `distance_mm`, `lateral_offset_mm`, `height_mm`, `yaw_deg`, `pitch_deg`, `roll_deg`.
    #[serde(deserialize_with = "text::rows")]
    pub parameters: Vec<StandParameter>,
}

/// One number of a stand's set-up.
#[derive(Debug, Clone, PartialEq, Default, serde::Serialize, serde::Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct StandParameter {
    /// Its name, which ends in its unit: `distance_mm`, `yaw_deg`.
    pub name: String,
    /// What was set up; an angle as it counts from the nominal by the shorter way, so that it compares with the limits.
    #[serde(serialize_with = "text::finite")]
    pub value: Option<f64>,
    /// Its expanded uncertainty.
    #[serde(serialize_with = "text::finite")]
    pub expanded_uncertainty: Option<f64>,
    /// The value to aim at.
    #[serde(serialize_with = "text::finite")]
    pub nominal: Option<f64>,
    /// The least value that conforms.
    #[serde(serialize_with = "text::finite")]
    pub min: Option<f64>,
    /// The greatest value that conforms.
    #[serde(serialize_with = "text::finite")]
    pub max: Option<f64>,
    /// The verdict; absent without limits.
    pub verdict: Option<Verdict>,
    /// Why the verdict is undetermined.
    pub reason: Option<Reason>,
}

impl StandSetup {
    /// The set-up that [`stand::assess`] found, in degrees and mm.
    ///
    /// ```
    /// # use alignment_core::stand::{PlacedStand, Required, StandRequirements, assess};
    /// # use alignment_core::{Pose, record::StandSetup, simulate::VirtualVehicle};
    /// let seen = Pose::from_rotation_vector_rad([0.0, 0.0, 0.017], [5000.0, 30.0, 1200.0])?;
    /// let stand = PlacedStand { rig_from_stand: seen, noise: None, pivot_mm: [0.0; 3] };
    /// let mut required = StandRequirements::default();
    /// required.required.yaw_deg = Some(Required { nominal: 0.0, minus: 0.2, plus: 0.2 });
    /// let setup = StandSetup::of(&assess(&VirtualVehicle::default().session(), &stand, &[], &required)?);
    /// assert_eq!((setup.line.as_deref(), setup.parameters.len()), (Some("thrust line"), 6));
    /// assert_eq!((setup.parameters[3].name.as_str(), setup.parameters[3].max), ("yaw_deg", Some(0.2)));
    /// # Ok::<(), alignment_core::Error>(())
    /// ```
    #[must_use]
    pub fn of(found: &StandAssessment) -> Self {
        let StandRequirements { note, line, reference, required, .. } = &found.requirements;
        let expanded = found.expanded_uncertainty.map(StandReadings::values);
        let (required, judgements) = (required.values(), found.judgements.values());
        let parameter = |(index, value): (usize, f64)| {
            let (required, judged) = (required[index], judgements[index]);
            StandParameter {
                name: StandReadings::<f64>::NAMES[index].to_owned(),
                value: Some(required.map_or(value, |required| stand::as_required(index, value, required.nominal))),
                expanded_uncertainty: expanded.map(|all| all[index]),
                nominal: required.map(|required| required.nominal),
                min: required.map(|required| required.nominal - required.minus),
                max: required.map(|required| required.nominal + required.plus),
                verdict: judged.map(|judged| judged.verdict),
                reason: judged.and_then(|judged| judged.reason),
            }
        };
        Self {
            procedure: note.clone(),
            line: Some(line.to_string()),
            reference_point: Some(reference.to_string()),
            ground_tilt_deg: Some(found.ground_line.ground.tilt_deg),
            ground_residual_mm: Some(found.ground_line.ground.residual_mm),
            overall: judgements.iter().any(Option::is_some).then_some(found.overall),
            parameters: found.readings.values().into_iter().enumerate().map(parameter).collect(),
        }
    }
}

/// A record of the work on one car. [`Record::new`] fills in what explains it; the rest is the caller's, and at least one of `before` and
/// `after` must be there.
#[derive(Debug, Clone, PartialEq, serde::Serialize, serde::Deserialize)]
#[serde(deny_unknown_fields, default)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Record {
    /// The version of the format.
    pub format: RecordFormat,
    /// The program that wrote it.
    #[serde(deserialize_with = "crate::json::keyed")]
    pub library: Library,
    /// How to read it: axes, units and signs, in sentences.
    #[serde(deserialize_with = "text::rows")]
    pub conventions: Vec<Convention>,
    /// Whose car it is, and who worked on it.
    #[serde(deserialize_with = "crate::json::keyed")]
    pub identity: Identity,
    /// The car before the work.
    #[serde(deserialize_with = "crate::json::keyed_option")]
    pub before: Option<Measured>,
    /// The car after the work.
    #[serde(deserialize_with = "crate::json::keyed_option")]
    pub after: Option<Measured>,
    /// What was adjusted, in the order of the work.
    #[serde(deserialize_with = "text::rows")]
    pub adjustments: Vec<AdjustmentDone>,
    /// Remarks.
    pub notes: Vec<String>,
    /// Files that belong to it.
    #[serde(deserialize_with = "text::rows")]
    pub attachments: Vec<Attachment>,
    /// The set-up of a calibration stand.
    #[serde(deserialize_with = "crate::json::keyed_option")]
    pub stand: Option<StandSetup>,
}

/// Axes, units and signs, as every record says them.
const CONVENTIONS: [[&str; 2]; 13] = [
    ["axes", "X points forward, Y to the left, Z up (ISO 8855:2011). Left and right are as the driver sees them."],
    ["names", "Wheels are fl (left front), fr (right front), rl (left rear), rr (right rear)."],
    ["units", "Angles are in degrees, lengths in millimetres; each name ends in its unit."],
    ["camber", "Positive when the top of the wheel leans outward."],
    [
        "toe",
        "Positive toe-in. Front: to the thrust line; rear: to the centreline. Total toe is the sum of both wheels.",
    ],
    ["caster", "Positive when the top of the steering axis leans rearward, in the side view."],
    [
        "SAI",
        "Steering-axis inclination: positive when the top of the axis leans inboard, in the front view. Included angle is SAI plus camber.",
    ],
    [
        "trail and scrub",
        "Caster trail is positive when the steering axis meets the ground ahead of the contact centre, scrub radius when it does so inboard of it.",
    ],
    ["thrust angle", "Positive when the thrust line points to the right of the centreline."],
    ["setback", "Positive when the right wheel stands further rearward than the left."],
    ["steer angle", "Positive in a left turn."],
    [
        "calibration stand",
        "Distance is positive ahead of the point from which it counts, the offset to the left of the line, height above the ground. Yaw is positive to the left as seen from above, pitch with the top forward, roll with the top to the right.",
    ],
    [
        "uncertainty",
        "A reading ± its expanded uncertainty holds the true value with the coverage probability that is stated. It knows of the noise of the poses and of the inputs that the session says are uncertain, and of nothing else.",
    ],
];

impl Default for Record {
    /// A record that holds nothing yet, not even an identity.
    fn default() -> Self {
        Self::new(Identity::default())
    }
}

impl Record {
    /// A record that holds nothing but the identity yet.
    ///
    /// ```
    /// # use alignment_core::record::{Identity, Record};
    /// let record = Record::new(Identity { date: Some("2026-05-04".into()), ..Identity::default() });
    /// assert!(record.conventions.iter().any(|convention| convention.name == "camber"));
    /// assert!(record.to_json().is_err(), "nothing was measured");
    /// ```
    #[must_use]
    pub fn new(identity: Identity) -> Self {
        let [name, version] = [env!("CARGO_PKG_NAME"), env!("CARGO_PKG_VERSION")].map(str::to_owned);
        let convention = |[name, meaning]: [&str; 2]| Convention { name: name.to_owned(), meaning: meaning.to_owned() };
        Self {
            format: RecordFormat::V1,
            library: Library { name, version },
            conventions: CONVENTIONS.into_iter().map(convention).collect(),
            identity,
            before: None,
            after: None,
            adjustments: Vec::new(),
            notes: Vec::new(),
            attachments: Vec::new(),
            stand: None,
        }
    }
}
