//! Judging: limits, and whether a reading lies within them when it is not known exactly.
//!
//! A reading is known within its uncertainty, so a value near a limit proves nothing. Taking the true value to be distributed about the
//! reading y with the standard uncertainty u, normally, or by Student's t where u itself rests on few degrees of freedom,
//! the **probability of conformity** is
//!
//! p = F((max − y)/u) − F((min − y)/u),
//!
//! with a limit that is not given at infinity. A **decision rule** says what follows from it ([`Rule`]):
//!
//! - **Guarded**, the default: a reading *conforms* when p is at least the stated probability P, 95 % by default, and *does not conform* when
//!   it is at least as probable as P that the true value lies beyond one and the same limit. Between the two it is *undetermined*.
//!   With one limit this is the custom of guard bands: z·u inside the limit is accepted, z·u outside it is rejected, z = 1.645 for 95 %. With
//!   two limits the acceptance limits are those of the exact p, which tells where z·u is not small against the tolerance; where it is, they
//!   are the same. A measurement so uncertain that no value could conform rejects only what lies beyond a limit by z·u.
//! - **Simple acceptance**: a value within the limits, or on one, conforms; any other does not. Near a limit the risk of a wrong verdict comes
//!   to one half, and it is stated.
//!
//! A reading whose uncertainty is not known is judged by simple acceptance, and its verdict says so. A reading that is absent is
//! undetermined.
//!
//! # Specifications
//! [`Specification`] holds the limits of one car by the paths of the readings, the load at which they hold, and the rule. As JSON:
//!
//! ```json
//! {
//!   "format": "alignment-specification/1",
//!   "note": "Invented.",
//!   "load_state": "Ready to drive, nobody in it, tank full.",
//!   "decision": { "rule": "guarded", "probability": 0.95 },
//!   "limits": {
//!     "wheels.{fl,fr}.camber_deg": { "min": -1.2, "max": 0.2 },
//!     "steering.{left,right}.caster_deg": { "nominal": 240, "minus": 30, "plus": 45, "unit": "arcmin" },
//!     "axles.front.total_toe_deg": { "min": 0.5, "max": 2.5, "unit": "mm", "reference_diameter_mm": 390 },
//!     "steering.cross_caster_deg": { "min": -0.5, "max": 0.5 }
//!   }
//! }
//! ```
//!
//! Names in braces stand for a path each. What is judged alone, left against right, or as a sum is a matter of the path.

use crate::alignment::Alignment;
use crate::error::{Error, ErrorCode};
use crate::paths::{self, READINGS};
use crate::session::check_range;
use crate::statistics::{normal_cdf, student_t_cdf, student_t_quantile};
use crate::units;
use crate::wheel::toe_from_length_deg;
use alloc::collections::BTreeMap;
use alloc::string::String;
use alloc::vec::Vec;

/// The least and greatest probability that a decision rule may ask for. At one half a guard band has no width.
pub const PROBABILITY_RANGE: [f64; 2] = [0.5, 0.999_999];
/// No value, limit or uncertainty lies further from 0.
const MAX_MAGNITUDE: f64 = 1e9;

/// The verdict on a reading, or on all of them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(rename_all = "snake_case"))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum Verdict {
    /// Within the limits, by the rule.
    Conforms,
    /// Beyond a limit, by the rule.
    DoesNotConform,
    /// The rule allows neither.
    Undetermined,
}

/// Why a reading is undetermined.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(rename_all = "snake_case"))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum Reason {
    /// The reading is absent.
    NotMeasured,
    /// The value lies nearer to a limit than its uncertainty allows.
    NearLimit,
    /// The uncertainty is so great against the tolerance that no value could conform.
    TooUncertain,
}

/// How a value that is not known exactly is judged.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(rename_all = "snake_case"))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum Rule {
    /// Conforming and not conforming each need the stated probability; between them nothing is decided.
    #[default]
    Guarded,
    /// Within the limits conforms, beyond them does not; whoever takes the verdict shares the risk.
    SimpleAcceptance,
}

/// The rule by which readings are judged.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(deny_unknown_fields, default))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Decision {
    /// The rule.
    pub rule: Rule,
    /// The probability with which the rule `guarded` must be right, 0.5 to 0.999999; the other rule has no use for it.
    pub probability: f64,
}

