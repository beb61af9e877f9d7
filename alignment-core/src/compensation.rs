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
pub(crate) use crate::spindle::MAX_SPINDLE_SKEW_DEG;
use crate::spindle::{LEAST_SLIP_MM, Lateral, RolledWheel, SpunWheel, runout_deg};
pub use crate::spindle::{MIN_ROLL_DEG, Residual};
use crate::units::{self, atan2_deg, deg_from_rad, rad_from_deg};
use alloc::vec::Vec;

/// The roll below which the result carries a warning, degrees. Common practice: 20° to 45°.
pub const SHORT_ROLL_DEG: f64 = 20.0;
/// The greatest angle between an approximate forward and the level, degrees: straight up it says nothing of left and right.
const MAX_FORWARD_RISE_DEG: f64 = 60.0;
/// The yaw of a body is found from wheel centres that lie at least about so far apart, mm.
pub(crate) const LEAST_SPAN_MM: f64 = 1000.0;
/// A slip smaller than this is never looked for: rounding is no slip.
const LEAST_SLIP_DEG: f64 = 1e-4;

/// Where a wheel sits in the target clamped to it.
#[derive(Debug, Clone, Copy, PartialEq)]
#[repr(C)] // other languages hand it over where it lies
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(deny_unknown_fields))]
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
    /// From what turning showed of the wheel, and how far its target stands off.
    fn of_wheel(
        direction: &FixedDirection<Target>,
        offset: Vector<Target>,
        standoff_mm: f64,
        rolling_radius_mm: Option<f64>,
        roll_range_deg: f64,
    ) -> Result<Self, Error> {
        let spindle = direction.in_moving;
        let compensation = Self {
            spindle_in_target: spindle.to_array(),
            centre_in_target_mm: (offset - spindle * standoff_mm).to_array(),
            runout_deg: runout_deg(spindle),
            rolling_radius_mm,
            roll_range_deg,
        };
        compensation.check().map(|()| compensation)
    }

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

/// The compensation of the wheels, with what the fit left over.
#[derive(Debug, Clone, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
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
    /// Clamps that are known, and nothing left over.
    pub(crate) fn known(ByWheel { fl, fr, rl, rr }: ByWheel<Compensation>) -> Self {
        let wheels = ByWheel { fl: Some(fl), fr: Some(fr), rl: Some(rl), rr: Some(rr) };
        Self { wheels, travel_direction_in_rig: None, residuals: Vec::new(), warnings: Vec::new() }
    }

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
    Compensation::of_wheel(&roll.direction, offset, clamp_standoff_mm, Some(radius), roll.range_deg)
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
    Compensation::of_wheel(&spin.direction, spin.offset, clamp_standoff_mm, None, spin.range_deg)
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
pub(crate) fn observe_all<T>(
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
        self.finish(&rolls, warnings, travel, |wheel, roll, put| {
            let too_few = Error::new(ErrorCode::TooFewStations).value(roll.count()).at_least(3.0);
            let (radius, offset) = roll.radius_and_offset(travel, *radii.get(wheel)).ok_or(too_few)?;
            let path = |roll_rad| travel * (roll_rad * radius);
            let mut shifts = 0.0;
            roll.residuals(path, offset, &mut |station, residual: Residual| {
                shifts += residual.translation_mm * residual.translation_mm;
                put(station, residual);
            });
            let slip = self.slip_about_spindle(roll, travel, radius, shifts);
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
            return Rolling { noise, ..*self }.finish(&rolls, warnings, travel, |wheel, roll, put| {
                let path = own.get(wheel).ok_or(Error::new(ErrorCode::TooFewStations))?;
                let mut shifts = 0.0;
                roll.residuals_but_sideways(&path, up, &mut |station, residual: Residual| {
                    shifts += residual.translation_mm * residual.translation_mm;
                    put(station, residual);
                });
                // What the wheel moves sideways lies square to its heading and to up, and so is not asked.
                let slip = self.slip_about_spindle(roll, roll.heading, path.step.dot(roll.heading), shifts);
                Ok((path.step.norm(), path.offset, slip))
            });
        }
    }

    /// A target that slipped round the spindle, when the squares of what is left over, mm², are more than noise.
    fn slip_about_spindle(
        &self,
        roll: &RolledWheel,
        travel: Vector<Rig>,
        radius_mm: f64,
        squares: f64,
    ) -> Option<(usize, Slip)> {
        // What the roll angle scatters moves the wheel along its travel.
        let scatter =
            |noise: PoseNoise| units::hypot(noise.translation_mm, radius_mm * rad_from_deg(noise.rotation_deg));
        let suspect = slip::is_suspect(squares, 2.0 * roll.count() - 5.0, self.noise.map(scatter), LEAST_SLIP_MM);
        suspect.then(|| roll.slip_about_spindle(travel, radius_mm, self.up, self.noise)).flatten()
    }

    /// Puts the compensation together, wheel by wheel: `solve` gives radius, offset and slip, and notes the residuals.
    fn finish<'r>(
        &self,
        rolls: &'r ByWheel<Option<RolledWheel<'r>>>,
        mut warnings: Vec<Warning>,
        travel: Vector<Rig>,
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
            Compensation::of_wheel(&roll.direction, offset, standoff, Some(radius), roll.range_deg)
                .map(Some)
                .map_err(located)
        })?;
        Ok(ClampCompensation { wheels, travel_direction_in_rig: Some(travel.to_array()), residuals, warnings })
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
        let standoff = *clamp_standoff_mm.get(wheel);
        Compensation::of_wheel(&spin.direction, spin.offset, standoff, None, spin.range_deg).map(Some).map_err(located)
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

/// The greatest sums of squares of tilts, deg², and of shifts, mm², over the stations of a rolled wheel that ask for no explanation and are not
/// high: whatever its radius.
#[cfg(feature = "simd")]
pub(crate) fn most_left_over(count: f64, high: Residual, noise: Option<PoseNoise>) -> [f64; 2] {
    let tilt = slip::most_unsuspected(2.0 * count - 4.0, noise.map(|noise| noise.rotation_deg), LEAST_SLIP_DEG);
    let shift = slip::most_unsuspected(2.0 * count - 5.0, noise.map(|noise| noise.translation_mm), LEAST_SLIP_MM);
    let of_rms = |rms: f64| count * rms * rms;
    [tilt.min(of_rms(high.rotation_deg)), shift.min(of_rms(high.translation_mm))]
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
            // Deviations add up to nothing, so that those of one are enough.
            let (sin, cos) = both().fold((0.0, 0.0), |(sin, cos), (p, q)| {
                let q = q - to;
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

#[cfg(test)]
mod tests;
