"""The batch calls over chunks: with Dask, and as PySpark and Ray would call them."""

import sys
from collections.abc import Iterator
from functools import partial
from pathlib import Path

import dask.array as da
import numpy as np
import pyarrow as pa
import pytest
from dask.distributed import Client, LocalCluster
from wheel_alignment.error import ErrorCode

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "examples"))

import dask_batch

RIG = dask_batch.invented_rig()
POSES = dask_batch.invented_poses(1000, seed=1)
POSES[17] = 0.0  # refused
POSES[400:403, 2] = np.nan  # a wheel not seen
EXPECTED = dask_batch.read_poses(POSES, RIG)
# Uneven, one of them a single record.
CHUNKED = da.from_array(POSES, chunks=((300, 1, 699), 4, 4, 4))


def test_some_records_of_the_test_are_refused_and_most_are_read() -> None:
    refused = EXPECTED[:, -1] != 0
    assert np.flatnonzero(refused).tolist() == [17, 400, 401, 402]
    assert EXPECTED[17, -1] == ErrorCode.not_a_rotation
    assert np.isnan(EXPECTED[refused, :-1]).all()
    assert np.isfinite(EXPECTED[~refused]).all()


@pytest.mark.parametrize("scheduler", ["threads", "synchronous"])
def test_chunks_have_the_bits_of_one_call(scheduler: str) -> None:
    rows = dask_batch.read_chunks(CHUNKED, RIG)
    assert rows.shape == EXPECTED.shape
    assert rows.compute(scheduler=scheduler).tobytes() == EXPECTED.tobytes()


def test_chunks_that_split_a_record_are_put_together() -> None:
    split = CHUNKED.rechunk((250, 2, 4, 1))
    rows = dask_batch.read_chunks(split, RIG).compute(scheduler="threads")
    assert rows.tobytes() == EXPECTED.tobytes()


def test_chunks_in_other_processes_have_the_bits_of_one_call() -> None:
    with (
        LocalCluster(
            n_workers=2, threads_per_worker=1, dashboard_address=None
        ) as cluster,
        Client(cluster) as client,
    ):
        client.upload_file(dask_batch.__file__)
        rows = client.compute(dask_batch.read_chunks(CHUNKED, RIG)).result()
    assert rows.tobytes() == EXPECTED.tobytes()


# Spark hands over lists; others know that all are of one size.
@pytest.mark.parametrize(
    "kind", [pa.list_(pa.float64()), pa.list_(pa.float64(), 64)], ids=["list", "fixed"]
)
def test_record_batches_have_the_bits_of_one_call(kind: pa.DataType) -> None:
    rows: list[list[float] | None] = list(POSES.reshape(-1, 64).tolist())
    rows[400:403] = [None] * 3  # nothing seen at all: refused alike
    table = pa.table({"car": range(1000), "poses": pa.array(rows, kind)})

    def handed_over() -> Iterator[pa.RecordBatch]:
        yield from table.slice(1).to_batches(max_chunksize=300)
        yield from table.slice(0, 0).to_batches()

    read = partial(dask_batch.read_batches, rig=RIG)
    found = pa.Table.from_batches(read(handed_over()))
    assert found.column("car").to_pylist() == list(range(1, 1000))
    _same(found, EXPECTED[1:])

    # As Ray does it: a table at a time.
    _same(dask_batch.read_table(table, rig=RIG), EXPECTED)


def test_sparks_schema_names_what_comes_out() -> None:
    table = pa.table({"poses": pa.array(POSES[:2].reshape(-1, 64).tolist())})
    words = {pa.float64(): "double", pa.int32(): "int"}
    fields = dask_batch.read_table(table, RIG).schema
    named = [
        f"`{field.name}` {words[field.type]}".replace("`code`", "code")
        for field in fields
    ]
    assert ", ".join(named) == dask_batch.SPARK_SCHEMA


def _same(table: pa.Table, expected: np.ndarray) -> None:
    columns = [*dask_batch.READINGS, "code"]
    found = np.column_stack([table.column(name).to_numpy() for name in columns])
    assert found.tobytes() == expected.tobytes()
