//! One reading from four poses, one live frame, and a stand read from either allocate nothing: they can run at camera frame rate.

use alignment_core::live::{LiveSettings, Tracker};
use alignment_core::session::{Centreline, RollingBody};
use alignment_core::simulate::VirtualVehicle;
use alignment_core::stand::{self, GroundLine};
use alignment_core::{ByWheel, Wheel, compensation, vehicle};
use stats_alloc::{INSTRUMENTED_SYSTEM, Region, StatsAlloc};
use std::alloc::System;

#[global_allocator]
static ALLOCATOR: &StatsAlloc<System> = &INSTRUMENTED_SYSTEM;

#[test]
fn one_reading_and_one_frame_allocate_nothing() {
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

    let mut tracker = Tracker::new(&session, LiveSettings { smoothing_s: 0.1, ..LiveSettings::default() }).unwrap();
    let seen = |station: &alignment_core::Station, hidden: Option<Wheel>| {
        ByWheel::from_fn(|wheel| station.get(wheel).frames().first().copied().filter(|_| hidden != Some(wheel)))
    };
    let sights = [
        seen(&session.ahead, None),
        seen(&session.sweep[2], None),
        seen(&session.sweep[8], Some(Wheel::Rl)),
        ByWheel { fl: Some(spoiled.rl), ..seen(&session.ahead, None) },
        ByWheel { rr: Some(poses.rl), ..seen(&session.ahead, None) }, // where it does not belong
    ];

    let region = Region::new(ALLOCATOR);
    let read = sights.iter().zip(0..).map(|(sight, frame)| tracker.frame(f64::from(frame), sight).is_ok());
    let read = read.filter(|&read| read).count();
    tracker.lift(ByWheel { fl: true, fr: true, rl: true, rr: true });
    tracker.lifted();
    tracker.lowered();
    let (line, from) = (stand::Line::ThrustLine, stand::ReferencePoint::FrontAxle);
    let ahead = reading.as_ref().unwrap();
    let lines = [
        GroundLine::from_ahead(ahead, &radii, None, line, from),
        GroundLine::from_live(tracker.readings(), &radii, None, line, from),
    ];
    let stands = lines.iter().flatten().filter(|line| line.readings(&ahead.rig_from_vehicle).is_ok()).count();
    let change = region.change();

    assert_eq!((read, stands), (4, 2));
    assert_eq!((change.allocations, change.reallocations, change.deallocations), (0, 0, 0));
}
