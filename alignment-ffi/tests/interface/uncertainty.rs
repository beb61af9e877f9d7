//! Budgets, covariances, trials, plans and their reach.

use crate::{CAPACITY, Call, c, call, demo_session, in_two_calls, message};
use alignment_core::json::{session_from_json, session_to_json};
use alignment_core::paths::COUNT;
use alignment_core::session::{CompensationMethod, InputUncertainty, Method, PoseNoise};
use alignment_core::uncertainty::{Plan, plan, propagate, reach};
use alignment_core::{Session, assess};
use std::ffi::{CStr, c_char};
use std::{mem, ptr};
use wheel_alignment::*;

const CAMBER: &str = "wheels.fl.camber_deg";

fn known(text: &str) -> Session {
    session_from_json(text).unwrap()
}

/// The demo session, of which nobody knows how much its poses scatter.
fn without_noise() -> String {
    session_to_json(&Session { pose_noise: None, ..known(&demo_session()) })
}

fn json<T: serde::Serialize>(value: &T) -> String {
    serde_json::to_string_pretty(value).unwrap()
}

fn budget<'a>(
    session: &'a str,
    path: &'a CStr,
    by_pose: bool,
) -> impl Fn(*mut c_char, usize, *mut usize, *mut WaError) -> i32 {
    move |result, capacity, length, error| {
        // SAFETY: buffers of our own, with their own lengths.
        unsafe {
            let function = if by_pose { wa_uncertainty_budget_by_pose_json } else { wa_uncertainty_budget_json };
            function(session.as_ptr().cast(), session.len(), path.as_ptr(), result, capacity, length, error)
        }
    }
}

