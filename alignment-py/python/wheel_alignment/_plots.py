"""The pictures: what `plot` of a result draws.

Two inks carry the meaning, left and right. They stand out from the paper and from each
other by a contrast of 3 or more, so that they are told apart in grey and by every eye;
line, mark and hatch differ as well.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Final, Literal

from wheel_alignment._tables import extra
from wheel_alignment.paths import unit

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from numpy import float64
    from numpy.typing import NDArray

    from wheel_alignment.alignment import Alignment
    from wheel_alignment.sweep import Sweep, SweptWheel
    from wheel_alignment.uncertainty import Budget, Contribution

INK: Final = "#1d2733"
"""Texts, wheels, the car's own lines."""
FAINT: Final = "#dfe4e8"
"""Fills, and lines behind all else."""
LEFT: Final = "#123f6b"
"""The left side; the only series."""
RIGHT: Final = "#d1752a"
"""The right side; the line that matters most."""

WHEELS: Final = {
    "fl": "Front left",
    "fr": "Front right",
    "rl": "Rear left",
    "rr": "Rear right",
}
UNITS: Final = {"deg": "°", "mm": " mm", "1": ""}


def _figure(
    width: float, height: float, layout: Literal["constrained"] | None = "constrained"
) -> Figure:
    """Make a figure that no global state knows of, so many inches in size."""
    with extra("plot"):
        from matplotlib.figure import Figure
    return Figure(figsize=(width, height), layout=layout)


def _digits(unit: str, expanded: float | None) -> int:
    """How many decimals a value is shown with."""
    digits = 2 if unit == "deg" else 1
    if expanded is not None and expanded > 0.0:
        # Two significant digits of the uncertainty, within reason.
        digits = min(max(digits, 1 - math.floor(math.log10(expanded))), 6)
    return digits


def number(
    value: float, unit: str, expanded: float | None = None, *, sign: bool = True
) -> str:
    """Write a value for people: its sign, as many digits as it is worth, its unit."""
    digits = _digits(unit, expanded)
    value = round(value, digits) + 0.0
    text = f"{value:+.{digits}f}" if sign and value else f"{value:.{digits}f}"
    if expanded is not None:
        text += f" ± {expanded:.{digits}f}"
    return text.replace("-", "−") + UNITS[unit]


# The plan view. On the page x is to the right and y forward, both in mm.

TYRE_MM: Final = (620.0, 190.0)
"""Length and width of a wheel as drawn."""
MARGIN_MM: Final = 1400.0
"""On either side of the wheels, for what is said of them."""
FACTORS: Final = (50.0, 30.0, 20.0, 10.0, 5.0, 3.0, 2.0)
"""How many times larger things may be drawn."""
MOST_DEG: Final = 9.0
"""The greatest angle that is still drawn larger than it is."""
MOST_MM: Final = 150.0
"""The greatest setback that is still drawn larger than it is."""


def _factor(values: Iterable[float | None], most: float) -> float:
    """How many times larger values can be drawn so that the largest is no larger."""
    largest = max([abs(value) for value in values if value is not None], default=0.0)
    return next((factor for factor in FACTORS if factor * largest <= most), 1.0)


def _times(factor: float, as_is: str) -> str:
    return as_is if factor == 1.0 else f"{factor:g} times larger"


def plan_view(
    alignment: Alignment,
    expanded: Alignment | None,
    exaggeration: float | None,
    ax: Axes | None,
) -> Axes:
    """Draw the car from above."""
    if exaggeration is not None and not 0.0 < exaggeration < math.inf:
        raise ValueError(
            f"exaggeration is {exaggeration}; it is a finite factor above 0, "
            "and 1 draws angles as they are"
        )
    if ax is None:
        ax = _figure(7.4, 8.0, None).add_axes((0.0, 0.0, 1.0, 1.0))
    return _PlanView(alignment, expanded, exaggeration, ax).draw()


