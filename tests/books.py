"""Books in folders of their own, worked on by real commands, and their backups."""

import hashlib
import json
import os
import shutil
import sqlite3
import subprocess
import sys
import zipfile

import pytest

from mill.latch import Latch
from tests.started import CLEAN_ENV, ROOT


class Book:
    """A folder with a book in SQLite, and manage.py's commands on it."""

    def __init__(self, folder):
        self.folder = folder
        self.file = folder / "shedbook.sqlite3"

    def run(self, *command, must=0):
        done = subprocess.run(
            [sys.executable, "manage.py", *command],
            cwd=ROOT,
            env={**CLEAN_ENV, "SHEDBOOK_DATA": str(self.folder)},
            capture_output=True,
            text=True,
        )
        assert done.returncode == must, done.stdout + done.stderr
        return done.stdout + done.stderr

    def asked(self, sql):
        with sqlite3.connect(self.file) as there:
            return there.execute(sql).fetchall()


@pytest.fixture(scope="session")
def example(tmp_path_factory):
    """The folder of the example mill and its backup: written once, whichever of the tests' processes needs it first."""
    folder = tmp_path_factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:
        folder = folder.parent
    folder, made = folder / "candlebeck", folder / "candlebeck is made"
    with Latch(folder.with_name("candlebeck is being made")):
        if not made.exists():
            folder.mkdir()
            book = Book(folder)
            book.run("migrate", "-v0")
            book.run("example_mill")
            book.run("backup", str(folder / "book.zip"))
            made.touch()
    return folder


@pytest.fixture(scope="module")
def candlebeck(example, tmp_path_factory):
    """The example mill in a folder."""
    return Book(shutil.copytree(example, tmp_path_factory.mktemp("books") / "candlebeck"))


@pytest.fixture(scope="module")
def file(candlebeck):
    """Its backup."""
    return candlebeck.folder / "book.zip"


@pytest.fixture
def elsewhere(tmp_path):
    return Book(tmp_path / "elsewhere")


def rewritten(file, to, *, manifest=None, without=None, change=None):
    """The backup again, with something else in it; its manifest's digest fits, as that of a strange program would."""
    with zipfile.ZipFile(file) as old, zipfile.ZipFile(to, "w") as new:
        said = json.loads(old.read("manifest.json"))
        said.update(manifest or {})
        text = json.dumps(said).encode()
        for name in old.namelist():
            if name == without or name.startswith("manifest."):
                continue
            data = old.read(name)
            new.writestr(name, change(data) if change and name == "tables/inventory.movement.jsonl" else data)
        new.writestr("manifest.json", text)
        new.writestr("manifest.sha256", hashlib.sha256(text).hexdigest())
    return to
