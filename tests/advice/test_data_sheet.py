"""What a data sheet leaves open: rounded levels, impedances, and legs that are not quite alike."""

from __future__ import annotations

from pathlib import Path

import pytest

from probe.advice.advise import advise
from probe.advice.between_chassis import ground_fault, ground_high
from probe.advice.destination import Destination, read_destination
from probe.advice.model import Advice, OptionAdvice
from probe.advice.source_file import read_source
from probe.advice.subject import mains_of, mains_volts_of
from probe.advice.text import render
from probe.advice.typed import changed, typed_destination, typed_ground
from probe.errors import BadInput
from probe.report.leaflet import leaves_of

SHEET = """
format = "probe-source/1"
kinds = ["differential"]
differential_level_v = 4.0
single_ended_level_v = 2.0
differential_impedance_ohm = 200.0
single_ended_impedance_ohm = 100.0
[device]
maker = "Harrowgate"
model = "Siskin"
connectors = ["xlr", "rca"]
"""


def ask(folder: Path, destination: Destination) -> Advice:
    path = folder / "source.toml"
    path.write_text(SHEET, "utf-8")
    return advise(*read_source(path), destination)


def test_levels_of_a_sheet_keep_their_doubt(tmp_path: Path) -> None:
    advice = ask(tmp_path, typed_destination("rca:47k:2V", 50.0))
    by_id = {o.option.id: o.figures for o in advice.options}
    level = by_id["rca-to-rca"].level
    assert level is not None
    # practice: data sheets round levels to 5 %; a little less is left by 41 quantiles
    assert (level.high - level.low) / 2.0 / level.value == pytest.approx(0.05, abs=0.003)
    louder = by_id["xlr-to-rca/transformer"].loudness_vs_reference_db
    assert louder is not None
    # closed form: two levels of 5 %, apart from each other: sqrt(2) 5 % are 0.60 dB
    assert (louder.high - louder.low) / 2.0 == pytest.approx(0.60, abs=0.08)


def test_legs_of_a_sheet_may_be_unlike(tmp_path: Path) -> None:
    there = changed(
        typed_destination("xlr:10k/leg:1V:difference-amplifier", 50.0),
        ground="100mV/1ohm", cable="5m",
    )  # fmt: skip
    advice = ask(tmp_path, there)
    (hum,) = [o.figures.hum for o in advice.options if o.option.id == "xlr-to-xlr"]
    assert hum is not None
    # closed form: legs of 105 and 95 ohm into 10.1 kohm each turn a thousandth of what is common
    # into difference, beside the thousandth of a receiver's own 60 dB: twice that, 6 dB
    assert hum.high / hum.value == pytest.approx(2.0, rel=0.1)


def test_where_the_error_of_the_meter_decides_it_is_named(tmp_path: Path) -> None:
    """Or better resistors, or a measurement of the output, are sought for a doubt of the meter."""

    def plain(ground: str) -> OptionAdvice:
        advice = ask(tmp_path, changed(typed_destination("rca:47k:1V", 50.0), ground=ground))
        return next(o for o in advice.options if o.option.id == "rca-to-rca")

    # closed form: 1 mV 0.05/(0.05 + Z) below 1 V, Z 0.19 to 0.31 ohm with 5 %: 73.5 to 77.2 dB
    doubt = plain("1mV/0.8mV/1ohm")
    assert doubt.used.verdict == "cannot-tell"
    assert "readings of the meter known more closely than the 5 %" in doubt.reasons[0]
    assert "1mV/0.25ohm" in doubt.reasons[0]
    assert "measuring the output" not in doubt.reasons[0]
    # and typed like that it is settled: behind 0.25 ohm, 75.6 dB
    assert plain("1mV/0.25ohm").used.verdict in ("use", "works")


