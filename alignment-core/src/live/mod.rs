//! Live readings: what the wheels read while the car is moved, steered, lifted and half hidden.
//!
//! A [`Tracker`] is made once, from a session that was measured. From then on it takes poses as the cameras hand them over, all
//! four targets at a time or a few, and keeps the readings valid:
//!
//! - **The body moves.** Where it is now is found again from the targets that are fixed in it, so that a car that rolls on its plates, sinks
//!   or is tilted on a jack reads as it stood. Those are the targets of the wheels that nobody adjusts: the rear ones
//!   with the wheels held, and of the front ones what steering leaves alone, the line of their steering axis. Say what
//!   is being adjusted ([`Tracker::adjust`]): its target is then measured against the others, and no longer taken for fixed.
//! - **The front wheels are turned.** They are referred back to straight ahead: each is turned back about its own measured steering axis, by as much as
//!   the steering turned it. How both turn together is known from the sweep. What it does not explain is toe, and is shared by both alike, for with
//!   the steering free nothing tells one tie rod from the other. With the steering wheel held ([`Steering::Held`]) they are read as they stand.
//! - **The car is lifted.** Wheels that hang change their camber and toe. [`Tracker::lift`] holds the readings of those that will hang,
//!   [`Tracker::lifted`] lets them go on from the values held, and [`Tracker::lowered`] reads them as they stand again.
//! - **Targets are hidden.** A wheel that is not seen keeps its place in the body. Each reading says whether it is held, stale or weak ([`Flags`]).
//! - **A clamp is knocked.** A target that leaves its place in the body while nobody adjusts that wheel, or faster than anybody can, is not
//!   followed: a single bad pose changes nothing. From the third on its compensation is void, its readings are absent, and it is
//!   named ([`LiveReadings::knocked`]) until it is compensated anew ([`Tracker::compensate`]). Sightings more than 0.2 s apart are not compared
//!   for speed.
//!
//! Readings can be smoothed: y ← y + (1 − exp(−Δt/τ))·(x − y) with the time constant τ, [`LiveSettings::smoothing_s`]. The mean age of what goes into
//! a smoothed reading is stated with it ([`LiveReadings::lag_s`]): for a car at rest τ, once as much time has gone by.
//!
//! Everything refers to the body as it stood straight ahead in the session. Nothing is summed up from frame to frame, so that nothing can drift.
//! A frame allocates nothing.
//!
//! # Cautions
//! Lifting, rolling and steering a car can hurt, and so can a car that is driven on a wrong reading. Hold the wheels with the
//! brake while live readings are taken: a target that rolls with its wheel is not fixed in the body. The vehicle maker's procedure, local codes and licensed practice
//! come first. Measure the car again when the work is done.
//!
//! ```
//! use alignment_core::live::{LiveSettings, Tracker};
//! use alignment_core::{ByWheel, simulate::VirtualVehicle};
//!
//! let session = VirtualVehicle::default().session();
//! let mut tracker = Tracker::new(&session, LiveSettings::default())?;
//! let poses = ByWheel::from_fn(|wheel| session.ahead.get(wheel).frames().first().copied());
//! let now = tracker.frame(0.0, &poses)?;
//! assert!((now.alignment.wheels.fl.camber_deg.unwrap() + 0.5).abs() < 1e-9);
//! assert!(!now.flags.of("wheels.fl.camber_deg")?.held);
//! # Ok::<(), alignment_core::Error>(())
//! ```

mod body;
mod steer;
mod tracked;

use crate::alignment::{self, Alignment};
use crate::assembly::Geometry;
use crate::compensation::Compensation;
use crate::error::{Error, ErrorCode, Stage};
use crate::frame::{Rig, Target, Transform, Vector};
use crate::layout::{ByAxle, BySide, ByWheel, Side, Wheel};
use crate::paths;
use crate::pose::Pose;
use crate::session::{self, Cameras, LEVER_MM, PoseNoise, Session};
use crate::staged;
use crate::steering::SteeringAxisReadings;
use crate::turns::LockReadings;
use crate::units::{deg_from_rad, rad_from_deg};
use crate::vehicle::{AxleReadings, ChassisReadings};
use crate::wheel::{self, WheelReadings};
use body::Found;
use steer::Linkage;
use tracked::{KNOCKED_SIGHTINGS, Stance, Tracked, Turn, about, still};

/// Whether the front wheels may be steered while they are read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(rename_all = "snake_case"))]
pub enum Steering {
    /// They may: front wheels are referred back to straight ahead, and what the steering does not explain is shared by both.
    #[default]
    Free,
    /// The steering wheel is held: front wheels are read as they stand, so that each tie rod shows at its own wheel.
    Held,
}

