//! Many records in one call: the arrays are read where they lie, the interpreter is free meanwhile, and every core works.

use crate::{error, tree};
use alignment_core::batch::{self, AheadRecords, Columns, Poses4, SessionRecords, Stations};
use alignment_core::session::{ByAxle, Centreline};
use alignment_core::{Error, Session};
use numpy::{PyArray1, PyArray2, PyArrayMethods, PyReadonlyArrayDyn, PyUntypedArrayMethods};
use pyo3::exceptions::{PyRuntimeError, PyValueError};
use pyo3::prelude::*;
use rayon::prelude::*;
use std::ops::Range;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc;
use std::time::{Duration, Instant};

/// Readings by column, the error code and the warnings of each record.
type Computed<'py> = (Bound<'py, PyArray2<f64>>, Bound<'py, PyArray1<i32>>, Bound<'py, PyArray1<u32>>);
/// The same of an earlier call, to be written again.
type Earlier = (Py<PyArray2<f64>>, Py<PyArray1<i32>>, Py<PyArray1<u32>>);

/// How often an interrupt is listened for, and the progress told.
const PAUSE: Duration = Duration::from_millis(50);

/// How the work is to be done.
struct How {
    /// Positions in `READINGS`.
    readings: Vec<usize>,
    /// The first record that is refused raises its error.
    raising: bool,
    threads: usize,
    /// Called with the number of records that were computed since the last call.
    progress: Option<Py<PyAny>>,
    /// Where the results go, if not to memory of their own.
    out: Option<Earlier>,
}

impl How {
    /// Memory for the results of so many records.
    fn room<'py>(&self, py: Python<'py>, records: usize) -> PyResult<Computed<'py>> {
        let shape = [self.readings.len(), records];
        let Some((values, codes, warnings)) = &self.out else {
            let values = PyArray2::zeros(py, shape, false);
            return Ok((values, PyArray1::zeros(py, [records], false), PyArray1::zeros(py, [records], false)));
        };
        let (values, codes, warnings) = (values.bind(py).clone(), codes.bind(py).clone(), warnings.bind(py).clone());
        if values.shape() != shape || codes.len() != records || warnings.len() != records {
            return Err(PyValueError::new_err("out: arrays of other records or readings"));
        }
        Ok((values, codes, warnings))
    }
}

/// Some of the records, and where their results go.
struct Part<'a> {
    records: Range<usize>,
    values: Vec<&'a mut [f64]>,
    codes: &'a mut [i32],
    warnings: &'a mut [u32],
}

/// Why the work ended before its end.
enum Ended {
    Refused(Error),
    Raised(PyErr),
    Fault,
}

impl Ended {
    fn raise(self, py: Python<'_>) -> PyErr {
        match self {
            Self::Refused(fault) => error::from_core(py, &fault),
            Self::Raised(exception) => exception,
            Self::Fault => {
                PyRuntimeError::new_err("a fault inside the library; please report it with what it was given")
            }
        }
    }
}

/// Computes records in parts of so many.
fn in_parts<'py>(
    py: Python<'py>,
    how: &How,
    records: usize,
    size: usize,
    compute: impl Fn(&mut Part<'_>, &[usize]) -> Result<(), Error> + Sync,
) -> PyResult<Computed<'py>> {
    let (values, codes, warnings) = how.room(py, records)?;
    if records > 0 {
        let (mut all_values, mut all_codes, mut all_warnings) =
            (values.try_readwrite()?, codes.try_readwrite()?, warnings.try_readwrite()?);
        let (all_codes, all_warnings) = (all_codes.as_slice_mut()?, all_warnings.as_slice_mut()?);
        let mut parts: Vec<Part<'_>> = all_codes
            .chunks_mut(size)
            .zip(all_warnings.chunks_mut(size))
            .enumerate()
            .map(|(index, (codes, warnings))| {
                let first = index * size;
                let values = Vec::with_capacity(how.readings.len());
                Part { records: first..first + codes.len(), values, codes, warnings }
            })
            .collect();
        for column in all_values.as_slice_mut()?.chunks_mut(records) {
            for (part, rows) in parts.iter_mut().zip(column.chunks_mut(size)) {
                part.values.push(rows);
            }
        }
        let compute = |mut part: Part<'_>| {
            let computed = catch_unwind(AssertUnwindSafe(|| compute(&mut part, &how.readings)));
            computed.map_err(|_| Ended::Fault)?.map_err(Ended::Refused).map(|()| part.codes.len())
        };
        py.detach(|| work(parts, how, compute)).map_err(|ended| ended.raise(py))?;
    }
    Ok((values, codes, warnings))
}

