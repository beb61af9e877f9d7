//! Records of the work: the core's texts to the byte, and the pages made of them.

use crate::{Call, c, call, demo_session, example, in_two_calls, message};
use alignment_core::json::{session_from_json, specification_from_json};
use alignment_core::record::{Attachment, Measured, Record};
use std::ffi::c_char;
use std::ptr;
use wheel_alignment::*;

const DETAILS: &str = r#"{ "identity": { "vehicle": "an <b>invented</b> car" }, "notes": ["Tyres even."] }"#;

/// A text as C hands it over.
fn text(text: &str) -> (*const c_char, usize) {
    (text.as_ptr().cast(), text.len())
}

/// The record that C makes of these texts, each of which may be none.
fn made(details: Option<&str>, before: Option<&str>, after: Option<&str>, specification: Option<&str>) -> Call {
    let [details, before, after, specification] =
        [details, before, after, specification].map(|given| given.map_or((ptr::null(), 0), text));
    // SAFETY: texts and buffers of our own, here and below.
    let function = |result, capacity, length, error| unsafe {
        wa_record_to_json(
            details.0,
            details.1,
            before.0,
            before.1,
            after.0,
            after.1,
            specification.0,
            specification.1,
            result,
            capacity,
            length,
            error,
        )
    };
    let first = Call::new(0, function);
    if first.status == WA_BUFFER_TOO_SMALL { Call::new(first.length + 1, function) } else { first }
}

fn record() -> Record {
    let specification = specification_from_json(&example("demo_specification.json")).unwrap();
    let measured = Measured::of(&session_from_json(&demo_session()).unwrap(), Some(&specification)).unwrap();
    let before = Some(measured.clone());
    Record { before, after: Some(measured), ..Record::from_details(DETAILS).unwrap() }
}

#[test]
fn a_record_and_its_pages_are_the_cores() {
    let (session, specification) = (demo_session(), example("demo_specification.json"));
    let expected = record();
    let written = expected.to_json().unwrap();
    made(Some(DETAILS), Some(&session), Some(&session), Some(&specification)).gave(&written);
    let (of, length) = text(&written);
    let (status, error) = call(|error| unsafe { wa_record_from_json(of, length, error) });
    assert_eq!(status, WA_SUCCESS, "{}", message(&error));
    in_two_calls(|result, capacity, result_length, error| unsafe {
        wa_record_to_html(of, length, result, capacity, result_length, error)
    })
    .gave(&expected.to_html().unwrap());
    in_two_calls(|result, capacity, result_length, error| unsafe {
        wa_record_to_markdown(of, length, result, capacity, result_length, error)
    })
    .gave(&expected.to_markdown().unwrap());

    // Without limits and details, and of one time alone.
    let before = Some(Measured::of(&session_from_json(&session).unwrap(), None).unwrap());
    let alone = Record { before, ..Record::from_details("{}").unwrap() };
    made(None, Some(&session), None, None).gave(&alone.to_json().unwrap());
}

#[test]
fn what_is_no_record_is_refused() {
    made(Some(DETAILS), None, None, None).refused(WA_MISSING_INPUT, "before");
    made(Some("{\"colour\": 1}"), None, None, None).refused(WA_NOT_A_RECORD, "unknown field `colour`");
    made(None, Some("{}"), None, None).refused(WA_NOT_A_SESSION, "missing field");
    let written = record().to_json().unwrap();
    for (changed, status, words) in [
        (written.replacen("Tyres even", "Tyres odd", 1), WA_RECORD_DAMAGED, "changed or damaged"),
        (demo_session(), WA_NOT_A_RECORD, "does not end with a digest"),
        (String::new(), WA_NOT_A_RECORD, "does not end with a digest"),
    ] {
        let (of, length) = text(&changed);
        let (found, error) = call(|error| unsafe { wa_record_from_json(of, length, error) });
        assert_eq!(found, status);
        assert!(message(&error).contains(words), "{}", message(&error));
        Call::new(1 << 18, |result, capacity, result_length, error| unsafe {
            wa_record_to_html(of, length, result, capacity, result_length, error)
        })
        .refused(status, words);
    }
    let (status, _) = call(|error| unsafe { wa_record_from_json(b"\xff".as_ptr().cast(), 1, error) });
    assert_eq!(status, WA_NOT_UTF8);
}

#[test]
fn an_attachment_is_known_by_its_bytes() {
    let content = b"right front tie rod end worn";
    let expected = Attachment::of("note.txt", "text/plain", content);
    let (name, media_type, sha256) = (c("note.txt"), c("text/plain"), c(&expected.sha256));
    let made = in_two_calls(|result, capacity, length, error| unsafe {
        wa_attachment_of_json(
            name.as_ptr(),
            media_type.as_ptr(),
            content.as_ptr(),
            content.len(),
            result,
            capacity,
            length,
            error,
        )
    });
    let read: serde_json::Value = serde_json::from_str(made.result()).unwrap();
    assert_eq!(read["sha256"], expected.sha256);
    assert_eq!(read["length_bytes"], content.len());
    for (bytes, expected) in [(&content[..], 1), (&content[1..], 0), (b"", 0)] {
        let mut matches = 7;
        let (status, _) = call(|error| unsafe {
            let pointer = if bytes.is_empty() { ptr::null() } else { bytes.as_ptr() };
            wa_attachment_matches(content.len() as u64, sha256.as_ptr(), pointer, bytes.len(), &raw mut matches, error)
        });
        assert_eq!((status, matches), (WA_SUCCESS, expected));
    }
}
