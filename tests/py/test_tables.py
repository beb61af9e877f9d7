"""Results as plain data and as tables of the usual packages."""

import json
import math
import subprocess
import sys
from pathlib import Path
from typing import Protocol

import pandas
import polars
import pyarrow
import pytest
from conftest import Tree
from wheel_alignment import Alignment, Assessment, Measurement, assess, measure, sweep
from wheel_alignment.conformity import Verdicts
from wheel_alignment.paths import READINGS, unit
from wheel_alignment.sweep import Sweep
from wheel_alignment.uncertainty import Budget, propagate


class Tabular(Protocol):
    def to_pandas(self) -> pandas.DataFrame: ...
    def to_polars(self) -> polars.DataFrame: ...
    def to_arrow(self) -> pyarrow.Table: ...


def every_table(session: Tree, specification: Tree) -> dict[str, Tabular]:
    """One of each, with something absent in most."""
    session["sweep"][2]["fl"] = None
    del session["lock_left"]
    known, assessed = propagate(session), assess(session, specification)
    assert assessed.verdicts is not None
    return {
        "alignment": known.measurement.alignment,
        "measurement": known.measurement,
        "assessment": assessed,
        "verdicts": assessed.verdicts,
        "uncertainty": known,
        "budget": known.budget_by_pose("steering.left.caster_deg"),
        "sweep": sweep.follow(session),
    }


def plain(value: object) -> object:
    """A cell as Python has it; None where it is absent."""
    if value is None or value is pandas.NA or value != value:
        return None
    return value


def test_every_package_has_the_same_table(session: Tree, specification: Tree) -> None:
    kinds = {"path": "string", "value": "double", "station": "int64", "wheel": "string"}
    for name, result in every_table(session, specification).items():
        frame, table = result.to_pandas(), result.to_arrow()
        rows = result.to_polars().rows(named=True)
        assert table.to_pylist() == rows, name
        assert len(frame) == len(rows) > 0, name
        assert list(frame) == table.column_names, name
        for at, row in enumerate(rows):
            assert {key: plain(frame[key][at]) for key in frame} == row, name
        for column, kind in kinds.items():
            if column in frame:
                assert str(table.schema.field(column).type) == kind, (name, column)


def test_an_alignment_has_a_row_for_each_reading(session: Tree) -> None:
    del session["lock_left"]
    alignment = measure(session).alignment
    frame = alignment.to_pandas()
    assert list(frame) == ["path", "value", "unit"]
    assert tuple(frame["path"]) == READINGS
    assert list(frame["unit"]) == [unit(path) for path in READINGS]
    by_path = frame.set_index("path")["value"]
    assert by_path["wheels.fl.camber_deg"] == alignment.wheels.fl.camber_deg
    assert math.isnan(by_path["turns.lock_left.left_deg"])
    assert frame["value"].dtype == "float64"
    assert alignment.values() == tuple(map(alignment.get, READINGS))


def test_an_assessment_has_what_is_known_of_each(
    session: Tree, specification: Tree
) -> None:
    known = assess(session, specification)
    table = known.to_arrow()
    rows = {row["path"]: row for row in table.to_pylist()}
    assert known.expanded_uncertainty is not None
    assert known.uncertainty is not None
    assert known.verdicts is not None
    for verdict in known.verdicts.readings:
        row = rows[verdict.path]
        assert row["value"] == verdict.value
        assert row["standard_uncertainty"] == verdict.standard_uncertainty
        assert (row["min"], row["max"]) == (verdict.limits.min, verdict.limits.max)
        assert row["verdict"] == verdict.verdict
        assert row["probability_of_conformity"] == verdict.probability_of_conformity
    row = rows["chassis.wheelbase_left_mm"]
    assert row["expanded_uncertainty"] == known.expanded_uncertainty.get(row["path"])
    assert row["degrees_of_freedom"] == math.inf
    assert row["verdict"] is None

    del session["pose_noise"]
    bare = assess(session).to_polars()
    assert bare["standard_uncertainty"].null_count() == len(READINGS)
    assert bare["standard_uncertainty"].dtype == polars.Float64


