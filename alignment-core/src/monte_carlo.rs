//! The Monte Carlo method for uncertainties: what the distributions of the inputs make of any function of them, with no linearisation.
//!
//! It judges the law of propagation ([`crate::propagation`]): [`agree`] compares the two. Trials come in blocks, and stop by themselves
//! as soon as further ones would no longer change the digits asked for. A seed gives the same result every time, on every platform.

use crate::error::{Error, ErrorCode};
use crate::propagation::{
    self, Input, Output, check_freedom, check_not_negative, check_probability, check_range, count,
};
use crate::units;
use alloc::vec::Vec;
use core::f64::consts::PI;
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64;

/// So many trials at least make a block.
const BLOCK: f64 = 1e4;
/// So many blocks at least make a run: of two or three it happens that they agree by chance, and their scatter then tells nothing.
const LEAST_BLOCKS: f64 = 10.0;
/// A block holds at least so many trials outside the interval, on average.
const OUTSIDE: f64 = 100.0;
/// The range of the most trials of a run. The upper end takes 80 MB per output.
const TRIALS_RANGE: [f64; 2] = [LEAST_BLOCKS * BLOCK, 1e7];

/// How the values of an input that can be are distributed. All figures are in the input's unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Distribution {
    /// A best estimate and its known standard uncertainty.
    Normal {
        /// The estimate.
        mean: f64,
        /// One standard deviation.
        standard_deviation: f64,
    },
    /// A mean of few observations, normal ones: Student's t, shifted and scaled.
    StudentT {
        /// The estimate.
        centre: f64,
        /// The standard uncertainty of that mean, s/√n. The standard deviation of the distribution is larger.
        scale: f64,
        /// Degrees of freedom, n − 1 for n observations; at least 1.
        degrees_of_freedom: f64,
    },
    /// Nothing is known but two limits.
    Rectangular {
        /// The lower limit.
        least: f64,
        /// The upper limit.
        most: f64,
    },
    /// The sum of two quantities that are rectangular and alike, within two limits.
    Triangular {
        /// The lower limit.
        least: f64,
        /// The upper limit.
        most: f64,
    },
    /// The sum of two rectangular quantities, within two limits.
    Trapezoidal {
        /// The lower limit.
        least: f64,
        /// The upper limit.
        most: f64,
        /// The length of the top over that of the base: 0 is triangular, 1 rectangular.
        top: f64,
    },
    /// Nothing is known but two limits, and those not exactly: they may lie anywhere within ± `limits_within`, at equal distance from
    /// the middle.
    CurvilinearTrapezoid {
        /// The lower limit.
        least: f64,
        /// The upper limit.
        most: f64,
        /// By how much either limit may be off; at most half their distance.
        limits_within: f64,
    },
    /// What swings as a sine between two limits, met at an unknown moment.
    Arcsine {
        /// The lower limit.
        least: f64,
        /// The upper limit.
        most: f64,
    },
    /// A quantity that is not negative, with a known mean.
    Exponential {
        /// The mean, 0 or above.
        mean: f64,
    },
}

