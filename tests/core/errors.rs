//! Each error and each warning, provoked by the fault that it names: code, place and figure.

use alignment_core::compensation::Compensation;
use alignment_core::conformity::{
    Decision, Limits, Production, Specification, Tolerance, Uncertain, Unit, global_risks, judge, judge_all,
};
use alignment_core::error::{Stage, WarningCode};
use alignment_core::json::session_to_json;
use alignment_core::monte_carlo::{Distribution, Settings, monte_carlo};
use alignment_core::propagation::{
    Input, Number, combine, coverage_factor, effective_degrees_of_freedom, law_of_propagation, numerical_tolerance,
};
use alignment_core::record::Record;
use alignment_core::session::{Method, Noise, PoseNoise, Sighting};
use alignment_core::simulate::VirtualVehicle;
use alignment_core::{
    Alignment, ByAxle, ByWheel, Error, ErrorCode, Measurement, Pose, Session, Station, Wheel, measure, paths,
};

fn session() -> Session {
    VirtualVehicle::default().session()
}

/// The refusal of a session that was spoiled.
fn refused(spoil: impl FnOnce(&mut Session)) -> Error {
    let mut session = session();
    spoil(&mut session);
    measure(&session).unwrap_err()
}

fn pose(sighting: &mut Sighting) -> &mut Pose {
    match sighting {
        Sighting::Pose(pose) => pose,
        other => panic!("{other:?} is not one pose"),
    }
}

/// Every station with its wheels exchanged.
fn exchanged(session: &Session, from: impl Fn(Wheel) -> Wheel) -> Session {
    let station = |station: &Station| ByWheel::from_fn(|wheel| station.get(from(wheel)).clone());
    Session {
        rolling: session.rolling.iter().map(station).collect(),
        ahead: station(&session.ahead),
        sweep: session.sweep.iter().map(station).collect(),
        lock_left: session.lock_left.as_ref().map(station),
        lock_right: session.lock_right.as_ref().map(station),
        ..session.clone()
    }
}

fn other_end(wheel: Wheel) -> Wheel {
    match wheel {
        Wheel::Fl => Wheel::Rl,
        Wheel::Fr => Wheel::Rr,
        Wheel::Rl => Wheel::Fl,
        Wheel::Rr => Wheel::Fr,
    }
}

#[test]
fn not_finite_names_the_pose() {
    let error = refused(|s| pose(&mut s.sweep[2].fr).rotation[1][1] = f64::NAN);
    assert_eq!(
        (error.code, error.stage, error.station, error.wheel),
        (ErrorCode::NotFinite, Some(Stage::Sweep), Some(2), Some(Wheel::Fr))
    );
    assert!(error.to_string().starts_with("sweep[2].fr: a number is not finite"), "{error}");
    let error = refused(|s| pose(&mut s.ahead.rl).translation_mm[0] = f64::INFINITY);
    assert_eq!((error.code, error.stage, error.wheel), (ErrorCode::NotFinite, Some(Stage::Ahead), Some(Wheel::Rl)));
    let error = refused(|s| s.clamp_standoff_mm.rr = f64::NAN);
    assert!(error.to_string().starts_with("clamp_standoff_mm.rr: a number is not finite"), "{error}");
}

#[test]
fn a_matrix_that_is_no_rotation_gives_its_deviation() {
    let error = refused(|s| pose(&mut s.rolling[1].fl).rotation[0][0] += 2e-5);
    assert_eq!((error.code, error.station, error.wheel), (ErrorCode::NotARotation, Some(1), Some(Wheel::Fl)));
    assert_eq!(error.maximum, Some(1e-6));
    assert!(error.value.unwrap() > 1e-6);
}

/// A figure that overflowed is left out: infinity is no figure, and JSON has none.
#[test]
fn numbers_that_overflow_are_refused_without_a_figure() {
    let error = refused(|s| pose(&mut s.rolling[1].fl).rotation[0][0] = 1e200);
    assert_eq!((error.code, error.value, error.maximum), (ErrorCode::NotARotation, None, Some(1e-6)));
    let error = Pose::from_rotation_vector_rad([1e308, 0.0, 0.0], [0.0; 3]).unwrap_err();
    assert_eq!((error.code, error.value, error.maximum), (ErrorCode::AngleOutOfRange, None, Some(3600.0)));
    assert!(error.to_string().contains("out of range, at most 3600° allowed"), "{error}");
}

#[test]
fn a_matrix_within_the_tolerance_is_taken_to_the_nearest_rotation() {
    // Single precision, as some camera libraries compute: refused by none, and worth a millionth of a degree or so.
    let mut single = session();
    let exact = measure(&single).unwrap().alignment.wheels.fl.camber_deg.unwrap();
    for station in single.rolling.iter_mut().chain([&mut single.ahead]).chain(&mut single.sweep) {
        for wheel in Wheel::ALL {
            let pose = pose(station.get_mut(wheel));
            #[expect(clippy::cast_possible_truncation, reason = "that is the point")]
            let rounded = pose.rotation.map(|row| row.map(|v| f64::from(v as f32)));
            pose.rotation = rounded;
        }
    }
    let rounded = measure(&single).unwrap().alignment.wheels.fl.camber_deg.unwrap();
    assert!((rounded - exact).abs() < 2e-5, "{rounded} {exact}");
}

/// The tolerance is 1e-6, and belongs to what is taken.
#[test]
fn a_matrix_just_beyond_the_tolerance_is_refused() {
    let refusal = |skew: f64| {
        let mut session = session();
        pose(&mut session.ahead.fl).rotation = [[1.0, skew, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];
        measure(&session).err().filter(|error| error.code == ErrorCode::NotARotation)
    };
    assert_eq!(refusal(1e-6), None);
    let error = refusal(1e-6_f64.next_up()).unwrap();
    assert_eq!((error.value, error.maximum), (Some(1e-6_f64.next_up()), Some(1e-6)));
}

#[test]
fn a_reflection_is_refused() {
    let error = refused(|s| {
        let pose = pose(&mut s.ahead.fr);
        pose.rotation = pose.rotation.map(|[a, b, c]| [a, b, -c]);
    });
    assert_eq!((error.code, error.stage), (ErrorCode::Reflection, Some(Stage::Ahead)));
    assert!((error.value.unwrap() + 1.0).abs() < 1e-9);
}

#[test]
fn up_must_be_there_and_of_unit_length() {
    let error = refused(|s| s.up = None);
    assert_eq!((error.code, error.input), (ErrorCode::MissingInput, Some("up")));
    let error = refused(|s| s.up = Some([0.0, 0.0, 2.0]));
    assert_eq!((error.code, error.input, error.value), (ErrorCode::NotUnitLength, Some("up"), Some(2.0)));
    assert!(error.to_string().contains("length 1: 2, 0.999999 to 1.000001 allowed"), "{error}");
}

#[test]
fn absurd_lengths_and_angles_give_their_bounds() {
    let error = refused(|s| pose(&mut s.ahead.fl).translation_mm[2] = 1e7);
    assert_eq!((error.code, error.value, error.maximum), (ErrorCode::LengthOutOfRange, Some(1e7), Some(1e6)));
    let error = refused(|s| s.clamp_standoff_mm.fl = 4000.0);
    assert_eq!((error.code, error.maximum), (ErrorCode::LengthOutOfRange, Some(1000.0)));
    let error = refused(|s| s.loaded_radius_mm = Some(ByAxle { front: Some(0.3), rear: None }));
    assert_eq!((error.code, error.minimum), (ErrorCode::LengthOutOfRange, Some(50.0)));
    let error = refused(|s| s.reference.turn.angle_deg = 0.0);
    assert_eq!((error.code, error.input), (ErrorCode::AngleOutOfRange, Some("reference.turn.angle_deg")));
    let error = refused(|s| s.ride_height_mm = Some(ByWheel { fl: 1e9, ..ByWheel::default() }));
    assert_eq!((error.code, error.wheel), (ErrorCode::LengthOutOfRange, Some(Wheel::Fl)));
    let error = refused(|s| s.pose_noise = Some(PoseNoise { rotation_deg: -1.0, translation_mm: 0.1 }.into()));
    assert_eq!(error.code, ErrorCode::AngleOutOfRange);
    for slip_mm in [-0.1, 100.1] {
        let error = refused(|s| s.joint.rolling_slip_mm = slip_mm);
        let of = (error.code, error.input, error.value, error.minimum, error.maximum);
        let input = Some("joint.rolling_slip_mm");
        assert_eq!(of, (ErrorCode::LengthOutOfRange, input, Some(slip_mm), Some(0.0), Some(100.0)));
    }
    let error = refused(|s| s.joint.rolling_slip_mm = f64::NAN);
    assert_eq!((error.code, error.input), (ErrorCode::NotFinite, Some("joint.rolling_slip_mm")));
}

#[test]
fn wheels_of_two_cars_are_refused() {
    let car = session();
    let long = VirtualVehicle { wheelbase_mm: 9000.0, ..VirtualVehicle::default() }.session();
    let mixed = |a: &Station, b: &Station| Station { fr: b.fr.clone(), ..a.clone() };
    let mut two = car.clone();
    two.rolling = car.rolling.iter().zip(&long.rolling).map(|(a, b)| mixed(a, b)).collect();
    two.ahead = mixed(&car.ahead, &long.ahead);
    let error = measure(&two).unwrap_err();
    assert_eq!((error.code, error.wheel), (ErrorCode::SpindleNotLateral, Some(Wheel::Fl)), "{error}");
}

#[test]
fn a_spindle_along_the_car_is_refused() {
    // The left front target is printed on the right front wheel's place by a rig that mixed up two cameras.
    let error = refused(|s| {
        for station in &mut s.rolling {
            let shift = pose(&mut station.fl).translation_mm;
            let right = pose(&mut station.fr);
            right.translation_mm = [shift[0] + 1500.0, shift[1], shift[2]];
        }
    });
    assert_eq!((error.code, error.stage), (ErrorCode::SpindleNotLateral, Some(Stage::Rolling)));
    assert!(error.value.unwrap() > 60.0);
}

/// Of a wheel that lies flat no travel can be told: the quotient is 0/0 when up lies along the spindle to the last bit.
#[test]
fn an_up_along_the_spindles_is_refused() {
    let level = Pose { rotation: [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]], translation_mm: [0.0; 3] };
    let mut car = VirtualVehicle { rig_from_vehicle: level, ..VirtualVehicle::default() }.session();
    car.up = Some([0.0, 1.0, 0.0]);
    let error = measure(&car).unwrap_err();
    assert_eq!((error.code, error.stage), (ErrorCode::SpindleNotLateral, Some(Stage::Rolling)), "{error}");
    assert!(error.value.unwrap() > 80.0, "{error}");
}

