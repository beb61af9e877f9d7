//! What readings are worth: budgets, covariances, trials; and planning a measurement by that.

use crate::alignment::WaAlignment;
use crate::error::{Failure, WaError, guard};
use crate::measure::WaMeasurement;
use crate::memory::{
    Places, ResultBuffer, StatesSize, Target, WaOptional, elements, fill_in, give, guard_text, read, session, string,
    to_json,
};
use crate::propagation::WaExpanded;
use crate::session::{
    WA_COMPENSATION_ROLLED, WA_COMPENSATION_SPUN, WaInputUncertainty, WaPoseNoise, WaSession, compensation_of,
    method_of, number_of,
};
use alignment_core::monte_carlo::Settings;
use alignment_core::paths::COUNT;
use alignment_core::session::CompensationMethod;
use alignment_core::uncertainty::{self, Plan, Reach, Uncertainty};
use std::ffi::c_char;
use std::mem;

/// The readings of a session, and what each is worth as far as the session tells.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaUncertainty {
    /// Set by the caller: sizeof(wa_uncertainty).
    pub size: usize,
    /// The measurement itself. Its size is set by the library.
    pub measurement: WaMeasurement,
    /// The standard uncertainty of every reading, in the unit of the reading, at its path. Its size is set by the library.
    pub standard: WaAlignment,
    /// The effective degrees of freedom of every standard uncertainty, at the same path: infinite where the noise is known.
    /// Its size is set by the library.
    pub degrees_of_freedom: WaAlignment,
}

// SAFETY: repr(C), begins with a usize, and numbers are all it has.
unsafe impl StatesSize for WaUncertainty {}

/// Measures a car, and says what every reading is worth, by the law of propagation through the whole chain.
///
/// uncertainty: struct of the caller whose size is set.
///
/// Returns what wa_measure returns; WA_MISSING_INPUT when the noise of the poses is neither stated nor seen in several
/// frames; WA_NOT_A_COVARIANCE.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_propagate(
    session: *const WaSession,
    uncertainty: *mut WaUncertainty,
    error: *mut WaError,
) -> i32 {
    let job = || {
        // SAFETY: the caller's promises are handed on.
        let (target, session) =
            unsafe { (Target::new("uncertainty", uncertainty)?, crate::session::session(session)?) };
        let known = uncertainty::propagate(&session)?;
        let (standard, degrees_of_freedom) = ((&known.standard).into(), (&known.degrees_of_freedom).into());
        let measurement = WaMeasurement { size: mem::size_of::<WaMeasurement>(), ..known.measurement.into() };
        target.write(WaUncertainty { size: 0, measurement, standard, degrees_of_freedom });
        Ok(())
    };
    // SAFETY: the caller's promise about `error` is handed on.
    unsafe { guard(error, job) }
}

/// The budget of one reading: what each input contributes to its uncertainty, the largest first; the poses of one wheel
/// and stage together. Of the reading as the "method" of the session estimates it.
///
/// session_json: session_length bytes, format "alignment-session/1"; wa_session_to_json makes it of a struct.
/// path: of the reading, UTF-8 with a NUL at the end. One that is absent, or exact, has an empty budget.
///
/// The result is an array of {"source": ..., "standard_uncertainty": ..., "share": ...}: the standard
/// uncertainty that the reading would have from this source alone, in the reading's unit, and its share of
/// the variance; the shares add up to 1. A source is {"poses": {"stage": "rolling", "station": null, "wheel":
/// "fl"}}; {"clamp_standoff": "fl"}; or one of "up", "runway", "front_loaded_radius", "rear_loaded_radius",
/// "ride_height", "right_cameras".
///
/// Returns what wa_measure_json returns; WA_UNKNOWN_READING; WA_MISSING_INPUT when the noise of the poses is
/// neither stated nor seen in several frames; WA_NOT_A_COVARIANCE.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_uncertainty_budget_json(
    session_json: *const c_char,
    session_length: usize,
    path: *const c_char,
    result_json: *mut c_char,
    result_capacity: usize,
    result_length: *mut usize,
    error: *mut WaError,
) -> i32 {
    let result = ResultBuffer { json: result_json, capacity: result_capacity, length: result_length };
    let job = || {
        // SAFETY: the caller's promises are handed on.
        let (known, path) = unsafe { (propagated(session_json, session_length)?, string("path", path)?) };
        to_json(&known.budget(path)?)
    };
    // SAFETY: the caller's promises are handed on.
    unsafe { guard_text(result, error, job) }
}

