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

use crate::units;
use core::fmt::Debug;
use core::marker::PhantomData;
use core::ops::{Add, Mul, Neg, Sub};
use nalgebra::{Matrix3, Vector3};

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

impl Frame for Rig {}
impl Frame for Camera {}
impl Frame for Target {}
impl Frame for Vehicle {}
impl Frame for Knuckle {}

/// A direction, or a point in mm, in the frame `F`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Vector<F: Frame> {
    xyz: Vector3<f64>,
    frame: PhantomData<F>,
}

impl<F: Frame> Vector<F> {
    /// The vector with these coordinates, x, y, z.
    #[inline]
    #[must_use]
    pub const fn new(xyz: [f64; 3]) -> Self {
        Self::wrap(Vector3::new(xyz[0], xyz[1], xyz[2]))
    }

    /// The null vector.
    #[inline]
    #[must_use]
    pub const fn zero() -> Self {
        Self::new([0.0; 3])
    }

    /// The coordinates x, y, z.
    #[inline]
    #[must_use]
    pub fn to_array(self) -> [f64; 3] {
        self.xyz.into()
    }

    /// The x coordinate.
    #[inline]
    #[must_use]
    pub fn x(self) -> f64 {
        self.xyz.x
    }

    /// The y coordinate.
    #[inline]
    #[must_use]
    pub fn y(self) -> f64 {
        self.xyz.y
    }

    /// The z coordinate.
    #[inline]
    #[must_use]
    pub fn z(self) -> f64 {
        self.xyz.z
    }

    /// Scalar product.
    #[inline]
    #[must_use]
    pub fn dot(self, other: Self) -> f64 {
        self.xyz.dot(&other.xyz)
    }

    /// Vector product, right-handed.
    #[inline]
    #[must_use]
    pub fn cross(self, other: Self) -> Self {
        Self::wrap(self.xyz.cross(&other.xyz))
    }

    /// Length.
    #[inline]
    #[must_use]
    pub fn norm(self) -> f64 {
        units::sqrt(self.dot(self))
    }

    /// The same direction with length 1. The null vector stays null.
    #[inline]
    #[must_use]
    pub fn unit(self) -> Self {
        let norm = self.norm();
        if norm > 0.0 { self * (1.0 / norm) } else { self }
    }

    /// What remains of the vector square to the unit vector `direction`.
    #[inline]
    #[must_use]
    pub fn square_to(self, direction: Self) -> Self {
        self - direction * self.dot(direction)
    }

    /// A unit vector square to this unit vector: of the coordinate axes, the one that lies furthest from it, made square.
    #[inline]
    #[must_use]
    pub fn any_square(self) -> Self {
        let [x, y, z] = self.to_array().map(f64::abs);
        let axis = if x <= y && x <= z {
            [1.0, 0.0, 0.0]
        } else if y <= z {
            [0.0, 1.0, 0.0]
        } else {
            [0.0, 0.0, 1.0]
        };
        Self::new(axis).square_to(self).unit()
    }

    pub(crate) const fn wrap(xyz: Vector3<f64>) -> Self {
        Self { xyz, frame: PhantomData }
    }
}

impl<F: Frame> Add for Vector<F> {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self::wrap(self.xyz + other.xyz)
    }
}

impl<F: Frame> Sub for Vector<F> {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self::wrap(self.xyz - other.xyz)
    }
}

impl<F: Frame> Neg for Vector<F> {
    type Output = Self;
    fn neg(self) -> Self {
        Self::wrap(-self.xyz)
    }
}

impl<F: Frame> Mul<f64> for Vector<F> {
    type Output = Self;
    fn mul(self, factor: f64) -> Self {
        Self::wrap(self.xyz * factor)
    }
}

impl<F: Frame> core::iter::Sum for Vector<F> {
    fn sum<I: Iterator<Item = Self>>(iter: I) -> Self {
        iter.fold(Self::zero(), Add::add)
    }
}

/// A rigid transform that takes coordinates in `From` to coordinates in `To`: named `to_from_from`, as in `rig_from_target`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Transform<To: Frame, From: Frame> {
    pub(crate) rotation: Matrix3<f64>,
    translation: Vector<To>,
    from: PhantomData<From>,
}

impl<To: Frame, From: Frame> Transform<To, From> {
    /// The transform whose `From` axes are these unit vectors, square to each other and right-handed, seen in `To`, and
    /// whose `From` origin lies at `origin` in `To`.
    #[inline]
    #[must_use]
    pub fn from_axes(axes: [Vector<To>; 3], origin: Vector<To>) -> Self {
        Self::from_parts(Matrix3::from_columns(&axes.map(|axis| axis.xyz)), origin)
    }

    /// Takes a direction in `From` to the same direction in `To`.
    #[inline]
    #[must_use]
    pub fn direction(&self, v: Vector<From>) -> Vector<To> {
        Vector::wrap(self.rotation * v.xyz)
    }

    /// Takes a point in `From` to the same point in `To`.
    #[inline]
    #[must_use]
    pub fn point(&self, p: Vector<From>) -> Vector<To> {
        self.direction(p) + self.translation
    }

    /// Where the origin of `From` lies in `To`.
    #[inline]
    #[must_use]
    pub fn origin(&self) -> Vector<To> {
        self.translation
    }

    /// The transform the other way round.
    #[inline]
    #[must_use]
    pub fn inverse(&self) -> Transform<From, To> {
        let rotation = self.rotation.transpose();
        Transform::from_parts(rotation, Vector::wrap(-(rotation * self.translation.xyz)))
    }

    /// The transform by way of a third frame: `a_from_b.then_from(&b_from_c)` is `a_from_c`.
    #[inline]
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

    pub(crate) fn from_parts(rotation: Matrix3<f64>, translation: Vector<To>) -> Self {
        Self { rotation, translation, from: PhantomData }
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
    }
}
