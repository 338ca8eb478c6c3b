"""Samples block by block: the same as libsndfile's, whatever the file, in flat memory."""

from __future__ import annotations

import dataclasses
import struct
import tracemalloc
from pathlib import Path
from typing import Literal

import numpy as np
import pytest
import soundfile

from probe.errors import BadInput
from probe.session.audio import blocks
from probe.session.header import read_header
from probe.session.model import RecorderInput, Take

from .conftest import RATE, samples

INPUT = RecorderInput(8.7, 0.01, 2e4, 0.02, 150e-12, 50e-12)


def take_of(path: Path) -> Take:
    """A take that says of the file what its header says."""
    audio = read_header(path)
    return Take(
        name="left open",
        file=path.name,
        path=path,
        side="left",
        channels=("unused",) * audio.channels,
        inputs=(INPUT,) * audio.channels,
        signal="idle",
        tones_hz=(),
        phases_rad=None,
        drive_volts=None,
        drive_dbfs=None,
        volume="",
        state="play",
        driven_input_leg="both",
        timebase=None,
        start_frame=0,
        loads=(),
        injections=(),
        sample_rate=audio.sample_rate,
        frames=audio.frames,
    )


KINDS = [
    ("WAV", "PCM_U8", None),
    ("WAV", "PCM_16", "int16"),
    ("WAV", "PCM_24", "int24"),
    ("WAV", "PCM_32", "int32"),
    ("WAV", "FLOAT", "float32"),
    ("WAV", "DOUBLE", "float64"),
    ("WAVEX", "PCM_16", "int16"),
    ("WAVEX", "PCM_24", "int24"),
    ("WAVEX", "PCM_32", "int32"),
    ("WAVEX", "FLOAT", "float32"),
    ("RF64", "PCM_24", "int24"),
    ("RF64", "FLOAT", "float32"),
    ("FLAC", "PCM_16", None),
    ("FLAC", "PCM_24", None),
    ("AIFF", "PCM_24", None),
    ("W64", "PCM_32", None),
    ("CAF", "FLOAT", None),
]


@pytest.mark.parametrize("dtype", ["float32", "float64"])
@pytest.mark.parametrize("channels", [1, 2, 3])
@pytest.mark.parametrize(("kind", "subtype", "layout"), KINDS)
def test_samples_are_those_of_libsndfile(
    tmp_path: Path,
    kind: str,
    subtype: str,
    layout: str | None,
    channels: int,
    dtype: Literal["float32", "float64"],
) -> None:
    path = tmp_path / "take.audio"
    written = samples(channels, 5001) * 9.999
    written[7:9] = -1.0
    written[9:11] = 1.0
    soundfile.write(path, written, RATE, format=kind, subtype=subtype)
    audio = read_header(path)
    assert (audio.plain.layout if audio.plain else None) == layout
    pieces = list(blocks(take_of(path), 1000, dtype=dtype))
    # 5001 frames in blocks of 1000: five full ones and one frame.
    assert [len(p) for p in pieces] == [1000] * 5 + [1]
    assert all(p.dtype == dtype and p.flags.c_contiguous for p in pieces)
    # General reference library: libsndfile, every bit.
    expected = soundfile.read(path, dtype=dtype, always_2d=True)[0]
    np.testing.assert_array_equal(np.concatenate(pieces), expected)


def test_every_24_bit_value_at_its_edges(tmp_path: Path) -> None:
    edges = [0, 1, -1, 127, 128, -128, -129, 32767, 32768, -32768, 2**23 - 1, -(2**23)]
    values = np.resize(np.array(edges, dtype=np.int32), (4096, 1))
    path = tmp_path / "edges.wav"
    soundfile.write(path, values << 8, RATE, subtype="PCM_24")
    got = np.concatenate(list(blocks(take_of(path), 999, dtype="float64")))
    # Closed form: a 24-bit two's complement integer over 2**23.
    np.testing.assert_array_equal(got, values / 2**23)


def with_chunks(raw: bytes, before: bytes, after: bytes) -> bytes:
    at = raw.index(b"data")
    return raw[:at] + before + raw[at:] + after


def test_chunks_around_the_samples_are_passed_over(tmp_path: Path) -> None:
    path = tmp_path / "chunks.wav"
    soundfile.write(path, samples(2, 4001), RATE, subtype="PCM_24")
    expected = soundfile.read(path, dtype="float32")[0]
    odd = b"LIST" + struct.pack("<I", 5) + b"hello\0"
    tail = b"note" + struct.pack("<I", 4) + b"data"
    path.write_bytes(with_chunks(path.read_bytes(), odd + odd, tail))
    # Regression only: the samples must be those written before the chunks were added.
    np.testing.assert_array_equal(np.concatenate(list(blocks(take_of(path), 4001))), expected)


