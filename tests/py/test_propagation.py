"""The law of propagation and trials, of functions that are written in Python."""

from __future__ import annotations

import copy
import json
import math
import operator
import os
import pickle
import signal
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import wheel_alignment.monte_carlo as mc
import wheel_alignment.propagation as p
from wheel_alignment import (
    MissingInputError,
    NotACovarianceError,
    NotFiniteError,
    NotSettledError,
    OutOfRangeError,
)
from wheel_alignment.monte_carlo import Distribution, agree, monte_carlo
from wheel_alignment.propagation import Dual, Input, combine, law_of_propagation

CASES: dict[str, Any] = json.loads(
    (Path(__file__).parents[1] / "vectors" / "propagation.json").read_text()
)
known = Input.known


def printed(found: float | None, expected: float, decimals: int) -> None:
    """Hold a figure to so many decimals."""
    assert found is not None
    assert abs(found - expected) <= 0.5 * 10.0**-decimals * (1 + 1e-9)


def end_gauge(ls: Any, d: Any, a: Any, da: Any, t: Any, dt: Any) -> Any:
    """JCGM 100:2008, H.1: the length of an end gauge, nm."""
    return ls + d - ls * (da * t + a * dt)


def impedance(voltage: Any, current: Any, phase: Any) -> Any:
    """JCGM 100:2008, H.2: resistance, reactance and impedance."""
    z = voltage / current
    return z * p.cos(phase), z * p.sin(phase), z


def test_the_end_gauge() -> None:
    """JCGM 100:2008, H.1, to the digits printed."""
    rectangular = 1 / math.sqrt(3)
    inputs = [
        Input(50_000_623.0, 25.0, 18.0),
        Input(215.0, 5.8, 24.0),
        Input(0.0, 3.9, 5.0),
        Input(0.0, 6.7, 8.0),
        known(11.5e-6, 2e-6 * rectangular),
        Input(0.0, 1e-6 * rectangular, 50.0),
        known(-0.1, 0.2),
        known(0.0, 0.5 / math.sqrt(2)),
        Input(0.0, 0.05 * rectangular, 2.0),
    ]

    def model(
        ls: Any, d: Any, rnd: Any, sys: Any, a: Any, da: Any, t: Any, s: Any, dt: Any
    ) -> Any:
        return end_gauge(ls, d + rnd + sys, a, da, t + s, dt)

    (length,) = law_of_propagation(model, inputs).outputs
    printed(length.estimate, 50_000_838, 0)
    printed(length.standard_uncertainty, 32, 0)
    assert length.degrees_of_freedom is not None
    assert math.floor(length.degrees_of_freedom) == 16
    for part, (index, figure) in zip(
        length.budget, [(0, 25.0), (8, 16.6), (3, 6.7), (1, 5.8), (2, 3.9), (5, 2.9)]
    ):
        assert part.input == index
        printed(part.standard_uncertainty, figure, 1)
    expanded = length.expanded(0.99)
    printed(expanded.coverage_factor, 2.92, 2)
    printed(expanded.expanded_uncertainty, 92.5, 1)


def test_the_end_gauge_by_trials() -> None:
    """JCGM 101:2008, 9.5: 36 nm, where first order says 32 nm."""
    inputs: list[Distribution] = [
        mc.StudentT(centre=50_000_623.0, scale=25.0, degrees_of_freedom=18.0),
        mc.StudentT(centre=215.0, scale=6.0, degrees_of_freedom=24.0),
        mc.StudentT(centre=0.0, scale=4.0, degrees_of_freedom=5.0),
        mc.StudentT(centre=0.0, scale=7.0, degrees_of_freedom=8.0),
        mc.Rectangular(least=9.5e-6, most=13.5e-6),
        mc.CurvilinearTrapezoid(least=-1e-6, most=1e-6, limits_within=0.1e-6),
        mc.Normal(mean=-0.1, standard_deviation=0.2),
        mc.Arcsine(least=-0.5, most=0.5),
        mc.CurvilinearTrapezoid(least=-0.05, most=0.05, limits_within=0.025),
    ]

    def model(
        ls: Any, d: Any, rnd: Any, sys: Any, a: Any, da: Any, t: Any, s: Any, dt: Any
    ) -> Any:
        return end_gauge(ls, d + rnd + sys, a, da, t + s, dt) - 50_000_000

    result = monte_carlo(model, inputs, probability=0.99)
    (length,) = result.outputs
    assert abs(length.standard_uncertainty - 36) <= 1
    assert abs(length.estimate - 838) <= 1
    low, high = length.shortest_interval
    assert abs(low - 745) <= 1.5
    assert abs(high - 932) <= 1.5
    assert result.probability == 0.99


