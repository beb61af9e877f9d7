//! Degrees at the public interface, radians inside; degrees and minutes for people.
//!
//! Everything public is in degrees and millimetres, and its name says so. The conversions live here, and so
//! do the few transcendental functions that the core needs: all from one pure-Rust library, so that the same
//! input gives the same bits on every platform.

use core::f64::consts::PI;
use core::fmt;

/// Degrees in one radian, 180/π.
pub const DEG_PER_RAD: f64 = 180.0 / PI;

/// An angle in degrees, from radians.
///
/// ```
/// # use alignment_core::units::deg_from_rad;
/// assert_eq!(deg_from_rad(core::f64::consts::PI), 180.0);
/// ```
#[inline]
#[must_use]
pub fn deg_from_rad(angle_rad: f64) -> f64 {
    angle_rad * DEG_PER_RAD
}

/// An angle in radians, from degrees.
///
/// ```
/// # use alignment_core::units::rad_from_deg;
/// assert_eq!(rad_from_deg(180.0), core::f64::consts::PI);
/// ```
#[must_use]
pub fn rad_from_deg(angle_deg: f64) -> f64 {
    angle_deg * (PI / 180.0)
}

/// An angle as workshop manuals print it: sign, whole degrees, minutes of arc.
///
/// Made by [`degrees_minutes_from_deg`]; `Display` writes `-1°05′`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DegreesMinutes {
    /// True below zero. It stands apart from `degrees`, since −0°12′ has no negative whole degree.
    pub negative: bool,
    /// Whole degrees, without sign.
    pub degrees: f64,
    /// Minutes of arc, 0 to 59, rounded to the nearest whole minute.
    pub minutes: f64,
}

/// An angle in degrees as sign, whole degrees and whole minutes (1° = 60′), rounded to the nearest minute.
///
/// ```
/// # use alignment_core::units::degrees_minutes_from_deg;
/// assert_eq!(degrees_minutes_from_deg(-0.2).to_string(), "-0°12′");
/// assert_eq!(degrees_minutes_from_deg(13.999).to_string(), "14°00′");
/// ```
#[must_use]
pub fn degrees_minutes_from_deg(angle_deg: f64) -> DegreesMinutes {
    let total = libm::round(angle_deg.abs() * 60.0);
    let degrees = libm::floor(total / 60.0);
    DegreesMinutes { negative: angle_deg < 0.0 && total > 0.0, degrees, minutes: total - 60.0 * degrees }
}

impl fmt::Display for DegreesMinutes {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let sign = if self.negative { "-" } else { "" };
        write!(f, "{sign}{:.0}°{:02.0}′", self.degrees, self.minutes)
    }
}

/// Four-quadrant arc tangent of `y`/`x`, in degrees.
#[inline]
pub(crate) fn atan2_deg(y: f64, x: f64) -> f64 {
    // To the front of the car the quotient says it all, and the plain arc tangent is the cheaper one.
    deg_from_rad(if x > 0.0 { libm::atan(y / x) } else { libm::atan2(y, x) })
}

/// Square root; correctly rounded, so the same on every platform.
#[inline]
pub(crate) fn sqrt(x: f64) -> f64 {
    libm::sqrt(x)
}

/// Length of the plane vector (x, y). The core's inputs are bounded, so the plain form cannot overflow.
#[inline]
pub(crate) fn hypot(x: f64, y: f64) -> f64 {
    sqrt(x * x + y * y)
}

/// Root of the mean square of the values; 0 for none.
pub(crate) fn root_mean_square(values: impl Iterator<Item = f64>) -> f64 {
    let (sum, count) = values.fold((0.0, 0.0), |(sum, count), v| (sum + v * v, count + 1.0));
    if count > 0.0 { sqrt(sum / count) } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;
    use alloc::string::ToString;

    #[test]
    fn minutes_carry_into_degrees_and_zero_has_no_sign() {
        assert_eq!(degrees_minutes_from_deg(0.9999).to_string(), "1°00′");
        assert_eq!(degrees_minutes_from_deg(-0.001).to_string(), "0°00′");
        assert_eq!(degrees_minutes_from_deg(-1.0 - 5.0 / 60.0).to_string(), "-1°05′");
    }

    #[test]
    fn root_mean_square_of_nothing_is_zero() {
        assert!(root_mean_square(core::iter::empty()).abs() < f64::MIN_POSITIVE);
        assert!((root_mean_square([3.0, 4.0].into_iter()) - sqrt(12.5)).abs() < 1e-15);
    }
}
