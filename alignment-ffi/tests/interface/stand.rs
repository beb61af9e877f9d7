//! Stands through C: the core's bits, by the session, by its text, by four poses and live; and every refusal.

use crate::owned::session_struct;
use crate::structs::fresh;
use crate::{CAPACITY, Call, call, example, in_two_calls, message};
use alignment_core::json::{
    session_to_json, stand_assessment_to_json, stand_requirements_from_json, stand_requirements_to_json,
};
use alignment_core::live::{LiveSettings, Tracker};
use alignment_core::record::{Record, StandSetup};
use alignment_core::session::{Noise, PoseCovariance, PoseNoise};
use alignment_core::simulate::VirtualVehicle;
use alignment_core::stand::{self, GroundLine, Line, PlacedStand, ReferencePoint};
use alignment_core::{ByAxle, Pose, Session};
use std::mem::MaybeUninit;
use std::ptr;
use wheel_alignment::*;

fn session() -> Session {
    let noise = PoseNoise { rotation_deg: 0.005, translation_mm: 0.05 };
    VirtualVehicle { pose_noise: Some(noise), ..VirtualVehicle::default() }.session()
}

fn pose(vector: [f64; 3], at: [f64; 3]) -> Pose {
    Pose::from_rotation_vector_rad(vector, at).unwrap()
}

fn covariance() -> PoseCovariance {
    let mut covariance = [[0.0; 6]; 6];
    for (axis, row) in covariance.iter_mut().enumerate() {
        row[axis] = if axis < 3 { 1e-4 } else { 0.04 };
    }
    PoseCovariance { covariance }
}

/// The result of a call that fills in a struct without a size.
fn given<T>(function: impl FnOnce(*mut T, *mut WaError) -> i32) -> T {
    let mut result = MaybeUninit::<T>::uninit();
    let (status, error) = call(|error| function(result.as_mut_ptr(), error));
    assert_eq!(status, WA_SUCCESS, "{}", message(&error));
    // SAFETY: what succeeds is filled in.
    unsafe { result.assume_init() }
}

fn bits<const N: usize>(values: [f64; N]) -> [u64; N] {
    values.map(f64::to_bits)
}

fn six(readings: &WaStandReadings) -> [f64; 6] {
    let WaStandReadings { distance_mm, lateral_offset_mm, height_mm, yaw_deg, pitch_deg, roll_deg } = *readings;
    [distance_mm, lateral_offset_mm, height_mm, yaw_deg, pitch_deg, roll_deg]
}

