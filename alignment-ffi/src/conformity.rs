//! Judging one value against its limits.

use crate::alignment::WaAlignment;
use crate::error::{Failure, WaError, guard};
use crate::memory::{
    Place, ResultBuffer, StatesSize, Target, WaOptional, choice, give, guard_text, in_place, optional, read, string,
    text,
};
use crate::status::WA_NONE;
use alignment_core::Alignment;
use alignment_core::conformity::{
    Decision, Judgement, Limits, Production, Reason, Rule, Specification, Tolerance, Uncertain, Unit, Verdict,
    global_risks, judge, judge_all,
};
use alignment_core::json::{specification_from_json, specification_to_json, verdicts_to_json};
use alignment_core::paths::{READINGS, position};
use std::ffi::c_char;

/// The rule allows neither of the other verdicts.
pub const WA_VERDICT_UNDETERMINED: i32 = 0;
/// Within the limits, by the rule.
pub const WA_VERDICT_CONFORMS: i32 = 1;
/// Beyond a limit, by the rule.
pub const WA_VERDICT_DOES_NOT_CONFORM: i32 = 2;

/// Undetermined, since the reading is absent.
pub const WA_REASON_NOT_MEASURED: i32 = 0;
/// Undetermined, since the value lies nearer to a limit than its uncertainty allows.
pub const WA_REASON_NEAR_LIMIT: i32 = 1;
/// Undetermined, since the uncertainty is so great against the tolerance that no value could conform.
pub const WA_REASON_TOO_UNCERTAIN: i32 = 2;

/// Conforming and not conforming each need the stated probability; between them nothing is decided.
pub const WA_RULE_GUARDED: i32 = 0;
/// Within the limits conforms, beyond them does not; whoever takes the verdict shares the risk.
pub const WA_RULE_SIMPLE_ACCEPTANCE: i32 = 1;

/// How well a value is known.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaUncertain {
    /// Standard uncertainty, in the unit of the value; 0 for a value that is known exactly.
    pub standard_uncertainty: f64,
    /// The degrees of freedom on which it rests, at least 1; infinite, or absent, when it is itself known well.
    pub degrees_of_freedom: WaOptional,
}

/// The least and the greatest value that conform, in the unit of the value; at least one of them.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaLimits {
    /// The least; absent when nothing is too small.
    pub min: WaOptional,
    /// The greatest; absent when nothing is too great.
    pub max: WaOptional,
}

/// The verdict on one value, and what it rests on.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaJudgement {
    /// Set by the caller: sizeof(wa_judgement).
    pub size: usize,
    /// WA_VERDICT_...
    pub verdict: i32,
    /// Why it is undetermined, WA_REASON_..., or WA_NONE when it is not.
    pub reason: i32,
    /// The rule by which it was found, WA_RULE_...: simple acceptance wherever the uncertainty is not known.
    pub rule: i32,
    /// The probability that the true value lies within the limits. Absent without an uncertainty.
    pub probability_of_conformity: WaOptional,
    /// The probability that the verdict is wrong. Absent without an uncertainty, and where nothing is decided.
    pub risk_of_wrong_verdict: WaOptional,
    /// The guard band of one limit, in the unit of the value: beyond a limit by this or more does not conform.
    /// 0 by simple acceptance.
    pub guard_band: WaOptional,
    /// What conforms by the rule: the limits, less the guard bands. Both absent when no value could conform.
    pub acceptance: WaLimits,
}

// SAFETY: repr(C), begins with a usize, and numbers are all it has.
unsafe impl StatesSize for WaJudgement {}

/// WA_VERDICT_...
pub(crate) fn verdict_number(verdict: Verdict) -> i32 {
    match verdict {
        Verdict::Undetermined => WA_VERDICT_UNDETERMINED,
        Verdict::Conforms => WA_VERDICT_CONFORMS,
        Verdict::DoesNotConform => WA_VERDICT_DOES_NOT_CONFORM,
    }
}

impl From<WaUncertain> for Uncertain {
    fn from(WaUncertain { standard_uncertainty, degrees_of_freedom }: WaUncertain) -> Self {
        Self { standard_uncertainty, degrees_of_freedom: degrees_of_freedom.get() }
    }
}

impl From<WaLimits> for Limits {
    fn from(WaLimits { min, max }: WaLimits) -> Self {
        Self { min: min.get(), max: max.get() }
    }
}

impl From<Limits> for WaLimits {
    fn from(Limits { min, max }: Limits) -> Self {
        Self { min: min.into(), max: max.into() }
    }
}

