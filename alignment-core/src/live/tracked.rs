//! One wheel as it is followed.

use crate::compensation::{Compensation, Residual};
use crate::frame::{Rig, Target, Transform, Vector};
use crate::session::PoseNoise;
use crate::steering::AxisLine;
use crate::units::rad_from_deg;
use crate::wheel::{self, WheelInRig};
use core::f64::consts::PI;
use nalgebra::Matrix3;

/// The steering axis of a front wheel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Axis {
    /// Where it stands in the body while nobody adjusts the wheel; steering leaves it there.
    pub(super) line: AxisLine,
    pub(super) direction_in_target: Vector<Target>,
    pub(super) point_in_target: Vector<Target>,
}

impl Axis {
    /// Of a target that stands so, however it is steered.
    pub(super) fn of(line: AxisLine, target: &Transform<Rig, Target>) -> Self {
        let from_body = target.inverse();
        Self {
            line,
            direction_in_target: from_body.direction(line.direction),
            point_in_target: from_body.point(line.point),
        }
    }

    /// Where the knuckle has carried it.
    pub(super) fn carried(&self, target: &Transform<Rig, Target>) -> AxisLine {
        AxisLine {
            direction: target.direction(self.direction_in_target),
            point: target.point(self.point_in_target),
            ..self.line
        }
    }
}

/// Whether a wheel stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Stance {
    Standing,
    /// It is about to hang, and its readings are held.
    BeingLifted,
    /// It hangs, and was not seen since.
    Lifting,
    Lifted,
}

/// One wheel. Its poses are in the body: in the rig's frame as the body stood in it straight ahead.
#[derive(Debug, Clone, PartialEq)]
#[expect(clippy::struct_excessive_bools, reason = "each is a fact of its own")]
pub(super) struct Tracked {
    pub(super) front: bool,
    pub(super) clamp: Compensation,
    /// The spindle straight ahead, where the wheel was last left alone: steering is counted from it.
    pub(super) spindle_ahead: Vector<Rig>,
    /// Where the target belongs, straight ahead, while nobody adjusts the wheel: as it is shown, and as it is seen.
    pub(super) reference: Transform<Rig, Target>,
    pub(super) seen_reference: Transform<Rig, Target>,
    /// Of a front wheel, if it was measured.
    pub(super) axis: Option<Axis>,
    /// The target turns with the knuckle, so that it shows the axis; else the wheel rolls in it.
    pub(super) locked: bool,
    /// What of the turn about the axis is not steering, radians, against it: what the tie rod did.
    pub(super) tie_rad: f64,
    /// How far the wheel has turned about its axis from straight ahead, radians: by the steering, and by its tie rod; 0 without an axis.
    pub(super) turned_rad: f64,
    /// By how much it has turned between the last two sightings, radians.
    pub(super) step_rad: f64,
    /// Where the wheel was in the session.
    pub(super) home: WheelInRig,
    /// How near it is to where it belongs when it is there.
    pub(super) near: Near,
    /// And when it hung in between: tyres that have moved sideways let nothing go back where it was.
    pub(super) nearly: Near,
    pub(super) hung: bool,
    /// Where the target was seen last, in the body.
    pub(super) last: Transform<Rig, Target>,
    /// The same, smoothed.
    pub(super) smoothed: Transform<Rig, Target>,
    /// What is shown from what is seen: of a wheel that hangs, back to where it stood.
    pub(super) shown_from_seen: Transform<Rig, Rig>,
    pub(super) shown: Transform<Rig, Target>,
    /// When it was seen last, and when the body was found in which it was seen; before the first frame never.
    pub(super) seen_s: f64,
    pub(super) body_s: f64,
    /// The mean of the times that went into what is smoothed.
    pub(super) mean_s: f64,
    pub(super) weak: bool,
    pub(super) adjusted: bool,
    /// Its adjustment has ended, and it was not seen since.
    pub(super) ending: bool,
    /// It was left alone with the steering turned, which was said to be held.
    pub(super) ahead_weak: bool,
    pub(super) stance: Stance,
    /// How many sightings in a row were not where the target belongs.
    pub(super) doubted: u8,
    pub(super) knocked: bool,
    /// Its clamp was put on anew, and not seen since.
    pub(super) anew: bool,
}

