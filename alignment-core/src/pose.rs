//! Poses: where a target is and how it is turned, in the forms that camera libraries hand out.

use crate::error::{Error, ErrorCode};
use crate::frame::{Frame, Rig, Target, Transform, Vector};
use crate::lanes::Real;
use crate::units::{self, deg_from_rad};
use core::array;
use nalgebra::{Matrix3, Quaternion, Rotation3, UnitQuaternion, Vector3};

/// How far RᵀR may differ from the identity, in its worst element, before a matrix is refused as a rotation.
///
/// Single-precision sources stay below it. A matrix within it is taken to the nearest rotation before use.
pub const ROTATION_TOLERANCE: f64 = 1e-6;

/// What rounding leaves of orthonormality: a matrix as good as this is used as it is.
const ROUNDING: f64 = 1e-14;

/// How far the length of a unit vector or quaternion may differ from 1 before it is refused.
pub const UNIT_LENGTH_TOLERANCE: f64 = 1e-6;

/// The greatest coordinate of a pose, mm. A rig looks at a car from some metres away; a kilometre is a wrong unit.
pub const MAX_COORDINATE_MM: f64 = 1e6;

/// The pose of a target in the rig frame, `rig_from_target`: a point p of the target lies at R·p + t in the rig.
///
/// Plain numbers, checked when they are used.
#[derive(Debug, Clone, Copy, PartialEq)]
#[repr(C)] // other languages hand it over where it lies
pub struct Pose {
    /// R, 3×3, row by row: its columns are the target's axes seen in the rig frame.
    pub rotation: [[f64; 3]; 3],
    /// t, the target's origin in the rig frame, mm.
    pub translation_mm: [f64; 3],
}

impl Pose {
    /// A pose from a unit quaternion, w first.
    ///
    /// # Errors
    /// [`ErrorCode::NotFinite`] and [`ErrorCode::NotUnitLength`] (further than 1e-6 from length 1; within it the
    /// quaternion is scaled to length 1).
    ///
    /// ```
    /// # use alignment_core::Pose;
    /// let quarter_turn_about_z = [0.5_f64.sqrt(), 0.0, 0.0, 0.5_f64.sqrt()];
    /// let pose = Pose::from_quaternion_wxyz(quarter_turn_about_z, [0.0; 3])?;
    /// assert!((pose.rotation[1][0] - 1.0).abs() < 1e-15); // x turns to y
    /// # Ok::<(), alignment_core::Error>(())
    /// ```
    pub fn from_quaternion_wxyz(quaternion_wxyz: [f64; 4], translation_mm: [f64; 3]) -> Result<Self, Error> {
        let [w, x, y, z] = quaternion_wxyz;
        let norm = units::sqrt(w * w + x * x + y * y + z * z);
        check_unit_length(norm).map_err(|error| error.input("quaternion_wxyz"))?;
        let unit = UnitQuaternion::new_unchecked(Quaternion::new(w, x, y, z) / norm);
        Ok(Self::from_matrix(unit.to_rotation_matrix().matrix(), translation_mm))
    }

    /// A pose from a rotation vector: its direction is the axis, its length the angle in radians.
    ///
    /// # Errors
    /// [`ErrorCode::NotFinite`], [`ErrorCode::AngleOutOfRange`] (longer than ten turns: not radians).
    ///
    /// ```
    /// # use alignment_core::Pose;
    /// let quarter_turn_about_z = [0.0, 0.0, core::f64::consts::FRAC_PI_2];
    /// let pose = Pose::from_rotation_vector_rad(quarter_turn_about_z, [0.0; 3])?;
    /// assert!((pose.rotation[1][0] - 1.0).abs() < 1e-15); // x turns to y
    /// # Ok::<(), alignment_core::Error>(())
    /// ```
    pub fn from_rotation_vector_rad(rotation_vector_rad: [f64; 3], translation_mm: [f64; 3]) -> Result<Self, Error> {
        const MAX_DEG: f64 = 3600.0;
        if !rotation_vector_rad.iter().all(|v| v.is_finite()) {
            return Err(Error::new(ErrorCode::NotFinite).input("rotation_vector_rad"));
        }
        // The largest component first: the length of an absurd vector could overflow.
        let largest = rotation_vector_rad.iter().fold(0.0, |max: f64, v| max.max(v.abs()));
        if units::deg_from_rad(largest) > MAX_DEG {
            return Err(Error::new(ErrorCode::AngleOutOfRange)
                .input("rotation_vector_rad")
                .value(units::deg_from_rad(largest))
                .at_most(MAX_DEG));
        }
        let rotation = Rotation3::new(Vector3::from(rotation_vector_rad));
        Ok(Self::from_matrix(rotation.matrix(), translation_mm))
    }

