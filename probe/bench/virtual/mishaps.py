"""What can go wrong at the virtual bench, each by a name that can be switched on."""

from __future__ import annotations

from dataclasses import dataclass

from probe.errors import BadInput
from probe.formats.text import nearest, quoted


@dataclass(frozen=True)
class Mishap:
    """Something that goes wrong once, at the first attempt of one take.

    Attributes
    ----------
    name
        One of `MISHAPS`.
    take
        Word of the take it strikes (``open``, ``load-cold`` and so on).
    """

    name: str
    take: str


MISHAPS = {
    "hum": ("open", "mains hum of 60 mV on both legs"),
    "exchanged-leads": ("inject-cold", "the leads of the two legs change places"),
    "forgotten-switch": ("load-cold", "the resistor of this take is not plugged in"),
    "crept-volume": (
        "inject-hot",
        "the volume stands 0.3 dB lower, too little for one take to show",
    ),
    "weak-stage": (
        "load-across",
        "the device cannot drive this load: it limits well below the level",
    ),
    "moved-volume": ("inject-hot", "somebody brushes against the volume: 3 dB less"),
    "clipping": ("inject-hot", "the recorder's gain stands 20 dB too high"),
    "mute-relay": ("open", "the device's mute relay drops out during the take"),
    "dropped-blocks": ("inject-cold", "the interface loses a block and says so"),
    "lost-samples": ("inject-cold", "the interface loses samples and says nothing"),
    "foreign-clock": ("open", "player and recorder run on clocks 80 ppm apart, from here on"),
    "lead-out": ("second-open", "the lead of pin 3 is not plugged in"),
    "left-for-right": ("second-open", "the recorder's leads are at the other side's output"),
    "gain-left-up": ("idle", "gain turned up for the noise is not turned back at first"),
    "unplugged-device": ("inject-cold", "the device's output is unplugged during the take"),
    "player-converts": ("open", "the device's player converts rates by straight lines"),
    "player-levels": ("open", "the device's player levels the volume of what it plays"),
    "player-gaps": ("open", "the device's player pauses each time the file begins anew"),
    "unplugged-interface": ("inject-cold", "the interface is unplugged during the take"),
}
"""Each mishap, the take it strikes where none is named, and what happens."""


def mishap(word: str) -> Mishap:
    """Return the mishap of ``NAME`` or ``NAME@TAKE``.

    Raises
    ------
    BadInput
        There is no mishap of that name.
    """
    name, _, take = word.partition("@")
    if name not in MISHAPS:
        close = nearest(name, MISHAPS)
        hint = f"did you mean {quoted(close)}?" if close else f"there are {', '.join(MISHAPS)}"
        raise BadInput(f"--mishap {quoted(word)}: no mishap of that name; {hint}")
    return Mishap(name, take or MISHAPS[name][0])


def listing() -> str:
    """Return every mishap with the take it strikes and what happens, as lines of text."""
    return "\n".join(f"{name}@{take}\n    {what}" for name, (take, what) in MISHAPS.items())