def test_where_the_circuit_of_the_input_decides_it_is_named(tmp_path: Path) -> None:
    def straight(circuit: str) -> OptionAdvice:
        typed = f"xlr:10k/leg:1V{circuit}"
        there = changed(typed_destination(typed, 50.0), ground="300mV/1ohm", cable="20m")
        return next(o for o in ask(tmp_path, there).options if o.option.id == "xlr-to-xlr")

    doubt = straight("").reasons[0]
    # practice: an electronic input rejects some 60 dB and turns unlike legs into hum, a transformer
    # does neither: 300 mV 0.62/1.62 leave 115 mV, 79 dB below 1 V less what the legs add
    assert "the input's circuit (a transformer would do: ask its maker)" in doubt
    assert straight(":transformer").used.verdict in ("use", "works")
    assert straight(":difference-amplifier").used.verdict == "cannot-tell"
    assert "the input's circuit" not in straight(":difference-amplifier").reasons[0]


@pytest.mark.parametrize(
    ("ground", "code"),
    [
        # practice: half of 240 V mains and a few per cent are the most that capacitors give
        ("200V/100ohm", "ground-fault"),
        # Ohm's law: 20 A; 20.7 mA; 30 mA. from memory: 3.5 mA is what a box on a plug may leak
        ("20V/1ohm", "ground-fault"),
        ("60V/20mA/100ohm", "ground-fault"),
        ("60V/20mA/1kohm", "ground-fault"),
        # a meter's first reading alone: both an earth fault and two boxes without an earth
        ("60V", "ground-high"),
        # practice: two boxes without an earth, tenths of a milliampere
        ("115V/0.1mA/100ohm", None),
        ("unearthed", None),
        # Ohm's law, the shield and contacts of 1 m 0.05 ohm: 3.8 A; 2.9 A; 3 V behind 0.2 ohm, 12 A
        ("4V/1ohm", "ground-fault"),
        ("1.2V/0.33ohm", "ground-fault"),
        ("3V/0.2ohm", "ground-fault"),
        # two readings: 0.9 V behind 0.8 ohm, 1.06 A
        ("0.9V/0.5V/1ohm", "ground-fault"),
        # published, an installer's column: up to a few volts between distant outlets; 0.4 A, 40 mA
        ("4V/10ohm", "ground-current"),
        ("4V/100ohm", None),
        # practice: 0.1 A at most between outlets far apart
        ("two-rooms", None),
        ("computer", None),
        # the volts alone: behind 0.05 ohm, the least that is taken for two earths, 5 A; 0.2 A
        ("500mV", "ground-current"),
        ("20mV", None),
        # tenths of an ohm are lost beside 100 ohm and a meter of up to 10 ohm: 0.05 ohm or 7, 5 A
        ("500mV/4.9mA/100ohm", "ground-current"),
        # the same above 1 V, where no other reading would tell
        ("1.5V/14.8mA/100ohm", "ground-fault"),
    ],
)
def test_a_dangerous_voltage_between_the_chassis(ground: str, code: str | None) -> None:
    there = changed(typed_destination("rca:47k:1V", 50.0), ground=ground)
    told = [*ground_fault(there), *ground_high(there)]
    assert [c.code for c in told] == ([code] if code else [])
    assert all("electrician" in c.message for c in told)


def test_a_long_lead_carries_less(tmp_path: Path) -> None:
    # Ohm's law: 0.6 V behind 0.2 ohm, 1 m of 0.05 ohm 2.4 A; 50 m of 30 mohm/m, 1.52 ohm, 0.35 A
    there = changed(typed_destination("rca:47k:1V", 50.0), ground="600mV/0.2ohm")
    assert [c.code for c in ground_fault(there)] == ["ground-fault"]
    assert "2.4 A" in ground_fault(there)[0].message
    far = changed(there, cable="50m")
    assert ground_fault(far) == ()
    (note,) = ground_high(far)
    assert "350 mA" in note.message
    advice = ask(tmp_path, far)
    assert "FIRST  600 mV between the chassis can drive 350 mA" in render(advice)
    assert "350 mA" in leaves_of(advice.to_json())[0].first[0]


