//! Everything of a stand in one call: readings, what they are worth, verdicts and moves.

use super::ground_line::{Car, floor_through};
use super::{
    GroundLine, Line, MAX_GROUND_POINTS, NOISE, PlacedStand, ReferencePoint, Required, StandMoves, StandReadings,
    StandRequirements, as_required, check_point, moves, read, transform,
};
use crate::alignment::{self, Measurement};
use crate::assembly::Geometry;
use crate::assessment::COVERAGE;
use crate::conformity::{self, Decision, Judgement, Limits, Uncertain, Verdict, judge};
use crate::datum::Plane;
use crate::error::{Error, ErrorCode, Warning};
use crate::frame::{Line as LineFrame, Rig, Stand, Target, Transform};
use crate::joint::Fitted;
use crate::propagation::coverage_factor;
use crate::scatter;
use crate::session::{self, Noise, Session};
use crate::staged::Trace;
use crate::uncertainty::difference::{self, STEP_MM};
use crate::uncertainty::{self, Worth};
use crate::units::{sqrt, within_half_turn_deg};
use alloc::vec::Vec;

/// Where a stand stands, what that is worth, whether it is as required, and the moves that put it right.
#[derive(Debug, Clone, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct StandAssessment {
    /// Where the stand stands.
    pub readings: StandReadings,
    /// The standard uncertainty of each reading, in its own unit. Absent when the noise of the car's poses or of the stand's is not known.
    pub standard_uncertainty: Option<StandReadings>,
    /// The effective degrees of freedom of each standard uncertainty; absent where the noise is known and they are infinite.
    pub degrees_of_freedom: StandReadings<Option<f64>>,
    /// The expanded uncertainty U of each reading: reading ± U holds the true value with a probability of 95 %.
    pub expanded_uncertainty: Option<StandReadings>,
    /// The verdict on each reading of which something is required. Without an uncertainty by simple acceptance, and it says so.
    pub judgements: StandReadings<Option<Judgement>>,
    /// On the whole: one reading that does not conform is enough for that; the stand conforms when every reading of which something is required does.
    pub overall: Verdict,
    /// What to do to the stand, in this order. Whether anything has to be done at all the verdicts say.
    pub moves: StandMoves,
    /// The point about which it is turned, in the stand's own frame, mm.
    pub pivot_mm: [f64; 3],
    /// The line on the ground from which it was read.
    pub ground_line: GroundLine,
    /// The thrust angle of the car, degrees; positive when the thrust line points to the right of the centreline.
    pub thrust_angle_deg: f64,
    /// What was required, with the line, the reference point and the rule.
    pub requirements: StandRequirements,
    /// What is weak in the measurement of the car.
    pub warnings: Vec<Warning>,
}

