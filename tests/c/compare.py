"""Holds the values that a consumer prints to those of the Rust program, bit for bit.

`python3 tests/c/compare.py RESULT.json VALUES.txt...`: the result as `align --json`
prints it, and lines of a path and a number, or a dash where the reading is absent.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator


def leaves(tree: object, path: str) -> Iterator[tuple[str, float | None]]:
    """Yield every number of a tree with its path."""
    if isinstance(tree, dict):
        for name, branch in tree.items():
            yield from leaves(branch, f"{path}.{name}" if path else name)
    elif isinstance(tree, list):
        for index, branch in enumerate(tree):
            yield from leaves(branch, f"{path}[{index}]")
    else:
        yield path, tree


with open(sys.argv[1], encoding="utf-8") as file:
    expected = dict(leaves(json.load(file)["alignment"], ""))

failed = False
for name in sys.argv[2:]:
    found: dict[str, float | None] = {}
    with open(name, encoding="utf-8") as file:
        for row in file:
            path, value = row.split()
            found[path] = None if value == "-" else float(value)
    wrong = [path for path in found.keys() & expected if found[path] != expected[path]]
    for path in sorted(wrong):
        print(f"{name}: {path} is {found[path]}, not {expected[path]}")
    alone = found.keys() ^ expected.keys()
    for path in sorted(alone):
        print(f"{name}: {path} is on one side alone")
    unlike = len(wrong) + len(alone)
    failed = failed or unlike > 0
    short = name.rpartition("/")[2]
    print(f"{short}: {len(found)} readings, {unlike} unlike those of the Rust program")
sys.exit(failed)
