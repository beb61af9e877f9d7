//! Poses that do not belong are found and left out.
//!
//! At first every pose is doubted by how far it lies off: it weighs (t/(t + d²))², with the square of its distance d² and a tolerance t so wide that none
//! weighs much less than the others; it is narrowed step by step, and the fit follows from one consistent set of poses to the next. At the end no pose is half
//! trusted: each belongs, by what noise allows, or is left out. Where a wheel lost many, it is looked at again from every two of its poses.

use super::doubts::{Knocks, LEAST_SCALE, Noise};
use super::model::{Kind, Model, Observation, State};
use super::solve::{self, Normal, Until};
use super::start::Ground;
use super::weights::{Known, Weights};
use super::{Fitted, PoseFit, freedom, pose_fit, settle};
use crate::error::{Error, ErrorCode, Stage};
use crate::frame::{Rig, Target, Transform};
use crate::layout::Wheel;
use crate::scatter::Place;
use crate::session::{Poses, Session};
use crate::staged::{self, Seen};
use crate::units;
use alloc::vec::Vec;

/// The chance that noise alone leaves a sound pose out.
const RARE: f64 = 1e-6;
/// The square of a pose's distance, in standard deviations, within which it is trusted: χ² of six exceeds it once in some thousand times.
const TRUSTED: f64 = 22.5;
/// The median of χ² of six.
const MEDIAN: f64 = 5.35;
/// A pose further off than so many times what is trusted does not belong, however rough the fit.
const NEAR: f64 = 10.0;
/// So many pairs of poses of one wheel are tried.
const MOST_PAIRS: usize = 60;
/// By how much the tolerance is narrowed from step to step.
const NARROWER: f64 = 0.5;
/// A pose never weighs less: its station must not vanish from the equations.
const LEAST_SHARE: f64 = 1e-8;
/// On the way half a standard deviation of one unknown is near enough, and an unknown that loses its poses is not let run away.
const ON_THE_WAY: Until = Until { falls: 0.3, steps: 8, damping: 1e-6 };
/// The weight from which a pose is kept at first.
const GENEROUS: f64 = 2e-3;
const MOST_ROUNDS: usize = 30;
/// Not all that seem off are left out at once: those that are pull the others. Only what is at least so near to the worst, squared.
const NEAR_THE_WORST: f64 = 0.25;

/// Fits a rigid car to the poses that belong to it.
pub(super) fn fit(session: &Session, seen: &Seen, weights: &Weights) -> Result<Fitted, Error> {
    let level = staged::level(session, &seen.rolling, &seen.ahead)?;
    let (model, start) = Ground { session, up: level.up, clamps: &level.clamps }.start(seen, weights)?;
    let mut search =
        Search { state: start.clone(), start, kept: Vec::new(), left_out: Vec::new(), known: weights.known, model };
    search.narrow()?;
    search.sort_out()?;
    if search.look_again() {
        search.sort_out()?;
    }
    search.count_kept();
    let Search { mut model, state, kept, mut left_out, .. } = search;
    for pose in &mut left_out {
        pose.left_out = true;
    }
    let mut kept = kept.iter();
    model.observations.retain(|_| kept.next().is_none_or(|kept| *kept));
    model.renumber();
    let fitted = settle(session, seen, (model, state), &level.clamps, weights.known);
    // Where too few poses of a wheel are left, it is told in form only, and what comes out is no wheel.
    let undetermined = |error: Error| match error.code {
        ErrorCode::NotConverged if error.stage == Some(Stage::Rolling) => {
            Error { code: ErrorCode::NotDetermined, unit: "", value: None, minimum: None, maximum: None, ..error }
        }
        _ => error,
    };
    let mut fitted = fitted.map_err(undetermined)?;
    fitted.left_out = left_out;
    Ok(fitted)
}

/// A search for the poses that belong.
struct Search {
    model: Model,
    start: State,
    state: State,
    known: Known,
    kept: Vec<bool>,
    left_out: Vec<PoseFit>,
}

