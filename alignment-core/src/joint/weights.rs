//! What each pose weighs: the inverse of its covariance.

use crate::scatter::{self, Place, PoseScatter, Scatter};
use crate::session::{PoseNoise, Session, StationSpread};
use crate::units::{rad_from_deg, sqrt};
use nalgebra::Matrix6;

/// The noise below which no pose is trusted, per axis: rounding.
pub(super) const LEAST: PoseNoise = PoseNoise { rotation_deg: 1e-4, translation_mm: 1e-3 };
/// What stands in for the noise when nothing tells it: only the ratio of its two parts then matters.
const ASSUMED: PoseNoise = PoseNoise { rotation_deg: 0.005, translation_mm: 0.05 };

/// What is known of the noise as a whole.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Known {
    /// It is stated.
    Stated,
    /// It is estimated from frames, with so many degrees of freedom.
    Estimated(f64),
    /// Nothing tells it.
    Unknown,
}

/// The weights of a session's poses.
pub(super) struct Weights<'a> {
    scatter: Scatter<'a>,
    turn: Pooled,
    shift: Pooled,
    pub(super) known: Known,
}

/// A variance of single frames, from the spreads of many poses, and how far a pose's own is trusted beside it.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
struct Pooled {
    variance: f64,
    /// How much the true variances of the poses differ, as the square of their coefficient of variation.
    differ: f64,
    freedom: f64,
}

impl Pooled {
    /// From the variance of each pose and its degrees of freedom.
    ///
    /// The linear Bayes estimate: of poses that all scatter alike, what their spreads differ by is chance, 2/ν of the squared mean, and the
    /// mean is the better weight; what they differ beyond that is theirs.
    fn of(spreads: impl Iterator<Item = (f64, f64)> + Clone) -> Self {
        let (sum, freedom) = spreads.clone().fold((0.0, 0.0), |(sum, all), (v, nu)| (sum + nu * v, all + nu));
        if !(freedom > 0.0 && sum > 0.0) {
            return Self { freedom, ..Self::default() };
        }
        let variance = sum / freedom;
        let (squares, chance) = spreads.fold((0.0, 0.0), |(squares, chance), (v, nu)| {
            let off = v / variance - 1.0;
            (squares + nu * off * off, chance + 2.0)
        });
        Self { variance, differ: ((squares - chance) / (freedom + chance)).max(0.0), freedom }
    }

    fn shrunk(&self, own: f64, freedom: f64) -> f64 {
        let by_chance = 2.0 * (1.0 + self.differ) / freedom;
        let trust = self.differ / (self.differ + by_chance);
        self.variance + trust * (own - self.variance)
    }
}

#[expect(clippy::cast_precision_loss, reason = "the number of frames is far below 2^52")]
fn freedom(spread: &StationSpread) -> f64 {
    3.0 * (spread.frames as f64 - 1.0)
}

impl<'a> Weights<'a> {
    pub(super) fn of(session: &'a Session, spreads: &'a [StationSpread]) -> Self {
        let turn = Pooled::of(spreads.iter().map(|s| (s.rotation_deg * s.rotation_deg, freedom(s))));
        let shift = Pooled::of(spreads.iter().map(|s| (s.translation_mm * s.translation_mm, freedom(s))));
        let scatter = Scatter::of(session, spreads);
        let known = match session.pose_noise {
            Some(_) => Known::Stated,
            None if scatter.all_stated() => Known::Stated,
            None if turn.variance > 0.0 && shift.variance > 0.0 => Known::Estimated(turn.freedom + shift.freedom),
            None => Known::Unknown,
        };
        Self { scatter, turn, shift, known }
    }

    /// W of WᵀW, the inverse of the covariance of a pose's turn, radians, and its shift, mm.
    pub(super) fn of_pose(&self, at: Place) -> Matrix6<f64> {
        let covariance = self.scatter.stated(at).unwrap_or_else(|| self.by_frames(at));
        let least = |i: usize| if i < 3 { rad_from_deg(LEAST.rotation_deg) } else { LEAST.translation_mm };
        let floored = |i: usize, j: usize| {
            let of = (covariance[i][j] + covariance[j][i]) * 0.5;
            if i == j { of.max(least(i) * least(i)) } else { of }
        };
        let covariance = Matrix6::from_fn(floored);
        let diagonal = (0..6).all(|i| (0..6).all(|j| i == j || covariance[(i, j)].abs() <= 0.0));
        if !diagonal {
            // Of a covariance that is singular something is added, less than rounding leaves of a pose.
            let raised = |share: f64| covariance + Matrix6::from_diagonal(&covariance.diagonal()) * share;
            let factor = covariance.cholesky().or_else(|| raised(1e-6).cholesky());
            if let Some(inverse) = factor.and_then(|factor| factor.l().try_inverse()) {
                return inverse;
            }
        }
        Matrix6::from_fn(|i, j| if i == j { 1.0 / sqrt(covariance[(i, i)]) } else { 0.0 })
    }

    fn by_frames(&self, at: Place) -> PoseScatter {
        let spread = self.scatter.spread(at);
        match (self.known, spread) {
            (Known::Unknown, _) => scatter::per_axis(ASSUMED, 1.0),
            (_, None) => {
                let rotation_deg = sqrt(self.turn.variance);
                scatter::per_axis(PoseNoise { rotation_deg, translation_mm: sqrt(self.shift.variance) }, 1.0)
            }
            (_, Some(spread)) => {
                let freedom = freedom(spread);
                let (turn, shift) = (spread.rotation_deg, spread.translation_mm);
                let rotation_deg = sqrt(self.turn.shrunk(turn * turn, freedom));
                let translation_mm = sqrt(self.shift.shrunk(shift * shift, freedom));
                #[expect(clippy::cast_precision_loss, reason = "the number of frames is far below 2^52")]
                scatter::per_axis(PoseNoise { rotation_deg, translation_mm }, 1.0 / spread.frames as f64)
            }
        }
    }
}
