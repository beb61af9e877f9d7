//! Repeatability and reproducibility: how much a reading scatters when it is taken again, and where the scatter comes from.
//!
//! The words are those of ISO 5725 and the VIM. **Repeatability** is the scatter of repeats that follow each other: same car, same operator,
//! clamps untouched or put on again, as the study has it. **Reproducibility** is the scatter when that changes: other clampings, other
//! operators. Both come out of real repeats, by analysis of variance:
//!
//! | taken again | function |
//! |---|---|
//! | one car, nothing changed | [`repeatability()`] |
//! | one car, several repeats in each of several clampings, or by each of several operators | [`one_way`] |
//! | several cars, each by every operator, several repeats each | [`crossed`] |
//!
//! The values are of one reading, in its own unit, and every standard deviation is in that unit too. A study says nothing of a bias that all
//! repeats share.
//!
//! # Few clampings tell little
//! A standard deviation from few degrees of freedom is itself uncertain, by about 1/√(2·ν) of itself: three operators give ν = 2 and half of it.
//! That is why each result names its degrees of freedom.

use crate::error::{Error, ErrorCode};
use crate::session::check_range;
use crate::statistics::{f_cdf, student_t_quantile};
use crate::units::sqrt;
use alloc::vec::Vec;

/// The greatest magnitude of a value, in its own unit.
pub const MAX_VALUE: f64 = 1e9;
/// The p-value above which the interaction of a crossed study is customarily pooled with the repeats. Common practice, no source.
pub const POOL_ABOVE_P: f64 = 0.25;
/// The least and greatest width of a tolerance, in the unit of the values.
pub const TOLERANCE_RANGE: [f64; 2] = [1e-9, 1e9];

/// The probability that expanded uncertainties and limits cover: 95 %, half of the rest on either side.
const UPPER_QUANTILE: f64 = 0.975;
/// The limit for the difference of two readings is so many standard deviations: 1.96·√2, rounded as is customary.
const LIMIT_FACTOR: f64 = 2.8;
/// A tolerance is compared with so many standard deviations: ± 3.
const WIDTH_FACTOR: f64 = 6.0;
/// Categories per ratio of standard deviations: √2, rounded as is customary.
const CATEGORIES_FACTOR: f64 = 1.41;

/// Repeats of one reading.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Repeatability {
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

/// One line of an analysis of variance.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct AnovaRow {
    /// Sum of squares.
    pub sum_of_squares: f64,
    /// Degrees of freedom.
    pub degrees_of_freedom: f64,
    /// Mean square: sum of squares over degrees of freedom.
    pub mean_square: f64,
    /// F: mean square over that of the line it is compared with. Absent where there is none, or it is zero.
    pub f: Option<f64>,
    /// p: how probable such an F or a greater one is by chance alone.
    pub p: Option<f64>,
}

/// Repeats in groups: clampings, or operators.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct OneWay {
    /// Mean of all values.
    pub mean: f64,
    /// Between the groups, compared with `within`.
    pub between: AnovaRow,
    /// Within the groups.
    pub within: AnovaRow,
    /// Repeats per group; of unequal groups, the number n0 that takes its place: (Σnᵢ − Σnᵢ²/Σnᵢ)/(groups − 1).
    pub repeats_per_group: f64,
    /// Repeatability standard deviation, s_r: within a group.
    pub repeatability_sd: f64,
    /// Standard deviation between groups, s_L: what changing the group adds. Zero when its variance was estimated below zero.
    pub between_sd: f64,
    /// Whether the variance between groups was estimated below zero: the groups differ less than their repeats foretell.
    pub between_negative: bool,
    /// Reproducibility standard deviation, s_R = √(s_r² + s_L²): one value in another group.
    pub reproducibility_sd: f64,
    /// Effective degrees of freedom of the reproducibility, by Welch and Satterthwaite. Absent when it is zero.
    pub reproducibility_degrees_of_freedom: Option<f64>,
    /// Repeatability limit, 2.8·s_r: two values of one group differ by less in 95 % of cases.
    pub repeatability_limit: f64,
    /// Reproducibility limit, 2.8·s_R: two values of different groups differ by less in 95 % of cases.
    pub reproducibility_limit: f64,
}

