//! What does not belong to the car that all else shows: each pose held against the fit to all others, and targets that were knocked.
//!
//! A steering axis that moves leaves something smooth over, which a slip explains in part. So what is smooth competes with each slip that would be named.
//!
//! A pose that is off by a small motion of its target, or a target that stays off from one station on, is one more unknown of six numbers. What it
//! would explain, its gain in χ², follows from the normal equations of the fit without another fit: a score test.

use super::model::{Model, State};
use super::solve::{Normal, forward_rows};
use super::weights::Known;
use crate::error::{Stage, Warning, WarningCode};
use crate::frame::{Rig, Target, Transform};
use crate::layout::{Side, Wheel};
use crate::statistics;
use crate::units::{deg_from_rad, sqrt};
use alloc::vec::Vec;
use nalgebra::{DMatrix, Matrix6, Matrix6xX, Vector6};

/// Noise alone names a target in one session of so many, over all the patterns that are tried.
const SESSIONS: f64 = 1000.0;
/// What must be left of a direction when the unknowns of the fit are taken out, as a share: a slip about the steering axis leaves nothing.
const LEAST_LEFT: f64 = 1e-4;
/// The noise that is not known is no less than rounding: this share of the variance that stands in for it.
pub(super) const LEAST_SCALE: f64 = 4e-4;
/// Where no more than this is taken from any direction, all six are the motion's own.
const PLAIN: f64 = 1e-2;
/// Gains that differ by less are equal.
const EQUAL: f64 = 1e-9;
/// No more than so many targets are named.
const MOST_NAMED: usize = 8;
/// The powers of the steer angle that make up what is smooth in it, the likeliest first: an axis that tilts evenly leaves a square.
const SMOOTH_POWERS: [f64; 3] = [2.0, 1.0, 3.0];
/// By how many variances an unknown must lower χ² to be worth having (Akaike).
const WORTH: f64 = 2.0;

/// A small motion of one target at one station, six numbers in its own frame, as one more unknown.
#[derive(Clone)]
struct Knock {
    /// What it would add to the shared unknowns' equations, L⁻¹ of it: a row for each of the six.
    shared: Matrix6xX<f64>,
    /// And to the station's own, likewise.
    own: Matrix6xX<f64>,
    /// Its own information, the station's unknowns taken out.
    information: Matrix6<f64>,
    /// The same before they are taken out: the mean over the three axes, of turns and of shifts.
    whole: Vector6<f64>,
    score: Vector6<f64>,
}

/// What a motion would explain.
pub(super) struct Gain {
    pub(super) gain: f64,
    pub(super) rank: f64,
    /// The motion: a turn, radians, and a shift, mm.
    pub(super) motion: Vector6<f64>,
}

/// Some of the poses of one target, one after the other, that are off alike.
struct Pattern {
    wheel: Wheel,
    from: usize,
    to: usize,
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

    /// What a square of unit variance is worth: 1 but where nothing tells the noise.
    pub(super) fn scale(&self) -> f64 {
        match self.known {
            Known::Unknown if self.freedom > 0.0 => (self.chi_squared / self.freedom).max(LEAST_SCALE),
            _ => 1.0,
        }
    }

    /// What is left when an unknown explains so much.
    fn without(self, gain: f64, rank: f64) -> Self {
        Self { chi_squared: self.chi_squared - gain, freedom: self.freedom - rank, ..self }
    }

    /// Whether this is left of something that is the better explanation: each of its unknowns has to be worth having. The other is the best of so many
    /// choices, of which noise makes one look good.
    fn is_better_than(&self, other: &Self, choices: f64) -> bool {
        let variance = self.scale().min(other.scale());
        let unknowns = WORTH * (self.freedom - other.freedom);
        self.chi_squared - other.chi_squared < variance * (unknowns + 2.0 * libm::log(choices))
    }

    /// The noise of a fit to which a pose beside it is added.
    pub(super) fn beside(self, square: f64, rank: f64) -> Self {
        Self { chi_squared: self.chi_squared + square, freedom: self.freedom + rank, ..self }
    }
}

/// The motions of every target, as unknowns.
#[derive(Clone)]
pub(super) struct Knocks<'a> {
    model: &'a Model,
    /// How many unknowns the motions share.
    size: usize,
    knocks: Vec<Knock>,
}

