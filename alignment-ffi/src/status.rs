//! Statuses, stages and wheels by their stable numbers, which the header publishes.
//!
//! The numbers stand here as literals, since the header is written from this text; tests hold them to the core's.

use std::ffi::{CStr, c_char};

/// Success.
pub const WA_SUCCESS: i32 = 0;

/// A number is NaN or infinite.
pub const WA_NOT_FINITE: i32 = -1;
/// A rotation matrix is not orthonormal within the tolerance.
pub const WA_NOT_A_ROTATION: i32 = -2;
/// A rotation matrix has a negative determinant: it mirrors.
pub const WA_REFLECTION: i32 = -3;
/// A direction or a quaternion does not have length 1.
pub const WA_NOT_UNIT_LENGTH: i32 = -4;
/// A length lies outside what a car and a rig can have.
pub const WA_LENGTH_OUT_OF_RANGE: i32 = -5;
/// An angle lies outside its range.
pub const WA_ANGLE_OUT_OF_RANGE: i32 = -6;
/// An input that this computation needs is missing.
pub const WA_MISSING_INPUT: i32 = -7;
/// A wheel's target was not seen where it is needed.
pub const WA_WHEEL_NOT_SEEN: i32 = -8;
/// There are fewer stations than the computation needs.
pub const WA_TOO_FEW_STATIONS: i32 = -9;
/// The car was rolled too little to find a spindle.
pub const WA_ROLL_TOO_SMALL: i32 = -10;
/// The stations lie a full turn of the wheel apart, which tells nothing about its spindle.
pub const WA_ROLL_FULL_TURN: i32 = -11;
/// The steering was swept too little to find the steering axis.
pub const WA_SWEEP_TOO_SMALL: i32 = -12;
/// The up direction points down: the wheels roll the wrong way for it.
pub const WA_UP_INVERTED: i32 = -13;
/// The left targets are on the right of the car, and the right ones on the left.
pub const WA_SIDES_SWAPPED: i32 = -14;
/// The front targets are on the rear wheels, and the rear ones on the front wheels.
pub const WA_ENDS_SWAPPED: i32 = -15;
/// Sides, ends or up are mirrored, and nothing in the session decides which.
pub const WA_MIRRORED: i32 = -16;
/// A spindle does not run across the car: the wheels cannot belong to one vehicle.
pub const WA_SPINDLE_NOT_LATERAL: i32 = -17;
/// The text is not a session: malformed JSON, an unknown key, a wrong type.
pub const WA_NOT_A_SESSION: i32 = -18;
/// The text is not a metric tyre size code.
pub const WA_NOT_A_TYRE_SIZE: i32 = -19;
/// The frames of one station move by more than they scatter: the target did not stand still.
pub const WA_NOT_STILL: i32 = -20;
/// The wheels cannot belong to one car, or not to the same car at every station.
pub const WA_DIFFERENT_VEHICLES: i32 = -21;
/// The rear wheels steer with the front ones: this library measures cars that steer with the front wheels alone.
pub const WA_REAR_WHEEL_STEER: i32 = -22;
/// A station has wheels beyond fl, fr, rl and rr: a third axle, which this library does not measure.
pub const WA_THIRD_AXLE: i32 = -23;
/// A stage has more stations, or a station more frames, than any session needs.
pub const WA_TOO_MANY: i32 = -24;
/// Two inputs contradict each other.
pub const WA_CONTRADICTION: i32 = -25;
/// A number lies outside its range.
pub const WA_OUT_OF_RANGE: i32 = -26;
/// A text is not a specification.
pub const WA_NOT_A_SPECIFICATION: i32 = -27;
/// No reading has this path.
pub const WA_UNKNOWN_READING: i32 = -28;
/// A matrix is no covariance: it is not symmetric, or it would give a combination of its quantities a negative variance.
pub const WA_NOT_A_COVARIANCE: i32 = -29;
/// A Monte Carlo run did not settle within the trials allowed.
pub const WA_NOT_SETTLED: i32 = -30;
/// The stations do not determine an unknown of the joint fit: nothing, or next to nothing, tells it from the others.
pub const WA_NOT_DETERMINED: i32 = -31;
/// The joint fit did not converge: no rigid car is near the poses.
pub const WA_NOT_CONVERGED: i32 = -32;
/// A text is no record of the work, or one of a newer version.
pub const WA_NOT_A_RECORD: i32 = -33;
/// A record is not as it was written: its digest does not fit its bytes.
pub const WA_RECORD_DAMAGED: i32 = -34;