FUNCTIONS: dict[str, Callable[..., Any]] = {
    "products": lambda a, b, c: (a * b / c, a / b - c, p.sqrt(c) * a**3),
    "angles": lambda a, b, c: (p.atan2(a, b), p.hypot(a, b) * c, p.atan2(b, -c)),
    "trigonometry": lambda a, b, c: (
        p.sin(a) * p.cos(b) + p.tan(c),
        p.asin(a / 2) - p.atan(b),
        p.cos(a - c),
    ),
    "growth": lambda a, b, c: (p.exp(a) * p.ln(b + 1), c**-2 + a, p.ln(c) / p.exp(b)),
    "end_gauge": end_gauge,
    "impedance": impedance,
}
BY_NUMPY: dict[str, Callable[..., Any]] = {
    "products": lambda a, b, c: np.array([a * b / c, a / b - c, np.sqrt(c) * a**3]),
    "angles": lambda a, b, c: [np.arctan2(a, b), np.hypot(a, b) * c, np.arctan2(b, -c)],
    "trigonometry": lambda a, b, c: (
        np.sin(a) * np.cos(b) + np.tan(c),
        np.arcsin(a / np.float64(2)) - np.arctan(b),
        np.cos(a - c),
    ),
    "growth": lambda a, b, c: (
        np.exp(a) * np.log(1 + b),
        a + 1 / (c * c),
        np.log(c) / np.exp(b),
    ),
}


def cases() -> Iterator[Any]:
    """The cases of the vectors, thinned out."""
    for case in CASES["functions"][::5]:
        yield pytest.param(case, case["function"])
    for name in ("end_gauge", "impedance"):
        yield pytest.param(CASES[name][0], name)


@pytest.mark.parametrize(("case", "name"), list(cases()))
def test_other_libraries_agree(case: dict[str, Any], name: str) -> None:
    """GTC and uncertainties, each figure to 1e-12 of its own size."""
    inputs = [
        Input(
            one["estimate"],
            one["standard_uncertainty"],
            math.inf
            if one["degrees_of_freedom"] is None
            else one["degrees_of_freedom"],
        )
        for one in case["inputs"]
    ]
    correlation = case.get("correlation")
    result = law_of_propagation(FUNCTIONS[name], inputs, correlation=correlation)
    assert len(result.outputs) == len(case["estimates"])
    deviations = [output.standard_uncertainty for output in result.outputs]
    for k, output in enumerate(result.outputs):
        scale = max(1.0, abs(output.estimate))
        assert abs(output.estimate - case["estimates"][k]) <= 1e-12 * scale
        assert deviations[k] == pytest.approx(
            case["standard_uncertainties"][k], rel=1e-12
        )
        freedom = case["degrees_of_freedom"][k]
        expected = math.inf if freedom is None else freedom
        assert output.degrees_of_freedom == pytest.approx(expected, rel=1e-12)
        for l, other in enumerate(deviations):
            off = result.covariance[k][l] - case["covariance"][k][l]
            assert abs(off) <= 1e-12 * deviations[k] * other
    again = combine(
        inputs,
        estimates=[output.estimate for output in result.outputs],
        sensitivities=[output.sensitivities for output in result.outputs],
        correlation=correlation,
    )
    assert again == result
    if name in BY_NUMPY:
        by_numpy = law_of_propagation(BY_NUMPY[name], inputs, correlation=correlation)
        for output, other_output in zip(result.outputs, by_numpy.outputs, strict=True):
            assert other_output.sensitivities == pytest.approx(
                output.sensitivities, rel=1e-12, abs=1e-12
            )


