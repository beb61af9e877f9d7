//! What a measurement will be worth, before anyone touches a car; and how far to roll and sweep for what it shall be worth.

use super::propagate;
use crate::alignment::Alignment;
use crate::error::{Error, ErrorCode};
use crate::layout::Wheel;
use crate::session::{
    CompensationMethod, InputUncertainty, MAX_FRAMES, Method, Noise, PoseNoise, Session, check_inputs, check_range,
};
use crate::simulate::VirtualVehicle;
use crate::units::sqrt;
use alloc::vec::Vec;

/// The least and greatest planned roll from one end to the other, degrees.
pub const ROLL_RANGE_DEG: [f64; 2] = [10.1, 160.0];
/// The least and greatest planned sweep from one end to the other, degrees: the mean of the wheels turns by a little less.
pub const SWEEP_RANGE_DEG: [f64; 2] = [11.0, 90.0];
/// The most planned stations of a stage.
pub const MAX_PLANNED: usize = 200;

/// How a car is to be measured. The car itself hardly matters: a sound one of the given size stands in.
#[derive(Debug, Clone, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(deny_unknown_fields, default))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Plan {
    /// How much a single frame scatters.
    #[cfg_attr(feature = "json", serde(deserialize_with = "crate::json::keyed"))]
    pub pose_noise: PoseNoise,
    /// How many frames of each wheel are averaged at each station.
    pub frames: usize,
    /// Whether the car is rolled or its wheels are spun.
    pub compensation: CompensationMethod,
    /// From the first rolling station to the last, degrees of roll.
    pub roll_range_deg: f64,
    /// How many rolling stations there are, evenly spaced. With two the loaded radius stands in for the rolling radius.
    pub roll_stations: usize,
    /// From one end of the sweep to the other, degrees of mean steer.
    pub sweep_range_deg: f64,
    /// How many stations the sweep has, evenly spaced; 0 for no sweep.
    pub sweep_stations: usize,
    /// Whether the brake holds the wheels in the sweep.
    pub sweep_wheels_locked: bool,
    /// How well the rig knows its other inputs.
    #[cfg_attr(feature = "json", serde(deserialize_with = "crate::json::keyed"))]
    pub input_uncertainty: InputUncertainty,
    /// How the readings are to be estimated.
    pub method: Method,
    /// Wheelbase, mm.
    pub wheelbase_mm: f64,
    /// Track of both axles, mm.
    pub track_mm: f64,
    /// Rolling radius, mm.
    pub rolling_radius_mm: f64,
}

impl Default for Plan {
    /// A customary measurement: five stations over 54° of roll, nine over 40° of steer, a noise of 0.005° and 0.05 mm.
    fn default() -> Self {
        Self {
            pose_noise: PoseNoise { rotation_deg: 0.005, translation_mm: 0.05 },
            frames: 1,
            compensation: CompensationMethod::Rolled,
            roll_range_deg: 54.0,
            roll_stations: 5,
            sweep_range_deg: 40.0,
            sweep_stations: 9,
            sweep_wheels_locked: true,
            input_uncertainty: InputUncertainty::default(),
            method: Method::Staged,
            wheelbase_mm: 2620.0,
            track_mm: 1540.0,
            rolling_radius_mm: 308.0,
        }
    }
}

/// How far to roll and to sweep.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Reach {
    /// The least roll from one end to the other, degrees, for camber, toe and thrust angle. Absent when no roll is enough: the ahead station
    /// itself scatters too much, and more frames are the remedy.
    pub roll_range_deg: Option<f64>,
    /// The largest expanded uncertainty of these at that roll, or else at the longest, degrees.
    pub wheels_expanded_deg: f64,
    /// The least sweep from one end to the other, degrees, for caster and SAI, after that roll. Absent when no sweep is enough, or none is
    /// planned.
    pub sweep_range_deg: Option<f64>,
    /// The largest expanded uncertainty of caster and SAI at that sweep, or else at the longest, degrees; absent when no sweep is planned.
    pub steering_expanded_deg: Option<f64>,
}

