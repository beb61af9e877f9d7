//! What to turn, and by how much: a formula for each kind of adjuster, and the fewest moves for any set of them.

use crate::alignment::WaAlignment;
use crate::conformity::specification;
use crate::error::{Failure, WaError, guard};
use crate::gauge::WaAxisAngles;
use crate::layout::{by_axle, centreline_of};
use crate::memory::{
    ResultBuffer, Target, WaOptional, elements, give, guard_text, in_place, optional, read, text, to_json,
};
use alignment_core::Alignment;
use alignment_core::adjustment::{
    self, Adjuster, EccentricAngles, Request, ShelfShim, ShimChanges, ShimThicknesses, Stance, SubframeShift,
    TaperedShim, ToeChanges,
};
use std::ffi::c_char;

/// By how much the toe of either front wheel has to change.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaToeChanges {
    /// Of the left wheel, degrees, positive toe-in.
    pub left_deg: f64,
    /// Of the right wheel, degrees, positive toe-in.
    pub right_deg: f64,
}

impl From<ToeChanges> for WaToeChanges {
    fn from(ToeChanges { left_deg, right_deg }: ToeChanges) -> Self {
        Self { left_deg, right_deg }
    }
}

/// The two positions of an eccentric that give one shift.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaEccentricAngles {
    /// The one nearer to the middle position, degrees, -90 to 90.
    pub near_deg: f64,
    /// The one beyond the end of its stroke, degrees: 180 less the other.
    pub far_deg: f64,
}

impl From<EccentricAngles> for WaEccentricAngles {
    fn from(EccentricAngles { near_deg, far_deg }: EccentricAngles) -> Self {
        Self { near_deg, far_deg }
    }
}

/// By how much the shims of a wishbone have to grow at its two bolts.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaShimThicknesses {
    /// At the front bolt, mm; negative for shims to be taken out.
    pub front_mm: f64,
    /// At the rear bolt, mm.
    pub rear_mm: f64,
}

impl From<ShimThicknesses> for WaShimThicknesses {
    fn from(ShimThicknesses { front_mm, rear_mm }: ShimThicknesses) -> Self {
        Self { front_mm, rear_mm }
    }
}

/// How a subframe has to be moved in its clearance holes.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaSubframeShift {
    /// To the left, mm.
    pub lateral_mm: f64,
    /// Forward, mm.
    pub longitudinal_mm: f64,
    /// To the left, about the middle between its two lower joints, degrees.
    pub yaw_deg: f64,
}

impl From<SubframeShift> for WaSubframeShift {
    fn from(SubframeShift { lateral_mm, longitudinal_mm, yaw_deg }: SubframeShift) -> Self {
        Self { lateral_mm, longitudinal_mm, yaw_deg }
    }
}

/// A tapered shim between hub and axle.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaTaperedShim {
    /// The angle between its two faces, degrees.
    pub taper_deg: f64,
    /// Where its thick edge is, seen in the plane of the wheel: 0° at the top, positive toward the front, degrees, -180 to 180.
    pub bearing_deg: f64,
}

impl From<WaTaperedShim> for TaperedShim {
    fn from(WaTaperedShim { taper_deg, bearing_deg }: WaTaperedShim) -> Self {
        Self { taper_deg, bearing_deg }
    }
}

impl From<TaperedShim> for WaTaperedShim {
    fn from(TaperedShim { taper_deg, bearing_deg }: TaperedShim) -> Self {
        Self { taper_deg, bearing_deg }
    }
}

/// What a tapered shim changes.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaShimChanges {
    /// Camber, degrees, positive with the top further outward.
    pub camber_change_deg: f64,
    /// Toe, degrees, positive for more toe-in.
    pub toe_change_deg: f64,
}

impl From<ShimChanges> for WaShimChanges {
    fn from(ShimChanges { camber_change_deg, toe_change_deg }: ShimChanges) -> Self {
        Self { camber_change_deg, toe_change_deg }
    }
}

