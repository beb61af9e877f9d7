//! Every reading by its path, and the tree as a flat list.
//!
//! A path is what every language writes to reach a reading: `wheels.fl.camber_deg`. Of a vector each component is a reading by itself:
//! `wheels.fl.centre_mm[0]`. The flat list has them in the order of the tree; it suits whatever treats all readings alike.

use crate::alignment::Alignment;
use crate::error::{Error, ErrorCode};
use crate::steering::{SteeringAxisReadings, SteeringReadings};
use crate::turns::{LockReadings, TurnReadings, TurnsReadings};
use crate::vehicle::{AxleReadings, ChassisReadings};
use crate::wheel::WheelReadings;

/// How many readings the tree has.
pub const COUNT: usize = 115;

/// The path of every reading, in the order of the tree.
pub const READINGS: [&str; COUNT] = [
    "wheels.fl.camber_deg",
    "wheels.fl.toe_deg",
    "wheels.fl.toe_to_centreline_deg",
    "wheels.fl.centre_mm[0]",
    "wheels.fl.centre_mm[1]",
    "wheels.fl.centre_mm[2]",
    "wheels.fl.spindle[0]",
    "wheels.fl.spindle[1]",
    "wheels.fl.spindle[2]",
    "wheels.fl.runout_deg",
    "wheels.fl.rolling_radius_mm",
    "wheels.fr.camber_deg",
    "wheels.fr.toe_deg",
    "wheels.fr.toe_to_centreline_deg",
    "wheels.fr.centre_mm[0]",
    "wheels.fr.centre_mm[1]",
    "wheels.fr.centre_mm[2]",
    "wheels.fr.spindle[0]",
    "wheels.fr.spindle[1]",
    "wheels.fr.spindle[2]",
    "wheels.fr.runout_deg",
    "wheels.fr.rolling_radius_mm",
    "wheels.rl.camber_deg",
    "wheels.rl.toe_deg",
    "wheels.rl.toe_to_centreline_deg",
    "wheels.rl.centre_mm[0]",
    "wheels.rl.centre_mm[1]",
    "wheels.rl.centre_mm[2]",
    "wheels.rl.spindle[0]",
    "wheels.rl.spindle[1]",
    "wheels.rl.spindle[2]",
    "wheels.rl.runout_deg",
    "wheels.rl.rolling_radius_mm",
    "wheels.rr.camber_deg",
    "wheels.rr.toe_deg",
    "wheels.rr.toe_to_centreline_deg",
    "wheels.rr.centre_mm[0]",
    "wheels.rr.centre_mm[1]",
    "wheels.rr.centre_mm[2]",
    "wheels.rr.spindle[0]",
    "wheels.rr.spindle[1]",
    "wheels.rr.spindle[2]",
    "wheels.rr.runout_deg",
    "wheels.rr.rolling_radius_mm",
    "axles.front.total_toe_deg",
    "axles.front.cross_camber_deg",
    "axles.front.track_mm",
    "axles.front.track_at_ground_mm",
    "axles.front.setback_deg",
    "axles.front.setback_mm",
    "axles.rear.total_toe_deg",
    "axles.rear.cross_camber_deg",
    "axles.rear.track_mm",
    "axles.rear.track_at_ground_mm",
    "axles.rear.setback_deg",
    "axles.rear.setback_mm",
    "chassis.thrust_angle_deg",
    "chassis.wheelbase_left_mm",
    "chassis.wheelbase_right_mm",
    "chassis.wheelbase_difference_mm",
    "chassis.diagonal_fl_rr_mm",
    "chassis.diagonal_fr_rl_mm",
    "chassis.diagonal_difference_mm",
    "chassis.track_difference_mm",
    "chassis.axle_offset_mm",
    "steering.left.caster_deg",
    "steering.left.sai_deg",
    "steering.left.included_angle_deg",
    "steering.left.caster_trail_mm",
    "steering.left.scrub_radius_mm",
    "steering.left.caster_trail_in_wheel_plane_mm",
    "steering.left.scrub_radius_in_wheel_plane_mm",
    "steering.left.caster_to_body_deg",
    "steering.left.sai_to_body_deg",
    "steering.left.axis_direction[0]",
    "steering.left.axis_direction[1]",
    "steering.left.axis_direction[2]",
    "steering.left.axis_point_mm[0]",
    "steering.left.axis_point_mm[1]",
    "steering.left.axis_point_mm[2]",
    "steering.left.residual_deg",
    "steering.left.residual_mm",
    "steering.right.caster_deg",
    "steering.right.sai_deg",
    "steering.right.included_angle_deg",
    "steering.right.caster_trail_mm",
    "steering.right.scrub_radius_mm",
    "steering.right.caster_trail_in_wheel_plane_mm",
    "steering.right.scrub_radius_in_wheel_plane_mm",
    "steering.right.caster_to_body_deg",
    "steering.right.sai_to_body_deg",
    "steering.right.axis_direction[0]",
    "steering.right.axis_direction[1]",
    "steering.right.axis_direction[2]",
    "steering.right.axis_point_mm[0]",
    "steering.right.axis_point_mm[1]",
    "steering.right.axis_point_mm[2]",
    "steering.right.residual_deg",
    "steering.right.residual_mm",
    "steering.ahead_error_deg",
    "steering.cross_caster_deg",
    "steering.cross_sai_deg",
    "steering.sweep_range_deg",
    "turns.left_turn.inner_deg",
    "turns.left_turn.outer_deg",
    "turns.left_turn.toe_out_deg",
    "turns.left_turn.ackermann_deg",
    "turns.right_turn.inner_deg",
    "turns.right_turn.outer_deg",
    "turns.right_turn.toe_out_deg",
    "turns.right_turn.ackermann_deg",
    "turns.lock_left.left_deg",
    "turns.lock_left.right_deg",
    "turns.lock_right.left_deg",
    "turns.lock_right.right_deg",
];

