//! Turning: toe-out on turns, the ideal of Ackermann, and the angles at full lock.
//!
//! Steer angles here are counted from each wheel's own heading at the ahead station, as on plates zeroed straight ahead; left positive.
//! Two customs exist for toe-out on turns: the inner wheel at 20°, or the outer. The session's `reference.turn` says which.

use crate::error::{Error, ErrorCode};
use crate::layout::{BySide, Side};
use crate::session::{TurnWheel, check_range};
use crate::units::{self, atan2_deg, rad_from_deg};
use alloc::vec::Vec;
use core::cmp::Ordering;
use core::ops::Range;

/// How far past the last station of the sweep toe-out on turns is still read, degrees: a wheel brought to 20° never stands at 20.000°.
pub const TURN_MARGIN_DEG: f64 = 1.0;
/// Stations further apart than this leave toe-out on turns between them uncertain, degrees. Common practice, no source.
pub(crate) const SPARSE_DEG: f64 = 12.0;
/// Stations nearer to each other than this are one for the interpolation, degrees.
pub(crate) const SAME_STATION_DEG: f64 = 0.5;
/// The least and greatest wheelbase or distance of the steering axes in the plane formulas, mm.
const LENGTH_RANGE_MM: [f64; 2] = [1.0, 1e5];

/// The readings of one turn. Magnitudes.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct TurnReadings {
    /// Steer angle of the wheel on the inside of the turn, from its own heading straight ahead.
    pub inner_deg: Option<f64>,
    /// Steer angle of the wheel on the outside of the turn, from its own heading straight ahead.
    pub outer_deg: Option<f64>,
    /// Toe-out on turns: inner minus outer.
    pub toe_out_deg: Option<f64>,
    /// Ideal toe-out there, by Ackermann: cot(outer) − cot(inner) = (distance of the steering axes at the ground, along the vehicle's y axis)/(mean wheelbase).
    pub ackermann_deg: Option<f64>,
}

/// The steer angles at full lock, left positive.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct LockReadings {
    /// Steer angle of the left wheel, from its own heading straight ahead; positive to the left.
    pub left_deg: Option<f64>,
    /// Steer angle of the right wheel, from its own heading straight ahead; positive to the left.
    pub right_deg: Option<f64>,
}

/// The readings of turning.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct TurnsReadings {
    /// Turning left: the left wheel is on the inside.
    pub left_turn: TurnReadings,
    /// Turning right: the right wheel is on the inside.
    pub right_turn: TurnReadings,
    /// Full lock to the left.
    pub lock_left: LockReadings,
    /// Full lock to the right.
    pub lock_right: LockReadings,
}

/// Ackermann's ideal outer angle in degrees, for an inner angle in degrees: cot δ_outer = cot δ_inner + axis distance/wheelbase.
///
/// # Errors
/// [`ErrorCode::NotFinite`], [`ErrorCode::AngleOutOfRange`] outside 0 to 90°, [`ErrorCode::LengthOutOfRange`] for lengths not positive.
///
/// ```
/// # use alignment_core::turns::{ackermann_inner_deg, ackermann_outer_deg};
/// let outer = ackermann_outer_deg(20.0, 1400.0, 2600.0)?;
/// assert!((ackermann_inner_deg(outer, 1400.0, 2600.0)? - 20.0).abs() < 1e-12);
/// assert!((outer - 16.926).abs() < 1e-3);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn ackermann_outer_deg(inner_deg: f64, axis_distance_mm: f64, wheelbase_mm: f64) -> Result<f64, Error> {
    ackermann(inner_deg, axis_distance_mm, wheelbase_mm, 1.0)
}

/// Ackermann's ideal inner angle in degrees, for an outer angle in degrees: cot δ_inner = cot δ_outer − axis distance/wheelbase.
///
/// # Errors
/// As [`ackermann_outer_deg`].
///
/// ```
/// # use alignment_core::turns::ackermann_inner_deg;
/// assert!(ackermann_inner_deg(20.0, 1400.0, 2600.0)? > 20.0);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn ackermann_inner_deg(outer_deg: f64, axis_distance_mm: f64, wheelbase_mm: f64) -> Result<f64, Error> {
    ackermann(outer_deg, axis_distance_mm, wheelbase_mm, -1.0)
}