/// So many sightings in a row are a knock.
pub(super) const KNOCKED_SIGHTINGS: u8 = 3;
/// Two sightings are near in time within this, s.
pub(super) const JUMP_S: f64 = 0.2;
/// No wheel is further from where it was in the session than this, mm, whatever is done with it; nor turned by more than 60°; nor is its spindle
/// steeper than 60°.
const FAR_MM: f64 = 200.0;
const FAR_COSINE: f64 = 0.5;
const FAR_LEAN: f64 = 0.866;
/// So many times what one fixed axis left of the sweep is what a front wheel may be off the axis.
const MOVING_AXIS: f64 = 5.0;
/// So many times further than else a wheel may be from where it belongs when it hung in between.
const HUNG: f64 = 10.0;

impl Tracked {
    pub(super) fn new(
        front: bool,
        locked: bool,
        clamp: Compensation,
        ahead: Transform<Rig, Target>,
        line: Option<AxisLine>,
        near: PoseNoise,
    ) -> Self {
        // A real axis moves a little: so far the sweep was not explained by one that does not.
        let left_over = line.map_or(Residual::default(), |line| line.residual);
        let [turned, shifted] = [
            near.rotation_deg + MOVING_AXIS * left_over.rotation_deg,
            near.translation_mm + MOVING_AXIS * left_over.translation_mm,
        ];
        Self {
            front,
            clamp,
            home: wheel::locate(&clamp, &ahead),
            spindle_ahead: wheel::locate(&clamp, &ahead).spindle,
            reference: ahead,
            seen_reference: ahead,
            axis: line.map(|line| Axis::of(line, &ahead)),
            locked,
            tie_rad: 0.0,
            turned_rad: 0.0,
            step_rad: 0.0,
            near: Near::of(turned, shifted),
            nearly: Near::of(HUNG * turned, HUNG * shifted),
            hung: false,
            last: ahead,
            smoothed: ahead,
            shown_from_seen: still(),
            shown: ahead,
            seen_s: f64::NEG_INFINITY,
            body_s: f64::NEG_INFINITY,
            mean_s: f64::NEG_INFINITY,
            weak: false,
            adjusted: false,
            ending: false,
            ahead_weak: false,
            stance: Stance::Standing,
            doubted: 0,
            knocked: false,
            anew: false,
        }
    }

    /// Whether its readings are void.
    pub(super) fn is_void(&self) -> bool {
        self.knocked || self.anew
    }

    /// Whether the target stays in its place in the body.
    pub(super) fn is_fixed(&self) -> bool {
        !self.adjusted && !self.is_void() && !self.is_being_lifted()
    }

    /// Whether its readings are held, since it is being lifted.
    pub(super) fn is_being_lifted(&self) -> bool {
        matches!(self.stance, Stance::BeingLifted | Stance::Lifting)
    }

    /// Whether the target shows where the body is: a rear one does, and a front one by its steering axis.
    pub(super) fn shows_the_body(&self) -> bool {
        !self.front || self.locked && self.axis.is_some()
    }

    /// How far a target is from where it belongs: the squares of chord and shift. Of a front wheel by what neither steering nor rolling changes: the
    /// lean of its spindle up the steering axis, and the place of its centre along the axis and off it. None without a measured axis.
    fn off(&self, target: &Transform<Rig, Target>) -> Option<(f64, f64)> {
        if !self.front {
            return Some(apart(target, &self.seen_reference));
        }
        let AxisLine { direction, point, .. } = self.seen_line()?;
        let coordinates = |target| {
            let WheelInRig { spindle, centre } = wheel::locate(&self.clamp, target);
            let from = centre - point;
            [spindle.dot(direction), from.dot(direction), from.square_to(direction).norm()]
        };
        let (now, then) = (coordinates(target), coordinates(&self.seen_reference));
        let [leans, along, off] = [now[0] - then[0], now[1] - then[1], now[2] - then[2]];
        Some((leans * leans, along * along + off * off))
    }

