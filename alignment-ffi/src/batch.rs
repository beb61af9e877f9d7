//! Many records in one call, over arrays of the caller.

use crate::error::{Failure, WaError, guard};
use crate::layout::{by_axle, centreline_of};
use crate::memory::{StatesSize, WaOptional, check, list, read};
use crate::session::{self, WaSession};
use alignment_core::batch::{self, AheadRecords, Columns, Poses4, SessionRecords, Stations};
use std::{mem, slice};

/// Readings straight ahead from the four poses of each record: a record is one car at one moment. All arrays lie record
/// after record; one whose count is 1 holds for all records.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaAheadRecords {
    /// Set by the caller: sizeof(wa_ahead_records).
    pub size: usize,
    /// How many records there are.
    pub count: usize,
    /// The poses of fl, fr, rl, rr of each record in the rig, 64 numbers: four homogeneous matrices 4×4, each row by row, as
    /// in double poses[count][4][4][4], the translation in mm.
    pub poses: *const f64,
    /// The spindle in each target, unit vector outward, 12 numbers, as in double spindle_in_target[count][4][3].
    pub spindle_in_target: *const f64,
    /// 1 or count.
    pub spindle_in_target_count: usize,
    /// The wheel centre in each target, mm, 12 numbers, as in double centre_in_target_mm[count][4][3].
    pub centre_in_target_mm: *const f64,
    /// 1 or count.
    pub centre_in_target_mm_count: usize,
    /// The rolling radii of fl, fr, rl, rr, mm, 4 numbers. NaN where there is none.
    pub rolling_radius_mm: *const f64,
    /// 1 or count.
    pub rolling_radius_mm_count: usize,
    /// Unit vector upward in the rig, 3 numbers.
    pub up: *const f64,
    /// 1 or count.
    pub up_count: usize,
    /// Loaded radius of the front and of the rear axle, 50 to 1500 mm, of all records.
    pub loaded_radius_mm: [WaOptional; 2],
    /// How the centreline is defined: WA_CENTRELINE_...
    pub centreline: i32,
}

// SAFETY: repr(C), begins with a usize, and any bits make numbers and pointers.
unsafe impl StatesSize for WaAheadRecords {}

/// Where the results of many records go: one column per reading, one row per record. No column overlaps another.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaColumns {
    /// Set by the caller: sizeof(wa_columns).
    pub size: usize,
    /// The readings asked for, readings_count of them, by their positions, as wa_reading_position tells.
    pub readings: *const usize,
    /// How many readings are asked for, at most 4096.
    pub readings_count: usize,
    /// A column for each of them, of as many doubles as there are records. NaN is written where a record has no such reading,
    /// and where it is refused.
    pub values: *const *mut f64,
    /// The status of each record: WA_SUCCESS where it was computed.
    pub codes: *mut i32,
}

// SAFETY: repr(C), begins with a usize, and any bits make numbers and pointers.
unsafe impl StatesSize for WaColumns {}

/// The stations of one kind of each record.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaStations {
    /// The stations, record after record, as in double poses[count][each][4][4][4]. NULL for none.
    pub poses: *const f64,
    /// How many each record has.
    pub each: usize,
}

/// Whole sessions that have as many stations each. All arrays lie record after record. A pose of sixteen NaN is a wheel
/// that was not seen.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaSessionRecords {
    /// Set by the caller: sizeof(wa_session_records).
    pub size: usize,
    /// How many records there are.
    pub count: usize,
    /// What holds for every session. Its own stations play no part.
    pub settings: *const WaSession,
    /// The rolling stations.
    pub rolling: WaStations,
    /// The station straight ahead of each record, as in double ahead[count][4][4][4].
    pub ahead: *const f64,
    /// The stations of the sweep; none without a sweep.
    pub sweep: WaStations,
    /// Full lock to the left, as ahead. NULL where it was not taken.
    pub lock_left: *const f64,
    /// Full lock to the right, as ahead. NULL where it was not taken.
    pub lock_right: *const f64,
    /// Up in the rig, 3 numbers each. NULL where the settings say it.
    pub up: *const f64,
    /// 0, or 1 for one that holds for all, or count.
    pub up_count: usize,
    /// The clamp standoffs fl, fr, rl, rr, mm, 4 numbers each. NULL where the settings say them.
    pub clamp_standoff_mm: *const f64,
    /// 0, or 1 for one that holds for all, or count.
    pub clamp_standoff_mm_count: usize,
}

