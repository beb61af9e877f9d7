"""Read more records than fit into memory: the batch calls over chunks, with Dask.

Poses lie in chunks, on disk or on other machines. Each chunk is one call of the library
as it is, and no chunk knows of another: the readings have the bits of one call for all.

    python examples/dask_batch.py

Dask computes as many chunks at a time as it has workers, and so each call keeps to one
thread. Others work alike, with the functions below as they stand. PySpark's workers
hand over and take iterators of Arrow record batches, and Ray's data sets Arrow tables::

    from functools import partial

    frame.mapInArrow(partial(read_batches, rig=rig), schema=SPARK_SCHEMA)
    data.map_batches(partial(read_table, rig=rig), batch_format="pyarrow")

There the column ``poses`` holds the 64 numbers of each record: wheel after wheel, fl fr
rl rr, each pose row by row. All other columns stay, so that a record is known again.

The cars are invented, for the demonstration only.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, TypedDict

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray
from wheel_alignment import batch

if TYPE_CHECKING:
    import dask.array as da

READINGS = (
    "wheels.fl.camber_deg",
    "wheels.fr.camber_deg",
    "axles.front.total_toe_deg",
    "chassis.thrust_angle_deg",
    "chassis.wheelbase_difference_mm",
)
SPARK_SCHEMA = "car long, " + ", ".join(f"`{path}` double" for path in READINGS)


class Rig(TypedDict):
    """What all records have in common: how the targets are clamped, and where up is."""

    compensation: batch.Compensation
    up: NDArray[np.float64]


def read_poses(poses: NDArray[np.float64], rig: Rig) -> NDArray[np.float64]:
    """Read one chunk: a column for each reading, NaN where a record is refused."""
    readings = batch.ahead_readings(poses, **rig, readings=READINGS, threads=1)
    return np.stack([readings[path] for path in READINGS], axis=1)


def read_chunks(poses: da.Array, rig: Rig) -> da.Array:
    """Read a chunked array of poses, (N, 4, 4, 4): a row for each record."""
    return poses.map_blocks(
        read_poses,
        rig,
        drop_axis=(2, 3),
        chunks=(poses.chunks[0], (len(READINGS),)),
        dtype=float,
        meta=np.empty((0, 0)),
    )


def read_table(table: pa.Table, rig: Rig) -> pa.Table:
    """Read the poses in an Arrow table: their column gives way to the readings."""
    column = table.column("poses").combine_chunks().cast(pa.list_(pa.float64(), 64))
    # A record that is null has no poses; its place in the numbers is anyone's guess.
    poses = np.full((len(column), 64), np.nan)
    poses[column.is_valid().to_numpy(zero_copy_only=False)] = (
        column.flatten().to_numpy().reshape(-1, 64)
    )
    readings = read_poses(poses.reshape(-1, 4, 4, 4), rig)
    table = table.drop_columns("poses")
    for path, values in zip(READINGS, readings.T, strict=True):
        table = table.append_column(path, pa.array(values))
    return table


def read_batches(
    batches: Iterator[pa.RecordBatch], rig: Rig
) -> Iterator[pa.RecordBatch]:
    """Read Arrow record batches, one at a time."""
    for records in batches:
        yield from read_table(pa.Table.from_batches([records]), rig).to_batches()