impl Search {
    /// Doubts the poses more and more, and follows with the fit.
    fn narrow(&mut self) -> Result<(), Error> {
        let mut tolerance = f64::INFINITY;
        loop {
            self.approach(&ON_THE_WAY)?;
            let squares = squares(&self.model, &self.state);
            let least = self.trusted(&squares);
            if tolerance <= least {
                // Generously: those that are off may have pulled the others along.
                self.kept = self.model.observations.iter().map(|seen| seen.share >= GENEROUS).collect();
                return Ok(());
            }
            let most = squares.iter().copied().fold(least, f64::max);
            tolerance = (tolerance.min(most) * NARROWER).max(least);
            for (seen, square) in self.model.observations.iter_mut().zip(squares) {
                let share = tolerance / (tolerance + square);
                seen.share = (share * share).max(LEAST_SHARE);
            }
        }
    }

    /// The square of a distance within which a pose is trusted.
    fn trusted(&self, squares: &[f64]) -> f64 {
        let noise = median(squares) / MEDIAN;
        if self.known == Known::Unknown { TRUSTED * noise.max(LEAST_SCALE) } else { TRUSTED }
    }

    fn approach(&mut self, until: &Until) -> Result<Normal, Error> {
        let (state, normal, ..) = solve::approach(&self.model, self.state.clone(), until)?;
        self.state = state;
        Ok(normal)
    }

    fn count_kept(&mut self) {
        for (seen, kept) in self.model.observations.iter_mut().zip(&self.kept) {
            seen.share = if *kept { 1.0 } else { LEAST_SHARE };
        }
    }

    /// From trusted poses to all that they vouch for, until nothing changes.
    fn sort_out(&mut self) -> Result<(), Error> {
        for _ in 0..MOST_ROUNDS {
            self.count_kept();
            let normal = self.approach(&Until { falls: 1e-6, ..ON_THE_WAY })?;
            let poses = judged(&self.model, &normal, &self.kept, self.known);
            let is_off = |pose: &PoseFit| pose.p_value.is_some_and(|chance| chance < RARE);
            let off = poses.iter().zip(&self.kept).filter(|(pose, kept)| **kept && is_off(pose));
            let worst = off.map(|(pose, _)| pose.standardised * pose.standardised).fold(0.0, f64::max);
            let stays = |(pose, kept): (&PoseFit, &bool)| {
                let near = pose.standardised * pose.standardised >= NEAR_THE_WORST * worst;
                !is_off(pose) || *kept && !near
            };
            let next: Vec<bool> = poses.iter().zip(&self.kept).map(stays).collect();
            self.left_out = poses.iter().zip(&next).filter(|(_, kept)| !**kept).map(|(pose, _)| *pose).collect();
            if next == self.kept {
                return Ok(());
            }
            self.kept = next;
        }
        Ok(())
    }

    /// Looks again at wheels of which several poses were left out as they stood or rolled: of those few the wrong ones may have won. Every two
    /// of them are trusted in turn, and those stay with which most of the session agrees. True when that changes anything.
    fn look_again(&mut self) -> bool {
        let mut changed = false;
        for wheel in Wheel::ALL {
            let of_wheel = |pose: &usize| {
                let seen = &self.model.observations[*pose];
                seen.wheel == wheel && self.model.stations[seen.at].kind != Kind::Steered
            };
            let poses: Vec<usize> = (0..self.kept.len()).filter(of_wheel).collect();
            let out = poses.iter().filter(|&&pose| !self.kept[pose]).count();
            if out < 2 || 3 * out < poses.len() {
                continue;
            }
            self.count_kept();
            let (state, kept) = (self.state.clone(), self.kept.clone());
            let mut best = self.cost();
            let all =
                poses.iter().enumerate().flat_map(|(i, &one)| poses[i + 1..].iter().map(move |&other| [one, other]));
            let pairs: Vec<[usize; 2]> = all.collect();
            let (mut best_state, mut found) = (state.clone(), false);
            for pair in pairs.iter().step_by(pairs.len().div_ceil(MOST_PAIRS).max(1)) {
                self.kept.clone_from(&kept);
                for &pose in &poses {
                    self.kept[pose] = pair.contains(&pose);
                }
                self.count_kept();
                self.state.clone_from(&state);
                self.begin_again(wheel);
                if self.approach(&ON_THE_WAY).is_err() {
                    continue;
                }
                let cost = self.cost();
                if cost < best {
                    (best, found) = (cost, true);
                    best_state.clone_from(&self.state);
                }
            }
            self.state = best_state;
            self.kept = kept;
            if found {
                changed = true;
                let squares = squares(&self.model, &self.state);
                let bound = self.trusted(&squares) * NEAR;
                for pose in poses {
                    self.kept[pose] = squares[pose] <= bound;
                }
            }
        }
        changed
    }

