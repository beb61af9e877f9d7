"""The propagation of uncertainties, by law and by trials.

The law is held against GTC and uncertainties, quantiles against SciPy, trials against
trials of numpy's own numbers, and both against the figures that the JCGM's guides
print. The committed cases of make_propagation.py are current.
"""

import decimal
import json
import math
from collections.abc import Callable
from dataclasses import fields
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from GTC import reporting, type_a, ureal
from scipy import stats
from wheel_alignment import monte_carlo, propagation
from wheel_alignment.monte_carlo import Distribution, Normal, Rectangular, agree
from wheel_alignment.propagation import Input, Output

from ledger import hold
from make_propagation import FUNCTIONS, VECTORS, Case, end_gauge, impedance, vectors
from test_vectors import assert_close

CASES: dict[str, list[Case]] = json.loads(VECTORS.read_text())
OURS = SimpleNamespace(log=propagation.ln, **vars(propagation))
"""The names by which the cases call their elementary functions."""

RELATIVE = {"allowed": 1e-12, "unit": "1", "why": "rounding of a dozen operations"}
PRINTED = {"unit": "1", "why": "half a unit of the last printed digit"}


def test_the_cases_of_propagation_are_current() -> None:
    assert_close(CASES, vectors(), "propagation")


def relative(found: Any, expected: Any) -> Any:
    """By how much it is off, in parts of what it should be; 0 of 0."""
    found, expected = np.array(found, float), np.array(expected, float)
    size = np.where(expected == 0.0, 1.0, np.abs(expected))
    return (found - expected) / size


def inputs_of(case: Case) -> list[Input]:
    return [
        Input(
            one["estimate"],
            one["standard_uncertainty"],
            one["degrees_of_freedom"] or math.inf,
        )
        for one in case["inputs"]
    ]


def told(
    what: str, result: propagation.Propagation, case: Case, off: dict[Any, list[Any]]
) -> None:
    """Keep how far a result is from a case of GTC and uncertainties."""
    outputs = result.outputs
    deviations = np.array(case["standard_uncertainties"])
    units = np.outer(deviations, deviations)
    free = [
        (o.degrees_of_freedom, f or math.inf)
        for o, f in zip(outputs, case["degrees_of_freedom"], strict=True)
    ]
    assert all(math.isinf(found) == math.isinf(f) for found, f in free)
    free = [(found, f) for found, f in free if math.isfinite(f)]
    for against, quantity, deviation in (
        (
            "GTC",
            "estimates",
            relative([o.estimate for o in outputs], case["estimates"]),
        ),
        (
            "GTC",
            "standard uncertainties",
            relative([o.standard_uncertainty for o in outputs], deviations),
        ),
        ("GTC", "degrees of freedom", [relative(found, f) for found, f in free]),
        (
            "GTC",
            "covariances, over both uncertainties",
            (np.array(result.covariance) - case["covariance"]) / units,
        ),
        (
            "uncertainties",
            "derivatives",
            relative([o.sensitivities for o in outputs], case["sensitivities"]),
        ),
    ):
        off.setdefault((what, against, quantity), []).extend(np.ravel(deviation))


def test_law_of_propagation() -> None:
    off: dict[Any, list[Any]] = {}
    for table in ("functions", "end_gauge", "impedance"):
        for case in CASES[table]:
            function = {
                "functions": lambda *x, case=case: FUNCTIONS[case["function"]](
                    OURS, *x
                ),
                "end_gauge": lambda *x: end_gauge(OURS, *x),
                "impedance": lambda *x: impedance(OURS, *x),
            }[table]
            inputs, matrix = inputs_of(case), case.get("correlation")
            by_law = propagation.law_of_propagation(
                function, inputs, correlation=matrix
            )
            combined = propagation.combine(
                inputs,
                estimates=case["estimates"],
                sensitivities=case["sensitivities"],
                correlation=matrix,
            )
            told("propagation::law_of_propagation", by_law, case, off)
            told("propagation::combine", combined, case, off)
    for (what, against, quantity), deviations in off.items():
        if what == "propagation::combine" and quantity in ("estimates", "derivatives"):
            assert not any(deviations), "they are handed through"
            continue
        hold(what, against=against, quantity=quantity, off=deviations, **RELATIVE)


