//! Records of the work. They cross as JSON; the text with its digest is the core's own.

use crate::{caught, error, json, run, tree};
use alignment_core::Alignment;
use alignment_core::adjustment::{Adjuster, Adjustment, Move};
use alignment_core::json::JsonError;
use alignment_core::record::{AdjustmentDone, Attachment, Identity, Measured, Record};
use pyo3::prelude::*;
use pyo3::pybacked::PyBackedBytes;

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
