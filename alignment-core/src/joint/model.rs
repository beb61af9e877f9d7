//! The rigid car as the fit knows it: its unknowns, the pose that they foretell of every target, and how that pose follows them.

use crate::error::Stage;
use crate::frame::{Rig, Target, Transform, Vector};
use crate::layout::{BySide, ByWheel, Side, Wheel};
use crate::units::sqrt;
use alloc::vec::Vec;
use nalgebra::{DVector, Matrix3, Matrix6, Rotation3, Unit, Vector3, Vector6};

/// One wheel: how its target stands straight ahead, and the line of its spindle in the target.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct WheelState {
    pub(super) ahead: Transform<Rig, Target>,
    /// Outward, of unit length.
    pub(super) spindle: Vector<Target>,
    /// From the target's origin square to the spindle's line.
    pub(super) offset: Vector<Target>,
    pub(super) radius_mm: f64,
    /// How the target stood at the first of the stations at which the wheel was spun.
    pub(super) raised: Option<Transform<Rig, Target>>,
}

impl WheelState {
    pub(super) fn spindle_in_rig(&self) -> Vector<Rig> {
        self.ahead.direction(self.spindle)
    }

    pub(super) fn centre_in_target(&self, standoff_mm: f64) -> Vector<Target> {
        self.offset - self.spindle * standoff_mm
    }
}

/// A steering axis, in the rig.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct AxisState {
    /// Upward, of unit length.
    pub(super) direction: Vector<Rig>,
    pub(super) point: Vector<Rig>,
}

/// What one station adds to the unknowns.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct StationState {
    /// How far the car has travelled since the ahead station, mm.
    pub(super) travel_mm: f64,
    /// How the body has moved about the pivot since the ahead station.
    pub(super) turn: Matrix3<f64>,
    pub(super) shift: Vector3<f64>,
    /// How far each knuckle has turned about its axis.
    pub(super) steer_rad: BySide<f64>,
    /// Where the target of a front wheel is that turns about no known axis, the body brought back.
    pub(super) loose: BySide<Option<Transform<Rig, Target>>>,
    /// How far each wheel has turned about its spindle; rolled without slip, beyond what the travel says.
    pub(super) spin_rad: ByWheel<f64>,
}

impl Default for StationState {
    fn default() -> Self {
        Self {
            travel_mm: 0.0,
            turn: Matrix3::identity(),
            shift: Vector3::zeros(),
            steer_rad: BySide::default(),
            loose: BySide::default(),
            spin_rad: ByWheel::default(),
        }
    }
}

/// The unknowns.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct State {
    pub(super) wheels: ByWheel<Option<WheelState>>,
    pub(super) axes: BySide<Option<AxisState>>,
    /// The direction in which the car travels as it rolls forward: level.
    pub(super) travel: Vector<Rig>,
    pub(super) stations: Vec<StationState>,
}

/// What is done at a station.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    Rolled,
    Spun,
    Ahead,
    Steered,
}

/// Which unknowns a station has of its own, each by its column among them.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct StationPlan {
    pub(super) kind: Kind,
    pub(super) stage: Stage,
    pub(super) index: Option<usize>,
    pub(super) travel: Option<usize>,
    /// The first of six.
    pub(super) body: Option<usize>,
    pub(super) steer: BySide<Option<usize>>,
    /// The first of six.
    pub(super) loose: BySide<Option<usize>>,
    pub(super) spin: ByWheel<Option<usize>>,
    pub(super) size: usize,
}

impl StationPlan {
    pub(super) fn new(kind: Kind, stage: Stage, index: Option<usize>) -> Self {
        Self {
            kind,
            stage,
            index,
            travel: None,
            body: None,
            steer: BySide::default(),
            loose: BySide::default(),
            spin: ByWheel::default(),
            size: 0,
        }
    }
}

