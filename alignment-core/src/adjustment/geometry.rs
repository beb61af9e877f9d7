//! What moving wheels does to the readings: the wheels and steering axes of a measured car as rigid bodies, moved one after the other, and
//! read again in the frame that they then make, by the formulas with which they were measured.

use super::adjuster::{Adjuster, Effect, Rigid, Stance};
use crate::alignment::Alignment;
use crate::compensation::MAX_SPINDLE_SKEW_DEG;
use crate::error::{Error, ErrorCode};
use crate::frame::{Rig, Vector, Vehicle};
use crate::lanes::Real;
use crate::layout::{ByAxle, BySide, ByWheel, Side, Wheel};
use crate::paths::{self, COUNT};
use crate::pose;
use crate::propagation::{Dual, Number};
use crate::session::Centreline;
use crate::steering::{AxisFigures, FrontWheel, SteeringAxisReadings, SteeringReadings};
use crate::units::{DEG_PER_RAD, hypot, rad_from_deg};
use crate::vehicle::{self, AxleFigures, AxleReadings, ChassisReadings, Figures, Stand};
use crate::wheel::{WheelInRig, WheelReadings};
use alloc::vec::Vec;

/// The vehicle frame as it was measured. Wheels are moved in it, and then stand in another: it plays the rig.
type Measured = Rig;

/// A line: a unit vector along it, and a point of it.
#[derive(Clone, Copy)]
struct Line<T> {
    direction: Vector<Measured, T>,
    point: Vector<Measured, T>,
}

/// The wheels and the steering axes.
#[derive(Clone, Copy)]
struct Car<T> {
    wheels: ByWheel<WheelInRig<T>>,
    axes: BySide<Option<Line<T>>>,
}

/// A measured car, and what its readings follow from.
pub(super) struct Model<'a> {
    tree: &'a Alignment,
    /// None when nothing has to be known of the geometry.
    start: Option<Start>,
    /// Per adjuster what a unit changes of every reading, beside the geometry.
    measured: Vec<Option<[f64; COUNT]>>,
    adjusters: Vec<&'a Adjuster>,
}

struct Start {
    car: Car<f64>,
    radii_mm: ByWheel<Option<f64>>,
    /// The height of each contact centre: the ground of the wheel.
    ground_mm: ByWheel<Option<f64>>,
    centreline: Centreline,
}

impl<'a> Model<'a> {
    /// The adjusters in the order in which they are moved.
    pub(super) fn new(tree: &'a Alignment, adjusters: Vec<&'a Adjuster>, stance: &Stance) -> Result<Self, Error> {
        let rigid = adjusters.iter().any(|adjuster| matches!(adjuster.effect, Effect::Rigid(_)));
        let start = if rigid { Some(Start::of(tree, stance)?) } else { None };
        let known = tree.values();
        if known.iter().flatten().any(|value| !value.is_finite()) {
            return Err(Error::new(ErrorCode::NotFinite).input("readings"));
        }
        let mut measured = Vec::with_capacity(adjusters.len());
        for adjuster in &adjusters {
            measured.push(match &adjuster.effect {
                Effect::Rigid(rigid) => {
                    if let (None, Some(start)) = (&rigid.line, &start) {
                        start.check_axes(rigid)?;
                    }
                    None
                }
                Effect::Measured(changes) => {
                    let mut listed = [None; COUNT];
                    for (path, &change) in changes {
                        listed[paths::position(path).map_err(|error| error.input("effect"))?] = Some(change);
                    }
                    Some(with_what_follows(&listed))
                }
            });
        }
        Ok(Self { tree, start, measured, adjusters })
    }

    /// Every reading after the adjusters were moved by these amounts, in their order.
    pub(super) fn foresee(&self, amounts: &[f64]) -> Result<Alignment, Error> {
        let mut foreseen = match &self.start {
            Some(start) => {
                let moved = start.moved(&self.adjusters, amounts)?;
                moved.stand.check_layout()?;
                moved.readings(self.tree, |number| number)
            }
            None => Alignment {
                steering: foreseeable(&self.tree.steering),
                turns: crate::turns::TurnsReadings::default(),
                ..*self.tree
            },
        };
        if self.measured.iter().any(Option::is_some) {
            let mut values = foreseen.values();
            for (change, &amount) in self.measured.iter().zip(amounts) {
                let Some(change) = change else { continue };
                for (value, change) in values.iter_mut().zip(change) {
                    *value = value.map(|value| value + change * amount);
                }
            }
            foreseen = Alignment::from_values(&values);
        }
        Ok(foreseen)
    }

