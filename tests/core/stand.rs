//! Stands placed before virtual cars: read back, whatever the rig's frame and the side; moves that land; uncertainties that trials show.

use crate::invariants::{in_another_rig, mirrored_session, moved_point, moved_pose, pose};
use crate::uncertainty::{moved as nudged, poses};
use alignment_core::conformity::{Reason, Rule, Verdict};
use alignment_core::datum::{Plane, plane_through};
use alignment_core::json::{
    stand_assessment_to_json, stand_requirements_from_json, stand_requirements_schema, stand_requirements_to_json,
};
use alignment_core::live::{LiveSettings, Tracker};
use alignment_core::session::{
    ByAxle, Centreline, InputUncertainty, Method, Noise, PoseCovariance, PoseNoise, RollingBody, Sighting,
};
use alignment_core::simulate::VirtualVehicle;
use alignment_core::stand::{
    Ground, GroundLine, Line, MAX_GROUND_POINTS, PlacedStand, ReferencePoint, Required, StandAssessment, StandMoves,
    StandReadings, StandRequirements, assess, moved, moves,
};
use alignment_core::vehicle::{self, AheadReadings};
use alignment_core::{ByWheel, ErrorCode, Pose, Session, Wheel, compensation};
use proptest::prelude::*;
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64;

const NOISE: PoseNoise = PoseNoise { rotation_deg: 0.005, translation_mm: 0.05 };

fn stand(rig_from_stand: Pose) -> PlacedStand {
    PlacedStand { rig_from_stand, noise: None, pivot_mm: [0.0; 3] }
}

fn required(values: [f64; 6]) -> StandRequirements {
    let [distance_mm, lateral_offset_mm, height_mm] =
        [0, 1, 2].map(|i| Some(Required { nominal: values[i], minus: 2.0, plus: 2.0 }));
    let [yaw_deg, pitch_deg, roll_deg] =
        [3, 4, 5].map(|i| Some(Required { nominal: values[i], minus: 0.1, plus: 0.1 }));
    let required = StandReadings { distance_mm, lateral_offset_mm, height_mm, yaw_deg, pitch_deg, roll_deg };
    StandRequirements { required, ..StandRequirements::default() }
}

/// The largest difference of angles and of lengths; angles differ by the shorter way.
fn apart(a: &StandReadings, b: &StandReadings) -> (f64, f64) {
    let difference: Vec<f64> = a.values().iter().zip(b.values()).map(|(a, b)| (a - b).abs()).collect();
    let angle = difference[3..].iter().map(|d| d.min((360.0 - d).abs())).fold(0.0, f64::max);
    (angle, difference[..3].iter().copied().fold(0.0, f64::max))
}

#[track_caller]
fn assert_near(found: &StandReadings, expected: &StandReadings) {
    let (angle_deg, length_mm) = apart(found, expected);
    assert!(angle_deg < 1e-9 && length_mm < 1e-6, "{found:?} is not {expected:?}: {angle_deg}°, {length_mm} mm");
}

fn about(axis: usize, angle_deg: f64) -> Pose {
    let mut vector = [0.0; 3];
    vector[axis] = angle_deg.to_radians();
    pose(vector, [0.0; 3])
}

/// Turned about z, then about the new y, then about the new x, at a point.
fn placed(readings: &StandReadings) -> Pose {
    let [x, y, z, yaw, pitch, roll] = readings.values();
    let turn = moved_pose(&about(2, yaw), &moved_pose(&about(1, pitch), &about(0, roll)));
    Pose { translation_mm: [x, y, z], ..turn }
}

/// A car on a floor of its own, with the line on it built from what the car is made of.
struct Scene {
    session: Session,
    ground_mm: Vec<[f64; 3]>,
    rig_from_line: Pose,
    line: Line,
    reference: ReferencePoint,
}

fn scene(seed: u64) -> Scene {
    let mut rng = Pcg64::seed_from_u64(seed);
    let car = VirtualVehicle::random(seed);
    let truth = car.truth();
    let [tilt_along, tilt_across] = [0, 1].map(|_| rng.random_range(-0.02..0.02));
    let depth_mm = rng.random_range(-400.0..-250.0);
    let line = if rng.random() { Line::ThrustLine } else { Line::Centreline };
    let centre = |wheel| truth.wheels.get(wheel).centre_mm.unwrap();
    let [fl, fr, rl, rr] = Wheel::ALL.map(centre);
    let middle = |a: [f64; 3], b: [f64; 3]| std::array::from_fn(|i| (a[i] + b[i]) / 2.0);
    let (reference, at) = match rng.random_range(0..3) {
        0 => (ReferencePoint::FrontAxle, middle(fl, fr)),
        1 => (ReferencePoint::RearAxle, middle(rl, rr)),
        _ => {
            let at = [0, 1, 2].map(|_| rng.random_range(-2000.0..4000.0));
            (ReferencePoint::Point(at), at)
        }
    };
    // The floor is z = depth + a·x + b·y in the vehicle frame: its normal is (−a, −b, 1), and a direction d of the plan rises with a·dx + b·dy.
    let on_floor = |x: f64, y: f64| [x, y, depth_mm + tilt_along * x + tilt_across * y];
    let yaw = match line {
        Line::ThrustLine => -truth.chassis.thrust_angle_deg.unwrap().to_radians(),
        Line::Centreline => 0.0,
    };
    let dot = |a: [f64; 3], b: [f64; 3]| a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
    let unit = |v: [f64; 3]| v.map(|x| x / dot(v, v).sqrt());
    let up = unit([-tilt_along, -tilt_across, 1.0]);
    let heading = [yaw.cos(), yaw.sin(), 0.0];
    let forward = unit(std::array::from_fn(|i| heading[i] - up[i] * dot(heading, up)));
    let left = [
        up[1] * forward[2] - up[2] * forward[1],
        up[2] * forward[0] - up[0] * forward[2],
        up[0] * forward[1] - up[1] * forward[0],
    ];
    let depth = dot(up, on_floor(0.0, 0.0));
    let origin = std::array::from_fn(|i| forward[i] * dot(at, forward) + up[i] * depth);
    let rotation = std::array::from_fn(|i| [forward[i], left[i], up[i]]);
    let vehicle_from_line = Pose { rotation, translation_mm: origin };
    let ground_mm = [[-500.0, -900.0], [3500.0, -800.0], [3400.0, 900.0], [-400.0, 800.0], [6000.0, 100.0]]
        .map(|[x, y]| moved_point(&car.rig_from_vehicle, on_floor(x, y)))
        .to_vec();
    let rig_from_line = moved_pose(&car.rig_from_vehicle, &vehicle_from_line);
    Scene { session: car.session(), ground_mm, rig_from_line, line, reference }
}

