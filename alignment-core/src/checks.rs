//! What casts doubt on a measurement: fits that leave too much over, a body that moved, targets that slipped, wheels that rolled, stations
//! that do not belong together. What cannot be of one car is refused; all else is a warning.

use crate::compensation::{self, Compensation, Residual};
use crate::error::{Error, ErrorCode, Stage, Warning, WarningCode};
use crate::frame::{Rig, Target, Transform, Vector};
use crate::layout::{ByWheel, Wheel};
use crate::rigid::FixedDirection;
use crate::session::{CompensationMethod, LOADED_RADIUS_RANGE_MM, Poses, RollingBody, Session, SweepBody, check_range};
use crate::slip;
use crate::steering::{self, SteeringAxis, SweepStation};
use crate::units::{deg_from_rad, hypot, rad_from_deg, root_mean_square, sqrt};
use crate::wheel::{self, WheelInRig};
use alloc::vec::Vec;

/// The residual above which a warning is given when the session does not state its pose noise: degrees and mm. Common practice, no source.
pub(crate) const HIGH_RESIDUAL: Residual = Residual { rotation_deg: 0.05, translation_mm: 1.0 };
/// The most by which the distance between two wheels may differ from one stage to another, mm. Steering a little moves a front wheel by less.
const MAX_STRETCH_MM: f64 = 50.0;
/// The most by which the body may turn between rolling and ahead for the rear spindles to be compared, degrees.
const MOST_BODY_TURN_DEG: f64 = 0.3;
/// The rotation noise below which nothing is suspected: rounding is no fault.
pub(crate) const LEAST_NOISE_DEG: f64 = 1e-4;

/// What noise alone does not make, as a residual, and the noise itself.
pub(crate) struct Bounds {
    /// While the car is rolled.
    pub(crate) rolled: Residual,
    /// While the front wheels are steered: more, where the body is found again from noisy targets.
    pub(crate) steered: Residual,
    /// The rotation noise of a steered pose per axis, when it is stated.
    pub(crate) steered_noise_deg: Option<f64>,
}

impl Bounds {
    /// Three times what the stated noise makes on average, or [`HIGH_RESIDUAL`].
    pub(crate) fn of(session: &Session) -> Self {
        /// A point of the steering axis lies at most about this far from the target's origin.
        const REACH_MM: f64 = 300.0;
        /// And this far from the rear targets.
        const WHEELBASE_MM: f64 = 2700.0;
        /// Rounding is no misfit.
        const LEAST: Residual = Residual { rotation_deg: LEAST_NOISE_DEG, translation_mm: 1e-3 };
        let Some(noise) = session.noise_per_axis() else {
            let by_body = rad_from_deg(HIGH_RESIDUAL.rotation_deg) * WHEELBASE_MM;
            let found_again = Residual {
                rotation_deg: sqrt(2.0) * HIGH_RESIDUAL.rotation_deg,
                translation_mm: hypot(HIGH_RESIDUAL.translation_mm, by_body),
            };
            let steered = if session.sweep_body == SweepBody::Still { HIGH_RESIDUAL } else { found_again };
            return Self { rolled: HIGH_RESIDUAL, steered, steered_noise_deg: None };
        };
        let bound = |rotation_deg: f64, translation_mm: f64| Residual {
            rotation_deg: (3.0 * sqrt(2.0) * rotation_deg).max(LEAST.rotation_deg),
            translation_mm: (3.0 * sqrt(3.0) * translation_mm).max(LEAST.translation_mm),
        };
        let noise_rad = rad_from_deg(noise.rotation_deg);
        let at_axis = hypot(noise.translation_mm, REACH_MM * noise_rad);
        let still = bound(noise.rotation_deg, at_axis);
        let rolled = match session.rolling_body {
            RollingBody::Translates => still,
            // The yaw is found from the wheel centres.
            RollingBody::Turns => {
                let yaw_deg = deg_from_rad(noise.translation_mm / compensation::LEAST_SPAN_MM);
                bound(hypot(noise.rotation_deg, 2.0 * yaw_deg), at_axis)
            }
        };
        match session.sweep_body {
            SweepBody::Still => Self { rolled, steered: still, steered_noise_deg: Some(noise.rotation_deg) },
            SweepBody::FoundAgain => {
                // The body carries the noise of a rear target, or two, at the station and straight ahead.
                let steered_deg = sqrt(2.0) * noise.rotation_deg;
                let steered = bound(steered_deg, hypot(at_axis, sqrt(2.0) * WHEELBASE_MM * noise_rad));
                Self { rolled, steered, steered_noise_deg: Some(steered_deg) }
            }
        }
    }
}

