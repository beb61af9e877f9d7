//! What a rig hands over about one car, as plain structs.

use crate::compensation::rolling_body_of;
use crate::error::{Failure, WaError};
use crate::layout::{by_axle, by_wheel, centreline_of};
use crate::memory::{
    ResultBuffer, StatesSize, WaOptional, choice, fill_in, give, guard_text, list, numbers, optional, read, string,
};
use crate::pose::{WaPose, as_poses};
use alignment_core::error::Stage;
use alignment_core::json::session_to_json;
use alignment_core::session::{
    self, Camera, CompensationMethod, Datum, InputUncertainty, JointOptions, MAX_FRAMES, MAX_STATIONS, Method, Noise,
    PoseCovariance, PoseNoise, Reference, Session, Sighting, SweepBody, Turn, TurnWheel,
};
use alignment_core::{Station, Wheel};
use std::collections::BTreeMap;
use std::ffi::c_char;
use std::ptr;

/// How a pose scatters when its axes scatter differently or together: the covariance of a small turn and a small shift.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaPoseCovariance {
    /// Row by row, in the order x, y, z of the rotation, in degrees, then x, y, z of the translation, in mm: deg², deg·mm
    /// and mm². With the rotation vector w and the shift t the pose seen is exp(w)·R and p + t.
    pub covariance: [[f64; 6]; 6],
}

/// What the cameras saw of one wheel at one station.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaSighting {
    /// frames_count poses of a target that stands still, which are averaged. NULL when it was not seen.
    pub frames: *const WaPose,
    /// How many: 0 when the wheel was not seen, 1 for a single pose, at most 10000.
    pub frames_count: usize,
    /// How a single pose scatters, where that is known better than of the others; else NULL. Not with several frames.
    pub covariance: *const WaPoseCovariance,
}

/// The wheels at one moment: what was seen of each. All zero, nothing was.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaStation {
    /// Front left.
    pub fl: WaSighting,
    /// Front right.
    pub fr: WaSighting,
    /// Rear left.
    pub rl: WaSighting,
    /// Rear right.
    pub rr: WaSighting,
}

/// A camera that reports in its own frame.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaCamera {
    /// Where the camera is and how it is turned in the rig: a point p of its frame lies at R·p + t in the rig.
    pub rig_from_camera: WaPose,
    /// Of fl, fr, rl, rr: not 0 where it sees the wheel, whose poses are then in its frame. No wheel is named by two.
    pub wheels: [i32; 4],
}

/// A scatter per axis: one standard deviation.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaPoseNoise {
    /// About each axis, degrees, 0 to 10.
    pub rotation_deg: f64,
    /// Along each axis, mm, 0 to 100.
    pub translation_mm: f64,
}

/// Standard uncertainties of the inputs beside the poses; 0 is exact.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaInputUncertainty {
    /// Of each clamp's standoff, mm.
    pub clamp_standoff_mm: f64,
    /// Of the direction up, about each level axis, degrees.
    pub up_deg: f64,
    /// Of each axle's loaded radius, mm, where it is given.
    pub loaded_radius_mm: f64,
    /// Of each coordinate of a point of the runway, mm.
    pub runway_mm: f64,
    /// Of each ride height, mm.
    pub ride_height_mm: f64,
    /// Of where the cameras of the right wheels stand against those of the left: one error that all poses of the right
    /// wheels share.
    pub right_cameras: WaPoseNoise,
}

/// The car is rolled on its wheels, without slip.
pub const WA_COMPENSATION_ROLLED: i32 = 0;
/// The car is raised and one wheel after the other is spun by hand.
pub const WA_COMPENSATION_SPUN: i32 = 1;

/// The body stands still while the front wheels are steered.
pub const WA_SWEEP_BODY_STILL: i32 = 0;
/// The body may rise, lean and slide, and is found again at each station from the rear targets, whose wheels are locked.
pub const WA_SWEEP_BODY_FOUND_AGAIN: i32 = 1;

/// The readings are estimated stage by stage.
pub const WA_METHOD_STAGED: i32 = 0;
/// The readings are estimated by one fit of a rigid car to all stages.
pub const WA_METHOD_JOINT: i32 = 1;

