//! Where a stand stands relative to the car, and the moves that put it right.
//!
//! After an alignment many cars need the sensors of their driver assistance calibrated against a board. The board hangs on a stand, square to the
//! line along which the car travels, and the car's maker says how far away, how far to the side, how high and at what angles. The poses that
//! measured the car also place the stand.
//!
//! # Frames
//! The **stand's own frame** has X forward, Y left, Z up, along the car's when the stand stands true. Its origin is the mark from which the maker's
//! distances count, mostly the middle of the board.
//!
//! The **ground** is the plane, by least squares, through the contact centres of the four wheels, which lie straight down the wheel planes as the
//! datum's normal sees it; or the plane through points of the floor, measured in the rig frame under the car and where the stand stands. How far
//! they lie off it and how it is tilted against the datum is told ([`Ground`]).
//!
//! The **line** lies in the ground, below the middle between the rear wheel centres, and runs forward: along the thrust line, in which the car
//! travels, or along the centreline. The zero of the distance is the foot on it of a point of the car ([`ReferencePoint`]). So the line's frame
//! has X along the line, Y to its left and Z square to the ground, upward.
//!
//! # Readings
//! In the line's frame the stand's origin has the coordinates distance, lateral offset and height, and its axes are turned by R =
//! Rz(yaw)·Ry(pitch)·Rx(roll), the angles of ISO 8855:2011.
//!
//! | reading | positive |
//! |---|---|
//! | distance | ahead of the reference point |
//! | lateral offset | left of the line |
//! | height | above the ground |
//! | yaw | turned to the left, seen from above |
//! | pitch | top forward |
//! | roll | top to the right |
//!
//! # Moves
//! The stand is turned first, about its own z, y and x axis in this order, each as it then lies, through a pivot: most stands turn on a column,
//! not on the board. The turns leave the pivot where it is. Then it is shifted forward, left and up along its own axes as they then lie, which
//! turns nothing. So no move undoes another, and all of them together land on what is required exactly ([`StandMoves`]).
//!
//! # At frame rate
//! [`assess`] does all at once. To follow a stand that is being moved, keep its [`GroundLine`] and read the stand by it in each frame; to follow
//! the car as well, find the line anew from live readings. Neither allocates.
//!
//! # What it is worth
//! The readings follow the car's poses, its other inputs and the stand's pose to first order, as in [`uncertainty`]: the frame of the car and its
//! thrust line share their errors. What the rig's own cameras have in common with the stand's is not known here.
//!
//! # Cautions
//! The vehicle maker's procedure rules: which line, which distances, at what load, tyre pressures, ride height and light, and on what floor. A
//! car that is driven with a sensor that was calibrated wrongly brakes or steers where it should not, and can hurt people. Measure again when the
//! stand or the car was moved.

use crate::alignment::{self, Measurement};
use crate::assembly::Geometry;
use crate::assessment::COVERAGE;
use crate::conformity::{self, Decision, Judgement, Limits, Uncertain, Verdict, judge};
use crate::datum::{self, Plane, plane_through};
use crate::error::{Error, ErrorCode, Stage, Warning};
use crate::frame::{Line as LineFrame, Rig, Stand, Target, Transform, Vector, Vehicle};
use crate::joint::Fitted;
use crate::layout::{ByAxle, ByWheel, Side, Wheel};
use crate::live::LiveReadings;
use crate::pose::{MAX_COORDINATE_MM, Pose};
use crate::propagation::coverage_factor;
use crate::rigid::cross_matrix;
use crate::scatter;
use crate::session::{self, Noise, PoseCovariance, Session, check_range};
use crate::staged::Trace;
use crate::uncertainty::difference::{self, STEP_MM};
use crate::uncertainty::{self, Worth};
use crate::units::{DEG_PER_RAD, atan2_deg, hypot, rad_from_deg, sqrt, within_half_turn_deg};
use crate::vehicle::{AheadReadings, thrust_angle_deg};
use crate::wheel::{self, WheelReadings};
use alloc::boxed::Box;
use alloc::string::String;
use alloc::vec::Vec;
use core::fmt;
use nalgebra::{Matrix3, SMatrix};

/// The greatest pitch of a stand, degrees. Nearer to 90° yaw and roll turn about one line, and nothing tells them apart.
pub const MAX_PITCH_DEG: f64 = 89.0;
/// The most by which the floor may be tilted against the datum, degrees: beyond it the points are none of the floor, or in another frame.
pub const MAX_TILT_DEG: f64 = 10.0;
/// The most points of the floor.
pub const MAX_GROUND_POINTS: usize = 1000;

/// The line along which a stand is placed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(rename_all = "snake_case"))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum Line {
    /// The line in which the car travels: from the middle between the rear wheel centres, at the thrust angle.
    #[default]
    ThrustLine,
    /// The x axis of the vehicle frame.
    Centreline,
}

impl fmt::Display for Line {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::ThrustLine => "thrust line",
            Self::Centreline => "centreline",
        })
    }
}

/// The point of the car whose foot on the line is the zero of the distance.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(rename_all = "snake_case"))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum ReferencePoint {
    /// The middle between the front wheel centres.
    #[default]
    FrontAxle,
    /// The middle between the rear wheel centres.
    RearAxle,
    /// A point in the vehicle frame, mm.
    #[cfg_attr(feature = "json", serde(rename = "point_mm"))]
    Point([f64; 3]),
}

impl fmt::Display for ReferencePoint {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::FrontAxle => f.write_str("middle of the front axle"),
            Self::RearAxle => f.write_str("middle of the rear axle"),
            Self::Point([x, y, z]) => {
                write!(f, "point {x} mm ahead of the middle of the rear axle, {y} mm to its left, {z} mm above it")
            }
        }
    }
}

/// The six numbers that say where a stand stands, or one thing for each of them.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(
    feature = "json",
    serde(deny_unknown_fields, default, bound(deserialize = "T: Default + serde::Deserialize<'de>"))
)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[cfg_attr(
    feature = "schema",
    schemars(rename = "StandReadings_of_{T}", bound = "T: schemars::JsonSchema + Default + serde::Serialize")
)]
pub struct StandReadings<T = f64> {
    /// Distance from the reference point to the stand's origin, along the line; positive ahead.
    pub distance_mm: T,
    /// How far the stand's origin lies beside the line; positive to the left.
    pub lateral_offset_mm: T,
    /// Height of the stand's origin, square to the ground.
    pub height_mm: T,
    /// Yaw of the stand to the line; positive to the left.
    pub yaw_deg: T,
    /// Pitch of the stand to the ground; positive with the top forward.
    pub pitch_deg: T,
    /// Roll of the stand to the ground; positive with the top to the right.
    pub roll_deg: T,
}

