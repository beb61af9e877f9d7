//! The law of propagation of uncertainty: what the uncertainties of the inputs make of any function of them, to first order.
//!
//! A measurement function is written once, over any [`Number`]. With [`Dual`] numbers in, exact derivatives come out, and
//! [`law_of_propagation`] makes the uncertainties, covariances and budgets of all outputs from them. With plain numbers in, the same
//! function serves the Monte Carlo method of [`monte_carlo`](crate::monte_carlo), which tells whether first order is enough.
//!
//! Units are those of the caller: an input's uncertainty has the unit of its estimate, an output's that of its own.

use crate::error::{Error, ErrorCode};
use crate::lanes::Real;
use crate::statistics::student_t_quantile;
use crate::units::{self, DEG_PER_RAD};
use alloc::vec;
use alloc::vec::Vec;
use core::iter::zip;
use core::ops::{Add, Div, Mul, Neg, Sub};

/// A correlation matrix may lack so much of being one, by rounding.
const CORRELATION_TOLERANCE: f64 = 1e-9;

/// What a measurement function computes with: `f64`, or a [`Dual`] number that carries derivatives along. Angles are in radians.
///
/// ```
/// use alignment_core::propagation::Number;
///
/// fn length_and_bearing<T: Number>([x, y]: [T; 2]) -> [T; 2] {
///     [x.hypot(y), y.atan2(x)]
/// }
/// assert_eq!(length_and_bearing([3.0, 4.0])[0], 5.0);
/// ```
pub trait Number:
    Copy
    + Neg<Output = Self>
    + Add<Output = Self>
    + Sub<Output = Self>
    + Mul<Output = Self>
    + Div<Output = Self>
    + Add<f64, Output = Self>
    + Sub<f64, Output = Self>
    + Mul<f64, Output = Self>
    + Div<f64, Output = Self>
{
    /// A number that depends on no input.
    #[must_use]
    fn constant(value: f64) -> Self;
    /// The number alone.
    fn value(self) -> f64;
    /// √self.
    #[must_use]
    fn sqrt(self) -> Self;
    /// The sine of radians.
    #[must_use]
    fn sin(self) -> Self;
    /// The cosine of radians.
    #[must_use]
    fn cos(self) -> Self;
    /// The tangent of radians.
    #[must_use]
    fn tan(self) -> Self;
    /// The arc sine, radians.
    #[must_use]
    fn asin(self) -> Self;
    /// The arc tangent, radians.
    #[must_use]
    fn atan(self) -> Self;
    /// The angle of the point (`x`, self) from the x axis, radians.
    #[must_use]
    fn atan2(self, x: Self) -> Self;
    /// e to the power self.
    #[must_use]
    fn exp(self) -> Self;
    /// The natural logarithm.
    #[must_use]
    fn ln(self) -> Self;
    /// self to a whole power.
    #[must_use]
    fn powi(self, exponent: i32) -> Self;
    /// √(self² + other²).
    #[must_use]
    fn hypot(self, other: Self) -> Self;
}

impl Number for f64 {
    fn constant(value: f64) -> Self {
        value
    }
    fn value(self) -> f64 {
        self
    }
    fn sqrt(self) -> Self {
        libm::sqrt(self)
    }
    fn sin(self) -> Self {
        libm::sin(self)
    }
    fn cos(self) -> Self {
        libm::cos(self)
    }
    fn tan(self) -> Self {
        libm::tan(self)
    }
    fn asin(self) -> Self {
        libm::asin(self)
    }
    fn atan(self) -> Self {
        libm::atan(self)
    }
    fn atan2(self, x: Self) -> Self {
        libm::atan2(self, x)
    }
    fn exp(self) -> Self {
        libm::exp(self)
    }
    fn ln(self) -> Self {
        libm::log(self)
    }
    fn powi(self, exponent: i32) -> Self {
        libm::pow(self, f64::from(exponent))
    }
    fn hypot(self, other: Self) -> Self {
        libm::hypot(self, other)
    }
}

