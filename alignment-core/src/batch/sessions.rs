//! The fits of several sessions side by side, in the lanes of a register.
//!
//! Most sessions are plain: every wheel was seen, every pose is exact, nothing is weak. Their fits are computed for several records at once,
//! by the formulas that serve one. Wherever anything is in doubt, however little, the lanes say so, and the record is measured by itself.

use super::side_by_side::{MOST_LANES, Rows, near_one, number_of, order, vector_of};
use super::{Columns, Poses4, Room, SessionRecords, index_of};
use crate::checks::{Bounds, LEAST_NOISE_DEG};
use crate::compensation::{self, Compensation, Residual, SHORT_ROLL_DEG};
use crate::frame::{Frame, Rig, Target, Transform, Vector, Vehicle};
use crate::lanes::{Lanes, Real, Truths};
use crate::layout::{BySide, ByWheel, Side, Wheel};
use crate::pose::MAX_COORDINATE_MM;
use crate::rigid::FixedDirection;
use crate::session::{CompensationMethod, Datum, LOADED_RADIUS_RANGE_MM, RollingBody, SweepBody};
use crate::slip;
use crate::spindle::{self, RolledWheel};
use crate::staged::{Known, KnownSweep};
use crate::steering::{AxisLine, CONE_SUSPECT, LEAST_UPRIGHT, MIN_SWEEP_LOCKED_DEG, SHORT_SWEEP_DEG};
use crate::units::{DEG_PER_RAD, rad_from_deg};
use crate::vehicle::Stand;
use crate::wheel::{self, WheelInRig};
use alloc::vec::Vec;
use pulp::{Simd, WithSimd};

/// A bound that is kept by less than this share of it is left to the record itself, whose sums run in another order.
const CLEARLY: f64 = 1.0 - 1e-9;
/// A swing of the rear spindles, radians, that is far from what is refused as steering.
const LEAST_REAR_SWING: f64 = 0.008;

/// As many records as fill whole registers. Says how many those are.
pub(super) struct Run<'r, 'a, 'b, 'c> {
    pub(super) records: &'r SessionRecords<'a>,
    pub(super) room: &'r mut Room,
    pub(super) columns: &'r mut Columns<'b, 'c>,
    pub(super) warnings: &'r mut [u32],
}

impl WithSimd for Run<'_, '_, '_, '_> {
    type Output = usize;

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) -> usize {
        let Self { records, room, columns, warnings } = self;
        let lanes = S::F64_LANES;
        if !(2..=MOST_LANES).contains(&lanes) || !are_plain(records) {
            return 0;
        }
        let whole = records.ahead.len() / lanes * lanes;
        let (order, bounds) = (order(simd), Bounds::of(records.settings));
        let mut stations = Vec::with_capacity(records.rolling.each);
        for first in (0..whole).step_by(lanes) {
            let group = SideBySide { records, simd, order: &order, first, bounds: &bounds };
            let known = group.known(&mut stations);
            for (lane, known) in known.iter().take(lanes).enumerate() {
                records.write(first + lane, known.as_ref(), room, columns, warnings);
            }
        }
        whole
    }
}

/// Whether the records are compensated in the customary way, from stations enough.
fn are_plain(records: &SessionRecords<'_>) -> bool {
    let settings = records.settings;
    records.may_be_seen()
        && records.rolling.each >= 3
        && settings.compensation == CompensationMethod::Rolled
        && settings.rolling_body == RollingBody::Translates
        && settings.reference.datum == Datum::Up
        && (settings.up.is_some() || !records.up.is_empty())
}

/// Whether the wheels were locked in the sweep, the body stood still, and no locks were taken.
fn have_plain_sweep(records: &SessionRecords<'_>) -> bool {
    records.sweep.each >= 2
        && records.settings.sweep_wheels_locked == Some(true)
        && records.settings.sweep_body == SweepBody::Still
        && records.lock_left.is_empty()
        && records.lock_right.is_empty()
}