fn ackermann(angle_deg: f64, axis_distance_mm: f64, wheelbase_mm: f64, sign: f64) -> Result<f64, Error> {
    check_range(ErrorCode::AngleOutOfRange, "angle_deg", angle_deg, [0.0, 90.0])?;
    check_lengths(axis_distance_mm, wheelbase_mm)?;
    // cot a = cos a/sin a; as atan2 it needs no special case at 0 or 90°.
    let (sin, cos) = libm::sincos(rad_from_deg(angle_deg));
    Ok(atan2_deg(sin, cos + sign * sin * axis_distance_mm / wheelbase_mm))
}

fn check_lengths(axis_distance_mm: f64, wheelbase_mm: f64) -> Result<(), Error> {
    check_range(ErrorCode::LengthOutOfRange, "axis_distance_mm", axis_distance_mm, LENGTH_RANGE_MM)?;
    check_range(ErrorCode::LengthOutOfRange, "wheelbase_mm", wheelbase_mm, LENGTH_RANGE_MM)
}

/// Ackermann percentage by toe-out: 100·(δ_inner − δ_outer)/(ideal toe-out at the same inner angle), angles in degrees.
///
/// Ideal toe-out is δ_inner less [`ackermann_outer_deg`] of it, and d/L the distance of the steering axes at the ground over the
/// wheelbase: tan(ideal) = (d/L)·sin²δ_inner/(1 + (d/L)·sin δ_inner·cos δ_inner). Wheels that stay parallel give 0, the ideal 100, toe-in
/// on turns less than 0. The other definition, [`ackermann_percent_by_cotangents`], agrees at 0 and 100 alone.
///
/// # Errors
/// [`ErrorCode::NotFinite`]; [`ErrorCode::AngleOutOfRange`] outside 1 to 90°; [`ErrorCode::LengthOutOfRange`] for lengths not positive.
///
/// ```
/// # use alignment_core::turns::ackermann_percent_by_toe_out;
/// assert!((ackermann_percent_by_toe_out(20.0, 18.0, 1400.0, 2600.0)? - 65.1).abs() < 0.1);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn ackermann_percent_by_toe_out(
    inner_deg: f64,
    outer_deg: f64,
    axis_distance_mm: f64,
    wheelbase_mm: f64,
) -> Result<f64, Error> {
    check_turn(inner_deg, outer_deg, axis_distance_mm, wheelbase_mm)?;
    let (sin, cos) = libm::sincos(rad_from_deg(inner_deg));
    let ratio = axis_distance_mm / wheelbase_mm;
    let ideal_deg = atan2_deg(ratio * sin * sin, 1.0 + ratio * sin * cos);
    Ok(100.0 * (inner_deg - outer_deg) / ideal_deg)
}

/// Ackermann percentage by cotangents: 100·(cot δ_outer − cot δ_inner)/(distance of the steering axes at the ground/wheelbase), angles in
/// degrees.
///
/// Wheels that stay parallel give 0, the ideal 100, toe-in on turns less than 0. The other definition, [`ackermann_percent_by_toe_out`],
/// agrees at 0 and 100 alone.
///
/// # Errors
/// As [`ackermann_percent_by_toe_out`].
///
/// ```
/// # use alignment_core::turns::ackermann_percent_by_cotangents;
/// assert!((ackermann_percent_by_cotangents(20.0, 18.0, 1400.0, 2600.0)? - 61.3).abs() < 0.1);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn ackermann_percent_by_cotangents(
    inner_deg: f64,
    outer_deg: f64,
    axis_distance_mm: f64,
    wheelbase_mm: f64,
) -> Result<f64, Error> {
    check_turn(inner_deg, outer_deg, axis_distance_mm, wheelbase_mm)?;
    // cot o − cot i = sin(i − o)/(sin i·sin o), which loses no digits between nearly equal angles: in degrees i − o is exact.
    let [inner, outer, difference] =
        [inner_deg, outer_deg, inner_deg - outer_deg].map(|angle_deg| libm::sin(rad_from_deg(angle_deg)));
    let difference = difference / (inner * outer);
    Ok(100.0 * difference * wheelbase_mm / axis_distance_mm)
}

