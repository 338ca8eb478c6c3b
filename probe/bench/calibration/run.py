"""The guided calibration: asks for each wiring, plays, records, judges, and concludes.

It talks to a `Player` (plays and listens) and a `Person` (plugs and reads the meter); both are
small, so that the whole conversation runs in tests without sound or terminal.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Protocol

import numpy as np

import probe
from probe.bench.calibration.figures import BenchFigures, Figure, InputFigures, OutputFigures
from probe.bench.calibration.meter import Accuracy, MeterReading, reading_of
from probe.bench.calibration.readings import Heard, Quiet, Samples, distortion, heard, quiet
from probe.bench.calibration.solve import (
    LEAST_DROP,
    WIRINGS,
    Given,
    KnownResistor,
    Ratios,
    Solved,
    solve,
)
from probe.bench.calibration.steps import Recording, Wiring, wirings
from probe.bench.tones import crest
from probe.bench.tones.sets import DEVICE, PERIOD_S, ToneSet
from probe.bench.tones.waves import Tones
from probe.errors import BadInput, NotUsable
from probe.numbers import write_number

METER_HZ = 225.0
"""Within what cheap true-RMS meters measure (40 to 400 Hz), 15 Hz and more from mains harmonics."""

ONE_HZ = 997.0

SECONDS, QUIET_SECONDS, LISTEN_S = 5.0, 10.0, 1.0

FIRST_PEAK_DB = -40.0
"""Level at which the outputs are first heard: loud enough to be measured, too low to clip."""

TARGET_PEAK_DB = -9.0
"""Peak aimed at on the louder input: 3 dB below where distortion of converters begins to rise,
6 dB more than a judgement of clipping needs."""

MOST_PEAK_DB = -6.0
"""Peak no output exceeds."""

DRIFT_SIGMAS = 4.0
"""The match moved when it differs by more than this many of its standard deviations."""

APART_DB = 40.0
"""By so much the input that should hear stands above the one that should not; inputs that both
should hear stand closer."""

LEAST_OUTPUT, MOST_OUTPUT = 0.5, 25.0
"""Full scale of line outputs, V peak: from a battery's headphone-sized one to +24 dBu with some
to spare (common practice, no source). A slip of the decimal point mostly leaves it."""

NO_READING = (
    "No reading was typed: then no volts are known after all, only ratios and impedances. Type "
    "what the meter shows; Enter once more where there is no meter."
)

SINGLE = {"first": (1, 1), "second": (2, 2), "crossed-first": (1, 2)}
"""Recordings in which one output plays, and the input that should hear it."""

TRIES = 5
"""So often a recording is made again before the run ends: somebody has to look for the cause."""


class Player(Protocol):
    """Plays sums of tones without end and listens meanwhile."""

    @property
    def rate(self) -> int:
        """Sampling rate, Hz."""

    def play(self, sounds: Sequence[Tones | None]) -> None:
        """Play these on the outputs in order, one loop each, from now on; None: nothing."""

    def listen(self, seconds: float) -> Samples:
        """Return what the inputs hear from now on, frames x inputs.

        Raises
        ------
        NotUsable
            Samples were lost, or an input was overloaded.
        """

    def silence(self) -> None:
        """Fade out."""


class Person(Protocol):
    """Somebody at the bench."""

    def plug(self, wiring: Wiring, number: int, count: int) -> None:
        """Show a wiring with its caution and wait until it is plugged."""

    def read_meter(self, problem: str) -> str | None:
        """Ask for the display; ``problem`` says what was wrong before. None: no meter after all."""

    def again(self, problem: str) -> bool:
        """Say what was wrong with a recording; return whether to try again."""

    def say(self, text: str) -> None:
        """Tell something."""


@dataclass(frozen=True)
class Wanted:
    """What a calibration is made for and with."""

    interface: str
    series: KnownResistor
    shunt: KnownResistor
    accuracy: Accuracy | None = None
    """Of the meter; None: there is none."""
    gain: str = ""
    leads: str = ""
    mains_hz: float = 50.0
    data_sheet_volts: tuple[float, float] | None = None
    repeat_db: float | None = None
    mains_volts: float | None = None


@dataclass
class _Desk:
    """What was heard so far."""

    player: Player
    person: Person
    wanted: Wanted
    tones: ToneSet
    peak: float = 10.0 ** (FIRST_PEAK_DB / 20.0)
    """Of what an output plays, whatever it plays."""
    heard: dict[str, Heard] = field(default_factory=dict)
    floor: Quiet | None = None
    thd: tuple[Figure, ...] = ()
    meter: MeterReading | None = None

    @property
    def amplitude(self) -> float:
        """Peak of each of the tones."""
        return self.peak / self.top

    @functools.cached_property
    def top(self) -> float:
        """Peak of the sum of all tones of amplitude 1."""
        return crest.peak(self.tones.hz, np.radians(self.tones.phases_deg), PERIOD_S)


def calibrate(player: Player, person: Person, wanted: Wanted, today: date) -> BenchFigures:
    """Run through all wirings and return the figures.

    Raises
    ------
    NotUsable
        A recording failed and was not to be made again, or the recordings contradict each other.
    """
    desk = _Desk(player, person, wanted, DEVICE.below(0.45 * player.rate).with_low_crest(PERIOD_S))
    steps = wirings(wanted.series.ohm, wanted.shunt.ohm, meter=wanted.accuracy is not None)
    for number, wiring in enumerate(steps, 1):
        person.plug(wiring, number, len(steps))
        if wiring.word == "straight":
            _until_it_works(desk, functools.partial(_set_level, desk))
        for recording in wiring.recordings:
            _until_it_works(desk, functools.partial(_record, desk, recording))
    return _conclude(desk, today)


def _until_it_works(desk: _Desk, attempt: Callable[[], None]) -> None:
    for number in range(TRIES):
        try:
            attempt()
        except NotUsable as problem:
            desk.player.silence()
            if number == TRIES - 1 or not desk.person.again(str(problem)):
                raise
        else:
            return


def _set_level(desk: _Desk) -> None:
    """Find the peak at which the louder input stands at the target."""
    desk.peak = 10.0 ** (FIRST_PEAK_DB / 20.0)
    for _ in range(2):
        desk.player.play(_sounds(desk, "both"))
        samples = desk.player.listen(LISTEN_S)
        read = heard(
            samples, desk.player.rate, desk.tones.hz, desk.wanted.mains_hz, "setting level"
        )
        loudest = float(np.max(np.abs(samples)))
        rise = min(10.0 ** (TARGET_PEAK_DB / 20.0) / loudest, 30.0)
        desk.peak = min(desk.peak * rise, 10.0 ** (MOST_PEAK_DB / 20.0))
    desk.player.silence()
    gain = np.abs(read.peaks[read.near(1000.0)]) / desk.amplitude * rise
    if np.max(gain) / np.min(gain) > 4.0:
        desk.person.say("The two inputs differ by more than 12 dB: is a gain knob turned?")


def _sounds(desk: _Desk, signal: str) -> list[Tones | None]:
    frames = round(PERIOD_S * desk.player.rate)
    phases = tuple(np.radians(desk.tones.phases_deg).tolist())
    count = len(desk.tones.hz)
    all_tones = Tones(desk.player.rate, frames, desk.tones.hz, phases, (desk.amplitude,) * count)
    if signal == "nothing":
        return [None, None]
    if signal == "first":
        return [all_tones, None]
    if signal == "second":
        return [None, all_tones]
    if signal == "both":
        return [all_tones, all_tones]
    hz = METER_HZ if signal == "meter tone" else ONE_HZ
    single = Tones(desk.player.rate, frames, (hz,), (-0.5 * np.pi,), (desk.peak,))
    return [single, single]


def _record(desk: _Desk, recording: Recording) -> None:
    rate, mains = desk.player.rate, desk.wanted.mains_hz
    word, signal = recording.word, recording.signal
    if signal == "nothing":
        desk.player.silence()
        desk.floor = quiet(desk.player.listen(QUIET_SECONDS), rate, mains)
        return
    desk.player.play(_sounds(desk, signal))
    samples = desk.player.listen(SECONDS)
    if signal == "meter tone":
        desk.meter = _read_meter(desk)
        desk.heard[word] = heard(samples, rate, (METER_HZ,), mains, word)
    elif signal == "one tone":
        found = distortion(samples, rate, ONE_HZ, mains, word)
        desk.thd = tuple(
            Figure(100.0 * float(t), 100.0 * float(u), "loop-back")
            for t, u in zip(found.thd, found.u95, strict=True)
        )
    else:
        silent = () if signal == "both" else (0, 1)
        tones = heard(samples, rate, desk.tones.hz, mains, word, silent=silent)
        _judge(word, tones, desk.heard.get("straight"))
        desk.heard[word] = tones
    desk.player.silence()


def _judge(word: str, found: Heard, straight: Heard | None) -> None:
    """Refuse at once what was plugged otherwise than asked for."""
    level = np.median(np.abs(found.peaks), axis=0)
    ahead = float(20.0 * np.log10(level[0] / level[1]))
    if word in SINGLE:
        output, inlet = SINGLE[word]
        if (ahead if inlet == 1 else -ahead) < APART_DB:
            raise NotUsable(
                f"{word}: output {output} alone is not heard at input {inlet} alone: leads are "
                "not plugged as shown"
            )
        return
    if abs(ahead) > APART_DB:
        raise NotUsable(
            f"{word}: input {1 if ahead < 0 else 2} hears next to nothing: a plug is not in"
        )
    if word.startswith("series") and straight is not None:
        before = np.median(np.abs(straight.peaks), axis=0)
        fall = (level / before)[int(word[-1]) - 1]
        if fall > 1.0 - LEAST_DROP:
            raise NotUsable(
                f"{word}: the series resistor made no difference at input {word[-1]}: it is not "
                "in the path, or before the other input"
            )


def _read_meter(desk: _Desk) -> MeterReading | None:
    """Ask until the display was typed as a number, or somebody says that there is no meter.

    No reading, and one that no line output makes likely, are taken when they come twice.
    """
    assert desk.wanted.accuracy is not None
    problem, before = "", ""
    while True:
        said = desk.person.read_meter(problem)
        if said is None:
            if problem == NO_READING:
                return None
            problem, before = NO_READING, ""
            continue
        try:
            reading = reading_of(said, desk.wanted.accuracy)
        except BadInput as error:
            problem, before = str(error), ""
            continue
        full = reading.volts * math.sqrt(2.0) / desk.peak
        if LEAST_OUTPUT <= full <= MOST_OUTPUT or said == before:
            return reading
        before = said
        problem = (
            f"{said}: full scale of output 1 would be {write_number(full, 'V')} peak, and line "
            f"outputs give {LEAST_OUTPUT:g} to {MOST_OUTPUT:g} V. A decimal point, another unit, "
            "a volume knob? Type what is displayed; the same once more where it is right."
        )


def _conclude(desk: _Desk, today: date) -> BenchFigures:
    straight = desk.heard["straight"]
    pairs = {w: desk.heard[w].ratio() for w in WIRINGS}
    at = straight.near(1000.0)
    drift_db, repeat_db = _drift(desk, at)
    metered, flatness = None, 0.0
    if desk.meter is not None:
        metered = float(np.abs(desk.heard["meter"].peaks[0, 0]))
        low = float(np.abs(straight.peaks[straight.near(METER_HZ), 0]))
        flatness = abs(low / float(np.abs(straight.peaks[at, 0])) - 1.0)
    one, two = (float(p) for p in np.abs(straight.peaks[at]))
    ratios = Ratios(
        hz=straight.hz,
        wirings={w: p[0] for w, p in pairs.items()},
        noise={w: p[1] for w, p in pairs.items()},
        level=(one, two),
        played=desk.amplitude,
        metered=metered,
        flatness=flatness,
    )
    wanted = desk.wanted
    given = Given(
        wanted.series, wanted.shunt, desk.meter, wanted.data_sheet_volts, repeat_db=repeat_db
    )
    return _figures(desk, solve(ratios, given), straight, drift_db, today)


def _drift(desk: _Desk, at: int) -> tuple[float, float]:
    """Return how far the match moved, dB, and what levels repeat to, dB."""
    stated = Given(desk.wanted.series, desk.wanted.shunt).repeat_db
    repeat = stated if desk.wanted.repeat_db is None else desk.wanted.repeat_db
    before, _ = desk.heard["straight"].ratio()
    after, _ = desk.heard["straight-again"].ratio()
    moved = float(20.0 * np.log10(np.abs(after[at] / before[at])))
    if abs(moved) > DRIFT_SIGMAS * 2.0 * repeat:
        desk.person.say(
            f"The inputs moved by {moved:+.3f} dB against each other from beginning to end: a "
            "dirty plug, a knob, or an interface still warming up. All doubts are widened by it."
        )
        repeat = abs(moved) / 2.0
    return moved, repeat


def _figures(
    desk: _Desk, solved: Solved, straight: Heard, drift_db: float, today: date
) -> BenchFigures:
    wanted = desk.wanted
    crosstalk, worst = _crosstalk(desk)
    return BenchFigures(
        interface=wanted.interface,
        gain=wanted.gain,
        leads=wanted.leads,
        mains_hz=wanted.mains_hz,
        mains_volts=wanted.mains_volts,
        sample_rate=desk.player.rate,
        made_on=today,
        made_by=f"probe {probe.__version__}",
        inputs=tuple(_input(desk.floor, solved, k) for k in (0, 1)),
        outputs=tuple(OutputFigures(solved.output_volts[k], solved.output_ohm[k]) for k in (0, 1)),
        loop_gain=solved.loop_gain,
        match=solved.match,
        common_u95_relative=solved.common_u95_relative,
        thd_percent=desk.thd,
        crosstalk_db=crosstalk,
        worst_crosstalk_db=worst,
        clock_ppm=Figure(straight.clock_ppm, 2.0 * straight.clock_u_ppm, "loop-back"),
        drift_db=drift_db,
    )


def _input(floor: Quiet | None, solved: Solved, k: int) -> InputFigures:
    volts = solved.input_volts[k]
    figures = InputFigures(volts, solved.input_ohm[k], solved.input_farad[k])
    if floor is None:
        return figures
    scale = volts.u95 / volts.value
    noise, hum = float(floor.noise[k]) * volts.value, float(floor.hum[k]) * volts.value
    return replace(
        figures,
        noise_volts=Figure(noise, noise * float(np.hypot(scale, 2 * floor.noise_sd)), "terminated"),
        hum_volts=Figure(
            hum, hum * float(np.hypot(scale, 2 * min(floor.hum_sd[k], 0.5))), "terminated"
        ),
    )


def _crosstalk(desk: _Desk) -> tuple[tuple[Figure, ...], float]:
    """Return what of input 1 is heard on 2 and the reverse, dB at 1 kHz, and the worst of all."""
    found, worst = [], -np.inf
    for word, loud, faint in (("first", 0, 1), ("second", 1, 0)):
        read = desk.heard[word]
        at = read.near(1000.0)
        ratio = np.abs(read.peaks[:, faint]) / np.abs(read.peaks[:, loud])
        least = 2.0 * read.sd[:, faint] / np.abs(read.peaks[:, loud])
        db = 20.0 * np.log10(np.maximum(ratio, least))
        u95 = 20.0 * np.log10(1.0 + least / np.maximum(ratio, least))
        found.append(Figure(float(db[at]), float(u95[at]), "loop-back"))
        worst = max(worst, float(np.max(db)))
    return tuple(found), worst
