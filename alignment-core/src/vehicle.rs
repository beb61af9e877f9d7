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
use crate::layout::{ByAxle, ByWheel, Side, Wheel};
use crate::pose::Pose;
use crate::session::{self, Centreline};
use crate::units::{atan2_deg, hypot, rad_from_deg};
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
    let wheels = if Wheel::ALL.iter().all(|&wheel| poses.get(wheel).is_exact()) {
        ByWheel::from_fn(|wheel| wheel::locate(compensation.get(wheel), &poses.get(wheel).as_it_is()))
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
pub(crate) struct Stand {
    rig_from_vehicle: Transform<Rig, Vehicle>,
    pub(crate) vehicle_from_rig: Transform<Vehicle, Rig>,
    pub(crate) centres: ByWheel<Vector<Vehicle>>,
    pub(crate) spindles: ByWheel<Vector<Vehicle>>,
    radii_mm: ByWheel<Option<f64>>,
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
        let rig_from_vehicle = rig_from_vehicle(wheels, up, centreline);
        let vehicle_from_rig = rig_from_vehicle.inverse();
        let centres = ByWheel::from_fn(|wheel| vehicle_from_rig.point(wheels.get(wheel).centre));
        let spindles = ByWheel::from_fn(|wheel| vehicle_from_rig.direction(wheels.get(wheel).spindle));
        let radii_mm =
            ByWheel::from_fn(|wheel| loaded_radius_mm.of_wheel(wheel).or(compensation.get(wheel).rolling_radius_mm));
        Self { rig_from_vehicle, vehicle_from_rig, centres, spindles, radii_mm }
    }

    /// Contact centre; None when neither radius is known.
    #[inline]
    pub(crate) fn contact(&self, wheel: Wheel) -> Option<Vector<Vehicle>> {
        let radius = (*self.radii_mm.get(wheel))?;
        Some(wheel::contact_centre_of(*self.centres.get(wheel), *self.spindles.get(wheel), radius))
    }

    /// Refuses wheels that no car has.
    #[inline]
    pub(crate) fn check_layout(&self) -> Result<(), Error> {
        let ByWheel { fl, fr, rl, rr } = self.centres;
        let (front, rear) = ((fl - fr).y(), (rl - rr).y());
        let (left, right) = ((fl - rl).x(), (fr - rr).x());
        let within = |value: f64, [least, most]: [f64; 2]| least <= value && value <= most;
        let tracks = within(front, TRACK_RANGE_MM) && within(rear, TRACK_RANGE_MM);
        let wheelbases = within(left, WHEELBASE_RANGE_MM) && within(right, WHEELBASE_RANGE_MM);
        let square = (front - rear).abs() <= MAX_DIFFERENCE_MM && (left - right).abs() <= MAX_DIFFERENCE_MM;
        let lateral = Wheel::ALL.iter().all(|&wheel| {
            let across = self.spindles.get(wheel).y() * wheel.side().sign();
            across >= LEAST_LATERAL
        });
        if tracks && wheelbases && square && lateral { Ok(()) } else { Err(self.fault([front, rear], [left, right])) }
    }

    /// Which length or spindle no car has, or that left and right are exchanged.
    #[cold]
    fn fault(&self, [front, rear]: [f64; 2], [left, right]: [f64; 2]) -> Error {
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
        let toe = ByWheel::from_fn(|wheel| wheel::toe_of(wheel.side(), *self.spindles.get(wheel)));
        let camber = ByWheel::from_fn(|wheel| wheel::camber_of(*self.spindles.get(wheel)));
        let thrust = thrust_angle_deg(toe.rl, toe.rr);
        let wheels = ByWheel::from_fn(|wheel| {
            let to_centreline = *toe.get(wheel);
            let to_reference = match wheel {
                Wheel::Fl | Wheel::Fr => toe_to_thrust_line_deg(wheel.side(), to_centreline, thrust),
                Wheel::Rl | Wheel::Rr => to_centreline,
            };
            let compensation = compensation.get(wheel);
            WheelReadings {
                camber_deg: Some(*camber.get(wheel)),
                toe_deg: Some(to_reference),
                toe_to_centreline_deg: Some(to_centreline),
                centre_mm: Some(self.centres.get(wheel).to_array()),
                spindle: Some(self.spindles.get(wheel).to_array()),
                runout_deg: Some(compensation.runout_deg),
                rolling_radius_mm: compensation.rolling_radius_mm,
            }
        });
        let axle = |left: Wheel, right: Wheel| {
            let across = *self.centres.get(left) - *self.centres.get(right);
            let at_ground = self.contact(left).zip(self.contact(right)).map(|(left, right)| left.y() - right.y());
            AxleReadings {
                total_toe_deg: Some(toe.get(left) + toe.get(right)),
                cross_camber_deg: Some(camber.get(left) - camber.get(right)),
                track_mm: Some(across.y()),
                track_at_ground_mm: at_ground,
                setback_deg: Some(atan2_deg(across.x(), across.y())),
                setback_mm: Some(across.x()),
            }
        };
        let axles = ByAxle { front: axle(Wheel::Fl, Wheel::Fr), rear: axle(Wheel::Rl, Wheel::Rr) };
        AheadReadings { wheels, axles, chassis: self.chassis(thrust), rig_from_vehicle: self.rig_from_vehicle.into() }
    }

    #[inline]
    fn chassis(&self, thrust_angle_deg: f64) -> ChassisReadings {
        let ByWheel { fl, fr, rl, rr } = self.centres;
        let (left, right) = (fl.x() - rl.x(), fr.x() - rr.x());
        let diagonal = |a: Vector<Vehicle>, b: Vector<Vehicle>| hypot(a.x() - b.x(), a.y() - b.y());
        let (fl_rr, fr_rl) = (diagonal(fl, rr), diagonal(fr, rl));
        let front_axle = (fl - fr).square_to(wheel::UP).unit();
        let rear_from_front = (rl + rr) * 0.5 - (fl + fr) * 0.5;
        ChassisReadings {
            thrust_angle_deg: Some(thrust_angle_deg),
            wheelbase_left_mm: Some(left),
            wheelbase_right_mm: Some(right),
            wheelbase_difference_mm: Some(left - right),
            diagonal_fl_rr_mm: Some(fl_rr),
            diagonal_fr_rl_mm: Some(fr_rl),
            diagonal_difference_mm: Some(fl_rr - fr_rl),
            track_difference_mm: Some((fl - fr).y() - (rl - rr).y()),
            axle_offset_mm: Some(rear_from_front.dot(front_axle)),
        }
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
            toe - 360.0 * libm::round(toe / 360.0)
        });
        let cross_camber_deg = both.map(|(left, right)| wheel::camber_of(left) - wheel::camber_of(right));
        AxleReadings { total_toe_deg, cross_camber_deg, ..AxleReadings::default() }
    };
    Ok((readings, ByAxle { front: axle(Wheel::Fl, Wheel::Fr), rear: axle(Wheel::Rl, Wheel::Rr) }))
}

/// The vehicle frame of the [module](self).
fn rig_from_vehicle(wheels: &ByWheel<WheelInRig>, up: Vector<Rig>, centreline: Centreline) -> Transform<Rig, Vehicle> {
    let ByWheel { fl, fr, rl, rr } = ByWheel::from_fn(|wheel| wheels.get(wheel).centre);
    let rear = (rl + rr) * 0.5;
    let forward = match centreline {
        Centreline::AxleMidpoints => (fl + fr) * 0.5 - rear,
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
    (rear_left_toe_deg - rear_right_toe_deg) / 2.0
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
    toe_to_centreline_deg - side.sign() * thrust_angle_deg
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
}