/// The same pose by pose: the "station" of a source is a number, null straight ahead and at the locks.
///
/// Returns what wa_uncertainty_budget_json returns.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_uncertainty_budget_by_pose_json(
    session_json: *const c_char,
    session_length: usize,
    path: *const c_char,
    result_json: *mut c_char,
    result_capacity: usize,
    result_length: *mut usize,
    error: *mut WaError,
) -> i32 {
    let result = ResultBuffer { json: result_json, capacity: result_capacity, length: result_length };
    let job = || {
        // SAFETY: the caller's promises are handed on.
        let (known, path) = unsafe { (propagated(session_json, session_length)?, string("path", path)?) };
        to_json(&known.budget_by_pose(path)?)
    };
    // SAFETY: the caller's promises are handed on.
    unsafe { guard_text(result, error, job) }
}

/// # Safety
/// As [`session`].
unsafe fn propagated(session_json: *const c_char, session_length: usize) -> Result<Uncertainty, Failure> {
    // SAFETY: the caller's promise is handed on.
    Ok(uncertainty::propagate(&unsafe { session(session_json, session_length)? })?)
}

/// The covariance of two readings of a session, in the product of their units; absent when one of them is.
///
/// path, other: UTF-8 with a NUL at the end.
///
/// Returns what wa_uncertainty_budget_json returns, but for WA_BUFFER_TOO_SMALL.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_uncertainty_covariance(
    session_json: *const c_char,
    session_length: usize,
    path: *const c_char,
    other: *const c_char,
    covariance: *mut WaOptional,
    error: *mut WaError,
) -> i32 {
    // SAFETY: the caller's promises are handed on.
    let job = || unsafe {
        let (path, other) = (string("path", path)?, string("other", other)?);
        Ok(propagated(session_json, session_length)?.covariance(path, other)?.into())
    };
    // SAFETY: as before.
    unsafe { give(error, ("covariance", covariance), job) }
}

/// The correlation of two readings of a session, -1 to 1; absent when one of them is, or is exact.
///
/// path, other: UTF-8 with a NUL at the end.
///
/// Returns what wa_uncertainty_budget_json returns, but for WA_BUFFER_TOO_SMALL.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_uncertainty_correlation(
    session_json: *const c_char,
    session_length: usize,
    path: *const c_char,
    other: *const c_char,
    correlation: *mut WaOptional,
    error: *mut WaError,
) -> i32 {
    // SAFETY: the caller's promises are handed on.
    let job = || unsafe {
        let (path, other) = (string("path", path)?, string("other", other)?);
        Ok(propagated(session_json, session_length)?.correlation(path, other)?.into())
    };
    // SAFETY: as before.
    unsafe { give(error, ("correlation", correlation), job) }
}

/// The expanded uncertainty of one reading of a session, in the unit of the reading: reading ± U holds the true value
/// with a probability.
///
/// path: UTF-8 with a NUL at the end.
/// probability: between 0 and 1, customarily 0.95.
/// expanded: NaN when the reading is absent.
///
/// Returns what wa_uncertainty_budget_json returns, but for WA_BUFFER_TOO_SMALL; WA_NOT_FINITE and WA_OUT_OF_RANGE for the
/// probability.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_uncertainty_expanded(
    session_json: *const c_char,
    session_length: usize,
    path: *const c_char,
    probability: f64,
    expanded: *mut WaExpanded,
    error: *mut WaError,
) -> i32 {
    // SAFETY: the caller's promises are handed on.
    let job = || unsafe {
        let path = string("path", path)?;
        Ok(propagated(session_json, session_length)?.expanded(path, probability)?.into())
    };
    // SAFETY: as before.
    unsafe { give(error, ("expanded", expanded), job) }
}

