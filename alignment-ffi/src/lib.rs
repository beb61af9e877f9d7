//! The C interface: a thin skin on `alignment_core` that checks pointers, turns errors into statuses and lets no
//! panic through. Its documentation is the header, `include/wheel_alignment.h`, written from the comments here.

#![expect(clippy::doc_markdown, reason = "these comments become the header's, for readers of C")]

mod conformity;
mod error;
mod measure;
mod memory;
mod repeatability;
mod status;
mod uncertainty;

pub use conformity::*;
pub use error::{WA_MESSAGE_CAPACITY, WaError};
pub use measure::*;
pub use memory::WaOptional;
pub use repeatability::*;
pub use status::*;
pub use uncertainty::*;

use std::ffi::{CStr, c_char};

/// The version of the binary interface, as the header knows it. 0 while the interface still grows.
pub const WA_ABI_VERSION: u32 = 0;

const VERSION: &CStr = match CStr::from_bytes_with_nul(concat!(env!("CARGO_PKG_VERSION"), "\0").as_bytes()) {
    Ok(version) => version,
    Err(_) => unreachable!(),
};

/// The name of a status in snake case, as in "roll_too_small": a static string, never NULL, not to be
/// freed. "unknown" for a number that is no status.
#[unsafe(no_mangle)]
pub extern "C" fn wa_status_name(status: i32) -> *const c_char {
    status::name(status).as_ptr()
}

/// WA_ABI_VERSION of the library in use: compare it with the header's before the first call.
#[unsafe(no_mangle)]
pub extern "C" fn wa_abi_version() -> u32 {
    WA_ABI_VERSION
}

/// The version of the library in use, as in "0.1.0": a static string, never NULL, not to be freed.
#[unsafe(no_mangle)]
pub extern "C" fn wa_version() -> *const c_char {
    VERSION.as_ptr()
}
