//! The hand gauge: caster and SAI from cambers read on turning plates, or from the pitch of the hub with the wheel locked.
//!
//! # Where the formulas come from
//! The knuckle turns about the steering axis, so whatever is fixed in it keeps its angle to the axis k ∝ (−tan τ, −s·tan σ, 1), with
//! caster τ, SAI σ and s = +1 left, −1 right. With the yaw T of the wheel, left positive, in the vehicle frame:
//!
//! **Camber γ.** The outward spindle is a = (−s·cos γ·sin T, s·cos γ·cos T, −sin γ). It stays on a cone, a·k is constant:
//! s·cos γ·sin T·tan τ − cos γ·cos T·tan σ − sin γ = constant.
//!
//! **Pitch p.** A line of the hub that points forward, nose up positive, with azimuth T is h = (cos p·cos T, cos p·sin T, sin p). The
//! brake holds the wheel, so h stays on a cone too: s·cos p·sin T·tan σ + cos p·cos T·tan τ − sin p = constant.
//!
//! Either is linear in tan τ, tan σ and the constant: three positions give caster and SAI exactly. Two positions do not, and the rules
//! that make do with two leave something out; each says what.
//!
//! # Which angle the plate reads
//! T is the wheel's yaw in the vehicle frame. A plate that was zeroed with the wheels straight ahead reads T less the wheel's yaw there,
//! which is −s·toe: [`yaw_from_plate_deg`]. Forgetting 1° of toe-out makes 5.21° of a caster of 5° with an SAI of 12°, by two positions
//! at ± 20°. The hub's line has the wheel's yaw only while camber or pitch is 0: [`hub_line_azimuth_deg`].
//!
//! # What they are good for
//! With 0.01° of noise in each camber at −20°, 0° and +20°, caster scatters by 0.02° and SAI by 0.19°, since SAI rests on 1 − cos T. By
//! pitch it is the other way round. Hence camber for caster, pitch for SAI.

use crate::error::{Error, ErrorCode};
use crate::layout::Side;
use crate::session::check_range;
use crate::steering::MIN_SWEEP_LOCKED_DEG;
use crate::units::{atan2_deg, deg_from_rad, rad_from_deg, sqrt};

/// The least sweep of three positions, degrees: they must span as wide a triangle on the unit circle as −7.5°, 0° and +7.5° do.
pub const MIN_SWEEP_THREE_POSITIONS_DEG: f64 = 15.0;
/// The least and greatest yaw of a steered wheel, degrees.
pub const YAW_RANGE_DEG: [f64; 2] = [-60.0, 60.0];
/// The least and greatest camber or pitch that a gauge reads, degrees.
pub const READING_RANGE_DEG: [f64; 2] = [-45.0, 45.0];
/// The least and greatest caster or SAI for which a reading is foretold, degrees.
pub const AXIS_RANGE_DEG: [f64; 2] = [-30.0, 30.0];
/// The least and greatest toe or yaw of a wheel straight ahead, degrees.
pub const AHEAD_YAW_RANGE_DEG: [f64; 2] = [-10.0, 10.0];
/// The least and greatest camber or pitch straight ahead for which a reading is foretold, degrees.
///
/// Within these ranges the cone about the steering axis reaches every yaw: of the root in [`camber_at_yaw_deg`], C² stays below
/// 0.83·(1 + A²).
pub const AHEAD_READING_RANGE_DEG: [f64; 2] = [-15.0, 15.0];

/// One reading of the camber gauge.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct GaugePosition {
    /// Yaw of the wheel in the vehicle frame, left positive: [`yaw_from_plate_deg`].
    pub yaw_deg: f64,
    /// Camber there, positive with the top outward.
    pub camber_deg: f64,
}

/// One reading of the inclination gauge on a hub that the brake holds.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct PitchPosition {
    /// Azimuth of the hub's line in the vehicle frame, left positive: [`hub_line_azimuth_deg`].
    pub azimuth_deg: f64,
    /// Pitch of the hub's line there, positive nose up.
    pub pitch_deg: f64,
}

/// Both projected angles of a steering axis.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct AxisAngles {
    /// Caster, in the side view; positive with the top of the axis rearward.
    pub caster_deg: f64,
    /// SAI, in the front view; positive with the top of the axis inboard.
    pub sai_deg: f64,
}

