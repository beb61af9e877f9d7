//! Sessions, specifications, results, verdicts and where a stand is to stand, as JSON.
//!
//! Keys are the fields' names. An unknown key is an error that names it; so is a pose with two forms of rotation, or none.

use crate::alignment::Measurement;
use crate::assessment::Assessment;
use crate::conformity::{self, Fault, Specification, Tolerance, Verdicts};
use crate::error::{Error, ErrorCode, Stage, Warning, WarningCode};
use crate::layout::{ByWheel, Wheel};
use crate::pose::Pose;
use crate::session::{Noise, PoseCovariance, PoseNoise, Session, Sighting};
use crate::stand::{Required, StandAssessment, StandRequirements};
use alloc::boxed::Box;
use alloc::collections::BTreeMap;
use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec::Vec;
use core::fmt;
use core::marker::PhantomData;
use serde::de::{self, Deserialize, DeserializeSeed, Deserializer, MapAccess, SeqAccess, Visitor};
use serde::ser::{Serialize, SerializeStruct, Serializer};

/// Why a text is not a session, a specification or a record, and where: the path of the key and the line and column in the text.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub struct JsonError {
    /// [`ErrorCode::NotASession`], or [`ErrorCode::ThirdAxle`] for a station that has all four wheels and another;
    /// [`ErrorCode::NotASpecification`], or [`ErrorCode::UnknownReading`] for limits of what is no reading;
    /// [`ErrorCode::NotARecord`], or [`ErrorCode::RecordDamaged`] for one that is not as it was written.
    pub code: ErrorCode,
    /// The path in the text, as in `rolling[2].fl`; empty at the top.
    pub path: String,
    /// The line, counted from 1.
    pub line: usize,
    /// The column, counted from 1.
    pub column: usize,
    /// What is wrong there.
    pub reason: String,
}

impl JsonError {
    /// The code that belongs to a reason for which something is no session, as serde hands it on.
    #[must_use]
    pub fn code_of(reason: &str) -> ErrorCode {
        Self::code_among(reason, ErrorCode::ThirdAxle, ErrorCode::NotASession)
    }

    /// The code that belongs to a reason for which something is no specification, as serde hands it on.
    #[must_use]
    pub fn specification_code_of(reason: &str) -> ErrorCode {
        Self::code_among(reason, ErrorCode::UnknownReading, ErrorCode::NotASpecification)
    }

    /// The special code if the reason has its words.
    fn code_among(reason: &str, special: ErrorCode, otherwise: ErrorCode) -> ErrorCode {
        if reason.contains(special.what()) { special } else { otherwise }
    }
}

impl fmt::Display for JsonError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if !self.path.is_empty() {
            write!(f, "{}: ", self.path)?;
        }
        write!(f, "{} (line {}, column {})", self.reason, self.line, self.column)
    }
}

impl core::error::Error for JsonError {}

/// Reads a session from its JSON, format `alignment-session/1`.
///
/// # Errors
/// [`JsonError`] names the key, the line and the column: malformed JSON, an unknown or repeated key, a wrong type, a missing key, a
/// pose without exactly one form of rotation, a quaternion that is not of unit length.
///
/// ```
/// # use alignment_core::json::session_from_json;
/// let error = session_from_json(r#"{ "format": "alignment-session/1", "colour": 1 }"#).unwrap_err();
/// assert!(error.to_string().starts_with("colour: unknown field `colour`"), "{error}");
/// ```
pub fn session_from_json(text: &str) -> Result<Session, JsonError> {
    from_json(text, JsonError::code_of)
}

/// Reads a value that is written with its keys.
fn from_json<'de, T: Deserialize<'de>>(text: &'de str, code_of: fn(&str) -> ErrorCode) -> Result<T, JsonError> {
    let mut reader = serde_json::Deserializer::from_str(text);
    let value = serde_path_to_error::deserialize(&mut reader).map(|Keyed(value)| value).map_err(|error| {
        // At the top the path is ".", and "?" where the text broke off: neither tells a reader anything.
        let path = error.path().to_string();
        json_error(if path == "." || path == "?" { String::new() } else { path }, error.inner(), code_of)
    })?;
    reader.end().map_err(|error| json_error(String::new(), &error, code_of))?;
    Ok(value)
}

