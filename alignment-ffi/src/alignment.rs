//! Every reading by its path, as plain structs.

use crate::error::{Failure, WaError, guard};
use crate::memory::{Places, StatesSize, Target, WaOptional, check, elements, give, read, string};
use alignment_core::paths::{COUNT, position};
use alignment_core::steering::SteeringAxisReadings;
use alignment_core::vehicle::{AxleReadings, ChassisReadings};
use alignment_core::wheel::WheelReadings;
use alignment_core::{Alignment, ByAxle, ByWheel};
use std::ffi::c_char;
use std::mem::{MaybeUninit, offset_of, size_of};

/// One wheel.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaWheelReadings {
    /// Camber: inclination of the wheel plane to the datum's normal; positive with the top outward. Degrees.
    pub camber_deg: f64,
    /// Toe, positive toe-in: of a front wheel to the thrust line, of a rear wheel to the centreline. Degrees.
    pub toe_deg: f64,
    /// Toe to the vehicle's centreline, positive toe-in, degrees.
    pub toe_to_centreline_deg: f64,
    /// Wheel centre in the vehicle frame, mm.
    pub centre_mm: [f64; 3],
    /// Spindle, unit vector outward, in the vehicle frame.
    pub spindle: [f64; 3],
    /// Runout of the clamp: angle between the spindle and the nearest axis of the target. Degrees.
    pub runout_deg: f64,
    /// Rolling radius: travel of the wheel centre over roll angle. A spun wheel has none. In mm.
    pub rolling_radius_mm: f64,
}

impl From<WheelReadings> for WaWheelReadings {
    #[inline(always)]
    fn from(
        WheelReadings { camber_deg, toe_deg, toe_to_centreline_deg, centre_mm, spindle, runout_deg, rolling_radius_mm }: WheelReadings,
    ) -> Self {
        Self {
            camber_deg: number(camber_deg),
            toe_deg: number(toe_deg),
            toe_to_centreline_deg: number(toe_to_centreline_deg),
            centre_mm: vector(centre_mm),
            spindle: vector(spindle),
            runout_deg: number(runout_deg),
            rolling_radius_mm: number(rolling_radius_mm),
        }
    }
}

/// One axle.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaAxleReadings {
    /// Total toe: the sum of both wheels' toe, positive toe-in. Degrees.
    pub total_toe_deg: f64,
    /// Camber, left minus right, degrees.
    pub cross_camber_deg: f64,
    /// Track between wheel centres, along the vehicle's y axis, mm.
    pub track_mm: f64,
    /// Track between contact centres, along the vehicle's y axis (ISO 8855's track), mm.
    pub track_at_ground_mm: f64,
    /// Setback as an angle: atan(setback_mm / track_mm); positive with the right wheel further rearward.
    /// Degrees.
    pub setback_deg: f64,
    /// Setback: x of the left wheel centre minus x of the right one; positive with the right wheel further
    /// rearward. In mm.
    pub setback_mm: f64,
}

impl From<AxleReadings> for WaAxleReadings {
    #[inline(always)]
    fn from(
        AxleReadings { total_toe_deg, cross_camber_deg, track_mm, track_at_ground_mm, setback_deg, setback_mm }: AxleReadings,
    ) -> Self {
        Self {
            total_toe_deg: number(total_toe_deg),
            cross_camber_deg: number(cross_camber_deg),
            track_mm: number(track_mm),
            track_at_ground_mm: number(track_at_ground_mm),
            setback_deg: number(setback_deg),
            setback_mm: number(setback_mm),
        }
    }
}

/// The chassis.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaChassisReadings {
    /// Thrust angle: (rear left toe - rear right toe)/2; positive when the thrust line points to the right of
    /// the centreline. Degrees.
    pub thrust_angle_deg: f64,
    /// Wheelbase on the left, along the vehicle's x axis, mm.
    pub wheelbase_left_mm: f64,
    /// Wheelbase on the right, along the vehicle's x axis, mm.
    pub wheelbase_right_mm: f64,
    /// Wheelbase, left minus right, mm.
    pub wheelbase_difference_mm: f64,
    /// Diagonal from the front left to the rear right wheel centre, in the reference plane, mm.
    pub diagonal_fl_rr_mm: f64,
    /// Diagonal from the front right to the rear left wheel centre, in the reference plane, mm.
    pub diagonal_fr_rl_mm: f64,
    /// Diagonals, fl–rr minus fr–rl, mm.
    pub diagonal_difference_mm: f64,
    /// Track between wheel centres, front minus rear, mm.
    pub track_difference_mm: f64,
    /// Axle offset: the rear midpoint from the line through the front midpoint square to the front axle line;
    /// positive to the left. In mm.
    pub axle_offset_mm: f64,
}