impl Distribution {
    /// The input that the law of propagation makes of it: mean and standard deviation, in the input's unit. Student's t keeps its scale as
    /// uncertainty, and its degrees of freedom.
    ///
    /// # Errors
    /// [`ErrorCode::NotFinite`]; [`ErrorCode::OutOfRange`] for a negative deviation, limits in reverse, or a figure outside the range that its
    /// docs state.
    ///
    /// ```
    /// # use alignment_core::monte_carlo::Distribution;
    /// // A display that rounds to 0.01°.
    /// let reading = Distribution::Rectangular { least: 1.235, most: 1.245 }.input()?;
    /// assert!((reading.standard_uncertainty - 0.00289).abs() < 1e-5);
    /// # Ok::<(), alignment_core::Error>(())
    /// ```
    pub fn input(&self) -> Result<Input, Error> {
        self.check()?;
        let within = |least: f64, most: f64, squares: f64| {
            let half = (most - least) / 2.0;
            Input::known(least + half, half * libm::sqrt(squares))
        };
        let input = match *self {
            Self::Normal { mean, standard_deviation } => Input::known(mean, standard_deviation),
            Self::StudentT { centre, scale, degrees_of_freedom } => {
                Input { estimate: centre, standard_uncertainty: scale, degrees_of_freedom }
            }
            Self::Rectangular { least, most } => within(least, most, 1.0 / 3.0),
            Self::Triangular { least, most } => within(least, most, 1.0 / 6.0),
            Self::Trapezoidal { least, most, top } => within(least, most, (1.0 + top * top) / 6.0),
            Self::CurvilinearTrapezoid { least, most, limits_within } => {
                let half = (most - least) / 2.0;
                Input::known(least + half, libm::sqrt(half * half / 3.0 + limits_within * limits_within / 9.0))
            }
            Self::Arcsine { least, most } => within(least, most, 0.5),
            Self::Exponential { mean } => Input::known(mean, mean),
        };
        input.check()?;
        Ok(input)
    }

    fn check(&self) -> Result<(), Error> {
        let limits = |least: f64, most: f64| {
            check_range("least", least, [f64::MIN, f64::MAX])?;
            check_not_negative("most", most - least)
        };
        match *self {
            Self::Normal { mean, standard_deviation } => {
                check_range("mean", mean, [f64::MIN, f64::MAX])?;
                check_not_negative("standard_deviation", standard_deviation)
            }
            Self::StudentT { centre, scale, degrees_of_freedom } => {
                check_range("centre", centre, [f64::MIN, f64::MAX])?;
                check_not_negative("scale", scale)?;
                check_freedom(degrees_of_freedom)
            }
            Self::Rectangular { least, most } | Self::Triangular { least, most } | Self::Arcsine { least, most } => {
                limits(least, most)
            }
            Self::Trapezoidal { least, most, top } => {
                limits(least, most)?;
                check_range("top", top, [0.0, 1.0])
            }
            Self::CurvilinearTrapezoid { least, most, limits_within } => {
                limits(least, most)?;
                check_range("limits_within", limits_within, [0.0, (most - least) / 2.0])
            }
            Self::Exponential { mean } => check_not_negative("mean", mean),
        }
    }

    /// One value. Transcendental functions are libm's, here too, for the sake of equal bits.
    fn draw(&self, rng: &mut Pcg64) -> f64 {
        let mut uniform = || rng.random::<f64>();
        let mut between = |least: f64, most: f64| least + (most - least) * uniform();
        match *self {
            Self::Normal { mean, standard_deviation } => mean + standard_deviation * student_t(f64::INFINITY, rng),
            Self::StudentT { centre, scale, degrees_of_freedom } => centre + scale * student_t(degrees_of_freedom, rng),
            Self::Rectangular { least, most } => between(least, most),
            Self::Triangular { least, most } => (between(least, most) + between(least, most)) / 2.0,
            Self::Trapezoidal { least, most, top } => {
                let sum = (1.0 + top) * between(0.0, 1.0) + (1.0 - top) * between(0.0, 1.0);
                least + (most - least) / 2.0 * sum
            }
            Self::CurvilinearTrapezoid { least, most, limits_within } => {
                let off = between(-limits_within, limits_within);
                between(least + off, most - off)
            }
            Self::Arcsine { least, most } => {
                let half = (most - least) / 2.0;
                least + half + half * libm::sin(between(0.0, 2.0 * PI))
            }
            Self::Exponential { mean } => -mean * libm::log1p(-uniform()),
        }
    }
}

/// One value of Student's t, or of the unit normal, from a length and a direction: the polar method.
pub(crate) fn student_t(freedom: f64, rng: &mut Pcg64) -> f64 {
    let logarithm = libm::log1p(-rng.random::<f64>());
    let square =
        if freedom == f64::INFINITY { -2.0 * logarithm } else { freedom * libm::expm1(-2.0 / freedom * logarithm) };
    libm::sqrt(square) * libm::cos(2.0 * PI * rng.random::<f64>())
}

