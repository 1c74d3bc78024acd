"""A file with a mill name is pure; a file with a Django name need not be. Who may know whom, read off the imports."""

import ast
import subprocess
import sys
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
APPS = ("planning", "inventory")
DJANGO_NAMES = {
    "__init__",
    "admin",
    "api",
    "apps",
    "forms",
    "management",
    "migrations",
    "models",
    "serializers",
    "services",
    "tasks",
    "templatetags",
    "urls",
    "views",
}
# What a room may use besides the standard library: arrays, and the compiler for the planner's inner loop.
ROOM_LIBRARIES = {"numpy", "numba"}
MILL_ROOMS = {"mill.refusal", "mill.signs", "mill.working"}
# The clock, the machine and randomness that was not handed in are the world's, not a room's.
NOT_FOR_ROOMS = {"os", "random", "secrets", "socket", "sqlite3", "subprocess", "time", "urllib", "uuid"}
CLOCK = {"now", "utcnow", "today"}
WEB = {
    "django.forms",
    "django.http",
    "django.shortcuts",
    "django.template",
    "django.views",
    "django.core.mail",
    "rest_framework",
}
WRITES = {"save", "create", "delete", "bulk_create", "bulk_update", "get_or_create", "update_or_create"}


def kind(path: Path) -> str:
    """The name that decides what a file may do: views of planning/views/looms.py, warp of planning/warp.py."""
    return path.relative_to(ROOT).with_suffix("").parts[1]


FILES = [path for app in APPS for path in sorted((ROOT / app).rglob("*.py")) if kind(path) != "migrations"]
ROOMS = [path for path in FILES if kind(path) not in DJANGO_NAMES]


def called(name: str) -> list[Path]:
    return [path for path in FILES if kind(path) == name]


def named(path: Path) -> str:
    return str(path.relative_to(ROOT))


@cache
def tree(path: Path) -> ast.Module:
    return ast.parse(path.read_text())


@cache
def imports(path: Path) -> frozenset[str]:
    """Every module a file imports, at its top or inside a function; of `from a import b` both a and a.b."""
    package = path.relative_to(ROOT).with_suffix("").parts[:-1]
    found = set()
    for node in ast.walk(tree(path)):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            base = (
                ".".join((*package[: len(package) - node.level + 1], node.module or "")) if node.level else node.module
            )
            found |= {base.rstrip("."), *(f"{base.rstrip('.')}.{alias.name}" for alias in node.names)}
    return frozenset(found)


def imported_from(path: Path, *modules: str) -> set[str]:
    return {name for name in imports(path) for module in modules if name == module or name.startswith(f"{module}.")}


def test_there_are_rooms_and_drawers_to_look_into():
    assert {"warp", "ticket", "ledger", "yarn"} <= {kind(path) for path in ROOMS}
    assert {"models", "services", "views"} <= {kind(path) for path in FILES}


def test_the_rooms_can_be_entered_without_django_pint_or_celery():
    modules = [".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__") for path in ROOMS]
    code = f"""
import importlib, sys
for name in ("django", "rest_framework", "pint", "celery"):
    sys.modules[name] = None
for module in {modules}:
    try:
        importlib.import_module(module)
    except ImportError as exc:
        print(module, "needs", exc.name)
"""
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True)
    assert (done.stdout, done.stderr) == ("", "")


@pytest.mark.parametrize("path", ROOMS, ids=named)
def test_a_room_knows_only_other_rooms(path):
    strange = set()
    for name in imports(path):
        top = name.split(".")[0]
        is_room = top in APPS and len(name.split(".")) > 1 and name.split(".")[1] not in DJANGO_NAMES
        crosses = top in APPS and top != named(path).split("/")[0]
        if crosses:
            known = not named(path).startswith("inventory") and f"{name}.".startswith("inventory.yarn.")
            known = known or name == "inventory"
        elif top in APPS:
            known = is_room or name == top
        elif top == "mill":
            known = name == "mill" or any(f"{name}.".startswith(f"{room}.") for room in MILL_ROOMS)
        else:
            known = top in ROOM_LIBRARIES or (top in sys.stdlib_module_names and top not in NOT_FOR_ROOMS)
        if not known:
            strange.add(name)
    assert not strange


@pytest.mark.parametrize("path", ROOMS, ids=named)
def test_a_room_does_not_look_at_the_clock(path):
    """It may be handed one: limit.now() is the caller's clock, datetime.now() is the world's."""
    looks = [
        f"line {node.lineno}: {ast.unparse(node)}"
        for node in ast.walk(tree(path))
        if isinstance(node, ast.Attribute) and node.attr in CLOCK
        if ast.unparse(node.value).split(".")[-1] in {"date", "datetime", "timezone"}
    ]
    assert not looks


@pytest.mark.parametrize("path", ROOMS, ids=named)
def test_a_room_says_in_its_first_line_what_it_holds(path):
    first = (ast.get_docstring(tree(path)) or "").split("\n")[0]
    assert first.endswith("."), "the first line is a sentence"
    assert len(first) <= 117


@pytest.mark.parametrize("path", [path for path in FILES if named(path).startswith("inventory")], ids=named)
def test_the_inventory_never_knows_planning(path):
    assert not imported_from(path, "planning")


@pytest.mark.parametrize("path", called("models"), ids=named)
def test_records_know_no_verbs_and_no_web(path):
    app = named(path).split("/")[0]
    assert not imported_from(path, f"{app}.services", "inventory.services", "mill.units", *WEB)


@pytest.mark.parametrize("path", called("services"), ids=named)
def test_verbs_know_no_forms_and_no_web(path):
    faces = [f"{app}.{face}" for app in APPS for face in ("forms", "serializers", "views", "api", "tasks", "admin")]
    assert not imported_from(path, *faces, *WEB)


@pytest.mark.parametrize("path", called("forms") + called("serializers"), ids=named)
def test_forms_read_and_never_write(path):
    assert not imported_from(path, *(f"{app}.services" for app in APPS))


@pytest.mark.parametrize("path", called("views") + called("api") + called("tasks") + called("admin"), ids=named)
def test_faces_leave_the_writing_to_the_verbs(path):
    writes = [
        f"line {node.lineno}: .{node.func.attr}()"
        for node in ast.walk(tree(path))
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr in WRITES
    ]
    assert not writes


def test_one_file_alone_names_pint():
    everywhere = [path for part in (*APPS, "mill") for path in sorted((ROOT / part).rglob("*.py"))]
    assert {named(path) for path in everywhere if imported_from(path, "pint")} == {"mill/units.py"}
