//! Four wheels together: readings from four poses at the frame rate of cameras, and what else belongs to the thrust line.

use crate::alignment::{WaAxles, WaChassisReadings, WaWheels};
use crate::compensation::{WaCompensation, as_compensations};
use crate::error::{WaError, guard};
use crate::layout::{by_axle, centreline_of, side_of};
use crate::memory::{StatesSize, Target, WaOptional, give, in_place, numbers, optional};
use crate::pose::WaPose;
use alignment_core::vehicle::{self, AheadReadings};
use alignment_core::{ByWheel, Pose};
use std::mem::{align_of, offset_of, size_of};

/// What four poses show straight ahead. As in wa_alignment, and with the same paths: NaN where absent. Only
/// rolling_radius_mm and track_at_ground_mm can be absent.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaAheadReadings {
    /// Set by the caller: sizeof(wa_ahead_readings_result).
    pub size: usize,
    /// Per wheel.
    pub wheels: WaWheels,
    /// Per axle.
    pub axles: WaAxles,
    /// The chassis.
    pub chassis: WaChassisReadings,
    /// The axes of the vehicle seen in the rig, in the columns of its rotation, and its origin, the midpoint of the rear
    /// wheel centres: a point p of the vehicle lies at R·p + t in the rig.
    pub rig_from_vehicle: WaPose,
}

// SAFETY: repr(C), begins with a usize, and numbers are all it has.
unsafe impl StatesSize for WaAheadReadings {}

// Four poses of the caller are read where they are, like one by itself.
const _: () = assert!(size_of::<ByWheel<Pose>>() == size_of::<[WaPose; 4]>());
const _: () = assert!(align_of::<ByWheel<Pose>>() == align_of::<[WaPose; 4]>());
const _: () = assert!(offset_of!(ByWheel<Pose>, fl) == 0 && offset_of!(ByWheel<Pose>, fr) == size_of::<WaPose>());
const _: () = assert!(offset_of!(ByWheel<Pose>, rl) == 2 * size_of::<WaPose>());
const _: () = assert!(offset_of!(ByWheel<Pose>, rr) == 3 * size_of::<WaPose>());

/// One reading from four poses: camber, toe, thrust line, setback and dimensions of a car that stands straight ahead, for
/// every frame of the cameras. Nothing is allocated, no lock is taken; on a refusal neither.
///
/// compensation: of fl, fr, rl, rr, as wa_clamp_compensation_all_wheels gives them. The optional number in each is 1 or 0
///     present, and nothing else.
/// poses: of fl, fr, rl, rr, in the frame of the rig; all four are seen.
/// up: unit vector upward in the rig.
/// loaded_radius_mm: of the front and of the rear axle, 50 to 1500 mm; the rolling radius stands in where it is absent. NULL
///     for neither. It serves the track at the ground alone.
/// centreline: WA_CENTRELINE_...
/// ahead_readings: struct of the caller whose size is set.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_NOT_A_ROTATION; WA_REFLECTION; WA_LENGTH_OUT_OF_RANGE for a coordinate beyond a
/// kilometre, or a radius, wheelbase or track that no car has; WA_NOT_UNIT_LENGTH for up or a spindle; WA_OUT_OF_RANGE for a
/// centreline that is none, or a rolling_radius_mm whose present is neither 0 nor 1; WA_SPINDLE_NOT_LATERAL for a spindle more than 60° from the vehicle's y axis;
/// WA_DIFFERENT_VEHICLES for tracks or wheelbases that differ by more than a metre; WA_SIDES_SWAPPED or WA_MIRRORED when left,
/// right, front, rear and up do not fit together.
///
/// cbindgen:ptrs-as-arrays=[[compensation; 4], [poses; 4], [up; 3], [loaded_radius_mm; 2]]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_ahead_readings(
    compensation: *const WaCompensation,
    poses: *const WaPose,
    up: *const f64,
    loaded_radius_mm: *const WaOptional,
    centreline: i32,
    ahead_readings: *mut WaAheadReadings,
    error: *mut WaError,
) -> i32 {
    let job = || {
        // SAFETY: the caller's promises are handed on; arrays are aligned as their elements are, and the poses have the core's
        // layout, as asserted above.
        let (compensation, poses, up, radii, target) = unsafe {
            let compensation = in_place("compensation", compensation.cast::<[WaCompensation; 4]>())?;
            let poses = in_place("poses", poses.cast::<ByWheel<Pose>>())?;
            let radii = optional("loaded_radius_mm", loaded_radius_mm.cast::<[WaOptional; 2]>())?;
            let up = numbers("up", up)?;
            (compensation, poses, up, radii, Target::new("ahead_readings", ahead_readings)?)
        };
        let compensation = as_compensations(compensation)?;
        let radii = by_axle(radii.map_or([None; 2], |radii| radii.map(WaOptional::get)));
        let now = vehicle::ahead_readings(compensation, poses, up, &radii, centreline_of(centreline)?)?;
        let AheadReadings { wheels, axles, chassis, rig_from_vehicle } = now;
        target.write(WaAheadReadings {
            size: 0,
            wheels: wheels.into(),
            axles: axles.into(),
            chassis: chassis.into(),
            rig_from_vehicle: rig_from_vehicle.into(),
        });
        Ok(())
    };
    // SAFETY: the caller's promise about `error` is handed on.
    unsafe { guard(error, job) }
}