impl Default for Decision {
    /// Guarded, at 95 %.
    fn default() -> Self {
        Self { rule: Rule::Guarded, probability: 0.95 }
    }
}

/// The least and the greatest value that conform, in the reading's own unit; at least one of them.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Limits {
    /// The least; None when nothing is too small.
    pub min: Option<f64>,
    /// The greatest; None when nothing is too great.
    pub max: Option<f64>,
}

/// How well a value is known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Uncertain {
    /// Standard uncertainty, in the unit of the value; 0 for a value that is known exactly.
    pub standard_uncertainty: f64,
    /// The degrees of freedom on which it rests, at least 1; None or infinite when it is itself known well.
    pub degrees_of_freedom: Option<f64>,
}

/// The verdict on one value, and what it rests on.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Judgement {
    /// The verdict.
    pub verdict: Verdict,
    /// Why it is undetermined; absent when it is not.
    pub reason: Option<Reason>,
    /// The rule by which it was found: simple acceptance wherever the uncertainty is not known.
    pub rule: Rule,
    /// The probability that the true value lies within the limits. Absent without an uncertainty.
    pub probability_of_conformity: Option<f64>,
    /// The probability that the verdict is wrong: that what conforms does not (the specific consumer's risk), or that what does not
    /// conform does (the specific producer's risk). Absent without an uncertainty, and where nothing is decided.
    pub risk_of_wrong_verdict: Option<f64>,
    /// The guard band of one limit, z·u or t·u, in the unit of the value: beyond a limit by this or more does not conform. 0 by simple acceptance.
    pub guard_band: Option<f64>,
    /// What conforms by the rule: the limits, less the guard bands. Absent when no value could conform, or none was measured.
    pub acceptance: Option<Limits>,
}

impl Judgement {
    const NOT_MEASURED: Self = Self {
        verdict: Verdict::Undetermined,
        reason: Some(Reason::NotMeasured),
        rule: Rule::Guarded,
        probability_of_conformity: None,
        risk_of_wrong_verdict: None,
        guard_band: None,
        acceptance: None,
    };
}

/// What the true value may be, seen from the reading: a distribution about it.
#[derive(Clone, Copy)]
struct Spread {
    standard_uncertainty: f64,
    freedom: f64,
}

impl Spread {
    /// The probability that the true value lies further from the reading than this, to one given side. A distance below 0 is on the other side.
    fn beyond(self, distance: f64) -> f64 {
        if self.standard_uncertainty == 0.0 {
            return if distance < 0.0 { 1.0 } else { 0.0 };
        }
        let from = -distance / self.standard_uncertainty;
        if self.freedom.is_finite() { student_t_cdf(from, self.freedom) } else { normal_cdf(from) }
    }

    /// The probabilities that the true value lies within the limits and beyond them. Each is found from tails, so that neither loses digits.
    fn within_and_beyond(self, value: f64, Limits { min, max }: Limits) -> (f64, f64) {
        let above = max.map_or(0.0, |max| self.beyond(max - value));
        let below = min.map_or(0.0, |min| self.beyond(value - min));
        let outside = (below + above).min(1.0);
        let inside = match (min, max) {
            (min, Some(max)) if value > max => {
                self.beyond(value - max) - min.map_or(0.0, |min| self.beyond(value - min))
            }
            (Some(min), max) if value < min => {
                self.beyond(min - value) - max.map_or(0.0, |max| self.beyond(max - value))
            }
            _ => 1.0 - outside,
        };
        (inside.max(0.0), outside)
    }

    /// The values that conform with the probability, given the guard band of one limit; None when none does.
    fn acceptance(self, Limits { min, max }: Limits, probability: f64, guard_band: f64) -> Option<Limits> {
        let (Some(least), Some(greatest)) = (min, max) else {
            return Some(Limits { min: min.map(|min| min + guard_band), max: max.map(|max| max - guard_band) });
        };
        let (middle, half) = (least / 2.0 + greatest / 2.0, greatest / 2.0 - least / 2.0);
        let conforms = |off: f64| self.beyond(half - off) + self.beyond(half + off) <= 1.0 - probability;
        if !conforms(0.0) {
            return None;
        }
        // With both tails the limits lie no further out than with the guard band of one, and mostly right there.
        let (mut inner, mut outer) = (0.0, (half - guard_band).max(0.0));
        if conforms(outer) {
            inner = outer;
        }
        loop {
            let between = inner / 2.0 + outer / 2.0;
            if between <= inner || between >= outer {
                break;
            }
            *(if conforms(between) { &mut inner } else { &mut outer }) = between;
        }
        Some(Limits { min: Some(middle - inner), max: Some(middle + inner) })
    }
}

