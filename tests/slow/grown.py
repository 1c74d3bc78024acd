"""The grown mill's services as docker-compose.yml has them, each as a process of this machine."""

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import yaml

from tests.slow.conftest import ROOT, Book, free_port

SERVICES = yaml.safe_load((ROOT / "docker-compose.yml").read_text())["services"]
SAID_IN_ENV_FILE = {
    "POSTGRES_PASSWORD": "onlyfortests",
    "SHEDBOOK_SECRET_KEY": "only for tests, signs nothing that lasts",
    "SHEDBOOK_HOSTS": "book.mill.example",
}


class Grown:
    """Each service as a process of this machine: other addresses and folders, the rest as the file says it."""

    def __init__(self, book: Book) -> None:
        self.book, self.port = book, free_port()
        # gunicorn, celery and python as the image has them on its path.
        book.env["PATH"] = f"{Path(sys.executable).parent}{os.pathsep}{book.env['PATH']}"
        book.env["HOSTNAME"] = os.uname().nodename

    def env(self, name: str) -> dict[str, str]:
        def said(match: re.Match) -> str:
            return SAID_IN_ENV_FILE.get(match[1], (match[2] or "").removeprefix(":-"))

        given = {
            key: re.sub(r"\$\{(\w+)(:[-?][^}]*)?\}", said, value)
            for key, value in SERVICES[name]["environment"].items()
        }
        here = {key: self.book.env[key] for key in ("SHEDBOOK_DATABASE", "SHEDBOOK_REDIS", "SHEDBOOK_DATA")}
        return {**self.book.env, **given, **here, "NUMBA_CACHE_DIR": str(self.book.folder / "numba")}

    def command(self, words: list[str]) -> list[str]:
        return [
            word.replace("0.0.0.0:8000", f"127.0.0.1:{self.port}").replace(":8000/", f":{self.port}/") for word in words
        ]

    def begin(self, name: str) -> subprocess.Popen:
        program, *rest = self.command(SERVICES[name]["command"])
        program = shutil.which(program, path=self.book.env["PATH"])
        if name == "worker":
            rest += ["--include", "tests.tasks"]
        self.book.env, own = self.env(name), self.book.env
        process = self.book.spawn(program, *rest)
        self.book.env = own
        return process

    def health(self, name: str) -> subprocess.CompletedProcess:
        how, *words = self.command(SERVICES[name]["healthcheck"]["test"])
        command = ["sh", "-c", words[0].replace("$$", "$")] if how == "CMD-SHELL" else words
        command[0] = shutil.which(command[0], path=self.book.env["PATH"])
        return subprocess.run(command, cwd=ROOT, env=self.env(name), capture_output=True, text=True, timeout=60)

    def is_well(self, name: str) -> bool:
        return self.health(name).returncode == 0
