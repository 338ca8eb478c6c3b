"""The server and the device of the tests with a real PortAudio; skipped where one is missing."""

from __future__ import annotations

import shutil
from collections.abc import Iterator

import pytest

from probe.bench.cards import portaudio
from probe.bench.cards.devices import CardChoice, cards
from probe.bench.cards.portaudio import PortAudioCard, find_devices, load
from probe.errors import BadInput
from tests.bench.jack.device import Device
from tests.bench.jack.server import JackServer


@pytest.fixture(scope="session")
def jack_server() -> Iterator[JackServer]:
    """One server for all tests of a process that do not break it."""
    need_tools()
    server = JackServer()
    server.start()
    yield server
    leave(server)


def leave(server: JackServer) -> None:
    """End a server after PortAudio let go of it, which would abort the process afterwards."""
    library = load()
    if library._initialized and not portaudio._stuck:
        library._terminate()
    server.stop()


def need_tools() -> None:
    if shutil.which("jackd") is None:
        pytest.skip("jackd is not installed")
    pytest.importorskip("jack")
    try:
        load()
    except BadInput as error:
        pytest.skip(str(error))


@pytest.fixture
def device(jack_server: JackServer) -> Iterator[Device]:
    """A fresh device, nothing plugged."""
    new = Device()
    yield new
    new.close()


def system_card() -> CardChoice:
    """The server's card, as PortAudio lists it."""
    return next(c for c in cards(find_devices()) if c.inputs.api.startswith("JACK"))


@pytest.fixture
def card(jack_server: JackServer) -> PortAudioCard:
    found = system_card()
    return PortAudioCard(found.inputs, found.outputs)