/// How a tracker works.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(deny_unknown_fields, default))]
pub struct LiveSettings {
    /// Time constant of the smoothing, s; 0 for none.
    pub smoothing_s: f64,
    /// A reading is called held when what it rests on was seen longer ago than this, s.
    pub held_after_s: f64,
    /// And stale when longer ago than this, s.
    pub stale_after_s: f64,
    /// Whether the front wheels may be steered.
    pub steering: Steering,
    /// A target is no longer where it belongs when it is turned by more than this, degrees.
    pub knocked_deg: f64,
    /// Or shifted by more than this, mm.
    pub knocked_mm: f64,
}

impl Default for LiveSettings {
    /// No smoothing; held after 0.1 s, stale after 1 s; steering free; knocked at 0.1° or 1 mm, twenty times the noise of a pose as rigs have it.
    fn default() -> Self {
        Self {
            smoothing_s: 0.0,
            held_after_s: 0.1,
            stale_after_s: 1.0,
            steering: Steering::Free,
            knocked_deg: 0.1,
            knocked_mm: 1.0,
        }
    }
}

/// The longest time that a setting may name, s.
pub const MAX_TIME_S: f64 = 3600.0;
/// The range in which a turn may be called a knock, degrees.
pub const KNOCKED_RANGE_DEG: [f64; 2] = [1e-3, 10.0];
/// The range in which a shift may be called a knock, mm.
pub const KNOCKED_RANGE_MM: [f64; 2] = [1e-2, 100.0];

/// What is to be known of a reading before it is used.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(deny_unknown_fields))]
pub struct Flags {
    /// It rests on something that was not seen for longer than [`LiveSettings::held_after_s`], or whose reading is held while it is lifted.
    pub held: bool,
    /// It rests on something that was not seen for longer than [`LiveSettings::stale_after_s`].
    pub stale: bool,
    /// It rests on less than it should: a body found from one target that no other confirms, or from none; wheels turned beyond the sweep, between
    /// stations far apart or without one; the steering not held though it was said to be.
    pub weak: bool,
}

/// Before it is seen.
const UNSEEN: Flags = Flags { held: true, stale: true, weak: false };

impl core::ops::BitOr for Flags {
    type Output = Self;
    fn bitor(self, other: Self) -> Self {
        Self { held: self.held | other.held, stale: self.stale | other.stale, weak: self.weak | other.weak }
    }
}

/// Flags by what a reading rests on; [`of`](Self::of) finds those of a path.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(deny_unknown_fields))]
pub struct FlagsByBasis {
    /// Of what rests on one wheel: its camber.
    pub wheels: ByWheel<Flags>,
    /// Of what rests on the wheels of one axle: total toe and cross camber.
    pub axles: ByAxle<Flags>,
    /// Of what rests on all four wheels: everything else.
    pub vehicle: Flags,
}

impl FlagsByBasis {
    /// What is to be known of a reading, by its path.
    ///
    /// # Errors
    /// [`ErrorCode::UnknownReading`].
    ///
    /// ```
    /// # use alignment_core::live::{LiveSettings, Tracker};
    /// # use alignment_core::simulate::VirtualVehicle;
    /// let tracker = Tracker::new(&VirtualVehicle::default().session(), LiveSettings::default())?;
    /// assert!(tracker.readings().flags.of("chassis.thrust_angle_deg")?.stale); // no frame yet
    /// # Ok::<(), alignment_core::Error>(())
    /// ```
    pub fn of(&self, path: &str) -> Result<Flags, Error> {
        let path = paths::READINGS[paths::position(path)?];
        let wheel = Wheel::ALL.into_iter().find(|wheel| path.split('.').nth(1) == Some(wheel.name()));
        let last = path.rsplit('.').next().unwrap_or_default();
        Ok(match (wheel, last) {
            (Some(wheel), "camber_deg") => *self.wheels.get(wheel),
            // Of the clamp, not of the moment.
            (Some(_), "runout_deg" | "rolling_radius_mm") => Flags::default(),
            (None, "total_toe_deg" | "cross_camber_deg") if path.starts_with("axles.front") => self.axles.front,
            (None, "total_toe_deg" | "cross_camber_deg") => self.axles.rear,
            _ => self.vehicle,
        })
    }
}