/// A number and its derivatives to each of `N` inputs. Computing with it gives exact derivatives, by the chain rule.
///
/// Where a function has no derivative (√ and hypot at 0, arc sine at 1) they are not finite.
///
/// ```
/// use alignment_core::propagation::{Dual, Number};
///
/// let x = Dual { value: 3.0, derivatives: [1.0] };
/// let y = x * x + x.ln();
/// assert!((y.derivatives[0] - (6.0 + 1.0 / 3.0)).abs() < 1e-15);
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Dual<const N: usize> {
    /// The number.
    pub value: f64,
    /// Its derivative to each input.
    pub derivatives: [f64; N],
}

impl<const N: usize> Dual<N> {
    /// A function of one number, from its value and its derivative there.
    fn through(self, value: f64, slope: f64) -> Self {
        Self { value, derivatives: self.derivatives.map(|d| d * slope) }
    }

    /// A function of two numbers, from its value and its two derivatives there.
    fn with(self, other: Self, value: f64, slopes: [f64; 2]) -> Self {
        let derivatives = core::array::from_fn(|i| self.derivatives[i] * slopes[0] + other.derivatives[i] * slopes[1]);
        Self { value, derivatives }
    }
}

impl<const N: usize> Neg for Dual<N> {
    type Output = Self;
    fn neg(self) -> Self {
        self.through(-self.value, -1.0)
    }
}

impl<const N: usize> Add for Dual<N> {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        self.with(other, self.value + other.value, [1.0, 1.0])
    }
}

impl<const N: usize> Sub for Dual<N> {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        self.with(other, self.value - other.value, [1.0, -1.0])
    }
}

impl<const N: usize> Mul for Dual<N> {
    type Output = Self;
    fn mul(self, other: Self) -> Self {
        self.with(other, self.value * other.value, [other.value, self.value])
    }
}

impl<const N: usize> Div for Dual<N> {
    type Output = Self;
    fn div(self, other: Self) -> Self {
        let quotient = self.value / other.value;
        self.with(other, quotient, [1.0 / other.value, -quotient / other.value])
    }
}

impl<const N: usize> Add<f64> for Dual<N> {
    type Output = Self;
    fn add(self, other: f64) -> Self {
        self.through(self.value + other, 1.0)
    }
}

impl<const N: usize> Sub<f64> for Dual<N> {
    type Output = Self;
    fn sub(self, other: f64) -> Self {
        self.through(self.value - other, 1.0)
    }
}

impl<const N: usize> Mul<f64> for Dual<N> {
    type Output = Self;
    fn mul(self, other: f64) -> Self {
        self.through(self.value * other, other)
    }
}

impl<const N: usize> Div<f64> for Dual<N> {
    type Output = Self;
    fn div(self, other: f64) -> Self {
        self.through(self.value / other, 1.0 / other)
    }
}

impl<const N: usize> Number for Dual<N> {
    fn constant(value: f64) -> Self {
        Self { value, derivatives: [0.0; N] }
    }
    fn value(self) -> f64 {
        self.value
    }
    fn sqrt(self) -> Self {
        let root = libm::sqrt(self.value);
        self.through(root, 0.5 / root)
    }
    fn sin(self) -> Self {
        let (sin, cos) = libm::sincos(self.value);
        self.through(sin, cos)
    }
    fn cos(self) -> Self {
        let (sin, cos) = libm::sincos(self.value);
        self.through(cos, -sin)
    }
    fn tan(self) -> Self {
        let tan = libm::tan(self.value);
        self.through(tan, 1.0 + tan * tan)
    }
    fn asin(self) -> Self {
        let v = self.value;
        self.through(libm::asin(v), 1.0 / libm::sqrt((1.0 - v) * (1.0 + v)))
    }
    fn atan(self) -> Self {
        let v = self.value;
        self.through(libm::atan(v), 1.0 / (1.0 + v * v))
    }
    fn atan2(self, x: Self) -> Self {
        let distance = libm::hypot(self.value, x.value);
        let [sin, cos] = [self.value, x.value].map(|v| v / distance);
        self.with(x, libm::atan2(self.value, x.value), [cos / distance, -sin / distance])
    }
    fn exp(self) -> Self {
        let exp = libm::exp(self.value);
        self.through(exp, exp)
    }
    fn ln(self) -> Self {
        self.through(libm::log(self.value), 1.0 / self.value)
    }
    fn powi(self, exponent: i32) -> Self {
        let n = f64::from(exponent);
        let slope = if exponent == 0 { 0.0 } else { n * libm::pow(self.value, n - 1.0) };
        self.through(libm::pow(self.value, n), slope)
    }
    fn hypot(self, other: Self) -> Self {
        let hypot = libm::hypot(self.value, other.value);
        self.with(other, hypot, [self.value / hypot, other.value / hypot])
    }
}

