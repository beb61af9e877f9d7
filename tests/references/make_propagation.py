"""Writes tests/vectors/propagation.json: cases for the propagation of uncertainties.

Uncertainties, degrees of freedom and covariances come from GTC, derivatives from
uncertainties, quantiles and the distributions of single inputs from SciPy.
"""

import json
import math
import random
from collections.abc import Callable
from pathlib import Path
from typing import Any

import GTC
import numpy as np
import uncertainties
from scipy import integrate, optimize, stats
from uncertainties import umath

from make_vectors import draw, text

VECTORS = Path(__file__).parent.parent / "vectors" / "propagation.json"
Case = dict[str, Any]
Function = Callable[..., list[Any]]


def products(m: Any, a: Any, b: Any, c: Any) -> list[Any]:
    return [a * b / c, a / b - c, m.sqrt(c) * a**3]


def angles(m: Any, a: Any, b: Any, c: Any) -> list[Any]:
    return [m.atan2(a, b), m.sqrt(a * a + b * b) * c, m.atan2(b, -c)]


def trigonometry(m: Any, a: Any, b: Any, c: Any) -> list[Any]:
    return [m.sin(a) * m.cos(b) + m.tan(c), m.asin(a / 2) - m.atan(b), m.cos(a - c)]


def growth(m: Any, a: Any, b: Any, c: Any) -> list[Any]:
    return [m.exp(a) * m.log(b + 1), c**-2 + a, m.log(c) / m.exp(b)]


FUNCTIONS: dict[str, Function] = {
    function.__name__: function
    for function in [products, angles, trigonometry, growth]
}


def correlations(rng: random.Random, size: int) -> list[list[float]]:
    """A correlation matrix, far from singular, of numbers as they are written."""
    vectors = [[rng.gauss(0, 1) for _ in range(size + 2)] for _ in range(size)]
    rounded = np.round(np.corrcoef(vectors), 3)
    return rounded.tolist()


def propagated(
    function: Function, inputs: list[Case], matrix: list[list[float]] | None
) -> Case:
    """What GTC makes of the function; correlated inputs were observed together."""
    rows = [
        (i["estimate"], i["standard_uncertainty"], i["degrees_of_freedom"] or math.inf)
        for i in inputs
    ]
    if matrix is None:
        quantities = [GTC.ureal(*row) for row in rows]
    else:
        estimates, deviations, freedoms = zip(*rows, strict=True)
        quantities = GTC.multiple_ureal(estimates, deviations, freedoms[0])
        for i, row in enumerate(matrix):
            for j in range(i):
                GTC.set_correlation(row[j], quantities[i], quantities[j])
    outputs = function(GTC, *quantities)
    plain = [uncertainties.ufloat(x, u) for x, u, _ in rows]
    derived = function(umath, *plain)
    return {
        "estimates": [y.x for y in outputs],
        "standard_uncertainties": [y.u for y in outputs],
        "degrees_of_freedom": [None if math.isinf(y.df) else y.df for y in outputs],
        "sensitivities": [
            [float(y.derivatives.get(x, 0.0)) for x in plain] for y in derived
        ],
        "covariance": [
            [float(GTC.get_covariance(y, z)) if y is not z else y.v for z in outputs]
            for y in outputs
        ],
    }


def function_of_three(rng: random.Random) -> Case:
    """Any of the functions; half of the cases with correlated inputs."""
    name = rng.choice(list(FUNCTIONS))
    together = rng.random() < 0.5
    freedom = rng.choice([None, 4.0, 9.0])
    inputs = [
        {
            "estimate": draw(rng, 0.2, 1.4),
            "standard_uncertainty": draw(rng, 0.001, 0.1),
            "degrees_of_freedom": freedom
            if together
            else rng.choice([None, draw(rng, 1, 50)]),
        }
        for _ in range(3)
    ]
    matrix = correlations(rng, 3) if together else None
    case = {"function": name, "inputs": inputs, "correlation": matrix}
    return case | propagated(FUNCTIONS[name], inputs, matrix)


def end_gauge(m: Any, ls: Any, d: Any, a: Any, da: Any, t: Any, dt: Any) -> list[Any]:
    return [ls + d - ls * (da * t + a * dt)]


def example_of_a_gauge(_: random.Random) -> Case:
    """The inputs of JCGM 100:2008, H.1, whose comparison has 25.6 degrees of freedom."""
    rows = [
        (50_000_623.0, 25.0, 18.0),
        (215.0, 9.7, 25.6),
        (11.5e-6, 1.2e-6, None),
        (0.0, 0.58e-6, 50.0),
        (-0.1, 0.41, None),
        (0.0, 0.029, 2.0),
    ]
    keys = ["estimate", "standard_uncertainty", "degrees_of_freedom"]
    inputs = [dict(zip(keys, row, strict=True)) for row in rows]
    return {"inputs": inputs} | propagated(end_gauge, inputs, None)


