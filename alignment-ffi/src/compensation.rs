//! Where each wheel sits in the target clamped to it.

use crate::error::{Failure, WaError, guard};
use crate::layout::{by_axle, by_wheel, in_array, side_of};
use crate::memory::{StatesSize, Target, WaOptional, choice, elements, give, numbers, optional, read};
use crate::pose::{WaPose, as_poses};
use crate::session::{WaStation, stations};
use alignment_core::ByWheel;
use alignment_core::compensation::{self, ClampCompensation, Compensation};
use alignment_core::error::{Stage, Warning};
use alignment_core::session::RollingBody;
use std::mem::{MaybeUninit, align_of, offset_of, size_of, transmute};

/// Where a wheel sits in the target clamped to it.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaCompensation {
    /// The spindle, unit vector outward, in the frame of the target.
    pub spindle_in_target: [f64; 3],
    /// The wheel centre in the frame of the target, mm.
    pub centre_in_target_mm: [f64; 3],
    /// Runout of the clamp, degrees: the angle between the spindle and the nearest axis of the target. It says nothing
    /// about the wheel.
    pub runout_deg: f64,
    /// Travel of the wheel centre over roll angle, mm. Absent when the wheel was spun instead of rolled.
    pub rolling_radius_mm: WaOptional,
    /// Roll angle between the extreme stations, degrees.
    pub roll_range_deg: f64,
}

// The compensations of the caller are read where they are: the core's has the same members at the same places, and of an optional
// number it has 1 or 0, and then the number. Rust does not promise the latter, so a compiler that had it otherwise stops here.
const _: () = {
    assert!(size_of::<WaCompensation>() == size_of::<Compensation>());
    assert!(align_of::<WaCompensation>() == align_of::<Compensation>());
    assert!(offset_of!(WaCompensation, spindle_in_target) == offset_of!(Compensation, spindle_in_target));
    assert!(offset_of!(WaCompensation, centre_in_target_mm) == offset_of!(Compensation, centre_in_target_mm));
    assert!(offset_of!(WaCompensation, runout_deg) == offset_of!(Compensation, runout_deg));
    assert!(offset_of!(WaCompensation, rolling_radius_mm) == offset_of!(Compensation, rolling_radius_mm));
    assert!(offset_of!(WaCompensation, roll_range_deg) == offset_of!(Compensation, roll_range_deg));
    assert!(size_of::<WaOptional>() == size_of::<Option<f64>>());
    assert!(offset_of!(WaOptional, present) == 0);
    // SAFETY: as many bytes; what is read of them is set: all of a number, of none the word that says so.
    unsafe {
        let [present, value]: [MaybeUninit<u64>; 2] = transmute(Some(1.5_f64));
        assert!(present.assume_init() == 1 && value.assume_init() == 1.5_f64.to_bits());
        let [present, _]: [MaybeUninit<u64>; 2] = transmute(None::<f64>);
        assert!(present.assume_init() == 0);
    }
};

/// The compensations of the caller as those of the core; refused when an optional number neither is nor is not.
#[inline]
pub(crate) fn as_compensations(of: &[WaCompensation; 4]) -> Result<&ByWheel<Compensation>, Failure> {
    let [fl, fr, rl, rr] = of;
    let both = |a: &WaCompensation, b: &WaCompensation| a.rolling_radius_mm.present | b.rolling_radius_mm.present;
    if (both(fl, fr) | both(rl, rr)) & !1 != 0 {
        let other = of.iter().map(|wheel| wheel.rolling_radius_mm.present).find(|present| present & !1 != 0);
        #[expect(clippy::cast_precision_loss, reason = "it is neither 0 nor 1, however it rounds")]
        let other = other.unwrap_or_default() as f64;
        return Err(Failure::out_of_range("rolling_radius_mm.present", other, 0.0, Some(1.0)));
    }
    // SAFETY: as many of the same layout, as asserted above and in `pose`, and the optional numbers are valid.
    Ok(unsafe { &*(&raw const *of).cast() })
}