/// So the formulas of the readings carry derivatives along as well.
impl<const N: usize> Real for Dual<N> {
    type Truth = bool;
    fn within(self, bounds: [f64; 2]) -> bool {
        self.value.within(bounds)
    }
    fn like(self, value: f64) -> Self {
        Self::constant(value)
    }
    fn if_less(self, bound: Self, then: Self, otherwise: Self) -> Self {
        if self.value < bound.value { then } else { otherwise }
    }
    fn sqrt(self) -> Self {
        Number::sqrt(self)
    }
    fn scale_to_one(self) -> Self {
        if self.value > 0.0 { Self::constant(1.0) / self } else { Self::constant(1.0) }
    }
    fn asin_deg(self) -> Self {
        let v = self.value;
        self.through(v.asin_deg(), DEG_PER_RAD / libm::sqrt((1.0 - v) * (1.0 + v)))
    }
    fn atan2_deg(self, x: Self) -> Self {
        Self { value: self.value.atan2_deg(x.value), ..self.atan2_rad(x) * DEG_PER_RAD }
    }
    fn atan2_rad(self, x: Self) -> Self {
        Number::atan2(self, x)
    }
}

/// What is known of one input of a measurement function.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Input {
    /// The best estimate, in the input's unit.
    pub estimate: f64,
    /// Its standard uncertainty, in the same unit: one standard deviation.
    pub standard_uncertainty: f64,
    /// How well that uncertainty is known: its degrees of freedom, at least 1, not whole if need be; infinite for an uncertainty that is
    /// known.
    pub degrees_of_freedom: f64,
}

impl Input {
    /// An input whose standard uncertainty is known: infinite degrees of freedom. Both in one unit.
    ///
    /// ```
    /// # use alignment_core::propagation::Input;
    /// assert_eq!(Input::known(20.0, 0.1).degrees_of_freedom, f64::INFINITY);
    /// ```
    #[must_use]
    pub const fn known(estimate: f64, standard_uncertainty: f64) -> Self {
        Self { estimate, standard_uncertainty, degrees_of_freedom: f64::INFINITY }
    }

    /// The mean of n repeated, independent observations, with s/√n for uncertainty and n − 1 degrees of freedom, in their unit; s is their
    /// standard deviation.
    ///
    /// # Errors
    /// [`ErrorCode::NotFinite`]; [`ErrorCode::OutOfRange`] for fewer than two observations.
    ///
    /// ```
    /// # use alignment_core::propagation::Input;
    /// let camber_deg = Input::from_observations(&[-0.52, -0.48, -0.50, -0.50])?;
    /// assert!((camber_deg.estimate + 0.5).abs() < 1e-12);
    /// assert!((camber_deg.standard_uncertainty - 0.00816).abs() < 1e-5);
    /// assert_eq!(camber_deg.degrees_of_freedom, 3.0);
    /// # Ok::<(), alignment_core::Error>(())
    /// ```
    pub fn from_observations(observations: &[f64]) -> Result<Self, Error> {
        let n = count(observations.len());
        if n < 2.0 {
            return Err(Error::new(ErrorCode::OutOfRange).input("observations").value(n).at_least(2.0));
        }
        let estimate = observations.iter().map(|v| v / n).sum::<f64>();
        let squares = observations.iter().map(|v| (v - estimate) * (v - estimate)).sum::<f64>();
        let input =
            Self { estimate, standard_uncertainty: libm::sqrt(squares / (n - 1.0) / n), degrees_of_freedom: n - 1.0 };
        input.check().map_err(|error| error.input("observations"))?;
        Ok(input)
    }

