//! How long each stage takes, beside one libm `atan2` of the same run: the yardstick. Quote ratios, not seconds.
//!
//! `cargo bench --bench measure`

use alignment_core::session::{ByAxle, Centreline, PoseNoise, RollingBody};
use alignment_core::simulate::VirtualVehicle;
use alignment_core::{ByWheel, Session, compensation, measure, uncertainty, vehicle};
use criterion::{Criterion, criterion_group, criterion_main};
use std::hint::black_box;
use std::time::Instant;

/// The best of many short timings of each call, in nanoseconds; taken in turns, so that all meet the same weather.
fn best_ns<const N: usize>(calls: [&dyn Fn(); N]) -> [f64; N] {
    const REPEATS: u32 = 100;
    let mut best = [f64::INFINITY; N];
    for _ in 0..300 {
        for (best, call) in best.iter_mut().zip(calls) {
            let start = Instant::now();
            for _ in 0..REPEATS {
                call();
            }
            *best = best.min(start.elapsed().as_secs_f64() * 1e9 / f64::from(REPEATS));
        }
    }
    best
}

/// The session without its locks, in stages: rolling and ahead alone, and with the sweep.
fn stages() -> (Session, Session) {
    let whole = Session { lock_left: None, lock_right: None, ..VirtualVehicle::default().session() };
    let unswept = Session { sweep: Vec::new(), sweep_wheels_locked: None, ..whole.clone() };
    (whole, unswept)
}

fn benchmarks(criterion: &mut Criterion) {
    let (whole, unswept) = stages();
    let pose_noise = Some(PoseNoise { rotation_deg: 0.005, translation_mm: 0.05 });
    let noisy = VirtualVehicle { pose_noise, lock_deg: None, ..VirtualVehicle::default() }.session();
    let up = whole.up.unwrap();
    let radii = whole.loaded_radius_mm.unwrap();
    let rolled =
        compensation::from_rolling(&whole.rolling, up, &whole.clamp_standoff_mm, &radii, RollingBody::Translates)
            .unwrap();
    let wheels = rolled.all_wheels().unwrap();
    let poses = ByWheel::from_fn(|wheel| whole.ahead.get(wheel).frames()[0]);

    let reading = || {
        vehicle::ahead_readings(
            black_box(&wheels),
            black_box(&poses),
            black_box(up),
            black_box(&radii),
            Centreline::AxleMidpoints,
        )
    };
    let rolling = || {
        compensation::from_rolling(
            black_box(&whole.rolling),
            black_box(up),
            black_box(&whole.clamp_standoff_mm),
            &ByAxle::default(),
            RollingBody::Translates,
        )
    };

    criterion.bench_function("one libm atan2 (yardstick)", |b| {
        b.iter(|| libm::atan2(black_box(0.3), black_box(0.8)));
    });
    criterion.bench_function("one reading from four poses", |b| b.iter(reading));
    criterion.bench_function("rolling compensation, 5 stations", |b| b.iter(rolling));
    criterion.bench_function("session without a sweep, 1 + 5 stations", |b| b.iter(|| measure(black_box(&unswept))));
    criterion.bench_function("whole session, 1 + 5 + 9 stations", |b| b.iter(|| measure(black_box(&whole))));

    let angles: Vec<(f64, f64)> = (0..100).map(|i| (f64::from(i) * 0.02 - 1.0, 1.0 - f64::from(i) * 0.003)).collect();
    let [hundred_atan2, one, roll, without_sweep, all, with_noise, propagated] = best_ns([
        &|| {
            for &(y, x) in &angles {
                black_box(libm::atan2(black_box(y), black_box(x)));
            }
        },
        &|| {
            black_box(&reading());
        },
        &|| {
            black_box(&rolling());
        },
        &|| {
            black_box(&measure(black_box(&unswept)));
        },
        &|| {
            black_box(&measure(black_box(&whole)));
        },
        &|| {
            black_box(&measure(black_box(&noisy)));
        },
        &|| {
            black_box(&uncertainty::propagate(black_box(&noisy)));
        },
    ]);
    let t = hundred_atan2 / 100.0;
    println!("\nIn this run, t = one libm atan2 = {t:.1} ns:");
    for (name, ns) in [
        ("one reading from four poses", one),
        ("rolling compensation, 5 stations", roll),
        ("9-station sweep (whole less the session without)", all - without_sweep),
        ("whole session, 1 + 5 + 9 stations", all),
        ("the same with noise, stated", with_noise),
        ("the same with all uncertainties and covariances", propagated),
    ] {
        println!("{name:<50} {ns:>9.0} ns = {:>6.1} t", ns / t);
    }
    println!("Propagation costs {:.1} measures of the same session.", propagated / with_noise);
}

criterion_group!(measure_benches, benchmarks);
criterion_main!(measure_benches);
