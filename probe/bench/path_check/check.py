"""The judgements: each with what was seen and what to do, or that it cannot be told.

Common practice of judging a playback path by a known signal; every limit with its reason in
`probe.bench.path_check.limits`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from probe.bench.path_check import limits
from probe.bench.path_check.follow import Followed, KnownFile, follow
from probe.bench.path_check.remains import Remains, images, remains_of, shaped

Floats = NDArray[np.float64]
Word = Literal["fine", "seen", "cannot-tell"]

CODES = ("speed", "gaps", "levelling", "band", "coding", "conversion", "polarity")


@dataclass(frozen=True)
class PathFinding:
    """One question about the path.

    Attributes
    ----------
    code
        From `CODES`.
    word
        ``fine``: looked for and not there; ``seen``: there; ``cannot-tell``.
    seen
        What was seen.
    do
        What to do about it; empty where nothing is to be done.
    """

    code: str
    word: Word
    seen: str
    do: str = ""


@dataclass(frozen=True)
class PathCheck:
    """What a recording says about the path from the file to the output.

    Attributes
    ----------
    clock_ppm
        Recorder against player; None where the tones were not found.
    inverted
        Whether the output is upside down against the file; None: cannot tell.
    level_db
        Of the median tone followed, peak over full scale.
    """

    findings: tuple[PathFinding, ...]
    clock_ppm: float | None = None
    inverted: bool | None = None
    level_db: float | None = None

    @property
    def seen(self) -> tuple[PathFinding, ...]:
        """What is wrong with the path."""
        return tuple(f for f in self.findings if f.word == "seen")


def check_path(samples: Floats, rate: float, file: KnownFile) -> PathCheck:
    """Compare a recording of a known file with the file.

    Parameters
    ----------
    samples
        One leg, shape (frames,), shares of full scale; the file plays throughout.
    rate
        Frames per second of the recording.
    file
        What was played.
    """
    if samples.size < limits.LEAST_S * rate:
        return _silent(f"the recording is shorter than {limits.LEAST_S:g} s")
    if float(np.max(np.abs(samples))) >= 0.999:
        return _silent("the recording is clipped", "turn the volume down and listen again")
    found = follow(samples, rate, file.hz)
    if np.sum(found.heard) < limits.FOUND_TONES:
        return _wrong_speed(samples, rate, file)
    gaps, holes = _gaps(found)
    steady = _longest(samples, rate, found, holes)
    if steady.size < limits.LEAST_S * rate:
        rest = [_unknown(c, "the tones never run on for long enough") for c in CODES[3:]]
        return PathCheck((_speed(found), gaps, _levelling(found, holes), *rest), _ppm(found))
    left = remains_of(steady, rate, [f * found.ratio for f in file.hz])
    polarity, inverted = _polarity(steady, rate, file, found)
    level = np.median(np.abs(found.looks[found.heard]))
    return PathCheck(
        (
            _speed(found),
            gaps,
            _levelling(found, holes),
            _band(left, rate, file),
            _coding(left),
            _conversion(left, file, found.ratio),
            polarity,
        ),
        _ppm(found),
        inverted,
        20.0 * float(np.log10(level)),
    )


def check_levels(loud: PathCheck, quiet: PathCheck, written_db: float) -> PathFinding:
    """Compare the levels of two files that differ by ``written_db`` (above zero), nothing touched.

    Nothing says a levelling that acts on both alike, or on whole albums only.
    """
    if loud.level_db is None or quiet.level_db is None:
        return _unknown("levelling", "the tones of one of two files were not found")
    apart = loud.level_db - quiet.level_db
    if abs(apart - written_db) > limits.TWO_LEVELS_DB:
        return PathFinding(
            "levelling",
            "seen",
            f"two files written {written_db:.1f} dB apart come out {apart:.2f} dB apart: "
            "levelling, a limiter, or somebody at the volume",
            "switch off volume levelling, loudness and night modes, and leave the volume",
        )
    return PathFinding("levelling", "fine", f"two files come out {apart:.2f} dB apart, as written")


# -- one question each


def _unknown(code: str, why: str, do: str = "") -> PathFinding:
    return PathFinding(code, "cannot-tell", why, do)


def _silent(why: str, do: str = "") -> PathCheck:
    return PathCheck(tuple(_unknown(code, why, do) for code in CODES))


def _ppm(found: Followed) -> float:
    return 1e6 * (1.0 / found.ratio - 1.0)


def _wrong_speed(samples: Floats, rate: float, file: KnownFile) -> PathCheck:
    for speed in limits.SPEEDS:
        found = follow(samples, rate, file.hz, speed)
        if np.sum(found.heard) >= limits.FOUND_TONES:
            told = PathFinding(
                "speed",
                "seen",
                f"all tones are at {found.ratio:.4f} times their frequency: the file is played "
                "at another rate than it was made for",
                "let the device switch to the file's rate, or make files of its own rate",
            )
            return PathCheck((told, *(_unknown(c, "the speed is wrong") for c in CODES[1:])))
    return _silent("the tones of the file are not heard", "play the file, look at volume and leads")


def _speed(found: Followed) -> PathFinding:
    return PathFinding("speed", "fine", f"recorder {_ppm(found):+.1f} ppm against the player")


def _gaps(found: Followed) -> tuple[PathFinding, NDArray[np.bool_]]:
    """Look for holes and for jumps of phase; also return which looks they spoil."""
    level = found.level
    holes = level < limits.GAP
    looks = found.looks[found.heard]
    apart = looks[:, 2:] * np.conj(looks[:, :-2])
    middle = np.median(np.abs(np.angle(apart)), axis=0)
    usual = float(np.median(middle))
    jumps = middle > max(limits.JUMP_RAD, 6.0 * usual)
    spoilt = holes.copy()
    for k in np.flatnonzero(jumps):
        spoilt[k : k + 3] = True
    if usual > limits.JUMP_RAD / 3.0:
        return _unknown("gaps", "the tones are too noisy to follow their phase"), holes
    starts = np.flatnonzero(spoilt & ~np.r_[False, spoilt[:-1]])
    if not starts.size:
        seconds = found.looks.shape[1] * found.hop_s
        return PathFinding(
            "gaps", "fine", f"the tones run on without a jump for {seconds:.0f} s"
        ), (spoilt)
    where = ", ".join(f"{k * found.hop_s:.1f} s" for k in starts[:4])
    return (
        PathFinding(
            "gaps",
            "seen",
            f"the tones break off or jump at {where}: a gap, a repeat, or lost samples",
            "play without gaps and from a local disk; if it comes at the end of the file, "
            "start the file anew before each take",
        ),
        spoilt,
    )


def _longest(samples: Floats, rate: float, found: Followed, spoilt: NDArray[np.bool_]) -> Floats:
    """Return the longest stretch between two gaps."""
    edges = np.flatnonzero(np.diff(np.r_[True, spoilt, True].astype(np.int8)))
    runs = list(zip(edges[::2], edges[1::2], strict=True))
    if not runs:
        return samples[:0]
    first, last = max(runs, key=lambda r: r[1] - r[0])
    hop = found.hop_s * rate
    return samples[round(first * hop) : round((last + 1) * hop)]


def _levelling(found: Followed, spoilt: NDArray[np.bool_]) -> PathFinding:
    db = 20.0 * np.log10(np.maximum(found.level[~spoilt], 1e-6))
    per = max(round(0.5 / found.hop_s), 1)
    count = db.size // per
    if count < 4:
        return _unknown("levelling", "too short between gaps to see the level move")
    means = db[: count * per].reshape(count, per).mean(axis=1)
    noise = float(np.median(np.abs(np.diff(db)))) / np.sqrt(per)
    span = float(np.max(means) - np.min(means))
    if span > max(limits.DRIFT_DB, limits.DRIFT_SIGMAS * noise):
        return PathFinding(
            "levelling",
            "seen",
            f"the level moves by {span:.2f} dB within the recording: levelling, automatic gain, "
            "or somebody at the volume",
            "switch off volume levelling, loudness and night modes, and leave the volume",
        )
    if noise * limits.DRIFT_SIGMAS > 3.0 * limits.DRIFT_DB:
        return _unknown("levelling", "the tones are too noisy to see the level move")
    return PathFinding("levelling", "fine", f"the level stands within {max(span, 0.01):.2f} dB")


def _band(left: Remains, rate: float, file: KnownFile) -> PathFinding:
    if len(left.tones) < len(file.hz) or len(left.tones) < 2 or left.tones[-1] > 0.46 * rate:
        return _unknown("band", "the recorder's own band ends at the top tone; record at 48 kHz")
    top, below = 10.0 * np.log10(np.maximum(left.power[-2:][::-1], 1e-30))
    khz = left.tones[-1] / 1e3
    if top - below < limits.CUT_DB:
        return PathFinding(
            "band",
            "seen",
            f"the tone of {khz:.1f} kHz is {top - below:.0f} dB against the one below it: the band "
            "is cut, as lossy coding or a conversion to a low rate does",
            "play uncompressed files over a path without lossy coding",
        )
    if top - below < limits.DULL_DB:
        return _unknown(
            "band",
            f"the tone of {khz:.1f} kHz is {top - below:.1f} dB against the one below it: a slow "
            "filter of the converter, a load of capacitance, or a cut band",
        )
    return PathFinding("band", "fine", f"the band reaches {khz:.1f} kHz")


def _coding(left: Remains) -> PathFinding:
    found = shaped(left)
    low = [f for f, _, _ in found if f < limits.SHAPED_LOW_HZ]
    if len(found) >= limits.SHAPED_TONES and len(low) >= limits.SHAPED_LOW_TONES:
        worst = 10.0 * np.log10(max(share for _, _, share in found))
        return PathFinding(
            "coding",
            "seen",
            f"noise follows {len(found)} of the tones and leaves holes between them, up to "
            f"{worst:.0f} dB beside a tone: lossy coding",
            "play the WAV or FLAC file itself, over a cable or a lossless stream",
        )
    if found:
        return _unknown("coding", f"noise rises beside {len(found)} of the tones only")
    floor = _floor_db(left)
    if floor > -70.0:
        return _unknown("coding", f"noise {floor:.0f} dB beside the tones would hide it")
    return PathFinding(
        "coding",
        "fine",
        f"no noise follows the tones, above {floor:.0f} dB; coding at a high rate may leave less",
    )


def _floor_db(left: Remains) -> float:
    """Return the noise in a band as wide as what is looked at beside a tone, over a tone, dB."""
    density = float(np.median(left.density[300:12000]))
    return 10.0 * float(np.log10(density * 180.0 / float(np.median(left.power)) + 1e-30))


def _conversion(left: Remains, file: KnownFile, ratio: float) -> PathFinding:
    found = images(left, file.hz, ratio, file.rate)
    if found is None:
        return PathFinding(
            "conversion",
            "fine",
            "no images of a conversion of rates; a good one leaves none that tones can show",
        )
    to_rate, seen, of, loudest = found
    return PathFinding(
        "conversion",
        "seen",
        f"{seen} of {of} images of a conversion from {file.rate} to {to_rate} Hz, up to "
        f"{loudest:.0f} dB",
        f"let the device take {file.rate} Hz as it is, or make files of {to_rate} Hz",
    )


def _polarity(
    samples: Floats, rate: float, file: KnownFile, found: Followed
) -> tuple[PathFinding, bool | None]:
    """Slide the file's phases along its period, upright and upside down; the better match wins."""
    from probe.bench.tones.crest import one_period

    kept = [
        k
        for k, f in enumerate(file.hz)
        if f >= limits.POLARITY_HZ and f * found.ratio < 0.45 * rate
    ]
    hz = [file.hz[k] for k in kept]
    length = min(samples.size, round(4.0 * rate))
    t = (np.arange(length) - 0.5 * length) / rate
    window = np.hanning(length)
    turns = np.outer(np.array(hz) * found.ratio, t)
    volts = np.exp(-2j * np.pi * turns) @ (samples[:length] * window)
    heard = np.abs(volts) > 0.1 * np.median(np.abs(volts))
    kept, hz = [k for k, h in zip(kept, heard, strict=True) if h], list(np.array(hz)[heard])
    volts = volts[heard]
    apart = np.angle(volts) - np.radians([file.phases_deg[k] for k in kept])
    points = 1 << int(np.ceil(np.log2(8.0 * max(hz) * file.period_s)))
    try:
        match = one_period(hz, apart, file.period_s, points) / len(hz)
    except ValueError:
        return _unknown("polarity", "the tones of the file do not fill its period"), None
    up, down = float(np.max(match)), float(-np.min(match))
    better, other = max(up, down), min(up, down)
    if better < limits.POLARITY_MATCH or better < limits.POLARITY_RATIO * other:
        return _unknown("polarity", f"phases match by {better:.2f} upright or not: not told"), None
    word = "upright" if up > down else "upside down"
    return PathFinding("polarity", "fine", f"{word} against the file"), down > up
