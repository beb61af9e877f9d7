//! Rolling compensation: where each wheel sits in the target that is clamped to it.
//!
//! A clamp never sits true on a rim. Roll the car a little and the target wobbles about the one direction that does
//! not: the spindle. The path of its origin gives the wheel's centre and the rolling radius. From then on, a pose of
//! the target is a pose of the wheel.
//!
//! # Direction
//! The spindle a, in the target frame, is the unit vector for which `R_i·a` varies least over the stations (see
//! [`Compensation`]). It points outward: away from the wheel on the other side. For two stations a
//! roll θ apart and rotation noise u per axis, each transverse component carries √2·u/(2·sin(θ/2)): 2.73 u at 30°,
//! 1.41 u at 60°, 0.71 u at 180°. A whole turn tells nothing.
//!
//! # Centre and rolling radius
//! Rolling without slip along one horizontal direction d that all four wheels share, `p_i = c₀ + r·θ_i·d − R_i·o`:
//! p is the target's origin, θ the roll angle, o the offset from that origin to the spindle line, square to a. The
//! equation is linear in (c₀, r·d, o). First each wheel gives its own r·d, then d is their common direction, then each
//! wheel is solved again for (c₀, r, o). The car's travel d is not tied to the wheels' headings: a car may crab.
//! The wheel centre lies at o − standoff·a in the target frame; rolling cannot show the standoff, it is an input.
//!
//! Were the travel left free at every station, a shift common to all wheel centres could not be told from it, and trail
//! would scatter twenty times more. Travel = r·θ pins it.
//!
//! # Three ways
//! | way | when | what it costs |
//! |---|---|---|
//! | rolled, the body goes straight | the customary one: the four wheels share one body and one travel | nothing |
//! | rolled, the body may turn | the car does not run straight; its yaw at each station is found from the wheel centres, and each wheel rolls along a path of its own | camber scatters by a sixth more: 0.0102° against 0.0088° |
//! | spun | the car is raised and each wheel spun by hand: the point that spinning leaves alone is the centre | no rolling radius |
//!
//! The costs are those of five stations over ± 27° with a pose noise of 0.005° and 0.05 mm per axis.
//! [`wheel_from_rolling`] and [`wheel_from_spinning`] do one wheel alone.

use crate::error::{Error, ErrorCode, Stage, Warning, WarningCode};
use crate::frame::{Rig, Target, Transform, Vector};
use crate::layout::{ByAxle, ByWheel, Side, Wheel};
use crate::pose::{self, Pose};
use crate::rigid::FixedDirection;
use crate::session::{self, Cameras, PoseNoise, Poses, RollingBody, Station};
use crate::slip::{self, Slip};
use crate::units::{self, atan2_deg, deg_from_rad, rad_from_deg};
use alloc::vec::Vec;
use nalgebra::{Matrix2x1, Matrix2x5, Matrix3, Matrix4, Vector2, Vector3, Vector4};

/// The least roll angle between the extreme stations, degrees.
pub const MIN_ROLL_DEG: f64 = 10.0;
/// The roll below which the result carries a warning, degrees. Common practice: 20° to 45°.
pub const SHORT_ROLL_DEG: f64 = 20.0;
/// The greatest angle between a spindle and the line across its axle, degrees. No wheel of a car comes near it.
pub(crate) const MAX_SPINDLE_SKEW_DEG: f64 = 60.0;
/// The greatest angle between an approximate forward and the level, degrees: straight up it says nothing of left and right.
const MAX_FORWARD_RISE_DEG: f64 = 60.0;
/// Travel that no wheel makes in a roll too small to be seen, mm: it must have made a whole turn.
const TRAVEL_OF_A_TURN_MM: f64 = 500.0;
/// Stations that turn by less than this have no axis, degrees.
const ALIKE_DEG: f64 = 0.5;
/// A step in roll angle from which its sense is taken from the travel: half a turn looks the same either way.
const AMBIGUOUS_STEP_DEG: f64 = 120.0;
/// The yaw of a body is found from wheel centres that lie at least about so far apart, mm.
pub(crate) const LEAST_SPAN_MM: f64 = 1000.0;
/// A slip smaller than this is never looked for: rounding is no slip.
const LEAST_SLIP_DEG: f64 = 1e-4;
/// The same in the path of a target.
const LEAST_SLIP_MM: f64 = 1e-3;
/// The least share of a column that must be left over after the columns before it are taken out, for a fit to be solved.
const MIN_PIVOT: f64 = 1e-6;

/// Where a wheel sits in the target clamped to it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Compensation {
    /// The spindle, unit vector outward, in the target frame.
    pub spindle_in_target: [f64; 3],
    /// The wheel centre in the target frame, mm.
    pub centre_in_target_mm: [f64; 3],
    /// Runout of the clamp, degrees: the angle between the spindle and the nearest axis of the target. Zero when the clamp sits
    /// true; it says nothing about the wheel.
    pub runout_deg: f64,
    /// Travel of the wheel centre over roll angle, mm. Absent when the wheel was spun instead of rolled.
    pub rolling_radius_mm: Option<f64>,
    /// Roll angle between the extreme stations, degrees.
    pub roll_range_deg: f64,
}

impl Compensation {
    /// Refuses numbers that no compensation has.
    #[inline]
    pub(crate) fn check(&self) -> Result<(), Error> {
        let spindle = Vector::<Target>::new(self.spindle_in_target);
        let centre = Vector::<Target>::new(self.centre_in_target_mm);
        let [least, most] = session::LOADED_RADIUS_RANGE_MM;
        let radius = self.rolling_radius_mm.is_none_or(|radius| least <= radius && radius <= most);
        let unit = (spindle.dot(spindle) - 1.0).abs() <= pose::UNIT_LENGTH_TOLERANCE;
        let near = centre.dot(centre) <= pose::MAX_COORDINATE_MM * pose::MAX_COORDINATE_MM;
        if radius && unit && near && self.runout_deg.is_finite() { Ok(()) } else { Err(self.fault()) }
    }

    /// What is wrong with a compensation that is none.
    #[cold]
    fn fault(&self) -> Error {
        let numbers = self.spindle_in_target.iter().chain(&self.centre_in_target_mm);
        if !numbers.chain([&self.runout_deg]).all(|v| v.is_finite()) {
            return Error::new(ErrorCode::NotFinite).input("compensation");
        }
        let range = session::LOADED_RADIUS_RANGE_MM;
        let radius = self.rolling_radius_mm.unwrap_or(range[0]);
        if let Err(error) = session::check_range(ErrorCode::LengthOutOfRange, "rolling_radius_mm", radius, range) {
            return error;
        }
        let norm = Vector::<Target>::new(self.spindle_in_target).norm();
        if (norm * norm - 1.0).abs() > pose::UNIT_LENGTH_TOLERANCE {
            return Error::new(ErrorCode::NotUnitLength).input("spindle_in_target").value(norm);
        }
        Error::new(ErrorCode::LengthOutOfRange).input("centre_in_target_mm").at_most(pose::MAX_COORDINATE_MM)
    }
}

/// How far a pose lies from the motion fitted to it.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Residual {
    /// Angle between the axis seen at this station and the fitted one, degrees.
    pub rotation_deg: f64,
    /// Distance between the point seen at this station and where the fit puts it, mm.
    pub translation_mm: f64,
}

/// The compensation of the wheels, with what the fit left over.
#[derive(Debug, Clone, PartialEq)]
pub struct ClampCompensation {
    /// Where each wheel sits in its target. Absent for a wheel that was not seen often enough.
    pub wheels: ByWheel<Option<Compensation>>,
    /// The direction in which the car travelled as it rolled forward: unit vector, horizontal, in the rig frame. Absent when the wheels
    /// were spun.
    pub travel_direction_in_rig: Option<[f64; 3]>,
    /// Per station and wheel: how far the pose lies from the fitted motion. Absent where the wheel was not seen.
    pub residuals: Vec<ByWheel<Option<Residual>>>,
    /// What is weak in it.
    pub warnings: Vec<Warning>,
}

