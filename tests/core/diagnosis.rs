//! Every hint is provoked by the fault that it names, through the whole chain from poses, and sound cars provoke none. What is normal is common
//! practice, no source.

use crate::invariants::mirrored;
use crate::paths::{EXACT, assert_same};
use alignment_core::conformity::{Specification, Tolerance};
use alignment_core::diagnosis::{Cause, Hint, NormalTolerances, diagnose};
use alignment_core::error::{Stage, WarningCode};
use alignment_core::paths::{COUNT, READINGS, position};
use alignment_core::session::PoseNoise;
use alignment_core::simulate::{
    AxleShift, BentKnuckle, BentSteeringArm, ClampSlip, DeadCamera, Faults, PivotEnd, ShiftedPivot, VirtualVehicle,
};
use alignment_core::{Alignment, ErrorCode, Side, Wheel, measure, uncertainty};
use proptest::prelude::*;
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64;

const NOISE: PoseNoise = PoseNoise { rotation_deg: 0.005, translation_mm: 0.05 };

/// A car as makers build them, no two alike, and what its maker aims at. The knuckle is one part, made to 10'; the pivots stand to 12', caster to 15',
/// rear camber to 15', rear toe to 6', the axles to 4 mm. Cambers follow from knuckle and pivots, as they do on a car. No side differs from the other by
/// more than the ± 30' that specifications commonly allow.
fn sound(seed: u64) -> (VirtualVehicle, Specification) {
    let mut rng = Pcg64::seed_from_u64(seed);
    let mut about = |middle: f64, off: f64| rng.random_range(middle - off..=middle + off);
    let mut car = VirtualVehicle { pose_noise: Some(NOISE), seed, ..VirtualVehicle::default() };
    // So far that either wheel stands at 20° when it is the inner one, with an arm that is bent as well.
    car.sweep_deg = (-4..=4).map(|step| 6.0 * f64::from(step)).collect();
    let (camber, caster, sai) = (about(-0.5, 1.0), about(5.0, 4.0), about(12.0, 3.0));
    let (rear_camber, rear_toe, front_toe) = (about(-1.0, 0.8), about(0.1, 0.15), about(0.05, 0.1));
    car.wheelbase_mm = about(2650.0, 300.0);
    car.ackermann_share = about(0.5, 0.3);
    let arms = [Wheel::Fl, Wheel::Fr];
    car.faults.bent_steering_arms =
        arms.map(|wheel| BentSteeringArm { wheel, more_turn_share: about(0.0, 0.005) }).to_vec();
    for axle in [&mut car.front, &mut car.rear] {
        axle.track_mm = about(1550.0, 80.0);
        axle.setback_mm = about(0.0, 4.0);
    }
    loop {
        for wheel in [&mut car.front.left, &mut car.front.right] {
            let (pivots, knuckle) = (about(0.0, 0.2), about(0.0, 0.16));
            wheel.sai_deg = sai + pivots;
            wheel.camber_deg = camber - pivots + knuckle;
            wheel.caster_deg = about(caster, 0.25);
            wheel.toe_to_centreline_deg = about(front_toe, 0.1);
        }
        if (car.front.left.camber_deg - car.front.right.camber_deg).abs() <= 0.5 {
            break;
        }
    }
    for wheel in [&mut car.rear.left, &mut car.rear.right] {
        wheel.camber_deg = about(rear_camber, 0.25);
        wheel.toe_to_centreline_deg = about(rear_toe, 0.1);
    }
    let mut specification = Specification::default();
    let mut aim = |paths: [&'static str; 2], nominal: f64, off: f64| {
        for path in paths {
            let tolerance =
                Tolerance { nominal: Some(nominal), minus: Some(off), plus: Some(off), ..Tolerance::default() };
            specification.limits.insert(path, tolerance);
        }
    };
    aim(["wheels.fl.camber_deg", "wheels.fr.camber_deg"], camber, 0.5);
    aim(["wheels.rl.camber_deg", "wheels.rr.camber_deg"], rear_camber, 0.5);
    aim(["wheels.rl.toe_deg", "wheels.rr.toe_deg"], rear_toe, 0.2);
    aim(["steering.left.caster_deg", "steering.right.caster_deg"], caster, 0.5);
    aim(["steering.left.sai_deg", "steering.right.sai_deg"], sai, 0.5);
    aim(["chassis.wheelbase_left_mm", "chassis.wheelbase_right_mm"], car.wheelbase_mm, 10.0);
    (car, specification)
}