    /// A pose from a homogeneous 4×4 matrix, row by row: R and t in the first three rows, 0 0 0 1 in the last.
    ///
    /// # Errors
    /// [`ErrorCode::NotARotation`] when the last row is not 0 0 0 1, which a column-major matrix betrays itself by.
    /// The rotation itself is checked when the pose is used.
    ///
    /// ```
    /// # use alignment_core::Pose;
    /// let pose = Pose::from_matrix4([
    ///     [1.0, 0.0, 0.0, 10.0],
    ///     [0.0, 1.0, 0.0, 20.0],
    ///     [0.0, 0.0, 1.0, 30.0],
    ///     [0.0, 0.0, 0.0, 1.0],
    /// ])?;
    /// assert_eq!(pose.translation_mm, [10.0, 20.0, 30.0]);
    /// # Ok::<(), alignment_core::Error>(())
    /// ```
    pub fn from_matrix4(matrix: [[f64; 4]; 4]) -> Result<Self, Error> {
        let [r0, r1, r2, last] = matrix;
        let deviation = last.iter().zip([0.0, 0.0, 0.0, 1.0]).fold(0.0, |max: f64, (a, b)| max.max((a - b).abs()));
        if !last.iter().all(|v| v.is_finite()) {
            return Err(Error::new(ErrorCode::NotFinite).input("matrix"));
        }
        if deviation > ROTATION_TOLERANCE {
            return Err(Error::new(ErrorCode::NotARotation)
                .input("matrix")
                .value(deviation)
                .at_most(ROTATION_TOLERANCE));
        }
        Ok(Self { rotation: [r0, r1, r2].map(|[a, b, c, _]| [a, b, c]), translation_mm: [r0[3], r1[3], r2[3]] })
    }

    /// A pose from a flat homogeneous 4×4 matrix, row after row: the translation, mm, stands at 3, 7 and 11.
    ///
    /// # Errors
    /// [`ErrorCode::NotFinite`] and [`ErrorCode::NotARotation`] as [`from_matrix4`](Self::from_matrix4). A matrix in the other order is
    /// refused for its translation; one without translation cannot be told from its inverse.
    ///
    /// ```
    /// # use alignment_core::Pose;
    /// let pose = Pose::from_matrix4_row_major([
    ///     1.0, 0.0, 0.0, 10.0, //
    ///     0.0, 1.0, 0.0, 20.0, //
    ///     0.0, 0.0, 1.0, 30.0, //
    ///     0.0, 0.0, 0.0, 1.0,
    /// ])?;
    /// assert_eq!(pose.translation_mm, [10.0, 20.0, 30.0]);
    /// # Ok::<(), alignment_core::Error>(())
    /// ```
    pub fn from_matrix4_row_major(matrix: [f64; 16]) -> Result<Self, Error> {
        Self::from_matrix4(array::from_fn(|row| array::from_fn(|column| matrix[4 * row + column])))
    }

    /// A pose from a flat homogeneous 4×4 matrix, column after column, as graphics libraries store it: the translation, mm, stands at
    /// 12, 13 and 14.
    ///
    /// # Errors
    /// [`ErrorCode::NotFinite`] and [`ErrorCode::NotARotation`] as [`from_matrix4`](Self::from_matrix4). A matrix in the other order is
    /// refused for its translation; one without translation cannot be told from its inverse.
    ///
    /// ```
    /// # use alignment_core::Pose;
    /// let pose = Pose::from_matrix4_column_major([
    ///     1.0, 0.0, 0.0, 0.0, //
    ///     0.0, 1.0, 0.0, 0.0, //
    ///     0.0, 0.0, 1.0, 0.0, //
    ///     10.0, 20.0, 30.0, 1.0,
    /// ])?;
    /// assert_eq!(pose.translation_mm, [10.0, 20.0, 30.0]);
    /// # Ok::<(), alignment_core::Error>(())
    /// ```
    pub fn from_matrix4_column_major(matrix: [f64; 16]) -> Result<Self, Error> {
        Self::from_matrix4(array::from_fn(|row| array::from_fn(|column| matrix[4 * column + row])))
    }