/// The centreline runs from the midpoint of the rear wheel centres to the midpoint of the front ones.
pub const WA_CENTRELINE_AXLE_MIDPOINTS: i32 = 0;
/// The centreline is the bisector of the lines through the left and through the right wheel centres.
pub const WA_CENTRELINE_SIDE_LINE_BISECTOR: i32 = 1;

/// Angles to the vertical refer to up.
pub const WA_DATUM_UP: i32 = 0;
/// Angles to the vertical refer to the plane on which the wheels stand.
pub const WA_DATUM_WHEEL_PLANE: i32 = 1;
/// Angles to the vertical refer to the runway, from points measured on it: runway_mm.
pub const WA_DATUM_RUNWAY: i32 = 2;

/// The wheel on the inside of the turn is brought to the angle.
pub const WA_TURN_WHEEL_INNER: i32 = 0;
/// The wheel on the outside of the turn is brought to the angle.
pub const WA_TURN_WHEEL_OUTER: i32 = 1;

/// The custom by which toe-out on turns is read.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaTurn {
    /// The wheel that is brought to angle_deg: WA_TURN_WHEEL_...
    pub wheel: i32,
    /// The steer angle of that wheel, from its own heading straight ahead, degrees, 1 to 60; 20 by custom.
    pub angle_deg: f64,
}

/// The choices on which readings depend.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaReference {
    /// How the centreline is defined: WA_CENTRELINE_...
    pub centreline: i32,
    /// What angles to the vertical are measured from: WA_DATUM_...
    pub datum: i32,
    /// How toe-out on turns is read.
    pub turn: WaTurn,
}

/// What the joint fit is told beside the session. It plays no part in the staged method.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaJointOptions {
    /// Not 0: poses that do not belong to the car of the others are found and left out, each with a warning.
    pub robust: i32,
    /// How far a wheel may slip on the ground between the ahead station and one of the rolling, one standard deviation, 0 to
    /// 100 mm.
    pub rolling_slip_mm: f64,
}

/// What a rig hands over about one car: poses of the four targets at each station, and what it knows of itself. Set size,
/// then call wa_session_default, then hand over what the rig has.
///
/// Arrays and stations stay the caller's; pointers are read during the call alone.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaSession {
    /// Set by the caller: sizeof(wa_session).
    pub size: usize,
    /// A remark for people, UTF-8 with a NUL at the end, or NULL; it plays no part in any reading.
    pub note: *const c_char,
    /// Unit vector upward in the rig, 3 numbers: against gravity, or the normal of a calibrated runway. NULL when there
    /// is none, as with the datum of a runway.
    pub up: *const f64,
    /// Of fl, fr, rl, rr: from the wheel's centre plane outward along the spindle to the origin of the target, -1000 to
    /// 1000 mm. Rolling cannot show it.
    pub clamp_standoff_mm: [f64; 4],
    /// The cameras that report in their own frames, cameras_count of them; NULL for none. A wheel that none of them names
    /// is given in the frame of the rig.
    pub cameras: *const WaCamera,
    /// How many cameras there are.
    pub cameras_count: usize,
    /// How much a pose scatters, alike along all axes. NULL when that is not stated.
    pub pose_noise: *const WaPoseNoise,
    /// How much a pose scatters, by a covariance; instead of pose_noise, else NULL.
    pub pose_covariance: *const WaPoseCovariance,
    /// How well the rig knows its other inputs. NULL when that is not stated.
    pub input_uncertainty: *const WaInputUncertainty,
    /// Loaded radius of the front and of the rear axle, 50 to 1500 mm: from the wheel centre to the contact centre, in the
    /// wheel plane. The rolling radius stands in where it is absent.
    pub loaded_radius_mm: [WaOptional; 2],
    /// Ride height at fl, fr, rl, rr, 4 numbers, -2000 to 5000 mm: with them caster and SAI are also given to the body.
    /// NULL when they were not taken.
    pub ride_height_mm: *const f64,
    /// Points of the runway under fl, fr, rl, rr, 12 numbers, as in double runway_mm[4][3], in the rig, mm. The datum
    /// WA_DATUM_RUNWAY needs them; else NULL.
    pub runway_mm: *const f64,
    /// How the clamps are compensated: WA_COMPENSATION_...
    pub compensation: i32,
    /// What the body may do while the car is rolled: WA_ROLLING_BODY_...
    pub rolling_body: i32,
    /// The stations at which the car was rolled or its wheels spun, rolling_count of them, in any order.
    pub rolling: *const WaStation,
    /// How many, at most 10000.
    pub rolling_count: usize,
    /// The station with the wheels straight ahead.
    pub ahead: WaStation,
    /// The stations of the caster sweep, sweep_count of them, in any order. NULL without a sweep.
    pub sweep: *const WaStation,
    /// How many, at most 10000.
    pub sweep_count: usize,
    /// Whether the brake held the wheels during the sweep, the front ones to their knuckles, the rear ones to the body: 1,
    /// or 0 when they were free to roll. WA_NONE without a sweep; a sweep needs it said.
    pub sweep_wheels_locked: i32,
    /// What the body does while the front wheels are steered: WA_SWEEP_BODY_...
    pub sweep_body: i32,
    /// Full lock to the left. NULL when it was not taken.
    pub lock_left: *const WaStation,
    /// Full lock to the right. NULL when it was not taken.
    pub lock_right: *const WaStation,
    /// The choices on which readings depend.
    pub reference: WaReference,
    /// How the readings are estimated from the poses: WA_METHOD_...
    pub method: i32,
    /// What the joint fit is told beside the session.
    pub joint: WaJointOptions,
}