impl From<Compensation> for WaCompensation {
    fn from(of: Compensation) -> Self {
        let Compensation { spindle_in_target, centre_in_target_mm, runout_deg, rolling_radius_mm, roll_range_deg } = of;
        let rolling_radius_mm = rolling_radius_mm.into();
        Self { spindle_in_target, centre_in_target_mm, runout_deg, rolling_radius_mm, roll_range_deg }
    }
}

/// The compensation of the wheels.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaClampCompensation {
    /// Set by the caller: sizeof(wa_clamp_compensation).
    pub size: usize,
    /// Of fl, fr, rl, rr. NaN where the wheel was not seen often enough.
    pub wheels: [WaCompensation; 4],
    /// Whether each wheel has one: 1 or 0.
    pub present: [i32; 4],
    /// What is weak in it: WA_WARNING_... bits.
    pub warnings: u32,
    /// The direction in which the car travelled as it rolled forward: unit vector, horizontal, in the rig. NaN when the
    /// wheels were spun.
    pub travel_direction_in_rig: [f64; 3],
}

// SAFETY: repr(C), begins with a usize, and numbers are all it has.
unsafe impl StatesSize for WaClampCompensation {}

const ABSENT: WaCompensation = WaCompensation {
    spindle_in_target: [f64::NAN; 3],
    centre_in_target_mm: [f64::NAN; 3],
    runout_deg: f64::NAN,
    rolling_radius_mm: WaOptional { value: f64::NAN, present: 0 },
    roll_range_deg: f64::NAN,
};

impl From<ClampCompensation> for WaClampCompensation {
    fn from(of: ClampCompensation) -> Self {
        let wheels = in_array(of.wheels);
        Self {
            size: 0,
            wheels: wheels.map(|wheel| wheel.map_or(ABSENT, WaCompensation::from)),
            present: wheels.map(|wheel| i32::from(wheel.is_some())),
            warnings: bits(&of.warnings),
            travel_direction_in_rig: of.travel_direction_in_rig.unwrap_or([f64::NAN; 3]),
        }
    }
}

/// The codes of warnings as a set.
pub(crate) fn bits(warnings: &[Warning]) -> u32 {
    warnings.iter().fold(0, |bits, warning| bits | warning.code.bit())
}

/// The body goes straight while the car is rolled: it moves along one direction and does not turn.
pub const WA_ROLLING_BODY_TRANSLATES: i32 = 0;
/// The body may turn as well: the car does not run quite straight.
pub const WA_ROLLING_BODY_TURNS: i32 = 1;

pub(crate) fn rolling_body_of(name: &'static str, body: i32) -> Result<RollingBody, Failure> {
    choice(name, body, [RollingBody::Translates, RollingBody::Turns])
}

/// Compensates the clamps from stations at which the car was rolled without slip, in any order.
///
/// rolling: rolling_count stations, at most 10000. Their poses are in the frame of the rig.
/// up: unit vector upward in the rig.
/// clamp_standoff_mm: of fl, fr, rl, rr: from the wheel's centre plane outward along the spindle to the origin of the target,
///     -1000 to 1000 mm.
/// loaded_radius_mm: of the front and of the rear axle, 50 to 1500 mm; stands in for the rolling radius where no wheel was seen
///     at three stations. NULL for neither.
/// body: WA_ROLLING_BODY_...
/// clamp_compensation: struct of the caller whose size is set. A wheel that was not seen often enough is absent there, with
///     a warning.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_NOT_A_ROTATION; WA_REFLECTION; WA_LENGTH_OUT_OF_RANGE; WA_NOT_UNIT_LENGTH;
/// WA_TOO_FEW_STATIONS; WA_ROLL_TOO_SMALL below 10°; WA_ROLL_FULL_TURN; WA_SPINDLE_NOT_LATERAL; WA_UP_INVERTED;
/// WA_SIDES_SWAPPED; WA_MIRRORED; WA_NOT_STILL; WA_TOO_MANY; WA_OUT_OF_RANGE for a body that is none.
///
/// cbindgen:ptrs-as-arrays=[[up; 3], [clamp_standoff_mm; 4], [loaded_radius_mm; 2]]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_from_rolling(
    rolling: *const WaStation,
    rolling_count: usize,
    up: *const f64,
    clamp_standoff_mm: *const f64,
    loaded_radius_mm: *const WaOptional,
    body: i32,
    clamp_compensation: *mut WaClampCompensation,
    error: *mut WaError,
) -> i32 {
    let job = || {
        // SAFETY: the caller's promises are handed on.
        let (rolling, up, standoffs, radii, target) = unsafe {
            let radii = optional("loaded_radius_mm", loaded_radius_mm.cast::<[WaOptional; 2]>())?;
            let (up, standoffs) = (numbers("up", up)?, numbers("clamp_standoff_mm", clamp_standoff_mm)?);
            let target = Target::new("clamp_compensation", clamp_compensation)?;
            (stations(Stage::Rolling, rolling, rolling_count)?, up, standoffs, radii, target)
        };
        let radii = by_axle(radii.map_or([None; 2], |radii| radii.map(WaOptional::get)));
        let body = rolling_body_of("body", body)?;
        target.write(compensation::from_rolling(&rolling, up, &by_wheel(standoffs), &radii, body)?.into());
        Ok(())
    };
    // SAFETY: the caller's promise about `error` is handed on.
    unsafe { guard(error, job) }
}

