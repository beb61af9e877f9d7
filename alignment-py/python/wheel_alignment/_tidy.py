"""Sessions in tidy tables: one row per station and wheel."""

from __future__ import annotations

import csv
import os
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, NoReturn, Protocol, TypeAlias, cast

from wheel_alignment import _arrays, pose
from wheel_alignment._stations import STAGES, WHEELS, Stations
from wheel_alignment.error import AlignmentError, NotASessionError

if TYPE_CHECKING:
    from wheel_alignment._types import Array as Floats


class _Frame(Protocol):
    """A table that names its columns, as those of pandas and polars do."""

    @property
    def columns(self) -> Iterable[str]: ...

    def __getitem__(self, name: str, /) -> Iterable[object]: ...


class _Arrow(Protocol):
    """A table of pyarrow."""

    def to_pydict(self) -> dict[str, list[object]]: ...


Table: TypeAlias = (
    _Frame
    | _Arrow
    | Mapping[str, Iterable[object]]
    | Sequence[Mapping[str, object]]
    | os.PathLike[str]
)
"""A table in any form that `Session.from_table` takes."""

_PLACE = ("x_mm", "y_mm", "z_mm")
_FORMS = {
    "quaternion_wxyz": ("qw", "qx", "qy", "qz"),
    "rotation_vector_rad": ("rx_rad", "ry_rad", "rz_rad"),
    "rotation": tuple(f"r{row}{column}" for row in "123" for column in "123"),
}
_SINGLE = ("ahead", "lock_left", "lock_right")


def stages(table: Table) -> dict[str, Stations | None]:
    """Return the stations of a table, by stage, as the native half takes them."""
    import numpy as np

    columns, rows = _columns(table)
    form = _form(columns)
    keys = [_key(columns, row, rows) for row in range(rows.count)]
    taken = _PLACE + _FORMS[form]
    numbers = np.array([_floats(columns, name, rows) for name in taken]).T
    unseen = np.isnan(numbers).all(axis=1)
    part = np.isnan(numbers).any(axis=1) & ~unseen
    if part.any():
        row = int(part.argmax())
        name = taken[int(np.isnan(numbers[row]).argmax())]
        rows.refuse(
            row, name, "a number is missing; leave a pose that was not seen empty"
        )
    poses = _poses(form, numbers, rows)

    places: dict[tuple[str, int, str, int | None], int] = {}
    for row, key in enumerate(keys):
        if key in places:
            rows.refuse(
                row,
                "frame",
                f"the same stage, station, wheel and frame stand in row {places[key]}; "
                "frames are told apart by the column frame",
            )
        places[key] = row
    found = {name: _stage(name, places, poses, unseen, rows) for name in STAGES}
    if found["rolling"] is None:
        found["rolling"] = (b"", [])
    return found


def _stage(
    stage: str,
    places: Mapping[tuple[str, int, str, int | None], int],
    poses: Floats,
    unseen: Floats,
    rows: _Rows,
) -> Stations | None:
    """Return the stations of one stage; None when no row is of it."""
    import numpy as np

    of: dict[int, dict[str, list[tuple[int | None, int]]]] = {}
    for (name, station, wheel, frame), row in places.items():
        if name == stage:
            of.setdefault(station, {}).setdefault(wheel, []).append((frame, row))
    if not of:
        return None
    for expected, station in enumerate(sorted(of)):
        if station != expected:
            row = min(row for both in of[station].values() for _, row in both)
            rows.refuse(
                row,
                "station",
                f"station {station} of {stage} comes where {expected} is expected; the "
                "stations of a stage are counted from 0 without a gap",
            )
    order: list[int] = []
    counts: list[int] = []
    for station in range(len(of)):
        for wheel in WHEELS:
            frames = of[station].get(wheel, [])
            alone = [row for frame, row in frames if frame is None]
            if alone and len(frames) > 1:
                rows.refuse(
                    alone[0], "frame", "a frame without a number beside others with one"
                )
            seen = [row for _, row in sorted(frames, key=_by_frame) if not unseen[row]]
            order += seen
            counts.append(-len(seen) if alone else len(seen))
    return _arrays.packed(poses[np.array(order, dtype=np.intp)]), counts


def _by_frame(one: tuple[int | None, int]) -> int:
    return one[0] or 0


class _Rows:
    """How many rows there are, and how a fault in one of them is told."""

    def __init__(self, count: int, lines: list[int]) -> None:
        self.count = count
        self.lines = lines

    def place(self, row: int, column: str) -> str:
        line = f" (line {self.lines[row]})" if self.lines else ""
        return f"row {row}{line}, column {column!r}"

    def refuse(self, row: int, column: str, message: str) -> NoReturn:
        raise NotASessionError(
            f"{self.place(row, column)}: {message}",
            path=f"[{row}].{column}",
            line=self.lines[row] if self.lines else None,
        )


