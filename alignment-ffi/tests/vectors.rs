//! The conformance vectors (tests/vectors) through C: to the last bit what Rust has.

#![expect(clippy::float_cmp, reason = "the same bits")]
#![expect(
    clippy::cast_precision_loss,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "small whole numbers"
)]

use alignment_core::propagation::{self, Input};
use alignment_core::repeatability::repeatability;
use alignment_core::{conformity, propagation as law};
use serde_json::Value;
use std::{fs, mem, ptr};
use wheel_alignment::*;

fn vectors(name: &str) -> Value {
    let path = format!("{}/../tests/vectors/{name}.json", env!("CARGO_MANIFEST_DIR"));
    serde_json::from_str(&fs::read_to_string(path).unwrap()).unwrap()
}

fn cases<'a>(tables: &'a Value, table: &str) -> &'a [Value] {
    tables[table].as_array().unwrap()
}

fn number(of: &Value) -> f64 {
    of.as_f64().unwrap_or_else(|| panic!("{of} is no number"))
}

fn numbers(of: &Value) -> Vec<f64> {
    of.as_array().unwrap().iter().map(number).collect()
}

/// Infinite degrees of freedom are null there.
fn freedom(of: &Value) -> f64 {
    of.as_f64().unwrap_or(f64::INFINITY)
}

/// Sixteen hexadecimal digits each; NaN of any kind is `nan`.
fn from_bits(words: &str) -> Vec<f64> {
    let word =
        |word: &str| if word == "nan" { f64::NAN } else { f64::from_bits(u64::from_str_radix(word, 16).unwrap()) };
    words.split(' ').map(word).collect()
}

fn to_bits(numbers: &[f64]) -> String {
    let words = numbers.iter().map(|v| if v.is_nan() { "nan".to_owned() } else { format!("{:016x}", v.to_bits()) });
    words.collect::<Vec<_>>().join(" ")
}

fn side(number: f64) -> i32 {
    if number > 0.0 { WA_SIDE_RIGHT } else { WA_SIDE_LEFT }
}

/// A formula of so many numbers, which writes so many.
type One = unsafe extern "C" fn(f64, *mut f64, *mut WaError) -> i32;
type Two = unsafe extern "C" fn(f64, f64, *mut f64, *mut WaError) -> i32;
type Three = unsafe extern "C" fn(f64, f64, f64, *mut f64, *mut WaError) -> i32;
type Four = unsafe extern "C" fn(f64, f64, f64, f64, *mut f64, *mut WaError) -> i32;
type Sided = unsafe extern "C" fn(i32, f64, f64, f64, *mut f64, *mut WaError) -> i32;