/// A tapered shim as it is on the shelf, and what it leaves over.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaShelfShim {
    /// The angle between its two faces, degrees; 0 where none is better than any.
    pub taper_deg: f64,
    /// Where its thick edge is: 0° at the top, positive toward the front, degrees, -180 to 180.
    pub bearing_deg: f64,
    /// What is left of the wanted change of camber, degrees.
    pub camber_left_deg: f64,
    /// What is left of the wanted change of toe, degrees.
    pub toe_left_deg: f64,
}

impl From<ShelfShim> for WaShelfShim {
    fn from(ShelfShim { taper_deg, bearing_deg, camber_left_deg, toe_left_deg }: ShelfShim) -> Self {
        Self { taper_deg, bearing_deg, camber_left_deg, toe_left_deg }
    }
}

/// What the readings do not say of how they were taken, and is needed to foresee others.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaStance {
    /// Radii under load of the front and of the rear axle, mm; where absent the rolling radius stands in.
    pub loaded_radius_mm: [WaOptional; 2],
    /// The centreline to which the readings refer: WA_CENTRELINE_...
    pub centreline: i32,
}

/// By how much turning a tie rod turns its wheel about the steering axis, degrees: asin(turns·pitch/arm). The
/// arm stands square to the rod before it is turned.
///
/// turns: of either sign; positive ones give toe-in where the caller counts them so.
/// thread_pitch_mm: mm per turn, 0.2 to 10; of a sleeve with two threads that of both together.
/// arm_mm: from the steering axis to the joint, mm, 10 to 3000.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_LENGTH_OUT_OF_RANGE; WA_OUT_OF_RANGE for turns that steer by more
/// than 30°.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_tie_rod_steer_deg(
    turns: f64,
    thread_pitch_mm: f64,
    arm_mm: f64,
    steer_deg: *mut f64,
    error: *mut WaError,
) -> i32 {
    let job = || Ok(adjustment::tie_rod_steer_deg(turns, thread_pitch_mm, arm_mm)?);
    // SAFETY: the caller's promises are handed on.
    unsafe { give(error, ("steer_deg", steer_deg), job) }
}

/// How many turns of a tie rod turn its wheel about the steering axis by an angle: arm·sin(angle)/pitch.
///
/// steer_deg: degrees, -30 to 30.
/// thread_pitch_mm: mm per turn, 0.2 to 10.
/// arm_mm: mm, 10 to 3000.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_ANGLE_OUT_OF_RANGE; WA_LENGTH_OUT_OF_RANGE.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_tie_rod_turns(
    steer_deg: f64,
    thread_pitch_mm: f64,
    arm_mm: f64,
    turns: *mut f64,
    error: *mut WaError,
) -> i32 {
    let job = || Ok(adjustment::tie_rod_turns(steer_deg, thread_pitch_mm, arm_mm)?);
    // SAFETY: the caller's promises are handed on.
    unsafe { give(error, ("turns", turns), job) }
}

/// By how much each tie rod has to change the toe of its wheel so that total toe is as wanted and the car runs
/// straight with its steering wheel centred: left = total/2 - toe - wheel/ratio, right = total/2 - toe +
/// wheel/ratio.
///
/// left_toe_deg, right_toe_deg: to the thrust line, degrees, positive toe-in, within ± 20°.
/// total_toe_deg: wanted, degrees, within ± 20°.
/// steering_wheel_deg: from its centre, positive to the left, degrees, within ± 360°.
/// steering_ratio: turn of the steering wheel over that of the road wheels, 1 to 50.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_ANGLE_OUT_OF_RANGE; WA_OUT_OF_RANGE.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_toe_changes_deg(
    left_toe_deg: f64,
    right_toe_deg: f64,
    total_toe_deg: f64,
    steering_wheel_deg: f64,
    steering_ratio: f64,
    changes: *mut WaToeChanges,
    error: *mut WaError,
) -> i32 {
    let job = || {
        Ok(adjustment::toe_changes_deg(left_toe_deg, right_toe_deg, total_toe_deg, steering_wheel_deg, steering_ratio)?
            .into())
    };
    // SAFETY: the caller's promises are handed on.
    unsafe { give(error, ("changes", changes), job) }
}

