//! A session: everything that a rig hands over about one car.
//!
//! Fields here, keys in the JSON, members in C and arguments in Python have the same names. A [`Session`] is plain
//! data; nothing is checked until it is used, and then the error names the place.

pub use crate::error::Stage;
use crate::error::{Error, ErrorCode};
use crate::frame::{self, Rig, Target, Transform, Vector};
pub use crate::layout::{ByAxle, BySide, ByWheel, Side, Wheel};
use crate::pose::{self, Pose, Spread};
use crate::units;
use alloc::boxed::Box;
use alloc::collections::BTreeMap;
use alloc::string::String;
use alloc::vec::Vec;
use nalgebra::SMatrix;

/// What the cameras saw of one wheel at one station.
#[derive(Debug, Clone, PartialEq, Default)]
pub enum Sighting {
    /// Nothing: the camera was blocked, or the target is not there.
    #[default]
    NotSeen,
    /// One pose.
    Pose(Pose),
    /// One pose whose scatter is known better than that of the others.
    PoseWithCovariance(Box<(Pose, PoseCovariance)>),
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
            Self::PoseWithCovariance(both) => core::slice::from_ref(&both.0),
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

/// How much the frames of one wheel scatter at one station.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct StationSpread {
    /// In which group of stations.
    pub stage: Stage,
    /// At which station of the group, counted from 0 as in the session.
    pub station: Option<usize>,
    /// At which wheel.
    pub wheel: Wheel,
    /// How many frames there were.
    pub frames: usize,
    /// Of the rotation, one standard deviation of a single frame about each axis, degrees.
    pub rotation_deg: f64,
    /// Of the translation, one standard deviation of a single frame along each axis, mm.
    pub translation_mm: f64,
}

/// How much a pose scatters: one standard deviation per axis.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(deny_unknown_fields))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct PoseNoise {
    /// Of the rotation, about each axis, degrees.
    pub rotation_deg: f64,
    /// Of the translation, along each axis, mm.
    pub translation_mm: f64,
}

/// How much a pose scatters, when its axes scatter differently or together: the covariance of a small turn and a small shift.
///
/// In the order x, y, z of the rotation, in degrees, then x, y, z of the translation, in mm: the elements are in deg², deg·mm and mm². With the
/// rotation vector ω and the shift t, the pose seen is exp(ω)·R and p + t, where R and p are true, in the frame in which the pose is given: the
/// camera's, if a camera of the session sees the wheel, else the rig's.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(deny_unknown_fields))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct PoseCovariance {
    /// The covariance, row by row.
    pub covariance: [[f64; 6]; 6],
}

impl PoseCovariance {
    /// The noise per axis of the same mean square.
    pub(crate) fn per_axis(&self) -> PoseNoise {
        let mean = |from: usize| (from..from + 3).map(|i| self.covariance[i][i]).sum::<f64>() / 3.0;
        PoseNoise { rotation_deg: units::sqrt(mean(0).max(0.0)), translation_mm: units::sqrt(mean(3).max(0.0)) }
    }

    /// Refuses what is no covariance: not symmetric, or with a negative variance.
    fn check(&self) -> Result<(), Error> {
        /// Of the numbers beside them: a matrix that was computed is symmetric but for rounding.
        const ROUNDING: f64 = 1e-9;
        if !self.covariance.iter().flatten().all(|v| v.is_finite()) {
            return Err(Error::new(ErrorCode::NotFinite).input("covariance"));
        }
        let of = |i: usize, j: usize| self.covariance[i][j];
        let (noise, no_covariance) = (self.per_axis(), Error::new(ErrorCode::NotACovariance).input("covariance"));
        check_noise(noise.rotation_deg, noise.translation_mm, ["covariance"; 2])?;
        for i in 0..6 {
            for j in 0..i {
                let scale = units::sqrt((of(i, i) * of(j, j)).max(0.0));
                if (of(i, j) - of(j, i)).abs() > ROUNDING * scale || of(i, j).abs() > scale * (1.0 + ROUNDING) {
                    return Err(no_covariance);
                }
            }
        }
        // Scaled to its own deviations, so that degrees and millimetres weigh alike.
        let scale = |i: usize| units::sqrt(of(i, i).max(f64::MIN_POSITIVE));
        let scaled = SMatrix::<f64, 6, 6>::from_fn(|i, j| of(i, j) / (scale(i) * scale(j)));
        let least = scaled.symmetric_eigenvalues().min();
        if least < -ROUNDING || (0..6).any(|i| of(i, i) < 0.0) {
            return Err(no_covariance.value(least).at_least(0.0));
        }
        Ok(())
    }
}