def test_a_dual_number_computes_as_python_does() -> None:
    seen: list[Dual] = []

    def keep(x: Dual, y: Dual) -> Dual:
        seen.extend((x, y))
        return x

    law_of_propagation(keep, [known(2.0, 0.1), known(3.0, 0.1)])
    x, y = seen
    assert (x.value, x.derivatives) == (2.0, (1.0, 0.0))
    assert (x + y).derivatives == (1.0, 1.0)
    assert (1 - x).derivatives == (-1.0, 0.0)
    assert (1 / x).derivatives == (-0.25, 0.0)
    assert (2**x).derivatives[0] == pytest.approx(4 * math.log(2))
    assert (x**y).derivatives == pytest.approx((3 * 4.0, 8 * math.log(2)))
    assert (x**2).derivatives == (4.0, 0.0)
    assert (x**2.0).value == 4.0
    assert (x**0.5).derivatives[0] == pytest.approx(0.5 / math.sqrt(2))
    assert abs(-x).derivatives == (1.0, 0.0)
    assert (+x).value == 2.0
    assert x < y
    assert x <= 2
    assert x == 2
    assert x != y
    assert not x > y
    assert bool(x)
    assert np.degrees(x).derivatives[0] == pytest.approx(180 / math.pi)
    assert np.deg2rad(np.rad2deg(x)).value == pytest.approx(2)
    assert np.dot(np.array([x, y]), [2.0, 3.0]).derivatives == (2.0, 3.0)
    assert repr(x) == "Dual(2.0, derivatives=(1.0, 0.0))"
    with pytest.raises(TypeError, match="numpy in place of those of math"):
        math.sin(x)
    with pytest.raises(ZeroDivisionError):
        x / 0
    with pytest.raises(ZeroDivisionError):
        1 / (x - 2)
    with pytest.raises(TypeError):
        x + "1"  # type: ignore[operator]
    with pytest.raises(TypeError):
        hash(x)
    with pytest.raises(TypeError):
        pow(x, 2, 5)  # type: ignore[misc]


def test_the_elementary_functions_serve_both_methods() -> None:
    for name in ("sqrt", "sin", "cos", "tan", "asin", "atan", "exp", "ln"):
        function = getattr(p, name)
        plain = function(0.5)
        assert plain == pytest.approx(
            getattr(math, "log" if name == "ln" else name)(0.5)
        )
        (output,) = law_of_propagation(function, [known(0.5, 0.1)]).outputs
        assert output.estimate == plain
    for name in ("atan2", "hypot"):
        function = getattr(p, name)
        (output,) = law_of_propagation(
            lambda x, y, of=function: of(x, y), [known(0.5, 0.1), known(0.3, 0.1)]
        ).outputs
        assert output.estimate == function(0.5, 0.3)
        (output,) = law_of_propagation(
            lambda y, of=function: of(0.5, y), [known(0.3, 0.1)]
        ).outputs
        assert output.estimate == function(0.5, 0.3)
    with pytest.raises(TypeError):
        p.sin("x")  # type: ignore[type-var]


def test_what_comes_out_are_values() -> None:
    result = law_of_propagation(operator.mul, [known(2.0, 0.3), Input(1.0, 0.4, 5.0)])
    for value in (result, result.outputs[0], result.outputs[0].budget[0], known(1, 2)):
        assert pickle.loads(pickle.dumps(value)) == value
        assert copy.copy(value) == value
        assert hash(copy.copy(value)) == hash(value)
    (constant,) = law_of_propagation(lambda x: 7, [known(1.0, 0.1)]).outputs
    assert (constant.estimate, constant.standard_uncertainty) == (7.0, 0.0)
    assert law_of_propagation(lambda x: (), [known(1.0, 0.1)]).outputs == ()


def test_observations_make_an_input() -> None:
    given = [-0.52, -0.48, -0.50, -0.50]
    one = Input.from_observations(given)
    assert Input.from_observations(np.array(given)) == one
    assert one.standard_uncertainty == pytest.approx(np.std(given, ddof=1) / 2)
    assert one.degrees_of_freedom == 3
    with pytest.raises(OutOfRangeError):
        Input.from_observations([1.0])
    with pytest.raises(NotFiniteError):
        Input.from_observations([1.0, math.nan])
    with pytest.raises(TypeError, match="observations"):
        Input.from_observations("12")


