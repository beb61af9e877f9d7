"""Broken calls of every public function: a clear exception or an answer, never a crash.

`HOSTILE_CALLS` in the environment asks for more calls than the thousand of every day.
"""

from __future__ import annotations

import faulthandler
import importlib
import inspect
import json
import os
import pkgutil
import random
import subprocess
import sys
import warnings
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import wheel_alignment
from wheel_alignment import conformity

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "benches" / "peers"))

import cars

ROOT = Path(__file__).resolve().parents[2]
CALLS = int(os.environ.get("HOSTILE_CALLS", "1000"))
MEMORY_BYTES = 8 << 30
"""More than any of these calls needs, less than an absurd one would ask for."""
SECONDS = 300
"""No call takes as long."""


def test_broken_calls_are_refused_clearly_or_work() -> None:
    # In a process of its own: a crash would take the tests along.
    done = subprocess.run(
        [sys.executable, __file__, "0", str(CALLS)],
        capture_output=True,
        text=True,
        check=False,
    )
    # What was called last is the last line, when it crashed.
    assert done.returncode == 0, done.stdout[-2000:] + done.stderr[-5000:]


def public_functions() -> Iterator[tuple[str, Callable[..., object]]]:
    """Every public function by its full name, each once."""
    seen = set()
    for found in pkgutil.iter_modules(wheel_alignment.__path__):
        if found.name.startswith("_"):
            continue
        module = importlib.import_module(f"wheel_alignment.{found.name}")
        for name in dir(module):
            function = getattr(module, name)
            homes = (module.__name__, "wheel_alignment._native")
            if (
                inspect.isroutine(function)
                and not name.startswith("_")
                and getattr(function, "__module__", None) in homes
                and id(function) not in seen
            ):
                seen.add(id(function))
                yield f"{found.name}.{name}", function


def given() -> dict[str, Any]:
    """Arguments that are right, by their names; cars by the peers' forward model."""
    demo = ROOT / "examples" / "pulling-car.json"
    measured = wheel_alignment.measure(demo)
    stands, sessions = cars.stands(3, 1), cars.sessions(3, 1)
    return {
        "session": json.loads(demo.read_text(encoding="utf-8")),
        "specification": json.loads(
            (ROOT / "examples" / "demo_specification.json").read_text(encoding="utf-8")
        ),
        "path": "wheels.fl.camber_deg",
        "paths": ["wheels.fl.camber_deg"],
        "values": [1.0, 2.0, 3.0],
        "groups": [[1.0, 2.0], [1.1, 2.1]],
        "cells": [[[1.0, 1.1], [2.0, 2.1]], [[1.2, 1.0], [2.2, 2.1]]],
        "limits": conformity.Limits(min=0.0, max=1.0),
        "acceptance": conformity.Limits(min=0.1, max=0.9),
        "readings": measured.alignment,
        "standard_uncertainty": 0.1,
        "value": 0.5,
        "side": "left",
        "wheel": "fl",
        "spindle": np.array([0.0, 1.0, 0.0]),
        "axis_direction": np.array([0.0, 0.0, 1.0]),
        "forward": np.array([1.0, 0.0, 0.0]),
        "poses": stands.poses,
        "up": stands.up,
        "spindle_in_target": stands.spindle_in_target,
        "centre_in_target_mm": stands.centre_in_target_mm,
        "rolling": sessions.rolling,
        "ahead": sessions.ahead,
        "sweep": sessions.sweep,
        "clamp_standoff_mm": sessions.clamp_standoff_mm,
        "loaded_radius_mm": {"front": 303.0, "rear": 311.0},
        "ride_height_mm": {"fl": 180.0, "fr": 180.0, "rl": 190.0, "rr": 190.0},
        "wheelbase_mm": 2700.0,
        "track_mm": 1500.0,
        "on_error": "codes",
        "method": "staged",
        "most_trials": 10,
        "threads": 1,
        "code": "205/55R16",
    }


def right(name: str, right_ones: dict[str, Any]) -> object:
    """An argument that is right, or at least of the right kind, by its name."""
    if name in right_ones:
        return right_ones[name]
    if name.endswith("_mm"):
        return 310.0
    return 5.0 if name.endswith("_deg") else 0.5


NEEDED = ("most_trials", "threads")
"""Named always, so that the calls are short ones."""


class Odd:
    """An object that no function knows."""


def broken(rng: random.Random, value: object) -> object:
    """The value, broken in one way, or something else altogether."""
    others: list[object] = [
        None,
        "",
        "nonsense",
        "\ud800",
        b"\xff",
        True,
        -1,
        2**63,
        10**400,
        float("nan"),
        float("-inf"),
        1j,
        (),
        [],
        {},
        [[1.0], [1.0, 2.0]],
        {"fl": {}},
        Odd(),
        np.datetime64("2020-01-01"),
        np.array("text"),
        np.array(None),
        np.float64(0.5),
        np.zeros((10**9, 0, 4, 4)),
        np.zeros((2**40, 4, 0, 4)),
        np.zeros((0, 4, 4, 4)),
        np.ma.masked_array(np.ones(3), [True, False, True]),
        np.zeros(4, dtype=[("x", float), ("y", "U3")]),
        memoryview(b"12345678"),
        (x for x in range(3)),
        range(4),
        {1.0, 2.0},
    ]
    if isinstance(value, dict) and rng.random() < 0.7:
        return broken_tree(rng, value)
    try:
        array = np.array(value, dtype=float)
    except (TypeError, ValueError):
        return rng.choice(others)
    if rng.random() < 0.3:
        return rng.choice(others)
    return rng.choice(BREAKS)(rng, array)