impl<T> StandReadings<T> {
    /// The names of the six, in this order.
    pub const NAMES: [&'static str; 6] =
        ["distance_mm", "lateral_offset_mm", "height_mm", "yaw_deg", "pitch_deg", "roll_deg"];

    /// The six in the order of [`NAMES`](Self::NAMES).
    ///
    /// ```
    /// # use alignment_core::stand::StandReadings;
    /// let here = StandReadings { distance_mm: 1500.0, yaw_deg: 0.2, ..StandReadings::default() };
    /// assert_eq!(here.values(), [1500.0, 0.0, 0.0, 0.2, 0.0, 0.0]);
    /// ```
    #[must_use]
    pub fn values(self) -> [T; 6] {
        let Self { distance_mm, lateral_offset_mm, height_mm, yaw_deg, pitch_deg, roll_deg } = self;
        [distance_mm, lateral_offset_mm, height_mm, yaw_deg, pitch_deg, roll_deg]
    }

    pub(crate) fn of([distance_mm, lateral_offset_mm, height_mm, yaw_deg, pitch_deg, roll_deg]: [T; 6]) -> Self {
        Self { distance_mm, lateral_offset_mm, height_mm, yaw_deg, pitch_deg, roll_deg }
    }
}

/// What is required of one reading: the value to aim at and how far off it may be, in the reading's own unit.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[cfg_attr(feature = "schema", schemars(deny_unknown_fields))]
pub struct Required {
    /// The value to aim at.
    pub nominal: f64,
    /// How far below it conforms; not negative.
    pub minus: f64,
    /// How far above it conforms; not negative.
    pub plus: f64,
}

/// The version of the format of required values.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum StandFormat {
    /// The first: `alignment-stand/1`.
    #[default]
    #[cfg_attr(feature = "json", serde(rename = "alignment-stand/1"))]
    V1,
}

/// Where a stand is to stand. The numbers come from the procedure of the vehicle's maker.
#[derive(Debug, Clone, PartialEq, Default)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(deny_unknown_fields))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct StandRequirements {
    /// The version of the format.
    pub format: StandFormat,
    /// A remark for people: whose procedure it is, for which car and which sensor, and at what load it holds.
    #[cfg_attr(feature = "json", serde(default, skip_serializing_if = "Option::is_none"))]
    pub note: Option<String>,
    /// The line along which the stand is placed.
    #[cfg_attr(feature = "json", serde(default))]
    pub line: Line,
    /// The point of the car from which the distance counts.
    #[cfg_attr(feature = "json", serde(default))]
    pub reference: ReferencePoint,
    /// The rule by which readings are judged; guarded at 95 % by default.
    #[cfg_attr(feature = "json", serde(default, deserialize_with = "crate::json::keyed"))]
    pub decision: Decision,
    /// What is required of each reading. One of which nothing is required is left out: it is not judged, and stays as it is.
    #[cfg_attr(feature = "json", serde(deserialize_with = "crate::json::keyed"))]
    pub required: StandReadings<Option<Required>>,
}

/// `required` and the name of each reading, for errors.
const REQUIRED: [&str; 6] = [
    "required.distance_mm",
    "required.lateral_offset_mm",
    "required.height_mm",
    "required.yaw_deg",
    "required.pitch_deg",
    "required.roll_deg",
];

impl StandRequirements {
    fn check(&self) -> Result<(), Error> {
        check_reference(self.reference)?;
        for (index, (required, input)) in self.required.values().into_iter().zip(REQUIRED).enumerate() {
            let Some(Required { nominal, minus, plus }) = required else { continue };
            let (code, most) = greatest(index, MAX_COORDINATE_MM);
            check_range(code, input, nominal, [-most, most])?;
            for off in [minus, plus] {
                check_range(ErrorCode::OutOfRange, input, off, [0.0, most])?;
            }
        }
        Ok(())
    }
}

/// How far from 0 a reading may lie, and the refusal of one beyond: three lengths, then yaw, pitch and roll.
fn greatest(index: usize, length_mm: f64) -> (ErrorCode, f64) {
    match index {
        0..=2 => (ErrorCode::LengthOutOfRange, length_mm),
        4 => (ErrorCode::AngleOutOfRange, MAX_PITCH_DEG),
        _ => (ErrorCode::AngleOutOfRange, 180.0),
    }
}

fn check_reference(reference: ReferencePoint) -> Result<(), Error> {
    let ReferencePoint::Point(point_mm) = reference else { return Ok(()) };
    check_point("reference.point_mm", point_mm)
}

fn check_point(input: &'static str, point_mm: [f64; 3]) -> Result<(), Error> {
    let range = [-MAX_COORDINATE_MM, MAX_COORDINATE_MM];
    point_mm.into_iter().try_for_each(|v| check_range(ErrorCode::LengthOutOfRange, input, v, range))
}

/// A stand as it was found.
#[derive(Debug, Clone, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(deny_unknown_fields))]
pub struct PlacedStand {
    /// Where the stand is in the rig: the axes of its own frame seen there (in the columns), and its origin.
    pub rig_from_stand: Pose,
    /// How much that pose scatters, about the axes of the rig; None when it is not known.
    #[cfg_attr(feature = "json", serde(default))]
    pub noise: Option<Noise>,
    /// The point about which the stand is turned, in its own frame, mm: where its column stands. Its origin by default.
    #[cfg_attr(feature = "json", serde(default))]
    pub pivot_mm: [f64; 3],
}

impl PlacedStand {
    /// A stand found by a target of its own, which the rig's cameras see: rig_from_target·target_from_stand.
    ///
    /// `noise` is that of the target's pose. An error of its turn moves the stand's origin the more, the further from the target it lies.
    ///
    /// # Errors
    /// Those of a pose: [`ErrorCode::NotFinite`], [`ErrorCode::NotARotation`], [`ErrorCode::Reflection`], [`ErrorCode::LengthOutOfRange`];
    /// [`ErrorCode::AngleOutOfRange`] and [`ErrorCode::NotACovariance`] of the noise.
    ///
    /// ```
    /// # use alignment_core::{Pose, stand::PlacedStand};
    /// let level = |at| Pose::from_rotation_vector_rad([0.0; 3], at);
    /// // The target hangs 400 mm below the mark, and is seen 5 m ahead of the rig.
    /// let stand = PlacedStand::from_target(&level([5000.0, 0.0, 800.0])?, &level([0.0, 0.0, -400.0])?, None)?;
    /// assert_eq!(stand.rig_from_stand.translation_mm, [5000.0, 0.0, 1200.0]);
    /// # Ok::<(), alignment_core::Error>(())
    /// ```
    pub fn from_target(rig_from_target: &Pose, stand_from_target: &Pose, noise: Option<&Noise>) -> Result<Self, Error> {
        let target = transform::<Rig, Target>("rig_from_target", rig_from_target)?;
        let in_stand = transform::<Stand, Target>("stand_from_target", stand_from_target)?;
        let stand = target.then_from(&in_stand.inverse());
        let arm = stand.origin() - target.origin();
        let noise = noise.map(|noise| carried(noise, arm)).transpose()?;
        Ok(Self { rig_from_stand: stand.into(), noise, pivot_mm: [0.0; 3] })
    }

