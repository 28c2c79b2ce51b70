"""The live page in a real JupyterLab and a real Chromium, opened as README.md says and used by keyboard.

Set CURVELAB_SCREENSHOTS to a folder to keep pictures of the page, and CURVELAB_REQUIRE_BROWSER
to any value to fail, not skip, where Chromium is missing.
"""
import base64
import io
import json
import math
import os
import re
import shlex
import shutil
import subprocess
import sys
import time
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import urljoin, urlsplit

import numpy as np
import pytest
from PIL import Image
from playwright.sync_api import sync_playwright

ROOT = Path(__file__).resolve().parent.parent
CONTROLS = ["length", "height", "gradient", "collimation"]
IN_THE_SENTENCE = {"length", "gradient", "collimation"}  # before there is a field book, the height changes the picture alone
STEPS = 3
FAULTY = "with_a_fault"
SIZES = [(1280, 720), (1920, 1080)]
PATIENCE = 20  # s for any one thing to happen
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
         "--disable-component-update", "--disable-sync"]
START = ".jp-NotebookPanel-toolbar jp-button"
IDLE = ".jp-NotebookPanel-toolbar .jp-Notebook-ExecutionIndicator[data-status=idle]"


def chromium():
    """Path of the browser; without one, skip or fail."""
    found = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
    if not found:
        (pytest.fail if os.environ.get("CURVELAB_REQUIRE_BROWSER") else pytest.skip)("no Chromium on this machine")
    return found


def command_of_the_readme():
    """What README.md puts after ``jupyter lab`` to open the page, on every system the same."""
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    lines = [line for block in text.split("```")[1::2] for line in block.splitlines()]
    found = {line.partition("jupyter lab ")[2].strip() for line in lines if "jupyter lab --config" in line}
    assert len(found) == 1, f"README.md opens the page in several ways, or in none: {found}"
    return shlex.split(found.pop())


def until(happens, what):
    """Wait until ``happens()`` is true; name what did not happen otherwise."""
    end = time.monotonic() + PATIENCE
    while not happens():
        assert time.monotonic() < end, f"waited {PATIENCE} s in vain: {what}"
        time.sleep(0.02)


@contextmanager
def server(folder, private):
    """Address, token included, of a JupyterLab that shows a copy of the project."""
    places = ("JUPYTER_CONFIG_DIR", "JUPYTER_DATA_DIR", "JUPYTER_RUNTIME_DIR", "JUPYTERLAB_SETTINGS_DIR",
              "JUPYTERLAB_WORKSPACES_DIR", "IPYTHONDIR", "MPLCONFIGDIR")
    environment = os.environ | {place: str(private / place.lower()) for place in places}
    extras = ["--no-browser", "--allow-root", "--ServerApp.ip=127.0.0.1", "--ServerApp.port=0"]
    command = [sys.executable, "-m", "jupyter", "lab", *command_of_the_readme(), *extras]
    with (private / "server.log").open("w+") as log:
        process = subprocess.Popen(command, cwd=folder, env=environment, stdin=subprocess.DEVNULL, stdout=log, stderr=log)
        try:
            def description():
                assert process.poll() is None, (private / "server.log").read_text()
                return "".join(path.read_text() for path in (private / "jupyter_runtime_dir").glob("jpserver-*.json"))
            until(lambda: description().rstrip().endswith("}"), "JupyterLab starts")
            about = json.loads(description())
            yield f"{about['url']}?token={about['token']}"
        finally:
            process.terminate()
            try:
                process.wait(PATIENCE)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()


@pytest.fixture(scope="module")
def checkout(tmp_path_factory):
    """A copy of what the page needs, so that no test touches the checkout; one field book in it is faulty."""
    folder = tmp_path_factory.mktemp("checkout")
    for name in ("notebooks", "data"):
        shutil.copytree(ROOT / name, folder / name)
    sound = next((folder / "data").glob("*/site.toml")).parent
    faulty = shutil.copytree(sound, folder / "data" / FAULTY)
    site = faulty / "site.toml"
    site.write_text('colour = "blue"\n' + site.read_text(encoding="utf-8"), encoding="utf-8")
    return folder


def connected(page, name):
    """Whether the notebook's kernel is idle and the page is in touch with it: what is run before that is lost, though JupyterLab calls the page idle."""
    kernels = [session["kernel"] for session in page.request.get(urljoin(page.url, "/api/sessions")).json() if name in session["path"]]
    return any(kernel["execution_state"] == "idle" and kernel["connections"] for kernel in kernels)


