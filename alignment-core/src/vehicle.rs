//! Four wheels together: the vehicle's own frame, thrust line, setback and dimensions.
//!
//! # The frame
//! z is the datum's normal. x is horizontal, along the centreline: by default from the midpoint of the rear wheel centres to
//! the midpoint of the front ones. y = z × x. The origin is the midpoint of the rear wheel centres. Wheel centres move
//! about the steering axis when steered, so the frame is built once, straight ahead, and kept. Every projection is taken
//! in it: on a car that stands 1° askew on the rack, an SAI of 13° would read as 0.23° of false caster in the rig frame.
//!
//! # The standoff
//! Camber, total toe and front toe to the thrust line do not depend on the clamp standoff. The centreline does: 1 mm on one
//! wheel turns it by 0.011° on a wheelbase of 2.6 m, and with it toe to the centreline, thrust angle and setback.

use crate::compensation::{Compensation, MAX_SPINDLE_SKEW_DEG};
use crate::error::{Error, ErrorCode, Stage};
use crate::frame::{Rig, Transform, Vector, Vehicle};
use crate::lanes::Real;
use crate::layout::{ByAxle, ByWheel, Side, Wheel};
use crate::pose::Pose;
use crate::session::{self, Centreline};
use crate::units::{atan2_deg, hypot, rad_from_deg, within_half_turn_deg};
use crate::wheel::{self, WheelInRig, WheelReadings};

/// The least and greatest wheelbase, mm, on each side.
pub const WHEELBASE_RANGE_MM: [f64; 2] = [500.0, 12_000.0];
/// The least and greatest track, mm.
pub const TRACK_RANGE_MM: [f64; 2] = [300.0, 4000.0];
/// The greatest difference between the wheelbases of the two sides, or the tracks of the two axles, mm.
const MAX_DIFFERENCE_MM: f64 = 1000.0;
/// The cosine of [`MAX_SPINDLE_SKEW_DEG`].
const LEAST_LATERAL: f64 = 0.5;

/// The readings of one axle.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct AxleReadings {
    /// Total toe: the sum of both wheels' toe, positive toe-in.
    pub total_toe_deg: Option<f64>,
    /// Camber, left minus right.
    pub cross_camber_deg: Option<f64>,
    /// Track between wheel centres, along the vehicle's y axis.
    pub track_mm: Option<f64>,
    /// Track between contact centres, along the vehicle's y axis (ISO 8855's track).
    pub track_at_ground_mm: Option<f64>,
    /// Setback as an angle: atan(setback_mm / track_mm); positive with the right wheel further rearward.
    pub setback_deg: Option<f64>,
    /// Setback: x of the left wheel centre minus x of the right one; positive with the right wheel further rearward.
    pub setback_mm: Option<f64>,
}

/// The readings of the chassis.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct ChassisReadings {
    /// Thrust angle: (rear left toe − rear right toe)/2; positive when the thrust line points to the right of the centreline.
    pub thrust_angle_deg: Option<f64>,
    /// Wheelbase on the left, along the vehicle's x axis.
    pub wheelbase_left_mm: Option<f64>,
    /// Wheelbase on the right, along the vehicle's x axis.
    pub wheelbase_right_mm: Option<f64>,
    /// Wheelbase, left minus right.
    pub wheelbase_difference_mm: Option<f64>,
    /// Diagonal from the front left to the rear right wheel centre, in the reference plane.
    pub diagonal_fl_rr_mm: Option<f64>,
    /// Diagonal from the front right to the rear left wheel centre, in the reference plane.
    pub diagonal_fr_rl_mm: Option<f64>,
    /// Diagonals, fl–rr minus fr–rl.
    pub diagonal_difference_mm: Option<f64>,
    /// Track between wheel centres, front minus rear.
    pub track_difference_mm: Option<f64>,
    /// Axle offset: the rear midpoint from the line through the front midpoint square to the front axle line; positive to the left.
    pub axle_offset_mm: Option<f64>,
}

/// What four poses show straight ahead: the wheels, the axles, the chassis, and where the vehicle stands in the rig.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
pub struct AheadReadings {
    /// Per wheel.
    pub wheels: ByWheel<WheelReadings>,
    /// Per axle.
    pub axles: ByAxle<AxleReadings>,
    /// The whole.
    pub chassis: ChassisReadings,
    /// The axes of the vehicle frame seen in the rig (in the columns) and its origin: `rig_from_vehicle`.
    pub rig_from_vehicle: Pose,
}