impl<'a> Knocks<'a> {
    pub(super) fn of(model: &'a Model, normal: &Normal) -> Self {
        let size = model.columns.size;
        let knocks = model.observations.iter().zip(&normal.rows).map(|(seen, row)| {
            let station = &normal.stations[seen.at];
            let by = seen.whitener * in_target(&seen.pose) * sqrt(seen.share);
            let mut own = Matrix6xX::zeros(model.stations[seen.at].size);
            for (column, follows) in &row.follows.own {
                own.set_column(*column, &by.tr_mul(follows));
            }
            forward_rows(&station.factor, &mut own);
            let mut shared = Matrix6xX::zeros(size);
            for (column, follows) in &row.follows.shared {
                shared.set_column(*column, &by.tr_mul(follows));
            }
            shared.gemm(-1.0, &own, &station.coupling, 1.0);
            forward_rows(&normal.factor, &mut shared);
            let mut information = by.tr_mul(&by);
            let of = information.diagonal();
            let mean = |from: usize| (of[from] + of[from + 1] + of[from + 2]) / 3.0;
            let whole = Vector6::from_fn(|i, _| mean(i / 3 * 3));
            information -= squared(&own);
            Knock { shared, own, information, whole, score: by.tr_mul(&row.left_over) }
        });
        Self { model, size, knocks: knocks.collect() }
    }

    /// Every pose held against the fit to all others: how far it lies off them, and the gain.
    pub(super) fn alone(&self, pose: usize) -> Gain {
        self.knocks[pose].gain()
    }

    /// A pose that hardly counts held against the fit to those that do: how far it lies off them, the square of that over its variance, and in how many
    /// directions they tell.
    pub(super) fn apart(&self, pose: usize) -> Gain {
        let (seen, knock) = (&self.model.observations[pose], &self.knocks[pose]);
        let (whole, share) = (knock.whole / seen.share, seen.share);
        let scale = whole.map(|v| 1.0 / sqrt(v));
        let own = squared(&knock.own) + squared(&knock.shared);
        let by = seen.whitener * in_target(&seen.pose);
        let itself = by.tr_mul(&by);
        // Its own scatter, and that of where it is foretold to be.
        let scatter = Matrix6::from_fn(|i, j| (itself[(i, j)] + own[(i, j)] / (share * share)) * scale[i] * scale[j]);
        let score = (knock.score / share).component_mul(&scale);
        let eigen = scatter.symmetric_eigen();
        let (mut square, mut rank) = (0.0, 0.0);
        for (i, value) in eigen.eigenvalues.iter().enumerate().filter(|(_, value)| **value * LEAST_LEFT < 1.0) {
            let along = eigen.eigenvectors.column(i).dot(&score);
            square += along * along / value;
            rank += 1.0;
        }
        let motion = itself.try_inverse().map_or(Vector6::zeros(), |inverse| inverse * (knock.score / share));
        Gain { gain: square, rank, motion }
    }

    /// What every way in which a target may be off would explain: at one station, or from one on to the end of the stage or of the session.
    fn each_pattern(&self, mut consider: impl FnMut(Pattern, Gain)) {
        for wheel in Wheel::ALL {
            let poses = self.poses_of(wheel);
            let stage = |place: usize| self.model.stations[self.model.observations[poses[place]].at].stage;
            let (mut rest, mut of_stage) = (Together::none(self.size), Together::none(self.size));
            let mut end = poses.len();
            for place in (0..poses.len()).rev() {
                if place + 1 < poses.len() && stage(place) != stage(place + 1) {
                    end = place + 1;
                    of_stage = Together::none(self.size);
                }
                let knock = &self.knocks[poses[place]];
                rest.add(knock, 1.0);
                of_stage.add(knock, 1.0);
                consider(Pattern { wheel, from: place, to: place + 1, onward: false }, knock.gain());
                if place > 0 && place + 1 < poses.len() {
                    consider(Pattern { wheel, from: place, to: poses.len(), onward: true }, rest.gain());
                }
                if end < poses.len() && place > 0 && stage(place - 1) == stage(place) && place + 1 < end {
                    consider(Pattern { wheel, from: place, to: end, onward: true }, of_stage.gain());
                }
            }
        }
    }

    fn poses_of(&self, wheel: Wheel) -> Vec<usize> {
        (0..self.knocks.len()).filter(|&pose| self.model.observations[pose].wheel == wheel).collect()
    }