def test_inputs() -> None:
    rng = np.random.default_rng(1)
    known, observed = [], []
    for _ in range(100):
        estimate, uncertainty = rng.normal(0, 100), rng.uniform(0, 3)
        found, theirs = Input.known(estimate, uncertainty), ureal(estimate, uncertainty)
        known += [
            found.estimate - theirs.x,
            found.standard_uncertainty - theirs.u,
            found.degrees_of_freedom != theirs.df,
        ]
        values = rng.normal(20, rng.uniform(0.01, 3), rng.integers(2, 30))
        found, theirs = Input.from_observations(values), type_a.estimate(values)
        observed += [
            relative(found.estimate, theirs.x),
            relative(found.standard_uncertainty, theirs.u),
            found.degrees_of_freedom - theirs.df,
        ]
    hold(
        "propagation::Input::known",
        against="GTC ureal",
        quantity="estimate, uncertainty and infinite degrees of freedom",
        off=known,
        allowed=0.0,
        unit="1",
        why="nothing is computed",
    )
    hold(
        "propagation::Input::from_observations",
        against="GTC type_a",
        quantity="mean, its uncertainty, degrees of freedom; relative",
        off=observed,
        **RELATIVE,
    )


def test_effective_degrees_of_freedom() -> None:
    rng = np.random.default_rng(2)
    off = []
    for _ in range(200):
        count = rng.integers(1, 7)
        uncertainty = 10.0 ** rng.uniform(-3, 0, count)
        freedom = np.where(rng.random(count) < 0.2, np.inf, rng.uniform(1, 60, count))
        freedom[0] = 7.0
        total = sum(ureal(1, u, f) for u, f in zip(uncertainty, freedom, strict=True))
        shares = list(zip(uncertainty**2, freedom, strict=True))
        found = propagation.effective_degrees_of_freedom(shares)
        off.append(relative(found, total.df))
    hold(
        "propagation::effective_degrees_of_freedom",
        against="GTC",
        quantity="degrees of freedom of a sum, relative",
        off=off,
        **RELATIVE,
    )


# JCGM 100:2008, table G.2: for 90, 95 and 99 %.
TABLE_G2 = {
    1: (6.31, 12.71, 63.66),
    2: (2.92, 4.30, 9.92),
    5: (2.02, 2.57, 4.03),
    10: (1.81, 2.23, 3.17),
    16: (1.75, 2.12, 2.92),
    math.inf: (1.645, 1.960, 2.576),
}


def test_coverage_factors() -> None:
    def found(probability: float, freedom: float | None) -> float:
        return propagation.coverage_factor(
            probability, degrees_of_freedom=freedom or math.inf
        )

    cases = CASES["coverage_factors"]
    keys = ("probability", "degrees_of_freedom", "coverage_factor")
    rows = [[case[key] for key in keys] for case in cases]
    hold(
        "propagation::coverage_factor",
        against="scipy.stats.t",
        quantity="30 to 99.99 %, 1 to 1e4 degrees of freedom, relative",
        off=[relative(found(p, f), k) for p, f, k in rows],
        allowed=1e-12,
        unit="1",
        why="a root to 1e-13",
    )
    hold(
        "propagation::coverage_factor",
        against="GTC reporting.k_factor",
        quantity="the same, from 2 degrees of freedom on, relative",
        off=[
            relative(found(p, f), reporting.k_factor(f or math.inf, 100 * p))
            for p, f, _ in rows
            if f is None or f >= 2
        ],
        allowed=1e-12,
        unit="1",
        why="a root to 1e-13",
    )
    for freedom, printed in TABLE_G2.items():
        hold(
            "propagation::coverage_factor",
            against="JCGM 100:2008, table G.2",
            quantity="90, 95 and 99 %",
            off=np.subtract([found(p, freedom) for p in (0.9, 0.95, 0.99)], printed),
            allowed=0.005 + 1e-9,
            **PRINTED,
        )


