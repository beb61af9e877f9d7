//! What must not matter: where the rig's frame lies, which side is which, in what order stations come, how often, in which unit.

use crate::paths::{EXACT, assert_same, by_path};
use crate::truth::READ_BACK;
use alignment_core::pose::Axes;
use alignment_core::session::{Camera, Centreline, CompensationMethod, Datum, Method, PoseNoise, Sighting, SweepBody};
use alignment_core::simulate::{BodyMotion, VirtualVehicle};
use alignment_core::{Alignment, ByWheel, Pose, Session, Station, Wheel, measure};
use proptest::prelude::*;

type Matrix = [[f64; 3]; 3];
type Constructor = fn(Matrix, [f64; 3]) -> Pose;

fn product(a: &Matrix, b: &Matrix) -> Matrix {
    core::array::from_fn(|i| core::array::from_fn(|j| (0..3).map(|k| a[i][k] * b[k][j]).sum()))
}

fn applied(a: &Matrix, v: [f64; 3]) -> [f64; 3] {
    core::array::from_fn(|i| (0..3).map(|k| a[i][k] * v[k]).sum())
}

/// A noisy session of a random car, to be measured by either method: invariance must hold for real data too.
fn noisy(seed: u64, locked: bool) -> Session {
    let car = VirtualVehicle {
        pose_noise: Some(PoseNoise { rotation_deg: 0.005, translation_mm: 0.05 }),
        sweep_wheels_locked: locked,
        ..VirtualVehicle::random(seed)
    };
    Session { method: method(seed), ..car.session() }
}

fn method(seed: u64) -> Method {
    if seed.is_multiple_of(2) { Method::Staged } else { Method::Joint }
}

/// The session with every station and every pose replaced.
fn mapped(session: &Session, station: impl Fn(&Station) -> Station) -> Session {
    let all = |stations: &[Station]| stations.iter().map(&station).collect();
    Session {
        rolling: all(&session.rolling),
        sweep: all(&session.sweep),
        ahead: station(&session.ahead),
        lock_left: session.lock_left.as_ref().map(&station),
        lock_right: session.lock_right.as_ref().map(&station),
        ..session.clone()
    }
}

fn mapped_poses(station: &Station, map: impl Fn(&Pose) -> Pose) -> Station {
    ByWheel::from_fn(|wheel| match station.get(wheel).frames() {
        [] => Sighting::NotSeen,
        [pose] => Sighting::Pose(map(pose)),
        frames => Sighting::Frames(frames.iter().map(&map).collect()),
    })
}

/// The pose, seen after the motion.
pub(crate) fn moved_pose(motion: &Pose, pose: &Pose) -> Pose {
    let translation_mm = moved_point(motion, pose.translation_mm);
    Pose { rotation: product(&motion.rotation, &pose.rotation), translation_mm }
}

pub(crate) fn moved_point(motion: &Pose, point_mm: [f64; 3]) -> [f64; 3] {
    let turned = applied(&motion.rotation, point_mm);
    core::array::from_fn(|i| turned[i] + motion.translation_mm[i])
}

pub(crate) fn inverse(motion: &Pose) -> Pose {
    let rotation = core::array::from_fn(|i| core::array::from_fn(|j| motion.rotation[j][i]));
    let translation_mm = applied(&rotation, motion.translation_mm).map(|v| -v);
    Pose { rotation, translation_mm }
}

/// The session in a rig whose frame lies elsewhere: what is in the rig frame moves, what a camera sees does not.
pub(crate) fn in_another_rig(session: &Session, motion: &Pose) -> Session {
    let seen_by_camera = |wheel: Wheel| session.cameras.values().any(|camera| camera.wheels.contains(&wheel));
    let mut moved = mapped(session, |station| {
        let in_rig = mapped_poses(station, |pose| moved_pose(motion, pose));
        ByWheel::from_fn(|wheel| if seen_by_camera(wheel) { station.get(wheel) } else { in_rig.get(wheel) }.clone())
    });
    moved.up = session.up.map(|up| applied(&motion.rotation, up));
    moved.runway_mm = session.runway_mm.map(|points| ByWheel::from_fn(|wheel| moved_point(motion, *points.get(wheel))));
    for camera in moved.cameras.values_mut() {
        camera.rig_from_camera = moved_pose(motion, &camera.rig_from_camera);
    }
    moved
}