    /// Its steering axis as it is seen: of a wheel that hangs elsewhere.
    pub(super) fn seen_line(&self) -> Option<AxisLine> {
        let line = self.axis?.line;
        if self.stance == Stance::Standing {
            return Some(line);
        }
        let seen_from_shown = self.shown_from_seen.inverse();
        Some(AxisLine {
            direction: seen_from_shown.direction(line.direction),
            point: seen_from_shown.point(line.point),
            ..line
        })
    }

    /// Whether it hung in between, and is not where it belonged before.
    pub(super) fn rests_elsewhere(&self, target: &Transform<Rig, Target>) -> bool {
        self.hung && self.off(target).is_some_and(|off| !self.near.holds(off))
    }

    /// Whether a target is where it belongs, as far as can be told.
    pub(super) fn is_there(&self, up: Vector<Rig>, target: &Transform<Rig, Target>) -> bool {
        let near = if self.hung { self.nearly } else { self.near };
        self.off(target).map_or_else(|| self.is_at_home(up, target), |off| near.holds(off))
    }

    /// Whether the wheel of a target is no further from where it was in the session than any can be, and stands upright.
    fn is_at_home(&self, up: Vector<Rig>, target: &Transform<Rig, Target>) -> bool {
        let elsewhere = self.stance != Stance::Standing;
        let shown = if elsewhere { self.shown_from_seen.then_from(target) } else { *target };
        let WheelInRig { spindle, centre } = wheel::locate(&self.clamp, &shown);
        let turned = spindle.dot(self.home.spindle) >= FAR_COSINE && spindle.dot(up).abs() <= FAR_LEAN;
        turned && square(centre - self.home.centre) <= FAR_MM * FAR_MM
    }

    /// Whether a target is where it can be, whatever is done with the wheel.
    pub(super) fn is_possible(
        &self,
        up: Vector<Rig>,
        held: bool,
        target: &Transform<Rig, Target>,
        time_s: f64,
    ) -> bool {
        if !self.is_at_home(up, target) {
            return false;
        }
        if self.anew
            || self.is_being_lifted()
            || self.seen_s == f64::NEG_INFINITY
            // Where it was seen last was no place that can be relied on.
            || self.seen_s - self.body_s > JUMP_S
            || time_s - self.seen_s > JUMP_S && self.doubted == 0
        {
            return true;
        }
        Near::JUMP.holds(match self.axis {
            // The steering may go as fast as it likes, and the wheel roll with it.
            Some(axis) if self.front && self.locked && !held => {
                let (now, before) = (axis.carried(target), axis.carried(&self.last));
                (square(now.direction - before.direction), square(now.point - before.point))
            }
            _ if self.front && !held => return true,
            _ => apart(target, &self.last),
        })
    }

    /// Takes a sighting in the body, with its share in what is smoothed.
    pub(super) fn take(&mut self, target: &Transform<Rig, Target>, time_s: f64, body_s: f64, share: f64, held: bool) {
        if share >= 1.0 || self.anew || !Near::ANEW.holds(apart(target, &self.smoothed)) {
            (self.smoothed, self.mean_s) = (*target, time_s);
        } else {
            self.smoothed = between(&self.smoothed, target, share);
            self.mean_s += share * (time_s - self.mean_s);
        }
        (self.last, self.seen_s, self.body_s) = (*target, time_s, body_s);
        // A body that was not found lately is no place to begin anew in.
        let settles = time_s - body_s <= JUMP_S;
        if settles && self.stance == Stance::Lifting && !self.anew {
            self.go_on();
        }
        if !self.is_being_lifted() {
            self.show();
        }
        let turned_rad = self.about_axis();
        (self.step_rad, self.turned_rad) = ((turned_rad - self.turned_rad).abs(), turned_rad);
        // Of a clamp put on while the wheel is lifted nothing tells where it was: it waits until the wheel stands.
        if settles && self.anew && !self.is_being_lifted() {
            self.anew = false;
            self.axis = self.axis.map(|axis| Axis::of(axis.line, &self.shown));
            self.belongs_here(held, false);
        } else if self.ending && !self.is_void() && !self.is_being_lifted() {
            self.left_alone(held, self.ahead_weak);
        }
    }

