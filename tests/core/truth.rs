//! The virtual vehicle, built forward, is read back to its own numbers.

use crate::paths::{EXACT, Tolerance, assert_same};
use alignment_core::compensation::{wheel_from_rolling, wheel_from_spinning};
use alignment_core::session::{CompensationMethod, Method, Session, Turn, TurnWheel};
use alignment_core::simulate::VirtualVehicle;
use alignment_core::{Alignment, Pose, Side, measure};
use proptest::prelude::*;

/// Toe-out on turns is interpolated between sweep stations: 0.02° is what it is good for.
pub const READ_BACK: Tolerance = Tolerance { interpolated_deg: 0.02, ..EXACT };

/// The readings of a session by each method.
fn by_both(session: &Session) -> [Alignment; 2] {
    [Method::Staged, Method::Joint].map(|method| measure(&Session { method, ..session.clone() }).unwrap().alignment)
}

#[test]
fn the_default_car_is_read_back() {
    let car = VirtualVehicle::default();
    for method in [Method::Staged, Method::Joint] {
        let result = measure(&Session { method, ..car.session() }).unwrap();
        assert_same(&result.alignment, &car.truth(), READ_BACK);
        assert_eq!(result.warnings, []);
    }
}

/// A body that yaws as the car is rolled, by half a degree and more from end to end, leaves the readings what they are: its yaw is found.
#[test]
fn a_car_that_yaws_as_it_is_rolled_is_read_back() {
    let straight = VirtualVehicle::default();
    let car = VirtualVehicle { rolling_yaw_deg_per_m: 2.0, ..straight.clone() };
    let (found, truth) = (measure(&car.session()).unwrap().alignment, straight.truth());
    for path in ["wheels.fl.camber_deg", "wheels.rr.toe_deg", "axles.front.total_toe_deg", "steering.left.sai_deg"] {
        let [found, truth] = [&found, &truth].map(|tree| tree.get(path).unwrap().unwrap());
        assert!((found - truth).abs() < 1e-3, "{path}: {found} is not {truth}");
    }
}

/// A front wheel alone, rolled or spun, shows its clamp and its radius as built.
#[test]
fn one_wheel_alone_is_read_back() {
    for seed in 0..30 {
        let rolled = VirtualVehicle { compensation: CompensationMethod::Rolled, ..VirtualVehicle::random(seed) };
        let spun = VirtualVehicle { compensation: CompensationMethod::Spun, ..rolled.clone() };
        let forward = rolled.rig_from_vehicle.rotation.map(|row| row[0]);
        for (side, built) in [(Side::Left, &rolled.front.left), (Side::Right, &rolled.front.right)] {
            let standoff_mm = built.clamp.standoff_mm;
            let poses = |car: &VirtualVehicle| {
                let session = car.session();
                let seen = session.rolling.iter().flat_map(|station| station.get(side.front_wheel()).frames().to_vec());
                (seen.collect::<Vec<Pose>>(), session.up.unwrap())
            };
            let (seen, up) = poses(&rolled);
            let free = wheel_from_rolling(&seen, side, forward, up, standoff_mm, None).unwrap();
            let radius_mm = rolled.front.rolling_radius_mm;
            let two = [seen[0], seen[seen.len() - 1]];
            let given = wheel_from_rolling(&two, side, forward, up, standoff_mm, Some(radius_mm)).unwrap();
            for found in [free, given] {
                assert!((found.runout_deg - built.clamp.tilt_deg).abs() < 1e-9, "{seed} {side:?}: {found:?}");
                assert!((found.rolling_radius_mm.unwrap() - radius_mm).abs() < 1e-6, "{seed} {side:?}: {found:?}");
            }
            let (seen, up) = poses(&spun);
            let found = wheel_from_spinning(&seen, side, forward, up, standoff_mm).unwrap();
            assert!((found.runout_deg - built.clamp.tilt_deg).abs() < 1e-9, "{seed} {side:?}: {found:?}");
            assert_eq!(found.rolling_radius_mm, None);
            for (spun, rolled) in found.centre_in_target_mm.into_iter().zip(free.centre_in_target_mm) {
                assert!((spun - rolled).abs() < 1e-6, "{seed} {side:?}: {found:?} {free:?}");
            }
        }
    }
}

proptest! {
    #![proptest_config(crate::cases(500))]

    /// Caster −5 to 15°, SAI 0 to 20°, camber ± 8°, toe ± 3°, askew ± 180°, clamp tilt to 5°: locked wheels.
    #[test]
    fn any_car_is_read_back_with_wheels_locked(seed: u64) {
        let car = VirtualVehicle::random(seed);
        for found in by_both(&car.session()) {
            assert_same(&found, &car.truth(), READ_BACK);
        }
    }

    /// The same with wheels free to roll in the sweep.
    #[test]
    fn any_car_is_read_back_with_wheels_free(seed: u64) {
        let car = VirtualVehicle { sweep_wheels_locked: false, ..VirtualVehicle::random(seed) };
        for found in by_both(&car.session()) {
            assert_same(&found, &car.truth(), READ_BACK);
        }
    }

    /// Few and uneven stations do as well as many, without noise. Three sweep stations leave nothing to interpolate a cubic through.
    #[test]
    fn any_car_is_read_back_from_few_stations(seed: u64, roll in 17.0..120.0f64, sweep in 9.0..25.0f64) {
        let car = VirtualVehicle {
            roll_deg: vec![-0.4 * roll, 0.1 * roll, 0.6 * roll],
            sweep_deg: vec![-sweep, -0.3 * sweep, sweep],
            ..VirtualVehicle::random(seed)
        };
        let truth = car.truth();
        for mut found in by_both(&car.session()) {
            found.turns.left_turn = truth.turns.left_turn;
            found.turns.right_turn = truth.turns.right_turn;
            assert_same(&found, &truth, READ_BACK);
        }
    }

    /// Both customs of toe-out on turns, at any angle that the sweep reaches.
    #[test]
    fn any_turn_custom_is_read_back(seed: u64, outer: bool, angle_deg in 5.0..15.0f64) {
        let wheel = if outer { TurnWheel::Outer } else { TurnWheel::Inner };
        let mut car = VirtualVehicle::random(seed);
        car.reference.turn = Turn { wheel, angle_deg };
        for found in by_both(&car.session()) {
            assert_same(&found, &car.truth(), READ_BACK);
        }
    }

    /// Wheels that turn by more than half a turn, and by more than a whole one, between the first station and the last.
    #[test]
    fn long_rolls_are_followed(seed: u64, step in 40.0..110.0f64) {
        let roll_deg = (0..7).map(|i| f64::from(i) * step).collect();
        let car = VirtualVehicle { roll_deg, ..VirtualVehicle::random(seed) };
        for found in by_both(&car.session()) {
            assert_same(&found, &car.truth(), READ_BACK);
        }
    }
}