    /// A pose from a left-handed source with X forward, Y right, Z up: (x, y, z) → (x, −y, z), mm.
    ///
    /// Rig and target axes are mapped by the same M: R′ = M·R·Mᵀ, t′ = M·t, and the pose comes out right-handed. Convert `up` alike, with
    /// [`Axes::direction`]. Numbers are checked when the pose is used.
    ///
    /// ```
    /// # use alignment_core::Pose;
    /// // A quarter turn from X forward to Y right is to the right: from forward to −Y here.
    /// let rotation = [[0.0, -1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]];
    /// let pose = Pose::from_left_handed_y_right(rotation, [1.0, 2.0, 3.0]);
    /// assert_eq!(pose.rotation, [[0.0, 1.0, 0.0], [-1.0, 0.0, 0.0], [0.0, 0.0, 1.0]]);
    /// assert_eq!(pose.translation_mm, [1.0, -2.0, 3.0]);
    /// ```
    #[must_use]
    pub fn from_left_handed_y_right(rotation: [[f64; 3]; 3], translation_mm: [f64; 3]) -> Self {
        Axes::LeftHandedYRight.pose(rotation, translation_mm)
    }

    /// A pose from a left-handed source with X right, Y up, Z forward, the custom of game engines: (x, y, z) → (z, −x, y), mm.
    ///
    /// Rig and target axes are mapped by the same M: R′ = M·R·Mᵀ, t′ = M·t, and the pose comes out right-handed. Convert `up` alike, with
    /// [`Axes::direction`]. Numbers are checked when the pose is used.
    ///
    /// ```
    /// # use alignment_core::Pose;
    /// // A quarter turn from Z forward to X right is to the right: from forward to −Y here.
    /// let rotation = [[0.0, 0.0, 1.0], [0.0, 1.0, 0.0], [-1.0, 0.0, 0.0]];
    /// let pose = Pose::from_left_handed_y_up(rotation, [1.0, 2.0, 3.0]);
    /// assert_eq!(pose.rotation, [[0.0, 1.0, 0.0], [-1.0, 0.0, 0.0], [0.0, 0.0, 1.0]]);
    /// assert_eq!(pose.translation_mm, [3.0, -1.0, 2.0]);
    /// ```
    #[must_use]
    pub fn from_left_handed_y_up(rotation: [[f64; 3]; 3], translation_mm: [f64; 3]) -> Self {
        Axes::LeftHandedYUp.pose(rotation, translation_mm)
    }

    /// A pose from a right-handed source with X right, Y up, Z backward: (x, y, z) → (−z, −x, y), mm.
    ///
    /// Rig and target axes are mapped by the same M: R′ = M·R·Mᵀ, t′ = M·t. Convert `up` alike, with [`Axes::direction`]. Numbers are
    /// checked when the pose is used.
    ///
    /// ```
    /// # use alignment_core::Pose;
    /// // A quarter turn from X right to −Z forward is to the left: from forward to Y here.
    /// let rotation = [[0.0, 0.0, 1.0], [0.0, 1.0, 0.0], [-1.0, 0.0, 0.0]];
    /// let pose = Pose::from_right_handed_y_up(rotation, [1.0, 2.0, 3.0]);
    /// assert_eq!(pose.rotation, [[0.0, -1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]]);
    /// assert_eq!(pose.translation_mm, [-3.0, -1.0, 2.0]);
    /// ```
    #[must_use]
    pub fn from_right_handed_y_up(rotation: [[f64; 3]; 3], translation_mm: [f64; 3]) -> Self {
        Axes::RightHandedYUp.pose(rotation, translation_mm)
    }

    /// A pose from a right-handed source with X forward, Y right, Z down (SAE J670): (x, y, z) → (x, −y, −z), mm.
    ///
    /// Rig and target axes are mapped by the same M: R′ = M·R·Mᵀ, t′ = M·t. Convert `up` alike, with [`Axes::direction`]. Numbers are
    /// checked when the pose is used.
    ///
    /// ```
    /// # use alignment_core::Pose;
    /// // A quarter turn from X forward to Y right is to the right: from forward to −Y here.
    /// let rotation = [[0.0, -1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]];
    /// let pose = Pose::from_z_down(rotation, [1.0, 2.0, 3.0]);
    /// assert_eq!(pose.rotation, [[0.0, 1.0, 0.0], [-1.0, 0.0, 0.0], [0.0, 0.0, 1.0]]);
    /// assert_eq!(pose.translation_mm, [1.0, -2.0, -3.0]);
    /// ```
    #[must_use]
    pub fn from_z_down(rotation: [[f64; 3]; 3], translation_mm: [f64; 3]) -> Self {
        Axes::ZDown.pose(rotation, translation_mm)
    }

