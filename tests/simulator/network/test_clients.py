"""Independent clients use every instrument: `lxi` of Debian's lxi-tools, and plain pyvisa scripts.

`make clients` installs lxi-tools where it can. It reads a reply with one receive of at most 65,536 bytes, so it reads
short answers; pyvisa reads waveforms.
"""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Iterator

import numpy as np
import pytest
import pyvisa
from pyvisa.resources import MessageBasedResource

from benchctl.simulator.network.ports import HislipPlace
from tests.simulator.talk import Room

ROLES = ("generator", "oscilloscope", "load", "supply", "thermometer")
needs_lxi = pytest.mark.skipif(
    shutil.which("lxi") is None, reason="lxi (Debian's lxi-tools) is not here; `make clients` installs it as root"
)


class ServedRoom(Room):
    """A bench behind real sockets, whose clock the test turns."""

    def __init__(self) -> None:
        super().__init__()
        self.addresses = self.bench.start(hislip={role: HislipPlace() for role in ROLES})

    def resource_name(self, role: str, protocol: str) -> str:
        host, port = self.addresses[role]
        hislip = self.bench.hislip_places[role]
        return {
            "raw socket": f"TCPIP::{host}::{port}::SOCKET",
            "HiSLIP": f"TCPIP::{hislip.host}::{hislip.name},{hislip.port}::INSTR",
        }[protocol]


@pytest.fixture
def room() -> Iterator[ServedRoom]:
    room = ServedRoom()
    with room.bench:
        yield room


# -- lxi ---------------------------------------------------------------------------------------------------------


def lxi(room: ServedRoom, role: str, message: str) -> str:
    """Send one message with the command line client; returns what it prints."""
    host, port = room.addresses[role]
    command = ["lxi", "scpi", "-a", host, "-p", str(port), "-t", "10", "-r", message]
    ended = subprocess.run(command, capture_output=True, text=True, check=True, timeout=60)
    room.bench.settle()  # a command has no reply that shows when it took effect
    return ended.stdout.strip()


@needs_lxi
@pytest.mark.parametrize("role", ROLES)
def test_lxi_is_told_who_answers(room: ServedRoom, role: str) -> None:
    assert lxi(room, role, "*IDN?") == str(room.bench.instruments[role].device.identity)


LXI_DRIVES = {
    "generator": [
        ("FREQ 440", ""), ("FREQ?", "4.40000000E+02"), ("VOLT 0.5", ""), ("OUTP ON;:OUTP?", "1"),
    ],
    "oscilloscope": [
        ("CHAN1:SCAL 0.5", ""), ("CHAN1:SCAL?", "5.00000000E-01"), ("ACQ:POIN 1000", ""), ("*OPC?", "1"),
    ],
    "load": [
        ("ROUT:CLOS (@101,102)", ""), ("ROUT:CLOS? (@101,102,103)", "1,1,0"), ("ROUT:OPEN:ALL", ""),
        ("ROUT:CLOS? (@101)", "0"),
    ],
    "supply": [
        ("INST:NSEL 1;:VOLT 14.4;:CURR 90", ""), ("VOLT?;CURR?", "1.44000000E+01;9.00000000E+01"),
        ("OUTP ON", ""), ("OUTP?", "1"),
    ],
    "thermometer": [("*ESE 36", ""), ("*ESE?", "36"), ("SYST:VERS?", "1999.0")],
}  # fmt: skip


@needs_lxi
@pytest.mark.parametrize("role", ROLES)
def test_lxi_sets_and_reads_back(room: ServedRoom, role: str) -> None:
    for message, reply in LXI_DRIVES[role]:
        assert lxi(room, role, message) == reply, message


@needs_lxi
def test_lxi_reads_a_temperature(room: ServedRoom) -> None:
    assert 15.0 < float(lxi(room, "thermometer", "MEAS:TEMP? (@101)")) < 40.0


