//! The check on the law of propagation: whole measurements, again and again, with the inputs drawn from what is known of them.

use super::{PoseCause, Uncertainty, propagate};
use crate::alignment::{self, Alignment};
use crate::error::{Error, Stage};
use crate::frame::{Rig, Target, Transform, Vector};
use crate::joint;
use crate::layout::Wheel;
use crate::monte_carlo::{self, Agreement, Settings, Simulation, settle};
use crate::paths;
use crate::propagation::Output;
use crate::session::{Datum, InputUncertainty, Method, Poses, Session};
use crate::staged::{self, Seen, Trace};
use crate::units::{rad_from_deg, sqrt};
use alloc::vec::Vec;
use nalgebra::{Matrix3, SMatrix, SVector, Vector3};
use rand::SeedableRng;
use rand_distr::{ChiSquared, Distribution, StandardNormal};
use rand_pcg::Pcg64;

/// The share of the tolerance to which a run settles: two standard deviations of what it compares are half of what may be between them.
const FINER: f64 = 0.5;

/// What the trials of a session gave, beside the law of propagation.
#[derive(Debug, Clone, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
pub struct Trials {
    /// The readings that were watched, by their paths.
    pub paths: Vec<&'static str>,
    /// Their distributions, in the same order, in the readings' own units.
    pub simulation: Simulation,
    /// How far the law of propagation is from each, in the same order.
    pub agreement: Vec<Agreement>,
}

/// Measures a session again and again, every input drawn from what is known of it, until the asked-for readings stand still; and holds the
/// law of propagation against what came out.
///
/// Known noise is normal; noise that is estimated from frames follows Student's t with its degrees of freedom. The readings are those
/// of the session as it is: noise is added to noise. What casts doubt on a measurement is not asked. A trial costs a plain measurement, and
/// two digits take up to four million; 8 bytes per reading and trial are kept. `agreement` is judged at the digits asked for, and the run
/// settles to half their tolerance, so that its own scatter hardly ever decides.
///
/// # Errors
/// As [`propagate`], of any trial: within its noise of a bound a session is refused sooner or later, with the figure of that trial,
/// and with the joint method by [`ErrorCode::NotDetermined`](crate::ErrorCode::NotDetermined) or
/// [`ErrorCode::NotConverged`](crate::ErrorCode::NotConverged).
/// [`ErrorCode::UnknownReading`](crate::ErrorCode::UnknownReading);
/// [`ErrorCode::MissingInput`](crate::ErrorCode::MissingInput) for a reading that is absent;
/// [`ErrorCode::OutOfRange`](crate::ErrorCode::OutOfRange) for settings that no run has;
/// [`ErrorCode::NotSettled`](crate::ErrorCode::NotSettled) when the trials allowed are used up.
///
/// ```no_run
/// use alignment_core::{monte_carlo::Settings, session::PoseNoise, simulate::VirtualVehicle, uncertainty};
///
/// let noise = PoseNoise { rotation_deg: 0.005, translation_mm: 0.05 };
/// let session = VirtualVehicle { pose_noise: Some(noise), ..VirtualVehicle::default() }.session();
/// let trials = uncertainty::monte_carlo(&session, &["wheels.fl.camber_deg"], Settings::default())?;
/// assert!(trials.agreement[0].agrees);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn monte_carlo(session: &Session, paths: &[&str], settings: Settings) -> Result<Trials, Error> {
    watched_monte_carlo(session, paths, settings, |_| Ok(()))
}