/// Where a path stands in [`READINGS`], and so in every flat list of readings.
///
/// # Errors
/// [`ErrorCode::UnknownReading`] when no reading has this path.
///
/// ```
/// # use alignment_core::paths::{READINGS, position};
/// assert_eq!(READINGS[position("axles.front.total_toe_deg")?], "axles.front.total_toe_deg");
/// assert!(position("wheels.fl.centre_mm").is_err(), "a vector is no reading, its components are");
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn position(path: &str) -> Result<usize, Error> {
    READINGS.iter().position(|&known| known == path).ok_or(Error::new(ErrorCode::UnknownReading))
}

/// The unit of the reading at a path, which its name ends in: `deg`, `mm`, or `1` for a component of a unit vector.
///
/// ```
/// # use alignment_core::paths::unit;
/// assert_eq!(unit("wheels.fl.centre_mm[0]"), "mm");
/// ```
#[must_use]
pub fn unit(path: &str) -> &'static str {
    let (name, _) = path.split_once('[').unwrap_or((path, ""));
    match name.rsplit_once('_') {
        Some((_, "deg")) => "deg",
        Some((_, "mm")) => "mm",
        _ => "1",
    }
}

impl Alignment {
    /// The reading at a path, in degrees or mm as its name says; None when it is absent.
    ///
    /// # Errors
    /// [`ErrorCode::UnknownReading`] when no reading has this path.
    ///
    /// ```
    /// # use alignment_core::Alignment;
    /// let mut tree = Alignment::default();
    /// tree.wheels.fl.camber_deg = Some(-0.8);
    /// assert_eq!(tree.get("wheels.fl.camber_deg")?, Some(-0.8));
    /// assert_eq!(tree.get("wheels.fr.camber_deg")?, None);
    /// # Ok::<(), alignment_core::Error>(())
    /// ```
    pub fn get(&self, path: &str) -> Result<Option<f64>, Error> {
        position(path).map(|position| self.values()[position])
    }

    /// Every reading, in the order of [`READINGS`], in degrees and mm; None where absent.
    ///
    /// ```
    /// # use alignment_core::{Alignment, paths::READINGS};
    /// let mut tree = Alignment::default();
    /// tree.chassis.thrust_angle_deg = Some(0.1);
    /// let present = READINGS.iter().zip(tree.values()).filter(|(_, value)| value.is_some());
    /// assert_eq!(present.collect::<Vec<_>>(), [(&"chassis.thrust_angle_deg", Some(0.1))]);
    /// ```
    #[must_use]
    pub fn values(&self) -> [Option<f64>; COUNT] {
        let mut values = [None; COUNT];
        // The walk hands out what may be changed; a copy may.
        let mut tree = *self;
        each(&mut tree, &mut |position, value| values[position] = value);
        values
    }

    /// The same with NaN where a reading is absent. The tree is left as it is: lent to be changed, it need not be copied.
    pub(crate) fn numbers(&mut self) -> [f64; COUNT] {
        let mut numbers = [f64::NAN; COUNT];
        each(self, &mut |position, value| {
            if let Some(value) = value {
                numbers[position] = value;
            }
        });
        numbers
    }

    /// The tree of these values, which stand in the order of [`READINGS`]; any unit. A vector of which one component is absent is absent.
    ///
    /// ```
    /// # use alignment_core::{Alignment, paths};
    /// let mut values = [None; paths::COUNT];
    /// values[paths::position("steering.left.caster_deg")?] = Some(5.0);
    /// let tree = Alignment::from_values(&values);
    /// assert_eq!(tree.steering.left.caster_deg, Some(5.0));
    /// assert_eq!(tree.values(), values);
    /// # Ok::<(), alignment_core::Error>(())
    /// ```
    #[must_use]
    pub fn from_values(values: &[Option<f64>; COUNT]) -> Self {
        let mut next = values.iter().copied();
        let mut next = || next.next().flatten();
        let mut tree = Self::default();
        walk(&mut tree, &mut |slot| match slot {
            Slot::Number(number) => *number = next(),
            Slot::Vector(vector) => {
                let [x, y, z] = core::array::from_fn(|_| next());
                *vector = x.zip(y).zip(z).map(|((x, y), z)| [x, y, z]);
            }
        });
        tree
    }
}