def test_amperes_through_a_small_resistor_are_no_reading() -> None:
    """Or a resistor of 1/4 W gets 0.8 W, and its reading passes for a matter of hum."""
    # Ohm's law: 0.9 V across 1 ohm, 0.9 A
    with pytest.raises(BadInput, match=r"0\.9 A through 1 ohm .*100 ohm.*electrician"):
        typed_ground("1.2V/0.9V/1ohm", 50.0)
    with pytest.raises(BadInput, match="milliampere range"):
        typed_ground("4.9V/4.8V/1ohm", 50.0)
    # the method: 1 ohm up to 1 V, 100 ohm above it
    assert typed_ground("0.1V/0.08V/1ohm", 50.0).known
    assert typed_ground("60V/20mA/100ohm", 50.0).known


def test_nothing_is_advised_across_a_dangerous_voltage(tmp_path: Path) -> None:
    # Ohm's law: 20 A
    advice = ask(tmp_path, changed(typed_destination("rca:47k:1V", 50.0), ground="20V/1ohm"))
    assert (advice.chosen, advice.options) == (None, ())
    assert [c.code for c in advice.cautions] == ["ground-fault"]


@pytest.mark.parametrize(("key", "volts"), [("single_ended_level_v", "0.005"),
                                            ("differential_level_v", "0.0005")])  # fmt: skip
def test_a_pick_up_is_no_line_output(tmp_path: Path, key: str, volts: str) -> None:
    """A record player sold with a plain lead into a line input is silent, or nearly."""
    path = tmp_path / "player.toml"
    path.write_text(f'format = "probe-source/1"\n{key} = {volts}\n', "utf-8")
    with pytest.raises(BadInput, match=r"pick-up cartridge.*phono .* preamplifier goes between"):
        read_source(path)


def test_a_digital_link_has_no_words_on_measured_impedances(tmp_path: Path) -> None:
    path = tmp_path / "player.toml"
    path.write_text(
        'format = "probe-source/1"\ndigital_volts_peak_to_peak = 0.5\n'
        '[device]\nconnectors = ["digital-75"]\n', "utf-8",
    )  # fmt: skip
    advice = advise(*read_source(path), typed_destination("digital-75", 50.0))
    (typed,) = [c.message for c in advice.cautions if c.code == "typed"]
    assert typed.startswith("Nothing was measured")
    assert "legs" not in typed


def test_left_and_right_are_not_joined_for_a_subwoofer(tmp_path: Path) -> None:
    """The customer with one lead for it does so next: two outputs drive each other."""
    advice = ask(tmp_path, typed_destination("rca:20k:0.5V:sub", 50.0))
    (never,) = [c.message for c in advice.cautions if c.code == "y-lead"]
    # closed form: 2 V through two outputs of 100 ohm, sqrt(2) 2 V / 200 ohm = 14 mA peak
    assert "drives the other one's 100 ohm (14 mA peak" in never
    assert any(c.code == "one-channel" for c in advice.cautions)
    apart = ask(tmp_path, typed_destination("rca:20k:0.5V", 50.0))
    assert not any(c.code in ("y-lead", "one-channel") for c in apart.cautions)


