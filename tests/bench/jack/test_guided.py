"""A complete guided run through a real PortAudio, the device a circuit behind a sound server."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

from probe.bench.calibration.document import TEMPLATE
from probe.facts import analyse_session
from probe.simulate.library import load
from tests.bench.guided.driven import drive, environment, kit_file
from tests.bench.jack.device import Device
from tests.bench.jack.server import JackServer
from tests.house.readme import ROOT

pytestmark = [pytest.mark.jack, pytest.mark.portaudio, pytest.mark.long]

TAKES = {
    "both legs open": "open",
    "both legs open, once more": "second-open",
    "both legs, one tone": "open",
    "both legs, nothing played": "open",
    "the reference in place of the device, nothing played": "open",
    "the interface's own output, one tone": "channel-match",
    "pin 2 and the single-ended output": "single-ended",
    "pin 2 and the single-ended output, one tone": "single-ended",
    "test tones into pin 3": "inject-cold",
    "test tones into pin 2": "inject-hot",
    "test tones into the single-ended output": "inject-single-ended",
    "a resistor on pin 3": "load-cold",
    "a resistor on pin 2": "load-hot",
    "a resistor between the legs": "load-across",
    "a resistor on the single-ended output": "single-ended-loaded",
}
"""What the screen says to the preset of the device that plugs it."""

LOST = {"samples-lost", "level-moved", "stopped", "hum"}
"""A busy machine loses blocks; the take is made again."""


@pytest.mark.parametrize("circuit", ["core-and-inverter"])
def test_guided_run_through_portaudio(
    tmp_path: Path, jack_server: JackServer, device: Device, circuit: str
) -> None:
    device.tell(stage={"circuit": circuit})
    home = {"XDG_DATA_HOME": str(tmp_path / "home")}
    bench = tmp_path / "bench.toml"
    # the device's presets say what stands between output 2 and the leg: 10 kohm in all
    bench.write_text(two_of_each(TEMPLATE.replace("value = 75.0", "value = 0.0")), "utf-8")
    listed = probe_says(tmp_path, home, "devices")
    number = card_number(listed)
    probe_says(tmp_path, home, "devices", "--choose", str(number))

    def plug(heard: str) -> str:
        title = re.findall(r"Part: Take: ([^\n]+)", heard)[-1]
        device.plug(TAKES[title])
        return "r"

    run = drive(
        tmp_path / "session", "--kit", str(kit_file(tmp_path)), "--bench", str(bench),
        answers={
            "r/s": plug, "y/s": "s", "Direct volts": "0.002", "Alternating volts": "0.001",
        },
        timeout=240.0, **home,
    )  # fmt: skip
    assert run.status == 0, run.text[-3000:]
    assert set(run.alarms) <= LOST
    stage = analyse_session(tmp_path / "session", draws=400)["sides"]["left"]["stage"]
    # source: the circuit's own description in the library
    assert stage["kind"] == load(circuit).kind
    assert stage["confidence"] > 0.9


def two_of_each(text: str) -> str:
    """The template's one input and one output, twice."""
    head, rest = text.split("[[input]]", 1)
    one, rest = rest.split("[[output]]", 1)
    two, rest = rest.split("# [match]", 1)
    return head + f"[[input]]{one}" * 2 + f"[[output]]{two}" * 2


def probe_says(tmp_path: Path, home: dict[str, str], *words: str) -> str:
    done = subprocess.run(
        [sys.executable, "-m", "probe", *words], cwd=ROOT, capture_output=True, encoding="utf-8",
        env=environment(tmp_path / "data", **home), timeout=60, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return done.stdout


def card_number(listed: str) -> int:
    """The sound server's card in the list."""
    for line in listed.splitlines():
        found = re.match(r"\s*\*?\s*(\d+)[.:)]?\s.*(JACK|system)", line)
        if found:
            return int(found[1])
    raise AssertionError(listed)
