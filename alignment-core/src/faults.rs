//! The faults of a virtual vehicle: parts that are bent or shifted, and cameras that see nothing. Each moves wheels and steering axes as rigid
//! bodies; what the car then is, is told by the same numbers as a sound one.

use crate::frame::{Vector, Vehicle};
use crate::layout::{ByWheel, Wheel};
use crate::session::{Session, Sighting, Stage, Station};
use crate::simulate::{FORWARD, UP, VirtualAxle, VirtualVehicle, VirtualWheel, turn_about};
use crate::units::{atan2_deg, hypot, rad_from_deg};
use alloc::borrow::Cow;
use alloc::vec::Vec;

/// How high above the ground a virtual knuckle hangs on its lower and its upper pivot, mm: as that of a strut.
pub const PIVOT_HEIGHTS_MM: [f64; 2] = [200.0, 800.0];

/// What is wrong with a virtual car. By default nothing is.
#[derive(Debug, Clone, PartialEq, Default)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(deny_unknown_fields, default))]
pub struct Faults {
    /// Bent knuckles or spindles; at the rear stub axles.
    pub bent_knuckles: Vec<BentKnuckle>,
    /// Bent steering arms.
    pub bent_steering_arms: Vec<BentSteeringArm>,
    /// Pivots of a front knuckle that stand elsewhere: by a bent arm, a strut rod that gave, a strut tower that moved.
    pub shifted_pivots: Vec<ShiftedPivot>,
    /// The front subframe, and with it both lower pivots.
    pub shifted_subframe: AxleShift,
    /// The rear axle with both wheels.
    pub shifted_rear_axle: AxleShift,
    /// Cameras that see nothing.
    pub dead_cameras: Vec<DeadCamera>,
}

/// A fault: a knuckle or spindle that is bent. The spindle turns against the steering axis, about the wheel centre; the axis stays where it is.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(deny_unknown_fields))]
pub struct BentKnuckle {
    /// At which wheel. At a rear wheel it is the stub axle.
    pub wheel: Wheel,
    /// By how much the camber grows, degrees. The included angle grows by as much.
    pub camber_deg: f64,
    /// By how much the toe grows, degrees.
    pub toe_deg: f64,
}

/// A fault: a steering arm that is bent, so that its wheel is steered further than the linkage asks, or less. Toe is set right again.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(deny_unknown_fields))]
pub struct BentSteeringArm {
    /// At which wheel; a rear wheel has none.
    pub wheel: Wheel,
    /// By which share of the sound turn the knuckle turns further about its axis: 0.05 is 5 % more, −0.05 is less.
    pub more_turn_share: f64,
}

/// An end of the line about which a knuckle turns.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(rename_all = "lowercase"))]
pub enum PivotEnd {
    /// The lower ball joint, on the control arm.
    Lower,
    /// The upper ball joint, or the mount of the strut in its tower.
    Upper,
}

/// A fault: one pivot of a front knuckle stands elsewhere. The knuckle with its spindle leans about the other pivot, by the shortest turn, and
/// the included angle stays. The pivots lie on the steering axis, at the heights [`PIVOT_HEIGHTS_MM`]; a lower arm pushed back by a kerb is
/// `Lower` with a negative `forward_mm`.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(deny_unknown_fields))]
pub struct ShiftedPivot {
    /// At which wheel; a rear wheel has none.
    pub wheel: Wheel,
    /// Which pivot.
    pub end: PivotEnd,
    /// How far forward it has moved, mm.
    pub forward_mm: f64,
    /// How far to the left it has moved, mm.
    pub left_mm: f64,
}

/// A fault: a subframe, or an axle, that stands elsewhere under the car.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(deny_unknown_fields, default))]
pub struct AxleShift {
    /// How far forward it has moved, mm.
    pub forward_mm: f64,
    /// How far to the left it has moved, mm.
    pub left_mm: f64,
    /// How far it has turned to the left about its middle, seen from above, degrees.
    pub turn_deg: f64,
}

/// A fault: a camera that does not see a wheel.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(deny_unknown_fields))]
pub struct DeadCamera {
    /// Which wheel.
    pub wheel: Wheel,
    /// In which group of stations; they are taken in the order rolling, ahead, sweep, lock to the left, lock to the right.
    pub stage: Stage,
    /// At which station of the group, counted from 0.
    pub station: usize,
    /// Whether it stays dead, at the later stations of the group and in all groups that follow.
    pub onward: bool,
}

