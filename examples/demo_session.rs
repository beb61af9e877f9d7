//! Makes the demo session, examples/pulling-car.json. The car, its owner and its readings are invented.
//!
//! `cargo run --release --example demo_session > examples/pulling-car.json`

use alignment_core::json::session_to_json;
use alignment_core::session::{InputUncertainty, PoseNoise};
use alignment_core::simulate::{VirtualAxle, VirtualVehicle, VirtualWheel};

const STORY: &str = "Invented demonstration data. A family estate car pulls to the right ever since its right front wheel met a \
                     kerb; the tyres are even and the brakes run free. Clamped, rolled, stood straight ahead, swept and turned to \
                     both locks, as on any rig. The readings show why it pulls: the right wheel stands further back than the left, \
                     and its caster is smaller.";

fn main() {
    let sound = VirtualVehicle::default();
    let car = VirtualVehicle {
        front: VirtualAxle {
            left: VirtualWheel { camber_deg: -0.42, toe_to_centreline_deg: 0.14, caster_deg: 4.62, ..sound.front.left },
            right: VirtualWheel {
                camber_deg: -0.58,
                toe_to_centreline_deg: -0.06,
                caster_deg: 3.05,
                sai_deg: 13.12,
                caster_trail_mm: 11.0,
                ..sound.front.right
            },
            setback_mm: 11.5,
            ..sound.front
        },
        rear: VirtualAxle {
            left: VirtualWheel { camber_deg: -1.15, toe_to_centreline_deg: 0.22, ..sound.rear.left },
            right: VirtualWheel { camber_deg: -1.22, toe_to_centreline_deg: 0.10, ..sound.rear.right },
            ..sound.rear
        },
        pose_noise: Some(PoseNoise { rotation_deg: 0.005, translation_mm: 0.05 }),
        seed: 20,
        ..sound
    };
    let mut session = car.session();
    session.note = Some(STORY.to_owned());
    session.input_uncertainty = Some(InputUncertainty {
        clamp_standoff_mm: 0.2,
        up_deg: 0.005,
        loaded_radius_mm: 1.0,
        right_cameras: PoseNoise { rotation_deg: 0.003, translation_mm: 0.1 },
        ..InputUncertainty::default()
    });
    println!("{}", session_to_json(&session));
}
