//! The law of propagation and the Monte Carlo method, of a measurement function that is written in Python.

use crate::{error, run};
use alignment_core::monte_carlo::{self, Agreement, Distribution, Settings, Simulated, Simulation, try_monte_carlo};
use alignment_core::propagation::{self, Dual as CoreDual, Input, Number, Output, Propagation};
use pyo3::exceptions::{PyRuntimeError, PyTypeError, PyValueError, PyZeroDivisionError};
use pyo3::prelude::*;
use pyo3::types::{PyBool, PyFloat, PyInt, PyString, PyTuple};
use std::cmp::Ordering;

/// The most inputs of a function written in Python: so many derivatives a dual number carries.
pub(crate) const MAX_INPUTS: usize = 64;

/// A number and its derivative to each input.
#[pyclass(frozen, module = "wheel_alignment.propagation")]
#[derive(Clone, Copy)]
pub(crate) struct Dual {
    dual: CoreDual<MAX_INPUTS>,
    /// How many of the derivatives there are; a constant has none.
    count: usize,
}

/// What a dual number can be combined with.
#[derive(FromPyObject)]
enum Operand<'py> {
    Dual(Bound<'py, Dual>),
    Number(f64),
}

impl Operand<'_> {
    fn dual(&self) -> Dual {
        match self {
            Self::Dual(dual) => *dual.get(),
            Self::Number(value) => Dual::constant(*value),
        }
    }
}

impl Dual {
    fn constant(value: f64) -> Self {
        Self { dual: CoreDual::constant(value), count: 0 }
    }

    fn map(self, function: impl FnOnce(CoreDual<MAX_INPUTS>) -> CoreDual<MAX_INPUTS>) -> Self {
        Self { dual: function(self.dual), count: self.count }
    }

    fn with(
        self,
        other: Self,
        function: impl FnOnce(CoreDual<MAX_INPUTS>, CoreDual<MAX_INPUTS>) -> CoreDual<MAX_INPUTS>,
    ) -> Self {
        Self { dual: function(self.dual, other.dual), count: self.count.max(other.count) }
    }

    fn over(self, other: Self) -> PyResult<Self> {
        if other.dual.value == 0.0 {
            return Err(PyZeroDivisionError::new_err("division of a dual number by zero"));
        }
        Ok(self.with(other, |a, b| a / b))
    }

    /// A whole power as the core has it; any other by way of the logarithm.
    fn power(self, exponent: &Operand<'_>) -> Self {
        if let Operand::Number(exponent) = *exponent {
            #[expect(clippy::cast_possible_truncation, reason = "compared right away")]
            let whole = exponent as i32;
            if f64::from(whole).to_bits() == (exponent + 0.0).to_bits() {
                return self.map(|a| a.powi(whole));
            }
        }
        self.with(exponent.dual(), |a, b| (a.ln() * b).exp())
    }
}

#[pymethods]
impl Dual {
    /// The number alone.
    #[getter]
    fn value(&self) -> f64 {
        self.dual.value
    }

    /// Its derivative to each input.
    #[getter]
    fn derivatives<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyTuple>> {
        PyTuple::new(py, &self.dual.derivatives[..self.count])
    }

    fn __repr__(&self, py: Python<'_>) -> PyResult<String> {
        let value = PyFloat::new(py, self.dual.value).repr()?;
        Ok(format!("Dual({value}, derivatives={})", self.derivatives(py)?.repr()?))
    }

    fn __float__(&self) -> PyResult<f64> {
        Err(PyTypeError::new_err(
            "a dual number is no float, which would lose its derivatives; use the functions of \
             wheel_alignment.propagation or of numpy in place of those of math",
        ))
    }

    fn __pos__(&self) -> Self {
        *self
    }

    fn __neg__(&self) -> Self {
        self.map(|a| -a)
    }

    fn __abs__(&self) -> Self {
        if self.dual.value < 0.0 { self.__neg__() } else { *self }
    }

    fn __add__(&self, other: Operand<'_>) -> Self {
        match other {
            Operand::Number(b) => self.map(|a| a + b),
            Operand::Dual(b) => self.with(*b.get(), |a, b| a + b),
        }
    }

    fn __radd__(&self, other: f64) -> Self {
        self.map(|a| a + other)
    }

    fn __sub__(&self, other: Operand<'_>) -> Self {
        match other {
            Operand::Number(b) => self.map(|a| a - b),
            Operand::Dual(b) => self.with(*b.get(), |a, b| a - b),
        }
    }