// SAFETY: repr(C), begins with a usize, and any bits make numbers and pointers.
unsafe impl StatesSize for WaSession {}

const NOT_SEEN: WaSighting = WaSighting { frames: ptr::null(), frames_count: 0, covariance: ptr::null() };
const NO_NUMBER: WaOptional = WaOptional { value: f64::NAN, present: 0 };

impl From<Reference> for WaReference {
    fn from(Reference { centreline, datum, turn }: Reference) -> Self {
        Self {
            centreline: match centreline {
                session::Centreline::AxleMidpoints => WA_CENTRELINE_AXLE_MIDPOINTS,
                session::Centreline::SideLineBisector => WA_CENTRELINE_SIDE_LINE_BISECTOR,
            },
            datum: match datum {
                Datum::Up => WA_DATUM_UP,
                Datum::WheelPlane => WA_DATUM_WHEEL_PLANE,
                Datum::Runway => WA_DATUM_RUNWAY,
            },
            turn: WaTurn {
                wheel: match turn.wheel {
                    TurnWheel::Inner => WA_TURN_WHEEL_INNER,
                    TurnWheel::Outer => WA_TURN_WHEEL_OUTER,
                },
                angle_deg: turn.angle_deg,
            },
        }
    }
}

impl WaReference {
    fn reference(self) -> Result<Reference, Failure> {
        let Self { centreline, datum, turn: WaTurn { wheel, angle_deg } } = self;
        Ok(Reference {
            centreline: centreline_of(centreline)?,
            datum: choice("reference.datum", datum, [Datum::Up, Datum::WheelPlane, Datum::Runway])?,
            turn: Turn {
                wheel: choice("reference.turn.wheel", wheel, [TurnWheel::Inner, TurnWheel::Outer])?,
                angle_deg,
            },
        })
    }
}

impl From<PoseNoise> for WaPoseNoise {
    fn from(PoseNoise { rotation_deg, translation_mm }: PoseNoise) -> Self {
        Self { rotation_deg, translation_mm }
    }
}

impl From<WaPoseNoise> for PoseNoise {
    fn from(WaPoseNoise { rotation_deg, translation_mm }: WaPoseNoise) -> Self {
        Self { rotation_deg, translation_mm }
    }
}