/// One reading from four poses: camber, toe, thrust line, setback and dimensions of a car that stands straight ahead.
///
/// `up` is the unit vector upward in the rig frame. `loaded_radius_mm` is needed for the track at the ground alone; the rolling
/// radius stands in for it. Nothing is allocated.
///
/// Total toe = sum of both toes. Thrust angle = (toe_RL − toe_RR)/2, to the right positive. Front toe is to the thrust line:
/// toe_FL − thrust and toe_FR + thrust. The rest is in the [module](self) and at each field.
///
/// # Errors
/// Those of the poses; [`ErrorCode::NotFinite`] and [`ErrorCode::NotUnitLength`] of `up` and of a compensation;
/// [`ErrorCode::LengthOutOfRange`] for a radius, wheelbase or track that no car has; [`ErrorCode::DifferentVehicles`] for tracks or
/// wheelbases that differ by more than a metre; [`ErrorCode::SpindleNotLateral`] for a spindle more than 60° from the vehicle's y axis;
/// [`ErrorCode::SidesSwapped`] for one axle, and [`ErrorCode::Mirrored`] when left, right, front, rear and up do not fit together.
///
/// ```
/// # use alignment_core::session::{ByAxle, ByWheel, Centreline, RollingBody};
/// # use alignment_core::{compensation, measure, simulate::VirtualVehicle, vehicle};
/// let session = VirtualVehicle::default().session();
/// let (up, body) = (session.up.unwrap(), RollingBody::Translates);
/// let rolled = compensation::from_rolling(&session.rolling, up, &session.clamp_standoff_mm, &ByAxle::default(), body)?;
/// let poses = ByWheel::from_fn(|wheel| session.ahead.get(wheel).frames()[0]);
/// let now = vehicle::ahead_readings(&rolled.all_wheels()?, &poses, up, &ByAxle::default(), Centreline::AxleMidpoints)?;
/// assert_eq!(now.wheels.fl.camber_deg, measure(&session)?.alignment.wheels.fl.camber_deg);
/// # Ok::<(), alignment_core::Error>(())
/// ```
// Inlined where it is called, so that the readings go straight to where they are wanted.
#[inline(always)]
pub fn ahead_readings(
    compensation: &ByWheel<Compensation>,
    poses: &ByWheel<Pose>,
    up: [f64; 3],
    loaded_radius_mm: &ByAxle<Option<f64>>,
    centreline: Centreline,
) -> Result<AheadReadings, Error> {
    let up = session::up_in_rig(up)?;
    session::check_loaded_radii(loaded_radius_mm)?;
    for wheel in Wheel::ALL {
        compensation.get(wheel).check().map_err(|error| error.wheel(wheel))?;
    }
    // Wheel by wheel: through a closure for all of them this would not be inlined.
    let ByWheel { fl, fr, rl, rr } = poses;
    let wheels = if fl.is_exact() && fr.is_exact() && rl.is_exact() && rr.is_exact() {
        ByWheel {
            fl: wheel::locate(&compensation.fl, &fl.as_it_is()),
            fr: wheel::locate(&compensation.fr, &fr.as_it_is()),
            rl: wheel::locate(&compensation.rl, &rl.as_it_is()),
            rr: wheel::locate(&compensation.rr, &rr.as_it_is()),
        }
    } else {
        ByWheel::try_from_fn(|wheel| {
            let pose = poses.get(wheel).rig_from_target().map_err(|error| error.stage(Stage::Ahead).wheel(wheel))?;
            Ok(wheel::locate(compensation.get(wheel), &pose))
        })?
    };
    let stand = Stand::find(compensation, &wheels, up, loaded_radius_mm, centreline);
    stand.check_layout()?;
    Ok(stand.readings(compensation))
}

/// A car that stands straight ahead: where it stands in the rig, and its wheels in its own frame.
pub(crate) struct Stand<T = f64> {
    rig_from_vehicle: Transform<Rig, Vehicle, T>,
    pub(crate) vehicle_from_rig: Transform<Vehicle, Rig, T>,
    pub(crate) centres: ByWheel<Vector<Vehicle, T>>,
    pub(crate) spindles: ByWheel<Vector<Vehicle, T>>,
    /// Of the wheel under load, or rolling.
    radii_mm: ByWheel<Option<T>>,
}

