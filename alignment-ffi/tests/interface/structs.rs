//! Sessions, readings and compensations as plain structs: the core's numbers to the bit.

use crate::owned::{Kept, array, optional, pose, session_struct};
use crate::{call, message};
use alignment_core::compensation::{self, Compensation};
use alignment_core::json::{session_from_json, session_to_json};
use alignment_core::paths::{COUNT, READINGS};
use alignment_core::session::{
    Camera, CompensationMethod, InputUncertainty, Method, Noise, PoseCovariance, PoseNoise, RollingBody, Sighting,
    Stage,
};
use alignment_core::simulate::VirtualVehicle;
use alignment_core::{ByAxle, ByWheel, Session, Wheel, measure, vehicle};
use std::{mem, ptr};
use wheel_alignment::*;

/// A struct whose size is set; all else is garbage.
pub(crate) fn fresh<T>() -> T {
    let mut fresh = mem::MaybeUninit::<T>::uninit();
    // SAFETY: any bytes make the structs of the interface, and each begins with its size.
    unsafe {
        ptr::write_bytes(fresh.as_mut_ptr(), 0x55, 1);
        fresh.as_mut_ptr().cast::<usize>().write(mem::size_of::<T>());
        fresh.assume_init()
    }
}

pub(crate) fn values(tree: &WaAlignment) -> [f64; COUNT] {
    let mut values = [7.0; COUNT];
    // SAFETY: a tree and a buffer of our own.
    let (status, _) = call(|error| unsafe { wa_alignment_values(tree, values.as_mut_ptr(), COUNT, error) });
    assert_eq!(status, WA_SUCCESS);
    values
}

/// NaN of any kind stands for what is absent.
pub(crate) fn bits(values: impl IntoIterator<Item = f64>) -> Vec<Option<u64>> {
    values.into_iter().map(|value| (!value.is_nan()).then_some(value.to_bits())).collect()
}

pub(crate) fn bits_of(values: &[Option<f64>; COUNT]) -> Vec<Option<u64>> {
    bits(values.iter().map(|value| value.unwrap_or(f64::NAN)))
}

fn check(session: &Session) {
    let (of, _kept) = session_struct(session);
    let mut found: WaMeasurement = fresh();
    // SAFETY: structs of our own, and what they point to is kept.
    let (status, error) = call(|error| unsafe { wa_measure(&raw const of, &raw mut found, error) });
    let text = session_to_json(session);
    let mut from_text: WaMeasurement = fresh();
    // SAFETY: a text and structs of our own.
    let (by_text, _) =
        call(|error| unsafe { wa_measure_session_json(text.as_ptr().cast(), text.len(), &raw mut from_text, error) });
    assert_eq!(status, by_text);
    match measure(session) {
        Ok(expected) => {
            assert_eq!(status, WA_SUCCESS, "{}", message(&error));
            for found in [&found, &from_text] {
                assert_eq!(found.size, mem::size_of::<WaMeasurement>());
                assert_eq!(found.alignment.size, mem::size_of::<WaAlignment>());
                assert_eq!(bits(values(&found.alignment)), bits_of(&expected.alignment.values()));
                for (position, value) in expected.alignment.values().into_iter().enumerate() {
                    // SAFETY: two words of our own.
                    let present = unsafe { wa_is_present(found.alignment.present.as_ptr(), position) };
                    assert_eq!(present, i32::from(value.is_some()), "{}", READINGS[position]);
                }
                let warnings = expected.warnings.iter().fold(0, |bits, warning| bits | warning.code.bit());
                assert_eq!(found.warnings, warnings);
                assert_eq!(found.datum_normal.map(f64::to_bits), expected.datum_normal.map(f64::to_bits));
                assert_eq!(found.fit.present, i32::from(expected.fit.is_some()));
                if let Some(fit) = &expected.fit {
                    assert_eq!(found.fit.chi_squared.to_bits(), fit.chi_squared.to_bits());
                }
                assert_eq!(found.reference.turn.angle_deg.to_bits(), expected.reference.turn.angle_deg.to_bits());
            }
        }
        Err(expected) => {
            assert_eq!((status, message(&error)), (expected.code.number(), expected.to_string().as_str()));
            assert_eq!(found.warnings, 0x5555_5555, "nothing is written");
        }
    }
}