impl From<ChassisReadings> for WaChassisReadings {
    #[inline(always)]
    fn from(
        ChassisReadings {
            thrust_angle_deg,
            wheelbase_left_mm,
            wheelbase_right_mm,
            wheelbase_difference_mm,
            diagonal_fl_rr_mm,
            diagonal_fr_rl_mm,
            diagonal_difference_mm,
            track_difference_mm,
            axle_offset_mm,
        }: ChassisReadings,
    ) -> Self {
        Self {
            thrust_angle_deg: number(thrust_angle_deg),
            wheelbase_left_mm: number(wheelbase_left_mm),
            wheelbase_right_mm: number(wheelbase_right_mm),
            wheelbase_difference_mm: number(wheelbase_difference_mm),
            diagonal_fl_rr_mm: number(diagonal_fl_rr_mm),
            diagonal_fr_rl_mm: number(diagonal_fr_rl_mm),
            diagonal_difference_mm: number(diagonal_difference_mm),
            track_difference_mm: number(track_difference_mm),
            axle_offset_mm: number(axle_offset_mm),
        }
    }
}

/// The steering axis of one side.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaSteeringAxisReadings {
    /// Caster to the datum, in the side view; positive with the top of the axis rearward. Degrees.
    pub caster_deg: f64,
    /// Steering-axis inclination to the datum, in the front view; positive with the top inboard. Degrees.
    pub sai_deg: f64,
    /// Included angle: SAI plus camber. Degrees.
    pub included_angle_deg: f64,
    /// Caster trail along the vehicle's x axis; positive when the axis meets the ground ahead of the contact
    /// centre. In mm.
    pub caster_trail_mm: f64,
    /// Scrub radius along the vehicle's y axis; positive when the axis meets the ground inboard of the contact
    /// centre. In mm.
    pub scrub_radius_mm: f64,
    /// Caster trail along the wheel's heading; positive when the axis meets the ground ahead of the contact
    /// centre. In mm.
    pub caster_trail_in_wheel_plane_mm: f64,
    /// Scrub radius square to the wheel's heading; positive when the axis meets the ground inboard of the
    /// contact centre. In mm.
    pub scrub_radius_in_wheel_plane_mm: f64,
    /// Caster to the body, whose pitch and roll come from the ride heights; positive with the top of the axis
    /// rearward. Degrees.
    pub caster_to_body_deg: f64,
    /// Steering-axis inclination to the body, whose pitch and roll come from the ride heights; positive with
    /// the top inboard. Degrees.
    pub sai_to_body_deg: f64,
    /// Steering axis, unit vector upward, in the vehicle frame.
    pub axis_direction: [f64; 3],
    /// Point of the steering axis nearest to the wheel centre straight ahead, in the vehicle frame, mm.
    pub axis_point_mm: [f64; 3],
    /// How far one fixed axis leaves the sweep unexplained, root mean square over the stations: direction.
    /// Degrees.
    pub residual_deg: f64,
    /// How far one fixed axis leaves the sweep unexplained, root mean square over the stations: position. In
    /// mm.
    pub residual_mm: f64,
}

impl From<SteeringAxisReadings> for WaSteeringAxisReadings {
    #[inline(always)]
    fn from(
        SteeringAxisReadings {
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
        }: SteeringAxisReadings,
    ) -> Self {
        Self {
            caster_deg: number(caster_deg),
            sai_deg: number(sai_deg),
            included_angle_deg: number(included_angle_deg),
            caster_trail_mm: number(caster_trail_mm),
            scrub_radius_mm: number(scrub_radius_mm),
            caster_trail_in_wheel_plane_mm: number(caster_trail_in_wheel_plane_mm),
            scrub_radius_in_wheel_plane_mm: number(scrub_radius_in_wheel_plane_mm),
            caster_to_body_deg: number(caster_to_body_deg),
            sai_to_body_deg: number(sai_to_body_deg),
            axis_direction: vector(axis_direction),
            axis_point_mm: vector(axis_point_mm),
            residual_deg: number(residual_deg),
            residual_mm: number(residual_mm),
        }
    }
}

/// The four wheels.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaWheels {
    /// Front left.
    pub fl: WaWheelReadings,
    /// Front right.
    pub fr: WaWheelReadings,
    /// Rear left.
    pub rl: WaWheelReadings,
    /// Rear right.
    pub rr: WaWheelReadings,
}

impl From<ByWheel<WheelReadings>> for WaWheels {
    #[inline(always)]
    fn from(ByWheel { fl, fr, rl, rr }: ByWheel<WheelReadings>) -> Self {
        Self { fl: fl.into(), fr: fr.into(), rl: rl.into(), rr: rr.into() }
    }
}