/// One share of the variance of a crossed study.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Share {
    /// Variance; zero when it was estimated below zero.
    pub variance: f64,
    /// Whether it was estimated below zero.
    pub negative: bool,
    /// Standard deviation: root of the variance.
    pub standard_deviation: f64,
    /// Percentage of the total variance. The shares add up to 100.
    pub percent_contribution: Option<f64>,
    /// Percentage of the total standard deviation. These do not add up to 100.
    pub percent_of_total: Option<f64>,
    /// Percentage of the tolerance, if one was given: six standard deviations over its width.
    pub percent_of_tolerance: Option<f64>,
}

/// A crossed study: cars × operators × repeats.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Crossed {
    /// Mean of all values.
    pub mean: f64,
    /// Between cars, compared with `pooled`, or else with `interaction`.
    pub cars: AnovaRow,
    /// Between operators, compared with `pooled`, or else with `interaction`.
    pub operators: AnovaRow,
    /// Interaction: operators who differ otherwise on one car than on another; compared with `repeats`.
    pub interaction: AnovaRow,
    /// Between the repeats of one operator on one car.
    pub repeats: AnovaRow,
    /// Interaction and repeats in one, when the interaction is pooled: its variance is then taken for zero.
    pub pooled: Option<AnovaRow>,
    /// Repeatability: between repeats.
    pub repeatability: Share,
    /// What operators add on all cars alike.
    pub operator: Share,
    /// What they add on one car otherwise than on another.
    pub operator_by_car: Share,
    /// What changing the operator adds: `operator` and `operator_by_car` together.
    pub between_operators: Share,
    /// Gauge repeatability and reproducibility, that is the reproducibility s_R of ISO 5725: repeatability and what operators add, together.
    pub gauge: Share,
    /// What differs from car to car.
    pub car: Share,
    /// All together.
    pub total: Share,
    /// Effective degrees of freedom of `gauge`, by Welch and Satterthwaite. Absent when it is zero.
    pub gauge_degrees_of_freedom: Option<f64>,
    /// Number of distinct categories: 1.41 times the standard deviation of cars over that of the gauge, customarily rounded down. Absent when
    /// the gauge's is zero.
    pub distinct_categories: Option<f64>,
}

/// Mean, standard deviation and what follows from them, of at least two repeats of one reading under the same conditions:
/// s² = Σ(x − x̄)²/(n − 1), of the mean s/√n.
///
/// # Errors
/// [`ErrorCode::NotFinite`]; [`ErrorCode::OutOfRange`] for fewer than two values or one beyond ± 1e9.
///
/// ```
/// # use alignment_core::repeatability::repeatability;
/// let camber_deg = [-0.51, -0.49, -0.50, -0.52, -0.48];
/// let found = repeatability(&camber_deg)?;
/// assert!((found.mean - -0.50).abs() < 1e-12 && (found.standard_deviation - 0.0158).abs() < 5e-5);
/// assert!((found.expanded - 0.0439).abs() < 5e-5); // t = 2.776 for four degrees of freedom
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn repeatability(values: &[f64]) -> Result<Repeatability, Error> {
    check_count("number of values", values.len(), 2)?;
    check_values(values)?;
    let (count, mean) = (number(values.len()), mean(values));
    let within = row(square_sum(values.iter().map(|v| v - mean)), count - 1.0);
    let standard_deviation = sqrt(within.mean_square);
    let standard_deviation_of_mean = standard_deviation / sqrt(count);
    let coverage_factor = student_t_quantile(UPPER_QUANTILE, within.degrees_of_freedom);
    Ok(Repeatability {
        mean,
        standard_deviation,
        degrees_of_freedom: within.degrees_of_freedom,
        standard_deviation_of_mean,
        coverage_factor,
        expanded: coverage_factor * standard_deviation,
        expanded_of_mean: coverage_factor * standard_deviation_of_mean,
    })
}

