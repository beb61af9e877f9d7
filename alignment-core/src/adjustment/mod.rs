//! What to turn, and by how much: from readings and adjusters to a car within its specification.
//!
//! Plain formulas come first, one for each kind of adjuster, and a solver for all of them together:
//!
//! | adjuster | function |
//! |---|---|
//! | tie rod | [`tie_rod_steer_deg`], [`tie_rod_turns`]; both with the steering wheel centred: [`toe_changes_deg`] |
//! | eccentric | [`eccentric_shift_mm`], [`eccentric_angles_deg`] |
//! | slotted mount, or one moved by an eccentric | [`slot_tilt_deg`], [`slot_shift_mm`] |
//! | shims of a wishbone | [`shim_thicknesses_mm`] |
//! | subframe in its clearance holes | [`subframe_shift`] |
//! | tapered shim between hub and axle | [`tapered_shim`], [`tapered_shim_changes`], [`tapered_shim_on_shelf`] |
//! | any set of them | [`fewest_moves`], with [`effects`] and [`foresee`] |
//!
//! # Order
//! Rear before front: rear toe moves the thrust line, to which front toe is set. At either end a subframe comes first, then camber and caster, then
//! toe, which they change. [`fewest_moves`] puts the moves in that order and foresees after each what the readings will be, so that the wheels are
//! set once and not in circles.
//!
//! # The wheel as a rigid body
//! An adjuster turns its wheel about a line, or shifts it along one: the pivots of a wishbone, the line through two bolts of which one has an
//! eccentric, the steering axis that a tie rod turns it about. Moved, the wheel stands on its ground again, straight up or down; the body stays.
//! Springs, bushes and tyres do not give. A real suspension guides the wheel by more than one link: a lower arm moved outward swings the wheel
//! about the line through the upper mount and the outer end of the tie rod, and that is the line to give. Where lines are not known, effects can be
//! measured: turn by one unit, read again, hand over the difference.
//!
//! # Cautions
//! The vehicle maker's procedure decides what may be adjusted, in which order, at which load and to which torque. Support the car before you go
//! under it, settle the suspension before you read again, and measure after the last nut is tight. A maker may forbid what geometry
//! allows.

mod adjuster;
mod geometry;
mod least_squares;
mod order;
mod search;
mod solver;

pub use adjuster::{
    Adjuster, Adjustment, Effect, Line, Move, NOMINAL_WITHIN_DEG, Request, Rigid, SHIFT_RANGE_MM, Stance,
    TURN_RANGE_DEG, Unmet,
};
pub use search::MM_PER_DEG;
pub use solver::{MAX_ADJUSTERS, effects, fewest_moves, foresee};

use crate::error::{Error, ErrorCode};
use crate::gauge::AxisAngles;
use crate::session::check_range;
use crate::units::{DEG_PER_RAD, atan2_deg, hypot, rad_from_deg, within_half_turn_deg};

/// The least and greatest pitch of a tie rod's thread, mm per turn; of a sleeve with two threads that of both together.
pub const THREAD_PITCH_RANGE_MM: [f64; 2] = [0.2, 10.0];
/// The least and greatest distance of a joint from the line about which it turns a wheel, mm.
pub const LEVER_RANGE_MM: [f64; 2] = [10.0, 3000.0];
/// How far a tie rod may turn a wheel, degrees.
pub const STEER_RANGE_DEG: [f64; 2] = [-30.0, 30.0];
/// The least and greatest ratio of the steering wheel's turn to that of the road wheels.
pub const STEERING_RATIO_RANGE: [f64; 2] = [1.0, 50.0];
/// The least and greatest eccentricity of a cam, mm.
pub const ECCENTRICITY_RANGE_MM: [f64; 2] = [0.01, 100.0];
/// The least and greatest taper of a shim, degrees.
pub const TAPER_RANGE_DEG: [f64; 2] = [0.0, 15.0];