/// Judges one value against its limits, all in one unit, degrees or mm alike. Without an uncertainty it is judged by simple acceptance.
///
/// See the [module](self) for the rules.
///
/// # Errors
/// [`ErrorCode::NotFinite`]; [`ErrorCode::OutOfRange`] for a probability outside 0.5 to 0.999999, an uncertainty below 0, fewer than one degree
/// of freedom, a least value above the greatest, or numbers beyond ± 1e9; [`ErrorCode::MissingInput`] without any limit.
///
/// ```
/// # use alignment_core::conformity::{Decision, Limits, Uncertain, Verdict, judge};
/// let limits = Limits { min: Some(-1.0), max: Some(0.0) };
/// let known = Uncertain { standard_uncertainty: 0.05, degrees_of_freedom: None };
/// let judged = judge(-0.05, Some(known), limits, Decision::default())?;
/// assert_eq!(judged.verdict, Verdict::Undetermined);
/// assert!((judged.probability_of_conformity.unwrap() - 0.841).abs() < 1e-3);
/// assert!((judged.acceptance.unwrap().max.unwrap() + 1.645 * 0.05).abs() < 1e-4);
/// assert_eq!(judge(-0.05, None, limits, Decision::default())?.verdict, Verdict::Conforms);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn judge(
    value: f64,
    uncertainty: Option<Uncertain>,
    limits: Limits,
    decision: Decision,
) -> Result<Judgement, Error> {
    check_magnitude("value", value)?;
    check_limits("limits", limits)?;
    check_decision(decision)?;
    let within = limits.min.is_none_or(|min| value >= min) && limits.max.is_none_or(|max| value <= max);
    let by_value = if within { Verdict::Conforms } else { Verdict::DoesNotConform };
    let simply = Judgement {
        verdict: by_value,
        reason: None,
        rule: Rule::SimpleAcceptance,
        probability_of_conformity: None,
        risk_of_wrong_verdict: None,
        guard_band: Some(0.0),
        acceptance: Some(limits),
    };
    let Some(Uncertain { standard_uncertainty, degrees_of_freedom }) = uncertainty else { return Ok(simply) };
    let freedom = degrees_of_freedom.unwrap_or(f64::INFINITY);
    check_range(ErrorCode::OutOfRange, "standard_uncertainty", standard_uncertainty, [0.0, MAX_MAGNITUDE])?;
    check_freedom(freedom)?;
    let spread = Spread { standard_uncertainty, freedom };
    let (inside, outside) = spread.within_and_beyond(value, limits);
    let risk = |verdict| match verdict {
        Verdict::Conforms => Some(outside),
        Verdict::DoesNotConform => Some(inside),
        Verdict::Undetermined => None,
    };
    let simply = Judgement { probability_of_conformity: Some(inside), ..simply };
    if decision.rule == Rule::SimpleAcceptance {
        return Ok(Judgement { risk_of_wrong_verdict: risk(by_value), ..simply });
    }
    let allowed = 1.0 - decision.probability;
    let guard_band = standard_uncertainty * student_t_quantile(decision.probability, freedom);
    let acceptance = spread.acceptance(limits, decision.probability, guard_band);
    let rejected = limits.max.is_some_and(|max| value > max && spread.beyond(value - max) <= allowed)
        || limits.min.is_some_and(|min| value < min && spread.beyond(min - value) <= allowed);
    let (verdict, reason) = match acceptance {
        _ if rejected => (Verdict::DoesNotConform, None),
        _ if outside <= allowed => (Verdict::Conforms, None),
        Some(_) => (Verdict::Undetermined, Some(Reason::NearLimit)),
        None => (Verdict::Undetermined, Some(Reason::TooUncertain)),
    };
    Ok(Judgement {
        verdict,
        reason,
        rule: Rule::Guarded,
        risk_of_wrong_verdict: risk(verdict),
        guard_band: Some(guard_band),
        acceptance,
        ..simply
    })
}

