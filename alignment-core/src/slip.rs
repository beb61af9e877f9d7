//! Targets that slipped on their clamps: which of the stations of one fit do not belong to it.
//!
//! A fit leaves something over at every station. Noise leaves a little everywhere; a target that slipped leaves a pattern: one
//! station off, or all from one station on. Each pattern is one more unknown in the least squares of the stage, so what it
//! explains (its gain in the sum of squares) can be held against the noise, stated or left over: an F test. The pattern
//! that explains most is named when noise alone would make any of them so large once in ten thousand fits, and when what is then
//! left over looks like noise. A steering axis that moves, or a car that yaws as it rolls, leaves something smooth instead: a fit with
//! a few smooth terms competes with the step, and the step is named when it explains more, or still explains something beside them.

use crate::error::{Stage, Warning, WarningCode};
use crate::layout::Wheel;
use crate::units::{deg_from_rad, sqrt};
use alloc::vec::Vec;
use nalgebra::{Cholesky, Const, SMatrix, SVector};

/// How seldom noise alone may look like any of the patterns of a fit.
const CHANCE: f64 = 1e-4;
/// The least share of a pattern that must be left over after the unknowns of the fit are taken out, for it to be told from them.
const LEAST_OWN: f64 = 1e-3;
/// The sum of squares, over what noise makes on average, from which a pattern is looked for among few stations. Among many, one
/// station that is off hardly shows in the sum.
const SUSPECT: f64 = 2.0;
const FEW_EQUATIONS: f64 = 60.0;
/// By how many variances a step must explain more than something smooth does.
const BETTER: f64 = 10.0;
/// By how many standard deviations von Neumann's ratio of what is left over may fall below that of noise.
const SMOOTH: f64 = 3.0;

/// One station in a linear fit of `P` unknowns: `observed = design · unknowns`, and what a slip of unit size would add to it.
pub(crate) struct Row<const D: usize, const P: usize, const K: usize> {
    /// The station's index in its stage.
    pub(crate) station: usize,
    pub(crate) observed: SVector<f64, D>,
    pub(crate) design: SMatrix<f64, D, P>,
    pub(crate) slip: SMatrix<f64, D, K>,
}

/// A slip that the stations show.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Slip {
    /// The row that is off alone, or the first of those that are.
    pub(crate) row: usize,
    /// Whether the later rows are off as well.
    pub(crate) onward: bool,
    /// Its size, in radians.
    pub(crate) size_rad: f64,
    /// The size that noise alone would hardly reach, in radians.
    pub(crate) bound_rad: f64,
    /// The sum of squares that a smooth fit must exceed, for the slip to be the better explanation.
    not_smooth: f64,
}

impl Slip {
    pub(crate) fn warning(&self, stage: Stage, station: usize, wheel: Wheel) -> Warning {
        let code = if self.onward { WarningCode::TargetSlippedFrom } else { WarningCode::TargetSlippedOnce };
        let (size_deg, bound_deg) = (deg_from_rad(self.size_rad), deg_from_rad(self.bound_rad));
        Warning::new(code).stage(stage).station(station).wheel(wheel).figure(size_deg, bound_deg, "deg")
    }
}

/// What a set of rows adds to the least squares as the support of a pattern.
#[derive(Clone, Copy)]
struct Support<const P: usize, const K: usize> {
    left_over: SVector<f64, K>,
    size: SMatrix<f64, K, K>,
    shared: SMatrix<f64, P, K>,
}

/// Whether a sum of squares left over, of so many degrees of freedom, asks for an explanation.
pub(crate) fn is_suspect(squares: f64, freedom: f64, noise: Option<f64>, least: f64) -> bool {
    squares > most_unsuspected(freedom, noise, least)
}

/// The greatest sum of squares that asks for none.
pub(crate) fn most_unsuspected(freedom: f64, noise: Option<f64>, least: f64) -> f64 {
    let known = noise.unwrap_or(0.0).max(least);
    let share = if freedom > FEW_EQUATIONS { 0.0 } else { SUSPECT };
    freedom * (share * known * known).max(least * least)
}