def test_a_sweep_has_a_row_for_each_wheel_and_station(session: Tree) -> None:
    session["sweep"][2]["fl"] = None
    swept = sweep.follow(session)
    frame = swept.to_pandas()
    count = len(session["sweep"])
    assert len(frame) == 2 * count - 1
    left = frame[frame["side"] == "left"]
    assert list(left["station"]) == [i for i in range(count) if i != 2]
    assert list(left["camber_deg"]) == [of.camber_deg for of in swept.left.stations]
    rms = math.sqrt((left["rotation_deg"] ** 2).mean())
    assert rms == pytest.approx(swept.left.axis.residual_deg)


def test_a_budget_is_a_sequence(session_path: Path) -> None:
    known = propagate(session_path)
    budget = known.budget("axles.front.setback_mm")
    assert (budget.path, budget.unit) == ("axles.front.setback_mm", "mm")
    assert budget.standard_uncertainty == known.standard.axles.front.setback_mm
    assert tuple(budget) == budget.contributions
    assert budget[0] is next(iter(budget))
    assert budget[-1] in budget
    assert budget[:2] == budget.contributions[:2]
    assert hash(budget) == hash(known.budget("axles.front.setback_mm"))
    with pytest.raises(AttributeError):
        budget.path = "x"  # type: ignore[misc]


def test_what_goes_through_a_dict_comes_back(
    session: Tree, specification: Tree
) -> None:
    for spoil in (False, True):
        if spoil:
            session["ahead"]["rr"] = None
            session["rolling"][0]["fl"] = [session["rolling"][0]["fl"]] * 2
        assessed = assess(session, specification)
        assert assessed.verdicts is not None
        results: list[tuple[type, object]] = [
            (Alignment, assessed.alignment),
            (Measurement, measure(session, method="joint")),
            (Assessment, assessed),
            (Assessment, assess(session)),
            (Verdicts, assessed.verdicts),
            (Budget, propagate(session).budget("wheels.fl.camber_deg")),
            (Sweep, sweep.follow(session)),
        ]
        for kind, result in results:
            tree = result.to_dict()  # type: ignore[attr-defined]
            made = json.loads(json.dumps(tree, allow_nan=False))
            assert made == tree
            again = kind.from_dict(made)  # type: ignore[attr-defined]
            assert again == result, kind
            assert type(again) is kind


def test_an_uncertainty_gives_its_trees(session: Tree) -> None:
    known = propagate(session)
    tree = known.to_dict()
    assert Measurement.from_dict(tree["measurement"]) == known.measurement  # type: ignore[arg-type]
    assert Alignment.from_dict(tree["standard"]) == known.standard  # type: ignore[arg-type]
    json.dumps(tree, allow_nan=False)


@pytest.mark.parametrize("tree", [None, [], "{}", 1, {}, {"wheels": {}, "x": 1}])
def test_what_is_no_result_is_a_type_error(tree: Tree) -> None:
    with pytest.raises(TypeError):
        Alignment.from_dict(tree)


def test_no_package_is_imported_before_it_is_asked_for(session_path: Path) -> None:
    names = ("numpy", "pandas", "polars", "pyarrow", "matplotlib")
    program = (
        "import sys, pathlib, wheel_alignment as wa\n"
        f"path = pathlib.Path({str(session_path)!r})\n"
        "wa.assess(path).to_dict()\n"
        "wa.sweep.follow(path)\n"
        "wa.uncertainty.propagate(path).budget('wheels.fl.toe_deg')\n"
        f"print([name for name in {names!r} if name in sys.modules])\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "[]"


@pytest.mark.parametrize(
    ("package", "method", "extra"),
    [
        ("pandas", "to_pandas", "pandas"),
        ("polars", "to_polars", "polars"),
        ("pyarrow", "to_arrow", "arrow"),
    ],
)
def test_without_the_package_the_extra_is_named(
    session_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    package: str,
    method: str,
    extra: str,
) -> None:
    result = measure(session_path)
    monkeypatch.setitem(sys.modules, package, None)
    with pytest.raises(ImportError, match=rf"wheel_alignment\[{extra}\]") as caught:
        getattr(result, method)()
    assert caught.value.name == package
