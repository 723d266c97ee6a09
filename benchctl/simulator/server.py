"""The sockets: one thread serves every instrument, each on a loopback port of its own, several clients at once.

Each reply leaves in one send, because some clients take what one receive brings for the whole reply. Nothing here knows
SCPI beyond bytes in, bytes out.
"""

from __future__ import annotations

import ipaddress
import selectors
import socket
import struct
import threading
import time
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Protocol

from benchctl.errors import UsageError
from benchctl.scpi.conversation import Conversation
from benchctl.scpi.device import Device

Address = tuple[str, int]

RECEIVE_BYTES = 1 << 16
WAITING_POLL_S = 0.002
"""How often a message that waits for an operation to end is looked at again, in real time."""

QUIET_LOOKS = 2

_CLOSE, _SETTLE = b"c", b"s"
"""What the serving thread is woken with."""


class Converse(Protocol):
    """Makes a client's conversation with the instrument in a role; one that the link disturbs, where it is to."""

    def __call__(self, role: str, *, interruptible: bool = False) -> Conversation: ...


@dataclass
class _Client:
    link: socket.socket
    conversation: Conversation
    unsent: bytearray = field(default_factory=bytearray)

    @property
    def events(self) -> int:
        """What to wait for: output that is stuck comes before more input."""
        if self.unsent:
            return selectors.EVENT_WRITE
        return selectors.EVENT_READ if self.conversation.wants_input else 0


class Server:
    """Serves `devices` by role; `lock` is held while one of them works. It holds no socket before it is started.

    `converse` makes each client's conversation; without it, the link is a perfect one.
    """

    def __init__(self, devices: Mapping[str, Device], lock: threading.RLock, converse: Converse | None = None) -> None:
        self._devices = dict(devices)
        self._lock = lock
        self._converse = converse or self._converse_undisturbed
        self._service: _Service | None = None

    def start(self, addresses: Mapping[str, Address] | None = None) -> dict[str, Address]:
        """Listen, and give the address of each role; where none is asked for, a free port of 127.0.0.1.

        Raises:
            UsageError: an address that is not loopback, or that is taken; or the server runs already.
        """
        if self._service is not None:
            raise UsageError("the simulated instruments are being served already")
        listeners: dict[str, socket.socket] = {}
        try:
            for role in self._devices:
                listeners[role] = _listen(*(addresses or {}).get(role, ("127.0.0.1", 0)))
        except UsageError:
            for listener in listeners.values():
                listener.close()
            raise
        self._service = _Service(self._converse, self._lock, listeners)
        return {role: _address_of(listener) for role, listener in listeners.items()}

    def _converse_undisturbed(self, role: str, *, interruptible: bool = False) -> Conversation:
        return Conversation(self._devices[role], interruptible=interruptible)

    def settle(self) -> None:
        """Wait until whatever clients have sent so far has been acted on.

        A command has no reply, so its sender cannot know when it took effect. Virtual time must not move on before.
        """
        if self._service is not None:
            self._service.settle()

    def close(self) -> None:
        """Close every link and listener; may be called more than once."""
        service, self._service = self._service, None
        if service is not None:
            service.close()