/// What the wheels read at one moment.
#[derive(Debug, Clone, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
pub struct LiveReadings {
    /// When, s, by the clock of the frames; −∞ before the first.
    pub time_s: f64,
    /// The readings straight ahead, and those of the steering axes as the knuckles carry them; toe-out on turns is not read live. Absent where a
    /// clamp was knocked.
    pub alignment: Alignment,
    /// What is to be known of them before they are used.
    pub flags: FlagsByBasis,
    /// How old what each wheel's readings rest on is in the mean, s: the lag of the smoothing, and the time since the wheel was seen; ∞ before.
    pub lag_s: ByWheel<f64>,
    /// How far each front wheel is turned from straight ahead, left positive, degrees. Absent without a measured steering axis.
    pub steer_deg: BySide<Option<f64>>,
    /// Whose clamp was knocked: its compensation is void.
    pub knocked: ByWheel<bool>,
    /// Where the vehicle is now: the axes of its frame seen in the rig (in the columns) and its origin.
    pub rig_from_vehicle: Pose,
}

/// Front wheels that are held, or whose axes are not known, have been steered when they turned by more than this, degrees.
const STEERED_DEG: f64 = 1.0;
/// A front wheel stands still when it turned by no more than this between two sightings, degrees.
const STANDING_DEG: f64 = 0.05;

/// Follows a car, frame by frame.
#[derive(Debug, Clone)]
pub struct Tracker {
    settings: LiveSettings,
    cameras: Cameras,
    lever_mm: f64,
    wheels: ByWheel<Tracked>,
    /// How both front wheels turn, if the sweep showed it.
    linkage: Option<Linkage>,
    /// From the rig as it is now to the rig as the body stood in it straight ahead.
    then_from_now: Transform<Rig, Rig>,
    body_s: f64,
    geometry: Geometry,
    readings: LiveReadings,
}

type Seen = ByWheel<Option<Transform<Rig, Target>>>;

impl Tracker {
    /// A tracker of the car of a session: every wheel was rolled, or spun, and seen straight ahead.
    ///
    /// Without a sweep, front wheels that are turned cannot be referred back, and do not help to find the body; neither do they when they were free
    /// to roll in it.
    ///
    /// # Errors
    /// Those of [`measure`](crate::measure); [`ErrorCode::WheelNotSeen`] for a wheel that was not seen straight ahead, or not rolled;
    /// [`ErrorCode::NotFinite`] and [`ErrorCode::AngleOutOfRange`], [`ErrorCode::LengthOutOfRange`] or [`ErrorCode::OutOfRange`] of a setting.
    ///
    /// ```
    /// # use alignment_core::live::{LiveSettings, Tracker};
    /// # use alignment_core::simulate::VirtualVehicle;
    /// let settings = LiveSettings { smoothing_s: 0.2, ..LiveSettings::default() };
    /// let tracker = Tracker::new(&VirtualVehicle::default().session(), settings)?;
    /// # Ok::<(), alignment_core::Error>(())
    /// ```
    pub fn new(session: &Session, settings: LiveSettings) -> Result<Self, Error> {
        for (name, value) in [
            ("smoothing_s", settings.smoothing_s),
            ("held_after_s", settings.held_after_s),
            ("stale_after_s", settings.stale_after_s),
        ] {
            session::check_range(ErrorCode::OutOfRange, name, value, [0.0, MAX_TIME_S])?;
        }
        session::check_range(ErrorCode::AngleOutOfRange, "knocked_deg", settings.knocked_deg, KNOCKED_RANGE_DEG)?;
        session::check_range(ErrorCode::LengthOutOfRange, "knocked_mm", settings.knocked_mm, KNOCKED_RANGE_MM)?;
        let (measurement, trace, _) = alignment::trace(session)?;
        let geometry = trace.geometry.clone();
        let unseen = |wheel| Error::new(ErrorCode::WheelNotSeen).stage(Stage::Ahead).wheel(wheel);
        let locked = session.sweep_wheels_locked == Some(true);
        let near = PoseNoise { rotation_deg: settings.knocked_deg, translation_mm: settings.knocked_mm };
        let wheels = ByWheel::try_from_fn(|wheel| {
            let clamp = geometry.compensation.get(wheel).ok_or(unseen(wheel))?;
            let ahead = trace.ahead.get(wheel).ok_or(unseen(wheel))?;
            let front = wheel.is_front();
            let line = if front { *geometry.axes.get(wheel.side()) } else { None };
            Ok(Tracked::new(front, locked, clamp, ahead, line, near))
        })?;
        let stations = staged::swept(session, &trace)?;
        let noise = session.noise_per_axis().filter(|noise| noise.rotation_deg > 0.0 && noise.translation_mm > 0.0);
        let mut tracker = Self {
            settings,
            cameras: Cameras::of(session)?,
            lever_mm: noise.map_or(LEVER_MM, |noise| noise.translation_mm / rad_from_deg(noise.rotation_deg)),
            linkage: steer::linkage(&wheels, &stations),
            wheels,
            then_from_now: still(),
            body_s: f64::NEG_INFINITY,
            geometry,
            readings: LiveReadings {
                time_s: f64::NEG_INFINITY,
                alignment: measurement.alignment,
                flags: FlagsByBasis {
                    wheels: ByWheel::from_fn(|_| UNSEEN),
                    axles: ByAxle { front: UNSEEN, rear: UNSEEN },
                    vehicle: UNSEEN,
                },
                lag_s: ByWheel::from_fn(|_| f64::INFINITY),
                steer_deg: BySide::default(),
                knocked: ByWheel::default(),
                rig_from_vehicle: Pose { rotation: [[0.0; 3]; 3], translation_mm: [0.0; 3] },
            },
        };
        // Of the steered stations the live tree has the axes alone.
        tracker.geometry.other_wheel_deg = BySide::default();
        tracker.geometry.lock_left = LockReadings::default();
        tracker.geometry.lock_right = LockReadings::default();
        if let Some((_, stand)) = tracker.geometry.stand() {
            tracker.readings.rig_from_vehicle = stand.vehicle_from_rig.inverse().into();
        }
        tracker.readings.steer_deg = BySide::from_fn(|side| tracker.wheels.get(side.front_wheel()).axis.map(|_| 0.0));
        Ok(tracker)
    }
}

