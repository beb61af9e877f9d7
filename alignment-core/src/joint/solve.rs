//! The least squares: Gauss and Newton's steps, damped after Levenberg and Marquardt where they overshoot.
//!
//! What a station has of its own meets nothing of any other station in the normal equations, so it is eliminated station by station, and the
//! cost grows with their number, not with its cube.

use super::model::{AXES, Follows, Kind, Model, State, column, rotation_vector, turned_by};
use crate::error::{Error, ErrorCode};
use crate::layout::Wheel;
use crate::units::sqrt;
use alloc::vec::Vec;
use nalgebra::{Cholesky, DMatrix, DVector, Matrix6xX, Vector3, Vector6};

/// Of an unknown's own information, the least that the others may leave of it: below, it cannot be told from them.
const LEAST_OWN: f64 = 1e-11;
/// The fit is settled when a further step would lower χ² by less: some 1e-8 of a standard deviation.
const SETTLED: f64 = 1e-15;
const MOST_STEPS: usize = 60;

/// A pose in the fit, each equation divided by its standard deviation.
pub(super) struct Row {
    pub(super) left_over: Vector6<f64>,
    pub(super) follows: Follows,
}

/// A station whose own unknowns are eliminated: H = L·Lᵀ of them, Z = L⁻¹·(their coupling to the shared), y = L⁻¹·(their gradient).
pub(super) struct Eliminated {
    pub(super) factor: DMatrix<f64>,
    pub(super) coupling: DMatrix<f64>,
    gradient: DVector<f64>,
}

/// The normal equations at some state, factored.
pub(super) struct Normal {
    pub(super) rows: Vec<Row>,
    pub(super) stations: Vec<Eliminated>,
    /// L of the shared unknowns' information L·Lᵀ, all else eliminated.
    pub(super) factor: DMatrix<f64>,
    gradient: DVector<f64>,
    pub(super) chi_squared: f64,
    /// Of it, what is not counted among the equations.
    pub(super) uncounted: f64,
}

/// The equations of every pose at a state.
fn rows(model: &Model, state: &State) -> Vec<Row> {
    let mut rows = Vec::with_capacity(model.observations.len());
    for seen in &model.observations {
        // No pose follows more.
        let mut follows = Follows { shared: Vec::with_capacity(16), own: Vec::with_capacity(12) };
        let Some(foretold) = model.foretell(state, seen.at, seen.wheel, Some(&mut follows)) else { continue };
        let whitener = seen.whitener * sqrt(seen.share);
        let left_over = Model::left_over(&seen.pose, &foretold);
        let turn = left_over.fixed_rows::<3>(0).into_owned();
        for (_, by) in follows.shared.iter_mut().chain(&mut follows.own) {
            // Of a rotation vector r that is left over a small turn ω takes ω + r × ω/2 + r × (r × ω)/12.
            let first = turn.cross(&by.fixed_rows::<3>(0));
            let second = turn.cross(&first);
            let mut turned = by.fixed_rows_mut::<3>(0);
            turned += first * 0.5 + second / 12.0;
            *by = whitener * *by;
        }
        rows.push(Row { left_over: whitener * left_over, follows });
    }
    rows
}

/// The sum of squares at a state.
fn chi_squared(model: &Model, state: &State) -> f64 {
    let poses = model.observations.iter().filter_map(|seen| {
        let foretold = model.foretell(state, seen.at, seen.wheel, None)?;
        let left_over = seen.whitener * Model::left_over(&seen.pose, &foretold);
        Some(seen.share * left_over.dot(&left_over))
    });
    poses.sum::<f64>() + known_beside(model, state).iter().map(|known| known.off * known.off).sum::<f64>()
}

/// What is known of a station beside its poses, over its standard deviation, and how it follows the unknowns.
struct Beside {
    /// Whether it is counted among the equations: the direction in which a turning body travels is a convention, told by no pose.
    counts: bool,
    at: usize,
    off: f64,
    own: Vec<(usize, f64)>,
    shared: Option<(usize, f64)>,
}

