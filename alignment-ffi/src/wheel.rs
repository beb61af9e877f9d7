//! One wheel: camber, toe, contact centre; toe and side slip as lengths.

use crate::error::WaError;
use crate::layout::side_of;
use crate::memory::{give, numbers};
use alignment_core::wheel;

/// Camber in degrees, positive with the top outward: -asin(a_z) of the outward spindle a, in [-90°, 90°].
///
/// spindle: unit vector outward, x forward, y left, z up.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_NOT_UNIT_LENGTH.
///
/// cbindgen:ptrs-as-arrays=[[spindle; 3]]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_camber_deg(spindle: *const f64, camber_deg: *mut f64, error: *mut WaError) -> i32 {
    // SAFETY: the caller's promises are handed on.
    let job = || unsafe { Ok(wheel::camber_deg(numbers("spindle", spindle)?)?) };
    // SAFETY: as before.
    unsafe { give(error, ("camber_deg", camber_deg), job) }
}

/// Toe in degrees, positive toe-in: atan2(a_x, s·a_y) of the outward spindle a, s = +1 on the left and -1 on
/// the right, in (-180°, 180°]: the horizontal trace of the wheel plane, of a cambered wheel too.
///
/// side: WA_SIDE_...
/// spindle: unit vector outward, x forward, y left, z up.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_NOT_UNIT_LENGTH; WA_SPINDLE_NOT_LATERAL for a vertical spindle.
///
/// cbindgen:ptrs-as-arrays=[[spindle; 3]]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_toe_deg(side: i32, spindle: *const f64, toe_deg: *mut f64, error: *mut WaError) -> i32 {
    // SAFETY: the caller's promises are handed on.
    let job = || unsafe { Ok(wheel::toe_deg(side_of(side)?, numbers("spindle", spindle)?)?) };
    // SAFETY: as before.
    unsafe { give(error, ("toe_deg", toe_deg), job) }
}

/// Contact centre in mm, x forward, y left, z up: from the wheel centre by the loaded radius along the
/// steepest descent in the wheel plane, -(z - a_z·a)/|z - a_z·a|, with the outward spindle a.
///
/// centre_mm: wheel centre, mm.
/// spindle: unit vector outward.
/// loaded_radius_mm: 50 to 1500 mm.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_NOT_UNIT_LENGTH; WA_LENGTH_OUT_OF_RANGE; WA_SPINDLE_NOT_LATERAL for
/// a vertical spindle, whose wheel plane has no descent.
///
/// cbindgen:ptrs-as-arrays=[[centre_mm; 3], [spindle; 3], [contact_centre_mm; 3]]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_contact_centre_mm(
    centre_mm: *const f64,
    spindle: *const f64,
    loaded_radius_mm: f64,
    contact_centre_mm: *mut f64,
    error: *mut WaError,
) -> i32 {
    // SAFETY: the caller's promises are handed on.
    let job = || unsafe {
        Ok(wheel::contact_centre_mm(numbers("centre_mm", centre_mm)?, numbers("spindle", spindle)?, loaded_radius_mm)?)
    };
    // SAFETY: as before.
    unsafe { give(error, ("contact_centre_mm", contact_centre_mm.cast::<[f64; 3]>()), job) }
}

/// Toe as a length in mm, positive toe-in: D·tan(toe), at the reference diameter D. Always state D: some
/// manuals mean the rim flange, some the nominal rim, some the tyre. For total toe, add the lengths of both
/// wheels.
///
/// toe_deg: within ± 45°.
/// reference_diameter_mm: 100 to 3000 mm.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_ANGLE_OUT_OF_RANGE; WA_LENGTH_OUT_OF_RANGE.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_toe_length_mm(
    toe_deg: f64,
    reference_diameter_mm: f64,
    toe_length_mm: *mut f64,
    error: *mut WaError,
) -> i32 {
    let job = || Ok(wheel::toe_length_mm(toe_deg, reference_diameter_mm)?);
    // SAFETY: the caller's promises are handed on.
    unsafe { give(error, ("toe_length_mm", toe_length_mm), job) }
}

/// Toe in degrees, positive toe-in, from its length at the reference diameter D: atan(length/D).
///
/// toe_length_mm: within ± D.
/// reference_diameter_mm: 100 to 3000 mm.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_LENGTH_OUT_OF_RANGE.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_toe_from_length_deg(
    toe_length_mm: f64,
    reference_diameter_mm: f64,
    toe_deg: *mut f64,
    error: *mut WaError,
) -> i32 {
    let job = || Ok(wheel::toe_from_length_deg(toe_length_mm, reference_diameter_mm)?);
    // SAFETY: the caller's promises are handed on.
    unsafe { give(error, ("toe_deg", toe_deg), job) }
}

/// Side slip in mm per m of travel, of the sign of the angle: 1000·tan(angle).
///
/// angle_deg: within ± 45°.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_ANGLE_OUT_OF_RANGE.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_side_slip_mm_per_m(
    angle_deg: f64,
    side_slip_mm_per_m: *mut f64,
    error: *mut WaError,
) -> i32 {
    let job = || Ok(wheel::side_slip_mm_per_m(angle_deg)?);
    // SAFETY: the caller's promises are handed on.
    unsafe { give(error, ("side_slip_mm_per_m", side_slip_mm_per_m), job) }
}

/// The angle in degrees, of the sign of the side slip: atan(side slip/1000).
///
/// side_slip_mm_per_m: mm per m of travel, within ± 1000.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_LENGTH_OUT_OF_RANGE.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_angle_from_side_slip_deg(
    side_slip_mm_per_m: f64,
    angle_deg: *mut f64,
    error: *mut WaError,
) -> i32 {
    let job = || Ok(wheel::angle_from_side_slip_deg(side_slip_mm_per_m)?);
    // SAFETY: the caller's promises are handed on.
    unsafe { give(error, ("angle_deg", angle_deg), job) }
}
