#![doc = include_str!("../../docs/joint.md")]

mod doubts;
mod follow;
mod model;
mod robust;
mod solve;
mod start;
mod weights;

#[cfg(feature = "simulate")]
use crate::alignment::Alignment;
use crate::assembly::{Geometry, all};
use crate::compensation::{ClampCompensation, Compensation, Residual};
use crate::error::{Error, ErrorCode, Stage, Warning, WarningCode};
use crate::frame::{Rig, Target, Transform, Vector};
use crate::layout::{BySide, ByWheel, Side, Wheel};
use crate::session::{Datum, LEVER_MM, Session};
use crate::spindle::runout_deg;
use crate::staged::{self, Level, Seen};
use crate::steering::{AxisLine, SweepStation};
use crate::turns::LockReadings;
use crate::units::{self, deg_from_rad, root_mean_square, sqrt};
use crate::wheel::{self, TurnedAbout};
use alloc::vec::Vec;
use doubts::{Gain, Knocks, Noise};
pub(crate) use follow::{Followed, Gradient};
use model::{Kind, Model, State, column};
use solve::Normal;
use start::Ground;
use weights::{Known, Weights};

/// How well the poses of a session fit one rigid car, and which of them do not.
#[derive(Debug, Clone, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Fit {
    /// The sum of squares of all that is left over, each over its standard deviation.
    pub chi_squared: f64,
    /// Equations less unknowns: what χ² is on average if the model and the noise are true.
    pub degrees_of_freedom: f64,
    /// The chance that noise alone makes χ² so large, 0 to 1. Absent when nothing tells the noise: then χ² only compares poses.
    pub p_value: Option<f64>,
    /// How many steps the fit took.
    pub steps: usize,
    /// Every pose held against the fit to all the others, in the order of the session.
    pub poses: Vec<PoseFit>,
}

/// One pose, and how far it lies from where all other poses say that it must be.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct PoseFit {
    /// In which group of stations.
    pub stage: Stage,
    /// At which station of the group, counted from 0 as in the session. Absent straight ahead and at the locks.
    pub station: Option<usize>,
    /// Of which wheel.
    pub wheel: Wheel,
    /// The leave-one-out residual: by how much the target is turned from where the fit to all other poses puts it, degrees; never negative.
    pub rotation_deg: f64,
    /// And by how much it is shifted, mm; never negative.
    pub translation_mm: f64,
    /// The same over its own standard deviation, root mean square: about 1 when nothing is wrong.
    pub standardised: f64,
    /// The chance that noise alone makes it so large, 0 to 1. Absent when the poses are too few to tell.
    pub p_value: Option<f64>,
    /// Whether the pose was left out of the fit, as the robust option does with what does not belong.
    pub left_out: bool,
}

/// So many poses of a wheel check each other.
const LEAST_KEPT: f64 = 3.0;
/// The chance below which χ² is not put down to noise.
const POOR: f64 = 1e-4;

/// A session fitted as a whole.
pub(crate) struct Fitted {
    model: Model,
    state: State,
    normal: Normal,
    steps: usize,
    noise: Noise,
    compensation: ByWheel<Option<Compensation>>,
    left_out: Vec<PoseFit>,
}

/// Fits one rigid car to all that was seen, from where the stages one after the other put it.
pub(crate) fn fit(session: &Session, seen: &Seen) -> Result<Fitted, Error> {
    let weights = Weights::of(session, &seen.spreads);
    if session.joint.robust { robust::fit(session, seen, &weights) } else { fit_to(session, seen, &weights) }
}

/// Every reading from poses in the rig that scatter as those of another session.
#[cfg(feature = "simulate")]
pub(crate) fn readings_of(session: &Session, seen: &Seen, alike: &Session) -> Result<Alignment, Error> {
    let weights = Weights::of(alike, &seen.spreads);
    fit_to(session, seen, &weights)?.geometry(session, seen).alignment()
}

