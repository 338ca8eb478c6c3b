"""Sound cards for this job: what there is, what each lacks, and which one was chosen.

A card is a pair of devices of one host API: most are one device, on some systems input and
output stand in the list apart. What is lacking is said in words; what is grave forbids the choice.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import Field

from probe.bench.cards.portaudio import Found, Latency, PortAudioCard
from probe.bench.stored.storage import replace_file
from probe.errors import BadInput
from probe.formats.text import quoted
from probe.formats.toml import OneLine, Table, read_toml
from probe.formats.write import table

NEEDED = 2
"""Inputs, one for each leg; outputs, one for the drive and one for the injector."""

GOOD_RATES_HZ = (44100, 48000)
"""One of these must be there: every device that plays files knows them."""

CHOICE_FORMAT = "probe-device/1"

LONGEST_LATENCY_S = 0.03
"""Output latency above which a tone sounds on noticeably after an overload."""


@dataclass(frozen=True)
class Lack:
    """One thing a card lacks: a word for programs, a sentence for people."""

    code: str
    words: str
    grave: bool = False


@dataclass(frozen=True)
class CardChoice:
    """A pair of devices and what it lacks for this job."""

    inputs: Found
    outputs: Found
    lacks: tuple[Lack, ...]

    @property
    def usable(self) -> bool:
        """Whether a session can be recorded with it at all."""
        return not any(lack.grave for lack in self.lacks)

    @property
    def name(self) -> str:
        """Its name, as people know it."""
        if self.inputs == self.outputs:
            return self.inputs.name
        return f"{self.inputs.name} + {self.outputs.name}"

    @property
    def rates(self) -> tuple[int, ...]:
        """Rates both sides accept, Hz."""
        return tuple(rate for rate in self.inputs.rates if rate in self.outputs.rates)


def cards(found: Sequence[Found]) -> tuple[CardChoice, ...]:
    """Return the cards that can be made of these devices, the fittest first.

    One for every device with inputs and outputs, and one for every pair of an input-only and an
    output-only device of one host API.
    """
    pairs = [(f, f) for f in found if f.inputs and f.outputs]
    pairs += [
        (i, o)
        for i in found
        for o in found
        if i.api == o.api and i.inputs and not i.outputs and o.outputs and not o.inputs
    ]
    choices = [CardChoice(i, o, lacks_of(i, o)) for i, o in pairs]
    return tuple(sorted(choices, key=lambda c: (not c.usable, len(c.lacks))))


def lacks_of(inputs: Found, outputs: Found) -> tuple[Lack, ...]:
    """Return what a pair lacks for this job, grave things first."""
    found = [
        *_channels(inputs.inputs, "input", "a leg cannot be heard without an input of its own"),
        *_channels(outputs.outputs, "output", "nothing can be injected while the drive plays"),
        *_rates(inputs, outputs),
        *_api(inputs.api, {inputs.name, outputs.name}),
        *_clocks(inputs, outputs),
        *_latency(outputs),
    ]
    return tuple(sorted(found, key=lambda lack: not lack.grave))


def _channels(count: int, which: str, why: str) -> list[Lack]:
    if count >= NEEDED:
        return []
    grave = which == "input" or count == 0
    number = "no" if count == 0 else "only one"
    return [Lack(f"few-{which}s", f"{number} {which}: {why}", grave=grave)]


def _rates(inputs: Found, outputs: Found) -> list[Lack]:
    shared = set(inputs.rates) & set(outputs.rates)
    if shared & set(GOOD_RATES_HZ):
        return []
    if shared:
        return [Lack("no-usual-rate", "neither 44.1 nor 48 kHz; files for players may not fit")]
    return [Lack("no-rate", "accepts no rate of 44.1 to 192 kHz now; is it in use?", grave=True)]


_MIXING_APIS = {
    "MME": "Windows converts and mixes on this way; choose the same card under WASAPI or ASIO",
    "Windows DirectSound": "Windows converts and mixes on this way; choose the same card under "
    "WASAPI or ASIO",
    "OSS": "may convert and mix",
    "PulseAudio": "the sound server converts and mixes; choose the card's hw: entry under ALSA",
}

_ALSA_DIRECT = re.compile(r"\(hw:\d+,\d+\)")


def _api(api: str, names: set[str]) -> list[Lack]:
    if api in _MIXING_APIS:
        return [Lack("converts", _MIXING_APIS[api])]
    if api == "ALSA" and not all(_ALSA_DIRECT.search(name) for name in names):
        return [
            Lack(
                "converts",
                "not the card itself but a way through software, which may convert and mix; "
                "choose the entry with (hw:...)",
            )
        ]
    return []


def _clocks(inputs: Found, outputs: Found) -> list[Lack]:
    if inputs == outputs or _bare(inputs.name) == _bare(outputs.name):
        return []
    return [
        Lack(
            "clocks",
            "input and output are different devices: they may run on different clocks, and takes "
            "then share no phase unless the drive is recorded on a spare input",
        )
    ]


def _bare(name: str) -> str:
    """Return what is left of a name without the words that tell its input from its output."""
    inside = re.search(r"\(([^()]+(?:\([^()]*\)[^()]*)*)\)\s*$", name)
    words = inside.group(1) if inside else name
    return re.sub(r"\b(in|out|input|output|line|mic|microphone|speakers?)\b", "", words.lower())


def _latency(outputs: Found) -> list[Lack]:
    seconds = outputs.latency_s[1]
    if seconds <= LONGEST_LATENCY_S:
        return []
    return [
        Lack(
            "slow",
            f"{1e3 * seconds:.0f} ms lie between the program and the output: after an overload a "
            "tone sounds on for as long",
        )
    ]


# -- the choice, remembered for this machine


class ChoiceTable(Table):
    """The file in which the choice is kept."""

    api: OneLine
    input: OneLine
    output: OneLine
    rate: Annotated[int, Field(ge=44100, le=384000)] = 48000
    input_channels: Annotated[tuple[int, ...], Field(min_length=1)] = (1, 2)
    output_channels: Annotated[tuple[int, ...], Field(min_length=1)] = (1, 2)
    latency: Literal["low", "high"] = "low"


@dataclass(frozen=True)
class Chosen:
    """The card chosen on this machine; channels from 0."""

    choice: CardChoice
    rate: int
    input_channels: tuple[int, ...]
    output_channels: tuple[int, ...]
    latency: Latency

    def card(self) -> PortAudioCard:
        """Return it, ready to be opened."""
        return PortAudioCard(
            self.choice.inputs,
            self.choice.outputs,
            input_channels=self.input_channels,
            output_channels=self.output_channels,
            latency=self.latency,
        )


def choice_file() -> Path:
    """Return where this machine's choice is kept, by the platform's convention."""
    import platformdirs

    return Path(platformdirs.user_data_dir("probe", appauthor=False)) / "device.toml"


def remember(choice: CardChoice, rate: int | None = None, **more: Any) -> Chosen:
    """Keep the choice for this machine; return it.

    Parameters
    ----------
    rate
        Hz; None: 48 kHz where there is, else the lowest.
    more
        ``input_channels``, ``output_channels`` (from 1) and ``latency``, as in `ChoiceTable`.

    Raises
    ------
    BadInput
        The card cannot do this job, or not so; or the choice cannot be written.
    """
    grave = [lack.words for lack in choice.lacks if lack.grave]
    if grave:
        raise BadInput(f"{choice.name}: cannot be used: {'; '.join(grave)}")
    if rate is None:
        rate = 48000 if 48000 in choice.rates else choice.rates[0]
    if rate not in choice.rates:
        rates = ", ".join(str(r) for r in choice.rates)
        raise BadInput(f"{choice.name}: does not run at {rate} Hz; it has {rates}")
    count = choice.outputs.outputs
    said: dict[str, Any] = {
        "format": CHOICE_FORMAT,
        "api": choice.inputs.api,
        "input": choice.inputs.name,
        "output": choice.outputs.name,
        "rate": rate,
        "input_channels": [1, 2],
        "output_channels": [1, 2][:count],
        **{key: value for key, value in more.items() if value is not None},
    }
    _check_channels(said["input_channels"], choice.inputs.inputs, "input")
    _check_channels(said["output_channels"], count, "output")
    path = choice_file()
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise BadInput(f"{path.parent}: cannot be made: {error.strerror or error}") from error
    replace_file(path, table("", said).encode("utf-8"))
    return _chosen(read_toml(path, ChoiceTable, format_word=CHOICE_FORMAT), choice)


def chosen(found: Sequence[Found], *, missing_ok: bool = False) -> Chosen | None:
    """Return the choice remembered on this machine, among the devices there are; None: none made.

    ``missing_ok``: None as well where the card chosen is not there now.

    Raises
    ------
    BadInput
        The card chosen is not there now, or the file is damaged.
    """
    path = choice_file()
    if not path.exists():
        return None
    said = read_toml(path, ChoiceTable, format_word=CHOICE_FORMAT)
    for choice in cards(found):
        key = (choice.inputs.api, choice.inputs.name, choice.outputs.name)
        if key == (said.api, said.input, said.output):
            return _chosen(said, choice)
    if missing_ok:
        return None
    raise BadInput(
        f"{quoted(said.input)} ({said.api}), the sound card chosen on this machine, is not there; "
        "connect it, or choose another: probe devices"
    )


def _chosen(said: ChoiceTable, choice: CardChoice) -> Chosen:
    return Chosen(
        choice,
        said.rate,
        tuple(channel - 1 for channel in said.input_channels),
        tuple(channel - 1 for channel in said.output_channels),
        said.latency,
    )


def _check_channels(asked: Sequence[int], there: int, which: str) -> None:
    if len(set(asked)) < len(asked) or not all(1 <= channel <= there for channel in asked):
        raise BadInput(
            f"{which} channels {', '.join(map(str, asked))}: each once, from 1 to {there}"
        )
