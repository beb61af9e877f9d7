//! How readings are numbered and named.

use crate::error::WaError;
use crate::memory::{give, string};
use alignment_core::paths::{COUNT, READINGS, position, unit};
use std::ffi::{CStr, c_char};
use std::ptr;

/// The room for a path, with its NUL. A longer path does not compile.
const ROOM: usize = 64;

/// The paths as C has them.
static PATHS: [[u8; ROOM]; COUNT] = {
    let mut paths = [[0; ROOM]; COUNT];
    let mut reading = 0;
    while reading < COUNT {
        let path = READINGS[reading].as_bytes();
        assert!(path.len() < ROOM);
        let mut index = 0;
        while index < path.len() {
            paths[reading][index] = path[index];
            index += 1;
        }
        reading += 1;
    }
    paths
};

/// How many readings there are: the three components of a vector are three. Later versions may have more.
#[unsafe(no_mangle)]
pub extern "C" fn wa_reading_count() -> usize {
    COUNT
}

/// The path of a reading, as in "wheels.fl.camber_deg" or "wheels.fl.centre_mm[0]": a static string, not to
/// be freed. It is also how C writes it: alignment.wheels.fl.centre_mm[0]. NULL for a position that is not less than
/// wa_reading_count(). The order is that of the members of wa_alignment, of its bits present, and of the rows and columns
/// of wa_covariance_matrix.
#[unsafe(no_mangle)]
pub extern "C" fn wa_reading_path(position: usize) -> *const c_char {
    PATHS.get(position).map_or(ptr::null(), |path| path.as_ptr().cast())
}

/// Where a path stands among the readings, counted from 0.
///
/// path: UTF-8 with a NUL at the end.
///
/// Returns WA_SUCCESS; WA_UNKNOWN_READING; WA_NOT_UTF8.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_reading_position(path: *const c_char, position: *mut usize, error: *mut WaError) -> i32 {
    // SAFETY: the caller's promises are handed on.
    let job = || Ok(self::position(unsafe { string("path", path)? })?);
    // SAFETY: as before.
    unsafe { give(error, ("position", position), job) }
}

/// The unit of a reading: "deg", "mm", or "1" for a component of a unit vector. A static string, not to be freed. NULL for
/// a position that is not less than wa_reading_count().
#[unsafe(no_mangle)]
pub extern "C" fn wa_reading_unit(position: usize) -> *const c_char {
    let unit: &CStr = match READINGS.get(position).map(|path| unit(path)) {
        Some("deg") => c"deg",
        Some("mm") => c"mm",
        Some(_) => c"1",
        None => return ptr::null(),
    };
    unit.as_ptr()
}