/// Of one wheel: turn 3 and shift 3 of its ahead pose, tilt 2 and shift 2 of its spindle's line.
pub(super) const PER_WHEEL: usize = 10;
/// Of one steering axis: tilt 2 and shift 2.
pub(super) const PER_AXIS: usize = 4;

/// Which unknowns all stations share, each by its column among them.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Columns {
    /// The first of ten.
    pub(super) wheels: ByWheel<Option<usize>>,
    pub(super) radii: ByWheel<Option<usize>>,
    /// The first of six.
    pub(super) raised: ByWheel<Option<usize>>,
    pub(super) axes: BySide<Option<usize>>,
    /// The yaw of the travel.
    pub(super) travel: Option<usize>,
    pub(super) size: usize,
}

impl Columns {
    pub(super) fn add(&mut self, size: usize) -> usize {
        self.size += size;
        self.size - size
    }

    /// What an unknown is called where it cannot be told.
    pub(super) fn name(&self, column: usize) -> (&'static str, Option<Wheel>) {
        let within = |from: Option<usize>, size: usize| from.is_some_and(|from| (from..from + size).contains(&column));
        for wheel in Wheel::ALL {
            for (from, size, name) in [
                (*self.wheels.get(wheel), 6, "ahead"),
                (self.wheels.get(wheel).map(|from| from + 6), 4, "spindle"),
                (*self.radii.get(wheel), 1, "rolling_radius_mm"),
                (*self.raised.get(wheel), 6, "spindle"),
            ] {
                if within(from, size) {
                    return (name, Some(wheel));
                }
            }
        }
        let side = Side::ALL.into_iter().find(|&side| within(*self.axes.get(side), PER_AXIS));
        side.map_or(("travel", None), |side| ("steering axis", Some(side.front_wheel())))
    }
}

/// One pose that was seen.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Observation {
    /// Which station of the model.
    pub(super) at: usize,
    pub(super) wheel: Wheel,
    pub(super) pose: Transform<Rig, Target>,
    /// W of WᵀW, the inverse of the covariance of its turn, radians, and its shift, mm, in the rig.
    pub(super) whitener: Matrix6<f64>,
    /// What it counts beside its covariance: 1, less where it is doubted.
    pub(super) share: f64,
}

/// All that is given: the poses, and what is known beside them.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Model {
    pub(super) up: Vector<Rig>,
    pub(super) standoff_mm: ByWheel<f64>,
    /// One standard deviation of the slip of a rolling wheel between the ahead station and another, mm; 0 for none.
    pub(super) slip_mm: f64,
    /// About which the body turns.
    pub(super) pivot: Vector<Rig>,
    pub(super) stations: Vec<StationPlan>,
    pub(super) columns: Columns,
    pub(super) observations: Vec<Observation>,
}

/// How a pose follows the unknowns: for each column that it follows at all, its turn and its shift.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Follows {
    pub(super) shared: Vec<(usize, Vector6<f64>)>,
    pub(super) own: Vec<(usize, Vector6<f64>)>,
}

pub(super) fn column<F: crate::frame::Frame>(v: Vector<F>) -> Vector3<f64> {
    Vector3::from(v.to_array())
}

fn both(turn: Vector3<f64>, shift: Vector3<f64>) -> Vector6<f64> {
    Vector6::new(turn.x, turn.y, turn.z, shift.x, shift.y, shift.z)
}

/// Right-handed, about a unit vector.
pub(super) fn rotation(axis: Vector3<f64>, angle_rad: f64) -> Matrix3<f64> {
    Rotation3::from_axis_angle(&Unit::new_unchecked(axis), angle_rad).into_inner()
}

/// Axis times angle of a rotation.
pub(super) fn rotation_vector(turn: &Matrix3<f64>) -> Vector3<f64> {
    let skew =
        Vector3::new(turn[(2, 1)] - turn[(1, 2)], turn[(0, 2)] - turn[(2, 0)], turn[(1, 0)] - turn[(0, 1)]) * 0.5;
    let sin = sqrt(skew.dot(&skew));
    if sin < 1e-9 {
        return skew; // half a turn has no sense, and no pose is as far off
    }
    skew * (libm::atan2(sin, (turn.trace() - 1.0) * 0.5) / sin)
}