/// How far an eccentric pushes what it guides, mm: eccentricity·sin(angle).
///
/// eccentricity_mm: 0.01 to 100 mm.
/// angle_deg: from its middle position, degrees, within ± 360°.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_LENGTH_OUT_OF_RANGE; WA_ANGLE_OUT_OF_RANGE.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_eccentric_shift_mm(
    eccentricity_mm: f64,
    angle_deg: f64,
    shift_mm: *mut f64,
    error: *mut WaError,
) -> i32 {
    let job = || Ok(adjustment::eccentric_shift_mm(eccentricity_mm, angle_deg)?);
    // SAFETY: the caller's promises are handed on.
    unsafe { give(error, ("shift_mm", shift_mm), job) }
}

/// Where an eccentric has to stand for a shift: asin(shift/eccentricity) from its middle position, and 180° less
/// that.
///
/// shift_mm: mm, no more than the eccentricity.
/// eccentricity_mm: 0.01 to 100 mm.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_LENGTH_OUT_OF_RANGE.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_eccentric_angles_deg(
    shift_mm: f64,
    eccentricity_mm: f64,
    angles: *mut WaEccentricAngles,
    error: *mut WaError,
) -> i32 {
    let job = || Ok(adjustment::eccentric_angles_deg(shift_mm, eccentricity_mm)?.into());
    // SAFETY: the caller's promises are handed on.
    unsafe { give(error, ("angles", angles), job) }
}

/// By how much a strut leans further when the mount at its top is shifted in its slot, degrees:
/// atan(tan(inclination) + shift/height) - inclination.
///
/// shift_mm: mm, within ± 500.
/// height_mm: of the slot above the joint on which the strut stands, mm, 10 to 3000.
/// inclination_deg: of the strut toward the side to which the shift counts, degrees, within ± 60°.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_LENGTH_OUT_OF_RANGE; WA_ANGLE_OUT_OF_RANGE.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_slot_tilt_deg(
    shift_mm: f64,
    height_mm: f64,
    inclination_deg: f64,
    tilt_deg: *mut f64,
    error: *mut WaError,
) -> i32 {
    let job = || Ok(adjustment::slot_tilt_deg(shift_mm, height_mm, inclination_deg)?);
    // SAFETY: the caller's promises are handed on.
    unsafe { give(error, ("tilt_deg", tilt_deg), job) }
}

/// How far the mount at the top of a strut has to be shifted for it to lean further by an angle, mm:
/// height·(tan(inclination + tilt) - tan(inclination)).
///
/// tilt_deg: degrees, within ± 20°.
/// height_mm: mm, 10 to 3000.
/// inclination_deg: degrees, within ± 60°.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_LENGTH_OUT_OF_RANGE; WA_ANGLE_OUT_OF_RANGE.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_slot_shift_mm(
    tilt_deg: f64,
    height_mm: f64,
    inclination_deg: f64,
    shift_mm: *mut f64,
    error: *mut WaError,
) -> i32 {
    let job = || Ok(adjustment::slot_shift_mm(tilt_deg, height_mm, inclination_deg)?);
    // SAFETY: the caller's promises are handed on.
    unsafe { give(error, ("shift_mm", shift_mm), job) }
}

/// By how much the shims of a wishbone have to grow for a change of camber and caster: front = camber/C +
/// caster/K, rear = camber/C - caster/K.
///
/// camber_change_deg, caster_change_deg: wanted, degrees, within ± 20°.
/// camber_deg_per_mm: C, of 1 mm more at both bolts, 0.001 to 10° in magnitude.
/// caster_deg_per_mm: K, of 1 mm moved from the rear bolt to the front one, 0.001 to 10° in magnitude.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_ANGLE_OUT_OF_RANGE; WA_OUT_OF_RANGE.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_shim_thicknesses_mm(
    camber_change_deg: f64,
    caster_change_deg: f64,
    camber_deg_per_mm: f64,
    caster_deg_per_mm: f64,
    shims: *mut WaShimThicknesses,
    error: *mut WaError,
) -> i32 {
    let job = || {
        Ok(adjustment::shim_thicknesses_mm(camber_change_deg, caster_change_deg, camber_deg_per_mm, caster_deg_per_mm)?
            .into())
    };
    // SAFETY: the caller's promises are handed on.
    unsafe { give(error, ("shims", shims), job) }
}