/// The expanded uncertainty of every reading of a session, at its path and in its unit.
///
/// probability: between 0 and 1, customarily 0.95.
/// expanded_tree: struct of the caller whose size is set.
///
/// Returns what wa_uncertainty_expanded returns.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_uncertainty_expanded_tree(
    session_json: *const c_char,
    session_length: usize,
    probability: f64,
    expanded_tree: *mut WaAlignment,
    error: *mut WaError,
) -> i32 {
    let job = || {
        // SAFETY: the caller's promises are handed on.
        let (target, known) =
            unsafe { (Target::new("expanded_tree", expanded_tree)?, propagated(session_json, session_length)?) };
        target.write((&known.expanded_tree(probability)?).into());
        Ok(())
    };
    // SAFETY: the caller's promise about `error` is handed on.
    unsafe { guard(error, job) }
}

/// The covariance of all readings of a session, as its "method" estimates them.
///
/// covariance: buffer of the caller of capacity doubles, of which n·n are written, n = wa_reading_count():
///     row by row, in the order of wa_reading_path, each in the product of both readings' units. On the
///     diagonal stand the squares of the standard uncertainties. Rows and columns of a reading that is
///     absent, null in wa_assess_json, are zero.
///
/// Returns WA_SUCCESS; WA_BUFFER_TOO_SMALL when capacity is less than n·n; or what wa_uncertainty_budget_json returns.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_uncertainty_covariance_matrix(
    session_json: *const c_char,
    session_length: usize,
    covariance: *mut f64,
    capacity: usize,
    error: *mut WaError,
) -> i32 {
    let job = || {
        // SAFETY: the caller's promise is handed on.
        let places = unsafe { Places::new("covariance", covariance, capacity)? };
        places.check("doubles", COUNT * COUNT)?;
        // SAFETY: the caller's promise is handed on.
        let known = unsafe { propagated(session_json, session_length)? };
        places.write(known.covariance_matrix().iter().copied());
        Ok(())
    };
    // SAFETY: the caller's promise about `error` is handed on.
    unsafe { guard(error, job) }
}

/// How a run of trials is made. Set size, then call wa_trials_default.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaTrials {
    /// Set by the caller: sizeof(wa_trials).
    pub size: usize,
    /// The probability that an interval is to hold, between 0 and 1; by default 0.95.
    pub probability: f64,
    /// The seed: the same gives the same trials. By default 0.
    pub seed: u64,
    /// So many significant digits of each standard uncertainty are to stand still, 1 to 4; by default 2.
    pub significant_digits: u32,
    /// The most trials, 100 000 to 10 million, the default.
    pub most_trials: u32,
}

// SAFETY: repr(C), begins with a usize, and numbers are all it has.
unsafe impl StatesSize for WaTrials {}

/// Fills in a struct, but for its size, with the defaults.
///
/// Returns WA_SUCCESS; WA_NULL_POINTER; WA_MISALIGNED; WA_BAD_STRUCT_SIZE.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_trials_default(trials: *mut WaTrials) -> i32 {
    let Settings { probability, significant_digits, most_trials, seed } = Settings::default();
    let default = WaTrials { size: 0, probability, seed, significant_digits, most_trials };
    // SAFETY: the caller's promise is handed on.
    unsafe { fill_in("trials", trials, default) }
}

/// The check on the law of propagation: measures a session again and again, every input drawn from what is
/// known of it, until the asked-for readings stand still, and compares.
///
/// paths: count paths of readings, at most as many as there are, each UTF-8 with a NUL at the end.
/// settings: how the run is made.
///
/// The result is {"paths": [...], "simulation": {"outputs": [...], "covariance": [[...]], "trials": ...,
/// "probability": ...}, "agreement": [...]}, all in the order of paths and in the readings' own units. An
/// output has "estimate", "standard_uncertainty", "symmetric_interval" and "shortest_interval"; an agreement
/// has "low" and "high", by how much the ends of the interval by the law are off the symmetric one of the
/// trials, "tolerance", half a unit of the last digit asked for, and "agrees".
///
/// A run takes at least a hundred thousand trials, each as long as a plain measurement by the "method" of
/// the session, and 8 bytes for each trial and path.
///
/// Returns what wa_uncertainty_budget_json returns; WA_MISSING_INPUT also for a reading that is absent;
/// WA_OUT_OF_RANGE; WA_NOT_SETTLED when the trials allowed are used up.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_monte_carlo_json(
    session_json: *const c_char,
    session_length: usize,
    paths: *const *const c_char,
    count: usize,
    settings: *const WaTrials,
    result_json: *mut c_char,
    result_capacity: usize,
    result_length: *mut usize,
    error: *mut WaError,
) -> i32 {
    let result = ResultBuffer { json: result_json, capacity: result_capacity, length: result_length };
    let job = || {
        // SAFETY: the caller's promises are handed on.
        let (session, paths, settings) = unsafe {
            (session(session_json, session_length)?, elements("paths", paths, count)?, read("settings", settings)?)
        };
        if !(1..=COUNT).contains(&count) {
            #[expect(clippy::cast_precision_loss, reason = "the last bits of an absurd count do not matter")]
            return Err(Failure::out_of_range("count", count as f64, 1.0, Some(COUNT as f64)));
        }
        // SAFETY: the caller promises a string with a NUL at each.
        let paths: Vec<&str> = paths.iter().map(|&path| unsafe { string("paths", path) }).collect::<Result<_, _>>()?;
        let WaTrials { size: _, probability, seed, significant_digits, most_trials } = *settings;
        let settings = Settings { probability, significant_digits, most_trials, seed };
        to_json(&uncertainty::monte_carlo(&session, &paths, settings)?)
    };
    // SAFETY: the caller's promises are handed on.
    unsafe { guard_text(result, error, job) }
}