    /// Shows what is seen.
    fn show(&mut self) {
        let elsewhere = self.stance != Stance::Standing;
        self.shown = if elsewhere { self.shown_from_seen.then_from(&self.smoothed) } else { self.smoothed };
    }

    /// Nobody adjusts it any more: it belongs where it was seen last.
    pub(super) fn left_alone(&mut self, held: bool, steered: bool) {
        // The smoothed pose is still on its way.
        (self.smoothed, self.mean_s) = (self.last, self.seen_s);
        self.show();
        self.turned_rad = self.about_axis();
        self.belongs_here(held, steered);
        (self.adjusted, self.ending, self.hung) = (false, false, false);
    }

    /// Where a target shows the steering axis: steering leaves that where it is in the body, but the target may have rolled with its wheel.
    pub(super) fn show_axis(&mut self, target: &Transform<Rig, Target>) {
        if let (Some(axis), Some(seen)) = (self.axis, self.seen_line()) {
            self.axis = Some(Axis { line: axis.line, ..Axis::of(seen, target) });
        }
    }

    /// Goes on from what is shown: where the target is now it is shown where it was.
    pub(super) fn go_on(&mut self) {
        self.stance = Stance::Lifted;
        self.shown_from_seen = self.shown.then_from(&self.smoothed.inverse());
        self.seen_reference = self.shown_from_seen.inverse().then_from(&self.reference);
    }

    /// The wheel belongs where it is shown, with the steering turned back.
    ///
    /// `steered` says that the steering, which is said to be held, is not.
    fn belongs_here(&mut self, held: bool, steered: bool) {
        let steered_rad = self.steered_rad(held);
        let ahead = match self.axis {
            Some(axis) => {
                let line = self.line().unwrap_or(axis.line);
                self.axis = Some(Axis { line, ..axis });
                Turn::of(&line, -steered_rad).pose(&self.shown)
            }
            None => self.shown,
        };
        self.reference = ahead;
        self.seen_reference = self.shown_from_seen.inverse().then_from(&ahead);
        self.spindle_ahead = wheel::locate(&self.clamp, &ahead).spindle;
        (self.turned_rad, self.tie_rad) = (self.about_axis(), 0.0);
        // Referred back, it counts from where it belonged before, which may have been weak.
        self.ahead_weak = self.front && (steered || !held && self.ahead_weak);
    }

    /// The steering axis as it is shown: where it was, unless the knuckle that carries it is adjusted.
    pub(super) fn line(&self) -> Option<AxisLine> {
        let axis = self.axis?;
        Some(if self.adjusted && self.locked { axis.carried(&self.shown) } else { axis.line })
    }

    /// How far the steering has turned the wheel about its axis from straight ahead, radians. Steering that is held turns nothing.
    pub(super) fn steered_rad(&self, held: bool) -> f64 {
        if held || self.axis.is_none() { 0.0 } else { self.turned_rad + self.tie_rad }
    }

    fn about_axis(&self) -> f64 {
        let spindle = || self.shown.direction(Vector::new(self.clamp.spindle_in_target));
        self.axis.map_or(0.0, |axis| about(axis.line.direction, self.spindle_ahead, spindle()))
    }
}

