//! What every reading is worth: standard uncertainties and covariances, by the law of propagation through the whole chain.
//!
//! # What is uncertain
//! | input | where it is stated |
//! |---|---|
//! | every pose | `pose_noise`, per axis or as a 6×6 covariance; a `covariance` of its own; or, when neither is stated, how its frames scatter |
//! | clamp standoff, `up`, loaded radius, runway, ride heights | `input_uncertainty` |
//! | where the right cameras stand against the left ones | `input_uncertainty`: one error that all poses of the right wheels share |
//!
//! All but the last are independent of each other. The mean of n frames has 1/n of their covariance.
//!
//! # The law of propagation
//! To first order the readings y follow the inputs x by y = J·x, and so have the covariance U = J·V·Jᵀ. J is the product of what each stage passes on:
//!
//! | stage | derivative |
//! |---|---|
//! | clamps, from the rolling stations | exact: implicit differentiation of the least squares |
//! | steering axes and steer angles, from the steered stations | exact, likewise |
//! | wheels, from clamps and ahead poses | exact |
//! | the tree, from wheels, axes and angles | central differences of the very function that [`measure`](crate::measure) uses: closed forms without noise, good to some 1e-9 |
//!
//! Central differences of a whole stage stand in where a rolling radius had to be given, a body turns while it rolls, the body is found
//! again, or the datum is the wheel plane. They cost many times more, and grow with the square of the
//! number of stations.
//!
//! # Degrees of freedom
//! A stated noise is taken as known. Noise that is estimated from n frames has 3(n − 1) degrees of freedom for the rotation and as many
//! for the translation; a reading's effective degrees of freedom follow by the formula of Welch and Satterthwaite.
//!
//! # Where it fails
//! The law is linear. An angle that cannot be negative, a runout near zero, is not: its uncertainty there says how far it may lie from zero,
//! not how it is distributed. `monte_carlo` tells.
//! The uncertainty covers what the inputs say. It knows nothing of a target that slipped or a steering axis that moves: the warnings
//! of the measurement do.

mod causes;
mod clamps;
pub(crate) mod difference;
mod figures;
mod fitted;
mod free_axis;
#[cfg(feature = "simulate")]
mod plan;
mod steered;
#[cfg(feature = "simulate")]
mod trials;

use crate::alignment::{self, Alignment, Measurement};
use crate::assembly::Geometry;
use crate::error::{Error, Stage};
use crate::joint::Fitted;
use crate::layout::Wheel;
use crate::paths::{self, COUNT};
use crate::propagation::{self, Expanded};
use crate::session::{Datum, Session};
use crate::staged::Trace;
use crate::units::{self, sqrt};
use alloc::vec::Vec;
use causes::{OtherCause, PoseCause, covariance_of_causes, other_causes, pose_causes};
use clamps::ClampsFollow;
use difference::ABSENT;
use figures::{Figures, by_figures};
use nalgebra::SVector;
#[cfg(feature = "simulate")]
pub use plan::{MAX_PLANNED, Plan, ROLL_RANGE_DEG, Reach, SWEEP_RANGE_DEG, plan, reach};
use steered::SteeredFollows;
#[cfg(feature = "simulate")]
pub use trials::{Trials, monte_carlo, watched_monte_carlo};

/// A row of a matrix by its elements that are not zero.
type Sparse = Vec<(usize, f64)>;

/// A measurement, and what each of its readings is worth.
#[derive(Debug, Clone, PartialEq)]
pub struct Uncertainty {
    /// The measurement itself.
    pub measurement: Measurement,
    /// The standard uncertainty of every reading, in the reading's own unit, under the same path.
    pub standard: Alignment,
    /// The effective degrees of freedom of every standard uncertainty, under the same path: infinite where the noise is known.
    pub degrees_of_freedom: Alignment,
    covariance: Vec<f64>,
    /// The readings by the figures.
    readings: Vec<Sparse>,
    follows: Follows,
}