/// The two directions square to a unit vector along which it is tilted.
pub(super) fn square<F: crate::frame::Frame>(direction: Vector<F>) -> [Vector3<f64>; 2] {
    let first = direction.any_square();
    [column(first), column(direction.cross(first))]
}

/// How the rotation vector β of a turn changes when a small turn ω follows it: ω − β × ω/2 + β × (β × ω)/12, and less than the fourth power of β more.
pub(super) fn turned_by(turned: &Vector3<f64>, by: &Vector3<f64>) -> Vector3<f64> {
    let first = turned.cross(by);
    by - first * 0.5 + turned.cross(&first) / 12.0
}

pub(super) const AXES: [Vector3<f64>; 3] =
    [Vector3::new(1.0, 0.0, 0.0), Vector3::new(0.0, 1.0, 0.0), Vector3::new(0.0, 0.0, 1.0)];

/// The body at a station: a point x goes to pivot + turn·(x − pivot) + shift.
struct Body {
    turn: Matrix3<f64>,
    pivot: Vector3<f64>,
    shift: Vector3<f64>,
}

impl Body {
    /// The pose of a target that nothing but the body ties to the others; its own six unknowns are about its own origin.
    fn carries(
        &self,
        loose: &Transform<Rig, Target>,
        follows: Option<&mut Follows>,
        from: usize,
        body: Option<usize>,
    ) -> Transform<Rig, Target> {
        let arm = self.turn * (column(loose.origin()) - self.pivot);
        let origin = self.pivot + arm + self.shift;
        if let Some(follows) = follows {
            follows.shared.clear();
            follows.own.clear();
            for (i, along) in AXES.into_iter().enumerate() {
                follows.own.push((from + i, both(self.turn * along, Vector3::zeros())));
                follows.own.push((from + 3 + i, both(Vector3::zeros(), self.turn * along)));
                if let Some(body) = body {
                    follows.own.push((body + i, both(along, along.cross(&arm))));
                    follows.own.push((body + 3 + i, both(Vector3::zeros(), along)));
                }
            }
        }
        Transform::from_parts(self.turn * loose.rotation, Vector::new(origin.into()))
    }
}

