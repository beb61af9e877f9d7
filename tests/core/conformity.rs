//! Verdicts against JCGM 106:2012 and ISO 14253-1:2017, and against what SciPy gives: tests/references/make_conformity.py.

use crate::paths::by_path;
use alignment_core::conformity::{
    Decision, Limits, Production, Reason, Rule, Specification, Tolerance, Uncertain, Unit, Verdict, global_risks,
    judge, judge_all,
};
use alignment_core::json::{specification_from_json, specification_to_json, verdicts_to_json};
use alignment_core::paths::{COUNT, READINGS};
use alignment_core::simulate::VirtualVehicle;
use alignment_core::{Alignment, ErrorCode, measure, wheel};
use serde_json::{Value, json};

fn known(standard_uncertainty: f64) -> Option<Uncertain> {
    Some(Uncertain { standard_uncertainty, degrees_of_freedom: None })
}

fn limits(min: Option<f64>, max: Option<f64>) -> Limits {
    Limits { min, max }
}

fn guarded(probability: f64) -> Decision {
    Decision { rule: Rule::Guarded, probability }
}

const SIMPLE: Decision = Decision { rule: Rule::SimpleAcceptance, probability: 0.95 };

fn verdict(value: f64, uncertainty: f64, limits: Limits, decision: Decision) -> Verdict {
    judge(value, known(uncertainty), limits, decision).unwrap().verdict
}

#[track_caller]
fn assert_close(found: f64, expected: f64, tolerance: f64) {
    assert!((found - expected).abs() <= tolerance, "{found} is not {expected}");
}

/// JCGM 106:2012, the examples of clause 7: probabilities to two digits. Values from memory; each gives the published probability.
#[test]
fn probabilities_of_conformity_of_the_guide() {
    for (value, uncertainty, limits, expected) in [
        // The breakdown voltage of a Zener diode, V.
        (-5.47, 0.05, limits(None, Some(-5.40)), 0.92),
        // The burst pressure of a vessel, kPa.
        (509.7, 8.6, limits(Some(490.0), None), 0.99),
        // The kinematic viscosity of an oil, mm²/s.
        (13.6, 1.8, limits(Some(12.5), Some(16.3)), 0.66),
    ] {
        let found = judge(value, known(uncertainty), limits, Decision::default()).unwrap();
        assert_close(found.probability_of_conformity.unwrap(), expected, 0.005);
    }
}

/// A lower limit is an upper one with the sign changed, far in the tails too, and on the limit itself.
#[test]
fn both_limits_are_judged_alike() {
    for far in [0.0, 0.01, 1.0, 8.0, 30.0] {
        for width in [0.0, 0.02, 3.0] {
            for freedom in [None, Some(4.0)] {
                for (outward, sign) in [(far, 1.0), (-far, 1.0), (far, -1.0), (-far, -1.0)] {
                    let uncertain = Some(Uncertain { standard_uncertainty: 0.1, degrees_of_freedom: freedom });
                    let value = 1.0 + 0.1 * outward;
                    let judged = |value, limits| judge(value, uncertain, limits, guarded(0.9)).unwrap();
                    let above = judged(
                        sign * value,
                        if sign > 0.0 {
                            limits(Some(1.0 - width), Some(1.0))
                        } else {
                            limits(Some(-1.0), Some(width - 1.0))
                        },
                    );
                    let below = judged(
                        -sign * value,
                        if sign > 0.0 {
                            limits(Some(-1.0), Some(width - 1.0))
                        } else {
                            limits(Some(1.0 - width), Some(1.0))
                        },
                    );
                    assert_eq!(above.probability_of_conformity, below.probability_of_conformity, "{far} {width}");
                    assert_eq!(above.verdict, below.verdict, "{far} {width}");
                }
            }
        }
    }
}

/// JCGM 106:2012, clause 8, rejection guarded for the benefit of the doubt: a speed limit of 100 km/h, measured to 2 %, and 99.9 %: fined
/// from 107 km/h on. Values from memory.
#[test]
fn a_guarded_rejection_of_the_guide() {
    let limit = limits(None, Some(100.0));
    assert_eq!(verdict(107.0, 0.02 * 107.0, limit, guarded(0.999)), Verdict::DoesNotConform);
    assert_eq!(verdict(106.0, 0.02 * 106.0, limit, guarded(0.999)), Verdict::Undetermined);
}