impl ClampCompensation {
    /// The compensation of all four wheels.
    ///
    /// # Errors
    /// [`ErrorCode::WheelNotSeen`] names the first wheel that has none.
    ///
    /// ```
    /// # use alignment_core::{compensation, session::{ByAxle, RollingBody}, simulate::VirtualVehicle};
    /// let s = VirtualVehicle::default().session();
    /// let (up, body) = (s.up.unwrap(), RollingBody::Translates);
    /// let rolled = compensation::from_rolling(&s.rolling, up, &s.clamp_standoff_mm, &ByAxle::default(), body)?;
    /// assert!((rolled.all_wheels()?.fl.runout_deg - 1.2).abs() < 1e-9);
    /// # Ok::<(), alignment_core::Error>(())
    /// ```
    pub fn all_wheels(&self) -> Result<ByWheel<Compensation>, Error> {
        ByWheel::try_from_fn(|wheel| {
            self.wheels.get(wheel).ok_or(Error::new(ErrorCode::WheelNotSeen).stage(Stage::Rolling).wheel(wheel))
        })
    }
}

/// Compensates the clamps from stations at which the car was rolled without slip (see the [module](self)).
///
/// `up` is the unit vector upward in the rig frame; `loaded_radius_mm` stands in for the rolling radius where no wheel was
/// seen at three distinct stations, since two cannot give it; a body that may turn needs three. The order of the stations does not matter. A wheel whose camera was
/// blocked too often is absent, with a warning.
///
/// # Errors
/// Those of the poses; [`ErrorCode::TooFewStations`], [`ErrorCode::RollTooSmall`] (below 10°),
/// [`ErrorCode::RollFullTurn`], [`ErrorCode::SpindleNotLateral`], [`ErrorCode::UpInverted`], [`ErrorCode::SidesSwapped`] (of one axle),
/// [`ErrorCode::Mirrored`], [`ErrorCode::LengthOutOfRange`] for a standoff, a loaded radius or a rolling radius that no car has, [`ErrorCode::NotStill`], [`ErrorCode::TooMany`].
///
/// ```
/// # use alignment_core::{compensation, session::{ByAxle, RollingBody}, simulate::VirtualVehicle};
/// let car = VirtualVehicle::default();
/// let session = car.session();
/// let rolled = compensation::from_rolling(
///     &session.rolling,
///     session.up.unwrap(),
///     &session.clamp_standoff_mm,
///     &ByAxle::default(),
///     RollingBody::Translates,
/// )?;
/// let radius_mm = rolled.wheels.fl.unwrap().rolling_radius_mm.unwrap();
/// assert!((radius_mm - car.front.rolling_radius_mm).abs() < 1e-6);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn from_rolling(
    rolling: &[Station],
    up: [f64; 3],
    clamp_standoff_mm: &ByWheel<f64>,
    loaded_radius_mm: &ByAxle<Option<f64>>,
    body: RollingBody,
) -> Result<ClampCompensation, Error> {
    let up = session::up_in_rig(up)?;
    session::check_count(rolling.len(), session::MAX_STATIONS).map_err(|error| error.stage(Stage::Rolling))?;
    let stations = Cameras::IN_RIG.resolve_all(rolling, Stage::Rolling, &mut Vec::new())?;
    session::check_loaded_radii(loaded_radius_mm)?;
    session::check_standoffs(clamp_standoff_mm)?;
    Rolling { stations: &stations, up, clamp_standoff_mm, loaded_radius_mm, body, noise: None }.compensate()
}

/// Compensates the clamps from stations at which the car was raised and its wheels were spun, one after the other (see the
/// [module](self)).
///
/// A station holds the wheel that is spun. Others may stand in it too, if the body stands still. `up` is the unit vector upward in the
/// rig frame, and tells left from right when one wheel of each axle was not seen. There is no travel, hence no rolling radius.
///
/// # Errors
/// Those of the poses; [`ErrorCode::TooFewStations`], [`ErrorCode::RollTooSmall`] (below 10°),
/// [`ErrorCode::SpindleNotLateral`], [`ErrorCode::LengthOutOfRange`] for a standoff that no clamp has, [`ErrorCode::NotStill`],
/// [`ErrorCode::TooMany`].
///
/// ```
/// # use alignment_core::{compensation, session::{ByAxle, CompensationMethod}, simulate::VirtualVehicle};
/// let car = VirtualVehicle { compensation: CompensationMethod::Spun, ..VirtualVehicle::default() };
/// let session = car.session();
/// let spun = compensation::from_spinning(&session.rolling, session.up.unwrap(), &session.clamp_standoff_mm)?;
/// assert!((spun.wheels.rr.unwrap().runout_deg - car.rear.right.clamp.tilt_deg).abs() < 1e-9);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn from_spinning(
    spinning: &[Station],
    up: [f64; 3],
    clamp_standoff_mm: &ByWheel<f64>,
) -> Result<ClampCompensation, Error> {
    let up = session::up_in_rig(up)?;
    session::check_count(spinning.len(), session::MAX_STATIONS).map_err(|error| error.stage(Stage::Rolling))?;
    let stations = Cameras::IN_RIG.resolve_all(spinning, Stage::Rolling, &mut Vec::new())?;
    session::check_standoffs(clamp_standoff_mm)?;
    spun(&stations, up, clamp_standoff_mm, None)
}

/// Compensates the clamp of one wheel alone that was rolled without slip. Its travel is its own.
///
/// Outward cannot be told from one wheel: `side` and an approximate `forward` in the rig frame say it. `loaded_radius_mm`
/// stands in for the rolling radius when there are two distinct stations only.
///
/// # Errors
/// As [`from_rolling`]; [`ErrorCode::NotUnitLength`] for `up` or `forward`; [`ErrorCode::AngleOutOfRange`] for a `forward` more than 60°
/// from level.
///
/// ```
/// # use alignment_core::{Pose, Side, compensation::wheel_from_rolling};
/// let pose = |roll: f64| Pose::from_rotation_vector_rad([0.0, roll, 0.0], [310.0 * roll, 760.0, 310.0]);
/// let (up, forward) = ([0.0, 0.0, 1.0], [1.0, 0.0, 0.0]);
/// let wheel = wheel_from_rolling(&[pose(0.0)?, pose(0.4)?, pose(0.8)?], Side::Left, forward, up, 80.0, None)?;
/// assert!((wheel.rolling_radius_mm.unwrap() - 310.0).abs() < 1e-9);
/// assert!((wheel.spindle_in_target[1] - 1.0).abs() < 1e-12);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn wheel_from_rolling(
    poses: &[Pose],
    side: Side,
    forward: [f64; 3],
    up: [f64; 3],
    clamp_standoff_mm: f64,
    loaded_radius_mm: Option<f64>,
) -> Result<Compensation, Error> {
    let Alone { stations, wheel, lateral, up } = alone(poses, side, forward, up, clamp_standoff_mm)?;
    session::check_loaded_radii(&ByAxle { front: loaded_radius_mm, rear: None })?;
    let roll = RolledWheel::observe(&stations, &stations, wheel, lateral, up)?;
    let too_few = Error::new(ErrorCode::TooFewStations).value(roll.count()).at_least(3.0);
    let (travel, known) = match (roll.free_travel(up), loaded_radius_mm) {
        (Some(travel), _) => (travel, None),
        (None, Some(radius)) => (roll.travel_with_radius(radius, up), Some(radius)),
        (None, None) => return Err(too_few),
    };
    roll.check_sense(travel)?;
    let (radius, offset) = roll.radius_and_offset(travel.unit(), known).ok_or(too_few)?;
    roll.compensation(Some(radius), offset, clamp_standoff_mm)
}

/// Compensates the clamp of one wheel alone that was spun with the car raised.
///
/// Outward cannot be told from one wheel: `side` and an approximate `forward` in the rig frame say it.
///
/// # Errors
/// As [`from_spinning`]; [`ErrorCode::NotUnitLength`] for `up` or `forward`; [`ErrorCode::AngleOutOfRange`] for a `forward` more than 60°
/// from level.
///
/// ```
/// # use alignment_core::{Pose, Side, compensation::wheel_from_spinning};
/// let pose = |spin: f64| Pose::from_rotation_vector_rad([0.0, spin, 0.0], [0.0, 760.0, 310.0]);
/// let (up, forward) = ([0.0, 0.0, 1.0], [1.0, 0.0, 0.0]);
/// let wheel = wheel_from_spinning(&[pose(0.0)?, pose(2.0)?, pose(4.0)?], Side::Left, forward, up, 80.0)?;
/// assert!((wheel.centre_in_target_mm[1] + 80.0).abs() < 1e-9);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn wheel_from_spinning(
    poses: &[Pose],
    side: Side,
    forward: [f64; 3],
    up: [f64; 3],
    clamp_standoff_mm: f64,
) -> Result<Compensation, Error> {
    let Alone { stations, wheel, lateral, .. } = alone(poses, side, forward, up, clamp_standoff_mm)?;
    let spin = SpunWheel::observe(&stations, wheel, lateral)?;
    spin.compensation(clamp_standoff_mm)
}