/// How a front subframe that carries the lower joints of both steering axes has to be moved so that caster is as
/// wanted on both sides, and SAI alike.
///
/// left, right: caster and SAI of either side, degrees, within ± 60°.
/// caster_deg: wanted on both sides, degrees, within ± 60°.
/// height_mm: of the upper mounts above the lower joints, mm, 10 to 3000.
/// joint_distance_mm: of the lower joints from each other, mm, 10 to 3000.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_ANGLE_OUT_OF_RANGE, also for sides that differ by more than a yaw of 30°
/// makes good; WA_LENGTH_OUT_OF_RANGE.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_subframe_shift(
    left: *const WaAxisAngles,
    right: *const WaAxisAngles,
    caster_deg: f64,
    height_mm: f64,
    joint_distance_mm: f64,
    shift: *mut WaSubframeShift,
    error: *mut WaError,
) -> i32 {
    // SAFETY: the caller's promises are handed on.
    let job = || unsafe {
        Ok(adjustment::subframe_shift(
            (*in_place("left", left)?).into(),
            (*in_place("right", right)?).into(),
            caster_deg,
            height_mm,
            joint_distance_mm,
        )?
        .into())
    };
    // SAFETY: as before.
    unsafe { give(error, ("shift", shift), job) }
}

/// The tapered shim that changes camber and toe by these amounts, exactly; the same on both sides of the car.
///
/// camber_deg: of the wheel without the shim, degrees, within ± 20°.
/// camber_change_deg: wanted, degrees, within ± 20°.
/// toe_change_deg: wanted, degrees, positive toe-in, within ± 20°.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_ANGLE_OUT_OF_RANGE.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_tapered_shim(
    camber_deg: f64,
    camber_change_deg: f64,
    toe_change_deg: f64,
    shim: *mut WaTaperedShim,
    error: *mut WaError,
) -> i32 {
    let job = || Ok(adjustment::tapered_shim(camber_deg, camber_change_deg, toe_change_deg)?.into());
    // SAFETY: the caller's promises are handed on.
    unsafe { give(error, ("shim", shim), job) }
}

/// What a tapered shim changes: the inverse of wa_tapered_shim.
///
/// camber_deg: of the wheel without the shim, degrees, within ± 20°.
/// shim: taper 0 to 15°, bearing within ± 360°.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_ANGLE_OUT_OF_RANGE.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_tapered_shim_changes(
    camber_deg: f64,
    shim: *const WaTaperedShim,
    changes: *mut WaShimChanges,
    error: *mut WaError,
) -> i32 {
    // SAFETY: the caller's promises are handed on.
    let job = || unsafe { Ok(adjustment::tapered_shim_changes(camber_deg, (*in_place("shim", shim)?).into())?.into()) };
    // SAFETY: as before.
    unsafe { give(error, ("changes", changes), job) }
}

