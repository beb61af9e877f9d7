//! The search for the fewest moves.

use super::adjuster::{Adjuster, Request, Unmet};
use super::geometry::Model;
use super::least_squares::{self, Interval, Row};
use crate::conformity::Limits;
use crate::error::Error;
use crate::paths::{self, COUNT, READINGS};
use crate::units::{sort_by, sqrt};
use alloc::vec;
use alloc::vec::Vec;

/// So many mm count as one degree where readings are weighed against each other.
pub const MM_PER_DEG: f64 = 10.0;

/// A limit that is missed by less is met: rounding. Degrees.
const MET_WITHIN_DEG: f64 = 1e-6;
/// A limit outweighs by so much one that cannot be met, that outweighs what is nominal, and that the middle between two limits: each the root of a
/// share that passes for rounding.
const LIMIT_WEIGHT: f64 = 1e5;
const UNMET_WEIGHT: f64 = 30.0;
const MIDDLE_WEIGHT: f64 = 1e-3;
/// By so much a limit that cannot be met may be missed further for the sake of fewer moves, degrees.
const SHORT_WITHIN_DEG: f64 = 1e-3;
/// What holds adjusters where they are when nothing asks for them.
const STAY_WEIGHT: f64 = 1e-5;
/// Newton steps, and how small the last one is, degrees.
const MOST_STEPS: usize = 40;
const LAST_STEP_DEG: f64 = 1e-9;
/// So many ways of rounding to steps are looked at.
const MOST_ROUNDINGS: usize = 400;
/// So many sets of one size are rounded, the best first.
const SETS_TO_ROUND: usize = 4;

/// What is wanted of one reading.
struct Want {
    position: usize,
    limits: Limits,
    nominal: Option<f64>,
    /// Its unit in degrees.
    scale: f64,
    /// Whether its limits were found to be beyond reach.
    given_up: bool,
}

impl Want {
    /// How far beyond a limit, above 0 when too great.
    fn beyond(&self, value: f64) -> f64 {
        match (self.limits.min, self.limits.max) {
            (Some(min), _) if value < min => value - min,
            (_, Some(max)) if value > max => value - max,
            _ => 0.0,
        }
    }

    fn middle(&self) -> Option<f64> {
        self.limits.min.zip(self.limits.max).map(|(min, max)| min / 2.0 + max / 2.0)
    }
}

/// Where a set of adjusters brings the car.
#[derive(Clone)]
struct Point {
    amounts: Vec<f64>,
    /// How far limits are missed, those that are given up, and nominal values: roots of the sums of squares, degrees.
    missed: f64,
    short: f64,
    off: f64,
    cost: f64,
}

/// What is wanted of a car, and how near sets of adjusters bring it.
pub(super) struct Search<'a> {
    model: &'a Model<'a>,
    adjusters: Vec<&'a Adjuster>,
    wants: Vec<Want>,
    /// The paths with limits whose readings are absent.
    pub(super) unforeseen: Vec<&'static str>,
    within: Option<f64>,
}

impl<'a> Search<'a> {
    pub(super) fn new(model: &'a Model<'a>, adjusters: Vec<&'a Adjuster>, request: &Request) -> Result<Self, Error> {
        let known = model.foresee(&vec![0.0; adjusters.len()])?.values();
        let (mut wants, mut unforeseen) = (Vec::new(), Vec::new());
        for (&path, tolerance) in &request.specification.limits {
            tolerance.limits(path)?;
        }
        for (position, path) in READINGS.into_iter().enumerate() {
            let Some(tolerance) = request.specification.limits.get(path) else { continue };
            let (limits, nominal) = tolerance.bounds_of(path)?;
            if known[position].is_none() {
                unforeseen.push(path);
                continue;
            }
            let scale = if paths::unit(path) == "mm" { 1.0 / MM_PER_DEG } else { 1.0 };
            wants.push(Want { position, limits, nominal, scale, given_up: false });
        }
        let within = request.nominal_within_deg;
        Ok(Self { model, adjusters, wants, unforeseen, within })
    }

    fn whole_ranges(&self) -> Vec<[f64; 2]> {
        self.adjusters.iter().map(|adjuster| adjuster.ends()).collect()
    }

    /// Gives up limits that cannot be met together with the others, the one that is missed by most first.
    pub(super) fn give_up(&mut self) -> Result<(), Error> {
        let ranges = self.whole_ranges();
        for _ in 0..self.wants.len() {
            let reached = self.settle(&ranges, &vec![0.0; ranges.len()])?;
            if !self.give_up_worst(&reached.amounts)? {
                break;
            }
        }
        Ok(())
    }

