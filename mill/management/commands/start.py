"""Opens the book on one PC: database, static files, web server and job worker, with one command."""

import hashlib
import os
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
import webbrowser
from collections.abc import Callable
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from django.apps import apps
from django.conf import settings
from django.contrib.staticfiles.finders import get_finders
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import DatabaseError, connection
from django.db.migrations.executor import MigrationExecutor

from mill import laying_aside
from mill.latch import Held, Latch
from mill.readying import keep_compiled_code
from mill.tether import leave_in_good_order

OPENED_WITHIN_S = 90
CLOSED_WITHIN_S = 5
# While one is at long work, planning the looms, the other goes on with what follows from people's changes.
WORKERS = {"worker": ["jobworker"], "quick worker": ["jobworker", "--quick"]}
# A worker that dies is begun again, but one that dies at once and always is not.
WORKER_DEATHS_MAX = 5
WORKER_DEATHS_WITHIN_S = 600
LAY_ASIDE = "lay aside"


class Command(BaseCommand):
    help = "Open the book on this machine, until Ctrl-C closes it."
    requires_system_checks = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--port", type=int, default=8000, help="where the book is open (8000)")
        parser.add_argument("--empty", action="store_true", help="begin with an empty book, not the example mill")
        parser.add_argument("--no-browser", action="store_false", dest="browser", help="don't open a browser")
        parser.add_argument(
            "--address",
            metavar="URL",
            help="let the mill's network in as well: how phones and tablets reach this machine. They sign in",
        )
        # Read by manage.py, before the settings are.
        parser.add_argument("--data", metavar="DIR", help="where the book is kept (.data beside manage.py)")

    def handle(self, *, port: int, empty: bool, browser: bool, address: str | None, **options: Any) -> None:
        leave_in_good_order()
        keep_compiled_code()
        url = f"http://127.0.0.1:{port}/"
        listen, env = "127.0.0.1", {}
        if address:
            listen, env = "0.0.0.0", open_to(address)  # noqa: S104 - whoever is not at this machine signs in
        try:
            with Latch(settings.DATA_DIR / "open", note=url, wait=False):
                refuse_a_taken_port(listen, port)
                try:
                    make_ready(empty=empty)
                except DatabaseError as wrong:
                    raise CommandError(
                        f"The book in {settings.DATA_DIR} can't be opened: {wrong}. manage.py doctor says more."
                    ) from wrong
                web = ["serve", "--port", str(port), "--listen", listen]
                while self.keep_open(url, browser=browser, web=web, env=env) == LAY_ASIDE:
                    kept = laying_aside.lay_aside()
                    self.stderr.write(f"The example mill is laid aside, as {kept}; the book is empty.")
                    browser = False
        except Held as held:
            raise CommandError(
                f"The book in {settings.DATA_DIR} is open already, at {held.by}. Close that one with Ctrl-C first, "
                "or open another book with --data DIR --port N."
            ) from None

    def keep_open(self, url: str, *, browser: bool, web: list[str], env: dict[str, str]) -> str:
        """Web server and workers as children, until one of them can't go on or somebody closes the book.

        Returns LAY_ASIDE when somebody has asked for the example to be laid aside, with no child left.
        """
        children = {"web": child(*web, env=env)}
        worker_died_at: list[float] = []
        try:
            wait_until_open(url, children["web"])
            children |= {name: child(*command, env=env) for name, command in WORKERS.items()}
            print(f"Shedbook is open at {url} - Ctrl-C closes it.", flush=True)
            if browser:
                show(url)
            while True:
                time.sleep(0.2)
                if laying_aside.is_asked():
                    time.sleep(1)  # the page on which it was asked is still being sent
                    return LAY_ASIDE
                if children["web"].poll() is not None:
                    raise CommandError(said_of("web server", children["web"]))
                for name, command in WORKERS.items():
                    if children[name].poll() is None:
                        continue
                    now = time.monotonic()
                    worker_died_at = [at for at in worker_died_at if at > now - WORKER_DEATHS_WITHIN_S] + [now]
                    if len(worker_died_at) > WORKER_DEATHS_MAX:
                        raise CommandError(said_of("job worker", children[name]))
                    self.stderr.write(f"The job worker stopped ({children[name].returncode}); beginning it again.")
                    children[name] = child(*command, env=env)
        finally:
            end(list(children.values()))


def open_to(address: str) -> dict[str, str]:
    """What the children's settings must say so that the book answers to this address and writes it on tickets."""
    parts = urlsplit(address)
    if parts.scheme not in {"http", "https"} or not parts.hostname:
        raise CommandError(f"--address is “{address}”; write it as a phone would, http://192.168.1.20:8000")
    return {"SHEDBOOK_ADDRESS": address, "SHEDBOOK_HOSTS": ",".join([*settings.ALLOWED_HOSTS, parts.hostname])}


