"""Verdicts and repeats: what other programs give, and refusals with their place."""

import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import wheel_alignment
from wheel_alignment import assess, measure
from wheel_alignment.conformity import Judgement, Limits, global_risks, judge, judge_all
from wheel_alignment.paths import READINGS
from wheel_alignment.repeatability import AnovaRow, crossed, one_way, repeatability

Tree = dict[str, Any]
VECTORS = Path(__file__).resolve().parents[1] / "vectors"


def vectors(name: str, table: str) -> list[Tree]:
    """The cases of one table."""
    cases: list[Tree] = json.loads((VECTORS / f"{name}.json").read_text())[table]
    assert cases
    return cases


def uncertain(case: Tree) -> dict[str, float | None]:
    """How well the value of a case is known."""
    return {key: case[key] for key in ("standard_uncertainty", "degrees_of_freedom")}


def test_probabilities_are_those_of_scipy() -> None:
    for case in vectors("conformity", "probabilities"):
        judged = judge(
            case["value"],
            Limits(case["min"], case["max"]),
            rule="simple_acceptance",
            **uncertain(case),  # type: ignore[arg-type]
        )
        inside = judged.probability_of_conformity
        assert inside == pytest.approx(case["inside"], rel=1e-12, abs=1e-15)
        wrong = case["outside" if judged.verdict == "conforms" else "inside"]
        assert judged.risk_of_wrong_verdict == pytest.approx(wrong, abs=1e-12)


def test_acceptance_limits_are_those_of_scipy() -> None:
    for case in vectors("conformity", "acceptance"):
        limits = Limits(case["min"], case["max"])
        probability = case["probability"]
        known = uncertain(case)
        judged = judge(case["min"], limits, probability=probability, **known)  # type: ignore[arg-type]
        assert judged.guard_band == pytest.approx(case["guard_band"], abs=1e-12)
        if case["greatest"] is None:
            assert judged.acceptance is None
        else:
            assert judged.acceptance is not None
            greatest = judged.acceptance.max
            assert greatest == pytest.approx(case["greatest"], abs=1e-11)


def test_global_risks_are_those_of_scipy() -> None:
    for case in vectors("conformity", "risks"):
        found = global_risks(
            mean=case["mean"],
            standard_deviation=case["standard_deviation"],
            standard_uncertainty=case["standard_uncertainty"],
            limits=Limits(-case["half"], case["half"]),
            acceptance=Limits(-case["accepted"], case["accepted"]),
        )
        assert found.consumer == pytest.approx(case["consumer"], abs=1e-11)
        assert found.producer == pytest.approx(case["producer"], abs=1e-11)


def test_a_value_is_judged_by_the_rule_asked_for() -> None:
    limits = Limits(max=0.0)
    assert judge(-0.01, limits).rule == "simple_acceptance"
    near = judge(-0.01, limits, standard_uncertainty=0.01)
    assert (near.verdict, near.reason) == ("undetermined", "near_limit")
    assert near.acceptance is not None
    assert near.acceptance.min is None
    simple = judge(-0.01, limits, standard_uncertainty=0.01, rule="simple_acceptance")
    assert (simple.verdict, simple.reason) == ("conforms", None)
    assert judge(0.1, limits, standard_uncertainty=0.01).verdict == "does_not_conform"
    wide = judge(0.0, Limits(-1, 1), standard_uncertainty=1.0)
    assert (wide.reason, wide.acceptance) == ("too_uncertain", None)


def test_what_cannot_be_judged_is_refused() -> None:
    limits = Limits(-1.0, 1.0)
    with pytest.raises(wheel_alignment.OutOfRangeError) as caught:
        judge(0.0, limits, standard_uncertainty=-1.0)
    error = caught.value
    assert (error.input, error.value) == ("standard_uncertainty", -1.0)
    assert (error.minimum, error.maximum) == (0.0, 1e9)
    with pytest.raises(wheel_alignment.OutOfRangeError) as caught:
        judge(0.0, limits, probability=0.2)
    assert caught.value.input == "probability"
    with pytest.raises(wheel_alignment.MissingInputError) as missing:
        judge(0.0, Limits())
    assert missing.value.input == "limits"
    with pytest.raises(wheel_alignment.NotFiniteError) as not_finite:
        judge(math.nan, limits)
    assert not_finite.value.input == "value"
    with pytest.raises(ValueError, match="rule: unknown variant"):
        judge(0.0, limits, rule="by_feel")  # type: ignore[arg-type]
    with pytest.raises(TypeError):
        judge("x", limits)  # type: ignore[arg-type]
    with pytest.raises(wheel_alignment.OutOfRangeError) as caught:
        global_risks(
            mean=0.0,
            standard_deviation=0.0,
            standard_uncertainty=0.1,
            limits=limits,
            acceptance=limits,
        )
    assert caught.value.input == "standard_deviation"