/// The wheel's yaw in the vehicle frame in degrees, left positive, from a plate zeroed straight ahead: T = plate − s·toe.
///
/// The plate reads left positive too. Toe is that of this wheel to the centreline, straight ahead, positive toe-in. A plate whose zero
/// lies along the centreline reads T itself.
///
/// # Errors
/// [`ErrorCode::NotFinite`], [`ErrorCode::AngleOutOfRange`] for a plate beyond ± 60° or a toe beyond ± 10°.
///
/// ```
/// # use alignment_core::{Side, gauge::yaw_from_plate_deg};
/// // With 1° of toe-out the left wheel points left before it is steered.
/// assert_eq!(yaw_from_plate_deg(Side::Left, 20.0, -1.0)?, 21.0);
/// assert_eq!(yaw_from_plate_deg(Side::Right, 20.0, -1.0)?, 19.0);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn yaw_from_plate_deg(side: Side, plate_deg: f64, toe_deg: f64) -> Result<f64, Error> {
    check_range(ErrorCode::AngleOutOfRange, "plate_deg", plate_deg, YAW_RANGE_DEG)?;
    check_range(ErrorCode::AngleOutOfRange, "toe_deg", toe_deg, AHEAD_YAW_RANGE_DEG)?;
    Ok(plate_deg - side.sign() * toe_deg)
}

/// Azimuth in degrees, left positive, of a line of the hub that lies in the wheel plane and pitches by p, nose up positive:
/// yaw + s·asin(tan p·tan γ), with the camber γ.
///
/// # Errors
/// [`ErrorCode::NotFinite`], [`ErrorCode::AngleOutOfRange`] for a yaw beyond ± 60°, a camber or pitch beyond ± 45°.
///
/// ```
/// # use alignment_core::{Side, gauge::{GaugePosition, hub_line_azimuth_deg}};
/// let wheel = GaugePosition { yaw_deg: 20.0, camber_deg: 3.0 };
/// assert_eq!(hub_line_azimuth_deg(Side::Left, wheel, 0.0)?, 20.0);
/// assert!((hub_line_azimuth_deg(Side::Left, wheel, 5.0)? - 20.263).abs() < 1e-3);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn hub_line_azimuth_deg(side: Side, wheel: GaugePosition, pitch_deg: f64) -> Result<f64, Error> {
    let GaugePosition { yaw_deg, camber_deg } = wheel;
    check_range(ErrorCode::AngleOutOfRange, "yaw_deg", yaw_deg, YAW_RANGE_DEG)?;
    check_range(ErrorCode::AngleOutOfRange, "camber_deg", camber_deg, READING_RANGE_DEG)?;
    check_range(ErrorCode::AngleOutOfRange, "pitch_deg", pitch_deg, READING_RANGE_DEG)?;
    let sine = libm::tan(rad_from_deg(pitch_deg)) * libm::tan(rad_from_deg(camber_deg));
    // At 45° each, rounding may take the product a hair beyond 1.
    Ok(yaw_deg + side.sign() * deg_from_rad(libm::asin(sine.clamp(-1.0, 1.0))))
}

/// Caster and SAI in degrees, exactly, from the camber at three positions of the wheel, in any order.
///
/// For any two of them, with yaw T, camber γ, caster τ, SAI σ: s·(cos γ₁·sin T₁ − cos γ₂·sin T₂)·tan τ − (cos γ₁·cos T₁ − cos γ₂·cos
/// T₂)·tan σ = sin γ₁ − sin γ₂. Two such equations give both. Caster is positive with the top rearward, SAI with the top inboard.
///
/// # Errors
/// [`ErrorCode::NotFinite`]; [`ErrorCode::AngleOutOfRange`] for a yaw beyond ± 60° or a camber beyond ± 45°; [`ErrorCode::SweepTooSmall`]
/// for positions more alike than [`MIN_SWEEP_THREE_POSITIONS_DEG`] allows.
///
/// ```
/// # use alignment_core::{Side, gauge::{GaugePosition, axis_from_cambers}};
/// let read = [(-20.0, -1.476249), (0.0, -0.5), (20.0, 1.954496)];
/// let axis = axis_from_cambers(Side::Left, read.map(|(yaw_deg, camber_deg)| GaugePosition { yaw_deg, camber_deg }))?;
/// assert!((axis.caster_deg - 5.0).abs() < 1e-4 && (axis.sai_deg - 12.0).abs() < 1e-4);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn axis_from_cambers(side: Side, positions: [GaugePosition; 3]) -> Result<AxisAngles, Error> {
    const NAMES: [[&str; 2]; 3] = [
        ["positions[0].yaw_deg", "positions[0].camber_deg"],
        ["positions[1].yaw_deg", "positions[1].camber_deg"],
        ["positions[2].yaw_deg", "positions[2].camber_deg"],
    ];
    check_positions(NAMES, positions.map(|position| [position.yaw_deg, position.camber_deg]))?;
    solve(positions.map(|GaugePosition { yaw_deg, camber_deg }| {
        let [sin_yaw, cos_yaw, sin_camber, cos_camber] = sines(yaw_deg, camber_deg);
        [side.sign() * cos_camber * sin_yaw, -cos_camber * cos_yaw, sin_camber]
    }))
}

