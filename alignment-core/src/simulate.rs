//! A virtual vehicle: a rigid car with known camber, toe, caster, SAI, offsets and clamp errors, that hands over poses as a rig would.
//!
//! It is built forward: wheels turn about real spindles, knuckles about real steering axes, the car stands askew in the rig, and a seed
//! makes the noise. No formula of the measuring side is inverted, so the two can check each other. It serves tests, demos and
//! exercises: [`VirtualVehicle::session`] is the exercise, [`VirtualVehicle::truth`] the answer key.
//!
//! An instructor gives it [`Faults`]: a bent knuckle, a shifted subframe, a camera that sees nothing. Each moves wheels and steering axes as rigid
//! bodies, and the answer key is that of the car as they have left it; [`diagnosis`](crate::diagnosis) says what the readings then hint at.

use crate::adjustment::{Adjuster, Effect};
use crate::alignment::Alignment;
use crate::error::{Error, ErrorCode};
pub use crate::faults::{
    AxleShift, BentKnuckle, BentSteeringArm, DeadCamera, Faults, PIVOT_HEIGHTS_MM, PivotEnd, ShiftedPivot,
};
use crate::frame::{Frame, Rig, Target, Transform, Vector, Vehicle};
use crate::layout::{ByAxle, BySide, ByWheel, Side, Wheel};
use crate::pose::Pose;
use crate::session::{
    CompensationMethod, MAX_FRAMES, Noise, PoseNoise, Reference, RollingBody, Session, Sighting, Stage, Station,
    SweepBody, TurnWheel,
};
use crate::steering::{SteeringAxisReadings, SteeringReadings};
use crate::turns::{self, LockReadings, TurnReadings, TurnsReadings};
use crate::units::{DEG_PER_RAD, deg_from_rad, hypot, rad_from_deg};
use crate::vehicle::{AxleReadings, ChassisReadings};
use crate::wheel::WheelReadings;
use alloc::vec;
use alloc::vec::Vec;
use nalgebra::{Rotation3, Unit, Vector3};
use rand::{RngExt, SeedableRng};
use rand_distr::{Distribution, StandardNormal};
use rand_pcg::Pcg64;

/// One virtual wheel, straight ahead.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(deny_unknown_fields))]
pub struct VirtualWheel {
    /// Camber, degrees, positive with the top outward.
    pub camber_deg: f64,
    /// Toe to the centreline, degrees, positive toe-in.
    pub toe_to_centreline_deg: f64,
    /// Caster, degrees, positive with the top rearward. Unused at the rear.
    pub caster_deg: f64,
    /// Steering-axis inclination, degrees, positive with the top inboard. Unused at the rear.
    pub sai_deg: f64,
    /// Caster trail, mm, positive when the axis meets the ground ahead of the contact centre. Unused at the rear.
    pub caster_trail_mm: f64,
    /// Scrub radius, mm, positive when the axis meets the ground inboard of the contact centre. Unused at the rear.
    pub scrub_radius_mm: f64,
    /// How the target is clamped.
    pub clamp: Clamp,
}

/// How a target sits on its wheel. All zero, it sits true: its z axis is the spindle, outward, its y axis up.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(deny_unknown_fields))]
pub struct Clamp {
    /// From the wheel's centre plane outward along the spindle to the target's origin, mm.
    pub standoff_mm: f64,
    /// How far the target's origin lies off the spindle: rearward and upward, mm.
    pub eccentricity_mm: [f64; 2],
    /// Tilt of the target's z axis from the spindle, degrees: the runout.
    pub tilt_deg: f64,
    /// The direction of that tilt about the spindle, degrees.
    pub tilt_bearing_deg: f64,
    /// How far the target is turned on the clamp about its own z axis, degrees.
    pub clock_deg: f64,
}

/// One virtual axle.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(deny_unknown_fields))]
pub struct VirtualAxle {
    /// The left wheel.
    pub left: VirtualWheel,
    /// The right wheel.
    pub right: VirtualWheel,
    /// Track between wheel centres, mm.
    pub track_mm: f64,
    /// Setback, mm, positive with the right wheel further rearward.
    pub setback_mm: f64,
    /// Rolling radius, and loaded radius as well, mm.
    pub rolling_radius_mm: f64,
}

/// How the body moves on its plates while the front wheels are steered, at the greatest steer of the sweep. In between, rise and pitch go with
/// the square of the steer, the others with the steer itself.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(deny_unknown_fields))]
pub struct BodyMotion {
    /// Upward, mm.
    pub rise_mm: f64,
    /// Forward and to the left, mm.
    pub slide_mm: [f64; 2],
    /// About the vehicle's x axis, left side up, degrees.
    pub roll_deg: f64,
    /// About the vehicle's y axis, nose down, degrees.
    pub pitch_deg: f64,
    /// About the vehicle's z axis, to the left, degrees.
    pub yaw_deg: f64,
}

/// A fault: a target that slips on its clamp, round the spindle.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(deny_unknown_fields))]
pub struct ClampSlip {
    /// In which group of stations: rolling or sweep.
    pub stage: Stage,
    /// At which station of the group, counted from 0.
    pub station: usize,
    /// Whether it stays so at the later stations of the group.
    pub onward: bool,
    /// At which wheel.
    pub wheel: Wheel,
    /// By how much, as if the wheel rolled forward, degrees.
    pub angle_deg: f64,
}

