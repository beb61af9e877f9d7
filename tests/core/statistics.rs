//! What noise does, over hundreds of seeded sessions: scatter, slips that are named, and alarms that are false. Unless a trial says
//! otherwise: pose noise 0.005° and 0.05 mm per axis, sweep ± 20° in 9 stations, roll ± 27° in 5. The bounds are this project's own.

use alignment_core::error::{Stage, WarningCode};
use alignment_core::session::{PoseNoise, Sighting, SweepBody};
use alignment_core::simulate::{BodyMotion, ClampSlip, VirtualVehicle};
use alignment_core::{Measurement, Session, Wheel, measure};

const NOISE: PoseNoise = PoseNoise { rotation_deg: 0.005, translation_mm: 0.05 };
const SESSIONS: u32 = 500;

fn noisy(seed: u64) -> VirtualVehicle {
    VirtualVehicle { pose_noise: Some(NOISE), seed, ..VirtualVehicle::default() }
}

/// A session, and what should be said of it.
type Trial = (Session, Box<dyn Fn(&Measurement) -> bool>);

/// How many of the sessions, in percent, are so; with the noise stated, and without.
fn percent(sessions: impl Fn(u64) -> Trial) -> [f64; 2] {
    percent_of(SESSIONS, sessions)
}

fn percent_of(count: u32, sessions: impl Fn(u64) -> Trial) -> [f64; 2] {
    let mut counts = [0_u32; 2];
    for seed in 0..count {
        let (mut session, so) = sessions(seed.into());
        counts[0] += u32::from(so(&measure(&session).unwrap()));
        session.pose_noise = None;
        counts[1] += u32::from(so(&measure(&session).unwrap()));
    }
    counts.map(|so| 100.0 * f64::from(so) / f64::from(count))
}

/// So many sweep stations over ± 20°.
fn sweep_deg(stations: u32) -> Vec<f64> {
    (0..stations).map(|i| 40.0 * f64::from(i) / f64::from(stations - 1) - 20.0).collect()
}

const SLIPPED: [WarningCode; 2] = [WarningCode::TargetSlippedOnce, WarningCode::TargetSlippedFrom];

/// Whether a target is said to have slipped, or a locked wheel to have rolled.
fn blamed(result: &Measurement) -> bool {
    let codes = [&SLIPPED[..], &[WarningCode::WheelRolled]].concat();
    result.warnings.iter().any(|warning| codes.contains(&warning.code))
}

/// Whether there is any warning.
fn alarm(result: &Measurement) -> bool {
    // Few stations on the way to 20° are a fact, no alarm.
    result.warnings.iter().any(|warning| warning.code != WarningCode::TurnSparse)
}

fn slip(stage: Stage, seed: u64, stations: u64, angle_deg: f64) -> ClampSlip {
    // Every place in turn: each station alone, then each but the first as the start of a step.
    let place = seed % (2 * stations - 1);
    let onward = place >= stations;
    let station = usize::try_from(if onward { place - stations + 1 } else { place }).unwrap();
    let wheel =
        if stage == Stage::Sweep { [Wheel::Fl, Wheel::Fr][usize::from(seed.is_multiple_of(2))] } else { Wheel::Rl };
    // From the last station on is the last one alone.
    ClampSlip { stage, station, onward: onward && station + 1 < usize::try_from(stations).unwrap(), wheel, angle_deg }
}

fn named(result: &Measurement, slip: ClampSlip) -> bool {
    let code = if slip.onward { WarningCode::TargetSlippedFrom } else { WarningCode::TargetSlippedOnce };
    // In the rolling nothing tells the first station alone from all that follow it.
    let (code, station) = if slip.stage == Stage::Rolling && (slip.onward, slip.station) == (true, 1) {
        (WarningCode::TargetSlippedOnce, 0)
    } else {
        (code, slip.station)
    };
    result.warnings.iter().any(|warning| {
        (warning.code, warning.stage, warning.station, warning.wheel)
            == (code, Some(slip.stage), Some(station), Some(slip.wheel))
    })
}

