//! The steering axis: caster, SAI, and both seen from the body.

use crate::error::{WaError, guard};
use crate::layout::{by_wheel, side_of};
use crate::memory::{Place, give, numbers};
use alignment_core::steering;

/// Caster in degrees, positive with the top of the axis rearward: atan2(-k_x, k_z), for the axis k.
///
/// axis_direction: unit vector upward, x forward, y left, z up.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_NOT_UNIT_LENGTH.
///
/// cbindgen:ptrs-as-arrays=[[axis_direction; 3]]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_caster_deg(axis_direction: *const f64, caster_deg: *mut f64, error: *mut WaError) -> i32 {
    // SAFETY: the caller's promises are handed on.
    let job = || unsafe { Ok(steering::caster_deg(numbers("axis_direction", axis_direction)?)?) };
    // SAFETY: as before.
    unsafe { give(error, ("caster_deg", caster_deg), job) }
}

/// Steering-axis inclination in degrees, positive with the top inboard: atan2(-s·k_y, k_z), for the axis k, s
/// = +1 on the left and -1 on the right.
///
/// side: WA_SIDE_...
/// axis_direction: unit vector upward, x forward, y left, z up.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_NOT_UNIT_LENGTH.
///
/// cbindgen:ptrs-as-arrays=[[axis_direction; 3]]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_sai_deg(
    side: i32,
    axis_direction: *const f64,
    sai_deg: *mut f64,
    error: *mut WaError,
) -> i32 {
    // SAFETY: the caller's promises are handed on.
    let job = || unsafe { Ok(steering::sai_deg(side_of(side)?, numbers("axis_direction", axis_direction)?)?) };
    // SAFETY: as before.
    unsafe { give(error, ("sai_deg", sai_deg), job) }
}

/// The unit vector up the steering axis, x forward, y left, z up, from its two projected angles: (-tan
/// caster, -s·tan SAI, 1) made unit, s = +1 on the left and -1 on the right.
///
/// side: WA_SIDE_...
/// caster_deg, sai_deg: within ± 80°.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_ANGLE_OUT_OF_RANGE.
///
/// cbindgen:ptrs-as-arrays=[[axis_direction; 3]]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_axis_direction(
    side: i32,
    caster_deg: f64,
    sai_deg: f64,
    axis_direction: *mut f64,
    error: *mut WaError,
) -> i32 {
    let job = || Ok(steering::axis_direction(side_of(side)?, caster_deg, sai_deg)?);
    // SAFETY: the caller's promises are handed on.
    unsafe { give(error, ("axis_direction", axis_direction.cast::<[f64; 3]>()), job) }
}

/// A steering axis seen from the body instead of the ground: turned back by the pitch of the body, then by
/// its roll, as wa_body_attitude_deg gives them. Pitch adds exactly to caster, and changes SAI as well.
///
/// axis_direction: unit vector upward, x forward, y left, z up.
/// pitch_deg: positive nose down, within ± 45°.
/// roll_deg: positive left side up, within ± 45°.
/// axis_to_body: unit vector.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_NOT_UNIT_LENGTH; WA_ANGLE_OUT_OF_RANGE.
///
/// cbindgen:ptrs-as-arrays=[[axis_direction; 3], [axis_to_body; 3]]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_axis_to_body(
    axis_direction: *const f64,
    pitch_deg: f64,
    roll_deg: f64,
    axis_to_body: *mut f64,
    error: *mut WaError,
) -> i32 {
    // SAFETY: the caller's promises are handed on.
    let job =
        || unsafe { Ok(steering::axis_to_body(numbers("axis_direction", axis_direction)?, pitch_deg, roll_deg)?) };
    // SAFETY: as before.
    unsafe { give(error, ("axis_to_body", axis_to_body.cast::<[f64; 3]>()), job) }
}

/// Pitch and roll of the body from its ride heights, degrees: pitch = atan((rear - front)/wheelbase), positive nose
/// down; roll = atan((left - right)/track), positive left side up; each height the mean of its two wheels.
///
/// ride_height_mm: fl, fr, rl, rr, -2000 to 5000 mm.
/// wheelbase_mm: 500 to 12000 mm.
/// track_mm: 300 to 4000 mm.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_LENGTH_OUT_OF_RANGE.
///
/// cbindgen:ptrs-as-arrays=[[ride_height_mm; 4]]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_body_attitude_deg(
    ride_height_mm: *const f64,
    wheelbase_mm: f64,
    track_mm: f64,
    pitch_deg: *mut f64,
    roll_deg: *mut f64,
    error: *mut WaError,
) -> i32 {
    let job = || {
        // SAFETY: the caller's promises are handed on.
        let (heights, pitch, roll) = unsafe {
            let heights = numbers("ride_height_mm", ride_height_mm)?;
            (heights, Place::new("pitch_deg", pitch_deg)?, Place::new("roll_deg", roll_deg)?)
        };
        let (pitch_deg, roll_deg) = steering::body_attitude_deg(&by_wheel(heights), wheelbase_mm, track_mm)?;
        pitch.write(pitch_deg);
        roll.write(roll_deg);
        Ok(())
    };
    // SAFETY: the caller's promise about `error` is handed on.
    unsafe { guard(error, job) }
}
