//! From the uncertainties of inputs to those of any function of them.

use crate::error::{Failure, WaError, guard};
use crate::memory::{Places, WaOptional, elements, give, in_place, list};
use alignment_core::propagation::{self, Expanded, Input, Output};

/// What is known of one input of a measurement function.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaInput {
    /// The estimate.
    pub estimate: f64,
    /// Its standard uncertainty, in the same unit; not negative.
    pub standard_uncertainty: f64,
    /// The degrees of freedom on which it rests, at least 1; infinite when it is itself known.
    pub degrees_of_freedom: f64,
}

/// One output of a measurement function, with its uncertainty.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaOutput {
    /// The estimate.
    pub estimate: f64,
    /// Its standard uncertainty, in the same unit.
    pub standard_uncertainty: f64,
    /// Its effective degrees of freedom, infinite if it is known. Absent when correlated inputs differ in them.
    pub degrees_of_freedom: WaOptional,
}

/// An interval about an estimate, estimate ± expanded uncertainty, that holds the quantity with a stated probability.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaExpanded {
    /// The factor on the standard uncertainty.
    pub coverage_factor: f64,
    /// Half the length of the interval, in the unit of the estimate.
    pub expanded_uncertainty: f64,
}

impl From<Input> for WaInput {
    fn from(Input { estimate, standard_uncertainty, degrees_of_freedom }: Input) -> Self {
        Self { estimate, standard_uncertainty, degrees_of_freedom }
    }
}

impl From<&WaInput> for Input {
    fn from(of: &WaInput) -> Self {
        let WaInput { estimate, standard_uncertainty, degrees_of_freedom } = *of;
        Self { estimate, standard_uncertainty, degrees_of_freedom }
    }
}

impl From<Expanded> for WaExpanded {
    fn from(Expanded { coverage_factor, expanded_uncertainty }: Expanded) -> Self {
        Self { coverage_factor, expanded_uncertainty }
    }
}

impl From<Option<Expanded>> for WaExpanded {
    fn from(of: Option<Expanded>) -> Self {
        of.map_or(Self { coverage_factor: f64::NAN, expanded_uncertainty: f64::NAN }, Self::from)
    }
}

/// An input whose standard uncertainty is known, as from a certificate: with infinite degrees of freedom. It is checked
/// where it is used.
///
/// Returns WA_SUCCESS.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_input_known(
    estimate: f64,
    standard_uncertainty: f64,
    input: *mut WaInput,
    error: *mut WaError,
) -> i32 {
    let job = || Ok(Input::known(estimate, standard_uncertainty).into());
    // SAFETY: the caller's promises are handed on.
    unsafe { give(error, ("input", input), job) }
}

/// An input from repeated observations: their mean, and the standard deviation of that mean.
///
/// observations: observations_count numbers, at least two.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_OUT_OF_RANGE for fewer than two.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_input_from_observations(
    observations: *const f64,
    observations_count: usize,
    input: *mut WaInput,
    error: *mut WaError,
) -> i32 {
    // SAFETY: the caller's promises are handed on.
    let job = || {
        let observations = unsafe { elements("observations", observations, observations_count)? };
        Ok(Input::from_observations(observations)?.into())
    };
    // SAFETY: as before.
    unsafe { give(error, ("input", input), job) }
}

/// The expanded uncertainty of an output for a probability, in its unit: coverage factor times standard uncertainty. The
/// degrees of freedom are rounded down to a whole number.
///
/// probability: between 0 and 1, customarily 0.95.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_OUT_OF_RANGE; WA_MISSING_INPUT when the degrees of freedom are absent.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_output_expanded(
    output: *const WaOutput,
    probability: f64,
    expanded: *mut WaExpanded,
    error: *mut WaError,
) -> i32 {
    // SAFETY: the caller's promises are handed on.
    let job = || {
        let WaOutput { estimate, standard_uncertainty, degrees_of_freedom } = *unsafe { in_place("output", output)? };
        let degrees_of_freedom = degrees_of_freedom.get();
        let (sensitivities, budget) = (Vec::new(), Vec::new());
        let output = Output { estimate, standard_uncertainty, degrees_of_freedom, sensitivities, budget };
        Ok(output.expanded(probability)?.into())
    };
    // SAFETY: as before.
    unsafe { give(error, ("expanded", expanded), job) }
}