    pub(crate) fn check(&self) -> Result<(), Error> {
        if !self.estimate.is_finite() {
            return Err(Error::new(ErrorCode::NotFinite).input("estimate"));
        }
        check_not_negative("standard_uncertainty", self.standard_uncertainty)?;
        check_freedom(self.degrees_of_freedom)
    }
}

/// What one input contributes to the uncertainty of an output.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Contribution {
    /// Which input, counted from 0.
    pub input: usize,
    /// Its own part of the output's standard uncertainty, |sensitivity|·standard uncertainty, in the output's unit.
    pub standard_uncertainty: f64,
    /// Its share of the output's variance. The shares of an output add up to 1. What two correlated inputs cause together is split
    /// evenly between them, and may make a share negative. All are 0 when the output is certain.
    pub share: f64,
}

/// One output of a measurement function, with its uncertainty.
#[derive(Debug, Clone, PartialEq)]
pub struct Output {
    /// The estimate.
    pub estimate: f64,
    /// Its standard uncertainty, in the same unit.
    pub standard_uncertainty: f64,
    /// The effective degrees of freedom of that uncertainty, by Welch and Satterthwaite, infinite if it is known.
    ///
    /// Inputs correlated with each other, directly or through others, count as one if they have the same degrees of freedom, as the means
    /// of quantities observed together do. Absent when correlated inputs differ in it: no formula is then exact.
    pub degrees_of_freedom: Option<f64>,
    /// The derivative to each input, in the order of the inputs.
    pub sensitivities: Vec<f64>,
    /// What each input contributes, the greatest share first.
    pub budget: Vec<Contribution>,
}

/// An interval about an estimate, estimate ± expanded uncertainty, that holds the quantity with a stated probability.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Expanded {
    /// The factor on the standard uncertainty.
    pub coverage_factor: f64,
    /// Half the length of the interval, in the output's unit.
    pub expanded_uncertainty: f64,
}

impl Output {
    /// The expanded uncertainty for a probability, in the output's unit: [`coverage_factor`]·standard uncertainty.
    ///
    /// The effective degrees of freedom are rounded down to a whole number, as is the cautious custom: the factor comes out a little larger.
    ///
    /// # Errors
    /// [`ErrorCode::NotFinite`]; [`ErrorCode::OutOfRange`] as [`coverage_factor`]; [`ErrorCode::MissingInput`] when the effective degrees of
    /// freedom are absent.
    ///
    /// ```
    /// # use alignment_core::propagation::{Input, law_of_propagation};
    /// let inputs = [Input::known(2.0, 0.3), Input::known(1.0, 0.4)];
    /// let sum = &law_of_propagation(&inputs, None, |[a, b]| [a + b])?.outputs[0];
    /// assert!((sum.expanded(0.95)?.expanded_uncertainty - 0.98).abs() < 1e-4);
    /// # Ok::<(), alignment_core::Error>(())
    /// ```
    pub fn expanded(&self, probability: f64) -> Result<Expanded, Error> {
        let Some(freedom) = self.degrees_of_freedom else {
            return Err(Error::new(ErrorCode::MissingInput).input("degrees_of_freedom"));
        };
        let coverage_factor = coverage_factor(probability, libm::floor(freedom).max(1.0))?;
        Ok(Expanded { coverage_factor, expanded_uncertainty: coverage_factor * self.standard_uncertainty })
    }
}

/// What the law of propagation makes of a measurement function.
#[derive(Debug, Clone, PartialEq)]
pub struct Propagation {
    /// The outputs, in the function's order.
    pub outputs: Vec<Output>,
    /// The covariances of the outputs, each in the product of both units; the variances stand on the diagonal.
    pub covariance: Vec<Vec<f64>>,
    /// The correlations of the outputs; 0 beside an output that is certain.
    pub correlation: Vec<Vec<f64>>,
}

