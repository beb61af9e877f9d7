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

use crate::error::{Error, ErrorCode, Stage, Warning, WarningCode};
use crate::frame::{Rig, Target, Transform, Vector};
use crate::layout::{ByAxle, ByWheel, Wheel};
use crate::pose;
use crate::rigid::FixedDirection;
use crate::session::{self, Poses, Station};
use crate::units::{self, atan2_deg, deg_from_rad};
use alloc::vec::Vec;
use nalgebra::{Matrix3, Matrix4, Vector3, Vector4};

/// The least roll angle between the extreme stations, degrees.
pub const MIN_ROLL_DEG: f64 = 10.0;
/// The roll below which the result carries a warning, degrees. Common practice: 20° to 45°.
pub const SHORT_ROLL_DEG: f64 = 20.0;
/// The greatest angle between a spindle and the line across its axle, degrees. No wheel of a car comes near it.
pub(crate) const MAX_SPINDLE_SKEW_DEG: f64 = 60.0;
/// Travel that no wheel makes in a roll too small to be seen, mm: it must have made a whole turn.
const TRAVEL_OF_A_TURN_MM: f64 = 500.0;
/// Stations that turn by less than this have no axis, degrees.
const ALIKE_DEG: f64 = 0.5;
/// A step in roll angle from which its sense is taken from the travel: half a turn looks the same either way.
const AMBIGUOUS_STEP_DEG: f64 = 120.0;
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
    /// Travel of the wheel centre over roll angle, mm.
    pub rolling_radius_mm: f64,
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
        let radius = least <= self.rolling_radius_mm && self.rolling_radius_mm <= most;
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
        let radius = self.rolling_radius_mm;
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

/// The compensation of all four wheels, with what the fit left over.
#[derive(Debug, Clone, PartialEq)]
pub struct RollingCompensation {
    /// Where each wheel sits in its target.
    pub wheels: ByWheel<Compensation>,
    /// The direction in which the car travelled as it rolled forward: unit vector, horizontal, in the rig frame.
    pub travel_direction_in_rig: [f64; 3],
    /// Per station and wheel: how far the pose lies from the fitted motion. Absent where the wheel was not seen.
    pub residuals: Vec<ByWheel<Option<Residual>>>,
    /// What is weak in it.
    pub warnings: Vec<Warning>,
}

/// Compensates the clamps from stations at which the car was rolled without slip (see the [module](self)).
///
/// `up` is the unit vector upward in the rig frame; `loaded_radius_mm` stands in for the rolling radius where a wheel was
/// seen at two distinct stations only, which cannot give it. The order of the stations does not matter.
///
/// # Errors
/// Those of the poses; [`ErrorCode::TooFewStations`], [`ErrorCode::RollTooSmall`] (below 10°),
/// [`ErrorCode::RollFullTurn`], [`ErrorCode::SpindleNotLateral`], [`ErrorCode::UpInverted`], [`ErrorCode::LengthOutOfRange`] for a
/// standoff, a loaded radius or a rolling radius that no car has.
///
/// ```
/// # use alignment_core::{compensation, session::ByAxle, simulate::VirtualVehicle};
/// let car = VirtualVehicle::default();
/// let session = car.session();
/// let rolled = compensation::from_rolling(
///     &session.rolling,
///     session.up.unwrap(),
///     &session.clamp_standoff_mm,
///     &ByAxle::default(),
/// )?;
/// assert!((rolled.wheels.fl.rolling_radius_mm - car.front.rolling_radius_mm).abs() < 1e-6);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn from_rolling(
    rolling: &[Station],
    up: [f64; 3],
    clamp_standoff_mm: &ByWheel<f64>,
    loaded_radius_mm: &ByAxle<Option<f64>>,
) -> Result<RollingCompensation, Error> {
    let up = session::up_in_rig(up)?;
    let stations = session::resolve_all(rolling, Stage::Rolling)?;
    session::check_loaded_radii(loaded_radius_mm)?;
    for wheel in Wheel::ALL {
        let standoff = *clamp_standoff_mm.get(wheel);
        session::check_range(
            ErrorCode::LengthOutOfRange,
            "clamp_standoff_mm",
            standoff,
            session::CLAMP_STANDOFF_RANGE_MM,
        )
        .map_err(|error| error.wheel(wheel))?;
    }
    from_poses(&stations, up, clamp_standoff_mm, loaded_radius_mm)
}