fn fit_to(session: &Session, seen: &Seen, weights: &Weights) -> Result<Fitted, Error> {
    let Level { up, clamps, .. } = staged::level(session, &seen.rolling, &seen.ahead)?;
    let start = Ground { session, up, clamps: &clamps }.start(seen, weights)?;
    settle(session, seen, start, &clamps, weights.known)
}

/// The least squares, and the datum that goes with them: the plane on which the wheels stand follows from them, and they from it. An error
/// shrinks by far more than half each round.
fn settle(
    session: &Session,
    seen: &Seen,
    (mut model, mut state): (Model, State),
    clamps: &ClampCompensation,
    known: Known,
) -> Result<Fitted, Error> {
    const ROUNDS: usize = 30;
    const AGREED: f64 = 1e-12;
    /// Each round ends within a hair of its least squares, which may keep the plane from shrinking further, near there.
    const NEAR: f64 = 1e-7;
    let (mut steps, mut last_change) = (0, f64::INFINITY);
    for _ in 0..ROUNDS {
        let (settled, normal, more) = solve::settle(&model, state)?;
        steps += more;
        let fitted = Fitted::new(model, settled, normal, steps, known, &clamps.wheels)?;
        if session.reference.datum != Datum::WheelPlane {
            return Ok(fitted);
        }
        let plane = staged::wheel_plane_normal(&fitted.geometry(session, seen))?;
        let change = (plane - fitted.model.up).norm();
        if change <= AGREED || change <= NEAR && change >= 0.5 * last_change {
            return Ok(fitted);
        }
        last_change = change;
        (model, state) = (fitted.model, fitted.state);
        model.up = plane;
        model.level(&mut state);
    }
    Err(Error::new(ErrorCode::SpindleNotLateral).stage(Stage::Ahead).input("reference.datum"))
}

impl Fitted {
    fn new(
        model: Model,
        state: State,
        normal: Normal,
        steps: usize,
        known: Known,
        clamps: &ByWheel<Option<Compensation>>,
    ) -> Result<Self, Error> {
        let compensation = ByWheel::try_from_fn(|wheel| {
            let (Some(clamp), Some(of_wheel)) = (clamps.get(wheel), state.wheels.get(wheel)) else {
                return Ok::<_, Error>(*clamps.get(wheel));
            };
            let compensation = Compensation {
                spindle_in_target: of_wheel.spindle.to_array(),
                centre_in_target_mm: of_wheel.centre_in_target(*model.standoff_mm.get(wheel)).to_array(),
                runout_deg: runout_deg(of_wheel.spindle),
                rolling_radius_mm: clamp.rolling_radius_mm.map(|_| of_wheel.radius_mm),
                roll_range_deg: clamp.roll_range_deg,
            };
            // A fit that ran away ends at no wheel.
            let no_wheel = |error: Error| Error { code: ErrorCode::NotConverged, ..error };
            compensation.check().map_err(|error| no_wheel(error).stage(Stage::Rolling).wheel(wheel))?;
            Ok(Some(compensation))
        })?;
        let freedom = freedom(&model, model.observations.len());
        let noise = Noise { known, chi_squared: normal.chi_squared - normal.uncounted, freedom };
        Ok(Self { model, state, normal, steps, noise, compensation, left_out: Vec::new() })
    }