def with_number(rng: random.Random, array: np.ndarray) -> np.ndarray:
    """One number, or all, replaced."""
    number = rng.choice([np.nan, np.inf, -np.inf, 0.0, -1.0, 1e300, 5e-324, -0.0])
    if array.size and rng.random() < 0.7:
        array.flat[rng.randrange(array.size)] = number
    else:
        array[...] = number
    return array


def of_dtype(rng: random.Random, array: np.ndarray) -> np.ndarray:
    """The same numbers as another type, in another byte order too."""
    names = ["f2", "f4", ">f8", "<f8", "g", "c16", "?", "i1", "u8", "O", "U20", "S8"]
    with warnings.catch_warnings(), np.errstate(all="ignore"):
        warnings.simplefilter("ignore")
        return array.astype(rng.choice(names))


def of_shape(rng: random.Random, array: np.ndarray) -> np.ndarray:
    """An axis more, one less, others' order, or the wrong length."""
    axis = rng.randrange(max(array.ndim, 1))
    some = array.ndim > 0
    return rng.choice(
        [
            lambda: array[None],
            lambda: array[..., None],
            lambda: array.ravel(),
            lambda: array.T,
            lambda: array[0] if some else array,
            lambda: np.take(array, [], axis=axis) if some else array,
            lambda: np.repeat(array, 2, axis=axis) if some else array,
            lambda: np.delete(array, 0, axis=axis) if some else array,
            lambda: np.broadcast_to(array, (2, 3, *array.shape)),
        ]
    )()


def of_layout(rng: random.Random, array: np.ndarray) -> object:
    """The same numbers, laid out otherwise: nothing is wrong with most of them."""
    frozen = array.copy()
    frozen.flags.writeable = False
    odd = np.zeros(array.nbytes + 1, np.uint8)[1:].view(float).reshape(array.shape)
    odd[...] = array
    flipped = array[(slice(None, None, -1),) * array.ndim].copy()
    return rng.choice(
        [
            frozen,
            odd,
            flipped[(slice(None, None, -1),) * array.ndim],
            np.asfortranarray(array),
            np.repeat(array, 2, axis=-1)[..., ::2] if array.ndim else array,
            array.tolist(),
            array.astype(object),
            np.ma.masked_array(array, np.zeros(array.shape, bool)),
        ]
    )


BREAKS: list[Callable[[random.Random, np.ndarray], object]] = [
    with_number,
    of_dtype,
    of_shape,
    of_layout,
]


def broken_tree(rng: random.Random, tree: dict[str, Any]) -> object:
    """A tree with something wrong at one place of it."""
    copy = {key: value for key, value in tree.items()}
    key = rng.choice(list(copy))
    change = rng.randrange(4)
    if change == 0:
        del copy[key]
    elif change == 1:
        copy[rng.choice(["", "nonsense", "Fl"])] = copy.pop(key)
    elif isinstance(copy[key], dict):
        copy[key] = broken_tree(rng, copy[key]) if copy[key] else None
    elif isinstance(copy[key], list) and copy[key]:
        items = list(copy[key])
        index = rng.randrange(len(items))
        whole = isinstance(items[index], dict) and items[index]
        items[index] = (
            broken_tree(rng, items[index]) if whole else broken(rng, items[index])
        )
        copy[key] = items
    else:
        copy[key] = broken(rng, copy[key])
    return copy


def broken_call(
    rng: random.Random, function: Callable[..., object], right_ones: dict[str, Any]
) -> tuple[list[object], dict[str, object]]:
    """Positional and named arguments of which at least one is broken."""
    parameters = inspect.signature(function).parameters.values()
    named: dict[str, object] = {}
    for parameter in parameters:
        known = parameter.name in right_ones
        needed = parameter.default is parameter.empty or parameter.name in NEEDED
        if needed or (known and rng.random() < 0.5):
            named[parameter.name] = right(parameter.name, right_ones)
    for name in rng.sample(list(named), min(len(named), rng.choice([1, 1, 1, 2]))):
        named[name] = broken(rng, named[name])
    change = rng.random()
    rest = [name for name in named if name not in NEEDED]
    if change < 0.05 and rest:
        del named[rng.choice(rest)]
    elif change < 0.1:
        named["nonsense"] = 1.0
    elif change < 0.15:
        return [broken(rng, 0.5) for _ in range(rng.randrange(4))], named
    first = next(iter(named), None)
    if first is not None and rng.random() < 0.5:
        return [named.pop(first)], named
    return [], named


def complaint(function: Callable[..., object], call: tuple[Any, Any]) -> str | None:
    """What is wrong with how the function takes the call; None when nothing is."""
    positional, named = call
    # An integer past all floats is an OverflowError of float() itself.
    allowed: tuple[type[BaseException], ...] = (ValueError, TypeError, OverflowError)
    try:
        function(*positional, **named)
    except BaseException as error:
        if isinstance(error, allowed) and str(error).strip():
            return None
        return f"{type(error).__mro__}: {error}"
    return None


def main(first: int, count: int) -> int:
    """Make the calls of these seeds; print what was wrong with how they were taken."""
    import resource

    resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
    faulthandler.enable()
    warnings.simplefilter("error")
    functions = list(public_functions())
    assert functions
    right_ones = given()
    wrong = 0
    for seed in range(first, first + count):
        rng = random.Random(seed)
        name, function = rng.choice(functions)
        call = broken_call(rng, function, right_ones)
        faulthandler.dump_traceback_later(SECONDS, exit=True)
        # Told beforehand: after a crash nothing is told any more.
        print(f"seed {seed}: {name}{str(call)[:300]}", flush=True)
        problem = complaint(function, call)
        if problem is not None:
            print(f"seed {seed}: {name}: {problem}", file=sys.stderr)
            wrong += 1
    faulthandler.cancel_dump_traceback_later()
    return min(wrong, 1)


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]), int(sys.argv[2])))
