//! The main job: one whole session in, every reading out, in one tree.

use crate::compensation::{self, Compensation, Residual};
use crate::error::{Error, ErrorCode, Stage, Warning, WarningCode};
use crate::frame::{Rig, Target, Transform, Vector};
use crate::layout::{ByAxle, BySide, ByWheel, Side, Wheel};
use crate::session::{self, Poses, Reference, Session, TurnWheel};
use crate::steering::{self, FrontWheel, SteeringAxis, SteeringReadings, SweepStation};
use crate::turns::{self, LockReadings, TurnReadings, TurnsReadings};
use crate::units::{self, rad_from_deg, root_mean_square};
use crate::vehicle::{AxleReadings, ChassisReadings, Stand};
use crate::wheel::{self, WheelReadings};
use alloc::vec::Vec;

/// Every reading of one session. A path here is the path in every language: `wheels.fl.camber_deg`.
///
/// A reading that the session does not hold is absent (`None`), never zero.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Alignment {
    /// Per wheel.
    pub wheels: ByWheel<WheelReadings>,
    /// Per axle.
    pub axles: ByAxle<AxleReadings>,
    /// The chassis.
    pub chassis: ChassisReadings,
    /// The steering, from the sweep.
    pub steering: SteeringReadings,
    /// Turning, from the sweep and the locks.
    pub turns: TurnsReadings,
}

/// How far each pose lies from the rigid motion fitted to its stage: by station, then by wheel. Absent where a wheel was not seen.
#[derive(Debug, Clone, PartialEq, Default)]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Residuals {
    /// The rolling stations: tilt of the spindle, and distance of the target's origin from the fitted path.
    pub rolling: Vec<ByWheel<Option<Residual>>>,
    /// The sweep stations. Front wheels: tilt and shift of the steering axis. Rear wheels: how far spindle and wheel centre
    /// moved since the ahead station, which the body should not have.
    pub sweep: Vec<ByWheel<Option<Residual>>>,
}

/// What [`measure`] returns: the readings, what they rest on, and what is weak in them.
#[derive(Debug, Clone, PartialEq, Default)]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Measurement {
    /// Every reading.
    pub alignment: Alignment,
    /// The choices that the readings rest on, defaults included.
    pub reference: Reference,
    /// What is weak, with the figures. Empty when nothing is.
    pub warnings: Vec<Warning>,
    /// How far each pose lies from the fits.
    pub residuals: Residuals,
}

/// The residual above which a warning is given when the session does not state its pose noise: degrees and mm. Common practice, no source.
pub const HIGH_RESIDUAL: Residual = Residual { rotation_deg: 0.05, translation_mm: 1.0 };