impl Model {
    /// The pose of a wheel's target at a station; how it follows the unknowns, where that is asked.
    ///
    /// The target turns about its spindle by θ, then with the knuckle about the steering axis, then the body moves. Small turns and shifts
    /// are given at the pose itself: about the axes of the rig, and of the target's origin.
    pub(super) fn foretell(
        &self,
        state: &State,
        at: usize,
        wheel: Wheel,
        follows: Option<&mut Follows>,
    ) -> Option<Transform<Rig, Target>> {
        let (plan, station) = (&self.stations[at], &state.stations[at]);
        let of_wheel = state.wheels.get(wheel).as_ref()?;
        let base = if plan.kind == Kind::Spun { of_wheel.raised.as_ref()? } else { &of_wheel.ahead };
        let body = Body { turn: station.turn, pivot: column(self.pivot), shift: station.shift };
        let body = match plan.body {
            Some(_) => body,
            None => Body { shift: column(state.travel) * station.travel_mm, ..body },
        };
        if wheel.is_front()
            && let (Some(from), Some(loose)) = (*plan.loose.get(wheel.side()), station.loose.get(wheel.side()))
        {
            return Some(body.carries(loose, follows, from, plan.body));
        }
        let rolled = (plan.kind == Kind::Rolled).then(|| self.rolled(state, at, wheel, of_wheel, &body));
        let spin_rad = station.spin_rad.get(wheel) + rolled.as_ref().map_or(0.0, |rolled| rolled.angle_rad);
        let (spindle, offset) = (column(of_wheel.spindle), column(of_wheel.offset));
        let spin = rotation(spindle, spin_rad);
        let spun_offset = spin * offset;
        let (base_origin, base_turn) = (column(base.origin()), base.rotation);
        let origin = base_turn * (offset - spun_offset) + base_origin;
        let turn = base_turn * spin;

        let side = wheel.side();
        let axis = state.axes.get(side).filter(|_| plan.steer.get(side).is_some() && wheel.is_front());
        let knuckle = axis.map(|axis| {
            let (direction, point) = (column(axis.direction), column(axis.point));
            (direction, point, rotation(direction, *station.steer_rad.get(side)))
        });
        let (steered, steered_turn) = match &knuckle {
            Some((_, point, knuckle)) => (point + knuckle * (origin - point), knuckle * turn),
            None => (origin, turn),
        };
        let moved = body.pivot + body.turn * (steered - body.pivot) + body.shift;
        let pose = Transform::from_parts(body.turn * steered_turn, Vector::new(moved.into()));
        let Some(follows) = follows else { return Some(pose) };

        follows.shared.clear();
        follows.own.clear();
        let outer = knuckle.as_ref().map_or(body.turn, |(_, _, knuckle)| body.turn * knuckle);
        let to_rig = outer * base_turn;
        let by_spin = both(to_rig * spindle, -(to_rig * spindle.cross(&spun_offset)));
        let none = Rolled::default();
        let rolled = rolled.as_ref().unwrap_or(&none);
        let of_base = if plan.kind == Kind::Spun { self.columns.raised } else { self.columns.wheels };
        if let Some(from) = *of_base.get(wheel) {
            for (i, along) in AXES.into_iter().enumerate() {
                let by_turn = both(outer * along, outer * along.cross(&(origin - base_origin)));
                let by_shift = both(Vector3::zeros(), outer * along);
                follows.shared.push((from + i, by_turn + by_spin * rolled.by_turn[i]));
                follows.shared.push((from + 3 + i, by_shift + by_spin * rolled.by_shift[i]));
            }
        }
        if let Some(from) = *self.columns.wheels.get(wheel) {
            for (i, along) in square(of_wheel.spindle).into_iter().enumerate() {
                let tilt = spindle.cross(&along);
                let tilt = tilt - spin * tilt;
                let by_tilt = both(to_rig * tilt, -(to_rig * tilt.cross(&spun_offset)));
                let by_shift = both(Vector3::zeros(), to_rig * (along - spin * along));
                follows.shared.push((from + 6 + i, by_tilt + by_spin * rolled.by_tilt[i]));
                follows.shared.push((from + 8 + i, by_shift + by_spin * rolled.by_offset[i]));
            }
        }
        if let Some(column) = *self.columns.radii.get(wheel)
            && plan.kind == Kind::Rolled
        {
            follows.shared.push((column, by_spin * rolled.by_radius));
        }
        if let (Some(yaw), Kind::Rolled) = (self.columns.travel, plan.kind) {
            let left = column(self.up.cross(state.travel)) * station.travel_mm;
            follows.shared.push((yaw, both(Vector3::zeros(), left) + by_spin * rolled.by_travel_yaw));
        }
        if let Some(own) = plan.travel {
            follows.own.push((own, both(Vector3::zeros(), column(state.travel)) + by_spin * rolled.by_travel));
        }
        if let Some(own) = *plan.spin.get(wheel) {
            follows.own.push((own, by_spin));
        }
        if let (Some((direction, point, knuckle)), Some(own)) = (&knuckle, *plan.steer.get(side)) {
            let arm = steered - point;
            let by = |turn: Vector3<f64>| both(body.turn * turn, body.turn * turn.cross(&arm));
            follows.own.push((own, by(*direction)));
            if let (Some(from), Some(axis)) = (*self.columns.axes.get(side), axis) {
                for (i, along) in square(axis.direction).into_iter().enumerate() {
                    let tilt = direction.cross(&along);
                    follows.shared.push((from + i, by(tilt - knuckle * tilt)));
                    let shift = body.turn * (along - knuckle * along);
                    follows.shared.push((from + 2 + i, both(Vector3::zeros(), shift)));
                }
            }
        }
        if let Some(own) = plan.body {
            let arm = moved - body.pivot - body.shift;
            for (i, along) in AXES.into_iter().enumerate() {
                follows.own.push((own + i, both(along, along.cross(&arm)) + by_spin * rolled.by_body_turn[i]));
            }
            for (i, along) in self.body_shifts(plan.kind).iter().enumerate() {
                let by_spin = by_spin * along.dot(&rolled.by_body_shift);
                follows.own.push((own + 3 + i, both(Vector3::zeros(), *along) + by_spin));
            }
        }
        Some(pose)
    }

