//! Published figures of the formulas used by hand, to the digits printed, each with its source beside it.

use alignment_core::gauge::{caster_by_linear_rule_deg, caster_by_two_positions_deg};
use alignment_core::turns::turning_radius_mm;
use alignment_core::tyre::size_from_code;
use alignment_core::units::{DegreesMinutes, deg_from_degrees_minutes};
use alignment_core::wheel::{angle_from_side_slip_deg, side_slip_mm_per_m, toe_from_length_deg, toe_length_mm};
use alignment_core::{Error, Side};

/// Half a unit of the last of so many printed decimals.
fn half_digit(decimals: i32) -> f64 {
    0.5 * 10.0_f64.powi(-decimals) + 1e-9
}

fn minutes(minutes: f64) -> Result<f64, Error> {
    deg_from_degrees_minutes(DegreesMinutes { negative: false, degrees: 0.0, minutes })
}

#[test]
fn toe_as_a_length() -> Result<(), Error> {
    for (toe_deg, reference_diameter_mm, printed_mm) in [
        // Volvo, C70 service data, at the rim flange.
        (0.33, 416.0, 2.4),
        (0.33, 441.4, 2.5),
        (0.33, 466.8, 2.7),
        // Mazda, MX-5 service data.
        (minutes(22.0)?, 406.4, 2.6),
        (minutes(22.0)?, 431.8, 2.8),
        (minutes(9.0)?, 611.4, 1.6),
        // BMW, service data for 14-inch wheels.
        (minutes(18.0)?, 390.6, 2.0),
    ] {
        let length_mm = toe_length_mm(toe_deg, reference_diameter_mm)?;
        assert!(
            (length_mm - printed_mm).abs() < half_digit(1),
            "{toe_deg}° at {reference_diameter_mm} mm: {length_mm}"
        );
        assert!((toe_from_length_deg(length_mm, reference_diameter_mm)? - toe_deg).abs() < 1e-12);
    }
    Ok(())
}

/// Japan's inspection limit: 5 mm per 1 m. The angle is computed.
#[test]
fn side_slip() -> Result<(), Error> {
    assert!((angle_from_side_slip_deg(5.0)? - 0.2865).abs() < half_digit(4));
    assert!((side_slip_mm_per_m(0.2865)? - 5.0).abs() < half_digit(2));
    Ok(())
}

/// AASHTO design vehicles, values from memory: wheelbase in feet, steer angle, turning radius of the front axle centre in feet.
#[test]
fn turning_radii() -> Result<(), Error> {
    const MM_PER_FOOT: f64 = 304.8;
    for (vehicle, wheelbase_ft, steer_deg, printed_ft, decimals) in [
        ("P", 11.0, 31.6, 21.0, 0),
        ("SU-30", 20.0, 31.8, 38.0, 0),
        ("CITY-BUS", 25.0, 41.4, 37.8, 1),
        ("WB-40", 12.5, 20.3, 36.0, 1),
    ] {
        let radius_ft = turning_radius_mm(wheelbase_ft * MM_PER_FOOT, steer_deg)? / MM_PER_FOOT;
        assert!((radius_ft - printed_ft).abs() < half_digit(decimals), "{vehicle}: {radius_ft} ft");
    }
    Ok(())
}

/// A published worked example by an amateur: cambers of +1.10° and −1.86° at ± 20°; the linear rule's third decimal is computed.
#[test]
fn caster_from_two_cambers() -> Result<(), Error> {
    let by_two_positions = caster_by_two_positions_deg(Side::Left, 20.0, 1.10, -1.86)?;
    assert!((by_two_positions - 4.32).abs() < half_digit(2), "{by_two_positions}");
    let by_linear_rule = caster_by_linear_rule_deg(Side::Left, 20.0, 1.10, -1.86)?;
    assert!((by_linear_rule - 4.327).abs() < half_digit(3), "{by_linear_rule}");
    Ok(())
}

/// Overall diameters from tyre size tables; common practice, no source.
#[test]
fn tyre_diameters() -> Result<(), Error> {
    for (code, printed_mm) in [("215/65R17", 711.3), ("225/60R17", 701.8), ("205/55R16", 631.9)] {
        let diameter_mm = size_from_code(code)?.overall_diameter_mm;
        assert!((diameter_mm - printed_mm).abs() < half_digit(1), "{code}: {diameter_mm}");
    }
    Ok(())
}
