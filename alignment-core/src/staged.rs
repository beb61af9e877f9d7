//! A session measured stage by stage: the clamps, then the wheels straight ahead, then the steering, each by its own least squares.

#[cfg(feature = "simulate")]
use crate::alignment::Alignment;
use crate::alignment::{self, Measurement};
use crate::assembly::{self, Geometry, all};
use crate::checks::{self, Bounds};
use crate::compensation::{self, ClampCompensation, Compensation, Residual};
use crate::datum;
use crate::error::{Error, ErrorCode, Stage, Warning, WarningCode};
use crate::frame::{Rig, Target, Transform, Vector};
use crate::layout::{BySide, ByWheel, Side, Wheel};
use crate::rigid;
use crate::session::{self, Cameras, CompensationMethod, Datum, PoseNoise, Poses, Session, StationSpread, SweepBody};
use crate::steering::{self, AxisLine, InstantaneousAxis, SteeringAxis, SweepStation};
use crate::turns::{self, Interpolated, LockReadings};
use crate::units::{self, rad_from_deg};
use crate::vehicle::Stand;
use crate::wheel::{self, WheelInRig};
use alloc::borrow::Cow;
use alloc::vec::Vec;

/// What a measurement rests on, kept for its uncertainty.
pub(crate) struct Trace {
    pub(crate) rolling: Vec<Poses>,
    pub(crate) ahead: Poses,
    /// As the cameras saw them, before the body was found again.
    pub(crate) steered: Steered,
    pub(crate) geometry: Geometry,
}

/// What is asked of a measurement beside its readings and warnings.
#[derive(Clone, Copy, PartialEq)]
pub(crate) enum Beside {
    /// Nothing.
    Nothing,
    /// The steering axis from each station of the sweep to the next.
    InstantaneousAxes,
}

/// Measures a car from what was seen, and keeps what the readings rest on.
pub(crate) fn measure(session: &Session, seen: Seen, beside: Beside) -> Result<(Measurement, Trace), Error> {
    let mut result = Measurement::default();
    let geometry = measure_into(&mut result, session, &seen, None, beside)?;
    let Seen { rolling, ahead, steered, spreads, .. } = seen;
    result.spreads = spreads;
    Ok((result, Trace { rolling, ahead, steered, geometry }))
}

/// What is known of a session beforehand, and beyond doubt.
pub(crate) struct Known {
    pub(crate) clamps: ByWheel<Compensation>,
    pub(crate) sweep: Option<KnownSweep>,
}

/// What the sweep shows of a car whose body stood still and whose wheels were locked.
pub(crate) struct KnownSweep {
    pub(crate) axes: BySide<AxisLine>,
    pub(crate) range_deg: f64,
    /// The steer angle at every station.
    pub(crate) steer_deg: BySide<Vec<Option<f64>>>,
}

/// The same into an empty measurement of the caller: it is large to be handed about. How frames scatter is left to the caller as well. Of what is
/// known beforehand no station need be seen.
pub(crate) fn measure_into(
    result: &mut Measurement,
    session: &Session,
    seen: &Seen,
    known: Option<&Known>,
    beside: Beside,
) -> Result<Geometry, Error> {
    let Seen { rolling, ahead, steered, hidden, .. } = seen;
    result.reference = session.reference;
    let Level { up, clamps, uneven } = match known.zip(session.up) {
        Some((known, up)) => {
            Level { up: session::up_in_rig(up)?, clamps: ClampCompensation::known(known.clamps), uneven: None }
        }
        None => level(session, rolling, ahead)?,
    };
    result.datum_normal = up.to_array();
    result.warnings = clamps.warnings;
    result.warnings.extend(uneven);
    result.warnings.extend_from_slice(hidden);
    result.residuals.rolling = clamps.residuals;
    let bounds = Bounds::of(session);
    checks::residuals(Stage::Rolling, &result.residuals.rolling, &Wheel::ALL, bounds.rolled, &mut result.warnings);

    let wheels = ByWheel::from_fn(|wheel| {
        clamps.wheels.get(wheel).zip(*ahead.get(wheel)).map(|(clamp, pose)| wheel::locate(&clamp, &pose))
    });
    let one_vehicle = checks::one_vehicle(session, &clamps.wheels, rolling, &wheels);
    let rear_swing = BySide::from_fn(|side| steered.swing(side.rear_wheel(), &clamps.wheels, &wheels));
    if steered.rear_steers(rear_swing, &clamps.wheels, &wheels) {
        return Err(Error::new(ErrorCode::EndsSwapped));
    }
    // What looks mirrored has its sides swapped, when the front end is known by its steering, and up by the rolling or by its own datum.
    let up_is_known = session.compensation == CompensationMethod::Rolled || session.reference.datum != Datum::Up;
    let decided = |error: Error| {
        let swapped = error.code == ErrorCode::Mirrored && up_is_known && steered.front_steers(&clamps.wheels, &wheels);
        if swapped { Error { code: ErrorCode::SidesSwapped, ..error } } else { error }
    };
    if let (Datum::Runway, Some(runway_mm)) = (session.reference.datum, &session.runway_mm) {
        checks::runway(runway_mm, up, &wheels)?;
    }
    let mut geometry = Geometry::straight_ahead(session, up, &clamps.wheels, wheels);
    let (Some((compensation, stand)), Some(wheels), Some(poses)) = (geometry.stand(), all(&wheels), all(ahead)) else {
        let travel = clamps.travel_direction_in_rig;
        for seen in [&checks::rolled_wheels(&clamps.wheels, rolling), &wheels] {
            checks::layout_of_seen(seen, travel, up).map_err(decided)?;
        }
        one_vehicle?;
        result.alignment = geometry.alignment()?;
        return Ok(geometry);
    };

    stand.check_layout().map_err(decided)?;
    one_vehicle?;
    for wheel in Wheel::ALL {
        if geometry.loaded_radius_mm.of_wheel(wheel).is_none() {
            let assumed = |radius| Warning::new(WarningCode::LoadedRadiusAssumed).value(radius, "mm");
            let radius = compensation.get(wheel).rolling_radius_mm;
            let warning = radius.map_or(Warning::new(WarningCode::RadiusUnknown), assumed);
            result.warnings.push(warning.wheel(wheel));
        }
    }
    let turned = checks::turned_since_rolling(session, &compensation, rolling, &wheels);
    let rear_tipped = turned.as_ref().and_then(|turned| checks::rear_tipped(turned, &bounds));
    // The rear spindles tell how the body turned, unless one of them tipped.
    let turned = turned.filter(|_| rear_tipped.is_none());
    result.warnings.extend(rear_tipped);

    let job = Job { turned, ..Job::of_poses(session, up, &compensation, &stand, &poses) };
    job.check_rear_steer(&steered.sweep, rear_swing)?;
    let mut steered = Cow::Borrowed(steered);
    if let Some(known) = known.and_then(|known| known.sweep.as_ref()) {
        job.take_sweep(known, &mut geometry, &mut result.warnings);
    } else if let Some(swept) = job.steer(&mut steered, &mut geometry, &mut result.warnings)? {
        job.watch_sweep(&steered.sweep, &swept, result);
        if swept.locked && beside == Beside::InstantaneousAxes {
            let between = |side| job.instantaneous_axes(side, swept.stations.get(side));
            result.instantaneous_axes = BySide::from_fn(between);
        }
    }
    for (stage, lock) in [(Stage::LockLeft, &steered.locks.left), (Stage::LockRight, &steered.locks.right)] {
        job.watch_lock(stage, lock, &mut result.warnings);
    }
    geometry.fill(&compensation, &stand, &mut result.alignment)?;
    Ok(geometry)
}

