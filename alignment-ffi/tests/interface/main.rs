//! The interface as C calls it: the core's results to the byte, and every refusal.

#![expect(clippy::float_cmp, reason = "the same bits, or numbers that were put there")]

mod batch;
mod conformity;
mod diagnosis;
mod live;
mod measure;
mod owned;
mod poses;
mod record;
mod repeatability;
mod stand;
mod structs;
mod texts;
mod uncertainty;

use std::ffi::{CStr, CString, c_char};
use std::{fs, mem, ptr};
use wheel_alignment::{WA_BUFFER_TOO_SMALL, WA_SUCCESS, WaError};

const CAPACITY: usize = 1 << 18;
const UNTOUCHED: usize = 123_456;

fn example(name: &str) -> String {
    fs::read_to_string(format!("{}/../examples/{name}", env!("CARGO_MANIFEST_DIR"))).unwrap()
}

fn demo_session() -> String {
    example("pulling-car.json")
}

/// A string as C has it.
fn c(text: &str) -> CString {
    CString::new(text).unwrap()
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

fn message(error: &WaError) -> &str {
    // SAFETY: a message ends with a NUL within its array.
    unsafe { CStr::from_ptr(error.message.as_ptr()) }.to_str().unwrap()
}

/// A call that fills in no text: its status, and the error that goes with it.
fn call(function: impl FnOnce(*mut WaError) -> i32) -> (i32, WaError) {
    let mut error = fresh_error();
    let status = function(&raw mut error);
    assert_eq!(error.code, status);
    (status, error)
}

/// What one call gave whose result is a text.
struct Call {
    status: i32,
    buffer: Vec<u8>,
    length: usize,
    error: WaError,
}

impl Call {
    fn new(capacity: usize, function: impl FnOnce(*mut c_char, usize, *mut usize, *mut WaError) -> i32) -> Self {
        let mut buffer = vec![b'#'; capacity];
        let mut length = UNTOUCHED;
        let target = if capacity == 0 { ptr::null_mut() } else { buffer.as_mut_ptr().cast::<c_char>() };
        let (status, error) = call(|error| function(target, capacity, &raw mut length, error));
        Self { status, buffer, length, error }
    }

    fn result(&self) -> &str {
        CStr::from_bytes_until_nul(&self.buffer).unwrap().to_str().unwrap()
    }

    fn message(&self) -> &str {
        message(&self.error)
    }

    fn wrote_nothing(&self) -> bool {
        self.length == UNTOUCHED && self.buffer.iter().all(|&byte| byte == b'#')
    }

    fn gave(&self, expected: &str) {
        assert_eq!(self.status, WA_SUCCESS, "{}", self.message());
        assert_eq!(self.result(), expected);
        assert_eq!(self.length, expected.len());
    }

    fn refused(&self, status: i32, words: &str) {
        assert_eq!(self.status, status, "{}", self.message());
        assert!(self.wrote_nothing());
        assert!(self.message().contains(words), "{}", self.message());
    }
}

/// Calls with no room for the result, then with just enough.
fn in_two_calls(function: impl Fn(*mut c_char, usize, *mut usize, *mut WaError) -> i32) -> Call {
    let first = Call::new(0, &function);
    assert_eq!(first.status, WA_BUFFER_TOO_SMALL, "{}", first.message());
    Call::new(first.length + 1, &function)
}