def refuse_a_taken_port(listen: str, port: int) -> None:
    with socket.socket() as probe:
        if sys.platform != "win32":
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((listen, port))
        except (OSError, OverflowError) as exc:
            another = port + 1 if port < 65535 else 8000
            raise CommandError(
                f"Port {port} can't be had ({exc}): most likely another program has it. "
                f"Close that one, or choose another: python3 manage.py start --port {another}"
            ) from None


def make_ready(*, empty: bool) -> None:
    """Bring database and static files up to date. What is said meanwhile goes to standard error."""
    executor = MigrationExecutor(connection)
    if later := of_a_later_program(executor):
        raise CommandError(
            f"The book in {settings.DATA_DIR} is of a later Shedbook: this one doesn't know the change “{later[1]}” of"
            f" {later[0]}. Bring the program up to date first."
        )
    if executor.migration_plan(executor.loader.graph.leaf_nodes()):
        call_command("migrate", verbosity=0, interactive=False)
    once_changed(settings.DATA_DIR / "static_of", static_files(), collect_static)
    if not empty and not (settings.DATA_DIR / laying_aside.BEGUN).exists() and not has_anything():
        print("Writing the example mill into the empty book.", file=sys.stderr)
        call_command("example_mill", stdout=sys.stderr)
    connection.close()


def of_a_later_program(executor: MigrationExecutor) -> tuple[str, str] | None:
    """A change of our tables that this program doesn't know, if there is one."""
    ours = {config.label for config in apps.get_app_configs() if Path(config.path).parent == settings.BASE_DIR}
    applied = executor.loader.applied_migrations
    return next((name for name in applied if name[0] in ours and name not in executor.loader.disk_migrations), None)


def has_anything() -> bool:
    from mill.management.commands.example_mill import is_begun

    return is_begun()


def collect_static() -> None:
    call_command("collectstatic", verbosity=0, interactive=False, clear=True)


def static_files() -> str:
    """What collectstatic would collect, as a digest: changes with any file's name, size or time."""
    digest = hashlib.sha256(settings.STORAGES["staticfiles"]["BACKEND"].encode())
    for finder in get_finders():
        for path, storage in finder.list([]):
            stat = Path(storage.path(path)).stat()
            digest.update(f"{path} {stat.st_size} {stat.st_mtime_ns}\n".encode())
    return digest.hexdigest()


def once_changed(note: Path, now: str, do: Callable[[], None]) -> None:
    """Do it when the note reads otherwise than now; written last, so what was interrupted is done again."""
    if not note.exists() or note.read_text() != now:
        note.unlink(missing_ok=True)
        do()
        note.write_text(now)


def child(*command: str, env: dict[str, str]) -> "subprocess.Popen[bytes]":
    """One of our own commands as a process that ends with this one."""
    return subprocess.Popen(
        [sys.executable, str(settings.BASE_DIR / "manage.py"), *command, "--parent", str(os.getpid())],
        env={"SHEDBOOK_OPEN_BOOK": "yes", **os.environ, **env},
        stdin=subprocess.PIPE,
        stdout=sys.stderr,
        # Ctrl-C reaches this process alone, which then ends the others in good order.
        start_new_session=True,
    )


def wait_until_open(url: str, web: "subprocess.Popen[bytes]") -> None:
    """Until a real request for the first page is answered with a page."""
    straight = urllib.request.build_opener(urllib.request.ProxyHandler({}))
    gives_up_at = time.monotonic() + OPENED_WITHIN_S
    answer = "no answer"
    while time.monotonic() < gives_up_at:
        if web.poll() is not None:
            raise CommandError(said_of("web server", web))
        try:
            with straight.open(url, timeout=30) as page:
                page.read()
                return
        except urllib.error.HTTPError as exc:
            raise CommandError(f"The first page answers {exc.code} {exc.reason}; the reason is above.") from None
        except OSError as exc:
            answer = str(exc)
            time.sleep(0.05)
    raise CommandError(f"The web server did not open {url} within {OPENED_WITHIN_S} s ({answer}).")


def said_of(what: str, process: "subprocess.Popen[bytes]") -> str:
    return (
        f"The {what} has stopped (exit {process.returncode}); its last words are above. The book is closed and "
        "nothing in it is lost: start it again."
    )


def show(url: str) -> None:
    """Open a browser window, where there is a screen to open it on."""
    if sys.platform in {"win32", "darwin"} or os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"):
        webbrowser.open(url)


def end(children: "list[subprocess.Popen[bytes]]") -> None:
    for process in children:
        process.terminate()
    gives_up_at = time.monotonic() + CLOSED_WITHIN_S
    for process in children:
        try:
            process.wait(timeout=max(0.1, gives_up_at - time.monotonic()))
        except subprocess.TimeoutExpired:
            # Whatever it was at is put back by the next worker.
            process.kill()
            process.wait()
