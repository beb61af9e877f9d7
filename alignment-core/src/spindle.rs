//! What turning a wheel shows of its spindle: rolled on the ground, or spun in the air. One wheel at a time; how the four share one body is
//! [`compensation`](crate::compensation)'s matter.

use crate::error::{Error, ErrorCode};
use crate::frame::{Rig, Target, Transform, Vector};
use crate::lanes::Real;
use crate::layout::Wheel;
use crate::rigid::FixedDirection;
use crate::session::{PoseNoise, Poses};
use crate::slip::{self, Slip};
use crate::units::{self, DEG_PER_RAD, atan2_deg, deg_from_rad, rad_from_deg};
use alloc::vec::Vec;
use nalgebra::{Matrix2x1, Matrix2x5, Vector2};

/// The greatest angle between a spindle and the line across its axle, degrees. No wheel of a car comes near it.
pub(crate) const MAX_SPINDLE_SKEW_DEG: f64 = 60.0;
/// Its tangent.
const TAN_MAX_SPINDLE_SKEW: f64 = 1.732_050_807_568_877_2;
/// Travel that no wheel makes in a roll too small to be seen, mm: it must have made a whole turn.
const TRAVEL_OF_A_TURN_MM: f64 = 500.0;
/// Stations that turn by less than this have no axis, degrees.
const ALIKE_DEG: f64 = 0.5;
/// A step in roll angle from which its sense is taken from the travel: half a turn looks the same either way.
const AMBIGUOUS_STEP_DEG: f64 = 120.0;
/// A slip smaller than this in the path of a target is never looked for: rounding is no slip.
pub(crate) const LEAST_SLIP_MM: f64 = 1e-3;
/// The least share of a column that must be left over after the columns before it are taken out, for a fit to be solved.
const MIN_PIVOT: f64 = 1e-6;
/// The least roll angle between the extreme stations, degrees.
pub const MIN_ROLL_DEG: f64 = 10.0;

/// Which way is outward at a wheel, in the rig: surely, or but for a large angle.
#[derive(Clone, Copy)]
pub(crate) enum Lateral {
    Sure(Vector<Rig>),
    Rough(Vector<Rig>),
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

/// The angle between the spindle and the nearest axis of the target, degrees.
#[inline(always)]
pub(crate) fn runout_deg<T: Real>(spindle: Vector<Target, T>) -> T {
    let [x, y, z] = spindle.to_array();
    let zero = x.like(0.0);
    let (mut most, mut across) = (zero, zero);
    for (along, b, c) in [(x, y, z), (y, z, x), (z, x, y)] {
        let along = along.if_less(zero, -along, along);
        across = most.if_less(along, b.hypot(c), across);
        most = most.if_less(along, along, most);
    }
    across.atan2_deg(most)
}

/// One station of one rolled wheel, as deviations from the means over the stations.
pub(crate) struct RolledStation<'a, T = f64> {
    pub(crate) index: usize,
    /// The pose, with the body's turning taken out of its rotation.
    pub(crate) straight: &'a Transform<Rig, Target, T>,
    /// Roll angle, forward positive, radians; its mean over the stations is 0.
    pub(crate) roll_rad: T,
    /// Target origin less the mean origin.
    origin: Vector<Rig, T>,
    /// The two axes square to the spindle, seen in the rig, less their means.
    pub(crate) square: [Vector<Rig, T>; 2],
}

/// What rolling shows of one wheel before the travel that all share is known: of one wheel, or of one in each of several records.
pub(crate) struct RolledWheel<'a, T = f64> {
    pub(crate) direction: FixedDirection<Target, T>,
    /// The direction in which the wheel points, in the rig: horizontal, and forward if the sides are as named.
    pub(crate) heading: Vector<Rig, T>,
    pub(crate) stations: Vec<RolledStation<'a, T>>,
    sums: Sums<T>,
    pub(crate) range_deg: T,
}

/// What the stations of one rolled wheel add up to: all that the least squares of p = c₀ + θ·(travel) + b·β + c·γ needs of them.
#[derive(Clone, Copy)]
struct Sums<T> {
    /// Of the squares of the roll angle.
    roll: T,
    /// Of the roll angle times the two axes square to the spindle, and times the origin.
    b: Vector<Rig, T>,
    c: Vector<Rig, T>,
    origin: Vector<Rig, T>,
    /// Of the scalar products of the two axes, and of each with the origin.
    bb: T,
    bc: T,
    cc: T,
    b_origin: T,
    c_origin: T,
}

impl<T: Real> Sums<T> {
    #[inline(always)]
    fn of(stations: &[RolledStation<'_, T>]) -> Self {
        let roll = stations[0].roll_rad.like(0.0);
        let (b, c, origin) = (Vector::none_like(roll), Vector::none_like(roll), Vector::none_like(roll));
        let mut sums = Self { roll, b, c, origin, bb: roll, bc: roll, cc: roll, b_origin: roll, c_origin: roll };
        for station in stations {
            let ([b, c], origin, roll) = (station.square, station.origin, station.roll_rad);
            sums = Self {
                roll: sums.roll + roll * roll,
                b: sums.b + b * roll,
                c: sums.c + c * roll,
                origin: sums.origin + origin * roll,
                bb: sums.bb + b.dot(b),
                bc: sums.bc + b.dot(c),
                cc: sums.cc + c.dot(c),
                b_origin: sums.b_origin + b.dot(origin),
                c_origin: sums.c_origin + c.dot(origin),
            };
        }
        sums
    }
}

/// The wheel's own path over the ground.
#[derive(Clone, Copy)]
pub(crate) struct OwnPath {
    /// Travel per radian of roll.
    pub(crate) step: Vector<Rig>,
    /// From the target's origin to the spindle.
    pub(crate) offset: Vector<Target>,
}

impl<'a> RolledWheel<'a> {
    /// What the stations show of one wheel whose body may turn: `straightened` are the stations with that turning taken out of the rotations.
    /// The wheel centre rolls on the path of the wheel, not the target, which stands off.
    pub(crate) fn observe_turning(
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
            station.origin = station.origin - outward * standoff_mm;
        }
        roll.sums = centre(&mut roll.stations);
        Ok(roll)
    }

