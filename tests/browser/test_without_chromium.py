"""Where Chromium is missing: skipped with the command that installs it, on the build machine failed."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


def run_without_chromium(folder: Path, *, build_machine: bool, workers: int) -> subprocess.CompletedProcess[str]:
    """Run one browser test in a process that finds no program at all."""
    environment = {key: value for key, value in os.environ.items() if key not in ("CI", "CHROMIUM", "PYTEST_ADDOPTS")}
    environment = {key: value for key, value in environment.items() if not key.startswith("PYTEST_XDIST")}
    environment["PATH"] = str(folder)
    if build_machine:
        environment["CI"] = "true"
    chosen = "tests/browser/test_serving_whole.py::test_the_first_requests_in_parallel_are_all_answered"
    workers_wanted = ["-n", str(workers)] if workers else ["-p", "no:xdist"]
    return subprocess.run(
        [sys.executable, "-m", "pytest", "-p", "no:cacheprovider", *workers_wanted, chosen],
        cwd=ROOT,
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )


@pytest.mark.parametrize("workers", [0, 1])
def test_browser_tests_are_skipped_and_the_last_line_says_how_to_install_it(workers: int, tmp_path: Path) -> None:
    done = run_without_chromium(tmp_path, build_machine=False, workers=workers)
    assert done.returncode == 0, done.stdout
    assert "1 skipped" in done.stdout
    last = done.stdout.strip().splitlines()[-1]
    assert "because Chromium is missing" in last
    assert last.endswith("apt-get install chromium")


def test_the_build_machine_fails_instead(tmp_path: Path) -> None:
    done = run_without_chromium(tmp_path, build_machine=True, workers=0)
    assert done.returncode == 1, done.stdout
    assert "Chromium is missing; install it with: apt-get install chromium" in done.stdout
