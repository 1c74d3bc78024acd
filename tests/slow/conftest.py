"""Real servers on loopback, and whole books of their own, worked by real processes."""

import os
import pwd
import shutil
import signal
import socket
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from urllib.parse import urlsplit

import psycopg
import pytest

ROOT = Path(__file__).resolve().parent.parent.parent
BOOKS_ON_REDIS = 1000


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def wait_until(true: Callable[[], object], *, within_s: float, what: str) -> None:
    gives_up_at = time.monotonic() + within_s
    while not true():
        assert time.monotonic() < gives_up_at, f"not within {within_s} s: {what}"
        time.sleep(0.02)


def refuse_without(program: Path | None, hint: str) -> Path:
    """Skip where the server is not installed; in the checks that is a failure."""
    if program and program.exists():
        return program
    hint = f"Not on this machine: sudo apt-get install --no-install-recommends {hint}"
    if os.environ.get("REQUIRE_SERVERS") == "1":
        pytest.fail(hint)
    pytest.skip(hint)


def owned_by(user: str, folder: Path) -> dict[str, object]:
    """How to run a server that refuses root, or should not be it: as its own user, who owns the folder."""
    if os.geteuid() != 0:
        return {}
    shutil.chown(folder, user)
    return {"user": user, "group": pwd.getpwnam(user).pw_gid, "extra_groups": []}


def programs_of_postgresql() -> Path:
    """The folder of the newest server's programs."""
    newest = sorted(Path("/usr/lib/postgresql").glob("*/bin/pg_ctl"))
    return refuse_without(newest[-1] if newest else None, "postgresql").parent


@pytest.fixture(scope="session")
def server_folder():
    # Short and open to the servers' own users, which pytest's folders are not.
    folder = Path(tempfile.mkdtemp(prefix="shedbook-"))
    folder.chmod(0o755)
    yield folder
    shutil.rmtree(folder)


@pytest.fixture(scope="session")
def redis_url(server_folder):
    server = refuse_without(Path(shutil.which("redis-server") or "/none"), "redis-server")
    folder, port = server_folder / "redis", free_port()
    folder.mkdir()
    process = subprocess.Popen(
        [
            server,
            *f"--port {port} --bind 127.0.0.1 --databases {BOOKS_ON_REDIS} --appendonly yes --dir {folder}".split(),
            *("--save", ""),
        ],
        cwd="/",
        stdout=subprocess.DEVNULL,
        **owned_by("redis", folder),
    )

    def answers():
        with socket.socket() as probe:
            return probe.connect_ex(("127.0.0.1", port)) == 0

    wait_until(answers, within_s=20, what="Redis answers")
    yield f"redis://127.0.0.1:{port}"
    process.kill()
    process.wait(20)


@pytest.fixture(scope="session")
def postgresql_url(server_folder):
    """The address of a server's first database; each book makes one of its own beside it."""
    pg_ctl = programs_of_postgresql() / "pg_ctl"
    folder, port = server_folder / "pg", free_port()
    folder.mkdir()
    user = owned_by("postgres", folder)
    data = folder / "data"
    said = {"cwd": "/", "check": True, "stdout": subprocess.DEVNULL, **user}
    subprocess.run([pg_ctl.with_name("initdb"), "-D", data, "-A", "trust", "-U", "postgres", "-E", "UTF8"], **said)
    # Clients are killed here, never the server or its machine (test_faults.py has a server for that): disks may lag.
    options = f"-p {port} -k {folder} -c listen_addresses=127.0.0.1 -c fsync=off -c full_page_writes=off"
    subprocess.run([pg_ctl, "-D", data, "-w", "-o", options, "-l", folder / "log", "start"], **said)
    yield f"postgresql://postgres@127.0.0.1:{port}/postgres"
    subprocess.run([pg_ctl, "-D", data, "-w", "-m", "immediate", "stop"], **said)


