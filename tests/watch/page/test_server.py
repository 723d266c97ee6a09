"""The server of the live page: who is answered, who is not, and that nobody can hold it up."""

from __future__ import annotations

import http.client
import json
import socket
from collections.abc import Iterator

import pytest

from benchctl.errors import UsageError
from benchctl.watch.now import Now
from benchctl.watch.page.admission import Admission, is_loopback
from benchctl.watch.page.newest import Newest
from benchctl.watch.page.server import MOST_CONNECTIONS, LivePage, Place

PATIENCE_S = 30.0


class Served:
    def __init__(self) -> None:
        self.stops = 0
        self.page = LivePage(lambda: Now("driven", title="Quick check"), self._stop, Place())
        self.token = self.page.admission.token
        self.port = self.page.admission.port

    def _stop(self) -> None:
        self.stops += 1

    def ask(self, method: str, path: str, **headers: str) -> http.client.HTTPResponse:
        named = {name.replace("_", "-"): value for name, value in headers.items()}
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=PATIENCE_S)
        connection.request(method, path, headers=named)
        return connection.getresponse()

    def stop(self, **headers: str) -> int:
        return self.ask("POST", f"/{self.token}/stop", **{"X_Benchctl_Token": self.token, **headers}).status


@pytest.fixture(scope="module")
def served() -> Iterator[Served]:
    served = Served()
    yield served
    served.page.close()


def test_the_address_that_is_told_is_that_of_this_computer_alone_with_a_token_that_nobody_guesses(
    served: Served,
) -> None:
    assert served.page.url == f"http://127.0.0.1:{served.port}/{served.token}/"
    assert len(served.token) >= 22, "128 bits"
    assert Admission("127.0.0.1", 1).token != Admission("127.0.0.1", 1).token


def test_capitals_in_the_names_of_headers_mean_nothing(served: Served) -> None:
    """RFC 9110, 5.1: an origin elsewhere is refused in small letters too, and the page's own header is known."""
    with socket.create_connection(("127.0.0.1", served.port), PATIENCE_S) as asking:
        asking.sendall(f"GET /{served.token}/ HTTP/1.1\r\nhost: 127.0.0.1:{served.port}\r\n\r\n".encode())
        assert asking.recv(100).split()[1] == b"200"
    assert served.ask("GET", f"/{served.token}/", origin="http://elsewhere.example").status == 403


@pytest.mark.parametrize("path", ["", "camera", "page.css", "page.js"])
def test_the_page_and_its_files_are_served_with_a_policy_that_lets_nothing_else_in(served: Served, path: str) -> None:
    answer = served.ask("GET", f"/{served.token}/{path}")
    assert answer.status == 200
    policy = answer.headers["Content-Security-Policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert answer.headers["Referrer-Policy"] == "no-referrer"
    assert b"http" not in answer.read(), "nothing of it comes from elsewhere"


def test_the_news_are_the_run_as_it_is_seen(served: Served) -> None:
    answer = served.ask("GET", f"/{served.token}/events")
    assert answer.headers["Content-Type"] == "text/event-stream"
    news = json.loads(answer.readline().removeprefix(b"data: "))
    assert (news["headline"], news["title"]) == ("SIGNAL ON", "Quick check")
    answer.close()


@pytest.mark.parametrize("token", ["", "x", "%C3%A9"])
@pytest.mark.parametrize("name", ["", "events", "page.js"])
def test_without_the_token_there_is_nothing(served: Served, token: str, name: str) -> None:
    assert served.ask("GET", f"/{token}/{name}").status == 404


WRONG = [
    ({"Host": "bench.example:{port}"}, 421),
    ({"Host": "127.0.0.1"}, 421),
    ({"Host": "127.0.0.1:1"}, 421),
    ({"Host": "192.0.2.7:{port}"}, 421),
    ({"Origin": "http://bench.example"}, 403),
    ({"Origin": "null"}, 403),
    ({"Origin": "http://127.0.0.1:1"}, 403),
    ({"Sec_Fetch_Site": "cross-site"}, 403),
    ({"Sec_Fetch_Site": "same-site"}, 403),
]


@pytest.mark.parametrize(("headers", "status"), WRONG)
def test_who_means_another_host_or_comes_from_another_page_neither_sees_the_run_nor_stops_it(
    served: Served, headers: dict[str, str], status: int
) -> None:
    headers = {name: value.format(port=served.port) for name, value in headers.items()}
    assert served.ask("GET", f"/{served.token}/events", **headers).status == status
    assert served.stop(**headers) == status
    assert served.stops == 0


def test_only_a_post_of_the_page_itself_stops(served: Served) -> None:
    assert served.ask("GET", f"/{served.token}/stop").status == 404
    assert served.ask("PUT", f"/{served.token}/stop", X_Benchctl_Token=served.token).status == 501
    assert served.ask("POST", f"/{served.token}/stop").status == 403
    assert served.ask("POST", f"/{served.token}/", X_Benchctl_Token=served.token).status == 404
    assert served.stops == 0
    assert served.stop(Sec_Fetch_Site="same-origin", Origin=f"http://127.0.0.1:{served.port}") == 200
    assert served.stops == 1


def test_browsers_that_take_nothing_hold_up_neither_the_news_nor_others_nor_the_end() -> None:
    served = Served()
    hung = [socket.create_connection(("127.0.0.1", served.port)) for _ in range(MOST_CONNECTIONS - 1)]
    for each in hung:
        each.sendall(f"GET /{served.token}/events HTTP/1.0\r\nHost: 127.0.0.1:{served.port}\r\n\r\n".encode())
    assert served.ask("GET", f"/{served.token}/").status == 200
    served.page.close()  # would wait for ever, and the test with it
    for each in hung:
        each.close()


def test_whoever_is_slow_gets_the_newest_and_not_what_came_between() -> None:
    newest = Newest()
    for text in ("one", "two", "three"):
        newest.put(text)
    assert newest.after(0) == (3, "three")
    newest.close()
    assert newest.after(3) is None


def test_where_it_listens_on_every_interface_any_ip_address_may_name_it_but_no_name() -> None:
    admission = Admission("0.0.0.0", 8137)
    path = f"/{admission.token}/"
    assert admission.refusal(path, {"Host": "192.0.2.7:8137"}) is None
    assert admission.refusal(path, {"Host": "bench.example:8137"}) is not None
    assert not is_loopback("0.0.0.0")
    assert is_loopback("127.0.0.1")
    assert is_loopback("::1")


def test_an_address_at_which_it_cannot_listen_is_told_before_anything_begins(served: Served) -> None:
    with pytest.raises(UsageError, match=f"cannot be served at 127.0.0.1, port {served.port}"):
        LivePage(lambda: Now("off"), lambda: None, Place("127.0.0.1", served.port))
