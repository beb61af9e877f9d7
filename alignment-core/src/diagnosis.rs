//! Hints: which parts of a car may be bent or shifted, told from readings that do not go together. Never a verdict.
//!
//! Some readings are set with a spanner, others are built into the car. What is built in tells where something has moved:
//!
//! - A front wheel turns on a **knuckle**, which carries the spindle and hangs on two pivots. The line through the pivots is the steering
//!   axis. **SAI** says how this axis leans, which follows where the body, the arms and the subframe hold the pivots.
//! - The **included angle**, SAI plus camber, is the angle between the axis and the wheel. It belongs to the knuckle alone: whatever moves a pivot
//!   tips axis and wheel together, so that SAI grows by as much as camber falls. Setting camber or toe does not change it, but for one custom: where
//!   camber is set by tilting the knuckle against its strut.
//! - **Caster** says where the lower pivot stands against the upper one along the car, **setback** where the wheel stands.
//! - **Toe-out on turns** is made by the steering arms. Left turn and right turn mirror each other on a sound car.
//! - A rear wheel has its camber and toe from the axle that carries it.
//!
//! So these hints follow, each with what else may lie behind it:
//!
//! | what the readings show | [`Cause`] |
//! |---|---|
//! | included angles differ | [`BentKnuckle`](Cause::BentKnuckle) |
//! | SAI differs, and camber the other way by at least half as much; with an included angle that is right it is this alone | [`ShiftedPivot`](Cause::ShiftedPivot), or with a specification that shows both sides to be off [`ShiftedSubframe`](Cause::ShiftedSubframe) |
//! | setback, by which the wheelbases differ too, and less caster at the wheel that stands back | [`PushedBackWheel`](Cause::PushedBackWheel), or both sides off: [`ShiftedSubframe`](Cause::ShiftedSubframe) |
//! | by the specification both sides have too little caster and too short a wheelbase, or too much of both | [`ShiftedSubframe`](Cause::ShiftedSubframe) |
//! | toe-out on turns differs from left to right, while caster, SAI and included angle are right | [`BentSteeringArm`](Cause::BentSteeringArm) |
//! | rear cambers differ, or the thrust angle is off on an axle that stands square | [`BentRearStubAxle`](Cause::BentRearStubAxle) |
//! | the thrust angle is off, and so by as much is the axle's own setback | [`ShiftedRearAxle`](Cause::ShiftedRearAxle) |
//!
//! All this is common practice in the trade, without a published source.
//!
//! # When a hint is given
//! A car is compared with itself, left against right. A specification that names what to aim at (`nominal`, or `min` and `max`, whose middle it then
//! is) says which difference the maker wants, if any, and which of the two sides is the one that is off. A deviation **stands out** when
//!
//! |deviation| > tolerance + k·u,
//!
//! with the tolerance that is normal from car to car ([`NormalTolerances`]) and the standard uncertainty u of this very difference: with the
//! covariance of the readings u² = V(a, a) + V(b, b) − 2·V(a, b), since what both readings share cancels. Without a covariance u is not known and
//! taken for 0.
//!
//! # What it does not see
//! Both sides bent alike look like a car of another kind, or of another ride height. Of a bent knuckle beside a shifted pivot the hints name both
//! only if the camber tells. What is absent gives no hint. Without SAI front pivots that moved to one side cannot be told from a rear axle that moved
//! to the other: the hint is of the rear axle, and names the body among what else it may be. No hint is no proof that a car is sound: it was measured at wheels, not at parts.
//!
//! # Cautions
//! A hint says where to look. Whether a part is replaced is for the vehicle maker's procedure, local codes and licensed practice, never for a
//! number. Never straighten or heat parts of the steering or the suspension, and support a raised car before anybody reaches under it.

use crate::alignment::Alignment;
use crate::conformity::Specification;
use crate::error::{Error, ErrorCode};
use crate::layout::{Side, Wheel};
use crate::paths::{self, COUNT, READINGS, position};
use crate::session::check_range;
use crate::units::{self, sqrt};
use alloc::vec::Vec;
use core::fmt;

/// No reading and no tolerance lies further from 0.
const MAX_MAGNITUDE: f64 = 1e9;
/// The least and greatest coverage factor.
pub const COVERAGE_FACTOR_RANGE: [f64; 2] = [0.0, 100.0];
/// One side alone is off when it is off by so many times as much as the other.
const MORE_THAN_THE_OTHER: f64 = 2.0;
/// A covariance may be off by so much of its deviations, by rounding.
const ROUNDING: f64 = 1e-6;

