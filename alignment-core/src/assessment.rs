//! The whole job in one call: every reading, what it is worth, and whether it is within its limits.

use crate::alignment::{Alignment, Measurement, measure};
use crate::conformity::{Specification, Verdicts, judge_all};
use crate::error::{Error, ErrorCode};
use crate::scatter;
use crate::session::Session;
use crate::uncertainty::{self, Uncertainty};

/// The coverage probability of [`Assessment::expanded_uncertainty`].
pub const COVERAGE: f64 = 0.95;

/// A measurement with all that can be said of it.
#[derive(Debug, Clone, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Assessment {
    /// The measurement itself.
    #[cfg_attr(feature = "json", serde(flatten))]
    pub measurement: Measurement,
    /// The standard uncertainty of every reading, in its own unit, under the same path. Absent as a whole when the noise of the poses is not
    /// known.
    pub uncertainty: Option<Alignment>,
    /// The effective degrees of freedom of every standard uncertainty; infinite, and null in JSON, where the noise is known.
    pub degrees_of_freedom: Option<Alignment>,
    /// The expanded uncertainty U of every reading, in its own unit: reading ± U holds the true value with a probability of 95 %.
    pub expanded_uncertainty: Option<Alignment>,
    /// The verdicts by the specification, when there is one.
    pub verdicts: Option<Verdicts>,
}

/// Measures a car, says what every reading is worth as far as the session tells, and judges it by a specification if there is one.
///
/// The noise of the poses must be stated or be seen in several frames (see [`uncertainty`]); without it readings are judged as they stand,
/// and each verdict says so.
///
/// # Errors
/// Those of [`measure`], with the joint method [`ErrorCode::NotDetermined`] and [`ErrorCode::NotConverged`] among them, and of [`judge_all`];
/// [`ErrorCode::NotACovariance`].
///
/// ```
/// use alignment_core::{assess, session::PoseNoise, simulate::VirtualVehicle};
///
/// let noise = PoseNoise { rotation_deg: 0.005, translation_mm: 0.05 };
/// let session = VirtualVehicle { pose_noise: Some(noise), ..VirtualVehicle::default() }.session();
/// let known = assess(&session, None)?;
/// let camber_deg = known.measurement.alignment.wheels.fl.camber_deg.unwrap();
/// let expanded_deg = known.expanded_uncertainty.unwrap().wheels.fl.camber_deg.unwrap();
/// println!("{camber_deg:.2}° ± {expanded_deg:.2}°");
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn assess(session: &Session, specification: Option<&Specification>) -> Result<Assessment, Error> {
    let known = match uncertainty::propagate(session) {
        Ok(known) => Some(known),
        Err(error) if error.code == ErrorCode::MissingInput && error.input == Some(scatter::NOISE) => None,
        Err(error) => return Err(error),
    };
    let expanded_uncertainty = known.as_ref().map(|known| known.expanded_tree(COVERAGE)).transpose()?;
    let (measurement, uncertainty, degrees_of_freedom) = match known {
        None => (measure(session)?, None, None),
        Some(Uncertainty { measurement, standard, degrees_of_freedom, .. }) => {
            (measurement, Some(standard), Some(degrees_of_freedom))
        }
    };
    let judge = |specification| {
        judge_all(&measurement.alignment, uncertainty.as_ref(), degrees_of_freedom.as_ref(), specification)
    };
    let verdicts = specification.map(judge).transpose()?;
    Ok(Assessment { measurement, uncertainty, degrees_of_freedom, expanded_uncertainty, verdicts })
}
