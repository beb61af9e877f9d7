"""Pictures: what they say is right, is told apart, and does not lie upon itself."""

import itertools
import math
import re
import runpy
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from conftest import Tree
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patches import FancyBboxPatch
from matplotlib.text import Text
from matplotlib.transforms import BboxBase
from wheel_alignment import Alignment, _plots, assess, measure, sweep
from wheel_alignment.uncertainty import propagate


def texts(ax: Axes) -> list[Text]:
    """All that is written."""
    return [text for text in ax.findobj(Text) if text.get_text().strip()]


def written(ax: Axes) -> str:
    """The same, line by line."""
    return "\n".join(text.get_text() for text in texts(ax))


def heading_deg(ax: Axes, wheel: str) -> float:
    """How far a wheel is drawn turned from straight ahead, to the left."""
    (patch,) = (patch for patch in ax.patches if patch.get_gid() == f"wheel {wheel}")
    assert isinstance(patch, FancyBboxPatch)
    matrix = (patch.get_transform() - ax.transData).get_matrix()
    return math.degrees(math.atan2(matrix[1][0], matrix[0][0]))


def thrust_deg(ax: Axes) -> float:
    """How far the thrust line is drawn turned from straight ahead, to the right."""
    (arrow,) = (
        of
        for of in ax.texts
        if (patch := getattr(of, "arrow_patch", None)) is not None
        and patch.get_linewidth() > 2.0
    )
    (x, y), (to_x, to_y) = arrow.xyann, arrow.xy  # type: ignore[attr-defined]
    return math.degrees(math.atan2(to_x - x, to_y - y))


def turned(alignment: Alignment, toes: dict[str, float], thrust: float) -> Alignment:
    """The car with other toes to the centreline, and another thrust line."""
    wheels = {
        wheel: replace(
            getattr(alignment.wheels, wheel), toe_deg=toe, toe_to_centreline_deg=toe
        )
        for wheel, toe in toes.items()
    }
    return replace(
        alignment,
        wheels=replace(alignment.wheels, **wheels),
        chassis=replace(alignment.chassis, thrust_angle_deg=thrust),
    )


EXTREMES = {
    "toed in": ({"fl": 7.9, "fr": 8.0, "rl": 3.0, "rr": 2.9}, 0.05),
    "crabbing to the left": ({"fl": -7.9, "fr": 8.0, "rl": -2.5, "rr": 2.8}, -2.65),
    "crabbing to the right": ({"fl": 6.0, "fr": -6.0, "rl": 2.9, "rr": -2.9}, 2.9),
    "straight": (dict.fromkeys(("fl", "fr", "rl", "rr"), 0.0), 0.0),
    "absurd": ({"fl": 40.0, "fr": -60.0, "rl": 20.0, "rr": -20.0}, 20.0),
}


def test_the_plan_view_says_what_was_measured(session_path: Path) -> None:
    said = written(measure(session_path).plot())
    for line in (
        "camber −0.41°\ntop inward\ntoe +0.09°\ntoe-in",
        "camber −0.58°\ntop inward\ntoe 0.00°\nstraight",
        "total toe +0.08°, toe-in\nsetback 11.6 mm, right wheel further rearward\n"
        "track 1540.0 mm",
        "setback 1.9 mm, left wheel further rearward",
        "thrust line\n+0.06°\nto the right",
        "wheelbase left\n2626.8 mm",
        "wheelbase right\n2613.2 mm",
        "Drawn: toe and thrust angle 30 times larger, setback 10 times larger.",
        "Front toe is to the thrust line, rear toe to the centreline.",
    ):
        assert line in said, said


def test_what_values_are_worth_stands_beside_them(session_path: Path) -> None:
    said = written(assess(session_path).plot())
    assert "camber −0.410 ± 0.019°" in said
    assert "setback 11.65 ± 0.39 mm, right wheel further rearward" in said
    assert "± is the expanded uncertainty (95 %)." in said
    assert "±" not in written(measure(session_path).plot())