#[test]
fn a_session_gives_the_readings_of_the_core_to_the_bit() {
    for seed in 0..40 {
        check(&VirtualVehicle::random(seed).session());
    }
    let noise = Some(PoseNoise { rotation_deg: 0.01, translation_mm: 0.1 });
    let noisy = VirtualVehicle { pose_noise: noise, frames: 3, ..VirtualVehicle::random(50) };
    let mut session = noisy.session();
    session.note = Some("A remark — with a dash.".to_owned());
    session.ride_height_mm = Some(ByWheel { fl: 180.0, fr: 181.0, rl: 190.0, rr: 191.0 });
    session.input_uncertainty = Some(InputUncertainty { up_deg: 0.01, ..InputUncertainty::default() });
    check(&session);
    session.method = Method::Joint;
    check(&session);
    session.joint.robust = true;
    check(&session);
    let spun = VirtualVehicle {
        compensation: CompensationMethod::Spun,
        roll_deg: vec![-100.0, 0.0, 120.0],
        ..VirtualVehicle::random(4)
    };
    check(&spun.session());
    check(&VirtualVehicle { rolling_yaw_deg_per_m: 1.5, ..VirtualVehicle::random(5) }.session());
}

#[test]
fn what_seldom_stands_in_a_session_counts_as_well() {
    let sound = VirtualVehicle::default().session();
    let covariance = PoseCovariance {
        covariance: std::array::from_fn(|i| std::array::from_fn(|j| f64::from(u8::from(i == j)) * 1e-4)),
    };
    let mut session = sound.clone();
    session.pose_noise = Some(Noise::Covariance(Box::new(covariance)));
    let first = session.rolling[0].fl.frames()[0];
    session.rolling[0].fl = Sighting::PoseWithCovariance(Box::new((first, covariance)));
    check(&session);
    // A camera in the middle of the rig: its frame is the rig's.
    let wheels = vec![Wheel::Fr, Wheel::Rl];
    let rig_from_camera = alignment_core::Pose {
        rotation: [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]],
        translation_mm: [1.0, 2.0, 3.0],
    };
    session.cameras.insert("one".to_owned(), Camera { rig_from_camera, wheels });
    check(&session);
    // What is not there, and what is refused.
    for spoil in [
        |session: &mut Session| session.up = None,
        |session: &mut Session| session.loaded_radius_mm = None,
        |session: &mut Session| session.sweep_wheels_locked = None,
        |session: &mut Session| session.sweep.clear(),
        |session: &mut Session| session.rolling.truncate(1),
        |session: &mut Session| session.rolling.clear(),
        |session: &mut Session| session.lock_left = None,
        |session: &mut Session| session.ahead.fl = Sighting::NotSeen,
        |session: &mut Session| session.rolling[2].rr = Sighting::NotSeen,
        |session: &mut Session| session.clamp_standoff_mm.rr = 5000.0,
        |session: &mut Session| session.reference.turn.angle_deg = 0.0,
        |session: &mut Session| session.reference.datum = alignment_core::session::Datum::WheelPlane,
        |session: &mut Session| session.reference.datum = alignment_core::session::Datum::Runway,
        |session: &mut Session| session.reference.centreline = alignment_core::session::Centreline::SideLineBisector,
    ] {
        let mut session = sound.clone();
        spoil(&mut session);
        check(&session);
    }
}

#[test]
fn a_session_becomes_text() {
    let session = VirtualVehicle::random(3).session();
    let (of, _kept) = session_struct(&session);
    let text = crate::in_two_calls(|result, capacity, length, error| {
        // SAFETY: structs and buffers of our own.
        unsafe { wa_session_to_json(&raw const of, result, capacity, length, error) }
    });
    assert_eq!(session_from_json(text.result()).unwrap(), session);
}