    /// What the tree is computed from.
    pub(crate) fn geometry(&self, session: &Session, seen: &Seen) -> Geometry {
        let wheels = ByWheel::from_fn(|wheel| {
            let (clamp, of_wheel) = (self.compensation.get(wheel).as_ref()?, self.state.wheels.get(wheel).as_ref()?);
            Some(wheel::locate(clamp, &of_wheel.ahead))
        });
        let mut geometry = Geometry::straight_ahead(session, self.model.up, &self.compensation, wheels);
        if all(&geometry.wheels).is_none() {
            return geometry;
        }
        geometry.axes = BySide::from_fn(|side| {
            let axis = (*self.state.axes.get(side))?;
            Some(AxisLine { direction: axis.direction, point: axis.point, residual: self.axis_residual(side) })
        });
        let steer = BySide::from_fn(|side| {
            (0..seen.steered.sweep.len()).map(|index| self.steer_deg(side, Stage::Sweep, Some(index))).collect()
        });
        if !seen.steered.sweep.is_empty() && (geometry.axes.left.is_some() || geometry.axes.right.is_some()) {
            geometry.sweep_range_deg = staged::sweep_range_deg(&steer);
        }
        if !seen.steered.sweep.is_empty() {
            geometry.other_wheel_deg = BySide::from_fn(|inside| staged::turn(session, inside, &steer, &mut Vec::new()));
        }
        let lock = |stage: Stage| LockReadings {
            left_deg: self.steer_deg(Side::Left, stage, None),
            right_deg: self.steer_deg(Side::Right, stage, None),
        };
        geometry.lock_left = lock(Stage::LockLeft);
        geometry.lock_right = lock(Stage::LockRight);
        geometry
    }

    /// The station of the model, if it is in it.
    fn station(&self, stage: Stage, index: Option<usize>) -> Option<usize> {
        let place = |plan: &model::StationPlan| (plan.stage.order(), plan.index);
        self.model.stations.binary_search_by_key(&(stage.order(), index), place).ok()
    }

    /// Where a target was at a station, if the poses of others tell.
    fn foretold(&self, (stage, index, wheel): crate::scatter::Place) -> Option<Transform<Rig, Target>> {
        let at = self.station(stage, index)?;
        let plan = &self.model.stations[at];
        let told = match plan.kind {
            Kind::Rolled => plan.travel.is_some() || plan.body.is_some(),
            Kind::Ahead => true,
            Kind::Spun => false,
            Kind::Steered => !wheel.is_front(),
        };
        if told { self.model.foretell(&self.state, at, wheel, None) } else { None }
    }

    /// The steer angle of a front wheel that was seen at a station, from its own heading straight ahead, left positive, degrees.
    pub(crate) fn steer_deg(&self, side: Side, stage: Stage, index: Option<usize>) -> Option<f64> {
        let straight = self.state.wheels.get(side.front_wheel()).as_ref()?.spindle_in_rig();
        let now = self.steered_spindle(side, self.station(stage, index)?)?;
        Some(TurnedAbout::of(self.model.up, straight, now).angle_deg)
    }

    /// The spindle of a front wheel that was seen at a steered station, as if the body had stood still.
    fn steered_spindle(&self, side: Side, at: usize) -> Option<Vector<Rig>> {
        let (plan, station) = (&self.model.stations[at], &self.state.stations[at]);
        let of_wheel = self.state.wheels.get(side.front_wheel()).as_ref()?;
        if let (Some(_), Some(loose)) = (plan.loose.get(side), station.loose.get(side)) {
            return Some(loose.direction(of_wheel.spindle));
        }
        plan.steer.get(side).as_ref()?;
        let axis = (*self.state.axes.get(side))?;
        let turn = model::rotation(column(axis.direction), *station.steer_rad.get(side));
        Some(Vector::new((turn * column(of_wheel.spindle_in_rig())).into()))
    }

    /// How far one axis leaves the sweep unexplained, root mean square over its stations.
    fn axis_residual(&self, side: Side) -> Residual {
        let parts: Vec<_> = self.axis_parts(side).into_iter().map(|part| part.off).collect();
        Residual {
            rotation_deg: deg_from_rad(root_mean_square(parts.iter().map(|off| off.fixed_rows::<3>(0).norm()))),
            translation_mm: root_mean_square(parts.iter().map(|off| off.fixed_rows::<3>(3).norm())),
        }
    }