/// How much the poses of a session scatter.
#[derive(Debug, Clone, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
#[cfg_attr(feature = "json", serde(untagged))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum Noise {
    /// Alike along all axes.
    PerAxis(PoseNoise),
    /// By a covariance.
    Covariance(Box<PoseCovariance>),
}

impl Noise {
    /// One standard deviation per axis; of a covariance the root mean square of its axes.
    pub(crate) fn per_axis(&self) -> PoseNoise {
        match self {
            Self::PerAxis(noise) => *noise,
            Self::Covariance(covariance) => covariance.per_axis(),
        }
    }

    /// Refuses what is no noise; `names` are those of its two numbers.
    pub(crate) fn check(&self, names: [&'static str; 2]) -> Result<(), Error> {
        match self {
            Self::PerAxis(noise) => check_noise(noise.rotation_deg, noise.translation_mm, names),
            Self::Covariance(covariance) => covariance.check(),
        }
    }
}

impl From<PoseNoise> for Noise {
    fn from(noise: PoseNoise) -> Self {
        Self::PerAxis(noise)
    }
}

/// How well a rig knows what it does not see: standard uncertainties of the inputs beside the poses. Zero is exact.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(deny_unknown_fields, default))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct InputUncertainty {
    /// Of each clamp's standoff, mm.
    pub clamp_standoff_mm: f64,
    /// Of `up`, about each level axis, degrees.
    pub up_deg: f64,
    /// Of each axle's loaded radius, mm, where it is given.
    pub loaded_radius_mm: f64,
    /// Of each coordinate of a point of the runway, mm.
    pub runway_mm: f64,
    /// Of each ride height, mm.
    pub ride_height_mm: f64,
    /// Of where the cameras of the right wheels stand against those of the left, about and along each axis: one error that all poses of
    /// the right wheels share. It turns them about the camera of the session that sees fr, else about the origin of the rig.
    #[cfg_attr(feature = "json", serde(deserialize_with = "crate::json::keyed"))]
    pub right_cameras: PoseNoise,
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
    /// The plane on which the wheels stand: of the contact centres, found from the wheel centres and their radii.
    WheelPlane,
    /// The runway, from points measured on it under the wheels: the session's `runway_mm`.
    Runway,
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

/// How the clamps are compensated: what was done with the car at the stations of `rolling`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(rename_all = "snake_case"))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum CompensationMethod {
    /// The car was rolled on its wheels, without slip.
    #[default]
    Rolled,
    /// The car was raised and one wheel after the other was spun by hand. A station holds the wheel that is spun, and others only
    /// if the body stands as still as the cameras see. Lift and secure the car as its maker says, and keep clear of wheels that turn.
    Spun,
}

/// What the body may do while the car is rolled.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(rename_all = "snake_case"))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum RollingBody {
    /// It goes straight: it moves along one direction and does not turn.
    #[default]
    Translates,
    /// It may turn as well: the car does not run quite straight.
    Turns,
}

/// What the body does while the front wheels are steered.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(rename_all = "snake_case"))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum SweepBody {
    /// It stands still.
    #[default]
    Still,
    /// It may rise, lean and slide, and is found again at each station from the targets of the rear wheels. They must be locked as well:
    /// a wheel that is free to roll does not show how the body pitches.
    FoundAgain,
}

/// How the readings are estimated from the poses.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(rename_all = "snake_case"))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum Method {
    /// Stage by stage: the clamps, then the wheels straight ahead, then the steering. It takes some ten microseconds, and no stage
    /// leans on the car standing as it stood in another.
    #[default]
    Staged,
    /// All stages at once, by one maximum-likelihood fit of a rigid car: the least scatter that the poses allow, if the car stood between its
    /// stages as the [model](crate::joint) says.
    Joint,
}

