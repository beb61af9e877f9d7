//! The line on the ground from which a stand is placed.

use super::{Line, MAX_TILT_DEG, ReferencePoint, StandReadings, check_point, check_reference, read, transform};
use crate::assembly::Geometry;
use crate::datum::{self, Plane, plane_through};
use crate::error::{Error, ErrorCode, Stage};
use crate::frame::{Line as LineFrame, Rig, Transform, Vector, Vehicle};
use crate::layout::{ByAxle, ByWheel, Side, Wheel};
use crate::live::LiveReadings;
use crate::pose::{MAX_COORDINATE_MM, Pose};
use crate::session::{self, check_range};
use crate::units::{atan2_deg, rad_from_deg};
use crate::vehicle::{AheadReadings, thrust_angle_deg};
use crate::wheel::{self, WheelReadings};

/// The ground on which a stand stands.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(deny_unknown_fields))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Ground {
    /// How far the ground is tilted against the datum, to which the car's own angles refer, degrees.
    pub tilt_deg: f64,
    /// How far the contact centres, or the points of the floor, lie from the plane, mm, root mean square.
    pub residual_mm: f64,
    /// Whether that is more than [`datum::UNEVEN_MM`]: then the height and the angles depend on where the stand stands.
    pub uneven: bool,
}

/// The line on the ground from which a stand is placed, as a car shows it. Reading a stand by it allocates nothing.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(deny_unknown_fields))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct GroundLine {
    /// Where the line lies in the rig: X along it, Y to its left, Z up, square to the ground; its origin is the zero of all distances.
    #[cfg_attr(feature = "schema", schemars(with = "crate::session::schema::WrittenPoseSchema"))]
    pub rig_from_line: Pose,
    /// The ground in which it lies.
    pub ground: Ground,
}

impl GroundLine {
    /// The line that a car straight ahead shows, by [`ahead_readings`](crate::vehicle::ahead_readings).
    ///
    /// `floor` is a plane through points of the floor, in the rig frame, by [`plane_through`]; without it the ground is the plane through the contact
    /// centres, by the loaded radii or the rolling radii in their place, mm. Nothing is allocated.
    ///
    /// # Errors
    /// [`ErrorCode::WheelNotSeen`] for a wheel without its centre; [`ErrorCode::MissingInput`] for one without a radius, when no floor is given;
    /// those of a pose ([`ErrorCode::NotFinite`], [`ErrorCode::NotARotation`], [`ErrorCode::Reflection`], [`ErrorCode::LengthOutOfRange`]);
    /// [`ErrorCode::NotUnitLength`] of the floor's normal or a spindle; [`ErrorCode::AngleOutOfRange`] for a floor tilted by more than 10°
    /// against the datum, and [`ErrorCode::LengthOutOfRange`] for one above a wheel's centre.
    ///
    /// ```
    /// # use alignment_core::session::{ByAxle, ByWheel, Centreline, RollingBody};
    /// # use alignment_core::stand::{GroundLine, Line, ReferencePoint};
    /// # use alignment_core::{Pose, compensation, simulate::VirtualVehicle, vehicle};
    /// # let session = VirtualVehicle::default().session();
    /// # let (up, body) = (session.up.unwrap(), RollingBody::Translates);
    /// # let rolled = compensation::from_rolling(&session.rolling, up, &session.clamp_standoff_mm, &ByAxle::default(), body)?;
    /// # let poses = ByWheel::from_fn(|wheel| session.ahead.get(wheel).frames()[0]);
    /// let radii = ByAxle::default();
    /// let now = vehicle::ahead_readings(&rolled.all_wheels()?, &poses, up, &radii, Centreline::AxleMidpoints)?;
    /// let line = GroundLine::from_ahead(&now, &radii, None, Line::ThrustLine, ReferencePoint::FrontAxle)?;
    /// let here = line.readings(&line.rig_from_line)?;
    /// assert!(here.values().iter().all(|value| value.abs() < 1e-9));
    /// # Ok::<(), alignment_core::Error>(())
    /// ```
    pub fn from_ahead(
        now: &AheadReadings,
        loaded_radius_mm: &ByAxle<Option<f64>>,
        floor: Option<&Plane>,
        line: Line,
        reference: ReferencePoint,
    ) -> Result<Self, Error> {
        let car = Car::seen(&now.wheels, &now.rig_from_vehicle, loaded_radius_mm)?;
        car.line(floor, line, reference)
    }

