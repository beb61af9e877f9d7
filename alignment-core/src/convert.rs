//! Conversions from and to nalgebra's types. Into nalgebra's typed rotation a pose goes checked; into a plain matrix it goes as it is.

use crate::error::Error;
use crate::frame::{Frame, Vector};
use crate::pose::Pose;
use nalgebra::{Isometry3, Matrix3, Matrix4, Rotation3, Translation3, UnitQuaternion, Vector3};

/// A pose as an isometry, mm, after the checks of [`Pose::rig_from_target`] and with their errors.
///
/// ```
/// use alignment_core::{Pose, nalgebra::Isometry3};
/// let pose = Pose::from_rotation_vector_rad([0.0, 0.0, 0.3], [1.0, 2.0, 3.0])?;
/// let isometry = Isometry3::try_from(pose)?;
/// assert!((isometry.rotation.angle() - 0.3).abs() < 1e-15);
/// assert_eq!(isometry.translation.z, 3.0);
/// # Ok::<(), alignment_core::Error>(())
/// ```
impl TryFrom<Pose> for Isometry3<f64> {
    type Error = Error;

    fn try_from(pose: Pose) -> Result<Self, Error> {
        let checked = pose.rig_from_target()?;
        let rotation = UnitQuaternion::from_rotation_matrix(&Rotation3::from_matrix_unchecked(checked.rotation));
        Ok(Self::from_parts(Translation3::from(checked.origin().to_array()), rotation))
    }
}

/// An isometry, mm, as a pose.
///
/// ```
/// use alignment_core::{Pose, nalgebra::{Isometry3, Vector3}};
/// let pose = Pose::from(Isometry3::new(Vector3::new(1.0, 2.0, 3.0), Vector3::z() * 0.3));
/// assert!((pose.rotation[1][0] - 0.3_f64.sin()).abs() < 1e-15);
/// assert_eq!(pose.translation_mm, [1.0, 2.0, 3.0]);
/// ```
impl From<Isometry3<f64>> for Pose {
    fn from(isometry: Isometry3<f64>) -> Self {
        let rotation = isometry.rotation.to_rotation_matrix();
        Self { rotation: rotation.matrix().transpose().into(), translation_mm: isometry.translation.vector.into() }
    }
}

/// A pose as a homogeneous matrix, mm, unchecked.
///
/// ```
/// use alignment_core::{Pose, nalgebra::Matrix4};
/// let pose = Pose::from_rotation_vector_rad([0.0; 3], [1.0, 2.0, 3.0])?;
/// assert_eq!(Matrix4::from(pose)[(1, 3)], 2.0);
/// # Ok::<(), alignment_core::Error>(())
/// ```
impl From<Pose> for Matrix4<f64> {
    fn from(pose: Pose) -> Self {
        let rotation = Matrix3::from(pose.rotation).transpose();
        let mut matrix = rotation.to_homogeneous();
        matrix.fixed_view_mut::<3, 1>(0, 3).copy_from(&Vector3::from(pose.translation_mm));
        matrix
    }
}

/// A homogeneous matrix, mm, as a pose, with the errors of [`Pose::from_matrix4`].
///
/// ```
/// use alignment_core::{Pose, nalgebra::{Matrix4, Vector3}};
/// let pose = Pose::try_from(Matrix4::new_translation(&Vector3::new(1.0, 2.0, 3.0)))?;
/// assert_eq!(pose.translation_mm, [1.0, 2.0, 3.0]);
/// # Ok::<(), alignment_core::Error>(())
/// ```
impl TryFrom<Matrix4<f64>> for Pose {
    type Error = Error;

    fn try_from(matrix: Matrix4<f64>) -> Result<Self, Error> {
        Self::from_matrix4(matrix.transpose().into())
    }
}

/// A direction or point with its frame taken off.
///
/// ```
/// use alignment_core::{frame::{Rig, Vector}, nalgebra::Vector3};
/// assert_eq!(Vector3::from(Vector::<Rig>::new([1.0, 2.0, 3.0])), Vector3::new(1.0, 2.0, 3.0));
/// ```
impl<F: Frame> From<Vector<F>> for Vector3<f64> {
    fn from(vector: Vector<F>) -> Self {
        vector.to_array().into()
    }
}

/// A direction or point that is said to lie in the frame `F`.
///
/// ```
/// use alignment_core::{frame::{Rig, Vector}, nalgebra::Vector3};
/// assert_eq!(Vector::<Rig>::from(Vector3::new(1.0, 2.0, 3.0)).to_array(), [1.0, 2.0, 3.0]);
/// ```
impl<F: Frame> From<Vector3<f64>> for Vector<F> {
    fn from(vector: Vector3<f64>) -> Self {
        Self::wrap(vector)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::error::ErrorCode;
    use crate::frame::Rig;
    use nalgebra::Point3;

    /// A turn that no axis shares, and its translation.
    fn pose() -> Pose {
        Pose::from_rotation_vector_rad([0.3, -0.7, 1.1], [10.0, -20.0, 30.0]).unwrap()
    }

    #[test]
    fn a_point_goes_to_the_same_place_by_pose_isometry_and_matrix() {
        let point = Vector::new([1.0, 2.0, 3.0]);
        let expected = Vector3::from(pose().rig_from_target().unwrap().point(point));
        let moved = Point3::from(Vector3::from(point));
        let by_isometry = Isometry3::try_from(pose()).unwrap() * moved;
        let by_matrix = Matrix4::from(pose()).transform_point(&moved);
        assert!((by_isometry.coords - expected).norm() < 1e-13, "{by_isometry}");
        assert!((by_matrix.coords - expected).norm() < 1e-13, "{by_matrix}");
    }

    #[test]
    fn there_and_back_is_the_same_pose() {
        let back = Pose::from(Isometry3::try_from(pose()).unwrap());
        let difference = Matrix3::from(back.rotation) - Matrix3::from(pose().rotation);
        assert!(difference.norm() < 1e-15, "{difference}");
        assert_eq!(Pose { rotation: pose().rotation, ..back }, pose());
        assert_eq!(Pose::try_from(Matrix4::from(pose())).unwrap(), pose());
        let vector = Vector::<Rig>::new([1.0, 2.0, 3.0]);
        assert_eq!(Vector::<Rig>::from(Vector3::from(vector)), vector);
    }

    #[test]
    fn what_is_no_pose_is_refused() {
        let sheared = Pose { rotation: [[1.0, 0.1, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]], ..pose() };
        assert_eq!(Isometry3::try_from(sheared).unwrap_err().code, ErrorCode::NotARotation);
        let projective = Matrix4::from(pose()).transpose();
        assert_eq!(Pose::try_from(projective).unwrap_err().code, ErrorCode::NotARotation);
    }
}
