"""Results as tables: one row for each thing, one column for each of its properties."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Literal, NamedTuple

if TYPE_CHECKING:
    import pandas
    import polars
    import pyarrow


@contextlib.contextmanager
def extra(name: str) -> Iterator[None]:
    """Say of an optional package that is missing how to get it."""
    try:
        yield
    except ModuleNotFoundError as error:
        raise ImportError(
            f"{error.name} is not installed, and this needs it; "
            f"pip install 'wheel_alignment[{name}]'",
            name=error.name,
        ) from error


class Column(NamedTuple):
    """A column: its name, what it holds, and its values; None where one is absent."""

    name: str
    kind: Literal["number", "count", "text"]
    values: Sequence[object]


class Table:
    """What can be had as a table of any of the usual packages."""

    __slots__ = ()

    def _columns(self) -> list[Column]:
        raise NotImplementedError

    def to_pandas(self) -> pandas.DataFrame:
        """Return the table as a data frame of pandas.

        Absent numbers are NaN, absent texts and counts NA. Needs pandas, the extra
        ``pandas``.
        """
        with extra("pandas"):
            import pandas
        columns = self._columns()
        kinds = {"number": "float64", "count": "Int64", "text": "string"}
        objects = {column.name: list(column.values) for column in columns}
        return pandas.DataFrame(objects, dtype=object).astype(
            {column.name: kinds[column.kind] for column in columns}
        )

    def to_polars(self) -> polars.DataFrame:
        """Return the table as a data frame of polars.

        What is absent is null. Needs polars, the extra ``polars``.
        """
        with extra("polars"):
            import polars
        kinds = {"number": polars.Float64, "count": polars.Int64, "text": polars.String}
        return polars.DataFrame(
            [
                polars.Series(name, values, dtype=kinds[kind])
                for name, kind, values in self._columns()
            ]
        )

    def to_arrow(self) -> pyarrow.Table:
        """Return the table as one of Apache Arrow.

        What is absent is null. Needs pyarrow, the extra ``arrow``.
        """
        with extra("arrow"):
            import pyarrow
        kinds = {
            "number": pyarrow.float64(),
            "count": pyarrow.int64(),
            "text": pyarrow.string(),
        }
        return pyarrow.table(
            {
                name: pyarrow.array(values, type=kinds[kind])
                for name, kind, values in self._columns()
            }
        )
