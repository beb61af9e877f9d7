//! Where a calibration stand stands before an invented car, what to move in which order, and whether it then stands as required.
//!
//! `cargo run --release --example stand`

use alignment_core::conformity::{Judgement, Reason, Rule, Verdict};
use alignment_core::json::stand_requirements_from_json;
use alignment_core::session::PoseNoise;
use alignment_core::simulate::VirtualVehicle;
use alignment_core::stand::{Line, PlacedStand, ReferencePoint, StandAssessment, StandReadings, assess, moved};
use alignment_core::{Error, Pose};

/// A car that does not run quite straight: its rear wheels point to the right.
fn car() -> VirtualVehicle {
    let mut car = VirtualVehicle {
        pose_noise: Some(PoseNoise { rotation_deg: 0.005, translation_mm: 0.05 }),
        ..VirtualVehicle::default()
    };
    (car.rear.left.toe_to_centreline_deg, car.rear.right.toe_to_centreline_deg) = (0.35, -0.05);
    car
}

/// The pose of a frame that has moved with another.
fn product(a: &Pose, b: &Pose) -> Pose {
    let rotation =
        std::array::from_fn(|i| std::array::from_fn(|j| (0..3).map(|k| a.rotation[i][k] * b.rotation[k][j]).sum()));
    let translation_mm = std::array::from_fn(|i| {
        a.translation_mm[i] + (0..3).map(|k| a.rotation[i][k] * b.translation_mm[k]).sum::<f64>()
    });
    Pose { rotation, translation_mm }
}

/// What the cameras see of the stand's target: somebody has rolled it before the car by eye.
fn seen(car: &VirtualVehicle, stand_from_target: &Pose) -> Result<Pose, Error> {
    let by_eye = Pose::from_rotation_vector_rad(
        [0.4, -0.3, 0.9].map(f64::to_radians),
        [car.wheelbase_mm + 1462.0, 31.0, 905.0],
    )?;
    Ok(product(&product(&car.rig_from_vehicle, &by_eye), stand_from_target))
}

fn verdict(judgement: &Judgement) -> &'static str {
    match (judgement.verdict, judgement.reason) {
        (Verdict::Conforms, _) => "conforms",
        (Verdict::DoesNotConform, _) => "does not conform",
        (_, Some(Reason::TooUncertain)) => "undetermined: too uncertain",
        _ => "undetermined: too near a limit",
    }
}

fn tell(found: &StandAssessment) {
    let names =
        ["Distance", "Lateral offset, + left", "Height", "Yaw, + left", "Pitch, + top forward", "Roll, + top right"];
    println!("{:<24}{:>18}   {:<22}verdict", "", "reading", "required");
    let uncertain = found.expanded_uncertainty.map(StandReadings::values);
    let (required, judgements) = (found.requirements.required.values(), found.judgements.values());
    for (i, value) in found.readings.values().into_iter().enumerate() {
        let (digits, unit) = if i < 3 { (1, " mm") } else { (2, "°") };
        // What rounds to zero has no sign.
        let rounded = |value: f64| format!("{:.digits$}", (value * 100.0).round() / 100.0 + 0.0);
        let u = uncertain.map_or(String::new(), |all| format!(" ± {:.digits$}", all[i]));
        let limits = required[i].map_or("nothing".to_owned(), |of| {
            format!("{} to {}{unit}", rounded(of.nominal - of.minus), rounded(of.nominal + of.plus))
        });
        let verdict = judgements[i].as_ref().map_or("", verdict);
        println!("{:<24}{:>18}   {limits:<22}{verdict}", names[i], format!("{}{u}{unit}", rounded(value)));
    }
    let overall = match found.overall {
        Verdict::Conforms => "the stand stands as required",
        Verdict::DoesNotConform => "the stand does not stand as required",
        Verdict::Undetermined => "undecided",
    };
    println!("On the whole: {overall}.");
    if let Some(judgement) = judgements.iter().flatten().next()
        && judgement.rule == Rule::Guarded
    {
        let sure = 100.0 * found.requirements.decision.probability;
        println!(
            "A reading conforms, or does not, when that is at least {sure:.0} % sure. ± holds the true value 95 times of a hundred."
        );
    }
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    println!("Invented car, invented stand, invented figures: never set up a real stand by them.\n");
    let (car, requirements) = (car(), stand_requirements_from_json(include_str!("demo_stand.json"))?);
    let session = car.session();
    // The target hangs low on the stand's column, a hand behind its board, and was calibrated to the mark on the board.
    let stand_from_target = Pose::from_rotation_vector_rad([0.0, 0.0, 0.3], [-120.0, 40.0, -500.0])?;
    let noise = PoseNoise { rotation_deg: 0.01, translation_mm: 0.2 }.into();
    let mut stand = PlacedStand::from_target(&seen(&car, &stand_from_target)?, &stand_from_target, Some(&noise))?;
    // Its column stands 150 mm behind the board, on the floor.
    stand.pivot_mm = [-150.0, 0.0, -1200.0];
    let found = assess(&session, &stand, &[], &requirements)?;

    let side = if found.thrust_angle_deg > 0.0 { "right" } else { "left" };
    println!("The car's thrust line points {:.2}° to the {side} of its centreline.", found.thrust_angle_deg.abs());
    let line = match requirements.line {
        Line::ThrustLine => "thrust line",
        Line::Centreline => "centreline",
    };
    let from = match requirements.reference {
        ReferencePoint::FrontAxle => "front axle",
        ReferencePoint::RearAxle => "rear axle",
        ReferencePoint::Point(_) => "point that was named",
    };
    let ground = found.ground_line.ground;
    println!("The stand is placed along the {line}; its distance counts from the {from}.");
    println!(
        "The ground goes through the tyres' contact centres: {:.2}° off level, the tyres within {:.1} mm of it{}.\n",
        ground.tilt_deg,
        ground.residual_mm,
        if ground.uneven { ", which is uneven" } else { "" }
    );
    println!("As it was rolled before the car:\n");
    tell(&found);
    println!(
        "\nTo be done, in this order, as the car's driver sees it: forward is away from the car. Each move is along or about the stand as it then \
         stands:\n"
    );
    for (number, step) in found.moves.to_string().split(", then ").enumerate() {
        println!("{:>2}. {step}", number + 1);
    }
    println!("\nTurn it on its column. Turning first and shifting then, no move undoes another.");

    stand.rig_from_stand = moved(&stand.rig_from_stand, &found.moves, stand.pivot_mm)?;
    println!("\nDone on the invented stand, and measured again:\n");
    tell(&assess(&session, &stand, &[], &requirements)?);

    println!(
        "\nThe vehicle maker's procedure decides: which line, which distances, at what load, tyre pressures and light, on what floor."
    );
    println!(
        "A car driven with a sensor that was calibrated wrongly brakes or steers where it should not, and can hurt people."
    );
    println!(
        "Measure again when the stand or the car was moved. Keep the car from rolling while anybody stands before it."
    );
    Ok(())
}
