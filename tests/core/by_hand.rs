//! The formulas used by hand: whatever is passed, no panic and no NaN; right mirrors left; what is foretold is read back.

use alignment_core::gauge::{self, AxisAngles, GaugePosition, PitchPosition};
use alignment_core::units::{DegreesMinutes, deg_from_degrees_minutes};
use alignment_core::{Error, Side, turns, tyre, vehicle, wheel};
use proptest::prelude::*;

/// Any number at all, and often one that a formula takes.
fn any_number() -> impl Strategy<Value = f64> {
    prop_oneof![any::<f64>(), -60.0..60.0f64, 0.0..5000.0f64, Just(0.0), Just(45.0), Just(-45.0)]
}

fn side(left: bool) -> Side {
    if left { Side::Left } else { Side::Right }
}

proptest! {
    #![proptest_config(crate::cases(5000))]

    #[test]
    fn no_number_panics_or_gives_nan(n in prop::array::uniform6(any_number()), left: bool, negative: bool) {
        let side = side(left);
        let [a, b, c, d, e, f] = n;
        let axis = AxisAngles { caster_deg: a, sai_deg: b };
        let ahead = GaugePosition { yaw_deg: c, camber_deg: d };
        let line = PitchPosition { azimuth_deg: c, pitch_deg: d };
        let cambers = [(a, b), (c, d), (e, f)].map(|(yaw_deg, camber_deg)| GaugePosition { yaw_deg, camber_deg });
        let pitches = [(a, b), (c, d), (e, f)].map(|(azimuth_deg, pitch_deg)| PitchPosition { azimuth_deg, pitch_deg });
        let sum = |axis: AxisAngles| axis.caster_deg + axis.sai_deg;
        let results: [Result<f64, Error>; 19] = [
            deg_from_degrees_minutes(DegreesMinutes { negative, degrees: a, minutes: b }),
            wheel::toe_length_mm(a, b),
            wheel::toe_from_length_deg(a, b),
            wheel::side_slip_mm_per_m(a),
            wheel::angle_from_side_slip_deg(a),
            vehicle::dog_tracking_offset_mm(a, b),
            turns::turning_radius_mm(a, b),
            turns::ackermann_percent_by_toe_out(a, b, c, d),
            turns::ackermann_percent_by_cotangents(a, b, c, d),
            gauge::yaw_from_plate_deg(side, a, b),
            gauge::hub_line_azimuth_deg(side, ahead, a),
            gauge::axis_from_cambers(side, cambers).map(sum),
            gauge::axis_from_pitches(side, pitches).map(sum),
            gauge::caster_by_two_positions_deg(side, a, b, c),
            gauge::caster_by_linear_rule_deg(side, a, b, c),
            gauge::sai_by_two_positions_deg(side, a, b, c),
            gauge::sai_by_linear_rule_deg(side, a, b, c),
            gauge::camber_at_yaw_deg(side, axis, ahead, e),
            gauge::pitch_at_azimuth_deg(side, axis, line, e),
        ];
        for (index, result) in results.into_iter().enumerate() {
            if let Ok(value) = result {
                prop_assert!(value.is_finite(), "formula {index}: {value}");
            }
        }
    }

    #[test]
    fn no_text_panics_or_gives_nan(
        any: String,
        like in "(P|LT|Ü)? ?[0-9]{0,4}[/-]?[0-9]{0,3} ?(R|ZR|Q)?[0-9]{0,3}(\\.5)?( ?[0-9]{2}[A-Z])?",
    ) {
        for code in [any, like] {
            if let Ok(tyre) = tyre::size_from_code(&code) {
                prop_assert!((100.0..2000.0).contains(&tyre.overall_diameter_mm), "{code}");
            }
        }
    }

    /// Over the whole range in which a reading is foretold: what is straight ahead at its own yaw, alike on both sides, and read back to
    /// the axis.
    #[test]
    fn what_is_foretold_is_read_back(
        caster_deg in -30.0..=30.0f64, sai_deg in -30.0..=30.0f64, yaw in -10.0..=10.0f64, reading in -15.0..=15.0f64,
        right in -60.0..-20.0f64, left in 20.0..60.0f64,
    ) {
        let axis = AxisAngles { caster_deg, sai_deg };
        let ahead = GaugePosition { yaw_deg: yaw, camber_deg: reading };
        let line = PitchPosition { azimuth_deg: yaw, pitch_deg: reading };
        let (mirrored, mirrored_line) =
            (GaugePosition { yaw_deg: -yaw, ..ahead }, PitchPosition { azimuth_deg: -yaw, ..line });
        let at = gauge::camber_at_yaw_deg(Side::Left, axis, ahead, yaw).unwrap();
        prop_assert!((at - reading).abs() < 1e-10);
        let at = gauge::pitch_at_azimuth_deg(Side::Left, axis, line, yaw).unwrap();
        prop_assert!((at - reading).abs() < 1e-10);
        let camber = |yaw_deg| {
            let camber_deg = gauge::camber_at_yaw_deg(Side::Left, axis, ahead, yaw_deg).unwrap();
            let on_the_right = gauge::camber_at_yaw_deg(Side::Right, axis, mirrored, -yaw_deg).unwrap();
            assert!((camber_deg - on_the_right).abs() < 1e-10);
            GaugePosition { yaw_deg, camber_deg }
        };
        let pitch = |azimuth_deg| {
            let pitch_deg = gauge::pitch_at_azimuth_deg(Side::Left, axis, line, azimuth_deg).unwrap();
            let on_the_right = gauge::pitch_at_azimuth_deg(Side::Right, axis, mirrored_line, -azimuth_deg).unwrap();
            assert!((pitch_deg - on_the_right).abs() < 1e-10);
            PitchPosition { azimuth_deg, pitch_deg }
        };
        // At the corners a wheel may lie flatter than a gauge reads; that is refused, and no other.
        let found = [
            gauge::axis_from_cambers(Side::Left, [right, yaw, left].map(camber)),
            gauge::axis_from_pitches(Side::Left, [right, yaw, left].map(pitch)),
        ];
        for found in found {
            match found {
                Ok(found) => {
                    prop_assert!((found.caster_deg - caster_deg).abs() < 1e-9, "{found:?}");
                    prop_assert!((found.sai_deg - sai_deg).abs() < 1e-9, "{found:?}");
                }
                Err(error) => prop_assert_eq!(error.code, alignment_core::ErrorCode::AngleOutOfRange),
            }
        }
    }
}
