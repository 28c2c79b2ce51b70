"""What README shows is what the library does."""

from __future__ import annotations

import contextlib
import io
import re

import curvelab
from tests.books import DATA

README = (DATA.parent / "README.md").read_text(encoding="utf-8")


def blocks(language: str) -> list[str]:
    return re.findall(rf"```{language}\n(.*?)```", README, re.S)


def test_the_worked_examples_print_what_is_shown_and_write_what_they_say(monkeypatch, tmp_path):
    monkeypatch.chdir(DATA.parent)
    (code, more), (shown,), names = blocks("python"), blocks("text"), {}
    with contextlib.redirect_stdout(io.StringIO()) as out:
        exec(compile(code, "README.md", "exec"), names)
    assert out.getvalue().strip() == shown.strip()
    monkeypatch.chdir(tmp_path)
    with contextlib.redirect_stdout(io.StringIO()) as out:
        exec(compile(more, "README.md", "exec"), names)
    assert "The plan as it is: separation" in out.getvalue()
    assert (tmp_path / "our_plan" / "sealed_plan.txt").is_file() and (tmp_path / "field_sheet.pdf").read_bytes().startswith(b"%PDF")


def test_the_field_book_shown_is_one_that_can_be_read(tmp_path):
    (site,), tables = blocks("toml"), blocks("csv")
    (tmp_path / "site.toml").write_text(site, encoding="utf-8")
    for name, text in zip(("readings.csv", "heights.csv"), tables, strict=True):
        (tmp_path / name).write_text(text, encoding="utf-8")
    assert curvelab.decide(curvelab.adjust(curvelab.read_fieldbook(tmp_path))).outcome == "too uncertain to decide"


def test_a_book_of_ones_own_is_written_and_checked_as_shown(monkeypatch, tmp_path, capsys):
    monkeypatch.chdir(tmp_path)
    (write,), (check,) = re.findall(r'-c "(.*)"', README), re.findall(r"`(print\(curvelab\.check_fieldbook.*?)`", README)
    exec(write, {})
    exec(check, {"curvelab": curvelab})
    assert (tmp_path / "data" / "our_lake" / "site.toml").is_file() and "can be read" in capsys.readouterr().out


def test_the_first_paragraph_is_the_job():
    assert README.startswith("# curvelab\n\nA science presenter")