fn check_magnitude(input: &'static str, value: f64) -> Result<(), Error> {
    check_range(ErrorCode::OutOfRange, input, value, [-MAX_MAGNITUDE, MAX_MAGNITUDE])
}

fn check_limits(input: &'static str, limits: Limits) -> Result<(), Error> {
    for limit in [limits.min, limits.max].into_iter().flatten() {
        check_magnitude(input, limit)?;
    }
    match (limits.min, limits.max) {
        (None, None) => Err(Error::new(ErrorCode::MissingInput).input(input)),
        (Some(min), Some(max)) if min > max => {
            Err(Error::new(ErrorCode::OutOfRange).input(input).value(max).at_least(min))
        }
        _ => Ok(()),
    }
}

fn check_decision(decision: Decision) -> Result<(), Error> {
    check_range(ErrorCode::OutOfRange, "probability", decision.probability, PROBABILITY_RANGE)
}

fn check_freedom(freedom: f64) -> Result<(), Error> {
    if freedom.is_nan() {
        return Err(Error::new(ErrorCode::NotFinite).input("degrees_of_freedom"));
    }
    if freedom < 1.0 {
        let error = Error::new(ErrorCode::OutOfRange).input("degrees_of_freedom");
        return Err(error.value(freedom).at_least(1.0));
    }
    Ok(())
}

/// What is produced, or comes to be measured: the distribution of the true values before any of them is measured, taken to be normal.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Production {
    /// Its mean.
    pub mean: f64,
    /// Its standard deviation, above 0.
    pub standard_deviation: f64,
}

/// The risks of judging all that is produced.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GlobalRisks {
    /// The probability that one of them does not conform and is accepted: the global consumer's risk.
    pub consumer: f64,
    /// The probability that one of them conforms and is not accepted: the global producer's risk.
    pub producer: f64,
}

/// The global risks of accepting what is measured within the acceptance limits, all in one unit, degrees or mm alike. With the density g of
/// the production and the distribution F(·|y) of what is measured of a true value y, both normal:
///
/// consumer = ∫ over y beyond the limits of g(y)·P(accepted|y), producer = ∫ over y within them of g(y)·P(not accepted|y).
///
/// By simple acceptance the acceptance limits are the limits; guarded they are those of [`Judgement::acceptance`]. To some 1e-13.
///
/// # Errors
/// [`ErrorCode::NotFinite`]; [`ErrorCode::OutOfRange`] for a standard deviation not above 0, an uncertainty below 0, a least value above the
/// greatest, or numbers beyond ± 1e9; [`ErrorCode::MissingInput`] without any limit.
///
/// ```
/// # use alignment_core::conformity::{Limits, Production, global_risks};
/// let limits = Limits { min: Some(-0.5), max: Some(0.5) };
/// let production = Production { mean: 0.0, standard_deviation: 0.3 };
/// let simple = global_risks(production, 0.05, limits, limits)?;
/// let guarded = global_risks(production, 0.05, limits, Limits { min: Some(-0.42), max: Some(0.42) })?;
/// assert!(guarded.consumer < simple.consumer && guarded.producer > simple.producer);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn global_risks(
    production: Production,
    standard_uncertainty: f64,
    limits: Limits,
    acceptance: Limits,
) -> Result<GlobalRisks, Error> {
    /// Production and measurement end at so many standard deviations, and no panel is wider than two.
    const END: i32 = 10;
    let Production { mean, standard_deviation } = production;
    let positive = [f64::MIN_POSITIVE, MAX_MAGNITUDE];
    check_magnitude("mean", mean)?;
    check_range(ErrorCode::OutOfRange, "standard_deviation", standard_deviation, positive)?;
    check_range(ErrorCode::OutOfRange, "standard_uncertainty", standard_uncertainty, [0.0, MAX_MAGNITUDE])?;
    check_limits("limits", limits)?;
    check_limits("acceptance", acceptance)?;

    let measured = Spread { standard_uncertainty, freedom: f64::INFINITY };
    // True values are counted in standard deviations of the production. Panels end wherever the integrand bends.
    let standardised = |value: f64| (value - mean) / standard_deviation;
    let steps = || (-END..=END).step_by(2).map(f64::from);
    let mut ends: Vec<f64> = steps().collect();
    ends.extend([limits.min, limits.max].into_iter().flatten().map(standardised));
    for limit in [acceptance.min, acceptance.max].into_iter().flatten() {
        ends.extend(steps().map(|step| standardised(limit + step * standard_uncertainty)));
    }
    let end = f64::from(END);
    for place in &mut ends {
        *place = place.clamp(-end, end);
    }
    units::sort(&mut ends);
    let mut risks = GlobalRisks { consumer: 0.0, producer: 0.0 };
    for panel in ends.windows(2) {
        let (middle, half) = (panel[0] / 2.0 + panel[1] / 2.0, panel[1] / 2.0 - panel[0] / 2.0);
        let conforms = limits.min.is_none_or(|min| middle > standardised(min))
            && limits.max.is_none_or(|max| middle < standardised(max));
        let mean_over_panel = gauss(|place| {
            let true_value = middle + half * place;
            let (accepted, refused) = measured.within_and_beyond(mean + standard_deviation * true_value, acceptance);
            libm::exp(-true_value * true_value / 2.0) * if conforms { refused } else { accepted }
        });
        *if conforms { &mut risks.producer } else { &mut risks.consumer } += half * mean_over_panel * NORMAL_PEAK;
    }
    Ok(risks)
}

