"""Where a lead is tried or asked about first, the list begins with what that lead takes."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from probe.cli.main import main
from probe.report.leaflet import leaves_of
from tests.advice.shelves import HEAD, part

DEVICE = """
[device]
maker = "Quell"
model = "Larder"
kind = "mixer"
output = "line"
connectors = ["xlr"]
"""

WINDING = """
format = "probe-source/1"
kinds = ["transformer-coupled"]
differential_level_v = 2.0
differential_maximum_v = 9.0
differential_impedance_ohm = 150.0
"""

SENSE = """
format = "probe-source/1"
kinds = ["ground-sensing"]
differential_level_v = 1.228
differential_maximum_v = 8.7
hot_impedance_ohm = 50.0
cold_impedance_ohm = 50.0
"""


TELEVISION = """
format = "probe-source/1"
single_ended_level_v = 0.7
single_ended_impedance_ohm = 600.0
"""


def lead(name: str, wires: str, price: float, stock: int, to: str = "rca-male") -> str:
    return part(name, "lead", f"xlr-female {to}", price, f"wires = {wires}\nlength_m = 2.0", stock)


SHELF = (
    HEAD
    + lead("open lead", '["2-centre", "1-shell"]', 22.0, 4)
    + lead("tied lead", '["2-centre", "1-shell", "3-shell"]', 14.0, 3)
    + lead("XLR lead", '["1-1", "2-2", "3-3"]', 16.0, 6, "xlr-male")
)


def said(
    folder: Path,
    capsys: pytest.CaptureFixture[str],
    source: str,
    *args: str,
    shelf: str = SHELF,
    device: str = DEVICE,
) -> tuple[str, list[list[str]], list[tuple[str, ...]]]:
    """Return the screen's list as one line, that of the document, and those of the sheets."""
    paths = folder / "source.toml", folder / "shelf.toml"
    paths[0].write_text(source + device, "utf-8")
    paths[1].write_text(shelf, "utf-8")
    length = [] if "--cable" in args else ["--cable", "2m"]
    line = ["advise", str(paths[0]), *args, *length, "--shelf", str(paths[1])]
    assert main(line) == 0
    screen = " ".join(capsys.readouterr().out.partition("From the shelf")[2].split())
    assert main([*line, "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    says = [basket["says"] for basket in document["shelf"]]
    return screen, says, [leaf.needs for leaf in leaves_of(document)]


def test_a_lead_to_try_is_taken_along_before_isolators_are_ordered(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Lost: a customer told to try a lead goes home with an order for isolators, without it."""
    screen, ((first, then, *_),), ((need, *_),) = said(
        tmp_path, capsys, SENSE, "rca:10k:0.775V", "--ground", "two-rooms"
    )
    # by hand from the shelf: two of 14 EUR
    assert first == "first: 2 x tied lead, 28.00 EUR for both sides of a stereo device"
    assert then.startswith("only if that does not do: 2 x XLR lead; order, 2 x: transformer, ")
    assert screen.startswith(f"- {first} - only if that does not do: 2 x XLR lead; order")
    # the sheet has the same lines, each as a sentence
    assert need == f"F{first[1:]}"


def test_each_answer_of_the_maker_has_its_lead_on_the_list(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Lost: whatever the maker answers it is a lead of the shelf, and none is on the list."""
    screen, ((yes, no, then, *rest),), (needs,) = said(
        tmp_path, capsys, WINDING, "rca:47k:1V", "--ground", "same-strip"
    )
    # by hand from the shelf: two of 14 EUR, two of 22 EUR, and then two of 16 EUR
    assert yes.startswith("first ask (above), and if so: 2 x tied lead, 28.00 EUR for both sides")
    assert no.startswith("if not: 2 x open lead, 44.00 EUR for both sides")
    assert then.startswith("only if neither does: 2 x XLR lead; order, 2 x: transformer, ")
    assert any(line.startswith("in that case 32.00 EUR for both sides") for line in rest)
    assert screen.startswith(f"- {yes} - {no} - only if")
    assert list(needs[:2]) == [f"F{yes[1:]}", f"I{no[1:]}"]


def test_a_lead_to_try_that_is_not_there_is_to_be_ordered(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Lost: the lead is named first, and nobody says that it has to be ordered."""
    shelf = 'format = "probe-shelf/1"\n' + lead("open lead", '["2-centre", "1-shell"]', 22.0, 4)
    args = "rca:10k:0.775V", "--ground", "two-rooms"
    _, ((first, *_),), _ = said(tmp_path, capsys, SENSE, *args, shelf=shelf)
    assert first.startswith("first: order, 2 x: lead, XLR female to RCA plug")


def with_data(name: str, price: float, **data: float) -> str:
    wires = '["2-centre", "1-shell", "3-shell"]'
    return lead(name, wires, price, 6) + "".join(f"{key} = {v}\n" for key, v in data.items())


def test_a_lead_to_try_is_solved_with_its_own_data(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Lost: "it harms nothing" of a lead that takes the treble, and proves nothing by its sound."""
    source, args = SENSE.replace("50.0", "600.0"), ("rca:10k:0.775V", "--ground", "two-rooms")
    thin = with_data("thin", 9.0, capacitance_pf_per_m=10000.0)
    shelf = 'format = "probe-shelf/1"\n' + thin
    # closed form: 480 to 720 beside 10 kohm with 20 nF lose 3.6 to 5.9 dB at 20 kHz
    _, ((first, *_),), _ = said(tmp_path, capsys, source, *args, shelf=shelf)
    assert first.startswith("first: order, 2 x: lead, XLR female to RCA plug")
    assert "thin does not do (20000 pF where 200 were solved)" in first
    assert "is lost at 20 kHz" in first
    good = with_data("good", 30.0, capacitance_pf_per_m=60.0)
    _, ((first, *_),), _ = said(tmp_path, capsys, source, *args, shelf=shelf + good)
    assert first == "first: 2 x good, 60.00 EUR for both sides of a stereo device"


def test_a_lead_that_surely_hums_is_not_tried(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Lost: an evening with a lead of which the figures know that it hums."""
    source, args = TELEVISION, ("rca:20k:0.2V:sub", "--ground", "unearthed")
    wires = '["centre-centre", "shell-shell"]'
    rca = lead("worn", wires, 9.0, 6).replace("xlr-female", "rca-male")
    shelf = 'format = "probe-shelf/1"\n' + rca + "shield_milliohm_per_m = 200.0\n"
    device = DEVICE.replace("mixer", "television").replace("xlr", "rca")
    shelf = shelf.replace("length_m = 2.0", "length_m = 15.0")
    args = (*args, "--cable", "15m")
    _, ((first, *_),), _ = said(tmp_path, capsys, source, *args, shelf=shelf, device=device)
    # closed form: 15 m of 30 mohm and contacts of 20 are 0.47 ohm, of 200 mohm 3.02: 16 dB more
    assert first.startswith("first: order, 1 x: lead, RCA plug to RCA plug")
    assert "worn does not do" in first


def test_a_lead_to_try_has_the_attenuator_of_its_way(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Lost: 10 dB are asked for, and the lead to be tried is sold without them."""
    pad = (
        '[[part]]\nname = "pad"\nkind = "attenuator"\nfrom = "rca-female"\nto = "rca-male"\n'
        "attenuation_db = 10.0\nprice = 12.0\nstock = 8\n"
    )
    args = "rca:10k:0.775V", "--ground", "two-rooms", "--attenuate", "10"
    screen, ((first, *_),), _ = said(tmp_path, capsys, SENSE, *args, shelf=SHELF + pad)
    assert "first: 2 x tied lead; 2 x pad" in screen
    # by hand from the shelf: two of 14 and two of 12 EUR
    assert first.startswith("first: 2 x tied lead; 2 x pad; in this order, from the device: ")
    assert first.endswith("52.00 EUR for both sides of a stereo device")


def test_boxes_share_the_stock_of_the_leads_they_try(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Lost: three leads in stock are promised to two boxes that take two each."""
    boxes = "rca:10k:0.775V", "rca:10k:0.775V"
    screen, ((one, *_), (other, *_), *_), _ = said(
        tmp_path, capsys, SENSE, *boxes, "--ground", "two-rooms"
    )
    assert "in stock" not in one
    # by hand: 3 in stock less the 2 of the first box
    assert other.startswith("first: 2 x tied lead (only 1 in stock: order the rest)")
    # by hand: four of 14 EUR
    assert "first: 4 x tied lead (only 3 in stock: order the rest), 56.00 EUR" in screen


def test_what_the_aerial_may_spare_is_bought_only_if_it_is_not_that_lead(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Lost: the sheet says to unplug the aerial first, and lists the isolators all the same."""
    source = """
format = "probe-source/1"
single_ended_level_v = 1.0
single_ended_impedance_ohm = 200.0
"""
    rca = """
[[part]]
name = "RCA lead"
kind = "lead"
from = "rca-male"
to = "rca-male"
wires = ["centre-centre", "shell-shell"]
length_m = 2.0
price = 6.0
stock = 4
"""
    device = DEVICE.replace('"xlr"', '"rca"')
    (tmp_path / "tv.toml").write_text(source + device, "utf-8")
    (tmp_path / "shelf.toml").write_text('format = "probe-shelf/1"\n' + rca, "utf-8")
    args = ["advise", str(tmp_path / "tv.toml"), "rca:20k:0.3V", "--ground", "antenna-or-network",
            "--cable", "2m", "--shelf", str(tmp_path / "shelf.toml"), "--json"]  # fmt: skip
    assert main(args) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["chosen"] == "rca-to-rca/transformer"
    (basket,) = document["shelf"]
    first, then, *_ = basket["says"]
    # by hand from the shelf: two of 6 EUR
    assert first.startswith("first, for what is done first (above): 2 x RCA lead, 12.00")
    assert first.endswith("; if the hum goes, no more than what is named there")
    # it is bought once: the lead that was tried is the one before the transformer
    assert then.startswith("only if that does not do: 2 x RCA lead (what was tried); order, 2 x: ")
    (leaf,) = leaves_of(document)
    assert leaf.chosen == "Try first, as above: RCA lead, single-ended to single-ended"
    assert "transformer" not in str(leaf.drawing)
    (asked,) = leaf.asked
    assert asked.startswith("First plug in “RCA lead, single-ended to single-ended”. Before ")


def test_the_lead_of_the_try_is_used_behind_the_transformer(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Lost: a second lead is sold for the isolator, beside the one that was bought to be tried."""
    thin, screened = (
        lead(name, '["centre-centre", "shell-shell"]', price, 6).replace("xlr-female", "rca-male")
        + f"shield_milliohm_per_m = {shield}\n"
        for name, price, shield in (("Thin", 6.0, 90.0), ("Screened", 14.0, 10.0))
    )
    shelf = 'format = "probe-shelf/1"\n' + thin + screened
    args = "rca:47k:1V", "--ground", "computer", "--cable", "2m"
    source = TELEVISION.replace("0.7", "2.0")
    device = DEVICE.replace("mixer", "DAC").replace("xlr", "rca")
    _, ((first, then, *_),), _ = said(tmp_path, capsys, source, *args, shelf=shelf, device=device)
    # closed form: shield and contacts of 20 + 20 mohm hum 20 log(200 / 40) = 14 dB less than
    # those of 180 + 20
    assert first.startswith("first, for what is done first (above): 2 x Screened, 28.00 EUR")
    # behind a transformer no shield matters, and the one that is there costs nothing more
    assert then.startswith("only if that does not do: 2 x Screened (what was tried); ")
    assert "Thin" not in then


def test_any_lead_does_to_listen_with(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Lost: a lead is ordered to be tried at the computer, and the one in stock "does not do"."""
    fair = lead("Fair", '["centre-centre", "shell-shell"]', 6.0, 6)
    fair = fair.replace("xlr-female", "rca-male") + "shield_milliohm_per_m = 60.0\n"
    args = "rca:22k:0.5V", "--ground", "computer", "--cable", "2m"
    source = TELEVISION.replace("0.7", "1.2")
    device = DEVICE.replace("mixer", "DAC").replace("xlr", "rca")
    shelf = 'format = "probe-shelf/1"\n' + fair
    _, ((first, then, *_),), _ = said(tmp_path, capsys, source, *args, shelf=shelf, device=device)
    # closed form: 120 + 20 mohm hum 20 log(140 / 80) = 4.9 dB more than the 80 that were solved;
    # it is heard with any lead whether the hum goes with what is unplugged
    assert first.startswith("first, for what is done first (above): 2 x Fair; Fair: ")
    assert ", 12.00 EUR for both sides" in first
    assert then.startswith("only if that does not do: 2 x Fair (what was tried); ")


def test_the_lead_that_a_maker_opens_stands_before_a_transformer(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Lost: the maker is to be asked about a lead in stock, and the list has a 2:1 transformer."""
    source = TELEVISION.replace("0.7", "2.0").replace("600.0", "2000.0")
    device = DEVICE.replace("mixer", "valve preamplifier").replace("xlr", "rca")
    rca = lead("RCA lead", '["centre-centre", "shell-shell"]', 9.0, 6)
    shelf = 'format = "probe-shelf/1"\n' + rca.replace("xlr-female", "rca-male")
    args = "rca:5k:2V", "--ground", "same-strip"
    screen, ((yes, no, *_),), _ = said(tmp_path, capsys, source, *args, shelf=shelf, device=device)
    # by hand from the shelf: two of 9 EUR
    assert yes == (
        "first ask (above), and if so: 2 x RCA lead, 18.00 EUR for both sides of a stereo device"
    )
    assert no.startswith(
        "without such an answer: take nothing yet: no connection is to be used (above); "
    )
    assert screen.startswith(f"- {yes} - without such an answer: take nothing yet")


def test_a_question_that_the_list_counts_on_is_above_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Lost: "first ask (above)", and nothing is asked anywhere above on a screen of three boxes."""
    source, shelf = tmp_path / "source.toml", tmp_path / "shelf.toml"
    source.write_text("""\
format = "probe-source/1"
single_ended_level_v = 2.0
single_ended_maximum_v = 8.0
single_ended_impedance_ohm = 200.0
[device]
maker = "Ostrel"
model = "Line"
kind = "preamplifier"
output = "line"
connectors = ["rca"]
""", "utf-8")  # fmt: skip
    shelf.write_text("""\
format = "probe-shelf/1"
[[part]]
name = "pair"
kind = "lead"
from = "rca-male"
to = "rca-male"
wires = ["centre-centre", "shell-shell"]
length_m = 1.5
pieces = 2
price = 17.0
stock = 6
""", "utf-8")  # fmt: skip
    boxes = ["rca:2k:0.5V", "rca:2k:0.5V", "rca:47k:1V"]
    args = ["--ground", "same-strip", "--cable", "1.5m", "--shelf", str(shelf)]
    assert main(["advise", str(source), *boxes, *args]) == 0
    above, _, listed = " ".join(capsys.readouterr().out.split()).partition("From the shelf")
    assert "first ask (above)" in listed
    # common practice, no source: what is referred to is there, with the choice
    asked = "Why before anything is bought, ask the maker of Ostrel Line for the minimum load"
    assert asked in above


PLAYER = """
format = "probe-source/1"
single_ended_level_v = 2.0
single_ended_impedance_ohm = 300.0
[device]
maker = "Quell"
model = "Disc"
kind = "CD player"
output = "line"
connectors = ["rca"]
"""


def rca_lead(length: float, price: float) -> str:
    return (
        f'[[part]]\nname = "pair {length} m"\nkind = "lead"\nfrom = "rca-male"\n'
        'to = "rca-male"\nwires = ["centre-centre", "shell-shell"]\n'
        f"price = {price}\nstock = 4\nlength_m = {length}\npieces = 2\n"
        "capacitance_pf_per_m = 80.0\nshield_milliohm_per_m = 15.0\ncontact_milliohm = 10.0\n"
    )


def test_the_list_begins_with_the_lead_without_the_attenuator(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    pad = (
        '[[part]]\nname = "pad 12 dB"\nkind = "attenuator"\nfrom = "rca-female"\n'
        'to = "rca-male"\nattenuation_db = 12.0\nprice = 15.0\nstock = 4\n'
    )
    shelf = 'format = "probe-shelf/1"\ncurrency = "EUR"\n' + rca_lead(1.5, 18.0) + pad
    ground = ("rca:10k:0.15V", "--ground", "same-strip", "--cable", "1m")
    screen, _, _ = said(tmp_path, capsys, PLAYER, *ground, shelf=shelf, device="")
    # lost: the lead of 32.5 mohm, quieter than the one that was solved, "does not do" alone; and
    # 30 of 48 EUR for a hum that nobody heard
    first = "first: 1 x pair 1.5 m, 2 in a package, 18.00 EUR for both sides of a stereo device"
    assert screen.startswith(f"- {first} - only if that does not do: 1 x pair 1.5 m")
    assert "2 x pad 12 dB" in screen
    assert "48.00 EUR" in screen
    assert "does not do (" not in screen


def test_what_is_tried_first_heads_screen_and_list_where_a_maker_is_asked_too(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Lost: the lead of the headline is on no list, though its parts are there."""
    source = """
format = "probe-source/1"
single_ended_level_v = 0.8
"""
    parts = """
[[part]]
name = "RCA lead"
kind = "lead"
from = "rca-male"
to = "rca-male"
wires = ["centre-centre", "shell-shell"]
length_m = 4.0
price = 6.0
stock = 4

[[part]]
name = "joined adapter"
kind = "adapter"
from = "rca-female"
to = "xlr-male"
wires = ["centre-2", "shell-1", "shell-3"]
price = 7.0
stock = 4
"""
    (tmp_path / "tv.toml").write_text(source + DEVICE.replace('"xlr"', '"rca"'), "utf-8")
    (tmp_path / "shelf.toml").write_text('format = "probe-shelf/1"\n' + parts, "utf-8")
    place = ["--ground", "antenna-or-network", "--cable", "4m"]
    args = ["advise", str(tmp_path / "tv.toml"), "xlr:10k/leg:1V", *place]
    args += ["--shelf", str(tmp_path / "shelf.toml")]
    assert main([*args, "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["chosen"] is None
    asked = {one["code"] for one in document["would_change"]}
    assert asked >= {"origin-first", "output-impedance"}
    (leaf,) = leaves_of(document)
    assert (
        leaf.chosen == "Try first, as above: RCA to XLR: pin 3 joined to pin 1 at the destination"
    )
    first, then, *_ = leaf.needs
    # by hand from the shelf: two leads of 6 EUR and two adapters of 7 EUR
    assert first.startswith("First, for what is done first (above): 2 x RCA lead; 2 x joined adap")
    assert ", 26.00 EUR" in first
    assert then.startswith("If that does not do, ask (above), and if so: order, 2 x: lead, RCA")
    assert "if the hum goes" not in then
    assert main(args) == 0
    screen = capsys.readouterr().out
    # the rule: the screen has the headline of the sheet
    assert "TRY FIRST  rca-to-xlr/pin-3-tied-at-destination" in screen
    assert "USE NOTHING YET" not in screen


def test_one_lead_is_the_first_and_any_in_stock_does_to_listen(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Lost: one lead is tried, another plugged in for the aerial, and the first is an order."""
    there = tmp_path / "speakers.toml"
    there.write_text("""\
format = "probe-destination/1"
name = "active speakers"
[[input]]
connector = "xlr"
receiver = "balanced"
impedance_ohm = 10000
impedance_is = "each-leg"
sensitivity_v = 0.6
maximum_v = 5.0
[[input]]
connector = "rca"
impedance_ohm = 10000
sensitivity_v = 0.3
maximum_v = 2.5
""", "utf-8")  # fmt: skip
    source = TELEVISION.replace("0.7", "1.0").replace("600.0", "1000.0")
    three = lead("three conductors", '["centre-2", "shell-3", "shell-1"]', 46.0, 6, "xlr-male")
    three = three.replace("xlr-female", "rca-male").replace("length_m = 2.0", "length_m = 8.0")
    shelf = 'format = "probe-shelf/1"\ncurrency = "EUR"\n' + three
    args = (str(there), "--ground", "antenna-or-network", "--cable", "6m")
    device = DEVICE.replace("mixer", "television").replace("xlr", "rca")
    _, ((first, *_),), (needs,) = said(tmp_path, capsys, source, *args, shelf=shelf, device=device)
    # by hand: 8 m of 30 mohm and contacts of 20 are 260 mohm, of 6 m 200: 2.3 dB more hum, for a
    # try; two of 46 EUR
    assert first.startswith("first: 2 x three conductors; ")
    # it hums for certain until the aerial is out: who reads the list knows what it is bought for
    # regression only: the figure of that lead, 2.3 dB below what was solved
    assert "hum 61.1 dB" in first
    assert "enough to hear whether the hum goes with what is done first" in first
    assert first.endswith("92.00 EUR for both sides of a stereo device")
    assert needs[0].startswith("First: 2 x three conductors; ")
    line = ["advise", str(tmp_path / "source.toml"), *args]
    assert main(line) == 0
    screen = " ".join(capsys.readouterr().out.split())
    assert "TRY FIRST rca-to-xlr/pin-3-tied-at-source" in screen
    assert "- if it hums, before anything else is bought, unplug the antenna" in screen
    assert "first plug in" not in screen
    assert main([*line, "--json"]) == 0
    (leaf,) = leaves_of(json.loads(capsys.readouterr().out))
    tried, after = leaf.asked[:2]
    assert tried.startswith("Before a transformer is bought, try this: RCA to XLR: three")
    assert after.startswith("If that hums, before anything else is bought, unplug the antenna")
    assert "First plug in" not in " ".join(leaf.asked)
