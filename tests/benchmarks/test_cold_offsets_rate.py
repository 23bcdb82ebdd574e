"""How fast a fleet's cold offsets are compared: 10,000 lines with five running checks each in under 10 s on 2 cores.

Timed are all computations from the fleet's facts as read (checks to rises with the heat model, warm-ups, the five ways
with every run left out, recommendation) and, apart, reading the record and bringing it to series. A time depends on
the machine, so it is printed and never asserted; memory and completeness are. Run this file as a script for the whole
fleet; the test takes a fiftieth. Synthetic truth, fixed seed.
"""

from __future__ import annotations

import argparse
import os
import resource
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from fleet.services.cold_offsets import compare_fleet
from fleet.services.importing import import_folder
from fleet.services.opening import open_store
from fleet.services.reduction import reduce_if_needed
from fleet.services.series import load_series

pytestmark = pytest.mark.simulation

GIBIBYTE = 2**30
NOW = datetime(2026, 11, 1, 12, tzinfo=UTC)
BORES_MM = (63.5, 90.0, 114.3, 150.0, 152.4)
CHECKS = 5


def write_fleet(folder: Path, lines: int) -> None:
    """Two supports and two stations a line, one as-left, five checks of both axes with their temperatures."""
    rng = np.random.default_rng(1)
    codes = [f"L{k:05d}" for k in range(lines)]
    bores = [BORES_MM[k % len(BORES_MM)] for k in range(lines)]
    places = ((1, 1500), (2, 3000))

    def write(name: str, head: str, rows: list[str]) -> None:
        (folder / f"{name}.csv").write_text("\n".join([head, *rows, ""]), encoding="utf-8")

    write("sites", "site,time_zone", ["S,UTC"])
    write("lines", "line,site,screw_diameter_mm", [f"{c},S,{b}" for c, b in zip(codes, bores, strict=True)])
    write("gearboxes", "gearbox,centre_height_mm", [f"G{c},700" for c in codes])
    write(
        "barrels",
        "barrel,bore_mm,outside_diameter_mm,length_mm",
        [f"B{c},{b},{1.7 * b:.1f},3500" for c, b in zip(codes, bores, strict=True)],
    )
    write(
        "placements",
        "line,asset_kind,asset,installed_on",
        [f"{c},{kind},{kind[0].upper()}{c},2015-01-01" for c in codes for kind in ("gearbox", "barrel")],
    )
    write(
        "supports",
        "line,support,distance_mm,height_mm,saddle,vee_angle_deg,carries",
        [f"{c},U{j},{x},700,{'vee,90' if k % 2 else 'flat,'},rigid" for k, c in enumerate(codes) for j, x in places],
    )
    write("stations", "line,station,distance_mm,support", [f"{c},P{j},{x},U{j}" for c in codes for j, x in places])
    write("sessions", "session,line,started_at", [f"V{c},{c},2019-01-01T08:00" for c in codes])
    write("surveys", "session,survey,phase", [f"V{c},1,as_left" for c in codes])
    write("offsets", "session,survey,station,v,h,unit", [f"V{c},1,P{j},-150,0,um" for c in codes for j, _ in places])
    head = "line,checked_at,station,v_rise,h_rise,unit,u,barrel_c,gearbox_c,gearbox_c_at,base_c,hours_since_heats_on"
    rows = []
    for c in codes:
        for year in range(2020, 2020 + CHECKS):
            barrel_c, oil_c = rng.normal(190.0, 8.0), rng.normal(60.0, 4.0)
            for j, _ in places:
                v_um, h_um = rng.normal(200.0, 15.0), rng.normal(0.0, 10.0)
                rows.append(
                    f"{c},{year}-06-01T10:00,P{j},{v_um:.0f},{h_um:.0f},um,10,{barrel_c:.0f},{oil_c:.0f},oil,28,30"
                )
    write("running_checks", head, rows)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--lines", type=int, default=10_000)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as kept:
        folder = Path(kept) / "fleet"
        folder.mkdir()
        write_fleet(folder, given.lines)
        store = open_store(f"sqlite:///{Path(kept) / 'fleet.sqlite'}", say=lambda _: None)
        import_folder(store, folder, who="benchmark", now=NOW)
        reduce_if_needed(store)
        with store.read() as record:
            start = time.perf_counter()
            fleet = load_series(record, now=NOW)
            read = time.perf_counter()
            used = time.process_time()
            compared = compare_fleet(record, fleet)
            seconds, processor = time.perf_counter() - read, time.process_time() - used
        store.close()
    got = compared.comparison
    complete = (
        np.isfinite(got.expected_running_um) & np.isfinite(got.high_um) & (got.by_place.runs == CHECKS).all(axis=1)
    )
    figures = {
        "lines": given.lines,
        "checks": len(compared.checks),
        "places": complete.size,
        "complete": int(complete.sum()),
        "reading_seconds": read - start,
        "seconds": seconds,
        "processor_seconds": processor,
        "peak_bytes": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024,
    }
    sys.stdout.write("".join(f"{name} {value:.10g}\n" for name, value in figures.items()))


def test_a_fleets_cold_offsets_are_compared_in_full_within_a_gibibyte(capsys: pytest.CaptureFixture[str]) -> None:
    told = subprocess.run(
        [sys.executable, str(Path(__file__)), "--lines", "200"],
        capture_output=True,
        text=True,
        check=True,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2]), "OPENBLAS_NUM_THREADS": "1"},
    ).stdout
    with capsys.disabled():
        sys.stdout.write(f"\n{told}")
    figures = {name: float(value) for name, value in (line.split() for line in told.splitlines())}
    assert figures["checks"] == 200 * 2 * CHECKS
    assert figures["complete"] == figures["places"] == 200 * 2 * 2
    assert figures["peak_bytes"] < GIBIBYTE


if __name__ == "__main__":
    main()
