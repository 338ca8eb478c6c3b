"""The check before a session: one take with the reference resistor in place of the device.

Output k through the injector R into the reference Z at input k reads, per full scale played,

    loop gain  *  X / (R + Zs + X) ,   1/X = 1/Z + 1/Zi

with the loop gain, Zs and Zi of the calibration: no volts are needed, so it is as sharp as the
resistors are, a hundredth of a decibel. Each output plays its own tones, so that an exchanged lead
shows by which tones are heard.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from probe.bench.calibration.figures import BenchFigures
from probe.bench.calibration.readings import Heard, Silent, heard
from probe.bench.calibration.run import Person, Player
from probe.bench.calibration.solve import KnownResistor
from probe.bench.calibration.steps import check_wiring
from probe.bench.tones import crest
from probe.bench.tones.sets import DEVICE, INJECTED, PERIOD_S, ToneSet
from probe.bench.tones.waves import Tones
from probe.errors import BadInput, NotUsable

SECONDS = 4.0

PEAK_DB = -12.0
"""Of each output; the reference lowers it by 40 dB."""

MOST_INJECTED_PEAK = 1.4
"""V peak: what is ever injected; the same limit here, so that a device left plugged is safe."""

LEAST_LIMIT_DB = 0.03
"""Deviations below are what plugs and warmth do; a tenth of what matters to any figure."""

CONTACT_MOST_DB = 1.0
"""A dirty contact rarely adds more than 12 ohm to 100; above this it is a knob or a resistor."""

MISSING_DB = 20.0
"""Without the reference the level is some 36 dB higher; without the injector 40 dB."""

SAME_DB = 0.03
"""Two deviations closer than this have one cause."""


@dataclass(frozen=True)
class Checked:
    """One input: deviation from what the calibration predicts, dB, its limit, and the high tones.

    ``tilt_db``: deviation of the highest tone against that at 1 kHz.
    """

    input: int
    deviation_db: float
    limit_db: float
    tilt_db: float


@dataclass(frozen=True)
class CheckResult:
    """What was found; ``findings`` is empty where all is as it was calibrated."""

    rows: tuple[Checked, ...]
    findings: tuple[str, ...]

    @property
    def fine(self) -> bool:
        """Whether a session may begin."""
        return not self.findings


@dataclass(frozen=True)
class CheckParts:
    """The resistors of the check; ``both``: there are two injectors."""

    injector: KnownResistor
    reference: KnownResistor
    both: bool = False


def check(player: Player, person: Person, bench: BenchFigures, parts: CheckParts) -> CheckResult:
    """Ask for the reference, record one take and judge it.

    Raises
    ------
    BadInput
        The calibration lacks what is needed.
    NotUsable
        Nothing steady was recorded.
    """
    if not bench.loop_gain or len(bench.outputs) < len(bench.loop_gain):
        raise BadInput("check: this bench.toml has no loop_gain; run probe calibrate once")
    person.plug(check_wiring(parts.injector.ohm, parts.reference.ohm, both=parts.both), 1, 1)
    sets = tuple(s.below(0.45 * player.rate).with_low_crest(PERIOD_S) for s in (DEVICE, INJECTED))
    count = min(2, len(bench.loop_gain)) if parts.both else 1
    amplitudes = [_amplitude(bench, k, sets[k]) for k in range(count)]
    player.play([_sound(player, sets[k], amplitudes[k]) for k in range(count)])
    try:
        samples = player.listen(SECONDS)
    finally:
        player.silence()
    hz = tuple(sorted(f for s in sets[:count] for f in s.hz))
    try:
        read = heard(samples, player.rate, hz, bench.mains_hz, "check", silent=(0, 1))
    except Silent:
        return CheckResult((), tuple(_not_heard(k) for k in range(count)))
    wrong = _leads(read, sets[:count])
    if wrong:
        return CheckResult((), tuple(wrong))
    rows = tuple(_row(read, k, sets[k], amplitudes[k], bench, parts) for k in range(count))
    return CheckResult(rows, tuple(_findings(rows)))


def _amplitude(bench: BenchFigures, k: int, tones: ToneSet) -> float:
    """Return the peak of each tone: as loud as wanted, never above what is ever injected."""
    peak = 10.0 ** (PEAK_DB / 20.0)
    peak = min(peak, MOST_INJECTED_PEAK / bench.outputs[k].volts_full_scale.value)
    return float(peak / crest.peak(tones.hz, np.radians(tones.phases_deg), PERIOD_S))


def _sound(player: Player, tones: ToneSet, amplitude: float) -> Tones:
    return Tones(
        player.rate,
        round(PERIOD_S * player.rate),
        tones.hz,
        tuple(np.radians(tones.phases_deg).tolist()),
        (amplitude,) * len(tones.hz),
    )


def _leads(read: Heard, sets: tuple[ToneSet, ...]) -> list[str]:
    """Return what is said by which tones are heard where."""
    level = np.abs(read.peaks)
    own = [[float(np.median(level[_of(read, s), k])) for k in (0, 1)] for s in sets]
    noise = [float(np.median(read.sd[:, k])) for k in (0, 1)]
    found = []
    for k in range(len(sets)):
        if own[k][k] > 30.0 * noise[k] and own[k][k] >= 0.1 * own[k][1 - k]:
            continue
        if own[k][1 - k] > 30.0 * noise[1 - k]:
            found.append(
                f"output {k + 1} is heard at input {2 - k}, not at input {k + 1}: leads are "
                "exchanged"
            )
        else:
            found.append(_not_heard(k))
    return found


def _not_heard(k: int) -> str:
    return f"output {k + 1} is not heard: its injector is not plugged, or it is turned down"


def _of(read: Heard, tones: ToneSet) -> list[int]:
    return [read.near(f) for f in tones.hz]


def _row(
    read: Heard, k: int, tones: ToneSet, amplitude: float, bench: BenchFigures, parts: CheckParts
) -> Checked:
    hz = np.array(tones.hz)
    figures = bench.inputs[k]
    own = 1.0 / figures.impedance_ohm.value + 2j * np.pi * hz * figures.capacitance_farad.value
    across = 1.0 / (own + 1.0 / parts.reference.ohm)
    source = parts.injector.ohm + bench.outputs[k].impedance_ohm.value
    expected = bench.loop_gain[k].value * np.abs(across / (source + across)) * amplitude
    off = 20.0 * np.log10(np.abs(read.peaks[_of(read, tones), k]) / expected)
    at, top = int(np.argmin(np.abs(hz - 1000.0))), len(hz) - 1
    relative = np.hypot.reduce(
        [
            parts.injector.u95_relative,
            parts.reference.u95_relative,
            bench.loop_gain[k].u95 / bench.loop_gain[k].value,
        ]
    )
    middle = (hz > 200.0) & (hz < 6000.0)
    deviation = float(np.median(off[middle])) if middle.any() else float(off[at])
    limit = LEAST_LIMIT_DB + 20.0 * float(np.log10(1.0 + relative))
    return Checked(k + 1, deviation, limit, float(off[top] - off[at]))


def _findings(rows: tuple[Checked, ...]) -> list[str]:
    moved = [row for row in rows if abs(row.deviation_db) > row.limit_db]
    found = []
    together = len(rows) > 1 and len(moved) == len(rows)
    if together and abs(rows[0].deviation_db - rows[1].deviation_db) < SAME_DB:
        found.append(
            f"both inputs read {rows[0].deviation_db:+.2f} dB: the outputs' level or both gains "
            "were moved, or the reference's ground contact is dirty; mend it, or calibrate again"
        )
    else:
        found += [_cause(row) for row in moved]
    for row in rows:
        if abs(row.tilt_db) > row.limit_db:
            found.append(
                f"input {row.input} differs by {row.tilt_db:+.2f} dB more at the highest tone: "
                "another lead than the one calibrated, or a longer one"
            )
    return found


def _cause(row: Checked) -> str:
    db = row.deviation_db
    head = f"input {row.input} reads {db:+.2f} dB"
    if db > MISSING_DB:
        return f"{head}: the reference resistor is not plugged"
    if db < -MISSING_DB:
        return f"{head}: the injector or the lead is not plugged, or the gain is far down"
    if 0.0 < db <= CONTACT_MOST_DB:
        ohm = 100.0 * (10.0 ** (db / 20.0) - 1.0)
        return (
            f"{head}: its gain was moved, or a contact of the reference is dirty (as if by "
            f"{ohm:.1f} ohm in 100); clean it, and check again"
        )
    return f"{head}: its gain knob or a pad was moved; set it back, or calibrate again"


def rejected(result: CheckResult) -> NotUsable:
    """Return the failed check as an exception, for runs that must not go on."""
    return NotUsable("check: " + "; ".join(result.findings))
