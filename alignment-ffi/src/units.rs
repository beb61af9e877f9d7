//! Angles: degrees, radians, degrees and minutes of arc.

use crate::error::WaError;
use crate::memory::{give, in_place};
use alignment_core::units::{self, DegreesMinutes};

/// An angle as workshop manuals print it: -0°12′ has no negative whole degree, so the sign stands apart.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaDegreesMinutes {
    /// 1 below zero, else 0; to the library anything but 0 is below zero.
    pub negative: i32,
    /// Whole degrees, without sign.
    pub degrees: f64,
    /// Minutes of arc, 0 to 59.
    pub minutes: f64,
}

impl From<DegreesMinutes> for WaDegreesMinutes {
    fn from(DegreesMinutes { negative, degrees, minutes }: DegreesMinutes) -> Self {
        Self { negative: i32::from(negative), degrees, minutes }
    }
}

impl From<WaDegreesMinutes> for DegreesMinutes {
    fn from(WaDegreesMinutes { negative, degrees, minutes }: WaDegreesMinutes) -> Self {
        Self { negative: negative != 0, degrees, minutes }
    }
}

/// An angle in degrees, from radians. NaN in gives NaN out.
///
/// Returns WA_SUCCESS.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_deg_from_rad(angle_rad: f64, angle_deg: *mut f64, error: *mut WaError) -> i32 {
    let job = || Ok(units::deg_from_rad(angle_rad));
    // SAFETY: the caller's promises are handed on.
    unsafe { give(error, ("angle_deg", angle_deg), job) }
}

/// An angle in radians, from degrees. NaN in gives NaN out.
///
/// Returns WA_SUCCESS.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_rad_from_deg(angle_deg: f64, angle_rad: *mut f64, error: *mut WaError) -> i32 {
    let job = || Ok(units::rad_from_deg(angle_deg));
    // SAFETY: the caller's promises are handed on.
    unsafe { give(error, ("angle_rad", angle_rad), job) }
}

/// An angle in degrees as sign, whole degrees and whole minutes (1° = 60′), rounded to the nearest minute.
/// NaN in gives NaN out.
///
/// Returns WA_SUCCESS.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_degrees_minutes_from_deg(
    angle_deg: f64,
    angle: *mut WaDegreesMinutes,
    error: *mut WaError,
) -> i32 {
    let job = || Ok(units::degrees_minutes_from_deg(angle_deg).into());
    // SAFETY: the caller's promises are handed on.
    unsafe { give(error, ("angle", angle), job) }
}

/// An angle in degrees, from sign, degrees and minutes: ± (degrees + minutes/60). Neither number need be
/// whole.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_ANGLE_OUT_OF_RANGE for degrees outside 0 to 360, or minutes outside
/// 0 to 60, which are told in degrees.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_deg_from_degrees_minutes(
    angle: *const WaDegreesMinutes,
    angle_deg: *mut f64,
    error: *mut WaError,
) -> i32 {
    // SAFETY: the caller's promises are handed on.
    let job = || unsafe { Ok(units::deg_from_degrees_minutes((*in_place("angle", angle)?).into())?) };
    // SAFETY: as before.
    unsafe { give(error, ("angle_deg", angle_deg), job) }
}
