//! One wheel: its spindle, its centre, camber, toe and contact centre.
//!
//! Everything here is in the vehicle frame: X forward, Y left, Z up. The side's sign s (+1 left, −1 right) makes both sides
//! read alike.

use crate::compensation::Compensation;
use crate::error::{Error, ErrorCode};
use crate::frame::{Rig, Target, Transform, Vector, Vehicle};
use crate::layout::Side;
use crate::pose;
use crate::units::{atan2_deg, deg_from_rad, hypot};

/// The readings of one wheel.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct WheelReadings {
    /// Camber: inclination of the wheel plane to the datum's normal; positive with the top outward.
    pub camber_deg: Option<f64>,
    /// Toe, positive toe-in: of a front wheel to the thrust line, of a rear wheel to the centreline.
    pub toe_deg: Option<f64>,
    /// Toe to the vehicle's centreline, positive toe-in.
    pub toe_to_centreline_deg: Option<f64>,
    /// Wheel centre in the vehicle frame.
    pub centre_mm: Option<[f64; 3]>,
    /// Spindle, unit vector outward, in the vehicle frame.
    pub spindle: Option<[f64; 3]>,
    /// Runout of the clamp: angle between the spindle and the nearest axis of the target.
    pub runout_deg: Option<f64>,
    /// Rolling radius: travel of the wheel centre over roll angle. A spun wheel has none.
    pub rolling_radius_mm: Option<f64>,
}

/// A wheel at one moment, in the rig frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct WheelInRig {
    /// Unit vector outward.
    pub(crate) spindle: Vector<Rig>,
    pub(crate) centre: Vector<Rig>,
}

/// Where a compensated wheel is, from the pose of its target.
pub(crate) fn locate(compensation: &Compensation, rig_from_target: &Transform<Rig, Target>) -> WheelInRig {
    WheelInRig {
        spindle: rig_from_target.direction(Vector::new(compensation.spindle_in_target)),
        centre: rig_from_target.point(Vector::new(compensation.centre_in_target_mm)),
    }
}

/// Camber in degrees, positive with the top outward: −asin(a_z) of the outward spindle a, in [−90°, 90°].
///
/// # Errors
/// [`ErrorCode::NotFinite`], [`ErrorCode::NotUnitLength`].
///
/// ```
/// # use alignment_core::wheel::camber_deg;
/// // The left wheel's spindle points left and a little down: the top leans outward.
/// let spindle = [0.0, 1.0_f64.to_radians().cos(), -1.0_f64.to_radians().sin()];
/// assert!((camber_deg(spindle)? - 1.0).abs() < 1e-12);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn camber_deg(spindle: [f64; 3]) -> Result<f64, Error> {
    checked_spindle(spindle).map(camber_of)
}

/// Toe in degrees, positive toe-in: −s·ψ, with the yaw ψ of the heading f = s·(a × z), in (−180°, 180°].
///
/// This is the horizontal trace of the wheel plane, the toe of a cambered wheel too. It equals atan2(a_x, s·a_y).
///
/// # Errors
/// [`ErrorCode::NotFinite`], [`ErrorCode::NotUnitLength`], [`ErrorCode::SpindleNotLateral`] for a vertical spindle.
///
/// ```
/// # use alignment_core::{Side, wheel::toe_deg};
/// // Toe-in of the left wheel: it points right, so its spindle swings forward.
/// let spindle = [1.0_f64.to_radians().sin(), 1.0_f64.to_radians().cos(), 0.0];
/// assert!((toe_deg(Side::Left, spindle)? - 1.0).abs() < 1e-12);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn toe_deg(side: Side, spindle: [f64; 3]) -> Result<f64, Error> {
    let spindle = checked_spindle(spindle)?;
    if hypot(spindle.x(), spindle.y()) < pose::UNIT_LENGTH_TOLERANCE {
        return Err(Error::new(ErrorCode::SpindleNotLateral).input("spindle").value(90.0));
    }
    Ok(toe_of(side, spindle))
}

