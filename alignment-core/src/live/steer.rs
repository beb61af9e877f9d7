//! How both front wheels turn together, as the sweep showed it, so that wheels that are turned can be referred back to straight ahead.

use super::tracked::{Tracked, about};
use crate::layout::{BySide, ByWheel, Side};
use crate::steering::SweepStation;
use crate::turns::{self, Pair};
use crate::units::{deg_from_rad, rad_from_deg};
use alloc::vec::Vec;
use core::f64::consts::PI;

/// So many stations at most: those of a longer sweep are thinned out.
pub(super) const MOST: usize = 32;

/// The turn of each front wheel about its steering axis, from straight ahead, radians: (left, right), in rising order of the left.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Linkage {
    stations: [Pair; MOST],
    count: usize,
    /// Of the four stations from each on, the right wheel's turn over the product of the left one's differences: Lagrange's form of the cubic.
    shares: [[f64; 4]; MOST],
}

/// Stations further apart than this, radians, say little of what lies between.
const SPARSE: f64 = 12.0 * PI / 180.0;
/// The steering reaches so far beyond the stations before it is called weak, radians.
const MARGIN: f64 = 1.0 * PI / 180.0;
const ROUNDS: usize = 8;
/// A step shorter than this, in radians, is rounding.
const SETTLED: f64 = 1e-14;

impl Linkage {
    /// From stations that saw both wheels, in rising order. Parallel steer, if there are fewer than two.
    pub(super) fn of(stations: &[Pair]) -> Self {
        let count = stations.len().min(MOST);
        let mut kept = [(0.0, 0.0); MOST];
        for (index, place) in kept.iter_mut().take(count).enumerate() {
            // The first and the last stay, and of the others as many.
            *place = stations[if count < 2 { 0 } else { index * (stations.len() - 1) / (count - 1) }];
        }
        let share = |near: &[Pair], i: usize| {
            let others = near.iter().enumerate().filter(|&(j, _)| j != i);
            near.get(i).map_or(0.0, |here| others.fold(here.1, |share, (_, other)| share / (here.0 - other.0)))
        };
        let mut shares = [[0.0; 4]; MOST];
        for (first, shares) in shares.iter_mut().enumerate().take(count) {
            let near = &kept[first..count.min(first + 4)];
            *shares = [share(near, 0), share(near, 1), share(near, 2), share(near, 3)];
        }
        Self { stations: kept, count, shares }
    }

    fn stations(&self) -> &[Pair] {
        &self.stations[..self.count]
    }

    /// The right wheel's turn when the left one's is `left`: the cubic through the four stations nearest to it, fewer a lower degree.
    fn right(&self, left: f64) -> f64 {
        let stations = self.stations();
        if stations.len() < 2 {
            return left;
        }
        // Four neighbours, so chosen that as many as can be stand on either side.
        let above = stations.iter().position(|station| station.0 > left).unwrap_or(stations.len());
        let first = above.saturating_sub(2).min(stations.len().saturating_sub(4));
        let near = &stations[first..stations.len().min(first + 4)];
        let off = |j: usize| near.get(j).map_or(1.0, |station| left - station.0);
        let [a, b, c, d] = [off(0), off(1), off(2), off(3)];
        let [i, j, k, l] = self.shares[first];
        i * (b * c * d) + j * (a * c * d) + k * (a * b * d) + l * (a * b * c)
    }

    /// The steering from where both wheels stand. Each may also have been turned about its axis by its tie rod: what the linkage does not
    /// explain is shared by both wheels alike, so that they are as far from equal toe as they were.
    ///
    /// With s the left wheel's steering and g(s) the right one's, the left toes in by s − θ_left and the right by θ_right − g(s): both
    /// are equal where s + g(s) = θ_left + θ_right. Found by secants.
    pub(super) fn steer(&self, [left, right]: [f64; 2]) -> [f64; 2] {
        let miss = |s: f64| s + self.right(s) - left - right;
        let (mut before, mut at_before) = (left, miss(left));
        let mut at = left - at_before / 2.0;
        for _ in 0..ROUNDS {
            let at_now = miss(at);
            let slope = (at_now - at_before) / (at - before);
            let step = if slope.is_finite() && slope > 0.5 { at_now / slope } else { at_now / 2.0 };
            (before, at_before) = (at, at_now);
            at -= step;
            if step.abs() < SETTLED {
                break;
            }
        }
        [at, self.right(at)]
    }

