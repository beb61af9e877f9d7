//! Live readings: a tracker, made once, and one call for each frame of the cameras.

use crate::alignment::WaAlignment;
use crate::compensation::{WaCompensation, as_compensations};
use crate::error::{Failure, WaError, guard};
use crate::layout::{by_axle, by_wheel, in_array};
use crate::memory::{Place, StatesSize, Target, check, choice, fill_in, give, in_place, read, string};
use crate::pose::WaPose;
use crate::session::WaSession;
use alignment_core::live::{Flags, FlagsByBasis, LiveReadings, LiveSettings, Steering, Tracker};
use alignment_core::{ByWheel, Pose, Wheel};
use std::ffi::c_char;

/// Front wheels may be steered: they are referred back to straight ahead, and what the steering does not explain is shared by
/// both as it was.
pub const WA_STEERING_FREE: i32 = 0;
/// The steering wheel is held: front wheels are read as they stand, so that each tie rod shows at its own wheel.
pub const WA_STEERING_HELD: i32 = 1;

/// Follows a car, frame by frame. The one thing that the library makes and the caller gives back: wa_tracker_new makes it,
/// wa_tracker_free gives it back. Calls for the same tracker do not overlap in time.
pub struct WaTracker {
    tracker: Tracker,
}

/// How a tracker works. Set size, then call wa_live_settings_default, then change what is wanted otherwise.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaLiveSettings {
    /// Set by the caller: sizeof(wa_live_settings).
    pub size: usize,
    /// Time constant of the smoothing, s, 0 to 3600; 0 for none.
    pub smoothing_s: f64,
    /// A reading is held when what it rests on was seen longer ago than this, s, 0 to 3600.
    pub held_after_s: f64,
    /// And stale when longer ago than this, s, 0 to 3600.
    pub stale_after_s: f64,
    /// A target is no longer where it belongs when it is turned by more than this, degrees, 0.001 to 10.
    pub knocked_deg: f64,
    /// Or shifted by more than this, mm, 0.01 to 100.
    pub knocked_mm: f64,
    /// WA_STEERING_...
    pub steering: i32,
    /// Zero.
    pub reserved: i32,
}

// SAFETY: repr(C), begins with a usize, and numbers are all it has.
unsafe impl StatesSize for WaLiveSettings {}

/// What is to be known of a reading before it is used: 1 where it is so, else 0.
#[repr(C)]
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct WaFlags {
    /// It rests on something that was not seen for longer than held_after_s, or whose reading is held while it is lifted.
    pub held: i32,
    /// It rests on something that was not seen for longer than stale_after_s.
    pub stale: i32,
    /// It rests on less than it should: a body found from one target that no other confirms, or from none; wheels turned
    /// beyond the sweep, between stations far apart or without one; the steering not held though it was said to be.
    pub weak: i32,
}

impl From<Flags> for WaFlags {
    fn from(Flags { held, stale, weak }: Flags) -> Self {
        Self { held: held.into(), stale: stale.into(), weak: weak.into() }
    }
}

impl From<WaFlags> for Flags {
    fn from(WaFlags { held, stale, weak }: WaFlags) -> Self {
        Self { held: held != 0, stale: stale != 0, weak: weak != 0 }
    }
}

/// Flags by what a reading rests on; wa_flags_by_basis_of finds those of a path.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaFlagsByBasis {
    /// Of what rests on one wheel, its camber: fl, fr, rl, rr.
    pub wheels: [WaFlags; 4],
    /// Of what rests on the wheels of one axle, total toe and cross camber: front, rear.
    pub axles: [WaFlags; 2],
    /// Of what rests on all four wheels: everything else.
    pub vehicle: WaFlags,
}

impl From<FlagsByBasis> for WaFlagsByBasis {
    fn from(FlagsByBasis { wheels, axles, vehicle }: FlagsByBasis) -> Self {
        Self {
            wheels: in_array(wheels).map(Into::into),
            axles: [axles.front, axles.rear].map(Into::into),
            vehicle: vehicle.into(),
        }
    }
}