impl AxleShift {
    fn is_none(self) -> bool {
        self == Self::default()
    }

    /// Where a point of the axle has gone, given its middle.
    fn point(self, middle: Vector<Vehicle>, point: Vector<Vehicle>) -> Vector<Vehicle> {
        middle + self.direction(point - middle) + Vector::new([self.forward_mm, self.left_mm, 0.0])
    }

    fn direction(self, direction: Vector<Vehicle>) -> Vector<Vehicle> {
        turn_about(UP, rad_from_deg(self.turn_deg), direction)
    }
}

impl DeadCamera {
    fn hides(self, stage: Stage, station: usize) -> bool {
        let (here, from) = ((stage as u8, station), (self.stage as u8, self.station));
        here == from || self.onward && here > from
    }
}

impl Faults {
    fn leave_the_wheels(&self) -> bool {
        let Self { bent_knuckles, shifted_pivots, shifted_subframe, shifted_rear_axle, .. } = self;
        bent_knuckles.is_empty()
            && shifted_pivots.is_empty()
            && shifted_subframe.is_none()
            && shifted_rear_axle.is_none()
    }

    /// How much further than a sound one the knuckle of a wheel turns: the factor.
    pub(crate) fn turn_factor(&self, wheel: Wheel) -> f64 {
        let arms = self.bent_steering_arms.iter().filter(|arm| arm.wheel == wheel);
        1.0 + arms.map(|arm| arm.more_turn_share).sum::<f64>()
    }

    /// Takes out of a session what its cameras did not see.
    pub(crate) fn blind(&self, session: &mut Session) {
        let hide = |stage: Stage, index: usize, station: &mut Station| {
            for camera in self.dead_cameras.iter().filter(|camera| camera.hides(stage, index)) {
                *station.get_mut(camera.wheel) = Sighting::NotSeen;
            }
        };
        for (stage, stations) in [(Stage::Rolling, &mut session.rolling), (Stage::Sweep, &mut session.sweep)] {
            for (index, station) in stations.iter_mut().enumerate() {
                hide(stage, index, station);
            }
        }
        hide(Stage::Ahead, 0, &mut session.ahead);
        for (stage, lock) in [(Stage::LockLeft, &mut session.lock_left), (Stage::LockRight, &mut session.lock_right)] {
            if let Some(station) = lock {
                hide(stage, 0, station);
            }
        }
    }
}

/// A wheel where its faults have put it.
#[derive(Clone, Copy)]
struct Moved {
    centre: Vector<Vehicle>,
    spindle: Vector<Vehicle>,
    /// A point of the steering axis, and its direction upward.
    axis: [Vector<Vehicle>; 2],
}

