//! How the figures follow the poses where one fit gave them all.

use super::causes::{self, PoseCause};
use super::clamps::Row;
use super::figures::{self, PER_WHEEL, runout_follows};
use super::steered::{LOCKS, OTHER_WHEEL, PER_AXIS, RANGE, extremes, interpolation_weights};
use crate::error::{Error, Stage};
use crate::frame::Vector;
use crate::joint::{Fitted, Followed, Gradient};
use crate::layout::{BySide, Side, Wheel};
use crate::scatter::Scatter;
use crate::session::{Session, StationSpread};
use crate::staged::Trace;
use crate::turns;
use alloc::vec::Vec;

/// A figure by its place, and how it follows.
pub(super) type FigureFollows = (usize, Followed);

/// Every figure that follows the poses of a fit: wheel by wheel, then the steering.
pub(super) fn follow(session: &Session, trace: &Trace, fitted: &Fitted) -> Vec<FigureFollows> {
    let geometry = &trace.geometry;
    let mut gradients: Vec<(usize, Gradient)> = Vec::new();
    for wheel in Wheel::ALL {
        let from = PER_WHEEL * wheel.index();
        let Some(compensation) = geometry.compensation.get(wheel) else { continue };
        let (Some(spindle), Some(centre)) = (fitted.spindle(wheel), fitted.centre(wheel)) else { continue };
        gradients.extend(spindle.into_iter().enumerate().map(|(i, row)| (from + i, row)));
        gradients.extend(centre.into_iter().enumerate().map(|(i, row)| (from + 3 + i, row)));
        if compensation.rolling_radius_mm.is_some() {
            gradients.push((from + 6, fitted.rolling_radius(wheel)));
        }
        if let Some(rows) = fitted.spindle_in_target(wheel) {
            let mut runout = fitted.gradient();
            for (row, factor) in rows.iter().zip(runout_follows(Vector::new(compensation.spindle_in_target))) {
                runout.add(row, factor);
            }
            gradients.push((from + 7, runout));
        }
    }
    if geometry.stand().is_some() {
        let steer = figures::STEER;
        steering(session, trace, fitted, &mut |number, row| gradients.push((steer + number, row)));
    }
    let inputs = fitted.by_inputs();
    gradients.into_iter().map(|(number, gradient)| (number, fitted.follow(&gradient, &inputs))).collect()
}

fn steering(session: &Session, trace: &Trace, fitted: &Fitted, put: &mut dyn FnMut(usize, Gradient)) {
    let geometry = &trace.geometry;
    for (side, from) in [(Side::Left, 0), (Side::Right, PER_AXIS)] {
        if let Some(axis) = fitted.axis(side) {
            for (i, row) in axis.into_iter().enumerate() {
                put(from + i, row);
            }
            for (i, row) in fitted.axis_residuals_follow(side).into_iter().enumerate() {
                put(from + 6 + i, row);
            }
        }
    }
    let stations = trace.steered.sweep.len();
    let angle = |side: Side, station: usize| fitted.steer_deg(side, Stage::Sweep, Some(station));
    let angles = BySide::from_fn(|side| (0..stations).map(|station| angle(side, station)).collect::<Vec<_>>());
    let follows = |side: Side, station: usize| fitted.steer_angle(side, Stage::Sweep, Some(station));
    let custom = session.reference.turn;
    for (inside, number) in [(Side::Left, OTHER_WHEEL), (Side::Right, OTHER_WHEEL + 1)] {
        if geometry.other_wheel_deg.get(inside).is_none() {
            continue;
        }
        let asked = turns::asked_side(custom.wheel, inside);
        let mut row = fitted.gradient();
        for (station, by_asked, by_other) in interpolation_weights(&angles, asked, inside, custom.angle_deg) {
            for (side, factor) in [(asked, by_asked), (asked.other(), by_other)] {
                if let Some(angle) = follows(side, station) {
                    row.add(&angle, factor * inside.sign());
                }
            }
        }
        put(number, row);
    }
    if geometry.sweep_range_deg.is_some() {
        let mut row = fitted.gradient();
        for (station, sign) in extremes(&angles) {
            let seen = || Side::ALL.into_iter().filter(|&side| angles.get(side)[station].is_some());
            let share = if seen().count() == 2 { 0.5 } else { 1.0 };
            for angle in seen().filter_map(|side| follows(side, station)) {
                row.add(&angle, sign * share);
            }
        }
        put(RANGE, row);
    }
    for (stage, from) in [(Stage::LockLeft, LOCKS), (Stage::LockRight, LOCKS + 2)] {
        for (side, number) in [(Side::Left, from), (Side::Right, from + 1)] {
            if let Some(row) = fitted.steer_angle(side, stage, None) {
                put(number, row);
            }
        }
    }
}

/// Every pose of the fit with its covariance, and the figures as the numbers that follow it.
pub(super) fn pose_causes(
    session: &Session,
    spreads: &[StationSpread],
    fitted: &Fitted,
    figures: &[FigureFollows],
) -> Result<Vec<PoseCause>, Error> {
    let scatter = Scatter::of(session, spreads);
    let places = fitted.places().enumerate();
    let cause = |(pose, at)| {
        let rows: Vec<Row> = figures
            .iter()
            .map(|(figure, follows)| (slot(*figure), <[f64; 6]>::from(follows.by_pose[pose])))
            .filter(|(_, row): &Row| row.iter().any(|v| v.abs() > 0.0))
            .collect();
        let (stage, station, wheel) = at;
        let (covariance, degrees_of_freedom) = scatter.of_pose(at)?;
        Ok(PoseCause { stage, station, wheel, rows, covariance, degrees_of_freedom })
    };
    places.map(cause).collect()
}

/// Where a figure stands among the causes: where nothing but poses stands, for it takes the place of what the stages pass on.
pub(super) const fn slot(figure: usize) -> usize {
    if figure < figures::STEER { figure } else { causes::STEER + figure - figures::STEER }
}
