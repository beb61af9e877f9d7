"""Verdicts, risks and limits: SciPy's distributions, and the figures of JCGM 106.

The committed cases of make_conformity.py are current.
"""

import json
import math
from typing import Any

import numpy as np
import pint
import pytest
from scipy import stats
from scipy.spatial.transform import Rotation
from wheel_alignment import Alignment
from wheel_alignment.conformity import (
    Limits,
    Specification,
    Tolerance,
    global_risks,
    judge,
    judge_all,
)
from wheel_alignment.paths import COUNT, READINGS, unit

from ledger import hold
from make_conformity import CONFORMITY, Case, vectors
from test_vectors import assert_close

CASES: dict[str, list[Case]] = json.loads(CONFORMITY.read_text())
PRINTED = {
    "allowed": 0.005,
    "unit": "1",
    "why": "half a unit of the last printed digit",
}


def test_the_vectors_of_conformity_are_current() -> None:
    assert_close(CASES, vectors(), "conformity")


def test_probabilities_of_conformity() -> None:
    off = []
    for case in CASES["probabilities"]:
        judged = judge(
            case["value"],
            Limits(case["min"], case["max"]),
            standard_uncertainty=case["standard_uncertainty"],
            degrees_of_freedom=case["degrees_of_freedom"],
        )
        assert judged.probability_of_conformity is not None
        off.append(judged.probability_of_conformity - case["inside"])
    hold(
        "conformity::judge",
        against="scipy.stats",
        quantity="probability of conformity, normal and Student's t",
        off=off,
        allowed=1e-13,
        unit="1",
        why="rounding of probabilities",
    )


def test_acceptance_limits() -> None:
    guard_band, greatest = [], []
    for case in CASES["acceptance"]:
        judged = judge(
            0.0,
            Limits(case["min"], case["max"]),
            standard_uncertainty=case["standard_uncertainty"],
            degrees_of_freedom=case["degrees_of_freedom"],
            probability=case["probability"],
        )
        guard_band.append(judged.guard_band - case["guard_band"])
        assert (judged.acceptance is None) == (case["greatest"] is None)
        if judged.acceptance is not None:
            greatest.append(judged.acceptance.max - case["greatest"])
    hold(
        "conformity::judge",
        against="scipy.stats",
        quantity="guard band of one limit",
        off=guard_band,
        allowed=1e-12,
        unit="1",
        why="a root to 1e-13",
    )
    hold(
        "conformity::judge",
        against="scipy.optimize.brentq of scipy.stats",
        quantity="greatest accepted value between two limits",
        off=greatest,
        allowed=1e-12,
        unit="1",
        why="roots of probabilities, which are flat there",
    )


def test_probabilities_of_the_guide() -> None:
    """JCGM 106:2012; values from memory."""
    for quantity, value, uncertainty, limits, printed in (
        ("a Zener diode, one limit, 0.92", -5.47, 0.05, Limits(max=-5.40), 0.92),
        ("a burst pressure, one limit, 0.99", 509.7, 8.6, Limits(min=490.0), 0.99),
        ("an oil's viscosity, two limits, 0.66", 13.6, 1.8, Limits(12.5, 16.3), 0.66),
    ):
        judged = judge(value, limits, standard_uncertainty=uncertainty)
        assert judged.probability_of_conformity is not None
        hold(
            "conformity::judge",
            against="JCGM 106:2012, from memory",
            quantity=quantity,
            off=judged.probability_of_conformity - printed,
            **PRINTED,
        )
    risks = global_risks(
        mean=1500.0,
        standard_deviation=0.12,
        standard_uncertainty=0.04,
        limits=Limits(1499.8, 1500.2),
        acceptance=Limits(1499.82, 1500.18),
    )
    hold(
        "conformity::global_risks",
        against="JCGM 106:2012, clause 9, from memory",
        quantity="consumer's 1 % and producer's 7 % for a resistor",
        off=[risks.consumer - 0.01, risks.producer - 0.07],
        **PRINTED,
    )


def test_global_risks() -> None:
    off = []
    for case in CASES["risks"]:
        half, accepted = case["half"], case["accepted"]
        risks = global_risks(
            mean=case["mean"],
            standard_deviation=case["standard_deviation"],
            standard_uncertainty=case["standard_uncertainty"],
            limits=Limits(-half, half),
            acceptance=Limits(-accepted, accepted),
        )
        off += [risks.consumer - case["consumer"], risks.producer - case["producer"]]
    hold(
        "conformity::global_risks",
        against="scipy.integrate.dblquad",
        quantity="risks of consumer and producer",
        off=off,
        allowed=1e-12,
        unit="1",
        why="what the double integral is worth",
    )