/// What the steered stations show of a car whose clamps are compensated, from the poses alone: the doubts are left to [`measure`].
pub(crate) fn steer(
    session: &Session,
    geometry: &Geometry,
    ahead: &Poses,
    steered: Steered,
) -> Result<Geometry, Error> {
    let mut found = geometry.clone();
    if let (Some((compensation, stand)), Some(ahead)) = (geometry.stand(), all(ahead)) {
        let job = Job::of_poses(session, geometry.up, &compensation, &stand, &ahead);
        job.steer(&mut Cow::Owned(steered), &mut found, &mut Vec::new())?;
    }
    Ok(found)
}

/// The front wheels at the stations of a sweep that was measured, their body found again if the session asks for it.
pub(crate) fn swept(session: &Session, trace: &Trace) -> Result<BySide<Vec<SweepStation>>, Error> {
    let geometry = &trace.geometry;
    let (Some((compensation, stand)), Some(ahead)) = (geometry.stand(), all(&trace.ahead)) else {
        return Ok(BySide::default());
    };
    let job = Job::of_poses(session, geometry.up, &compensation, &stand, &ahead);
    let mut steered = trace.steered.clone();
    if session.sweep_body == SweepBody::FoundAgain {
        job.find_body_again(&mut steered, &mut Vec::new())?;
    }
    Ok(BySide::from_fn(|side| job.stations_of(&steered.sweep, side)))
}

/// Every reading from poses in the rig, the doubts left to [`measure`].
#[cfg(feature = "simulate")]
pub(crate) fn readings_of(
    session: &Session,
    rolling: &[Poses],
    ahead: &Poses,
    steered: Steered,
) -> Result<Alignment, Error> {
    let Level { up, clamps, .. } = level(session, rolling, ahead)?;
    let locate = |wheel| Some(wheel::locate(clamps.wheels.get(wheel).as_ref()?, ahead.get(wheel).as_ref()?));
    let geometry = Geometry::straight_ahead(session, up, &clamps.wheels, ByWheel::from_fn(locate));
    steer(session, &geometry, ahead, steered)?.alignment()
}

/// What the cameras saw, in the rig frame.
#[derive(Clone, Default)]
pub(crate) struct Seen {
    pub(crate) rolling: Vec<Poses>,
    pub(crate) ahead: Poses,
    pub(crate) steered: Steered,
    pub(crate) spreads: Vec<StationSpread>,
    /// The wheels that were hidden straight ahead and, in front, at a lock.
    pub(crate) hidden: Vec<Warning>,
}

