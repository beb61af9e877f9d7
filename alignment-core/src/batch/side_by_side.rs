//! Several records side by side, in the lanes of a register.

use super::{AheadRecords, Columns, Poses4, index_of};
use crate::frame::{Frame, Rig, Target, Transform, Vector};
use crate::lanes::{Lanes, Real, Truths};
use crate::layout::{ByWheel, Wheel};
use crate::pose::{self, MAX_COORDINATE_MM, ROTATION_TOLERANCE, UNIT_LENGTH_TOLERANCE};
use crate::session::LOADED_RADIUS_RANGE_MM;
use crate::vehicle::{self, Figures, Stand};
use crate::wheel::{self, WheelInRig};
use pulp::{Simd, WithSimd};

/// The most lanes of any register.
const MOST_LANES: usize = 8;
/// So many records are computed before their columns are written: what a column gets at once should be worth the way to it.
const TILE: usize = 32;
/// How many readings the poses of one record give.
const AHEAD: usize = 58;

/// As many records as fill whole registers. Says how many those are.
pub(super) struct Run<'r, 'a, 'b, 'c> {
    pub(super) records: &'r AheadRecords<'a>,
    pub(super) columns: &'r mut Columns<'b, 'c>,
}

impl WithSimd for Run<'_, '_, '_, '_> {
    type Output = usize;

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) -> usize {
        let Self { records, columns } = self;
        let lanes = S::F64_LANES;
        let whole = if lanes > MOST_LANES { 0 } else { records.poses.len() / lanes * lanes };
        let mut tile = [[0.0; TILE]; AHEAD];
        let mut poses = [[[[0.0; 4]; 4]; 4]; TILE];
        for first in (0..whole).step_by(TILE) {
            let height = TILE.min(whole - first);
            // In their order, as memory gives them fastest; the lanes then take them from nearby.
            poses[..height].copy_from_slice(&records.poses[first..first + height]);
            let mut doubtful = [false; TILE];
            for row in (0..height).step_by(lanes) {
                let sound = SideBySide { records, poses: &poses[row..row + lanes], simd, first: first + row }
                    .read(row, &mut tile);
                sound.each(|lane, sound| doubtful[row + lane] = !sound);
            }
            columns.codes[first..first + height].fill(0);
            for (column, &reading) in columns.values.iter_mut().zip(columns.readings) {
                let rows = &mut column[first..first + height];
                match slot_of(reading) {
                    Some(slot) => rows.copy_from_slice(&tile[slot][..height]),
                    None => {
                        for (row, number) in rows.iter_mut().enumerate() {
                            *number = records.of_clamp(reading, first + row).unwrap_or(f64::NAN);
                        }
                    }
                }
            }
            for row in (0..height).filter(|&row| doubtful[row]) {
                columns.write(first + row, records.one(first + row).as_mut());
            }
        }
        whole
    }
}

impl AheadRecords<'_> {
    /// A reading that the clamp of a wheel has.
    fn of_clamp(&self, reading: usize, record: usize) -> Option<f64> {
        let clamp = self.clamp(record, *Wheel::ALL.get(reading / 11)?);
        match reading % 11 {
            9 => Some(clamp.runout_deg),
            10 => clamp.rolling_radius_mm,
            _ => None,
        }
    }
}

/// Where a reading stands among those that the poses give.
#[inline]
const fn slot_of(reading: usize) -> Option<usize> {
    // Of each wheel nine readings, then its runout and its rolling radius, which the clamp has.
    const OF_WHEELS: usize = 44;
    const AHEAD_ERROR: usize = 99;
    match reading {
        0..OF_WHEELS if reading % 11 < 9 => Some(reading / 11 * 9 + reading % 11),
        OF_WHEELS..65 => Some(reading - 8),
        AHEAD_ERROR => Some(AHEAD - 1),
        _ => None,
    }
}