/// What the joint fit is told beside the session. It plays no part in the staged method.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(deny_unknown_fields, default))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct JointOptions {
    /// Whether poses that do not belong to the car of the others are found and left out, each with a warning. Up to a fifth may be bad.
    pub robust: bool,
    /// How far a wheel may slip on the ground between the ahead station and one of the rolling, one standard deviation, 0 to 100 mm. Below
    /// 0.001 mm is no slip; of wheels that were spun it says nothing.
    pub rolling_slip_mm: f64,
}

/// A camera that reports in its own frame.
#[derive(Debug, Clone, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(deny_unknown_fields))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Camera {
    /// Where the camera is and how it is turned in the rig: a point p of its frame lies at R·p + t in the rig.
    #[cfg_attr(feature = "schema", schemars(with = "PoseSchema"))]
    pub rig_from_camera: Pose,
    /// The wheels that it sees, whose poses are `camera_from_target`.
    pub wheels: Vec<Wheel>,
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
    /// The cameras that report in their own frames, by name. A wheel that none of them names is given in the rig frame.
    #[cfg_attr(feature = "json", serde(default, skip_serializing_if = "BTreeMap::is_empty"))]
    #[cfg_attr(feature = "json", serde(deserialize_with = "crate::json::keyed_map"))]
    pub cameras: BTreeMap<String, Camera>,
    /// How much a pose scatters. It sets the bounds above which a residual is called high, frames are said to move and targets to slip, and
    /// weighs the poses from which a body is found again.
    #[cfg_attr(feature = "json", serde(default, skip_serializing_if = "Option::is_none"))]
    pub pose_noise: Option<Noise>,
    /// How well the rig knows its other inputs. With the noise it gives the uncertainty of every reading.
    #[cfg_attr(feature = "json", serde(default, skip_serializing_if = "Option::is_none"))]
    #[cfg_attr(feature = "json", serde(deserialize_with = "crate::json::keyed_option"))]
    pub input_uncertainty: Option<InputUncertainty>,
    /// Loaded radius per axle, mm: from the wheel centre to the contact centre, in the wheel plane. Without it the rolling radius stands in.
    #[cfg_attr(feature = "json", serde(default, skip_serializing_if = "Option::is_none"))]
    #[cfg_attr(feature = "json", serde(deserialize_with = "crate::json::keyed_option"))]
    #[cfg_attr(feature = "schema", schemars(with = "Option<LoadedRadiusSchema>"))]
    pub loaded_radius_mm: Option<ByAxle<Option<f64>>>,
    /// Ride height at each wheel, mm: with them caster and SAI are also given to the body.
    #[cfg_attr(feature = "json", serde(default, skip_serializing_if = "Option::is_none"))]
    pub ride_height_mm: Option<ByWheel<f64>>,
    /// Points of the runway, one under each wheel, measured in the rig frame, mm. The datum `runway` needs them.
    #[cfg_attr(feature = "json", serde(default, skip_serializing_if = "Option::is_none"))]
    pub runway_mm: Option<ByWheel<[f64; 3]>>,
    /// How the clamps are compensated.
    #[cfg_attr(feature = "json", serde(default))]
    pub compensation: CompensationMethod,
    /// What the body may do while the car is rolled.
    #[cfg_attr(feature = "json", serde(default))]
    pub rolling_body: RollingBody,
    /// The stations at which the car was rolled or its wheels spun, in any order.
    #[cfg_attr(feature = "schema", schemars(with = "Vec<StationSchema>"))]
    pub rolling: Vec<Station>,
    /// The station with the wheels straight ahead.
    #[cfg_attr(feature = "schema", schemars(with = "StationSchema"))]
    pub ahead: Station,
    /// The stations of the caster sweep, in any order.
    #[cfg_attr(feature = "json", serde(default, skip_serializing_if = "Vec::is_empty"))]
    #[cfg_attr(feature = "schema", schemars(with = "Vec<StationSchema>"))]
    pub sweep: Vec<Station>,
    /// Whether the brake held the wheels during the sweep: the front ones to their knuckles, the rear ones to the body. A sweep needs it said.
    #[cfg_attr(feature = "json", serde(default, skip_serializing_if = "Option::is_none"))]
    pub sweep_wheels_locked: Option<bool>,
    /// What the body does while the front wheels are steered, in the sweep and to the locks.
    #[cfg_attr(feature = "json", serde(default))]
    pub sweep_body: SweepBody,
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
    /// How the readings are estimated from the poses.
    #[cfg_attr(feature = "json", serde(default))]
    pub method: Method,
    /// What the joint fit is told beside the session.
    #[cfg_attr(feature = "json", serde(default, deserialize_with = "crate::json::keyed"))]
    pub joint: JointOptions,
}