impl Tracker {
    /// Takes what the cameras see at one moment: the pose of each target that is seen, in the frame in which its camera reported in the session.
    ///
    /// Cameras that are out of step hand over their targets as they come, each with its own time; times may repeat, but not go back.
    /// Nothing is allocated. What is refused changes nothing.
    ///
    /// # Errors
    /// [`ErrorCode::NotFinite`] and [`ErrorCode::OutOfRange`] of a time that is none or goes back; those of a [`Pose`], with its wheel.
    ///
    /// ```
    /// # use alignment_core::live::{LiveSettings, Steering, Tracker};
    /// # use alignment_core::{ByWheel, compensation, simulate::VirtualVehicle, Wheel};
    /// # let session = VirtualVehicle::default().session();
    /// # let mut tracker = Tracker::new(&session, LiveSettings::default())?;
    /// # let poses = ByWheel::from_fn(|wheel| session.ahead.get(wheel).frames().first().copied());
    /// let seen = ByWheel { rl: None, ..poses }; // its camera is blocked
    /// let now = tracker.frame(0.0, &seen)?;
    /// assert!((now.alignment.wheels.fr.camber_deg.unwrap() + 0.5).abs() < 1e-9);
    /// assert!(now.flags.of("wheels.rl.camber_deg")?.stale);
    /// # Ok::<(), alignment_core::Error>(())
    /// ```
    pub fn frame(&mut self, time_s: f64, poses: &ByWheel<Option<Pose>>) -> Result<&LiveReadings, Error> {
        if !time_s.is_finite() {
            return Err(Error::new(ErrorCode::NotFinite).input("time_s"));
        }
        if time_s < self.readings.time_s {
            let back = Error::new(ErrorCode::OutOfRange).input("time_s").value(time_s);
            return Err(back.at_least(self.readings.time_s));
        }
        let seen = self.cameras.look(poses)?;
        self.readings.time_s = time_s;
        let fixed = self.fixed(&seen);
        let found = self.find_body(&seen, fixed, time_s);
        let contradiction = matches!(found, Found::Contradiction);
        let (mut weak, mut confirming, mut by_rear) = (true, None, false);
        let targets = if let Found::Body(body) = found {
            (self.then_from_now, self.body_s) = (body.then_from_now, time_s);
            weak = body.confirmed < 2 || body.rests_elsewhere;
            confirming = Some(body.confirming);
            by_rear = body.by_rear;
            body.targets
        } else {
            body::in_body(&self.then_from_now, &seen)
        };
        let up = self.geometry.up;
        let (held, smoothing_s, body_s) = (self.is_held(), self.settings.smoothing_s, self.body_s);
        // Most targets were last seen together.
        let mut last = (f64::NAN, 1.0);
        let mut share_after = |since_s: f64| {
            if smoothing_s > 0.0 && since_s.to_bits() != last.0.to_bits() {
                last = (since_s, 1.0 - libm::exp(-since_s / smoothing_s));
            }
            last.1
        };
        for wheel in Wheel::ALL {
            let tracked = self.wheels.get_mut(wheel);
            let Some(target) = targets.get(wheel).filter(|_| !tracked.knocked) else { continue };
            let belongs = match (*fixed.get(wheel), confirming) {
                (true, Some(confirming)) => *confirming.get(wheel),
                // It does not help to find the body, so it is not doubted when the body is not found.
                (true, None) if contradiction || !tracked.is_there(up, &target) => continue,
                (true, None) => true,
                (false, _) if tracked.is_fixed() => tracked.is_there(up, &target),
                (false, None) if !tracked.is_possible(up, held, &target, time_s) => continue,
                (false, _) => tracked.is_possible(up, held, &target, time_s),
            };
            if belongs {
                (tracked.doubted, tracked.weak) = (0, weak);
                tracked.take(&target, time_s, body_s, share_after(time_s - tracked.seen_s), held);
                if by_rear && tracked.is_fixed() {
                    tracked.show_axis(&target);
                }
            } else {
                tracked.doubted += 1;
                tracked.knocked = tracked.doubted >= KNOCKED_SIGHTINGS;
            }
        }
        self.tell_ties_from_steering();
        self.read()?;
        Ok(&self.readings)
    }

