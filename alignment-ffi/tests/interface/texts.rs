//! What has results as text or as trees beside a measurement: the core's to the byte.

use crate::owned::{optional, session_struct};
use crate::structs::{bits_of, fresh, values};
use crate::{CAPACITY, Call, c, call, demo_session, example, in_two_calls, message};
use alignment_core::conformity::{Specification, Tolerance, Unit, judge_all};
use alignment_core::json::{
    assessment_schema, measurement_schema, record_schema, session_from_json, session_schema, session_to_json,
    specification_from_json, specification_schema, specification_to_json, verdicts_to_json,
};
use alignment_core::paths::READINGS;
use alignment_core::simulate::VirtualVehicle;
use alignment_core::uncertainty::propagate;
use alignment_core::{measure, sweep};
use std::ffi::c_char;
use std::ptr;
use wheel_alignment::*;

const CAMBER: &str = "wheels.fl.camber_deg";
const TOE: &str = "wheels.fl.toe_deg";

#[test]
fn what_readings_are_worth() {
    let text = demo_session();
    let session = session_from_json(&text).unwrap();
    let known = propagate(&session).unwrap();
    let (of, _kept) = session_struct(&session);
    let mut found: WaUncertainty = fresh();
    // SAFETY: structs, strings and texts of our own, here and below.
    let (status, error) = call(|error| unsafe { wa_propagate(&raw const of, &raw mut found, error) });
    assert_eq!(status, WA_SUCCESS, "{}", message(&error));
    let bits = |tree| crate::structs::bits(values(tree));
    assert_eq!(bits(&found.measurement.alignment), bits_of(&known.measurement.alignment.values()));
    assert_eq!(bits(&found.standard), bits_of(&known.standard.values()));
    assert_eq!(bits(&found.degrees_of_freedom), bits_of(&known.degrees_of_freedom.values()));
    assert_eq!(found.measurement.size, size_of::<WaMeasurement>());

    let (session_json, length): (*const c_char, _) = (text.as_ptr().cast(), text.len());
    let (camber, toe) = (c(CAMBER), c(TOE));
    let mut one = optional(None);
    let to = &raw mut one;
    let (status, _) = call(|error| unsafe {
        wa_uncertainty_covariance(session_json, length, camber.as_ptr(), toe.as_ptr(), to, error)
    });
    assert_eq!((status, one), (WA_SUCCESS, optional(known.covariance(CAMBER, TOE).unwrap())));
    let (status, _) = call(|error| unsafe {
        wa_uncertainty_correlation(session_json, length, camber.as_ptr(), toe.as_ptr(), to, error)
    });
    assert_eq!((status, one), (WA_SUCCESS, optional(known.correlation(CAMBER, TOE).unwrap())));
    let (status, _) = call(|error| unsafe {
        wa_uncertainty_correlation(session_json, length, camber.as_ptr(), c"no".as_ptr(), to, error)
    });
    assert_eq!(status, WA_UNKNOWN_READING);

    let mut expanded = WaExpanded { coverage_factor: 7.0, expanded_uncertainty: 7.0 };
    let (status, _) = call(|error| unsafe {
        wa_uncertainty_expanded(session_json, length, camber.as_ptr(), 0.95, &raw mut expanded, error)
    });
    let expected = known.expanded(CAMBER, 0.95).unwrap().unwrap();
    assert_eq!(
        (status, expanded.coverage_factor, expanded.expanded_uncertainty),
        (WA_SUCCESS, expected.coverage_factor, expected.expanded_uncertainty)
    );
    let mut tree: WaAlignment = fresh();
    let (status, _) =
        call(|error| unsafe { wa_uncertainty_expanded_tree(session_json, length, 0.95, &raw mut tree, error) });
    assert_eq!(status, WA_SUCCESS);
    assert_eq!(bits(&tree), bits_of(&known.expanded_tree(0.95).unwrap().values()));
    let (status, _) =
        call(|error| unsafe { wa_uncertainty_expanded_tree(session_json, length, 1.5, &raw mut tree, error) });
    assert_eq!(status, WA_OUT_OF_RANGE);
}

