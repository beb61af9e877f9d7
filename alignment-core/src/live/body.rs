//! Where the body is: found again from what is fixed in it.

use super::tracked::{JUMP_S, apart};
use super::{Seen, Tracker};
use crate::frame::{Rig, Transform, Vector};
use crate::layout::{ByWheel, Wheel};
use crate::steering::AxisLine;
use nalgebra::Matrix3;

/// The body in one frame.
pub(super) struct Body {
    pub(super) then_from_now: Transform<Rig, Rig>,
    /// The targets in it.
    pub(super) targets: Seen,
    /// Which targets are where they belong in it, and how many.
    pub(super) confirming: ByWheel<bool>,
    pub(super) confirmed: usize,
    /// A rear target that shows it hung in between, and is not where it belonged before.
    pub(super) rests_elsewhere: bool,
    /// Rear targets show it, rather than front ones.
    pub(super) by_rear: bool,
}

/// What a frame shows of the body.
#[expect(clippy::large_enum_variant, reason = "most are of this variant, and none is kept")]
pub(super) enum Found {
    Body(Body),
    /// What is seen does not show it.
    Unseen,
    /// What is fixed contradicts itself, and nothing tells which target is not where it belongs.
    Contradiction,
}

impl Tracker {
    /// Which targets are seen that are fixed in the body and show where it is.
    pub(super) fn fixed(&self, seen: &Seen) -> ByWheel<bool> {
        ByWheel::from_fn(|wheel| {
            let tracked = self.wheels.get(wheel);
            seen.get(wheel).is_some() && tracked.is_fixed() && tracked.shows_the_body()
        })
    }

    /// Where the body is now.
    ///
    /// From the rear targets, and where they are not fixed from the front ones, as long as all that are fixed are where they belong. Else
    /// from those on which most agree, if the others are outvoted; the body as it was a moment ago has a vote.
    pub(super) fn find_body(&self, seen: &Seen, fixed: ByWheel<bool>, time_s: f64) -> Found {
        let (rear, front) = (only(fixed, false), only(fixed, true));
        let Some(body) = self.body_from(seen, rear).or_else(|| self.body_from(seen, front)) else {
            return self.lifted_body(seen).map_or(Found::Unseen, Found::Body);
        };
        let body = self.confirm(seen, fixed, body);
        if body.confirming == fixed {
            return Found::Body(body);
        }
        self.outvoted_body(seen, fixed, time_s).map_or(Found::Contradiction, Found::Body)
    }

    /// The body on which most of the targets agree that are fixed.
    fn outvoted_body(&self, seen: &Seen, fixed: ByWheel<bool>, time_s: f64) -> Option<Body> {
        let one = |wheel: Wheel| ByWheel::from_fn(|other| other == wheel && *fixed.get(wheel));
        let before = (time_s - self.body_s <= JUMP_S).then_some(self.then_from_now);
        let candidates = [
            self.body_from(seen, one(Wheel::Rl)),
            self.body_from(seen, one(Wheel::Rr)),
            self.body_from(seen, only(fixed, true)),
        ];
        let (mut best, mut votes, mut tied) = (None, 1, false);
        for candidate in candidates.into_iter().flatten() {
            let body = self.confirm(seen, fixed, candidate);
            let unmoved = before.is_some_and(|before| self.alike(seen, fixed, &candidate, &before));
            let count = body.confirmed + usize::from(unmoved);
            let same = best.as_ref().is_some_and(|best: &Body| best.confirming == body.confirming);
            if count > votes {
                (best, votes, tied) = (Some(body), count, false);
            } else if count == votes && !same {
                tied = true;
            }
        }
        let best = best.filter(|_| !tied)?;
        // All rear targets that belong together, rather than one of them.
        let rear = only(best.confirming, false);
        let together = self.body_from(seen, rear).map(|body| self.confirm(seen, fixed, body));
        Some(together.filter(|together| together.confirming == best.confirming).unwrap_or(best))
    }

