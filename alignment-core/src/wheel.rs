//! One wheel: its spindle, its centre, camber, toe and contact centre.
//!
//! Everything here is in the vehicle frame: X forward, Y left, Z up. The side's sign s (+1 left, −1 right) makes both sides
//! read alike.

use crate::compensation::Compensation;
use crate::error::{Error, ErrorCode};
use crate::frame::{Rig, Target, Transform, Vector, Vehicle};
use crate::lanes::Real;
use crate::layout::Side;
use crate::pose;
use crate::session::check_range;
use crate::units::{DEG_PER_RAD, atan2_deg, hypot, rad_from_deg};

/// The least and greatest diameter to which a toe length refers, mm.
pub const REFERENCE_DIAMETER_RANGE_MM: [f64; 2] = [100.0, 3000.0];
/// The least and greatest toe or slip angle that is turned into a length, degrees.
const SLOPE_RANGE_DEG: [f64; 2] = [-45.0, 45.0];
/// The same as lengths over the length that they refer to.
const SLOPE_RANGE: [f64; 2] = [-1.0, 1.0];

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
pub(crate) struct WheelInRig<T = f64> {
    /// Unit vector outward.
    pub(crate) spindle: Vector<Rig, T>,
    pub(crate) centre: Vector<Rig, T>,
}

/// Where a compensated wheel is, from the pose of its target.
#[inline(always)]
pub(crate) fn locate(compensation: &Compensation, rig_from_target: &Transform<Rig, Target>) -> WheelInRig {
    let Compensation { spindle_in_target, centre_in_target_mm, .. } = *compensation;
    located(Vector::new(spindle_in_target), Vector::new(centre_in_target_mm), rig_from_target)
}

/// Where a wheel is whose spindle and centre are known in the target, from the pose of that.
#[inline(always)]
pub(crate) fn located<T: Real>(
    spindle_in_target: Vector<Target, T>,
    centre_in_target: Vector<Target, T>,
    rig_from_target: &Transform<Rig, Target, T>,
) -> WheelInRig<T> {
    WheelInRig {
        spindle: rig_from_target.direction(spindle_in_target),
        centre: rig_from_target.point(centre_in_target),
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
    check_range(ErrorCode::LengthOutOfRange, "loaded_radius_mm", loaded_radius_mm, range)?;
    let spindle = checked_spindle(spindle)?;
    if hypot(spindle.x(), spindle.y()) < pose::UNIT_LENGTH_TOLERANCE {
        return Err(Error::new(ErrorCode::SpindleNotLateral).input("spindle").value(90.0));
    }
    Ok(contact_centre_of(Vector::new(centre_mm), spindle, loaded_radius_mm).to_array())
}

/// Toe as a length in mm, positive toe-in: D·tan(toe), at the reference diameter D.
///
/// Always state D: some manuals mean the rim flange (nominal rim + 35 mm), some the nominal rim, some the tyre. For total toe, add the
/// lengths of both wheels.
///
/// # Errors
/// [`ErrorCode::NotFinite`]; [`ErrorCode::AngleOutOfRange`] beyond ± 45°; [`ErrorCode::LengthOutOfRange`] for a diameter outside 100 to
/// 3000 mm.
///
/// ```
/// # use alignment_core::wheel::toe_length_mm;
/// assert!((toe_length_mm(0.33, 416.0)? - 2.4).abs() < 0.05);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn toe_length_mm(toe_deg: f64, reference_diameter_mm: f64) -> Result<f64, Error> {
    check_range(ErrorCode::AngleOutOfRange, "toe_deg", toe_deg, SLOPE_RANGE_DEG)?;
    check_reference_diameter(reference_diameter_mm)?;
    Ok(reference_diameter_mm * libm::tan(rad_from_deg(toe_deg)))
}

/// Toe in degrees, positive toe-in, from its length at the reference diameter D in mm: atan(length/D).
///
/// # Errors
/// [`ErrorCode::NotFinite`]; [`ErrorCode::LengthOutOfRange`] for a diameter outside 100 to 3000 mm or a length beyond ± D.
///
/// ```
/// # use alignment_core::wheel::toe_from_length_deg;
/// assert!((toe_from_length_deg(2.0, 390.6)? - 18.0 / 60.0).abs() < 0.01);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn toe_from_length_deg(toe_length_mm: f64, reference_diameter_mm: f64) -> Result<f64, Error> {
    check_reference_diameter(reference_diameter_mm)?;
    let range = SLOPE_RANGE.map(|slope| slope * reference_diameter_mm);
    check_range(ErrorCode::LengthOutOfRange, "toe_length_mm", toe_length_mm, range)?;
    Ok(atan2_deg(toe_length_mm, reference_diameter_mm))
}