/// As [`monte_carlo()`], and `watch` is told after each trial how many have been made. What it fails with ends the run and comes out as it
/// is: a run of minutes can show how far it is, and be stopped.
///
/// # Errors
/// As [`monte_carlo()`], and what `watch` fails with.
///
/// ```
/// use alignment_core::{Error, monte_carlo::Settings, session::PoseNoise, simulate::VirtualVehicle, uncertainty};
///
/// enum Stopped {
///     Asked,
///     Failed(Error),
/// }
/// impl From<Error> for Stopped {
///     fn from(error: Error) -> Self {
///         Self::Failed(error)
///     }
/// }
/// let noise = PoseNoise { rotation_deg: 0.005, translation_mm: 0.05 };
/// let session = VirtualVehicle { pose_noise: Some(noise), ..VirtualVehicle::default() }.session();
/// let watch = |trials| if trials < 100 { Ok(()) } else { Err(Stopped::Asked) };
/// let ended = uncertainty::watched_monte_carlo(&session, &["wheels.fl.camber_deg"], Settings::default(), watch);
/// assert!(matches!(ended, Err(Stopped::Asked)));
/// ```
pub fn watched_monte_carlo<E: From<Error>>(
    session: &Session,
    paths: &[&str],
    settings: Settings,
    mut watch: impl FnMut(u32) -> Result<(), E>,
) -> Result<Trials, E> {
    let positions = paths.iter().map(|path| paths::position(path)).collect::<Result<Vec<_>, Error>>()?;
    let known = propagate(session)?;
    let (_, trace, _) = alignment::trace(session)?;
    let values = known.measurement.alignment.values();
    if let Some(&absent) = positions.iter().find(|&&position| values[position].is_none()) {
        return Err(Error::new(crate::error::ErrorCode::MissingInput).input(paths::READINGS[absent]).into());
    }
    let mut trial = Trial::of(session, &known, &trace, settings.seed);
    let mut trials = 0;
    let simulation = settle(settings, FINER, positions.len(), |outputs| {
        let drawn = trial.draw()?.values();
        for (output, &position) in outputs.iter_mut().zip(&positions) {
            *output = drawn[position].unwrap_or(f64::NAN);
        }
        trials += 1;
        watch(trials)
    })?;
    let compare = |(index, &position): (usize, &usize)| {
        let estimate = values[position].unwrap_or(f64::NAN);
        monte_carlo::agree(&known.output(position, estimate), &simulation, index, settings.significant_digits)
    };
    let agreement = positions.iter().enumerate().map(compare).collect::<Result<_, Error>>()?;
    let paths = positions.iter().map(|&position| paths::READINGS[position]).collect();
    Ok(Trials { paths, simulation, agreement })
}

impl Uncertainty {
    /// A reading as an output of the law of propagation.
    fn output(&self, position: usize, estimate: f64) -> Output {
        Output {
            estimate,
            standard_uncertainty: self.standard.values()[position].unwrap_or(0.0),
            degrees_of_freedom: self.degrees_of_freedom.values()[position],
            sensitivities: Vec::new(),
            budget: Vec::new(),
        }
    }
}

/// A pose that is drawn: where it stands, how it scatters, and with how many degrees of freedom.
struct Drawn {
    stage: Stage,
    station: Option<usize>,
    wheel: Wheel,
    /// Of the covariance.
    factor: SMatrix<f64, 6, 6>,
    freedom: Option<(f64, ChiSquared<f64>)>,
}

/// A session that is drawn again and again.
struct Trial<'a> {
    /// What is known beside the poses; its stations are not looked at.
    session: Session,
    given: InputUncertainty,
    known: &'a Session,
    trace: &'a Trace,
    about: Vector<Rig>,
    poses: Vec<Drawn>,
    seen: Seen,
    rng: Pcg64,
}

impl<'a> Trial<'a> {
    fn of(known: &'a Session, uncertainty: &Uncertainty, trace: &'a Trace, seed: u64) -> Self {
        let drawn = |cause: &PoseCause| {
            let covariance = SMatrix::<f64, 6, 6>::from_fn(|i, j| cause.covariance[i][j]);
            // A root of it, which a covariance of less than full rank has as well.
            let eigen = covariance.symmetric_eigen();
            let root = eigen.eigenvalues.map(|value| sqrt(value.max(0.0)));
            Drawn {
                stage: cause.stage,
                station: cause.station,
                wheel: cause.wheel,
                factor: eigen.eigenvectors * SMatrix::from_diagonal(&root),
                freedom: Some(cause.degrees_of_freedom)
                    .filter(|freedom| freedom.is_finite())
                    .and_then(|freedom| Some((freedom, ChiSquared::new(freedom).ok()?))),
            }
        };
        let (rolling, sweep) = (Vec::new(), Vec::new());
        Self {
            session: Session { rolling, sweep, ..known.clone() },
            given: known.input_uncertainty.unwrap_or_default(),
            known,
            trace,
            about: crate::scatter::camera_of(known, Wheel::Fr).map_or(Vector::zero(), |camera| camera.origin()),
            poses: uncertainty.follows.poses.iter().map(drawn).collect(),
            seen: Seen {
                rolling: trace.rolling.clone(),
                ahead: trace.ahead,
                steered: trace.steered.clone(),
                spreads: uncertainty.measurement.spreads.clone(),
                hidden: Vec::new(),
            },
            rng: Pcg64::seed_from_u64(seed),
        }
    }

    fn normal(&mut self, deviation: f64) -> f64 {
        let unit: f64 = StandardNormal.sample(&mut self.rng);
        deviation * unit
    }