    /// The line of a car that is followed, by a [`Tracker`](crate::live::Tracker): as [`from_ahead`](Self::from_ahead). What the readings' flags say
    /// holds of the line too, and is not said again; the loaded radii of the tracker's session have to be handed over here as well.
    ///
    /// # Errors
    /// Those of [`from_ahead`](Self::from_ahead): [`ErrorCode::WheelNotSeen`], also of a clamp that was knocked; [`ErrorCode::MissingInput`],
    /// [`ErrorCode::NotFinite`], [`ErrorCode::NotARotation`], [`ErrorCode::Reflection`], [`ErrorCode::LengthOutOfRange`] for lengths in mm,
    /// [`ErrorCode::NotUnitLength`], [`ErrorCode::AngleOutOfRange`].
    ///
    /// ```
    /// # use alignment_core::live::{LiveSettings, Tracker};
    /// # use alignment_core::session::{ByAxle, ByWheel};
    /// # use alignment_core::stand::{GroundLine, Line, ReferencePoint};
    /// # use alignment_core::simulate::VirtualVehicle;
    /// let session = VirtualVehicle::default().session();
    /// let mut tracker = Tracker::new(&session, LiveSettings::default())?;
    /// let now = tracker.frame(0.0, &ByWheel::from_fn(|wheel| session.ahead.get(wheel).frames().first().copied()))?;
    /// let line = GroundLine::from_live(now, &ByAxle::default(), None, Line::ThrustLine, ReferencePoint::FrontAxle)?;
    /// assert!(!line.ground.uneven);
    /// # Ok::<(), alignment_core::Error>(())
    /// ```
    pub fn from_live(
        now: &LiveReadings,
        loaded_radius_mm: &ByAxle<Option<f64>>,
        floor: Option<&Plane>,
        line: Line,
        reference: ReferencePoint,
    ) -> Result<Self, Error> {
        let car = Car::seen(&now.alignment.wheels, &now.rig_from_vehicle, loaded_radius_mm)?;
        car.line(floor, line, reference)
    }

    /// Where a stand stands, in degrees and mm (see the [module](super)). Nothing is allocated.
    ///
    /// # Errors
    /// Those of a pose ([`ErrorCode::NotFinite`], [`ErrorCode::NotARotation`], [`ErrorCode::Reflection`], [`ErrorCode::LengthOutOfRange`]);
    /// [`ErrorCode::AngleOutOfRange`] for a stand that pitches by more than 89°.
    ///
    /// ```
    /// # use alignment_core::Pose;
    /// # use alignment_core::stand::{Ground, GroundLine};
    /// # let level = |at| Pose::from_rotation_vector_rad([0.0; 3], at);
    /// # let ground = Ground { tilt_deg: 0.0, residual_mm: 0.0, uneven: false };
    /// # let line = GroundLine { rig_from_line: level([0.0; 3])?, ground };
    /// let to_the_left = [0.0, 0.0, 0.35_f64.to_radians()];
    /// let here = line.readings(&Pose::from_rotation_vector_rad(to_the_left, [1500.0, -4.0, 1200.0])?)?;
    /// assert!((here.yaw_deg - 0.35).abs() < 1e-12);
    /// assert_eq!((here.distance_mm, here.lateral_offset_mm, here.height_mm), (1500.0, -4.0, 1200.0));
    /// # Ok::<(), alignment_core::Error>(())
    /// ```
    pub fn readings(&self, rig_from_stand: &Pose) -> Result<StandReadings, Error> {
        let line = transform("rig_from_line", &self.rig_from_line)?;
        read(&line, &transform("rig_from_stand", rig_from_stand)?)
    }
}

/// What the line and the ground are found from: a car straight ahead, in its own frame.
pub(super) struct Car {
    rig_from_vehicle: Transform<Rig, Vehicle>,
    centres: ByWheel<Vector<Vehicle>>,
    contacts: ByWheel<Option<Vector<Vehicle>>>,
    pub(super) thrust_angle_deg: f64,
}

impl Car {
    fn seen(
        wheels: &ByWheel<WheelReadings>,
        rig_from_vehicle: &Pose,
        loaded_radius_mm: &ByAxle<Option<f64>>,
    ) -> Result<Self, Error> {
        session::check_loaded_radii(loaded_radius_mm)?;
        let place = |wheel: Wheel| {
            let WheelReadings { centre_mm, spindle, rolling_radius_mm, .. } = *wheels.get(wheel);
            let seen = centre_mm.zip(spindle).ok_or(Error::new(ErrorCode::WheelNotSeen));
            let at = |error: Error| error.stage(Stage::Ahead).wheel(wheel);
            let (centre_mm, spindle) = seen.map_err(at)?;
            check_point("centre_mm", centre_mm).map_err(at)?;
            let spindle = wheel::checked_spindle(spindle).map_err(at)?;
            let radius = loaded_radius_mm.of_wheel(wheel).or(rolling_radius_mm);
            if let Some(radius) = radius {
                let range = session::LOADED_RADIUS_RANGE_MM;
                check_range(ErrorCode::LengthOutOfRange, "rolling_radius_mm", radius, range).map_err(at)?;
            }
            let centre = Vector::new(centre_mm);
            Ok((centre, spindle, radius.map(|radius| wheel::contact_centre_of(centre, spindle, radius))))
        };
        let wheels = ByWheel::try_from_fn(place)?;
        Ok(Self {
            rig_from_vehicle: transform("rig_from_vehicle", rig_from_vehicle)?,
            centres: ByWheel::from_fn(|wheel| wheels.get(wheel).0),
            contacts: ByWheel::from_fn(|wheel| wheels.get(wheel).2),
            thrust_angle_deg: thrust_of(wheels.rl.1, wheels.rr.1),
        })
    }