/// Propagates the uncertainties of the inputs through a function, to first order: with its derivatives c at the estimates,
/// cov(y_k, y_l) = Σ_i Σ_j c_ki·c_lj·r_ij·u_i·u_j.
///
/// `correlation` has the coefficients r of the inputs, which are independent without it. Outputs are in the function's own units.
///
/// # Errors
/// [`ErrorCode::NotFinite`], also for a function that has no value or no derivative at the estimates; [`ErrorCode::OutOfRange`] for a
/// negative uncertainty or fewer than 1 degree of freedom; [`ErrorCode::NotACovariance`] for correlations that cannot be, to 1e-9.
///
/// ```
/// use alignment_core::propagation::{Input, Number, law_of_propagation};
///
/// // Toe-out of a steered wheel pair, and their mean, from two angles read with one instrument.
/// let inputs = [Input::known(20.0, 0.05), Input::known(18.0, 0.05)];
/// let correlation = [[1.0, 0.8], [0.8, 1.0]];
/// let result = law_of_propagation(&inputs, Some(&correlation), |[inner, outer]| [inner - outer, (inner + outer) / 2.0])?;
/// let [difference, mean] = &result.outputs[..] else { unreachable!() };
/// // What both share cancels in the difference and stays in the mean.
/// assert!((difference.standard_uncertainty - 0.0316).abs() < 1e-4);
/// assert!((mean.standard_uncertainty - 0.0474).abs() < 1e-4);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn law_of_propagation<const N: usize, const M: usize>(
    inputs: &[Input; N],
    correlation: Option<&[[f64; N]; N]>,
    function: impl Fn([Dual<N>; N]) -> [Dual<N>; M],
) -> Result<Propagation, Error> {
    let outputs = function(core::array::from_fn(|i| {
        let mut derivatives = [0.0; N];
        derivatives[i] = 1.0;
        Dual { value: inputs[i].estimate, derivatives }
    }));
    let correlation: Option<Vec<Vec<f64>>> = correlation.map(|rows| rows.iter().map(|row| row.to_vec()).collect());
    let sensitivities: Vec<Vec<f64>> = outputs.iter().map(|output| output.derivatives.to_vec()).collect();
    combine(inputs, correlation.as_deref(), &outputs.map(|output| output.value), &sensitivities)
}

/// As [`law_of_propagation`], from estimates of the outputs and derivatives that are known already, one row per output, one column per input.
///
/// # Errors
/// As [`law_of_propagation`]; [`ErrorCode::OutOfRange`] too for a row of the wrong length.
///
/// ```
/// # use alignment_core::propagation::{Input, combine};
/// let inputs = [Input::known(2.0, 0.3), Input::known(1.0, 0.4)];
/// let result = combine(&inputs, None, &[3.0], &[vec![1.0, 1.0]])?;
/// assert!((result.outputs[0].standard_uncertainty - 0.5).abs() < 1e-15);
/// assert_eq!(result.outputs[0].budget[0].input, 1);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn combine(
    inputs: &[Input],
    correlation: Option<&[Vec<f64>]>,
    estimates: &[f64],
    sensitivities: &[Vec<f64>],
) -> Result<Propagation, Error> {
    for input in inputs {
        input.check()?;
    }
    if let Some(rows) = correlation {
        factor(rows, inputs.len())?;
    }
    check_length("sensitivities", sensitivities.len(), estimates.len())?;
    for row in sensitivities {
        check_length("sensitivities", row.len(), inputs.len())?;
        check_finite("sensitivities", row)?;
    }
    check_finite("outputs", estimates)?;

    let parts: Vec<Vec<f64>> = sensitivities
        .iter()
        .map(|row| zip(row, inputs).map(|(c, input)| c * input.standard_uncertainty).collect())
        .collect();
    // Each input's part together with the parts that are correlated with it.
    let joint = |part: &[f64]| -> Vec<f64> {
        match correlation {
            Some(rows) => rows.iter().map(|row| dot(row, part)).collect(),
            None => part.to_vec(),
        }
    };
    let joint: Vec<Vec<f64>> = parts.iter().map(|part| joint(part)).collect();
    let covariance: Vec<Vec<f64>> =
        parts.iter().map(|part| joint.iter().map(|other| dot(part, other)).collect()).collect();
    for row in &covariance {
        check_finite("covariance", row)?;
    }
    // Rounding may leave a certain output a variance just below 0.
    let uncertainties: Vec<f64> = (0..parts.len()).map(|k| libm::sqrt(covariance[k][k].max(0.0))).collect();
    let coefficient = |k: usize, l: usize| {
        let product = uncertainties[k] * uncertainties[l];
        match (k == l, product > 0.0) {
            (true, _) => 1.0,
            (false, true) => (covariance[k][l] / product).clamp(-1.0, 1.0),
            (false, false) => 0.0,
        }
    };
    let all = 0..parts.len();
    let correlations = all.clone().map(|k| all.clone().map(|l| coefficient(k, l)).collect()).collect();
    let outputs = all.map(|k| {
        let variance = uncertainties[k] * uncertainties[k];
        let share = |i: usize| if variance > 0.0 { parts[k][i] * joint[k][i] / variance } else { 0.0 };
        let mut budget: Vec<Contribution> = (0..inputs.len())
            .map(|input| Contribution { input, standard_uncertainty: parts[k][input].abs(), share: share(input) })
            .collect();
        units::sort_by(&mut budget, |a, b| b.share.total_cmp(&a.share));
        Output {
            estimate: estimates[k],
            standard_uncertainty: uncertainties[k],
            degrees_of_freedom: freedom_of(inputs, correlation, &parts[k], &joint[k]),
            sensitivities: sensitivities[k].clone(),
            budget,
        }
    });
    Ok(Propagation { outputs: outputs.collect(), covariance, correlation: correlations })
}

