//! From errors to a status and the caller's `wa_error`, and the border that no panic crosses.

use crate::memory::{StatesSize, fill, stated_size};
use crate::status::{
    WA_BAD_LENGTH, WA_BAD_STRUCT_SIZE, WA_BUFFER_TOO_SMALL, WA_INTERNAL_FAULT, WA_NONE, WA_NOT_UTF8, WA_NULL_POINTER,
    WA_OUT_OF_RANGE, WA_STAGE_AHEAD, WA_STAGE_LOCK_LEFT, WA_STAGE_LOCK_RIGHT, WA_STAGE_ROLLING, WA_STAGE_SWEEP,
    WA_SUCCESS, WA_WHEEL_FL, WA_WHEEL_FR, WA_WHEEL_RL, WA_WHEEL_RR,
};
use alignment_core::json::JsonError;
use alignment_core::session::Stage;
use alignment_core::{Error, Wheel};
use std::ffi::c_char;
use std::panic::{AssertUnwindSafe, catch_unwind};

/// The room for a message, with its NUL, bytes.
pub const WA_MESSAGE_CAPACITY: usize = 512;

/// What went wrong, and where. The caller owns it, and sets size to sizeof(wa_error) once; no call changes it.
///
/// A call with a good size fills in all the rest, on success too: then code is 0 and the message empty.
/// A call with a bad one returns WA_BAD_STRUCT_SIZE and does nothing else.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct WaError {
    /// Set by the caller: sizeof(wa_error).
    pub size: usize,
    /// The status that the function returned.
    pub code: i32,
    /// The stage, WA_STAGE_..., or WA_NONE.
    pub stage: i32,
    /// The station of the stage, counted from 0 as in the session, or WA_NONE.
    pub station: i32,
    /// The wheel, WA_WHEEL_..., or WA_NONE.
    pub wheel: i32,
    /// The figure seen, in the unit that the message states. NaN when there is none.
    pub value: f64,
    /// The least that is allowed, in the same unit. NaN when there is none.
    pub minimum: f64,
    /// The most that is allowed, in the same unit. NaN when there is none.
    pub maximum: f64,
    /// One sentence: the place, what is wrong, the figure, the bound and the remedy. UTF-8 with a NUL at
    /// the end; cut between two characters when it is too long.
    pub message: [c_char; WA_MESSAGE_CAPACITY],
}

// SAFETY: repr(C), begins with a usize, and numbers are all it has.
unsafe impl StatesSize for WaError {}

/// Why a call fails, before it is written to the caller's struct.
#[derive(Debug)]
pub(crate) struct Failure {
    pub(crate) code: i32,
    stage: Option<Stage>,
    station: Option<usize>,
    wheel: Option<Wheel>,
    value: Option<f64>,
    minimum: Option<f64>,
    maximum: Option<f64>,
    message: String,
}

impl Failure {
    fn new(code: i32, message: String) -> Self {
        Self { code, stage: None, station: None, wheel: None, value: None, minimum: None, maximum: None, message }
    }

    pub(crate) fn null_pointer(name: &str) -> Self {
        Self::new(WA_NULL_POINTER, format!("{name} is NULL; hand over what the header says"))
    }

    pub(crate) fn bad_length(name: &str) -> Self {
        Self::new(WA_BAD_LENGTH, format!("{name} is said to be longer than anything in memory; check its length"))
    }

    pub(crate) fn bad_size(name: &str, size: usize, known: usize) -> Self {
        let message = format!(
            "{name}: a struct of {size} bytes, where {known} are known; set its size to its sizeof, and what a later header \
             has beyond to zero"
        );
        Self::new(WA_BAD_STRUCT_SIZE, message)
    }

    #[expect(clippy::cast_precision_loss, reason = "a size in memory; above 2^53 bytes its last bits do not matter")]
    pub(crate) fn buffer_too_small(unit: &str, capacity: usize, needed: usize) -> Self {
        let message =
            format!("the buffer is too small: {capacity} {unit}, at least {needed} needed; hand over a larger one");
        Self { value: Some(capacity as f64), minimum: Some(needed as f64), ..Self::new(WA_BUFFER_TOO_SMALL, message) }
    }

    pub(crate) fn not_utf8(name: &str, at: usize) -> Self {
        Self::new(WA_NOT_UTF8, format!("{name} is not UTF-8 (byte {at}); hand it over as UTF-8"))
    }

    /// A number that the core never comes to see.
    pub(crate) fn out_of_range(name: &str, value: f64, minimum: f64, maximum: Option<f64>) -> Self {
        let bounds = match maximum {
            Some(maximum) => format!("{minimum} to {maximum} allowed"),
            None => format!("at least {minimum} needed"),
        };
        let message = format!("{name}: number out of range: {value}, {bounds}; check the number");
        Self { value: Some(value), minimum: Some(minimum), maximum, ..Self::new(WA_OUT_OF_RANGE, message) }
    }

    pub(crate) fn internal() -> Self {
        Self::new(WA_INTERNAL_FAULT, "a fault inside the library; please report it with the session".to_owned())
    }
}

impl From<Error> for Failure {
    fn from(error: Error) -> Self {
        Self {
            stage: error.stage,
            station: error.station,
            wheel: error.wheel,
            value: error.value,
            minimum: error.minimum,
            maximum: error.maximum,
            ..Self::new(error.code.number(), error.to_string())
        }
    }
}

impl From<JsonError> for Failure {
    fn from(error: JsonError) -> Self {
        Self::new(error.code.number(), error.to_string())
    }
}

