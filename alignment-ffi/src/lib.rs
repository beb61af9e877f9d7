//! The C interface: a thin skin on `alignment_core` that checks pointers, turns errors into statuses and lets no
//! panic through. Its documentation is the header, `include/wheel_alignment.h`, written from the comments here.

#![expect(clippy::doc_markdown, reason = "these comments become the header's, for readers of C")]

mod error;
mod status;

pub use error::{WA_MESSAGE_CAPACITY, WaError};
pub use status::*;

use alignment_core::json::{measurement_to_json, session_from_json};
use alignment_core::measure;
use error::{Failure, guard};
use std::ffi::{CStr, c_char};
use std::{ptr, slice, str};

/// The version of the binary interface, as the header knows it. 0 while the interface still grows.
pub const WA_ABI_VERSION: u32 = 0;

const VERSION: &CStr = match CStr::from_bytes_with_nul(concat!(env!("CARGO_PKG_VERSION"), "\0").as_bytes()) {
    Ok(version) => version,
    Err(_) => unreachable!(),
};

/// Measures a car: from the JSON of one session to the JSON of every reading.
///
/// The session has the format "alignment-session/1": what the rig hands over. The result is
/// {"alignment": ..., "reference": ..., "warnings": [...], "residuals": ...}; the path of a reading is
/// its path in every language, as in alignment.wheels.fl.camber_deg. Angles are in degrees, lengths in
/// millimetres. A reading that the session does not hold is null, never zero. Same session, same
/// bytes, on every call, thread and platform.
///
/// session_json: UTF-8 of session_length bytes; no NUL is needed at the end.
/// result_json: buffer of the caller of result_capacity bytes. On success it holds the result, UTF-8,
///     with a NUL at the end; otherwise it is left alone. May be NULL when result_capacity is 0.
/// result_length: the length of the result in bytes, without the NUL. Written on success and on
///     WA_BUFFER_TOO_SMALL, otherwise left alone. A capacity of *result_length + 1 is enough.
/// error: NULL, or a struct of the caller whose size is set; see wa_error.
///
/// Returns WA_SUCCESS; WA_BUFFER_TOO_SMALL; WA_NOT_A_SESSION for a text that is not a session, with the
/// path, the line and the column in the message; or another status above. The car is measured before
/// the capacity is compared: a first call with a roomy buffer saves the second one.
///
/// # Safety
/// Each pointer that is not NULL points to as many bytes as the length, the capacity or the type
/// beside it says, readable or writable, aligned for its type. The buffers do not overlap.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_measure_json(
    session_json: *const c_char,
    session_length: usize,
    result_json: *mut c_char,
    result_capacity: usize,
    result_length: *mut usize,
    error: *mut WaError,
) -> i32 {
    let job = || {
        if session_json.is_null() {
            return Err(Failure::null_pointer("session_json"));
        }
        if result_length.is_null() {
            return Err(Failure::null_pointer("result_length"));
        }
        if result_json.is_null() && result_capacity > 0 {
            return Err(Failure::null_pointer("result_json"));
        }
        let limit = isize::MAX.unsigned_abs();
        if session_length > limit {
            return Err(Failure::bad_length("session_length"));
        }
        // SAFETY: not null, and the caller promises session_length readable bytes that nobody writes meanwhile;
        // no object is larger than isize::MAX.
        let session = unsafe { slice::from_raw_parts(session_json.cast::<u8>(), session_length) };
        let result = measure_json(session)?;

        // SAFETY: not null, and the caller promises a writable, aligned size_t.
        unsafe { result_length.write(result.len()) };
        if result_capacity <= result.len() {
            return Err(Failure::buffer_too_small(result_capacity, result.len() + 1));
        }
        // SAFETY: result_capacity > result.len() ≥ 0, so result_json is not null; the caller promises that many
        // writable bytes, of which result.len() + 1 are written. `result` is our own, so nothing overlaps.
        unsafe {
            let target = result_json.cast::<u8>();
            ptr::copy_nonoverlapping(result.as_ptr(), target, result.len());
            target.add(result.len()).write(0);
        }
        Ok(())
    };
    // SAFETY: the caller's promise about `error` is handed on.
    unsafe { guard(error, job) }
}

fn measure_json(session: &[u8]) -> Result<String, Failure> {
    let text = str::from_utf8(session).map_err(|error| Failure::not_utf8(error.valid_up_to()))?;
    let session = session_from_json(text)?;
    Ok(measurement_to_json(&measure(&session)?))
}

/// The name of a status in snake case, as in "roll_too_small": a static string, never NULL, not to be
/// freed. "unknown" for a number that is no status.
#[unsafe(no_mangle)]
pub extern "C" fn wa_status_name(status: i32) -> *const c_char {
    status::name(status).as_ptr()
}

/// WA_ABI_VERSION of the library in use: compare it with the header's before the first call.
#[unsafe(no_mangle)]
pub extern "C" fn wa_abi_version() -> u32 {
    WA_ABI_VERSION
}

/// The version of the library in use, as in "0.1.0": a static string, never NULL, not to be freed.
#[unsafe(no_mangle)]
pub extern "C" fn wa_version() -> *const c_char {
    VERSION.as_ptr()
}