/// What may be wrong, as a stable number and name.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[non_exhaustive]
#[repr(i32)]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
#[cfg_attr(feature = "json", serde(rename_all = "snake_case"))]
pub enum Cause {
    /// The knuckle, the spindle or the strut of a front wheel is bent.
    BentKnuckle = 1,
    /// A pivot of a front knuckle stands elsewhere: the strut tower, the control arm or its mount has moved.
    ShiftedPivot = 2,
    /// The front subframe stands elsewhere: sideways, lengthwise or turned.
    ShiftedSubframe = 3,
    /// A front wheel is pushed back: its lower arm, strut rod or their mount has moved.
    PushedBackWheel = 4,
    /// A steering arm is bent.
    BentSteeringArm = 5,
    /// The stub axle, knuckle or arm of a rear wheel is bent.
    BentRearStubAxle = 6,
    /// The rear axle stands elsewhere: sideways or turned.
    ShiftedRearAxle = 7,
}

impl Cause {
    /// Every cause, in the order of the numbers.
    pub const ALL: &'static [Self] = &[
        Self::BentKnuckle,
        Self::ShiftedPivot,
        Self::ShiftedSubframe,
        Self::PushedBackWheel,
        Self::BentSteeringArm,
        Self::BentRearStubAxle,
        Self::ShiftedRearAxle,
    ];

    /// Name, what may be wrong, and where to look next.
    const fn text(self) -> (&'static str, &'static str, &'static str) {
        match self {
            Self::BentKnuckle => (
                "bent_knuckle",
                "the knuckle, the spindle or the strut may be bent",
                "Look at the knuckle, the spindle and the strut, and compare them with the other side",
            ),
            Self::ShiftedPivot => (
                "shifted_pivot",
                "the strut tower, the control arm or its mount may have moved",
                "Measure the towers crosswise, and look at the control arms, their bushings and mounts",
            ),
            Self::ShiftedSubframe => (
                "shifted_subframe",
                "the front subframe may have shifted",
                "Look at its bolts and dowels for traces of movement, and measure it against the body",
            ),
            Self::PushedBackWheel => (
                "pushed_back_wheel",
                "the wheel may be pushed back: its lower arm, strut rod or their mount may have moved",
                "Look at the lower arm, the strut rod, their bushings and mounts, and measure to the body",
            ),
            Self::BentSteeringArm => (
                "bent_steering_arm",
                "a steering arm may be bent",
                "See that the steering gear stands in its middle, look at its mounts, and compare the steering arms and tie rods of both sides",
            ),
            Self::BentRearStubAxle => (
                "bent_rear_stub_axle",
                "the stub axle, knuckle or arm of a rear wheel may be bent",
                "Look at the stub axle and the arms, and compare them with the other side",
            ),
            Self::ShiftedRearAxle => (
                "shifted_rear_axle",
                "the rear axle may have shifted sideways or turned",
                "Look at its mounts and bushings, and measure it against the body",
            ),
        }
    }

    /// What else may lie behind the same readings.
    const fn others(self) -> &'static [OtherCause] {
        match self {
            Self::BentKnuckle => &[
                OtherCause::CamberSetAtStrut,
                OtherCause::WornJoints,
                OtherCause::WheelRolledInSweep,
                OtherCause::ClampOrTarget,
            ],
            Self::ShiftedPivot => &[
                OtherCause::SubframeOrBody,
                OtherCause::EarlierAdjustment,
                OtherCause::WornJoints,
                OtherCause::RideHeight,
                OtherCause::DatumNotLevel,
                OtherCause::ClampOrTarget,
            ],
            Self::ShiftedSubframe => &[
                OtherCause::SubframeOrBody,
                OtherCause::EarlierAdjustment,
                OtherCause::WornJoints,
                OtherCause::RideHeight,
                OtherCause::DatumNotLevel,
            ],
            Self::PushedBackWheel => &[
                OtherCause::SubframeOrBody,
                OtherCause::EarlierAdjustment,
                OtherCause::WornJoints,
                OtherCause::RideHeight,
                OtherCause::ClampOrTarget,
            ],
            Self::BentSteeringArm => &[
                OtherCause::SteeringNotCentred,
                OtherCause::UnlikeTieRods,
                OtherCause::SubframeOrBody,
                OtherCause::WornJoints,
                OtherCause::ClampOrTarget,
            ],
            Self::BentRearStubAxle => &[
                OtherCause::EarlierAdjustment,
                OtherCause::WornJoints,
                OtherCause::RideHeight,
                OtherCause::DatumNotLevel,
                OtherCause::ClampOrTarget,
            ],
            Self::ShiftedRearAxle => &[
                OtherCause::SubframeOrBody,
                OtherCause::EarlierAdjustment,
                OtherCause::WornJoints,
                OtherCause::UnlikeRims,
                OtherCause::ClampOrTarget,
            ],
        }
    }
}

