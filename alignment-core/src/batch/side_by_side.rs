//! Several records side by side, in the lanes of a register.

use super::{AheadRecords, Columns, Poses4, index_of, to_f64};
use crate::frame::{Frame, Rig, Target, Transform, Vector};
use crate::lanes::{Lanes, Real, Truths};
use crate::layout::{ByWheel, Wheel};
use crate::pose::{self, MAX_COORDINATE_MM, ROTATION_TOLERANCE, UNIT_LENGTH_TOLERANCE};
use crate::session::LOADED_RADIUS_RANGE_MM;
use crate::vehicle::{self, Figures, Stand};
use crate::wheel::{self, WheelInRig};
use pulp::{Simd, WithSimd};

/// The most lanes of any register.
pub(super) const MOST_LANES: usize = 8;
/// So many records are computed before their columns are written: what a column gets at once should be worth the way to it.
const TILE: usize = 64;
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
    #[expect(clippy::large_stack_arrays, reason = "30 kB, to be near the processor")]
    fn with_simd<S: Simd>(self, simd: S) -> usize {
        let Self { records, columns } = self;
        let whole = if S::F64_LANES > MOST_LANES { 0 } else { records.poses.len() / S::F64_LANES * S::F64_LANES };
        let order = order(simd);
        let mut tile = [[0.0; TILE]; AHEAD];
        let mut rows = Rows::default();
        for first in (0..whole).step_by(TILE) {
            let height = TILE.min(whole - first);
            let mut doubtful = [false; TILE];
            for row in (0..height).step_by(S::F64_LANES) {
                rows.fill(records.poses[first + row..first + row + S::F64_LANES].iter(), &order);
                let sound = SideBySide { records, rows: &rows, simd, first: first + row }.read(row, &mut tile);
                sound.each(|lane, sound| doubtful[row + lane] = !sound);
            }
            columns.codes[first..first + height].fill(0);
            for (column, &reading) in columns.values.iter_mut().zip(columns.readings) {
                let column = &mut column[first..first + height];
                match slot_of(reading) {
                    Some(slot) => match column.as_mut_array() {
                        // Of a length that is known: a few moves, and no call for them.
                        Some(column) => *column = tile[slot],
                        None => column.copy_from_slice(&tile[slot][..height]),
                    },
                    None => {
                        for (row, number) in column.iter_mut().enumerate() {
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

/// The poses of several records: of each wheel, each row of its matrix, that row of every record.
#[derive(Default)]
#[repr(align(64))]
pub(super) struct Rows([[[[f64; 4]; MOST_LANES]; 4]; 4]);

impl Rows {
    /// Takes the poses in their order, as memory gives them fastest.
    #[inline(always)]
    pub(super) fn fill<'p>(&mut self, records: impl Iterator<Item = &'p Poses4>, order: &[usize; MOST_LANES]) {
        for (poses, &place) in records.zip(order) {
            for (pose, rows) in poses.iter().zip(&mut self.0) {
                for (row, each) in pose.iter().zip(rows) {
                    each[place % MOST_LANES] = *row;
                }
            }
        }
    }

    /// The pose of one wheel, and whether it is beyond doubt.
    #[inline(always)]
    pub(super) fn pose<S: Simd>(&self, simd: S, wheel: usize) -> (Truths<S>, Transform<Rig, Target, Lanes<S>>) {
        let [a, b, c, d] = &self.0[wheel];
        let [a, b, c, d] = [columns_of(simd, a), columns_of(simd, b), columns_of(simd, c), columns_of(simd, d)];
        let axis = |column: usize| Vector::new([a[column], b[column], c[column]]);
        let rig_from_target = Transform::from_axes([axis(0), axis(1), axis(2)], axis(3));
        let [zero, one] =
            [[-ROTATION_TOLERANCE, ROTATION_TOLERANCE], [1.0 - ROTATION_TOLERANCE, 1.0 + ROTATION_TOLERANCE]];
        let sound = pose::is_exact(&rig_from_target)
            & (d[0].within(zero) & d[1].within(zero) & d[2].within(zero) & d[3].within(one));
        (sound, rig_from_target)
    }
}

/// Where a record's row is to stand, so that [`columns_of`] brings the record to the lane of its number.
#[inline(always)]
pub(super) fn order<S: Simd>(simd: S) -> [usize; MOST_LANES] {
    let places = core::array::from_fn(|place| [to_f64(place); 4]);
    let [first, ..] = columns_of(simd, &places);
    let mut order = [0; MOST_LANES];
    for (lane, &place) in first.as_slice().iter().take(MOST_LANES).enumerate() {
        order[lane] = (0..MOST_LANES).find(|&k| to_f64(k).to_bits() == place.to_bits()).unwrap_or(0);
    }
    order
}

/// The four numbers of a row, each from every record.
#[inline(always)]
fn columns_of<S: Simd>(simd: S, rows: &[[f64; 4]; MOST_LANES]) -> [Lanes<S>; 4] {
    let (registers, _) = S::as_simd_f64s(rows.as_flattened());
    let [a, b, c, d] = simd.deinterleave_shfl_f64s([registers[0], registers[1], registers[2], registers[3]]);
    [Lanes::new(simd, a), Lanes::new(simd, b), Lanes::new(simd, c), Lanes::new(simd, d)]
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
    rows: &'r Rows,
    simd: S,
    first: usize,
}

impl<S: Simd> SideBySide<'_, '_, S> {
    /// Writes the readings in the order of their paths, from a row on. Says whether each record is beyond doubt.
    #[inline(always)]
    fn read(self, row: usize, tile: &mut [[f64; TILE]; AHEAD]) -> Truths<S> {
        let Self { records, .. } = self;
        let up = self.vector(records.up, |up| *up);
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

    /// A number of what a slice has for each of the records.
    #[inline(always)]
    fn number<T>(self, each: &[T], number: impl Fn(&T) -> f64) -> Lanes<S> {
        number_of(self.simd, self.first, each, number)
    }

    /// A vector of what a slice has for each of the records.
    #[inline(always)]
    fn vector<F: Frame, T>(self, each: &[T], vector: impl Fn(&T) -> [f64; 3]) -> Vector<F, Lanes<S>> {
        vector_of(self.simd, self.first, each, vector)
    }

    /// Where one wheel is, and whether its pose and its clamp are beyond doubt.
    #[inline(always)]
    fn wheel(self, wheel: Wheel) -> (Truths<S>, WheelInRig<Lanes<S>>) {
        let (Self { records, rows, simd, .. }, w) = (self, index_of(wheel));
        let (exact, rig_from_target) = rows.pose(simd, w);
        let spindle = self.vector(records.spindle_in_target, |each| each[w]);
        let centre = self.vector(records.centre_in_target_mm, |each| each[w]);
        let sound = exact
            & near_one(spindle.dot(spindle))
            & centre.dot(centre).within([0.0, MAX_COORDINATE_MM * MAX_COORDINATE_MM]);
        (sound, wheel::located(spindle, centre, &rig_from_target))
    }

    /// The radius under load, or rolling; NaN for none.
    #[inline(always)]
    fn radius_mm(self, wheel: Wheel) -> (Truths<S>, Option<Lanes<S>>) {
        let rolling = self.number(self.records.rolling_radius_mm, |radii| radii[index_of(wheel)]);
        let radius = match *self.records.loaded_radius_mm.of_wheel(wheel) {
            Some(radius) => Lanes::splat(self.simd, radius),
            None => rolling,
        };
        (rolling.or(LOADED_RADIUS_RANGE_MM[0]).within(LOADED_RADIUS_RANGE_MM), Some(radius))
    }
}

/// Of four wheels: whether all are beyond doubt, and what was found.
#[inline(always)]
fn four<S: Simd, T>([fl, fr, rl, rr]: [(Truths<S>, T); 4]) -> (Truths<S>, ByWheel<T>) {
    (fl.0 & fr.0 & rl.0 & rr.0, ByWheel { fl: fl.1, fr: fr.1, rl: rl.1, rr: rr.1 })
}

/// A number of what a slice has for each of the records from one on.
#[inline(always)]
pub(super) fn number_of<S: Simd, T>(simd: S, first: usize, each: &[T], number: impl Fn(&T) -> f64) -> Lanes<S> {
    if let [same] = each {
        return Lanes::splat(simd, number(same));
    }
    let mut gathered = Gathered([0.0; MOST_LANES]);
    for (lane, own) in each[first..first + S::F64_LANES].iter().enumerate() {
        gathered.0[lane] = number(own);
    }
    Lanes::new(simd, S::as_simd_f64s(&gathered.0).0[0])
}

/// A vector of what a slice has for each of the records from one on.
#[inline(always)]
pub(super) fn vector_of<F: Frame, S: Simd, T>(
    simd: S,
    first: usize,
    each: &[T],
    vector: impl Fn(&T) -> [f64; 3],
) -> Vector<F, Lanes<S>> {
    let [x, y, z] = [0, 1, 2];
    Vector::new([
        number_of(simd, first, each, |own| vector(own)[x]),
        number_of(simd, first, each, |own| vector(own)[y]),
        number_of(simd, first, each, |own| vector(own)[z]),
    ])
}

/// One number of each record, where a register can be loaded from.
#[derive(Clone, Copy)]
#[repr(align(64))]
struct Gathered([f64; MOST_LANES]);

#[inline(always)]
pub(super) fn near_one<S: Simd>(length: Lanes<S>) -> Truths<S> {
    length.within([1.0 - UNIT_LENGTH_TOLERANCE, 1.0 + UNIT_LENGTH_TOLERANCE])
}