/// The effective degrees of freedom of one output, from each input's part of it, alone and with what is correlated with it.
fn freedom_of(inputs: &[Input], correlation: Option<&[Vec<f64>]>, parts: &[f64], joint: &[f64]) -> Option<f64> {
    // Inputs that hang together carry the number of the first of them.
    let mut group: Vec<usize> = (0..inputs.len()).collect();
    for (i, row) in correlation.unwrap_or_default().iter().enumerate() {
        for j in 0..i {
            if row[j] != 0.0 && parts[i] != 0.0 && parts[j] != 0.0 {
                let (from, to) = (group[i].max(group[j]), group[i].min(group[j]));
                group.iter_mut().filter(|number| **number == from).for_each(|number| *number = to);
            }
        }
    }
    let mut terms = vec![(0.0, f64::INFINITY); inputs.len()];
    for (i, input) in inputs.iter().enumerate().filter(|&(i, _)| parts[i] != 0.0) {
        let first = &inputs[group[i]];
        if input.degrees_of_freedom.to_bits() != first.degrees_of_freedom.to_bits() {
            return None;
        }
        let (variance, freedom) = &mut terms[group[i]];
        *variance += parts[i] * joint[i];
        *freedom = input.degrees_of_freedom;
    }
    Some(welch_satterthwaite(&terms))
}

fn welch_satterthwaite(terms: &[(f64, f64)]) -> f64 {
    let whole: f64 = terms.iter().map(|(variance, _)| variance).sum();
    if whole <= 0.0 {
        return f64::INFINITY;
    }
    let sum = terms.iter().map(|(variance, freedom)| (variance / whole) * (variance / whole) / freedom).sum::<f64>();
    1.0 / sum
}

/// The effective degrees of freedom of a sum of independent parts, by Welch and Satterthwaite: (Σ v)²/Σ (v²/ν), from each part's
/// variance v, or its share of the whole one, and its degrees of freedom ν. Infinite when no part is uncertain.
///
/// # Errors
/// [`ErrorCode::NotFinite`]; [`ErrorCode::OutOfRange`] for a negative share or fewer than 1 degree of freedom.
///
/// ```
/// # use alignment_core::propagation::effective_degrees_of_freedom;
/// assert_eq!(effective_degrees_of_freedom(&[(1.0, 4.0), (1.0, 4.0)])?, 8.0);
/// assert_eq!(effective_degrees_of_freedom(&[(1.0, 4.0), (1.0, f64::INFINITY)])?, 16.0);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn effective_degrees_of_freedom(shares: &[(f64, f64)]) -> Result<f64, Error> {
    for &(share, freedom) in shares {
        check_not_negative("variance_share", share)?;
        check_freedom(freedom)?;
    }
    Ok(welch_satterthwaite(shares))
}

