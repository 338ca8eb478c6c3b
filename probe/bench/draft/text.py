"""The draft as text: what is known stands, what is likely or open is a marked question."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from probe.bench.calibration.document import session_tables
from probe.bench.calibration.figures import BenchFigures
from probe.bench.draft.files import Folder
from probe.bench.draft.names import named
from probe.bench.draft.reason import Reasoned
from probe.bench.draft.shapes import Shape
from probe.bench.draft.tones import ToneSets
from probe.bench.draft.views import Answer, LoadAnswer
from probe.formats.text import printable
from probe.formats.write import tidy, value
from probe.session.read import LIKELY_ANSWER, OPEN_QUESTION

MARK = OPEN_QUESTION
"""Begins every line that asks something; nothing else does. A session with one is refused."""

LIKELY = f"{LIKELY_ANSWER}, not known:"
"""Begins the line above an answer that nobody has checked; an analysis says how many there are."""


@dataclass(frozen=True)
class Part:
    """A resistor somebody said was used: ohm, percent, and its name."""

    ohm: float
    percent: float
    part: str


@dataclass(frozen=True)
class Said:
    """What the person who asks for a draft knows; None or empty: not said."""

    side: str | None = None
    maker: str | None = None
    model: str | None = None
    bench: BenchFigures | None = None
    loads: Mapping[str, Part] = field(default_factory=dict)
    """By place: ``leg``, ``across``, ``single-ended``."""
    injector: Part | None = None
    inject_volts: float | None = None
    inject_volts_off: float | None = None
    mains_hz: float | None = None
    likely: bool = False
    """Take likely answers as answers, with a remark beside each."""


@dataclass(frozen=True)
class Questions:
    """How many different questions a draft asks, and in how many lines; one may stand in many."""

    different: int
    lines: int

    def __str__(self) -> str:
        """Say both where they differ."""
        said = f"{self.different} question{'s' * (self.different != 1)}"
        return said if self.lines == self.different else f"{said} in {self.lines} lines"


@dataclass
class Draft:
    """The text so far, and how many questions it asks."""

    lines: list[str] = field(default_factory=list)
    asked: dict[tuple[str, ...], int] = field(default_factory=dict)

    def put(self, *lines: str) -> None:
        """Add lines as they are."""
        self.lines += lines

    def ask(self, what: str, *examples: str) -> int:
        """Add a question, and lines that would answer it, as comments; return its number.

        What was asked before in the same words is the same question, and has its number.
        """
        same = (what, *examples)
        again = same in self.asked
        number = self.asked.setdefault(same, len(self.asked) + 1)
        text = f"again: {printable(what.split('?')[0])}?" if again else f": {printable(what)}"
        self.lines.append(f"{MARK} {number}{' ' * again}{text}")
        self.lines += [f"# {line}" for line in examples]
        return number

    def ask_first(self, key: str, what: str, *examples: str) -> None:
        """Ask what must not be passed over: until it is answered the session is refused."""
        number = self.ask(what, *examples)
        self.put(f'{key} = "question {number} is not answered"')

    @property
    def questions(self) -> Questions:
        """How many different questions it asks, and in how many lines."""
        return Questions(len(self.asked), sum(line.startswith(MARK) for line in self.lines))


def draft_text(takes: Sequence[Reasoned], folder: Folder, said: Said) -> tuple[str, Questions]:
    """Return the text of the draft and the questions left in it."""
    draft = Draft()
    body = Draft()
    _device(body, said)
    _bench(body, takes, said)
    for take in takes:
        _take(body, take, folder, said)
    draft.put(
        "# Drafted by probe from recordings; nobody has checked it. Every line that begins with",
        f'# "{MARK}" asks what no recording can tell: write the answer below it, without the #,',
        '# and take the question away; "again" is one that was asked above, of another recording.',
        f"# Until then nothing is analysed. Left: {body.questions}.",
        'format = "probe-session/1"',
        "",
        *body.lines,
    )
    for name, why in folder.passed_over:
        draft.put(f"# Not used: {printable(name)}: it {printable(why)}.")
    return "\n".join(draft.lines).rstrip() + "\n", body.questions


def _device(draft: Draft, said: Said) -> None:
    draft.put("[device]")
    for key, known in (("maker", said.maker), ("model", said.model)):
        if known is None:
            draft.ask(f"the device's {key}?", f'{key} = ""')
        else:
            draft.put(f"{key} = {value(known)}")
    draft.put("")


def _bench(draft: Draft, takes: Sequence[Reasoned], said: Said) -> None:
    draft.put("[bench]")
    heard = {t.hearing.lines.mains_hz for t in takes} - {None}
    mains = said.mains_hz or (said.bench.mains_hz if said.bench is not None else None)
    if mains is None and len(heard) == 1:
        mains = heard.pop()
        draft.put(f"mains_hz = {value(mains)}          # its hum is heard")
    elif mains is None:
        draft.ask("mains frequency where it was recorded?", "mains_hz = 50")
    else:
        draft.put(f"mains_hz = {value(mains)}")
    widest = max(t.hearing.channels for t in takes)
    if said.bench is None:
        draft.put("")
        for number in range(1, widest + 1):
            _ask_input(draft, number)
        return
    tables = session_tables(said.bench)
    draft.put(f"interface = {value(tables['interface'])}")
    draft.put(f"calibrated_on = {value(tables['calibrated_on'])}")
    if tables["mains_v"] is not None:
        draft.put(f"mains_v = {value(tables['mains_v'])}")
    if tables["common_u95_percent"]:
        draft.put(f"common_u95_percent = {value(tables['common_u95_percent'])}")
    draft.put("")
    inputs = tables["input"]
    if len(inputs) < widest:
        draft.put(f"# recordings have {widest} channels, the calibration {len(inputs)} inputs")
    for number in range(widest):
        if number < len(inputs):
            _table(draft, "[[bench.input]]", inputs[number])
        else:
            _ask_input(draft, number + 1)
    for outlet in tables["output"]:
        _table(draft, "[[bench.output]]", outlet)


def _ask_input(draft: Draft, number: int) -> None:
    draft.put("[[bench.input]]")
    draft.ask(
        f"recorder channel {number}: volts peak that read 1.0, and its input?",
        "volts_full_scale = 8.7",
        "u95_percent = 1.0",
        "impedance_ohm = 20000.0",
    )
    draft.put("")


def _table(draft: Draft, head: str, keys: Mapping[str, Any]) -> None:
    draft.put(head, *(f"{k} = {value(v)}" for k, v in keys.items()), "")


def _take(draft: Draft, take: Reasoned, folder: Folder, said: Said) -> None:
    hearing = take.hearing
    draft.put("[[take]]", f"file = {value(hearing.name)}")
    _heard_lines(draft, take)
    _side(draft, hearing.name, said)
    _answer(draft, "channels", take.channels, said)
    _answer(draft, "signal", take.signal, said)
    if hearing.played.any():
        tones = hearing.sets.played
        draft.put(f"tones_hz = {value(_numbers(tones))}")
        phases = _phases(folder, tones, injected=False)
        if phases is not None:
            draft.put(f"phases_deg = {value(phases)}")
        if not hearing.sets.known:
            draft.ask("tones were found by ear, not from a list: are these the ones played?")
    _doubtful(draft, hearing.sets)
    if hearing.shape is not None:
        _shape(draft, hearing.shape)
    _answer(draft, "state", take.state, said)
    if take.load is not None:
        _load(draft, take.load, hearing.name, said)
    if take.inject is not None:
        _inject(draft, take, folder, said)
    draft.put("")


def _doubtful(draft: Draft, sets: ToneSets) -> None:
    """Ask about lines that are hum or tones; nothing tells."""
    if not sets.doubtful:
        return
    listed = ", ".join(f"{hz:g}" for hz in sets.doubtful)
    every = _numbers(sorted((*sets.played, *sets.doubtful)))
    lines = [f"tones_hz = {value(every)}"]
    if not sets.played:
        lines.insert(0, f'signal = "{"tone" if len(every) == 1 else "multitone"}"')
    draft.ask(
        f"{listed} Hz: loud, and at multiples of the mains: hum, or tones that were played? "
        "If tones",
        *lines,
    )


def _shape(draft: Draft, shape: Shape) -> None:
    """Ask what a recording cannot tell of a sweep or of steps; nothing of it may be passed over."""
    if shape.word == "sweep":
        draft.ask_first(
            "sweep_s", "from where to where does the sweep go, and in how many seconds?",
            f"from_hz = {shape.from_hz:.0f}", f"to_hz = {shape.to_hz:.0f}",
            f"sweep_s = {shape.sweep_s:.3g}",
        )  # fmt: skip
        return
    heard = ", ".join(f"{db:g}" for db in shape.levels_db)
    draft.ask_first(
        "levels_volts", f"volts rms of each step as driven? Heard, dB against the last: {heard}",
        "levels_volts = [ ]", f"step_s = {shape.step_s:.2g}",
    )  # fmt: skip


def _heard_lines(draft: Draft, take: Reasoned) -> None:
    hearing = take.hearing
    seconds = hearing.audio.frames / hearing.audio.sample_rate
    steady = hearing.steady_s
    if steady is not None and (steady[0] > 0.1 or steady[1] < seconds - 0.1):
        draft.put(f"# heard: tones stand still from {steady[0]:.2f} to {steady[1]:.2f} s")
    for note in take.notes:
        draft.put(f"# heard: {printable(note)}")


def _side(draft: Draft, name: str, said: Said) -> None:
    words = set(re.split(r"[^a-z]+", name.lower()))
    named = [s for s in ("left", "right", "mono") if s in words]
    if said.side is not None:
        draft.put(f"side = {value(said.side)}")
    elif len(named) == 1:
        draft.put(f"side = {value(named[0])}          # by the file's name")
    else:
        draft.ask(
            "which side of the device? (probe draft --side answers it for all)",
            'side = "left"', 'side = "right"',
        )  # fmt: skip


def _answer(draft: Draft, key: str, answer: Answer, said: Said) -> None:
    """Put a value, or ask; likely answers are put only where that was asked for."""
    if answer.sure == "known":
        draft.put(f"{key} = {value(answer.value)}")
    elif answer.sure == "likely" and said.likely and answer.value is not None:
        draft.put(f"{LIKELY} {printable(answer.why)}", f"{key} = {value(answer.value)}")
    else:
        choices = ([] if answer.value is None else [answer.value]) + list(answer.others)
        lines = [f"{key} = {value(c)}" for c in choices] or [f"{key} ="]
        likely = " (the first is likely)" if answer.sure == "likely" else ""
        draft.ask(f"{key}{likely}? {answer.why}", *lines)


def _load(draft: Draft, load: LoadAnswer, name: str, said: Said) -> None:
    """State what is likely and marked, if that was asked for, or ask."""
    if load.likely_none and said.likely:
        draft.put(f"{LIKELY} no load; {printable(load.why)}")
        return
    place = "across" if load.to == "cold" else "leg"
    place = "single-ended" if load.from_ == "single-ended" else place
    part = said.loads.get(place)
    if part is not None and said.likely and load.sure == "likely":
        ends = {"from": load.from_, "to": load.to}
        keys = {**ends, "ohm": part.ohm, "u95_percent": part.percent, "part": part.part}
        draft.put(f"{LIKELY} a load; {printable(load.why)}", f"load = [ {value(keys)} ]")
        return
    draft.ask_first(
        "load", f"{_likely_load(load)} {load.why}. If there was none: load = []",
        *_offered(load, name, said),
    )  # fmt: skip


def _offered(load: LoadAnswer, name: str, said: Said) -> list[str]:
    """Return the lines that may answer: the likely one, else what the file's name speaks of."""
    by_name = named(name)
    offered = [(load.from_, load.to)]
    if load.sure == "open" and not by_name.inject and load.from_ != "single-ended":
        offered = [("hot", "ground"), ("cold", "ground"), ("hot", "cold")]
        if by_name.load and by_name.ends is not None:
            offered = [by_name.ends]
    lines = []
    for a, b in offered:
        place = "across" if b == "cold" else "single-ended" if a == "single-ended" else "leg"
        part = said.loads.get(place)
        ohm = "" if part is None else f"{part.ohm:g}"
        lines.append(f'load = [ {{ from = "{a}", to = "{b}", ohm = {ohm}, u95_percent = }} ]')
    none = load.likely_none or by_name.load is False
    return ["load = []", *lines] if none else lines


