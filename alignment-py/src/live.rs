//! A tracker, kept in Rust from frame to frame.

use crate::session::{Stations, stations};
use crate::{caught, error, json, run, tree};
use alignment_core::compensation::Compensation;
use alignment_core::live::{self, FlagsByBasis, LiveSettings, Steering};
use alignment_core::session::{ByWheel, Wheel};
use pyo3::exceptions::PyValueError;
use pyo3::prelude::*;

/// A tracker as the core has it.
#[pyclass(module = "wheel_alignment._native")]
pub(crate) struct Tracker(live::Tracker);

fn wheels([fl, fr, rl, rr]: [bool; 4]) -> ByWheel<bool> {
    ByWheel { fl, fr, rl, rr }
}

/// Held, stale and weak of a reading, by the flags of all.
#[pyfunction]
pub(crate) fn flags_of(flags: Bound<'_, PyAny>, path: &str) -> PyResult<(bool, bool, bool)> {
    let py = flags.py();
    error::position(py, path)?;
    let flags: FlagsByBasis = tree::arguments(flags)?;
    let found = flags.of(path).map_err(|fault| error::from_core(py, &fault))?;
    Ok((found.held, found.stale, found.weak))
}

#[pymethods]
impl Tracker {
    /// Of a session, a JSON text or a tree of Python objects.
    #[new]
    fn new(session: Bound<'_, PyAny>, method: Bound<'_, PyAny>, settings: Bound<'_, PyAny>) -> PyResult<Self> {
        let py = session.py();
        let session = tree::session(session, method)?;
        let settings: LiveSettings = tree::arguments(settings)?;
        run(py, || live::Tracker::new(&session, settings)).map(Self)
    }

    /// Takes one frame; returns the readings as JSON.
    #[expect(clippy::needless_pass_by_value, reason = "Python's list is converted to one of Rust")]
    fn frame(&mut self, py: Python<'_>, time_s: f64, station: Stations) -> PyResult<String> {
        let station = stations(&station).pop().unwrap_or_default();
        let poses = ByWheel::from_fn(|wheel| station.get(wheel).frames().first().copied());
        // So short a work does not give way to other threads.
        let seen = caught(|| self.0.frame(time_s, &poses).map(|_| ()))?;
        seen.map_err(|fault| error::from_core(py, &fault))?;
        Ok(self.readings())
    }

    /// The readings of the last frame as JSON.
    fn readings(&self) -> String {
        json(self.0.readings())
    }

    fn adjust(&mut self, wheels: [bool; 4]) {
        self.0.adjust(self::wheels(wheels));
    }

    fn steer(&mut self, steering: &str) -> PyResult<()> {
        self.0.steer(match steering {
            "free" => Steering::Free,
            "held" => Steering::Held,
            _ => return Err(PyValueError::new_err(format!("steering: {steering:?} is neither 'free' nor 'held'"))),
        });
        Ok(())
    }

    fn lift(&mut self, wheels: [bool; 4]) {
        self.0.lift(self::wheels(wheels));
    }

    fn lifted(&mut self) {
        self.0.lifted();
    }

    fn lowered(&mut self) {
        self.0.lowered();
    }

    fn compensate(&mut self, wheel: usize, compensation: Bound<'_, PyAny>) -> PyResult<()> {
        let py = compensation.py();
        let compensation: Compensation = tree::arguments(compensation)?;
        let wheel = *Wheel::ALL.get(wheel).ok_or_else(|| PyValueError::new_err("the wheels are fl, fr, rl and rr"))?;
        self.0.compensate(wheel, &compensation).map_err(|fault| error::from_core(py, &fault))
    }
}