/// What the C function of a formula gives for a row: its status, and the numbers that it wrote.
#[expect(clippy::too_many_lines, reason = "a line for each formula")]
fn call(path: &str, row: &[f64]) -> (i32, Vec<f64>) {
    let none = ptr::null_mut();
    let mut found = [7.0; 4];
    let to = found.as_mut_ptr();
    let r = |index: usize| row[index];
    let from = |index: usize| row[index..].as_ptr();
    let gauge = |index: usize| WaGaugePosition { yaw_deg: r(index), camber_deg: r(index + 1) };
    let pitch = |index: usize| WaPitchPosition { azimuth_deg: r(index), pitch_deg: r(index + 1) };
    let mut minutes = WaDegreesMinutes { negative: 7, degrees: 7.0, minutes: 7.0 };
    let mut angles = WaAxisAngles { caster_deg: 7.0, sai_deg: 7.0 };
    // SAFETY: numbers and a place of our own, here and below.
    let one = |function: One| (unsafe { function(r(0), to, none) }, 1);
    let two = |function: Two| (unsafe { function(r(0), r(1), to, none) }, 1);
    let three = |function: Three| (unsafe { function(r(0), r(1), r(2), to, none) }, 1);
    let four = |function: Four| (unsafe { function(r(0), r(1), r(2), r(3), to, none) }, 1);
    let sided = |function: Sided| (unsafe { function(side(r(0)), r(1), r(2), r(3), to, none) }, 1);
    // SAFETY: numbers, structs and places of our own, as many as each function says.
    let (status, count) = unsafe {
        match path {
            "units::deg_from_rad" => one(wa_deg_from_rad),
            "units::rad_from_deg" => one(wa_rad_from_deg),
            "units::degrees_minutes_from_deg" => {
                let status = wa_degrees_minutes_from_deg(r(0), &raw mut minutes, none);
                found = [f64::from(minutes.negative), minutes.degrees, minutes.minutes, 7.0];
                (status, 3)
            }
            "units::deg_from_degrees_minutes" => {
                let angle = WaDegreesMinutes { negative: i32::from(r(0) > 0.0), degrees: r(1), minutes: r(2) };
                (wa_deg_from_degrees_minutes(&raw const angle, to, none), 1)
            }
            "wheel::camber_deg" => (wa_camber_deg(from(0), to, none), 1),
            "wheel::toe_deg" => (wa_toe_deg(side(r(0)), from(1), to, none), 1),
            "wheel::contact_centre_mm" => (wa_contact_centre_mm(from(0), from(3), r(6), to, none), 3),
            "wheel::toe_length_mm" => two(wa_toe_length_mm),
            "wheel::toe_from_length_deg" => two(wa_toe_from_length_deg),
            "wheel::side_slip_mm_per_m" => one(wa_side_slip_mm_per_m),
            "wheel::angle_from_side_slip_deg" => one(wa_angle_from_side_slip_deg),
            "vehicle::thrust_angle_deg" => two(wa_thrust_angle_deg),
            "vehicle::toe_to_thrust_line_deg" => (wa_toe_to_thrust_line_deg(side(r(0)), r(1), r(2), to, none), 1),
            "vehicle::dog_tracking_offset_mm" => two(wa_dog_tracking_offset_mm),
            "steering::caster_deg" => (wa_caster_deg(from(0), to, none), 1),
            "steering::sai_deg" => (wa_sai_deg(side(r(0)), from(1), to, none), 1),
            "steering::axis_direction" => (wa_axis_direction(side(r(0)), r(1), r(2), to, none), 3),
            "steering::body_attitude_deg" => (wa_body_attitude_deg(from(0), r(4), r(5), to, to.add(1), none), 2),
            "steering::axis_to_body" => (wa_axis_to_body(from(0), r(3), r(4), to, none), 3),
            "turns::ackermann_outer_deg" => three(wa_ackermann_outer_deg),
            "turns::ackermann_inner_deg" => three(wa_ackermann_inner_deg),
            "turns::ackermann_percent_by_toe_out" => four(wa_ackermann_percent_by_toe_out),
            "turns::ackermann_percent_by_cotangents" => four(wa_ackermann_percent_by_cotangents),
            "turns::turning_radius_mm" => two(wa_turning_radius_mm),
            "gauge::yaw_from_plate_deg" => (wa_yaw_from_plate_deg(side(r(0)), r(1), r(2), to, none), 1),
            "gauge::hub_line_azimuth_deg" => {
                let wheel = gauge(1);
                (wa_hub_line_azimuth_deg(side(r(0)), &raw const wheel, r(3), to, none), 1)
            }
            "gauge::axis_from_cambers" => {
                let positions = [gauge(1), gauge(3), gauge(5)];
                let status = wa_axis_from_cambers(side(r(0)), positions.as_ptr(), &raw mut angles, none);
                found = [angles.caster_deg, angles.sai_deg, 7.0, 7.0];
                (status, 2)
            }
            "gauge::axis_from_pitches" => {
                let positions = [pitch(1), pitch(3), pitch(5)];
                let status = wa_axis_from_pitches(side(r(0)), positions.as_ptr(), &raw mut angles, none);
                found = [angles.caster_deg, angles.sai_deg, 7.0, 7.0];
                (status, 2)
            }
            "gauge::caster_by_two_positions_deg" => sided(wa_caster_by_two_positions_deg),
            "gauge::caster_by_linear_rule_deg" => sided(wa_caster_by_linear_rule_deg),
            "gauge::sai_by_two_positions_deg" => sided(wa_sai_by_two_positions_deg),
            "gauge::sai_by_linear_rule_deg" => sided(wa_sai_by_linear_rule_deg),
            "gauge::camber_at_yaw_deg" => {
                let (axis, ahead) = (WaAxisAngles { caster_deg: r(1), sai_deg: r(2) }, gauge(3));
                (wa_camber_at_yaw_deg(side(r(0)), &raw const axis, &raw const ahead, r(5), to, none), 1)
            }
            "gauge::pitch_at_azimuth_deg" => {
                let (axis, ahead) = (WaAxisAngles { caster_deg: r(1), sai_deg: r(2) }, pitch(3));
                (wa_pitch_at_azimuth_deg(side(r(0)), &raw const axis, &raw const ahead, r(5), to, none), 1)
            }
            // Structs of numbers lie as arrays of them do.
            "adjustment::tie_rod_steer_deg" => three(wa_tie_rod_steer_deg),
            "adjustment::tie_rod_turns" => three(wa_tie_rod_turns),
            "adjustment::toe_changes_deg" => (wa_toe_changes_deg(r(0), r(1), r(2), r(3), r(4), to.cast(), none), 2),
            "adjustment::eccentric_shift_mm" => two(wa_eccentric_shift_mm),
            "adjustment::eccentric_angles_deg" => (wa_eccentric_angles_deg(r(0), r(1), to.cast(), none), 2),
            "adjustment::slot_tilt_deg" => three(wa_slot_tilt_deg),
            "adjustment::slot_shift_mm" => three(wa_slot_shift_mm),
            "adjustment::shim_thicknesses_mm" => (wa_shim_thicknesses_mm(r(0), r(1), r(2), r(3), to.cast(), none), 2),
            "adjustment::subframe_shift" => {
                let (left, right) = (from(0).cast(), from(2).cast());
                (wa_subframe_shift(left, right, r(4), r(5), r(6), to.cast(), none), 3)
            }
            "adjustment::tapered_shim" => (wa_tapered_shim(r(0), r(1), r(2), to.cast(), none), 2),
            "adjustment::tapered_shim_changes" => (wa_tapered_shim_changes(r(0), from(1).cast(), to.cast(), none), 2),
            "adjustment::tapered_shim_on_shelf" => {
                (wa_tapered_shim_on_shelf(r(0), r(1), r(2), r(3), r(4), r(5), to.cast(), none), 4)
            }
            "propagation::coverage_factor" => two(wa_coverage_factor),
            "propagation::effective_degrees_of_freedom" => {
                (wa_effective_degrees_of_freedom(from(0), row.len() / 2, to, none), 1)
            }
            "propagation::numerical_tolerance" => (wa_numerical_tolerance(r(0), r(1) as u32, to, none), 1),
            other => panic!("no formula of C has the path {other}"),
        }
    };
    (status, found[..count].to_vec())
}