/// The tapered shim from the shelf that comes nearest to changing camber and toe by these amounts, and what it
/// leaves over.
///
/// camber_deg: of the wheel without the shim, degrees, within ± 20°.
/// camber_change_deg, toe_change_deg: wanted, degrees, within ± 20°.
/// taper_step_deg: tapers are whole multiples of this, degrees, 0.001 to 15.
/// most_taper_deg: the greatest taper, degrees, 0 to 15.
/// bearing_step_deg: the shim can be turned to whole multiples of this, counted from the top, degrees, 0.1 to 360.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_ANGLE_OUT_OF_RANGE.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_tapered_shim_on_shelf(
    camber_deg: f64,
    camber_change_deg: f64,
    toe_change_deg: f64,
    taper_step_deg: f64,
    most_taper_deg: f64,
    bearing_step_deg: f64,
    shim: *mut WaShelfShim,
    error: *mut WaError,
) -> i32 {
    let job = || {
        Ok(adjustment::tapered_shim_on_shelf(
            camber_deg,
            camber_change_deg,
            toe_change_deg,
            taper_step_deg,
            most_taper_deg,
            bearing_step_deg,
        )?
        .into())
    };
    // SAFETY: the caller's promises are handed on.
    unsafe { give(error, ("shim", shim), job) }
}

/// # Safety
/// As [`text`].
pub(crate) unsafe fn adjusters(pointer: *const c_char, length: usize) -> Result<Vec<Adjuster>, Failure> {
    // SAFETY: the caller's promise is handed on.
    let text = unsafe { text("adjusters_json", pointer, length)? };
    serde_json::from_str(text).map_err(|reason| Failure::NotAdjusters { reason: Box::new(reason) })
}

/// # Safety
/// As [`optional`].
unsafe fn stance_of(stance: *const WaStance) -> Result<Stance, Failure> {
    // SAFETY: the caller's promise is handed on.
    let Some(of) = (unsafe { optional("stance", stance)? }) else { return Ok(Stance::default()) };
    let loaded_radius_mm = by_axle(of.loaded_radius_mm.map(WaOptional::get));
    Ok(Stance { loaded_radius_mm, centreline: centreline_of(of.centreline)? })
}

/// What one unit of each adjuster changes of every reading: of geometry the derivatives of the readings' own
/// formulas, of measured effects the figures given and what follows from them.
///
/// readings: such as those of wa_measurement.
/// adjusters_json: adjusters_length bytes, as wa_fewest_moves_json takes them.
/// stance: NULL where the rolling radii stand in and the centreline is that of the axle midpoints.
///
/// The result is a list of trees like "alignment" in wa_measure_json, degrees and mm per unit.
///
/// Returns what wa_fewest_moves_json returns.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_effects_json(
    readings: *const WaAlignment,
    adjusters_json: *const c_char,
    adjusters_length: usize,
    stance: *const WaStance,
    result_json: *mut c_char,
    result_capacity: usize,
    result_length: *mut usize,
    error: *mut WaError,
) -> i32 {
    let result = ResultBuffer { json: result_json, capacity: result_capacity, length: result_length };
    // SAFETY: the caller's promises are handed on.
    let job = || unsafe {
        let readings = Alignment::from(read("readings", readings)?);
        let (adjusters, stance) = (adjusters(adjusters_json, adjusters_length)?, stance_of(stance)?);
        to_json(&adjustment::effects(&readings, &adjusters, &stance)?)
    };
    // SAFETY: as before.
    unsafe { guard_text(result, error, job) }
}

/// The readings once adjusters have been moved, one after the other as they are listed.
///
/// readings: such as those of wa_measurement.
/// adjusters_json: adjusters_length bytes, as wa_fewest_moves_json takes them.
/// amounts: amounts_count of them, one for each adjuster, in its units.
/// stance: NULL where the rolling radii stand in and the centreline is that of the axle midpoints.
/// foreseen: struct of the caller whose size is set. Readings of turning, to the body, and of the sweep itself are absent.
///
/// Returns what wa_fewest_moves_json returns; WA_OUT_OF_RANGE for an amount beyond the range of its adjuster;
/// WA_MISSING_INPUT for fewer or more of them than adjusters.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_foresee(
    readings: *const WaAlignment,
    adjusters_json: *const c_char,
    adjusters_length: usize,
    amounts: *const f64,
    amounts_count: usize,
    stance: *const WaStance,
    foreseen: *mut WaAlignment,
    error: *mut WaError,
) -> i32 {
    // SAFETY: the caller's promises are handed on.
    let job = || unsafe {
        let readings = Alignment::from(read("readings", readings)?);
        let (adjusters, stance) = (adjusters(adjusters_json, adjusters_length)?, stance_of(stance)?);
        let (amounts, target) = (elements("amounts", amounts, amounts_count)?, Target::new("foreseen", foreseen)?);
        target.write((&adjustment::foresee(&readings, &adjusters, amounts, &stance)?).into());
        Ok(())
    };
    // SAFETY: as before.
    unsafe { guard(error, job) }
}