fn check_turn(inner_deg: f64, outer_deg: f64, axis_distance_mm: f64, wheelbase_mm: f64) -> Result<(), Error> {
    const RANGE_DEG: [f64; 2] = [1.0, 90.0];
    check_range(ErrorCode::AngleOutOfRange, "inner_deg", inner_deg, RANGE_DEG)?;
    check_range(ErrorCode::AngleOutOfRange, "outer_deg", outer_deg, RANGE_DEG)?;
    check_lengths(axis_distance_mm, wheelbase_mm)
}

/// Turning radius of the middle of the front axle in mm, a magnitude: wheelbase/sin δ, with the steer angle δ of that axle in degrees.
///
/// The vehicle rolls without slip about a point on the line of the rear axle, and δ is the heading at the middle of the front axle.
///
/// # Errors
/// [`ErrorCode::NotFinite`]; [`ErrorCode::AngleOutOfRange`] outside 0.1 to 90°; [`ErrorCode::LengthOutOfRange`] for a wheelbase not
/// positive.
///
/// ```
/// # use alignment_core::turns::turning_radius_mm;
/// assert!((turning_radius_mm(2600.0, 30.0)? - 5200.0).abs() < 1e-9);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn turning_radius_mm(wheelbase_mm: f64, steer_deg: f64) -> Result<f64, Error> {
    check_range(ErrorCode::LengthOutOfRange, "wheelbase_mm", wheelbase_mm, LENGTH_RANGE_MM)?;
    check_range(ErrorCode::AngleOutOfRange, "steer_deg", steer_deg, [0.1, 90.0])?;
    Ok(wheelbase_mm / libm::sin(rad_from_deg(steer_deg)))
}

/// The steer angles of both front wheels at one station: (asked-for wheel, other wheel), degrees.
pub(crate) type Pair = (f64, f64);

/// The side whose wheel is brought to the customary angle, when turning to `inside`.
pub(crate) fn asked_side(wheel: TurnWheel, inside: Side) -> Side {
    match wheel {
        TurnWheel::Inner => inside,
        TurnWheel::Outer => inside.other(),
    }
}

/// The steer angles of both wheels at every station that saw both, mirrored so that they grow into the turn. The ahead station is the first:
/// both angles are counted from it.
pub(crate) fn pairs(steer: &BySide<Vec<Option<f64>>>, asked: Side, inside: Side) -> Vec<Pair> {
    let into = inside.sign();
    let mut pairs = Vec::with_capacity(steer.left.len() + 1);
    pairs.push((0.0, 0.0));
    let swept = steer.get(asked).iter().zip(steer.get(asked.other())).filter_map(|(a, b)| a.zip(*b));
    pairs.extend(swept.map(|(a, b)| (a * into, b * into)));
    pairs
}

/// What the stations say of the other wheel when the asked-for one stands at an angle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Interpolated {
    /// The other wheel's angle, degrees.
    pub(crate) other_deg: f64,
    /// How far the two stations lie apart between which, or nearest to which, the angle lies, degrees.
    pub(crate) gap_deg: f64,
}

/// The other wheel's angle when the asked-for wheel stands at `at`: the cubic through the four distinct stations nearest to it (fewer, a
/// lower degree). None when `at` lies further than [`TURN_MARGIN_DEG`] beyond the stations.
pub(crate) fn interpolate(pairs: Vec<Pair>, at: f64) -> Option<Interpolated> {
    let distinct = merge_near(pairs);
    let (least, most) = (distinct.first()?.0, distinct.last()?.0);
    if distinct.len() < 2 || at < least - TURN_MARGIN_DEG || at > most + TURN_MARGIN_DEG {
        return None;
    }
    let between = distinct.windows(2).find(|pair| at <= pair[1].0).or(distinct.windows(2).next_back());
    let gap_deg = between.map_or(0.0, |pair| pair[1].0 - pair[0].0);
    let nearest = nearest(&distinct, at);
    let terms = nearest.iter().enumerate().map(|(i, node)| lagrange(nearest, i, at, node.1));
    Some(Interpolated { other_deg: terms.sum(), gap_deg })
}