/// An axis that lies level does not meet the ground: trail and scrub would be a division by nought.
#[test]
fn a_steering_axis_that_lies_level_is_refused() {
    for locked in [true, false] {
        let mut car = VirtualVehicle { sweep_wheels_locked: locked, ..VirtualVehicle::default() }.session();
        let ahead = car.ahead.clone();
        for (station, angle) in car.sweep.iter_mut().zip([-1.2, -0.8, -0.4, -0.1, 0.0, 0.2, 0.5, 0.9, 1.3]) {
            for wheel in [Wheel::Fl, Wheel::Fr] {
                // About a level line halfway between forward and left: the wheel turns in and tips over at once.
                let half = angle / 2.0_f64;
                let across = half.sin() * 0.5_f64.sqrt();
                let turn = Pose::from_quaternion_wxyz([half.cos(), across, across, 0.0], [0.0; 3]).unwrap().rotation;
                let straight = ahead.get(wheel).frames()[0].rotation;
                pose(station.get_mut(wheel)).rotation = core::array::from_fn(|i| {
                    core::array::from_fn(|j| (0..3).map(|k| turn[i][k] * straight[k][j]).sum())
                });
            }
        }
        let error = measure(&car).unwrap_err();
        assert_eq!((error.code, error.stage), (ErrorCode::AngleOutOfRange, Some(Stage::Sweep)), "{error}");
        assert_eq!((error.input, error.wheel), (Some("steering axis to up"), Some(Wheel::Fl)), "{error}");
        assert_eq!(error.maximum, Some(80.0));
    }
}

/// A target that tipped over before the ahead station: no car has such a camber.
#[test]
fn a_spindle_that_tipped_straight_ahead_is_named() {
    let error = refused(|s| {
        let turned = pose(&mut s.ahead.fl);
        let [x, y, z] = turned.rotation;
        turned.rotation = [z, x, y];
    });
    assert_eq!(
        (error.code, error.stage, error.wheel),
        (ErrorCode::SpindleNotLateral, Some(Stage::Ahead), Some(Wheel::Fl)),
        "{error}"
    );
}

#[test]
fn a_compensation_that_is_none_is_refused() {
    use alignment_core::{
        compensation,
        session::{Centreline, RollingBody},
        vehicle,
    };
    let session = session();
    let (up, radii) = (session.up.unwrap(), session.loaded_radius_mm.unwrap());
    let rolled =
        compensation::from_rolling(&session.rolling, up, &session.clamp_standoff_mm, &radii, RollingBody::Translates)
            .unwrap();
    let wheels = rolled.all_wheels().unwrap();
    let poses = ByWheel::from_fn(|wheel| session.ahead.get(wheel).frames()[0]);
    let code = |wheels, radii| {
        vehicle::ahead_readings(&wheels, &poses, up, &radii, Centreline::AxleMidpoints).unwrap_err().code
    };
    let mut spoiled = wheels;
    spoiled.rr.spindle_in_target[0] = f64::NAN;
    assert_eq!(code(spoiled, radii), ErrorCode::NotFinite);
    let mut spoiled = wheels;
    spoiled.rr.spindle_in_target = [2.0, 0.0, 0.0];
    assert_eq!(code(spoiled, radii), ErrorCode::NotUnitLength);
    let mut spoiled = wheels;
    spoiled.fl.rolling_radius_mm = Some(f64::NAN);
    assert_eq!(code(spoiled, radii), ErrorCode::NotFinite);
    let refused = |spoil: &dyn Fn(&mut compensation::Compensation)| {
        let mut spoiled = wheels;
        spoil(&mut spoiled.rr);
        vehicle::ahead_readings(&spoiled, &poses, up, &radii, Centreline::AxleMidpoints).unwrap_err()
    };
    for radius_mm in [50.0_f64.next_down(), 1500.0_f64.next_up()] {
        let error = refused(&|wheel| wheel.rolling_radius_mm = Some(radius_mm));
        assert_eq!((error.code, error.input), (ErrorCode::LengthOutOfRange, Some("rolling_radius_mm")));
        assert_eq!((error.value, error.minimum, error.maximum), (Some(radius_mm), Some(50.0), Some(1500.0)));
    }
    let error = refused(&|wheel| wheel.centre_in_target_mm = [8e5, 7e5, 0.0]);
    assert_eq!((error.code, error.input), (ErrorCode::LengthOutOfRange, Some("centre_in_target_mm")));
    let absurd = ByAxle { front: Some(f64::NAN), rear: Some(-5.0) };
    assert_eq!(code(wheels, absurd), ErrorCode::NotFinite);
    let refused =
        compensation::from_rolling(&session.rolling, up, &session.clamp_standoff_mm, &absurd, RollingBody::Translates)
            .unwrap_err();
    assert_eq!(refused.code, ErrorCode::NotFinite);
}

/// Steps of more than half a turn are followed by the travel that goes with them.
#[test]
fn steps_beyond_half_a_turn_are_followed() {
    for roll_deg in [vec![0.0, 250.0, 300.0], vec![0.0, 40.0, 330.0], vec![0.0, 150.0, 300.0], vec![0.0, 200.0, 470.0]]
    {
        let car = VirtualVehicle { roll_deg: roll_deg.clone(), ..VirtualVehicle::default() };
        let radius = measure(&car.session()).unwrap().alignment.wheels.rr.rolling_radius_mm.unwrap();
        assert!((radius - 308.0).abs() < 1e-6, "{roll_deg:?}: {radius}");
    }
}

#[test]
fn one_rear_target_that_slipped_is_no_rear_axle_that_steers() {
    let mut slipped = session();
    let turned = Pose::from_rotation_vector_rad([0.0, 0.0, 0.44], [0.0; 3]).unwrap().rotation;
    let ahead = pose(&mut slipped.ahead.rl);
    let before = ahead.rotation;
    ahead.rotation =
        core::array::from_fn(|i| core::array::from_fn(|j| (0..3).map(|k| turned[i][k] * before[k][j]).sum()));
    let result = measure(&slipped).unwrap();
    let moved = [Stage::Sweep, Stage::LockLeft, Stage::LockRight].map(|stage| (Some(stage), Some(Wheel::Rl)));
    assert_eq!(warned(&result, WarningCode::BodyMoved), moved);
}

#[test]
fn too_few_stations_are_counted() {
    let error = refused(|s| s.rolling.truncate(1));
    assert_eq!((error.code, error.value, error.minimum), (ErrorCode::TooFewStations, Some(1.0), Some(2.0)));
    let error = refused(|s| s.rolling.clear());
    assert_eq!((error.code, error.value), (ErrorCode::TooFewStations, Some(0.0)));
    // Two stations give the spindle but not the rolling radius.
    let error = refused(|s| {
        s.rolling = vec![s.rolling[0].clone(), s.rolling[4].clone()];
        s.loaded_radius_mm = None;
    });
    assert_eq!((error.code, error.value, error.minimum), (ErrorCode::TooFewStations, Some(2.0), Some(3.0)));
    // A free wheel needs three stations to span a plane.
    let error = refused(|s| {
        s.sweep = vec![s.sweep[0].clone(), s.sweep[8].clone()];
        s.sweep_wheels_locked = Some(false);
    });
    assert_eq!((error.code, error.stage, error.minimum), (ErrorCode::TooFewStations, Some(Stage::Sweep), Some(3.0)));
}

#[test]
fn a_small_roll_is_refused_and_a_whole_turn_too() {
    use alignment_core::session::CompensationMethod;
    let rolled = |roll_deg: &[f64]| {
        let car = VirtualVehicle { roll_deg: roll_deg.to_vec(), ..VirtualVehicle::default() };
        measure(&car.session()).unwrap_err()
    };
    let error = rolled(&[0.0, 2.0, 4.1]);
    assert_eq!((error.code, error.wheel, error.minimum), (ErrorCode::RollTooSmall, Some(Wheel::Fl), Some(10.0)));
    assert!((error.value.unwrap() - 4.1).abs() < 1e-9);
    assert_eq!((error.unit, rolled(&[0.0, 0.0, 0.0]).code), ("deg", ErrorCode::RollTooSmall));
    assert_eq!(rolled(&[0.0, 360.0]).code, ErrorCode::RollFullTurn);
    assert_eq!(rolled(&[0.0, 360.0, 720.0]).code, ErrorCode::RollFullTurn);
    // What was aimed at the bound is not refused for rounding.
    for compensation in [CompensationMethod::Rolled, CompensationMethod::Spun] {
        let car = VirtualVehicle { compensation, roll_deg: vec![0.0, 10.0], ..VirtualVehicle::default() };
        assert!(measure(&car.session()).is_ok());
    }
    let error = rolled(&[0.0, 363.0]);
    assert_eq!((error.code, error.minimum), (ErrorCode::RollFullTurn, Some(5.0)));
    assert!((error.value.unwrap() - 3.0).abs() < 1e-9);
}

/// A wheel that did not roll beside three that did is refused: unless its camera was blocked, which leaves it absent.
#[test]
fn one_wheel_that_did_not_roll_is_refused_unless_it_was_hidden() {
    for stations in [vec![0, 4], vec![0, 1, 2, 3, 4]] {
        let mut session = session();
        session.rolling = stations.iter().map(|&station| session.rolling[station].clone()).collect();
        let still = session.rolling[0].fl.clone();
        for station in &mut session.rolling {
            station.fl = still.clone();
        }
        let error = measure(&session).unwrap_err();
        assert_eq!((error.code, error.wheel), (ErrorCode::RollTooSmall, Some(Wheel::Fl)));
        session.rolling[1].fl = Sighting::NotSeen;
        let result = measure(&session).unwrap();
        assert_eq!(warned(&result, WarningCode::WheelBlocked), [(Some(Stage::Rolling), Some(Wheel::Fl))]);
    }
}

#[test]
fn a_small_sweep_is_refused_sooner_with_free_wheels() {
    let swept = |reach: f64, sweep_wheels_locked: bool| {
        let sweep_deg = vec![-reach, 0.0, reach];
        measure(&VirtualVehicle { sweep_deg, sweep_wheels_locked, ..VirtualVehicle::default() }.session())
    };
    let error = swept(3.0, true).unwrap_err();
    assert_eq!((error.code, error.minimum), (ErrorCode::SweepTooSmall, Some(10.0)));
    assert!(swept(7.0, true).is_ok());
    let error = swept(7.0, false).unwrap_err();
    assert_eq!((error.code, error.minimum), (ErrorCode::SweepTooSmall, Some(16.0)));
    assert!(swept(9.0, false).is_ok());
}

#[test]
fn a_wheel_that_did_not_turn_in_the_sweep_is_named() {
    for locked in [true, false] {
        let mut still = VirtualVehicle { sweep_wheels_locked: locked, ..VirtualVehicle::default() }.session();
        let ahead = still.ahead.fr.clone();
        for station in &mut still.sweep {
            station.fr = ahead.clone();
        }
        let error = measure(&still).unwrap_err();
        assert_eq!((error.stage, error.wheel), (Some(Stage::Sweep), Some(Wheel::Fr)), "{error}");
        assert!(matches!(error.code, ErrorCode::SweepTooSmall | ErrorCode::TooFewStations), "{error}");
    }
    // A free wheel that stood in two places only, however often it was looked at.
    let car = VirtualVehicle {
        sweep_wheels_locked: false,
        sweep_deg: vec![-15.0, 15.0, 15.0, -15.0],
        ..VirtualVehicle::default()
    };
    let error = measure(&car.session()).unwrap_err();
    assert_eq!((error.code, error.value, error.minimum), (ErrorCode::TooFewStations, Some(2.0), Some(3.0)));
}

