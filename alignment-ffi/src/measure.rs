//! A session in, every reading out: as structs, or as text.

use crate::alignment::WaAlignment;
use crate::compensation::bits;
use crate::conformity::specification;
use crate::error::{Failure, WaError, guard};
use crate::memory::{self, ResultBuffer, StatesSize, Target, guard_text, session, to_json};
use crate::session::{self, WaReference, WaSession, number_of};
use alignment_core::joint::Fit;
use alignment_core::json::{assessment_to_json, measurement_to_json};
use alignment_core::{Measurement, Session, assess, measure, sweep};
use std::ffi::c_char;

/// How well one rigid car explains all poses: of the joint method alone.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaFit {
    /// 0 when there is none, and all else is NaN or 0.
    pub present: i32,
    /// Steps that the fit took.
    pub steps: u32,
    /// The weighted sum of the squares of what the fit left over.
    pub chi_squared: f64,
    /// Residuals less unknowns.
    pub degrees_of_freedom: f64,
    /// The chance that noise alone makes it so large, 0 to 1. NaN when the noise is not known.
    pub p_value: f64,
}

/// The readings of a session, what they rest on, and what is weak in them. Residuals, spreads, the figures of the warnings
/// and the poses of a fit are lists, and stand in the result of wa_measure_json.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaMeasurement {
    /// Set by the caller: sizeof(wa_measurement).
    pub size: usize,
    /// What is weak: WA_WARNING_... bits. 0 when nothing is.
    pub warnings: u32,
    /// How the readings were estimated: WA_METHOD_...
    pub method: i32,
    /// The choices that the readings rest on, defaults included.
    pub reference: WaReference,
    /// The normal of the datum, unit vector upward in the rig: what angles to the vertical refer to.
    pub datum_normal: [f64; 3],
    /// How well one rigid car explains all poses.
    pub fit: WaFit,
    /// Every reading. Its size is set by the library.
    pub alignment: WaAlignment,
}

// SAFETY: repr(C), begins with a usize, and numbers are all it has.
unsafe impl StatesSize for WaMeasurement {}

impl From<Option<Fit>> for WaFit {
    fn from(fit: Option<Fit>) -> Self {
        let Some(Fit { chi_squared, degrees_of_freedom, p_value, steps, poses: _ }) = fit else {
            let [chi_squared, degrees_of_freedom, p_value] = [f64::NAN; 3];
            return Self { present: 0, steps: 0, chi_squared, degrees_of_freedom, p_value };
        };
        Self {
            present: 1,
            steps: u32::try_from(steps).unwrap_or(u32::MAX),
            chi_squared,
            degrees_of_freedom,
            p_value: p_value.unwrap_or(f64::NAN),
        }
    }
}

impl From<Measurement> for WaMeasurement {
    fn from(of: Measurement) -> Self {
        Self {
            size: 0,
            warnings: bits(&of.warnings),
            method: number_of(of.method),
            reference: of.reference.into(),
            datum_normal: of.datum_normal,
            fit: of.fit.into(),
            alignment: (&of.alignment).into(),
        }
    }
}

/// # Safety
/// As [`Target::new`] and [`guard`].
unsafe fn measured(
    measurement: *mut WaMeasurement,
    error: *mut WaError,
    session: impl FnOnce() -> Result<Session, Failure>,
) -> i32 {
    let job = || {
        // SAFETY: the caller's promise is handed on.
        let target = unsafe { Target::new("measurement", measurement)? };
        target.write(measure(&session()?)?.into());
        Ok(())
    };
    // SAFETY: the caller's promise is handed on.
    unsafe { guard(error, job) }
}

/// Measures a car: from the poses of one session to every reading.
///
/// Rolling stations compensate the clamps; the ahead station gives camber, toe and the vehicle's frame; the sweep gives the
/// steering axes and toe-out on turns. The result does not depend on how the rig's frame lies, nor the readings on the order of
/// the stations; what slipped can be told only if they stand in the order in which they were taken. What a blocked camera hides
/// is absent, with a warning; the rest is measured.
///
/// measurement: struct of the caller whose size is set.
///
/// Returns WA_SUCCESS, or any status above: the message names the place, the figure, the bound and the remedy.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_measure(
    session: *const WaSession,
    measurement: *mut WaMeasurement,
    error: *mut WaError,
) -> i32 {
    // SAFETY: the caller's promises are handed on.
    unsafe { measured(measurement, error, || session::session(session)) }
}

/// The same from the text of a session, session_length bytes of JSON, format "alignment-session/1".
///
/// Returns what wa_measure returns; WA_NOT_A_SESSION; WA_NOT_UTF8.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_measure_session_json(
    session_json: *const c_char,
    session_length: usize,
    measurement: *mut WaMeasurement,
    error: *mut WaError,
) -> i32 {
    // SAFETY: the caller's promises are handed on.
    unsafe { measured(measurement, error, || memory::session(session_json, session_length)) }
}