def test_verdicts_come_in_the_order_of_the_tree(
    session: Tree, specification: Tree
) -> None:
    known = assess(session, specification)
    verdicts = known.verdicts
    assert verdicts is not None
    assert verdicts.load_state == specification["load_state"]
    assert (verdicts.decision.rule, verdicts.decision.probability) == ("guarded", 0.95)
    positions = [READINGS.index(v.path) for v in verdicts.readings]
    assert positions == sorted(positions)
    # Names in braces stand for a path each.
    paths = specification["limits"]
    assert len(positions) == sum(path.count(",") + 1 for path in paths)
    caster = next(v for v in verdicts.readings if v.path == "steering.left.caster_deg")
    assert caster.value == known.alignment.steering.left.caster_deg
    assert (caster.unit, caster.nominal) == ("deg", 4.5)
    assert (caster.limits.min, caster.limits.max) == (3.75, 5.25)
    assert caster.degrees_of_freedom is None
    alone = judge(
        caster.value or 0.0,
        caster.limits,
        standard_uncertainty=caster.standard_uncertainty,
    )
    for field in Judgement.__dataclass_fields__:
        assert getattr(caster, field) == getattr(alone, field), field
    plain = judge_all(measure(session).alignment, specification)
    assert {v.rule for v in plain.readings} == {"simple_acceptance"}


def test_a_reading_that_is_absent_is_undetermined(
    session: Tree, specification: Tree
) -> None:
    del session["sweep"]
    verdicts = assess(session, specification).verdicts
    assert verdicts is not None
    of = {v.path: v for v in verdicts.readings}["steering.left.caster_deg"]
    assert (of.verdict, of.reason) == ("undetermined", "not_measured")
    assert of.value is None


@pytest.mark.parametrize(
    ("limits", "kind", "path"),
    [
        (
            {"wheels.fl.camber": {"max": 1}},
            wheel_alignment.UnknownReadingError,
            "limits.wheels.fl.camber",
        ),
        (
            {"wheels.fl.spindle[0]": {"max": 1}},
            wheel_alignment.UnknownReadingError,
            "limits.wheels.fl.spindle[0]",
        ),
        (
            {"wheels.fl.camber_deg": {}},
            wheel_alignment.NotASpecificationError,
            "limits.wheels.fl.camber_deg",
        ),
        (
            {"wheels.fl.camber_deg": {"max": "1"}},
            wheel_alignment.NotASpecificationError,
            "limits.wheels.fl.camber_deg.max",
        ),
        (
            {"wheels.fl.camber_deg": {"min": 1, "max": 0}},
            wheel_alignment.NotASpecificationError,
            "limits.wheels.fl.camber_deg",
        ),
        (None, wheel_alignment.NotASpecificationError, "limits"),
    ],
)
def test_what_is_no_specification_is_named_alike(
    session: Tree,
    specification: Tree,
    limits: object,
    kind: type[wheel_alignment.AlignmentError],
    path: str,
) -> None:
    specification["limits"] = limits
    with pytest.raises(kind) as caught:
        assess(session, specification)
    assert type(caught.value) is kind
    assert caught.value.path == path
    assert caught.value.line is None
    with pytest.raises(kind) as as_text:
        judge_all(measure(session).alignment, json.dumps(specification))
    assert as_text.value.path == path
    assert as_text.value.line == 1
    assert as_text.value.column is not None