#[test]
fn a_sweep_must_say_whether_wheels_were_locked() {
    let error = refused(|s| s.sweep_wheels_locked = None);
    assert_eq!((error.code, error.input), (ErrorCode::MissingInput, Some("sweep_wheels_locked")));
}

/// Each mirror symptom on its own, on cars of every kind.
#[test]
fn swapped_sides_swapped_ends_and_inverted_up_are_told_apart() {
    for seed in 0..50 {
        let session = VirtualVehicle::random(seed).session();
        let sides = measure(&exchanged(&session, Wheel::opposite)).unwrap_err();
        assert_eq!(sides.code, ErrorCode::SidesSwapped, "seed {seed}: {sides}");
        let ends = measure(&exchanged(&session, other_end)).unwrap_err();
        assert_eq!(ends.code, ErrorCode::EndsSwapped, "seed {seed}: {ends}");
        let up = session.up.map(|up| up.map(|v| -v));
        let inverted = measure(&Session { up, ..session.clone() }).unwrap_err();
        assert_eq!(inverted.code, ErrorCode::UpInverted, "seed {seed}: {inverted}");
        // Both swaps together are a car turned round: no mirror, but the wrong end steers.
        let both = measure(&exchanged(&exchanged(&session, other_end), Wheel::opposite)).unwrap_err();
        assert_eq!(both.code, ErrorCode::EndsSwapped, "seed {seed}: {both}");
        // Without a steered station nothing decides between sides and ends: the error names all three.
        let unsteered = Session { sweep: Vec::new(), lock_left: None, lock_right: None, ..session };
        let undecided = measure(&exchanged(&unsteered, Wheel::opposite)).unwrap_err();
        assert_eq!(undecided.code, ErrorCode::Mirrored, "seed {seed}: {undecided}");
        for name in ["sides", "ends", "up"] {
            assert!(undecided.to_string().contains(name), "{undecided}");
        }
    }
}

fn warned(result: &Measurement, code: WarningCode) -> Vec<(Option<Stage>, Option<Wheel>)> {
    result.warnings.iter().filter(|w| w.code == code).map(|w| (w.stage, w.wheel)).collect()
}

#[test]
fn a_short_roll_and_a_short_sweep_are_warned_of() {
    let car = VirtualVehicle {
        roll_deg: vec![-7.0, 0.0, 8.0],
        sweep_deg: vec![-8.0, 0.0, 8.0],
        lock_deg: None,
        ..VirtualVehicle::default()
    };
    let result = measure(&car.session()).unwrap();
    let rolled: Vec<_> = Wheel::ALL.iter().map(|&wheel| (Some(Stage::Rolling), Some(wheel))).collect();
    assert_eq!(warned(&result, WarningCode::RollShort), rolled);
    assert_eq!(warned(&result, WarningCode::SweepShort), [(Some(Stage::Sweep), None)]);
    // 20° is out of reach, to either side: absent, and the reason with it.
    let missed = [(Some(Stage::Sweep), Some(Wheel::Fl)), (Some(Stage::Sweep), Some(Wheel::Fr))];
    assert_eq!(warned(&result, WarningCode::TurnNotReached), missed);
    assert_eq!(result.alignment.turns.left_turn.outer_deg, None);
    assert_eq!(result.alignment.turns.lock_left.left_deg, None);
}

#[test]
fn free_wheels_and_assumed_radii_are_warned_of() {
    let car = VirtualVehicle { sweep_wheels_locked: false, ..VirtualVehicle::default() };
    let mut session = car.session();
    session.loaded_radius_mm = Some(ByAxle { front: None, rear: Some(308.0) });
    let result = measure(&session).unwrap();
    assert_eq!(warned(&result, WarningCode::SweepWheelFree), [(Some(Stage::Sweep), None)]);
    assert_eq!(warned(&result, WarningCode::LoadedRadiusAssumed), [(None, Some(Wheel::Fl)), (None, Some(Wheel::Fr))]);
    session.loaded_radius_mm = car.session().loaded_radius_mm;
    session.rolling = vec![session.rolling[0].clone(), session.rolling[3].clone()];
    let result = measure(&session).unwrap();
    assert_eq!(warned(&result, WarningCode::RollingRadiusAssumed).len(), 4);
}

/// Two rolling stations and the true radius read the car as well as five do.
#[test]
fn two_rolling_stations_do_with_a_known_radius() {
    for seed in 0..50 {
        let car = VirtualVehicle { roll_deg: vec![-20.0, 25.0], ..VirtualVehicle::random(seed) };
        let tolerance = crate::paths::Tolerance { interpolated_deg: 0.02, ..crate::paths::EXACT };
        crate::paths::assert_same(&measure(&car.session()).unwrap().alignment, &car.truth(), tolerance);
    }
}

#[test]
fn a_target_that_slipped_shows_in_the_residuals_of_its_station() {
    let slip = Pose::from_rotation_vector_rad([0.004, 0.003, 0.0], [0.0; 3]).unwrap().rotation;
    let mut session = session();
    let pose = pose(&mut session.sweep[6].fl);
    let before = pose.rotation;
    pose.rotation = core::array::from_fn(|i| core::array::from_fn(|j| (0..3).map(|k| before[i][k] * slip[k][j]).sum()));
    let result = measure(&session).unwrap();
    let warning = result.warnings.iter().find(|w| w.code == WarningCode::ResidualHigh).unwrap();
    assert_eq!((warning.stage, warning.wheel, warning.station), (Some(Stage::Sweep), Some(Wheel::Fl), Some(6)));
    assert!(warning.to_string().starts_with("sweep[6].fl: the poses do not fit a rigid motion"), "{warning}");
    assert_eq!(result.residuals.sweep.len(), 9);
}

#[test]
fn a_body_that_moves_in_the_sweep_is_warned_of() {
    let mut session = session();
    for station in &mut session.sweep {
        for wheel in [Wheel::Rl, Wheel::Rr] {
            pose(station.get_mut(wheel)).translation_mm[2] += 5.0;
        }
    }
    let result = measure(&session).unwrap();
    let moved = [(Some(Stage::Sweep), Some(Wheel::Rl)), (Some(Stage::Sweep), Some(Wheel::Rr))];
    assert_eq!(warned(&result, WarningCode::BodyMoved), moved);
}

/// Noise as stated raises no residual warning: the bound is three times what it makes.
#[test]
fn stated_noise_is_no_misfit() {
    for seed in 0..300 {
        let pose_noise = Some(PoseNoise { rotation_deg: 0.02, translation_mm: 0.2 });
        let result = measure(&VirtualVehicle { pose_noise, ..VirtualVehicle::random(seed) }.session()).unwrap();
        let misfits =
            |w: &&alignment_core::error::Warning| matches!(w.code, WarningCode::ResidualHigh | WarningCode::BodyMoved);
        assert_eq!(result.warnings.iter().find(misfits), None, "seed {seed}");
    }
}

fn codes(result: &Measurement) -> Vec<WarningCode> {
    result.warnings.iter().map(|warning| warning.code).collect()
}

#[test]
fn frames_that_move_are_refused_and_frames_that_scatter_are_not() {
    let noise = PoseNoise { rotation_deg: 0.005, translation_mm: 0.05 };
    let car = VirtualVehicle { pose_noise: Some(noise), frames: 12, ..VirtualVehicle::default() };
    for stated in [Some(noise), None] {
        let mut session = Session { pose_noise: stated.map(Noise::PerAxis), ..car.session() };
        let result = measure(&session).unwrap();
        assert_eq!(result.spreads.len(), 4 * (5 + 1 + 9 + 2));
        for spread in &result.spreads {
            assert!(spread.frames == 12 && (0.002..0.009).contains(&spread.rotation_deg), "{spread:?}");
        }
        // A car that still rocks: a millimetre from the first frame to the last.
        let Sighting::Frames(frames) = &mut session.sweep[4].rr else { panic!("frames") };
        for (i, frame) in frames.iter_mut().enumerate() {
            frame.translation_mm[2] += [0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0, 1.1][i];
        }
        let error = measure(&session).unwrap_err();
        assert_eq!(
            (error.code, error.stage, error.station, error.wheel, error.unit),
            (ErrorCode::NotStill, Some(Stage::Sweep), Some(4), Some(Wheel::Rr), "mm")
        );
        assert!(error.value > error.maximum && error.maximum.is_some(), "{error}");
    }
}

#[test]
fn wheels_of_two_cars_that_both_look_sound_are_refused() {
    // Rolled one car, then stood another, whose wheelbase is longer.
    let other = VirtualVehicle { wheelbase_mm: 2760.0, ..VirtualVehicle::default() }.session();
    let error = refused(|s| s.ahead = other.ahead);
    assert_eq!((error.code, error.stage), (ErrorCode::DifferentVehicles, Some(Stage::Ahead)));
    assert!((error.value.unwrap() - 140.0).abs() < 1.0 && error.maximum == Some(50.0), "{error}");
}

#[test]
fn rear_wheels_that_steer_are_refused_and_a_body_that_yaws_is_not() {
    use alignment_core::simulate::BodyMotion;
    let turn = |pose: &mut Pose, angle_rad: f64| {
        let [x, y, _] = Pose::from_rotation_vector_rad([0.0, 0.0, angle_rad], [0.0; 3]).unwrap().rotation;
        let [a, b, c] = pose.rotation;
        let row = |r: [f64; 3]| core::array::from_fn(|i| r[0] * a[i] + r[1] * b[i] + r[2] * c[i]);
        pose.rotation = [row(x), row(y), c];
    };
    let error = refused(|s| {
        for wheel in [Wheel::Rl, Wheel::Rr] {
            turn(pose(s.sweep[8].get_mut(wheel)), -0.04);
        }
    });
    assert_eq!((error.code, error.stage, error.station), (ErrorCode::RearWheelSteer, Some(Stage::Sweep), Some(8)));
    assert!(error.value.unwrap() > 2.0, "{error}");
    let body_motion = BodyMotion { yaw_deg: 1.0, ..BodyMotion::default() };
    assert!(measure(&VirtualVehicle { body_motion, ..VirtualVehicle::default() }.session()).is_ok());
}

#[test]
fn a_distance_that_no_car_has_is_told_in_figures() {
    use alignment_core::simulate::VirtualAxle;
    let refused = |front_mm: f64, rear_mm: f64| {
        let VirtualVehicle { front, rear, .. } = VirtualVehicle::default();
        let (front, rear) = (VirtualAxle { track_mm: front_mm, ..front }, VirtualAxle { track_mm: rear_mm, ..rear });
        measure(&VirtualVehicle { front, rear, ..VirtualVehicle::default() }.session()).unwrap_err()
    };
    for (front_mm, rear_mm) in [(2700.0, 1500.0), (1500.0, 2700.0)] {
        let error = refused(front_mm, rear_mm);
        assert_eq!(
            (error.code, error.input, error.maximum),
            (ErrorCode::DifferentVehicles, Some("tracks"), Some(1000.0))
        );
        assert!((error.value.unwrap() - 1200.0).abs() < 1e-6, "{error}");
    }
    let front = VirtualAxle { setback_mm: 1200.0, ..VirtualVehicle::default().front };
    let error = measure(&VirtualVehicle { front, ..VirtualVehicle::default() }.session()).unwrap_err();
    assert_eq!((error.code, error.input), (ErrorCode::DifferentVehicles, Some("wheelbases")));
    assert!((error.value.unwrap() - 1200.0).abs() < 30.0, "{error}");
    let error = refused(4100.0, 1500.0);
    assert_eq!(
        (error.code, error.input, error.maximum),
        (ErrorCode::LengthOutOfRange, Some("front track"), Some(4000.0))
    );
    assert!((error.value.unwrap() - 4100.0).abs() < 1e-6, "{error}");
}

