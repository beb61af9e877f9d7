//! How long each stage takes, beside one libm `atan2` of the same run: the yardstick. Quote ratios, not seconds.
//!
//! `cargo bench --bench measure`

use alignment_core::live::{LiveSettings, Tracker};
use alignment_core::session::{ByAxle, Centreline, JointOptions, Method, PoseNoise, RollingBody, Sighting};
use alignment_core::simulate::VirtualVehicle;
use alignment_core::{ByWheel, Pose, Session, Wheel, compensation, measure, uncertainty, vehicle};
use criterion::{Criterion, criterion_group, criterion_main};
use std::hint::black_box;
use std::time::Instant;

/// The best of many timings of each call, so many times over, in nanoseconds; taken in turns, so that all meet the same weather.
fn best_ns<const N: usize>(rounds: u32, repeats: u32, calls: [&dyn Fn(); N]) -> [f64; N] {
    let mut best = [f64::INFINITY; N];
    for _ in 0..rounds {
        for (best, call) in best.iter_mut().zip(calls) {
            let start = Instant::now();
            for _ in 0..repeats {
                call();
            }
            *best = best.min(start.elapsed().as_secs_f64() * 1e9 / f64::from(repeats));
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
    let [hundred_atan2, one, roll, without_sweep, all, with_noise, propagated] = best_ns(
        300,
        100,
        [
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
        ],
    );
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
    live_frame(t);
    joint_fit();
}

/// Frames of a car that is steered from side to side, noisy, smoothed; one target hidden in every second.
fn live_frame(one_atan2: f64) {
    let session = noisy_session(15);
    let mut tracker = Tracker::new(&session, LiveSettings { smoothing_s: 0.1, ..LiveSettings::default() }).unwrap();
    let sights: Vec<ByWheel<Option<Pose>>> = (session.sweep.iter())
        .map(|station| ByWheel::from_fn(|wheel| station.get(wheel).frames().first().copied()))
        .collect();
    let hidden = |wheel: Wheel| {
        let hide =
            |sight: &ByWheel<Option<Pose>>| ByWheel::from_fn(|other| sight.get(other).filter(|_| other != wheel));
        sights.iter().map(hide).collect::<Vec<_>>()
    };
    println!("\nOne live frame:");
    for (name, sights) in [
        ("all targets seen", sights.clone()),
        ("a rear one hidden", hidden(Wheel::Rl)),
        ("a front one hidden", hidden(Wheel::Fr)),
    ] {
        let (mut best, mut time_s) = (f64::INFINITY, tracker.readings().time_s.max(0.0));
        for _ in 0..300 {
            let start = Instant::now();
            for sight in sights.iter().cycle().take(180) {
                time_s += 0.01;
                black_box(tracker.frame(black_box(time_s), black_box(sight)).unwrap());
            }
            best = best.min(start.elapsed().as_secs_f64() * 1e9 / 180.0);
        }
        println!("{name:<50} {best:>9.0} ns = {:>6.1} t", best / one_atan2);
    }
}

/// A noisy session of so many stations without locks: a third rolling, one ahead, the others in the sweep.
fn noisy_session(stations: u32) -> Session {
    let spread = |count: u32, half: f64| {
        (0..count).map(|i| half * (2.0 * f64::from(i) / f64::from(count - 1) - 1.0)).collect::<Vec<_>>()
    };
    let rolling = stations / 3;
    let car = VirtualVehicle {
        pose_noise: Some(PoseNoise { rotation_deg: 0.005, translation_mm: 0.05 }),
        roll_deg: spread(rolling, 27.0),
        sweep_deg: spread(stations - rolling - 1, 20.0),
        lock_deg: None,
        ..VirtualVehicle::default()
    };
    car.session()
}

/// Every fifth pose off by 1° and 10 mm.
fn spoiled(session: &Session) -> Session {
    let mut spoiled = session.clone();
    let turn = Pose::from_rotation_vector_rad([0.0, 0.0, 1f64.to_radians()], [0.0; 3]).unwrap().rotation;
    let stations = spoiled.rolling.iter_mut().chain([&mut spoiled.ahead]).chain(&mut spoiled.sweep);
    for (station, index) in stations.zip((0..).step_by(4)) {
        for (wheel, index) in Wheel::ALL.into_iter().zip(index..) {
            if let (Sighting::Pose(pose), 0) = (station.get_mut(wheel), index % 5) {
                let before = pose.rotation;
                pose.rotation =
                    core::array::from_fn(|i| core::array::from_fn(|j| (0..3).map(|k| turn[i][k] * before[k][j]).sum()));
                pose.translation_mm[0] += 10.0;
            }
        }
    }
    spoiled
}

/// The joint fit beside the stages, and how it grows with the session.
fn joint_fit() {
    const STATIONS: [u32; 4] = [15, 60, 240, 960];
    let staged = STATIONS.map(noisy_session);
    let joint = STATIONS.map(|stations| Session { method: Method::Joint, ..noisy_session(stations) });
    let robust = Session { joint: JointOptions { robust: true, ..JointOptions::default() }, ..joint[0].clone() };
    let bad = spoiled(&robust);
    let run = |session: &Session| {
        black_box(measure(black_box(session)).unwrap());
    };
    let [stages, plain, clean, found, propagated] = best_ns(
        200,
        1,
        [&|| run(&staged[0]), &|| run(&joint[0]), &|| run(&robust), &|| run(&bad), &|| {
            black_box(uncertainty::propagate(black_box(&joint[0])).unwrap());
        }],
    );
    println!("\nA noisy session of 15 stations, beside the same stage by stage:");
    for (name, ns) in [
        ("the joint fit", plain),
        ("with the robust option", clean),
        ("the same, a fifth of the poses spoiled", found),
        ("the joint fit with all uncertainties", propagated),
    ] {
        println!("{name:<50} {:>6.1} staged = {:>4.1} joint", ns / stages, ns / plain);
    }
    let grown: [[f64; 2]; 4] = core::array::from_fn(|i| best_ns(20, 1, [&|| run(&staged[i]), &|| run(&joint[i])]));
    println!("\nThe joint fit as the session grows; each number a ratio to 15 stations, but for the last:");
    println!("{:>8} {:>8} {:>12} {:>14}", "stations", "time", "per station", "joint / staged");
    for (stations, [stages, joint]) in STATIONS.into_iter().zip(grown) {
        let longer = joint / grown[0][1];
        let share = f64::from(STATIONS[0]) / f64::from(stations);
        println!("{stations:>8} {longer:>8.1} {:>12.2} {:>14.1}", longer * share, joint / stages);
    }
}

criterion_group!(measure_benches, benchmarks);
criterion_main!(measure_benches);