/// The session with the poses of some wheels as a camera reports them in its own frame.
pub(crate) fn by_camera(session: &Session, name: &str, rig_from_camera: Pose, wheels: &[Wheel]) -> Session {
    let camera_from_rig = inverse(&rig_from_camera);
    let mut given = mapped(session, |station| {
        let in_camera = mapped_poses(station, |pose| moved_pose(&camera_from_rig, pose));
        ByWheel::from_fn(|wheel| {
            if wheels.contains(&wheel) { in_camera.get(wheel) } else { station.get(wheel) }.clone()
        })
    });
    given.cameras.insert(name.to_owned(), Camera { rig_from_camera, wheels: wheels.to_vec() });
    given
}

/// The session with points of a runway some way under the targets.
fn on_runway(session: &Session, heights_mm: [f64; 4]) -> Session {
    let up = session.up.unwrap();
    let runway_mm = ByWheel::from_fn(|wheel| {
        let origin = session.ahead.get(wheel).frames()[0].translation_mm;
        let height = heights_mm[Wheel::ALL.iter().position(|&of| of == wheel).unwrap()] - 330.0;
        core::array::from_fn(|i| origin[i] + up[i] * height)
    });
    Session { runway_mm: Some(runway_mm), ..session.clone() }
}

pub(crate) fn pose(turn: [f64; 3], shift_mm: [f64; 3]) -> Pose {
    Pose::from_rotation_vector_rad(turn, shift_mm).unwrap()
}

const DATUMS: [Datum; 3] = [Datum::Up, Datum::WheelPlane, Datum::Runway];

fn readings(session: &Session) -> Alignment {
    measure(session).unwrap().alignment
}

/// The session of the mirrored car: left and right exchanged in the rig.
pub(crate) fn mirrored_session(session: &Session) -> Session {
    let mirror = |v: [f64; 3]| [v[0], -v[1], v[2]];
    let mut other = mapped(session, |station| {
        let seen = mapped_poses(station, |pose| {
            // Mirrored in the rig and in the target, so that the rotation stays one.
            let [x, y, z] = pose.rotation;
            let rotation = [x, y.map(|v| -v), z].map(|row| [row[0], row[1], -row[2]]);
            Pose { rotation, translation_mm: mirror(pose.translation_mm) }
        });
        ByWheel::from_fn(|wheel| seen.get(wheel.opposite()).clone())
    });
    other.up = session.up.map(mirror);
    other.runway_mm = session.runway_mm.map(|points| ByWheel::from_fn(|wheel| mirror(*points.get(wheel.opposite()))));
    other.clamp_standoff_mm = ByWheel::from_fn(|wheel| *session.clamp_standoff_mm.get(wheel.opposite()));
    std::mem::swap(&mut other.lock_left, &mut other.lock_right);
    other
}