impl VirtualVehicle {
    /// The car as its faults have left it, told by the numbers of a sound one: in the vehicle frame of the wheels as they now stand, which
    /// stand on the ground as before.
    pub(crate) fn faulted(&self) -> Cow<'_, Self> {
        let faults = &self.faults;
        if faults.leave_the_wheels() {
            return Cow::Borrowed(self);
        }
        let [lower_mm, upper_mm] = PIVOT_HEIGHTS_MM;
        let pivot = |wheel: Wheel, height_mm: f64| {
            let (ground, direction) = self.axis(wheel);
            ground + direction * (height_mm / direction.z())
        };
        let between = |left, right| (left + right) * 0.5;
        let subframe = between(pivot(Wheel::Fl, lower_mm), pivot(Wheel::Fr, lower_mm));
        let rear = between(self.centre(Wheel::Rl), self.centre(Wheel::Rr));
        let moved = ByWheel::from_fn(|wheel| {
            let bent = faults.bent_knuckles.iter().filter(|bent| bent.wheel == wheel);
            let (mut camber_deg, mut toe_deg) = (self.wheel(wheel).camber_deg, self.wheel(wheel).toe_to_centreline_deg);
            for bent in bent {
                camber_deg += bent.camber_deg;
                toe_deg += bent.toe_deg;
            }
            let wheel_as_bent = VirtualWheel { camber_deg, toe_to_centreline_deg: toe_deg, ..*self.wheel(wheel) };
            let (centre, spindle) = (self.centre(wheel), wheel_as_bent.spindle(wheel.side()));
            if matches!(wheel, Wheel::Rl | Wheel::Rr) {
                let shift = faults.shifted_rear_axle;
                return Moved {
                    centre: shift.point(rear, centre),
                    spindle: shift.direction(spindle),
                    axis: [centre, UP],
                };
            }
            let shift = |end: PivotEnd| {
                let of_wheel = faults.shifted_pivots.iter().filter(|pivot| (pivot.wheel, pivot.end) == (wheel, end));
                of_wheel.fold(Vector::zero(), |sum, pivot| sum + Vector::new([pivot.forward_mm, pivot.left_mm, 0.0]))
            };
            let (low, high) = (pivot(wheel, lower_mm), pivot(wheel, upper_mm));
            let low_now = faults.shifted_subframe.point(subframe, low) + shift(PivotEnd::Lower);
            let direction = (high + shift(PivotEnd::Upper) - low_now).unit();
            let lean = |v| leant((high - low).unit(), direction, v);
            Moved { centre: low_now + lean(centre - low), spindle: lean(spindle), axis: [low_now, direction] }
        });
        Cow::Owned(self.told_by(&moved))
    }

    /// The same car with wheels that stand elsewhere.
    fn told_by(&self, moved: &ByWheel<Moved>) -> Self {
        // A new centreline, from midpoint to midpoint.
        let middle = |left: Wheel| (moved.get(left).centre + moved.get(left.opposite()).centre) * 0.5;
        let (front, rear) = (middle(Wheel::Fl), middle(Wheel::Rl));
        let ahead = front - rear;
        let yaw_rad = libm::atan2(ahead.y(), ahead.x());
        let to_new = |v: Vector<Vehicle>| turn_about(UP, -yaw_rad, v);
        let axle = |left: Wheel| {
            let across = to_new(moved.get(left).centre - moved.get(left.opposite()).centre);
            let mut wheels = [left, left.opposite()].map(|wheel| {
                let spindle = to_new(moved.get(wheel).spindle);
                let toe_to_centreline_deg = atan2_deg(spindle.x(), wheel.side().sign() * spindle.y());
                let camber_deg = atan2_deg(-spindle.z(), hypot(spindle.x(), spindle.y()));
                VirtualWheel { camber_deg, toe_to_centreline_deg, ..*self.wheel(wheel) }
            });
            if left == Wheel::Fl {
                for (this, wheel) in wheels.iter_mut().zip([Wheel::Fl, Wheel::Fr]) {
                    // About the wheel centre, which stands as high above the ground as the wheel leans.
                    let Moved { centre, axis: [point, direction], .. } = *moved.get(wheel);
                    let (from_centre, direction) = (to_new(point - centre), to_new(direction));
                    let contact =
                        this.leaning(wheel.side(), Vector::new([0.0, 0.0, -self.axle(wheel).rolling_radius_mm]));
                    let ground = from_centre + direction * ((contact.z() - from_centre.z()) / direction.z());
                    this.caster_deg = atan2_deg(-direction.x(), direction.z());
                    this.sai_deg = atan2_deg(-wheel.side().sign() * direction.y(), direction.z());
                    this.caster_trail_mm = (ground - contact).x();
                    this.scrub_radius_mm = -wheel.side().sign() * (ground - contact).y();
                }
            }
            let [left_wheel, right_wheel] = wheels;
            VirtualAxle {
                left: left_wheel,
                right: right_wheel,
                track_mm: across.y(),
                setback_mm: across.x(),
                ..*self.axle(left)
            }
        };
        let mut car = Self {
            wheelbase_mm: hypot(ahead.x(), ahead.y()),
            front: axle(Wheel::Fl),
            rear: axle(Wheel::Rl),
            ..self.clone()
        };
        // Car and ground stand in the rig as before.
        let raised_mm = self.contact(Wheel::Rl).z() - car.contact(Wheel::Rl).z();
        let origin = Vector::new([rear.x(), rear.y(), raised_mm]);
        let to_rig = self.to_rig();
        car.rig_from_vehicle.translation_mm = to_rig.point(origin).to_array();
        let axes =
            [FORWARD, UP.cross(FORWARD), UP].map(|axis| to_rig.direction(turn_about(UP, yaw_rad, axis)).to_array());
        car.rig_from_vehicle.rotation = core::array::from_fn(|row| core::array::from_fn(|column| axes[column][row]));
        car
    }
}

/// A vector that leans with an axis, by the shortest turn that takes the axis to its new direction.
fn leant(from: Vector<Vehicle>, to: Vector<Vehicle>, v: Vector<Vehicle>) -> Vector<Vehicle> {
    let across = from.cross(to);
    let sin = across.norm();
    if sin == 0.0 { v } else { turn_about(across, libm::atan2(sin, from.dot(to)), v) }
}