impl Session {
    /// The noise of the poses per axis, when it is stated.
    pub(crate) fn noise_per_axis(&self) -> Option<PoseNoise> {
        self.pose_noise.as_ref().map(Noise::per_axis)
    }
}

/// The shortest and longest clamp standoff, mm: either sign, since a target may sit inside the rim.
pub const CLAMP_STANDOFF_RANGE_MM: [f64; 2] = [-1000.0, 1000.0];
/// The least and greatest loaded radius, mm.
pub const LOADED_RADIUS_RANGE_MM: [f64; 2] = [50.0, 1500.0];
/// The least and greatest ride height, mm; the reference point may lie anywhere on the body.
pub const RIDE_HEIGHT_RANGE_MM: [f64; 2] = [-2000.0, 5000.0];
/// The least and greatest angle at which toe-out on turns can be asked for, degrees.
pub const TURN_ANGLE_RANGE_DEG: [f64; 2] = [1.0, 60.0];

/// The noise of translation over that of rotation, as rigs have it: 0.05 mm over 0.005°. It weighs the two when a session does not.
pub(crate) const LEVER_MM: f64 = 573.0;
/// The most stations of one stage.
pub const MAX_STATIONS: usize = 10_000;
/// The most frames of one wheel at one station.
pub const MAX_FRAMES: usize = 10_000;

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

/// Checks the standoffs of the clamps.
pub(crate) fn check_standoffs(clamp_standoff_mm: &ByWheel<f64>) -> Result<(), Error> {
    for wheel in Wheel::ALL {
        let standoff = *clamp_standoff_mm.get(wheel);
        check_range(ErrorCode::LengthOutOfRange, "clamp_standoff_mm", standoff, CLAMP_STANDOFF_RANGE_MM)
            .map_err(|error| error.wheel(wheel))?;
    }
    Ok(())
}

/// Checks every number of the session that is not a pose.
pub(crate) fn check_inputs(session: &Session) -> Result<(), Error> {
    let length = ErrorCode::LengthOutOfRange;
    check_standoffs(&session.clamp_standoff_mm)?;
    for wheel in Wheel::ALL {
        if let Some(heights) = &session.ride_height_mm {
            check_range(length, "ride_height_mm", *heights.get(wheel), RIDE_HEIGHT_RANGE_MM)
                .map_err(|error| error.wheel(wheel))?;
        }
    }
    check_loaded_radii(&session.loaded_radius_mm.unwrap_or_default())?;
    check_scatter(session)?;
    let slip_mm = session.joint.rolling_slip_mm;
    check_range(length, "joint.rolling_slip_mm", slip_mm, [0.0, 100.0])?;
    let turn_deg = session.reference.turn.angle_deg;
    check_range(ErrorCode::AngleOutOfRange, "reference.turn.angle_deg", turn_deg, TURN_ANGLE_RANGE_DEG)?;
    if let Some(runway) = &session.runway_mm {
        for wheel in Wheel::ALL {
            for &coordinate in runway.get(wheel) {
                let range = [-pose::MAX_COORDINATE_MM, pose::MAX_COORDINATE_MM];
                check_range(length, "runway_mm", coordinate, range).map_err(|error| error.wheel(wheel))?;
            }
        }
    }
    for (stage, stations) in [(Stage::Rolling, &session.rolling), (Stage::Sweep, &session.sweep)] {
        check_count(stations.len(), MAX_STATIONS).map_err(|error| error.stage(stage))?;
    }
    Ok(())
}