/// How a car is to be measured. Set size, then call wa_plan_default, then change what is planned otherwise.
/// The car itself hardly matters: a sound one of the given size stands in.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaPlan {
    /// Set by the caller: sizeof(wa_plan).
    pub size: usize,
    /// How many frames of each wheel are averaged at each station.
    pub frames: usize,
    /// How many rolling stations there are, 2 to 200, evenly spaced. With two the loaded radius stands in for
    /// the rolling radius.
    pub roll_stations: usize,
    /// How many stations the sweep has, 2 to 200, evenly spaced; 0 for no sweep.
    pub sweep_stations: usize,
    /// WA_COMPENSATION_...
    pub compensation: i32,
    /// Whether the brake holds the wheels in the sweep: 0 when they are free to roll.
    pub sweep_wheels_locked: i32,
    /// From the first rolling station to the last, degrees of roll, 10.1 to 160.
    pub roll_range_deg: f64,
    /// From one end of the sweep to the other, degrees of mean steer, 11 to 90.
    pub sweep_range_deg: f64,
    /// Wheelbase, mm.
    pub wheelbase_mm: f64,
    /// Track of both axles, mm.
    pub track_mm: f64,
    /// Rolling radius, mm.
    pub rolling_radius_mm: f64,
    /// How much a single frame scatters.
    pub pose_noise: WaPoseNoise,
    /// How well the rig knows its other inputs.
    pub input_uncertainty: WaInputUncertainty,
    /// WA_METHOD_...
    pub method: i32,
}

// SAFETY: repr(C), begins with a usize, and numbers are all it has.
unsafe impl StatesSize for WaPlan {}

impl From<Plan> for WaPlan {
    fn from(plan: Plan) -> Self {
        Self {
            size: 0,
            frames: plan.frames,
            roll_stations: plan.roll_stations,
            sweep_stations: plan.sweep_stations,
            compensation: match plan.compensation {
                CompensationMethod::Rolled => WA_COMPENSATION_ROLLED,
                CompensationMethod::Spun => WA_COMPENSATION_SPUN,
            },
            sweep_wheels_locked: i32::from(plan.sweep_wheels_locked),
            roll_range_deg: plan.roll_range_deg,
            sweep_range_deg: plan.sweep_range_deg,
            wheelbase_mm: plan.wheelbase_mm,
            track_mm: plan.track_mm,
            rolling_radius_mm: plan.rolling_radius_mm,
            pose_noise: plan.pose_noise.into(),
            input_uncertainty: plan.input_uncertainty.into(),
            method: number_of(plan.method),
        }
    }
}

impl WaPlan {
    fn plan(&self) -> Result<Plan, Failure> {
        Ok(Plan {
            pose_noise: self.pose_noise.into(),
            frames: self.frames,
            compensation: compensation_of(self.compensation)?,
            roll_range_deg: self.roll_range_deg,
            roll_stations: self.roll_stations,
            sweep_range_deg: self.sweep_range_deg,
            sweep_stations: self.sweep_stations,
            sweep_wheels_locked: self.sweep_wheels_locked != 0,
            input_uncertainty: self.input_uncertainty.into(),
            method: method_of(self.method)?,
            wheelbase_mm: self.wheelbase_mm,
            track_mm: self.track_mm,
            rolling_radius_mm: self.rolling_radius_mm,
        })
    }
}