    /// Whether the left wheel's turn lies beyond the stations, or between two that are far apart.
    pub(super) fn is_weak_at(&self, left: f64) -> bool {
        let stations = self.stations();
        let (Some(first), Some(last)) = (stations.first(), stations.last()) else { return true };
        let gap = stations.windows(2).find(|pair| left <= pair[1].0).map_or(0.0, |pair| pair[1].0 - pair[0].0);
        left < first.0 - MARGIN || left > last.0 + MARGIN || gap > SPARSE
    }
}

/// How both front wheels turn about their axes, from the stations of the sweep that saw both.
pub(super) fn linkage(wheels: &ByWheel<Tracked>, stations: &BySide<Vec<SweepStation>>) -> Option<Linkage> {
    let turned = |side: Side, index: usize| {
        let tracked = wheels.get(side.front_wheel());
        let station = stations.get(side).iter().find(|station| station.index == index)?;
        Some(deg_from_rad(about(tracked.axis?.line.direction, tracked.spindle_ahead, station.spindle)))
    };
    let both = stations
        .left
        .iter()
        .filter_map(|station| Some((turned(Side::Left, station.index)?, turned(Side::Right, station.index)?)));
    // Straight ahead neither is steered, exactly; so what stands as near to it as a station to itself says nothing.
    let steered = both.filter(|(left, _)| left.abs() >= turns::SAME_STATION_DEG);
    let pairs: Vec<Pair> = core::iter::once((0.0, 0.0)).chain(steered).collect();
    let known = wheels.fl.axis.is_some() && wheels.fr.axis.is_some();
    let in_rad = |(left, right)| (rad_from_deg(left), rad_from_deg(right));
    let stations = || turns::distinct(pairs).into_iter().map(in_rad).collect::<Vec<Pair>>();
    known.then(|| Linkage::of(&stations()))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn law(s: f64) -> f64 {
        0.95 * s - 0.2 * s * s + 0.05 * s * s * s
    }

    fn linkage() -> Linkage {
        let stations: Vec<Pair> = (-4..=4).map(|i| 0.09 * f64::from(i)).map(|s| (s, law(s))).collect();
        Linkage::of(&stations)
    }

    #[test]
    fn a_cubic_linkage_is_met_and_a_tie_rod_is_shared() {
        for s in [-0.35, -0.2, -0.01, 0.0, 0.04, 0.3] {
            let steer = linkage().steer([s, law(s)]);
            assert!((steer[0] - s).abs() < 1e-14 && (steer[1] - law(s)).abs() < 1e-14, "{s}: {steer:?}");
            assert!(!linkage().is_weak_at(s));
            // Both toed in by 0.01: the left has turned right, the right left.
            let [left, right] = linkage().steer([s - 0.01, law(s) + 0.01]);
            assert!((left - s).abs() < 1e-14 && (right - law(s)).abs() < 1e-14);
        }
    }

    #[test]
    fn what_lies_beyond_the_stations_or_between_few_is_weak() {
        assert!(linkage().is_weak_at(0.45));
        assert!(Linkage::of(&[(-0.3, -0.3), (0.0, 0.0), (0.3, 0.3)]).is_weak_at(0.1));
        assert!(Linkage::of(&[]).is_weak_at(0.1));
        assert!((Linkage::of(&[]).steer([0.1, 0.12])[0] - 0.11).abs() < 1e-15);
    }

    #[test]
    fn a_long_sweep_is_thinned_from_end_to_end() {
        let stations: Vec<Pair> = (0..100).map(|i| (f64::from(i) * 0.01 - 0.5, f64::from(i) * 0.01 - 0.5)).collect();
        let thinned = Linkage::of(&stations);
        assert_eq!((thinned.stations()[0], thinned.stations()[MOST - 1]), (stations[0], stations[99]));
        assert!(thinned.stations().windows(2).all(|pair| pair[0].0 < pair[1].0));
    }
}
