//! Wheels, sides and axles as C has them: arrays in the order of WA_WHEEL_..., WA_SIDE_... and WA_AXLE_....

use crate::error::Failure;
use crate::memory::choice;
use alignment_core::session::Centreline;
use alignment_core::{ByAxle, ByWheel, Side};

#[inline]
pub(crate) fn side_of(side: i32) -> Result<Side, Failure> {
    choice("side", side, Side::ALL)
}

#[inline]
pub(crate) fn centreline_of(centreline: i32) -> Result<Centreline, Failure> {
    choice("centreline", centreline, [Centreline::AxleMidpoints, Centreline::SideLineBisector])
}

#[inline]
pub(crate) fn by_wheel<T>([fl, fr, rl, rr]: [T; 4]) -> ByWheel<T> {
    ByWheel { fl, fr, rl, rr }
}

#[inline]
pub(crate) fn in_array<T>(ByWheel { fl, fr, rl, rr }: ByWheel<T>) -> [T; 4] {
    [fl, fr, rl, rr]
}

#[inline]
pub(crate) fn by_axle<T>([front, rear]: [T; 2]) -> ByAxle<T> {
    ByAxle { front, rear }
}