/// One wheel alone, as stations of a session.
struct Alone {
    stations: Vec<Poses>,
    wheel: Wheel,
    lateral: Lateral,
    up: Vector<Rig>,
}

/// One wheel alone as stations of a session, with the direction outward.
fn alone(poses: &[Pose], side: Side, forward: [f64; 3], up: [f64; 3], clamp_standoff_mm: f64) -> Result<Alone, Error> {
    let up = session::up_in_rig(up)?;
    let forward = Vector::<Rig>::new(forward);
    pose::check_unit_length(forward.norm()).map_err(|error| error.input("forward"))?;
    let across = up.cross(forward) * side.sign();
    let rise_deg = atan2_deg(forward.dot(up).abs(), across.norm());
    if rise_deg > MAX_FORWARD_RISE_DEG {
        let error = Error::new(ErrorCode::AngleOutOfRange).input("forward");
        return Err(error.value(rise_deg).at_most(MAX_FORWARD_RISE_DEG));
    }
    session::check_count(poses.len(), session::MAX_STATIONS)?;
    session::check_standoffs(&ByWheel::from_fn(|_| clamp_standoff_mm))?;
    let wheel = side.front_wheel();
    let mut stations = Vec::with_capacity(poses.len());
    for (index, pose) in poses.iter().enumerate() {
        let mut station = Poses::default();
        *station.get_mut(wheel) = Some(pose.transform().map_err(|error| error.station(index))?);
        stations.push(station);
    }
    #[expect(clippy::cast_precision_loss, reason = "the number of stations is far below 2^52")]
    if poses.len() < 2 {
        return Err(Error::new(ErrorCode::TooFewStations).value(poses.len() as f64).at_least(2.0));
    }
    Ok(Alone { stations, wheel, lateral: Lateral::Sure(across), up })
}

/// Which way is outward at a wheel, in the rig: surely, or but for a large angle.
#[derive(Clone, Copy)]
enum Lateral {
    Sure(Vector<Rig>),
    Rough(Vector<Rig>),
}

/// Which way is outward at each wheel that was seen, from where the targets are.
fn laterals(stations: &[Poses], up: Vector<Rig>) -> ByWheel<Option<Lateral>> {
    let origins = ByWheel::from_fn(|wheel| mean_origin(stations, wheel));
    let at = |wheel: Wheel| *origins.get(wheel);
    ByWheel::from_fn(|wheel| {
        let own = at(wheel)?;
        let side = wheel.side().sign();
        let other_axle = wheel.other_end();
        // The wheel on the other side; else the other axle; else straight ahead along the own side; else across the corner.
        at(wheel.opposite())
            .map(|mate| own - mate)
            .or_else(|| Some(at(other_axle)? - at(other_axle.opposite())?))
            .or_else(|| Some(up.cross(own - at(other_axle)?) * (side * wheel.end_sign())))
            .map(Lateral::Sure)
            .or_else(|| Some(Lateral::Rough(own - at(other_axle.opposite())?)))
    })
}

/// Where the target was on average; None when it was seen at one station or none.
fn mean_origin(stations: &[Poses], wheel: Wheel) -> Option<Vector<Rig>> {
    let seen = || stations.iter().filter_map(|station| station.get(wheel).as_ref());
    let sum: Vector<Rig> = seen().map(Transform::origin).sum();
    let count = count_of(stations, wheel);
    (count > 1.0).then(|| sum * (1.0 / count))
}

#[expect(clippy::cast_precision_loss, reason = "the number of stations is far below 2^52")]
fn count_of(stations: &[Poses], wheel: Wheel) -> f64 {
    stations.iter().filter(|station| station.get(wheel).is_some()).count() as f64
}

/// Each wheel as `observe` shows it. A wheel that its camera saw too seldom, and for that reason tells too little, is absent
/// with a warning; when that goes for all, it is an error.
fn observe_all<T>(
    stations: &[Poses],
    up: Vector<Rig>,
    spun: bool,
    warnings: &mut Vec<Warning>,
    observe: impl Fn(Wheel, Lateral) -> Result<T, Error>,
) -> Result<ByWheel<Option<T>>, Error> {
    let laterals = laterals(stations, up);
    let mut first_error = None;
    let wheels = ByWheel::try_from_fn(|wheel| {
        let count = count_of(stations, wheel);
        let located = |error: Error| {
            let error = error.stage(Stage::Rolling);
            if error.wheel.is_none() { error.wheel(wheel) } else { error }
        };
        let error = match laterals.get(wheel).map(|lateral| observe(wheel, lateral)) {
            Some(Ok(seen)) => return Ok(Some(seen)),
            // Alone among the four: nothing says which way is outward.
            None if count > 1.0 => Error::new(ErrorCode::WheelNotSeen).wheel(wheel.opposite()),
            None => Error::new(ErrorCode::TooFewStations).value(count).at_least(2.0),
            Some(Err(error)) => error,
        };
        let blocked = count < stations_of_all(stations, spun);
        let too_little = matches!(
            error.code,
            ErrorCode::TooFewStations | ErrorCode::WheelNotSeen | ErrorCode::RollTooSmall | ErrorCode::RollFullTurn
        );
        if !(too_little && (blocked || count < 2.0)) {
            return Err(located(error));
        }
        first_error = first_error.or(Some(located(error)));
        let warning = Warning::new(WarningCode::WheelBlocked).stage(Stage::Rolling).wheel(wheel);
        warnings.push(match (error.value, error.minimum) {
            (Some(value), Some(minimum)) => warning.figure(value, minimum, error.unit),
            _ => warning,
        });
        Ok(None)
    })?;
    match first_error {
        Some(error) if Wheel::ALL.iter().all(|&wheel| wheels.get(wheel).is_none()) => Err(error),
        _ => Ok(wheels),
    }
}

/// The direction in which the wheels travel as they roll forward. When two of them disagree, one axle has its targets exchanged: the one that
/// would run from front to rear.
fn common_travel(steps: &ByWheel<Option<Vector<Rig>>>, stations: &[Poses]) -> Result<Vector<Rig>, Error> {
    let seen = || Wheel::ALL.into_iter().filter_map(|wheel| Some((wheel, (*steps.get(wheel))?)));
    let travel: Vector<Rig> = seen().map(|(_, step)| step).sum();
    let disagree = seen().any(|(_, one)| seen().any(|(_, other)| one.dot(other) < 0.0));
    if disagree {
        let origins = |end: f64| {
            let of_end = |wheel: &Wheel| (wheel.end_sign() - end).abs() < 0.5;
            let origins = Wheel::ALL.into_iter().filter(of_end).filter_map(|wheel| mean_origin(stations, wheel));
            origins.fold((Vector::zero(), 0.0), |(sum, count), origin| (sum + origin, count + 1.0))
        };
        let ((front, fronts), (rear, rears)) = (origins(1.0), origins(-1.0));
        let forward = front * rears - rear * fronts;
        let backward = seen().find(|(_, step)| step.dot(forward) < 0.0);
        let error = backward
            .map_or(Error::new(ErrorCode::Mirrored), |(wheel, _)| Error::new(ErrorCode::SidesSwapped).wheel(wheel));
        return Err(error.stage(Stage::Rolling));
    }
    Ok(travel.unit())
}

/// At how many stations a wheel should have been seen: at all, or when spun at those that some wheel was seen at most.
fn stations_of_all(stations: &[Poses], spun: bool) -> f64 {
    let counts = || Wheel::ALL.iter().map(|&wheel| count_of(stations, wheel));
    #[expect(clippy::cast_precision_loss, reason = "the number of stations is far below 2^52")]
    if spun { counts().fold(0.0, f64::max) } else { stations.len() as f64 }
}