/// A pointer is NULL that must not be; the message names it.
pub const WA_NULL_POINTER: i32 = -1001;
/// The result does not fit its buffer; the length that it needs is told.
pub const WA_BUFFER_TOO_SMALL: i32 = -1002;
/// The size in a struct is not one that this library knows. When it is that of wa_error, nothing was written.
pub const WA_BAD_STRUCT_SIZE: i32 = -1003;
/// A text is not UTF-8.
pub const WA_NOT_UTF8: i32 = -1004;
/// A length is greater than any object in memory can be.
pub const WA_BAD_LENGTH: i32 = -1005;
/// A pointer is not aligned for its type; the message names it. When it is that of wa_error, nothing was written.
pub const WA_MISALIGNED: i32 = -1006;
/// A fault of this library, caught at its border: please report it. Nothing was written but the error.
pub const WA_INTERNAL_FAULT: i32 = -1099;

/// No stage, no station, no wheel.
pub const WA_NONE: i32 = -1;

/// The stations at which the car was rolled.
pub const WA_STAGE_ROLLING: i32 = 0;
/// The station with the wheels straight ahead.
pub const WA_STAGE_AHEAD: i32 = 1;
/// The stations of the caster sweep.
pub const WA_STAGE_SWEEP: i32 = 2;
/// Full lock to the left.
pub const WA_STAGE_LOCK_LEFT: i32 = 3;
/// Full lock to the right.
pub const WA_STAGE_LOCK_RIGHT: i32 = 4;

/// Front left.
pub const WA_WHEEL_FL: i32 = 0;
/// Front right.
pub const WA_WHEEL_FR: i32 = 1;
/// Rear left.
pub const WA_WHEEL_RL: i32 = 2;
/// Rear right.
pub const WA_WHEEL_RR: i32 = 3;

/// The driver's left.
pub const WA_SIDE_LEFT: i32 = 0;
/// The driver's right.
pub const WA_SIDE_RIGHT: i32 = 1;

/// The front axle.
pub const WA_AXLE_FRONT: i32 = 0;
/// The rear axle.
pub const WA_AXLE_REAR: i32 = 1;

/// The car was rolled less than the customary 20°: camber and toe scatter more.
pub const WA_WARNING_ROLL_SHORT: u32 = 1 << 0;
/// The wheel rolls over a radius that was assumed, since two stations cannot give it.
pub const WA_WARNING_ROLLING_RADIUS_ASSUMED: u32 = 1 << 1;
/// The loaded radius was not given: the rolling radius stands in for it.
pub const WA_WARNING_LOADED_RADIUS_ASSUMED: u32 = 1 << 2;
/// The steering was swept less than ± 10°: caster and SAI scatter more.
pub const WA_WARNING_SWEEP_SHORT: u32 = 1 << 3;
/// The wheel was free to roll in the sweep: SAI scatters about ten times more than with the wheel locked.
pub const WA_WARNING_SWEEP_WHEEL_FREE: u32 = 1 << 4;
/// The poses of the stage do not fit a rigid motion within their noise.
pub const WA_WARNING_RESIDUAL_HIGH: u32 = 1 << 5;
/// The body moved while the front wheels were steered: axes and angles are referred to a body that did not
/// stand still.
pub const WA_WARNING_BODY_MOVED: u32 = 1 << 6;
/// The sweep did not reach the angle at which toe-out on turns is read: that turn is absent.
pub const WA_WARNING_TURN_NOT_REACHED: u32 = 1 << 7;
/// A wheel was not seen at enough stations of a stage: the readings that need it are absent.
pub const WA_WARNING_WHEEL_BLOCKED: u32 = 1 << 8;
/// A target slipped on its clamp at one station: it fits the other stations of its stage but for this one. In
/// the rolling, the first station alone cannot be told from all that follow.
pub const WA_WARNING_TARGET_SLIPPED_ONCE: u32 = 1 << 9;
/// A target slipped on its clamp and stayed so: from this station on it fits the earlier ones of its stage no
/// more.
pub const WA_WARNING_TARGET_SLIPPED_FROM: u32 = 1 << 10;
/// A wheel that was to be locked in the sweep rolled about its spindle, or its steering axis moves, which looks
/// alike: SAI leans on it.
pub const WA_WARNING_WHEEL_ROLLED: u32 = 1 << 11;
/// The body was not watched at all stations at which the front wheels were steered: it is assumed to have stood
/// still there, or the station is left out.
pub const WA_WARNING_BODY_NOT_WATCHED: u32 = 1 << 12;
/// The points that make the datum do not lie in one plane.
pub const WA_WARNING_DATUM_UNEVEN: u32 = 1 << 13;
/// The body was found again from rear wheels that were free to roll, which do not show how it pitches: caster
/// leans on that.
pub const WA_WARNING_BODY_PITCH_UNSEEN: u32 = 1 << 14;
/// A wheel stands otherwise at the ahead station than while the car was rolled or steered: its target slipped,
/// it was steered, the car moved, or its suspension settled.
pub const WA_WARNING_AHEAD_DISAGREES: u32 = 1 << 15;
/// The rear targets do not show one motion of the body: one of them slipped or rolled.
pub const WA_WARNING_REAR_DISAGREE: u32 = 1 << 16;
/// No radius of the wheel is known: what lies at the ground is absent.
pub const WA_WARNING_RADIUS_UNKNOWN: u32 = 1 << 17;
/// Toe-out on turns is interpolated between stations that lie far apart.
pub const WA_WARNING_TURN_SPARSE: u32 = 1 << 18;
/// The poses do not fit one rigid car within their noise: the car moved between stages, a steering axis moves,
/// or the noise is understated.
pub const WA_WARNING_FIT_POOR: u32 = 1 << 19;
/// A pose does not belong to the car that all others show, and was left out.
pub const WA_WARNING_POSE_LEFT_OUT: u32 = 1 << 20;
/// So many poses of a wheel were left out that the rest hardly check each other: they may be the wrong ones.
pub const WA_WARNING_HARDLY_CHECKED: u32 = 1 << 21;