def test_global_risks_against_a_bivariate_normal() -> None:
    """True and measured values are normal together: four corners of their joint one."""
    rng = np.random.default_rng(1)
    off = []
    for _ in range(40):
        mean, deviation = rng.uniform(-0.5, 0.5), rng.uniform(0.2, 1)
        uncertainty, half = deviation * rng.uniform(0.1, 1), rng.uniform(0.5, 2)
        accepted = half + uncertainty * rng.uniform(-1.5, 1)
        square = deviation**2
        together = stats.multivariate_normal(
            [mean, mean], [[square, square], [square, square + uncertainty**2]]
        )
        both = together.cdf([half, accepted], lower_limit=[-half, -accepted])
        measured = stats.norm(mean, math.hypot(deviation, uncertainty))
        true = stats.norm(mean, deviation)
        risks = global_risks(
            mean=mean,
            standard_deviation=deviation,
            standard_uncertainty=uncertainty,
            limits=Limits(-half, half),
            acceptance=Limits(-accepted, accepted),
        )
        off.append(
            risks.consumer - (measured.cdf(accepted) - measured.cdf(-accepted) - both)
        )
        off.append(risks.producer - (true.cdf(half) - true.cdf(-half) - both))
    hold(
        "conformity::global_risks",
        against="scipy.stats.multivariate_normal",
        quantity="risks of consumer and producer",
        off=off,
        allowed=1e-12,
        unit="1",
        why="what its distribution function is worth",
    )


def readings(rng: np.random.Generator, least: float, most: float) -> Alignment:
    return Alignment.from_values(rng.uniform(least, most, COUNT).tolist())


def test_verdicts_on_every_reading() -> None:
    """A value of its own, an uncertainty and degrees of freedom for each reading."""
    rng = np.random.default_rng(2)
    value, uncertainty = readings(rng, -1, 1), readings(rng, 0.02, 0.4)
    freedom = readings(rng, 2, 40)
    paths = [path for path in READINGS if "[" not in path]
    limits = {
        path: Tolerance(min=rng.uniform(-2, -0.2), max=rng.uniform(0, 0.9))
        for path in paths
    }
    verdicts = judge_all(
        value,
        Specification(limits),
        standard_uncertainty=uncertainty,
        degrees_of_freedom=freedom,
    )
    assert [one.path for one in verdicts.readings] == paths
    off, wrong = [], []
    for one in verdicts.readings:
        at = value.get(one.path)
        spread = stats.t(freedom.get(one.path), at, uncertainty.get(one.path))
        low, high = limits[one.path].min, limits[one.path].max
        inside = spread.cdf(high) - spread.cdf(low)
        off.append(one.probability_of_conformity - inside)
        if inside >= 0.95:
            expected = "conforms"
        elif max(spread.cdf(low), spread.sf(high)) >= 0.95:
            expected = "does_not_conform"
        else:
            expected = "undetermined"
        wrong.append(one.verdict != expected)
    assert {one.verdict for one in verdicts.readings} == {
        "conforms",
        "does_not_conform",
        "undetermined",
    }
    assert verdicts.overall == "does_not_conform"
    hold(
        "conformity::judge_all",
        against="scipy.stats.t",
        quantity="probability of conformity of every reading",
        off=off,
        allowed=1e-13,
        unit="1",
        why="rounding of probabilities",
    )
    hold(
        "conformity::judge_all",
        against="scipy.stats.t",
        quantity="verdicts that differ",
        off=wrong,
        allowed=0.0,
        unit="1",
        why="none may",
    )


@pytest.mark.parametrize("form", ["min and max", "nominal"])
def test_limits_in_other_units(form: str) -> None:
    registry = pint.UnitRegistry()
    rng = np.random.default_rng(3)
    off: dict[str, list[float]] = {"deg": [], "mm": []}
    for path in [path for path in READINGS if "[" not in path]:
        of = unit(path)
        for given in ("deg", "arcmin") if of == "deg" else ("mm",):
            low, high = sorted(rng.uniform(-30, 30, 2))
            name = {"deg": "degree", "arcmin": "arcminute", "mm": "millimetre"}[given]
            if form == "nominal":
                tolerance = Tolerance(
                    nominal=low, minus=1.5, plus=high - low, unit=given
                )
                low = low - 1.5
            else:
                tolerance = Tolerance(min=low, max=high, unit=given)
            target = "degree" if of == "deg" else "millimetre"
            expected = registry.Quantity([low, high], name).to(target).magnitude
            limits = tolerance.limits(path)
            off[of] += [limits.min - expected[0], limits.max - expected[1]]
    for of, deviations in off.items():
        hold(
            "conformity::Tolerance::limits",
            against="pint",
            quantity=f"limits of every reading, {of}; minutes of arc as well",
            off=deviations,
            allowed=8e-15,
            unit=of,
            why="two units of the last digit of 30",
        )


def rim(toe_deg: float, diameter_mm: float) -> float:
    """By how much the rim of a turned wheel is nearer in front than behind, mm."""
    line = Rotation.from_euler("z", toe_deg, degrees=True).apply([1.0, 0.0, 0.0])
    return float(diameter_mm * line[1] / line[0])


def test_limits_as_lengths_of_toe() -> None:
    """Wheels turned to the limits that are found show the lengths that were given."""
    rng = np.random.default_rng(4)
    off: list[Any] = []
    for _ in range(100):
        diameter, length = rng.uniform(300, 700), rng.uniform(-20, 20)
        tolerance = Tolerance(max=length, unit="mm", reference_diameter_mm=diameter)
        one = tolerance.limits("wheels.fl.toe_deg").max
        total = tolerance.limits("axles.front.total_toe_deg").max
        assert one is not None
        assert total is not None
        off += [rim(one, diameter) - length, 2 * rim(total / 2, diameter) - length]
    hold(
        "conformity::Tolerance::limits",
        against="SciPy Rotation",
        quantity="toe of one wheel, and of two that share it, in mm at a rim",
        off=off,
        allowed=1e-13,
        unit="mm",
        why="rounding of 20 mm through a tangent",
    )