impl From<Judgement> for WaJudgement {
    fn from(judged: Judgement) -> Self {
        Self {
            size: 0,
            verdict: verdict_number(judged.verdict),
            reason: match judged.reason {
                None => WA_NONE,
                Some(Reason::NotMeasured) => WA_REASON_NOT_MEASURED,
                Some(Reason::NearLimit) => WA_REASON_NEAR_LIMIT,
                Some(Reason::TooUncertain) => WA_REASON_TOO_UNCERTAIN,
            },
            rule: match judged.rule {
                Rule::Guarded => WA_RULE_GUARDED,
                Rule::SimpleAcceptance => WA_RULE_SIMPLE_ACCEPTANCE,
            },
            probability_of_conformity: judged.probability_of_conformity.into(),
            risk_of_wrong_verdict: judged.risk_of_wrong_verdict.into(),
            guard_band: judged.guard_band.into(),
            acceptance: judged.acceptance.unwrap_or_default().into(),
        }
    }
}

/// Judges one value against its limits, all in one unit, degrees or mm alike.
///
/// uncertainty: how well the value is known. NULL when it is not: then simple acceptance is the rule.
/// limits: at least one.
/// rule: WA_RULE_...
/// probability: with which the guarded rule must be right, 0.5 to 0.999999, customarily 0.95. It must be in
///     range under the other rule as well, which has no use for it.
/// judgement: struct of the caller whose size is set.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_OUT_OF_RANGE for a rule or a probability that is none, an
/// uncertainty below 0, fewer than one degree of freedom, a least value above the greatest, or numbers
/// beyond ± 1e9; WA_MISSING_INPUT without any limit.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_judge(
    value: f64,
    uncertainty: *const WaUncertain,
    limits: *const WaLimits,
    rule: i32,
    probability: f64,
    judgement: *mut WaJudgement,
    error: *mut WaError,
) -> i32 {
    let job = || {
        // SAFETY: the caller's promises are handed on.
        let (uncertainty, limits, target) = unsafe {
            let known = optional("uncertainty", uncertainty)?;
            (known, *in_place("limits", limits)?, Target::new("judgement", judgement)?)
        };
        let rule = choice("rule", rule, [Rule::Guarded, Rule::SimpleAcceptance])?;
        let decision = Decision { rule, probability };
        target.write(judge(value, uncertainty.copied().map(Uncertain::from), limits.into(), decision)?.into());
        Ok(())
    };
    // SAFETY: the caller's promise about `error` is handed on.
    unsafe { guard(error, job) }
}

/// The risks of accepting what is measured within the acceptance limits, over all that is produced, or comes
/// to be measured. All in one unit, degrees or mm alike.
///
/// mean, standard_deviation: of the true values before any is measured, taken to be normal.
/// standard_uncertainty: of the measurement.
/// acceptance: as wa_judge found them, or the limits themselves for simple acceptance.
/// consumer: where the probability goes that one does not conform and is accepted.
/// producer: where the probability goes that one conforms and is not accepted.
///
/// Returns WA_SUCCESS; WA_NOT_FINITE; WA_OUT_OF_RANGE for a standard deviation not above 0, an uncertainty
/// below 0, a least value above the greatest, or numbers beyond ± 1e9; WA_MISSING_INPUT without any limit.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_global_risks(
    mean: f64,
    standard_deviation: f64,
    standard_uncertainty: f64,
    limits: *const WaLimits,
    acceptance: *const WaLimits,
    consumer: *mut f64,
    producer: *mut f64,
    error: *mut WaError,
) -> i32 {
    let job = || {
        // SAFETY: the caller's promises are handed on.
        let (limits, acceptance, consumer, producer) = unsafe {
            let (limits, acceptance) = (*in_place("limits", limits)?, *in_place("acceptance", acceptance)?);
            (limits, acceptance, Place::new("consumer", consumer)?, Place::new("producer", producer)?)
        };
        let production = Production { mean, standard_deviation };
        let risks = global_risks(production, standard_uncertainty, limits.into(), acceptance.into())?;
        consumer.write(risks.consumer);
        producer.write(risks.producer);
        Ok(())
    };
    // SAFETY: the caller's promise about `error` is handed on.
    unsafe { guard(error, job) }
}