/// The factor on a standard uncertainty that makes an interval hold the quantity with a probability: the (1 + probability)/2 quantile of
/// Student's t, or of the normal distribution when the degrees of freedom are infinite.
///
/// Degrees of freedom count as they are, whole or not; [`Output::expanded`] rounds them down first.
///
/// # Errors
/// [`ErrorCode::NotFinite`] for NaN; [`ErrorCode::OutOfRange`] for a probability outside 0 to 1 − 1e-9, or fewer than 1 degree of freedom.
///
/// ```
/// # use alignment_core::propagation::coverage_factor;
/// assert!((coverage_factor(0.95, f64::INFINITY)? - 1.96).abs() < 1e-4);
/// assert!((coverage_factor(0.95, 4.0)? - 2.776).abs() < 1e-3);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn coverage_factor(probability: f64, degrees_of_freedom: f64) -> Result<f64, Error> {
    check_probability(probability)?;
    check_freedom(degrees_of_freedom)?;
    // The lower tail, which is exact.
    Ok(student_t_quantile((1.0 - probability) / 2.0, degrees_of_freedom).abs())
}

/// Half a unit of the last digit that an uncertainty shows when it is stated to so many significant digits: 0.0314 to two digits is
/// 0.031, its last digit counts 0.001, and the tolerance is 0.0005, in the same unit. For 0 it is 0.
///
/// # Errors
/// [`ErrorCode::NotFinite`]; [`ErrorCode::OutOfRange`] for a negative uncertainty, or digits other than 1 to 4.
///
/// ```
/// # use alignment_core::propagation::numerical_tolerance;
/// assert!((numerical_tolerance(0.0314, 2)? - 0.0005).abs() < 1e-15);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn numerical_tolerance(standard_uncertainty: f64, significant_digits: u32) -> Result<f64, Error> {
    check_not_negative("standard_uncertainty", standard_uncertainty)?;
    check_range("significant_digits", f64::from(significant_digits), [1.0, 4.0])?;
    if standard_uncertainty == 0.0 {
        return Ok(0.0);
    }
    let digits = f64::from(significant_digits);
    let last = libm::floor(libm::log10(standard_uncertainty)) + 1.0 - digits;
    // 0.0996 to two digits is 0.10, not 0.100.
    let carried = libm::round(standard_uncertainty / libm::exp10(last)) >= libm::exp10(digits);
    Ok(0.5 * libm::exp10(last + f64::from(u8::from(carried))))
}

/// The factor L of a correlation matrix of `n` rows, L·Lᵀ, whose columns may be fewer: independent unit normals, weighted with its rows, are
/// so correlated. By Cholesky's method, the greatest remaining variance first, so that a matrix without full rank has its factor too.
pub(crate) fn factor(correlation: &[Vec<f64>], n: usize) -> Result<Vec<Vec<f64>>, Error> {
    let refused = Error::new(ErrorCode::NotACovariance).input("correlation");
    check_length("correlation", correlation.len(), n)?;
    for (i, row) in correlation.iter().enumerate() {
        check_length("correlation", row.len(), n)?;
        check_finite("correlation", row)?;
        for (j, r) in row.iter().enumerate() {
            let mirrored = if i == j { 1.0 } else { correlation[j][i] };
            if (r - mirrored).abs() > CORRELATION_TOLERANCE || r.abs() > 1.0 + CORRELATION_TOLERANCE {
                return Err(refused.value(*r));
            }
        }
    }
    let mut rest = correlation.to_vec();
    let mut columns = vec![Vec::new(); n];
    for _ in 0..n {
        let diagonal = |i: &usize| rest[*i][*i];
        let Some(pivot) = (0..n).max_by(|a, b| diagonal(a).total_cmp(&diagonal(b))) else { break };
        let greatest = rest[pivot][pivot];
        if greatest <= CORRELATION_TOLERANCE {
            break;
        }
        let root = libm::sqrt(greatest);
        let column: Vec<f64> = rest.iter().map(|row| row[pivot] / root).collect();
        for (i, row) in rest.iter_mut().enumerate() {
            for (v, other) in zip(row, &column) {
                *v -= column[i] * other;
            }
        }
        for (row, weight) in zip(&mut columns, column) {
            row.push(weight);
        }
    }
    // Where no variance is left, nothing may be: neither a negative one nor a covariance.
    match rest.iter().flatten().find(|v| v.abs() > 10.0 * CORRELATION_TOLERANCE) {
        Some(_) => Err(refused),
        None => Ok(columns),
    }
}