/// The least and greatest angle of a wheel, and change of one, degrees.
const WHEEL_RANGE_DEG: [f64; 2] = [-20.0, 20.0];
/// Of a line that leans.
const LEAN_RANGE_DEG: [f64; 2] = [-60.0, 60.0];
/// The least and greatest shift of a mount, mm.
const SHIFT_RANGE: [f64; 2] = [-500.0, 500.0];

fn sin(angle_deg: f64) -> f64 {
    libm::sin(rad_from_deg(angle_deg))
}

fn tan(angle_deg: f64) -> f64 {
    libm::tan(rad_from_deg(angle_deg))
}

fn check_tie_rod(thread_pitch_mm: f64, arm_mm: f64) -> Result<(), Error> {
    check_range(ErrorCode::LengthOutOfRange, "thread_pitch_mm", thread_pitch_mm, THREAD_PITCH_RANGE_MM)?;
    check_range(ErrorCode::LengthOutOfRange, "arm_mm", arm_mm, LEVER_RANGE_MM)
}

/// By how much turning a tie rod turns its wheel about the steering axis, degrees: asin(turns·pitch/arm).
///
/// The arm stands square to the rod before it is turned; the rod keeps its direction, as a long one does. Of a sleeve with a right-hand and a
/// left-hand thread the pitch is that of both together. Positive turns give toe-in where you count them so: whether that is a longer rod depends
/// on whether it runs ahead of the axle or behind it.
///
/// # Errors
/// [`ErrorCode::NotFinite`]; [`ErrorCode::LengthOutOfRange`] for a pitch outside 0.2 to 10 mm or an arm outside 10 to 3000 mm;
/// [`ErrorCode::OutOfRange`] for turns that steer by more than 30°.
///
/// ```
/// # use alignment_core::adjustment::tie_rod_steer_deg;
/// assert!((tie_rod_steer_deg(1.0, 1.5, 100.0)? - 0.86).abs() < 0.005);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn tie_rod_steer_deg(turns: f64, thread_pitch_mm: f64, arm_mm: f64) -> Result<f64, Error> {
    check_tie_rod(thread_pitch_mm, arm_mm)?;
    // sin 30° is one half, and 1e-12 is rounding.
    let most = 0.5 * arm_mm / thread_pitch_mm * (1.0 + 1e-12);
    check_range(ErrorCode::OutOfRange, "turns", turns, [-most, most])?;
    Ok(DEG_PER_RAD * libm::asin(turns * thread_pitch_mm / arm_mm))
}

/// How many turns of a tie rod turn its wheel about the steering axis by an angle in degrees: arm·sin(angle)/pitch, of the sign of the angle.
///
/// The geometry is that of [`tie_rod_steer_deg`].
///
/// # Errors
/// [`ErrorCode::NotFinite`]; [`ErrorCode::AngleOutOfRange`] beyond ± 30°; [`ErrorCode::LengthOutOfRange`] as there.
///
/// ```
/// # use alignment_core::adjustment::tie_rod_turns;
/// assert!((tie_rod_turns(0.43, 1.5, 100.0)? - 0.5).abs() < 1e-3);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn tie_rod_turns(steer_deg: f64, thread_pitch_mm: f64, arm_mm: f64) -> Result<f64, Error> {
    check_tie_rod(thread_pitch_mm, arm_mm)?;
    check_range(ErrorCode::AngleOutOfRange, "steer_deg", steer_deg, STEER_RANGE_DEG)?;
    Ok(arm_mm * sin(steer_deg) / thread_pitch_mm)
}

/// By how much the toe of either front wheel has to change.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ToeChanges {
    /// Of the left wheel, degrees, positive toe-in.
    pub left_deg: f64,
    /// Of the right wheel, degrees, positive toe-in.
    pub right_deg: f64,
}