/// The slip that best explains what a fit leaves over, if neither noise nor something smooth does: `smooth` are the same rows with smooth terms
/// among the unknowns.
pub(crate) fn find_beside<const D: usize, const P: usize, const Q: usize, const K: usize>(
    rows: &[Row<D, P, K>],
    smooth: &[Row<D, Q, K>],
    noise: Option<f64>,
    least: f64,
) -> Option<Slip> {
    let plain = find(rows, noise, least);
    if plain.is_some_and(|slip| solve(smooth).is_none_or(|(_, unknowns)| squares(smooth, unknowns) > slip.not_smooth)) {
        return plain;
    }
    find(smooth, noise, least)
}

fn squares<const D: usize, const P: usize, const K: usize>(rows: &[Row<D, P, K>], unknowns: SVector<f64, P>) -> f64 {
    rows.iter().map(|row| (row.observed - row.design * unknowns).norm_squared()).sum()
}

/// The slip that best explains what a fit leaves over, if noise does not.
///
/// Rows in the order in which the stations were taken. `noise` is one standard deviation of each equation, when known;
/// `least` is the noise below which nothing is suspected.
#[expect(clippy::cast_precision_loss, reason = "the number of stations is far below 2^52")]
pub(crate) fn find<const D: usize, const P: usize, const K: usize>(
    rows: &[Row<D, P, K>],
    noise: Option<f64>,
    least: f64,
) -> Option<Slip> {
    let freedom = (rows.len() * D) as f64 - P as f64;
    let freedom_left = freedom - K as f64;
    if freedom_left < 1.0 {
        return None;
    }
    let (normal, unknowns) = solve(rows)?;
    let supports: Vec<Support<P, K>> = rows
        .iter()
        .map(|row| Support {
            left_over: row.slip.tr_mul(&(row.observed - row.design * unknowns)),
            size: row.slip.tr_mul(&row.slip),
            shared: row.design.tr_mul(&row.slip),
        })
        .collect();
    let squares = squares(rows, unknowns);
    if !is_suspect(squares, freedom, noise, least) {
        return None;
    }
    let known = noise.unwrap_or(0.0).max(least);

    let gain = |support: &Support<P, K>| {
        let own = support.size - support.shared.tr_mul(&normal.solve(&support.shared));
        let distinct = (0..K).all(|i| own[(i, i)] > LEAST_OWN * support.size[(i, i)]);
        let size = own.cholesky().filter(|_| distinct)?.solve(&support.left_over);
        Some((support.left_over.dot(&size), size))
    };
    let mut best: Option<Best<P, K>> = None;
    let mut consider = |support: &Support<P, K>, row: usize, onward: bool| {
        if let Some((gain, size)) = gain(support)
            && best.as_ref().is_none_or(|best| gain > best.gain)
        {
            best = Some(Best { gain, row, onward, size, shared: support.shared });
        }
    };
    for (row, support) in supports.iter().enumerate() {
        consider(support, row, false);
    }
    // All from the second row on is the same pattern as the first row alone. All from the last on is the last alone, and explains no more.
    let mut tail: Option<Support<P, K>> = None;
    for (row, support) in supports.iter().enumerate().rev() {
        let sum = tail.map_or(*support, |tail| Support {
            left_over: tail.left_over + support.left_over,
            size: tail.size + support.size,
            shared: tail.shared + support.shared,
        });
        if row > 1 {
            consider(&sum, row, true);
        }
        tail = Some(sum);
    }

    let best = best?;
    let left = ((squares - best.gain) / freedom_left).max(0.0);
    // Of two degrees of freedom over `freedom_left`, F exceeds f with the chance (1 + 2f/ν)^(−ν/2); over infinitely many, e^(−f).
    let chance = CHANCE / (2.0 * rows.len() as f64);
    let quantile = if noise.is_some() && left <= SUSPECT * known * known {
        -libm::log(chance)
    } else {
        freedom_left / 2.0 * (libm::pow(chance, -2.0 / freedom_left) - 1.0)
    };
    let needed = 2.0 * quantile * left.max(known * known);
    if best.gain <= needed
        || left > known * known && best.leaves_smooth(rows, unknowns - normal.solve(&best.shared) * best.size)
    {
        return None;
    }
    let size_rad = best.size.norm();
    let bound_rad = size_rad * sqrt(needed / best.gain);
    let not_smooth = squares - best.gain + BETTER * left.max(known * known);
    Some(Slip { row: best.row, onward: best.onward, size_rad, bound_rad, not_smooth })
}

