//! From errors to a status and the caller's `wa_error`, and the border that no panic crosses.

use crate::memory::{StatesSize, fill, stated_size};
use crate::status::{
    WA_BAD_LENGTH, WA_BAD_STRUCT_SIZE, WA_BUFFER_TOO_SMALL, WA_CONTRADICTION, WA_INTERNAL_FAULT, WA_MISALIGNED,
    WA_NONE, WA_NOT_A_SESSION, WA_NOT_A_SPECIFICATION, WA_NOT_UTF8, WA_NULL_POINTER, WA_OUT_OF_RANGE, WA_STAGE_AHEAD,
    WA_STAGE_LOCK_LEFT, WA_STAGE_LOCK_RIGHT, WA_STAGE_ROLLING, WA_STAGE_SWEEP, WA_SUCCESS, WA_TOO_MANY, WA_WHEEL_FL,
    WA_WHEEL_FR, WA_WHEEL_RL, WA_WHEEL_RR,
};
use alignment_core::json::JsonError;
use alignment_core::session::Stage;
use alignment_core::{Error, Wheel};
use std::ffi::c_char;
use std::fmt::{self, Write as _};
use std::mem;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::ptr;

/// The room for a message, with its NUL, bytes.
pub const WA_MESSAGE_CAPACITY: usize = 512;

/// What went wrong, and where. The caller owns it, and sets size to sizeof(wa_error) once; no call changes it.
///
/// A call with a good size fills in all the rest, on success too: then code is 0 and the message empty.
/// A call with a bad one returns WA_BAD_STRUCT_SIZE, a call with one that is not aligned WA_MISALIGNED, and does
/// nothing else.
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

/// Why a call fails. It becomes a sentence only when the caller has room for one; nothing is allocated for that.
#[derive(Debug)]
pub(crate) enum Failure {
    /// The core refuses.
    Core(Error),
    /// A text is not what it should be.
    Json(Box<JsonError>),
    /// A text is no virtual vehicle.
    NotAVehicle {
        reason: Box<serde_json::Error>,
    },
    /// A text is no list of adjusters.
    NotAdjusters {
        reason: Box<serde_json::Error>,
    },
    NullPointer {
        name: &'static str,
    },
    Misaligned {
        name: &'static str,
        alignment: usize,
    },
    BadLength {
        name: &'static str,
    },
    BadSize {
        name: &'static str,
        size: usize,
        known: usize,
    },
    BufferTooSmall {
        unit: &'static str,
        capacity: usize,
        needed: usize,
    },
    NotUtf8 {
        name: &'static str,
        at: usize,
    },
    /// More than any session needs: refused before it is looked at.
    TooMany {
        name: &'static str,
        count: usize,
        most: usize,
    },
    /// A list that has to have another length.
    WrongCount {
        name: &'static str,
        count: usize,
        needed: usize,
    },
    /// Two members of which one alone can be given.
    Contradiction {
        first: &'static str,
        second: &'static str,
    },
    /// A number that the core never comes to see.
    OutOfRange {
        name: &'static str,
        value: f64,
        minimum: f64,
        maximum: Option<f64>,
    },
    /// What is wrong with the sighting of one wheel at one station.
    Sighting {
        stage: Stage,
        station: Option<usize>,
        wheel: Wheel,
        reason: Box<Failure>,
    },
    Internal,
}

impl Failure {
    #[cold]
    pub(crate) const fn out_of_range(name: &'static str, value: f64, minimum: f64, maximum: Option<f64>) -> Self {
        Self::OutOfRange { name, value, minimum, maximum }
    }

    pub(crate) fn code(&self) -> i32 {
        match self {
            Self::Core(error) => error.code.number(),
            Self::Json(error) => error.code.number(),
            Self::NotAVehicle { .. } => WA_NOT_A_SESSION,
            Self::NotAdjusters { .. } => WA_NOT_A_SPECIFICATION,
            Self::NullPointer { .. } => WA_NULL_POINTER,
            Self::Misaligned { .. } => WA_MISALIGNED,
            Self::BadLength { .. } => WA_BAD_LENGTH,
            Self::BadSize { .. } => WA_BAD_STRUCT_SIZE,
            Self::BufferTooSmall { .. } => WA_BUFFER_TOO_SMALL,
            Self::NotUtf8 { .. } => WA_NOT_UTF8,
            Self::TooMany { .. } => WA_TOO_MANY,
            Self::WrongCount { .. } | Self::Contradiction { .. } => WA_CONTRADICTION,
            Self::OutOfRange { .. } => WA_OUT_OF_RANGE,
            Self::Sighting { reason, .. } => reason.code(),
            Self::Internal => WA_INTERNAL_FAULT,
        }
    }