/// How a run is made.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Deserialize))]
#[cfg_attr(feature = "json", serde(deny_unknown_fields, default))]
pub struct Settings {
    /// The probability that an interval is to hold.
    pub probability: f64,
    /// So many significant digits of the standard uncertainty are to stand still, 1 to 4.
    pub significant_digits: u32,
    /// The most trials of the run, 100 000 to 10 million. Each further digit takes a hundred times as many.
    pub most_trials: u32,
    /// The seed of the trials.
    pub seed: u64,
}

impl Default for Settings {
    /// 95 %, two digits, ten million trials at most, seed 0. Two digits take some hundred thousand, and millions at worst.
    fn default() -> Self {
        Self { probability: 0.95, significant_digits: 2, most_trials: 10_000_000, seed: 0 }
    }
}

/// One output, from its values in all trials, in its own unit.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
pub struct Simulated {
    /// The mean of the values.
    pub estimate: f64,
    /// Their standard deviation.
    pub standard_uncertainty: f64,
    /// The interval that leaves as much outside below as above.
    pub symmetric_interval: [f64; 2],
    /// The shortest interval of the same probability.
    pub shortest_interval: [f64; 2],
}

/// What a run gave.
#[derive(Debug, Clone, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
pub struct Simulation {
    /// The outputs, in the function's order.
    pub outputs: Vec<Simulated>,
    /// The covariances of the outputs, each in the product of both units.
    pub covariance: Vec<Vec<f64>>,
    /// So many trials were made.
    pub trials: u32,
    /// The probability of the intervals.
    pub probability: f64,
}

/// Draws the inputs from their distributions, evaluates the function, and repeats until every output's estimate, standard uncertainty and
/// both ends of its symmetric interval stand still: twice the standard deviation of each, of its mean over the blocks, is
/// within the [`numerical_tolerance`](propagation::numerical_tolerance). A block is 10⁴ trials, or more for a probability beyond 0.99, and ten blocks are the least.
///
/// `correlation` has the coefficients of the inputs, which are independent without it; only normal ones can be correlated. Outputs are in
/// the function's own units.
///
/// # Errors
/// [`ErrorCode::NotFinite`], also for a function that has no value in some trial; [`ErrorCode::OutOfRange`] as
/// [`Distribution::input`], for settings outside their range, and for correlation of an input that is not normal;
/// [`ErrorCode::NotACovariance`] for correlations that cannot be; [`ErrorCode::NotSettled`] when the trials are used up.
///
/// ```
/// use alignment_core::monte_carlo::{Distribution, Settings, monte_carlo};
///
/// // Two readings of a display that rounds to 0.01°: their difference.
/// let inputs = [1.24, 0.87].map(|v: f64| Distribution::Rectangular { least: v - 0.005, most: v + 0.005 });
/// let result = monte_carlo(&inputs, None, |[a, b]| [a - b], Settings::default())?;
/// let difference = &result.outputs[0];
/// assert!((difference.standard_uncertainty - 0.0041).abs() < 0.0001);
/// // No value is more than 0.01 away: the interval is shorter than the normal one, ± 0.0080.
/// assert!((difference.symmetric_interval[1] - 0.3778).abs() < 0.0002);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn monte_carlo<const N: usize, const M: usize>(
    inputs: &[Distribution; N],
    correlation: Option<&[[f64; N]; N]>,
    function: impl Fn([f64; N]) -> [f64; M],
    settings: Settings,
) -> Result<Simulation, Error> {
    let correlation: Option<Vec<Vec<f64>>> = correlation.map(|rows| rows.iter().map(|row| row.to_vec()).collect());
    let function = |drawn: &[f64], outputs: &mut [f64]| {
        outputs.copy_from_slice(&function(core::array::from_fn(|i| drawn[i])));
        Ok(())
    };
    try_monte_carlo(inputs, correlation.as_deref(), M, function, settings)
}