/// The density of the standard normal distribution at 0, 1/√(2π).
const NORMAL_PEAK: f64 = 0.398_942_280_401_432_7;

/// The integral from −1 to 1, by the ten points of Gauss and Legendre.
fn gauss(integrand: impl Fn(f64) -> f64) -> f64 {
    const POINTS: [[f64; 2]; 5] = [
        [0.148_874_338_981_631_2, 0.295_524_224_714_752_87],
        [0.433_395_394_129_247_2, 0.269_266_719_309_996_35],
        [0.679_409_568_299_024_4, 0.219_086_362_515_982_04],
        [0.865_063_366_688_984_5, 0.149_451_349_150_580_6],
        [0.973_906_528_517_171_7, 0.066_671_344_308_688_14],
    ];
    POINTS.iter().map(|&[place, weight]| weight * (integrand(place) + integrand(-place))).sum()
}

/// The unit in which a tolerance is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(rename_all = "lowercase"))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum Unit {
    /// Degrees.
    Deg,
    /// Minutes of arc.
    Arcmin,
    /// Millimetres: of a length, or of toe at the reference diameter.
    Mm,
}

/// The limits of one reading as a specification writes them: `min`, `max` or both, or else `nominal` with `minus` and `plus`.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(deny_unknown_fields))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Tolerance {
    /// The least value that conforms.
    #[cfg_attr(feature = "json", serde(default, skip_serializing_if = "Option::is_none"))]
    pub min: Option<f64>,
    /// The greatest value that conforms.
    #[cfg_attr(feature = "json", serde(default, skip_serializing_if = "Option::is_none"))]
    pub max: Option<f64>,
    /// The value to aim at.
    #[cfg_attr(feature = "json", serde(default, skip_serializing_if = "Option::is_none"))]
    pub nominal: Option<f64>,
    /// How far below the nominal value conforms; not negative.
    #[cfg_attr(feature = "json", serde(default, skip_serializing_if = "Option::is_none"))]
    pub minus: Option<f64>,
    /// How far above the nominal value conforms; not negative.
    #[cfg_attr(feature = "json", serde(default, skip_serializing_if = "Option::is_none"))]
    pub plus: Option<f64>,
    /// The unit of all of them: that of the reading by default.
    #[cfg_attr(feature = "json", serde(default, skip_serializing_if = "Option::is_none"))]
    pub unit: Option<Unit>,
    /// The diameter at which a toe in mm is told, mm.
    #[cfg_attr(feature = "json", serde(default, skip_serializing_if = "Option::is_none"))]
    pub reference_diameter_mm: Option<f64>,
}

/// What is wrong with a tolerance: its form, in a sentence, or a number of it.
pub(crate) enum Fault {
    Form(
        #[cfg_attr(not(feature = "json"), expect(dead_code, reason = "the sentence is for the reader of a text"))]
        &'static str,
    ),
    Number(Error),
}

