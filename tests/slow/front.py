"""A proxy before web servers, on loopback and for tests: it asks each whether it is ready, and repairs nothing."""

import http.client
import threading
import time
from collections import Counter
from collections.abc import Mapping
from contextlib import closing
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

LOOPBACK = "127.0.0.1"
ASKS_EVERY_S = 0.2
PASSED_BACK = {"content-type", "location", "idempotency-replayed"}


def status_of(port: int, path: str) -> int:
    """What a server answers; 0 when it doesn't."""
    try:
        with closing(http.client.HTTPConnection(LOOPBACK, port, timeout=20)) as connection:
            connection.request("GET", path)
            answer = connection.getresponse()
            answer.read()
            return answer.status
    except (OSError, http.client.HTTPException):
        return 0


class Front(ThreadingHTTPServer):
    """Hands each request to a server that is ready, once: what fails there fails, and is written down in `wrong`."""

    request_queue_size = 128
    daemon_threads = True

    def __init__(self, ports: Mapping[str, int]) -> None:
        super().__init__((LOOPBACK, 0), Handler)
        self.ports = dict(ports)
        self.ready: set[str] = set()
        self.in_hand: Counter[str] = Counter()
        self.answered: Counter[str] = Counter()
        self.wrong: list[str] = []
        self.lock = threading.Lock()
        self.is_over = threading.Event()
        self.threads = [threading.Thread(target=self.serve_forever)]
        self.threads += [threading.Thread(target=self._watch, args=(name,)) for name in ports]

    @property
    def port(self) -> int:
        return int(self.server_address[1])

    def _watch(self, name: str) -> None:
        while not self.is_over.wait(ASKS_EVERY_S):
            is_ready = status_of(self.ports[name], "/readyz") == 200
            with self.lock:
                (self.ready.add if is_ready else self.ready.discard)(name)

    def choose(self) -> str | None:
        """The one of those that are ready with the least in hand."""
        with self.lock:
            name = min(sorted(self.ready), key=lambda one: self.in_hand[one], default=None)
            if name:
                self.in_hand[name] += 1
            return name

    def done(self, name: str) -> None:
        with self.lock:
            self.in_hand[name] -= 1

    def sends_to(self, name: str) -> bool:
        with self.lock:
            return name in self.ready

    def has_left(self, name: str) -> bool:
        """Nobody is sent there any more, and nobody there waits for an answer."""
        with self.lock:
            return name not in self.ready and not self.in_hand[name]

    def __enter__(self) -> "Front":
        for thread in self.threads:
            thread.start()
        return self

    def __exit__(self, *exc: object) -> None:
        self.is_over.set()
        self.shutdown()
        for thread in self.threads:
            thread.join(30)
        self.server_close()


class Handler(BaseHTTPRequestHandler):
    server: Front

    def do_GET(self) -> None:
        self._pass_on()

    def do_POST(self) -> None:
        self._pass_on()

    def _pass_on(self) -> None:
        body = self.rfile.read(int(self.headers.get("Content-Length", 0)))
        gives_up_at = time.monotonic() + 30
        while (name := self.server.choose()) is None and time.monotonic() < gives_up_at:
            time.sleep(0.05)
        if name is None:
            self._answer(503, {}, b"nobody is ready")
            self.server.wrong.append(f"{self.command} {self.path}: nobody was ready")
            return
        try:
            with closing(http.client.HTTPConnection(LOOPBACK, self.server.ports[name], timeout=60)) as connection:
                connection.request(self.command, self.path, body or None, dict(self.headers))
                answer = connection.getresponse()
                headers, text = dict(answer.getheaders()), answer.read()
        except (OSError, http.client.HTTPException) as why:
            self.server.wrong.append(f"{self.command} {self.path} at {name}: {type(why).__name__} {why}")
            self._answer(502, {}, b"no answer")
        else:
            self.server.answered[name] += 1
            self._answer(answer.status, headers, text)
        finally:
            self.server.done(name)

    def _answer(self, status: int, headers: Mapping[str, str], text: bytes) -> None:
        self.send_response(status)
        for key, value in headers.items():
            if key.lower() in PASSED_BACK:
                self.send_header(key, value)
        self.send_header("Content-Length", str(len(text)))
        self.end_headers()
        self.wfile.write(text)

    def log_message(self, format: str, *args: object) -> None:
        """Nothing: what goes wrong stands in `wrong`."""