/// Refuses wheels that stand apart by one distance while the car is rolled and by another straight ahead.
pub(crate) fn one_vehicle(
    session: &Session,
    clamps: &ByWheel<Option<Compensation>>,
    rolling: &[Poses],
    ahead: &ByWheel<Option<WheelInRig>>,
) -> Result<(), Error> {
    if session.compensation == CompensationMethod::Spun {
        return Ok(()); // a raised car lets its wheels hang
    }
    let most_mm = MAX_STRETCH_MM + session.noise_per_axis().map_or(0.0, |noise| 8.0 * noise.translation_mm);
    for (name, one, other) in [
        ("fl to fr", Wheel::Fl, Wheel::Fr),
        ("rl to rr", Wheel::Rl, Wheel::Rr),
        ("fl to rl", Wheel::Fl, Wheel::Rl),
        ("fr to rr", Wheel::Fr, Wheel::Rr),
    ] {
        let centre = |station: &Poses, wheel: Wheel| {
            Some(wheel::locate(clamps.get(wheel).as_ref()?, station.get(wheel).as_ref()?).centre)
        };
        let apart = |station: &Poses| Some((centre(station, one)? - centre(station, other)?).norm());
        let rolled = rolling.iter().find_map(apart);
        let stood = ahead.get(one).zip(*ahead.get(other)).map(|(one, other)| (one.centre - other.centre).norm());
        if let Some((rolled, stood)) = rolled.zip(stood)
            && (rolled - stood).abs() > most_mm
        {
            let error = Error::new(ErrorCode::DifferentVehicles).stage(Stage::Ahead).input(name);
            return Err(error.value((rolled - stood).abs()).at_most(most_mm));
        }
    }
    Ok(())
}

/// Where the wheels were on average while the car was rolled, or spun: roughly, for it moved meanwhile.
pub(crate) fn rolled_wheels(clamps: &ByWheel<Option<Compensation>>, rolling: &[Poses]) -> ByWheel<Option<WheelInRig>> {
    ByWheel::from_fn(|wheel| {
        let clamp = (*clamps.get(wheel))?;
        let seen =
            || rolling.iter().filter_map(|station| station.get(wheel).as_ref()).map(|pose| wheel::locate(&clamp, pose));
        let count = seen().fold(0.0, |count, _| count + 1.0);
        let spindle = seen().map(|wheel| wheel.spindle).sum::<Vector<Rig>>().unit();
        (count > 0.0).then(|| WheelInRig {
            spindle,
            centre: seen().map(|wheel| wheel.centre).sum::<Vector<Rig>>() * (1.0 / count),
        })
    })
}

/// Refuses wheels that stand to each other as in a mirror, however few are seen: what they show of forward and left must agree among
/// themselves, with up, and with the travel.
pub(crate) fn layout_of_seen(
    wheels: &ByWheel<Option<WheelInRig>>,
    travel: Option<[f64; 3]>,
    up: Vector<Rig>,
) -> Result<(), Error> {
    let between = |from: Wheel, to: Wheel| Some((*wheels.get(to))?.centre - (*wheels.get(from))?.centre);
    let forwards = [between(Wheel::Rl, Wheel::Fl), between(Wheel::Rr, Wheel::Fr), travel.map(Vector::new)];
    let lefts = [between(Wheel::Fr, Wheel::Fl), between(Wheel::Rr, Wheel::Rl)];
    let along = |a: Vector<Rig>, b: Vector<Rig>| a.dot(b);
    let around = |forward: Vector<Rig>, left: Vector<Rig>| forward.cross(left).dot(up);
    let against = |a: &[Option<Vector<Rig>>], b: &[Option<Vector<Rig>>], sense: &dyn Fn(_, _) -> f64| {
        a.iter().flatten().any(|&a| b.iter().flatten().any(|&b| sense(a, b) < 0.0))
    };
    if against(&forwards, &forwards, &along) || against(&lefts, &lefts, &along) || against(&forwards, &lefts, &around) {
        return Err(Error::new(ErrorCode::Mirrored).stage(Stage::Ahead));
    }
    Ok(())
}