def test_big_endian_wav_is_left_to_libsndfile(tmp_path: Path) -> None:
    path = tmp_path / "rifx.wav"
    soundfile.write(path, samples(), RATE, subtype="PCM_24", endian="BIG")
    # RIFF specification: a big-endian file begins with RIFX.
    assert path.read_bytes()[:4] == b"RIFX"
    assert read_header(path).plain is None
    got = np.concatenate(list(blocks(take_of(path), 777)))
    # General reference library: libsndfile.
    np.testing.assert_array_equal(got, soundfile.read(path, dtype="float32")[0])


def test_blocks_are_not_overwritten_by_later_ones(tmp_path: Path) -> None:
    for subtype in ("PCM_16", "PCM_24", "FLOAT"):
        path = tmp_path / "a.wav"
        soundfile.write(path, samples(), RATE, subtype=subtype)
        kept = list(blocks(take_of(path), 100))
        # Regression only: noise, so no two blocks are alike.
        assert not np.array_equal(kept[0], kept[1])


@pytest.mark.parametrize("subtype", ["FLOAT", "DOUBLE"])
@pytest.mark.parametrize("dtype", ["float32", "float64"])
@pytest.mark.parametrize(
    ("value", "said"),
    [
        (np.nan, "is not a finite number"),
        (np.inf, "is not a finite number"),
        (-np.inf, "is not a finite number"),
        (-2e6, "reads -2e+06"),
    ],
)
@pytest.mark.parametrize("kind", ["WAV", "CAF"])
def test_float_values_that_no_converter_gives(
    tmp_path: Path,
    kind: str,
    subtype: str,
    dtype: Literal["float32", "float64"],
    value: float,
    said: str,
) -> None:
    path = tmp_path / "bad.wav"
    data = samples(2, 4000)
    data[2345, 1] = value
    soundfile.write(path, data, RATE, format=kind, subtype=subtype)
    with pytest.raises(BadInput) as caught:
        list(blocks(take_of(path), 1000, dtype=dtype))
    # The place is that written above; channels are counted from 1.
    assert f'take "left open", file "bad.wav": the sample at frame 2345 of channel 2 {said}' in str(
        caught.value
    )


def test_a_double_too_large_for_a_float(tmp_path: Path) -> None:
    path = tmp_path / "bad.wav"
    data = samples(1, 4000)
    data[5] = 1e300
    soundfile.write(path, data, RATE, subtype="DOUBLE")
    with pytest.raises(BadInput, match="frame 5 of channel 1 is not a finite number"):
        list(blocks(take_of(path), 1000))


def test_float_values_above_full_scale_are_kept(tmp_path: Path) -> None:
    path = tmp_path / "hot.wav"
    soundfile.write(path, samples(2, 4000) * 50, RATE, subtype="FLOAT")
    # Regression only: the largest value written, in single precision.
    expected = np.abs(samples(2, 4000) * 50).max().astype(np.float32)
    assert max(np.abs(b).max() for b in blocks(take_of(path), 1000)) == expected


def test_a_file_that_changed_meanwhile(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    soundfile.write(path, samples(), RATE, subtype="PCM_24")
    take = take_of(path)
    with pytest.raises(BadInput, match="was changed while it was being read"):
        list(blocks(dataclasses.replace(take, frames=take.frames - 1), 1000))
    running = blocks(take, 1000)
    next(running)
    with path.open("r+b") as file:
        file.truncate(12000)
    with pytest.raises(BadInput, match="samples end after"):
        list(running)
    path.unlink()
    with pytest.raises(BadInput, match=r'file "a\.wav": cannot be read'):
        list(blocks(take, 1000))


@pytest.mark.parametrize("kind", ["FLAC", "AIFF"])
def test_a_compressed_file_damaged_in_the_middle(tmp_path: Path, kind: str) -> None:
    path = tmp_path / "a.flac"
    soundfile.write(path, samples(2, 100_000), RATE, format=kind, subtype="PCM_16")
    raw = bytearray(path.read_bytes())
    middle = len(raw) // 2
    raw[middle : middle + 4000] = bytes(4000)
    path.write_bytes(raw)
    if kind == "AIFF":
        # Zeros are silence there: nothing that could be told from a recording.
        assert sum(len(b) for b in blocks(take_of(path), 1000)) == 100_000
        return
    with pytest.raises(BadInput):
        list(blocks(take_of(path), 1000))


def test_no_block_size_below_one(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    soundfile.write(path, samples(), RATE)
    with pytest.raises(ValueError, match="at least 1"):
        next(blocks(take_of(path), 0))


@pytest.mark.parametrize("subtype", ["PCM_24", "FLOAT"])
def test_memory_does_not_grow_with_length(tmp_path: Path, subtype: str) -> None:
    peaks = []
    for seconds in (2, 20):
        path = tmp_path / "long.wav"
        soundfile.write(path, samples(2, RATE * seconds), RATE, subtype=subtype)
        take = take_of(path)
        tracemalloc.start()
        for _ in blocks(take, 16384):
            pass
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    # Flat memory: ten times the length may cost no more, but for noise in the allocator.
    assert peaks[1] < 1.1 * peaks[0] + 100_000
