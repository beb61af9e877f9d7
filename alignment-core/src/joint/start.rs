//! Where the fit starts: the unknowns that a session has, and their values as the stages one after the other give them.

use super::model::{
    AxisState, Columns, Kind, Model, Observation, PER_AXIS, PER_WHEEL, State, StationPlan, StationState, WheelState,
    column, rotation,
};
use super::weights::{LEAST, Weights};
use crate::assembly::all;
use crate::compensation::{ClampCompensation, Compensation};
use crate::error::{Error, ErrorCode, Stage, WarningCode};
use crate::frame::{Rig, Target, Transform, Vector};
use crate::layout::{BySide, ByWheel, Side, Wheel};
use crate::session::{CompensationMethod, Poses, RollingBody, Session, SweepBody};
use crate::staged::{self, Seen};
use crate::steering::{self, SweepStation};
use crate::units::{self, deg_from_rad, rad_from_deg};
use crate::wheel::{self, TurnedAbout};
use alloc::vec::Vec;

/// What the fit rests on beside the poses.
pub(super) struct Ground<'a> {
    pub(super) session: &'a Session,
    pub(super) up: Vector<Rig>,
    pub(super) clamps: &'a ClampCompensation,
}

/// How far a target has turned about its wheel's spindle from one pose to another, radians.
fn spin_between(wheel: &WheelState, from: &Transform<Rig, Target>, to: &Transform<Rig, Target>) -> f64 {
    let mark = wheel.spindle.any_square();
    swing_between(from.direction(wheel.spindle), from.direction(mark), to.direction(mark))
}

/// How far a direction has swung about an axis, radians.
fn swing_between(axis: Vector<Rig>, before: Vector<Rig>, now: Vector<Rig>) -> f64 {
    rad_from_deg(TurnedAbout::of(axis, before, now).angle_deg)
}

impl Ground<'_> {
    /// The model of what was seen, and the state to start from.
    pub(super) fn start(&self, seen: &Seen, weights: &Weights) -> Result<(Model, State), Error> {
        let ahead = self.ahead(seen);
        let wheels = ByWheel::from_fn(|wheel| {
            let clamp = (*self.clamps.wheels.get(wheel))?;
            let (spindle, centre) = (Vector::new(clamp.spindle_in_target), Vector::new(clamp.centre_in_target_mm));
            let offset = centre + spindle * *self.session.clamp_standoff_mm.get(wheel);
            Some(WheelState {
                ahead: (*ahead.get(wheel))?,
                spindle,
                offset: offset.square_to(spindle),
                radius_mm: clamp.rolling_radius_mm.unwrap_or(1.0),
                raised: None,
            })
        });
        let travel = self.clamps.travel_direction_in_rig.map_or(Vector::zero(), Vector::new);
        let state = State { wheels, axes: BySide::default(), travel, stations: Vec::new() };
        let present: Vec<Vector<Rig>> = Wheel::ALL
            .into_iter()
            .filter_map(|wheel| state.wheels.get(wheel).as_ref().map(|wheel| wheel.ahead.origin()))
            .collect();
        #[expect(clippy::cast_precision_loss, reason = "four wheels at most")]
        let pivot = present.iter().copied().sum::<Vector<Rig>>() * (1.0 / present.len().max(1) as f64);
        let model = Model {
            up: self.up,
            standoff_mm: self.session.clamp_standoff_mm,
            // Less than rounding leaves of a pose is no slip.
            slip_mm: Some(self.session.joint.rolling_slip_mm)
                .filter(|&slip_mm| slip_mm >= LEAST.translation_mm)
                .unwrap_or(0.0),
            pivot,
            stations: Vec::new(),
            columns: Columns::default(),
            observations: Vec::new(),
        };
        let mut builder = Builder { ground: self, weights, model, state };
        builder.wheels();
        for (index, station) in seen.rolling.iter().enumerate() {
            match self.session.compensation {
                CompensationMethod::Rolled => builder.rolled(index, station),
                CompensationMethod::Spun => builder.spun(index, station),
            }
        }
        builder.put(StationPlan::new(Kind::Ahead, Stage::Ahead, None), StationState::default(), &seen.ahead);
        builder.steered(seen)?;
        builder.model.renumber();
        builder.check_turns()?;
        Ok((builder.model, builder.state))
    }

    /// The ahead pose of every wheel: as it was seen, else as other stations show that it must have been.
    fn ahead(&self, seen: &Seen) -> Poses {
        ByWheel::from_fn(|wheel| {
            seen.ahead.get(wheel).or_else(|| self.stood(seen, wheel)).or_else(|| self.rolled_back(seen, wheel))
        })
    }

    /// Where a rear wheel stood, in a body that stood still while the front wheels were steered.
    fn stood(&self, seen: &Seen, wheel: Wheel) -> Option<Transform<Rig, Target>> {
        let still = !wheel.is_front() && self.session.sweep_body == SweepBody::Still;
        let steered = seen.steered.sweep.iter().chain([&seen.steered.locks.left, &seen.steered.locks.right]);
        if still { steered.into_iter().find_map(|station| *station.get(wheel)) } else { None }
    }

    /// Where a wheel stood before it was rolled, by how far another one that was seen there has travelled since.
    fn rolled_back(&self, seen: &Seen, wheel: Wheel) -> Option<Transform<Rig, Target>> {
        let travel = Vector::<Rig>::new(self.clamps.travel_direction_in_rig?);
        let clamp = (*self.clamps.wheels.get(wheel))?;
        let of = |station: &Poses, wheel: Wheel| {
            let clamp = (*self.clamps.wheels.get(wheel))?;
            Some(wheel::locate(&clamp, station.get(wheel).as_ref()?))
        };
        seen.rolling.iter().find_map(|station| {
            let pose = (*station.get(wheel))?;
            let other =
                |other: &Wheel| Some((of(station, *other)?.centre - of(&seen.ahead, *other)?.centre).dot(travel));
            let travel_mm = Wheel::ALL.iter().find_map(other)?;
            let here = wheel::locate(&clamp, &pose);
            let turn_rad = -wheel.side().sign() * travel_mm / clamp.rolling_radius_mm?;
            let turn = rotation(column(here.spindle), turn_rad);
            let turned = Transform::<Rig, Rig>::from_parts(turn, Vector::zero());
            let arm = turned.direction(pose.origin() - here.centre);
            Some(Transform::from_parts(turn * pose.rotation, here.centre + arm - travel * travel_mm))
        })
    }
}