/// The fewest moves that bring a car to its specification, in the order in which they are done: rear before front,
/// camber and caster before toe. All limits come first, then nearness to nominal values, then the number of moves.
///
/// The vehicle maker's procedure decides what may be adjusted, in which order, at which load and to which torque. Support the car
/// before anybody goes under it, settle the suspension before reading again, and measure after the last nut is tight.
///
/// readings: such as those of wa_measurement.
/// adjusters_json: adjusters_length bytes: a list of up to 16 adjusters, each {"name": ..., "unit": ..., "effect": ...,
///     "least": ..., "most": ..., "step": ...}. An effect is measured, {"wheels.fl.camber_deg": 0.25, ...} per unit, or geometry,
///     {"wheels": {"fl": true, "fr": false, "rl": false, "rr": false}, "line": {"point_mm": [x, y, z], "direction": [x, y, z]},
///     "turn_deg": ..., "shift_mm": ..., "carries_axis": ...} per unit, about a line in the vehicle frame, or with "line": null about
///     the steering axis.
/// specification_json: specification_length bytes, format "alignment-specification/1".
/// nominal_within_deg: so near to nominal is at it, degrees, customarily 0.005; NULL when it is enough that all limits are met.
/// stance: NULL where the rolling radii stand in and the centreline is that of the axle midpoints.
///
/// The result is {"moves": [{"adjuster": ..., "amount": ..., "foreseen": ...}], "foreseen": ..., "unmet": [{"path": ...,
/// "limits": ..., "nearest": ..., "short_by": ..., "at_end": [...]}], "unforeseen": [...]}.
///
/// Returns WA_SUCCESS; WA_BUFFER_TOO_SMALL; WA_NOT_UTF8; WA_NOT_A_SPECIFICATION, also for a text that is no list of adjusters;
/// WA_TOO_MANY; WA_NOT_FINITE; WA_OUT_OF_RANGE; WA_ANGLE_OUT_OF_RANGE and WA_LENGTH_OUT_OF_RANGE for an adjuster that moves its
/// wheels by more than 30° or 300 mm; WA_NOT_UNIT_LENGTH; WA_UNKNOWN_READING; WA_MISSING_INPUT for a wheel or steering axis that was
/// not measured but is moved; WA_SPINDLE_NOT_LATERAL, WA_MIRRORED, WA_SIDES_SWAPPED and WA_DIFFERENT_VEHICLES for wheels that no
/// car has.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_fewest_moves_json(
    readings: *const WaAlignment,
    adjusters_json: *const c_char,
    adjusters_length: usize,
    specification_json: *const c_char,
    specification_length: usize,
    nominal_within_deg: *const f64,
    stance: *const WaStance,
    result_json: *mut c_char,
    result_capacity: usize,
    result_length: *mut usize,
    error: *mut WaError,
) -> i32 {
    let result = ResultBuffer { json: result_json, capacity: result_capacity, length: result_length };
    // SAFETY: the caller's promises are handed on.
    let job = || unsafe {
        let readings = Alignment::from(read("readings", readings)?);
        let (adjusters, stance) = (adjusters(adjusters_json, adjusters_length)?, stance_of(stance)?);
        let request = Request {
            specification: specification(specification_json, specification_length)?,
            nominal_within_deg: optional("nominal_within_deg", nominal_within_deg)?.copied(),
        };
        to_json(&adjustment::fewest_moves(&readings, &adjusters, &request, &stance)?)
    };
    // SAFETY: as before.
    unsafe { guard_text(result, error, job) }
}
