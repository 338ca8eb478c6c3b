"""The bench's own leads as a JACK client: its outputs come back to its inputs as a circuit has it.

python -m tests.bench.jack.leads < ORDERS

Orders as those of `tests.bench.jack.dut`, with other plugs: {"plug": "series-1"}, a wiring of
`probe.bench.calibration`.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from probe.bench.calibration.practice import PracticeCard
from tests.bench.jack.dut import DeviceUnderTest, main


class Leads(DeviceUnderTest):
    """The practice interface's circuit between real PortAudio streams."""

    def __init__(self) -> None:
        self._bench: PracticeCard | None = None
        self._frame = 0
        super().__init__()
        self._bench = PracticeCard(block=self._block)

    def _plug(self, plugged: str | dict[str, Any]) -> None:
        assert self._bench is not None
        self._bench.plug(str(plugged))

    def _process(self, frames: int) -> None:
        if self._bench is None:
            return
        played = np.stack([port.get_array() for port in self._ins], axis=1)
        heard = self._bench.answer(played, self._frame)
        self._frame += frames
        for number, port in enumerate(self._outs):
            port.get_array()[:] = heard[:, number] if number < 2 else 0.0


if __name__ == "__main__":
    main(Leads)