    /// Gives up the limit that these amounts miss by most, if they miss one that was not given up yet.
    pub(super) fn give_up_worst(&mut self, amounts: &[f64]) -> Result<bool, Error> {
        let readings = self.model.foresee(amounts)?.numbers();
        let missed = |want: &Want| (want.beyond(readings[want.position]) * want.scale).abs();
        let worst = (0..self.wants.len())
            .filter(|&index| !self.wants[index].given_up)
            .max_by(|&a, &b| missed(&self.wants[a]).total_cmp(&missed(&self.wants[b])))
            .filter(|&worst| missed(&self.wants[worst]) > MET_WITHIN_DEG);
        if let Some(worst) = worst {
            self.wants[worst].given_up = true;
        }
        Ok(worst.is_some())
    }

    /// The amounts of the fewest moves.
    pub(super) fn fewest(&self) -> Result<Vec<f64>, Error> {
        let count = self.adjusters.len();
        let ranges = self.whole_ranges();
        let only = |set: &[bool]| -> Vec<[f64; 2]> {
            ranges.iter().zip(set).map(|(&range, &chosen)| if chosen { range } else { [0.0; 2] }).collect()
        };
        let all = self.settle(&ranges, &vec![0.0; count])?;
        // What cannot be left out by itself cannot be left out with others either.
        let mut needed = vec![false; count];
        for index in 0..count {
            let mut set = vec![true; count];
            set[index] = false;
            needed[index] = !self.as_good(&self.settle(&only(&set), &vec![0.0; count])?, &all);
        }
        let optional: Vec<usize> = (0..count).filter(|&index| !needed[index]).collect();
        let mut best: Option<Point> = None;
        for size in 0..=optional.len() {
            let mut found = Vec::new();
            self.sets(&optional, size, &mut needed.clone(), &only, &all, &mut found)?;
            sort_by(&mut found, |(a, _): &(Point, Vec<bool>), (b, _)| a.cost.total_cmp(&b.cost));
            let mut good: Option<Point> = None;
            for (point, set) in found.iter().take(SETS_TO_ROUND) {
                let rounded = self.rounded(point, &only(set))?;
                let meets = rounded.missed <= all.missed + MET_WITHIN_DEG;
                let keep = if meets { &mut good } else { &mut best };
                if keep.as_ref().is_none_or(|kept| rounded.cost < kept.cost) {
                    *keep = Some(rounded);
                }
            }
            if let Some(good) = good {
                return Ok(good.amounts);
            }
        }
        Ok(best.map_or(all.amounts, |best| best.amounts))
    }

    /// Every set that has `size` of the adjusters that can be left out, and is as good as all of them.
    fn sets(
        &self,
        optional: &[usize],
        size: usize,
        set: &mut Vec<bool>,
        only: &dyn Fn(&[bool]) -> Vec<[f64; 2]>,
        all: &Point,
        found: &mut Vec<(Point, Vec<bool>)>,
    ) -> Result<(), Error> {
        let still = vec![0.0; set.len()];
        if size == 0 {
            let point = self.settle(&only(set), &still)?;
            if self.as_good(&point, all) {
                found.push((point, set.clone()));
            }
            return Ok(());
        }
        for (place, &index) in optional.iter().enumerate() {
            let rest = &optional[place..];
            if rest.len() < size {
                break;
            }
            // All that can still be chosen must be enough.
            let mut most = set.clone();
            for &other in rest {
                most[other] = true;
            }
            if !self.as_good(&self.settle(&only(&most), &still)?, all) {
                break;
            }
            set[index] = true;
            self.sets(&optional[place + 1..], size - 1, set, only, all, found)?;
            set[index] = false;
        }
        Ok(())
    }

    fn as_good(&self, point: &Point, all: &Point) -> bool {
        point.missed <= all.missed + MET_WITHIN_DEG
            && point.short <= all.short + SHORT_WITHIN_DEG
            && self.within.is_none_or(|within| point.off <= all.off + within)
    }

    /// How good the amounts are.
    fn point(&self, amounts: Vec<f64>) -> Result<Point, Error> {
        let readings = self.model.foresee(&amounts)?.numbers();
        let (mut missed, mut short, mut off, mut aside) = (0.0, 0.0, 0.0, 0.0);
        for want in &self.wants {
            let value = readings[want.position];
            let beyond = want.beyond(value) * want.scale;
            *if want.given_up { &mut short } else { &mut missed } += beyond * beyond;
            if let Some(nominal) = want.nominal {
                let by = (value - nominal) * want.scale;
                off += by * by;
            } else if let Some(middle) = want.middle() {
                let by = (value - middle) * want.scale;
                aside += by * by;
            }
        }
        let cost = LIMIT_WEIGHT * LIMIT_WEIGHT * missed
            + UNMET_WEIGHT * UNMET_WEIGHT * short
            + off
            + MIDDLE_WEIGHT * MIDDLE_WEIGHT * aside;
        Ok(Point { amounts, missed: sqrt(missed), short: sqrt(short), off: sqrt(off), cost })
    }