/// As [`monte_carlo`], of a function of slices: how many inputs and outputs there are need not be known beforehand. What it fails with ends
/// the run and comes out as it is, so that a long run can also be watched and stopped.
///
/// # Errors
/// As [`monte_carlo`]; [`ErrorCode::OutOfRange`] too for a correlation of the wrong size; and what the function fails with.
///
/// ```
/// use alignment_core::monte_carlo::{Distribution, Settings, monte_carlo, try_monte_carlo};
/// use alignment_core::Error;
///
/// #[derive(Debug, PartialEq)]
/// enum Ended {
///     Stopped,
///     Failed(Error),
/// }
/// impl From<Error> for Ended {
///     fn from(error: Error) -> Self {
///         Self::Failed(error)
///     }
/// }
/// let inputs = [1.24, 0.87].map(|v: f64| Distribution::Rectangular { least: v - 0.005, most: v + 0.005 });
/// let mut left = 200_000;
/// let mut difference = |inputs: &[f64], outputs: &mut [f64]| {
///     outputs[0] = inputs[0] - inputs[1];
///     left -= 1;
///     if left > 0 { Ok(()) } else { Err(Ended::Stopped) }
/// };
/// let result = try_monte_carlo(&inputs, None, 1, &mut difference, Settings::default());
/// assert_eq!(result, Ok(monte_carlo(&inputs, None, |[a, b]| [a - b], Settings::default())?));
/// let stopped = try_monte_carlo(&inputs, None, 1, &mut difference, Settings::default());
/// assert_eq!(stopped, Err(Ended::Stopped));
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn try_monte_carlo<E: From<Error>>(
    inputs: &[Distribution],
    correlation: Option<&[Vec<f64>]>,
    count_of_outputs: usize,
    mut function: impl FnMut(&[f64], &mut [f64]) -> Result<(), E>,
    settings: Settings,
) -> Result<Simulation, E> {
    for input in inputs {
        input.input()?;
    }
    let factor = match correlation {
        None => None,
        Some(rows) => {
            let factor = propagation::factor(rows, inputs.len())?;
            check_correlated(inputs, rows)?;
            Some(factor)
        }
    };
    let mut rng = Pcg64::seed_from_u64(settings.seed);
    let mut units: Vec<f64> = inputs.iter().map(|_| 0.0).collect();
    let mut drawn = units.clone();
    settle(settings, 1.0, count_of_outputs, |outputs| {
        if factor.is_some() {
            units.fill_with(|| student_t(f64::INFINITY, &mut rng));
        }
        for (i, (value, input)) in drawn.iter_mut().zip(inputs).enumerate() {
            *value = match (&factor, *input) {
                (Some(factor), Distribution::Normal { mean, standard_deviation }) => {
                    let unit: f64 = factor[i].iter().zip(&units).map(|(weight, unit)| weight * unit).sum();
                    mean + standard_deviation * unit
                }
                (_, input) => input.draw(&mut rng),
            };
        }
        function(&drawn, outputs)
    })
}

/// Only normal inputs can be correlated.
fn check_correlated(inputs: &[Distribution], correlation: &[Vec<f64>]) -> Result<(), Error> {
    for (i, row) in correlation.iter().enumerate() {
        let normal = matches!(inputs[i], Distribution::Normal { .. });
        let other = row.iter().enumerate().find(|&(j, r)| j != i && *r != 0.0);
        if let Some((_, r)) = other.filter(|_| !normal) {
            return Err(Error::new(ErrorCode::OutOfRange).input("correlation").value(*r).at_least(0.0).at_most(0.0));
        }
    }
    Ok(())
}