@pytest.mark.parametrize("name", EXTREMES)
def test_angles_are_drawn_as_much_larger_as_is_stated(
    session_path: Path, name: str
) -> None:
    toes, thrust = EXTREMES[name]
    car = turned(measure(session_path).alignment, toes, thrust)
    for asked in (None, 1.0, 4.0):
        ax = car.plot(exaggeration=asked)
        stated = written(ax).partition("thrust angle ")[2].partition(",")[0]
        factor = 1.0 if stated == "as they are" else float(stated.split()[0])
        assert asked is None or factor == asked
        for wheel, toe in toes.items():
            # Toe-in: the left wheel points to the right, the right one to the left.
            to_left = toe if wheel.endswith("r") else -toe
            off = math.remainder(heading_deg(ax, wheel) - factor * to_left, 360.0)
            assert abs(off) < 1e-9
        assert thrust_deg(ax) == pytest.approx(factor * thrust, abs=1e-6)
        if asked is None and name != "absurd":
            drawn = factor * max(*map(abs, toes.values()), abs(thrust))
            assert drawn <= 9.0
    side = "to the left" if thrust < 0 else "to the right"
    assert (side in written(ax)) == (thrust != 0.0)


def test_a_wheel_that_stands_back_is_drawn_so(session_path: Path) -> None:
    alignment = measure(session_path).alignment
    ax = alignment.plot()
    at = {patch.get_gid(): patch.get_bbox() for patch in ax.patches if patch.get_gid()}
    setback = alignment.axles.front.setback_mm
    assert setback is not None
    assert setback > 0.0
    drawn = at["wheel fl"].y0 - at["wheel fr"].y0
    assert drawn == pytest.approx(10.0 * setback)
    # The driver's left is on the left of the page, and the front at the top.
    assert at["wheel fl"].x0 < 0.0 < at["wheel fr"].x0
    assert at["wheel fl"].y0 > at["wheel rl"].y1


@pytest.mark.parametrize("factor", [0.0, -1.0, math.nan, math.inf])
def test_a_factor_that_is_none_is_refused(session_path: Path, factor: float) -> None:
    with pytest.raises(ValueError, match="finite factor above 0"):
        measure(session_path).plot(exaggeration=factor)


def hidden(session: Tree) -> Alignment:
    session["ahead"]["rr"] = None
    return measure(session).alignment


def nothing(session: Tree) -> Alignment:
    session["ahead"] = {}
    return measure(session).alignment


def test_the_picture_of_the_readme_is_current(
    session_path: Path, tmp_path: Path
) -> None:
    # What is written; how the lines run may differ from one Matplotlib to another.
    drawn = tmp_path / "drawn.svg"
    program = session_path.parent / "plan_view.py"
    runpy.run_path(str(program))["draw"](drawn)
    stored = session_path.parent / "plan_view.svg"
    said = [
        re.findall("<!-- (.*) -->", of.read_text("utf-8")) for of in (drawn, stored)
    ]
    assert (
        "Drawn: toe and thrust angle 30 times larger, setback 10 times larger."
        in said[0]
    )
    assert said[0] == said[1], "python examples/plan_view.py, and look at it"


def test_what_is_absent_is_said_to_be(session: Tree) -> None:
    ax = hidden(session).plot()
    said = written(ax)
    assert "camber −0.41°\ntop inward\ntoe absent" in said
    assert "camber absent\ntoe absent" in said
    assert "Not all wheels were seen straight ahead" in said
    assert "thrust line\n" not in said
    assert all(patch.get_linestyle() == "--" for patch in ax.patches if patch.get_gid())