#[test]
fn all_readings_are_judged() {
    let session = session_from_json(&demo_session()).unwrap();
    let known = propagate(&session).unwrap();
    let text = example("demo_specification.json");
    let specification: Specification = specification_from_json(&text).unwrap();
    let (readings, standard, freedom) = (
        tree(&known.measurement.alignment.values()),
        tree(&known.standard.values()),
        tree(&known.degrees_of_freedom.values()),
    );
    let judged = |standard: *const WaAlignment, freedom: *const WaAlignment| {
        in_two_calls(|result, capacity, length, error| {
            let (text, text_length) = (text.as_ptr().cast(), text.len());
            // SAFETY: trees, texts and buffers of our own.
            unsafe {
                wa_judge_all_json(
                    &raw const readings,
                    standard,
                    freedom,
                    text,
                    text_length,
                    result,
                    capacity,
                    length,
                    error,
                )
            }
        })
    };
    let all = &known.measurement.alignment;
    let expected = judge_all(all, Some(&known.standard), Some(&known.degrees_of_freedom), &specification).unwrap();
    judged(&raw const standard, &raw const freedom).gave(&verdicts_to_json(&expected));
    let expected = judge_all(all, None, None, &specification).unwrap();
    judged(ptr::null(), ptr::null()).gave(&verdicts_to_json(&expected));
    in_two_calls(|result, capacity, length, error| {
        // SAFETY: texts and buffers of our own.
        unsafe { wa_specification_to_json(text.as_ptr().cast(), text.len(), result, capacity, length, error) }
    })
    .gave(&specification_to_json(&specification));
}

fn tree(values: &[Option<f64>]) -> WaAlignment {
    let values: Vec<f64> = values.iter().map(|value| value.unwrap_or(f64::NAN)).collect();
    let mut tree: WaAlignment = fresh();
    // SAFETY: numbers and a tree of our own.
    let (status, _) =
        call(|error| unsafe { wa_alignment_from_values(values.as_ptr(), values.len(), &raw mut tree, error) });
    assert_eq!(status, WA_SUCCESS);
    tree
}

#[test]
fn tolerances_become_limits() {
    let absent = optional(None);
    let of = WaTolerance {
        min: absent,
        max: absent,
        nominal: optional(Some(2.0)),
        minus: optional(Some(1.0)),
        plus: optional(Some(3.0)),
        reference_diameter_mm: optional(Some(400.0)),
        unit: WA_UNIT_MM,
    };
    let expected = Tolerance {
        nominal: Some(2.0),
        minus: Some(1.0),
        plus: Some(3.0),
        reference_diameter_mm: Some(400.0),
        unit: Some(Unit::Mm),
        ..Tolerance::default()
    };
    let mut limits = WaLimits { min: absent, max: absent };
    let limited = |of: &WaTolerance, path: &str, limits: *mut WaLimits| {
        let path = c(path);
        // SAFETY: structs and strings of our own.
        call(|error| unsafe { wa_tolerance_limits(&raw const *of, path.as_ptr(), limits, error) }).0
    };
    assert_eq!(limited(&of, "axles.front.total_toe_deg", &raw mut limits), WA_SUCCESS);
    let expected = expected.limits("axles.front.total_toe_deg").unwrap();
    assert_eq!((limits.min, limits.max), (optional(expected.min), optional(expected.max)));
    assert_eq!(limited(&of, CAMBER, &raw mut limits), WA_NOT_A_SPECIFICATION);
    assert_eq!(limited(&of, "wheels", &raw mut limits), WA_UNKNOWN_READING);
    assert_eq!(limited(&WaTolerance { unit: 4, ..of }, CAMBER, &raw mut limits), WA_OUT_OF_RANGE);
}

