//! Which adjusters to move, by how much and in which order.

use super::geometry::Model;
use super::least_squares::{self, Interval, Row};
use crate::alignment::Alignment;
use crate::conformity::{Limits, Specification};
use crate::error::{Error, ErrorCode};
use crate::layout::{ByAxle, ByWheel, Wheel};
use crate::paths::{self, COUNT, READINGS};
use crate::pose;
use crate::session::{Centreline, check_range};
use crate::steering::SteeringAxisReadings;
use crate::units::{sort_by, sqrt};
use crate::wheel::WheelReadings;
use alloc::collections::BTreeMap;
use alloc::string::String;
use alloc::vec;
use alloc::vec::Vec;

/// The most adjusters of one car.
pub const MAX_ADJUSTERS: usize = 16;
/// How far one adjuster may turn its wheels from where they are, degrees.
pub const TURN_RANGE_DEG: [f64; 2] = [-30.0, 30.0];
/// How far one adjuster may shift its wheels from where they are, mm.
pub const SHIFT_RANGE_MM: [f64; 2] = [-300.0, 300.0];
/// So near to its nominal value a reading is at it, by default, degrees; of a length ten times as many mm.
pub const NOMINAL_WITHIN_DEG: f64 = 0.005;
/// So many mm count as one degree where readings are weighed against each other.
pub const MM_PER_DEG: f64 = 10.0;

/// No amount, and no change per unit, is greater.
const MAX_MAGNITUDE: f64 = 1e6;
/// No step is smaller, but for none.
const LEAST_STEP: f64 = 1e-6;
/// A limit that is missed by less is met: rounding. Degrees.
const MET_WITHIN_DEG: f64 = 1e-6;
/// A limit outweighs by so much one that cannot be met, that outweighs what is nominal, and that the middle between two limits: each the root of a
/// share that passes for rounding.
const LIMIT_WEIGHT: f64 = 1e5;
const UNMET_WEIGHT: f64 = 30.0;
const MIDDLE_WEIGHT: f64 = 1e-3;
/// By so much a limit that cannot be met may be missed further for the sake of fewer moves, degrees.
const SHORT_WITHIN_DEG: f64 = 1e-3;
/// What holds adjusters where they are when nothing asks for them.
const STAY_WEIGHT: f64 = 1e-5;
/// Newton steps, and how small the last one is, degrees.
const MOST_STEPS: usize = 40;
const LAST_STEP_DEG: f64 = 1e-9;
/// So many ways of rounding to steps are looked at.
const MOST_ROUNDINGS: usize = 400;
/// So many sets of one size are rounded, the best first.
const SETS_TO_ROUND: usize = 4;
/// A measured effect moves both wheels of an axle when the one moves by this share of the other; less is noise, or what follows.
const BOTH_MOVED: f64 = 0.1;
/// What sets toe moves it by so many times as much as camber, caster and SAI.
const MOSTLY_TOE: f64 = 4.0;

/// A line in the vehicle frame.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(deny_unknown_fields))]
pub struct Line {
    /// A point of it, mm.
    pub point_mm: [f64; 3],
    /// A unit vector along it.
    pub direction: [f64; 3],
}

/// An adjuster that moves wheels as rigid bodies: about a line, along it, or both, as a screw does.
#[derive(Debug, Clone, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(deny_unknown_fields))]
pub struct Rigid {
    /// The wheels that it carries: one, or both of an axle on a subframe.
    pub wheels: ByWheel<bool>,
    /// The line, which stands still in the body; None for the steering axis of each wheel, wherever other adjusters have brought it.
    #[cfg_attr(feature = "json", serde(default))]
    pub line: Option<Line>,
    /// By how much one unit turns the wheels about the line, degrees, right-handed; about a steering axis, upward, to the left.
    #[cfg_attr(feature = "json", serde(default))]
    pub turn_deg: f64,
    /// By how much one unit shifts them along the line, mm.
    #[cfg_attr(feature = "json", serde(default))]
    pub shift_mm: f64,
    /// Whether the steering axis goes with the wheel, or stays.
    #[cfg_attr(feature = "json", serde(default))]
    pub carries_axis: bool,
}

/// What one unit of an adjuster does.
#[derive(Debug, Clone, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(untagged))]
pub enum Effect {
    /// Measured, or a maker's figure: the change of readings per unit, by their paths, degrees and mm. What is not listed but follows from
    /// what is, does follow: totals, cross values, the thrust angle and with it front toe.
    Measured(BTreeMap<String, f64>),
    /// From geometry: all readings follow exactly.
    Rigid(Rigid),
}

/// What a mechanic can turn, shift or shim.
#[derive(Debug, Clone, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(deny_unknown_fields))]
pub struct Adjuster {
    /// What people call it.
    pub name: String,
    /// What one unit is, for people: turn, mm, degree of a cam.
    pub unit: String,
    /// What one unit does.
    pub effect: Effect,
    /// The least that it can be moved from where it is, units; not above 0.
    pub least: f64,
    /// The most that it can be moved from where it is, units; not below 0.
    pub most: f64,
    /// It moves by whole multiples of this, units: shims, notches; at least 1e-6, or 0 for any amount.
    #[cfg_attr(feature = "json", serde(default))]
    pub step: f64,
}