/// Measures a car and a stand before it: readings, what they are worth, verdicts and moves in one call.
///
/// `ground_mm` are points of the floor, mm in the rig frame; none of them makes the plane through the contact centres the ground. Each of their
/// coordinates is as uncertain as the session's `input_uncertainty.runway_mm` says.
///
/// # Errors
/// Those of [`measure`](crate::measure), as they stand there, and: [`ErrorCode::WheelNotSeen`] and [`ErrorCode::MissingInput`] for a car whose
/// four wheels were not all seen straight ahead, or without a radius; [`ErrorCode::NotFinite`], [`ErrorCode::NotARotation`],
/// [`ErrorCode::Reflection`], [`ErrorCode::LengthOutOfRange`], [`ErrorCode::AngleOutOfRange`] for poses, points and required values (pitch beyond
/// ± 89°; a floor tilted by more than 10° against the datum, or above a wheel's centre; without a floor, an `up` that is tilted by as much against
/// the plane of the contact centres); [`ErrorCode::NotACovariance`]; [`ErrorCode::OutOfRange`] for a negative tolerance or a probability
/// outside 0.5 to 0.999999; [`ErrorCode::TooFewStations`] for fewer than three points of the floor, and [`ErrorCode::TooMany`] for more than a
/// thousand.
///
/// ```
/// use alignment_core::session::PoseNoise;
/// use alignment_core::stand::{PlacedStand, Required, StandRequirements, assess};
/// use alignment_core::{Pose, conformity::Verdict, simulate::VirtualVehicle};
///
/// let noise = PoseNoise { rotation_deg: 0.005, translation_mm: 0.05 };
/// let session = VirtualVehicle { pose_noise: Some(noise), ..VirtualVehicle::default() }.session();
/// let seen = Pose::from_rotation_vector_rad([0.0, 0.0, 0.1], [5000.0, 30.0, 1200.0])?;
/// let stand = PlacedStand { rig_from_stand: seen, noise: Some(noise.into()), pivot_mm: [0.0; 3] };
/// let mut required = StandRequirements::default();
/// required.required.yaw_deg = Some(Required { nominal: 0.0, minus: 0.2, plus: 0.2 });
/// let found = assess(&session, &stand, &[], &required)?;
/// assert_eq!(found.overall, Verdict::DoesNotConform);
/// println!("{:.2}° ± {:.2}°", found.readings.yaw_deg, found.expanded_uncertainty.unwrap().yaw_deg);
/// println!("{}", found.moves);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn assess(
    session: &Session,
    stand: &PlacedStand,
    ground_mm: &[[f64; 3]],
    requirements: &StandRequirements,
) -> Result<StandAssessment, Error> {
    requirements.check()?;
    check_point("pivot_mm", stand.pivot_mm)?;
    if let Some(noise) = &stand.noise {
        noise.check(NOISE)?;
    }
    let rig_from_stand = transform::<Rig, Stand>("rig_from_stand", &stand.rig_from_stand)?;
    session::check_count(ground_mm.len(), MAX_GROUND_POINTS).map_err(|error| error.input("ground_mm"))?;
    let floor = floor_through(ground_mm)?;
    let traced = alignment::trace(session)?;
    let (measurement, trace, _) = &traced;
    let car = Car::measured(&trace.geometry)?;
    let StandRequirements { line, reference, .. } = *requirements;
    let ground_line = car.line(floor.as_ref(), line, reference)?;
    let (rig_from_line, _) = car.transform(floor.as_ref(), line, reference)?;
    let readings = read(&rig_from_line, &rig_from_stand)?;

    let scene = Scene { car: &car, floor: floor.as_ref(), line, reference, rig_from_line, rig_from_stand, readings };
    let known = match &stand.noise {
        Some(noise) => scene.worth(session, &traced, noise, ground_mm)?,
        None => None,
    };
    let standard = known.map(|(standard, _)| standard);
    let freedoms: [Option<f64>; 6] = known.map_or([None; 6], |(_, freedoms)| freedoms);
    let mut expanded = standard;
    for (expanded, freedom) in expanded.iter_mut().flatten().zip(freedoms) {
        let whole = freedom.map_or(f64::INFINITY, |freedom| libm::floor(freedom).max(1.0));
        *expanded *= coverage_factor(COVERAGE, whole)?;
    }
    let mut judgements = [None; 6];
    for (i, required) in requirements.required.values().into_iter().enumerate() {
        let Some(required) = required else { continue };
        let uncertain = standard.map(|standard| Uncertain {
            standard_uncertainty: standard[i],
            degrees_of_freedom: freedoms[i].map(|freedom| freedom.max(1.0)),
        });
        judgements[i] = Some(judged(i, readings.values()[i], uncertain, required, requirements.decision)?);
    }
    Ok(StandAssessment {
        readings,
        standard_uncertainty: standard.map(StandReadings::of),
        degrees_of_freedom: StandReadings::of(freedoms),
        expanded_uncertainty: expanded.map(StandReadings::of),
        overall: conformity::overall(judgements.iter().flatten().map(|judgement: &Judgement| judgement.verdict)),
        judgements: StandReadings::of(judgements),
        moves: moves(&readings, requirements, stand.pivot_mm)?,
        pivot_mm: stand.pivot_mm,
        ground_line,
        thrust_angle_deg: car.thrust_angle_deg,
        requirements: requirements.clone(),
        warnings: measurement.warnings.clone(),
    })
}