def test_numerical_tolerances() -> None:
    """Half a unit of the last digit that Python's decimal rounds to."""
    rng = np.random.default_rng(3)
    found, expected = [], []
    for uncertainty in [0.0996, 0.0994, 0.00999, 1.0, *10.0 ** rng.uniform(-9, 6, 300)]:
        for digits in (1, 2, 3, 4):
            context = decimal.Context(prec=digits, rounding=decimal.ROUND_HALF_UP)
            shown = context.create_decimal(decimal.Decimal(float(uncertainty)))
            expected.append(
                float(decimal.Decimal((0, (5,), shown.adjusted() - digits)))
            )
            found.append(
                propagation.numerical_tolerance(uncertainty, significant_digits=digits)
            )
    hold(
        "propagation::numerical_tolerance",
        against="Python decimal",
        quantity="half a unit of the last shown digit, relative",
        off=relative(found, expected),
        allowed=1e-15,
        unit="1",
        why="rounding of a power of ten",
    )
    # JCGM 101:2008, 7.9.2, examples: 0.000 35 g, 2 K; from memory.
    for uncertainty, digits, printed in ((0.00035, 2, 0.000005), (2.0, 1, 0.5)):
        tolerance = propagation.numerical_tolerance(
            uncertainty, significant_digits=digits
        )
        hold(
            "propagation::numerical_tolerance",
            against="JCGM 101:2008, 7.9.2",
            quantity="both examples, relative",
            off=relative(tolerance, printed),
            allowed=1e-15,
            unit="1",
            why="rounding of a power of ten",
        )


# --------------------------------------------------------------------------------------
# The examples of the guides


def test_the_end_gauge_of_the_guide() -> None:
    """JCGM 100:2008, H.1: 50 000 838 nm, u = 32 nm, 16 degrees of freedom, k = 2.92.

    It prints U = 93 nm, which is 2.92 times the rounded 32 nm; unrounded it is 92.5 nm.
    """
    rows = [
        (50_000_623.0, 25.0, 18.0),
        (215.0, 5.8, 24.0),
        (0.0, 3.9, 5.0),
        (0.0, 6.7, 8.0),
        (11.5e-6, 2e-6 / math.sqrt(3), math.inf),
        (0.0, 1e-6 / math.sqrt(3), 50.0),
        (-0.1, 0.2, math.inf),
        (0.0, 0.5 / math.sqrt(2), math.inf),
        (0.0, 0.05 / math.sqrt(3), 2.0),
    ]

    def length(ls: Any, d: Any, d1: Any, d2: Any, *rest: Any) -> Any:
        a, da, t, swing, dt = rest
        return end_gauge(None, ls, d + d1 + d2, a, da, t + swing, dt)[0]

    (found,) = propagation.law_of_propagation(
        length, [Input(*row) for row in rows]
    ).outputs
    expanded = found.expanded(0.99)
    assert found.degrees_of_freedom is not None
    law, printed = "propagation::law_of_propagation", "JCGM 100:2008, H.1"
    for what, quantity, off, allowed in (
        (law, "length, nm", found.estimate - 50_000_838, 0.5),
        (law, "standard uncertainty, nm", found.standard_uncertainty - 32, 0.5),
        (
            law,
            "degrees of freedom, rounded down",
            math.floor(found.degrees_of_freedom) - 16,
            0.0,
        ),
        (
            "propagation::Output::expanded",
            "coverage factor for 99 %",
            expanded.coverage_factor - 2.92,
            0.005,
        ),
        (
            "propagation::Output::expanded",
            "92.5 nm; 93 is printed, from a rounded uncertainty",
            expanded.expanded_uncertainty - 92.5,
            0.05,
        ),
    ):
        hold(
            what,
            against=printed,
            quantity=quantity,
            off=off,
            allowed=allowed,
            **PRINTED,
        )


