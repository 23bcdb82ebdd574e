"""The dashboard as its own command serves it, in a process of its own."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from fleet.services.opening import Store

ROOT: Final = Path(__file__).parents[2]
COMMAND: Final = "from fleet.cli import main; main()"
START_SECONDS: Final = 120.0


@dataclass(frozen=True)
class DemoFleet:
    """The demo's records, its store opened beside the server, and where it is served."""

    store: Store
    url: str
    address: str


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@contextmanager
def serving(url: str, folder: Path, *, command: str = COMMAND) -> Iterator[str]:
    """Run `asleft serve` on a store and return the address once it listens; nothing has been asked of it yet.

    Parameters
    ----------
    url
        The store's address.
    folder
        Where its log is kept, to be shown if it does not start.
    command
        The Python text to run, for tests that make something about it harder.
    """
    port = free_port()
    log = folder / f"serve-{port}.log"
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "PYTHONWARNINGS": "default"}
    environment.pop("ASLEFT_BASE_URL", None)
    with log.open("wb") as out:
        server = subprocess.Popen(
            [sys.executable, "-c", command, "--database", url, "serve", "--port", str(port)],
            stdout=out,
            stderr=subprocess.STDOUT,
            cwd=folder,
            env=environment,
        )
        try:
            _wait(server, port, log)
            yield f"http://127.0.0.1:{port}"
        finally:
            server.terminate()
            try:
                server.wait(timeout=20)
            except subprocess.TimeoutExpired:
                server.kill()
                server.wait()


def _wait(server: subprocess.Popen[bytes], port: int, log: Path) -> None:
    """Wait until the port takes a connection; a connection is no request."""
    deadline = time.monotonic() + START_SECONDS
    while time.monotonic() < deadline:
        assert server.poll() is None, f"the server ended while starting:\n{log.read_text()}"
        with socket.socket() as probe:
            if probe.connect_ex(("127.0.0.1", port)) == 0:
                return
        time.sleep(0.05)
    raise AssertionError(f"the server does not listen after {START_SECONDS:g} s:\n{log.read_text()}")