    /// A stand on which the cameras of the rig ride, as calibrated: the inverse of `stand_from_rig`.
    ///
    /// `noise` is that of the calibration, about the origin and the axes of the rig. An error of its turn moves the stand's origin the more, the
    /// further from the rig's it lies. The poses of the car must have been seen from where the stand stands now: whoever moves it moves the rig frame
    /// with it, points of the floor included.
    ///
    /// # Errors
    /// Those of a pose: [`ErrorCode::NotFinite`], [`ErrorCode::NotARotation`], [`ErrorCode::Reflection`], [`ErrorCode::LengthOutOfRange`];
    /// [`ErrorCode::AngleOutOfRange`] and [`ErrorCode::NotACovariance`] of the noise.
    ///
    /// ```
    /// # use alignment_core::{Pose, stand::PlacedStand};
    /// let stand = PlacedStand::from_rig(&Pose::from_rotation_vector_rad([0.0; 3], [0.0, 300.0, 0.0])?, None)?;
    /// assert_eq!(stand.rig_from_stand.translation_mm, [0.0, -300.0, 0.0]);
    /// # Ok::<(), alignment_core::Error>(())
    /// ```
    pub fn from_rig(stand_from_rig: &Pose, noise: Option<&Noise>) -> Result<Self, Error> {
        let stand = transform::<Stand, Rig>("stand_from_rig", stand_from_rig)?.inverse();
        let noise = noise.map(|noise| carried(noise, stand.origin())).transpose()?;
        Ok(Self { rig_from_stand: stand.into(), noise, pivot_mm: [0.0; 3] })
    }
}

const NOISE: [&str; 2] = ["noise.rotation_deg", "noise.translation_mm"];

fn transform<To: crate::frame::Frame, From: crate::frame::Frame>(
    input: &'static str,
    pose: &Pose,
) -> Result<Transform<To, From>, Error> {
    pose.transform().map_err(|error| error.input(input))
}

/// The noise of a frame's pose as that of a frame that is fixed to it and has its origin elsewhere, `arm` away: ω turns it by ω, and shifts it
/// by ω × arm.
fn carried(noise: &Noise, arm: Vector<Rig>) -> Result<Noise, Error> {
    noise.check(NOISE)?;
    let of = scatter::of_noise(noise);
    let mut by = SMatrix::<f64, 6, 6>::identity();
    by.fixed_view_mut::<3, 3>(3, 0).copy_from(&-cross_matrix(arm));
    let covariance = by * SMatrix::<f64, 6, 6>::from_fn(|i, j| of[i][j]) * by.transpose();
    let unit = |i: usize| if i < 3 { DEG_PER_RAD } else { 1.0 };
    let mean = |i: usize, j: usize| (covariance[(i, j)] + covariance[(j, i)]) / 2.0 * unit(i) * unit(j);
    let covariance = core::array::from_fn(|i| core::array::from_fn(|j| mean(i, j)));
    Ok(Noise::Covariance(Box::new(PoseCovariance { covariance })))
}

/// The ground on which a stand stands.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(deny_unknown_fields))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Ground {
    /// How far the ground is tilted against the datum, to which the car's own angles refer, degrees.
    pub tilt_deg: f64,
    /// How far the contact centres, or the points of the floor, lie from the plane, mm, root mean square.
    pub residual_mm: f64,
    /// Whether that is more than [`datum::UNEVEN_MM`]: then the height and the angles depend on where the stand stands.
    pub uneven: bool,
}

/// The line on the ground from which a stand is placed, as a car shows it. Reading a stand by it allocates nothing.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(deny_unknown_fields))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct GroundLine {
    /// Where the line lies in the rig: X along it, Y to its left, Z up, square to the ground; its origin is the zero of all distances.
    #[cfg_attr(feature = "schema", schemars(with = "crate::session::schema::WrittenPoseSchema"))]
    pub rig_from_line: Pose,
    /// The ground in which it lies.
    pub ground: Ground,
}

impl GroundLine {
    /// The line that a car straight ahead shows, by [`ahead_readings`](crate::vehicle::ahead_readings).
    ///
    /// `floor` is a plane through points of the floor, in the rig frame, by [`plane_through`]; without it the ground is the plane through the contact
    /// centres, by the loaded radii or the rolling radii in their place, mm. Nothing is allocated.
    ///
    /// # Errors
    /// [`ErrorCode::WheelNotSeen`] for a wheel without its centre; [`ErrorCode::MissingInput`] for one without a radius, when no floor is given;
    /// those of a pose ([`ErrorCode::NotFinite`], [`ErrorCode::NotARotation`], [`ErrorCode::Reflection`], [`ErrorCode::LengthOutOfRange`]);
    /// [`ErrorCode::NotUnitLength`] of the floor's normal or a spindle; [`ErrorCode::AngleOutOfRange`] for a floor tilted by more than 10°
    /// against the datum, and [`ErrorCode::LengthOutOfRange`] for one above a wheel's centre.
    ///
    /// ```
    /// # use alignment_core::session::{ByAxle, ByWheel, Centreline, RollingBody};
    /// # use alignment_core::stand::{GroundLine, Line, ReferencePoint};
    /// # use alignment_core::{Pose, compensation, simulate::VirtualVehicle, vehicle};
    /// # let session = VirtualVehicle::default().session();
    /// # let (up, body) = (session.up.unwrap(), RollingBody::Translates);
    /// # let rolled = compensation::from_rolling(&session.rolling, up, &session.clamp_standoff_mm, &ByAxle::default(), body)?;
    /// # let poses = ByWheel::from_fn(|wheel| session.ahead.get(wheel).frames()[0]);
    /// let radii = ByAxle::default();
    /// let now = vehicle::ahead_readings(&rolled.all_wheels()?, &poses, up, &radii, Centreline::AxleMidpoints)?;
    /// let line = GroundLine::from_ahead(&now, &radii, None, Line::ThrustLine, ReferencePoint::FrontAxle)?;
    /// let here = line.readings(&line.rig_from_line)?;
    /// assert!(here.values().iter().all(|value| value.abs() < 1e-9));
    /// # Ok::<(), alignment_core::Error>(())
    /// ```
    pub fn from_ahead(
        now: &AheadReadings,
        loaded_radius_mm: &ByAxle<Option<f64>>,
        floor: Option<&Plane>,
        line: Line,
        reference: ReferencePoint,
    ) -> Result<Self, Error> {
        let car = Car::seen(&now.wheels, &now.rig_from_vehicle, loaded_radius_mm)?;
        car.line(floor, line, reference)
    }