class _PlanView:
    def __init__(
        self,
        alignment: Alignment,
        expanded: Alignment | None,
        exaggeration: float | None,
        ax: Axes,
    ) -> None:
        self.alignment, self.expanded, self.ax = alignment, expanded, ax
        get = alignment.get
        toes = [get(f"wheels.{wheel}.toe_to_centreline_deg") for wheel in WHEELS]
        self.thrust = get("chassis.thrust_angle_deg")
        self.turned = exaggeration or _factor([*toes, self.thrust], MOST_DEG)
        setbacks = [get(f"axles.{axle}.setback_mm") for axle in ("front", "rear")]
        self.shifted = _factor(setbacks, MOST_MM)
        # On any car, where not all are known: what is drawn is which wheel is where.
        somewhere = {
            "fl": (2600.0, 770.0),
            "fr": (2600.0, -770.0),
            "rl": (0.0, 770.0),
            "rr": (0.0, -770.0),
        }
        known = {
            wheel: (x, y)
            for wheel in WHEELS
            if (x := get(f"wheels.{wheel}.centre_mm[0]")) is not None
            and (y := get(f"wheels.{wheel}.centre_mm[1]")) is not None
        }
        self.placed = len(known) == len(WHEELS)
        centres = known if self.placed else somewhere
        self.at = {wheel: (-y, x) for wheel, (x, y) in centres.items()}
        self.front, self.rear = self._axle("fl", "fr"), self._axle("rl", "rr")
        for left, right, middle in (("fl", "fr", self.front), ("rl", "rr", self.rear)):
            for wheel in (left, right):
                across, along = self.at[wheel]
                self.at[wheel] = (across, middle + self.shifted * (along - middle))
        self.side = max(abs(across) for across, _ in self.at.values())

    def _axle(self, left: str, right: str) -> float:
        return (self.at[left][1] + self.at[right][1]) / 2.0

    def _say(self, path: str, *, sign: bool = True) -> str | None:
        """Write a reading, with what it is worth if that is known; None if absent."""
        value = self.alignment.get(path)
        if value is None:
            return None
        return number(value, unit(path), self._worth(path), sign=sign)

    def _worth(self, path: str) -> float | None:
        return None if self.expanded is None else self.expanded.get(path)

    def _in_words(self, path: str, positive: str, negative: str, zero: str) -> str:
        """Say what the sign of a reading, as it is shown, means."""
        value = self.alignment.get(path) or 0.0
        value = round(value, _digits(unit(path), self._worth(path)))
        return zero if not value else positive if value > 0.0 else negative

    def draw(self) -> Axes:
        ax = self.ax
        ax.set_aspect("equal")
        ax.set_axis_off()
        ax.set_xlim(-self.side - MARGIN_MM, self.side + MARGIN_MM)
        ax.set_ylim(self.rear - 1290.0, self.front + 960.0)
        for left, right, name in (("fl", "fr", "front"), ("rl", "rr", "rear")):
            self._draw_axle(left, right, name)
        if self.placed:
            self._draw_lines()
        for wheel in WHEELS:
            self._draw_wheel(wheel)
        self._draw_wheelbases()
        self._say_how_it_is_drawn()
        return ax

    def _text(
        self, x: float, y: float, text: str, *, up: float = 0.0, **how: object
    ) -> None:
        """Write at a place, or so many rows above it."""
        style: dict[str, object] = {
            "ha": "center",
            "va": "center",
            "fontsize": 9.0,
            "color": INK,
            "linespacing": 1.35,
            "xytext": (0.0, up * 12.5),
            "textcoords": "offset points",
        }
        self.ax.annotate(text, (x, y), **style | how)  # type: ignore[arg-type]

    def _draw_wheel(self, wheel: str) -> None:
        from matplotlib.patches import FancyBboxPatch
        from matplotlib.transforms import Affine2D

        (x, y), sign = self.at[wheel], 1.0 if wheel.endswith("l") else -1.0
        toe = self.alignment.get(f"wheels.{wheel}.toe_to_centreline_deg")
        length, width = TYRE_MM
        # To the left, as on the page: toe-in turns the left wheel to the right.
        turned = 0.0 if toe is None else -sign * toe * self.turned
        self.ax.add_patch(
            FancyBboxPatch(
                (x - width / 2.0, y - length / 2.0),
                width,
                length,
                boxstyle="round,pad=0,rounding_size=55",
                facecolor="white" if toe is None else FAINT,
                edgecolor=INK,
                linestyle="--" if toe is None else "-",
                linewidth=1.4,
                zorder=3.0,
                transform=Affine2D().rotate_deg_around(x, y, turned)
                + self.ax.transData,
                gid=f"wheel {wheel}",
            )
        )
        if toe is not None:
            # Where it points.
            heading = math.radians(turned)
            across, along = math.sin(heading) * length, math.cos(heading) * length
            self.ax.plot(
                [x + 0.36 * across, x - 0.62 * across],
                [y - 0.36 * along, y + 0.62 * along],
                color=INK,
                linewidth=1.1,
                zorder=4.0,
                label="_heading",
            )
        of = f"wheels.{wheel}"
        lines = []
        if (camber := self._say(f"{of}.camber_deg")) is not None:
            words = ("top outward", "top inward", "upright")
            lines += [f"camber {camber}", self._in_words(f"{of}.camber_deg", *words)]
        else:
            lines.append("camber absent")
        if (text := self._say(f"{of}.toe_deg")) is not None:
            words = ("toe-in", "toe-out", "straight")
            lines += [f"toe {text}", self._in_words(f"{of}.toe_deg", *words)]
        else:
            lines.append("toe absent")
        beside = x - sign * (TYRE_MM[1] / 2.0 + 130.0)
        left = "right" if sign > 0.0 else "left"
        name, text = WHEELS[wheel], "\n".join(lines)
        self._text(beside, y + 260.0, name, ha=left, va="top", weight="bold")
        self._text(beside, y + 260.0, text, ha=left, va="top", up=-1.1)

    def _draw_axle(self, left: str, right: str, name: str) -> None:
        middle = self.front if name == "front" else self.rear
        (x, y), (to_x, to_y) = self.at[left], self.at[right]
        style = "-" if self.placed else ":"
        self.ax.plot([x, to_x], [y, to_y], color=INK, linewidth=2.2, linestyle=style)
        setback = self._say(f"axles.{name}.setback_mm", sign=False)
        lines = []
        total = f"axles.{name}.total_toe_deg"
        if (text := self._say(total)) is not None:
            words = self._in_words(total, "toe-in", "toe-out", "straight")
            lines.append(f"total toe {text}, {words}")
        if setback is not None:
            # Square to the centreline, from the wheel that stands further forward.
            ahead = max(y, to_y)
            self.ax.plot(
                [x, to_x], [ahead, ahead], color=INK, linewidth=0.9, dashes=(2, 2)
            )
            path = f"axles.{name}.setback_mm"
            words = self._in_words(
                path, "right wheel further rearward", "left wheel further rearward", ""
            )
            drawn = abs(y - to_y)
            if drawn > 50.0:
                # How much further back, beside the wheel that it is.
                behind = 0.74 * (x if y < to_y else to_x)
                self.ax.annotate(
                    "",
                    (behind, ahead - drawn * (0.5 + 0.37)),
                    (behind, ahead),
                    arrowprops={
                        "arrowstyle": "-|>,head_width=0.16,head_length=0.3",
                        "color": INK,
                        "linewidth": 0.9,
                        "shrinkA": 0.0,
                        "shrinkB": 0.0,
                    },
                )
            text = setback.lstrip("−")
            lines.append(f"setback {text}, {words}" if words else f"setback {text}")
        if (text := self._say(f"axles.{name}.track_mm", sign=False)) is not None:
            lines.append(f"track {text}")
        lines = lines or ["total toe absent"]
        title, text = f"{name.capitalize()} axle", "\n".join(lines)
        if name == "front":
            self._text(0.0, middle + 420.0, text, va="bottom")
            up = len(lines) + 0.1
            self._text(0.0, middle + 420.0, title, va="bottom", weight="bold", up=up)
        else:
            self._text(0.0, middle - 390.0, title, va="top", weight="bold")
            self._text(0.0, middle - 390.0, text, va="top", up=-1.1)

    def _draw_lines(self) -> None:
        top, bottom = self.front + 330.0, self.rear - 330.0
        half = (self.front + self.rear) / 2.0
        self.ax.plot(
            [0.0, 0.0], [bottom, top], color=LEFT, linewidth=1.3, dashes=(9, 3, 2, 3)
        )
        start = (self.at["rl"][0] + self.at["rr"][0]) / 2.0
        if self.thrust is None:
            return
        angle = math.radians(self.thrust * self.turned)
        # As far as the front axle, unless it leaves the car before.
        length = (top - self.rear) / max(math.cos(angle), 0.1)
        room = self.side - TYRE_MM[1]
        length = min(length, room / max(abs(math.sin(angle)), 1e-9))
        tip = (start + length * math.sin(angle), self.rear + length * math.cos(angle))
        self.ax.annotate(
            "",
            tip,
            (start, self.rear),
            arrowprops={
                "arrowstyle": "-|>,head_width=0.28,head_length=0.6",
                "color": RIGHT,
                "linewidth": 2.4,
                "shrinkA": 0.0,
                "shrinkB": 0.0,
            },
            zorder=5.0,
        )
        path = "chassis.thrust_angle_deg"
        words = self._in_words(path, "to the right", "to the left", "straight ahead")
        right = 1.0 if self.thrust >= 0.0 else -1.0
        # Beside the line, halfway along the car or where it has not yet gone far out.
        lean = abs(math.tan(angle))
        up = min(half - self.rear, 260.0 / lean if lean > 0.0 else math.inf)
        beside = start + up * math.tan(angle) + right * 60.0
        value = self._say(path) or ""
        self._text(
            beside,
            self.rear + up,
            "thrust line\n" + value.replace(" ± ", "\n± ") + f"\n{words}",
            ha="left" if right > 0.0 else "right",
            color=INK,
            weight="bold",
        )
        self._text(
            -right * 60.0,
            half,
            "centreline",
            ha="right" if right > 0.0 else "left",
        )

    def _draw_wheelbases(self) -> None:
        half = (self.front + self.rear) / 2.0
        for name, sign in (("left", -1.0), ("right", 1.0)):
            text = self._say(f"chassis.wheelbase_{name}_mm", sign=False)
            if text is None:
                continue
            x = sign * (self.side + TYRE_MM[1] / 2.0 + 130.0)
            where = "right" if sign < 0.0 else "left"
            self._text(x, half, f"wheelbase {name}\n{text}", ha=where)

    def _say_how_it_is_drawn(self) -> None:
        lines = [
            "From above, front at the top. "
            "Front toe is to the thrust line, rear toe to the centreline.",
            f"Drawn: toe and thrust angle {_times(self.turned, 'as they are')}, "
            f"setback {_times(self.shifted, 'as it is')}.",
        ]
        if self.expanded is not None:
            lines.append("± is the expanded uncertainty (95 %).")
        if not self.placed:
            lines = [
                "From above, front at the top. Not all wheels were seen straight "
                "ahead: no centreline, no thrust line,",
                "and wheels drawn where they may be.",
                *lines[2:],
            ]
        self._text(0.0, self.rear - 1275.0, "\n".join(lines), va="bottom", fontsize=8.0)