/// JCGM 106:2012, clause 9: resistors of 1500 Ω ± 0.2 Ω from a production with a standard deviation of 0.12 Ω, measured to 0.04 Ω. The
/// published risks, 1 % and 7 %, and the 90 % that conform are from memory, and so is the acceptance interval, ± 0.18 Ω.
#[test]
fn global_risks_of_the_guide() {
    let resistors = Production { mean: 1500.0, standard_deviation: 0.12 };
    let tolerance = limits(Some(1499.8), Some(1500.2));
    let conform = judge(1500.0, known(0.12), tolerance, Decision::default()).unwrap();
    assert_close(conform.probability_of_conformity.unwrap(), 0.90, 0.005);
    let risks = global_risks(resistors, 0.04, tolerance, limits(Some(1499.82), Some(1500.18))).unwrap();
    assert_close(risks.consumer, 0.01, 0.005);
    assert_close(risks.producer, 0.07, 0.005);
}

/// ISO 14253-1:2017, its default rule: 95 %, hence a guard band of 1.645·u inside and outside a limit.
#[test]
fn the_default_rule_guards_by_1_645_u_on_both_sides() {
    let (max, u) = (2.0, 0.01);
    let at = |guard_bands: f64| verdict(max + 1.645 * u * guard_bands, u, limits(None, Some(max)), Decision::default());
    assert_eq!([-1.001, -0.999].map(at), [Verdict::Conforms, Verdict::Undetermined]);
    assert_eq!([0.999, 1.001].map(at), [Verdict::Undetermined, Verdict::DoesNotConform]);
    let judged = judge(2.0, known(u), limits(Some(1.0), Some(max)), Decision::default()).unwrap();
    assert_close(judged.guard_band.unwrap(), 1.645 * u, 1e-3 * u);
    assert_close(judged.acceptance.unwrap().max.unwrap(), max - 1.645 * u, 1e-3 * u);
    assert_close(judged.acceptance.unwrap().min.unwrap(), 1.0 + 1.645 * u, 1e-3 * u);
    // On the limit the risk of either verdict is one half.
    assert_close(judged.probability_of_conformity.unwrap(), 0.5, 1e-12);
    assert_eq!((judged.reason, judged.risk_of_wrong_verdict), (Some(Reason::NearLimit), None));
}

/// Guard bands as multiples r = g/U of the expanded uncertainty U = 2·u, as guides to decision rules list them: r = 0.83 for a specific risk
/// below 5 %, r = 1 below 2.5 %, r = 1.5 below 0.16 %. Values from memory; the first is 0.822, rounded up.
#[test]
fn guard_bands_of_common_use_have_their_risks() {
    for (r, below) in [(0.83, 0.05), (1.0, 0.025), (1.5, 0.0016)] {
        let (u, max) = (0.05, 1.0);
        let judged = judge(max - r * 2.0 * u, known(u), limits(None, Some(max)), SIMPLE).unwrap();
        let risk = judged.risk_of_wrong_verdict.unwrap();
        assert!(risk < below && risk > 0.8 * below, "r = {r}: {risk}");
    }
    let judged = judge(0.0, known(0.5), limits(None, Some(1.0)), Decision::default()).unwrap();
    assert_close(judged.guard_band.unwrap(), 0.822, 0.001);
}