/// A field of the tree.
enum Slot<'a> {
    Number(&'a mut Option<f64>),
    Vector(&'a mut Option<[f64; 3]>),
}

/// Tells every reading with its position.
fn each(tree: &mut Alignment, tell: &mut impl FnMut(usize, Option<f64>)) {
    let mut next = 0;
    walk(tree, &mut |slot| match slot {
        Slot::Number(number) => {
            tell(next, *number);
            next += 1;
        }
        Slot::Vector(vector) => {
            for index in 0..3 {
                tell(next + index, vector.map(|vector| vector[index]));
            }
            next += 3;
        }
    });
}

/// Visits every field in the order of the tree. Structs are taken apart whole: a field that is added does not compile until it is here.
fn walk(tree: &mut Alignment, visit: &mut impl FnMut(Slot<'_>)) {
    let Alignment { wheels, axles, chassis, steering, turns } = tree;
    for wheel in [&mut wheels.fl, &mut wheels.fr, &mut wheels.rl, &mut wheels.rr] {
        walk_wheel(wheel, visit);
    }
    for axle in [&mut axles.front, &mut axles.rear] {
        let AxleReadings { total_toe_deg, cross_camber_deg, track_mm, track_at_ground_mm, setback_deg, setback_mm } =
            axle;
        numbers([total_toe_deg, cross_camber_deg, track_mm, track_at_ground_mm, setback_deg, setback_mm], visit);
    }
    walk_chassis(chassis, visit);
    let SteeringReadings { left, right, ahead_error_deg, cross_caster_deg, cross_sai_deg, sweep_range_deg } = steering;
    walk_axis(left, visit);
    walk_axis(right, visit);
    numbers([ahead_error_deg, cross_caster_deg, cross_sai_deg, sweep_range_deg], visit);
    let TurnsReadings { left_turn, right_turn, lock_left, lock_right } = turns;
    for TurnReadings { inner_deg, outer_deg, toe_out_deg, ackermann_deg } in [left_turn, right_turn] {
        numbers([inner_deg, outer_deg, toe_out_deg, ackermann_deg], visit);
    }
    for LockReadings { left_deg, right_deg } in [lock_left, lock_right] {
        numbers([left_deg, right_deg], visit);
    }
}

fn numbers<const N: usize>(fields: [&mut Option<f64>; N], visit: &mut impl FnMut(Slot<'_>)) {
    for field in fields {
        visit(Slot::Number(field));
    }
}

fn walk_wheel(wheel: &mut WheelReadings, visit: &mut impl FnMut(Slot<'_>)) {
    let WheelReadings { camber_deg, toe_deg, toe_to_centreline_deg, centre_mm, spindle, runout_deg, rolling_radius_mm } =
        wheel;
    numbers([camber_deg, toe_deg, toe_to_centreline_deg], visit);
    visit(Slot::Vector(centre_mm));
    visit(Slot::Vector(spindle));
    numbers([runout_deg, rolling_radius_mm], visit);
}

fn walk_chassis(chassis: &mut ChassisReadings, visit: &mut impl FnMut(Slot<'_>)) {
    let ChassisReadings {
        thrust_angle_deg,
        wheelbase_left_mm,
        wheelbase_right_mm,
        wheelbase_difference_mm,
        diagonal_fl_rr_mm,
        diagonal_fr_rl_mm,
        diagonal_difference_mm,
        track_difference_mm,
        axle_offset_mm,
    } = chassis;
    numbers([thrust_angle_deg, wheelbase_left_mm, wheelbase_right_mm, wheelbase_difference_mm], visit);
    numbers([diagonal_fl_rr_mm, diagonal_fr_rl_mm, diagonal_difference_mm], visit);
    numbers([track_difference_mm, axle_offset_mm], visit);
}

fn walk_axis(axis: &mut SteeringAxisReadings, visit: &mut impl FnMut(Slot<'_>)) {
    let SteeringAxisReadings {
        caster_deg,
        sai_deg,
        included_angle_deg,
        caster_trail_mm,
        scrub_radius_mm,
        caster_trail_in_wheel_plane_mm,
        scrub_radius_in_wheel_plane_mm,
        caster_to_body_deg,
        sai_to_body_deg,
        axis_direction,
        axis_point_mm,
        residual_deg,
        residual_mm,
    } = axis;
    numbers([caster_deg, sai_deg, included_angle_deg, caster_trail_mm, scrub_radius_mm], visit);
    numbers([caster_trail_in_wheel_plane_mm, scrub_radius_in_wheel_plane_mm], visit);
    numbers([caster_to_body_deg, sai_to_body_deg], visit);
    visit(Slot::Vector(axis_direction));
    visit(Slot::Vector(axis_point_mm));
    numbers([residual_deg, residual_mm], visit);
}
