"""Exercises, the mystery lake, and the teacher's pages: answers, slips, any input, notebooks that match, links, readability."""

from __future__ import annotations

import math
import re

import make_exercises
import nbformat
import normalise
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from nbformat import v4

import curvelab
from curvelab import exercises, mystery, units
from curvelab.decision import decide
from curvelab.exercises import EXERCISES, Sheet

CLASS = [f"student {i}" for i in range(200)]
CASES = [(number, name) for number in EXERCISES for name in CLASS]
PAGES = [normalise.NOTEBOOKS / name for name in ("TEACHER.md", "GLOSSARY.md")]
BOOKS = sorted(path for folder in ("solutions", "exercises") for path in (normalise.NOTEBOOKS / folder).glob("*.ipynb"))


def drawn(number, name):
    """Exercise, a student's numbers, and the right answer."""
    task, v = EXERCISES[number], exercises._given(number, name)
    return task, v, task.answer(v)


def told(task, number, name, value):
    """Feedback on a value, written to 15 figures in the exercise's unit."""
    dimension = "length" if task.dimension == "interval" else task.dimension
    parts = [value] if not isinstance(value, tuple) else value
    words = [part if isinstance(part, str) else "no upper end" if math.isinf(part) else f"{float(units.convert(part, task.unit, dimension))!r} {task.unit}"
             for part in parts]
    return Sheet(name).check(number, " to ".join(words))


# Every student's answers and slips.

@pytest.mark.parametrize("number", EXERCISES)
def test_the_answer_is_accepted_also_as_the_key_writes_it(number):
    for name in CLASS:
        task, _, right = drawn(number, name)
        assert told(task, number, name, right) == f"Right. {task.meaning}"
        assert Sheet(name).check(number, exercises._written(task, right)).startswith("Right.")


@pytest.mark.parametrize("number", [n for n, task in EXERCISES.items() if task.dimension not in ("choice", "interval")])
def test_what_is_beyond_the_stated_tolerance_is_refused(number):
    for name in CLASS:
        task, v, right = drawn(number, name)
        last = 10.0 ** (math.floor(math.log10(abs(right))) - task.figures + 1)
        for value, accepted in ((right * 1.3, False), (right + 3 * last, False), (right - 3 * last, False), (right + 0.9 * last, True), (right - 0.9 * last, True)):
            assert exercises._judged(task, v, value)[1] == accepted


@pytest.mark.parametrize("number", EXERCISES)
def test_each_slip_is_named_for_every_student(number):
    reached = set()
    for name in CLASS:
        task, v, right = drawn(number, name)
        for words, wrong in zip(task.slips, task.wrong(v), strict=True):
            same = exercises._judged(task, v, wrong)[1]
            assert not same or isinstance(right, tuple | str), words  # a letter, or an end that is there or not, is right for some students
            if not same:
                assert told(task, number, name, wrong) == f"Not yet. {words}", (name, wrong)
                reached.add(words)
    assert reached == set(EXERCISES[number].slips)


@pytest.mark.parametrize("factor, words", [(1e-3, "power of ten"), (1e3, "power of ten"), (-1.0, "sign"), (2.0, "factor of 2"), (0.5, "factor of 2")])
def test_a_usual_slip_is_named_where_the_exercise_has_no_own_words_for_it(factor, words):
    reached = 0
    for number, name in CASES[::7]:
        task, v, right = drawn(number, name)
        if isinstance(right, float):
            said, right_one = exercises._judged(task, v, factor * right)
            assert said.startswith("Not yet.") and not right_one
            reached += words in said
    assert reached > 50


def test_the_choices_and_verdicts_are_spread_over_a_class():
    for number, letters in ((10, "ABCD"), (11, "CD")):
        answers = [drawn(number, name)[2] for name in CLASS]
        expected = len(CLASS) / len(letters)
        assert set(answers) == set(letters)
        for letter in letters:  # multinomial: within 4 standard deviations
            assert abs(answers.count(letter) - expected) < 4 * math.sqrt(expected * (1 - 1 / len(letters)))


def test_the_best_choice_is_ahead_by_what_a_student_can_see():
    for name in CLASS:
        first, second = sorted(exercises._given(10, name).left.values())[:2]
        assert second / first > 1.04


def test_some_radii_end_and_some_do_not():
    ends = [drawn(13, name)[2][1] for name in CLASS]
    assert 60 < sum(map(math.isinf, ends)) < 140