def test_the_impedance_of_the_guide() -> None:
    """JCGM 100:2008, H.2, ohm.

    0.295 is printed for the reactance, from rounded uncertainties of the means; of the
    observations themselves, in this approach, it is 0.2956.
    """
    (case,) = CASES["impedance"]
    result = propagation.law_of_propagation(
        lambda *x: impedance(OURS, *x), inputs_of(case), correlation=case["correlation"]
    )
    rounded = [
        Input(one.estimate, u, one.degrees_of_freedom)
        for one, u in zip(inputs_of(case), (0.0032, 0.0095e-3, 0.00075), strict=True)
    ]
    as_printed = propagation.law_of_propagation(
        lambda *x: impedance(OURS, *x), rounded, correlation=case["correlation"]
    )
    for quantity, found, printed in (
        (
            "resistance, reactance and impedance, ohm",
            [o.estimate for o in result.outputs],
            (127.732, 219.847, 254.260),
        ),
        (
            "their uncertainties, from the printed ones of the means, ohm",
            [o.standard_uncertainty for o in as_printed.outputs],
            (0.071, 0.295, 0.236),
        ),
        (
            "their correlations",
            [result.correlation[a][b] for a, b in ((0, 1), (0, 2), (1, 2))],
            (-0.588, -0.485, 0.993),
        ),
    ):
        hold(
            "propagation::law_of_propagation",
            against="JCGM 100:2008, H.2",
            quantity=quantity,
            off=np.subtract(found, printed),
            allowed=0.0005 + 1e-9,
            **PRINTED,
        )


def test_expanded_uncertainties() -> None:
    rng = np.random.default_rng(4)
    off = []
    for _ in range(100):
        freedom = float(rng.choice([np.inf, rng.uniform(1, 60)]))
        output = Output(1.0, rng.uniform(0, 5), freedom, (), ())
        probability = rng.uniform(0.3, 0.999)
        factor = reporting.k_factor(freedom, 100 * probability)
        if math.isfinite(freedom):
            factor = stats.t.ppf((1 + probability) / 2, math.floor(freedom))
        found = output.expanded(probability)
        off.append(relative(found.coverage_factor, factor))
        off.append(
            relative(found.expanded_uncertainty, factor * output.standard_uncertainty)
        )
    hold(
        "propagation::Output::expanded",
        against="scipy.stats.t, GTC",
        quantity="factor and expanded uncertainty, relative",
        off=off,
        **RELATIVE,
    )


# --------------------------------------------------------------------------------------
# Trials


def distribution_of(case: Case) -> Distribution:
    kind = "".join(part.capitalize() for part in case["distribution"].split("_"))
    made = getattr(monte_carlo, kind)
    return made(
        **dict(zip([one.name for one in fields(made)], case["parameters"], strict=True))
    )


def test_inputs_of_distributions() -> None:
    off = []
    for case in CASES["distributions"]:
        found = distribution_of(case).input()
        deviation = case["standard_deviation"]
        if case["distribution"] == "student_t":
            deviation = case["parameters"][1]  # the scale: its freedom widens it again
        off.append(relative(found.estimate, case["mean"]))
        off.append(relative(found.standard_uncertainty, deviation))
    hold(
        "monte_carlo::Distribution::input",
        against="scipy.stats",
        quantity="mean and standard deviation of eight kinds, relative",
        off=off,
        allowed=1e-12,
        unit="1",
        why="a mean near 0 is a difference of limits",
    )


def four(*x: Any) -> Any:
    return x[0] + x[1] + x[2] + x[3]


ROOT_3 = math.sqrt(3.0)


@pytest.mark.parametrize(
    ("kind", "half"),
    [
        (Normal(mean=0, standard_deviation=1), 3.92),
        (Rectangular(least=-ROOT_3, most=ROOT_3), 3.88),
    ],
    ids=["normal", "rectangular"],
)
def test_sum_of_four_of_the_guide(kind: Distribution, half: float) -> None:
    """JCGM 101:2008, 9.2.2 and 9.2.3: u = 2.0, and where 95 % of the sum lie.

    The distances that `agree` finds are those of 1.96·2 from the ends printed.
    """
    trials = monte_carlo.monte_carlo(four, [kind] * 4, significant_digits=2)
    (found,) = trials.outputs
    settled = propagation.numerical_tolerance(2.0, significant_digits=2)
    how = {"unit": "1", "why": "what the trials settle to, 0.05, and the last digit"}
    by_law = propagation.law_of_propagation(four, [kind.input()] * 4).outputs[0]
    agreement = agree(by_law, trials, output=0, significant_digits=2)
    for what, quantity, off in (
        ("monte_carlo::monte_carlo", "u = 2.0", found.standard_uncertainty - 2.0),
        (
            "monte_carlo::monte_carlo",
            "ends of the symmetric interval of 95 %",
            np.subtract(found.symmetric_interval, (-half, half)),
        ),
        (
            "monte_carlo::agree",
            "distances of the ends by law and by trials",
            [agreement.low - (3.92 - half), agreement.high - (3.92 - half)],
        ),
    ):
        hold(
            what,
            against="JCGM 101:2008, 9.2",
            quantity=quantity,
            off=off,
            allowed=settled + 0.005,
            **how,
        )
    hold(
        "monte_carlo::agree",
        against="Python decimal",
        quantity="tolerance for two digits of 2.0",
        off=agreement.tolerance - float(decimal.Decimal("0.05")),
        allowed=1e-15,
        unit="1",
        why="rounding of a power of ten",
    )