@pytest.mark.parametrize(
    ("stated", "to", "told"),
    # closed form, V the open volts of a pin, Z its own impedance: sqrt(2) V / (2 Z). One of two
    # legs, 2 V behind 100 ohm
    [('kinds = ["differential"]\ndifferential_level_v = 4.0\ndifferential_impedance_ohm = 200.0',
      "rca:10k:1V:sub", "100 ohm (14 mA"),
     # both legs: 4 V between them behind 200 ohm, the same current
     ('kinds = ["differential"]\ndifferential_level_v = 4.0\ndifferential_impedance_ohm = 200.0',
      "xlr:20k/leg:1V:sub", "200 ohm (14 mA"),
     # all the volts on pin 2: 10 V behind 98.5 ohm, though pin 3 is joined, too
     ('kinds = ["impedance-balanced"]\nhot_level_v = 10.0\ncold_level_v = 0.0\n'
      "hot_impedance_ohm = 98.5", "xlr:20k/leg:1V:sub", "99 ohm (72 mA"),
     # a floating pair, pin 3 tied: all of its 4 V and of its 100 ohm (beside which lies its high
     # common-mode impedance, which is not stated)
     ('kinds = ["electronically-floating"]\ndifferential_level_v = 4.0\n'
      "differential_impedance_ohm = 100.0", "rca:10k:1V:sub", "ohm (28 mA"),
     # at the most it gives: 8 V of the RCA behind 50 ohm
     ("single_ended_level_v = 2.0\nsingle_ended_maximum_v = 8.0\n"
      "single_ended_impedance_ohm = 50.0", "rca:10k:1V:sub", "50 ohm (113 mA"),
     ("single_ended_level_v = 2.0", "rca:10k:1V:sub", "few ohms, and")],
)  # fmt: skip
def test_the_current_of_a_y_lead_is_that_of_the_pins_it_joins(
    tmp_path: Path, stated: str, to: str, told: str
) -> None:
    """Half of it was told where a subwoofer takes one leg of an XLR output."""
    path = tmp_path / "typed.toml"
    path.write_text(f'format = "probe-source/1"\n{stated}\n[device]\noutput = "line"\n', "utf-8")
    there = changed(typed_destination(to, 50.0), ground="same-strip")
    advice = advise(*read_source(path), there)
    (never,) = [c.message for c in advice.cautions if c.code == "y-lead"]
    assert told in never, advice.choices[0].option


RADIO = """
format = "probe-source/1"
single_ended_level_v = 2.0
[device]
model = "Radio"
connectors = ["rca"]
"""


def radio(folder: Path, *, more: str = "") -> Advice:
    there = changed(typed_destination("xlr:20k/between:1.2V", 50.0), ground="computer", cable="10m")
    path = folder / "radio.toml"
    path.write_text(RADIO.replace("[device]", f"{more}\n[device]"), "utf-8")
    return advise(*read_source(path), there)


@pytest.mark.long
def test_the_maker_is_asked_before_anybody_measures(tmp_path: Path) -> None:
    """An ordinary radio and a pair of active loudspeakers ended in "have the output measured"."""
    advice = radio(tmp_path)
    # closed form: 10 mV behind 0.5 ohm leave 3.9 mV on 0.32 ohm of shield and contacts; of that
    # Z/(Z + 10 kohm) are between pins whose legs differ by Z, a fifth more than stated: 300 ohm are
    # 78.7 dB below 1.2 V with the 60 dB of the input by itself, 600 ohm 73.1; the limit is 75
    lead, first, asked, other = advice.choices[0].why[:4]
    # common practice, no source: what costs nothing is tried, the lead that the answer would open
    # and then what can be done at the computer, before one asks
    assert lead.startswith("try first, before a transformer is bought, rca-to-xlr/pin-3-tied")
    assert "before anything else is bought, run a notebook on its battery" in first
    assert asked == (
        "ask the maker of Radio for the output impedance of the RCA output: with 300 ohm or less "
        "(most have 50 to 600 ohm) rca-to-xlr/pin-3-tied-at-source works"
    )
    assert "--transformer larch" in other
    # closed form: 15 H are 1885 ohm at 20 Hz; 1 dB is lost there from 959 ohm, less 60 of the
    # winding and a fifth that a data sheet is wrong by: 749 ohm
    for ohm, chosen in (
        (300.0, "rca-to-xlr/pin-3-tied-at-source"),
        (600.0, "rca-to-xlr/transformer"),
        (1000.0, None),
    ):
        stated = radio(tmp_path, more=f"single_ended_impedance_ohm = {ohm}")
        assert stated.chosen == chosen
        assert not any("ask the maker" in why for why in stated.choices[0].why)