impl From<InputUncertainty> for WaInputUncertainty {
    fn from(of: InputUncertainty) -> Self {
        let InputUncertainty { clamp_standoff_mm, up_deg, loaded_radius_mm, runway_mm, ride_height_mm, right_cameras } =
            of;
        let right_cameras = right_cameras.into();
        Self { clamp_standoff_mm, up_deg, loaded_radius_mm, runway_mm, ride_height_mm, right_cameras }
    }
}

impl From<WaInputUncertainty> for InputUncertainty {
    fn from(of: WaInputUncertainty) -> Self {
        let WaInputUncertainty {
            clamp_standoff_mm,
            up_deg,
            loaded_radius_mm,
            runway_mm,
            ride_height_mm,
            right_cameras,
        } = of;
        let right_cameras = right_cameras.into();
        Self { clamp_standoff_mm, up_deg, loaded_radius_mm, runway_mm, ride_height_mm, right_cameras }
    }
}

pub(crate) fn compensation_of(method: i32) -> Result<CompensationMethod, Failure> {
    choice("compensation", method, [CompensationMethod::Rolled, CompensationMethod::Spun])
}

pub(crate) fn method_of(method: i32) -> Result<Method, Failure> {
    choice("method", method, [Method::Staged, Method::Joint])
}

pub(crate) const fn number_of(method: Method) -> i32 {
    match method {
        Method::Staged => WA_METHOD_STAGED,
        Method::Joint => WA_METHOD_JOINT,
    }
}

/// # Safety
/// Pointers within are null, or point to what the header says.
unsafe fn sighting(of: &WaSighting) -> Result<Sighting, Failure> {
    if of.frames_count > MAX_FRAMES {
        return Err(Failure::TooMany { name: "frames", count: of.frames_count, most: MAX_FRAMES });
    }
    // SAFETY: the caller's promises are handed on.
    let (frames, covariance) =
        unsafe { (list("frames", of.frames, of.frames_count)?, optional("covariance", of.covariance)?) };
    Ok(match (as_poses(frames), covariance) {
        ([], None) => Sighting::NotSeen,
        ([pose], None) => Sighting::Pose(*pose),
        ([pose], Some(of)) => {
            Sighting::PoseWithCovariance(Box::new((*pose, PoseCovariance { covariance: of.covariance })))
        }
        (frames, None) => Sighting::Frames(frames.to_vec()),
        (_, Some(_)) => return Err(Failure::Contradiction { first: "frames", second: "covariance" }),
    })
}

/// # Safety
/// As [`sighting`].
unsafe fn station(of: &WaStation, stage: Stage, index: Option<usize>) -> Result<Station, Failure> {
    let WaStation { fl, fr, rl, rr } = of;
    let seen = |of: &WaSighting, wheel: Wheel| {
        // SAFETY: the caller's promises are handed on.
        let seen = unsafe { sighting(of) };
        seen.map_err(|reason| Failure::Sighting { stage, station: index, wheel, reason: Box::new(reason) })
    };
    Ok(Station {
        fl: seen(fl, Wheel::Fl)?,
        fr: seen(fr, Wheel::Fr)?,
        rl: seen(rl, Wheel::Rl)?,
        rr: seen(rr, Wheel::Rr)?,
    })
}

/// # Safety
/// `pointer` is null, or points to `count` stations, of which [`sighting`] holds.
pub(crate) unsafe fn stations(stage: Stage, pointer: *const WaStation, count: usize) -> Result<Vec<Station>, Failure> {
    let name = stage.name();
    if count > MAX_STATIONS {
        return Err(Failure::TooMany { name, count, most: MAX_STATIONS });
    }
    // SAFETY: the caller's promises are handed on.
    unsafe { list(name, pointer, count)?.iter().enumerate().map(|(at, of)| station(of, stage, Some(at))).collect() }
}

/// # Safety
/// As [`sighting`].
unsafe fn optional_station(stage: Stage, pointer: *const WaStation) -> Result<Option<Station>, Failure> {
    // SAFETY: the caller's promises are handed on.
    unsafe { optional(stage.name(), pointer)?.map(|of| station(of, stage, None)).transpose() }
}