fn check_reference_diameter(diameter_mm: f64) -> Result<(), Error> {
    let range = REFERENCE_DIAMETER_RANGE_MM;
    check_range(ErrorCode::LengthOutOfRange, "reference_diameter_mm", diameter_mm, range)
}

/// Side slip in mm per m of travel, of the sign of the angle in degrees: 1000·tan(angle).
///
/// # Errors
/// [`ErrorCode::NotFinite`]; [`ErrorCode::AngleOutOfRange`] beyond ± 45°.
///
/// ```
/// # use alignment_core::wheel::side_slip_mm_per_m;
/// assert!((side_slip_mm_per_m(0.2865)? - 5.0).abs() < 1e-3);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn side_slip_mm_per_m(angle_deg: f64) -> Result<f64, Error> {
    check_range(ErrorCode::AngleOutOfRange, "angle_deg", angle_deg, SLOPE_RANGE_DEG)?;
    Ok(1000.0 * libm::tan(rad_from_deg(angle_deg)))
}

/// The angle in degrees, of the sign of the side slip in mm per m of travel: atan(side slip/1000).
///
/// # Errors
/// [`ErrorCode::NotFinite`]; [`ErrorCode::LengthOutOfRange`] beyond ± 1000 mm per m.
///
/// ```
/// # use alignment_core::wheel::angle_from_side_slip_deg;
/// assert!((angle_from_side_slip_deg(5.0)? - 0.2865).abs() < 1e-4);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn angle_from_side_slip_deg(side_slip_mm_per_m: f64) -> Result<f64, Error> {
    let range = SLOPE_RANGE.map(|slope| slope * 1000.0);
    check_range(ErrorCode::LengthOutOfRange, "side_slip_mm_per_m", side_slip_mm_per_m, range)?;
    Ok(atan2_deg(side_slip_mm_per_m, 1000.0))
}

pub(crate) fn checked_spindle(spindle: [f64; 3]) -> Result<Vector<Vehicle>, Error> {
    let spindle = Vector::new(spindle);
    pose::check_unit_length(spindle.norm()).map_err(|error| error.input("spindle"))?;
    Ok(spindle.unit())
}

#[inline(always)]
pub(crate) fn camber_of<T: Real>(spindle: Vector<Vehicle, T>) -> T {
    (-spindle.z()).asin_deg()
}

#[inline(always)]
pub(crate) fn toe_of<T: Real>(side: Side, spindle: Vector<Vehicle, T>) -> T {
    spindle.x().atan2_deg(spindle.y().like(side.sign()) * spindle.y())
}

/// Yaw of the wheel's heading in the vehicle frame, left positive.
pub(crate) fn yaw_of(side: Side, spindle: Vector<Vehicle>) -> f64 {
    -side.sign() * toe_of(side, spindle)
}

/// How far a direction has turned about a line, degrees, and how that follows all three.
pub(crate) struct TurnedAbout {
    pub(crate) angle_deg: f64,
    pub(crate) by_before: Vector<Rig>,
    pub(crate) by_now: Vector<Rig>,
    pub(crate) by_line: Vector<Rig>,
}

impl TurnedAbout {
    /// The angle about the unit vector u from n₀ to n: atan2(N, D) with N = u·(n₀ × n) and D = n₀·n − (n₀·u)(n·u). Its derivative is
    /// (D·dN − N·dD)/(N² + D²).
    pub(crate) fn of(line: Vector<Rig>, before: Vector<Rig>, now: Vector<Rig>) -> Self {
        let across = before.cross(now);
        let (sin, cos) = (line.dot(across), before.dot(now) - before.dot(line) * now.dot(line));
        let share = DEG_PER_RAD / (sin * sin + cos * cos);
        let (sin_share, cos_share) = (sin * share, cos * share);
        Self {
            angle_deg: atan2_deg(sin, cos),
            by_before: now.cross(line) * cos_share - now.square_to(line) * sin_share,
            by_now: line.cross(before) * cos_share - before.square_to(line) * sin_share,
            by_line: across * cos_share + (before * now.dot(line) + now * before.dot(line)) * sin_share,
        }
    }
}

