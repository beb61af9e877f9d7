//! Degrees at the public interface, radians inside; degrees and minutes for people.
//!
//! Everything public is in degrees and millimetres, and its name says so. The conversions live here, and so
//! do the few transcendental functions that the core needs: all from one pure-Rust library, so that the same
//! input gives the same bits on every platform.

use crate::error::{Error, ErrorCode};
use alloc::vec::Vec;
use core::cmp::Ordering;
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

/// An angle in degrees, from sign, degrees and minutes (1° = 60′): ± (degrees + minutes/60).
///
/// The inverse of [`degrees_minutes_from_deg`]. Manuals print half minutes too: neither number need be whole.
///
/// # Errors
/// [`ErrorCode::NotFinite`]; [`ErrorCode::AngleOutOfRange`] for degrees outside 0 to 360, or minutes outside 0 to 60 (told in degrees):
/// the sign stands apart.
///
/// ```
/// # use alignment_core::units::{DegreesMinutes, deg_from_degrees_minutes};
/// let angle = DegreesMinutes { negative: true, degrees: 0.0, minutes: 12.0 };
/// assert_eq!(deg_from_degrees_minutes(angle)?, -0.2);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn deg_from_degrees_minutes(angle: DegreesMinutes) -> Result<f64, Error> {
    use crate::session::check_range;
    let DegreesMinutes { negative, degrees, minutes } = angle;
    check_range(ErrorCode::AngleOutOfRange, "degrees", degrees, [0.0, 360.0])?;
    check_range(ErrorCode::AngleOutOfRange, "minutes", minutes / 60.0, [0.0, 1.0])?;
    let angle_deg = degrees + minutes / 60.0;
    Ok(if negative { -angle_deg } else { angle_deg })
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

/// The same angle within half a turn of 0, degrees.
#[inline]
pub(crate) fn within_half_turn_deg(angle_deg: f64) -> f64 {
    if angle_deg.abs() < 180.0 { angle_deg } else { angle_deg - 360.0 * libm::round(angle_deg / 360.0) }
}

/// Numbers in rising order: a run of trials has a million, so that they have a sort of their own.
pub(crate) fn sort(numbers: &mut [f64]) {
    numbers.sort_unstable_by(f64::total_cmp);
}

/// Puts things in order; those that are equal stay as they stood. What the standard library has is compiled anew for every type, at some six
/// thousand bytes each; here it sorts places alone, once.
pub(crate) fn sort_by<T>(things: &mut [T], compare: impl Fn(&T, &T) -> Ordering) {
    // Stations mostly come in their order.
    if things.is_sorted_by(|a, b| compare(a, b).is_le()) {
        return;
    }
    let mut places: Vec<usize> = (0..things.len()).collect();
    sort_places(&mut places, &|a, b| compare(&things[a], &things[b]));
    for at in 0..places.len() {
        // What belonged here may have been put elsewhere to make room.
        let mut from = places[at];
        while from < at {
            from = places[from];
        }
        places[at] = from;
        things.swap(at, from);
    }
}

#[inline(never)]
fn sort_places(places: &mut [usize], compare: &dyn Fn(usize, usize) -> Ordering) {
    places.sort_by(|&a, &b| compare(a, b));
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
    fn every_minute_is_read_back() {
        for minutes in -21_600..=21_600 {
            let angle_deg = f64::from(minutes) / 60.0;
            let back = deg_from_degrees_minutes(degrees_minutes_from_deg(angle_deg)).unwrap();
            assert!((back - angle_deg).abs() < 1e-12);
        }
    }

    #[test]
    fn a_sign_in_the_wrong_place_is_refused() {
        let refused = |degrees, minutes| {
            deg_from_degrees_minutes(DegreesMinutes { negative: false, degrees, minutes }).unwrap_err()
        };
        assert_eq!((refused(-1.0, 5.0).code, refused(-1.0, 5.0).input), (ErrorCode::AngleOutOfRange, Some("degrees")));
        assert_eq!(refused(1.0, -5.0).input, Some("minutes"));
        let error = refused(1.0, 75.0);
        assert_eq!((error.value, error.maximum), (Some(1.25), Some(1.0)));
        assert_eq!(refused(f64::NAN, 0.0).code, ErrorCode::NotFinite);
        assert_eq!(refused(0.0, f64::INFINITY).code, ErrorCode::NotFinite);
    }

    #[test]
    fn root_mean_square_of_nothing_is_zero() {
        assert!(root_mean_square(core::iter::empty()).abs() < f64::MIN_POSITIVE);
        assert!((root_mean_square([3.0, 4.0].into_iter()) - sqrt(12.5)).abs() < 1e-15);
    }

    #[test]
    fn whole_turns_do_not_count() {
        for (angle_deg, same_deg) in [(190.0, -170.0), (-190.0, 170.0), (179.5, 179.5), (541.0, -179.0), (-725.0, -5.0)]
        {
            assert!((within_half_turn_deg(angle_deg) - same_deg).abs() < 1e-12, "{angle_deg}");
        }
    }
}