    /// The mean of several frames of one target that stands still: the chordal mean of the rotations (the rotation
    /// nearest to the average matrix) and the mean of the translations.
    ///
    /// # Errors
    /// As [`Pose`]'s checks, and [`ErrorCode::WheelNotSeen`] for no frames.
    ///
    /// ```
    /// # use alignment_core::Pose;
    /// let a = Pose::from_rotation_vector_rad([0.0, 0.0, 0.1], [1.0, 0.0, 0.0])?;
    /// let b = Pose::from_rotation_vector_rad([0.0, 0.0, 0.3], [3.0, 0.0, 0.0])?;
    /// let mean = Pose::mean(&[a, b])?;
    /// assert!((mean.rotation[1][0] - 0.2_f64.sin()).abs() < 1e-15);
    /// assert_eq!(mean.translation_mm, [2.0, 0.0, 0.0]);
    /// # Ok::<(), alignment_core::Error>(())
    /// ```
    pub fn mean(frames: &[Self]) -> Result<Self, Error> {
        mean_transform::<Rig, Target>(frames).map(|(mean, _)| mean.into())
    }

    /// The mean of several frames, as [`mean`](Self::mean), and how much they scatter about it; no scatter for one frame.
    ///
    /// # Errors
    /// As [`mean`](Self::mean).
    ///
    /// ```
    /// # use alignment_core::Pose;
    /// let at = |x| Pose::from_rotation_vector_rad([0.0; 3], [x, 0.0, 0.0]);
    /// let (mean, spread) = Pose::mean_and_spread(&[at(1.0)?, at(3.0)?])?;
    /// assert_eq!(mean.translation_mm, [2.0, 0.0, 0.0]);
    /// // Root of (1² + 1²)/(3·1): of three axes, one scatters.
    /// assert!((spread.unwrap().translation_mm - (2.0_f64 / 3.0).sqrt()).abs() < 1e-12);
    /// # Ok::<(), alignment_core::Error>(())
    /// ```
    pub fn mean_and_spread(frames: &[Self]) -> Result<(Self, Option<Spread>), Error> {
        mean_transform::<Rig, Target>(frames).map(|(mean, spread)| (mean.into(), spread))
    }

    /// The pose as a transform that knows its frames, after checking that it is one.
    ///
    /// # Errors
    /// [`ErrorCode::NotFinite`], [`ErrorCode::NotARotation`] (RᵀR further than 1e-6 from the identity),
    /// [`ErrorCode::Reflection`], [`ErrorCode::LengthOutOfRange`] (a coordinate beyond a kilometre).
    #[inline]
    pub fn rig_from_target(&self) -> Result<Transform<Rig, Target>, Error> {
        self.transform()
    }

    /// The same between any two frames.
    #[inline]
    pub(crate) fn transform<To: Frame, From: Frame>(&self) -> Result<Transform<To, From>, Error> {
        if self.is_exact() { Ok(self.as_it_is()) } else { self.nearest() }
    }

    /// Whether the pose is finite, near, right-handed, and orthonormal to rounding: nothing to refuse, nothing to mend.
    #[inline]
    pub(crate) fn is_exact(&self) -> bool {
        is_exact(&Transform::<Rig, Target>::from_rows(self.rotation, self.translation_mm))
    }

    /// The transform of a pose that [is exact](Self::is_exact).
    #[inline]
    pub(crate) fn as_it_is<To: Frame, From: Frame>(&self) -> Transform<To, From> {
        Transform::from_rows(self.rotation, self.translation_mm)
    }

    /// The pose with its rotation taken to the nearest one, or what is wrong with it.
    #[cold]
    fn nearest<To: Frame, From: Frame>(&self) -> Result<Transform<To, From>, Error> {
        let Self { rotation, translation_mm } = self;
        if !rotation.iter().flatten().chain(translation_mm).all(|v| v.is_finite()) {
            return Err(Error::new(ErrorCode::NotFinite));
        }
        let far = translation_mm.iter().fold(0.0, |max: f64, v| max.max(v.abs()));
        if far > MAX_COORDINATE_MM {
            return Err(Error::new(ErrorCode::LengthOutOfRange)
                .input("translation_mm")
                .value(far)
                .at_most(MAX_COORDINATE_MM));
        }
        let (x, y, z) = self.axes();
        let matrix = Matrix3::from_columns(&[x, y, z]);
        let gram = matrix.tr_mul(&matrix);
        // Huge elements overflow here, to infinity or to NaN, which `max` passes over: hence the second test.
        let deviation = (gram - Matrix3::identity()).iter().fold(0.0, |max: f64, v| max.max(v.abs()));
        if deviation > ROTATION_TOLERANCE || !gram.iter().all(|v| v.is_finite()) {
            return Err(Error::new(ErrorCode::NotARotation).value(deviation).at_most(ROTATION_TOLERANCE));
        }
        let determinant = matrix.determinant();
        if determinant < 0.0 {
            return Err(Error::new(ErrorCode::Reflection).value(determinant));
        }
        // A Newton step of the polar decomposition takes an error e to 3e²/8: from 1e-6 to 4e-13, and from there to below rounding.
        let step = |matrix: Matrix3<f64>, gram: Matrix3<f64>| matrix * (Matrix3::identity() * 1.5 - gram * 0.5);
        let nearer = step(matrix, gram);
        let nearest = step(nearer, nearer.tr_mul(&nearer));
        Ok(Transform::from_parts(nearest, Vector::new(*translation_mm)))
    }

