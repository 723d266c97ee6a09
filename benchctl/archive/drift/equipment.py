"""Which instruments a run had, by what they say of themselves, and when they were calibrated."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from benchctl.documents.bench_file.bench import Bench
from benchctl.documents.bench_file.signals import CurrentClamp, CurrentWiring, VoltageWiring

# The fields of an answer to *IDN?: maker, model, serial number, firmware (IEEE 488.2, 10.14). Another firmware is still
# the same instrument.
_OF_IDENTITY = 4


@dataclass(frozen=True)
class Equipment:
    """`identities`: role -> what it answered to *IDN?."""

    identities: Mapping[str, str]
    bench: Bench

    def named(self, *roles: str) -> str:
        """The instruments of these roles: Dc supply, serial 4711."""
        return "; ".join(f"{role}: {self._named(role)}" for role in roles)

    def _named(self, role: str) -> str:
        identity = self.identities.get(role, "")
        fields = [field.strip() for field in identity.split(",")]
        if len(fields) != _OF_IDENTITY:
            return identity or "does not say which it is"
        maker, model, serial, _ = fields
        return f"{model or maker}{f', serial {serial}' if serial not in {'', '0'} else ''}"

    def phase(self, roles: Sequence[str], signals: Sequence[str] = ()) -> str:
        """When instruments and probes were calibrated, and what the bench file says that a probe gives."""
        return "; ".join([*self._instruments(roles), *self._probes(signals)])

    def _instruments(self, roles: Sequence[str]) -> Iterator[str]:
        for role in roles:
            instrument = dict(self.bench.instruments.items()).get(role)
            if instrument is not None:
                yield f"{role} calibrated {instrument.calibrated or 'on a day that is not stated'}"

    def _probes(self, signals: Sequence[str]) -> Iterator[str]:
        wirings = dict(self.bench.signals.wirings())
        yield from (f"{signal} by {_probe(wirings[signal])}" for signal in signals if signal in wirings)


def _probe(wiring: VoltageWiring | CurrentWiring) -> str:
    probe = wiring.probe
    gives = f"{1e3 * probe.sensitivity_v_per_a:g} mV/A" if isinstance(probe, CurrentClamp) else f"{probe.ratio:g}:1"
    measured = f", measured {probe.origin.date}" if probe.origin is not None else ""
    return f"{probe.kind} {gives} on channel {wiring.oscilloscope}{measured}"