impl WaError {
    fn success(size: usize) -> Self {
        Self {
            size,
            code: WA_SUCCESS,
            stage: WA_NONE,
            station: WA_NONE,
            wheel: WA_NONE,
            value: f64::NAN,
            minimum: f64::NAN,
            maximum: f64::NAN,
            message: [0; WA_MESSAGE_CAPACITY],
        }
    }

    fn failure(size: usize, failure: &Failure) -> Self {
        Self {
            code: failure.code,
            stage: failure.stage.map_or(WA_NONE, stage_number),
            station: failure.station.map_or(WA_NONE, |station| i32::try_from(station).unwrap_or(i32::MAX)),
            wheel: failure.wheel.map_or(WA_NONE, wheel_number),
            value: failure.value.unwrap_or(f64::NAN),
            minimum: failure.minimum.unwrap_or(f64::NAN),
            maximum: failure.maximum.unwrap_or(f64::NAN),
            message: message_bytes(&failure.message),
            ..Self::success(size)
        }
    }
}

const fn stage_number(stage: Stage) -> i32 {
    match stage {
        Stage::Rolling => WA_STAGE_ROLLING,
        Stage::Ahead => WA_STAGE_AHEAD,
        Stage::Sweep => WA_STAGE_SWEEP,
        Stage::LockLeft => WA_STAGE_LOCK_LEFT,
        Stage::LockRight => WA_STAGE_LOCK_RIGHT,
    }
}

const fn wheel_number(wheel: Wheel) -> i32 {
    match wheel {
        Wheel::Fl => WA_WHEEL_FL,
        Wheel::Fr => WA_WHEEL_FR,
        Wheel::Rl => WA_WHEEL_RL,
        Wheel::Rr => WA_WHEEL_RR,
    }
}

/// The message as C has it. A NUL inside, which a file can carry into a JSON error, becomes a space.
fn message_bytes(message: &str) -> [c_char; WA_MESSAGE_CAPACITY] {
    let end = message.floor_char_boundary(WA_MESSAGE_CAPACITY - 1);
    let mut bytes = [0; WA_MESSAGE_CAPACITY];
    for (target, &byte) in bytes.iter_mut().zip(&message.as_bytes()[..end]) {
        *target = c_char::from_ne_bytes([if byte == 0 { b' ' } else { byte }]);
    }
    bytes
}

/// Runs the job, turns what comes out into a status, and fills in the caller's struct. No panic leaves.
///
/// # Safety
/// `error` is null, or points to a `size` that is set and to as many writable bytes as it says.
pub(crate) unsafe fn guard(error: *mut WaError, job: impl FnOnce() -> Result<(), Failure>) -> i32 {
    let size = if error.is_null() {
        None
    } else {
        // SAFETY: not null; the caller promises that `size` is set.
        let Some(size) = (unsafe { stated_size(error) }) else { return WA_BAD_STRUCT_SIZE };
        Some(size)
    };
    let outcome = catch_unwind(AssertUnwindSafe(job)).unwrap_or_else(|_| Err(Failure::internal()));
    if let Some(size) = size {
        let filled = match &outcome {
            Ok(()) => WaError::success(size),
            Err(failure) => WaError::failure(size, failure),
        };
        // SAFETY: the caller promises `size` writable bytes, and a wa_error has no more.
        unsafe { fill(error, size, &filled) };
    }
    outcome.map_or_else(|failure| failure.code, |()| WA_SUCCESS)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::memory::LARGEST_SIZE;
    use std::ffi::CStr;
    use std::mem;

    fn text(message: &[c_char]) -> String {
        let bytes: Vec<u8> = message.iter().map(|byte| byte.to_ne_bytes()[0]).collect();
        CStr::from_bytes_until_nul(&bytes).unwrap().to_str().unwrap().to_owned()
    }

    #[test]
    fn a_long_message_is_cut_between_characters() {
        assert_eq!(text(&message_bytes("3.1°\0!")), "3.1° !");
        // Two bytes each: 511 bytes of room hold 255 of them.
        assert_eq!(text(&message_bytes(&"°".repeat(400))), "°".repeat(255));
        assert_eq!(text(&message_bytes(&"a".repeat(511))), "a".repeat(511));
    }

    #[test]
    fn a_panic_becomes_a_status() {
        let mut error = WaError::success(mem::size_of::<WaError>());
        // SAFETY: a struct of our own, its size set.
        let status = unsafe { guard(&raw mut error, || panic!("on purpose")) };
        assert_eq!((status, error.code), (WA_INTERNAL_FAULT, WA_INTERNAL_FAULT));
        assert!(text(&error.message).contains("please report it"));
    }

    #[test]
    fn a_struct_of_another_size() {
        #[repr(C)]
        struct Later {
            error: WaError,
            more: [u8; 16],
        }
        let known = mem::size_of::<WaError>();
        for size in [0, 8, known - 1, LARGEST_SIZE + 1, usize::MAX] {
            let mut error = WaError { code: 7, ..WaError::success(size) };
            // SAFETY: a struct of our own; a size beyond it is refused before anything is written.
            let status = unsafe { guard(&raw mut error, || Ok(())) };
            assert_eq!((status, error.code), (WA_BAD_STRUCT_SIZE, 7), "size {size}");
        }
        let mut later = Later { error: WaError::success(mem::size_of::<Later>()), more: [9; 16] };
        // SAFETY: a struct of our own, its size set, and as many bytes behind the pointer.
        let status = unsafe { guard((&raw mut later).cast(), || Err(Failure::null_pointer("x"))) };
        assert_eq!((status, later.error.code, later.more), (WA_NULL_POINTER, WA_NULL_POINTER, [0; 16]));
        assert_eq!(later.error.size, mem::size_of::<Later>());
    }
}