#[test]
fn a_slip_of_a_tenth_of_a_degree_in_the_sweep_is_named_with_its_place() {
    let found = percent(|seed| {
        let slip = slip(Stage::Sweep, seed, 9, 0.1);
        let session = VirtualVehicle { slips: vec![slip], ..noisy(seed) }.session();
        (session, Box::new(move |result| named(result, slip)))
    });
    println!("named: {found:?} %");
    assert!(found.iter().all(|&percent| percent >= 95.0), "{found:?}");
}

#[test]
fn a_slip_in_nine_rolling_stations_is_named_with_its_place() {
    for rolling_yaw_deg_per_m in [0.0, 0.5] {
        let found = percent(|seed| {
            let slip = slip(Stage::Rolling, seed, 9, 0.2);
            let roll_deg = (-4..=4).map(|i| 6.75 * f64::from(i)).collect();
            let car = VirtualVehicle { slips: vec![slip], roll_deg, rolling_yaw_deg_per_m, ..noisy(seed) };
            (car.session(), Box::new(move |result| named(result, slip)))
        });
        println!("{rolling_yaw_deg_per_m} deg per m: named: {found:?} %");
        assert!(found.iter().all(|&percent| percent >= 95.0), "{found:?}");
    }
}

#[test]
fn no_slip_is_seldom_named() {
    let false_alarms = percent(|seed| (noisy(seed).session(), Box::new(blamed)));
    println!("false alarms: {false_alarms:?} %");
    assert!(false_alarms.iter().all(|&percent| percent < 2.0), "{false_alarms:?}");
}

/// Fails, after all are printed, when a percentage does not keep below the bound.
fn assert_below(bound: f64, trials: impl Iterator<Item = (String, [f64; 2])>) {
    let missed: Vec<String> = trials
        .inspect(|(name, percent)| println!("{name}: {percent:.2?} %"))
        .filter(|(_, percent)| percent.iter().any(|&percent| percent >= bound))
        .map(|(name, percent)| format!("{name}: {percent:.2?} %"))
        .collect();
    assert!(missed.is_empty(), "not below {bound} %:\n{}", missed.join("\n"));
}

/// How the car is rolled and its body watched while the wheels are steered.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Watch {
    Still,
    /// The body turns by 0.5° per metre while the car is rolled.
    RollingTurns,
    /// The body moves in the sweep and is found again from both rear targets.
    FoundAgain,
    /// The same, with one rear target hidden at every other station.
    FoundAgainByOne,
}

/// False alarms of sound cars, by the count of sweep stations.
fn assert_sound_cars_are_left_alone(rotation_deg: f64, translation_mm: f64) {
    let watches = [Watch::Still, Watch::RollingTurns, Watch::FoundAgain, Watch::FoundAgainByOne];
    let trials = watches.into_iter().flat_map(|watch| [4, 5, 9, 21, 81].map(|stations| (watch, stations)));
    let measured = trials.map(|(watch, stations)| {
        let session = |seed| {
            let mut car = VirtualVehicle { sweep_deg: sweep_deg(stations), ..noisy(seed) };
            car.pose_noise = Some(PoseNoise { rotation_deg, translation_mm });
            match watch {
                Watch::Still => {}
                Watch::RollingTurns => car.rolling_yaw_deg_per_m = 0.5,
                Watch::FoundAgain | Watch::FoundAgainByOne => {
                    car.sweep_body = SweepBody::FoundAgain;
                    car.body_motion = BODY_MOTION;
                }
            }
            let mut session = car.session();
            if watch == Watch::FoundAgainByOne {
                session.sweep.iter_mut().skip(1).step_by(2).for_each(|station| station.rl = Sighting::default());
            }
            session
        };
        // The residuals of a noisy rig pass the bounds of an unstated noise; nobody is to be blamed for that. Nor can half the stations
        // be told from the other half, whose body is found from one target, when it is not.
        let [any, _] = percent_of(300, |seed| (session(seed), Box::new(alarm)));
        let [_, blamed] = percent_of(300, |seed| (session(seed), Box::new(blamed)));
        let found = [any, if watch == Watch::FoundAgainByOne { 0.0 } else { blamed }];
        (format!("{rotation_deg}°, {translation_mm} mm, {watch:?}, {stations} stations"), found)
    });
    assert_below(1.0, measured);
}