/// # Safety
/// `pointer` is null, or points to `N` numbers.
unsafe fn optional_numbers<const N: usize>(
    name: &'static str,
    pointer: *const f64,
) -> Result<Option<[f64; N]>, Failure> {
    // SAFETY: the caller's promise is handed on.
    if pointer.is_null() { Ok(None) } else { unsafe { numbers(name, pointer) }.map(Some) }
}

/// The cameras by names that tell their order.
///
/// # Safety
/// As [`elements`].
unsafe fn cameras(pointer: *const WaCamera, count: usize) -> Result<BTreeMap<String, Camera>, Failure> {
    // Each names a wheel of its own, or none.
    const MOST: usize = 1000;
    if count > MOST {
        return Err(Failure::TooMany { name: "cameras", count, most: MOST });
    }
    // SAFETY: the caller's promise is handed on.
    let cameras = unsafe { list("cameras", pointer, count)? };
    let named = cameras.iter().enumerate().map(|(index, camera)| {
        let seen = |wheel: &Wheel| camera.wheels[*wheel as usize] != 0;
        let wheels = Wheel::ALL.into_iter().filter(seen).collect();
        (format!("camera {index:03}"), Camera { rig_from_camera: camera.rig_from_camera.into(), wheels })
    });
    Ok(named.collect())
}

/// The session of a struct.
///
/// # Safety
/// `pointer` is null, or points to a `size` that is set, to as many bytes, and what they point to.
pub(crate) unsafe fn session(pointer: *const WaSession) -> Result<Session, Failure> {
    // SAFETY: the caller's promises are handed on.
    unsafe {
        let of = read("session", pointer)?;
        Ok(Session {
            rolling: stations(Stage::Rolling, of.rolling, of.rolling_count)?,
            ahead: station(&of.ahead, Stage::Ahead, None)?,
            sweep: stations(Stage::Sweep, of.sweep, of.sweep_count)?,
            lock_left: optional_station(Stage::LockLeft, of.lock_left)?,
            lock_right: optional_station(Stage::LockRight, of.lock_right)?,
            ..settings("session", pointer)?
        })
    }
}

/// The session of a struct, but for its stations, which are not looked at.
///
/// # Safety
/// As [`session`].
pub(crate) unsafe fn settings(name: &'static str, pointer: *const WaSession) -> Result<Session, Failure> {
    // SAFETY: the caller's promises are handed on, here and below.
    let of = unsafe { read(name, pointer)? };
    let pose_noise = match unsafe {
        (optional("pose_noise", of.pose_noise)?, optional("pose_covariance", of.pose_covariance)?)
    } {
        (Some(_), Some(_)) => return Err(Failure::Contradiction { first: "pose_noise", second: "pose_covariance" }),
        (Some(&noise), None) => Some(Noise::PerAxis(noise.into())),
        (None, Some(of)) => Some(Noise::Covariance(Box::new(PoseCovariance { covariance: of.covariance }))),
        (None, None) => None,
    };
    let note = if of.note.is_null() { None } else { Some(unsafe { string("note", of.note)? }.to_owned()) };
    let loaded_radius_mm = by_axle(of.loaded_radius_mm.map(WaOptional::get));
    let locked = match of.sweep_wheels_locked {
        crate::status::WA_NONE => None,
        other => Some(choice("sweep_wheels_locked", other, [false, true])?),
    };
    let runway =
        |[a, b, c, d, e, f, g, h, i, j, k, l]: [f64; 12]| by_wheel([[a, b, c], [d, e, f], [g, h, i], [j, k, l]]);
    // SAFETY: as before.
    unsafe {
        Ok(Session {
            note,
            up: optional_numbers("up", of.up)?,
            clamp_standoff_mm: by_wheel(of.clamp_standoff_mm),
            cameras: cameras(of.cameras, of.cameras_count)?,
            pose_noise,
            input_uncertainty: optional("input_uncertainty", of.input_uncertainty)?.map(|&known| known.into()),
            loaded_radius_mm: (loaded_radius_mm.front.is_some() || loaded_radius_mm.rear.is_some())
                .then_some(loaded_radius_mm),
            ride_height_mm: optional_numbers("ride_height_mm", of.ride_height_mm)?.map(by_wheel),
            runway_mm: optional_numbers("runway_mm", of.runway_mm)?.map(runway),
            compensation: compensation_of(of.compensation)?,
            rolling_body: rolling_body_of("rolling_body", of.rolling_body)?,
            sweep_wheels_locked: locked,
            sweep_body: choice("sweep_body", of.sweep_body, [SweepBody::Still, SweepBody::FoundAgain])?,
            reference: of.reference.reference()?,
            method: method_of(of.method)?,
            joint: JointOptions { robust: of.joint.robust != 0, rolling_slip_mm: of.joint.rolling_slip_mm },
            ..Session::default()
        })
    }
}

