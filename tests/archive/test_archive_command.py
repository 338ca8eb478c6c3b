"""``probe archive`` as typed, and entries where other commands take a facts file."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest

from probe.cli.main import main
from probe.facts import to_json
from probe.report.summary import widest
from tests.archive.made import example
from tests.house.readme import ROOT
from tests.verify.documents import entry
from tests.verify.test_verify_page import HOSTILE, SPEC


@pytest.fixture
def kept(tmp_path: Path) -> str:
    return str(tmp_path / "archive.sqlite")


def typed(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    capsys.readouterr()
    status = main(list(arguments))
    out, err = capsys.readouterr()
    return status, out, err


def add(folder: Path, kept: str, *documents: dict[str, object]) -> None:
    paths = []
    for number, facts in enumerate(documents):
        path = folder / f"facts-{number}.json"
        path.write_text(to_json(facts), "utf-8")
        paths.append(str(path))
    assert main(["archive", "add", "--archive", kept, *paths]) == 0


@pytest.mark.long
def test_a_session_is_kept_found_shown_and_given_back(
    tmp_path: Path, kept: str, capsys: pytest.CaptureFixture[str]
) -> None:
    session = ROOT / "captures" / "streamer-ground-sensing"
    assert main(["archive", "add", str(session), "--archive", kept, "--note", "on loan"]) == 0
    status, out, _ = typed(capsys, "archive", "search", "ground-sensing", "loan", "--archive", kept)
    # by design: lines for the device, that it is no real one, and its note; none for faults
    assert status == 0
    assert [line.split()[0] for line in out.splitlines()] == ["1", "SIMULATED", "on"]
    back = tmp_path / "back"
    status, out, _ = typed(
        capsys, "archive", "show", "1", "--archive", kept, "--session", str(back),
        "--facts", str(tmp_path / "f.json"), "--report", str(tmp_path / "r.html"),
    )  # fmt: skip
    assert status == 0
    # closed form: identity
    for path in session.glob("*.flac"):
        assert (back / path.name).read_bytes() == path.read_bytes()
    assert json.loads((tmp_path / "f.json").read_text("utf-8"))["format"] == "probe-facts/1"
    assert "<html" in (tmp_path / "r.html").read_text("utf-8")
    assert typed(capsys, "archive", "show", "1", "--archive", kept, "--session", str(back))[0] == 2


def test_one_bad_source_leaves_no_archive_and_no_entry(
    tmp_path: Path, kept: str, capsys: pytest.CaptureFixture[str]
) -> None:
    good, bad = tmp_path / "good.json", tmp_path / "bad.json"
    good.write_text(to_json(example(3)), "utf-8")
    bad.write_text("{}", "utf-8")
    status, out, err = typed(capsys, "archive", "add", str(good), str(bad), "--archive", kept)
    # by design: bad input is one line, and nothing was begun
    assert (status, out, len(err.splitlines())) == (2, "", 1)
    assert not Path(kept).exists()


def test_an_entry_stands_where_a_facts_file_does(
    tmp_path: Path, kept: str, capsys: pytest.CaptureFixture[str]
) -> None:
    add(tmp_path, kept, example(3), example(4))
    (tmp_path / "spec.toml").write_text(SPEC, "utf-8")
    spec = str(tmp_path / "spec.toml")
    from_file = typed(capsys, "verify", str(tmp_path / "facts-0.json"), spec)
    from_entry = typed(capsys, "verify", "archive:S-00003", spec, "--archive", kept)
    # closed form: the same facts, the same answer
    assert from_file == from_entry
    assert typed(capsys, "verify", "archive:larkfield", spec, "--archive", kept)[0] in (0, 1)
    status, out, err = typed(capsys, "verify", "archive:nobody", spec, "--archive", kept)
    assert (status, out, len(err.splitlines())) == (2, "", 1)
    (tmp_path / "d.toml").write_text(
        'format = "probe-destination/1"\n[[input]]\nconnector = "rca"\n', "utf-8"
    )
    place = str(tmp_path / "d.toml")
    advice = typed(capsys, "advise", "archive:1", place, "--archive", kept, "--json")
    assert advice == typed(capsys, "advise", str(tmp_path / "facts-0.json"), place, "--json")
    assert advice[0] == 0


def test_drift_and_family(tmp_path: Path, kept: str, capsys: pytest.CaptureFixture[str]) -> None:
    looks = [example(5, ohm=100.0 + 4.0 * k, on=f"20{20 + k}-05-01") for k in range(3)]
    for k, one in enumerate(looks):
        one["made"]["session_sha256"] = f"{900 + k:064x}"
    sisters = [example(5 + 20 * k, ohm=100.0 + 0.3 * k) for k in range(1, 7)]
    add(tmp_path, kept, *looks, *sisters)
    status, out, _ = typed(capsys, "archive", "drift", "S-00005", "--archive", kept)
    assert status == 0
    assert "MOVED mono" in out
    assert "a year" in out
    status, out, _ = typed(capsys, "archive", "family", "3", "--archive", kept)
    assert status == 0
    assert "OUTSIDE" in out
    assert "6 sisters" in out
    told = json.loads(typed(capsys, "archive", "family", "3", "--archive", kept, "--json")[1])
    assert {f["sisters"] for f in told["facts"] if f["fact"] == "hot_impedance"} == {6}
    assert typed(capsys, "archive", "drift", "S-00025", "--archive", kept)[0] == 2


def simulated(facts: dict[str, Any]) -> dict[str, Any]:
    facts["made"]["bench"]["interface"] = "simulated bench, two line inputs"
    return facts


def test_invented_devices_are_told_from_real_ones_everywhere(
    tmp_path: Path, kept: str, capsys: pytest.CaptureFixture[str]
) -> None:
    later = simulated(example(5, on="2027-03-14"))
    later["made"]["session_sha256"] = f"{900:064x}"
    sisters = [example(5 + 20 * k) for k in range(1, 7)]
    add(tmp_path, kept, example(5), later, *map(simulated, sisters[:2]), *sisters[2:])
    out = typed(capsys, "archive", "list", "--archive", kept)[1]
    # three of the eight by construction: the second look at the first device, and two sisters
    assert (out.count("\n"), out.count("SIMULATED")) == (8 + 3, 3)
    told = json.loads(typed(capsys, "archive", "list", "--archive", kept, "--json")[1])
    assert {e["serial"] for e in told if e["simulated"]} == {"S-00005", "S-00025", "S-00045"}
    assert typed(capsys, "archive", "search", "simulated", "--archive", kept)[1].count("20") >= 3
    assert "simulated" in typed(capsys, "archive", "show", "2", "--archive", kept)[1]
    page = tmp_path / "page.html"
    out = typed(
        capsys, "archive", "drift", "S-00005", "--archive", kept, "--html", str(page)
    )[1]  # fmt: skip
    assert "Simulated (2027-03-14): " in " ".join(out.split())
    assert "Simulated (2027-03-14): " in page.read_text("utf-8")
    # entry 1 is real: its four real sisters stay, the two invented ones are no relatives of it
    out = typed(capsys, "archive", "family", "1", "--archive", kept, "--html", str(page))[1]
    assert "Left out: 2 sisters, simulated." in out
    assert "Left out: 2 sisters, simulated." in page.read_text("utf-8")
    assert "4 sisters" in out
    out = typed(capsys, "archive", "family", "2", "--archive", kept)[1]
    assert "Left out: 4 sisters, measured on real devices." in out
    status, out, _ = typed(
        capsys, "compare", "archive:1", "archive:2", "--archive", kept, "--html", str(page)
    )
    assert status == 0
    assert "Simulated (B): " in " ".join(out.split())
    assert "Simulated (B): " in page.read_text("utf-8")


def test_what_was_measured_once_is_not_within_doubt(
    tmp_path: Path, kept: str, capsys: pytest.CaptureFixture[str]
) -> None:
    looks = [example(5), example(5, on="2027-03-14")]
    looks[1]["made"]["session_sha256"] = f"{900:064x}"
    looks[1]["sides"]["mono"]["facts"]["hot_direct_voltage"] = entry(0.01, "V", 0.001)
    add(tmp_path, kept, *looks)
    page = tmp_path / "years.html"
    out = typed(
        capsys, "archive", "drift", "S-00005", "--archive", kept, "--html", str(page)
    )[1]  # fmt: skip
    # by construction: one fact stands in the second look alone
    assert re.search(r"measured once +1 fact: there is nothing to compare with", out)
    assert page.read_text("utf-8").count("measured once") == 1


def test_a_fact_nobody_has_is_refused_with_the_nearest(
    tmp_path: Path, kept: str, capsys: pytest.CaptureFixture[str]
) -> None:
    looks = [example(5), example(5, on="2027-03-14")]
    looks[1]["made"]["session_sha256"] = f"{900:064x}"
    add(tmp_path, kept, *looks)
    for arguments in (
        ["archive", "drift", "S-00005"], ["archive", "family", "1"],
        ["compare", "archive:1", "archive:2"],
    ):  # fmt: skip
        status, out, err = typed(
            capsys, *arguments, "--archive", kept, "--fact", "cold_impedence"
        )  # fmt: skip
        # by design: one line, nothing on stdout
        assert (status, out, len(err.splitlines())) == (2, "", 1)
        assert 'did you mean "cold_impedance"?' in err


@pytest.mark.parametrize(("count", "judged"), [(4, False), (5, True)])
def test_below_five_sisters_nothing_is_judged_on_screen_and_page(
    tmp_path: Path, kept: str, capsys: pytest.CaptureFixture[str], count: int, judged: bool
) -> None:
    odd = example(5, ohm=160.0)
    sisters = [example(5 + 20 * k, ohm=100.0 + 0.3 * k) for k in range(1, count + 1)]
    add(tmp_path, kept, odd, *sisters)
    page = tmp_path / "family.html"
    status, out, _ = typed(capsys, "archive", "family", "1", "--archive", kept, "--html", str(page))
    assert status == 0
    assert str(page) in out
    shown = page.read_text("utf-8")
    # by design: five sisters or more are judged, an example 60 % beside them is outside
    assert ("OUTSIDE" in out) == ("<b>outside</b>" in shown) == judged
    assert ("Below 5 sisters nothing is judged" in out) != judged
    assert ("Below 5 sisters nothing is judged" in shown) != judged
    assert f"{count} sisters" in out
    assert f"{count} sisters" in shown


def faulty(number: int, on: str, *faults: str) -> dict[str, object]:
    facts = example(number, on=on)
    facts["made"]["session_sha256"] = f"{number}{on}"
    facts["sides"]["mono"]["stage"]["faults"] = list(faults)
    return facts


def test_a_fault_is_listed_found_by_its_words_and_said_to_be_gone(
    tmp_path: Path, kept: str, capsys: pytest.CaptureFixture[str]
) -> None:
    first = faulty(5, "2026-05-11", "coupling-capacitor-cold", "pins-swapped")
    second = faulty(5, "2026-06-02")
    second["sides"]["mono"]["stage"]["polarity"] = "undetermined"  # type: ignore[index]
    first["sides"]["mono"]["facts"]["drift"] = entry(0.001, "dB", 1e-6)  # type: ignore[index]
    second["sides"]["mono"]["facts"]["drift"] = entry(0.009, "dB", 1e-6)  # type: ignore[index]
    add(tmp_path, kept, first, second)
    _, out, _ = typed(capsys, "archive", "list", "--archive", kept)
    assert "FAULT  mono: Dried coupling capacitor of the cold leg" in out
    names = ("coupling capacitor", "Dried coupling capacitor of the cold leg", "dried", "exchanged")
    for said in names:
        found = typed(capsys, "archive", "search", *said.split(), "--archive", kept, "--json")[1]
        assert [e["entry"] for e in json.loads(found)] == [1], said
    out = typed(capsys, "archive", "drift", "1", "--archive", kept)[1]
    told = " ".join(out.split())
    gone = "GONE mono Dried coupling capacitor of the cold leg: found 2026-05-11, not at the last"
    assert gone in told
    # the second look does not tell which pin is hot
    assert "found 2026-05-11, the last look could not have shown it" in told
    # what the bench did between takes is nothing the device did
    assert "MOVED" not in out
    assert typed(capsys, "archive", "drift", "1", "--fact", "drift", "--archive", kept)[1].count(
        "MOVED"
    ) == 1  # fmt: skip


def test_what_moved_most_comes_first_and_the_list_is_short(
    tmp_path: Path, kept: str, capsys: pytest.CaptureFixture[str]
) -> None:
    looks = [faulty(5, f"202{k}-05-01") for k in range(2)]
    for at in range(20):
        for k, look in enumerate(looks):
            known = look["sides"]["mono"]["facts"]  # type: ignore[index]
            known[f"{at}_impedance"] = entry(100.0 + k * (at + 2.0), "ohm", 0.5)
    known["least_impedance"] = entry(50.0, "ohm", 0.0, bound="below")
    looks[0]["sides"]["mono"]["facts"]["least_impedance"] = entry(100.0, "ohm", 0.5)  # type: ignore[index]
    known["once_impedance"] = entry(50.0, "ohm", 0.5)
    add(tmp_path, kept, *looks)
    out = typed(capsys, "archive", "drift", "S-00005", "--archive", kept)[1]
    # the last look alone has it: nothing can have moved, nor stayed
    assert re.search(r"measured once +1 fact: ", out)
    moved = [line for line in out.splitlines() if line.startswith("MOVED")]
    # by construction: from 100 ohm to a bound 50 ohm below is most, then the nineteenth; twelve
    # are told with their figures
    assert len(moved) == 12
    for at, name in enumerate(("least impedance", "19 impedance", "18 impedance")):
        assert name in moved[at]
    assert "moved less" in out
    assert len(out.splitlines()) < 50
    page = tmp_path / "drift.html"
    typed(capsys, "archive", "drift", "S-00005", "--archive", kept, "--html", str(page))
    shown = page.read_text("utf-8")
    # the page has them all, in the same order
    assert shown.count("<b>moved</b>") == 21
    assert shown.count("measured once") == 1
    assert shown.index("19 impedance") < shown.index("18 impedance")


def test_a_damaged_archive_is_spoken_of_plainly(
    tmp_path: Path, kept: str, capsys: pytest.CaptureFixture[str]
) -> None:
    add(tmp_path, kept, *(example(n) for n in range(30)))
    raw = bytearray(Path(kept).read_bytes())
    for at in range(9000, len(raw) - 4096, 7):
        raw[at] ^= 0xFF
    Path(kept).write_bytes(raw)
    status, out, _ = typed(capsys, "archive", "import", kept, "--archive", str(tmp_path / "new"))
    assert status == 1
    assert "left out: entry" in out
    # the command is the very one that would be advised
    assert "archive import" not in out
    status, out, _ = typed(capsys, "archive", "check", "--archive", kept)
    assert status == 1
    assert "\\n" not in out
    assert "***" not in out
    assert out.count("archive import THIS --archive NEW") == 1


def test_export_import_remove_check(
    tmp_path: Path, kept: str, capsys: pytest.CaptureFixture[str]
) -> None:
    add(tmp_path, kept, *(example(n) for n in range(4)))
    out = str(tmp_path / "out.sqlite")
    assert typed(capsys, "archive", "export", out, "2", "3", "--archive", kept)[0] == 0
    assert typed(capsys, "archive", "export", out, "--archive", kept)[0] == 2
    other = str(tmp_path / "other.sqlite")
    assert typed(capsys, "archive", "import", out, "--archive", other)[1] == "2 entries added\n"
    assert typed(capsys, "archive", "remove", "1", "--archive", other)[0] == 0
    assert typed(capsys, "archive", "remove", "1", "--archive", other)[0] == 2
    assert len(typed(capsys, "archive", "list", "--archive", other)[1].splitlines()) == 1
    assert typed(capsys, "archive", "check", "--archive", other)[:2] == (0, "no damage found\n")
    assert typed(capsys, "archive", "list", "--archive", str(tmp_path / "none"))[0] == 2
    assert typed(capsys, "archive", "list", "--archive", "")[0] == 2
    assert typed(capsys, "archive")[0] == 2


@pytest.mark.parametrize("text", HOSTILE, ids=["markup", "control", "direction", "formula", "long"])
def test_strangers_text_does_no_harm(
    tmp_path: Path, kept: str, capsys: pytest.CaptureFixture[str], text: str
) -> None:
    facts = example(1)
    facts["device"] = dict.fromkeys(("maker", "model", "serial", "firmware", "kind"), text)
    facts["made"]["bench"] = {"interface": text, "recorded_on": text}
    again = json.loads(json.dumps(facts))
    again["made"]["session_sha256"] = text
    add(tmp_path, kept, facts, again)
    for action in (["list"], ["show", "1"], ["show", "2"], ["drift", "1"], ["family", "1"]):
        status, out, err = typed(capsys, "archive", *action, "--archive", kept)
        assert (status, err) == (0, "")
        assert not set("\x1b\x07\u202e\u2066") & set(out)
        # closed form: a terminal has 80 columns
        assert widest(out) <= 80
    for action in ("drift", "family"):
        page = tmp_path / f"{action}.html"
        assert typed(capsys, "archive", action, "1", "--archive", kept, "--html", str(page))[0] == 0
        shown = page.read_text("utf-8")
        assert shown.count("<script") == 1  # the one that sorts
        assert not set("\x1b\x07\u202e\u2066") & set(shown)
        assert "x" * 700 not in shown
    assert typed(capsys, "archive", "search", text[:60], "--archive", kept)[0] == 0


def test_a_look_without_a_day_is_not_the_latest(
    tmp_path: Path, kept: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Dated by its analysis, an old folder became the last look: repaired faults came back."""
    days = ("2024-05-01", "2025-03-01", None)
    looks = []
    for number, day in enumerate(days):
        facts = example(5)
        facts["made"]["session_sha256"] = f"{number:064x}"
        facts["made"]["bench"]["recorded_on"] = day
        looks.append(facts)
    add(tmp_path, kept, *looks)
    status, out, _ = typed(capsys, "archive", "drift", "S-00005", "--archive", kept)
    # by design: two looks in order of their days, the third named and left out
    assert (status, "2 looks (2024-05-01, 2025-03-01)" in out) == (0, True)
    assert "entry 3 left out: no date of recording" in " ".join(out.split())
    assert "no date" in typed(capsys, "archive", "list", "--archive", kept)[1]
    assert main(["archive", "remove", "1", "--archive", kept]) == 0
    status, _, said = typed(capsys, "archive", "drift", "S-00005", "--archive", kept)
    assert (status, "recorded_on" in said, said.count("\n")) == (2, True, 1)


def test_what_is_not_there_is_asked_for_as_all_it_may_be(
    kept: str, capsys: pytest.CaptureFixture[str]
) -> None:
    # lost: somebody with a session folder looks for a facts.json that there is not
    status, _, err = typed(capsys, "archive", "add", "nixda", "--archive", kept)
    assert status == 2
    assert "no such file or folder; give a session folder" in err