/// Straight ahead alone, where no rolling shows it first.
#[test]
fn exchanged_targets_are_told_from_one_look_too() {
    use alignment_core::session::Centreline;
    use alignment_core::{compensation, vehicle};
    let session = session();
    let (up, radii) = (session.up.unwrap(), session.loaded_radius_mm.unwrap());
    let wheels = compensation::from_rolling(
        &session.rolling,
        up,
        &session.clamp_standoff_mm,
        &radii,
        alignment_core::session::RollingBody::Translates,
    )
    .unwrap()
    .all_wheels()
    .unwrap();
    let poses = ByWheel::from_fn(|wheel| session.ahead.get(wheel).frames()[0]);
    let found = |from: &dyn Fn(Wheel) -> Wheel| {
        let poses = ByWheel::from_fn(|wheel| *poses.get(from(wheel)));
        let wheels = ByWheel::from_fn(|wheel| *wheels.get(from(wheel)));
        let error = vehicle::ahead_readings(&wheels, &poses, up, &radii, Centreline::AxleMidpoints).unwrap_err();
        (error.code, error.wheel)
    };
    let at = |axle: [Wheel; 2]| move |wheel: Wheel| if axle.contains(&wheel) { wheel.opposite() } else { wheel };
    assert_eq!(found(&at([Wheel::Fl, Wheel::Fr])), (ErrorCode::SidesSwapped, Some(Wheel::Fl)));
    assert_eq!(found(&at([Wheel::Rl, Wheel::Rr])), (ErrorCode::SidesSwapped, Some(Wheel::Rl)));
    assert_eq!(found(&Wheel::opposite).0, ErrorCode::Mirrored);
}

/// A matrix of one wheel alone that is no rotation to the last digit is taken to the nearest, whichever wheel it is.
#[test]
fn one_matrix_that_is_a_little_off_is_taken_to_the_nearest() {
    let compensation = ByWheel::from_fn(|wheel| Compensation {
        spindle_in_target: [0.0, wheel.side().sign(), 0.0],
        centre_in_target_mm: [20.0, -wheel.side().sign() * 80.0, 30.0],
        runout_deg: 0.0,
        rolling_radius_mm: Some(310.0),
        roll_range_deg: 30.0,
    });
    let poses = ByWheel::from_fn(|wheel| {
        let [x, y] = [if matches!(wheel, Wheel::Fl | Wheel::Fr) { 2600.0 } else { 0.0 }, wheel.side().sign() * 830.0];
        Pose::from_rotation_vector_rad([0.01, 0.3, -0.02], [x, y, 310.0]).unwrap()
    });
    let read = |poses: &ByWheel<Pose>| {
        let centreline = alignment_core::session::Centreline::AxleMidpoints;
        let up = [0.0, 0.0, 1.0];
        alignment_core::vehicle::ahead_readings(&compensation, poses, up, &ByAxle::default(), centreline).unwrap()
    };
    let exact = read(&poses);
    for wheel in Wheel::ALL {
        let mut poses = poses;
        let pose = poses.get_mut(wheel);
        pose.rotation = pose.rotation.map(|row| row.map(|v| v * (1.0 + 4e-7)));
        let (found, expected) = (read(&poses), exact.wheels.get(wheel));
        let places = found.wheels.get(wheel).centre_mm.unwrap().into_iter().zip(expected.centre_mm.unwrap());
        assert!(places.map(|(a, b)| (a - b).abs()).fold(0.0, f64::max) < 1e-9, "{wheel:?}");
    }
}

#[test]
fn one_axle_whose_targets_are_exchanged_is_named() {
    let error = refused(|s| {
        for station in s.rolling.iter_mut().chain([&mut s.ahead]).chain(&mut s.sweep) {
            core::mem::swap(&mut station.rl, &mut station.rr);
        }
    });
    assert_eq!((error.code, error.wheel), (ErrorCode::SidesSwapped, Some(Wheel::Rl)), "{error}");
}

#[test]
fn more_stations_or_frames_than_any_session_needs_are_refused() {
    let error = refused(|s| s.sweep = vec![Station::default(); 10_001]);
    assert_eq!((error.code, error.stage, error.maximum), (ErrorCode::TooMany, Some(Stage::Sweep), Some(1e4)));
    let error = refused(|s| {
        let frame = *pose(&mut s.ahead.fl);
        s.ahead.fl = Sighting::Frames(vec![frame; 10_001]);
    });
    assert_eq!((error.code, error.wheel, error.value), (ErrorCode::TooMany, Some(Wheel::Fl), Some(10_001.0)));
}

#[test]
fn a_wheel_seen_by_two_cameras_is_refused() {
    use alignment_core::session::Camera;
    let rig_from_camera = Pose::from_rotation_vector_rad([0.0; 3], [0.0; 3]).unwrap();
    let error = refused(|s| {
        for name in ["one", "other"] {
            s.cameras.insert(name.to_owned(), Camera { rig_from_camera, wheels: vec![Wheel::Fl] });
        }
    });
    assert_eq!((error.code, error.input, error.wheel), (ErrorCode::Contradiction, Some("cameras"), Some(Wheel::Fl)));
}

#[test]
fn a_datum_needs_what_it_is_found_from() {
    use alignment_core::session::Datum;
    let error = refused(|s| s.reference.datum = Datum::Runway);
    assert_eq!((error.code, error.input), (ErrorCode::MissingInput, Some("runway_mm")));
    let error = refused(|s| {
        s.reference.datum = Datum::Runway;
        s.runway_mm = Some(ByWheel::from_fn(|_| [1.0, 2.0, 3.0]));
    });
    assert_eq!((error.code, error.input, error.minimum), (ErrorCode::LengthOutOfRange, Some("runway_mm"), Some(50.0)));
    let error = refused(|s| {
        s.reference.datum = Datum::WheelPlane;
        (s.ahead.fl, s.ahead.rr) = (Sighting::NotSeen, Sighting::NotSeen);
    });
    assert_eq!((error.code, error.stage, error.wheel), (ErrorCode::WheelNotSeen, Some(Stage::Ahead), Some(Wheel::Fl)));
    // One corner of the runway stands 6 mm high: ± 1.5 mm from the plane.
    let mut session = session();
    session.reference.datum = Datum::Runway;
    let result = measure(&session_on_runway(&session, 6.0)).unwrap();
    let uneven = result.warnings.iter().find(|w| w.code == WarningCode::DatumUneven).expect("a warning");
    assert!((uneven.value.unwrap() - 1.5).abs() < 0.01 && uneven.limit == Some(1.0), "{uneven}");
    assert!(!codes(&measure(&session_on_runway(&session, 0.0)).unwrap()).contains(&WarningCode::DatumUneven));
}

/// The session with points of its runway, half a metre below the targets, one of them raised.
fn session_on_runway(session: &Session, raised_mm: f64) -> Session {
    let runway_mm = ByWheel::from_fn(|wheel| {
        let [x, y, _] = session.ahead.get(wheel).frames()[0].translation_mm;
        [x, y, if wheel == Wheel::Fl { raised_mm } else { 0.0 }]
    });
    Session { runway_mm: Some(runway_mm), ..session.clone() }
}

#[test]
fn a_wheel_blocked_where_it_is_needed_is_named_and_the_rest_is_read() {
    let truth = VirtualVehicle::default().truth();
    let near = |found: Option<f64>, truth: Option<f64>| (found.unwrap() - truth.unwrap()).abs() < 1e-9;

    let mut ahead = session();
    ahead.ahead.rr = Sighting::NotSeen;
    let result = measure(&ahead).unwrap();
    assert_eq!(warned(&result, WarningCode::WheelBlocked), [(Some(Stage::Ahead), Some(Wheel::Rr))]);
    let found = &result.alignment;
    assert!(near(found.wheels.fl.camber_deg, truth.wheels.fl.camber_deg));
    assert!(near(found.axles.front.total_toe_deg, truth.axles.front.total_toe_deg));
    assert!(near(found.wheels.rr.runout_deg, truth.wheels.rr.runout_deg));
    assert!(near(found.wheels.rr.rolling_radius_mm, truth.wheels.rr.rolling_radius_mm));
    assert!(near(found.axles.front.cross_camber_deg, truth.axles.front.cross_camber_deg));
    assert_eq!((found.wheels.rr.camber_deg, found.chassis.thrust_angle_deg), (None, None));

    let mut swept = session();
    for station in &mut swept.sweep {
        station.fr = Sighting::NotSeen;
    }
    let result = measure(&swept).unwrap();
    assert_eq!(warned(&result, WarningCode::WheelBlocked), [(Some(Stage::Sweep), Some(Wheel::Fr))]);
    assert!(near(result.alignment.steering.left.sai_deg, truth.steering.left.sai_deg));
    assert_eq!(result.alignment.steering.right.sai_deg, None);

    let mut rolled = session();
    for station in &mut rolled.rolling[1..] {
        station.fl = Sighting::NotSeen;
    }
    let result = measure(&rolled).unwrap();
    assert_eq!(warned(&result, WarningCode::WheelBlocked), [(Some(Stage::Rolling), Some(Wheel::Fl))]);
    // Seen at one station; it takes two.
    assert_eq!((result.warnings[0].value, result.warnings[0].limit), (Some(1.0), Some(2.0)));
    assert!(near(result.alignment.wheels.fr.camber_deg, truth.wheels.fr.camber_deg));
    assert_eq!(result.alignment.wheels.fl.camber_deg, None);

    let mut unwatched = session();
    for station in &mut unwatched.sweep {
        (station.rl, station.rr) = (Sighting::NotSeen, Sighting::NotSeen);
    }
    let result = measure(&unwatched).unwrap();
    assert_eq!(codes(&result), [WarningCode::BodyNotWatched]);
    assert!(near(result.alignment.steering.left.caster_deg, truth.steering.left.caster_deg));
}

/// One steering axis is referred to the body as two are.
#[test]
fn one_axis_alone_knows_the_ride_height() {
    let heights = ByWheel { fl: 380.0, fr: 376.0, rl: 402.0, rr: 399.0 };
    let mut session = Session { ride_height_mm: Some(heights), ..session() };
    let both = measure(&session).unwrap().alignment.steering.left;
    for station in &mut session.sweep {
        station.fr = Sighting::NotSeen;
    }
    let alone = measure(&session).unwrap().alignment.steering.left;
    assert!(both.caster_to_body_deg.is_some());
    assert_eq!((alone.caster_to_body_deg, alone.sai_to_body_deg), (both.caster_to_body_deg, both.sai_to_body_deg));
}

