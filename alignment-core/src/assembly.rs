//! From wheels, steering axes and steer angles to the tree of readings: the last step of a measurement, in closed form.
//!
//! Everything that a reading depends on stands in [`Geometry`]; how it was found is the earlier stages' matter.

use crate::alignment::Alignment;
use crate::compensation::Compensation;
use crate::error::Error;
use crate::frame::{Rig, Vector};
use crate::layout::{ByAxle, BySide, ByWheel, Side, Wheel};
use crate::session::{Reference, Session, Turn, TurnWheel};
use crate::steering::{self, AxisLine, FrontWheel, SteeringReadings};
use crate::turns::{self, LockReadings, TurnReadings};
use crate::vehicle::{self, Stand};
use crate::wheel::WheelInRig;

/// What the tree of readings is computed from.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Geometry {
    pub(crate) reference: Reference,
    /// The datum's normal.
    pub(crate) up: Vector<Rig>,
    /// Runout and rolling radius.
    pub(crate) compensation: ByWheel<Option<Compensation>>,
    /// The wheels straight ahead.
    pub(crate) wheels: ByWheel<Option<WheelInRig>>,
    pub(crate) loaded_radius_mm: ByAxle<Option<f64>>,
    pub(crate) ride_height_mm: Option<ByWheel<f64>>,
    pub(crate) axes: BySide<Option<AxisLine>>,
    pub(crate) sweep_range_deg: Option<f64>,
    /// Turning to each side, the steer angle of the wheel that is not brought to the customary angle.
    pub(crate) other_wheel_deg: BySide<Option<f64>>,
    pub(crate) lock_left: LockReadings,
    pub(crate) lock_right: LockReadings,
}

/// The values of all four wheels; None when one is absent.
pub(crate) fn all<T: Copy>(values: &ByWheel<Option<T>>) -> Option<ByWheel<T>> {
    ByWheel::try_from_fn(|wheel| values.get(wheel).ok_or(())).ok()
}

impl Geometry {
    /// Wheels straight ahead, of which nothing else is known yet.
    pub(crate) fn straight_ahead(
        session: &Session,
        up: Vector<Rig>,
        compensation: &ByWheel<Option<Compensation>>,
        wheels: ByWheel<Option<WheelInRig>>,
    ) -> Self {
        Self {
            reference: session.reference,
            up,
            compensation: *compensation,
            wheels,
            loaded_radius_mm: session.loaded_radius_mm.unwrap_or_default(),
            ride_height_mm: session.ride_height_mm,
            axes: BySide::default(),
            sweep_range_deg: None,
            other_wheel_deg: BySide::default(),
            lock_left: LockReadings::default(),
            lock_right: LockReadings::default(),
        }
    }

    /// The vehicle's own frame, if all four wheels are known.
    pub(crate) fn stand(&self) -> Option<(ByWheel<Compensation>, Stand)> {
        let (compensation, wheels) = all(&self.compensation).zip(all(&self.wheels))?;
        let stand = Stand::find(&compensation, &wheels, self.up, &self.loaded_radius_mm, self.reference.centreline);
        Some((compensation, stand))
    }

    /// Every reading.
    pub(crate) fn alignment(&self) -> Result<Alignment, Error> {
        let mut tree = Alignment::default();
        if let Some((compensation, stand)) = self.stand() {
            self.fill(&compensation, &stand, &mut tree)?;
        } else {
            (tree.wheels, tree.axles) = vehicle::without_frame(&self.compensation, &self.wheels, self.up)?;
        }
        Ok(tree)
    }

    /// Fills in every reading of a car that stands as was found already.
    pub(crate) fn fill(
        &self,
        compensation: &ByWheel<Compensation>,
        stand: &Stand,
        tree: &mut Alignment,
    ) -> Result<(), Error> {
        let now = stand.readings(compensation);
        (tree.wheels, tree.axles, tree.chassis) = (now.wheels, now.axles, now.chassis);
        tree.steering = self.steering(stand, tree)?;
        let axis_distance_mm = self.axis_distance_mm(stand);
        tree.turns.left_turn = self.turn(Side::Left, axis_distance_mm, tree);
        tree.turns.right_turn = self.turn(Side::Right, axis_distance_mm, tree);
        (tree.turns.lock_left, tree.turns.lock_right) = (self.lock_left, self.lock_right);
        Ok(())
    }

