"""Rules about the code itself that no tool of the shelf checks: sizes, names, and who may read the clock."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent.parent
LONGEST_FILE_LINES = 300
LONGEST_FUNCTION_LINES = 40
JUNK_DRAWERS = {"utils", "util", "helpers", "helper", "common", "misc", "tools", "stuff"}
APPS = ("bookings", "reminders")
PLACES = (*APPS, "config", "tests")
SOURCES = sorted(
    path
    for place in PLACES
    for path in (ROOT / place).rglob("*.py")
    if "migrations" not in path.parts and "__pycache__" not in path.parts
)
# Doors: what is entered from outside and so may ask what time it is.
CLOCK_DOORS = {"views", "tasks", "management", "receivers", "admin"}
CLOCK_CALLS = {
    ("datetime", "now"),
    ("datetime", "utcnow"),
    ("datetime", "today"),
    ("date", "today"),
    ("timezone", "now"),
    ("timezone", "localdate"),
    ("timezone", "localtime"),
    ("time", "time"),
}


def _name(path: Path) -> str:
    return str(path.relative_to(ROOT))


def _tree(path: Path) -> ast.Module:
    return ast.parse(path.read_text("utf-8"), filename=str(path))


def too_long_functions(tree: ast.AST, limit: int) -> list[str]:
    """Functions of more than `limit` lines, decorators and docstring not counted."""
    found = []
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            first = node.body[1] if ast.get_docstring(node) and len(node.body) > 1 else node.body[0]
            signature = node.body[0].lineno - node.lineno
            lines = (node.end_lineno or node.lineno) - first.lineno + 1 + signature
            if lines > limit:
                found.append(f"{node.name} ({lines} lines)")
    return found


def clock_reads(tree: ast.AST) -> list[str]:
    """Calls that read the clock, as ``name.method``."""
    return [
        f"{node.func.value.id}.{node.func.attr}"
        for node in ast.walk(tree)
        if isinstance(node, ast.Call)
        and isinstance(node.func, ast.Attribute)
        and isinstance(node.func.value, ast.Name)
        and (node.func.value.id, node.func.attr) in CLOCK_CALLS
    ]


def takes_the_moment(tree: ast.AST) -> bool:
    """Tell whether a module imports the one reader of the clock."""
    return any(
        isinstance(node, ast.ImportFrom)
        and (
            (node.module == "bookings.clock" and any(alias.name == "moment" for alias in node.names))
            or (node.module == "bookings" and any(alias.name == "clock" for alias in node.names))
        )
        for node in ast.walk(tree)
    )


def test_there_is_code_to_look_at() -> None:
    assert len(SOURCES) > 50


@pytest.mark.parametrize("path", SOURCES, ids=_name)
def test_a_file_can_be_read_in_one_sitting(path: Path) -> None:
    assert len(path.read_text("utf-8").splitlines()) <= LONGEST_FILE_LINES


@pytest.mark.parametrize("path", SOURCES, ids=_name)
def test_a_function_fits_a_screen(path: Path) -> None:
    assert too_long_functions(_tree(path), LONGEST_FUNCTION_LINES) == []


def test_no_module_is_a_junk_drawer() -> None:
    named = [path for path in SOURCES if path.stem in JUNK_DRAWERS or path.parent.name in JUNK_DRAWERS]
    assert named == []


@pytest.mark.parametrize("app", APPS)
def test_only_the_clock_module_reads_the_clock(app: str) -> None:
    readers = {
        _name(path): clock_reads(_tree(path))
        for path in SOURCES
        if path.is_relative_to(ROOT / app) and path != ROOT / "bookings" / "clock.py"
    }
    assert {name: calls for name, calls in readers.items() if calls} == {}


@pytest.mark.parametrize("app", APPS)
def test_only_doors_ask_for_the_moment(app: str) -> None:
    asking = [path for path in SOURCES if path.is_relative_to(ROOT / app) and takes_the_moment(_tree(path))]
    inside = [_name(path) for path in asking if not CLOCK_DOORS.intersection((*path.parts, path.stem))]
    assert inside == []


def test_a_foreign_key_never_points_to_a_later_stage() -> None:
    stages = [
        "riders",
        "catalogue",
        "shop",
        "requests",
        "bookings",
        "jobs",
        "consent",
        "estimates",
        "schedules",
        "reminders",
    ]
    order = {name: number for number, name in enumerate([*stages, "messages", "posting"])}
    order["catalogue"] = order["shop"] = order["riders"]
    order["readings"] = order["estimates"]
    order["feeds"] = order["consent"]
    for app in APPS:
        for path in (ROOT / app / "models").glob("[a-z]*.py"):
            for node in ast.walk(_tree(path)):
                if isinstance(node, ast.ImportFrom) and node.module and ".models." in f"{node.module}.":
                    target = node.module.rpartition(".")[2]
                    assert order.get(target, -1) <= order[path.stem], f"{_name(path)} knows {node.module}"


# The checks above are themselves checked on code that breaks them.


def test_a_long_function_is_seen() -> None:
    body = "\n".join(f"    x = {number}" for number in range(LONGEST_FUNCTION_LINES + 1))
    assert too_long_functions(ast.parse(f"def long():\n{body}\n"), LONGEST_FUNCTION_LINES)
    assert not too_long_functions(ast.parse("def short():\n    pass\n"), LONGEST_FUNCTION_LINES)


def test_a_clock_read_is_seen() -> None:
    assert clock_reads(ast.parse("from django.utils import timezone\nx = timezone.now()")) == ["timezone.now"]
    assert clock_reads(ast.parse("x = moment()")) == []
    assert takes_the_moment(ast.parse("from bookings.clock import moment"))