    /// The readings of the last frame; before the first, those of the session.
    ///
    /// ```
    /// # use alignment_core::live::{LiveSettings, Steering, Tracker};
    /// # use alignment_core::{ByWheel, compensation, simulate::VirtualVehicle, Wheel};
    /// # let session = VirtualVehicle::default().session();
    /// # let mut tracker = Tracker::new(&session, LiveSettings::default())?;
    /// # let poses = ByWheel::from_fn(|wheel| session.ahead.get(wheel).frames().first().copied());
    /// assert!(tracker.readings().alignment.steering.left.caster_deg.is_some());
    /// # Ok::<(), alignment_core::Error>(())
    /// ```
    #[must_use]
    pub fn readings(&self) -> &LiveReadings {
        &self.readings
    }

    /// Says which wheels are being adjusted from now on, and which are not: the target of one that is adjusted is not fixed in the body.
    ///
    /// A wheel whose adjustment ends belongs where it is then, and helps to find the body again; one that is not seen then, from when it is seen.
    ///
    /// ```
    /// # use alignment_core::live::{LiveSettings, Steering, Tracker};
    /// # use alignment_core::{ByWheel, compensation, simulate::VirtualVehicle, Wheel};
    /// # let session = VirtualVehicle::default().session();
    /// # let mut tracker = Tracker::new(&session, LiveSettings::default())?;
    /// # let poses = ByWheel::from_fn(|wheel| session.ahead.get(wheel).frames().first().copied());
    /// tracker.adjust(ByWheel { fl: true, ..ByWheel::default() });
    /// tracker.frame(0.0, &poses)?;
    /// tracker.adjust(ByWheel::default()); // done
    /// # Ok::<(), alignment_core::Error>(())
    /// ```
    pub fn adjust(&mut self, wheels: ByWheel<bool>) {
        let held = self.is_held();
        let steered = held && self.steering_is_weak();
        let (time_s, held_after_s) = (self.readings.time_s, self.settings.held_after_s);
        for wheel in Wheel::ALL {
            let (tracked, adjusted) = (self.wheels.get_mut(wheel), *wheels.get(wheel));
            if adjusted {
                (tracked.adjusted, tracked.ending) = (true, false);
            } else if tracked.adjusted {
                let seen = time_s - tracked.seen_s <= held_after_s && !tracked.is_being_lifted() && !tracked.is_void();
                if seen {
                    tracked.left_alone(held, steered);
                } else {
                    tracked.ending = true;
                    tracked.ahead_weak |= wheel.is_front() && steered;
                }
            }
        }
    }

    /// Says whether the front wheels may be steered from now on.
    ///
    /// ```
    /// # use alignment_core::live::{LiveSettings, Steering, Tracker};
    /// # use alignment_core::{ByWheel, compensation, simulate::VirtualVehicle, Wheel};
    /// # let session = VirtualVehicle::default().session();
    /// # let mut tracker = Tracker::new(&session, LiveSettings::default())?;
    /// # let poses = ByWheel::from_fn(|wheel| session.ahead.get(wheel).frames().first().copied());
    /// tracker.steer(Steering::Held);
    /// assert!(!tracker.frame(0.0, &poses)?.flags.of("wheels.fl.toe_deg")?.weak);
    /// # Ok::<(), alignment_core::Error>(())
    /// ```
    pub fn steer(&mut self, steering: Steering) {
        self.settings.steering = steering;
    }