@pytest.fixture(scope="module")
def opened(checkout, tmp_path_factory):
    """The page as README's command shows it, before anything is pressed; ``.requested`` lists all addresses."""
    executable = chromium()
    with server(checkout, tmp_path_factory.mktemp("server")) as address, sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=executable, args=FLAGS)
        page = browser.new_context(viewport=dict(zip(("width", "height"), SIZES[0]))).new_page()
        page.set_default_timeout(PATIENCE * 1000)
        page.requested = []
        page.on("request", lambda request: page.requested.append(request.url))
        page.on("websocket", lambda socket: page.requested.append(socket.url))
        page.goto(address)
        page.locator(START).first.wait_for()
        until(lambda: connected(page, "00_live_demo"), "a kernel is there")
        page.locator(IDLE).first.wait_for()
        yield page
        browser.close()


@pytest.fixture(scope="module")
def live(opened):
    """The page after its one marked button was pressed with the mouse."""
    keep(opened, "opened")
    opened.locator(START).first.click()
    opened.locator(".curvelab-picture").wait_for()
    opened.locator(f"{IDLE} [aria-valuenow='100']").wait_for()
    until(lambda: not any("*" in prompt for prompt in opened.locator(".jp-InputPrompt").all_text_contents()), "all cells have run")
    assert fault(opened) == "" and "where will it strike" in sentence(opened)
    keep(opened, "ask")
    asked = pixels(opened)
    opened.locator(".curvelab-answer button").nth(1).focus()
    opened.keyboard.press("Enter")
    until(lambda: sentence(opened).startswith("You said: on the mark.") and differ(pixels(opened), asked), "the answer is taken, and the pictures show")
    keep(opened, "live")
    return opened


def keep(page, name):
    """Save the page at each size where CURVELAB_SCREENSHOTS names a folder."""
    folder = os.environ.get("CURVELAB_SCREENSHOTS")
    for width, height in SIZES if folder else []:
        page.set_viewport_size({"width": width, "height": height})
        if page.locator(".curvelab-answer").count():
            page.locator(".curvelab-answer").evaluate("row => row.scrollIntoView()")
        page.wait_for_function("() => new Promise(done => requestAnimationFrame(() => requestAnimationFrame(() => done(true))))")
        page.screenshot(path=Path(folder, f"{name}_{width}x{height}.png"))
    page.set_viewport_size(dict(zip(("width", "height"), SIZES[0])))


def sentence(page):
    return page.locator(".curvelab-sentence").inner_text().strip()


def fault(page):
    return page.locator(".curvelab-fault").inner_text().strip()


def pixels(page):
    """Grey values of the picture that is shown."""
    shown = page.locator("img.curvelab-picture, .curvelab-picture img").evaluate(
        """async image => { while (true) try { await image.decode(); break; } catch (replaced) { await new Promise(requestAnimationFrame); }
        const canvas = document.createElement('canvas');
        canvas.width = image.naturalWidth; canvas.height = image.naturalHeight;
        canvas.getContext('2d').drawImage(image, 0, 0); return canvas.toDataURL().split(',')[1]; }""")
    return np.asarray(Image.open(io.BytesIO(base64.b64decode(shown))).convert("L"))


def differ(one, other, at_least=50):
    """Whether two pictures differ in more than a few pixels."""
    return one.shape != other.shape or np.count_nonzero(one != other) >= at_least


def number(page, control):
    """The number in the field beside a slider; NaN while field and slider disagree."""
    box = page.locator(f".curvelab-{control}")
    field = float(box.locator("input[type=text]").input_value())
    slider = float(box.locator(".noUi-handle").get_attribute("aria-valuetext"))
    return round(field, 6) if abs(field - slider) < 1e-6 else math.nan


def test_the_readme_names_the_button(opened):
    label = opened.locator(START).first.inner_text().strip()
    assert label and label in (ROOT / "README.md").read_text(encoding="utf-8")


def test_the_page_opens_with_one_marked_button(opened):
    assert urlsplit(opened.url).path.endswith("/tree/notebooks/00_live_demo.ipynb")
    assert [text for text in opened.locator(START).all_inner_texts() if text.strip()] == ["Start the page"]