/// Where the body may turn while it rolls, each wheel has a path of its own, and its residuals.
#[test]
fn a_pose_off_its_own_path_shows_in_the_residuals() {
    use alignment_core::session::RollingBody;
    let mut session = Session { rolling_body: RollingBody::Turns, ..session() };
    let rolling = |session: &Session| measure(session).unwrap().residuals.rolling;
    for station in rolling(&session) {
        for wheel in Wheel::ALL {
            let residual = station.get(wheel).unwrap();
            assert!(residual.rotation_deg < 1e-6 && residual.translation_mm < 1e-6, "{residual:?}");
        }
    }
    let up = session.up.unwrap();
    let raised = &mut pose(&mut session.rolling[2].rr).translation_mm;
    *raised = core::array::from_fn(|i| raised[i] + 5.0 * up[i]);
    let residual = rolling(&session)[2].rr.unwrap();
    assert!(residual.translation_mm > 1.0 && residual.translation_mm < 5.0, "{residual:?}");
}

/// A wheel seen at two rolling stations borrows its radius from the travel that it shares with the others.
#[test]
fn two_stations_are_enough_for_a_wheel_beside_others() {
    let mut session = Session { loaded_radius_mm: None, ..session() };
    for index in [1, 2, 3] {
        session.rolling[index].fl = Sighting::NotSeen;
    }
    let result = measure(&session).unwrap();
    assert!(!codes(&result).contains(&WarningCode::RollingRadiusAssumed), "{:?}", result.warnings);
    assert!((result.alignment.wheels.fl.rolling_radius_mm.unwrap() - 308.0).abs() < 1e-6);
}

#[test]
fn a_target_that_slipped_is_named_with_its_station() {
    use alignment_core::simulate::ClampSlip;
    let noise = Some(PoseNoise { rotation_deg: 0.005, translation_mm: 0.05 });
    for (stage, station, onward) in [
        (Stage::Sweep, 0, false),
        (Stage::Sweep, 4, false),
        (Stage::Sweep, 1, true),
        (Stage::Sweep, 6, true),
        (Stage::Rolling, 2, false),
        (Stage::Rolling, 3, true),
    ] {
        let angle_deg = if stage == Stage::Sweep { 0.1 } else { 0.6 };
        let slip = ClampSlip { stage, station, onward, wheel: Wheel::Fr, angle_deg };
        for pose_noise in [noise, None] {
            let car = VirtualVehicle { slips: vec![slip], pose_noise, ..VirtualVehicle::default() };
            let result = measure(&car.session()).unwrap();
            let code = if onward { WarningCode::TargetSlippedFrom } else { WarningCode::TargetSlippedOnce };
            let named: Vec<_> = result.warnings.iter().filter(|w| w.code == code).collect();
            assert_eq!(named.len(), 1, "{slip:?}: {:?}", result.warnings);
            assert_eq!(
                (named[0].stage, named[0].station, named[0].wheel),
                (Some(stage), Some(station), Some(Wheel::Fr))
            );
            assert!((named[0].value.unwrap() - angle_deg).abs() < 0.2 * angle_deg, "{}", named[0]);
        }
    }
}

/// A target that tips over on its clamp while the car is rolled, or its wheels are spun.
#[test]
fn a_target_that_tips_between_two_rolling_stations_is_named() {
    use alignment_core::session::CompensationMethod;
    for compensation in [CompensationMethod::Rolled, CompensationMethod::Spun] {
        let roll_deg = (0..7).map(|i| 15.0 * f64::from(i)).collect();
        let car = VirtualVehicle { compensation, roll_deg, ..VirtualVehicle::default() };
        let mut session = car.session();
        let seen = session.rolling.iter_mut().enumerate().filter(|(_, station)| station.fr != Sighting::NotSeen);
        let mut tipped_at = None;
        for (index, station) in seen.skip(3) {
            // The target's x axis lies in the plane of the wheel, or nearly.
            turned(pose(&mut station.fr), [0.5, 0.0, 0.0], true);
            tipped_at = tipped_at.or(Some(index));
        }
        let result = measure(&session).unwrap();
        let named: Vec<_> = result.warnings.iter().filter(|w| w.code == WarningCode::TargetSlippedFrom).collect();
        let place = named.iter().find(|w| w.stage == Some(Stage::Rolling)).map(|w| (w.station, w.wheel));
        assert_eq!(place, Some((tipped_at, Some(Wheel::Fr))), "{compensation:?}: {:?}", result.warnings);
    }
}

/// Nothing says on which side of the car a wheel stands that is alone.
#[test]
fn a_wheel_alone_asks_for_the_opposite_one() {
    let error = refused(|s| {
        for station in &mut s.rolling {
            (station.fr, station.rl, station.rr) = (Sighting::NotSeen, Sighting::NotSeen, Sighting::NotSeen);
        }
    });
    assert_eq!((error.code, error.wheel), (ErrorCode::WheelNotSeen, Some(Wheel::Fr)), "{error}");
}

#[test]
fn a_wheel_that_was_to_be_locked_but_rolled_is_named() {
    let free = VirtualVehicle { sweep_wheels_locked: false, ..VirtualVehicle::default() };
    let result = measure(&Session { sweep_wheels_locked: Some(true), ..free.session() }).unwrap();
    let rolled = [(Some(Stage::Sweep), Some(Wheel::Fl)), (Some(Stage::Sweep), Some(Wheel::Fr))];
    assert_eq!(warned(&result, WarningCode::WheelRolled), rolled, "{:?}", result.warnings);
    let figure = result.warnings.iter().find(|w| w.code == WarningCode::WheelRolled).unwrap();
    // 0.3 of the steer from −20° to +20°.
    assert!((figure.value.unwrap() - 12.0).abs() < 1.0, "{figure}");
    // Five stations tell it; three or four fit a cone whatever the wheel did.
    for (sweep_deg, told) in
        [(vec![-20.0, -10.0, 0.0, 10.0, 20.0], 2), (vec![-20.0, -7.0, 7.0, 20.0], 0), (vec![-20.0, 0.0, 20.0], 0)]
    {
        let session = VirtualVehicle { sweep_deg, ..free.clone() }.session();
        let result = measure(&Session { sweep_wheels_locked: Some(true), ..session }).unwrap();
        assert_eq!(warned(&result, WarningCode::WheelRolled).len(), told, "{:?}", result.warnings);
    }
}

#[test]
fn a_body_found_again_from_free_wheels_does_not_show_its_pitch() {
    use alignment_core::session::SweepBody;
    let car =
        VirtualVehicle { sweep_wheels_locked: false, sweep_body: SweepBody::FoundAgain, ..VirtualVehicle::default() };
    assert!(codes(&measure(&car.session()).unwrap()).contains(&WarningCode::BodyPitchUnseen));
}

/// A knuckle that tipped about a level line between two stations shows no steering axis there: such a line never meets the ground.
#[test]
fn a_step_about_a_level_line_has_no_instantaneous_axis() {
    let mut session = session();
    let tipped = {
        // A turn by 6° about the rig's x axis, before the target's own turn.
        let (sin, cos) = 6.0_f64.to_radians().sin_cos();
        let seen = *pose(&mut session.sweep[4].fl);
        let [x, y, z] = seen.rotation;
        let row = |a: f64, b: f64| core::array::from_fn(|i| a * y[i] + b * z[i]);
        Pose { rotation: [x, row(cos, -sin), row(sin, cos)], ..seen }
    };
    session.sweep.push(Station { fl: tipped.into(), ..session.sweep[4].clone() });
    let axes = measure(&session).unwrap().instantaneous_axes;
    // Of nine steps on the left the level one is left out; on the right the doubled station makes no step.
    assert_eq!((axes.left.len(), axes.right.len()), (8, 8));
    for axis in axes.left {
        assert!(axis.caster_deg.abs() < 80.0 && axis.caster_trail_mm.unwrap().abs() < 1e4, "{axis:?}");
    }
}

/// Where a camera hides both rear targets, the body is not found again, and the station is left out.
#[test]
fn a_station_that_does_not_show_the_body_is_left_out() {
    use alignment_core::session::SweepBody;
    let car = VirtualVehicle { sweep_body: SweepBody::FoundAgain, ..VirtualVehicle::default() };
    let mut session = car.session();
    (session.sweep[3].rl, session.sweep[3].rr) = (Sighting::NotSeen, Sighting::NotSeen);
    let result = measure(&session).unwrap();
    let missed = result.warnings.iter().find(|w| w.code == WarningCode::BodyNotWatched).expect("a warning");
    assert_eq!((missed.stage, missed.value, missed.limit), (Some(Stage::Sweep), Some(8.0), Some(9.0)));
    assert!((result.alignment.steering.left.caster_deg.unwrap() - 4.0).abs() < 1e-9);
}

/// Noise of next to nothing is stated by rigs that have never measured it.
#[test]
fn the_body_is_found_again_whatever_noise_is_stated() {
    use alignment_core::session::SweepBody;
    let car = VirtualVehicle { sweep_body: SweepBody::FoundAgain, ..VirtualVehicle::default() };
    for (rotation_deg, translation_mm) in [(0.01, 1e-200), (1e-200, 0.1), (0.0, 0.1), (5e-324, 5e-324), (0.0, 0.0)] {
        let pose_noise = Some(PoseNoise { rotation_deg, translation_mm });
        let session = Session { pose_noise: pose_noise.map(Noise::PerAxis), ..car.session() };
        let result = measure(&session).unwrap();
        assert!((result.alignment.steering.left.caster_deg.unwrap() - 4.0).abs() < 1e-9, "{pose_noise:?}");
    }
}

/// Two frames have one difference, which is motion as well as scatter.
#[test]
fn two_frames_of_unknown_noise_are_never_said_to_move() {
    for seed in 0..20 {
        let noise = Some(PoseNoise { rotation_deg: 0.01, translation_mm: 0.1 });
        let car = VirtualVehicle { frames: 2, pose_noise: noise, seed, ..VirtualVehicle::default() };
        measure(&Session { pose_noise: None, ..car.session() }).unwrap();
    }
}

/// Where a wheel is missed the car has no frame, yet a wheel that lies flat is no car's.
#[test]
fn a_spindle_that_stands_upright_is_refused_without_a_frame_too() {
    use alignment_core::session::CompensationMethod;
    let car = VirtualVehicle { compensation: CompensationMethod::Spun, ..VirtualVehicle::default() };
    let mut session = car.session();
    session.ahead.rr = Sighting::NotSeen;
    let seen = pose(&mut session.ahead.rl);
    // A quarter turn about the rig's x axis.
    let [x, y, z] = seen.rotation;
    seen.rotation = [x, z.map(|v| -v), y];
    let error = measure(&session).unwrap_err();
    assert_eq!(
        (error.code, error.stage, error.wheel),
        (ErrorCode::SpindleNotLateral, Some(Stage::Ahead), Some(Wheel::Rl))
    );
    assert!(error.value.unwrap() > 88.0 && error.maximum == Some(60.0), "{error}");
}

/// Forward along up says nothing of left and right.
#[test]
fn a_forward_that_points_up_is_refused() {
    use alignment_core::compensation::{wheel_from_rolling, wheel_from_spinning};
    let (up, side) = ([0.0, 0.0, 1.0], alignment_core::Side::Left);
    let pose = |roll: f64| Pose::from_rotation_vector_rad([0.0, roll, 0.0], [310.0 * roll, 760.0, 310.0]).unwrap();
    let poses = [pose(0.0), pose(0.4), pose(0.8)];
    for forward in [up, [0.0, 0.0, -1.0]] {
        for refused in [
            wheel_from_rolling(&poses, side, forward, up, 80.0, None),
            wheel_from_spinning(&poses, side, forward, up, 80.0),
        ] {
            let error = refused.unwrap_err();
            assert_eq!((error.code, error.input), (ErrorCode::AngleOutOfRange, Some("forward")), "{error}");
        }
    }
}

