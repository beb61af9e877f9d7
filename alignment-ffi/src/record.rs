//! Records of the work, as texts.

use crate::conformity::specification;
use crate::error::{Failure, WaError, guard};
use crate::memory::{Place, ResultBuffer, guard_text, list, session, string, text, to_json};
use alignment_core::record::{Attachment, Measured, Record};
use std::ffi::c_char;

/// A record of the work on one car, format "alignment-record/1": what was measured before and after, what was done, and a digest
/// that tells whether the text was damaged.
///
/// details_json: details_length bytes: {"identity": {"record_id": ..., "date": ..., "vehicle": ..., ...}, "adjustments": [...],
///     "notes": [...], "attachments": [...], "stand": ...}, each as in a record and each may be left out. NULL and 0 for none.
///     wa_attachment_of_json makes an attachment, wa_stand_setup_of_json the stand.
/// before_session_json, after_session_json: before_session_length and after_session_length bytes, format "alignment-session/1":
///     the car before and after the work. NULL and 0 for what was not measured; one of them must be there.
/// specification_json: specification_length bytes, format "alignment-specification/1". NULL and 0 for none.
///
/// Returns WA_SUCCESS; WA_BUFFER_TOO_SMALL; WA_NOT_A_RECORD for details that are none; WA_MISSING_INPUT without a session; what
/// wa_assess_json returns.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_record_to_json(
    details_json: *const c_char,
    details_length: usize,
    before_session_json: *const c_char,
    before_session_length: usize,
    after_session_json: *const c_char,
    after_session_length: usize,
    specification_json: *const c_char,
    specification_length: usize,
    result_json: *mut c_char,
    result_capacity: usize,
    result_length: *mut usize,
    error: *mut WaError,
) -> i32 {
    let result = ResultBuffer { json: result_json, capacity: result_capacity, length: result_length };
    let none = |pointer: *const c_char, length: usize| pointer.is_null() && length == 0;
    let job = || {
        // SAFETY: the caller's promises are handed on, here and below.
        let limits = if none(specification_json, specification_length) {
            None
        } else {
            Some(unsafe { specification(specification_json, specification_length)? })
        };
        let measured = |pointer, length| {
            if none(pointer, length) {
                return Ok(None);
            }
            let session = unsafe { session(pointer, length)? };
            Ok::<_, Failure>(Some(Measured::of(&session, limits.as_ref())?))
        };
        let details = if none(details_json, details_length) {
            "{}"
        } else {
            unsafe { text("details_json", details_json, details_length)? }
        };
        let mut record = Record::from_details(details)?;
        record.before = measured(before_session_json, before_session_length)?;
        record.after = measured(after_session_json, after_session_length)?;
        Ok(record.to_json()?)
    };
    // SAFETY: as before.
    unsafe { guard_text(result, error, job) }
}

/// # Safety
/// As [`text`].
unsafe fn record(pointer: *const c_char, length: usize) -> Result<Record, Failure> {
    // SAFETY: the caller's promise is handed on.
    Ok(Record::from_json(unsafe { text("record_json", pointer, length)? })?)
}

/// Checks a record: whether it is one, and as it was written.
///
/// text: text_length bytes.
///
/// Returns WA_SUCCESS; WA_RECORD_DAMAGED when any byte was changed; WA_NOT_A_RECORD for another text, or a record of a newer version;
/// WA_NOT_UTF8.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_record_from_json(text: *const c_char, text_length: usize, error: *mut WaError) -> i32 {
    // SAFETY: the caller's promises are handed on.
    unsafe { guard(error, || record(text, text_length).map(|_| ())) }
}

/// A page of HTML made from a record: one file, without scripts or anything from outside, which prints on A4 and on Letter. No text
/// of the record can become markup in it.
///
/// record_json: record_length bytes, format "alignment-record/1".
///
/// Returns what wa_record_from_json returns; WA_BUFFER_TOO_SMALL.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_record_to_html(
    record_json: *const c_char,
    record_length: usize,
    result_html: *mut c_char,
    result_capacity: usize,
    result_length: *mut usize,
    error: *mut WaError,
) -> i32 {
    let result = ResultBuffer { json: result_html, capacity: result_capacity, length: result_length };
    // SAFETY: the caller's promises are handed on.
    unsafe { guard_text(result, error, || Ok(record(record_json, record_length)?.to_html()?)) }
}

/// A page of Markdown (CommonMark, with tables) made from a record. No text of the record can become markup in it.
///
/// record_json: record_length bytes, format "alignment-record/1".
///
/// Returns what wa_record_from_json returns; WA_BUFFER_TOO_SMALL.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_record_to_markdown(
    record_json: *const c_char,
    record_length: usize,
    result_markdown: *mut c_char,
    result_capacity: usize,
    result_length: *mut usize,
    error: *mut WaError,
) -> i32 {
    let result = ResultBuffer { json: result_markdown, capacity: result_capacity, length: result_length };
    // SAFETY: the caller's promises are handed on.
    unsafe { guard_text(result, error, || Ok(record(record_json, record_length)?.to_markdown()?)) }
}

/// The bytes of a file.
///
/// # Safety
/// As [`list`].
unsafe fn bytes<'a>(content: *const u8, length: usize) -> Result<&'a [u8], Failure> {
    // SAFETY: the caller's promise is handed on.
    unsafe { list("content", content, length) }
}

/// A file that belongs to a record, as "attachments" in the details has it: {"name": ..., "media_type": ..., "length_bytes": ...,
/// "sha256": ...}.
///
/// name, media_type: UTF-8 with a NUL at the end.
/// content: content_length bytes, all of the file.
///
/// Returns WA_SUCCESS; WA_BUFFER_TOO_SMALL; WA_NOT_UTF8.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_attachment_of_json(
    name: *const c_char,
    media_type: *const c_char,
    content: *const u8,
    content_length: usize,
    result_json: *mut c_char,
    result_capacity: usize,
    result_length: *mut usize,
    error: *mut WaError,
) -> i32 {
    let result = ResultBuffer { json: result_json, capacity: result_capacity, length: result_length };
    // SAFETY: the caller's promises are handed on.
    let job = || unsafe {
        let (name, media_type) = (string("name", name)?, string("media_type", media_type)?);
        to_json(&Attachment::of(name, media_type, bytes(content, content_length)?))
    };
    // SAFETY: as before.
    unsafe { guard_text(result, error, job) }
}

/// Whether bytes are those of a file that belongs to a record: their number and their digest agree.
///
/// length_bytes, sha256: as "attachments" of the record has them; sha256 is 64 digits with a NUL at the end.
/// content: content_length bytes.
/// matches: 1 when they are, 0 when they are not.
///
/// Returns WA_SUCCESS; WA_NOT_UTF8.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_attachment_matches(
    length_bytes: u64,
    sha256: *const c_char,
    content: *const u8,
    content_length: usize,
    matches: *mut i32,
    error: *mut WaError,
) -> i32 {
    // SAFETY: the caller's promises are handed on.
    let job = || unsafe {
        let matches = Place::new("matches", matches)?;
        let sha256 = string("sha256", sha256)?.to_owned();
        let attachment = Attachment { name: String::new(), media_type: String::new(), length_bytes, sha256 };
        matches.write(i32::from(attachment.matches(bytes(content, content_length)?)));
        Ok(())
    };
    // SAFETY: as before.
    unsafe { guard(error, job) }
}
