//! What must not matter: where the rig's frame lies, which side is which, in what order stations come, how often, in which unit.

use crate::paths::{EXACT, assert_same, by_path};
use alignment_core::pose::Axes;
use alignment_core::session::{PoseNoise, Sighting};
use alignment_core::simulate::VirtualVehicle;
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

/// A noisy session of a random car: invariance must hold for real data too.
fn noisy(seed: u64, locked: bool) -> Session {
    VirtualVehicle {
        pose_noise: Some(PoseNoise { rotation_deg: 0.005, translation_mm: 0.05 }),
        sweep_wheels_locked: locked,
        ..VirtualVehicle::random(seed)
    }
    .session()
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

fn readings(session: &Session) -> Alignment {
    measure(session).unwrap().alignment
}

/// Left and right exchanged: the readings of the mirrored car, from those of the car itself.
fn mirrored(alignment: &Alignment) -> Alignment {
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
        let motion = Pose::from_rotation_vector_rad(turn, shift).unwrap();
        let mut moved = mapped(&session, |station| mapped_poses(station, |pose| {
            let origin = applied(&motion.rotation, pose.translation_mm);
            Pose {
                rotation: product(&motion.rotation, &pose.rotation),
                translation_mm: core::array::from_fn(|i| origin[i] + shift[i]),
            }
        }));
        moved.up = session.up.map(|up| applied(&motion.rotation, up));
        assert_same(&readings(&moved), &readings(&session), EXACT);
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
    fn a_mirrored_car_reads_mirrored(seed: u64, locked: bool) {
        let session = noisy(seed, locked);
        let mirror = |v: [f64; 3]| [v[0], -v[1], v[2]];
        let mut other = mapped(&session, |station| {
            let seen = mapped_poses(station, |pose| {
                // Mirrored in the rig and in the target, so that the rotation stays one.
                let [x, y, z] = pose.rotation;
                let rotation = [x, y.map(|v| -v), z].map(|row| [row[0], row[1], -row[2]]);
                Pose { rotation, translation_mm: mirror(pose.translation_mm) }
            });
            ByWheel::from_fn(|wheel| seen.get(wheel.opposite()).clone())
        });
        other.up = session.up.map(mirror);
        other.clamp_standoff_mm = ByWheel::from_fn(|wheel| *session.clamp_standoff_mm.get(wheel.opposite()));
        std::mem::swap(&mut other.lock_left, &mut other.lock_right);
        assert_same(&readings(&other), &mirrored(&readings(&session)), EXACT);
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

        let mut doubled = session.clone();
        doubled.rolling.extend(session.rolling.iter().cloned());
        doubled.sweep.extend(session.sweep.iter().cloned());
        assert_same(&readings(&doubled), &expected, EXACT);
    }

    #[test]
    fn a_pose_and_the_same_frame_three_times_are_one(seed: u64) {
        let session = noisy(seed, true);
        let framed = mapped(&session, |station| ByWheel::from_fn(|wheel| {
            Sighting::Frames(station.get(wheel).frames().repeat(3))
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