/// Compensates the clamps from stations at which the car was raised and its wheels were spun, one after the other, in
/// any order. There is no travel, hence no rolling radius.
///
/// Lift and secure the car as its maker says, and keep clear of wheels that turn.
///
/// spinning: spinning_count stations, at most 10000, each with the wheel that is spun; others may be seen too if the body stands
///     still. Their poses are in the frame of the rig.
/// up: unit vector upward in the rig.
/// clamp_standoff_mm: of fl, fr, rl, rr: from the wheel's centre plane outward along the spindle to the origin of the target,
///     -1000 to 1000 mm.
/// clamp_compensation: struct of the caller whose size is set.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_NOT_A_ROTATION; WA_REFLECTION; WA_LENGTH_OUT_OF_RANGE; WA_NOT_UNIT_LENGTH;
/// WA_TOO_FEW_STATIONS; WA_ROLL_TOO_SMALL below 10°; WA_SPINDLE_NOT_LATERAL; WA_NOT_STILL; WA_TOO_MANY.
///
/// cbindgen:ptrs-as-arrays=[[up; 3], [clamp_standoff_mm; 4]]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_from_spinning(
    spinning: *const WaStation,
    spinning_count: usize,
    up: *const f64,
    clamp_standoff_mm: *const f64,
    clamp_compensation: *mut WaClampCompensation,
    error: *mut WaError,
) -> i32 {
    let job = || {
        // SAFETY: the caller's promises are handed on.
        let (spinning, up, standoffs, target) = unsafe {
            let (up, standoffs) = (numbers("up", up)?, numbers("clamp_standoff_mm", clamp_standoff_mm)?);
            let target = Target::new("clamp_compensation", clamp_compensation)?;
            (stations(Stage::Rolling, spinning, spinning_count)?, up, standoffs, target)
        };
        target.write(compensation::from_spinning(&spinning, up, &by_wheel(standoffs))?.into());
        Ok(())
    };
    // SAFETY: the caller's promise about `error` is handed on.
    unsafe { guard(error, job) }
}

