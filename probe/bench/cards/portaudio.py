"""The real sound card, through PortAudio. The only file that imports ``sounddevice``.

Everything PortAudio says is mapped here: devices to `Found`, errors to `BadInput`, flags of a
callback to `BlockFlags`. The callback copies and nothing else.
"""

from __future__ import annotations

import atexit
import sys
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType
from typing import Any, Literal

import numpy as np

from probe.bench.stream.card import BlockFlags, Exchange, StreamFormat
from probe.bench.stream.player import LONGEST_BLOCK
from probe.errors import BadInput

RATES_HZ = (44100, 48000, 88200, 96000, 176400, 192000)
"""Rates a device is asked about."""

BLOCK_S = 0.006
"""Longest block asked for: what was wrong is answered within one, so it must be short."""

SWITCH_S = 0.0005
"""How long another thread may keep the callback waiting; Python's default of 5 ms is a block."""

CLOSE_S = 3.0
"""How long a stream may take to close before it is left alone."""

SERVER_SILENT_S = 1.0
"""A sound server that called for nothing this long is not asked to close anything: blocks come
every few milliseconds, and PortAudio ends the whole process where the server does not answer."""

Latency = Literal["low", "high"]


@dataclass(frozen=True)
class Found:
    """One device as PortAudio lists it.

    Attributes
    ----------
    index
        PortAudio's number; changes from one start to the next.
    api
        Name of the host API.
    rates
        Those of `RATES_HZ` it accepts with the channels it has, at most two of them.
    latency_s
        Shortest input and output latency it offers, s.
    """

    index: int
    name: str
    api: str
    inputs: int
    outputs: int
    default_rate: float
    rates: tuple[int, ...]
    latency_s: tuple[float, float] = (0.0, 0.0)


def load() -> ModuleType:
    """Return the module ``sounddevice``.

    Raises
    ------
    BadInput
        It, or the PortAudio library, is not installed; the line says what to install.
    """
    try:
        import sounddevice
    except ImportError as error:
        raise BadInput(
            f"the Python package sounddevice is missing: {sys.executable} -m pip install "
            "sounddevice"
        ) from error
    except OSError as error:
        raise BadInput(
            f"the PortAudio library is missing, needed for live recording only: {advice()}"
        ) from error
    module: ModuleType = sounddevice
    return module


def advice(platform: str = sys.platform, release: Path = Path("/etc/os-release")) -> str:
    """Return how PortAudio is installed on this system."""
    if platform == "darwin":
        return "brew install portaudio"
    if platform == "win32":
        return "reinstall the package sounddevice with pip, whose Windows wheels contain it"
    try:
        words = release.read_text("utf-8").lower()
    except OSError:
        words = ""
    for marks, command in _LINUX:
        if any(mark in words for mark in marks):
            return command
    return "install PortAudio 19 (libportaudio2, portaudio) with the system's package manager"


_LINUX = (
    (("debian", "ubuntu"), "sudo apt-get install libportaudio2"),
    (("fedora", "rhel"), "sudo dnf install portaudio"),
    (("arch",), "sudo pacman -S portaudio"),
    (("suse",), "sudo zypper install libportaudio2"),
    (("alpine",), "sudo apk add portaudio"),
)
"""Words of /etc/os-release (ID and ID_LIKE), and the command of that family."""


def find_devices() -> tuple[Found, ...]:
    """Return every device of every host API, in PortAudio's order.

    Raises
    ------
    BadInput
        PortAudio is missing or cannot start.
    """
    library = load()
    restart(library)
    try:
        apis = library.query_hostapis()
        devices = library.query_devices()
    except library.PortAudioError as error:
        raise BadInput(f"PortAudio cannot list the devices: {_words(error)}") from error
    return tuple(_found(library, device, apis) for device in devices)


def restart(library: ModuleType) -> None:
    """Let PortAudio look for devices anew, unless a stream runs; it looks only when it starts."""
    if _open_streams:
        return
    try:
        library._terminate()
        library._initialize()
    except library.PortAudioError as error:
        raise BadInput(f"PortAudio cannot start: {_words(error)}") from error


def _found(library: ModuleType, device: dict[str, Any], apis: Sequence[dict[str, Any]]) -> Found:
    return Found(
        index=device["index"],
        name=" ".join(device["name"].split()),
        api=apis[device["hostapi"]]["name"],
        inputs=device["max_input_channels"],
        outputs=device["max_output_channels"],
        default_rate=device["default_samplerate"],
        rates=tuple(rate for rate in RATES_HZ if _accepts(library, device, rate)),
        latency_s=(device["default_low_input_latency"], device["default_low_output_latency"]),
    )