    /// Numbers the stations' own unknowns, of those that the poses at hand can tell.
    pub(super) fn renumber(&mut self) {
        let mut raised: ByWheel<bool> = ByWheel::default();
        let mut seen_at: Vec<ByWheel<bool>> = self.stations.iter().map(|_| ByWheel::default()).collect();
        for seen in &self.observations {
            *seen_at[seen.at].get_mut(seen.wheel) = true;
        }
        for (at, seen) in seen_at.iter().enumerate() {
            let shifts = self.body_shifts(self.stations[at].kind).len();
            let plan = &mut self.stations[at];
            let any = Wheel::ALL.iter().any(|&wheel| *seen.get(wheel));
            let mut size = 0;
            let mut place = |has: bool, more: usize| {
                size += if has { more } else { 0 };
                has.then(|| size - more)
            };
            plan.travel = place(plan.travel.is_some() && any, 1);
            plan.body = place(plan.body.is_some() && any, 3 + shifts);
            for side in Side::ALL {
                let seen = *seen.get(side.front_wheel());
                *plan.steer.get_mut(side) = place(plan.steer.get(side).is_some() && seen, 1);
                *plan.loose.get_mut(side) = place(plan.loose.get(side).is_some() && seen, 6);
            }
            for wheel in Wheel::ALL {
                // Of a wheel that was spun, the first station stays as it is: all others are counted from it.
                let first = plan.kind == Kind::Spun && *seen.get(wheel) && !*raised.get(wheel);
                *raised.get_mut(wheel) |= first;
                let spins = plan.spin.get(wheel).is_some() && *seen.get(wheel) && !first;
                *plan.spin.get_mut(wheel) = place(spins, 1);
            }
            plan.size = size;
        }
    }

    /// Where a body that has turned was heading halfway, and what lies to the left of that: level.
    pub(super) fn heading(&self, state: &State, turn: &Matrix3<f64>) -> (Vector3<f64>, Vector3<f64>) {
        let up = column(self.up);
        let heading = rotation(up, rotation_vector(turn).dot(&up) * 0.5) * column(state.travel);
        (heading, up.cross(&heading))
    }

    /// The state with the travel made level again, after up has tilted.
    pub(super) fn level(&self, state: &mut State) {
        state.travel = state.travel.square_to(self.up).unit();
        let up = column(self.up);
        for (plan, station) in self.stations.iter().zip(&mut state.stations) {
            if plan.kind == Kind::Rolled {
                station.shift -= up * up.dot(&station.shift);
            }
        }
    }

    /// Along what a body may shift: anyhow while the front wheels are steered; as it rolls, on a level floor.
    pub(super) fn body_shifts(&self, kind: Kind) -> Vec<Vector3<f64>> {
        if kind == Kind::Rolled { square(self.up).into() } else { AXES.into() }
    }

