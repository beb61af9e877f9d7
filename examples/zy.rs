use alignment_core::measure;
use alignment_core::simulate::VirtualVehicle;
use std::hint::black_box;
fn main() {
    let session = VirtualVehicle { lock_deg: None, ..VirtualVehicle::default() }.session();
    for _ in 0..2000 {
        black_box(measure(black_box(&session))).unwrap();
    }
}