/// With two limits and a great uncertainty z·u is too narrow: both tails count. Beyond, no value conforms, and only what lies beyond a limit
/// by z·u is rejected.
#[test]
fn a_narrow_tolerance_is_judged_by_the_exact_probability() {
    let tolerance = limits(Some(-1.0), Some(1.0));
    // P(|Y| < 1) = 95 % at u = 1/1.96, by the tables of the normal distribution; nothing but the middle conforms there.
    let judged = |u| judge(0.0, known(u), tolerance, Decision::default()).unwrap();
    let nearly = judged(1.0 / 1.961);
    assert_eq!(nearly.verdict, Verdict::Conforms);
    assert!(nearly.acceptance.unwrap().max.unwrap() < 0.03, "by z·u it would be 0.16");
    let hardly = judged(1.0 / 1.959);
    assert_eq!((hardly.verdict, hardly.acceptance), (Verdict::Undetermined, None));
    assert_eq!(hardly.reason, Some(Reason::TooUncertain));
    // An uncertainty that dwarfs the tolerance proves nothing, however small the probability of conformity.
    let hopeless = judged(100.0);
    assert!(hopeless.probability_of_conformity.unwrap() < 0.01);
    assert_eq!(hopeless.verdict, Verdict::Undetermined);
    assert_eq!(verdict(170.0, 100.0, tolerance, Decision::default()), Verdict::DoesNotConform);
}

/// What is accepted is what lies within the acceptance limits, and a verdict is no likelier to be wrong than the rule allows.
#[test]
fn verdicts_acceptance_limits_and_risks_agree() {
    for case in cases("probabilities") {
        let (number, u) = (|key: &str| case[key].as_f64(), case["standard_uncertainty"].as_f64().unwrap());
        let (tolerance, value) = (limits(number("min"), number("max")), number("value").unwrap());
        let uncertainty = Uncertain { standard_uncertainty: u, degrees_of_freedom: number("degrees_of_freedom") };
        let judged = judge(value, Some(uncertainty), tolerance, Decision::default()).unwrap();
        let accepted = judged.acceptance.is_some_and(|accepted| {
            accepted.min.is_none_or(|min| value >= min) && accepted.max.is_none_or(|max| value <= max)
        });
        assert_eq!(judged.verdict == Verdict::Conforms, accepted, "{case}");
        let guard_band = judged.guard_band.unwrap();
        let beyond = tolerance.min.is_some_and(|min| value < min - guard_band)
            || tolerance.max.is_some_and(|max| value > max + guard_band);
        assert_eq!(judged.verdict == Verdict::DoesNotConform, beyond, "{case}");
        assert!(judged.risk_of_wrong_verdict.is_none_or(|risk| risk <= 0.05), "{case}");
        assert_eq!(judged.reason.is_some(), judged.verdict == Verdict::Undetermined);
    }
}

/// Without an uncertainty, or by simple acceptance, the value decides; the limit itself conforms.
#[test]
fn simple_acceptance_goes_by_the_value() {
    let tolerance = limits(Some(-1.0), Some(1.0));
    for (value, expected) in [(1.0, Verdict::Conforms), (-1.0, Verdict::Conforms), (1.001, Verdict::DoesNotConform)] {
        let unknown = judge(value, None, tolerance, Decision::default()).unwrap();
        assert_eq!((unknown.verdict, unknown.rule), (expected, Rule::SimpleAcceptance));
        assert_eq!((unknown.probability_of_conformity, unknown.risk_of_wrong_verdict), (None, None));
        let simple = judge(value, known(0.1), tolerance, SIMPLE).unwrap();
        assert_eq!((simple.verdict, simple.acceptance, simple.guard_band), (expected, Some(tolerance), Some(0.0)));
        assert_close(simple.risk_of_wrong_verdict.unwrap(), 0.5, 0.005);
        // What is known exactly leaves no risk.
        let exact = judge(value, known(0.0), tolerance, Decision::default()).unwrap();
        assert_eq!((exact.verdict, exact.risk_of_wrong_verdict), (expected, Some(0.0)));
    }
}

fn cases(table: &str) -> Vec<Value> {
    let text = std::fs::read_to_string(crate::project_file("tests/vectors/conformity.json")).unwrap();
    let cases = serde_json::from_str::<Value>(&text).unwrap()[table].as_array().unwrap().clone();
    assert!(!cases.is_empty());
    cases
}

fn number(case: &Value, key: &str) -> f64 {
    case[key].as_f64().unwrap_or_else(|| panic!("{case} has no {key}"))
}

