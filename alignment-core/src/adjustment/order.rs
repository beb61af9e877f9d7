//! In which order adjusters are moved.

use super::adjuster::{Adjuster, Effect, Stance};
use super::geometry::Model;
use crate::alignment::Alignment;
use crate::error::Error;
use crate::layout::{ByWheel, Side, Wheel};
use crate::steering::SteeringAxisReadings;
use crate::units::sort_by;
use crate::wheel::WheelReadings;
use alloc::vec;
use alloc::vec::Vec;

/// A measured effect moves both wheels of an axle when the one moves by this share of the other; less is noise, or what follows.
const BOTH_MOVED: f64 = 0.1;
/// What sets toe moves it by so many times as much as camber, caster and SAI.
const MOSTLY_TOE: f64 = 4.0;

/// The places of the adjusters in the order in which they are moved.
pub(super) fn order(readings: &Alignment, adjusters: &[Adjuster], stance: &Stance) -> Result<Vec<usize>, Error> {
    let model = Model::new(readings, adjusters.iter().collect(), stance)?;
    let still = vec![0.0; adjusters.len()];
    let mut keys = Vec::with_capacity(adjusters.len());
    for (index, adjuster) in adjusters.iter().enumerate() {
        let effect = model.effect(&still, index)?;
        let moved = moved(adjuster, &effect);
        let [fl, fr, rl, rr] = Wheel::ALL.map(|wheel| *moved.get(wheel));
        let rear = rl || rr;
        let subframe = fl && fr || rl && rr;
        let (mut toe, mut other) = (0.0_f64, 0.0_f64);
        for wheel in Wheel::ALL.into_iter().filter(|&wheel| *moved.get(wheel)) {
            let of = effect.wheels.get(wheel);
            toe = toe.max(size(toe_of(of)));
            let axis = axis_of(&effect, wheel);
            other = [of.camber_deg, axis.caster_deg, axis.sai_deg].map(size).into_iter().fold(other, f64::max);
        }
        if let Effect::Measured(_) = adjuster.effect {
            toe = toe.max(size(if rear { effect.axles.rear } else { effect.axles.front }.total_toe_deg));
        }
        // Between camber and toe what moves both: an eccentric about a steep line moves toe more than camber, yet no tie rod moves camber as much.
        let rank = u8::from(toe > other) + u8::from(toe > MOSTLY_TOE * other);
        let first = Wheel::ALL.into_iter().position(|wheel| *moved.get(wheel)).unwrap_or(Wheel::ALL.len());
        keys.push((!rear, !subframe, rank, first));
    }
    let mut order: Vec<usize> = (0..adjusters.len()).collect();
    sort_by(&mut order, |&a, &b| {
        let alike = keys[a].cmp(&keys[b]).then_with(|| adjusters[a].name.cmp(&adjusters[b].name));
        alike.then(a.cmp(&b))
    });
    Ok(order)
}

fn size(change: Option<f64>) -> f64 {
    change.unwrap_or(0.0).abs()
}

/// The steering axis of a wheel; of a rear one nothing.
fn axis_of(effect: &Alignment, wheel: Wheel) -> SteeringAxisReadings {
    match wheel {
        Wheel::Fl => effect.steering.left,
        Wheel::Fr => effect.steering.right,
        Wheel::Rl | Wheel::Rr => SteeringAxisReadings::default(),
    }
}

fn toe_of(wheel: &WheelReadings) -> Option<f64> {
    wheel.toe_to_centreline_deg.or(wheel.toe_deg)
}

/// Which wheels an adjuster moves: those that it carries, or those of one axle whose own readings were measured to change, not by noise alone.
fn moved(adjuster: &Adjuster, effect: &Alignment) -> ByWheel<bool> {
    let changes = match &adjuster.effect {
        Effect::Rigid(rigid) => return rigid.wheels,
        Effect::Measured(changes) => changes,
    };
    let own = ByWheel::from_fn(|wheel| {
        let of = effect.wheels.get(wheel);
        let axis = axis_of(effect, wheel);
        [of.camber_deg, toe_of(of), axis.caster_deg, axis.sai_deg].map(size).into_iter().fold(0.0, f64::max)
    });
    let (front, rear) = (own.fl.max(own.fr), own.rl.max(own.rr));
    if front.max(rear) > 0.0 {
        let at_rear = rear >= front;
        let enough = BOTH_MOVED * front.max(rear);
        return ByWheel::from_fn(|wheel| wheel.is_front() != at_rear && *own.get(wheel) >= enough);
    }
    let listed = |wheel| changes.iter().any(|(path, &change)| change != 0.0 && belongs(path, wheel));
    ByWheel::from_fn(listed)
}

/// Whether a reading is one of this wheel, or of its axle or steering axis.
fn belongs(path: &str, wheel: Wheel) -> bool {
    let rear = !wheel.is_front();
    let mut parts = path.split('.');
    match (parts.next(), parts.next()) {
        (Some("wheels"), name) => name == Some(wheel.name()),
        (Some("axles"), name) => name == Some(if rear { "rear" } else { "front" }),
        (Some("chassis"), Some("thrust_angle_deg")) => rear,
        (Some("steering"), name) => {
            let other_side = if wheel.side() == Side::Left { "right" } else { "left" };
            !rear && name != Some(other_side)
        }
        _ => false,
    }
}