impl From<Error> for Fault {
    fn from(error: Error) -> Self {
        Self::Number(error)
    }
}

/// How a number of a tolerance turns into the reading's own unit. A toe is the only angle that is also told as a length.
#[derive(Clone, Copy)]
enum Written {
    InOwnUnit,
    InMinutes,
    AsToe { diameter_mm: f64 },
    AsTotalToe { diameter_mm: f64 },
}

impl Written {
    fn of(path: &str, unit: Option<Unit>, reference_diameter_mm: Option<f64>) -> Result<Self, Fault> {
        let own = if paths::unit(path) == "deg" { Unit::Deg } else { Unit::Mm };
        let toe = match path.rsplit_once('.') {
            Some((_, "toe_deg" | "toe_to_centreline_deg")) => Some(false),
            Some((_, "total_toe_deg")) => Some(true),
            _ => None,
        };
        match (own, unit.unwrap_or(own), toe, reference_diameter_mm) {
            (Unit::Deg, Unit::Mm, Some(false), Some(diameter_mm)) => Ok(Self::AsToe { diameter_mm }),
            (Unit::Deg, Unit::Mm, Some(true), Some(diameter_mm)) => Ok(Self::AsTotalToe { diameter_mm }),
            (Unit::Deg, Unit::Mm, ..) => Err(Fault::Form("only a toe can be in mm, with its reference_diameter_mm")),
            (.., Some(_)) => Err(Fault::Form("reference_diameter_mm belongs to a toe in mm alone")),
            (Unit::Deg, Unit::Arcmin, ..) => Ok(Self::InMinutes),
            (own, unit, ..) if own == unit => Ok(Self::InOwnUnit),
            _ => Err(Fault::Form("a length has its limits in mm")),
        }
    }

    fn in_own_unit(self, number: f64) -> Result<f64, Error> {
        match self {
            Self::InOwnUnit => Ok(number),
            Self::InMinutes => Ok(number / 60.0),
            Self::AsToe { diameter_mm } => toe_from_length_deg(number, diameter_mm),
            Self::AsTotalToe { diameter_mm } => {
                toe_from_length_deg(number / 2.0, diameter_mm).map(|of_each_wheel| 2.0 * of_each_wheel)
            }
        }
    }
}

impl Tolerance {
    /// The limits in the reading's own unit, degrees or mm as its path says.
    ///
    /// 60 minutes of arc are 1°. A toe of one wheel in mm is atan(length/D) at the reference diameter D. A total toe in mm is
    /// the sum of both wheels' lengths, and 2·atan(length/(2·D)): exactly, when both wheels share it alike. What they do not share
    /// alike changes little: with toes that differ by δ the length is greater by the factor 1 + δ²/4 or so, 1e-4 at 1°.
    ///
    /// # Errors
    /// [`ErrorCode::UnknownReading`] for a path that is no reading, or one of a vector's components, which have no limits;
    /// [`ErrorCode::NotASpecification`] for a tolerance in neither form, or in a unit that the reading does not have;
    /// [`ErrorCode::NotFinite`]; [`ErrorCode::OutOfRange`] for a negative `minus` or `plus`, a least value above the greatest, or numbers beyond
    /// ± 1e9; [`ErrorCode::LengthOutOfRange`] for a diameter outside 100 to 3000 mm, or a toe beyond ± 45° there. They name the path.
    ///
    /// ```
    /// # use alignment_core::conformity::{Tolerance, Unit};
    /// let toe = Tolerance { min: Some(1.0), max: Some(3.0), unit: Some(Unit::Mm), ..Tolerance::default() };
    /// let toe = Tolerance { reference_diameter_mm: Some(400.0), ..toe };
    /// let limits = toe.limits("axles.front.total_toe_deg")?;
    /// assert!((limits.max.unwrap() - 0.42972).abs() < 1e-5);
    /// # Ok::<(), alignment_core::Error>(())
    /// ```
    pub fn limits(&self, path: &'static str) -> Result<Limits, Error> {
        self.bounds_of(path).map(|(limits, _)| limits)
    }