/// Caster and SAI in degrees, exactly, from the pitch of the locked wheel's hub at three positions, in any order.
///
/// For any two of them, with azimuth T and pitch p of the hub's line, caster τ, SAI σ: s·(cos p₁·sin T₁ − cos p₂·sin T₂)·tan σ + (cos
/// p₁·cos T₁ − cos p₂·cos T₂)·tan τ = sin p₁ − sin p₂. Two such equations give both. Caster is positive with the top rearward, SAI with
/// the top inboard.
///
/// # Errors
/// [`ErrorCode::NotFinite`]; [`ErrorCode::AngleOutOfRange`] for an azimuth beyond ± 60° or a pitch beyond ± 45°;
/// [`ErrorCode::SweepTooSmall`] for positions more alike than [`MIN_SWEEP_THREE_POSITIONS_DEG`] allows.
///
/// ```
/// # use alignment_core::{Side, gauge::{AxisAngles, PitchPosition, axis_from_pitches, pitch_at_azimuth_deg}};
/// let axis = AxisAngles { caster_deg: 5.0, sai_deg: 12.0 };
/// let mut read = [-20.0, 0.0, 20.0].map(|azimuth_deg| PitchPosition { azimuth_deg, pitch_deg: 0.0 });
/// for position in &mut read {
///     position.pitch_deg = pitch_at_azimuth_deg(Side::Right, axis, PitchPosition::default(), position.azimuth_deg)?;
/// }
/// let found = axis_from_pitches(Side::Right, read)?;
/// assert!((found.caster_deg - 5.0).abs() < 1e-9 && (found.sai_deg - 12.0).abs() < 1e-9);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn axis_from_pitches(side: Side, positions: [PitchPosition; 3]) -> Result<AxisAngles, Error> {
    const NAMES: [[&str; 2]; 3] = [
        ["positions[0].azimuth_deg", "positions[0].pitch_deg"],
        ["positions[1].azimuth_deg", "positions[1].pitch_deg"],
        ["positions[2].azimuth_deg", "positions[2].pitch_deg"],
    ];
    check_positions(NAMES, positions.map(|position| [position.azimuth_deg, position.pitch_deg]))?;
    solve(positions.map(|PitchPosition { azimuth_deg, pitch_deg }| {
        let [sin_azimuth, cos_azimuth, sin_pitch, cos_pitch] = sines(azimuth_deg, pitch_deg);
        [cos_pitch * cos_azimuth, side.sign() * cos_pitch * sin_azimuth, sin_pitch]
    }))
}

/// Caster in degrees by the two-position rule, positive with the top rearward: tan τ = s·(sin γ₁ − sin γ₂)/(2·sin T), with the camber γ₁
/// at the yaw +T (turned left) and γ₂ at −T (turned right).
///
/// It takes cos γ for 1, and so leaves SAI out: a few thousandths of a degree on a common car.
///
/// # Errors
/// [`ErrorCode::NotFinite`]; [`ErrorCode::AngleOutOfRange`] for a turn outside 0 to 60° or a camber beyond ± 45°;
/// [`ErrorCode::SweepTooSmall`] for a turn below 5°.
///
/// ```
/// # use alignment_core::{Side, gauge::caster_by_two_positions_deg};
/// let caster_deg = caster_by_two_positions_deg(Side::Left, 20.0, 1.954496, -1.476249)?;
/// assert!((caster_deg - 5.0).abs() < 0.01);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn caster_by_two_positions_deg(
    side: Side,
    turn_deg: f64,
    camber_turned_left_deg: f64,
    camber_turned_right_deg: f64,
) -> Result<f64, Error> {
    let turned =
        [("camber_turned_left_deg", camber_turned_left_deg), ("camber_turned_right_deg", camber_turned_right_deg)];
    by_two_positions(side, turn_deg, turned)
}