/// By how much each tie rod has to change the toe of its wheel, degrees, so that total toe is as wanted and the car runs straight with its steering
/// wheel centred.
///
/// The front wheels stand at these toes, to the thrust line, with the steering wheel turned by `steering_wheel_deg` to the left; brought to its
/// centre it turns both to the right by that over the steering ratio. Each wheel then has to have half the total toe:
///
/// left = total/2 − toe_left − wheel/ratio, right = total/2 − toe_right + wheel/ratio.
///
/// # Errors
/// [`ErrorCode::NotFinite`]; [`ErrorCode::AngleOutOfRange`] for a toe beyond ± 20° or a steering wheel beyond ± 360°; [`ErrorCode::OutOfRange`]
/// for a ratio outside 1 to 50.
///
/// ```
/// # use alignment_core::adjustment::toe_changes_deg;
/// // Total toe is right, but the steering wheel stands 8° to the left when the car runs straight.
/// let changes = toe_changes_deg(0.1, 0.1, 0.2, 8.0, 16.0)?;
/// assert!((changes.left_deg + 0.5).abs() < 1e-12 && (changes.right_deg - 0.5).abs() < 1e-12);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn toe_changes_deg(
    left_toe_deg: f64,
    right_toe_deg: f64,
    total_toe_deg: f64,
    steering_wheel_deg: f64,
    steering_ratio: f64,
) -> Result<ToeChanges, Error> {
    for (name, toe) in
        [("left_toe_deg", left_toe_deg), ("right_toe_deg", right_toe_deg), ("total_toe_deg", total_toe_deg)]
    {
        check_range(ErrorCode::AngleOutOfRange, name, toe, WHEEL_RANGE_DEG)?;
    }
    check_range(ErrorCode::AngleOutOfRange, "steering_wheel_deg", steering_wheel_deg, [-360.0, 360.0])?;
    check_range(ErrorCode::OutOfRange, "steering_ratio", steering_ratio, STEERING_RATIO_RANGE)?;
    let (each, back) = (total_toe_deg / 2.0, steering_wheel_deg / steering_ratio);
    Ok(ToeChanges { left_deg: each - left_toe_deg - back, right_deg: each - right_toe_deg + back })
}

/// How far an eccentric pushes what it guides, mm, along the direction in which it can move: eccentricity·sin(angle), the angle in degrees from its
/// middle position.
///
/// # Errors
/// [`ErrorCode::NotFinite`]; [`ErrorCode::LengthOutOfRange`] for an eccentricity outside 0.01 to 100 mm; [`ErrorCode::AngleOutOfRange`] beyond
/// ± 360°.
///
/// ```
/// # use alignment_core::adjustment::eccentric_shift_mm;
/// assert!((eccentric_shift_mm(5.0, 30.0)? - 2.5).abs() < 1e-12);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn eccentric_shift_mm(eccentricity_mm: f64, angle_deg: f64) -> Result<f64, Error> {
    check_range(ErrorCode::LengthOutOfRange, "eccentricity_mm", eccentricity_mm, ECCENTRICITY_RANGE_MM)?;
    check_range(ErrorCode::AngleOutOfRange, "angle_deg", angle_deg, [-360.0, 360.0])?;
    Ok(eccentricity_mm * sin(angle_deg))
}

/// The two positions of an eccentric that give one shift.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EccentricAngles {
    /// The one nearer to the middle position, degrees, −90 to 90.
    pub near_deg: f64,
    /// The one beyond the end of its stroke, degrees: 180 less the other.
    pub far_deg: f64,
}

/// Where an eccentric has to stand for a shift in mm: asin(shift/eccentricity) from its middle position, degrees, and 180° less that.
///
/// # Errors
/// [`ErrorCode::NotFinite`]; [`ErrorCode::LengthOutOfRange`] for an eccentricity outside 0.01 to 100 mm, or a shift beyond it.
///
/// ```
/// # use alignment_core::adjustment::eccentric_angles_deg;
/// let angles = eccentric_angles_deg(2.5, 5.0)?;
/// assert!((angles.near_deg - 30.0).abs() < 1e-12 && (angles.far_deg - 150.0).abs() < 1e-12);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn eccentric_angles_deg(shift_mm: f64, eccentricity_mm: f64) -> Result<EccentricAngles, Error> {
    check_range(ErrorCode::LengthOutOfRange, "eccentricity_mm", eccentricity_mm, ECCENTRICITY_RANGE_MM)?;
    check_range(ErrorCode::LengthOutOfRange, "shift_mm", shift_mm, [-eccentricity_mm, eccentricity_mm])?;
    let near_deg = DEG_PER_RAD * libm::asin(shift_mm / eccentricity_mm);
    Ok(EccentricAngles { near_deg, far_deg: 180.0 - near_deg })
}