def test_the_page_stands_alone(live):
    for intruder in ("dialog", ".Toastify__toast", ".jp-Launcher", ".lm-DockPanel-tabBar"):
        assert live.locator(f"{intruder} >> visible=true").count() == 0, intruder
    for width, height in SIZES:  # nothing is wider than its frame, which would take a scroll bar
        live.set_viewport_size({"width": width, "height": height})
        assert live.locator(".curvelab-picture").evaluate("""picture => { const wide = [];
            for (let frame = picture; frame; frame = frame.parentElement) if (frame.scrollWidth > frame.clientWidth) wide.push(frame.className);
            return wide; }""") == []
    live.set_viewport_size(dict(zip(("width", "height"), SIZES[0])))


@pytest.mark.parametrize("control", CONTROLS)
def test_a_slider_moved_by_keyboard_moves_number_sentence_and_picture(live, control):
    before, said, drawn = number(live, control), sentence(live), pixels(live)
    live.locator(f".curvelab-{control} .noUi-handle").focus()
    for _ in range(STEPS):
        live.keyboard.press("ArrowRight")
    until(lambda: number(live, control) > before, "the number grows")
    until(lambda: differ(pixels(live), drawn), "the picture changes")
    if control in IN_THE_SENTENCE:
        until(lambda: sentence(live) != said, "the sentence changes")
    keep(live, control)
    for _ in range(STEPS):
        live.keyboard.press("ArrowLeft")
    until(lambda: number(live, control) == before, "the number is back")
    until(lambda: not differ(pixels(live), drawn, 1), "the picture is back")
    until(lambda: sentence(live) == said, "the sentence is back")
    assert fault(live) == ""


def test_a_typed_number_moves_the_slider(live):
    """To its nearest step, while the page keeps to the number."""
    before, drawn = number(live, "length"), pixels(live)
    field, handle = live.locator(".curvelab-length input[type=text]"), live.locator(".curvelab-length .noUi-handle")
    for typed, step, changed in ((before / 2, before / 2, True), (1612.0, 1600.0, True), (before, before, False)):
        field.fill(f"{typed:g}")
        field.press("Enter")
        until(lambda: float(handle.get_attribute("aria-valuenow")) == step, "the slider follows")
        until(lambda: differ(pixels(live), drawn, 1) == changed, "the picture follows")
        live.locator(IDLE).wait_for()
        assert float(field.input_value()) == typed


def test_a_typed_text_that_is_no_number_is_refused_in_words(live):
    field, said = live.locator(".curvelab-length input[type=text]"), sentence(live)
    before = field.input_value()
    for typed, words in (("1,250", "decimals or thousands"), ("two", "no number"), ("99999", "lies beyond")):
        field.fill(typed)
        field.press("Enter")
        until(lambda: words in fault(live) and field.input_value() == before, f"{typed} is refused")
        assert sentence(live) == said
    field.fill(f"{float(before) / 1000:g} km")
    field.press("Enter")
    until(lambda: fault(live) == "" and field.input_value() == before, "a length in km is taken")


def test_the_tabulator_key_reaches_every_slider(live):
    live.locator(f".curvelab-{CONTROLS[0]} .noUi-handle").focus()
    reached = set()
    for _ in range(3 * len(CONTROLS)):
        reached.add(live.evaluate("document.activeElement.closest('[class*=curvelab-]')?.className.match(/curvelab-(\\w+)/)[1]"
                                  " + ' ' + document.activeElement.classList.contains('noUi-handle')"))
        live.keyboard.press("Tab")
    assert {f"{control} true" for control in CONTROLS} <= reached


def test_a_field_book_chosen_on_the_page_is_judged(live):
    books = live.locator(".curvelab-book select")
    without, *names = books.locator("option").all_inner_texts()
    assert FAULTY in names and len(names) > 1
    drawn = pixels(live)
    for name in [name for name in names if name != FAULTY] + [without]:
        said = sentence(live)
        books.select_option(name)
        until(lambda: sentence(live) != said, f"the sentence changes with {name}")
        assert fault(live) == ""
        if name != without:
            until(lambda: differ(pixels(live), drawn), f"the picture shows {name}")
            keep(live, f"book_{name}")
        for control, fixed in (("length", True), ("phoned", True), ("height", False), ("gradient", False)):
            still = live.locator(f".curvelab-{control} .slider[disabled]")
            until(lambda: still.count() == (fixed and name != without), f"{control} stands still with {name}, or moves again")