    /// What the stations show of one wheel; `straightened` are the same stations unless the body turns.
    pub(crate) fn observe(
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
        let alike = || {
            let turned = poses().any(|pose| (pose.origin() - origin).norm() > TRAVEL_OF_A_TURN_MM);
            if turned { ErrorCode::RollFullTurn } else { ErrorCode::RollTooSmall }
        };
        if equivalent_deg < ALIKE_DEG {
            // Nothing turned, so nothing below would mean anything.
            return Err(Error::new(alike()).value(equivalent_deg).at_least(MIN_ROLL_DEG));
        }
        let direction = outward(direction, lateral)?;
        let outward = direction.in_rig;
        // Across a spindle that stands upright no wheel rolls forward.
        if !lies_across_up(outward, up) {
            let rise_deg = atan2_deg(outward.dot(up).abs(), outward.cross(up).norm());
            return Err(Error::new(ErrorCode::SpindleNotLateral).value(rise_deg).at_most(MAX_SPINDLE_SKEW_DEG));
        }
        let side = wheel.side().sign();
        let heading = (outward.cross(up) * side).unit();

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
                square: direction.square.map(|axis| pose.direction(axis)),
            });
        let mut stations = Vec::with_capacity(stations.len());
        stations.extend(seen);
        units::sort_by(&mut stations, |a, b| a.origin.dot(heading).total_cmp(&b.origin.dot(heading)));
        let range_deg = unwrap_roll(&mut stations, outward, heading, side, likely_step);
        // A roll that was aimed at the bound is not refused for rounding.
        if range_deg < MIN_ROLL_DEG - 1e-6 {
            return Err(Error::new(alike()).value(range_deg).at_least(MIN_ROLL_DEG));
        }
        if equivalent_deg < MIN_ROLL_DEG * 0.5 {
            return Err(Error::new(ErrorCode::RollFullTurn).value(equivalent_deg).at_least(MIN_ROLL_DEG * 0.5));
        }

        let sums = centre(&mut stations);
        Ok(Self { direction, heading, stations, sums, range_deg })
    }

    #[expect(clippy::cast_precision_loss, reason = "the number of stations is far below 2^52")]
    pub(crate) fn count(&self) -> f64 {
        self.stations.len() as f64
    }

    /// The wheel's own travel per radian of roll, r·d, horizontal: least squares for (r·d, o). None when the stations
    /// do not tell r·d from o: that takes three distinct roll angles.
    pub(crate) fn free_travel(&self, up: Vector<Rig>) -> Option<Vector<Rig>> {
        let (travel, told) = self.travel_if_told(up);
        told.then_some(travel)
    }

    /// The wheel's own travel per radian of roll when its radius is known: only the direction is open.
    pub(crate) fn travel_with_radius(&self, radius_mm: f64, up: Vector<Rig>) -> Vector<Rig> {
        // Along the spindle the target's origin moves by travel alone, since o is square to it.
        let spindle = self.direction.in_rig;
        let Sums { roll: weight, origin, .. } = self.sums;
        let level = spindle.square_to(up).unit();
        let lateral = (origin.dot(spindle) / weight / radius_mm / spindle.dot(level)).clamp(-1.0, 1.0);
        let sense = origin.dot(self.heading);
        let forward = units::sqrt(1.0 - lateral * lateral) * radius_mm;
        self.heading * forward.copysign(sense) + level * (lateral * radius_mm)
    }

    /// The rolling radius (unless given) and the offset o from target origin to spindle, for a known travel direction.
    pub(crate) fn radius_and_offset(
        &self,
        travel: Vector<Rig>,
        radius_mm: Option<f64>,
    ) -> Option<(f64, Vector<Target>)> {
        let (radius_and_offset, told) = self.radius_and_offset_if_told(travel, radius_mm);
        told.then_some(radius_and_offset)
    }

    /// The wheel's own travel per radian of roll and its offset, whatever it moves sideways, since a body that turns takes it there. None when
    /// the stations do not tell radius from offset.
    pub(crate) fn own_path(&self, up: Vector<Rig>) -> Option<OwnPath> {
        let spindle = self.direction.in_rig;
        let level = spindle.square_to(up).unit();
        let (mut normal, mut right) = ([[0.0; 3]; 3], [0.0; 3]);
        for station in &self.stations {
            let [b, c] = station.square;
            let columns = [self.heading * station.roll_rad, b, c].map(|column| self.but_for(level, column));
            accumulate(&mut normal, &mut right, &columns, self.but_for(level, station.origin));
        }
        let (solution, told) = solve(normal, right);
        if !told {
            return None;
        }
        let [b, c] = self.direction.square;
        let offset = -(b * solution[1] + c * solution[2]);
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
    pub(crate) fn radius_beside<'r>(&self, others: impl Iterator<Item = (&'r RolledWheel<'r>, f64)>) -> Option<f64> {
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
            let mean = both().fold(0.0, |sum, (roll, _)| sum + roll) / count;
            // Deviations add up to nothing, so that of the travel its own mean need not be taken.
            for (roll, travel) in both() {
                travelled += (roll - mean) * travel;
                turned += (roll - mean) * roll;
            }
        }
        (turned > 0.0).then(|| travelled / turned)
    }

    /// A wheel that rolls backward as the car moves forward has its top below.
    pub(crate) fn check_sense(&self, step: Vector<Rig>) -> Result<(), Error> {
        if step.dot(self.heading) < 0.0 { Err(Error::new(ErrorCode::UpInverted)) } else { Ok(()) }
    }

    /// How far each pose lies from the fitted motion.
    pub(crate) fn residuals(
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
    pub(crate) fn residuals_but_sideways(&self, path: &OwnPath, up: Vector<Rig>, put: &mut dyn FnMut(usize, Residual)) {
        let level = self.direction.in_rig.square_to(up).unit();
        for station in &self.stations {
            let left_over = station.origin - path.step * station.roll_rad + self.seen(station, path.offset);
            let left_over = self.but_for(level, left_over);
            put(station.index, Residual { rotation_deg: self.tilt_deg(station), translation_mm: left_over.norm() });
        }
    }

    /// The stations in the order in which they were taken.
    pub(crate) fn in_order(&self) -> impl Iterator<Item = (usize, &'a Transform<Rig, Target>)> + Clone + use<'a> {
        let mut ordered: Vec<_> = self.stations.iter().map(|station| (station.index, station.straight)).collect();
        units::sort_by(&mut ordered, |(a, _), (b, _)| a.cmp(b));
        ordered.into_iter()
    }

    /// A target that slipped round the spindle: at that station the wheel seems to have rolled further, or less, than it travelled.
    pub(crate) fn slip_about_spindle(
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
                        weight * roll,
                        weight * b.dot(travel),
                        weight * c.dot(travel),
                        0.0,
                        1.0,
                        0.0,
                        b.dot(up),
                        c.dot(up),
                    ),
                    slip: Matrix2x1::new(weight * radius_mm, 0.0),
                }
            })
            .collect();
        units::sort_by(&mut rows, |a, b| a.station.cmp(&b.station));
        let slip = slip::find(&rows, noise.map(|_| upward), LEAST_SLIP_MM)?;
        Some((rows[slip.row].station, slip))
    }

    /// How much a target scatters along its travel and upward, mm, as the stations show it: when no noise is stated.
    fn scatter_mm(&self, travel: Vector<Rig>, radius_mm: f64, up: Vector<Rig>) -> (f64, f64) {
        let tilt_deg = units::root_mean_square(self.stations.iter().map(|station| self.tilt_deg(station)));
        let Some((_, offset)) = self.radius_and_offset(travel, Some(radius_mm)) else { return (0.0, 0.0) };
        // The travel is level.
        let left_over = self.stations.iter().map(|station| (station.origin + self.seen(station, offset)).dot(up));
        let upward = units::root_mean_square(left_over);
        (units::hypot(upward, radius_mm * rad_from_deg(tilt_deg) / units::sqrt(2.0)), upward)
    }
}