    /// The line of a car that is followed, by a [`Tracker`](crate::live::Tracker): as [`from_ahead`](Self::from_ahead). What the readings' flags say
    /// holds of the line too, and is not said again; the loaded radii of the tracker's session have to be handed over here as well.
    ///
    /// # Errors
    /// Those of [`from_ahead`](Self::from_ahead): [`ErrorCode::WheelNotSeen`], also of a clamp that was knocked; [`ErrorCode::MissingInput`],
    /// [`ErrorCode::NotFinite`], [`ErrorCode::NotARotation`], [`ErrorCode::Reflection`], [`ErrorCode::LengthOutOfRange`] for lengths in mm,
    /// [`ErrorCode::NotUnitLength`], [`ErrorCode::AngleOutOfRange`].
    ///
    /// ```
    /// # use alignment_core::live::{LiveSettings, Tracker};
    /// # use alignment_core::session::{ByAxle, ByWheel};
    /// # use alignment_core::stand::{GroundLine, Line, ReferencePoint};
    /// # use alignment_core::simulate::VirtualVehicle;
    /// let session = VirtualVehicle::default().session();
    /// let mut tracker = Tracker::new(&session, LiveSettings::default())?;
    /// let now = tracker.frame(0.0, &ByWheel::from_fn(|wheel| session.ahead.get(wheel).frames().first().copied()))?;
    /// let line = GroundLine::from_live(now, &ByAxle::default(), None, Line::ThrustLine, ReferencePoint::FrontAxle)?;
    /// assert!(!line.ground.uneven);
    /// # Ok::<(), alignment_core::Error>(())
    /// ```
    pub fn from_live(
        now: &LiveReadings,
        loaded_radius_mm: &ByAxle<Option<f64>>,
        floor: Option<&Plane>,
        line: Line,
        reference: ReferencePoint,
    ) -> Result<Self, Error> {
        let car = Car::seen(&now.alignment.wheels, &now.rig_from_vehicle, loaded_radius_mm)?;
        car.line(floor, line, reference)
    }

    /// Where a stand stands, in degrees and mm (see the [module](self)). Nothing is allocated.
    ///
    /// # Errors
    /// Those of a pose ([`ErrorCode::NotFinite`], [`ErrorCode::NotARotation`], [`ErrorCode::Reflection`], [`ErrorCode::LengthOutOfRange`]);
    /// [`ErrorCode::AngleOutOfRange`] for a stand that pitches by more than 89°.
    ///
    /// ```
    /// # use alignment_core::Pose;
    /// # use alignment_core::stand::{Ground, GroundLine};
    /// # let level = |at| Pose::from_rotation_vector_rad([0.0; 3], at);
    /// # let ground = Ground { tilt_deg: 0.0, residual_mm: 0.0, uneven: false };
    /// # let line = GroundLine { rig_from_line: level([0.0; 3])?, ground };
    /// let to_the_left = [0.0, 0.0, 0.35_f64.to_radians()];
    /// let here = line.readings(&Pose::from_rotation_vector_rad(to_the_left, [1500.0, -4.0, 1200.0])?)?;
    /// assert!((here.yaw_deg - 0.35).abs() < 1e-12);
    /// assert_eq!((here.distance_mm, here.lateral_offset_mm, here.height_mm), (1500.0, -4.0, 1200.0));
    /// # Ok::<(), alignment_core::Error>(())
    /// ```
    pub fn readings(&self, rig_from_stand: &Pose) -> Result<StandReadings, Error> {
        let line = transform("rig_from_line", &self.rig_from_line)?;
        read(&line, &transform("rig_from_stand", rig_from_stand)?)
    }
}

/// The six readings of a stand.
fn read(
    rig_from_line: &Transform<Rig, LineFrame>,
    rig_from_stand: &Transform<Rig, Stand>,
) -> Result<StandReadings, Error> {
    let stand = rig_from_line.inverse().then_from(rig_from_stand);
    let [distance_mm, lateral_offset_mm, height_mm] = stand.origin().to_array();
    let [yaw_deg, pitch_deg, roll_deg] = cardan_deg(&stand.rotation);
    check_range(ErrorCode::AngleOutOfRange, "rig_from_stand", pitch_deg, [-MAX_PITCH_DEG, MAX_PITCH_DEG])?;
    Ok(StandReadings { distance_mm, lateral_offset_mm, height_mm, yaw_deg, pitch_deg, roll_deg })
}

/// The angles of R = Rz·Ry·Rx, in (−180, 180]. The last two are read off Rz⁻¹·R, so that together they give R however near the second is to a
/// right angle.
fn cardan_deg(rotation: &Matrix3<f64>) -> [f64; 3] {
    let length = hypot(rotation[(0, 0)], rotation[(1, 0)]);
    let (cos, sin) = if length > 0.0 { (rotation[(0, 0)] / length, rotation[(1, 0)] / length) } else { (1.0, 0.0) };
    let across = |column: usize| cos * rotation[(1, column)] - sin * rotation[(0, column)];
    [atan2_deg(sin, cos), atan2_deg(-rotation[(2, 0)], length), atan2_deg(-across(2), across(1))]
        .map(above_minus_half_turn)
}

/// Half a turn has one name.
fn above_minus_half_turn(angle_deg: f64) -> f64 {
    if angle_deg <= -180.0 { 180.0 } else { angle_deg }
}

/// Rz(yaw)·Ry(pitch)·Rx(roll).
fn turned([yaw_deg, pitch_deg, roll_deg]: [f64; 3]) -> Matrix3<f64> {
    let of = |angle_deg: f64| libm::sincos(rad_from_deg(angle_deg));
    let ((sz, cz), (sy, cy), (sx, cx)) = (of(yaw_deg), of(pitch_deg), of(roll_deg));
    Matrix3::new(cz, -sz, 0.0, sz, cz, 0.0, 0.0, 0.0, 1.0)
        * Matrix3::new(cy, 0.0, sy, 0.0, 1.0, 0.0, -sy, 0.0, cy)
        * Matrix3::new(1.0, 0.0, 0.0, 0.0, cx, -sx, 0.0, sx, cx)
}

/// What the line and the ground are found from: a car straight ahead, in its own frame.
struct Car {
    rig_from_vehicle: Transform<Rig, Vehicle>,
    centres: ByWheel<Vector<Vehicle>>,
    contacts: ByWheel<Option<Vector<Vehicle>>>,
    thrust_angle_deg: f64,
}

