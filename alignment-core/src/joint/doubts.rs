//! What does not belong to the car that all else shows: each pose held against the fit to all others, and targets that were knocked.
//!
//! A pose that is off by a small motion of its target, or a target that stays off from one station on, is one more unknown of six numbers. What it
//! would explain, its gain in χ², follows from the normal equations of the fit without another fit: a score test.

use super::model::Model;
use super::solve::Normal;
use super::weights::Known;
use crate::error::{Warning, WarningCode};
use crate::frame::{Rig, Target, Transform};
use crate::layout::Wheel;
use crate::statistics;
use crate::units::{deg_from_rad, sqrt};
use alloc::vec::Vec;
use nalgebra::{DMatrix, Matrix6, SMatrix, Vector6};

/// Noise alone names a target in one session of so many, over all the patterns that are tried.
const SESSIONS: f64 = 1000.0;
/// What must be left of a direction when the unknowns of the fit are taken out, as a share: a slip about the steering axis leaves nothing.
const LEAST_OWN: f64 = 1e-4;
/// The noise that is not known is no less than rounding: this share of the variance that stands in for it.
const LEAST_SCALE: f64 = 4e-4;
/// No more than so many targets are named.
const MOST_NAMED: usize = 8;

/// A small motion of one target at one station, six numbers in its own frame, as one more unknown.
struct Knock {
    /// What it would add to the shared unknowns' equations, L⁻¹ of it.
    shared: DMatrix<f64>,
    /// And to the station's own.
    own: DMatrix<f64>,
    /// Its own information, the station's unknowns taken out.
    information: Matrix6<f64>,
    score: Vector6<f64>,
}

/// What a motion would explain.
#[derive(Clone)]
struct Gain {
    gain: f64,
    rank: f64,
    /// The motion: a turn, radians, and a shift, mm.
    motion: Vector6<f64>,
}

/// Some of the poses of one target that are off alike.
#[derive(Clone)]
struct Pattern {
    /// Of the observations.
    poses: Vec<usize>,
    onward: bool,
}

/// How noise is told from the rest.
#[derive(Clone, Copy)]
pub(super) struct Noise {
    pub(super) known: Known,
    pub(super) chi_squared: f64,
    pub(super) freedom: f64,
}

impl Noise {
    /// The chance that noise alone explains so much more; None when nothing tells.
    pub(super) fn chance(&self, gain: f64, rank: f64) -> Option<f64> {
        let left = self.freedom - rank;
        match self.known {
            _ if rank < 1.0 || self.freedom < rank => None,
            Known::Stated => Some(statistics::chi_squared_beyond(gain, rank)),
            Known::Estimated(freedom) => Some(statistics::f_beyond(gain / rank, rank, freedom)),
            Known::Unknown if left < 1.0 => None,
            Known::Unknown => {
                let scale = ((self.chi_squared - gain) / left).max(LEAST_SCALE);
                Some(statistics::f_beyond(gain / rank / scale, rank, left))
            }
        }
    }
}

impl Noise {
    /// The noise of a fit to which a pose beside it is added.
    pub(super) fn beside(self, square: f64, rank: f64) -> Self {
        Self { chi_squared: self.chi_squared + square, freedom: self.freedom + rank, ..self }
    }
}

/// The motions of every target, as unknowns.
pub(super) struct Knocks<'a> {
    model: &'a Model,
    knocks: Vec<Knock>,
}

impl<'a> Knocks<'a> {
    pub(super) fn of(model: &'a Model, normal: &Normal) -> Self {
        let size = model.columns.size;
        let knocks = model.observations.iter().zip(&normal.rows).map(|(seen, row)| {
            let station = &normal.stations[seen.at];
            let by = seen.whitener * in_target(&seen.pose) * sqrt(seen.share);
            let mut own = DMatrix::zeros(model.stations[seen.at].size, 6);
            for (column, follows) in &row.follows.own {
                own.row_mut(*column).copy_from(&by.tr_mul(follows).transpose());
            }
            if !own.is_empty() {
                station.factor.solve_lower_triangular_mut(&mut own);
            }
            let mut shared = DMatrix::zeros(size, 6);
            for (column, follows) in &row.follows.shared {
                shared.row_mut(*column).copy_from(&by.tr_mul(follows).transpose());
            }
            if !own.is_empty() {
                shared.gemm_tr(-1.0, &station.coupling, &own, 1.0);
            }
            normal.factor.solve_lower_triangular_mut(&mut shared);
            let mut information = by.tr_mul(&by);
            information -= SMatrix::from_fn(|i, j| own.column(i).dot(&own.column(j)));
            Knock { shared, own, information, score: by.tr_mul(&row.left_over) }
        });
        Self { model, knocks: knocks.collect() }
    }