/// Records that lie side by side, from one on.
#[derive(Clone, Copy)]
struct SideBySide<'r, 'a, S: Simd> {
    records: &'r AheadRecords<'a>,
    poses: &'r [Poses4],
    simd: S,
    first: usize,
}

impl<S: Simd> SideBySide<'_, '_, S> {
    /// Writes the readings in the order of their paths, from a row on. Says whether each record is beyond doubt.
    #[inline(always)]
    fn read(self, row: usize, tile: &mut [[f64; TILE]; AHEAD]) -> Truths<S> {
        let Self { records, .. } = self;
        let up = self.vector(self.of(records.up));
        let [fl, fr, rl, rr] = [Wheel::Fl, Wheel::Fr, Wheel::Rl, Wheel::Rr];
        let (poses, seen) = four([self.wheel(fl), self.wheel(fr), self.wheel(rl), self.wheel(rr)]);
        let (radii, radii_mm) = four([self.radius_mm(fl), self.radius_mm(fr), self.radius_mm(rl), self.radius_mm(rr)]);
        let stand = Stand::of(&seen, up.unit(), radii_mm, records.centreline);
        let Figures { camber_deg, toe_deg, toe_to_centreline_deg: toe, axles, chassis } = stand.figures();

        let mut slot = 0;
        let mut write = |reading: Lanes<S>| {
            tile[slot][row..row + S::F64_LANES].copy_from_slice(reading.as_slice());
            slot += 1;
        };
        for wheel in Wheel::ALL {
            write(*camber_deg.get(wheel));
            write(*toe_deg.get(wheel));
            write(*toe.get(wheel));
            // One by one: a loop would take them through memory.
            let ([x, y, z], [along, across, up]) =
                (stand.centres.get(wheel).to_array(), stand.spindles.get(wheel).to_array());
            write(x);
            write(y);
            write(z);
            write(along);
            write(across);
            write(up);
        }
        for axle in [&axles.front, &axles.rear] {
            write(axle.total_toe_deg);
            write(axle.cross_camber_deg);
            write(axle.track_mm);
            write(axle.track_at_ground_mm.unwrap_or(Lanes::splat(self.simd, f64::NAN)));
            write(axle.setback_deg);
            write(axle.setback_mm);
        }
        let [thrust, left, right, left_less_right, fl_rr, fr_rl, diagonals, tracks, offset] = chassis;
        write(thrust);
        write(left);
        write(right);
        write(left_less_right);
        write(fl_rr);
        write(fr_rl);
        write(diagonals);
        write(tracks);
        write(offset);
        write(vehicle::ahead_error(toe_deg.fl, toe_deg.fr));

        // An angle beyond the branch of the lanes' functions is NaN, and with it the sum.
        let cambers = camber_deg.fl + camber_deg.fr + camber_deg.rl + camber_deg.rr;
        let angles = cambers + toe.fl + toe.fr + toe.rl + toe.rr + axles.front.setback_deg + axles.rear.setback_deg;
        near_one(up.norm()) & poses & radii & stand.is_a_car() & angles.within([f64::NEG_INFINITY, f64::INFINITY])
    }

    /// What a slice has for each of the records.
    #[inline(always)]
    fn of<T>(self, each: &[T]) -> impl Iterator<Item = &T> {
        let same = each.len() == 1;
        let own = if same { &each[..1] } else { &each[self.first..self.first + S::F64_LANES] };
        own.iter().cycle().take(S::F64_LANES)
    }

    #[inline(always)]
    fn load(self, gathered: &Gathered) -> Lanes<S> {
        Lanes::new(self.simd, S::as_simd_f64s(&gathered.0).0[0])
    }