def test_the_sweep_is_drawn_as_it_was(session_path: Path) -> None:
    swept = sweep.follow(session_path)
    top, directions, positions = swept.plot()
    said = written(top)
    assert "left: caster +4.62°, SAI +13.00°" in said
    assert "right: caster +3.06°, SAI +13.12°" in said
    assert "Sweep with the wheels locked" in said
    marks = [line for line in top.lines if line.get_marker() in ("o", "s")]
    for wheel, line in zip((swept.left, swept.right), marks, strict=True):
        assert [*line.get_xdata()] == [of.steer_deg for of in wheel.stations]
        assert [*line.get_ydata()] == [of.camber_deg for of in wheel.stations]
    for ax, name, unit in (
        (directions, "rotation_deg", "°"),
        (positions, "translation_mm", " mm"),
    ):
        heights = [bar.get_height() for bar in ax.patches]
        assert heights == [
            getattr(of.residual, name)
            for wheel in (swept.left, swept.right)
            for of in wheel.stations
        ]
        whole = swept.left.axis
        rms = whole.residual_deg if unit == "°" else whole.residual_mm
        digits = 4 if unit == "°" else 3
        assert f"root mean square: left {rms:.{digits}f}{unit}, right" in written(ax)


def test_the_curve_is_that_of_the_fitted_axis(session: Tree) -> None:
    # Without noise the stations lie on it: the demo's own poses, turned about its axis.
    swept = sweep.follow(session)
    for wheel, side in ((swept.left, 1.0), (swept.right, -1.0)):
        curve = _plots.fitted_curve(wheel, side)
        assert curve is not None
        steer, camber = curve
        assert all(before < after for before, after in itertools.pairwise(steer))
        least = min(of.steer_deg for of in wheel.stations)
        assert steer[0] == pytest.approx(least - 1.6, abs=0.3)
        for of in wheel.stations:
            near = min(range(len(steer)), key=lambda i: abs(steer[i] - of.steer_deg))
            assert camber[near] == pytest.approx(of.camber_deg, abs=0.05)


def test_a_sweep_that_was_hardly_seen_is_drawn_all_the_same(session: Tree) -> None:
    for station in session["sweep"]:
        station["fl"] = None
    for station in session["sweep"][1:]:
        station["fr"] = None
    swept = sweep.follow(session)
    said = written(swept.plot()[0])
    assert "left: not seen" in said
    assert "right: no axis found" in said


def test_a_budget_is_drawn_with_its_shares(session_path: Path) -> None:
    known = propagate(session_path)
    budget = known.budget("wheels.fl.camber_deg")
    ax = budget.plot()
    said = written(ax)
    assert "What makes wheels.fl.camber_deg uncertain" in said
    assert "Standard uncertainty (°)" in said
    widths = [bar.get_width() for bar in ax.patches]
    assert widths[:-1] == [part.standard_uncertainty for part in budget]
    assert widths[-1] == budget.standard_uncertainty
    assert math.hypot(*widths[:-1]) == pytest.approx(widths[-1], rel=1e-9)
    labels = [label.get_text() for label in ax.get_yticklabels()]
    assert labels[0] == "poses, rolling, fl"
    assert labels[-1] == "together"
    assert f"({100 * budget[0].share:.1f} %)" in said

    long = known.budget_by_pose("steering.left.caster_trail_mm")
    ax = long.plot()
    assert "others together" in written(ax)
    widths = [bar.get_width() for bar in ax.patches]
    assert len(widths) == 13 < len(long)
    assert math.hypot(*widths[:-1]) == pytest.approx(widths[-1], rel=1e-9)
    assert "Standard uncertainty (mm)" in written(ax)


def test_a_budget_of_nothing_says_so(session: Tree) -> None:
    del session["sweep"]
    budget = propagate(session).budget("steering.left.caster_deg")
    assert len(budget) == 0
    assert budget.standard_uncertainty is None
    assert "Nothing: it is absent." in written(budget.plot())


def test_pictures_go_where_they_are_asked(session_path: Path) -> None:
    figure = Figure()
    left, right = figure.subplots(1, 2)
    result = measure(session_path)
    assert result.plot(ax=left) is left
    assert propagate(session_path).budget("wheels.fl.toe_deg").plot(ax=right) is right
    three = Figure().subplots(3)
    drawn = sweep.follow(session_path).plot(ax=three)
    assert list(drawn) == list(three)


