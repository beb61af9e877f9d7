"""How long one call for many records takes, beside what a researcher would write.

Two peers in numpy (benches/peers), both vectorised: the "numpy peer" is plain, as a
good researcher writes it; the "numpy peer, tuned" is as fast as we could make it, with
blocks that stay in the cache and equations reduced by hand. The peers and the library
read the same arrays in one process, on one core, in turns, so that all meet the same
weather; first they must give the same readings. Quote ratios, not nanoseconds, and say
which peer.

    python benches/batch.py

Needs the package with numpy and SciPy, and Cargo for the loop in Rust. The peers check
nothing of the poses; the library checks every one. The plain peer holds all records at
once: its peak beyond the arrays given is 0.9 GB for a million records straight ahead,
and 1.0 GB for a hundred thousand sessions.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Mapping
from functools import partial
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parent / "peers"))
# Before numpy is loaded: the matrix products of the peers keep to one core too.
os.environ["OMP_NUM_THREADS"] = "1"
os.environ["OPENBLAS_NUM_THREADS"] = "1"

import cars
import numpy as np
import readings_numpy
import readings_tuned
import sessions_numpy
import sessions_scipy
import sessions_tuned
from numpy.typing import NDArray
from wheel_alignment import batch, paths

ROOT = Path(__file__).resolve().parents[1]
Array = NDArray[np.float64]
Call = Callable[[], object]

PLAIN = "numpy peer"
TUNED = "numpy peer, tuned"
AGREE = 1e-9
"""By how much two may differ: degrees, mm, or parts of a unit vector."""


def library_ahead(
    stands: cars.Stands, threads: int = 1, out: batch.Readings | None = None
) -> batch.Readings:
    """Read cars straight ahead by the library."""
    return batch.ahead_readings(
        stands.poses,
        compensation={
            "spindle_in_target": stands.spindle_in_target,
            "centre_in_target_mm": stands.centre_in_target_mm,
            "rolling_radius_mm": stands.rolling_radius_mm,
        },
        up=stands.up,
        threads=threads,
        out=out,
    )


def peer_ahead(peer: Any, stands: cars.Stands) -> dict[str, Array]:
    """Read the same by a peer."""
    readings: dict[str, Array] = peer.ahead_readings(
        stands.poses,
        stands.spindle_in_target,
        stands.centre_in_target_mm,
        stands.rolling_radius_mm,
        stands.up,
    )
    return readings


def library_sessions(
    sessions: cars.Sessions, threads: int = 1, out: batch.Readings | None = None
) -> batch.Readings:
    """Measure whole sessions by the library."""
    front, _, rear, _ = sessions.loaded_radius_mm
    return batch.measure(
        rolling=sessions.rolling,
        ahead=sessions.ahead,
        sweep=sessions.sweep,
        up=sessions.up,
        clamp_standoff_mm=sessions.clamp_standoff_mm,
        loaded_radius_mm={"front": front, "rear": rear},
        sweep_wheels_locked=True,
        threads=threads,
        out=out,
    )


def peer_sessions(peer: Any, sessions: cars.Sessions) -> dict[str, Array]:
    """Measure the same by a peer."""
    readings: dict[str, Array] = peer.measure(
        sessions.rolling,
        sessions.ahead,
        sessions.sweep,
        sessions.up,
        sessions.clamp_standoff_mm,
        sessions.loaded_radius_mm,
    )
    return readings


def best_s(calls: Mapping[str, Call], rounds: int) -> dict[str, float]:
    """Find the best of some rounds of each call, in seconds, taken in turns."""
    best = dict.fromkeys(calls, np.inf)
    for _ in range(rounds):
        for name, call in calls.items():
            start = time.perf_counter()
            call()
            best[name] = min(best[name], time.perf_counter() - start)
    return best


def check(readings: batch.Readings, peer: Mapping[str, Array]) -> None:
    """Stop unless every reading of the peer is the library's, and none was refused."""
    assert not readings.codes.any()
    worst, where = 0.0, ""
    for path, values in peer.items():
        own = readings[path]
        assert np.array_equal(np.isnan(own), np.isnan(values)), path
        apart = float(np.nanmax(np.abs(own - values), initial=0.0))
        if apart > worst:
            worst, where = apart, path
    assert worst <= AGREE, f"{where} differs by {worst}"
    print(f"  {len(peer)} paths agree; {where} differs most, by {worst:.1e}")


