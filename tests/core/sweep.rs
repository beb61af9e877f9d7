//! The sweep station by station: what it shows is what `measure` says, and what the virtual car did.

use alignment_core::gauge::{AxisAngles, GaugePosition, camber_at_yaw_deg};
use alignment_core::session::{JointOptions, Method, PoseNoise, Sighting, SweepBody};
use alignment_core::simulate::{BodyMotion, VirtualVehicle};
use alignment_core::sweep::{Sweep, SweptWheel, follow};
use alignment_core::{ErrorCode, Session, Side, measure, wheel};

const NOISE: PoseNoise = PoseNoise { rotation_deg: 0.005, translation_mm: 0.05 };

fn sides(sweep: &Sweep) -> [(Side, &SweptWheel); 2] {
    [(Side::Left, &sweep.left), (Side::Right, &sweep.right)]
}

fn root_mean_square(values: impl ExactSizeIterator<Item = f64>) -> f64 {
    let count = values.len() as f64;
    (values.map(|value| value * value).sum::<f64>() / count).sqrt()
}

/// The residuals of the stations make up those of the axis.
fn assert_residuals_add_up(swept: &SweptWheel, within: f64) {
    let residuals = || swept.stations.iter().map(|station| station.residual.unwrap());
    let deg = root_mean_square(residuals().map(|residual| residual.rotation_deg));
    let mm = root_mean_square(residuals().map(|residual| residual.translation_mm));
    assert!((deg - swept.axis.residual_deg.unwrap()).abs() <= within * deg, "{deg}");
    assert!((mm - swept.axis.residual_mm.unwrap()).abs() <= within * mm, "{mm}");
}

#[test]
fn a_sweep_says_what_measure_says() {
    let cars = [
        VirtualVehicle { pose_noise: Some(NOISE), ..VirtualVehicle::random(3) },
        VirtualVehicle { pose_noise: Some(NOISE), sweep_wheels_locked: false, ..VirtualVehicle::default() },
        VirtualVehicle { pose_noise: Some(NOISE), sweep_body: SweepBody::FoundAgain, ..VirtualVehicle::random(4) },
    ];
    for session in cars.map(|car| car.session()) {
        let (result, sweep) = (measure(&session).unwrap(), follow(&session).unwrap());
        assert_eq!(Some(sweep.sweep_wheels_locked), session.sweep_wheels_locked);
        let (tree, wheels) = (result.alignment.steering, result.alignment.wheels);
        let mut steer = Vec::new();
        for ((side, swept), (axis, ahead)) in
            sides(&sweep).into_iter().zip([(tree.left, wheels.fl), (tree.right, wheels.fr)])
        {
            assert_eq!(swept.axis, axis);
            assert_residuals_add_up(swept, 1e-14);
            assert_eq!(swept.stations.len(), session.sweep.len());
            for (index, station) in swept.stations.iter().enumerate() {
                assert_eq!(station.station, index);
                assert_eq!(station.residual, *result.residuals.sweep[index].get(side.front_wheel()));
                assert!((station.camber_deg - wheel::camber_deg(station.spindle).unwrap()).abs() < 1e-12);
                let toe_deg = wheel::toe_deg(side, station.spindle).unwrap();
                let turned = side.sign() * (ahead.toe_to_centreline_deg.unwrap() - toe_deg);
                assert!((station.steer_deg - turned).abs() < 1e-11, "{turned}");
            }
            steer.push(swept.stations.iter().map(|station| station.steer_deg).collect::<Vec<_>>());
        }
        let mean: Vec<f64> = steer[0].iter().zip(&steer[1]).map(|(left, right)| (left + right) / 2.0).collect();
        let range = mean.iter().copied().fold(f64::MIN, f64::max) - mean.iter().copied().fold(f64::MAX, f64::min);
        assert_eq!(Some(range), tree.sweep_range_deg);
    }
}

/// The camber at every station is what a gauge must read there, by a formula of its own; and the wheel centre goes round the axis.
#[test]
fn spindle_and_centre_turn_about_the_axis() {
    for seed in 0..50 {
        let car = VirtualVehicle::random(seed);
        let (session, truth) = (car.session(), car.truth());
        let sweep = follow(&session).unwrap();
        for ((side, swept), (axis, ahead)) in sides(&sweep)
            .into_iter()
            .zip([(truth.steering.left, truth.wheels.fl), (truth.steering.right, truth.wheels.fr)])
        {
            let angles = AxisAngles { caster_deg: axis.caster_deg.unwrap(), sai_deg: axis.sai_deg.unwrap() };
            let straight_deg = -side.sign() * ahead.toe_to_centreline_deg.unwrap();
            let straight = GaugePosition { yaw_deg: straight_deg, camber_deg: ahead.camber_deg.unwrap() };
            let (point, direction) = (axis.axis_point_mm.unwrap(), axis.axis_direction.unwrap());
            let off_axis = |centre_mm: [f64; 3]| {
                let from: [f64; 3] = std::array::from_fn(|i| centre_mm[i] - point[i]);
                let along = (0..3).map(|i| from[i] * direction[i]).sum::<f64>();
                (along, (from.map(|v| v * v).iter().sum::<f64>() - along * along).max(0.0))
            };
            let (along, square) = off_axis(ahead.centre_mm.unwrap());
            for station in &swept.stations {
                let camber_deg = camber_at_yaw_deg(side, angles, straight, straight_deg + station.steer_deg).unwrap();
                assert!((station.camber_deg - camber_deg).abs() < 1e-8, "{seed}: {camber_deg}");
                let now = off_axis(station.centre_mm);
                assert!((now.0 - along).abs() < 1e-6 && (now.1 - square).abs() < 1e-3, "{seed}: {now:?}");
            }
        }
    }
}

