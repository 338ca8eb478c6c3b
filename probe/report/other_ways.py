"""What is said of the ways that are not used, and where none is, in the customer's words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from probe.numbers import number, without_figures
from probe.report import words
from probe.report.bounded import why_wide
from probe.report.document import listing
from probe.report.step import MOST_ASKED, Step, others_of, quoted, then_of
from probe.report.text import clean, printed
from probe.report.used import as_used, eased, needs_pad

MOST_OTHERS = 6
"""Rows of the other ways where there is no room for all; from more on the best stand first."""

LEFT_OUT = "left out for want of room; none of them is judged better than these"

NO_LEAD = "No lead fits the sockets of both ends."
WITHOUT_WAYS = {
    "ground-fault": "The voltage between the two boxes is dangerous: a licensed electrician looks "
    "at it before anything is connected.",
    "takes-contradict": "The measurements of the device contradict each other. One of them has to "
    "be made again before a lead can be named.",
    "nothing-measured": "The device has not been measured while it plays.",
}
"""What is said where no way was computed, by the caution that says why."""

FIGURES = ("output-impedance", "minimum-load", "leg-alone")
"""Codes of figures that a maker is asked for."""

LEAST_BAD = ("works", "avoid", "cannot-tell", "never")
"""Verdicts of what is left, the least bad first."""


def nothing_used(advice: Mapping[str, Any], options: Sequence[Mapping[str, Any]]) -> str:
    """Return the headline of a box for which nothing is to be used."""
    boxes = {o.get("destination") for o in options}
    if _settling(advice, boxes, "asked-first"):
        return "Not yet: what stands first above decides"
    if any(_settling(advice, boxes, code) for code in FIGURES):
        return "Not yet: ask the maker of the device for one figure first"
    if _settling(advice, boxes, "winding"):
        return "Not yet: ask the maker of the device about its output transformer first"
    if any(_settling(advice, boxes, code) for code in ("legs-alike", "each-driven")):
        return "Not yet: ask the maker of the device about pins 2 and 3 first"
    if _settling(advice, boxes, "pin-3"):
        return "Not yet: ask the maker of the device about pin 3 first"
    if _settling(advice, boxes, "lead-first"):
        return "Not sure yet: try the lead named above first"
    verdicts = {o.get("verdict") for o in options}
    if any(from_faulty(o) for o in options) or _but_for_fault(options):
        return "Not yet: have the device repaired first"
    if _on_all_sides(options):  # by itself
        return "Not together with the other boxes"
    for code, says in ONLY_WITH.items():
        if _settling(advice, boxes, code):
            return says
    if "avoid" in verdicts and "cannot-tell" not in verdicts:  # it only has a drawback
        return "Nothing to recommend without reservation"
    return "Do not connect yet"


ONLY_WITH = {
    "better-lead": "Not with an ordinary lead: with the one named below",
    "transformer": "Not with an ordinary isolating transformer: with the one named below",
    "line-driver": "Not as it is: what helps stands below",
}
"""The headline where a part makes a way work, by the code of what it is in the advice."""


def from_faulty(option: Mapping[str, Any]) -> bool:
    """Tell whether a way works by itself, but out of an output that has a fault."""
    return option.get("verdict") == "works" and _faulty(option)


def _on_all_sides(options: Sequence[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    """Return the ways that work by themselves, on every side."""
    bad = {_way(o) for o in options if o.get("verdict") not in ("use", "works")}
    return [o for o in options if _way(o) not in bad]


def _but_for_fault(options: Sequence[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    """Return the ways that work on one side, and on the other come from an output with a fault."""
    faulty = {_way(o) for o in options if _faulty(o)}
    return [o for o in options if o.get("verdict") == "works" and _way(o) in faulty]


def _of_fault(options: Sequence[Mapping[str, Any]], sound: Mapping[str, Any]) -> Mapping[str, Any]:
    """Return the same way on the side that has a fault."""
    return next(o for o in options if _way(o) == _way(sound) and _faulty(o))


def _way(option: Mapping[str, Any]) -> tuple[object, ...]:
    return option.get("destination"), option.get("input"), option.get("id")


def _faulty(option: Mapping[str, Any]) -> bool:
    return "stage-fault" in {
        h.get("code") for h in listing(option, "hazards") if isinstance(h, Mapping)
    }


def stays_out(advice: Mapping[str, Any]) -> tuple[str, ...]:
    """Return the boxes that work by themselves and have nothing because of the others."""
    options = [o for o in listing(advice, "options") if isinstance(o, Mapping)]
    works = {str(o.get("destination")) for o in _on_all_sides(options)}
    works -= {str(o.get("destination")) for o in options if from_faulty(o)}
    none = [c for c in listing(advice, "choices") if isinstance(c, Mapping)]
    boxes = [str(c.get("destination")) for c in none if c.get("option") is None]
    return tuple(box for box in boxes if box in works)


ASKED = ("output-impedance", "minimum-load", "winding", "legs-alike", "each-driven", "pin-3",
         "leg-alone", "joined-plug")  # fmt: skip
"""Codes of what a maker, or a soldering iron, is asked for where nothing is used."""


def why_nothing(
    advice: Mapping[str, Any], options: Sequence[Mapping[str, Any]], step: Step | None = None
) -> tuple[str, ...]:
    """Return in the customer's words why nothing is recommended, and what would help.

    ``step``: what comes first; of a lead to be tried it is said what helps if that does not do.
    """
    if not options:
        codes = {str(c.get("code")) for c in listing(advice, "cautions") if isinstance(c, Mapping)}
        return (next((says for code, says in WITHOUT_WAYS.items() if code in codes), NO_LEAD),)
    alone = next(iter(_on_all_sides(options)), None)
    if any(from_faulty(o) for o in options):
        return (
            "What would work comes from the output that has a fault: what is bought for it may be "
            "of no use once it is repaired. The other output was not measured.",
        )
    if sound := _but_for_fault(options):
        return (
            f"{_capital(_name(sound[0]))} works on the side without the fault. On the other it "
            f"comes from the output that has it: {_because(_of_fault(options, sound[0]))}. What is "
            "bought for it now may be of no use once it is repaired.",
        )
    if alone is not None:
        return (
            f"By itself it works ({_name(alone)}), but no lead for it goes with what the other "
            "boxes use: leave it unplugged while they are plugged in, or have it fed from an "
            "output of its own.",
        )
    boxes = {o.get("destination") for o in options}
    works = "works by itself" if len(listing(advice, "choices")) > 1 else "works"
    said = [f"{_capital(printed(o.get('what'), MOST_ASKED))}, "
            f"{then_of(o) or f'{quoted(answer)} {works}'}."
            for code in ASKED
            for o in _settling(advice, boxes, code)
            for answer in listing(o, "answers")[:1]]  # fmt: skip
    answers = [text for o in _settling(advice, boxes, "each-driven") for text in others_of(o)]
    said += answers
    said = list(dict.fromkeys(said))  # several boxes may want the same
    if step and step.tried:
        lead = quoted(step.tried.get("id"))
        said = [f"{_after_trial(text, lead)} {text[:1].lower()}{text[1:]}" for text in said]
    instead = "Whatever it is, it works with" if said else "It works with"
    instead = "If it hums all the same, it works with" if step and step.plain else instead
    said += [f"{instead} {printed(o.get('what'), 240)}."
             for code in ("better-lead", "transformer")
             for o in _settling(advice, boxes, code)]  # fmt: skip
    otherwise = "If not, what helps:" if said else "What would help:"
    otherwise = "If it does not do, what helps:" if step and step.plain else otherwise
    for one in _settling(advice, boxes, "line-driver"):
        ways = "".join(f" ({_name({'id': way})})" for way in listing(one, "answers")[:1])
        said.append(f"{otherwise} {printed(one.get('what'), 400)}{ways}.")
    if step and step.plain:
        return tuple(said)
    helped = bool(said)
    choices = [c for c in listing(advice, "choices") if isinstance(c, Mapping)]
    least = {(c.get("destination"), c.get("least_bad")) for c in choices if c.get("least_bad")}
    best = [o for o in options if (o.get("destination"), o.get("id")) in least]
    said.append("None of the ways to connect them can be recommended without reservation"
                f"{' as it is' if helped else ''}{'' if best else _each_against(options)}."
                )  # fmt: skip
    if best and not answers:
        worst = max(best, key=_badness)
        said.append(f"The least bad: {_name(worst)}; {_because(worst)}.")
    if any(o.get("verdict") == "cannot-tell" for o in options):
        typed = any(isinstance(c, Mapping) and c.get("code") == "typed"
                    for c in listing(advice, "cautions"))  # fmt: skip
        what = "the output measured" if typed else "the measurement of the output completed"
        said.append(f"{'Or have' if helped else 'Have'} {what}: that tells which of them is right.")
    cures = [c for c in listing(advice, "cures")
             if isinstance(c, Mapping) and c.get("destination") in boxes
             and c.get("verdict") in (None, "use", "works")]  # fmt: skip
    said += [f"It would help: {printed(c.get('says'), 160)}." for c in cures[:1] if not helped]
    if not helped and not cures and not any(o.get("verdict") == "cannot-tell" for o in options):
        said.append(ANOTHER)
    return tuple(said)


ANOTHER = (
    "What would change it: another input of the box, another output of the device, or a box that "
    "goes between them. Have your dealer look for one."
)
"""What is left where nothing that was computed helps."""

MOST_AGAINST = 2
"""Reasons why nothing is to be used, where no way is the least bad."""


def _each_against(options: Sequence[Mapping[str, Any]]) -> str:
    """Return what speaks against the ways, each reason once, of the way that comes nearest."""
    told: dict[str, str] = {}
    for option in sorted(options, key=lambda o: (_badness(o), -(_level(o) or 0.0))):
        says = _because(option)
        told.setdefault(without_figures(says), says)
    held = [says for says in told.values() if says][:MOST_AGAINST]
    best = " with the best of them" if len(told) == 1 and len(options) > 1 else ""
    return f": {'; '.join(held)}{best}" if held else ""


def _level(option: Mapping[str, Any]) -> float | None:
    level = option.get("level")
    return number(level) if isinstance(level, Mapping) else None


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _after_trial(text: str, lead: str) -> str:
    """Return when something is asked: what opens the lead itself, in place of trying it."""
    same = text.startswith("Ask the maker") and lead in text
    return "Or, in place of trying it," if same else "If it does not,"


def _settling(
    advice: Mapping[str, Any], boxes: set[object], code: str
) -> list[Mapping[str, Any]]:  # fmt: skip
    """Return what would make a way work, of these boxes alone."""
    found = [o for o in listing(advice, "would_change") if isinstance(o, Mapping)]
    return [o for o in found if o.get("code") == code and o.get("destination") in boxes]


SAME_INTERFACE = ("digital-75-to-75", "digital-110-to-110")
"""Digital links beside which nobody asks for transformers."""


def other_ways(
    options: Sequence[Any], chosen: Mapping[str, Any] | None, step: Step | None = None
) -> tuple[tuple[str, str, str], ...]:
    """Return the other ways: name, verdict on the worse side, and what speaks against them.

    ``step``: what comes before the choice; of the ways it opens that is said.
    """
    if chosen and str(chosen.get("id")) in SAME_INTERFACE:
        return ()
    worst: dict[str, Mapping[str, Any]] = {}
    for bare in options:
        if not isinstance(bare, Mapping) or (chosen and bare.get("id") == chosen.get("id")):
            continue
        option = as_used(bare, with_pad=needs_pad(bare))
        held = worst.setdefault(str(option.get("id")), option)
        if _badness(option) > _badness(held):
            worst[str(option.get("id"))] = option
    ways = list(worst.values())
    if len(ways) > MOST_OTHERS:
        ways = sorted(ways, key=_badness)
    return tuple(
        (_name(o), *((step.row(o) if step else None) or (_verdict(o), _because(o)))) for o in ways
    )


def fewest(rows: tuple[tuple[str, str, str], ...]) -> tuple[tuple[str, str, str], ...]:
    """Return the first of the other ways, for a side without room; those left out are no better."""
    if len(rows) <= MOST_OTHERS:
        return rows
    kept = rows[: MOST_OTHERS - 1]
    return (*kept, (f"{len(rows) - len(kept)} more", "", LEFT_OUT))


def _badness(option: Mapping[str, Any]) -> int:
    verdict = str(option.get("verdict"))
    return LEAST_BAD.index(verdict) if verdict in LEAST_BAD else -1


def _verdict(option: Mapping[str, Any]) -> str:
    return words.VERDICTS.get(str(option.get("verdict")), "")


def _name(option: Mapping[str, Any]) -> str:
    return words.OPTIONS.get(str(option.get("id"))) or clean(option.get("id"), 60)


def _because(option: Mapping[str, Any]) -> str:
    """Return what speaks against a way, a whole sentence; of one that works, what it lacks."""
    if from_faulty(option):
        return "it comes from the output that has a fault"
    lacks = printed(option.get("passed_by") or "")
    if option.get("verdict") == "works" and lacks:
        return lacks
    says = printed(option.get("because") or "") or printed((listing(option, "reasons") or [""])[0])
    if says.startswith("hum "):
        says += why_wide(option.get("hum_below_full_output_db"))
    return f"{says}; it works with resistors in its plug" if says and eased(option) else says
