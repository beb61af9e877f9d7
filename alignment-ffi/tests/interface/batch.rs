//! Batches over arrays of the caller: the bits of each record by itself, and its status.

use crate::owned::{array, session_struct};
use crate::structs::fresh;
use crate::{call, message};
use alignment_core::batch::{Poses4, poses_of};
use alignment_core::paths::{COUNT, position};
use alignment_core::session::{ByAxle, RollingBody};
use alignment_core::simulate::VirtualVehicle;
use alignment_core::{Alignment, Session, compensation, measure, vehicle};
use std::ptr;
use wheel_alignment::*;

/// Columns for so many readings and records.
struct Table {
    readings: Vec<usize>,
    values: Vec<Vec<f64>>,
    pointers: Vec<*mut f64>,
    codes: Vec<i32>,
}

impl Table {
    fn new(readings: Vec<usize>, records: usize) -> Self {
        let mut values = vec![vec![7.0; records]; readings.len()];
        let pointers = values.iter_mut().map(Vec::as_mut_ptr).collect();
        Self { readings, values, pointers, codes: vec![7; records] }
    }

    fn columns(&mut self) -> WaColumns {
        WaColumns {
            size: size_of::<WaColumns>(),
            readings: self.readings.as_ptr(),
            readings_count: self.readings.len(),
            values: self.pointers.as_ptr(),
            codes: self.codes.as_mut_ptr(),
        }
    }

    #[track_caller]
    fn has(&self, record: usize, expected: &Result<Alignment, alignment_core::Error>, steered: bool) {
        match expected {
            Ok(tree) => {
                assert_eq!(self.codes[record], WA_SUCCESS);
                let values = tree.values();
                let of_steering = position("steering.left.caster_deg").unwrap();
                for (column, &reading) in self.values.iter().zip(&self.readings) {
                    if steered || reading < of_steering {
                        let expected = values[reading].unwrap_or(f64::NAN);
                        assert!(
                            column[record].to_bits() == expected.to_bits()
                                || column[record].is_nan() && expected.is_nan()
                        );
                    }
                }
            }
            Err(error) => {
                assert_eq!(self.codes[record], error.code.number());
                assert!(self.values.iter().all(|column| column[record].is_nan()));
            }
        }
    }
}

fn sessions() -> Vec<Session> {
    let mut sessions: Vec<Session> = (0..13).map(|seed| VirtualVehicle::random(seed).session()).collect();
    let broken = sessions[4].ahead.fl.frames()[0];
    sessions[4].ahead.fl = alignment_core::Pose { translation_mm: [1e9; 3], ..broken }.into();
    sessions
}

#[test]
fn readings_of_many_records_are_those_of_each() {
    let sessions = sessions();
    let (mut poses, mut spindles, mut centres, mut radii, mut ups) = (vec![], vec![], vec![], vec![], vec![]);
    let mut expected = Vec::new();
    for session in &sessions {
        let (up, none) = (session.up.unwrap(), ByAxle::default());
        let body = RollingBody::Translates;
        let rolled = compensation::from_rolling(&session.rolling, up, &session.clamp_standoff_mm, &none, body).unwrap();
        let clamps = rolled.all_wheels().unwrap();
        poses.push(poses_of(&session.ahead));
        spindles.push(array(clamps).map(|of| of.spindle_in_target));
        centres.push(array(clamps).map(|of| of.centre_in_target_mm));
        radii.push(array(clamps).map(|of| of.rolling_radius_mm.unwrap()));
        ups.push(up);
        let seen = alignment_core::ByWheel::from_fn(|wheel| session.ahead.get(wheel).frames()[0]);
        let now = vehicle::ahead_readings(&clamps, &seen, up, &none, session.reference.centreline);
        expected.push(now.map(|now| Alignment {
            wheels: now.wheels,
            axles: now.axles,
            chassis: now.chassis,
            ..Alignment::default()
        }));
    }
    let count = sessions.len();
    let mut table = Table::new((0..COUNT).rev().collect(), count);
    let mut records = WaAheadRecords {
        size: size_of::<WaAheadRecords>(),
        count,
        poses: poses.as_ptr().cast(),
        spindle_in_target: spindles.as_ptr().cast(),
        spindle_in_target_count: count,
        centre_in_target_mm: centres.as_ptr().cast(),
        centre_in_target_mm_count: count,
        rolling_radius_mm: radii.as_ptr().cast(),
        rolling_radius_mm_count: count,
        up: ups.as_ptr().cast(),
        up_count: count,
        loaded_radius_mm: [WaOptional { present: 0, value: 0.0 }; 2],
        centreline: WA_CENTRELINE_AXLE_MIDPOINTS,
    };
    let columns = table.columns();
    // SAFETY: arrays of our own, as long as they say, here and below.
    let (status, error) =
        call(|error| unsafe { wa_batch_ahead_readings(&raw const records, &raw const columns, error) });
    assert_eq!(status, WA_SUCCESS, "{}", message(&error));
    for (record, expected) in expected.iter().enumerate() {
        table.has(record, expected, false);
    }
    assert!(table.codes.contains(&WA_LENGTH_OUT_OF_RANGE));

    // What holds for all is refused before anything is written.
    let mut untouched = Table::new(vec![0, COUNT], count);
    let columns = untouched.columns();
    let refused = |records: &WaAheadRecords, columns: &WaColumns| {
        call(|error| unsafe { wa_batch_ahead_readings(&raw const *records, &raw const *columns, error) })
    };
    assert_eq!(refused(&records, &columns).0, WA_UNKNOWN_READING);
    records.up_count = 2;
    let (status, error) = refused(&records, &columns);
    assert_eq!(status, WA_CONTRADICTION);
    assert!(message(&error).contains("up"), "{}", message(&error));
    records.up_count = usize::MAX / 2;
    assert_eq!(refused(&records, &columns).0, WA_BAD_LENGTH);
    records.centreline = 2;
    assert_eq!(refused(&records, &WaColumns { readings_count: usize::MAX, ..columns }).0, WA_BAD_LENGTH);
    records.up_count = 1;
    assert_eq!(refused(&records, &columns).0, WA_OUT_OF_RANGE);
    records.centreline = 1;
    assert_eq!(refused(&records, &WaColumns { readings_count: 5000, ..columns }).0, WA_TOO_MANY);
    assert_eq!(refused(&records, &WaColumns { codes: ptr::null_mut(), ..columns }).0, WA_NULL_POINTER);
    assert!(untouched.codes.iter().all(|&code| code == 7) && untouched.values[0].iter().all(|&value| value == 7.0));
}