#[test]
fn the_motion_of_a_body_that_is_found_again_is_taken_out() {
    let body_motion = BodyMotion { rise_mm: 4.0, slide_mm: [3.0, -5.0], roll_deg: 0.3, pitch_deg: -0.2, yaw_deg: 0.5 };
    let still = VirtualVehicle::default();
    let moving = VirtualVehicle { body_motion, sweep_body: SweepBody::FoundAgain, ..still.clone() };
    for method in [Method::Staged, Method::Joint] {
        let follow = |car: &VirtualVehicle| follow(&Session { method, ..car.session() }).unwrap();
        let (still, moving) = (follow(&still), follow(&moving));
        for ((_, still), (_, moving)) in sides(&still).into_iter().zip(sides(&moving)) {
            assert_eq!(still.stations.len(), moving.stations.len());
            for (still, moving) in still.stations.iter().zip(&moving.stations) {
                assert!((still.steer_deg - moving.steer_deg).abs() < 1e-8);
                assert!((still.camber_deg - moving.camber_deg).abs() < 1e-8);
                let apart = std::array::from_fn::<_, 3, _>(|i| (still.centre_mm[i] - moving.centre_mm[i]).abs());
                assert!(apart.iter().all(|v| *v < 1e-5), "{apart:?}");
            }
        }
    }
}

#[test]
fn the_joint_fit_shows_its_own_axis() {
    let cars = [
        VirtualVehicle { pose_noise: Some(NOISE), ..VirtualVehicle::default() },
        VirtualVehicle { pose_noise: Some(NOISE), sweep_wheels_locked: false, ..VirtualVehicle::random(6) },
        VirtualVehicle { pose_noise: Some(NOISE), sweep_body: SweepBody::FoundAgain, ..VirtualVehicle::default() },
    ];
    for car in cars {
        let by_stages = follow(&car.session()).unwrap();
        let session = Session { method: Method::Joint, ..car.session() };
        let (result, sweep) = (measure(&session).unwrap(), follow(&session).unwrap());
        assert_eq!(sweep.method, Method::Joint);
        let axes = [result.alignment.steering.left, result.alignment.steering.right];
        for (((_, swept), axis), (_, stages)) in sides(&sweep).into_iter().zip(axes).zip(sides(&by_stages)) {
            assert_eq!(swept.axis, axis);
            assert_residuals_add_up(swept, 1e-12);
            assert_eq!(swept.stations.len(), stages.stations.len());
            for (station, by_stage) in swept.stations.iter().zip(&stages.stations) {
                assert_eq!(station.station, by_stage.station);
                assert!((station.steer_deg - by_stage.steer_deg).abs() < 0.1);
                assert!((station.camber_deg - by_stage.camber_deg).abs() < 0.1);
            }
        }
    }
}

#[test]
fn what_was_not_seen_or_left_out_has_no_station() {
    let car = VirtualVehicle { pose_noise: Some(NOISE), ..VirtualVehicle::default() };
    let mut session = car.session();
    session.sweep[3].fl = Sighting::NotSeen;
    let stations = |swept: &SweptWheel| swept.stations.iter().map(|station| station.station).collect::<Vec<_>>();
    let sweep = follow(&session).unwrap();
    assert_eq!(stations(&sweep.left), [0, 1, 2, 4, 5, 6, 7, 8]);
    assert_eq!(stations(&sweep.right), [0, 1, 2, 3, 4, 5, 6, 7, 8]);

    // One station is none of a sweep of that wheel: it stands by itself, with no axis to lie off.
    for station in &mut session.sweep[1..] {
        station.fl = Sighting::NotSeen;
    }
    for method in [Method::Staged, Method::Joint] {
        let sweep = follow(&Session { method, ..session.clone() }).unwrap();
        assert_eq!((stations(&sweep.left), sweep.left.axis.caster_deg), (vec![0], None));
        assert_eq!(sweep.left.stations[0].residual, None);
        assert!(sweep.right.axis.caster_deg.is_some());
    }

    // Hidden straight ahead, the vehicle has no frame; the joint fit knows how the wheel stood.
    let mut session = car.session();
    session.ahead.rr = Sighting::NotSeen;
    assert!(follow(&session).unwrap().left.stations.is_empty());
    session.method = Method::Joint;
    assert_eq!(follow(&session).unwrap().left.stations.len(), 9);

    // A bad pose that the robust fit leaves out.
    let joint = JointOptions { robust: true, ..JointOptions::default() };
    let mut session = Session { method: Method::Joint, joint, ..car.session() };
    if let Sighting::Pose(pose) = &mut session.sweep[5].fr {
        pose.translation_mm[2] += 30.0;
    }
    let sweep = follow(&session).unwrap();
    assert_eq!(stations(&sweep.right), [0, 1, 2, 3, 4, 6, 7, 8]);
    assert_residuals_add_up(&sweep.right, 1e-12);
}

#[test]
fn without_a_sweep_there_is_nothing_to_follow() {
    let session = Session { sweep: Vec::new(), ..VirtualVehicle::default().session() };
    let error = follow(&session).unwrap_err();
    assert_eq!((error.code, error.input), (ErrorCode::MissingInput, Some("sweep")));
    // What `measure` refuses is refused alike.
    let mut session = VirtualVehicle::default().session();
    session.sweep_wheels_locked = None;
    assert_eq!(follow(&session).unwrap_err(), measure(&session).unwrap_err());
}