fn check_slot(height_mm: f64, inclination_deg: f64) -> Result<(), Error> {
    check_range(ErrorCode::LengthOutOfRange, "height_mm", height_mm, LEVER_RANGE_MM)?;
    check_range(ErrorCode::AngleOutOfRange, "inclination_deg", inclination_deg, LEAN_RANGE_DEG)
}

/// By how much a strut leans further when the mount at its top is shifted in its slot, degrees: atan(tan(inclination) + shift/height) −
/// inclination.
///
/// The strut stands on a joint that stays, `height_mm` below the slot, which is level; it leans by `inclination_deg` toward the side to which the shift
/// counts. Camber and caster, or SAI, change by as much, in the view in which the slot runs.
///
/// # Errors
/// [`ErrorCode::NotFinite`]; [`ErrorCode::LengthOutOfRange`] for a height outside 10 to 3000 mm or a shift beyond ± 500 mm;
/// [`ErrorCode::AngleOutOfRange`] for an inclination beyond ± 60°.
///
/// ```
/// # use alignment_core::adjustment::slot_tilt_deg;
/// assert!((slot_tilt_deg(10.0, 600.0, 12.0)? - 0.91).abs() < 0.01);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn slot_tilt_deg(shift_mm: f64, height_mm: f64, inclination_deg: f64) -> Result<f64, Error> {
    check_slot(height_mm, inclination_deg)?;
    check_range(ErrorCode::LengthOutOfRange, "shift_mm", shift_mm, SHIFT_RANGE)?;
    // The difference of two angles, of which neither is subtracted: tan(a − b) = (tan a − tan b)/(1 + tan a·tan b).
    let before = tan(inclination_deg);
    let by = shift_mm / height_mm;
    Ok(atan2_deg(by, 1.0 + before * (before + by)))
}

/// How far the mount at the top of a strut has to be shifted for it to lean further by an angle, mm: height·(tan(inclination + tilt) −
/// tan(inclination)).
///
/// The geometry is that of [`slot_tilt_deg`].
///
/// # Errors
/// [`ErrorCode::NotFinite`]; [`ErrorCode::LengthOutOfRange`] for a height outside 10 to 3000 mm; [`ErrorCode::AngleOutOfRange`] for an inclination
/// beyond ± 60° or a tilt beyond ± 20°.
///
/// ```
/// # use alignment_core::adjustment::{slot_shift_mm, slot_tilt_deg};
/// let shift_mm = slot_shift_mm(0.5, 600.0, 12.0)?;
/// assert!((slot_tilt_deg(shift_mm, 600.0, 12.0)? - 0.5).abs() < 1e-12);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn slot_shift_mm(tilt_deg: f64, height_mm: f64, inclination_deg: f64) -> Result<f64, Error> {
    check_slot(height_mm, inclination_deg)?;
    check_range(ErrorCode::AngleOutOfRange, "tilt_deg", tilt_deg, WHEEL_RANGE_DEG)?;
    // tan(a + t) − tan a = tan t·(1 + tan² a)/(1 − tan a·tan t).
    let (before, by) = (tan(inclination_deg), tan(tilt_deg));
    Ok(height_mm * by * (1.0 + before * before) / (1.0 - before * by))
}

/// By how much the shims of a wishbone have to grow at its two bolts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ShimThicknesses {
    /// At the front bolt, mm; negative for shims to be taken out.
    pub front_mm: f64,
    /// At the rear bolt, mm.
    pub rear_mm: f64,
}