def show(best: Mapping[str, float], records: int, beside: str) -> None:
    """Print what each took per record, and how many times what one of them took."""
    for name, seconds in best.items():
        ns, ratio = seconds / records * 1e9, seconds / best[beside]
        print(f"  {name:<40} {ns:>11,.0f} ns {ratio:>9.2f}")
    plain, tuned = (best[peer] / best[beside] for peer in (PLAIN, TUNED))
    print(f"  numpy peer / {beside}: plain {plain:.2f}, tuned {tuned:.2f}")


def two_processes(job: Callable[[int], object], rounds: int) -> float:
    """Find the best time in which two processes do half of the records each.

    In seconds. Both have the arrays, and have done the work once before the clock runs.
    """
    context = multiprocessing.get_context("fork")
    start, stop = context.Barrier(3), context.Barrier(3)

    def work(half: int) -> None:
        job(half)
        for _ in range(rounds):
            start.wait()
            job(half)
            stop.wait()

    workers = [context.Process(target=work, args=(half,)) for half in (0, 1)]
    for worker in workers:
        worker.start()
    best = np.inf
    for _ in range(rounds):
        start.wait()
        began = time.perf_counter()
        stop.wait()
        best = min(best, time.perf_counter() - began)
    for worker in workers:
        worker.join()
    return best


def rust_loop(
    kind: str, records: int, readings: batch.Readings, *arrays: Array | list[float]
) -> float:
    """Find what the core's own loop takes for the same readings, in seconds."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "records.f64"
        with file.open("wb") as out:
            for array in arrays:
                out.write(np.ascontiguousarray(array, dtype="<f8").tobytes())
        command = ["cargo", "bench", "--quiet", "--bench", "batch", "--"]
        positions = ",".join(str(paths.position(path)) for path in readings.paths)
        done = subprocess.run(
            [*command, kind, str(records), str(file), positions],
            cwd=ROOT,
            check=True,
            capture_output=True,
            text=True,
        )
    return float(done.stdout) * 1e-9 * records


def peak_bytes(kind: str, records: int) -> None:
    """Print how much memory the calls take beyond the arrays that they are given."""
    for who in ("library", PLAIN, TUNED):
        # In a process of its own, whose memory nobody else has used.
        done = subprocess.run(
            [sys.executable, __file__, "--memory", kind, who, str(records)],
            check=True,
            capture_output=True,
            text=True,
        )
        print("  " + done.stdout.strip())


def resident_bytes(which: str) -> int:
    """Look up a figure of this process's memory."""
    status = Path("/proc/self/status").read_text(encoding="utf-8")
    found = next(line for line in status.splitlines() if line.startswith(which))
    return int(found.split()[1]) * 1024


def show_memory(kind: str, who: str, records: int) -> None:
    """Print by how much one call raises the peak of this process (on Linux)."""
    draw: Any = cars.stands if kind == "ahead" else cars.sessions
    calls: dict[tuple[str, str], Any] = {
        ("ahead", "library"): library_ahead,
        ("ahead", PLAIN): partial(peer_ahead, readings_numpy),
        ("ahead", TUNED): partial(peer_ahead, readings_tuned),
        ("measure", "library"): library_sessions,
        ("measure", PLAIN): partial(peer_sessions, sessions_numpy),
        ("measure", TUNED): partial(peer_sessions, sessions_tuned),
    }
    given, call = draw(records), calls[kind, who]
    call(draw(10))  # what is loaded once
    Path("/proc/self/clear_refs").write_text("5")  # the peak is what there is now
    before = resident_bytes("VmHWM")
    readings = call(given)
    after = resident_bytes("VmHWM")
    kept: list[NDArray[Any]]
    if isinstance(readings, batch.Readings):
        kept = [readings.numbers, readings.codes, readings.warnings]
    else:
        kept = list(readings.values())
    own = sum(array.nbytes for array in kept)
    beyond = after - before
    print(
        f"memory beyond the arrays given, {who}: {beyond / records:,.0f} bytes per "
        f"record, of which the readings are {own / records:,.0f}"
    )


