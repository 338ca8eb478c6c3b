"""A scene asked as a customer would: simulated or typed, advised on, held against its answer."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from probe.advice.advise import advise
from probe.advice.destination import read_destination, together
from probe.advice.model import Advice
from probe.advice.source_file import read_source
from probe.advice.subject import mains_of
from probe.facts import analyse_session, source_from_facts
from probe.simulate.build import read_stage
from probe.simulate.write import simulate
from tests.advice.scene_files import document

SUBJECTS = {
    "hum": {"hum", "long-run"},
    "dc": {"direct-voltage"},
    "level-lost": {"level-lost", "signal-lost"},
    "loses-sensing": {"sense-open", "sense-unused"},
    "both-legs-required": {"one-half-undriven"},
    "headphone": {"headphone-output"},
    "speaker": {"speaker-output"},
    "digital-into-analogue": {"digital"},
    "digital-level": {"digital-level"},
    "digital-format": {"digital-format"},
}
"""Codes that may stand for a subject, as the README of the scenes has them; others: themselves."""


def ask(scene: dict[str, Any], folder: Path) -> Advice:
    """The advice for a scene, through the files a user would have."""
    facts, sources = _source(scene["source"], folder)
    paths = []
    for k, table in enumerate(scene["destination"]):
        path = folder / f"destination-{k}.toml"
        path.write_text(document(table))
        paths.append(path)
    mains_hz = mains_of(facts)
    return advise(facts, sources, together([read_destination(p, mains_hz) for p in paths]))


def _source(source: dict[str, Any], folder: Path) -> tuple[dict[str, Any], dict[str, Any]]:
    if "typed" in source:
        path = folder / "source.toml"
        table = dict(source["typed"])
        device = table.pop("device")
        path.write_text('format = "probe-source/1"\n' + document(table | {"device": device}))
        return read_source(path)
    stage = folder / "stage.toml"
    stage.write_text(document(source["stage"]))
    simulate(read_stage(stage), folder / "session")
    facts = analyse_session(folder / "session", draws=300)
    found = {side: source_from_facts(facts, side) for side in facts["sides"]}
    return facts, {side: s for side, s in found.items() if s is not None}


def differences(scene: dict[str, Any], advice: Advice) -> list[str]:
    """What the advice does not say as the scene has it."""
    wrong = []
    for k, expected in enumerate(scene["expected"]):
        wrong += _differences(expected, k, advice)
    return wrong


def _differences(expected: dict[str, Any], k: int, advice: Advice) -> list[str]:
    choice = advice.choices[k] if advice.choices else None
    answer = advice.to_json()
    options = [o for o in answer["options"] if choice is None or o["destination"] == choice.box]
    wrong = []
    chosen = (choice.option if choice else None) or "none"
    why = choice.why if choice else ()
    if chosen not in expected["chosen"]:
        wrong.append(f"chosen {chosen}, not {expected['chosen']}: {why}")
    for key, allowed in (("never", {"never"}), ("avoid", {"avoid"}),
                         ("never_or_avoid", {"never", "avoid"})):  # fmt: skip
        for id_ in expected.get(key, []):
            found = {o["verdict"] for o in options if o["id"] == id_}
            if not found or not found <= allowed:
                wrong.append(f"{id_} is {found or 'not listed'}, not {key}")
    if chosen in expected.get("not_chosen", []):
        wrong.append(f"{chosen} is chosen")
    if expected.get("no_options") and any(o["verdict"] != "never" for o in options):
        wrong.append("options are offered")
    for line in expected.get("hazards", []):
        wrong += _unsaid(line, options, answer["cautions"])
    wrong += _figures(expected, options)
    wrong += _attenuators(expected, options)
    if "gain_reached" in expected and chosen != "none":
        reached = not any("is not reached" in w for w in why)
        if reached != expected["gain_reached"]:
            wrong.append(f"gain reached: {reached}")
    if expected.get("names_next_take"):
        said = " ".join(r for o in options for r in o["reasons"])
        if "take" not in said:
            wrong.append("no take is named")
    return wrong


def _unsaid(
    line: dict[str, Any], options: list[dict[str, Any]], cautions: list[dict[str, str]]
) -> list[str]:
    """A hazard that is not said of the option (``any``: of none of them, nor in general)."""
    codes = SUBJECTS.get(line["subject"], {line["subject"]})
    meant = [o for o in options if line["option"] in ("any", o["id"])]
    said = {h["code"] for o in meant for h in o["hazards"]}
    if line["option"] == "any":
        said |= {c["code"] for c in cautions}
    hum = line["subject"] == "hum" and any(
        r.startswith("hum ") for o in meant for r in o["reasons"]
    )
    return [] if codes & said or hum else [
        f"{line['option']}: nothing about {line['subject']}, but {sorted(said)}"
    ]  # fmt: skip


def _figures(expected: dict[str, Any], options: list[dict[str, Any]]) -> list[str]:
    wrong = []
    for line in expected.get("figures", []):
        found = next((o for o in options if o["id"] == line["option"]), {})
        entry = found.get(line["name"])
        if entry is None:
            wrong.append(f"{line['option']}: {line['name']} is absent")
        elif abs(entry["value"] - line["value"]) > line["within"]:
            wrong.append(f"{line['option']}: {line['name']} {entry['value']}, not {line['value']}")
    return wrong


def _attenuators(expected: dict[str, Any], options: list[dict[str, Any]]) -> list[str]:
    wrong = []
    for line in expected.get("attenuators", []):
        found = next((o for o in options if o["id"] == line["option"]), {})
        offered = found.get("attenuator", {}).get("attenuation", {}).get("value")
        if offered is None or abs(offered - line["value"]) > line["within"]:
            wrong.append(f"{line['option']}: attenuator {offered}, not {line['value']}")
    return wrong