/// By how much the shims behind the two bolts of a wishbone have to grow, mm, for a change of camber and caster in degrees. The law is linear, in the two
/// effects that makers state: 1 mm more at both bolts changes camber by `camber_deg_per_mm`, and 1 mm moved from the rear bolt to the front one
/// changes caster by `caster_deg_per_mm`.
///
/// With f and r the growth at the front and at the rear, camber changes by C·(f + r)/2 and caster by K·(f − r)/2, so
///
/// f = camber/C + caster/K, r = camber/C − caster/K.
///
/// Both effects have the sign of the car at hand. They are positive where shims push an upper wishbone outward: at both bolts they bring the top
/// of the wheel outward, and at the front bolt alone they swing it rearward as well.
///
/// # Errors
/// [`ErrorCode::NotFinite`]; [`ErrorCode::AngleOutOfRange`] for a change beyond ± 20°; [`ErrorCode::OutOfRange`] for an effect that is not
/// 0.001 to 10° per mm in magnitude.
///
/// ```
/// # use alignment_core::adjustment::shim_thicknesses_mm;
/// let shims = shim_thicknesses_mm(0.5, -0.5, 0.25, 0.5)?;
/// assert_eq!((shims.front_mm, shims.rear_mm), (1.0, 3.0));
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn shim_thicknesses_mm(
    camber_change_deg: f64,
    caster_change_deg: f64,
    camber_deg_per_mm: f64,
    caster_deg_per_mm: f64,
) -> Result<ShimThicknesses, Error> {
    check_range(ErrorCode::AngleOutOfRange, "camber_change_deg", camber_change_deg, WHEEL_RANGE_DEG)?;
    check_range(ErrorCode::AngleOutOfRange, "caster_change_deg", caster_change_deg, WHEEL_RANGE_DEG)?;
    for (name, effect) in [("camber_deg_per_mm", camber_deg_per_mm), ("caster_deg_per_mm", caster_deg_per_mm)] {
        let range = if effect < 0.0 { [-10.0, -0.001] } else { [0.001, 10.0] };
        check_range(ErrorCode::OutOfRange, name, effect, range)?;
    }
    let (both, moved) = (camber_change_deg / camber_deg_per_mm, caster_change_deg / caster_deg_per_mm);
    Ok(ShimThicknesses { front_mm: both + moved, rear_mm: both - moved })
}

/// How a subframe has to be moved in its clearance holes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SubframeShift {
    /// To the left, mm.
    pub lateral_mm: f64,
    /// Forward, mm.
    pub longitudinal_mm: f64,
    /// To the left, about the middle between its two lower joints, degrees.
    pub yaw_deg: f64,
}