    /// Puts the unknowns of one wheel back to where they began.
    fn begin_again(&mut self, wheel: Wheel) {
        self.state.wheels.get_mut(wheel).clone_from(self.start.wheels.get(wheel));
        let side = wheel.side();
        if wheel.is_front() {
            *self.state.axes.get_mut(side) = *self.start.axes.get(side);
        }
        for (station, start) in self.state.stations.iter_mut().zip(&self.start.stations) {
            *station.spin_rad.get_mut(wheel) = *start.spin_rad.get(wheel);
            if wheel.is_front() {
                *station.steer_rad.get_mut(side) = *start.steer_rad.get(side);
            }
        }
    }

    /// How badly the session as a whole agrees: no pose counts for more than one that is off.
    fn cost(&self) -> f64 {
        let squares = squares(&self.model, &self.state);
        let most = self.trusted(&squares) * NEAR;
        squares.iter().map(|square| square.min(most)).sum()
    }
}

pub(super) fn place(pose: &PoseFit) -> Place {
    (pose.stage, pose.station, pose.wheel)
}

/// How far each pose lies off, squared, in standard deviations.
fn squares(model: &Model, state: &State) -> Vec<f64> {
    let square = |seen: &Observation| {
        let foretold = model.foretell(state, seen.at, seen.wheel, None);
        foretold.map_or(0.0, |foretold| (seen.whitener * Model::left_over(&seen.pose, &foretold)).norm_squared())
    };
    model.observations.iter().map(square).collect()
}

fn median(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    units::sort(&mut sorted);
    sorted.get(sorted.len() / 2).copied().unwrap_or(0.0)
}

/// Every pose held against the fit to those kept.
fn judged(model: &Model, normal: &Normal, kept: &[bool], known: Known) -> Vec<PoseFit> {
    let knocks = Knocks::of(model, normal);
    let counted = kept.iter().filter(|kept| **kept).count();
    let noise = Noise { known, chi_squared: normal.chi_squared - normal.uncounted, freedom: freedom(model, counted) };
    let pose = |(pose, kept): (usize, &bool)| {
        let seen = &model.observations[pose];
        let plan = &model.stations[seen.at];
        let off = if *kept { knocks.alone(pose) } else { knocks.apart(pose) };
        let noise = if *kept { noise } else { noise.beside(off.gain, off.rank) };
        pose_fit((plan.stage, plan.index, seen.wheel), &off, noise)
    };
    kept.iter().enumerate().map(pose).collect()
}

/// The pose of a wheel at a place of a session.
pub(super) fn at(seen: &mut Seen, (stage, index, wheel): Place) -> Option<&mut Option<Transform<Rig, Target>>> {
    let station: &mut Poses = match (stage, index) {
        (Stage::Rolling, Some(index)) => seen.rolling.get_mut(index)?,
        (Stage::Sweep, Some(index)) => seen.steered.sweep.get_mut(index)?,
        (Stage::LockLeft, _) => &mut seen.steered.locks.left,
        (Stage::LockRight, _) => &mut seen.steered.locks.right,
        _ => &mut seen.ahead,
    };
    Some(station.get_mut(wheel))
}