    fn __rsub__(&self, other: f64) -> Self {
        Self::constant(other).with(*self, |a, b| a - b)
    }

    fn __mul__(&self, other: Operand<'_>) -> Self {
        match other {
            Operand::Number(b) => self.map(|a| a * b),
            Operand::Dual(b) => self.with(*b.get(), |a, b| a * b),
        }
    }

    fn __rmul__(&self, other: f64) -> Self {
        self.map(|a| a * other)
    }

    fn __truediv__(&self, other: Operand<'_>) -> PyResult<Self> {
        match other {
            Operand::Number(b) if b != 0.0 => Ok(self.map(|a| a / b)),
            other => self.over(other.dual()),
        }
    }

    fn __rtruediv__(&self, other: f64) -> PyResult<Self> {
        Self::constant(other).over(*self)
    }

    fn __pow__(&self, exponent: Operand<'_>, modulus: Option<&Bound<'_, PyAny>>) -> PyResult<Self> {
        match modulus {
            None => Ok(self.power(&exponent)),
            Some(_) => Err(PyTypeError::new_err("a power of a dual number has no modulus")),
        }
    }

    fn __rpow__(&self, base: f64, modulus: Option<&Bound<'_, PyAny>>) -> PyResult<Self> {
        match modulus {
            None => Ok(Self::constant(base).with(*self, |a, b| (a.ln() * b).exp())),
            Some(_) => Err(PyTypeError::new_err("a power of a dual number has no modulus")),
        }
    }

    /// By the number alone: a function may branch.
    fn __richcmp__(&self, other: Operand<'_>, op: pyo3::basic::CompareOp) -> bool {
        let ordering: Option<Ordering> = self.dual.value.partial_cmp(&other.dual().dual.value);
        match ordering {
            Some(ordering) => op.matches(ordering),
            None => matches!(op, pyo3::basic::CompareOp::Ne),
        }
    }

    fn __bool__(&self) -> bool {
        self.dual.value != 0.0
    }

    /// √self.
    fn sqrt(&self) -> Self {
        self.map(Number::sqrt)
    }

    /// The sine of radians.
    fn sin(&self) -> Self {
        self.map(Number::sin)
    }

    /// The cosine of radians.
    fn cos(&self) -> Self {
        self.map(Number::cos)
    }

    /// The tangent of radians.
    fn tan(&self) -> Self {
        self.map(Number::tan)
    }

    /// The arc sine, radians.
    fn asin(&self) -> Self {
        self.map(Number::asin)
    }

    /// The arc tangent, radians.
    fn atan(&self) -> Self {
        self.map(Number::atan)
    }

    /// The angle of the point (x, self) from the x axis, radians.
    fn atan2(&self, x: Operand<'_>) -> Self {
        self.with(x.dual(), Number::atan2)
    }

    /// e to the power self.
    fn exp(&self) -> Self {
        self.map(Number::exp)
    }

    /// The natural logarithm.
    fn ln(&self) -> Self {
        self.map(Number::ln)
    }

    /// √(self² + other²).
    fn hypot(&self, other: Operand<'_>) -> Self {
        self.with(other.dual(), Number::hypot)
    }

    /// `asin`, by the name that numpy looks for.
    fn arcsin(&self) -> Self {
        self.asin()
    }

    /// `atan`, by the name that numpy looks for.
    fn arctan(&self) -> Self {
        self.atan()
    }

    /// `atan2`, by the name that numpy looks for.
    fn arctan2(&self, x: Operand<'_>) -> Self {
        self.atan2(x)
    }

    /// `ln`, by the name that numpy looks for.
    fn log(&self) -> Self {
        self.ln()
    }

    /// Degrees of radians, by the name that numpy looks for.
    fn rad2deg(&self) -> Self {
        self.map(|a| a * alignment_core::units::DEG_PER_RAD)
    }

    /// Radians of degrees, by the name that numpy looks for.
    fn deg2rad(&self) -> Self {
        self.map(|a| a / alignment_core::units::DEG_PER_RAD)
    }

    /// Degrees of radians, by another name that numpy looks for.
    fn degrees(&self) -> Self {
        self.rad2deg()
    }

    /// Radians of degrees, by another name that numpy looks for.
    fn radians(&self) -> Self {
        self.deg2rad()
    }
}