/// The poses of the four wheels at one station of each record.
type Station<S> = [Transform<Rig, Target, Lanes<S>>; 4];

/// Records that lie side by side, from one on.
#[derive(Clone, Copy)]
struct SideBySide<'r, 'a, S: Simd> {
    records: &'r SessionRecords<'a>,
    simd: S,
    order: &'r [usize; MOST_LANES],
    first: usize,
    bounds: &'r Bounds,
}

/// The clamps of each record, as numbers of lanes.
struct Clamps<S: Simd> {
    spindles: [Vector<Target, Lanes<S>>; 4],
    centres: [Vector<Target, Lanes<S>>; 4],
    /// Runout, rolling radius and range of the roll.
    others: [[Lanes<S>; 3]; 4],
}

/// What the sweep shows of each record.
struct Swept<S: Simd> {
    axes: [Axis<S>; 2],
    range_deg: Lanes<S>,
    /// At every station, left and right.
    steer_deg: Vec<[Lanes<S>; 2]>,
}

/// A steering axis of each record, and what one fixed axis leaves over.
#[derive(Clone, Copy)]
struct Axis<S: Simd> {
    direction: Vector<Rig, Lanes<S>>,
    point: Vector<Rig, Lanes<S>>,
    rotation_deg: Lanes<S>,
    translation_mm: Lanes<S>,
}

impl<S: Simd> SideBySide<'_, '_, S> {
    /// What the fits show of each record, where it is beyond doubt.
    #[inline(always)]
    fn known(self, stations: &mut Vec<Station<S>>) -> [Option<Known>; MOST_LANES] {
        let Self { records, simd, first, .. } = self;
        let common = [records.settings.up.unwrap_or_default()];
        let up = vector_of(simd, first, if records.up.is_empty() { &common } else { records.up }, |up| *up);
        let level = near_one(up.norm());
        let up = up.unit();
        let (clamps, sound) = self.clamps(up, stations);
        let mut known = [const { None }; MOST_LANES];
        (sound & level).each(|lane, sound| {
            if sound {
                known[lane] = Some(Known { clamps: clamps.of_lane(lane), sweep: None });
            }
        });
        if have_plain_sweep(records) {
            let (swept, sound) = self.sweep(up, &clamps, stations);
            sound.each(|lane, sound| {
                if let Some(known) = known[lane].as_mut().filter(|_| sound) {
                    known.sweep = Some(swept.of_lane(lane));
                }
            });
        }
        known
    }