/// Measures a car: from the target poses of one session to every reading.
///
/// Rolling stations compensate the clamps ([`compensation`]); the ahead station gives camber, toe and the vehicle's frame
/// ([`vehicle`](crate::vehicle)); the sweep gives the steering axes ([`steering`]) and toe-out on turns ([`turns`]). The result does not depend on
/// how the rig's frame lies, nor on the order of the stations. Same session, same bits, on every platform.
///
/// # Errors
/// [`ErrorCode::MissingInput`] (`up`; `sweep_wheels_locked` with a sweep), [`ErrorCode::WheelNotSeen`] (all four are needed straight
/// ahead), [`ErrorCode::SweepTooSmall`], [`ErrorCode::SidesSwapped`], [`ErrorCode::EndsSwapped`], [`ErrorCode::Mirrored`], and those of the stages. Each
/// names the place, the figure, the bound and the remedy.
///
/// ```
/// use alignment_core::{measure, simulate::VirtualVehicle};
///
/// let result = measure(&VirtualVehicle::default().session())?;
/// println!("{:.2}°", result.alignment.wheels.fl.camber_deg.unwrap());
/// for warning in &result.warnings {
///     println!("{warning}");
/// }
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn measure(session: &Session) -> Result<Measurement, Error> {
    session::check_inputs(session)?;
    let up = session.up.ok_or(Error::new(ErrorCode::MissingInput).input("up"))?;
    let up = session::up_in_rig(up)?;
    let loaded_radius_mm = session.loaded_radius_mm.unwrap_or_default();

    let rolling = session::resolve_all(&session.rolling, Stage::Rolling)?;
    let rolled = compensation::from_poses(&rolling, up, &session.clamp_standoff_mm, &loaded_radius_mm)?;

    let ahead = session::resolve(&session.ahead, Stage::Ahead)?;
    let ahead = ByWheel::try_from_fn(|wheel| {
        ahead.get(wheel).ok_or(Error::new(ErrorCode::WheelNotSeen).stage(Stage::Ahead).wheel(wheel))
    })?;
    let steered = Steered {
        sweep: session::resolve_all(&session.sweep, Stage::Sweep)?,
        lock_left: session.lock_left.as_ref().map(|s| session::resolve(s, Stage::LockLeft)).transpose()?,
        lock_right: session.lock_right.as_ref().map(|s| session::resolve(s, Stage::LockRight)).transpose()?,
    };

    let steering_end = steered.steering_end(&rolled.wheels, &ahead);
    if steering_end == Some(End::Rear) {
        return Err(Error::new(ErrorCode::EndsSwapped));
    }
    let centreline = session.reference.centreline;
    let wheels = ByWheel::from_fn(|wheel| wheel::locate(rolled.wheels.get(wheel), ahead.get(wheel)));
    let stand = Stand::find(&rolled.wheels, &wheels, up, &loaded_radius_mm, centreline);
    stand.check_layout().map_err(|error| {
        let decided = error.code == ErrorCode::Mirrored && steering_end == Some(End::Front);
        if decided { Error { code: ErrorCode::SidesSwapped, ..error } } else { error }
    })?;

    let mut result = Measurement { reference: session.reference, warnings: rolled.warnings, ..Measurement::default() };
    let tree = &mut result.alignment;
    let now = stand.readings(&rolled.wheels);
    (tree.wheels, tree.axles, tree.chassis) = (now.wheels, now.axles, now.chassis);
    tree.steering.ahead_error_deg =
        tree.wheels.fr.toe_deg.zip(tree.wheels.fl.toe_deg).map(|(right, left)| (right - left) / 2.0);
    for wheel in Wheel::ALL {
        if loaded_radius_mm.of_wheel(wheel).is_none() {
            let radius = rolled.wheels.get(wheel).rolling_radius_mm;
            result.warnings.push(Warning::new(WarningCode::LoadedRadiusAssumed).wheel(wheel).value(radius, "mm"));
        }
    }

    let straight_deg = BySide::from_fn(|side| wheel::yaw_of(side, *stand.spindles.get(side.front_wheel())));
    let job = Job { session, up, compensation: &rolled.wheels, stand: &stand, straight_deg };
    let high = high_residual(session);
    if !steered.sweep.is_empty() {
        result.residuals.sweep = job.sweep(&steered.sweep, &mut result.alignment, &mut result.warnings)?;
        warn_of_moved_body(&result.residuals.sweep, high, &mut result.warnings);
    }
    let locks = &mut result.alignment.turns;
    locks.lock_left = job.lock(steered.lock_left.as_ref());
    locks.lock_right = job.lock(steered.lock_right.as_ref());

    result.residuals.rolling = rolled.residuals;
    warn_of_residuals(Stage::Rolling, &result.residuals.rolling, &Wheel::ALL, high, &mut result.warnings);
    warn_of_residuals(Stage::Sweep, &result.residuals.sweep, &[Wheel::Fl, Wheel::Fr], high, &mut result.warnings);
    Ok(result)
}

/// The stations at which the front wheels are turned.
struct Steered {
    sweep: Vec<Poses>,
    lock_left: Option<Poses>,
    lock_right: Option<Poses>,
}

#[derive(PartialEq)]
enum End {
    Front,
    Rear,
}

impl Steered {
    /// Which end of the car steers: the one whose spindles swing further from their direction straight ahead. None when neither does.
    fn steering_end(
        &self,
        compensation: &ByWheel<Compensation>,
        ahead: &ByWheel<Transform<Rig, Target>>,
    ) -> Option<End> {
        const LEAST_SWING_DEG: f64 = 4.0;
        let stations = || self.sweep.iter().chain(&self.lock_left).chain(&self.lock_right);
        let swing = |wheel: Wheel| {
            let compensation = compensation.get(wheel);
            let straight = wheel::locate(compensation, ahead.get(wheel)).spindle;
            stations()
                .filter_map(|station| station.get(wheel).as_ref())
                .map(|pose| (wheel::locate(compensation, pose).spindle - straight).norm())
                .fold(0.0, f64::max)
        };
        let front = swing(Wheel::Fl).max(swing(Wheel::Fr));
        // Both: one rear target that slipped is no axle that steers.
        let rear = swing(Wheel::Rl).min(swing(Wheel::Rr));
        if front.max(rear) < rad_from_deg(LEAST_SWING_DEG) {
            return None;
        }
        Some(if rear > front { End::Rear } else { End::Front })
    }
}