/// Checks every pose and averages the frames.
pub(crate) fn see(session: &Session) -> Result<Seen, Error> {
    let cameras = Cameras::of(session)?;
    let (mut spreads, mut hidden) = (Vec::new(), Vec::new());
    let mut hides = |station: &Poses, stage: Stage, wheels: &[Wheel]| {
        let unseen = wheels.iter().filter(|&&wheel| station.get(wheel).is_none());
        let blocked = |&wheel| Warning::new(WarningCode::WheelBlocked).stage(stage).wheel(wheel).figure(0.0, 1.0, "");
        hidden.extend(unseen.map(blocked));
    };
    let rolling = cameras.resolve_all(&session.rolling, Stage::Rolling, &mut spreads)?;
    let ahead = cameras.resolve(&session.ahead, (Stage::Ahead, None), &mut spreads)?;
    hides(&ahead, Stage::Ahead, &Wheel::ALL);
    let sweep = cameras.resolve_all(&session.sweep, Stage::Sweep, &mut spreads)?;
    let mut at_lock = |lock: &Option<session::Station>, stage: Stage| -> Result<Poses, Error> {
        let Some(lock) = lock else { return Ok(Poses::default()) };
        let poses = cameras.resolve(lock, (stage, None), &mut spreads)?;
        hides(&poses, stage, &[Wheel::Fl, Wheel::Fr]);
        Ok(poses)
    };
    let left = at_lock(&session.lock_left, Stage::LockLeft)?;
    let right = at_lock(&session.lock_right, Stage::LockRight)?;
    let steered = Steered { sweep, locks: BySide { left, right } };
    Ok(Seen { rolling, ahead, steered, spreads, hidden })
}

/// The datum's normal, and the clamps compensated with it.
pub(crate) struct Level {
    pub(crate) up: Vector<Rig>,
    pub(crate) clamps: ClampCompensation,
    uneven: Option<Warning>,
}

/// Finds the datum that the session asks for, and compensates the clamps.
pub(crate) fn level(session: &Session, rolling: &[Poses], ahead: &Poses) -> Result<Level, Error> {
    let given = session.up.map(session::up_in_rig).transpose()?;
    let missing = |input: &'static str| Error::new(ErrorCode::MissingInput).input(input);
    let (up, uneven) = match session.reference.datum {
        Datum::Up => (given.ok_or(missing("up"))?, None),
        Datum::Runway => {
            let ByWheel { fl, fr, rl, rr } = session.runway_mm.ok_or(missing("runway_mm"))?;
            let plane = datum::plane_through(&[fl, fr, rl, rr]).map_err(|error| error.input("runway_mm"))?;
            // The targets are above the runway.
            let point = Vector::new(plane.point_mm);
            let seen = rolling.iter().chain([ahead]);
            let above: Vector<Rig> = seen
                .flat_map(|station| Wheel::ALL.into_iter().filter_map(|wheel| *station.get(wheel)))
                .map(|pose| pose.origin() - point)
                .sum();
            let normal = Vector::new(plane.normal);
            (if normal.dot(above) < 0.0 { -normal } else { normal }, uneven(plane.residual_mm))
        }
        Datum::WheelPlane => return wheel_plane(session, rolling, ahead, given),
    };
    let clamps = compensate(session, rolling, up)?;
    Ok(Level { up, clamps, uneven })
}

fn uneven(residual_mm: f64) -> Option<Warning> {
    let warning = Warning::new(WarningCode::DatumUneven).figure(residual_mm, datum::UNEVEN_MM, "mm");
    (residual_mm > datum::UNEVEN_MM).then_some(warning)
}

pub(crate) fn compensate(session: &Session, rolling: &[Poses], up: Vector<Rig>) -> Result<ClampCompensation, Error> {
    let loaded_radius_mm = session.loaded_radius_mm.unwrap_or_default();
    match session.compensation {
        CompensationMethod::Spun => {
            compensation::spun(rolling, up, &session.clamp_standoff_mm, session.noise_per_axis())
        }
        CompensationMethod::Rolled => compensation::Rolling {
            stations: rolling,
            up,
            clamp_standoff_mm: &session.clamp_standoff_mm,
            loaded_radius_mm: &loaded_radius_mm,
            body: session.rolling_body,
            noise: session.noise_per_axis(),
        }
        .compensate(),
    }
}

/// The normal of the plane through the contact centres, found with the normal that the geometry has.
pub(crate) fn wheel_plane_normal(geometry: &Geometry) -> Result<Vector<Rig>, Error> {
    let contact = |wheel: Wheel| {
        let radius = geometry.compensation.get(wheel).and_then(|clamp| clamp.rolling_radius_mm);
        let radius = geometry.loaded_radius_mm.of_wheel(wheel).or(radius);
        let seen = geometry.wheels.get(wheel).as_ref().zip(radius);
        let (WheelInRig { spindle, centre }, radius) = seen.ok_or(Error::new(ErrorCode::WheelNotSeen).wheel(wheel))?;
        Ok((*centre - geometry.up.square_to(*spindle).unit() * radius).to_array())
    };
    let ByWheel { fl, fr, rl, rr } = ByWheel::try_from_fn(contact)?;
    let normal = Vector::new(datum::plane_through(&[fl, fr, rl, rr])?.normal);
    Ok(if normal.dot(geometry.up) < 0.0 { -normal } else { normal })
}