    /// The rolling compensation of a car that goes straight, and whether it is beyond doubt.
    #[inline(always)]
    fn clamps(self, up: Vector<Rig, Lanes<S>>, stations: &mut Vec<Station<S>>) -> (Clamps<S>, Truths<S>) {
        let Self { records, simd, first, .. } = self;
        let mut sound = up.x().like(0.0).within([0.0, 0.0]);
        stations.clear();
        for station in 0..records.rolling.each {
            let (poses, exact) = self.station(|record| &records.rolling.of(record)[station]);
            sound = sound & exact;
            stations.push(poses);
        }

        let number = up.x();
        let count = stations.len();
        let share = number.like(1.0 / super::to_f64(count));
        let mut origins = [Vector::none_like(number); 4];
        for (i, origin) in origins.iter_mut().enumerate() {
            for station in &*stations {
                *origin = *origin + station[i].origin();
            }
            *origin = *origin * share;
        }
        let mut rolls: [Option<RolledWheel<'_, Lanes<S>>>; 4] = [None, None, None, None];
        let mut steps = [Vector::none_like(number); 4];
        for (i, wheel) in Wheel::ALL.into_iter().enumerate() {
            let across = origins[i] - origins[index_of(wheel.opposite())];
            let (roll, observed) = RolledWheel::observe_plain(stations, wheel, across, up, |lanes| lanes.as_slice()[0]);
            let (step, told) = roll.travel_if_told(up);
            sound = sound & observed & told & step.dot(roll.heading).within([0.0, f64::INFINITY]);
            (rolls[i], steps[i]) = (Some(roll), step);
        }
        for one in steps {
            for other in steps {
                sound = sound & one.dot(other).within([0.0, f64::INFINITY]);
            }
        }
        let mut travel = Vector::none_like(number);
        for step in steps {
            travel = travel + step;
        }
        let travel = travel.unit();

        let most =
            compensation::most_left_over(super::to_f64(count), self.bounds.rolled, records.settings.noise_per_axis())
                .map(|most| [0.0, most * CLEARLY]);
        let none = Vector::none_like(number);
        let mut clamps = Clamps { spindles: [none; 4], centres: [none; 4], others: [[number; 3]; 4] };
        for ((i, roll), wheel) in rolls.iter().enumerate().zip(Wheel::ALL) {
            let Some(roll) = roll else { continue };
            let ((radius, offset), told) = roll.radius_and_offset_if_told(travel, None);
            let [tilts, shifts] = roll.left_over(travel, radius, offset);
            let spindle = roll.direction.in_moving;
            let standoff = match records.clamp_standoff_mm {
                [] => number.like(*records.settings.clamp_standoff_mm.get(wheel)),
                each => number_of(simd, first, each, |standoffs| standoffs[i]),
            };
            let centre = offset - spindle * standoff;
            let runout = spindle::runout_deg(spindle);
            sound = sound
                & told
                & (tilts.within(most[0]) & shifts.within(most[1]))
                & roll.range_deg.within([SHORT_ROLL_DEG, f64::INFINITY])
                & radius.within(LOADED_RADIUS_RANGE_MM)
                & near_one(spindle.dot(spindle))
                & centre.dot(centre).within([0.0, MAX_COORDINATE_MM * MAX_COORDINATE_MM])
                & runout.within([0.0, f64::INFINITY]);
            (clamps.spindles[i], clamps.centres[i]) = (spindle, centre);
            clamps.others[i] = [runout, radius, roll.range_deg];
        }
        (clamps, sound)
    }

    /// What a sweep with locked wheels shows of a car whose body stands still, and whether it is beyond doubt.
    #[inline(always)]
    fn sweep(
        self,
        up: Vector<Rig, Lanes<S>>,
        clamps: &Clamps<S>,
        stations: &mut Vec<Station<S>>,
    ) -> (Swept<S>, Truths<S>) {
        let Self { records, bounds, .. } = self;
        let number = up.x();
        let (zero, to_deg) = (number.like(0.0), number.like(DEG_PER_RAD));
        let (ahead, mut sound) = self.station(|record| &records.ahead[record]);
        let none = WheelInRig { spindle: Vector::none_like(number), centre: Vector::none_like(number) };
        let mut wheels = [none; 4];
        for (i, wheel) in wheels.iter_mut().enumerate() {
            *wheel = wheel::located(clamps.spindles[i], clamps.centres[i], &ahead[i]);
        }
        let [fl, fr, rl, rr] = wheels;
        let no_radii = ByWheel { fl: None, fr: None, rl: None, rr: None };
        let stand = Stand::of(&ByWheel { fl, fr, rl, rr }, up, no_radii, records.settings.reference.centreline);
        let straight = [yaw_deg(Side::Left, stand.spindles.fl), yaw_deg(Side::Right, stand.spindles.fr)];
        // A car that is none may have been named wrongly, and its sweep says how.
        sound = sound & stand.is_a_car();

        // The stations: how far the front wheels are steered, and how far the rear ones moved.
        let mut steer_deg = Vec::with_capacity(records.sweep.each);
        let (mut least, mut most) = (number.like(f64::INFINITY), number.like(f64::NEG_INFINITY));
        let mut moved = [[zero; 2]; 2];
        stations.clear();
        for station in 0..records.sweep.each {
            let (poses, exact) = self.station(|record| &records.sweep.of(record)[station]);
            sound = sound & exact;
            let mut steer = [zero; 2];
            for (i, side) in Side::ALL.into_iter().enumerate() {
                let spindle = stand.vehicle_from_rig.direction(poses[i].direction(clamps.spindles[i]));
                steer[i] = yaw_deg(side, spindle) - straight[i];
                sound = sound & steer[i].within([-179.0, 179.0]);
            }
            for (i, [turns, shifts]) in (2..).zip(&mut moved) {
                let now = wheel::located(clamps.spindles[i], clamps.centres[i], &poses[i]);
                let (turned, shifted) = (now.spindle - wheels[i].spindle, now.centre - wheels[i].centre);
                *turns = *turns + turned.dot(turned);
                *shifts = *shifts + shifted.dot(shifted);
            }
            let mean = (steer[0] + steer[1]) / number.like(2.0);
            least = mean.if_less(least, mean, least);
            most = most.if_less(mean, mean, most);
            steer_deg.push(steer);
            stations.push(poses);
        }
        let (range_deg, count) = (most - least, super::to_f64(stations.len()));
        sound = sound & range_deg.within([SHORT_SWEEP_DEG, f64::INFINITY]);
        let high = bounds.steered;
        let of_rms = |rms: f64| [0.0, count * rms * rms * CLEARLY];
        // Both the station and the ahead station scatter. So small a swing is no steering of the rear wheels either.
        let most_turned = rad_from_deg(high.rotation_deg) * rad_from_deg(high.rotation_deg) * 2.0 * count * CLEARLY;
        let most_turned = most_turned.min(LEAST_REAR_SWING * LEAST_REAR_SWING);
        for [turns, shifts] in moved {
            let most_shifted = 2.0 * of_rms(high.translation_mm)[1];
            sound = sound & turns.within([0.0, most_turned]) & shifts.within([0.0, most_shifted]);
        }

        let noise_deg = bounds.steered_noise_deg;
        let unsuspected = slip::most_unsuspected(2.0 * count - 4.0, noise_deg, LEAST_NOISE_DEG) * CLEARLY;
        let cone_rad = CONE_SUSPECT * rad_from_deg(noise_deg.unwrap_or(0.0).max(LEAST_NOISE_DEG));
        let share = number.like(1.0 / count);
        let nothing = Axis { direction: none.spindle, point: none.spindle, rotation_deg: zero, translation_mm: zero };
        let mut axes = [nothing; 2];
        for (i, axis) in axes.iter_mut().enumerate() {
            let poses = || stations.iter().map(|station| &station[i]);
            let (fit, told) = FixedDirection::fit_plain(poses(), number, MIN_SWEEP_LOCKED_DEG * 0.5);
            let fit = fit.pointing_along(up);
            let direction = fit.in_rig;
            let (point, point_in_rig) = fit.fixed_point(poses(), clamps.centres[i]);
            let [mut tilts, mut shifts, mut lean, mut along, mut radius] = [zero; 5];
            for pose in poses() {
                let [tilt, shift] = fit.left_over(pose, (point, point_in_rig));
                let tilt = tilt * to_deg;
                (tilts, shifts) = (tilts + tilt * tilt, shifts + shift * shift);
                let seen = wheel::located(clamps.spindles[i], clamps.centres[i], pose);
                let from_point = seen.centre - point_in_rig;
                lean = lean + seen.spindle.dot(direction) * share;
                along = along + from_point.dot(direction) * share;
                radius = radius + from_point.square_to(direction).norm() * share;
            }
            let mut off_cone = zero;
            for pose in poses() {
                let height = pose.direction(clamps.spindles[i]).dot(direction) - lean;
                off_cone = off_cone + height * height;
            }
            // The ahead station: its spindle on the cone, its centre on the circle.
            let from_point = wheels[i].centre - point_in_rig;
            let leans = (wheels[i].spindle.dot(direction) - lean) * to_deg;
            let (along, radius) = (from_point.dot(direction) - along, from_point.square_to(direction).norm() - radius);
            let two = |most: f64| [0.0, 2.0 * most * most * CLEARLY];
            let [_, most_tilts] = of_rms(high.rotation_deg);
            sound = sound
                & told
                & direction.dot(up).within([LEAST_UPRIGHT / CLEARLY, f64::INFINITY])
                & tilts.within([0.0, most_tilts.min(unsuspected)])
                & shifts.within(of_rms(high.translation_mm))
                & off_cone.within(of_rms(cone_rad))
                & (leans * leans).within(two(high.rotation_deg))
                & (along * along + radius * radius).within(two(high.translation_mm));
            *axis = Axis {
                direction,
                point: point_in_rig,
                rotation_deg: (tilts / number.like(count)).sqrt(),
                translation_mm: (shifts / number.like(count)).sqrt(),
            };
        }
        (Swept { axes, range_deg, steer_deg }, sound)
    }

    /// One station of each record, and whether every pose is exact.
    #[inline(always)]
    fn station<'p>(self, of_record: impl Fn(usize) -> &'p Poses4) -> (Station<S>, Truths<S>) {
        let Self { simd, first, order, .. } = self;
        let mut rows = Rows::default();
        rows.fill((first..first + S::F64_LANES).map(of_record), order);
        let none = Vector::none_like(Lanes::splat(simd, 0.0));
        let mut exact = none.x().within([0.0, 0.0]);
        let mut poses = [Transform::from_axes([none; 3], none); 4];
        for (wheel, pose) in poses.iter_mut().enumerate() {
            let (sound, own) = rows.pose(simd, wheel);
            *pose = own;
            exact = exact & sound;
        }
        (poses, exact)
    }
}

