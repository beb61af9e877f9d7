//! The least-squares fits on which both rolling and steering rest: the direction that a rigid rotation leaves alone, the point that it
//! leaves alone, and the motion that took a body from one place to another.

use crate::frame::{Frame, Rig, Transform, Vector, turned};
use crate::lanes::Real;
use crate::pose;
use crate::slip::Row;
use crate::units;
use alloc::vec::Vec;
use nalgebra::{ArrayStorage, Matrix2, Matrix3, Rotation3, SMatrix, Vector2};

/// Where something fixed to a body was before, and where it is now.
pub(crate) type BeforeAndNow<From> = (Transform<Rig, From>, Transform<Rig, From>);

/// The motion of a body in the rig, from poses fixed to it before and now: the rotation nearest to the sum over the poses of what their origins
/// and their axes show, the axes as points `lever_mm` away. With the lever the noise of translation over that of rotation, it is the
/// least-squares estimate. None for no poses, or poses that contradict each other.
pub(crate) fn body_motion<From: Frame>(pairs: &[BeforeAndNow<From>], lever_mm: f64) -> Option<Transform<Rig, Rig>> {
    if pairs.is_empty() {
        return None;
    }
    #[expect(clippy::cast_precision_loss, reason = "the number of poses is far below 2^52")]
    let share = 1.0 / pairs.len() as f64;
    let before = pairs.iter().map(|(before, _)| before.origin()).sum::<Vector<Rig>>() * share;
    let now = pairs.iter().map(|(_, now)| now.origin()).sum::<Vector<Rig>>() * share;
    let as_vector = |v: Vector<Rig>| nalgebra::Vector3::from(v.to_array());
    let mut sum = Matrix3::zeros();
    for (pose_before, pose_now) in pairs {
        // Deviations add up to nothing, so that those of one are enough.
        let (from, to) = (pose_before.origin(), pose_now.origin() - now);
        sum += as_vector(to) * as_vector(from).transpose() / (lever_mm * lever_mm);
        sum += pose_now.rotation * pose_before.rotation.transpose();
    }
    let rotation = pose::nearest_rotation(&(sum * share))?;
    let turned = Transform::<Rig, Rig>::from_parts(rotation, Vector::zero());
    Some(Transform::from_parts(rotation, now - turned.direction(before)))
}

/// The motion with the least turn that takes a direction and a point of it, before, to where they are now. None when the direction is reversed.
pub(crate) fn least_motion(
    before: (Vector<Rig>, Vector<Rig>),
    now: (Vector<Rig>, Vector<Rig>),
) -> Option<Transform<Rig, Rig>> {
    let axis = before.0.cross(now.0);
    // By the arc tangent: the arc cosine of a turn so small has no digits left, and of rounding beyond 1 no value.
    let angle = libm::atan2(axis.norm(), before.0.dot(now.0));
    if axis == Vector::zero() && angle > 0.0 {
        return None;
    }
    let rotation = Rotation3::new(nalgebra::Vector3::from((axis.unit() * angle).to_array())).into_inner();
    let turned = Transform::<Rig, Rig>::from_parts(rotation, Vector::zero());
    Some(Transform::from_parts(rotation, now.1 - turned.direction(before.1)))
}

/// How one station sees the rig's direction from the moving frame.
struct Seen {
    station: usize,
    /// The two components square to the direction.
    observed: Vector2<f64>,
    /// The moving frame's two axes square to the direction, along the rig's.
    axes: [[f64; 2]; 2],
}

impl Seen {
    /// A row of a fit with these coefficients of the unknowns.
    fn row<const P: usize>(&self, design: [[f64; P]; 2]) -> Row<2, P, 2> {
        let design = SMatrix::from_fn(|i, j| design[i][j]);
        Row { station: self.station, observed: self.observed, design, slip: Matrix2::identity() }
    }

    /// The turn about the direction, as a cosine and a sine.
    fn turn(&self) -> [f64; 2] {
        let [[a, b], [c, d]] = self.axes;
        [a + d, b - c]
    }

    /// The turn about the direction from another, radians.
    fn turned_from(&self, [cos, sin]: [f64; 2]) -> f64 {
        let [x, y] = self.turn();
        libm::atan2(y * cos - x * sin, x * cos + y * sin)
    }
}

/// The mean turn about the direction, as a cosine and a sine.
fn mean_turn(seen: &[Seen]) -> [f64; 2] {
    seen.iter().fold([0.0, 0.0], |sum, one| {
        let [cos, sin] = one.turn();
        [sum[0] + cos, sum[1] + sin]
    })
}

/// What a set of rotations about one axis leaves alone: of one set, or of one for each of several records.
pub(crate) struct FixedDirection<From: Frame, T = f64> {
    /// The unit vector that varies least, in the moving frame. Its sign is the eigen-solver's whim: settle it by geometry.
    pub(crate) in_moving: Vector<From, T>,
    /// Its mean direction in the rig.
    pub(crate) in_rig: Vector<Rig, T>,
    /// Two unit vectors square to it in the moving frame; right-handed with it.
    pub(crate) square: [Vector<From, T>; 2],
    mean: Matrix3<T>,
    /// The scatter square to it: along the first, between both, along the second.
    scatter: [T; 3],
    count: f64,
}

