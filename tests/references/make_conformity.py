"""Writes tests/vectors/conformity.json: what SciPy gives for verdicts and risks.

Probabilities from scipy.stats, acceptance limits as roots of them, global risks as
double integrals over the true and the measured value.
"""

import math
import random
from pathlib import Path
from typing import Any

from scipy import integrate, optimize, stats

from make_vectors import Case, draw, text

CONFORMITY = Path(__file__).parent.parent / "vectors" / "conformity.json"


def known_by(uncertainty: float, freedom: float | None) -> Any:
    """How far the true value lies above what was measured."""
    if freedom is None:
        return stats.norm(scale=uncertainty)
    return stats.t(freedom, scale=uncertainty)


def tolerance(rng: random.Random) -> tuple[float | None, float | None]:
    least = draw(rng, -2, 1)
    greatest = round(least + draw(rng, 0.05, 3), 4)
    return rng.choice([(least, None), (None, greatest), (least, greatest)])


def probability(rng: random.Random) -> Case:
    least, greatest = tolerance(rng)
    value, uncertainty = draw(rng, -3, 4), draw(rng, 0.01, 1)
    freedom = rng.choice([None, rng.randint(1, 5), draw(rng, 1, 60)])
    spread = known_by(uncertainty, freedom)
    low = -math.inf if least is None else least - value
    high = math.inf if greatest is None else greatest - value
    # In the nearer tail, so that digits are not lost.
    if low > 0:
        inside = spread.sf(low) - spread.sf(high)
    else:
        inside = spread.cdf(high) - spread.cdf(low)
    return {
        "value": value,
        "standard_uncertainty": uncertainty,
        "degrees_of_freedom": freedom,
        "min": least,
        "max": greatest,
        "inside": float(inside),
        "outside": float(spread.cdf(low) + spread.sf(high)),
    }


def acceptance(rng: random.Random) -> Case:
    """The greatest value that conforms to two limits with the probability."""
    least, width = draw(rng, -2, 1), draw(rng, 0.2, 2)
    greatest = round(least + width, 4)
    uncertainty = round(width * draw(rng, 0.02, 0.4), 4)
    wanted = rng.choice([0.9, 0.95, 0.99])
    freedom = rng.choice([None, rng.randint(2, 30)])
    spread = known_by(uncertainty, freedom)
    middle = (least + greatest) / 2

    def surplus(value: float) -> float:
        inside = spread.cdf(greatest - value) - spread.cdf(least - value)
        return float(inside) - wanted

    found = surplus(middle) >= 0
    return {
        "min": least,
        "max": greatest,
        "standard_uncertainty": uncertainty,
        "degrees_of_freedom": freedom,
        "probability": wanted,
        "guard_band": float(spread.ppf(wanted)),
        "greatest": optimize.brentq(surplus, middle, greatest, xtol=1e-13)
        if found
        else None,
    }


def risks(rng: random.Random) -> Case:
    half = draw(rng, 0.5, 2)
    mean, deviation = draw(rng, -0.5, 0.5), draw(rng, 0.2, 1)
    uncertainty = round(deviation * draw(rng, 0.1, 1), 4)
    accepted = round(half + uncertainty * draw(rng, -2, 1), 4)
    production, measured = stats.norm(mean, deviation), stats.norm(0, uncertainty)

    def joint(reading: float, true: float) -> float:
        return float(production.pdf(true) * measured.pdf(reading - true))

    def over(true: tuple[float, float], reading: tuple[float, float]) -> float:
        """In panels, so that no peak is missed."""
        total = 0.0
        step = 2 * deviation
        count = max(1, math.ceil((true[1] - true[0]) / step))
        for index in range(count):
            start = true[0] + (true[1] - true[0]) * index / count
            stop = true[0] + (true[1] - true[0]) * (index + 1) / count
            total += integrate.dblquad(
                joint,
                start,
                stop,
                lambda t: max(reading[0], min(reading[1], t - 9 * uncertainty)),
                lambda t: min(reading[1], max(reading[0], t + 9 * uncertainty)),
                epsabs=1e-12,
                epsrel=1e-10,
            )[0]
        return total

    ends = (mean - 9 * deviation, mean + 9 * deviation)
    far = (ends[0] - 9 * uncertainty, ends[1] + 9 * uncertainty)
    accept = (-accepted, accepted)
    return {
        "mean": mean,
        "standard_deviation": deviation,
        "standard_uncertainty": uncertainty,
        "half": half,
        "accepted": accepted,
        "consumer": over((ends[0], -half), accept) + over((half, ends[1]), accept),
        "producer": over((-half, half), (far[0], -accepted))
        + over((-half, half), (accepted, far[1])),
    }


TABLES = {
    "probabilities": (probability, 300),
    "acceptance": (acceptance, 100),
    "risks": (risks, 10),
}


def vectors() -> dict[str, list[Case]]:
    return {
        name: [make(rng) for _ in range(count)]
        for name, (make, count) in TABLES.items()
        for rng in [random.Random(name)]
    }


if __name__ == "__main__":
    CONFORMITY.write_text(text(vectors()))