    /// A front wheel at the stations of the sweep that saw it: its target where it was seen, had the body stood still; its steer angle where the fit
    /// puts it; and how far it lies from the axis, if there is one.
    pub(crate) fn swept(&self, side: Side) -> Vec<(SweepStation, Option<Residual>)> {
        let wheel = side.front_wheel();
        let Some(of_wheel) = self.state.wheels.get(wheel) else { return Vec::new() };
        let parts = self.axis_parts(side);
        let pivot = self.model.pivot;
        let mut swept: Vec<_> = self
            .model
            .observations
            .iter()
            .enumerate()
            .filter(|(_, seen)| seen.wheel == wheel && self.model.stations[seen.at].stage == Stage::Sweep)
            .filter_map(|(pose, seen)| {
                let index = self.model.stations[seen.at].index?;
                let station = &self.state.stations[seen.at];
                let back = station.turn.transpose();
                let arm = column(seen.pose.origin() - pivot) - station.shift;
                let origin = pivot + Vector::new((back * arm).into());
                let rig_from_target = Transform::from_parts(back * seen.pose.rotation, origin);
                let spindle = rig_from_target.direction(of_wheel.spindle);
                let steer_deg = self.steer_deg(side, Stage::Sweep, Some(index))?;
                let residual = parts.iter().find(|part| part.pose == pose).map(|part| Residual {
                    rotation_deg: deg_from_rad(part.off.fixed_rows::<3>(0).norm()),
                    translation_mm: part.off.fixed_rows::<3>(3).norm(),
                });
                Some((SweepStation { index, rig_from_target, spindle, steer_deg }, residual))
            })
            .collect();
        units::sort_by(&mut swept, |(a, _), (b, _)| a.index.cmp(&b.index));
        swept
    }

    /// How well it all fits; and what does not belong: poses that were left out, targets that were knocked, a car that is not rigid.
    pub(crate) fn judge(&self) -> (Fit, Vec<Warning>) {
        let knocks = Knocks::of(&self.model, &self.normal);
        let poses = self.model.observations.iter().enumerate().map(|(pose, seen)| {
            let plan = &self.model.stations[seen.at];
            pose_fit((plan.stage, plan.index, seen.wheel), &knocks.alone(pose), self.noise)
        });
        let mut poses: Vec<PoseFit> = poses.chain(self.left_out.iter().copied()).collect();
        let place = |pose: &PoseFit| (pose.stage.order(), pose.station, pose.wheel.index());
        units::sort_by(&mut poses, |a, b| place(a).cmp(&place(b)));
        let fit = Fit {
            chi_squared: self.noise.chi_squared,
            degrees_of_freedom: self.noise.freedom,
            p_value: self.p_value(),
            steps: self.steps,
            poses,
        };
        let mut warnings: Vec<Warning> = self.left_out.iter().map(left_out).collect();
        warnings.extend(self.hardly_checked());
        let (named, moved) = knocks.name(&self.state, self.noise);
        let explained = !named.is_empty() || !moved.is_empty();
        warnings.extend(named);
        warnings.extend(moved.into_iter().map(|side| {
            let warning = Warning::new(WarningCode::ResidualHigh).stage(Stage::Sweep).wheel(side.front_wheel());
            let Residual { rotation_deg, translation_mm } = self.axis_residual(side);
            if units::rad_from_deg(rotation_deg) * LEVER_MM > translation_mm {
                warning.value(rotation_deg, "deg")
            } else {
                warning.value(translation_mm, "mm")
            }
        }));
        if let Some(chance) = fit.p_value
            && chance < POOR
            && !explained
        {
            warnings.push(Warning::new(WarningCode::FitPoor).figure(chance, POOR, ""));
        }
        (fit, warnings)
    }

    /// The wheels of which so few poses of a stage were kept that any few would agree.
    fn hardly_checked(&self) -> impl Iterator<Item = Warning> {
        let stages =
            [Stage::Rolling, Stage::Sweep].into_iter().flat_map(|stage| Wheel::ALL.map(|wheel| (stage, wheel)));
        stages.filter_map(|(stage, wheel)| {
            let is_out = |pose: &PoseFit| pose.stage == stage && pose.wheel == wheel;
            if !self.left_out.iter().any(is_out) || stage == Stage::Sweep && !wheel.is_front() {
                return None;
            }
            let plans = self.model.observations.iter().filter(|seen| seen.wheel == wheel);
            let plans = plans.map(|seen| &self.model.stations[seen.at]);
            // What was rolled is held against the ahead station too.
            let rolled = |plan: &&model::StationPlan| stage == Stage::Rolling && plan.kind == Kind::Ahead;
            let kept = plans.filter(|plan| plan.stage == stage || rolled(plan)).fold(0.0, |kept, _| kept + 1.0);
            let warning = Warning::new(WarningCode::HardlyChecked).stage(stage).wheel(wheel);
            (kept < LEAST_KEPT).then_some(warning.figure(kept, LEAST_KEPT, ""))
        })
    }

