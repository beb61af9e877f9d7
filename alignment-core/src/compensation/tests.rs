use super::*;

/// What a batch passes over asks for no explanation, nor is it high; and nothing more is passed over.
#[cfg(feature = "simd")]
#[test]
fn what_is_passed_over_is_all_that_asks_for_nothing() {
    let noise = Some(PoseNoise { rotation_deg: 0.02, translation_mm: 0.3 });
    let all = Residual { rotation_deg: 1e3, translation_mm: 1e3 };
    let high = Residual { rotation_deg: 1e-3, translation_mm: 1e-2 };
    for noise in [noise, None] {
        for count in [4.0, 5.0, 9.0] {
            let [tilt, shift] = most_left_over(count, all, noise);
            let of_shift = |squares: f64| {
                slip::is_suspect(squares, 2.0 * count - 5.0, noise.map(|noise| noise.translation_mm), LEAST_SLIP_MM)
            };
            assert!(!tilt_is_suspect(tilt, count, noise) && tilt_is_suspect(tilt * 1.001, count, noise));
            assert!(!of_shift(shift) && of_shift(shift * 1.001));
            let [tilt_high, shift_high] = most_left_over(count, high, noise);
            let expected = [tilt.min(count * 1e-6), shift.min(count * 1e-4)];
            assert!((tilt_high / expected[0] - 1.0).abs() < 1e-12 && (shift_high / expected[1] - 1.0).abs() < 1e-12);
        }
    }
    // The degrees of freedom: two equations a station, and four unknowns.
    let [few, many] = [4.0, 9.0].map(|count| most_left_over(count, all, None)[0]);
    assert!((many / few - 14.0 / 4.0).abs() < 1e-12, "{few} {many}");
}

const UP: [f64; 3] = [0.0, 0.0, 1.0];

/// Where a wheel of a car stands, mm; rear wheels set back unlike.
fn place(wheel: Wheel) -> Vector<Rig> {
    let [x, y] = [wheel.end_sign() * 1300.0, wheel.side().sign() * 750.0];
    Vector::new([if wheel == Wheel::Rr { x - 90.0 } else { x }, y, 310.0])
}

/// A station that saw these wheels of a car that rolled so far, yawed, and moved: a target off the spindle by so much.
fn seen(wheels: &[Wheel], roll_rad: f64, yaw_rad: f64, moved: [f64; 3], off: [f64; 3]) -> Poses {
    let turn = |axis: [f64; 3], by: f64| nalgebra::Rotation3::new(nalgebra::Vector3::from(axis) * by).into_inner();
    let yaw = Transform::<Rig, Rig>::from_parts(turn(UP, yaw_rad), Vector::new(moved));
    let mut station = Poses::default();
    for &wheel in wheels {
        let turned = Transform::<Rig, Target>::from_parts(turn([0.0, 1.0, 0.0], roll_rad), Vector::zero());
        let on_car = Transform::from_parts(turned.rotation, place(wheel) + turned.direction(Vector::new(off)));
        *station.get_mut(wheel) = Some(yaw.then_from(&on_car));
    }
    station
}

/// However few wheels were seen: by the mate, by the other axle, along the own side, and across the corner at least roughly.
#[test]
fn outward_is_told_by_the_other_wheels() {
    use Wheel::{Fl, Fr, Rl, Rr};
    for (wheels, sure) in [
        (&[Fl, Fr, Rl, Rr][..], true),
        (&[Fl, Fr, Rl], true),
        (&[Rl, Fl, Fr], true),
        (&[Fl, Fr], true),
        (&[Rl, Rr], true),
        (&[Fl, Rl], true),
        (&[Fr, Rr], true),
        (&[Fl, Rr], false),
        (&[Fr, Rl], false),
    ] {
        let stations = [0.0, 0.2].map(|roll| seen(wheels, roll, 0.0, [310.0 * roll, 0.0, 0.0], [20.0, 0.0, -30.0]));
        let found = laterals(&stations, Vector::new(UP));
        for &wheel in wheels {
            let side = wheel.side().sign();
            match found.get(wheel) {
                Some(Lateral::Sure(outward)) => {
                    assert!(sure && side * outward.unit().y() > 0.99, "{wheels:?} {wheel:?}: {outward:?}");
                }
                Some(Lateral::Rough(outward)) => {
                    assert!(!sure && side * outward.unit().y() > 0.4, "{wheels:?} {wheel:?}: {outward:?}");
                }
                None => panic!("{wheels:?} {wheel:?}"),
            }
        }
    }
    // A wheel that was seen once shows nothing, and one alone has no outward.
    for stations in [
        [seen(&[Fl, Fr], 0.0, 0.0, [0.0; 3], [0.0; 3]), Poses::default()],
        [seen(&[Fl], 0.0, 0.0, [0.0; 3], [0.0; 3]); 2],
    ] {
        assert!(laterals(&stations, Vector::new(UP)).get(Fl).is_none());
    }
}

