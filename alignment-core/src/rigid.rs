//! The two least-squares fits on which both rolling and steering rest: the direction that a rigid rotation leaves
//! alone, and the point that it leaves alone.

use crate::frame::{Frame, Rig, Transform, Vector};
use crate::units;
use nalgebra::{Matrix3, SymmetricEigen};

/// What a set of rotations about one axis leaves alone.
pub(crate) struct FixedDirection<From: Frame> {
    /// The unit vector that varies least, in the moving frame. Its sign is the eigen-solver's whim: settle it by geometry.
    pub(crate) in_moving: Vector<From>,
    /// Its mean direction in the rig.
    pub(crate) in_rig: Vector<Rig>,
    mean: Matrix3<f64>,
    scatter: SymmetricEigen<f64, nalgebra::U3>,
    smallest: usize,
}

impl<From: Frame> FixedDirection<From> {
    /// The unit vector a for which R·a varies least over the stations: the eigenvector of the smallest eigenvalue of
    /// Σ(R − R̄)ᵀ(R − R̄). Each transverse component carries the noise u·√2/(2·sin(θ/2)) for two stations θ apart.
    pub(crate) fn fit<'a>(stations: impl Iterator<Item = &'a Transform<Rig, From>> + Clone) -> Self
    where
        From: 'a,
    {
        let (mut sum, mut count) = (Matrix3::zeros(), 0.0);
        for station in stations.clone() {
            sum += station.rotation;
            count += 1.0;
        }
        let mean = sum / count;
        let scatter = stations.fold(Matrix3::zeros(), |scatter, station| {
            let d = station.rotation - mean;
            scatter + d.tr_mul(&d)
        });
        let scatter = scatter.symmetric_eigen();
        let smallest = scatter.eigenvalues.imin();
        let in_moving = Vector::wrap(scatter.eigenvectors.column(smallest).into());
        let in_rig = Vector::wrap(mean * scatter.eigenvectors.column(smallest)).unit();
        Self { in_moving, in_rig, mean, scatter, smallest }
    }

    /// The same direction with the other sign.
    pub(crate) fn reversed(self) -> Self {
        Self { in_moving: -self.in_moving, in_rig: -self.in_rig, ..self }
    }

    /// The point of the axis nearest to `guess`, both in the moving frame, and where the axis' point lies in the rig.
    /// R·q + p stays put for a point q of the axis: with q = guess + δ, δ square to the axis, (R − R̄)·δ = −(e − ē)
    /// where e = R·guess + p is where the guess went.
    pub(crate) fn fixed_point<'a>(
        &self,
        stations: impl Iterator<Item = &'a Transform<Rig, From>> + Clone,
        guess: Vector<From>,
    ) -> (Vector<From>, Vector<Rig>)
    where
        From: 'a,
    {
        let (mut sum, mut count) = (Vector::zero(), 0.0);
        for station in stations.clone() {
            sum = sum + station.point(guess);
            count += 1.0;
        }
        let mean = sum * (1.0 / count);
        let right = stations.fold(Vector::<From>::zero(), |right, station| {
            let gone = station.point(guess) - mean;
            right - Vector::wrap((station.rotation - self.mean).tr_mul(&nalgebra::Vector3::from(gone.to_array())))
        });
        // The normal matrix is the scatter itself: solve along its two large eigenvectors, and stay put along the axis.
        let mut delta = Vector::zero();
        for i in (0..3).filter(|&i| i != self.smallest) {
            let along = Vector::wrap(self.scatter.eigenvectors.column(i).into());
            delta = delta + along * (along.dot(right) / self.scatter.eigenvalues[i]);
        }
        let in_rig = mean + Vector::wrap(self.mean * nalgebra::Vector3::from(delta.to_array()));
        (guess + delta, in_rig)
    }

    /// The angle of two stations that would tell as much about the axis as these do, degrees: 0 when all stations are
    /// alike, whole turns included.
    pub(crate) fn equivalent_angle_deg(&self) -> f64 {
        // For two stations θ apart both large eigenvalues are 2·sin²(θ/2); the lesser one is taken.
        let middle = (0..3)
            .filter(|&i| i != self.smallest)
            .fold(f64::INFINITY, |least, i| least.min(self.scatter.eigenvalues[i]));
        let half_chord = units::sqrt((middle / 2.0).clamp(0.0, 1.0));
        2.0 * units::deg_from_rad(libm::asin(half_chord))
    }
}