class Book:
    """A book of its own with real processes at work on it, as a mill has it."""

    def __init__(self, folder: Path, database: str, redis_url: str = "") -> None:
        self.folder, self.database = folder, database
        self.env = {
            **{name: value for name, value in os.environ.items() if not name.startswith(("SHEDBOOK_", "DJANGO_"))},
            "SHEDBOOK_DATA": str(folder),
            "SHEDBOOK_DATABASE": database,
            "SHEDBOOK_REDIS": redis_url,
        }
        self.processes: list[subprocess.Popen] = []

    def run(self, *command: str, **options) -> subprocess.CompletedProcess:
        """One of manage.py's commands, to its end; it must succeed unless check=False."""
        options = {"capture_output": True, "text": True, "timeout": 300, **options}
        must_succeed = options.pop("check", True)
        done = subprocess.run([sys.executable, "manage.py", *command], cwd=ROOT, env=self.env, **options)
        assert not (must_succeed and done.returncode), f"{command}: {done.stdout}{done.stderr}"
        return done

    def python(self, code: str) -> str:
        """Run a few lines with Django set up, and give what they print."""
        code = f"import django\ndjango.setup()\n{code}"
        env = {**self.env, "DJANGO_SETTINGS_MODULE": "mill.settings"}
        done = subprocess.run(
            [sys.executable, "-c", code], cwd=ROOT, env=env, capture_output=True, text=True, timeout=120
        )
        assert not done.returncode, done.stderr
        return done.stdout

    def spawn(self, *command: str) -> subprocess.Popen:
        """A process in a group of its own, ended at the latest with the test."""
        process = subprocess.Popen(command, cwd=ROOT, env=self.env, start_new_session=True)
        self.processes.append(process)
        return process

    def jobworker(self) -> subprocess.Popen:
        return self.spawn(sys.executable, "manage.py", "jobworker", "--include", "tests.tasks")

    def jobrelay(self) -> subprocess.Popen:
        return self.spawn(sys.executable, "manage.py", "jobrelay")

    def celery(self, *, processes: int = 2, name: str = "") -> subprocess.Popen:
        quiet = ["--without-gossip", "--without-mingle", "--loglevel", "WARNING", "--include", "tests.tasks"]
        celery = [sys.executable, "-m", "celery", "-A", "mill", "worker", "--concurrency", str(processes), *quiet]
        celery += ["--hostname", name] if name else []
        return self.spawn(*celery)

    def kill(self, process: subprocess.Popen) -> None:
        """kill -9, the whole group of it: no farewells."""
        if process.poll() is None:
            os.killpg(process.pid, signal.SIGKILL)
            process.wait(20)
        self.processes.remove(process)

    def rows(self, sql: str) -> list[tuple]:
        if self.database.startswith("sqlite:"):
            with closing(sqlite3.connect(self.database.removeprefix("sqlite:"), timeout=20)) as connection:
                return connection.execute(sql).fetchall()
        with psycopg.connect(self.database) as connection:
            return connection.execute(sql).fetchall()

    def close(self) -> None:
        for process in list(self.processes):
            self.kill(process)


@pytest.fixture(scope="session")
def redis_numbers():
    """The databases of the one Redis: no book counts or queues on another's."""
    return iter(range(BOOKS_ON_REDIS))


def create_database(server: str, like: str = "template1") -> str:
    """A database of its own on the server, as the other one stands; its address."""
    name = f"book_{os.getpid()}_{time.monotonic_ns()}"
    with psycopg.connect(server, autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name} TEMPLATE {like}")
    return server.removesuffix("postgres") + name


@pytest.fixture(scope="session")
def empty_books(request, tmp_path_factory):
    """empty_books(kind): the database of a book just migrated, made once; to be copied, and never opened."""
    made: dict[str, str] = {}

    def of(kind: str) -> str:
        if kind not in made:
            folder = tmp_path_factory.mktemp("empty")
            database = f"sqlite:{folder / 'shedbook.sqlite3'}"
            if kind == "postgresql":
                database = create_database(request.getfixturevalue("postgresql_url"))
            Book(folder, database).run("migrate", "--verbosity", "0")
            made[kind] = database
        return made[kind]

    return of


@pytest.fixture
def make_book(request, tmp_path, empty_books):
    """make_book("sqlite" or "postgresql", redis=True): an empty book with its tables."""
    books = []

    def make(kind: str, *, redis: bool = False, migrate: bool = True) -> Book:
        folder = tmp_path / f"book{len(books)}"
        folder.mkdir()
        database = f"sqlite:{folder / 'shedbook.sqlite3'}"
        if kind == "postgresql":
            like = urlsplit(empty_books(kind)).path[1:] if migrate else "template1"
            database = create_database(request.getfixturevalue("postgresql_url"), like)
        elif migrate:
            shutil.copy(empty_books(kind).removeprefix("sqlite:"), folder)
        shared = ""
        if redis:
            shared = f"{request.getfixturevalue('redis_url')}/{next(request.getfixturevalue('redis_numbers'))}"
        book = Book(folder, database, shared)
        books.append(book)
        return book

    yield make
    for book in books:
        book.close()