impl Plan {
    /// The session of a sound car that is measured by the plan, its poses free of noise.
    fn session(&self) -> Result<Session, Error> {
        let range = |name, value, range| check_range(ErrorCode::OutOfRange, name, value, range);
        #[expect(clippy::cast_precision_loss, reason = "the counts are far below 2^52")]
        let number = |name, value: usize, least: usize, most: usize| {
            range(name, value as f64, [least as f64, most as f64]).map(|()| value as f64)
        };
        let length = |name, value, range| check_range(ErrorCode::LengthOutOfRange, name, value, range);
        range("roll_range_deg", self.roll_range_deg, ROLL_RANGE_DEG)?;
        number("roll_stations", self.roll_stations, 2, MAX_PLANNED)?;
        let swept = self.sweep_stations > 0;
        if swept {
            range("sweep_range_deg", self.sweep_range_deg, SWEEP_RANGE_DEG)?;
            number("sweep_stations", self.sweep_stations, 2, MAX_PLANNED)?;
        }
        let frames = number("frames", self.frames, 1, MAX_FRAMES)?;
        length("wheelbase_mm", self.wheelbase_mm, [1000.0, 8000.0])?;
        length("track_mm", self.track_mm, [600.0, 3000.0])?;
        length("rolling_radius_mm", self.rolling_radius_mm, [100.0, 1000.0])?;
        let mut car = VirtualVehicle {
            wheelbase_mm: self.wheelbase_mm,
            roll_deg: spaced(self.roll_range_deg, self.roll_stations),
            sweep_deg: if swept { spaced(self.sweep_range_deg, self.sweep_stations) } else { Vec::new() },
            sweep_wheels_locked: self.sweep_wheels_locked,
            compensation: self.compensation,
            lock_deg: None,
            ..VirtualVehicle::default()
        };
        for axle in [&mut car.front, &mut car.rear] {
            (axle.track_mm, axle.rolling_radius_mm) = (self.track_mm, self.rolling_radius_mm);
        }
        let PoseNoise { rotation_deg, translation_mm } = self.pose_noise;
        let (of_a_frame, input_uncertainty) = (Some(self.pose_noise.into()), Some(self.input_uncertainty));
        let session = Session { pose_noise: of_a_frame, input_uncertainty, method: self.method, ..car.session() };
        // It is the noise of a frame that has its bounds, not that of their mean.
        check_inputs(&session)?;
        let share = 1.0 / sqrt(frames);
        let noise = PoseNoise { rotation_deg: rotation_deg * share, translation_mm: translation_mm * share };
        Ok(Session { pose_noise: Some(Noise::PerAxis(noise)), ..session })
    }
}

/// Angles evenly spaced about zero.
#[expect(clippy::cast_precision_loss, reason = "the counts are far below 2^52")]
fn spaced(range_deg: f64, count: usize) -> Vec<f64> {
    (0..count).map(|i| range_deg * (i as f64 / (count - 1) as f64 - 0.5)).collect()
}

/// The standard uncertainty of every reading of a measurement that is only planned, under the reading's path.
///
/// # Errors
/// [`ErrorCode::NotFinite`]; [`ErrorCode::OutOfRange`] for a range or a number of stations or frames that no measurement has,
/// [`ErrorCode::LengthOutOfRange`] or [`ErrorCode::AngleOutOfRange`] for a size that no car or a noise that no pose has, and what the stages
/// refuse: [`ErrorCode::SweepTooSmall`] below ± 8° with the wheels free; with the joint method [`ErrorCode::NotDetermined`] and
/// [`ErrorCode::NotConverged`].
///
/// ```
/// # use alignment_core::uncertainty::{Plan, plan};
/// let short = plan(&Plan { roll_range_deg: 20.0, ..Plan::default() })?;
/// let long = plan(&Plan { roll_range_deg: 60.0, ..Plan::default() })?;
/// assert!(long.wheels.fl.camber_deg < short.wheels.fl.camber_deg);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn plan(plan: &Plan) -> Result<Alignment, Error> {
    propagate(&plan.session()?).map(|known| known.standard)
}

