//! How much a reading scatters when it is taken again, and where the scatter comes from.

use crate::error::{Failure, WaError, guard};
use crate::memory::{ResultBuffer, StatesSize, Target, elements, guard_text, optional, to_json};
use alignment_core::repeatability::{Repeatability, crossed, one_way, repeatability};
use std::ffi::c_char;

/// Repeats of one reading; all but the degrees of freedom and the factor in the unit of the values.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaRepeatability {
    /// Set by the caller: sizeof(wa_repeatability_result).
    pub size: usize,
    /// Mean.
    pub mean: f64,
    /// Standard deviation of one value.
    pub standard_deviation: f64,
    /// Degrees of freedom: values less one.
    pub degrees_of_freedom: f64,
    /// Standard deviation of the mean.
    pub standard_deviation_of_mean: f64,
    /// Coverage factor for 95 %, by Student's t.
    pub coverage_factor: f64,
    /// Expanded uncertainty of one value, by scatter alone: coverage factor times standard deviation.
    pub expanded: f64,
    /// Expanded uncertainty of the mean, by scatter alone.
    pub expanded_of_mean: f64,
}

// SAFETY: repr(C), begins with a usize, and numbers are all it has.
unsafe impl StatesSize for WaRepeatability {}

/// Mean, standard deviation and what follows from them, of repeats of one reading under the same conditions.
///
/// values: at least two, all in one unit.
/// repeatability_result: struct of the caller whose size is set.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_OUT_OF_RANGE for fewer than two values or one beyond ± 1e9.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_repeatability(
    values: *const f64,
    count: usize,
    repeatability_result: *mut WaRepeatability,
    error: *mut WaError,
) -> i32 {
    let job = || {
        // SAFETY: the caller's promises are handed on.
        let (values, target) =
            unsafe { (elements("values", values, count)?, Target::new("repeatability_result", repeatability_result)?) };
        let Repeatability {
            mean,
            standard_deviation,
            degrees_of_freedom,
            standard_deviation_of_mean,
            coverage_factor,
            expanded,
            expanded_of_mean,
        } = repeatability(values)?;
        target.write(WaRepeatability {
            size: 0,
            mean,
            standard_deviation,
            degrees_of_freedom,
            standard_deviation_of_mean,
            coverage_factor,
            expanded,
            expanded_of_mean,
        });
        Ok(())
    };
    // SAFETY: the caller's promise about `error` is handed on.
    unsafe { guard(error, job) }
}

/// Repeatability and reproducibility from groups of repeats on one car: the repeats of one clamping, or of one
/// operator, make a group. Groups may differ in size, and their order does not matter.
///
/// values: group after group, all in one unit; as many as the sizes add up to.
/// group_sizes: how many values each of group_count groups has.
///
/// The result has "mean"; the table's lines "between" and "within", each with "sum_of_squares",
/// "degrees_of_freedom", "mean_square", "f" and "p"; "repeats_per_group"; "repeatability_sd",
/// "between_sd" with "between_negative", "reproducibility_sd" with
/// "reproducibility_degrees_of_freedom"; "repeatability_limit" and "reproducibility_limit", 2.8 of their
/// standard deviations. Standard deviations and limits are in the unit of the values.
///
/// Returns WA_SUCCESS; WA_BUFFER_TOO_SMALL; WA_NOT_FINITE; WA_OUT_OF_RANGE for fewer than two groups, an empty
/// one, none with two values, or a value beyond ± 1e9.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_one_way_json(
    values: *const f64,
    group_sizes: *const usize,
    group_count: usize,
    result_json: *mut c_char,
    result_capacity: usize,
    result_length: *mut usize,
    error: *mut WaError,
) -> i32 {
    let result = ResultBuffer { json: result_json, capacity: result_capacity, length: result_length };
    let job = || {
        // SAFETY: the caller's promise is handed on.
        let sizes = unsafe { elements("group_sizes", group_sizes, group_count)? };
        let count = sizes.iter().try_fold(0_usize, |sum, &size| sum.checked_add(size));
        let count = count.ok_or(Failure::BadLength { name: "values" })?;
        // SAFETY: as before.
        let mut rest = unsafe { elements("values", values, count)? };
        let groups: Vec<&[f64]> = sizes.iter().filter_map(|&size| rest.split_off(..size)).collect();
        to_json(&one_way(&groups)?)
    };
    // SAFETY: the caller's promises are handed on.
    unsafe { guard_text(result, error, job) }
}

/// Where the scatter of a reading comes from, when several cars are each measured by every operator, so many
/// times each. Operators may as well be rigs, or sets of clamps.
///
/// values: cars·operators·repeats of them, all in one unit: the repeats of the first operator on the first
///     car, those of the second operator on it, and so on, then the next car.
/// pool_above_p: the p-value above which the interaction of operators and cars is pooled with the repeats,
///     customarily 0.25; 1 never pools.
/// tolerance: NULL, or the width from the lower to the upper limit of the specification.
///
/// The result has "mean"; the table's lines "cars", "operators", "interaction", "repeats" and "pooled", as
/// those of wa_one_way_json; the shares "repeatability", "operator", "operator_by_car",
/// "between_operators", "gauge", "car" and "total", each with "variance", "negative",
/// "standard_deviation", "percent_contribution", "percent_of_total" and "percent_of_tolerance";
/// "gauge_degrees_of_freedom" and "distinct_categories".
///
/// Returns WA_SUCCESS; WA_BUFFER_TOO_SMALL; WA_NOT_FINITE; WA_OUT_OF_RANGE for fewer than two cars, operators
/// or repeats, a value beyond ± 1e9, a probability outside 0 to 1, or a tolerance outside 1e-9 to 1e9.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_crossed_json(
    values: *const f64,
    cars: usize,
    operators: usize,
    repeats: usize,
    pool_above_p: f64,
    tolerance: *const f64,
    result_json: *mut c_char,
    result_capacity: usize,
    result_length: *mut usize,
    error: *mut WaError,
) -> i32 {
    let result = ResultBuffer { json: result_json, capacity: result_capacity, length: result_length };
    let job = || {
        // The core's own check, before anything is divided by a count.
        for (name, count) in [("cars", cars), ("operators", operators), ("repeats", repeats)] {
            if count < 2 {
                return Err(Failure::out_of_range(name, f64::from(u8::from(count == 1)), 2.0, None));
            }
        }
        let count = cars.checked_mul(operators).and_then(|of_cars| of_cars.checked_mul(repeats));
        let count = count.ok_or(Failure::BadLength { name: "values" })?;
        // SAFETY: the caller's promises are handed on.
        let (values, tolerance) =
            unsafe { (elements("values", values, count)?, optional("tolerance", tolerance)?.copied()) };
        let groups: Vec<&[f64]> = values.chunks_exact(repeats).collect();
        let study: Vec<&[&[f64]]> = groups.chunks_exact(operators).collect();
        to_json(&crossed(&study, pool_above_p, tolerance)?)
    };
    // SAFETY: the caller's promises are handed on.
    unsafe { guard_text(result, error, job) }
}