#[test]
fn sessions_in_a_batch_are_those_of_each() {
    let sessions = sessions();
    let count = sessions.len();
    let stations = |of: fn(&Session) -> &[alignment_core::Station]| -> Vec<Poses4> {
        sessions.iter().flat_map(|session| of(session).iter().map(poses_of)).collect()
    };
    let (rolling, sweep) = (stations(|session| &session.rolling), stations(|session| &session.sweep));
    let ahead: Vec<Poses4> = sessions.iter().map(|session| poses_of(&session.ahead)).collect();
    let left: Vec<Poses4> = sessions.iter().map(|session| poses_of(session.lock_left.as_ref().unwrap())).collect();
    let right: Vec<Poses4> = sessions.iter().map(|session| poses_of(session.lock_right.as_ref().unwrap())).collect();
    let ups: Vec<[f64; 3]> = sessions.iter().map(|session| session.up.unwrap()).collect();
    let standoffs: Vec<[f64; 4]> = sessions.iter().map(|session| array(session.clamp_standoff_mm)).collect();
    let mut shared = sessions[0].clone();
    shared.loaded_radius_mm = None;
    let (settings, _kept) = session_struct(&shared);
    let mut records: WaSessionRecords = fresh();
    records.count = count;
    records.settings = &raw const settings;
    records.rolling = WaStations { poses: rolling.as_ptr().cast(), each: sessions[0].rolling.len() };
    records.sweep = WaStations { poses: sweep.as_ptr().cast(), each: sessions[0].sweep.len() };
    (records.ahead, records.lock_left, records.lock_right) =
        (ahead.as_ptr().cast(), left.as_ptr().cast(), right.as_ptr().cast());
    (records.up, records.up_count) = (ups.as_ptr().cast(), count);
    (records.clamp_standoff_mm, records.clamp_standoff_mm_count) = (standoffs.as_ptr().cast(), count);
    let (mut table, mut warnings) = (Table::new((0..COUNT).collect(), count), vec![7; count]);
    let columns = table.columns();
    // SAFETY: arrays of our own, as long as they say, here and below.
    let (status, error) =
        call(|error| unsafe { wa_batch_measure(&raw const records, &raw const columns, warnings.as_mut_ptr(), error) });
    assert_eq!(status, WA_SUCCESS, "{}", message(&error));
    for (record, session) in sessions.iter().enumerate() {
        let session = Session { loaded_radius_mm: None, ..session.clone() };
        let expected = measure(&session);
        let bits = expected.as_ref().map_or(0, |found| found.warnings.iter().fold(0, |bits, of| bits | of.code.bit()));
        assert_eq!(warnings[record], bits);
        table.has(record, &expected.map(|found| found.alignment), true);
    }
    assert!(table.codes.contains(&WA_LENGTH_OUT_OF_RANGE));
    records.rolling.each = usize::MAX;
    let (status, _) =
        call(|error| unsafe { wa_batch_measure(&raw const records, &raw const columns, warnings.as_mut_ptr(), error) });
    assert_eq!(status, WA_BAD_LENGTH);
}