#[test]
fn every_path_is_a_member() {
    let numbered = std::array::from_fn::<f64, COUNT, _>(|position| f64::from(u32::try_from(position).unwrap()) + 0.5);
    let mut tree: WaAlignment = fresh();
    // SAFETY: numbers and a tree of our own.
    let (status, _) = call(|error| unsafe { wa_alignment_from_values(numbered.as_ptr(), COUNT, &raw mut tree, error) });
    assert_eq!(status, WA_SUCCESS);
    for (position, path) in READINGS.iter().enumerate() {
        assert_eq!(member(&tree, path), numbered[position], "{path}");
        let path = crate::c(path);
        let (mut reading, mut found) = (optional(None), 7);
        // SAFETY: a tree, a string and places of our own.
        unsafe {
            assert_eq!(wa_alignment_get(&raw const tree, path.as_ptr(), &raw mut reading, ptr::null_mut()), WA_SUCCESS);
            assert_eq!(wa_reading_position(path.as_ptr(), &raw mut found, ptr::null_mut()), WA_SUCCESS);
        }
        assert_eq!((reading, found), (optional(Some(numbered[position])), position));
    }
    // SAFETY: as before; one number is too few.
    let (status, error) =
        call(|error| unsafe { wa_alignment_from_values(numbered.as_ptr(), COUNT - 1, &raw mut tree, error) });
    assert_eq!(status, WA_CONTRADICTION);
    assert!(message(&error).contains("115 needed"), "{}", message(&error));
    // SAFETY: null has nothing; a position beyond all is none.
    unsafe {
        assert_eq!(wa_is_present(ptr::null(), 0), 0);
        assert_eq!(wa_is_present(tree.present.as_ptr(), COUNT), 0);
        assert_eq!(wa_is_present(tree.present.as_ptr(), usize::MAX), 0);
    }
}

