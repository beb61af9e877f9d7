//! Tyre sizes.

use crate::error::WaError;
use crate::memory::{give, string};
use alignment_core::tyre::{self, TyreSize};
use std::ffi::c_char;

/// A tyre size, mm.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaTyreSize {
    /// Nominal section width, mm.
    pub section_width_mm: f64,
    /// Nominal aspect ratio: section height over section width, in percent.
    pub aspect_ratio_percent: f64,
    /// Nominal rim diameter, mm.
    pub rim_diameter_mm: f64,
    /// Section height, mm: width times aspect ratio.
    pub section_height_mm: f64,
    /// Overall diameter, mm: rim diameter plus two section heights.
    pub overall_diameter_mm: f64,
}

impl From<TyreSize> for WaTyreSize {
    fn from(size: TyreSize) -> Self {
        let TyreSize {
            section_width_mm,
            aspect_ratio_percent,
            rim_diameter_mm,
            section_height_mm,
            overall_diameter_mm,
        } = size;
        Self { section_width_mm, aspect_ratio_percent, rim_diameter_mm, section_height_mm, overall_diameter_mm }
    }
}

/// The sizes of a tyre from its metric code, such as "205/55R16": overall diameter = rim inches·25.4 +
/// 2·width·aspect ratio/100.
///
/// In front may stand P, LT, ST or T; the construction is R, ZR, B or D; behind the rim may stand C or LT,
/// and after a space the load index and speed symbol. Spaces between the parts and small letters do no harm.
///
/// code: UTF-8 with a NUL at the end.
///
/// Returns WA_SUCCESS; WA_NOT_A_TYRE_SIZE, with the part that is wrong in the message; WA_NOT_UTF8.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_size_from_code(code: *const c_char, size: *mut WaTyreSize, error: *mut WaError) -> i32 {
    // SAFETY: the caller's promises are handed on.
    let job = || unsafe { Ok(tyre::size_from_code(string("code", code)?)?.into()) };
    // SAFETY: as before.
    unsafe { give(error, ("size", size), job) }
}