/// The pattern that explains most so far.
struct Best<const P: usize, const K: usize> {
    gain: f64,
    row: usize,
    onward: bool,
    size: SVector<f64, K>,
    shared: SMatrix<f64, P, K>,
}

impl<const P: usize, const K: usize> Best<P, K> {
    /// Whether what is left over with this pattern changes less from row to row than noise does (von Neumann's ratio): then something smooth
    /// is at work, and the pattern only follows it.
    #[expect(clippy::cast_precision_loss, reason = "the number of stations is far below 2^52")]
    fn leaves_smooth<const D: usize>(&self, rows: &[Row<D, P, K>], unknowns: SVector<f64, P>) -> bool {
        let left_over = |(index, row): (usize, &Row<D, P, K>)| {
            let off = index == self.row || self.onward && index > self.row;
            let slipped = if off { row.slip * self.size } else { SVector::zeros() };
            row.observed - row.design * unknowns - slipped
        };
        let (mut steps, mut squares, mut previous) = (0.0, 0.0, None);
        for now in rows.iter().enumerate().map(left_over) {
            squares += now.norm_squared();
            steps += previous.map_or(0.0, |previous: SVector<f64, D>| (now - previous).norm_squared());
            previous = Some(now);
        }
        let count = rows.len() as f64;
        let deviation = sqrt((count - 2.0).max(0.0) / (D as f64 * (count * count - 1.0)));
        steps < 2.0 * squares * (1.0 - SMOOTH * deviation)
    }
}

/// The factored normal equations and the unknowns; None when the rows do not determine them.
fn solve<const D: usize, const P: usize, const K: usize>(
    rows: &[Row<D, P, K>],
) -> Option<(Cholesky<f64, Const<P>>, SVector<f64, P>)> {
    let (mut normal, mut right) = (SMatrix::<f64, P, P>::zeros(), SVector::<f64, P>::zeros());
    for row in rows {
        normal += row.design.tr_mul(&row.design);
        right += row.design.tr_mul(&row.observed);
    }
    let normal = normal.cholesky()?;
    let unknowns = normal.solve(&right);
    Some((normal, unknowns))
}

/// What further rows leave over of the fit to `rows`; None when these do not determine it.
pub(crate) fn left_over<const D: usize, const P: usize, const K: usize, const N: usize>(
    rows: &[Row<D, P, K>],
    further: [&Row<D, P, K>; N],
) -> Option<[SVector<f64, D>; N]> {
    let (_, unknowns) = solve(rows)?;
    Some(further.map(|row| row.observed - row.design * unknowns))
}