/// Refuses runway points that are not under this car: a wheel centre lies above its own by what can be a radius, and near it.
pub(crate) fn runway(
    runway_mm: &ByWheel<[f64; 3]>,
    up: Vector<Rig>,
    wheels: &ByWheel<Option<WheelInRig>>,
) -> Result<(), Error> {
    const MAX_ASIDE_MM: f64 = 1000.0;
    for wheel in Wheel::ALL {
        let Some(seen) = wheels.get(wheel) else { continue };
        let above = seen.centre - Vector::new(*runway_mm.get(wheel));
        let located = |error: Error| error.stage(Stage::Ahead).wheel(wheel);
        let radii = LOADED_RADIUS_RANGE_MM;
        check_range(ErrorCode::LengthOutOfRange, "height over runway_mm", above.dot(up), radii).map_err(located)?;
        let aside = above.square_to(up).norm();
        let near = [0.0, MAX_ASIDE_MM];
        check_range(ErrorCode::LengthOutOfRange, "distance from runway_mm", aside, near).map_err(located)?;
    }
    Ok(())
}

/// How differently the rear targets turned, once the body was found again from both, degrees.
pub(crate) fn rear_apart_deg(before: [&Transform<Rig, Target>; 2], found_again: [&Transform<Rig, Target>; 2]) -> f64 {
    let turned = [0, 1].map(|i| found_again[i].turned_since(before[i]));
    deg_from_rad((turned[0] - turned[1]).norm())
}

/// Rear targets that do not turn alike: one slipped or rolled.
pub(crate) fn rear_disagree(apart_deg: f64, bounds: &Bounds) -> Option<Warning> {
    let bound_deg = bounds.steered.rotation_deg * 2.5;
    let warning = Warning::new(WarningCode::RearDisagree);
    (apart_deg > bound_deg).then(|| warning.figure(apart_deg, bound_deg, "deg"))
}

/// Warns of a body that moved while the wheels were steered; tells whether it did.
pub(crate) fn moved_body(
    stage: Stage,
    sweep: &[ByWheel<Option<Residual>>],
    high: Residual,
    warnings: &mut Vec<Warning>,
) -> bool {
    let before = warnings.len();
    for wheel in [Wheel::Rl, Wheel::Rr] {
        let moved = rms_of(sweep, wheel);
        // Both the station and the ahead station scatter.
        let (rotation, translation) = (high.rotation_deg * sqrt(2.0), high.translation_mm * sqrt(2.0));
        let warning = Warning::new(WarningCode::BodyMoved).stage(stage).wheel(wheel);
        if moved.rotation_deg > rotation {
            warnings.push(warning.figure(moved.rotation_deg, rotation, "deg"));
        } else if moved.translation_mm > translation {
            warnings.push(warning.figure(moved.translation_mm, translation, "mm"));
        }
    }
    warnings.len() > before
}

/// A target that slipped on its clamp during the sweep.
pub(crate) fn slipped(
    stations: &[SweepStation],
    ahead: &Transform<Rig, Target>,
    wheel: Wheel,
    axis: &SteeringAxis,
    bounds: &Bounds,
) -> Option<Warning> {
    let noise_deg = bounds.steered_noise_deg;
    #[expect(clippy::cast_precision_loss, reason = "the number of stations is far below 2^52")]
    let count = stations.len() as f64;
    let squares: f64 = axis.residuals.iter().map(|(_, r)| r.rotation_deg * r.rotation_deg).sum();
    if !slip::is_suspect(squares, 2.0 * count - 4.0, noise_deg, LEAST_NOISE_DEG) {
        return None;
    }
    let turning = FixedDirection::fit(stations.iter().map(|station| &station.rig_from_target));
    let poses = stations.iter().map(|station| (station.index, &station.rig_from_target));
    let (mut rows, drifting) = (turning.rows(poses.clone().chain([(0, ahead)])), turning.drifting_rows(poses));
    let ahead = rows.pop()?;
    let noise_rad = noise_deg.map(rad_from_deg);
    let mut slip = slip::find_beside(&rows, &drifting, noise_rad, rad_from_deg(LEAST_NOISE_DEG))?;
    if slip.row == 0 && !slip.onward {
        // The first station alone, or all that follow: the ahead station was taken before and sides with one of them.
        let left_over = slip::left_over(&rows[1..], [&ahead, &rows[0]]);
        if left_over.is_some_and(|[ahead, first]| (ahead - first).norm() < ahead.norm()) {
            slip.row = 1;
            slip.onward = true;
        }
    }
    Some(slip.warning(Stage::Sweep, rows[slip.row].station, wheel))
}