impl fmt::Display for Cause {
    /// The stable name, in snake case.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.text().0)
    }
}

/// What else makes readings look like those of a bent or shifted part.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[non_exhaustive]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
#[cfg_attr(feature = "json", serde(rename_all = "snake_case"))]
pub enum OtherCause {
    /// Ride height or load is not what it should be, or differs from side to side: a sagged spring.
    RideHeight,
    /// Worn or torn bushings, ball joints, wheel bearings.
    WornJoints,
    /// A target sits badly on its wheel or slipped, or stands off otherwise than stated.
    ClampOrTarget,
    /// The datum leans, or the car does on it: then front and rear cambers lean alike.
    DatumNotLevel,
    /// Somebody set it so, by eccentrics, shims or slotted holes.
    EarlierAdjustment,
    /// Camber was set by tilting the knuckle against its strut, which changes the included angle.
    CamberSetAtStrut,
    /// The wheel rolled in the caster sweep, so that SAI is read wrong.
    WheelRolledInSweep,
    /// The steering gear did not stand in its middle when toe was set, or when the car was measured.
    SteeringNotCentred,
    /// Tie rods of unlike length, or parts of another model.
    UnlikeTieRods,
    /// Rims of unlike offset.
    UnlikeRims,
    /// The subframe, or the body itself, has moved or is bent where the part is mounted.
    SubframeOrBody,
}

impl fmt::Display for OtherCause {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::RideHeight => "a wrong ride height or load",
            Self::WornJoints => "worn bushings, joints or bearings",
            Self::ClampOrTarget => "a target that sits badly or slipped",
            Self::DatumNotLevel => "a datum that leans",
            Self::EarlierAdjustment => "an earlier adjustment",
            Self::CamberSetAtStrut => "camber set at the strut",
            Self::WheelRolledInSweep => "a wheel that rolled in the sweep",
            Self::SteeringNotCentred => "a steering gear out of its middle",
            Self::UnlikeTieRods => "unlike tie rods",
            Self::UnlikeRims => "rims of unlike offset",
            Self::SubframeOrBody => "a subframe or body that has moved",
        })
    }
}

/// How much readings of sound cars differ from side to side, or from what they should be. The defaults are common practice, no source; where the vehicle
/// maker gives figures, these come first. All are magnitudes.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(deny_unknown_fields, default))]
pub struct NormalTolerances {
    /// Camber, left against right, of either axle, degrees: 0.5.
    pub camber_deg: f64,
    /// SAI, left against right, degrees: 0.5.
    pub sai_deg: f64,
    /// Included angle, left against right, degrees: 0.5.
    pub included_angle_deg: f64,
    /// Caster, left against right, degrees: 0.5.
    pub caster_deg: f64,
    /// Setback of either axle, and the difference of the wheelbases, mm: 6.
    pub setback_mm: f64,
    /// Axle offset, mm: 12.
    pub axle_offset_mm: f64,
    /// Thrust angle, degrees: 0.25.
    pub thrust_angle_deg: f64,
    /// Toe-out on turns, left turn against right turn, degrees: 0.5.
    pub toe_out_on_turns_deg: f64,
    /// By how many standard uncertainties a deviation must exceed its tolerance to stand out, 0 to 100: 2, which covers some 95 %.
    pub coverage_factor: f64,
}

impl Default for NormalTolerances {
    fn default() -> Self {
        Self {
            camber_deg: 0.5,
            sai_deg: 0.5,
            included_angle_deg: 0.5,
            caster_deg: 0.5,
            setback_mm: 6.0,
            axle_offset_mm: 12.0,
            thrust_angle_deg: 0.25,
            toe_out_on_turns_deg: 0.5,
            coverage_factor: 2.0,
        }
    }
}

