"""The virtual bench hears what the circuit gives, whatever is played."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from probe.bench.filters.convolve import Convolver, parts_of
from probe.bench.filters.response import HIGH_PASS_HZ, LEAD, taps_of
from probe.bench.planned.kit import TEMPLATE
from probe.bench.planned.steps import Injector, Plugged
from probe.bench.virtual.card import VirtualCard
from probe.bench.virtual.clock import ForeignClock
from probe.bench.virtual.equipment import virtual_equipment
from probe.bench.virtual.mishaps import mishap
from probe.bench.virtual.place import FULL_SCALE_OUT, place_of
from probe.errors import BadInput
from probe.facts import analyse_session
from probe.session.model import Load
from probe.simulate.build import read_stage
from probe.simulate.tones import DEVICE_HZ
from probe.simulate.write import simulate
from tests.bench.guided.driven import drive, kit_file

RATE = 48000.0
R1 = Load("cold", "ground", 604.0, 0.001, "R1")
R2 = Injector("cold", 10100.0, 0.001, "R2", 10000.0)


@pytest.mark.parametrize("circuit", ["core-and-inverter", "floating-transformer", "pin-3-open"])
@pytest.mark.parametrize("plugged", [
    Plugged("left", ("hot", "cold"), (R1,)),
    Plugged("left", ("hot", "cold"), (), R2),
])  # fmt: skip
def test_filters_are_the_circuit(circuit: str, plugged: Plugged) -> None:
    place = place_of(circuit, exact=True)
    taps = taps_of(lambda hz: place.heard(plugged, hz), RATE)
    hz = np.array(DEVICE_HZ)
    turn = np.exp(-2j * np.pi * np.outer(hz, np.arange(len(taps)) - LEAD) / RATE)
    found = np.einsum("fn,nio->fio", turn, taps)
    # source: second-order high pass, closed form; circuit: modified nodal analysis at the tones
    s = 1j * hz / HIGH_PASS_HZ
    expected = place.heard(plugged, hz) * (s**2 / (1 + np.sqrt(2) * s + s**2))[:, None, None]
    size = np.max(np.abs(expected), axis=(1, 2))
    assert np.max(np.abs(found - expected), axis=(1, 2)) == pytest.approx(0.0 * size, abs=2e-4)


def test_blocks_are_a_plain_convolution() -> None:
    rng = np.random.default_rng(5)
    taps, x = rng.standard_normal((700, 2, 2)), rng.standard_normal((1280, 2))
    convolver = Convolver(parts_of(taps, 256), 256)
    found = np.concatenate([convolver.step(x[k : k + 256]) for k in range(0, 1280, 256)])
    # source: numpy's direct convolution
    expected = sum(
        np.stack([np.convolve(x[:, o], taps[:, i, o])[:1280] for i in (0, 1)], axis=1)
        for o in (0, 1)
    )
    assert found == pytest.approx(expected, abs=1e-3)


def test_foreign_clock_moves_a_tone() -> None:
    ppm, hz, blocks = 80e-6, 12437.0, 40
    n = np.arange(blocks * 4096)
    clock = ForeignClock(ppm, RATE, 1)
    tone = np.cos(2 * np.pi * hz * n / RATE)[:, None]
    found = np.concatenate([clock.step(tone[k : k + 4096]) for k in n[::4096]])[8192:, 0]
    # source: x(n (1 + e)) has the frequency f (1 + e); closed form
    t = n[8192:]
    basis = np.exp(2j * np.pi * hz * (1.0 + ppm) * t / RATE)
    amplitude = 2.0 * np.mean(found * np.conj(basis))
    rest = found - np.real(amplitude * basis)
    assert abs(amplitude) == pytest.approx(1.0, abs=1e-4)
    assert np.std(rest) < 1e-4


def test_a_mishap_that_changes_nothing_is_named() -> None:
    words = ("forgotten-switch@loop-back", "lead-out@loop-back", "hum@load-hot")
    card = VirtualCard(place_of("pin-3-open", exact=True), mishaps=[mishap(w) for w in words])
    card.plug(Plugged("left", ("hot", "cold"), loop_back=True), "loop-back")
    assert card.left_over() == (
        "The mishap forgotten-switch@loop-back never came up: nothing of it is in that take.",
        "The mishap hum@load-hot never came up: no such take was made.",
    )
    # source: a lead that is out hears nothing; the other one hears output 1
    plugged = Plugged("left", ("hot", "unused"), loop_back=True)
    heard = card.place.heard(plugged, np.array([997.0]))[0, :, 0]
    assert heard[1] == pytest.approx(0.0, abs=1e-4)
    assert abs(heard[0]) > 0.4


def test_the_interface_bends_what_it_hears_loop_back_included(tmp_path: Path) -> None:
    stage = tmp_path / "stage.toml"
    stage.write_text(
        'format = "probe-stage/1"\ncircuit = "symmetrical-dual"\ntakes = ["open"]\n'
        '[device]\nmaker = "Invented"\nmodel = "clean"\n'
        "[[truth.input]]\nsecond = 1e-3\nthird = 4e-4\nnoise_nv = 30.0\n",
        "utf-8",
    )
    place = place_of(str(stage))
    # the declared scale of a stage file that says none
    peak, scale = 2.0, 8.7
    turns = 2.0 * np.pi * np.arange(480) / 48
    heard = np.stack([peak / scale * np.cos(turns)] * 2, axis=1)
    lines = np.abs(np.fft.rfft(place.converted(heard)[:, 0] * scale)) / 240
    # closed form: a v^2 and b v^3 of a cosine of peak A hold a A^2 / 2 of the second harmonic and
    # b A^3 / 4 of the third
    assert lines[20] == pytest.approx(1e-3 * peak**2 / 2, rel=1e-6)
    assert lines[30] == pytest.approx(4e-4 * peak**3 / 4, rel=1e-6)
    assert place_of("symmetrical-dual", exact=True).converted(heard) is heard


GENERATOR = (
    'format = "probe-stage/1"\ncircuit = "symmetrical-dual"\ntakes = ["open"]\n'
    '[device]\nmaker = "Invented"\nmodel = "clean"\n'
    "[truth.generator]\nsecond = 1e-3\nthird = 4e-4\n"
)


def test_the_interface_bends_what_it_plays(tmp_path: Path) -> None:
    stage = tmp_path / "stage.toml"
    stage.write_text(GENERATOR, "utf-8")
    place = place_of(str(stage))
    peak = 1.5
    turns = 2.0 * np.pi * np.arange(480) / 48
    played = np.stack([peak / FULL_SCALE_OUT * np.cos(turns)] * 2, axis=1)
    lines = np.abs(np.fft.rfft(place.sent(played)[:, 0] * FULL_SCALE_OUT)) / 240
    # closed form: a v^2 and b v^3 of a cosine of peak A hold a A^2 / 2 of the second harmonic and
    # b A^3 / 4 of the third
    assert lines[20] == pytest.approx(1e-3 * peak**2 / 2, rel=1e-6)
    assert lines[30] == pytest.approx(4e-4 * peak**3 / 4, rel=1e-6)
    assert place_of("symmetrical-dual", exact=True).sent(played) is played
    with pytest.raises(BadInput, match=r"truth\.generator"):
        simulate(read_stage(stage), tmp_path / "session")


@pytest.mark.long
@pytest.mark.parametrize("lead", [True, False])
def test_only_a_loop_back_tells_the_generators_distortion_from_the_devices(
    tmp_path: Path, lead: bool
) -> None:
    """Lost: nobody sees in practice why distortion without that lead is a bound."""
    stage = tmp_path / "stage.toml"
    stage.write_text(GENERATOR.replace('takes = ["open"]\n', ""), "utf-8")
    kit = kit_file(tmp_path, TEMPLATE if lead else TEMPLATE.replace("loop_back = true", ""))
    run = drive(tmp_path / "s", "--virtual", str(stage), "--fast", "--kit", str(kit))
    assert run.status == 0
    fact = analyse_session(tmp_path / "s", draws=200)["sides"]["left"]["facts"]["differential_thd"]
    # source: the device is straight, so its distortion is nothing: stated as a bound with the
    # lead, and without it what the generator adds passes for the device's
    assert (fact.get("bound") == "below") == lead


def test_sides_that_a_stage_file_has_not_are_refused_at_once(tmp_path: Path) -> None:
    stage = tmp_path / "stage.toml"
    stage.write_text(
        'format = "probe-stage/1"\ncircuit = "core-and-inverter"\n[device]\nmaker = "Invented"\n'
        'model = "one"\n',
        "utf-8",
    )
    # by the file format: a stage file without sides has the left one
    assert virtual_equipment(str(stage), kit=None).all_sides == ("left",)
    with pytest.raises(BadInput, match=r"--sides left and right: .* has no side right"):
        virtual_equipment(str(stage), kit=None, sides=("left", "right"))