/// scipy.stats, normal and Student's t.
#[test]
fn probabilities_are_those_of_the_reference() {
    for case in cases("probabilities") {
        let tolerance = limits(case["min"].as_f64(), case["max"].as_f64());
        let uncertainty = Uncertain {
            standard_uncertainty: number(&case, "standard_uncertainty"),
            degrees_of_freedom: case["degrees_of_freedom"].as_f64(),
        };
        let judged = judge(number(&case, "value"), Some(uncertainty), tolerance, SIMPLE).unwrap();
        let inside = judged.probability_of_conformity.unwrap();
        // A difference of tails has the digits of the tails.
        assert_close(inside, number(&case, "inside"), 1e-12 * inside.max(1e-3));
        let wrong = if judged.verdict == Verdict::Conforms { "outside" } else { "inside" };
        assert_close(judged.risk_of_wrong_verdict.unwrap(), number(&case, wrong), 1e-12);
    }
}

/// Roots of the exact probability, by scipy.optimize.
#[test]
fn acceptance_limits_are_those_of_the_reference() {
    let mut none = 0;
    for case in cases("acceptance") {
        let [min, max] = ["min", "max"].map(|key| number(&case, key));
        let uncertainty = Uncertain {
            standard_uncertainty: number(&case, "standard_uncertainty"),
            degrees_of_freedom: case["degrees_of_freedom"].as_f64(),
        };
        let (tolerance, decision) = (limits(Some(min), Some(max)), guarded(number(&case, "probability")));
        let judged = judge(min, Some(uncertainty), tolerance, decision).unwrap();
        assert_close(judged.guard_band.unwrap(), number(&case, "guard_band"), 1e-12);
        let Some(greatest) = case["greatest"].as_f64() else {
            none += 1;
            assert_eq!(judged.acceptance, None, "{case}");
            continue;
        };
        let accepted = judged.acceptance.unwrap();
        assert_close(accepted.max.unwrap(), greatest, 1e-11);
        assert_close(accepted.min.unwrap(), min + max - greatest, 1e-11);
    }
    assert!((10..90).contains(&none));
}

/// Double integrals over the true and the measured value, by SciPy.
#[test]
fn global_risks_are_those_of_the_reference() {
    for case in cases("risks") {
        let [mean, standard_deviation, u, half, accepted] =
            ["mean", "standard_deviation", "standard_uncertainty", "half", "accepted"].map(|key| number(&case, key));
        let both = |end: f64| limits(Some(-end), Some(end));
        let found = global_risks(Production { mean, standard_deviation }, u, both(half), both(accepted)).unwrap();
        assert_close(found.consumer, number(&case, "consumer"), 1e-11);
        assert_close(found.producer, number(&case, "producer"), 1e-11);
    }
}

/// By definition: a measurement without uncertainty refuses just what does not conform, and one limit is two of which one is far.
#[test]
fn global_risks_at_their_ends() {
    let production = Production { mean: 0.1, standard_deviation: 0.3 };
    let risks = |u, min: Option<f64>, max: Option<f64>| {
        global_risks(production, u, limits(min, max), limits(min, max)).unwrap()
    };
    let exact = risks(0.0, Some(-0.5), Some(0.5));
    assert_eq!((exact.consumer, exact.producer), (0.0, 0.0));
    let (one, far) = (risks(0.1, None, Some(0.5)), risks(0.1, Some(-1e6), Some(0.5)));
    assert_close(one.consumer, far.consumer, 1e-14);
    assert_close(one.producer, far.producer, 1e-14);
    // A measurement far finer than the production, as sharp a corner as there is: the risks shrink with it.
    let (fine, finer) = (risks(1e-4, None, Some(0.5)), risks(1e-5, None, Some(0.5)));
    assert_close(fine.consumer / finer.consumer, 10.0, 0.01);
}

fn demo() -> Specification {
    let text = std::fs::read_to_string(crate::project_file("examples/demo_specification.json")).unwrap();
    specification_from_json(&text).unwrap()
}

