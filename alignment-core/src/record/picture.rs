//! The plan view: four wheels from above, front up, before and after. A drawing that is not to scale; the numbers beside it are.

use super::page::{angle, length};
use super::{Measured, MeasuredReading};
use crate::layout::Wheel;
use crate::paths::unit;
use alloc::format;
use alloc::string::String;
use alloc::vec::Vec;

/// How much larger an angle or a length may be drawn.
const FACTORS: [f64; 6] = [50.0, 30.0, 20.0, 10.0, 5.0, 2.0];
/// No drawn angle is greater, degrees, and no drawn setback, in units of the drawing.
const LARGEST_DRAWN: [f64; 2] = [14.0, 24.0];
/// So many units of the drawing are 1 mm, of a car with a wheelbase of 2.6 m.
const PER_MM: f64 = 220.0 / 2600.0;
/// The middle of the car, the places of the wheels, in units of the drawing.
const MIDDLE: f64 = 380.0;
const HALF_TRACK: f64 = 78.0;
const AXLES: [f64; 2] = [96.0, 316.0];

/// A wheel as it is drawn.
pub(super) struct Drawn {
    pub(super) x: f64,
    pub(super) y: f64,
    /// Clockwise, seen from above.
    pub(super) turn_deg: f64,
}

/// The car at one time.
pub(super) struct CarDrawn {
    /// `before` or `after`.
    pub(super) name: &'static str,
    pub(super) wheels: Vec<Drawn>,
    /// The line through the wheels of each axle: x1, y1, x2, y2.
    pub(super) axles: Vec<[f64; 4]>,
    /// The clockwise turn of the thrust line, about the middle of the rear axle.
    pub(super) thrust_turn_deg: Option<f64>,
}

/// What is written beside a wheel.
pub(super) struct Beside {
    pub(super) title: &'static str,
    pub(super) x: f64,
    pub(super) y: f64,
    /// `end` on the left, `start` on the right.
    pub(super) anchor: &'static str,
    pub(super) lines: Vec<String>,
}

pub(super) struct Picture {
    pub(super) cars: Vec<CarDrawn>,
    pub(super) beside: Vec<Beside>,
    /// What is written below the car.
    pub(super) below: Vec<String>,
    /// How much larger than they are toe and thrust angle, and setback, are drawn.
    pub(super) angle_factor: f64,
    pub(super) setback_factor: f64,
}

/// A reading in the unit of its path: what a record has in another one is not drawn.
fn reading<'a>(measured: &'a Measured, path: &str) -> Option<&'a MeasuredReading> {
    measured.readings.iter().find(|reading| reading.path == path).filter(|reading| reading.unit == unit(path))
}

fn value(measured: &Measured, path: &str) -> Option<f64> {
    reading(measured, path)?.value.filter(|value| value.is_finite())
}

/// The largest factor with which nothing is drawn too large.
fn factor(greatest: f64, largest_drawn: f64) -> f64 {
    FACTORS.into_iter().find(|factor| greatest * factor <= largest_drawn).unwrap_or(1.0)
}

impl Picture {
    pub(super) fn of(states: &[(&'static str, &Measured)]) -> Self {
        let toe = |wheel: Wheel| format!("wheels.{wheel}.toe_to_centreline_deg");
        let greatest = |paths: &[String]| {
            let values = states.iter().flat_map(|(_, measured)| paths.iter().filter_map(|path| value(measured, path)));
            values.fold(0.0_f64, |greatest, value| greatest.max(value.abs()))
        };
        let mut angles: Vec<String> = Wheel::ALL.map(toe).to_vec();
        angles.push("chassis.thrust_angle_deg".into());
        let setbacks = ["axles.front.setback_mm".into(), "axles.rear.setback_mm".into()];
        let [largest_deg, largest] = LARGEST_DRAWN;
        let angle_factor = factor(greatest(&angles), largest_deg);
        let setback_factor = factor(greatest(&setbacks) * PER_MM, largest);
        let turned = |angle_deg: f64| (angle_deg * angle_factor).clamp(-2.0 * largest_deg, 2.0 * largest_deg);
        let car = |&(name, measured): &(&'static str, &Measured)| {
            let set_back = [0, 1].map(|axle: usize| {
                let setback_mm = value(measured, &setbacks[axle]).unwrap_or(0.0);
                (setback_mm * PER_MM * setback_factor).clamp(-2.0 * largest, 2.0 * largest)
            });
            let place = |wheel: Wheel| {
                let axle = usize::from(!wheel.is_front());
                let side = wheel.side().sign();
                [MIDDLE - side * HALF_TRACK, AXLES[axle] - side * set_back[axle] / 2.0]
            };
            let wheels = Wheel::ALL.into_iter().filter_map(|wheel| {
                let [x, y] = place(wheel);
                // Toe-in turns the left wheel clockwise.
                let turn_deg = wheel.side().sign() * turned(value(measured, &toe(wheel))?);
                Some(Drawn { x, y, turn_deg })
            });
            let axles = [[Wheel::Fl, Wheel::Fr], [Wheel::Rl, Wheel::Rr]].map(|[left, right]| {
                let ([x1, y1], [x2, y2]) = (place(left), place(right));
                [x1, y1, x2, y2]
            });
            let thrust_turn_deg = value(measured, "chassis.thrust_angle_deg").map(turned);
            CarDrawn { name, wheels: wheels.collect(), axles: axles.to_vec(), thrust_turn_deg }
        };
        let told = |path: &str, title: &str| -> Vec<String> {
            let line = |&(name, measured): &(&'static str, &Measured)| {
                let figure = reading(measured, path);
                let figure = figure.map(|reading| (reading.value, reading.expanded_uncertainty)).unwrap_or_default();
                let text = if path.ends_with("_deg") { angle(figure) } else { length(figure) };
                format!("{title} {name}: {text}")
            };
            states.iter().map(line).collect()
        };
        let beside = Wheel::ALL.into_iter().map(|wheel| {
            let left = wheel.side().sign() > 0.0;
            Beside {
                title: super::page::wheel_name(wheel),
                x: if left { MIDDLE - HALF_TRACK - 46.0 } else { MIDDLE + HALF_TRACK + 46.0 },
                y: AXLES[usize::from(!wheel.is_front())] - 34.0,
                anchor: if left { "end" } else { "start" },
                lines: [told(&toe(wheel), "toe to centreline"), told(&format!("wheels.{wheel}.camber_deg"), "camber")]
                    .concat(),
            }
        });
        let below = [
            ("chassis.thrust_angle_deg", "Thrust angle"),
            ("axles.front.setback_mm", "Front setback"),
            ("axles.rear.setback_mm", "Rear setback"),
        ];
        let below = below.map(|(path, title)| told(path, title).join("; "));
        Self {
            cars: states.iter().map(car).collect(),
            beside: beside.collect(),
            below: below.to_vec(),
            angle_factor,
            setback_factor,
        }
    }
}