/// How far to roll and to sweep, with all else as planned, for an expanded uncertainty of camber, toe, thrust angle, caster and SAI: the
/// inverse of [`plan`]. All in degrees; `coverage_factor` is the k of U = k·u.
///
/// # Errors
/// As [`plan`]; [`ErrorCode::OutOfRange`] for an uncertainty or a factor that is not positive.
///
/// ```
/// # use alignment_core::uncertainty::{Plan, reach};
/// let reach = reach(&Plan::default(), 0.02, 2.0)?;
/// assert!((50.0..80.0).contains(&reach.roll_range_deg.unwrap()));
/// assert!((30.0..40.0).contains(&reach.sweep_range_deg.unwrap()));
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn reach(plan: &Plan, expanded_uncertainty_deg: f64, coverage_factor: f64) -> Result<Reach, Error> {
    check_range(ErrorCode::OutOfRange, "expanded_uncertainty_deg", expanded_uncertainty_deg, [1e-6, 90.0])?;
    check_range(ErrorCode::OutOfRange, "coverage_factor", coverage_factor, [0.1, 100.0])?;
    let largest = |tree: &Alignment, of: fn(&Alignment) -> [Option<f64>; 9]| {
        coverage_factor * of(tree).into_iter().flatten().fold(0.0, f64::max)
    };
    let without_sweep = Plan { sweep_stations: 0, ..plan.clone() };
    let (roll_range_deg, wheels_expanded_deg) = least(ROLL_RANGE_DEG, expanded_uncertainty_deg, |roll_range_deg| {
        let tree = self::plan(&Plan { roll_range_deg, ..without_sweep.clone() })?;
        Ok(largest(&tree, of_wheels))
    })?;
    if plan.sweep_stations == 0 {
        return Ok(Reach { roll_range_deg, wheels_expanded_deg, sweep_range_deg: None, steering_expanded_deg: None });
    }
    let rolled = Plan { roll_range_deg: roll_range_deg.unwrap_or(ROLL_RANGE_DEG[1]), ..plan.clone() };
    let shortest =
        if plan.sweep_wheels_locked { SWEEP_RANGE_DEG[0] } else { crate::steering::MIN_SWEEP_FREE_DEG + 1.0 };
    let range = [shortest, SWEEP_RANGE_DEG[1]];
    let (sweep_range_deg, steering_expanded_deg) = least(range, expanded_uncertainty_deg, |sweep_range_deg| {
        let tree = self::plan(&Plan { sweep_range_deg, ..rolled.clone() })?;
        Ok(largest(&tree, of_steering))
    })?;
    let steering_expanded_deg = Some(steering_expanded_deg);
    Ok(Reach { roll_range_deg, wheels_expanded_deg, sweep_range_deg, steering_expanded_deg })
}

/// The least range at which a figure that falls with the range has come down to a limit, to a hundredth of a degree, and the figure there; or
/// none, and the figure at the longest.
fn least(
    [mut short, mut long]: [f64; 2],
    limit: f64,
    figure: impl Fn(f64) -> Result<f64, Error>,
) -> Result<(Option<f64>, f64), Error> {
    let at_short = figure(short)?;
    if at_short <= limit {
        return Ok((Some(short), at_short));
    }
    let mut at_long = figure(long)?;
    if at_long > limit {
        return Ok((None, at_long));
    }
    while long - short > 0.01 {
        let middle = (short + long) / 2.0;
        let at_middle = figure(middle)?;
        if at_middle <= limit {
            (long, at_long) = (middle, at_middle);
        } else {
            short = middle;
        }
    }
    Ok((Some(long), at_long))
}

fn of_wheels(tree: &Alignment) -> [Option<f64>; 9] {
    let camber = |wheel| tree.wheels.get(wheel).camber_deg;
    let toe = |wheel| tree.wheels.get(wheel).toe_deg;
    let [fl, fr, rl, rr] = Wheel::ALL;
    [camber(fl), camber(fr), camber(rl), camber(rr), toe(fl), toe(fr), toe(rl), toe(rr), tree.chassis.thrust_angle_deg]
}

fn of_steering(tree: &Alignment) -> [Option<f64>; 9] {
    let (left, right) = (&tree.steering.left, &tree.steering.right);
    let mut of = [None; 9];
    [of[0], of[1], of[2], of[3]] = [left.caster_deg, right.caster_deg, left.sai_deg, right.sai_deg];
    of
}