impl<T: Real> Stand<T> {
    #[inline(always)]
    pub(crate) fn of(
        wheels: &ByWheel<WheelInRig<T>>,
        up: Vector<Rig, T>,
        radii_mm: ByWheel<Option<T>>,
        centreline: Centreline,
    ) -> Self {
        let rig_from_vehicle = rig_from_vehicle(wheels, up, centreline);
        let vehicle_from_rig = rig_from_vehicle.inverse();
        let ByWheel { fl, fr, rl, rr } = wheels;
        let centres = ByWheel {
            fl: vehicle_from_rig.point(fl.centre),
            fr: vehicle_from_rig.point(fr.centre),
            rl: vehicle_from_rig.point(rl.centre),
            rr: vehicle_from_rig.point(rr.centre),
        };
        let spindles = ByWheel {
            fl: vehicle_from_rig.direction(fl.spindle),
            fr: vehicle_from_rig.direction(fr.spindle),
            rl: vehicle_from_rig.direction(rl.spindle),
            rr: vehicle_from_rig.direction(rr.spindle),
        };
        Self { rig_from_vehicle, vehicle_from_rig, centres, spindles, radii_mm }
    }

    /// Contact centre; None when neither radius is known.
    #[inline(always)]
    pub(crate) fn contact(&self, wheel: Wheel) -> Option<Vector<Vehicle, T>> {
        let radius = (*self.radii_mm.get(wheel))?;
        Some(wheel::contact_centre_of(*self.centres.get(wheel), *self.spindles.get(wheel), radius))
    }

    /// Whether a car can have these wheels.
    #[inline(always)]
    pub(crate) fn is_a_car(&self) -> T::Truth {
        let Layout { tracks: [front, rear], wheelbases: [left, right] } = self.layout();
        let ByWheel { fl, fr, rl, rr } = &self.spindles;
        let (alike, lateral) = ([-MAX_DIFFERENCE_MM, MAX_DIFFERENCE_MM], [LEAST_LATERAL, f64::INFINITY]);
        front.within(TRACK_RANGE_MM)
            & rear.within(TRACK_RANGE_MM)
            & left.within(WHEELBASE_RANGE_MM)
            & right.within(WHEELBASE_RANGE_MM)
            & (front - rear).within(alike)
            & (left - right).within(alike)
            & (fl.y().within(lateral) & rl.y().within(lateral))
            & ((-fr.y()).within(lateral) & (-rr.y()).within(lateral))
    }

    #[inline(always)]
    fn layout(&self) -> Layout<T> {
        let ByWheel { fl, fr, rl, rr } = self.centres;
        Layout { tracks: [(fl - fr).y(), (rl - rr).y()], wheelbases: [(fl - rl).x(), (fr - rr).x()] }
    }
}

/// How far the wheels stand apart: front and rear, left and right.
struct Layout<T> {
    tracks: [T; 2],
    wheelbases: [T; 2],
}

impl Stand {
    #[inline]
    pub(crate) fn find(
        compensation: &ByWheel<Compensation>,
        wheels: &ByWheel<WheelInRig>,
        up: Vector<Rig>,
        loaded_radius_mm: &ByAxle<Option<f64>>,
        centreline: Centreline,
    ) -> Self {
        let radii_mm =
            ByWheel::from_fn(|wheel| loaded_radius_mm.of_wheel(wheel).or(compensation.get(wheel).rolling_radius_mm));
        Self::of(wheels, up, radii_mm, centreline)
    }

    /// Refuses wheels that no car has.
    #[inline]
    pub(crate) fn check_layout(&self) -> Result<(), Error> {
        if self.is_a_car() { Ok(()) } else { Err(self.fault(self.layout())) }
    }