/// What the wheels read at one moment.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaLiveReadings {
    /// Set by the caller: sizeof(wa_live_readings).
    pub size: usize,
    /// When, s, by the clock of the frames; minus infinity before the first.
    pub time_s: f64,
    /// The readings straight ahead, and those of the steering axes as the knuckles carry them; turns are not read live. NaN
    /// where a clamp was knocked. Its size is set by the library.
    pub alignment: WaAlignment,
    /// How old what each wheel's readings rest on is in the mean, s, of fl, fr, rl, rr: the lag of the smoothing, and the time
    /// since the wheel was seen; infinite before.
    pub lag_s: [f64; 4],
    /// How far the left and the right front wheel are turned from straight ahead, left positive, degrees. NaN without a
    /// measured steering axis.
    pub steer_deg: [f64; 2],
    /// Where the vehicle is now: its axes seen in the rig, in the columns of the rotation, and its origin.
    pub rig_from_vehicle: WaPose,
    /// What is to be known of the readings before they are used.
    pub flags: WaFlagsByBasis,
    /// Whose clamp was knocked, of fl, fr, rl, rr: 1 where its compensation is void, else 0.
    pub knocked: [i32; 4],
    /// Zero.
    pub reserved: i32,
}

// SAFETY: repr(C), begins with a usize, and numbers are all it has.
unsafe impl StatesSize for WaLiveReadings {}

impl From<&LiveReadings> for WaLiveReadings {
    fn from(now: &LiveReadings) -> Self {
        Self {
            size: 0,
            time_s: now.time_s,
            alignment: (&now.alignment).into(),
            lag_s: in_array(now.lag_s),
            steer_deg: [now.steer_deg.left, now.steer_deg.right].map(|steer| steer.unwrap_or(f64::NAN)),
            rig_from_vehicle: now.rig_from_vehicle.into(),
            flags: now.flags.into(),
            knocked: in_array(now.knocked).map(i32::from),
            reserved: 0,
        }
    }
}

fn steering_of(steering: i32) -> Result<Steering, Failure> {
    choice("steering", steering, [Steering::Free, Steering::Held])
}

/// The tracker of a caller, who lets no other call have it meanwhile.
///
/// # Safety
/// `pointer` is null, or came from [`wa_tracker_new`] and was not given back.
unsafe fn tracker<'a>(pointer: *mut WaTracker) -> Result<&'a mut Tracker, Failure> {
    check("tracker", pointer)?;
    // SAFETY: not null and aligned, and the caller's promise.
    Ok(unsafe { &mut (*pointer).tracker })
}

/// One truth for each of fl, fr, rl, rr.
///
/// # Safety
/// `pointer` is null, or points to four numbers.
unsafe fn truths(name: &'static str, pointer: *const i32) -> Result<ByWheel<bool>, Failure> {
    // SAFETY: the caller's promise is handed on.
    Ok(by_wheel(unsafe { in_place(name, pointer.cast::<[i32; 4]>()) }?.map(|truth| truth != 0)))
}

/// Fills in a struct, but for its size, with the customary settings: no smoothing; held after 0.1 s, stale after 1 s; the
/// steering free; knocked at 0.1 degrees or 1 mm.
///
/// Returns WA_SUCCESS; WA_NULL_POINTER; WA_MISALIGNED; WA_BAD_STRUCT_SIZE.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_live_settings_default(settings: *mut WaLiveSettings) -> i32 {
    let LiveSettings { smoothing_s, held_after_s, stale_after_s, steering: _, knocked_deg, knocked_mm } =
        LiveSettings::default();
    let (steering, reserved) = (WA_STEERING_FREE, 0);
    let value = WaLiveSettings {
        size: 0,
        smoothing_s,
        held_after_s,
        stale_after_s,
        knocked_deg,
        knocked_mm,
        steering,
        reserved,
    };
    // SAFETY: the caller's promise is handed on.
    unsafe { fill_in("settings", settings, value) }
}

/// Makes a tracker of the car of a session: every wheel was rolled, or spun, and seen straight ahead. Without a sweep, front
/// wheels that are turned cannot be referred back. Give it back by wa_tracker_free.
///
/// settings: of the caller, whose size is set.
/// tracker: where the pointer to it goes.
///
/// Returns what wa_measure returns; WA_WHEEL_NOT_SEEN for a wheel that was not seen straight ahead, or not rolled;
/// WA_NOT_FINITE, WA_OUT_OF_RANGE, WA_ANGLE_OUT_OF_RANGE or WA_LENGTH_OUT_OF_RANGE for a setting.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_tracker_new(
    session: *const WaSession,
    settings: *const WaLiveSettings,
    tracker: *mut *mut WaTracker,
    error: *mut WaError,
) -> i32 {
    let job = || {
        // SAFETY: the caller's promises are handed on.
        let (place, settings, session) = unsafe {
            let place = Place::new("tracker", tracker)?;
            (place, read("settings", settings)?, crate::session::session(session)?)
        };
        let settings = LiveSettings {
            smoothing_s: settings.smoothing_s,
            held_after_s: settings.held_after_s,
            stale_after_s: settings.stale_after_s,
            steering: steering_of(settings.steering)?,
            knocked_deg: settings.knocked_deg,
            knocked_mm: settings.knocked_mm,
        };
        let tracker = Tracker::new(&session, settings)?;
        place.write(Box::into_raw(Box::new(WaTracker { tracker })));
        Ok(())
    };
    // SAFETY: the caller's promise about `error` is handed on.
    unsafe { guard(error, job) }
}