def pictures(session: Tree, path: Path) -> dict[str, Figure]:
    known = propagate(path)
    cars = {
        name: turned(known.measurement.alignment, *extreme).plot()
        for name, extreme in EXTREMES.items()
    }
    drawn: dict[str, Axes] = {
        **cars,
        "assessed": assess(path).plot(),
        "hidden": hidden(session).plot(),
        "nothing seen": nothing(session).plot(),
        "sweep": sweep.follow(path).plot()[0],
        "sweep of a joint fit": sweep.follow(path, method="joint").plot()[0],
        "budget": known.budget("wheels.fl.camber_deg").plot(),
        "long budget": known.budget_by_pose("steering.left.caster_trail_mm").plot(),
    }
    figures: dict[str, Any] = {name: ax.figure for name, ax in drawn.items()}
    return figures


def inside(text: Text) -> BboxBase:
    # A hair less than it takes: letters that touch are no fault.
    return text.get_window_extent().padded(-1.0)


def unseen(ax: Axes) -> set[Text]:
    """The labels of ticks that lie beyond the axes: they are not drawn."""
    labels = set()
    for axis in (ax.xaxis, ax.yaxis):
        least, most = sorted(axis.get_view_interval())
        for tick in axis.get_major_ticks():
            if not least <= tick.get_loc() <= most:
                labels |= {tick.label1, tick.label2}
    return labels


def test_nothing_written_overlaps_or_is_cut(session: Tree, session_path: Path) -> None:
    for name, figure in pictures(session, session_path).items():
        FigureCanvasAgg(figure).draw()
        seen = [
            text
            for ax in figure.axes
            for text in texts(ax)
            if text.get_visible() and text not in unseen(ax)
        ]
        for text in seen:
            box = inside(text)
            assert figure.bbox.x0 <= box.x0 < box.x1 <= figure.bbox.x1, (name, text)
            assert figure.bbox.y0 <= box.y0 < box.y1 <= figure.bbox.y1, (name, text)
        for one, other in itertools.combinations(seen, 2):
            if one.get_text() != other.get_text():
                assert not inside(one).overlaps(inside(other)), (name, one, other)


def luminance(ink: str) -> float:
    """The relative luminance of a colour: IEC 61966-2-1, and ITU-R BT.709's weights."""

    def linear(part: str) -> float:
        value = int(part, 16) / 255.0
        return value / 12.92 if value <= 0.04045 else ((value + 0.055) / 1.055) ** 2.4

    red, green, blue = (linear(ink[i : i + 2]) for i in (1, 3, 5))
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """The ratio of the luminances, each with the stray light of a screen."""
    least, most = sorted((luminance(one), luminance(other)))
    return (most + 0.05) / (least + 0.05)


def test_inks_are_told_apart_in_grey() -> None:
    paper = "#ffffff"
    for ink in (_plots.INK, _plots.LEFT, _plots.RIGHT):
        assert contrast(ink, paper) > 3.0
    assert contrast(_plots.LEFT, _plots.RIGHT) > 3.0
    assert contrast(_plots.INK, _plots.RIGHT) > 3.0
    assert contrast(_plots.INK, _plots.FAINT) > 7.0


def test_no_state_of_pyplot_is_touched(session_path: Path) -> None:
    program = (
        "import sys, pathlib, wheel_alignment as wa\n"
        f"path = pathlib.Path({str(session_path)!r})\n"
        "wa.measure(path).plot()\n"
        "wa.sweep.follow(path).plot()\n"
        "print('matplotlib.pyplot' in sys.modules)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "False"


@pytest.mark.parametrize(
    "draw",
    [
        lambda path: measure(path).plot(),
        lambda path: sweep.follow(path).plot(),
        lambda path: propagate(path).budget("wheels.fl.toe_deg").plot(),
    ],
)
def test_without_matplotlib_the_extra_is_named(
    session_path: Path, monkeypatch: pytest.MonkeyPatch, draw: Callable[[Path], object]
) -> None:
    monkeypatch.setitem(sys.modules, "matplotlib.figure", None)
    monkeypatch.setitem(sys.modules, "matplotlib", None)
    with pytest.raises(ImportError, match=r"pip install 'wheel_alignment\[plot\]'"):
        draw(session_path)