    /// Which length or spindle no car has, or that left and right are exchanged.
    #[cold]
    fn fault(&self, Layout { tracks: [front, rear], wheelbases: [left, right] }: Layout<f64>) -> Error {
        if front < 0.0 && rear < 0.0 {
            return Error::new(ErrorCode::Mirrored).stage(Stage::Ahead);
        }
        // One axle whose targets are exchanged.
        for (track, other, wheel) in [(front, rear, Wheel::Fl), (rear, front, Wheel::Rl)] {
            if track < 0.0 && other > 0.0 {
                return Error::new(ErrorCode::SidesSwapped).stage(Stage::Ahead).wheel(wheel);
            }
        }
        let length = [
            ("front track", front, TRACK_RANGE_MM),
            ("rear track", rear, TRACK_RANGE_MM),
            ("left wheelbase", left, WHEELBASE_RANGE_MM),
            ("right wheelbase", right, WHEELBASE_RANGE_MM),
        ]
        .into_iter()
        .find_map(|(name, value, range)| session::check_range(ErrorCode::LengthOutOfRange, name, value, range).err());
        let different = || {
            [("tracks", front - rear), ("wheelbases", left - right)]
                .into_iter()
                .find(|(_, value)| value.abs() > MAX_DIFFERENCE_MM)
                .map(|(name, value)| Error::new(ErrorCode::DifferentVehicles).input(name).value(value.abs()))
                .map(|error| error.at_most(MAX_DIFFERENCE_MM))
        };
        let spindle = || {
            Wheel::ALL.iter().find_map(|&wheel| {
                let spindle = *self.spindles.get(wheel);
                let skew_deg = atan2_deg(hypot(spindle.x(), spindle.z()), spindle.y() * wheel.side().sign());
                let skewed = Error::new(ErrorCode::SpindleNotLateral).value(skew_deg).at_most(MAX_SPINDLE_SKEW_DEG);
                (skew_deg > MAX_SPINDLE_SKEW_DEG).then(|| skewed.wheel(wheel))
            })
        };
        length.or_else(different).or_else(spindle).unwrap_or(Error::new(ErrorCode::NotFinite)).stage(Stage::Ahead)
    }

    #[inline]
    pub(crate) fn readings(&self, compensation: &ByWheel<Compensation>) -> AheadReadings {
        let Figures { camber_deg, toe_to_centreline_deg, toe_deg, axles, chassis } = self.figures();
        let wheels = ByWheel::from_fn(|wheel| {
            let compensation = compensation.get(wheel);
            WheelReadings {
                camber_deg: Some(*camber_deg.get(wheel)),
                toe_deg: Some(*toe_deg.get(wheel)),
                toe_to_centreline_deg: Some(*toe_to_centreline_deg.get(wheel)),
                centre_mm: Some(self.centres.get(wheel).to_array()),
                spindle: Some(self.spindles.get(wheel).to_array()),
                runout_deg: Some(compensation.runout_deg),
                rolling_radius_mm: compensation.rolling_radius_mm,
            }
        });
        let axle = |axle: AxleFigures<f64>| AxleReadings {
            total_toe_deg: Some(axle.total_toe_deg),
            cross_camber_deg: Some(axle.cross_camber_deg),
            track_mm: Some(axle.track_mm),
            track_at_ground_mm: axle.track_at_ground_mm,
            setback_deg: Some(axle.setback_deg),
            setback_mm: Some(axle.setback_mm),
        };
        let [thrust, left, right, left_less_right, fl_rr, fr_rl, diagonals, tracks, offset] = chassis.map(Some);
        let chassis = ChassisReadings {
            thrust_angle_deg: thrust,
            wheelbase_left_mm: left,
            wheelbase_right_mm: right,
            wheelbase_difference_mm: left_less_right,
            diagonal_fl_rr_mm: fl_rr,
            diagonal_fr_rl_mm: fr_rl,
            diagonal_difference_mm: diagonals,
            track_difference_mm: tracks,
            axle_offset_mm: offset,
        };
        let axles = ByAxle { front: axle(axles.front), rear: axle(axles.rear) };
        AheadReadings { wheels, axles, chassis, rig_from_vehicle: self.rig_from_vehicle.into() }
    }
}

/// What the wheels of a car straight ahead show of it.
pub(crate) struct Figures<T> {
    pub(crate) camber_deg: ByWheel<T>,
    pub(crate) toe_deg: ByWheel<T>,
    pub(crate) toe_to_centreline_deg: ByWheel<T>,
    pub(crate) axles: ByAxle<AxleFigures<T>>,
    /// As the fields of [`ChassisReadings`].
    pub(crate) chassis: [T; 9],
}

