"""What a connection gives, in plain sentences for the customer, each backed by a figure.

A figure that is known as an interval is told with both ends; what is promised stands on the
unfavourable one.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from probe.numbers import interval, number
from probe.report.at_once import HISS_ALONE
from probe.report.bounded import MOST_DB, why_wide
from probe.report.document import listing
from probe.report.text import MESSAGE_LIMIT, clean

HEARD_LOSS_DB = 1.0
"""Loss at the ends of the band that may be noticed. [judgement] The limit of the advice."""

WHOLE_DB, TENTH_DB = 2.0, 0.3
"""Width of an interval from which both ends are told, of figures in whole decibels and in tenths.
[judgement]"""

NOTHING_DB = 0.25
"""Loss at an end of the band up to which nothing is lost. [judgement] The list of figures beside
it has tenths."""

AS_LOUD_DB = 0.5
"""Difference nobody turns the volume for. [judgement]"""

CLAIM = "No more than this is claimed: these are calculated figures, not a promise of better sound."


LINKS = {"rca-link": "rca-to-rca", "xlr-link": "xlr-to-xlr"}
"""The plain lead that a loudness is compared with."""


def gains(used: Mapping[str, Any], ways: Sequence[Mapping[str, Any]] = ()) -> list[str]:
    """Return what the option, as it is used, gives; ``ways``: all into its box.

    What may be louder or quieter is compared with no plain lead that is not to be used itself.
    """
    box = _box(used)
    link = LINKS.get(str(used.get("reference")))
    verdicts = {str(o.get("verdict")) for o in ways if o.get("id") == link}
    loudness = _loudness(used)
    if verdicts - {"use", "works"} and any(line.startswith("Between ") for line in loudness):
        loudness = []
    said = [*loudness, *_full_output(used, box), *_hum(used), *_hiss(used)]
    return [*said, *_not_told(used), *_band(used, box), CLAIM]


def in_short(used: Mapping[str, Any]) -> list[str]:
    """Return how loud a lead is that is tried: whether it hums is what is listened for."""
    return [*_loudness(used), *_full_output(used, _box(used))]


def _box(used: Mapping[str, Any]) -> str:
    return {"subwoofer": "subwoofer", "other": "box"}.get(str(used.get("role")), "amplifier")


def _ends(entry: object) -> tuple[float, float] | None:
    """Return both ends of a figure; None where it is not known."""
    value = number(entry) if isinstance(entry, Mapping) else None
    if value is None or not isinstance(entry, Mapping):
        return None
    return interval(entry) or (value, value)


def _has(option: Mapping[str, Any], code: str) -> bool:
    """Tell whether a hazard of ``code`` is among those of an option."""
    return any(isinstance(h, Mapping) and h.get("code") == code for h in listing(option, "hazards"))


def _told(option: Mapping[str, Any], code: str) -> str:
    """Return what a hazard says; nothing where there is none."""
    held = (h for h in listing(option, "hazards") if isinstance(h, Mapping))
    return next((str(h.get("message")) for h in held if h.get("code") == code), "")


def _loudness(option: Mapping[str, Any]) -> list[str]:
    for key in ("loudness_vs_rca_db", "level_vs_rca_db"):
        ends = _ends(option.get(key))
        if ends is None or option.get("reference") == "none":
            continue
        low, high = ends
        link = "RCA" if option.get("reference") == "rca-link" else "XLR"
        if max(abs(low), abs(high)) < AS_LOUD_DB:
            return [f"As loud as a plain {link} lead."]
        at = f"than a plain {link} lead at the same volume setting."
        told = _tenths_of(option[key])
        if low >= 0.0:
            return [f"{told} louder {at}"]
        if high <= 0.0:
            return [f"{told} quieter {at}"]
        return [f"Between {-low:.1f} dB quieter and {high:.1f} dB louder {at}"]
    return []


def _full_output(used: Mapping[str, Any], box: str) -> list[str]:
    ends = _ends(used.get("full_output_margin_db"))
    if ends is None:
        gain = _ends(used.get("loudness_vs_rca_db")) or (0.0, 0.0)
        if used.get("reference") == "none" or gain[0] >= -HEARD_LOSS_DB:
            return []
        return [f"Whether the {box} reaches its full output with that is not known."]
    low, high = ends
    if low >= -AS_LOUD_DB and _has(used, "one-half-undriven"):
        surely = not _told(used, "one-half-undriven").startswith("if ")
        stays = "stays idle" if surely else "may stay idle: ask its maker"
        return [f"One half of the {box} {stays}: its maximum is 6 dB lower then."]
    margin = used["full_output_margin_db"]
    clips = _ends(used.get("headroom_db")) if _has(used, "clips-short") else None
    if clips is not None and clips[0] < low:
        short = _tenths_of(used["headroom_db"])
        return [f"The {box} stays {short} short of its full output: the device clips there."]
    note = clean(margin.get("note") or "", MESSAGE_LIMIT)
    if note.startswith("only "):
        return [f"The {box} stays up to {-low:.1f} dB short of its full output: reached {note}."]
    at = f" with the device {note}" if note else ""
    if low >= 0.0:
        return [f"The {box} reaches its full output{at}."]
    if low >= -AS_LOUD_DB:
        return [f"The {box} just about reaches its full output{at}."]
    if high >= 0.0:
        return [f"The {box} may stay up to {-low:.1f} dB short of its full output{at}."]
    return [f"The {box} stays {_tenths_of(margin)} short of its full output{at}."]


def _hum(used: Mapping[str, Any]) -> list[str]:
    """Return the hum at mains frequency; with its harmonics where these are what is heard."""
    mains, buzz = (
        _ends(used.get(k)) for k in ("hum_below_full_output_db", "buzz_below_full_output_db")
    )
    if mains is None:
        return []
    keys = ("hum_below_full_output_db", "buzz_below_full_output_db")
    if buzz is not None and silent(used.get(keys[0])) and not silent(used.get(keys[1])):
        return [_quiet("Hum with its harmonics", buzz, used[keys[1]])]
    return [_quiet("Hum", mains, used[keys[0]])]


def _hiss(used: Mapping[str, Any]) -> list[str]:
    entry = used.get("noise_below_full_output_db")
    ends = _ends(entry)
    return [] if ends is None or entry is None else [_quiet("Hiss", ends, entry)]


WORDS = {
    "not": "not to be heard in a living room",
    "close-by": "heard at most close to the loudspeaker",
    "quiet-room": "it may be heard in a quiet room",
    "loud": "it may be heard in a quiet room",
}
"""What is heard at the unfavourable end of an interval."""

SURELY = {"quiet-room": "it is heard in a quiet room", "loud": "loud enough to disturb the music"}
"""What is heard even at the favourable one."""


def _quiet(what: str, ends: tuple[float, float], entry: Mapping[str, Any]) -> str:
    """Return what is heard of hum or hiss, by the class that the advice gives it."""
    told = f"{what} is {_below(*ends)} below full output{'' if silent(entry) else why_wide(entry)}"
    best, worst = (_heard(entry, end) for end in ("best", "worst"))
    heard = SURELY.get(best) or WORDS.get(worst)
    return f"{told}: {heard}." if heard else f"{told}."


def _heard(entry: Mapping[str, Any], end: str) -> str:
    """Return the class of what is heard at one end of an interval."""
    held = entry.get("heard")
    return str(held.get(end)) if isinstance(held, Mapping) else ""


def silent(entry: object) -> bool:
    """Tell whether nobody hears a hum or hiss so far below full output."""
    return isinstance(entry, Mapping) and _heard(entry, "worst") == "not"


def _not_told(used: Mapping[str, Any]) -> list[str]:
    """Say of hum and hiss that nobody calculated them, where that is so."""
    if str(used.get("id")).startswith("digital"):
        return []
    names = (("hum", "hum_below_full_output_db"), ("hiss", "noise_below_full_output_db"))
    missing = [name for name, key in names if _ends(used.get(key)) is None]
    alone = _ends(used.get(HISS_ALONE))
    said = []
    if alone is not None and "hiss" in missing:
        missing.remove("hiss")
        said = [f"Hiss is {_below(*alone)} below full output with the other boxes unplugged; what "
                "their leads add is not known: the noise of pins 2 and 3 by themselves is "
                "missing."]  # fmt: skip
    return [*said, *([f"Nothing is known of {' and '.join(missing)} here."] if missing else [])]


def _band(used: Mapping[str, Any], box: str) -> list[str]:
    """Return what happens at the ends of the band; of a subwoofer at the lower one."""
    losses = used.get("connection_loss_db") or {}
    ends = {"at_20_hz": "deepest bass", "at_20_khz": "highest treble"}
    if box == "subwoofer":
        del ends["at_20_khz"]
    key_of = {what: key for key, what in ends.items()}
    known = {what: _ends(losses.get(key)) for what, key in key_of.items()}
    said = []
    for what, found in known.items():
        if found is not None and found[1] > HEARD_LOSS_DB:
            said.append(f"{_tenths_of(losses[key_of[what]])} of the {what} is lost.")
        elif found is not None and found[0] < -HEARD_LOSS_DB:
            rise = _tenths_of(losses[key_of[what]])
            said.append(f"The {what} comes {rise} too strong.")
    if _has(used, "stage-fault"):
        return [*said, "It comes from the faulty output: how it sounds once repaired, or when the "
                "fault grows, these figures do not tell."]  # fmt: skip
    part = used.get("transformer")
    ordered = isinstance(part, Mapping) and part.get("larger_than_meant") is True
    if _has(used, "saturation") and not ordered:
        return [*said, "The transformer distorts in the deepest bass at full level; at less, bass "
                "and treble are as the figures below have them."]  # fmt: skip
    if said or any(found is None for found in known.values()):
        return said
    what = "the bass" if box == "subwoofer" else "bass and treble"
    most = max((found[1] for found in known.values() if found is not None), default=0.0)
    if most > NOTHING_DB:
        return [f"The connection takes little off {what}: at most {most:.1f} dB."]
    return [f"The connection takes nothing off {what}."]


def _below(low: float, high: float) -> str:
    if low > MOST_DB:
        return f"more than {MOST_DB:.0f} dB"
    if high > MOST_DB:
        return f"{low:.0f} to more than {MOST_DB:.0f} dB"
    return _whole(low, high)


def _whole(low: float, high: float) -> str:
    """Return whole decibels; of what is narrow the lower end, which is never too good."""
    if high - low < WHOLE_DB:
        return f"{low:.0f} dB"
    return f"{low:.0f} to {high:.0f} dB"


def _tenths_of(entry: Mapping[str, Any]) -> str:
    """Return the size of a figure in tenths of a decibel; of what is narrow the figure itself.

    Of an interval that reaches over none the part beyond none is what is told.
    """
    low, high = _ends(entry) or (0.0, 0.0)
    value = number(entry) or 0.0
    if value < 0.0:
        low, high = -high, -low
    if high - low < TENTH_DB:
        return f"{abs(value):.1f} dB"
    return f"{max(0.0, low):.1f} to {high:.1f} dB"