/// The plane of the contact centres: the normal says where they lie, and they say how the normal stands.
fn wheel_plane(
    session: &Session,
    rolling: &[Poses],
    ahead: &Poses,
    given: Option<Vector<Rig>>,
) -> Result<Level, Error> {
    /// An error of the normal shrinks by far more than half from one round to the next: the contact centres move together.
    const ROUNDS: usize = 30;
    const AGREED: f64 = 1e-13;
    /// Rounding may keep it from shrinking further, near there.
    const NEAR: f64 = 1e-7;
    let plane_of = |point: &dyn Fn(Wheel) -> Result<Option<Vector<Rig>>, Error>| {
        let ByWheel { fl, fr, rl, rr } = ByWheel::try_from_fn(|wheel| {
            let point = point(wheel).and_then(|point| point.ok_or(Error::new(ErrorCode::WheelNotSeen)));
            point.map(Vector::to_array).map_err(|error| error.stage(Stage::Ahead).wheel(wheel))
        })?;
        datum::plane_through(&[fl, fr, rl, rr]).map_err(|error| error.stage(Stage::Ahead).input("reference.datum"))
    };
    let normal = Vector::new(plane_of(&|wheel| Ok(ahead.get(wheel).as_ref().map(Transform::origin)))?.normal);
    let by_rolling = || match session.compensation {
        CompensationMethod::Rolled => compensation::up_by_rolling(rolling),
        CompensationMethod::Spun => None,
    };
    let sense = given.or_else(by_rolling).ok_or(Error::new(ErrorCode::MissingInput).input("up"))?;
    let upright = |normal: Vector<Rig>| if normal.dot(sense) < 0.0 { -normal } else { normal };
    let mut up = upright(normal);
    let loaded_radius_mm = session.loaded_radius_mm.unwrap_or_default();
    let (mut round, mut last_change) = (0, f64::INFINITY);
    loop {
        let clamps = compensate(session, rolling, up)?;
        let plane = plane_of(&|wheel| {
            let Some((clamp, pose)) = clamps.wheels.get(wheel).as_ref().zip(ahead.get(wheel).as_ref()) else {
                return Ok(None);
            };
            let WheelInRig { spindle, centre } = wheel::locate(clamp, pose);
            let radius = loaded_radius_mm.of_wheel(wheel).or(clamp.rolling_radius_mm);
            let radius = radius.ok_or(Error::new(ErrorCode::MissingInput).input("loaded_radius_mm"))?;
            Ok(Some(centre - up.square_to(spindle).unit() * radius))
        })?;
        let normal = upright(Vector::new(plane.normal));
        let change = (normal - up).norm();
        let stalled = change <= NEAR && change >= 0.5 * last_change;
        (up, last_change) = (normal, change);
        round += 1;
        if change <= AGREED || stalled {
            return Ok(Level { up, clamps, uneven: uneven(plane.residual_mm) });
        }
        if round == ROUNDS {
            // Only wheels that lie nearly flat never agree with their plane.
            return Err(Error::new(ErrorCode::SpindleNotLateral).stage(Stage::Ahead).input("reference.datum"));
        }
    }
}

/// The stations at which the front wheels are turned. A lock that was not taken shows no wheel.
#[derive(Clone, Default)]
pub(crate) struct Steered {
    pub(crate) sweep: Vec<Poses>,
    pub(crate) locks: BySide<Poses>,
}

impl Steered {
    /// How far the spindle of a wheel swings from where it is first seen, straight ahead if it is seen there. None when it is not seen.
    fn swing(
        &self,
        wheel: Wheel,
        clamps: &ByWheel<Option<Compensation>>,
        ahead: &ByWheel<Option<WheelInRig>>,
    ) -> Option<f64> {
        let clamp = (*clamps.get(wheel))?;
        let stations = self.sweep.iter().chain([&self.locks.left, &self.locks.right]);
        let seen = stations.filter_map(|station| station.get(wheel).as_ref());
        let mut spindles = seen.map(|pose| pose.direction(Vector::new(clamp.spindle_in_target)));
        let straight = ahead.get(wheel).map(|wheel| wheel.spindle).or_else(|| spindles.next())?;
        Some(spindles.map(|spindle| (spindle - straight).norm()).fold(0.0, f64::max))
    }

    /// Whether the front wheels are seen to steer.
    fn front_steers(&self, clamps: &ByWheel<Option<Compensation>>, ahead: &ByWheel<Option<WheelInRig>>) -> bool {
        let front = [Wheel::Fl, Wheel::Fr].map(|wheel| self.swing(wheel, clamps, ahead).unwrap_or(0.0));
        front[0].max(front[1]) >= rad_from_deg(LEAST_SWING_DEG)
    }

    /// Whether the rear wheels, which swing so far, are seen to steer further than the front ones.
    fn rear_steers(
        &self,
        rear_swing: BySide<Option<f64>>,
        clamps: &ByWheel<Option<Compensation>>,
        ahead: &ByWheel<Option<WheelInRig>>,
    ) -> bool {
        let swing = |wheel: Wheel| self.swing(wheel, clamps, ahead);
        // Both: one rear target that slipped is no axle that steers. One alone must swing far more than the front.
        let rear = match (rear_swing.left, rear_swing.right) {
            (Some(left), Some(right)) => left.min(right),
            (Some(one), None) | (None, Some(one)) => one / 4.0,
            (None, None) => 0.0,
        };
        rear >= rad_from_deg(LEAST_SWING_DEG)
            && [Wheel::Fl, Wheel::Fr].iter().all(|&wheel| swing(wheel).unwrap_or(0.0) < rear)
    }
}

/// The least by which a wheel that steers swings, degrees.
const LEAST_SWING_DEG: f64 = 4.0;

/// The front wheels at the stations of a sweep, and the axes that they turned about.
struct Swept {
    locked: bool,
    stations: BySide<Vec<SweepStation>>,
    axes: BySide<Option<SteeringAxis>>,
}

/// What every reading with the wheels turned needs.
struct Job<'a> {
    session: &'a Session,
    up: Vector<Rig>,
    compensation: &'a ByWheel<Compensation>,
    stand: &'a Stand,
    /// The poses at the ahead station.
    ahead: &'a ByWheel<Transform<Rig, Target>>,
    /// The rear wheels there.
    rear_ahead: BySide<WheelInRig>,
    /// How the spindles have turned since the car was rolled, if that says anything.
    turned: Option<ByWheel<Vector<Rig>>>,
    /// Yaw of each front wheel at the ahead station.
    straight_deg: BySide<f64>,
    bounds: Bounds,
}