/// A rigid car on a rig, and what is done with it.
#[derive(Debug, Clone, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(deny_unknown_fields))]
pub struct VirtualVehicle {
    /// Mean wheelbase, mm.
    pub wheelbase_mm: f64,
    /// The front axle.
    pub front: VirtualAxle,
    /// The rear axle.
    pub rear: VirtualAxle,
    /// Share of Ackermann's ideal that the linkage makes: 0 parallel steer, 1 ideal.
    pub ackermann_share: f64,
    /// By how much caster and SAI of the instantaneous steering axis have grown when the knuckle has turned by 20° to the left, degrees:
    /// linear in the turn, so that they shrink to the right. The axis pivots about its point at wheel-centre height. 0 is a rigid axis.
    pub axis_drift_deg: [f64; 2],
    /// Where the car stands in the rig, straight ahead: `rig_from_vehicle`.
    pub rig_from_vehicle: Pose,
    /// Roll angles of the front wheels at the rolling stations, forward positive, degrees.
    pub roll_deg: Vec<f64>,
    /// Direction in which the car travels as it rolls, to the left of the centreline, degrees: how much it crabs.
    pub travel_direction_deg: f64,
    /// How much the car turns to the left as it rolls, degrees per metre. A session with some says that the body turns.
    pub rolling_yaw_deg_per_m: f64,
    /// Whether the car is rolled, or raised and its wheels spun by `roll_deg`, one after the other.
    pub compensation: CompensationMethod,
    /// Commanded steer at the sweep stations, left positive, degrees: each wheel turns by more or less of it about its axis.
    pub sweep_deg: Vec<f64>,
    /// Whether the brake holds the wheels to their knuckles in the sweep; otherwise they roll as they are steered.
    pub sweep_wheels_locked: bool,
    /// How the body moves while the front wheels are steered.
    pub body_motion: BodyMotion,
    /// What the session says about that.
    pub sweep_body: SweepBody,
    /// Targets that slip.
    pub slips: Vec<ClampSlip>,
    /// What is wrong with the car and its cameras; every other number is that of the car before.
    #[cfg_attr(feature = "json", serde(default))]
    pub faults: Faults,
    /// Commanded steer at full lock, to either side, degrees; None leaves the locks out.
    pub lock_deg: Option<f64>,
    /// The choices that go into the session.
    pub reference: Reference,
    /// One standard deviation of every pose, per axis; None for none.
    pub pose_noise: Option<PoseNoise>,
    /// Frames of each wheel at each station, 1 to 10 000; each has its own noise.
    pub frames: usize,
    /// The seed of the noise.
    pub seed: u64,
}

impl Default for VirtualVehicle {
    /// A sound front-wheel-drive car, a little askew on its rig, clamps as they come, no noise.
    fn default() -> Self {
        let clamp = |tilt_deg, tilt_bearing_deg, clock_deg| Clamp {
            standoff_mm: 90.0,
            eccentricity_mm: [6.0, -4.0],
            tilt_deg,
            tilt_bearing_deg,
            clock_deg,
        };
        let front = VirtualWheel {
            camber_deg: -0.5,
            toe_to_centreline_deg: 0.1,
            caster_deg: 4.0,
            sai_deg: 13.0,
            caster_trail_mm: 18.0,
            scrub_radius_mm: -6.0,
            clamp: clamp(1.2, 40.0, 15.0),
        };
        let rear =
            VirtualWheel { camber_deg: -1.0, toe_to_centreline_deg: 0.15, clamp: clamp(0.8, 200.0, -30.0), ..front };
        Self {
            wheelbase_mm: 2620.0,
            front: VirtualAxle {
                left: front,
                right: VirtualWheel { clamp: clamp(0.6, -70.0, 5.0), caster_deg: 4.3, ..front },
                track_mm: 1540.0,
                setback_mm: 3.0,
                rolling_radius_mm: 308.0,
            },
            rear: VirtualAxle {
                left: rear,
                right: VirtualWheel { clamp: clamp(1.6, 110.0, 80.0), ..rear },
                track_mm: 1530.0,
                setback_mm: -2.0,
                rolling_radius_mm: 308.0,
            },
            ackermann_share: 0.6,
            axis_drift_deg: [0.0; 2],
            rig_from_vehicle: pose_of(&rotation([0.0, 0.0, 1.0], 1.0), [2500.0, 120.0, 310.0]),
            roll_deg: vec![-27.0, -13.5, 0.0, 13.5, 27.0],
            travel_direction_deg: 0.0,
            rolling_yaw_deg_per_m: 0.0,
            compensation: CompensationMethod::Rolled,
            sweep_deg: vec![-20.0, -15.0, -10.0, -5.0, 0.0, 5.0, 10.0, 15.0, 20.0],
            sweep_wheels_locked: true,
            body_motion: BodyMotion::default(),
            sweep_body: SweepBody::Still,
            slips: Vec::new(),
            faults: Faults::default(),
            lock_deg: Some(34.0),
            reference: Reference::default(),
            pose_noise: None,
            frames: 1,
            seed: 0,
        }
    }
}

impl VirtualWheel {
    /// A direction of an upright wheel that points straight ahead, as this one stands: tipped to the camber about x, then yawed to the toe about z.
    pub(crate) fn leaning(&self, side: Side, v: Vector<Vehicle>) -> Vector<Vehicle> {
        let tipped = turn_about(FORWARD, rad_from_deg(-side.sign() * self.camber_deg), v);
        turn_about(UP, rad_from_deg(-side.sign() * self.toe_to_centreline_deg), tipped)
    }

    /// Outward spindle: across the car, leaning as the wheel does.
    pub(crate) fn spindle(&self, side: Side) -> Vector<Vehicle> {
        self.leaning(side, Vector::new([0.0, side.sign(), 0.0]))
    }
}