/// Repeatability and reproducibility from groups of repeats on one car: the repeats of one clamping, or of one operator, make a group.
/// Groups may differ in size, and their order does not matter.
///
/// With the mean squares MS between and within the groups: s_r² = MS_within; s_L² = (MS_between − MS_within)/n0, not below zero;
/// s_R² = s_r² + s_L².
///
/// # Errors
/// [`ErrorCode::NotFinite`]; [`ErrorCode::OutOfRange`] for fewer than two groups, an empty one, none with two values, or a value beyond
/// ± 1e9.
///
/// ```
/// # use alignment_core::repeatability::one_way;
/// // Camber in degrees: three clampings, and three repeats in each.
/// let found = one_way(&[[-0.51, -0.50, -0.50], [-0.54, -0.55, -0.54], [-0.47, -0.48, -0.48]])?;
/// assert!((found.repeatability_sd - 0.0058).abs() < 5e-5);
/// assert!((found.between_sd - 0.0334).abs() < 5e-5); // clamping anew adds most
/// assert!((found.reproducibility_sd - 0.0339).abs() < 5e-5);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn one_way<Group: AsRef<[f64]>>(groups: &[Group]) -> Result<OneWay, Error> {
    check_count("number of groups", groups.len(), 2)?;
    for group in groups {
        check_count("number of values in a group", group.as_ref().len(), 1)?;
        check_values(group.as_ref())?;
    }
    let largest = groups.iter().map(|group| group.as_ref().len()).max().unwrap_or(0);
    check_count("number of values in the largest group", largest, 2)?;

    let origin = groups[0].as_ref()[0];
    let groups: Vec<Vec<f64>> = groups.iter().map(|group| counted_from(origin, group.as_ref())).collect();
    let all = groups.concat();
    let (of_groups, count, mean_of_all) = (number(groups.len()), number(all.len()), mean(&all));
    let (mut between, mut within, mut squared_sizes) = (0.0, 0.0, 0.0);
    for group in &groups {
        let (size, mean) = (number(group.len()), mean(group));
        between += size * (mean - mean_of_all) * (mean - mean_of_all);
        within += square_sum(group.iter().map(|v| v - mean));
        squared_sizes += size * size;
    }
    let within = row(within, count - of_groups);
    let between = row(between, of_groups - 1.0).against(&within);

    let repeats = (count - squared_sizes / count) / (of_groups - 1.0);
    let excess = (between.mean_square - within.mean_square) / repeats;
    let weight = if excess > 0.0 { 1.0 / repeats } else { 0.0 };
    let repeatability_sd = sqrt(within.mean_square);
    let reproducibility_sd = sqrt(within.mean_square + excess.max(0.0));
    Ok(OneWay {
        mean: origin + mean_of_all,
        between,
        within,
        repeats_per_group: repeats,
        repeatability_sd,
        between_sd: sqrt(excess.max(0.0)),
        between_negative: excess < 0.0,
        reproducibility_sd,
        reproducibility_degrees_of_freedom: effective_degrees_of_freedom(&[(weight, between), (1.0 - weight, within)]),
        repeatability_limit: LIMIT_FACTOR * repeatability_sd,
        reproducibility_limit: LIMIT_FACTOR * reproducibility_sd,
    })
}