/// How far a direction has turned about a unit vector, radians.
pub(super) fn about(axis: Vector<Rig>, before: Vector<Rig>, now: Vector<Rig>) -> f64 {
    libm::atan2(axis.dot(before.cross(now)), before.dot(now) - before.dot(axis) * now.dot(axis))
}

/// A turn about a line of the body.
pub(super) struct Turn {
    line: AxisLine,
    sin: f64,
    cos: f64,
}

impl Turn {
    pub(super) fn of(line: &AxisLine, angle_rad: f64) -> Self {
        let (sin, cos) = libm::sincos(angle_rad);
        Self { line: *line, sin, cos }
    }

    /// Rodrigues' formula.
    fn direction(&self, v: Vector<Rig>) -> Vector<Rig> {
        let k = self.line.direction;
        v * self.cos + k.cross(v) * self.sin + k * (k.dot(v) * (1.0 - self.cos))
    }

    fn point(&self, p: Vector<Rig>) -> Vector<Rig> {
        self.line.point + self.direction(p - self.line.point)
    }

    pub(super) fn wheel(&self, wheel: WheelInRig) -> WheelInRig {
        WheelInRig { spindle: self.direction(wheel.spindle), centre: self.point(wheel.centre) }
    }

    fn pose(&self, pose: &Transform<Rig, Target>) -> Transform<Rig, Target> {
        Transform::from_axes(pose.axes().map(|axis| self.direction(axis)), self.point(pose.origin()))
    }
}

/// How near two poses are: the squares of the chord of a turn, and of a shift.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Near {
    chord2: f64,
    mm2: f64,
}

impl Near {
    /// Nothing that is adjusted goes faster than this between two sightings that are near in time: by 1° or 10 mm.
    const JUMP: Self = Self::of_rad(PI / 180.0, 10.0);
    /// A smoothed pose that is further from the target than this starts anew: by 10° or 300 mm.
    const ANEW: Self = Self::of_rad(PI / 18.0, 300.0);

    pub(super) fn of(turned_deg: f64, shifted_mm: f64) -> Self {
        Self::of_rad(rad_from_deg(turned_deg), shifted_mm)
    }

    /// The chord of so small a turn is taken for its arc.
    const fn of_rad(turned_rad: f64, shifted_mm: f64) -> Self {
        Self { chord2: turned_rad * turned_rad, mm2: shifted_mm * shifted_mm }
    }

    pub(super) fn holds(self, (chord2, mm2): (f64, f64)) -> bool {
        chord2 <= self.chord2 && mm2 <= self.mm2
    }
}

fn square(v: Vector<Rig>) -> f64 {
    v.dot(v)
}

/// The squares of the chord of the turn from one pose to another, and of the shift of the origin.
pub(super) fn apart(a: &Transform<Rig, Target>, b: &Transform<Rig, Target>) -> (f64, f64) {
    // The columns of two rotations that differ by φ are apart by 8·sin²(φ/2) in the sum of squares.
    ((a.rotation - b.rotation).norm_squared() / 2.0, square(a.origin() - b.origin()))
}

pub(super) fn still() -> Transform<Rig, Rig> {
    Transform::from_parts(Matrix3::identity(), Vector::zero())
}

/// A pose between two that are less than [`Near::ANEW`] apart.
fn between(from: &Transform<Rig, Target>, to: &Transform<Rig, Target>, share: f64) -> Transform<Rig, Target> {
    let mut rotation = from.rotation + (to.rotation - from.rotation) * share;
    // The mean of two rotations is shorter than one by at most 0.4 % here: three steps of Newton's to the nearest rotation leave rounding, and
    // of rotations that hardly differ fewer.
    for _ in 0..3 {
        let left_over = Matrix3::identity() - rotation.tr_mul(&rotation);
        rotation += rotation * (left_over * 0.5);
        if left_over.norm_squared() < 1e-16 {
            break;
        }
    }
    Transform::from_parts(rotation, from.origin() + (to.origin() - from.origin()) * share)
}
