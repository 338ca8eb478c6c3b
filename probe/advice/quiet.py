"""Rules about what is heard between the notes, and about what clips: hum, noise, headroom."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from probe.advice import thresholds as limit
from probe.advice.audible import hum_heard, noise_heard, stricter_db
from probe.advice.case import Case, Finding, beyond, compare
from probe.advice.ground import READING_ERROR, GroundPath, second_reading_words
from probe.advice.words import decibels, figure

SMALLER_SETTLES = (
    "the second reading as volts across 1 ohm (beside a larger resistor, or a meter's own in its "
    "milliampere range, the source of earthed boxes is lost)"
)


def _hum(case: Case) -> Iterator[Finding]:
    """Rule 8, hum: mains decides what is avoided; with its harmonics, what to mind."""
    hum, buzz = case.figures.hum_below_full_output_db, case.figures.buzz_below_full_output_db
    if hum is None:
        return
    more = stricter_db(case.socket.speaker_sensitivity_db)
    says = f"hum {decibels(hum)} below full output"
    heard = hum_heard(hum, more)
    settles = case.settles_low
    if not case.socket.ground.source_known:
        how = second_reading_words(case.socket.ground.difference_volts or 0.0)
        settles = f"the second reading of the meter ({how})"
    threshold = -(limit.HUM_AVOID_DB + more)
    if case.socket.ground.source_in_doubt:
        settles = SMALLER_SETTLES
    elif case.socket.ground.source_known and _readings_decide(case, threshold):
        settles = _closer(case.socket.ground)
    found = list(
        compare(
            case, -hum, threshold, "avoid", "hum",
            f"{says}: {heard.says}{_just(case, threshold)}", settles,
        )
    )  # fmt: skip
    yield from found
    if found:
        return
    if heard.worst != "not":
        just = _just(case, threshold)
        yield Finding("works", "hum", f"{says}: {heard.says}{just}", hazard=True)
    elif buzz is not None and (buzzes := hum_heard(buzz, more)).worst != "not":
        faint = "a faint buzz" if buzzes.worst == "close-by" else f"a buzz, {buzzes.says}"
        yield Finding("works", "hum", f"{says} at mains frequency, but {decibels(buzz)} with the "
                      f"harmonics a public supply may carry: {faint}", hazard=True)  # fmt: skip


def _just(case: Case, threshold: float) -> str:
    """Say of a hum that typical figures put on one side of the limit that it just is."""
    hum = case.figures.hum_below_full_output_db
    if hum is None or not case.socket.ground.typical or beyond(-hum, threshold) == "unsure":
        return ""
    if abs(hum.value + threshold) >= limit.TIE_BREAK_DB:
        return ""
    return (
        f"; just so, the limit is {-threshold:g} dB: typical figures of a situation are not sure "
        "to a decibel, two readings of a meter would tell"
    )


def _readings_decide(case: Case, threshold: float) -> bool:
    """Tell whether the error of the readings makes the doubt: at an end of them there is none."""
    ends = [hum for hum in case.hum_by_ground if hum is not None]
    return len(ends) > 1 and any(beyond(-hum, threshold) != "unsure" for hum in ends)


def _closer(ground: GroundPath) -> str:
    """Return how readings that are known more closely are typed."""
    behind = (
        f"{ground.ohm:.3g}ohm" if ground.ohm is not None else f"{(ground.farad or 0) * 1e9:.3g}nF"
    )
    typed = f"{(ground.difference_volts or 0.0) * 1e3:.3g}mV/{behind}"
    return (
        f"readings of the meter known more closely than the {100.0 * READING_ERROR:g} % allowed "
        f"them (typed as the source they give, {typed})"
    )


def _noise(case: Case) -> Iterator[Finding]:
    """Rule 8, noise."""
    noise = case.figures.noise_below_full_output_db
    if noise is None:
        return
    heard = noise_heard(noise, stricter_db(case.socket.speaker_sensitivity_db))
    if heard.worst != "not":
        least = "at least " if noise.bound == "above" else ""
        yield Finding("works", "noise", f"the device's noise is {least}{decibels(noise)} "
                      f"(A-weighted) below full output: {heard.says}", hazard=True)  # fmt: skip


def _clipping(case: Case) -> Iterator[Finding]:
    headroom, clips = case.figures.headroom_db, case.figures.clips_at
    if headroom is None or clips is None or headroom.bound is not None:
        return
    if case.never_turned_up:  # it does not come there: what it plays falls short, and is told
        return
    if headroom.high < -limit.GAIN_REACHED_DB:
        taken = "" if clips.note is None else f" ({clips.note})"
        yield Finding(
            "works",
            "clips-short",
            f"the device clips at {figure(clips)} at this input, {decibels(-headroom)} short of "
            f"its full output{taken}",
            hazard=True,
        )


QUIET_RULES: tuple[Callable[[Case], Iterator[Finding]], ...] = (_hum, _noise, _clipping)