def test_a_limit_that_is_not_finite_is_named(
    session: Tree, specification: Tree
) -> None:
    specification["limits"]["steering.cross_sai_deg"] = {"max": np.nan}
    with pytest.raises(wheel_alignment.NotASpecificationError, match="not finite") as e:
        assess(session, specification)
    assert e.value.path == "limits.steering.cross_sai_deg"
    del specification["limits"]["steering.cross_sai_deg"]
    specification["decision"]["probability"] = np.inf
    with pytest.raises(wheel_alignment.NotFiniteError) as caught:
        assess(session, specification)
    assert caught.value.input == "probability"
    specification["decision"]["probability"] = 0.1
    with pytest.raises(wheel_alignment.OutOfRangeError) as out:
        assess(session, specification)
    assert (out.value.input, out.value.value) == ("probability", 0.1)


def test_a_specification_in_no_form_is_refused(session: Tree, tmp_path: Path) -> None:
    for text in ("", "limits.json", "{", "[]"):
        with pytest.raises(wheel_alignment.NotASpecificationError):
            assess(session, text)
    with pytest.raises(wheel_alignment.NotASpecificationError, match=r"pathlib\.Path"):
        assess(session, "limits.json")
    path = tmp_path / "limits.json"
    path.write_bytes(b'{"note": "\xff"}')
    with pytest.raises(wheel_alignment.NotASpecificationError, match="byte 10"):
        assess(session, path)


def row(found: AnovaRow, case: Tree, of_all: float) -> None:
    """A line of the analysis of variance as the case has it."""
    assert found.degrees_of_freedom == case["degrees_of_freedom"]
    # A line is what is left of all squares: it carries their rounding.
    squares = case["sum_of_squares"]
    assert found.sum_of_squares == pytest.approx(squares, abs=1e-10 * of_all)
    if found.f is not None:
        assert found.f == pytest.approx(case["f"], rel=1e-10)
        assert found.p == pytest.approx(case["p"], rel=1e-10)


def test_repeats_are_those_of_another_program() -> None:
    # SciPy and statsmodels: tests/references/make_repeatability.py.
    for case in vectors("repeatability", "repeats"):
        found = repeatability(case["values"])
        for key in (
            "mean",
            "standard_deviation",
            "coverage_factor",
            "expanded_of_mean",
        ):
            assert getattr(found, key) == pytest.approx(case[key], rel=1e-10)
    for case in vectors("repeatability", "one_way"):
        groups = one_way(case["groups"])
        of_all = groups.between.sum_of_squares + groups.within.sum_of_squares
        row(groups.between, case["between"], of_all)
        row(groups.within, case["within"], of_all)
        within = case["within_variance"]
        assert groups.repeatability_sd == pytest.approx(math.sqrt(within), rel=1e-10)
    for case in vectors("repeatability", "crossed"):
        values = np.array(case["values"])
        study = crossed(values, case["pool_above_p"])
        rows = ("cars", "operators", "interaction", "repeats")
        of_all = sum(getattr(study, name).sum_of_squares for name in rows)
        for name in rows:
            row(getattr(study, name), case[name], of_all)
        assert study == crossed(case["values"], pool_above_p=case["pool_above_p"])


def test_repeats_that_tell_nothing_are_refused() -> None:
    with pytest.raises(wheel_alignment.OutOfRangeError) as caught:
        repeatability([1.0])
    error = caught.value
    assert (error.input, error.value, error.minimum) == ("number of values", 1.0, 2.0)
    with pytest.raises(wheel_alignment.NotFiniteError):
        one_way([[1.0, math.nan], [1.0, 2.0]])
    with pytest.raises(wheel_alignment.OutOfRangeError) as caught:
        crossed([[[1.0, 2.0], [1.0, 2.0]], [[1.0, 2.0], [1.0]]])
    assert caught.value.input == "number of repeats"
    with pytest.raises(wheel_alignment.OutOfRangeError) as caught:
        crossed(np.zeros((2, 2, 2)), tolerance=-1.0)
    assert caught.value.input == "tolerance"
    with pytest.raises(TypeError, match=r"\[1\]\[0\]: invalid type"):
        one_way([[1.0, 2.0], [None, 2.0]])  # type: ignore[list-item]
    for wrong in ("12", 1.0, {"a": 1.0}):
        with pytest.raises(TypeError, match="expected a sequence"):
            repeatability(wrong)  # type: ignore[arg-type]