/// Writes a session as JSON that reads back to the same bits; rotations as matrices.
///
/// # Panics
/// Never: a session holds nothing that JSON cannot. Numbers that are not finite come out as null.
///
/// ```
/// # use alignment_core::{json::{session_from_json, session_to_json}, simulate::VirtualVehicle};
/// let session = VirtualVehicle::default().session();
/// assert_eq!(session_from_json(&session_to_json(&session)).unwrap(), session);
/// ```
#[must_use]
pub fn session_to_json(session: &Session) -> String {
    to_text(session)
}

/// Writes a result as JSON at full precision: `{"alignment": …, "reference": …, "warnings": […], "residuals": …}`. Absent readings are null.
///
/// # Panics
/// Never: a result holds nothing that JSON cannot.
///
/// ```
/// # use alignment_core::{json::measurement_to_json, measure, simulate::VirtualVehicle};
/// let result = measure(&VirtualVehicle::default().session())?;
/// assert!(measurement_to_json(&result).contains(r#""camber_deg": -0."#));
/// # Ok::<(), alignment_core::Error>(())
/// ```
#[must_use]
pub fn measurement_to_json(measurement: &Measurement) -> String {
    to_text(measurement)
}

/// Writes an assessment as JSON: a result as [`measurement_to_json`] writes it, with `uncertainty`, `degrees_of_freedom` and
/// `expanded_uncertainty`, each the tree of `alignment`, and `verdicts`; null what is not known or not asked. Infinite degrees of freedom
/// are null as well.
///
/// ```
/// # use alignment_core::{assess, json::assessment_to_json, simulate::VirtualVehicle};
/// let known = assess(&VirtualVehicle::default().session(), None)?;
/// assert!(assessment_to_json(&known).contains(r#""uncertainty": null"#), "no noise is stated");
/// # Ok::<(), alignment_core::Error>(())
/// ```
#[must_use]
pub fn assessment_to_json(assessment: &Assessment) -> String {
    to_text(assessment)
}

pub(crate) fn to_text<T: Serialize>(value: &T) -> String {
    serde_json::to_string_pretty(value).unwrap_or_else(|error| unreachable!("plain data has a JSON form: {error}"))
}

/// Reads a specification from its JSON, format `alignment-specification/1`: the limits of readings, in degrees, minutes of arc or mm.
///
/// # Errors
/// [`JsonError`] names the key, the line and the column: malformed JSON, an unknown or repeated key, a wrong type, a missing key, a path that
/// is no reading or has two tolerances, a tolerance in neither form, limits out of range. The probability of the decision is checked by
/// [`judge_all`](crate::conformity::judge_all).
///
/// ```
/// # use alignment_core::{ErrorCode, json::specification_from_json};
/// let text = r#"{ "format": "alignment-specification/1", "limits": { "wheels.fl.camber": { "max": 0 } } }"#;
/// let error = specification_from_json(text).unwrap_err();
/// assert_eq!((error.code, error.path.as_str()), (ErrorCode::UnknownReading, "limits.wheels.fl.camber"));
/// let right = specification_from_json(&text.replace("camber", "camber_deg")).unwrap();
/// assert_eq!(right.limits["wheels.fl.camber_deg"].max, Some(0.0));
/// ```
pub fn specification_from_json(text: &str) -> Result<Specification, JsonError> {
    from_json(text, JsonError::specification_code_of)
}

/// Writes a specification as JSON that reads back the same: every path by itself, in its own unit or that in which it was given, degrees or mm.
///
/// # Panics
/// Never: a specification holds nothing that JSON cannot.
///
/// ```
/// # use alignment_core::json::{specification_from_json, specification_to_json};
/// let text = r#"{ "format": "alignment-specification/1", "limits": { "wheels.{fl,fr}.camber_deg": { "max": 0 } } }"#;
/// let specification = specification_from_json(text).unwrap();
/// assert_eq!(specification.limits.len(), 2);
/// assert_eq!(specification_from_json(&specification_to_json(&specification)).unwrap(), specification);
/// ```
#[must_use]
pub fn specification_to_json(specification: &Specification) -> String {
    to_text(specification)
}