/// A stand and what it was read from, to be nudged.
struct Scene<'a> {
    car: &'a Car,
    floor: Option<&'a Plane>,
    line: Line,
    reference: ReferencePoint,
    rig_from_line: Transform<Rig, LineFrame>,
    rig_from_stand: Transform<Rig, Stand>,
    readings: StandReadings,
}

/// The standard uncertainties and their degrees of freedom, where these are finite.
type Known = ([f64; 6], [Option<f64>; 6]);

impl Scene<'_> {
    /// What the readings are worth; None when the noise of the car's poses is not known.
    fn worth(
        &self,
        session: &Session,
        traced: &(Measurement, Trace, Option<Fitted>),
        noise: &Noise,
        ground_mm: &[[f64; 3]],
    ) -> Result<Option<Known>, Error> {
        let by_car = |geometry: &Geometry| self.by_line(&Car::measured(geometry)?, self.floor);
        let Worth { covariance, estimated } = match uncertainty::worth(session, traced, by_car) {
            Ok(worth) => worth,
            Err(error) if error.code == ErrorCode::MissingInput && error.input == Some(scatter::NOISE) => {
                return Ok(None);
            }
            Err(error) => return Err(error),
        };
        let mut variance: [f64; 6] = core::array::from_fn(|i| covariance[i][i]);
        let noise = scatter::of_noise(noise);
        let seen = Transform::from_parts(self.rig_from_stand.rotation, self.rig_from_stand.origin());
        let by_stand = difference::by_pose(&seen, &mut |nudged: Transform<Rig, Target>| {
            self.off(&self.rig_from_line, &Transform::from_parts(nudged.rotation, nudged.origin()))
        })?;
        for (i, variance) in variance.iter_mut().enumerate() {
            for k in 0..6 {
                *variance += (0..6).map(|l| by_stand[k][i] * noise[k][l] * by_stand[l][i]).sum::<f64>();
            }
        }
        let of_points = session.input_uncertainty.unwrap_or_default().runway_mm;
        let places = (0..ground_mm.len()).flat_map(|point| (0..3).map(move |axis| (point, axis)));
        for (point, axis) in places.filter(|_| of_points > 0.0) {
            let column = difference::central(STEP_MM, &mut |step| {
                let mut nudged = ground_mm.to_vec();
                nudged[point][axis] += step;
                self.by_line(self.car, floor_through(&nudged)?.as_ref())
            })?;
            for (variance, derivative) in variance.iter_mut().zip(column) {
                *variance += derivative * derivative * of_points * of_points;
            }
        }
        let freedom = |i: usize| (estimated[i] > 0.0).then(|| variance[i] * variance[i] / estimated[i]);
        Ok(Some((variance.map(|variance| sqrt(variance.max(0.0))), core::array::from_fn(freedom))))
    }

    /// The readings by another car, or on another floor.
    fn by_line(&self, car: &Car, floor: Option<&Plane>) -> Result<[f64; 6], Error> {
        let (rig_from_line, _) = car.transform(floor, self.line, self.reference)?;
        self.off(&rig_from_line, &self.rig_from_stand)
    }

    /// Readings against those found, so that angles do not jump by a turn.
    fn off(&self, line: &Transform<Rig, LineFrame>, stand: &Transform<Rig, Stand>) -> Result<[f64; 6], Error> {
        let (now, found) = (read(line, stand)?.values(), self.readings.values());
        Ok(core::array::from_fn(|i| if i < 3 { now[i] - found[i] } else { within_half_turn_deg(now[i] - found[i]) }))
    }
}

/// The verdict on one reading.
fn judged(
    index: usize,
    value: f64,
    uncertain: Option<Uncertain>,
    Required { nominal, minus, plus }: Required,
    decision: Decision,
) -> Result<Judgement, Error> {
    let value = as_required(index, value, nominal);
    let limits = Limits { min: Some(nominal - minus), max: Some(nominal + plus) };
    judge(value, uncertain, limits, decision)
}