/// Contact centre in mm: from the wheel centre by the loaded radius along the steepest descent in the wheel plane,
/// −(z − a_z·a)/‖z − a_z·a‖, with the outward spindle a.
///
/// Straight down would miss the ground's true place under a cambered wheel: by 25 mm of scrub at −5°.
///
/// # Errors
/// [`ErrorCode::NotFinite`], [`ErrorCode::NotUnitLength`], [`ErrorCode::LengthOutOfRange`] for a radius outside 50 to 1500 mm,
/// [`ErrorCode::SpindleNotLateral`] for a vertical spindle, whose wheel plane has no descent.
///
/// ```
/// # use alignment_core::wheel::contact_centre_mm;
/// assert_eq!(contact_centre_mm([0.0, 700.0, 300.0], [0.0, 1.0, 0.0], 300.0)?, [0.0, 700.0, 0.0]);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn contact_centre_mm(centre_mm: [f64; 3], spindle: [f64; 3], loaded_radius_mm: f64) -> Result<[f64; 3], Error> {
    if !centre_mm.iter().all(|v| v.is_finite()) {
        return Err(Error::new(ErrorCode::NotFinite).input("centre_mm"));
    }
    let range = crate::session::LOADED_RADIUS_RANGE_MM;
    crate::session::check_range(ErrorCode::LengthOutOfRange, "loaded_radius_mm", loaded_radius_mm, range)?;
    let spindle = checked_spindle(spindle)?;
    if hypot(spindle.x(), spindle.y()) < pose::UNIT_LENGTH_TOLERANCE {
        return Err(Error::new(ErrorCode::SpindleNotLateral).input("spindle").value(90.0));
    }
    Ok(contact_centre_of(Vector::new(centre_mm), spindle, loaded_radius_mm).to_array())
}

fn checked_spindle(spindle: [f64; 3]) -> Result<Vector<Vehicle>, Error> {
    let spindle = Vector::new(spindle);
    pose::check_unit_length(spindle.norm()).map_err(|error| error.input("spindle"))?;
    Ok(spindle.unit())
}

pub(crate) fn camber_of(spindle: Vector<Vehicle>) -> f64 {
    // Rounding may leave a unit vector a hair too long for the arc sine.
    deg_from_rad(libm::asin((-spindle.z()).clamp(-1.0, 1.0)))
}

pub(crate) fn toe_of(side: Side, spindle: Vector<Vehicle>) -> f64 {
    atan2_deg(spindle.x(), side.sign() * spindle.y())
}

/// Yaw of the wheel's heading in the vehicle frame, left positive.
pub(crate) fn yaw_of(side: Side, spindle: Vector<Vehicle>) -> f64 {
    -side.sign() * toe_of(side, spindle)
}

/// Unit vector in which the wheel points, horizontal: f = s·(a × z).
pub(crate) fn heading_of(side: Side, spindle: Vector<Vehicle>) -> Vector<Vehicle> {
    (spindle.cross(UP) * side.sign()).unit()
}

#[inline]
pub(crate) fn contact_centre_of(
    centre: Vector<Vehicle>,
    spindle: Vector<Vehicle>,
    loaded_radius_mm: f64,
) -> Vector<Vehicle> {
    centre - UP.square_to(spindle) * (loaded_radius_mm / hypot(spindle.x(), spindle.y()))
}

/// The datum's normal in the vehicle frame.
pub(crate) const UP: Vector<Vehicle> = Vector::new([0.0, 0.0, 1.0]);

#[cfg(test)]
mod tests {
    use super::*;

    /// A spindle by hand: outward and horizontal, tipped to a camber about x, then yawed about z.
    fn spindle(side: Side, camber_deg: f64, yaw_deg: f64) -> [f64; 3] {
        let (camber, yaw) = (camber_deg.to_radians(), yaw_deg.to_radians());
        let across = side.sign() * camber.cos();
        [-yaw.sin() * across, yaw.cos() * across, -camber.sin()]
    }

    #[test]
    fn signs_by_hand() {
        // Right wheel, top outward, pointing left: positive camber, toe-in.
        let right = spindle(Side::Right, 2.0, 0.5);
        assert!((camber_deg(right).unwrap() - 2.0).abs() < 1e-12);
        assert!((toe_deg(Side::Right, right).unwrap() - 0.5).abs() < 1e-12);
        // Left wheel pointing left: toe-out, whatever the camber.
        for camber in [-8.0, 0.0, 8.0] {
            let left = spindle(Side::Left, camber, 0.5);
            assert!((toe_deg(Side::Left, left).unwrap() + 0.5).abs() < 1e-12);
        }
    }

    #[test]
    fn the_contact_centre_of_a_cambered_wheel_lies_in_its_plane() {
        let spindle = spindle(Side::Left, -5.0, 0.0);
        let contact = contact_centre_mm([0.0; 3], spindle, 283.92).unwrap();
        // Top inward: the bottom stands outward by r·sin 5°.
        assert!((contact[1] - 283.92 * 5.0_f64.to_radians().sin()).abs() < 1e-9);
        assert!((contact[2] + 283.92 * 5.0_f64.to_radians().cos()).abs() < 1e-9);
    }

    #[test]
    fn a_spindle_that_is_none_is_refused() {
        assert_eq!(camber_deg([0.0, f64::NAN, 1.0]).unwrap_err().code, ErrorCode::NotFinite);
        assert_eq!(camber_deg([0.0, 2.0, 0.0]).unwrap_err().code, ErrorCode::NotUnitLength);
        assert_eq!(toe_deg(Side::Left, [0.0, 0.0, 1.0]).unwrap_err().code, ErrorCode::SpindleNotLateral);
    }
}