/// The figures of the geometry by the causes, and the causes.
#[derive(Debug, Clone, PartialEq)]
struct Follows {
    figures: Vec<Sparse>,
    poses: Vec<PoseCause>,
    /// The variances of the causes that are no poses.
    others: Vec<OtherCause>,
}

/// What makes a reading uncertain.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
#[cfg_attr(feature = "json", serde(rename_all = "snake_case"))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum Source {
    /// The noise of the poses of one wheel: at one station of a stage, or at all of them.
    Poses {
        /// In which group of stations.
        stage: Stage,
        /// At which station of the group, counted from 0 as in the session; None for all together.
        station: Option<usize>,
        /// Of which wheel.
        wheel: Wheel,
    },
    /// The standoff of one clamp.
    ClampStandoff(Wheel),
    /// The direction of `up`.
    Up,
    /// The measured points of the runway.
    Runway,
    /// The loaded radius of the front axle.
    FrontLoadedRadius,
    /// The loaded radius of the rear axle.
    RearLoadedRadius,
    /// The ride heights.
    RideHeight,
    /// Where the cameras of the right wheels stand against those of the left.
    RightCameras,
}

/// What one input contributes to the uncertainty of one reading.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Contribution {
    /// The input.
    pub source: Source,
    /// The standard uncertainty that the reading would have from this input alone, in the reading's unit.
    pub standard_uncertainty: f64,
    /// Its share of the reading's variance, 0 to 1.
    pub share: f64,
}

/// Measures a car, and says what each reading is worth (see the [module](self)).
///
/// # Errors
/// Those of [`measure`](crate::measure), with the joint method [`ErrorCode::NotDetermined`](crate::ErrorCode::NotDetermined) and
/// [`ErrorCode::NotConverged`](crate::ErrorCode::NotConverged) among them; [`ErrorCode::MissingInput`](crate::ErrorCode::MissingInput) when the noise of the poses is not stated and a wheel was seen in a
/// single frame, [`ErrorCode::NotACovariance`](crate::ErrorCode::NotACovariance).
///
/// ```
/// use alignment_core::{session::PoseNoise, simulate::VirtualVehicle, uncertainty};
///
/// let noise = PoseNoise { rotation_deg: 0.005, translation_mm: 0.05 };
/// let session = VirtualVehicle { pose_noise: Some(noise), ..VirtualVehicle::default() }.session();
/// let known = uncertainty::propagate(&session)?;
/// let camber = known.expanded("wheels.fl.camber_deg", 0.95)?.unwrap();
/// assert!((0.015..0.020).contains(&camber.expanded_uncertainty));
/// let first = known.budget("wheels.fl.camber_deg")?[0];
/// println!("{:?}: {:.0} %", first.source, 100.0 * first.share);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn propagate(session: &Session) -> Result<Uncertainty, Error> {
    let (measurement, trace, fitted) = alignment::trace(session)?;
    let (follows, of_figures) = Follows::find(session, &measurement, &trace, fitted.as_ref())?;
    let tree = |geometry: &Geometry| geometry.alignment().map(|tree| tree.values().map(|v| v.unwrap_or(ABSENT)));
    let readings = by_figures(&trace.geometry, &of_figures, tree)?;
    let of_readings = propagated::<{ figures::COUNT }, COUNT>(&readings, &of_figures);

    let values = measurement.alignment.values();
    let standard = core::array::from_fn(|i| values[i].map(|_| sqrt(of_readings[i * COUNT + i].max(0.0))));
    let mut known = Uncertainty {
        measurement,
        standard: Alignment::from_values(&standard),
        degrees_of_freedom: Alignment::default(),
        covariance: of_readings,
        readings,
        follows,
    };
    let freedom = core::array::from_fn(|i| values[i].map(|_| known.effective_degrees_of_freedom(i)));
    known.degrees_of_freedom = Alignment::from_values(&freedom);
    Ok(known)
}