// SAFETY: repr(C), begins with a usize, and any bits make numbers and pointers.
unsafe impl StatesSize for WaSessionRecords {}

/// The most readings that can be asked for: each several times, and no more than that is sane.
const MOST_READINGS: usize = 4096;

/// So many things that are made of numbers alone, where they are.
///
/// # Safety
/// `T` is made of doubles, and `pointer` is null, or points to `count` of them.
unsafe fn made_of_numbers<'a, T>(name: &'static str, pointer: *const f64, count: usize) -> Result<&'a [T], Failure> {
    // SAFETY: the caller's promises are handed on.
    unsafe { list(name, pointer.cast(), count) }
}

/// The same, or none for NULL.
///
/// # Safety
/// As [`made_of_numbers`].
unsafe fn none_for_null<'a, T>(name: &'static str, pointer: *const f64, count: usize) -> Result<&'a [T], Failure> {
    // SAFETY: the caller's promises are handed on.
    unsafe { made_of_numbers(name, pointer, if pointer.is_null() { 0 } else { count }) }
}

impl WaStations {
    /// # Safety
    /// `poses` is null, or points to as many stations as `count` records have.
    unsafe fn stations<'a>(&self, name: &'static str, count: usize) -> Result<Stations<'a>, Failure> {
        let all = count.checked_mul(self.each).ok_or(Failure::BadLength { name })?;
        // SAFETY: the caller's promises are handed on.
        Ok(Stations { poses: unsafe { made_of_numbers::<Poses4>(name, self.poses, all)? }, each: self.each })
    }
}

/// Hands the columns of the caller to a job.
///
/// # Safety
/// `columns` is null, or points to a `size` that is set, to as many bytes, and what they point to; nothing of it overlaps.
unsafe fn with_columns(
    columns: *const WaColumns,
    count: usize,
    job: impl FnOnce(&mut Columns<'_, '_>) -> Result<(), Failure>,
) -> Result<(), Failure> {
    // SAFETY: the caller's promises are handed on.
    let of = unsafe { read("columns", columns)? };
    if of.readings_count > MOST_READINGS {
        return Err(Failure::TooMany { name: "readings", count: of.readings_count, most: MOST_READINGS });
    }
    // SAFETY: as before.
    let (readings, pointers) =
        unsafe { (list("readings", of.readings, of.readings_count)?, list("values", of.values, of.readings_count)?) };
    let mut values = Vec::with_capacity(pointers.len());
    for &pointer in pointers {
        // SAFETY: as before.
        values.push(unsafe { column("values", pointer, count)? });
    }
    // SAFETY: as before.
    let codes = unsafe { column("codes", of.codes, count)? };
    job(&mut Columns { readings, values: &mut values, codes })
}

/// `count` numbers of the caller to be written.
///
/// # Safety
/// `pointer` is null, or points to as many writable elements, which nobody else reads or writes meanwhile; any bits make a `T`.
unsafe fn column<'a, T>(name: &'static str, pointer: *mut T, count: usize) -> Result<&'a mut [T], Failure> {
    if count == 0 {
        return Ok(&mut []);
    }
    check(name, pointer)?;
    if count > isize::MAX.unsigned_abs() / mem::size_of::<T>() {
        return Err(Failure::BadLength { name });
    }
    // SAFETY: not null and aligned, the caller's promise, and no larger than an object can be.
    Ok(unsafe { slice::from_raw_parts_mut(pointer, count) })
}

