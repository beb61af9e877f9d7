//! Hints through C: the core's to the byte, with what is known of the readings and without.

use crate::structs::fresh;
use crate::{CAPACITY, Call, call, example, in_two_calls};
use alignment_core::Wheel;
use alignment_core::diagnosis::{Cause, NormalTolerances, diagnose};
use alignment_core::json::{session_to_json, specification_from_json};
use alignment_core::simulate::{BentKnuckle, VirtualVehicle};
use alignment_core::uncertainty::propagate;
use std::ffi::c_char;
use std::ptr;
use wheel_alignment::*;

fn bent() -> VirtualVehicle {
    let noise = alignment_core::session::PoseNoise { rotation_deg: 0.005, translation_mm: 0.05 };
    let mut car = VirtualVehicle { pose_noise: Some(noise), ..VirtualVehicle::default() };
    car.faults.bent_knuckles.push(BentKnuckle { wheel: Wheel::Fl, camber_deg: 1.5, toe_deg: 0.2 });
    car
}

#[test]
fn hints_are_the_cores() {
    let known = propagate(&bent().session()).unwrap();
    let all = &known.measurement.alignment;
    let numbers = all.values().map(|value| value.unwrap_or(f64::NAN));
    let mut readings: WaAlignment = fresh();
    // SAFETY: numbers, trees, texts and buffers of our own, here and below.
    let (status, _) =
        call(|error| unsafe { wa_alignment_from_values(numbers.as_ptr(), numbers.len(), &raw mut readings, error) });
    assert_eq!(status, WA_SUCCESS);
    let readings = &raw const readings;
    let covariance = known.covariance_matrix();
    let text = example("demo_specification.json");
    let specification = specification_from_json(&text).unwrap();
    let mut tolerances: WaNormalTolerances = fresh();
    assert_eq!(unsafe { wa_normal_tolerances_default(&raw mut tolerances) }, WA_SUCCESS);
    let normal = NormalTolerances::default();
    assert_eq!((tolerances.included_angle_deg, tolerances.setback_mm), (normal.included_angle_deg, normal.setback_mm));

    let expected = diagnose(all, Some(covariance), Some(&specification), &normal).unwrap();
    in_two_calls(|result, capacity, length, error| unsafe {
        wa_diagnose_json(
            readings,
            covariance.as_ptr(),
            covariance.len(),
            text.as_ptr().cast(),
            text.len(),
            &raw const tolerances,
            result,
            capacity,
            length,
            error,
        )
    })
    .gave(&serde_json::to_string_pretty(&expected).unwrap());

    // Nothing but the readings.
    let alone = |result: *mut c_char, capacity, length, error| unsafe {
        let (none, nothing) = (ptr::null(), ptr::null());
        wa_diagnose_json(readings, ptr::null(), 0, none, 0, nothing, result, capacity, length, error)
    };
    let expected = diagnose(all, None, None, &normal).unwrap();
    assert_eq!(expected[0].cause as i32, WA_CAUSE_BENT_KNUCKLE);
    in_two_calls(alone).gave(&serde_json::to_string_pretty(&expected).unwrap());

    // Where 2° are normal, 1.5° are no hint.
    tolerances.included_angle_deg = 2.0;
    let with = |tolerances: *const WaNormalTolerances, count: usize| {
        Call::new(CAPACITY, |result, capacity, length, error| unsafe {
            let text = ptr::null();
            wa_diagnose_json(readings, covariance.as_ptr(), count, text, 0, tolerances, result, capacity, length, error)
        })
    };
    assert_eq!(with(&raw const tolerances, covariance.len()).result(), "[]");
    with(&raw const tolerances, 9).refused(WA_NOT_A_COVARIANCE, "covariance");
    tolerances.sai_deg = f64::NAN;
    with(&raw const tolerances, covariance.len()).refused(WA_NOT_FINITE, "sai_deg");
    tolerances.size = 4;
    with(&raw const tolerances, covariance.len()).refused(WA_BAD_STRUCT_SIZE, "tolerances");
}

/// An instructor's faults come with the text of the virtual car; one that was written before there were any is read.
#[test]
fn a_virtual_car_has_its_faults() {
    let session = |text: String| {
        in_two_calls(|result, capacity, length, error| unsafe {
            wa_virtual_vehicle_session_json(text.as_ptr().cast(), text.len(), result, capacity, length, error)
        })
    };
    session(serde_json::to_string(&bent()).unwrap()).gave(&session_to_json(&bent().session()));
    let mut before = serde_json::to_value(VirtualVehicle::default()).unwrap();
    assert!(before.as_object_mut().unwrap().remove("faults").is_some());
    session(before.to_string()).gave(&session_to_json(&VirtualVehicle::default().session()));
}

#[test]
fn causes_have_their_numbers() {
    let numbers = [
        WA_CAUSE_BENT_KNUCKLE,
        WA_CAUSE_SHIFTED_PIVOT,
        WA_CAUSE_SHIFTED_SUBFRAME,
        WA_CAUSE_PUSHED_BACK_WHEEL,
        WA_CAUSE_BENT_STEERING_ARM,
        WA_CAUSE_BENT_REAR_STUB_AXLE,
        WA_CAUSE_SHIFTED_REAR_AXLE,
    ];
    assert_eq!(Cause::ALL.iter().map(|&cause| cause as i32).collect::<Vec<_>>(), numbers);
}