fn anywhere(rng: &mut Pcg64) -> StandReadings {
    StandReadings {
        distance_mm: rng.random_range(-8000.0..8000.0),
        lateral_offset_mm: rng.random_range(-3000.0..3000.0),
        height_mm: rng.random_range(0.0..2500.0),
        yaw_deg: rng.random_range(-180.0..180.0),
        pitch_deg: rng.random_range(-60.0..60.0),
        roll_deg: rng.random_range(-170.0..170.0),
    }
}

fn with_places(requirements: StandRequirements, scene: &Scene) -> StandRequirements {
    StandRequirements { line: scene.line, reference: scene.reference, ..requirements }
}

#[test]
fn a_stand_is_read_back_where_it_was_placed_on_a_floor_that_is_not_level() {
    let mut rng = Pcg64::seed_from_u64(7);
    for seed in 0..300 {
        let scene = scene(seed);
        let expected = anywhere(&mut rng);
        let seen = moved_pose(&scene.rig_from_line, &placed(&expected));
        let requirements = with_places(StandRequirements::default(), &scene);
        let found = assess(&scene.session, &stand(seen), &scene.ground_mm, &requirements).unwrap();
        assert_near(&found.readings, &expected);
        assert!(!found.ground_line.ground.uneven && found.ground_line.ground.residual_mm < 1e-6);
        assert_eq!((found.overall, found.expanded_uncertainty), (Verdict::Undetermined, None));
        assert_near(&found.ground_line.readings(&seen).unwrap(), &found.readings);
    }
}

#[test]
fn without_a_floor_the_ground_goes_through_the_contact_centres() {
    // Upright wheels of one size on a level datum: the ground lies one radius below their centres.
    let mut car = VirtualVehicle::default();
    car.rear.rolling_radius_mm = car.front.rolling_radius_mm;
    for axle in [&mut car.front, &mut car.rear] {
        (axle.left.camber_deg, axle.right.camber_deg) = (0.0, 0.0);
    }
    let here = moved_pose(&car.rig_from_vehicle, &pose([0.0; 3], [4000.0, 0.0, 900.0]));
    let found = assess(&car.session(), &stand(here), &[], &StandRequirements::default()).unwrap();
    assert!((found.readings.height_mm - 900.0 - car.front.rolling_radius_mm).abs() < 1e-6, "{:?}", found.readings);
    assert!(found.ground_line.ground.tilt_deg < 1e-9);
    // Rear tyres that are pressed flatter by 20 mm tip the ground: it rises to the rear.
    let (front, rear) = (Some(car.front.rolling_radius_mm), Some(car.rear.rolling_radius_mm - 20.0));
    let flatter = Session { loaded_radius_mm: Some(ByAxle { front, rear }), ..car.session() };
    let found = assess(&flatter, &stand(here), &[], &StandRequirements::default()).unwrap();
    let rise_deg = (20.0 / car.wheelbase_mm).atan().to_degrees();
    assert!((found.ground_line.ground.tilt_deg - rise_deg).abs() < 0.01, "{:?}", found.ground_line.ground);
    assert!(
        (found.readings.pitch_deg + rise_deg).abs() < 0.01,
        "a level stand leans back against it: {:?}",
        found.readings
    );
}

#[test]
fn one_corner_of_the_floor_that_is_raised_is_told() {
    let scene = scene(3);
    let mut ground_mm = scene.ground_mm[..4].to_vec();
    let up = scene.session.up.unwrap();
    for i in 0..3 {
        ground_mm[0][i] += 6.0 * up[i];
    }
    let found = assess(&scene.session, &stand(scene.rig_from_line), &ground_mm, &StandRequirements::default()).unwrap();
    let ground = found.ground_line.ground;
    assert!(ground.uneven && (1.2..1.8).contains(&ground.residual_mm), "{ground:?}");
}

proptest! {
    #![proptest_config(crate::cases(100))]

    #[test]
    fn the_rig_frame_does_not_matter(
        seed: u64,
        turn in prop::array::uniform3(-3.0..3.0f64),
        shift in prop::array::uniform3(-10_000.0..10_000.0f64),
    ) {
        let (scene, motion) = (scene(seed), pose(turn, shift));
        let mut rng = Pcg64::seed_from_u64(seed);
        let here = anywhere(&mut rng);
        let seen = moved_pose(&scene.rig_from_line, &placed(&here));
        let requirements = with_places(required(anywhere(&mut rng).values()), &scene);
        let pivot_mm = [-200.0, 30.0, -700.0];
        let of = |session: &Session, seen: Pose, ground_mm: &[[f64; 3]]| {
            let stand = PlacedStand { pivot_mm, ..stand(seen) };
            assess(session, &stand, ground_mm, &requirements).unwrap()
        };
        let there: Vec<_> = scene.ground_mm.iter().map(|&point| moved_point(&motion, point)).collect();
        let found = of(&in_another_rig(&scene.session, &motion), moved_pose(&motion, &seen), &there);
        let expected = of(&scene.session, seen, &scene.ground_mm);
        assert_near(&found.readings, &expected.readings);
        // Angles may lie near ± 180°: where the moves lead to is what counts.
        let [a, b] = [&found, &expected].map(|of| moved(&placed(&of.readings), &of.moves, pivot_mm).unwrap());
        for (a, b) in a.rotation.iter().flatten().zip(b.rotation.iter().flatten()) {
            prop_assert!((a - b).abs() < 1e-10);
        }
        prop_assert!((found.ground_line.ground.tilt_deg - expected.ground_line.ground.tilt_deg).abs() < 1e-9);
    }

    /// The mirrored car with the mirrored stand: what has a side changes its sign.
    #[test]
    fn sides_are_alike(seed: u64) {
        let scene = scene(seed);
        let here = anywhere(&mut Pcg64::seed_from_u64(seed));
        let seen = moved_pose(&scene.rig_from_line, &placed(&here));
        let reference = match scene.reference {
            ReferencePoint::Point([x, y, z]) => ReferencePoint::Point([x, -y, z]),
            other => other,
        };
        let requirements = with_places(StandRequirements::default(), &scene);
        let flipped = |[x, y, z]: [f64; 3]| [x, -y, z];
        let mirrored_pose = Pose {
            rotation: std::array::from_fn(|i| std::array::from_fn(|j| {
                seen.rotation[i][j] * if (i == 1) == (j == 1) { 1.0 } else { -1.0 }
            })),
            translation_mm: flipped(seen.translation_mm),
        };
        let ground_mm: Vec<_> = scene.ground_mm.iter().map(|&point| flipped(point)).collect();
        let found = assess(&scene.session, &stand(seen), &scene.ground_mm, &requirements).unwrap();
        let mirror = StandRequirements { reference, ..requirements };
        let mirror = assess(&mirrored_session(&scene.session), &stand(mirrored_pose), &ground_mm, &mirror).unwrap();
        let StandReadings { lateral_offset_mm, yaw_deg, roll_deg, .. } = found.readings;
        let expected = StandReadings {
            lateral_offset_mm: -lateral_offset_mm,
            yaw_deg: -yaw_deg,
            roll_deg: -roll_deg,
            ..found.readings
        };
        assert_near(&mirror.readings, &expected);
        prop_assert!((mirror.thrust_angle_deg + found.thrust_angle_deg).abs() < 1e-9);
    }
}