impl NormalTolerances {
    fn check(&self) -> Result<(), Error> {
        let tolerances = [
            ("camber_deg", self.camber_deg),
            ("sai_deg", self.sai_deg),
            ("included_angle_deg", self.included_angle_deg),
            ("caster_deg", self.caster_deg),
            ("setback_mm", self.setback_mm),
            ("axle_offset_mm", self.axle_offset_mm),
            ("thrust_angle_deg", self.thrust_angle_deg),
            ("toe_out_on_turns_deg", self.toe_out_on_turns_deg),
        ];
        for (name, tolerance) in tolerances {
            check_range(ErrorCode::OutOfRange, name, tolerance, [0.0, MAX_MAGNITUDE])?;
        }
        check_range(ErrorCode::OutOfRange, "coverage_factor", self.coverage_factor, COVERAGE_FACTOR_RANGE)
    }
}

/// A reading that a hint rests on, and what it was compared with.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
pub struct Evidence {
    /// The path of the reading.
    pub path: &'static str,
    /// The unit of all that follows: `deg` or `mm`.
    pub unit: &'static str,
    /// The reading.
    pub value: f64,
    /// The reading from which it was expected: that of the other side, mostly. Absent where a specification says what is expected, or it is 0.
    pub compared_with: Option<&'static str>,
    /// What was expected.
    pub expected: f64,
    /// Value less what was expected.
    pub deviation: f64,
    /// How large a deviation is normal.
    pub tolerance: f64,
    /// The standard uncertainty of the deviation, where a covariance was given.
    pub standard_uncertainty: Option<f64>,
    /// Whether the deviation stands out of what is normal by more than its expanded uncertainty. Some evidence is that a reading does not.
    pub stands_out: bool,
}

impl fmt::Display for Evidence {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { path, unit, value, deviation, tolerance, .. } = *self;
        let (unit, digits, half) = if unit == "deg" { ("°", 2, 0.005) } else { (" mm", 1, 0.05) };
        // What rounds to zero has no sign.
        let deviation = if deviation.abs() < half { 0.0 } else { deviation };
        write!(f, "{path} {value:.digits$}{unit}, {deviation:+.digits$}{unit}")?;
        if let Some(standard_uncertainty) = self.standard_uncertainty {
            write!(f, " (u {standard_uncertainty:.0$}{unit})", digits + 1)?;
        }
        match self.compared_with {
            Some(other) => write!(f, " against {other}")?,
            None => write!(f, " against {:.digits$}{unit}", self.expected)?,
        }
        write!(f, ", normal ± {tolerance:.digits$}{unit}")
    }
}

/// What may be bent or shifted, and why it may.
///
/// `Display` makes a few sentences of it: what may be wrong, the evidence, what else may lie behind it, and where to look next.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
#[cfg_attr(feature = "json", serde(into = "HintJson"))]
pub struct Hint {
    /// What may be wrong.
    pub cause: Cause,
    /// At which wheel. Absent where the readings do not tell the side, and where the cause is of the whole axle.
    pub wheel: Option<Wheel>,
    /// The readings that the hint rests on, those first that stand out.
    pub evidence: Vec<Evidence>,
    /// What else may lie behind the same readings, in no order of likelihood.
    pub other_causes: &'static [OtherCause],
}

impl fmt::Display for Hint {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (_, what, look) = self.cause.text();
        if let Some(wheel) = self.wheel {
            write!(f, "{wheel}: ")?;
        }
        f.write_str(what)?;
        for (index, evidence) in self.evidence.iter().enumerate() {
            write!(f, "{}{evidence}", if index == 0 { ": " } else { "; " })?;
        }
        for (index, other) in self.other_causes.iter().enumerate() {
            write!(f, "{}{other}", if index == 0 { ". It may as well be " } else { ", or " })?;
        }
        write!(f, ". {look}. A hint, no verdict: the vehicle maker's procedure decides.")
    }
}

/// A hint as JSON has it: with the number of its cause and all of it in words.
#[cfg(feature = "json")]
#[derive(serde::Serialize)]
struct HintJson {
    cause: Cause,
    number: i32,
    wheel: Option<Wheel>,
    evidence: Vec<Evidence>,
    other_causes: &'static [OtherCause],
    message: alloc::string::String,
}

