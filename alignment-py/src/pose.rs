//! Poses in every form in which camera libraries hand them out, and what the core makes of them.
//!
//! Arrays cross as bytes: doubles, the least significant byte first. Poses come out as 4×4 matrices, row by row.

use crate::error;
use alignment_core::pose::{Axes, Spread};
use alignment_core::{Error, Pose};
use pyo3::exceptions::PyValueError;
use pyo3::prelude::*;
use pyo3::types::PyByteArray;

/// The doubles that the bytes hold.
pub(crate) fn doubles(bytes: &[u8]) -> Vec<f64> {
    bytes.as_chunks::<8>().0.iter().map(|chunk| f64::from_le_bytes(*chunk)).collect()
}

/// The doubles in groups of `N`.
pub(crate) fn groups<const N: usize>(bytes: &[u8]) -> Vec<[f64; N]> {
    doubles(bytes).as_chunks::<N>().0.to_vec()
}

fn threes(flat: &[f64]) -> [f64; 3] {
    std::array::from_fn(|i| flat[i])
}

/// Three rows of three.
fn rows(flat: [f64; 9]) -> [[f64; 3]; 3] {
    std::array::from_fn(|row| threes(&flat[3 * row..]))
}

/// The poses of matrices, whose last row is taken as checked.
pub(crate) fn poses(matrices: &[u8]) -> Vec<Pose> {
    let pose = |m: [f64; 16]| Pose {
        rotation: [threes(&m), threes(&m[4..]), threes(&m[8..])],
        translation_mm: [m[3], m[7], m[11]],
    };
    groups(matrices).into_iter().map(pose).collect()
}

/// A pose as a matrix, row by row.
pub(crate) fn matrix(pose: &Pose) -> [f64; 16] {
    let Pose { rotation: [a, b, c], translation_mm: [x, y, z] } = *pose;
    [a[0], a[1], a[2], x, b[0], b[1], b[2], y, c[0], c[1], c[2], z, 0.0, 0.0, 0.0, 1.0]
}

/// Poses as matrices in bytes.
pub(crate) fn bytes<'py>(py: Python<'py>, poses: impl IntoIterator<Item = Pose>) -> Bound<'py, PyByteArray> {
    let flat: Vec<u8> = poses.into_iter().flat_map(|pose| matrix(&pose)).flat_map(f64::to_le_bytes).collect();
    PyByteArray::new(py, &flat)
}

fn axes(name: &str) -> PyResult<Axes> {
    match name {
        "left_handed_y_right" => Ok(Axes::LeftHandedYRight),
        "left_handed_y_up" => Ok(Axes::LeftHandedYUp),
        "right_handed_y_up" => Ok(Axes::RightHandedYUp),
        "z_down" => Ok(Axes::ZDown),
        _ => Err(PyValueError::new_err(format!("no source has axes named {name:?}"))),
    }
}

/// Poses of a form, one after the other. A pose of NaN alone was not seen, and stays so.
#[pyfunction]
pub(crate) fn poses_from<'py>(
    py: Python<'py>,
    form: &str,
    rotations: &[u8],
    translations: &[u8],
) -> PyResult<Bound<'py, PyByteArray>> {
    match form {
        "matrix" => convert(py, &groups::<16>(rotations), &[], |m, _| Pose::from_matrix4_row_major(m)),
        "quaternion_wxyz" => {
            convert(py, &groups::<4>(rotations), &groups::<3>(translations), Pose::from_quaternion_wxyz)
        }
        "rotation_vector_rad" => {
            convert(py, &groups::<3>(rotations), &groups::<3>(translations), Pose::from_rotation_vector_rad)
        }
        "rotation" => convert(py, &groups::<9>(rotations), &groups::<3>(translations), |r, translation_mm| {
            Ok(Pose { rotation: rows(r), translation_mm })
        }),
        _ => {
            let from: fn([[f64; 3]; 3], [f64; 3]) -> Pose = match axes(form)? {
                Axes::LeftHandedYRight => Pose::from_left_handed_y_right,
                Axes::LeftHandedYUp => Pose::from_left_handed_y_up,
                Axes::RightHandedYUp => Pose::from_right_handed_y_up,
                Axes::ZDown => Pose::from_z_down,
            };
            convert(py, &groups::<9>(rotations), &groups::<3>(translations), |r, t| Ok(from(rows(r), t)))
        }
    }
}

fn convert<'py, const N: usize>(
    py: Python<'py>,
    rotations: &[[f64; N]],
    translations: &[[f64; 3]],
    pose: impl Fn([f64; N], [f64; 3]) -> Result<Pose, Error>,
) -> PyResult<Bound<'py, PyByteArray>> {
    const NOT_SEEN: Pose = Pose { rotation: [[f64::NAN; 3]; 3], translation_mm: [f64::NAN; 3] };
    let mut flat = Vec::with_capacity(128 * rotations.len());
    for (index, &rotation) in rotations.iter().enumerate() {
        let translation = translations.get(index).copied();
        let numbers = rotation.iter().chain(translation.iter().flatten());
        let converted = if numbers.copied().all(f64::is_nan) {
            [f64::NAN; 16]
        } else {
            let converted = pose(rotation, translation.unwrap_or(NOT_SEEN.translation_mm));
            matrix(&converted.map_err(|fault| error::from_core_at(py, &fault, index))?)
        };
        flat.extend(converted.iter().flat_map(|v| v.to_le_bytes()));
    }
    Ok(PyByteArray::new(py, &flat))
}

/// A direction of a source in X forward, Y left, Z up.
#[pyfunction]
pub(crate) fn direction_from(name: &str, direction: [f64; 3]) -> PyResult<(f64, f64, f64)> {
    Ok(axes(name)?.direction(direction).into())
}

/// The mean of frames, and their number and scatter in degrees and mm if there are several.
#[pyfunction]
pub(crate) fn mean_pose<'py>(
    py: Python<'py>,
    frames: &[u8],
) -> PyResult<(Bound<'py, PyByteArray>, Option<(usize, f64, f64)>)> {
    let frames = poses(frames);
    let (mean, spread) = crate::run(py, || Pose::mean_and_spread(&frames))?;
    let spread = spread.map(|Spread { frames, rotation_deg, translation_mm }| (frames, rotation_deg, translation_mm));
    Ok((bytes(py, [mean]), spread))
}

/// A pose checked, its rotation taken to the nearest one.
#[pyfunction]
pub(crate) fn rig_from_target<'py>(py: Python<'py>, pose: &[u8]) -> PyResult<Bound<'py, PyByteArray>> {
    let checked = |pose: Pose| pose.rig_from_target().map(Pose::from).map_err(|fault| error::from_core(py, &fault));
    Ok(bytes(py, poses(pose).into_iter().map(checked).collect::<PyResult<Vec<_>>>()?))
}