#[test]
fn sound_cars_are_left_alone() {
    assert_sound_cars_are_left_alone(0.005, 0.05);
}

#[test]
fn sound_cars_are_left_alone_by_cameras_poor_in_rotation() {
    assert_sound_cars_are_left_alone(0.02, 0.02);
}

#[test]
fn sound_cars_are_left_alone_by_cameras_poor_in_position() {
    assert_sound_cars_are_left_alone(0.002, 0.2);
}

/// An axis that moves as the wheels are steered is no fault of a target or a brake. Beyond 0.3° of caster it passes for a wheel that
/// rolled, and that warning names both; it is never a slip.
#[test]
fn an_axis_that_moves_is_no_slip() {
    let drifts = [[0.1, 0.0], [0.2, 0.0], [0.5, 0.0], [0.0, 0.1], [0.3, 0.3]];
    let wrong = |result: &Measurement, drift: [f64; 2]| {
        let rolled = |code| code == WarningCode::WheelRolled && drift[0] <= 0.3;
        result.warnings.iter().any(|warning| SLIPPED.contains(&warning.code) || rolled(warning.code))
    };
    let trials = drifts.into_iter().flat_map(|drift| [5, 9, 21, 81].map(|stations| (drift, stations)));
    let measured = trials.map(|(axis_drift_deg, stations)| {
        let found = percent_of(300, |seed| {
            let car = VirtualVehicle { axis_drift_deg, sweep_deg: sweep_deg(stations), ..noisy(seed) };
            (car.session(), Box::new(move |result| wrong(result, axis_drift_deg)))
        });
        (format!("drift {axis_drift_deg:?}°, {stations} stations"), found)
    });
    assert_below(2.0, measured);
}

/// A slip of 0.3° on a car whose caster grows by 0.2° at 20°: its wheel is named, and no other.
#[test]
fn a_slip_is_named_though_the_axis_moves() {
    let found = percent(|seed| {
        let slip = slip(Stage::Sweep, seed, 9, 0.3);
        let car = VirtualVehicle { slips: vec![slip], axis_drift_deg: [0.2, 0.0], ..noisy(seed) };
        let named = move |result: &Measurement| {
            let mut slipped = result.warnings.iter().filter(|warning| SLIPPED.contains(&warning.code)).peekable();
            slipped.peek().is_some() && slipped.all(|warning| warning.wheel == Some(slip.wheel))
        };
        (car.session(), Box::new(named))
    });
    println!("named: {found:?} %");
    assert!(found.iter().all(|&percent| percent >= 80.0), "{found:?}");
}

/// A wheel that rolled by 1.5° from one end of the sweep to the other, in step with it.
#[test]
fn a_wheel_that_rolled_a_little_is_named() {
    let found = percent(|seed| {
        let mut slips: Vec<ClampSlip> = (0..9_u8)
            .map(|i| ClampSlip {
                stage: Stage::Sweep,
                station: usize::from(i),
                onward: false,
                wheel: Wheel::Fr,
                angle_deg: 1.5 * f64::from(i) / 8.0,
            })
            .collect();
        slips.retain(|slip| slip.angle_deg > 0.0);
        let session = VirtualVehicle { slips, ..noisy(seed) }.session();
        let named = |result: &Measurement| {
            let rolled =
                |w: &alignment_core::error::Warning| w.code == WarningCode::WheelRolled && w.wheel == Some(Wheel::Fr);
            result.warnings.iter().any(rolled)
        };
        (session, Box::new(named))
    });
    println!("named: {found:?} %");
    assert!(found.iter().all(|&percent| percent >= 95.0), "{found:?}");
}

