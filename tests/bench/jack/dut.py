"""The device under test as a JACK client: it hears the bench's outputs and answers as a circuit.

python -m tests.bench.jack.dut < ORDERS

Its inputs are the drive and the injector, its outputs what stands at the recorder's inputs. Every
other client that appears is wired to it as if by leads: their outputs 1 and 2 to its inputs, its
outputs to their inputs. Orders are JSON, one a line, each answered by one line:

    {"stage": {...}}     a stage as `probe simulate` reads it (its mapping, without format)
    {"plug": "load-cold"} or {"plug": {...}}    a preset, or a [[take]] table of stage.toml
    {"gain": 2.0}        everything heard is multiplied (a gain knob that was turned)
    {"direct": 1.5}      a direct voltage on every input, volts
    {"grow": 6.0}        from now on everything grows by so many dB each 50 ms, as feedback does
    {"quit": true}
"""

from __future__ import annotations

import json
import sys
import threading
import time
from contextlib import suppress
from typing import Any

import jack
import numpy as np

from probe.simulate.build import stage_of
from tests.bench.jack.filters import TAPS, Convolver, taps

OUT_VOLTS = 4.0
"""Peak volts of the bench's outputs at full scale."""

INPUTS, OUTPUTS = 4, 2

STAGE: dict[str, Any] = {
    "circuit": "core-and-inverter",
    "sides": ["left"],
    "phase": "stream",
    "device": {"maker": "Harrowgate", "model": "Tern"},
}

NOISE_VOLTS = 3e-6
"""Rms, on every input: without any, a recording would be better than a real one can be."""


class DeviceUnderTest:
    """The client."""

    def __init__(self) -> None:
        self._client = jack.Client("dut", no_start_server=True)
        self._rate, self._block = self._client.samplerate, self._client.blocksize
        self._ins = [self._client.inports.register(f"in_{n + 1}") for n in range(OUTPUTS)]
        self._outs = [self._client.outports.register(f"out_{n + 1}") for n in range(INPUTS)]
        self._stage = STAGE
        self._gain, self._direct, self._grow = 1.0, 0.0, 0.0
        self._scales = np.ones(INPUTS)
        self._convolver = Convolver(self._block, np.zeros((TAPS, INPUTS, 2)))
        self._random = np.random.default_rng(1)
        self._client.set_process_callback(self._process)
        self._client.activate()
        threading.Thread(target=self._wire, daemon=True).start()

    def obey(self, order: dict[str, Any]) -> None:
        if "stage" in order:
            self._stage = {**STAGE, **order["stage"]}
        if "plug" in order:
            self._plug(order["plug"])
        self._gain = order.get("gain", self._gain)
        self._direct = order.get("direct", self._direct)
        self._grow = order.get("grow", self._grow)

    def close(self) -> None:
        self._client.deactivate()
        self._client.close()

    def _plug(self, plugged: str | dict[str, Any]) -> None:
        preset = isinstance(plugged, str)
        takes = {"takes": [plugged]} if preset else {"takes": [], "take": [plugged]}
        stage = stage_of({**self._stage, **takes})
        take = stage.takes[0]
        found = taps(stage, take, self._rate)
        filters = np.zeros((TAPS, INPUTS, 2))
        count = len(take.channels)
        scales = np.array([i.volts_full_scale for i in take.inputs])
        filters[:, :count] = found * OUT_VOLTS / scales[:, None]
        self._scales[:count] = scales
        self._convolver.change(filters)

    def _process(self, frames: int) -> None:
        played = np.stack([port.get_array() for port in self._ins], axis=1).astype(np.float64)
        heard = self._convolver.run(played)
        heard += self._random.standard_normal(heard.shape) * NOISE_VOLTS / self._scales
        heard += self._direct / self._scales
        if self._grow:
            self._gain *= 10.0 ** (self._grow / 20.0 * frames / self._rate / 0.05)
        heard *= min(self._gain, 100.0)
        np.clip(heard, -1.0, 1.0, out=heard)
        for number, port in enumerate(self._outs):
            port.get_array()[:] = heard[:, number]

    def _wire(self) -> None:
        """Plug leads into every client that is neither the card nor this one."""
        while True:
            for ports, own, outward in (
                (self._client.get_ports(is_audio=True, is_output=True), self._ins, True),
                (self._client.get_ports(is_audio=True, is_input=True), self._outs, False),
            ):
                self._wire_ports(ports, own, outward)
            time.sleep(0.02)

    def _wire_ports(self, ports: Any, own: Any, outward: bool) -> None:
        seen: dict[str, int] = {}
        for port in ports:
            client = port.name.split(":")[0]
            if client in ("system", "dut"):
                continue
            number = seen.get(client, 0)
            seen[client] = number + 1
            if number >= len(own) or self._client.get_all_connections(own[number]).count(port):
                continue
            ends = (port, own[number]) if outward else (own[number], port)
            with suppress(jack.JackError):  # it may have gone away meanwhile
                self._client.connect(*ends)


def main(kind: type[DeviceUnderTest] = DeviceUnderTest) -> None:
    device = kind()
    print(json.dumps({"ready": True}), flush=True)
    for line in sys.stdin:
        order = json.loads(line)
        device.obey(order)
        print(json.dumps({"done": sorted(order)}), flush=True)
        if order.get("quit"):
            break
    device.close()


if __name__ == "__main__":
    main()
