"""The loom planner's search is compiled once for a machine: where that is kept, and who does it ahead of need.

Compiling takes some twenty seconds of a processor; what comes of it is read in one. It is kept beside the book, since
it belongs to this machine and this version, and the program's own folder may not be written to.
"""

import os
import subprocess
import sys

from django.conf import settings

from mill.latch import Latch

# The first pages are opened before a processor is asked for so much.
AHEAD_AFTER_S = 10

_ahead: "list[subprocess.Popen[bytes]]" = []


def keep_compiled_code() -> None:
    """Before anything is compiled: where compiled code is kept and looked for."""
    os.environ.setdefault("NUMBA_CACHE_DIR", str(settings.DATA_DIR / "numba"))


def compiling() -> Latch:
    """Held by whoever compiles the search, so that two processes don't do the same at once: the second reads."""
    return Latch(settings.DATA_DIR / "compiling")


def make_ready_ahead() -> None:
    """A little later, and in a process of its own that gives way to all others: the search is there when it is wanted.

    Called from the main thread, with which that process ends.
    """
    words = ["ready_search", "--parent", str(os.getpid()), "--after", str(AHEAD_AFTER_S)]
    command = [sys.executable, str(settings.BASE_DIR / "manage.py"), *words]
    # Kept, since a process that nobody knows of any more is complained about.
    _ahead.append(subprocess.Popen(command, stdin=subprocess.PIPE))  # noqa: S603 - nothing but our own words is in it