/// Thrust angle in degrees, positive when the thrust line points to the right of the centreline: (toe of the
/// rear left wheel - toe of the rear right wheel)/2. NaN in gives NaN out.
///
/// rear_left_toe_deg, rear_right_toe_deg: to the centreline, positive toe-in.
///
/// Returns WA_SUCCESS.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_thrust_angle_deg(
    rear_left_toe_deg: f64,
    rear_right_toe_deg: f64,
    thrust_angle_deg: *mut f64,
    error: *mut WaError,
) -> i32 {
    let job = || Ok(vehicle::thrust_angle_deg(rear_left_toe_deg, rear_right_toe_deg));
    // SAFETY: the caller's promises are handed on.
    unsafe { give(error, ("thrust_angle_deg", thrust_angle_deg), job) }
}

/// A front wheel's toe to the thrust line in degrees, positive toe-in: toe - thrust angle on the left, toe +
/// thrust angle on the right. NaN in gives NaN out.
///
/// side: WA_SIDE_...
/// toe_to_centreline_deg: positive toe-in.
/// thrust_angle_deg: positive to the right.
///
/// Returns WA_SUCCESS; WA_OUT_OF_RANGE for a side that is none.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_toe_to_thrust_line_deg(
    side: i32,
    toe_to_centreline_deg: f64,
    thrust_angle_deg: f64,
    toe_deg: *mut f64,
    error: *mut WaError,
) -> i32 {
    let job = || Ok(vehicle::toe_to_thrust_line_deg(side_of(side)?, toe_to_centreline_deg, thrust_angle_deg));
    // SAFETY: the caller's promises are handed on.
    unsafe { give(error, ("toe_deg", toe_deg), job) }
}

/// Dog tracking in mm: how far the rear axle runs beside the track of the front one, positive to the right:
/// wheelbase·tan(thrust angle), measured square to the centreline.
///
/// wheelbase_mm: 500 to 12000 mm.
/// thrust_angle_deg: positive to the right, within ± 45°.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_LENGTH_OUT_OF_RANGE; WA_ANGLE_OUT_OF_RANGE.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_dog_tracking_offset_mm(
    wheelbase_mm: f64,
    thrust_angle_deg: f64,
    offset_mm: *mut f64,
    error: *mut WaError,
) -> i32 {
    let job = || Ok(vehicle::dog_tracking_offset_mm(wheelbase_mm, thrust_angle_deg)?);
    // SAFETY: the caller's promises are handed on.
    unsafe { give(error, ("offset_mm", offset_mm), job) }
}