#[cfg(feature = "simd")]
impl<'a, T: Real> RolledWheel<'a, T> {
    /// As [`observe`](RolledWheel::observe) of a wheel that was seen at all stations, `across` being outward; and whether it is beyond doubt: it
    /// rolled far enough for no warning, by steps that can be no others. The stations stand in the order of travel of the number that
    /// `first` takes.
    #[inline(always)]
    pub(crate) fn observe_plain(
        stations: &'a [[Transform<Rig, Target, T>; 4]],
        wheel: Wheel,
        across: Vector<Rig, T>,
        up: Vector<Rig, T>,
        first: impl Fn(T) -> f64,
    ) -> (Self, T::Truth) {
        /// The angles and the travel that [`likely_step`] takes as they are.
        const STEP_RAD: [f64; 2] = [-2.0, 3.0];
        const TRAVEL_MM: [f64; 2] = [f64::MIN_POSITIVE, 199.0];
        let poses = || stations.iter().map(|station| &station[wheel.index()]);
        let (direction, told) = FixedDirection::fit_plain(poses(), up.x(), MIN_ROLL_DEG * 0.5);
        let direction = direction.pointing_along(across);
        let outward = direction.in_rig;
        let sound = told & lies_across(outward, across) & lies_across_up(outward, up);
        let side = wheel.side().sign();
        let heading = (outward.cross(up) * up.x().like(side)).unit();

        let mut order = Vec::with_capacity(stations.len());
        for (index, pose) in poses().enumerate() {
            order.push((index, pose, first(pose.origin().dot(heading))));
        }
        units::sort_by(&mut order, |a, b| a.2.total_cmp(&b.2));
        let mut stations = Vec::with_capacity(order.len());
        for (index, pose, _) in order {
            let [b, c] = direction.square;
            let square = [pose.direction(b), pose.direction(c)];
            let (straight, roll_rad, origin) = (pose, up.x().like(0.0), pose.origin());
            stations.push(RolledStation { index, straight, roll_rad, origin, square });
        }
        let mut sound = sound;
        let mut started = false;
        let range_deg = unwrap_roll(&mut stations, outward, heading, side, |angle_rad, travel_mm| {
            if started {
                sound = sound & angle_rad.within(STEP_RAD) & travel_mm.within(TRAVEL_MM);
            }
            started = true;
            angle_rad
        });
        let sums = centre(&mut stations);
        (Self { direction, heading, stations, sums, range_deg }, sound)
    }
}