/// Left and right exchanged: the readings of the mirrored car, from those of the car itself.
pub(crate) fn mirrored(alignment: &Alignment) -> Alignment {
    let negated = |value: Option<f64>| value.map(|v: f64| -v);
    let flipped = |vector: Option<[f64; 3]>| vector.map(|[x, y, z]| [x, -y, z]);
    let mut mirror = *alignment;
    let wheel = |wheel: Wheel| {
        let mut other = *alignment.wheels.get(wheel.opposite());
        other.centre_mm = flipped(other.centre_mm);
        other.spindle = flipped(other.spindle);
        other
    };
    mirror.wheels = ByWheel::from_fn(wheel);
    for axle in [&mut mirror.axles.front, &mut mirror.axles.rear] {
        axle.cross_camber_deg = negated(axle.cross_camber_deg);
        axle.setback_deg = negated(axle.setback_deg);
        axle.setback_mm = negated(axle.setback_mm);
    }
    let chassis = &mut mirror.chassis;
    chassis.thrust_angle_deg = negated(chassis.thrust_angle_deg);
    std::mem::swap(&mut chassis.wheelbase_left_mm, &mut chassis.wheelbase_right_mm);
    chassis.wheelbase_difference_mm = negated(chassis.wheelbase_difference_mm);
    std::mem::swap(&mut chassis.diagonal_fl_rr_mm, &mut chassis.diagonal_fr_rl_mm);
    chassis.diagonal_difference_mm = negated(chassis.diagonal_difference_mm);
    chassis.axle_offset_mm = negated(chassis.axle_offset_mm);
    let steering = &mut mirror.steering;
    std::mem::swap(&mut steering.left, &mut steering.right);
    for side in [&mut steering.left, &mut steering.right] {
        side.axis_direction = flipped(side.axis_direction);
        side.axis_point_mm = flipped(side.axis_point_mm);
    }
    steering.ahead_error_deg = negated(steering.ahead_error_deg);
    steering.cross_caster_deg = negated(steering.cross_caster_deg);
    steering.cross_sai_deg = negated(steering.cross_sai_deg);
    let turns = &mut mirror.turns;
    std::mem::swap(&mut turns.left_turn, &mut turns.right_turn);
    std::mem::swap(&mut turns.lock_left, &mut turns.lock_right);
    for lock in [&mut turns.lock_left, &mut turns.lock_right] {
        (lock.left_deg, lock.right_deg) = (negated(lock.right_deg), negated(lock.left_deg));
    }
    mirror
}

