"""The grown mill's services as docker-compose.yml has them: its commands, settings and health checks, on real servers."""

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
import yaml

from tests.slow.conftest import ROOT, free_port, wait_until
from tests.slow.test_jobs_crash import ask, marks, states

pytestmark = pytest.mark.slow

SERVICES = yaml.safe_load((ROOT / "docker-compose.yml").read_text())["services"]
SAID_IN_ENV_FILE = {
    "POSTGRES_PASSWORD": "onlyfortests",
    "SHEDBOOK_SECRET_KEY": "only for tests, signs nothing that lasts",
    "SHEDBOOK_HOSTS": "book.mill.example",
}


class Grown:
    """Each service as a process of this machine: other addresses and folders, the rest as the file says it."""

    def __init__(self, book) -> None:
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


@pytest.fixture
def grown(make_book):
    return Grown(make_book("postgresql", redis=True, migrate=False))


def test_the_services_of_the_grown_mill_do_their_work_and_say_whether_they_are_well(grown):
    setup = grown.begin("setup")
    assert setup.wait(120) == 0
    assert not grown.is_well("web")
    assert not grown.is_well("worker")
    assert grown.is_well("relay"), "with nothing to hand on"

    for name in ("web", "worker"):
        grown.begin(name)
    for name in ("web", "worker"):
        wait_until(lambda name=name: grown.is_well(name), within_s=90, what=f"{name} is well")

    ask(grown.book, "tests.leave_mark", [{"mark": "a"}])
    grown.book.python("""
from datetime import timedelta
from django.utils import timezone
from mill.models import Job
Job.objects.update(asked_at=timezone.now() - timedelta(minutes=2))
""")
    unwell = grown.health("relay")
    assert unwell.returncode == 1
    assert "1 jobs have waited over a minute for a relay" in unwell.stderr
    grown.begin("relay")
    wait_until(lambda: states(grown.book) == {"done": 1}, within_s=60, what="the job is done")
    assert marks(grown.book) == {"a": 1}
    assert grown.is_well("relay")


def test_the_grown_mill_s_book_is_not_open_to_whoever_comes_by(grown):
    grown.begin("setup").wait(120)
    grown.begin("web")
    wait_until(lambda: grown.is_well("web"), within_s=90, what="the web server is well")
    code = f"""
import urllib.request
with urllib.request.urlopen("http://127.0.0.1:{grown.port}/") as page:
    print(page.url)
"""
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60)
    assert said.stdout == f"http://127.0.0.1:{grown.port}/sign-in/?next=/\n"
