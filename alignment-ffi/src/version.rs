//! Which library this is.

use std::ffi::{CStr, c_char};

/// The version of the binary interface, as the header knows it. 0 while the interface still grows.
pub const WA_ABI_VERSION: u32 = 0;

const VERSION: &CStr = match CStr::from_bytes_with_nul(concat!(env!("CARGO_PKG_VERSION"), "\0").as_bytes()) {
    Ok(version) => version,
    Err(_) => unreachable!(),
};

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
