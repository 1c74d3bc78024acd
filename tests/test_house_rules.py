"""What a reader of the tree may rely on, and would otherwise have to look for."""

import hashlib
import re
import subprocess
import tomllib
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
LOCKS = sorted((ROOT / "mill" / "requirements").glob("*.txt"))
TOP_LEVEL = {
    "README.md",
    "DEVELOPERS.md",
    "CHANGELOG.md",
    "manage.py",
    "pyproject.toml",
    "docker-compose.yml",
    "mill",
    "planning",
    "inventory",
    "templates",
    "tests",
}
# In pieces, so that this file does not hold what it looks for.
REGISTRIES = ["pypi" + ".org", "pythonhosted" + ".org", "npmjs" + ".org", "deb.debian" + ".org", "registry." + "npm"]
MACHINE_PATHS = re.compile("/(" + "|".join(["wo" + "rk", "ro" + "ot", "ho" + "me", "Us" + "ers"]) + r")/\w")


@cache
def files() -> list[Path]:
    """What is in the repository or about to be: not what lies about ignored."""
    listed = subprocess.run(
        ["git", "ls-files", "--cached", "--others", "--exclude-standard"],
        cwd=ROOT,
        check=True,
        capture_output=True,
        text=True,
    )
    found = [ROOT / name for name in listed.stdout.splitlines() if (ROOT / name).is_file()]
    assert len(found) > 50
    return found


@cache
def text(path: Path) -> str:
    """The file as text; what is not text (a picture) has no words to look at."""
    content = path.read_bytes()
    return "" if b"\0" in content else content.decode()


def named(path: Path) -> str:
    return str(path.relative_to(ROOT))


def locked(lock: Path) -> dict[str, str]:
    return dict(re.findall(r"^([\w.-]+)==([^\s;\\]+)", lock.read_text(), re.MULTILINE))


def test_the_top_level_holds_only_what_the_map_names():
    top = {path.relative_to(ROOT).parts[0] for path in files()}
    assert {name for name in top if not name.startswith(".")} <= TOP_LEVEL


def test_there_are_the_locks_of_a_run_of_the_tests_and_of_a_grown_mill():
    assert [lock.name for lock in LOCKS] == ["dev.txt", "grown.txt", "run.txt"]


@pytest.mark.parametrize("lock", LOCKS, ids=named)
def test_a_lock_holds_hashes_and_no_addresses(lock):
    content = lock.read_text()
    assert "://" not in content
    assert not re.search(r"^\s*(-|--)(i|f|e|index|find|extra|trusted|editable)", content, re.MULTILINE)
    requirements = re.split(r"\n(?=\S)", content.strip())
    assert len(requirements) > 30
    assert [requirement for requirement in requirements if "--hash=sha256:" not in requirement] == []


def test_the_locks_agree_and_the_tests_have_all_that_runs():
    run, dev, grown = (locked(ROOT / "mill" / "requirements" / f"{name}.txt") for name in ("run", "dev", "grown"))
    for smaller, larger in ((run, dev), (run, grown), (grown, dev)):
        assert smaller.items() <= larger.items()


def test_every_dependency_says_what_it_is_for_and_is_locked():
    source = (ROOT / "pyproject.toml").read_text()
    project = tomllib.loads(source)
    dev = {name.lower() for name in locked(ROOT / "mill" / "requirements" / "dev.txt")}
    wanted = [
        *project["project"]["dependencies"],
        *project["project"]["optional-dependencies"]["grown"],
        *project["dependency-groups"]["dev"],
    ]
    for requirement in wanted:
        assert re.search(re.escape(f'"{requirement}"') + r",?\s+# \w", source), f"{requirement} has no reason beside it"
        assert re.split(r"[\[<>=~!]", requirement)[0].lower() in dev


def test_no_file_names_a_registry_or_a_path_of_somebody_s_machine():
    for path in files():
        found = [host for host in REGISTRIES if host in text(path)] + MACHINE_PATHS.findall(text(path))
        assert not found, f"{named(path)} names {found}"


def test_pages_and_scripts_of_our_own_fetch_nothing_from_elsewhere():
    ours = [path for path in files() if named(path).startswith(("templates/", "mill/static/mill/"))]
    assert ours
    for path in ours:
        addresses = set(re.findall(r"(?:https?:)?//[\w.-]+\.\w+[\w/.-]*", text(path)))
        assert addresses <= {"http://www.w3.org/2000/svg", "http://www.w3.org/1999/xlink"}, named(path)


def test_what_others_made_has_its_licence_and_is_as_it_came():
    vendor = ROOT / "mill" / "static" / "vendor"
    said = dict(reversed(line.split("  ", 1)) for line in (vendor / "SHA256SUMS").read_text().splitlines())
    kept = {str(path.relative_to(vendor)): path for path in files() if path.is_relative_to(vendor)}
    del kept["SHA256SUMS"]
    assert {name: hashlib.sha256(path.read_bytes()).hexdigest() for name, path in kept.items()} == said
    assert {f"{name.partition('/')[0]}/LICENSE" for name in said} <= set(said)


def test_no_lock_with_addresses_is_in_the_repository():
    assert not {"uv.lock", "pylock.toml", "package-lock.json"} & {path.name for path in files()}


def told() -> str:
    return "\n".join((ROOT / name).read_text() for name in ("README.md", "DEVELOPERS.md"))


def test_every_setting_is_explained():
    read = set(re.findall(r'\benv(?:_bool|_list)?\(\s*"([A-Z_]+)"', (ROOT / "mill" / "settings.py").read_text()))
    assert {"DATABASE", "REDIS", "OPEN_BOOK"} <= read
    assert {name for name in read if f"`SHEDBOOK_{name}`" not in told()} == set()
    assert {name for name in re.findall(r"`SHEDBOOK_([A-Z_]+)`", told()) if name not in read} == set()


def test_every_command_is_explained():
    commands = {path.stem for path in ROOT.glob("*/management/commands/*.py")} - {"__init__"}
    assert {"start", "audit"} <= commands
    assert {name for name in commands if not re.search(rf"`(manage\.py )?{name}\b", told())} == set()
