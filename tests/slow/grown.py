"""The grown mill's services as docker-compose.yml has them, each as a process of this machine."""

import os
import re
import shutil
import signal
import subprocess
import sys
from pathlib import Path

import psycopg
import yaml

from tests.slow.conftest import (
    ROOT,
    Book,
    free_port,
    owned_by,
    programs_of_postgresql,
    refuse_without,
    wait_until,
)

LOOPBACK = "127.0.0.1"

SERVICES = yaml.safe_load((ROOT / "docker-compose.yml").read_text())["services"]
SAID_IN_ENV_FILE = {
    "POSTGRES_PASSWORD": "onlyfortests",
    "SHEDBOOK_SECRET_KEY": "only for tests, signs nothing that lasts",
    "SHEDBOOK_HOSTS": "book.mill.example",
}


class Grown:
    """Each service as a process of this machine: other addresses and folders, the rest as the file says it."""

    def __init__(self, book: Book) -> None:
        self.book = book
        self.ports = {name: free_port() for name, service in SERVICES.items() if "ports" in service}
        self.port = self.ports["web"]
        # gunicorn, celery and python as the image has them on its path.
        book.env["PATH"] = f"{Path(sys.executable).parent}{os.pathsep}{book.env['PATH']}"
        book.env["HOSTNAME"] = os.uname().nodename

    def given(self, name: str) -> dict[str, str]:
        """What the file says of a service's environment, with what .env says put in."""

        def said(match: re.Match) -> str:
            return SAID_IN_ENV_FILE.get(match[1], (match[2] or "").removeprefix(":-"))

        return {
            key: re.sub(r"\$\{(\w+)(:[-?][^}]*)?\}", said, value)
            for key, value in SERVICES[name].get("environment", {}).items()
        }

    def env(self, name: str) -> dict[str, str]:
        here = {key: self.book.env[key] for key in ("SHEDBOOK_DATABASE", "SHEDBOOK_REDIS", "SHEDBOOK_DATA")}
        here |= {"NUMBA_CACHE_DIR": str(self.book.folder / "numba"), "TMPDIR": str(self.own_folder(name))}
        return {**self.book.env, **self.given(name), **here}

    def own_folder(self, name: str) -> Path:
        """Of its container alone, as /tmp is there."""
        folder = self.book.folder / f"tmp of {name}"
        folder.mkdir(exist_ok=True)
        return folder

    def command(self, name: str, words: list[str]) -> list[str]:
        port = self.ports.get(name, self.port)
        return [
            word.replace("0.0.0.0:8000", f"127.0.0.1:{port}")
            .replace(":8000/", f":{port}/")
            .replace("/var/lib/shedbook", str(self.book.folder))
            for word in words
        ]

    def begin(self, name: str) -> subprocess.Popen:
        program, *rest = self.command(name, SERVICES[name]["command"])
        program = shutil.which(program, path=self.book.env["PATH"])
        if name == "worker":
            rest += ["--include", "tests.tasks"]
        self.book.env, own = self.env(name), self.book.env
        process = self.book.spawn(program, *rest)
        self.book.env = own
        return process

    def health(self, name: str) -> subprocess.CompletedProcess:
        how, *words = self.command(name, SERVICES[name]["healthcheck"]["test"])
        words[0] = words[0].replace("$$", "$")
        command = ["sh", "-c", words[0]] if how == "CMD-SHELL" else words
        command[0] = shutil.which(command[0], path=self.book.env["PATH"])
        return subprocess.run(command, cwd=ROOT, env=self.env(name), capture_output=True, text=True, timeout=60)

    def execute(self, name: str, *command: str) -> None:
        """One of manage.py's commands inside a service that runs, as `docker compose exec` does it."""
        subprocess.run([sys.executable, "manage.py", *command], cwd=ROOT, env=self.env(name), check=True, timeout=60)

    def is_well(self, name: str) -> bool:
        return self.health(name).returncode == 0


