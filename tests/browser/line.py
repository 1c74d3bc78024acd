"""A line between a phone and the mill that can be cut: a real one, so that nothing in the browser knows better."""

import selectors
import socket
import threading
from contextlib import suppress
from types import TracebackType
from typing import Self


class Line:
    """Hands on every connection to a port of this machine, from a port of its own, until it is cut.

    loses_answers    what the phone says arrives, and of what the mill says nothing
    """

    def __init__(self, to_port: int) -> None:
        self.to_port = to_port
        self.listener: socket.socket | None = None
        self.open: set[socket.socket] = set()
        self.port = 0
        self.loses_answers = False
        self.n_lost = 0
        self.mend()

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def mend(self) -> None:
        assert self.listener is None
        listener = socket.create_server(("127.0.0.1", self.port))
        self.port = listener.getsockname()[1]
        self.listener = listener
        threading.Thread(target=self._answer, args=(listener,), daemon=True).start()

    def cut(self) -> None:
        """Nobody answers any more, and what was being said breaks off."""
        assert self.listener is not None
        self.listener.shutdown(socket.SHUT_RDWR)
        self.listener.close()
        self.listener = None
        for one in list(self.open):
            _hang_up(one)

    def _answer(self, listener: socket.socket) -> None:
        while True:
            try:
                phone, _ = listener.accept()
            except OSError:
                return
            mill = socket.create_connection(("127.0.0.1", self.to_port))
            self.open |= {phone, mill}
            threading.Thread(target=self._hand_on, args=(phone, mill), daemon=True).start()

    def _hand_on(self, phone: socket.socket, mill: socket.socket) -> None:
        other = {phone: mill, mill: phone}
        with selectors.DefaultSelector() as either:
            for one in other:
                either.register(one, selectors.EVENT_READ)
            try:
                while True:
                    for key, _ in either.select():
                        said = key.fileobj.recv(65536)  # type: ignore[union-attr]
                        if not said:
                            return
                        if self.loses_answers and key.fileobj is mill:
                            self.n_lost += 1
                            return
                        other[key.fileobj].sendall(said)  # type: ignore[index]
            except (OSError, ValueError):
                return
            finally:
                for one in other:
                    self.open.discard(one)
                    _hang_up(one)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        if self.listener is not None:
            self.cut()


def _hang_up(one: socket.socket) -> None:
    with suppress(OSError):
        one.shutdown(socket.SHUT_RDWR)
    one.close()