/// Compensates the clamp of one wheel alone that was rolled without slip. Outward cannot be told from one wheel: side
/// and an approximate forward say it.
///
/// poses: poses_count poses of its target in the frame of the rig, in any order.
/// side: WA_SIDE_...
/// forward: unit vector in the rig, roughly, at most 60° from level.
/// up: unit vector upward in the rig.
/// clamp_standoff_mm: from the wheel's centre plane outward along the spindle to the origin of the target, -1000 to 1000 mm.
/// loaded_radius_mm: 50 to 1500 mm; stands in for the rolling radius when there are two distinct stations only. NULL when it is
///     not known.
///
/// Returns what wa_from_rolling returns; WA_ANGLE_OUT_OF_RANGE for forward.
///
/// cbindgen:ptrs-as-arrays=[[forward; 3], [up; 3]]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_wheel_from_rolling(
    poses: *const WaPose,
    poses_count: usize,
    side: i32,
    forward: *const f64,
    up: *const f64,
    clamp_standoff_mm: f64,
    loaded_radius_mm: *const f64,
    compensation: *mut WaCompensation,
    error: *mut WaError,
) -> i32 {
    let job = || {
        // SAFETY: the caller's promises are handed on.
        let (poses, forward, up, radius) = unsafe {
            let radius = optional("loaded_radius_mm", loaded_radius_mm)?.copied();
            (elements("poses", poses, poses_count)?, numbers("forward", forward)?, numbers("up", up)?, radius)
        };
        let (poses, side) = (as_poses(poses), side_of(side)?);
        Ok(compensation::wheel_from_rolling(poses, side, forward, up, clamp_standoff_mm, radius)?.into())
    };
    // SAFETY: the caller's promises are handed on.
    unsafe { give(error, ("compensation", compensation), job) }
}

/// Compensates the clamp of one wheel alone that was spun with the car raised. Outward cannot be told from one wheel:
/// side and an approximate forward say it.
///
/// Lift and secure the car as its maker says, and keep clear of wheels that turn.
///
/// poses: poses_count poses of its target in the frame of the rig, in any order.
/// side: WA_SIDE_...
/// forward: unit vector in the rig, roughly, at most 60° from level.
/// up: unit vector upward in the rig.
/// clamp_standoff_mm: from the wheel's centre plane outward along the spindle to the origin of the target, -1000 to 1000 mm.
///
/// Returns what wa_from_spinning returns; WA_ANGLE_OUT_OF_RANGE for forward.
///
/// cbindgen:ptrs-as-arrays=[[forward; 3], [up; 3]]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_wheel_from_spinning(
    poses: *const WaPose,
    poses_count: usize,
    side: i32,
    forward: *const f64,
    up: *const f64,
    clamp_standoff_mm: f64,
    compensation: *mut WaCompensation,
    error: *mut WaError,
) -> i32 {
    let job = || {
        // SAFETY: the caller's promises are handed on.
        let (poses, forward, up) =
            unsafe { (elements("poses", poses, poses_count)?, numbers("forward", forward)?, numbers("up", up)?) };
        let (poses, side) = (as_poses(poses), side_of(side)?);
        Ok(compensation::wheel_from_spinning(poses, side, forward, up, clamp_standoff_mm)?.into())
    };
    // SAFETY: the caller's promises are handed on.
    unsafe { give(error, ("compensation", compensation), job) }
}

/// The compensation of all four wheels, as wa_ahead_readings takes it.
///
/// compensation: of fl, fr, rl, rr.
///
/// Returns WA_SUCCESS; WA_WHEEL_NOT_SEEN for the first wheel that has none; WA_OUT_OF_RANGE for a rolling_radius_mm whose present
/// is neither 0 nor 1.
///
/// cbindgen:ptrs-as-arrays=[[compensation; 4]]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_clamp_compensation_all_wheels(
    clamp_compensation: *const WaClampCompensation,
    compensation: *mut WaCompensation,
    error: *mut WaError,
) -> i32 {
    let job = || {
        // SAFETY: the caller's promise is handed on.
        let WaClampCompensation { wheels, present, .. } = unsafe { read("clamp_compensation", clamp_compensation)? };
        let compensations = as_compensations(wheels)?;
        let known = ClampCompensation {
            wheels: ByWheel::from_fn(|wheel| (present[wheel as usize] != 0).then_some(*compensations.get(wheel))),
            travel_direction_in_rig: None,
            residuals: Vec::new(),
            warnings: Vec::new(),
        };
        Ok(in_array(known.all_wheels()?).map(WaCompensation::from))
    };
    // SAFETY: the caller's promises are handed on; an array is aligned as its elements are.
    unsafe { give(error, ("compensation", compensation.cast::<[WaCompensation; 4]>()), job) }
}