/// The distinct stations, in rising order: those that stand alike are averaged.
pub(crate) fn distinct(pairs: Vec<Pair>) -> Vec<Pair> {
    merge_near(pairs).into_iter().map(|Node(asked, other, _)| (asked, other)).collect()
}

/// How the interpolated angle follows the angles of each pair: of the asked-for wheel, and of the other. Pairs that are averaged stay so.
///
/// Of the polynomial p through the points (xᵢ, yᵢ), with Lagrange's Lᵢ, ∂p/∂yᵢ = Lᵢ and ∂p/∂xᵢ = −Lᵢ·p′(xᵢ).
pub(crate) fn interpolation_follows(pairs: &[Pair], at: f64) -> Vec<Pair> {
    let distinct = merge_near(pairs.to_vec());
    let nearest = nearest(&distinct, at);
    // p′ there: L′ᵢ(xᵢ) is the sum of 1/(xᵢ − xⱼ), L′ⱼ(xᵢ) is Lⱼ without its factor of xᵢ.
    let slope = |i: usize| -> f64 {
        let here = &nearest[i];
        let others = || nearest.iter().enumerate().filter(move |&(j, _)| j != i);
        let own: f64 = others().map(|(_, other)| here.1 / (here.0 - other.0)).sum();
        let theirs = |(j, other): (usize, &Node)| {
            let rest = nearest.iter().enumerate().filter(|&(k, _)| k != i && k != j);
            rest.fold(other.1 / (other.0 - here.0), |product, (_, rest)| {
                product * (here.0 - rest.0) / (other.0 - rest.0)
            })
        };
        own + others().map(theirs).sum::<f64>()
    };
    let mut follows: Vec<Pair> = pairs.iter().map(|_| (0.0, 0.0)).collect();
    let mut order: Vec<usize> = (0..pairs.len()).collect();
    units::sort_by(&mut order, |&a, &b| rising(&pairs[a], &pairs[b]));
    for (i, node) in nearest.iter().enumerate() {
        let by_other = lagrange(nearest, i, at, node.share());
        for &index in &order[node.2.clone()] {
            follows[index] = (-by_other * slope(i), by_other);
        }
    }
    follows
}

/// A distinct station: the mean of a pair or of several, and which of all in rising order.
#[derive(Debug)]
struct Node(f64, f64, Range<usize>);

impl Node {
    /// The share of each pair in the mean.
    #[expect(clippy::cast_precision_loss, reason = "the number of stations is far below 2^52")]
    fn share(&self) -> f64 {
        1.0 / self.2.len() as f64
    }
}

/// The four nearest: in rising order they stand side by side.
fn nearest(distinct: &[Node], at: f64) -> &[Node] {
    let mut nearest = distinct;
    while let [first, .., last] = nearest
        && nearest.len() > 4
    {
        nearest = if at - first.0 > last.0 - at { &nearest[1..] } else { &nearest[..nearest.len() - 1] };
    }
    nearest
}

/// A value times Lagrange's Lᵢ, which is 1 at its own node and 0 at the others.
fn lagrange(nodes: &[Node], i: usize, at: f64, value: f64) -> f64 {
    let others = nodes.iter().enumerate().filter(|&(j, _)| j != i);
    others.fold(value, |product, (_, other)| product * (at - other.0) / (nodes[i].0 - other.0))
}

fn rising(a: &Pair, b: &Pair) -> Ordering {
    a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1))
}

