"""Writes tests/vectors/repeatability.json: studies of repeats, and what is in them.

Tables are statsmodels' analysis of variance of a linear model. Variances come from no
formula of the core: each sum of squares is a quadratic form, whose expectation is one
trace per variance (Henderson's first method), and that linear system is solved.
"""

import json
import random
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from scipy import stats
from statsmodels.formula.api import ols
from statsmodels.stats.anova import anova_lm

VECTORS = Path(__file__).parent.parent / "vectors" / "repeatability.json"
Case = dict[str, Any]
Array = np.ndarray[Any, np.dtype[np.float64]]


def draw(rng: random.Random, mean: float, deviation: float) -> float:
    return round(rng.gauss(mean, deviation), 4)


def lines(model: Any, names: dict[str, str]) -> Case:
    """The lines of statsmodels' table, under the names of the core."""
    table = anova_lm(model)
    return {
        name: {
            "sum_of_squares": float(table["sum_sq"][line]),
            "degrees_of_freedom": float(table["df"][line]),
        }
        for line, name in names.items()
    }


def compare(line: Case, chance: Case) -> None:
    """F and p of a line against another."""
    mean_square = line["sum_of_squares"] / line["degrees_of_freedom"]
    line["f"] = mean_square * chance["degrees_of_freedom"] / chance["sum_of_squares"]
    degrees = line["degrees_of_freedom"], chance["degrees_of_freedom"]
    line["p"] = float(stats.f.sf(line["f"], *degrees))


def design(labels: Sequence[object]) -> Array:
    """A column for each label: 1 where it stands."""
    return pd.get_dummies(pd.Series(labels)).to_numpy(float)


def onto(columns: Array) -> Array:
    """The projection on what the columns span."""
    return columns @ np.linalg.pinv(columns)


def traces(forms: list[Array], effects: list[Array]) -> Array:
    """How much each variance puts into each quadratic form, on the average."""
    return np.array(
        [[np.trace(form @ effect @ effect.T) for effect in effects] for form in forms]
    )


def variances(lines: list[Case], forms: list[Array], effects: list[Array]) -> Array:
    """The variances of the effects under which each quadratic form is as expected."""
    squares = [line["sum_of_squares"] for line in lines]
    return np.linalg.solve(traces(forms, effects), squares)


def freedom(
    forms: list[Array], effects: list[Array], found: Array, wanted: list[int]
) -> float:
    """Degrees of freedom of the wanted variances' sum: 2 mean²/variance of its form."""
    weights = np.linalg.solve(traces(forms, effects).T, wanted)
    form = np.einsum("k,kij->ij", weights, np.array(forms))
    covariance = sum(v * z @ z.T for v, z in zip(found, effects, strict=True))
    turned = form @ covariance
    return float(np.trace(turned) ** 2 / np.trace(turned @ turned))


def mean_and_t(rng: random.Random) -> Case:
    scale = 10 ** rng.uniform(-3, 3)
    values = [draw(rng, 5 * scale, scale) for _ in range(rng.randint(2, 25))]
    freedom, deviation = len(values) - 1, float(np.std(values, ddof=1))
    _, upper = stats.t.interval(0.95, freedom, np.mean(values), stats.sem(values))
    return {
        "values": values,
        "mean": float(np.mean(values)),
        "standard_deviation": deviation,
        "coverage_factor": float(stats.t.ppf(0.975, freedom)),
        "expanded_of_mean": float(upper - np.mean(values)),
    }


def one_way(rng: random.Random) -> Case:
    spread = rng.choice([0.0, 0.5, 3.0])
    sizes = [rng.randint(1, 6) for _ in range(rng.randint(2, 8))]
    if rng.random() < 0.4:
        sizes = [max(sizes[0], 2)] * len(sizes)
    sizes[0] = max(sizes[0], 2)
    centres = [rng.gauss(2, spread) for _ in sizes]
    groups = [
        [draw(rng, centre, 1) for _ in range(size)]
        for centre, size in zip(centres, sizes, strict=True)
    ]
    data = pd.DataFrame(
        [(index, value) for index, group in enumerate(groups) for value in group],
        columns=["group", "value"],
    )
    model = ols("value ~ C(group)", data).fit()
    case = lines(model, {"C(group)": "between", "Residual": "within"})
    compare(case["between"], case["within"])

    every = np.eye(len(data))
    mean, group = onto(np.ones((len(data), 1))), design(data["group"])
    forms = [onto(group) - mean, every - onto(group)]
    found = variances([case["between"], case["within"]], forms, [group, every])
    # With unequal groups, Welch's and Satterthwaite's rule is no more than that.
    exact = len(set(sizes)) == 1 and found[0] > 0
    between, within = map(float, found)
    return {
        "groups": groups,
        "mean": float(data["value"].mean()),
        **case,
        "between_variance": between,
        "within_variance": within,
        "freedom": freedom(forms, [group, every], found, [1, 1]) if exact else None,
    }