    /// The best amounts between these bounds, whatever the steps: Newton's method, each step by least squares.
    fn settle(&self, bounds: &[[f64; 2]], start: &[f64]) -> Result<Point, Error> {
        let start = start.iter().zip(bounds).map(|(&amount, &[low, high])| amount.max(low).min(high)).collect();
        let mut point = self.point(start)?;
        let free: Vec<usize> = (0..bounds.len()).filter(|&index| bounds[index][0] < bounds[index][1]).collect();
        if free.is_empty() || self.wants.is_empty() {
            return Ok(point);
        }
        for _ in 0..MOST_STEPS {
            let effects = free
                .iter()
                .map(|&index| Ok(self.model.effect(&point.amounts, index)?.numbers()))
                .collect::<Result<Vec<[f64; COUNT]>, Error>>()?;
            let (steps, scales) = self.step(&point, &effects, &free, bounds)?;
            // A step that makes it worse is halved.
            let mut share = 1.0;
            let better = loop {
                let mut amounts = point.amounts.clone();
                for (&index, step) in free.iter().zip(&steps) {
                    let [low, high] = bounds[index];
                    amounts[index] = (amounts[index] + share * step).max(low).min(high);
                }
                let next = self.point(amounts)?;
                if next.cost <= point.cost * (1.0 + 1e-12) + 1e-18 {
                    break Some(next);
                }
                share *= 0.5;
                if share < 0.01 {
                    break None;
                }
            };
            let Some(next) = better else { break };
            let largest = steps.iter().zip(&scales).map(|(step, scale)| (step * scale).abs()).fold(0.0, f64::max);
            point = next;
            if largest < LAST_STEP_DEG {
                break;
            }
        }
        Ok(point)
    }

    /// One step of the free adjusters, and how many degrees of readings a unit of each moves.
    fn step(
        &self,
        point: &Point,
        effects: &[[f64; COUNT]],
        free: &[usize],
        bounds: &[[f64; 2]],
    ) -> Result<(Vec<f64>, Vec<f64>), Error> {
        let readings = self.model.foresee(&point.amounts)?.numbers();
        let scales: Vec<f64> = effects
            .iter()
            .map(|effect| {
                let square: f64 = self.wants.iter().map(|want| effect[want.position] * want.scale).map(|v| v * v).sum();
                if square > 0.0 { sqrt(square) } else { 1.0 }
            })
            .collect();
        let (mut rows, mut intervals) = (Vec::new(), Vec::new());
        for want in &self.wants {
            let coefficients: Vec<f64> =
                effects.iter().zip(&scales).map(|(effect, scale)| effect[want.position] * want.scale / scale).collect();
            let to = |value: f64| (value - readings[want.position]) * want.scale;
            let mut ask = |target: f64, weight: f64| {
                rows.push(Row { coefficients: coefficients.clone(), target: to(target), weight });
            };
            match (want.nominal, want.middle()) {
                (Some(nominal), _) => ask(nominal, 1.0),
                (None, Some(middle)) => ask(middle, MIDDLE_WEIGHT),
                (None, None) => {}
            }
            let between = [want.limits.min.map_or(f64::NEG_INFINITY, to), want.limits.max.map_or(f64::INFINITY, to)];
            let weight = if want.given_up { UNMET_WEIGHT } else { LIMIT_WEIGHT };
            intervals.push(Interval { coefficients, bounds: between, weight });
        }
        for index in 0..free.len() {
            let coefficients = (0..free.len()).map(|other| f64::from(u8::from(other == index))).collect();
            rows.push(Row { coefficients, target: 0.0, weight: STAY_WEIGHT });
        }
        let room: Vec<[f64; 2]> = free
            .iter()
            .zip(&scales)
            .map(|(&index, scale)| bounds[index].map(|end| (end - point.amounts[index]) * scale))
            .collect();
        let solved = least_squares::solve(&rows, &intervals, &room);
        Ok((solved.iter().zip(&scales).map(|(step, scale)| step / scale).collect(), scales))
    }

