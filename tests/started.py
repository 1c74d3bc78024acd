"""`manage.py start` as a process of its own, for the tests that open a whole book."""

import os
import socket
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
CLEAN_ENV = {
    name: value
    for name, value in os.environ.items()
    if not name.startswith(("SHEDBOOK_", "DJANGO_", "PYTEST_")) and name not in {"VIRTUAL_ENV", "PYTHONPATH", "CI"}
}


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


class Started:
    """`manage.py start` on a folder of its own."""

    def __init__(self, folder, port, *more):
        self.port = port
        command = [sys.executable, "manage.py", "start", "--no-browser"]
        self.process = subprocess.Popen(
            [*command, "--port", str(port), "--data", str(folder), *more],
            cwd=ROOT,
            env=CLEAN_ENV,
            text=True,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
        )

    def line(self):
        """What it says once it is open; fails with its complaint when it isn't."""
        line = self.process.stdout.readline()
        assert line, self.process.stderr.read()
        return line

    def children(self):
        """Each child as the words of its command after manage.py, and its process id."""
        listed = Path(f"/proc/{self.process.pid}/task/{self.process.pid}/children").read_text()
        commands = {int(pid): Path(f"/proc/{pid}/cmdline").read_text().split("\0") for pid in listed.split()}
        return {
            " ".join(words[2 : words.index("--parent")]): pid  # one that just died has no words
            for pid, words in commands.items()
            if "--parent" in words
        }

    def is_answering(self):
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{self.port}/", timeout=10) as page:
                return page.status == 200
        except OSError:
            return False


def wait_until(true, *, within_s=15):
    gives_up_at = time.monotonic() + within_s
    while not true():
        assert time.monotonic() < gives_up_at
        time.sleep(0.05)


def is_gone(pid):
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] in "ZX"
    except FileNotFoundError:
        return True