/// Rotations: their mean R̄, and how they scatter about it, Σ(R − R̄)ᵀ(R − R̄) by its columns.
#[derive(Clone, Copy)]
struct Scatter<From: Frame, T> {
    mean: Matrix3<T>,
    matrix: [Vector<From, T>; 3],
    count: f64,
}

impl<From: Frame, T: Real> Scatter<From, T> {
    /// Of rotations made of such numbers.
    #[inline(always)]
    fn of<'a>(stations: impl Iterator<Item = &'a Transform<Rig, From, T>> + Clone, number: T) -> Self
    where
        From: 'a,
    {
        let (mut sum, mut count) = ([Vector::<Rig, T>::none_like(number); 3], 0.0);
        for station in stations.clone() {
            let [x, y, z] = station.axes();
            sum = [sum[0] + x, sum[1] + y, sum[2] + z];
            count += 1.0;
        }
        let mean = sum.map(|axis| axis.to_array().map(|v| v / number.like(count)));
        let [a, b, c] = mean.map(Vector::<Rig, T>::new);
        let [mut xx, mut xy, mut xz, mut yy, mut yz, mut zz] = [number.like(0.0); 6];
        for station in stations {
            let [x, y, z] = station.axes();
            let (x, y, z) = (x - a, y - b, z - c);
            (xx, xy, xz) = (xx + x.dot(x), xy + x.dot(y), xz + x.dot(z));
            (yy, yz, zz) = (yy + y.dot(y), yz + y.dot(z), zz + z.dot(z));
        }
        let matrix = [[xx, xy, xz], [xy, yy, yz], [xz, yz, zz]].map(Vector::<From, T>::new);
        Self { mean: Matrix3::from_data(ArrayStorage(mean)), matrix, count }
    }
}

/// A symmetric matrix of which one eigenvector is known.
#[derive(Clone, Copy)]
struct Split<F: Frame, T = f64> {
    direction: Vector<F, T>,
    square: [Vector<F, T>; 2],
    across: [T; 3],
}

/// What one step of Rayleigh's quotient makes of an eigenvalue.
struct Rayleigh<F: Frame, T> {
    direction: Vector<F, T>,
    eigenvalue: T,
    /// How far the matrix takes the direction from itself.
    error: T,
}

impl<F: Frame, T: Real> Rayleigh<F, T> {
    /// Every column of the adjugate of S − σ·1 lies along the eigenvector whose eigenvalue σ nearly is: the longest is taken.
    #[inline(always)]
    fn step(matrix: &[Vector<F, T>; 3], eigenvalue: T) -> Self {
        let ([a, b, c], zero) = (*matrix, eigenvalue.like(0.0));
        let a = a - Vector::new([eigenvalue, zero, zero]);
        let b = b - Vector::new([zero, eigenvalue, zero]);
        let c = c - Vector::new([zero, zero, eigenvalue]);
        let (mut longest, mut square) = (Vector::none_like(zero), zero);
        for column in [b.cross(c), c.cross(a), a.cross(b)] {
            let longer = column.dot(column);
            longest = Vector::where_less(square, longer, column, longest);
            square = square.if_less(longer, longer, square);
        }
        let direction = longest * (zero.like(1.0) / square.sqrt());
        let image = product(matrix, direction);
        let eigenvalue = direction.dot(image);
        Self { direction, eigenvalue, error: (image - direction * eigenvalue).norm() }
    }
}

/// So many steps of Rayleigh's quotient.
const RAYLEIGH_STEPS: usize = 3;
/// What rounding leaves of an eigenvector, as a share of the trace.
const RAYLEIGH_ROUNDING: f64 = 1e-15;

impl<F: Frame, T: Real> Split<F, T> {
    #[inline(always)]
    fn of(matrix: &[Vector<F, T>; 3], direction: Vector<F, T>) -> Self {
        let first = direction.any_square();
        let square = [first, direction.cross(first)];
        let (image, other) = (product(matrix, square[0]), product(matrix, square[1]));
        Self { direction, square, across: [first.dot(image), square[1].dot(image), square[1].dot(other)] }
    }

    /// By the eigenvector of the least eigenvalue, where a few steps find it, and whether they do.
    #[cfg(feature = "simd")]
    #[inline(always)]
    fn by_steps(matrix: &[Vector<F, T>; 3]) -> (Self, T::Truth) {
        let rounding = rounding(matrix);
        let mut best = Rayleigh::step(matrix, rounding.like(0.0));
        for _ in 1..RAYLEIGH_STEPS {
            // What has settled stays.
            let next = Rayleigh::step(matrix, best.eigenvalue);
            best = Rayleigh {
                direction: Vector::where_less(rounding, best.error, next.direction, best.direction),
                eigenvalue: rounding.if_less(best.error, next.eigenvalue, best.eigenvalue),
                error: rounding.if_less(best.error, next.error, best.error),
            };
        }
        let split = Self::of(matrix, best.direction);
        let least = [0.0, f64::INFINITY];
        let found = (rounding - best.error).within(least) & (split.least_across() - best.eigenvalue).within(least);
        (split, found)
    }

    /// The lesser of the eigenvalues across the direction.
    #[inline(always)]
    fn least_across(&self) -> T {
        least_of(self.across)
    }
}