/// Writes verdicts as JSON at full precision: `{"overall": …, "decision": …, "load_state": …, "readings": […]}`. What is absent is null.
///
/// # Panics
/// Never: verdicts hold nothing that JSON cannot.
///
/// ```
/// # use alignment_core::conformity::{Specification, Tolerance, judge_all};
/// # use alignment_core::{Alignment, json::verdicts_to_json};
/// let mut specification = Specification::default();
/// specification.limits.insert("wheels.fl.camber_deg", Tolerance { max: Some(0.0), ..Tolerance::default() });
/// let verdicts = judge_all(&Alignment::default(), None, None, &specification)?;
/// assert!(verdicts_to_json(&verdicts).contains(r#""reason": "not_measured""#));
/// # Ok::<(), alignment_core::Error>(())
/// ```
#[must_use]
pub fn verdicts_to_json(verdicts: &Verdicts) -> String {
    to_text(verdicts)
}

/// Reads from its JSON, format `alignment-stand/1`, where a stand is to stand, in degrees and mm.
///
/// # Errors
/// [`JsonError`] names the key, the line and the column: malformed JSON, an unknown or repeated key, a wrong type, a missing key. The numbers are checked
/// by [`stand::assess`](crate::stand::assess) and [`stand::moves`](crate::stand::moves).
///
/// ```
/// # use alignment_core::{ErrorCode, json::stand_requirements_from_json};
/// let text = r#"{ "format": "alignment-stand/1", "required": { "yaw": { "nominal": 0, "minus": 0.1, "plus": 0.1 } } }"#;
/// let error = stand_requirements_from_json(text).unwrap_err();
/// assert_eq!((error.code, error.path.as_str()), (ErrorCode::NotASpecification, "required.yaw"));
/// let right = stand_requirements_from_json(&text.replace("yaw", "yaw_deg")).unwrap();
/// assert_eq!(right.required.yaw_deg.unwrap().plus, 0.1);
/// ```
pub fn stand_requirements_from_json(text: &str) -> Result<StandRequirements, JsonError> {
    from_json(text, |_| ErrorCode::NotASpecification)
}

/// Writes where a stand is to stand as JSON that reads back the same, in degrees and mm.
///
/// # Panics
/// Never: requirements hold nothing that JSON cannot.
///
/// ```
/// # use alignment_core::json::{stand_requirements_from_json, stand_requirements_to_json};
/// # use alignment_core::stand::StandRequirements;
/// let requirements = StandRequirements::default();
/// assert_eq!(stand_requirements_from_json(&stand_requirements_to_json(&requirements)).unwrap(), requirements);
/// ```
#[must_use]
pub fn stand_requirements_to_json(requirements: &StandRequirements) -> String {
    to_text(requirements)
}

/// Writes the assessment of a stand as JSON at full precision, its members under the names of the fields, in degrees and mm. What is absent is null.
///
/// # Panics
/// Never: an assessment holds nothing that JSON cannot.
///
/// ```
/// # use alignment_core::stand::{PlacedStand, StandRequirements, assess};
/// # use alignment_core::{Pose, json::stand_assessment_to_json, simulate::VirtualVehicle};
/// let seen = Pose::from_rotation_vector_rad([0.0; 3], [5000.0, 30.0, 1200.0])?;
/// let stand = PlacedStand { rig_from_stand: seen, noise: None, pivot_mm: [0.0; 3] };
/// let found = assess(&VirtualVehicle::default().session(), &stand, &[], &StandRequirements::default())?;
/// assert!(stand_assessment_to_json(&found).contains(r#""distance_mm""#));
/// # Ok::<(), alignment_core::Error>(())
/// ```
#[must_use]
pub fn stand_assessment_to_json(assessment: &StandAssessment) -> String {
    to_text(assessment)
}

pub(crate) fn json_error(path: String, error: &serde_json::Error, code_of: fn(&str) -> ErrorCode) -> JsonError {
    // serde_json ends its sentence with the place; here the place stands apart.
    let text = error.to_string();
    let reason = text.rsplit_once(" at line ").map_or(text.as_str(), |(reason, _)| reason);
    JsonError { code: code_of(reason), path, line: error.line(), column: error.column(), reason: reason.to_string() }
}

