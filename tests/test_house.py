"""The rooms: who may import whom, which third-party package lives where, and that the core has no clock and no I/O."""

from __future__ import annotations

import ast
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent / "agent" / "panelward"

# The walk: a room may import what stands before it.
WALK = (
    "errors", "records", "clock", "sealed", "ratings", "schedule", "link", "intake", "watch", "alarm", "core",
    "wording", "papers", "journal", "notify", "learn", "rehearse", "commission", "handover", "listen", "rig", "review",
    "daemon", "door", "commands", "__main__",
)  # fmt: skip
HOME = {
    "paho": "link",
    "sqlite3": "journal",
    "apprise": "notify",
    "pydantic": "schedule",
    "pydantic_core": "schedule",
    "pandas": "review",
    "numpy": "review",
    "matplotlib": "review",
    "pyarrow": "review",
    "reportlab": "papers",
    "starlette": "door",
    "uvicorn": "door",
    "jinja2": "door",
    "markupsafe": "door",
    "itsdangerous": "door",
    "h11": "door",
}
PURE = ("records", "errors", "ratings", "watch", "alarm", "core", "wording", "intake", "commission", "listen")
NO_CLOCK = (
    "time",
    "random",
    "os",
    "socket",
    "threading",
    "asyncio",
    "subprocess",
    "pathlib",
    "io",
    "logging",
    "sqlite3",
)
APART = {"rig": ("watch", "ratings", "alarm", "core", "wording", "intake", "journal", "notify")}


def room_of(path: Path) -> str:
    return path.relative_to(ROOT).parts[0].removesuffix(".py")


def files() -> list[Path]:
    return sorted(p for p in ROOT.rglob("*.py") if p != ROOT / "__init__.py")


def imports(path: Path) -> list[str]:
    names: list[str] = []
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Import):
            names += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            module = node.module or ""
            names += [f"{module}.{alias.name}" for alias in node.names] if module == "panelward" else [module]
    return names


@pytest.mark.parametrize("path", files(), ids=lambda p: str(p.relative_to(ROOT)))
def test_a_room_imports_only_rooms_before_it(path: Path) -> None:
    room = room_of(path)
    assert room in WALK, f"{room} has no place in the walk: add it to WALK and to DEVELOPERS.md"
    for name in imports(path):
        if name.startswith("panelward.") and name != "panelward.__version__":
            other = name.split(".")[1]
            assert WALK.index(other) <= WALK.index(room), f"{room} imports {other}, a later room"
            assert other not in APART.get(room, ()), f"{room} shares no code with {other}"


@pytest.mark.parametrize("path", files(), ids=lambda p: str(p.relative_to(ROOT)))
def test_one_third_party_package_one_room(path: Path) -> None:
    room = room_of(path)
    for name in imports(path):
        top = name.split(".")[0]
        if top in HOME:
            assert room == HOME[top], f"{top} belongs to {HOME[top]}, not to {room}"
        elif top != "panelward" and top not in sys.stdlib_module_names:
            assert top == "iotcore", f"{room} imports {top}, which has no room"


@pytest.mark.parametrize("path", [p for p in files() if room_of(p) in PURE], ids=lambda p: str(p.relative_to(ROOT)))
def test_the_core_has_no_clock_and_no_io(path: Path) -> None:
    for name in imports(path):
        assert name.split(".")[0] not in NO_CLOCK, f"{path.name} imports {name}"
    tree = ast.parse(path.read_text())
    called = {node.func.id for node in ast.walk(tree) if isinstance(node, ast.Call) and isinstance(node.func, ast.Name)}
    assert not called & {"open", "print", "input"}
    now = {node.attr for node in ast.walk(tree) if isinstance(node, ast.Attribute)} & {"now", "utcnow", "today"}
    assert not now


@pytest.mark.parametrize("path", [p for p in files() if room_of(p) in ("watch", "alarm", "core")], ids=lambda p: p.name)
def test_no_set_is_iterated_in_the_core(path: Path) -> None:
    """The order of a set is not the same from run to run; a set may only be asked for membership."""
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, (ast.For, ast.comprehension)):
            assert not isinstance(node.iter, (ast.Set, ast.SetComp)), f"{path.name}: line {node.iter.lineno}"