fn hints(readings: &Alignment, covariance: Option<&[f64]>, specification: Option<&Specification>) -> Vec<Hint> {
    diagnose(readings, covariance, specification, &NormalTolerances::default()).unwrap()
}

type Found = Vec<(Cause, Option<Wheel>)>;

fn found(hints: &[Hint]) -> Found {
    hints.iter().map(|hint| (hint.cause, hint.wheel)).collect()
}

/// Without a specification and with one, each without noise and with noise whose covariance is known.
fn by_every_way(car: &VirtualVehicle, specification: &Specification) -> [[Vec<Hint>; 2]; 2] {
    let quiet = VirtualVehicle { pose_noise: None, ..car.clone() };
    let exact = measure(&quiet.session()).unwrap().alignment;
    let known = uncertainty::propagate(&car.session()).unwrap();
    let noisy = known.measurement.alignment;
    [None, Some(specification)].map(|of| [hints(&exact, None, of), hints(&noisy, Some(known.covariance_matrix()), of)])
}

#[test]
fn a_thousand_sound_cars_give_no_hint() {
    for seed in 0..1000 {
        let (car, specification) = sound(seed);
        for hints in by_every_way(&car, &specification).iter().flatten() {
            assert_eq!(hints, &[], "seed {seed}");
        }
    }
}

/// A fault at a side, and what it is to provoke: without a specification, and with one that says which side is off.
struct Provoked {
    fault: fn(&mut Faults, Wheel, f64),
    rear: bool,
    alone: Option<(Cause, Named)>,
    by_specification: (Cause, Named),
}

/// The wheel that a hint names.
#[derive(Clone, Copy, PartialEq)]
enum Named {
    No,
    Faulty,
    /// Of a turned subframe the wheel that stands back, which depends on the direction.
    Rearward,
}

fn pivot(wheel: Wheel, end: PivotEnd, forward_mm: f64, left_mm: f64) -> ShiftedPivot {
    ShiftedPivot { wheel, end, forward_mm, left_mm }
}

