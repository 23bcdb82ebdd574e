"""What the solver's library prints does not reach standard output, where a command prints one document."""

from __future__ import annotations

import json
import os
import shlex
import subprocess
import sys
from pathlib import Path

PRINTS = """
import ctypes, json, sys
from threading import Barrier, Thread
from fleet.planning.silence import c_prints_to_stderr
libc = ctypes.CDLL(None)
print("before")
both = Barrier(2)
def noisy(word):
    with c_prints_to_stderr():
        both.wait()
        libc.puts(word)
        both.wait()
    with c_prints_to_stderr():
        libc.puts(word)
threads = [Thread(target=noisy, args=(word,)) for word in (b"noise one", b"noise two")]
for thread in threads: thread.start()
for thread in threads: thread.join()
print(json.dumps({"plan": 1}))
"""
REUSED = """
import os, sys
from fleet.planning.silence import c_prints_to_stderr
with c_prints_to_stderr():
    os.write(1, b"a record")
"""


def test_what_c_prints_in_two_threads_goes_to_standard_error() -> None:
    # Unbuffered, C would hold nothing back that could come out too late.
    calm = {name: value for name, value in os.environ.items() if name != "PYTHONUNBUFFERED"}
    ran = subprocess.run([sys.executable, "-c", PRINTS], capture_output=True, text=True, check=True, env=calm)
    first, document = ran.stdout.splitlines()
    assert first == "before"
    assert json.loads(document) == {"plan": 1}
    assert ran.stderr.count("noise one") == ran.stderr.count("noise two") == 2


def test_a_file_that_took_the_place_of_a_closed_standard_output_is_left_alone(tmp_path: Path) -> None:
    opened = f"import os\nassert os.open({str(tmp_path / 'file')!r}, os.O_CREAT | os.O_WRONLY) == 1\n"
    command = shlex.join([sys.executable, "-c", opened + REUSED]) + " >&-"
    ran = subprocess.run(["sh", "-c", command], stderr=subprocess.PIPE, text=True, check=True)
    assert ran.stderr == ""
    assert (tmp_path / "file").read_text() == "a record"