impl<'a> Job<'a> {
    /// With the poses alone: how the spindles have turned since the car was rolled casts doubts, and changes no reading.
    fn of_poses(
        session: &'a Session,
        up: Vector<Rig>,
        compensation: &'a ByWheel<Compensation>,
        stand: &'a Stand,
        ahead: &'a ByWheel<Transform<Rig, Target>>,
    ) -> Self {
        let straight_deg = BySide::from_fn(|side| wheel::yaw_of(side, *stand.spindles.get(side.front_wheel())));
        let rear_ahead = BySide::from_fn(|side| {
            let wheel = side.rear_wheel();
            wheel::locate(compensation.get(wheel), ahead.get(wheel))
        });
        let bounds = Bounds::of(session);
        Self { session, up, compensation, stand, ahead, rear_ahead, turned: None, straight_deg, bounds }
    }

    /// Steer angle of a front wheel from its own heading straight ahead, left positive, degrees in (−180, 180].
    fn steer_deg(&self, side: Side, spindle: Vector<Rig>) -> f64 {
        let yaw_deg = wheel::yaw_of(side, self.stand.vehicle_from_rig.direction(spindle));
        units::within_half_turn_deg(yaw_deg - self.straight_deg.get(side))
    }

    fn locate(&self, station: &Poses, wheel: Wheel) -> Option<WheelInRig> {
        Some(wheel::locate(self.compensation.get(wheel), station.get(wheel).as_ref()?))
    }

    fn spindle(&self, station: &Poses, wheel: Wheel) -> Option<Vector<Rig>> {
        let spindle = Vector::new(self.compensation.get(wheel).spindle_in_target);
        Some(station.get(wheel).as_ref()?.direction(spindle))
    }

    /// Fills in what the steered stations show. None without a sweep.
    fn steer(
        &self,
        steered: &mut Cow<'_, Steered>,
        geometry: &mut Geometry,
        warnings: &mut Vec<Warning>,
    ) -> Result<Option<Swept>, Error> {
        if self.session.sweep_body == SweepBody::FoundAgain {
            self.find_body_again(steered.to_mut(), warnings)?;
        }
        geometry.lock_left = self.lock(&steered.locks.left);
        geometry.lock_right = self.lock(&steered.locks.right);
        let swept = !steered.sweep.is_empty();
        swept.then(|| self.sweep(&steered.sweep, geometry, warnings)).transpose()
    }

    /// Fills in what a sweep shows that is known beforehand.
    fn take_sweep(&self, known: &KnownSweep, geometry: &mut Geometry, warnings: &mut Vec<Warning>) {
        let KnownSweep { axes: BySide { left, right }, range_deg, steer_deg } = known;
        geometry.axes = BySide { left: Some(*left), right: Some(*right) };
        geometry.sweep_range_deg = Some(*range_deg);
        geometry.other_wheel_deg = BySide::from_fn(|inside| turn(self.session, inside, steer_deg, warnings));
        let Some(turned) = &self.turned else { return };
        for (wheel, axis) in [(Wheel::Fl, left), (Wheel::Fr, right)] {
            warnings.extend(checks::front_tipped(turned, wheel, axis.direction, &self.bounds));
        }
    }

    fn lock(&self, station: &Poses) -> LockReadings {
        let steer = |side: Side| Some(self.steer_deg(side, self.spindle(station, side.front_wheel())?));
        LockReadings { left_deg: steer(Side::Left), right_deg: steer(Side::Right) }
    }

    /// Warns of a body that moved at a lock, or was not watched there.
    fn watch_lock(&self, stage: Stage, lock: &Poses, warnings: &mut Vec<Warning>) {
        if lock.fl.is_none() && lock.fr.is_none() {
            return;
        }
        if lock.rl.is_none() && lock.rr.is_none() {
            warnings.push(Warning::new(WarningCode::BodyNotWatched).stage(stage));
        }
        let moved = self.rear_residuals(core::slice::from_ref(lock));
        checks::moved_body(stage, &moved, self.bounds.steered, warnings);
    }

