"""Studies of repeats: statsmodels, SciPy, and published studies with certified values.

The committed studies of make_repeatability.py are current.
"""

import json
from typing import Any

import numpy as np
from scipy import stats
from wheel_alignment import repeatability as rr
from wheel_alignment.repeatability import AnovaRow

from ledger import hold
from make_repeatability import VECTORS, Case, vectors
from test_vectors import assert_close

CASES: dict[str, list[Case]] = json.loads(VECTORS.read_text())
RELATIVE = {"allowed": 1e-11, "unit": "1", "why": "sums of squares of a hundred values"}


def test_the_studies_are_current() -> None:
    assert_close(CASES, vectors(), "repeatability")


def relative(found: Any, expected: Any) -> Any:
    found, expected = np.array(found, float), np.array(expected, float)
    return (found - expected) / np.where(expected == 0.0, 1.0, np.abs(expected))


def test_repeats() -> None:
    off, intervals = [], []
    for case in CASES["repeats"]:
        values = np.array(case["values"])
        found = rr.repeatability(values)
        off += [
            relative(found.mean, case["mean"]),
            relative(found.standard_deviation, case["standard_deviation"]),
            relative(found.standard_deviation_of_mean, stats.sem(values)),
            found.degrees_of_freedom - (len(values) - 1),
        ]
        intervals += [
            relative(found.coverage_factor, case["coverage_factor"]),
            relative(found.expanded_of_mean, case["expanded_of_mean"]),
            relative(
                found.expanded, case["coverage_factor"] * case["standard_deviation"]
            ),
        ]
    hold(
        "repeatability::repeatability",
        against="numpy, scipy.stats.sem",
        quantity="mean, standard deviations, freedoms; relative",
        off=off,
        **RELATIVE,
    )
    hold(
        "repeatability::repeatability",
        against="scipy.stats.t",
        quantity="expanded uncertainties, relative",
        off=intervals,
        **RELATIVE,
    )


def rows_off(found: AnovaRow, line: Case) -> list[Any]:
    pairs = [
        (found.sum_of_squares, line["sum_of_squares"]),
        (found.degrees_of_freedom, line["degrees_of_freedom"]),
        (found.mean_square, line["sum_of_squares"] / line["degrees_of_freedom"]),
    ]
    if "f" in line:
        assert found.f is not None
        pairs += [(found.f, line["f"])]
        # A small tail probability is as uncertain as F is, times its exponent.
        if line["p"] > 1e-12:
            pairs += [(found.p, line["p"])]
    return [relative(*pair) for pair in pairs]


TABLES = "table of the analysis of variance, F and p; relative"
FREEDOM = "effective degrees of freedom, relative"


def test_groups() -> None:
    tables, variances, freedoms = [], [], []
    for case in CASES["one_way"]:
        found = rr.one_way(case["groups"])
        tables += rows_off(found.between, case["between"])
        tables += rows_off(found.within, case["within"])
        between, within = case["between_variance"], case["within_variance"]
        assert found.between_negative == (between < 0.0)
        variances += [
            relative(found.mean, case["mean"]),
            relative(found.repeatability_sd**2, within),
            relative(found.between_sd**2, max(between, 0.0)),
            relative(found.reproducibility_sd**2, max(between, 0.0) + within),
        ]
        if case["freedom"] is not None:
            freedom = found.reproducibility_degrees_of_freedom
            freedoms.append(relative(freedom, case["freedom"]))
    for against, quantity, off in (
        ("statsmodels", TABLES, tables),
        ("variances by Henderson's first method, numpy", "variances", variances),
        ("variance of a quadratic form, numpy", FREEDOM, freedoms),
    ):
        hold(
            "repeatability::one_way",
            against=against,
            quantity=quantity,
            off=off,
            **RELATIVE,
        )


def test_one_way_p_value_of_scipy() -> None:
    off = []
    for case in CASES["one_way"]:
        f, p = stats.f_oneway(*case["groups"])
        found = rr.one_way(case["groups"]).between
        off += [relative(found.f, f), relative(found.p, p) if p > 1e-12 else 0.0]
    hold(
        "repeatability::one_way",
        against="scipy.stats.f_oneway",
        quantity="F and p, relative",
        off=off,
        **RELATIVE,
    )


def test_crossed_studies() -> None:
    tables, variances, freedoms = [], [], []
    for case in CASES["crossed"]:
        found = rr.crossed(case["values"], pool_above_p=case["pool_above_p"])
        lines = ("cars", "operators", "interaction", "repeats")
        for name in lines:
            tables += rows_off(getattr(found, name), case[name])
        assert (found.pooled is None) == ("pooled" not in case)
        if found.pooled is not None:
            tables += rows_off(found.pooled, case["pooled"])
        total = sum(max(of, 0.0) for of in case["variances"].values())
        for name, variance in case["variances"].items():
            share = getattr(found, name)
            assert share.negative == (variance < 0.0)
            # A difference of mean squares: in parts of all the variance there is.
            variances.append((share.variance - max(variance, 0.0)) / total)
        variances.append(relative(found.mean, case["mean"]))
        if case["freedom"] is not None:
            freedoms.append(relative(found.gauge_degrees_of_freedom, case["freedom"]))
    for against, quantity, off in (
        ("statsmodels", TABLES, tables),
        ("variances by Henderson's first method, numpy", "variances", variances),
        ("variance of a quadratic form, numpy", FREEDOM, freedoms),
    ):
        hold(
            "repeatability::crossed",
            against=against,
            quantity=quantity,
            off=off,
            **RELATIVE,
        )


