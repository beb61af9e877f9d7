//! The record as text, and its digest.

use super::Record;
use crate::conformity::Decision;
use crate::error::{Error, ErrorCode};
use crate::json::{JsonError, Keyed, json_error};
use crate::session::Reference;
use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec::Vec;
use core::fmt::Write as _;
use serde::de::IgnoredAny;
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use sha2::{Digest as _, Sha256};

/// The one version so far.
const VERSION: u32 = 1;
const FORMAT: &str = "alignment-record/";
/// What stands in place of the digest while it is computed.
const ZEROS: &str = "0000000000000000000000000000000000000000000000000000000000000000";

/// The SHA-256 of bytes, in hexadecimal digits.
pub(super) fn sha256(bytes: &[u8]) -> String {
    digits(Sha256::digest(bytes).as_slice())
}

fn digits(digest: &[u8]) -> String {
    digest.iter().fold(String::new(), |mut digits, byte| {
        // Writing to a string cannot fail.
        let _ = write!(digits, "{byte:02x}");
        digits
    })
}

impl Record {
    /// Writes the record as JSON of format `alignment-record/1`, with its digest at the end. It reads back the same, and is then written to the
    /// same bytes. Numbers that are not finite come out as null, infinite degrees of freedom as `"infinite"`.
    ///
    /// # Errors
    /// [`ErrorCode::MissingInput`] when neither `before` nor `after` is there.
    ///
    /// ```
    /// # use alignment_core::record::{Identity, Measured, Record};
    /// # use alignment_core::simulate::VirtualVehicle;
    /// let before = Some(Measured::of(&VirtualVehicle::default().session(), None)?);
    /// let text = Record { before, ..Record::new(Identity::default()) }.to_json()?;
    /// assert!(text.starts_with("{\n  \"format\": \"alignment-record/1\","));
    /// assert_eq!(Record::from_json(&text).unwrap().to_json()?, text);
    /// # Ok::<(), alignment_core::Error>(())
    /// ```
    pub fn to_json(&self) -> Result<String, Error> {
        if self.before.is_none() && self.after.is_none() {
            return Err(Error::new(ErrorCode::MissingInput).input("before"));
        }
        let mut text = crate::json::to_text(self);
        // The last member follows: the object is opened again.
        text.truncate(text.len() - "\n}".len());
        text.push_str(",\n  \"digest\": \"");
        let at = text.len();
        text.push_str(ZEROS);
        text.push_str("\"\n}\n");
        let digest = sha256(text.as_bytes());
        text.replace_range(at..at + ZEROS.len(), &digest);
        Ok(text)
    }

    /// Reads a record from its JSON, and checks its digest first.
    ///
    /// # Errors
    /// [`JsonError`]: [`ErrorCode::RecordDamaged`] when the text is not what was written, by whatever byte; [`ErrorCode::NotARecord`] for a text that
    /// is no record, one of a newer version, one with an unknown key or a value of another kind, one with neither `before` nor `after`, and one that another program laid out
    /// anew, with a digest to it.
    ///
    /// ```
    /// # use alignment_core::{ErrorCode, record::Record};
    /// let error = Record::from_json("{}").unwrap_err();
    /// assert_eq!(error.code, ErrorCode::NotARecord);
    /// ```
    pub fn from_json(text: &str) -> Result<Self, JsonError> {
        let Some((body, at)) = split(text) else {
            // What says that it is a record has lost its end.
            return Err(if text.contains(FORMAT) {
                damaged(text, text.len(), "its end, with the digest, is not there as it was written")
            } else {
                let reason = format!("{}: it does not end with a digest", ErrorCode::NotARecord.what());
                error_at(text, text.len(), ErrorCode::NotARecord, reason)
            });
        };
        let stated = &text[at..at + ZEROS.len()];
        let mut hasher = Sha256::new();
        for part in [&text[..at], ZEROS, &text[at + ZEROS.len()..]] {
            hasher.update(part.as_bytes());
        }
        let found = digits(hasher.finalize().as_slice());
        if found != stated {
            return Err(damaged(text, at, &format!("its digest says {stated}, its bytes give {found}")));
        }
        let Head { format, .. } = read(&body)?;
        let record = match format.strip_prefix(FORMAT).and_then(|version| version.parse::<u32>().ok()) {
            Some(VERSION) => read::<Self>(&body)?,
            Some(version) if version > VERSION => {
                let library = env!("CARGO_PKG_VERSION");
                let reason = format!(
                    "the record is of version {version} of its format, this library {library} reads up to version {VERSION}: \
                     read it with a newer library"
                );
                return Err(JsonError {
                    path: "format".to_string(),
                    ..error_at(text, 0, ErrorCode::NotARecord, reason)
                });
            }
            _ => {
                let reason = format!("{}, its format is not {FORMAT}{VERSION}", ErrorCode::NotARecord.what());
                return Err(JsonError {
                    path: "format".to_string(),
                    ..error_at(text, 0, ErrorCode::NotARecord, reason)
                });
            }
        };
        if record.before.is_none() && record.after.is_none() {
            let reason = format!("{}: it has neither before nor after", ErrorCode::NotARecord.what());
            return Err(error_at(text, 0, ErrorCode::NotARecord, reason));
        }
        // Laid out otherwise it would have another digest than its pages say.
        if record.to_json().is_ok_and(|written| written != text) {
            let reason = format!(
                "{}: it was laid out anew by another program, ask for the text as it was written",
                ErrorCode::NotARecord.what()
            );
            return Err(error_at(text, 0, ErrorCode::NotARecord, reason));
        }
        Ok(record)
    }