/// Blocks of trials, until the outputs stand still, within a share of the tolerance of the digits asked for.
pub(crate) fn settle<E: From<Error>>(
    settings: Settings,
    share: f64,
    count_of_outputs: usize,
    mut trial: impl FnMut(&mut [f64]) -> Result<(), E>,
) -> Result<Simulation, E> {
    let Settings { probability, significant_digits, most_trials, .. } = settings;
    check_probability(probability)?;
    check_range("significant_digits", f64::from(significant_digits), [1.0, 4.0])?;
    check_range("most_trials", f64::from(most_trials), TRIALS_RANGE)?;
    let block = libm::ceil(OUTSIDE / (1.0 - probability)).max(BLOCK);
    let mut values: Vec<Vec<f64>> = (0..count_of_outputs).map(|_| Vec::new()).collect();
    // The four figures of each output, block by block.
    let mut figures: Vec<Vec<[f64; 4]>> = (0..count_of_outputs).map(|_| Vec::new()).collect();
    let mut outputs: Vec<f64> = values.iter().map(|_| 0.0).collect();
    let mut trials = 0_u32;
    while f64::from(trials) + block <= f64::from(most_trials) {
        let before = values.first().map_or(0, Vec::len);
        let mut made = 0.0;
        while made < block {
            trial(&mut outputs)?;
            if !outputs.iter().all(|v| v.is_finite()) {
                return Err(Error::new(ErrorCode::NotFinite).input("outputs").into());
            }
            for (list, v) in values.iter_mut().zip(&outputs) {
                list.push(*v);
            }
            made += 1.0;
            trials += 1;
        }
        for (list, figures) in values.iter().zip(&mut figures) {
            let Simulated { estimate, standard_uncertainty, symmetric_interval: [low, high], .. } =
                summary(&list[before..], probability)?;
            figures.push([estimate, standard_uncertainty, low, high]);
        }
        if f64::from(trials) < LEAST_BLOCKS * block {
            continue;
        }
        let still = |figures: &Vec<_>| stands_still(figures, block, significant_digits, share);
        let still: Vec<bool> = figures.iter().map(still).collect::<Result<_, Error>>()?;
        if !still.contains(&false) {
            let outputs = values.iter().map(|list| summary(list, probability)).collect::<Result<_, Error>>()?;
            return Ok(Simulation { outputs, covariance: covariance(&values), trials, probability });
        }
    }
    let error = Error::new(ErrorCode::NotSettled).input("most_trials");
    Err(error.value(f64::from(most_trials)).into())
}

/// Whether further blocks would no longer change the digits asked for, from the figures of one output, block by block.
fn stands_still(figures: &[[f64; 4]], block: f64, significant_digits: u32, share: f64) -> Result<bool, Error> {
    let variance_of_mean = |figure: usize| {
        let by_block: Vec<f64> = figures.iter().map(|figures| figures[figure]).collect();
        mean_and_variance(&by_block).1 / count(by_block.len())
    };
    // That of all values: what they scatter within the blocks, and the blocks' means among each other.
    let blocks = count(figures.len());
    let within: f64 = figures.iter().map(|[_, uncertainty, ..]| uncertainty * uncertainty / blocks).sum();
    let between = blocks * variance_of_mean(0);
    let variance = ((block - 1.0) * blocks * within + block * (blocks - 1.0) * between) / (block * blocks - 1.0);
    let tolerance = share * propagation::numerical_tolerance(libm::sqrt(variance), significant_digits)?;
    Ok((0..4).all(|figure| 2.0 * libm::sqrt(variance_of_mean(figure)) <= tolerance))
}

fn mean_and_variance(values: &[f64]) -> (f64, f64) {
    let n = count(values.len());
    let mean = values.iter().sum::<f64>() / n;
    (mean, values.iter().map(|v| (v - mean) * (v - mean)).sum::<f64>() / (n - 1.0))
}

fn covariance(values: &[Vec<f64>]) -> Vec<Vec<f64>> {
    let means: Vec<f64> = values.iter().map(|list| mean_and_variance(list).0).collect();
    let entry = |k: usize, l: usize| {
        let products = values[k].iter().zip(&values[l]).map(|(a, b)| (a - means[k]) * (b - means[l]));
        products.sum::<f64>() / (count(values[k].len()) - 1.0)
    };
    (0..values.len()).map(|k| (0..values.len()).map(|l| entry(k, l)).collect()).collect()
}

