//! Repeats: published studies to the digits printed, vectors made by another program to a relative 1e-10, what must not matter, and
//! whether the scatter that was put in comes out.

use crate::cases;
use alignment_core::ErrorCode;
use alignment_core::repeatability::{AnovaRow, Crossed, POOL_ABOVE_P, Share, crossed, one_way, repeatability};
use proptest::prelude::*;
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64;
use serde_json::Value;

/// Within half a unit of the last of so many printed decimals.
#[track_caller]
fn assert_printed(found: f64, printed: f64, decimals: i32) {
    assert!((found - printed).abs() <= 0.5 * 10.0_f64.powi(-decimals) * (1.0 + 1e-9), "{found} is not {printed}");
}

#[track_caller]
fn assert_relative(found: f64, expected: f64, tolerance: f64) {
    assert!((found - expected).abs() <= tolerance * expected.abs(), "{found} is not {expected}");
}

/// JCGM 100:2008, table 1 and 4.4.3: twenty temperatures. Values from memory.
#[test]
fn the_temperatures_of_the_gum() {
    let values = [
        96.90, 98.18, 98.25, 98.61, 99.03, 99.49, 99.56, 99.74, 99.89, 100.07, 100.33, 100.42, 100.68, 100.95, 101.11,
        101.20, 101.57, 101.84, 102.36, 102.72,
    ];
    let found = repeatability(&values).unwrap();
    assert_printed(found.mean, 100.145, 3);
    assert_printed(found.standard_deviation, 1.489, 3);
    assert_printed(found.standard_deviation_of_mean, 0.333, 3);
    // Table G.2: t for 19 degrees of freedom at 95 %.
    assert_printed(found.coverage_factor, 2.09, 2);
}

/// NIST, Statistical Reference Datasets, SiRstv: one wafer's resistivity, five repeats with each of five instruments. Certified values, from
/// memory.
#[test]
fn five_instruments_on_one_wafer() {
    let found = one_way(&[
        [196.3052, 196.1240, 196.1890, 196.2569, 196.3403],
        [196.3042, 196.3825, 196.1669, 196.3257, 196.0422],
        [196.1303, 196.2005, 196.2889, 196.0343, 196.1811],
        [196.2795, 196.1748, 196.1494, 196.1485, 195.9885],
        [196.2119, 196.1051, 196.1850, 196.0052, 196.2090],
    ])
    .unwrap();
    assert_eq!((found.between.degrees_of_freedom, found.within.degrees_of_freedom), (4.0, 20.0));
    assert_relative(found.between.sum_of_squares, 5.114_626_16e-2, 1e-10);
    assert_relative(found.within.sum_of_squares, 2.166_365_6e-1, 1e-10);
    assert_relative(found.between.f.unwrap(), 1.180_462_374_402_55, 1e-10);
    assert_relative(found.repeatability_sd, 1.040_760_683_346_56e-1, 1e-10);
}

/// NIST, Statistical Reference Datasets, AtmWtAg: two instruments whose readings differ from the sixth decimal on. Certified values, from
/// memory.
#[test]
fn nine_digits_that_are_all_alike_cost_none() {
    let digits = [
        [
            1568, 1465, 1572, 1785, 1446, 1903, 1526, 1494, 1616, 1587, 1519, 1486, 1419, 1569, 1508, 1672, 1385, 1518,
            1662, 1424, 1360, 1333, 1610, 1477,
        ],
        [
            1079, 1344, 1513, 1197, 1604, 1385, 1642, 1365, 1151, 1082, 1517, 1448, 1198, 1482, 1334, 1609, 1101, 1512,
            1469, 1360, 1254, 1261, 1450, 1368,
        ],
    ];
    let values = digits.map(|digits| digits.map(|digits| (f64::from(digits) + 1_078_680_000.0) / 1e7));
    let found = one_way(&values).unwrap();
    // A value of this size is rounded to 1e-14, a 1e-9 of what the instruments differ by; the mean of 24 to less.
    assert_relative(found.between.sum_of_squares, 3.638_341_875e-9, 1e-9);
    assert_relative(found.within.sum_of_squares, 1.049_517_291_666_67e-8, 1e-9);
    assert_relative(found.between.f.unwrap(), 15.946_733_567_793_0, 1e-9);
}

