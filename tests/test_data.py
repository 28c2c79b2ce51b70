"""The demo books: reproducible from their script, and no lucky seed."""

from __future__ import annotations

import importlib.util
import math
import sys

import pytest

import curvelab
from tests.books import DATA, NAMES

spec = importlib.util.spec_from_file_location("make_fieldbooks", DATA / "make_fieldbooks.py")
make = sys.modules.setdefault("make_fieldbooks", importlib.util.module_from_spec(spec))
spec.loader.exec_module(make)


@pytest.mark.parametrize("build", make.CAMPAIGNS, ids=lambda build: build.__name__)
def test_the_script_makes_the_committed_books_byte_for_byte(build, tmp_path):
    campaign = build()
    assert campaign.folder in NAMES
    folder = curvelab.write_fieldbook(make.drawn(campaign), tmp_path / campaign.folder)
    for path in sorted(folder.iterdir()):
        assert path.read_bytes() == (DATA / campaign.folder / path.name).read_bytes()
    assert {p.name for p in folder.iterdir()} == {p.name for p in (DATA / campaign.folder).iterdir()}


@pytest.mark.parametrize("build", make.CAMPAIGNS, ids=lambda build: build.__name__)
def test_other_seeds_give_the_planned_verdict_in_the_planned_share(build):
    """30 seeds each; the planned share is 90 % of a 'flat rejected', 97 % of a 'too uncertain' (3.3 standard deviations allowed)."""
    campaign, n = build(), 30
    share = 0.90 if campaign.planned == "flat rejected" else 0.97
    hits = sum(curvelab.decide(curvelab.adjust(make.drawn(campaign, seed))).outcome == campaign.planned for seed in range(n))
    assert hits >= n * share - 3.3 * math.sqrt(n * share * (1 - share))


@pytest.mark.parametrize("name", NAMES)
def test_the_books_say_that_they_are_invented_and_name_no_place(name):
    book = curvelab.read_fieldbook(DATA / name)
    assert book.invented and book.private and "invented" in book.title
    assert "from" not in book.site["line"] and "to" not in book.site["line"]


def test_feet_and_inches_are_really_written_so():
    text = (DATA / "feet_and_inches" / "readings.csv").read_text(encoding="utf-8")
    assert " ft " in text and "/16 in" in text and " mi" in text
    site = (DATA / "feet_and_inches" / "site.toml").read_text(encoding="utf-8")
    assert "°F" in site and "inHg" in site and "mi ±" in site
