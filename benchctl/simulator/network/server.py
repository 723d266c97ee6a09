"""The sockets: one thread serves every instrument, on loopback ports, several clients at once.

Each reply leaves in one send, because some clients take what one receive brings for the whole reply. Nothing here knows
SCPI or HiSLIP beyond bytes in, bytes out.
"""

from __future__ import annotations

import selectors
import socket
import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from benchctl.errors import UsageError
from benchctl.scpi.device.conversation import Conversation
from benchctl.scpi.device.speaker import Speaker
from benchctl.scpi.hislip.endpoint import HislipChannel
from benchctl.simulator.network.dialogue import Converse, Dialogue
from benchctl.simulator.network.ports import HislipPlace, Listener, Places, Vxi11Place, open_ports
from benchctl.simulator.network.raw_link import Door, RawLink
from benchctl.simulator.network.sockets import Address, reset_when_closed

RECEIVE_BYTES = 1 << 16
WAITING_POLL_S = 0.002
"""How often a message that waits for an operation to end is looked at again, in real time."""

QUIET_LOOKS = 2

_CLOSE, _SETTLE = b"c", b"s"
"""What the serving thread is woken with."""


@dataclass(eq=False)
class _Client:
    link: socket.socket
    dialogue: Dialogue
    door: Door
    unsent: bytearray = field(default_factory=bytearray)

    @property
    def events(self) -> int:
        """What to wait for: output that is stuck comes before more input."""
        if self.unsent:
            return selectors.EVENT_WRITE
        return selectors.EVENT_READ if self.dialogue.wants_input else 0

    @property
    def has_partner(self) -> bool:
        """Whether what is done on one connection may give another one something to say, or end it."""
        return isinstance(self.dialogue, HislipChannel)

    @property
    def comes_second(self) -> bool:
        """Whether it speaks of what was said on another connection, which must be heard first."""
        return isinstance(self.dialogue, HislipChannel) and self.dialogue.is_asynchronous


class Server:
    """Serves `devices` by role; `lock` is held while one of them works. It holds no socket before it is started.

    `converse` makes each client's conversation; without it, the link is a perfect one. `raw_links` says how the raw
    links of each role are, `now` the time in which reads over VXI-11 end.
    """

    def __init__(
        self,
        devices: Mapping[str, Speaker],
        lock: threading.RLock,
        raw_links: Mapping[str, RawLink],
        now: Callable[[], float],
        converse: Converse | None = None,
    ) -> None:
        self._devices = dict(devices)
        self._raw_links = raw_links
        self._lock = lock
        self._now = now
        self._converse = converse or self._converse_undisturbed
        self._service: _Service | None = None
        self.hislip: Mapping[str, HislipPlace] = {}
        self.vxi11: Mapping[str, Vxi11Place] = {}

    def start(self, places: Places) -> dict[str, Address]:
        """Listen, and give the raw socket of each role; where none is asked for, a free port of 127.0.0.1.

        Where `places` names a place for HiSLIP or VXI-11, the instrument answers there as well; the attributes `hislip`
        and `vxi11` then say where.

        Raises:
            UsageError: an address that is not loopback, or that is taken; or the server runs already.
        """
        if self._service is not None:
            raise UsageError("the simulated instruments are being served already")
        ports = open_ports(self._raw_links, self._converse, places, self._now)
        self._service = _Service(self._lock, ports.listeners)
        self.hislip, self.vxi11 = ports.hislip, ports.vxi11
        return dict(ports.raw)

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

    def __init__(self, lock: threading.RLock, listeners: tuple[Listener, ...]) -> None:
        self._lock = lock
        self._listeners = listeners
        self._clients: dict[socket.socket, _Client] = {}
        self._partners: list[_Client] = []
        self._wake, self._waker = socket.socketpair()
        self._selector = selectors.DefaultSelector()
        for listener in listeners:
            self._selector.register(listener.socket, selectors.EVENT_READ, listener)
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
        for open_socket in (*(listener.socket for listener in self._listeners), self._wake, self._waker):
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
        is_waiting = any(client.dialogue.is_waiting for client in self._clients.values())
        timeout = 0.0 if self._settling else WAITING_POLL_S if is_waiting else None
        ready = self._selector.select(timeout)
        if not ready and self._settling:
            self._look_settled()
        for key, mask in sorted(ready, key=_comes_second) if len(ready) > 1 else ready:
            if key.fileobj is self._wake:
                if self._wake.recv(1) == _CLOSE:
                    return False
                self._settling, self._quiet = True, 0
            elif isinstance(key.data, Listener):
                self._accept(key.data)
            else:
                self._attend(key.data, mask)
        if is_waiting:
            self._resume()
        self._follow_up()
        return True

    def _follow_up(self) -> None:
        """Send what was done for one connection made others say, and end those whose partner is gone."""
        for client in list(self._partners):
            self._attend(client, 0)

    def _look_settled(self) -> None:
        """Settled once nothing has come twice in a row: the kernel may still be handing over what was sent last."""
        self._quiet += 1
        if self._quiet < QUIET_LOOKS:
            time.sleep(0)
            return
        self._settling = False
        self._settled.set()

    def _accept(self, listener: Listener) -> None:
        try:
            link, _ = listener.socket.accept()
        except OSError:
            return  # the client was gone before it was taken
        if not listener.door.enter():
            reset_when_closed(link)
            link.close()
            return
        link.setblocking(False)
        link.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        client = _Client(link, listener.open(), listener.door)
        self._clients[link] = client
        if client.has_partner:
            self._partners.append(client)
        self._selector.register(link, selectors.EVENT_READ, client)

    def _attend(self, client: _Client, mask: int) -> None:
        try:
            if mask & selectors.EVENT_READ:
                data = client.link.recv(RECEIVE_BYTES)
                if not data:
                    self._drop(client)
                    return
                with self._lock:
                    client.dialogue.receive(data)
            self._send(client)
        except BlockingIOError:
            pass
        except ConnectionResetError:
            reset_when_closed(client.link)
            self._drop(client)
        except OSError:
            self._drop(client)

    def _resume(self) -> None:
        for client in list(self._clients.values()):
            if client.dialogue.is_waiting:
                with self._lock:
                    client.dialogue.resume()
                self._attend(client, 0)

    def _send(self, client: _Client) -> None:
        """Send what there is, whole if the link takes it, and say what to wait for next."""
        while True:
            if not client.unsent:
                with self._lock:
                    client.unsent += client.dialogue.collect()
            if not client.unsent:
                break
            try:
                sent = client.link.send(client.unsent)
            except BlockingIOError:
                break
            del client.unsent[:sent]
        if client.dialogue.is_over and not client.unsent:
            self._drop(client)
        else:
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
        if self._clients.pop(client.link, None) is not None:
            client.door.leave()
        if client in self._partners:
            self._partners.remove(client)
        with self._lock:
            client.dialogue.close()
        client.link.close()


def _comes_second(event: tuple[selectors.SelectorKey, int]) -> bool:
    data = event[0].data
    return isinstance(data, _Client) and data.comes_second