    /// The target's axes in the rig: the columns of the rotation.
    #[inline]
    fn axes(&self) -> (Vector3<f64>, Vector3<f64>, Vector3<f64>) {
        let [[a, b, c], [d, e, f], [g, h, i]] = self.rotation;
        (Vector3::new(a, d, g), Vector3::new(b, e, h), Vector3::new(c, f, i))
    }

    fn from_matrix(rotation: &Matrix3<f64>, translation_mm: [f64; 3]) -> Self {
        Self { rotation: rotation.transpose().into(), translation_mm }
    }
}

/// The axes of a source that are not X forward, Y left, Z up. Each has its constructor of [`Pose`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Axes {
    /// Left-handed, X forward, Y right, Z up: [`Pose::from_left_handed_y_right`].
    LeftHandedYRight,
    /// Left-handed, X right, Y up, Z forward: [`Pose::from_left_handed_y_up`].
    LeftHandedYUp,
    /// Right-handed, X right, Y up, Z backward: [`Pose::from_right_handed_y_up`].
    RightHandedYUp,
    /// Right-handed, X forward, Y right, Z down (SAE J670): [`Pose::from_z_down`].
    ZDown,
}

impl Axes {
    /// A direction of the source, such as `up`, in X forward, Y left, Z up: M·v, of the same length.
    ///
    /// ```
    /// # use alignment_core::pose::Axes;
    /// assert_eq!(Axes::LeftHandedYUp.direction([0.0, 1.0, 0.0]), [0.0, 0.0, 1.0]);
    /// assert_eq!(Axes::ZDown.direction([0.0, 0.0, -1.0]), [0.0, 0.0, 1.0]);
    /// ```
    #[must_use]
    pub fn direction(self, direction: [f64; 3]) -> [f64; 3] {
        self.map().map(|(axis, sign)| sign * direction[axis])
    }

    fn pose(self, rotation: [[f64; 3]; 3], translation_mm: [f64; 3]) -> Pose {
        let rotation = self.map().map(|(row, sign)| self.direction(rotation[row]).map(|v| sign * v));
        Pose { rotation, translation_mm: self.direction(translation_mm) }
    }

    /// M, row by row: which axis of the source is forward, left and up here, and its sign. A permutation rounds nothing.
    const fn map(self) -> [(usize, f64); 3] {
        match self {
            Self::LeftHandedYRight => [(0, 1.0), (1, -1.0), (2, 1.0)],
            Self::LeftHandedYUp => [(2, 1.0), (0, -1.0), (1, 1.0)],
            Self::RightHandedYUp => [(2, -1.0), (0, -1.0), (1, 1.0)],
            Self::ZDown => [(0, 1.0), (1, -1.0), (2, -1.0)],
        }
    }
}

/// A transform into the rig as plain numbers.
impl<From: Frame> core::convert::From<Transform<Rig, From>> for Pose {
    fn from(transform: Transform<Rig, From>) -> Self {
        Self::from_matrix(&transform.rotation, transform.origin().to_array())
    }
}

/// How much the frames of one station scatter about their mean: one standard deviation of a single frame per axis.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Spread {
    /// How many frames there were.
    pub frames: usize,
    /// Of the rotation, about each axis, degrees.
    pub rotation_deg: f64,
    /// Of the translation, along each axis, mm.
    pub translation_mm: f64,
}