impl Car {
    fn seen(
        wheels: &ByWheel<WheelReadings>,
        rig_from_vehicle: &Pose,
        loaded_radius_mm: &ByAxle<Option<f64>>,
    ) -> Result<Self, Error> {
        session::check_loaded_radii(loaded_radius_mm)?;
        let place = |wheel: Wheel| {
            let WheelReadings { centre_mm, spindle, rolling_radius_mm, .. } = *wheels.get(wheel);
            let seen = centre_mm.zip(spindle).ok_or(Error::new(ErrorCode::WheelNotSeen));
            let at = |error: Error| error.stage(Stage::Ahead).wheel(wheel);
            let (centre_mm, spindle) = seen.map_err(at)?;
            check_point("centre_mm", centre_mm).map_err(at)?;
            let spindle = wheel::checked_spindle(spindle).map_err(at)?;
            let radius = loaded_radius_mm.of_wheel(wheel).or(rolling_radius_mm);
            if let Some(radius) = radius {
                let range = session::LOADED_RADIUS_RANGE_MM;
                check_range(ErrorCode::LengthOutOfRange, "rolling_radius_mm", radius, range).map_err(at)?;
            }
            let centre = Vector::new(centre_mm);
            Ok((centre, spindle, radius.map(|radius| wheel::contact_centre_of(centre, spindle, radius))))
        };
        let wheels = ByWheel::try_from_fn(place)?;
        Ok(Self {
            rig_from_vehicle: transform("rig_from_vehicle", rig_from_vehicle)?,
            centres: ByWheel::from_fn(|wheel| wheels.get(wheel).0),
            contacts: ByWheel::from_fn(|wheel| wheels.get(wheel).2),
            thrust_angle_deg: thrust_of(wheels.rl.1, wheels.rr.1),
        })
    }

    fn measured(geometry: &Geometry) -> Result<Self, Error> {
        let Some((_, stand)) = geometry.stand() else {
            let missing = Wheel::ALL.into_iter().find(|&wheel| geometry.wheels.get(wheel).is_none());
            let error = Error::new(ErrorCode::WheelNotSeen).stage(Stage::Ahead);
            return Err(missing.map_or(error, |wheel| error.wheel(wheel)));
        };
        Ok(Self {
            rig_from_vehicle: stand.vehicle_from_rig.inverse(),
            centres: stand.centres,
            contacts: ByWheel::from_fn(|wheel| stand.contact(wheel)),
            thrust_angle_deg: thrust_of(stand.spindles.rl, stand.spindles.rr),
        })
    }

    fn line(&self, floor: Option<&Plane>, line: Line, reference: ReferencePoint) -> Result<GroundLine, Error> {
        check_reference(reference)?;
        let (transform, ground) = self.transform(floor, line, reference)?;
        Ok(GroundLine { rig_from_line: transform.into(), ground })
    }

    fn transform(
        &self,
        floor: Option<&Plane>,
        line: Line,
        reference: ReferencePoint,
    ) -> Result<(Transform<Rig, LineFrame>, Ground), Error> {
        let (up, point, residual_mm) = if let Some(Plane { normal, point_mm, residual_mm }) = floor {
            check_range(ErrorCode::LengthOutOfRange, "residual_mm", *residual_mm, [0.0, MAX_COORDINATE_MM])?;
            check_point("point_mm", *point_mm)?;
            let up = session::up_in_rig(*normal).map_err(|error| error.input("normal"))?;
            (up, Vector::new(*point_mm), *residual_mm)
        } else {
            let contact = |wheel: Wheel| {
                let contact = self.contacts.get(wheel);
                let missing = Error::new(ErrorCode::MissingInput).input("loaded_radius_mm").wheel(wheel);
                contact.map(Vector::to_array).ok_or(missing)
            };
            let ByWheel { fl, fr, rl, rr } = ByWheel::try_from_fn(contact)?;
            let Plane { normal, point_mm, residual_mm } = plane_through(&[fl, fr, rl, rr])?;
            let point = self.rig_from_vehicle.point(Vector::new(point_mm));
            (self.rig_from_vehicle.direction(Vector::new(normal)), point, residual_mm)
        };
        let [_, _, datum] = self.rig_from_vehicle.axes();
        let up = if up.dot(datum) < 0.0 { -up } else { up };
        let tilt_deg = atan2_deg(up.cross(datum).norm(), up.dot(datum));
        // Without a floor it is the datum that does not go with the wheels.
        let input = if floor.is_some() { "ground_mm" } else { "up" };
        check_range(ErrorCode::AngleOutOfRange, input, tilt_deg, [0.0, MAX_TILT_DEG])?;
        // The thrust angle is positive to the right.
        let (sin, cos) = match line {
            Line::ThrustLine => libm::sincos(-rad_from_deg(self.thrust_angle_deg)),
            Line::Centreline => (0.0, 1.0),
        };
        let forward = self.rig_from_vehicle.direction(Vector::new([cos, sin, 0.0])).square_to(up).unit();
        let left = up.cross(forward);
        let reference = match reference {
            ReferencePoint::FrontAxle => (self.centres.fl + self.centres.fr) * 0.5,
            ReferencePoint::RearAxle => (self.centres.rl + self.centres.rr) * 0.5,
            ReferencePoint::Point(point_mm) => Vector::new(point_mm),
        };
        if floor.is_some() {
            // Points in another frame may well be level, but not below the wheels.
            for (wheel, &centre) in Wheel::ALL.map(|wheel| (wheel, self.centres.get(wheel))) {
                let clear_mm = (self.rig_from_vehicle.point(centre) - point).dot(up);
                check_range(ErrorCode::LengthOutOfRange, "ground_mm", clear_mm, [0.0, f64::MAX])
                    .map_err(|error| error.wheel(wheel))?;
            }
        }
        let rear = self.rig_from_vehicle.origin();
        let ahead = (self.rig_from_vehicle.point(reference) - rear).dot(forward);
        let origin = rear + forward * ahead - up * (rear - point).dot(up);
        let ground = Ground { tilt_deg, residual_mm, uneven: residual_mm > datum::UNEVEN_MM };
        Ok((Transform::from_axes([forward, left, up], origin), ground))
    }
}

fn thrust_of(rear_left: Vector<Vehicle>, rear_right: Vector<Vehicle>) -> f64 {
    thrust_angle_deg(wheel::toe_of(Side::Left, rear_left), wheel::toe_of(Side::Right, rear_right))
}

/// What is done to a stand: in this order, each move along or about the stand's own axes as they then lie.
///
/// `Display` says it to a person: `turn left by 0.35°, then shift back by 12.4 mm, then lower by 3.0 mm`. Moves that come to 0.00° or 0.0 mm are
/// left out there. Forward, left and right are the stand's own, not those of whoever faces it: of a stand before the car, along whose axes its own
/// lie, they are the driver's, and forward is away from the car.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(deny_unknown_fields))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct StandMoves {
    /// First: turn about the stand's z axis through the pivot; positive to the left.
    pub yaw_deg: f64,
    /// Second: tilt about its y axis through the pivot; positive with the top forward.
    pub pitch_deg: f64,
    /// Third: lean about its x axis through the pivot; positive with the top to the right.
    pub roll_deg: f64,
    /// Fourth: shift along its x axis; positive forward.
    pub forward_mm: f64,
    /// Fifth: shift along its y axis; positive to the left.
    pub left_mm: f64,
    /// Sixth: shift along its z axis; positive upward.
    pub up_mm: f64,
}