/// What is known beside the poses: that wheels hardly slip as they roll, and roughly where a body goes that turns.
fn known_beside(model: &Model, state: &State) -> Vec<Beside> {
    let mut known = Vec::new();
    let rolled = model.stations.iter().zip(&state.stations).enumerate();
    for (at, (plan, station)) in rolled.filter(|(_, (plan, _))| plan.kind == Kind::Rolled) {
        for wheel in Wheel::ALL {
            if let (Some(column), Some(of_wheel)) = (*plan.spin.get(wheel), state.wheels.get(wheel)) {
                let (weight, spin_rad) = (of_wheel.radius_mm / model.slip_mm, *station.spin_rad.get(wheel));
                let shared = model.columns.radii.get(wheel).map(|radius| (radius, spin_rad / model.slip_mm));
                known.push(Beside { counts: true, at, off: weight * spin_rad, own: [(column, weight)].into(), shared });
            }
        }
        if let (Some(own), Some(travel)) = (plan.body, model.columns.travel) {
            known.push(model.sideways(state, at, own, travel));
        }
    }
    known
}

impl Model {
    /// How far a body that turns has gone sideways of the direction in which it travels. It may, far beyond the noise of the poses; but on the whole
    /// it is that direction.
    fn sideways(&self, state: &State, at: usize, own: usize, travel: usize) -> Beside {
        const SIDEWAYS_MM: f64 = 2.0;
        let station = &state.stations[at];
        let (heading, left) = self.heading(state, &station.turn);
        let (along, off) = (station.shift.dot(&heading), station.shift.dot(&left));
        let by_yaw = -along / SIDEWAYS_MM;
        let mut by_own = Vec::with_capacity(5);
        let turned = rotation_vector(&station.turn);
        let yaw = |along: Vector3<f64>| turned_by(&turned, &along).dot(&column(self.up));
        by_own.extend(AXES.into_iter().enumerate().map(|(i, along)| (own + i, by_yaw * 0.5 * yaw(along))));
        let shifts = self.body_shifts(Kind::Rolled);
        by_own.extend(shifts.iter().enumerate().map(|(i, shift)| (own + 3 + i, shift.dot(&left) / SIDEWAYS_MM)));
        Beside { counts: false, at, off: off / SIDEWAYS_MM, own: by_own, shared: Some((travel, by_yaw)) }
    }
}

/// The equations of one station.
struct Station {
    own: DMatrix<f64>,
    coupling: DMatrix<f64>,
    gradient: DVector<f64>,
}