/// The mean of checked frames, and their scatter; one frame is itself.
pub(crate) fn mean_transform<To: Frame, From: Frame>(
    frames: &[Pose],
) -> Result<(Transform<To, From>, Option<Spread>), Error> {
    let (mut rotation, mut translation) = match frames {
        [] => return Err(Error::new(ErrorCode::WheelNotSeen)),
        [only] => return Ok((only.transform()?, None)),
        _ => (Matrix3::zeros(), Vector::zero()),
    };
    for frame in frames {
        let frame = frame.transform::<To, From>()?;
        rotation += frame.rotation;
        translation = translation + frame.origin();
    }
    #[expect(clippy::cast_precision_loss, reason = "the number of frames is far below 2^52")]
    let count = frames.len() as f64;
    let rotation = nearest_rotation(&(rotation / count)).ok_or(Error::new(ErrorCode::NotARotation))?;
    let mean = Transform::from_parts(rotation, translation * (1.0 / count));

    let (mut turned, mut shifted) = (0.0, 0.0);
    for frame in frames {
        let (angle, distance) = apart(&frame.transform()?, &mean);
        turned += angle * angle;
        shifted += distance * distance;
    }
    let per_axis = |squares: f64| units::sqrt(squares / (3.0 * (count - 1.0)));
    let spread = Spread {
        frames: frames.len(),
        rotation_deg: deg_from_rad(per_axis(turned)),
        translation_mm: per_axis(shifted),
    };
    Ok((mean, Some(spread)))
}

/// Angle, radians, and distance, mm, between two poses.
pub(crate) fn apart<To: Frame, From: Frame>(a: &Transform<To, From>, b: &Transform<To, From>) -> (f64, f64) {
    // The chord between two rotations θ apart is 2√2·sin(θ/2) in the Frobenius norm.
    let half_chord = ((a.rotation - b.rotation).norm() / (2.0 * units::sqrt(2.0))).min(1.0);
    (2.0 * libm::asin(half_chord), (a.origin() - b.origin()).norm())
}

/// The rotation nearest to a matrix in the Frobenius norm: U·diag(1, 1, ±1)·Vᵀ of its singular value decomposition.
/// None when two singular values vanish, as for frames turned half a turn from each other.
pub(crate) fn nearest_rotation(matrix: &Matrix3<f64>) -> Option<Matrix3<f64>> {
    let svd = matrix.svd(true, true);
    if svd.singular_values[1] < 1e-3 {
        return None;
    }
    let (mut u, v_t) = (svd.u?, svd.v_t?);
    if u.determinant() * v_t.determinant() < 0.0 {
        // The singular values come sorted, so the last column belongs to the smallest.
        u.column_mut(2).neg_mut();
    }
    Some(u * v_t)
}

/// Whether a transform is finite, near, right-handed, and orthonormal to rounding: of a number or of lanes.
#[inline(always)]
pub(crate) fn is_exact<T: Real>(rig_from_target: &Transform<Rig, Target, T>) -> T::Truth {
    let [x, y, z] = rig_from_target.axes();
    let across = x.cross(y) - z;
    let one = x.x().like(1.0);
    let (xx, yy, xy) = (x.dot(x) - one, y.dot(y) - one, x.dot(y));
    let deviation = xx * xx + yy * yy + xy * xy + across.dot(across);
    let t = rig_from_target.origin();
    deviation.within([0.0, ROUNDING * ROUNDING]) & t.dot(t).within([0.0, MAX_COORDINATE_MM * MAX_COORDINATE_MM])
}

