//! Before and after: an invented car that pulls is measured, adjusted and measured again, and the work is written down: a record, a page of HTML and
//! one of Markdown.
//!
//! `cargo run --release --example before_after -- FOLDER`

use alignment_core::adjustment::{Adjuster, Effect, Line, Request, Rigid, Stance, fewest_moves};
use alignment_core::json::{session_to_json, specification_from_json, stand_requirements_from_json};
use alignment_core::record::{AdjustmentDone, Attachment, Identity, Measured, Record, StandSetup};
use alignment_core::session::{ByAxle, ByWheel, PoseNoise};
use alignment_core::simulate::{VirtualAxle, VirtualVehicle, VirtualWheel};
use alignment_core::stand::{self, PlacedStand};
use alignment_core::{Alignment, Pose, Wheel, measure};
use std::error::Error;
use std::path::PathBuf;

/// A car whose right front wheel met a kerb: less caster there, and the wheel further back.
fn pulling_car() -> VirtualVehicle {
    let sound = VirtualVehicle::default();
    VirtualVehicle {
        front: VirtualAxle {
            left: VirtualWheel { camber_deg: -0.42, toe_to_centreline_deg: 0.14, caster_deg: 4.62, ..sound.front.left },
            right: VirtualWheel {
                camber_deg: -0.58,
                toe_to_centreline_deg: -0.24,
                caster_deg: 3.05,
                ..sound.front.right
            },
            setback_mm: 11.5,
            ..sound.front
        },
        rear: VirtualAxle {
            left: VirtualWheel { camber_deg: -0.95, toe_to_centreline_deg: 0.36, ..sound.rear.left },
            right: VirtualWheel { camber_deg: -1.02, toe_to_centreline_deg: -0.02, ..sound.rear.right },
            ..sound.rear
        },
        pose_noise: Some(PoseNoise { rotation_deg: 0.005, translation_mm: 0.05 }),
        seed: 4,
        ..sound
    }
}

/// What can be turned on it: strut rods for caster and tie rods in front, eccentrics for toe at the rear.
fn adjusters(readings: &Alignment) -> Vec<Adjuster> {
    let mut all = Vec::new();
    for wheel in Wheel::ALL {
        let [x, y, z] = readings.wheels.get(wheel).centre_mm.unwrap_or_default();
        let side = wheel.side().sign();
        let place = match wheel {
            Wheel::Fl => "left front",
            Wheel::Fr => "right front",
            Wheel::Rl => "left rear",
            Wheel::Rr => "right rear",
        };
        let wheels = ByWheel::from_fn(|other| other == wheel);
        let mut add = |name: &str, unit: &str, line, turn_deg, carries_axis, range: f64, step| {
            let effect = Effect::Rigid(Rigid { wheels, line, turn_deg, shift_mm: 0.0, carries_axis });
            all.push(Adjuster {
                name: format!("{place} {name}"),
                unit: unit.into(),
                effect,
                least: -range,
                most: range,
                step,
            });
        };
        if matches!(wheel, Wheel::Fl | Wheel::Fr) {
            let mount = Line { point_mm: [x, y - side * 180.0, z + 320.0], direction: [0.0, 1.0, 0.0] };
            add("strut rod", "turns longer", Some(mount), -0.25, true, 8.0, 0.5);
            add("tie rod", "turns to toe-in", None, -side * 0.86, false, 6.0, 0.0);
        } else {
            let bolt = Line { point_mm: [x + 250.0, y - side * 120.0, z], direction: [0.0, 0.0, side] };
            add("toe eccentric", "notches to toe-in", Some(bolt), -0.08, false, 12.0, 1.0);
        }
    }
    all
}

fn main() -> Result<(), Box<dyn Error>> {
    let Some(folder) = std::env::args_os().nth(1).map(PathBuf::from) else {
        return Err("name the folder to write to: cargo run --example before_after -- FOLDER".into());
    };
    let specification = specification_from_json(include_str!("demo_specification.json"))?;

    let car = pulling_car();
    let session = car.session();
    let readings = measure(&session)?.alignment;
    let adjusters = adjusters(&readings);
    let loaded_radius_mm = ByAxle { front: Some(car.front.rolling_radius_mm), rear: Some(car.rear.rolling_radius_mm) };
    let request = Request { specification: specification.clone(), ..Request::default() };
    let stance = Stance { loaded_radius_mm, ..Stance::default() };
    let plan = fewest_moves(&readings, &adjusters, &request, &stance)?;

    let (turned, amounts): (Vec<Adjuster>, Vec<f64>) =
        plan.moves.iter().map(|step| (adjusters[step.adjuster].clone(), step.amount)).unzip();
    let set = VirtualVehicle { seed: 5, ..car.adjusted(&turned, &amounts)? };
    let session_after = set.session();

    // Its sensors look ahead. A stand was rolled before the car by eye, and is moved as told.
    let requirements = stand_requirements_from_json(include_str!("demo_stand.json"))?;
    let by_eye = Pose::from_rotation_vector_rad([0.004, -0.003, 0.03], [6620.0, 205.0, 1190.0])?;
    let known = Some(PoseNoise { rotation_deg: 0.01, translation_mm: 0.1 }.into());
    let mut stand = PlacedStand { rig_from_stand: by_eye, noise: known, pivot_mm: [-80.0, 0.0, -900.0] };
    let found = stand::assess(&session_after, &stand, &[], &requirements)?;
    stand.rig_from_stand = stand::moved(&stand.rig_from_stand, &found.moves, stand.pivot_mm)?;
    let placed = stand::assess(&session_after, &stand, &[], &requirements)?;

    let mut notes = vec![
        "Invented car, invented limits, simulated measurements: a demonstration, never to set a real car by."
            .to_owned(),
        "Customer's words: pulls to the right since the right front wheel met a kerb. Tyres even, brakes free."
            .to_owned(),
        "All nuts tightened before the car was measured again.".to_owned(),
    ];
    notes.extend(plan.unmet.iter().map(|unmet| {
        format!("{} cannot be brought within its limits by adjusting: look for bent or shifted parts.", unmet.path)
    }));
    let text = |text: &str| Some(text.to_owned());
    let record = Record {
        before: Some(Measured::of(&session, Some(&specification))?),
        after: Some(Measured::of(&session_after, Some(&specification))?),
        adjustments: AdjustmentDone::of(&adjusters, &plan),
        notes,
        attachments: vec![
            Attachment::of("before.json", "application/json", session_to_json(&session).as_bytes()),
            Attachment::of("after.json", "application/json", session_to_json(&session_after).as_bytes()),
        ],
        stand: Some(StandSetup::of(&placed)),
        ..Record::new(Identity {
            record_id: text("DEMO-0001"),
            date: text("2026-05-04"),
            vehicle: text("Family estate car, invented"),
            registration: text("INVENTED 1"),
            odometer: text("41 200 km, invented"),
            workshop: text("An invented workshop"),
            operator: text("An invented apprentice"),
            equipment: text("Simulated cameras and targets"),
            ..Identity::default()
        })
    };

    std::fs::create_dir_all(&folder)?;
    for (name, text) in [
        ("record.json", record.to_json()?),
        ("record.html", record.to_html()?),
        ("record.md", record.to_markdown()?),
        ("before.json", session_to_json(&session)),
        ("after.json", session_to_json(&session_after)),
    ] {
        std::fs::write(folder.join(name), text)?;
        println!("{}", folder.join(name).display());
    }
    Ok(())
}