    /// What a motion of one target alike at some of its stations would explain.
    fn gain(&self, poses: &[usize]) -> Option<Gain> {
        let first = self.knocks.get(*poses.first()?)?;
        let (mut shared, mut information, mut score) = (first.shared.clone(), first.information, first.score);
        let mut whole = self.whole(*poses.first()?);
        for &pose in &poses[1..] {
            let knock = &self.knocks[pose];
            shared += &knock.shared;
            information += knock.information;
            score += knock.score;
            whole += self.whole(pose);
        }
        information -= SMatrix::from_fn(|i, j| shared.column(i).dot(&shared.column(j)));
        Some(explained(&information, &whole, &score))
    }

    fn whole(&self, pose: usize) -> Vector6<f64> {
        let seen = &self.model.observations[pose];
        let of = seen.whitener.tr_mul(&seen.whitener).diagonal() * seen.share;
        // The target's axes lie anyhow: of each kind, the mean.
        let mean = |from: usize| (of[from] + of[from + 1] + of[from + 2]) / 3.0;
        let (turn, shift) = (mean(0), mean(3));
        Vector6::new(turn, turn, turn, shift, shift, shift)
    }

    /// Every pose held against the fit to all others: how far it lies off them, and the gain.
    pub(super) fn alone(&self, pose: usize) -> (Vector6<f64>, f64, f64) {
        self.gain(&[pose]).map_or((Vector6::zeros(), 0.0, 0.0), |found| (found.motion, found.gain, found.rank))
    }

    /// A pose that hardly counts held against the fit to those that do: how far it lies off them, the square of that over its variance, and in how many
    /// directions they tell.
    pub(super) fn apart(&self, pose: usize) -> (Vector6<f64>, f64, f64) {
        let (seen, knock) = (&self.model.observations[pose], &self.knocks[pose]);
        let (whole, share) = (self.whole(pose) / seen.share, seen.share);
        let scale = whole.map(|v| 1.0 / sqrt(v));
        let own = |i: usize, j: usize| {
            knock.own.column(i).dot(&knock.own.column(j)) + knock.shared.column(i).dot(&knock.shared.column(j))
        };
        let by = seen.whitener * in_target(&seen.pose);
        let itself = by.tr_mul(&by);
        // Its own scatter, and that of where it is foretold to be.
        let scatter = Matrix6::from_fn(|i, j| (itself[(i, j)] + own(i, j) / (share * share)) * scale[i] * scale[j]);
        let score = (knock.score / share).component_mul(&scale);
        let eigen = scatter.symmetric_eigen();
        let (mut square, mut rank) = (0.0, 0.0);
        for (i, value) in eigen.eigenvalues.iter().enumerate().filter(|(_, value)| **value * LEAST_OWN < 1.0) {
            let along = eigen.eigenvectors.column(i).dot(&score);
            square += along * along / value;
            rank += 1.0;
        }
        let off = itself.try_inverse().map_or(Vector6::zeros(), |inverse| inverse * (knock.score / share));
        (off, square, rank)
    }

    /// The ways in which a target may be off: at one station, or from one on to the end of the stage or of the session.
    fn patterns(&self) -> Vec<Pattern> {
        let mut patterns = Vec::new();
        for wheel in Wheel::ALL {
            let of_wheel: Vec<usize> =
                (0..self.knocks.len()).filter(|&i| self.model.observations[i].wheel == wheel).collect();
            let stage = |pose: usize| self.model.stations[self.model.observations[pose].at].stage;
            for (place, &pose) in of_wheel.iter().enumerate() {
                patterns.push(Pattern { poses: [pose].into(), onward: false });
                let rest = &of_wheel[place..];
                if place > 0 && rest.len() > 1 {
                    patterns.push(Pattern { poses: rest.into(), onward: true });
                }
                let of_stage: Vec<usize> =
                    rest.iter().copied().take_while(|&other| stage(other) == stage(pose)).collect();
                let starts = place == 0 || stage(of_wheel[place - 1]) != stage(pose);
                if !starts && of_stage.len() > 1 && of_stage.len() < rest.len() {
                    patterns.push(Pattern { poses: of_stage, onward: true });
                }
            }
        }
        patterns
    }

    /// Names the targets that were knocked, the plainest first: each that is found is given its motion, and the rest is looked at again.
    pub(super) fn name(mut self, mut noise: Noise) -> Vec<Warning> {
        let patterns = self.patterns();
        #[expect(clippy::cast_precision_loss, reason = "the number of poses is far below 2^52")]
        let rare = 1.0 / (SESSIONS * patterns.len().max(1) as f64);
        let mut warnings = Vec::new();
        while warnings.len() < MOST_NAMED {
            let gains = patterns.iter().filter_map(|pattern| Some((pattern, self.gain(&pattern.poses)?)));
            // The first of equals: one station rather than all that follow it.
            let best = gains.reduce(|best, next| if next.1.gain > best.1.gain * (1.0 + 1e-9) { next } else { best });
            let Some((pattern, found)) = best else { break };
            let Some(chance) = noise.chance(found.gain, found.rank) else { break };
            if chance >= rare {
                break;
            }
            warnings.push(self.warning(pattern, &found));
            noise.chi_squared -= found.gain;
            noise.freedom -= found.rank;
            if noise.freedom < 6.0 || !self.take_out(&pattern.poses) {
                break;
            }
        }
        warnings
    }

