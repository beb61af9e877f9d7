"""What importing the package costs, and what it brings along."""

import re
import statistics
import subprocess
import sys

RUNS = 7


def cumulative_us(report: str, module: str) -> int:
    """What importing a module cost, in microseconds, with all that it imports."""
    found = re.search(rf"\| +(\d+) \| {module}$", report, re.MULTILINE)
    assert found is not None, report
    return int(found[1])


def test_importing_the_package_costs_at_most_half_of_importing_numpy() -> None:
    # Both in one process: they meet the same weather, and what both need counts against
    # the package, which comes first.
    program = "import wheel_alignment; import numpy"
    ratios = []
    for _ in range(RUNS):
        done = subprocess.run(
            [sys.executable, "-X", "importtime", "-c", program],
            capture_output=True,
            text=True,
            check=True,
        )
        own = cumulative_us(done.stderr, "wheel_alignment")
        ratios.append(own / cumulative_us(done.stderr, "numpy"))
    assert statistics.median(ratios) <= 0.5, ratios


def test_importing_the_package_brings_no_other_package_along() -> None:
    program = (
        "import sys, wheel_alignment\n"
        "heavy = {'numpy', 'pandas', 'polars', 'pyarrow', 'matplotlib', 'scipy'}\n"
        "print(*sorted(heavy & set(sys.modules)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == ""