/// How a front subframe that carries the lower joints of both steering axes has to be moved so that caster is as wanted on both sides, and SAI alike on
/// both: mm and degrees. Camber changes by as much as SAI, the other way, for the included angle stays.
///
/// The upper mounts stay in the body, `height_mm` above the lower joints; those are `joint_distance_mm` apart. With h and w, c the caster and S the SAI
/// of either side (left L, right R), exactly:
///
/// lateral = h·(tan S_R − tan S_L)/2, longitudinal = h·(tan c − (tan c_L + tan c_R)/2), sin(yaw) = h·(tan c_L − tan c_R)/w.
///
/// # Errors
/// [`ErrorCode::NotFinite`]; [`ErrorCode::AngleOutOfRange`] for caster or SAI beyond ± 60°, or sides that differ by more than a yaw of 30° makes good;
/// [`ErrorCode::LengthOutOfRange`] for a height or distance outside 10 to 3000 mm.
///
/// ```
/// # use alignment_core::adjustment::subframe_shift;
/// # use alignment_core::gauge::AxisAngles;
/// let left = AxisAngles { caster_deg: 4.0, sai_deg: 13.5 };
/// let right = AxisAngles { caster_deg: 4.0, sai_deg: 12.5 };
/// // The left side leans inward more: its lower joint stands too far out, and the subframe goes to the right.
/// let shift = subframe_shift(left, right, 4.0, 600.0, 1300.0)?;
/// assert!((shift.lateral_mm + 5.52).abs() < 0.01 && shift.yaw_deg == 0.0);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn subframe_shift(
    left: AxisAngles,
    right: AxisAngles,
    caster_deg: f64,
    height_mm: f64,
    joint_distance_mm: f64,
) -> Result<SubframeShift, Error> {
    let angles = [left.caster_deg, left.sai_deg, right.caster_deg, right.sai_deg, caster_deg];
    for (name, angle) in
        ["left.caster_deg", "left.sai_deg", "right.caster_deg", "right.sai_deg", "caster_deg"].into_iter().zip(angles)
    {
        check_range(ErrorCode::AngleOutOfRange, name, angle, LEAN_RANGE_DEG)?;
    }
    check_range(ErrorCode::LengthOutOfRange, "height_mm", height_mm, LEVER_RANGE_MM)?;
    check_range(ErrorCode::LengthOutOfRange, "joint_distance_mm", joint_distance_mm, LEVER_RANGE_MM)?;
    let [caster_left, sai_left, caster_right, sai_right, caster] = angles.map(tan);
    let sine = height_mm * (caster_left - caster_right) / joint_distance_mm;
    if sine.abs() > 0.5 {
        let yaw_deg = DEG_PER_RAD * libm::asin(sine.clamp(-1.0, 1.0));
        return Err(Error::new(ErrorCode::AngleOutOfRange)
            .input("yaw_deg")
            .value(yaw_deg)
            .at_least(-30.0)
            .at_most(30.0));
    }
    Ok(SubframeShift {
        lateral_mm: height_mm * (sai_right - sai_left) / 2.0,
        longitudinal_mm: height_mm * (caster - (caster_left + caster_right) / 2.0),
        yaw_deg: DEG_PER_RAD * libm::asin(sine),
    })
}

/// A tapered shim between hub and axle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TaperedShim {
    /// The angle between its two faces, degrees.
    pub taper_deg: f64,
    /// Where its thick edge is, seen in the plane of the wheel: 0° at the top, positive toward the front, degrees, −180 to 180.
    pub bearing_deg: f64,
}

/// What a tapered shim changes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ShimChanges {
    /// Camber, degrees, positive with the top further outward.
    pub camber_change_deg: f64,
    /// Toe, degrees, positive for more toe-in.
    pub toe_change_deg: f64,
}

/// A tapered shim as it is on the shelf, and what it leaves over.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ShelfShim {
    /// The angle between its two faces, degrees; 0 where none is better than any.
    pub taper_deg: f64,
    /// Where its thick edge is: 0° at the top, positive toward the front, degrees, −180 to 180.
    pub bearing_deg: f64,
    /// What is left of the wanted change of camber, degrees.
    pub camber_left_deg: f64,
    /// What is left of the wanted change of toe, degrees.
    pub toe_left_deg: f64,
}

fn check_changes(camber_deg: f64, camber_change_deg: f64, toe_change_deg: f64) -> Result<(), Error> {
    let named =
        [("camber_deg", camber_deg), ("camber_change_deg", camber_change_deg), ("toe_change_deg", toe_change_deg)];
    for (name, angle) in named {
        check_range(ErrorCode::AngleOutOfRange, name, angle, WHEEL_RANGE_DEG)?;
    }
    Ok(())
}

/// The tapered shim that changes camber and toe by these amounts, degrees, at a wheel of this camber. It is the same on both sides of the car.
///
/// Hub and wheel tip toward the thin edge by the taper, about a line in the face of the flange, which is square to the spindle a₀ before. With a₁ the
/// spindle wanted: taper = the angle from a₀ to a₁, and the thin edge lies where a₁ points beside a₀. Exactly, for turns do not add: camber and toe
/// both change the spindle. Nearly, camber = taper·cos(bearing) and toe = −taper·sin(bearing). No change gives a taper of 0 at bearing 0.
///
/// # Errors
/// [`ErrorCode::NotFinite`]; [`ErrorCode::AngleOutOfRange`] for a camber or a change beyond ± 20°.
///
/// ```
/// # use alignment_core::adjustment::tapered_shim;
/// // More camber and more toe-in: thick at the top, and toward the rear.
/// let shim = tapered_shim(-1.5, 0.75, 0.25)?;
/// assert!((shim.taper_deg - 0.79).abs() < 0.005 && (shim.bearing_deg + 18.4).abs() < 0.1);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn tapered_shim(camber_deg: f64, camber_change_deg: f64, toe_change_deg: f64) -> Result<TaperedShim, Error> {
    check_changes(camber_deg, camber_change_deg, toe_change_deg)?;
    Ok(shim_for(camber_deg, camber_change_deg, toe_change_deg))
}