def test_no_key_typed_on_a_control_changes_the_notebook(live):
    """A letter chooses from a list, as everywhere else; by itself JupyterLab would add, cut or retype the page's own cells."""
    cells, box, said = live.locator(".jp-Cell").count(), live.locator(".curvelab-book select"), sentence(live)
    for control in (".curvelab-book select", ".curvelab-length .noUi-handle", ".curvelab-called input", ".curvelab-answer button"):
        for key in "abcdxmyrvzdd00ii":
            live.locator(control).first.focus()
            live.keyboard.press(key)
        assert live.locator(".jp-Cell").count() == cells, control
    box.focus()
    live.keyboard.press("t")
    until(lambda: box.evaluate("list => list.selectedOptions[0].text").startswith("two"), "a letter chooses a book")
    until(lambda: sentence(live) != said, "the book is judged")
    live.locator(IDLE).wait_for()
    live.keyboard.press("Home")
    until(lambda: box.evaluate("list => list.selectedIndex") == 0, "the first is chosen")
    until(lambda: sentence(live) == said, "the page plans again")
    live.locator(IDLE).wait_for()
    assert live.locator(".jp-Cell").count() == cells and fault(live) == ""


def test_a_phoned_reading_units_and_large_type_by_keyboard(live):
    live.locator(IDLE).wait_for()
    said, drawn = sentence(live), pixels(live)
    live.locator(".curvelab-called input").focus()
    live.keyboard.press("Space")
    until(lambda: "is excluded" in sentence(live) or "can" in sentence(live) and sentence(live) != said, "the reading is judged")
    live.locator(".curvelab-units button").nth(1).focus()
    live.keyboard.press("Enter")
    until(lambda: "miles" in sentence(live), "US units")
    live.locator("button.curvelab-large").focus()
    live.keyboard.press("Enter")
    until(lambda: pixels(live).shape[0] > drawn.shape[0], "the picture is larger")
    keep(live, "large")
    live.keyboard.press("Enter")
    live.locator(".curvelab-units button").first.focus()
    live.keyboard.press("Enter")
    live.locator(".curvelab-called input").focus()
    live.keyboard.press("Space")
    until(lambda: sentence(live) == said, "the sentence is back")
    until(lambda: not differ(pixels(live), drawn, 1), "the picture is back")


def test_a_faulty_field_book_is_explained_in_words(live):
    books = live.locator(".curvelab-book select")
    without = books.locator("option").first.inner_text()
    books.select_option(FAULTY)
    until(lambda: "colour" in fault(live) and "site.toml" in fault(live), "the fault is named, with its place")
    keep(live, "fault")
    books.select_option(without)
    until(lambda: fault(live) == "", "the fault is gone")


def test_the_page_asks_no_other_machine(live):
    asked = {urlsplit(address).hostname for address in live.requested
             if urlsplit(address).scheme not in ("data", "blob")}
    assert asked == {"127.0.0.1"}


def test_using_the_page_leaves_the_notebook_as_it_was(live, checkout):
    name = "notebooks/00_live_demo.ipynb"
    assert (checkout / name).read_bytes() == (ROOT / name).read_bytes()


def test_a_saved_page_opens_with_its_picture_where_no_kernel_is(live, checkout):
    path = checkout / "notebooks" / "00_live_demo.ipynb"
    before = path.read_bytes()
    live.locator(".curvelab-large").focus()
    live.keyboard.press("Control+s")
    until(lambda: path.read_bytes() != before and path.read_text(encoding="utf-8").endswith("}\n"), "the notebook is saved")
    text = path.read_text(encoding="utf-8")
    assert "image/png" in text and "widget-view" not in text and "widget-state" not in text
    path.write_bytes(before)


# ---- an exercise sheet and the pages of the lessons, worked by keyboard


SHEET = "exercises/a_signal_and_level"
PAGES = {  # by lesson: a control, and the cells that its page needs, the page's own last
    "02_read_the_air": ("air", ("import matplotlib", "# The page of lines of sight")),
    "04_keep_the_field_book": ("crosshair", ("from pathlib", "# Four lines on a photograph")),
    "05_interpret_the_offset": ("k", ("import math", "book = curvelab.read_fieldbook", "# The sceptic's page")),
}
IN_FRONT = ".jp-NotebookPanel >> visible=true"


@pytest.fixture(scope="module")
def lab(opened):
    """The same JupyterLab in another page of the same browser, the exercise sheet open."""
    page = opened.context.new_page()
    page.set_default_timeout(PATIENCE * 1000)
    page.goto(opened.url.replace("00_live_demo", SHEET))
    page.locator(START).first.wait_for()
    return page


def lesson_opened(lab, name):
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
    sheet = lesson_opened(lab, SHEET)
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
    page, (control, cells) = lesson_opened(lab, lesson), PAGES[lesson]
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