class WithServers(Grown):
    """PostgreSQL and Redis as well: no setting is ours but addresses, ports and folders.

    What the file does not say is what the images do: postgres:15 makes the database and its owner from the
    environment and asks whoever comes over the network for the password; redis:7 works in /data.
    """

    def __init__(self, folder: Path, server_folder: Path) -> None:
        self.places = {"postgres": free_port(), "redis": free_port()}
        self.server_folder = server_folder
        self.database_server: subprocess.Popen | None = None
        super().__init__(Book(folder, "", ""))
        self.book.env["PATH"] = f"{programs_of_postgresql()}{os.pathsep}{self.book.env['PATH']}"
        # Where pg_isready looks in the container is where the server is.
        self.book.env |= {"PGHOST": LOOPBACK, "PGPORT": str(self.places["postgres"])}
        self.book.database = self._here(self.given("setup")["SHEDBOOK_DATABASE"])
        # For what the tests do themselves at the book.
        self.book.env |= {name: value for name, value in self.env("setup").items() if name.startswith("SHEDBOOK_")}

    def _here(self, address: str) -> str:
        for name, port in self.places.items():
            address = re.sub(rf"(?<=[@/]){name}:\d+", f"{LOOPBACK}:{port}", address)
        return address

    def env(self, name: str) -> dict[str, str]:
        given = {key: self._here(value) for key, value in self.given(name).items()}
        here = {
            "SHEDBOOK_DATA": str(self.book.folder),
            "NUMBA_CACHE_DIR": str(self.book.folder / "numba"),
            "TMPDIR": str(self.own_folder(name)),
        }
        return {**self.book.env, **given, **here}

    def command(self, name: str, words: list[str]) -> list[str]:
        words = super().command(name, words)
        if "redis-cli" in words:
            at = words.index("redis-cli") + 1
            words[at:at] = ["-p", str(self.places["redis"])]
        return words

    def begin(self, name: str) -> subprocess.Popen:
        begin = {"postgres": self._begin_postgres, "redis": self._begin_redis}.get(name)
        return begin() if begin else super().begin(name)

    def close(self) -> None:
        self.book.close()
        if self.database_server:
            # At once, and with all its processes.
            self.database_server.send_signal(signal.SIGQUIT)
            self.database_server.wait(30)

    def _begin_postgres(self) -> subprocess.Popen:
        said, programs = self.given("postgres"), programs_of_postgresql()
        folder = self.server_folder / f"pg{self.places['postgres']}"
        folder.mkdir()
        password = folder / "password"
        password.write_text(said["POSTGRES_PASSWORD"])
        as_user: dict = owned_by("postgres", folder)
        data = folder / "data"
        initdb = [programs / "initdb", "-D", data, "-U", said["POSTGRES_USER"], "--pwfile", password, "-E", "UTF8"]
        quiet = {"cwd": "/", "stdout": subprocess.DEVNULL, **as_user}
        subprocess.run([*initdb, "--auth-local=trust", "--auth-host=scram-sha-256"], check=True, **quiet)
        at = ["-p", str(self.places["postgres"]), "-k", str(folder)]
        with (folder / "log").open("w") as log:
            self.database_server = subprocess.Popen(
                [programs / "postgres", "-D", data, *at, "-c", f"listen_addresses={LOOPBACK}"], stderr=log, **quiet
            )
        wait_until(lambda: self.is_well("postgres"), within_s=30, what="PostgreSQL is well")
        address = f"postgresql://{said['POSTGRES_USER']}:{said['POSTGRES_PASSWORD']}@{LOOPBACK}:{at[1]}/postgres"
        with psycopg.connect(address, autocommit=True) as connection:
            connection.execute(f"CREATE DATABASE {said['POSTGRES_DB']}")
        return self.database_server

    def _begin_redis(self) -> subprocess.Popen:
        program, *rest = SERVICES["redis"]["command"]
        server = refuse_without(Path(shutil.which(program) or "/none"), "redis-server")
        folder = self.server_folder / f"redis{self.places['redis']}"
        folder.mkdir()
        at = ["--port", str(self.places["redis"]), "--bind", LOOPBACK, "--dir", str(folder)]
        process = subprocess.Popen(
            [server, *rest, *at],
            cwd="/",
            stdout=subprocess.DEVNULL,
            start_new_session=True,
            **owned_by("redis", folder),
        )
        self.book.processes.append(process)
        return process
