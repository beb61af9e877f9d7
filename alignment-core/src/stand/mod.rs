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
//! The readings follow the car's poses, its other inputs and the stand's pose to first order, as in [`uncertainty`](crate::uncertainty): the frame of
//! the car and its thrust line share their errors. What the rig's own cameras have in common with the stand's is not known here.
//!
//! # Cautions
//! The vehicle maker's procedure rules: which line, which distances, at what load, tyre pressures, ride height and light, and on what floor. A
//! car that is driven with a sensor that was calibrated wrongly brakes or steers where it should not, and can hurt people. Measure again when the
//! stand or the car was moved.

mod assessment;
mod ground_line;
mod stand_moves;

pub use assessment::{StandAssessment, assess};
pub use ground_line::{Ground, GroundLine};
pub use stand_moves::{StandMoves, moved, moves};

use crate::conformity::Decision;
use crate::error::{Error, ErrorCode};
use crate::frame::{Line as LineFrame, Rig, Stand, Target, Transform, Vector};
use crate::pose::{MAX_COORDINATE_MM, Pose};
use crate::rigid::cross_matrix;
use crate::scatter;
use crate::session::{Noise, PoseCovariance, check_range};
use crate::units::{DEG_PER_RAD, atan2_deg, hypot, rad_from_deg, within_half_turn_deg};
use alloc::boxed::Box;
use alloc::string::String;
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

/// A reading as it is held against the required one: an angle counts from there by the shorter way.
pub(crate) fn as_required(index: usize, value: f64, nominal: f64) -> f64 {
    let off = value - nominal;
    if index < 3 || off.abs() <= 180.0 { value } else { nominal + within_half_turn_deg(off) }
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
}