    /// What one more unit of one adjuster changes of every reading, the others left where they are: absent where the reading is.
    pub(super) fn effect(&self, amounts: &[f64], of: usize) -> Result<Alignment, Error> {
        if let Some(Some(change)) = self.measured.get(of) {
            let known = self.foresee(amounts)?.values();
            return Ok(Alignment::from_values(&core::array::from_fn(|index| known[index].map(|_| change[index]))));
        }
        let Some(start) = &self.start else { return Ok(Alignment::default()) };
        let amounts: Vec<Dual<1>> = amounts
            .iter()
            .enumerate()
            .map(|(index, &value)| Dual { value, derivatives: [f64::from(u8::from(index == of))] })
            .collect();
        Ok(start.moved(&self.adjusters, &amounts)?.readings(self.tree, |number| number.derivatives[0]))
    }
}

/// Numbers that carry derivatives along or do not, but can be turned by.
trait Amount: Real + Number {}
impl<T: Real + Number> Amount for T {}

impl Start {
    fn of(tree: &Alignment, stance: &Stance) -> Result<Self, Error> {
        crate::session::check_loaded_radii(&stance.loaded_radius_mm)?;
        let wheels = ByWheel::try_from_fn(|wheel| {
            let readings = tree.wheels.get(wheel);
            let missing = |input| Error::new(ErrorCode::MissingInput).input(input).wheel(wheel);
            let centre = readings.centre_mm.ok_or(missing("centre_mm"))?;
            let spindle = Vector::<Measured>::new(readings.spindle.ok_or(missing("spindle"))?);
            pose::check_unit_length(spindle.norm()).map_err(|error| error.input("spindle").wheel(wheel))?;
            if !centre.iter().all(|v| v.is_finite()) {
                return Err(Error::new(ErrorCode::NotFinite).input("centre_mm").wheel(wheel));
            }
            let lateral = spindle.y() * wheel.side().sign();
            if lateral < libm::cos(rad_from_deg(MAX_SPINDLE_SKEW_DEG)) {
                let skew_deg = crate::units::atan2_deg(hypot(spindle.x(), spindle.z()), lateral);
                let error = Error::new(ErrorCode::SpindleNotLateral).wheel(wheel);
                return Err(error.value(skew_deg).at_most(MAX_SPINDLE_SKEW_DEG));
            }
            Ok(WheelInRig { spindle: spindle.unit(), centre: Vector::new(centre) })
        })?;
        let axes = BySide::try_from_fn(|side| {
            let readings = tree.steering_side(side);
            let Some((direction, point)) = readings.axis_direction.zip(readings.axis_point_mm) else { return Ok(None) };
            let direction = Vector::<Measured>::new(direction);
            pose::check_unit_length(direction.norm()).map_err(|error| error.input("axis_direction"))?;
            if !point.iter().all(|v| v.is_finite()) {
                return Err(Error::new(ErrorCode::NotFinite).input("axis_point_mm").wheel(side.front_wheel()));
            }
            // One that lies down meets no ground; upward is how every axis is given.
            let lean_deg = crate::units::atan2_deg(hypot(direction.x(), direction.y()), direction.z());
            if lean_deg >= 90.0 {
                let error = Error::new(ErrorCode::AngleOutOfRange).input("axis_direction").wheel(side.front_wheel());
                return Err(error.value(lean_deg).at_most(90.0));
            }
            Ok(Some(Line { direction: direction.unit(), point: Vector::new(point) }))
        })?;
        let radii_mm = ByWheel::from_fn(|wheel| {
            stance.loaded_radius_mm.of_wheel(wheel).or(tree.wheels.get(wheel).rolling_radius_mm)
        });
        let ground_mm = ByWheel::from_fn(|wheel| {
            let WheelInRig { spindle, centre } = *wheels.get(wheel);
            radii_mm.get(wheel).map(|radius| centre.z() - radius * hypot(spindle.x(), spindle.y()))
        });
        let start = Self { car: Car { wheels, axes }, radii_mm, ground_mm, centreline: stance.centreline };
        start.moved::<f64>(&[], &[])?.stand.check_layout()?;
        Ok(start)
    }