struct Builder<'a> {
    ground: &'a Ground<'a>,
    weights: &'a Weights<'a>,
    model: Model,
    state: State,
}

impl Builder<'_> {
    /// The unknowns of the wheels.
    fn wheels(&mut self) {
        let session = self.ground.session;
        let assumed = |wheel: Wheel| {
            let warnings = self.ground.clamps.warnings.iter();
            let mut assumed = warnings.filter(|warning| warning.code == WarningCode::RollingRadiusAssumed);
            assumed.any(|warning| warning.wheel == Some(wheel))
        };
        let rolled = session.compensation == CompensationMethod::Rolled;
        for wheel in Wheel::ALL {
            if self.state.wheels.get(wheel).is_none() {
                continue;
            }
            *self.model.columns.wheels.get_mut(wheel) = Some(self.model.columns.add(PER_WHEEL));
            if rolled && !assumed(wheel) {
                *self.model.columns.radii.get_mut(wheel) = Some(self.model.columns.add(1));
            }
        }
        if rolled {
            self.model.columns.travel = Some(self.model.columns.add(1));
        }
    }

    /// Adds a station and what was seen there; its own unknowns are numbered at the end.
    fn put(&mut self, plan: StationPlan, state: StationState, station: &Poses) {
        let (at, stage, index) = (self.model.stations.len(), plan.stage, plan.index);
        for wheel in Wheel::ALL {
            let (Some(pose), Some(_)) = (*station.get(wheel), self.state.wheels.get(wheel)) else { continue };
            let whitener = self.weights.of_pose((stage, index, wheel));
            self.model.observations.push(Observation { at, wheel, pose, whitener, share: 1.0 });
        }
        self.model.stations.push(plan);
        self.state.stations.push(state);
    }

    /// A wheel that is in the fit, and its pose at a station.
    fn at<'s>(&'s self, station: &Poses, wheel: Wheel) -> Option<(&'s WheelState, Transform<Rig, Target>)> {
        self.state.wheels.get(wheel).as_ref().zip(*station.get(wheel))
    }

    fn centre(&self, wheel: Wheel, of_wheel: &WheelState, pose: &Transform<Rig, Target>) -> Vector<Rig> {
        pose.point(of_wheel.centre_in_target(*self.model.standoff_mm.get(wheel)))
    }

    fn rolled(&mut self, index: usize, station: &Poses) {
        let mut plan = StationPlan::new(Kind::Rolled, Stage::Rolling, Some(index));
        let mut state = StationState::default();
        let mut moves: Vec<Vector<Rig>> = Vec::new();
        for wheel in Wheel::ALL {
            let Some((of_wheel, pose)) = self.at(station, wheel) else { continue };
            moves.push(self.centre(wheel, of_wheel, &pose) - self.centre(wheel, of_wheel, &of_wheel.ahead));
            if self.model.slip_mm > 0.0 {
                *plan.spin.get_mut(wheel) = Some(0);
            }
        }
        // The wheel in the middle: one that is far off does not take the station along.
        units::sort_by(&mut moves, |a, b| a.dot(self.state.travel).total_cmp(&b.dot(self.state.travel)));
        let Some(&moved) = moves.get(moves.len() / 2) else { return };
        match self.ground.session.rolling_body {
            RollingBody::Translates => {
                plan.travel = Some(0);
                state.travel_mm = moved.dot(self.state.travel);
            }
            RollingBody::Turns => {
                plan.body = Some(0);
                state.shift = column(moved.square_to(self.model.up));
            }
        }
        self.put(plan, state, station);
    }

    fn spun(&mut self, index: usize, station: &Poses) {
        let mut plan = StationPlan::new(Kind::Spun, Stage::Rolling, Some(index));
        let mut state = StationState::default();
        for wheel in Wheel::ALL {
            let Some((of_wheel, pose)) = self.at(station, wheel) else { continue };
            if let Some(raised) = &of_wheel.raised {
                *state.spin_rad.get_mut(wheel) = spin_between(of_wheel, raised, &pose);
                *plan.spin.get_mut(wheel) = Some(0);
            } else {
                *self.model.columns.raised.get_mut(wheel) = Some(self.model.columns.add(6));
                if let Some(of_wheel) = self.state.wheels.get_mut(wheel) {
                    of_wheel.raised = Some(pose);
                }
            }
        }
        if Wheel::ALL.iter().any(|&wheel| self.at(station, wheel).is_some()) {
            self.put(plan, state, station);
        }
    }

    /// The stations at which the front wheels were turned, where all four wheels are known: steering is told in the vehicle's frame.
    fn steered(&mut self, seen: &Seen) -> Result<(), Error> {
        let ground = self.ground;
        let poses = ByWheel::from_fn(|wheel| self.state.wheels.get(wheel).as_ref().map(|wheel| wheel.ahead));
        let (Some(clamps), Some(ahead)) = (all(&ground.clamps.wheels), all(&poses)) else { return Ok(()) };
        let steered = &seen.steered;
        let found_again = ground.session.sweep_body == SweepBody::FoundAgain;
        let swept = !steered.sweep.is_empty();
        let locked = if swept { staged::locked(ground.session)? } else { true };
        let bodies = |station: &Poses| {
            found_again.then(|| staged::body_motion(ground.session, &clamps, &ahead, station, locked))
        };
        let sweep: Vec<(Option<usize>, Stage, &Poses)> = (steered.sweep.iter().enumerate())
            .map(|(index, station)| (Some(index), Stage::Sweep, station))
            .chain([(None, Stage::LockLeft, &steered.locks.left), (None, Stage::LockRight, &steered.locks.right)])
            .collect();
        // The stations as they would be had the body stood still.
        let stood: Vec<Option<(Transform<Rig, Rig>, Poses)>> = sweep
            .iter()
            .map(|(_, _, station)| {
                let body = match bodies(station) {
                    None => Transform::from_parts(nalgebra::Matrix3::identity(), Vector::zero()),
                    Some(body) => body?,
                };
                let back = body.inverse();
                Some((body, ByWheel::from_fn(|wheel| station.get(wheel).map(|pose| back.then_from(&pose)))))
            })
            .collect();
        if swept {
            for side in Side::ALL {
                self.axis(side, locked, &stood[..steered.sweep.len()], &clamps);
            }
        }
        for ((index, stage, station), stood) in sweep.into_iter().zip(&stood) {
            let Some((body, stood)) = stood else { continue };
            // Rear wheels that roll do not show how the body pitches: a front wheel on a known axis must.
            let tied = |side: &Side| station.get(side.front_wheel()).is_some() && self.state.axes.get(*side).is_some();
            let tied = locked || Side::ALL.iter().any(tied);
            if *station == Poses::default() || found_again && !tied {
                continue;
            }
            let mut plan = StationPlan::new(Kind::Steered, stage, index);
            let mut state = StationState::default();
            if found_again {
                plan.body = Some(0);
                state.turn = body.rotation;
                let pivot = self.model.pivot;
                state.shift = column(body.point(pivot) - pivot);
            }
            for wheel in Wheel::ALL {
                let Some((of_wheel, pose)) = self.at(stood, wheel) else { continue };
                let mut before = of_wheel.ahead;
                if wheel.is_front() {
                    let side = wheel.side();
                    let Some(axis) = self.state.axes.get(side) else {
                        *plan.loose.get_mut(side) = Some(0);
                        *state.loose.get_mut(side) = Some(pose);
                        continue;
                    };
                    let spindle = of_wheel.spindle_in_rig();
                    let angle = swing_between(axis.direction, spindle, pose.direction(of_wheel.spindle));
                    *plan.steer.get_mut(side) = Some(0);
                    *state.steer_rad.get_mut(side) = angle;
                    let turn = rotation(column(axis.direction), angle);
                    before = Transform::from_parts(turn * before.rotation, before.origin());
                } else if !found_again {
                    continue;
                }
                if !locked {
                    *plan.spin.get_mut(wheel) = Some(0);
                    *state.spin_rad.get_mut(wheel) = spin_between(of_wheel, &before, &pose);
                }
            }
            self.put(plan, state, station);
        }
        Ok(())
    }

    /// Refuses a wheel that was turned about its spindle between two stages, as on a car that was raised meanwhile: far from where the model has it,
    /// and steps that start there lead anywhere.
    fn check_turns(&self) -> Result<(), Error> {
        const MOST_DEG: f64 = 25.0;
        for wheel in Wheel::ALL {
            let Some(of_wheel) = self.state.wheels.get(wheel) else { continue };
            for stage in [Stage::Rolling, Stage::Sweep] {
                let turned = self.model.observations.iter().filter(|seen| seen.wheel == wheel).filter_map(|seen| {
                    let foretold = self.model.foretell(&self.state, seen.at, wheel, None)?;
                    let of_stage = self.model.stations[seen.at].stage == stage;
                    of_stage.then(|| deg_from_rad(spin_between(of_wheel, &foretold, &seen.pose)).abs())
                });
                let mut turned: Vec<f64> = turned.collect();
                units::sort(&mut turned);
                if let Some(&off_deg) = turned.get(turned.len() / 2)
                    && off_deg > MOST_DEG
                {
                    // What was rolled agrees among itself: it is the ahead station that it leaves.
                    let at = if stage == Stage::Rolling { Stage::Ahead } else { stage };
                    let error = Error::new(ErrorCode::NotConverged).stage(at).wheel(wheel);
                    return Err(Error { unit: "deg", ..error.value(off_deg).at_most(MOST_DEG) });
                }
            }
        }
        Ok(())
    }

    /// The steering axis of one side, where the sweep shows one.
    fn axis(
        &mut self,
        side: Side,
        locked: bool,
        stood: &[Option<(Transform<Rig, Rig>, Poses)>],
        clamps: &ByWheel<Compensation>,
    ) {
        let wheel = side.front_wheel();
        let clamp = clamps.get(wheel);
        let stations: Vec<SweepStation> = stood
            .iter()
            .enumerate()
            .filter_map(|(index, stood)| {
                let rig_from_target = (*stood.as_ref()?.1.get(wheel))?;
                let spindle = wheel::locate(clamp, &rig_from_target).spindle;
                Some(SweepStation { index, rig_from_target, spindle, steer_deg: 0.0 })
            })
            .collect();
        let fit = if locked { steering::fit_locked } else { steering::fit_free };
        let Ok(axis) = fit(&stations, Vector::new(clamp.centre_in_target_mm), self.model.up) else { return };
        let line = axis.line();
        *self.state.axes.get_mut(side) = Some(AxisState { direction: line.direction, point: line.point });
        *self.model.columns.axes.get_mut(side) = Some(self.model.columns.add(PER_AXIS));
    }
}