/// Checks that a length is 1 within the tolerance.
pub(crate) fn check_unit_length(norm: f64) -> Result<(), Error> {
    if !norm.is_finite() {
        return Err(Error::new(ErrorCode::NotFinite));
    }
    if (norm - 1.0).abs() > UNIT_LENGTH_TOLERANCE {
        return Err(Error::new(ErrorCode::NotUnitLength)
            .value(norm)
            .at_least(1.0 - UNIT_LENGTH_TOLERANCE)
            .at_most(1.0 + UNIT_LENGTH_TOLERANCE));
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    type Constructor = fn([[f64; 3]; 3], [f64; 3]) -> Pose;

    const IDENTITY: [[f64; 3]; 3] = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];
    /// Each source: its constructor, and its own forward, left and up.
    const SOURCES: [(Axes, Constructor, [[f64; 3]; 3]); 4] = [
        (Axes::LeftHandedYRight, Pose::from_left_handed_y_right, [[1.0, 0.0, 0.0], [0.0, -1.0, 0.0], [0.0, 0.0, 1.0]]),
        (Axes::LeftHandedYUp, Pose::from_left_handed_y_up, [[0.0, 0.0, 1.0], [-1.0, 0.0, 0.0], [0.0, 1.0, 0.0]]),
        (Axes::RightHandedYUp, Pose::from_right_handed_y_up, [[0.0, 0.0, -1.0], [-1.0, 0.0, 0.0], [0.0, 1.0, 0.0]]),
        (Axes::ZDown, Pose::from_z_down, [[1.0, 0.0, 0.0], [0.0, -1.0, 0.0], [0.0, 0.0, -1.0]]),
    ];

    #[test]
    fn forward_left_and_up_of_every_source_come_out_as_x_y_z_and_an_identity_stays_one() {
        for (axes, pose, [forward, left, up]) in SOURCES {
            for (source, expected) in [forward, left, up].into_iter().zip(IDENTITY) {
                assert_eq!((axes, axes.direction(source)), (axes, expected));
                let pose = pose(IDENTITY, source);
                assert_eq!((pose.rotation, pose.translation_mm), (IDENTITY, expected), "{axes:?}");
            }
        }
    }

    /// The same physical turn to the left by 3-4-5, written down in every source: forward goes to (0.6, 0.8, 0), up stays.
    #[test]
    fn one_turn_to_the_left_reads_alike_from_every_source() {
        let here = [[0.6, -0.8, 0.0], [0.8, 0.6, 0.0], [0.0, 0.0, 1.0]];
        let written = [
            [[0.6, 0.8, 0.0], [-0.8, 0.6, 0.0], [0.0, 0.0, 1.0]],
            [[0.6, 0.0, -0.8], [0.0, 1.0, 0.0], [0.8, 0.0, 0.6]],
            [[0.6, 0.0, 0.8], [0.0, 1.0, 0.0], [-0.8, 0.0, 0.6]],
            [[0.6, 0.8, 0.0], [-0.8, 0.6, 0.0], [0.0, 0.0, 1.0]],
        ];
        for ((axes, pose, _), rotation) in SOURCES.into_iter().zip(written) {
            assert_eq!(pose(rotation, [0.0; 3]).rotation, here, "{axes:?}");
        }
    }

    #[test]
    fn a_source_that_mirrors_only_one_side_is_refused() {
        let mirrored = [[1.0, 0.0, 0.0], [0.0, -1.0, 0.0], [0.0, 0.0, 1.0]];
        for (axes, pose, _) in SOURCES {
            let error = pose(mirrored, [0.0; 3]).rig_from_target().unwrap_err();
            assert_eq!(error.code, ErrorCode::Reflection, "{axes:?}");
        }
    }

    #[test]
    fn a_flat_matrix_reads_alike_in_both_orders_and_the_wrong_one_is_refused() {
        let rows = [0.6, -0.8, 0.0, 10.0, 0.8, 0.6, 0.0, 20.0, 0.0, 0.0, 1.0, 30.0, 0.0, 0.0, 0.0, 1.0];
        let columns = [0.6, 0.8, 0.0, 0.0, -0.8, 0.6, 0.0, 0.0, 0.0, 0.0, 1.0, 0.0, 10.0, 20.0, 30.0, 1.0];
        let expected =
            Pose { rotation: [[0.6, -0.8, 0.0], [0.8, 0.6, 0.0], [0.0, 0.0, 1.0]], translation_mm: [10.0, 20.0, 30.0] };
        assert_eq!(Pose::from_matrix4_row_major(rows).unwrap(), expected);
        assert_eq!(Pose::from_matrix4_column_major(columns).unwrap(), expected);
        assert_eq!(Pose::from_matrix4_row_major(columns).unwrap_err().code, ErrorCode::NotARotation);
        assert_eq!(Pose::from_matrix4_column_major(rows).unwrap_err().code, ErrorCode::NotARotation);
    }

    #[test]
    fn poses_are_as_far_apart_as_one_was_turned_and_moved() {
        let turned = |angle_rad: f64, origin: [f64; 3]| {
            let (sin, cos) = libm::sincos(angle_rad);
            let axes = [[cos, sin, 0.0], [-sin, cos, 0.0], [0.0, 0.0, 1.0]].map(Vector::<Rig>::new);
            Transform::<Rig, Target>::from_axes(axes, Vector::new(origin))
        };
        for angle_rad in [1e-6, 0.01, 0.5, 2.0, 3.1] {
            let (angle, distance) = apart(&turned(0.3, [1.0, 2.0, 3.0]), &turned(0.3 + angle_rad, [4.0, 2.0, 7.0]));
            assert!((angle - angle_rad).abs() < 1e-13, "{angle} is not {angle_rad}");
            assert!((distance - 5.0).abs() < 1e-15);
        }
    }

    /// One frame is itself, and shows no scatter; of two that stand on either side of their mean the scatter is known.
    #[test]
    fn frames_scatter_as_they_stand_about_their_mean() {
        let turned = |angle_rad: f64, x: f64| Pose::from_rotation_vector_rad([0.0, 0.0, angle_rad], [x, 2.0, 3.0]);
        let mean = |frames: &[Pose]| mean_transform::<Rig, Target>(frames);
        assert_eq!(mean(&[]).unwrap_err().code, ErrorCode::WheelNotSeen);
        let only = turned(0.3, 1.0).unwrap();
        assert_eq!(mean(&[only]).unwrap(), (only.transform().unwrap(), None));
        let both = [turned(0.3 - 0.01, 0.5).unwrap(), turned(0.3 + 0.01, 1.5).unwrap()];
        let (middle, spread) = mean(&both).unwrap();
        let (angle, distance) = apart(&middle, &only.transform().unwrap());
        assert!(angle < 1e-12 && distance < 1e-12);
        // The squares add up to 2·0.01² and 2·0.5²; one of the two is free, about three axes.
        let spread = spread.unwrap();
        let per_axis = units::sqrt(2.0 / 3.0);
        assert_eq!(spread.frames, 2);
        assert!((spread.rotation_deg - deg_from_rad(0.01) * per_axis).abs() < 1e-12);
        assert!((spread.translation_mm - 0.5 * per_axis).abs() < 1e-12);
    }

    /// Each way of being no rotation counts from rounding on, and so does a pose too far off.
    #[test]
    fn a_pose_is_exact_to_rounding() {
        let exact = |[x, y, z]: [[f64; 3]; 3], origin: f64| {
            let axes = [x, y, z].map(Vector::new);
            is_exact(&Transform::<Rig, Target>::from_axes(axes, Vector::new([origin, 0.0, 0.0])))
        };
        let [x, y, z] = IDENTITY;
        // One that is too long by e is 2·e off in its square, and e where the third axis is compared.
        let stretched = ROUNDING / units::sqrt(5.0);
        for (share, expected) in [(0.8, true), (1.2, false)] {
            let (long, askew) = (1.0 + share * stretched, share * ROUNDING);
            assert_eq!(exact([x.map(|v| v * long), y, z], 0.0), expected);
            assert_eq!(exact([x, y.map(|v| v * long), z], 0.0), expected);
            assert_eq!(exact([[1.0, askew, 0.0], y, z], 0.0), expected);
            assert_eq!(exact([x, y, [askew, 0.0, 1.0]], 0.0), expected);
            assert_eq!(exact(IDENTITY, share * MAX_COORDINATE_MM), expected);
        }
    }

    /// A quaternion is of unit length to 1e-6 alone; what is made of it is a rotation to rounding.
    #[test]
    fn a_quaternion_that_is_a_little_long_makes_a_rotation() {
        let pose = |scale: f64| Pose::from_quaternion_wxyz([0.8, 0.0, 0.6, 0.0].map(|v| v * scale), [0.0; 3]).unwrap();
        for scale in [1.0 - 5e-7, 1.0 + 5e-7] {
            let [unit, scaled] = [1.0, scale].map(|scale| Matrix3::from(pose(scale).rotation));
            assert!((scaled - unit).norm() < 1e-15);
        }
    }

    /// Half a turn apart, two rotations have no mean. A matrix that mirrors its weakest axis has one all the same.
    #[test]
    fn the_nearest_rotation_mirrors_nothing() {
        assert_eq!(nearest_rotation(&Matrix3::from_diagonal(&Vector3::new(0.0, 0.0, 1.0))), None);
        for weakest in [0.1, -0.1] {
            let nearest = nearest_rotation(&Matrix3::from_diagonal(&Vector3::new(1.0, 2.0, weakest))).unwrap();
            assert!((nearest - Matrix3::identity()).norm() < 1e-15, "{nearest}");
        }
    }

    /// What is at its bound is taken.
    #[test]
    fn the_bounds_of_a_pose_belong_to_it() {
        let row = |w: f64| [[1.0, 0.0, 0.0, 0.0], [0.0, 1.0, 0.0, 0.0], [0.0, 0.0, 1.0, 0.0], [w, 0.0, 0.0, 1.0]];
        assert!(Pose::from_matrix4(row(ROTATION_TOLERANCE)).is_ok());
        assert!(Pose::from_matrix4(row(ROTATION_TOLERANCE.next_up())).is_err());
        // A little off, so that it is looked into.
        let at = |x: f64| Pose {
            rotation: IDENTITY.map(|row| row.map(|v| v * (1.0 + 1e-7))),
            translation_mm: [x, 0.0, 0.0],
        };
        assert!(at(-MAX_COORDINATE_MM).rig_from_target().is_ok());
        assert!(at(MAX_COORDINATE_MM.next_up()).rig_from_target().is_err());
    }
}
