//! A tracker through C: the core's numbers to the bit, frame by frame.

use crate::owned::{array, pose, session_struct};
use crate::structs::{bits, fresh, values};
use crate::{c, call, message};
use alignment_core::live::{LiveReadings, LiveSettings, Steering, Tracker};
use alignment_core::simulate::VirtualVehicle;
use alignment_core::{ByWheel, Pose, Session, compensation};
use std::ptr;
use wheel_alignment::*;

type Seen = ByWheel<Option<Pose>>;

struct Both {
    core: Tracker,
    c: *mut WaTracker,
}

impl Both {
    fn new(session: &Session, settings: LiveSettings) -> Self {
        let (of, _kept) = session_struct(session);
        let mut given: WaLiveSettings = fresh();
        let mut tracker = ptr::null_mut();
        // SAFETY: structs and places of our own.
        let (status, _) = call(|error| unsafe {
            assert_eq!(wa_live_settings_default(&raw mut given), WA_SUCCESS);
            given.smoothing_s = settings.smoothing_s;
            given.steering = i32::from(settings.steering == Steering::Held);
            wa_tracker_new(&raw const of, &raw const given, &raw mut tracker, error)
        });
        assert_eq!(status, WA_SUCCESS);
        Self { core: Tracker::new(session, settings).unwrap(), c: tracker }
    }

    fn frame(&mut self, time_s: f64, seen: &Seen) {
        let none = Pose { rotation: [[f64::NAN; 3]; 3], translation_mm: [f64::NAN; 3] };
        let poses = array(ByWheel::from_fn(|wheel| pose(seen.get(wheel).unwrap_or(none))));
        let there = array(ByWheel::from_fn(|wheel| i32::from(seen.get(wheel).is_some())));
        let all = there == [1; 4];
        let mut now: WaLiveReadings = fresh();
        let seen_by_c = if all { ptr::null() } else { there.as_ptr() };
        // SAFETY: a tracker of the library, buffers of our own.
        let (status, _) =
            call(|error| unsafe { wa_tracker_frame(self.c, time_s, poses.as_ptr(), seen_by_c, &raw mut now, error) });
        assert_eq!(status, WA_SUCCESS);
        same(&now, self.core.frame(time_s, seen).unwrap());
        let mut again: WaLiveReadings = fresh();
        // SAFETY: as above.
        let (status, _) = call(|error| unsafe { wa_tracker_readings(self.c, &raw mut again, error) });
        assert_eq!(status, WA_SUCCESS);
        same(&again, self.core.readings());
    }

    fn do_with(&self, function: impl FnOnce(*mut WaTracker, *mut WaError) -> i32) {
        assert_eq!(call(|error| function(self.c, error)).0, WA_SUCCESS);
    }
}

impl Drop for Both {
    fn drop(&mut self) {
        // SAFETY: it came from the library, and is given back once.
        unsafe { wa_tracker_free(self.c, ptr::null_mut()) };
    }
}

fn same(now: &WaLiveReadings, core: &LiveReadings) {
    let absent = |value: Option<f64>| value.unwrap_or(f64::NAN);
    assert_eq!(bits(values(&now.alignment)), bits(core.alignment.values().map(absent)));
    assert_eq!(now.time_s.to_bits(), core.time_s.to_bits());
    assert_eq!(bits(now.lag_s), bits(array(core.lag_s)));
    assert_eq!(bits(now.steer_deg), bits([core.steer_deg.left, core.steer_deg.right].map(absent)));
    assert_eq!(now.knocked, array(core.knocked).map(i32::from));
    assert_eq!(now.rig_from_vehicle.rotation, core.rig_from_vehicle.rotation);
    for path in ["wheels.fl.camber_deg", "axles.rear.total_toe_deg", "chassis.thrust_angle_deg", "wheels.rr.runout_deg"]
    {
        let mut flags = WaFlags { held: 7, stale: 7, weak: 7 };
        let name = c(path);
        // SAFETY: structs and a text of our own.
        let (status, _) =
            call(|error| unsafe { wa_flags_by_basis_of(&raw const now.flags, name.as_ptr(), &raw mut flags, error) });
        let expected = core.flags.of(path).unwrap();
        assert_eq!(status, WA_SUCCESS);
        let [held, stale, weak] = [expected.held, expected.stale, expected.weak].map(i32::from);
        assert_eq!(flags, WaFlags { held, stale, weak }, "{path}");
    }
}

