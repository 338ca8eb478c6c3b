"""Tone files: what is in them, sample for sample, and what they say about themselves."""

from __future__ import annotations

import tomllib
from pathlib import Path

import numpy as np
import pytest
import soundfile

from probe.bench.tones import crest, rules
from probe.bench.tones.files import Layout, quantised, write_tones
from probe.bench.tones.request import Request, make
from probe.bench.tones.sets import DEVICE, INJECTED
from probe.cli.main import main
from probe.session.document import TakeTable


def wave(request: Request) -> np.ndarray:
    made = make(request)
    return made.sound.piece(0, made.sound.frames)


@pytest.mark.parametrize(("tones", "most_db"), [(DEVICE, 11.9), (INJECTED, 11.5)])
@pytest.mark.long
def test_stored_phases_have_the_crest_they_are_kept_for(tones, most_db):
    rate = 192000
    n = np.arange(10 * rate)
    x = sum(
        np.cos(2 * np.pi * f * n / rate + np.radians(p))
        for f, p in zip(tones.hz, tones.phases_deg, strict=True)
    )
    measured = 20 * np.log10(np.max(np.abs(x)) / np.std(x))
    # regression only: random phases of these tones give 12.2 to 12.6 and 11.7 dB
    assert measured < most_db
    # direct summation at 192 kHz, ten samples a cycle of the top tone: what lies between them
    # is higher, by less than 1 - cos(pi/10) = 4.9 % of one tone in a peak of 9.5: 0.045 dB
    found = crest.crest_db(tones.hz, np.radians(tones.phases_deg), 10.0)
    assert measured - 0.002 < found < measured + 0.045
    assert rules.broken(tones.hz, played=tones is DEVICE) == []


def test_crest_of_closed_forms():
    # a sine: peak over rms is the square root of 2
    assert crest.crest_db([100.0], [0.3], 1.0) == pytest.approx(3.0103, abs=1e-3)
    # n cosines in phase meet at their peaks: crest is the square root of 2 n
    assert crest.crest_db([2.0, 3.0, 5.0, 7.0], [0.0] * 4, 1.0) == pytest.approx(
        20 * np.log10(np.sqrt(8.0)), abs=1e-3
    )


def test_low_crest_phases_are_found_for_other_tones():
    hz = np.arange(1.0, 16.0)
    start = np.random.default_rng(3).uniform(0.0, 2 * np.pi, 15)
    found = crest.lowered(hz, start, 1.0)
    # the closed formula of Schroeder (IEEE Trans. Inf. Theory 16, 1970) is a known good start
    # for neighbouring harmonics; numerical searches get below it
    schroeder = -np.pi * hz * (hz - 1) / 15
    assert crest.crest_db(hz, found, 1.0) < crest.crest_db(hz, schroeder, 1.0)


@pytest.mark.parametrize("rate", [44100, 48000, 96000])
@pytest.mark.parametrize("kind", ["multitone", "inject", "tone"])
@pytest.mark.long
def test_a_loop_is_whole_periods_of_the_stated_tones(kind, rate):
    made = make(Request(kind, rate=rate, loop=True))
    x = made.sound.piece(0, made.sound.frames)
    keys = tomllib.loads(made.toml)
    if kind == "inject":
        keys = keys["take"]["inject"][0]
    # whole cycles: all energy of the period's spectrum stands on the tones, nothing between
    spectrum = np.fft.rfft(x) / len(x) * 2
    bins = np.round(np.array(keys["tones_hz"]) * len(x) / rate).astype(int)
    rest = np.delete(spectrum, bins)
    assert np.max(np.abs(rest)) < 1e-11
    # phases as stated: cosine at the first sample, hundredths of a degree
    stated = np.exp(1j * np.radians(keys["phases_deg"]))
    assert np.max(np.abs(np.angle(spectrum[bins] / stated))) < np.radians(0.006)
    assert np.max(np.abs(x)) <= 10 ** (-6 / 20) * 1.0001


def test_a_loop_begins_where_its_start_is_hardly_heard():
    x = wave(Request("multitone", loop=True))
    assert abs(x[0]) < 0.01 * np.std(x)


@pytest.mark.parametrize("kind", ["multitone", "tone", "inject", "level-steps", "sweep", "silence"])
def test_no_click_anywhere(kind):
    """Below 5 Hz and above the top tone nothing is heard, however often the file is repeated."""
    request = Request(kind, seconds=4.0 if kind not in ("level-steps",) else None, step_s=0.5)
    x = wave(request)
    twice = np.concatenate([x, x])
    n = len(twice)
    spectrum = np.abs(np.fft.rfft(twice * np.hanning(n))) / n * 4
    hz = np.arange(len(spectrum)) * 48000 / n
    # a step of the size of the peak would leave about peak/(2 pi f T) there: 1e-6 at 22 kHz; a
    # raised cosine of 20 ms falls with the third power of the distance from the tones
    loudest = np.max(spectrum)
    above = spectrum[hz > 21500.0]
    assert np.max(above) < 2e-5 * loudest
    assert x[0] == pytest.approx(0.0, abs=1e-6)
    assert x[-1] == pytest.approx(0.0, abs=1e-6)


def test_tone_level_is_that_of_each_tone():
    made = make(Request("tone", tone_dbfs=-20.0, hz=(1000.0,), loop=True))
    x = made.sound.piece(0, made.sound.frames)
    # a sine whose peak reaches full scale is 0 dB FS: -20 dB is a peak of 0.1
    assert np.max(np.abs(x)) == pytest.approx(0.1, rel=1e-4)
    assert tomllib.loads(made.toml)["drive_dbfs"] == pytest.approx(-20.0, abs=1e-3)


