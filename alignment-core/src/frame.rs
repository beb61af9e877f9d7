//! Vectors and rigid transforms that know their frame: a rig vector that meets a vehicle vector does not compile.
//!
//! Three frames carry the whole job. The **rig** frame is the cameras' own. Each **target** frame is printed on
//! a clamped board. The **vehicle** frame is ISO 8855's: X forward, Y left, Z up, right-handed; its origin is
//! the midpoint of the rear wheel centres. `Transform<Rig, Target>` is `rig_from_target`: it takes target
//! coordinates to rig coordinates.
//!
//! ```compile_fail
//! use alignment_core::frame::{Rig, Vector, Vehicle};
//! let up = Vector::<Rig>::new([0.0, 0.0, 1.0]);
//! let forward = Vector::<Vehicle>::new([1.0, 0.0, 0.0]);
//! let mixed = up + forward; // a rig vector and a vehicle vector have no sum
//! ```
//!
//! ```
//! use alignment_core::frame::{Rig, Vector};
//! let up = Vector::<Rig>::new([0.0, 0.0, 1.0]);
//! let left = Vector::<Rig>::new([0.0, 1.0, 0.0]);
//! assert_eq!(left.cross(up).to_array(), [1.0, 0.0, 0.0]);
//! ```

use crate::lanes::Real;
use core::fmt::Debug;
use core::marker::PhantomData;
use core::ops::{Add, Mul, Neg, Sub};
use nalgebra::{ArrayStorage, Matrix3, Vector3};

/// A coordinate frame, as a type.
pub trait Frame: Copy + Debug + PartialEq {}

/// The rig: the frame in which the cameras report.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Rig;

/// One camera of the rig, when it reports in its own frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Camera;

/// The target clamped to one wheel.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Target;

/// The vehicle, ISO 8855: X forward, Y left, Z up.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Vehicle;

/// The part that carries one steered wheel and turns about the steering axis.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Knuckle;

/// A stand on which a board for the calibration of driver-assistance sensors hangs: X forward, Y left, Z up as it stands true.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Stand;

/// The line on the ground from which a stand is placed: X along it, Y to its left, Z up, square to the ground.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Line;

impl Frame for Rig {}
impl Frame for Camera {}
impl Frame for Target {}
impl Frame for Vehicle {}
impl Frame for Knuckle {}
impl Frame for Stand {}
impl Frame for Line {}

/// A direction, or a point in mm, in the frame `F`. The coordinates are numbers; inside, they can also be lanes: one number from each of
/// several records.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Vector<F: Frame, T = f64> {
    xyz: Vector3<T>,
    frame: PhantomData<F>,
}

impl<F: Frame, T: Real> Vector<F, T> {
    /// The vector with these coordinates, x, y, z.
    #[inline(always)]
    #[must_use]
    pub const fn new(xyz: [T; 3]) -> Self {
        Self::wrap(Vector3::new(xyz[0], xyz[1], xyz[2]))
    }

    /// The coordinates x, y, z.
    #[inline(always)]
    #[must_use]
    pub fn to_array(self) -> [T; 3] {
        [self.x(), self.y(), self.z()]
    }

    /// The x coordinate.
    #[inline(always)]
    #[must_use]
    pub fn x(self) -> T {
        self.xyz.data.0[0][0]
    }

    /// The y coordinate.
    #[inline(always)]
    #[must_use]
    pub fn y(self) -> T {
        self.xyz.data.0[0][1]
    }

    /// The z coordinate.
    #[inline(always)]
    #[must_use]
    pub fn z(self) -> T {
        self.xyz.data.0[0][2]
    }

    /// Scalar product.
    #[inline(always)]
    #[must_use]
    pub fn dot(self, other: Self) -> T {
        self.x() * other.x() + self.y() * other.y() + self.z() * other.z()
    }

    /// Vector product, right-handed.
    #[inline(always)]
    #[must_use]
    pub fn cross(self, other: Self) -> Self {
        let ([a, b, c], [x, y, z]) = (self.to_array(), other.to_array());
        Self::new([b * z - c * y, c * x - a * z, a * y - b * x])
    }

    /// Length.
    #[inline(always)]
    #[must_use]
    pub fn norm(self) -> T {
        self.dot(self).sqrt()
    }

    /// The same direction with length 1. The null vector stays null.
    #[inline(always)]
    #[must_use]
    pub fn unit(self) -> Self {
        self * self.norm().scale_to_one()
    }

    /// What remains of the vector square to the unit vector `direction`.
    #[inline(always)]
    #[must_use]
    pub fn square_to(self, direction: Self) -> Self {
        self - direction * self.dot(direction)
    }