/// Both axles.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaAxles {
    /// The front axle.
    pub front: WaAxleReadings,
    /// The rear axle.
    pub rear: WaAxleReadings,
}

impl From<ByAxle<AxleReadings>> for WaAxles {
    #[inline(always)]
    fn from(ByAxle { front, rear }: ByAxle<AxleReadings>) -> Self {
        Self { front: front.into(), rear: rear.into() }
    }
}

/// The steering, from the sweep.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaSteeringReadings {
    /// The axis of the left front wheel.
    pub left: WaSteeringAxisReadings,
    /// The axis of the right front wheel.
    pub right: WaSteeringAxisReadings,
    /// How far from straight ahead the front wheels stood at the ahead station: (right toe - left toe)/2 to the
    /// thrust line; positive to the left. Degrees.
    pub ahead_error_deg: f64,
    /// Caster, left minus right, degrees.
    pub cross_caster_deg: f64,
    /// SAI, left minus right, degrees.
    pub cross_sai_deg: f64,
    /// Range of the sweep: largest minus smallest mean steer angle of the front wheels. Degrees.
    pub sweep_range_deg: f64,
}

/// The front wheels in a turn, where the wheel that the session names has the angle that it names.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaTurnReadings {
    /// Steer angle of the wheel on the inside of the turn, from its own heading straight ahead, degrees.
    pub inner_deg: f64,
    /// Steer angle of the wheel on the outside of the turn, from its own heading straight ahead, degrees.
    pub outer_deg: f64,
    /// Toe-out on turns: inner minus outer. Degrees.
    pub toe_out_deg: f64,
    /// Ideal toe-out there, by Ackermann: cot(outer) - cot(inner) = (distance of the steering axes at the
    /// ground, along the vehicle's y axis)/(mean wheelbase). Degrees.
    pub ackermann_deg: f64,
}

/// The front wheels at full lock.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaLockReadings {
    /// Steer angle of the left wheel, from its own heading straight ahead; positive to the left. Degrees.
    pub left_deg: f64,
    /// Steer angle of the right wheel, from its own heading straight ahead; positive to the left. Degrees.
    pub right_deg: f64,
}

/// Turning, from the sweep and the locks.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaTurnsReadings {
    /// A turn to the left.
    pub left_turn: WaTurnReadings,
    /// A turn to the right.
    pub right_turn: WaTurnReadings,
    /// Full lock to the left.
    pub lock_left: WaLockReadings,
    /// Full lock to the right.
    pub lock_right: WaLockReadings,
}

/// Every reading of a car, each at its path: alignment.wheels.fl.camber_deg.
///
/// A reading that is absent is NaN, and its bit in present is 0; no reading that is present is NaN or infinite. The
/// same tree holds what readings are worth: then each number is the standard uncertainty of the reading at its path, in the
/// unit of that, or its degrees of freedom, which may be infinite.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaAlignment {
    /// Set by the caller: sizeof(wa_alignment). Within another struct set by the library.
    pub size: usize,
    /// Which readings are present: bit position % 64 of present[position / 64], by the position that
    /// wa_reading_position tells. Or ask wa_is_present. The bits beyond wa_reading_count() are 0.
    pub present: [u64; 2],
    /// Per wheel.
    pub wheels: WaWheels,
    /// Per axle.
    pub axles: WaAxles,
    /// The chassis.
    pub chassis: WaChassisReadings,
    /// The steering, from the sweep.
    pub steering: WaSteeringReadings,
    /// Turning, from the sweep and the locks.
    pub turns: WaTurnsReadings,
}

// SAFETY: repr(C), begins with a usize, and numbers are all it has.
unsafe impl StatesSize for WaAlignment {}

/// The readings as they lie in [`WaAlignment`]: one double after the other, in the order of their positions.
type Flat = [f64; COUNT];

const FIRST: usize = offset_of!(WaAlignment, wheels);
const _: () = assert!(size_of::<WaAlignment>() == FIRST + size_of::<Flat>());
const _: () = assert!(COUNT <= 2 * 64, "another word of `present` is needed");

impl WaAlignment {
    pub(crate) fn of_values(values: &[Option<f64>; COUNT]) -> Self {
        let mut present = [0; 2];
        for (position, _) in values.iter().enumerate().filter(|(_, value)| value.is_some()) {
            present[position / 64] |= 1 << (position % 64);
        }
        let flat: Flat = values.map(number);
        let mut tree = MaybeUninit::<Self>::uninit();
        let pointer = tree.as_mut_ptr();
        // SAFETY: size, present and COUNT doubles are all that the struct has, at these places, without padding: asserted
        // above and, path by path, by the tests.
        unsafe {
            (&raw mut (*pointer).size).write(size_of::<Self>());
            (&raw mut (*pointer).present).write(present);
            pointer.byte_add(FIRST).cast::<Flat>().write(flat);
            tree.assume_init()
        }
    }

