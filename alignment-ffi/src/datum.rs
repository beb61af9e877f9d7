//! The plane that angles to the vertical refer to.

use crate::error::WaError;
use crate::memory::{elements, give};
use alignment_core::datum::{self, Plane};

/// A plane through points, by least squares.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaPlane {
    /// Unit vector square to the plane. Its sign is not settled by the points.
    pub normal: [f64; 3],
    /// The mean of the points, mm; it lies in the plane.
    pub point_mm: [f64; 3],
    /// How far the points lie from the plane, mm, root mean square. 0 for three.
    pub residual_mm: f64,
}

impl From<Plane> for WaPlane {
    fn from(Plane { normal, point_mm, residual_mm }: Plane) -> Self {
        Self { normal, point_mm, residual_mm }
    }
}

/// The plane through at least three points, mm, by least squares of the distances square to it.
///
/// points_mm: points_count points of 3 numbers each, as in double points_mm[4][3], within a kilometre.
///
/// Returns WA_SUCCESS; WA_TOO_FEW_STATIONS for fewer than three points; WA_NOT_FINITE; WA_LENGTH_OUT_OF_RANGE for points
/// beyond a kilometre or that lie in one line.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_plane_through(
    points_mm: *const f64,
    points_count: usize,
    plane: *mut WaPlane,
    error: *mut WaError,
) -> i32 {
    // SAFETY: the caller's promises are handed on.
    let job = || {
        Ok(datum::plane_through(unsafe { elements("points_mm", points_mm.cast::<[f64; 3]>(), points_count)? })?.into())
    };
    // SAFETY: as before.
    unsafe { give(error, ("plane", plane), job) }
}