/// What is wanted of a car.
#[derive(Debug, Clone, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(deny_unknown_fields))]
pub struct Request {
    /// Its limits and nominal values, cross limits among them.
    #[cfg_attr(feature = "json", serde(deserialize_with = "crate::json::keyed"))]
    pub specification: Specification,
    /// So near to its nominal value a reading is at it, degrees, of a length ten times as many mm; None when it is enough that all limits are
    /// met.
    pub nominal_within_deg: Option<f64>,
}

impl Default for Request {
    /// Nothing is wanted yet.
    fn default() -> Self {
        Self { specification: Specification::default(), nominal_within_deg: Some(NOMINAL_WITHIN_DEG) }
    }
}

/// What the readings do not say of how they were taken, and is needed to foresee others.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(deny_unknown_fields, default))]
pub struct Stance {
    /// Radii under load, mm; the rolling radius stands in.
    pub loaded_radius_mm: ByAxle<Option<f64>>,
    /// The centreline to which the readings refer.
    pub centreline: Centreline,
}

/// One thing to do.
#[derive(Debug, Clone, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
pub struct Move {
    /// Which adjuster: its place in the list.
    pub adjuster: usize,
    /// By how much, in its units.
    pub amount: f64,
    /// The readings once this and all earlier moves are done.
    pub foreseen: Alignment,
}

/// A limit that cannot be met.
#[derive(Debug, Clone, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
pub struct Unmet {
    /// The path of the reading.
    pub path: &'static str,
    /// Its limits, in its own unit.
    pub limits: Limits,
    /// What it comes to.
    pub nearest: f64,
    /// How far that is from the limit.
    pub short_by: f64,
    /// The adjusters that would bring it nearer, were they not at the end of their range: their places in the list. Empty when no adjuster
    /// moves it, when its steps are too coarse, or when other limits stand against it.
    pub at_end: Vec<usize>,
}

/// What to do, and what comes of it.
#[derive(Debug, Clone, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
pub struct Adjustment {
    /// The moves, in the order in which they are done.
    pub moves: Vec<Move>,
    /// The readings once all are done. Those of turning, to the body, and of the sweep itself are absent: nobody foresees them.
    pub foreseen: Alignment,
    /// The limits that cannot be met, in the order of the tree.
    pub unmet: Vec<Unmet>,
    /// The paths with limits of which nothing could be foreseen, for the reading is absent.
    pub unforeseen: Vec<&'static str>,
}

impl Adjuster {
    fn check(&self) -> Result<(), Error> {
        check_range(ErrorCode::OutOfRange, "least", self.least, [-MAX_MAGNITUDE, 0.0])?;
        check_range(ErrorCode::OutOfRange, "most", self.most, [0.0, MAX_MAGNITUDE])?;
        let finest = if self.step == 0.0 { 0.0 } else { LEAST_STEP };
        check_range(ErrorCode::OutOfRange, "step", self.step, [finest, MAX_MAGNITUDE])?;
        match &self.effect {
            Effect::Measured(changes) => {
                for &change in changes.values() {
                    check_range(ErrorCode::OutOfRange, "effect", change, [-MAX_MAGNITUDE, MAX_MAGNITUDE])?;
                }
            }
            Effect::Rigid(rigid) => {
                if !Wheel::ALL.iter().any(|&wheel| *rigid.wheels.get(wheel)) {
                    return Err(Error::new(ErrorCode::MissingInput).input("wheels"));
                }
                for end in [1.0, self.least, self.most] {
                    let (turn, shift) = (rigid.turn_deg * end, rigid.shift_mm * end);
                    check_range(ErrorCode::AngleOutOfRange, "turn_deg", turn, TURN_RANGE_DEG)?;
                    check_range(ErrorCode::LengthOutOfRange, "shift_mm", shift, SHIFT_RANGE_MM)?;
                }
                if let Some(line) = &rigid.line {
                    for coordinate in line.point_mm {
                        check_range(ErrorCode::LengthOutOfRange, "point_mm", coordinate, [-20_000.0, 20_000.0])?;
                    }
                    let [x, y, z] = line.direction;
                    let norm = sqrt(x * x + y * y + z * z);
                    pose::check_unit_length(norm).map_err(|error| error.input("direction"))?;
                }
            }
        }
        Ok(())
    }

    /// The ends of the range, at whole steps.
    fn ends(&self) -> [f64; 2] {
        if self.step == 0.0 {
            return [self.least, self.most];
        }
        let (fewest, most) = (libm::ceil(self.least / self.step - 1e-9), libm::floor(self.most / self.step + 1e-9));
        // A product that is rounded up is not to lie beyond the end.
        [(fewest * self.step).max(self.least), (most * self.step).min(self.most)]
    }
}