impl<F: Frame> Split<F> {
    /// By the eigenvector of the least eigenvalue.
    ///
    /// From σ = 0 on, Rayleigh's quotient of the matrix of rotations about one axis is there after a step or two; any other is left to
    /// nalgebra's iteration.
    fn by_least(matrix: &[Vector<F>; 3]) -> Self {
        let rounding = rounding(matrix);
        let mut eigenvalue = 0.0;
        for _ in 0..RAYLEIGH_STEPS {
            let step = Rayleigh::step(matrix, eigenvalue);
            eigenvalue = step.eigenvalue;
            if step.error <= rounding {
                let split = Self::of(matrix, step.direction);
                if eigenvalue <= split.least_across() {
                    return split;
                }
                break;
            }
        }
        let eigen =
            Matrix3::from_columns(&matrix.map(|column| nalgebra::Vector3::from(column.to_array()))).symmetric_eigen();
        Self::of(matrix, Vector::wrap(eigen.eigenvectors.column(eigen.eigenvalues.imin()).into()))
    }
}

#[inline(always)]
fn rounding<F: Frame, T: Real>([a, b, c]: &[Vector<F, T>; 3]) -> T {
    (a.x() + b.y() + c.z()) * a.x().like(RAYLEIGH_ROUNDING)
}

/// The lesser eigenvalue of a symmetric matrix of two rows: a b, b c.
#[inline(always)]
fn least_of<T: Real>([a, b, c]: [T; 3]) -> T {
    let half = a.like(0.5);
    (a + c) * half - ((a - c) * half).hypot(b)
}

/// A matrix of these columns times a vector.
#[inline(always)]
fn product<F: Frame, T: Real>([a, b, c]: &[Vector<F, T>; 3], v: Vector<F, T>) -> Vector<F, T> {
    *a * v.x() + *b * v.y() + *c * v.z()
}

/// What a quantity changes by when one pose turns by a small ω, radians, and shifts by a small τ, mm, in the rig: three rows of six.
pub(crate) type ByPose = SMatrix<f64, 3, 6>;

/// The matrix that takes ω to v × ω.
pub(crate) fn cross_matrix(v: Vector<Rig>) -> Matrix3<f64> {
    let [x, y, z] = v.to_array();
    Matrix3::new(0.0, -z, y, z, 0.0, -x, -y, x, 0.0)
}

impl<From: Frame, T: Real> FixedDirection<From, T> {
    /// The same direction with the sign that points along another.
    #[inline(always)]
    pub(crate) fn pointing_along(self, other: Vector<Rig, T>) -> Self {
        let (zero, one) = (other.x().like(0.0), other.x().like(1.0));
        let sense = self.in_rig.dot(other).if_less(zero, -one, one);
        let ([first, second], [a, b, c]) = (self.square, self.scatter);
        Self {
            in_moving: self.in_moving * sense,
            in_rig: self.in_rig * sense,
            square: [first, second * sense],
            scatter: [a, b * sense, c],
            ..self
        }
    }

    /// The point of the axis nearest to `guess`, both in the moving frame, and where the axis' point lies in the rig.
    /// R·q + p stays put for a point q of the axis: with q = guess + δ, δ square to the axis, (R − R̄)·δ = −(e − ē)
    /// where e = R·guess + p is where the guess went.
    #[inline(always)]
    pub(crate) fn fixed_point<'a>(
        &self,
        stations: impl Iterator<Item = &'a Transform<Rig, From, T>> + Clone,
        guess: Vector<From, T>,
    ) -> (Vector<From, T>, Vector<Rig, T>)
    where
        From: 'a,
    {
        let number = guess.x();
        let mut sum = Vector::none_like(number);
        for station in stations.clone() {
            sum = sum + station.point(guess);
        }
        let mean = sum * number.like(1.0 / self.count);
        let mut right = Vector::<From, T>::none_like(number);
        for station in stations {
            // What is gone adds up to nothing, so that R is as good as R − R̄.
            let (gone, [x, y, z]) = (station.point(guess) - mean, station.axes());
            right = right - Vector::new([x.dot(gone), y.dot(gone), z.dot(gone)]);
        }
        // The normal matrix is the scatter itself: solve square to the axis, and stay put along it.
        let [u, v] = self.square;
        let [uu, uv, vv] = self.inverse_across();
        let (along_u, along_v) = (u.dot(right), v.dot(right));
        let delta = u * (uu * along_u + uv * along_v) + v * (uv * along_u + vv * along_v);
        (guess + delta, mean + turned(&self.mean, delta))
    }

    /// How far a pose lies from a turn about the direction and a fixed point, in the moving frame and in the rig: tilt, radians, and shift, mm.
    #[inline(always)]
    pub(crate) fn left_over(
        &self,
        pose: &Transform<Rig, From, T>,
        (point, point_in_rig): (Vector<From, T>, Vector<Rig, T>),
    ) -> [T; 2] {
        let tilt = (pose.direction(self.in_moving) - self.in_rig).norm();
        [tilt, (pose.point(point) - point_in_rig).norm()]
    }

    /// The inverse of the scatter square to the direction: along the first axis, between both, along the second.
    #[inline(always)]
    fn inverse_across(&self) -> [T; 3] {
        let [a, b, c] = self.scatter;
        let share = a.like(1.0) / (a * c - b * b);
        [c * share, -b * share, a * share]
    }

    #[inline(always)]
    fn of(scatter: &Scatter<From, T>, split: &Split<From, T>) -> Self {
        let (Scatter { mean, count, .. }, Split { direction: in_moving, square, across }) = (*scatter, *split);
        Self { in_moving, in_rig: turned(&mean, in_moving).unit(), square, mean, scatter: across, count }
    }

    /// As [`fit`](FixedDirection::fit) of rotations made of such numbers, where a few steps find the direction; and whether they do, and the stations
    /// tell as much about the axis as two that are so far apart.
    #[cfg(feature = "simd")]
    #[inline(always)]
    pub(crate) fn fit_plain<'a>(
        stations: impl Iterator<Item = &'a Transform<Rig, From, T>> + Clone,
        number: T,
        least_angle_deg: f64,
    ) -> (Self, T::Truth)
    where
        From: 'a,
    {
        let scatter = Scatter::of(stations, number);
        let (split, found) = Split::by_steps(&scatter.matrix);
        let half_chord = libm::sin(units::rad_from_deg(0.5 * least_angle_deg));
        // Rounding leaves a little to be looked into by the angle itself.
        let least = 2.0 * half_chord * half_chord * (1.0 + 1e-9);
        let enough = split.least_across().within([least, f64::INFINITY]);
        (Self::of(&scatter, &split), found & enough)
    }
}

