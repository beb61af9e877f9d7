//! How much each reading scatters: the reference car measured a thousand times with pose noise of 0.005° and 0.05 mm per axis, by the
//! customary procedure and by each of its variants.
//!
//! `cargo run --release --example scatter`; `-- 20000` for another number of sessions.

use alignment_core::session::{CompensationMethod, Method, PoseNoise, RollingBody, SweepBody};
use alignment_core::simulate::VirtualVehicle;
use alignment_core::{Alignment, Session, Wheel, measure};
use std::fmt::Write as _;
use std::process::ExitCode;

/// One row of the table: the name of the reading, its unit, and its values on both sides or all wheels, of which the worst counts.
type Row = (&'static str, &'static str, fn(&Alignment) -> Vec<Option<f64>>);

const ROWS: [Row; 13] = [
    ("camber", "°", |a| Wheel::ALL.map(|w| a.wheels.get(w).camber_deg).to_vec()),
    ("toe to the centreline", "°", |a| Wheel::ALL.map(|w| a.wheels.get(w).toe_to_centreline_deg).to_vec()),
    ("front toe to the thrust line", "°", |a| vec![a.wheels.fl.toe_deg, a.wheels.fr.toe_deg]),
    ("thrust angle", "°", |a| vec![a.chassis.thrust_angle_deg]),
    ("setback", "°", |a| vec![a.axles.front.setback_deg, a.axles.rear.setback_deg]),
    ("caster", "°", |a| vec![a.steering.left.caster_deg, a.steering.right.caster_deg]),
    ("SAI", "°", |a| vec![a.steering.left.sai_deg, a.steering.right.sai_deg]),
    ("caster trail", "mm", |a| vec![a.steering.left.caster_trail_mm, a.steering.right.caster_trail_mm]),
    ("scrub radius", "mm", |a| vec![a.steering.left.scrub_radius_mm, a.steering.right.scrub_radius_mm]),
    ("wheelbase", "mm", |a| vec![a.chassis.wheelbase_left_mm, a.chassis.wheelbase_right_mm]),
    ("track", "mm", |a| vec![a.axles.front.track_mm, a.axles.rear.track_mm]),
    ("rolling radius", "mm", |a| Wheel::ALL.map(|w| a.wheels.get(w).rolling_radius_mm).to_vec()),
    ("toe-out on turns", "°", |a| vec![a.turns.left_turn.toe_out_deg, a.turns.right_turn.toe_out_deg]),
];

/// One column: the name of the procedure, the car, and what else its session says.
type Procedure = (&'static str, VirtualVehicle, fn(&mut Session));

fn procedures() -> [Procedure; 7] {
    let pose_noise = Some(PoseNoise { rotation_deg: 0.005, translation_mm: 0.05 });
    let car = VirtualVehicle { pose_noise, ..VirtualVehicle::default() };
    [
        ("customary", car.clone(), |_| {}),
        ("joint fit", VirtualVehicle { lock_deg: None, ..car.clone() }, |session| session.method = Method::Joint),
        ("joint fit, locks as well", car.clone(), |session| session.method = Method::Joint),
        ("wheels free in the sweep", VirtualVehicle { sweep_wheels_locked: false, ..car.clone() }, |_| {}),
        ("body found again", VirtualVehicle { sweep_body: SweepBody::FoundAgain, ..car.clone() }, |_| {}),
        ("body may turn", car.clone(), |session| session.rolling_body = RollingBody::Turns),
        ("wheels spun", VirtualVehicle { compensation: CompensationMethod::Spun, ..car }, |_| {}),
    ]
}

/// Of a reading over all sessions: standard deviation and bias, each the worst of both sides or all wheels.
#[derive(Clone, Copy, Default)]
struct Scatter {
    deviation: f64,
    bias: f64,
}

fn scatter(car: &VirtualVehicle, told: fn(&mut Session), sessions: u64) -> Result<Vec<Option<Scatter>>, String> {
    let truth = car.truth();
    let mut errors: Vec<Vec<Vec<f64>>> =
        ROWS.iter().map(|(_, _, pick)| pick(&truth).iter().map(|_| Vec::new()).collect()).collect();
    for seed in 0..sessions {
        let mut session = VirtualVehicle { seed, ..car.clone() }.session();
        told(&mut session);
        let result = measure(&session).map_err(|error| format!("seed {seed}: {error}"))?;
        for ((_, _, pick), errors) in ROWS.iter().zip(&mut errors) {
            for ((found, truth), errors) in pick(&result.alignment).into_iter().zip(pick(&truth)).zip(errors) {
                errors.extend(found.zip(truth).map(|(found, truth)| found - truth));
            }
        }
    }
    let worst = |places: &Vec<Vec<f64>>| {
        places.iter().filter(|errors| errors.len() > 1).map(|errors| statistics(errors)).reduce(|a, b| Scatter {
            deviation: a.deviation.max(b.deviation),
            bias: if a.bias.abs() > b.bias.abs() { a.bias } else { b.bias },
        })
    };
    Ok(errors.iter().map(worst).collect())
}

#[expect(clippy::cast_precision_loss, reason = "the number of sessions is far below 2^52")]
fn statistics(errors: &[f64]) -> Scatter {
    let count = errors.len() as f64;
    let bias = errors.iter().sum::<f64>() / count;
    let squares: f64 = errors.iter().map(|error| (error - bias) * (error - bias)).sum();
    Scatter { deviation: (squares / (count - 1.0)).sqrt(), bias }
}

fn table(sessions: u64) -> Result<String, String> {
    let procedures = procedures();
    let mut columns = Vec::new();
    for (_, car, told) in &procedures {
        columns.push(scatter(car, *told, sessions)?);
    }
    let mut text = "| 1 sd |".to_owned();
    for (name, _, _) in &procedures {
        write!(text, " {name} |").expect("a string takes all");
    }
    text += " bias, customary |\n|---|";
    text += &"---|".repeat(procedures.len() + 1);
    text += "\n";
    for (row, (name, unit, _)) in ROWS.iter().enumerate() {
        let decimals = if *unit == "mm" { 3 } else { 4 };
        write!(text, "| {name}, {unit} |").expect("a string takes all");
        for column in &columns {
            match column[row] {
                Some(scatter) => write!(text, " {:.decimals$} |", scatter.deviation),
                None => write!(text, " - |"),
            }
            .expect("a string takes all");
        }
        let bias = columns[0][row].map_or(0.0, |scatter| scatter.bias);
        // A bias that rounds to zero has no sign.
        let bias = if format!("{bias:.decimals$}").trim_matches(['-', '0', '.']).is_empty() { 0.0 } else { bias };
        writeln!(text, " {bias:+.decimals$} |").expect("a string takes all");
    }
    Ok(text)
}

fn main() -> ExitCode {
    let sessions = std::env::args().nth(1).map_or(Ok(1000), |number| number.parse());
    let text = match sessions {
        Ok(sessions) if sessions > 1 => table(sessions),
        _ => Err("how many sessions? a whole number above 1".to_owned()),
    };
    match text {
        Ok(text) => {
            print!("{text}");
            ExitCode::SUCCESS
        }
        Err(sentence) => {
            eprintln!("{sentence}");
            ExitCode::from(2)
        }
    }
}