/// Where the scatter of a reading comes from, when several cars are each measured by every operator, so many times each:
/// `values[car][operator][repeat]`. The order of cars, operators and repeats does not matter. Operators may as well be rigs, or sets of clamps.
///
/// Cars, operators and their interaction are taken as drawn at random. With c cars, o operators, r repeats and the mean squares MS:
/// repeatability² = MS_repeats, operator_by_car² = (MS_interaction − MS_repeats)/r, operator² = (MS_operators − MS_interaction)/(c·r),
/// car² = (MS_cars − MS_interaction)/(o·r), none below zero. If the p-value of the interaction is greater than `pool_above_p` (customarily
/// [`POOL_ABOVE_P`]; 1 never pools), interaction and repeats are pooled, and their common mean square stands for both.
///
/// `tolerance` is the width from the lower to the upper limit of the specification, in the unit of the values.
///
/// # Errors
/// [`ErrorCode::NotFinite`]; [`ErrorCode::OutOfRange`] for fewer than two cars, operators or repeats, for a study in which some are missing,
/// a value beyond ± 1e9, a probability outside 0 to 1, or a tolerance outside 1e-9 to 1e9.
///
/// ```
/// # use alignment_core::repeatability::{POOL_ABOVE_P, crossed};
/// // Toe in degrees: three cars, two operators, two repeats; specified to ± 0.10°.
/// let toe_deg = [
///     [[0.10, 0.11], [0.12, 0.12]],
///     [[0.25, 0.24], [0.26, 0.27]],
///     [[-0.05, -0.04], [-0.04, -0.03]],
/// ];
/// let found = crossed(&toe_deg, POOL_ABOVE_P, Some(0.20))?;
/// assert!(found.pooled.is_some() && found.operator_by_car.variance == 0.0);
/// assert!((found.gauge.standard_deviation - 0.0120).abs() < 5e-5);
/// assert!((found.gauge.percent_of_tolerance.unwrap() - 36.0).abs() < 0.05);
/// assert_eq!(found.distinct_categories.map(f64::floor), Some(17.0));
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn crossed<Car, Operator>(values: &[Car], pool_above_p: f64, tolerance: Option<f64>) -> Result<Crossed, Error>
where
    Car: AsRef<[Operator]>,
    Operator: AsRef<[f64]>,
{
    check_range(ErrorCode::OutOfRange, "pool_above_p", pool_above_p, [0.0, 1.0])?;
    if let Some(tolerance) = tolerance {
        check_range(ErrorCode::OutOfRange, "tolerance", tolerance, TOLERANCE_RANGE)?;
    }
    check_count("number of cars", values.len(), 2)?;
    let of_operators = values[0].as_ref().len();
    check_count("number of operators", of_operators, 2)?;
    let of_repeats = values[0].as_ref()[0].as_ref().len();
    check_count("number of repeats", of_repeats, 2)?;
    for car in values {
        check_same("number of operators", car.as_ref().len(), of_operators)?;
        for repeats in car.as_ref() {
            check_same("number of repeats", repeats.as_ref().len(), of_repeats)?;
            check_values(repeats.as_ref())?;
        }
    }

    let origin = values[0].as_ref()[0].as_ref()[0];
    let mut within = 0.0;
    // The mean of the repeats, by car and operator.
    let mut means: Vec<Vec<f64>> = Vec::new();
    for car in values {
        let of_car = car.as_ref().iter().map(|repeats| {
            let repeats = counted_from(origin, repeats.as_ref());
            let mean = mean(&repeats);
            within += square_sum(repeats.iter().map(|v| v - mean));
            mean
        });
        means.push(of_car.collect());
    }
    let of_car: Vec<f64> = means.iter().map(|of_car| mean(of_car)).collect();
    let of_operator: Vec<f64> = (0..of_operators).map(|operator| column_mean(&means, operator)).collect();
    let of_all = mean(&of_car);
    let mut apart = 0.0;
    for (means, of_car) in means.iter().zip(&of_car) {
        apart += square_sum(means.iter().zip(&of_operator).map(|(m, of_operator)| m - of_car - of_operator + of_all));
    }

    let [c, o, r] = [values.len(), of_operators, of_repeats].map(number);
    let repeats = row(within, c * o * (r - 1.0));
    let interaction = row(r * apart, (c - 1.0) * (o - 1.0)).against(&repeats);
    let pooled = interaction.p.is_some_and(|p| p > pool_above_p).then(|| {
        let degrees_of_freedom = interaction.degrees_of_freedom + repeats.degrees_of_freedom;
        row(interaction.sum_of_squares + repeats.sum_of_squares, degrees_of_freedom)
    });
    let error = pooled.unwrap_or(interaction);
    let operators = row(c * r * square_sum(of_operator.iter().map(|m| m - of_all)), o - 1.0).against(&error);
    let cars = row(o * r * square_sum(of_car.iter().map(|m| m - of_all)), c - 1.0).against(&error);

    let repeatability = pooled.unwrap_or(repeats).mean_square;
    let operator_by_car = if pooled.is_some() { 0.0 } else { (interaction.mean_square - repeats.mean_square) / r };
    let operator = (operators.mean_square - error.mean_square) / (c * r);
    let car = (cars.mean_square - error.mean_square) / (o * r);
    let between_operators = operator.max(0.0) + operator_by_car.max(0.0);
    let gauge = repeatability + between_operators;
    let total = gauge + car.max(0.0);
    let share = |variance| Share::new(variance, total, tolerance);

    // The gauge's variance, as a sum of mean squares that are independent of each other.
    let by_operator = if operator > 0.0 { 1.0 / (c * r) } else { 0.0 };
    let by_interaction = match pooled {
        Some(_) => 1.0,
        None if operator_by_car > 0.0 => 1.0 / r,
        None => 0.0,
    };
    let parts = [(by_operator, operators), (by_interaction - by_operator, error), (1.0 - by_interaction, repeats)];
    let (car, gauge) = (share(car), share(gauge));
    Ok(Crossed {
        mean: origin + of_all,
        cars,
        operators,
        interaction,
        repeats,
        pooled,
        repeatability: share(repeatability),
        operator: share(operator),
        operator_by_car: share(operator_by_car),
        between_operators: share(between_operators),
        gauge,
        car,
        total: share(total),
        gauge_degrees_of_freedom: effective_degrees_of_freedom(&parts),
        distinct_categories: ratio(CATEGORIES_FACTOR * car.standard_deviation, gauge.standard_deviation),
    })
}