impl<T: Real> RolledWheel<'_, T> {
    /// The wheel's own travel per radian of roll, and whether the stations tell it.
    #[inline(always)]
    pub(crate) fn travel_if_told(&self, up: Vector<Rig, T>) -> (Vector<Rig, T>, T::Truth) {
        let Sums { roll, b, c, origin, bb, bc, cc, b_origin, c_origin } = self.sums;
        let (ahead, left, zero) = (self.heading, up.cross(self.heading), roll.like(0.0));
        // The two directions are square to each other.
        #[rustfmt::skip]
        let normal = [
            [roll, zero, zero, zero],
            [zero, roll, zero, zero],
            [ahead.dot(b), left.dot(b), bb, zero],
            [ahead.dot(c), left.dot(c), bc, cc],
        ];
        let (solution, told) = solve(normal, [ahead.dot(origin), left.dot(origin), b_origin, c_origin]);
        (self.heading * solution[0] + left * solution[1], told)
    }

    /// The rolling radius (unless given) and the offset o from target origin to spindle, for a known travel direction, and whether the stations
    /// tell them.
    #[inline(always)]
    pub(crate) fn radius_and_offset_if_told(
        &self,
        travel: Vector<Rig, T>,
        radius_mm: Option<T>,
    ) -> ((T, Vector<Target, T>), T::Truth) {
        let Sums { roll, b, c, origin, bb, bc, cc, b_origin, c_origin } = self.sums;
        let (by_b, by_c) = (travel.dot(b), travel.dot(c));
        let (zero, one) = (roll.like(0.0), roll.like(1.0));
        let (solution, told) = match radius_mm {
            None => {
                solve([[roll, zero, zero], [by_b, bb, zero], [by_c, bc, cc]], [travel.dot(origin), b_origin, c_origin])
            }
            // An empty equation, 1·r = 0, in the place of the known radius.
            Some(radius) => solve(
                [[one, zero, zero], [zero, bb, zero], [zero, bc, cc]],
                [zero, b_origin - radius * by_b, c_origin - radius * by_c],
            ),
        };
        // p = … − R·o: the columns carry +R, so the solution is −o.
        let [b, c] = self.direction.square;
        let offset = -(b * solution[1] + c * solution[2]);
        ((radius_mm.unwrap_or(solution[0]), offset), told)
    }

    /// The offset from the target's origin to the spindle as a station sees it, less its mean.
    #[inline(always)]
    fn seen(&self, station: &RolledStation<'_, T>, offset: Vector<Target, T>) -> Vector<Rig, T> {
        let [b, c] = station.square;
        b * self.direction.square[0].dot(offset) + c * self.direction.square[1].dot(offset)
    }

    #[inline(always)]
    fn tilt_deg(&self, station: &RolledStation<'_, T>) -> T {
        let tilt = (station.straight.direction(self.direction.in_moving) - self.direction.in_rig).norm();
        tilt * tilt.like(DEG_PER_RAD)
    }

    /// How far each pose lies from the motion fitted to a car that goes straight, as sums of squares: tilts, deg², and shifts, mm².
    #[cfg(feature = "simd")]
    #[inline(always)]
    pub(crate) fn left_over(&self, travel: Vector<Rig, T>, radius_mm: T, offset: Vector<Target, T>) -> [T; 2] {
        let [mut tilts, mut shifts] = [radius_mm.like(0.0); 2];
        for station in &self.stations {
            let shift = station.origin - travel * (station.roll_rad * radius_mm) + self.seen(station, offset);
            let tilt_deg = self.tilt_deg(station);
            (tilts, shifts) = (tilts + tilt_deg * tilt_deg, shifts + shift.dot(shift));
        }
        [tilts, shifts]
    }
}

/// Whether a spindle that points outward lies near enough to the line across its axle.
#[inline(always)]
fn lies_across<T: Real>(outward: Vector<Rig, T>, across: Vector<Rig, T>) -> T::Truth {
    let (sin, cos) = (outward.cross(across).norm(), outward.dot(across));
    (cos * cos.like(TAN_MAX_SPINDLE_SKEW) - sin).within([0.0, f64::INFINITY])
}

/// Whether a spindle lies near enough to the level for its wheel to roll forward.
#[inline(always)]
fn lies_across_up<T: Real>(outward: Vector<Rig, T>, up: Vector<Rig, T>) -> T::Truth {
    let (rise, level) = (outward.dot(up), outward.cross(up).norm() * up.x().like(TAN_MAX_SPINDLE_SKEW));
    (level - rise).within([0.0, f64::INFINITY]) & (level + rise).within([0.0, f64::INFINITY])
}