    /// The body by targets which move in it as they are lifted, when no other shows it.
    fn lifted_body(&self, seen: &Seen) -> Option<Body> {
        let lifted = ByWheel::from_fn(|wheel| {
            let tracked = self.wheels.get(wheel);
            let shows = tracked.shows_the_body() && !tracked.is_void() && !tracked.adjusted;
            seen.get(wheel).is_some() && shows && tracked.is_being_lifted()
        });
        let then_from_now =
            self.body_from(seen, only(lifted, false)).or_else(|| self.body_from(seen, only(lifted, true)))?;
        let targets = in_body(&then_from_now, seen);
        Some(Body {
            then_from_now,
            targets,
            confirming: ByWheel::default(),
            confirmed: 0,
            rests_elsewhere: false,
            by_rear: false,
        })
    }

    /// Which of the targets that are fixed are where they belong in a body.
    fn confirm(&self, seen: &Seen, fixed: ByWheel<bool>, then_from_now: Transform<Rig, Rig>) -> Body {
        let targets = in_body(&then_from_now, seen);
        let confirming = ByWheel::from_fn(|wheel| {
            let there = |target| self.wheels.get(wheel).is_there(self.geometry.up, target);
            *fixed.get(wheel) && targets.get(wheel).as_ref().is_some_and(there)
        });
        let confirmed = Wheel::ALL.iter().filter(|&&wheel| *confirming.get(wheel)).count();
        let by_rear = confirming.rl || confirming.rr;
        let elsewhere = |wheel: &Wheel| {
            let moved = |target| self.wheels.get(*wheel).rests_elsewhere(target);
            *confirming.get(*wheel) && targets.get(*wheel).as_ref().is_some_and(moved)
        };
        let rests_elsewhere = [Wheel::Rl, Wheel::Rr].iter().any(elsewhere);
        Body { then_from_now, targets, confirming, confirmed, rests_elsewhere, by_rear }
    }

    /// Whether two bodies put what is seen in the same place.
    fn alike(&self, seen: &Seen, fixed: ByWheel<bool>, a: &Transform<Rig, Rig>, b: &Transform<Rig, Rig>) -> bool {
        Wheel::ALL.iter().filter(|&&wheel| *fixed.get(wheel)).all(|&wheel| {
            let same = |pose| self.wheels.get(wheel).near.holds(apart(&a.then_from(pose), &b.then_from(pose)));
            seen.get(wheel).as_ref().is_none_or(same)
        })
    }

    /// The body in which these targets are where they belong, by least squares.
    fn body_from(&self, seen: &Seen, of: ByWheel<bool>) -> Option<Transform<Rig, Rig>> {
        let mut fixed = Fixed::default();
        let mut near = None;
        let mut lines = [None; 2];
        for wheel in Wheel::ALL {
            let (tracked, pose) = (self.wheels.get(wheel), seen.get(wheel).as_ref().filter(|_| *of.get(wheel)));
            let Some(now) = pose else { continue };
            let then = &tracked.seen_reference;
            if let Some(axis) = tracked.axis {
                let (then, now) = (tracked.seen_line()?, axis.carried(now));
                fixed.direction((then.direction, now.direction));
                fixed.point((then.point, now.point));
                lines[usize::from(wheel == Wheel::Fr)] = Some((then, now));
            } else {
                for pair in then.axes().into_iter().zip(now.axes()) {
                    fixed.direction(pair);
                }
                fixed.point((then.origin(), now.origin()));
                near = near.or(Some(then.rotation * now.rotation.transpose()));
            }
        }
        if let (None, [Some(left), Some(right)]) = (near, lines) {
            let pair = |left: AxisLine, right: AxisLine| [left.point - right.point, left.direction];
            near = Some(from_two(pair(left.0, right.0), pair(left.1, right.1)));
        }
        fixed.motion(&near?, self.lever_mm)
    }
}

/// What is seen, in a body.
pub(super) fn in_body(then_from_now: &Transform<Rig, Rig>, seen: &Seen) -> Seen {
    ByWheel::from_fn(|wheel| seen.get(wheel).as_ref().map(|pose| then_from_now.then_from(pose)))
}