def _accepts(library: ModuleType, device: dict[str, Any], rate: int) -> bool:
    sides = (
        (library.check_input_settings, device["max_input_channels"]),
        (library.check_output_settings, device["max_output_channels"]),
    )
    try:
        for check, channels in sides:
            if channels:
                check(device["index"], min(2, channels), "float32", samplerate=rate)
    except (library.PortAudioError, ValueError):
        return False
    return True


class PortAudioCard:
    """One device for input and one for output (often the same), as a `Card`.

    Parameters
    ----------
    inputs, outputs
        The devices, as found.
    input_channels, output_channels
        Which of their channels the bench uses, from 0, in the bench's order; None: the first.
    latency
        ``high`` where a busy computer loses blocks; the tone then stops later by as much.
    """

    def __init__(
        self,
        inputs: Found,
        outputs: Found,
        *,
        input_channels: Sequence[int] | None = None,
        output_channels: Sequence[int] | None = None,
        latency: Latency = "low",
    ) -> None:
        self._inputs, self._outputs = inputs, outputs
        self._input_channels, self._output_channels = input_channels, output_channels
        self._latency = latency

    @property
    def name(self) -> str:
        """Its name, as the system lists it."""
        if self._inputs.name == self._outputs.name:
            return self._inputs.name
        return f"{self._inputs.name} (in), {self._outputs.name} (out)"

    @property
    def patient(self) -> bool:
        """It waits for nobody."""
        return False

    def open(
        self, wanted: StreamFormat, exchange: Exchange, gone: Callable[[str], None]
    ) -> PortAudioStream:
        """Open and start; see `probe.bench.stream.card.Card`."""
        library = load()
        if _stuck:
            raise BadInput(
                f"{self.name}: was lost in a way that this run cannot mend; end it and resume the "
                "session: nothing is lost"
            )
        restart(library)
        heard = _Channels.of(self._input_channels, wanted.inputs, self._inputs.inputs, "input")
        play = _Channels.of(self._output_channels, wanted.outputs, self._outputs.outputs, "output")
        server = any("JACK" in found.api for found in (self._inputs, self._outputs))
        stream = PortAudioStream(
            library, self.name, wanted, heard, play, exchange, gone, server=server
        )
        devices = tuple(_index(library, found) for found in (self._inputs, self._outputs))
        extra = tuple(_direct(library, f.api) for f in (self._inputs, self._outputs))
        try:
            stream.start(devices, extra, self._latency)
        except (library.PortAudioError, ValueError) as error:
            stream.close()
            raise BadInput(
                f"{self.name}: cannot be opened at {wanted.rate:g} Hz with {wanted.inputs} inputs "
                f"and {wanted.outputs} outputs: {_words(error)}; close what else uses it, or "
                "choose another rate (probe devices)"
            ) from error
        return stream


@dataclass(frozen=True)
class _Channels:
    """Which channels of a device are used: how many must be opened, and which of them are."""

    opened: int
    used: tuple[int, ...]

    @classmethod
    def of(cls, asked: Sequence[int] | None, count: int, there: int, which: str) -> _Channels:
        used = tuple(range(count)) if asked is None else tuple(asked[:count])
        if len(used) < count or max(used, default=0) >= there:
            raise BadInput(
                f"{count} {which}s were asked for, of channels "
                f"{', '.join(str(u + 1) for u in used)}; the device has {there}"
            )
        return cls(max(used, default=-1) + 1, used)

    @property
    def plain(self) -> bool:
        return self.used == tuple(range(self.opened))