    pub(crate) fn values(&self) -> [Option<f64>; COUNT] {
        // SAFETY: COUNT doubles lie there, as in `of_values`.
        let flat = unsafe { (&raw const *self).byte_add(FIRST).cast::<Flat>().read() };
        std::array::from_fn(|position| is_present(self.present, position).then_some(flat[position]))
    }
}

impl From<&Alignment> for WaAlignment {
    fn from(tree: &Alignment) -> Self {
        Self::of_values(&tree.values())
    }
}

impl From<&WaAlignment> for Alignment {
    fn from(tree: &WaAlignment) -> Self {
        Self::from_values(&tree.values())
    }
}

#[inline(always)]
fn number(value: Option<f64>) -> f64 {
    value.unwrap_or(f64::NAN)
}

#[inline(always)]
fn vector(value: Option<[f64; 3]>) -> [f64; 3] {
    value.unwrap_or([f64::NAN; 3])
}

const fn is_present(present: [u64; 2], position: usize) -> bool {
    position < COUNT && present[position / 64] >> (position % 64) & 1 == 1
}

/// Whether a reading is present.
///
/// present: the member of wa_alignment. NULL has none.
/// position: as wa_reading_position tells.
///
/// Returns 1 or 0; 0 for a position that is none.
///
/// cbindgen:ptrs-as-arrays=[[present; 2]]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_is_present(present: *const u64, position: usize) -> i32 {
    let present = present.cast::<[u64; 2]>();
    if check("present", present).is_err() {
        return 0;
    }
    // SAFETY: not null and aligned, and the caller promises two words.
    i32::from(is_present(unsafe { *present }, position))
}

/// One reading by its path, in degrees or mm as its name says.
///
/// path: as in "wheels.fl.camber_deg", UTF-8 with a NUL at the end.
/// reading: absent when the reading is.
///
/// Returns WA_SUCCESS; WA_UNKNOWN_READING; WA_NOT_UTF8.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_alignment_get(
    alignment: *const WaAlignment,
    path: *const c_char,
    reading: *mut WaOptional,
    error: *mut WaError,
) -> i32 {
    // SAFETY: the caller's promises are handed on.
    let job = || unsafe {
        let (alignment, path) = (read("alignment", alignment)?, string("path", path)?);
        Ok(alignment.values()[position(path)?].into())
    };
    // SAFETY: as before.
    unsafe { give(error, ("reading", reading), job) }
}

/// Every reading as a list.
///
/// values: buffer of the caller of capacity doubles, of which wa_reading_count() are written, in the order of
///     wa_reading_path. NaN where absent.
///
/// Returns WA_SUCCESS; WA_BUFFER_TOO_SMALL.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_alignment_values(
    alignment: *const WaAlignment,
    values: *mut f64,
    capacity: usize,
    error: *mut WaError,
) -> i32 {
    let job = || {
        // SAFETY: the caller's promises are handed on.
        let (alignment, places) = unsafe { (read("alignment", alignment)?, Places::new("values", values, capacity)?) };
        places.check("doubles", COUNT)?;
        places.write(alignment.values().map(number));
        Ok(())
    };
    // SAFETY: the caller's promise about `error` is handed on.
    unsafe { guard(error, job) }
}

/// The tree of a list of readings, such as those of another source that are to be judged.
///
/// values: count numbers, wa_reading_count() of them, in the order of wa_reading_path; NaN where absent. A vector of which
///     one component is absent is absent.
/// alignment: struct of the caller whose size is set.
///
/// Returns WA_SUCCESS; WA_CONTRADICTION for another count.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_alignment_from_values(
    values: *const f64,
    values_count: usize,
    alignment: *mut WaAlignment,
    error: *mut WaError,
) -> i32 {
    let job = || {
        // SAFETY: the caller's promises are handed on.
        let (values, target) =
            unsafe { (elements("values", values, values_count)?, Target::new("alignment", alignment)?) };
        let values: &Flat = values.try_into().map_err(|_| Failure::WrongCount {
            name: "values",
            count: values_count,
            needed: COUNT,
        })?;
        let present = values.map(|value| (!value.is_nan()).then_some(value));
        target.write((&Alignment::from_values(&present)).into());
        Ok(())
    };
    // SAFETY: the caller's promise about `error` is handed on.
    unsafe { guard(error, job) }
}