impl Normal {
    /// The normal equations at a state, with so much added to every diagonal element as a share of itself.
    pub(super) fn at(model: &Model, state: &State, damping: f64) -> Result<Self, Error> {
        let size = model.columns.size;
        let rows = rows(model, state);
        let mut information = DMatrix::<f64>::zeros(size, size);
        let mut gradient = DVector::<f64>::zeros(size);
        let mut stations: Vec<Station> = model
            .stations
            .iter()
            .map(|plan| Station {
                own: DMatrix::zeros(plan.size, plan.size),
                coupling: DMatrix::zeros(plan.size, size),
                gradient: DVector::zeros(plan.size),
            })
            .collect();
        let mut chi_squared = 0.0;
        for (row, seen) in rows.iter().zip(&model.observations) {
            chi_squared += row.left_over.dot(&row.left_over);
            let Follows { shared, own } = &row.follows;
            for (i, (column, by)) in shared.iter().enumerate() {
                gradient[*column] += by.dot(&row.left_over);
                for (other, by_other) in &shared[..=i] {
                    let (lower, upper) = if column >= other { (*column, *other) } else { (*other, *column) };
                    information[(lower, upper)] += by.dot(by_other);
                }
            }
            let station = &mut stations[seen.at];
            for (i, (column, by)) in own.iter().enumerate() {
                station.gradient[*column] += by.dot(&row.left_over);
                for (other, by_other) in &own[..=i] {
                    let (lower, upper) = if column >= other { (*column, *other) } else { (*other, *column) };
                    station.own[(lower, upper)] += by.dot(by_other);
                }
                for (other, by_other) in shared {
                    station.coupling[(*column, *other)] += by.dot(by_other);
                }
            }
        }
        let mut uncounted = 0.0;
        for Beside { counts, at, off, own, shared } in known_beside(model, state) {
            chi_squared += off * off;
            uncounted += if counts { 0.0 } else { off * off };
            let station = &mut stations[at];
            for (i, &(column, by)) in own.iter().enumerate() {
                station.gradient[column] -= by * off;
                for &(other, by_other) in &own[..=i] {
                    station.own[(column.max(other), column.min(other))] += by * by_other;
                }
                if let Some((other, by_other)) = shared {
                    station.coupling[(column, other)] += by * by_other;
                }
            }
            if let Some((column, by)) = shared {
                gradient[column] -= by * off;
                information[(column, column)] += by * by;
            }
        }

        let whole: Vec<f64> = (0..size).map(|i| information[(i, i)]).collect();
        for i in 0..size {
            information[(i, i)] *= 1.0 + damping;
        }
        let mut eliminated = Vec::with_capacity(stations.len());
        for (plan, station) in model.stations.iter().zip(stations) {
            let Station { mut own, mut coupling, gradient: mut of_station } = station;
            let whole: Vec<f64> = (0..plan.size).map(|i| own[(i, i)]).collect();
            for i in 0..plan.size {
                own[(i, i)] *= 1.0 + damping;
            }
            let located = Error::new(ErrorCode::NotDetermined).stage(plan.stage);
            let located = plan.index.map_or(located, |index| located.station(index));
            let own = factor(own, &whole).map_err(|(_, share)| located.value(share).at_least(LEAST_OWN))?;
            forward(&own, &mut of_station);
            own.solve_lower_triangular_mut(&mut coupling);
            for (row, of_row) in coupling.row_iter().zip(of_station.iter()) {
                // Few of the shared unknowns meet a station.
                let met: Vec<(usize, f64)> = row.iter().copied().enumerate().filter(|(_, by)| by.abs() > 0.0).collect();
                for (i, &(column, by)) in met.iter().enumerate() {
                    gradient[column] -= by * of_row;
                    for &(other, by_other) in &met[i..] {
                        information[(other, column)] -= by * by_other;
                    }
                }
            }
            eliminated.push(Eliminated { factor: own, coupling, gradient: of_station });
        }
        let factor = factor(information, &whole).map_err(|(column, share)| {
            let (name, wheel) = model.columns.name(column);
            let error = Error::new(ErrorCode::NotDetermined).input(name).value(share).at_least(LEAST_OWN);
            wheel.map_or(error, |wheel| error.wheel(wheel))
        })?;
        Ok(Self { rows, stations: eliminated, factor, gradient, chi_squared, uncounted })
    }

    /// What a square is worth by how badly it all fits: 1 where it fits.
    #[expect(clippy::cast_precision_loss, reason = "the number of equations is far below 2^52")]
    fn scale(&self, model: &Model) -> f64 {
        (self.chi_squared / (6.0 * model.observations.len() as f64)).max(1.0)
    }

    /// The step to the least sum of squares were all linear, and by how much it would fall.
    fn step(&self) -> (DVector<f64>, Vec<DVector<f64>>, f64) {
        let mut shared = self.gradient.clone();
        forward(&self.factor, &mut shared);
        let mut falls = shared.norm_squared();
        backward(&self.factor, &mut shared);
        let own = self.stations.iter().map(|station| {
            falls += station.gradient.norm_squared();
            let mut own = &station.gradient - &station.coupling * &shared;
            backward(&station.factor, &mut own);
            own
        });
        let own = own.collect();
        (shared, own, falls)
    }
}

/// The state of least squares, the normal equations there, and how many steps it took.
pub(super) fn settle(model: &Model, state: State) -> Result<(State, Normal, usize), Error> {
    let (state, normal, steps, falls) =
        approach(model, state, &Until { falls: SETTLED, steps: MOST_STEPS, damping: 0.0 })?;
    let settled = SETTLED * normal.scale(model);
    if falls.is_nan() || falls > settled {
        let error = Error::new(ErrorCode::NotConverged);
        // By how much a damped step falls says nothing.
        return Err(if falls.is_finite() { error.value(falls).at_most(settled) } else { error });
    }
    Ok((state, normal, steps))
}