    /// The figure seen, the least and the most that is allowed.
    #[expect(clippy::cast_precision_loss, reason = "a size in memory; above 2^53 bytes its last bits do not matter")]
    fn figures(&self) -> [Option<f64>; 3] {
        match self {
            Self::Core(error) => [error.value, error.minimum, error.maximum],
            Self::Sighting { reason, .. } => reason.figures(),
            &Self::OutOfRange { value, minimum, maximum, .. } => [Some(value), Some(minimum), maximum],
            &Self::BufferTooSmall { capacity, needed, .. } => [Some(capacity as f64), Some(needed as f64), None],
            &Self::TooMany { count, most, .. } => [Some(count as f64), None, Some(most as f64)],
            &Self::WrongCount { count, needed, .. } => [Some(count as f64), Some(needed as f64), Some(needed as f64)],
            _ => [None; 3],
        }
    }
}

impl fmt::Display for Failure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Core(error) => error.fmt(f),
            Self::Json(error) => error.fmt(f),
            Self::NotAVehicle { reason } => {
                write!(f, "virtual_vehicle_json: {reason}; begin with what wa_virtual_vehicle_random_json gives")
            }
            Self::NotAdjusters { reason } => {
                write!(f, "adjusters_json: {reason}; see wa_fewest_moves_json for what an adjuster has")
            }
            Self::NullPointer { name } => write!(f, "{name} is NULL; hand over what the header says"),
            Self::Misaligned { name, alignment } => {
                write!(
                    f,
                    "{name} is not aligned: its address is no multiple of {alignment}; hand over an object of its type"
                )
            }
            Self::BadLength { name } => {
                write!(f, "{name} is said to be longer than anything in memory; check its length")
            }
            Self::BadSize { name, size, known } => write!(
                f,
                "{name}: a struct of {size} bytes, where {known} are known; set its size to its sizeof, and what a \
                 later header has beyond to zero"
            ),
            Self::BufferTooSmall { unit, capacity, needed } => {
                write!(
                    f,
                    "the buffer is too small: {capacity} {unit}, at least {needed} needed; hand over a larger one"
                )
            }
            Self::NotUtf8 { name, at } => write!(f, "{name} is not UTF-8 (byte {at}); hand it over as UTF-8"),
            Self::TooMany { name, count, most } => {
                write!(f, "{name}: {count} are more than any session needs, at most {most} allowed; check the count")
            }
            Self::WrongCount { name, count, needed } => {
                write!(f, "{name}: {count} handed over, {needed} needed; check the count")
            }
            Self::Contradiction { first, second } => {
                write!(f, "{first} and {second} contradict each other; hand over one of them")
            }
            Self::OutOfRange { name, value, minimum, maximum: Some(maximum) } => {
                write!(f, "{name}: number out of range: {value}, {minimum} to {maximum} allowed; check the number")
            }
            Self::OutOfRange { name, value, minimum, maximum: None } => {
                write!(f, "{name}: number out of range: {value}, at least {minimum} needed; check the number")
            }
            Self::Sighting { stage, station: Some(station), wheel, reason } => {
                write!(f, "{}[{station}].{}: {reason}", stage.name(), wheel.name())
            }
            Self::Sighting { stage, station: None, wheel, reason } => {
                write!(f, "{}.{}: {reason}", stage.name(), wheel.name())
            }
            Self::Internal => f.write_str("a fault inside the library; please report it with the session"),
        }
    }
}

impl From<Error> for Failure {
    #[cold]
    fn from(error: Error) -> Self {
        Self::Core(error)
    }
}

impl From<JsonError> for Failure {
    fn from(error: JsonError) -> Self {
        Self::Json(Box::new(error))
    }
}

impl WaError {
    fn of(failure: &Failure) -> Self {
        let [value, minimum, maximum] = failure.figures().map(|figure| figure.unwrap_or(f64::NAN));
        let (stage, station, wheel) = match failure {
            Failure::Core(error) => (error.stage, error.station, error.wheel),
            &Failure::Sighting { stage, station, wheel, .. } => (Some(stage), station, Some(wheel)),
            _ => (None, None, None),
        };
        let mut message = Message::EMPTY;
        // What does not fit is cut; nothing else can fail.
        let _ = write!(message, "{failure}");
        Self {
            size: 0,
            code: failure.code(),
            stage: stage.map_or(WA_NONE, stage_number),
            station: station.map_or(WA_NONE, |station| i32::try_from(station).unwrap_or(i32::MAX)),
            wheel: wheel.map_or(WA_NONE, wheel_number),
            value,
            minimum,
            maximum,
            message: message.bytes,
        }
    }
}

/// A sentence as C has it. A NUL inside, which a file can carry into a JSON error, becomes a space.
struct Message {
    bytes: [c_char; WA_MESSAGE_CAPACITY],
    length: usize,
}

impl Message {
    const EMPTY: Self = Self { bytes: [0; WA_MESSAGE_CAPACITY], length: 0 };
}