#[expect(clippy::cast_precision_loss, reason = "counts are far below 2^52")]
pub(crate) fn count(n: usize) -> f64 {
    n as f64
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    zip(a, b).map(|(a, b)| a * b).sum()
}

fn check_finite(input: &'static str, values: &[f64]) -> Result<(), Error> {
    if values.iter().all(|v| v.is_finite()) { Ok(()) } else { Err(Error::new(ErrorCode::NotFinite).input(input)) }
}

fn check_length(input: &'static str, found: usize, needed: usize) -> Result<(), Error> {
    let [found, needed] = [found, needed].map(count);
    check_range(input, found, [needed, needed])
}

pub(crate) fn check_range(input: &'static str, value: f64, range: [f64; 2]) -> Result<(), Error> {
    crate::session::check_range(ErrorCode::OutOfRange, input, value, range)
}

pub(crate) fn check_probability(probability: f64) -> Result<(), Error> {
    check_range("probability", probability, [0.0, 1.0 - 1e-9])
}

pub(crate) fn check_not_negative(input: &'static str, value: f64) -> Result<(), Error> {
    check_finite(input, &[value])?;
    if value < 0.0 { Err(Error::new(ErrorCode::OutOfRange).input(input).value(value).at_least(0.0)) } else { Ok(()) }
}

pub(crate) fn check_freedom(degrees_of_freedom: f64) -> Result<(), Error> {
    if degrees_of_freedom.is_nan() {
        return Err(Error::new(ErrorCode::NotFinite).input("degrees_of_freedom"));
    }
    if degrees_of_freedom < 1.0 {
        let error = Error::new(ErrorCode::OutOfRange).input("degrees_of_freedom");
        return Err(error.value(degrees_of_freedom).at_least(1.0));
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A number is compared by its value, whatever its derivatives; where it has no length there is nothing to bring to 1.
    #[test]
    fn a_number_with_derivatives_compares_by_its_value() {
        let [low, high] = [1.0, 2.0].map(|value| Dual { value, derivatives: [-value] });
        let least = |a: Dual<1>, b: Dual<1>| a.if_less(b, a, b).value;
        assert_eq!([least(low, high), least(high, low)].map(f64::to_bits), [1.0_f64.to_bits(); 2]);
        // Alike, it is not less.
        assert_eq!(low.if_less(Dual { derivatives: [5.0], ..low }, high, low), low);
        let within = [[0.0, 1.0], [1.0, 3.0], [0.0, 0.9], [1.1, 3.0]].map(|bounds| low.within(bounds));
        assert_eq!(within, [true, true, false, false]);
        assert_eq!(Dual::<1>::constant(0.0).scale_to_one(), Dual::constant(1.0));
    }

    /// Far from 0 the mean has no digits to spare, and the scatter loses none by it.
    #[test]
    fn observations_far_from_zero_scatter_as_near_it() {
        for far in [0.0, 1e6, -1e6] {
            let input = Input::from_observations(&[0.1, 0.2, 0.4, 0.2, 0.3].map(|v| far + v)).unwrap();
            // Squares of 0.14, 0.04, 0.16, 0.04, 0.06 over 4 degrees of freedom and 5 observations.
            let expected = libm::sqrt(0.052 / 20.0);
            assert!((input.standard_uncertainty / expected - 1.0).abs() < 1e-8, "{far}: {input:?}");
        }
    }

    #[test]
    fn a_correlation_beyond_one_is_refused_with_its_value() {
        for r in [1.1, -1.1] {
            let error = factor(&[vec![1.0, r], vec![r, 1.0]], 2).unwrap_err();
            assert_eq!((error.code, error.value), (ErrorCode::NotACovariance, Some(r)));
        }
    }
}