impl VirtualVehicle {
    /// A car drawn at random by a seed, far beyond what is sound: caster −5 to 15°, SAI 0 to 20°, camber ± 8°, toe ± 3°, clamp tilt to
    /// 5°, standing askew by any angle in a tilted rig, crabbing by up to 2°, ungiven to symmetry. No noise.
    ///
    /// ```
    /// # use alignment_core::simulate::VirtualVehicle;
    /// assert_eq!(VirtualVehicle::random(7), VirtualVehicle::random(7));
    /// ```
    #[must_use]
    pub fn random(seed: u64) -> Self {
        let mut rng = Pcg64::seed_from_u64(seed);
        let mut between = |least: f64, most: f64| rng.random_range(least..=most);
        let mut wheel = || VirtualWheel {
            camber_deg: between(-8.0, 8.0),
            toe_to_centreline_deg: between(-3.0, 3.0),
            caster_deg: between(-5.0, 15.0),
            sai_deg: between(0.0, 20.0),
            caster_trail_mm: between(-30.0, 60.0),
            scrub_radius_mm: between(-40.0, 80.0),
            clamp: Clamp {
                standoff_mm: between(-50.0, 250.0),
                eccentricity_mm: [between(-30.0, 30.0), between(-30.0, 30.0)],
                tilt_deg: between(0.0, 5.0),
                tilt_bearing_deg: between(-180.0, 180.0),
                clock_deg: between(-180.0, 180.0),
            },
        };
        let wheels = [wheel(), wheel(), wheel(), wheel()];
        let mut axle = |left, right| VirtualAxle {
            left,
            right,
            track_mm: between(1300.0, 1750.0),
            setback_mm: between(-20.0, 20.0),
            rolling_radius_mm: between(250.0, 400.0),
        };
        let (front, rear) = (axle(wheels[0], wheels[1]), axle(wheels[2], wheels[3]));
        let tilt = rotation([between(-1.0, 1.0), between(-1.0, 1.0), 0.1], between(-20.0, 20.0));
        let askew = rotation([0.0, 0.0, 1.0], between(-180.0, 180.0));
        let origin = [between(-4000.0, 4000.0), between(-4000.0, 4000.0), between(-1000.0, 1000.0)];
        Self {
            wheelbase_mm: between(2200.0, 3300.0),
            front,
            rear,
            ackermann_share: between(0.0, 1.0),
            rig_from_vehicle: pose_of(&(tilt * askew), origin),
            travel_direction_deg: between(-2.0, 2.0),
            seed,
            ..Self::default()
        }
    }

    /// The session that a rig would hand over about this car.
    ///
    /// ```
    /// # use alignment_core::simulate::VirtualVehicle;
    /// let session = VirtualVehicle::default().session();
    /// assert_eq!((session.rolling.len(), session.sweep.len()), (5, 9));
    /// ```
    #[must_use]
    pub fn session(&self) -> Session {
        let mut session = self.faulted().seen_whole();
        self.faults.blind(&mut session);
        session
    }

    /// The session of a car whose faults have moved its wheels already, and whose cameras see everything.
    fn seen_whole(&self) -> Session {
        let mut rng = Pcg64::seed_from_u64(self.seed);
        let mut look = |moment: &Moment| self.station(moment, &mut rng);
        let slip = |stage: Stage, index: usize| {
            let slipped = |slip: &&ClampSlip| {
                slip.stage == stage && (slip.station == index || slip.onward && slip.station < index)
            };
            ByWheel::from_fn(|wheel| {
                let of_wheel = self.slips.iter().filter(slipped).filter(|slip| slip.wheel == wheel);
                of_wheel.map(|slip| slip.angle_deg).sum()
            })
        };
        let mut rolling: Vec<Station> = Vec::new();
        match self.compensation {
            CompensationMethod::Rolled => {
                for (index, &roll_deg) in self.roll_deg.iter().enumerate() {
                    rolling.push(look(&Moment {
                        roll_deg,
                        slip_deg: slip(Stage::Rolling, index),
                        ..Moment::default()
                    }));
                }
            }
            CompensationMethod::Spun => {
                for wheel in Wheel::ALL {
                    for (index, &angle_deg) in self.roll_deg.iter().enumerate() {
                        let mut spin_deg = slip(Stage::Rolling, index);
                        *spin_deg.get_mut(wheel) += angle_deg;
                        let mut seen = look(&Moment { slip_deg: spin_deg, ..Moment::default() });
                        let mut station = Station::default();
                        *station.get_mut(wheel) = core::mem::take(seen.get_mut(wheel));
                        rolling.push(station);
                    }
                }
            }
        }
        let ahead = look(&Moment::default());
        let most = self.sweep_deg.iter().fold(1.0, |most: f64, steer| most.max(steer.abs()));
        let sweep = self.sweep_deg.iter().enumerate().map(|(index, &steer_deg)| {
            // A free wheel rolls on its plate as the knuckle carries it round the axis; by how much is no matter, so long as it does.
            let mut slip_deg = slip(Stage::Sweep, index);
            if !self.sweep_wheels_locked {
                for wheel in [Wheel::Fl, Wheel::Fr] {
                    *slip_deg.get_mut(wheel) += 0.3 * steer_deg;
                }
            }
            look(&Moment { steer_deg, slip_deg, body: steer_deg / most, ..Moment::default() })
        });
        let sweep: Vec<Station> = sweep.collect();
        let mut lock = |side: Side| {
            let steer_deg = self.lock_deg? * side.sign();
            Some(look(&Moment { steer_deg, body: side.sign(), ..Moment::default() }))
        };
        Session {
            up: Some(self.to_rig().direction(UP).to_array()),
            clamp_standoff_mm: ByWheel::from_fn(|wheel| self.wheel(wheel).clamp.standoff_mm),
            pose_noise: self.pose_noise.map(Noise::PerAxis),
            loaded_radius_mm: Some(ByAxle {
                front: Some(self.front.rolling_radius_mm),
                rear: Some(self.rear.rolling_radius_mm),
            }),
            compensation: self.compensation,
            rolling_body: if self.rolling_yaw_deg_per_m == 0.0 { RollingBody::Translates } else { RollingBody::Turns },
            rolling,
            ahead,
            sweep_body: self.sweep_body,
            sweep_wheels_locked: (!sweep.is_empty()).then_some(self.sweep_wheels_locked),
            sweep,
            lock_left: lock(Side::Left),
            lock_right: lock(Side::Right),
            reference: self.reference,
            ..Session::default()
        }
    }

    /// The readings that this car has, from the numbers it was built from: the answer key.
    ///
    /// Toe-out on turns is found by steering the virtual car until the asked-for wheel stands at its angle. The centreline is the
    /// one between the axle midpoints. A steering axis that moves ([`axis_drift_deg`](Self::axis_drift_deg)) is given as it stands straight
    /// ahead, with no residual. The answer key is that of the car with its [`faults`](Self::faults), and has what a dead camera hides.
    ///
    /// ```
    /// # use alignment_core::simulate::VirtualVehicle;
    /// let car = VirtualVehicle::default();
    /// assert_eq!(car.truth().wheels.fl.camber_deg, Some(car.front.left.camber_deg));
    /// ```
    #[must_use]
    pub fn truth(&self) -> Alignment {
        self.faulted().readings()
    }