def crossed(rng: random.Random) -> Case:
    pool_above_p = rng.choice([0.25, 0.25, 1.0])
    counts = [rng.randint(2, 6), rng.randint(2, 4), rng.randint(2, 4)]
    cars, operators, repeats = map(range, counts)
    of_car, of_operator, of_both = (rng.choice([0.0, 1.0, 4.0]) for _ in range(3))
    car_is = [rng.gauss(-1, of_car) for _ in cars]
    operator_is = [rng.gauss(0, of_operator) for _ in operators]
    both_are = [[rng.gauss(0, of_both) for _ in operators] for _ in cars]
    values = [
        [
            [
                draw(
                    rng,
                    car_is[car] + operator_is[operator] + both_are[car][operator],
                    1,
                )
                for _ in repeats
            ]
            for operator in operators
        ]
        for car in cars
    ]
    data = pd.DataFrame(
        [
            (car, operator, values[car][operator][repeat])
            for car in cars
            for operator in operators
            for repeat in repeats
        ],
        columns=["car", "operator", "value"],
    )
    both = list(zip(data["car"], data["operator"], strict=True))
    mean = onto(np.ones((len(data), 1)))
    car, operator, cell = map(design, (data["car"], data["operator"], map(str, both)))
    every = np.eye(len(data))

    names = {"C(car)": "cars", "C(operator)": "operators", "Residual": "repeats"}
    product = names | {"C(car):C(operator)": "interaction"}
    case = lines(ols("value ~ C(car) * C(operator)", data).fit(), product)
    compare(case["interaction"], case["repeats"])
    of_factors = [onto(car) - mean, onto(operator) - mean]
    table, forms = [case["cars"], case["operators"]], of_factors
    if case["interaction"]["p"] > pool_above_p:
        # The model without an interaction: what is left over is the pooled line.
        pooled = lines(ols("value ~ C(car) + C(operator)", data).fit(), names)
        case["pooled"] = chance = pooled["repeats"]
        effects = {"car": car, "operator": operator, "repeatability": every}
        forms = [*forms, every - mean - sum(of_factors)]
        table = [*table, chance]
    else:
        chance = case["interaction"]
        effects = {
            "car": car,
            "operator": operator,
            "operator_by_car": cell,
            "repeatability": every,
        }
        forms = [*forms, onto(cell) - mean - sum(of_factors), every - onto(cell)]
        table = [*table, chance, case["repeats"]]
    designs = list(effects.values())
    found = variances(table, forms, designs)
    compare(case["cars"], chance)
    compare(case["operators"], chance)
    gauge = [int(name != "car") for name in effects]
    exact = min(found[1:]) > 0
    return {
        "values": values,
        "pool_above_p": pool_above_p,
        "mean": float(data["value"].mean()),
        **case,
        "variances": dict(zip(effects, map(float, found), strict=True)),
        "freedom": freedom(forms, designs, found, gauge) if exact else None,
    }


TABLES = {
    "repeats": (mean_and_t, 100),
    "one_way": (one_way, 150),
    "crossed": (crossed, 150),
}


def vectors() -> dict[str, list[Case]]:
    return {
        name: [make(rng) for _ in range(count)]
        for name, (make, count) in TABLES.items()
        for rng in [random.Random(name)]
    }


def text(tables: dict[str, list[Case]]) -> str:
    """JSON with a line for each case."""
    written = [
        f'"{name}": [\n' + ",\n".join(map(json.dumps, cases)) + "\n]"
        for name, cases in tables.items()
    ]
    return "{\n" + ",\n".join(written) + "\n}\n"


if __name__ == "__main__":
    VECTORS.write_text(text(vectors()))