    /// One vector of each record.
    #[inline(always)]
    fn vector<'v, F: Frame>(self, each: impl Iterator<Item = &'v [f64; 3]>) -> Vector<F, Lanes<S>> {
        let mut xyz = [Gathered([0.0; MOST_LANES]); 3];
        gather(each, &mut xyz);
        Vector::new([self.load(&xyz[0]), self.load(&xyz[1]), self.load(&xyz[2])])
    }

    /// Where one wheel is, and whether its pose and its clamp are beyond doubt.
    #[inline(always)]
    fn wheel(self, wheel: Wheel) -> (Truths<S>, WheelInRig<Lanes<S>>) {
        let (Self { records, .. }, w) = (self, index_of(wheel));
        let mut rows = [Gathered([0.0; MOST_LANES]); 16];
        gather(self.poses.iter().map(|poses| poses[w].as_flattened().first_chunk().unwrap_or(&[0.0; 16])), &mut rows);
        let pose = |k: usize| self.load(&rows[k]);
        let axis = |column: usize| Vector::new([pose(column), pose(4 + column), pose(8 + column)]);
        let rig_from_target = Transform::<Rig, Target, Lanes<S>>::from_axes([axis(0), axis(1), axis(2)], axis(3));
        let spindle = self.vector(self.of(records.spindle_in_target).map(|each| &each[w]));
        let centre = self.vector(self.of(records.centre_in_target_mm).map(|each| &each[w]));
        let [zero, one] = [0.0, 1.0].map(|expected| [expected - ROTATION_TOLERANCE, expected + ROTATION_TOLERANCE]);
        let sound = pose::is_exact(&rig_from_target)
            & (pose(12).within(zero) & pose(13).within(zero) & pose(14).within(zero) & pose(15).within(one))
            & near_one(spindle.dot(spindle))
            & centre.dot(centre).within([0.0, MAX_COORDINATE_MM * MAX_COORDINATE_MM]);
        (sound, wheel::located(spindle, centre, &rig_from_target))
    }

    /// The radius under load, or rolling; NaN for none.
    #[inline(always)]
    fn radius_mm(self, wheel: Wheel) -> (Truths<S>, Option<Lanes<S>>) {
        let [least, most] = LOADED_RADIUS_RANGE_MM;
        let (mut rolling, mut refused) = (Gathered([0.0; MOST_LANES]), Gathered([0.0; MOST_LANES]));
        for (lane, radii) in self.of(self.records.rolling_radius_mm).enumerate() {
            let radius = radii[index_of(wheel)];
            rolling.0[lane] = radius;
            refused.0[lane] = f64::from(u8::from(radius < least || radius > most));
        }
        let (rolling, refused) = (self.load(&rolling), self.load(&refused));
        let radius = match *self.records.loaded_radius_mm.of_wheel(wheel) {
            Some(radius) => Lanes::splat(self.simd, radius),
            None => rolling,
        };
        (refused.within([0.0, 0.0]), Some(radius))
    }
}

/// Of four wheels: whether all are beyond doubt, and what was found.
#[inline(always)]
fn four<S: Simd, T>([fl, fr, rl, rr]: [(Truths<S>, T); 4]) -> (Truths<S>, ByWheel<T>) {
    (fl.0 & fr.0 & rl.0 & rr.0, ByWheel { fl: fl.1, fr: fr.1, rl: rl.1, rr: rr.1 })
}

/// One number of each record, where a register can be loaded from.
#[derive(Clone, Copy)]
#[repr(align(64))]
struct Gathered([f64; MOST_LANES]);

#[inline(always)]
fn near_one<S: Simd>(length: Lanes<S>) -> Truths<S> {
    length.within([1.0 - UNIT_LENGTH_TOLERANCE, 1.0 + UNIT_LENGTH_TOLERANCE])
}

/// So many numbers of each record.
#[inline(always)]
fn gather<'v, const N: usize>(each: impl Iterator<Item = &'v [f64; N]>, to: &mut [Gathered; N]) {
    for (lane, numbers) in each.enumerate() {
        for (gathered, &number) in to.iter_mut().zip(numbers) {
            gathered.0[lane] = number;
        }
    }
}