def unlikely(folder: Path, stated: str) -> list[str]:
    """What is asked about the figures of a data sheet."""
    path = folder / "typed.toml"
    path.write_text(f'format = "probe-source/1"\n{stated}\n', "utf-8")
    advice = advise(*read_source(path), typed_destination("rca:47k:1V", 50.0))
    return [c.message for c in advice.cautions if c.code.startswith("unlikely-output")]


@pytest.mark.parametrize(
    ("stated", "asked"),
    # common practice, no source: levels that line outputs have and have not
    [("differential_level_v = 400.0", True), ("differential_level_v = 20.0", False),
     ("single_ended_level_v = 20.0", True), ("single_ended_level_v = 10.0", False),
     ("single_ended_level_v = 2.0\nsingle_ended_impedance_ohm = 4700.0", True),
     # IEC 61938, as quoted by a glossary: 2.2 kohm at most
     ("single_ended_level_v = 2.0\nsingle_ended_impedance_ohm = 2200.0", False)],
)  # fmt: skip
def test_a_slipped_point_of_a_data_sheet_is_asked_about(
    tmp_path: Path, stated: str, asked: bool
) -> None:
    told = unlikely(tmp_path, stated)
    assert bool(told) is asked
    assert all("Look the figure up again." in says for says in told)


@pytest.mark.parametrize(
    ("kind", "ohm", "asked"),
    # common practice, no source: a valve with its load resistor has some kilohms at its plate
    [("valve preamplifier", 4700.0, False), ("tube line stage", 5000.0, False),
     ("valve preamplifier", 47000.0, True), ("preamplifier", 4700.0, True)],
)  # fmt: skip
def test_a_valve_stage_without_a_follower_is_no_slipped_point(
    tmp_path: Path, kind: str, ohm: float, asked: bool
) -> None:
    """Lost: "buy nothing before" above a lead that is right, for an ordinary figure."""
    device = f'[device]\nkind = "{kind}"'
    told = unlikely(
        tmp_path, f"single_ended_level_v = 2.0\nsingle_ended_impedance_ohm = {ohm}\n{device}"
    )
    assert bool(told) is asked


@pytest.mark.parametrize(
    ("ohm", "metres", "waits"),
    # closed form: 3.9 beside 47 kohm are 3.6; with 0.2 nF (2 m of 100 pF/m) 0.03 dB are lost at
    # 20 kHz, with 3 nF (30 m) 4.5 dB, of which 50 ohm lose none
    [(3900.0, 2.0, False), (3900.0, 30.0, True)],
)
def test_a_lead_that_is_right_whatever_the_ohms_are_need_not_wait(
    tmp_path: Path, ohm: float, metres: float, waits: bool
) -> None:
    """Lost: "buy nothing before", of a lead that every answer to the question takes."""
    path = tmp_path / "source.toml"
    path.write_text(
        'format = "probe-source/1"\nsingle_ended_level_v = 2.0\n'
        f"single_ended_impedance_ohm = {ohm}\n"
        '[device]\nkind = "CD player"\noutput = "line"\nconnectors = ["rca"]\n', "utf-8",
    )  # fmt: skip
    there = changed(typed_destination("rca:47k:1V", 50.0), cable=f"{metres:g}m")
    advice = advise(*read_source(path), there)
    (code,) = [c.code for c in advice.cautions if c.code.startswith("unlikely-output")]
    assert (code == "unlikely-output") == waits
    (leaf,) = leaves_of(advice.to_json())
    # it is asked about all the same, above all else
    assert "Look the figure up again." in leaf.asked[0]
    assert "FIRST  3.90 kohm" in render(advice)
    if not waits:
        assert "The lead here is right with 50 to 2200 ohm as well" in " ".join(
            render(advice).split()
        )
        assert not any("Buy nothing before" in line for line in leaf.needs)