const PROVOKED: [Provoked; 12] = [
    Provoked {
        fault: |faults, wheel, sign| {
            faults.bent_knuckles.push(BentKnuckle { wheel, camber_deg: 1.5 * sign, toe_deg: 0.0 });
        },
        rear: false,
        alone: Some((Cause::BentKnuckle, Named::No)),
        by_specification: (Cause::BentKnuckle, Named::Faulty),
    },
    Provoked {
        fault: |faults, wheel, sign| faults.shifted_pivots.push(pivot(wheel, PivotEnd::Upper, 0.0, 18.0 * sign)),
        rear: false,
        alone: Some((Cause::ShiftedPivot, Named::No)),
        by_specification: (Cause::ShiftedPivot, Named::Faulty),
    },
    Provoked {
        fault: |faults, wheel, sign| faults.shifted_pivots.push(pivot(wheel, PivotEnd::Lower, 0.0, 15.0 * sign)),
        rear: false,
        alone: Some((Cause::ShiftedPivot, Named::No)),
        by_specification: (Cause::ShiftedPivot, Named::Faulty),
    },
    Provoked {
        fault: |faults, _, sign| faults.shifted_subframe.left_mm = 15.0 * sign,
        rear: false,
        alone: Some((Cause::ShiftedPivot, Named::No)),
        by_specification: (Cause::ShiftedSubframe, Named::No),
    },
    Provoked {
        fault: |faults, _, sign| faults.shifted_subframe.turn_deg = 0.9 * sign,
        rear: false,
        alone: Some((Cause::PushedBackWheel, Named::Rearward)),
        by_specification: (Cause::ShiftedSubframe, Named::No),
    },
    Provoked {
        fault: |faults, _, sign| faults.shifted_subframe.forward_mm = 25.0 * sign,
        rear: false,
        alone: None,
        by_specification: (Cause::ShiftedSubframe, Named::No),
    },
    Provoked {
        fault: |faults, wheel, _| faults.shifted_pivots.push(pivot(wheel, PivotEnd::Lower, -22.0, 0.0)),
        rear: false,
        alone: Some((Cause::PushedBackWheel, Named::Faulty)),
        by_specification: (Cause::PushedBackWheel, Named::Faulty),
    },
    Provoked {
        fault: |faults, wheel, sign| {
            faults.bent_steering_arms.push(BentSteeringArm { wheel, more_turn_share: 0.06 * sign });
        },
        rear: false,
        alone: Some((Cause::BentSteeringArm, Named::No)),
        by_specification: (Cause::BentSteeringArm, Named::No),
    },
    Provoked {
        fault: |faults, wheel, sign| {
            faults.bent_knuckles.push(BentKnuckle { wheel, camber_deg: 1.3 * sign, toe_deg: 0.0 });
        },
        rear: true,
        alone: Some((Cause::BentRearStubAxle, Named::No)),
        by_specification: (Cause::BentRearStubAxle, Named::Faulty),
    },
    Provoked {
        fault: |faults, wheel, sign| {
            faults.bent_knuckles.push(BentKnuckle { wheel, camber_deg: 0.0, toe_deg: 1.1 * sign });
        },
        rear: true,
        alone: Some((Cause::BentRearStubAxle, Named::No)),
        by_specification: (Cause::BentRearStubAxle, Named::Faulty),
    },
    Provoked {
        fault: |faults, _, sign| faults.shifted_rear_axle.left_mm = 25.0 * sign,
        rear: true,
        alone: Some((Cause::ShiftedRearAxle, Named::No)),
        by_specification: (Cause::ShiftedRearAxle, Named::No),
    },
    Provoked {
        fault: |faults, _, sign| faults.shifted_rear_axle.turn_deg = 0.6 * sign,
        rear: true,
        alone: Some((Cause::ShiftedRearAxle, Named::No)),
        by_specification: (Cause::ShiftedRearAxle, Named::No),
    },
];

/// On cars with all the tolerances of sound ones, at either side and in either direction: the hint that names it, and no other.
#[test]
fn a_fault_provokes_the_hint_that_names_it_and_no_other() {
    for (number, provoked) in PROVOKED.iter().enumerate() {
        for seed in 0..60 {
            let side = if seed % 2 == 0 { Side::Left } else { Side::Right };
            let sign = if seed % 4 < 2 { 1.0 } else { -1.0 };
            let wheel = if provoked.rear { side.front_wheel().other_end() } else { side.front_wheel() };
            let (mut car, specification) = sound(seed);
            (provoked.fault)(&mut car.faults, wheel, sign);
            let expected = |(cause, named): (Cause, Named)| {
                let rearward = if sign > 0.0 { Wheel::Fl } else { Wheel::Fr };
                let wheel = match named {
                    Named::No => None,
                    Named::Faulty => Some(wheel),
                    Named::Rearward => Some(rearward),
                };
                (cause, wheel)
            };
            let [alone, specified] = by_every_way(&car, &specification);
            for hints in alone {
                assert_eq!(
                    found(&hints),
                    Vec::from_iter(provoked.alone.map(expected)),
                    "{number}, seed {seed}: {hints:#?}"
                );
            }
            for hints in specified {
                assert_eq!(found(&hints), [expected(provoked.by_specification)], "{number}, seed {seed}: {hints:#?}");
                let [hint] = &hints[..] else { unreachable!() };
                assert!(hint.evidence[0].stands_out && !hint.other_causes.is_empty());
                let said = hint.to_string();
                assert!(
                    said.contains(" may ") && said.contains("no verdict") && said.contains("maker's procedure"),
                    "{said}"
                );
                assert!(hint.evidence.iter().all(|one| said.contains(one.path)), "{said}");
            }
        }
    }
}