/// The demo car with the limits of the demo, each reading known to 0.01.
#[test]
fn the_demo_has_some_of_each_verdict() {
    let text = std::fs::read_to_string(crate::project_file("examples/pulling-car.json")).unwrap();
    let session = alignment_core::json::session_from_json(&text).unwrap();
    let readings = measure(&session).unwrap().alignment;
    let uncertainty = Alignment::from_values(&[Some(0.01); COUNT]);
    let verdicts = judge_all(&readings, Some(&uncertainty), None, &demo()).unwrap();
    assert_eq!(verdicts.overall, Verdict::DoesNotConform);
    let by = |verdict| {
        let of = verdicts.readings.iter().filter(move |reading| reading.judgement.verdict == verdict);
        of.map(|reading| reading.path).collect::<Vec<_>>()
    };
    assert_eq!(by(Verdict::Undetermined), ["wheels.rr.camber_deg"]);
    assert_eq!(
        by(Verdict::DoesNotConform),
        ["axles.front.setback_mm", "steering.right.caster_deg", "steering.cross_caster_deg"]
    );
    assert_eq!(by(Verdict::Conforms).len(), 12);
}

#[test]
fn verdicts_stand_in_the_order_of_the_tree_with_their_numbers() {
    let readings = measure(&VirtualVehicle::default().session()).unwrap().alignment;
    let mut uncertainty = Alignment::default();
    uncertainty.wheels.rr.camber_deg = Some(0.02);
    let mut freedom = Alignment::default();
    freedom.wheels.rr.camber_deg = Some(4.0);
    let mut specification = demo();
    let to_body = Tolerance { min: Some(3.0), ..Tolerance::default() };
    specification.limits.insert("steering.left.caster_to_body_deg", to_body);
    let verdicts = judge_all(&readings, Some(&uncertainty), Some(&freedom), &specification).unwrap();
    let places: Vec<_> = verdicts
        .readings
        .iter()
        .map(|reading| READINGS.iter().position(|&path| path == reading.path).unwrap())
        .collect();
    assert!(places.is_sorted() && places.len() == specification.limits.len());
    for reading in &verdicts.readings {
        assert_eq!(reading.value, readings.get(reading.path).unwrap());
        match reading.path {
            "wheels.rr.camber_deg" => {
                assert_eq!((reading.degrees_of_freedom, reading.judgement.rule), (Some(4.0), Rule::Guarded));
                // Student's t at 95 % and 4 degrees of freedom, from its tables: 2.132.
                assert_close(reading.judgement.guard_band.unwrap(), 2.132 * 0.02, 1e-5);
                assert_close(reading.nominal.unwrap(), -50.0 / 60.0, 1e-15);
            }
            "steering.left.caster_to_body_deg" => {
                assert_eq!((reading.value, reading.judgement.reason), (None, Some(Reason::NotMeasured)));
                assert_eq!(reading.judgement.verdict, Verdict::Undetermined);
            }
            _ => assert_eq!(reading.judgement.rule, Rule::SimpleAcceptance),
        }
    }
    // What was not measured is judged by the rule that was asked for.
    let simple = Specification { decision: SIMPLE, ..specification.clone() };
    let simple = judge_all(&readings, None, None, &simple).unwrap();
    assert!(simple.readings.iter().all(|reading| reading.judgement.rule == Rule::SimpleAcceptance));
    let json: Value = serde_json::from_str(&verdicts_to_json(&verdicts)).unwrap();
    assert_eq!(json["readings"].as_array().unwrap().len(), verdicts.readings.len());
    let of = |path: &str| json["readings"].as_array().unwrap().iter().find(|reading| reading["path"] == path).unwrap();
    assert_eq!(of("axles.front.setback_mm")["unit"], "mm");
    assert_eq!(of("wheels.rr.camber_deg")["rule"], "guarded");
    assert_eq!(of("steering.left.caster_to_body_deg")["verdict"], "undetermined");
    assert_eq!(of("steering.left.caster_to_body_deg")["reason"], "not_measured");
}

