//! Records of the work. They cross as JSON; the text with its digest is the core's own.

use crate::{caught, error, json, run, tree};
use alignment_core::Alignment;
use alignment_core::adjustment::{Adjuster, Adjustment, Move};
use alignment_core::conformity::{Judgement, Reason, Rule, Verdict};
use alignment_core::json::JsonError;
use alignment_core::record::{AdjustmentDone, Attachment, Identity, Measured, Record, StandSetup};
use alignment_core::stand::{GroundLine, StandAssessment, StandMoves, StandReadings, StandRequirements};
use pyo3::prelude::*;
use pyo3::pybacked::PyBackedBytes;
use serde::Deserialize;

/// A record that holds nothing but the identity, as JSON.
#[pyfunction]
pub(crate) fn record_new(identity: Bound<'_, PyAny>) -> PyResult<String> {
    let identity: Identity = tree::arguments(identity)?;
    Ok(json(&Record::new(identity)))
}

/// What a text holds, as JSON without the digest.
fn read(py: Python<'_>, text: &str, reader: fn(&str) -> Result<Record, JsonError>) -> PyResult<String> {
    let read = py.detach(|| caught(|| reader(text).map(|record| json(&record))))?;
    read.map_err(|fault| error::from_json(py, &fault))
}

/// Reads a record.
#[pyfunction]
pub(crate) fn record_from_json(py: Python<'_>, text: &str) -> PyResult<String> {
    read(py, text, Record::from_json)
}

/// Reads what the caller has to say beside the measurements.
#[pyfunction]
pub(crate) fn record_from_details(py: Python<'_>, text: &str) -> PyResult<String> {
    read(py, text, Record::from_details)
}

/// Writes a record, as JSON or as a page.
#[pyfunction]
pub(crate) fn record_text(record: Bound<'_, PyAny>, kind: &str) -> PyResult<String> {
    let py = record.py();
    let record: Record = tree::arguments(record)?;
    run(py, || match kind {
        "json" => record.to_json(),
        "markdown" => record.to_markdown(),
        _ => record.to_html(),
    })
}

/// Measures a car and keeps what a record needs of it, as JSON.
#[pyfunction]
pub(crate) fn measured_of(session: Bound<'_, PyAny>, specification: Option<Bound<'_, PyAny>>) -> PyResult<String> {
    let (py, none) = (session.py(), session.py().None().into_bound(session.py()));
    let session = tree::session(session, none)?;
    let specification = specification.map(tree::specification).transpose()?;
    run(py, || Measured::of(&session, specification.as_ref()).map(|measured| json(&measured)))
}

/// The rows of moves that were done, each an adjuster and an amount, as JSON.
#[pyfunction]
pub(crate) fn adjustments_done(adjusters: Bound<'_, PyAny>, moves: Vec<(usize, f64)>) -> PyResult<String> {
    let adjusters: Vec<Adjuster> = tree::arguments(adjusters)?;
    let foreseen = Alignment::default();
    let moves = moves.into_iter().map(|(adjuster, amount)| Move { adjuster, amount, foreseen }).collect();
    let plan = Adjustment { moves, foreseen, unmet: Vec::new(), unforeseen: Vec::new() };
    Ok(json(&AdjustmentDone::of(&adjusters, &plan)))
}

/// What a record keeps of a stand that was assessed, as JSON.
#[pyfunction]
pub(crate) fn stand_setup(found: Bound<'_, PyAny>) -> PyResult<String> {
    #[derive(Deserialize, Default)]
    struct Judged {
        verdict: Option<Verdict>,
        reason: Option<Reason>,
    }
    #[derive(Deserialize)]
    struct Found {
        readings: StandReadings,
        expanded_uncertainty: Option<StandReadings>,
        judgements: StandReadings<Option<Judged>>,
        overall: Verdict,
        ground_line: GroundLine,
        requirements: StandRequirements,
    }
    let Found { readings, expanded_uncertainty, judgements, overall, ground_line, requirements } =
        tree::arguments(found)?;
    let judgement = |judged: Option<Judged>| {
        let Judged { verdict, reason } = judged?;
        Some(Judgement {
            verdict: verdict?,
            reason,
            rule: Rule::default(),
            probability_of_conformity: None,
            risk_of_wrong_verdict: None,
            guard_band: None,
            acceptance: None,
        })
    };
    let [distance_mm, lateral_offset_mm, height_mm, yaw_deg, pitch_deg, roll_deg] = judgements.values().map(judgement);
    // What a record does not keep is left out.
    let found = StandAssessment {
        readings,
        standard_uncertainty: None,
        degrees_of_freedom: StandReadings::default(),
        expanded_uncertainty,
        judgements: StandReadings { distance_mm, lateral_offset_mm, height_mm, yaw_deg, pitch_deg, roll_deg },
        overall,
        moves: StandMoves::default(),
        pivot_mm: [0.0; 3],
        ground_line,
        thrust_angle_deg: 0.0,
        requirements,
        warnings: Vec::new(),
    };
    Ok(json(&StandSetup::of(&found)))
}

/// The attachment of a file's bytes, as JSON.
#[pyfunction]
#[expect(clippy::needless_pass_by_value, reason = "Python's bytes are held while they are read")]
pub(crate) fn attachment_of(py: Python<'_>, name: &str, media_type: &str, content: PyBackedBytes) -> PyResult<String> {
    py.detach(|| caught(|| json(&Attachment::of(name, media_type, &content))))
}

/// Whether bytes are those of an attachment.
#[pyfunction]
#[expect(clippy::needless_pass_by_value, reason = "Python's bytes are held while they are read")]
pub(crate) fn attachment_matches(attachment: Bound<'_, PyAny>, content: PyBackedBytes) -> PyResult<bool> {
    let py = attachment.py();
    let attachment: Attachment = tree::arguments(attachment)?;
    py.detach(|| caught(|| attachment.matches(&content)))
}