/// Fills in a struct, but for its size, with a session of which nothing is known yet and every choice is the default:
/// clamps rolled, the staged method, the centreline of the axle midpoints, the datum up, turns at 20° of the inner wheel.
///
/// Returns WA_SUCCESS; WA_NULL_POINTER; WA_MISALIGNED; WA_BAD_STRUCT_SIZE.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_session_default(session: *mut WaSession) -> i32 {
    let nothing = WaStation { fl: NOT_SEEN, fr: NOT_SEEN, rl: NOT_SEEN, rr: NOT_SEEN };
    let default = WaSession {
        size: 0,
        note: ptr::null(),
        up: ptr::null(),
        clamp_standoff_mm: [0.0; 4],
        cameras: ptr::null(),
        cameras_count: 0,
        pose_noise: ptr::null(),
        pose_covariance: ptr::null(),
        input_uncertainty: ptr::null(),
        loaded_radius_mm: [NO_NUMBER; 2],
        ride_height_mm: ptr::null(),
        runway_mm: ptr::null(),
        compensation: WA_COMPENSATION_ROLLED,
        rolling_body: crate::compensation::WA_ROLLING_BODY_TRANSLATES,
        rolling: ptr::null(),
        rolling_count: 0,
        ahead: nothing,
        sweep: ptr::null(),
        sweep_count: 0,
        sweep_wheels_locked: crate::status::WA_NONE,
        sweep_body: WA_SWEEP_BODY_STILL,
        lock_left: ptr::null(),
        lock_right: ptr::null(),
        reference: Reference::default().into(),
        method: WA_METHOD_STAGED,
        joint: WaJointOptions { robust: 0, rolling_slip_mm: 0.0 },
    };
    // SAFETY: the caller's promise is handed on.
    unsafe { fill_in("session", session, default) }
}

/// A session as text, format "alignment-session/1": to keep it, to send it, and for the functions that take it as text.
/// wa_measure_session_json of that text gives the bits of wa_measure. A number that is not finite becomes null, which is
/// refused when it is read.
///
/// Returns WA_SUCCESS; WA_BUFFER_TOO_SMALL; WA_CONTRADICTION; WA_OUT_OF_RANGE for a choice that is none; WA_TOO_MANY.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_session_to_json(
    session: *const WaSession,
    result_json: *mut c_char,
    result_capacity: usize,
    result_length: *mut usize,
    error: *mut WaError,
) -> i32 {
    let result = ResultBuffer { json: result_json, capacity: result_capacity, length: result_length };
    // SAFETY: the caller's promises are handed on.
    unsafe { guard_text(result, error, || Ok(session_to_json(&self::session(session)?))) }
}

/// The direction up of a rig, checked and made a unit vector.
///
/// up: within 1e-6 of length 1.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_NOT_UNIT_LENGTH.
///
/// cbindgen:ptrs-as-arrays=[[up; 3], [up_in_rig; 3]]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_up_in_rig(up: *const f64, up_in_rig: *mut f64, error: *mut WaError) -> i32 {
    // SAFETY: the caller's promises are handed on.
    let job = || Ok(session::up_in_rig(unsafe { numbers("up", up)? })?.to_array());
    // SAFETY: as before.
    unsafe { give(error, ("up_in_rig", up_in_rig.cast::<[f64; 3]>()), job) }
}