fn check_noise(
    rotation_deg: f64,
    translation_mm: f64,
    [of_rotation, of_translation]: [&'static str; 2],
) -> Result<(), Error> {
    check_range(ErrorCode::AngleOutOfRange, of_rotation, rotation_deg, [0.0, 10.0])?;
    check_range(ErrorCode::LengthOutOfRange, of_translation, translation_mm, [0.0, 100.0])
}

/// Checks what the session says of the noise of its poses and the uncertainty of its other inputs.
fn check_scatter(session: &Session) -> Result<(), Error> {
    if let Some(noise) = &session.pose_noise {
        noise.check(["pose_noise.rotation_deg", "pose_noise.translation_mm"])?;
    }
    if let Some(of) = &session.input_uncertainty {
        let cameras = &of.right_cameras;
        for (angle, length, names) in [
            (of.up_deg, of.clamp_standoff_mm, ["input_uncertainty.up_deg", "input_uncertainty.clamp_standoff_mm"]),
            (0.0, of.loaded_radius_mm, ["", "input_uncertainty.loaded_radius_mm"]),
            (0.0, of.runway_mm, ["", "input_uncertainty.runway_mm"]),
            (0.0, of.ride_height_mm, ["", "input_uncertainty.ride_height_mm"]),
            (
                cameras.rotation_deg,
                cameras.translation_mm,
                ["input_uncertainty.right_cameras.rotation_deg", "input_uncertainty.right_cameras.translation_mm"],
            ),
        ] {
            check_noise(angle, length, names)?;
        }
    }
    Ok(())
}

/// Refuses more stations or frames than any session needs.
#[expect(clippy::cast_precision_loss, reason = "the counts are far below 2^52")]
pub(crate) fn check_count(count: usize, most: usize) -> Result<(), Error> {
    if count > most {
        return Err(Error::new(ErrorCode::TooMany).value(count as f64).at_most(most as f64));
    }
    Ok(())
}

/// How the poses of a session are brought into the rig frame.
#[derive(Debug, Clone)]
pub(crate) struct Cameras {
    rig_from_camera: ByWheel<Option<Transform<Rig, frame::Camera>>>,
    noise: Option<PoseNoise>,
}

impl Cameras {
    /// Poses that are in the rig frame already, of unknown noise.
    pub(crate) const IN_RIG: Self =
        Self { rig_from_camera: ByWheel { fl: None, fr: None, rl: None, rr: None }, noise: None };

    /// The cameras of a session, checked.
    pub(crate) fn of(session: &Session) -> Result<Self, Error> {
        let mut rig_from_camera: ByWheel<Option<Transform<Rig, frame::Camera>>> = ByWheel::default();
        for camera in session.cameras.values() {
            let pose = camera.rig_from_camera.transform().map_err(|error| error.input("cameras"))?;
            for &wheel in &camera.wheels {
                if rig_from_camera.get_mut(wheel).replace(pose).is_some() {
                    return Err(Error::new(ErrorCode::Contradiction).input("cameras").wheel(wheel));
                }
            }
        }
        Ok(Self { rig_from_camera, noise: session.noise_per_axis() })
    }

    /// One pose that this wheel's camera reports, in the rig.
    pub(crate) fn in_rig(&self, wheel: Wheel, pose: &Pose) -> Result<Transform<Rig, Target>, Error> {
        match self.rig_from_camera.get(wheel) {
            None => pose.rig_from_target(),
            Some(rig_from_camera) => pose.transform().map(|seen| rig_from_camera.then_from(&seen)),
        }
    }

    /// Checks and averages the frames of one station, and notes how much they scatter.
    pub(crate) fn resolve(
        &self,
        station: &Station,
        (stage, index): (Stage, Option<usize>),
        spreads: &mut Vec<StationSpread>,
    ) -> Result<Poses, Error> {
        let mut poses = Poses::default();
        for wheel in Wheel::ALL {
            let sighting = station.get(wheel);
            let frames = sighting.frames();
            let located = |error: Error| {
                let error = error.stage(stage).wheel(wheel);
                index.map_or(error, |index| error.station(index))
            };
            if let Sighting::PoseWithCovariance(both) = sighting {
                both.1.check().map_err(located)?;
            }
            match frames {
                [] => continue,
                // Most of all poses: one, exact, in the rig.
                [only] if self.rig_from_camera.get(wheel).is_none() && only.is_exact() => {
                    *poses.get_mut(wheel) = Some(only.as_it_is());
                    continue;
                }
                _ => {}
            }
            let (pose, spread) = self.mean(frames, wheel).map_err(located)?;
            *poses.get_mut(wheel) = Some(pose);
            spreads.extend(spread.map(|Spread { frames, rotation_deg, translation_mm }| StationSpread {
                stage,
                station: index,
                wheel,
                frames,
                rotation_deg,
                translation_mm,
            }));
        }
        Ok(poses)
    }

    /// Checks and averages the frames of all stations of a stage.
    pub(crate) fn resolve_all(
        &self,
        stations: &[Station],
        stage: Stage,
        spreads: &mut Vec<StationSpread>,
    ) -> Result<Vec<Poses>, Error> {
        let mut poses = Vec::with_capacity(stations.len());
        for (index, station) in stations.iter().enumerate() {
            poses.push(self.resolve(station, (stage, Some(index)), spreads)?);
        }
        Ok(poses)
    }

    fn mean(&self, frames: &[Pose], wheel: Wheel) -> Result<(Transform<Rig, Target>, Option<Spread>), Error> {
        check_count(frames.len(), MAX_FRAMES)?;
        let Some(rig_from_camera) = self.rig_from_camera.get(wheel) else {
            let (mean, spread) = pose::mean_transform::<Rig, Target>(frames)?;
            return self.still(frames, spread).map(|()| (mean, spread));
        };
        let (mean, spread) = pose::mean_transform::<frame::Camera, Target>(frames)?;
        self.still(frames, spread).map(|()| (rig_from_camera.then_from(&mean), spread))
    }

    fn still(&self, frames: &[Pose], spread: Option<Spread>) -> Result<(), Error> {
        spread.map_or(Ok(()), |spread| check_still(frames, spread, self.noise))
    }
}

/// Refuses frames that move by more than they scatter.
///
/// With the pose noise stated, their spread is held against it: the bound is the one-in-a-million quantile of χ² with 3(n − 1) degrees
/// of freedom. Without, the spread is held against the differences from frame to frame, which a slow motion leaves
/// alone (von Neumann's ratio); that can tell motion from scatter from seven frames on.
fn check_still(frames: &[Pose], spread: Spread, noise: Option<PoseNoise>) -> Result<(), Error> {
    /// The standard normal's one-in-a-million quantile.
    const Z: f64 = 4.753;
    /// From so many frames on a steady motion has a ratio, 6/(n² + n), below what scatter has; with two the ratio is always 1.
    const LEAST_FRAMES: f64 = 7.0;
    /// Rounding is no motion.
    const LEAST: PoseNoise = PoseNoise { rotation_deg: 1e-4, translation_mm: 1e-3 };
    #[expect(clippy::cast_precision_loss, reason = "the number of frames is far below 2^52")]
    let count = frames.len() as f64;
    let (noise, factor) = if let Some(noise) = noise {
        // Wilson and Hilferty's approximation of the quantile of χ².
        let variance = 2.0 / (9.0 * 3.0 * (count - 1.0));
        let root = 1.0 - variance + Z * units::sqrt(variance);
        (noise, units::sqrt(root * root * root))
    } else if count < LEAST_FRAMES {
        return Ok(());
    } else {
        // The mean square successive difference over twice the variance has mean 1 and, of three axes, this variance.
        let variance = (count - 2.0) / (3.0 * (count * count - 1.0));
        (step_noise(frames)?, 1.0 / units::sqrt(1.0 - Z * units::sqrt(variance)))
    };
    let bound = PoseNoise {
        rotation_deg: noise.rotation_deg.max(LEAST.rotation_deg) * factor,
        translation_mm: noise.translation_mm.max(LEAST.translation_mm) * factor,
    };
    let error = Error::new(ErrorCode::NotStill);
    if spread.rotation_deg > bound.rotation_deg {
        return Err(error.value(spread.rotation_deg).at_most(bound.rotation_deg));
    }
    if spread.translation_mm > bound.translation_mm {
        return Err(error.in_mm().value(spread.translation_mm).at_most(bound.translation_mm));
    }
    Ok(())
}

/// The noise of a frame per axis, from the differences between neighbouring frames.
fn step_noise(frames: &[Pose]) -> Result<PoseNoise, Error> {
    let (mut turned, mut shifted, mut count) = (0.0, 0.0, 0.0);
    for pair in frames.windows(2) {
        let (angle, distance) = pose::apart::<Rig, Target>(&pair[0].transform()?, &pair[1].transform()?);
        turned += angle * angle;
        shifted += distance * distance;
        count += 6.0;
    }
    Ok(PoseNoise {
        rotation_deg: units::deg_from_rad(units::sqrt(turned / count)),
        translation_mm: units::sqrt(shifted / count),
    })
}

#[cfg(feature = "schema")]
pub(crate) use schema::{LoadedRadiusSchema, PoseSchema, StationSchema};

#[cfg(feature = "schema")]
pub(crate) mod schema {
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
    #[expect(clippy::large_enum_variant, reason = "described, never built")]
    enum SightingSchema {
        Pose(PoseSchema),
        Frames(Vec<PoseSchema>),
    }

    /// The pose of a target in the rig frame: `translation_mm` with one of three forms of the rotation.
    #[derive(JsonSchema)]
    #[schemars(rename = "Pose", untagged)]
    pub(crate) enum PoseSchema {
        /// Rotation as a matrix.
        Matrix(MatrixPoseSchema),
        /// Rotation as a unit quaternion.
        Quaternion(QuaternionPoseSchema),
        /// Rotation as a rotation vector.
        RotationVector(RotationVectorPoseSchema),
    }

    /// A pose as it is written: `translation_mm` beside its rotation as a matrix.
    #[derive(JsonSchema)]
    #[schemars(rename = "Pose", deny_unknown_fields)]
    pub(crate) struct WrittenPoseSchema {
        /// Row by row.
        rotation: [[f64; 3]; 3],
        /// The origin, mm.
        translation_mm: [f64; 3],
    }

    /// A pose with its rotation as a matrix.
    #[derive(JsonSchema)]
    #[schemars(rename = "PoseByMatrix", deny_unknown_fields)]
    pub(crate) struct MatrixPoseSchema {
        /// R, 3×3, row by row: its columns are the target's axes seen in the rig frame.
        rotation: [[f64; 3]; 3],
        /// The target's origin in the rig frame, mm.
        translation_mm: [f64; 3],
        /// How this pose scatters, in the order and units of `pose_noise`. Not in an array of frames.
        covariance: Option<[[f64; 6]; 6]>,
    }

    /// A pose with its rotation as a unit quaternion.
    #[derive(JsonSchema)]
    #[schemars(rename = "PoseByQuaternion", deny_unknown_fields)]
    pub(crate) struct QuaternionPoseSchema {
        /// Unit quaternion, w first.
        quaternion_wxyz: [f64; 4],
        /// The target's origin in the rig frame, mm.
        translation_mm: [f64; 3],
        /// How this pose scatters, in the order and units of `pose_noise`. Not in an array of frames.
        covariance: Option<[[f64; 6]; 6]>,
    }

    /// A pose with its rotation as a rotation vector.
    #[derive(JsonSchema)]
    #[schemars(rename = "PoseByRotationVector", deny_unknown_fields)]
    pub(crate) struct RotationVectorPoseSchema {
        /// Axis times angle, radians.
        rotation_vector_rad: [f64; 3],
        /// The target's origin in the rig frame, mm.
        translation_mm: [f64; 3],
        /// How this pose scatters, in the order and units of `pose_noise`. Not in an array of frames.
        covariance: Option<[[f64; 6]; 6]>,
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