    /// A record that holds what the caller has to say beside the measurements, from JSON: `identity`, `adjustments`, `notes`, `attachments` and
    /// `stand`, written as in a record, each of which may be left out.
    ///
    /// # Errors
    /// [`JsonError`] of [`ErrorCode::NotARecord`] names the key, the line and the column; so it does when `before` or `after` is there, which are
    /// measured, and when `library` or `conventions` are others than this library's, which follows no others.
    ///
    /// ```
    /// # use alignment_core::record::Record;
    /// let text = r#"{ "identity": { "vehicle": "an invented car" }, "notes": ["Tyres even."] }"#;
    /// let record = Record::from_details(text).unwrap();
    /// assert_eq!(record.identity.vehicle.as_deref(), Some("an invented car"));
    /// assert!(Record::from_details(r#"{ "identity": { "colour": "red" } }"#).is_err());
    /// ```
    pub fn from_details(text: &str) -> Result<Self, JsonError> {
        let record: Self = read(text)?;
        if record.before.is_some() || record.after.is_some() {
            let reason = format!("{}: before and after are measured, not told", ErrorCode::NotARecord.what());
            return Err(error_at(text, 0, ErrorCode::NotARecord, reason));
        }
        let own = Self::default();
        if record.library != own.library || record.conventions != own.conventions {
            let what = ErrorCode::NotARecord.what();
            let reason =
                format!("{what}: library and conventions are this library's to say: leave them out of details");
            return Err(error_at(text, 0, ErrorCode::NotARecord, reason));
        }
        Ok(record)
    }
}

/// What every text of a record has, by whatever version.
#[derive(Deserialize)]
struct Head {
    format: String,
    #[serde(rename = "library")]
    _library: IgnoredAny,
    #[serde(rename = "conventions")]
    _conventions: IgnoredAny,
    #[serde(rename = "identity")]
    _identity: IgnoredAny,
    #[serde(rename = "before")]
    _before: IgnoredAny,
    #[serde(rename = "after")]
    _after: IgnoredAny,
    #[serde(rename = "adjustments")]
    _adjustments: IgnoredAny,
    #[serde(rename = "notes")]
    _notes: IgnoredAny,
    #[serde(rename = "attachments")]
    _attachments: IgnoredAny,
    #[serde(rename = "stand")]
    _stand: IgnoredAny,
}

/// Reads a value that is written with its keys. Line and column say where it is wrong: following the path as well would double the code.
fn read<'de, T: Deserialize<'de>>(text: &'de str) -> Result<T, JsonError> {
    let mut reader = serde_json::Deserializer::from_str(text);
    let value = Keyed::<T>::deserialize(&mut reader).and_then(|Keyed(value)| reader.end().map(|()| value));
    value.map_err(|error| json_error(String::new(), &error, |_| ErrorCode::NotARecord))
}