    /// How far a wheel turned about its spindle as it rolled without slip: its way over its radius, less what the body turned it along.
    ///
    /// The way is the length of the arc along the direction of travel: of a body that yaws by ψ as it goes, the chord of every point
    /// lies at ψ/2, and is sin(ψ/2)/(ψ/2) of the arc.
    fn rolled(&self, state: &State, at: usize, wheel: Wheel, of_wheel: &WheelState, body: &Body) -> Rolled {
        let sign = wheel.side().sign() / of_wheel.radius_mm;
        let mut rolled = Rolled::default();
        if self.stations[at].body.is_none() {
            let way_mm = state.stations[at].travel_mm;
            rolled.angle_rad = sign * way_mm;
            rolled.by_travel = sign;
            rolled.by_radius = -rolled.angle_rad / of_wheel.radius_mm;
            return rolled;
        }
        let up = column(self.up);
        let standoff_mm = *self.standoff_mm.get(wheel);
        let (ahead, origin) = (of_wheel.ahead.rotation, column(of_wheel.ahead.origin()));
        let (spindle_in_target, offset) = (column(of_wheel.spindle), column(of_wheel.offset));
        let spindle = ahead * spindle_in_target;
        let centre = ahead * (offset - spindle_in_target * standoff_mm) + origin;
        let arm = body.turn * (centre - body.pivot);
        let chord = body.pivot + arm + body.shift - centre;
        let turned = rotation_vector(&body.turn);
        let half_yaw = turned.dot(&up) * 0.5;
        let (heading, left) = self.heading(state, &body.turn);
        // x/sin x, and its slope.
        let (longer, slope) = if half_yaw.abs() < 1e-3 {
            (1.0 + half_yaw * half_yaw / 6.0, half_yaw / 3.0)
        } else {
            let (sin, cos) = libm::sincos(half_yaw);
            (half_yaw / sin, (sin - half_yaw * cos) / (sin * sin))
        };
        let way_mm = chord.dot(&heading) * longer;
        rolled.angle_rad = sign * way_mm - turned.dot(&spindle);
        rolled.by_radius = -sign * way_mm / of_wheel.radius_mm;
        let by_chord = heading * (longer * sign);
        let by_yaw = sign * 0.5 * (chord.dot(&left) * longer + chord.dot(&heading) * slope);
        let by_centre = body.turn.tr_mul(&by_chord) - by_chord;
        rolled.by_body_shift = by_chord;
        rolled.by_travel_yaw = sign * longer * chord.dot(&left);
        for (i, along) in AXES.into_iter().enumerate() {
            let by_turn = turned_by(&turned, &along);
            rolled.by_body_turn[i] =
                by_chord.dot(&along.cross(&arm)) + by_yaw * up.dot(&by_turn) - spindle.dot(&by_turn);
            rolled.by_turn[i] = by_centre.dot(&along.cross(&(centre - origin))) - turned.dot(&along.cross(&spindle));
            rolled.by_shift[i] = by_centre[i];
        }
        for (i, along) in square(of_wheel.spindle).into_iter().enumerate() {
            let centre = centre_by_tilt(&of_wheel.offset, &of_wheel.spindle, along, standoff_mm);
            rolled.by_tilt[i] = by_centre.dot(&(ahead * centre)) - turned.dot(&(ahead * along));
            rolled.by_offset[i] = by_centre.dot(&(ahead * along));
        }
        rolled
    }

    /// What a pose leaves over: its turn and its shift from what the unknowns foretell.
    pub(super) fn left_over(seen: &Transform<Rig, Target>, foretold: &Transform<Rig, Target>) -> Vector6<f64> {
        let turn = rotation_vector(&(seen.rotation * foretold.rotation.transpose()));
        both(turn, column(seen.origin() - foretold.origin()))
    }