    /// The readings of one drawn session.
    fn draw(&mut self) -> Result<Alignment, Error> {
        self.draw_inputs();
        let cameras = self.given.right_cameras;
        let turn = Vector3::from_fn(|_, _| self.normal(rad_from_deg(cameras.rotation_deg)));
        let shift = Vector::new([0; 3].map(|_| self.normal(cameras.translation_mm)));
        let cameras_turn = small_turn(turn);
        for index in 0..self.poses.len() {
            let unit = SVector::<f64, 6>::from_fn(|_, _| self.normal(1.0));
            let Drawn { stage, station, wheel, factor, freedom } = &self.poses[index];
            let mut by = factor * unit;
            if let Some((freedom, squares)) = freedom {
                // Turn and shift were estimated apart, each with so many degrees of freedom.
                let mut wider = || sqrt(freedom / squares.sample(&mut self.rng));
                let wider = [wider(), wider()];
                by = SVector::from_fn(|i, _| by[i] * wider[i / 3]);
            }
            let (stage, station, wheel) = (*stage, *station, *wheel);
            let Some(pose) = self.trace.pose(stage, station, wheel) else { continue };
            let mut seen = moved(&pose, &by);
            if matches!(wheel, Wheel::Fr | Wheel::Rr) {
                let turned = Transform::<Rig, Rig>::from_parts(cameras_turn, Vector::zero());
                let origin = turned.direction(seen.origin() - self.about) + self.about + shift;
                seen = Transform::from_parts(cameras_turn * seen.rotation, origin);
            }
            *self.place(stage, station).get_mut(wheel) = Some(seen);
        }
        match self.session.method {
            Method::Staged => {
                staged::readings_of(&self.session, &self.seen.rolling, &self.seen.ahead, self.seen.steered.clone())
            }
            Method::Joint => joint::readings_of(&self.session, &self.seen, self.known),
        }
    }

    fn place(&mut self, stage: Stage, station: Option<usize>) -> &mut Poses {
        match (stage, station) {
            (Stage::Rolling, Some(index)) => &mut self.seen.rolling[index],
            (Stage::Sweep, Some(index)) => &mut self.seen.steered.sweep[index],
            (Stage::LockLeft, _) => &mut self.seen.steered.locks.left,
            (Stage::LockRight, _) => &mut self.seen.steered.locks.right,
            _ => &mut self.seen.ahead,
        }
    }

    /// Draws what is known beside the poses.
    fn draw_inputs(&mut self) {
        let (known, given) = (self.known, self.given);
        for wheel in Wheel::ALL {
            *self.session.clamp_standoff_mm.get_mut(wheel) =
                known.clamp_standoff_mm.get(wheel) + self.normal(given.clamp_standoff_mm);
        }
        if let (Some(up), Datum::Up) = (known.up, known.reference.datum) {
            let up = Vector::<Rig>::new(up).unit();
            let across = up.any_square();
            let tilt = [across, up.cross(across)].map(|axis| axis * self.normal(rad_from_deg(given.up_deg)));
            self.session.up = Some((up + tilt[0] + tilt[1]).unit().to_array());
        }
        if let Some(mut loaded) = known.loaded_radius_mm {
            for radius in [&mut loaded.front, &mut loaded.rear] {
                *radius = radius.map(|radius| radius + self.normal(given.loaded_radius_mm));
            }
            self.session.loaded_radius_mm = Some(loaded);
        }
        if let Some(mut runway) = known.runway_mm {
            for wheel in Wheel::ALL {
                for coordinate in runway.get_mut(wheel) {
                    *coordinate += self.normal(given.runway_mm);
                }
            }
            self.session.runway_mm = Some(runway);
        }
        if let Some(mut heights) = known.ride_height_mm {
            for wheel in Wheel::ALL {
                *heights.get_mut(wheel) += self.normal(given.ride_height_mm);
            }
            self.session.ride_height_mm = Some(heights);
        }
    }
}

/// A rotation by the unit quaternion along (1, ω/2): exact as a rotation, by an angle that falls short of |ω| by its cube over 12. Trials need
/// sixty of them each.
fn small_turn(turn: Vector3<f64>) -> Matrix3<f64> {
    let half = turn * 0.5;
    let scale = 2.0 / (1.0 + half.norm_squared());
    let cross = half.cross_matrix();
    Matrix3::identity() + (cross + cross * cross) * scale
}

/// A pose that turned by the first three, radians, and shifted by the last, mm.
fn moved(pose: &Transform<Rig, Target>, by: &SVector<f64, 6>) -> Transform<Rig, Target> {
    let turn = small_turn(Vector3::new(by[0], by[1], by[2]));
    Transform::from_parts(turn * pose.rotation, pose.origin() + Vector::new([by[3], by[4], by[5]]))
}
