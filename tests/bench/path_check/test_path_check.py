"""What a player did to a known file, against players made with scipy's filters and transforms."""

from __future__ import annotations

import numpy as np
import pytest

from probe.bench.path_check.check import PathCheck, check_levels, check_path
from probe.bench.path_check.remains import image_lines
from tests.bench.path_check.players import (
    FILE,
    FILE_44,
    Floats,
    coded,
    good_resampler,
    linear_resampler,
    room,
    tones,
)


def words(found: PathCheck) -> dict[str, str]:
    return {f.code: f.word for f in found.findings}


def heard(wave: Floats, seed: int = 1, **more: float) -> Floats:
    return room(wave, np.random.default_rng(seed), **more)


def clean(seed: int) -> tuple[Floats, float, bool]:
    """A recording of a path that does nothing, its clock, and whether it is upside down."""
    rng = np.random.default_rng([seed, 3])
    ppm, down = float(rng.uniform(-500, 500)), bool(rng.integers(2))
    wave = tones(3.0, ppm=ppm, start_s=float(rng.uniform(0, 10))) * (-1.0 if down else 1.0)
    wave = wave + 10 ** rng.uniform(-5, -2.5) * wave**2 + 10 ** rng.uniform(-5, -2) * wave**3
    wave = room(
        wave, rng, noise_db=float(rng.uniform(-105, -60)), hum_db=float(rng.uniform(-90, -40)),
        pink=float(rng.choice([0.0, 0.0, 0.5, 1.0])),
    )  # fmt: skip
    return wave, ppm, down


@pytest.mark.long
def test_clean_takes_raise_nothing() -> None:
    told = 0
    for seed in range(8):
        wave, ppm, down = clean(seed)
        found = check_path(wave, 48000.0, FILE)
        assert found.seen == (), (seed, found.seen)
        # source: the clock the recording was made with
        assert found.clock_ppm == pytest.approx(ppm, abs=1.0)
        assert found.inverted in (down, None)
        told += found.inverted is not None
    assert told >= 7


@pytest.mark.long
def test_false_alarms_are_rare() -> None:
    """None in 100: below 3 % at 95 % confidence (rule of three); most are told, not abstained."""
    fine = 0
    for seed in range(100, 200):
        found = check_path(clean(seed)[0], 48000.0, FILE)
        assert found.seen == (), (seed, found.seen)
        fine += sum(f.word == "fine" for f in found.findings)
    assert fine > 0.85 * 700


def test_linear_interpolation_between_rates_is_seen() -> None:
    wave = heard(linear_resampler(tones(3.0, 44100.0), 44100, 48000))
    found = check_path(wave, 48000.0, FILE_44)
    assert [f.code for f in found.seen] == ["conversion"]
    # source: the conversion made on the line above
    assert "44100 to 48000 Hz" in found.seen[0].seen


def test_images_fall_where_straight_lines_put_them() -> None:
    # source: numpy's own straight-line interpolation of a tone of 10 kHz, its strongest lines
    wave = linear_resampler(
        np.cos(2 * np.pi * 10000.0 * np.arange(44100 * 2) / 44100), 44100, 48000
    )
    size = np.abs(np.fft.rfft(wave[:48000] * np.hanning(48000)))
    size[9995:10006] = 0.0
    strongest = []
    for _ in range(3):
        k = int(np.argmax(size))
        strongest.append(float(k))
        size[max(k - 5, 0) : k + 6] = 0.0
    assert set(strongest) <= set(image_lines([10000.0], 44100, 48000).tolist())


def test_a_good_conversion_is_no_alarm() -> None:
    wave = heard(good_resampler(tones(3.2, 44100.0), 44100, 48000)[2400:-2400])
    assert check_path(wave, 48000.0, FILE_44).seen == ()


@pytest.mark.parametrize("snr_db", [12.0, 18.0])
def test_lossy_coding_is_seen(snr_db: float) -> None:
    found = check_path(heard(coded(tones(3.0), snr_db=snr_db)), 48000.0, FILE)
    assert [f.code for f in found.seen] == ["coding"]


def test_cut_band_is_seen() -> None:
    found = check_path(heard(coded(tones(3.0), snr_db=30.0, cut_hz=16000.0)), 48000.0, FILE)
    assert words(found)["band"] == "seen"
    assert words(found)["coding"] in ("seen", "cannot-tell")


def test_coding_under_noise_is_not_told() -> None:
    found = check_path(heard(tones(3.0), noise_db=-55.0), 48000.0, FILE)
    assert words(found)["coding"] == "cannot-tell"


@pytest.mark.parametrize("frames", [-400, -3, 3000])
@pytest.mark.long
def test_gaps_and_lost_samples_are_seen_where_they_are(frames: int) -> None:
    wave = tones(6.0)
    cut = 130000
    silent = np.zeros(max(frames, 0))
    wave = np.r_[wave[:cut], silent, wave[cut + max(-frames, 0) :]]
    found = check_path(heard(wave), 48000.0, FILE)
    assert [f.code for f in found.seen] == ["gaps"]
    # source: where the recording was cut, s
    assert f"{cut / 48000.0:.1f} s" in found.seen[0].seen or "2.6 s" in found.seen[0].seen


def test_slow_gain_is_seen_in_one_recording() -> None:
    wave = tones(4.0)
    found = check_path(heard(wave * 10 ** (np.linspace(0.0, 0.5, wave.size) / 20)), 48000.0, FILE)
    assert [f.code for f in found.seen] == ["levelling"]


def test_levelling_between_two_files_is_seen() -> None:
    loud, quiet = (
        check_path(heard(tones(3.0, level_db=db)), 48000.0, FILE) for db in (-15.0, -27.0)
    )
    assert check_levels(loud, quiet, 12.0).word == "fine"
    raised = check_path(heard(tones(3.0, level_db=-22.0)), 48000.0, FILE)
    assert check_levels(loud, raised, 12.0).word == "seen"


def test_wrong_speed_is_seen_and_nothing_else_is_said() -> None:
    """A file of 44.1 kHz played at 48 kHz."""
    found = check_path(heard(tones(3.0, 44100.0)), 48000.0, FILE_44)
    assert words(found).pop("speed") == "seen"
    assert {w for c, w in words(found).items() if c != "speed"} == {"cannot-tell"}
    # source: 48000 / 44100
    assert "1.0884 times" in found.seen[0].seen


@pytest.mark.parametrize("wave", [np.zeros(200000), tones(1.0), np.clip(9 * tones(3.0), -1, 1)])
def test_nothing_is_told_of_nothing(wave: Floats) -> None:
    assert set(words(check_path(wave, 48000.0, FILE)).values()) == {"cannot-tell"}
