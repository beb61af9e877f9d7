//! What is read by hand: caster and SAI from a camber or inclination gauge.

use crate::error::{Failure, WaError};
use crate::layout::side_of;
use crate::memory::{give, in_place};
use alignment_core::gauge::{self, AxisAngles, GaugePosition, PitchPosition};

/// One reading of a camber gauge.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaGaugePosition {
    /// Yaw of the wheel, degrees, positive to the left.
    pub yaw_deg: f64,
    /// Camber there, degrees, positive with the top outward.
    pub camber_deg: f64,
}

/// One reading of an inclination gauge on the hub of a locked wheel.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaPitchPosition {
    /// Azimuth of the hub's line, degrees, positive to the left.
    pub azimuth_deg: f64,
    /// Its pitch there, degrees, positive nose up.
    pub pitch_deg: f64,
}

/// Both projected angles of a steering axis.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaAxisAngles {
    /// Caster, degrees, positive with the top of the axis rearward.
    pub caster_deg: f64,
    /// SAI, degrees, positive with the top of the axis inboard.
    pub sai_deg: f64,
}

impl From<WaGaugePosition> for GaugePosition {
    fn from(WaGaugePosition { yaw_deg, camber_deg }: WaGaugePosition) -> Self {
        Self { yaw_deg, camber_deg }
    }
}

impl From<WaPitchPosition> for PitchPosition {
    fn from(WaPitchPosition { azimuth_deg, pitch_deg }: WaPitchPosition) -> Self {
        Self { azimuth_deg, pitch_deg }
    }
}

impl From<WaAxisAngles> for AxisAngles {
    fn from(WaAxisAngles { caster_deg, sai_deg }: WaAxisAngles) -> Self {
        Self { caster_deg, sai_deg }
    }
}

impl From<AxisAngles> for WaAxisAngles {
    fn from(AxisAngles { caster_deg, sai_deg }: AxisAngles) -> Self {
        Self { caster_deg, sai_deg }
    }
}

/// # Safety
/// As [`in_place`], for three.
unsafe fn positions_of<T: Copy, To: From<T>>(name: &'static str, positions: *const T) -> Result<[To; 3], Failure> {
    // SAFETY: the caller's promise is handed on; an array is aligned as its elements are.
    unsafe { in_place(name, positions.cast::<[T; 3]>()) }.map(|positions| positions.map(To::from))
}

/// The wheel's yaw in degrees, positive to the left, from a plate zeroed straight ahead: plate - s·toe, s =
/// +1 on the left and -1 on the right.
///
/// side: WA_SIDE_...
/// plate_deg: positive to the left, within ± 60°.
/// toe_deg: of this wheel to the centreline, straight ahead, positive toe-in, within ± 10°.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_ANGLE_OUT_OF_RANGE.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_yaw_from_plate_deg(
    side: i32,
    plate_deg: f64,
    toe_deg: f64,
    yaw_deg: *mut f64,
    error: *mut WaError,
) -> i32 {
    let job = || Ok(gauge::yaw_from_plate_deg(side_of(side)?, plate_deg, toe_deg)?);
    // SAFETY: the caller's promises are handed on.
    unsafe { give(error, ("yaw_deg", yaw_deg), job) }
}

/// Azimuth in degrees, positive to the left, of a line of the hub that lies in the wheel plane and pitches by
/// p: yaw + s·asin(tan p·tan camber).
///
/// side: WA_SIDE_...
/// wheel: yaw within ± 60°, camber within ± 45°.
/// pitch_deg: p, positive nose up, within ± 45°.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_ANGLE_OUT_OF_RANGE.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_hub_line_azimuth_deg(
    side: i32,
    wheel: *const WaGaugePosition,
    pitch_deg: f64,
    azimuth_deg: *mut f64,
    error: *mut WaError,
) -> i32 {
    // SAFETY: the caller's promises are handed on.
    let job =
        || unsafe { Ok(gauge::hub_line_azimuth_deg(side_of(side)?, (*in_place("wheel", wheel)?).into(), pitch_deg)?) };
    // SAFETY: as before.
    unsafe { give(error, ("azimuth_deg", azimuth_deg), job) }
}