/// Propagates the uncertainties of n inputs to m outputs whose derivatives c are known, to first order:
/// cov(y_k, y_l) = sum over i and j of c_ki·c_lj·r_ij·u_i·u_j.
///
/// inputs: inputs_count of them: n.
/// correlation: n·n coefficients r of the inputs, row by row, or NULL when they are independent.
/// estimates: of the outputs, estimates_count of them: m.
/// sensitivities: m·n derivatives, output by output.
/// outputs: m of them are written.
/// covariance: m·m numbers are written, row by row, each in the product of both units; NULL when it is not wanted.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_OUT_OF_RANGE for a negative uncertainty or fewer than 1 degree of freedom;
/// WA_NOT_A_COVARIANCE for correlations that cannot be; WA_BAD_LENGTH.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_combine(
    inputs: *const WaInput,
    inputs_count: usize,
    correlation: *const f64,
    estimates: *const f64,
    estimates_count: usize,
    sensitivities: *const f64,
    outputs: *mut WaOutput,
    covariance: *mut f64,
    error: *mut WaError,
) -> i32 {
    let job = || {
        let square = |name, a: usize, b: usize| a.checked_mul(b).ok_or(Failure::BadLength { name });
        let of_outputs = square("covariance", estimates_count, estimates_count)?;
        let of_both = square("sensitivities", estimates_count, inputs_count)?;
        let of_inputs = square("correlation", inputs_count, inputs_count)?;
        // SAFETY: the caller's promises are handed on.
        let (known, estimates, sensitivities, correlation) = unsafe {
            let sensitivities = list("sensitivities", sensitivities, of_both)?;
            let correlation =
                if correlation.is_null() { None } else { Some(elements("correlation", correlation, of_inputs)?) };
            let estimates = list("estimates", estimates, estimates_count)?;
            (list("inputs", inputs, inputs_count)?, estimates, sensitivities, correlation)
        };
        // SAFETY: as before.
        let (to_outputs, to_covariance) = unsafe {
            let none = covariance.is_null();
            let to = (!none).then(|| Places::new("covariance", covariance, of_outputs)).transpose()?;
            (Places::new("outputs", outputs, estimates_count)?, to)
        };
        let known: Vec<Input> = known.iter().map(Input::from).collect();
        // One row for each output, also when there is no input.
        let row = |k: usize| sensitivities[k * inputs_count..(k + 1) * inputs_count].to_vec();
        let sensitivities: Vec<Vec<f64>> = (0..estimates_count).map(row).collect();
        let rows = correlation.map(|all| {
            let row = |i: usize| all[i * inputs_count..(i + 1) * inputs_count].to_vec();
            (0..inputs_count).map(row).collect::<Vec<_>>()
        });
        let found = propagation::combine(&known, rows.as_deref(), estimates, &sensitivities)?;
        to_outputs.write(found.outputs.iter().map(|output| WaOutput {
            estimate: output.estimate,
            standard_uncertainty: output.standard_uncertainty,
            degrees_of_freedom: output.degrees_of_freedom.into(),
        }));
        if let Some(places) = to_covariance {
            places.write(found.covariance.into_iter().flatten());
        }
        Ok(())
    };
    // SAFETY: the caller's promise about `error` is handed on.
    unsafe { guard(error, job) }
}

/// Effective degrees of freedom of a sum of independent parts, by the formula of Welch and Satterthwaite.
///
/// shares: shares_count pairs of numbers: of each part its variance, or its share of it, and its degrees of freedom, at
///     least 1, which may be infinite.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_OUT_OF_RANGE.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_effective_degrees_of_freedom(
    shares: *const f64,
    shares_count: usize,
    degrees_of_freedom: *mut f64,
    error: *mut WaError,
) -> i32 {
    // SAFETY: the caller's promises are handed on; an array is aligned as its elements are.
    let job = || {
        let pairs = unsafe { list("shares", shares.cast::<[f64; 2]>(), shares_count)? };
        let pairs: Vec<(f64, f64)> = pairs.iter().map(|&[share, freedom]| (share, freedom)).collect();
        Ok(propagation::effective_degrees_of_freedom(&pairs)?)
    };
    // SAFETY: as before.
    unsafe { give(error, ("degrees_of_freedom", degrees_of_freedom), job) }
}

/// The coverage factor for a probability, by Student's t.
///
/// probability: between 0 and 1, customarily 0.95.
/// degrees_of_freedom: at least 1; may be infinite.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_OUT_OF_RANGE.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_coverage_factor(
    probability: f64,
    degrees_of_freedom: f64,
    coverage_factor: *mut f64,
    error: *mut WaError,
) -> i32 {
    let job = || Ok(propagation::coverage_factor(probability, degrees_of_freedom)?);
    // SAFETY: the caller's promises are handed on.
    unsafe { give(error, ("coverage_factor", coverage_factor), job) }
}

/// Half a unit of the last digit of a standard uncertainty that is stated with so many significant digits.
///
/// standard_uncertainty: not negative.
/// significant_digits: 1 to 4.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_OUT_OF_RANGE.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_numerical_tolerance(
    standard_uncertainty: f64,
    significant_digits: u32,
    tolerance: *mut f64,
    error: *mut WaError,
) -> i32 {
    let job = || Ok(propagation::numerical_tolerance(standard_uncertainty, significant_digits)?);
    // SAFETY: the caller's promises are handed on.
    unsafe { give(error, ("tolerance", tolerance), job) }
}