/// Of one axle, as [`AxleReadings`].
pub(crate) struct AxleFigures<T> {
    pub(crate) total_toe_deg: T,
    pub(crate) cross_camber_deg: T,
    pub(crate) track_mm: T,
    pub(crate) track_at_ground_mm: Option<T>,
    pub(crate) setback_deg: T,
    pub(crate) setback_mm: T,
}

impl<T: Real> Stand<T> {
    #[inline(always)]
    pub(crate) fn figures(&self) -> Figures<T> {
        let ByWheel { fl, fr, rl, rr } = &self.spindles;
        let camber = ByWheel {
            fl: wheel::camber_of(*fl),
            fr: wheel::camber_of(*fr),
            rl: wheel::camber_of(*rl),
            rr: wheel::camber_of(*rr),
        };
        let toe = ByWheel {
            fl: wheel::toe_of(Side::Left, *fl),
            fr: wheel::toe_of(Side::Right, *fr),
            rl: wheel::toe_of(Side::Left, *rl),
            rr: wheel::toe_of(Side::Right, *rr),
        };
        let thrust = thrust_angle(toe.rl, toe.rr);
        let to_thrust_line = |side, toe| toe_to_thrust_line(side, toe, thrust);
        Figures {
            toe_deg: ByWheel { fl: to_thrust_line(Side::Left, toe.fl), fr: to_thrust_line(Side::Right, toe.fr), ..toe },
            axles: ByAxle {
                front: self.axle([Wheel::Fl, Wheel::Fr], &toe, &camber),
                rear: self.axle([Wheel::Rl, Wheel::Rr], &toe, &camber),
            },
            chassis: self.chassis(thrust),
            camber_deg: camber,
            toe_to_centreline_deg: toe,
        }
    }

    #[inline(always)]
    fn axle(&self, [left, right]: [Wheel; 2], toe: &ByWheel<T>, camber: &ByWheel<T>) -> AxleFigures<T> {
        let across = *self.centres.get(left) - *self.centres.get(right);
        AxleFigures {
            total_toe_deg: *toe.get(left) + *toe.get(right),
            cross_camber_deg: *camber.get(left) - *camber.get(right),
            track_mm: across.y(),
            track_at_ground_mm: match (self.contact(left), self.contact(right)) {
                (Some(left), Some(right)) => Some(left.y() - right.y()),
                _ => None,
            },
            setback_deg: across.x().atan2_deg(across.y()),
            setback_mm: across.x(),
        }
    }

    #[inline(always)]
    fn chassis(&self, thrust_angle_deg: T) -> [T; 9] {
        let ByWheel { fl, fr, rl, rr } = self.centres;
        let (left, right) = (fl.x() - rl.x(), fr.x() - rr.x());
        let (fl_rr, fr_rl) = (diagonal(fl, rr), diagonal(fr, rl));
        let front_axle = (fl - fr).square_to(wheel::up_like(fl.x())).unit();
        let half = fl.x().like(0.5);
        let rear_from_front = (rl + rr) * half - (fl + fr) * half;
        let track_difference = (fl - fr).y() - (rl - rr).y();
        let axle_offset = rear_from_front.dot(front_axle);
        let diagonal_difference = fl_rr - fr_rl;
        [thrust_angle_deg, left, right, left - right, fl_rr, fr_rl, diagonal_difference, track_difference, axle_offset]
    }
}