fn shim_for(camber_deg: f64, camber_change_deg: f64, toe_change_deg: f64) -> TaperedShim {
    // On the left, straight: the spindle before is (0, cos c, −sin c), up in the wheel plane (0, sin c, cos c), forward x.
    let (sin_after, cos_after) = libm::sincos(rad_from_deg(camber_deg + camber_change_deg));
    let (sin_before, cos_before) = libm::sincos(rad_from_deg(camber_deg));
    let (sin_toe, _) = libm::sincos(rad_from_deg(toe_change_deg));
    // 1 − cos toe, without loss.
    let versine = 2.0 * sin(toe_change_deg / 2.0) * sin(toe_change_deg / 2.0);
    let forward = cos_after * sin_toe;
    let up = -sin(camber_change_deg) - cos_after * sin_before * versine;
    let along = cos_before * cos_after * (1.0 - versine) + sin_before * sin_after;
    let across = hypot(forward, up);
    let bearing_deg = if across == 0.0 { 0.0 } else { atan2_deg(-forward, -up) };
    TaperedShim { taper_deg: atan2_deg(across, along), bearing_deg: within_half_turn_deg(bearing_deg) }
}

/// What a tapered shim changes at a wheel of this camber, degrees: the inverse of [`tapered_shim`].
///
/// # Errors
/// [`ErrorCode::NotFinite`]; [`ErrorCode::AngleOutOfRange`] for a camber beyond ± 20°, a taper outside 0 to 15° or a bearing beyond ± 360°.
///
/// ```
/// # use alignment_core::adjustment::{TaperedShim, tapered_shim_changes};
/// let changes = tapered_shim_changes(-1.5, TaperedShim { taper_deg: 0.5, bearing_deg: 90.0 })?;
/// assert!((changes.toe_change_deg + 0.5).abs() < 1e-3, "thick at the front is toe-out");
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn tapered_shim_changes(camber_deg: f64, shim: TaperedShim) -> Result<ShimChanges, Error> {
    check_range(ErrorCode::AngleOutOfRange, "camber_deg", camber_deg, WHEEL_RANGE_DEG)?;
    check_range(ErrorCode::AngleOutOfRange, "taper_deg", shim.taper_deg, TAPER_RANGE_DEG)?;
    check_range(ErrorCode::AngleOutOfRange, "bearing_deg", shim.bearing_deg, [-360.0, 360.0])?;
    Ok(changes_by(camber_deg, shim))
}

fn changes_by(camber_deg: f64, TaperedShim { taper_deg, bearing_deg }: TaperedShim) -> ShimChanges {
    let (sin_camber, cos_camber) = libm::sincos(rad_from_deg(camber_deg));
    let (sin_taper, cos_taper) = libm::sincos(rad_from_deg(taper_deg));
    let (sin_bearing, cos_bearing) = libm::sincos(rad_from_deg(bearing_deg));
    let (up, forward) = (-sin_taper * cos_bearing, -sin_taper * sin_bearing);
    // The spindle after is a₀·cos taper, up and forward in the face of the flange; its part across the car, and by how much its level part is longer.
    let across = cos_camber * cos_taper + sin_camber * up;
    let longer = forward * forward / (hypot(forward, across) + across);
    // Sine and cosine of the difference of two angles, of which neither is subtracted.
    let (sine, cosine) = (-up - sin_camber * longer, cos_taper + cos_camber * longer);
    ShimChanges { camber_change_deg: atan2_deg(sine, cosine), toe_change_deg: atan2_deg(forward, across) }
}

