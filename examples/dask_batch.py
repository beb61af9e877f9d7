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
from wheel_alignment import batch, compensation, simulate

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

    compensation: compensation.ClampCompensation
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


def invented(records: int) -> tuple[NDArray[np.float64], Rig]:
    """One virtual car, seen again and again by cameras that scatter."""
    session = simulate.VirtualVehicle().session()
    poses = session.to_arrays()
    rig: Rig = {
        "compensation": compensation.from_rolling(
            poses["rolling"],
            up=[0, 0, 1],
            clamp_standoff_mm=session.clamp_standoff_mm,
        ),
        "up": np.array([0.0, 0.0, 1.0]),
    }
    scatter_mm = np.random.default_rng(1).normal(0.0, 0.05, (records, 4, 3))
    seen = np.repeat(poses["ahead"][None], records, axis=0)
    seen[..., :3, 3] += scatter_mm
    return seen, rig


def main(records: int = 100_000, chunk: int = 10_000) -> None:
    """Read the records chunk by chunk on a cluster of this machine."""
    import dask.array as da
    from dask.distributed import Client, LocalCluster

    poses, rig = invented(records)
    with LocalCluster(n_workers=2, threads_per_worker=1) as cluster, Client(cluster):
        chunked = da.from_array(poses, chunks=(chunk, 4, 4, 4))
        readings = read_chunks(chunked, rig).compute()
    same = np.array_equal(readings, read_poses(poses, rig), equal_nan=True)
    print(f"{len(readings)} records in chunks of {chunk}; the bits of one call: {same}")
    for path, mean in zip(READINGS, readings.mean(axis=0), strict=True):
        print(f"{path:<40} {mean:10.4f}")


if __name__ == "__main__":
    main()
