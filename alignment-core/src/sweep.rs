//! The caster sweep station by station: how each front wheel stood, and how far it lies from one fixed steering axis. To be drawn, and taught
//! from.
//!
//! As a wheel is steered its spindle stays on a cone about the steering axis, so its camber changes: with caster in step with the steer
//! angle, one way to the left and the other way to the right; with SAI as 1 − cos of it, alike to both sides. Camber over steer angle thus shows caster
//! as a slope and SAI as a bend, and the stations show how well one fixed axis explains them.

use crate::alignment;
use crate::compensation::Residual;
use crate::error::{Error, ErrorCode};
use crate::layout::{BySide, Side};
use crate::session::{Method, Session};
use crate::staged;
use crate::steering::{SteeringAxisReadings, SweepStation};
use crate::vehicle::Stand;
use crate::wheel;
use alloc::vec::Vec;

/// One front wheel at one station of the sweep, in the vehicle frame as it stood at the ahead station. Where the session says that the
/// body is found again, its motion is taken out.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct SweptStation {
    /// Which station of the sweep, counted from 0 as in the session.
    pub station: usize,
    /// Steer angle from the wheel's own heading straight ahead, degrees; positive to the left.
    pub steer_deg: f64,
    /// Camber, degrees; positive with the top outward.
    pub camber_deg: f64,
    /// Spindle, unit vector outward.
    pub spindle: [f64; 3],
    /// Wheel centre, mm: x forward, y left, z up.
    pub centre_mm: [f64; 3],
    /// How far the station lies from the fixed axis: direction and position. Absent when there is none.
    pub residual: Option<Residual>,
}

/// One front wheel in the sweep.
#[derive(Debug, Clone, PartialEq, Default)]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct SweptWheel {
    /// The fixed axis that fits the stations best: the very readings that [`measure`](crate::measure) gives of this side.
    pub axis: SteeringAxisReadings,
    /// The stations that saw the wheel, in the order in which they were taken.
    pub stations: Vec<SweptStation>,
}

/// A sweep, station by station.
#[derive(Debug, Clone, PartialEq, Default)]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Sweep {
    /// The left front wheel.
    pub left: SweptWheel,
    /// The right front wheel.
    pub right: SweptWheel,
    /// Whether the brake held the wheels to their knuckles, or they rolled as they were steered.
    pub sweep_wheels_locked: bool,
    /// How the axes were estimated.
    pub method: Method,
}

/// Follows the front wheels of a session through the sweep, in degrees and mm. What [`measure`](crate::measure) says of the same session holds here to
/// the last bit.
///
/// By the stages a station's residual is that of [`Residuals::sweep`](crate::alignment::Residuals::sweep): its root mean square over the stations is the
/// axis' `residual_deg` and `residual_mm`. By the joint fit clamps, body and axis are those of the fit, a steer angle is where the fit puts the wheel,
/// spindle and wheel centre are where its target was seen; the root mean square is the axis' own again, and a pose that was left out has no station.
///
/// A wheel that was not seen has no stations; nor has any when a wheel was hidden straight ahead, which the vehicle frame needs, unless the joint
/// fit tells how it stood.
///
/// # Errors
/// [`ErrorCode::MissingInput`] without a sweep, and those of [`measure`](crate::measure).
///
/// ```
/// use alignment_core::{simulate::VirtualVehicle, sweep};
///
/// let swept = sweep::follow(&VirtualVehicle::default().session())?;
/// for station in &swept.left.stations {
///     println!("{:6.2}° {:6.2}°", station.steer_deg, station.camber_deg);
/// }
/// // Caster: turned to the left the left wheel leans outward at its top, turned to the right inward.
/// let [first, .., last] = &swept.left.stations[..] else { unreachable!() };
/// assert!(first.steer_deg < last.steer_deg && first.camber_deg < last.camber_deg);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn follow(session: &Session) -> Result<Sweep, Error> {
    if session.sweep.is_empty() {
        return Err(Error::new(ErrorCode::MissingInput).input("sweep"));
    }
    let (measurement, trace, fitted) = alignment::trace(session)?;
    let sweep_wheels_locked = staged::locked(session)?;
    let axes = measurement.alignment.steering;
    let mut sweep = Sweep {
        left: SweptWheel { axis: axes.left, stations: Vec::new() },
        right: SweptWheel { axis: axes.right, stations: Vec::new() },
        sweep_wheels_locked,
        method: measurement.method,
    };
    let Some((compensation, stand)) = trace.geometry.stand() else { return Ok(sweep) };
    let stations = if let Some(fitted) = fitted {
        BySide::from_fn(|side| fitted.swept(side))
    } else {
        let residuals = &measurement.residuals.sweep;
        let residual = |side: Side, station: &SweepStation| *residuals.get(station.index)?.get(side.front_wheel());
        let seen = staged::swept(session, &trace)?;
        BySide::from_fn(|side| seen.get(side).iter().map(|station| (*station, residual(side, station))).collect())
    };
    for (side, swept) in [(Side::Left, &mut sweep.left), (Side::Right, &mut sweep.right)] {
        let centre = compensation.get(side.front_wheel()).centre_in_target_mm;
        swept.stations = stations.get(side).iter().map(|seen| in_vehicle(seen, centre, &stand)).collect();
    }
    Ok(sweep)
}

fn in_vehicle(
    (seen, residual): &(SweepStation, Option<Residual>),
    centre_in_target_mm: [f64; 3],
    stand: &Stand,
) -> SweptStation {
    let spindle = stand.vehicle_from_rig.direction(seen.spindle);
    let centre = seen.rig_from_target.point(crate::frame::Vector::new(centre_in_target_mm));
    SweptStation {
        station: seen.index,
        steer_deg: seen.steer_deg,
        camber_deg: wheel::camber_of(spindle),
        spindle: spindle.to_array(),
        centre_mm: stand.vehicle_from_rig.point(centre).to_array(),
        residual: *residual,
    }
}