#[test]
fn every_cause_has_a_fault_that_provokes_it_and_a_number_of_its_own() {
    for (index, cause) in Cause::ALL.iter().enumerate() {
        assert_eq!(*cause as usize, index + 1);
        assert!(PROVOKED.iter().any(|provoked| provoked.by_specification.0 == *cause), "{cause}");
    }
}

/// Two faults at once are both named where the readings tell them apart.
#[test]
fn two_faults_give_two_hints() {
    let (mut car, specification) = sound(5);
    car.faults.bent_knuckles.push(BentKnuckle { wheel: Wheel::Fr, camber_deg: 1.5, toe_deg: 0.0 });
    car.faults.shifted_rear_axle.turn_deg = -0.7;
    let expected = [(Cause::BentKnuckle, Some(Wheel::Fr)), (Cause::ShiftedRearAxle, None)];
    let [_, specified] = by_every_way(&car, &specification);
    for hints in specified {
        assert_eq!(found(&hints), expected);
    }
}

fn faulty(seed: u64) -> (VirtualVehicle, Specification) {
    let (mut car, specification) = sound(seed);
    let side = if seed.is_multiple_of(2) { Side::Left } else { Side::Right };
    let provoked = &PROVOKED[usize::try_from(seed / 2).unwrap() % PROVOKED.len()];
    let wheel = if provoked.rear { side.front_wheel().other_end() } else { side.front_wheel() };
    (provoked.fault)(&mut car.faults, wheel, 1.0);
    (car, specification)
}

fn mirrored_path(path: &str) -> &'static str {
    let swaps = [("fl", "fr"), ("fr", "fl"), ("rl", "rr"), ("rr", "rl"), ("left", "right"), ("right", "left")];
    let turned = swaps.iter().find_map(|(one, other)| {
        let whole = |name: &str| path.split(['.', '_']).any(|part| part == name);
        whole(one).then(|| path.replacen(one, other, 1))
    });
    READINGS[position(&turned.unwrap_or_else(|| path.to_owned())).unwrap()]
}

proptest! {
    #![proptest_config(crate::cases(100))]

    /// The mirrored car gives the same hints at the other side.
    #[test]
    fn left_and_right_are_alike(seed in 0..10_000u64, specified: bool) {
        let (car, specification) = faulty(seed);
        let of = specified.then_some(&specification);
        let readings = measure(&car.session()).unwrap().alignment;
        let mut other = specification.clone();
        other.limits = specification.limits.iter().map(|(path, tolerance)| (mirrored_path(path), *tolerance)).collect();
        let there = hints(&readings, None, of);
        let here = hints(&mirrored(&readings), None, specified.then_some(&other));
        let opposite = |wheel: Option<Wheel>| wheel.map(Wheel::opposite);
        let expected: Found = there.iter().map(|hint| (hint.cause, opposite(hint.wheel))).collect();
        prop_assert_eq!(found(&here), expected);
        for (one, other) in there.iter().zip(&here) {
            prop_assert_eq!(one.evidence.len(), other.evidence.len());
            for (a, b) in one.evidence.iter().zip(&other.evidence) {
                prop_assert_eq!(a.stands_out, b.stands_out);
            }
        }
    }

    /// Truth follows the faults: the readings of the faulty car are its answer key.
    #[test]
    fn any_faulty_car_is_read_back(
        seed: u64,
        camber_deg in -2.0..2.0f64,
        toe_deg in -2.0..2.0f64,
        shifts in prop::array::uniform8(-25.0..25.0f64),
        turns in prop::array::uniform2(-1.5..1.5f64),
        share in -0.1..0.1f64,
    ) {
        let [a, b, c, d, e, f, g, h] = shifts;
        let faults = Faults {
            bent_knuckles: vec![
                BentKnuckle { wheel: Wheel::Fr, camber_deg, toe_deg },
                BentKnuckle { wheel: Wheel::Rl, camber_deg: toe_deg, toe_deg: camber_deg },
            ],
            bent_steering_arms: vec![BentSteeringArm { wheel: Wheel::Fl, more_turn_share: share }],
            shifted_pivots: vec![pivot(Wheel::Fl, PivotEnd::Lower, a, b), pivot(Wheel::Fl, PivotEnd::Upper, c, d)],
            shifted_subframe: AxleShift { forward_mm: e, left_mm: f, turn_deg: turns[0] },
            shifted_rear_axle: AxleShift { forward_mm: g, left_mm: h, turn_deg: turns[1] },
            dead_cameras: Vec::new(),
        };
        let car = VirtualVehicle { faults, ..VirtualVehicle::random(seed) };
        assert_same(&measure(&car.session()).unwrap().alignment, &car.truth(), crate::truth::READ_BACK);
        // The left knuckle is whole: its spindle stands to its axis as before.
        let angle = |truth: Alignment| {
            let (axis, spindle) = (truth.steering.left.axis_direction.unwrap(), truth.wheels.fl.spindle.unwrap());
            axis.iter().zip(spindle).map(|(a, b)| a * b).sum::<f64>()
        };
        let sound = VirtualVehicle { faults: Faults::default(), ..car.clone() };
        prop_assert!((angle(car.truth()) - angle(sound.truth())).abs() < 1e-14);
    }
}