proptest! {
    #![proptest_config(crate::cases(200))]

    #[test]
    fn the_rig_frame_does_not_matter(
        seed: u64,
        locked: bool,
        turn in prop::array::uniform3(-3.0..3.0f64),
        shift in prop::array::uniform3(-10_000.0..10_000.0f64),
    ) {
        let session = noisy(seed, locked);
        assert_same(&readings(&in_another_rig(&session, &pose(turn, shift))), &readings(&session), EXACT);
    }

    #[test]
    fn the_axes_printed_on_a_target_do_not_matter(seed: u64, locked: bool, turn in prop::array::uniform3(-3.0..3.0f64)) {
        let session = noisy(seed, locked);
        let printed = Pose::from_rotation_vector_rad(turn, [0.0; 3]).unwrap().rotation;
        let turned = mapped(&session, |station| mapped_poses(station, |pose| {
            Pose { rotation: product(&pose.rotation, &printed), ..*pose }
        }));
        let (mut found, mut expected) = (readings(&turned), readings(&session));
        // Runout is to the nearest axis of the target, so it alone follows the print.
        for wheel in Wheel::ALL {
            found.wheels.get_mut(wheel).runout_deg = None;
            expected.wheels.get_mut(wheel).runout_deg = None;
        }
        assert_same(&found, &expected, EXACT);
    }

    /// A session written down in each other convention, with M from the words that define it, and converted back.
    #[test]
    fn the_axes_of_the_source_do_not_matter(seed: u64, locked: bool) {
        // Rows: the source's X, Y and Z, seen in X forward, Y left, Z up.
        let (forward, left, up) = ([1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]);
        let [backward, right, down] = [forward, left, up].map(|axis| axis.map(|v: f64| -v));
        let sources: [(Matrix, Axes, Constructor); 4] = [
            ([forward, right, up], Axes::LeftHandedYRight, Pose::from_left_handed_y_right),
            ([right, up, forward], Axes::LeftHandedYUp, Pose::from_left_handed_y_up),
            ([right, up, backward], Axes::RightHandedYUp, Pose::from_right_handed_y_up),
            ([forward, right, down], Axes::ZDown, Pose::from_z_down),
        ];
        let session = noisy(seed, locked);
        for (to_source, axes, constructor) in sources {
            let from_source = core::array::from_fn(|i| core::array::from_fn(|j| to_source[j][i]));
            let mut read = mapped(&session, |station| mapped_poses(station, |pose| {
                let written = product(&product(&to_source, &pose.rotation), &from_source);
                constructor(written, applied(&to_source, pose.translation_mm))
            }));
            read.up = session.up.map(|up| axes.direction(applied(&to_source, up)));
            assert_same(&readings(&read), &readings(&session), EXACT);
        }
    }

    #[test]
    fn a_mirrored_car_reads_mirrored(seed: u64, locked: bool, heights in prop::array::uniform4(-5.0..5.0f64)) {
        let mut session = on_runway(&noisy(seed, locked), heights);
        let mut other = mirrored_session(&session);
        for datum in DATUMS {
            for centreline in [Centreline::AxleMidpoints, Centreline::SideLineBisector] {
                for session in [&mut session, &mut other] {
                    (session.reference.datum, session.reference.centreline) = (datum, centreline);
                }
                assert_same(&readings(&other), &mirrored(&readings(&session)), EXACT);
            }
        }
    }

    #[test]
    fn the_order_and_the_number_of_equal_stations_do_not_matter(seed: u64, locked: bool, by in 1usize..8) {
        let session = noisy(seed, locked);
        let expected = readings(&session);

        let mut reversed = session.clone();
        reversed.rolling.reverse();
        reversed.sweep.reverse();
        assert_same(&readings(&reversed), &expected, EXACT);

        let mut rotated = session.clone();
        rotated.rolling.rotate_left(by % 5);
        rotated.sweep.rotate_right(by);
        assert_same(&readings(&rotated), &expected, EXACT);

        // One fit weighs stations that were taken twice against those that were not.
        let session = Session { method: Method::Staged, ..session };
        let mut doubled = session.clone();
        doubled.rolling.extend(session.rolling.iter().cloned());
        doubled.sweep.extend(session.sweep.iter().cloned());
        assert_same(&readings(&doubled), &readings(&session), EXACT);
    }

    #[test]
    fn a_pose_and_the_same_frame_several_times_are_one(seed: u64, count in 2usize..12, stated: bool) {
        let mut session = noisy(seed, true);
        if !stated {
            session.pose_noise = None;
        }
        let framed = mapped(&session, |station| ByWheel::from_fn(|wheel| {
            Sighting::Frames(station.get(wheel).frames().repeat(count))
        }));
        assert_same(&readings(&framed), &readings(&session), EXACT);
    }

    /// The same car in another unit of length: lengths scale, angles stay.
    #[test]
    fn lengths_scale_and_angles_stay(seed: u64, scale in 0.8..1.2f64) {
        let session = noisy(seed, true);
        let mut scaled = mapped(&session, |station| mapped_poses(station, |pose| {
            Pose { translation_mm: pose.translation_mm.map(|v| v * scale), ..*pose }
        }));
        let noise = PoseNoise { rotation_deg: 0.005, translation_mm: 0.05 * scale };
        scaled.pose_noise = Some(noise.into());
        scaled.clamp_standoff_mm = ByWheel::from_fn(|wheel| session.clamp_standoff_mm.get(wheel) * scale);
        scaled.loaded_radius_mm = session.loaded_radius_mm.map(|radii| alignment_core::ByAxle {
            front: radii.front.map(|v| v * scale),
            rear: radii.rear.map(|v| v * scale),
        });
        let (found, expected) = (by_path(&readings(&scaled)), by_path(&readings(&session)));
        for ((path, found), expected) in found.iter().zip(expected.values()) {
            let expected = expected.map(|v| if path.contains("_mm") { v * scale } else { v });
            let same = match (found, expected) {
                (Some(found), Some(expected)) => (found - expected).abs() < 1e-9 * expected.abs().max(1.0),
                (found, expected) => found.is_none() && expected.is_none(),
            };
            prop_assert!(same, "{}: {:?}, expected {:?}", path, found, expected);
        }
    }
}

