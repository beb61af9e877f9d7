//! A session in, every reading out; and how the readings are numbered.

use crate::error::{Failure, WaError};
use crate::memory::{ResultBuffer, guard_text, session, text};
use alignment_core::json::{assessment_to_json, measurement_to_json, specification_from_json};
use alignment_core::paths::{COUNT, READINGS};
use alignment_core::{assess, measure};
use std::ffi::c_char;
use std::ptr;

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
///
/// # Safety
/// As under Memory at the top.
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
///
/// # Safety
/// As under Memory at the top.
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
            let text = unsafe { text("specification_json", specification_json, specification_length)? };
            Some(specification_from_json(text)?)
        };
        Ok::<_, Failure>(assessment_to_json(&assess(&session, specification.as_ref())?))
    };
    // SAFETY: the caller's promises are handed on.
    unsafe { guard_text(result, error, job) }
}

/// The room for a path, with its NUL. A longer path does not compile.
const ROOM: usize = 64;

/// The paths as C has them.
static PATHS: [[u8; ROOM]; COUNT] = {
    let mut paths = [[0; ROOM]; COUNT];
    let mut reading = 0;
    while reading < COUNT {
        let path = READINGS[reading].as_bytes();
        assert!(path.len() < ROOM);
        let mut index = 0;
        while index < path.len() {
            paths[reading][index] = path[index];
            index += 1;
        }
        reading += 1;
    }
    paths
};

/// How many readings there are: the three components of a vector are three. Later versions may have more.
#[unsafe(no_mangle)]
pub extern "C" fn wa_reading_count() -> usize {
    COUNT
}

/// The path of a reading, as in "wheels.fl.camber_deg" or "wheels.fl.centre_mm[0]": a static string, not to
/// be freed. Its name ends in its unit; a component of a unit vector has none. NULL for an index that is
/// not less than wa_reading_count(). The order is that of the rows and columns of wa_covariance.
#[unsafe(no_mangle)]
pub extern "C" fn wa_reading_path(index: usize) -> *const c_char {
    PATHS.get(index).map_or(ptr::null(), |path| path.as_ptr().cast())
}
