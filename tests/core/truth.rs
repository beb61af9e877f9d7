//! The virtual vehicle, built forward, is read back to its own numbers.

use crate::paths::{EXACT, Tolerance, assert_same};
use alignment_core::session::{Method, Session, Turn, TurnWheel};
use alignment_core::simulate::VirtualVehicle;
use alignment_core::{Alignment, measure};
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