/// Rolled stations and what is known beside them.
pub(crate) struct Rolling<'a> {
    pub(crate) stations: &'a [Poses],
    pub(crate) up: Vector<Rig>,
    pub(crate) clamp_standoff_mm: &'a ByWheel<f64>,
    pub(crate) loaded_radius_mm: &'a ByAxle<Option<f64>>,
    pub(crate) body: RollingBody,
    pub(crate) noise: Option<PoseNoise>,
}

impl Rolling<'_> {
    pub(crate) fn compensate(&self) -> Result<ClampCompensation, Error> {
        match self.body {
            RollingBody::Translates => self.straight(),
            RollingBody::Turns => self.turning(),
        }
    }

    /// The body goes straight: one travel for all wheels.
    fn straight(&self) -> Result<ClampCompensation, Error> {
        let (stations, up) = (self.stations, self.up);
        let mut warnings = Vec::new();
        let rolls = observe_all(stations, up, false, &mut warnings, |wheel, lateral| {
            RolledWheel::observe(stations, stations, wheel, lateral, up)
        })?;
        let free = ByWheel::from_fn(|wheel| rolls.get(wheel).as_ref().and_then(|roll| roll.free_travel(up)));
        let radii = self.known_radii(&rolls, &free, &mut warnings)?;

        let mut steps = ByWheel::default();
        for wheel in Wheel::ALL {
            let Some(roll) = rolls.get(wheel) else { continue };
            let step = match radii.get(wheel) {
                None => free.get(wheel).unwrap_or(Vector::zero()),
                Some(radius) => roll.travel_with_radius(*radius, up),
            };
            roll.check_sense(step).map_err(|error| error.stage(Stage::Rolling).wheel(wheel))?;
            *steps.get_mut(wheel) = Some(step);
        }
        let travel = common_travel(&steps, stations)?;
        self.finish(&rolls, warnings, Some(travel), |wheel, roll, put| {
            let too_few = Error::new(ErrorCode::TooFewStations).value(roll.count()).at_least(3.0);
            let (radius, offset) = roll.radius_and_offset(travel, *radii.get(wheel)).ok_or(too_few)?;
            let path = |roll_rad| travel * (roll_rad * radius);
            let mut shifts = 0.0;
            roll.residuals(path, offset, &mut |station, residual: Residual| {
                shifts += residual.translation_mm * residual.translation_mm;
                put(station, residual);
            });
            // What the roll angle scatters moves the wheel along its travel.
            let noise =
                self.noise.map(|noise| units::hypot(noise.translation_mm, radius * rad_from_deg(noise.rotation_deg)));
            let suspect = slip::is_suspect(shifts, 2.0 * roll.count() - 5.0, noise, LEAST_SLIP_MM);
            let slip = suspect.then(|| roll.slip_about_spindle(travel, radius, up, self.noise)).flatten();
            Ok((radius, offset, slip))
        })
    }

    /// The rolling radii that the wheels' own stations cannot give: from the travel that they share with the others, or else the
    /// loaded radius.
    fn known_radii(
        &self,
        rolls: &ByWheel<Option<RolledWheel<'_>>>,
        free: &ByWheel<Option<Vector<Rig>>>,
        warnings: &mut Vec<Warning>,
    ) -> Result<ByWheel<Option<f64>>, Error> {
        let mut radii: ByWheel<Option<f64>> = ByWheel::default();
        let seen = || Wheel::ALL.into_iter().filter_map(|wheel| Some((wheel, rolls.get(wheel).as_ref()?)));
        if seen().all(|(wheel, _)| free.get(wheel).is_some()) {
            return Ok(radii);
        }
        if seen().all(|(wheel, _)| free.get(wheel).is_none()) {
            for (wheel, _) in seen() {
                let Some(radius) = *self.loaded_radius_mm.of_wheel(wheel) else { continue };
                *radii.get_mut(wheel) = Some(radius);
                let warning = Warning::new(WarningCode::RollingRadiusAssumed).stage(Stage::Rolling).wheel(wheel);
                warnings.push(warning.value(radius, "mm"));
            }
        }
        let known = radii;
        for (wheel, roll) in seen().filter(|(wheel, _)| free.get(*wheel).is_none()) {
            if known.get(wheel).is_some() {
                continue;
            }
            let others = seen().filter(|(other, _)| *other != wheel).filter_map(|(other, of)| {
                let radius =
                    known.get(other).or_else(|| Some(of.radius_and_offset((*free.get(other))?.unit(), None)?.0))?;
                Some((of, radius))
            });
            let located = Error::new(ErrorCode::TooFewStations).stage(Stage::Rolling).wheel(wheel);
            let radius = roll.radius_beside(others).ok_or(located.value(roll.count()).at_least(3.0))?;
            *radii.get_mut(wheel) = Some(radius);
        }
        Ok(radii)
    }

    /// The body may yaw: each wheel rolls along a path of its own, and turns with the body.
    ///
    /// An approximation: the path of a wheel centre over the ground, an arc, is taken for straight in the fit of the radius, and what a front
    /// wheel slides sideways counts as travel. At a yaw of 1° per metre that is worth a thousandth of its radius.
    fn turning(&self) -> Result<ClampCompensation, Error> {
        /// Each round takes the error to its square or a hundredth; nothing changes after a few.
        const ROUNDS: usize = 8;
        let (stations, up) = (self.stations, self.up);
        let mut yaw_rad: Vec<Option<f64>> = stations.iter().map(|_| Some(0.0)).collect();
        let mut round = 0;
        loop {
            // A station whose yaw cannot be found shows nothing.
            let straightened: Vec<Poses> = stations
                .iter()
                .zip(&yaw_rad)
                .map(|(station, yaw)| yaw.map_or(Poses::default(), |yaw| turned_back(station, up, yaw)))
                .collect();
            let mut warnings = Vec::new();
            let rolls = observe_all(&straightened, up, false, &mut warnings, |wheel, lateral| {
                let standoff_mm = *self.clamp_standoff_mm.get(wheel);
                RolledWheel::observe_turning(stations, &straightened, wheel, lateral, up, standoff_mm)
            })?;
            let own = ByWheel::try_from_fn(|wheel| {
                let Some(roll) = rolls.get(wheel) else { return Ok(None) };
                let error = Error::new(ErrorCode::TooFewStations).stage(Stage::Rolling).wheel(wheel);
                let path = roll.own_path(up).ok_or(error.value(roll.count()).at_least(3.0))?;
                roll.check_sense(path.step).map_err(|error| error.stage(Stage::Rolling).wheel(wheel))?;
                Ok(Some(path))
            })?;
            if round < ROUNDS {
                round += 1;
                let offsets = ByWheel::from_fn(|wheel| own.get(wheel).map(|path| path.offset));
                yaw_rad = body_yaw(stations, &offsets, up);
                continue;
            }
            let steps = ByWheel::from_fn(|wheel| own.get(wheel).map(|path| path.step));
            let travel = common_travel(&steps, stations)?;
            // The yaw is as good as the wheel centres over the distances between them; with two of them, hardly that.
            let few =
                straightened.iter().any(|station| Wheel::ALL.iter().filter(|&&w| station.get(w).is_some()).count() < 3);
            let span_mm = if few { LEAST_SPAN_MM / 3.0 } else { LEAST_SPAN_MM };
            let noise = self.noise.map(|noise| PoseNoise {
                rotation_deg: units::hypot(noise.rotation_deg, deg_from_rad(noise.translation_mm / span_mm)),
                ..noise
            });
            return Rolling { noise, ..*self }.finish(&rolls, warnings, Some(travel), |wheel, roll, put| {
                let path = own.get(wheel).ok_or(Error::new(ErrorCode::TooFewStations))?;
                roll.residuals_but_sideways(&path, up, put);
                Ok((path.step.norm(), path.offset, None))
            });
        }
    }

    /// Puts the compensation together, wheel by wheel: `solve` gives radius, offset and slip, and notes the residuals.
    fn finish<'r>(
        &self,
        rolls: &'r ByWheel<Option<RolledWheel<'r>>>,
        mut warnings: Vec<Warning>,
        travel: Option<Vector<Rig>>,
        solve: impl Fn(
            Wheel,
            &'r RolledWheel<'r>,
            &mut dyn FnMut(usize, Residual),
        ) -> Result<(f64, Vector<Target>, Option<(usize, Slip)>), Error>,
    ) -> Result<ClampCompensation, Error> {
        let mut residuals: Vec<ByWheel<Option<Residual>>> = self.stations.iter().map(|_| ByWheel::default()).collect();
        let wheels = ByWheel::try_from_fn(|wheel| {
            let Some(roll) = rolls.get(wheel) else { return Ok(None) };
            let mut tilts = 0.0;
            let mut put = |station: usize, residual: Residual| {
                tilts += residual.rotation_deg * residual.rotation_deg;
                *residuals[station].get_mut(wheel) = Some(residual);
            };
            let located = |error: Error| error.stage(Stage::Rolling).wheel(wheel);
            let (radius, offset, slip_about_spindle) = solve(wheel, roll, &mut put).map_err(located)?;
            let slip = slip_about_spindle.or_else(|| {
                let suspect = tilt_is_suspect(tilts, roll.count(), self.noise);
                suspect.then(|| slip_of_direction(&roll.direction, roll.in_order(), self.noise)).flatten()
            });
            if let Some((station, slip)) = slip {
                warnings.push(slip.warning(Stage::Rolling, station, wheel));
            }
            if roll.range_deg < SHORT_ROLL_DEG {
                let warning = Warning::new(WarningCode::RollShort).stage(Stage::Rolling).wheel(wheel);
                warnings.push(warning.figure(roll.range_deg, SHORT_ROLL_DEG, "deg"));
            }
            let standoff = *self.clamp_standoff_mm.get(wheel);
            roll.compensation(Some(radius), offset, standoff).map(Some).map_err(located)
        })?;
        Ok(ClampCompensation { wheels, travel_direction_in_rig: travel.map(Vector::to_array), residuals, warnings })
    }
}

