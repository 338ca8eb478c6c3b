"""The example session of the path says what its circuit is."""

from __future__ import annotations

import pytest

from probe.facts import analyse_session
from tests.house.readme import ROOT


@pytest.mark.long
def test_the_example_behaves_as_one_path() -> None:
    document = analyse_session(ROOT / "captures" / "preamplifier-one-path", draws=300)
    side = document["sides"]["left"]
    # the circuit of its stage.toml: one core and an inverter of 10 kohm and 47 pF
    assert side["stage"]["path"] == "split"
    assert side["stage"]["path_separate_from"] is None
    # closed form: +-1 % of resistors and 47 pF: 3.4 to 3.8 degrees at 20 kHz
    lag = next(r for r in side["stage"]["path_evidence"] if r["indication"] == "cold-lag")
    assert 3.2 < lag["value"] < 3.9
    assert len(side["curves"]["differential_response"]["hz"]) > 100
