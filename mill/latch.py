"""A latch: one process at a time may hold it. Knows no data, only a file; needs nothing but Python.

The operating system lets go of it when the process ends, however it ends, so
that a latch is never left closed by a crash or a power cut.
"""

import os
import sys
from pathlib import Path

if sys.platform == "win32":
    import msvcrt
else:
    import fcntl

# Beyond whatever is written in the file: Windows lets nobody read a locked byte.
LOCKED_BYTE = 1 << 30


class Held(Exception):
    """Another process holds the latch; `by` is what it wrote there."""

    def __init__(self, by: str) -> None:
        super().__init__(by)
        self.by = by


class Latch:
    """Hold `path` from entering to leaving.

    With wait=False a latch held by another raises Held. `note` is written into
    the file, for whoever finds it held.
    """

    def __init__(self, path: Path, *, note: str = "", wait: bool = True) -> None:
        self.path, self.note, self.wait = path, note, wait

    def __enter__(self) -> "Latch":
        self.path.parent.mkdir(parents=True, exist_ok=True)
        self.fd = os.open(self.path, os.O_RDWR | os.O_CREAT, 0o600)
        try:
            self._close()
        except OSError:
            held_by = os.read(self.fd, 1000).decode()
            os.close(self.fd)
            raise Held(held_by) from None
        os.truncate(self.fd, 0)
        os.write(self.fd, self.note.encode())
        return self

    def __exit__(self, *exc: object) -> None:
        os.close(self.fd)

    def _close(self) -> None:
        if sys.platform == "win32":
            os.lseek(self.fd, LOCKED_BYTE, os.SEEK_SET)
            while True:
                try:
                    # LK_LOCK gives up by itself after ten tries a second apart.
                    msvcrt.locking(self.fd, msvcrt.LK_LOCK if self.wait else msvcrt.LK_NBLCK, 1)
                    break
                except OSError:
                    if not self.wait:
                        raise
            os.lseek(self.fd, 0, os.SEEK_SET)
        else:
            fcntl.flock(self.fd, fcntl.LOCK_EX | (0 if self.wait else fcntl.LOCK_NB))