def _likely_load(load: LoadAnswer) -> str:
    if load.likely_none:
        return "no load, likely?"
    if load.sure == "open":
        return "a load, and where, of which ohms?"
    return f"a load of which ohms, likely from {load.from_} to {load.to}?"


def _inject(draft: Draft, take: Reasoned, folder: Folder, said: Said) -> None:
    answer = take.inject
    assert answer is not None
    tones = take.hearing.sets.injected
    by_name = named(take.hearing.name).leg
    into = answer.value or by_name
    keys: dict[str, object] = {"into": into or "cold"}
    volts = said.inject_volts if take.hearing.played.any() else said.inject_volts_off
    if said.injector is not None:
        keys |= {
            "through_ohm": said.injector.ohm,
            "u95_percent": said.injector.percent,
            "part": said.injector.part,
        }
    keys |= {} if volts is None else {"volts": volts}
    keys["tones_hz"] = _numbers(tones)
    phases = _phases(folder, tones, injected=True)
    if phases is not None:
        keys["phases_deg"] = phases
    whole = said.injector is not None and volts is not None and answer.value is not None
    sure = answer.sure == "known" or (answer.sure == "likely" and said.likely)
    if whole and sure:
        if answer.sure == "likely":
            draft.put(f"{LIKELY} {printable(answer.why)}")
        draft.put(f"inject = [ {value(keys)} ]")
        return
    missing = [k for k in ("through_ohm", "volts") if k not in keys]
    wanted = f" Write {' and '.join(missing)} into it." if missing else ""
    asked = f"injected into {answer.value}? {answer.why}."
    if answer.value is None:
        more = f"; by the file's name into {by_name}" if by_name else ""
        asked = f"into which terminal? {answer.why}{more}."
    legs = [into] if into else ["cold", "hot"]
    if answer.sure == "open" and by_name is not None and by_name not in legs:
        legs.append(by_name)
    offered = [{**keys, "into": leg} for leg in legs]
    draft.ask_first("inject", f"{asked}{wanted}", *(f"inject = [ {value(k)} ]" for k in offered))


def _phases(folder: Folder, tones: Sequence[float], *, injected: bool) -> list[float] | None:
    for keys in folder.stated:
        phases = keys.get("phases_deg")
        same = keys["injected"] == injected and len(keys["tones_hz"]) == len(tones)
        if (
            same
            and isinstance(phases, list)
            and len(phases) == len(tones)
            and all(abs(float(a) - b) < 1e-6 for a, b in zip(keys["tones_hz"], tones, strict=True))
        ):
            return [float(p) for p in phases]
    return None


def _numbers(tones: Sequence[float]) -> list[float]:
    return [tidy(t) for t in tones]