    /// The unknowns moved by a step: of those shared, and of each station's own.
    pub(super) fn stepped(&self, state: &State, shared: &DVector<f64>, own: &[DVector<f64>]) -> State {
        let mut next = state.clone();
        let three = |from: usize, of: &DVector<f64>| Vector3::new(of[from], of[from + 1], of[from + 2]);
        let moved = |pose: &Transform<Rig, Target>, from: usize, by: &DVector<f64>| {
            let turn = Rotation3::new(three(from, by)).into_inner();
            let shift = three(from + 3, by);
            Transform::from_parts(turn * pose.rotation, pose.origin() + Vector::new(shift.into()))
        };
        for wheel in Wheel::ALL {
            let Some(of_wheel) = next.wheels.get_mut(wheel) else { continue };
            if let Some(from) = *self.columns.wheels.get(wheel) {
                of_wheel.ahead = moved(&of_wheel.ahead, from, shared);
                let [first, second] = square(of_wheel.spindle).map(|axis| Vector::<Target>::new(axis.into()));
                let offset = of_wheel.offset + first * shared[from + 8] + second * shared[from + 9];
                of_wheel.spindle = (of_wheel.spindle + first * shared[from + 6] + second * shared[from + 7]).unit();
                of_wheel.offset = offset.square_to(of_wheel.spindle);
            }
            if let Some(column) = *self.columns.radii.get(wheel) {
                of_wheel.radius_mm += shared[column];
            }
            if let (Some(from), Some(raised)) = (*self.columns.raised.get(wheel), &mut of_wheel.raised) {
                *raised = moved(raised, from, shared);
            }
        }
        for side in Side::ALL {
            let (Some(axis), Some(from)) = (next.axes.get_mut(side), *self.columns.axes.get(side)) else { continue };
            let [first, second] = square(axis.direction).map(|axis| Vector::<Rig>::new(axis.into()));
            axis.point = axis.point + first * shared[from + 2] + second * shared[from + 3];
            axis.direction = (axis.direction + first * shared[from] + second * shared[from + 1]).unit();
        }
        if let Some(column) = self.columns.travel {
            let left = self.up.cross(state.travel);
            let (sin, cos) = libm::sincos(shared[column]);
            next.travel = (state.travel * cos + left * sin).unit();
        }
        for ((plan, station), own) in self.stations.iter().zip(&mut next.stations).zip(own) {
            if let Some(column) = plan.travel {
                station.travel_mm += own[column];
            }
            for side in Side::ALL {
                *station.steer_rad.get_mut(side) += plan.steer.get(side).map_or(0.0, |column| own[column]);
                if let (Some(from), Some(loose)) = (*plan.loose.get(side), station.loose.get_mut(side)) {
                    *loose = moved(loose, from, own);
                }
            }
            for wheel in Wheel::ALL {
                *station.spin_rad.get_mut(wheel) += plan.spin.get(wheel).map_or(0.0, |column| own[column]);
            }
            if let Some(from) = plan.body {
                station.turn = Rotation3::new(three(from, own)).into_inner() * station.turn;
                for (i, along) in self.body_shifts(plan.kind).iter().enumerate() {
                    station.shift += along * own[from + 3 + i];
                }
            }
        }
        next
    }
}

/// How the wheel centre in the target follows the spindle: the offset stays square to it.
pub(super) fn centre_by_tilt(
    offset: &Vector<Target>,
    spindle: &Vector<Target>,
    along: Vector3<f64>,
    standoff_mm: f64,
) -> Vector3<f64> {
    -column(*spindle) * column(*offset).dot(&along) - along * standoff_mm
}

/// How far a wheel rolled, and how that follows the unknowns.
#[derive(Default)]
struct Rolled {
    angle_rad: f64,
    by_travel: f64,
    by_travel_yaw: f64,
    by_radius: f64,
    by_turn: [f64; 3],
    by_shift: [f64; 3],
    by_tilt: [f64; 2],
    by_offset: [f64; 2],
    by_body_turn: [f64; 3],
    by_body_shift: Vector3<f64>,
}

#[cfg(all(test, feature = "simulate"))]
mod tests {
    use super::*;
    use crate::joint::{start::Ground, weights::Weights};
    use crate::session::{CompensationMethod, JointOptions, PoseNoise, Session, SweepBody};
    use crate::simulate::{BodyMotion, VirtualVehicle};
    use crate::staged;

