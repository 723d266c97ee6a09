"""The live page of a run: it shows what the terminal shows, and has a stop button.

It has threads of its own, which ask no instrument. A browser that is slow, hangs or is closed delays nothing: each gets
the newest state, and is given up if it takes nothing for some seconds.
"""

from __future__ import annotations

import json
import socket
import socketserver
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from datetime import datetime
from http.server import ThreadingHTTPServer
from typing import Any

from benchctl.errors import UsageError
from benchctl.watch.now import Now
from benchctl.watch.page.admission import LOOPBACK, Admission
from benchctl.watch.page.newest import Newest
from benchctl.watch.page.requests import Requests

# The page is told something new this often, and at once when something happens.
NEWS_EVERY_S = 0.25
# More connections at a time than this are closed at once. A browser has up to six.
MOST_CONNECTIONS = 32
# At the end of a run, what browsers take of the last news within this time.
LAST_NEWS_S = 0.5
_LOOK_UP_S = 0.1


@dataclass(frozen=True)
class Place:
    """Where the page is served; port 0 takes any that is free."""

    address: str = LOOPBACK
    port: int = 0


class LivePage:
    """Serves what `now` tells until it is closed.

    Attributes:
        url: the address of the page, with its token.
        trouble: what went wrong in its own threads, if anything did.

    Raises:
        UsageError: it cannot listen there.
    """

    def __init__(self, now: Callable[[], Now], stop: Callable[[], None], place: Place) -> None:
        self.newest = Newest()
        self.stop = stop
        self.trouble: Exception | None = None
        self._now = now
        self._has_news = threading.Event()
        self._is_closing = False
        self._server = _listening(place, self)
        self.admission = Admission(place.address, self._server.server_address[1])
        self._publisher = threading.Thread(target=self._publish, name="live page", daemon=True)
        serving = threading.Thread(
            target=self._server.serve_forever, args=(_LOOK_UP_S,), name="live page server", daemon=True
        )
        for thread in (self._publisher, serving):
            thread.start()

    @property
    def url(self) -> str:
        """The address of the page."""
        return self.admission.url

    def news(self) -> None:
        """Something has happened: tell it now. Returns at once."""
        self._has_news.set()

    def close(self) -> None:
        """Tell the last news, and end."""
        self._is_closing = True
        self._has_news.set()
        self._publisher.join(LAST_NEWS_S)
        self.newest.close()
        self._server.wait_for_connections(LAST_NEWS_S)
        self._server.shutdown()
        self._server.server_close()

    def _publish(self) -> None:
        try:
            while not self._is_closing:
                self._has_news.wait(NEWS_EVERY_S)
                self._has_news.clear()
                self.newest.put(as_news(self._now()))
            self.newest.put(as_news(self._now()))
        except Exception as fault:  # noqa: BLE001 - told at the end of the run, which must not end for it
            self.trouble = fault
            self.newest.close()


def as_news(now: Now) -> str:
    """A moment as JSON on one line, with the time of day."""
    return json.dumps({**asdict(now), "headline": now.headline, "at": datetime.now().astimezone().strftime("%H:%M:%S")})


class _Server(ThreadingHTTPServer):
    """As many connections as the page needs, each in a thread that ends with the program."""

    daemon_threads = True
    block_on_close = False
    request_queue_size = MOST_CONNECTIONS

    def __init__(self, place: Place, page: LivePage) -> None:
        self._room = threading.BoundedSemaphore(MOST_CONNECTIONS)
        self._connections = 0
        self._changed = threading.Condition()
        self._page = page
        self.address_family = socket.AF_INET6 if ":" in place.address else socket.AF_INET
        super().__init__((place.address, place.port), type("_Requests", (Requests,), {"site": page}))

    def server_bind(self) -> None:
        """Without asking for the name of this computer, which may take seconds."""
        socketserver.TCPServer.server_bind(self)
        self.server_name, self.server_port = str(self.server_address[0]), int(self.server_address[1])

    def process_request(self, request: Any, client_address: Any) -> None:
        if not self._room.acquire(blocking=False):
            self.shutdown_request(request)
            return
        self._count(+1)
        super().process_request(request, client_address)

    def process_request_thread(self, request: Any, client_address: Any) -> None:
        try:
            super().process_request_thread(request, client_address)
        finally:
            self._count(-1)
            self._room.release()

    def handle_error(self, request: Any, client_address: Any) -> None:  # noqa: ARG002 - as it is called
        """A browser that has gone, or takes nothing, is no error of ours."""
        fault = sys.exc_info()[1]
        if isinstance(fault, Exception) and not isinstance(fault, OSError):
            self._page.trouble = fault

    def wait_for_connections(self, seconds: float) -> None:
        """Until all have got the last news, but no longer."""
        with self._changed:
            self._changed.wait_for(lambda: not self._connections, seconds)

    def _count(self, by: int) -> None:
        with self._changed:
            self._connections += by
            self._changed.notify_all()


def _listening(place: Place, page: LivePage) -> _Server:
    try:
        return _Server(place, page)
    except (OSError, OverflowError) as error:
        raise UsageError(
            f"the live page cannot be served at {place.address}, port {place.port or 'any'}: {error}",
            advice="Give another address of this computer, or another port.",
        ) from error


@contextmanager
def live_page(now: Callable[[], Now], stop: Callable[[], None], place: Place) -> Iterator[LivePage]:
    """The live page while the block runs. It closes after the last news, whatever happened in the block."""
    page = LivePage(now, stop, place)
    try:
        yield page
    finally:
        page.close()
