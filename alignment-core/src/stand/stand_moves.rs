//! The moves that put a stand right.

use super::{StandReadings, StandRequirements, cardan_deg, check_point, greatest, transform, turned};
use crate::error::{Error, ErrorCode};
use crate::frame::{Rig, Stand, Transform, Vector};
use crate::pose::{MAX_COORDINATE_MM, Pose};
use crate::session::check_range;
use core::fmt;

/// What is done to a stand: in this order, each move along or about the stand's own axes as they then lie.
///
/// `Display` says it to a person: `turn left by 0.35°, then shift back by 12.4 mm, then lower by 3.0 mm`. Moves that come to 0.00° or 0.0 mm are
/// left out there. Forward, left and right are the stand's own, not those of whoever faces it: of a stand before the car, along whose axes its own
/// lie, they are the driver's, and forward is away from the car.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(deny_unknown_fields))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct StandMoves {
    /// First: turn about the stand's z axis through the pivot; positive to the left.
    pub yaw_deg: f64,
    /// Second: tilt about its y axis through the pivot; positive with the top forward.
    pub pitch_deg: f64,
    /// Third: lean about its x axis through the pivot; positive with the top to the right.
    pub roll_deg: f64,
    /// Fourth: shift along its x axis; positive forward.
    pub forward_mm: f64,
    /// Fifth: shift along its y axis; positive to the left.
    pub left_mm: f64,
    /// Sixth: shift along its z axis; positive upward.
    pub up_mm: f64,
}

impl fmt::Display for StandMoves {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let turns = [
            (self.yaw_deg, ["turn left", "turn right"]),
            (self.pitch_deg, ["tilt the top forward", "tilt the top back"]),
            (self.roll_deg, ["lean the top to the right", "lean the top to the left"]),
        ];
        let shifts = [
            (self.forward_mm, ["shift forward", "shift back"]),
            (self.left_mm, ["shift left", "shift right"]),
            (self.up_mm, ["raise", "lower"]),
        ];
        let mut any = false;
        for (turn, (amount, [positive, negative])) in
            turns.map(|it| (true, it)).into_iter().chain(shifts.map(|it| (false, it)))
        {
            let (least, digits, unit) = if turn { (0.005, 2, "°") } else { (0.05, 1, " mm") };
            if amount.abs() < least || !amount.is_finite() {
                continue;
            }
            let what = if amount > 0.0 { positive } else { negative };
            let then = if any { ", then " } else { "" };
            write!(f, "{then}{what} by {:.digits$}{unit}", amount.abs())?;
            any = true;
        }
        if any { Ok(()) } else { f.write_str("nothing to move") }
    }
}

/// The moves that bring a stand from where it stands to what is required, in degrees and mm (see the [module](super)). What nothing is required of
/// stays as it is.
///
/// With R the axes of the stand in the line's frame, p its origin there, and R′ and p′ what is required, the turns are the angles of Rᵀ·R′ =
/// Rz·Ry·Rx, and the shifts R′ᵀ·(p′ − p − (R − R′)·pivot).
///
/// # Errors
/// [`ErrorCode::NotFinite`]; [`ErrorCode::LengthOutOfRange`] and [`ErrorCode::AngleOutOfRange`] for lengths beyond a kilometre, yaw and roll beyond
/// ± 180°, and pitch beyond ± 89°; [`ErrorCode::OutOfRange`] for a negative tolerance.
///
/// ```
/// # use alignment_core::stand::{Required, StandReadings, StandRequirements, moves};
/// let here = StandReadings { distance_mm: 1487.6, yaw_deg: -0.35, ..StandReadings::default() };
/// let mut required = StandRequirements::default();
/// required.required.yaw_deg = Some(Required { nominal: 0.0, minus: 0.1, plus: 0.1 });
/// required.required.distance_mm = Some(Required { nominal: 1500.0, minus: 5.0, plus: 5.0 });
/// let moves = moves(&here, &required, [0.0; 3])?;
/// assert_eq!(moves.to_string(), "turn left by 0.35°, then shift forward by 12.4 mm");
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn moves(
    readings: &StandReadings,
    requirements: &StandRequirements,
    pivot_mm: [f64; 3],
) -> Result<StandMoves, Error> {
    requirements.check()?;
    check_point("pivot_mm", pivot_mm)?;
    let (now, required) = (readings.values(), requirements.required.values());
    for ((value, name), index) in now.into_iter().zip(StandReadings::<f64>::NAMES).zip(0..) {
        // A car and a stand lie within a kilometre of the rig each way.
        let (code, most) = greatest(index, 4.0 * MAX_COORDINATE_MM);
        check_range(code, name, value, [-most, most])?;
    }
    let aim: [f64; 6] = core::array::from_fn(|i| required[i].map_or(now[i], |required| required.nominal));
    let [from, to] = [now, aim].map(|[_, _, _, yaw, pitch, roll]| turned([yaw, pitch, roll]));
    let [yaw_deg, pitch_deg, roll_deg] = cardan_deg(&(from.transpose() * to));
    let origin = |of: [f64; 6]| nalgebra::Vector3::new(of[0], of[1], of[2]);
    let swung = (from - to) * nalgebra::Vector3::from(pivot_mm);
    let shift = to.transpose() * (origin(aim) - origin(now) - swung);
    Ok(StandMoves { yaw_deg, pitch_deg, roll_deg, forward_mm: shift.x, left_mm: shift.y, up_mm: shift.z })
}