    /// Refuses a car whose rear wheels steer: both turn the same way against the line between their centres. They swing so far at most.
    fn check_rear_steer(&self, sweep: &[Poses], rear_swing: BySide<Option<f64>>) -> Result<(), Error> {
        let from_rig = &self.stand.vehicle_from_rig;
        let line_deg = |left: Vector<crate::frame::Vehicle>, right: Vector<crate::frame::Vehicle>| {
            let line = left - right;
            units::atan2_deg(-line.x(), line.y())
        };
        let straight_deg = line_deg(self.stand.centres.rl, self.stand.centres.rr);
        let most_deg = alignment::MAX_REAR_STEER_DEG.max(2.0 * self.bounds.rolled.rotation_deg);
        let least = rad_from_deg(most_deg) * 0.99; // a chord is shorter than its arc
        // Most cars: no rear spindle has swung, and nothing else is worth looking at.
        if !Side::ALL.iter().all(|&side| rear_swing.get(side).is_some_and(|swing| swing > least)) {
            return Ok(());
        }
        for (index, station) in sweep.iter().enumerate() {
            let swung = |side: Side| {
                let now = self.spindle(station, side.rear_wheel());
                now.is_some_and(|now| (now - self.rear_ahead.get(side).spindle).norm() > least)
            };
            if !(swung(Side::Left) && swung(Side::Right)) {
                continue;
            }
            let Some((left, right)) = self.locate(station, Wheel::Rl).zip(self.locate(station, Wheel::Rr)) else {
                continue;
            };
            let body_deg = line_deg(from_rig.point(left.centre), from_rig.point(right.centre)) - straight_deg;
            let turned = |wheel: Wheel, now: WheelInRig| {
                let yaw = |spindle| wheel::yaw_of(wheel.side(), spindle);
                let turned = yaw(from_rig.direction(now.spindle)) - yaw(*self.stand.spindles.get(wheel));
                let turned = units::within_half_turn_deg(turned);
                // In the rig and in the body: a target that slipped may turn the line between the centres.
                let in_body = turned - body_deg;
                if turned * in_body > 0.0 { in_body.signum() * in_body.abs().min(turned.abs()) } else { 0.0 }
            };
            let (left, right) = (turned(Wheel::Rl, left), turned(Wheel::Rr, right));
            let least = left.abs().min(right.abs());
            if left * right > 0.0 && least > most_deg {
                let error = Error::new(ErrorCode::RearWheelSteer).stage(Stage::Sweep).station(index);
                return Err(error.value(least).at_most(most_deg));
            }
        }
        Ok(())
    }

    /// Takes the motion of the body out of every steered station, as the rear targets show it since the ahead station. A station
    /// that shows neither of them is left out.
    fn find_body_again(&self, steered: &mut Steered, warnings: &mut Vec<Warning>) -> Result<(), Error> {
        let Steered { sweep, locks } = steered;
        if sweep.is_empty() && [&locks.left, &locks.right].iter().all(|lock| *lock == &Poses::default()) {
            return Ok(());
        }
        let locked = locked(self.session)?;
        if !locked {
            warnings.push(Warning::new(WarningCode::BodyPitchUnseen).stage(Stage::Sweep));
        }
        #[expect(clippy::cast_precision_loss, reason = "the number of stations is far below 2^52")]
        let taken = sweep.len() as f64;
        let (mut left_out, mut worst) = (0.0, (0.0, Stage::Sweep, None));
        let numbered = sweep.iter_mut().enumerate().map(|(index, station)| (Stage::Sweep, Some(index), station));
        let locks = [(Stage::LockLeft, None, &mut locks.left), (Stage::LockRight, None, &mut locks.right)];
        for (stage, index, station) in numbered.chain(locks) {
            if *station == Poses::default() {
                continue;
            }
            let Some(rig_before_from_rig) = body_motion(self.session, self.compensation, self.ahead, station, locked)
                .map(|motion| motion.inverse())
            else {
                *station = Poses::default();
                match index {
                    Some(_) => left_out += 1.0,
                    None => warnings.push(Warning::new(WarningCode::BodyNotWatched).stage(stage)),
                }
                continue;
            };
            *station = ByWheel::from_fn(|wheel| station.get(wheel).map(|pose| rig_before_from_rig.then_from(&pose)));
            if locked && let (Some(left), Some(right)) = (&station.rl, &station.rr) {
                let apart_deg = checks::rear_apart_deg([&self.ahead.rl, &self.ahead.rr], [left, right]);
                if apart_deg > worst.0 {
                    worst = (apart_deg, stage, index);
                }
            }
        }
        if left_out > 0.0 {
            let warning = Warning::new(WarningCode::BodyNotWatched).stage(Stage::Sweep);
            warnings.push(warning.figure(taken - left_out, taken, ""));
        }
        let (apart_deg, stage, index) = worst;
        let warning = checks::rear_disagree(apart_deg, &self.bounds).map(|warning| warning.stage(stage));
        warnings.extend(warning.map(|warning| index.map_or(warning, |index| warning.station(index))));
        Ok(())
    }

    /// Fills in what the sweep shows.
    fn sweep(&self, sweep: &[Poses], geometry: &mut Geometry, warnings: &mut Vec<Warning>) -> Result<Swept, Error> {
        let locked = locked(self.session)?;
        let stations = BySide::from_fn(|side| self.stations_of(sweep, side));
        let steer = BySide::from_fn(|side| {
            let mut by_station: Vec<Option<f64>> = sweep.iter().map(|_| None).collect();
            for station in stations.get(side) {
                by_station[station.index] = Some(station.steer_deg);
            }
            by_station
        });
        let axes =
            BySide::try_from_fn(|side| self.axis(stations.get(side), side, locked, sweep.len(), &mut *warnings))?;
        geometry.axes = BySide::from_fn(|side| axes.get(side).as_ref().map(SteeringAxis::line));
        if axes.left.is_some() || axes.right.is_some() {
            geometry.sweep_range_deg = Some(check_sweep_range(&steer, locked, warnings)?);
        }
        if !locked {
            warnings.push(Warning::new(WarningCode::SweepWheelFree).stage(Stage::Sweep));
        }
        geometry.other_wheel_deg = BySide::from_fn(|inside| turn(self.session, inside, &steer, warnings));
        Ok(Swept { locked, stations, axes })
    }

