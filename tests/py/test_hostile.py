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
from wheel_alignment import (
    ByWheel,
    Pose,
    adjustment,
    compensation,
    conformity,
    diagnosis,
    gauge,
    monte_carlo,
    paths,
    propagation,
    simulate,
    stand,
    units,
)
from wheel_alignment.session import PoseNoise

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
    """Arguments that are right, by their names or by the function's and their names."""
    demo = ROOT / "examples" / "pulling-car.json"
    limits = ROOT / "examples" / "demo_specification.json"
    session = json.loads(demo.read_text(encoding="utf-8"))
    specification = json.loads(limits.read_text(encoding="utf-8"))
    measured = wheel_alignment.measure(session)
    assessed = wheel_alignment.assess(session, specification)
    stands, sessions = cars.stands(3, 1), cars.sessions(3, 1)
    clamps = compensation.from_rolling(
        sessions.rolling[0],
        up=sessions.up,
        clamp_standoff_mm=sessions.clamp_standoff_mm,
    )
    # From the rear wheels to the front ones.
    forward = sessions.ahead[0, :2, :3, 3].mean(0) - sessions.ahead[0, 2:, :3, 3].mean(
        0
    )
    forward -= sessions.up * (sessions.up @ forward)
    forward /= np.linalg.norm(forward)
    raised = simulate.VirtualVehicle(compensation="spun").session()
    cambers = [
        gauge.GaugePosition(yaw_deg=yaw, camber_deg=camber)
        for yaw, camber in ((-20.0, 1.0), (0.0, 0.0), (20.0, -0.8))
    ]
    pitches = [
        gauge.PitchPosition(azimuth_deg=azimuth, pitch_deg=pitch)
        for azimuth, pitch in ((-20.0, 4.0), (0.0, 0.0), (20.0, -3.0))
    ]
    normal = [monte_carlo.Normal(mean=mean, standard_deviation=0.02) for mean in (3, 4)]
    inputs = [one.input() for one in normal]
    law = propagation.law_of_propagation(propagation.atan2, inputs)
    trials = monte_carlo.monte_carlo(propagation.atan2, normal, significant_digits=1)
    loaded = {"front": 303.0, "rear": 311.0}
    stood = stand.PlacedStand(
        Pose.from_rotation_vector_rad([0, 0, 0.02], [4000, 30, 900]),
        PoseNoise(0.01, 0.2),
    )
    requirements = {
        "format": "alignment-stand/1",
        "required": {"yaw_deg": {"nominal": 0.0, "minus": 0.2, "plus": 0.2}},
    }
    return {
        "session": session,
        # Without a sweep its trials are quick.
        "uncertainty.monte_carlo.session": {
            key: value
            for key, value in session.items()
            if not key.startswith(("sweep", "lock"))
        },
        "specification": specification,
        "text": json.dumps(session),
        "json.specification_from_json.text": json.dumps(specification),
        "measurement": measured,
        "assessment": assessed,
        "verdicts": assessed.verdicts,
        "stand": stood,
        "requirements": requirements,
        "json.stand_requirements_from_json.text": json.dumps(requirements),
        "json.stand_assessment_to_json.assessment": stand.assess(
            session, stood, requirements
        ),
        "rig_from_stand": stood.rig_from_stand,
        "pivot_mm": [-150.0, 0.0, -1200.0],
        "ground_mm": np.array([[0.0, 0, 0], [1e3, 0, 0], [0, 1e3, 0], [1e3, 1e3, 1.0]]),
        "stand.moves.readings": stand.StandReadings(1490.0, 3.0, 1190.0, 1.0, 0.1, 0.2),
        "moves": stand.StandMoves(1.0, 0.0, 0.0, 10.0, 0.0, -5.0),
        "adjusters": [
            adjustment.Adjuster("shims", {"wheels.fl.camber_deg": 0.25}, -3.0, 6.0),
            adjustment.Adjuster(
                "tie rod",
                adjustment.Rigid(ByWheel(False, True, False, False), turn_deg=0.86),
                -10.0,
                10.0,
            ),
        ],
        "amounts": [0.5, -1.0],
        "adjustment.effects.readings": measured.alignment,
        "adjustment.foresee.readings": measured.alignment,
        "adjustment.fewest_moves.readings": measured.alignment,
        "left": gauge.AxisAngles(caster_deg=4.0, sai_deg=12.0),
        "right": gauge.AxisAngles(caster_deg=4.5, sai_deg=12.5),
        "shim": adjustment.TaperedShim(taper_deg=0.5, bearing_deg=30.0),
        "thread_pitch_mm": 1.5,
        "eccentricity_mm": 8.0,
        "shift_mm": 2.0,
        "camber_deg_per_mm": 0.25,
        "caster_deg_per_mm": 0.5,
        "steering_ratio": 16.0,
        "path": "wheels.fl.camber_deg",
        "paths": ["wheels.fl.camber_deg"],
        "values": [1.0, 2.0, 3.0],
        "repeatability.crossed.values": np.arange(8.0).reshape(2, 2, 2) ** 2,
        "groups": [[1.0, 2.0], [1.1, 2.1]],
        "limits": conformity.Limits(min=0.0, max=1.0),
        "acceptance": conformity.Limits(min=0.1, max=0.9),
        "readings": ["wheels.fl.camber_deg", "chassis.thrust_angle_deg"],
        "conformity.judge_all.readings": measured.alignment,
        "conformity.judge_all.standard_uncertainty": assessed.uncertainty,
        "conformity.judge_all.degrees_of_freedom": assessed.degrees_of_freedom,
        "diagnosis.diagnose.readings": measured.alignment,
        "diagnosis.diagnose.covariance": np.eye(paths.COUNT),
        "tolerances": diagnosis.NormalTolerances(),
        "standard_uncertainty": 0.1,
        "degrees_of_freedom": 5.0,
        "value": 0.5,
        "side": "left",
        "spindle": np.array([0.0, 1.0, 0.0]),
        "axis_direction": np.array([0.0, 0.0, 1.0]),
        "forward": forward,
        "centre_mm": np.array([0.0, 700.0, 310.0]),
        "poses": stands.poses,
        "batch.ahead_readings.up": stands.up,
        "up": sessions.up,
        "rolling": sessions.rolling,
        "ahead": sessions.ahead,
        "sweep": sessions.sweep,
        "lock_left": sessions.sweep[:, -1],
        "clamp_standoff_mm": sessions.clamp_standoff_mm,
        "compensation": {
            "spindle_in_target": stands.spindle_in_target,
            "centre_in_target_mm": stands.centre_in_target_mm,
            "rolling_radius_mm": stands.rolling_radius_mm,
        },
        "batch.measure.keys": {
            "up": sessions.up,
            "sweep_wheels_locked": True,
            "loaded_radius_mm": loaded,
        },
        "vehicle.ahead_readings.poses": sessions.ahead[0],
        "vehicle.ahead_readings.compensation": clamps.all_wheels(),
        "compensation.from_rolling.rolling": sessions.rolling[0],
        "compensation.from_spinning.spinning": raised.to_arrays()["rolling"],
        "compensation.from_spinning.up": [0.0, 0.0, 1.0],
        "compensation.from_spinning.clamp_standoff_mm": 90.0,
        "compensation.wheel_from_rolling.poses": sessions.rolling[0, :, 0],
        "compensation.wheel_from_rolling.clamp_standoff_mm": 90.0,
        "compensation.wheel_from_rolling.loaded_radius_mm": 303.0,
        "compensation.wheel_from_spinning.poses": {
            "rotation_vector_rad": [[0, spin, 0] for spin in (0.0, 2.0, 4.0)],
            "translation_mm": [[0.0, 760.0, 310.0]] * 3,
        },
        "compensation.wheel_from_spinning.forward": [1.0, 0.0, 0.0],
        "compensation.wheel_from_spinning.up": [0.0, 0.0, 1.0],
        "compensation.wheel_from_spinning.clamp_standoff_mm": 80.0,
        "loaded_radius_mm": loaded,
        "wheel.contact_centre_mm.loaded_radius_mm": np.array([303.0, 311.0]),
        "ride_height_mm": ByWheel(180.0, 180.0, 190.0, 190.0),
        "centreline": "side_line_bisector",
        "wheelbase_mm": 2700.0,
        "track_mm": 1500.0,
        "axis_distance_mm": 1400.0,
        "points_mm": np.array([[0.0, 0, 0], [1e3, 0, 0], [0, 1e3, 0], [1e3, 1e3, 1.0]]),
        "positions": cambers,
        "gauge.axis_from_pitches.positions": pitches,
        "axis": gauge.AxisAngles(caster_deg=4.0, sai_deg=12.0),
        "gauge.camber_at_yaw_deg.ahead": cambers[1],
        "gauge.pitch_at_azimuth_deg.ahead": pitches[1],
        "wheel": cambers[1],
        "turn_deg": 20.0,
        "angle": units.DegreesMinutes(negative=True, degrees=1.0, minutes=30.0),
        "shares": [(1.0, 4.0), (1.0, 4.0)],
        "by_law": law.outputs[0],
        "by_trials": trials,
        "output": 0,
        "function": propagation.atan2,
        "inputs": inputs,
        "monte_carlo.monte_carlo.inputs": normal,
        "estimates": [3.0],
        "sensitivities": [[1.0, 1.0]],
        "correlation": np.eye(2),
        "probability": 0.9,
        "on_error": "codes",
        "method": "staged",
        "progress": None,
        "planned": {"frames": 4, "roll_range_deg": 40.0},
        "expanded_uncertainty_deg": 0.05,
        "coverage_factor": 2.0,
        "code": "205/55R16",
        # What keeps the calls short.
        "significant_digits": 1,
        "most_trials": 400_000,
        "threads": 1,
    }