    /// The readings of a car whose faults have moved its wheels already.
    fn readings(&self) -> Alignment {
        let toe = ByWheel::from_fn(|wheel| self.wheel(wheel).toe_to_centreline_deg);
        let thrust = (toe.rl - toe.rr) / 2.0;
        let wheels = ByWheel::from_fn(|wheel| {
            let this = self.wheel(wheel);
            let front = wheel.is_front();
            let to_thrust = if front { wheel.side().sign() * thrust } else { 0.0 };
            WheelReadings {
                camber_deg: Some(this.camber_deg),
                toe_deg: Some(this.toe_to_centreline_deg - to_thrust),
                toe_to_centreline_deg: Some(this.toe_to_centreline_deg),
                centre_mm: Some(self.centre(wheel).to_array()),
                spindle: Some(self.spindle(wheel).to_array()),
                runout_deg: Some(this.clamp.tilt_deg),
                rolling_radius_mm: match self.compensation {
                    CompensationMethod::Rolled => Some(self.axle(wheel).rolling_radius_mm),
                    CompensationMethod::Spun => None,
                },
            }
        });
        let axle = |axle: &VirtualAxle, left: Wheel| {
            let at_ground = self.contact(left) - self.contact(left.opposite());
            AxleReadings {
                total_toe_deg: Some(axle.left.toe_to_centreline_deg + axle.right.toe_to_centreline_deg),
                cross_camber_deg: Some(axle.left.camber_deg - axle.right.camber_deg),
                track_mm: Some(axle.track_mm),
                track_at_ground_mm: Some(at_ground.y()),
                setback_deg: Some(deg_from_rad(libm::atan(axle.setback_mm / axle.track_mm))),
                setback_mm: Some(axle.setback_mm),
            }
        };
        let (front, rear) = (&self.front, &self.rear);
        let half_difference = (front.setback_mm - rear.setback_mm) / 2.0;
        // Diagonals and offset by plane geometry: setbacks shift the ends, half the tracks span them.
        let (along, mean_track) = ((front.setback_mm + rear.setback_mm) / 2.0, (front.track_mm + rear.track_mm) / 2.0);
        let (fl_rr, fr_rl) =
            (hypot(self.wheelbase_mm + along, mean_track), hypot(self.wheelbase_mm - along, mean_track));
        let front_setback_rad = libm::atan(front.setback_mm / front.track_mm);
        let chassis = ChassisReadings {
            thrust_angle_deg: Some(thrust),
            wheelbase_left_mm: Some(self.wheelbase_mm + half_difference),
            wheelbase_right_mm: Some(self.wheelbase_mm - half_difference),
            wheelbase_difference_mm: Some(2.0 * half_difference),
            diagonal_fl_rr_mm: Some(fl_rr),
            diagonal_fr_rl_mm: Some(fr_rl),
            diagonal_difference_mm: Some(fl_rr - fr_rl),
            track_difference_mm: Some(front.track_mm - rear.track_mm),
            axle_offset_mm: Some(-self.wheelbase_mm * libm::sin(front_setback_rad)),
        };
        Alignment {
            wheels,
            axles: ByAxle { front: axle(front, Wheel::Fl), rear: axle(rear, Wheel::Rl) },
            chassis,
            steering: self.steering_truth(&wheels),
            turns: self.turns_truth(),
        }
    }

    /// The car once these adjusters have been turned by these amounts, each in its units, one after the other as they are listed.
    ///
    /// Knuckles turn about the lines of the adjusters, which are given in this car's vehicle frame and stand still in its body, or about their own
    /// steering axes; then every wheel stands on the ground again, straight up or down. What the car is built of is read off anew where
    /// the wheels have come to stand: camber, toe, caster, SAI, trail and scrub, tracks, setbacks, wheelbase, and where the car stands in the rig.
    ///
    /// # Errors
    /// [`ErrorCode::MissingInput`] for an adjuster whose effect is no geometry, a rear wheel that is to turn about its steering axis, or fewer or
    /// more amounts than adjusters; [`ErrorCode::NotFinite`].
    ///
    /// ```
    /// # use alignment_core::adjustment::{Adjuster, Effect, Rigid};
    /// # use alignment_core::{ByWheel, measure, simulate::VirtualVehicle};
    /// let car = VirtualVehicle::default();
    /// let turned = Rigid {
    ///     wheels: ByWheel { fl: true, ..ByWheel::default() },
    ///     line: None,
    ///     turn_deg: -0.86,
    ///     shift_mm: 0.0,
    ///     carries_axis: false,
    /// };
    /// let tie_rod = Adjuster {
    ///     name: "left tie rod".into(),
    ///     unit: "turn".into(),
    ///     effect: Effect::Rigid(turned),
    ///     least: -10.0,
    ///     most: 10.0,
    ///     step: 0.0,
    /// };
    /// let after = car.adjusted(&[tie_rod], &[0.5])?;
    /// let more = after.front.left.toe_to_centreline_deg - car.front.left.toe_to_centreline_deg;
    /// assert!((more - 0.42).abs() < 0.005, "an axis that leans turns the wheel's heading a little less");
    /// let caster_deg = measure(&after.session())?.alignment.steering.left.caster_deg.unwrap();
    /// assert!((caster_deg - 4.0).abs() < 1e-4, "the axis stays, but for the centreline");
    /// # Ok::<(), alignment_core::Error>(())
    /// ```
    pub fn adjusted(&self, adjusters: &[Adjuster], amounts: &[f64]) -> Result<Self, Error> {
        let missing = |input| Error::new(ErrorCode::MissingInput).input(input);
        if adjusters.len() != amounts.len() {
            return Err(missing("amounts"));
        }
        let mut spindles = ByWheel::from_fn(|wheel| self.spindle(wheel));
        let mut centres = ByWheel::from_fn(|wheel| self.centre(wheel));
        let mut axes = ByWheel::from_fn(|wheel| wheel.is_front().then(|| self.axis(wheel)));
        for (adjuster, &amount) in adjusters.iter().zip(amounts) {
            let Effect::Rigid(rigid) = &adjuster.effect else { return Err(missing("rigid")) };
            for wheel in Wheel::ALL.into_iter().filter(|&wheel| *rigid.wheels.get(wheel)) {
                let (point, along) = match &rigid.line {
                    Some(line) => (Vector::new(line.point_mm), Vector::new(line.direction)),
                    None => (*axes.get(wheel)).ok_or(missing("line"))?,
                };
                let turn = rotation_about(along, rad_from_deg(rigid.turn_deg * amount));
                let shift = along.unit() * (rigid.shift_mm * amount);
                let move_point = |p: Vector<Vehicle>| point + turned(&turn, p - point) + shift;
                *spindles.get_mut(wheel) = turned(&turn, *spindles.get(wheel));
                *centres.get_mut(wheel) = move_point(*centres.get(wheel));
                if rigid.carries_axis {
                    let axis = axes.get_mut(wheel);
                    *axis = axis.map(|(ground, direction)| (move_point(ground), turned(&turn, direction)));
                }
            }
        }
        let after = self.built_of(&spindles, &centres, &axes);
        let numbers = after.rig_from_vehicle.translation_mm;
        let sound =
            numbers.iter().all(|v| v.is_finite()) && after.truth().values().iter().flatten().all(|v| v.is_finite());
        if sound { Ok(after) } else { Err(Error::new(ErrorCode::NotFinite).input("amounts")) }
    }

