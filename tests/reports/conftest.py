"""Where a Chromium is, for the tests that look at a sheet as a reader or a printer gets it."""

from __future__ import annotations

import os
import shutil

import pytest


@pytest.fixture(scope="session")
def chromium_path() -> str:
    """Return the path of a Chromium; without one skip, on the build machine fail."""
    found = os.environ.get("CHROMIUM") or shutil.which("chromium") or shutil.which("chromium-browser")
    if found is None:
        if os.environ.get("CI"):
            pytest.fail("no Chromium here; install one or name it in CHROMIUM")
        pytest.skip("no Chromium here; install one or name it in CHROMIUM")
    return found