/// Caster and SAI, exactly, from the camber at three positions of the wheel, in any order. For any two of
/// them, with yaw T, camber g: s·(cos g1·sin T1 - cos g2·sin T2)·tan caster - (cos g1·cos T1 - cos g2·cos
/// T2)·tan SAI = sin g1 - sin g2.
///
/// side: WA_SIDE_...
/// positions: yaw within ± 60°, camber within ± 45°.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_ANGLE_OUT_OF_RANGE; WA_SWEEP_TOO_SMALL for positions that are too
/// much alike.
///
/// cbindgen:ptrs-as-arrays=[[positions; 3]]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_axis_from_cambers(
    side: i32,
    positions: *const WaGaugePosition,
    axis: *mut WaAxisAngles,
    error: *mut WaError,
) -> i32 {
    // SAFETY: the caller's promises are handed on.
    let job = || unsafe { Ok(gauge::axis_from_cambers(side_of(side)?, positions_of("positions", positions)?)?.into()) };
    // SAFETY: as before.
    unsafe { give(error, ("axis", axis), job) }
}

/// Caster and SAI, exactly, from the pitch of the locked wheel's hub at three positions, in any order. For
/// any two of them, with azimuth T, pitch p: s·(cos p1·sin T1 - cos p2·sin T2)·tan SAI + (cos p1·cos T1 - cos
/// p2·cos T2)·tan caster = sin p1 - sin p2.
///
/// side: WA_SIDE_...
/// positions: azimuth within ± 60°, pitch within ± 45°.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_ANGLE_OUT_OF_RANGE; WA_SWEEP_TOO_SMALL for positions that are too
/// much alike.
///
/// cbindgen:ptrs-as-arrays=[[positions; 3]]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_axis_from_pitches(
    side: i32,
    positions: *const WaPitchPosition,
    axis: *mut WaAxisAngles,
    error: *mut WaError,
) -> i32 {
    // SAFETY: the caller's promises are handed on.
    let job = || unsafe { Ok(gauge::axis_from_pitches(side_of(side)?, positions_of("positions", positions)?)?.into()) };
    // SAFETY: as before.
    unsafe { give(error, ("axis", axis), job) }
}

/// Caster in degrees by the two-position rule, positive with the top rearward: tan caster = s·(sin g1 - sin
/// g2)/(2·sin T), with the camber g1 at the yaw +T, turned left, and g2 at -T, turned right. It leaves SAI
/// out: a few thousandths of a degree on a common car.
///
/// side: WA_SIDE_...
/// turn_deg: T, 5 to 60°.
/// camber_turned_left_deg, camber_turned_right_deg: within ± 45°.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_ANGLE_OUT_OF_RANGE; WA_SWEEP_TOO_SMALL.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_caster_by_two_positions_deg(
    side: i32,
    turn_deg: f64,
    camber_turned_left_deg: f64,
    camber_turned_right_deg: f64,
    caster_deg: *mut f64,
    error: *mut WaError,
) -> i32 {
    let job = || {
        Ok(gauge::caster_by_two_positions_deg(
            side_of(side)?,
            turn_deg,
            camber_turned_left_deg,
            camber_turned_right_deg,
        )?)
    };
    // SAFETY: the caller's promises are handed on.
    unsafe { give(error, ("caster_deg", caster_deg), job) }
}

/// Caster in degrees by the customary linear rule, positive with the top rearward: s·(g1 - g2)·1/(2·sin T),
/// with the camber g1 at the yaw +T, turned left, and g2 at -T, turned right. At 20° the factor is 1.4619.
/// 0.2 % too much at 4.3° of caster.
///
/// side: WA_SIDE_...
/// turn_deg: T, 5 to 60°.
/// camber_turned_left_deg, camber_turned_right_deg: within ± 45°.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_ANGLE_OUT_OF_RANGE; WA_SWEEP_TOO_SMALL.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_caster_by_linear_rule_deg(
    side: i32,
    turn_deg: f64,
    camber_turned_left_deg: f64,
    camber_turned_right_deg: f64,
    caster_deg: *mut f64,
    error: *mut WaError,
) -> i32 {
    let job = || {
        Ok(gauge::caster_by_linear_rule_deg(side_of(side)?, turn_deg, camber_turned_left_deg, camber_turned_right_deg)?)
    };
    // SAFETY: the caller's promises are handed on.
    unsafe { give(error, ("caster_deg", caster_deg), job) }
}