/// Compensates spun wheels.
pub(crate) fn spun(
    stations: &[Poses],
    up: Vector<Rig>,
    clamp_standoff_mm: &ByWheel<f64>,
    noise: Option<PoseNoise>,
) -> Result<ClampCompensation, Error> {
    let mut warnings = Vec::new();
    let spins =
        observe_all(stations, up, true, &mut warnings, |wheel, lateral| SpunWheel::observe(stations, wheel, lateral))?;
    let mut residuals: Vec<ByWheel<Option<Residual>>> = stations.iter().map(|_| ByWheel::default()).collect();
    let wheels = ByWheel::try_from_fn(|wheel| {
        let Some(spin) = spins.get(wheel) else { return Ok(None) };
        let (mut tilts, mut count) = (0.0, 0.0);
        for (station, pose) in spin.poses() {
            let tilt = pose.direction(spin.direction.in_moving) - spin.direction.in_rig;
            let shift = pose.point(spin.offset) - spin.centre_in_rig;
            let residual = Residual { rotation_deg: deg_from_rad(tilt.norm()), translation_mm: shift.norm() };
            tilts += residual.rotation_deg * residual.rotation_deg;
            count += 1.0;
            *residuals[station].get_mut(wheel) = Some(residual);
        }
        if tilt_is_suspect(tilts, count, noise)
            && let Some((station, slip)) = slip_of_direction(&spin.direction, spin.poses(), noise)
        {
            warnings.push(slip.warning(Stage::Rolling, station, wheel));
        }
        if spin.range_deg < SHORT_ROLL_DEG {
            let warning = Warning::new(WarningCode::RollShort).stage(Stage::Rolling).wheel(wheel);
            warnings.push(warning.figure(spin.range_deg, SHORT_ROLL_DEG, "deg"));
        }
        let located = |error: Error| error.stage(Stage::Rolling).wheel(wheel);
        spin.compensation(*clamp_standoff_mm.get(wheel)).map(Some).map_err(located)
    })?;
    Ok(ClampCompensation { wheels, travel_direction_in_rig: None, residuals, warnings })
}

/// Which way is up, by the sense of roll: a wheel that rolls forward turns to the left about the line across the car, and travel × turning points
/// up. Rough, but for its sign. None when the stations show no wheel rolling.
pub(crate) fn up_by_rolling(stations: &[Poses]) -> Option<Vector<Rig>> {
    let mut up = Vector::zero();
    for wheel in Wheel::ALL {
        let poses: Vec<_> = stations.iter().filter_map(|station| station.get(wheel).as_ref()).collect();
        for pair in poses.windows(2) {
            // k·sin θ: nothing for half a turn, which has no sense.
            up = up + (pair[1].origin() - pair[0].origin()).cross(pair[1].turned_since(pair[0]));
        }
    }
    (up.norm() > 0.0).then(|| up.unit())
}

/// Whether the tilts of a direction, their squares in deg², ask for an explanation.
fn tilt_is_suspect(squares: f64, count: f64, noise: Option<PoseNoise>) -> bool {
    slip::is_suspect(squares, 2.0 * count - 4.0, noise.map(|noise| noise.rotation_deg), LEAST_SLIP_DEG)
}

/// A target that tipped over on its clamp, from how the fixed direction is seen at each station.
fn slip_of_direction<'a>(
    direction: &FixedDirection<Target>,
    poses: impl Iterator<Item = (usize, &'a Transform<Rig, Target>)> + Clone,
    noise: Option<PoseNoise>,
) -> Option<(usize, Slip)> {
    let (rows, yawing) = (direction.rows(poses.clone()), direction.yawing_rows(poses));
    let noise = noise.map(|noise| rad_from_deg(noise.rotation_deg));
    let slip = slip::find_beside(&rows, &yawing, noise, rad_from_deg(LEAST_SLIP_DEG))?;
    Some((rows[slip.row].station, slip))
}

/// A station with its rotations turned back about `up`; where the targets are stays as it was.
fn turned_back(station: &Poses, up: Vector<Rig>, yaw_rad: f64) -> Poses {
    let (sin, cos) = libm::sincos(yaw_rad);
    let turn = |v: Vector<Rig>| {
        let level = v.square_to(up);
        v - level + level * cos - up.cross(level) * sin
    };
    ByWheel::from_fn(|wheel| {
        let pose = (*station.get(wheel))?;
        let axes =
            [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]].map(|axis| turn(pose.direction(Vector::new(axis))));
        Some(Transform::from_axes(axes, pose.origin()))
    })
}

/// The yaw of the body at each station, radians, left positive: the turn that best takes the plan of the wheel centres to where they are at
/// the station. None where fewer than two were seen.
fn body_yaw(stations: &[Poses], offsets: &ByWheel<Option<Vector<Target>>>, up: Vector<Rig>) -> Vec<Option<f64>> {
    const ROUNDS: usize = 4;
    let centres: Vec<ByWheel<Option<Vector<Rig>>>> = stations
        .iter()
        .map(|station| {
            ByWheel::from_fn(|wheel| Some(station.get(wheel).as_ref()?.point((*offsets.get(wheel))?).square_to(up)))
        })
        .collect();
    let seen =
        |of: &ByWheel<Option<Vector<Rig>>>| Wheel::ALL.into_iter().filter(|&wheel| of.get(wheel).is_some()).count();
    let mut yaw: Vec<Option<f64>> = stations.iter().map(|_| None).collect();
    // The plan of the station that shows most, then the mean of all, turned alike; it grows by the wheels that others show.
    let Some(mut plan) = centres.iter().max_by_key(|of| seen(of)).copied() else { return yaw };
    for _ in 0..ROUNDS {
        let mut sum: ByWheel<(Vector<Rig>, f64)> = ByWheel::from_fn(|_| (Vector::zero(), 0.0));
        for (station, yaw) in centres.iter().zip(&mut yaw) {
            let both =
                || Wheel::ALL.into_iter().filter_map(|wheel| Some(((*plan.get(wheel))?, (*station.get(wheel))?)));
            let count = both().fold(0.0, |count, _| count + 1.0);
            if count < 2.0 {
                continue;
            }
            let (from, to) = both().fold((Vector::zero(), Vector::zero()), |(a, b), (p, q)| (a + p, b + q));
            let (from, to) = (from * (1.0 / count), to * (1.0 / count));
            let (sin, cos) = both().fold((0.0, 0.0), |(sin, cos), (p, q)| {
                let (p, q) = (p - from, q - to);
                (sin + p.cross(q).dot(up), cos + p.dot(q))
            });
            let angle = libm::atan2(sin, cos);
            *yaw = Some(angle);
            let (sin, cos) = libm::sincos(angle);
            for wheel in Wheel::ALL {
                let Some(centre) = *station.get(wheel) else { continue };
                let level = centre - to;
                let (mean, number) = sum.get_mut(wheel);
                *mean = *mean + from + level * cos - up.cross(level) * sin;
                *number += 1.0;
            }
        }
        plan = ByWheel::from_fn(|wheel| {
            let (mean, number) = *sum.get(wheel);
            if number > 0.0 { Some(mean * (1.0 / number)) } else { *plan.get(wheel) }
        });
    }
    yaw
}