/// What `N` numbers computed from the geometry of a measured car are worth.
pub(crate) struct Worth<const N: usize> {
    /// Their covariance.
    pub(crate) covariance: [[f64; N]; N],
    /// Σ(uᵢ⁴/νᵢ) of each, over what is estimated: what the formula of Welch and Satterthwaite divides by.
    pub(crate) estimated: [f64; N],
}

/// What a function of the geometry owes to what is uncertain in a session.
pub(crate) fn worth<const N: usize>(
    session: &Session,
    (measurement, trace, fitted): &(Measurement, Trace, Option<Fitted>),
    function: impl Fn(&Geometry) -> Result<[f64; N], Error>,
) -> Result<Worth<N>, Error> {
    let (follows, of_figures) = Follows::find(session, measurement, trace, fitted.as_ref())?;
    let rows = by_figures(&trace.geometry, &of_figures, function)?;
    let covariance = propagated::<{ figures::COUNT }, N>(&rows, &of_figures);
    Ok(Worth {
        covariance: core::array::from_fn(|i| core::array::from_fn(|j| covariance[i * N + j])),
        estimated: core::array::from_fn(|i| follows.estimated(&rows[i])),
    })
}

/// The covariance J·V·Jᵀ of `N` results whose rows follow `M` numbers of covariance V.
fn propagated<const M: usize, const N: usize>(rows: &[Sparse], covariance: &[f64]) -> Vec<f64> {
    let mut result = Vec::new();
    result.resize(N * N, 0.0);
    for (i, row) in rows.iter().enumerate() {
        let mut weighted = [0.0; M];
        for &(number, derivative) in row {
            for (sum, element) in weighted.iter_mut().zip(&covariance[number * M..][..M]) {
                *sum += derivative * element;
            }
        }
        for (j, other) in rows[..=i].iter().enumerate() {
            let sum: f64 = other.iter().map(|&(number, derivative)| derivative * weighted[number]).sum();
            result[i * N + j] = sum;
            result[j * N + i] = sum;
        }
    }
    result
}

impl Uncertainty {
    /// The covariance of two readings, in the product of their units; None when one is absent.
    ///
    /// # Errors
    /// [`ErrorCode::UnknownReading`](crate::ErrorCode::UnknownReading).
    ///
    /// ```
    /// # use alignment_core::{session::PoseNoise, simulate::VirtualVehicle, uncertainty};
    /// # let noise = PoseNoise { rotation_deg: 0.005, translation_mm: 0.05 };
    /// # let session = VirtualVehicle { pose_noise: Some(noise), ..VirtualVehicle::default() }.session();
    /// let known = uncertainty::propagate(&session)?;
    /// // Camber and included angle share what is uncertain in the spindle.
    /// assert!(known.covariance("wheels.fl.camber_deg", "steering.left.included_angle_deg")?.unwrap() > 0.0);
    /// # Ok::<(), alignment_core::Error>(())
    /// ```
    pub fn covariance(&self, path: &str, other: &str) -> Result<Option<f64>, Error> {
        let (i, j) = (paths::position(path)?, paths::position(other)?);
        let present = self.standard.get(path)?.and(self.standard.get(other)?);
        Ok(present.map(|_| self.covariance[i * COUNT + j]))
    }

    /// The correlation of two readings, −1 to 1; None when one is absent or exact.
    ///
    /// # Errors
    /// [`ErrorCode::UnknownReading`](crate::ErrorCode::UnknownReading).
    ///
    /// ```
    /// # use alignment_core::{session::PoseNoise, simulate::VirtualVehicle, uncertainty};
    /// # let noise = PoseNoise { rotation_deg: 0.005, translation_mm: 0.05 };
    /// # let session = VirtualVehicle { pose_noise: Some(noise), ..VirtualVehicle::default() }.session();
    /// let known = uncertainty::propagate(&session)?;
    /// let both = known.correlation("wheels.rl.toe_deg", "chassis.thrust_angle_deg")?.unwrap();
    /// assert!((0.3..1.0).contains(&both));
    /// # Ok::<(), alignment_core::Error>(())
    /// ```
    pub fn correlation(&self, path: &str, other: &str) -> Result<Option<f64>, Error> {
        let deviations = self.standard.get(path)?.zip(self.standard.get(other)?).map(|(a, b)| a * b);
        let covariance = self.covariance(path, other)?;
        Ok(covariance
            .zip(deviations)
            .filter(|(_, product)| *product > 0.0)
            .map(|(v, product)| (v / product).clamp(-1.0, 1.0)))
    }

