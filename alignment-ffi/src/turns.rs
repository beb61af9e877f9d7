//! Toe-out on turns: Ackermann's ideal, both percentages, the turning radius.

use crate::error::WaError;
use crate::memory::give;
use alignment_core::turns;

/// Ackermann's ideal outer angle in degrees, for an inner angle: cot outer = cot inner + axis
/// distance/wheelbase.
///
/// inner_deg: 0 to 90°.
/// axis_distance_mm: of the steering axes at the ground, mm, above 0.
/// wheelbase_mm: mm, above 0.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_ANGLE_OUT_OF_RANGE; WA_LENGTH_OUT_OF_RANGE.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_ackermann_outer_deg(
    inner_deg: f64,
    axis_distance_mm: f64,
    wheelbase_mm: f64,
    outer_deg: *mut f64,
    error: *mut WaError,
) -> i32 {
    let job = || Ok(turns::ackermann_outer_deg(inner_deg, axis_distance_mm, wheelbase_mm)?);
    // SAFETY: the caller's promises are handed on.
    unsafe { give(error, ("outer_deg", outer_deg), job) }
}

/// Ackermann's ideal inner angle in degrees, for an outer angle: cot inner = cot outer - axis
/// distance/wheelbase.
///
/// outer_deg: 0 to 90°.
/// axis_distance_mm: of the steering axes at the ground, mm, above 0.
/// wheelbase_mm: mm, above 0.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_ANGLE_OUT_OF_RANGE; WA_LENGTH_OUT_OF_RANGE.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_ackermann_inner_deg(
    outer_deg: f64,
    axis_distance_mm: f64,
    wheelbase_mm: f64,
    inner_deg: *mut f64,
    error: *mut WaError,
) -> i32 {
    let job = || Ok(turns::ackermann_inner_deg(outer_deg, axis_distance_mm, wheelbase_mm)?);
    // SAFETY: the caller's promises are handed on.
    unsafe { give(error, ("inner_deg", inner_deg), job) }
}

/// Ackermann percentage by toe-out: 100·(inner - outer)/(ideal toe-out at the same inner angle). Wheels that
/// stay parallel give 0, the ideal 100, toe-in on turns less than 0. The other definition agrees at 0 and 100
/// alone.
///
/// inner_deg, outer_deg: 1 to 90°.
/// axis_distance_mm: of the steering axes at the ground, mm, above 0.
/// wheelbase_mm: mm, above 0.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_ANGLE_OUT_OF_RANGE; WA_LENGTH_OUT_OF_RANGE.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_ackermann_percent_by_toe_out(
    inner_deg: f64,
    outer_deg: f64,
    axis_distance_mm: f64,
    wheelbase_mm: f64,
    percent: *mut f64,
    error: *mut WaError,
) -> i32 {
    let job = || Ok(turns::ackermann_percent_by_toe_out(inner_deg, outer_deg, axis_distance_mm, wheelbase_mm)?);
    // SAFETY: the caller's promises are handed on.
    unsafe { give(error, ("percent", percent), job) }
}

/// Ackermann percentage by cotangents: 100·(cot outer - cot inner)/(axis distance/wheelbase). Wheels that
/// stay parallel give 0, the ideal 100, toe-in on turns less than 0. The other definition agrees at 0 and 100
/// alone.
///
/// inner_deg, outer_deg: 1 to 90°.
/// axis_distance_mm: of the steering axes at the ground, mm, above 0.
/// wheelbase_mm: mm, above 0.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_ANGLE_OUT_OF_RANGE; WA_LENGTH_OUT_OF_RANGE.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_ackermann_percent_by_cotangents(
    inner_deg: f64,
    outer_deg: f64,
    axis_distance_mm: f64,
    wheelbase_mm: f64,
    percent: *mut f64,
    error: *mut WaError,
) -> i32 {
    let job = || Ok(turns::ackermann_percent_by_cotangents(inner_deg, outer_deg, axis_distance_mm, wheelbase_mm)?);
    // SAFETY: the caller's promises are handed on.
    unsafe { give(error, ("percent", percent), job) }
}

/// Turning radius of the middle of the front axle in mm: wheelbase/sin(steer).
///
/// wheelbase_mm: mm, above 0.
/// steer_deg: the heading at the middle of the front axle, 0.1 to 90°.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_ANGLE_OUT_OF_RANGE; WA_LENGTH_OUT_OF_RANGE.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_turning_radius_mm(
    wheelbase_mm: f64,
    steer_deg: f64,
    turning_radius_mm: *mut f64,
    error: *mut WaError,
) -> i32 {
    let job = || Ok(turns::turning_radius_mm(wheelbase_mm, steer_deg)?);
    // SAFETY: the caller's promises are handed on.
    unsafe { give(error, ("turning_radius_mm", turning_radius_mm), job) }
}