def impedance(m: Any, voltage: Any, current: Any, phase: Any) -> list[Any]:
    z = voltage / current
    return [z * m.cos(phase), z * m.sin(phase), z]


def example_of_an_impedance(_: random.Random) -> Case:
    """The observations of JCGM 100:2008, table H.2."""
    observations = np.array(
        [
            [5.007, 4.994, 5.005, 4.990, 4.999],
            [19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3],
            [1.0456, 1.0438, 1.0468, 1.0428, 1.0433],
        ]
    )
    inputs = [
        {
            "estimate": float(values.mean()),
            "standard_uncertainty": float(stats.sem(values)),
            "degrees_of_freedom": 4.0,
        }
        for values in observations
    ]
    matrix = np.corrcoef(observations).tolist()
    case = {"inputs": inputs, "correlation": matrix}
    return case | propagated(impedance, inputs, matrix)


def student(rng: random.Random) -> Case:
    """A two-sided coverage factor."""
    probability = rng.choice([0.9, 0.95, 0.99, 0.9973, draw(rng, 0.3, 0.9999)])
    freedom = rng.choice([None, float(rng.randint(1, 50)), draw(rng, 1, 1e4)])
    tail = (1 - probability) / 2
    factor = stats.norm.isf(tail) if freedom is None else stats.t.isf(tail, freedom)
    return {
        "probability": probability,
        "degrees_of_freedom": freedom,
        "coverage_factor": float(factor),
    }


def curvilinear(least: float, most: float, within: float) -> Case:
    """A rectangle whose limits are rectangular themselves, by quadrature."""
    middle, half = (least + most) / 2, (most - least) / 2

    def mean_over_limits(of: Callable[[float], float]) -> float:
        low, high = half - within, half + within
        return float(integrate.quad(of, low, high, epsabs=0, epsrel=1e-11)[0]) / (
            2 * within
        )

    def beyond(x: float) -> float:
        return mean_over_limits(lambda w: max(0.0, (w - x) / (2 * w))) - 0.025

    end = optimize.brentq(beyond, 0, half + within, xtol=1e-14)
    variance = mean_over_limits(lambda w: w * w / 3)
    return {
        "mean": middle,
        "standard_deviation": math.sqrt(variance),
        "interval": [middle - end, middle + end],
    }


def distribution(rng: random.Random) -> Case:
    """Mean, standard deviation and the symmetric interval of 95 % of one input."""
    least, length = draw(rng, -5, 5), draw(rng, 0.1, 4)
    most = round(least + length, 4)
    length = most - least
    top, within = draw(rng, 0, 1), draw(rng, 0.01, 0.05)
    freedom = draw(rng, 6, 20)
    figures: dict[str, tuple[list[float], Any]] = {
        "normal": ([least, length], stats.norm(least, length)),
        "student_t": ([least, length, freedom], stats.t(freedom, least, length)),
        "rectangular": ([least, most], stats.uniform(least, length)),
        "triangular": ([least, most], stats.triang(0.5, least, length)),
        "trapezoidal": (
            [least, most, top],
            stats.trapezoid((1 - top) / 2, (1 + top) / 2, least, length),
        ),
        "arcsine": ([least, most], stats.arcsine(least, length)),
        "exponential": ([length], stats.expon(0, length)),
        "curvilinear_trapezoid": ([least, most, within], None),
    }
    name = rng.choice(list(figures))
    parameters, frozen = figures[name]
    case: Case = {"distribution": name, "parameters": parameters}
    if frozen is None:
        return case | curvilinear(least, most, within)
    return case | {
        "mean": float(frozen.mean()),
        "standard_deviation": float(frozen.std()),
        "interval": [float(frozen.ppf(p)) for p in (0.025, 0.975)],
    }


TABLES: dict[str, tuple[Callable[[random.Random], Case], int]] = {
    "functions": (function_of_three, 300),
    "end_gauge": (example_of_a_gauge, 1),
    "impedance": (example_of_an_impedance, 1),
    "coverage_factors": (student, 300),
    "distributions": (distribution, 40),
}


def vectors() -> dict[str, list[Case]]:
    return {
        name: [make(rng) for _ in range(count)]
        for name, (make, count) in TABLES.items()
        for rng in [random.Random(name)]
    }


if __name__ == "__main__":
    VECTORS.write_text(text(json.loads(json.dumps(vectors()))))