/// SAI in degrees by the two-position rule, positive with the top inboard: tan SAI = s·(sin p1 - sin
/// p2)/(2·sin T), with the pitch p1 of the locked wheel's hub, positive nose up, at the azimuth +T, turned
/// left, and p2 at -T, turned right. It leaves caster out.
///
/// side: WA_SIDE_...
/// turn_deg: T, 5 to 60°.
/// pitch_turned_left_deg, pitch_turned_right_deg: within ± 45°.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_ANGLE_OUT_OF_RANGE; WA_SWEEP_TOO_SMALL.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_sai_by_two_positions_deg(
    side: i32,
    turn_deg: f64,
    pitch_turned_left_deg: f64,
    pitch_turned_right_deg: f64,
    sai_deg: *mut f64,
    error: *mut WaError,
) -> i32 {
    let job = || {
        Ok(gauge::sai_by_two_positions_deg(side_of(side)?, turn_deg, pitch_turned_left_deg, pitch_turned_right_deg)?)
    };
    // SAFETY: the caller's promises are handed on.
    unsafe { give(error, ("sai_deg", sai_deg), job) }
}

/// SAI in degrees by the customary linear rule, positive with the top inboard: s·(p1 - p2)·1/(2·sin T), with
/// the pitch p1 of the locked wheel's hub, positive nose up, at the azimuth +T, turned left, and p2 at -T,
/// turned right. 1.5 % too much at 12° of SAI.
///
/// side: WA_SIDE_...
/// turn_deg: T, 5 to 60°.
/// pitch_turned_left_deg, pitch_turned_right_deg: within ± 45°.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_ANGLE_OUT_OF_RANGE; WA_SWEEP_TOO_SMALL.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_sai_by_linear_rule_deg(
    side: i32,
    turn_deg: f64,
    pitch_turned_left_deg: f64,
    pitch_turned_right_deg: f64,
    sai_deg: *mut f64,
    error: *mut WaError,
) -> i32 {
    let job =
        || Ok(gauge::sai_by_linear_rule_deg(side_of(side)?, turn_deg, pitch_turned_left_deg, pitch_turned_right_deg)?);
    // SAFETY: the caller's promises are handed on.
    unsafe { give(error, ("sai_deg", sai_deg), job) }
}

/// The camber in degrees, positive with the top outward, that a wheel shows at a yaw: what a gauge must read.
///
/// side: WA_SIDE_...
/// axis: caster and SAI, within ± 30°.
/// ahead: straight ahead: yaw within ± 10°, camber within ± 15°.
/// yaw_deg: positive to the left, within ± 60°.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_ANGLE_OUT_OF_RANGE.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_camber_at_yaw_deg(
    side: i32,
    axis: *const WaAxisAngles,
    ahead: *const WaGaugePosition,
    yaw_deg: f64,
    camber_deg: *mut f64,
    error: *mut WaError,
) -> i32 {
    // SAFETY: the caller's promises are handed on.
    let job = || unsafe {
        let (axis, ahead) = (*in_place("axis", axis)?, *in_place("ahead", ahead)?);
        Ok(gauge::camber_at_yaw_deg(side_of(side)?, axis.into(), ahead.into(), yaw_deg)?)
    };
    // SAFETY: as before.
    unsafe { give(error, ("camber_deg", camber_deg), job) }
}

/// The pitch in degrees, positive nose up, that a line of the locked wheel's hub shows at an azimuth: what a
/// gauge must read.
///
/// side: WA_SIDE_...
/// axis: caster and SAI, within ± 30°.
/// ahead: straight ahead: azimuth within ± 10°, pitch within ± 15°.
/// azimuth_deg: positive to the left, within ± 60°.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_ANGLE_OUT_OF_RANGE.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_pitch_at_azimuth_deg(
    side: i32,
    axis: *const WaAxisAngles,
    ahead: *const WaPitchPosition,
    azimuth_deg: f64,
    pitch_deg: *mut f64,
    error: *mut WaError,
) -> i32 {
    // SAFETY: the caller's promises are handed on.
    let job = || unsafe {
        let (axis, ahead) = (*in_place("axis", axis)?, *in_place("ahead", ahead)?);
        Ok(gauge::pitch_at_azimuth_deg(side_of(side)?, axis.into(), ahead.into(), azimuth_deg)?)
    };
    // SAFETY: as before.
    unsafe { give(error, ("pitch_deg", pitch_deg), job) }
}