def test_the_verdict_exercise_follows_the_library():
    outcomes = {"flat rejected": "A", "ellipsoid rejected": "B", "both rejected": "C", "too uncertain to decide": "D"}
    rule = EXERCISES[11]
    for name, outcome in (("two_kilometres", "flat rejected"), ("builders_level", "too uncertain to decide")):
        verdict = decide(curvelab.adjust(curvelab.read_fieldbook(f"{normalise.NOTEBOOKS.parent}/data/{name}")))
        u, S = verdict.result.curvature.u, verdict.result.ellipsoid_curvature
        y = verdict.result.curvature.value
        assert verdict.outcome == outcome
        assert rule.answer(exercises.Given(S=S, u=u, y=y, out=rule.draw["out"](exercises.Given(S=S, u=u, y=y)))) == outcomes[outcome]


# Published and hand-worked values: one student's sheet, by school arithmetic.

@pytest.mark.parametrize("number, by_hand", [
    (1, "34.1 mm"), (2, "41.3 mm"), (3, "-56.1 mm"), (4, "-1.70 mm per 30 m"), (5, "9 7/16 in"), (6, "90.36 cm"), (7, "1.066 m"), (8, "k = 1.53"),
    (9, "16.5 mm"), (10, " (c) "), (11, "C."), (12, "11800 km"), (13, "3130 to 17600 km"), (14, "58.7″")])
def test_hand_work_in_any_unit_is_accepted(number, by_hand):
    assert Sheet("Mira").check(number, by_hand).startswith("Right.")


# Names, and any input.

def test_an_answer_rounded_too_soon_is_told_so():
    right = drawn(1, "Tove")[2]
    assert Sheet("Tove").check(1, f"{right:.2g} m").startswith("Not yet, but right to two figures")
    assert "none of the usual slips" in Sheet("Tove").check(1, f"{right * 1.07:.4f} m")


def test_both_ends_may_be_said_with_from():
    right = exercises._written(EXERCISES[13], drawn(13, "Tove")[2])
    assert Sheet("Tove").check(13, f"from {right}").startswith("Right.")
    assert "no pair of lengths such as 5000 km to 9000 km" in Sheet("Tove").check(13, "5000 km")


def test_a_name_gives_the_same_numbers_whatever_its_capitals_and_spaces():
    assert Sheet("Zoë  Q").question(1) == Sheet(" zoe\u0308 q\n").question(1) != Sheet("Zoe Q").question(1)
    assert Sheet(7).question(2) == Sheet("7").question(2)
    assert len({Sheet(name).question(4) for name in CLASS}) == len(CLASS)


def test_the_numbers_of_a_name_stay():
    assert "660 m" in Sheet("Mira").question(1) and "5.69 ft" in Sheet("Mira").question(7)


ANYTHING = st.one_of(
    st.none(), st.text(), st.floats(), st.integers(), st.booleans(), st.binary(), st.complex_numbers(), st.fractions(), st.lists(st.text()),
    st.sampled_from([10**5000, "1e999 mm", "78,5 mm", "78.5", "78.5 °C", "nan mm", "٣ mm", "🦢", "\ud800", "to", " to ", "5000 to", "1 to 2 to 3 km", "=", "k=", "A or B"]),
    st.from_regex(r"[+-]?[0-9]{0,4}(\.[0-9]*)? ?(mm|m|km|ft|in|µrad|%|K|to [0-9]+ km)?", fullmatch=True))


@settings(max_examples=400, deadline=None)
@given(st.one_of(st.sampled_from(list(EXERCISES)), st.integers(), st.text()), ANYTHING)
def test_no_answer_raises(number, answer):
    said = SHEET.check(number, answer)
    assert said.startswith(("Right.", "Not yet", "No answer yet.", "I can't read that yet:"))
    said.encode()  # printable


@settings(max_examples=100, deadline=None)
@given(st.text(alphabet=st.characters(exclude_categories=["Cs"])), st.sampled_from(list(EXERCISES)))
def test_any_name_makes_a_sheet(name, number):
    assert Sheet(name).question(number).startswith(f"{number}. {EXERCISES[number].title}")
    assert exercises.answer_key(name).count("\n") == len(EXERCISES) - 1


SHEET = Sheet("anything")