/// Gives a tracker back. Nothing is done for NULL. Afterwards the pointer is no tracker.
///
/// Returns WA_SUCCESS.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_tracker_free(tracker: *mut WaTracker, error: *mut WaError) -> i32 {
    let job = || {
        if !tracker.is_null() {
            check("tracker", tracker)?;
            // SAFETY: the caller's promise: it came from wa_tracker_new, and was not given back.
            drop(unsafe { Box::from_raw(tracker) });
        }
        Ok(())
    };
    // SAFETY: the caller's promise about `error` is handed on.
    unsafe { guard(error, job) }
}

/// Takes what the cameras see at one moment. Cameras that are out of step hand over their targets as they come, each with its
/// own time; times may repeat, but not go back. Nothing is allocated, no lock is taken. What is refused changes nothing.
///
/// time_s: by any clock, s.
/// poses: of fl, fr, rl, rr, in the frame in which their cameras reported in the session; those not seen are not looked at.
/// seen: of fl, fr, rl, rr: 0 for a target that is not seen. NULL when all are.
/// live_readings: struct of the caller whose size is set.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_OUT_OF_RANGE for a time that goes back; WA_NOT_A_ROTATION; WA_REFLECTION;
/// WA_LENGTH_OUT_OF_RANGE for a coordinate beyond a kilometre.
///
/// cbindgen:ptrs-as-arrays=[[poses; 4], [seen; 4]]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_tracker_frame(
    tracker: *mut WaTracker,
    time_s: f64,
    poses: *const WaPose,
    seen: *const i32,
    live_readings: *mut WaLiveReadings,
    error: *mut WaError,
) -> i32 {
    let job = || {
        // SAFETY: the caller's promises are handed on; the poses have the core's layout, as asserted in `vehicle`.
        let (tracker, poses, seen, target) = unsafe {
            let tracker = self::tracker(tracker)?;
            let poses = in_place("poses", poses.cast::<ByWheel<Pose>>())?;
            let seen = if seen.is_null() { by_wheel([true; 4]) } else { truths("seen", seen)? };
            (tracker, poses, seen, Target::new("live_readings", live_readings)?)
        };
        let poses = ByWheel::from_fn(|wheel| seen.get(wheel).then_some(*poses.get(wheel)));
        target.write(tracker.frame(time_s, &poses)?.into());
        Ok(())
    };
    // SAFETY: the caller's promise about `error` is handed on.
    unsafe { guard(error, job) }
}

/// The readings of the last frame; before the first, those of the session.
///
/// live_readings: struct of the caller whose size is set.
///
/// Returns WA_SUCCESS.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_tracker_readings(
    tracker: *mut WaTracker,
    live_readings: *mut WaLiveReadings,
    error: *mut WaError,
) -> i32 {
    let job = || {
        // SAFETY: the caller's promises are handed on.
        let (tracker, target) = unsafe { (self::tracker(tracker)?, Target::new("live_readings", live_readings)?) };
        target.write(tracker.readings().into());
        Ok(())
    };
    // SAFETY: the caller's promise about `error` is handed on.
    unsafe { guard(error, job) }
}

/// Says which wheels are being adjusted from now on, and which are not: the target of one that is adjusted is not fixed in
/// the body. A wheel whose adjustment ends belongs where it is then, and helps to find the body again; one that is not seen
/// then, from when it is seen.
///
/// wheels: of fl, fr, rl, rr: 0 for one that is not adjusted.
///
/// Returns WA_SUCCESS.
///
/// cbindgen:ptrs-as-arrays=[[wheels; 4]]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_tracker_adjust(tracker: *mut WaTracker, wheels: *const i32, error: *mut WaError) -> i32 {
    let job = || {
        // SAFETY: the caller's promises are handed on.
        let (tracker, wheels) = unsafe { (self::tracker(tracker)?, truths("wheels", wheels)?) };
        tracker.adjust(wheels);
        Ok(())
    };
    // SAFETY: the caller's promise about `error` is handed on.
    unsafe { guard(error, job) }
}

/// Says whether the front wheels may be steered from now on.
///
/// steering: WA_STEERING_...
///
/// Returns WA_SUCCESS; WA_OUT_OF_RANGE.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_tracker_steer(tracker: *mut WaTracker, steering: i32, error: *mut WaError) -> i32 {
    let job = || {
        // SAFETY: the caller's promise is handed on.
        unsafe { self::tracker(tracker) }?.steer(steering_of(steering)?);
        Ok(())
    };
    // SAFETY: the caller's promise about `error` is handed on.
    unsafe { guard(error, job) }
}