fn only(wheels: ByWheel<bool>, front: bool) -> ByWheel<bool> {
    let ByWheel { fl, fr, rl, rr } = wheels;
    if front { ByWheel { fl, fr, rl: false, rr: false } } else { ByWheel { fl: false, fr: false, rl, rr } }
}

/// Something fixed in the body: then in the body's frame, now in the rig's.
type ThenAndNow = (Vector<Rig>, Vector<Rig>);

/// Directions and points fixed in the body, as many as four wheels have.
#[derive(Default)]
struct Fixed {
    /// Σ then·nowᵀ of the directions.
    directions: Matrix3<f64>,
    points: [Option<ThenAndNow>; 4],
}

/// So many steps at most: each squares what the one before left over.
const STEPS: usize = 6;
/// What a step shorter than this leaves over, in radians, is rounding.
const SETTLED: f64 = 1e-8;

impl Fixed {
    fn direction(&mut self, (then, now): ThenAndNow) {
        self.directions += outer(then, now);
    }

    /// A fifth point is left out: a car has four wheels.
    fn point(&mut self, point: ThenAndNow) {
        if let Some(free) = self.points.iter_mut().find(|place| place.is_none()) {
            *free = Some(point);
        }
    }

    fn points(&self) -> impl Iterator<Item = &ThenAndNow> {
        self.points.iter().flatten()
    }

    /// The motion from now to then, by least squares: directions as points `lever_mm` away. `near` is a rotation not far from it.
    ///
    /// With H = Σ then·nowᵀ the rotation R that makes tr(R·Hᵀ) greatest. A turn δ of R changes it by δ·g − δᵀAδ/2, where N = R·Hᵀ, g is
    /// the skew part of N and A = tr(N)·1 − (N + Nᵀ)/2: Newton's step is A⁻¹g. None when what is fixed leaves a turn free.
    fn motion(&self, near: &Matrix3<f64>, lever_mm: f64) -> Option<Transform<Rig, Rig>> {
        let count = self.points().fold(0.0, |count, _| count + 1.0);
        if count == 0.0 {
            return None;
        }
        let share = 1.0 / count;
        let then = self.points().map(|point| point.0).sum::<Vector<Rig>>() * share;
        let now = self.points().map(|point| point.1).sum::<Vector<Rig>>() * share;
        let mut sum = self.directions;
        for point in self.points() {
            sum += outer(point.0 - then, point.1 - now) * (1.0 / (lever_mm * lever_mm));
        }
        let mut rotation = *near;
        for _ in 0..STEPS {
            let turned = rotation * sum.transpose();
            let skew = Vector::<Rig>::new([
                turned[(1, 2)] - turned[(2, 1)],
                turned[(2, 0)] - turned[(0, 2)],
                turned[(0, 1)] - turned[(1, 0)],
            ]);
            let curvature = Matrix3::identity() * turned.trace() - (turned + turned.transpose()) * 0.5;
            let step = solved(&curvature, skew)?;
            rotation = cayley(step) * rotation;
            if step.dot(step) < SETTLED * SETTLED {
                break;
            }
        }
        let turn = Transform::<Rig, Rig>::from_parts(rotation, Vector::zero());
        Some(Transform::from_parts(rotation, then - turn.direction(now)))
    }
}

/// The rotation that takes one pair of directions to another: the first exactly, the second as nearly as the angle between them allows.
fn from_two([then, then_too]: [Vector<Rig>; 2], [now, now_too]: [Vector<Rig>; 2]) -> Matrix3<f64> {
    let axes = |a: Vector<Rig>, b: Vector<Rig>| {
        let (first, second) = (a.unit(), b.square_to(a.unit()).unit());
        Transform::<Rig, Rig>::from_axes([first, second, first.cross(second)], Vector::zero()).rotation
    };
    axes(then, then_too) * axes(now, now_too).transpose()
}

/// a·bᵀ.
fn outer(a: Vector<Rig>, b: Vector<Rig>) -> Matrix3<f64> {
    nalgebra::Vector3::from(a.to_array()) * nalgebra::RowVector3::from(b.to_array())
}