    /// A unit vector square to this unit vector: of the coordinate axes, the one that lies furthest from it, made square.
    #[inline(always)]
    #[must_use]
    pub fn any_square(self) -> Self {
        let (zero, one) = (self.x().like(0.0), self.x().like(1.0));
        let [x, y, z] = self.to_array().map(|v| v.if_less(zero, -v, v));
        let along_x = y.if_less(x, zero, z.if_less(x, zero, one));
        let along_y = z.if_less(y, zero, one) * (one - along_x);
        Self::new([along_x, along_y, one - along_x - along_y]).square_to(self).unit()
    }

    /// `then` where the number is less than the bound, `otherwise` where it is not.
    #[inline(always)]
    pub(crate) fn where_less(number: T, bound: T, then: Self, otherwise: Self) -> Self {
        let ([a, b, c], [x, y, z]) = (then.to_array(), otherwise.to_array());
        let either = |a, x| number.if_less(bound, a, x);
        Self::new([either(a, x), either(b, y), either(c, z)])
    }

    /// The null vector, made of such numbers.
    #[inline(always)]
    pub(crate) fn none_like(number: T) -> Self {
        Self::new([number.like(0.0); 3])
    }

    #[inline(always)]
    pub(crate) const fn wrap(xyz: Vector3<T>) -> Self {
        Self { xyz, frame: PhantomData }
    }
}

impl<F: Frame> Vector<F> {
    /// The null vector.
    #[inline]
    #[must_use]
    pub const fn zero() -> Self {
        Self::new([0.0; 3])
    }
}

impl<F: Frame, T: Real> Add for Vector<F, T> {
    type Output = Self;
    #[inline(always)]
    fn add(self, other: Self) -> Self {
        Self::new([self.x() + other.x(), self.y() + other.y(), self.z() + other.z()])
    }
}

impl<F: Frame, T: Real> Sub for Vector<F, T> {
    type Output = Self;
    #[inline(always)]
    fn sub(self, other: Self) -> Self {
        Self::new([self.x() - other.x(), self.y() - other.y(), self.z() - other.z()])
    }
}

impl<F: Frame, T: Real> Neg for Vector<F, T> {
    type Output = Self;
    #[inline(always)]
    fn neg(self) -> Self {
        Self::new([-self.x(), -self.y(), -self.z()])
    }
}

impl<F: Frame, T: Real> Mul<T> for Vector<F, T> {
    type Output = Self;
    #[inline(always)]
    fn mul(self, factor: T) -> Self {
        Self::new([self.x() * factor, self.y() * factor, self.z() * factor])
    }
}

impl<F: Frame> core::iter::Sum for Vector<F> {
    fn sum<I: Iterator<Item = Self>>(iter: I) -> Self {
        iter.fold(Self::zero(), Add::add)
    }
}

/// A rigid transform that takes coordinates in `From` to coordinates in `To`: named `to_from_from`, as in `rig_from_target`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Transform<To: Frame, From: Frame, T = f64> {
    pub(crate) rotation: Matrix3<T>,
    translation: Vector<To, T>,
    from: PhantomData<From>,
}

impl<To: Frame, From: Frame, T: Real> Transform<To, From, T> {
    /// The transform whose `From` axes are these unit vectors, square to each other and right-handed, seen in `To`, and
    /// whose `From` origin lies at `origin` in `To`.
    #[inline(always)]
    #[must_use]
    pub fn from_axes([x, y, z]: [Vector<To, T>; 3], origin: Vector<To, T>) -> Self {
        Self::from_parts(Matrix3::from_data(ArrayStorage([x.to_array(), y.to_array(), z.to_array()])), origin)
    }

    /// Takes a direction in `From` to the same direction in `To`.
    #[inline(always)]
    #[must_use]
    pub fn direction(&self, v: Vector<From, T>) -> Vector<To, T> {
        turned(&self.rotation, v)
    }

    /// Takes a point in `From` to the same point in `To`.
    #[inline(always)]
    #[must_use]
    pub fn point(&self, p: Vector<From, T>) -> Vector<To, T> {
        self.direction(p) + self.translation
    }

    /// Where the origin of `From` lies in `To`.
    #[inline(always)]
    #[must_use]
    pub fn origin(&self) -> Vector<To, T> {
        self.translation
    }

    /// The transform the other way round.
    #[inline(always)]
    #[must_use]
    pub fn inverse(&self) -> Transform<From, To, T> {
        let [[a, b, c], [d, e, f], [g, h, i]] = self.rotation.data.0;
        let rotation = Matrix3::from_data(ArrayStorage([[a, d, g], [b, e, h], [c, f, i]]));
        Transform::from_parts(rotation, -turned(&rotation, self.translation))
    }