/// NIST/SEMATECH e-Handbook of Statistical Methods, 7.4.3.3. Values from memory.
#[test]
fn three_levels_of_the_handbook() {
    let found = one_way(&[[6.9, 5.4, 5.8, 4.6, 4.0], [8.3, 6.8, 7.8, 9.2, 6.5], [8.0, 10.5, 8.1, 6.9, 9.3]]).unwrap();
    assert_printed(found.between.sum_of_squares, 27.897, 3);
    assert_printed(found.within.sum_of_squares, 17.452, 3);
    assert_printed(found.between.f.unwrap(), 9.59, 2);
}

/// ISO 5725-2:1994, B.1: sulfur in coal, level 1, eight laboratories with three to five results each. Values from memory.
#[test]
fn sulfur_in_coal() {
    let laboratories: [&[f64]; 8] = [
        &[0.71, 0.71, 0.70, 0.71],
        &[0.69, 0.67, 0.68],
        &[0.66, 0.65, 0.69],
        &[0.67, 0.65, 0.66],
        &[0.70, 0.69, 0.66, 0.71, 0.69],
        &[0.73, 0.74, 0.73],
        &[0.71, 0.71, 0.69],
        &[0.70, 0.65, 0.68],
    ];
    let found = one_way(&laboratories).unwrap();
    assert_printed(found.mean, 0.690, 3);
    assert_printed(found.repeatability_sd, 0.015, 3);
    assert_printed(found.reproducibility_sd, 0.026, 3);
}

/// Montgomery, Introduction to Statistical Quality Control, thermal impedance: ten parts, three inspectors, three repeats, and an interaction.
/// Values from memory.
#[test]
fn thermal_impedance() {
    let values: [[[f64; 3]; 3]; 10] = [
        [[37.0, 38.0, 37.0], [41.0, 41.0, 40.0], [41.0, 42.0, 41.0]],
        [[42.0, 41.0, 43.0], [42.0, 42.0, 42.0], [43.0, 42.0, 43.0]],
        [[30.0, 31.0, 31.0], [31.0, 31.0, 31.0], [29.0, 30.0, 28.0]],
        [[42.0, 43.0, 42.0], [43.0, 43.0, 43.0], [42.0, 42.0, 42.0]],
        [[28.0, 30.0, 29.0], [29.0, 30.0, 29.0], [31.0, 29.0, 29.0]],
        [[42.0, 42.0, 43.0], [45.0, 45.0, 45.0], [44.0, 46.0, 45.0]],
        [[25.0, 26.0, 27.0], [28.0, 28.0, 30.0], [29.0, 27.0, 27.0]],
        [[40.0, 40.0, 40.0], [43.0, 42.0, 42.0], [43.0, 43.0, 41.0]],
        [[25.0, 25.0, 25.0], [27.0, 29.0, 28.0], [26.0, 26.0, 26.0]],
        [[35.0, 34.0, 34.0], [35.0, 35.0, 34.0], [35.0, 34.0, 35.0]],
    ];
    let found = crossed(&values, POOL_ABOVE_P, None).unwrap();
    for (row, degrees, square_sum, mean_square, f) in [
        (found.cars, 9.0, 3935.96, 437.33, Some(162.27)),
        (found.operators, 2.0, 39.27, 19.63, Some(7.28)),
        (found.interaction, 18.0, 48.51, 2.70, Some(5.27)),
        (found.repeats, 60.0, 30.67, 0.51, None),
    ] {
        assert_eq!(row.degrees_of_freedom, degrees);
        assert_printed(row.sum_of_squares, square_sum, 2);
        assert_printed(row.mean_square, mean_square, 2);
        assert_eq!(row.f.is_some(), f.is_some());
        assert_printed(row.f.unwrap_or(0.0), f.unwrap_or(0.0), 2);
    }
    assert_printed(found.operators.p.unwrap(), 0.0048, 4);
    assert_eq!(found.pooled, None);
    assert_printed(found.repeatability.variance, 0.51, 2);
    assert_printed(found.operator_by_car.variance, 0.73, 2);
    assert_printed(found.operator.variance, 0.56, 2);
    assert_printed(found.car.variance, 48.29, 2);
}