#[test]
fn a_sweep_is_followed() {
    let text = demo_session();
    let expected = sweep::follow(&session_from_json(&text).unwrap()).unwrap();
    in_two_calls(|result, capacity, length, error| {
        // SAFETY: texts and buffers of our own.
        unsafe { wa_follow_json(text.as_ptr().cast(), text.len(), result, capacity, length, error) }
    })
    .gave(&serde_json::to_string_pretty(&expected).unwrap());
}

#[test]
fn a_virtual_car_is_an_exercise_with_its_key() {
    let car = in_two_calls(|result, capacity, length, error| {
        // SAFETY: buffers of our own, here and below.
        unsafe { wa_virtual_vehicle_random_json(7, result, capacity, length, error) }
    });
    let expected = VirtualVehicle::random(7);
    car.gave(&serde_json::to_string_pretty(&expected).unwrap());
    let car = car.result();
    in_two_calls(|result, capacity, length, error| unsafe {
        wa_virtual_vehicle_session_json(car.as_ptr().cast(), car.len(), result, capacity, length, error)
    })
    .gave(&session_to_json(&expected.session()));
    let truth = in_two_calls(|result, capacity, length, error| unsafe {
        wa_virtual_vehicle_truth_json(car.as_ptr().cast(), car.len(), result, capacity, length, error)
    });
    truth.gave(&serde_json::to_string_pretty(&expected.truth()).unwrap());
    Call::new(CAPACITY, |result, capacity, length, error| unsafe {
        wa_virtual_vehicle_truth_json(c"{}".as_ptr(), 2, result, capacity, length, error)
    })
    .refused(WA_NOT_A_SESSION, "missing field");
    // The key is what a measurement finds.
    let found = measure(&expected.session()).unwrap().alignment.wheels.fl.camber_deg.unwrap();
    assert!((found - expected.front.left.camber_deg).abs() < 1e-9);
}

#[test]
fn schemas_are_the_cores() {
    type Schema = unsafe extern "C" fn(*mut c_char, usize, *mut usize, *mut WaError) -> i32;
    let schemas: [(Schema, &str); 5] = [
        (wa_record_schema_json, record_schema()),
        (wa_session_schema_json, session_schema()),
        (wa_specification_schema_json, specification_schema()),
        (wa_measurement_schema_json, measurement_schema()),
        (wa_assessment_schema_json, assessment_schema()),
    ];
    for (function, expected) in schemas {
        // SAFETY: buffers of our own.
        in_two_calls(|result, capacity, length, error| unsafe { function(result, capacity, length, error) })
            .gave(expected);
    }
}

#[test]
fn readings_have_units_and_positions() {
    for (position, path) in READINGS.iter().enumerate() {
        // SAFETY: the library's strings are static and end with a NUL.
        let unit = unsafe { std::ffi::CStr::from_ptr(wa_reading_unit(position)) };
        assert_eq!(unit.to_str(), Ok(alignment_core::paths::unit(path)));
    }
    assert!(wa_reading_unit(READINGS.len()).is_null());
    let mut position = 7;
    // SAFETY: a string and a place of our own.
    let (status, _) = call(|error| unsafe { wa_reading_position(c"wheels.fl".as_ptr(), &raw mut position, error) });
    assert_eq!((status, position), (WA_UNKNOWN_READING, 7));
}

