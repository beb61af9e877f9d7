"""What every public function and reading was held against, and how far it was off.

A test tells of each comparison by `hold`: it fails when the deviation is beyond what is
allowed, and keeps the worst of its row. After a run of the whole folder, test_ledger.py
demands an outside reference for every function and reading of the contract, and that
the table in the core's docs is this one. `BLESS=1 pytest tests/references` writes it.

A row that holds our own formula against itself at high precision is one of rounding:
it says how many digits are lost, and is no proof that the formula is the right one.
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike

ROOT = Path(__file__).resolve().parents[2]
CONTRACT = json.loads((ROOT / "alignment-core" / "contract.json").read_text())
FUNCTIONS = [row["name"] for row in CONTRACT["functions"]]
READINGS = [row["path"] for row in CONTRACT["readings"]]
TABLE = ROOT / "alignment-core" / "docs" / "references.md"

UNITS = ("deg", "mm", "rad", "ulp", "1", "bits")


@dataclass
class Row:
    """One function or reading, held against one reference."""

    what: str
    against: str
    quantity: str
    unit: str
    allowed: float
    why: str
    rounding: bool
    worst: float = 0.0
    cases: int = 0


@dataclass
class Ledger:
    """All rows of one run."""

    rows: dict[tuple[str, str, str], Row] = field(default_factory=dict)

    def hold(
        self,
        what: str,
        *,
        against: str,
        quantity: str,
        off: ArrayLike,
        allowed: float,
        unit: str,
        why: str,
        rounding: bool = False,
    ) -> None:
        """Fail unless each deviation is allowed, and keep the worst.

        Parameters
        ----------
        what : str
            A function by its name in the contract (`wheel::camber_deg`), or a reading
            by its path there (`wheels.{fl,fr,rl,rr}.camber_deg`).
        against : str
            The reference, with what finds it: a package, a standard and its clause.
        quantity : str
            What was compared, over which cases.
        off : array-like
            The deviations, of any sign; none may be NaN, and there is at least one.
        allowed : float
            The greatest magnitude that is allowed.
        unit : str
            Of both: one of `UNITS`.
        why : str
            Where the tolerance comes from.
        rounding : bool
            Whether the reference is our own formula at a higher precision.
        """
        assert what in FUNCTIONS or what in READINGS, f"{what} is not in the contract"
        assert unit in UNITS, unit
        magnitudes = np.abs(np.asarray(off, dtype=float)).ravel()
        assert magnitudes.size > 0, f"{what}: nothing was compared"
        key = (what, against, quantity)
        new = Row(what, against, quantity, unit, allowed, why, rounding)
        row = self.rows.setdefault(key, new)
        same = (row.unit, row.allowed, row.why, row.rounding)
        assert same == (unit, allowed, why, rounding), f"{key} is told in two ways"
        worst = float(magnitudes.max())
        assert worst <= allowed, f"{what}: {worst} {unit} off {against}, {allowed} held"
        row.worst = max(row.worst, worst)
        row.cases += int(magnitudes.size)


LEDGER = Ledger()
"""Of this run."""

hold = LEDGER.hold


def without_reference() -> list[str]:
    """Find the functions and readings that nothing from outside was held against."""
    held = {row.what for row in LEDGER.rows.values() if not row.rounding}
    return [what for what in [*READINGS, *FUNCTIONS] if what not in held]


def rounded_up(value: float) -> float:
    """Round a magnitude up to one digit."""
    if value == 0.0:
        return 0.0
    power = 10.0 ** math.floor(math.log10(value))
    return float(f"{math.ceil(value / power - 1e-9) * power:.0e}")


def _escaped(text: str) -> str:
    return text.replace("|", "\\|")


def table(rows: list[Row], exempt: dict[str, str]) -> str:
    """Write the page."""
    order = {what: index for index, what in enumerate([*READINGS, *FUNCTIONS])}
    rows = sorted(rows, key=lambda row: (order[row.what], row.rounding, row.against))
    lines = [
        "# References",
        "",
        "Each reading and each function, what it was held against, by how much it was off at worst, and what the test allows.",
        "Written by the tests in `tests/references`; the figures are those of the machine that wrote them, rounded up to one digit.",
        "Rows marked *rounding* compare our own formula with itself at 50 digits: they count lost digits and prove nothing else.",
        "",
    ]
    for title, names in (("Readings", READINGS), ("Functions", FUNCTIONS)):
        lines += [f"## {title}", ""]
        lines += ["| of | reference | compared | worst | allowed | why so much |"]
        lines += ["|---|---|---|---|---|---|"]
        for row in rows:
            if row.what in names:
                against = f"*rounding*: {row.against}" if row.rounding else row.against
                cells = [
                    f"`{row.what}`",
                    _escaped(against),
                    _escaped(row.quantity),
                    f"{rounded_up(row.worst):g} {row.unit}",
                    f"{row.allowed:g} {row.unit}",
                    _escaped(row.why),
                ]
                lines.append("| " + " | ".join(cells) + " |")
        lines.append("")
    if exempt:
        lines += ["## Without an outside reference", ""]
        lines += [f"- `{what}`: {why}" for what, why in exempt.items()]
        lines.append("")
    return "\n".join(lines)