# The sweep.

LEAST_DEG: Final = 0.001
"""The least height of the scale of directions: below it there is only rounding."""
LEAST_MM: Final = 0.01
"""The least height of the scale of positions."""
MOST_TICKS: Final = 12
"""So many stations have room for their numbers."""


def fitted_curve(
    wheel: SweptWheel, side: float
) -> tuple[NDArray[float64], NDArray[float64]] | None:
    """Steer angle and camber of a wheel that turns about its fitted axis.

    The spindle stays on the cone about the axis on which the stations lie on average.
    Some way beyond them at both ends.
    """
    import numpy as np

    if wheel.axis.axis_direction is None:
        return None
    axis = np.array(wheel.axis.axis_direction)
    spindles = np.array([station.spindle for station in wheel.stations])
    steer = np.radians([station.steer_deg for station in wheel.stations])
    height = float((spindles @ axis).mean())
    mean = spindles.mean(axis=0)
    out = mean - axis * (mean @ axis)
    out /= np.linalg.norm(out)
    ahead = np.cross(axis, out)
    along = np.radians(np.linspace(-60.0, 60.0, 721))[:, None]
    radius = math.sqrt(max(1.0 - height * height, 0.0))
    cone = height * axis + radius * (np.cos(along) * out + np.sin(along) * ahead)

    def yaw(spindle: NDArray[float64]) -> NDArray[float64]:
        return np.arctan2(-side * spindle[:, 0], side * spindle[:, 1])

    # From where the wheel's own heading straight ahead is counted.
    counted = yaw(spindles) - steer
    straight = math.atan2(np.sin(counted).mean(), np.cos(counted).mean())
    turned = np.degrees(np.unwrap(yaw(cone) - straight))
    turned -= 360.0 * np.round(turned[len(turned) // 2] / 360.0)
    camber = -np.degrees(np.arcsin(np.clip(cone[:, 2], -1.0, 1.0)))
    least, most = np.degrees([steer.min(), steer.max()])
    beyond = 0.04 * (most - least)
    within = (turned >= least - beyond) & (turned <= most + beyond)
    return turned[within], camber[within]


def sweep(swept: Sweep, axes: Sequence[Axes] | None) -> tuple[Axes, Axes, Axes]:
    """Draw the sweep: camber over steer angle, and what the fitted axes leave over."""
    if axes is None:
        axes = _figure(7.4, 7.2).subplots(3, gridspec_kw={"height_ratios": [3, 1, 1]})
    top, directions, positions = axes
    sides = (
        ("left", swept.left, LEFT, "o", "-", 1.0),
        ("right", swept.right, RIGHT, "s", "--", -1.0),
    )
    for name, wheel, ink, mark, line, sign in sides:
        if not wheel.stations:
            top.plot([], [], " ", label=f"{name}: not seen")
            continue
        said = f"{name}: no axis found"
        if wheel.axis.caster_deg is not None and wheel.axis.sai_deg is not None:
            caster = number(wheel.axis.caster_deg, "deg")
            said = f"{name}: caster {caster}, SAI {number(wheel.axis.sai_deg, 'deg')}"
        curve = fitted_curve(wheel, sign)
        if curve is not None:
            top.plot(*curve, line, color=ink, linewidth=1.6)
        top.plot(
            [station.steer_deg for station in wheel.stations],
            [station.camber_deg for station in wheel.stations],
            mark,
            color=ink,
            markerfacecolor="white" if name == "right" else ink,
            markersize=6.0,
            label=said,
        )
    held = "locked" if swept.sweep_wheels_locked else "free to roll"
    top.set_title(
        f"Sweep with the wheels {held}: marks as seen, curves by the fitted axes",
        fontsize=10.0,
    )
    top.set_xlabel("Steer angle from straight ahead (°), + to the left")
    top.set_ylabel("Camber (°)\n+ top outward")
    top.grid(color=FAINT)
    top.set_axisbelow(True)
    # Below the lines: nothing that was seen is hidden.
    top.margins(y=0.08)
    least, most = top.get_ylim()
    top.set_ylim(least, most + 0.24 * (most - least))
    top.legend(loc="upper left", ncols=2, fontsize=8.5, frameon=False)

    _residuals(directions, swept, "rotation_deg", "deg", LEAST_DEG)
    _residuals(positions, swept, "translation_mm", "mm", LEAST_MM)
    directions.set_ylabel("Direction\noff (°)")
    positions.set_ylabel("Position\noff (mm)")
    positions.set_xlabel("Station of the sweep, and its steer angle")
    return top, directions, positions


def _whole(value: float) -> str:
    value = round(value)
    return f"{value:+d}".replace("-", "−") if value else "0"


def _residuals(ax: Axes, swept: Sweep, name: str, unit: str, least: float) -> None:
    """Bars of what the fitted axes leave over, station by station."""
    said, highest = [], least
    for side, wheel, ink, hatch, shift in (
        ("left", swept.left, LEFT, None, -0.2),
        ("right", swept.right, RIGHT, "////", 0.2),
    ):
        seen = [station for station in wheel.stations if station.residual is not None]
        if not seen:
            continue
        heights = [float(getattr(station.residual, name)) for station in seen]
        highest = max(highest, *heights)
        ax.bar(
            [station.station + shift for station in seen],
            heights,
            width=0.36,
            facecolor=ink if hatch is None else "white",
            edgecolor=ink,
            hatch=hatch,
            linewidth=1.0,
        )
        rms = math.sqrt(sum(height * height for height in heights) / len(heights))
        digits = 4 if unit == "deg" else 3
        said.append(f"{side} {rms:.{digits}f}{UNITS[unit]}")
    ax.set_ylim(0.0, 1.5 * highest)
    if said:
        ax.text(
            0.99,
            0.93,
            "root mean square: " + ", ".join(said),
            transform=ax.transAxes,
            ha="right",
            va="top",
            fontsize=8.0,
            color=INK,
        )
    ax.grid(axis="y", color=FAINT)
    ax.set_axisbelow(True)
    steer: dict[int, list[float]] = {}
    for wheel in (swept.left, swept.right):
        for station in wheel.stations:
            steer.setdefault(station.station, []).append(station.steer_deg)
    ticks = sorted(steer)
    ticks = ticks[:: max(1, math.ceil(len(ticks) / MOST_TICKS))]
    labels = [
        f"{tick}\n{_whole(sum(steer[tick]) / len(steer[tick]))}°" for tick in ticks
    ]
    ax.set_xticks(ticks, labels if unit == "mm" else [""] * len(ticks))
    if steer:
        ax.set_xlim(min(steer) - 0.7, max(steer) + 0.7)


# The budget.

MOST_BARS: Final = 12
"""So many contributions stand by themselves."""


def _named(part: Contribution) -> str:
    source = part.source
    stage = source.stage and source.stage.replace("_", " ")
    station = None if source.station is None else f"station {source.station}"
    words = [source.kind.replace("_", " "), stage, station, source.wheel]
    return ", ".join(word for word in words if word)


def budget(of: Budget, ax: Axes | None) -> Axes:
    """Draw what each input contributes to the uncertainty of one reading."""
    parts = [(_named(part), part.standard_uncertainty, part.share) for part in of]
    if len(parts) > MOST_BARS:
        rest = parts[MOST_BARS - 1 :]
        together = math.sqrt(sum(worth * worth for _, worth, _ in rest))
        named = (
            f"{len(rest)} others together",
            together,
            sum(share for *_, share in rest),
        )
        parts = [*parts[: MOST_BARS - 1], named]
    if ax is None:
        ax = _figure(7.4, 1.6 + 0.34 * (len(parts) + 1)).subplots()
    unit = UNITS[of.unit].strip()
    ax.set_title(f"What makes {of.path} uncertain", fontsize=10.0)
    if not parts or of.standard_uncertainty is None:
        why = "it is absent" if of.standard_uncertainty is None else "it is exact"
        ax.text(0.5, 0.5, f"Nothing: {why}.", ha="center", va="center", color=INK)
        ax.set_axis_off()
        return ax
    names = [*(name for name, *_ in parts), "together"]
    worths = [*(worth for _, worth, _ in parts), of.standard_uncertainty]
    shares = [*(share for *_, share in parts), 1.0]
    digits = 2 - math.floor(math.log10(of.standard_uncertainty))
    rows = list(range(len(names)))
    ax.barh(rows[:-1], worths[:-1], height=0.62, color=LEFT)
    ax.barh(
        rows[-1:],
        worths[-1:],
        height=0.62,
        facecolor="white",
        edgecolor=RIGHT,
        hatch="////",
    )
    for row, worth, share in zip(rows, worths, shares, strict=True):
        says = f"{worth:.{max(digits, 0)}f}{UNITS[of.unit]}"
        says += "" if row == rows[-1] else f"  ({100.0 * share:.1f} %)"
        ax.annotate(
            says,
            (worth, row),
            xytext=(5.0, 0.0),
            textcoords="offset points",
            va="center",
            fontsize=8.5,
            color=INK,
        )
    ax.set_yticks(rows, names)
    ax.invert_yaxis()
    ax.set_xlim(0.0, 1.32 * max(worths))
    of_unit = f" ({unit})" if unit else ""
    ax.set_xlabel(
        f"Standard uncertainty{of_unit} from this alone, and its share of the variance"
    )
    ax.spines[["top", "right"]].set_visible(False)
    return ax