#[test]
fn frames_are_the_cores() {
    let session = VirtualVehicle::random(5).session();
    let sight = |index: usize| ByWheel::from_fn(|wheel| session.sweep[index].get(wheel).frames().first().copied());
    let ahead = ByWheel::from_fn(|wheel| session.ahead.get(wheel).frames().first().copied());
    let settings = LiveSettings { smoothing_s: 0.05, steering: Steering::Held, ..LiveSettings::default() };
    let mut both = Both::new(&session, settings);
    both.frame(0.0, &ahead);
    both.core.steer(Steering::Free);
    // SAFETY: a tracker of the library, numbers of our own, here and below.
    both.do_with(|tracker, error| unsafe { wa_tracker_steer(tracker, WA_STEERING_FREE, error) });
    both.frame(0.01, &sight(2));
    both.frame(0.02, &ByWheel { rl: None, ..sight(7) });
    both.core.adjust(ByWheel { rl: true, ..ByWheel::default() });
    both.do_with(|tracker, error| unsafe { wa_tracker_adjust(tracker, [0, 0, 1, 0].as_ptr(), error) });
    both.frame(0.5, &ByWheel { rl: None, ..ahead });
    both.core.lift(ByWheel { fl: true, fr: true, ..ByWheel::default() });
    both.do_with(|tracker, error| unsafe { wa_tracker_lift(tracker, [1, 1, 0, 0].as_ptr(), error) });
    both.frame(0.6, &ahead);
    both.core.lifted();
    both.do_with(|tracker, error| unsafe { wa_tracker_lifted(tracker, error) });
    both.frame(0.7, &ahead);
    both.core.lowered();
    both.do_with(|tracker, error| unsafe { wa_tracker_lowered(tracker, error) });
    let up = session.up.unwrap();
    let clamps = compensation::from_rolling(
        &session.rolling,
        up,
        &session.clamp_standoff_mm,
        &session.loaded_radius_mm.unwrap(),
        alignment_core::session::RollingBody::Translates,
    );
    let clamp = clamps.unwrap().all_wheels().unwrap().fr;
    both.core.compensate(alignment_core::Wheel::Fr, &clamp).unwrap();
    both.do_with(|tracker, error| unsafe { wa_tracker_compensate(tracker, WA_WHEEL_FR, &clamp.into(), error) });
    both.frame(0.8, &ahead);
    // A target that is not where it belongs, until it is named.
    for frame in 0..4 {
        both.frame(1.0 + 0.1 * f64::from(frame), &ByWheel { rr: ahead.rl, ..ahead });
    }
    assert!(both.core.readings().knocked.rr);
}

#[test]
fn what_is_no_frame_is_refused_and_writes_nothing() {
    let session = VirtualVehicle::default().session();
    let mut both = Both::new(&session, LiveSettings::default());
    both.frame(1.0, &ByWheel::from_fn(|wheel| session.ahead.get(wheel).frames().first().copied()));
    let poses = [WaPose { rotation: [[0.0; 3]; 3], translation_mm: [0.0; 3] }; 4];
    let mut now: WaLiveReadings = fresh();
    for (time_s, seen, status, words) in [
        (0.5, [0; 4], WA_OUT_OF_RANGE, "time_s"),
        (f64::NAN, [0; 4], WA_NOT_FINITE, "time_s"),
        (2.0, [0, 1, 0, 0], WA_NOT_A_ROTATION, "fr"),
    ] {
        // SAFETY: a tracker of the library, buffers of our own.
        let (refused, error) = call(|error| unsafe {
            wa_tracker_frame(both.c, time_s, poses.as_ptr(), seen.as_ptr(), &raw mut now, error)
        });
        assert_eq!(refused, status);
        assert!(message(&error).contains(words), "{}", message(&error));
        assert_eq!(now.reserved, 0x5555_5555);
    }
    // SAFETY: NULL is refused, and given back without effect.
    unsafe {
        assert_eq!(wa_tracker_lowered(ptr::null_mut(), ptr::null_mut()), WA_NULL_POINTER);
        assert_eq!(wa_tracker_free(ptr::null_mut(), ptr::null_mut()), WA_SUCCESS);
    }
}