    /// The full covariance of all readings in the order of [`READINGS`](paths::READINGS), row by row, in the products of their units. Zero
    /// where a reading is absent.
    ///
    /// ```
    /// # use alignment_core::{paths::COUNT, session::PoseNoise, simulate::VirtualVehicle, uncertainty};
    /// # let noise = PoseNoise { rotation_deg: 0.005, translation_mm: 0.05 };
    /// # let session = VirtualVehicle { pose_noise: Some(noise), ..VirtualVehicle::default() }.session();
    /// let known = uncertainty::propagate(&session)?;
    /// assert_eq!(known.covariance_matrix().len(), COUNT * COUNT);
    /// # Ok::<(), alignment_core::Error>(())
    /// ```
    #[must_use]
    pub fn covariance_matrix(&self) -> &[f64] {
        &self.covariance
    }

    /// The expanded uncertainty of a reading for a coverage probability, as 0.95; None when the reading is absent.
    ///
    /// k is the quantile of Student's t at (1 + probability)/2 for the effective degrees of freedom, rounded down to a whole number as is
    /// the cautious custom: 1.96 at 95 % when the noise is known.
    ///
    /// # Errors
    /// [`ErrorCode::UnknownReading`](crate::ErrorCode::UnknownReading); [`ErrorCode::NotFinite`](crate::ErrorCode::NotFinite); [`ErrorCode::OutOfRange`](crate::ErrorCode::OutOfRange) for a probability outside 0 to 1 − 1e-9.
    ///
    /// ```
    /// # use alignment_core::{session::PoseNoise, simulate::VirtualVehicle, uncertainty};
    /// # let noise = PoseNoise { rotation_deg: 0.005, translation_mm: 0.05 };
    /// # let session = VirtualVehicle { pose_noise: Some(noise), ..VirtualVehicle::default() }.session();
    /// let known = uncertainty::propagate(&session)?;
    /// let caster = known.expanded("steering.left.caster_deg", 0.95)?.unwrap();
    /// assert!((caster.coverage_factor - 1.96).abs() < 1e-3);
    /// # Ok::<(), alignment_core::Error>(())
    /// ```
    pub fn expanded(&self, path: &str, probability: f64) -> Result<Option<Expanded>, Error> {
        let both = self.standard.get(path)?.zip(self.degrees_of_freedom.get(path)?);
        both.map(|(standard, freedom)| {
            let coverage_factor = propagation::coverage_factor(probability, whole(freedom))?;
            Ok(Expanded { coverage_factor, expanded_uncertainty: coverage_factor * standard })
        })
        .transpose()
    }