impl fmt::Display for StandMoves {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let turns = [
            (self.yaw_deg, ["turn left", "turn right"]),
            (self.pitch_deg, ["tilt the top forward", "tilt the top back"]),
            (self.roll_deg, ["lean the top to the right", "lean the top to the left"]),
        ];
        let shifts = [
            (self.forward_mm, ["shift forward", "shift back"]),
            (self.left_mm, ["shift left", "shift right"]),
            (self.up_mm, ["raise", "lower"]),
        ];
        let mut any = false;
        for (turn, (amount, [positive, negative])) in
            turns.map(|it| (true, it)).into_iter().chain(shifts.map(|it| (false, it)))
        {
            let (least, digits, unit) = if turn { (0.005, 2, "°") } else { (0.05, 1, " mm") };
            if amount.abs() < least || !amount.is_finite() {
                continue;
            }
            let what = if amount > 0.0 { positive } else { negative };
            let then = if any { ", then " } else { "" };
            write!(f, "{then}{what} by {:.digits$}{unit}", amount.abs())?;
            any = true;
        }
        if any { Ok(()) } else { f.write_str("nothing to move") }
    }
}

/// The moves that bring a stand from where it stands to what is required, in degrees and mm (see the [module](self)). What nothing is required of
/// stays as it is.
///
/// With R the axes of the stand in the line's frame, p its origin there, and R′ and p′ what is required, the turns are the angles of Rᵀ·R′ =
/// Rz·Ry·Rx, and the shifts R′ᵀ·(p′ − p − (R − R′)·pivot).
///
/// # Errors
/// [`ErrorCode::NotFinite`]; [`ErrorCode::LengthOutOfRange`] and [`ErrorCode::AngleOutOfRange`] for lengths beyond a kilometre, yaw and roll beyond
/// ± 180°, and pitch beyond ± 89°; [`ErrorCode::OutOfRange`] for a negative tolerance.
///
/// ```
/// # use alignment_core::stand::{Required, StandReadings, StandRequirements, moves};
/// let here = StandReadings { distance_mm: 1487.6, yaw_deg: -0.35, ..StandReadings::default() };
/// let mut required = StandRequirements::default();
/// required.required.yaw_deg = Some(Required { nominal: 0.0, minus: 0.1, plus: 0.1 });
/// required.required.distance_mm = Some(Required { nominal: 1500.0, minus: 5.0, plus: 5.0 });
/// let moves = moves(&here, &required, [0.0; 3])?;
/// assert_eq!(moves.to_string(), "turn left by 0.35°, then shift forward by 12.4 mm");
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn moves(
    readings: &StandReadings,
    requirements: &StandRequirements,
    pivot_mm: [f64; 3],
) -> Result<StandMoves, Error> {
    requirements.check()?;
    check_point("pivot_mm", pivot_mm)?;
    let (now, required) = (readings.values(), requirements.required.values());
    for ((value, name), index) in now.into_iter().zip(StandReadings::<f64>::NAMES).zip(0..) {
        // A car and a stand lie within a kilometre of the rig each way.
        let (code, most) = greatest(index, 4.0 * MAX_COORDINATE_MM);
        check_range(code, name, value, [-most, most])?;
    }
    let aim: [f64; 6] = core::array::from_fn(|i| required[i].map_or(now[i], |required| required.nominal));
    let [from, to] = [now, aim].map(|[_, _, _, yaw, pitch, roll]| turned([yaw, pitch, roll]));
    let [yaw_deg, pitch_deg, roll_deg] = cardan_deg(&(from.transpose() * to));
    let origin = |of: [f64; 6]| nalgebra::Vector3::new(of[0], of[1], of[2]);
    let swung = (from - to) * nalgebra::Vector3::from(pivot_mm);
    let shift = to.transpose() * (origin(aim) - origin(now) - swung);
    Ok(StandMoves { yaw_deg, pitch_deg, roll_deg, forward_mm: shift.x, left_mm: shift.y, up_mm: shift.z })
}

/// Where a stand is in the rig after the moves, done exactly, in degrees and mm.
///
/// # Errors
/// Those of a pose: [`ErrorCode::NotFinite`], [`ErrorCode::NotARotation`], [`ErrorCode::Reflection`], [`ErrorCode::LengthOutOfRange`] for lengths
/// beyond a kilometre; [`ErrorCode::AngleOutOfRange`] for a turn beyond ± 180°.
///
/// ```
/// # use alignment_core::{Pose, stand::{StandMoves, moved}};
/// let here = Pose::from_rotation_vector_rad([0.0; 3], [0.0; 3])?;
/// let moves = StandMoves { yaw_deg: 90.0, forward_mm: 10.0, ..StandMoves::default() };
/// // A quarter turn to the left about a column 100 mm behind the board, then 10 mm forward, which now is to the left.
/// let there = moved(&here, &moves, [-100.0, 0.0, 0.0])?;
/// assert!((there.translation_mm[0] + 100.0).abs() < 1e-12 && (there.translation_mm[1] - 110.0).abs() < 1e-12);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn moved(rig_from_stand: &Pose, moves: &StandMoves, pivot_mm: [f64; 3]) -> Result<Pose, Error> {
    let stand = transform::<Rig, Stand>("rig_from_stand", rig_from_stand)?;
    check_point("pivot_mm", pivot_mm)?;
    let StandMoves { yaw_deg, pitch_deg, roll_deg, forward_mm, left_mm, up_mm } = *moves;
    for (name, angle) in [("yaw_deg", yaw_deg), ("pitch_deg", pitch_deg), ("roll_deg", roll_deg)] {
        check_range(ErrorCode::AngleOutOfRange, name, angle, [-180.0, 180.0])?;
    }
    for (name, length) in [("forward_mm", forward_mm), ("left_mm", left_mm), ("up_mm", up_mm)] {
        check_range(ErrorCode::LengthOutOfRange, name, length, [-8.0 * MAX_COORDINATE_MM, 8.0 * MAX_COORDINATE_MM])?;
    }
    let pivot = Vector::new(pivot_mm);
    let there =
        Transform::<Rig, Stand>::from_parts(stand.rotation * turned([yaw_deg, pitch_deg, roll_deg]), Vector::zero());
    let shift = Vector::new([forward_mm, left_mm, up_mm]);
    let origin = stand.point(pivot) + there.direction(shift - pivot);
    Ok(Transform::<Rig, Stand>::from_parts(there.rotation, origin).into())
}

