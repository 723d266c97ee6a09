"""What an instrument is told when the program leaves it."""

from __future__ import annotations

import threading

from benchctl.clock import RealClock
from benchctl.documents.driver_file.thermometer import ThermometerDriver
from benchctl.errors import OperatorStop
from benchctl.instruments.bench import Bench
from benchctl.instruments.interlock import Interlock
from benchctl.instruments.session import Session
from benchctl.instruments.thermometer import Thermometer
from tests.instruments.scripted import Conversation, ScriptedPeer
from tests.runner.rig import document

LOCAL = "benchctl: driver 1\ntitle: Locks its panel\nbased_on: thermometer/scpi99\ncommands: {local: 'SYST:LOC'}\n"


def bench_of(peer: ScriptedPeer, interlock: Interlock) -> Bench:
    session = Session("thermometer", peer.address, interlock)
    driver = document(LOCAL, "driver", ThermometerDriver)
    return Bench({"thermometer": Thermometer(session, driver, {"heatsink": 101})}, ())


def test_its_panel_is_given_back_even_after_a_stop() -> None:
    interlock, told = Interlock(RealClock()), threading.Event()

    def answer(conversation: Conversation, text: str) -> None:
        if text == "SYST:LOC":
            told.set()
        elif "?" in text:
            conversation.reply(b"1\n")

    with ScriptedPeer(answer) as peer:
        with bench_of(peer, interlock) as bench:
            bench.open()
            interlock.open(OperatorStop("stopped"))
        assert told.wait(10.0)


def test_one_that_was_left_to_the_guardian_is_told_nothing() -> None:
    with ScriptedPeer(lambda conversation, text: conversation.reply(b"1\n") if "?" in text else None) as peer:
        with bench_of(peer, Interlock(RealClock())) as bench:
            bench.open()
            bench.leave()
        assert "SYST:LOC" not in peer.heard