    /// Every derivative against central differences, with all that can be free, at a state that fits nothing.
    #[test]
    fn a_pose_follows_every_unknown_as_it_says() {
        let noise = Some(PoseNoise { rotation_deg: 0.3, translation_mm: 4.0 });
        let car = |seed| VirtualVehicle { pose_noise: noise, ..VirtualVehicle::random(seed) };
        let body_motion =
            BodyMotion { rise_mm: 3.0, slide_mm: [2.0, -4.0], roll_deg: 0.3, pitch_deg: -0.2, yaw_deg: 0.4 };
        let cars = [
            car(1),
            VirtualVehicle { compensation: CompensationMethod::Spun, sweep_wheels_locked: false, ..car(2) },
            VirtualVehicle {
                rolling_yaw_deg_per_m: 3.0,
                sweep_body: SweepBody::FoundAgain,
                sweep_wheels_locked: false,
                body_motion,
                ..car(3)
            },
            VirtualVehicle { rolling_yaw_deg_per_m: -2.0, sweep_body: SweepBody::FoundAgain, body_motion, ..car(4) },
        ];
        for (number, car) in cars.into_iter().enumerate() {
            let joint = JointOptions { rolling_slip_mm: 0.3, ..JointOptions::default() };
            let mut session = Session { joint, pose_noise: noise.map(Into::into), ..car.session() };
            if number == 3 {
                // No axis of one side.
                for station in &mut session.sweep[1..] {
                    station.fr = crate::session::Sighting::NotSeen;
                }
            }
            let seen = staged::see(&session).unwrap();
            let level = staged::level(&session, &seen.rolling, &seen.ahead).unwrap();
            let weights = Weights::of(&session, &seen.spreads);
            let ground = Ground { session: &session, up: level.up, clamps: &level.clamps };
            let (model, mut state) = ground.start(&seen, &weights).unwrap();
            let mut angle_rad = 0.02;
            for (plan, station) in model.stations.iter().zip(&mut state.stations) {
                if plan.body.is_some() {
                    station.turn = rotation(Vector3::new(0.6, 0.0, 0.8), angle_rad) * station.turn;
                    angle_rad *= -0.9;
                }
            }
            for seen in &model.observations {
                let mut follows = Follows::default();
                model.foretell(&state, seen.at, seen.wheel, Some(&mut follows)).unwrap();
                let by = |shared: bool, column: usize| {
                    let size = if shared { model.columns.size } else { model.stations[seen.at].size };
                    let nudged = |step: f64| {
                        let mut all = DVector::zeros(model.columns.size);
                        let mut own: Vec<DVector<f64>> =
                            model.stations.iter().map(|plan| DVector::zeros(plan.size)).collect();
                        if shared {
                            all[column] = step;
                        } else {
                            own[seen.at][column] = step;
                        }
                        model.foretell(&model.stepped(&state, &all, &own), seen.at, seen.wheel, None).unwrap()
                    };
                    assert!(column < size);
                    Model::left_over(&nudged(1e-5), &nudged(-1e-5)) / 2e-5
                };
                for (shared, columns, size) in
                    [(true, &follows.shared, model.columns.size), (false, &follows.own, model.stations[seen.at].size)]
                {
                    for column in 0..size {
                        let said: Vector6<f64> =
                            columns.iter().filter(|(of, _)| *of == column).map(|(_, by)| *by).sum();
                        let found = by(shared, column);
                        let plan = &model.stations[seen.at];
                        assert!(
                            (said - found).amax() < 1e-5 * (1.0 + found.amax()),
                            "car {number}, {:?} {:?} {:?}, shared {shared} {column} {:?}:\n{said}{found}",
                            plan.stage,
                            plan.index,
                            seen.wheel,
                            model.columns.name(column),
                        );
                    }
                }
            }
        }
    }
}
