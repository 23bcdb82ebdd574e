"""How fast surveys are reduced, slips looked for included: 50,000 surveys of 8 stations a minute on 2 cores.

A time depends on the machine, so it is printed and never asserted; memory and completeness are. Run this file as a
script for the whole 50,000; the test takes a tenth. Synthetic truth, fixed seed.
"""

from __future__ import annotations

import argparse
import resource
import subprocess
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np
import pytest

from fleet.measure import Instrument, SurveyReadings, adjust_many
from fleet.measure.slips import find_slips_many

pytestmark = pytest.mark.simulation

N_STATIONS = 8
BATCH = 2500
GIBIBYTE = 2**30
INSTRUMENT = Instrument(sense_v=1, sense_h=-1)


def surveys(n: int, seed: int) -> list[tuple[SurveyReadings, Instrument, bool]]:
    """Clean surveys: a reversal pair at every station and the first station once more."""
    rng = np.random.default_rng(seed)
    distance_mm = 500.0 * np.arange(1, N_STATIONS + 1)
    station = np.append(np.repeat(np.arange(N_STATIONS), 2), 0)
    roll_deg = np.append(np.tile([0.0, 180.0], N_STATIONS), 0.0)
    half_turn = np.where(roll_deg == 0, 1.0, -1.0)[:, None]
    x_m = (distance_mm[station] / 1000.0)[:, None]
    time_of = np.linspace(0.0, 1.0, len(station))[:, None]
    made = []
    for _ in range(n):
        bore_um = rng.normal(0.0, 150.0, (N_STATIONS, 2))[station]
        beam_um = half_turn * (rng.normal(0.0, 200.0, 2) + x_m * rng.normal(0.0, 200.0, 2))
        noise_um = rng.normal(0.0, 10.0, (len(station), 2)) * np.sqrt(10.0 / rng.chisquare(10.0))
        zero_um = rng.normal(0.0, 10.0, 2) + time_of * rng.normal(0.0, 4.0, 2)
        shown_um = (bore_um - beam_um) * [1.0, -1.0] + zero_um + noise_um
        made.append(
            (
                SurveyReadings(
                    distance_mm=distance_mm,
                    station=station,
                    sequence=np.arange(1, len(station) + 1),
                    beam_state=np.ones(len(station), dtype=np.int64),
                    beam_roll_deg=roll_deg,
                    target_roll_deg=np.zeros(len(station)),
                    v_um=shown_um[:, 0],
                    h_um=shown_um[:, 1],
                ),
                INSTRUMENT,
                False,
            )
        )
    return made


def reduce_batch(task: tuple[int, int]) -> tuple[int, int, int, float, int]:
    """Make and reduce one batch: surveys adjusted, offsets that are finite, surveys raised, seconds, peak memory."""
    made = surveys(*task)
    start = time.perf_counter()
    adjusted = adjust_many(made)
    raised = sum(bool(found) for found in find_slips_many(made))
    seconds = time.perf_counter() - start
    finite = sum(int(np.isfinite(one.offset_um).all() and np.isfinite(one.u95_um).all()) for one in adjusted)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024
    return len(adjusted), finite, raised, seconds, peak


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--surveys", type=int, default=50_000)
    parser.add_argument("--processes", type=int, default=2)
    given = parser.parse_args()
    tasks = [(min(BATCH, given.surveys - start), start) for start in range(0, given.surveys, BATCH)]
    with ProcessPoolExecutor(given.processes) as pool:
        done = list(pool.map(reduce_batch, tasks))
    busiest = sum(one[3] for one in done) / given.processes
    peak = max(one[4] for one in done) * given.processes
    reduced, finite, raised = (sum(one[k] for one in done) for k in range(3))
    sys.stdout.write(
        f"surveys {reduced} finite {finite} raised {raised} seconds {busiest:.1f} "
        f"per_minute {60 * reduced / busiest:.0f} peak_bytes {peak}\n"
    )


def test_surveys_with_slip_checks_are_reduced_within_a_gibibyte(capsys):
    n = 5000
    # A process of its own, because the peak of this one holds whatever ran before.
    told = subprocess.run(
        [sys.executable, str(Path(__file__)), "--surveys", str(n)],
        capture_output=True,
        text=True,
        check=True,
        env={"PYTHONPATH": str(Path(__file__).parents[2]), "OPENBLAS_NUM_THREADS": "1", "PATH": ""},
    ).stdout
    with capsys.disabled():
        sys.stdout.write(f"\n{told}")
    words = told.split()
    figures = dict(zip(words[0::2], words[1::2], strict=True))
    assert int(figures["surveys"]) == int(figures["finite"]) == n
    assert int(figures["raised"]) <= n / 200
    assert int(figures["peak_bytes"]) < GIBIBYTE


if __name__ == "__main__":
    main()