    fn steering(&self, stand: &Stand, tree: &Alignment) -> Result<SteeringReadings, Error> {
        let attitude_deg = self.body_attitude_deg(tree)?;
        let readings = BySide::try_from_fn(|side| {
            let axis = self.axes.get(side).as_ref();
            let read =
                |axis: &AxisLine| axis.readings(&stand.vehicle_from_rig, &front_wheel(stand, side), attitude_deg);
            axis.map(read).transpose().map(Option::unwrap_or_default)
        })?;
        let BySide { left, right } = readings;
        let cross = |left: Option<f64>, right: Option<f64>| left.zip(right).map(|(left, right)| left - right);
        Ok(SteeringReadings {
            left,
            right,
            ahead_error_deg: tree
                .wheels
                .fl
                .toe_deg
                .zip(tree.wheels.fr.toe_deg)
                .map(|(l, r)| vehicle::ahead_error(l, r)),
            cross_caster_deg: cross(left.caster_deg, right.caster_deg),
            cross_sai_deg: cross(left.sai_deg, right.sai_deg),
            sweep_range_deg: self.sweep_range_deg,
        })
    }

    /// Pitch and roll of the body, when the ride heights are known.
    fn body_attitude_deg(&self, tree: &Alignment) -> Result<Option<(f64, f64)>, Error> {
        if self.axes.left.is_none() && self.axes.right.is_none() {
            return Ok(None); // nothing refers to the body
        }
        let lengths = wheelbase_mm(tree).zip(tree.axles.front.track_mm.zip(tree.axles.rear.track_mm));
        self.ride_height_mm
            .zip(lengths)
            .map(|(heights, (wheelbase, (front, rear)))| {
                steering::body_attitude_deg(&heights, wheelbase, (front + rear) / 2.0)
            })
            .transpose()
    }

    /// The distance between the points where the steering axes meet the ground, along the vehicle's y axis.
    fn axis_distance_mm(&self, stand: &Stand) -> Option<f64> {
        let ground =
            |side: Side| self.axes.get(side).as_ref()?.ground_point(&stand.vehicle_from_rig, &front_wheel(stand, side));
        Some((ground(Side::Left)? - ground(Side::Right)?).y())
    }

    /// Toe-out on turns when turning to `inside`.
    fn turn(&self, inside: Side, axis_distance_mm: Option<f64>, tree: &Alignment) -> TurnReadings {
        let Turn { wheel, angle_deg } = self.reference.turn;
        let Some(other_deg) = *self.other_wheel_deg.get(inside) else { return TurnReadings::default() };
        let (inner, outer) = match wheel {
            TurnWheel::Inner => (angle_deg, other_deg),
            TurnWheel::Outer => (other_deg, angle_deg),
        };
        // Absent when the axes do not meet the ground apart from each other: then there is no ideal.
        let lengths = axis_distance_mm.zip(wheelbase_mm(tree));
        let ackermann_deg = lengths.and_then(|(distance, wheelbase)| match wheel {
            TurnWheel::Inner => turns::ackermann_outer_deg(inner, distance, wheelbase).map(|ideal| inner - ideal).ok(),
            TurnWheel::Outer => turns::ackermann_inner_deg(outer, distance, wheelbase).map(|ideal| ideal - outer).ok(),
        });
        TurnReadings { inner_deg: Some(inner), outer_deg: Some(outer), toe_out_deg: Some(inner - outer), ackermann_deg }
    }
}

/// A front wheel straight ahead.
pub(crate) fn front_wheel(stand: &Stand, side: Side) -> FrontWheel {
    let wheel: Wheel = side.front_wheel();
    FrontWheel {
        side,
        spindle: *stand.spindles.get(wheel),
        centre: *stand.centres.get(wheel),
        contact: stand.contact(wheel),
    }
}

/// The mean wheelbase of both sides.
fn wheelbase_mm(tree: &Alignment) -> Option<f64> {
    let chassis = &tree.chassis;
    chassis.wheelbase_left_mm.zip(chassis.wheelbase_right_mm).map(|(left, right)| (left + right) / 2.0)
}