def test_faults_are_the_cores() -> None:
    two = [known(1.0, 0.1), known(2.0, 0.1)]
    with pytest.raises(NotACovarianceError):
        law_of_propagation(operator.add, two, correlation=[[1, 2], [2, 1]])
    with pytest.raises(OutOfRangeError):
        law_of_propagation(operator.add, two, correlation=[[1]])
    with pytest.raises(OutOfRangeError):
        law_of_propagation(operator.add, [known(1.0, -0.1), known(1.0, 0.1)])
    with pytest.raises(NotFiniteError):
        law_of_propagation(p.sqrt, [known(0.0, 0.1)])
    with pytest.raises(OutOfRangeError):
        combine(two, estimates=[1.0], sensitivities=[[1.0]])
    differ = [Input(1.0, 0.1, 3.0), Input(2.0, 0.1, 4.0)]
    (output,) = law_of_propagation(
        operator.add, differ, correlation=np.full((2, 2), 1.0)
    ).outputs
    assert output.degrees_of_freedom is None
    with pytest.raises(MissingInputError):
        output.expanded(0.95)
    with pytest.raises(OutOfRangeError):
        law_of_propagation(operator.add, two).outputs[0].expanded(1.0)


def test_what_is_no_model_is_refused() -> None:
    one = [known(1.0, 0.1)]
    for returned in (None, "1", [None], ["1"], object(), {"a": "b"}, True, [True]):
        with pytest.raises(TypeError, match="the function returned"):
            law_of_propagation(lambda x, back=returned: back, one)
        with pytest.raises(TypeError, match="the function returned"):
            monte_carlo(
                lambda x, back=returned: back, [mc.Normal(mean=0, standard_deviation=1)]
            )
    with pytest.raises(ValueError, match="64"):
        law_of_propagation(lambda *all_of: sum(all_of), one * (p.MAX_INPUTS + 1))
    most = law_of_propagation(lambda *all_of: sum(all_of), one * p.MAX_INPUTS)
    assert most.outputs[0].standard_uncertainty == pytest.approx(0.8)
    many = combine(one * 100, estimates=[1.0], sensitivities=[[1.0] * 100])
    assert many.outputs[0].standard_uncertainty == pytest.approx(1.0)
    with pytest.raises(TypeError, match=r"inputs\[0\]: an Input"):
        law_of_propagation(operator.neg, [1.0])  # type: ignore[list-item]
    with pytest.raises(TypeError, match=r"inputs\[0\]: a Distribution"):
        monte_carlo(operator.neg, one)  # type: ignore[list-item]
    with pytest.raises(TypeError):
        law_of_propagation(7, one)  # type: ignore[arg-type]


def test_what_a_model_raises_comes_out_as_it_is() -> None:
    class ModelError(Exception):
        pass

    fault = ModelError("of the model")

    def raising(*_: Any) -> Any:
        raise fault

    with pytest.raises(ModelError) as caught:
        law_of_propagation(raising, [known(1.0, 0.1)])
    assert caught.value is fault
    calls = 0

    def late(x: float) -> float:
        nonlocal calls
        calls += 1
        if calls == 5000:
            raise fault
        return x

    with pytest.raises(ModelError) as caught:
        monte_carlo(late, [mc.Normal(mean=0, standard_deviation=1)])
    assert caught.value is fault
    assert calls == 5000


def test_trials_are_those_of_the_session_method() -> None:
    """The same seed gives the same bits, whatever form the function has."""
    inputs = [mc.Rectangular(least=v - 0.005, most=v + 0.005) for v in (1.24, 0.87)]
    by_one = monte_carlo(operator.sub, inputs, significant_digits=1, seed=2**64 - 1)
    by_list = monte_carlo(
        lambda a, b: [a - b], inputs, significant_digits=1, seed=2**64 - 1
    )
    by_array = monte_carlo(
        lambda a, b: np.array(a - b), inputs, significant_digits=1, seed=2**64 - 1
    )
    assert by_one == by_list == by_array
    other = monte_carlo(operator.sub, inputs, significant_digits=1, seed=1)
    assert other != by_one
    assert other.outputs[0].standard_uncertainty == pytest.approx(0.0041, abs=1e-4)