/// Where a stand stands, what that is worth, whether it is as required, and the moves that put it right.
#[derive(Debug, Clone, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct StandAssessment {
    /// Where the stand stands.
    pub readings: StandReadings,
    /// The standard uncertainty of each reading, in its own unit. Absent when the noise of the car's poses or of the stand's is not known.
    pub standard_uncertainty: Option<StandReadings>,
    /// The effective degrees of freedom of each standard uncertainty; absent where the noise is known and they are infinite.
    pub degrees_of_freedom: StandReadings<Option<f64>>,
    /// The expanded uncertainty U of each reading: reading ± U holds the true value with a probability of 95 %.
    pub expanded_uncertainty: Option<StandReadings>,
    /// The verdict on each reading of which something is required. Without an uncertainty by simple acceptance, and it says so.
    pub judgements: StandReadings<Option<Judgement>>,
    /// On the whole: one reading that does not conform is enough for that; the stand conforms when every reading of which something is required does.
    pub overall: Verdict,
    /// What to do to the stand, in this order. Whether anything has to be done at all the verdicts say.
    pub moves: StandMoves,
    /// The point about which it is turned, in the stand's own frame, mm.
    pub pivot_mm: [f64; 3],
    /// The line on the ground from which it was read.
    pub ground_line: GroundLine,
    /// The thrust angle of the car, degrees; positive when the thrust line points to the right of the centreline.
    pub thrust_angle_deg: f64,
    /// What was required, with the line, the reference point and the rule.
    pub requirements: StandRequirements,
    /// What is weak in the measurement of the car.
    pub warnings: Vec<Warning>,
}

/// Measures a car and a stand before it: readings, what they are worth, verdicts and moves in one call.
///
/// `ground_mm` are points of the floor, mm in the rig frame; none of them makes the plane through the contact centres the ground. Each of their
/// coordinates is as uncertain as the session's `input_uncertainty.runway_mm` says.
///
/// # Errors
/// Those of [`measure`](crate::measure), as they stand there, and: [`ErrorCode::WheelNotSeen`] and [`ErrorCode::MissingInput`] for a car whose
/// four wheels were not all seen straight ahead, or without a radius; [`ErrorCode::NotFinite`], [`ErrorCode::NotARotation`],
/// [`ErrorCode::Reflection`], [`ErrorCode::LengthOutOfRange`], [`ErrorCode::AngleOutOfRange`] for poses, points and required values (pitch beyond
/// ± 89°; a floor tilted by more than 10° against the datum, or above a wheel's centre; without a floor, an `up` that is tilted by as much against
/// the plane of the contact centres); [`ErrorCode::NotACovariance`]; [`ErrorCode::OutOfRange`] for a negative tolerance or a probability
/// outside 0.5 to 0.999999; [`ErrorCode::TooFewStations`] for fewer than three points of the floor, and [`ErrorCode::TooMany`] for more than a
/// thousand.
///
/// ```
/// use alignment_core::session::PoseNoise;
/// use alignment_core::stand::{PlacedStand, Required, StandRequirements, assess};
/// use alignment_core::{Pose, conformity::Verdict, simulate::VirtualVehicle};
///
/// let noise = PoseNoise { rotation_deg: 0.005, translation_mm: 0.05 };
/// let session = VirtualVehicle { pose_noise: Some(noise), ..VirtualVehicle::default() }.session();
/// let seen = Pose::from_rotation_vector_rad([0.0, 0.0, 0.1], [5000.0, 30.0, 1200.0])?;
/// let stand = PlacedStand { rig_from_stand: seen, noise: Some(noise.into()), pivot_mm: [0.0; 3] };
/// let mut required = StandRequirements::default();
/// required.required.yaw_deg = Some(Required { nominal: 0.0, minus: 0.2, plus: 0.2 });
/// let found = assess(&session, &stand, &[], &required)?;
/// assert_eq!(found.overall, Verdict::DoesNotConform);
/// println!("{:.2}° ± {:.2}°", found.readings.yaw_deg, found.expanded_uncertainty.unwrap().yaw_deg);
/// println!("{}", found.moves);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn assess(
    session: &Session,
    stand: &PlacedStand,
    ground_mm: &[[f64; 3]],
    requirements: &StandRequirements,
) -> Result<StandAssessment, Error> {
    requirements.check()?;
    check_point("pivot_mm", stand.pivot_mm)?;
    if let Some(noise) = &stand.noise {
        noise.check(NOISE)?;
    }
    let rig_from_stand = transform::<Rig, Stand>("rig_from_stand", &stand.rig_from_stand)?;
    session::check_count(ground_mm.len(), MAX_GROUND_POINTS).map_err(|error| error.input("ground_mm"))?;
    let floor = floor_through(ground_mm)?;
    let traced = alignment::trace(session)?;
    let (measurement, trace, _) = &traced;
    let car = Car::measured(&trace.geometry)?;
    let StandRequirements { line, reference, .. } = *requirements;
    let ground_line = car.line(floor.as_ref(), line, reference)?;
    let (rig_from_line, _) = car.transform(floor.as_ref(), line, reference)?;
    let readings = read(&rig_from_line, &rig_from_stand)?;

    let scene = Scene { car: &car, floor: floor.as_ref(), line, reference, rig_from_line, rig_from_stand, readings };
    let known = match &stand.noise {
        Some(noise) => scene.worth(session, &traced, noise, ground_mm)?,
        None => None,
    };
    let standard = known.map(|(standard, _)| standard);
    let freedoms: [Option<f64>; 6] = known.map_or([None; 6], |(_, freedoms)| freedoms);
    let mut expanded = standard;
    for (expanded, freedom) in expanded.iter_mut().flatten().zip(freedoms) {
        let whole = freedom.map_or(f64::INFINITY, |freedom| libm::floor(freedom).max(1.0));
        *expanded *= coverage_factor(COVERAGE, whole)?;
    }
    let mut judgements = [None; 6];
    for (i, required) in requirements.required.values().into_iter().enumerate() {
        let Some(required) = required else { continue };
        let uncertain = standard.map(|standard| Uncertain {
            standard_uncertainty: standard[i],
            degrees_of_freedom: freedoms[i].map(|freedom| freedom.max(1.0)),
        });
        judgements[i] = Some(judged(i, readings.values()[i], uncertain, required, requirements.decision)?);
    }
    Ok(StandAssessment {
        readings,
        standard_uncertainty: standard.map(StandReadings::of),
        degrees_of_freedom: StandReadings::of(freedoms),
        expanded_uncertainty: expanded.map(StandReadings::of),
        overall: conformity::overall(judgements.iter().flatten().map(|judgement: &Judgement| judgement.verdict)),
        judgements: StandReadings::of(judgements),
        moves: moves(&readings, requirements, stand.pivot_mm)?,
        pivot_mm: stand.pivot_mm,
        ground_line,
        thrust_angle_deg: car.thrust_angle_deg,
        requirements: requirements.clone(),
        warnings: measurement.warnings.clone(),
    })
}

