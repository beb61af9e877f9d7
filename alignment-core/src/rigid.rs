//! The least-squares fits on which both rolling and steering rest: the direction that a rigid rotation leaves alone, the point that it
//! leaves alone, and the motion that took a body from one place to another.

use crate::frame::{Frame, Rig, Transform, Vector};
use crate::pose;
use crate::slip::Row;
use crate::units;
use alloc::vec::Vec;
use nalgebra::{Matrix2, Matrix3, Rotation3, SMatrix, Vector2};

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
        let (from, to) = (pose_before.origin() - before, pose_now.origin() - now);
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

/// What a set of rotations about one axis leaves alone.
pub(crate) struct FixedDirection<From: Frame> {
    /// The unit vector that varies least, in the moving frame. Its sign is the eigen-solver's whim: settle it by geometry.
    pub(crate) in_moving: Vector<From>,
    /// Its mean direction in the rig.
    pub(crate) in_rig: Vector<Rig>,
    /// Two unit vectors square to it in the moving frame; right-handed with it.
    pub(crate) square: [Vector<From>; 2],
    mean: Matrix3<f64>,
    /// The scatter square to it: along the first, between both, along the second.
    scatter: [f64; 3],
    count: f64,
}

/// A symmetric matrix of which one eigenvector is known.
struct Split<F: Frame> {
    direction: Vector<F>,
    square: [Vector<F>; 2],
    across: [f64; 3],
}

impl<F: Frame> Split<F> {
    fn of(matrix: &[Vector<F>; 3], direction: Vector<F>) -> Self {
        let first = direction.any_square();
        let square = [first, direction.cross(first)];
        let [image, other] = square.map(|axis| product(matrix, axis));
        Self { direction, square, across: [first.dot(image), square[1].dot(image), square[1].dot(other)] }
    }

    /// By the eigenvector of the least eigenvalue.
    ///
    /// Every column of the adjugate of S − σ·1 lies along the eigenvector whose eigenvalue σ nearly is. From σ = 0 on, the matrix of
    /// rotations about one axis is there after a step or two of Rayleigh's quotient; any other is left to nalgebra's iteration.
    fn by_least(matrix: &[Vector<F>; 3]) -> Self {
        const STEPS: usize = 3;
        let [a, b, c] = *matrix;
        let rounding = 1e-15 * (a.x() + b.y() + c.z());
        let mut eigenvalue = 0.0;
        for _ in 0..STEPS {
            let a = a - Vector::new([eigenvalue, 0.0, 0.0]);
            let b = b - Vector::new([0.0, eigenvalue, 0.0]);
            let c = c - Vector::new([0.0, 0.0, eigenvalue]);
            let columns = [b.cross(c), c.cross(a), a.cross(b)].map(|column| (column.dot(column), column));
            let longest =
                columns.into_iter().fold((0.0, Vector::zero()), |best, one| if one.0 > best.0 { one } else { best });
            let direction = longest.1 * (1.0 / units::sqrt(longest.0));
            let image = product(matrix, direction);
            eigenvalue = direction.dot(image);
            if (image - direction * eigenvalue).norm() <= rounding {
                let split = Self::of(matrix, direction);
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

    /// The lesser of the eigenvalues across the direction.
    fn least_across(&self) -> f64 {
        least_of(self.across)
    }
}

/// The lesser eigenvalue of a symmetric matrix of two rows: a b, b c.
fn least_of([a, b, c]: [f64; 3]) -> f64 {
    (a + c) * 0.5 - units::hypot((a - c) * 0.5, b)
}

/// A matrix of these columns times a vector.
fn product<F: Frame>([a, b, c]: &[Vector<F>; 3], v: Vector<F>) -> Vector<F> {
    *a * v.x() + *b * v.y() + *c * v.z()
}

/// What a quantity changes by when one pose turns by a small ω, radians, and shifts by a small τ, mm, in the rig: three rows of six.
pub(crate) type ByPose = SMatrix<f64, 3, 6>;

/// The matrix that takes ω to v × ω.
pub(crate) fn cross_matrix(v: Vector<Rig>) -> Matrix3<f64> {
    let [x, y, z] = v.to_array();
    Matrix3::new(0.0, -z, y, z, 0.0, -x, -y, x, 0.0)
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
        let scatter = stations.fold([0.0; 6], |[xx, xy, xz, yy, yz, zz], station| {
            let [x, y, z] = (station.rotation - mean).data.0.map(Vector::<Rig>::new);
            [xx + x.dot(x), xy + x.dot(y), xz + x.dot(z), yy + y.dot(y), yz + y.dot(z), zz + z.dot(z)]
        });
        let [xx, xy, xz, yy, yz, zz] = scatter;
        let scatter = [[xx, xy, xz], [xy, yy, yz], [xz, yz, zz]].map(Vector::<From>::new);
        let Split { direction: in_moving, square, across } = Split::by_least(&scatter);
        let in_rig = Vector::wrap(mean * nalgebra::Vector3::from(in_moving.to_array())).unit();
        Self { in_moving, in_rig, square, mean, scatter: across, count }
    }

    /// The same direction with the other sign.
    pub(crate) fn reversed(self) -> Self {
        let ([first, second], [a, b, c]) = (self.square, self.scatter);
        Self { in_moving: -self.in_moving, in_rig: -self.in_rig, square: [first, -second], scatter: [a, -b, c], ..self }
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
        // The normal matrix is the scatter itself: solve square to the axis, and stay put along it.
        let [u, v] = self.square;
        let [[uu, uv], [_, vv]] = self.inverse_across();
        let (along_u, along_v) = (u.dot(right), v.dot(right));
        let delta = u * (uu * along_u + uv * along_v) + v * (uv * along_u + vv * along_v);
        let in_rig = mean + Vector::wrap(self.mean * nalgebra::Vector3::from(delta.to_array()));
        (guess + delta, in_rig)
    }

    /// The inverse of the scatter along the two axes square to the direction.
    fn inverse_across(&self) -> [[f64; 2]; 2] {
        let [a, b, c] = self.scatter;
        let share = 1.0 / (a * c - b * b);
        [[c * share, -b * share], [-b * share, a * share]]
    }

    /// The inverse of the scatter, square to the direction.
    fn inverse_scatter(&self) -> Matrix3<f64> {
        let [u, v] = self.square.map(|axis| nalgebra::Vector3::from(axis.to_array()));
        let [[uu, uv], [_, vv]] = self.inverse_across();
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
        let most = seen.iter().fold(f64::MIN_POSITIVE, |most: f64, one| most.max(one.turned_from(mean).abs()));
        let row = |one: Seen| {
            let x = one.turned_from(mean) / most;
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
}
