//! Hints: parts that may be bent or shifted, from readings that do not go together.

use crate::alignment::WaAlignment;
use crate::conformity::specification;
use crate::error::WaError;
use crate::memory::{ResultBuffer, StatesSize, fill_in, guard_text, list, read, to_json};
use alignment_core::diagnosis::{NormalTolerances, diagnose};
use std::ffi::c_char;

/// The knuckle, the spindle or the strut of a front wheel is bent.
pub const WA_CAUSE_BENT_KNUCKLE: i32 = 1;
/// A pivot of a front knuckle stands elsewhere: the strut tower, the control arm or its mount has moved.
pub const WA_CAUSE_SHIFTED_PIVOT: i32 = 2;
/// The front subframe stands elsewhere: sideways, lengthwise or turned.
pub const WA_CAUSE_SHIFTED_SUBFRAME: i32 = 3;
/// A front wheel is pushed back: its lower arm, strut rod or their mount has moved.
pub const WA_CAUSE_PUSHED_BACK_WHEEL: i32 = 4;
/// A steering arm is bent.
pub const WA_CAUSE_BENT_STEERING_ARM: i32 = 5;
/// The stub axle, knuckle or arm of a rear wheel is bent.
pub const WA_CAUSE_BENT_REAR_STUB_AXLE: i32 = 6;
/// The rear axle stands elsewhere: sideways or turned.
pub const WA_CAUSE_SHIFTED_REAR_AXLE: i32 = 7;

/// How much readings of sound cars differ from side to side, by common practice. Set size, then call
/// wa_normal_tolerances_default. Where the vehicle maker gives figures, these come first.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaNormalTolerances {
    /// Set by the caller: sizeof(wa_normal_tolerances).
    pub size: usize,
    /// Camber, left against right, of either axle, degrees; by default 0.5.
    pub camber_deg: f64,
    /// SAI, left against right, degrees; by default 0.5.
    pub sai_deg: f64,
    /// Included angle, left against right, degrees; by default 0.5.
    pub included_angle_deg: f64,
    /// Caster, left against right, degrees; by default 0.5.
    pub caster_deg: f64,
    /// Setback of either axle, and the difference of the wheelbases, mm; by default 6.
    pub setback_mm: f64,
    /// Axle offset, mm; by default 12.
    pub axle_offset_mm: f64,
    /// Thrust angle, degrees; by default 0.25.
    pub thrust_angle_deg: f64,
    /// Toe-out on turns, left turn against right turn, degrees; by default 0.5.
    pub toe_out_on_turns_deg: f64,
    /// By how many standard uncertainties a deviation must exceed its tolerance to stand out, 0 to 100; by default 2.
    pub coverage_factor: f64,
}

// SAFETY: repr(C), begins with a usize, and numbers are all it has.
unsafe impl StatesSize for WaNormalTolerances {}

/// Fills in a struct, but for its size, with the defaults.
///
/// Returns WA_SUCCESS; WA_NULL_POINTER; WA_MISALIGNED; WA_BAD_STRUCT_SIZE.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_normal_tolerances_default(tolerances: *mut WaNormalTolerances) -> i32 {
    let NormalTolerances {
        camber_deg,
        sai_deg,
        included_angle_deg,
        caster_deg,
        setback_mm,
        axle_offset_mm,
        thrust_angle_deg,
        toe_out_on_turns_deg,
        coverage_factor,
    } = NormalTolerances::default();
    let default = WaNormalTolerances {
        size: 0,
        camber_deg,
        sai_deg,
        included_angle_deg,
        caster_deg,
        setback_mm,
        axle_offset_mm,
        thrust_angle_deg,
        toe_out_on_turns_deg,
        coverage_factor,
    };
    // SAFETY: the caller's promise is handed on.
    unsafe { fill_in("tolerances", tolerances, default) }
}

/// What the readings of a car hint at: parts that may be bent or shifted, never a verdict. What is absent gives no hint, and no
/// hint is no proof that the car is sound.
///
/// A hint says where to look. Whether a part is replaced is for the vehicle maker's procedure, local codes and licensed practice.
///
/// readings: such as those of wa_measurement, in degrees and mm.
/// covariance: of all readings, covariance_count doubles as wa_uncertainty_covariance_matrix gives them; without any (a count of
///     0, and NULL if you like) the readings are taken for exact.
/// specification_json: specification_length bytes, format "alignment-specification/1": what to aim at, and so which side is off.
///     NULL with a length of 0 for none: then the car is compared with itself.
/// tolerances: what is normal; NULL for the defaults.
///
/// The result is [{"cause": "bent_knuckle", "number": 1, "wheel": "fl", "evidence": [{"path": ..., "unit": ..., "value": ...,
/// "compared_with": ..., "expected": ..., "deviation": ..., "tolerance": ..., "standard_uncertainty": ..., "stands_out": ...}],
/// "other_causes": [...], "message": ...}]. "number" is WA_CAUSE_...; "wheel" is null where the readings do not tell the side.
///
/// Returns WA_SUCCESS; WA_BUFFER_TOO_SMALL; WA_NOT_FINITE; WA_OUT_OF_RANGE; WA_NOT_A_COVARIANCE; WA_NOT_A_SPECIFICATION;
/// WA_UNKNOWN_READING; WA_NOT_UTF8; WA_LENGTH_OUT_OF_RANGE.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_diagnose_json(
    readings: *const WaAlignment,
    covariance: *const f64,
    covariance_count: usize,
    specification_json: *const c_char,
    specification_length: usize,
    tolerances: *const WaNormalTolerances,
    result_json: *mut c_char,
    result_capacity: usize,
    result_length: *mut usize,
    error: *mut WaError,
) -> i32 {
    let result = ResultBuffer { json: result_json, capacity: result_capacity, length: result_length };
    // SAFETY: the caller's promises are handed on.
    let job = || unsafe {
        let readings = read("readings", readings)?.into();
        let covariance = list("covariance", covariance, covariance_count)?;
        let specification = if specification_json.is_null() && specification_length == 0 {
            None
        } else {
            Some(specification(specification_json, specification_length)?)
        };
        let tolerances = if tolerances.is_null() {
            NormalTolerances::default()
        } else {
            read("tolerances", tolerances).copied()?.into()
        };
        let covariance = (!covariance.is_empty()).then_some(covariance);
        to_json(&diagnose(&readings, covariance, specification.as_ref(), &tolerances)?)
    };
    // SAFETY: as before.
    unsafe { guard_text(result, error, job) }
}

impl From<WaNormalTolerances> for NormalTolerances {
    fn from(given: WaNormalTolerances) -> Self {
        let WaNormalTolerances {
            size: _,
            camber_deg,
            sai_deg,
            included_angle_deg,
            caster_deg,
            setback_mm,
            axle_offset_mm,
            thrust_angle_deg,
            toe_out_on_turns_deg,
            coverage_factor,
        } = given;
        Self {
            camber_deg,
            sai_deg,
            included_angle_deg,
            caster_deg,
            setback_mm,
            axle_offset_mm,
            thrust_angle_deg,
            toe_out_on_turns_deg,
            coverage_factor,
        }
    }
}