    fn warning(&self, pattern: &Pattern, found: &Gain) -> Warning {
        let seen = &self.model.observations[pattern.poses[0]];
        let plan = &self.model.stations[seen.at];
        let code = if pattern.onward { WarningCode::TargetSlippedFrom } else { WarningCode::TargetSlippedOnce };
        let warning = Warning::new(code).stage(plan.stage).wheel(seen.wheel);
        let warning = plan.index.map_or(warning, |index| warning.station(index));
        let whole = self.whole(pattern.poses[0]);
        let (turn, shift) = (found.motion.fixed_rows::<3>(0).norm(), found.motion.fixed_rows::<3>(3).norm());
        if turn * sqrt(whole[0]) >= shift * sqrt(whole[3]) {
            warning.value(deg_from_rad(turn), "deg")
        } else {
            warning.value(shift, "mm")
        }
    }

    /// Gives the poses of a pattern the motion that explains them: an unknown of the fit from then on. False when it is none.
    fn take_out(&mut self, poses: &[usize]) -> bool {
        let size = self.knocks[poses[0]].shared.nrows();
        let mut shared = DMatrix::<f64>::zeros(size, 6);
        let (mut information, mut whole, mut score) = (Matrix6::zeros(), Vector6::zeros(), Vector6::zeros());
        for &pose in poses {
            shared += &self.knocks[pose].shared;
            information += self.knocks[pose].information;
            score += self.knocks[pose].score;
            whole += self.whole(pose);
        }
        information -= SMatrix::from_fn(|i, j| shared.column(i).dot(&shared.column(j)));
        let Some(basis) = own_basis(&information, &whole) else { return false };
        let found = basis.tr_mul(&score);
        // How each motion meets the new unknown, beside what the shared unknowns pass on.
        let meets: Vec<DMatrix<f64>> = (0..self.knocks.len())
            .map(|pose| {
                let mut meets = -shared.tr_mul(&self.knocks[pose].shared);
                for &other in poses {
                    if other == pose {
                        meets += self.own_information(pose);
                    } else if self.model.observations[other].at == self.model.observations[pose].at {
                        meets -= self.knocks[other].own.tr_mul(&self.knocks[pose].own);
                    }
                }
                basis.tr_mul(&meets)
            })
            .collect();
        for (knock, meets) in self.knocks.iter_mut().zip(meets) {
            knock.score -= Vector6::from_iterator(meets.tr_mul(&found).iter().copied());
            let rows = knock.shared.nrows();
            let mut longer = core::mem::replace(&mut knock.shared, DMatrix::zeros(0, 0))
                .resize_vertically(rows + meets.nrows(), 0.0);
            longer.rows_mut(rows, meets.nrows()).copy_from(&meets);
            knock.shared = longer;
        }
        true
    }

    fn own_information(&self, pose: usize) -> DMatrix<f64> {
        DMatrix::from_iterator(6, 6, self.knocks[pose].information.iter().copied())
    }
}

/// A turn and a shift in the rig, from those in the target.
fn in_target(pose: &Transform<Rig, Target>) -> Matrix6<f64> {
    let mut by = Matrix6::zeros();
    by.fixed_view_mut::<3, 3>(0, 0).copy_from(&pose.rotation);
    by.fixed_view_mut::<3, 3>(3, 3).copy_from(&pose.rotation);
    by
}

/// Directions b of a motion, as many as the unknowns leave, with bᵀ·M·b = 1 and square to each other in that sense.
fn own_basis(information: &Matrix6<f64>, whole: &Vector6<f64>) -> Option<DMatrix<f64>> {
    let scale = whole.map(|v| if v > 0.0 { 1.0 / sqrt(v) } else { 0.0 });
    let scaled = Matrix6::from_fn(|i, j| information[(i, j)] * scale[i] * scale[j]);
    let eigen = scaled.symmetric_eigen();
    let kept: Vec<usize> = (0..6).filter(|&i| eigen.eigenvalues[i] > LEAST_OWN).collect();
    if kept.is_empty() {
        return None;
    }
    let direction = |i: usize, k: usize| eigen.eigenvectors[(i, kept[k])] * scale[i] / sqrt(eigen.eigenvalues[kept[k]]);
    Some(DMatrix::from_fn(6, kept.len(), direction))
}

/// What a motion of such information and score explains.
fn explained(information: &Matrix6<f64>, whole: &Vector6<f64>, score: &Vector6<f64>) -> Gain {
    let Some(basis) = own_basis(information, whole) else {
        return Gain { gain: 0.0, rank: 0.0, motion: Vector6::zeros() };
    };
    let along = basis.tr_mul(score);
    #[expect(clippy::cast_precision_loss, reason = "six at most")]
    let rank = along.len() as f64;
    let motion = &basis * &along;
    Gain { gain: along.norm_squared(), rank, motion: Vector6::from_iterator(motion.iter().copied()) }
}