/// The tapered shim from the shelf that comes nearest to changing camber and toe by these amounts at a wheel of this camber, and what it leaves over,
/// degrees.
///
/// Shims have tapers of whole multiples of `taper_step_deg` up to `most_taper_deg`, and can be turned to whole multiples of `bearing_step_deg`, counted
/// from the top to 360°. Nearest is the least root of the sum of the squares of what is left over.
///
/// # Errors
/// [`ErrorCode::NotFinite`]; [`ErrorCode::AngleOutOfRange`] for a camber or a change beyond ± 20°, a step of taper outside 0.001 to 15°, a greatest
/// taper outside 0 to 15°, or a step of bearing outside 0.1 to 360°.
///
/// ```
/// # use alignment_core::adjustment::tapered_shim_on_shelf;
/// let shim = tapered_shim_on_shelf(-1.5, 0.75, 0.25, 0.25, 1.5, 15.0)?;
/// assert_eq!((shim.taper_deg, shim.bearing_deg), (0.75, -15.0));
/// assert!((shim.camber_left_deg - 0.03).abs() < 0.01 && (shim.toe_left_deg - 0.06).abs() < 0.01);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn tapered_shim_on_shelf(
    camber_deg: f64,
    camber_change_deg: f64,
    toe_change_deg: f64,
    taper_step_deg: f64,
    most_taper_deg: f64,
    bearing_step_deg: f64,
) -> Result<ShelfShim, Error> {
    check_changes(camber_deg, camber_change_deg, toe_change_deg)?;
    check_range(ErrorCode::AngleOutOfRange, "taper_step_deg", taper_step_deg, [0.001, TAPER_RANGE_DEG[1]])?;
    check_range(ErrorCode::AngleOutOfRange, "most_taper_deg", most_taper_deg, TAPER_RANGE_DEG)?;
    check_range(ErrorCode::AngleOutOfRange, "bearing_step_deg", bearing_step_deg, [0.1, 360.0])?;
    let exact = shim_for(camber_deg, camber_change_deg, toe_change_deg);
    // A full turn is the top again; rounding of the quotients is no step.
    let last = libm::ceil(360.0 / bearing_step_deg - 1e-9) - 1.0;
    let most = libm::floor(most_taper_deg / taper_step_deg + 1e-9);
    let below = libm::floor(
        if exact.bearing_deg < 0.0 { exact.bearing_deg + 360.0 } else { exact.bearing_deg } / bearing_step_deg,
    );
    let mut best: Option<(f64, ShelfShim)> = None;
    for mark in [below, below + 1.0, 0.0, last] {
        let bearing_deg = within_half_turn_deg(mark.min(last) * bearing_step_deg);
        // Off by an angle, the best taper is shorter by its cosine.
        let ideal = exact.taper_deg * libm::cos(rad_from_deg(bearing_deg - exact.bearing_deg)) / taper_step_deg;
        let fewer = libm::floor(ideal);
        for count in [fewer, fewer + 1.0] {
            let taper_deg = count.max(0.0).min(most) * taper_step_deg;
            let reached = changes_by(camber_deg, TaperedShim { taper_deg, bearing_deg });
            let camber_left_deg = camber_change_deg - reached.camber_change_deg;
            let toe_left_deg = toe_change_deg - reached.toe_change_deg;
            let left = hypot(camber_left_deg, toe_left_deg);
            if best.is_none_or(|(least, _)| left < least) {
                let bearing_deg = if taper_deg == 0.0 { 0.0 } else { bearing_deg };
                best = Some((left, ShelfShim { taper_deg, bearing_deg, camber_left_deg, toe_left_deg }));
            }
        }
    }
    Ok(best.map_or(
        ShelfShim {
            taper_deg: 0.0,
            bearing_deg: 0.0,
            camber_left_deg: camber_change_deg,
            toe_left_deg: toe_change_deg,
        },
        |(_, shim)| shim,
    ))
}