/// What remains when not all four wheels are seen straight ahead, and the vehicle has no frame: camber, total toe and cross camber need
/// only the datum's normal, runout and rolling radius only the rolling. Refuses a wheel that lies flat.
pub(crate) fn without_frame(
    compensation: &ByWheel<Option<Compensation>>,
    wheels: &ByWheel<Option<WheelInRig>>,
    up: Vector<Rig>,
) -> Result<(ByWheel<WheelReadings>, ByAxle<AxleReadings>), Error> {
    // Any level axes will do: camber and the sum of both toes are the same in all of them.
    let level = up.any_square();
    let vehicle_from_rig = Transform::<Rig, Vehicle>::from_axes([level, up.cross(level), up], Vector::zero()).inverse();
    let spindle = |wheel: Wheel| wheels.get(wheel).map(|wheel| vehicle_from_rig.direction(wheel.spindle));
    for wheel in Wheel::ALL {
        let rise_deg = spindle(wheel).map_or(0.0, |spindle| wheel::camber_of(spindle).abs());
        if rise_deg > MAX_SPINDLE_SKEW_DEG {
            let error = Error::new(ErrorCode::SpindleNotLateral).stage(Stage::Ahead).wheel(wheel);
            return Err(error.value(rise_deg).at_most(MAX_SPINDLE_SKEW_DEG));
        }
    }
    let readings = ByWheel::from_fn(|wheel| {
        let compensation = compensation.get(wheel);
        WheelReadings {
            camber_deg: spindle(wheel).map(wheel::camber_of),
            runout_deg: compensation.map(|compensation| compensation.runout_deg),
            rolling_radius_mm: compensation.and_then(|compensation| compensation.rolling_radius_mm),
            ..WheelReadings::default()
        }
    });
    let axle = |left: Wheel, right: Wheel| {
        let both = spindle(left).zip(spindle(right));
        let total_toe_deg = both.map(|(left, right)| {
            let toe = wheel::toe_of(Side::Left, left) + wheel::toe_of(Side::Right, right);
            within_half_turn_deg(toe)
        });
        let cross_camber_deg = both.map(|(left, right)| wheel::camber_of(left) - wheel::camber_of(right));
        AxleReadings { total_toe_deg, cross_camber_deg, ..AxleReadings::default() }
    };
    Ok((readings, ByAxle { front: axle(Wheel::Fl, Wheel::Fr), rear: axle(Wheel::Rl, Wheel::Rr) }))
}

/// The vehicle frame of the [module](self).
#[inline(always)]
fn rig_from_vehicle<T: Real>(
    wheels: &ByWheel<WheelInRig<T>>,
    up: Vector<Rig, T>,
    centreline: Centreline,
) -> Transform<Rig, Vehicle, T> {
    let (fl, fr, rl, rr) = (wheels.fl.centre, wheels.fr.centre, wheels.rl.centre, wheels.rr.centre);
    let half = up.x().like(0.5);
    let rear = (rl + rr) * half;
    let forward = match centreline {
        Centreline::AxleMidpoints => (fl + fr) * half - rear,
        Centreline::SideLineBisector => (fl - rl).square_to(up).unit() + (fr - rr).square_to(up).unit(),
    };
    let x = forward.square_to(up).unit();
    Transform::from_axes([x, up.cross(x), up], rear)
}

/// Thrust angle in degrees, positive when the thrust line points to the right of the centreline:
/// (toe of the rear left wheel − toe of the rear right wheel)/2. NaN in gives NaN out.
///
/// ```
/// # use alignment_core::vehicle::thrust_angle_deg;
/// assert!((thrust_angle_deg(0.30, -0.10) - 0.20).abs() < 1e-15);
/// ```
#[must_use]
pub fn thrust_angle_deg(rear_left_toe_deg: f64, rear_right_toe_deg: f64) -> f64 {
    thrust_angle(rear_left_toe_deg, rear_right_toe_deg)
}

/// The distance of two wheel centres in the reference plane.
#[inline(always)]
fn diagonal<T: Real>(a: Vector<Vehicle, T>, b: Vector<Vehicle, T>) -> T {
    (a.x() - b.x()).hypot(a.y() - b.y())
}

/// How far from straight ahead the front wheels stand, left positive, from the toe of both.
#[inline(always)]
pub(crate) fn ahead_error<T: Real>(left_toe_deg: T, right_toe_deg: T) -> T {
    (right_toe_deg - left_toe_deg) / left_toe_deg.like(2.0)
}

#[inline(always)]
fn thrust_angle<T: Real>(rear_left_toe_deg: T, rear_right_toe_deg: T) -> T {
    (rear_left_toe_deg - rear_right_toe_deg) / rear_left_toe_deg.like(2.0)
}

/// A front wheel's toe to the thrust line in degrees, positive toe-in: toe_FL − thrust on the left, toe_FR + thrust on the
/// right. Total toe is the same to either line. NaN in gives NaN out.
///
/// ```
/// # use alignment_core::{Side, vehicle::toe_to_thrust_line_deg};
/// assert!((toe_to_thrust_line_deg(Side::Left, 0.25, 0.10) - 0.15).abs() < 1e-15);
/// assert!((toe_to_thrust_line_deg(Side::Right, 0.25, 0.10) - 0.35).abs() < 1e-15);
/// ```
#[must_use]
pub fn toe_to_thrust_line_deg(side: Side, toe_to_centreline_deg: f64, thrust_angle_deg: f64) -> f64 {
    toe_to_thrust_line(side, toe_to_centreline_deg, thrust_angle_deg)
}