/// Unit vector in which the wheel points, horizontal: f = s·(a × z).
pub(crate) fn heading_of<T: Real>(side: Side, spindle: Vector<Vehicle, T>) -> Vector<Vehicle, T> {
    let sign = spindle.x().like(side.sign());
    (spindle.cross(up_like(sign)) * sign).unit()
}

#[inline(always)]
pub(crate) fn contact_centre_of<T: Real>(
    centre: Vector<Vehicle, T>,
    spindle: Vector<Vehicle, T>,
    loaded_radius_mm: T,
) -> Vector<Vehicle, T> {
    centre - up_like(loaded_radius_mm).square_to(spindle) * (loaded_radius_mm / spindle.x().hypot(spindle.y()))
}

/// The datum's normal in the vehicle frame, as what a formula computes with.
#[inline(always)]
pub(crate) fn up_like<T: Real>(number: T) -> Vector<Vehicle, T> {
    Vector::new([number.like(0.0), number.like(0.0), number.like(1.0)])
}

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
    fn lengths_of_toe_and_slip_are_read_back() {
        for angle_deg in [-45.0, -3.0, -1e-9, 0.0, 0.2, 44.9] {
            let length = toe_length_mm(angle_deg, 600.0).unwrap();
            assert!((toe_from_length_deg(length, 600.0).unwrap() - angle_deg).abs() < 1e-13);
            let slip = side_slip_mm_per_m(angle_deg).unwrap();
            assert!((angle_from_side_slip_deg(slip).unwrap() - angle_deg).abs() < 1e-13);
        }
    }

    #[test]
    fn what_is_no_toe_length_is_refused_by_its_name() {
        let error = toe_length_mm(0.2, 16.0).unwrap_err();
        assert_eq!((error.code, error.input), (ErrorCode::LengthOutOfRange, Some("reference_diameter_mm")));
        let error = toe_from_length_deg(601.0, 600.0).unwrap_err();
        assert_eq!((error.input, error.maximum), (Some("toe_length_mm"), Some(600.0)));
        assert_eq!(toe_from_length_deg(f64::NAN, 600.0).unwrap_err().code, ErrorCode::NotFinite);
        assert_eq!(toe_length_mm(46.0, 600.0).unwrap_err().code, ErrorCode::AngleOutOfRange);
        assert_eq!(side_slip_mm_per_m(-46.0).unwrap_err().code, ErrorCode::AngleOutOfRange);
        assert_eq!(angle_from_side_slip_deg(1001.0).unwrap_err().code, ErrorCode::LengthOutOfRange);
    }

    #[test]
    fn a_spindle_that_is_none_is_refused() {
        assert_eq!(camber_deg([0.0, f64::NAN, 1.0]).unwrap_err().code, ErrorCode::NotFinite);
        assert_eq!(camber_deg([0.0, 2.0, 0.0]).unwrap_err().code, ErrorCode::NotUnitLength);
        assert_eq!(toe_deg(Side::Left, [0.0, 0.0, 1.0]).unwrap_err().code, ErrorCode::SpindleNotLateral);
        // A wheel that lies flat has no lowest point.
        for [x, z] in [[0.0, 1.0], [0.9e-6, -1.0]] {
            let error = contact_centre_mm([0.0, 700.0, 300.0], [x, 0.0, z], 300.0).unwrap_err();
            assert_eq!((error.code, error.value), (ErrorCode::SpindleNotLateral, Some(90.0)));
        }
    }

    /// By central differences of the angle in each coordinate.
    #[test]
    fn a_turn_follows_the_line_and_both_directions() {
        let numbers = [0.3, -0.2, 0.9, 0.1, 0.97, -0.15, -0.4, 0.85, 0.1];
        let turn = |n: [f64; 9]| {
            let [line, before, now] = [0, 3, 6].map(|i| Vector::<Rig>::new([n[i], n[i + 1], n[i + 2]]));
            TurnedAbout::of(line, before, now)
        };
        let TurnedAbout { by_line, by_before, by_now, .. } = turn(numbers);
        let derivatives = [by_line, by_before, by_now].map(Vector::to_array);
        for (i, derivative) in derivatives.as_flattened().iter().enumerate() {
            let moved = |step: f64| {
                let mut numbers = numbers;
                numbers[i] += step;
                turn(numbers).angle_deg
            };
            let slope = (moved(1e-5) - moved(-1e-5)) / 2e-5;
            assert!((derivative - slope).abs() < 1e-6, "{i}: {derivative} is not {slope}");
        }
    }
}