@pytest.mark.parametrize("case", CASES["distributions"][::40])
def test_distributions(case: dict[str, Any]) -> None:
    """SciPy 1.17.1."""
    name = "".join(word.capitalize() for word in case["distribution"].split("_"))
    kind = getattr(mc, name)
    names = [field for field in kind.__dataclass_fields__ if not field.startswith("_")]
    distribution: Distribution = kind(
        **dict(zip(names, case["parameters"], strict=True))
    )
    assert distribution.input().estimate == pytest.approx(case["mean"], abs=1e-12)
    if name != "StudentT":
        expected = case["standard_deviation"]
        assert distribution.input().standard_uncertainty == pytest.approx(
            expected, rel=1e-9
        )
    assert pickle.loads(pickle.dumps(distribution)) == distribution


def test_faults_of_trials_are_the_cores() -> None:
    normal = mc.Normal(mean=0.0, standard_deviation=1.0)
    with pytest.raises(OutOfRangeError):
        mc.Rectangular(least=1.0, most=0.0).input()
    with pytest.raises(OutOfRangeError):
        monte_carlo(operator.neg, [mc.Normal(mean=0.0, standard_deviation=-1.0)])
    with pytest.raises(OutOfRangeError):
        monte_carlo(operator.neg, [normal], significant_digits=5)
    with pytest.raises(OutOfRangeError):
        monte_carlo(operator.neg, [normal], most_trials=7)
    with pytest.raises(NotSettledError):
        monte_carlo(operator.neg, [normal], significant_digits=4, most_trials=100_000)
    with pytest.raises(NotFiniteError):
        monte_carlo(p.sqrt, [normal])
    with pytest.raises(NotACovarianceError):
        monte_carlo(operator.add, [normal] * 2, correlation=[[1, 2], [2, 1]])
    ragged = iter([[1.0], [1.0, 2.0]])
    with pytest.raises(ValueError, match="1 outputs at the estimates and 2 in a trial"):
        monte_carlo(lambda x: next(ragged), [normal])


def test_agreement_is_judged() -> None:
    inputs = [mc.Normal(mean=v, standard_deviation=0.02) for v in (3.0, 400.0)]
    law = law_of_propagation(p.atan2, [one.input() for one in inputs])
    trials = monte_carlo(p.atan2, inputs)
    judged = agree(law.outputs[0], trials, output=0, significant_digits=1)
    assert judged.agrees
    assert 0 <= judged.low <= judged.tolerance
    with pytest.raises(OutOfRangeError):
        agree(law.outputs[0], trials, output=1, significant_digits=1)
    with pytest.raises(OverflowError):
        agree(law.outputs[0], trials, output=-1, significant_digits=1)


ENDLESS = """
import operator, signal, sys
import wheel_alignment as wa
from wheel_alignment.monte_carlo import Normal, monte_carlo
from wheel_alignment.simulate import VirtualVehicle
from wheel_alignment.uncertainty import monte_carlo as of_a_session
signal.signal(signal.SIGINT, signal.default_int_handler)
normal = [Normal(mean=0.0, standard_deviation=1.0)]
print("ready", flush=True)
try:
    if sys.argv[1] == "session":
        car = VirtualVehicle(pose_noise={"rotation_deg": 0.005, "translation_mm": 0.05})
        of_a_session(car.session(), "wheels.fl.camber_deg", significant_digits=4)
    elif sys.argv[1] == "builtin":
        monte_carlo(operator.neg, normal, significant_digits=4)
    else:
        monte_carlo(lambda x: x, normal, significant_digits=4)
except KeyboardInterrupt:
    sys.exit(7)
"""


@pytest.mark.skipif(os.name == "nt", reason="signals are sent otherwise there")
@pytest.mark.parametrize("kind", ["session", "builtin", "lambda"])
def test_ctrl_c_ends_a_run(kind: str) -> None:
    with subprocess.Popen(
        [sys.executable, "-c", ENDLESS, kind], stdout=subprocess.PIPE, text=True
    ) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "ready\n"
        threading.Timer(0.5, process.send_signal, [signal.SIGINT]).start()
        assert process.wait(timeout=60) == 7