    /// Says which wheels are about to be lifted: their readings are held until [`lifted`](Self::lifted), of a wheel that is not seen then until it is, or
    /// until [`lowered`](Self::lowered).
    ///
    /// ```
    /// # use alignment_core::live::{LiveSettings, Steering, Tracker};
    /// # use alignment_core::{ByWheel, compensation, simulate::VirtualVehicle, Wheel};
    /// # let session = VirtualVehicle::default().session();
    /// # let mut tracker = Tracker::new(&session, LiveSettings::default())?;
    /// # let poses = ByWheel::from_fn(|wheel| session.ahead.get(wheel).frames().first().copied());
    /// let front = ByWheel { fl: true, fr: true, ..ByWheel::default() };
    /// tracker.frame(0.0, &poses)?;
    /// tracker.lift(front);
    /// assert!(tracker.frame(0.1, &poses)?.flags.of("wheels.fl.camber_deg")?.held);
    /// # Ok::<(), alignment_core::Error>(())
    /// ```
    pub fn lift(&mut self, wheels: ByWheel<bool>) {
        for wheel in Wheel::ALL {
            if *wheels.get(wheel) {
                self.wheels.get_mut(wheel).stance = Stance::BeingLifted;
            }
        }
    }

    /// Says that the wheels which were to be lifted hang still: their readings go on from the values held.
    ///
    /// What is shown goes on from the smoothed pose; without smoothing the noise of one pose stays in it. A wheel that is not seen
    /// goes on from when it is seen again.
    ///
    /// ```
    /// # use alignment_core::live::{LiveSettings, Steering, Tracker};
    /// # use alignment_core::{ByWheel, compensation, simulate::VirtualVehicle, Wheel};
    /// # let session = VirtualVehicle::default().session();
    /// # let mut tracker = Tracker::new(&session, LiveSettings::default())?;
    /// # let poses = ByWheel::from_fn(|wheel| session.ahead.get(wheel).frames().first().copied());
    /// tracker.lift(ByWheel { fl: true, fr: true, rl: true, rr: true });
    /// tracker.frame(0.0, &poses)?; // as often as it takes
    /// tracker.lifted();
    /// assert!(!tracker.frame(0.1, &poses)?.flags.of("wheels.fl.camber_deg")?.held);
    /// # Ok::<(), alignment_core::Error>(())
    /// ```
    pub fn lifted(&mut self) {
        let (body_s, time_s) = (self.body_s, self.readings.time_s);
        for wheel in Wheel::ALL {
            let held_after_s = self.settings.held_after_s;
            let tracked = self.wheels.get_mut(wheel);
            if tracked.stance == Stance::BeingLifted && !tracked.anew {
                tracked.stance = Stance::Lifting;
                if time_s - tracked.seen_s.min(body_s) <= held_after_s {
                    tracked.go_on();
                }
            }
        }
    }

    /// Says that all wheels stand again: they are read as they stand, from when they are seen.
    ///
    /// Wheels that hung may rest otherwise than before: they are taken for fixed within ten times the bounds of a knock until an adjustment of
    /// them ends, and all is weak while a rear one is beyond the bounds themselves. Roll or settle the car, and measure anew.
    ///
    /// ```
    /// # use alignment_core::live::{LiveSettings, Steering, Tracker};
    /// # use alignment_core::{ByWheel, compensation, simulate::VirtualVehicle, Wheel};
    /// # let session = VirtualVehicle::default().session();
    /// # let mut tracker = Tracker::new(&session, LiveSettings::default())?;
    /// # let poses = ByWheel::from_fn(|wheel| session.ahead.get(wheel).frames().first().copied());
    /// tracker.lift(ByWheel { fl: true, fr: true, rl: true, rr: true });
    /// tracker.lifted();
    /// tracker.lowered();
    /// assert!(!tracker.frame(0.0, &poses)?.flags.of("wheels.fl.camber_deg")?.stale);
    /// # Ok::<(), alignment_core::Error>(())
    /// ```
    pub fn lowered(&mut self) {
        for wheel in Wheel::ALL {
            let tracked = self.wheels.get_mut(wheel);
            if tracked.stance != Stance::Standing {
                tracked.stance = Stance::Standing;
                tracked.shown_from_seen = still();
                tracked.seen_reference = tracked.reference;
                // What was seen of it hanging is not how it stands.
                tracked.seen_s = f64::NEG_INFINITY;
                tracked.doubted = 0;
                tracked.hung = true;
            }
        }
    }