/// A stand and what it was read from, to be nudged.
struct Scene<'a> {
    car: &'a Car,
    floor: Option<&'a Plane>,
    line: Line,
    reference: ReferencePoint,
    rig_from_line: Transform<Rig, LineFrame>,
    rig_from_stand: Transform<Rig, Stand>,
    readings: StandReadings,
}

/// The standard uncertainties and their degrees of freedom, where these are finite.
type Known = ([f64; 6], [Option<f64>; 6]);

impl Scene<'_> {
    /// What the readings are worth; None when the noise of the car's poses is not known.
    fn worth(
        &self,
        session: &Session,
        traced: &(Measurement, Trace, Option<Fitted>),
        noise: &Noise,
        ground_mm: &[[f64; 3]],
    ) -> Result<Option<Known>, Error> {
        let by_car = |geometry: &Geometry| self.by_line(&Car::measured(geometry)?, self.floor);
        let Worth { covariance, estimated } = match uncertainty::worth(session, traced, by_car) {
            Ok(worth) => worth,
            Err(error) if error.code == ErrorCode::MissingInput && error.input == Some(scatter::NOISE) => {
                return Ok(None);
            }
            Err(error) => return Err(error),
        };
        let mut variance: [f64; 6] = core::array::from_fn(|i| covariance[i][i]);
        let noise = scatter::of_noise(noise);
        let seen = Transform::from_parts(self.rig_from_stand.rotation, self.rig_from_stand.origin());
        let by_stand = difference::by_pose(&seen, &mut |nudged: Transform<Rig, Target>| {
            self.off(&self.rig_from_line, &Transform::from_parts(nudged.rotation, nudged.origin()))
        })?;
        for (i, variance) in variance.iter_mut().enumerate() {
            for k in 0..6 {
                *variance += (0..6).map(|l| by_stand[k][i] * noise[k][l] * by_stand[l][i]).sum::<f64>();
            }
        }
        let of_points = session.input_uncertainty.unwrap_or_default().runway_mm;
        let places = (0..ground_mm.len()).flat_map(|point| (0..3).map(move |axis| (point, axis)));
        for (point, axis) in places.filter(|_| of_points > 0.0) {
            let column = difference::central(STEP_MM, &mut |step| {
                let mut nudged = ground_mm.to_vec();
                nudged[point][axis] += step;
                self.by_line(self.car, floor_through(&nudged)?.as_ref())
            })?;
            for (variance, derivative) in variance.iter_mut().zip(column) {
                *variance += derivative * derivative * of_points * of_points;
            }
        }
        let freedom = |i: usize| (estimated[i] > 0.0).then(|| variance[i] * variance[i] / estimated[i]);
        Ok(Some((variance.map(|variance| sqrt(variance.max(0.0))), core::array::from_fn(freedom))))
    }

    /// The readings by another car, or on another floor.
    fn by_line(&self, car: &Car, floor: Option<&Plane>) -> Result<[f64; 6], Error> {
        let (rig_from_line, _) = car.transform(floor, self.line, self.reference)?;
        self.off(&rig_from_line, &self.rig_from_stand)
    }

    /// Readings against those found, so that angles do not jump by a turn.
    fn off(&self, line: &Transform<Rig, LineFrame>, stand: &Transform<Rig, Stand>) -> Result<[f64; 6], Error> {
        let (now, found) = (read(line, stand)?.values(), self.readings.values());
        Ok(core::array::from_fn(|i| if i < 3 { now[i] - found[i] } else { within_half_turn_deg(now[i] - found[i]) }))
    }
}

/// A reading as it is held against the required one: an angle counts from there by the shorter way.
pub(crate) fn as_required(index: usize, value: f64, nominal: f64) -> f64 {
    let off = value - nominal;
    if index < 3 || off.abs() <= 180.0 { value } else { nominal + within_half_turn_deg(off) }
}

/// The verdict on one reading.
fn judged(
    index: usize,
    value: f64,
    uncertain: Option<Uncertain>,
    Required { nominal, minus, plus }: Required,
    decision: Decision,
) -> Result<Judgement, Error> {
    let value = as_required(index, value, nominal);
    let limits = Limits { min: Some(nominal - minus), max: Some(nominal + plus) };
    judge(value, uncertain, limits, decision)
}

fn floor_through(ground_mm: &[[f64; 3]]) -> Result<Option<Plane>, Error> {
    if ground_mm.is_empty() {
        return Ok(None);
    }
    plane_through(ground_mm).map(Some).map_err(|error| error.input("ground_mm"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn half_a_turn_has_one_name_and_a_right_angle_of_pitch_is_refused() {
        let half = turned([180.0, 0.0, 0.0]);
        let back = Matrix3::new(-1.0, 0.0, 0.0, -0.0, -1.0, 0.0, 0.0, 0.0, 1.0);
        for turn in [half, back] {
            assert!((cardan_deg(&turn)[0] - 180.0).abs() < 1e-12, "{turn}");
        }
        let line = GroundLine {
            rig_from_line: Pose::from_rotation_vector_rad([0.0; 3], [0.0; 3]).unwrap(),
            ground: Ground { tilt_deg: 0.0, residual_mm: 0.0, uneven: false },
        };
        let flat = Pose::from_rotation_vector_rad([0.0, core::f64::consts::FRAC_PI_2, 0.0], [0.0; 3]).unwrap();
        let error = line.readings(&flat).unwrap_err();
        assert_eq!((error.code, error.input), (ErrorCode::AngleOutOfRange, Some("rig_from_stand")));
    }

    #[test]
    fn three_angles_give_their_turn_even_where_pitch_is_a_right_angle() {
        for angles in [[10.0, 90.0, 25.0], [-170.0, -90.0, 5.0], [0.0, 90.0 - 1e-9, 3.0], [12.0, -34.0, 56.0]] {
            let turn = turned(angles);
            assert!((turned(cardan_deg(&turn)) - turn).norm() < 1e-14, "{angles:?}");
        }
    }

    #[test]
    fn moves_are_said_as_a_person_says_them() {
        use alloc::string::ToString;
        let all = StandMoves {
            yaw_deg: -0.35,
            pitch_deg: 0.2,
            roll_deg: -0.1,
            forward_mm: -12.44,
            left_mm: 3.0,
            up_mm: -1.0,
        };
        assert_eq!(
            all.to_string(),
            "turn right by 0.35°, then tilt the top forward by 0.20°, then lean the top to the left by 0.10°, then shift back by 12.4 mm, \
             then shift left by 3.0 mm, then lower by 1.0 mm"
        );
        let next_to_nothing = StandMoves { yaw_deg: 0.004, up_mm: -0.04, ..StandMoves::default() };
        assert_eq!(next_to_nothing.to_string(), "nothing to move");
    }
}