/// Measurement Systems Analysis, 4th edition 2010, chapter III, analysis of variance: ten parts, three appraisers, three trials; the
/// interaction is pooled. Values from memory.
#[test]
fn ten_parts_and_three_appraisers() {
    // By appraiser, part and trial.
    let printed: [[[f64; 3]; 10]; 3] = [
        [
            [0.29, 0.41, 0.64],
            [-0.56, -0.68, -0.58],
            [1.34, 1.17, 1.27],
            [0.47, 0.50, 0.64],
            [-0.80, -0.92, -0.84],
            [0.02, -0.11, -0.21],
            [0.59, 0.75, 0.66],
            [-0.31, -0.20, -0.17],
            [2.26, 1.99, 2.01],
            [-1.36, -1.25, -1.31],
        ],
        [
            [0.08, 0.25, 0.07],
            [-0.47, -1.22, -0.68],
            [1.19, 0.94, 1.34],
            [0.01, 1.03, 0.20],
            [-0.56, -1.20, -1.28],
            [-0.20, 0.22, 0.06],
            [0.47, 0.55, 0.83],
            [-0.63, 0.08, -0.34],
            [1.80, 2.12, 2.19],
            [-1.68, -1.62, -1.50],
        ],
        [
            [0.04, -0.11, -0.15],
            [-1.38, -1.13, -0.96],
            [0.88, 1.09, 0.67],
            [0.14, 0.20, 0.11],
            [-1.46, -1.07, -1.45],
            [-0.29, -0.67, -0.49],
            [0.02, 0.01, 0.21],
            [-0.46, -0.56, -0.49],
            [1.77, 1.45, 1.87],
            [-1.49, -1.77, -2.16],
        ],
    ];
    let values: [[[f64; 3]; 3]; 10] = std::array::from_fn(|car| printed.map(|appraiser| appraiser[car]));
    let found = crossed(&values, POOL_ABOVE_P, None).unwrap();
    assert_printed(found.cars.sum_of_squares, 88.3619, 4);
    assert_printed(found.operators.sum_of_squares, 3.1673, 4);
    assert_printed(found.interaction.sum_of_squares, 0.3590, 4);
    assert_printed(found.interaction.f.unwrap(), 0.434, 3);
    assert_printed(found.repeats.sum_of_squares, 2.7589, 4);
    let pooled = found.pooled.unwrap();
    assert_eq!(pooled.degrees_of_freedom, 78.0);
    for (share, deviation, percent) in [
        (found.repeatability, 0.199_933, 18.4),
        (found.between_operators, 0.226_838, 20.9),
        (found.car, 1.042_327, 96.0),
    ] {
        assert_printed(share.standard_deviation, deviation, 6);
        assert_printed(share.percent_of_total.unwrap(), percent, 1);
    }
    // The print's last digit, 0.302373, does not follow from its own two parts above, which give 0.302372.
    assert_printed(found.gauge.standard_deviation, 0.302_37, 5);
    assert_printed(found.gauge.percent_of_total.unwrap(), 27.9, 1);
    for (share, percent) in
        [(found.repeatability, 3.4), (found.between_operators, 4.4), (found.gauge, 7.8), (found.car, 92.2)]
    {
        assert_printed(share.percent_contribution.unwrap(), percent, 1);
    }
    assert_printed(found.distinct_categories.unwrap(), 4.861, 3);
    // Without pooling, the same lines against the interaction.
    let whole = crossed(&values, 1.0, None).unwrap();
    assert!(whole.pooled.is_none() && whole.operator_by_car.negative);
    assert_printed(whole.operators.f.unwrap(), 79.41, 2);
    assert_printed(whole.cars.f.unwrap(), 492.29, 2);
}

fn vectors(table: &str) -> Vec<Value> {
    let text = std::fs::read_to_string(crate::project_file("tests/vectors/repeatability.json")).unwrap();
    let tables: Value = serde_json::from_str(&text).unwrap();
    let cases = tables[table].as_array().unwrap().clone();
    assert!(cases.len() >= 100);
    cases
}

fn number(case: &Value, key: &str) -> f64 {
    case[key].as_f64().unwrap_or_else(|| panic!("{case} has no {key}"))
}

#[track_caller]
fn assert_row(found: &AnovaRow, expected: &Value, of_all: f64) {
    assert_eq!(found.degrees_of_freedom, number(expected, "degrees_of_freedom"));
    // A line is what is left of all squares: it carries their rounding.
    let square_sum = number(expected, "sum_of_squares");
    assert!((found.sum_of_squares - square_sum).abs() <= TOLERANCE * of_all, "{found:?} is not {expected}");
    assert_eq!(found.f.is_some(), expected["f"].is_number());
    if let (Some(f), Some(p)) = (found.f, found.p) {
        assert_relative(f, number(expected, "f"), TOLERANCE);
        assert_relative(p, number(expected, "p"), TOLERANCE);
    }
}