@pytest.mark.parametrize(
    ("stated", "asked"),
    [
        # common practice, no source: what no output can be, and beside each what one is
        ("differential_level_v = 4.0\ndifferential_maximum_v = 2.0", "maximum of 2.00 V"),
        ("differential_level_v = 4.0\ndifferential_maximum_v = 3.9", ""),
        (
            "hot_level_v = 2.0\ncold_level_v = 2.0\ndifferential_maximum_v = 2.0",
            "maximum of 2.00 V",
        ),
        ("single_ended_level_v = 2.0\nsingle_ended_maximum_v = 1.0", "maximum of 1.00 V"),
        ('kinds = ["impedance-balanced"]\nhot_level_v = 2.0\ncold_level_v = 2.0', "no signal"),
        ('kinds = ["impedance-balanced"]\nhot_level_v = 2.0\ncold_level_v = 0.0', ""),
        ('kinds = ["differential"]\nhot_level_v = 2.0\ncold_level_v = 2.0', ""),
        ('kinds = ["differential"]\nhot_level_v = 1.0\ncold_level_v = 6.0', "about the same"),
        ("differential_level_v = 4.0\ndifferential_noise_a_v = 4.0", "some microvolts"),
        ("differential_level_v = 4.0\ndifferential_noise_a_v = 4e-6", ""),
        ("single_ended_level_v = 2.0\nsingle_ended_noise_a_v = 5.0", "some microvolts"),
        ("differential_level_v = 4.0\ndifferential_impedance_ohm = 600000.0", "4400 ohm"),
    ],
)
@pytest.mark.long
def test_a_data_sheet_that_contradicts_itself_is_asked_about(
    tmp_path: Path, stated: str, asked: str
) -> None:
    """Else a slip of the pen becomes a lead somebody buys."""
    told = unlikely(tmp_path, stated)
    assert len(told) == bool(asked)
    assert all(asked in says and " up again" in says for says in told)


def test_a_gain_within_its_doubt_is_not_called_missed(tmp_path: Path) -> None:
    there = changed(typed_destination("rca:47k:1V", 50.0), gain="6dB")
    why = ask(tmp_path, there).choices[0].why
    # closed form: twice the volts are 6.02 dB, each level to 5 %
    assert any("whether the wanted +6 dB is reached is not sure: this gives +" in w for w in why)


@pytest.mark.parametrize(("level", "asked"), [("40V", True), ("4mV", True), ("4V", False),
                                              ("0.5V", False)])  # fmt: skip
def test_a_level_that_the_device_does_not_give_is_asked_about(
    tmp_path: Path, level: str, asked: bool
) -> None:
    there = changed(typed_destination("rca:47k:1V", 50.0), level=level)
    told = [c.message for c in ask(tmp_path, there).cautions if c.code == "unlikely-level"]
    assert bool(told) is asked


def test_a_level_that_the_device_does_not_give_sizes_nothing(tmp_path: Path) -> None:
    """A slip in the level must not have somebody solder an attenuator that starves the input."""
    there = typed_destination("rca:47k:1V", 50.0)
    slipped = ask(tmp_path, changed(there, level="40V"))
    (plain,) = [o for o in slipped.options if o.option.id == "rca-to-rca"]
    (meant,) = [o for o in ask(tmp_path, there).options if o.option.id == "rca-to-rca"]
    assert plain.figures.level is not None
    assert meant.figures.level is not None
    # the rule: an output gives no more than its full output, the level of nothing declared
    assert plain.figures.level.value == pytest.approx(meant.figures.level.value, rel=1e-9)
    # the same
    assert [(c.option, c.attenuator) for c in slipped.choices] == [
        (c.option, c.attenuator) for c in ask(tmp_path, there).choices
    ]
    # the rule: asked before anything is chosen
    screen = render(slipped)
    assert screen.index("FIRST  40.0 V are said") < screen.index("USE")


