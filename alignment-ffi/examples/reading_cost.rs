//! Calls the reading path so many times, through the C function or in Rust: `reading_cost c 1000`, `reading_cost rust 1000`. What one call
//! costs is the difference of two runs under a program that counts instructions: tests/c/reading_cost.sh.

use alignment_core::session::{ByAxle, ByWheel, Centreline, RollingBody};
use alignment_core::{compensation, simulate::VirtualVehicle, vehicle};
use std::hint::black_box;
use std::{env, mem, ptr};
use wheel_alignment::{
    WA_CENTRELINE_AXLE_MIDPOINTS, WA_SUCCESS, WaAheadReadings, WaCompensation, WaError, WaPose, wa_ahead_readings,
};

fn array<T>(ByWheel { fl, fr, rl, rr }: ByWheel<T>) -> [T; 4] {
    [fl, fr, rl, rr]
}

fn main() {
    let mut arguments = env::args().skip(1);
    let way = arguments.next().expect("the first argument is c, c-with-error or rust");
    let count: usize = arguments.next().and_then(|count| count.parse().ok()).expect("the second one is a number");

    let session = VirtualVehicle::default().session();
    let up = session.up.expect("the virtual vehicle says up");
    let (standoffs, body) = (&session.clamp_standoff_mm, RollingBody::Translates);
    let rolled = compensation::from_rolling(&session.rolling, up, standoffs, &ByAxle::default(), body);
    let clamps = rolled.and_then(|rolled| rolled.all_wheels()).expect("the virtual vehicle is sound");
    let poses = ByWheel::from_fn(|wheel| session.ahead.get(wheel).frames()[0]);

    if way == "rust" {
        for _ in 0..count {
            let now = vehicle::ahead_readings(
                black_box(&clamps),
                black_box(&poses),
                black_box(up),
                black_box(&ByAxle::default()),
                black_box(Centreline::AxleMidpoints),
            );
            assert!(black_box(&now).is_ok());
        }
        return;
    }
    let clamps = array(clamps).map(WaCompensation::from);
    let poses = array(poses).map(WaPose::from);
    // SAFETY: numbers are all they have, and zeros make numbers.
    let (mut now, mut error): (WaAheadReadings, WaError) = unsafe { (mem::zeroed(), mem::zeroed()) };
    (now.size, error.size) = (size_of::<WaAheadReadings>(), size_of::<WaError>());
    let error = if way == "c" { ptr::null_mut() } else { &raw mut error };
    for _ in 0..count {
        // SAFETY: arrays and structs of our own.
        let status = unsafe {
            wa_ahead_readings(
                black_box(clamps.as_ptr()),
                black_box(poses.as_ptr()),
                black_box(up.as_ptr()),
                ptr::null(),
                WA_CENTRELINE_AXLE_MIDPOINTS,
                black_box(&raw mut now),
                black_box(error),
            )
        };
        assert_eq!(status, WA_SUCCESS);
        black_box(&now);
    }
}