# --------------------------------------------------------------------------------------
# Published studies; values from memory


def test_the_temperatures_of_the_gum() -> None:
    """JCGM 100:2008, table 1 and 4.4.3."""
    found = rr.repeatability(
        [96.90, 98.18, 98.25, 98.61, 99.03, 99.49, 99.56, 99.74, 99.89, 100.07]
        + [
            100.33,
            100.42,
            100.68,
            100.95,
            101.11,
            101.20,
            101.57,
            101.84,
            102.36,
            102.72,
        ]
    )
    hold(
        "repeatability::repeatability",
        against="JCGM 100:2008, 4.4.3",
        quantity="mean, standard deviation, that of the mean",
        off=np.subtract(
            [
                found.mean,
                found.standard_deviation,
                found.standard_deviation_of_mean,
            ],
            [100.145, 1.489, 0.333],
        ),
        allowed=0.0005 + 1e-9,
        unit="1",
        why="half a unit of the last printed digit",
    )


def test_five_instruments_on_one_wafer() -> None:
    """NIST, Statistical Reference Datasets, SiRstv: certified values."""
    found = rr.one_way(
        [
            [196.3052, 196.1240, 196.1890, 196.2569, 196.3403],
            [196.3042, 196.3825, 196.1669, 196.3257, 196.0422],
            [196.1303, 196.2005, 196.2889, 196.0343, 196.1811],
            [196.2795, 196.1748, 196.1494, 196.1485, 195.9885],
            [196.2119, 196.1051, 196.1850, 196.0052, 196.2090],
        ]
    )
    hold(
        "repeatability::one_way",
        against="NIST StRD, SiRstv",
        quantity="sums of squares, F and standard deviation, relative",
        off=relative(
            [
                found.between.sum_of_squares,
                found.within.sum_of_squares,
                found.between.f,
                found.repeatability_sd,
            ],
            [5.11462616e-2, 2.1663656e-1, 1.18046237440255, 1.04076068334656e-1],
        ),
        allowed=1e-10,
        unit="1",
        why="values of 196 whose sixth digit differs",
    )


def test_sulfur_in_coal() -> None:
    """ISO 5725-2:1994, B.1, level 1: eight laboratories, three to five results each."""
    found = rr.one_way(
        [
            [0.71, 0.71, 0.70, 0.71],
            [0.69, 0.67, 0.68],
            [0.66, 0.65, 0.69],
            [0.67, 0.65, 0.66],
            [0.70, 0.69, 0.66, 0.71, 0.69],
            [0.73, 0.74, 0.73],
            [0.71, 0.71, 0.69],
            [0.70, 0.65, 0.68],
        ]
    )
    hold(
        "repeatability::one_way",
        against="ISO 5725-2:1994, B.1, from memory",
        quantity="mean, repeatability and reproducibility",
        off=np.subtract(
            [found.mean, found.repeatability_sd, found.reproducibility_sd],
            [0.690, 0.015, 0.026],
        ),
        allowed=0.0005,
        unit="1",
        why="half a unit of the last printed digit",
    )


def test_thermal_impedance() -> None:
    """Montgomery, Introduction to Statistical Quality Control: a crossed study."""
    found = rr.crossed(
        [
            [[37, 38, 37], [41, 41, 40], [41, 42, 41]],
            [[42, 41, 43], [42, 42, 42], [43, 42, 43]],
            [[30, 31, 31], [31, 31, 31], [29, 30, 28]],
            [[42, 43, 42], [43, 43, 43], [42, 42, 42]],
            [[28, 30, 29], [29, 30, 29], [31, 29, 29]],
            [[42, 42, 43], [45, 45, 45], [44, 46, 45]],
            [[25, 26, 27], [28, 28, 30], [29, 27, 27]],
            [[40, 40, 40], [43, 42, 42], [43, 43, 41]],
            [[25, 25, 25], [27, 29, 28], [26, 26, 26]],
            [[35, 34, 34], [35, 35, 34], [35, 34, 35]],
        ]
    )
    rows = (found.cars, found.operators, found.interaction, found.repeats)
    hold(
        "repeatability::crossed",
        against="Montgomery, Statistical Quality Control",
        quantity="sums of squares, F, variances of a published study",
        off=np.subtract(
            [
                *(row.sum_of_squares for row in rows),
                *(row.f for row in rows[:3]),
                found.repeatability.variance,
                found.operator_by_car.variance,
                found.operator.variance,
            ],
            [
                *(3935.96, 39.27, 48.51, 30.67),
                *(162.27, 7.28, 5.27),
                *(0.51, 0.73, 0.56),
            ],
        ),
        allowed=0.005 + 1e-9,
        unit="1",
        why="half a unit of the last printed digit",
    )
