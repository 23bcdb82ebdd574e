"""What README promises is there, and what must be read before work stands in it word for word."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import click

from fleet.cli import main
from fleet.reports.cautions import LAST, cautions

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def command_block(name: str) -> str:
    """Return a command block as the build machine cuts it out of README: by the very line of .ci/run."""
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    (cutting,) = [line for line in script.splitlines() if line.startswith("test_command=$(")]
    assert "test command" in cutting
    cutting = cutting.replace("test command", f"{name} command")
    done = subprocess.run(
        ["bash", "-c", f'{cutting}\nprintf %s "$test_command"'], cwd=ROOT, capture_output=True, text=True, check=True
    )
    return done.stdout


def as_written(text: str) -> str:
    """Return text without its Markdown, spaces folded, apostrophes as a keyboard has them."""
    return " ".join(text.replace("**", "").replace("’", "'").split())


def code() -> str:
    """Return all that README sets as code, blocks and spans."""
    blocks = re.findall(r"^```\w*\n(.*?)^```$", README, re.S | re.M)
    spans = re.findall(r"`([^`\n]+)`", re.sub(r"^```.*?^```$", "", README, flags=re.S | re.M))
    return "\n".join([*blocks, *spans])


def commands(group: click.Group = main, before: str = "") -> list[str]:
    """Return every command there is as it is typed: 'status', 'db check'."""
    found: list[str] = []
    for name, command in group.commands.items():
        found += commands(command, f"{before}{name} ") if isinstance(command, click.Group) else [before + name]
    return found


def test_the_first_paragraph_says_what_the_job_is_and_for_whom() -> None:
    heading, first = README.split("\n\n")[:2]
    assert heading == "# Asleft"
    said = as_written(first).lower()
    # The words of the job and of its three readers; common practice, no source.
    for word in (
        *("extruder barrel", "gearbox's axis of rotation", "reversal", "bore", "supports", "cold", "rises"),
        *("uncertainty", "drift", "outage", "tolerance", "cold offset", "running", "job sheet"),
        *("maintenance planner", "plant engineer", "technician"),
    ):
        assert word in said, word


def test_two_commands_stand_where_the_build_machine_looks_for_them() -> None:
    into_own_place = "python3 -m venv .venv && .venv/bin/pip install -q"
    assert command_block("demo") == f"{into_own_place} . && .venv/bin/asleft demo --serve"
    assert command_block("test") == f"{into_own_place} -e '.[dev]' && .venv/bin/python -m pytest -n 2"


def test_the_first_command_serves_where_readme_says() -> None:
    ports = {option.name: option.default for option in main.commands["demo"].params}
    assert f"<http://127.0.0.1:{ports['port']}/>" in README


def test_the_cautions_are_those_of_the_job_sheet_word_for_word_in_order() -> None:
    section = README.split("## Before you reach in", 1)[1].split("\n## ", 1)[0]
    entries = [as_written(entry) for entry in re.findall(r"^- (.*?)(?=^- |^\S|\n\n|\Z)", section, re.S | re.M)]
    # README is no sheet: its last one says "This".
    wanted = [f"{lead} {rest}" for lead, rest in cautions(None)] + [LAST.replace("This sheet is", "This is")]
    assert entries == [as_written(entry) for entry in wanted]
    assert len(entries) == 9


def test_every_command_is_named() -> None:
    assert len(commands()) >= 12
    named = code()
    assert [name for name in commands() if not re.search(rf"(?<![\w-]){name}(?![\w-])", named)] == []


def test_no_command_is_named_that_is_not_there() -> None:
    tried = re.findall(r"\basleft((?: --database \S+)?(?: [a-z][a-z-]*)?)(?= |$)", code(), re.M)
    names = {call.split()[-1] for call in tried if call.split() and not call.split()[-1].startswith("-")}
    assert "demo" in names
    assert names - set(main.commands) == set()


def test_every_picture_and_file_it_points_at_is_there() -> None:
    targets = re.findall(r"\]\(([^)\s]+)", README) + re.findall(r"(?:src|href|srcset)=\"([^\"]+)\"", README)
    local = [target.split("#")[0] for target in targets if not re.match(r"[a-z]+:|#", target)]
    assert [target for target in local if not (ROOT / target).is_file()] == []


def test_no_path_of_anyones_machine_is_in_it() -> None:
    roots = "home|root|Users|tmp|var|opt|mnt|srv|usr|private|workspace|work"
    assert re.findall(rf"(?<![\w.:/])/(?:{roots})\b\S*|\b[A-Za-z]:\\\S+|file://\S+|localhost/\S+", README) == []


def test_every_test_that_developers_are_pointed_to_is_there() -> None:
    pointed = set(re.findall(r"`(test_\w+)`", (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")))
    written = {
        name
        for path in (ROOT / "tests").rglob("test_*.py")
        for name in re.findall(r"^def (test_\w+)\(", path.read_text(encoding="utf-8"), re.M)
    }
    assert len(pointed) > 20
    assert pointed - written == set()