/// Readings straight ahead of many records: those of wa_ahead_readings, with the same bits. What needs a sweep is NaN. No
/// thread is started: to use several, call it from each with a part of the records.
///
/// Returns WA_SUCCESS when the records were looked at, whatever their own statuses are; WA_CONTRADICTION for a count that is
/// neither 1 nor that of the records; WA_UNKNOWN_READING for a position that is none; WA_NOT_FINITE and WA_LENGTH_OUT_OF_RANGE
/// for a loaded radius; WA_OUT_OF_RANGE for a centreline that is none; WA_TOO_MANY; WA_BAD_LENGTH.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_batch_ahead_readings(
    records: *const WaAheadRecords,
    columns: *const WaColumns,
    error: *mut WaError,
) -> i32 {
    let job = || {
        // SAFETY: the caller's promises are handed on.
        let of = unsafe { read("records", records)? };
        // SAFETY: as before; each is made of doubles.
        let records = unsafe {
            AheadRecords {
                poses: made_of_numbers("poses", of.poses, of.count)?,
                spindle_in_target: made_of_numbers(
                    "spindle_in_target",
                    of.spindle_in_target,
                    of.spindle_in_target_count,
                )?,
                centre_in_target_mm: made_of_numbers(
                    "centre_in_target_mm",
                    of.centre_in_target_mm,
                    of.centre_in_target_mm_count,
                )?,
                rolling_radius_mm: made_of_numbers(
                    "rolling_radius_mm",
                    of.rolling_radius_mm,
                    of.rolling_radius_mm_count,
                )?,
                up: made_of_numbers("up", of.up, of.up_count)?,
                loaded_radius_mm: by_axle(of.loaded_radius_mm.map(WaOptional::get)),
                centreline: centreline_of(of.centreline)?,
            }
        };
        // SAFETY: as before.
        unsafe { with_columns(columns, of.count, |columns| Ok(batch::ahead_readings(&records, columns)?)) }
    };
    // SAFETY: the caller's promise about `error` is handed on.
    unsafe { guard(error, job) }
}

/// Every reading of many sessions: those of wa_measure, with the same bits. No thread is started: to use several, call it
/// from each with a part of the records.
///
/// warnings: of each record, WA_WARNING_... bits.
///
/// Returns WA_SUCCESS when the records were looked at, whatever their own statuses are; WA_CONTRADICTION for a count that is
/// neither 1 nor that of the records, or for settings that contradict each other; WA_UNKNOWN_READING for a position that is
/// none; WA_OUT_OF_RANGE for a choice in the settings that is none; WA_TOO_MANY; WA_BAD_LENGTH.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_batch_measure(
    records: *const WaSessionRecords,
    columns: *const WaColumns,
    warnings: *mut u32,
    error: *mut WaError,
) -> i32 {
    let job = || {
        // SAFETY: the caller's promises are handed on.
        let (of, settings) = unsafe {
            let of = read("records", records)?;
            (of, session::settings("settings", of.settings)?)
        };
        let count = of.count;
        // SAFETY: as before; each is made of doubles.
        let (records, warnings) = unsafe {
            let records = SessionRecords {
                settings: &settings,
                rolling: of.rolling.stations("rolling", count)?,
                ahead: made_of_numbers("ahead", of.ahead, count)?,
                sweep: of.sweep.stations("sweep", count)?,
                lock_left: none_for_null("lock_left", of.lock_left, count)?,
                lock_right: none_for_null("lock_right", of.lock_right, count)?,
                up: made_of_numbers("up", of.up, of.up_count)?,
                clamp_standoff_mm: made_of_numbers(
                    "clamp_standoff_mm",
                    of.clamp_standoff_mm,
                    of.clamp_standoff_mm_count,
                )?,
            };
            (records, column("warnings", warnings, count)?)
        };
        // SAFETY: as before.
        unsafe { with_columns(columns, count, |columns| Ok(batch::measure(&records, columns, warnings)?)) }
    };
    // SAFETY: the caller's promise about `error` is handed on.
    unsafe { guard(error, job) }
}