#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra::{Matrix1, Matrix1x2, Vector1};

    /// A straight line through nine points, of known noise.
    fn line(slipped: impl Fn(usize) -> f64) -> Vec<Row<1, 2, 1>> {
        let noise = [0.3, -0.6, 0.1, 0.9, -0.4, -0.2, 0.7, -0.5, 0.2];
        (0..9_u8)
            .map(|i| {
                let (x, i) = (f64::from(i), usize::from(i));
                Row {
                    station: i,
                    observed: Vector1::new(1.0 + 2.0 * x + 1e-3 * noise[i] + slipped(i)),
                    design: Matrix1x2::new(1.0, x),
                    slip: Matrix1::new(1.0),
                }
            })
            .collect()
    }

    #[test]
    fn a_slip_is_named_with_its_size_and_noise_is_not() {
        for noise in [Some(1e-3), None] {
            assert_eq!(find(&line(|_| 0.0), noise, 1e-9), None);
            let once = find(&line(|i| if i == 3 { 0.05 } else { 0.0 }), noise, 1e-9).unwrap();
            assert_eq!((once.row, once.onward), (3, false));
            assert!((once.size_rad - 0.05).abs() < 2e-3 && once.bound_rad < 0.05);
            let from = find(&line(|i| if i >= 4 { 0.05 } else { 0.0 }), noise, 1e-9).unwrap();
            assert_eq!((from.row, from.onward), (4, true));
        }
    }

    #[test]
    fn what_the_unknowns_explain_is_no_slip() {
        assert_eq!(find(&line(|i| 0.3 * [0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0][i]), Some(1e-3), 1e-9), None);
        // A bow is no step: what is left over after the best step is as large.
        assert_eq!(find(&line(|i| 0.02 * [0.0, 1.0, 4.0, 9.0, 16.0, 25.0, 36.0, 49.0, 64.0][i]), None, 1e-9), None);
        assert_eq!(
            find(&line(|i| 2e-3 * [0.0, 1.0, 4.0, 9.0, 16.0, 25.0, 36.0, 49.0, 64.0][i]), Some(1e-3), 1e-9),
            None
        );
    }

    #[test]
    fn too_few_stations_tell_nothing() {
        assert_eq!(find(&line(|i| if i == 1 { 5.0 } else { 0.0 })[..3], Some(1e-3), 1e-9), None);
    }

    /// Twice what noise makes asks for an explanation among few equations; among many, anything that noise does not make.
    #[test]
    fn what_asks_for_an_explanation() {
        for (freedom, noise, most) in [
            (10.0, Some(0.1), 10.0 * SUSPECT * 0.01),
            (FEW_EQUATIONS, Some(0.1), FEW_EQUATIONS * SUSPECT * 0.01),
            (FEW_EQUATIONS + 1.0, Some(0.1), (FEW_EQUATIONS + 1.0) * 1e-6),
            (10.0, None, 10.0 * SUSPECT * 1e-6),
        ] {
            assert!((most_unsuspected(freedom, noise, 1e-3) / most - 1.0).abs() < 1e-12, "{freedom} {noise:?}");
            assert!(!is_suspect(most * 0.999, freedom, noise, 1e-3) && is_suspect(most * 1.001, freedom, noise, 1e-3));
        }
    }

    /// The pattern that is named explains more than any other, when each is fitted beside the unknowns.
    #[test]
    fn the_slip_is_the_pattern_that_fits_best() {
        for at in 0..9 {
            // All rows alike are what the line itself explains.
            for onward in [false, true].into_iter().filter(|&onward| !onward || at > 0) {
                let rows = line(|i| if i == at || onward && i > at { 0.05 } else { 0.0 });
                let left = |row: usize, onward: bool| {
                    let (mut normal, mut right, mut squares) = (SMatrix::<f64, 3, 3>::zeros(), SVector::zeros(), 0.0);
                    for (i, one) in rows.iter().enumerate() {
                        let slipped = f64::from(u8::from(i == row || onward && i > row));
                        let design = nalgebra::Matrix1x3::new(one.design[0], one.design[1], slipped);
                        normal += design.tr_mul(&design);
                        right += design.tr_mul(&one.observed);
                        squares += one.observed.norm_squared();
                    }
                    let unknowns: SVector<f64, 3> = normal.cholesky().unwrap().solve(&right);
                    (squares - unknowns.dot(&right), unknowns[2])
                };
                let found = find(&rows, Some(1e-3), 1e-9).unwrap();
                let (least, size) = left(found.row, found.onward);
                assert!((found.size_rad - size.abs()).abs() < 1e-9, "{at} {onward}");
                // Without a slip: a fit of the line alone. With it, six equations are left.
                let (_, line) = solve(&rows).unwrap();
                let (all, variance) = (squares(&rows, line), least / 6.0);
                let chance = CHANCE / 18.0;
                let few = 3.0 * (libm::pow(chance, -1.0 / 3.0) - 1.0);
                for (noise, quantile) in
                    // Stated far too small, noise is judged by what is left over, as where none is stated.
                    [(Some(1e-3), -libm::log(chance)), (Some(1e-5), few), (None, few)]
                {
                    let known = noise.map_or(0.0, |noise: f64| noise * noise);
                    let Some(found) = find(&rows, noise, 1e-9) else { continue };
                    let bound = found.size_rad * sqrt(2.0 * quantile * variance.max(known) / (all - least));
                    assert!((found.bound_rad / bound - 1.0).abs() < 1e-6, "{at} {onward} {noise:?}: {bound}");
                    let not_smooth = least + BETTER * variance.max(known);
                    assert!((found.not_smooth / not_smooth - 1.0).abs() < 1e-6, "{at} {onward} {noise:?}");
                }
                for row in 0..9 {
                    assert!(left(row, false).0 > least - 1e-9, "{at} {onward}: {row}");
                    assert!(!(2..8).contains(&row) || left(row, true).0 > least - 1e-9, "{at} {onward}: {row} onward");
                }
            }
        }
    }

    /// A level and an alternation: von Neumann's ratio of them goes from 0 to 2(n − 1)/n with the share of the alternation, and noise keeps
    /// above its mean of 1 by SMOOTH·√((n − 2)/(D·(n² − 1))).
    #[test]
    fn what_is_left_over_is_smooth_below_the_bound_of_noise() {
        const SLIPPED: f64 = 5.0;
        for (count, row, onward) in [(8_u8, 3, false), (8, 3, true), (20, 0, false), (50, 49, true)] {
            let n = f64::from(count);
            let bound = 1.0 - SMOOTH * sqrt((n - 2.0) / (2.0 * (n * n - 1.0)));
            let share = bound * n / (2.0 * (n - 1.0));
            let even = sqrt(share / (1.0 - share));
            for (alternation, smooth) in [(even * 0.999, true), (even * 1.001, false)] {
                let rows: Vec<Row<2, 1, 1>> = (0..count)
                    .map(|i| {
                        let off = usize::from(i) == row || onward && usize::from(i) > row;
                        let left = 1.0 + alternation * if i % 2 == 0 { 1.0 } else { -1.0 };
                        let slipped = if off { SLIPPED } else { 0.0 };
                        Row {
                            station: usize::from(i),
                            // Beside 7·3 that the fit explains.
                            observed: nalgebra::Vector2::new(left + slipped + 21.0, left - slipped - 21.0),
                            design: nalgebra::Matrix2x1::new(3.0, -3.0),
                            slip: nalgebra::Matrix2x1::new(1.0, -1.0),
                        }
                    })
                    .collect();
                let best = Best { gain: 1.0, row, onward, size: Vector1::new(SLIPPED), shared: Matrix1::new(0.0) };
                assert_eq!(
                    best.leaves_smooth(&rows, Vector1::new(7.0)),
                    smooth,
                    "{count} {row} {onward} {alternation}"
                );
            }
        }
    }

    /// Sixty stations whose observations follow a bow, or step up at the sixteenth.
    fn sixty(bend: f64, step: f64) -> Vec<Row<1, 2, 1>> {
        (0..60_u8)
            .map(|i| {
                let x = f64::from(i) / 59.0;
                let noise = 1e-4 * libm::sin(f64::from(i) * f64::from(i));
                let slipped = if i >= 15 { step } else { 0.0 };
                let (observed, design) = (Vector1::new(bend * x * x + noise + slipped), Matrix1x2::new(1.0, x));
                Row { station: usize::from(i), observed, design, slip: Matrix1::new(1.0) }
            })
            .collect()
    }

    /// Among so many stations a step explains more than half of a bow, far more than noise would. Only that what it leaves is smooth tells that there
    /// was none.
    #[test]
    fn a_long_bow_is_no_step() {
        for noise in [None, Some(1e-4)] {
            assert_eq!(find(&sixty(0.1, 0.0), noise, 1e-9), None);
            let found = find(&sixty(0.0, 0.01), noise, 1e-9).unwrap();
            assert_eq!((found.row, found.onward), (15, true));
        }
    }

    /// Where what a step leaves of a bow passes for noise, the bow still explains more; it explains less of a step.
    #[test]
    fn the_better_explanation_counts() {
        for (bend, step, noise) in [(0.1, 0.0, 5.4e-3), (0.0, 0.05, 5.4e-3)] {
            let rows = sixty(bend, step);
            let smooth: Vec<Row<1, 3, 1>> = rows
                .iter()
                .map(|row| {
                    let x = row.design[1];
                    let design = nalgebra::Matrix1x3::new(1.0, x, x * x);
                    Row { station: row.station, observed: row.observed, design, slip: row.slip }
                })
                .collect();
            let (plain, found) = (find(&rows, Some(noise), 1e-9), find_beside(&rows, &smooth, Some(noise), 1e-9));
            assert!(plain.is_some(), "{bend} {step}");
            assert_eq!(found, plain.filter(|_| step > 0.0), "{bend} {step}");
        }
    }
}
