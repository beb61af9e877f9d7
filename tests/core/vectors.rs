//! The formulas used by hand against cases that another program made at 40 digits, from turned vectors and from lines in the plane:
//! tests/references/make_vectors.py. To 1e-9°, and a relative 1e-9 in lengths and percentages.

use alignment_core::gauge::{self, AxisAngles, GaugePosition, PitchPosition};
use alignment_core::{Side, turns, vehicle, wheel};
use serde_json::Value;

const TOLERANCE: f64 = 1e-9;

fn cases(table: &str) -> Vec<Value> {
    let text = std::fs::read_to_string(crate::project_file("tests/vectors/gauge.json")).unwrap();
    let tables: Value = serde_json::from_str(&text).unwrap();
    let cases = tables[table].as_array().unwrap().clone();
    assert_eq!(cases.len(), 300);
    cases
}

fn number(case: &Value, key: &str) -> f64 {
    case[key].as_f64().unwrap_or_else(|| panic!("{case} has no {key}"))
}

fn side(case: &Value) -> Side {
    match case["side"].as_str().unwrap() {
        "left" => Side::Left,
        "right" => Side::Right,
        other => panic!("{other} is no side"),
    }
}

#[track_caller]
fn assert_angle(found_deg: f64, expected_deg: f64) {
    assert!((found_deg - expected_deg).abs() < TOLERANCE, "{found_deg}° is not {expected_deg}°");
}

#[track_caller]
fn assert_relative(found: f64, expected: f64) {
    assert!((found - expected).abs() <= TOLERANCE * expected.abs(), "{found} is not {expected}");
}

fn by_camber(position: &Value) -> GaugePosition {
    GaugePosition { yaw_deg: number(position, "yaw_deg"), camber_deg: number(position, "camber_deg") }
}

fn by_pitch(position: &Value) -> PitchPosition {
    PitchPosition { azimuth_deg: number(position, "azimuth_deg"), pitch_deg: number(position, "pitch_deg") }
}

#[test]
fn a_turned_wheel_gives_back_its_axis() {
    for case in cases("wheels") {
        let side = side(&case);
        let positions = case["positions"].as_array().unwrap();
        let three = |i: usize| &positions[i];
        let axes = [
            gauge::axis_from_cambers(side, [by_camber(three(0)), by_camber(three(1)), by_camber(three(2))]).unwrap(),
            gauge::axis_from_pitches(side, [by_pitch(three(0)), by_pitch(three(1)), by_pitch(three(2))]).unwrap(),
        ];
        for axis in axes {
            assert_angle(axis.caster_deg, number(&case, "caster_deg"));
            assert_angle(axis.sai_deg, number(&case, "sai_deg"));
        }
    }
}

#[test]
fn a_turned_wheel_shows_the_camber_and_pitch_foretold() {
    for case in cases("wheels") {
        let side = side(&case);
        let axis = AxisAngles { caster_deg: number(&case, "caster_deg"), sai_deg: number(&case, "sai_deg") };
        let (ahead, toe_deg) = (&case["ahead"], number(&case, "toe_deg"));
        assert_angle(gauge::yaw_from_plate_deg(side, 0.0, toe_deg).unwrap(), number(ahead, "yaw_deg"));
        for position in case["positions"].as_array().unwrap() {
            let yaw_deg = gauge::yaw_from_plate_deg(side, number(position, "plate_deg"), toe_deg).unwrap();
            assert_angle(yaw_deg, number(position, "yaw_deg"));
            let camber_deg = gauge::camber_at_yaw_deg(side, axis, by_camber(ahead), yaw_deg).unwrap();
            assert_angle(camber_deg, number(position, "camber_deg"));
            let PitchPosition { azimuth_deg, pitch_deg } = by_pitch(position);
            let found = gauge::hub_line_azimuth_deg(side, by_camber(position), pitch_deg).unwrap();
            assert_angle(found, azimuth_deg);
            let found = gauge::pitch_at_azimuth_deg(side, axis, by_pitch(ahead), azimuth_deg).unwrap();
            assert_angle(found, pitch_deg);
        }
    }
}

#[test]
fn the_rules_of_two_positions() {
    for case in cases("two_positions") {
        let arguments = ["turn_deg", "turned_left_deg", "turned_right_deg"].map(|key| number(&case, key));
        let by = |rule: fn(Side, f64, f64, f64) -> Result<f64, alignment_core::Error>| {
            let [turn_deg, left_deg, right_deg] = arguments;
            rule(side(&case), turn_deg, left_deg, right_deg)
        };
        for rule in [gauge::caster_by_two_positions_deg, gauge::sai_by_two_positions_deg] {
            assert_angle(by(rule).unwrap(), number(&case, "two_positions_deg"));
        }
        for rule in [gauge::caster_by_linear_rule_deg, gauge::sai_by_linear_rule_deg] {
            let expected_deg = number(&case, "linear_deg");
            if expected_deg.abs() <= 90.0 {
                assert_angle(by(rule).unwrap(), expected_deg);
            } else {
                assert_eq!(by(rule).unwrap_err().code, alignment_core::ErrorCode::AngleOutOfRange);
            }
        }
    }
}

#[test]
fn toe_and_slip_as_lengths() {
    for case in cases("lengths") {
        let [angle_deg, diameter_mm, length_mm, slip] =
            ["angle_deg", "reference_diameter_mm", "toe_length_mm", "side_slip_mm_per_m"].map(|key| number(&case, key));
        assert_relative(wheel::toe_length_mm(angle_deg, diameter_mm).unwrap(), length_mm);
        assert_angle(wheel::toe_from_length_deg(length_mm, diameter_mm).unwrap(), angle_deg);
        assert_relative(wheel::side_slip_mm_per_m(angle_deg).unwrap(), slip);
        assert_angle(wheel::angle_from_side_slip_deg(slip).unwrap(), angle_deg);
    }
}

#[test]
fn turning_in_the_plane() {
    for case in cases("turns") {
        let [wheelbase_mm, distance_mm, steer_deg, inner_deg, outer_deg] =
            ["wheelbase_mm", "axis_distance_mm", "steer_deg", "inner_deg", "outer_deg"].map(|key| number(&case, key));
        let radius_mm = turns::turning_radius_mm(wheelbase_mm, steer_deg).unwrap();
        assert_relative(radius_mm, number(&case, "turning_radius_mm"));
        let ideal_deg = turns::ackermann_outer_deg(inner_deg, distance_mm, wheelbase_mm).unwrap();
        assert_angle(ideal_deg, number(&case, "ideal_outer_deg"));
        let percent = turns::ackermann_percent_by_toe_out(inner_deg, outer_deg, distance_mm, wheelbase_mm).unwrap();
        assert_relative(percent, number(&case, "percent_by_toe_out"));
        let percent = turns::ackermann_percent_by_cotangents(inner_deg, outer_deg, distance_mm, wheelbase_mm).unwrap();
        assert_relative(percent, number(&case, "percent_by_cotangents"));
    }
}

#[test]
fn dog_tracking_in_the_plane() {
    for case in cases("tracking") {
        let [wheelbase_mm, thrust_deg] = ["wheelbase_mm", "thrust_angle_deg"].map(|key| number(&case, key));
        let offset_mm = vehicle::dog_tracking_offset_mm(wheelbase_mm, thrust_deg).unwrap();
        assert_relative(offset_mm, number(&case, "dog_tracking_offset_mm"));
    }
}