/// One move after the other, each along or about the stand's own axes as they then lie.
fn one_by_one(start: Pose, moves: &StandMoves, pivot_mm: [f64; 3]) -> Pose {
    let mut now = start;
    for (axis, angle_deg) in [(2, moves.yaw_deg), (1, moves.pitch_deg), (0, moves.roll_deg)] {
        let held = moved_point(&now, pivot_mm);
        now = moved_pose(&now, &Pose { translation_mm: [0.0; 3], ..about(axis, angle_deg) });
        let swung = moved_point(&now, pivot_mm);
        for i in 0..3 {
            now.translation_mm[i] += held[i] - swung[i];
        }
    }
    for (axis, length_mm) in [(0, moves.forward_mm), (1, moves.left_mm), (2, moves.up_mm)] {
        let mut along = [0.0; 3];
        along[axis] = length_mm;
        now.translation_mm = moved_point(&now, along);
    }
    now
}

#[test]
fn moves_done_one_after_the_other_land_on_what_is_required() {
    let mut rng = Pcg64::seed_from_u64(11);
    let line = GroundLine {
        rig_from_line: pose([0.3, -0.2, 2.0], [1200.0, -300.0, 40.0]),
        ground: Ground { tilt_deg: 0.0, residual_mm: 0.0, uneven: false },
    };
    for case in 0..10_000 {
        let (here, aim) = (anywhere(&mut rng), anywhere(&mut rng));
        let mut requirements = required(aim.values());
        let (mut expected, all) = (aim.values(), &mut requirements.required);
        let left_out: [bool; 6] = std::array::from_fn(|_| rng.random_bool(0.3));
        let parts = [
            &mut all.distance_mm,
            &mut all.lateral_offset_mm,
            &mut all.height_mm,
            &mut all.yaw_deg,
            &mut all.pitch_deg,
            &mut all.roll_deg,
        ];
        for (i, part) in parts.into_iter().enumerate() {
            if left_out[i] {
                *part = None;
                expected[i] = here.values()[i];
            }
        }
        let pivot_mm = [0, 1, 2].map(|_| rng.random_range(-1500.0..1500.0));
        let moves = moves(&here, &requirements, pivot_mm).unwrap();
        let start = moved_pose(&line.rig_from_line, &placed(&here));
        let [distance_mm, lateral_offset_mm, height_mm, yaw_deg, pitch_deg, roll_deg] = expected;
        let expected = StandReadings { distance_mm, lateral_offset_mm, height_mm, yaw_deg, pitch_deg, roll_deg };
        for end in [one_by_one(start, &moves, pivot_mm), moved(&start, &moves, pivot_mm).unwrap()] {
            let (angle_deg, length_mm) = apart(&line.readings(&end).unwrap(), &expected);
            assert!(angle_deg < 1e-9 && length_mm < 1e-6, "{case}: {angle_deg}°, {length_mm} mm, {moves:?}");
        }
    }
}

/// A stand behind the car that has to face forward: half a turn, whichever side it comes from.
#[test]
fn yaw_is_judged_and_moved_by_the_shorter_way() {
    let here = StandReadings { yaw_deg: -179.9, distance_mm: -2000.0, ..StandReadings::default() };
    let mut requirements = StandRequirements::default();
    requirements.required.yaw_deg = Some(Required { nominal: 180.0, minus: 0.2, plus: 0.2 });
    let turn = moves(&here, &requirements, [0.0; 3]).unwrap();
    assert!((turn.yaw_deg + 0.1).abs() < 1e-9, "{turn:?}");
    let scene = scene(5);
    let requirements = with_places(requirements, &scene);
    let seen = moved_pose(&scene.rig_from_line, &placed(&here));
    let found = assess(&scene.session, &stand(seen), &scene.ground_mm, &requirements).unwrap();
    assert_eq!(found.overall, Verdict::Conforms);
    assert_eq!(found.judgements.yaw_deg.unwrap().rule, Rule::SimpleAcceptance, "nothing is known of the noise");
    assert_eq!(found.judgements.distance_mm, None);
}

#[test]
fn a_stand_is_found_by_its_target_and_by_the_cameras_that_ride_on_it() {
    let rig_from_stand = pose([0.1, -0.3, 0.5], [3000.0, 200.0, 900.0]);
    let stand_from_target = pose([1.0, 0.2, -0.7], [100.0, -700.0, -300.0]);
    let seen = moved_pose(&rig_from_stand, &stand_from_target);
    let found = PlacedStand::from_target(&seen, &stand_from_target, Some(&NOISE.into())).unwrap();
    let inverse = crate::invariants::inverse(&rig_from_stand);
    let riding = PlacedStand::from_rig(&inverse, Some(&NOISE.into())).unwrap();
    for found in [&found, &riding] {
        for (a, b) in found.rig_from_stand.rotation.iter().flatten().zip(rig_from_stand.rotation.iter().flatten()) {
            assert!((a - b).abs() < 1e-14);
        }
        for (a, b) in found.rig_from_stand.translation_mm.iter().zip(rig_from_stand.translation_mm) {
            assert!((a - b).abs() < 1e-9);
        }
    }
    // An error of the turn of the target, or of the rig on the stand, shifts the stand's origin by its arm: 0.005° over 768 mm is 0.067 mm, square to
    // the arm.
    let length = |of: [f64; 3]| of.into_iter().map(|v| v * v).sum::<f64>().sqrt();
    let arms = [stand_from_target.translation_mm, rig_from_stand.translation_mm].map(length);
    for (found, arm_mm) in [found, riding].into_iter().zip(arms) {
        let Some(Noise::Covariance(noise)) = found.noise else { panic!("the noise is carried") };
        let PoseCovariance { covariance } = *noise;
        let shifts: f64 = (3..6).map(|i| covariance[i][i]).sum();
        let expected = 3.0 * 0.05f64.powi(2) + 2.0 * (arm_mm * 0.005f64.to_radians()).powi(2);
        assert!((shifts - expected).abs() < 1e-12, "{shifts} {expected}");
    }
}