/// What one unit of each adjuster changes of every reading, from where the car stands: degrees and mm per unit, at the paths of the readings.
///
/// Of geometry these are the derivatives of the formulas of the readings themselves; of measured effects the figures given, and what follows
/// from them. Absent where the reading is.
///
/// # Errors
/// As [`fewest_moves`].
///
/// ```
/// # use alignment_core::adjustment::{Adjuster, Effect, Rigid, Stance, effects};
/// # use alignment_core::{ByWheel, measure, simulate::VirtualVehicle};
/// let readings = measure(&VirtualVehicle::default().session())?.alignment;
/// let tie_rod = Adjuster {
///     name: "left tie rod".into(),
///     unit: "turn".into(),
///     effect: Effect::Rigid(Rigid {
///         wheels: ByWheel { fl: true, ..ByWheel::default() },
///         line: None,
///         turn_deg: -0.86,
///         shift_mm: 0.0,
///         carries_axis: false,
///     }),
///     least: -10.0,
///     most: 10.0,
///     step: 0.0,
/// };
/// let effect = effects(&readings, &[tie_rod], &Stance::default())?[0];
/// // Toe follows the turn but for the lean of the axis, and camber changes a little.
/// assert!((effect.wheels.fl.toe_deg.unwrap() - 0.838).abs() < 0.001);
/// assert!(effect.wheels.fl.camber_deg.unwrap().abs() < 0.07);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn effects(readings: &Alignment, adjusters: &[Adjuster], stance: &Stance) -> Result<Vec<Alignment>, Error> {
    check(adjusters)?;
    let model = Model::new(readings, adjusters.iter().collect(), stance)?;
    let still = vec![0.0; adjusters.len()];
    (0..adjusters.len()).map(|index| model.effect(&still, index)).collect()
}

/// The readings once the adjusters have been moved by these amounts, each in its units, one after the other as they are listed: degrees and mm.
///
/// Each wheel then stands on its ground again, straight up or down, and the body stays where it was.
///
/// # Errors
/// As [`fewest_moves`]; [`ErrorCode::OutOfRange`] for amounts beyond the range of their adjusters, [`ErrorCode::MissingInput`] for fewer or
/// more of them than adjusters.
///
/// ```
/// # use alignment_core::adjustment::{Adjuster, Effect, Stance, foresee};
/// # use alignment_core::Alignment;
/// let mut readings = Alignment::default();
/// readings.wheels.fl.camber_deg = Some(-1.2);
/// readings.axles.front.cross_camber_deg = Some(-0.6);
/// let measured = [("wheels.fl.camber_deg".into(), 0.25)];
/// let shims = Adjuster {
///     name: "left shims".into(),
///     unit: "mm".into(),
///     effect: Effect::Measured(measured.into()),
///     least: -3.0,
///     most: 6.0,
///     step: 0.5,
/// };
/// let after = foresee(&readings, &[shims], &[2.0], &Stance::default())?;
/// assert!((after.wheels.fl.camber_deg.unwrap() + 0.7).abs() < 1e-12);
/// assert!((after.axles.front.cross_camber_deg.unwrap() + 0.1).abs() < 1e-12);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn foresee(
    readings: &Alignment,
    adjusters: &[Adjuster],
    amounts: &[f64],
    stance: &Stance,
) -> Result<Alignment, Error> {
    check(adjusters)?;
    if amounts.len() != adjusters.len() {
        return Err(Error::new(ErrorCode::MissingInput).input("amounts"));
    }
    for (index, (adjuster, &amount)) in adjusters.iter().zip(amounts).enumerate() {
        check_range(ErrorCode::OutOfRange, "amounts", amount, [adjuster.least, adjuster.most])
            .map_err(|error| error.station(index))?;
    }
    Model::new(readings, adjusters.iter().collect(), stance)?.foresee(amounts)
}