    /// The expanded uncertainty of every reading, under the same path.
    ///
    /// # Errors
    /// [`ErrorCode::NotFinite`](crate::ErrorCode::NotFinite); [`ErrorCode::OutOfRange`](crate::ErrorCode::OutOfRange) for a probability outside 0 to 1 − 1e-9.
    ///
    /// ```
    /// # use alignment_core::{session::PoseNoise, simulate::VirtualVehicle, uncertainty};
    /// # let noise = PoseNoise { rotation_deg: 0.005, translation_mm: 0.05 };
    /// # let session = VirtualVehicle { pose_noise: Some(noise), ..VirtualVehicle::default() }.session();
    /// let known = uncertainty::propagate(&session)?;
    /// assert!(known.expanded_tree(0.95)?.wheels.fl.camber_deg.unwrap() < 0.02);
    /// # Ok::<(), alignment_core::Error>(())
    /// ```
    pub fn expanded_tree(&self, probability: f64) -> Result<Alignment, Error> {
        let (standard, freedom) = (self.standard.values(), self.degrees_of_freedom.values().map(|v| v.map(whole)));
        // A quantile costs more than all else, and most readings share their degrees of freedom.
        let mut factors: Vec<(f64, f64)> = Vec::new();
        let mut expanded = [None; COUNT];
        for (i, both) in standard.into_iter().zip(freedom).enumerate() {
            let Some((standard, freedom)) = both.0.zip(both.1) else { continue };
            let known = factors.iter().find(|(of, _)| of.to_bits() == freedom.to_bits());
            let factor = if let Some((_, factor)) = known {
                *factor
            } else {
                let factor = propagation::coverage_factor(probability, freedom)?;
                factors.push((freedom, factor));
                factor
            };
            expanded[i] = Some(standard * factor);
        }
        Ok(Alignment::from_values(&expanded))
    }

    /// The budget of a reading: what each input contributes, the largest first; the poses of one wheel and stage together. Empty when
    /// the reading is absent or exact. The shares add up to 1.
    ///
    /// # Errors
    /// [`ErrorCode::UnknownReading`](crate::ErrorCode::UnknownReading).
    ///
    /// ```
    /// # use alignment_core::{session::PoseNoise, simulate::VirtualVehicle, uncertainty};
    /// # let noise = PoseNoise { rotation_deg: 0.005, translation_mm: 0.05 };
    /// # let session = VirtualVehicle { pose_noise: Some(noise), ..VirtualVehicle::default() }.session();
    /// let known = uncertainty::propagate(&session)?;
    /// let budget = known.budget("steering.left.caster_deg")?;
    /// assert!(budget[0].share > 0.5, "the sweep of the wheel itself");
    /// # Ok::<(), alignment_core::Error>(())
    /// ```
    pub fn budget(&self, path: &str) -> Result<Vec<Contribution>, Error> {
        let mut together: Vec<(Source, f64)> = Vec::new();
        for (source, variance) in self.variances(paths::position(path)?) {
            let source = match source {
                Source::Poses { stage, wheel, .. } => Source::Poses { stage, station: None, wheel },
                other => other,
            };
            match together.iter_mut().find(|(known, _)| *known == source) {
                Some((_, sum)) => *sum += variance,
                None => together.push((source, variance)),
            }
        }
        Ok(contributions(together))
    }

    /// The budget of a reading pose by pose, the largest first: which station to take with more care.
    ///
    /// # Errors
    /// [`ErrorCode::UnknownReading`](crate::ErrorCode::UnknownReading).
    ///
    /// ```
    /// # use alignment_core::{session::PoseNoise, simulate::VirtualVehicle, uncertainty};
    /// # let noise = PoseNoise { rotation_deg: 0.005, translation_mm: 0.05 };
    /// # let session = VirtualVehicle { pose_noise: Some(noise), ..VirtualVehicle::default() }.session();
    /// let known = uncertainty::propagate(&session)?;
    /// let budget = known.budget_by_pose("wheels.rr.camber_deg")?;
    /// assert!((budget.iter().map(|part| part.share).sum::<f64>() - 1.0).abs() < 1e-12);
    /// # Ok::<(), alignment_core::Error>(())
    /// ```
    pub fn budget_by_pose(&self, path: &str) -> Result<Vec<Contribution>, Error> {
        Ok(contributions(self.variances(paths::position(path)?)))
    }

    /// What each input adds to the variance of a reading.
    fn variances(&self, reading: usize) -> Vec<(Source, f64)> {
        let by_causes = self.follows.by_causes(&self.readings[reading]);
        let of_pose = |pose: &PoseCause| {
            let PoseCause { stage, station, wheel, .. } = *pose;
            (Source::Poses { stage, station, wheel }, pose.variance(&by_causes, 0..6))
        };
        let of_other = |OtherCause { source, covariance, at, size }: &OtherCause| {
            let follows = SVector::<f64, 6>::from_fn(|i, _| if i < *size { by_causes[at + i] } else { 0.0 });
            (*source, follows.dot(&(covariance * follows)))
        };
        self.follows.poses.iter().map(of_pose).chain(self.follows.others.iter().map(of_other)).collect()
    }