#[inline(always)]
fn toe_to_thrust_line<T: Real>(side: Side, toe_to_centreline_deg: T, thrust_angle_deg: T) -> T {
    toe_to_centreline_deg - thrust_angle_deg.like(side.sign()) * thrust_angle_deg
}

/// Dog tracking in mm: how far the rear axle runs beside the track of the front one, positive to the right: wheelbase·tan(thrust angle).
///
/// The car travels along its thrust line. With a positive thrust angle, in degrees, that line points to the right of the centreline; the
/// front axle, which lies on the centreline, is then to the left of it, and the rear runs to the right of the front. Measured square to
/// the centreline; square to the travel it is wheelbase·sin(thrust angle), 0.02 % less at 1°.
///
/// # Errors
/// [`ErrorCode::NotFinite`]; [`ErrorCode::LengthOutOfRange`] for a wheelbase outside 500 to 12000 mm; [`ErrorCode::AngleOutOfRange`] for
/// a thrust angle beyond ± 45°.
///
/// ```
/// # use alignment_core::vehicle::dog_tracking_offset_mm;
/// assert!((dog_tracking_offset_mm(2600.0, 1.0)? - 45.38).abs() < 0.01);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn dog_tracking_offset_mm(wheelbase_mm: f64, thrust_angle_deg: f64) -> Result<f64, Error> {
    session::check_range(ErrorCode::LengthOutOfRange, "wheelbase_mm", wheelbase_mm, WHEELBASE_RANGE_MM)?;
    session::check_range(ErrorCode::AngleOutOfRange, "thrust_angle_deg", thrust_angle_deg, [-45.0, 45.0])?;
    Ok(wheelbase_mm * libm::tan(rad_from_deg(thrust_angle_deg)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_rear_runs_to_the_side_to_which_the_thrust_line_points() {
        // Rear wheels that both point right: left toe-in, right toe-out.
        let thrust = thrust_angle_deg(1.0, -1.0);
        assert!(dog_tracking_offset_mm(2600.0, thrust).unwrap() > 0.0);
        let (right, left) = (dog_tracking_offset_mm(2600.0, 0.3), dog_tracking_offset_mm(2600.0, -0.3));
        assert!((right.unwrap() + left.unwrap()).abs() < 1e-12);
    }

    #[test]
    fn what_is_no_wheelbase_or_thrust_angle_is_refused_by_its_name() {
        let error = dog_tracking_offset_mm(2.6, 1.0).unwrap_err();
        assert_eq!((error.code, error.input), (ErrorCode::LengthOutOfRange, Some("wheelbase_mm")));
        let error = dog_tracking_offset_mm(2600.0, 90.0).unwrap_err();
        assert_eq!((error.code, error.input), (ErrorCode::AngleOutOfRange, Some("thrust_angle_deg")));
        assert_eq!(dog_tracking_offset_mm(2600.0, f64::NAN).unwrap_err().code, ErrorCode::NotFinite);
    }

    /// A rear axle so askew that one side is more than a metre longer than the other, whichever it is.
    #[test]
    fn wheelbases_too_different_are_no_car() {
        let up = Vector::<Rig>::new([0.0, 0.0, 1.0]);
        let stand = |askew_mm: f64| {
            let wheels = ByWheel::from_fn(|wheel| {
                let side = wheel.side().sign();
                let x = if wheel.end_sign() > 0.0 { 2600.0 } else { side * askew_mm / 2.0 };
                WheelInRig { spindle: Vector::new([0.0, side, 0.0]), centre: Vector::new([x, side * 750.0, 300.0]) }
            });
            Stand::of(&wheels, up, ByWheel::default(), Centreline::AxleMidpoints)
        };
        for askew_mm in [-1001.0, 1001.0] {
            let error = stand(askew_mm).check_layout().unwrap_err();
            assert_eq!((error.code, error.input), (ErrorCode::DifferentVehicles, Some("wheelbases")));
            assert!((error.value.unwrap() - 1001.0).abs() < 1e-9);
        }
        assert!([-999.0, 999.0].map(stand).iter().all(|stand| stand.check_layout().is_ok()));
    }
}