/// The vectors are held to this, relative.
const TOLERANCE: f64 = 1e-10;

#[test]
fn repeats_as_another_program_has_them() {
    for case in vectors("repeats") {
        let values: Vec<f64> = serde_json::from_value(case["values"].clone()).unwrap();
        let found = repeatability(&values).unwrap();
        assert_relative(found.mean, number(&case, "mean"), TOLERANCE);
        assert_relative(found.standard_deviation, number(&case, "standard_deviation"), TOLERANCE);
        assert_relative(found.coverage_factor, number(&case, "coverage_factor"), TOLERANCE);
        assert_relative(found.expanded_of_mean, number(&case, "expanded_of_mean"), TOLERANCE);
        let expanded = number(&case, "coverage_factor") * number(&case, "standard_deviation");
        assert_relative(found.expanded, expanded, TOLERANCE);
    }
}

#[test]
fn groups_as_another_program_has_them() {
    for case in vectors("one_way") {
        let groups: Vec<Vec<f64>> = serde_json::from_value(case["groups"].clone()).unwrap();
        let found = one_way(&groups).unwrap();
        assert_relative(found.mean, number(&case, "mean"), TOLERANCE);
        let of_all = found.between.sum_of_squares + found.within.sum_of_squares;
        assert_row(&found.between, &case["between"], of_all);
        assert_row(&found.within, &case["within"], of_all);
        let (between, within) = (number(&case, "between_variance"), number(&case, "within_variance"));
        assert_relative(found.repeatability_sd.powi(2), within, TOLERANCE);
        assert!((found.between_sd.powi(2) - between.max(0.0)).abs() <= TOLERANCE * (within + between.abs()), "{case}");
        assert_eq!(found.between_negative, between < 0.0);
        assert_relative(found.reproducibility_sd.powi(2), within + between.max(0.0), TOLERANCE);
        if let Some(freedom) = case["freedom"].as_f64() {
            assert_relative(found.reproducibility_degrees_of_freedom.unwrap(), freedom, TOLERANCE);
        }
    }
}

#[test]
fn crossed_studies_as_another_program_has_them() {
    for case in vectors("crossed") {
        let values: Vec<Vec<Vec<f64>>> = serde_json::from_value(case["values"].clone()).unwrap();
        let found = crossed(&values, number(&case, "pool_above_p"), None).unwrap();
        assert_relative(found.mean, number(&case, "mean"), TOLERANCE);
        let lines = [
            ("cars", found.cars),
            ("operators", found.operators),
            ("interaction", found.interaction),
            ("repeats", found.repeats),
        ];
        let of_all = lines.iter().map(|(_, line)| line.sum_of_squares).sum();
        for (name, line) in lines {
            assert_row(&line, &case[name], of_all);
        }
        assert_eq!(found.pooled.is_some(), case["pooled"].is_object());
        if let Some(pooled) = found.pooled {
            assert_row(&pooled, &case["pooled"], of_all);
        }
        let variances = &case["variances"];
        for (name, share) in [
            ("car", found.car),
            ("operator", found.operator),
            ("operator_by_car", found.operator_by_car),
            ("repeatability", found.repeatability),
        ] {
            // Pooled, the interaction has none.
            let variance = variances[name].as_f64().unwrap_or(0.0);
            let away = (share.variance - variance.max(0.0)).abs();
            assert!(away <= TOLERANCE * found.total.variance, "{name}: {share:?} is not {variance}");
            assert_eq!(share.negative, variance < 0.0, "{name}");
        }
        if let Some(freedom) = case["freedom"].as_f64() {
            assert_relative(found.gauge_degrees_of_freedom.unwrap(), freedom, TOLERANCE);
        }
    }
}

/// The variances, which every other figure follows from, and the p-values: what must be the same.
fn figures(found: &Crossed) -> Vec<f64> {
    let shares = [found.repeatability, found.operator, found.operator_by_car, found.gauge, found.car, found.total];
    let p = [found.cars.p, found.operators.p, found.interaction.p].map(Option::unwrap);
    shares.map(|share: Share| share.variance / found.total.variance).into_iter().chain(p).collect()
}

