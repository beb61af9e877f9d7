//! The fits of several sessions side by side, in the lanes of a register.
//!
//! Most sessions are plain: every wheel was seen, every pose is exact, nothing is weak. Their fits are computed for several records at once,
//! by the formulas that serve one. Wherever anything is in doubt, however little, the lanes say so, and the record is measured by itself.

use super::{Columns, Poses4, Room, SessionRecords, index_of, of};
use crate::checks::Bounds;
use crate::compensation::{self, Compensation, SHORT_ROLL_DEG};
use crate::frame::{Frame, Rig, Target, Transform, Vector};
use crate::lanes::{Lanes, Real, Truths};
use crate::layout::{ByWheel, Wheel};
use crate::pose::{self, MAX_COORDINATE_MM, ROTATION_TOLERANCE, UNIT_LENGTH_TOLERANCE};
use crate::session::{CompensationMethod, Datum, LOADED_RADIUS_RANGE_MM, RollingBody};
use crate::spindle::{self, RolledWheel};
use alloc::vec::Vec;
use pulp::{Simd, WithSimd};

/// The most lanes of any register.
const MOST_LANES: usize = 8;
/// A bound that is kept by less than this share of it is left to the record itself, whose sums run in another order.
const CLEARLY: f64 = 1.0 - 1e-9;

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
        if lanes < 2 || lanes > MOST_LANES || !are_plain(records) {
            return 0;
        }
        let whole = records.ahead.len() / lanes * lanes;
        let bounds = Bounds::of(records.settings);
        let mut stations = Vec::with_capacity(records.rolling.each);
        for first in (0..whole).step_by(lanes) {
            let group = SideBySide { records, simd, first, bounds: &bounds };
            let clamps = group.clamps(&mut stations);
            for (lane, clamps) in clamps.iter().take(lanes).enumerate() {
                records.write(first + lane, clamps.as_ref(), room, columns, warnings);
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

/// The poses of the four wheels at one station of each record.
type Station<S> = [Transform<Rig, Target, Lanes<S>>; 4];

/// Records that lie side by side, from one on.
#[derive(Clone, Copy)]
struct SideBySide<'r, 'a, S: Simd> {
    records: &'r SessionRecords<'a>,
    simd: S,
    first: usize,
    bounds: &'r Bounds,
}

impl<S: Simd> SideBySide<'_, '_, S> {
    /// The clamps of each record, where they are beyond doubt: the rolling compensation of a car that goes straight.
    #[inline(always)]
    fn clamps(self, stations: &mut Vec<Station<S>>) -> [Option<ByWheel<Compensation>>; MOST_LANES] {
        let Self { records, .. } = self;
        let up = self.vector(|record| match records.up {
            [] => records.settings.up.unwrap_or_default(),
            each => *of(each, record),
        });
        let mut sound = near_one(up.norm());
        let up = up.unit();
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
        let mut found = [[number; CLAMP]; 4];
        for ((i, roll), wheel) in rolls.iter().enumerate().zip(Wheel::ALL) {
            let Some(roll) = roll else { continue };
            let ((radius, offset), told) = roll.radius_and_offset_if_told(travel, None);
            let [tilts, shifts] = roll.left_over(travel, radius, offset);
            let spindle = roll.direction.in_moving;
            let standoff = self.number(|record| match records.clamp_standoff_mm {
                [] => *records.settings.clamp_standoff_mm.get(wheel),
                each => of(each, record)[index_of(wheel)],
            });
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
            let ([a, b, c], [x, y, z]) = (spindle.to_array(), centre.to_array());
            found[i] = [a, b, c, x, y, z, runout, radius, roll.range_deg];
        }
        let mut clamps = [None; MOST_LANES];
        sound.each(|lane, sound| {
            if sound {
                clamps[lane] = Some(ByWheel::from_fn(|wheel| {
                    let [a, b, c, x, y, z, runout_deg, radius, roll_range_deg] =
                        found[index_of(wheel)].map(|number| number.as_slice()[lane]);
                    Compensation {
                        spindle_in_target: [a, b, c],
                        centre_in_target_mm: [x, y, z],
                        runout_deg,
                        rolling_radius_mm: Some(radius),
                        roll_range_deg,
                    }
                }));
            }
        });
        clamps
    }

    /// One station of each record, and whether every pose is exact.
    #[inline(always)]
    fn station<'p>(self, of_record: impl Fn(usize) -> &'p Poses4) -> (Station<S>, Truths<S>) {
        let mut exact = Lanes::splat(self.simd, 0.0).within([0.0, 0.0]);
        let [zero, one] = [0.0, 1.0].map(|expected| [expected - ROTATION_TOLERANCE, expected + ROTATION_TOLERANCE]);
        let none = Vector::none_like(Lanes::splat(self.simd, 0.0));
        let mut poses = [Transform::from_axes([none; 3], none); 4];
        for (wheel, pose) in poses.iter_mut().enumerate() {
            let mut gathered = [Gathered([0.0; MOST_LANES]); 16];
            for lane in 0..S::F64_LANES {
                let matrix = of_record(self.first + lane)[wheel].as_flattened();
                for (to, from) in gathered.iter_mut().zip(matrix) {
                    to.0[lane] = *from;
                }
            }
            let number = |k: usize| self.load(&gathered[k]);
            let axis = |column: usize| Vector::new([number(column), number(4 + column), number(8 + column)]);
            *pose = Transform::from_axes([axis(0), axis(1), axis(2)], axis(3));
            let last = number(12).within(zero) & number(13).within(zero) & number(14).within(zero);
            exact = exact & pose::is_exact(pose) & (last & number(15).within(one));
        }
        (poses, exact)
    }

    /// A vector of each record.
    #[inline(always)]
    fn vector<F: Frame>(self, of_record: impl Fn(usize) -> [f64; 3]) -> Vector<F, Lanes<S>> {
        Vector::new([
            self.number(|record| of_record(record)[0]),
            self.number(|record| of_record(record)[1]),
            self.number(|record| of_record(record)[2]),
        ])
    }

    /// A number of each record.
    #[inline(always)]
    fn number(self, of_record: impl Fn(usize) -> f64) -> Lanes<S> {
        let mut gathered = Gathered([0.0; MOST_LANES]);
        for lane in 0..S::F64_LANES {
            gathered.0[lane] = of_record(self.first + lane);
        }
        self.load(&gathered)
    }

    #[inline(always)]
    fn load(self, gathered: &Gathered) -> Lanes<S> {
        Lanes::new(self.simd, S::as_simd_f64s(&gathered.0).0[0])
    }
}

/// How many numbers a clamp has.
const CLAMP: usize = 9;

/// One number of each record, where a register can be loaded from.
#[derive(Clone, Copy)]
#[repr(align(64))]
struct Gathered([f64; MOST_LANES]);

#[inline(always)]
fn near_one<S: Simd>(length: Lanes<S>) -> Truths<S> {
    length.within([1.0 - UNIT_LENGTH_TOLERANCE, 1.0 + UNIT_LENGTH_TOLERANCE])
}
