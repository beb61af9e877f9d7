//! The datum: the plane that angles to the vertical refer to, found from points.
//!
//! Three datums exist. The session's own `up` needs no finding. The **runway** is a plane through points measured under the wheels. The
//! **wheel plane** goes through the contact centres, which themselves lie straight down the wheel planes as the plane's normal
//! sees it: the normal and the contact centres are found in turns until they agree.

use crate::error::{Error, ErrorCode};
use crate::frame::{Rig, Vector};
use crate::pose::MAX_COORDINATE_MM;
use crate::session::check_range;
use crate::units::{root_mean_square, sqrt};
use nalgebra::Matrix3;

/// The least extent of the points in the plane, mm: root mean square across the direction in which they extend most.
pub const MIN_EXTENT_MM: f64 = 50.0;
/// The distance of the points from their plane above which a result carries a warning, mm, root mean square. Common practice, no source: a
/// runway is expected to be level within 1 mm or so.
pub const UNEVEN_MM: f64 = 1.0;

/// A plane through points, by least squares.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
pub struct Plane {
    /// Unit vector square to the plane. Its sign is not settled by the points.
    pub normal: [f64; 3],
    /// The mean of the points, mm; it lies in the plane.
    pub point_mm: [f64; 3],
    /// How far the points lie from the plane, mm, root mean square. Zero for three.
    pub residual_mm: f64,
}

/// The plane through at least three points, mm, by least squares of the distances square to it: its normal is the eigenvector of the smallest
/// eigenvalue of Σ(p − p̄)(p − p̄)ᵀ.
///
/// # Errors
/// [`ErrorCode::TooFewStations`] for fewer than three points, [`ErrorCode::NotFinite`], [`ErrorCode::LengthOutOfRange`] for points beyond a
/// kilometre or that lie in one line.
///
/// ```
/// # use alignment_core::datum::plane_through;
/// let plane = plane_through(&[[0.0, 0.0, 5.0], [1000.0, 0.0, 5.0], [0.0, 800.0, 5.0], [1000.0, 800.0, 5.0]])?;
/// assert!((plane.normal[2].abs() - 1.0).abs() < 1e-12 && plane.residual_mm < 1e-9);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn plane_through(points_mm: &[[f64; 3]]) -> Result<Plane, Error> {
    #[expect(clippy::cast_precision_loss, reason = "the number of points is far below 2^52")]
    let count = points_mm.len() as f64;
    if count < 3.0 {
        return Err(Error::new(ErrorCode::TooFewStations).input("points_mm").value(count).at_least(3.0));
    }
    for &coordinate in points_mm.iter().flatten() {
        let range = [-MAX_COORDINATE_MM, MAX_COORDINATE_MM];
        check_range(ErrorCode::LengthOutOfRange, "points_mm", coordinate, range)?;
    }
    let points = || points_mm.iter().map(|&point| Vector::<Rig>::new(point));
    let mean = points().sum::<Vector<Rig>>() * (1.0 / count);
    let scatter = points().fold(Matrix3::zeros(), |scatter, point| {
        let d = nalgebra::Vector3::from((point - mean).to_array());
        scatter + d * d.transpose()
    });
    let eigen = scatter.symmetric_eigen();
    let smallest = eigen.eigenvalues.imin();
    let middle = (0..3).filter(|&i| i != smallest).fold(f64::INFINITY, |least, i| least.min(eigen.eigenvalues[i]));
    let extent_mm = sqrt((middle / count).max(0.0));
    if extent_mm < MIN_EXTENT_MM {
        let error = Error::new(ErrorCode::LengthOutOfRange).input("points_mm");
        return Err(error.value(extent_mm).at_least(MIN_EXTENT_MM));
    }
    let normal = Vector::wrap(eigen.eigenvectors.column(smallest).into()).unit();
    Ok(Plane {
        normal: normal.to_array(),
        point_mm: mean.to_array(),
        residual_mm: root_mean_square(points().map(|point| (point - mean).dot(normal))),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_raised_corner_of_four_lifts_the_plane_by_a_quarter() {
        let plane =
            plane_through(&[[0.0, 0.0, 6.0], [2600.0, 0.0, 0.0], [0.0, 1500.0, 0.0], [2600.0, 1500.0, 0.0]]).unwrap();
        // A corner up by h leaves ± h/4 at the corners.
        assert!((plane.residual_mm - 1.5).abs() < 1e-5, "{}", plane.residual_mm);
        assert!((plane.point_mm[2] - 1.5).abs() < 1e-12);
    }

    #[test]
    fn points_that_make_no_plane_are_refused() {
        assert_eq!(plane_through(&[[0.0; 3]; 2]).unwrap_err().code, ErrorCode::TooFewStations);
        let line = [[0.0, 0.0, 0.0], [1000.0, 0.0, 0.0], [2000.0, 0.0, 0.0]];
        assert_eq!(plane_through(&line).unwrap_err().code, ErrorCode::LengthOutOfRange);
        assert_eq!(plane_through(&[[f64::NAN; 3]; 4]).unwrap_err().code, ErrorCode::NotFinite);
    }

    /// Two points along a line and one on either side of it: across, they scatter by 1/√2 of how far aside they lie.
    #[test]
    fn points_make_a_plane_from_their_least_extent_on() {
        for (share, expected) in [(0.999, Some(ErrorCode::LengthOutOfRange)), (1.001, None)] {
            let aside_mm = share * MIN_EXTENT_MM * sqrt(2.0);
            let points = [[-2000.0, 0.0, 7.0], [0.0, aside_mm, 7.0], [2000.0, 0.0, 7.0], [0.0, -aside_mm, 7.0]];
            assert_eq!(plane_through(&points).err().map(|error| error.code), expected, "{share}");
        }
    }
}
