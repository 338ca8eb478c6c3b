"""Rows of the published path study made again, and a fresh slice within binomial limits."""

from __future__ import annotations

import os

import numpy as np
import pytest
from scipy.stats import binom

from tests.chosen import of_this_code

from .path import DOCUMENT, HEADER, STATED_WRONG, errors, power, row, run, wrong

pytestmark = pytest.mark.long

ROWS, SLICE, SLICE_SEED, RARE = 40, 300, 977, 0.001


def test_published_rows_come_out_again() -> None:
    # regression only: the rows were made by the same program; what they say is judged below
    choice = int(os.environ.get("PATH_ROWS_SEED", of_this_code("path")))
    text = DOCUMENT.read_text()
    seed = int(text.split("--seed ")[1].split()[0])
    lines = text.split(HEADER + "\n")[1].split("```")[0].strip().splitlines()
    assert len(lines) >= 1000
    for line in np.random.default_rng(choice).permutation(lines)[:ROWS]:
        again = row(seed, int(str(line).split(",")[0])).line()
        assert again == line, f"PATH_ROWS_SEED={choice}"


def test_a_fresh_slice() -> None:
    rows = run(SLICE_SEED, SLICE, 1)
    stated = [r for r in rows if r.path != "undetermined"]
    # binomial, at most the stated share of wrong verdicts; a verdict at all in a third of devices
    assert len(wrong(rows)) <= binom.ppf(1 - RARE, len(stated), STATED_WRONG)
    assert len(stated) > SLICE / 3
    for _, what, reference, (count, total) in power(rows):
        # not less often than the reference simulation, 99.9 % limits
        assert count >= binom.ppf(RARE, total, reference), what
    for _, what, reference, (count, total) in errors(rows):
        assert count <= binom.ppf(1 - RARE, total, max(reference, 0.002)), what
