//! The C interface: a thin skin on `alignment_core` that checks pointers, turns errors into statuses and lets no
//! panic through. Its documentation is the header, `include/wheel_alignment.h`, written from the comments here.

#![expect(clippy::doc_markdown, reason = "these comments become the header's, for readers of C")]
#![expect(clippy::missing_safety_doc, reason = "the header says it once for all functions, under Memory")]

mod adjustment;
mod alignment;
mod batch;
mod compensation;
mod conformity;
mod datum;
mod diagnosis;
mod error;
mod gauge;
mod json;
mod layout;
mod live;
mod measure;
mod memory;
mod paths;
mod pose;
mod propagation;
mod record;
mod repeatability;
mod session;
mod simulate;
mod stand;
mod status;
mod steering;
mod turns;
mod tyre;
mod uncertainty;
mod units;
mod vehicle;
mod version;
mod wheel;

pub use adjustment::*;
pub use alignment::*;
pub use batch::*;
pub use compensation::*;
pub use conformity::*;
pub use datum::*;
pub use diagnosis::*;
pub use error::{WA_MESSAGE_CAPACITY, WaError};
pub use gauge::*;
pub use json::*;
pub use live::*;
pub use measure::*;
pub use memory::WaOptional;
pub use paths::*;
pub use pose::*;
pub use propagation::*;
pub use record::*;
pub use repeatability::*;
pub use session::*;
pub use simulate::*;
pub use stand::*;
pub use status::*;
pub use steering::*;
pub use turns::*;
pub use tyre::*;
pub use uncertainty::*;
pub use units::*;
pub use vehicle::*;
pub use version::*;
pub use wheel::*;