#[cfg(feature = "json")]
impl From<Hint> for HintJson {
    fn from(hint: Hint) -> Self {
        let message = alloc::format!("{hint}");
        let Hint { cause, wheel, evidence, other_causes } = hint;
        Self { cause, number: cause as i32, wheel, evidence, other_causes, message }
    }
}

/// Which side a difference comes from.
#[derive(Clone, Copy, PartialEq)]
enum Off {
    One(Side),
    /// Both by much the same, in opposite directions.
    Both,
    Unknown,
}

impl Off {
    /// From how far each side is off what it should be.
    fn of(own: [Option<Evidence>; 2]) -> Self {
        let [Some(left), Some(right)] = own.map(|own| own.map(|own| own.deviation)) else { return Self::Unknown };
        if left.abs() > MORE_THAN_THE_OTHER * right.abs() {
            Self::One(Side::Left)
        } else if right.abs() > MORE_THAN_THE_OTHER * left.abs() {
            Self::One(Side::Right)
        } else if left * right < 0.0 {
            Self::Both
        } else {
            Self::Unknown
        }
    }

    fn wheel(self, of: fn(Side) -> Wheel) -> Option<Wheel> {
        if let Self::One(side) = self { Some(of(side)) } else { None }
    }
}

/// Two readings that mirror each other.
type Pair = [&'static str; 2];

const INCLUDED: Pair = ["steering.left.included_angle_deg", "steering.right.included_angle_deg"];
const SAI: Pair = ["steering.left.sai_deg", "steering.right.sai_deg"];
const CASTER: Pair = ["steering.left.caster_deg", "steering.right.caster_deg"];
const FRONT_CAMBER: Pair = ["wheels.fl.camber_deg", "wheels.fr.camber_deg"];
const REAR_CAMBER: Pair = ["wheels.rl.camber_deg", "wheels.rr.camber_deg"];
const REAR_TOE: Pair = ["wheels.rl.toe_deg", "wheels.rr.toe_deg"];
const WHEELBASE: Pair = ["chassis.wheelbase_left_mm", "chassis.wheelbase_right_mm"];
const TOE_OUT: Pair = ["turns.left_turn.toe_out_deg", "turns.right_turn.toe_out_deg"];
const THRUST: &str = "chassis.thrust_angle_deg";

/// What is wanted, and how far from it is allowed: below, and above.
#[derive(Clone, Copy)]
struct Aim {
    wanted: f64,
    allowed: [f64; 2],
}

impl Aim {
    /// As far below as above.
    const fn within(wanted: f64, tolerance: f64) -> Self {
        Self { wanted, allowed: [tolerance; 2] }
    }
}

/// The readings of a car, and what they are compared with.
struct Case<'a> {
    values: [Option<f64>; COUNT],
    covariance: Option<&'a [f64]>,
    /// What a specification aims at, by the place of the reading.
    aims: Vec<(usize, Aim)>,
    normal: &'a NormalTolerances,
}