/// The same for checked poses.
pub(crate) fn from_poses(
    stations: &[Poses],
    up: Vector<Rig>,
    clamp_standoff_mm: &ByWheel<f64>,
    loaded_radius_mm: &ByAxle<Option<f64>>,
) -> Result<RollingCompensation, Error> {
    let origins = ByWheel::try_from_fn(|wheel| mean_origin(stations, wheel))?;
    let rolls = ByWheel::try_from_fn(|wheel| {
        let across = *origins.get(wheel) - *origins.get(wheel.opposite());
        RolledWheel::observe(stations, wheel, across, up).map_err(|error| error.stage(Stage::Rolling).wheel(wheel))
    })?;

    let mut warnings = Vec::new();
    let mut travel = Vector::zero();
    let mut radii = ByWheel::default();
    for wheel in Wheel::ALL {
        let roll = rolls.get(wheel);
        let (step, assumed_radius) = if let Some(step) = roll.free_travel(up) {
            (step, None)
        } else {
            let radius = loaded_radius_mm.of_wheel(wheel).ok_or(
                Error::new(ErrorCode::TooFewStations)
                    .stage(Stage::Rolling)
                    .wheel(wheel)
                    .value(roll.count())
                    .at_least(3.0),
            )?;
            let warning = Warning::new(WarningCode::RollingRadiusAssumed).stage(Stage::Rolling).wheel(wheel);
            warnings.push(warning.value(radius, "mm"));
            (roll.travel_with_radius(radius, up), Some(radius))
        };
        if step.dot(roll.heading) < 0.0 {
            return Err(Error::new(ErrorCode::UpInverted).stage(Stage::Rolling).wheel(wheel));
        }
        travel = travel + step;
        *radii.get_mut(wheel) = assumed_radius;
        if roll.range_deg < SHORT_ROLL_DEG {
            warnings.push(Warning::new(WarningCode::RollShort).stage(Stage::Rolling).wheel(wheel).figure(
                roll.range_deg,
                SHORT_ROLL_DEG,
                "deg",
            ));
        }
    }
    let travel = travel.unit();

    let mut residuals: Vec<ByWheel<Option<Residual>>> = stations.iter().map(|_| ByWheel::default()).collect();
    let wheels = ByWheel::try_from_fn(|wheel| {
        let roll = rolls.get(wheel);
        let located = |error: Error| error.stage(Stage::Rolling).wheel(wheel);
        let (radius, offset) = roll
            .radius_and_offset(travel, *radii.get(wheel))
            .ok_or(located(Error::new(ErrorCode::TooFewStations).value(roll.count()).at_least(3.0)))?;
        let range = session::LOADED_RADIUS_RANGE_MM;
        session::check_range(ErrorCode::LengthOutOfRange, "rolling_radius_mm", radius, range).map_err(located)?;
        roll.residuals(travel, radius, offset, |station, residual| {
            *residuals[station].get_mut(wheel) = Some(residual);
        });
        let spindle = roll.direction.in_moving;
        Ok(Compensation {
            spindle_in_target: spindle.to_array(),
            centre_in_target_mm: (offset - spindle * *clamp_standoff_mm.get(wheel)).to_array(),
            runout_deg: runout_deg(spindle),
            rolling_radius_mm: radius,
            roll_range_deg: roll.range_deg,
        })
    })?;
    Ok(RollingCompensation { wheels, travel_direction_in_rig: travel.to_array(), residuals, warnings })
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

fn mean_origin(stations: &[Poses], wheel: Wheel) -> Result<Vector<Rig>, Error> {
    let (mut sum, mut count) = (Vector::zero(), 0.0);
    for pose in stations.iter().filter_map(|station| station.get(wheel).as_ref()) {
        sum = sum + pose.origin();
        count += 1.0;
    }
    if count < 2.0 {
        return Err(Error::new(ErrorCode::TooFewStations)
            .stage(Stage::Rolling)
            .wheel(wheel)
            .value(count)
            .at_least(2.0));
    }
    Ok(sum * (1.0 / count))
}

/// One station of one rolled wheel, as deviations from the means over the stations.
struct RolledStation<'a> {
    index: usize,
    pose: &'a Transform<Rig, Target>,
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

impl<'a> RolledWheel<'a> {
    fn observe(stations: &'a [Poses], wheel: Wheel, across: Vector<Rig>, up: Vector<Rig>) -> Result<Self, Error> {
        let poses = || stations.iter().filter_map(|station| station.get(wheel).as_ref());
        let mut direction = FixedDirection::fit(poses());
        let equivalent_deg = direction.equivalent_angle_deg();
        let origin = poses().next().map_or(Vector::zero(), Transform::origin);
        // A wheel's centre travels far more than this between stations that only look alike.
        let turned = poses().any(|pose| (pose.origin() - origin).norm() > TRAVEL_OF_A_TURN_MM);
        let alike = if turned { ErrorCode::RollFullTurn } else { ErrorCode::RollTooSmall };
        if equivalent_deg < ALIKE_DEG {
            // Nothing turned, so nothing below would mean anything.
            return Err(Error::new(alike).value(equivalent_deg).at_least(MIN_ROLL_DEG));
        }
        if direction.in_rig.dot(across) < 0.0 {
            direction = direction.reversed();
        }
        let outward = direction.in_rig;
        // To the line between the wheels, and to the level: across a spindle that stands upright no wheel rolls forward.
        let skew_deg = atan2_deg(outward.cross(across).norm(), outward.dot(across))
            .max(atan2_deg(outward.dot(up).abs(), outward.cross(up).norm()));
        if skew_deg > MAX_SPINDLE_SKEW_DEG {
            return Err(Error::new(ErrorCode::SpindleNotLateral).value(skew_deg).at_most(MAX_SPINDLE_SKEW_DEG));
        }
        let side = wheel.side().sign();
        let heading = (outward.cross(up) * side).unit();

        let first = direction.in_moving.any_square();
        let square = [first, direction.in_moving.cross(first)];
        let seen = stations
            .iter()
            .enumerate()
            .filter_map(|(index, station)| station.get(wheel).as_ref().map(|pose| (index, pose)))
            .map(|(index, pose)| RolledStation {
                index,
                pose,
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

    /// How far each pose lies from the fitted motion.
    fn residuals(
        &self,
        travel: Vector<Rig>,
        radius_mm: f64,
        offset: Vector<Target>,
        mut put: impl FnMut(usize, Residual),
    ) {
        let [along_b, along_c] = self.square.map(|axis| axis.dot(offset));
        for station in &self.stations {
            let [b, c] = station.square;
            let left_over = station.origin - travel * (station.roll_rad * radius_mm) + b * along_b + c * along_c;
            let tilt = station.pose.direction(self.direction.in_moving) - self.direction.in_rig;
            put(station.index, Residual { rotation_deg: deg_from_rad(tilt.norm()), translation_mm: left_over.norm() });
        }
    }
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