    /// The limits and the nominal value.
    pub(crate) fn bounds_of(&self, path: &'static str) -> Result<(Limits, Option<f64>), Error> {
        with_limits(path).ok_or(Error::new(ErrorCode::UnknownReading).input(path))?;
        self.bounds(path).map_err(|fault| match fault {
            Fault::Form(_) => Error::new(ErrorCode::NotASpecification).input(path),
            Fault::Number(error) => error.input(path),
        })
    }

    /// The limits and the nominal value, of a path that has them.
    pub(crate) fn bounds(&self, path: &str) -> Result<(Limits, Option<f64>), Fault> {
        const FORM: Fault = Fault::Form("limits need min, max or both, or else nominal with minus and plus");
        let written = Written::of(path, self.unit, self.reference_diameter_mm)?;
        let to_own = |number: Option<f64>| number.map(|number| written.in_own_unit(number)).transpose();
        let Self { min, max, nominal, minus, plus, .. } = *self;
        for number in [min, max, nominal].into_iter().flatten() {
            check_magnitude("limits", number)?;
        }
        let (min, max) = match (min, max, nominal, minus, plus) {
            (None, None, Some(nominal), Some(minus), Some(plus)) => {
                for number in [minus, plus] {
                    check_range(ErrorCode::OutOfRange, "limits", number, [0.0, MAX_MAGNITUDE])?;
                }
                (Some(nominal - minus), Some(nominal + plus))
            }
            (None, None, ..) => return Err(FORM),
            (_, _, None, None, None) => (min, max),
            _ => return Err(FORM),
        };
        let limits = Limits { min: to_own(min)?, max: to_own(max)? };
        check_limits("limits", limits)?;
        Ok((limits, to_own(nominal)?))
    }
}

/// The path, if it is that of a reading that can have limits: components of vectors have none.
pub(crate) fn with_limits(path: &str) -> Option<&'static str> {
    READINGS.into_iter().find(|&known| known == path && !known.ends_with(']'))
}

/// The version of the specification format.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum SpecificationFormat {
    /// The first: `alignment-specification/1`.
    #[default]
    #[cfg_attr(feature = "json", serde(rename = "alignment-specification/1"))]
    V1,
}

/// The limits of one car: what its maker, or whoever answers for it, asks of each reading.
#[derive(Debug, Clone, PartialEq, Default)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(deny_unknown_fields))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Specification {
    /// The version of the format.
    pub format: SpecificationFormat,
    /// A remark for people: whose limits they are, and of which car.
    #[cfg_attr(feature = "json", serde(default, skip_serializing_if = "Option::is_none"))]
    pub note: Option<String>,
    /// The load at which the limits hold, for people: tank, persons, ballast, ride height.
    #[cfg_attr(feature = "json", serde(default, skip_serializing_if = "Option::is_none"))]
    pub load_state: Option<String>,
    /// The rule by which readings are judged; guarded at 95 % by default.
    #[cfg_attr(feature = "json", serde(default, deserialize_with = "crate::json::keyed"))]
    pub decision: Decision,
    /// The limits, by the paths of the readings. Names in braces stand for a path each: `wheels.{fl,fr}.camber_deg`. No path may be given twice.
    /// Vectors have no limits.
    #[cfg_attr(feature = "json", serde(deserialize_with = "crate::json::limits"))]
    #[cfg_attr(feature = "schema", schemars(with = "BTreeMap<String, Tolerance>"))]
    pub limits: BTreeMap<&'static str, Tolerance>,
}

/// The verdict on one reading.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct ReadingVerdict {
    /// The path of the reading.
    pub path: &'static str,
    /// The unit of all that follows: `deg` or `mm`.
    pub unit: &'static str,
    /// The reading; absent when it was not measured.
    pub value: Option<f64>,
    /// Its standard uncertainty, where it is known.
    pub standard_uncertainty: Option<f64>,
    /// The degrees of freedom of the uncertainty, where they are few.
    pub degrees_of_freedom: Option<f64>,
    /// The value to aim at, where the specification names one.
    pub nominal: Option<f64>,
    /// The limits, in the unit of the reading.
    pub limits: Limits,
    /// The verdict, and what it rests on.
    #[cfg_attr(feature = "json", serde(flatten))]
    pub judgement: Judgement,
}

