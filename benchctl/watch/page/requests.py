"""Answers the requests of browsers: the page and its files, the stream of news, and the stop button."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from http.server import BaseHTTPRequestHandler
from importlib import resources
from typing import NamedTuple, Protocol

from benchctl.watch.page.admission import Admission
from benchctl.watch.page.newest import Newest

# A browser that takes nothing for so long is given up; it may come again.
PATIENCE_S = 5.0
_LONGEST_BODY = 1000
# Nothing from anywhere else, no script or style in the page itself, and the page in no other page's frame.
_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; img-src data:; base-uri 'none'; "
    "form-action 'none'; frame-ancestors 'none'"
)
_HEADERS = {
    "Content-Security-Policy": _POLICY,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cache-Control": "no-store",
}


class _File(NamedTuple):
    name: str
    kind: str
    form: str = "page"


_FILES = {
    "": _File("page.html", "text/html; charset=utf-8"),
    "camera": _File("page.html", "text/html; charset=utf-8", "camera"),
    "page.css": _File("page.css", "text/css; charset=utf-8"),
    "page.js": _File("page.js", "text/javascript; charset=utf-8"),
}


class Site(Protocol):
    """What a server has for its requests."""

    admission: Admission
    newest: Newest
    stop: Callable[[], None]


@cache
def _content(file: _File) -> bytes:
    text = resources.files("benchctl.watch.page").joinpath("static", file.name).read_text(encoding="utf-8")
    return text.replace('data-form="page"', f'data-form="{file.form}"').encode()


class Requests(BaseHTTPRequestHandler):
    """One request. Only POST does anything."""

    timeout = PATIENCE_S
    server_version, sys_version = "benchctl", ""
    site: Site

    def do_GET(self) -> None:
        if not self._is_admitted():
            return
        _, slash, name = self.path.partition("?")[0].lstrip("/").partition("/")
        if not slash:
            self._answer(308, b"", {"Location": f"/{self.site.admission.token}/"})
        elif name == "events":
            self._stream()
        elif (file := _FILES.get(name)) is not None:
            self._answer(200, _content(file), {"Content-Type": file.kind})
        else:
            self._say(404, "There is nothing at this address.")

    def do_POST(self) -> None:
        if not self._is_admitted():
            return
        self.rfile.read(min(_length(self.headers.get("Content-Length", "0")), _LONGEST_BODY))
        if self.path != f"/{self.site.admission.token}/stop":
            self._say(404, "There is nothing at this address.")
        elif not self.site.admission.may_stop(self._headers()):
            self._say(403, "Only the live page itself stops the run.")
        else:
            self.site.stop()
            self._say(200, "The run was told to stop.")

    def log_message(self, format: str, *args: object) -> None:
        """The terminal belongs to the run."""

    def _headers(self) -> dict[str, str]:
        """Named as browsers spell them: capitals mean nothing in a header's name (RFC 9110, 5.1)."""
        return {name.title(): value for name, value in self.headers.items()}

    def _is_admitted(self) -> bool:
        refusal = self.site.admission.refusal(self.path, self._headers())
        if refusal is not None:
            self._say(refusal.status, refusal.reason)
        return refusal is None

    def _say(self, status: int, words: str) -> None:
        self._answer(status, f"{words}\n".encode(), {"Content-Type": "text/plain; charset=utf-8"})

    def _answer(self, status: int, body: bytes, headers: dict[str, str]) -> None:
        self.send_response(status)
        for name, value in {**_HEADERS, **headers, "Content-Length": str(len(body))}.items():
            self.send_header(name, value)
        self.end_headers()
        self.wfile.write(body)

    def _stream(self) -> None:
        """The newest news, again and again, until there are no others or nobody takes them."""
        self.send_response(200)
        for name, value in {**_HEADERS, "Content-Type": "text/event-stream"}.items():
            self.send_header(name, value)
        self.end_headers()
        number = 0
        while (news := self.site.newest.after(number)) is not None:
            number, text = news
            self.wfile.write(f"data: {text}\n\n".encode())


def _length(text: str) -> int:
    return int(text) if text.isdecimal() else 0