def test_hints_grow_up_to_three():
    sheet = Sheet("Mira")
    shown = [sheet.hint(3) for _ in range(4)]
    assert shown[0] in shown[1] and shown[1] in shown[2] and shown[2] == shown[3] and shown[2].count("(") >= 3


def test_no_hint_and_no_slip_tells_the_answer():
    for number, task in EXERCISES.items():
        if task.dimension not in ("choice", "interval"):
            shown = exercises._written(task, drawn(number, "Mira")[2]).split()[0].lstrip("-")
            assert len(task.hints) == 3 and not any(shown in text for text in (*task.hints, *task.slips))


def test_progress_counts_tries_hints_and_what_is_done():
    sheet = Sheet("Mira")
    sheet.check(5, "1 m"), sheet.check(5, "240 mm"), sheet.check(6, ""), sheet.hint(6)
    lines = repr(sheet).splitlines()
    assert lines[0] == f"Mira: 1 done, of {len(EXERCISES)} in the four notebooks"
    assert lines[5].startswith("done") and lines[5].endswith("tries 2, hints 0") and lines[6].endswith("tries 0, hints 1")


# The mystery lake.

GOOD = ("single sight", 1500, "short peg test", "measured air")


def test_a_lake_keeps_its_secret_until_it_is_revealed():
    lake = mystery.Lake("code", "herons")
    steps = [lake.seal(*GOOD), lake.measure(), lake.decide()]
    shown = "\n".join([*steps, repr(lake), repr(vars(lake)), repr(lake.choice), str(lake.book.site), str(lake.book.tables)])
    assert not any(surface in shown for surface in mystery.SURFACES if surface != "flat")
    assert "The water was" not in shown and lake.reveal().startswith("The water was ")


def test_each_step_asks_for_the_one_before_it():
    lake = mystery.Lake(1, 2)
    assert lake.measure().startswith("Seal a plan first") and lake.decide() == "Measure first." and lake.reveal().startswith("Decide first")
    assert repr(lake) == "Lake('1', '2'): not planned yet"
    lake.seal(*GOOD)
    assert lake.seal("two targets", 800).startswith("Sealed already: single sight, 1500 m, short peg test, measured air")
    lake.measure()
    first = lake.book
    lake.measure()
    assert lake.book is first


def test_nothing_beyond_the_budget_is_sealed():
    lake = mystery.Lake("code", "herons")
    assert "more than you have" in lake.seal("two targets", 2500, "measured air", "precise level") and not lake.choice


@settings(max_examples=60, deadline=None)
@given(ANYTHING, ANYTHING, ANYTHING)
def test_no_choice_raises(design, distance, extra):
    assert isinstance(mystery.Lake("code", "herons").consider(design, distance, extra), str)
    assert mystery.Lake("code", "herons").consider("single sight", distance, extra)


@pytest.mark.parametrize("choice", [("Single  Sight", "1500 m", "Measured Air"), ("single sight", 1500.0, *"measured air"), ("single sight", " 1500", "measured air")])
def test_a_choice_is_understood_as_students_write_it(choice):
    assert mystery.choose(*choice).name == "single sight, 1500 m, measured air"


@pytest.mark.parametrize("choice, words", [
    (("boat", 1500), "'boat' is no design on the price list: choose a design: single sight"),
    (("single sight", 1000), "1000 is no distance on the price list: choose a distance: 800"),
    (("single sight", 1500, "two targets"), "'two targets' is no extra on the price list: choose an extra: short peg"),
    (("single sight", 1500, "measured air", "Measured air"), "An extra stands twice among measured air, measured air")])
def test_what_is_not_for_sale_is_said(choice, words):
    assert mystery.Lake("code", "herons").consider(*choice).startswith(words)


def test_groups_with_long_names_can_be_told_apart():
    names = ["the great crested grebes", "the great crested newts"]
    head, *lines = mystery.play("7B", dict.fromkeys(names, ("single sight", 800))).table.splitlines()
    assert [line.startswith(f"{name} ") for name, line in zip(names, lines, strict=True)] == [True, True]
    assert {line.index("±") - head.index("found") for line in lines} == {7}


def test_a_verdict_keeps_to_its_seal():
    lake = mystery.Lake("code", "herons")
    lake.seal(*GOOD)
    lake.measure()
    assert "The sealed plan was kept to." in lake.decide()


