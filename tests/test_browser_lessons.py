"""An exercise sheet and the pages of the lessons in a real JupyterLab and a real Chromium, worked by keyboard."""
import re
import shutil

import pytest
from playwright.sync_api import sync_playwright

from tests.test_browser import FLAGS, PATIENCE, ROOT, START, chromium, connected, differ, fault, number, pixels, sentence, server, until

SHEET = "exercises/a_signal_and_level"
PAGES = {  # by lesson: a control, and the cells that its page needs, the page's own last
    "02_read_the_air": ("air", ("import matplotlib", "# The page of lines of sight")),
    "04_keep_the_field_book": ("crosshair", ("from pathlib", "# Four lines on a photograph")),
    "05_interpret_the_offset": ("k", ("import math", "book = curvelab.read_fieldbook", "# The sceptic's page")),
}
IN_FRONT = ".jp-NotebookPanel >> visible=true"
IDLE = ".jp-Notebook-ExecutionIndicator[data-status=idle]"


@pytest.fixture(scope="module")
def lab(tmp_path_factory):
    """A browser page with JupyterLab on a copy of what the lessons need, the exercise sheet open."""
    executable, folder = chromium(), tmp_path_factory.mktemp("checkout")
    for name in ("notebooks", "data"):
        shutil.copytree(ROOT / name, folder / name)
    with server(folder, tmp_path_factory.mktemp("server")) as address, sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=executable, args=FLAGS)
        page = browser.new_page(viewport={"width": 1280, "height": 720})
        page.set_default_timeout(PATIENCE * 1000)
        page.goto(address.replace("?", f"doc/tree/notebooks/{SHEET}.ipynb?"))
        page.locator(START).first.wait_for()
        yield page
        browser.close()


def opened(lab, name):
    """A notebook, opened from its path as a reader would and brought to the front; its kernel is ready."""
    if name not in lab.url:
        lab.get_by_role("menuitem", name="File", exact=True).click()
        lab.get_by_text("Open from Path…").click()
        lab.locator(".jp-Dialog input").fill(f"notebooks/{name}.ipynb")
        lab.keyboard.press("Enter")
    notebook = lab.locator(IN_FRONT)
    until(lambda: connected(lab, name) and notebook.locator(IDLE).count() == 1 and name in lab.url, f"{name} opens")
    return notebook


def cell(notebook, text):
    return notebook.locator(".jp-CodeCell", has_text=text).first


def run(notebook, text, *keys, line=""):
    """Run a cell by keyboard, after a line of it was selected by `keys` and written anew where one is given."""
    cell(notebook, text).locator(".jp-InputPrompt").click()
    keyboard = notebook.page.keyboard
    for key in keys:
        keyboard.press(key)
    keyboard.type(line)
    keyboard.press("Control+Enter")


def shown(notebook, text):
    return " ".join(cell(notebook, text).locator(".jp-OutputArea-output").all_inner_texts())


def test_an_exercise_is_answered_wrong_and_then_right(lab):
    sheet = opened(lab, SHEET)
    question, check = "print(sheet.question(1))", "sheet.check(1,"
    untouched = shown(sheet, question)
    run(sheet, "exercises.Sheet(", "Enter", "Control+End", "Shift+Home", line='sheet = exercises.Sheet("Tove")')
    run(sheet, question)
    until(lambda: shown(sheet, question) not in ("", untouched), "the question has the student's own numbers")
    distance, radius = (float(re.search(words, shown(sheet, question))[1]) for words in (r"stands (\d+) m", r"is (\d+) km"))
    fall = distance**2 / 2 / radius  # mm
    for answer, said in ((f"{2 * fall:.1f} mm", "Not yet. That is d²/R"), (f"{fall:.1f}", "I can't read that yet"), (f"{fall:.1f} mm", "Right.")):
        run(sheet, check, "Enter", "Control+Home", "Shift+End", line=f'answer = "{answer}"')
        until(lambda: f"{answer} -> {said}" in shown(sheet, check), f"{said} to {answer}")
    run(sheet, "sheet.progress()")
    until(lambda: "Tove: 1 done, of 14" in shown(sheet, "sheet.progress()"), "what is done is counted")


@pytest.mark.parametrize("lesson", PAGES)
def test_a_slider_of_a_lesson_moves_number_sentence_and_picture(lab, lesson):
    page, (control, cells) = opened(lab, lesson), PAGES[lesson]
    for text in cells:
        run(page, text)
    page.locator(".curvelab-picture").wait_for()
    before, said, drawn = number(page, control), sentence(page), pixels(page)
    assert said and fault(page) == ""
    handle = page.locator(f".curvelab-{control} .noUi-handle")
    handle.press("ArrowRight")
    until(lambda: number(page, control) > before, "the number grows")
    until(lambda: differ(pixels(page), drawn), "the picture changes")
    until(lambda: sentence(page) not in ("", said), "the sentence changes")
    handle.press("ArrowLeft")
    until(lambda: number(page, control) == before, "the number is back")
    until(lambda: not differ(pixels(page), drawn, 1) and sentence(page) == said, "picture and sentence are back")
    assert fault(page) == ""