def polar(x: Any, y: Any) -> tuple[Any, Any]:
    return np.hypot(x, y), np.arctan2(y, x)


def test_a_point_near_the_origin() -> None:
    """JCGM 102:2011, 9.3: its angle scatters by 1.744 rad, beside numpy's trials."""
    inputs = [Normal(mean=mean, standard_deviation=0.01) for mean in (0.001, 0.0)]
    trials = monte_carlo.monte_carlo(
        lambda x, y: (math.hypot(x, y), math.atan2(y, x)), inputs
    )
    radius, angle = trials.outputs
    hold(
        "monte_carlo::monte_carlo",
        against="JCGM 102:2011, 9.3, from memory",
        quantity="standard uncertainty of an angle near the origin",
        off=angle.standard_uncertainty - 1.744,
        allowed=0.05,
        unit="rad",
        why="two digits of it stand still",
    )
    drawn = np.random.default_rng(5).normal((0.001, 0.0), 0.01, (1_000_000, 2))
    theirs = np.array(polar(*drawn.T))
    deviations = theirs.std(axis=1, ddof=1)
    quantiles = np.quantile(theirs, [0.025, 0.975], axis=1).T
    ours = (radius, angle)
    for quantity, off in (
        (
            "means, over the standard uncertainty",
            ([one.estimate for one in ours] - theirs.mean(axis=1)) / deviations,
        ),
        (
            "standard uncertainties, over themselves",
            [one.standard_uncertainty for one in ours] / deviations - 1.0,
        ),
        (
            "ends of the symmetric interval of 95 %, over the standard uncertainty",
            ([one.symmetric_interval for one in ours] - quantiles).T / deviations,
        ),
        (
            "covariances, over both uncertainties",
            (np.array(trials.covariance) - np.cov(theirs))
            / np.outer(deviations, deviations),
        ),
    ):
        hold(
            "monte_carlo::try_monte_carlo",
            against="numpy, 1 000 000 trials",
            quantity=quantity,
            off=off,
            allowed=0.05,
            unit="1",
            why="trials stand still to two digits",
        )


def test_what_a_function_of_trials_raises_ends_them() -> None:
    class RefusedError(Exception):
        pass

    calls = 0

    def refuses(x: float) -> float:
        nonlocal calls
        calls += 1
        if x > 3.0:
            raise RefusedError(x)
        return x

    with pytest.raises(RefusedError) as raised:
        monte_carlo.monte_carlo(refuses, [Normal(mean=0, standard_deviation=1)])
    assert raised.value.args[0] > 3.0
    # One of 741 draws lies beyond 3: twenty times as many all but surely hold one.
    assert calls < 20 / stats.norm.sf(3.0)


def test_trials_of_every_distribution() -> None:
    """Ends of the interval of 95 %, from SciPy's quantiles."""
    off = []
    one_of_each = {case["distribution"]: case for case in CASES["distributions"]}
    for case in one_of_each.values():
        (found,) = monte_carlo.monte_carlo(
            identity, [distribution_of(case)], seed=6
        ).outputs
        ends = np.subtract(found.symmetric_interval, case["interval"])
        off.append(ends / case["standard_deviation"])
    hold(
        "monte_carlo::monte_carlo",
        against="scipy.stats",
        quantity="ends of 95 % of eight distributions, over the deviation",
        off=off,
        allowed=0.05,
        unit="1",
        why="trials stand still to two digits",
    )


identity: Callable[[float], float] = float
