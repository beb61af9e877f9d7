//! Verdicts on one value, and the risks of judging many.

use crate::{call, message};
use alignment_core::conformity::{Decision, Judgement, Limits, Production, Rule, Uncertain, global_risks, judge};
use std::{mem, ptr};
use wheel_alignment::*;

const ABSENT: WaOptional = WaOptional { value: 7.0, present: 0 };

fn number(value: f64) -> WaOptional {
    WaOptional { value, present: 1 }
}

static LIMITS: WaLimits =
    WaLimits { min: WaOptional { value: -1.0, present: 1 }, max: WaOptional { value: 0.0, present: 1 } };

fn fresh_judgement() -> WaJudgement {
    WaJudgement {
        size: mem::size_of::<WaJudgement>(),
        verdict: 7,
        reason: 7,
        rule: 7,
        probability_of_conformity: ABSENT,
        risk_of_wrong_verdict: ABSENT,
        guard_band: ABSENT,
        acceptance: WaLimits { min: ABSENT, max: ABSENT },
    }
}

fn judged(
    value: f64,
    uncertain: Option<WaUncertain>,
    limits: WaLimits,
    rule: i32,
    probability: f64,
) -> Result<WaJudgement, (i32, String)> {
    let mut judgement = fresh_judgement();
    let uncertainty = uncertain.as_ref().map_or(ptr::null(), ptr::from_ref);
    let (status, error) = call(|error| {
        // SAFETY: structs of our own, their sizes set; null where that is allowed.
        unsafe { wa_judge(value, uncertainty, &raw const limits, rule, probability, &raw mut judgement, error) }
    });
    assert_eq!(judgement.size, mem::size_of::<WaJudgement>());
    if status != WA_SUCCESS {
        assert_eq!(judgement.verdict, 7, "a refusal writes nothing");
        return Err((status, message(&error).to_owned()));
    }
    Ok(judgement)
}

fn same(given: WaOptional, expected: Option<f64>) {
    assert_eq!((given.present, given.value.is_nan()), (i64::from(expected.is_some()), expected.is_none()));
    if let Some(expected) = expected {
        assert_eq!(given.value.to_bits(), expected.to_bits());
    }
}

fn same_numbers(given: &WaJudgement, expected: &Judgement) {
    same(given.probability_of_conformity, expected.probability_of_conformity);
    same(given.risk_of_wrong_verdict, expected.risk_of_wrong_verdict);
    same(given.guard_band, expected.guard_band);
    let Limits { min, max } = expected.acceptance.unwrap_or_default();
    same(given.acceptance.min, min);
    same(given.acceptance.max, max);
}

#[test]
fn verdicts_are_the_cores_by_their_numbers() {
    let limits = Limits { min: Some(-1.0), max: Some(0.0) };
    let of = |standard_uncertainty, freedom: Option<f64>| {
        let degrees_of_freedom = freedom.map_or(ABSENT, number);
        let known = Uncertain { standard_uncertainty, degrees_of_freedom: freedom };
        (Some(WaUncertain { standard_uncertainty, degrees_of_freedom }), Some(known))
    };
    let (guarded, simple) = (WA_RULE_GUARDED, WA_RULE_SIMPLE_ACCEPTANCE);
    for (value, (uncertain, known), rule, verdict, reason, by) in [
        (-0.5, of(0.05, None), guarded, WA_VERDICT_CONFORMS, WA_NONE, guarded),
        (-0.05, of(0.05, None), guarded, WA_VERDICT_UNDETERMINED, WA_REASON_NEAR_LIMIT, guarded),
        (-0.05, of(0.05, Some(4.0)), simple, WA_VERDICT_CONFORMS, WA_NONE, simple),
        (-0.5, of(3.0, Some(f64::INFINITY)), guarded, WA_VERDICT_UNDETERMINED, WA_REASON_TOO_UNCERTAIN, guarded),
        (0.3, of(0.05, Some(4.0)), guarded, WA_VERDICT_DOES_NOT_CONFORM, WA_NONE, guarded),
        (-0.05, (None, None), guarded, WA_VERDICT_CONFORMS, WA_NONE, simple),
    ] {
        let given = judged(value, uncertain, LIMITS, rule, 0.95).unwrap();
        assert_eq!((given.verdict, given.reason, given.rule), (verdict, reason, by), "{value}");
        let rule = if rule == guarded { Rule::Guarded } else { Rule::SimpleAcceptance };
        same_numbers(&given, &judge(value, known, limits, Decision { rule, probability: 0.95 }).unwrap());
    }
    // One limit alone; what is absent is not looked at.
    let below = WaLimits { min: WaOptional { value: f64::NAN, present: 0 }, ..LIMITS };
    let given = judged(-5.0, None, below, WA_RULE_GUARDED, 0.95).unwrap();
    assert_eq!(
        (given.verdict, given.acceptance.min.present, given.acceptance.max.present),
        (WA_VERDICT_CONFORMS, 0, 1)
    );
}