    pub(super) fn measured(geometry: &Geometry) -> Result<Self, Error> {
        let Some((_, stand)) = geometry.stand() else {
            let missing = Wheel::ALL.into_iter().find(|&wheel| geometry.wheels.get(wheel).is_none());
            let error = Error::new(ErrorCode::WheelNotSeen).stage(Stage::Ahead);
            return Err(missing.map_or(error, |wheel| error.wheel(wheel)));
        };
        Ok(Self {
            rig_from_vehicle: stand.vehicle_from_rig.inverse(),
            centres: stand.centres,
            contacts: ByWheel::from_fn(|wheel| stand.contact(wheel)),
            thrust_angle_deg: thrust_of(stand.spindles.rl, stand.spindles.rr),
        })
    }

    pub(super) fn line(
        &self,
        floor: Option<&Plane>,
        line: Line,
        reference: ReferencePoint,
    ) -> Result<GroundLine, Error> {
        check_reference(reference)?;
        let (transform, ground) = self.transform(floor, line, reference)?;
        Ok(GroundLine { rig_from_line: transform.into(), ground })
    }

    pub(super) fn transform(
        &self,
        floor: Option<&Plane>,
        line: Line,
        reference: ReferencePoint,
    ) -> Result<(Transform<Rig, LineFrame>, Ground), Error> {
        let (up, point, residual_mm) = if let Some(Plane { normal, point_mm, residual_mm }) = floor {
            check_range(ErrorCode::LengthOutOfRange, "residual_mm", *residual_mm, [0.0, MAX_COORDINATE_MM])?;
            check_point("point_mm", *point_mm)?;
            let up = session::up_in_rig(*normal).map_err(|error| error.input("normal"))?;
            (up, Vector::new(*point_mm), *residual_mm)
        } else {
            let contact = |wheel: Wheel| {
                let contact = self.contacts.get(wheel);
                let missing = Error::new(ErrorCode::MissingInput).input("loaded_radius_mm").wheel(wheel);
                contact.map(Vector::to_array).ok_or(missing)
            };
            let ByWheel { fl, fr, rl, rr } = ByWheel::try_from_fn(contact)?;
            let Plane { normal, point_mm, residual_mm } = plane_through(&[fl, fr, rl, rr])?;
            let point = self.rig_from_vehicle.point(Vector::new(point_mm));
            (self.rig_from_vehicle.direction(Vector::new(normal)), point, residual_mm)
        };
        let [_, _, datum] = self.rig_from_vehicle.axes();
        let up = if up.dot(datum) < 0.0 { -up } else { up };
        let tilt_deg = atan2_deg(up.cross(datum).norm(), up.dot(datum));
        // Without a floor it is the datum that does not go with the wheels.
        let input = if floor.is_some() { "ground_mm" } else { "up" };
        check_range(ErrorCode::AngleOutOfRange, input, tilt_deg, [0.0, MAX_TILT_DEG])?;
        // The thrust angle is positive to the right.
        let (sin, cos) = match line {
            Line::ThrustLine => libm::sincos(-rad_from_deg(self.thrust_angle_deg)),
            Line::Centreline => (0.0, 1.0),
        };
        let forward = self.rig_from_vehicle.direction(Vector::new([cos, sin, 0.0])).square_to(up).unit();
        let left = up.cross(forward);
        let reference = match reference {
            ReferencePoint::FrontAxle => (self.centres.fl + self.centres.fr) * 0.5,
            ReferencePoint::RearAxle => (self.centres.rl + self.centres.rr) * 0.5,
            ReferencePoint::Point(point_mm) => Vector::new(point_mm),
        };
        if floor.is_some() {
            // Points in another frame may well be level, but not below the wheels.
            for (wheel, &centre) in Wheel::ALL.map(|wheel| (wheel, self.centres.get(wheel))) {
                let clear_mm = (self.rig_from_vehicle.point(centre) - point).dot(up);
                check_range(ErrorCode::LengthOutOfRange, "ground_mm", clear_mm, [0.0, f64::MAX])
                    .map_err(|error| error.wheel(wheel))?;
            }
        }
        let rear = self.rig_from_vehicle.origin();
        let ahead = (self.rig_from_vehicle.point(reference) - rear).dot(forward);
        let origin = rear + forward * ahead - up * (rear - point).dot(up);
        let ground = Ground { tilt_deg, residual_mm, uneven: residual_mm > datum::UNEVEN_MM };
        Ok((Transform::from_axes([forward, left, up], origin), ground))
    }
}

fn thrust_of(rear_left: Vector<Vehicle>, rear_right: Vector<Vehicle>) -> f64 {
    thrust_angle_deg(wheel::toe_of(Side::Left, rear_left), wheel::toe_of(Side::Right, rear_right))
}

pub(super) fn floor_through(ground_mm: &[[f64; 3]]) -> Result<Option<Plane>, Error> {
    if ground_mm.is_empty() {
        return Ok(None);
    }
    plane_through(ground_mm).map(Some).map_err(|error| error.input("ground_mm"))
}