/// A subframe that is shifted and shifted back is no fault, and neither is one of nothing.
#[test]
fn faults_of_nothing_leave_the_car_as_it_is() {
    let car = VirtualVehicle::random(3);
    let nothing = Faults {
        bent_knuckles: vec![BentKnuckle { wheel: Wheel::Fl, camber_deg: 0.0, toe_deg: 0.0 }],
        shifted_pivots: vec![pivot(Wheel::Fr, PivotEnd::Lower, 0.0, 0.0)],
        ..Faults::default()
    };
    let with = VirtualVehicle { faults: nothing, ..car.clone() };
    assert_same(&with.truth(), &car.truth(), EXACT);
    let there = |car: &VirtualVehicle| car.session().ahead.fl.frames()[0].translation_mm;
    for (a, b) in there(&with).iter().zip(there(&car)) {
        assert!((a - b).abs() < 1e-9);
    }
}

/// What a dead camera hides is absent, and gives neither a hint nor an error; the answer key has it.
#[test]
fn a_dead_camera_hides_a_wheel_and_is_no_fault_of_the_car() {
    let dead = |wheel, stage, station, onward| DeadCamera { wheel, stage, station, onward };
    for (seed, camera) in [
        dead(Wheel::Fl, Stage::Rolling, 0, true),
        dead(Wheel::Rr, Stage::Ahead, 0, true),
        dead(Wheel::Fr, Stage::Sweep, 2, true),
        dead(Wheel::Fr, Stage::Sweep, 3, false),
        dead(Wheel::Rl, Stage::LockLeft, 0, true),
    ]
    .into_iter()
    .enumerate()
    {
        let (mut car, specification) = sound(seed as u64);
        let whole = car.session();
        car.faults.dead_cameras.push(camera);
        let session = car.session();
        let seen = |stage: Stage, station: usize, session: &alignment_core::Session| {
            let station = match stage {
                Stage::Rolling => &session.rolling[station],
                Stage::Ahead => &session.ahead,
                Stage::Sweep => &session.sweep[station],
                Stage::LockLeft => session.lock_left.as_ref().unwrap(),
                Stage::LockRight => session.lock_right.as_ref().unwrap(),
            };
            station.get(camera.wheel).frames().len()
        };
        assert_eq!((seen(camera.stage, camera.station, &whole), seen(camera.stage, camera.station, &session)), (1, 0));
        assert_eq!(seen(Stage::LockRight, 0, &session) == 0, camera.onward);
        assert_eq!(seen(Stage::Rolling, 0, &session) == 0, camera.stage == Stage::Rolling);
        // All that is seen is seen as before.
        assert_eq!(session.sweep[8].get(camera.wheel.other_end()), whole.sweep[8].get(camera.wheel.other_end()));
        let readings = measure(&session).unwrap().alignment;
        assert_eq!(hints(&readings, None, Some(&specification)), []);
        assert!(
            car.truth().values().iter().zip(readings.values()).all(|(truth, read)| truth.is_some() || read.is_none())
        );
    }
}

