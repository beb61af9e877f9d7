//! Poses: where a target is and how it is turned, in the forms that camera libraries hand out.

use crate::error::{Failure, WaError, guard};
use crate::memory::{Place, choice, elements, give, in_place, numbers};
use alignment_core::Pose;
use alignment_core::pose::Axes;
use std::mem::{align_of, offset_of, size_of};
use std::slice;

/// The pose of a target in the rig: a point p of the target lies at R·p + t in the rig. Of the target of a wheel that a
/// camera of the session names, in the frame of that camera.
///
/// Plain numbers, checked when they are used: finite, coordinates within a kilometre, R orthonormal within 1e-6 in its worst
/// element of RᵀR and right-handed; within that it is taken to the nearest rotation.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaPose {
    /// R, row by row: its columns are the axes of the target, seen in the rig.
    pub rotation: [[f64; 3]; 3],
    /// t, the origin of the target in the rig, mm.
    pub translation_mm: [f64; 3],
}

// The poses of the caller are read where they are: the core's pose has the same members at the same places.
const _: () = assert!(size_of::<WaPose>() == size_of::<Pose>() && align_of::<WaPose>() == align_of::<Pose>());
const _: () = assert!(offset_of!(WaPose, rotation) == offset_of!(Pose, rotation));
const _: () = assert!(offset_of!(WaPose, translation_mm) == offset_of!(Pose, translation_mm));

impl From<Pose> for WaPose {
    #[inline]
    fn from(Pose { rotation, translation_mm }: Pose) -> Self {
        Self { rotation, translation_mm }
    }
}

impl From<WaPose> for Pose {
    fn from(WaPose { rotation, translation_mm }: WaPose) -> Self {
        Self { rotation, translation_mm }
    }
}

/// The poses of the caller as those of the core.
pub(crate) fn as_poses(poses: &[WaPose]) -> &[Pose] {
    // SAFETY: size, alignment and places of the members are the same, as asserted above, and any bits make either.
    unsafe { slice::from_raw_parts(poses.as_ptr().cast(), poses.len()) }
}

/// Left-handed, X forward, Y right, Z up: wa_pose_from_left_handed_y_right.
pub const WA_AXES_LEFT_HANDED_Y_RIGHT: i32 = 0;
/// Left-handed, X right, Y up, Z forward: wa_pose_from_left_handed_y_up.
pub const WA_AXES_LEFT_HANDED_Y_UP: i32 = 1;
/// Right-handed, X right, Y up, Z backward: wa_pose_from_right_handed_y_up.
pub const WA_AXES_RIGHT_HANDED_Y_UP: i32 = 2;
/// Right-handed, X forward, Y right, Z down: wa_pose_from_z_down.
pub const WA_AXES_Z_DOWN: i32 = 3;

fn axes_of(axes: i32) -> Result<Axes, Failure> {
    choice("axes", axes, [Axes::LeftHandedYRight, Axes::LeftHandedYUp, Axes::RightHandedYUp, Axes::ZDown])
}

fn rows([a, b, c, d, e, f, g, h, i]: [f64; 9]) -> [[f64; 3]; 3] {
    [[a, b, c], [d, e, f], [g, h, i]]
}

/// How much the frames of one station scatter about their mean: one standard deviation of a single frame per axis.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaSpread {
    /// How many frames there were.
    pub frames: usize,
    /// Of the rotation, about each axis, degrees. NaN for one frame.
    pub rotation_deg: f64,
    /// Of the translation, along each axis, mm. NaN for one frame.
    pub translation_mm: f64,
}

/// A pose from a unit quaternion.
///
/// quaternion_wxyz: w first; within 1e-6 of length 1, to which it is scaled.
/// translation_mm: the origin of the target in the rig, mm.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_NOT_UNIT_LENGTH.
///
/// cbindgen:ptrs-as-arrays=[[quaternion_wxyz; 4], [translation_mm; 3]]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_pose_from_quaternion_wxyz(
    quaternion_wxyz: *const f64,
    translation_mm: *const f64,
    pose: *mut WaPose,
    error: *mut WaError,
) -> i32 {
    // SAFETY: the caller's promises are handed on.
    let job = || unsafe {
        Ok(Pose::from_quaternion_wxyz(
            numbers("quaternion_wxyz", quaternion_wxyz)?,
            numbers("translation_mm", translation_mm)?,
        )?
        .into())
    };
    // SAFETY: as before.
    unsafe { give(error, ("pose", pose), job) }
}

/// A pose from a rotation vector: its direction is the axis, its length the angle in radians, at most ten
/// turns.
///
/// translation_mm: the origin of the target in the rig, mm.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_ANGLE_OUT_OF_RANGE.
///
/// cbindgen:ptrs-as-arrays=[[rotation_vector_rad; 3], [translation_mm; 3]]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_pose_from_rotation_vector_rad(
    rotation_vector_rad: *const f64,
    translation_mm: *const f64,
    pose: *mut WaPose,
    error: *mut WaError,
) -> i32 {
    // SAFETY: the caller's promises are handed on.
    let job = || unsafe {
        Ok(Pose::from_rotation_vector_rad(
            numbers("rotation_vector_rad", rotation_vector_rad)?,
            numbers("translation_mm", translation_mm)?,
        )?
        .into())
    };
    // SAFETY: as before.
    unsafe { give(error, ("pose", pose), job) }
}

