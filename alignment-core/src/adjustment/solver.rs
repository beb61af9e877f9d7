//! Which adjusters to move, by how much and in which order.

use super::adjuster::{Adjuster, Adjustment, MAX_MAGNITUDE, Move, Request, Stance};
use super::geometry::Model;
use super::order::order;
use super::search::Search;
use crate::alignment::Alignment;
use crate::error::{Error, ErrorCode};
use crate::session::check_range;
use alloc::vec;
use alloc::vec::Vec;

/// The most adjusters of one car.
pub const MAX_ADJUSTERS: usize = 16;

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