    /// Takes a clamp that was knocked, or taken off and put on, with its own compensation: the wheel is read by it from when it is seen again, and
    /// belongs where it is seen then. Compensated while it is being lifted it stays void until it is lowered.
    ///
    /// # Errors
    /// [`ErrorCode::NotFinite`], [`ErrorCode::NotUnitLength`] and [`ErrorCode::LengthOutOfRange`] of a compensation that is none.
    ///
    /// ```
    /// # use alignment_core::live::{LiveSettings, Steering, Tracker};
    /// # use alignment_core::{ByWheel, compensation, simulate::VirtualVehicle, Wheel};
    /// # let session = VirtualVehicle::default().session();
    /// # let mut tracker = Tracker::new(&session, LiveSettings::default())?;
    /// # let poses = ByWheel::from_fn(|wheel| session.ahead.get(wheel).frames().first().copied());
    /// let up = session.up.unwrap();
    /// let clamps = compensation::from_rolling(
    ///     &session.rolling, up, &session.clamp_standoff_mm, &Default::default(), Default::default(),
    /// )?;
    /// tracker.compensate(Wheel::Fl, &clamps.all_wheels()?.fl)?;
    /// assert_eq!(tracker.frame(0.0, &poses)?.knocked, ByWheel::default());
    /// # Ok::<(), alignment_core::Error>(())
    /// ```
    pub fn compensate(&mut self, wheel: Wheel, compensation: &Compensation) -> Result<(), Error> {
        compensation.check().map_err(|error| error.wheel(wheel))?;
        *self.geometry.compensation.get_mut(wheel) = Some(*compensation);
        let tracked = self.wheels.get_mut(wheel);
        tracked.clamp = *compensation;
        (tracked.anew, tracked.knocked, tracked.doubted) = (true, false, 0);
        Ok(())
    }

    fn is_held(&self) -> bool {
        self.settings.steering == Steering::Held
    }

    /// The readings of what is shown.
    fn read(&mut self) -> Result<(), Error> {
        let held = self.is_held();
        for wheel in Wheel::ALL {
            let tracked = self.wheels.get(wheel);
            let now = wheel::locate(&tracked.clamp, &tracked.shown);
            let line = tracked.line();
            let steered_rad = tracked.steered_rad(held);
            let ahead = match line {
                Some(line) if steered_rad != 0.0 => Turn::of(&line, -steered_rad).wheel(now),
                _ => now,
            };
            if tracked.front {
                *self.geometry.axes.get_mut(wheel.side()) = line;
                let steered = about(self.geometry.up, ahead.spindle, now.spindle);
                *self.readings.steer_deg.get_mut(wheel.side()) =
                    line.filter(|_| !tracked.anew).map(|_| deg_from_rad(steered));
            }
            // By its new clamp it is not known before it is seen: for the others it stays where it was.
            if !tracked.anew {
                *self.geometry.wheels.get_mut(wheel) = Some(ahead);
            }
            *self.readings.lag_s.get_mut(wheel) = self.readings.time_s - tracked.mean_s;
            *self.readings.knocked.get_mut(wheel) = tracked.knocked;
        }
        self.readings.flags = self.flags(self.steering_is_weak());
        let (compensation, stand) = self.geometry.stand().ok_or(Error::new(ErrorCode::WheelNotSeen))?;
        self.geometry.fill(&compensation, &stand, &mut self.readings.alignment)?;
        for wheel in Wheel::ALL {
            if self.wheels.get(wheel).is_void() {
                void(&mut self.readings.alignment, wheel);
            }
        }
        let now_from_then = self.then_from_now.inverse();
        self.readings.rig_from_vehicle = now_from_then.then_from(&stand.vehicle_from_rig.inverse()).into();
        Ok(())
    }

    /// Tells what the tie rods did from what the steering does, where both front wheels show it at the same time, or stand still meanwhile.
    fn tell_ties_from_steering(&mut self) {
        let (left, right) = (&self.wheels.fl, &self.wheels.fr);
        let Some(linkage) = self.linkage.filter(|_| !left.is_void() && !right.is_void()) else { return };
        let apart_s = (left.seen_s - right.seen_s).abs();
        let stand = rad_from_deg(STANDING_DEG);
        let still = apart_s <= self.settings.held_after_s && left.step_rad.max(right.step_rad) <= stand;
        if apart_s == 0.0 || still {
            let turned = [left.turned_rad, right.turned_rad];
            let steered = linkage.steer(turned);
            (self.wheels.fl.tie_rad, self.wheels.fr.tie_rad) = (steered[0] - turned[0], steered[1] - turned[1]);
        }
    }