/// A member by its path, written out once more.
fn member(tree: &WaAlignment, path: &str) -> f64 {
    let (path, component) = match path.split_once('[') {
        Some((path, rest)) => (path, rest.trim_end_matches(']').parse::<usize>().unwrap()),
        None => (path, 0),
    };
    let names: Vec<&str> = path.split('.').collect();
    let wheel = |of: &WaWheelReadings, name: &str| match name {
        "camber_deg" => of.camber_deg,
        "toe_deg" => of.toe_deg,
        "toe_to_centreline_deg" => of.toe_to_centreline_deg,
        "centre_mm" => of.centre_mm[component],
        "spindle" => of.spindle[component],
        "runout_deg" => of.runout_deg,
        "rolling_radius_mm" => of.rolling_radius_mm,
        other => panic!("{other}"),
    };
    let axle = |of: &WaAxleReadings, name: &str| match name {
        "total_toe_deg" => of.total_toe_deg,
        "cross_camber_deg" => of.cross_camber_deg,
        "track_mm" => of.track_mm,
        "track_at_ground_mm" => of.track_at_ground_mm,
        "setback_deg" => of.setback_deg,
        "setback_mm" => of.setback_mm,
        other => panic!("{other}"),
    };
    let axis = |of: &WaSteeringAxisReadings, name: &str| match name {
        "caster_deg" => of.caster_deg,
        "sai_deg" => of.sai_deg,
        "included_angle_deg" => of.included_angle_deg,
        "caster_trail_mm" => of.caster_trail_mm,
        "scrub_radius_mm" => of.scrub_radius_mm,
        "caster_trail_in_wheel_plane_mm" => of.caster_trail_in_wheel_plane_mm,
        "scrub_radius_in_wheel_plane_mm" => of.scrub_radius_in_wheel_plane_mm,
        "caster_to_body_deg" => of.caster_to_body_deg,
        "sai_to_body_deg" => of.sai_to_body_deg,
        "axis_direction" => of.axis_direction[component],
        "axis_point_mm" => of.axis_point_mm[component],
        "residual_deg" => of.residual_deg,
        "residual_mm" => of.residual_mm,
        other => panic!("{other}"),
    };
    let turn = |of: &WaTurnReadings, name: &str| match name {
        "inner_deg" => of.inner_deg,
        "outer_deg" => of.outer_deg,
        "toe_out_deg" => of.toe_out_deg,
        "ackermann_deg" => of.ackermann_deg,
        other => panic!("{other}"),
    };
    let lock = |of: &WaLockReadings, name: &str| match name {
        "left_deg" => of.left_deg,
        "right_deg" => of.right_deg,
        other => panic!("{other}"),
    };
    match names[..] {
        ["wheels", "fl", name] => wheel(&tree.wheels.fl, name),
        ["wheels", "fr", name] => wheel(&tree.wheels.fr, name),
        ["wheels", "rl", name] => wheel(&tree.wheels.rl, name),
        ["wheels", "rr", name] => wheel(&tree.wheels.rr, name),
        ["axles", "front", name] => axle(&tree.axles.front, name),
        ["axles", "rear", name] => axle(&tree.axles.rear, name),
        ["chassis", "thrust_angle_deg"] => tree.chassis.thrust_angle_deg,
        ["chassis", "wheelbase_left_mm"] => tree.chassis.wheelbase_left_mm,
        ["chassis", "wheelbase_right_mm"] => tree.chassis.wheelbase_right_mm,
        ["chassis", "wheelbase_difference_mm"] => tree.chassis.wheelbase_difference_mm,
        ["chassis", "diagonal_fl_rr_mm"] => tree.chassis.diagonal_fl_rr_mm,
        ["chassis", "diagonal_fr_rl_mm"] => tree.chassis.diagonal_fr_rl_mm,
        ["chassis", "diagonal_difference_mm"] => tree.chassis.diagonal_difference_mm,
        ["chassis", "track_difference_mm"] => tree.chassis.track_difference_mm,
        ["chassis", "axle_offset_mm"] => tree.chassis.axle_offset_mm,
        ["steering", "left", name] => axis(&tree.steering.left, name),
        ["steering", "right", name] => axis(&tree.steering.right, name),
        ["steering", "ahead_error_deg"] => tree.steering.ahead_error_deg,
        ["steering", "cross_caster_deg"] => tree.steering.cross_caster_deg,
        ["steering", "cross_sai_deg"] => tree.steering.cross_sai_deg,
        ["steering", "sweep_range_deg"] => tree.steering.sweep_range_deg,
        ["turns", "left_turn", name] => turn(&tree.turns.left_turn, name),
        ["turns", "right_turn", name] => turn(&tree.turns.right_turn, name),
        ["turns", "lock_left", name] => lock(&tree.turns.lock_left, name),
        ["turns", "lock_right", name] => lock(&tree.turns.lock_right, name),
        _ => panic!("{path}"),
    }
}

pub(crate) fn clamp(of: &Compensation) -> WaCompensation {
    WaCompensation {
        spindle_in_target: of.spindle_in_target,
        centre_in_target_mm: of.centre_in_target_mm,
        runout_deg: of.runout_deg,
        rolling_radius_mm: optional(of.rolling_radius_mm),
        roll_range_deg: of.roll_range_deg,
    }
}

