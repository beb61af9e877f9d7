//! How much clamping anew adds: invented cars, measured by invented operators again and again, with pose noise of 0.005° and 0.05 mm per
//! axis. Whoever clamps seats the targets anew: they tilt, shift and turn as they happen to, and stand off the wheel by a millimetre more
//! or less than the session says, each operator by a habit of his own.
//!
//! `cargo run --release --example repeats`

use alignment_core::repeatability::{POOL_ABOVE_P, crossed, one_way};
use alignment_core::session::PoseNoise;
use alignment_core::simulate::{Clamp, VirtualVehicle};
use alignment_core::{Alignment, Error, Session, measure};
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64;

/// The name of a reading, its unit, the width of its tolerance, and where it stands.
type Row = (&'static str, &'static str, f64, fn(&Alignment) -> Option<f64>);

const ROWS: [Row; 6] = [
    ("camber, front left", "°", 1.0, |a| a.wheels.fl.camber_deg),
    ("toe to the centreline, front left", "°", 0.2, |a| a.wheels.fl.toe_to_centreline_deg),
    ("total toe, front", "°", 0.2, |a| a.axles.front.total_toe_deg),
    ("thrust angle", "°", 0.3, |a| a.chassis.thrust_angle_deg),
    ("caster, left", "°", 1.5, |a| a.steering.left.caster_deg),
    ("track, front", "mm", 10.0, |a| a.axles.front.track_mm),
];

const CLAMPINGS: u64 = 12;
const CARS: u64 = 6;
const OPERATORS: u64 = 4;
const REPEATS: u64 = 3;

/// The random numbers of one thing, whatever else is drawn.
fn rng_of(thing: [u64; 3]) -> Pcg64 {
    Pcg64::seed_from_u64(thing.iter().fold(0, |seed, number| 1000 * seed + number))
}

fn car(car: u64) -> VirtualVehicle {
    let mut rng = rng_of([1, car, 0]);
    let mut sound = VirtualVehicle::default();
    sound.front.track_mm += rng.random_range(-3.0..3.0);
    for wheel in [&mut sound.front.left, &mut sound.front.right, &mut sound.rear.left, &mut sound.rear.right] {
        wheel.camber_deg += rng.random_range(-0.3..0.3);
        wheel.toe_to_centreline_deg += rng.random_range(-0.08..0.08);
        wheel.caster_deg += rng.random_range(-0.4..0.4);
    }
    sound
}

/// The session of a car whose targets somebody has just clamped. What it says of the standoffs is what they should be.
fn session(car: &VirtualVehicle, operator: u64, clamping: u64, repeat: u64) -> Session {
    let told_mm = car.session().clamp_standoff_mm;
    let pose_noise = Some(PoseNoise { rotation_deg: 0.005, translation_mm: 0.05 });
    let seed = rng_of([2 + operator, clamping, repeat]).random();
    let mut car = VirtualVehicle { pose_noise, seed, ..car.clone() };
    let (mut habit, mut chance) = (rng_of([2 + operator, 0, 999]), rng_of([2 + operator, clamping, 999]));
    for wheel in [&mut car.front.left, &mut car.front.right, &mut car.rear.left, &mut car.rear.right] {
        wheel.clamp = Clamp {
            standoff_mm: wheel.clamp.standoff_mm + habit.random_range(-1.0..1.0) + chance.random_range(-1.0..1.0),
            eccentricity_mm: [chance.random_range(-8.0..8.0), chance.random_range(-8.0..8.0)],
            tilt_deg: chance.random_range(0.0..2.0),
            tilt_bearing_deg: chance.random_range(-180.0..180.0),
            clock_deg: chance.random_range(-20.0..20.0),
        };
    }
    Session { clamp_standoff_mm: told_mm, ..car.session() }
}

/// The values of one reading out of nested results.
fn values(results: &[Vec<Alignment>], pick: fn(&Alignment) -> Option<f64>) -> Vec<Vec<f64>> {
    results.iter().map(|of_one| of_one.iter().filter_map(pick).collect()).collect()
}

fn main() -> Result<(), Error> {
    let measured = |car: &VirtualVehicle, operator, clamping, repeat| {
        measure(&session(car, operator, clamping, repeat)).map(|result| result.alignment)
    };

    println!(
        "Invented data. One car, one operator, {CLAMPINGS} clampings with {REPEATS} repeats each; one standard deviation:\n"
    );
    println!("| reading | clamps untouched | clamping adds | both |\n|---|---|---|---|");
    let sound = car(0);
    let of_clamping = |clamping| (0..REPEATS).map(|repeat| measured(&sound, 0, clamping, repeat)).collect();
    let results = (0..CLAMPINGS).map(of_clamping).collect::<Result<Vec<Vec<_>>, _>>()?;
    for (name, unit, _, pick) in ROWS {
        let found = one_way(&values(&results, pick))?;
        let [untouched, adds, both] = [found.repeatability_sd, found.between_sd, found.reproducibility_sd];
        println!("| {name}, {unit} | {untouched:.4} | {adds:.4} | {both:.4} |");
    }

    println!("\n{CARS} cars, {OPERATORS} operators, {REPEATS} repeats, clamped anew for each:\n");
    println!(
        "| reading | repeats | operators add | gauge | its degrees of freedom | of a tolerance | cars | categories |\n|---|---|---|---|---|---|---|---|"
    );
    let mut results = Vec::new();
    for car in (0..CARS).map(car) {
        let of_operator = |operator| (0..REPEATS).map(|clamping| measured(&car, operator, clamping, 0)).collect();
        results.push((0..OPERATORS).map(of_operator).collect::<Result<Vec<Vec<_>>, _>>()?);
    }
    for (name, unit, tolerance, pick) in ROWS {
        let study: Vec<_> = results.iter().map(|of_car| values(of_car, pick)).collect();
        let found = crossed(&study, POOL_ABOVE_P, Some(tolerance))?;
        let [repeats, operators, gauge, cars] = [found.repeatability, found.between_operators, found.gauge, found.car]
            .map(|share| share.standard_deviation);
        let percent = found.gauge.percent_of_tolerance.unwrap_or_default();
        let freedom = found.gauge_degrees_of_freedom.unwrap_or_default();
        let categories = found.distinct_categories.unwrap_or_default().floor();
        println!(
            "| {name}, {unit} | {repeats:.4} | {operators:.4} | {gauge:.4} | {freedom:.0} | {percent:.0} % of {tolerance} | {cars:.4} | {categories} |"
        );
    }
    Ok(())
}
