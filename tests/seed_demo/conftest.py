"""The invented fleet, written once."""

from __future__ import annotations

import pytest
from demo_records import TODAY, Demo, read

import seed_demo


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Demo:
    folder = tmp_path_factory.mktemp("demo")
    truth = seed_demo.write(folder, today=TODAY)
    return Demo(folder, read(folder), truth)