NEEDED = ("most_trials", "significant_digits", "threads")
"""Named in every call, so that it is a short one."""


def right(name: str, parameter: str, right_ones: dict[str, Any]) -> Any:
    """An argument that is right."""
    for key in (f"{name}.{parameter}", parameter):
        if key in right_ones:
            return right_ones[key]
    if parameter.endswith("_mm"):
        return 310.0
    return 5.0 if parameter.endswith("_deg") else 0.5


def right_call(
    name: str,
    function: Callable[..., object],
    right_ones: dict[str, Any],
    optional: Callable[[], bool],
) -> dict[str, Any]:
    """Named arguments that are right; of those that may be left out some."""
    named: dict[str, Any] = {}
    for parameter in inspect.signature(function).parameters.values():
        known = {parameter.name, f"{name}.{parameter.name}"} & right_ones.keys()
        needed = parameter.default is parameter.empty or parameter.name in NEEDED
        if parameter.kind is parameter.VAR_KEYWORD:
            named |= right(name, parameter.name, right_ones)
        elif needed or (known and optional()):
            named[parameter.name] = right(name, parameter.name, right_ones)
    return named


def test_the_calls_work_before_they_are_broken() -> None:
    right_ones = given()
    for name, function in public_functions():
        function(**right_call(name, function, right_ones, lambda: True))


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
    rng: random.Random,
    name: str,
    function: Callable[..., object],
    right_ones: dict[str, Any],
) -> tuple[list[object], dict[str, object]]:
    """Positional and named arguments of which at least one is broken."""
    named = right_call(name, function, right_ones, lambda: rng.random() < 0.5)
    for key in rng.sample(list(named), min(len(named), rng.choice([1, 1, 1, 2]))):
        named[key] = broken(rng, named[key])
    change = rng.random()
    rest = [key for key in named if key not in NEEDED]
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
        call = broken_call(rng, name, function, right_ones)
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