/// Caster in degrees by the customary linear rule, positive with the top rearward: s·(γ₁ − γ₂)·1/(2·sin T), with the camber γ₁ at the yaw
/// +T (turned left) and γ₂ at −T (turned right). At 20° the factor is 1.4619.
///
/// It takes each sine and tangent for its angle: 0.2 % too much at 4.3° of caster.
///
/// # Errors
/// As [`caster_by_two_positions_deg`]; [`ErrorCode::AngleOutOfRange`] for a caster beyond ± 90° as well.
///
/// ```
/// # use alignment_core::{Side, gauge::caster_by_linear_rule_deg};
/// let caster_deg = caster_by_linear_rule_deg(Side::Left, 20.0, 1.10, -1.86)?;
/// assert!((caster_deg - 4.327).abs() < 5e-4);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn caster_by_linear_rule_deg(
    side: Side,
    turn_deg: f64,
    camber_turned_left_deg: f64,
    camber_turned_right_deg: f64,
) -> Result<f64, Error> {
    let turned =
        [("camber_turned_left_deg", camber_turned_left_deg), ("camber_turned_right_deg", camber_turned_right_deg)];
    by_linear_rule(side, turn_deg, turned, "caster_deg")
}

/// SAI in degrees by the two-position rule, positive with the top inboard: tan σ = s·(sin p₁ − sin p₂)/(2·sin T), with the pitch p₁ of
/// the locked wheel's hub, nose up positive, at the azimuth +T (turned left) and p₂ at −T (turned right).
///
/// It takes cos p for 1, and so leaves caster out.
///
/// # Errors
/// [`ErrorCode::NotFinite`]; [`ErrorCode::AngleOutOfRange`] for a turn outside 0 to 60° or a pitch beyond ± 45°;
/// [`ErrorCode::SweepTooSmall`] for a turn below 5°.
///
/// ```
/// # use alignment_core::{Side, gauge::sai_by_two_positions_deg};
/// assert!((sai_by_two_positions_deg(Side::Left, 20.0, 4.0, -4.1)? - 11.66).abs() < 0.01);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn sai_by_two_positions_deg(
    side: Side,
    turn_deg: f64,
    pitch_turned_left_deg: f64,
    pitch_turned_right_deg: f64,
) -> Result<f64, Error> {
    let turned = [("pitch_turned_left_deg", pitch_turned_left_deg), ("pitch_turned_right_deg", pitch_turned_right_deg)];
    by_two_positions(side, turn_deg, turned)
}

/// SAI in degrees by the customary linear rule, positive with the top inboard: s·(p₁ − p₂)·1/(2·sin T), with the pitch p₁ of the locked
/// wheel's hub, nose up positive, at the azimuth +T (turned left) and p₂ at −T (turned right).
///
/// It takes each sine and tangent for its angle: 1.5 % too much at 12° of SAI.
///
/// # Errors
/// As [`sai_by_two_positions_deg`]; [`ErrorCode::AngleOutOfRange`] for an SAI beyond ± 90° as well.
///
/// ```
/// # use alignment_core::{Side, gauge::sai_by_linear_rule_deg};
/// assert!((sai_by_linear_rule_deg(Side::Left, 20.0, 4.0, -4.1)? - 11.84).abs() < 0.01);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn sai_by_linear_rule_deg(
    side: Side,
    turn_deg: f64,
    pitch_turned_left_deg: f64,
    pitch_turned_right_deg: f64,
) -> Result<f64, Error> {
    let turned = [("pitch_turned_left_deg", pitch_turned_left_deg), ("pitch_turned_right_deg", pitch_turned_right_deg)];
    by_linear_rule(side, turn_deg, turned, "sai_deg")
}