def test_the_class_gets_the_same_campaigns_again():
    lake = mystery.Lake("code", "herons")
    for step in (lambda: lake.seal(*GOOD), lake.measure, lake.decide, lake.reveal):
        step()
    assert mystery.play("CODE", {"Herons": GOOD}).lakes[0].verdict.result.curvature == lake.verdict.result.curvature


def test_surfaces_are_spread_and_verdicts_of_a_good_plan_keep_the_promised_rates():
    class_ = mystery.play("rates", {f"group {i}": GOOD for i in range(40)})
    sums = {surface: sum(row.values()) for surface, row in class_.counts.items()}
    assert all(abs(n - 40 / 3) < 4 * math.sqrt(40 * 2 / 9) for n in sums.values())
    total = {name: sum(row[name] for row in class_.counts.values()) for name in mystery.JUDGED}
    assert total["wrong"] <= 3  # the rule errs in 1 of 100: 4 or more of 40 have a probability of 0.0007
    assert total["right"] >= 40 * 0.9 - 4 * math.sqrt(40 * 0.9 * 0.1)  # the plan passes its gate, so its power is 0.9 or more
    assert class_.table.count("\n") == 40


@pytest.mark.parametrize("outcome, surface, words", [
    ("flat rejected", 1, "right"), ("ellipsoid rejected", 0, "right"), ("both rejected", 2, "right"), ("flat rejected", 0, "wrong"), ("both rejected", 0, "wrong"),
    ("ellipsoid rejected", 1, "wrong"), ("both rejected", 1, "wrong"), ("flat rejected", 2, "missed"), ("ellipsoid rejected", 2, "missed"),
    ("too uncertain to decide", 2, "no decision"), ("readings disagree", 0, "no decision"), ("undecided", 1, "no decision")])
def test_verdicts_are_judged_against_the_truth(outcome, surface, words, monkeypatch):
    lake = mystery.Lake("code", "herons")
    lake.revealed, lake.verdict = True, exercises.Given(outcome=outcome)
    monkeypatch.setattr(mystery, "_surface", lambda _: list(mystery.SURFACES)[surface])
    assert mystery.judged(lake) == words


def test_an_unrevealed_lake_is_not_judged():
    with pytest.raises(ValueError, match="has not been revealed"):
        mystery.judged(mystery.Lake("code", "herons"))


# The notebooks.

def code(path):
    return [cell for cell in nbformat.read(path, as_version=4).cells if cell.cell_type == "code"]


def outputs(path):
    return [out.get("text", "") for cell in code(path) for out in cell.outputs]


def test_the_exercises_are_what_the_solutions_make():
    assert make_exercises.pairs() and make_exercises.stale() == [], "run tests/make_exercises.py"


def test_every_exercise_is_asked_once_and_solved():
    solved = [text for path, _ in make_exercises.pairs() for text in outputs(path) if "->" in text]
    asked = re.findall(r"sheet\.check\((\d+), answer\)", "".join(cell.source for path, _ in make_exercises.pairs() for cell in code(path)))
    assert [int(n) for n in asked] == list(EXERCISES) and len(solved) == len(EXERCISES)
    assert all("-> Right." in text for text in solved)


def test_an_untouched_sheet_gives_nothing_away():
    for _, path in make_exercises.pairs():
        text = "".join(cell.source for cell in code(path)) + "".join(outputs(path))
        assert not re.search(r"# (solution|exercise)|Right\.|Mira|herons'\):", text)
        assert all(text.startswith("None -> No answer yet.") for text in outputs(path) if "->" in text)


@pytest.mark.parametrize("line, becomes", [
    ("x = 1  # solution", None), ("    x = 1  # exercise: x = None", "    x = None"), ("print(x)", "print(x)"), ("", "")])
def test_a_line_is_blanked(line, becomes):
    assert make_exercises.blanked_line(line) == becomes


def test_a_changed_solution_is_noticed(monkeypatch, tmp_path):
    for name in ("SOLUTIONS", "EXERCISES"):
        (tmp_path / name).mkdir()
        monkeypatch.setattr(make_exercises, name, tmp_path / name)
    source = v4.new_notebook(cells=[v4.new_code_cell("answer = 1  # exercise: answer = None"), v4.new_markdown_cell("**Solution.** 1")])
    nbformat.write(source, tmp_path / "SOLUTIONS" / "x.ipynb")
    nbformat.write(make_exercises.blanked(source), tmp_path / "EXERCISES" / "x.ipynb")
    assert [cell.source for cell in make_exercises.blanked(source).cells] == ["answer = None"] and make_exercises.stale() == []
    source.cells[0].source = "answer = 1  # exercise: answer = 0"
    nbformat.write(source, tmp_path / "SOLUTIONS" / "x.ipynb")
    assert make_exercises.stale() == [tmp_path / "EXERCISES" / "x.ipynb"]