    /// What casts doubt on the sweep, and how far its poses lie from the fits.
    fn watch_sweep(&self, sweep: &[Poses], swept: &Swept, result: &mut Measurement) {
        let Swept { locked, stations, axes } = swept;
        let mut residuals = self.rear_residuals(sweep);
        let body_moved = checks::moved_body(Stage::Sweep, &residuals, self.bounds.steered, &mut result.warnings);
        for side in Side::ALL {
            let Some(axis) = axes.get(side) else { continue };
            for &(station, residual) in &axis.residuals {
                *residuals[station].get_mut(side.front_wheel()) = Some(residual);
            }
            let doubt = self.doubt(stations.get(side), side.front_wheel(), axis, *locked && !body_moved);
            result.warnings.extend(doubt);
        }
        self.warn_of_unwatched_body(sweep, &mut result.warnings);
        let fronts = [Wheel::Fl, Wheel::Fr];
        checks::residuals(Stage::Sweep, &residuals, &fronts, self.bounds.steered, &mut result.warnings);
        result.residuals.sweep = residuals;
    }

    /// The steering axis of one side, if the wheel was seen often enough.
    fn axis(
        &self,
        stations: &[SweepStation],
        side: Side,
        locked: bool,
        taken: usize,
        warnings: &mut Vec<Warning>,
    ) -> Result<Option<SteeringAxis>, Error> {
        let wheel = side.front_wheel();
        let centre = Vector::new(self.compensation.get(wheel).centre_in_target_mm);
        let fit = if locked { steering::fit_locked } else { steering::fit_free };
        let axis = match fit(stations, centre, self.up) {
            Ok(axis) => axis,
            Err(error) => {
                // What a blocked camera hides is absent; what was seen and is too little is refused.
                let too_little = matches!(error.code, ErrorCode::TooFewStations | ErrorCode::SweepTooSmall);
                if too_little && stations.len() < taken {
                    let warning = Warning::new(WarningCode::WheelBlocked).stage(Stage::Sweep).wheel(wheel);
                    #[expect(clippy::cast_precision_loss, reason = "the number of stations is far below 2^52")]
                    warnings.push(warning.figure(stations.len() as f64, if locked { 2.0 } else { 3.0 }, ""));
                    return Ok(None);
                }
                return Err(error.stage(Stage::Sweep).wheel(wheel));
            }
        };
        Ok(Some(axis))
    }

    /// What casts doubt on the sweep of a front wheel, the plainest first: a target that slipped, a locked wheel that rolled, an ahead station
    /// that does not fit, a target that tipped since the rolling. The first two are looked for in a body that stood still alone.
    fn doubt(
        &self,
        stations: &[SweepStation],
        wheel: Wheel,
        axis: &SteeringAxis,
        locked_in_still_body: bool,
    ) -> Option<Warning> {
        let compensation = self.compensation.get(wheel);
        let slipped_or_rolled = || {
            checks::slipped(stations, self.ahead.get(wheel), wheel, axis, &self.bounds)
                .or_else(|| checks::rolled(stations, compensation, self.up, wheel, axis, &self.bounds))
        };
        let ahead = wheel::locate(compensation, self.ahead.get(wheel));
        let in_sweep = if locked_in_still_body { slipped_or_rolled() } else { None };
        in_sweep
            .or_else(|| checks::ahead_disagrees(stations, compensation, &ahead, wheel, axis, &self.bounds))
            .or_else(|| checks::front_tipped(self.turned.as_ref()?, wheel, axis.direction, &self.bounds))
    }

    /// The axis from each station to the next.
    fn instantaneous_axes(&self, side: Side, stations: &[SweepStation]) -> Vec<InstantaneousAxis> {
        let front = assembly::front_wheel(self.stand, side);
        let centre = Vector::new(self.compensation.get(side.front_wheel()).centre_in_target_mm);
        let mut ordered = stations.to_vec();
        units::sort_by(&mut ordered, |a, b| a.steer_deg.total_cmp(&b.steer_deg).then(a.index.cmp(&b.index)));
        let mut axes = Vec::with_capacity(ordered.len());
        let Some(mut one) = ordered.first() else { return axes };
        for next in &ordered[1..] {
            let Some(axis) = steering::between(one, next, centre, self.up) else { continue };
            let stations = [one.index, next.index];
            let steer_deg = (one.steer_deg + next.steer_deg) / 2.0;
            axes.push(axis.instantaneous(&self.stand.vehicle_from_rig, &front, stations, steer_deg));
            one = next;
        }
        axes
    }

    fn stations_of(&self, sweep: &[Poses], side: Side) -> Vec<SweepStation> {
        let wheel = side.front_wheel();
        let mut stations = Vec::with_capacity(sweep.len());
        stations.extend(sweep.iter().enumerate().filter_map(|(index, station)| {
            let rig_from_target = (*station.get(wheel))?;
            let spindle = self.spindle(station, wheel)?;
            Some(SweepStation { index, rig_from_target, spindle, steer_deg: self.steer_deg(side, spindle) })
        }));
        stations
    }

    /// Warns when the rear targets were not seen at every station at which a front one was.
    fn warn_of_unwatched_body(&self, sweep: &[Poses], warnings: &mut Vec<Warning>) {
        if self.session.sweep_body == SweepBody::FoundAgain {
            return; // its stations were left out, each with a warning
        }
        let steered = || sweep.iter().filter(|station| station.fl.is_some() || station.fr.is_some());
        let watched = steered().filter(|station| station.rl.is_some() || station.rr.is_some()).count();
        let taken = steered().count();
        if watched < taken {
            let warning = Warning::new(WarningCode::BodyNotWatched).stage(Stage::Sweep);
            #[expect(clippy::cast_precision_loss, reason = "the number of stations is far below 2^52")]
            warnings.push(warning.figure(watched as f64, taken as f64, ""));
        }
    }