/// Every status with its name.
const NAMES: [(i32, &CStr); 42] = [
    (WA_SUCCESS, c"success"),
    (WA_NOT_FINITE, c"not_finite"),
    (WA_NOT_A_ROTATION, c"not_a_rotation"),
    (WA_REFLECTION, c"reflection"),
    (WA_NOT_UNIT_LENGTH, c"not_unit_length"),
    (WA_LENGTH_OUT_OF_RANGE, c"length_out_of_range"),
    (WA_ANGLE_OUT_OF_RANGE, c"angle_out_of_range"),
    (WA_MISSING_INPUT, c"missing_input"),
    (WA_WHEEL_NOT_SEEN, c"wheel_not_seen"),
    (WA_TOO_FEW_STATIONS, c"too_few_stations"),
    (WA_ROLL_TOO_SMALL, c"roll_too_small"),
    (WA_ROLL_FULL_TURN, c"roll_full_turn"),
    (WA_SWEEP_TOO_SMALL, c"sweep_too_small"),
    (WA_UP_INVERTED, c"up_inverted"),
    (WA_SIDES_SWAPPED, c"sides_swapped"),
    (WA_ENDS_SWAPPED, c"ends_swapped"),
    (WA_MIRRORED, c"mirrored"),
    (WA_SPINDLE_NOT_LATERAL, c"spindle_not_lateral"),
    (WA_NOT_A_SESSION, c"not_a_session"),
    (WA_NOT_A_TYRE_SIZE, c"not_a_tyre_size"),
    (WA_NOT_STILL, c"not_still"),
    (WA_DIFFERENT_VEHICLES, c"different_vehicles"),
    (WA_REAR_WHEEL_STEER, c"rear_wheel_steer"),
    (WA_THIRD_AXLE, c"third_axle"),
    (WA_TOO_MANY, c"too_many"),
    (WA_CONTRADICTION, c"contradiction"),
    (WA_OUT_OF_RANGE, c"out_of_range"),
    (WA_NOT_A_SPECIFICATION, c"not_a_specification"),
    (WA_UNKNOWN_READING, c"unknown_reading"),
    (WA_NOT_A_COVARIANCE, c"not_a_covariance"),
    (WA_NOT_SETTLED, c"not_settled"),
    (WA_NOT_DETERMINED, c"not_determined"),
    (WA_NOT_CONVERGED, c"not_converged"),
    (WA_NOT_A_RECORD, c"not_a_record"),
    (WA_RECORD_DAMAGED, c"record_damaged"),
    (WA_NULL_POINTER, c"null_pointer"),
    (WA_BUFFER_TOO_SMALL, c"buffer_too_small"),
    (WA_BAD_STRUCT_SIZE, c"bad_struct_size"),
    (WA_NOT_UTF8, c"not_utf8"),
    (WA_BAD_LENGTH, c"bad_length"),
    (WA_MISALIGNED, c"misaligned"),
    (WA_INTERNAL_FAULT, c"internal_fault"),
];

/// The name of a status in snake case, as in "roll_too_small": a static string, never NULL, not to be
/// freed. "unknown" for a number that is no status.
#[unsafe(no_mangle)]
pub extern "C" fn wa_status_name(status: i32) -> *const c_char {
    name(status).as_ptr()
}

fn name(status: i32) -> &'static CStr {
    NAMES.iter().find(|(number, _)| *number == status).map_or(c"unknown", |(_, name)| name)
}

#[cfg(test)]
mod tests {
    use super::*;
    use alignment_core::ErrorCode;

    #[test]
    fn every_code_of_the_core_has_its_number_and_name() {
        for &code in ErrorCode::ALL {
            assert_eq!(name(code.number()).to_str(), Ok(code.name()));
        }
        assert_eq!(NAMES.iter().filter(|(number, _)| (-1000..0).contains(number)).count(), ErrorCode::ALL.len());
        assert_eq!(name(1), c"unknown");
        assert_eq!(name(i32::MIN), c"unknown");
    }

    #[test]
    fn statuses_are_distinct() {
        for (index, (number, name)) in NAMES.iter().enumerate() {
            for (other_number, other_name) in &NAMES[..index] {
                assert_ne!(number, other_number);
                assert_ne!(name, other_name);
            }
        }
    }
}
