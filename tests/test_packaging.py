"""The wheel holds all it needs and works without the checkout it was built from."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import zipfile
from dataclasses import dataclass
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]


@dataclass(frozen=True)
class Unpacked:
    """A wheel's contents in a folder of their own, and an empty folder to work in."""

    target: Path
    names: tuple[str, ...]
    elsewhere: Path

    def run(self, code: str, *arguments: str) -> subprocess.CompletedProcess[str]:
        """Run Python text with the unpacked wheel before everything else, far from the checkout."""
        environment = {key: value for key, value in os.environ.items() if not key.startswith("ASLEFT_")}
        environment |= {"PYTHONPATH": str(self.target), "HOME": str(self.elsewhere)}
        return subprocess.run(
            [sys.executable, "-c", code, *arguments],
            cwd=self.elsewhere,
            env=environment,
            capture_output=True,
            text=True,
            check=False,
        )

    def asleft(self, *arguments: str) -> str:
        """Run the command from the unpacked wheel and return what it printed."""
        done = self.run("from fleet.cli import main; main()", *arguments)
        assert done.returncode == 0, done.stderr
        return done.stdout


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Unpacked:
    folder = tmp_path_factory.mktemp("wheel")
    build = [sys.executable, "-m", "pip", "wheel", "--no-deps", "--no-build-isolation", "--quiet"]
    done = subprocess.run(
        [*build, "--disable-pip-version-check", "--wheel-dir", str(folder), str(ROOT)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    (built,) = folder.glob("*.whl")
    target, elsewhere = folder / "target", folder / "elsewhere"
    elsewhere.mkdir()
    with zipfile.ZipFile(built) as archive:
        archive.extractall(target)
        return Unpacked(target, tuple(archive.namelist()), elsewhere)


def test_the_wheel_holds_the_three_packages_and_nothing_else(wheel: Unpacked) -> None:
    tops = {name.split("/")[0] for name in wheel.names}
    assert {top for top in tops if not top.endswith(".dist-info")} == {"fleet", "dashboard", "seed_demo"}
    assert len(tops) == 4
    assert [name for name in wheel.names if name.endswith((".pyc", ".sqlite")) or "/tests/" in name] == []


def test_the_wheel_holds_every_module_of_the_checkout(wheel: Unpacked) -> None:
    modules = {
        path.relative_to(ROOT).as_posix()
        for top in ("fleet", "dashboard", "seed_demo")
        for path in (ROOT / top).rglob("*.py")
    }
    assert len(modules) > 50
    assert modules - set(wheel.names) == set()


def test_the_wheel_holds_the_migrations_with_their_revisions(wheel: Unpacked) -> None:
    revisions = {f"fleet/_migrations/versions/{path.name}" for path in (ROOT / "migrations" / "versions").glob("*.py")}
    assert revisions
    assert {"fleet/_migrations/env.py", *revisions} - set(wheel.names) == set()


def test_the_wheel_holds_the_look_the_font_and_the_fonts_licence(wheel: Unpacked) -> None:
    assets = {
        path.relative_to(ROOT).as_posix() for path in (ROOT / "dashboard" / "assets").rglob("*") if path.is_file()
    }
    assert assets - set(wheel.names) == set()
    fonts = [name for name in wheel.names if name.startswith("dashboard/assets/fonts/")]
    assert [name for name in fonts if name.endswith(".woff2")] != []
    licence = (wheel.target / "dashboard/assets/fonts/OFL.txt").read_text(encoding="utf-8")
    assert "SIL OPEN FONT LICENSE" in licence.upper()


def test_the_wheel_names_the_command(wheel: Unpacked) -> None:
    (entry_points,) = wheel.target.glob("asleft-*.dist-info/entry_points.txt")
    assert "asleft = fleet.cli:main" in entry_points.read_text()


def test_what_runs_comes_from_the_wheel(wheel: Unpacked) -> None:
    code = """
import dashboard, fleet, seed_demo
from fleet.store import schema
print(dashboard.__file__, fleet.__file__, seed_demo.__file__, schema.folder(), sep=chr(10))
"""
    places = [Path(line) for line in wheel.run(code).stdout.split("\n") if line]
    assert len(places) == 4
    assert all(place.is_relative_to(wheel.target) for place in places)


def test_a_store_is_made_from_the_wheel_alone(wheel: Unpacked) -> None:
    url = f"sqlite:///{wheel.elsewhere / 'new.sqlite'}"
    assert "is sound: revision" in wheel.asleft("--database", url, "db", "upgrade")
    assert json.loads(wheel.asleft("--database", url, "status", "--json"))["lines_in_store"] == 0


def test_the_demo_is_made_and_read_from_the_wheel_alone(wheel: Unpacked) -> None:
    url = f"sqlite:///{wheel.elsewhere / 'demo.sqlite'}"
    wheel.asleft("--database", url, "demo")
    assert "is sound" in wheel.asleft("--database", url, "db", "check")
    fleet = json.loads(wheel.asleft("--database", url, "status", "--json"))
    assert (fleet["lines_in_store"], len(fleet["sites"])) == (25, 3)
    assert "2 SET TO" in wheel.asleft("--database", url, "jobsheet", "ORR-07")


def test_the_pages_and_their_font_are_served_from_the_wheel_alone(wheel: Unpacked) -> None:
    code = """
import sys
from dashboard.app import create_app
from fleet.services.opening import open_store
client = create_app(open_store(sys.argv[1], say=print)).server.test_client()
font = "/assets/fonts/atkinson-hyperlegible-next-latin-wght-normal.woff2"
print([client.get(path).status_code for path in ("/", "/assets/00-tokens.css", font)])
"""
    done = wheel.run(code, f"sqlite:///{wheel.elsewhere / 'pages.sqlite'}")
    assert done.stdout.strip().endswith("[200, 200, 200]"), done.stderr
