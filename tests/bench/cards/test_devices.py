"""What a sound card lacks for this job, and the choice that is remembered."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import pytest

from probe.bench.cards import portaudio
from probe.bench.cards.devices import cards, chosen, lacks_of, remember
from probe.bench.cards.portaudio import Found, advice, load
from probe.cli.main import main
from probe.errors import BadInput


def found(name: str = "USB box (hw:1,0)", api: str = "ALSA", **more: Any) -> Found:
    said = {"inputs": 2, "outputs": 2, "rates": (44100, 48000), "default_rate": 48000.0, **more}
    return Found(0, name, api, **said)


def codes(inputs: Found, outputs: Found | None = None) -> set[str]:
    return {lack.code for lack in lacks_of(inputs, outputs or inputs)}


@pytest.mark.parametrize(
    ("device", "lacking"),
    [
        (found(), set()),
        (found(inputs=1), {"few-inputs"}),
        (found(outputs=1), {"few-outputs"}),
        (found(rates=(96000,)), {"no-usual-rate"}),
        (found(rates=()), {"no-rate"}),
        (found("default"), {"converts"}),
        (found("box", "MME"), {"converts"}),
        (found("box", "Windows DirectSound"), {"converts"}),
        (found("box", "Windows WASAPI"), set()),
        (found("box", "ASIO"), set()),
        (found("box", "Core Audio"), set()),
        (found(latency_s=(0.01, 0.2)), {"slow"}),
    ],
)
def test_what_one_device_lacks(device: Found, lacking: set[str]) -> None:
    assert codes(device) == lacking


def test_input_and_output_apart() -> None:
    line = found("Line (Corvel Two)", "Windows WASAPI", outputs=0)
    same = found("Speakers (Corvel Two)", "Windows WASAPI", inputs=0)
    other = found("Speakers (Mainboard)", "Windows WASAPI", inputs=0)
    # Two halves of one box share its clock, two boxes need not.
    assert codes(line, same) == set()
    assert codes(line, other) == {"clocks"}
    listed = cards([line, same, other, found(inputs=0, outputs=0)])
    assert [c.outputs.name for c in listed] == [same.name, other.name]


def test_the_fittest_stands_first() -> None:
    poor, fit, useless = found("default"), found(), found("mic (hw:2,0)", inputs=1)
    assert [c.inputs for c in cards([useless, poor, fit])] == [fit, poor, useless]
    assert [c.usable for c in cards([useless, poor, fit])] == [True, True, False]


def test_the_choice_is_remembered(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(
        "probe.bench.cards.devices.choice_file", lambda: tmp_path / "p" / "device.toml"
    )
    box = found(inputs=8, outputs=4)
    assert chosen([box]) is None
    kept = remember(cards([box])[0], 44100, input_channels=[3, 4])
    assert (kept.rate, kept.input_channels, kept.output_channels) == (44100, (2, 3), (0, 1))
    assert chosen([found("default"), box]) == kept
    with pytest.raises(BadInput, match="not there; connect it"):
        chosen([found("default")])
    assert chosen([found("default")], missing_ok=True) is None


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"rate": 96000}, "does not run at 96000 Hz; it has 44100, 48000"),
        ({"input_channels": [1, 3]}, "from 1 to 2"),
        ({"output_channels": [2, 2]}, "each once"),
    ],
)
def test_a_choice_that_cannot_be(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, more: Any, words: str
) -> None:
    monkeypatch.setattr("probe.bench.cards.devices.choice_file", lambda: tmp_path / "device.toml")
    with pytest.raises(BadInput, match=words):
        remember(cards([found()])[0], **more)
    with pytest.raises(BadInput, match="only one input"):
        remember(cards([found(inputs=1)])[0])
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(
    ("platform", "release", "command"),
    [
        ("linux", "ID=debian\n", "apt-get install libportaudio2"),
        ("linux", 'ID=something\nID_LIKE="ubuntu debian"\n', "apt-get install libportaudio2"),
        ("linux", "ID=fedora\n", "dnf install portaudio"),
        ("linux", "ID=arch\n", "pacman -S portaudio"),
        ("linux", "ID=unheard-of\n", "package manager"),
        ("darwin", "", "brew install portaudio"),
        ("win32", "", "Windows wheels contain it"),
    ],
)
def test_what_to_install(tmp_path: Path, platform: str, release: str, command: str) -> None:
    (tmp_path / "os-release").write_text(release)
    assert command in advice(platform, tmp_path / "os-release")


def test_without_portaudio_the_command_says_what_to_install(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    class Missing:
        def find_spec(self, name: str, *_: object) -> None:
            if name == "sounddevice":
                raise OSError("PortAudio library not found")

    monkeypatch.delitem(sys.modules, "sounddevice", raising=False)
    monkeypatch.setattr(sys, "meta_path", [Missing(), *sys.meta_path])
    assert main(["devices"]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith("probe: the PortAudio library is missing, needed for live recording only")
    assert err.count("\n") == 1


@pytest.mark.portaudio
def test_the_command_lists_what_portaudio_finds(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    try:
        load()
    except BadInput as error:
        pytest.skip(str(error))
    monkeypatch.setattr(portaudio, "find_devices", lambda: (found(), found("default")))
    monkeypatch.setattr("probe.bench.cards.devices.choice_file", lambda: tmp_path / "device.toml")
    assert main(["devices", "--choose", "1"]) == 0
    assert capsys.readouterr().out == (
        "chosen on this machine: USB box (hw:1,0), ALSA, at 48 kHz, inputs 1 and 2, "
        "outputs 1 and 2\n"
    )
    assert main(["devices", "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    assert [card["chosen"] for card in said["cards"]] == [True, False]
    assert said["chosen"]["rate_hz"] == 48000
    assert main(["devices"]) == 0
    text = capsys.readouterr().out
    assert " 1  USB box (hw:1,0)  (chosen)\n" in text
    assert max(map(len, text.splitlines())) <= 80
    assert main(["devices", "--choose", "3"]) == 2
    assert main(["devices", "--rate", "48000"]) == 2