/// What the values of one output say of it: at least two, all finite.
fn summary(values: &[f64], probability: f64) -> Result<Simulated, Error> {
    let (estimate, variance) = mean_and_variance(values);
    if !variance.is_finite() {
        return Err(Error::new(ErrorCode::NotFinite).input("outputs"));
    }
    let mut sorted = values.to_vec();
    units::sort(&mut sorted);
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a rank among the values")]
    let inside = (libm::round(probability * count(values.len())) as usize).min(values.len() - 1);
    let span = |first: usize| [sorted[first], sorted[first + inside]];
    let outside = values.len() - inside;
    // The rank of the lower end, counted from 0: half of what lies outside, and upward when that is no whole number.
    let symmetric_interval = span(outside.div_ceil(2) - 1);
    let length = |first: &usize| sorted[first + inside] - sorted[*first];
    let shortest = (0..outside).min_by(|a, b| length(a).total_cmp(&length(b))).unwrap_or_default();
    Ok(Simulated {
        estimate,
        standard_uncertainty: libm::sqrt(variance),
        symmetric_interval,
        shortest_interval: span(shortest),
    })
}

/// How far the law of propagation is from the trials, in the output's unit.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
pub struct Agreement {
    /// The distance of the lower ends of both intervals, estimate ± expanded uncertainty against the symmetric one of the trials.
    pub low: f64,
    /// The distance of the upper ends.
    pub high: f64,
    /// What either may be: the tolerance of the standard uncertainty at the digits asked for.
    pub tolerance: f64,
    /// Whether both are within the tolerance: the law of propagation will do.
    pub agrees: bool,
}

/// Whether the law of propagation gives the interval that the trials give, within the
/// [`numerical_tolerance`](propagation::numerical_tolerance) of its standard uncertainty. All in the output's unit.
///
/// The trials should have settled to a digit more than is asked for here, or their own scatter can make the difference.
///
/// # Errors
/// [`ErrorCode::NotFinite`]; [`ErrorCode::OutOfRange`] for digits other than 1 to 4; [`ErrorCode::MissingInput`] when the output has no
/// effective degrees of freedom.
///
/// ```
/// use alignment_core::monte_carlo::{Distribution, Settings, agree, monte_carlo};
/// use alignment_core::propagation::{Number, law_of_propagation};
///
/// fn angle<T: Number>([rise, run]: [T; 2]) -> [T; 1] {
///     [rise.atan2(run)]
/// }
/// let inputs = [(3.0, 0.02), (400.0, 0.02)]
///     .map(|(mean, standard_deviation)| Distribution::Normal { mean, standard_deviation });
/// let by_law = law_of_propagation(&[inputs[0].input()?, inputs[1].input()?], None, angle)?;
/// let by_trials = monte_carlo(&inputs, None, angle, Settings::default())?;
/// assert!(agree(&by_law.outputs[0], &by_trials, 0, 1)?.agrees);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn agree(
    by_law: &Output,
    by_trials: &Simulation,
    output: usize,
    significant_digits: u32,
) -> Result<Agreement, Error> {
    let Some(simulated) = by_trials.outputs.get(output) else {
        let error = Error::new(ErrorCode::OutOfRange).input("output").value(count(output));
        return Err(error.at_most(count(by_trials.outputs.len()) - 1.0));
    };
    let expanded = by_law.expanded(by_trials.probability)?.expanded_uncertainty;
    let tolerance = propagation::numerical_tolerance(by_law.standard_uncertainty, significant_digits)?;
    let low = (by_law.estimate - expanded - simulated.symmetric_interval[0]).abs();
    let high = (by_law.estimate + expanded - simulated.symmetric_interval[1]).abs();
    if !(low + high).is_finite() {
        return Err(Error::new(ErrorCode::NotFinite).input("output"));
    }
    Ok(Agreement { low, high, tolerance, agrees: low <= tolerance && high <= tolerance })
}