impl AnovaRow {
    /// The same line, compared with the one that shows what chance alone would make of it.
    fn against(self, chance: &Self) -> Self {
        let f = ratio(self.mean_square, chance.mean_square);
        // The upper tail of F is the lower one of 1/F: far out, one less the distribution would keep no digit of it.
        let tail = |f: f64| f_cdf(1.0 / f, chance.degrees_of_freedom, self.degrees_of_freedom);
        Self { f, p: f.map(|f| if f > f64::MIN_POSITIVE { tail(f) } else { 1.0 }), ..self }
    }
}

impl Share {
    fn new(estimate: f64, total: f64, tolerance: Option<f64>) -> Self {
        let variance = estimate.max(0.0);
        let standard_deviation = sqrt(variance);
        Self {
            variance,
            negative: estimate < 0.0,
            standard_deviation,
            percent_contribution: ratio(100.0 * variance, total),
            percent_of_total: ratio(100.0 * standard_deviation, sqrt(total)),
            percent_of_tolerance: tolerance.map(|tolerance| 100.0 * WIDTH_FACTOR * standard_deviation / tolerance),
        }
    }
}

fn row(sum_of_squares: f64, degrees_of_freedom: f64) -> AnovaRow {
    let mean_square = sum_of_squares / degrees_of_freedom;
    AnovaRow { sum_of_squares, degrees_of_freedom, mean_square, f: None, p: None }
}

/// The quotient; none by zero.
fn ratio(above: f64, below: f64) -> Option<f64> {
    Some(above / below).filter(|ratio| ratio.is_finite())
}

/// Welch's and Satterthwaite's degrees of freedom of a sum of mean squares, each times its weight.
fn effective_degrees_of_freedom(parts: &[(f64, AnovaRow)]) -> Option<f64> {
    let sum: f64 = parts.iter().map(|(weight, row)| weight * row.mean_square).sum();
    let mut below = 0.0;
    for (weight, row) in parts {
        let share = ratio(weight * row.mean_square, sum)?;
        below += share * share / row.degrees_of_freedom;
    }
    Some(1.0 / below)
}

/// Counted from one of their own, values that differ in their last digits alone lose none of them.
fn counted_from(origin: f64, values: &[f64]) -> Vec<f64> {
    values.iter().map(|value| value - origin).collect()
}

/// The mean, counted from the first value: of values that are all the same it is that very value. 0 for none.
fn mean(values: &[f64]) -> f64 {
    let Some(&first) = values.first() else { return 0.0 };
    first + values.iter().map(|value| value - first).sum::<f64>() / number(values.len())
}

fn column_mean(rows: &[Vec<f64>], column: usize) -> f64 {
    mean(&rows.iter().map(|row| row[column]).collect::<Vec<_>>())
}

fn square_sum(values: impl Iterator<Item = f64>) -> f64 {
    values.map(|value| value * value).sum()
}

#[expect(clippy::cast_precision_loss, reason = "counts of values are far below 2^52")]
fn number(count: usize) -> f64 {
    count as f64
}

fn check_values(values: &[f64]) -> Result<(), Error> {
    values.iter().try_for_each(|&value| check_range(ErrorCode::OutOfRange, "values", value, [-MAX_VALUE, MAX_VALUE]))
}

fn check_count(input: &'static str, count: usize, least: usize) -> Result<(), Error> {
    if count < least {
        return Err(Error::new(ErrorCode::OutOfRange).input(input).value(number(count)).at_least(number(least)));
    }
    Ok(())
}

/// Checks that no car has other operators, no operator other repeats, than the first.
fn check_same(input: &'static str, count: usize, first: usize) -> Result<(), Error> {
    check_range(ErrorCode::OutOfRange, input, number(count), [number(first); 2])
}