/// A body that rises by 8 mm, leans by 0.3° and slides by 5 mm as the wheels are steered.
const BODY_MOTION: BodyMotion =
    BodyMotion { rise_mm: 8.0, slide_mm: [5.0, 3.0], roll_deg: 0.3, pitch_deg: 0.17, yaw_deg: 0.0 };

#[test]
fn a_moving_body_is_found_again_and_otherwise_warned_of() {
    for seed in 0..50 {
        let car = VirtualVehicle { body_motion: BODY_MOTION, ..VirtualVehicle::random(seed) };
        let found = VirtualVehicle { sweep_body: SweepBody::FoundAgain, ..car.clone() };
        let truth = car.truth().steering;
        let read = measure(&found.session()).unwrap();
        for (read, truth) in [(read.alignment.steering.left, truth.left), (read.alignment.steering.right, truth.right)]
        {
            assert!((read.caster_deg.unwrap() - truth.caster_deg.unwrap()).abs() < 1e-9);
            assert!((read.sai_deg.unwrap() - truth.sai_deg.unwrap()).abs() < 1e-9);
        }
        let moved = |w: &alignment_core::error::Warning| w.code != WarningCode::TurnNotReached;
        assert!(!read.warnings.iter().any(moved), "{:?}", read.warnings);
        let still = measure(&car.session()).unwrap();
        assert!(still.warnings.iter().any(|warning| warning.code == WarningCode::BodyMoved), "{:?}", still.warnings);
    }
}

/// The limits are for 1000 sessions, which leave the deviation open by 2 %.
#[test]
fn the_scatter_is_what_it_was_and_the_bias_a_tenth_of_it() {
    let truth = VirtualVehicle::default().truth();
    let readings = |a: &alignment_core::Alignment| {
        let steering = [a.steering.left, a.steering.right];
        vec![
            (Wheel::ALL.map(|w| a.wheels.get(w).camber_deg).to_vec(), 0.0090),
            (Wheel::ALL.map(|w| a.wheels.get(w).toe_to_centreline_deg).to_vec(), 0.0090),
            (vec![a.wheels.fl.toe_deg, a.wheels.fr.toe_deg], 0.0110),
            (vec![a.chassis.thrust_angle_deg], 0.0065),
            (steering.map(|s| s.caster_deg).to_vec(), 0.0088),
            (steering.map(|s| s.sai_deg).to_vec(), 0.0086),
            (steering.map(|s| s.caster_trail_mm).to_vec(), 0.15),
            (steering.map(|s| s.scrub_radius_mm).to_vec(), 0.20),
            (vec![a.chassis.wheelbase_left_mm, a.chassis.wheelbase_right_mm], 0.15),
        ]
    };
    let truths = readings(&truth);
    let mut sums: Vec<Vec<(f64, f64)>> = truths.iter().map(|(values, _)| vec![(0.0, 0.0); values.len()]).collect();
    for seed in 0..1000 {
        let found = readings(&measure(&noisy(seed).session()).unwrap().alignment);
        for ((sums, (found, _)), (truth, _)) in sums.iter_mut().zip(&found).zip(&truths) {
            for ((sum, found), truth) in sums.iter_mut().zip(found).zip(truth) {
                let error = found.unwrap() - truth.unwrap();
                *sum = (sum.0 + error, sum.1 + error * error);
            }
        }
    }
    for (sums, (_, limit)) in sums.iter().zip(&truths) {
        for (sum, squares) in sums {
            let (bias, deviation) = (sum / 1000.0, (squares / 1000.0 - (sum / 1000.0).powi(2)).sqrt());
            assert!(deviation <= *limit && bias.abs() < 0.1 * deviation, "{deviation} against {limit}, bias {bias}");
        }
    }
}