impl Case<'_> {
    fn aim(&self, path: &str) -> Option<Aim> {
        let at = position(path).ok()?;
        self.aims.iter().find(|(known, _)| *known == at).map(|(_, aim)| *aim)
    }

    /// A reading against another and a difference that is wanted. None when one is absent.
    fn compare(&self, path: &'static str, compared_with: Option<&'static str>, aim: Aim) -> Option<Evidence> {
        let i = position(path).ok()?;
        let j = compared_with.map(position).transpose().ok()?;
        let value = self.values[i]?;
        let expected = aim.wanted + j.map_or(Some(0.0), |j| self.values[j])?;
        let standard_uncertainty = self.covariance.map(|of| {
            let variance =
                j.map_or(of[i * COUNT + i], |j| of[i * COUNT + i] + of[j * COUNT + j] - 2.0 * of[i * COUNT + j]);
            sqrt(variance.max(0.0))
        });
        let deviation = value - expected;
        let [below, above] = aim.allowed;
        let tolerance = if deviation < 0.0 { below } else { above };
        let guard = self.normal.coverage_factor * standard_uncertainty.unwrap_or(0.0);
        let stands_out = deviation.abs() > tolerance + guard;
        let unit = paths::unit(path);
        Some(Evidence {
            path,
            unit,
            value,
            compared_with,
            expected,
            deviation,
            tolerance,
            standard_uncertainty,
            stands_out,
        })
    }

    /// A reading against what a specification aims at, or else 0.
    fn alone(&self, path: &'static str, normal: f64) -> Option<Evidence> {
        self.compare(path, None, self.aim(path).unwrap_or(Aim::within(0.0, normal)))
    }

    /// Left against right. A specification may say what their difference is to be: by a reading of its own, or by what it says of each.
    fn across(&self, [left, right]: Pair, difference: &str, normal: f64) -> Option<Evidence> {
        let of_each = || Some(Aim::within(self.aim(left)?.wanted - self.aim(right)?.wanted, normal));
        let aim = self.aim(difference).or_else(of_each).unwrap_or(Aim::within(0.0, normal));
        self.compare(left, Some(right), aim)
    }

    /// Each of both sides against what a specification aims at.
    fn own(&self, pair: Pair) -> [Option<Evidence>; 2] {
        pair.map(|path| self.compare(path, None, self.aim(path)?))
    }

    /// The included angles against what a specification aims at, be it of SAI and camber.
    fn own_included(&self) -> [Option<Evidence>; 2] {
        let normal = self.normal.included_angle_deg;
        let aim = |side: usize| {
            let of_both =
                || Some(Aim::within(self.aim(SAI[side])?.wanted + self.aim(FRONT_CAMBER[side])?.wanted, normal));
            self.aim(INCLUDED[side]).or_else(of_both)
        };
        [0, 1].map(|side| self.compare(INCLUDED[side], None, aim(side)?))
    }

    /// The included angles left against right.
    fn included_across(&self) -> Option<Evidence> {
        let [left, right] = self.own_included();
        let wanted = left.zip(right).map_or(0.0, |(left, right)| left.expected - right.expected);
        self.compare(INCLUDED[0], Some(INCLUDED[1]), Aim::within(wanted, self.normal.included_angle_deg))
    }
}

fn stands_out(evidence: Option<Evidence>) -> bool {
    evidence.is_some_and(|evidence| evidence.stands_out)
}

/// Adds a hint; what was hinted at already rests on more.
fn add(
    hints: &mut Vec<Hint>,
    cause: Cause,
    wheel: Option<Wheel>,
    evidence: impl IntoIterator<Item = Option<Evidence>>,
) {
    let at = hints.iter().position(|hint| (hint.cause, hint.wheel) == (cause, wheel)).unwrap_or_else(|| {
        hints.push(Hint { cause, wheel, evidence: Vec::new(), other_causes: cause.others() });
        hints.len() - 1
    });
    let all = &mut hints[at].evidence;
    for one in evidence.into_iter().flatten() {
        if !all.contains(&one) {
            all.push(one);
        }
    }
    // Stable: within each kind the order is that of the argument.
    units::sort_by(all, |a, b| b.stands_out.cmp(&a.stands_out));
}