fn poses_ahead(session: &Session) -> ByWheel<Pose> {
    ByWheel::from_fn(|wheel| session.ahead.get(wheel).frames()[0])
}

fn ahead(session: &Session, radii: &ByAxle<Option<f64>>) -> AheadReadings {
    let (rolling, up) = (&session.rolling, session.up.unwrap());
    let rolled =
        compensation::from_rolling(rolling, up, &session.clamp_standoff_mm, radii, RollingBody::Translates).unwrap();
    let (clamps, poses) = (rolled.all_wheels().unwrap(), poses_ahead(session));
    vehicle::ahead_readings(&clamps, &poses, up, radii, Centreline::AxleMidpoints).unwrap()
}

/// The line of a session, of four poses and of a live frame are one.
#[test]
fn the_line_is_the_same_by_session_by_four_poses_and_live() {
    let session = VirtualVehicle::default().session();
    let (radii, poses) = (session.loaded_radius_mm.unwrap_or_default(), poses_ahead(&session));
    let ahead = ahead(&session, &radii);
    let mut tracker = Tracker::new(&session, LiveSettings::default()).unwrap();
    let live = tracker.frame(0.0, &ByWheel::from_fn(|wheel| Some(*poses.get(wheel)))).unwrap();
    let points = [[0.0, 0.0, 0.0], [3000.0, 0.0, 10.0], [0.0, 2000.0, 0.0]];
    let plane = plane_through(&points).unwrap();
    for (ground_mm, floor) in [(&points[..0], None), (&points[..], Some(&plane))] {
        for reference in [ReferencePoint::FrontAxle, ReferencePoint::RearAxle, ReferencePoint::Point([1.0, 2.0, 3.0])] {
            let requirements = StandRequirements { reference, ..StandRequirements::default() };
            let here = stand(pose([0.0; 3], [5000.0, 0.0, 1000.0]));
            let by_session = assess(&session, &here, ground_mm, &requirements).unwrap();
            let by_four = GroundLine::from_ahead(&ahead, &radii, floor, Line::ThrustLine, reference).unwrap();
            let by_live = GroundLine::from_live(live, &radii, floor, Line::ThrustLine, reference).unwrap();
            for line in [by_four, by_live] {
                assert_near(&line.readings(&here.rig_from_stand).unwrap(), &by_session.readings);
            }
        }
    }
}

/// Every input drawn as it is said to scatter, and the car and the stand measured anew.
#[test]
fn uncertainties_are_what_trials_show() {
    const TRIALS: u32 = 3000;
    let given = InputUncertainty {
        clamp_standoff_mm: 0.4,
        up_deg: 0.01,
        loaded_radius_mm: 2.0,
        runway_mm: 0.8,
        ..InputUncertainty::default()
    };
    let session = Session {
        pose_noise: Some(NOISE.into()),
        input_uncertainty: Some(given),
        sweep: Vec::new(),
        lock_left: None,
        lock_right: None,
        ..VirtualVehicle::default().session()
    };
    let scene = Scene { session: session.clone(), ..scene_of(VirtualVehicle::default()) };
    let of_stand = PoseNoise { rotation_deg: 0.01, translation_mm: 0.3 };
    let here = StandReadings {
        distance_mm: 2000.0,
        lateral_offset_mm: 50.0,
        height_mm: 1300.0,
        yaw_deg: 178.0,
        pitch_deg: 1.0,
        roll_deg: -2.0,
    };
    let seen = moved_pose(&scene.rig_from_line, &placed(&here));
    for (method, ground_mm) in
        [(Method::Staged, &scene.ground_mm[..]), (Method::Staged, &[][..]), (Method::Joint, &[][..])]
    {
        let session = Session { method, ..session.clone() };
        let known = assess(
            &session,
            &PlacedStand { noise: Some(of_stand.into()), ..stand(seen) },
            ground_mm,
            &StandRequirements::default(),
        )
        .unwrap();
        let standard = known.standard_uncertainty.unwrap().values();
        assert_eq!(known.degrees_of_freedom, StandReadings::default(), "all noise is stated");
        let mut rng = Pcg64::seed_from_u64(23);
        let mut sums = [[0.0; 6]; 2];
        for _ in 0..TRIALS {
            let mut drawn = session.clone();
            for (_, sighting) in poses(&mut drawn) {
                if let Sighting::Pose(pose) = sighting {
                    scattered(pose, NOISE, &mut rng);
                }
            }
            let mut up = Pose { translation_mm: drawn.up.unwrap(), ..about(0, 0.0) };
            let tilt = [0, 1, 2].map(|_| normal(&mut rng) * given.up_deg.to_radians());
            up.translation_mm =
                moved_point(&Pose::from_rotation_vector_rad(tilt, [0.0; 3]).unwrap(), up.translation_mm);
            drawn.up = Some(up.translation_mm);
            for wheel in Wheel::ALL {
                *drawn.clamp_standoff_mm.get_mut(wheel) += normal(&mut rng) * given.clamp_standoff_mm;
            }
            if let Some(ByAxle { front, rear }) = &mut drawn.loaded_radius_mm {
                for radius in [front, rear].into_iter().flatten() {
                    *radius += normal(&mut rng) * given.loaded_radius_mm;
                }
            }
            let mut seen = seen;
            scattered(&mut seen, of_stand, &mut rng);
            let ground_mm: Vec<_> =
                ground_mm.iter().map(|point| point.map(|v| v + normal(&mut rng) * given.runway_mm)).collect();
            let readings = assess(&drawn, &stand(seen), &ground_mm, &StandRequirements::default()).unwrap().readings;
            for (i, (value, true_value)) in readings.values().into_iter().zip(known.readings.values()).enumerate() {
                let off = value - true_value;
                let off = if i >= 3 { off - 360.0 * (off / 360.0).round() } else { off };
                sums[0][i] += off;
                sums[1][i] += off * off;
            }
        }
        for i in 0..6 {
            let n = f64::from(TRIALS);
            let deviation = (sums[1][i] / n - (sums[0][i] / n).powi(2)).sqrt();
            let ratio = standard[i] / deviation;
            assert!(
                (0.94..1.06).contains(&ratio),
                "{method:?} {}: {} for {deviation}",
                StandReadings::<f64>::NAMES[i],
                standard[i]
            );
        }
    }
}

fn scene_of(car: VirtualVehicle) -> Scene {
    let depth_mm = -car.front.rolling_radius_mm;
    let ground_mm = [[-500.0, -900.0], [3500.0, -800.0], [3400.0, 900.0], [-400.0, 800.0], [6000.0, 100.0]]
        .map(|[x, y]| moved_point(&car.rig_from_vehicle, [x, y, depth_mm]))
        .to_vec();
    let front = [car.wheelbase_mm, 0.0, depth_mm];
    let rig_from_line = moved_pose(&car.rig_from_vehicle, &pose([0.0; 3], front));
    Scene {
        session: car.session(),
        ground_mm,
        rig_from_line,
        line: Line::ThrustLine,
        reference: ReferencePoint::FrontAxle,
    }
}

