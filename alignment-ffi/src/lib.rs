//! The C interface: a thin skin on `alignment_core` that checks pointers, turns errors into statuses and lets no
//! panic through. Its documentation is the header, `include/wheel_alignment.h`, written from the comments here.

#![expect(clippy::doc_markdown, reason = "these comments become the header's, for readers of C")]

mod conformity;
mod error;
mod measure;
mod memory;
mod repeatability;
mod status;
mod uncertainty;
mod version;

pub use conformity::*;
pub use error::{WA_MESSAGE_CAPACITY, WaError};
pub use measure::*;
pub use memory::WaOptional;
pub use repeatability::*;
pub use status::*;
pub use uncertainty::*;
pub use version::*;