#[test]
fn up_is_the_side_on_which_wheels_roll() {
    let rolled = |wheels: &[Wheel], sign: f64| -> Vec<Poses> {
        let rolls = (0..4).map(|i| 0.15 * f64::from(i));
        rolls.map(|roll| seen(wheels, sign * roll, 0.0, [310.0 * roll, 0.0, 0.0], [0.0; 3])).collect()
    };
    for wheels in [&Wheel::ALL[..], &[Wheel::Fr], &[Wheel::Rl]] {
        for sign in [1.0, -1.0] {
            let up = up_by_rolling(&rolled(wheels, sign)).unwrap();
            assert!((up - Vector::new(UP) * sign).norm() < 1e-12, "{wheels:?}: {up:?}");
        }
    }
    assert_eq!(up_by_rolling(&rolled(&Wheel::ALL, 0.0)), None);
    assert_eq!(up_by_rolling(&[]), None);
}

/// The turns that were made, whoever saw which wheels; one wheel alone shows none.
#[test]
fn the_yaw_of_a_body_is_told_by_its_wheel_centres() {
    use Wheel::{Fl, Fr, Rl, Rr};
    let off = [20.0, 0.0, -30.0];
    let offsets = ByWheel::from_fn(|_| Some(Vector::new(off.map(|v: f64| -v))));
    for (most, wheels) in [
        (&[Fl, Fr, Rl][..], [&[Fl, Fr, Rr][..], &[Rl, Rr], &[Fl], &[Fr, Rl], &[Fr, Rr]]),
        (&[Fl, Fr, Rl, Rr], [&[Fl, Rr], &[Fr, Rl, Rr], &[Rr], &Wheel::ALL, &[Rl, Rr]]),
    ] {
        let wheels = [&[most][..], &wheels].concat();
        let yaws = [0.0, 0.05, -0.02, 0.3, 0.11, -0.4];
        let at = |i: usize| [40.0 * yaws[i], 900.0 * f64::from([0, 1, 2, 4, 3, 5][i]), 3.0];
        let stations: Vec<Poses> =
            (0..6).map(|i| seen(wheels[i], 0.2 * at(i)[1] / 310.0, yaws[i], at(i), off)).collect();
        let found = body_yaw(&stations, &offsets, Vector::new(UP));
        for (i, now) in found.iter().enumerate() {
            let Some(now) = now else {
                assert_eq!(wheels[i].len(), 1, "{most:?} {i}");
                continue;
            };
            assert!((now - found[0].unwrap() - yaws[i]).abs() < 1e-12, "{most:?} {i}: {now}");
        }
    }
}

#[test]
fn a_centre_is_no_further_off_than_a_pose() {
    for (share, sound) in [(0.999, true), (1.001, false)] {
        let compensation = Compensation {
            spindle_in_target: [0.0, 1.0, 0.0],
            centre_in_target_mm: [0.0, -share * pose::MAX_COORDINATE_MM, 0.0],
            runout_deg: 0.0,
            rolling_radius_mm: None,
            roll_range_deg: 30.0,
        };
        let refused = compensation.check().err().map(|error| (error.code, error.input));
        assert_eq!(refused, (!sound).then_some((ErrorCode::LengthOutOfRange, Some("centre_in_target_mm"))));
    }
}

/// The axle whose targets are exchanged is the one whose wheels would run from front to rear, wherever the rig has its origin.
#[test]
fn exchanged_targets_are_told_by_the_way_the_wheels_run() {
    for origin_mm in [-9000.0, 0.0, 9000.0] {
        let station = || seen(&Wheel::ALL, 0.0, 0.0, [origin_mm, 0.0, 0.0], [0.0; 3]);
        for (axle_end, named) in [(1.0, Wheel::Fl), (-1.0, Wheel::Rl)] {
            let sense = |wheel: Wheel| if (wheel.end_sign() - axle_end).abs() < 0.5 { -310.0 } else { 310.0 };
            let steps = ByWheel::from_fn(|wheel| Some(Vector::new([sense(wheel), 0.0, 0.0])));
            let error = common_travel(&steps, &[station(), station()]).unwrap_err();
            assert_eq!((error.code, error.wheel), (ErrorCode::SidesSwapped, Some(named)), "{origin_mm}");
        }
    }
}