class _Service:
    """The serving thread and its sockets."""

    def __init__(self, converse: Converse, lock: threading.RLock, listeners: Mapping[str, socket.socket]) -> None:
        self._converse = converse
        self._lock = lock
        self._listeners = dict(listeners)
        self._clients: dict[socket.socket, _Client] = {}
        self._wake, self._waker = socket.socketpair()
        self._selector = selectors.DefaultSelector()
        for role, listener in listeners.items():
            self._selector.register(listener, selectors.EVENT_READ, role)
        self._selector.register(self._wake, selectors.EVENT_READ, None)
        self._settling, self._quiet = False, 0
        self._settled = threading.Event()
        self._one_settles = threading.Lock()
        self._thread = threading.Thread(target=self._serve, name="simulated instruments", daemon=True)
        self._thread.start()

    def settle(self) -> None:
        """Wait until everything that has arrived has been acted on; any number of threads may ask."""
        with self._one_settles:
            self._settled.clear()
            self._waker.send(_SETTLE)
            self._settled.wait()

    def close(self) -> None:
        """End the thread, then close everything."""
        self._waker.send(_CLOSE)
        self._thread.join()
        for client in list(self._clients.values()):
            self._drop(client)
        for open_socket in (*self._listeners.values(), self._wake, self._waker):
            open_socket.close()
        self._selector.close()

    def _serve(self) -> None:
        try:
            while self._serve_once():
                pass
        finally:
            self._settled.set()

    def _serve_once(self) -> bool:
        """Attend to whatever is ready; False once the server is to close."""
        is_waiting = any(client.conversation.is_waiting for client in self._clients.values())
        timeout = 0.0 if self._settling else WAITING_POLL_S if is_waiting else None
        ready = self._selector.select(timeout)
        if not ready and self._settling:
            self._look_settled()
        for key, mask in ready:
            if key.fileobj is self._wake:
                if self._wake.recv(1) == _CLOSE:
                    return False
                self._settling, self._quiet = True, 0
            elif isinstance(key.data, str):
                self._accept(self._listeners[key.data], key.data)
            else:
                self._attend(key.data, mask)
        if is_waiting:
            self._resume()
        return True

    def _look_settled(self) -> None:
        """Settled once nothing has come twice in a row: the kernel may still be handing over what was sent last."""
        self._quiet += 1
        if self._quiet < QUIET_LOOKS:
            time.sleep(0)
            return
        self._settling = False
        self._settled.set()

    def _accept(self, listener: socket.socket, role: str) -> None:
        try:
            link, _ = listener.accept()
        except OSError:
            return  # the client was gone before it was taken
        link.setblocking(False)
        link.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        client = _Client(link, self._converse(role))
        self._clients[link] = client
        self._selector.register(link, selectors.EVENT_READ, client)

    def _attend(self, client: _Client, mask: int) -> None:
        try:
            if mask & selectors.EVENT_READ:
                data = client.link.recv(RECEIVE_BYTES)
                if not data:
                    self._drop(client)
                    return
                with self._lock:
                    client.conversation.receive(data)
            self._send(client)
        except BlockingIOError:
            pass
        except ConnectionResetError:
            _reset_when_closed(client.link)
            self._drop(client)
        except OSError:
            self._drop(client)

    def _resume(self) -> None:
        for client in list(self._clients.values()):
            if client.conversation.is_waiting:
                with self._lock:
                    client.conversation.resume()
                self._attend(client, 0)

    def _send(self, client: _Client) -> None:
        """Send what there is, whole if the link takes it, and say what to wait for next."""
        while True:
            if not client.unsent:
                with self._lock:
                    client.unsent += client.conversation.collect()
            if not client.unsent:
                break
            try:
                sent = client.link.send(client.unsent)
            except BlockingIOError:
                break
            del client.unsent[:sent]
        self._wait_for(client)

    def _wait_for(self, client: _Client) -> None:
        key = self._selector.get_map().get(client.link)
        events = client.events
        if key is None:
            if events:
                self._selector.register(client.link, events, client)
        elif not events:
            self._selector.unregister(client.link)
        elif key.events != events:
            self._selector.modify(client.link, events, client)

    def _drop(self, client: _Client) -> None:
        if client.link in self._selector.get_map():
            self._selector.unregister(client.link)
        self._clients.pop(client.link, None)
        client.link.close()


def _listen(host: str, port: int) -> socket.socket:
    """A listener on a loopback address; nothing else is ever served."""
    try:
        is_loopback = ipaddress.IPv4Address(host).is_loopback
    except ValueError:
        is_loopback = host == "localhost"
    if not is_loopback:
        raise UsageError(f"simulated instruments are served on loopback only, not on {host}")
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind((host, port))
        listener.listen(16)
    except OSError as error:
        listener.close()
        raise UsageError(f"cannot serve on {host}:{port}: {error.strerror}") from error
    listener.setblocking(False)
    return listener


def _reset_when_closed(link: socket.socket) -> None:
    """Make closing it send a reset: what a peer sends that lost its power, not one that says good-bye."""
    with suppress(OSError):  # some systems refuse options of a link that is gone already
        link.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))


def _address_of(listener: socket.socket) -> Address:
    host, port = listener.getsockname()[:2]
    return str(host), int(port)