class PortAudioStream:
    """A running stream of PortAudio; ``server``: a sound server stands between it and the card."""

    def __init__(
        self,
        library: ModuleType,
        name: str,
        wanted: StreamFormat,
        heard: _Channels,
        play: _Channels,
        exchange: Exchange,
        gone: Callable[[str], None],
        *,
        server: bool = False,
    ) -> None:
        self._library, self._name, self._server = library, name, server
        self._heard_channels, self._play_channels = heard, play
        self._exchange, self._gone = exchange, gone
        self._stream: Any = None
        self._closing = False
        self._called = time.monotonic()
        block = 1 << int(np.log2(BLOCK_S * wanted.rate))
        self._format = StreamFormat(wanted.rate, wanted.inputs, wanted.outputs, block)
        self._heard = np.zeros((LONGEST_BLOCK, wanted.inputs), dtype=np.float32)
        self._play = np.zeros((LONGEST_BLOCK, wanted.outputs), dtype=np.float32)
        self._switch_s = sys.getswitchinterval()

    @property
    def format(self) -> StreamFormat:
        """What it runs at."""
        return self._format

    @property
    def alive(self) -> bool:
        """Whether PortAudio says that it runs."""
        try:
            return self._stream is not None and bool(self._stream.active)
        except self._library.PortAudioError:
            return False

    def start(self, devices: tuple[int, ...], extra: tuple[Any, ...], latency: Latency) -> None:
        """Open the devices (input, output) and start."""
        self._stream = self._library.Stream(
            samplerate=self._format.rate,
            blocksize=self._format.block,
            device=devices,
            channels=(self._heard_channels.opened, self._play_channels.opened),
            dtype="float32",
            latency=latency,
            extra_settings=extra,
            callback=self._call,
            finished_callback=self._finished,
            clip_off=True,
            dither_off=True,
        )
        _open_streams.add(id(self))
        sys.setswitchinterval(SWITCH_S)
        self._called = time.monotonic()
        self._stream.start()
        self._format = StreamFormat(
            float(self._stream.samplerate),
            *(self._format.inputs, self._format.outputs, self._format.block),
        )

    def close(self) -> None:
        """Stop and give the device back."""
        self._closing = True
        alive = self.alive
        stream, self._stream = self._stream, None
        sys.setswitchinterval(self._switch_s)
        if stream is None:
            return
        if self._server_lost(alive):
            self._leave()
            return

        def give_back() -> None:
            if alive:
                stream.stop(ignore_errors=True)  # lets what was handed over be played: the fade
            stream.close(ignore_errors=True)
            _open_streams.discard(id(self))

        # With a sound server that died under it, PortAudio waits ten minutes here.
        closing = threading.Thread(target=give_back, name="probe-close", daemon=True)
        closing.start()
        closing.join(CLOSE_S)
        if closing.is_alive():
            self._leave()
        elif not alive:
            # What is lost cannot be ended in order; PortAudio would abort the process at its end.
            atexit.unregister(self._library._exit_handler)

    def _server_lost(self, alive: bool) -> bool:
        """Whether the stream belongs to a sound server that went away."""
        silent_s = time.monotonic() - self._called
        return self._server and (not alive or silent_s > SERVER_SILENT_S)

    def _leave(self) -> None:
        """Leave the stream as it is: closing it would hang, or end the process."""
        _stuck.add(id(self))
        atexit.unregister(self._library._exit_handler)

    def _call(self, heard: Any, play: Any, frames: int, _time: Any, status: Any) -> None:
        self._called = time.monotonic()
        flags = _CLEAN
        if status:
            flags = BlockFlags(
                input_lost=bool(status.input_overflow or status.input_underflow),
                output_lost=bool(status.output_underflow or status.output_overflow),
            )
        for first in range(0, frames, LONGEST_BLOCK):
            self._pass(
                heard[first : first + LONGEST_BLOCK], play[first : first + LONGEST_BLOCK], flags
            )
            flags = _CLEAN

    def _pass(self, heard: Any, play: Any, flags: BlockFlags) -> None:
        """Exchange one block, through scratch where only some channels are used."""
        count = heard.shape[0]
        if not self._heard_channels.plain:
            part = self._heard[:count]
            for number, channel in enumerate(self._heard_channels.used):
                part[:, number] = heard[:, channel]
            heard = part
        if self._play_channels.plain:
            self._exchange(heard, play, flags)
            return
        part = self._play[:count]
        self._exchange(heard, part, flags)
        play[:] = 0.0
        for number, channel in enumerate(self._play_channels.used):
            play[:, channel] = part[:, number]

    def _finished(self) -> None:
        if not self._closing:
            self._gone(f"{self._name}: stopped by itself; was it unplugged?")


_CLEAN = BlockFlags()

_open_streams: set[int] = set()
"""Streams that would end if PortAudio were started anew."""

_stuck: set[int] = set()
"""Streams that could not be closed: PortAudio can neither end nor start in this process."""


def _index(library: ModuleType, found: Found) -> int:
    """Return the number under which the device stands now."""
    apis = library.query_hostapis()
    for device in library.query_devices():
        name = " ".join(device["name"].split())
        if (name, apis[device["hostapi"]]["name"]) == (found.name, found.api):
            return int(device["index"])
    raise BadInput(f"{found.name}: is not there any more; probe devices lists what is")


def _direct(library: ModuleType, api: str) -> Any:
    """Return settings that keep a host API from converting or mixing, where it has any."""
    if "WASAPI" in api:
        return library.WasapiSettings(exclusive=True)
    if "Core Audio" in api:
        return library.CoreAudioSettings(
            change_device_parameters=True, fail_if_conversion_required=True
        )
    return None


def _words(error: Exception) -> str:
    """Return what PortAudio says, in one line without its numbers."""
    words = str(error.args[0]) if error.args else str(error)
    return " ".join(words.split()).removeprefix("Error opening Stream: ")
