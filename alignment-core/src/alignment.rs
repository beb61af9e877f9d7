//! The main job: one whole session in, every reading out, in one tree.

use crate::compensation::Residual;
#[cfg(doc)]
use crate::error::ErrorCode;
use crate::error::{Error, Warning, WarningCode};
use crate::joint::{self, Fit, Fitted};
use crate::layout::{ByAxle, BySide, ByWheel};
use crate::session::{self, Method, Reference, Session, StationSpread};
use crate::staged::Beside::InstantaneousAxes;
use crate::staged::{self, Seen, Trace};
use crate::steering::{InstantaneousAxis, SteeringReadings};
use crate::turns::TurnsReadings;
use crate::vehicle::{AxleReadings, ChassisReadings};
use crate::wheel::WheelReadings;
use alloc::vec::Vec;

/// Every reading of one session. A path here is the path in every language: `wheels.fl.camber_deg`.
///
/// A reading that the session does not hold is absent (`None`), never zero.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Alignment {
    /// Per wheel.
    pub wheels: ByWheel<WheelReadings>,
    /// Per axle.
    pub axles: ByAxle<AxleReadings>,
    /// The chassis.
    pub chassis: ChassisReadings,
    /// The steering, from the sweep.
    pub steering: SteeringReadings,
    /// Turning, from the sweep and the locks.
    pub turns: TurnsReadings,
}

/// How far each pose lies from the rigid motion fitted to its stage: by station, then by wheel. Absent where a wheel was not seen.
#[derive(Debug, Clone, PartialEq, Default)]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Residuals {
    /// The rolling stations: tilt of the spindle, and distance of the target's origin from the fitted path.
    pub rolling: Vec<ByWheel<Option<Residual>>>,
    /// The sweep stations. Front wheels: tilt and shift of the steering axis. Rear wheels: how far spindle and wheel centre
    /// moved since the ahead station, which the body should not have; where it was found again, how far they moved in it.
    pub sweep: Vec<ByWheel<Option<Residual>>>,
}

/// What [`measure`] returns: the readings, what they rest on, and what is weak in them.
#[derive(Debug, Clone, PartialEq, Default)]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Measurement {
    /// Every reading.
    pub alignment: Alignment,
    /// The choices that the readings rest on, defaults included.
    pub reference: Reference,
    /// The normal of the datum, unit vector upward in the rig frame: what angles to the vertical refer to.
    pub datum_normal: [f64; 3],
    /// What is weak, with the figures. Empty when nothing is.
    pub warnings: Vec<Warning>,
    /// How far each pose lies from the fits of the stages, by either method. In place of one that was left out stands what the joint fit puts there.
    pub residuals: Residuals,
    /// How much the frames of each wheel scatter, station by station, where there were several.
    pub spreads: Vec<StationSpread>,
    /// How the readings were estimated.
    pub method: Method,
    /// How well one rigid car explains all poses. Of the joint method alone.
    pub fit: Option<Fit>,
    /// The steering axis from each station of the sweep to the next, in the order of their steer angles. Empty with wheels free to roll.
    pub instantaneous_axes: BySide<Vec<InstantaneousAxis>>,
}

/// The most by which both rear wheels may turn against their axle while the front wheels are steered, degrees.
pub const MAX_REAR_STEER_DEG: f64 = 0.5;

/// Measures a car: from the target poses of one session to every reading.
///
/// Rolling stations compensate the clamps ([`compensation`](crate::compensation)); the ahead station gives camber, toe and the vehicle's frame
/// ([`vehicle`](crate::vehicle)); the sweep gives the steering axes ([`steering`](crate::steering)) and toe-out on turns ([`turns`](crate::turns)). The result does not depend on
/// how the rig's frame lies, and the readings not on the order of the stations; what slipped can be named only if they stand in the order
/// in which they were taken. Same session, same bits, on every platform. All this stage by stage, or by one [fit](crate::joint): the
/// session's `method` says.
///
/// What a blocked camera hides is absent, and a warning says where it was missed; the rest is measured.
///
/// # Errors
/// [`ErrorCode::MissingInput`] (what the datum needs; `sweep_wheels_locked` with a sweep), [`ErrorCode::Contradiction`],
/// [`ErrorCode::TooMany`], [`ErrorCode::NotStill`], [`ErrorCode::SweepTooSmall`], [`ErrorCode::SidesSwapped`], [`ErrorCode::EndsSwapped`],
/// [`ErrorCode::Mirrored`], [`ErrorCode::DifferentVehicles`], [`ErrorCode::RearWheelSteer`], [`ErrorCode::WheelNotSeen`] (a datum from
/// wheels that were not seen), [`ErrorCode::NotACovariance`], and those of the stages; of the joint method also [`ErrorCode::NotDetermined`] and
/// [`ErrorCode::NotConverged`]. Each names the place, the figure, the bound and the remedy.
///
/// ```
/// use alignment_core::{measure, simulate::VirtualVehicle};
///
/// let result = measure(&VirtualVehicle::default().session())?;
/// println!("{:.2}°", result.alignment.wheels.fl.camber_deg.unwrap());
/// for warning in &result.warnings {
///     println!("{warning}");
/// }
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn measure(session: &Session) -> Result<Measurement, Error> {
    trace(session).map(|(measurement, ..)| measurement)
}

/// Measures a car, and keeps what the readings rest on; of the joint method the fit.
pub(crate) fn trace(session: &Session) -> Result<(Measurement, Trace, Option<Fitted>), Error> {
    session::check_inputs(session)?;
    let seen = staged::see(session)?;
    match session.method {
        Method::Staged => {
            staged::measure(session, seen, InstantaneousAxes).map(|(measurement, trace)| (measurement, trace, None))
        }
        Method::Joint => jointly(session, &seen),
    }
}

/// The readings of one fit. The stages say what they always say of the session; what slipped the fit knows better.
fn jointly(session: &Session, seen: &Seen) -> Result<(Measurement, Trace, Option<Fitted>), Error> {
    let alone = staged::measure(session, seen.clone(), InstantaneousAxes);
    let fitted = match (joint::fit(session, seen), &alone) {
        (Ok(fitted), _) => fitted,
        // What the stages refuse they explain better.
        (Err(_), Err(error)) => return Err(*error),
        (Err(error), Ok(_)) => return Err(error),
    };
    let (mut measurement, _) = match fitted.filled(seen) {
        Some(filled) => staged::measure(session, filled, InstantaneousAxes)?,
        None => alone?,
    };
    let Seen { rolling, ahead, steered, .. } = fitted.used(seen);
    let trace = Trace { rolling, ahead, steered, geometry: fitted.geometry(session, seen) };
    measurement.alignment = trace.geometry.alignment()?;
    measurement.datum_normal = fitted.up().to_array();
    measurement.method = Method::Joint;
    let known_better = [
        WarningCode::TargetSlippedOnce,
        WarningCode::TargetSlippedFrom,
        WarningCode::AheadDisagrees,
        WarningCode::BodyPitchUnseen,
    ];
    measurement.warnings.retain(|warning| !known_better.contains(&warning.code));
    let (fit, mut doubts) = fitted.judge();
    let place = |warning: &Warning| (warning.code, warning.stage, warning.station, warning.wheel);
    doubts.retain(|doubt| !measurement.warnings.iter().any(|warning| place(warning) == place(doubt)));
    measurement.warnings.extend(doubts);
    measurement.fit = Some(fit);
    Ok((measurement, trace, Some(fitted)))
}