def ahead(records: int, rounds: int) -> None:
    """Time one reading straight ahead of many cars."""
    stands = cars.stands(records, seed=1)
    print(f"\nahead_readings of {records:,} records; ns per record, ratio:")
    readings = library_ahead(stands)
    check(readings, peer_ahead(readings_numpy, stands))
    check(readings, peer_ahead(readings_tuned, stands))
    calls: dict[str, Call] = {
        "library": lambda: library_ahead(stands),
        "library, memory ready": lambda: library_ahead(stands, out=readings),
        "library, two threads": lambda: library_ahead(stands, 2),
        PLAIN: lambda: peer_ahead(readings_numpy, stands),
        TUNED: lambda: peer_ahead(readings_tuned, stands),
    }
    best = best_s(calls, rounds)
    half = records // 2
    halves = [
        cars.Stands(poses, *list(vars(stands).values())[1:])
        for poses in (stands.poses[:half], stands.poses[half:])
    ]
    best["library, two processes"] = two_processes(
        lambda which: library_ahead(halves[which]), rounds
    )
    best["the core's own loop, memory ready"] = rust_loop(
        "ahead",
        records,
        readings,
        stands.up,
        stands.spindle_in_target,
        stands.centre_in_target_mm,
        stands.rolling_radius_mm,
        stands.poses,
    )
    show(best, records, "library")
    peak_bytes("ahead", records)


def whole(records: int, rounds: int, one_by_one: int) -> None:
    """Time whole sessions of many cars."""
    sessions = cars.sessions(records, seed=1)
    few = part(sessions, slice(one_by_one))
    stations = f"1 + {sessions.rolling.shape[1]} + {sessions.sweep.shape[1]} stations"
    print(f"\nmeasure of {records:,} sessions of {stations}; ns per record, ratio:")
    readings = library_sessions(sessions)
    check(readings, peer_sessions(sessions_numpy, sessions))
    check(readings, peer_sessions(sessions_tuned, sessions))
    check(library_sessions(few), peer_sessions(sessions_scipy, few))
    calls: dict[str, Call] = {
        "library": lambda: library_sessions(sessions),
        "library, memory ready": lambda: library_sessions(sessions, out=readings),
        "library, two threads": lambda: library_sessions(sessions, 2),
        PLAIN: lambda: peer_sessions(sessions_numpy, sessions),
        TUNED: lambda: peer_sessions(sessions_tuned, sessions),
    }
    best = best_s(calls, rounds)
    scipy = best_s({"SciPy": lambda: peer_sessions(sessions_scipy, few)}, 3)["SciPy"]
    best["SciPy peer, one by one"] = scipy / one_by_one * records
    halves = [
        part(sessions, slice(records // 2)),
        part(sessions, slice(records // 2, None)),
    ]
    best["library, two processes"] = two_processes(
        lambda which: library_sessions(halves[which]), rounds
    )
    best["the core's own loop, memory ready"] = rust_loop(
        "measure",
        records,
        readings,
        sessions.up,
        sessions.clamp_standoff_mm,
        sessions.loaded_radius_mm,
        [sessions.rolling.shape[1], sessions.sweep.shape[1]],
        sessions.rolling,
        sessions.ahead,
        sessions.sweep,
    )
    show(best, records, "library")
    peak_bytes("measure", records)


def part(sessions: cars.Sessions, records: slice) -> cars.Sessions:
    """Take some of the sessions."""
    return cars.Sessions(
        sessions.rolling[records],
        sessions.ahead[records],
        sessions.sweep[records],
        sessions.up,
        sessions.clamp_standoff_mm,
        sessions.loaded_radius_mm,
    )


def main() -> None:
    """Time both calls."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--records", type=int, default=1_000_000)
    parser.add_argument("--sessions", type=int, default=10_000)
    parser.add_argument("--one-by-one", type=int, default=200, help="of the SciPy peer")
    parser.add_argument("--rounds", type=int, default=7)
    parser.add_argument("--memory", nargs=3, help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.memory:
        kind, who, records = given.memory
        show_memory(kind, who, int(records))
        return
    ahead(given.records, given.rounds)
    whole(given.sessions, given.rounds, given.one_by_one)


if __name__ == "__main__":
    main()