    /// The transform with this rotation, row by row, and this origin of `From` in `To`.
    #[inline(always)]
    pub(crate) fn from_rows([a, b, c]: [[T; 3]; 3], origin: [T; 3]) -> Self {
        let column = |i: usize| Vector::new([a[i], b[i], c[i]]);
        Self::from_axes([column(0), column(1), column(2)], Vector::new(origin))
    }

    /// The axes of `From`, seen in `To`.
    #[inline(always)]
    pub(crate) fn axes(&self) -> [Vector<To, T>; 3] {
        let [x, y, z] = self.rotation.data.0;
        [Vector::new(x), Vector::new(y), Vector::new(z)]
    }

    #[inline(always)]
    pub(crate) fn from_parts(rotation: Matrix3<T>, translation: Vector<To, T>) -> Self {
        Self { rotation, translation, from: PhantomData }
    }
}

/// A direction in `From` as one in `To`, by a rotation whose columns are the axes of `From`.
#[inline(always)]
pub(crate) fn turned<To: Frame, From: Frame, T: Real>(rotation: &Matrix3<T>, v: Vector<From, T>) -> Vector<To, T> {
    let [x, y, z] = rotation.data.0;
    Vector::new(x) * v.x() + Vector::new(y) * v.y() + Vector::new(z) * v.z()
}

impl<To: Frame, From: Frame> Transform<To, From> {
    /// The transform by way of a third frame: `a_from_b.then_from(&b_from_c)` is `a_from_c`.
    #[inline(always)]
    #[must_use]
    pub fn then_from<Third: Frame>(&self, other: &Transform<From, Third>) -> Transform<To, Third> {
        Transform::from_parts(self.rotation * other.rotation, self.point(other.translation))
    }

    /// By how much `From` has turned in `To` since another pose of it: k·sin θ for a turn by θ about k.
    pub(crate) fn turned_since(&self, before: &Self) -> Vector<To> {
        let turn = self.rotation * before.rotation.transpose();
        // The skew part of the turn.
        let [x, y, z] = [turn[(2, 1)] - turn[(1, 2)], turn[(0, 2)] - turn[(2, 0)], turn[(1, 0)] - turn[(0, 1)]];
        Vector::new([x * 0.5, y * 0.5, z * 0.5])
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_quarter_turn_about_z_takes_forward_to_left() {
        let x = Vector::<Vehicle>::new([1.0, 0.0, 0.0]);
        let y = Vector::<Vehicle>::new([0.0, 1.0, 0.0]);
        let z = Vector::<Vehicle>::new([0.0, 0.0, 1.0]);
        let vehicle_from_rig = Transform::<Vehicle, Rig>::from_axes([y, -x, z], x * 5.0);
        let forward = Vector::<Rig>::new([1.0, 0.0, 0.0]);
        assert_eq!(vehicle_from_rig.direction(forward), y);
        assert_eq!(vehicle_from_rig.point(forward), y + x * 5.0);
        assert_eq!(vehicle_from_rig.inverse().point(y + x * 5.0), forward);
    }

    #[test]
    fn any_square_is_square_and_of_unit_length() {
        for v in [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0], [0.6, 0.0, -0.8]] {
            let v = Vector::<Rig>::new(v);
            assert!(v.any_square().dot(v).abs() < 1e-15);
            assert!((v.any_square().norm() - 1.0).abs() < 1e-15);
        }
        // Of the coordinate axes the furthest, made square.
        for (v, furthest) in [([0.1, 0.7, -0.7], 0), ([0.1, 0.5, 0.8], 0), ([-0.8, 0.2, 0.6], 1), ([0.6, 0.7, 0.3], 2)]
        {
            let v = Vector::<Rig>::new(v).unit();
            let mut axis = [0.0; 3];
            axis[furthest] = 1.0;
            let square = Vector::new(axis).square_to(v).unit();
            assert!((v.any_square() - square).norm() < 1e-15, "{v:?}");
        }
    }

    /// k·sin θ, however the pose stood before.
    #[test]
    fn what_a_pose_has_turned_by_is_the_axis_times_the_sine() {
        let rotation = |by: Vector3<f64>| nalgebra::Rotation3::new(by).into_inner();
        let before = rotation(Vector3::new(0.4, -1.1, 0.7));
        let axis = Vector3::new(0.36, -0.48, 0.8);
        for angle in [-2.0, 0.3, 1.2, 3.0] {
            let poses = [before, rotation(axis * angle) * before];
            let [before, now] = poses.map(|turn| Transform::<Rig, Target>::from_parts(turn, Vector::zero()));
            let expected = Vector::wrap(axis) * libm::sin(angle);
            assert!((now.turned_since(&before) - expected).norm() < 1e-15, "{angle}");
        }
    }
}