/// A pose from a homogeneous 4×4 matrix, row after row, as an array double matrix[4][4] lies in memory: the
/// translation, mm, stands at 3, 7 and 11, and 0 0 0 1 in the last row. The rotation is checked when the pose
/// is used.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_NOT_A_ROTATION when the last row is not 0 0 0 1, by which a matrix
/// in the other order betrays itself.
///
/// cbindgen:ptrs-as-arrays=[[matrix; 16]]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_pose_from_matrix4_row_major(
    matrix: *const f64,
    pose: *mut WaPose,
    error: *mut WaError,
) -> i32 {
    // SAFETY: the caller's promises are handed on.
    let job = || unsafe { Ok(Pose::from_matrix4_row_major(numbers("matrix", matrix)?)?.into()) };
    // SAFETY: as before.
    unsafe { give(error, ("pose", pose), job) }
}

/// A pose from a homogeneous 4×4 matrix, column after column, as graphics libraries store it: the
/// translation, mm, stands at 12, 13 and 14, and 0 0 0 1 in the last row. The rotation is checked when the
/// pose is used.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_NOT_A_ROTATION when the last row is not 0 0 0 1, by which a matrix
/// in the other order betrays itself.
///
/// cbindgen:ptrs-as-arrays=[[matrix; 16]]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_pose_from_matrix4_column_major(
    matrix: *const f64,
    pose: *mut WaPose,
    error: *mut WaError,
) -> i32 {
    // SAFETY: the caller's promises are handed on.
    let job = || unsafe { Ok(Pose::from_matrix4_column_major(numbers("matrix", matrix)?)?.into()) };
    // SAFETY: as before.
    unsafe { give(error, ("pose", pose), job) }
}

/// A pose from a left-handed source with X forward, Y right, Z up: (x, y, z) → (x, -y, z), mm. Rig and target
/// axes are mapped by the same matrix M: R' = M·R·Mᵀ, t' = M·t. Convert up alike, with wa_axes_direction.
/// Numbers are checked when the pose is used.
///
/// rotation: R of the source, 3×3, row by row.
/// translation_mm: t of the source, mm.
///
/// Returns WA_SUCCESS.
///
/// cbindgen:ptrs-as-arrays=[[rotation; 9], [translation_mm; 3]]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_pose_from_left_handed_y_right(
    rotation: *const f64,
    translation_mm: *const f64,
    pose: *mut WaPose,
    error: *mut WaError,
) -> i32 {
    // SAFETY: the caller's promises are handed on.
    let job = || unsafe {
        Ok(Pose::from_left_handed_y_right(
            rows(numbers("rotation", rotation)?),
            numbers("translation_mm", translation_mm)?,
        )
        .into())
    };
    // SAFETY: as before.
    unsafe { give(error, ("pose", pose), job) }
}

/// A pose from a left-handed source with X right, Y up, Z forward, the custom of game engines: (x, y, z) →
/// (z, -x, y), mm. Rig and target axes are mapped by the same matrix M: R' = M·R·Mᵀ, t' = M·t. Convert up
/// alike, with wa_axes_direction. Numbers are checked when the pose is used.
///
/// rotation: R of the source, 3×3, row by row.
/// translation_mm: t of the source, mm.
///
/// Returns WA_SUCCESS.
///
/// cbindgen:ptrs-as-arrays=[[rotation; 9], [translation_mm; 3]]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_pose_from_left_handed_y_up(
    rotation: *const f64,
    translation_mm: *const f64,
    pose: *mut WaPose,
    error: *mut WaError,
) -> i32 {
    // SAFETY: the caller's promises are handed on.
    let job = || unsafe {
        Ok(Pose::from_left_handed_y_up(
            rows(numbers("rotation", rotation)?),
            numbers("translation_mm", translation_mm)?,
        )
        .into())
    };
    // SAFETY: as before.
    unsafe { give(error, ("pose", pose), job) }
}

/// A pose from a right-handed source with X right, Y up, Z backward: (x, y, z) → (-z, -x, y), mm. Rig and
/// target axes are mapped by the same matrix M: R' = M·R·Mᵀ, t' = M·t. Convert up alike, with
/// wa_axes_direction. Numbers are checked when the pose is used.
///
/// rotation: R of the source, 3×3, row by row.
/// translation_mm: t of the source, mm.
///
/// Returns WA_SUCCESS.
///
/// cbindgen:ptrs-as-arrays=[[rotation; 9], [translation_mm; 3]]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_pose_from_right_handed_y_up(
    rotation: *const f64,
    translation_mm: *const f64,
    pose: *mut WaPose,
    error: *mut WaError,
) -> i32 {
    // SAFETY: the caller's promises are handed on.
    let job = || unsafe {
        Ok(Pose::from_right_handed_y_up(
            rows(numbers("rotation", rotation)?),
            numbers("translation_mm", translation_mm)?,
        )
        .into())
    };
    // SAFETY: as before.
    unsafe { give(error, ("pose", pose), job) }
}

