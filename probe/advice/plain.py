"""What speaks against a way of connecting, in the words of somebody who only wants music."""

from __future__ import annotations

from probe.advice.case import Finding
from probe.advice.figures import Figures
from probe.advice.words import decibels

AGAINST = {
    "level-lost": "most of the level would be lost",
    "signal-lost": "bass or treble would be lost",
    "loss": "bass or treble would be lost",
    "bass-loss": "bass would be lost",
    "response-rise": "bass or treble come too strong",
    "tie-current": "joining pin 3 would overload the output",
    "tie-pointless": "joining pin 3 gains nothing and strains the output",
    "sense-open": "the output would pick up hum",
    "sense-unused": "the output would lose its defence against hum",
    "floating-open": "how loud it plays would rest on chance",
    "instability": "the output may become unstable",
    "clips-earlier": "the output distorts earlier",
    "clips-played": "loud passages would distort",
    "clips-short": "the output distorts before full output is reached",
    "pin-3-open": "level would be lost, and hum picked up",
    "one-half-undriven": "one half of its amplifier would stay idle, its maximum 6 dB lower",
    "output-clips": "this output was seen distorting while it was measured",
    "overload": "the output can give more than the input accepts",
    "at-limit": "the most that comes is just what the input accepts",
    "full-output-open": "it might stay far below its full output",
    "excess-level": "far more level than the input needs",
    "load": "the input loads the output more than its maker allows",
    "load-current": "so heavy an input takes more current than is known of the output",
    "load-current-beyond-full-output": "turned up beyond full output, so heavy an input may take "
    "more current than the output gives",
    "coupling-capacitor": "bass may be lost: this output may not be made for so heavy an input",
    "load-refused": "the input loads the output as hard as a load it did not drive",
    "load-both-outputs": "what hangs on both outputs may be too much for the device",
    "load-not-shown": "whether this output drives such an input was not tried",
    "noise": "hiss may be heard close to the loudspeaker",
    "direct-voltage": "the output carries direct voltage",
    "direct-voltage-not-metered": "the output may carry direct voltage: meter it first",
    "not-measured": "this output was not measured",
    "output-silent": "this output gave no signal in a take: check its lead, and take it again",
    "stage-fault": "it comes from the faulty output",
    "saturation": "the transformer distorts in the deepest bass at full level",
    "saturation-beyond-full-output": "the transformer distorts in the deepest bass where more than "
    "full output is sent through it",
    "polarity": "the signal comes upside down",
    "long-run": "the lead is long for one without defence against hum",
}
"""Code of a finding, and what it means at home."""

KNOWN_TO_LACK = {
    "load-current",
    "coupling-capacitor",
    "not-measured",
    "output-silent",
    "load-not-shown",
    "direct-voltage-not-metered",
}
"""What says by itself that something is not known."""


def against(code: str, figures: Figures, *, perhaps: bool = False) -> str:
    """Return what a finding of ``code`` means; nothing where it speaks for the connection.

    ``perhaps``: it is told as a doubt, by the worse end of what is known.
    """
    if code == "hum":
        return _hum(figures, perhaps=perhaps)
    if code == "noise" and (heard := figures.noise_heard) is not None:
        return f"hiss {heard.says.removeprefix('it ')}"
    return _lost(code, figures) or AGAINST.get(code, "")


def _lost(code: str, figures: Figures) -> str:
    """Return what is lost, with its figure; nothing for anything else."""
    if code == "level-lost" and (level := figures.level_vs_reference_db) is not None:
        return f"{AGAINST[code]}, {decibels(-level)}"
    if code == "signal-lost" and (worst := figures.connection_loss_anywhere) is not None:
        return f"{AGAINST[code]}, {decibels(worst)} where it is most"
    if code == "bass-loss" and (bass := figures.connection_loss_bass) is not None:
        return f"{AGAINST[code]}, {decibels(bass)} between 20 and 200 Hz"
    if code == "loss":
        bass, treble = figures.connection_loss_at_20_hz, figures.connection_loss_at_20_khz
        if treble is not None and (bass is None or treble.high > bass.high):
            return f"treble would be lost, {decibels(treble)} at 20 kHz"
        if bass is not None:
            return f"bass would be lost, {decibels(bass)} at 20 Hz"
    return ""


HEARD = {"loud": "loud", "quiet-room": "heard in a quiet room",
         "close-by": "heard close by at most", "not": "not heard"}  # fmt: skip


def _hum(figures: Figures, *, perhaps: bool) -> str:
    """Return the hum and what is surely heard of it; as a doubt what may be."""
    hum, heard = figures.hum_below_full_output_db, figures.hum_heard
    if hum is None or heard is None:
        return "hum may be heard"
    buzz, buzzes = figures.buzz_below_full_output_db, figures.buzz_heard
    if heard.worst == "not" and buzz is not None and buzzes is not None:
        return f"hum {decibels(buzz)} below full output with its harmonics, {HEARD[buzzes.worst]}"
    sure = heard.best in ("quiet-room", "loud") and not perhaps
    return f"hum {decibels(hum)} below full output, {HEARD[heard.best if sure else heard.worst]}"


def because(finding: Finding, figures: Figures) -> str:
    """Return the first reason of an option in plain words; where it is doubtful, as a doubt."""
    doubtful = finding.verdict == "cannot-tell"
    if finding.code == "load" and not doubtful:
        return finding.message  # both its figures
    told = against(finding.code, figures, perhaps=doubtful)
    if not doubtful or not told or finding.code in KNOWN_TO_LACK:
        return told
    return f"perhaps {told}: not known before it is measured"