/// From the rolling stations to readings of single frames, in C and in the core.
#[test]
fn clamps_and_readings_of_four_poses_are_the_cores_to_the_bit() {
    for seed in 0..20 {
        let session = VirtualVehicle::random(seed).session();
        let (up, standoffs) = (session.up.unwrap(), array(session.clamp_standoff_mm));
        let mut kept = Kept::default();
        let rolling = kept.stations(&session.rolling);
        let mut clamps: WaClampCompensation = fresh();
        let mut wheels = [clamp_of_zeros(); 4];
        // SAFETY: structs, arrays and stations of our own.
        unsafe {
            let status = wa_from_rolling(
                rolling,
                session.rolling.len(),
                up.as_ptr(),
                standoffs.as_ptr(),
                ptr::null(),
                WA_ROLLING_BODY_TRANSLATES,
                &raw mut clamps,
                ptr::null_mut(),
            );
            assert_eq!(status, WA_SUCCESS);
            let status = wa_clamp_compensation_all_wheels(&raw const clamps, wheels.as_mut_ptr(), ptr::null_mut());
            assert_eq!(status, WA_SUCCESS);
        }
        let body = RollingBody::Translates;
        let known =
            compensation::from_rolling(&session.rolling, up, &session.clamp_standoff_mm, &ByAxle::default(), body)
                .unwrap();
        let expected = known.all_wheels().unwrap();
        assert_eq!(wheels.map(|of| format!("{of:?}")), array(expected).map(|of| format!("{:?}", clamp(&of))));
        assert_eq!(clamps.present, [1; 4]);
        assert_eq!(Some(clamps.travel_direction_in_rig), known.travel_direction_in_rig);

        let seen = ByWheel::from_fn(|wheel| session.ahead.get(wheel).frames()[0]);
        let poses = array(seen).map(pose);
        let now =
            vehicle::ahead_readings(&expected, &seen, up, &ByAxle::default(), session.reference.centreline).unwrap();
        let mut found: WaAheadReadings = fresh();
        // SAFETY: structs and arrays of our own.
        let (status, _) = call(|error| unsafe {
            wa_ahead_readings(
                wheels.as_ptr(),
                poses.as_ptr(),
                up.as_ptr(),
                ptr::null(),
                WA_CENTRELINE_AXLE_MIDPOINTS,
                &raw mut found,
                error,
            )
        });
        assert_eq!(status, WA_SUCCESS);
        assert_eq!(found.size, mem::size_of::<WaAheadReadings>());
        let tree = alignment_core::Alignment {
            wheels: now.wheels,
            axles: now.axles,
            chassis: now.chassis,
            ..Default::default()
        };
        let mut of: WaAlignment = fresh();
        (of.wheels, of.axles, of.chassis) = (found.wheels, found.axles, found.chassis);
        for (path, value) in READINGS.iter().zip(tree.values()) {
            if ["wheels", "axles", "chassis"].iter().any(|branch| path.starts_with(branch)) {
                assert_eq!(bits([member(&of, path)]), bits([value.unwrap_or(f64::NAN)]), "{path}");
            }
        }
        assert_eq!(found.rig_from_vehicle.rotation, now.rig_from_vehicle.rotation);
        assert_eq!(found.rig_from_vehicle.translation_mm, now.rig_from_vehicle.translation_mm);
    }
}

pub(crate) fn clamp_of_zeros() -> WaCompensation {
    WaCompensation {
        spindle_in_target: [0.0; 3],
        centre_in_target_mm: [0.0; 3],
        runout_deg: 0.0,
        rolling_radius_mm: optional(None),
        roll_range_deg: 0.0,
    }
}

#[test]
fn a_clamp_that_is_absent_is_named() {
    let mut session = VirtualVehicle::default().session();
    for station in &mut session.rolling {
        station.rl = Sighting::NotSeen;
    }
    let mut kept = Kept::default();
    let rolling = kept.stations(&session.rolling);
    let (up, standoffs) = (session.up.unwrap(), array(session.clamp_standoff_mm));
    let mut clamps: WaClampCompensation = fresh();
    let mut wheels = [clamp_of_zeros(); 4];
    // SAFETY: structs, arrays and stations of our own.
    let (status, error) = unsafe {
        let (count, body) = (session.rolling.len(), WA_ROLLING_BODY_TRANSLATES);
        let (up, standoffs) = (up.as_ptr(), standoffs.as_ptr());
        let to = &raw mut clamps;
        assert_eq!(wa_from_rolling(rolling, count, up, standoffs, ptr::null(), body, to, ptr::null_mut()), WA_SUCCESS);
        call(|error| wa_clamp_compensation_all_wheels(&raw const clamps, wheels.as_mut_ptr(), error))
    };
    assert_eq!((status, error.stage, error.wheel), (WA_WHEEL_NOT_SEEN, WA_STAGE_ROLLING, WA_WHEEL_RL));
    assert_eq!(Stage::Rolling.name(), "rolling");
    assert_eq!(clamps.present, [1, 1, 0, 1]);
    assert_eq!(clamps.warnings, WA_WARNING_WHEEL_BLOCKED);
    assert!(clamps.wheels[2].spindle_in_target[0].is_nan() && wheels[0].spindle_in_target == [0.0; 3]);
}