/// The angle between the spindle and the nearest axis of the target, degrees.
fn runout_deg(spindle: Vector<Target>) -> f64 {
    let [x, y, z] = spindle.to_array();
    let (along, across) =
        [(x, (y, z)), (y, (z, x)), (z, (x, y))].into_iter().fold((0.0, 0.0), |best, (along, (b, c))| {
            if along.abs() > best.0 { (along.abs(), units::hypot(b, c)) } else { best }
        });
    atan2_deg(across, along)
}

/// One station of one rolled wheel, as deviations from the means over the stations.
struct RolledStation<'a> {
    index: usize,
    /// The pose, with the body's turning taken out of its rotation.
    straight: &'a Transform<Rig, Target>,
    /// Roll angle, forward positive, radians; its mean over the stations is 0.
    roll_rad: f64,
    /// Target origin less the mean origin.
    origin: Vector<Rig>,
    /// The two axes square to the spindle, seen in the rig, less their means.
    square: [Vector<Rig>; 2],
}

/// What rolling shows of one wheel before the travel that all share is known.
struct RolledWheel<'a> {
    direction: FixedDirection<Target>,
    /// Two unit vectors square to the spindle in the target frame; right-handed with it.
    square: [Vector<Target>; 2],
    /// The direction in which the wheel points, in the rig: horizontal, and forward if the sides are as named.
    heading: Vector<Rig>,
    stations: Vec<RolledStation<'a>>,
    range_deg: f64,
}

/// The wheel's own path over the ground.
#[derive(Clone, Copy)]
struct OwnPath {
    /// Travel per radian of roll.
    step: Vector<Rig>,
    /// From the target's origin to the spindle.
    offset: Vector<Target>,
}

impl<'a> RolledWheel<'a> {
    /// What the stations show of one wheel whose body may turn: `straightened` are the stations with that turning taken out of the rotations.
    /// The wheel centre rolls on the path of the wheel, not the target, which stands off.
    fn observe_turning(
        stations: &'a [Poses],
        straightened: &'a [Poses],
        wheel: Wheel,
        lateral: Lateral,
        up: Vector<Rig>,
        standoff_mm: f64,
    ) -> Result<Self, Error> {
        let mut roll = Self::observe(stations, straightened, wheel, lateral, up)?;
        let spindle = roll.direction.in_moving;
        for station in &mut roll.stations {
            let pose = stations[station.index].get(wheel).as_ref();
            let outward = pose.map_or(Vector::zero(), |pose| pose.direction(spindle));
            station.origin = station.origin - (outward - roll.direction.in_rig) * standoff_mm;
        }
        centre(&mut roll.stations);
        Ok(roll)
    }

    /// What the stations show of one wheel; `straightened` are the same stations unless the body turns.
    fn observe(
        stations: &'a [Poses],
        straightened: &'a [Poses],
        wheel: Wheel,
        lateral: Lateral,
        up: Vector<Rig>,
    ) -> Result<Self, Error> {
        let poses = || straightened.iter().filter_map(|station| station.get(wheel).as_ref());
        let direction = FixedDirection::fit(poses());
        let equivalent_deg = direction.equivalent_angle_deg();
        let origin = poses().next().map_or(Vector::zero(), Transform::origin);
        // A wheel's centre travels far more than this between stations that only look alike.
        let turned = poses().any(|pose| (pose.origin() - origin).norm() > TRAVEL_OF_A_TURN_MM);
        let alike = if turned { ErrorCode::RollFullTurn } else { ErrorCode::RollTooSmall };
        if equivalent_deg < ALIKE_DEG {
            // Nothing turned, so nothing below would mean anything.
            return Err(Error::new(alike).value(equivalent_deg).at_least(MIN_ROLL_DEG));
        }
        let direction = outward(direction, lateral)?;
        let outward = direction.in_rig;
        // Across a spindle that stands upright no wheel rolls forward.
        let rise_deg = atan2_deg(outward.dot(up).abs(), outward.cross(up).norm());
        if rise_deg > MAX_SPINDLE_SKEW_DEG {
            return Err(Error::new(ErrorCode::SpindleNotLateral).value(rise_deg).at_most(MAX_SPINDLE_SKEW_DEG));
        }
        let side = wheel.side().sign();
        let heading = (outward.cross(up) * side).unit();

        let first = direction.in_moving.any_square();
        let square = [first, direction.in_moving.cross(first)];
        let seen = stations
            .iter()
            .enumerate()
            .zip(straightened)
            .filter_map(|((index, station), straight)| {
                Some((index, station.get(wheel).as_ref()?, straight.get(wheel).as_ref()?))
            })
            .map(|(index, pose, straight)| RolledStation {
                index,
                straight,
                roll_rad: 0.0,
                origin: pose.origin(),
                square: square.map(|axis| pose.direction(axis)),
            });
        let mut stations = Vec::with_capacity(stations.len());
        stations.extend(seen);
        stations.sort_by(|a, b| a.origin.dot(heading).total_cmp(&b.origin.dot(heading)));
        let range_deg = unwrap_roll(&mut stations, outward, heading, side);
        // A roll that was aimed at the bound is not refused for rounding.
        if range_deg < MIN_ROLL_DEG - 1e-6 {
            return Err(Error::new(alike).value(range_deg).at_least(MIN_ROLL_DEG));
        }
        if equivalent_deg < MIN_ROLL_DEG * 0.5 {
            return Err(Error::new(ErrorCode::RollFullTurn).value(equivalent_deg).at_least(MIN_ROLL_DEG * 0.5));
        }

        centre(&mut stations);
        Ok(Self { direction, square, heading, stations, range_deg })
    }

    #[expect(clippy::cast_precision_loss, reason = "the number of stations is far below 2^52")]
    fn count(&self) -> f64 {
        self.stations.len() as f64
    }

    /// The wheel's own travel per radian of roll, r·d, horizontal: least squares for (r·d, o). None when the stations
    /// do not tell r·d from o: that takes three distinct roll angles.
    fn free_travel(&self, up: Vector<Rig>) -> Option<Vector<Rig>> {
        let left = up.cross(self.heading);
        let (mut normal, mut right) = (Matrix4::zeros(), Vector4::zeros());
        for station in &self.stations {
            let [b, c] = station.square;
            let columns = [self.heading * station.roll_rad, left * station.roll_rad, b, c];
            accumulate(&mut normal, &mut right, &columns, station.origin);
        }
        let solution = solve(normal, right)?;
        Some(self.heading * solution[0] + left * solution[1])
    }

    /// The wheel's own travel per radian of roll when its radius is known: only the direction is open.
    fn travel_with_radius(&self, radius_mm: f64, up: Vector<Rig>) -> Vector<Rig> {
        // Along the spindle the target's origin moves by travel alone, since o is square to it.
        let spindle = self.direction.in_rig;
        let (mut sum, mut weight) = (0.0, 0.0);
        for station in &self.stations {
            sum += station.roll_rad * station.origin.dot(spindle);
            weight += station.roll_rad * station.roll_rad;
        }
        let level = spindle.square_to(up).unit();
        let lateral = (sum / weight / radius_mm / spindle.dot(level)).clamp(-1.0, 1.0);
        let sense: f64 = self.stations.iter().map(|s| s.roll_rad * s.origin.dot(self.heading)).sum();
        let forward = units::sqrt(1.0 - lateral * lateral) * radius_mm;
        self.heading * forward.copysign(sense) + level * (lateral * radius_mm)
    }