/// Works through all parts, while this thread tells of the progress and listens for an interrupt.
fn work(
    mut parts: Vec<Part<'_>>,
    how: &How,
    compute: impl Fn(Part<'_>) -> Result<usize, Ended> + Sync,
) -> Result<(), Ended> {
    if parts.len() == 1 {
        return parts.pop().map_or(Ok(0), compute).and_then(|records| tell(how, records));
    }
    let pool = rayon::ThreadPoolBuilder::new().num_threads(how.threads.min(parts.len())).build();
    let pool = pool.map_err(|fault| Ended::Raised(PyRuntimeError::new_err(fault.to_string())))?;
    let stop = AtomicBool::new(false);
    let (sender, receiver) = mpsc::channel();
    let mut ended = Ok(());
    pool.in_place_scope(|scope| {
        let (stop, compute) = (&stop, &compute);
        scope.spawn(move |_| {
            // Each part by itself can be taken by a core that has nothing left to do.
            parts.into_par_iter().with_max_len(1).for_each_with(sender, |sender, part| {
                if !stop.load(Ordering::Relaxed) {
                    // Nobody listens when the work has ended already.
                    let _ = sender.send(compute(part));
                }
            });
        });
        let (mut untold, mut told) = (0, Instant::now());
        ended = loop {
            match receiver.recv_timeout(PAUSE) {
                Ok(Ok(records)) => untold += records,
                Ok(Err(fault)) => break Err(fault),
                Err(mpsc::RecvTimeoutError::Timeout) => {}
                Err(mpsc::RecvTimeoutError::Disconnected) => break tell(how, untold),
            }
            if told.elapsed() >= PAUSE {
                if let Err(exception) = tell(how, std::mem::take(&mut untold)) {
                    break Err(exception);
                }
                told = Instant::now();
            }
        };
        stop.store(true, Ordering::Relaxed);
    });
    ended
}

/// Tells how many records were computed. An interrupt, or an exception of the callback, ends the work.
fn tell(how: &How, records: usize) -> Result<(), Ended> {
    Python::attach(|py| {
        py.check_signals()?;
        match &how.progress {
            Some(progress) if records > 0 => progress.call1(py, (records,)).map(drop),
            _ => Ok(()),
        }
    })
    .map_err(Ended::Raised)
}

/// Raises the error of the first record that was refused, if that is wanted.
fn raise_first<'py>(
    computed: Computed<'py>,
    how: &How,
    error_of: impl Fn(usize) -> Option<Error>,
) -> PyResult<Computed<'py>> {
    let refused = if how.raising { computed.1.readonly().as_slice()?.iter().position(|&code| code != 0) } else { None };
    match refused.and_then(|record| Some((record, error_of(record)?))) {
        Some((record, fault)) => Err(error::at(computed.1.py(), &fault, &[record])),
        None => Ok(computed),
    }
}

/// The numbers of an array, as rows of so many: Python hands over arrays whose last axis has that length.
fn rows<'a, const N: usize>(array: &'a PyReadonlyArrayDyn<'_, f64>) -> PyResult<&'a [[f64; N]]> {
    match array.as_slice()?.as_chunks() {
        (rows, []) => Ok(rows),
        _ => Err(PyValueError::new_err(format!("rows of {N} numbers are needed"))),
    }
}

fn by_wheel<'a>(array: &'a PyReadonlyArrayDyn<'_, f64>) -> PyResult<&'a [[[f64; 3]; 4]]> {
    Ok(rows(array)?.as_chunks().0)
}

fn poses<'a>(array: &'a PyReadonlyArrayDyn<'_, f64>) -> PyResult<&'a [Poses4]> {
    Ok(rows(array)?.as_chunks().0.as_chunks().0)
}

fn stations<'a>(array: &'a PyReadonlyArrayDyn<'_, f64>) -> PyResult<Stations<'a>> {
    Ok(Stations { poses: poses(array)?, each: array.shape().get(1).copied().unwrap_or(0) })
}