/// A value that is written with its keys. What serde derives would also take an array and guess the order of its members.
pub(crate) struct Keyed<T>(pub(crate) T);

impl<'de, T: Deserialize<'de>> Deserialize<'de> for Keyed<T> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct KeyedVisitor<T>(PhantomData<T>);

        impl<'de, T: Deserialize<'de>> Visitor<'de> for KeyedVisitor<T> {
            type Value = Keyed<T>;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("an object with named members")
            }

            fn visit_map<A: MapAccess<'de>>(self, map: A) -> Result<Keyed<T>, A::Error> {
                T::deserialize(de::value::MapAccessDeserializer::new(map)).map(Keyed)
            }
        }

        deserializer.deserialize_map(KeyedVisitor(PhantomData))
    }
}

/// For `deserialize_with`: a member that is written with its keys.
pub(crate) fn keyed<'de, D: Deserializer<'de>, T: Deserialize<'de>>(deserializer: D) -> Result<T, D::Error> {
    Keyed::deserialize(deserializer).map(|Keyed(value)| value)
}

/// For `deserialize_with`: the same for a member that may be null.
pub(crate) fn keyed_option<'de, D: Deserializer<'de>, T: Deserialize<'de>>(
    deserializer: D,
) -> Result<Option<T>, D::Error> {
    Option::<Keyed<T>>::deserialize(deserializer).map(|value| value.map(|Keyed(value)| value))
}

impl<'de> Deserialize<'de> for Noise {
    /// In one of its two forms, told by its keys.
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        #[derive(serde::Deserialize)]
        #[serde(deny_unknown_fields)]
        struct Forms {
            rotation_deg: Option<f64>,
            translation_mm: Option<f64>,
            covariance: Option<[[f64; 6]; 6]>,
        }
        let Keyed(forms) = Keyed::<Forms>::deserialize(deserializer)?;
        match (forms.rotation_deg, forms.translation_mm, forms.covariance) {
            (Some(rotation_deg), Some(translation_mm), None) => {
                Ok(Self::PerAxis(PoseNoise { rotation_deg, translation_mm }))
            }
            (None, None, Some(covariance)) => Ok(Self::Covariance(Box::new(PoseCovariance { covariance }))),
            _ => Err(de::Error::custom("a noise needs rotation_deg and translation_mm, or covariance alone")),
        }
    }
}

impl<'de> Deserialize<'de> for Required {
    /// By its keys, never by the order of an array.
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        #[derive(serde::Deserialize)]
        #[serde(deny_unknown_fields)]
        struct Members {
            nominal: f64,
            minus: f64,
            plus: f64,
        }
        let Keyed(Members { nominal, minus, plus }) = Keyed::deserialize(deserializer)?;
        Ok(Self { nominal, minus, plus })
    }
}

/// For `deserialize_with`: members of any name, each written with its keys; null is none; a name that stands twice is refused.
pub(crate) fn keyed_map<'de, D: Deserializer<'de>, T: Deserialize<'de>>(
    deserializer: D,
) -> Result<BTreeMap<String, T>, D::Error> {
    struct MapVisitor<T>(PhantomData<T>);

    impl<'de, T: Deserialize<'de>> Visitor<'de> for MapVisitor<T> {
        type Value = BTreeMap<String, T>;

        fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
            f.write_str("an object with named members")
        }

        fn visit_none<E>(self) -> Result<Self::Value, E> {
            Ok(BTreeMap::new())
        }

        fn visit_some<D: Deserializer<'de>>(self, deserializer: D) -> Result<Self::Value, D::Error> {
            deserializer.deserialize_map(self)
        }

        fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Self::Value, A::Error> {
            let mut members = BTreeMap::new();
            while let Some(name) = map.next_key::<String>()? {
                let Keyed(member) = map.next_value()?;
                if members.contains_key(&name) {
                    return Err(de::Error::custom(format!("duplicate field `{name}`")));
                }
                members.insert(name, member);
            }
            Ok(members)
        }
    }

    deserializer.deserialize_option(MapVisitor(PhantomData))
}