/// An elementary function of a plain number, as the core has it on every platform.
#[pyfunction]
#[pyo3(signature = (name, value, other=0.0))]
pub(crate) fn elementary(name: &str, value: f64, other: f64) -> PyResult<f64> {
    Ok(match name {
        "sqrt" => Number::sqrt(value),
        "sin" => Number::sin(value),
        "cos" => Number::cos(value),
        "tan" => Number::tan(value),
        "asin" => Number::asin(value),
        "atan" => Number::atan(value),
        "atan2" => Number::atan2(value, other),
        "exp" => Number::exp(value),
        "ln" => Number::ln(value),
        "hypot" => Number::hypot(value, other),
        _ => return Err(PyValueError::new_err(format!("no elementary function is named {name:?}"))),
    })
}

/// Estimate, standard uncertainty, degrees of freedom.
type Known = (f64, f64, f64);
/// Estimate, standard uncertainty, degrees of freedom, sensitivities, budget of (input, standard uncertainty, share).
type Propagated = (f64, f64, Option<f64>, Vec<f64>, Vec<(usize, f64, f64)>);
/// Outputs, covariance, correlation.
type Law = (Vec<Propagated>, Vec<Vec<f64>>, Vec<Vec<f64>>);

fn inputs(known: &[Known]) -> Vec<Input> {
    let input = |&(estimate, standard_uncertainty, degrees_of_freedom): &Known| Input {
        estimate,
        standard_uncertainty,
        degrees_of_freedom,
    };
    known.iter().map(input).collect()
}

fn law(propagation: Propagation) -> Law {
    let output = |output: Output| {
        let budget = output.budget.iter().map(|part| (part.input, part.standard_uncertainty, part.share)).collect();
        (output.estimate, output.standard_uncertainty, output.degrees_of_freedom, output.sensitivities, budget)
    };
    (propagation.outputs.into_iter().map(output).collect(), propagation.covariance, propagation.correlation)
}

/// The outputs of a function: one number, or an iterable of numbers.
fn outputs<'py>(returned: Bound<'py, PyAny>) -> PyResult<Vec<Bound<'py, PyAny>>> {
    let single =
        returned.is_instance_of::<Dual>() || returned.is_instance_of::<PyFloat>() || returned.is_instance_of::<PyInt>();
    if single {
        return Ok(vec![returned]);
    }
    let refused = |returned: &Bound<'py, PyAny>| {
        let kind = returned.get_type().qualname()?;
        Err(PyTypeError::new_err(format!("the function returned {kind}, not a number or a sequence of numbers")))
    };
    if returned.is_instance_of::<PyString>() || returned.is_none() {
        return refused(&returned);
    }
    // An array of one number, without axes, is that number.
    let returned = match returned.getattr_opt("tolist")? {
        Some(tolist) => tolist.call0()?,
        None => returned,
    };
    match returned.try_iter() {
        Ok(items) => items.collect(),
        Err(_) if returned.is_instance_of::<Dual>() || returned.is_instance_of::<PyFloat>() => Ok(vec![returned]),
        Err(_) => refused(&returned),
    }
}

fn operand(output: &Bound<'_, PyAny>) -> PyResult<Dual> {
    if output.is_instance_of::<PyBool>() {
        return Err(PyTypeError::new_err("the function returned a truth value, not a number"));
    }
    let operand: Operand<'_> = output.extract().map_err(|_| match output.get_type().qualname() {
        Ok(kind) => PyTypeError::new_err(format!("the function returned {kind} among its outputs, not a number")),
        Err(exception) => exception,
    })?;
    Ok(operand.dual())
}

/// Propagates through a function of Python.
#[pyfunction]
#[expect(clippy::needless_pass_by_value, reason = "Python's list is converted to one of Rust")]
pub(crate) fn law_of_propagation(
    function: Bound<'_, PyAny>,
    known: Vec<Known>,
    correlation: Option<Vec<Vec<f64>>>,
) -> PyResult<Law> {
    let (py, count) = (function.py(), known.len());
    if count > MAX_INPUTS {
        return Err(PyValueError::new_err(format!(
            "a function of {count} inputs is more than dual numbers carry, {MAX_INPUTS}; \
             hand its derivatives to combine"
        )));
    }
    let seeded = |(index, &(value, ..)): (usize, &Known)| {
        let mut derivatives = [0.0; MAX_INPUTS];
        derivatives[index] = 1.0;
        Py::new(py, Dual { dual: CoreDual { value, derivatives }, count })
    };
    let arguments = known.iter().enumerate().map(seeded).collect::<PyResult<Vec<_>>>()?;
    let returned = function.call1(PyTuple::new(py, arguments)?)?;
    let duals = outputs(returned)?.iter().map(operand).collect::<PyResult<Vec<_>>>()?;
    let estimates: Vec<f64> = duals.iter().map(|dual| dual.dual.value).collect();
    let sensitivities: Vec<Vec<f64>> = duals.iter().map(|dual| dual.dual.derivatives[..count].to_vec()).collect();
    combine(py, known, correlation, estimates, sensitivities)
}