#[track_caller]
fn assert_alike(found: &[f64], expected: &[f64], tolerance: f64) {
    assert_eq!(found.len(), expected.len());
    for (a, b) in found.iter().zip(expected) {
        assert!((a - b).abs() <= tolerance, "{found:?} is not {expected:?}");
    }
}

type Study = Vec<Vec<Vec<f64>>>;

fn study() -> impl Strategy<Value = Study> {
    (2..5_usize, 2..4_usize, 2..4_usize).prop_flat_map(|(cars, operators, repeats)| {
        let repeats = proptest::collection::vec(-10.0..10.0_f64, repeats);
        proptest::collection::vec(proptest::collection::vec(repeats, operators), cars)
    })
}

fn changed(study: &Study, change: impl Fn(f64) -> f64 + Copy) -> Study {
    study.iter().map(|car| car.iter().map(|repeats| repeats.iter().map(|&v| change(v)).collect()).collect()).collect()
}

proptest! {
    #![proptest_config(cases(200))]

    #[test]
    fn the_order_of_cars_operators_and_repeats_does_not_matter(study in study()) {
        let mut turned = study.clone();
        turned.reverse();
        for car in &mut turned {
            car.rotate_left(1);
            car.iter_mut().for_each(|repeats| repeats.reverse());
        }
        for pool_above_p in [1.0, POOL_ABOVE_P, 0.0] {
            let [a, b] = [&study, &turned].map(|study| figures(&crossed(study, pool_above_p, None).unwrap()));
            assert_alike(&a, &b, 1e-9);
        }
    }

    #[test]
    fn a_crossed_study_in_another_unit_or_from_another_zero_is_the_same(
        study in study(), factor in prop_oneof![0.001..1000.0_f64, -1000.0..-0.001_f64], zero in -1000.0..1000.0_f64,
    ) {
        let found = crossed(&study, POOL_ABOVE_P, Some(2.0)).unwrap();
        let scaled = crossed(&changed(&study, |v| factor * v), POOL_ABOVE_P, Some(2.0 * factor.abs())).unwrap();
        let moved = crossed(&changed(&study, |v| v + zero), POOL_ABOVE_P, Some(2.0)).unwrap();
        for other in [scaled, moved] {
            assert_alike(&figures(&other), &figures(&found), 1e-9);
            let [a, b] = [found, other].map(|found| found.gauge.percent_of_tolerance.unwrap());
            prop_assert!((a - b).abs() <= 1e-9 * a.max(1.0), "{} {}", a, b);
        }
        let deviations = [found, scaled].map(|found| found.total.standard_deviation);
        prop_assert!((deviations[0] * factor.abs() - deviations[1]).abs() <= 1e-9 * deviations[1]);
        prop_assert!((found.mean + zero - moved.mean).abs() < 1e-9);
    }

    #[test]
    fn groups_in_another_order_unit_and_from_another_zero_are_the_same(
        mut groups in proptest::collection::vec(proptest::collection::vec(-10.0..10.0_f64, 2..6), 2..6),
        factor in 0.001..1000.0_f64, zero in -1000.0..1000.0_f64,
    ) {
        let found = one_way(&groups).unwrap();
        groups.rotate_left(1);
        for group in &mut groups {
            group.reverse();
            group.iter_mut().for_each(|v| *v = factor * (*v + zero));
        }
        let other = one_way(&groups).unwrap();
        prop_assert!((other.mean - factor * (found.mean + zero)).abs() < 1e-9 * factor);
        let figures = |found: &alignment_core::repeatability::OneWay, factor: f64| {
            let deviations = [found.repeatability_sd, found.between_sd.powi(2), found.reproducibility_sd];
            let rest = [found.between.p.unwrap(), found.reproducibility_degrees_of_freedom.unwrap(), found.repeats_per_group];
            let scale = [factor, factor * factor, factor];
            deviations.into_iter().zip(scale).map(|(v, scale)| v / scale).chain(rest).collect::<Vec<_>>()
        };
        assert_alike(&figures(&other, factor), &figures(&found, 1.0), 1e-8);
    }

    /// What is shared out adds up.
    #[test]
    fn the_shares_add_up(study in study(), pool_above_p in 0.0..=1.0) {
        let found = crossed(&study, pool_above_p, None).unwrap();
        let sum = found.repeatability.variance + found.operator.variance + found.operator_by_car.variance;
        prop_assert!((sum - found.gauge.variance).abs() <= 1e-12 * sum);
        let percent = found.gauge.percent_contribution.unwrap() + found.car.percent_contribution.unwrap();
        prop_assert!((percent - 100.0).abs() < 1e-9);
        let together = found.operator.variance + found.operator_by_car.variance;
        prop_assert!((together - found.between_operators.variance).abs() <= 1e-12 * sum);
    }
}