/// When to stop.
pub(super) struct Until {
    /// A further step would lower χ² by no more.
    pub(super) falls: f64,
    pub(super) steps: usize,
    /// The least damping: what the poses do not tell then stays where it is.
    pub(super) damping: f64,
}

/// Steps towards the least sum of squares, until a further one would lower it by no more than asked: the state, the normal equations there, how
/// many steps it took, and by how much the last one lowered it.
pub(super) fn approach(model: &Model, mut state: State, until: &Until) -> Result<(State, Normal, usize, f64), Error> {
    let mut damping = until.damping;
    let mut normal = Normal::at(model, &state, damping)?;
    let mut falls_by = f64::INFINITY;
    for step in 1..=until.steps {
        let (shared, own, falls) = normal.step();
        let next = model.stepped(&state, &shared, &own);
        let reached = chi_squared(model, &next);
        // Rounding lets it rise by a hair when nothing is left to be won.
        let hair = 1e-9 * normal.chi_squared + 1e-9;
        if reached.is_nan() || reached > normal.chi_squared + hair {
            damping = (damping * 10.0).max(1e-4);
            normal = Normal::at(model, &state, damping)?;
            continue;
        }
        state = next;
        let undamped = damping <= until.damping;
        damping = if damping > 1e-5 { damping * 0.1 } else { until.damping };
        normal = Normal::at(model, &state, damping)?;
        falls_by = if undamped { falls } else { f64::INFINITY };
        if falls_by <= until.falls * normal.scale(model) {
            return Ok((state, normal, step, falls));
        }
    }
    Ok((state, normal, until.steps, falls_by))
}

/// Cholesky's factor of a matrix given in the lower triangle; else the unknown that is told worst, and what the others leave of its own
/// information as a share of the whole.
fn factor(matrix: DMatrix<f64>, whole: &[f64]) -> Result<DMatrix<f64>, (usize, f64)> {
    let size = whole.len();
    if size == 0 {
        return Ok(matrix);
    }
    let scaled = |i: usize, j: usize| matrix[(i.max(j), i.min(j))] / sqrt(whole[i] * whole[j]);
    let worst = || {
        let unseen = (0..size).find(|&i| whole[i].is_nan() || whole[i] <= 0.0);
        if let Some(unseen) = unseen {
            return (unseen, 0.0);
        }
        let eigen = DMatrix::from_fn(size, size, scaled).symmetric_eigen();
        let least = eigen.eigenvalues.imin();
        (eigen.eigenvectors.column(least).icamax(), eigen.eigenvalues[least].max(0.0))
    };
    let Some(factored) = Cholesky::new(matrix.clone()) else { return Err(worst()) };
    let factor = factored.unpack();
    let told = (0..size).all(|i| factor[(i, i)] * factor[(i, i)] > LEAST_OWN * whole[i]);
    if told { Ok(factor) } else { Err(worst()) }
}

/// L⁻¹·v.
pub(super) fn forward(factor: &DMatrix<f64>, v: &mut DVector<f64>) {
    factor.solve_lower_triangular_mut(v);
}

/// L⁻¹ of each of six rows, all at once; what is zero is passed over, for a pose follows few of the unknowns.
pub(super) fn forward_rows(factor: &DMatrix<f64>, rows: &mut Matrix6xX<f64>) {
    for j in 0..rows.ncols() {
        let solved = rows.column(j) / factor[(j, j)];
        rows.set_column(j, &solved);
        if solved.iter().any(|v| v.abs() > 0.0) {
            for i in j + 1..rows.ncols() {
                rows.column_mut(i).axpy(-factor[(i, j)], &solved, 1.0);
            }
        }
    }
}

/// L⁻ᵀ·v.
pub(super) fn backward(factor: &DMatrix<f64>, v: &mut DVector<f64>) {
    factor.tr_solve_lower_triangular_mut(v);
}

/// How many equations the slips add to those of the poses.
pub(super) fn slip_count(model: &Model) -> usize {
    let rolled = model.stations.iter().filter(|plan| plan.kind == Kind::Rolled);
    rolled.map(|plan| Wheel::ALL.iter().filter(|&&wheel| plan.spin.get(wheel).is_some()).count()).sum()
}