/// Says which wheels are about to be lifted: their readings are held until wa_tracker_lifted.
///
/// wheels: of fl, fr, rl, rr: 0 for one that is not lifted.
///
/// Returns WA_SUCCESS.
///
/// cbindgen:ptrs-as-arrays=[[wheels; 4]]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_tracker_lift(tracker: *mut WaTracker, wheels: *const i32, error: *mut WaError) -> i32 {
    let job = || {
        // SAFETY: the caller's promises are handed on.
        let (tracker, wheels) = unsafe { (self::tracker(tracker)?, truths("wheels", wheels)?) };
        tracker.lift(wheels);
        Ok(())
    };
    // SAFETY: the caller's promise about `error` is handed on.
    unsafe { guard(error, job) }
}

/// Says that the wheels which were to be lifted hang still: their readings go on from the values held, that is from the smoothed
/// pose; without smoothing the noise of one pose stays in them. A wheel that is not seen goes on from when it is seen again.
///
/// Returns WA_SUCCESS.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_tracker_lifted(tracker: *mut WaTracker, error: *mut WaError) -> i32 {
    let job = || {
        // SAFETY: the caller's promise is handed on.
        unsafe { self::tracker(tracker) }?.lifted();
        Ok(())
    };
    // SAFETY: the caller's promise about `error` is handed on.
    unsafe { guard(error, job) }
}

/// Says that all wheels stand again: they are read as they stand, from when they are seen. Wheels that hung may rest otherwise
/// than before: they are taken for fixed within ten times the bounds of a knock until an adjustment of them ends, and all is
/// weak while a rear one is beyond the bounds themselves. Roll or settle the car, and measure anew.
///
/// Returns WA_SUCCESS.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_tracker_lowered(tracker: *mut WaTracker, error: *mut WaError) -> i32 {
    let job = || {
        // SAFETY: the caller's promise is handed on.
        unsafe { self::tracker(tracker) }?.lowered();
        Ok(())
    };
    // SAFETY: the caller's promise about `error` is handed on.
    unsafe { guard(error, job) }
}

/// Takes a clamp that was knocked, or taken off and put on, with its own compensation: the wheel is read by it from when it is
/// seen again, and belongs where it is seen then. Compensated while it is being lifted it stays void until it is lowered.
///
/// wheel: WA_WHEEL_...
/// compensation: as wa_from_rolling gives it.
///
/// Returns WA_SUCCESS; WA_OUT_OF_RANGE for a wheel that is none, or a rolling_radius_mm whose present is neither 0 nor 1;
/// WA_NOT_FINITE; WA_NOT_UNIT_LENGTH; WA_LENGTH_OUT_OF_RANGE.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_tracker_compensate(
    tracker: *mut WaTracker,
    wheel: i32,
    compensation: *const WaCompensation,
    error: *mut WaError,
) -> i32 {
    let job = || {
        // SAFETY: the caller's promises are handed on.
        let (tracker, compensation) = unsafe { (self::tracker(tracker)?, in_place("compensation", compensation)?) };
        let wheel = choice("wheel", wheel, Wheel::ALL)?;
        let compensation = [*compensation; 4];
        tracker.compensate(wheel, &as_compensations(&compensation)?.fl)?;
        Ok(())
    };
    // SAFETY: the caller's promise about `error` is handed on.
    unsafe { guard(error, job) }
}

/// What is to be known of a reading, by its path.
///
/// flags_by_basis: as wa_tracker_frame gives it, in "flags".
/// path: UTF-8 with a NUL at the end.
///
/// Returns WA_SUCCESS; WA_UNKNOWN_READING.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_flags_by_basis_of(
    flags_by_basis: *const WaFlagsByBasis,
    path: *const c_char,
    flags: *mut WaFlags,
    error: *mut WaError,
) -> i32 {
    let job = || {
        // SAFETY: the caller's promises are handed on.
        let (of, path) = unsafe { (in_place("flags_by_basis", flags_by_basis)?, string("path", path)?) };
        let WaFlagsByBasis { wheels, axles, vehicle } = *of;
        let of = FlagsByBasis {
            wheels: by_wheel(wheels.map(Into::into)),
            axles: by_axle(axles.map(Into::into)),
            vehicle: vehicle.into(),
        };
        Ok(of.of(path)?.into())
    };
    // SAFETY: the caller's promises are handed on.
    unsafe { give(error, ("flags", flags), job) }
}