/// A wheel that was to be locked in the sweep and rolled.
pub(crate) fn rolled(
    stations: &[SweepStation],
    compensation: &Compensation,
    up: Vector<Rig>,
    wheel: Wheel,
    axis: &SteeringAxis,
    bounds: &Bounds,
) -> Option<Warning> {
    let noise = bounds.steered_noise_deg.map(|noise_deg| rad_from_deg(noise_deg.max(LEAST_NOISE_DEG)));
    if !steering::leaves_its_cone(stations, axis, noise.unwrap_or(rad_from_deg(LEAST_NOISE_DEG))) {
        return None;
    }
    let stated = noise.map(|noise_rad| (noise_rad, bounds.steered.translation_mm));
    let (rolled_deg, bound_deg) = steering::rolled_about_spindle(stations, compensation, up, stated)?;
    let warning = Warning::new(WarningCode::WheelRolled).stage(Stage::Sweep).wheel(wheel);
    Some(warning.figure(rolled_deg, bound_deg, "deg"))
}

/// A front wheel whose ahead station does not belong to its sweep: its spindle leaves the cone about the axis, or its centre the circle.
pub(crate) fn ahead_disagrees(
    stations: &[SweepStation],
    compensation: &Compensation,
    ahead: &WheelInRig,
    wheel: Wheel,
    axis: &SteeringAxis,
    bounds: &Bounds,
) -> Option<Warning> {
    let rms = axis.rms();
    let high = bounds.steered;
    if rms.rotation_deg > high.rotation_deg || rms.translation_mm > high.translation_mm {
        return None; // of which another warning tells
    }
    let (least_deg, most_deg) = stations
        .iter()
        .map(|station| station.steer_deg)
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(least, most), steer| (steer.min(least), steer.max(most)));
    if least_deg > 0.0 || most_deg < 0.0 {
        return None; // the axis would be extrapolated
    }
    // Two stations are compared; and where the axis moves, straight ahead lies further off the mean than most.
    let high = Residual {
        rotation_deg: hypot(sqrt(2.0) * high.rotation_deg, 1.5 * rms.rotation_deg),
        translation_mm: hypot(sqrt(2.0) * high.translation_mm, 1.5 * rms.translation_mm),
    };
    #[expect(clippy::cast_precision_loss, reason = "the number of stations is far below 2^52")]
    let share = 1.0 / stations.len() as f64;
    let swept = stations.iter().map(|station| wheel::locate(compensation, &station.rig_from_target));
    let [lean, along, radius] = swept.fold([0.0; 3], |[lean, along, radius], swept| {
        let [a, b, c] = axis.coordinates(&swept);
        [lean + a * share, along + b * share, radius + c * share]
    });
    let [a, b, c] = axis.coordinates(ahead);
    let (turned_deg, shifted_mm) = (deg_from_rad((a - lean).abs()), hypot(b - along, c - radius));
    let warning = Warning::new(WarningCode::AheadDisagrees).stage(Stage::Ahead).wheel(wheel);
    if turned_deg > high.rotation_deg {
        return Some(warning.figure(turned_deg, high.rotation_deg, "deg"));
    }
    (shifted_mm > high.translation_mm).then(|| warning.figure(shifted_mm, high.translation_mm, "mm"))
}