    /// The car whose wheels and steering axes have come to stand here, in the vehicle frame that it had.
    fn built_of(
        &self,
        spindles: &ByWheel<Vector<Vehicle>>,
        centres: &ByWheel<Vector<Vehicle>>,
        axes: &ByWheel<Option<(Vector<Vehicle>, Vector<Vehicle>)>>,
    ) -> Self {
        let middle = |left: Wheel, right: Wheel| (*centres.get(left) + *centres.get(right)) * 0.5;
        let (rear, front) = (middle(Wheel::Rl, Wheel::Rr), middle(Wheel::Fl, Wheel::Fr));
        let between = (front - rear).square_to(UP);
        let turn = Rotation3::from_axis_angle(&Vector3::z_axis(), libm::atan2(between.y(), between.x()));
        let back = |v: Vector<Vehicle>| turned(&turn.inverse(), v);
        let mut after = self.clone();
        after.wheelbase_mm = between.norm();
        for (axle, left, right) in [(&mut after.front, Wheel::Fl, Wheel::Fr), (&mut after.rear, Wheel::Rl, Wheel::Rr)] {
            let across = back(*centres.get(left) - *centres.get(right));
            (axle.track_mm, axle.setback_mm) = (across.y(), across.x());
            for wheel in [left, right] {
                let side = wheel.side().sign();
                let spindle = back(*spindles.get(wheel));
                let this = if side > 0.0 { &mut axle.left } else { &mut axle.right };
                let level = hypot(spindle.x(), spindle.y());
                this.camber_deg = -deg_from_rad(libm::atan2(spindle.z(), level));
                this.toe_to_centreline_deg = deg_from_rad(libm::atan2(spindle.x(), side * spindle.y()));
                let Some((point, direction)) = *axes.get(wheel) else { continue };
                let direction = back(direction);
                this.caster_deg = deg_from_rad(libm::atan(-direction.x() / direction.z()));
                this.sai_deg = deg_from_rad(libm::atan(-side * direction.y() / direction.z()));
                // From the wheel centre down the wheel plane to the contact centre, and from there to where the axis comes to the same height.
                let down = (UP * -1.0).square_to(spindle).unit() * axle.rolling_radius_mm;
                let from_contact = back(point - *centres.get(wheel)) - down;
                let at_ground = from_contact - direction * (from_contact.z() / direction.z());
                this.caster_trail_mm = at_ground.x();
                this.scrub_radius_mm = -side * at_ground.y();
            }
        }
        // The ground stays; the origin is as high above it as the rear wheel centres are.
        let height = |car: &Self| car.centre(Wheel::Rl).z() - car.contact(Wheel::Rl).z();
        let mean = |car: &Self| (height(car) + car.centre(Wheel::Rr).z() - car.contact(Wheel::Rr).z()) / 2.0;
        let origin = rear.square_to(UP) + UP * (mean(&after) - mean(self));
        let to_rig = self.to_rig();
        let axes = [FORWARD, UP.cross(FORWARD), UP].map(|axis| to_rig.direction(turned(&turn, axis)));
        after.rig_from_vehicle = Transform::<Rig, Vehicle>::from_axes(axes, to_rig.point(origin)).into();
        after
    }