/// What the clamps of `stations` show, and what is said of the slips.
fn slips(stations: &[Poses], body: RollingBody, noise: Option<PoseNoise>) -> Vec<Warning> {
    let (up, clamp_standoff_mm, loaded_radius_mm) = (Vector::new(UP), &ByWheel::default(), &ByAxle::default());
    Rolling { stations, up, clamp_standoff_mm, loaded_radius_mm, body, noise }.compensate().unwrap().warnings
}

/// Seven stations of a car that rolls straight ahead; the target of the left front wheel is turned from the fifth on.
fn slipped(about: [f64; 3], by_rad: f64) -> Vec<Poses> {
    let off = [20.0, 0.0, -30.0];
    let slip = nalgebra::Rotation3::new(nalgebra::Vector3::from(about) * by_rad).into_inner();
    let slip = Transform::<Target, Target>::from_parts(slip, Vector::zero());
    (0..7)
        .map(|i| {
            let roll = 0.2 * f64::from(i);
            let mut station = seen(&Wheel::ALL, roll, 0.0, [310.0 * roll, 0.0, 0.0], off);
            if i >= 4 {
                let pose = station.get_mut(Wheel::Fl).as_mut().unwrap();
                let turned = pose.then_from(&slip);
                // A slip round the spindle takes the target round with it; one that tips it is about the target's own middle.
                let stays = if about[1] == 0.0 { [0.0; 3] } else { off };
                let moved = pose.direction(Vector::new(stays)) - turned.direction(Vector::new(stays));
                *pose = Transform::from_parts(turned.rotation, pose.origin() - moved);
            }
            station
        })
        .collect()
}

#[test]
fn a_slip_is_named_whether_the_body_turns_or_not() {
    let size_rad = rad_from_deg(0.5);
    for body in [RollingBody::Translates, RollingBody::Turns] {
        for noise in [None, Some(PoseNoise { rotation_deg: 0.01, translation_mm: 0.05 })] {
            for about in [[0.0, 1.0, 0.0], [1.0, 0.0, 0.0]] {
                let warnings = slips(&slipped(about, size_rad), body, noise);
                let [named] = &warnings[..] else { panic!("{body:?} {noise:?} {about:?}: {warnings:?}") };
                let place = (named.code, named.station, named.wheel);
                assert_eq!(place, (WarningCode::TargetSlippedFrom, Some(4), Some(Wheel::Fl)));
                assert!((named.value.unwrap() - 0.5).abs() < 0.05, "{named:?}");
            }
            assert_eq!(slips(&slipped([0.0, 1.0, 0.0], 0.0), body, noise), []);
        }
    }
}

/// The yaw of the body is as good as its wheel centres over the distance between them, and that is noise of the rotations.
#[test]
fn the_yaw_of_the_body_adds_to_the_noise_of_a_tip() {
    let blocked = |stations: &[Poses]| {
        let mut stations = stations.to_vec();
        (*stations[2].get_mut(Wheel::Rl), *stations[2].get_mut(Wheel::Rr)) = (None, None);
        stations
    };
    let all = slipped([1.0, 0.0, 0.0], rad_from_deg(0.6));
    let bound_deg = |stations: &[Poses], body, translation_mm| {
        let noise = Some(PoseNoise { rotation_deg: 0.03, translation_mm });
        slips(stations, body, noise)[0].limit.unwrap()
    };
    let alone = bound_deg(&all, RollingBody::Translates, 0.3);
    for (stations, span_mm) in [(all.clone(), 1000.0), (blocked(&all), 1000.0 / 3.0)] {
        for translation_mm in [0.1, 0.3] {
            let noise_deg = units::hypot(0.03, deg_from_rad(translation_mm / span_mm));
            let found = bound_deg(&stations, RollingBody::Turns, translation_mm);
            assert!((found / alone / (noise_deg / 0.03) - 1.0).abs() < 1e-3, "{span_mm} {translation_mm}: {found}");
        }
    }
}

#[test]
fn a_short_spin_is_warned_of() {
    for (range_deg, short) in [(SHORT_ROLL_DEG - 0.01, true), (SHORT_ROLL_DEG + 0.01, false)] {
        let stations = [0.0, 0.5, 1.0]
            .map(|share| seen(&Wheel::ALL, rad_from_deg(share * range_deg), 0.0, [0.0; 3], [20.0, 0.0, -30.0]));
        let found = spun(&stations, Vector::new(UP), &ByWheel::default(), None).unwrap();
        let short_at =
            |wheel: Wheel| found.warnings.iter().any(|w| (w.code, w.wheel) == (WarningCode::RollShort, Some(wheel)));
        assert!(Wheel::ALL.into_iter().all(|wheel| short_at(wheel) == short), "{:?}", found.warnings);
    }
}
