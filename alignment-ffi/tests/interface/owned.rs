//! A session of the core as the structs of C: it owns what the pointers point to.

use alignment_core::session::{Centreline, Reference};
use alignment_core::session::{
    CompensationMethod, Datum, InputUncertainty, Method, Noise, PoseNoise, RollingBody, Sighting, SweepBody, TurnWheel,
};
use alignment_core::{ByWheel, Pose, Session, Station, Wheel};
use std::ffi::CString;
use std::{mem, ptr};
use wheel_alignment::*;

pub(crate) fn pose(Pose { rotation, translation_mm }: Pose) -> WaPose {
    WaPose { rotation, translation_mm }
}

pub(crate) fn array<T: Copy>(ByWheel { fl, fr, rl, rr }: ByWheel<T>) -> [T; 4] {
    [fl, fr, rl, rr]
}

fn noise(PoseNoise { rotation_deg, translation_mm }: PoseNoise) -> WaPoseNoise {
    WaPoseNoise { rotation_deg, translation_mm }
}

pub(crate) fn optional(value: Option<f64>) -> WaOptional {
    WaOptional { value: value.unwrap_or(f64::NAN), present: i64::from(value.is_some()) }
}

/// Whatever a struct may point to, kept where it is.
#[derive(Default)]
pub(crate) struct Kept {
    poses: Vec<Box<[WaPose]>>,
    covariances: Vec<Box<[WaPoseCovariance]>>,
    stations: Vec<Box<[WaStation]>>,
    numbers: Vec<Box<[f64]>>,
    cameras: Vec<Box<[WaCamera]>>,
    noise: Vec<Box<[WaPoseNoise]>>,
    inputs: Vec<Box<[WaInputUncertainty]>>,
    notes: Vec<CString>,
}

fn keep<T>(all: &mut Vec<Box<[T]>>, these: Vec<T>) -> *const T {
    all.push(these.into_boxed_slice());
    all[all.len() - 1].as_ptr()
}

fn keep_one<T>(all: &mut Vec<Box<[T]>>, this: T) -> *const T {
    keep(all, vec![this])
}

impl Kept {
    fn sighting(&mut self, seen: &Sighting) -> WaSighting {
        let frames: Vec<WaPose> = seen.frames().iter().copied().map(pose).collect();
        let covariance = match seen {
            Sighting::PoseWithCovariance(both) => {
                keep_one(&mut self.covariances, WaPoseCovariance { covariance: both.1.covariance })
            }
            _ => ptr::null(),
        };
        let frames_count = frames.len();
        let frames = if frames.is_empty() { ptr::null() } else { keep(&mut self.poses, frames) };
        WaSighting { frames, frames_count, covariance }
    }

    fn station(&mut self, ByWheel { fl, fr, rl, rr }: &Station) -> WaStation {
        WaStation { fl: self.sighting(fl), fr: self.sighting(fr), rl: self.sighting(rl), rr: self.sighting(rr) }
    }

    pub(crate) fn stations(&mut self, stations: &[Station]) -> *const WaStation {
        let stations = stations.iter().map(|seen| self.station(seen)).collect();
        keep(&mut self.stations, stations)
    }

    fn lock(&mut self, lock: Option<&Station>) -> *const WaStation {
        lock.map_or(ptr::null(), |lock| self.stations(std::slice::from_ref(lock)))
    }

    fn numbers<const N: usize>(&mut self, numbers: Option<[f64; N]>) -> *const f64 {
        numbers.map_or(ptr::null(), |numbers| keep(&mut self.numbers, numbers.to_vec()))
    }
}

