//! `wa_measure_json` as C calls it: the core's result to the byte, and every refusal.

use alignment_core::json::{measurement_to_json, session_from_json, session_to_json};
use alignment_core::{ErrorCode, measure};
use std::ffi::{CStr, c_char};
use std::{fs, mem, ptr, thread};
use wheel_alignment::{
    WA_BAD_LENGTH, WA_BAD_STRUCT_SIZE, WA_BUFFER_TOO_SMALL, WA_NONE, WA_NOT_A_SESSION, WA_NOT_UTF8, WA_NULL_POINTER,
    WA_STAGE_ROLLING, WA_SUCCESS, WA_WHEEL_RL, WaError, wa_abi_version, wa_measure_json, wa_status_name, wa_version,
};

const CAPACITY: usize = 1 << 16;
const UNTOUCHED: usize = 123_456;

fn demo_session() -> String {
    fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/../examples/pulling-car.json")).unwrap()
}

fn fresh_error() -> WaError {
    WaError {
        size: mem::size_of::<WaError>(),
        code: 7,
        stage: 7,
        station: 7,
        wheel: 7,
        value: 7.0,
        minimum: 7.0,
        maximum: 7.0,
        message: [b'7'.cast_signed(); 512],
    }
}

/// What one call gave.
struct Call {
    status: i32,
    buffer: Vec<u8>,
    length: usize,
    error: WaError,
}

impl Call {
    fn new(session: &[u8], capacity: usize) -> Self {
        let mut call = Self { status: 0, buffer: vec![b'#'; capacity], length: UNTOUCHED, error: fresh_error() };
        let buffer = if capacity == 0 { ptr::null_mut() } else { call.buffer.as_mut_ptr().cast::<c_char>() };
        // SAFETY: buffers of our own, with their own lengths.
        call.status = unsafe {
            wa_measure_json(
                session.as_ptr().cast(),
                session.len(),
                buffer,
                capacity,
                &raw mut call.length,
                &raw mut call.error,
            )
        };
        assert_eq!(call.error.code, call.status);
        call
    }

    fn result(&self) -> &str {
        CStr::from_bytes_until_nul(&self.buffer).unwrap().to_str().unwrap()
    }

    fn message(&self) -> &str {
        // SAFETY: a message ends with a NUL within its array.
        unsafe { CStr::from_ptr(self.error.message.as_ptr()) }.to_str().unwrap()
    }

    fn wrote_nothing(&self) -> bool {
        self.length == UNTOUCHED && self.buffer.iter().all(|&byte| byte == b'#')
    }
}

#[test]
fn the_result_is_the_cores_to_the_byte() {
    let session = demo_session();
    let expected = measurement_to_json(&measure(&session_from_json(&session).unwrap()).unwrap());
    let call = Call::new(session.as_bytes(), CAPACITY);
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
#[expect(clippy::float_cmp, reason = "sizes in bytes are exact")]
fn a_small_buffer_is_told_the_length_that_it_needs() {
    let session = demo_session();
    let length = Call::new(session.as_bytes(), CAPACITY).length;
    for capacity in [0, 1, 100, length] {
        let call = Call::new(session.as_bytes(), capacity);
        assert_eq!((call.status, call.length), (WA_BUFFER_TOO_SMALL, length));
        assert!(call.buffer.iter().all(|&byte| byte == b'#'));
        assert_eq!(call.error.minimum, f64::from(u32::try_from(length + 1).unwrap()));
    }
    assert_eq!(Call::new(session.as_bytes(), length + 1).status, WA_SUCCESS);
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
    let call = Call::new(session_to_json(&tree).as_bytes(), CAPACITY);
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
        let call = Call::new(&text, CAPACITY);
        assert_eq!(call.status, status, "{:?}", String::from_utf8_lossy(&text[..text.len().min(80)]));
        assert!(call.wrote_nothing());
        assert!(!call.message().is_empty());
    }
    let call = Call::new(br#"{"format": "alignment-session/1", "colour": 1}"#, CAPACITY);
    assert!(call.message().contains("unknown field `colour`"), "{}", call.message());
    assert!(Call::new(b"{\"note\": \"\xff\"}", CAPACITY).message().contains("byte 10"));
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
    let expected = Call::new(session.as_bytes(), CAPACITY);
    thread::scope(|scope| {
        for _ in 0..4 {
            scope.spawn(|| assert_eq!(Call::new(session.as_bytes(), CAPACITY).result(), expected.result()));
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
