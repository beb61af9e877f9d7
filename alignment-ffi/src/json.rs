//! Schemas of the texts.

use crate::error::WaError;
use crate::memory::{ResultBuffer, guard_text};
use alignment_core::json;
use std::ffi::c_char;

/// The JSON Schema (2020-12) of a session, format "alignment-session/1".
///
/// Returns WA_SUCCESS; WA_BUFFER_TOO_SMALL.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_session_schema_json(
    result_json: *mut c_char,
    result_capacity: usize,
    result_length: *mut usize,
    error: *mut WaError,
) -> i32 {
    let result = ResultBuffer { json: result_json, capacity: result_capacity, length: result_length };
    // SAFETY: the caller's promises are handed on.
    unsafe { guard_text(result, error, || Ok(json::session_schema().to_owned())) }
}

/// The JSON Schema (2020-12) of a specification, format "alignment-specification/1".
///
/// Returns WA_SUCCESS; WA_BUFFER_TOO_SMALL.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_specification_schema_json(
    result_json: *mut c_char,
    result_capacity: usize,
    result_length: *mut usize,
    error: *mut WaError,
) -> i32 {
    let result = ResultBuffer { json: result_json, capacity: result_capacity, length: result_length };
    // SAFETY: the caller's promises are handed on.
    unsafe { guard_text(result, error, || Ok(json::specification_schema().to_owned())) }
}

/// The JSON Schema (2020-12) of the result of wa_measure_json.
///
/// Returns WA_SUCCESS; WA_BUFFER_TOO_SMALL.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_measurement_schema_json(
    result_json: *mut c_char,
    result_capacity: usize,
    result_length: *mut usize,
    error: *mut WaError,
) -> i32 {
    let result = ResultBuffer { json: result_json, capacity: result_capacity, length: result_length };
    // SAFETY: the caller's promises are handed on.
    unsafe { guard_text(result, error, || Ok(json::measurement_schema().to_owned())) }
}

/// The JSON Schema (2020-12) of the result of wa_assess_json.
///
/// Returns WA_SUCCESS; WA_BUFFER_TOO_SMALL.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_assessment_schema_json(
    result_json: *mut c_char,
    result_capacity: usize,
    result_length: *mut usize,
    error: *mut WaError,
) -> i32 {
    let result = ResultBuffer { json: result_json, capacity: result_capacity, length: result_length };
    // SAFETY: the caller's promises are handed on.
    unsafe { guard_text(result, error, || Ok(json::assessment_schema().to_owned())) }
}

/// The JSON Schema (2020-12) of a record, format "alignment-record/1".
///
/// Returns WA_SUCCESS; WA_BUFFER_TOO_SMALL.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_record_schema_json(
    result_json: *mut c_char,
    result_capacity: usize,
    result_length: *mut usize,
    error: *mut WaError,
) -> i32 {
    let result = ResultBuffer { json: result_json, capacity: result_capacity, length: result_length };
    // SAFETY: the caller's promises are handed on.
    unsafe { guard_text(result, error, || Ok(json::record_schema().to_owned())) }
}

/// The JSON Schema (2020-12) of where a stand is to stand, format "alignment-stand/1".
///
/// Returns WA_SUCCESS; WA_BUFFER_TOO_SMALL.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_stand_requirements_schema_json(
    result_json: *mut c_char,
    result_capacity: usize,
    result_length: *mut usize,
    error: *mut WaError,
) -> i32 {
    let result = ResultBuffer { json: result_json, capacity: result_capacity, length: result_length };
    // SAFETY: the caller's promises are handed on.
    unsafe { guard_text(result, error, || Ok(json::stand_requirements_schema().to_owned())) }
}

/// The JSON Schema (2020-12) of the result of wa_stand_assess_json.
///
/// Returns WA_SUCCESS; WA_BUFFER_TOO_SMALL.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_stand_assessment_schema_json(
    result_json: *mut c_char,
    result_capacity: usize,
    result_length: *mut usize,
    error: *mut WaError,
) -> i32 {
    let result = ResultBuffer { json: result_json, capacity: result_capacity, length: result_length };
    // SAFETY: the caller's promises are handed on.
    unsafe { guard_text(result, error, || Ok(json::stand_assessment_schema().to_owned())) }
}