/// Propagates by derivatives that are known.
#[pyfunction]
#[expect(clippy::needless_pass_by_value, reason = "Python's lists are converted to those of Rust")]
pub(crate) fn combine(
    py: Python<'_>,
    known: Vec<Known>,
    correlation: Option<Vec<Vec<f64>>>,
    estimates: Vec<f64>,
    sensitivities: Vec<Vec<f64>>,
) -> PyResult<Law> {
    run(py, || propagation::combine(&inputs(&known), correlation.as_deref(), &estimates, &sensitivities).map(law))
}

/// The input that repeated observations make.
#[pyfunction]
#[expect(clippy::needless_pass_by_value, reason = "Python's list is converted to one of Rust")]
pub(crate) fn input_from_observations(py: Python<'_>, observations: Vec<f64>) -> PyResult<Known> {
    run(py, || Input::from_observations(&observations)).map(|input| parts(&input))
}

fn parts(input: &Input) -> Known {
    (input.estimate, input.standard_uncertainty, input.degrees_of_freedom)
}

fn output((estimate, standard_uncertainty, degrees_of_freedom): (f64, f64, Option<f64>)) -> Output {
    let (sensitivities, budget) = (Vec::new(), Vec::new());
    Output { estimate, standard_uncertainty, degrees_of_freedom, sensitivities, budget }
}

/// The coverage factor and the expanded uncertainty of an output.
#[pyfunction]
pub(crate) fn expanded_output(
    py: Python<'_>,
    known: (f64, f64, Option<f64>),
    probability: f64,
) -> PyResult<(f64, f64)> {
    let expanded = run(py, || output(known).expanded(probability))?;
    Ok((expanded.coverage_factor, expanded.expanded_uncertainty))
}

/// A distribution by its name and its figures in the order of the core.
type Given = (String, Vec<f64>);

fn distribution((name, figures): &Given) -> PyResult<Distribution> {
    Ok(match (name.as_str(), figures.as_slice()) {
        ("normal", &[mean, standard_deviation]) => Distribution::Normal { mean, standard_deviation },
        ("student_t", &[centre, scale, degrees_of_freedom]) => {
            Distribution::StudentT { centre, scale, degrees_of_freedom }
        }
        ("rectangular", &[least, most]) => Distribution::Rectangular { least, most },
        ("triangular", &[least, most]) => Distribution::Triangular { least, most },
        ("trapezoidal", &[least, most, top]) => Distribution::Trapezoidal { least, most, top },
        ("curvilinear_trapezoid", &[least, most, limits_within]) => {
            Distribution::CurvilinearTrapezoid { least, most, limits_within }
        }
        ("arcsine", &[least, most]) => Distribution::Arcsine { least, most },
        ("exponential", &[mean]) => Distribution::Exponential { mean },
        _ => return Err(PyValueError::new_err(format!("no distribution is named {name:?} with such figures"))),
    })
}

/// The input that the law of propagation makes of a distribution.
#[pyfunction]
#[expect(clippy::needless_pass_by_value, reason = "Python's tuple is converted to one of Rust")]
pub(crate) fn input_of(py: Python<'_>, given: Given) -> PyResult<Known> {
    let distribution = distribution(&given)?;
    run(py, || distribution.input()).map(|input| parts(&input))
}

/// Why a run ended before its time.
pub(crate) enum Stop {
    /// The core refused it.
    Core(alignment_core::Error),
    /// Python raised an exception.
    Raised(PyErr),
}

impl From<alignment_core::Error> for Stop {
    fn from(error: alignment_core::Error) -> Self {
        Self::Core(error)
    }
}

impl From<PyErr> for Stop {
    fn from(exception: PyErr) -> Self {
        Self::Raised(exception)
    }
}

impl Stop {
    pub(crate) fn exception(self, py: Python<'_>) -> PyErr {
        match self {
            Self::Core(fault) => error::from_core(py, &fault),
            Self::Raised(exception) => exception,
        }
    }
}