/// What every reading with the wheels turned needs.
struct Job<'a> {
    session: &'a Session,
    up: Vector<Rig>,
    compensation: &'a ByWheel<Compensation>,
    stand: &'a Stand,
    /// Yaw of each front wheel at the ahead station.
    straight_deg: BySide<f64>,
}

impl Job<'_> {
    /// Steer angle of a front wheel from its own heading straight ahead, left positive, degrees in (−180, 180].
    fn steer_deg(&self, side: Side, spindle: Vector<Rig>) -> f64 {
        let yaw_deg = wheel::yaw_of(side, self.stand.vehicle_from_rig.direction(spindle));
        let turned = yaw_deg - self.straight_deg.get(side);
        turned - 360.0 * libm::round(turned / 360.0)
    }

    fn spindle(&self, wheel: Wheel, pose: &Transform<Rig, Target>) -> Vector<Rig> {
        wheel::locate(self.compensation.get(wheel), pose).spindle
    }

    fn lock(&self, station: Option<&Poses>) -> LockReadings {
        let steer = |side: Side| {
            let wheel = side.front_wheel();
            let pose = station?.get(wheel).as_ref()?;
            Some(self.steer_deg(side, self.spindle(wheel, pose)))
        };
        LockReadings { left_deg: steer(Side::Left), right_deg: steer(Side::Right) }
    }

    /// Fills in what the sweep shows; returns the residuals by station and wheel.
    fn sweep(
        &self,
        sweep: &[Poses],
        tree: &mut Alignment,
        warnings: &mut Vec<Warning>,
    ) -> Result<Vec<ByWheel<Option<Residual>>>, Error> {
        let locked =
            self.session.sweep_wheels_locked.ok_or(Error::new(ErrorCode::MissingInput).input("sweep_wheels_locked"))?;
        let stations = BySide::from_fn(|side| self.stations_of(sweep, side.front_wheel()));
        let steer = BySide::from_fn(|side| {
            let mut by_station: Vec<Option<f64>> = sweep.iter().map(|_| None).collect();
            for station in stations.get(side) {
                by_station[station.index] = Some(self.steer_deg(side, station.spindle));
            }
            by_station
        });
        let range_deg = check_sweep_range(&steer, locked, warnings)?;

        let axes = BySide::try_from_fn(|side| {
            let wheel = side.front_wheel();
            let centre = Vector::new(self.compensation.get(wheel).centre_in_target_mm);
            let fit = if locked { steering::fit_locked } else { steering::fit_free };
            fit(stations.get(side), centre, self.up).map_err(|error| error.stage(Stage::Sweep).wheel(wheel))
        })?;
        if !locked {
            warnings.push(Warning::new(WarningCode::SweepWheelFree).stage(Stage::Sweep));
        }

        let fronts = BySide::from_fn(|side| self.front_wheel(side));
        let attitude = self.body_attitude_deg(tree)?;
        let from_rig = &self.stand.vehicle_from_rig;
        let steering = &mut tree.steering;
        steering.left = axes.left.readings(from_rig, &fronts.left, attitude)?;
        steering.right = axes.right.readings(from_rig, &fronts.right, attitude)?;
        let cross = |left: Option<f64>, right: Option<f64>| left.zip(right).map(|(left, right)| left - right);
        steering.cross_caster_deg = cross(steering.left.caster_deg, steering.right.caster_deg);
        steering.cross_sai_deg = cross(steering.left.sai_deg, steering.right.sai_deg);
        steering.sweep_range_deg = Some(range_deg);

        let ground = BySide::from_fn(|side| axes.get(side).ground_point(from_rig, fronts.get(side)));
        let axis_distance_mm = (ground.left - ground.right).y();
        tree.turns.left_turn = self.turn(Side::Left, &steer, axis_distance_mm, tree, warnings);
        tree.turns.right_turn = self.turn(Side::Right, &steer, axis_distance_mm, tree, warnings);
        Ok(self.sweep_residuals(sweep, &axes))
    }

    fn stations_of(&self, sweep: &[Poses], wheel: Wheel) -> Vec<SweepStation> {
        let mut stations = Vec::with_capacity(sweep.len());
        stations.extend(sweep.iter().enumerate().filter_map(|(index, station)| {
            let rig_from_target = (*station.get(wheel))?;
            Some(SweepStation { index, rig_from_target, spindle: self.spindle(wheel, &rig_from_target) })
        }));
        stations
    }

    fn front_wheel(&self, side: Side) -> FrontWheel {
        let wheel = side.front_wheel();
        FrontWheel {
            side,
            spindle: *self.stand.spindles.get(wheel),
            centre: *self.stand.centres.get(wheel),
            contact: self.stand.contact(wheel),
        }
    }

    fn body_attitude_deg(&self, tree: &Alignment) -> Result<Option<(f64, f64)>, Error> {
        let lengths = wheelbase_mm(tree).zip(tree.axles.front.track_mm.zip(tree.axles.rear.track_mm));
        self.session
            .ride_height_mm
            .zip(lengths)
            .map(|(heights, (wheelbase, (front, rear)))| {
                steering::body_attitude_deg(&heights, wheelbase, (front + rear) / 2.0)
            })
            .transpose()
    }

    /// Toe-out on turns when turning to `inside`.
    fn turn(
        &self,
        inside: Side,
        steer: &BySide<Vec<Option<f64>>>,
        axis_distance_mm: f64,
        tree: &Alignment,
        warnings: &mut Vec<Warning>,
    ) -> TurnReadings {
        let custom = self.session.reference.turn;
        let outside = if inside == Side::Left { Side::Right } else { Side::Left };
        let (asked, other) = match custom.wheel {
            TurnWheel::Inner => (inside, outside),
            TurnWheel::Outer => (outside, inside),
        };
        // Mirrored so that both turns read alike: the angles grow into the turn.
        let into = inside.sign();
        let swept = steer.get(asked).iter().zip(steer.get(other)).filter_map(|(a, b)| a.zip(*b));
        // The ahead station is one of the pairs: both angles are counted from it.
        let mut pairs: Vec<turns::Pair> = Vec::with_capacity(steer.left.len() + 1);
        pairs.push((0.0, 0.0));
        pairs.extend(swept.map(|(a, b)| (a * into, b * into)));
        let Some(other_deg) = turns::interpolate(&pairs, custom.angle_deg) else {
            let reached = pairs.iter().fold(0.0, |most: f64, pair| most.max(pair.0));
            warnings.push(
                Warning::new(WarningCode::TurnNotReached).stage(Stage::Sweep).wheel(asked.front_wheel()).figure(
                    reached,
                    custom.angle_deg,
                    "deg",
                ),
            );
            return TurnReadings::default();
        };
        let (inner, outer) = match custom.wheel {
            TurnWheel::Inner => (custom.angle_deg, other_deg),
            TurnWheel::Outer => (other_deg, custom.angle_deg),
        };
        // Absent when the axes do not meet the ground apart from each other: then there is no ideal.
        let ackermann_deg = wheelbase_mm(tree).and_then(|wheelbase| match custom.wheel {
            TurnWheel::Inner => {
                turns::ackermann_outer_deg(inner, axis_distance_mm, wheelbase).map(|ideal| inner - ideal).ok()
            }
            TurnWheel::Outer => {
                turns::ackermann_inner_deg(outer, axis_distance_mm, wheelbase).map(|ideal| ideal - outer).ok()
            }
        });
        TurnReadings { inner_deg: Some(inner), outer_deg: Some(outer), toe_out_deg: Some(inner - outer), ackermann_deg }
    }

    fn sweep_residuals(&self, sweep: &[Poses], axes: &BySide<SteeringAxis>) -> Vec<ByWheel<Option<Residual>>> {
        let mut residuals: Vec<ByWheel<Option<Residual>>> = sweep
            .iter()
            .map(|station| {
                let moved = |wheel: Wheel| {
                    let now = wheel::locate(self.compensation.get(wheel), station.get(wheel).as_ref()?);
                    let from_rig = &self.stand.vehicle_from_rig;
                    let turned = from_rig.direction(now.spindle) - *self.stand.spindles.get(wheel);
                    let shifted = from_rig.point(now.centre) - *self.stand.centres.get(wheel);
                    Some(Residual { rotation_deg: units::deg_from_rad(turned.norm()), translation_mm: shifted.norm() })
                };
                ByWheel { rl: moved(Wheel::Rl), rr: moved(Wheel::Rr), ..ByWheel::default() }
            })
            .collect();
        for side in Side::ALL {
            for &(station, residual) in &axes.get(side).residuals {
                *residuals[station].get_mut(side.front_wheel()) = Some(residual);
            }
        }
        residuals
    }
}