/// A slipped clamp is told by the measurement, with a warning, as the fault of the target that it is.
#[test]
fn a_slipped_clamp_is_warned_of() {
    let (mut car, _) = sound(1);
    car.slips.push(ClampSlip { stage: Stage::Sweep, station: 4, onward: true, wheel: Wheel::Fl, angle_deg: 1.0 });
    let warnings = measure(&car.session()).unwrap().warnings;
    assert!(warnings.iter().any(|warning| warning.code == WarningCode::TargetSlippedFrom));
}

#[test]
fn absent_readings_give_neither_a_hint_nor_an_error() {
    assert_eq!(hints(&Alignment::default(), None, Some(&sound(0).1)), []);
    for seed in 0..24 {
        let (car, specification) = faulty(seed);
        let readings = measure(&car.session()).unwrap().alignment;
        let whole = found(&hints(&readings, None, Some(&specification)));
        assert_eq!(whole.len(), 1);
        for place in 0..COUNT {
            let mut values = readings.values();
            values[place] = None;
            for (cause, _) in found(&hints(&Alignment::from_values(&values), None, Some(&specification))) {
                // Without SAI nothing tells front pivots that moved to one side from a rear axle that moved to the other: a cause that the hint names.
                let sideways = READINGS[place].ends_with("sai_deg") && cause == Cause::ShiftedRearAxle;
                assert!(cause == whole[0].0 || sideways, "{cause} for {} without {}", whole[0].0, READINGS[place]);
            }
        }
    }
}

/// Toe-out that differs tells of a steering arm only where caster, SAI and included angle are known to be right.
#[test]
fn a_steering_arm_is_hinted_at_only_when_the_axes_are_known() {
    let (mut car, _) = sound(0);
    let bent = BentSteeringArm { wheel: Wheel::Fl, more_turn_share: 0.06 };
    car.faults.bent_steering_arms.push(bent);
    let readings = measure(&car.session()).unwrap().alignment;
    let found_in = |readings: &Alignment| found(&hints(readings, None, None));
    assert_eq!(found_in(&readings), [(Cause::BentSteeringArm, None)]);
    for name in ["caster_deg", "sai_deg", "included_angle_deg"] {
        for side in ["left", "right"] {
            let mut values = readings.values();
            values[position(&format!("steering.{side}.{name}")).unwrap()] = None;
            assert_eq!(found_in(&Alignment::from_values(&values)), [], "without {side} {name}");
        }
    }
}

/// Of lopsided limits the half on the side of the deviation counts.
#[test]
fn lopsided_limits_count_on_the_side_of_the_deviation() {
    let mut readings = Alignment::default();
    readings.steering.right.caster_deg = Some(4.0);
    readings.axles.front.setback_mm = Some(9.0);
    (readings.chassis.wheelbase_left_mm, readings.chassis.wheelbase_right_mm) = (Some(2609.0), Some(2600.0));
    let tolerance = Tolerance { nominal: Some(0.0), minus: Some(2.0), plus: Some(0.4), ..Tolerance::default() };
    let mut specification = Specification::default();
    specification.limits.insert("steering.cross_caster_deg", tolerance);
    readings.steering.left.caster_deg = Some(4.8);
    let hint = &hints(&readings, None, Some(&specification))[..];
    assert_eq!(found(hint), [(Cause::PushedBackWheel, Some(Wheel::Fr))]);
    let caster = hint[0].evidence.iter().find(|one| one.path == "steering.left.caster_deg").unwrap();
    assert_eq!(caster.tolerance, 0.4);
    // The other way round the maker allows it.
    readings.axles.front.setback_mm = Some(-9.0);
    (readings.chassis.wheelbase_left_mm, readings.chassis.wheelbase_right_mm) = (Some(2600.0), Some(2609.0));
    readings.steering.left.caster_deg = Some(3.2);
    assert_eq!(hints(&readings, None, Some(&specification)), []);
}