#[test]
fn what_cannot_be_judged_is_refused() {
    let known = WaUncertain { standard_uncertainty: 0.05, degrees_of_freedom: ABSENT };
    let absent = WaLimits { min: ABSENT, max: ABSENT };
    for (value, uncertain, limits, rule, probability, status, words) in [
        (f64::NAN, known, LIMITS, 0, 0.95, WA_NOT_FINITE, "value"),
        (0.0, WaUncertain { standard_uncertainty: -1.0, ..known }, LIMITS, 0, 0.95, WA_OUT_OF_RANGE, "standard_unc"),
        (0.0, WaUncertain { degrees_of_freedom: number(0.5), ..known }, LIMITS, 0, 0.95, WA_OUT_OF_RANGE, "freedom"),
        (0.0, known, absent, 0, 0.95, WA_MISSING_INPUT, "limits"),
        (0.0, known, WaLimits { min: number(f64::NAN), ..LIMITS }, 0, 0.95, WA_NOT_FINITE, "limits"),
        (0.0, known, LIMITS, 2, 0.95, WA_OUT_OF_RANGE, "rule: number out of range: 2, 0 to 1"),
        (0.0, known, LIMITS, 0, 0.4, WA_OUT_OF_RANGE, "probability"),
    ] {
        let (given, text) = judged(value, Some(uncertain), limits, rule, probability).unwrap_err();
        assert_eq!(given, status, "{text}");
        assert!(text.contains(words), "{text}");
    }
    let mut judgement = fresh_judgement();
    let mut small = WaJudgement { size: mem::size_of::<WaJudgement>() - 1, ..judgement };
    // SAFETY: null, or structs of our own.
    unsafe {
        let limits = &raw const LIMITS;
        let nobody = ptr::null_mut();
        assert_eq!(wa_judge(0.0, ptr::null(), ptr::null(), 0, 0.95, &raw mut judgement, nobody), WA_NULL_POINTER);
        assert_eq!(wa_judge(0.0, ptr::null(), limits, 0, 0.95, ptr::null_mut(), nobody), WA_NULL_POINTER);
        assert_eq!(wa_judge(0.0, ptr::null(), limits, 0, 0.95, &raw mut small, nobody), WA_BAD_STRUCT_SIZE);
    }
    assert_eq!((judgement.verdict, small.verdict), (7, 7));
}

#[test]
fn global_risks_are_the_cores() {
    let (mut consumer, mut producer) = (7.0, 7.0);
    let risks = |limits: *const WaLimits, deviation, consumer: *mut f64, producer: *mut f64| {
        let acceptance = WaLimits { min: number(-0.9), max: number(-0.1) };
        // SAFETY: numbers and structs of our own; null is refused.
        call(|error| unsafe {
            wa_global_risks(-0.4, deviation, 0.05, limits, &raw const acceptance, consumer, producer, error)
        })
    };
    let (to_consumer, to_producer) = (&raw mut consumer, &raw mut producer);
    for (limits, deviation, consumer, producer, status) in [
        (ptr::null(), 0.3, to_consumer, to_producer, WA_NULL_POINTER),
        (&raw const LIMITS, 0.0, to_consumer, to_producer, WA_OUT_OF_RANGE),
        (&raw const LIMITS, 0.3, ptr::null_mut(), to_producer, WA_NULL_POINTER),
        (&raw const LIMITS, 0.3, to_consumer, ptr::null_mut(), WA_NULL_POINTER),
    ] {
        let (given, error) = risks(limits, deviation, consumer, producer);
        assert_eq!(given, status, "{}", message(&error));
    }
    assert_eq!([consumer, producer].map(f64::to_bits), [7_f64.to_bits(); 2]);
    assert_eq!(risks(&raw const LIMITS, 0.3, &raw mut consumer, &raw mut producer).0, WA_SUCCESS);
    let limits = Limits { min: Some(-1.0), max: Some(0.0) };
    let acceptance = Limits { min: Some(-0.9), max: Some(-0.1) };
    let expected = global_risks(Production { mean: -0.4, standard_deviation: 0.3 }, 0.05, limits, acceptance).unwrap();
    assert_eq!([consumer, producer].map(f64::to_bits), [expected.consumer, expected.producer].map(f64::to_bits));
}