/// For `deserialize_with`: the limits of a specification, each checked where it stands.
pub(crate) fn limits<'de, D: Deserializer<'de>>(
    deserializer: D,
) -> Result<BTreeMap<&'static str, Tolerance>, D::Error> {
    struct LimitsVisitor;

    impl<'de> Visitor<'de> for LimitsVisitor {
        type Value = BTreeMap<&'static str, Tolerance>;

        fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
            f.write_str("an object with the paths of readings")
        }

        fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Self::Value, A::Error> {
            let mut limits = BTreeMap::new();
            while let Some(paths) = map.next_key::<String>()? {
                map.next_value_seed(ToleranceOf { paths: &paths, limits: &mut limits })?;
            }
            Ok(limits)
        }
    }

    deserializer.deserialize_map(LimitsVisitor)
}

/// The tolerance that stands at a path, or at a group of them, with the limits read so far.
struct ToleranceOf<'a> {
    paths: &'a str,
    limits: &'a mut BTreeMap<&'static str, Tolerance>,
}

impl<'de> DeserializeSeed<'de> for ToleranceOf<'_> {
    type Value = ();

    fn deserialize<D: Deserializer<'de>>(self, deserializer: D) -> Result<(), D::Error> {
        let Keyed(tolerance) = Keyed::<Tolerance>::deserialize(deserializer)?;
        for path in expanded(self.paths) {
            let known = conformity::with_limits(&path).ok_or_else(|| {
                let what = ErrorCode::UnknownReading.what();
                de::Error::custom(format!("{what}, or it is a vector, which has no limits: `{path}`"))
            })?;
            tolerance.bounds(known).map_err(|fault| match fault {
                Fault::Form(sentence) => de::Error::custom(sentence),
                Fault::Number(error) => de::Error::custom(error),
            })?;
            if self.limits.insert(known, tolerance).is_some() {
                return Err(de::Error::custom(format!("`{path}` has limits already")));
            }
        }
        Ok(())
    }
}

/// The paths of a group: `wheels.{fl,fr}.camber_deg` is two. What is not closed is no group, and no path either.
fn expanded(paths: &str) -> Vec<String> {
    let group = paths.split_once('{').and_then(|(before, rest)| Some((before, rest.split_once('}')?)));
    match group {
        Some((before, (names, after))) => names.split(',').map(|name| format!("{before}{name}{after}")).collect(),
        None => alloc::vec![paths.to_string()],
    }
}

impl<'de, T: Deserialize<'de>> Deserialize<'de> for ByWheel<T> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        deserializer.deserialize_map(ByWheelVisitor(PhantomData))
    }
}

struct ByWheelVisitor<T>(PhantomData<T>);

impl<'de, T: Deserialize<'de>> Visitor<'de> for ByWheelVisitor<T> {
    type Value = ByWheel<T>;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("an object with named members")
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<ByWheel<T>, A::Error> {
        let mut members: ByWheel<Option<T>> = ByWheel { fl: None, fr: None, rl: None, rr: None };
        let mut unknown: Option<String> = None;
        while let Some(name) = map.next_key::<String>()? {
            let Some(&wheel) = Wheel::ALL.iter().find(|wheel| wheel.name() == name) else {
                map.next_value::<de::IgnoredAny>()?;
                unknown = unknown.or(Some(name));
                continue;
            };
            if members.get_mut(wheel).replace(map.next_value()?).is_some() {
                return Err(de::Error::custom(format!("duplicate field `{wheel}`")));
            }
        }
        if let Some(name) = unknown {
            let all_four = Wheel::ALL.iter().all(|&wheel| members.get(wheel).is_some());
            return Err(if all_four {
                de::Error::custom(format!("unknown wheel `{name}`: {}", Error::new(ErrorCode::ThirdAxle)))
            } else {
                de::Error::unknown_field(&name, &["fl", "fr", "rl", "rr"])
            });
        }
        // A wheel of a station may be left out, as if it were null; a number may not.
        ByWheel::try_from_fn(|wheel| match members.get_mut(wheel).take() {
            Some(member) => Ok(member),
            None => T::deserialize(Missing(wheel, PhantomData)),
        })
    }
}

/// A member that is not there: what may be null reads as null, all else as missing.
struct Missing<E>(Wheel, PhantomData<E>);