    fn steering_truth(&self, wheels: &ByWheel<WheelReadings>) -> SteeringReadings {
        let ahead_error_deg = wheels.fr.toe_deg.zip(wheels.fl.toe_deg).map(|(right, left)| (right - left) / 2.0);
        if self.sweep_deg.is_empty() {
            return SteeringReadings { ahead_error_deg, ..SteeringReadings::default() };
        }
        let axis = |side: Side| {
            let wheel = side.front_wheel();
            let this = self.wheel(wheel);
            let (point, direction) = self.axis(wheel);
            let yaw = rad_from_deg(-side.sign() * this.toe_to_centreline_deg);
            let (forward, inboard) = (this.caster_trail_mm, this.scrub_radius_mm);
            let (sin, cos) = libm::sincos(yaw);
            SteeringAxisReadings {
                caster_deg: Some(this.caster_deg),
                sai_deg: Some(this.sai_deg),
                included_angle_deg: Some(this.sai_deg + this.camber_deg),
                caster_trail_mm: Some(forward),
                scrub_radius_mm: Some(inboard),
                caster_trail_in_wheel_plane_mm: Some(cos * forward - side.sign() * sin * inboard),
                scrub_radius_in_wheel_plane_mm: Some(side.sign() * sin * forward + cos * inboard),
                caster_to_body_deg: None,
                sai_to_body_deg: None,
                axis_direction: Some(direction.to_array()),
                axis_point_mm: Some((point + direction * (self.centre(wheel) - point).dot(direction)).to_array()),
                residual_deg: Some(0.0),
                residual_mm: Some(0.0),
            }
        };
        let mean = |steer_deg: f64| {
            Side::ALL.iter().map(|&side| self.steered_deg(side.front_wheel(), steer_deg)).sum::<f64>() / 2.0
        };
        let (least, most) = self
            .sweep_deg
            .iter()
            .map(|&steer| mean(steer))
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(least, most), steer| (steer.min(least), steer.max(most)));
        SteeringReadings {
            left: axis(Side::Left),
            right: axis(Side::Right),
            ahead_error_deg,
            cross_caster_deg: Some(self.front.left.caster_deg - self.front.right.caster_deg),
            cross_sai_deg: Some(self.front.left.sai_deg - self.front.right.sai_deg),
            sweep_range_deg: Some(most - least),
        }
    }

    fn turns_truth(&self) -> TurnsReadings {
        let lock = |side: Side| LockReadings {
            left_deg: self.lock_deg.map(|lock| self.steered_deg(Wheel::Fl, lock * side.sign())),
            right_deg: self.lock_deg.map(|lock| self.steered_deg(Wheel::Fr, lock * side.sign())),
        };
        TurnsReadings {
            left_turn: self.turn_truth(Side::Left),
            right_turn: self.turn_truth(Side::Right),
            lock_left: lock(Side::Left),
            lock_right: lock(Side::Right),
        }
    }

    fn turn_truth(&self, inside: Side) -> TurnReadings {
        let custom = self.reference.turn;
        let (asked, other) = match (custom.wheel, inside) {
            (TurnWheel::Inner, Side::Left) | (TurnWheel::Outer, Side::Right) => (Wheel::Fl, Wheel::Fr),
            (TurnWheel::Inner, Side::Right) | (TurnWheel::Outer, Side::Left) => (Wheel::Fr, Wheel::Fl),
        };
        let into = inside.sign();
        let reach = |steer: f64| into * self.steered_deg(asked, into * steer);
        let most = self.sweep_deg.iter().fold(0.0, |most: f64, steer| most.max(into * steer));
        if reach(most) < custom.angle_deg - turns::TURN_MARGIN_DEG {
            return TurnReadings::default();
        }
        let (mut least, mut most) = (0.0, most + 2.0 * turns::TURN_MARGIN_DEG);
        for _ in 0..60 {
            let middle = (least + most) / 2.0;
            if reach(middle) < custom.angle_deg {
                least = middle;
            } else {
                most = middle;
            }
        }
        let other_deg = into * self.steered_deg(other, into * least);
        let ground = BySide::from_fn(|side| {
            let wheel = side.front_wheel();
            self.contact(wheel).y() - side.sign() * self.wheel(wheel).scrub_radius_mm
        });
        let distance = ground.left - ground.right;
        let (inner, outer, ackermann_deg) = match custom.wheel {
            TurnWheel::Inner => {
                let ideal = turns::ackermann_outer_deg(custom.angle_deg, distance, self.wheelbase_mm);
                (custom.angle_deg, other_deg, ideal.map(|ideal| custom.angle_deg - ideal))
            }
            TurnWheel::Outer => {
                let ideal = turns::ackermann_inner_deg(custom.angle_deg, distance, self.wheelbase_mm);
                (other_deg, custom.angle_deg, ideal.map(|ideal| ideal - custom.angle_deg))
            }
        };
        TurnReadings {
            inner_deg: Some(inner),
            outer_deg: Some(outer),
            toe_out_deg: Some(inner - outer),
            ackermann_deg: ackermann_deg.ok(),
        }
    }

    /// The steer angle of a front wheel from its heading straight ahead, left positive, degrees, at a commanded steer.
    fn steered_deg(&self, wheel: Wheel, steer_deg: f64) -> f64 {
        let yaw = |spindle: Vector<Vehicle>| {
            // The heading is square to the spindle's horizontal trace.
            let side = wheel.side().sign();
            deg_from_rad(libm::atan2(-side * spindle.x(), side * spindle.y()))
        };
        let (_, turn) = self.knuckle(wheel, steer_deg);
        let straight = self.spindle(wheel);
        yaw(turned(&turn, straight)) - yaw(straight)
    }

    pub(crate) fn axle(&self, wheel: Wheel) -> &VirtualAxle {
        match wheel {
            Wheel::Fl | Wheel::Fr => &self.front,
            Wheel::Rl | Wheel::Rr => &self.rear,
        }
    }

    pub(crate) fn wheel(&self, wheel: Wheel) -> &VirtualWheel {
        match wheel.side() {
            Side::Left => &self.axle(wheel).left,
            Side::Right => &self.axle(wheel).right,
        }
    }

    pub(crate) fn to_rig(&self) -> Transform<Rig, Vehicle> {
        let [x, y, z] = [0, 1, 2]
            .map(|column| Vector::new([0, 1, 2].map(|row: usize| self.rig_from_vehicle.rotation[row][column])));
        Transform::from_axes([x, y, z], Vector::new(self.rig_from_vehicle.translation_mm))
    }

    /// Outward spindle.
    fn spindle(&self, wheel: Wheel) -> Vector<Vehicle> {
        self.wheel(wheel).spindle(wheel.side())
    }

    /// Wheel centre; all wheels stand on one ground.
    pub(crate) fn centre(&self, wheel: Wheel) -> Vector<Vehicle> {
        let height =
            |wheel: Wheel| self.axle(wheel).rolling_radius_mm * libm::cos(rad_from_deg(self.wheel(wheel).camber_deg));
        let origin_height = (height(Wheel::Rl) + height(Wheel::Rr)) / 2.0;
        let axle = self.axle(wheel);
        let side = wheel.side().sign();
        let axle_x = if wheel.is_front() { self.wheelbase_mm } else { 0.0 };
        Vector::new([axle_x + side * axle.setback_mm / 2.0, side * axle.track_mm / 2.0, height(wheel) - origin_height])
    }

    /// Contact centre: straight down the wheel plane from the centre, which leans with the camber and turns with the toe.
    pub(crate) fn contact(&self, wheel: Wheel) -> Vector<Vehicle> {
        let down = Vector::new([0.0, 0.0, -self.axle(wheel).rolling_radius_mm]);
        self.centre(wheel) + self.wheel(wheel).leaning(wheel.side(), down)
    }

    /// Steering axis straight ahead: its point on the ground and its direction upward.
    pub(crate) fn axis(&self, wheel: Wheel) -> (Vector<Vehicle>, Vector<Vehicle>) {
        let this = self.wheel(wheel);
        let side = wheel.side().sign();
        let ground = self.contact(wheel) + Vector::new([this.caster_trail_mm, -side * this.scrub_radius_mm, 0.0]);
        (ground, axis_direction(wheel.side(), this.caster_deg, this.sai_deg))
    }

    /// The motion of a knuckle from straight ahead to a commanded steer: the point that stays, and the turn about it.
    fn knuckle(&self, wheel: Wheel, steer_deg: f64) -> (Vector<Vehicle>, Rotation3<f64>) {
        let (ground, straight) = self.axis(wheel);
        let turn_rad = self.knuckle_rad(wheel, steer_deg);
        let [caster_drift_deg, sai_drift_deg] = self.axis_drift_deg;
        if caster_drift_deg == 0.0 && sai_drift_deg == 0.0 {
            return (ground, rotation_about(straight, turn_rad));
        }
        let pivot = ground + straight * ((self.centre(wheel).z() - ground.z()) / straight.z());
        let this = self.wheel(wheel);
        let step_rad = turn_rad / f64::from(DRIFT_STEPS);
        // Each step turns about the axis as it stands halfway through.
        let turn = (0..DRIFT_STEPS).fold(Rotation3::identity(), |turn, step| {
            let share = deg_from_rad(step_rad * (f64::from(step) + 0.5)) / 20.0;
            let (caster_deg, sai_deg) =
                (this.caster_deg + share * caster_drift_deg, this.sai_deg + share * sai_drift_deg);
            rotation_about(axis_direction(wheel.side(), caster_deg, sai_deg), step_rad) * turn
        });
        (pivot, turn)
    }

    /// How far a knuckle turns about its axis, radians, at a commanded steer: more on the inside of the turn.
    fn knuckle_rad(&self, wheel: Wheel, steer_deg: f64) -> f64 {
        let half = self.ackermann_share * self.front.track_mm / (2.0 * self.wheelbase_mm);
        let (sin, cos) = libm::sincos(rad_from_deg(steer_deg));
        self.faults.turn_factor(wheel) * libm::atan2(sin, cos - wheel.side().sign() * half * sin)
    }

    fn station(&self, moment: &Moment, rng: &mut Pcg64) -> Station {
        ByWheel::from_fn(|wheel| {
            let pose = self.pose(wheel, moment);
            let mut frame = || match self.pose_noise {
                Some(noise) => disturbed(&pose, noise, rng).into(),
                None => pose.into(),
            };
            if self.frames > 1 {
                Sighting::Frames((0..self.frames.min(MAX_FRAMES)).map(|_| frame()).collect())
            } else {
                Sighting::Pose(frame())
            }
        })
    }

    /// `rig_from_target` of one wheel at one moment.
    fn pose(&self, wheel: Wheel, moment: &Moment) -> Transform<Rig, Target> {
        let axle = self.axle(wheel);
        let clamp = &self.wheel(wheel).clamp;
        let (spindle, centre) = (self.spindle(wheel), self.centre(wheel));

        // The target on its wheel, straight ahead: z outward, y up the wheel plane, before it is tilted and clocked.
        let up = UP.square_to(spindle).unit();
        let forward = up.cross(spindle);
        let [along, upward] = clamp.eccentricity_mm;
        let side = wheel.side().sign();
        let mut origin = centre + spindle * clamp.standoff_mm + forward * (side * along) + up * upward;
        let tilt_axis = turn_about(spindle, rad_from_deg(clamp.tilt_bearing_deg), up);
        let mut axes = [forward, up, spindle].map(|axis| {
            let clocked = turn_about(spindle, rad_from_deg(clamp.clock_deg), axis);
            turn_about(tilt_axis, rad_from_deg(clamp.tilt_deg), clocked)
        });

        // It turns about the spindle, with the knuckle about the steering axis, and travels with the car.
        let mut turn_by = |turn: &Rotation3<f64>, point: Vector<Vehicle>| {
            axes = axes.map(|v| turned(turn, v));
            origin = point + turned(turn, origin - point);
        };
        let travel_mm = self.front.rolling_radius_mm * rad_from_deg(moment.roll_deg);
        let yaw_per_mm = rad_from_deg(self.rolling_yaw_deg_per_m) / 1000.0;
        // A wheel on the inside of the turn runs a shorter way.
        let way_mm = travel_mm * (1.0 - yaw_per_mm * centre.y());
        let roll_rad = way_mm / axle.rolling_radius_mm + rad_from_deg(*moment.slip_deg.get(wheel));
        turn_by(&rotation_about(spindle, side * roll_rad), centre);
        if wheel.is_front() {
            let (point, turn) = self.knuckle(wheel, moment.steer_deg);
            turn_by(&turn, point);
        }
        let yaw_rad = yaw_per_mm * travel_mm;
        let mut turn_body = |axis, angle_rad| turn_by(&rotation_about(axis, angle_rad), Vector::zero());
        turn_body(UP, yaw_rad);
        let BodyMotion { rise_mm, slide_mm: [forward_mm, left_mm], roll_deg, pitch_deg, yaw_deg } = self.body_motion;
        let (even, odd) = (moment.body * moment.body, moment.body);
        turn_body(FORWARD, rad_from_deg(odd * roll_deg));
        turn_body(UP.cross(FORWARD), rad_from_deg(even * pitch_deg));
        turn_body(UP, rad_from_deg(odd * yaw_deg));
        let moved = Vector::new([odd * forward_mm, odd * left_mm, even * rise_mm]);
        // The chord of an arc points halfway through its turn.
        let halfway = rad_from_deg(self.travel_direction_deg) + yaw_rad / 2.0;
        let chord_mm = if yaw_rad == 0.0 { travel_mm } else { travel_mm * libm::sin(yaw_rad / 2.0) / (yaw_rad / 2.0) };
        let travel = turn_about(UP, halfway, FORWARD) * chord_mm;
        let to_rig = self.to_rig();
        Transform::from_axes(axes.map(|axis| to_rig.direction(axis)), to_rig.point(origin + travel + moved))
    }
}