/// A⁻¹·v of a symmetric matrix, by its adjugate; None when it has next to no inverse.
fn solved(matrix: &Matrix3<f64>, v: Vector<Rig>) -> Option<Vector<Rig>> {
    let [a, b, c] = matrix.data.0.map(Vector::<Rig>::new);
    let [bc, ca, ab] = [b.cross(c), c.cross(a), a.cross(b)];
    let determinant = a.dot(bc);
    let solution = Vector::new([bc.dot(v), ca.dot(v), ab.dot(v)]);
    (determinant > 1e-9).then(|| solution * (1.0 / determinant))
}

/// Cayley's rotation about a vector by nearly its length: exactly a rotation, whatever the length.
fn cayley(step: Vector<Rig>) -> Matrix3<f64> {
    let [x, y, z] = (step * 0.5).to_array();
    let cross = Matrix3::new(0.0, -z, y, z, 0.0, -x, -y, x, 0.0);
    let share = 2.0 / (1.0 + x * x + y * y + z * z);
    Matrix3::identity() + (cross + cross * cross) * share
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pose;
    use nalgebra::Rotation3;

    fn matrix(turn: [f64; 3]) -> Matrix3<f64> {
        Rotation3::new(nalgebra::Vector3::from(turn)).into_inner()
    }

    #[test]
    fn the_motion_is_the_nearest_rotation_of_the_sum() {
        let (truth, near) = (matrix([0.3, -0.2, 0.9]), matrix([0.28, -0.23, 0.95]));
        let points = [[0.0, 0.0, 0.0], [0.0, 1500.0, 10.0], [2600.0, 20.0, -15.0]].map(Vector::<Rig>::new);
        let scatter = [[0.3, 0.1, -0.2], [-0.1, 0.2, 0.4], [0.2, -0.3, 0.1]].map(Vector::<Rig>::new);
        let to_now = Transform::<Rig, Rig>::from_parts(truth.transpose(), Vector::new([100.0, -50.0, 30.0]));
        let mut fixed = Fixed::default();
        let mut sum = Matrix3::zeros();
        let now = [0, 1, 2].map(|i: usize| to_now.point(points[i]) + scatter[i]);
        let mean = |of: [Vector<Rig>; 3]| of.into_iter().sum::<Vector<Rig>>() * (1.0 / 3.0);
        for i in 0..3 {
            fixed.point((points[i], now[i]));
            sum += outer(points[i] - mean(points), now[i] - mean(now)) / (573.0 * 573.0);
        }
        for axis in [[1.0, 0.0, 0.0], [0.0, 0.6, 0.8]].map(Vector::<Rig>::new) {
            let seen = (to_now.direction(axis) + Vector::new([1e-3, -2e-3, 5e-4])).unit();
            fixed.direction((axis, seen));
            sum += outer(axis, seen);
        }
        let found = fixed.motion(&near, 573.0).unwrap();
        assert!((found.rotation - pose::nearest_rotation(&sum).unwrap()).norm() < 1e-13);
        assert!((found.point(mean(now)) - mean(points)).norm() < 1e-10);
    }

    #[test]
    fn one_direction_and_one_point_leave_a_turn_free() {
        let mut fixed = Fixed::default();
        assert_eq!(fixed.motion(&Matrix3::identity(), 573.0), None);
        let up = Vector::<Rig>::new([0.0, 0.0, 1.0]);
        fixed.point((up, up));
        fixed.direction((up, up));
        assert_eq!(fixed.motion(&Matrix3::identity(), 573.0), None);
    }

    #[test]
    fn two_directions_give_a_rotation() {
        let turn = matrix([0.4, 1.0, -0.7]);
        let to_now = Transform::<Rig, Rig>::from_parts(turn.transpose(), Vector::zero());
        let then = [[0.1, 0.2, 1.0], [0.0, -1500.0, 3.0]].map(Vector::<Rig>::new);
        let found = from_two(then, then.map(|direction| to_now.direction(direction)));
        assert!((found - turn).norm() < 1e-14);
    }
}