    /// The rolling radius (unless given) and the offset o from target origin to spindle, for a known travel direction.
    fn radius_and_offset(&self, travel: Vector<Rig>, radius_mm: Option<f64>) -> Option<(f64, Vector<Target>)> {
        let (mut normal, mut right) = (Matrix3::zeros(), Vector3::zeros());
        for station in &self.stations {
            let [b, c] = station.square;
            let step = travel * station.roll_rad;
            let (columns, observed) = match radius_mm {
                None => ([step, b, c], station.origin),
                Some(radius) => ([Vector::zero(), b, c], station.origin - step * radius),
            };
            accumulate(&mut normal, &mut right, &columns, observed);
        }
        if radius_mm.is_some() {
            normal[(0, 0)] = 1.0; // an empty equation, 1·r = 0, in the place of the known radius
        }
        let solution = solve(normal, right)?;
        // p = … − R·o: the columns carry +R, so the solution is −o.
        let offset = -(self.square[0] * solution[1] + self.square[1] * solution[2]);
        Some((radius_mm.unwrap_or(solution[0]), offset))
    }

    /// The wheel's own travel per radian of roll and its offset, whatever it moves sideways, since a body that turns takes it there. None when
    /// the stations do not tell radius from offset.
    fn own_path(&self, up: Vector<Rig>) -> Option<OwnPath> {
        let spindle = self.direction.in_rig;
        let level = spindle.square_to(up).unit();
        let (mut normal, mut right) = (Matrix3::zeros(), Vector3::zeros());
        for station in &self.stations {
            let [b, c] = station.square;
            let columns = [self.heading * station.roll_rad, b, c].map(|column| self.but_for(level, column));
            accumulate(&mut normal, &mut right, &columns, self.but_for(level, station.origin));
        }
        let solution = solve(normal, right)?;
        let offset = -(self.square[0] * solution[1] + self.square[1] * solution[2]);
        let (mut sideways, mut weight) = (0.0, 0.0);
        for station in &self.stations {
            let centre = station.origin + self.seen(station, offset);
            sideways += station.roll_rad * centre.dot(spindle);
            weight += station.roll_rad * station.roll_rad;
        }
        let step = self.heading * solution[0] + level * (sideways / weight / spindle.dot(level));
        Some(OwnPath { step, offset })
    }

    /// The vector but for a part along `sideways`, so much that the rest lies square to the spindle.
    fn but_for(&self, sideways: Vector<Rig>, v: Vector<Rig>) -> Vector<Rig> {
        let spindle = self.direction.in_rig;
        v - sideways * (v.dot(spindle) / sideways.dot(spindle))
    }

    /// The rolling radius from wheels that rolled beside this one, of known radius: all travel alike.
    fn radius_beside<'r>(&self, others: impl Iterator<Item = (&'r RolledWheel<'r>, f64)>) -> Option<f64> {
        let (mut travelled, mut turned) = (0.0, 0.0);
        for (other, radius) in others {
            let most = other.stations.iter().fold(0, |most, of| most.max(of.index));
            let mut by_index: Vec<Option<f64>> = (0..=most).map(|_| None).collect();
            for of in &other.stations {
                by_index[of.index] = Some(of.roll_rad * radius);
            }
            let both =
                || self.stations.iter().filter_map(|own| Some((own.roll_rad, *by_index.get(own.index)?.as_ref()?)));
            let count = both().fold(0.0, |count, _| count + 1.0);
            if count < 2.0 {
                continue;
            }
            let (roll, travel) = both().fold((0.0, 0.0), |sum, pair| (sum.0 + pair.0, sum.1 + pair.1));
            let (mean_roll, mean_travel) = (roll / count, travel / count);
            for (roll, travel) in both() {
                travelled += (roll - mean_roll) * (travel - mean_travel);
                turned += (roll - mean_roll) * (roll - mean_roll);
            }
        }
        (turned > 0.0).then(|| travelled / turned)
    }

    /// A wheel that rolls backward as the car moves forward has its top below.
    fn check_sense(&self, step: Vector<Rig>) -> Result<(), Error> {
        if step.dot(self.heading) < 0.0 { Err(Error::new(ErrorCode::UpInverted)) } else { Ok(()) }
    }

    fn compensation(
        &self,
        rolling_radius_mm: Option<f64>,
        offset: Vector<Target>,
        standoff_mm: f64,
    ) -> Result<Compensation, Error> {
        if let Some(radius) = rolling_radius_mm {
            let range = session::LOADED_RADIUS_RANGE_MM;
            session::check_range(ErrorCode::LengthOutOfRange, "rolling_radius_mm", radius, range)?;
        }
        let spindle = self.direction.in_moving;
        Ok(Compensation {
            spindle_in_target: spindle.to_array(),
            centre_in_target_mm: (offset - spindle * standoff_mm).to_array(),
            runout_deg: runout_deg(spindle),
            rolling_radius_mm,
            roll_range_deg: self.range_deg,
        })
    }

    /// The offset from the target's origin to the spindle as a station sees it, less its mean.
    fn seen(&self, station: &RolledStation<'_>, offset: Vector<Target>) -> Vector<Rig> {
        let [b, c] = station.square;
        b * self.square[0].dot(offset) + c * self.square[1].dot(offset)
    }

    fn tilt_deg(&self, station: &RolledStation<'_>) -> f64 {
        deg_from_rad((station.straight.direction(self.direction.in_moving) - self.direction.in_rig).norm())
    }

    /// How far each pose lies from the fitted motion.
    fn residuals(
        &self,
        path: impl Fn(f64) -> Vector<Rig>,
        offset: Vector<Target>,
        put: &mut dyn FnMut(usize, Residual),
    ) {
        for station in &self.stations {
            let left_over = station.origin - path(station.roll_rad) + self.seen(station, offset);
            put(station.index, Residual { rotation_deg: self.tilt_deg(station), translation_mm: left_over.norm() });
        }
    }

    /// The same for a wheel on its own path, whatever it moved sideways.
    fn residuals_but_sideways(&self, path: &OwnPath, up: Vector<Rig>, put: &mut dyn FnMut(usize, Residual)) {
        let level = self.direction.in_rig.square_to(up).unit();
        for station in &self.stations {
            let left_over = station.origin - path.step * station.roll_rad + self.seen(station, path.offset);
            let left_over = self.but_for(level, left_over);
            put(station.index, Residual { rotation_deg: self.tilt_deg(station), translation_mm: left_over.norm() });
        }
    }

    /// The stations in the order in which they were taken.
    fn in_order(&self) -> impl Iterator<Item = (usize, &'a Transform<Rig, Target>)> + Clone + use<'a> {
        let mut ordered: Vec<_> = self.stations.iter().map(|station| (station.index, station.straight)).collect();
        ordered.sort_by_key(|(index, _)| *index);
        ordered.into_iter()
    }

    /// A target that slipped round the spindle: at that station the wheel seems to have rolled further, or less, than it travelled.
    fn slip_about_spindle(
        &self,
        travel: Vector<Rig>,
        radius_mm: f64,
        up: Vector<Rig>,
        noise: Option<PoseNoise>,
    ) -> Option<(usize, Slip)> {
        // What the roll angle scatters moves the wheel along its travel, and not upward: both are brought to the scatter of the latter.
        let (along, upward) = noise.map_or_else(
            || self.scatter_mm(travel, radius_mm, up),
            |noise| {
                let turned = radius_mm * rad_from_deg(noise.rotation_deg);
                (units::hypot(noise.translation_mm, turned), noise.translation_mm)
            },
        );
        let upward = upward.max(LEAST_SLIP_MM);
        let weight = upward / along.max(upward);
        let mut rows: Vec<slip::Row<2, 5, 1>> = self
            .stations
            .iter()
            .map(|station| {
                let [b, c] = station.square;
                let roll = station.roll_rad;
                slip::Row {
                    station: station.index,
                    observed: Vector2::new(weight * station.origin.dot(travel), station.origin.dot(up)),
                    design: Matrix2x5::new(
                        weight,
                        0.0,
                        weight * roll * radius_mm,
                        weight * b.dot(travel),
                        weight * c.dot(travel),
                        0.0,
                        1.0,
                        0.0,
                        b.dot(up),
                        c.dot(up),
                    ),
                    slip: Matrix2x1::new(-weight * radius_mm, 0.0),
                }
            })
            .collect();
        rows.sort_by_key(|row| row.station);
        let slip = slip::find(&rows, noise.map(|_| upward), LEAST_SLIP_MM)?;
        Some((rows[slip.row].station, slip))
    }

    /// How much a target scatters along its travel and upward, mm, as the stations show it: when no noise is stated.
    fn scatter_mm(&self, travel: Vector<Rig>, radius_mm: f64, up: Vector<Rig>) -> (f64, f64) {
        let tilt_deg = units::root_mean_square(self.stations.iter().map(|station| self.tilt_deg(station)));
        let Some((radius, offset)) = self.radius_and_offset(travel, Some(radius_mm)) else { return (0.0, 0.0) };
        let left_over = self.stations.iter().map(|station| {
            let left_over = station.origin - travel * (station.roll_rad * radius) + self.seen(station, offset);
            left_over.dot(up)
        });
        let upward = units::root_mean_square(left_over);
        (units::hypot(upward, radius_mm * rad_from_deg(tilt_deg) / units::sqrt(2.0)), upward)
    }
}