def _columns(table: object) -> tuple[dict[str, list[object]], _Rows]:
    """Return a table, in whatever form, as lists."""
    lines: list[int] = []
    listed: list[list[object]] = []
    if isinstance(table, os.PathLike):
        with open(table, encoding="utf-8-sig", newline="") as file:
            reader = csv.reader(file)
            try:
                names = next(reader, [])
                cells = [(reader.line_num, line) for line in reader if line]
            except (UnicodeDecodeError, csv.Error) as error:
                raise NotASessionError(
                    f"the text is not CSV in UTF-8: {error}"
                ) from None
        for row, (line, values) in enumerate(cells):
            if len(values) != len(names):
                raise NotASessionError(
                    f"row {row} (line {line}): {len(values)} cells under {len(names)} "
                    "names of columns",
                    line=line,
                )
        lines = [line for line, _ in cells]
        listed = [[values[i] for _, values in cells] for i in range(len(names))]
    elif isinstance(table, (str, bytes)):
        raise TypeError("a text is no table; hand over a CSV file as a pathlib.Path")
    elif hasattr(table, "to_pydict"):
        tree = cast("_Arrow", table).to_pydict()
        names, listed = list(tree), list(tree.values())
    elif isinstance(table, Mapping):
        names = [str(name) for name in table]
        listed = [_list(column) for column in table.values()]
    elif hasattr(table, "columns"):
        frame = cast("_Frame", table)
        names = [str(name) for name in frame.columns]
        if len(set(names)) == len(names):
            listed = [_list(frame[name]) for name in frame.columns]
    elif isinstance(table, Sequence):
        names, listed = _of_rows(table)
    else:
        raise TypeError(
            "a table is a DataFrame, an Arrow table, a mapping of columns, a sequence "
            f"of mappings or the path of a CSV file, not {type(table).__qualname__}"
        )
    twice = [name for name in names if names.count(name) > 1]
    if twice:
        raise NotASessionError(f"two columns have the name {twice[0]!r}")
    columns = dict(zip(names, listed, strict=True))
    lengths = {name: len(column) for name, column in columns.items()}
    if len(set(lengths.values())) > 1:
        raise NotASessionError(f"the columns differ in length: {lengths}")
    return columns, _Rows(next(iter(lengths.values()), 0), lines)


def _list(column: object) -> list[object]:
    if isinstance(column, (str, bytes)) or not isinstance(column, Iterable):
        kind = type(column).__qualname__
        raise TypeError(f"a column is a sequence of values, not {kind}")
    tolist = getattr(column, "tolist", None) or getattr(column, "to_list", None)
    return list(column if tolist is None else tolist())


def _of_rows(rows: Sequence[object]) -> tuple[list[str], list[list[object]]]:
    names: dict[str, None] = {}
    for index, row in enumerate(rows):
        if not isinstance(row, Mapping):
            kind = type(row).__qualname__
            raise TypeError(f"row {index}: a mapping is needed, not {kind}")
        names |= dict.fromkeys(map(str, row))
    mappings = cast("Sequence[Mapping[str, object]]", rows)
    return list(names), [[row.get(name) for row in mappings] for name in names]


def _form(columns: Mapping[str, list[object]]) -> str:
    """Return the form of the rotation that the columns have."""
    found = [form for form, names in _FORMS.items() if set(names) <= set(columns)]
    needed = [name for name in ("stage", "station", "wheel", *_PLACE)]
    absent = [name for name in needed if name not in columns]
    forms = "; ".join(" ".join(names) for names in _FORMS.values())
    if absent:
        raise NotASessionError(f"column {absent[0]!r} is missing", path=absent[0])
    if len(found) != 1:
        which = "none" if not found else "several"
        raise NotASessionError(
            "the rotation must stand in the columns of one of these forms, not "
            f"{which}: {forms}"
        )
    return found[0]


def _missing(value: object) -> bool:
    return value is None or value == "" or value != value


def _key(
    columns: Mapping[str, list[object]], row: int, rows: _Rows
) -> tuple[str, int, str, int | None]:
    stage, wheel = columns["stage"][row], columns["wheel"][row]
    if stage not in STAGES:
        rows.refuse(row, "stage", f"{stage!r} is none of {', '.join(STAGES)}")
    if wheel not in WHEELS:
        rows.refuse(row, "wheel", f"{wheel!r} is none of {', '.join(WHEELS)}")
    station = _whole(columns, "station", row, rows)
    if stage in _SINGLE and station:
        rows.refuse(row, "station", f"{stage} has a single station, 0, not {station}")
    if station is None and stage not in _SINGLE:
        rows.refuse(row, "station", "the number of the station is missing")
    frame = _whole(columns, "frame", row, rows) if "frame" in columns else None
    return str(stage), station or 0, str(wheel), frame


def _whole(
    columns: Mapping[str, list[object]], name: str, row: int, rows: _Rows
) -> int | None:
    value = columns[name][row]
    if _missing(value):
        return None
    try:
        # A column in which some are missing comes as floats.
        number = float(cast("str | float", value))
        if isinstance(value, bool) or number < 0 or number != int(number):
            raise ValueError
    except (TypeError, ValueError, OverflowError):
        rows.refuse(row, name, f"{value!r} is no whole number from 0")
    return int(number)


def _floats(columns: Mapping[str, list[object]], name: str, rows: _Rows) -> list[float]:
    numbers = []
    for row, value in enumerate(columns[name]):
        try:
            if isinstance(value, bool):
                raise TypeError
            number = float("nan" if _missing(value) else cast("str | float", value))
        except (TypeError, ValueError):
            rows.refuse(row, name, f"{value!r} is no number")
        numbers.append(number)
    return numbers


def _poses(form: str, numbers: Floats, rows: _Rows) -> Floats:
    place, rotation = numbers[:, :3], numbers[:, 3:]
    if form == "rotation":
        rotation = rotation.reshape(-1, 3, 3)
    try:
        return pose.as_matrix4({form: rotation, "translation_mm": place})
    except AlignmentError as error:
        assert error.index is not None
        (row,) = error.index
        error.args = (f"{rows.place(row, _FORMS[form][0])}: {error}",)
        raise