impl<'de, E: de::Error> Deserializer<'de> for Missing<E> {
    type Error = E;

    fn deserialize_any<V: Visitor<'de>>(self, _: V) -> Result<V::Value, E> {
        Err(de::Error::missing_field(self.0.name()))
    }

    fn deserialize_option<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, E> {
        visitor.visit_none()
    }

    serde::forward_to_deserialize_any! {
        bool i8 i16 i32 i64 i128 u8 u16 u32 u64 u128 f32 f64 char str string bytes byte_buf unit unit_struct
        newtype_struct seq tuple tuple_struct map struct enum identifier ignored_any
    }
}

/// A pose as it stands in the JSON: one of three forms of rotation.
#[derive(serde::Deserialize)]
#[serde(deny_unknown_fields)]
struct PoseForms {
    rotation: Option<[[f64; 3]; 3]>,
    quaternion_wxyz: Option<[f64; 4]>,
    rotation_vector_rad: Option<[f64; 3]>,
    translation_mm: [f64; 3],
    covariance: Option<[[f64; 6]; 6]>,
}

impl PoseForms {
    fn into_sighting(self) -> Result<Sighting, String> {
        let covariance = self.covariance;
        let pose = Self { covariance: None, ..self }.into_pose()?;
        Ok(covariance.map_or(Sighting::Pose(pose), |covariance| {
            Sighting::PoseWithCovariance(Box::new((pose, PoseCovariance { covariance })))
        }))
    }

    fn into_pose(self) -> Result<Pose, String> {
        if self.covariance.is_some() {
            return Err("covariance: only a pose that stands alone can have one, not a frame or a camera".to_string());
        }
        let translation_mm = self.translation_mm;
        match (self.rotation, self.quaternion_wxyz, self.rotation_vector_rad) {
            (Some(rotation), None, None) => Ok(Pose { rotation, translation_mm }),
            (None, Some(q), None) => Pose::from_quaternion_wxyz(q, translation_mm).map_err(|e| e.to_string()),
            (None, None, Some(v)) => Pose::from_rotation_vector_rad(v, translation_mm).map_err(|e| e.to_string()),
            _ => Err("a pose needs exactly one of rotation, quaternion_wxyz, rotation_vector_rad".to_string()),
        }
    }
}

impl<'de> Deserialize<'de> for Pose {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let Keyed(forms) = Keyed::<PoseForms>::deserialize(deserializer)?;
        forms.into_pose().map_err(de::Error::custom)
    }
}

impl Serialize for Pose {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut fields = serializer.serialize_struct("Pose", 2)?;
        fields.serialize_field("rotation", &self.rotation)?;
        fields.serialize_field("translation_mm", &self.translation_mm)?;
        fields.end()
    }
}

impl<'de> Deserialize<'de> for Sighting {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        // As an option, so that a wheel that is left out reads like one that is null.
        deserializer.deserialize_option(SightingVisitor)
    }
}

struct SightingVisitor;

impl<'de> Visitor<'de> for SightingVisitor {
    type Value = Sighting;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a pose, an array of poses, or null")
    }

    fn visit_none<E>(self) -> Result<Sighting, E> {
        Ok(Sighting::NotSeen)
    }

    fn visit_some<D: Deserializer<'de>>(self, deserializer: D) -> Result<Sighting, D::Error> {
        deserializer.deserialize_any(self)
    }

    fn visit_map<A: MapAccess<'de>>(self, map: A) -> Result<Sighting, A::Error> {
        let forms = PoseForms::deserialize(de::value::MapAccessDeserializer::new(map))?;
        forms.into_sighting().map_err(de::Error::custom)
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut seq: A) -> Result<Sighting, A::Error> {
        let mut frames = Vec::new();
        while let Some(pose) = seq.next_element()? {
            frames.push(pose);
        }
        Ok(if frames.is_empty() { Sighting::NotSeen } else { Sighting::Frames(frames) })
    }
}