    /// How far the rear wheels have moved since the ahead station.
    fn rear_residuals(&self, sweep: &[Poses]) -> Vec<ByWheel<Option<Residual>>> {
        let moved = |station: &Poses, side: Side| {
            let (before, now) = (self.rear_ahead.get(side), self.locate(station, side.rear_wheel())?);
            let (turned, shifted) = (now.spindle - before.spindle, now.centre - before.centre);
            Some(Residual { rotation_deg: units::deg_from_rad(turned.norm()), translation_mm: shifted.norm() })
        };
        let rear =
            |station| ByWheel { rl: moved(station, Side::Left), rr: moved(station, Side::Right), ..ByWheel::default() };
        sweep.iter().map(rear).collect()
    }
}

/// Range of the mean steer angle of the front wheels (of the one that was seen where the other was not). None where none was seen.
pub(crate) fn sweep_range_deg(steer: &BySide<Vec<Option<f64>>>) -> Option<f64> {
    let mean = steer.left.iter().zip(&steer.right).filter_map(|pair| match pair {
        (Some(left), Some(right)) => Some((left + right) / 2.0),
        (Some(one), None) | (None, Some(one)) => Some(*one),
        (None, None) => None,
    });
    let (least, most) =
        mean.fold((f64::INFINITY, f64::NEG_INFINITY), |(least, most), angle| (angle.min(least), angle.max(most)));
    (most >= least).then_some(most - least)
}

fn check_sweep_range(
    steer: &BySide<Vec<Option<f64>>>,
    locked: bool,
    warnings: &mut Vec<Warning>,
) -> Result<f64, Error> {
    let none = Error::new(ErrorCode::TooFewStations).stage(Stage::Sweep).value(0.0).at_least(2.0);
    let range_deg = sweep_range_deg(steer).ok_or(none)?;
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

/// The motion of the body since the ahead station, from the targets of the rear wheels. Locked, they turn with it. Free to roll, they do not
/// show how it pitches, only where the line between the wheel centres went; one of them alone, where its spindle went.
pub(crate) fn body_motion(
    session: &Session,
    compensation: &ByWheel<Compensation>,
    ahead: &ByWheel<Transform<Rig, Target>>,
    station: &Poses,
    locked: bool,
) -> Option<Transform<Rig, Rig>> {
    /// Rounding is the least noise: without it the lever would be nothing, or endless.
    const LEAST: PoseNoise = PoseNoise { rotation_deg: 1e-4, translation_mm: 1e-3 };
    let rear = [Wheel::Rl, Wheel::Rr];
    if locked {
        let lever_mm = session.noise_per_axis().map_or(session::LEVER_MM, |noise| {
            let rotation_rad = rad_from_deg(noise.rotation_deg.max(LEAST.rotation_deg));
            noise.translation_mm.max(LEAST.translation_mm) / rotation_rad
        });
        let pairs = rear.iter().filter_map(|&wheel| Some((*ahead.get(wheel), (*station.get(wheel))?)));
        return rigid::body_motion(&pairs.collect::<Vec<_>>(), lever_mm);
    }
    let before = rear.map(|wheel| wheel::locate(compensation.get(wheel), ahead.get(wheel)));
    match rear.map(|wheel| Some(wheel::locate(compensation.get(wheel), station.get(wheel).as_ref()?))) {
        [Some(left), Some(right)] => {
            let middle = |left: WheelInRig, right: WheelInRig| (left.centre + right.centre) * 0.5;
            let line = |left: WheelInRig, right: WheelInRig| left.centre - right.centre;
            let [l, r] = before;
            rigid::least_motion((line(l, r), middle(l, r)), (line(left, right), middle(left, right)))
        }
        [Some(now), None] => rigid::least_motion((before[0].spindle, before[0].centre), (now.spindle, now.centre)),
        [None, Some(now)] => rigid::least_motion((before[1].spindle, before[1].centre), (now.spindle, now.centre)),
        [None, None] => None,
    }
}

/// Whether the wheels were locked in the sweep: it needs it said.
pub(crate) fn locked(session: &Session) -> Result<bool, Error> {
    session.sweep_wheels_locked.ok_or(Error::new(ErrorCode::MissingInput).input("sweep_wheels_locked"))
}

/// The steer angle of the wheel that is not brought to the customary angle, when turning to `inside`.
pub(crate) fn turn(
    session: &Session,
    inside: Side,
    steer: &BySide<Vec<Option<f64>>>,
    warnings: &mut Vec<Warning>,
) -> Option<f64> {
    let custom = session.reference.turn;
    let asked = turns::asked_side(custom.wheel, inside);
    let pairs = turns::pairs(steer, asked, inside);
    if pairs.len() < 2 {
        return None; // blocked, of which the sweep warns
    }
    let reached = pairs.iter().fold(0.0, |most: f64, pair| most.max(pair.0));
    let warning = |code: WarningCode, value: f64, limit: f64| {
        Warning::new(code).stage(Stage::Sweep).wheel(asked.front_wheel()).figure(value, limit, "deg")
    };
    let Some(Interpolated { other_deg, gap_deg }) = turns::interpolate(pairs, custom.angle_deg) else {
        warnings.push(warning(WarningCode::TurnNotReached, reached, custom.angle_deg));
        return None;
    };
    if gap_deg > turns::SPARSE_DEG {
        warnings.push(warning(WarningCode::TurnSparse, gap_deg, turns::SPARSE_DEG));
    }
    Some(other_deg)
}