/// The fewest moves that bring a car to what is wanted of it, in the order in which they are done: degrees and mm, each amount in the units of its
/// adjuster.
///
/// What comes first: that all limits are met. If they cannot be, the one that is missed by most is given up, and so on until the others are met;
/// those given up then come as near as the others allow. After that the readings with nominal values together come as near as the adjusters allow
/// (root of the sum of squares), within `nominal_within_deg`; then as few adjusters as possible are moved; then nearness counts, to nominal
/// values and to the middle between two limits.
///
/// The amounts are exact: wheels and axes are moved as rigid bodies, one after the other, and the readings foreseen by the formulas with which they
/// were measured. Where steps are coarse the amounts are whole steps, the best of those near the exact ones, of at most 400 ways to round them, and of
/// the four best sets of each number of adjusters: with coarse steps neither that no fewer moves would do nor that a limit cannot be met is proven.
///
/// Rear before front, since rear toe moves the thrust line; subframes first, then camber and caster, then toe. The order of the list does not matter.
///
/// # Errors
/// [`ErrorCode::TooMany`] for more than 16 adjusters; [`ErrorCode::NotFinite`]; [`ErrorCode::OutOfRange`] for a range that does not hold 0, a step
/// below 1e-6 that is not 0, or figures beyond 1e6; [`ErrorCode::AngleOutOfRange`], [`ErrorCode::LengthOutOfRange`] for an adjuster that turns its wheels by
/// more than 30° or shifts them by more than 300 mm, the first also for a steering axis that lies down; [`ErrorCode::NotUnitLength`] of a line or a spindle; [`ErrorCode::UnknownReading`];
/// [`ErrorCode::MissingInput`] for an adjuster without wheels, and for a wheel or steering axis that was not measured but is moved;
/// [`ErrorCode::SpindleNotLateral`], [`ErrorCode::Mirrored`], [`ErrorCode::SidesSwapped`], [`ErrorCode::DifferentVehicles`] for wheels that no car
/// has; [`ErrorCode::NotASpecification`].
///
/// ```
/// # use alignment_core::adjustment::{Adjuster, Effect, Request, Stance, fewest_moves};
/// # use alignment_core::conformity::Tolerance;
/// # use alignment_core::Alignment;
/// let mut readings = Alignment::default();
/// readings.wheels.rl.toe_deg = Some(0.50);
/// readings.wheels.rr.toe_deg = Some(0.10);
/// let cam = |name: &str, path: &str| Adjuster {
///     name: name.into(),
///     unit: "notch".into(),
///     effect: Effect::Measured([(path.into(), 0.1)].into()),
///     least: -3.0,
///     most: 3.0,
///     step: 1.0,
/// };
/// let adjusters = [cam("left rear cam", "wheels.rl.toe_deg"), cam("right rear cam", "wheels.rr.toe_deg")];
/// let toe = Tolerance { nominal: Some(0.1), minus: Some(0.1), plus: Some(0.1), ..Tolerance::default() };
/// let mut request = Request::default();
/// request.specification.limits.insert("wheels.rl.toe_deg", toe);
/// request.specification.limits.insert("wheels.rr.toe_deg", toe);
/// let found = fewest_moves(&readings, &adjusters, &request, &Stance::default())?;
/// // Four notches would be nominal; the cam has three, and that is within the limits.
/// assert_eq!((found.moves.len(), found.moves[0].adjuster, found.moves[0].amount), (1, 0, -3.0));
/// assert!(found.unmet.is_empty());
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn fewest_moves(
    readings: &Alignment,
    adjusters: &[Adjuster],
    request: &Request,
    stance: &Stance,
) -> Result<Adjustment, Error> {
    check(adjusters)?;
    if let Some(within) = request.nominal_within_deg {
        check_range(ErrorCode::OutOfRange, "nominal_within_deg", within, [0.0, MAX_MAGNITUDE])?;
    }
    let order = order(readings, adjusters, stance)?;
    let sorted: Vec<&Adjuster> = order.iter().map(|&index| &adjusters[index]).collect();
    let model = Model::new(readings, sorted.clone(), stance)?;
    let mut search = Search::new(&model, sorted, request)?;
    search.give_up()?;
    let amounts = loop {
        let amounts = search.fewest()?;
        // A limit that no step meets is not to drive other readings out of theirs.
        if !search.give_up_worst(&amounts)? {
            break amounts;
        }
    };

    let mut moves = Vec::new();
    let mut done = vec![0.0; amounts.len()];
    for (place, &amount) in amounts.iter().enumerate() {
        if amount != 0.0 {
            done[place] = amount;
            moves.push(Move { adjuster: order[place], amount, foreseen: model.foresee(&done)? });
        }
    }
    let foreseen = model.foresee(&amounts)?;
    let unmet = search.unmet(&amounts, &order)?;
    let unforeseen = search.unforeseen;
    Ok(Adjustment { moves, foreseen, unmet, unforeseen })
}

fn check(adjusters: &[Adjuster]) -> Result<(), Error> {
    if adjusters.len() > MAX_ADJUSTERS {
        let error = Error::new(ErrorCode::TooMany).input("adjusters");
        #[expect(clippy::cast_precision_loss, reason = "a count far below 2^52")]
        return Err(error.value(adjusters.len() as f64).at_most(MAX_ADJUSTERS as f64));
    }
    for (index, adjuster) in adjusters.iter().enumerate() {
        adjuster.check().map_err(|error| error.station(index))?;
    }
    Ok(())
}