impl Serialize for Sighting {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        match self {
            Self::NotSeen => serializer.serialize_none(),
            Self::Pose(pose) => pose.serialize(serializer),
            Self::PoseWithCovariance(both) => {
                let (pose, PoseCovariance { covariance }) = &**both;
                let mut fields = serializer.serialize_struct("Pose", 3)?;
                fields.serialize_field("rotation", &pose.rotation)?;
                fields.serialize_field("translation_mm", &pose.translation_mm)?;
                fields.serialize_field("covariance", covariance)?;
                fields.end()
            }
            Self::Frames(frames) => frames.serialize(serializer),
        }
    }
}

/// A warning as it stands in the JSON: with its number and its sentence.
#[derive(serde::Serialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[cfg_attr(feature = "schema", schemars(rename = "Warning"))]
pub(crate) struct WarningJson {
    /// What is weak, by its stable name.
    code: WarningCode,
    /// The stable number of the code.
    number: i32,
    /// In which group of stations.
    stage: Option<Stage>,
    /// At which station of the group, counted from 0 as in the session.
    station: Option<usize>,
    /// At which wheel.
    wheel: Option<Wheel>,
    /// The figure seen, in `unit`.
    value: Option<f64>,
    /// The bound that it passed, in `unit`.
    limit: Option<f64>,
    /// The unit of both: `deg`, `mm` or nothing.
    unit: &'static str,
    /// All of it as one sentence.
    message: String,
}

impl From<Warning> for WarningJson {
    fn from(warning: Warning) -> Self {
        let Warning { code, stage, station, wheel, value, limit, unit } = warning;
        Self { code, number: code.number(), stage, station, wheel, value, limit, unit, message: format!("{warning}") }
    }
}

/// The JSON Schema of a session, format `alignment-session/1`.
///
/// The schemas stand in the folder `schema` of this crate. A test holds them to the types, which under the feature `schema` derive
/// `schemars::JsonSchema`.
///
/// ```
/// # use alignment_core::json::session_schema;
/// assert!(session_schema().contains("clamp_standoff_mm"));
/// ```
#[must_use]
pub const fn session_schema() -> &'static str {
    include_str!("../schema/alignment-session-1.json")
}

/// The JSON Schema of a specification, format `alignment-specification/1`.
///
/// ```
/// # use alignment_core::json::specification_schema;
/// assert!(specification_schema().contains("reference_diameter_mm"));
/// ```
#[must_use]
pub const fn specification_schema() -> &'static str {
    include_str!("../schema/alignment-specification-1.json")
}

/// The JSON Schema of a record, format `alignment-record/1`, as [`Record::to_json`](crate::record::Record::to_json) writes it.
///
/// ```
/// # use alignment_core::json::record_schema;
/// assert!(record_schema().contains("inputs_sha256"));
/// ```
#[cfg(feature = "record")]
#[must_use]
pub const fn record_schema() -> &'static str {
    include_str!("../schema/alignment-record-1.json")
}

/// The JSON Schema of an assessment, as [`assessment_to_json`] writes it.
///
/// ```
/// # use alignment_core::json::assessment_schema;
/// assert!(assessment_schema().contains("expanded_uncertainty"));
/// ```
#[must_use]
pub const fn assessment_schema() -> &'static str {
    include_str!("../schema/assessment.json")
}

/// The JSON Schema of a result, as [`measurement_to_json`] writes it.
///
/// ```
/// # use alignment_core::json::measurement_schema;
/// assert!(measurement_schema().contains("thrust_angle_deg"));
/// ```
#[must_use]
pub const fn measurement_schema() -> &'static str {
    include_str!("../schema/measurement.json")
}

/// The JSON Schema of where a stand is to stand, format `alignment-stand/1`.
///
/// ```
/// # use alignment_core::json::stand_requirements_schema;
/// assert!(stand_requirements_schema().contains("lateral_offset_mm"));
/// ```
#[must_use]
pub const fn stand_requirements_schema() -> &'static str {
    include_str!("../schema/alignment-stand-1.json")
}

/// The JSON Schema of the assessment of a stand, as [`stand_assessment_to_json`] writes it.
///
/// ```
/// # use alignment_core::json::stand_assessment_schema;
/// assert!(stand_assessment_schema().contains("ground_line"));
/// ```
#[must_use]
pub const fn stand_assessment_schema() -> &'static str {
    include_str!("../schema/stand-assessment.json")
}