/// The one code that no session provokes.
#[test]
fn a_text_that_is_no_tyre_size_names_the_part() {
    let error = alignment_core::tyre::size_from_code("205/55R91").unwrap_err();
    assert_eq!((error.code, error.input), (ErrorCode::NotATyreSize, Some("rim diameter")));
    assert_eq!((error.value, error.minimum, error.maximum), (Some(91.0), Some(8.0), Some(30.0)));
    assert_eq!((error.stage, error.station, error.wheel), (None, None, None));
}

/// Turns a pose about an axis of its own target, or of the rig.
fn turned(pose: &mut Pose, rotation_vector_deg: [f64; 3], in_target: bool) {
    let turn = Pose::from_rotation_vector_rad(rotation_vector_deg.map(f64::to_radians), [0.0; 3]).unwrap().rotation;
    let (a, b) = if in_target { (pose.rotation, turn) } else { (turn, pose.rotation) };
    pose.rotation = core::array::from_fn(|i| core::array::from_fn(|j| (0..3).map(|k| a[i][k] * b[k][j]).sum()));
}

#[test]
fn a_target_that_tips_between_the_stages_is_named() {
    // Between the rolling and the ahead station, at the rear.
    let mut tipped = session();
    turned(pose(&mut tipped.ahead.rl), [0.5, 0.0, 0.0], false);
    for wheel_pose in tipped.sweep.iter_mut().map(|station| &mut station.rl) {
        turned(pose(wheel_pose), [0.5, 0.0, 0.0], false);
    }
    let named = warned(&measure(&tipped).unwrap(), WarningCode::AheadDisagrees);
    assert_eq!(named, [(Some(Stage::Ahead), Some(Wheel::Rl))]);
    // Between the ahead station and the sweep, in front.
    let mut tipped = session();
    turned(pose(&mut tipped.ahead.fl), [0.5, 0.0, 0.0], false);
    let named = warned(&measure(&tipped).unwrap(), WarningCode::AheadDisagrees);
    assert_eq!(named, [(Some(Stage::Ahead), Some(Wheel::Fl))]);
    // Between the rolling and all that follows, in front.
    let mut tipped = session();
    let stations = [&mut tipped.ahead].into_iter().chain(&mut tipped.sweep);
    for station in stations.chain(&mut tipped.lock_left).chain(&mut tipped.lock_right) {
        // In the target's own frame, since it slipped on its clamp; there z is about the spindle, x across.
        turned(pose(&mut station.fr), [0.5, 0.0, 0.0], true);
    }
    let named = warned(&measure(&tipped).unwrap(), WarningCode::AheadDisagrees);
    assert_eq!(named, [(Some(Stage::Ahead), Some(Wheel::Fr))]);
    // A body that turned between the rolling and all that follows is no such thing.
    let mut moved = session();
    let stations = [&mut moved.ahead].into_iter().chain(&mut moved.sweep);
    for station in stations.chain(&mut moved.lock_left).chain(&mut moved.lock_right) {
        for wheel in Wheel::ALL {
            let pose = pose(station.get_mut(wheel));
            turned(pose, [0.0, 0.0, 3.0], false);
            let turn = Pose::from_rotation_vector_rad([0.0, 0.0, 3.0_f64.to_radians()], [0.0; 3]).unwrap().rotation;
            let at = pose.translation_mm;
            pose.translation_mm = turn.map(|row| row[0] * at[0] + row[1] * at[1] + row[2] * at[2]);
        }
    }
    assert_eq!(codes(&measure(&moved).unwrap()), []);
}

#[test]
fn rear_targets_that_do_not_carry_the_body_are_named() {
    use alignment_core::session::SweepBody;
    use alignment_core::simulate::ClampSlip;
    let slip = ClampSlip { stage: Stage::Sweep, station: 4, onward: false, wheel: Wheel::Rl, angle_deg: 0.5 };
    let car = VirtualVehicle { sweep_body: SweepBody::FoundAgain, ..VirtualVehicle::default() };
    let one = VirtualVehicle { slips: vec![slip], ..car.clone() };
    let result = measure(&one.session()).unwrap();
    let named: Vec<_> = result.warnings.iter().filter(|w| w.code == WarningCode::RearDisagree).collect();
    assert_eq!((named.len(), named[0].stage, named[0].station), (1, Some(Stage::Sweep), Some(4)));
    assert!((named[0].value.unwrap() - 0.5).abs() < 0.01, "{}", named[0]);
    // Both rolled alike after the ahead station: the body seems to have pitched, and the front wheels to have left their axes.
    let both = [Wheel::Rl, Wheel::Rr].map(|wheel| ClampSlip { wheel, station: 0, onward: true, ..slip });
    let result = measure(&VirtualVehicle { slips: both.to_vec(), ..car }.session()).unwrap();
    let named = warned(&result, WarningCode::AheadDisagrees);
    assert_eq!(named, [(Some(Stage::Ahead), Some(Wheel::Fl)), (Some(Stage::Ahead), Some(Wheel::Fr))]);
}

#[test]
fn a_body_watched_at_some_stations_only_is_told() {
    use alignment_core::session::SweepBody;
    let mut session = session();
    for station in &mut session.sweep[2..] {
        (station.rl, station.rr) = (Sighting::NotSeen, Sighting::NotSeen);
    }
    let result = measure(&session).unwrap();
    let told = result.warnings.iter().find(|w| w.code == WarningCode::BodyNotWatched).expect("a warning");
    assert_eq!((told.value, told.limit), (Some(2.0), Some(9.0)));
    // Found again, the stations that show no rear target are left out, each named; so are the locks.
    session.sweep_body = SweepBody::FoundAgain;
    session.lock_left = session.lock_left.map(|lock| Station { rl: Sighting::NotSeen, rr: Sighting::NotSeen, ..lock });
    let error = measure(&session).unwrap_err();
    assert_eq!((error.code, error.stage), (ErrorCode::SweepTooSmall, Some(Stage::Sweep)));
    let all = refused_or(&mut session, |s| s.sweep = VirtualVehicle::default().session().sweep);
    assert_eq!(codes(&all), [WarningCode::BodyNotWatched]);
    assert_eq!((all.warnings[0].stage, all.alignment.turns.lock_left.left_deg), (Some(Stage::LockLeft), None));
}

fn refused_or(session: &mut Session, change: impl FnOnce(&mut Session)) -> Measurement {
    change(session);
    measure(session).unwrap()
}

#[test]
fn spun_wheels_without_a_radius_say_what_is_absent() {
    use alignment_core::session::CompensationMethod;
    let car = VirtualVehicle { compensation: CompensationMethod::Spun, ..VirtualVehicle::default() };
    let result = measure(&Session { loaded_radius_mm: None, ..car.session() }).unwrap();
    assert_eq!(codes(&result), [WarningCode::RadiusUnknown; 4]);
    let left = result.alignment.steering.left;
    assert_eq!((left.caster_trail_mm, left.caster_deg.is_some()), (None, true));
}

#[test]
fn toe_out_between_distant_stations_is_told() {
    let car = VirtualVehicle { sweep_deg: vec![-25.0, 0.0, 25.0], ..VirtualVehicle::default() };
    let result = measure(&car.session()).unwrap();
    let told = [(Some(Stage::Sweep), Some(Wheel::Fl)), (Some(Stage::Sweep), Some(Wheel::Fr))];
    assert_eq!(warned(&result, WarningCode::TurnSparse), told);
}

/// What is mirrored stays so when cameras are blocked straight ahead: the rolling showed it.
#[test]
fn blocked_cameras_hide_no_mirror() {
    use alignment_core::session::CompensationMethod;
    let front_left_twice = |wheel: Wheel| match wheel {
        Wheel::Fl => Wheel::Rl,
        Wheel::Rl => Wheel::Fl,
        other => other,
    };
    for seed in 0..20 {
        for compensation in [CompensationMethod::Rolled, CompensationMethod::Spun] {
            let sound = VirtualVehicle { compensation, ..VirtualVehicle::random(seed) }.session();
            for hidden in 1..15 {
                let hide = |mut session: Session| {
                    for (bit, wheel) in Wheel::ALL.into_iter().enumerate() {
                        if hidden >> bit & 1 == 1 {
                            *session.ahead.get_mut(wheel) = Sighting::NotSeen;
                        }
                    }
                    measure(&session)
                };
                let place = format!("seed {seed}, hidden {hidden:04b}");
                let error = hide(exchanged(&sound, Wheel::opposite)).unwrap_err();
                assert!(matches!(error.code, ErrorCode::SidesSwapped | ErrorCode::Mirrored), "{place}: {error}");
                assert!(hide(exchanged(&sound, front_left_twice)).is_err(), "{place}");
                let error = hide(Session { up: sound.up.map(|up| up.map(|v| -v)), ..sound.clone() }).unwrap_err();
                assert!(matches!(error.code, ErrorCode::UpInverted | ErrorCode::Mirrored), "{place}: {error}");
                let round = exchanged(&exchanged(&sound, other_end), Wheel::opposite);
                assert_eq!(hide(round).unwrap_err().code, ErrorCode::EndsSwapped, "{place}");
                assert!(hide(sound.clone()).is_ok(), "{place}");
            }
        }
    }
}

/// Rounding that keeps the wheel plane from settling to the last bit is no fault of the car.
#[test]
fn a_wheel_plane_from_few_and_many_stations_is_found() {
    use alignment_core::session::Datum;
    for seed in 0..50 {
        let mut session = VirtualVehicle::random(seed).session();
        session.reference.datum = Datum::WheelPlane;
        let two = [session.rolling[0].clone(), session.rolling[4].clone()];
        let third = Station { fl: Sighting::NotSeen, ..session.rolling[2].clone() };
        session.rolling = two.iter().cycle().take(60).cloned().chain([third]).collect();
        let result = measure(&session);
        assert!(result.is_ok(), "seed {seed}: {}", result.unwrap_err());
    }
}

#[test]
fn a_runway_that_is_not_under_the_car_is_refused() {
    use alignment_core::session::Datum;
    let mut session = session();
    session.reference.datum = Datum::Runway;
    let session = session_on_runway(&session, 0.0);
    let shifted = |by: [f64; 3]| {
        let runway = session.runway_mm.unwrap();
        let at = |wheel| core::array::from_fn(|i| runway.get(wheel)[i] + by[i]);
        measure(&Session { runway_mm: Some(ByWheel::from_fn(at)), ..session.clone() }).unwrap_err()
    };
    let error = shifted([0.0, 0.0, -2000.0]);
    assert_eq!((error.code, error.input), (ErrorCode::LengthOutOfRange, Some("height over runway_mm")));
    let error = shifted([3000.0, 0.0, 0.0]);
    assert_eq!((error.code, error.input), (ErrorCode::LengthOutOfRange, Some("distance from runway_mm")));
}