/// How many cores this process may use.
#[pyfunction]
pub(crate) fn cores() -> usize {
    std::thread::available_parallelism().map_or(1, std::num::NonZero::get)
}

/// Readings straight ahead of many records.
#[pyfunction]
#[expect(clippy::too_many_arguments, clippy::needless_pass_by_value, reason = "Python's arguments, by name")]
pub(crate) fn ahead_records<'py>(
    py: Python<'py>,
    poses: PyReadonlyArrayDyn<'py, f64>,
    spindle_in_target: PyReadonlyArrayDyn<'py, f64>,
    centre_in_target_mm: PyReadonlyArrayDyn<'py, f64>,
    rolling_radius_mm: PyReadonlyArrayDyn<'py, f64>,
    up: PyReadonlyArrayDyn<'py, f64>,
    loaded_radius_mm: (Option<f64>, Option<f64>),
    centreline: Bound<'py, PyAny>,
    readings: Vec<usize>,
    raising: bool,
    threads: usize,
    progress: Option<Py<PyAny>>,
    out: Option<Earlier>,
) -> PyResult<Computed<'py>> {
    let how = How { readings, raising, threads, progress, out };
    let (front, rear) = loaded_radius_mm;
    let centreline: Centreline = tree::arguments(centreline)?;
    let records = AheadRecords {
        poses: self::poses(&poses)?,
        spindle_in_target: by_wheel(&spindle_in_target)?,
        centre_in_target_mm: by_wheel(&centre_in_target_mm)?,
        rolling_radius_mm: rows(&rolling_radius_mm)?,
        up: rows(&up)?,
        loaded_radius_mm: ByAxle { front, rear },
        centreline,
    };
    let compute = |part: &mut Part<'_>, readings: &[usize]| {
        part.warnings.fill(0); // nothing is weak in four poses, and the array may be one written before
        let mut columns = Columns { readings, values: &mut part.values, codes: part.codes };
        batch::ahead_readings(&records.part(part.records.clone())?, &mut columns)
    };
    let computed = in_parts(py, &how, records.poses.len(), 4096, compute)?;
    raise_first(computed, &how, |record| records.one(record).err())
}

/// Every reading of many sessions.
#[pyfunction]
#[expect(clippy::too_many_arguments, clippy::needless_pass_by_value, reason = "Python's arguments, by name")]
pub(crate) fn measure_records<'py>(
    py: Python<'py>,
    settings: Bound<'py, PyAny>,
    rolling: PyReadonlyArrayDyn<'py, f64>,
    ahead: PyReadonlyArrayDyn<'py, f64>,
    sweep: Option<PyReadonlyArrayDyn<'py, f64>>,
    lock_left: Option<PyReadonlyArrayDyn<'py, f64>>,
    lock_right: Option<PyReadonlyArrayDyn<'py, f64>>,
    up: Option<PyReadonlyArrayDyn<'py, f64>>,
    clamp_standoff_mm: PyReadonlyArrayDyn<'py, f64>,
    readings: Vec<usize>,
    raising: bool,
    threads: usize,
    progress: Option<Py<PyAny>>,
    out: Option<Earlier>,
) -> PyResult<Computed<'py>> {
    let how = How { readings, raising, threads, progress, out };
    let settings: Session = tree::session(settings, py.None().into_bound(py))?;
    let records = SessionRecords {
        settings: &settings,
        rolling: stations(&rolling)?,
        ahead: self::poses(&ahead)?,
        sweep: sweep.as_ref().map_or(Ok(Stations::default()), stations)?,
        lock_left: lock_left.as_ref().map_or(Ok(&[][..]), self::poses)?,
        lock_right: lock_right.as_ref().map_or(Ok(&[][..]), self::poses)?,
        up: up.as_ref().map_or(Ok(&[][..]), rows)?,
        clamp_standoff_mm: rows(&clamp_standoff_mm)?,
    };
    let compute = |part: &mut Part<'_>, readings: &[usize]| {
        let mut columns = Columns { readings, values: &mut part.values, codes: part.codes };
        batch::measure(&records.part(part.records.clone())?, &mut columns, part.warnings)
    };
    let computed = in_parts(py, &how, records.ahead.len(), 256, compute)?;
    raise_first(computed, &how, |record| {
        records.one(record).and_then(|session| alignment_core::measure(&session)).err()
    })
}