/// Range of the mean steer angle of the front wheels (of the one that was seen where the other was not).
fn check_sweep_range(
    steer: &BySide<Vec<Option<f64>>>,
    locked: bool,
    warnings: &mut Vec<Warning>,
) -> Result<f64, Error> {
    let mean = steer.left.iter().zip(&steer.right).filter_map(|pair| match pair {
        (Some(left), Some(right)) => Some((left + right) / 2.0),
        (Some(one), None) | (None, Some(one)) => Some(*one),
        (None, None) => None,
    });
    let (least, most) =
        mean.fold((f64::INFINITY, f64::NEG_INFINITY), |(least, most), angle| (angle.min(least), angle.max(most)));
    if most < least {
        return Err(Error::new(ErrorCode::TooFewStations).stage(Stage::Sweep).value(0.0).at_least(2.0));
    }
    let range_deg = most - least;
    let least_range = if locked { steering::MIN_SWEEP_LOCKED_DEG } else { steering::MIN_SWEEP_FREE_DEG };
    // A sweep that was aimed at the bound and read a hair less is not refused for rounding.
    if range_deg < least_range - 1e-6 {
        return Err(Error::new(ErrorCode::SweepTooSmall).stage(Stage::Sweep).value(range_deg).at_least(least_range));
    }
    if range_deg < steering::SHORT_SWEEP_DEG - 1e-6 {
        warnings.push(Warning::new(WarningCode::SweepShort).stage(Stage::Sweep).figure(
            range_deg,
            steering::SHORT_SWEEP_DEG,
            "deg",
        ));
    }
    Ok(range_deg)
}