#[test]
fn a_station_whose_yaw_nobody_saw_counts_for_nothing() {
    let car = VirtualVehicle { rolling_yaw_deg_per_m: 1.0, ..VirtualVehicle::default() };
    let truth = measure(&car.session()).unwrap().alignment.wheels.fl.camber_deg.unwrap();
    let mut session = car.session();
    let fl = session.rolling[0].fl.clone();
    session.rolling[0] = Station { fl, ..Station::default() };
    let found = measure(&session).unwrap().alignment.wheels.fl.camber_deg.unwrap();
    assert!((found - truth).abs() < 1e-4, "{found} {truth}");
}

#[test]
fn a_body_that_turns_at_a_lock_is_told_and_so_is_one_that_nobody_watched() {
    let mut session = session();
    let lock = session.lock_right.as_mut().unwrap();
    for wheel in [Wheel::Rl, Wheel::Rr] {
        turned(pose(lock.get_mut(wheel)), [0.0, 0.0, 0.3], false);
    }
    let lock = session.lock_left.as_mut().unwrap();
    (lock.rl, lock.rr) = (Sighting::NotSeen, Sighting::NotSeen);
    let result = measure(&session).unwrap();
    let moved = [Wheel::Rl, Wheel::Rr].map(|wheel| (Some(Stage::LockRight), Some(wheel)));
    assert_eq!(warned(&result, WarningCode::BodyMoved), moved);
    assert_eq!(warned(&result, WarningCode::BodyNotWatched), [(Some(Stage::LockLeft), None)]);
}

#[test]
fn a_lock_that_hides_a_wheel_says_so() {
    let mut session = session();
    session.lock_left.as_mut().unwrap().fr = Sighting::NotSeen;
    let result = measure(&session).unwrap();
    assert_eq!(warned(&result, WarningCode::WheelBlocked), [(Some(Stage::LockLeft), Some(Wheel::Fr))]);
}

#[test]
fn a_number_out_of_its_range_is_told_with_the_range() {
    let error = alignment_core::repeatability::one_way(&[[0.1], [0.2]]).unwrap_err();
    assert_eq!((error.code, error.value, error.minimum), (ErrorCode::OutOfRange, Some(1.0), Some(2.0)));
    assert!(error.to_string().starts_with("number of values in the largest group: number out of range: 1,"), "{error}");
}

#[test]
fn a_value_that_cannot_be_judged_names_the_number() {
    let (known, limits) =
        (Uncertain { standard_uncertainty: 0.1, degrees_of_freedom: None }, Limits { min: Some(0.0), max: Some(1.0) });
    let refused = |value, known, limits, probability| {
        let decision = Decision { probability, ..Decision::default() };
        let error = judge(value, Some(known), limits, decision).unwrap_err();
        (error.code, error.input.unwrap())
    };
    let negative = Uncertain { standard_uncertainty: -0.1, ..known };
    let none_free = Uncertain { degrees_of_freedom: Some(0.5), ..known };
    let nan_free = Uncertain { degrees_of_freedom: Some(f64::NAN), ..known };
    for (found, expected) in [
        (refused(f64::NAN, known, limits, 0.95), (ErrorCode::NotFinite, "value")),
        (refused(1e300, known, limits, 0.95), (ErrorCode::OutOfRange, "value")),
        (refused(0.5, negative, limits, 0.95), (ErrorCode::OutOfRange, "standard_uncertainty")),
        (refused(0.5, none_free, limits, 0.95), (ErrorCode::OutOfRange, "degrees_of_freedom")),
        (refused(0.5, nan_free, limits, 0.95), (ErrorCode::NotFinite, "degrees_of_freedom")),
        (refused(0.5, known, limits, 1.0), (ErrorCode::OutOfRange, "probability")),
        (refused(0.5, known, Limits { min: Some(2.0), ..limits }, 0.95), (ErrorCode::OutOfRange, "limits")),
        (refused(0.5, known, Limits::default(), 0.95), (ErrorCode::MissingInput, "limits")),
    ] {
        assert_eq!(found, expected);
    }
    let production = Production { mean: 0.0, standard_deviation: 0.0 };
    let error = global_risks(production, 0.1, limits, limits).unwrap_err();
    assert_eq!((error.code, error.input), (ErrorCode::OutOfRange, Some("standard_deviation")));
    let production = Production { mean: 0.0, standard_deviation: 1.0 };
    let error = global_risks(production, 0.1, limits, Limits::default()).unwrap_err();
    assert_eq!((error.code, error.input), (ErrorCode::MissingInput, Some("acceptance")));
}

#[test]
fn limits_that_cannot_be_used_name_their_path() {
    let (camber, max) = ("wheels.fl.camber_deg", Tolerance { max: Some(1.0), ..Tolerance::default() });
    let refused = |path: &'static str, tolerance, uncertainty: Option<f64>| {
        let limits = [(path, tolerance)].into_iter().collect();
        let known = Alignment::from_values(&[uncertainty; paths::COUNT]);
        let readings = Alignment::from_values(&[Some(0.0); paths::COUNT]);
        let specification = Specification { limits, ..Specification::default() };
        let error = judge_all(&readings, Some(&known), None, &specification).unwrap_err();
        (error.code, error.input.unwrap())
    };
    let arcmin = Tolerance { unit: Some(Unit::Arcmin), ..max };
    for (path, tolerance, uncertainty, code) in [
        ("wheels.fl.camber", max, None, ErrorCode::UnknownReading),
        ("wheels.fl.spindle[0]", max, None, ErrorCode::UnknownReading),
        (camber, Tolerance::default(), None, ErrorCode::NotASpecification),
        ("axles.front.track_mm", arcmin, None, ErrorCode::NotASpecification),
        (camber, Tolerance { min: Some(f64::NAN), ..max }, None, ErrorCode::NotFinite),
        (camber, Tolerance { min: Some(2.0), ..max }, None, ErrorCode::OutOfRange),
        (camber, max, Some(-1.0), ErrorCode::OutOfRange),
    ] {
        assert_eq!(refused(path, tolerance, uncertainty), (code, path));
    }
    // What is not measured is not judged, so its uncertainty plays no part.
    let specification = Specification { limits: [(camber, max)].into_iter().collect(), ..Specification::default() };
    let unknown = Alignment::from_values(&[Some(f64::NAN); paths::COUNT]);
    let verdicts = judge_all(&Alignment::default(), Some(&unknown), Some(&unknown), &specification).unwrap();
    assert_eq!(verdicts.readings[0].standard_uncertainty, None);
    assert_eq!(Alignment::default().get("camber").unwrap_err().code, ErrorCode::UnknownReading);
}

fn known(standard_uncertainty: f64) -> Input {
    Input::known(1.0, standard_uncertainty)
}

#[test]
fn uncertainties_that_cannot_be_are_out_of_range() {
    let sum = |inputs: &[Input; 2]| law_of_propagation(inputs, None, |[a, b]| [a + b]).unwrap_err();
    let error = sum(&[known(0.1), known(-0.2)]);
    assert_eq!((error.code, error.input), (ErrorCode::OutOfRange, Some("standard_uncertainty")));
    assert!(error.to_string().contains("out of range: -0.2, at least 0 needed"), "{error}");
    let error = sum(&[known(0.1), Input { degrees_of_freedom: 0.5, ..known(0.1) }]);
    assert_eq!((error.code, error.input), (ErrorCode::OutOfRange, Some("degrees_of_freedom")));
    for (spoiled, input) in [
        (known(f64::NAN), "standard_uncertainty"),
        (Input { estimate: f64::INFINITY, ..known(0.1) }, "estimate"),
        (Input { degrees_of_freedom: f64::NAN, ..known(0.1) }, "degrees_of_freedom"),
        (known(1e200), "covariance"),
    ] {
        let error = sum(&[known(0.1), spoiled]);
        assert_eq!((error.code, error.input), (ErrorCode::NotFinite, Some(input)));
    }
    // No derivative, and no value.
    let error = law_of_propagation(&[known(0.1)], None, |[a]| [(a - a).sqrt()]).unwrap_err();
    assert_eq!((error.code, error.input), (ErrorCode::NotFinite, Some("sensitivities")));
    let error = combine(&[known(0.1)], None, &[f64::NAN], &[vec![1.0]]).unwrap_err();
    assert_eq!((error.code, error.input), (ErrorCode::NotFinite, Some("outputs")));
    let error = combine(&[known(0.1)], None, &[1.0], &[vec![1.0, 2.0]]).unwrap_err();
    assert_eq!((error.code, error.input, error.value), (ErrorCode::OutOfRange, Some("sensitivities"), Some(2.0)));
    for (probability, freedom, code, input) in [
        (1.0, 4.0, ErrorCode::OutOfRange, "probability"),
        (-0.1, 4.0, ErrorCode::OutOfRange, "probability"),
        (f64::NAN, 4.0, ErrorCode::NotFinite, "probability"),
        (0.95, 0.0, ErrorCode::OutOfRange, "degrees_of_freedom"),
        (0.95, f64::NAN, ErrorCode::NotFinite, "degrees_of_freedom"),
    ] {
        let error = coverage_factor(probability, freedom).unwrap_err();
        assert_eq!((error.code, error.input), (code, Some(input)));
    }
    let error = Input::from_observations(&[1.0]).unwrap_err();
    assert_eq!((error.code, error.input, error.minimum), (ErrorCode::OutOfRange, Some("observations"), Some(2.0)));
    let error = Input::from_observations(&[1.0, f64::NAN]).unwrap_err();
    assert_eq!((error.code, error.input), (ErrorCode::NotFinite, Some("observations")));
    let error = effective_degrees_of_freedom(&[(-1.0, 4.0)]).unwrap_err();
    assert_eq!((error.code, error.input), (ErrorCode::OutOfRange, Some("variance_share")));
    let error = numerical_tolerance(0.1, 5).unwrap_err();
    assert_eq!(
        (error.code, error.input, error.maximum),
        (ErrorCode::OutOfRange, Some("significant_digits"), Some(4.0))
    );
}

#[test]
fn distributions_that_cannot_be_are_out_of_range() {
    use Distribution::{CurvilinearTrapezoid, Exponential, Normal, Rectangular, StudentT, Trapezoidal};
    for (distribution, input) in [
        (Normal { mean: 0.0, standard_deviation: -1.0 }, "standard_deviation"),
        (Rectangular { least: 2.0, most: 1.0 }, "most"),
        (Trapezoidal { least: 1.0, most: 2.0, top: 1.1 }, "top"),
        (CurvilinearTrapezoid { least: 1.0, most: 2.0, limits_within: 0.6 }, "limits_within"),
        (StudentT { centre: 0.0, scale: 1.0, degrees_of_freedom: 0.0 }, "degrees_of_freedom"),
        (Exponential { mean: -1.0 }, "mean"),
    ] {
        let error = monte_carlo(&[distribution], None, |x| x, Settings::default()).unwrap_err();
        assert_eq!((error.code, error.input), (ErrorCode::OutOfRange, Some(input)));
    }
    let error = Rectangular { least: f64::MIN, most: f64::MAX }.input().unwrap_err();
    assert_eq!((error.code, error.input), (ErrorCode::NotFinite, Some("most")));
    // Only normal inputs can be correlated.
    let inputs = [Normal { mean: 0.0, standard_deviation: 1.0 }, Rectangular { least: 0.0, most: 1.0 }];
    let error = monte_carlo(&inputs, Some(&[[1.0, 0.5], [0.5, 1.0]]), |x| x, Settings::default()).unwrap_err();
    assert_eq!((error.code, error.input, error.value), (ErrorCode::OutOfRange, Some("correlation"), Some(0.5)));
    for (settings, input) in [
        (Settings { probability: 1.0, ..Settings::default() }, "probability"),
        (Settings { significant_digits: 0, ..Settings::default() }, "significant_digits"),
        (Settings { most_trials: 100, ..Settings::default() }, "most_trials"),
    ] {
        let error = monte_carlo(&inputs, None, |x| x, settings).unwrap_err();
        assert_eq!((error.code, error.input), (ErrorCode::OutOfRange, Some(input)));
    }
    let error = monte_carlo(&inputs, None, |[a, _]| [a.sqrt()], Settings::default()).unwrap_err();
    assert_eq!((error.code, error.input), (ErrorCode::NotFinite, Some("outputs")));
}