    fn p_value(&self) -> Option<f64> {
        let told = self.noise.known != Known::Unknown && self.noise.freedom > 0.0;
        told.then(|| self.noise.chance(self.noise.chi_squared, self.noise.freedom)).flatten()
    }

    /// What was seen, with poses put where the fit says that they are: of wheels that were hidden straight ahead, without which the stages cannot
    /// do, and in place of those left out. None when that is nothing.
    pub(crate) fn filled(&self, seen: &Seen) -> Option<Seen> {
        let hidden = |wheel: &Wheel| seen.ahead.get(*wheel).is_none() && self.state.wheels.get(*wheel).is_some();
        if self.left_out.is_empty() && !Wheel::ALL.iter().any(hidden) {
            return None;
        }
        let mut filled = seen.clone();
        for pose in &self.left_out {
            let place = robust::place(pose);
            if let Some(seen) = robust::at(&mut filled, place) {
                *seen = self.foretold(place);
            }
        }
        for wheel in Wheel::ALL {
            if filled.ahead.get(wheel).is_none() {
                *filled.ahead.get_mut(wheel) = self.state.wheels.get(wheel).as_ref().map(|of_wheel| of_wheel.ahead);
            }
        }
        // Nothing is absent for it.
        let known = |warning: &Warning| {
            warning.stage == Some(Stage::Ahead)
                && warning.wheel.is_some_and(|wheel| self.state.wheels.get(wheel).is_some())
        };
        filled.hidden.retain(|warning| !known(warning));
        Some(filled)
    }

    /// What was seen, without the poses that were left out.
    pub(crate) fn used(&self, seen: &Seen) -> Seen {
        let mut used = seen.clone();
        for pose in &self.left_out {
            if let Some(seen) = robust::at(&mut used, robust::place(pose)) {
                *seen = None;
            }
        }
        used
    }

    pub(crate) fn up(&self) -> Vector<Rig> {
        self.model.up
    }
}

/// Equations less unknowns, of so many poses.
#[expect(clippy::cast_precision_loss, reason = "the number of equations is far below 2^52")]
fn freedom(model: &Model, poses: usize) -> f64 {
    let own: usize = model.stations.iter().map(|plan| plan.size).sum();
    // Where a body that turns is going is known from no pose.
    let turns = model.stations.iter().any(|plan| plan.kind == Kind::Rolled && plan.body.is_some());
    (6 * poses + solve::slip_count(model) + usize::from(turns)) as f64 - (model.columns.size + own) as f64
}

fn left_out(pose: &PoseFit) -> Warning {
    let warning = Warning::new(WarningCode::PoseLeftOut).stage(pose.stage).wheel(pose.wheel);
    let warning = pose.station.map_or(warning, |station| warning.station(station));
    warning.value(pose.standardised, "")
}

fn pose_fit((stage, station, wheel): crate::scatter::Place, off: &Gain, noise: Noise) -> PoseFit {
    let Gain { gain, rank, motion } = off;
    PoseFit {
        stage,
        station,
        wheel,
        rotation_deg: deg_from_rad(motion.fixed_rows::<3>(0).norm()),
        translation_mm: motion.fixed_rows::<3>(3).norm(),
        standardised: if *rank > 0.0 { sqrt(gain / rank / noise.scale()) } else { 0.0 },
        p_value: noise.chance(*gain, *rank),
        left_out: false,
    }
}