impl<S: Simd> Clamps<S> {
    /// The clamps of one record.
    fn of_lane(&self, lane: usize) -> ByWheel<Compensation> {
        ByWheel::from_fn(|wheel| {
            let i = index_of(wheel);
            let [runout_deg, radius, roll_range_deg] = self.others[i].map(|number| number.as_slice()[lane]);
            Compensation {
                spindle_in_target: lane_of(self.spindles[i], lane).to_array(),
                centre_in_target_mm: lane_of(self.centres[i], lane).to_array(),
                runout_deg,
                rolling_radius_mm: Some(radius),
                roll_range_deg,
            }
        })
    }
}

impl<S: Simd> Swept<S> {
    /// The sweep of one record.
    fn of_lane(&self, lane: usize) -> KnownSweep {
        let number = |number: Lanes<S>| number.as_slice()[lane];
        let axis = |axis: &Axis<S>| AxisLine {
            direction: lane_of(axis.direction, lane),
            point: lane_of(axis.point, lane),
            residual: Residual { rotation_deg: number(axis.rotation_deg), translation_mm: number(axis.translation_mm) },
        };
        let steer_deg = |side: usize| self.steer_deg.iter().map(|steer| Some(number(steer[side]))).collect();
        KnownSweep {
            axes: BySide { left: axis(&self.axes[0]), right: axis(&self.axes[1]) },
            range_deg: number(self.range_deg),
            steer_deg: BySide { left: steer_deg(0), right: steer_deg(1) },
        }
    }
}

/// The vector of one record.
fn lane_of<F: Frame, S: Simd>(vector: Vector<F, Lanes<S>>, lane: usize) -> Vector<F> {
    Vector::new(vector.to_array().map(|number| number.as_slice()[lane]))
}

/// Yaw of a wheel's heading, left positive.
#[inline(always)]
fn yaw_deg<S: Simd>(side: Side, spindle: Vector<Vehicle, Lanes<S>>) -> Lanes<S> {
    let (x, y) = (spindle.x(), spindle.y());
    let sign = x.like(side.sign());
    -sign * (x.atan2_rad(sign * y) * x.like(DEG_PER_RAD))
}
