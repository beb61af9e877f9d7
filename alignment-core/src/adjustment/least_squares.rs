//! Least squares of numbers that have bounds, with rows that cost nothing as long as they lie between theirs.
//!
//! Minimises Σ (w·(a·x − b))² + Σ (W·(how far a·x lies outside its interval))² for x between bounds. With a second number v between the
//! bounds of each interval, and the row W·(a·x − v), all is least squares with bounds; it is solved by the active sets of Lawson, Hanson, Stark
//! and Parker. A v that is free takes its row along: neither need be written down.

use alloc::vec;
use alloc::vec::Vec;
use nalgebra::{DMatrix, DVector};

/// A row of which something is wanted: weight·(coefficients·x − target).
pub(super) struct Row {
    pub(super) coefficients: Vec<f64>,
    pub(super) target: f64,
    pub(super) weight: f64,
}

/// A row that costs nothing between its bounds, and outside them weight times the distance.
pub(super) struct Interval {
    pub(super) coefficients: Vec<f64>,
    pub(super) bounds: [f64; 2],
    pub(super) weight: f64,
}

#[derive(Clone, Copy, PartialEq)]
enum At {
    Free,
    Low,
    High,
}

/// What is left between a bound and rounding.
const ROUNDING: f64 = 1e-13;

/// The solution, from a start at zero, which lies between the bounds.
pub(super) fn solve(rows: &[Row], intervals: &[Interval], bounds: &[[f64; 2]]) -> Vec<f64> {
    let count = bounds.len();
    let mut x = vec![0.0; count];
    let mut at: Vec<At> = bounds.iter().map(|[low, high]| if low < high { At::Free } else { At::Low }).collect();
    // The numbers v, and where they are.
    let mut v: Vec<f64> =
        intervals.iter().map(|interval| 0.0_f64.max(interval.bounds[0]).min(interval.bounds[1])).collect();
    let mut v_at: Vec<At> = intervals
        .iter()
        .map(|interval| match interval.bounds {
            [low, _] if low >= 0.0 => At::Low,
            [_, high] if high <= 0.0 => At::High,
            _ => At::Free,
        })
        .collect();
    // Every pass lowers the cost, so no set comes twice; rounding alone could make it.
    for _ in 0..20 * (count + intervals.len()) + 20 {
        let wanted = free_solution(rows, intervals, &x, &at, &v, &v_at);
        let along: Vec<f64> = intervals.iter().map(|interval| dot(&interval.coefficients, &wanted)).collect();
        // As far as the first bound.
        let mut share: f64 = 1.0;
        let mut until = |from: f64, to: f64, [low, high]: [f64; 2]| {
            let bound = if to < low {
                low
            } else if to > high {
                high
            } else {
                return;
            };
            share = share.min(((bound - from) / (to - from)).max(0.0));
        };
        for index in (0..count).filter(|&index| at[index] == At::Free) {
            until(x[index], wanted[index], bounds[index]);
        }
        for index in (0..intervals.len()).filter(|&index| v_at[index] == At::Free) {
            until(v[index], along[index], intervals[index].bounds);
        }
        let step = |from: f64, to: f64| if share < 1.0 { from + share * (to - from) } else { to };
        for index in (0..count).filter(|&index| at[index] == At::Free) {
            x[index] = step(x[index], wanted[index]);
        }
        for index in (0..intervals.len()).filter(|&index| v_at[index] == At::Free) {
            v[index] = step(v[index], along[index]);
        }
        if share < 1.0 {
            let land = |number: &mut f64, at: &mut At, to: f64, [low, high]: [f64; 2]| {
                let near = ROUNDING * (1.0 + number.abs());
                if *at == At::Free && to < low && *number <= low + near {
                    (*number, *at) = (low, At::Low);
                } else if *at == At::Free && to > high && *number >= high - near {
                    (*number, *at) = (high, At::High);
                }
            };
            for index in 0..count {
                land(&mut x[index], &mut at[index], wanted[index], bounds[index]);
            }
            for index in 0..intervals.len() {
                land(&mut v[index], &mut v_at[index], along[index], intervals[index].bounds);
            }
            continue;
        }
        // The bound that is most worth leaving.
        let (mut most, mut leave) = (0.0, None);
        let mut see = |at: At, downhill: f64, scale: f64, index: usize| {
            let worth = match at {
                At::Free => 0.0,
                At::Low => downhill,
                At::High => -downhill,
            };
            if worth > ROUNDING * scale && worth > most {
                (most, leave) = (worth, Some(index));
            }
        };
        for index in (0..count).filter(|&index| bounds[index][0] < bounds[index][1]) {
            let (mut downhill, mut scale) = (0.0, 0.0);
            let mut add = |weight: f64, coefficient: f64, short: f64| {
                downhill += weight * weight * coefficient * short;
                scale += (weight * weight * coefficient * short).abs();
            };
            for row in rows {
                add(row.weight, row.coefficients[index], row.target - dot(&row.coefficients, &x));
            }
            for (interval, (&v, &at)) in intervals.iter().zip(v.iter().zip(&v_at)) {
                if at != At::Free {
                    add(interval.weight, interval.coefficients[index], v - dot(&interval.coefficients, &x));
                }
            }
            see(at[index], downhill, 1e3 * scale, index);
        }
        for (index, interval) in intervals.iter().enumerate() {
            let beyond = dot(&interval.coefficients, &x) - v[index];
            let open = interval.bounds[0] < interval.bounds[1];
            let weight = interval.weight * interval.weight;
            if open {
                see(v_at[index], weight * beyond, weight * (1.0 + v[index].abs()), count + index);
            }
        }
        match leave {
            None => break,
            Some(index) if index < count => at[index] = At::Free,
            Some(index) => v_at[index - count] = At::Free,
        }
    }
    x
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// The least squares of the free numbers, the others left at their bounds.
fn free_solution(rows: &[Row], intervals: &[Interval], x: &[f64], at: &[At], v: &[f64], v_at: &[At]) -> Vec<f64> {
    let free: Vec<usize> = (0..x.len()).filter(|&index| at[index] == At::Free).collect();
    let mut wanted = x.to_vec();
    if free.is_empty() {
        return wanted;
    }
    let mut matrix = Vec::new();
    let mut right = Vec::new();
    let mut put = |coefficients: &[f64], target: f64, weight: f64| {
        let fixed: f64 =
            (0..x.len()).filter(|&index| at[index] != At::Free).map(|index| coefficients[index] * x[index]).sum();
        matrix.extend(free.iter().map(|&index| weight * coefficients[index]));
        right.push(weight * (target - fixed));
    };
    // The heavy rows first, as Householder's reflections want them.
    for (interval, (&v, &at)) in intervals.iter().zip(v.iter().zip(v_at)) {
        if at != At::Free {
            put(&interval.coefficients, v, interval.weight);
        }
    }
    for row in rows {
        put(&row.coefficients, row.target, row.weight);
    }
    let solved = least_squares(DMatrix::from_row_iterator(right.len(), free.len(), matrix), DVector::from_vec(right));
    for (&index, &solved) in free.iter().zip(solved.iter().flatten()) {
        wanted[index] = solved;
    }
    wanted
}

/// None when the columns depend on each other: what is free is then left where it is.
fn least_squares(matrix: DMatrix<f64>, mut right: DVector<f64>) -> Option<Vec<f64>> {
    let columns = matrix.ncols();
    if matrix.nrows() < columns {
        return None;
    }
    let factors = matrix.col_piv_qr();
    factors.q_tr_mul(&mut right);
    let mut solved = factors.r().solve_upper_triangular(&right.rows(0, columns))?;
    factors.p().inv_permute_rows(&mut solved);
    Some(solved.as_slice().to_vec())
}