    fn check_axes(&self, rigid: &Rigid) -> Result<(), Error> {
        let missing = Wheel::ALL.into_iter().find(|&wheel| {
            let known = wheel.is_front() && self.car.axes.get(wheel.side()).is_some();
            *rigid.wheels.get(wheel) && !known
        });
        missing.map_or(Ok(()), |wheel| Err(Error::new(ErrorCode::MissingInput).input("axis_direction").wheel(wheel)))
    }

    /// The car after the adjusters were moved, each wheel back on its ground, straight up or down.
    fn moved<T: Amount>(&self, adjusters: &[&Adjuster], amounts: &[T]) -> Result<Moved<T>, Error> {
        let lift = |v: Vector<Measured>| Vector::new(v.to_array().map(T::constant));
        let mut car = Car {
            wheels: ByWheel::from_fn(|wheel| {
                let WheelInRig { spindle, centre } = *self.car.wheels.get(wheel);
                WheelInRig { spindle: lift(spindle), centre: lift(centre) }
            }),
            axes: BySide::from_fn(|side| {
                self.car
                    .axes
                    .get(side)
                    .map(|Line { direction, point }| Line { direction: lift(direction), point: lift(point) })
            }),
        };
        for (adjuster, &amount) in adjusters.iter().zip(amounts) {
            if let Effect::Rigid(rigid) = &adjuster.effect {
                turn(&mut car, rigid, amount)?;
            }
        }
        let radii_mm = ByWheel::from_fn(|wheel| self.radii_mm.get(wheel).map(T::constant));
        for wheel in Wheel::ALL {
            let (Some(radius), Some(ground)) = (*radii_mm.get(wheel), *self.ground_mm.get(wheel)) else { continue };
            let this = car.wheels.get_mut(wheel);
            let height = T::constant(ground) + radius * Real::hypot(this.spindle.x(), this.spindle.y());
            let zero = T::constant(0.0);
            let back = Vector::new([zero, zero, height - this.centre.z()]);
            this.centre = this.centre + back;
            if wheel.is_front()
                && let Some(axis) = car.axes.get_mut(wheel.side())
            {
                axis.point = axis.point + back;
            }
        }
        let up = lift(Vector::new([0.0, 0.0, 1.0]));
        let stand = Stand::of(&car.wheels, up, radii_mm, self.centreline);
        Ok(Moved { stand, axes: car.axes })
    }
}

/// Moves the wheels that an adjuster carries, by so many of its units.
fn turn<T: Amount>(car: &mut Car<T>, rigid: &Rigid, amount: T) -> Result<(), Error> {
    let angle = amount * (rigid.turn_deg / DEG_PER_RAD);
    let (sin, cos, shift) = (Number::sin(angle), Number::cos(angle), amount * rigid.shift_mm);
    for wheel in Wheel::ALL {
        if !*rigid.wheels.get(wheel) {
            continue;
        }
        let front = wheel.is_front();
        let axis = if front { *car.axes.get(wheel.side()) } else { None };
        let line = match &rigid.line {
            Some(line) => Line {
                direction: Vector::new(line.direction.map(T::constant)).unit(),
                point: Vector::new(line.point_mm.map(T::constant)),
            },
            None => axis.ok_or(Error::new(ErrorCode::MissingInput).input("axis_direction").wheel(wheel))?,
        };
        let k = line.direction;
        let turned = |v: Vector<Measured, T>| v * cos + k.cross(v) * sin + k * (k.dot(v) * (T::constant(1.0) - cos));
        let moved = |p: Vector<Measured, T>| line.point + turned(p - line.point) + k * shift;
        let this = car.wheels.get_mut(wheel);
        *this = WheelInRig { spindle: turned(this.spindle), centre: moved(this.centre) };
        if rigid.carries_axis && front {
            *car.axes.get_mut(wheel.side()) =
                axis.map(|Line { direction, point }| Line { direction: turned(direction), point: moved(point) });
        }
    }
    Ok(())
}

struct Moved<T> {
    stand: Stand<T>,
    axes: BySide<Option<Line<T>>>,
}