/// What spinning shows of one wheel.
pub(crate) struct SpunWheel<'a> {
    pub(crate) direction: FixedDirection<Target>,
    /// From the target's origin to the spindle.
    pub(crate) offset: Vector<Target>,
    /// Where the point of the spindle nearest to the target's origin stayed.
    pub(crate) centre_in_rig: Vector<Rig>,
    pub(crate) range_deg: f64,
    stations: &'a [Poses],
    wheel: Wheel,
}

impl<'a> SpunWheel<'a> {
    pub(crate) fn observe(stations: &'a [Poses], wheel: Wheel, lateral: Lateral) -> Result<Self, Error> {
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
        if range_deg < MIN_ROLL_DEG - 1e-6 {
            return Err(too_small(range_deg));
        }
        let (offset, centre_in_rig) = direction.fixed_point(poses(), Vector::zero());
        Ok(Self { direction, offset, centre_in_rig, range_deg, stations, wheel })
    }

    pub(crate) fn poses(&self) -> impl Iterator<Item = (usize, &'a Transform<Rig, Target>)> + Clone + use<'a> {
        let wheel = self.wheel;
        let numbered = self.stations.iter().enumerate();
        numbered.filter_map(move |(index, station)| Some((index, station.get(wheel).as_ref()?)))
    }
}

/// The direction with the sign that points outward; refused when it lies too far from across the car.
fn outward(direction: FixedDirection<Target>, lateral: Lateral) -> Result<FixedDirection<Target>, Error> {
    let (Lateral::Sure(across) | Lateral::Rough(across)) = lateral;
    let direction = direction.pointing_along(across);
    if matches!(lateral, Lateral::Sure(_)) && !lies_across(direction.in_rig, across) {
        let skew_deg = atan2_deg(direction.in_rig.cross(across).norm(), direction.in_rig.dot(across));
        return Err(Error::new(ErrorCode::SpindleNotLateral).value(skew_deg).at_most(MAX_SPINDLE_SKEW_DEG));
    }
    Ok(direction)
}

/// Writes the roll angle of each station, forward positive, into stations sorted by travel; returns its range, degrees. `likely` tells the
/// roll angle of a step from its value but for whole turns and the travel that went with it.
#[inline(always)]
fn unwrap_roll<T: Real>(
    stations: &mut [RolledStation<'_, T>],
    outward: Vector<Rig, T>,
    heading: Vector<Rig, T>,
    side: f64,
    mut likely: impl FnMut(T, T) -> T,
) -> T {
    let reference = stations[0].square[0].square_to(outward).unit();
    let quarter = outward.cross(reference);
    let (side, zero) = (reference.x().like(side), reference.x().like(0.0));
    let (mut previous, mut turned, mut previous_mm) = (zero, zero, stations[0].origin.dot(heading));
    let (mut least, mut most) = (zero, zero);
    for station in stations {
        let [b, c] = station.square;
        // The angle that best turns (reference, quarter) into both axes at once.
        let angle = side * (b.dot(quarter) - c.dot(reference)).atan2_rad(b.dot(reference) + c.dot(quarter));
        let travel_mm = station.origin.dot(heading);
        let step = likely(angle - previous, travel_mm - previous_mm);
        (previous, previous_mm) = (angle, travel_mm);
        turned = turned + step;
        station.roll_rad = turned;
        least = turned.if_less(least, turned, least);
        most = most.if_less(turned, turned, most);
    }
    (most - least) * most.like(DEG_PER_RAD)
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

/// Takes the means over the stations out, so that c₀ drops out of the fit; then adds them up.
#[inline(always)]
fn centre<T: Real>(stations: &mut [RolledStation<'_, T>]) -> Sums<T> {
    let number = stations[0].roll_rad;
    #[expect(clippy::cast_precision_loss, reason = "the number of stations is far below 2^52")]
    let share = number.like(1.0 / stations.len() as f64);
    let (mut roll, [mut origin, mut b, mut c]) = (number.like(0.0), [Vector::none_like(number); 3]);
    for station in &*stations {
        roll = roll + station.roll_rad;
        origin = origin + station.origin;
        (b, c) = (b + station.square[0], c + station.square[1]);
    }
    let (roll, origin, b, c) = (roll * share, origin * share, b * share, c * share);
    for station in &mut *stations {
        station.roll_rad = station.roll_rad - roll;
        station.origin = station.origin - origin;
        station.square = [station.square[0] - b, station.square[1] - c];
    }
    Sums::of(stations)
}

/// Adds one vector equation, columns · unknowns = observed, to the normal equations.
fn accumulate<const N: usize>(
    normal: &mut [[f64; N]; N],
    right: &mut [f64; N],
    columns: &[Vector<Rig>; N],
    observed: Vector<Rig>,
) {
    for i in 0..N {
        right[i] += columns[i].dot(observed);
        // The lower triangle is all that is read.
        for j in 0..=i {
            normal[i][j] += columns[i].dot(columns[j]);
        }
    }
}

/// Solves normal equations, of which the lower triangle is read, by Cholesky. Says whether they can be solved: not when a column is a mix of those
/// before it. The same steps as nalgebra's, which takes single numbers alone.
#[inline(always)]
fn solve<T: Real, const N: usize>(normal: [[T; N]; N], right: [T; N]) -> ([T; N], T::Truth) {
    let (mut factor, mut solution) = (normal, right);
    let mut sound = right[0].like(0.0).within([0.0, 0.0]);
    for j in 0..N {
        for k in 0..j {
            let share = -factor[j][k];
            for row in &mut factor[j..] {
                row[j] = share * row[k] + row[j];
            }
        }
        let pivot = factor[j][j].sqrt();
        factor[j][j] = pivot;
        for row in &mut factor[j + 1..] {
            row[j] = row[j] / pivot;
        }
        let (zero, one) = (pivot.like(0.0), pivot.like(1.0));
        sound = sound & (pivot.like(MIN_PIVOT) * normal[j][j]).if_less(pivot * pivot, one, zero).within([1.0, 1.0]);
    }
    for i in 0..N {
        solution[i] = solution[i] / factor[i][i];
        for k in i + 1..N {
            solution[k] = -solution[i] * factor[k][i] + solution[k];
        }
    }
    for i in (0..N).rev() {
        let known = (i + 1..N).fold(right[0].like(0.0), |sum, k| sum + factor[k][i] * solution[k]);
        solution[i] = (solution[i] - known) / factor[i][i];
    }
    (solution, sound)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Forward where a target seen anew looks the same either way; the turn whose radius is a wheel's where the travel tells.
    #[test]
    fn a_step_is_the_likely_one() {
        const TURN: f64 = 2.0 * core::f64::consts::PI;
        for (angle_rad, travel_mm, expected) in [
            (0.3, 50.0, 0.3),
            (-2.0, -620.0, -2.0),
            // Beyond 120° backward it was forward.
            (-2.9, 100.0, TURN - 2.9),
            (3.5, 100.0, 3.5),
            (4.5, 100.0, 4.5 - TURN),
            (-2.9, 700.0, TURN - 2.9),
            // From 200 mm on the travel is asked.
            (0.0, 200.0_f64.next_down(), 0.0),
            (0.0, 200.0, TURN),
            (0.3, 90.0, 0.3),
            (0.3, 2000.0, 0.3 + TURN),
            (1.0, 310.0, 1.0),
            (-0.3, 1855.0, TURN - 0.3),
            (-0.3, 200.0, -0.3),
        ] {
            let found = likely_step(angle_rad, travel_mm);
            assert!((found - expected).abs() < 1e-12, "{angle_rad} over {travel_mm}: {found} is not {expected}");
        }
    }

    const UP: [f64; 3] = [0.0, 0.0, 1.0];
    const RADIUS_MM: f64 = 310.0;

    /// A left wheel that rolls by steps of 10°, and moves sideways by so much per radian; each station moved up by `rise` and its target tipped
    /// by `tip` about the vertical.
    fn rolled(sideways_mm: f64, rise_mm: impl Fn(i32) -> f64, tip_rad: impl Fn(i32) -> f64) -> Vec<Poses> {
        let turn =
            |axis: [f64; 3], angle: f64| nalgebra::Rotation3::new(nalgebra::Vector3::from(axis) * angle).into_inner();
        (0..9_i32)
            .map(|i| {
                let roll = rad_from_deg(10.0) * f64::from(i);
                let rotation = turn([0.0, 1.0, 0.0], roll);
                let off = rotation * nalgebra::Vector3::new(20.0, 0.0, -30.0);
                let centre =
                    nalgebra::Vector3::new(RADIUS_MM * roll, 700.0 + sideways_mm * roll, RADIUS_MM + rise_mm(i));
                let rotation = turn(UP, tip_rad(i)) * rotation;
                let mut station = Poses::default();
                *station.get_mut(Wheel::Fl) = Some(Transform::from_parts(rotation, Vector::wrap(centre + off)));
                station
            })
            .collect()
    }

    fn observed(stations: &[Poses]) -> RolledWheel<'_> {
        let lateral = Lateral::Sure(Vector::new([0.0, 1.0, 0.0]));
        RolledWheel::observe(stations, stations, Wheel::Fl, lateral, Vector::new(UP)).unwrap()
    }

    #[test]
    fn a_wheel_on_its_own_path_is_followed_sideways() {
        for sideways_mm in [0.0, 7.0, -40.0] {
            let stations = rolled(sideways_mm, |_| 0.0, |_| 0.0);
            let wheel = observed(&stations);
            let path = wheel.own_path(Vector::new(UP)).unwrap();
            let expected = Vector::<Rig>::new([RADIUS_MM, sideways_mm, 0.0]);
            assert!((path.step - expected).norm() < 1e-9, "{:?}", path.step);
            assert!((path.offset - Vector::new([-20.0, 0.0, 30.0])).norm() < 1e-9, "{:?}", path.offset);
        }
    }

    /// Rise and tip that alternate are hardly followed by the fit; the tip raises the target by its square alone.
    #[test]
    fn the_scatter_is_what_the_stations_show() {
        let sign = |i: i32| if i % 2 == 0 { 1.0 } else { -1.0 };
        for (rise_mm, tip_deg) in [(0.0, 0.0), (0.5, 0.0), (0.0, 0.2), (0.5, 0.2)] {
            let stations = rolled(0.0, |i| rise_mm * sign(i), |i| rad_from_deg(tip_deg) * sign(i));
            let (along, upward) =
                observed(&stations).scatter_mm(Vector::new([1.0, 0.0, 0.0]), RADIUS_MM, Vector::new(UP));
            let turned = RADIUS_MM * rad_from_deg(tip_deg) / units::sqrt(2.0);
            let expected = units::hypot(rise_mm, turned);
            assert!((upward - rise_mm).abs() <= 0.1 * rise_mm + 1e-3, "{upward} is not {rise_mm}");
            assert!((along - expected).abs() <= 0.1 * expected + 1e-9, "{along} is not {expected}");
        }
    }

    #[cfg(feature = "simd")]
    #[test]
    fn what_is_left_over_is_the_sum_of_the_residuals() {
        let stations = rolled(3.0, |i| 0.4 * libm::sin(2.0 * f64::from(i)), |i| 2e-3 * libm::cos(3.0 * f64::from(i)));
        let wheel = observed(&stations);
        let (travel, offset) = (Vector::new([1.0, 0.01, 0.0]).unit(), Vector::new([-19.0, 0.0, 31.0]));
        let (mut tilts, mut shifts) = (0.0, 0.0);
        for (index, pose) in wheel.in_order() {
            let station = wheel.stations.iter().find(|station| station.index == index).unwrap();
            let tilt_deg = deg_from_rad((pose.direction(wheel.direction.in_moving) - wheel.direction.in_rig).norm());
            let shift = station.origin + wheel.seen(station, offset) - travel * (RADIUS_MM * station.roll_rad);
            (tilts, shifts) = (tilts + tilt_deg * tilt_deg, shifts + shift.norm() * shift.norm());
        }
        let found = wheel.left_over(travel, RADIUS_MM, offset);
        assert!((found[0] / tilts - 1.0).abs() < 1e-12 && (found[1] / shifts - 1.0).abs() < 1e-12, "{found:?}");
    }

    /// A body that turns takes the target round with it and its wheel sideways; neither is taken for roll, radius or offset.
    #[test]
    fn a_wheel_on_a_body_that_turns_is_followed() {
        const STANDOFF_MM: f64 = 80.0;
        let up = Vector::<Rig>::new(UP);
        let turn =
            |axis: [f64; 3], angle: f64| nalgebra::Rotation3::new(nalgebra::Vector3::from(axis) * angle).into_inner();
        // A yaw of a cambered wheel passes for a roll, but little.
        for (sideways_mm, camber_rad, yaw_share) in [(0.0, 0.0, 1.0), (-25.0, 0.0, 1.0), (-25.0, 0.2, 0.0)] {
            let tilt = turn([1.0, 0.0, 0.0], camber_rad);
            let station = |i: i32, straight: bool| {
                let roll = rad_from_deg(10.0) * f64::from(i);
                let yaw = turn(UP, yaw_share * (0.03 * f64::from(i) - 0.004 * f64::from(i * i)));
                let rolled = tilt * turn([0.0, 1.0, 0.0], roll);
                let off = nalgebra::Vector3::new(20.0, STANDOFF_MM, -30.0);
                let centre = nalgebra::Vector3::new(RADIUS_MM * roll, 700.0 + sideways_mm * roll, RADIUS_MM);
                let origin = centre + yaw * rolled * off;
                let rotation = if straight { rolled } else { yaw * rolled };
                let mut station = Poses::default();
                *station.get_mut(Wheel::Fl) = Some(Transform::from_parts(rotation, Vector::wrap(origin)));
                station
            };
            let [stations, straightened] = [false, true].map(|straight| (0..9).map(|i| station(i, straight)).collect());
            let (stations, straightened): (Vec<Poses>, Vec<Poses>) = (stations, straightened);
            let lateral = Lateral::Sure(Vector::new([0.0, 1.0, 0.0]));
            let wheel =
                RolledWheel::observe_turning(&stations, &straightened, Wheel::Fl, lateral, up, STANDOFF_MM).unwrap();
            let path = wheel.own_path(up).unwrap();
            assert!((path.step - Vector::new([RADIUS_MM, sideways_mm, 0.0])).norm() < 1e-9, "{:?}", path.step);
            assert!((path.offset - Vector::new([-20.0, 0.0, 30.0])).norm() < 1e-9, "{:?}", path.offset);
            wheel.residuals_but_sideways(&path, up, &mut |station, residual| {
                assert!(residual.rotation_deg < 1e-9 && residual.translation_mm < 1e-9, "{station}: {residual:?}");
            });
        }
    }

    /// Wheels travel alike: a radius follows from that of another wheel over the stations that saw both.
    #[test]
    fn a_radius_follows_from_the_travel_of_another_wheel() {
        let stations = rolled(0.0, |_| 0.0, |_| 0.0);
        let but_for = |blocked: &[usize]| -> Vec<Poses> {
            let kept = stations.iter().enumerate();
            kept.map(|(i, station)| if blocked.contains(&i) { Poses::default() } else { *station }).collect()
        };
        let (own, other) = (but_for(&[7, 8]), but_for(&[0, 1, 3]));
        let (own, other) = (observed(&own), observed(&other));
        let radius = own.radius_beside([(&other, 299.0)].into_iter()).unwrap();
        assert!((radius - 299.0).abs() < 1e-9, "{radius}");
        // Two other wheels count alike, over as many stations.
        let radius = own.radius_beside([(&other, 299.0), (&other, 301.0)].into_iter()).unwrap();
        assert!((radius - 300.0).abs() < 1e-9, "{radius}");
        let apart = but_for(&[0, 1, 2, 3, 4, 5]);
        assert_eq!(own.radius_beside([(&observed(&apart), 299.0)].into_iter()), None);
    }

    /// The slip that was made, where it was made, though roll angles scatter more than positions do.
    #[test]
    fn a_slip_round_the_spindle_has_its_size() {
        let slip_rad = rad_from_deg(0.4);
        let turn = nalgebra::Rotation3::new(nalgebra::Vector3::new(0.0, slip_rad, 0.0)).into_inner();
        let mut stations = rolled(0.0, |_| 0.0, |_| 0.0);
        for station in &mut stations[5..] {
            let pose = station.get_mut(Wheel::Fl).as_mut().unwrap();
            // About the spindle, which does not move.
            let centre = pose.origin() - pose.direction(Vector::new([20.0, 0.0, -30.0]));
            let turned = Transform::<Rig, Target>::from_parts(turn * pose.rotation, Vector::zero());
            *pose = Transform::from_parts(turned.rotation, centre + turned.direction(Vector::new([20.0, 0.0, -30.0])));
        }
        for noise in [None, Some(PoseNoise { rotation_deg: 0.02, translation_mm: 0.05 })] {
            let forward = Vector::new([1.0, 0.0, 0.0]);
            let found = observed(&stations).slip_about_spindle(forward, RADIUS_MM, Vector::new(UP), noise);
            let Some((station, slip)) = found else { panic!("{noise:?}") };
            assert_eq!((station, slip.onward), (5, true), "{noise:?}");
            assert!((slip.size_rad - slip_rad).abs() < 1e-9, "{noise:?}: {}", slip.size_rad);
        }
    }

    /// 60° on either side of the line across, and above or below the level.
    #[test]
    fn a_spindle_lies_across_within_its_bound() {
        let up = Vector::<Rig>::new(UP);
        for (skew_deg, expected) in [(-60.01, false), (-59.99, true), (0.0, true), (59.99, true), (60.01, false)] {
            let (sin, cos) = libm::sincos(rad_from_deg(skew_deg));
            assert_eq!(lies_across(Vector::<Rig>::new([sin, cos, 0.0]), Vector::new([0.0, 1500.0, 0.0])), expected);
            assert_eq!(lies_across_up(Vector::new([0.6 * cos, 0.8 * cos, sin]), up), expected, "{skew_deg}");
        }
        assert!(!lies_across(Vector::<Rig>::new([0.0, -1.0, 0.0]), Vector::new([0.0, 1500.0, 0.0])));
    }

    /// Of two columns whose scalar product is r of their lengths, 1 − r² of the second is its own.
    #[test]
    fn a_column_that_is_a_mix_of_others_is_told_at_its_bound() {
        for length in [1e-3, 1.0, 1e3] {
            for (share, expected) in [(0.99, false), (1.01, true), (1e5, true)] {
                let r = units::sqrt(1.0 - share * MIN_PIVOT);
                let normal = [[4.0, 0.0], [2.0 * r * length, length * length]];
                // Of the unknowns 3 and −2/length.
                let right = [12.0 - 4.0 * r, 6.0 * r * length - 2.0 * length];
                let (solution, told) = solve(normal, right);
                assert_eq!(told, expected, "{length} {share}");
                assert!((solution[0] - 3.0).abs() < 1e-8 && (solution[1] * length + 2.0).abs() < 1e-8, "{solution:?}");
            }
        }
    }

    /// Targets that look alike turned wholly, or not at all: half a metre of travel tells.
    #[test]
    fn travel_tells_a_whole_turn_from_none() {
        for (travel_mm, code) in [(500.0, ErrorCode::RollTooSmall), (500.1, ErrorCode::RollFullTurn)] {
            let stations: Vec<Poses> = [0.0, travel_mm]
                .map(|x| {
                    let mut station = Poses::default();
                    *station.get_mut(Wheel::Fl) =
                        Some(Transform::from_parts(nalgebra::Matrix3::identity(), Vector::new([x, 700.0, 310.0])));
                    station
                })
                .into();
            let lateral = Lateral::Sure(Vector::new([0.0, 1.0, 0.0]));
            let found = RolledWheel::observe(&stations, &stations, Wheel::Fl, lateral, Vector::new(UP));
            assert_eq!(found.err().map(|error| error.code), Some(code), "{travel_mm}");
        }
    }

    /// Ten degrees are enough of a spin; of none at all not even the direction is asked for.
    #[test]
    fn a_spin_is_judged_by_its_range() {
        for (range_deg, sound) in [(0.0, false), (0.3, false), (9.99, false), (10.0, true), (90.0, true)] {
            let stations: Vec<Poses> = [0.0, 0.4, 1.0]
                .map(|share| {
                    let spin = nalgebra::Vector3::new(0.0, rad_from_deg(share * range_deg), 0.0);
                    let mut station = Poses::default();
                    *station.get_mut(Wheel::Fl) = Some(Transform::from_parts(
                        nalgebra::Rotation3::new(spin).into_inner(),
                        Vector::new([0.0, 700.0, 310.0]),
                    ));
                    station
                })
                .into();
            let found = SpunWheel::observe(&stations, Wheel::Fl, Lateral::Sure(Vector::new([0.0, 1.0, 0.0])));
            let refused = found.err().map(|error| (error.code, error.minimum));
            assert_eq!(refused, (!sound).then_some((ErrorCode::RollTooSmall, Some(10.0))), "{range_deg}");
        }
    }
}