/// The mean wheelbase of both sides.
fn wheelbase_mm(tree: &Alignment) -> Option<f64> {
    let chassis = &tree.chassis;
    chassis.wheelbase_left_mm.zip(chassis.wheelbase_right_mm).map(|(left, right)| (left + right) / 2.0)
}

/// The residual that noise alone does not make: three times what it makes on average, or [`HIGH_RESIDUAL`] when it is not stated.
fn high_residual(session: &Session) -> Residual {
    /// A point of the steering axis lies at most about this far from the target's origin.
    const LEVER_MM: f64 = 300.0;
    /// Rounding is no misfit.
    const LEAST: Residual = Residual { rotation_deg: 1e-4, translation_mm: 1e-3 };
    let Some(noise) = session.pose_noise else {
        return HIGH_RESIDUAL;
    };
    let swing = LEVER_MM * rad_from_deg(noise.rotation_deg);
    Residual {
        rotation_deg: (3.0 * units::sqrt(2.0) * noise.rotation_deg).max(LEAST.rotation_deg),
        translation_mm: (3.0 * units::sqrt(3.0) * units::hypot(noise.translation_mm, swing)).max(LEAST.translation_mm),
    }
}

fn rms_of(residuals: &[ByWheel<Option<Residual>>], wheel: Wheel) -> Residual {
    let of_wheel = || residuals.iter().filter_map(|station| *station.get(wheel));
    Residual {
        rotation_deg: root_mean_square(of_wheel().map(|r| r.rotation_deg)),
        translation_mm: root_mean_square(of_wheel().map(|r| r.translation_mm)),
    }
}

/// Warns of each wheel whose residuals are high, and names its worst station.
fn warn_of_residuals(
    stage: Stage,
    residuals: &[ByWheel<Option<Residual>>],
    wheels: &[Wheel],
    high: Residual,
    warnings: &mut Vec<Warning>,
) {
    for &wheel in wheels {
        let rms = rms_of(residuals, wheel);
        let pick: fn(&Residual) -> f64 = if rms.rotation_deg > high.rotation_deg {
            |r| r.rotation_deg
        } else if rms.translation_mm > high.translation_mm {
            |r| r.translation_mm
        } else {
            continue;
        };
        let unit = if rms.rotation_deg > high.rotation_deg { "deg" } else { "mm" };
        let warning =
            Warning::new(WarningCode::ResidualHigh).stage(stage).wheel(wheel).figure(pick(&rms), pick(&high), unit);
        let worst = residuals
            .iter()
            .enumerate()
            .filter_map(|(index, station)| Some((index, pick(station.get(wheel).as_ref()?))))
            .max_by(|a, b| a.1.total_cmp(&b.1));
        warnings.push(worst.map_or(warning, |(index, _)| warning.station(index)));
    }
}

fn warn_of_moved_body(sweep: &[ByWheel<Option<Residual>>], high: Residual, warnings: &mut Vec<Warning>) {
    for wheel in [Wheel::Rl, Wheel::Rr] {
        let moved = rms_of(sweep, wheel);
        // Both the station and the ahead station scatter.
        let (rotation, translation) = (high.rotation_deg * units::sqrt(2.0), high.translation_mm * units::sqrt(2.0));
        let warning = Warning::new(WarningCode::BodyMoved).stage(Stage::Sweep).wheel(wheel);
        if moved.rotation_deg > rotation {
            warnings.push(warning.figure(moved.rotation_deg, rotation, "deg"));
        } else if moved.translation_mm > translation {
            warnings.push(warning.figure(moved.translation_mm, translation, "mm"));
        }
    }
}
