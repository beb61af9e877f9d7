//! Wheel-alignment maths: from the poses of flat targets clamped to a car's four wheels to every reading of the trade.
//!
//! A rig's cameras watch one flat target per wheel and hand over its pose. The car is rolled a little, stood
//! straight ahead, and steered left and right. This crate does the rest: [`measure`] takes the whole
//! [`Session`] and returns camber, toe, thrust line, setback, dimensions, caster, steering-axis inclination,
//! included angle and toe-out on turns, in one tree. [`assess`] says beside that what each reading is worth and whether it is
//! within its limits. Each formula can also be called by itself.
//!
//! # The job, module by module
//! Read them in this order; a module depends only on those above it.
//!
//! | module | what it does |
//! |---|---|
//! | [`units`], [`error`], [`frame`], [`pose`] | what everything stands on |
//! | [`session`] | what a rig hands over |
//! | [`datum`] | the plane that angles to the vertical refer to |
//! | [`compensation`] | rolling stations → where each wheel sits in its target: spindle, centre, runout, rolling radius |
//! | [`wheel`] | one wheel: camber, toe, contact centre |
//! | [`vehicle`] | four wheels: the vehicle's own frame, thrust line, setback, dimensions |
//! | [`steering`] | sweep stations → steering axis: caster, SAI, included angle, trail, scrub |
//! | [`turns`] | toe-out on turns, Ackermann, the angles at full lock |
//! | [`gauge`] | caster and SAI by hand gauge: cambers on turning plates, pitch of the locked hub |
//! | [`tyre`] | tyre sizes |
//! | [`alignment`] | one whole session → every reading, in one tree |
//! | [`sweep`] | the caster sweep station by station, to be drawn and taught from |
//! | [`paths`] | every reading by its path, and the tree as a flat list |
//! | [`batch`] | many records in one call: readings from four poses, whole sessions, as columns |
//! | [`simulate`] | a virtual vehicle with known truth: tests, demos, exercises |
//! | [`propagation`], [`monte_carlo`] | what the uncertainties of any inputs make of any function of them: to first order, and by trials |
//! | [`uncertainty`] | what every reading is worth; what each input contributes; how far to roll and sweep |
//! | [`conformity`] | limits, decision rules and verdicts |
//! | [`diagnosis`] | what the readings hint at: parts that may be bent or shifted, never a verdict |
//! | [`assessment`] | readings, what they are worth and verdicts in one call |
//! | [`adjustment`] | readings and adjusters → what to turn, by how much, in which order |
//! | [`live`] | a session and frames → readings while the car is moved, steered, lifted and half hidden |
//! | [`stand`] | where a stand for sensor calibration stands to the car's thrust line, and the moves that put it right |
//! | [`repeatability`] | repeats of a reading: repeatability, reproducibility, and what clamping anew, operators and cars add |
//! | [`record`] | before and after: a document of the work that can be checked, and pages made from it |
//!
//! # Conventions
//! Axes follow ISO 8855:2011: X forward, Y left, Z up. Degrees and millimetres, always, and the name says so.
//!
//! | reading | positive |
//! |---|---|
//! | camber | top outward |
//! | toe | toe-in |
//! | steer angle | left turn |
//! | caster | top of the steering axis rearward, in the side view |
//! | SAI | top of the steering axis inboard, in the front view |
//! | included angle | SAI + camber |
//! | caster trail | steering axis meets the ground ahead of the contact centre |
//! | scrub radius | steering axis meets the ground inboard of the contact centre |
//! | thrust angle | thrust line points to the right of the centreline (workshop sign; the ISO yaw sign is opposite) |
//! | setback | right wheel further rearward than left (workshop sign; common practice, no published standard) |
//!
//! # Cautions
//! Readings are no licence to drive. Lifting, rolling and steering a car on a rack can hurt; a car set up from a
//! wrong measurement can hurt later. The vehicle maker's procedure, local codes and licensed practice come first.
//!
//! # Example
//! ```
//! use alignment_core::{measure, simulate::VirtualVehicle};
//!
//! let car = VirtualVehicle::default();
//! let session = car.session();
//! let result = measure(&session)?;
//! let caster_deg = result.alignment.steering.left.caster_deg.unwrap();
//! assert!((caster_deg - car.front.left.caster_deg).abs() < 1e-9);
//! # Ok::<(), alignment_core::Error>(())
//! ```

//!
//! # How we know
//! What every reading and function was held against, and what has not been checked: [`how_we_know`].

#![no_std]
#![forbid(unsafe_code)]

extern crate alloc;

pub mod adjustment;
pub mod alignment;
pub mod assessment;
pub mod batch;
pub mod compensation;
pub mod conformity;
#[cfg(feature = "nalgebra")]
mod convert;
pub mod datum;
pub mod diagnosis;
pub mod error;
#[cfg(feature = "simulate")]
mod faults;
pub mod frame;
pub mod gauge;
#[cfg(doc)]
#[doc = include_str!("../docs/how-we-know.md")]
pub mod how_we_know {
    #[doc = include_str!("../docs/references.md")]
    pub mod references {}
}
pub mod joint;
#[cfg(feature = "json")]
pub mod json;
mod layout;
pub mod live;
#[cfg(feature = "simulate")]
pub mod monte_carlo;
pub mod paths;
pub mod pose;
pub mod propagation;
#[cfg(feature = "record")]
pub mod record;
pub mod repeatability;
pub mod session;
#[cfg(feature = "simulate")]
pub mod simulate;
pub mod stand;
pub mod steering;
pub mod sweep;
pub mod turns;
pub mod tyre;
pub mod uncertainty;
pub mod units;
pub mod vehicle;
pub mod wheel;

mod assembly;
mod checks;
mod lanes;
mod rigid;
mod scatter;
mod slip;
mod spindle;
mod staged;
mod statistics;

pub use alignment::{Alignment, Measurement, measure};
pub use assessment::{Assessment, assess};
pub use error::{Error, ErrorCode};
/// The very version of nalgebra whose types convert from and to those here, with the feature `nalgebra`.
#[cfg(feature = "nalgebra")]
pub use nalgebra;
pub use pose::Pose;
pub use session::{ByAxle, BySide, ByWheel, Session, Side, Station, Wheel};
