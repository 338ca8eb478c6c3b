"""The accessibility checker axe-core, run inside a page of the headless browser."""

from __future__ import annotations

import json
from collections.abc import Collection
from functools import cache
from importlib.resources import files

from tests.report.browser import Browser


@cache
def script() -> str:
    """The checker itself, as the package carries it."""
    return files("axe_core_python").joinpath("axe.min.js").read_text("utf-8")


def complaints(
    shown: Browser, allowed: Collection[str] = (), only: Collection[str] = ()
) -> list[str]:
    """Run the rules over the page that is open; one line for each element complained of.

    ``allowed`` names rules not to be run, each with its reason where it is named; ``only`` those to
    be run alone.
    """
    shown.ask(f"{script()}; null")
    options = {
        "rules": {rule: {"enabled": False} for rule in allowed},
        "resultTypes": ["violations"],
        **({"runOnly": list(only)} if only else {}),
    }
    found = shown.ask(
        f"axe.run(document, {json.dumps(options)}).then(r => "
        "[r.passes.length, r.violations.flatMap(v => v.nodes.map(n => "
        "`${v.id}: ${n.target.join(' ')}: ${n.failureSummary}`))])"
    )
    assert found[0] + len(found[1]) > (0 if only else 10), "the checker looked at nothing"
    return [" ".join(line.split()) for line in found[1]]