/// Runs trials of a function of Python; returns them as JSON.
#[pyfunction]
#[expect(clippy::needless_pass_by_value, reason = "Python's list is converted to one of Rust")]
pub(crate) fn trials_of(
    function: Bound<'_, PyAny>,
    given: Vec<Given>,
    correlation: Option<Vec<Vec<f64>>>,
    settings: Bound<'_, PyAny>,
) -> PyResult<String> {
    let py = function.py();
    let settings: Settings = crate::tree::arguments(settings)?;
    let inputs = given.iter().map(distribution).collect::<PyResult<Vec<_>>>()?;
    let call = |drawn: &[f64]| -> PyResult<Vec<f64>> {
        let returned = function.call1(PyTuple::new(py, drawn)?)?;
        outputs(returned)?.iter().map(|one| operand(one).map(|dual| dual.dual.value)).collect()
    };
    // The estimates tell how many outputs there are.
    let estimate = |input: &Distribution| input.input().map(|input| input.estimate);
    let estimates =
        inputs.iter().map(estimate).collect::<Result<Vec<_>, _>>().map_err(|fault| error::from_core(py, &fault))?;
    let count = call(&estimates)?.len();
    let mut trials = 0_u32;
    let simulation = try_monte_carlo(
        &inputs,
        correlation.as_deref(),
        count,
        |drawn, outputs| {
            // A function without bytecode of its own does not look for signals.
            trials = trials.wrapping_add(1);
            if trials % 1024 == 0 {
                py.check_signals()?;
            }
            let returned = call(drawn)?;
            if returned.len() != count {
                let now = returned.len();
                return Err(Stop::Raised(PyValueError::new_err(format!(
                    "the function returned {count} outputs at the estimates and {now} in a trial"
                ))));
            }
            outputs.copy_from_slice(&returned);
            Ok(())
        },
        settings,
    );
    simulation.map(|simulation| crate::json(&simulation)).map_err(|stop: Stop| stop.exception(py))
}

/// Whether the law of propagation agrees with trials, as JSON.
#[pyfunction]
pub(crate) fn agree(
    py: Python<'_>,
    by_law: (f64, f64, Option<f64>),
    symmetric_intervals: Vec<[f64; 2]>,
    probability: f64,
    output: usize,
    significant_digits: u32,
) -> PyResult<(f64, f64, f64, bool)> {
    let simulated = |&symmetric_interval: &[f64; 2]| Simulated {
        estimate: 0.0,
        standard_uncertainty: 0.0,
        symmetric_interval,
        shortest_interval: symmetric_interval,
    };
    let simulation = Simulation {
        outputs: symmetric_intervals.iter().map(simulated).collect(),
        covariance: Vec::new(),
        trials: 0,
        probability,
    };
    let agreement = run(py, || monte_carlo::agree(&self::output(by_law), &simulation, output, significant_digits))?;
    let Agreement { low, high, tolerance, agrees } = agreement;
    Ok((low, high, tolerance, agrees))
}

/// Tells a function of Python how far a run is, now and then, and looks for signals.
pub(crate) struct Watch {
    progress: Option<Py<PyAny>>,
    last: std::time::Instant,
}

impl Watch {
    pub(crate) fn new(progress: Option<Py<PyAny>>) -> Self {
        Self { progress, last: std::time::Instant::now() }
    }

    /// So many trials of the most that there may be are made.
    pub(crate) fn at(&mut self, trials: u32, most: u32) -> Result<(), Stop> {
        const EVERY: std::time::Duration = std::time::Duration::from_millis(100);
        if self.last.elapsed() < EVERY {
            return Ok(());
        }
        self.last = std::time::Instant::now();
        Python::attach(|py| {
            py.check_signals()?;
            match &self.progress {
                Some(progress) => progress.call1(py, (trials, most)).map(|_| ()),
                None => Ok(()),
            }
        })
        .map_err(Stop::Raised)
    }
}

/// Does long work while the interpreter is free for other threads, and lets it be stopped.
pub(crate) fn run_watched<T: Send>(py: Python<'_>, job: impl FnOnce() -> Result<T, Stop> + Send) -> PyResult<T> {
    py.detach(|| std::panic::catch_unwind(std::panic::AssertUnwindSafe(job)))
        .map_err(|_| PyRuntimeError::new_err("a fault inside the library; please report it with what it was given"))?
        .map_err(|stop| stop.exception(py))
}