/// The text without its digest, still an object, and where the digits of the digest stand. None when it does not end as a record ends.
fn split(text: &str) -> Option<(String, usize)> {
    let before_brace = text.trim_end().strip_suffix('}')?.trim_end();
    let up_to_digits = before_brace.strip_suffix('"')?;
    let at = up_to_digits.len().checked_sub(ZEROS.len())?;
    let hexadecimal = |byte: u8| byte.is_ascii_digit() || (b'a'..=b'f').contains(&byte);
    if !up_to_digits.as_bytes()[at..].iter().all(|&byte| hexadecimal(byte)) {
        return None;
    }
    let before_key = text[..at].strip_suffix('"')?.trim_end().strip_suffix(':')?.trim_end();
    let body = before_key.strip_suffix("\"digest\"")?.trim_end().strip_suffix(',')?;
    Some((format!("{body}\n}}"), at))
}

/// The digest of a text that [`Record::to_json`] wrote.
pub(super) fn digest_of(text: &str) -> &str {
    split(text).map_or("", |(_, at)| &text[at..at + ZEROS.len()])
}

/// An error at a byte of the text.
fn error_at(text: &str, byte: usize, code: ErrorCode, reason: String) -> JsonError {
    let before = &text[..byte];
    let line = before.matches('\n').count() + 1;
    let column = before.rsplit('\n').next().unwrap_or_default().len() + 1;
    JsonError { code, path: String::new(), line, column, reason }
}

fn damaged(text: &str, byte: usize, how: &str) -> JsonError {
    let reason =
        format!("{}: {how}; {}", ErrorCode::RecordDamaged.what(), "ask whoever wrote it for the text as it was");
    JsonError { path: "digest".to_string(), ..error_at(text, byte, ErrorCode::RecordDamaged, reason) }
}

/// For `serialize_with`: a number that is not finite is none.
#[expect(clippy::ref_option, reason = "serde hands over the field itself")]
pub(super) fn finite<S: Serializer>(number: &Option<f64>, serializer: S) -> Result<S::Ok, S::Error> {
    number.filter(|number| number.is_finite()).serialize(serializer)
}

/// For `serialize_with`: choices that hold a number that is none are none.
#[expect(clippy::ref_option, reason = "serde hands over the field itself")]
pub(super) fn reference<S: Serializer>(reference: &Option<Reference>, serializer: S) -> Result<S::Ok, S::Error> {
    reference.as_ref().filter(|reference| reference.turn.angle_deg.is_finite()).serialize(serializer)
}

/// For `serialize_with`: a rule that holds a number that is none is none.
#[expect(clippy::ref_option, reason = "serde hands over the field itself")]
pub(super) fn decision<S: Serializer>(decision: &Option<Decision>, serializer: S) -> Result<S::Ok, S::Error> {
    decision.filter(|decision| decision.probability.is_finite()).serialize(serializer)
}

/// For `deserialize_with`: rows that are each written with their keys.
pub(super) fn rows<'de, D: Deserializer<'de>, T: Deserialize<'de>>(deserializer: D) -> Result<Vec<T>, D::Error> {
    Ok(Vec::<Keyed<T>>::deserialize(deserializer)?.into_iter().map(|Keyed(row)| row).collect())
}

/// Degrees of freedom as the text has them.
#[derive(Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub(super) enum Freedom {
    /// The uncertainty is itself known.
    Infinite,
    /// So many.
    #[serde(untagged)]
    Number(f64),
}

/// For `with`: degrees of freedom, which may be infinite.
pub(super) mod freedom {
    use super::{Deserialize, Deserializer, Freedom, Serialize, Serializer};

    #[expect(clippy::ref_option, reason = "serde hands over the field itself")]
    pub(in super::super) fn serialize<S: Serializer>(freedom: &Option<f64>, serializer: S) -> Result<S::Ok, S::Error> {
        let written = match *freedom {
            Some(f64::INFINITY) => Some(Freedom::Infinite),
            Some(number) if number.is_finite() => Some(Freedom::Number(number)),
            _ => None,
        };
        written.serialize(serializer)
    }

    pub(in super::super) fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Option<f64>, D::Error> {
        Ok(Option::<Freedom>::deserialize(deserializer)?.map(|freedom| match freedom {
            Freedom::Infinite => f64::INFINITY,
            Freedom::Number(number) => number,
        }))
    }
}