/// Judges every reading that has limits, degrees and mm alike.
///
/// readings: such as those of wa_measurement.
/// standard_uncertainty, degrees_of_freedom: trees of the same shape, such as those of wa_uncertainty; NULL when they are not
///     known. A reading without an uncertainty is judged by simple acceptance; one without degrees of freedom by the normal
///     distribution.
/// specification_json: specification_length bytes, format "alignment-specification/1".
///
/// The result is {"overall": ..., "decision": ..., "load_state": ..., "readings": [...]}, as "verdicts" in wa_assess_json.
///
/// Returns WA_SUCCESS; WA_BUFFER_TOO_SMALL; WA_NOT_A_SPECIFICATION; WA_UNKNOWN_READING; WA_NOT_UTF8; WA_NOT_FINITE;
/// WA_OUT_OF_RANGE; WA_LENGTH_OUT_OF_RANGE.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_judge_all_json(
    readings: *const WaAlignment,
    standard_uncertainty: *const WaAlignment,
    degrees_of_freedom: *const WaAlignment,
    specification_json: *const c_char,
    specification_length: usize,
    result_json: *mut c_char,
    result_capacity: usize,
    result_length: *mut usize,
    error: *mut WaError,
) -> i32 {
    let result = ResultBuffer { json: result_json, capacity: result_capacity, length: result_length };
    // SAFETY: the caller's promises are handed on.
    let job = || unsafe {
        let known = |name, tree: *const WaAlignment| {
            if tree.is_null() { Ok(None) } else { read(name, tree).map(|tree| Some(Alignment::from(tree))) }
        };
        let readings = read("readings", readings)?.into();
        let standard = known("standard_uncertainty", standard_uncertainty)?;
        let freedom = known("degrees_of_freedom", degrees_of_freedom)?;
        let specification = specification(specification_json, specification_length)?;
        Ok(verdicts_to_json(&judge_all(&readings, standard.as_ref(), freedom.as_ref(), &specification)?))
    };
    // SAFETY: as before.
    unsafe { guard_text(result, error, job) }
}

/// # Safety
/// As [`text`].
pub(crate) unsafe fn specification(pointer: *const c_char, length: usize) -> Result<Specification, Failure> {
    // SAFETY: the caller's promise is handed on.
    Ok(specification_from_json(unsafe { text("specification_json", pointer, length)? })?)
}

/// A specification written out: every path by itself, in its own unit or that in which it was given.
///
/// specification_json: specification_length bytes, format "alignment-specification/1".
///
/// Returns WA_SUCCESS; WA_BUFFER_TOO_SMALL; WA_NOT_A_SPECIFICATION; WA_UNKNOWN_READING; WA_NOT_UTF8.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_specification_to_json(
    specification_json: *const c_char,
    specification_length: usize,
    result_json: *mut c_char,
    result_capacity: usize,
    result_length: *mut usize,
    error: *mut WaError,
) -> i32 {
    let result = ResultBuffer { json: result_json, capacity: result_capacity, length: result_length };
    // SAFETY: the caller's promises are handed on.
    let job = || Ok(specification_to_json(&unsafe { specification(specification_json, specification_length)? }));
    // SAFETY: as before.
    unsafe { guard_text(result, error, job) }
}

/// The limits are in the reading's own unit.
pub const WA_UNIT_OWN: i32 = 0;
/// The limits are in degrees.
pub const WA_UNIT_DEG: i32 = 1;
/// The limits are in minutes of arc.
pub const WA_UNIT_ARCMIN: i32 = 2;
/// The limits are in mm: of a length, or of toe at the reference diameter.
pub const WA_UNIT_MM: i32 = 3;

/// The limits of one reading as a specification writes them: min, max or both, or else nominal with minus and plus.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct WaTolerance {
    /// The least value that conforms.
    pub min: WaOptional,
    /// The greatest value that conforms.
    pub max: WaOptional,
    /// The value to aim at.
    pub nominal: WaOptional,
    /// How far below the nominal value conforms; not negative.
    pub minus: WaOptional,
    /// How far above the nominal value conforms; not negative.
    pub plus: WaOptional,
    /// The diameter at which a toe in mm is told, mm.
    pub reference_diameter_mm: WaOptional,
    /// The unit of all the others: WA_UNIT_...
    pub unit: i32,
}

/// The limits of one reading in its own unit, degrees or mm.
///
/// path: UTF-8 with a NUL at the end.
///
/// Returns WA_SUCCESS; WA_UNKNOWN_READING; WA_NOT_A_SPECIFICATION for members that do not go together; WA_NOT_FINITE;
/// WA_OUT_OF_RANGE; WA_LENGTH_OUT_OF_RANGE; WA_NOT_UTF8.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn wa_tolerance_limits(
    tolerance: *const WaTolerance,
    path: *const c_char,
    limits: *mut WaLimits,
    error: *mut WaError,
) -> i32 {
    let job = || {
        // SAFETY: the caller's promises are handed on.
        let (of, path) = unsafe { (in_place("tolerance", tolerance)?, string("path", path)?) };
        let unit = choice("unit", of.unit, [None, Some(Unit::Deg), Some(Unit::Arcmin), Some(Unit::Mm)])?;
        let tolerance = Tolerance {
            min: of.min.get(),
            max: of.max.get(),
            nominal: of.nominal.get(),
            minus: of.minus.get(),
            plus: of.plus.get(),
            unit,
            reference_diameter_mm: of.reference_diameter_mm.get(),
        };
        Ok(tolerance.limits(READINGS[position(path)?])?.into())
    };
    // SAFETY: the caller's promises are handed on.
    unsafe { give(error, ("limits", limits), job) }
}