def test_hum_is_named_before_what_two_resistors_cure(tmp_path: Path) -> None:
    there = changed(typed_destination("rca:100k:0.8V:max=1.5V", 50.0), ground="two-rooms",
                    cable="8m", level="4V")  # fmt: skip
    advice = ask(tmp_path, there)
    (plain,) = [o for o in advice.options if o.option.id == "rca-to-rca"]
    # closed form: 0.1 V x 0.28 / 1.28 ohm is 31 dB below 0.8 V
    assert plain.because.startswith("hum 31")
    # the rule: it is quieter than the link by what its attenuator takes, which is no reason
    assert advice.choices[0].why[0].startswith("with an attenuator")
    assert not any("as loud as" in why or "louder than" in why for why in advice.choices[0].why)


XLR_ALONE = """
format = "probe-source/1"
differential_level_v = 4.0
differential_impedance_ohm = 200.0
{more}
[device]
maker = "Harrowgate"
model = "Siskin"
connectors = ["xlr"]
"""


@pytest.mark.parametrize(("more", "asked"), [("", True), ('kinds = ["pin-3-unconnected"]', False)])
@pytest.mark.long
def test_the_maker_is_asked_about_pin_3_first(tmp_path: Path, more: str, asked: bool) -> None:
    """A customer was told to have the output measured where a question to its maker does."""
    there = changed(typed_destination("rca:20k:1V", 50.0), ground="two-rooms", cable="20m")
    path = tmp_path / "xlr.toml"
    path.write_text(XLR_ALONE.format(more=more), "utf-8")
    advice = advise(*read_source(path), there)
    assert advice.chosen is None
    # the rule: a winding between pins 2 and 3 has no signal where pin 3 hangs on nothing, and has
    # it with every other kind; where it is known to hang on nothing, nobody is asked
    assert ("whether pin 3" in advice.choices[0].why[0]) is asked
    (leaf,) = leaves_of(advice.to_json())
    assert ("whether pin 3" in leaf.why[0]) is asked
    assert ("pin 3 first" in leaf.chosen) is asked


@pytest.mark.long
def test_a_slipped_level_does_not_take_the_question_off_the_sheet(tmp_path: Path) -> None:
    there = changed(typed_destination("rca:20k:1V", 50.0), ground="two-rooms", cable="20m",
                    level="40V")  # fmt: skip
    path = tmp_path / "xlr.toml"
    path.write_text(XLR_ALONE.format(more=""), "utf-8")
    (leaf,) = leaves_of(advise(*read_source(path), there).to_json())
    # the rule: what is asked again of a figure forbids nothing, and hides nothing
    assert leaf.asked
    assert "whether pin 3" in leaf.why[0]


def test_what_the_maker_answers_about_pin_3_opens_the_way(tmp_path: Path) -> None:
    there = changed(typed_destination("rca:20k:1V", 50.0), ground="two-rooms", cable="20m")
    path = tmp_path / "xlr.toml"
    kinds = ("differential", "electronically-floating", "transformer-coupled", "ground-sensing",
             "impedance-balanced", "unbalanced")  # fmt: skip
    path.write_text(XLR_ALONE.format(more=f"kinds = {list(kinds)}"), "utf-8")
    # the rule: what was promised with the question holds with its answer in the file
    assert advise(*read_source(path), there).chosen == "xlr-to-rca/transformer"


