//! A session: everything that a rig hands over about one car.
//!
//! Fields here, keys in the JSON, members in C and arguments in Python have the same names. A [`Session`] is plain
//! data; nothing is checked until it is used, and then the error names the place.

pub use crate::error::Stage;
use crate::error::{Error, ErrorCode};
use crate::frame::{Rig, Target, Transform, Vector};
pub use crate::layout::{ByAxle, BySide, ByWheel, Side, Wheel};
use crate::pose::{self, Pose};
use alloc::string::String;
use alloc::vec::Vec;

/// What the cameras saw of one wheel at one station.
#[derive(Debug, Clone, PartialEq, Default)]
pub enum Sighting {
    /// Nothing: the camera was blocked, or the target is not there.
    #[default]
    NotSeen,
    /// One pose.
    Pose(Pose),
    /// Several frames of a target that stands still, to be averaged.
    Frames(Vec<Pose>),
}

impl Sighting {
    /// The frames, as a slice: none, one or several.
    #[must_use]
    pub fn frames(&self) -> &[Pose] {
        match self {
            Self::NotSeen => &[],
            Self::Pose(pose) => core::slice::from_ref(pose),
            Self::Frames(frames) => frames,
        }
    }
}

impl From<Pose> for Sighting {
    fn from(pose: Pose) -> Self {
        Self::Pose(pose)
    }
}

/// The wheels at one moment: what was seen of each.
pub type Station = ByWheel<Sighting>;

/// A station whose frames are checked and averaged: `rig_from_target` of each wheel that was seen.
pub(crate) type Poses = ByWheel<Option<Transform<Rig, Target>>>;

/// How much a pose scatters: one standard deviation per axis.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(deny_unknown_fields))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct PoseNoise {
    /// Of the rotation, about each axis, degrees.
    pub rotation_deg: f64,
    /// Of the translation, along each axis, mm.
    pub translation_mm: f64,
}

/// How the vehicle's centreline is defined.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(rename_all = "snake_case"))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum Centreline {
    /// From the midpoint of the rear wheel centres to the midpoint of the front ones.
    #[default]
    AxleMidpoints,
    /// The bisector of the lines through the two left and through the two right wheel centres.
    SideLineBisector,
}

/// What angles to the vertical are measured from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(rename_all = "snake_case"))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum Datum {
    /// The session's `up`: gravity, or the normal of a calibrated runway.
    #[default]
    Up,
}

/// Which wheel is brought to the stated angle when toe-out on turns is read. Both customs exist.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(rename_all = "snake_case"))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum TurnWheel {
    /// The wheel on the inside of the turn.
    #[default]
    Inner,
    /// The wheel on the outside of the turn.
    Outer,
}

/// The custom by which toe-out on turns is read.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(deny_unknown_fields, default))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Turn {
    /// The wheel that is brought to `angle_deg`.
    pub wheel: TurnWheel,
    /// The steer angle of that wheel, from its own heading straight ahead, degrees; 20 by custom.
    pub angle_deg: f64,
}

impl Default for Turn {
    fn default() -> Self {
        Self { wheel: TurnWheel::Inner, angle_deg: 20.0 }
    }
}

/// The choices on which readings depend, each with its default. A result states them.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(deny_unknown_fields, default))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Reference {
    /// How the centreline is defined.
    pub centreline: Centreline,
    /// What angles to the vertical are measured from.
    pub datum: Datum,
    /// How toe-out on turns is read.
    #[cfg_attr(feature = "json", serde(deserialize_with = "crate::json::keyed"))]
    pub turn: Turn,
}

/// The version of the session format.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum SessionFormat {
    /// The first: `alignment-session/1`.
    #[default]
    #[cfg_attr(feature = "json", serde(rename = "alignment-session/1"))]
    V1,
}