/// Drawn from a normal distribution by a seed.
fn normal(rng: &mut Pcg64) -> f64 {
    // Box's and Muller's way; 1 − u is never 0.
    let [u, v]: [f64; 2] = [rng.random(), rng.random()];
    (-2.0 * (1.0 - u).ln()).sqrt() * (std::f64::consts::TAU * v).cos()
}

/// Four standard errors of the mean, from the scatter of the studies themselves.
fn assert_mean(found: &[f64], expected: f64) {
    let over_studies = repeatability(found).unwrap();
    let away = (over_studies.mean - expected).abs() / over_studies.standard_deviation_of_mean;
    println!("{} for {expected}, {away:.2} standard errors away", over_studies.mean);
    assert!(away < 4.0, "{} is not {expected}", over_studies.mean);
}

#[test]
fn the_variances_that_were_put_in_come_out() {
    let mut rng = Pcg64::seed_from_u64(1);
    // Cars 3, operators 1, interaction 0.7, repeats 0.5.
    let mut of = [const { Vec::new() }; 4];
    for _ in 0..4000 {
        let operator: [f64; 4] = std::array::from_fn(|_| normal(&mut rng));
        let values: [[[f64; 3]; 4]; 6] = std::array::from_fn(|_| {
            let car = 3.0 * normal(&mut rng);
            operator.map(|operator| {
                let cell = car + operator + 0.7 * normal(&mut rng);
                std::array::from_fn(|_| cell + 0.5 * normal(&mut rng))
            })
        });
        // Never pooled, and from the mean squares: what is kept from below zero is no more without bias.
        let found = crossed(&values, 1.0, None).unwrap();
        let [cars, operators, interaction, repeats] =
            [found.cars, found.operators, found.interaction, found.repeats].map(|row| row.mean_square);
        of[0].push((cars - interaction) / 12.0);
        of[1].push((operators - interaction) / 18.0);
        of[2].push((interaction - repeats) / 3.0);
        of[3].push(repeats);
        assert_relative(found.repeatability.variance, repeats, 1e-12);
        assert!((found.operator.variance - of[1].last().unwrap().max(0.0)).abs() < 1e-12);
    }
    for (found, expected) in of.iter().zip([9.0, 1.0, 0.49, 0.25]) {
        assert_mean(found, expected);
    }
}

#[test]
fn groups_of_unequal_size_give_back_what_was_put_in() {
    let mut rng = Pcg64::seed_from_u64(2);
    let (mut between, mut within, mut covered, mut by_chance) = (Vec::new(), Vec::new(), 0, 0);
    for _ in 0..4000 {
        let mut draw = |spread: f64| -> Vec<Vec<f64>> {
            let sizes = [2, 5, 3, 1, 4, 3];
            sizes
                .iter()
                .map(|&size| {
                    let centre = spread * normal(&mut rng);
                    (0..size).map(|_| centre + normal(&mut rng)).collect()
                })
                .collect()
        };
        let found = one_way(&draw(2.0)).unwrap();
        between.push((found.between.mean_square - found.within.mean_square) / found.repeats_per_group);
        within.push(found.within.mean_square);
        let groups = draw(0.0);
        // Where groups make no difference, p is below 5 % in 5 % of cases, and the 95 % cover as many.
        by_chance += i32::from(one_way(&groups).unwrap().between.p.unwrap() < 0.05);
        let found = repeatability(&groups.concat()).unwrap();
        covered += i32::from(found.mean.abs() <= found.expanded_of_mean);
    }
    assert_mean(&between, 4.0);
    assert_mean(&within, 1.0);
    // Four standard deviations of a count of 4000 at 5 %.
    println!("{by_chance} by chance, {covered} covered, of 4000");
    assert!((by_chance - 200).abs() < 56 && (covered - 3800).abs() < 56, "{by_chance} {covered}");
}