def test_level_steps_rise_by_what_is_said():
    x = wave(Request("level-steps", step_s=0.5, peak_dbfs=0.0))
    lead, step = 24000, 24000
    # 3 dB steps from -60 to 0 dB FS; read between the fades
    for k in range(21):
        part = x[lead + k * step + step // 2 : lead + k * step + step * 9 // 10]
        found = 20 * np.log10(np.sqrt(2) * np.std(part))
        assert found == pytest.approx(-60 + 3 * k, abs=0.02)


def test_the_sweep_rises_as_an_exponential():
    made = make(Request("sweep", seconds=10.0, sweep_hz=(20.0, 20000.0)))
    x = made.sound.piece(24000, 480000)
    # 20 to 20000 Hz in 10 s: 2000 Hz two thirds of the way
    at = round(480000 * 2 / 3)
    part = x[at - 4800 : at + 4800]
    crossings = np.flatnonzero((part[:-1] < 0) & (part[1:] >= 0))
    assert len(crossings) / 0.2 == pytest.approx(2000.0, rel=0.01)


def test_silence_is_exact_zeros_between_its_markers(tmp_path: Path):
    made = make(Request("silence", seconds=3.0))
    path = tmp_path / "silence.wav"
    write_tones(made, path, Layout("16"))
    x, rate = soundfile.read(path)
    assert np.all(x[round(0.1 * rate) : -round(0.1 * rate)] == 0.0)
    assert 0.005 < np.max(np.abs(x[: round(0.1 * rate)])) < 0.0101
    assert 0.005 < np.max(np.abs(x[-round(0.1 * rate) :])) < 0.0101


def test_dither_keeps_a_tone_below_one_step_and_leaves_no_harmonics():
    n = np.arange(1 << 19)
    amplitude = 0.6 * 2.0**-15
    tone = amplitude * np.cos(2 * np.pi * 4096 * n / len(n))
    samples = quantised(tone, 16, np.random.default_rng(1)) / 2.0**31
    spectrum = np.fft.rfft(samples) / len(n) * 2
    # triangular dither: error power 1/4 step² (1/12 of rounding, 2/12 of dither), white
    noise = 2.0**-15 * np.sqrt(0.25) * np.sqrt(4 / len(n))
    assert abs(spectrum[4096] - amplitude) < 5 * noise
    for order in (2, 3, 4, 5):
        assert abs(spectrum[order * 4096]) < 5 * noise
    undithered = quantised(tone, 16, np.random.default_rng(1), dithered=False) / 2.0**31
    assert abs(np.fft.rfft(undithered)[3 * 4096]) / len(n) * 2 > 20 * noise


@pytest.mark.parametrize("name", ["a.wav", "a.flac"])
@pytest.mark.parametrize("kind", ["multitone", "tone", "sweep", "silence"])
def test_the_command_writes_a_file_and_keys_of_a_take(tmp_path: Path, capsys, kind, name):
    path = tmp_path / name
    assert main(["tones", kind, str(path), "--seconds", "2", "--bits", "16"]) == 0
    assert str(path) in capsys.readouterr().out
    with soundfile.SoundFile(path) as file:
        assert (file.samplerate, file.channels, file.subtype) == (48000, 1, "PCM_16")
    keys = tomllib.loads(path.with_suffix(".toml").read_text("utf-8"))
    take = {"file": "x.wav", "side": "left", "channels": ["hot", "cold"], **keys}
    assert TakeTable.model_validate(take).signal in ("multitone", "tone", "sweep", "idle")
    assert sorted(p.name for p in tmp_path.iterdir()) == sorted(["a.toml", name])


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["tone", "x.mp3"], "must end in"),
        (["tone", "x.flac", "--bits", "float"], "FLAC holds 16 or 24"),
        (["tone", "x.wav", "--peak", "3"], "-140 to 0"),
        (["tone", "x.wav", "--tones", "30000"], "30000 Hz"),
        (["tone", "x.wav", "--tones", "1,x"], "numbers with commas"),
        (["tone", "x.wav", "--tones", "nan"], "finite"),
        (["tone", "x.wav", "--rate", "1"], "rate 1"),
        (["multitone", "x.wav", "--level", "-3"], "is the most"),
        (["multitone", "x.wav", "--tones", "100.01,100.02"], "the same"),
        (["sweep", "x.wav", "--sweep", "2000,20"], "must rise"),
        (["sweep", "x.wav", "--loop"], "cannot be looped"),
        (["silence", "x.wav", "--seconds", "1e9"], "0.1 to"),
        (["tone", "x.wav", "--seconds", "nan"], "0.1 to"),
        (["tone", "no/such/folder/x.wav"], "cannot be written"),
        (["tone", "taken.wav"], "exists already"),
    ],
)
def test_rubbish_is_refused_in_one_line(tmp_path: Path, monkeypatch, capsys, words, said):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "taken.wav").write_text("mine")
    assert main(["tones", *words]) == 2
    out = capsys.readouterr()
    assert out.out == ""
    assert said in out.err
    assert out.err.count("\n") == 1
    assert [p.name for p in tmp_path.iterdir()] == ["taken.wav"]


def test_own_tones_are_judged_by_the_rules(tmp_path: Path, capsys):
    assert main(["tones", "multitone", str(tmp_path / "a.wav"), "--tones", "100,200,1000"]) == 0
    out = capsys.readouterr().out
    assert "multiple of 50 or 60 Hz" in out
    assert "sum, difference or harmonic" in out
    assert "back into step" in out