impl<T: Amount> Moved<T> {
    /// The tree of readings, of each number what `pick` takes of it. Runout and rolling radius are as in `tree`; what belongs to the sweep is absent.
    fn readings(&self, tree: &Alignment, pick: impl Fn(T) -> f64) -> Alignment {
        let Figures { camber_deg, toe_deg, toe_to_centreline_deg, axles, chassis } = self.stand.figures();
        let some = |number: T| Some(pick(number));
        let constant = |value: Option<f64>| value.map(|value| pick(T::constant(value)));
        let vector = |v: Vector<Vehicle, T>| Some(v.to_array().map(&pick));
        let wheels = ByWheel::from_fn(|wheel| {
            let before = tree.wheels.get(wheel);
            WheelReadings {
                camber_deg: some(*camber_deg.get(wheel)),
                toe_deg: some(*toe_deg.get(wheel)),
                toe_to_centreline_deg: some(*toe_to_centreline_deg.get(wheel)),
                centre_mm: vector(*self.stand.centres.get(wheel)),
                spindle: vector(*self.stand.spindles.get(wheel)),
                runout_deg: constant(before.runout_deg),
                rolling_radius_mm: constant(before.rolling_radius_mm),
            }
        });
        // As in Stand::readings: one function for both costs the reading path of C twenty instructions.
        let axle = |axle: &AxleFigures<T>| AxleReadings {
            total_toe_deg: some(axle.total_toe_deg),
            cross_camber_deg: some(axle.cross_camber_deg),
            track_mm: some(axle.track_mm),
            track_at_ground_mm: axle.track_at_ground_mm.map(&pick),
            setback_deg: some(axle.setback_deg),
            setback_mm: some(axle.setback_mm),
        };
        let [thrust, left, right, left_less_right, fl_rr, fr_rl, diagonals, tracks, offset] = chassis.map(some);
        let figures = BySide::from_fn(|side| self.axis(side));
        let side = |side: Side| {
            let Some((figures, direction)) = figures.get(side) else { return SteeringAxisReadings::default() };
            let AxisFigures { caster_deg, sai_deg, included_angle_deg, .. } = *figures;
            SteeringAxisReadings {
                caster_deg: some(caster_deg),
                sai_deg: some(sai_deg),
                included_angle_deg: some(included_angle_deg),
                caster_trail_mm: figures.caster_trail_mm.map(&pick),
                scrub_radius_mm: figures.scrub_radius_mm.map(&pick),
                caster_trail_in_wheel_plane_mm: figures.caster_trail_in_wheel_plane_mm.map(&pick),
                scrub_radius_in_wheel_plane_mm: figures.scrub_radius_in_wheel_plane_mm.map(&pick),
                caster_to_body_deg: None,
                sai_to_body_deg: None,
                axis_direction: vector(*direction),
                axis_point_mm: vector(figures.point),
                residual_deg: None,
                residual_mm: None,
            }
        };
        let cross = |of: fn(&AxisFigures<T>) -> T| {
            let (left, right) = (figures.left.as_ref()?, figures.right.as_ref()?);
            some(of(&left.0) - of(&right.0))
        };
        Alignment {
            wheels,
            axles: ByAxle { front: axle(&axles.front), rear: axle(&axles.rear) },
            chassis: ChassisReadings {
                thrust_angle_deg: thrust,
                wheelbase_left_mm: left,
                wheelbase_right_mm: right,
                wheelbase_difference_mm: left_less_right,
                diagonal_fl_rr_mm: fl_rr,
                diagonal_fr_rl_mm: fr_rl,
                diagonal_difference_mm: diagonals,
                track_difference_mm: tracks,
                axle_offset_mm: offset,
            },
            steering: SteeringReadings {
                left: side(Side::Left),
                right: side(Side::Right),
                ahead_error_deg: some(vehicle::ahead_error(toe_deg.fl, toe_deg.fr)),
                cross_caster_deg: cross(|figures| figures.caster_deg),
                cross_sai_deg: cross(|figures| figures.sai_deg),
                sweep_range_deg: None,
            },
            turns: crate::turns::TurnsReadings::default(),
        }
    }

