//! What to turn: an invented car after a kerb, its invented adjusters, and the fewest moves that bring it to invented limits. The car is virtual:
//! each move is then done on it, and it is measured again.
//!
//! `cargo run --release --example adjust`

use alignment_core::adjustment::{Adjuster, Adjustment, Effect, Line, Request, Rigid, Stance, fewest_moves};
use alignment_core::conformity::{Tolerance, Unit};
use alignment_core::session::{ByAxle, ByWheel};
use alignment_core::simulate::VirtualVehicle;
use alignment_core::{Alignment, Error, Wheel, measure};

/// A car whose left front wheel met a kerb, and whose rear axle was never set after new bushes.
fn bad_car() -> VirtualVehicle {
    let mut car = VirtualVehicle::default();
    (car.front.left.camber_deg, car.front.left.caster_deg) = (0.6, 2.7);
    (car.front.left.toe_to_centreline_deg, car.front.right.toe_to_centreline_deg) = (-0.55, 0.35);
    (car.rear.left.camber_deg, car.rear.right.camber_deg) = (-1.9, -1.2);
    (car.rear.left.toe_to_centreline_deg, car.rear.right.toe_to_centreline_deg) = (0.62, -0.05);
    car
}

fn adjuster(name: String, unit: &str, effect: Rigid, range: f64, step: f64) -> Adjuster {
    Adjuster { name, unit: unit.to_owned(), effect: Effect::Rigid(effect), least: -range, most: range, step }
}

/// Front: an eccentric for camber, a strut rod for caster, a tie rod for toe. Rear: eccentrics for camber and toe, with notches.
fn adjusters(readings: &Alignment) -> Vec<Adjuster> {
    let mut all = Vec::new();
    for wheel in Wheel::ALL {
        let [x, y, z] = readings.wheels.get(wheel).centre_mm.unwrap_or_default();
        let side = wheel.side().sign();
        let carried = ByWheel::from_fn(|other| other == wheel);
        let about = |direction: [f64; 3], point_mm: [f64; 3], turn_deg: f64, carries_axis: bool| Rigid {
            wheels: carried,
            line: Some(Line { point_mm, direction }),
            turn_deg,
            shift_mm: 0.0,
            carries_axis,
        };
        let (where_, front) = match wheel {
            Wheel::Fl => ("left front", true),
            Wheel::Fr => ("right front", true),
            Wheel::Rl => ("left rear", false),
            Wheel::Rr => ("right rear", false),
        };
        // The lower arm pushed outward, the wheel guided so that it hardly steers: about a level line, fore and aft. On most cars the tie rod holds
        // its end, the line is steep, and camber moves toe as much as itself.
        let mount = [x, y - side * 180.0, z + 320.0];
        if front {
            let camber = about([side, 0.0, 0.0], mount, -0.30, true);
            all.push(adjuster(format!("{where_} camber eccentric"), "mm outward", camber, 6.0, 0.5));
            let caster = about([0.0, 1.0, 0.0], mount, -0.25, true);
            all.push(adjuster(format!("{where_} strut rod"), "turns longer", caster, 8.0, 0.5));
            let toe = Rigid { wheels: carried, line: None, turn_deg: -side * 0.86, shift_mm: 0.0, carries_axis: false };
            all.push(adjuster(format!("{where_} tie rod"), "turns to toe-in", toe, 6.0, 0.0));
        } else {
            let camber = about([side, 0.0, 0.0], [x, y - side * 220.0, z - 120.0], -0.20, false);
            all.push(adjuster(format!("{where_} camber eccentric"), "notches inward", camber, 8.0, 1.0));
            let toe = about([0.0, 0.0, side], [x + 250.0, y - side * 120.0, z], -0.08, false);
            all.push(adjuster(format!("{where_} toe eccentric"), "notches to toe-in", toe, 12.0, 1.0));
        }
    }
    all
}