/// The places of the adjusters in the order in which they are moved.
fn order(readings: &Alignment, adjusters: &[Adjuster], stance: &Stance) -> Result<Vec<usize>, Error> {
    let model = Model::new(readings, adjusters.iter().collect(), stance)?;
    let still = vec![0.0; adjusters.len()];
    let mut keys = Vec::with_capacity(adjusters.len());
    for (index, adjuster) in adjusters.iter().enumerate() {
        let effect = model.effect(&still, index)?;
        let moved = moved(adjuster, &effect);
        let [fl, fr, rl, rr] = Wheel::ALL.map(|wheel| *moved.get(wheel));
        let rear = rl || rr;
        let subframe = fl && fr || rl && rr;
        let (mut toe, mut other) = (0.0_f64, 0.0_f64);
        for wheel in Wheel::ALL.into_iter().filter(|&wheel| *moved.get(wheel)) {
            let of = effect.wheels.get(wheel);
            toe = toe.max(size(toe_of(of)));
            let axis = axis_of(&effect, wheel);
            other = [of.camber_deg, axis.caster_deg, axis.sai_deg].map(size).into_iter().fold(other, f64::max);
        }
        if let Effect::Measured(_) = adjuster.effect {
            toe = toe.max(size(if rear { effect.axles.rear } else { effect.axles.front }.total_toe_deg));
        }
        // Between camber and toe what moves both: an eccentric about a steep line moves toe more than camber, yet no tie rod moves camber as much.
        let rank = u8::from(toe > other) + u8::from(toe > MOSTLY_TOE * other);
        let first = Wheel::ALL.into_iter().position(|wheel| *moved.get(wheel)).unwrap_or(Wheel::ALL.len());
        keys.push((!rear, !subframe, rank, first));
    }
    let mut order: Vec<usize> = (0..adjusters.len()).collect();
    sort_by(&mut order, |&a, &b| {
        let alike = keys[a].cmp(&keys[b]).then_with(|| adjusters[a].name.cmp(&adjusters[b].name));
        alike.then(a.cmp(&b))
    });
    Ok(order)
}

fn size(change: Option<f64>) -> f64 {
    change.unwrap_or(0.0).abs()
}

/// The steering axis of a wheel; of a rear one nothing.
fn axis_of(effect: &Alignment, wheel: Wheel) -> SteeringAxisReadings {
    match wheel {
        Wheel::Fl => effect.steering.left,
        Wheel::Fr => effect.steering.right,
        Wheel::Rl | Wheel::Rr => SteeringAxisReadings::default(),
    }
}

fn toe_of(wheel: &WheelReadings) -> Option<f64> {
    wheel.toe_to_centreline_deg.or(wheel.toe_deg)
}

/// Which wheels an adjuster moves: those that it carries, or those of one axle whose own readings were measured to change, not by noise alone.
fn moved(adjuster: &Adjuster, effect: &Alignment) -> ByWheel<bool> {
    let changes = match &adjuster.effect {
        Effect::Rigid(rigid) => return rigid.wheels,
        Effect::Measured(changes) => changes,
    };
    let own = ByWheel::from_fn(|wheel| {
        let of = effect.wheels.get(wheel);
        let axis = axis_of(effect, wheel);
        [of.camber_deg, toe_of(of), axis.caster_deg, axis.sai_deg].map(size).into_iter().fold(0.0, f64::max)
    });
    let (front, rear) = (own.fl.max(own.fr), own.rl.max(own.rr));
    if front.max(rear) > 0.0 {
        let at_rear = rear >= front;
        let enough = BOTH_MOVED * front.max(rear);
        return ByWheel::from_fn(|wheel| is_rear(wheel) == at_rear && *own.get(wheel) >= enough);
    }
    let listed = |wheel| changes.iter().any(|(path, &change)| change != 0.0 && belongs(path, wheel));
    ByWheel::from_fn(listed)
}

fn is_rear(wheel: Wheel) -> bool {
    matches!(wheel, Wheel::Rl | Wheel::Rr)
}

/// Whether a reading is one of this wheel, or of its axle or steering axis.
fn belongs(path: &str, wheel: Wheel) -> bool {
    let rear = is_rear(wheel);
    let mut parts = path.split('.');
    match (parts.next(), parts.next()) {
        (Some("wheels"), name) => name == Some(wheel.name()),
        (Some("axles"), name) => name == Some(if rear { "rear" } else { "front" }),
        (Some("chassis"), Some("thrust_angle_deg")) => rear,
        (Some("steering"), name) => {
            let other_side = if wheel.side() == crate::layout::Side::Left { "right" } else { "left" };
            !rear && name != Some(other_side)
        }
        _ => false,
    }
}

/// What is wanted of one reading.
struct Want {
    position: usize,
    limits: Limits,
    nominal: Option<f64>,
    /// Its unit in degrees.
    scale: f64,
    /// Whether its limits were found to be beyond reach.
    given_up: bool,
}

/// Where a set of adjusters brings the car.
#[derive(Clone)]
struct Point {
    amounts: Vec<f64>,
    /// How far limits are missed, those that are given up, and nominal values: roots of the sums of squares, degrees.
    missed: f64,
    short: f64,
    off: f64,
    cost: f64,
}

struct Search<'a> {
    model: &'a Model<'a>,
    adjusters: Vec<&'a Adjuster>,
    wants: Vec<Want>,
    unforeseen: Vec<&'static str>,
    within: Option<f64>,
}

impl<'a> Search<'a> {
    fn new(model: &'a Model<'a>, adjusters: Vec<&'a Adjuster>, request: &Request) -> Result<Self, Error> {
        let known = model.foresee(&vec![0.0; adjusters.len()])?.values();
        let (mut wants, mut unforeseen) = (Vec::new(), Vec::new());
        for (&path, tolerance) in &request.specification.limits {
            tolerance.limits(path)?;
        }
        for (position, path) in READINGS.into_iter().enumerate() {
            let Some(tolerance) = request.specification.limits.get(path) else { continue };
            let (limits, nominal) = tolerance.bounds_of(path)?;
            if known[position].is_none() {
                unforeseen.push(path);
                continue;
            }
            let scale = if paths::unit(path) == "mm" { 1.0 / MM_PER_DEG } else { 1.0 };
            wants.push(Want { position, limits, nominal, scale, given_up: false });
        }
        let within = request.nominal_within_deg;
        Ok(Self { model, adjusters, wants, unforeseen, within })
    }

