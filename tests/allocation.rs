//! One reading from four poses allocates nothing: it can run at camera frame rate.

use alignment_core::session::{Centreline, RollingBody};
use alignment_core::simulate::VirtualVehicle;
use alignment_core::{ByWheel, compensation, vehicle};
use stats_alloc::{INSTRUMENTED_SYSTEM, Region, StatsAlloc};
use std::alloc::System;

#[global_allocator]
static ALLOCATOR: &StatsAlloc<System> = &INSTRUMENTED_SYSTEM;

#[test]
fn one_reading_allocates_nothing() {
    let session = VirtualVehicle::default().session();
    let (up, radii) = (session.up.unwrap(), session.loaded_radius_mm.unwrap());
    let rolled =
        compensation::from_rolling(&session.rolling, up, &session.clamp_standoff_mm, &radii, RollingBody::Translates)
            .unwrap();
    let wheels = rolled.all_wheels().unwrap();
    let poses = ByWheel::from_fn(|wheel| session.ahead.get(wheel).frames()[0]);
    let mut spoiled = poses;
    spoiled.rl.translation_mm[1] = f64::NAN;

    let region = Region::new(ALLOCATOR);
    let reading = vehicle::ahead_readings(&wheels, &poses, up, &radii, Centreline::AxleMidpoints);
    let refusal = vehicle::ahead_readings(&wheels, &spoiled, up, &radii, Centreline::AxleMidpoints);
    let change = region.change();

    assert!(reading.is_ok() && refusal.is_err());
    assert_eq!((change.allocations, change.reallocations, change.deallocations), (0, 0, 0));
}