/// Common practice, no source: what has no scatter has no ratio to it.
#[test]
fn readings_that_are_all_the_same() {
    let found = repeatability(&[0.1; 7]).unwrap();
    assert_eq!((found.mean, found.standard_deviation, found.expanded), (0.1, 0.0, 0.0));
    let found = one_way(&[[0.1; 3]; 4]).unwrap();
    assert_eq!(
        (found.mean, found.reproducibility_sd, found.between.f, found.between_negative),
        (0.1, 0.0, None, false)
    );
    assert_eq!(found.reproducibility_degrees_of_freedom, None);
    let found = crossed(&[[[0.1; 3]; 3]; 3], POOL_ABOVE_P, Some(1.0)).unwrap();
    assert_eq!((found.total.variance, found.total.percent_contribution, found.distinct_categories), (0.0, None, None));
    assert_eq!(found.gauge.percent_of_tolerance, Some(0.0));
}

#[test]
fn a_study_that_is_none_is_refused_with_its_place() {
    let range = |error: alignment_core::Error| (error.code, error.input.unwrap(), error.value, error.minimum);
    let out = ErrorCode::OutOfRange;
    assert_eq!(range(repeatability(&[1.0]).unwrap_err()), (out, "number of values", Some(1.0), Some(2.0)));
    let error = repeatability(&[1.0, f64::NAN]).unwrap_err();
    assert_eq!((error.code, error.input), (ErrorCode::NotFinite, Some("values")));
    assert_eq!(range(repeatability(&[1.0, 2e9]).unwrap_err()), (out, "values", Some(2e9), Some(-1e9)));

    let none: [[f64; 2]; 0] = [];
    assert_eq!(range(one_way(&none).unwrap_err()), (out, "number of groups", Some(0.0), Some(2.0)));
    let error = one_way(&[vec![1.0, 2.0], vec![]]).unwrap_err();
    assert_eq!(range(error), (out, "number of values in a group", Some(0.0), Some(1.0)));
    let error = one_way(&[[1.0], [2.0]]).unwrap_err();
    assert_eq!(range(error), (out, "number of values in the largest group", Some(1.0), Some(2.0)));
    assert_eq!(one_way(&[[1.0, 2.0], [1.0, f64::INFINITY]]).unwrap_err().code, ErrorCode::NotFinite);

    let sound = vec![vec![vec![1.0, 2.0]; 2]; 3];
    let refused = |spoil: &dyn Fn(&mut Study)| {
        let mut study = sound.clone();
        spoil(&mut study);
        range(crossed(&study, POOL_ABOVE_P, None).unwrap_err())
    };
    assert_eq!(refused(&|s| s.truncate(1)), (out, "number of cars", Some(1.0), Some(2.0)));
    assert_eq!(refused(&|s| s[0].truncate(0)), (out, "number of operators", Some(0.0), Some(2.0)));
    assert_eq!(refused(&|s| s[2].truncate(1)), (out, "number of operators", Some(1.0), Some(2.0)));
    assert_eq!(refused(&|s| s[0][0].truncate(1)), (out, "number of repeats", Some(1.0), Some(2.0)));
    assert_eq!(refused(&|s| s[1][1].push(3.0)), (out, "number of repeats", Some(3.0), Some(2.0)));
    assert_eq!(refused(&|s| s[2][1][1] = f64::NAN), (ErrorCode::NotFinite, "values", None, None));
    assert_eq!(range(crossed(&sound, 1.5, None).unwrap_err()), (out, "pool_above_p", Some(1.5), Some(0.0)));
    assert_eq!(range(crossed(&sound, 0.25, Some(0.0)).unwrap_err()), (out, "tolerance", Some(0.0), Some(1e-9)));
    assert!(crossed(&sound, f64::NAN, None).is_err() && crossed(&sound, 0.25, Some(f64::NAN)).is_err());
}

#[test]
fn a_study_is_written_as_json() {
    let found = crossed(&[[[1.0, 2.0], [1.5, 2.5]], [[3.0, 3.5], [4.0, 4.5]]], POOL_ABOVE_P, None).unwrap();
    let written = serde_json::to_value(found).unwrap();
    assert_eq!(written["gauge"]["variance"].as_f64(), Some(found.gauge.variance));
    assert!(written["gauge"]["percent_of_tolerance"].is_null());
}