#[test]
fn plain_formulas_have_the_bits_of_the_vectors() {
    let tables = vectors("formulas");
    let mut rows = 0;
    for (path, cases) in tables.as_object().unwrap() {
        for case in cases.as_array().unwrap() {
            let row = from_bits(case[0].as_str().unwrap());
            let (status, found) = call(path, &row);
            if let Some(expected) = case[1].as_str() {
                assert_eq!((status, to_bits(&found).as_str()), (WA_SUCCESS, expected), "{path} {case}");
            } else {
                assert_eq!(Some(i64::from(status)), case[1].as_i64(), "{path} {case}");
                // Written on success alone.
                assert!(found.iter().all(|&number| number == 7.0), "{path} {case}");
            }
            rows += 1;
        }
    }
    assert_eq!((tables.as_object().unwrap().len(), rows), (49, 49 * 60));
}

#[test]
fn formulas_by_hand_have_the_bits_of_rust() {
    use alignment_core::gauge::{self, GaugePosition};
    use alignment_core::{Side, turns, vehicle, wheel};
    let tables = vectors("gauge");
    let same = |path: &str, row: &[f64], expected: &[f64]| {
        assert_eq!(call(path, row), (WA_SUCCESS, expected.to_vec()), "{path} {row:?}");
    };
    for case in cases(&tables, "wheels") {
        let (of, name) = if case["side"] == "left" { (Side::Left, 0.0) } else { (Side::Right, 1.0) };
        let read: Vec<[f64; 2]> = case["positions"].as_array().unwrap()[..3]
            .iter()
            .map(|position| [number(&position["yaw_deg"]), number(&position["camber_deg"])])
            .collect();
        let positions = [0, 1, 2].map(|i: usize| GaugePosition { yaw_deg: read[i][0], camber_deg: read[i][1] });
        let axis = gauge::axis_from_cambers(of, positions).unwrap();
        let row: Vec<f64> = [name].into_iter().chain(read.into_iter().flatten()).collect();
        same("gauge::axis_from_cambers", &row, &[axis.caster_deg, axis.sai_deg]);
    }
    for case in cases(&tables, "lengths") {
        let [angle, diameter] = ["angle_deg", "reference_diameter_mm"].map(|key| number(&case[key]));
        same("wheel::toe_length_mm", &[angle, diameter], &[wheel::toe_length_mm(angle, diameter).unwrap()]);
        same("wheel::side_slip_mm_per_m", &[angle], &[wheel::side_slip_mm_per_m(angle).unwrap()]);
    }
    for case in cases(&tables, "turns") {
        let [base, distance, steer, inner] =
            ["wheelbase_mm", "axis_distance_mm", "steer_deg", "inner_deg"].map(|key| number(&case[key]));
        same("turns::turning_radius_mm", &[base, steer], &[turns::turning_radius_mm(base, steer).unwrap()]);
        let outer = turns::ackermann_outer_deg(inner, distance, base).unwrap();
        same("turns::ackermann_outer_deg", &[inner, distance, base], &[outer]);
    }
    for case in cases(&tables, "tracking") {
        let [base, thrust] = ["wheelbase_mm", "thrust_angle_deg"].map(|key| number(&case[key]));
        let expected = vehicle::dog_tracking_offset_mm(base, thrust).unwrap();
        same("vehicle::dog_tracking_offset_mm", &[base, thrust], &[expected]);
    }
}

