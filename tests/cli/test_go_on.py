"""The command that a stopped guided run prints to go on with."""

from __future__ import annotations

import argparse
import shlex

from probe.cli.measure import _again, add_arguments


def test_every_option_given_is_told_again() -> None:
    parser = argparse.ArgumentParser()
    add_arguments(parser)
    for typed in (
        "half",
        "half --virtual cross-coupled --fast --plain",
        "half --virtual 'my stage.toml' --mishap hum@open --mishap loose --seed 3 --sides both",
        "half --kit k.toml --bench b.toml --seconds 4.5",
    ):
        given = parser.parse_args(shlex.split(typed))
        again = parser.parse_args(shlex.split("half" + _again(given)))
        assert vars(again) == vars(given)
    assert _again(parser.parse_args(["half"])) == ""