@pytest.mark.parametrize("preset", ["unearthed", "earthed-and-unearthed"])
def test_the_mains_of_the_place_stand_behind_its_presets(tmp_path: Path, preset: str) -> None:
    """Lost where mains are 120 V, 60 Hz: hum is told 4 dB louder than it is."""
    hums = []
    for mains in ("", "mains_hz = 60\nmains_v = 120\n"):
        path = tmp_path / "source.toml"
        path.write_text(SHEET.replace("[device]", f"{mains}[device]"), "utf-8")
        facts, sources = read_source(path)
        place = mains_of(facts), mains_volts_of(facts)
        typed = changed(typed_destination("rca:47k:2V", *place), ground=preset)
        (tmp_path / "d.toml").write_text(
            'format = "probe-destination/1"\n[[input]]\nconnector = "rca"\nimpedance_ohm = 47e3\n'
            f'sensitivity_v = 2.0\n[ground]\npreset = "{preset}"\n'
        )
        for there in (typed, read_destination(tmp_path / "d.toml", *place)):
            advice = advise(facts, sources, there)
            (hum,) = [o.figures.hum for o in advice.options if o.option.id == "rca-to-rca"]
            assert hum is not None
            hums.append(hum.value)
    assert hums[0] == hums[1]
    assert hums[2] == hums[3]
    # closed form: a current U 2 pi f C through the shield: 60 V and 60 Hz against 115 V and 50 Hz
    assert hums[2] / hums[0] == pytest.approx(60.0 * 60.0 / (115.0 * 50.0), rel=1e-3)


def test_more_than_half_of_the_mains_is_a_fault(tmp_path: Path) -> None:
    """Lost where mains are 120 V: 115 V between two chassis pass for the leak of a filter."""
    path = tmp_path / "source.toml"
    found = {}
    for mains in ("mains_v = 230", "mains_hz = 50", "mains_v = 120", "mains_hz = 60", ""):
        path.write_text(SHEET.replace("[device]", f"{mains}\n[device]"), "utf-8")
        facts, sources = read_source(path)
        there = typed_destination("rca:47k:2V", mains_of(facts), mains_volts_of(facts))
        for ground in ("115V/2.2nF", "54V/2.2nF", "unearthed"):
            advice = advise(facts, sources, changed(there, ground=ground))
            notes = [n.message for n in advice.cautions if n.code == "ground-fault"]
            found[mains, ground] = bool(notes)
            # who has 230 V is told what to say
            assert all("mains_v" in mains or "--mains 230V" in said for said in notes)
    # closed form: a filter's two capacitors halve 230 V to 115 V, 120 V to 60 V and 100 V to 50 V;
    # common practice: 60 Hz go with 100 to 127 V, 50 Hz with 230 V
    assert [of for of, fault in found.items() if fault] == [
        ("mains_v = 120", "115V/2.2nF"), ("mains_hz = 60", "115V/2.2nF"), ("", "115V/2.2nF"),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("ground", "code"),
    [
        # IEC 62368-1, from memory: 3.5 mA of what has a protective earth; Ohm's law for the second
        ("110V/9mA/100ohm", "ground-fault"),
        ("100V/5mA/100ohm", "ground-fault"),
        ("100V/3.0mA/100ohm", "ground-current"),
        # from memory: 0.75 mA of what is held in the hand
        ("100V/1mA/100ohm", "ground-current"),
        ("100V/0.6mA/100ohm", None),
        # a few volts between earthed boxes are no matter of touch: 3 V behind 500 ohm, 6 mA
        ("3V/500ohm", None),
    ],
)
def test_milliamperes_that_hurt_are_no_hum(ground: str, code: str | None) -> None:
    """An isolator was sold against the hum of a box that had lost its protective earth."""
    there = changed(typed_destination("rca:47k:1V", 50.0), ground=ground)
    told = [*ground_fault(there), *ground_high(there)]
    assert [c.code for c in told] == ([code] if code else [])
    assert all("Unplug both" in c.message for c in told)
    # it keeps hum from the loudspeaker, and nothing from the hand
    assert all("isolating transformer leaves both chassis as" in c.message for c in told)


@pytest.mark.parametrize("line", ["mains_hz = 500", "mains_v = 12"])
def test_mains_of_no_place_are_refused(tmp_path: Path, line: str) -> None:
    path = tmp_path / "source.toml"
    path.write_text(SHEET.replace("[device]", f"{line}\n[device]"), "utf-8")
    with pytest.raises(BadInput, match=line.split(" ", maxsplit=1)[0]):
        read_source(path)