/// What is done with the car at one moment.
#[derive(Default)]
struct Moment {
    roll_deg: f64,
    steer_deg: f64,
    /// By how much each target has turned round its spindle beside the roll of the car.
    slip_deg: ByWheel<f64>,
    /// How far the body has moved, as a share of its motion; left positive.
    body: f64,
}

/// A pose as a camera sees it, with noise.
fn disturbed(pose: &Transform<Rig, Target>, noise: PoseNoise, rng: &mut Pcg64) -> Transform<Rig, Target> {
    let mut draw = |deviation: f64| {
        Vector3::from_fn(|_, _| {
            let unit: f64 = StandardNormal.sample(rng);
            unit * deviation
        })
    };
    let turn = Rotation3::new(draw(noise.rotation_deg / DEG_PER_RAD));
    let shift = draw(noise.translation_mm);
    Transform::from_parts(turn * pose.rotation, pose.origin() + Vector::wrap(shift))
}

/// So many small turns make up the motion of a knuckle whose axis moves: 1e-6° and better, for any drift of a car.
const DRIFT_STEPS: u32 = 200;

pub(crate) const FORWARD: Vector<Vehicle> = Vector::new([1.0, 0.0, 0.0]);
pub(crate) const UP: Vector<Vehicle> = Vector::new([0.0, 0.0, 1.0]);

