"""Which missing take, reading or figure would change the answer, found by answering again.

For everything that is not known and could be (how the boxes are earthed, which kind the stage is,
what the input is, what it needs for full output), the advice is asked again with each thing it
may be. Where the choice differs, it is told; so is what stands between an option and a verdict.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import partial
from typing import Any

from probe.advice.desk import BALANCED_CIRCUITS, circuits_of
from probe.advice.destination import Destination, Input
from probe.advice.ground import of_preset
from probe.advice.memory import Sources
from probe.advice.model import Advice, Settling
from probe.advice.subject import Device, Facts, SideFacts
from probe.advice.words import KINDS, TAKES
from probe.facts.source import Source

Ask = Callable[[Facts, Mapping[str, Sources], Destination], Advice]
"""The advice itself, without what is found here."""

FEW_DRAWS = 50
"""Draws kept when asking again: the ends of an interval to a few percent of its width do."""

TELLING = ("same-strip", "two-rooms", "earthed-and-unearthed")
"""Presets that stand for all of them: small and resistive, large and resistive, capacitive."""

SENSITIVITIES = (0.5, 2.0)
"""V for full output between which most power amplifiers lie. [practice]"""


def settlings(
    ask: Ask,
    ask_ground: Ask,
    facts: Facts,
    sources: Mapping[str, Sources],
    destination: Destination,
    device: Device,
    sides: Sequence[SideFacts],
    advice: Advice,
) -> tuple[Settling, ...]:
    """Return what would change the answer, or make an option known.

    ``ask_ground`` answers where only the ground is another one.
    """
    if not advice.options:
        return tuple(_output(device))
    few = {name: _few(source) for name, source in sources.items()}
    boxes = {o.box for o in advice.options}  # a digital link hangs on nothing that is asked here

    def options(found: Advice) -> tuple[str | None, ...]:
        return tuple(c.option for c in found.choices if c.box in boxes)

    def chosen(facts: Facts, destination: Destination) -> tuple[str | None, ...]:
        return options(ask(facts, few, destination))

    def grounded(facts: Facts, destination: Destination) -> tuple[str | None, ...]:
        return options(ask_ground(facts, few, destination))

    def known(facts: Facts, destination: Destination) -> tuple[str | None, ...]:
        """Answer from what is solved already: one of the kinds or circuits it was solved for."""
        return options(ask(facts, sources, destination))

    several = len(advice.choices) > 1
    names = tuple(c.box if several else "" for c in advice.choices if c.box in boxes)
    differs = partial(_differs, names, options(advice))
    found = [
        *differs("ground", "how the boxes are earthed (--ground)",
                  [grounded(facts, d) for d in _grounds(destination)]),
        *differs("kind", _kind_words(sides),
                  [known(f, destination) for f in _kinds(facts, sides)]),
        *differs("circuit", "what the balanced input is (circuit: difference amplifier, "
                  "buffered or transformer)",
                  [known(facts, d) for d in _circuits(destination)]),
        *differs("sensitivity", "what drives the inputs to full output (sensitivity_v)",
                  [chosen(facts, d) for d in _sensitivities(destination)]),
    ]  # fmt: skip
    return (*found, *_unknown(advice), *_other_output(device, facts))


def _output(device: Device) -> Iterator[Settling]:
    """Yield how to declare an output that looks like none for lines."""
    if device.beyond_line_volts is not None and device.typed:
        what = "the level at full output, if the one typed is the most before it distorts"
        yield Settling("output", f"{what} (differential_maximum_v, single_ended_maximum_v)", ())
    if (
        device.beyond_line_volts is not None
        or not device.unlike_line
        or device.output_declared
        or device.output != "line"
    ):
        return
    where = "of its file" if device.typed else "of session.toml, analysed again"
    yield Settling(
        "output",
        f'output = "line" below [device] {where}, where its maker calls it a line output (else '
        '"headphone" or "speaker")',
        (),
    )


def _few(source: Sources) -> Sources:
    if not isinstance(source, Source):
        return {kind: _fewer(s) for kind, s in source.items()}
    return _fewer(source)


def _fewer(source: Source) -> Source:
    if source.voc_draws.shape[0] <= FEW_DRAWS:
        return source  # what was solved with it is known already
    return replace(
        source,
        voc_draws=source.voc_draws[:FEW_DRAWS],
        z_draws=source.z_draws[:FEW_DRAWS],
        legs_voc_draws=source.legs_voc_draws[:FEW_DRAWS],
        legs_z_draws=source.legs_z_draws[:FEW_DRAWS],
    )


def _differs(
    boxes: tuple[str, ...],
    now: tuple[str | None, ...],
    code: str,
    what: str,
    answers: Sequence[tuple[str | None, ...]],
) -> Iterator[Settling]:
    """Yield what is missing if any answer with it differs from the one without."""
    others = [a for a in answers if a != now]
    if others:
        told = [_told(boxes, a) for a in (now, *others)]
        yield Settling(code, what, tuple(dict.fromkeys(told)))


def _told(boxes: tuple[str, ...], answer: tuple[str | None, ...]) -> str:
    """Name what is chosen, each with its box where that has a name."""
    if not any(boxes):
        return " and ".join(option or "nothing" for option in answer)
    held = zip(boxes, answer, strict=False)
    return " and ".join(f"{option or 'no way to recommend'} ({box})" for box, option in held)


def _grounds(destination: Destination) -> Iterator[Destination]:
    if all(s.ground.known for s in destination.inputs):
        return
    for name in TELLING:
        ground = of_preset(name, destination.mains_volts)
        yield replace(
            destination,
            inputs=tuple(
                s if s.ground.known else replace(s, ground=ground) for s in destination.inputs
            ),
        )


def _circuits(destination: Destination) -> Iterator[Destination]:
    if not any(_circuit_unknown(s) for s in destination.inputs):
        return
    unknown = [circuits_of(s) for s in destination.inputs if _circuit_unknown(s)]
    for circuit in (c for c in BALANCED_CIRCUITS if all(c in known for known in unknown)):
        yield replace(
            destination,
            inputs=tuple(
                replace(s, circuit=circuit) if _circuit_unknown(s) else s
                for s in destination.inputs
            ),
        )


def _circuit_unknown(socket: Input) -> bool:
    return socket.receiver == "balanced" and socket.circuit == "unknown"


def _sensitivities(destination: Destination) -> Iterator[Destination]:
    if all(s.sensitivity_volts is not None for s in destination.inputs):
        return
    for volts in SENSITIVITIES:
        yield replace(
            destination,
            inputs=tuple(
                s
                if s.sensitivity_volts is not None
                else replace(s, sensitivity_volts=volts, maximum_volts=_above(s, volts))
                for s in destination.inputs
            ),
        )


def _above(socket: Input, volts: float) -> float | None:
    """Keep a stated maximum that is not below the volts tried."""
    most = socket.maximum_volts
    return most if most is None or most >= volts else None


def _kinds(facts: Facts, sides: Sequence[SideFacts]) -> Iterator[Facts]:
    """Yield the facts with each kind that a side may still be, as if it were known."""
    for side in sides:
        if len(side.stage.possible) < 2:
            continue
        for kind in side.stage.possible:
            yield _as(facts, side.name, kind)


def _as(facts: Facts, side: str, kind: str) -> dict[str, Any]:
    told = facts["sides"][side]
    stage = {**told.get("stage", {}), "kind": kind, "also_possible": [], "next_take": None}
    return {**facts, "sides": {**facts["sides"], side: {**told, "stage": stage}}}


def _kind_words(sides: Sequence[SideFacts]) -> str:
    takes = dict.fromkeys(s.stage.next_take for s in sides if s.stage.next_take is not None)
    kinds = dict.fromkeys(k for s in sides for k in s.stage.possible)
    by = f": {'; '.join(TAKES.get(t, t) for t in takes)}" if takes else ""
    return f"which kind the stage is ({' or '.join(KINDS.get(k, k) for k in kinds)}){by}"


def _unknown(advice: Advice) -> Iterator[Settling]:
    """Yield what the options rest on that could not be judged."""
    held: dict[str, list[str]] = {}
    for option in advice.options:
        if option.verdict == "cannot-tell" and option.reasons:
            held.setdefault(option.reasons[0], []).append(option.option.id)
    for reason, options in held.items():
        yield Settling("option", f"{', '.join(dict.fromkeys(options))}: {reason}", ())


MISSING_OUTPUT = {
    "xlr": (
        ("differential_level", "hot_level", "hot_recorded"),
        "the XLR output was not measured: an open take of pins 2 and 3, then a loaded one, would "
        "tell whether it gives more, or hums less, than the RCA",
    ),
    "rca": (
        ("single_ended_level",),
        f"the RCA output was not measured: {TAKES['single-ended']}, and one with a resistor on it, "
        "would tell how much louder the XLR really is, and whether the plain RCA lead does",
    ),
}
"""For each output: facts that show it was measured, and what measuring it would tell."""


def _other_output(device: Device, facts: Facts) -> Iterator[Settling]:
    """Yield what the output of the device that nobody measured would tell."""
    if device.typed:
        return
    measured = {name for side in facts["sides"].values() for name in side.get("facts", {})}
    for connector, (names, says) in MISSING_OUTPUT.items():
        if connector in device.connectors and measured and not measured & set(names):
            yield Settling(f"{connector}-output", says, ())
