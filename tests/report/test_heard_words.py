"""Screen and sheet say the same of what is heard; else a customer is promised silence that hums."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from probe.advice.advise import advise
from probe.advice.audible import hum_heard, noise_heard, stricter_db
from probe.advice.destination import Cable, Destination, Input
from probe.advice.figures import Figures
from probe.advice.ground import of_preset
from probe.advice.plain import against
from probe.advice.quantity import Quantity
from probe.advice.source_file import read_source
from probe.report.gains import gains
from probe.report.leaflet import leaves_of
from tests.advice.test_shelf import SHEET


def below(low: float, high: float | None = None) -> Quantity:
    high = low if high is None else high
    return Quantity((low + high) / 2.0, "dB", low, high)


@pytest.mark.parametrize(
    ("speaker", "hum", "screen", "sheet", "other_way"),
    [
        # closed form: 105 dB SPL at 1 m of 88 dB and 100 W; 18 dB more of the loudspeaker leave
        # 105 + 18 - 101.5 = 21.5 dB SPL (15 and less nobody hears), 37.4 (30 is heard), 62 (50 is
        # loud)
        (106.0, below(101.5), "close to the loudspeaker", "close to the loudspeaker", "close by"),
        (106.0, below(85.6), "it is heard in a quiet", "it is heard in a quiet", "quiet room"),
        (106.0, below(61.0), "disturb the music", "disturb the music", "loud"),
        (106.0, below(108.5), "not heard", "not to be heard", "not heard"),
        # the same without: 3.5, 19.4 and 44 dB SPL
        (None, below(101.5), "not heard", "not to be heard", "not heard"),
        (None, below(85.6), "close to the loudspeaker", "close to the loudspeaker", "close by"),
        (None, below(61.0), "it is heard in a quiet", "it is heard in a quiet", "heard in a quiet"),
        # the limit inside: 28 to 34 dB SPL
        (None, below(71.0, 77.0), "it may be heard in a quiet", "it may be heard in a quiet",
         "heard in a quiet"),
        # an insensitive loudspeaker makes nothing looser (our own rule)
        (80.0, below(85.6), "close to the loudspeaker", "close to the loudspeaker", "close by"),
    ],
)  # fmt: skip
def test_hum_is_worded_alike(
    speaker: float | None, hum: Quantity, screen: str, sheet: str, other_way: str
) -> None:
    heard = hum_heard(hum, stricter_db(speaker))
    assert screen in heard.says
    entry = hum.to_json() | {"heard": heard.to_json()}
    assert sheet in gains({"hum_below_full_output_db": entry})[0]
    figures = Figures(hum_below_full_output_db=hum, stricter_db=stricter_db(speaker))
    assert other_way in against("hum", figures)


@pytest.mark.parametrize(
    ("speaker", "noise", "screen", "sheet"),
    [
        # closed form: 105 + 10 - 80 = 35 dB SPL(A), 105 + 14 - 101 = 18
        (98.0, below(80.0), "it is heard in a quiet room", "it is heard in a quiet room"),
        (102.0, below(101.0), "close to the loudspeaker", "close to the loudspeaker"),
        # 4 dB SPL(A)
        (None, below(101.0), "not heard", "not to be heard"),
        # what is known as "at least" is no more than a doubt
        (None, Quantity(70.0, "dB", 70.0, 70.0, bound="above"), "close to", "close to"),
    ],
)
def test_hiss_is_worded_alike(
    speaker: float | None, noise: Quantity, screen: str, sheet: str
) -> None:
    heard = noise_heard(noise, stricter_db(speaker))
    assert screen in heard.says
    entry = noise.to_json() | {"heard": heard.to_json()}
    assert sheet in gains({"noise_below_full_output_db": entry})[0]


def test_the_sheet_of_a_horn_is_not_promised_silence(tmp_path: Path) -> None:
    source = tmp_path / "sheet.toml"
    source.write_text(SHEET)
    socket = Input("rca", "rca", "single-ended", 47e3, sensitivity_volts=1.0,
                   ground=of_preset("unearthed"))  # fmt: skip
    told = {}
    for speaker in (None, 106.0):
        here = replace(socket, speaker_sensitivity_db=speaker)
        destination = Destination("amp", (here,), Cable(5.0, 500e-12, 0.15, 0.02))
        found = advise(*read_source(source), destination).to_json()
        (leaf,) = leaves_of(found)
        told[speaker] = next(t for t in leaf.gains if t.startswith("Hum is"))
        # screen and sheet stand on one class: a "mind" of hum is there where it may be heard
        (used,) = [o for o in found["options"] if o["verdict"] == "use"]
        minded = any(h["code"] == "hum" for h in used["hazards"])
        assert minded is ("not to be heard" not in told[speaker])
    # closed form: 18 dB of sensitivity turn less than 15 dB SPL into more
    assert "not to be heard in a living room" in told[None]
    assert "close to the loudspeaker" in told[106.0]
