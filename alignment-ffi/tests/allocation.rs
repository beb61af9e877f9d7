//! The reading path of C allocates nothing, whether it reads or refuses: it can run at camera frame rate.

use stats_alloc::{INSTRUMENTED_SYSTEM, Region, StatsAlloc};
use std::alloc::System;
use std::mem;
use wheel_alignment::*;

#[global_allocator]
static ALLOCATOR: &StatsAlloc<System> = &INSTRUMENTED_SYSTEM;

#[test]
fn one_reading_allocates_nothing() {
    let pose =
        |x, y| WaPose { rotation: [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]], translation_mm: [x, y, 310.0] };
    let clamp = |sign| WaCompensation {
        spindle_in_target: [0.0, sign, 0.0],
        centre_in_target_mm: [0.0, -90.0 * sign, 0.0],
        runout_deg: 0.0,
        rolling_radius_mm: WaOptional { present: 1, value: 308.0 },
        roll_range_deg: 54.0,
    };
    let clamps = [clamp(1.0), clamp(-1.0), clamp(1.0), clamp(-1.0)];
    let poses = [pose(2620.0, 860.0), pose(2620.0, -860.0), pose(0.0, 855.0), pose(0.0, -855.0)];
    let (up, radii) = ([0.0, 0.0, 1.0], [WaOptional { present: 1, value: 300.0 }; 2]);
    // SAFETY: zeros make numbers.
    let (mut now, mut error): (WaAheadReadings, WaError) = unsafe { (mem::zeroed(), mem::zeroed()) };
    (now.size, error.size) = (size_of::<WaAheadReadings>(), size_of::<WaError>());
    let mut read = |poses: &[WaPose; 4], clamps: &[WaCompensation; 4], centreline| {
        // SAFETY: arrays and structs of our own.
        unsafe {
            let (clamps, poses) = (clamps.as_ptr(), poses.as_ptr());
            wa_ahead_readings(clamps, poses, up.as_ptr(), radii.as_ptr(), centreline, &raw mut now, &raw mut error)
        }
    };
    let (mut far, mut neither) = (poses, clamps);
    far[2].translation_mm[1] = 1e9;
    neither[3].rolling_radius_mm.present = 2;

    let region = Region::new(ALLOCATOR);
    let statuses = [
        read(&poses, &clamps, WA_CENTRELINE_AXLE_MIDPOINTS),
        read(&far, &clamps, WA_CENTRELINE_AXLE_MIDPOINTS),
        read(&poses, &neither, WA_CENTRELINE_AXLE_MIDPOINTS),
        read(&poses, &clamps, 7),
    ];
    let change = region.change();

    assert_eq!(statuses, [WA_SUCCESS, WA_LENGTH_OUT_OF_RANGE, WA_OUT_OF_RANGE, WA_OUT_OF_RANGE]);
    assert_eq!((change.allocations, change.reallocations, change.deallocations), (0, 0, 0));
    assert!((now.chassis.wheelbase_left_mm - 2620.0).abs() < 1e-9 && now.wheels.fl.toe_deg.abs() < 1e-9);
}