/// The verdicts on a car.
#[derive(Debug, Clone, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Verdicts {
    /// On the whole: one reading that does not conform is enough for that; it conforms when every reading with limits does.
    pub overall: Verdict,
    /// The rule that the specification asked for.
    pub decision: Decision,
    /// The load at which the limits hold.
    pub load_state: Option<String>,
    /// One verdict for each limit of the specification, in the order of the tree of readings.
    pub readings: Vec<ReadingVerdict>,
}

/// Judges every reading that has limits, in degrees and mm.
///
/// Standard uncertainties and their degrees of freedom are trees of the same shape as the readings: what is absent there is not known.
/// A reading without an uncertainty is judged by simple acceptance; one without degrees of freedom by the normal distribution.
///
/// # Errors
/// Those of [`judge`] and [`Tolerance::limits`]: [`ErrorCode::UnknownReading`], [`ErrorCode::NotASpecification`], [`ErrorCode::NotFinite`],
/// [`ErrorCode::OutOfRange`], [`ErrorCode::LengthOutOfRange`]. They name the path.
///
/// ```
/// # use alignment_core::conformity::{Specification, Tolerance, Verdict, judge_all};
/// # use alignment_core::Alignment;
/// let mut specification = Specification::default();
/// specification.limits.insert("wheels.fl.camber_deg", Tolerance { max: Some(0.0), ..Tolerance::default() });
/// let mut readings = Alignment::default();
/// readings.wheels.fl.camber_deg = Some(0.3);
/// let verdicts = judge_all(&readings, None, None, &specification)?;
/// assert_eq!(verdicts.overall, Verdict::DoesNotConform);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn judge_all(
    readings: &Alignment,
    standard_uncertainty: Option<&Alignment>,
    degrees_of_freedom: Option<&Alignment>,
    specification: &Specification,
) -> Result<Verdicts, Error> {
    let decision = specification.decision;
    check_decision(decision)?;
    let bounds: BTreeMap<&str, _> = specification
        .limits
        .iter()
        .map(|(&path, tolerance)| tolerance.bounds_of(path).map(|bounds| (path, bounds)))
        .collect::<Result<_, _>>()?;
    let flat = |tree: Option<&Alignment>| tree.map_or([None; paths::COUNT], Alignment::values);
    let (values, uncertainties, freedoms) = (readings.values(), flat(standard_uncertainty), flat(degrees_of_freedom));
    let mut verdicts = Vec::with_capacity(bounds.len());
    for (index, path) in READINGS.into_iter().enumerate() {
        let Some(&(limits, nominal)) = bounds.get(path) else { continue };
        let value = values[index];
        // What is absent has no uncertainty either.
        let uncertainty = value.and(uncertainties[index]).map(|standard_uncertainty| {
            let degrees_of_freedom = freedoms[index].filter(|&freedom| freedom != f64::INFINITY);
            Uncertain { standard_uncertainty, degrees_of_freedom }
        });
        let judgement = match value {
            Some(value) => judge(value, uncertainty, limits, decision).map_err(|error| error.input(path))?,
            None => Judgement { rule: decision.rule, ..Judgement::NOT_MEASURED },
        };
        verdicts.push(ReadingVerdict {
            path,
            unit: paths::unit(path),
            value,
            standard_uncertainty: uncertainty.map(|known| known.standard_uncertainty),
            degrees_of_freedom: uncertainty.and_then(|known| known.degrees_of_freedom),
            nominal,
            limits,
            judgement,
        });
    }
    let overall = overall(verdicts.iter().map(|reading| reading.judgement.verdict));
    Ok(Verdicts { overall, decision, load_state: specification.load_state.clone(), readings: verdicts })
}

/// The verdict on the whole: one that does not conform is enough for that; nothing judged is undetermined.
pub(crate) fn overall(verdicts: impl Iterator<Item = Verdict>) -> Verdict {
    let mut overall = None;
    for verdict in verdicts {
        overall = match (overall, verdict) {
            (Some(Verdict::DoesNotConform), _) | (_, Verdict::DoesNotConform) => Some(Verdict::DoesNotConform),
            (Some(Verdict::Undetermined), _) | (_, Verdict::Undetermined) => Some(Verdict::Undetermined),
            _ => Some(Verdict::Conforms),
        };
    }
    overall.unwrap_or(Verdict::Undetermined)
}