    fn axis(&self, side: Side) -> Option<(AxisFigures<T>, Vector<Vehicle, T>)> {
        let Line { direction, point } = (*self.axes.get(side))?;
        let wheel = side.front_wheel();
        let (spindle, centre) = (*self.stand.spindles.get(wheel), *self.stand.centres.get(wheel));
        let front = FrontWheel { side, spindle, centre, contact: self.stand.contact(wheel) };
        let direction = self.stand.vehicle_from_rig.direction(direction);
        Some((front.axis_figures(direction, self.stand.vehicle_from_rig.point(point)), direction))
    }
}

impl Alignment {
    fn steering_side(&self, side: Side) -> &SteeringAxisReadings {
        match side {
            Side::Left => &self.steering.left,
            Side::Right => &self.steering.right,
        }
    }
}

/// The readings of the steering but for those to the body and those of the sweep.
fn foreseeable(steering: &SteeringReadings) -> SteeringReadings {
    let side = |axis: SteeringAxisReadings| SteeringAxisReadings {
        caster_to_body_deg: None,
        sai_to_body_deg: None,
        residual_deg: None,
        residual_mm: None,
        ..axis
    };
    SteeringReadings { left: side(steering.left), right: side(steering.right), sweep_range_deg: None, ..*steering }
}

/// The changes that are listed, and those that follow from them by what the readings are: sums, differences and the thrust line.
fn with_what_follows(listed: &[Option<f64>; COUNT]) -> [f64; COUNT] {
    let mut tree = Alignment::from_values(listed);
    let (mut rl, mut rr) = (tree.wheels.rl, tree.wheels.rr);
    for rear in [&mut rl, &mut rr] {
        // At the rear both are one reading.
        let toe = rear.toe_to_centreline_deg.or(rear.toe_deg);
        (rear.toe_deg, rear.toe_to_centreline_deg) = (rear.toe_deg.or(toe), toe);
    }
    (tree.wheels.rl, tree.wheels.rr) = (rl, rr);
    let of = |number: Option<f64>| number.unwrap_or(0.0);
    let thrust = tree
        .chassis
        .thrust_angle_deg
        .unwrap_or_else(|| vehicle::thrust_angle_deg(of(rl.toe_to_centreline_deg), of(rr.toe_to_centreline_deg)));
    tree.chassis.thrust_angle_deg = Some(thrust);
    for (side, front) in [(Side::Left, &mut tree.wheels.fl), (Side::Right, &mut tree.wheels.fr)] {
        let to_line = front
            .toe_deg
            .unwrap_or_else(|| vehicle::toe_to_thrust_line_deg(side, of(front.toe_to_centreline_deg), thrust));
        let to_centreline = front.toe_to_centreline_deg.unwrap_or(to_line + side.sign() * thrust);
        (front.toe_deg, front.toe_to_centreline_deg) = (Some(to_line), Some(to_centreline));
    }
    let ByWheel { fl, fr, rl, rr } = tree.wheels;
    for (axle, left, right) in [(&mut tree.axles.front, fl, fr), (&mut tree.axles.rear, rl, rr)] {
        let toe = of(left.toe_to_centreline_deg) + of(right.toe_to_centreline_deg);
        axle.total_toe_deg = axle.total_toe_deg.or(Some(toe));
        axle.cross_camber_deg = axle.cross_camber_deg.or(Some(of(left.camber_deg) - of(right.camber_deg)));
    }
    let steering = &mut tree.steering;
    for (axis, wheel) in [(&mut steering.left, fl), (&mut steering.right, fr)] {
        axis.included_angle_deg = axis.included_angle_deg.or(Some(of(axis.sai_deg) + of(wheel.camber_deg)));
    }
    let (left, right) = (steering.left, steering.right);
    let cross = |left, right| Some(of(left) - of(right));
    steering.cross_caster_deg = steering.cross_caster_deg.or(cross(left.caster_deg, right.caster_deg));
    steering.cross_sai_deg = steering.cross_sai_deg.or(cross(left.sai_deg, right.sai_deg));
    let ahead = vehicle::ahead_error(of(fl.toe_deg), of(fr.toe_deg));
    steering.ahead_error_deg = steering.ahead_error_deg.or(Some(ahead));
    // Components of vectors are listed one by one.
    let followed = tree.values();
    core::array::from_fn(|index| listed[index].or(followed[index]).unwrap_or(0.0))
}