    fn whole_ranges(&self) -> Vec<[f64; 2]> {
        self.adjusters.iter().map(|adjuster| adjuster.ends()).collect()
    }

    /// Gives up limits that cannot be met together with the others, the one that is missed by most first.
    fn give_up(&mut self) -> Result<(), Error> {
        let ranges = self.whole_ranges();
        for _ in 0..self.wants.len() {
            let reached = self.settle(&ranges, &vec![0.0; ranges.len()])?;
            if !self.give_up_worst(&reached.amounts)? {
                break;
            }
        }
        Ok(())
    }

    /// Gives up the limit that these amounts miss by most, if they miss one that was not given up yet.
    fn give_up_worst(&mut self, amounts: &[f64]) -> Result<bool, Error> {
        let readings = self.model.foresee(amounts)?.numbers();
        let missed = |want: &Want| (want.beyond(readings[want.position]) * want.scale).abs();
        let worst = (0..self.wants.len())
            .filter(|&index| !self.wants[index].given_up)
            .max_by(|&a, &b| missed(&self.wants[a]).total_cmp(&missed(&self.wants[b])))
            .filter(|&worst| missed(&self.wants[worst]) > MET_WITHIN_DEG);
        if let Some(worst) = worst {
            self.wants[worst].given_up = true;
        }
        Ok(worst.is_some())
    }

    /// The amounts of the fewest moves.
    fn fewest(&self) -> Result<Vec<f64>, Error> {
        let count = self.adjusters.len();
        let ranges = self.whole_ranges();
        let only = |set: &[bool]| -> Vec<[f64; 2]> {
            ranges.iter().zip(set).map(|(&range, &chosen)| if chosen { range } else { [0.0; 2] }).collect()
        };
        let all = self.settle(&ranges, &vec![0.0; count])?;
        // What cannot be left out by itself cannot be left out with others either.
        let mut needed = vec![false; count];
        for index in 0..count {
            let mut set = vec![true; count];
            set[index] = false;
            needed[index] = !self.as_good(&self.settle(&only(&set), &vec![0.0; count])?, &all);
        }
        let optional: Vec<usize> = (0..count).filter(|&index| !needed[index]).collect();
        let mut best: Option<Point> = None;
        for size in 0..=optional.len() {
            let mut found = Vec::new();
            self.sets(&optional, size, &mut needed.clone(), &only, &all, &mut found)?;
            sort_by(&mut found, |(a, _): &(Point, Vec<bool>), (b, _)| a.cost.total_cmp(&b.cost));
            let mut good: Option<Point> = None;
            for (point, set) in found.iter().take(SETS_TO_ROUND) {
                let rounded = self.rounded(point, &only(set))?;
                let meets = rounded.missed <= all.missed + MET_WITHIN_DEG;
                let keep = if meets { &mut good } else { &mut best };
                if keep.as_ref().is_none_or(|kept| rounded.cost < kept.cost) {
                    *keep = Some(rounded);
                }
            }
            if let Some(good) = good {
                return Ok(good.amounts);
            }
        }
        Ok(best.map_or(all.amounts, |best| best.amounts))
    }

    /// Every set that has `size` of the adjusters that can be left out, and is as good as all of them.
    fn sets(
        &self,
        optional: &[usize],
        size: usize,
        set: &mut Vec<bool>,
        only: &dyn Fn(&[bool]) -> Vec<[f64; 2]>,
        all: &Point,
        found: &mut Vec<(Point, Vec<bool>)>,
    ) -> Result<(), Error> {
        let still = vec![0.0; set.len()];
        if size == 0 {
            let point = self.settle(&only(set), &still)?;
            if self.as_good(&point, all) {
                found.push((point, set.clone()));
            }
            return Ok(());
        }
        for (place, &index) in optional.iter().enumerate() {
            let rest = &optional[place..];
            if rest.len() < size {
                break;
            }
            // All that can still be chosen must be enough.
            let mut most = set.clone();
            for &other in rest {
                most[other] = true;
            }
            if !self.as_good(&self.settle(&only(&most), &still)?, all) {
                break;
            }
            set[index] = true;
            self.sets(&optional[place + 1..], size - 1, set, only, all, found)?;
            set[index] = false;
        }
        Ok(())
    }

    fn as_good(&self, point: &Point, all: &Point) -> bool {
        point.missed <= all.missed + MET_WITHIN_DEG
            && point.short <= all.short + SHORT_WITHIN_DEG
            && self.within.is_none_or(|within| point.off <= all.off + within)
    }