/// What the readings of a car hint at. Empty when nothing stands out, which is no proof that the car is sound.
///
/// `covariance` is that of all readings in the order of [`READINGS`], row by row, as
/// [`Uncertainty::covariance_matrix`](crate::uncertainty::Uncertainty::covariance_matrix) gives it; without it readings are taken for exact. A
/// specification says what to aim at, in degrees and mm, and so which side is off; without it a car is compared with itself. See the [module](self)
/// for the rules and [`NormalTolerances`] for what is normal.
///
/// # Errors
/// [`ErrorCode::NotFinite`] and [`ErrorCode::OutOfRange`] of a reading, beyond ± 1e9, or a tolerance, below 0 or beyond 1e9;
/// [`ErrorCode::NotACovariance`]; those of [`Tolerance::limits`](crate::conformity::Tolerance::limits): [`ErrorCode::UnknownReading`],
/// [`ErrorCode::NotASpecification`], [`ErrorCode::LengthOutOfRange`]. They name the path.
///
/// ```
/// use alignment_core::diagnosis::{Cause, NormalTolerances, diagnose};
/// use alignment_core::simulate::{BentKnuckle, VirtualVehicle};
/// use alignment_core::{Wheel, measure};
///
/// let mut car = VirtualVehicle::default();
/// let sound = measure(&car.session())?.alignment;
/// assert!(diagnose(&sound, None, None, &NormalTolerances::default())?.is_empty());
///
/// car.faults.bent_knuckles.push(BentKnuckle { wheel: Wheel::Fl, camber_deg: -1.5, toe_deg: 0.0 });
/// let bent = measure(&car.session())?.alignment;
/// let hints = diagnose(&bent, None, None, &NormalTolerances::default())?;
/// assert_eq!(hints[0].cause, Cause::BentKnuckle);
/// assert_eq!(hints[0].evidence[0].path, "steering.left.included_angle_deg");
/// println!("{}", hints[0]);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn diagnose(
    readings: &Alignment,
    covariance: Option<&[f64]>,
    specification: Option<&Specification>,
    tolerances: &NormalTolerances,
) -> Result<Vec<Hint>, Error> {
    tolerances.check()?;
    let values = readings.values();
    for (value, path) in values.iter().zip(READINGS) {
        if let Some(value) = value {
            check_range(ErrorCode::OutOfRange, path, *value, [-MAX_MAGNITUDE, MAX_MAGNITUDE])?;
        }
    }
    if let Some(covariance) = covariance {
        check_covariance(covariance)?;
    }
    let mut aims = Vec::new();
    for (&path, tolerance) in specification.into_iter().flat_map(|specification| &specification.limits) {
        let (limits, nominal) = tolerance.bounds_of(path)?;
        if let (Some(min), Some(max)) = (limits.min, limits.max) {
            let wanted = nominal.unwrap_or(min / 2.0 + max / 2.0);
            aims.push((
                position(path)?,
                Aim { wanted, allowed: [wanted - min, max - wanted].map(|half| half.max(0.0)) },
            ));
        }
    }
    let case = Case { values, covariance, aims, normal: tolerances };
    let mut hints = Vec::new();
    case.front(&mut hints);
    case.rear(&mut hints);
    Ok(hints)
}