/// What a record keeps of it goes into the details of one.
fn is_kept_in_a_record(
    session: &str,
    placed: &WaPlacedStand,
    ground: &[[f64; 3]],
    requirements: &str,
    found: &stand::StandAssessment,
) {
    let setup = in_two_calls(|result, capacity, length, error| unsafe {
        wa_stand_setup_of_json(
            session.as_ptr().cast(),
            session.len(),
            placed,
            ground.as_ptr().cast(),
            ground.len(),
            requirements.as_ptr().cast(),
            requirements.len(),
            result,
            capacity,
            length,
            error,
        )
    });
    let kept = setup.result().to_owned();
    setup.gave(&serde_json::to_string_pretty(&StandSetup::of(found)).unwrap());
    let record = Record::from_details(&format!(r#"{{"stand": {kept}}}"#)).unwrap();
    assert_eq!(record.stand, Some(StandSetup::of(found)));
}

#[test]
fn an_assessment_is_the_cores() {
    let (seen, mark) = (pose([0.1, -0.05, 0.3], [4200.0, 60.0, 900.0]), pose([0.0, 0.2, 0.3], [-100.0, 0.0, -400.0]));
    let noise = Noise::Covariance(Box::new(covariance()));
    let mut expected = PlacedStand::from_target(&seen, &mark, Some(&noise)).unwrap();
    let (target, in_stand): (WaPose, WaPose) = (seen.into(), mark.into());
    let of = WaPoseCovariance { covariance: covariance().covariance };
    // SAFETY: structs, texts and buffers of our own, here and below.
    let mut placed: WaPlacedStand = given(|to, error| unsafe {
        wa_placed_stand_from_target(&raw const target, &raw const in_stand, &raw const of, to, error)
    });
    (placed.pivot_mm, expected.pivot_mm) = ([-150.0, 0.0, -900.0], [-150.0, 0.0, -900.0]);
    assert_eq!(Pose::from(placed.rig_from_stand), expected.rig_from_stand);
    assert_eq!(placed.noise_known, 1);

    let session = session();
    let (given_session, _kept) = session_struct(&session);
    let text = example("demo_stand.json");
    let requirements = stand_requirements_from_json(&text).unwrap();
    let ground = [[0.0, 0.0, -310.0], [3000.0, 100.0, -305.0], [0.0, 1500.0, -309.0], [3000.0, 1500.0, -300.0]];
    for count in [0, ground.len()] {
        let found = stand::assess(&session, &expected, &ground[..count], &requirements).unwrap();
        let mut assessment: WaStandAssessment = fresh();
        let (status, error) = call(|error| unsafe {
            wa_stand_assess(
                &raw const given_session,
                &raw const placed,
                ground.as_ptr().cast(),
                count,
                text.as_ptr().cast(),
                text.len(),
                &raw mut assessment,
                error,
            )
        });
        assert_eq!(status, WA_SUCCESS, "{}", message(&error));
        assert_eq!(bits(six(&assessment.readings)), bits(found.readings.values()));
        assert_eq!(bits(six(&assessment.standard_uncertainty)), bits(found.standard_uncertainty.unwrap().values()));
        assert_eq!(bits(six(&assessment.expanded_uncertainty)), bits(found.expanded_uncertainty.unwrap().values()));
        assert!(six(&assessment.degrees_of_freedom).iter().all(|freedom| freedom.is_nan()), "all noise is stated");
        assert_eq!(assessment.overall, WA_VERDICT_DOES_NOT_CONFORM);
        assert_eq!(assessment.verdicts[3], WA_VERDICT_DOES_NOT_CONFORM);
        assert_eq!(assessment.moves.forward_mm.to_bits(), found.moves.forward_mm.to_bits());
        assert_eq!(assessment.ground_line.ground.uneven != 0, found.ground_line.ground.uneven);
        assert_eq!(Pose::from(assessment.ground_line.rig_from_line), found.ground_line.rig_from_line);
        let session_text = session_to_json(&session);
        in_two_calls(|result, capacity, length, error| unsafe {
            wa_stand_assess_json(
                session_text.as_ptr().cast(),
                session_text.len(),
                &raw const placed,
                ground.as_ptr().cast(),
                count,
                text.as_ptr().cast(),
                text.len(),
                result,
                capacity,
                length,
                error,
            )
        })
        .gave(&stand_assessment_to_json(&found));

        is_kept_in_a_record(&session_text, &placed, &ground[..count], &text, &found);

        // Read again by the line alone, moved, and read once more.
        let line = &raw const assessment.ground_line;
        let readings: WaStandReadings =
            given(|to, error| unsafe { wa_ground_line_readings(line, &raw const placed.rig_from_stand, to, error) });
        assert!(six(&readings).iter().zip(found.readings.values()).all(|(a, b)| (a - b).abs() < 1e-9));
        let pivot = placed.pivot_mm.as_ptr();
        let moves: WaStandMoves = given(|to, error| unsafe {
            wa_stand_moves(&raw const readings, text.as_ptr().cast(), text.len(), pivot, to, error)
        });
        let there: WaPose = given(|to, error| unsafe {
            wa_stand_moved(&raw const placed.rig_from_stand, &raw const moves, pivot, to, error)
        });
        let landed: WaStandReadings =
            given(|to, error| unsafe { wa_ground_line_readings(line, &raw const there, to, error) });
        let required = requirements.required.values().map(|of| of.unwrap().nominal);
        assert!(six(&landed).iter().zip(required).all(|(a, b)| (a - b).abs() < 1e-6), "{landed:?}");
    }

    // Unknown noise, and nothing required.
    placed.noise_known = 0;
    let nothing = r#"{"format": "alignment-stand/1", "required": {}}"#;
    let mut assessment: WaStandAssessment = fresh();
    let (status, _) = call(|error| unsafe {
        let (text, length) = (nothing.as_ptr().cast(), nothing.len());
        wa_stand_assess(
            &raw const given_session,
            &raw const placed,
            ptr::null(),
            0,
            text,
            length,
            &raw mut assessment,
            error,
        )
    });
    assert_eq!((status, assessment.overall, assessment.verdicts), (WA_SUCCESS, WA_VERDICT_UNDETERMINED, [WA_NONE; 6]));
    assert!(six(&assessment.standard_uncertainty).iter().all(|value| value.is_nan()));
}

#[test]
fn a_line_is_found_straight_ahead_and_live() {
    let session = session();
    let (given_session, _kept) = session_struct(&session);
    let mut settings: WaLiveSettings = fresh();
    assert_eq!(unsafe { wa_live_settings_default(&raw mut settings) }, WA_SUCCESS);
    let tracker: *mut WaTracker =
        given(|to, error| unsafe { wa_tracker_new(&raw const given_session, &raw const settings, to, error) });
    let mut live: WaLiveReadings = fresh();
    assert_eq!(call(|error| unsafe { wa_tracker_readings(tracker, &raw mut live, error) }).0, WA_SUCCESS);
    let mut ahead: WaAheadReadings = fresh();
    ahead.wheels = live.alignment.wheels;
    ahead.rig_from_vehicle = live.rig_from_vehicle;
    let point = [2700.0, 0.0, 0.0];
    let followed = Tracker::new(&session, LiveSettings::default()).unwrap();
    let (none, from) = (ByAxle::default(), ReferencePoint::Point(point));
    let expected = GroundLine::from_live(followed.readings(), &none, None, Line::Centreline, from).unwrap();
    let (line, reference) = (WA_LINE_CENTRELINE, WA_REFERENCE_POINT_POINT);
    let by_ahead: WaGroundLine = given(|to, error| unsafe {
        wa_ground_line_from_ahead(
            &raw const ahead,
            ptr::null(),
            ptr::null(),
            line,
            reference,
            point.as_ptr(),
            to,
            error,
        )
    });
    let by_live: WaGroundLine = given(|to, error| unsafe {
        wa_ground_line_from_live(&raw const live, ptr::null(), ptr::null(), line, reference, point.as_ptr(), to, error)
    });
    for found in [by_ahead, by_live] {
        assert_eq!(Pose::from(found.rig_from_line), expected.rig_from_line);
        assert_eq!(found.ground.tilt_deg.to_bits(), expected.ground.tilt_deg.to_bits());
    }
    let refused = |line: i32, reference: i32, point: *const f64, status: i32, words: &str| {
        let mut to = MaybeUninit::<WaGroundLine>::uninit();
        let (found, error) = call(|error| unsafe {
            wa_ground_line_from_ahead(
                &raw const ahead,
                ptr::null(),
                ptr::null(),
                line,
                reference,
                point,
                to.as_mut_ptr(),
                error,
            )
        });
        assert_eq!(found, status, "{}", message(&error));
        assert!(message(&error).contains(words), "{}", message(&error));
    };
    refused(2, 0, ptr::null(), WA_OUT_OF_RANGE, "line");
    refused(0, 3, ptr::null(), WA_OUT_OF_RANGE, "reference");
    refused(0, WA_REFERENCE_POINT_POINT, ptr::null(), WA_NULL_POINTER, "point_mm");
    refused(0, WA_REFERENCE_POINT_POINT, [f64::NAN; 3].as_ptr(), WA_NOT_FINITE, "point_mm");
    ahead.wheels.rr.centre_mm = [f64::NAN; 3];
    let mut to = MaybeUninit::<WaGroundLine>::uninit();
    let (status, error) = call(|error| unsafe {
        wa_ground_line_from_ahead(&raw const ahead, ptr::null(), ptr::null(), 0, 0, ptr::null(), to.as_mut_ptr(), error)
    });
    assert_eq!((status, error.wheel), (WA_WHEEL_NOT_SEEN, WA_WHEEL_RR));
    assert_eq!(call(|error| unsafe { wa_tracker_free(tracker, error) }).0, WA_SUCCESS);
}

#[test]
fn requirements_are_written_out_and_refused() {
    let text = example("demo_stand.json");
    let written = |text: &str| {
        let text = text.to_owned();
        Call::new(CAPACITY, move |result, capacity, length, error| unsafe {
            wa_stand_requirements_to_json(text.as_ptr().cast(), text.len(), result, capacity, length, error)
        })
    };
    written(&text).gave(&stand_requirements_to_json(&stand_requirements_from_json(&text).unwrap()));
    written(&text.replace("yaw_deg", "yaw")).refused(WA_NOT_A_SPECIFICATION, "required.yaw");
    let riding = given::<WaPlacedStand>(|to, error| unsafe {
        let level: WaPose = pose([0.0; 3], [0.0, 300.0, 0.0]).into();
        wa_placed_stand_from_rig(&raw const level, ptr::null(), to, error)
    });
    assert_eq!((riding.rig_from_stand.translation_mm[1], riding.noise_known), (-300.0, 0));
}
