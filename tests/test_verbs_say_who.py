"""Every verb takes `by`, keyword-only: whoever writes in the book is named to it, over page, API, import or command."""

import ast
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
FILES = sorted(
    [*ROOT.glob("inventory/services/**/*.py"), *ROOT.glob("planning/services/**/*.py"), ROOT / "mill/jobs.py"]
)
# What a manager, a queryset or a row does to the database.
WRITES = {"save", "create", "delete", "bulk_create", "bulk_update", "get_or_create", "update_or_create"}
VERB = {"transaction.atomic", "verb"}
# Nobody's verbs: what follows from a change that somebody made and was named for, or from the day.
DERIVED = {
    "inventory/services/outlooks.py": "what a yarn will have, worked out from movements and demand",
    "planning/services/working_out.py": "a warp's figures and its demand, worked out from what was said",
    "planning/services/retiming.py": "the times of the plan in force, following the floor",
    "planning/services/line_states.py": "a line's state, following its warps and pieces",
    "mill/jobs.py": "the job table: asked for within a verb, worked off by nobody",
}
# Parts of a verb that write under its lock, and leave the name to it.
PARTS_OF_A_VERB = {
    "planning/services/warps.py overtake_tickets": "what a warp's change does to its tickets; the change is named",
    "planning/services/feeds.py opened_by": "when a feed was last read, which nobody does to it",
    "planning/services/warp_steps.py follow_store": "what a warp has drawn, following the ledger; that names who drew",
    "planning/services/improving.py improve_plan": "a task: whose it is stands in what it was asked with",
}
# Who asks for work is named in the job's own row; the rest of the file works it off.
BY_ALL_THE_SAME = {"mill/jobs.py": {"ask", "stop", "try_again"}}


def named(path: Path) -> str:
    return str(path.relative_to(ROOT))


@cache
def module(path: Path) -> ast.Module:
    return ast.parse(path.read_text())


@cache
def functions(path: Path) -> dict[str, ast.FunctionDef]:
    return {node.name: node for node in module(path).body if isinstance(node, ast.FunctionDef)}


def is_update(call: ast.Call) -> bool:
    """rows.update(column=…), and not a dictionary's or a counter's."""
    return isinstance(call.func, ast.Attribute) and call.func.attr == "update" and bool(call.keywords)


def writes_itself(function: ast.FunctionDef) -> bool:
    calls = [node for node in ast.walk(function) if isinstance(node, ast.Call)]
    attributes = {call.func.attr for call in calls if isinstance(call.func, ast.Attribute)}
    return bool(attributes & WRITES) or any(is_update(call) for call in calls)


@cache
def known(path: Path) -> dict[str, str]:
    """What the file's imports call a service: a function's address by its name, and a module's by the name it has."""
    found = {}
    for node in ast.walk(module(path)):
        if isinstance(node, ast.ImportFrom) and node.module:
            for alias in node.names:
                found[alias.asname or alias.name] = f"{node.module}.{alias.name}"
    return found


def address(path: Path, name: str) -> str:
    return f"{'.'.join(path.relative_to(ROOT).with_suffix('').parts).removesuffix('.__init__')}.{name}"


@cache
def called(path: Path, name: str) -> frozenset[str]:
    """Addresses of the functions that a function calls."""
    found = set()
    for node in ast.walk(functions(path)[name]):
        if isinstance(node, ast.Call):
            match node.func:
                case ast.Name(id=other):
                    found.add(known(path).get(other, address(path, other)))
                case ast.Attribute(value=ast.Name(id=of), attr=other):
                    found.add(f"{known(path).get(of, of)}.{other}")
    return frozenset(found)


def is_derived(path: Path, name: str) -> bool:
    return named(path) in DERIVED and name not in BY_ALL_THE_SAME.get(named(path), ())


@cache
def writers() -> frozenset[str]:
    """Addresses of functions that write what people said, themselves or through others."""
    every = [(path, name) for path in FILES for name in functions(path) if not is_derived(path, name)]
    found = {address(path, name) for path, name in every if writes_itself(functions(path)[name])}
    while True:
        # The store's verbs are called by way of its package: inventory.services.receive.
        shown = {f"inventory.services.{one.rpartition('.')[2]}" for one in found if one.startswith("inventory.")}
        more = {address(path, name) for path, name in every if called(path, name) & (found | shown)}
        if more <= found:
            return frozenset(found)
        found |= more


def takes_by(function: ast.FunctionDef) -> bool:
    return "by" in {argument.arg for argument in function.args.kwonlyargs}


def verbs() -> list[tuple[str, str]]:
    """Public functions that write, and those that are one transaction."""
    found = set()
    for path in FILES:
        for name, node in functions(path).items():
            is_one_transaction = VERB & {ast.unparse(one) for one in node.decorator_list}
            if not name.startswith("_") and (address(path, name) in writers() or is_one_transaction):
                found.add((named(path), name))
    return sorted(found)


def excused(file: str, name: str) -> bool:
    return is_derived(ROOT / file, name) or f"{file} {name}" in PARTS_OF_A_VERB


@pytest.mark.parametrize(("file", "name"), [one for one in verbs() if not excused(*one)])
def test_a_verb_takes_whose_it_is(file, name):
    assert takes_by(functions(ROOT / file)[name]), f"{file}: {name} writes and takes no by="


def test_the_verbs_are_found_and_nothing_is_excused_that_is_none():
    found = {f"{file} {name}" for file, name in verbs()}
    assert {
        "planning/services/warps.py split",
        "planning/services/improving.py ask_without",
        "inventory/services/lots.py receive",
        "inventory/services/records.py write_record",
        "mill/jobs.py stop",
    } <= found
    assert PARTS_OF_A_VERB.keys() <= found
    assert DERIVED.keys() <= {named(path) for path in FILES if any(map(writes_itself, functions(path).values()))}
