"""Every function and reading has an outside reference, and the docs say which.

Runs last, and only with the whole folder: see conftest.py.
"""

import os
import re

import pytest

from ledger import LEDGER, TABLE, rounded_up, table, without_reference

EXEMPT: dict[str, str] = {}
"""What nothing from outside can be held against, and why."""

WORST = re.compile(r"\| (\S+) (deg|mm|rad|ulp|1|bits) \| (\S+) \2 \|")


def test_every_function_and_reading_has_an_outside_reference() -> None:
    lacking = without_reference()
    assert lacking == list(EXEMPT), (
        f"no reference: {sorted(set(lacking) - set(EXEMPT))}; "
        f"exempt without need: {sorted(set(EXEMPT) - set(lacking))}"
    )


def test_the_table_in_the_docs_is_this_one() -> None:
    made = table(list(LEDGER.rows.values()), EXEMPT)
    if os.environ.get("BLESS"):
        TABLE.write_text(made)
    committed = TABLE.read_text()
    # The last digits are the machine's: figures may differ tenfold, all else not at all.
    without = r"| \2 | \3 \2 |"
    assert WORST.sub(without, committed) == WORST.sub(without, made)
    figures = [
        [(float(found[1]), float(found[3])) for found in WORST.finditer(text)]
        for text in (committed, made)
    ]
    for (stated, allowed), (now, _) in zip(*figures, strict=True):
        most = max(10 * stated, allowed / 100)
        assert now <= most, f"{stated} is stated, {now} was found"


@pytest.mark.parametrize(
    ("value", "rounded"), [(0.0, 0.0), (1.01e-9, 2e-9), (2e-9, 2e-9), (9.7, 10.0)]
)
def test_figures_are_rounded_up(value: float, rounded: float) -> None:
    assert rounded_up(value) == pytest.approx(rounded, rel=1e-12)