/// What a rig hands over about one car: poses of the four targets at each station, and what it knows of itself.
#[derive(Debug, Clone, PartialEq, Default)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(deny_unknown_fields))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Session {
    /// The version of the format.
    pub format: SessionFormat,
    /// A remark for people; it plays no part in any reading.
    #[cfg_attr(feature = "json", serde(default, skip_serializing_if = "Option::is_none"))]
    pub note: Option<String>,
    /// Unit vector upward, in the rig frame: against gravity, or the normal of a calibrated runway.
    #[cfg_attr(feature = "json", serde(default, skip_serializing_if = "Option::is_none"))]
    pub up: Option<[f64; 3]>,
    /// From the wheel's centre plane outward along the spindle to the target's origin, mm. Rolling cannot show it.
    pub clamp_standoff_mm: ByWheel<f64>,
    /// How much a pose scatters. It sets the bounds above which a residual is called high.
    #[cfg_attr(feature = "json", serde(default, skip_serializing_if = "Option::is_none"))]
    #[cfg_attr(feature = "json", serde(deserialize_with = "crate::json::keyed_option"))]
    pub pose_noise: Option<PoseNoise>,
    /// Loaded radius per axle, mm: from the wheel centre to the contact centre, in the wheel plane. Without it the rolling radius stands in.
    #[cfg_attr(feature = "json", serde(default, skip_serializing_if = "Option::is_none"))]
    #[cfg_attr(feature = "json", serde(deserialize_with = "crate::json::keyed_option"))]
    #[cfg_attr(feature = "schema", schemars(with = "Option<LoadedRadiusSchema>"))]
    pub loaded_radius_mm: Option<ByAxle<Option<f64>>>,
    /// Ride height at each wheel, mm: with them caster and SAI are also given to the body.
    #[cfg_attr(feature = "json", serde(default, skip_serializing_if = "Option::is_none"))]
    pub ride_height_mm: Option<ByWheel<f64>>,
    /// The stations at which the car was rolled, in any order.
    #[cfg_attr(feature = "schema", schemars(with = "Vec<StationSchema>"))]
    pub rolling: Vec<Station>,
    /// The station with the wheels straight ahead.
    #[cfg_attr(feature = "schema", schemars(with = "StationSchema"))]
    pub ahead: Station,
    /// The stations of the caster sweep, in any order.
    #[cfg_attr(feature = "json", serde(default, skip_serializing_if = "Vec::is_empty"))]
    #[cfg_attr(feature = "schema", schemars(with = "Vec<StationSchema>"))]
    pub sweep: Vec<Station>,
    /// Whether the brake held the front wheels to their knuckles during the sweep. A sweep needs it said.
    #[cfg_attr(feature = "json", serde(default, skip_serializing_if = "Option::is_none"))]
    pub sweep_wheels_locked: Option<bool>,
    /// Full lock to the left.
    #[cfg_attr(feature = "json", serde(default, skip_serializing_if = "Option::is_none"))]
    #[cfg_attr(feature = "schema", schemars(with = "Option<StationSchema>"))]
    pub lock_left: Option<Station>,
    /// Full lock to the right.
    #[cfg_attr(feature = "json", serde(default, skip_serializing_if = "Option::is_none"))]
    #[cfg_attr(feature = "schema", schemars(with = "Option<StationSchema>"))]
    pub lock_right: Option<Station>,
    /// The choices on which readings depend.
    #[cfg_attr(feature = "json", serde(default, deserialize_with = "crate::json::keyed"))]
    pub reference: Reference,
}

/// The shortest and longest clamp standoff, mm: either sign, since a target may sit inside the rim.
pub const CLAMP_STANDOFF_RANGE_MM: [f64; 2] = [-1000.0, 1000.0];
/// The least and greatest loaded radius, mm.
pub const LOADED_RADIUS_RANGE_MM: [f64; 2] = [50.0, 1500.0];
/// The least and greatest ride height, mm; the reference point may lie anywhere on the body.
pub const RIDE_HEIGHT_RANGE_MM: [f64; 2] = [-2000.0, 5000.0];
/// The least and greatest angle at which toe-out on turns can be asked for, degrees.
pub const TURN_ANGLE_RANGE_DEG: [f64; 2] = [1.0, 60.0];

/// Checks `up` and makes it a unit vector in the rig frame.
///
/// # Errors
/// [`ErrorCode::NotFinite`], [`ErrorCode::NotUnitLength`] (further than 1e-6 from length 1).
pub fn up_in_rig(up: [f64; 3]) -> Result<Vector<Rig>, Error> {
    let up = Vector::new(up);
    let norm = up.norm();
    pose::check_unit_length(norm).map_err(|error| error.input("up"))?;
    Ok(up * (1.0 / norm))
}

/// Checks that a number of the session lies in its range.
pub(crate) fn check_range(code: ErrorCode, input: &'static str, value: f64, range: [f64; 2]) -> Result<(), Error> {
    if !value.is_finite() {
        return Err(Error::new(ErrorCode::NotFinite).input(input));
    }
    if value < range[0] || value > range[1] {
        return Err(Error::new(code).input(input).value(value).at_least(range[0]).at_most(range[1]));
    }
    Ok(())
}

/// Checks the loaded radii that are given.
pub(crate) fn check_loaded_radii(loaded_radius_mm: &ByAxle<Option<f64>>) -> Result<(), Error> {
    let ByAxle { front, rear } = *loaded_radius_mm;
    for (name, radius) in [("loaded_radius_mm.front", front), ("loaded_radius_mm.rear", rear)] {
        if let Some(radius) = radius {
            check_range(ErrorCode::LengthOutOfRange, name, radius, LOADED_RADIUS_RANGE_MM)?;
        }
    }
    Ok(())
}