    /// Names the targets that were knocked, the plainest first, and the sides on which the steering axis moves instead: each that is found is
    /// given its motion, and the rest is looked at again.
    pub(super) fn name(mut self, state: &State, mut noise: Noise) -> (Vec<Warning>, Vec<Side>) {
        let (mut warnings, mut moved) = (Vec::new(), Vec::new());
        while warnings.len() < MOST_NAMED {
            let mut best: Option<(Pattern, Gain)> = None;
            let mut patterns = 0.0;
            self.each_pattern(|pattern, found| {
                patterns += 1.0;
                // Of equals one station, rather than all that follow it.
                let better = |(one, of): &(Pattern, Gain)| {
                    let margin = if one.onward && !pattern.onward { 1.0 - EQUAL } else { 1.0 + EQUAL };
                    found.gain > of.gain * margin
                };
                if best.as_ref().is_none_or(better) {
                    best = Some((pattern, found));
                }
            });
            let Some((pattern, found)) = best else { break };
            let Some(chance) = noise.chance(found.gain, found.rank) else { break };
            if chance >= 1.0 / (SESSIONS * patterns) {
                break;
            }
            let sides = [Side::Left, Side::Right].into_iter().filter(|side| !moved.contains(side));
            let axes = sides.filter_map(|side| Some((side, self.axis_let_move(state, side, noise)?)));
            let axis = axes.reduce(|a, b| if b.1.1.is_better_than(&a.1.1, 1.0) { b } else { a });
            if let Some((side, (knocks, left))) = axis
                && left.is_better_than(&noise.without(found.gain, found.rank), patterns)
            {
                moved.push(side);
                (self, noise) = (knocks, left);
                continue;
            }
            warnings.push(self.warning(&pattern, &found));
            noise = noise.without(found.gain, found.rank);
            let poses = self.poses_of(pattern.wheel);
            let poses: Vec<_> = poses[pattern.from..pattern.to].iter().map(|&pose| (pose, 1.0)).collect();
            if noise.freedom < 6.0 || self.take_out(&poses).is_none() {
                break;
            }
        }
        (warnings, moved)
    }

    /// What is left to explain when a front target may move smoothly as its wheel is steered, by as many powers of the steer angle as are worth having;
    /// None when none is.
    fn axis_let_move(&self, state: &State, side: Side, noise: Noise) -> Option<(Self, Noise)> {
        let mut poses = self.poses_of(side.front_wheel());
        poses.retain(|&pose| self.model.stations[self.model.observations[pose].at].steer.get(side).is_some());
        let steer = |pose: usize| *state.stations[self.model.observations[pose].at].steer_rad.get(side);
        let most = poses.iter().map(|&pose| steer(pose).abs()).fold(0.0, f64::max);
        if most == 0.0 {
            return None;
        }
        let (mut knocks, mut left) = (self.clone(), noise);
        let mut best = None;
        for power in SMOOTH_POWERS {
            let weighed: Vec<_> = poses.iter().map(|&pose| (pose, libm::pow(steer(pose) / most, power))).collect();
            let Some((gain, rank)) = knocks.take_out(&weighed) else { continue };
            left = left.without(gain, rank);
            let so_far = best.as_ref().map_or(noise, |(_, noise)| *noise);
            if left.freedom >= 6.0 && left.is_better_than(&so_far, 1.0) {
                best = Some((knocks.clone(), left));
            }
        }
        best
    }

    fn warning(&self, pattern: &Pattern, found: &Gain) -> Warning {
        let first = self.poses_of(pattern.wheel)[pattern.from];
        let seen = &self.model.observations[first];
        let plan = &self.model.stations[seen.at];
        // A wheel that was steered since the rolling looks as if its target had slipped from the ahead station on.
        let code = match (plan.stage, pattern.onward) {
            (Stage::Ahead, _) => WarningCode::AheadDisagrees,
            (_, true) => WarningCode::TargetSlippedFrom,
            (_, false) => WarningCode::TargetSlippedOnce,
        };
        let warning = Warning::new(code).stage(plan.stage).wheel(seen.wheel);
        let warning = plan.index.map_or(warning, |index| warning.station(index));
        let whole = self.knocks[first].whole;
        let (turn, shift) = (found.motion.fixed_rows::<3>(0).norm(), found.motion.fixed_rows::<3>(3).norm());
        if turn * sqrt(whole[0]) >= shift * sqrt(whole[3]) {
            warning.value(deg_from_rad(turn), "deg")
        } else {
            warning.value(shift, "mm")
        }
    }