fn reference(Reference { centreline, datum, turn }: Reference) -> WaReference {
    WaReference {
        centreline: match centreline {
            Centreline::AxleMidpoints => WA_CENTRELINE_AXLE_MIDPOINTS,
            Centreline::SideLineBisector => WA_CENTRELINE_SIDE_LINE_BISECTOR,
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

fn inputs(of: InputUncertainty) -> WaInputUncertainty {
    let InputUncertainty { clamp_standoff_mm, up_deg, loaded_radius_mm, runway_mm, ride_height_mm, right_cameras } = of;
    let right_cameras = noise(right_cameras);
    WaInputUncertainty { clamp_standoff_mm, up_deg, loaded_radius_mm, runway_mm, ride_height_mm, right_cameras }
}

/// A session as C hands it over, and what it points to.
pub(crate) fn session_struct(session: &Session) -> (WaSession, Kept) {
    let mut kept = Kept::default();
    let mut of = mem::MaybeUninit::<WaSession>::zeroed();
    // SAFETY: zeros make one, and its size is set.
    let mut of = unsafe {
        (*of.as_mut_ptr()).size = mem::size_of::<WaSession>();
        assert_eq!(wa_session_default(of.as_mut_ptr()), WA_SUCCESS);
        of.assume_init()
    };
    if let Some(note) = &session.note {
        kept.notes.push(CString::new(note.as_str()).unwrap());
        of.note = kept.notes[0].as_ptr();
    }
    of.up = kept.numbers(session.up);
    of.clamp_standoff_mm = array(session.clamp_standoff_mm);
    let cameras: Vec<WaCamera> = (session.cameras.values())
        .map(|camera| WaCamera {
            rig_from_camera: pose(camera.rig_from_camera),
            wheels: Wheel::ALL.map(|wheel| i32::from(camera.wheels.contains(&wheel))),
        })
        .collect();
    of.cameras_count = cameras.len();
    of.cameras = keep(&mut kept.cameras, cameras);
    match &session.pose_noise {
        Some(Noise::PerAxis(of_axis)) => of.pose_noise = keep_one(&mut kept.noise, noise(*of_axis)),
        Some(Noise::Covariance(both)) => {
            of.pose_covariance = keep_one(&mut kept.covariances, WaPoseCovariance { covariance: both.covariance });
        }
        None => {}
    }
    if let Some(known) = session.input_uncertainty {
        of.input_uncertainty = keep_one(&mut kept.inputs, inputs(known));
    }
    if let Some(radii) = session.loaded_radius_mm {
        of.loaded_radius_mm = [radii.front, radii.rear].map(optional);
    }
    of.ride_height_mm = kept.numbers(session.ride_height_mm.map(array));
    of.runway_mm = kept.numbers(session.runway_mm.map(|runway| {
        let points: [f64; 12] = array(runway).concat().try_into().unwrap();
        points
    }));
    of.compensation = match session.compensation {
        CompensationMethod::Rolled => WA_COMPENSATION_ROLLED,
        CompensationMethod::Spun => WA_COMPENSATION_SPUN,
    };
    of.rolling_body = match session.rolling_body {
        RollingBody::Translates => WA_ROLLING_BODY_TRANSLATES,
        RollingBody::Turns => WA_ROLLING_BODY_TURNS,
    };
    of.rolling = kept.stations(&session.rolling);
    of.rolling_count = session.rolling.len();
    of.ahead = kept.station(&session.ahead);
    of.sweep = kept.stations(&session.sweep);
    of.sweep_count = session.sweep.len();
    of.sweep_wheels_locked = session.sweep_wheels_locked.map_or(WA_NONE, i32::from);
    of.sweep_body = match session.sweep_body {
        SweepBody::Still => WA_SWEEP_BODY_STILL,
        SweepBody::FoundAgain => WA_SWEEP_BODY_FOUND_AGAIN,
    };
    of.lock_left = kept.lock(session.lock_left.as_ref());
    of.lock_right = kept.lock(session.lock_right.as_ref());
    of.reference = reference(session.reference);
    of.method = match session.method {
        Method::Staged => WA_METHOD_STAGED,
        Method::Joint => WA_METHOD_JOINT,
    };
    of.joint =
        WaJointOptions { robust: i32::from(session.joint.robust), rolling_slip_mm: session.joint.rolling_slip_mm };
    (of, kept)
}