/// Invented limits, in minutes.
fn request() -> Request {
    let mut request = Request::default();
    let mut want = |path: &'static str, nominal: f64, within: f64| {
        let (nominal, minus, plus) = (Some(nominal), Some(within), Some(within));
        let unit = Some(Unit::Arcmin);
        let tolerance = Tolerance { nominal, minus, plus, unit, ..Tolerance::default() };
        request.specification.limits.insert(path, tolerance);
    };
    for path in ["wheels.fl.camber_deg", "wheels.fr.camber_deg"] {
        want(path, -30.0, 30.0);
    }
    for path in ["wheels.rl.camber_deg", "wheels.rr.camber_deg"] {
        want(path, -60.0, 25.0);
    }
    for path in ["steering.left.caster_deg", "steering.right.caster_deg"] {
        want(path, 255.0, 30.0);
    }
    want("wheels.rl.toe_deg", 9.0, 5.0);
    want("wheels.rr.toe_deg", 9.0, 5.0);
    want("axles.front.total_toe_deg", 12.0, 6.0);
    // With the steering wheel centred the car runs straight.
    want("steering.ahead_error_deg", 0.0, 2.0);
    want("axles.front.cross_camber_deg", 0.0, 30.0);
    want("steering.cross_caster_deg", 0.0, 30.0);
    want("chassis.thrust_angle_deg", 0.0, 5.0);
    request
}

fn table(request: &Request, before: &Alignment, after: &Alignment) -> Result<(), Error> {
    println!("{:<30}{:>9}{:>9}   limits", "", "before", "after");
    for (path, tolerance) in &request.specification.limits {
        let limits = tolerance.limits(path)?;
        let show =
            |tree: &Alignment| tree.get(path).map(|value| value.map_or("-".to_owned(), |value| format!("{value:.2}°")));
        let [min, max] =
            [limits.min, limits.max].map(|limit| limit.map_or("none".to_owned(), |limit| format!("{limit:.2}")));
        println!("{path:<30}{:>9}{:>9}   {min} to {max}°", show(before)?, show(after)?);
    }
    Ok(())
}

fn tell(found: &Adjustment, adjusters: &[Adjuster]) {
    for (number, step) in found.moves.iter().enumerate() {
        let adjuster = &adjusters[step.adjuster];
        println!("{:>2}. {:<30}{:+7.2} {}", number + 1, adjuster.name, step.amount, adjuster.unit);
        let toes = &step.foreseen.wheels;
        let [front, rear] = [[toes.fl, toes.fr], [toes.rl, toes.rr]]
            .map(|of| of.map(|wheel| wheel.toe_deg.map_or("-".to_owned(), |toe| format!("{toe:+.2}°"))).join(", "));
        println!("    toe is then {front} in front, {rear} at the rear");
    }
    for unmet in &found.unmet {
        println!("Cannot be met: {}, which comes to {:.2}, {:.2} short.", unmet.path, unmet.nearest, unmet.short_by);
        for &adjuster in &unmet.at_end {
            println!("    The {} is at the end of its range.", adjusters[adjuster].name);
        }
    }
}

fn main() -> Result<(), Error> {
    println!("Invented car, invented adjusters, invented limits: never set a real car by them.\n");
    let car = bad_car();
    let before = measure(&car.session())?.alignment;
    let (adjusters, request) = (adjusters(&before), request());
    let loaded_radius_mm = ByAxle { front: Some(car.front.rolling_radius_mm), rear: Some(car.rear.rolling_radius_mm) };
    let stance = Stance { loaded_radius_mm, ..Stance::default() };
    let found = fewest_moves(&before, &adjusters, &request, &stance)?;

    println!("To be done, in this order, + as the unit says:\n");
    tell(&found, &adjusters);

    let (turned, amounts): (Vec<Adjuster>, Vec<f64>) =
        found.moves.iter().map(|step| (adjusters[step.adjuster].clone(), step.amount)).unzip();
    let after = measure(&car.adjusted(&turned, &amounts)?.session())?.alignment;
    println!("\nDone on the virtual car, and measured again:\n");
    table(&request, &before, &after)?;

    println!(
        "\nMoving a car on a lift can crush and kill. Support it before you go under it or loosen anything, keep people clear,"
    );
    println!(
        "and settle the suspension before you read again. Tighten to the vehicle maker's torque, at the load that he states, and"
    );
    println!(
        "measure after the last nut is tight. The vehicle maker's procedure, local codes and licensed practice decide."
    );
    Ok(())
}