# Links, and how hard the pages are to read.

def prose(path):
    """Text of a page, or of the markdown cells of a notebook."""
    if path.suffix == ".md":
        return path.read_text(encoding="utf-8")
    return "\n\n".join(cell.source for cell in nbformat.read(path, as_version=4).cells if cell.cell_type == "markdown")


def links(path):
    return [link for link in re.findall(r"\]\(([^)#\s]+)", prose(path)) if not link.startswith("http")]


@pytest.mark.parametrize("path", [*PAGES, *BOOKS], ids=lambda path: "/".join(path.parts[-2:]))
def test_links_resolve(path):
    assert links(path) and [link for link in links(path) if not (path.parent / link).exists()] == []


def test_the_exercises_do_not_lead_to_the_solutions():
    assert not [path for _, path in make_exercises.pairs() if any("solutions" in link for link in links(path))]


def plain(text):
    """Sentences only: without code, formulas, tables, headings, links and marks."""
    text = re.sub(r"```.*?```|`[^`]*`|\$[^$]*\$|^[|#>][^\n]*", " ", text, flags=re.DOTALL | re.MULTILINE)
    text = re.sub(r"\[([^\]]*)\]\([^)]*\)", r"\1", text)
    lines = [re.sub(r"^\s*([-*]|\d+\.)\s+", "", line).strip(" *_") for line in text.splitlines()]
    return "\n".join(line if line.endswith((".", "?", "!", ":")) else f"{line}." for line in lines if line)


def grade(text):
    """The school grade by letters, words and sentences: the automated readability index (Senter & Smith 1967, from memory).

    Written out here because the well-kept library for it, textstat 0.7, installs a package named ``tests``; it gives one grade more.
    """
    sentences = plain(text)
    assert len(sentences) > 100
    words = re.findall(r"[\w'’-]+", sentences)
    stops = max(1, len(re.findall(r"[.!?]+(?=\s|$)", sentences)))
    return 4.71 * sum(map(len, words)) / len(words) + 0.5 * len(words) / stops - 21.43


@pytest.mark.parametrize("path", [*PAGES, *make_exercises.EXERCISES.glob("*.ipynb")], ids=lambda path: path.name)
def test_a_reader_of_sixteen_can_read_it(path):
    assert grade(prose(path)) < 10  # the tenth grade: 15 to 16 years


def test_the_questions_and_the_feedback_can_be_read_at_sixteen():
    sheet = Sheet("Mira")
    told = [text for number, task in EXERCISES.items() for text in (sheet.question(number), *task.slips, *task.hints, task.meaning)]
    assert grade("\n".join(told)) < 10


def test_a_hard_text_is_seen():
    assert grade("Notwithstanding contemporaneous atmospheric inhomogeneities, collimation determinations necessitate reciprocal observational redundancy, "
                 "whose methodological justification presupposes familiarity with least-squares adjustment.") > 20


def test_the_teachers_code_runs(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    for block in re.findall(r"```python\n(.*?)```", PAGES[0].read_text(encoding="utf-8"), re.DOTALL):
        exec(compile(block, "TEACHER.md", "exec"), {})
    shown = capsys.readouterr().out
    assert exercises.answer_key("Mira") in shown and "of 2 groups: right" in shown
    assert "14. Three signals" in (tmp_path / "sheet Jon.txt").read_text(encoding="utf-8")
    assert curvelab.read_fieldbook(tmp_path / "our field book").is_plan


def test_the_numbers_of_the_primer_are_right():
    primer = " ".join(PAGES[1].read_text(encoding="utf-8").split())
    falls = [f"{d**2 / 2 / 6.371e6 * 1e3:.0f} mm" for d in (1000, 2000)]
    assert f"After 1 km the water has bent away by {falls[0]}, after 2 km by {falls[1]}" in primer


def test_the_teacher_is_told_of_every_exercise():
    page = PAGES[0].read_text(encoding="utf-8")
    assert [n for n, task in EXERCISES.items() if f"{n} {task.title}" not in page] == []
