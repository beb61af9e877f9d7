use alignment_core::session::Centreline;
use alignment_core::simulate::VirtualVehicle;
use alignment_core::{ByWheel, compensation, vehicle};
use std::hint::black_box;
fn main() {
    let session = VirtualVehicle::default().session();
    let (up, radii) = (session.up.unwrap(), session.loaded_radius_mm.unwrap());
    let rolled = compensation::from_rolling(&session.rolling, up, &session.clamp_standoff_mm, &radii).unwrap();
    let poses = ByWheel::from_fn(|wheel| session.ahead.get(wheel).frames()[0]);
    for _ in 0..20000 {
        black_box(vehicle::ahead_readings(
            black_box(&rolled.wheels),
            black_box(&poses),
            black_box(up),
            black_box(&radii),
            Centreline::AxleMidpoints,
        ))
        .unwrap();
    }
}
