#!/usr/bin/env python3
"""Shedbook's commands: `python3 manage.py start` opens the book, `python3 manage.py test` checks it.

Outside a virtual environment the first part makes one in .venv and goes on
inside it; it needs nothing but Python. Inside any virtual environment it does
nothing.
"""

import argparse
import hashlib
import importlib.util
import os
import shutil
import subprocess
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
VENV = HERE / ".venv"
VENV_PYTHON = VENV / ("Scripts/python.exe" if sys.platform == "win32" else "bin/python")
STAMP = VENV / "installed"


def become(python: Path, *arguments: str) -> None:
    """Go on as another process: the same one where the system can, else a child we wait for."""
    command = [str(python), *arguments]
    if sys.platform == "win32":
        sys.exit(subprocess.run(command, check=False).returncode)
    os.execv(python, command)  # noqa: S606 - nothing but our own words is in it


def stamp(lock: str) -> str:
    """What STAMP reads once everything in `lock` is installed for this Python."""
    sha256 = hashlib.sha256((HERE / "mill" / "requirements" / lock).read_bytes()).hexdigest()
    return "Python {}.{} {}".format(*sys.version_info[:2], sha256)


def is_set_up(*locks: str) -> bool:
    # A .venv whose own Python is gone from the machine still has its stamp.
    return VENV_PYTHON.exists() and STAMP.exists() and STAMP.read_text() in map(stamp, locks)


def set_up(lock: str) -> None:
    """Make .venv and install `lock` into it. STAMP comes last, so an interrupted set-up is done again."""
    if not all(map(importlib.util.find_spec, ("venv", "ensurepip"))):
        sys.exit("This Python can't make virtual environments yet. On Debian and Ubuntu install the package\n"
                 "python3-venv (sudo apt-get install python3-venv), then give the same command again.")  # fmt: skip
    print(f"Setting up .venv from mill/requirements/{lock}, once: about half a minute.", file=sys.stderr)
    STAMP.unlink(missing_ok=True)
    made_with = VENV / "pyvenv.cfg"
    this_python = "version = {}.{}.".format(*sys.version_info)
    if made_with.exists() and not (VENV_PYTHON.exists() and this_python in made_with.read_text()):
        for old in VENV.iterdir():  # everything but the latch we hold
            if old.name != "latch":
                shutil.rmtree(old) if old.is_dir() and not old.is_symlink() else old.unlink()
    pip = [str(VENV_PYTHON), "-m", "pip", "--disable-pip-version-check", "install", "--quiet", "--require-hashes"]
    for step in (
        [sys.executable, "-m", "venv", str(VENV)],
        [*pip, "--only-binary", ":all:", "-r", str(HERE / "mill" / "requirements" / lock)],
    ):
        if subprocess.run(step, check=False).returncode:
            sys.exit("The set-up stopped; its reason is above. Give the same command again to go on with it.")
    STAMP.write_text(stamp(lock))


def in_own_environment() -> None:
    """Inside a virtual environment: nothing. Outside one: set .venv up when it must be, and go on in it."""
    if sys.prefix != sys.base_prefix:
        return
    if sys.version_info < (3, 11):  # noqa: UP036 - the sentence is for those who have an older one
        sys.exit("Shedbook needs Python 3.11 or newer; this is {}.{}.".format(*sys.version_info))
    # What the tests need holds all that a run needs, never the other way round.
    locks = ("dev.txt",) if sys.argv[1:2] == ["test"] else ("run.txt", "dev.txt")
    if not is_set_up(*locks):
        from mill.latch import Latch

        with Latch(VENV / "latch"):
            if not is_set_up(*locks):
                set_up(locks[0])
    become(VENV_PYTHON, str(HERE / "manage.py"), *sys.argv[1:])


def test(arguments: list) -> None:
    """pytest: the fast suite on two processes; with --slow the long proofs, side by side where they bear company."""
    os.chdir(HERE)
    # The tests begin hundreds of processes of the book: what is compiled for one serves the others.
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    os.environ.setdefault("NUMBA_CACHE_DIR", str(Path(sys.prefix) / "numba"))
    side_by_side = ["-n", "2", "--dist", "worksteal"]
    pytest = [sys.executable, "-m", "pytest"]
    if "--slow" not in arguments:
        become(Path(sys.executable), *pytest[1:], "-m", "not slow", *side_by_side, *arguments)
    arguments.remove("--slow")
    pytest += ["--durations", "15"]  # so that the dearest of them are known
    stages = (
        # By file: what a browser's tests share is made once. As they come, for files with few tests have the longest.
        ["-m", "slow and browser", "-n", "2", "--dist", "loadfile", "--no-loadscope-reorder"],
        ["-m", "slow and not browser and not alone", *side_by_side],
        ["-m", "slow and not browser and alone"],
    )
    codes = {subprocess.run([*pytest, *stage, *arguments], check=False).returncode for stage in stages}
    found_none = 5  # as when one file is asked for
    sys.exit(max(codes - {found_none}, default=found_none))


def main() -> None:
    if sys.argv[1:2] == ["test"]:
        test(sys.argv[2:])
    if sys.argv[1:2] == ["start"]:
        # Where the data are must be known before the settings are read.
        parser = argparse.ArgumentParser(add_help=False, allow_abbrev=False)
        parser.add_argument("--data")
        folder = parser.parse_known_args(sys.argv[2:])[0].data
        if folder:
            os.environ["SHEDBOOK_DATA"] = str(Path(folder).resolve())
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "mill.settings")
    try:
        from django.core.exceptions import ImproperlyConfigured
        from django.core.management import execute_from_command_line
    except ImportError:
        sys.exit("This virtual environment lacks what Shedbook needs. Leave it (deactivate) and give the same command\n"
                 "again, or install into it what mill/requirements/run.txt names.")  # fmt: skip

    try:
        execute_from_command_line(sys.argv)
    except ImproperlyConfigured as wrong:
        # A setting that can't be read says so itself.
        sys.exit(str(wrong))


if __name__ == "__main__":
    in_own_environment()
    main()