    /// How good the amounts are.
    fn point(&self, amounts: Vec<f64>) -> Result<Point, Error> {
        let readings = self.model.foresee(&amounts)?.numbers();
        let (mut missed, mut short, mut off, mut aside) = (0.0, 0.0, 0.0, 0.0);
        for want in &self.wants {
            let value = readings[want.position];
            let beyond = want.beyond(value) * want.scale;
            *if want.given_up { &mut short } else { &mut missed } += beyond * beyond;
            if let Some(nominal) = want.nominal {
                let by = (value - nominal) * want.scale;
                off += by * by;
            } else if let Some(middle) = want.middle() {
                let by = (value - middle) * want.scale;
                aside += by * by;
            }
        }
        let cost = LIMIT_WEIGHT * LIMIT_WEIGHT * missed
            + UNMET_WEIGHT * UNMET_WEIGHT * short
            + off
            + MIDDLE_WEIGHT * MIDDLE_WEIGHT * aside;
        Ok(Point { amounts, missed: sqrt(missed), short: sqrt(short), off: sqrt(off), cost })
    }

    /// The best amounts between these bounds, whatever the steps: Newton's method, each step by least squares.
    fn settle(&self, bounds: &[[f64; 2]], start: &[f64]) -> Result<Point, Error> {
        let start = start.iter().zip(bounds).map(|(&amount, &[low, high])| amount.max(low).min(high)).collect();
        let mut point = self.point(start)?;
        let free: Vec<usize> = (0..bounds.len()).filter(|&index| bounds[index][0] < bounds[index][1]).collect();
        if free.is_empty() || self.wants.is_empty() {
            return Ok(point);
        }
        for _ in 0..MOST_STEPS {
            let effects = free
                .iter()
                .map(|&index| Ok(self.model.effect(&point.amounts, index)?.numbers()))
                .collect::<Result<Vec<[f64; COUNT]>, Error>>()?;
            let (steps, scales) = self.step(&point, &effects, &free, bounds)?;
            // A step that makes it worse is halved.
            let mut share = 1.0;
            let better = loop {
                let mut amounts = point.amounts.clone();
                for (&index, step) in free.iter().zip(&steps) {
                    let [low, high] = bounds[index];
                    amounts[index] = (amounts[index] + share * step).max(low).min(high);
                }
                let next = self.point(amounts)?;
                if next.cost <= point.cost * (1.0 + 1e-12) + 1e-18 {
                    break Some(next);
                }
                share *= 0.5;
                if share < 0.01 {
                    break None;
                }
            };
            let Some(next) = better else { break };
            let largest = steps.iter().zip(&scales).map(|(step, scale)| (step * scale).abs()).fold(0.0, f64::max);
            point = next;
            if largest < LAST_STEP_DEG {
                break;
            }
        }
        Ok(point)
    }

    /// One step of the free adjusters, and how many degrees of readings a unit of each moves.
    fn step(
        &self,
        point: &Point,
        effects: &[[f64; COUNT]],
        free: &[usize],
        bounds: &[[f64; 2]],
    ) -> Result<(Vec<f64>, Vec<f64>), Error> {
        let readings = self.model.foresee(&point.amounts)?.numbers();
        let scales: Vec<f64> = effects
            .iter()
            .map(|effect| {
                let square: f64 = self.wants.iter().map(|want| effect[want.position] * want.scale).map(|v| v * v).sum();
                if square > 0.0 { sqrt(square) } else { 1.0 }
            })
            .collect();
        let (mut rows, mut intervals) = (Vec::new(), Vec::new());
        for want in &self.wants {
            let coefficients: Vec<f64> =
                effects.iter().zip(&scales).map(|(effect, scale)| effect[want.position] * want.scale / scale).collect();
            let to = |value: f64| (value - readings[want.position]) * want.scale;
            let mut ask = |target: f64, weight: f64| {
                rows.push(Row { coefficients: coefficients.clone(), target: to(target), weight });
            };
            match (want.nominal, want.middle()) {
                (Some(nominal), _) => ask(nominal, 1.0),
                (None, Some(middle)) => ask(middle, MIDDLE_WEIGHT),
                (None, None) => {}
            }
            let between = [want.limits.min.map_or(f64::NEG_INFINITY, to), want.limits.max.map_or(f64::INFINITY, to)];
            let weight = if want.given_up { UNMET_WEIGHT } else { LIMIT_WEIGHT };
            intervals.push(Interval { coefficients, bounds: between, weight });
        }
        for index in 0..free.len() {
            let coefficients = (0..free.len()).map(|other| f64::from(u8::from(other == index))).collect();
            rows.push(Row { coefficients, target: 0.0, weight: STAY_WEIGHT });
        }
        let room: Vec<[f64; 2]> = free
            .iter()
            .zip(&scales)
            .map(|(&index, scale)| bounds[index].map(|end| (end - point.amounts[index]) * scale))
            .collect();
        let solved = least_squares::solve(&rows, &intervals, &room);
        Ok((solved.iter().zip(&scales).map(|(step, scale)| step / scale).collect(), scales))
    }