/// The camber in degrees, positive with the top outward, that a wheel shows at a yaw, left positive: what a gauge must read.
///
/// With A(T) = s·sin T·tan τ − cos T·tan σ, caster τ and SAI σ, the spindle's cone is A·cos γ − sin γ = C, and C is known straight ahead.
/// In t = tan(γ/2) it is (A + C)·t² + 2·t = A − C, so γ = 2·atan((A − C)/(1 + √(1 + A² − C²))). The yaw straight ahead is −s·toe:
/// [`yaw_from_plate_deg`] at a plate of 0.
///
/// # Errors
/// [`ErrorCode::NotFinite`]; [`ErrorCode::AngleOutOfRange`] for caster or SAI beyond ± 30°, a yaw beyond ± 60°, and straight ahead a yaw
/// beyond ± 10° or a camber beyond ± 15°.
///
/// ```
/// # use alignment_core::{Side, gauge::{AxisAngles, GaugePosition, camber_at_yaw_deg}};
/// let axis = AxisAngles { caster_deg: 5.0, sai_deg: 12.0 };
/// let ahead = GaugePosition { yaw_deg: 0.0, camber_deg: -0.5 };
/// assert!((camber_at_yaw_deg(Side::Left, axis, ahead, 20.0)? - 1.954496).abs() < 1e-6);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn camber_at_yaw_deg(side: Side, axis: AxisAngles, ahead: GaugePosition, yaw_deg: f64) -> Result<f64, Error> {
    let [tan_caster, tan_sai] = checked_axis(axis)?;
    check_range(ErrorCode::AngleOutOfRange, "ahead.yaw_deg", ahead.yaw_deg, AHEAD_YAW_RANGE_DEG)?;
    check_range(ErrorCode::AngleOutOfRange, "ahead.camber_deg", ahead.camber_deg, AHEAD_READING_RANGE_DEG)?;
    check_range(ErrorCode::AngleOutOfRange, "yaw_deg", yaw_deg, YAW_RANGE_DEG)?;
    let slope = |yaw_deg| {
        let (sin, cos) = libm::sincos(rad_from_deg(yaw_deg));
        side.sign() * sin * tan_caster - cos * tan_sai
    };
    Ok(on_the_cone(slope(ahead.yaw_deg), ahead.camber_deg, slope(yaw_deg)))
}

/// The pitch in degrees, nose up positive, that a line of the locked wheel's hub shows at an azimuth, left positive: what a gauge must
/// read.
///
/// With B(T) = cos T·tan τ + s·sin T·tan σ, caster τ and SAI σ, the line's cone is B·cos p − sin p = C, and C is known straight ahead. As
/// for the camber it is p = 2·atan((B − C)/(1 + √(1 + B² − C²))).
///
/// # Errors
/// [`ErrorCode::NotFinite`]; [`ErrorCode::AngleOutOfRange`] for caster or SAI beyond ± 30°, an azimuth beyond ± 60°, and straight ahead
/// an azimuth beyond ± 10° or a pitch beyond ± 15°.
///
/// ```
/// # use alignment_core::{Side, gauge::{AxisAngles, PitchPosition, pitch_at_azimuth_deg}};
/// // Straight up the axis there is nothing to see; with SAI the left wheel's nose rises in a left turn.
/// let (upright, ahead) = (AxisAngles::default(), PitchPosition::default());
/// assert_eq!(pitch_at_azimuth_deg(Side::Left, upright, ahead, 20.0)?, 0.0);
/// assert!(pitch_at_azimuth_deg(Side::Left, AxisAngles { sai_deg: 12.0, ..upright }, ahead, 20.0)? > 4.0);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn pitch_at_azimuth_deg(
    side: Side,
    axis: AxisAngles,
    ahead: PitchPosition,
    azimuth_deg: f64,
) -> Result<f64, Error> {
    let [tan_caster, tan_sai] = checked_axis(axis)?;
    check_range(ErrorCode::AngleOutOfRange, "ahead.azimuth_deg", ahead.azimuth_deg, AHEAD_YAW_RANGE_DEG)?;
    check_range(ErrorCode::AngleOutOfRange, "ahead.pitch_deg", ahead.pitch_deg, AHEAD_READING_RANGE_DEG)?;
    check_range(ErrorCode::AngleOutOfRange, "azimuth_deg", azimuth_deg, YAW_RANGE_DEG)?;
    let slope = |azimuth_deg| {
        let (sin, cos) = libm::sincos(rad_from_deg(azimuth_deg));
        cos * tan_caster + side.sign() * sin * tan_sai
    };
    Ok(on_the_cone(slope(ahead.azimuth_deg), ahead.pitch_deg, slope(azimuth_deg)))
}

/// The elevation that keeps slope·cos − sin of it what it is straight ahead, degrees.
fn on_the_cone(ahead_slope: f64, ahead_deg: f64, slope: f64) -> f64 {
    let (sin, cos) = libm::sincos(rad_from_deg(ahead_deg));
    let constant = ahead_slope * cos - sin;
    // As atan(slope) − asin(…) it would be a small difference of two great angles.
    2.0 * atan2_deg(slope - constant, 1.0 + sqrt(1.0 + slope * slope - constant * constant))
}