impl<From: Frame> FixedDirection<From> {
    /// The unit vector a for which R·a varies least over the stations: the eigenvector of the smallest eigenvalue of
    /// Σ(R − R̄)ᵀ(R − R̄). Each transverse component carries the noise u·√2/(2·sin(θ/2)) for two stations θ apart.
    pub(crate) fn fit<'a>(stations: impl Iterator<Item = &'a Transform<Rig, From>> + Clone) -> Self
    where
        From: 'a,
    {
        let scatter = Scatter::of(stations, 0.0);
        let split = Split::by_least(&scatter.matrix);
        Self::of(&scatter, &split)
    }

    /// The inverse of the scatter, square to the direction.
    fn inverse_scatter(&self) -> Matrix3<f64> {
        let [u, v] = self.square.map(|axis| nalgebra::Vector3::from(axis.to_array()));
        let [uu, uv, vv] = self.inverse_across();
        u * (u * uu + v * uv).transpose() + v * (u * uv + v * vv).transpose()
    }

    /// How the direction, in the moving frame and in the rig, follows one of its stations. To first order about a fit that leaves nothing over:
    /// turning by ω, the station sees m changed by ω × m, and the least squares of R·δa − δm + ω × m give
    /// δa = −S⁻¹·(R − R̄)ᵀ·(ω × m) and δm = (ω × m)/n + R̄·δa, with the scatter S.
    pub(crate) fn follows(&self, station: &Transform<Rig, From>) -> [ByPose; 2] {
        let turn = cross_matrix(self.in_rig);
        let in_moving = self.inverse_scatter() * (station.rotation - self.mean).transpose() * turn;
        let in_rig = self.mean * in_moving - turn / self.count;
        [in_moving, in_rig].map(|by_turn| {
            let mut by_pose = ByPose::zeros();
            by_pose.fixed_columns_mut::<3>(0).copy_from(&by_turn);
            by_pose
        })
    }

    /// How a fixed point, in the moving frame and in the rig, follows one of its stations, to first order: where the point is seen to go,
    /// e = ω × R·q + τ, gives δq = −S⁻¹·(R − R̄)ᵀ·e and δP = e/n + R̄·δq. Along the axis it stays at the distance from
    /// `guess` at which it is: square to the axis, which may turn.
    pub(crate) fn point_follows(
        &self,
        station: &Transform<Rig, From>,
        point: Vector<From>,
        guess: Vector<From>,
    ) -> [ByPose; 2]
    where
        From: Frame,
    {
        let mut seen = ByPose::identity();
        seen.fixed_columns_mut::<3>(0).copy_from(&-cross_matrix(station.direction(point)));
        seen.fixed_columns_mut::<3>(3).copy_from(&Matrix3::identity());
        let column = |v: Vector<From>| nalgebra::Vector3::from(v.to_array());
        let along = column(self.in_moving) * column(point - guess).transpose() * self.follows(station)[0];
        let in_moving = -(self.inverse_scatter() * (station.rotation - self.mean).transpose() * seen) - along;
        [in_moving, seen / self.count + self.mean * in_moving]
    }

    /// The stations as rows of a linear fit of the direction, small errors about this one: how the rig's direction is seen from the moving
    /// frame. The unknowns are its mean there and its tilt in the rig. A slip tilts it at its stations.
    pub(crate) fn rows<'a>(
        &self,
        stations: impl Iterator<Item = (usize, &'a Transform<Rig, From>)>,
    ) -> Vec<Row<2, 4, 2>>
    where
        From: 'a,
    {
        let row = |one: Seen| {
            let [[a, b], [c, d]] = one.axes;
            one.row([[1.0, 0.0, a, b], [0.0, 1.0, c, d]])
        };
        self.seen(stations).map(row).collect()
    }

    /// The same for a direction that may drift as the frame turns: how far that leads astray goes with the square and the cube of the angle.
    pub(crate) fn drifting_rows<'a>(
        &self,
        stations: impl Iterator<Item = (usize, &'a Transform<Rig, From>)>,
    ) -> Vec<Row<2, 8, 2>>
    where
        From: 'a,
    {
        let seen: Vec<Seen> = self.seen(stations).collect();
        let mean = mean_turn(&seen);
        let row = |one: Seen| {
            let x = one.turned_from(mean);
            let (square, cube) = (x * x, x * x * x);
            let [[a, b], [c, d]] = one.axes;
            one.row([[1.0, 0.0, a, b, square, 0.0, cube, 0.0], [0.0, 1.0, c, d, 0.0, square, 0.0, cube]])
        };
        seen.into_iter().map(row).collect()
    }

    /// The same for a direction that may drift in the rig in step with the turning: a car that yaws as it rolls.
    pub(crate) fn yawing_rows<'a>(
        &self,
        stations: impl Iterator<Item = (usize, &'a Transform<Rig, From>)>,
    ) -> Vec<Row<2, 6, 2>>
    where
        From: 'a,
    {
        let seen: Vec<Seen> = self.seen(stations).collect();
        let mean = mean_turn(&seen);
        let row = |one: Seen| {
            let x = one.turned_from(mean);
            let [[a, b], [c, d]] = one.axes;
            one.row([[1.0, 0.0, a, b, a * x, b * x], [0.0, 1.0, c, d, c * x, d * x]])
        };
        seen.into_iter().map(row).collect()
    }

    /// How each station sees the rig's direction.
    fn seen<'a>(&self, stations: impl Iterator<Item = (usize, &'a Transform<Rig, From>)>) -> impl Iterator<Item = Seen>
    where
        From: 'a,
    {
        let moving = self.square;
        let first = self.in_rig.any_square();
        let in_rig = [first, self.in_rig.cross(first)];
        let direction = self.in_rig;
        stations.map(move |(station, pose)| {
            let [u, v] = moving.map(|axis| pose.direction(axis));
            Seen {
                station,
                observed: Vector2::new(u.dot(direction), v.dot(direction)),
                axes: [u, v].map(|axis| in_rig.map(|other| axis.dot(other))),
            }
        })
    }

    /// The least arc about the direction that holds all stations, degrees.
    pub(crate) fn range_deg<'a>(&self, stations: impl Iterator<Item = &'a Transform<Rig, From>>) -> f64
    where
        From: 'a,
    {
        let [first, _] = self.square;
        let start = self.in_rig.any_square();
        let quarter = self.in_rig.cross(start);
        let mut angles: Vec<f64> = stations
            .map(|pose| {
                let seen = pose.direction(first);
                units::deg_from_rad(libm::atan2(seen.dot(quarter), seen.dot(start)))
            })
            .collect();
        units::sort(&mut angles);
        let around = angles.first().zip(angles.last()).map_or(0.0, |(least, most)| least + 360.0 - most);
        360.0 - angles.windows(2).map(|pair| pair[1] - pair[0]).fold(around, f64::max)
    }

    /// The angle of two stations that would tell as much about the axis as these do, degrees: 0 when all stations are
    /// alike, whole turns included.
    pub(crate) fn equivalent_angle_deg(&self) -> f64 {
        // For two stations θ apart both large eigenvalues are 2·sin²(θ/2); the lesser one is taken.
        let middle = least_of(self.scatter);
        let half_chord = units::sqrt((middle / 2.0).clamp(0.0, 1.0));
        2.0 * units::deg_from_rad(libm::asin(half_chord))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use alloc::vec;

    /// A target seen in the rig.
    type Sight = Transform<Rig, crate::frame::Target>;

    /// Against nalgebra's iteration: scatters of rotations about one axis, and every kind that is none, down to nothing at all.
    #[test]
    fn the_direction_is_that_of_the_least_eigenvalue() {
        let mut matrices = vec![Matrix3::zeros(), Matrix3::identity(), Matrix3::from_diagonal_element(1e-300)];
        for i in 0..3000_i32 {
            let at = f64::from(i);
            let number = |k: i32| libm::sin(at * 1.7 + f64::from(k) * 2.3);
            let turn = Rotation3::new(nalgebra::Vector3::new(number(0), number(1), number(2)) * 2.0).into_inner();
            let (small, large) = (libm::exp10(-f64::from(i % 17)), libm::exp10(-f64::from(i % 7)));
            let eigenvalues = [[small, large, 1.0], [0.0, large, large], [0.0, 0.0, large], [large, large, 1.0]];
            let eigenvalues = nalgebra::Vector3::from(eigenvalues[i.unsigned_abs() as usize % 4]) * 20.0;
            matrices.push(turn * Matrix3::from_diagonal(&eigenvalues) * turn.transpose());
        }
        for matrix in matrices {
            let symmetric = (matrix + matrix.transpose()) * 0.5;
            let split = Split::<Rig>::by_least(&symmetric.data.0.map(Vector::new));
            let direction = nalgebra::Vector3::from(split.direction.to_array());
            let least = symmetric.symmetric_eigenvalues().min();
            let rounding = 1e-14 * symmetric.trace();
            assert!((direction.norm() - 1.0).abs() < 1e-14, "{matrix}: {direction}");
            assert!((symmetric * direction - direction * least).norm() <= rounding, "{matrix}: {direction} {least}");
            assert!(split.least_across() >= least - rounding, "{matrix}: {least}");
            // A few steps alone are enough for most, and say so where they are.
            #[cfg(feature = "simd")]
            if let (steps, true) = Split::<Rig>::by_steps(&symmetric.data.0.map(Vector::new)) {
                let direction = nalgebra::Vector3::from(steps.direction.to_array());
                assert!(
                    (symmetric * direction - direction * least).norm() <= rounding,
                    "{matrix}: {direction} {least}"
                );
            }
        }
    }

    /// Turns from a hair's breadth on, about lines of every kind.
    #[test]
    fn the_least_motion_takes_the_line_where_it_went() {
        for i in 1..2000_i32 {
            let step = f64::from(i);
            let before = Vector::new([libm::sin(step), libm::cos(1.7 * step), libm::sin(0.3 * step)]).unit();
            let aside = before.any_square() * (1e-11 * step);
            let now = (before + aside).unit();
            let motion = least_motion((before * 1500.0, before), (now * 1500.0, now)).unwrap();
            assert!((motion.direction(before) - now).norm() < 1e-15, "{i}: {motion:?}");
            assert!((motion.point(before) - now).norm() < 1e-15, "{i}: {motion:?}");
        }
        let (y, origin) = (Vector::new([0.0, 1.0, 0.0]), Vector::zero());
        assert!(least_motion((y, origin), (-y, origin)).is_none());
        let quarter = least_motion((y, origin), (Vector::new([1.0, 0.0, 0.0]), origin)).unwrap();
        assert!((quarter.direction(y) - Vector::new([1.0, 0.0, 0.0])).norm() < 1e-15);
    }

    /// A wheel that turns about a line of its own, its poses noisy: what is fitted is where the sum of squares is least.
    fn wobbly(noise: f64) -> alloc::vec::Vec<Sight> {
        (0..7_i32)
            .map(|i| {
                let number = |k: i32| noise * libm::sin(f64::from(i) * 1.7 + f64::from(k) * 2.3);
                let turn = nalgebra::Vector3::new(0.05, 0.98, -0.1).normalize() * (f64::from(i) * 0.15);
                let wobble = nalgebra::Vector3::new(number(0), number(1), number(2));
                let rotation = Rotation3::new(wobble).into_inner() * Rotation3::new(turn).into_inner();
                let centre = nalgebra::Vector3::new(300.0, 700.0, 310.0);
                let origin = centre - rotation * nalgebra::Vector3::new(20.0, -80.0, 15.0);
                let moved = Vector::new([number(3), number(4), number(5)]) * 100.0;
                Transform::from_parts(rotation, Vector::wrap(origin) + moved)
            })
            .collect()
    }

    #[test]
    fn the_direction_and_the_point_that_stay_are_least_squares() {
        let poses = wobbly(0.02);
        let count = 7.0;
        let spread = |seen: &dyn Fn(&Sight) -> Vector<Rig>| {
            let mean = poses.iter().map(seen).sum::<Vector<Rig>>() * (1.0 / count);
            poses.iter().map(|pose| (seen(pose) - mean).dot(seen(pose) - mean)).sum::<f64>()
        };
        let fitted = FixedDirection::fit(poses.iter());
        let (point, point_in_rig) = fitted.fixed_point(poses.iter(), Vector::zero());
        let (of_direction, of_point) =
            (spread(&|pose| pose.direction(fitted.in_moving)), spread(&|pose| pose.point(point)));
        let across = fitted.in_moving.any_square();
        for square in [across, fitted.in_moving.cross(across)] {
            for step in [-1e-3, 1e-3] {
                let direction = (fitted.in_moving + square * step).unit();
                assert!(spread(&|pose| pose.direction(direction)) > of_direction, "{step}");
                let moved = point + square * (100.0 * step);
                assert!(spread(&|pose| pose.point(moved)) > of_point, "{step}");
            }
        }
        // There the sum is level: as much on either side.
        for square in [across, fitted.in_moving.cross(across)] {
            let at = |step: f64| spread(&|pose| pose.point(point + square * step));
            let (more, less) = (at(10.0), at(-10.0));
            assert!((more - less).abs() < 1e-9 * (more + less - 2.0 * of_point), "{more} {less}");
        }
        let mean = poses.iter().map(|pose| pose.point(point)).sum::<Vector<Rig>>() * (1.0 / count);
        assert!((point_in_rig - mean).norm() < 1e-9);
    }

    /// Poses fixed to one body show its motion exactly, however far they stand from each other.
    #[test]
    fn a_body_moves_as_the_poses_on_it() {
        let turn = Rotation3::new(nalgebra::Vector3::new(0.02, -0.01, 0.05)).into_inner();
        let motion = Transform::<Rig, Rig>::from_parts(turn, Vector::new([30.0, -12.0, 7.0]));
        let poses = wobbly(0.3);
        let pairs: alloc::vec::Vec<_> = poses
            .iter()
            .map(|pose| (*pose, Transform::from_parts(turn * pose.rotation, motion.point(pose.origin()))))
            .collect();
        for lever_mm in [1.0, 500.0] {
            let found = body_motion(&pairs, lever_mm).unwrap();
            assert!((found.rotation - turn).norm() < 1e-12 && (found.origin() - motion.origin()).norm() < 1e-9);
        }
    }

    /// By moving each pose in turn, every way.
    #[test]
    fn the_direction_and_the_point_follow_their_poses() {
        let guess = Vector::new([5.0, -60.0, 10.0]);
        let across = Vector::new([0.0, 1.0, 0.0]);
        let poses = wobbly(0.0);
        let fit = |poses: &[Sight]| {
            let fitted = FixedDirection::fit(poses.iter()).pointing_along(across);
            let (point, in_rig) = fitted.fixed_point(poses.iter(), guess);
            let found = [fitted.in_moving.to_array(), fitted.in_rig.to_array(), point.to_array(), in_rig.to_array()];
            (fitted, point, found)
        };
        let (fitted, point, _) = fit(&poses);
        for (at, pose) in poses.iter().enumerate() {
            let [a, b] = fitted.follows(pose);
            let [c, d] = fitted.point_follows(pose, point, guess);
            for input in 0..6 {
                let moved = |step: f64| {
                    let mut by = [0.0; 6];
                    by[input] = step;
                    let turn = Rotation3::new(nalgebra::Vector3::new(by[0], by[1], by[2])).into_inner();
                    let origin = pose.origin() + Vector::new([by[3], by[4], by[5]]);
                    let mut poses = poses.clone();
                    poses[at] = Transform::from_parts(turn * pose.rotation, origin);
                    fit(&poses).2
                };
                let (more, less) = (moved(1e-5), moved(-1e-5));
                for (what, follows) in [a, b, c, d].iter().enumerate() {
                    for i in 0..3 {
                        let slope = (more[what][i] - less[what][i]) / 2e-5;
                        let found = follows[(i, input)];
                        assert!(
                            (found - slope).abs() < 1e-6 * (1.0 + slope.abs()),
                            "{at} {input} {what} {i}: {found} {slope}"
                        );
                    }
                }
            }
        }
    }

    /// The most that a station leaves over of the fit to all.
    fn most<const P: usize>(rows: &[Row<2, P, 2>]) -> f64 {
        rows.iter().map(|row| crate::slip::left_over(rows, [row]).unwrap()[0].norm()).fold(0.0, f64::max)
    }

    /// What each set of rows allows for is explained to second order, and what it does not is not.
    #[test]
    fn rows_explain_the_drift_that_they_allow_for() {
        const DRIFT: f64 = 1e-6;
        let axis = nalgebra::Vector3::new(0.05, 0.98, -0.1).normalize();
        let square = axis.cross(&nalgebra::Vector3::new(1.0, 0.2, 0.3)).normalize();
        let turn = |by: nalgebra::Vector3<f64>| Rotation3::new(by).into_inner();
        let left = |power: i32, in_moving: bool, of: &dyn Fn(&[Sight]) -> f64| {
            let poses: alloc::vec::Vec<_> = (-4..=4_i32)
                .map(|i| {
                    let angle = 0.2 * f64::from(i);
                    let rotation = turn(axis * (0.7 + angle));
                    let tilt = turn(square * (DRIFT * libm::pow(angle, f64::from(power))));
                    Transform::from_parts(if in_moving { rotation * tilt } else { tilt * rotation }, Vector::zero())
                })
                .collect();
            of(&poses) / DRIFT
        };
        let fixed = |poses: &[Sight]| FixedDirection::fit(poses.iter());
        let plain = |poses: &[_]| most(&fixed(poses).rows(poses.iter().enumerate()));
        let yawing = |poses: &[_]| most(&fixed(poses).yawing_rows(poses.iter().enumerate()));
        let drifting = |poses: &[_]| most(&fixed(poses).drifting_rows(poses.iter().enumerate()));
        // Tilted once for all: in the rig, or on the clamp.
        for in_moving in [false, true] {
            assert!(left(0, in_moving, &plain) < 1e-4);
        }
        assert!(left(1, false, &yawing) < 1e-4 && left(1, false, &plain) > 1e-2);
        for power in [2, 3] {
            assert!(left(power, true, &drifting) < 1e-4 && left(power, true, &plain) > 1e-3, "{power}");
        }
    }

    /// The adjugate of S − λ·1 is an eigenvector's own, whichever eigenvalue λ is: one step from there is all it takes.
    #[test]
    fn one_step_from_an_eigenvalue_finds_its_direction() {
        let turn = Rotation3::new(nalgebra::Vector3::new(0.9, -0.4, 1.3)).into_inner();
        let eigenvalues = [0.2, 1.1, 2.5];
        let matrix = turn * Matrix3::from_diagonal(&nalgebra::Vector3::from(eigenvalues)) * turn.transpose();
        let columns = matrix.data.0.map(Vector::<Rig>::new);
        for (i, eigenvalue) in eigenvalues.into_iter().enumerate() {
            let step = Rayleigh::step(&columns, eigenvalue + 1e-9);
            let expected = Vector::<Rig>::wrap(turn.column(i).into());
            assert!(step.direction.cross(expected).norm() < 1e-8, "{i}");
            assert!((step.eigenvalue - eigenvalue).abs() < 1e-14 && step.error < 1e-8, "{i}: {}", step.eigenvalue);
        }
        assert!((rounding(&columns) / (3.8 * RAYLEIGH_ROUNDING) - 1.0).abs() < 1e-12);
        // Of a b, b c: (a + c)/2 − √((a − c)²/4 + b²).
        assert!((least_of([5.0, 2.0, 2.0]) - 1.0).abs() < 1e-15 && (least_of([2.0, 2.0, 5.0]) - 1.0).abs() < 1e-15);
    }

    /// A few steps find the direction of any turning wheel, and tell when the stations turn too little for it.
    #[cfg(feature = "simd")]
    #[test]
    fn the_plain_fit_tells_from_the_least_angle_on() {
        let axis = nalgebra::Vector3::new(0.05, 0.98, -0.1).normalize();
        let least_deg = 30.0;
        for (turn_deg, expected) in [(least_deg * 0.9999, false), (least_deg * 1.0001, true), (90.0, true)] {
            let poses = [0.4, 0.4 + units::rad_from_deg(turn_deg)]
                .map(|angle| Sight::from_parts(Rotation3::new(axis * angle).into_inner(), Vector::zero()));
            let (fitted, told) = FixedDirection::fit_plain(poses.iter(), 0.0, least_deg);
            assert_eq!(told, expected, "{turn_deg}");
            assert!(fitted.in_moving.cross(Vector::wrap(axis)).norm() < 1e-14);
            assert!((fitted.equivalent_angle_deg() - turn_deg).abs() < 1e-9);
        }
    }

    /// Noise makes the scatter uneven: its inverse undoes it square to the direction, and leaves nothing along it.
    #[test]
    fn the_inverse_of_an_uneven_scatter_undoes_it() {
        let direction = Vector::<crate::frame::Target>::new([0.48, 0.6, 0.64]);
        let square = [direction.any_square(), direction.cross(direction.any_square())];
        let (in_rig, mean, scatter) = (Vector::new([0.0, 1.0, 0.0]), Matrix3::identity(), [3.0, -1.2, 0.9]);
        let fitted = FixedDirection { in_moving: direction, in_rig, square, mean, scatter, count: 4.0 };
        let [k, u, v] = [direction, square[0], square[1]].map(|axis| nalgebra::Vector3::from(axis.to_array()));
        let across = u * u.transpose() * 3.0 + (u * v.transpose() + v * u.transpose()) * -1.2 + v * v.transpose() * 0.9;
        let undone = fitted.inverse_scatter() * across;
        assert!((undone - (Matrix3::identity() - k * k.transpose())).norm() < 1e-14, "{undone}");
        assert!((fitted.inverse_scatter() * k).norm() < 1e-14);
        // The other way round the second axis is the opposite one, and it is the same matrix.
        let turned = fitted.pointing_along(Vector::new([0.0, -1.0, 0.0]));
        assert!((turned.inverse_scatter() * across - undone).norm() < 1e-14);
    }

    /// The arc that is left when the widest gap is taken out, wherever it starts.
    #[test]
    fn the_range_is_the_least_arc() {
        let axis = nalgebra::Vector3::new(0.05, 0.98, -0.1).normalize();
        for (angles_deg, range_deg) in [
            (&[0.0, 25.0][..], 25.0),
            (&[0.0, 40.0, 10.0], 40.0),
            (&[0.0, 100.0, 200.0], 200.0),
            (&[0.0, 120.0, 240.0], 240.0),
            (&[0.0, 30.0, 190.0, 340.0], 200.0),
        ] {
            for start_deg in [0.0, 75.0, 170.0, 290.0] {
                let poses: alloc::vec::Vec<Sight> = angles_deg
                    .iter()
                    .map(|angle_deg| Rotation3::new(axis * units::rad_from_deg(start_deg + angle_deg)).into_inner())
                    .map(|rotation| Transform::from_parts(rotation, Vector::zero()))
                    .collect();
                let found = FixedDirection::fit(poses.iter()).range_deg(poses.iter());
                assert!((found - range_deg).abs() < 1e-9, "{angles_deg:?} from {start_deg}: {found}");
            }
        }
    }

    /// Two poses whose origins say one turn about the vertical and whose axes say another: the mean of both, the origins by the square of their
    /// distance over the lever.
    #[test]
    fn what_contradicts_is_weighed_by_the_lever() {
        let turn = |angle: f64| Rotation3::new(nalgebra::Vector3::new(0.0, 0.0, angle)).into_inner();
        let (by_origins, by_axes, off_mm) = (0.02, -0.01, 700.0);
        let pairs = [1.0, -1.0].map(|side| {
            let at = nalgebra::Vector3::new(side * off_mm, 0.0, 0.0);
            let pose = |rotation, at| Transform::<Rig, crate::frame::Target>::from_parts(rotation, Vector::wrap(at));
            (pose(turn(0.3), at), pose(turn(0.3 + by_axes), turn(by_origins) * at))
        });
        for lever_mm in [50.0, 573.0, 5000.0] {
            let found = body_motion(&pairs, lever_mm).unwrap();
            // Each pose has two axes square to the vertical.
            let (origins, axes) = (2.0 * (off_mm / lever_mm) * (off_mm / lever_mm), 4.0);
            let expected = libm::atan2(
                origins * libm::sin(by_origins) + axes * libm::sin(by_axes),
                origins * libm::cos(by_origins) + axes * libm::cos(by_axes),
            );
            assert!((found.rotation - turn(expected)).norm() < 1e-9, "{lever_mm}: {}", found.rotation);
        }
    }
}
