"""The house is layered: arrows point down only. Read from the imports of every module."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
BASE = {"fleet.values", "fleet.units", "fleet.errors", "fleet.words"}
PURE_THIRD_PARTY = {"numpy", "scipy"}
ALLOWED: dict[str, set[str]] = {
    "fleet.values": set(),
    "fleet.errors": set(),
    "fleet.units": BASE,
    "fleet.words": BASE,
    "fleet.measure": BASE,
    "fleet.thermal": BASE,
    "fleet.trend": BASE,
    "fleet.profile": BASE,
    "fleet.planning": BASE,
    "fleet.store": BASE | {"fleet"},
    "fleet.intake": BASE | {"fleet.store"},
    "fleet.reports": BASE,
    "fleet.services": BASE
    | {
        "fleet.store",
        "fleet.intake",
        "fleet.reports",
        "fleet.measure",
        "fleet.thermal",
        "fleet.trend",
        "fleet.profile",
        "fleet.planning",
    },
    "fleet.cli_common": BASE | {"fleet", "fleet.services"},
    "fleet.cli_paper": BASE | {"fleet", "fleet.cli_common", "fleet.services", "fleet.reports", "dashboard"},
    "fleet.cli_plan": BASE | {"fleet", "fleet.cli_common", "fleet.cli_paper", "fleet.services", "fleet.reports"},
    "fleet.cli_audit": BASE | {"fleet", "fleet.cli_common", "fleet.services"},
    "fleet.cli_regime": BASE | {"fleet", "fleet.cli_common", "fleet.services"},
    "fleet.cli": BASE
    | {
        "fleet",
        "fleet.cli_common",
        "fleet.cli_paper",
        "fleet.cli_plan",
        "fleet.cli_audit",
        "fleet.cli_regime",
        "fleet.services",
        "fleet.reports",
        "dashboard",
        "seed_demo",
    },
    "dashboard": BASE | {"fleet.services", "fleet.reports"},
    "seed_demo": set(),
    "fleet": set(),
}
PURE = (
    "fleet.values",
    "fleet.units",
    "fleet.errors",
    "fleet.measure",
    "fleet.thermal",
    "fleet.trend",
    "fleet.profile",
    "fleet.planning",
)


def modules() -> dict[str, Path]:
    found = {}
    for top in ("fleet", "dashboard", "seed_demo"):
        for path in (ROOT / top).rglob("*.py"):
            parts = path.relative_to(ROOT).with_suffix("").parts
            found[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path
    return found


def imports(path: Path, known: set[str]) -> Iterator[str]:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            for alias in node.names:
                inner = f"{node.module}.{alias.name}"
                yield inner if inner in known else node.module


def room(module: str) -> str:
    """Return the layer a module lives in."""
    parts = module.split(".")
    for length in (2, 1):
        name = ".".join(parts[:length])
        if name in ALLOWED:
            return name
    raise AssertionError(f"{module} lives in no known layer")


MODULES = modules()


@pytest.mark.parametrize("module", sorted(MODULES))
def test_imports_point_down_only(module: str) -> None:
    here = room(module)
    for target in imports(MODULES[module], set(MODULES)):
        if target.split(".")[0] in ("fleet", "dashboard", "seed_demo"):
            there = room(target)
            assert there == here or there in ALLOWED[here], f"{module} may not import {target}"


@pytest.mark.parametrize("module", sorted(name for name in MODULES if room(name) in PURE))
def test_the_pure_parts_import_numpy_and_scipy_at_most(module: str) -> None:
    import sys

    for target in imports(MODULES[module], set(MODULES)):
        top = target.split(".")[0]
        assert top == "fleet" or top in PURE_THIRD_PARTY or top in sys.stdlib_module_names, f"{module}: {target}"


@pytest.mark.parametrize("module", sorted(MODULES))
def test_sql_and_pandas_stay_where_they_belong(module: str) -> None:
    tops = {target.split(".")[0] for target in imports(MODULES[module], set(MODULES))}
    if room(module) not in ("fleet.store", "fleet.intake"):
        assert "sqlalchemy" not in tops
    if room(module) not in ("fleet.services", "dashboard"):
        assert "pandas" not in tops


def test_there_is_no_circle_of_imports() -> None:
    edges = {
        name: {t for t in imports(path, set(MODULES)) if t in MODULES and t != name} for name, path in MODULES.items()
    }
    # A package and the modules inside it name each other on purpose: the package offers what they define.
    edges = {name: {t for t in to if not name.startswith(f"{t}.")} for name, to in edges.items()}
    done: set[str] = set()

    def visit(name: str, path: tuple[str, ...]) -> None:
        assert name not in path, " -> ".join([*path, name])
        if name not in done:
            for target in edges[name]:
                visit(target, (*path, name))
            done.add(name)

    for name in edges:
        visit(name, ())


def test_a_wrong_import_would_be_seen() -> None:
    assert "dashboard" not in ALLOWED["fleet.services"]
    assert "fleet.store" not in ALLOWED["fleet.trend"]
    assert room("fleet.trend.clock") == "fleet.trend"