fn normal(rng: &mut Pcg64) -> f64 {
    // Box and Muller.
    let (a, b): (f64, f64) = (rng.random_range(f64::MIN_POSITIVE..1.0), rng.random());
    (-2.0 * a.ln()).sqrt() * (std::f64::consts::TAU * b).cos()
}

fn scattered(pose: &mut Pose, noise: PoseNoise, rng: &mut Pcg64) {
    let mut three = |deviation: f64| [0, 1, 2].map(|_| normal(rng) * deviation);
    nudged(pose, three(noise.rotation_deg.to_radians()), three(noise.translation_mm));
}

/// Noise seen in a few frames has few degrees of freedom, and its interval is wider.
#[test]
fn noise_that_is_estimated_widens_the_interval() {
    let car = VirtualVehicle { pose_noise: Some(NOISE), frames: 3, ..VirtualVehicle::default() };
    let session = Session { pose_noise: None, ..car.session() };
    let seen = moved_pose(&car.rig_from_vehicle, &pose([0.0; 3], [4000.0, 0.0, 900.0]));
    let exact = PoseNoise { rotation_deg: 1e-6, translation_mm: 1e-6 };
    let stand = PlacedStand { noise: Some(exact.into()), ..stand(seen) };
    let found = assess(&session, &stand, &[], &StandRequirements::default()).unwrap();
    let (standard, expanded) = (found.standard_uncertainty.unwrap(), found.expanded_uncertainty.unwrap());
    let freedom = found.degrees_of_freedom.yaw_deg.unwrap();
    assert!((2.0..100.0).contains(&freedom), "{freedom}");
    assert!((1.97..4.31).contains(&(expanded.yaw_deg / standard.yaw_deg)), "that of two degrees of freedom is 4.30");
    // What is known of the stand adds to the variance alone, so the degrees of freedom grow with its square (Welch and Satterthwaite).
    let noisy = PlacedStand { noise: Some(PoseNoise { rotation_deg: 0.004, translation_mm: 0.1 }.into()), ..stand };
    let with = assess(&session, &noisy, &[], &StandRequirements::default()).unwrap();
    let variance = with.standard_uncertainty.unwrap().yaw_deg.powi(2);
    assert!((variance - standard.yaw_deg.powi(2) - 0.004f64.powi(2)).abs() < 1e-8, "{variance}");
    let ratio = with.degrees_of_freedom.yaw_deg.unwrap() / freedom;
    assert!((ratio / (variance / standard.yaw_deg.powi(2)).powi(2) - 1.0).abs() < 1e-9, "{ratio}");
}

#[test]
fn verdicts_are_guarded_by_the_uncertainty() {
    let car = VirtualVehicle { pose_noise: Some(NOISE), ..VirtualVehicle::default() };
    let Scene { session, rig_from_line, ground_mm, .. } = scene_of(car);
    let seen = moved_pose(&rig_from_line, &placed(&StandReadings { yaw_deg: 0.1, ..StandReadings::default() }));
    let noise = Some(NOISE.into());
    let with = |within: f64| {
        let mut requirements = StandRequirements::default();
        requirements.required.yaw_deg = Some(Required { nominal: 0.0, minus: within, plus: within });
        assess(&session, &PlacedStand { noise: noise.clone(), ..stand(seen) }, &ground_mm, &requirements).unwrap()
    };
    let verdict = |found: &StandAssessment| found.judgements.yaw_deg.unwrap().verdict;
    assert_eq!(verdict(&with(0.3)), Verdict::Conforms);
    assert_eq!(verdict(&with(0.01)), Verdict::DoesNotConform);
    let thrust = with(0.3).readings.yaw_deg.abs();
    let near = with(thrust);
    assert_eq!(
        (near.overall, near.judgements.yaw_deg.unwrap().reason),
        (Verdict::Undetermined, Some(Reason::NearLimit))
    );
}