/// Measures a car: from the JSON of one session to the JSON of every reading.
///
/// The session has the format "alignment-session/1": what the rig hands over. The result is
/// {"alignment": ..., "reference": ..., "warnings": [...], "residuals": ..., "method": ..., "fit": ...};
/// the path of a reading is its path in every language, as in alignment.wheels.fl.camber_deg. Angles are in
/// degrees, lengths in millimetres.
///
/// The member "method" of the session chooses how the readings are estimated, here and wherever a session
/// is measured: "staged", the default, stage by stage; "joint", all stages at once by one fit of a rigid
/// car. "fit" is null with the staged method. With the joint one it is {"chi_squared": ...,
/// "degrees_of_freedom": ..., "p_value": ..., "steps": ..., "poses": [...]}; each of the poses has stage,
/// station, wheel, rotation_deg and translation_mm, by how much it lies off where all others put it,
/// standardised, p_value and left_out.
///
/// Returns WA_SUCCESS; WA_BUFFER_TOO_SMALL; WA_NOT_A_SESSION for a text that is not a session, with the
/// path, the line and the column in the message; WA_NOT_DETERMINED or WA_NOT_CONVERGED by the joint method
/// alone; or another status above.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_measure_json(
    session_json: *const c_char,
    session_length: usize,
    result_json: *mut c_char,
    result_capacity: usize,
    result_length: *mut usize,
    error: *mut WaError,
) -> i32 {
    let result = ResultBuffer { json: result_json, capacity: result_capacity, length: result_length };
    // SAFETY: the caller's promises are handed on.
    unsafe { guard_text(result, error, || Ok(measurement_to_json(&measure(&session(session_json, session_length)?)?))) }
}

/// Measures a car, says what every reading is worth as far as the session tells, and judges it by a
/// specification if there is one.
///
/// specification_json: UTF-8 of specification_length bytes, format "alignment-specification/1": the limits
///     of readings and the rule by which they are judged. NULL with length 0 for none.
///
/// The result is that of wa_measure_json, by the "method" of the session and with its "fit", and has four
/// more members. "uncertainty", "degrees_of_freedom" and "expanded_uncertainty" are each a tree like
/// "alignment": the standard uncertainty of every reading, in its own unit, its effective degrees of
/// freedom, and U: reading ± U holds the true value with a probability of 95 %. They are null when the
/// noise of the poses is neither stated nor seen in several frames of every target. "verdicts" is null
/// without a specification, else {"overall": ..., "decision": ..., "load_state": ..., "readings": [...]};
/// each has path, unit, value, standard_uncertainty, degrees_of_freedom, nominal, limits and the members of
/// wa_judgement: verdict ("conforms", "does_not_conform", "undetermined"), reason ("not_measured",
/// "near_limit", "too_uncertain"), rule ("guarded", "simple_acceptance") and the rest.
///
/// Returns what wa_measure_json returns; WA_NOT_A_SPECIFICATION, or WA_UNKNOWN_READING for limits of what
/// is no reading, with the path, the line and the column in the message; WA_NOT_A_COVARIANCE.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_assess_json(
    session_json: *const c_char,
    session_length: usize,
    specification_json: *const c_char,
    specification_length: usize,
    result_json: *mut c_char,
    result_capacity: usize,
    result_length: *mut usize,
    error: *mut WaError,
) -> i32 {
    let result = ResultBuffer { json: result_json, capacity: result_capacity, length: result_length };
    let job = || {
        // SAFETY: the caller's promise is handed on.
        let session = unsafe { session(session_json, session_length)? };
        let specification = if specification_json.is_null() && specification_length == 0 {
            None
        } else {
            // SAFETY: as before.
            Some(unsafe { specification(specification_json, specification_length)? })
        };
        Ok::<_, Failure>(assessment_to_json(&assess(&session, specification.as_ref())?))
    };
    // SAFETY: the caller's promises are handed on.
    unsafe { guard_text(result, error, job) }
}

/// Follows the front wheels of a session through the sweep, station by station, for pictures and lessons.
///
/// The result is {"left": {"axis": ..., "stations": [...]}, "right": ..., "sweep_wheels_locked": ..., "method": ...}: the axis
/// has the readings of steering.left; each station has "station", "steer_deg", "camber_deg", "spindle", "centre_mm" and
/// "residual".
///
/// Returns what wa_measure_json returns; WA_MISSING_INPUT without a sweep.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_follow_json(
    session_json: *const c_char,
    session_length: usize,
    result_json: *mut c_char,
    result_capacity: usize,
    result_length: *mut usize,
    error: *mut WaError,
) -> i32 {
    let result = ResultBuffer { json: result_json, capacity: result_capacity, length: result_length };
    // SAFETY: the caller's promises are handed on.
    let job = || to_json(&sweep::follow(&unsafe { session(session_json, session_length)? })?);
    // SAFETY: as before.
    unsafe { guard_text(result, error, job) }
}