/// Structs of every kind: an address that is not aligned is refused, and so is a count that nothing can have.
#[test]
fn what_is_not_aligned_is_refused() {
    let mut memory = [0_u64; 900];
    memory[0] = size_of::<WaError>() as u64;
    let off = memory.as_mut_ptr().wrapping_byte_add(4);
    let mut camber = 7.0;
    let spindle = [0.0, 1.0, 0.0];
    // SAFETY: each address that is not aligned is refused before it is used.
    unsafe {
        let (status, error) = call(|error| wa_camber_deg(off.cast(), &raw mut camber, error));
        assert_eq!((status, camber), (WA_MISALIGNED, 7.0));
        assert!(message(&error).starts_with("spindle is not aligned: its address is no multiple of 8"));
        let (status, error) = call(|error| wa_camber_deg(spindle.as_ptr(), off.cast(), error));
        assert_eq!(status, WA_MISALIGNED);
        assert!(message(&error).starts_with("camber_deg is not aligned"));
        assert_eq!(wa_camber_deg(spindle.as_ptr(), &raw mut camber, off.cast()), WA_MISALIGNED);
        assert_eq!(camber, 7.0);
        let (status, error) = call(|error| wa_measure(off.cast(), ptr::null_mut(), error));
        assert_eq!(status, WA_NULL_POINTER, "{}", message(&error));
        let mut measurement: WaMeasurement = fresh();
        assert_eq!(call(|error| wa_measure(off.cast(), &raw mut measurement, error)).0, WA_MISALIGNED);
        let (status, error) = call(|error| wa_plane_through(spindle.as_ptr(), usize::MAX, ptr::null_mut(), error));
        assert_eq!(status, WA_NULL_POINTER, "{}", message(&error));
        let mut plane = WaPlane { normal: [7.0; 3], point_mm: [7.0; 3], residual_mm: 7.0 };
        let (status, _) = call(|error| wa_plane_through(spindle.as_ptr(), usize::MAX / 24 + 1, &raw mut plane, error));
        assert_eq!(status, WA_BAD_LENGTH);
    }
}

static NOISE: WaPoseNoise = WaPoseNoise { rotation_deg: 0.1, translation_mm: 0.1 };
static COVARIANCE: WaPoseCovariance = WaPoseCovariance { covariance: [[0.0; 6]; 6] };

/// What the session's struct alone can say wrongly.
#[test]
fn a_struct_that_contradicts_itself_is_refused() {
    let (sound, _kept) = session_struct(&session_from_json(&demo_session()).unwrap());
    let refused = |spoil: fn(&mut WaSession), status: i32, words: &str| {
        let mut of = sound;
        spoil(&mut of);
        let mut found: WaMeasurement = fresh();
        // SAFETY: structs of our own; what is too long is refused before it is looked at.
        let (found, error) = call(|error| unsafe { wa_measure(&raw const of, &raw mut found, error) });
        assert_eq!(found, status, "{}", message(&error));
        assert!(message(&error).contains(words), "{}", message(&error));
    };
    refused(
        |of| (of.pose_noise, of.pose_covariance) = (&raw const NOISE, &raw const COVARIANCE),
        WA_CONTRADICTION,
        "pose_noise and pose_covariance",
    );
    refused(|of| of.ahead.fl.frames = ptr::null(), WA_NULL_POINTER, "frames is NULL");
    refused(|of| of.ahead.rl.frames_count = 10_001, WA_TOO_MANY, "ahead.rl: frames: 10001");
    refused(|of| of.rolling_count = usize::MAX, WA_TOO_MANY, "rolling: ");
    refused(|of| of.sweep_count = 10_001, WA_TOO_MANY, "sweep: 10001");
    refused(|of| of.sweep = ptr::null(), WA_NULL_POINTER, "sweep is NULL");
    refused(|of| of.cameras_count = 1001, WA_TOO_MANY, "cameras: 1001");
    refused(|of| of.method = 2, WA_OUT_OF_RANGE, "method: number out of range: 2, 0 to 1 allowed");
    refused(|of| of.sweep_wheels_locked = 5, WA_OUT_OF_RANGE, "sweep_wheels_locked");
    refused(|of| of.reference.datum = -1, WA_OUT_OF_RANGE, "reference.datum");
    refused(|of| of.note = c"\xff".as_ptr(), WA_NOT_UTF8, "note");
    refused(|of| of.size = 8, WA_BAD_STRUCT_SIZE, "session: a struct of 8 bytes");
    assert_eq!(unsafe { wa_session_default(ptr::null_mut()) }, WA_NULL_POINTER);
}