#[test]
fn budgets_are_the_cores() {
    let session = demo_session();
    let uncertainty = propagate(&known(&session)).unwrap();
    let path = c(CAMBER);
    let together = in_two_calls(budget(&session, &path, false));
    together.gave(&json(&uncertainty.budget(CAMBER).unwrap()));
    in_two_calls(budget(&session, &path, true)).gave(&json(&uncertainty.budget_by_pose(CAMBER).unwrap()));
    // As the header has it.
    for words in [r#""poses": {"#, r#""stage": "rolling""#, r#""station": null"#, r#""wheel": "fl""#, r#""share": 0."#]
    {
        assert!(together.result().contains(words), "{words}");
    }
}

#[test]
fn a_budget_of_what_is_no_reading_or_has_no_noise_is_refused() {
    let (session, blind) = (demo_session(), without_noise());
    let refused = |session: &str, path: &CStr, status, words| {
        Call::new(CAPACITY, budget(session, path, false)).refused(status, words);
    };
    refused(&session, c"wheels.fl.camber", WA_UNKNOWN_READING, "no reading has this path");
    refused(&session, c"wheels.fl.\xff", WA_NOT_UTF8, "path is not UTF-8 (byte 10)");
    refused(&blind, c"wheels.fl.camber_deg", WA_MISSING_INPUT, "pose_noise");
    refused("{}", c"wheels.fl.camber_deg", WA_NOT_A_SESSION, "format");
    Call::new(CAPACITY, |result, capacity, length, error| {
        // SAFETY: buffers of our own; the null pointer is refused.
        unsafe {
            wa_uncertainty_budget_json(
                session.as_ptr().cast(),
                session.len(),
                ptr::null(),
                result,
                capacity,
                length,
                error,
            )
        }
    })
    .refused(WA_NULL_POINTER, "path is NULL");
}

#[test]
fn the_covariance_is_the_cores_to_the_bit() {
    let session = demo_session();
    let covariance = |text: &str, target: *mut f64, capacity| {
        // SAFETY: buffers of our own, with their own lengths; one that is null or too small is refused.
        call(|error| unsafe {
            wa_uncertainty_covariance_matrix(text.as_ptr().cast(), text.len(), target, capacity, error)
        })
    };
    let mut matrix = vec![7.0; COUNT * COUNT + 1];
    let target = matrix.as_mut_ptr();
    for (text, target, capacity, status) in [
        (session.as_str(), ptr::null_mut(), 0, WA_NULL_POINTER),
        (&session, target, COUNT * COUNT - 1, WA_BUFFER_TOO_SMALL),
        (&without_noise(), target, COUNT * COUNT, WA_MISSING_INPUT),
        ("{}", target, COUNT * COUNT, WA_NOT_A_SESSION),
    ] {
        let (given, error) = covariance(text, target, capacity);
        assert_eq!(given, status, "{}", message(&error));
    }
    assert_eq!(covariance(&session, target, 5).1.minimum.to_bits(), 13_225_f64.to_bits());
    assert!(matrix.iter().all(|v| v.to_bits() == 7_f64.to_bits()), "a refusal writes nothing");

    assert_eq!(covariance(&session, matrix.as_mut_ptr(), matrix.len()).0, WA_SUCCESS);
    assert_eq!(matrix.pop().map(f64::to_bits), Some(7_f64.to_bits()), "nothing beyond is touched");
    assert_eq!(matrix, propagate(&known(&session)).unwrap().covariance_matrix());
    // The diagonal is what the assessment says of each reading.
    let standard = assess(&known(&session), None).unwrap().uncertainty.unwrap().values();
    for (index, standard) in standard.into_iter().enumerate() {
        assert_eq!(matrix[index * COUNT + index].max(0.0).sqrt().to_bits(), standard.unwrap_or(0.0).to_bits());
    }
}

fn fresh_trials() -> WaTrials {
    let mut trials =
        WaTrials { size: mem::size_of::<WaTrials>(), probability: 7.0, seed: 7, significant_digits: 7, most_trials: 7 };
    // SAFETY: a struct of our own, its size set.
    assert_eq!(unsafe { wa_trials_default(&raw mut trials) }, WA_SUCCESS);
    trials
}

fn run(session: &str, paths: &[*const c_char], count: usize, trials: *const WaTrials) -> Call {
    Call::new(CAPACITY, |result, capacity, length, error| {
        // SAFETY: buffers of our own, with their own lengths; what is null or too long is refused.
        unsafe {
            let text = session.as_ptr().cast();
            let paths = paths.as_ptr();
            wa_monte_carlo_json(text, session.len(), paths, count, trials, result, capacity, length, error)
        }
    })
}

#[test]
fn trials_agree_with_the_law_and_repeat_by_their_seed() {
    let session = demo_session();
    let trials = WaTrials { significant_digits: 1, most_trials: 100_000, seed: 1, ..fresh_trials() };
    let call = run(&session, &[c"wheels.fl.camber_deg".as_ptr()], 1, &raw const trials);
    assert_eq!(call.status, WA_SUCCESS, "{}", call.message());
    let settings = alignment_core::monte_carlo::Settings {
        significant_digits: 1,
        most_trials: 100_000,
        seed: 1,
        ..Default::default()
    };
    call.gave(&json(&alignment_core::uncertainty::monte_carlo(&known(&session), &[CAMBER], settings).unwrap()));
    assert!(call.result().contains(r#""agrees": true"#), "{}", call.result());
}

#[test]
fn trials_that_cannot_be_made_are_refused() {
    let session = demo_session();
    let trials = fresh_trials();
    let path = c"wheels.fl.camber_deg".as_ptr();
    let of = |paths: &[*const c_char], count, trials: &WaTrials| run(&session, paths, count, trials);
    of(&[c"wheels.fl.camber".as_ptr()], 1, &trials).refused(WA_UNKNOWN_READING, "no reading");
    of(&[path, ptr::null()], 2, &trials).refused(WA_NULL_POINTER, "paths");
    of(&[c"\xff".as_ptr()], 1, &trials).refused(WA_NOT_UTF8, "paths");
    of(&[path], 0, &trials).refused(WA_OUT_OF_RANGE, &format!("count: number out of range: 0, 1 to {COUNT}"));
    of(&[path], usize::MAX, &trials).refused(WA_BAD_LENGTH, "paths");
    of(&[path], 1, &WaTrials { most_trials: 5, ..trials }).refused(WA_OUT_OF_RANGE, "most_trials");
    of(&[path], 1, &WaTrials { probability: f64::NAN, ..trials }).refused(WA_NOT_FINITE, "probability");
    of(&[path], 1, &WaTrials { size: 8, ..trials }).refused(WA_BAD_STRUCT_SIZE, "settings");
    run(&session, &[path], 1, ptr::null()).refused(WA_NULL_POINTER, "settings");
    run(&without_noise(), &[path], 1, &raw const trials).refused(WA_MISSING_INPUT, "pose_noise");
}

fn fresh_plan() -> WaPlan {
    let nothing = WaPoseNoise { rotation_deg: 7.0, translation_mm: 7.0 };
    let mut plan = WaPlan {
        size: mem::size_of::<WaPlan>(),
        frames: 7,
        roll_stations: 7,
        sweep_stations: 7,
        compensation: 7,
        sweep_wheels_locked: 7,
        roll_range_deg: 7.0,
        sweep_range_deg: 7.0,
        wheelbase_mm: 7.0,
        track_mm: 7.0,
        rolling_radius_mm: 7.0,
        pose_noise: nothing,
        input_uncertainty: WaInputUncertainty {
            clamp_standoff_mm: 7.0,
            up_deg: 7.0,
            loaded_radius_mm: 7.0,
            runway_mm: 7.0,
            ride_height_mm: 7.0,
            right_cameras: nothing,
        },
        method: 7,
    };
    // SAFETY: a struct of our own, its size set.
    assert_eq!(unsafe { wa_plan_default(&raw mut plan) }, WA_SUCCESS);
    assert_eq!(plan.size, mem::size_of::<WaPlan>());
    plan
}

fn planned(plan: *const WaPlan) -> Call {
    Call::new(CAPACITY, |result, capacity, length, error| {
        // SAFETY: buffers of our own, with their own lengths.
        unsafe { wa_plan_json(plan, result, capacity, length, error) }
    })
}

#[test]
fn a_plan_is_the_cores_in_every_field() {
    let mut given = fresh_plan();
    planned(&raw const given).gave(&json(&plan(&Plan::default()).unwrap()));
    // Each number another, so that none can stand for its neighbour.
    let expected = Plan {
        pose_noise: PoseNoise { rotation_deg: 0.011, translation_mm: 0.07 },
        frames: 3,
        compensation: CompensationMethod::Spun,
        roll_range_deg: 60.0,
        roll_stations: 4,
        sweep_range_deg: 36.0,
        sweep_stations: 6,
        sweep_wheels_locked: false,
        input_uncertainty: InputUncertainty {
            clamp_standoff_mm: 0.2,
            up_deg: 0.013,
            loaded_radius_mm: 1.1,
            runway_mm: 0.3,
            ride_height_mm: 0.9,
            right_cameras: PoseNoise { rotation_deg: 0.004, translation_mm: 0.06 },
        },
        method: Method::Joint,
        wheelbase_mm: 2500.0,
        track_mm: 1480.0,
        rolling_radius_mm: 290.0,
    };
    given.method = WA_METHOD_JOINT;
    (given.frames, given.roll_stations, given.sweep_stations) = (3, 4, 6);
    (given.compensation, given.sweep_wheels_locked) = (WA_COMPENSATION_SPUN, 0);
    (given.roll_range_deg, given.sweep_range_deg) = (60.0, 36.0);
    (given.wheelbase_mm, given.track_mm, given.rolling_radius_mm) = (2500.0, 1480.0, 290.0);
    given.pose_noise = WaPoseNoise { rotation_deg: 0.011, translation_mm: 0.07 };
    given.input_uncertainty = WaInputUncertainty {
        clamp_standoff_mm: 0.2,
        up_deg: 0.013,
        loaded_radius_mm: 1.1,
        runway_mm: 0.3,
        ride_height_mm: 0.9,
        right_cameras: WaPoseNoise { rotation_deg: 0.004, translation_mm: 0.06 },
    };
    planned(&raw const given).gave(&json(&plan(&expected).unwrap()));
}

#[test]
fn a_plan_that_no_measurement_has_is_refused() {
    let plan = fresh_plan();
    let of = |plan: WaPlan| planned(&raw const plan);
    of(WaPlan { compensation: 2, ..plan }).refused(WA_OUT_OF_RANGE, "compensation: number out of range: 2, 0 to 1");
    of(WaPlan { frames: usize::MAX, ..plan }).refused(WA_OUT_OF_RANGE, "frames");
    of(WaPlan { roll_range_deg: f64::NAN, ..plan }).refused(WA_NOT_FINITE, "roll_range_deg");
    of(WaPlan { track_mm: 1.0, ..plan }).refused(WA_LENGTH_OUT_OF_RANGE, "track_mm");
    of(WaPlan { size: 0, ..plan }).refused(WA_BAD_STRUCT_SIZE, "plan");
    planned(ptr::null()).refused(WA_NULL_POINTER, "plan");
    // SAFETY: null, or a struct of our own.
    unsafe {
        assert_eq!(wa_plan_default(ptr::null_mut()), WA_NULL_POINTER);
        let mut unset = WaPlan { size: 5, frames: 77, ..plan };
        assert_eq!(wa_plan_default(&raw mut unset), WA_BAD_STRUCT_SIZE);
        assert_eq!(unset.frames, 77);
        assert_eq!(wa_trials_default(ptr::null_mut()), WA_NULL_POINTER);
    }
}

fn fresh_reach() -> WaReach {
    let set = WaOptional { value: 7.0, present: 7 };
    let size = mem::size_of::<WaReach>();
    WaReach { size, roll_range_deg: set, sweep_range_deg: set, wheels_expanded_deg: 7.0, steering_expanded_deg: set }
}

fn same(given: WaOptional, expected: Option<f64>) {
    assert_eq!(given.present, i64::from(expected.is_some()));
    assert_eq!(given.value.to_bits(), expected.unwrap_or(f64::NAN).to_bits());
}

#[test]
fn the_reach_is_the_cores_and_tells_what_is_absent() {
    for (wanted_deg, sweep_stations) in [(0.02, 9), (0.02, 0), (0.001, 9)] {
        let plan = WaPlan { sweep_stations, ..fresh_plan() };
        let mut given = fresh_reach();
        // SAFETY: structs of our own, their sizes set.
        let (status, error) =
            call(|error| unsafe { wa_reach(&raw const plan, wanted_deg, 2.0, &raw mut given, error) });
        assert_eq!(status, WA_SUCCESS, "{}", message(&error));
        let expected = reach(&Plan { sweep_stations, ..Plan::default() }, wanted_deg, 2.0).unwrap();
        same(given.roll_range_deg, expected.roll_range_deg);
        same(given.sweep_range_deg, expected.sweep_range_deg);
        same(given.steering_expanded_deg, expected.steering_expanded_deg);
        assert_eq!(given.wheels_expanded_deg.to_bits(), expected.wheels_expanded_deg.to_bits());
        assert_eq!(given.size, mem::size_of::<WaReach>());
    }
}

#[test]
fn a_reach_that_cannot_be_is_refused() {
    let plan = fresh_plan();
    let mut reach = fresh_reach();
    let target = &raw mut reach;
    for (plan, wanted_deg, target, status) in [
        (&raw const plan, 0.0, target, WA_OUT_OF_RANGE),
        (&raw const plan, f64::NAN, target, WA_NOT_FINITE),
        (ptr::null(), 0.02, target, WA_NULL_POINTER),
        (&raw const plan, 0.02, ptr::null_mut(), WA_NULL_POINTER),
    ] {
        // SAFETY: null, or structs of our own with their sizes set.
        let (given, error) = call(|error| unsafe { wa_reach(plan, wanted_deg, 2.0, target, error) });
        assert_eq!(given, status, "{}", message(&error));
    }
    assert_eq!(reach.wheels_expanded_deg.to_bits(), 7_f64.to_bits());
    reach.size = 9;
    // SAFETY: structs of our own; the size that is none is refused.
    let (given, error) = call(|error| unsafe { wa_reach(&raw const plan, 0.02, 2.0, &raw mut reach, error) });
    assert_eq!(given, WA_BAD_STRUCT_SIZE);
    assert!(message(&error).contains("reach: a struct of 9 bytes"), "{}", message(&error));
}
