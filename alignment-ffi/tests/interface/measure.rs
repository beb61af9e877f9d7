//! `wa_measure_json` and `wa_assess_json`, and how readings are numbered.

use crate::{CAPACITY, Call, UNTOUCHED, demo_session, example, fresh_error, in_two_calls};
use alignment_core::json::{
    assessment_to_json, measurement_to_json, session_from_json, session_to_json, specification_from_json,
};
use alignment_core::paths::READINGS;
use alignment_core::{ErrorCode, assess, measure};
use std::ffi::{CStr, c_char};
use std::{ptr, thread};
use wheel_alignment::*;

fn measured(session: &[u8], capacity: usize) -> Call {
    Call::new(capacity, |result, capacity, length, error| {
        // SAFETY: buffers of our own, with their own lengths.
        unsafe { wa_measure_json(session.as_ptr().cast(), session.len(), result, capacity, length, error) }
    })
}

#[test]
fn the_result_is_the_cores_to_the_byte() {
    let session = demo_session();
    let expected = measurement_to_json(&measure(&session_from_json(&session).unwrap()).unwrap());
    let call = measured(session.as_bytes(), CAPACITY);
    assert_eq!(call.status, WA_SUCCESS, "{}", call.message());
    assert_eq!(call.result(), expected);
    assert_eq!(call.length, expected.len());
    assert_eq!(call.message(), "");
    assert!(call.error.value.is_nan() && call.error.minimum.is_nan() && call.error.maximum.is_nan());
    assert_eq!((call.error.stage, call.error.station, call.error.wheel), (WA_NONE, WA_NONE, WA_NONE));
    // Nothing past the NUL is touched.
    assert!(call.buffer[call.length + 1..].iter().all(|&byte| byte == b'#'));
}

#[test]
fn a_small_buffer_is_told_the_length_that_it_needs() {
    let session = demo_session();
    let length = measured(session.as_bytes(), CAPACITY).length;
    for capacity in [0, 1, 100, length] {
        let call = measured(session.as_bytes(), capacity);
        assert_eq!((call.status, call.length), (WA_BUFFER_TOO_SMALL, length));
        assert!(call.buffer.iter().all(|&byte| byte == b'#'));
        assert_eq!(call.error.minimum, f64::from(u32::try_from(length + 1).unwrap()));
    }
    assert_eq!(measured(session.as_bytes(), length + 1).status, WA_SUCCESS);
}

#[test]
fn an_error_of_the_core_comes_with_its_place_and_figures() {
    let session = demo_session();
    let mut tree = session_from_json(&session).unwrap();
    // A wheel that the rolling left where it was.
    let still = tree.rolling[0].rl.clone();
    for station in &mut tree.rolling {
        station.rl = still.clone();
    }
    let expected = measure(&tree).unwrap_err();
    let call = measured(session_to_json(&tree).as_bytes(), CAPACITY);
    assert!(call.wrote_nothing());
    assert_eq!((expected.code, call.status), (ErrorCode::RollTooSmall, ErrorCode::RollTooSmall.number()));
    assert_eq!((call.error.stage, call.error.station, call.error.wheel), (WA_STAGE_ROLLING, WA_NONE, WA_WHEEL_RL));
    assert_eq!(call.error.value.to_bits(), expected.value.unwrap().to_bits());
    assert_eq!(call.error.minimum.to_bits(), expected.minimum.unwrap().to_bits());
    assert!(call.error.maximum.is_nan());
    assert_eq!(call.message(), expected.to_string());
}