/// Where a stand is in the rig after the moves, done exactly, in degrees and mm.
///
/// # Errors
/// Those of a pose: [`ErrorCode::NotFinite`], [`ErrorCode::NotARotation`], [`ErrorCode::Reflection`], [`ErrorCode::LengthOutOfRange`] for lengths
/// beyond a kilometre; [`ErrorCode::AngleOutOfRange`] for a turn beyond ± 180°.
///
/// ```
/// # use alignment_core::{Pose, stand::{StandMoves, moved}};
/// let here = Pose::from_rotation_vector_rad([0.0; 3], [0.0; 3])?;
/// let moves = StandMoves { yaw_deg: 90.0, forward_mm: 10.0, ..StandMoves::default() };
/// // A quarter turn to the left about a column 100 mm behind the board, then 10 mm forward, which now is to the left.
/// let there = moved(&here, &moves, [-100.0, 0.0, 0.0])?;
/// assert!((there.translation_mm[0] + 100.0).abs() < 1e-12 && (there.translation_mm[1] - 110.0).abs() < 1e-12);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn moved(rig_from_stand: &Pose, moves: &StandMoves, pivot_mm: [f64; 3]) -> Result<Pose, Error> {
    let stand = transform::<Rig, Stand>("rig_from_stand", rig_from_stand)?;
    check_point("pivot_mm", pivot_mm)?;
    let StandMoves { yaw_deg, pitch_deg, roll_deg, forward_mm, left_mm, up_mm } = *moves;
    for (name, angle) in [("yaw_deg", yaw_deg), ("pitch_deg", pitch_deg), ("roll_deg", roll_deg)] {
        check_range(ErrorCode::AngleOutOfRange, name, angle, [-180.0, 180.0])?;
    }
    for (name, length) in [("forward_mm", forward_mm), ("left_mm", left_mm), ("up_mm", up_mm)] {
        check_range(ErrorCode::LengthOutOfRange, name, length, [-8.0 * MAX_COORDINATE_MM, 8.0 * MAX_COORDINATE_MM])?;
    }
    let pivot = Vector::new(pivot_mm);
    let there =
        Transform::<Rig, Stand>::from_parts(stand.rotation * turned([yaw_deg, pitch_deg, roll_deg]), Vector::zero());
    let shift = Vector::new([forward_mm, left_mm, up_mm]);
    let origin = stand.point(pivot) + there.direction(shift - pivot);
    Ok(Transform::<Rig, Stand>::from_parts(there.rotation, origin).into())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn moves_are_said_as_a_person_says_them() {
        use alloc::string::ToString;
        let all = StandMoves {
            yaw_deg: -0.35,
            pitch_deg: 0.2,
            roll_deg: -0.1,
            forward_mm: -12.44,
            left_mm: 3.0,
            up_mm: -1.0,
        };
        assert_eq!(
            all.to_string(),
            "turn right by 0.35°, then tilt the top forward by 0.20°, then lean the top to the left by 0.10°, then shift back by 12.4 mm, \
             then shift left by 3.0 mm, then lower by 1.0 mm"
        );
        let next_to_nothing = StandMoves { yaw_deg: 0.004, up_mm: -0.04, ..StandMoves::default() };
        assert_eq!(next_to_nothing.to_string(), "nothing to move");
    }
}