/// The uncertainty is that of the difference: what both readings share cancels, and what is not known silences.
#[test]
fn the_uncertainty_of_a_deviation_is_how_much_it_scatters() {
    let (car, _) = faulty(0);
    let known = uncertainty::propagate(&car.session()).unwrap();
    let covariance = known.covariance_matrix();
    let evidence = hints(&known.measurement.alignment, Some(covariance), None)[0].evidence[0];
    let stated = evidence.standard_uncertainty.unwrap();
    let deviations: Vec<f64> = (0..400)
        .map(|seed| {
            let readings = measure(&VirtualVehicle { seed, ..car.clone() }.session()).unwrap().alignment;
            hints(&readings, None, None)[0].evidence[0].deviation
        })
        .collect();
    let mean = deviations.iter().sum::<f64>() / 400.0;
    let scatter = (deviations.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / 399.0).sqrt();
    // Of 400 the scatter is itself uncertain by 3.5 %.
    assert!((scatter / stated - 1.0).abs() < 0.12, "{scatter}, {stated}");
    // A deviation of 1.5° that is known to 0.6° is no hint: 0.5° is normal, and twice 0.6° is not known.
    let factor = (0.6 / stated).powi(2);
    let uncertain: Vec<f64> = covariance.iter().map(|v| v * factor).collect();
    assert_eq!(hints(&known.measurement.alignment, Some(&uncertain), None), []);
    let bold = NormalTolerances { coverage_factor: 0.0, ..NormalTolerances::default() };
    assert_eq!(diagnose(&known.measurement.alignment, Some(&uncertain), None, &bold).unwrap().len(), 1);
}

/// A specification that wants sides to differ, as some makers do against the crown of the road, is what a car is compared with.
#[test]
fn a_difference_that_the_maker_wants_is_none() {
    let mut readings = Alignment::default();
    readings.axles.front.setback_mm = Some(9.0);
    (readings.chassis.wheelbase_left_mm, readings.chassis.wheelbase_right_mm) = (Some(2609.0), Some(2600.0));
    (readings.steering.left.caster_deg, readings.steering.right.caster_deg) = (Some(4.0), Some(3.2));
    assert_eq!(found(&hints(&readings, None, None)), [(Cause::PushedBackWheel, Some(Wheel::Fr))]);
    let mut specification = Specification::default();
    let limits = Tolerance { min: Some(0.4), max: Some(1.2), ..Tolerance::default() };
    specification.limits.insert("steering.cross_caster_deg", limits);
    assert_eq!(hints(&readings, None, Some(&specification)), []);
    specification.limits.clear();
    let aim = |nominal| Tolerance { nominal: Some(nominal), minus: Some(0.5), plus: Some(0.5), ..Tolerance::default() };
    specification.limits.insert("steering.left.caster_deg", aim(4.0));
    specification.limits.insert("steering.right.caster_deg", aim(3.3));
    assert_eq!(hints(&readings, None, Some(&specification)), []);
    // The left wheel has too much caster: the right one stands back, but which of the two has moved is not told.
    specification.limits.insert("steering.left.caster_deg", aim(3.2));
    specification.limits.insert("steering.right.caster_deg", aim(3.2));
    assert_eq!(found(&hints(&readings, None, Some(&specification))), [(Cause::PushedBackWheel, None)]);
    // One-sided limits name nothing to aim at.
    specification.limits.insert("steering.right.caster_deg", Tolerance { max: Some(5.0), ..Tolerance::default() });
    assert_eq!(found(&hints(&readings, None, Some(&specification))), [(Cause::PushedBackWheel, Some(Wheel::Fr))]);
}

