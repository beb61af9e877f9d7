"""Formulas held against themselves by mpmath at 50 digits: arguments, units, rows.

Arguments are none, tiny, ordinary, at the ends of their ranges, of mixed signs, and a
few units of the last digit apart. A result may be off by 4 units of its last digit;
where it is a small difference of greater things, by as many times its condition number:
the relative change of the result over that of the arguments, or of their sines and
cosines where the formula is one of these. These rows prove no formula right: the other
files do.
"""

import math
from collections.abc import Callable, Iterable
from typing import Any

import mpmath as mp
import numpy as np

from ledger import hold

ULP = {"allowed": 4.0, "unit": "ulp", "rounding": True}
CASES = 150
Exact = Callable[..., Any]


def rad(angle_deg: Any) -> Any:
    return mp.radians(angle_deg)


def deg(angle_rad: Any) -> Any:
    return mp.degrees(angle_rad)


def apart(value: float, steps: int) -> float:
    """So many floats further."""
    for _ in range(abs(steps)):
        value = math.nextafter(value, math.copysign(math.inf, steps))
    return value


def angles(least: float, most: float) -> list[float]:
    """Special angles within limits, degrees."""
    middle = (least + most) / 2
    tiny = [0.0, 1e-290, 1e-16, 1e-8, 1e-3, 0.3, 5.0, 20.0, 30.0, 44.999999]
    ends = [least, most, apart(least, 3), apart(most, -3), most - 1e-9, least + 1e-9]
    near = [apart(20.0, 1), apart(20.0, -2), 89.999999, 59.9, middle]
    every = [*tiny, *(-one for one in tiny), *ends, *near]
    return [one for one in every if least <= one <= most]


def lengths(least: float, most: float) -> list[float]:
    return [least, most, apart(least, 2), math.sqrt(least * most), (least + most) / 3]


def arguments(name: str, *ranges: list[float]) -> Iterable[tuple[float, ...]]:
    """Every special value with others drawn, and pairs of neighbours."""
    rng = np.random.default_rng(list(name.encode()))
    for place, special in enumerate(ranges):
        for value in special:
            row = [rng.uniform(min(of), max(of)) for of in ranges]
            row[place] = value
            yield tuple(map(float, row))
    for _ in range(CASES):
        yield tuple(float(rng.uniform(min(of), max(of))) for of in ranges)
    for _ in range(CASES // 3):
        yield tuple(float(rng.choice(of)) for of in ranges)
    # A few floats apart: what a difference of angles would lose.
    for steps in (0, 1, -1, 2, 5, 100):
        row = [rng.uniform(min(of), max(of)) for of in ranges]
        if len(row) > 1 and ranges[0] == ranges[1]:
            row[1] = apart(row[0], steps)
            if min(ranges[1]) <= row[1] <= max(ranges[1]):
                yield tuple(map(float, row))


def ulps(found: float, exact: Any, size: Any = None) -> float:
    """How far it is off, in units of the last digit of what it should be."""
    size = float(abs(exact) if size is None else size)
    return float(abs(mp.mpf(found) - exact) / mp.mpf(np.spacing(max(size, 0.0))))


def condition(exact: Exact, row: list[Any], value: Any) -> Any:
    """How much a relative change of the arguments changes the result, at most 1e30."""
    if value == 0:
        return mp.mpf(1)
    total = mp.mpf(0)
    for place, argument in enumerate(row):
        # Inward: a formula may end at the end of its range.
        step = -mp.mpf(argument) * mp.mpf(10) ** -20
        moved = [mp.mpf(of) for of in row]
        moved[place] += step
        total += abs((exact(*moved) - value) / value) * mp.mpf(10) ** 20
    return max(mp.mpf(1), total)


def told(
    what: str,
    found: Exact,
    exact: Exact,
    rows: Iterable[tuple[float, ...]],
    of: Callable[..., list[Any]] = lambda *row: list(row),
) -> None:
    """Hold a formula of numbers, or of what `of` makes of them, to its last digits."""
    off, worst = [], mp.mpf(1)
    with mp.workdps(50):
        for row in rows:
            given = of(*map(mp.mpf, row))
            value = exact(*given)
            by = condition(exact, given, value)
            worst = max(worst, by)
            off.append(ulps(found(*row), value) / float(by))
            assert off[-1] <= ULP["allowed"], (what, row, found(*row), value, float(by))
    hold(
        what,
        against="mpmath at 50 digits",
        quantity="zero, tiny, at the ends, mixed signs, neighbours"
        + ("; over the condition number" if worst > 1.5 else ""),
        off=off,
        why="a few operations, each rounded"
        + (", on arguments that nearly cancel" if worst > 1.5 else ""),
        **ULP,
    )


def circle(angle: Any) -> tuple[Any, Any]:
    return mp.sin(rad(angle)), mp.cos(rad(angle))


def vector_ulps(found: Any, exact: Any, size: Any = 1) -> list[float]:
    return [ulps(a, b, size=abs(size)) for a, b in zip(found, exact, strict=True)]


def told_vectors(what: str, quantity: str, off: list[list[float]]) -> None:
    hold(
        what,
        against="mpmath at 50 digits",
        quantity=quantity,
        off=np.ravel(off),
        why="a few operations, each rounded",
        **ULP,
    )


def nearest(rotation: Any) -> Any:
    """The polar decomposition by Newton's steps."""
    exact = mp.matrix(np.asarray(rotation).tolist())
    for _ in range(4):
        exact = exact * (3 * mp.eye(3) - exact.T * exact) / 2
    return exact