#[test]
fn propagated_uncertainties_have_the_bits_of_rust() {
    let tables = vectors("propagation");
    for case in cases(&tables, "functions") {
        let read = |of: &Value| {
            let [estimate, standard_uncertainty] = ["estimate", "standard_uncertainty"].map(|key| number(&of[key]));
            Input { estimate, standard_uncertainty, degrees_of_freedom: freedom(&of["degrees_of_freedom"]) }
        };
        let inputs: Vec<Input> = case["inputs"].as_array().unwrap().iter().map(read).collect();
        let rows: Option<Vec<Vec<f64>>> = case["correlation"].as_array().map(|rows| rows.iter().map(numbers).collect());
        let estimates = numbers(&case["estimates"]);
        // Any derivatives will do: those of the vectors belong to functions of Rust.
        let row = |k: usize| (0..inputs.len()).map(|i| (i as f64 + 0.3) / (k as f64 - 1.7)).collect();
        let sensitivities: Vec<Vec<f64>> = (0..estimates.len()).map(row).collect();
        let expected = law::combine(&inputs, rows.as_deref(), &estimates, &sensitivities).unwrap();

        let of_c: Vec<WaInput> = inputs
            .iter()
            .map(|of| WaInput {
                estimate: of.estimate,
                standard_uncertainty: of.standard_uncertainty,
                degrees_of_freedom: of.degrees_of_freedom,
            })
            .collect();
        let absent = WaOptional { present: 7, value: 7.0 };
        let nothing = WaOutput { estimate: 7.0, standard_uncertainty: 7.0, degrees_of_freedom: absent };
        let (mut outputs, mut covariance) = (vec![nothing; estimates.len()], vec![7.0; estimates.len().pow(2)]);
        let (flat, correlation) = (sensitivities.concat(), rows.map(|rows| rows.concat()));
        // SAFETY: arrays of our own, as long as they have to be.
        let status = unsafe {
            wa_combine(
                of_c.as_ptr(),
                of_c.len(),
                correlation.as_ref().map_or(ptr::null(), Vec::<f64>::as_ptr),
                estimates.as_ptr(),
                estimates.len(),
                flat.as_ptr(),
                outputs.as_mut_ptr(),
                covariance.as_mut_ptr(),
                ptr::null_mut(),
            )
        };
        assert_eq!(status, WA_SUCCESS);
        assert_eq!(to_bits(&covariance), to_bits(&expected.covariance.concat()));
        for (found, expected) in outputs.iter().zip(&expected.outputs) {
            let numbers = [found.estimate, found.standard_uncertainty];
            assert_eq!(to_bits(&numbers), to_bits(&[expected.estimate, expected.standard_uncertainty]));
            assert_eq!(found.degrees_of_freedom.present, i64::from(expected.degrees_of_freedom.is_some()));
            let freedom = expected.degrees_of_freedom.unwrap_or(f64::NAN);
            assert_eq!(to_bits(&[found.degrees_of_freedom.value]), to_bits(&[freedom]));
            let mut wide = WaExpanded { coverage_factor: 7.0, expanded_uncertainty: 7.0 };
            // SAFETY: structs of our own.
            let status = unsafe { wa_output_expanded(&raw const *found, 0.95, &raw mut wide, ptr::null_mut()) };
            match expected.expanded(0.95) {
                Ok(expected) => {
                    let (found, expected) = (wide.expanded_uncertainty, expected.expanded_uncertainty);
                    assert_eq!((status, to_bits(&[found])), (WA_SUCCESS, to_bits(&[expected])));
                }
                Err(error) => assert_eq!(status, error.code.number()),
            }
        }
    }
    for case in cases(&tables, "coverage_factors") {
        let row = [number(&case["probability"]), freedom(&case["degrees_of_freedom"])];
        let expected = propagation::coverage_factor(row[0], row[1]).unwrap();
        assert_eq!(call("propagation::coverage_factor", &row), (WA_SUCCESS, vec![expected]));
    }
}