impl fmt::Write for Message {
    fn write_str(&mut self, text: &str) -> fmt::Result {
        let room = WA_MESSAGE_CAPACITY - 1 - self.length;
        let end = text.floor_char_boundary(room);
        for (target, &byte) in self.bytes[self.length..].iter_mut().zip(&text.as_bytes()[..end]) {
            *target = c_char::from_ne_bytes([if byte == 0 { b' ' } else { byte }]);
        }
        self.length += end;
        // Once something was cut nothing may follow.
        if end < text.len() { Err(fmt::Error) } else { Ok(()) }
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

/// Where a call says how it went: the caller's struct, checked, or nowhere.
struct Report {
    error: *mut WaError,
    size: usize,
}

impl Report {
    /// # Safety
    /// As [`guard`].
    #[inline]
    unsafe fn new(error: *mut WaError) -> Result<Self, i32> {
        if error.is_null() {
            return Ok(Self { error, size: 0 });
        }
        if !error.is_aligned() {
            return Err(WA_MISALIGNED);
        }
        // SAFETY: not null and aligned; the caller promises that `size` is set.
        let size = unsafe { stated_size(error) }.map_err(|_| WA_BAD_STRUCT_SIZE)?;
        Ok(Self { error, size })
    }

    #[inline]
    fn success(self) -> i32 {
        if !self.error.is_null() {
            // SAFETY: not null and aligned, and `new` was promised as many writable bytes as it has members and `size` says.
            unsafe {
                (*self.error).code = WA_SUCCESS;
                (*self.error).stage = WA_NONE;
                (*self.error).station = WA_NONE;
                (*self.error).wheel = WA_NONE;
                (*self.error).value = f64::NAN;
                (*self.error).minimum = f64::NAN;
                (*self.error).maximum = f64::NAN;
                (*self.error).message[0] = 0;
                let known = mem::size_of::<WaError>();
                if self.size > known {
                    ptr::write_bytes(self.error.cast::<u8>().add(known), 0, self.size - known);
                }
            }
        }
        WA_SUCCESS
    }

    #[cold]
    fn failure(self, failure: &Failure) -> i32 {
        if !self.error.is_null() {
            // SAFETY: as in `success`.
            unsafe { fill(self.error, self.size, WaError::of(failure)) };
        }
        failure.code()
    }
}

/// Runs the job, turns what comes out into a status, and fills in the caller's struct. No panic leaves.
///
/// # Safety
/// `error` is null, or points to a `size` that is set and to as many writable bytes as it says.
#[inline]
pub(crate) unsafe fn guard(error: *mut WaError, job: impl FnOnce() -> Result<(), Failure>) -> i32 {
    // SAFETY: the caller's promise is handed on.
    let report = match unsafe { Report::new(error) } {
        Ok(report) => report,
        Err(status) => return status,
    };
    match catch_unwind(AssertUnwindSafe(job)) {
        Ok(Ok(())) => report.success(),
        Ok(Err(failure)) => report.failure(&failure),
        Err(_) => report.failure(&Failure::Internal),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::memory::LARGEST_SIZE;
    use std::ffi::CStr;

    fn text(message: &[c_char]) -> String {
        let bytes: Vec<u8> = message.iter().map(|byte| byte.to_ne_bytes()[0]).collect();
        CStr::from_bytes_until_nul(&bytes).unwrap().to_str().unwrap().to_owned()
    }

    fn message_bytes(message: &str) -> [c_char; WA_MESSAGE_CAPACITY] {
        let mut written = Message::EMPTY;
        let _ = written.write_str(message);
        written.bytes
    }

    fn empty(size: usize) -> WaError {
        WaError { size, ..WaError::of(&Failure::Internal) }
    }

    #[test]
    fn a_long_message_is_cut_between_characters() {
        assert_eq!(text(&message_bytes("3.1°\0!")), "3.1° !");
        // Two bytes each: 511 bytes of room hold 255 of them.
        assert_eq!(text(&message_bytes(&"°".repeat(400))), "°".repeat(255));
        assert_eq!(text(&message_bytes(&"a".repeat(511))), "a".repeat(511));
        // Nothing follows what was cut, however short it is.
        let mut message = Message::EMPTY;
        assert!(write!(message, "{}°b", "a".repeat(510)).is_err());
        assert_eq!(text(&message.bytes), "a".repeat(510));
    }

    #[test]
    fn a_panic_becomes_a_status() {
        let mut error = empty(mem::size_of::<WaError>());
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
            let mut error = WaError { code: 7, ..empty(size) };
            // SAFETY: a struct of our own; a size beyond it is refused before anything is written.
            let status = unsafe { guard(&raw mut error, || Ok(())) };
            assert_eq!((status, error.code), (WA_BAD_STRUCT_SIZE, 7), "size {size}");
        }
        let mut later = Later { error: empty(mem::size_of::<Later>()), more: [9; 16] };
        // SAFETY: a struct of our own, its size set, and as many bytes behind the pointer.
        let status = unsafe { guard((&raw mut later).cast(), || Err(Failure::NullPointer { name: "x" })) };
        assert_eq!((status, later.error.code, later.more), (WA_NULL_POINTER, WA_NULL_POINTER, [0; 16]));
        assert_eq!(later.error.size, mem::size_of::<Later>());
    }
}
