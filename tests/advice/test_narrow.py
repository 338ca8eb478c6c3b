"""What narrows a doubt where every take was made: told by how the draws of the tones go together.

Who loses it where these fail: somebody makes the same takes again, with all care, and the answer
stays as open as it was.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from probe.advice.narrow import CLOSER, LONGER, PARTS, SHOWN, UNHEARD, settles
from probe.advice.sampled import sample
from probe.advice.subject import side_of
from probe.advice.wiring import OPTIONS
from probe.advice.words import TAKES
from probe.facts import analyse_session, source_from_facts
from probe.facts.source import Source
from probe.simulate.build import read_stage
from probe.simulate.write import simulate
from tests.advice.stages import facts, symmetrical

XLR = next(o for o in OPTIONS if o.id == "xlr-to-xlr")
FULL = frozenset({"open", "second-open", "load-hot", "load-cold", "load-across"})
RNG = np.random.default_rng(5)


def doubtful(how: str) -> Source:
    """Two legs of 50 ohm, their mismatch with 1 ohm of doubt."""
    bare = symmetrical()
    draws, tones = 400, bare.hz.size
    alike, low = RNG.standard_normal((2, draws, 1))
    below = (bare.hz < 200.0) * 5.0
    off = {
        "common": alike * np.ones(tones),
        "noise": RNG.standard_normal((draws, tones)),
        "carried": alike + low * below,
    }[how]
    z = np.repeat(bare.z[None], draws, axis=0)
    z[:, :, 0, 1] += off
    return replace(bare, z_draws=z, voc_draws=np.repeat(bare.voc[None], draws, axis=0))


def told(source: Source, taken: frozenset[str] = FULL, drift: float | None = 0.05) -> str:
    side: Any = replace(side_of(facts("differential"), "left"), taken=taken, drift_db=drift)
    return settles(XLR, side, sample(symmetrical()), source, low=True)


def test_drift_is_named_where_it_is_seen() -> None:
    # definition: a level that moves between takes moves at all tones
    assert told(doubtful("common")) == CLOSER
    # fewer takes than show it: 0.02 dB are taken
    assert told(doubtful("common"), drift=None) == SHOWN
    # arithmetic: 0.001 dB is a ninth of what 0.1 % is
    assert told(doubtful("common"), drift=0.001) == PARTS
    assert told(doubtful("common"), FULL - {"second-open"}) == TAKES["second-open"]


def test_noise_is_told_from_drift() -> None:
    # definition: noise of one tone is not that of another
    assert told(doubtful("noise")) == LONGER


def test_what_was_only_injected_wants_a_load() -> None:
    injected = frozenset({"open", "second-open", "inject-hot", "inject-cold"})
    assert told(doubtful("carried"), injected) == TAKES["load-hot"]
    assert told(doubtful("carried")) == LONGER


def test_what_the_recorder_does_not_hear_wants_another_recorder() -> None:
    source = doubtful("common")
    for z in (source.z, source.z_draws):
        z[..., :3, 0, 1] = np.nan
    assert told(source) == UNHEARD


def width(folder: Path, circuit: str, takes: str, bench: str = "") -> float:
    """How wide the mismatch of the legs is at the lowest tone it is known at, ohm."""
    folder.mkdir()
    (folder / "stage.toml").write_text(
        f'format = "probe-stage/1"\ncircuit = "{circuit}"\nseed = 3\ntakes = {takes}\n{bench}'
        '[device]\nmaker = "Harrowgate"\nmodel = "Tern"\nserial = "HT-0007"\n'
        "[truth]\ndraw = true\n"
    )
    simulate(read_stage(folder / "stage.toml"), folder / "session")
    source = source_from_facts(analyse_session(folder / "session", draws=300), "left")
    assert source is not None
    off = source.z_draws[:, 0, 0, 1]
    return float(np.std(off)) if np.isfinite(off).all() else np.inf


@pytest.mark.long
def test_the_load_that_is_asked_for_does_narrow_it(tmp_path: Path) -> None:
    injected = '"open", "inject-hot", "inject-cold", "second-open"'
    before = width(tmp_path / "a", "symmetrical-dual-coupled", f"[{injected}]")
    loaded = f'[{injected}, "load-hot", "load-cold"]'
    # closed form: a load at the tone itself needs nothing carried to it; a tenth is enough to tell
    assert width(tmp_path / "b", "symmetrical-dual-coupled", loaded) < 0.2 * before


@pytest.mark.long
def test_the_recorder_that_is_asked_for_does_hear_it(tmp_path: Path) -> None:
    inputs = (
        "[[bench.input]]\nvolts_full_scale = 8.7\nimpedance_ohm = 1e7\n"
        "impedance_u95_percent = 0.2\ncapacitance_pf = 20.0\ncapacitance_u95_pf = 1.0\n"
    )
    # closed form: 600 pF are 13 Mohm at 20 Hz, beyond 20 kohm and within sight of 10 Mohm
    assert np.isinf(width(tmp_path / "a", "floating-transformer", '"full"'))
    assert np.isfinite(width(tmp_path / "b", "floating-transformer", '"full"', inputs))