#[test]
fn requirements_survive_writing_and_reading_and_faults_are_named_with_their_place() {
    let mut all = required([1500.0, 0.0, 1200.0, 180.0, 0.0, 0.0]);
    all.note = Some("Invented.".to_owned());
    (all.line, all.reference) = (Line::Centreline, ReferencePoint::Point([1.0, 2.0, 3.0]));
    all.required.roll_deg = None;
    let text = stand_requirements_to_json(&all);
    assert!(text.contains(r#""point_mm""#) && text.contains(r#""centreline""#), "{text}");
    assert_eq!(stand_requirements_from_json(&text).unwrap(), all);
    for (key, wrong, place) in [
        ("\"minus\"", "\"under\"", "required.distance_mm.under"),
        ("\"centreline\"", "\"kerb\"", "line"),
        ("\"point_mm\"", "\"bumper\"", "reference.bumper"),
        ("alignment-stand/1", "alignment-stand/2", "format"),
    ] {
        let error = stand_requirements_from_json(&text.replacen(key, wrong, 1)).unwrap_err();
        assert_eq!(error.code, ErrorCode::NotASpecification);
        assert!(error.path.starts_with(place) || place.starts_with(&error.path), "{error}");
    }
    let positional = r#"{ "format": "alignment-stand/1", "required": { "yaw_deg": [0, 0.1, 0.1] } }"#;
    assert!(stand_requirements_from_json(positional).unwrap_err().to_string().contains("named members"));
    let short = r#"{ "format": "alignment-stand/1", "required": {} }"#;
    assert_eq!(stand_requirements_from_json(short).unwrap(), StandRequirements::default());
    assert!(stand_requirements_schema().contains("thrust_line"));
    let scene = scene(1);
    let found = assess(&scene.session, &stand(scene.rig_from_line), &scene.ground_mm, &all).unwrap();
    let json: serde_json::Value = serde_json::from_str(&stand_assessment_to_json(&found)).unwrap();
    assert_eq!(json.pointer("/readings/distance_mm").unwrap().as_f64(), Some(found.readings.distance_mm));
    assert_eq!(json.pointer("/judgements/roll_deg"), Some(&serde_json::Value::Null));
    assert_eq!(json.pointer("/ground_line/ground/uneven").unwrap().as_bool(), Some(false));
}

#[test]
fn what_cannot_be_placed_is_refused_by_its_name() {
    let scene = scene(2);
    let here = stand(scene.rig_from_line);
    let refused = |session: &Session, stand: &PlacedStand, ground_mm: &[[f64; 3]], requirements: &StandRequirements| {
        let error = assess(session, stand, ground_mm, requirements).unwrap_err();
        (error.code, error.input)
    };
    let fine = StandRequirements::default();
    let with = |input: Required| {
        let mut requirements = StandRequirements::default();
        requirements.required.pitch_deg = Some(input);
        requirements
    };
    let pitch = Some("required.pitch_deg");
    for (number, code) in [(f64::NAN, ErrorCode::NotFinite), (90.0, ErrorCode::AngleOutOfRange)] {
        let wrong = with(Required { nominal: number, minus: 0.1, plus: 0.1 });
        assert_eq!(refused(&scene.session, &here, &[], &wrong), (code, pitch));
    }
    let negative = with(Required { nominal: 0.0, minus: -0.1, plus: 0.1 });
    assert_eq!(refused(&scene.session, &here, &[], &negative), (ErrorCode::OutOfRange, pitch));
    let far = StandRequirements { reference: ReferencePoint::Point([2e6, 0.0, 0.0]), ..fine.clone() };
    assert_eq!(refused(&scene.session, &here, &[], &far), (ErrorCode::LengthOutOfRange, Some("reference.point_mm")));
    let pivot = PlacedStand { pivot_mm: [f64::NAN, 0.0, 0.0], ..here.clone() };
    assert_eq!(refused(&scene.session, &pivot, &[], &fine), (ErrorCode::NotFinite, Some("pivot_mm")));
    let noisy =
        PlacedStand { noise: Some(PoseNoise { rotation_deg: -1.0, translation_mm: 0.1 }.into()), ..here.clone() };
    assert_eq!(refused(&scene.session, &noisy, &[], &fine), (ErrorCode::AngleOutOfRange, Some("noise.rotation_deg")));
    let skewed =
        stand(Pose { rotation: [[2.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]], translation_mm: [0.0; 3] });
    assert_eq!(refused(&scene.session, &skewed, &[], &fine), (ErrorCode::NotARotation, Some("rig_from_stand")));
    let two = &scene.ground_mm[..2];
    assert_eq!(refused(&scene.session, &here, two, &fine), (ErrorCode::TooFewStations, Some("ground_mm")));
    let many = vec![[0.0; 3]; MAX_GROUND_POINTS + 1];
    assert_eq!(refused(&scene.session, &here, &many, &fine), (ErrorCode::TooMany, Some("ground_mm")));
    let up = scene.session.up.unwrap();
    let wall: Vec<[f64; 3]> = [[0.0, 0.0], [1000.0, 0.0], [0.0, 1000.0]]
        .map(|[along, high]| {
            let level = if up[0].abs() < 0.9 { [0.0, -up[2], up[1]] } else { [up[2], 0.0, -up[0]] };
            std::array::from_fn(|i| along * level[i] + high * up[i])
        })
        .to_vec();
    assert_eq!(refused(&scene.session, &here, &wall, &fine), (ErrorCode::AngleOutOfRange, Some("ground_mm")));
    let aslant: [f64; 3] = std::array::from_fn(|i| up[i] + 0.25 * scene.rig_from_line.rotation[i][0]);
    let length = aslant.iter().map(|v| v * v).sum::<f64>().sqrt();
    let aslant = Session { up: Some(aslant.map(|v| v / length)), ..scene.session.clone() };
    assert_eq!(refused(&aslant, &here, &[], &fine), (ErrorCode::AngleOutOfRange, Some("up")), "no floor was given");
    // A level floor that lies above the wheels was measured in another frame.
    let above: Vec<[f64; 3]> =
        scene.ground_mm.iter().map(|point| std::array::from_fn(|i| point[i] + 2000.0 * up[i])).collect();
    assert_eq!(refused(&scene.session, &here, &above, &fine), (ErrorCode::LengthOutOfRange, Some("ground_mm")));
    let mut blocked = scene.session.clone();
    blocked.ahead.rr = Sighting::NotSeen;
    let error = assess(&blocked, &here, &[], &fine).unwrap_err();
    assert_eq!((error.code, error.wheel), (ErrorCode::WheelNotSeen, Some(Wheel::Rr)));
    let error = moves(&StandReadings { pitch_deg: 89.5, ..StandReadings::default() }, &fine, [0.0; 3]).unwrap_err();
    assert_eq!((error.code, error.input), (ErrorCode::AngleOutOfRange, Some("pitch_deg")));
    let error =
        moved(&scene.rig_from_line, &StandMoves { yaw_deg: 181.0, ..StandMoves::default() }, [0.0; 3]).unwrap_err();
    assert_eq!((error.code, error.input), (ErrorCode::AngleOutOfRange, Some("yaw_deg")));
}

/// A mark 1000 mm ahead of the target by which it is found: a turn of ω about z carries it 1000·ω to the left, one about y as much down.
#[test]
fn the_noise_of_a_target_is_carried_to_the_mark_as_by_hand() {
    let level = |at| pose([0.0; 3], at);
    let (turn_deg, turn, shift) = (0.005, 0.005f64.to_radians(), 0.05f64);
    let by_target =
        PlacedStand::from_target(&level([4000.0, 0.0, 900.0]), &level([-1000.0, 0.0, 0.0]), Some(&NOISE.into()));
    let by_rig = PlacedStand::from_rig(&level([-1000.0, 0.0, 0.0]), Some(&NOISE.into()));
    let mut expected = [[0.0; 6]; 6];
    for i in 0..3 {
        expected[i][i] = turn_deg * turn_deg;
        expected[i + 3][i + 3] = shift * shift + if i == 0 { 0.0 } else { (1000.0 * turn).powi(2) };
    }
    let both = 1000.0 * turn * turn_deg;
    (expected[2][4], expected[4][2]) = (both, both);
    (expected[1][5], expected[5][1]) = (-both, -both);
    for found in [by_target.unwrap(), by_rig.unwrap()] {
        let Some(Noise::Covariance(noise)) = found.noise else { panic!("the noise is carried") };
        for (found, expected) in noise.covariance.iter().flatten().zip(expected.iter().flatten()) {
            assert!((found - expected).abs() < 1e-12, "{:?}", noise.covariance);
        }
    }
}

/// Of a car without noise nothing adds to what the stand's own pose is worth: each angle as its turns, and beside and above the line also what a
/// turn does over the 1000 mm from the target to the mark.
#[test]
fn the_uncertainty_of_a_stand_is_that_by_hand() {
    let exact = PoseNoise { rotation_deg: 1e-8, translation_mm: 1e-8 };
    let Scene { session, rig_from_line, ground_mm, .. } = scene_of(VirtualVehicle::default());
    let session = Session { pose_noise: Some(exact.into()), input_uncertainty: None, ..session };
    let level = |at| pose([0.0; 3], at);
    let target = moved_pose(&rig_from_line, &level([4000.0, 0.0, 900.0]));
    let here = PlacedStand::from_target(&target, &level([-1000.0, 0.0, 0.0]), Some(&NOISE.into())).unwrap();
    let found = assess(&session, &here, &ground_mm, &StandRequirements::default()).unwrap();
    let beside = 0.05f64.hypot(1000.0 * 0.005f64.to_radians());
    let expected = [0.05, beside, beside, 0.005, 0.005, 0.005];
    let (standard, expanded) = (found.standard_uncertainty.unwrap(), found.expanded_uncertainty.unwrap());
    for ((standard, expanded), expected) in standard.values().into_iter().zip(expanded.values()).zip(expected) {
        assert!((standard / expected - 1.0).abs() < 1e-3, "{standard} for {expected}");
        assert!((expanded / standard - 1.96).abs() < 1e-3, "{expanded} of {standard}");
    }
}

/// A stand that faces the car is worth as much as one that looks away: the angles on either side of half a turn are near one another.
#[test]
fn half_a_turn_of_yaw_is_worth_as_much_as_none() {
    let Scene { session, rig_from_line, ground_mm, .. } = scene_of(VirtualVehicle::default());
    let session = Session { pose_noise: Some(NOISE.into()), ..session };
    let worth = |yaw_deg: f64| {
        let mut there = about(2, yaw_deg);
        there.translation_mm = [4000.0, 0.0, 900.0];
        let here = PlacedStand { noise: Some(NOISE.into()), ..stand(moved_pose(&rig_from_line, &there)) };
        assess(&session, &here, &ground_mm, &StandRequirements::default()).unwrap().standard_uncertainty.unwrap()
    };
    for (none, half) in worth(0.0).values().into_iter().zip(worth(180.0).values()) {
        assert!((half / none - 1.0).abs() < 1e-6, "{half} for {none}");
    }
}

#[test]
fn noise_of_the_car_that_nobody_knows_leaves_a_stand_without_an_uncertainty() {
    let Scene { session, rig_from_line, ground_mm, .. } = scene_of(VirtualVehicle::default());
    let session = Session { pose_noise: None, ..session };
    let known = |rig_from_stand| PlacedStand { noise: Some(NOISE.into()), ..stand(rig_from_stand) };
    let here = known(moved_pose(&rig_from_line, &pose([0.0; 3], [4000.0, 0.0, 900.0])));
    let found = assess(&session, &here, &ground_mm, &StandRequirements::default()).unwrap();
    assert_eq!((found.standard_uncertainty, found.expanded_uncertainty), (None, None));
}

/// −179.9° is 0.1° beyond 180°, on the side of what it may be more.
#[test]
fn beyond_half_a_turn_a_tolerance_keeps_its_side() {
    let scene = scene(5);
    let here = StandReadings { yaw_deg: -179.9, ..StandReadings::default() };
    let seen = moved_pose(&scene.rig_from_line, &placed(&here));
    for (minus, plus, expected) in [(0.0, 0.2, Verdict::Conforms), (0.2, 0.0, Verdict::DoesNotConform)] {
        let mut requirements = StandRequirements::default();
        requirements.required.yaw_deg = Some(Required { nominal: 180.0, minus, plus });
        let requirements = with_places(requirements, &scene);
        let found = assess(&scene.session, &stand(seen), &scene.ground_mm, &requirements).unwrap();
        assert_eq!(found.overall, expected, "{minus} to {plus}");
    }
}

/// Yaw and roll have turns, a length has none: 360 mm too far is not where it should be.
#[test]
fn a_length_that_is_off_by_as_many_mm_as_a_turn_has_degrees_is_off() {
    let scene = scene(5);
    for (values, off) in [([1860.0, 0.0, 0.0], 0), ([1500.0, -360.0, 0.0], 1), ([1500.0, 0.0, 360.0], 2)] {
        let [distance_mm, lateral_offset_mm, height_mm] = values;
        let here = StandReadings { distance_mm, lateral_offset_mm, height_mm, ..StandReadings::default() };
        let seen = moved_pose(&scene.rig_from_line, &placed(&here));
        let requirements = with_places(required([1500.0, 0.0, 0.0, 0.0, 0.0, 0.0]), &scene);
        let found = assess(&scene.session, &stand(seen), &scene.ground_mm, &requirements).unwrap();
        for (i, judgement) in found.judgements.values().into_iter().enumerate() {
            let expected = if i == off { Verdict::DoesNotConform } else { Verdict::Conforms };
            assert_eq!(judgement.unwrap().verdict, expected, "{}", StandReadings::<f64>::NAMES[i]);
        }
    }
}

#[test]
fn what_lies_at_its_bound_is_taken_and_what_lies_beyond_is_refused() {
    let nothing = StandRequirements::default();
    let with = |i: usize, nominal: f64, minus: f64, plus: f64| {
        let mut all = [None; 6];
        all[i] = Some(Required { nominal, minus, plus });
        let [distance_mm, lateral_offset_mm, height_mm, yaw_deg, pitch_deg, roll_deg] = all;
        let required = StandReadings { distance_mm, lateral_offset_mm, height_mm, yaw_deg, pitch_deg, roll_deg };
        StandRequirements { required, ..StandRequirements::default() }
    };
    let lengths = ErrorCode::LengthOutOfRange;
    let angles = ErrorCode::AngleOutOfRange;
    let bounds = [(lengths, 1e6), (lengths, 1e6), (lengths, 1e6), (angles, 180.0), (angles, 89.0), (angles, 180.0)];
    for (i, (code, most)) in bounds.into_iter().enumerate() {
        let asked = |nominal, minus, plus| moves(&StandReadings::default(), &with(i, nominal, minus, plus), [0.0; 3]);
        let reading = |value: f64| {
            let mut all = [0.0; 6];
            all[i] = value;
            let [distance_mm, lateral_offset_mm, height_mm, yaw_deg, pitch_deg, roll_deg] = all;
            let here = StandReadings { distance_mm, lateral_offset_mm, height_mm, yaw_deg, pitch_deg, roll_deg };
            moves(&here, &nothing, [0.0; 3])
        };
        // A reading may lie four kilometres off, for car and stand may lie one each way.
        let farthest = if i < 3 { 4.0 * most } else { most };
        for sign in [1.0, -1.0] {
            assert!(asked(sign * most, most, most).is_ok(), "{i}");
            assert_eq!(asked(sign * 1.001 * most, 0.0, 0.0).unwrap_err().code, code);
            assert!(reading(sign * farthest).is_ok(), "{i}");
            assert_eq!(reading(sign * 1.001 * farthest).unwrap_err().code, code);
        }
        for (minus, plus) in [(1.001 * most, 0.0), (0.0, 1.001 * most), (0.0, -0.1)] {
            assert_eq!(asked(0.0, minus, plus).unwrap_err().code, ErrorCode::OutOfRange);
        }
    }
    let here = pose([0.0; 3], [0.0; 3]);
    for sign in [1.0, -1.0] {
        let far = |most: f64| StandMoves { left_mm: sign * most, roll_deg: sign * 180.0, ..StandMoves::default() };
        assert!(moved(&here, &far(8e6), [0.0; 3]).is_ok());
        let error = moved(&here, &far(8.001e6), [0.0; 3]).unwrap_err();
        assert_eq!((error.code, error.input), (lengths, Some("left_mm")));
        assert!(moves(&StandReadings::default(), &nothing, [0.0, sign * 1e6, 0.0]).is_ok());
        let error = moves(&StandReadings::default(), &nothing, [0.0, sign * 1.001e6, 0.0]).unwrap_err();
        assert_eq!((error.code, error.input), (lengths, Some("pivot_mm")));
    }
}

/// A floor is taken as it is given: either side of it may be called up, and what is no floor is refused by its name.
#[test]
fn a_floor_is_judged_by_its_tilt_its_height_and_how_even_it_is() {
    let session = VirtualVehicle::default().session();
    let radii = ByAxle::default();
    let ahead = ahead(&session, &radii);
    let in_rig = |point: [f64; 3]| moved_point(&ahead.rig_from_vehicle, point);
    // Across the car the floor rises to the left by this angle, 1000 mm below the middle of the rear axle.
    let floor = |tilt_deg: f64| {
        let (sin, cos) = f64::to_radians(tilt_deg).sin_cos();
        let origin = in_rig([0.0; 3]);
        let normal = in_rig([0.0, -sin, cos]);
        Plane {
            normal: std::array::from_fn(|i| normal[i] - origin[i]),
            point_mm: in_rig([0.0, 0.0, -1000.0]),
            residual_mm: 0.0,
        }
    };
    let line =
        |floor: &Plane| GroundLine::from_ahead(&ahead, &radii, Some(floor), Line::Centreline, ReferencePoint::RearAxle);
    for tilt_deg in [0.0, 4.0, -9.999] {
        let plane = floor(tilt_deg);
        let turned_over = Plane { normal: plane.normal.map(|v| -v), ..plane };
        for plane in [plane, turned_over] {
            let found = line(&plane).unwrap();
            assert!((found.ground.tilt_deg - tilt_deg.abs()).abs() < 1e-9, "{:?}", found.ground);
            // The middle of the rear axle, seen from the floor: straight up it is nearer by the cosine, and the line's foot lies beside it.
            let here = found.readings(&ahead.rig_from_vehicle).unwrap();
            let height_mm = 1000.0 * tilt_deg.to_radians().cos();
            let expected = StandReadings { height_mm, roll_deg: -tilt_deg, ..StandReadings::default() };
            assert_near(&here, &expected);
        }
    }
    let level = floor(0.0);
    for (residual_mm, uneven) in [(0.999, false), (1.0, false), (1.001, true)] {
        assert_eq!(
            line(&Plane { residual_mm, ..level }).unwrap().ground,
            Ground { residual_mm, uneven, tilt_deg: line(&level).unwrap().ground.tilt_deg }
        );
    }
    let refused = |floor: Plane| {
        let error = line(&floor).unwrap_err();
        (error.code, error.input)
    };
    assert_eq!(refused(floor(10.001)), (ErrorCode::AngleOutOfRange, Some("ground_mm")));
    assert_eq!(refused(Plane { residual_mm: -0.1, ..level }), (ErrorCode::LengthOutOfRange, Some("residual_mm")));
    assert_eq!(
        refused(Plane { point_mm: [0.0, 1.1e6, 0.0], ..level }),
        (ErrorCode::LengthOutOfRange, Some("point_mm"))
    );
    let long = level.normal.map(|v| 2.0 * v);
    assert_eq!(refused(Plane { normal: long, ..level }), (ErrorCode::NotUnitLength, Some("normal")));
    // Without a floor the radii are needed, with one they are not.
    let mut bare = ahead;
    bare.wheels.fr.rolling_radius_mm = None;
    let of = |floor, radii: &ByAxle<Option<f64>>| {
        GroundLine::from_ahead(&bare, radii, floor, Line::ThrustLine, ReferencePoint::FrontAxle)
    };
    let error = of(None, &radii).unwrap_err();
    assert_eq!(
        (error.code, error.input, error.wheel),
        (ErrorCode::MissingInput, Some("loaded_radius_mm"), Some(Wheel::Fr))
    );
    assert!(of(Some(&level), &radii).is_ok() && of(None, &ByAxle { front: Some(300.0), rear: None }).is_ok());
}

#[test]
fn a_move_is_said_from_what_is_rounded_up() {
    let least = StandMoves { pitch_deg: -0.005, up_mm: 0.05, ..StandMoves::default() };
    assert_eq!(least.to_string(), "tilt the top back by 0.01°, then raise by 0.1 mm");
    let no_number = StandMoves { roll_deg: f64::NAN, left_mm: f64::INFINITY, ..StandMoves::default() };
    assert_eq!(no_number.to_string(), "nothing to move");
}

#[test]
fn lines_and_points_are_named_in_words() {
    let said = [Line::ThrustLine, Line::Centreline].map(|line| line.to_string());
    assert_eq!(said, ["thrust line", "centreline"]);
    let points = [ReferencePoint::FrontAxle, ReferencePoint::RearAxle, ReferencePoint::Point([1.5, 2.0, -3.0])];
    assert_eq!(
        points.map(|point| point.to_string()),
        [
            "middle of the front axle",
            "middle of the rear axle",
            "point 1.5 mm ahead of the middle of the rear axle, 2 mm to its left, -3 mm above it"
        ]
    );
}

#[test]
fn the_program_says_where_the_stand_is_what_to_move_and_what_to_beware_of() {
    let output = crate::program::example("stand").output().unwrap();
    let text = String::from_utf8(output.stdout).unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let (before, after) = text.split_once("Done on the invented stand").unwrap();
    for said in [
        "Invented car",
        "the stand does not stand as required",
        "1. turn right by",
        "forward is away from the car",
        "vehicle maker's procedure",
        "hurt people",
    ] {
        assert!(text.contains(said), "{said} is not in\n{text}");
    }
    assert!(before.contains("does not conform") && after.contains("the stand stands as required"), "{text}");
    assert!(!after.contains("does not conform"), "{text}");
}