/// The tangents of caster and SAI.
fn checked_axis(axis: AxisAngles) -> Result<[f64; 2], Error> {
    check_range(ErrorCode::AngleOutOfRange, "axis.caster_deg", axis.caster_deg, AXIS_RANGE_DEG)?;
    check_range(ErrorCode::AngleOutOfRange, "axis.sai_deg", axis.sai_deg, AXIS_RANGE_DEG)?;
    Ok([axis.caster_deg, axis.sai_deg].map(|angle_deg| libm::tan(rad_from_deg(angle_deg))))
}

fn check_positions(names: [[&'static str; 2]; 3], positions: [[f64; 2]; 3]) -> Result<(), Error> {
    for ([turn_name, reading_name], [turn_deg, reading_deg]) in names.into_iter().zip(positions) {
        check_range(ErrorCode::AngleOutOfRange, turn_name, turn_deg, YAW_RANGE_DEG)?;
        check_range(ErrorCode::AngleOutOfRange, reading_name, reading_deg, READING_RANGE_DEG)?;
    }
    Ok(())
}

/// Sine and cosine of the turn, then of the reading.
fn sines(turn_deg: f64, reading_deg: f64) -> [f64; 4] {
    let (sin_turn, cos_turn) = libm::sincos(rad_from_deg(turn_deg));
    let (sin_reading, cos_reading) = libm::sincos(rad_from_deg(reading_deg));
    [sin_turn, cos_turn, sin_reading, cos_reading]
}

/// Caster and SAI from three rows [a, b, c], for each of which a·tan τ + b·tan σ − c is the same.
fn solve(rows: [[f64; 3]; 3]) -> Result<AxisAngles, Error> {
    let [first, middle, last] = rows;
    let [a1, b1, c1]: [f64; 3] = core::array::from_fn(|i| first[i] - middle[i]);
    let [a2, b2, c2]: [f64; 3] = core::array::from_fn(|i| last[i] - middle[i]);
    let determinant = a1 * b2 - a2 * b1;
    // Twice the area of the triangle of the points (a, b). Positions −θ, 0, θ without camber make 2·sin θ·(1 − cos θ) of it, close to θ³.
    let sweep_deg = deg_from_rad(2.0 * libm::cbrt(determinant.abs()));
    if sweep_deg < MIN_SWEEP_THREE_POSITIONS_DEG {
        let error = Error::new(ErrorCode::SweepTooSmall).input("positions");
        return Err(error.value(sweep_deg).at_least(MIN_SWEEP_THREE_POSITIONS_DEG));
    }
    let caster_deg = atan2_deg((c1 * b2 - c2 * b1) / determinant, 1.0);
    let sai_deg = atan2_deg((a1 * c2 - a2 * c1) / determinant, 1.0);
    Ok(AxisAngles { caster_deg, sai_deg })
}

fn by_two_positions(side: Side, turn_deg: f64, turned: [(&'static str, f64); 2]) -> Result<f64, Error> {
    let chord = checked_chord(turn_deg, turned)?;
    let [left, right] = turned.map(|(_, reading_deg)| libm::sin(rad_from_deg(reading_deg)));
    Ok(atan2_deg(side.sign() * (left - right) / chord, 1.0))
}

fn by_linear_rule(
    side: Side,
    turn_deg: f64,
    turned: [(&'static str, f64); 2],
    result: &'static str,
) -> Result<f64, Error> {
    let chord = checked_chord(turn_deg, turned)?;
    let [(_, left_deg), (_, right_deg)] = turned;
    let angle_deg = side.sign() * (left_deg - right_deg) / chord;
    check_range(ErrorCode::AngleOutOfRange, result, angle_deg, [-90.0, 90.0])?;
    Ok(angle_deg)
}

/// 2·sin T, the chord that the wheel's heading swept.
fn checked_chord(turn_deg: f64, turned: [(&'static str, f64); 2]) -> Result<f64, Error> {
    check_range(ErrorCode::AngleOutOfRange, "turn_deg", turn_deg, [0.0, YAW_RANGE_DEG[1]])?;
    for (name, reading_deg) in turned {
        check_range(ErrorCode::AngleOutOfRange, name, reading_deg, READING_RANGE_DEG)?;
    }
    if 2.0 * turn_deg < MIN_SWEEP_LOCKED_DEG {
        let error = Error::new(ErrorCode::SweepTooSmall).input("turn_deg");
        return Err(error.value(2.0 * turn_deg).at_least(MIN_SWEEP_LOCKED_DEG));
    }
    Ok(2.0 * libm::sin(rad_from_deg(turn_deg)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use alloc::string::ToString;

    const AXIS: AxisAngles = AxisAngles { caster_deg: 5.0, sai_deg: 12.0 };
    const AHEAD: GaugePosition = GaugePosition { yaw_deg: 0.0, camber_deg: -0.5 };

    fn cambers(side: Side, axis: AxisAngles, ahead: GaugePosition, yaws_deg: [f64; 3]) -> [GaugePosition; 3] {
        yaws_deg.map(|yaw_deg| GaugePosition {
            yaw_deg,
            camber_deg: camber_at_yaw_deg(side, axis, ahead, yaw_deg).unwrap(),
        })
    }

    /// Values computed by turning a spindle about the axis; no published source.
    #[test]
    fn the_camber_of_a_turned_wheel() {
        let yaws = [-20.0, -10.0, 0.0, 10.0, 20.0];
        let first = [-1.476_249, -1.183_230, -0.5, 0.555_546, 1.954_496];
        let second = [-0.541_005, -0.398_886, 0.0, 0.644_237, 1.515_081];
        let lesser = AxisAngles { caster_deg: 3.0, sai_deg: 8.0 };
        for (axis, ahead, expected) in [(AXIS, AHEAD, first), (lesser, GaugePosition::default(), second)] {
            for (yaw_deg, camber_deg) in yaws.into_iter().zip(expected) {
                let found = camber_at_yaw_deg(Side::Left, axis, ahead, yaw_deg).unwrap();
                assert!((found - camber_deg).abs() < 5.01e-7, "{yaw_deg}: {found}");
                // The right wheel is the mirror image.
                let mirrored = camber_at_yaw_deg(Side::Right, axis, ahead, -yaw_deg).unwrap();
                assert!((found - mirrored).abs() < 1e-13);
            }
        }
    }

    #[test]
    fn the_order_of_the_positions_does_not_matter() {
        let [a, b, c] = cambers(Side::Right, AXIS, AHEAD, [-18.0, 2.0, 25.0]);
        for positions in [[a, b, c], [b, a, c], [c, b, a], [b, c, a]] {
            let found = axis_from_cambers(Side::Right, positions).unwrap();
            assert!((found.caster_deg - 5.0).abs() < 1e-11 && (found.sai_deg - 12.0).abs() < 1e-11, "{found:?}");
        }
    }

    /// What the module's docs say of toe that is forgotten, and of noise. Computed; no published source.
    #[test]
    fn forgotten_toe_and_noise_do_what_the_docs_say() {
        let ahead = GaugePosition { yaw_deg: yaw_from_plate_deg(Side::Left, 0.0, -1.0).unwrap(), ..AHEAD };
        let [left, right] = [20.0, -20.0].map(|plate_deg| {
            camber_at_yaw_deg(Side::Left, AXIS, ahead, yaw_from_plate_deg(Side::Left, plate_deg, -1.0).unwrap())
                .unwrap()
        });
        let caster_deg = caster_by_two_positions_deg(Side::Left, 20.0, left, right).unwrap();
        assert!((caster_deg - 5.21).abs() < 5e-3, "{caster_deg}");

        let exact = cambers(Side::Left, AXIS, AHEAD, [-20.0, 0.0, 20.0]);
        let (mut caster, mut sai) = (0.0, 0.0);
        for i in 0..3 {
            let mut noisy = exact;
            noisy[i].camber_deg += 0.01;
            let found = axis_from_cambers(Side::Left, noisy).unwrap();
            caster += (found.caster_deg - 5.0) * (found.caster_deg - 5.0);
            sai += (found.sai_deg - 12.0) * (found.sai_deg - 12.0);
        }
        let (caster, sai) = (sqrt(caster), sqrt(sai));
        assert!((caster - 0.02).abs() < 1e-3 && (sai - 0.19).abs() < 5e-3, "{caster} {sai}");
    }

    /// What the docs of the rules say that they leave out.
    #[test]
    fn the_rules_err_as_their_docs_say() {
        let [right, _, left] = cambers(Side::Left, AXIS, AHEAD, [-20.0, 0.0, 20.0]).map(|position| position.camber_deg);
        let two = caster_by_two_positions_deg(Side::Left, 20.0, left, right).unwrap();
        assert!((1e-4..0.01).contains(&(two - 5.0).abs()), "{two}");
        let pitch = |azimuth| pitch_at_azimuth_deg(Side::Left, AXIS, PitchPosition::default(), azimuth).unwrap();
        let two = sai_by_two_positions_deg(Side::Left, 20.0, pitch(20.0), pitch(-20.0)).unwrap();
        let linear = sai_by_linear_rule_deg(Side::Left, 20.0, pitch(20.0), pitch(-20.0)).unwrap();
        assert!((linear / two - 1.015).abs() < 1e-3, "{two} {linear}");
        let two = caster_by_two_positions_deg(Side::Left, 20.0, 1.10, -1.86).unwrap();
        let linear = caster_by_linear_rule_deg(Side::Left, 20.0, 1.10, -1.86).unwrap();
        assert!((linear / two - 1.002).abs() < 5e-4, "{two} {linear}");
    }

    /// The customary factor; common practice, no source.
    #[test]
    fn the_factor_of_the_linear_rule() {
        let factor = caster_by_linear_rule_deg(Side::Right, 20.0, 0.0, 1.0).unwrap();
        assert!((factor - 1.4619).abs() < 5e-5);
    }

    #[test]
    fn positions_too_alike_are_refused_with_figure_and_bound() {
        let sweep = |yaws_deg| axis_from_cambers(Side::Left, cambers(Side::Left, AXIS, AHEAD, yaws_deg));
        assert!(sweep([-8.0, 0.0, 8.0]).is_ok());
        for yaws_deg in [[-7.0, 0.0, 7.0], [-20.0, -20.0, 20.0], [3.0, 3.0, 3.0], [-20.0, 19.9, 20.0]] {
            let error = sweep(yaws_deg).unwrap_err();
            assert_eq!((error.code, error.input), (ErrorCode::SweepTooSmall, Some("positions")));
            assert!(error.value.unwrap() < error.minimum.unwrap());
        }
        // Far apart in yaw, yet on one line, as no wheel stands: nothing to solve.
        let camber_deg = 15.0;
        let straight = [(-15.0, 0.0), (0.0, camber_deg), (15.0, 0.0)];
        let positions = straight.map(|(yaw_deg, camber_deg)| GaugePosition { yaw_deg, camber_deg });
        assert_eq!(axis_from_cambers(Side::Left, positions).unwrap_err().code, ErrorCode::SweepTooSmall);
        let alike = [PitchPosition::default(); 3];
        assert_eq!(axis_from_pitches(Side::Left, alike).unwrap_err().code, ErrorCode::SweepTooSmall);
        let error = sai_by_two_positions_deg(Side::Left, 4.0, 1.0, -1.0).unwrap_err();
        assert!(error.to_string().starts_with("turn_deg: the steering was swept too little"), "{error}");
        assert_eq!((error.value, error.minimum), (Some(8.0), Some(10.0)));
    }

    #[test]
    fn what_is_no_angle_is_refused_by_its_name() {
        let mut positions = cambers(Side::Left, AXIS, AHEAD, [-20.0, 0.0, 20.0]);
        positions[1].camber_deg = f64::NAN;
        let error = axis_from_cambers(Side::Left, positions).unwrap_err();
        assert_eq!((error.code, error.input), (ErrorCode::NotFinite, Some("positions[1].camber_deg")));
        positions[1].camber_deg = -46.0;
        let error = axis_from_cambers(Side::Left, positions).unwrap_err();
        assert_eq!((error.code, error.value), (ErrorCode::AngleOutOfRange, Some(-46.0)));
        let error = caster_by_linear_rule_deg(Side::Left, 5.0, 40.0, -40.0).unwrap_err();
        assert_eq!((error.code, error.input), (ErrorCode::AngleOutOfRange, Some("caster_deg")));
        let error = caster_by_two_positions_deg(Side::Left, -20.0, 1.0, -1.0).unwrap_err();
        assert_eq!((error.code, error.input), (ErrorCode::AngleOutOfRange, Some("turn_deg")));
        let error = camber_at_yaw_deg(Side::Left, AXIS, AHEAD, f64::INFINITY).unwrap_err();
        assert_eq!((error.code, error.input), (ErrorCode::NotFinite, Some("yaw_deg")));
        let error = yaw_from_plate_deg(Side::Left, 20.0, 11.0).unwrap_err();
        assert_eq!((error.code, error.input, error.maximum), (ErrorCode::AngleOutOfRange, Some("toe_deg"), Some(10.0)));
    }
}