/// The pairs in rising order, neighbours nearer than [`SAME_STATION_DEG`] averaged.
fn merge_near(mut sorted: Vec<Pair>) -> Vec<Node> {
    // A sweep is taken from one side to the other, and mostly stands in one order already.
    if sorted.get(1).zip(sorted.last()).is_some_and(|(first, last)| first.0 > last.0) {
        sorted.reverse();
    }
    units::sort_by(&mut sorted, rising);
    let mut merged: Vec<Node> = Vec::with_capacity(sorted.len());
    let mut first_deg = f64::NEG_INFINITY;
    for (index, pair) in sorted.iter().enumerate() {
        match merged.last_mut() {
            Some(Node(asked, other, of)) if pair.0 - first_deg < SAME_STATION_DEG => {
                (*asked, *other, of.end) = (*asked + pair.0, *other + pair.1, index + 1);
            }
            _ => {
                first_deg = pair.0;
                merged.push(Node(pair.0, pair.1, index..index + 1));
            }
        }
    }
    for node in &mut merged {
        let share = node.share();
        (node.0, node.1) = (node.0 * share, node.1 * share);
    }
    merged
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_cubic_is_met_exactly_and_far_angles_are_refused() {
        let law = |x: f64| 0.9 * x - 0.01 * x * x + 1e-4 * x * x * x;
        let pairs: Vec<Pair> = [-20.0, -12.0, -5.0, 0.0, 6.0, 13.0, 21.0].iter().map(|&x| (x, law(x))).collect();
        for at in [-20.5, -17.0, 0.0, 20.0, 21.9] {
            assert!((interpolate(pairs.clone(), at).unwrap().other_deg - law(at)).abs() < 1e-12);
        }
        assert_eq!(interpolate(pairs.clone(), 22.1), None);
        assert_eq!(interpolate(pairs[..1].to_vec(), -20.0), None);
        assert_eq!(interpolate(Vec::new(), 0.0), None);
    }

    #[test]
    fn both_percentages_agree_on_parallel_wheels_and_on_the_ideal() {
        for inner_deg in [1.0, 5.0, 20.0, 45.0, 90.0] {
            let outer_deg = ackermann_outer_deg(inner_deg, 1400.0, 2600.0).unwrap();
            for percent in [ackermann_percent_by_toe_out, ackermann_percent_by_cotangents] {
                assert!(percent(inner_deg, inner_deg, 1400.0, 2600.0).unwrap().abs() < 1e-12);
                if outer_deg >= 1.0 {
                    assert!((percent(inner_deg, outer_deg, 1400.0, 2600.0).unwrap() - 100.0).abs() < 1e-9);
                }
            }
        }
        // Toe-in on turns, as on some racing cars.
        assert!(ackermann_percent_by_toe_out(20.0, 21.0, 1400.0, 2600.0).unwrap() < 0.0);
        assert!(ackermann_percent_by_cotangents(20.0, 21.0, 1400.0, 2600.0).unwrap() < 0.0);
    }

    #[test]
    fn what_is_no_turn_is_refused_by_its_name() {
        let error = turning_radius_mm(2600.0, 0.0).unwrap_err();
        assert_eq!(
            (error.code, error.input, error.minimum),
            (ErrorCode::AngleOutOfRange, Some("steer_deg"), Some(0.1))
        );
        assert_eq!(turning_radius_mm(0.0, 20.0).unwrap_err().code, ErrorCode::LengthOutOfRange);
        let error = ackermann_percent_by_toe_out(20.0, f64::NAN, 1400.0, 2600.0).unwrap_err();
        assert_eq!((error.code, error.input), (ErrorCode::NotFinite, Some("outer_deg")));
        let error = ackermann_percent_by_cotangents(0.5, 20.0, 1400.0, 2600.0).unwrap_err();
        assert_eq!((error.code, error.input), (ErrorCode::AngleOutOfRange, Some("inner_deg")));
        let error = ackermann_percent_by_cotangents(20.0, 18.0, 0.0, 2600.0).unwrap_err();
        assert_eq!((error.code, error.input), (ErrorCode::LengthOutOfRange, Some("axis_distance_mm")));
    }

    /// Against moving each angle by a hair: nearest stations and repeated ones, in no order, as few as two.
    #[test]
    fn the_interpolated_angle_follows_the_angles_that_it_is_made_of() {
        const STEP: f64 = 1e-5;
        let x = [13.0, 0.0, -5.0, 6.0, 6.2, 21.0, -20.0, 13.1, 27.0, 6.1];
        let pairs: Vec<Pair> = x.iter().map(|&x| (x, 0.9 * x - 0.01 * x * x + libm::sin(x) / 20.0)).collect();
        for count in 2..=pairs.len() {
            let pairs = &pairs[..count];
            for at in [-0.5, 5.0, 13.0] {
                let moved = |index: usize, by: Pair| {
                    let mut moved = pairs.to_vec();
                    moved[index] = (moved[index].0 + by.0, moved[index].1 + by.1);
                    interpolate(moved, at).unwrap().other_deg
                };
                for (index, follows) in interpolation_follows(pairs, at).into_iter().enumerate() {
                    let half = 0.5 / STEP;
                    let by_asked = (moved(index, (STEP, 0.0)) - moved(index, (-STEP, 0.0))) * half;
                    let by_other = (moved(index, (0.0, STEP)) - moved(index, (0.0, -STEP))) * half;
                    assert!((follows.0 - by_asked).abs() < 1e-8, "{count} {at} {index}: {follows:?} {by_asked}");
                    assert!((follows.1 - by_other).abs() < 1e-8, "{count} {at} {index}: {follows:?} {by_other}");
                }
            }
        }
    }

    #[test]
    fn repeated_stations_count_once() {
        let pairs = [(0.0, 0.0), (10.0, 9.5), (10.0, 9.5), (20.0, 18.0), (20.0, 18.0)];
        let once = [(0.0, 0.0), (10.0, 9.5), (20.0, 18.0)];
        assert_eq!(interpolate(pairs.to_vec(), 15.0), interpolate(once.to_vec(), 15.0));
    }

    #[test]
    fn the_gap_is_between_the_stations_about_the_angle_or_next_to_it() {
        let pairs: Vec<Pair> = [-20.0, -12.0, -5.0, 0.0].iter().map(|&x| (x, 0.9 * x)).collect();
        for (at, gap_deg) in [(-20.5, 8.0), (-12.0, 8.0), (-11.9, 7.0), (-1.0, 5.0), (0.5, 5.0)] {
            assert!((interpolate(pairs.clone(), at).unwrap().gap_deg - gap_deg).abs() < 1e-12, "{at}");
        }
        // Two stations give a straight line.
        assert!((interpolate(pairs[..2].to_vec(), -16.0).unwrap().other_deg + 14.4).abs() < 1e-12);
    }

    #[test]
    fn the_margin_belongs_to_what_is_reached() {
        let pairs: Vec<Pair> = [-20.0, -12.0, -5.0, 0.0].iter().map(|&x| (x, 0.9 * x)).collect();
        for (at, beyond) in
            [(-20.0 - TURN_MARGIN_DEG, f64::next_down as fn(f64) -> f64), (TURN_MARGIN_DEG, f64::next_up)]
        {
            assert!(interpolate(pairs.clone(), at).is_some(), "{at}");
            assert_eq!(interpolate(pairs.clone(), beyond(at)), None);
        }
    }

    /// A sweep of many stations: only the four nearest have a say.
    #[test]
    fn a_station_further_off_than_four_others_has_no_say() {
        let stations = [-20.0, -11.0, -4.0, 2.0, 7.0, 15.0, 24.0];
        for (at, near) in [(-19.0, 0..4), (-3.0, 1..5), (1.0, 1..5), (3.0, 2..6), (8.0, 2..6), (20.0, 3..7)] {
            for (far, _) in stations.iter().enumerate() {
                let pairs = stations.iter().enumerate().map(|(i, &asked)| (asked, if i == far { 1.0 } else { 0.0 }));
                let found = interpolate(pairs.collect(), at).unwrap().other_deg;
                assert_eq!(found.abs() > 0.0, near.contains(&far), "{at} {far}: {found}");
            }
        }
    }

    #[test]
    fn stations_are_one_below_half_a_degree() {
        let count = |apart_deg: f64| distinct([(-8.0, -7.0), (0.0, 0.0), (apart_deg, 0.4)].to_vec()).len();
        assert_eq!([0.0, SAME_STATION_DEG.next_down(), SAME_STATION_DEG].map(count), [2, 2, 3]);
    }
}