proptest! {
    #![proptest_config(crate::cases(100))]

    #[test]
    fn the_rig_frame_does_not_matter_to_any_datum(
        seed: u64,
        locked: bool,
        turn in prop::array::uniform3(-3.0..3.0f64),
        shift in prop::array::uniform3(-10_000.0..10_000.0f64),
        heights in prop::array::uniform4(-5.0..5.0f64),
    ) {
        let mut session = on_runway(&noisy(seed, locked), heights);
        for datum in DATUMS {
            session.reference.datum = datum;
            assert_same(&readings(&in_another_rig(&session, &pose(turn, shift))), &readings(&session), EXACT);
        }
    }

    /// Some wheels in the rig frame, others as cameras report them: the same readings, wherever the rig's frame lies.
    #[test]
    fn cameras_read_as_the_rig_does(
        seed: u64,
        locked: bool,
        one in (prop::array::uniform3(-3.0..3.0f64), prop::array::uniform3(-5_000.0..5_000.0f64)),
        other in (prop::array::uniform3(-3.0..3.0f64), prop::array::uniform3(-5_000.0..5_000.0f64)),
        rig in (prop::array::uniform3(-3.0..3.0f64), prop::array::uniform3(-10_000.0..10_000.0f64)),
        split in 0usize..=4,
    ) {
        let session = noisy(seed, locked);
        let expected = readings(&session);
        let by_one = by_camera(&session, "one", pose(one.0, one.1), &Wheel::ALL[..split]);
        assert_same(&readings(&by_one), &expected, EXACT);
        let by_both = by_camera(&by_one, "other", pose(other.0, other.1), &Wheel::ALL[split..]);
        assert_same(&readings(&by_both), &expected, EXACT);
        for given in [by_one, by_both] {
            assert_same(&readings(&in_another_rig(&given, &pose(rig.0, rig.1))), &expected, EXACT);
        }
    }

    #[test]
    fn spun_wheels_read_as_rolled_ones_but_for_the_rolling_radius(seed: u64, locked: bool) {
        let rolled = VirtualVehicle { sweep_wheels_locked: locked, ..VirtualVehicle::random(seed) };
        let spun = VirtualVehicle { compensation: CompensationMethod::Spun, ..rolled.clone() };
        let mut expected = readings(&rolled.session());
        for wheel in Wheel::ALL {
            expected.wheels.get_mut(wheel).rolling_radius_mm = None;
        }
        assert_same(&readings(&Session { method: method(seed), ..spun.session() }), &expected, EXACT);
    }

    /// Locked, the rear targets show all that the body does.
    #[test]
    fn a_body_found_again_reads_as_if_it_had_stood_still(
        seed: u64,
        rise_mm in -20.0..20.0f64,
        slide_mm in prop::array::uniform2(-20.0..20.0f64),
        turns_deg in prop::array::uniform3(-2.0..2.0f64),
        noise in prop::option::of((0.0..0.1f64, 0.0..1.0f64)),
    ) {
        let [roll_deg, pitch_deg, yaw_deg] = turns_deg;
        let car = VirtualVehicle {
            body_motion: BodyMotion { rise_mm, slide_mm, roll_deg, pitch_deg, yaw_deg },
            sweep_body: SweepBody::FoundAgain,
            ..VirtualVehicle::random(seed)
        };
        // Stated noise weighs what the targets show, and so must not matter where they show the same.
        let pose_noise = noise.map(|(rotation_deg, translation_mm)| PoseNoise { rotation_deg, translation_mm }.into());
        let session = Session { pose_noise, method: method(seed), ..car.session() };
        assert_same(&readings(&session), &car.truth(), READ_BACK);
    }
}

/// The reason why every projection is taken in the vehicle frame: a car askew by 1° with an SAI of 13° would read 0.23° of false
/// caster in the rig frame, sin 1° · tan 13°.
#[test]
fn a_car_askew_reads_no_false_caster() {
    let straight = VirtualVehicle::default();
    for askew_deg in [-1.0_f64, 1.0, 90.0, 180.0] {
        let turn = Pose::from_rotation_vector_rad([0.0, 0.0, askew_deg.to_radians()], [0.0; 3]).unwrap();
        let askew = VirtualVehicle { rig_from_vehicle: turn, ..straight.clone() };
        assert_same(&readings(&askew.session()), &readings(&straight.session()), EXACT);
    }
}

#[test]
fn the_same_session_gives_the_same_bits() {
    let session = noisy(3, true);
    assert_eq!(measure(&session).unwrap(), measure(&session).unwrap());
}