/// Fills in a struct, but for its size, with a customary measurement: five stations over 54° of roll, nine
/// over 40° of steer with the wheels locked, single frames with a noise of 0.005° and 0.05 mm.
///
/// Returns WA_SUCCESS; WA_NULL_POINTER; WA_MISALIGNED; WA_BAD_STRUCT_SIZE.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_plan_default(plan: *mut WaPlan) -> i32 {
    // SAFETY: the caller's promise is handed on.
    unsafe { fill_in("plan", plan, Plan::default().into()) }
}

/// What a measurement will be worth, before anyone touches a car.
///
/// The result is a tree like "alignment" in wa_measure_json: the standard uncertainty of every reading, in
/// its own unit, under the reading's path.
///
/// Returns WA_SUCCESS; WA_BUFFER_TOO_SMALL; WA_OUT_OF_RANGE, WA_LENGTH_OUT_OF_RANGE, WA_ANGLE_OUT_OF_RANGE or
/// WA_NOT_FINITE for what no measurement has; WA_SWEEP_TOO_SMALL.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_plan_json(
    plan: *const WaPlan,
    result_json: *mut c_char,
    result_capacity: usize,
    result_length: *mut usize,
    error: *mut WaError,
) -> i32 {
    let result = ResultBuffer { json: result_json, capacity: result_capacity, length: result_length };
    let job = || {
        // SAFETY: the caller's promise is handed on.
        let plan = unsafe { read("plan", plan)? };
        to_json(&uncertainty::plan(&plan.plan()?)?)
    };
    // SAFETY: the caller's promises are handed on.
    unsafe { guard_text(result, error, job) }
}

/// How far to roll and to sweep.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaReach {
    /// Set by the caller: sizeof(wa_reach_result).
    pub size: usize,
    /// The least roll from one end to the other, degrees, for camber, toe and thrust angle. Absent when no
    /// roll is enough: the ahead station itself scatters too much, and more frames are the remedy.
    pub roll_range_deg: WaOptional,
    /// The least sweep from one end to the other, degrees, for caster and SAI, after that roll. Absent when no
    /// sweep is enough, or none is planned.
    pub sweep_range_deg: WaOptional,
    /// The largest expanded uncertainty of camber, toe and thrust angle at that roll, or else at the longest,
    /// degrees.
    pub wheels_expanded_deg: f64,
    /// The largest expanded uncertainty of caster and SAI at that sweep, or else at the longest, degrees.
    /// Absent when no sweep is planned.
    pub steering_expanded_deg: WaOptional,
}

// SAFETY: repr(C), begins with a usize, and numbers are all it has.
unsafe impl StatesSize for WaReach {}

/// How far to roll and to sweep, with all else as planned, for a wanted expanded uncertainty of camber, toe,
/// thrust angle, caster and SAI: the inverse of wa_plan_json.
///
/// expanded_uncertainty_deg: what is wanted, degrees, U = k·u.
/// coverage_factor: its k, customarily 2.
/// reach: struct of the caller whose size is set.
///
/// Returns what wa_plan_json returns, but for WA_BUFFER_TOO_SMALL.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_reach(
    plan: *const WaPlan,
    expanded_uncertainty_deg: f64,
    coverage_factor: f64,
    reach: *mut WaReach,
    error: *mut WaError,
) -> i32 {
    let job = || {
        // SAFETY: the caller's promises are handed on.
        let (plan, target) = unsafe { (read("plan", plan)?, Target::new("reach", reach)?) };
        let Reach { roll_range_deg, wheels_expanded_deg, sweep_range_deg, steering_expanded_deg } =
            uncertainty::reach(&plan.plan()?, expanded_uncertainty_deg, coverage_factor)?;
        target.write(WaReach {
            size: 0,
            roll_range_deg: roll_range_deg.into(),
            sweep_range_deg: sweep_range_deg.into(),
            wheels_expanded_deg,
            steering_expanded_deg: steering_expanded_deg.into(),
        });
        Ok(())
    };
    // SAFETY: the caller's promise about `error` is handed on.
    unsafe { guard(error, job) }
}