#[test]
fn correlations_that_cannot_be_are_refused() {
    let inputs = [known(0.1); 3];
    let normal = [Distribution::Normal { mean: 1.0, standard_deviation: 0.1 }; 3];
    for matrix in [
        // Not symmetric; beyond 1; not 1 with itself.
        [[1.0, 0.1, 0.0], [0.2, 1.0, 0.0], [0.0, 0.0, 1.0]],
        [[1.0, 1.1, 0.0], [1.1, 1.0, 0.0], [0.0, 0.0, 1.0]],
        [[1.0, 0.0, 0.0], [0.0, 0.5, 0.0], [0.0, 0.0, 1.0]],
        // Two that go with a third go with each other.
        [[1.0, 0.9, 0.9], [0.9, 1.0, -0.9], [0.9, -0.9, 1.0]],
        // JCGM 100:2008, H.2, as printed to three decimals: rounding leaves one combination a variance of −0.0005.
        [[1.0, -0.588, -0.485], [-0.588, 1.0, 0.993], [-0.485, 0.993, 1.0]],
    ] {
        let error = law_of_propagation(&inputs, Some(&matrix), |[a, b, c]| [a + b + c]).unwrap_err();
        assert_eq!((error.code, error.input), (ErrorCode::NotACovariance, Some("correlation")));
        let error = monte_carlo(&normal, Some(&matrix), |x| x, Settings::default()).unwrap_err();
        assert_eq!((error.code, error.input), (ErrorCode::NotACovariance, Some("correlation")));
    }
    // Rounding of 1e-9 is taken, and no more.
    let off = |by: f64| {
        law_of_propagation(&inputs, Some(&[[1.0, by, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]), |[a, b, c]| [a + b + c])
    };
    assert!(off(1e-9).is_ok() && off(1e-9_f64.next_up()).is_err());
    // What goes entirely together, or against each other, is a covariance though its determinant is 0.
    let matrix = [[1.0, 1.0, -1.0], [1.0, 1.0, -1.0], [-1.0, -1.0, 1.0]];
    let result = law_of_propagation(&inputs, Some(&matrix), |[a, b, c]| [a + b + c]).unwrap();
    assert!((result.outputs[0].standard_uncertainty - 0.1).abs() < 1e-15);
    let result = monte_carlo(&normal, Some(&matrix), |[a, b, c]| [a + b + c, b - a], Settings::default()).unwrap();
    assert!((result.outputs[0].standard_uncertainty - 0.1).abs() < 1e-3);
    assert!(result.outputs[1].standard_uncertainty < 1e-12);
}

#[test]
fn trials_that_do_not_settle_say_how_many_there_were() {
    let inputs = [Distribution::Normal { mean: 0.0, standard_deviation: 1.0 }];
    let settings = Settings { significant_digits: 4, most_trials: 150_000, ..Settings::default() };
    let error = monte_carlo(&inputs, None, |x| x, settings).unwrap_err();
    assert_eq!((error.code, error.input, error.value), (ErrorCode::NotSettled, Some("most_trials"), Some(1.5e5)));
    assert!(error.to_string().contains("did not settle: 150000; allow more trials"), "{error}");
}

/// To be fitted as a whole, its noise stated.
fn jointly(session: Session) -> Session {
    let noise = PoseNoise { rotation_deg: 0.005, translation_mm: 0.05 };
    Session { method: Method::Joint, pose_noise: Some(noise.into()), ..session }
}

/// Of a wheel whose rolling poses are all bad, and each otherwise, nothing tells the spindle.
#[test]
fn a_wheel_without_a_sound_rolling_pose_is_not_determined() {
    let mut spoiled = jointly(session());
    spoiled.joint.robust = true;
    for (index, station) in spoiled.rolling.iter_mut().enumerate() {
        let sign = if index % 2 == 0 { 1.0 } else { -1.0 };
        let mut turn = [0.0; 3];
        turn[index % 3] = sign;
        turned(pose(&mut station.rl), turn, false);
        pose(&mut station.rl).translation_mm[index % 3] += 10.0 * sign;
    }
    let error = measure(&spoiled).unwrap_err();
    let place = (error.code, error.input, error.wheel);
    assert_eq!(place, (ErrorCode::NotDetermined, Some("spindle"), Some(Wheel::Rl)), "{error}");
    assert_eq!((error.value, error.minimum), (Some(0.0), Some(1e-11)));
    assert!(error.to_string().starts_with("spindle.rl: the stations do not tell this from all else"), "{error}");
}

/// Front targets that tip to and fro by 25° from station to station are on no car that steers.
#[test]
fn poses_of_no_rigid_car_do_not_converge() {
    let mut tipping = jointly(session());
    for (station, tip) in tipping.sweep.iter_mut().zip([-25.0, 0.0, 25.0].into_iter().cycle()) {
        for wheel in [Wheel::Fl, Wheel::Fr] {
            turned(pose(station.get_mut(wheel)), [0.0, tip, 0.0], false);
        }
    }
    let error = measure(&tipping).unwrap_err();
    assert_eq!(error.code, ErrorCode::NotConverged, "{error}");
    assert!(error.maximum.unwrap() > 0.0 && error.value.is_none_or(|fell| fell > error.maximum.unwrap()), "{error}");
    assert!(error.to_string().contains("did not converge, for no rigid car is near the poses"), "{error}");
    // Stage by stage it is measured, with a warning.
    let result = measure(&Session { method: Method::Staged, ..tipping }).unwrap();
    assert!(codes(&result).contains(&WarningCode::ResidualHigh), "{:?}", result.warnings);
}

/// A noise that is stated a quarter too small, where no one target is to blame.
#[test]
fn a_fit_that_noise_does_not_explain_is_poor() {
    let noise = PoseNoise { rotation_deg: 0.0065, translation_mm: 0.065 };
    let noisy = VirtualVehicle { pose_noise: Some(noise), ..VirtualVehicle::default() }.session();
    let result = measure(&Session { method: Method::Joint, ..noisy.clone() }).unwrap();
    assert_eq!(codes(&result), []);
    let result = measure(&jointly(noisy)).unwrap();
    let [poor] = result.warnings[..] else { panic!("{:?}", result.warnings) };
    assert_eq!((poor.code, poor.stage, poor.wheel, poor.limit), (WarningCode::FitPoor, None, None, Some(1e-4)));
    assert_eq!(poor.value, result.fit.unwrap().p_value);
    assert!(poor.value.unwrap() < 1e-8, "{poor}");
}

#[test]
fn a_pose_that_does_not_belong_is_left_out_with_its_place() {
    let mut spoiled = jointly(session());
    turned(pose(&mut spoiled.sweep[3].fr), [1.0, 0.0, 0.0], false);
    spoiled.joint.robust = true;
    let result = measure(&spoiled).unwrap();
    let [out] = result.warnings[..] else { panic!("{:?}", result.warnings) };
    let place = (out.code, out.stage, out.station, out.wheel);
    assert_eq!(place, (WarningCode::PoseLeftOut, Some(Stage::Sweep), Some(3), Some(Wheel::Fr)));
    // 1° is 200 times the noise: over six directions, and with the noise of where the others put it, less than 200/√6.
    assert!((40.0..200.0 / 6f64.sqrt() * 1.1).contains(&out.value.unwrap()), "{out}");
    let fit = result.fit.unwrap();
    let left_out = fit.poses.iter().find(|pose| pose.left_out).unwrap();
    // But for what looks like a steer angle: the axis leans by 4° in the plane of the turn.
    let seen = 4f64.to_radians().cos();
    assert!((left_out.rotation_deg - seen).abs() < 1e-3 && Some(left_out.standardised) == out.value, "{left_out:?}");
    let found = result.alignment.steering.right.caster_deg.unwrap();
    assert!((found - VirtualVehicle::default().truth().steering.right.caster_deg.unwrap()).abs() < 1e-9);
}

/// Four of five rolling poses: the fifth and the ahead station are left, and hardly check each other.
#[test]
fn a_wheel_that_lost_most_of_its_poses_is_doubted() {
    let mut spoiled = jointly(session());
    for (index, along) in [(0, [1.0, 0.0, 0.0]), (1, [0.0, 0.0, 1.0]), (2, [0.0, 0.0, -1.0]), (3, [-1.0, 0.0, 0.0])] {
        turned(pose(&mut spoiled.rolling[index].rl), along, false);
    }
    spoiled.joint.robust = true;
    let result = measure(&spoiled).unwrap();
    assert_eq!(warned(&result, WarningCode::PoseLeftOut).len(), 4);
    let doubt = result.warnings.iter().find(|warning| warning.code == WarningCode::HardlyChecked).unwrap();
    assert_eq!((doubt.stage, doubt.wheel), (Some(Stage::Rolling), Some(Wheel::Rl)));
    assert_eq!((doubt.value, doubt.limit), (Some(2.0), Some(3.0)));
}

/// What a record may be instead: tests/core/record.rs tries every byte.
#[test]
fn a_text_that_is_no_record_or_was_changed_is_told_apart() {
    let text = crate::record::full().to_json().unwrap();
    let changed = Record::from_json(&text.replacen("41 200 km", "14 200 km", 1)).unwrap_err();
    assert_eq!((changed.code, changed.path.as_str()), (ErrorCode::RecordDamaged, "digest"));
    assert!(changed.line > 1 && changed.to_string().contains("ask whoever wrote it"), "{changed}");
    let session = Record::from_json(&session_to_json(&VirtualVehicle::default().session())).unwrap_err();
    assert_eq!(session.code, ErrorCode::NotARecord);
}

/// Every code has a test above; a new one without is found here.
#[test]
fn every_code_is_provoked_in_this_file() {
    let source = std::fs::read_to_string(crate::project_file("tests/core/errors.rs")).unwrap();
    for code in ErrorCode::ALL.iter().filter(|&&code| !matches!(code, ErrorCode::NotASession | ErrorCode::ThirdAxle)) {
        assert!(source.contains(&format!("ErrorCode::{code:?}")), "{code:?} has no test");
    }
    for &code in WarningCode::ALL {
        assert!(source.contains(&format!("WarningCode::{code:?}")), "{code:?} has no test");
    }
}