/// How each spindle has turned in the rig between the rolling and the ahead station; None when that says nothing of the targets: the wheels were
/// spun, or the body turned meanwhile or in between.
pub(crate) fn turned_since_rolling(
    session: &Session,
    clamps: &ByWheel<Compensation>,
    rolling: &[Poses],
    ahead: &ByWheel<WheelInRig>,
) -> Option<ByWheel<Vector<Rig>>> {
    if session.compensation == CompensationMethod::Spun || session.rolling_body == RollingBody::Turns {
        return None;
    }
    let locate = |station: &Poses, wheel: Wheel| {
        let pose = station.get(wheel).as_ref().ok_or(())?;
        Ok::<_, ()>(wheel::locate(clamps.get(wheel), pose))
    };
    // The body goes straight: any station that shows all four will do for how it stands.
    let rolled = rolling.iter().find_map(|station| ByWheel::try_from_fn(|wheel| locate(station, wheel)).ok())?;
    let stood_alike =
        [(Wheel::Rl, Wheel::Rr), (Wheel::Fl, Wheel::Rl), (Wheel::Fr, Wheel::Rr)].iter().all(|&(one, other)| {
            let line = |wheels: &ByWheel<WheelInRig>| (wheels.get(one).centre - wheels.get(other).centre).unit();
            (line(ahead) - line(&rolled)).norm() <= rad_from_deg(MOST_BODY_TURN_DEG)
        });
    stood_alike.then(|| {
        ByWheel::from_fn(|wheel| {
            let in_target = Vector::new(clamps.get(wheel).spindle_in_target);
            let seen = rolling.iter().filter_map(|station| station.get(wheel).as_ref());
            ahead.get(wheel).spindle - seen.map(|pose| pose.direction(in_target)).sum::<Vector<Rig>>().unit()
        })
    })
}

/// A rear target that tipped between the rolling and the ahead station. A body that turned a little turns both rear spindles to opposite
/// sides; what they do not share is a target's own.
pub(crate) fn rear_tipped(turned: &ByWheel<Vector<Rig>>, bounds: &Bounds) -> Option<Warning> {
    let wheel = if turned.rl.norm() > turned.rr.norm() { Wheel::Rl } else { Wheel::Rr };
    tipped(wheel, (turned.rl + turned.rr).norm(), bounds)
}

/// A front target that tipped between the rolling and the ahead station: its spindle has left the cone about its steering axis by more than
/// the body took it along, as the rear spindles show.
pub(crate) fn front_tipped(
    turned: &ByWheel<Vector<Rig>>,
    wheel: Wheel,
    axis_direction: Vector<Rig>,
    bounds: &Bounds,
) -> Option<Warning> {
    let by_body = (turned.rl - turned.rr) * (0.5 * wheel.side().sign());
    tipped(wheel, (*turned.get(wheel) - by_body).dot(axis_direction).abs(), bounds)
}

fn tipped(wheel: Wheel, by_rad: f64, bounds: &Bounds) -> Option<Warning> {
    // Both ahead and the rolling scatter, at both wheels.
    let (by_deg, bound_deg) = (deg_from_rad(by_rad), 2.0 * bounds.rolled.rotation_deg);
    let warning = Warning::new(WarningCode::AheadDisagrees).stage(Stage::Ahead).wheel(wheel);
    (by_deg > bound_deg).then(|| warning.figure(by_deg, bound_deg, "deg"))
}

fn rms_of(residuals: &[ByWheel<Option<Residual>>], wheel: Wheel) -> Residual {
    let of_wheel = || residuals.iter().filter_map(|station| *station.get(wheel));
    Residual {
        rotation_deg: root_mean_square(of_wheel().map(|r| r.rotation_deg)),
        translation_mm: root_mean_square(of_wheel().map(|r| r.translation_mm)),
    }
}

/// Warns of each wheel whose residuals are high, and names its worst station.
pub(crate) fn residuals(
    stage: Stage,
    left_over: &[ByWheel<Option<Residual>>],
    wheels: &[Wheel],
    high: Residual,
    warnings: &mut Vec<Warning>,
) {
    for &wheel in wheels {
        let rms = rms_of(left_over, wheel);
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
        let worst = left_over
            .iter()
            .enumerate()
            .filter_map(|(index, station)| Some((index, pick(station.get(wheel).as_ref()?))))
            .max_by(|a, b| a.1.total_cmp(&b.1));
        warnings.push(worst.map_or(warning, |(index, _)| warning.station(index)));
    }
}