    /// The best amounts at whole steps: bounds are drawn in about the amount that is furthest from a whole step, on either side of it.
    fn rounded(&self, exact: &Point, bounds: &[[f64; 2]]) -> Result<Point, Error> {
        let steps: Vec<f64> = self.adjusters.iter().map(|adjuster| adjuster.step).collect();
        let whole = |index: usize, amount: f64| libm::round(amount / steps[index]) * steps[index];
        let stepped: Vec<usize> =
            (0..bounds.len()).filter(|&index| steps[index] > 0.0 && bounds[index][0] < bounds[index][1]).collect();
        let mut best = self.fixed(exact, bounds, &stepped, &whole)?;
        if stepped.is_empty() {
            return Ok(best);
        }
        let mut open = vec![(exact.clone(), bounds.to_vec())];
        for _ in 0..MOST_ROUNDINGS {
            // The most hopeful first.
            let Some(next) = (0..open.len()).min_by(|&a, &b| open[a].0.cost.total_cmp(&open[b].0.cost)) else { break };
            let (point, bounds) = open.swap_remove(next);
            if point.cost >= best.cost {
                break;
            }
            let off = |index: usize| (point.amounts[index] - whole(index, point.amounts[index])).abs() / steps[index];
            let Some(&worst) = stepped.iter().max_by(|&&a, &&b| off(a).total_cmp(&off(b))) else { break };
            let candidate = self.fixed(&point, &bounds, &stepped, &whole)?;
            if candidate.cost < best.cost {
                best = candidate;
            }
            if off(worst) < 1e-6 {
                continue;
            }
            let floor = libm::floor(point.amounts[worst] / steps[worst]) * steps[worst];
            for side in [[bounds[worst][0], floor], [floor + steps[worst], bounds[worst][1]]] {
                if side[0] <= side[1] {
                    let mut drawn = bounds.clone();
                    drawn[worst] = side;
                    let point = self.settle(&drawn, &point.amounts)?;
                    if point.cost < best.cost {
                        open.push((point, drawn));
                    }
                }
            }
        }
        Ok(best)
    }

    /// The amounts with those that have steps at the nearest one, the others settled anew; of what is next to nothing nothing.
    fn fixed(
        &self,
        point: &Point,
        bounds: &[[f64; 2]],
        stepped: &[usize],
        whole: &dyn Fn(usize, f64) -> f64,
    ) -> Result<Point, Error> {
        let mut amounts = point.amounts.clone();
        let mut held = bounds.to_vec();
        for &index in stepped {
            let [low, high] = bounds[index];
            amounts[index] = whole(index, amounts[index]).max(low).min(high);
            held[index] = [amounts[index]; 2];
        }
        let mut settled = if stepped.is_empty() { point.clone() } else { self.settle(&held, &amounts)? };
        let mut changed = false;
        for index in 0..settled.amounts.len() {
            let amount = settled.amounts[index];
            if amount != 0.0 {
                let effect = self.model.effect(&settled.amounts, index)?.numbers();
                let most = effect.iter().filter(|v| !v.is_nan()).fold(0.0, |most: f64, v| most.max(v.abs()));
                if (amount * most).abs() < LAST_STEP_DEG {
                    settled.amounts[index] = 0.0;
                    changed = true;
                }
            }
        }
        if changed { self.point(settled.amounts) } else { Ok(settled) }
    }

    /// The limits that the amounts do not meet.
    fn unmet(&self, amounts: &[f64], order: &[usize]) -> Result<Vec<Unmet>, Error> {
        let readings = self.model.foresee(amounts)?.numbers();
        let ends = self.whole_ranges();
        let mut unmet = Vec::new();
        for want in &self.wants {
            let nearest = readings[want.position];
            let beyond = want.beyond(nearest);
            if beyond.abs() * want.scale <= MET_WITHIN_DEG {
                continue;
            }
            let mut at_end = Vec::new();
            for (index, &[low, high]) in ends.iter().enumerate() {
                let effect = self.model.effect(amounts, index)?.numbers()[want.position];
                // Upward is wanted where the reading is too small.
                let wanted = -beyond * effect;
                let near = 1e-9 * (high - low) + f64::MIN_POSITIVE;
                let stuck =
                    wanted > 0.0 && amounts[index] >= high - near || wanted < 0.0 && amounts[index] <= low + near;
                if effect.abs() > 1e-9 && stuck {
                    at_end.push(order[index]);
                }
            }
            sort_by(&mut at_end, usize::cmp);
            unmet.push(Unmet {
                path: READINGS[want.position],
                limits: want.limits,
                nearest,
                short_by: beyond.abs(),
                at_end,
            });
        }
        Ok(unmet)
    }
}

impl Want {
    /// How far beyond a limit, above 0 when too great.
    fn beyond(&self, value: f64) -> f64 {
        match (self.limits.min, self.limits.max) {
            (Some(min), _) if value < min => value - min,
            (_, Some(max)) if value > max => value - max,
            _ => 0.0,
        }
    }

    fn middle(&self) -> Option<f64> {
        self.limits.min.zip(self.limits.max).map(|(min, max)| min / 2.0 + max / 2.0)
    }
}
