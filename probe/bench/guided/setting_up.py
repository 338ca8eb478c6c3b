"""The questions before the first take: device, kit, sides, volumes; and the meter."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

from probe.bench.planned import meters
from probe.bench.planned.able import TITLES, Setting
from probe.bench.planned.kit import InjectorPart, Kit, LoadPart
from probe.bench.planned.learn import learn
from probe.bench.shown.dialogue import MOST_UNANSWERED, Dialogue, Quit
from probe.bench.stored.storage import SessionFolder, replace_file
from probe.errors import BadInput
from probe.line_output import called_so
from probe.session.model import Connector, Device, MeterReading, Output, Side

ANSWERS = "guide.json"
ANSWERS_FORMAT = "probe-guide/1"

SIDES: Mapping[str, tuple[Side, ...]] = {
    "left": ("left",),
    "right": ("right",),
    "both": ("left", "right"),
    "mono": ("mono",),
}


@dataclass(frozen=True)
class Answers:
    """What was answered once for the whole session.

    Attributes
    ----------
    sides, volumes
        What to measure; a volume is free text.
    valve
        The output stage has valves.
    everything
        Every take the kit can make, needed or not.
    file_rate
        Frames per second of the files the device plays itself; 0: the interface drives it.
    maximum, most_volts
        Drive the output until it clips; but never above so many V rms between the legs.
    """

    sides: tuple[Side, ...] = ("left",)
    volumes: tuple[str, ...] = ("",)
    valve: bool = False
    everything: bool = False
    file_rate: int = 0
    power_accepted: bool = False
    maximum: bool = False
    most_volts: float | None = None


def keep_answers(folder: Path, answers: Answers) -> None:
    """Keep the answers beside the session, so that it can be resumed."""
    text = json.dumps({"format": ANSWERS_FORMAT, **asdict(answers)}, indent=1) + "\n"
    replace_file(folder / ANSWERS, text.encode("utf-8"))


def kept_answers(folder: Path) -> Answers | None:
    """Return the answers kept in a folder, None where there are none that can be read."""
    try:
        said = json.loads((folder / ANSWERS).read_text("utf-8"))
        if said.pop("format", None) != ANSWERS_FORMAT:
            return None
        sides, volumes = tuple(said.pop("sides")), tuple(said.pop("volumes"))
        return Answers(sides=sides, volumes=volumes, **said)
    except (OSError, ValueError, TypeError, KeyError):
        return None


def ask_device(talk: Dialogue, usual: Device) -> Device:
    """Ask what is measured, and refuse what does not belong on this bench.

    Raises
    ------
    BadInput
        A headphone or loudspeaker output.
    Quit
        Somebody stops.
    """
    talk.heading("The device")
    output = talk.choose(
        "output",
        "Which output is it?",
        {"l": "line output (XLR or RCA)", "h": "headphone output", "s": "loudspeaker output"},
        "l",
    )
    kind: Output = {"l": "line", "h": "headphone", "s": "speaker"}[output]  # type: ignore[assignment]
    if kind in meters.REFUSED:
        raise BadInput(f"{meters.REFUSED[kind]}; only line outputs, nothing was connected")
    maker = talk.text("maker", "Maker", usual.maker) or "unknown"
    model = talk.text("model", "Model", usual.model) or "unknown"
    serial = talk.text("serial", "Serial number, if any", usual.serial)
    name = called_so(model, usual.kind)
    if name is not None:
        talk.warn(
            "Is this really a line output?",
            f'It is called "{name}". Both terminals of a headphone or loudspeaker output may be '
            "live, and the interface would ground one.",
        )
        confirmed(talk, "power", "A line output it is, by its maker's words?")
    rca = "rca" in usual.connectors
    has = talk.choose(
        "rca", "Does it have an RCA output too?", {"y": "yes", "n": "no"}, "y" if rca else "n"
    )
    minimum = talk.number(
        "minimum",
        "Smallest load the maker allows (Enter: not stated)",
        "ohm",
        *(1.0, 1e6, usual.minimum_load_ohm),
    )
    connectors: tuple[Connector, ...] = ("xlr", "rca") if has == "y" else ("xlr",)
    return replace(
        usual,
        maker=maker,
        model=model,
        serial=serial,
        output=kind,
        connectors=connectors,
        minimum_load_ohm=minimum,
    )


def ask_answers(
    talk: Dialogue, sides: tuple[Side, ...], there: tuple[Side, ...] | None = None
) -> Answers:
    """Ask what is to be measured; ``there``: the only sides there are, where that is known."""
    usual = next((k for k, v in SIDES.items() if v == sides), "left")
    words = {"l": "left", "r": "right", "b": "both", "m": "mono"}
    offered = {
        "l": "left",
        "r": "right",
        "b": "both, one after the other",
        "m": "there is only one",
    }
    if there is not None:
        offered = {k: v for k, v in offered.items() if set(SIDES[words[k]]) <= set(there)}
    said = talk.choose("sides", "Which side?", offered, usual[0])
    file_rate = _ask_player(talk)
    volumes = talk.text(
        "volumes", "Volume positions to measure, separated by commas (Enter: as it stands)", ""
    )
    valve = talk.choose("valve", "Does its output stage have valves?", {"y": "yes", "n": "no"}, "n")
    much = talk.choose(
        "much",
        "How much is to be found out?",
        {"e": "what is needed to know the output", "a": "all the kit can show"},
        "e",
    )
    return Answers(
        sides=SIDES[words[said]],
        volumes=tuple(v.strip() for v in volumes.split(",")) if volumes.strip() else ("",),
        valve=valve == "y",
        everything=much == "a",
        file_rate=file_rate,
    )


LEAST_MOST, MOST_MOST = 0.1, 100.0
"""V rms that can be meant as what an output must not pass."""


def ask_maximum(talk: Dialogue, answers: Answers, *, asked: bool) -> Answers:
    """Ask whether the output may be driven until it clips, and where to end before that.

    ``asked``: it was asked for already.
    """
    if not asked:
        question = "Find its maximum output too, by driving it until it clips? (A stress)"
        choices = {"n": "no", "y": "yes: nothing that amplifies is connected to the device then"}
        if talk.choose("maximum", question, choices, "n") == "n":
            return answers
    most = talk.number(
        "most",
        "Level between the legs that must not be passed (Enter: until it clips)",
        *("V", LEAST_MOST, MOST_MOST, None),
    )
    return replace(answers, maximum=True, most_volts=most)


RATES = {"4": 44100, "8": 48000, "9": 96000}


def _ask_player(talk: Dialogue) -> int:
    """Ask what drives the device; return the rate of the files it plays, or 0."""
    how = talk.choose(
        "driven",
        "What drives it?",
        {
            "i": "output 1 of the interface, into the device's input",
            "f": "nothing: it plays files itself (a DAC behind a player, a streamer)",
        },
        "i",
    )
    if how == "i":
        return 0
    words = {key: f"{rate} Hz" for key, rate in RATES.items()}
    return RATES[
        talk.choose("file-rate", "Which rate of files does it take as they are?", words, "8")
    ]


def ask_kit(talk: Dialogue) -> Kit:
    """Ask for the kit where none was declared."""
    talk.heading("The kit")
    talk.say(
        "No kit is remembered on this machine. A few questions, then it goes on; to declare it "
        "once for all: probe kit --template > kit.toml, change it, probe kit kit.toml."
    )
    yes = {"y": "yes", "n": "no"}
    rca = talk.choose("kit-rca", "A lead from an RCA output to an input?", yes, "n") == "y"
    loop = "A lead from the interface's output 1 to both its inputs at once?"
    loop_back = talk.choose("kit-loop", loop, yes, "n") == "y"
    loads: list[tuple[str, LoadPart]] = []
    for key, place, where in (
        ("kit-leg", "leg", "a resistor to put on a leg"),
        ("kit-across", "across", "a resistor to put between the legs"),
    ):
        ohm = talk.number(key, f"Do you have {where}? (Enter: no)", "ohm", 1.0, 1e6, None)
        if ohm is not None:
            part = LoadPart(part="R1" if place == "leg" else "R3", ohm=ohm, between=(place,))
            loads.append((place, part))
    ohm = talk.number(
        "kit-injector", "An injector of 10 kohm or more? (Enter: no)", "ohm", 1e4, 1e6, None
    )
    injector = None if ohm is None else InjectorPart(ohm=ohm)
    return Kit("as answered", True, rca, False, tuple(loads), injector, loop_back=loop_back)


def tell_learn(talk: Dialogue, setting: Setting) -> None:
    """Say what will be learnt with this kit, and what will not."""
    talk.heading("With what you have, you will learn")
    words = {"yes": "yes", "if driven": "only if pin 3 carries signal", "no": "no"}
    talk.rows([(words[one.answer], one.what) for one in learn(setting)])


def ask_meters(
    talk: Dialogue,
    store: SessionFolder,
    device: Device,
    sides: tuple[Side, ...],
    *,
    valve: bool,
) -> None:
    """Ask for the meter's readings, write them down, and stop where they say so.

    Raises
    ------
    BadInput
        A reading above which nothing may be connected; or, behind valves, a place whose direct
        volts were not read.
    Quit
        Somebody stops.
    """
    talk.heading("The meter, before anything is connected")
    talk.say(
        "The device is on and plays nothing; its output goes nowhere. Measure direct and "
        "alternating volts and type what the meter shows; Enter leaves a reading out."
    )
    done = _metered(store, direct_only=valve)
    forbidding = _forbidding(store)
    for side in sides:
        for between in meters.places(device):
            before = forbidding.get((side, between))
            if before is not None:
                talk.warn("Metered before", meters.judge(before).text)
            elif (side, between) in done:
                continue
            while not _ask_reading(talk, store, side, between, before):
                pass
    while not _ask_grounds(talk, store):
        pass
    if valve:
        _require_all_metered(store, device, sides)
    if not store.meters:
        talk.warn(
            "Nothing was metered",
            "Without a meter nobody knows whether phantom power or a fault is on these pins. "
            "Go on only with an output that you know to be healthy.",
        )
        confirmed(talk, "unmetered", "Go on without a meter?")


def _metered(store: SessionFolder, *, direct_only: bool) -> set[tuple[str, tuple[str, ...]]]:
    """Return sides and places that were read; ``direct_only``: their direct volts."""
    return {
        (m["side"], tuple(m["between"])) for m in store.meters if "volts_dc" in m or not direct_only
    }


def _forbidding(store: SessionFolder) -> dict[tuple[str, tuple[str, ...]], MeterReading]:
    """Return readings above which nothing may be connected, by side and place: asked again."""
    found = {}
    for m in store.meters:
        place = (m["side"], tuple(m["between"]))
        reading = MeterReading(*place, m.get("volts_dc"), m.get("volts_ac"))
        if meters.judge(reading).weight == "stop":
            found[place] = reading
    return found


def _require_all_metered(store: SessionFolder, device: Device, sides: tuple[Side, ...]) -> None:
    """Refuse to connect anything to valves before the direct volts of each place were read."""
    read = _metered(store, direct_only=True)
    for side in sides:
        for between in meters.places(device):
            if (side, between) not in read:
                where = f"{'' if side == 'mono' else side + ', '}between {meters.SPOKEN[between]}"
                raise BadInput(
                    f"the direct volts {where} were not read, and an output with valves is not "
                    "connected before: a leaky coupling capacitor can carry 100 to 300 V. Meter "
                    "it and continue this session"
                )


GROUNDS = "Between pin 1 and the interface's ground, before they were joined"


def _ask_grounds(talk: Dialogue, store: SessionFolder) -> bool:
    """Ask for the volts between the grounds, once; return False where to ask again."""
    if any(GROUNDS in line for line in store.head):
        return True
    question = "Alternating volts between pin 1 and the ground of the interface, not yet joined"
    volts = talk.number("meter-grounds", question, "V", 0.0, 1000.0, None)
    if volts is None:
        return True
    judged = meters.judge_grounds(volts)
    if judged.weight != "fine":
        talk.warn("The grounds are apart", judged.text)
        choices = {"a": "measure again", "g": "it is understood; grounds first"}
        if talk.choose("meter-again", "What now?", choices, "a") == "a":
            return False
    store.remark(f"{GROUNDS}: {volts:g} V alternating.")
    return True


def _ask_reading(
    talk: Dialogue,
    store: SessionFolder,
    side: Side,
    between: Any,
    before: MeterReading | None = None,
) -> bool:
    """Ask for one place; return False where it has to be asked again.

    ``before``: an earlier reading there that forbids to connect; it stands until one is better.
    """
    where = f"{'' if side == 'mono' else side + ', '}between {meters.SPOKEN[between]}"
    dc = talk.number("meter-dc", f"Direct volts {where}", "V", -1000.0, 1000.0, None)
    ac = talk.number("meter-ac", f"Alternating volts {where}", "V", 0.0, 1000.0, None)
    if before is not None and meters.left_open(before, dc, ac):  # it stands
        raise BadInput(meters.judge(before).text)
    if dc is None and ac is None:
        return True
    judged = meters.judge(MeterReading(side, between, dc, ac))
    table = {"side": side, "between": list(between), "volts_dc": dc, "volts_ac": ac}
    said = {k: v for k, v in table.items() if v is not None}
    if judged.weight == "stop":
        talk.warn("Nothing may be connected", judged.text)
        ways = {"e": "end here; the session asks again", "a": "typed wrongly: once more"}
        if talk.choose("meter-stops", "What now?", ways, "e") == "a":
            return False
        store.add_meter(said)
        raise BadInput(judged.text)
    if judged.weight == "ask":
        talk.warn("A reading to look at", judged.text)
        again = talk.choose(
            "meter-again", "What now?", {"a": "measure again", "g": "it is as it should be"}, "a"
        )
        if again == "a":
            return False
    store.add_meter(said)
    return True


def confirmed(talk: Dialogue, key: str, question: str) -> None:
    """Ask until somebody says yes; the way out is to stop."""
    for _ in range(MOST_UNANSWERED):
        if talk.choose(key, question, {"y": "yes", "n": "not yet"}, "") == "y":
            return
        talk.say("Take your time; y when it is done, q to stop for now.")
    talk.say(f"Answered {MOST_UNANSWERED} times with not yet, so this stops, as q does.")
    raise Quit


def title(take: str) -> str:
    """Return what a take is called when it is announced."""
    return TITLES.get(take, take)