    /// Gives poses of one target the motion that explains them, so many times at each: an unknown of the fit from then on. What it explains, by how many
    /// numbers; None when it is none.
    fn take_out(&mut self, poses: &[(usize, f64)]) -> Option<(f64, f64)> {
        let mut together = Together::none(self.size);
        // Which of them stands at a station.
        let mut at: Vec<Option<(usize, f64)>> = self.model.stations.iter().map(|_| None).collect();
        for &(pose, times) in poses {
            together.add(&self.knocks[pose], times);
            at[self.model.observations[pose].at] = Some((pose, times));
        }
        let basis = own_basis(&together.own_information(), &together.whole)?;
        let found = basis.tr_mul(&together.score);
        // How each motion meets the new unknown, beside what the shared unknowns pass on.
        let meets: Vec<Matrix6xX<f64>> = (0..self.knocks.len())
            .map(|pose| {
                let knock = &self.knocks[pose];
                let mut meets: Matrix6<f64> = -(&together.shared * knock.shared.transpose());
                match at[self.model.observations[pose].at] {
                    Some((itself, times)) if itself == pose => meets += knock.information * times,
                    Some((beside, times)) => meets -= &self.knocks[beside].own * knock.own.transpose() * times,
                    None => {}
                }
                meets.tr_mul(&basis)
            })
            .collect();
        self.size += basis.ncols();
        for (knock, meets) in self.knocks.iter_mut().zip(meets) {
            knock.score -= &meets * &found;
            let before = knock.shared.ncols();
            let shared = core::mem::replace(&mut knock.shared, Matrix6xX::zeros(0));
            knock.shared = shared.resize_horizontally(self.size, 0.0);
            knock.shared.columns_mut(before, meets.ncols()).copy_from(&meets);
        }
        #[expect(clippy::cast_precision_loss, reason = "six at most")]
        Some((found.norm_squared(), basis.ncols() as f64))
    }
}

impl Knock {
    /// What it would explain by itself.
    fn gain(&self) -> Gain {
        gain(&(self.information - squared(&self.shared)), &self.whole, &self.score)
    }
}

/// The same motion of one target at several stations.
struct Together {
    shared: Matrix6xX<f64>,
    information: Matrix6<f64>,
    whole: Vector6<f64>,
    score: Vector6<f64>,
}

impl Together {
    fn none(size: usize) -> Self {
        let (information, whole, score) = (Matrix6::zeros(), Vector6::zeros(), Vector6::zeros());
        Self { shared: Matrix6xX::zeros(size), information, whole, score }
    }

    fn add(&mut self, knock: &Knock, times: f64) {
        self.shared += &knock.shared * times;
        self.information += knock.information * (times * times);
        self.whole += knock.whole * (times * times);
        self.score += knock.score * times;
    }

    /// What the unknowns of the fit leave of its information.
    fn own_information(&self) -> Matrix6<f64> {
        self.information - squared(&self.shared)
    }

    fn gain(&self) -> Gain {
        gain(&self.own_information(), &self.whole, &self.score)
    }
}

/// What a motion would explain: with the information M that is its own and the score s, sᵀ·M⁻¹·s, by the motion M⁻¹·s.
fn gain(information: &Matrix6<f64>, whole: &Vector6<f64>, score: &Vector6<f64>) -> Gain {
    let scale = whole.map(|v| if v > 0.0 { 1.0 / sqrt(v) } else { 0.0 });
    let scaled = Matrix6::from_fn(|i, j| information[(i, j)] * scale[i] * scale[j]);
    // Mostly all six directions are its own.
    if let Some(factor) = scaled.cholesky()
        && factor.l_dirty().diagonal().iter().all(|pivot| pivot * pivot > PLAIN)
    {
        let score = score.component_mul(&scale);
        let motion = factor.solve(&score);
        return Gain { gain: score.dot(&motion), rank: 6.0, motion: motion.component_mul(&scale) };
    }
    let Some(basis) = own_basis(information, whole) else {
        return Gain { gain: 0.0, rank: 0.0, motion: Vector6::zeros() };
    };
    let along = basis.tr_mul(score);
    #[expect(clippy::cast_precision_loss, reason = "six at most")]
    let rank = along.len() as f64;
    let motion = &basis * &along;
    Gain { gain: along.norm_squared(), rank, motion: Vector6::from_iterator(motion.iter().copied()) }
}

/// M·Mᵀ.
fn squared(rows: &Matrix6xX<f64>) -> Matrix6<f64> {
    rows.column_iter().fold(Matrix6::zeros(), |sum, column| sum + column * column.transpose())
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
    let kept: Vec<usize> = (0..6).filter(|&i| eigen.eigenvalues[i] > LEAST_LEFT).collect();
    if kept.is_empty() {
        return None;
    }
    let direction = |i: usize, k: usize| eigen.eigenvectors[(i, kept[k])] * scale[i] / sqrt(eigen.eigenvalues[kept[k]]);
    Some(DMatrix::from_fn(6, kept.len(), direction))
}
