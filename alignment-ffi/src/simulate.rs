//! The virtual vehicle: sessions with known truth, for tests, demos and exercises.

use crate::adjustment::adjusters;
use crate::error::{Failure, WaError};
use crate::memory::{ResultBuffer, elements, guard_text, text, to_json};
use alignment_core::json::session_to_json;
use alignment_core::simulate::VirtualVehicle;
use std::ffi::c_char;

/// A virtual car drawn at random by a seed, far beyond what is sound, without noise. The same seed gives the same car.
///
/// The result has the members of the virtual vehicle, which may be changed before it goes to
/// wa_virtual_vehicle_session_json: "wheelbase_mm", "front", "rear", "roll_deg", "sweep_deg", "pose_noise", "frames", "seed" and
/// the others.
///
/// Returns WA_SUCCESS; WA_BUFFER_TOO_SMALL.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_virtual_vehicle_random_json(
    seed: u64,
    result_json: *mut c_char,
    result_capacity: usize,
    result_length: *mut usize,
    error: *mut WaError,
) -> i32 {
    let result = ResultBuffer { json: result_json, capacity: result_capacity, length: result_length };
    // SAFETY: the caller's promises are handed on.
    unsafe { guard_text(result, error, || to_json(&VirtualVehicle::random(seed))) }
}

/// # Safety
/// As [`text`].
unsafe fn vehicle(pointer: *const c_char, length: usize) -> Result<VirtualVehicle, Failure> {
    // SAFETY: the caller's promise is handed on.
    let text = unsafe { text("virtual_vehicle_json", pointer, length)? };
    serde_json::from_str(text).map_err(|reason| Failure::NotAVehicle { reason: Box::new(reason) })
}

/// The session that a rig would hand over about a virtual car: the exercise.
///
/// virtual_vehicle_json: virtual_vehicle_length bytes, as wa_virtual_vehicle_random_json gives them.
///
/// The result is a session, format "alignment-session/1".
///
/// Returns WA_SUCCESS; WA_BUFFER_TOO_SMALL; WA_NOT_UTF8; WA_NOT_A_SESSION for a text that is no virtual vehicle.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_virtual_vehicle_session_json(
    virtual_vehicle_json: *const c_char,
    virtual_vehicle_length: usize,
    result_json: *mut c_char,
    result_capacity: usize,
    result_length: *mut usize,
    error: *mut WaError,
) -> i32 {
    let result = ResultBuffer { json: result_json, capacity: result_capacity, length: result_length };
    let job = || {
        // SAFETY: the caller's promises are handed on.
        Ok(session_to_json(&unsafe { vehicle(virtual_vehicle_json, virtual_vehicle_length)? }.session()))
    };
    // SAFETY: the caller's promises are handed on.
    unsafe { guard_text(result, error, job) }
}

/// The readings that a virtual car truly has, from the numbers that it is built of: the answer key.
///
/// virtual_vehicle_json: virtual_vehicle_length bytes, as wa_virtual_vehicle_random_json gives them.
///
/// The result is a tree like "alignment" in wa_measure_json.
///
/// Returns what wa_virtual_vehicle_session_json returns.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_virtual_vehicle_truth_json(
    virtual_vehicle_json: *const c_char,
    virtual_vehicle_length: usize,
    result_json: *mut c_char,
    result_capacity: usize,
    result_length: *mut usize,
    error: *mut WaError,
) -> i32 {
    let result = ResultBuffer { json: result_json, capacity: result_capacity, length: result_length };
    // SAFETY: the caller's promises are handed on.
    let job = || to_json(&unsafe { vehicle(virtual_vehicle_json, virtual_vehicle_length)? }.truth());
    // SAFETY: the caller's promises are handed on.
    unsafe { guard_text(result, error, job) }
}

/// A virtual car once adjusters have been turned, one after the other as they are listed: what the car is built of is read off anew where its wheels
/// have come to stand.
///
/// virtual_vehicle_json: virtual_vehicle_length bytes, as wa_virtual_vehicle_random_json gives them.
/// adjusters_json: adjusters_length bytes, as wa_fewest_moves_json takes them, each with geometry for its effect.
/// amounts: amounts_count of them, one for each adjuster, in its units.
///
/// The result is a virtual car, as wa_virtual_vehicle_random_json gives it.
///
/// Returns WA_SUCCESS; WA_BUFFER_TOO_SMALL; WA_NOT_UTF8; WA_NOT_A_SESSION for a text that is no virtual vehicle, WA_NOT_A_SPECIFICATION for
/// one that is no list of adjusters; WA_MISSING_INPUT for an effect that is no geometry, a rear wheel that is to turn about its steering
/// axis, or fewer or more amounts than adjusters; WA_NOT_FINITE.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_virtual_vehicle_adjusted_json(
    virtual_vehicle_json: *const c_char,
    virtual_vehicle_length: usize,
    adjusters_json: *const c_char,
    adjusters_length: usize,
    amounts: *const f64,
    amounts_count: usize,
    result_json: *mut c_char,
    result_capacity: usize,
    result_length: *mut usize,
    error: *mut WaError,
) -> i32 {
    let result = ResultBuffer { json: result_json, capacity: result_capacity, length: result_length };
    // SAFETY: the caller's promises are handed on.
    let job = || unsafe {
        let car = vehicle(virtual_vehicle_json, virtual_vehicle_length)?;
        let (adjusters, amounts) =
            (adjusters(adjusters_json, adjusters_length)?, elements("amounts", amounts, amounts_count)?);
        to_json(&car.adjusted(&adjusters, amounts)?)
    };
    // SAFETY: as before.
    unsafe { guard_text(result, error, job) }
}