/// Turns a vector about an axis by an angle, right-handed.
pub(crate) fn turn_about<F: Frame>(axis: Vector<F>, angle_rad: f64, v: Vector<F>) -> Vector<F> {
    turned(&rotation_about(axis, angle_rad), v)
}

fn turned<F: Frame>(turn: &Rotation3<f64>, v: Vector<F>) -> Vector<F> {
    Vector::wrap(turn * Vector3::from(v.to_array()))
}

fn rotation_about<F: Frame>(axis: Vector<F>, angle_rad: f64) -> Rotation3<f64> {
    Rotation3::from_axis_angle(&Unit::new_normalize(Vector3::from(axis.to_array())), angle_rad)
}

/// Direction of a steering axis, upward, through a second point 1 m higher.
fn axis_direction(side: Side, caster_deg: f64, sai_deg: f64) -> Vector<Vehicle> {
    let rearward = 1000.0 * libm::tan(rad_from_deg(caster_deg));
    let inboard = 1000.0 * libm::tan(rad_from_deg(sai_deg));
    Vector::new([-rearward, -side.sign() * inboard, 1000.0]).unit()
}

fn rotation(axis: [f64; 3], angle_deg: f64) -> Rotation3<f64> {
    Rotation3::from_axis_angle(&Unit::new_normalize(Vector3::from(axis)), rad_from_deg(angle_deg))
}

fn pose_of(rotation: &Rotation3<f64>, translation_mm: [f64; 3]) -> Pose {
    Pose { rotation: rotation.matrix().transpose().into(), translation_mm }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure;

    /// No source: the numbers are what the car gave while its axes could not move.
    #[test]
    fn an_axis_that_does_not_drift_is_the_rigid_one_to_the_last_bit() {
        let car = VirtualVehicle { axis_drift_deg: [0.0, -0.0], ..VirtualVehicle::default() };
        let session = car.session();
        let Sighting::Pose(seen) = session.sweep[0].fl else { panic!("one frame") };
        let expected = Pose {
            rotation: [
                [-0.907_063_724_098_877_9, 0.308_342_601_102_570_4, 0.286_636_077_228_907],
                [0.259_976_992_508_090_9, -0.125_267_877_400_499_08, 0.957_454_919_177_932_9],
                [0.331_130_433_198_645_8, 0.942_991_409_948_613_7, 0.033_463_965_288_090_15],
            ],
            translation_mm: [5_148.352_146_540_756, 1_019.441_728_535_056_1, 308.570_250_735_500_74],
        };
        assert_eq!(seen, expected);
        let Some(Sighting::Pose(seen)) = session.lock_left.map(|station| station.fr) else { panic!("one frame") };
        let expected_mm: [f64; 3] = [5_203.508_941_069_609, -672.759_232_072_068_2, 307.912_352_591_084_1];
        assert_eq!(seen.translation_mm.map(f64::to_bits), expected_mm.map(f64::to_bits));
    }

    /// Common practice, no source: the axis between two stations near each other is the instantaneous one halfway, but for
    /// a twelfth of the step times its drift in it: 2e-4°.
    #[test]
    fn an_axis_that_drifts_does_so_in_step_with_the_turn_and_stands_true_straight_ahead() {
        let [caster_drift_deg, sai_drift_deg] = [0.5, -0.3];
        let car = VirtualVehicle {
            axis_drift_deg: [caster_drift_deg, sai_drift_deg],
            ackermann_share: 0.0, // a knuckle turns as it is told to
            sweep_deg: (-10..=10).map(|step| 2.0 * f64::from(step)).collect(),
            ..VirtualVehicle::default()
        };
        let axes = measure(&car.session()).unwrap().instantaneous_axes;
        for (axes, wheel) in [(axes.left, car.front.left), (axes.right, car.front.right)] {
            assert_eq!(axes.len(), 20);
            for axis in axes {
                let share = (car.sweep_deg[axis.stations[0]] + 1.0) / 20.0;
                assert!((axis.caster_deg - wheel.caster_deg - share * caster_drift_deg).abs() < 3e-4, "{axis:?}");
                assert!((axis.sai_deg - wheel.sai_deg - share * sai_drift_deg).abs() < 3e-4, "{axis:?}");
                // The point at the height of the wheel centre stays, so the axis meets the ground further on by that height.
                let height_mm = car.front.rolling_radius_mm * libm::cos(rad_from_deg(wheel.camber_deg));
                let tan = |angle_deg: f64| libm::tan(rad_from_deg(angle_deg));
                let trail_mm = wheel.caster_trail_mm + height_mm * (tan(axis.caster_deg) - tan(wheel.caster_deg));
                let scrub_mm = wheel.scrub_radius_mm - height_mm * (tan(axis.sai_deg) - tan(wheel.sai_deg));
                assert!((axis.caster_trail_mm.unwrap() - trail_mm).abs() < 1e-3, "{axis:?}, {trail_mm}");
                assert!((axis.scrub_radius_mm.unwrap() - scrub_mm).abs() < 1e-3, "{axis:?}, {scrub_mm}");
            }
        }
    }
}
