"""A tether: how a process ends. A child ends with its parent, however that one ended."""

import ctypes
import os
import signal
import sys
import threading
from types import FrameType

PR_SET_PDEATHSIG = 1


def leave_in_good_order() -> None:
    """Ctrl-C and whoever ends us make us leave by SystemExit, through everything that has to be put away first."""
    for ending in ("SIGTERM", "SIGINT", "SIGHUP"):
        # Under nohup the closed terminal is meant to be ignored.
        if hasattr(signal, ending) and not (ending == "SIGHUP" and signal.getsignal(signal.SIGHUP) is signal.SIG_IGN):
            signal.signal(getattr(signal, ending), _leave)


def _leave(signum: int, frame: FrameType | None) -> None:
    # Once is enough: a second Ctrl-C must not cut short the putting away.
    signal.signal(signum, signal.SIG_IGN)
    sys.exit(0)


def tie_to(parent_pid: int) -> None:
    """End with the parent, who holds the other side of our standard input."""
    if sys.platform.startswith("linux"):
        by_signal(parent_pid)
    else:
        by_pipe()


def by_signal(parent_pid: int) -> None:
    """The kernel kills us when the parent's main thread ends."""
    if ctypes.CDLL(None, use_errno=True).prctl(PR_SET_PDEATHSIG, signal.SIGKILL, 0, 0, 0):
        raise OSError(ctypes.get_errno(), "prctl")
    # It may have ended before we asked.
    if os.getppid() != parent_pid:
        os._exit(1)


def by_pipe() -> None:
    """Standard input reaches its end when nobody holds its other side any more."""

    def wait_for_the_end() -> None:
        while sys.stdin.buffer.read(1):
            pass
        os._exit(1)

    threading.Thread(target=wait_for_the_end, name="tether", daemon=True).start()