@needs_lxi
@pytest.mark.parametrize("role", ROLES)
def test_lxi_finds_a_mistake_in_the_error_queue(room: ServedRoom, role: str) -> None:
    lxi(room, role, "FOO:BAR 1")
    assert lxi(room, role, "SYST:ERR?").startswith('-113,"Undefined header')
    assert lxi(room, role, "SYST:ERR?") == '0,"No error"'


# -- pyvisa ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("protocol", ["raw socket", "HiSLIP"])
def test_a_plain_script_measures_an_amplifier_with_all_five(room: ServedRoom, protocol: str) -> None:
    """Power on, load, tone, record, temperature; as somebody would write it who does not know this program."""
    manager = pyvisa.ResourceManager("@py")
    opened: dict[str, MessageBasedResource] = {}
    for role in ROLES:
        instrument = manager.open_resource(
            room.resource_name(role, protocol), read_termination="\n", write_termination="\n", timeout=10_000
        )
        assert isinstance(instrument, MessageBasedResource)
        opened[role] = instrument
        instrument.write("*RST;*CLS")
        assert instrument.query("*IDN?").count(",") == 3
    try:
        drive(room, opened)
        for instrument in opened.values():
            assert instrument.query("SYST:ERR?") == '0,"No error"'
    finally:
        for instrument in opened.values():
            instrument.close()


def drive(room: ServedRoom, bench: dict[str, MessageBasedResource]) -> None:
    """The script itself. Output A of the amplifier is on channel 1 of the oscilloscope, behind a probe of 20:1."""
    supply, load, generator = bench["supply"], bench["load"], bench["generator"]
    supply.write("INST:NSEL 1;:VOLT 14.4;:CURR 110;:OUTP ON")
    supply.write("INST:NSEL 2;:VOLT 12;:CURR 0.5;:OUTP ON")
    load.write("ROUT:CLOS (@101,102)")
    assert load.query("ROUT:CLOS? (@101,102)") == "1,1"
    assert supply.query("OUTP?") == "1"
    room.wait(2.0)
    assert float(supply.query("INST:NSEL 1;:MEAS:VOLT?")) == pytest.approx(14.4, abs=0.1)
    generator.write("FREQ 1000;:VOLT 0.4;:OUTP ON")
    assert generator.query("*OPC?") == "1"
    room.wait(1.0)

    output_v = record_v(room, bench["oscilloscope"])
    # 0.4 V rms at the input and a gain of 31.6 are 12.6 V; output and probe may be a few per cent off.
    assert float(np.std(output_v)) * 20 == pytest.approx(0.4 * 31.6, rel=0.05)
    assert float(supply.query("MEAS:CURR?")) > 10.0
    assert 15.0 < float(bench["thermometer"].query("MEAS:TEMP? (@101)")) < 60.0


def record_v(room: ServedRoom, oscilloscope: MessageBasedResource) -> np.ndarray:
    """A record of ten cycles on channel 1, in volts at the input."""
    for message in (
        "CHAN1:DISP ON;:CHAN2:DISP OFF;:CHAN3:DISP OFF;:CHAN4:DISP OFF",
        "CHAN1:SCAL 0.35",
        "TIM:SCAL 1E-3;:ACQ:POIN 10000",
        "TRIG:EDGE:SOUR EXT;:TRIG:SWE NORM",
        "WAV:SOUR CHAN1;FORM WORD;BYT LSBF",
        "SING",
    ):
        oscilloscope.write(message)
    assert oscilloscope.query("ACQ:COMP?") == "0"
    room.wait(1.0)
    assert oscilloscope.query("ACQ:COMP?") == "1"
    preamble = [float(field) for field in oscilloscope.query("WAV:PRE?").split(",")]
    codes = oscilloscope.query_binary_values("WAV:DATA?", datatype="H", container=list)
    assert len(codes) == 10_000
    volts: np.ndarray = (np.asarray(codes, dtype=np.float64) - preamble[8] - preamble[9]) * preamble[7]
    return volts