#[test]
fn garbage_is_refused() {
    let session = demo_session();
    let mut refused: Vec<(i32, Vec<u8>)> = vec![
        (WA_NOT_A_SESSION, b"".to_vec()),
        (WA_NOT_A_SESSION, b"\0".to_vec()),
        (WA_NOT_A_SESSION, b"{}".to_vec()),
        (WA_NOT_A_SESSION, b"null".to_vec()),
        (WA_NOT_A_SESSION, "[".repeat(1 << 20).into_bytes()),
        (WA_NOT_A_SESSION, br#"{"colour": 1}"#.to_vec()),
        (WA_NOT_A_SESSION, [session.as_bytes(), b"x"].concat()),
        (WA_NOT_UTF8, b"{\"note\": \"\xff\"}".to_vec()),
    ];
    refused.extend((0..session.len()).step_by(997).map(|end| (WA_NOT_A_SESSION, session.as_bytes()[..end].to_vec())));
    for (status, text) in refused {
        let call = measured(&text, CAPACITY);
        assert_eq!(call.status, status, "{:?}", String::from_utf8_lossy(&text[..text.len().min(80)]));
        assert!(call.wrote_nothing());
        assert!(!call.message().is_empty());
    }
    let call = measured(br#"{"format": "alignment-session/1", "colour": 1}"#, CAPACITY);
    assert!(call.message().contains("unknown field `colour`"), "{}", call.message());
    assert!(measured(b"{\"note\": \"\xff\"}", CAPACITY).message().contains("byte 10"));
}

#[test]
fn null_pointers_and_lengths_are_refused() {
    let session = demo_session();
    let text: *const c_char = session.as_ptr().cast();
    let mut buffer = vec![0; CAPACITY];
    let out = buffer.as_mut_ptr();
    let mut length = UNTOUCHED;
    let length_out = &raw mut length;
    let nobody = ptr::null_mut();
    // SAFETY: each pointer is null or has the length beside it, but for the length that is refused before it is used.
    unsafe {
        assert_eq!(wa_measure_json(ptr::null(), session.len(), out, CAPACITY, length_out, nobody), WA_NULL_POINTER);
        assert_eq!(wa_measure_json(ptr::null(), 0, out, CAPACITY, length_out, nobody), WA_NULL_POINTER);
        assert_eq!(
            wa_measure_json(text, session.len(), ptr::null_mut(), CAPACITY, length_out, nobody),
            WA_NULL_POINTER
        );
        assert_eq!(wa_measure_json(text, session.len(), out, CAPACITY, ptr::null_mut(), nobody), WA_NULL_POINTER);
        assert_eq!(wa_measure_json(text, usize::MAX, out, CAPACITY, length_out, nobody), WA_BAD_LENGTH);
        let mut error = WaError { size: 1, ..fresh_error() };
        assert_eq!(wa_measure_json(text, session.len(), out, CAPACITY, length_out, &raw mut error), WA_BAD_STRUCT_SIZE);
        assert_eq!(error.code, 7);
        assert_eq!((*length_out, *out), (UNTOUCHED, 0));
        assert_eq!(wa_measure_json(text, session.len(), out, CAPACITY, length_out, nobody), WA_SUCCESS);
    }
}

#[test]
fn every_thread_gets_the_same_bytes() {
    let session = demo_session();
    let expected = measured(session.as_bytes(), CAPACITY);
    thread::scope(|scope| {
        for _ in 0..4 {
            scope.spawn(|| assert_eq!(measured(session.as_bytes(), CAPACITY).result(), expected.result()));
        }
    });
}

#[test]
fn names_and_versions() {
    // SAFETY: the library's strings are static and end with a NUL.
    let text = |string: *const c_char| unsafe { CStr::from_ptr(string) }.to_str().unwrap();
    assert_eq!(text(wa_status_name(WA_SUCCESS)), "success");
    assert_eq!(text(wa_status_name(ErrorCode::RollTooSmall.number())), "roll_too_small");
    assert_eq!(text(wa_status_name(42)), "unknown");
    assert_eq!(text(wa_version()), env!("CARGO_PKG_VERSION"));
    assert_eq!(wa_abi_version(), 0);
}

fn assessed<'a>(
    session: &'a str,
    specification: Option<&'a [u8]>,
) -> impl Fn(*mut c_char, usize, *mut usize, *mut WaError) -> i32 {
    move |result, capacity, length, error| {
        let (text, text_length) = specification.map_or((ptr::null(), 0), |text| (text.as_ptr().cast(), text.len()));
        // SAFETY: buffers of our own, with their own lengths.
        unsafe {
            wa_assess_json(session.as_ptr().cast(), session.len(), text, text_length, result, capacity, length, error)
        }
    }
}

#[test]
fn an_assessment_is_the_cores_to_the_byte() {
    let (session, specification) = (demo_session(), example("demo_specification.json"));
    let known = session_from_json(&session).unwrap();
    let limits = specification_from_json(&specification).unwrap();
    in_two_calls(assessed(&session, None)).gave(&assessment_to_json(&assess(&known, None).unwrap()));
    let judged = in_two_calls(assessed(&session, Some(specification.as_bytes())));
    judged.gave(&assessment_to_json(&assess(&known, Some(&limits)).unwrap()));
    assert!(judged.result().contains(r#""verdict": "conforms""#));
}

#[test]
fn a_specification_that_is_none_is_refused() {
    let session = demo_session();
    let with = |specification: &[u8]| Call::new(CAPACITY, assessed(&session, Some(specification)));
    with(b"").refused(WA_NOT_A_SPECIFICATION, "line 1");
    with(b"{}").refused(WA_NOT_A_SPECIFICATION, "format");
    with(b"\xff").refused(WA_NOT_UTF8, "specification_json is not UTF-8 (byte 0)");
    with(br#"{"format": "alignment-specification/1", "limits": {"wheels.fl.camber": {"max": 0}}}"#)
        .refused(WA_UNKNOWN_READING, "wheels.fl.camber");
    // A text that is missing is not taken for none.
    Call::new(CAPACITY, |result, capacity, length, error| {
        // SAFETY: buffers of our own; the null pointer is refused.
        unsafe {
            wa_assess_json(session.as_ptr().cast(), session.len(), ptr::null(), 5, result, capacity, length, error)
        }
    })
    .refused(WA_NULL_POINTER, "specification_json");
}

#[test]
fn readings_are_numbered_as_in_the_core() {
    assert_eq!(wa_reading_count(), READINGS.len());
    for (index, path) in READINGS.iter().enumerate() {
        // SAFETY: the library's strings are static and end with a NUL.
        assert_eq!(unsafe { CStr::from_ptr(wa_reading_path(index)) }.to_str(), Ok(*path));
    }
    for index in [READINGS.len(), usize::MAX] {
        assert!(wa_reading_path(index).is_null());
    }
}