/// Checks every number of the session that is not a pose.
pub(crate) fn check_inputs(session: &Session) -> Result<(), Error> {
    let length = ErrorCode::LengthOutOfRange;
    for wheel in Wheel::ALL {
        let standoff = *session.clamp_standoff_mm.get(wheel);
        check_range(length, "clamp_standoff_mm", standoff, CLAMP_STANDOFF_RANGE_MM)
            .map_err(|error| error.wheel(wheel))?;
        if let Some(heights) = &session.ride_height_mm {
            check_range(length, "ride_height_mm", *heights.get(wheel), RIDE_HEIGHT_RANGE_MM)
                .map_err(|error| error.wheel(wheel))?;
        }
    }
    check_loaded_radii(&session.loaded_radius_mm.unwrap_or_default())?;
    if let Some(noise) = &session.pose_noise {
        check_range(ErrorCode::AngleOutOfRange, "pose_noise.rotation_deg", noise.rotation_deg, [0.0, 10.0])?;
        check_range(length, "pose_noise.translation_mm", noise.translation_mm, [0.0, 100.0])?;
    }
    let turn_deg = session.reference.turn.angle_deg;
    check_range(ErrorCode::AngleOutOfRange, "reference.turn.angle_deg", turn_deg, TURN_ANGLE_RANGE_DEG)
}

/// Checks and averages the frames of one station.
pub(crate) fn resolve(station: &Station, stage: Stage) -> Result<Poses, Error> {
    let mut poses = Poses::default();
    for wheel in Wheel::ALL {
        let frames = station.get(wheel).frames();
        if !frames.is_empty() {
            let mean = pose::mean_transform(frames).map_err(|error| error.stage(stage).wheel(wheel))?;
            *poses.get_mut(wheel) = Some(mean);
        }
    }
    Ok(poses)
}

/// Checks and averages the frames of all stations of a stage.
pub(crate) fn resolve_all(stations: &[Station], stage: Stage) -> Result<Vec<Poses>, Error> {
    let mut resolved = Vec::with_capacity(stations.len());
    for (index, station) in stations.iter().enumerate() {
        resolved.push(resolve(station, stage).map_err(|error| error.station(index))?);
    }
    Ok(resolved)
}

#[cfg(feature = "schema")]
pub(crate) use schema::{LoadedRadiusSchema, StationSchema};

#[cfg(feature = "schema")]
mod schema {
    //! Stand-ins from which the schema of hand-read parts is generated.
    #![expect(dead_code, reason = "these types are only described, never built")]

    use alloc::vec::Vec;
    use schemars::JsonSchema;

    /// The wheels at one moment. A wheel that is left out, null or an empty array was not seen.
    #[derive(JsonSchema)]
    #[schemars(rename = "Station", deny_unknown_fields)]
    pub(crate) struct StationSchema {
        /// Front left.
        fl: Option<SightingSchema>,
        /// Front right.
        fr: Option<SightingSchema>,
        /// Rear left.
        rl: Option<SightingSchema>,
        /// Rear right.
        rr: Option<SightingSchema>,
    }

    /// One pose, or several frames of a target that stands still, to be averaged.
    #[derive(JsonSchema)]
    #[schemars(rename = "Sighting", untagged)]
    enum SightingSchema {
        Pose(PoseSchema),
        Frames(Vec<PoseSchema>),
    }

    /// The pose of a target in the rig frame: `translation_mm` with one of three forms of the rotation.
    #[derive(JsonSchema)]
    #[schemars(rename = "Pose", untagged)]
    enum PoseSchema {
        /// Rotation as a matrix.
        Matrix(MatrixPoseSchema),
        /// Rotation as a unit quaternion.
        Quaternion(QuaternionPoseSchema),
        /// Rotation as a rotation vector.
        RotationVector(RotationVectorPoseSchema),
    }

    /// A pose with its rotation as a matrix.
    #[derive(JsonSchema)]
    #[schemars(rename = "PoseByMatrix", deny_unknown_fields)]
    struct MatrixPoseSchema {
        /// R, 3×3, row by row: its columns are the target's axes seen in the rig frame.
        rotation: [[f64; 3]; 3],
        /// The target's origin in the rig frame, mm.
        translation_mm: [f64; 3],
    }

    /// A pose with its rotation as a unit quaternion.
    #[derive(JsonSchema)]
    #[schemars(rename = "PoseByQuaternion", deny_unknown_fields)]
    struct QuaternionPoseSchema {
        /// Unit quaternion, w first.
        quaternion_wxyz: [f64; 4],
        /// The target's origin in the rig frame, mm.
        translation_mm: [f64; 3],
    }

    /// A pose with its rotation as a rotation vector.
    #[derive(JsonSchema)]
    #[schemars(rename = "PoseByRotationVector", deny_unknown_fields)]
    struct RotationVectorPoseSchema {
        /// Axis times angle, radians.
        rotation_vector_rad: [f64; 3],
        /// The target's origin in the rig frame, mm.
        translation_mm: [f64; 3],
    }

    /// Loaded radius per axle, mm.
    #[derive(JsonSchema)]
    #[schemars(rename = "LoadedRadius", deny_unknown_fields)]
    pub(crate) struct LoadedRadiusSchema {
        /// The front axle.
        front: Option<f64>,
        /// The rear axle.
        rear: Option<f64>,
    }
}