/// What spinning shows of one wheel.
struct SpunWheel<'a> {
    direction: FixedDirection<Target>,
    /// From the target's origin to the spindle.
    offset: Vector<Target>,
    /// Where the point of the spindle nearest to the target's origin stayed.
    centre_in_rig: Vector<Rig>,
    range_deg: f64,
    stations: &'a [Poses],
    wheel: Wheel,
}

impl<'a> SpunWheel<'a> {
    fn observe(stations: &'a [Poses], wheel: Wheel, lateral: Lateral) -> Result<Self, Error> {
        let poses = || stations.iter().filter_map(|station| station.get(wheel).as_ref());
        let direction = FixedDirection::fit(poses());
        let equivalent_deg = direction.equivalent_angle_deg();
        let too_small = |angle_deg| Error::new(ErrorCode::RollTooSmall).value(angle_deg).at_least(MIN_ROLL_DEG);
        if equivalent_deg < ALIKE_DEG {
            return Err(too_small(equivalent_deg));
        }
        let direction = outward(direction, lateral)?;
        let range_deg = direction.range_deg(poses());
        // A spin that was aimed at the bound is not refused for rounding.
        if range_deg < MIN_ROLL_DEG - 1e-6 || equivalent_deg < MIN_ROLL_DEG * 0.5 {
            return Err(too_small(range_deg.min(equivalent_deg)));
        }
        let (offset, centre_in_rig) = direction.fixed_point(poses(), Vector::zero());
        Ok(Self { direction, offset, centre_in_rig, range_deg, stations, wheel })
    }

    fn poses(&self) -> impl Iterator<Item = (usize, &'a Transform<Rig, Target>)> + Clone + use<'a> {
        let wheel = self.wheel;
        let numbered = self.stations.iter().enumerate();
        numbered.filter_map(move |(index, station)| Some((index, station.get(wheel).as_ref()?)))
    }

    fn compensation(&self, standoff_mm: f64) -> Result<Compensation, Error> {
        let spindle = self.direction.in_moving;
        let centre = self.offset - spindle * standoff_mm;
        let compensation = Compensation {
            spindle_in_target: spindle.to_array(),
            centre_in_target_mm: centre.to_array(),
            runout_deg: runout_deg(spindle),
            rolling_radius_mm: None,
            roll_range_deg: self.range_deg,
        };
        compensation.check().map(|()| compensation)
    }
}

/// The direction with the sign that points outward; refused when it lies too far from across the car.
fn outward(direction: FixedDirection<Target>, lateral: Lateral) -> Result<FixedDirection<Target>, Error> {
    let (Lateral::Sure(across) | Lateral::Rough(across)) = lateral;
    let direction = if direction.in_rig.dot(across) < 0.0 { direction.reversed() } else { direction };
    let skew_deg = atan2_deg(direction.in_rig.cross(across).norm(), direction.in_rig.dot(across));
    if matches!(lateral, Lateral::Sure(_)) && skew_deg > MAX_SPINDLE_SKEW_DEG {
        return Err(Error::new(ErrorCode::SpindleNotLateral).value(skew_deg).at_most(MAX_SPINDLE_SKEW_DEG));
    }
    Ok(direction)
}

/// Writes the roll angle of each station, forward positive, into stations sorted by travel; returns its range, degrees.
fn unwrap_roll(stations: &mut [RolledStation<'_>], outward: Vector<Rig>, heading: Vector<Rig>, side: f64) -> f64 {
    let reference = stations[0].square[0].square_to(outward).unit();
    let quarter = outward.cross(reference);
    let (mut previous, mut turned, mut previous_mm) = (0.0, 0.0, stations[0].origin.dot(heading));
    let (mut least, mut most): (f64, f64) = (0.0, 0.0);
    for station in stations {
        let [b, c] = station.square;
        // The angle that best turns (reference, quarter) into both axes at once.
        let angle = side * libm::atan2(b.dot(quarter) - c.dot(reference), b.dot(reference) + c.dot(quarter));
        let travel_mm = station.origin.dot(heading);
        let step = likely_step(angle - previous, travel_mm - previous_mm);
        (previous, previous_mm) = (angle, travel_mm);
        turned += step;
        station.roll_rad = turned;
        least = least.min(turned);
        most = most.max(turned);
    }
    deg_from_rad(most - least)
}

/// The roll angle of one step, radians, from its value but for whole turns and the travel forward that went with it: of the
/// neighbouring turns the one whose radius is most like a wheel's. Half a turn looks the same either way: there forward is taken.
fn likely_step(angle_rad: f64, travel_mm: f64) -> f64 {
    /// Below it the least turn is taken: the target's own circle blurs short travel.
    const SHORT_TRAVEL_MM: f64 = 200.0;
    const TYPICAL_RADIUS_MM: f64 = 310.0;
    let turn = 2.0 * core::f64::consts::PI;
    let least = angle_rad - turn * libm::round(angle_rad / turn);
    if deg_from_rad(least) < -AMBIGUOUS_STEP_DEG {
        return least + turn;
    }
    if travel_mm < SHORT_TRAVEL_MM {
        return least;
    }
    let unlikeness = |step: f64| libm::log(travel_mm / step.abs().max(f64::MIN_POSITIVE) / TYPICAL_RADIUS_MM).abs();
    [least, least + turn].into_iter().min_by(|a, b| unlikeness(*a).total_cmp(&unlikeness(*b))).unwrap_or(least)
}

/// Takes the means over the stations out, so that c₀ drops out of the fit.
fn centre(stations: &mut [RolledStation<'_>]) {
    #[expect(clippy::cast_precision_loss, reason = "the number of stations is far below 2^52")]
    let share = 1.0 / stations.len() as f64;
    let mean_roll = stations.iter().map(|s| s.roll_rad).sum::<f64>() * share;
    let mean_origin = stations.iter().map(|s| s.origin).sum::<Vector<Rig>>() * share;
    let mean_square = [0, 1].map(|i| stations.iter().map(|s| s.square[i]).sum::<Vector<Rig>>() * share);
    for station in stations {
        station.roll_rad -= mean_roll;
        station.origin = station.origin - mean_origin;
        station.square = [station.square[0] - mean_square[0], station.square[1] - mean_square[1]];
    }
}

/// Adds one vector equation, columns · unknowns = observed, to the normal equations.
fn accumulate<const N: usize>(
    normal: &mut nalgebra::SMatrix<f64, N, N>,
    right: &mut nalgebra::SVector<f64, N>,
    columns: &[Vector<Rig>; N],
    observed: Vector<Rig>,
) {
    for i in 0..N {
        right[i] += columns[i].dot(observed);
        // The lower triangle is all that Cholesky reads.
        for j in 0..=i {
            normal[(i, j)] += columns[i].dot(columns[j]);
        }
    }
}

/// Solves the normal equations by Cholesky; None when a column is a mix of those before it.
fn solve<const N: usize>(
    normal: nalgebra::SMatrix<f64, N, N>,
    right: nalgebra::SVector<f64, N>,
) -> Option<nalgebra::SVector<f64, N>> {
    let cholesky = normal.cholesky()?;
    let factor = cholesky.l_dirty();
    let sound = (0..N).all(|i| factor[(i, i)] * factor[(i, i)] > MIN_PIVOT * normal[(i, i)]);
    sound.then(|| cholesky.solve(&right))
}