#[test]
fn the_verdict_on_the_whole() {
    let mut readings = Alignment::default();
    readings.chassis.thrust_angle_deg = Some(0.05);
    let overall = |limits: &[(&'static str, f64)]| {
        let mut specification = Specification::default();
        for &(path, max) in limits {
            specification.limits.insert(path, Tolerance { max: Some(max), ..Tolerance::default() });
        }
        judge_all(&readings, None, None, &specification).unwrap().overall
    };
    let (thrust, absent) = ("chassis.thrust_angle_deg", "wheels.fl.camber_deg");
    assert_eq!(overall(&[(thrust, 0.1)]), Verdict::Conforms);
    assert_eq!(overall(&[(thrust, 0.1), (absent, 0.0)]), Verdict::Undetermined);
    assert_eq!(overall(&[(thrust, 0.0), (absent, 0.0)]), Verdict::DoesNotConform);
    assert_eq!(overall(&[]), Verdict::Undetermined, "nothing was judged");
}

/// By definition: 60 minutes to the degree; a length is the diameter times the tangent; a total length is the sum of both wheels'.
#[test]
fn tolerances_turn_into_the_readings_own_unit() {
    let nominal = Tolerance { nominal: Some(30.0), minus: Some(10.0), plus: Some(20.0), ..Tolerance::default() };
    let own = nominal.limits("axles.front.setback_mm").unwrap();
    assert_eq!((own.min, own.max), (Some(20.0), Some(50.0)));
    let minutes = Tolerance { unit: Some(Unit::Arcmin), ..nominal }.limits("wheels.fl.camber_deg").unwrap();
    assert_close(minutes.min.unwrap(), 1.0 / 3.0, 1e-15);
    assert_close(minutes.max.unwrap(), 5.0 / 6.0, 1e-15);

    let lengths = Tolerance { min: Some(-2.0), max: Some(3.0), unit: Some(Unit::Mm), ..Tolerance::default() };
    let lengths = Tolerance { reference_diameter_mm: Some(390.0), ..lengths };
    let one = lengths.limits("wheels.fr.toe_to_centreline_deg").unwrap();
    assert_close(wheel::toe_length_mm(one.min.unwrap(), 390.0).unwrap(), -2.0, 1e-12);
    let total = lengths.limits("axles.rear.total_toe_deg").unwrap();
    let as_length = |left_deg: f64, right_deg: f64| {
        [left_deg, right_deg].map(|toe_deg| wheel::toe_length_mm(toe_deg, 390.0).unwrap()).iter().sum::<f64>()
    };
    let half = total.max.unwrap() / 2.0;
    assert_close(as_length(half, half), 3.0, 1e-12);
    // Shared unequally, toes a degree apart: 1e-4 of the length, as the docs say.
    assert_close(as_length(half + 0.5, half - 0.5), 3.0, 3e-4);
    assert!((as_length(half + 0.5, half - 0.5) - 3.0).abs() > 2e-4);
}

#[test]
fn a_specification_survives_writing_and_reading() {
    let specification = demo();
    assert_eq!(specification.limits.len(), 16);
    assert_eq!(specification_from_json(&specification_to_json(&specification)).unwrap(), specification);
    let least = specification_from_json(r#"{"format": "alignment-specification/1", "limits": {}}"#).unwrap();
    assert_eq!(least, Specification::default());
}

/// Every scalar reading can have limits, and no component of a vector.
#[test]
fn limits_are_for_every_scalar() {
    for path in by_path(&Alignment::from_values(&[Some(0.0); COUNT])).into_keys() {
        let text = format!(r#"{{"format": "alignment-specification/1", "limits": {{"{path}": {{"max": 1}}}}}}"#);
        let refusal = specification_from_json(&text).map_err(|error| error.code);
        let vector = path.ends_with(']');
        assert_eq!(refusal.err(), vector.then_some(ErrorCode::UnknownReading), "{path}");
    }
}

#[test]
fn what_is_no_specification_is_named_with_its_place() {
    let refused = |member: &str, value: Value| {
        let mut text = json!({"format": "alignment-specification/1", "limits": {}});
        text[member] = value;
        let error = specification_from_json(&serde_json::to_string_pretty(&text).unwrap()).unwrap_err();
        assert!(error.line > 0, "{error}");
        (error.code, error.to_string())
    };
    let camber = |tolerance: Value| json!({ "wheels.{fl,fr}.camber_deg": tolerance });
    let at_camber = "limits.wheels.{fl,fr}.camber_deg: ";
    for (member, value, expected) in [
        ("colour", json!(1), "colour: unknown field `colour`"),
        ("format", json!("alignment-specification/2"), "format: unknown variant `alignment-specification/2`"),
        ("decision", json!({"rule": "lenient"}), "decision.rule: unknown variant `lenient`"),
        ("decision", json!({"odds": 2}), "decision.odds: unknown field `odds`"),
        ("decision", json!(["guarded", 0.9]), "decision: invalid type: sequence"),
        ("limits", json!([]), "limits: invalid type: sequence"),
        ("limits", camber(json!({"most": 1})), "limits.wheels.{fl,fr}.camber_deg.most: unknown field `most`"),
        ("limits", camber(json!({"max": "1"})), "limits.wheels.{fl,fr}.camber_deg.max: invalid type: string"),
        ("limits", camber(json!([1, 2])), &format!("{at_camber}invalid type: sequence")),
        ("limits", camber(json!({})), &format!("{at_camber}limits need min, max or both, or else nominal")),
        ("limits", camber(json!({"nominal": 1, "plus": 1})), &format!("{at_camber}limits need min")),
        ("limits", camber(json!({"min": 0, "nominal": 1, "plus": 1, "minus": 1})), &format!("{at_camber}limits need")),
        (
            "limits",
            camber(json!({"min": 1, "max": 0})),
            &format!("{at_camber}limits: number out of range: 0, at least 1"),
        ),
        (
            "limits",
            camber(json!({"nominal": 1, "minus": -1, "plus": 1})),
            &format!("{at_camber}limits: number out of range: -1, 0 to"),
        ),
        ("limits", camber(json!({"max": 1, "unit": "mm"})), &format!("{at_camber}only a toe can be in mm")),
        (
            "limits",
            json!({"wheels.fl.toe_deg": {"max": 1, "unit": "mm"}}),
            "limits.wheels.fl.toe_deg: only a toe can be in mm, with its reference_diameter_mm",
        ),
        (
            "limits",
            json!({"wheels.fl.toe_deg": {"max": 1, "reference_diameter_mm": 390}}),
            "limits.wheels.fl.toe_deg: reference_diameter_mm belongs to a toe in mm alone",
        ),
        (
            "limits",
            json!({"wheels.fl.toe_deg": {"max": 1, "unit": "mm", "reference_diameter_mm": 15}}),
            "limits.wheels.fl.toe_deg: reference_diameter_mm: the length is out of range: 15 mm",
        ),
        (
            "limits",
            json!({"axles.front.setback_mm": {"max": 1, "unit": "deg"}}),
            "limits.axles.front.setback_mm: a length has its limits in mm",
        ),
        (
            "limits",
            json!({"wheels.fr.camber_deg": {"max": 1}, "wheels.{fl,fr}.camber_deg": {"max": 1}}),
            "limits.wheels.{fl,fr}.camber_deg: `wheels.fr.camber_deg` has limits already",
        ),
    ] {
        let (code, sentence) = refused(member, value);
        assert_eq!(code, ErrorCode::NotASpecification, "{sentence}");
        assert!(sentence.starts_with(expected), "{sentence}\nexpected {expected}");
    }
    for path in ["wheels.fl.camber", "wheels.{fl,fm}.camber_deg", "wheels.{fl.camber_deg", "wheels.fl.centre_mm", ""] {
        let (code, sentence) = refused("limits", json!({ path: {"max": 1} }));
        assert_eq!(code, ErrorCode::UnknownReading, "{sentence}");
        assert!(sentence.starts_with(&format!("limits.{path}: no reading has this path")), "{sentence}");
    }
    for text in ["", "{", "[]", "7", r#"{"format": "alignment-specification/1"}"#] {
        let error = specification_from_json(text).unwrap_err();
        assert_eq!(error.code, ErrorCode::NotASpecification, "{error}");
    }
}

/// A probability that no rule may ask for is refused when it is used, as the numbers of a session are.
#[test]
fn a_probability_out_of_range_is_refused() {
    let text = r#"{"format": "alignment-specification/1", "decision": {"probability": 95}, "limits": {}}"#;
    let specification = specification_from_json(text).unwrap();
    let error = judge_all(&Alignment::default(), None, None, &specification).unwrap_err();
    assert!(error.to_string().starts_with("probability: number out of range: 95, 0.5 to 0.999999"), "{error}");
}