#[test]
fn repeats_and_verdicts_have_the_bits_of_rust() {
    for case in cases(&vectors("repeatability"), "repeats") {
        let values = numbers(&case["values"]);
        let expected = repeatability(&values).unwrap();
        // SAFETY: zeros make numbers; a list and a struct of our own.
        let found = unsafe {
            let mut found: WaRepeatability = mem::zeroed();
            found.size = mem::size_of::<WaRepeatability>();
            let status = wa_repeatability(values.as_ptr(), values.len(), &raw mut found, ptr::null_mut());
            assert_eq!(status, WA_SUCCESS);
            found
        };
        let numbers = [found.mean, found.standard_deviation, found.coverage_factor, found.expanded_of_mean];
        let of = [expected.mean, expected.standard_deviation, expected.coverage_factor, expected.expanded_of_mean];
        assert_eq!(to_bits(&numbers), to_bits(&of));
    }
    let given = |value: Option<f64>| WaOptional { present: i64::from(value.is_some()), value: value.unwrap_or(0.0) };
    for case in cases(&vectors("conformity"), "probabilities") {
        let (min, max) = (case["min"].as_f64(), case["max"].as_f64());
        let known = conformity::Uncertain {
            standard_uncertainty: number(&case["standard_uncertainty"]),
            degrees_of_freedom: case["degrees_of_freedom"].as_f64(),
        };
        let decision = conformity::Decision::default();
        let value = number(&case["value"]);
        let expected = conformity::judge(value, Some(known), conformity::Limits { min, max }, decision).unwrap();
        let uncertainty = WaUncertain {
            standard_uncertainty: known.standard_uncertainty,
            degrees_of_freedom: given(known.degrees_of_freedom),
        };
        let limits = WaLimits { min: given(min), max: given(max) };
        // SAFETY: zeros make numbers; structs of our own.
        let found = unsafe {
            let mut found: WaJudgement = mem::zeroed();
            found.size = mem::size_of::<WaJudgement>();
            let rule = WA_RULE_GUARDED;
            let (uncertainty, limits) = (&raw const uncertainty, &raw const limits);
            let status = wa_judge(value, uncertainty, limits, rule, 0.95, &raw mut found, ptr::null_mut());
            assert_eq!(status, WA_SUCCESS);
            found
        };
        let numbers = [found.probability_of_conformity.value, found.guard_band.value];
        let of = [expected.probability_of_conformity, expected.guard_band].map(|value| value.unwrap_or(f64::NAN));
        assert_eq!(to_bits(&numbers), to_bits(&of));
    }
}
