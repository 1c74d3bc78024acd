"""A scratch book: the example mill of a size in a folder of its own, for a benchmark to work on."""

import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

MANAGE = Path(__file__).resolve().parent.parent.parent / "manage.py"


@contextmanager
def scratch_book(*, size: int, database: str | None = None) -> Iterator[dict[str, str]]:
    """The environment of a process that opens the scratch book; the book is gone afterwards.

    size        0 where an example mill stands in the database already
    database    an address of one that is for this alone; what is written there stays
    """
    with tempfile.TemporaryDirectory(prefix="shedbook-bench-") as folder:
        own = f"sqlite:{folder}/shedbook.sqlite3"
        env = {**os.environ, "SHEDBOOK_DATA": folder, "SHEDBOOK_DATABASE": database or own}
        for command in (
            ["migrate", "--verbosity", "0"],
            ["collectstatic", "--no-input", "--verbosity", "0"],
            *([["example_mill", "--size", str(size)]] if size else []),
        ):
            subprocess.run([sys.executable, str(MANAGE), *command], env=env, check=True, stdout=subprocess.DEVNULL)
        yield env


def in_the_book(env: dict[str, str], name: str, *more: str) -> str:
    """What a benchmark's inner part prints, run in a process of its own on a scratch book."""
    done = subprocess.run(
        [sys.executable, str(MANAGE), "bench", name, "--inside", *more],
        env=env,
        check=True,
        stdout=subprocess.PIPE,
        text=True,
    )
    return done.stdout.strip().splitlines()[-1]