impl Case<'_> {
    fn front(&self, hints: &mut Vec<Hint>) {
        let normal = self.normal;
        let included = self.included_across();
        let sai = self.across(SAI, "steering.cross_sai_deg", normal.sai_deg);
        let camber = self.across(FRONT_CAMBER, "axles.front.cross_camber_deg", normal.camber_deg);
        let caster = self.across(CASTER, "steering.cross_caster_deg", normal.caster_deg);
        if stands_out(included) {
            let own = self.own_included();
            let wheel = Off::of(own).wheel(Side::front_wheel);
            add(hints, Cause::BentKnuckle, wheel, [included, camber, sai].into_iter().chain(own));
        }
        // A pivot that moved tips axis and wheel alike.
        let tipped = sai.zip(camber).is_some_and(|(sai, camber)| {
            sai.stands_out
                && sai.deviation * camber.deviation < 0.0
                && camber.deviation.abs() >= sai.deviation.abs() / MORE_THAN_THE_OTHER
        });
        if tipped {
            let own = self.own(SAI);
            let from = Off::of(own);
            let cause = if from == Off::Both { Cause::ShiftedSubframe } else { Cause::ShiftedPivot };
            let evidence = [sai, camber, included].into_iter().chain(own);
            add(hints, cause, from.wheel(Side::front_wheel), evidence);
        }
        let setback = self.alone("axles.front.setback_mm", normal.setback_mm);
        let wheelbase = self.across(WHEELBASE, "chassis.wheelbase_difference_mm", normal.setback_mm);
        let own_caster = self.own(CASTER);
        // The wheelbases tell a wheel that moved from axles that stand askew alike, whose centreline also shows in caster.
        if let (Some(of_setback), Some(of_wheelbase), Some(of_caster)) = (setback, wheelbase, caster)
            && [of_setback, of_wheelbase, of_caster]
                .iter()
                .all(|one| one.stands_out && one.deviation * of_setback.deviation > 0.0)
        {
            let rearward = if of_setback.deviation > 0.0 { Side::Right } else { Side::Left };
            let (cause, wheel) = match Off::of(own_caster) {
                Off::Both => (Cause::ShiftedSubframe, None),
                // It is the other wheel whose caster is off: one of both moved, and nothing says that it was pushed back.
                Off::One(side) if side != rearward => (Cause::PushedBackWheel, None),
                _ => (Cause::PushedBackWheel, Some(rearward.front_wheel())),
            };
            add(hints, cause, wheel, [setback, caster, wheelbase].into_iter().chain(own_caster));
        }
        let own_wheelbase = self.own(WHEELBASE);
        if let ([Some(a), Some(b)], [Some(c), Some(d)]) = (own_caster, own_wheelbase)
            && [a, b, c, d].iter().all(|one| one.stands_out && one.deviation * a.deviation > 0.0)
        {
            add(hints, Cause::ShiftedSubframe, None, own_caster.into_iter().chain(own_wheelbase));
        }
        let toe_out = self.across(TOE_OUT, "", normal.toe_out_on_turns_deg);
        // A wheel or an axis that leans otherwise than the other turns its wheel otherwise as well; of one that is not known nobody can say that it
        // does not.
        let alike = [caster, sai, included].into_iter().all(|one| one.is_some_and(|one| !one.stands_out));
        if stands_out(toe_out) && alike {
            add(hints, Cause::BentSteeringArm, None, [toe_out, caster, sai, included]);
        }
    }

    fn rear(&self, hints: &mut Vec<Hint>) {
        let normal = self.normal;
        let camber = self.across(REAR_CAMBER, "axles.rear.cross_camber_deg", normal.camber_deg);
        let thrust = self.alone(THRUST, normal.thrust_angle_deg);
        // The wheels point where the axle does, or they do not.
        let to_axle = self.compare(THRUST, Some("axles.rear.setback_deg"), Aim::within(0.0, normal.thrust_angle_deg));
        let skewed = stands_out(thrust) && stands_out(to_axle);
        if stands_out(camber) || skewed {
            let (of_camber, of_toe) = (self.own(REAR_CAMBER), self.own(REAR_TOE));
            let from = Off::of(if stands_out(camber) { of_camber } else { of_toe });
            let evidence = [camber, thrust, to_axle].into_iter().chain(of_camber).chain(of_toe);
            add(hints, Cause::BentRearStubAxle, from.wheel(Side::rear_wheel), evidence);
        }
        let setback = self.alone("axles.rear.setback_mm", normal.setback_mm);
        if let (Some(of_thrust), Some(of_setback)) = (thrust, setback)
            && of_thrust.stands_out
            && of_setback.stands_out
            && of_thrust.deviation * of_setback.deviation > 0.0
            && !stands_out(to_axle)
        {
            // Front wheels that moved sideways turn the centreline as a rear axle does that moved the other way: then both axles stand askew to it
            // alike, and the wheels of the rear one point square to the front one.
            let by_front = stands_out(self.across(SAI, "steering.cross_sai_deg", normal.sai_deg));
            let to_front =
                self.compare(THRUST, Some("axles.front.setback_deg"), Aim::within(0.0, normal.thrust_angle_deg));
            if stands_out(to_front) || !by_front {
                let wheelbase = self.across(WHEELBASE, "chassis.wheelbase_difference_mm", normal.setback_mm);
                let offset = self.alone("chassis.axle_offset_mm", normal.axle_offset_mm);
                add(hints, Cause::ShiftedRearAxle, None, [thrust, setback, to_front, wheelbase, offset, to_axle]);
            }
        }
    }
}

fn check_covariance(covariance: &[f64]) -> Result<(), Error> {
    let no_covariance = Error::new(ErrorCode::NotACovariance).input("covariance");
    if covariance.len() != COUNT * COUNT {
        #[expect(clippy::cast_precision_loss, reason = "a count for a sentence")]
        let [length, needed] = [covariance.len(), COUNT * COUNT].map(|count| count as f64);
        return Err(no_covariance.value(length).at_least(needed).at_most(needed));
    }
    if covariance.iter().any(|v| !v.is_finite()) {
        return Err(Error::new(ErrorCode::NotFinite).input("covariance"));
    }
    let of = |i: usize, j: usize| covariance[i * COUNT + j];
    for i in 0..COUNT {
        if of(i, i) < 0.0 {
            return Err(no_covariance.value(of(i, i)).at_least(0.0));
        }
        check_range(ErrorCode::OutOfRange, "covariance", of(i, i), [0.0, MAX_MAGNITUDE * MAX_MAGNITUDE])?;
        for j in 0..i {
            // Roots one by one: the product of two variances may be too large for a number.
            let scale = sqrt(of(i, i)) * sqrt(of(j, j));
            if (of(i, j) - of(j, i)).abs() > ROUNDING * scale || of(i, j).abs() > scale * (1.0 + ROUNDING) {
                return Err(no_covariance);
            }
        }
    }
    Ok(())
}