    /// The best amounts at whole steps: bounds are drawn in about the amount that is furthest from a whole step, on either side of it.
    fn rounded(&self, exact: &Point, bounds: &[[f64; 2]]) -> Result<Point, Error> {
        let steps: Vec<f64> = self.adjusters.iter().map(|adjuster| adjuster.step).collect();
        let whole = |index: usize, amount: f64| libm::round(amount / steps[index]) * steps[index];
        let stepped: Vec<usize> =
            (0..bounds.len()).filter(|&index| steps[index] > 0.0 && bounds[index][0] < bounds[index][1]).collect();
        let mut best = self.fixed(exact, bounds, &stepped, &whole)?;
        if stepped.is_empty() {
            return Ok(best);
        }
        let mut open = vec![(exact.clone(), bounds.to_vec())];
        for _ in 0..MOST_ROUNDINGS {
            // The most hopeful first.
            let Some(next) = (0..open.len()).min_by(|&a, &b| open[a].0.cost.total_cmp(&open[b].0.cost)) else { break };
            let (point, bounds) = open.swap_remove(next);
            if point.cost >= best.cost {
                break;
            }
            let off = |index: usize| (point.amounts[index] - whole(index, point.amounts[index])).abs() / steps[index];
            let Some(&worst) = stepped.iter().max_by(|&&a, &&b| off(a).total_cmp(&off(b))) else { break };
            let candidate = self.fixed(&point, &bounds, &stepped, &whole)?;
            if candidate.cost < best.cost {
                best = candidate;
            }
            if off(worst) < 1e-6 {
                continue;
            }
            let floor = libm::floor(point.amounts[worst] / steps[worst]) * steps[worst];
            for side in [[bounds[worst][0], floor], [floor + steps[worst], bounds[worst][1]]] {
                if side[0] <= side[1] {
                    let mut drawn = bounds.clone();
                    drawn[worst] = side;
                    let point = self.settle(&drawn, &point.amounts)?;
                    if point.cost < best.cost {
                        open.push((point, drawn));
                    }
                }
            }
        }
        Ok(best)
    }

    /// The amounts with those that have steps at the nearest one, the others settled anew; of what is next to nothing nothing.
    fn fixed(
        &self,
        point: &Point,
        bounds: &[[f64; 2]],
        stepped: &[usize],
        whole: &dyn Fn(usize, f64) -> f64,
    ) -> Result<Point, Error> {
        let mut amounts = point.amounts.clone();
        let mut held = bounds.to_vec();
        for &index in stepped {
            let [low, high] = bounds[index];
            amounts[index] = whole(index, amounts[index]).max(low).min(high);
            held[index] = [amounts[index]; 2];
        }
        let mut settled = if stepped.is_empty() { point.clone() } else { self.settle(&held, &amounts)? };
        let mut changed = false;
        for index in 0..settled.amounts.len() {
            let amount = settled.amounts[index];
            if amount != 0.0 {
                let effect = self.model.effect(&settled.amounts, index)?.numbers();
                let most = effect.iter().filter(|v| !v.is_nan()).fold(0.0, |most: f64, v| most.max(v.abs()));
                if (amount * most).abs() < LAST_STEP_DEG {
                    settled.amounts[index] = 0.0;
                    changed = true;
                }
            }
        }
        if changed { self.point(settled.amounts) } else { Ok(settled) }
    }

    /// The limits that the amounts do not meet.
    pub(super) fn unmet(&self, amounts: &[f64], order: &[usize]) -> Result<Vec<Unmet>, Error> {
        let readings = self.model.foresee(amounts)?.numbers();
        let ends = self.whole_ranges();
        let mut unmet = Vec::new();
        for want in &self.wants {
            let nearest = readings[want.position];
            let beyond = want.beyond(nearest);
            if beyond.abs() * want.scale <= MET_WITHIN_DEG {
                continue;
            }
            let mut at_end = Vec::new();
            for (index, &[low, high]) in ends.iter().enumerate() {
                let effect = self.model.effect(amounts, index)?.numbers()[want.position];
                // Upward is wanted where the reading is too small.
                let wanted = -beyond * effect;
                let near = 1e-9 * (high - low) + f64::MIN_POSITIVE;
                let stuck =
                    wanted > 0.0 && amounts[index] >= high - near || wanted < 0.0 && amounts[index] <= low + near;
                if effect.abs() > 1e-9 && stuck {
                    at_end.push(order[index]);
                }
            }
            sort_by(&mut at_end, usize::cmp);
            unmet.push(Unmet {
                path: READINGS[want.position],
                limits: want.limits,
                nearest,
                short_by: beyond.abs(),
                at_end,
            });
        }
        Ok(unmet)
    }
}
