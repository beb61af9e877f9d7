"""Read more records than fit into memory: the batch calls over chunks, with Dask.

Poses lie in chunks, on disk or on other machines. Each chunk is one call of the library
as it is, and no chunk knows of another: the readings have the bits of one call for all.

    python examples/dask_batch.py

Dask computes as many chunks at a time as it has workers, and so each call keeps to one
thread. Others work alike, with the functions below as they stand. PySpark's workers
hand over and take iterators of Arrow record batches, and Ray's data sets Arrow tables::

    from functools import partial

    frame.mapInArrow(partial(read_batches, rig=rig), schema="car long, " + SPARK_SCHEMA)
    data.map_batches(partial(read_table, rig=rig), batch_format="pyarrow")

There the column ``poses`` holds the 64 numbers of each record: wheel after wheel, fl fr
rl rr, each pose row by row. All other columns stay, here ``car``, so that a record is
known again. Where ``poses`` is null nothing was seen of the record.

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
SPARK_SCHEMA = ", ".join(f"`{path}` double" for path in READINGS) + ", code int"


class Rig(TypedDict):
    """What all records have in common: how the targets are clamped, and where up is."""

    compensation: compensation.ClampCompensation
    up: NDArray[np.float64]


def read_poses(poses: NDArray[np.float64], rig: Rig) -> NDArray[np.float64]:
    """Read one chunk: a column for each reading, the last for the error code."""
    readings = batch.ahead_readings(poses, **rig, readings=READINGS, threads=1)
    return np.column_stack([*readings.numbers, readings.codes])


def read_chunks(poses: da.Array, rig: Rig) -> da.Array:
    """Read a chunked array of poses, (N, 4, 4, 4): a row for each record."""
    # A record is never split: only the first axis may lie in chunks.
    whole = poses.rechunk({1: -1, 2: -1, 3: -1})
    return whole.map_blocks(
        read_poses,
        rig,
        drop_axis=(2, 3),
        chunks=(whole.chunks[0], (len(READINGS) + 1,)),
        dtype=float,
        meta=np.empty((0, 0)),
    )


def read_table(table: pa.Table, rig: Rig) -> pa.Table:
    """Read the poses in an Arrow table: their column gives way to the readings."""
    column = table.column("poses").combine_chunks()
    poses = np.full((len(column), 64), np.nan)
    seen = column.is_valid().to_numpy(zero_copy_only=False)
    poses[seen] = column.flatten().to_numpy(zero_copy_only=False).reshape(-1, 64)
    readings = batch.ahead_readings(
        poses.reshape(-1, 4, 4, 4), **rig, readings=READINGS, threads=1
    )
    table = table.drop_columns("poses")
    for path, numbers in readings.items():
        table = table.append_column(path, pa.array(numbers))
    return table.append_column("code", pa.array(readings.codes))


def read_batches(
    batches: Iterator[pa.RecordBatch], rig: Rig
) -> Iterator[pa.RecordBatch]:
    """Read Arrow record batches, one at a time."""
    for records in batches:
        yield from read_table(pa.Table.from_batches([records]), rig).to_batches()


def invented_rig() -> Rig:
    """Roll one virtual car, to find how its targets are clamped."""
    session = simulate.VirtualVehicle().session()
    clamps = compensation.from_rolling(
        session.to_arrays()["rolling"],
        up=[0, 0, 1],
        clamp_standoff_mm=session.clamp_standoff_mm,
    )
    return {"compensation": clamps, "up": np.array([0.0, 0.0, 1.0])}


def invented_poses(records: int, seed: int) -> NDArray[np.float64]:
    """See the same car again and again by cameras that scatter."""
    ahead = simulate.VirtualVehicle().session().to_arrays()["ahead"]
    poses = np.repeat(ahead[None], records, axis=0)
    poses[..., :3, 3] += np.random.default_rng(seed).normal(0, 0.05, (records, 4, 3))
    return poses


def main(chunks: int = 10, records: int = 10_000) -> None:
    """Read invented records chunk by chunk in two processes, and all in one call."""
    import dask
    import dask.array as da
    from dask.distributed import Client, LocalCluster

    rig = invented_rig()
    # A worker makes its own chunks, as it would load them.
    make = dask.delayed(invented_poses)
    made = [
        da.from_delayed(make(records, seed), (records, 4, 4, 4), float)
        for seed in range(chunks)
    ]
    with (
        LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as two,
        Client(two) as client,
    ):
        rows = client.compute(read_chunks(da.concatenate(made), rig)).result()
    poses = np.concatenate([invented_poses(records, seed) for seed in range(chunks)])
    same = rows.tobytes() == read_poses(poses, rig).tobytes()
    print(f"{len(rows)} records in {chunks} chunks; the bits of one call: {same}")
    for path, numbers in zip(READINGS, rows.T, strict=False):
        print(f"{path:<32} {numbers.mean():9.4f} ± {numbers.std():.4f}")


if __name__ == "__main__":
    main()