    /// Whether the front wheels cannot be referred back as they should.
    fn steering_is_weak(&self) -> bool {
        let [left, right] = [&self.wheels.fl, &self.wheels.fr];
        if self.is_held() {
            let [of_left, of_right] = [left, right].map(|tracked| deg_from_rad(self.steer_rad(tracked)));
            // One that was left alone while it was steered counts from there, and shows no more of that.
            return match (left.ahead_weak, right.ahead_weak) {
                (false, false) => of_left.abs().min(of_right.abs()) > STEERED_DEG && of_left * of_right > 0.0,
                (true, _) => of_right.abs() > STEERED_DEG,
                (_, true) => of_left.abs() > STEERED_DEG,
            };
        }
        match self.linkage {
            // One wheel alone: all of its turn is steering.
            Some(_) if left.is_void() || right.is_void() => true,
            Some(linkage) => linkage.is_weak_at(left.steered_rad(false)),
            None => [left, right].into_iter().any(|tracked| deg_from_rad(self.steer_rad(tracked)).abs() > STEERED_DEG),
        }
    }

    /// How far a front wheel is turned from where it was left alone, by whatever, left positive, radians.
    fn steer_rad(&self, tracked: &Tracked) -> f64 {
        let spindle = tracked.shown.direction(Vector::new(tracked.clamp.spindle_in_target));
        about(self.geometry.up, tracked.spindle_ahead, spindle)
    }

    fn flags(&self, steering_is_weak: bool) -> FlagsByBasis {
        let LiveSettings { held_after_s, stale_after_s, .. } = self.settings;
        let own = |wheel: Wheel| {
            let tracked = self.wheels.get(wheel);
            let age_s = self.readings.time_s - tracked.seen_s.min(tracked.body_s);
            Flags {
                held: age_s > held_after_s || tracked.is_being_lifted(),
                stale: age_s > stale_after_s,
                weak: tracked.weak || tracked.ahead_weak || tracked.front && steering_is_weak,
            }
        };
        let ByWheel { fl, fr, rl, rr } = ByWheel::from_fn(own);
        let (front, rear) = (fl | fr, rl | rr);
        // Front wheels are referred back together.
        let [fl, fr] = if self.is_held() { [fl, fr] } else { [front; 2] };
        FlagsByBasis { wheels: ByWheel { fl, fr, rl, rr }, axles: ByAxle { front, rear }, vehicle: front | rear }
    }
}

impl Cameras {
    /// The targets in the rig.
    fn look(&self, poses: &ByWheel<Option<Pose>>) -> Result<Seen, Error> {
        ByWheel::try_from_fn(|wheel| {
            let pose = poses.get(wheel).as_ref();
            pose.map(|pose| self.in_rig(wheel, pose)).transpose().map_err(|error| error.wheel(wheel))
        })
    }
}

/// Takes out what rests on a wheel whose compensation is void.
fn void(tree: &mut Alignment, wheel: Wheel) {
    let front = wheel.is_front();
    *tree.wheels.get_mut(wheel) = WheelReadings::default();
    let axle = if front { &mut tree.axles.front } else { &mut tree.axles.rear };
    *axle = AxleReadings::default();
    let chassis = tree.chassis;
    tree.chassis = match wheel.side() {
        Side::Left => ChassisReadings { wheelbase_right_mm: chassis.wheelbase_right_mm, ..ChassisReadings::default() },
        Side::Right => ChassisReadings { wheelbase_left_mm: chassis.wheelbase_left_mm, ..ChassisReadings::default() },
    };
    match wheel {
        Wheel::Fl | Wheel::Rr => tree.chassis.diagonal_fr_rl_mm = chassis.diagonal_fr_rl_mm,
        Wheel::Fr | Wheel::Rl => tree.chassis.diagonal_fl_rr_mm = chassis.diagonal_fl_rr_mm,
    }
    let steering = &mut tree.steering;
    steering.ahead_error_deg = None;
    if front {
        tree.chassis.thrust_angle_deg = chassis.thrust_angle_deg;
        let axis = if wheel.side() == Side::Left { &mut steering.left } else { &mut steering.right };
        *axis = SteeringAxisReadings::default();
        (steering.cross_caster_deg, steering.cross_sai_deg) = (None, None);
    } else {
        // The thrust line is gone.
        (tree.wheels.fl.toe_deg, tree.wheels.fr.toe_deg) = (None, None);
    }
}