/// A pose from a right-handed source with X forward, Y right, Z down (SAE J670): (x, y, z) → (x, -y, -z), mm.
/// Rig and target axes are mapped by the same matrix M: R' = M·R·Mᵀ, t' = M·t. Convert up alike, with
/// wa_axes_direction. Numbers are checked when the pose is used.
///
/// rotation: R of the source, 3×3, row by row.
/// translation_mm: t of the source, mm.
///
/// Returns WA_SUCCESS.
///
/// cbindgen:ptrs-as-arrays=[[rotation; 9], [translation_mm; 3]]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_pose_from_z_down(
    rotation: *const f64,
    translation_mm: *const f64,
    pose: *mut WaPose,
    error: *mut WaError,
) -> i32 {
    // SAFETY: the caller's promises are handed on.
    let job = || unsafe {
        Ok(Pose::from_z_down(rows(numbers("rotation", rotation)?), numbers("translation_mm", translation_mm)?).into())
    };
    // SAFETY: as before.
    unsafe { give(error, ("pose", pose), job) }
}

/// A direction of a source with other axes, such as up, in X forward, Y left, Z up; of the same length.
///
/// axes: WA_AXES_...
///
/// Returns WA_SUCCESS.
///
/// cbindgen:ptrs-as-arrays=[[direction; 3], [mapped; 3]]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_axes_direction(
    axes: i32,
    direction: *const f64,
    mapped: *mut f64,
    error: *mut WaError,
) -> i32 {
    // SAFETY: the caller's promises are handed on.
    let job = || unsafe { Ok(axes_of(axes)?.direction(numbers("direction", direction)?)) };
    // SAFETY: as before.
    unsafe { give(error, ("mapped", mapped.cast::<[f64; 3]>()), job) }
}

/// The mean of frames of one target that stands still: the rotation nearest to the mean matrix, and the mean of the
/// translations, mm.
///
/// frames: frames_count poses, at least one.
///
/// Returns WA_SUCCESS; WA_WHEEL_NOT_SEEN for no frames; WA_NOT_FINITE; WA_NOT_A_ROTATION; WA_REFLECTION;
/// WA_LENGTH_OUT_OF_RANGE for a coordinate beyond a kilometre.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_pose_mean(
    frames: *const WaPose,
    frames_count: usize,
    mean: *mut WaPose,
    error: *mut WaError,
) -> i32 {
    // SAFETY: the caller's promises are handed on.
    let job = || Ok(Pose::mean(as_poses(unsafe { elements("frames", frames, frames_count)? }))?.into());
    // SAFETY: as before.
    unsafe { give(error, ("mean", mean), job) }
}

/// The mean of frames, as wa_pose_mean, and how much they scatter about it.
///
/// Returns what wa_pose_mean returns.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_pose_mean_and_spread(
    frames: *const WaPose,
    frames_count: usize,
    mean: *mut WaPose,
    spread: *mut WaSpread,
    error: *mut WaError,
) -> i32 {
    let job = || {
        // SAFETY: the caller's promises are handed on.
        let (frames, to_mean, to_spread) = unsafe {
            let frames = elements("frames", frames, frames_count)?;
            (frames, Place::new("mean", mean)?, Place::new("spread", spread)?)
        };
        let (mean, spread) = Pose::mean_and_spread(as_poses(frames))?;
        let of = |number: fn(&alignment_core::pose::Spread) -> f64| spread.as_ref().map_or(f64::NAN, number);
        let (rotation_deg, translation_mm) = (of(|spread| spread.rotation_deg), of(|spread| spread.translation_mm));
        to_mean.write(mean.into());
        to_spread.write(WaSpread { frames: frames.len(), rotation_deg, translation_mm });
        Ok(())
    };
    // SAFETY: the caller's promise about `error` is handed on.
    unsafe { guard(error, job) }
}

/// A pose as every computation takes it: checked, and its rotation taken to the nearest one.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_NOT_A_ROTATION; WA_REFLECTION; WA_LENGTH_OUT_OF_RANGE for a coordinate beyond a
/// kilometre.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_pose_rig_from_target(
    pose: *const WaPose,
    rig_from_target: *mut WaPose,
    error: *mut WaError,
) -> i32 {
    // SAFETY: the caller's promises are handed on.
    let job = || Ok(Pose::from(Pose::from(*unsafe { in_place("pose", pose)? }).rig_from_target()?).into());
    // SAFETY: as before.
    unsafe { give(error, ("rig_from_target", rig_from_target), job) }
}
