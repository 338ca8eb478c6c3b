"""Whatever a stage file says: status 0 or 2, at most one line of complaint, nothing left over."""

import contextlib
import io
import tempfile
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from probe.cli.main import main
from probe.simulate import library

KEYS = [
    "circuit",
    "seed",
    "sides",
    "phase",
    "takes",
    "sample_rate",
    "seconds",
    "silence_before_s",
    "silence_spread_s",
    "fade_s",
    "container",
    "sample",
    "volume",
    "parts.R_HOT",
    "parts.A_CORE.output_ohm",
    "parts.R_COLD.open",
    "parts.C_LEGS.farad",
    "side.right.circuit",
    "tolerances.seed",
    "tolerances.resistor",
    "volumes.loud",
    "drive.tones_hz",
    "drive.phases_deg",
    "drive.volts",
    "drive.file_volts_full_scale",
    "injector.tones_hz",
    "injector.volts",
    "injector.through_ohm",
    "loads.leg_ohm",
    "bench.mains_hz",
    "bench.repeatability_db",
    "bench.input",
    "truth.clock_ppm",
    "truth.drift_db",
    "truth.crosstalk_db",
    "truth.input",
    "truth.parts_percent",
    "netlist.terminals.hot",
    "netlist.parts.R.ohm",
    "take",
]
NUMBERS = st.one_of(
    st.sampled_from(["0", "1", "-1", "48000", "0.5", "1e-300", "1e300", "nan", "inf", "-0.0"]),
    st.floats(-1e9, 1e9).map(repr),
    st.integers(-(10**20), 10**20).map(str),
)
WORDS = st.sampled_from(
    [
        "open",
        "full",
        "left",
        "right",
        "cross-coupled",
        "none",
        "flac",
        "FLOAT",
        "hot",
        "../x",
        "é\\n",
    ]
).map(lambda w: f'"{w}"')
INLINE = st.sampled_from(
    [
        "{}",
        "[{}]",
        "[]",
        "[[]]",
        '[{ preset = "open" }]',
        '[{ channels = ["hot"], load = [{ from = "hot", to = "hot", ohm = 1.0, part = "R" }] }]',
        '[{ preset = "inject-hot", delay_s = 1e6 }]',
        '[{ preset = "open", level_step = { at_s = 3600.0, db = 40.0 } }]',
        "[{ noise_nv = 1e6, noise_corner_hz = 1e6 }]",
        "{ R1 = 1000.0 }",
        "{ open = true }",
    ]
)
PLAUSIBLE = {
    "circuit": st.sampled_from(library.names()).map(lambda n: f'"{n}"'),
    "side.right.circuit": st.sampled_from(library.names()).map(lambda n: f'"{n}"'),
    "sides": st.sampled_from(['["left"]', '["left", "right"]', '["mono"]']),
    "phase": st.sampled_from(['"reference"', '"stream"', '"none"']),
    "sample": st.sampled_from(['"PCM_16"', '"FLOAT"']),
    "container": st.sampled_from(['"wav"', '"flac"', '"smaller"', '"rf64"']),
    "sample_rate": st.sampled_from(["44100", "96000"]),
    "seed": st.integers(0, 1000).map(str),
    "tolerances.seed": st.integers(0, 1000).map(str),
    "silence_before_s": st.floats(0.0, 0.05).map(repr),
    "silence_spread_s": st.floats(0.0, 0.05).map(repr),
    "fade_s": st.floats(0.0, 1.0).map(repr),
    "seconds": st.floats(1e-5, 0.02).map(repr),
    "parts.R_HOT": st.floats(1e-3, 1e12).map(repr),
    "parts.A_CORE.output_ohm": st.floats(1e-3, 1e9).map(repr),
    "parts.C_LEGS.farad": st.floats(1e-15, 1.0).map(repr),
    "drive.tones_hz": st.lists(st.floats(0.1, 22000.0), min_size=1, max_size=4).map(repr),
    "drive.volts": st.floats(1e-6, 100.0).map(repr),
    "injector.volts": st.floats(1e-6, 10.0).map(repr),
    "truth.clock_ppm": st.floats(-500.0, 500.0).map(repr),
    "truth.drift_db": st.floats(0.0, 3.0).map(repr),
    "truth.crosstalk_db": st.floats(-150.0, 0.0).map(repr),
}
"""Values that are mostly accepted, so that not everything ends at the first check."""

SCALARS = st.one_of(NUMBERS, WORDS)
VALUES = st.one_of(
    SCALARS, INLINE, st.lists(SCALARS, max_size=3).map(lambda v: "[" + ", ".join(v) + "]")
)
START = {
    "format": '"probe-stage/1"',
    "circuit": '"core-and-inverter"',
    "takes": '["open", "load-hot"]',
    "seconds": "0.02",
    "device": '{ maker = "Harrowgate", model = "Tern" }',
}


CHANGES = st.sampled_from(KEYS).flatmap(
    lambda key: st.tuples(
        st.just(key),
        st.integers(0, 4).flatmap(lambda i: PLAUSIBLE.get(key, VALUES) if i else VALUES),
    )
)


@settings(
    max_examples=200,
    suppress_health_check=[HealthCheck.too_slow],
)
@given(st.lists(CHANGES, min_size=1, max_size=3).map(dict))
@pytest.mark.long
def test_any_stage_file_is_made_or_refused(changes):
    text = "\n".join(f"{k} = {v}" for k, v in {**START, **changes}.items())
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "stage.toml"
        path.write_text(text, encoding="utf-8")
        out, err = io.StringIO(), io.StringIO()
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            status = main(["simulate", str(path), str(Path(folder) / "out")])
        left = sorted(p.name for p in Path(folder).iterdir())
        assert status in (0, 2), text
        if status == 0:
            assert left == ["out", "stage.toml"]
            assert (Path(folder) / "out" / "session.toml").is_file()
        else:
            assert left == ["stage.toml"]
            assert out.getvalue() == ""
            assert len(err.getvalue().splitlines()) == 1
