"""Five hundred measurements: kept, found, exported, imported elsewhere, identical."""

from __future__ import annotations

from pathlib import Path

import pytest

from probe.archive import exchange
from probe.archive.keep import Archive
from tests.archive.made import MAKERS, example
from tests.archive.test_archive import everything, filled

MANY = 500


@pytest.mark.long
def test_five_hundred_come_through_two_archives_identical(tmp_path: Path) -> None:
    own, out, other = (tmp_path / f"{n}.sqlite" for n in ("own", "out", "other"))
    filled(own, MANY, takes=tmp_path / "takes")
    with Archive.open(own, writable=False) as archive:
        # closed form: makers repeat every four, models every five
        assert len(archive.search([MAKERS[1].split()[0]])) == MANY // 4
        assert len(archive.search(["lp-3", MAKERS[0]])) == MANY // 20
        for number in (0, 123, 499):
            found = archive.find(f"s-{number:05d}")
            assert archive.facts(found.id) == example(number)
        done = exchange.export(archive, archive.numbers(), out)
    assert (done.added, done.left_out) == (MANY, ())
    with Archive.open(other, create=True) as kept:
        done = exchange.import_from(out, kept)
        assert exchange.complaints(kept) == []
    assert (done.added, done.left_out) == (MANY, ())
    # closed form: identity
    assert everything(own) == everything(out) == everything(other)