    /// Welch and Satterthwaite: ν = u⁴/Σ(uᵢ⁴/νᵢ).
    fn effective_degrees_of_freedom(&self, reading: usize) -> f64 {
        let variance = self.covariance[reading * COUNT + reading];
        let sum = self.follows.estimated(&self.readings[reading]);
        if sum > 0.0 { variance * variance / sum } else { f64::INFINITY }
    }
}

impl Follows {
    /// How the figures follow the causes, and the covariance of the figures, row by row.
    fn find(
        session: &Session,
        measurement: &Measurement,
        trace: &Trace,
        fitted: Option<&Fitted>,
    ) -> Result<(Self, Vec<f64>), Error> {
        let given = session.input_uncertainty.unwrap_or_default();
        let (mut figures, poses) = if let Some(fitted) = fitted {
            let follows = fitted::follow(session, trace, fitted);
            (Figures::fitted(&follows), fitted::pose_causes(session, &measurement.spreads, fitted, &follows)?)
        } else {
            let clamps = ClampsFollow::find(session, &trace.rolling, trace.geometry.up, &trace.geometry.compensation)?;
            let steered = SteeredFollows::find(session, trace)?;
            let figures = Figures::of(trace, &clamps, &steered);
            (figures, pose_causes(session, &measurement.spreads, trace, clamps, steered)?)
        };
        if session.reference.datum == Datum::WheelPlane {
            figures.up_from_wheels(&trace.geometry)?;
        }
        let cameras = figures.follow_cameras(session, trace, &poses);
        let others = other_causes(session, trace, &given, cameras)?;
        let causes = covariance_of_causes(&poses, &others);
        let figures = figures.sparse();
        let of_figures = propagated::<{ causes::COUNT }, { figures::COUNT }>(&figures, &causes);
        Ok((Self { figures, poses, others }, of_figures))
    }

    /// How what follows the figures by this row follows the causes.
    fn by_causes(&self, row: &Sparse) -> [f64; causes::COUNT] {
        let mut by_causes = [0.0; causes::COUNT];
        for &(figure, derivative) in row {
            for &(number, of_figure) in &self.figures[figure] {
                by_causes[number] += derivative * of_figure;
            }
        }
        by_causes
    }

    /// Σ(uᵢ⁴/νᵢ) over what is estimated, turn and shift of each pose apart.
    fn estimated(&self, row: &Sparse) -> f64 {
        let estimated = || self.poses.iter().filter(|pose| pose.degrees_of_freedom.is_finite());
        if estimated().next().is_none() {
            return 0.0;
        }
        let by_causes = self.by_causes(row);
        estimated()
            .flat_map(|pose| [0..3, 3..6].map(|part| (pose.variance(&by_causes, part), pose.degrees_of_freedom)))
            .map(|(part, freedom)| part * part / freedom)
            .sum()
    }
}

/// Sorts, and adds the shares.
fn contributions(mut variances: Vec<(Source, f64)>) -> Vec<Contribution> {
    let sum: f64 = variances.iter().map(|(_, variance)| variance).sum();
    variances.retain(|(_, variance)| *variance > 0.0);
    units::sort_by(&mut variances, |a, b| b.1.total_cmp(&a.1));
    let contribution = |(source, variance): (Source, f64)| Contribution {
        source,
        standard_uncertainty: sqrt(variance),
        share: variance / sum,
    };
    variances.into_iter().map(contribution).collect()
}

/// Degrees of freedom as the coverage factor takes them.
fn whole(degrees_of_freedom: f64) -> f64 {
    libm::floor(degrees_of_freedom).max(1.0)
}