#[test]
fn what_no_car_gives_is_refused_by_its_name() {
    let normal = NormalTolerances::default();
    let readings = Alignment::default();
    for place in 0..COUNT {
        for (value, code) in
            [(f64::NAN, ErrorCode::NotFinite), (f64::INFINITY, ErrorCode::NotFinite), (1e300, ErrorCode::OutOfRange)]
        {
            let mut values = [Some(0.0); COUNT];
            values[place] = Some(value);
            let error = diagnose(&Alignment::from_values(&values), None, None, &normal).unwrap_err();
            assert_eq!((error.code, error.input), (code, Some(READINGS[place])));
        }
    }
    let refused = |covariance: &[f64]| diagnose(&readings, Some(covariance), None, &normal).unwrap_err();
    let mut covariance = vec![0.0; COUNT * COUNT];
    assert_eq!(diagnose(&readings, Some(&covariance), None, &normal), Ok(Vec::new()));
    assert_eq!(refused(&covariance[1..]).code, ErrorCode::NotACovariance);
    for (place, value, code) in [
        (1, 1.0, ErrorCode::NotACovariance),
        (0, -1.0, ErrorCode::NotACovariance),
        (0, f64::NAN, ErrorCode::NotFinite),
        (0, 1e300, ErrorCode::OutOfRange),
    ] {
        covariance[place] = value;
        let error = refused(&covariance);
        assert_eq!((error.code, error.input), (code, Some("covariance")));
        covariance[place] = 0.0;
    }
    for (tolerances, input, code) in [
        (NormalTolerances { sai_deg: -0.1, ..normal }, "sai_deg", ErrorCode::OutOfRange),
        (NormalTolerances { setback_mm: f64::NAN, ..normal }, "setback_mm", ErrorCode::NotFinite),
        (NormalTolerances { coverage_factor: 101.0, ..normal }, "coverage_factor", ErrorCode::OutOfRange),
    ] {
        let error = diagnose(&readings, None, None, &tolerances).unwrap_err();
        assert_eq!((error.code, error.input), (code, Some(input)));
    }
    let mut specification = Specification::default();
    specification.limits.insert("wheels.fl.camber_deg", Tolerance::default());
    let error = diagnose(&readings, None, Some(&specification), &normal).unwrap_err();
    assert_eq!((error.code, error.input), (ErrorCode::NotASpecification, Some("wheels.fl.camber_deg")));
}

/// A car that was written down before there were faults is still read; one with faults keeps them.
#[test]
fn faults_are_written_and_read() {
    let (mut car, _) = faulty(6);
    car.faults.dead_cameras.push(DeadCamera { wheel: Wheel::Rl, stage: Stage::LockLeft, station: 0, onward: false });
    let text = serde_json::to_string(&car).unwrap();
    assert_eq!(serde_json::from_str::<VirtualVehicle>(&text).unwrap(), car);
    let mut tree = serde_json::to_value(VirtualVehicle::default()).unwrap();
    tree.as_object_mut().unwrap().remove("faults").unwrap();
    assert_eq!(serde_json::from_value::<VirtualVehicle>(tree.clone()).unwrap(), VirtualVehicle::default());
    tree["faults"] = serde_json::json!({"bent_knuckle": []});
    assert!(serde_json::from_value::<VirtualVehicle>(tree).is_err());
}

#[test]
fn a_hint_is_written_with_its_number_and_in_words() {
    let (car, specification) = faulty(0);
    let readings = measure(&car.session()).unwrap().alignment;
    let hint = hints(&readings, None, Some(&specification)).remove(0);
    let written = serde_json::to_value(&hint).unwrap();
    assert_eq!(written["cause"], "bent_knuckle");
    assert_eq!(written["number"], 1);
    assert_eq!(written["wheel"], "fl");
    assert_eq!(written["other_causes"][0], "camber_set_at_strut");
    assert_eq!(written["evidence"][0]["path"], "steering.left.included_angle_deg");
    assert_eq!(written["message"], hint.to_string());
}
