"""What a committed notebook may hold, that it is as a fresh run leaves it, and that a wrong number in it is seen."""
import base64
import copy
import io
import re
import shutil
import subprocess
import sys
from pathlib import Path

import matplotlib
import nbformat
import pytest
from nbformat import v4
from PIL import Image

from tests import normalise

ROOT = normalise.NOTEBOOKS.parent
NOTEBOOKS = normalise.notebooks()
NAMES = [path.relative_to(normalise.NOTEBOOKS).as_posix() for path in NOTEBOOKS]

LONGEST_CELL = 25
MAY_RAISE = set()  # (notebook, cell id) of cells that show an exception on purpose
SWITCHED_OFF = re.compile(r"nbval[-_]|pytest[-_]validate|skip-execution|raises-exception", re.IGNORECASE)
ADDRESS = re.compile(r"\b0x[0-9a-f]{6,}", re.IGNORECASE)
ABSOLUTE_PATH = re.compile(
    r"(?<![\w./:~-])/(?:etc|home|mnt|opt|private|root|srv|tmp|usr|var|work|Users|Volumes)/\w"
    r"|\b[A-Z]:[\\/]{1,2}(?:Users|Windows|Program|Temp)|\bfile://",
)


def texts(output):
    """The text of an output, by its kind; pictures and widget views have none."""
    if output.output_type == "stream":
        return {output.name: output.text}
    if output.output_type == "error":
        return {"error": "\n".join([output.ename, output.evalue, *output.traceback])}
    return {kind: str(value) for kind, value in output.data.items()
            if kind.startswith("text/") or kind == "image/svg+xml"}


def says_something(output):
    """Whether an output has text that a run compares and that no picture or widget stands for."""
    stand_in = any(kind.startswith("image/") or "widget" in kind for kind in output.get("data", {}))
    return not stand_in and any(text.strip() for text in texts(output).values())


def faults_of_a_cell(cell, may_raise=False):
    """What a single code cell must not hold, in words."""
    marks = [*cell.metadata.get("tags", []), *re.findall(r"^\s*#.*", cell.source, re.MULTILINE)]
    for mark in marks:
        if SWITCHED_OFF.search(mark) and not (may_raise and mark == "raises-exception"):
            yield f"switched off by {mark.strip()!r}"
    if cell.source.count("\n") >= LONGEST_CELL:
        yield f"longer than {LONGEST_CELL} lines"
    if "subplots(" in cell.source and not any("image/png" in output.get("data", {}) for output in cell.outputs):
        yield "draws a picture, and shows none"
    for output in cell.outputs:
        found = texts(output)
        if "error" in found and not may_raise:
            yield f"shows an error: {output.ename}"
        if "stderr" in found:
            yield "writes to stderr"
        if any(ADDRESS.search(text) for text in found.values()):
            yield "shows a memory address"
        if any(ABSOLUTE_PATH.search(text) for text in found.values()):
            yield "shows an absolute path"


def faults(nb, name=""):
    """All that a committed notebook must not hold, in words; an empty list if it is sound."""
    found = []
    code = [cell for cell in nb.cells if cell.cell_type == "code"]
    if [cell.execution_count for cell in code] != list(range(1, len(code) + 1)):
        found.append("execution counts are not 1 to n in order")
    if "widgets" in nb.metadata:
        found.append("saved widget state")
    if not any(says_something(output) for cell in code for output in cell.outputs):
        found.append("no text output, so nothing to compare")
    for cell in nb.cells:
        here = list(faults_of_a_cell(cell, (name, cell.id) in MAY_RAISE)) if cell in code else []
        if ABSOLUTE_PATH.search(cell.source):
            here.append("an absolute path in the source")
        found += [f"{cell.id}: {fault}" for fault in here]
    return found


def test_there_are_notebooks():
    assert "00_live_demo.ipynb" in NAMES


@pytest.mark.parametrize("path", NOTEBOOKS, ids=NAMES)
def test_a_committed_notebook_is_sound(path):
    name = path.relative_to(normalise.NOTEBOOKS).as_posix()
    assert faults(nbformat.read(path, as_version=4), name) == []


@pytest.mark.parametrize("path", NOTEBOOKS, ids=NAMES)
def test_a_committed_notebook_is_tidy(path):
    """That a new run prints and draws the same is asked where nbval runs it, by `notebooks/conftest.py`."""
    text = path.read_text(encoding="utf-8")
    assert nbformat.writes(normalise.tidied(nbformat.reads(text, as_version=4))) + "\n" == text, "run tests/normalise.py"


# The guard itself: every fault, put into a sound notebook, is reported.

def sound():
    """A notebook in which the guard finds nothing."""
    stream = v4.new_output("stream", name="stdout", text="height 1.234 m\n")
    view = v4.new_output("execute_result", execution_count=2, data={normalise.VIEW: {"model_id": "0" * 31 + "1"},
                                                                  "text/plain": "Panel()"})
    return v4.new_notebook(cells=[
        v4.new_markdown_cell("# Question\n\nSee [the map](https://example.org/home/map) and ../data/lake."),
        v4.new_code_cell("print('height 1.234 m')", execution_count=1, outputs=[stream]),
        v4.new_code_cell("Panel()", execution_count=2, outputs=[view]),
    ])


def _append(text, name="stdout"):
    return lambda nb: nb.cells[1].outputs.append(v4.new_output("stream", name=name, text=text))


def _tag(tag):
    return lambda nb: nb.cells[1].metadata.update(tags=[tag])


def _source(text, cell=1):
    return lambda nb: nb.cells[cell].update(source=text)


def _count(value):
    return lambda nb: nb.cells[1].update(execution_count=value)


def _error(nb):
    nb.cells[2].outputs = [v4.new_output("error", ename="ValueError", evalue="no", traceback=["no"])]


ELSEWHERE = "/".join(["", "home", "someone", "lake.csv"])
INJECTED = {
    "null count": (_count(None), "execution counts"),
    "count out of order": (_count(3), "execution counts"),
    "skip tag": (_tag("nbval-skip"), "switched off"),
    "ignore tag": (_tag("nbval-ignore-output"), "switched off"),
    "old ignore tag": (_tag("pytest-validate-ignore-output"), "switched off"),
    "not executed": (_tag("skip-execution"), "switched off"),
    "raises tag": (_tag("raises-exception"), "switched off"),
    "skip comment": (_source("# NBVAL_SKIP\nprint(1)"), "switched off"),
    "ignore comment": (_source("print(1)\n  # NBVAL_IGNORE_OUTPUT"), "switched off"),
    "raises comment": (_source("# NBVAL_RAISES_EXCEPTION\nprint(1)"), "switched off"),
    "stderr": (_append("careful", "stderr"), "stderr"),
    "error": (_error, "shows an error"),
    "widget state": (lambda nb: nb.metadata.update(widgets={}), "widget state"),
    "address": (_append("<Lake at 0x7f51c0a3d9d0>"), "memory address"),
    "path in output": (_append(f"read {ELSEWHERE}"), "shows an absolute path"),
    "path in code": (_source(f"open('{ELSEWHERE}')"), "absolute path in the source"),
    "path in text": (_source(f"stored in {ELSEWHERE}", 0), "absolute path in the source"),
    "Windows path": (_source(r"open(r'C:\Users\someone\lake.csv')"), "absolute path in the source"),
    "no picture": (_source("fig, ax = plt.subplots()"), "shows none"),
    "no text": (lambda nb: nb.cells[1].update(outputs=[]), "no text output"),
    "long cell": (_source("\n".join(["x = 1"] * (LONGEST_CELL + 1))), "longer than"),
}


def test_the_guard_lets_a_sound_notebook_pass():
    assert faults(sound()) == []


@pytest.mark.parametrize("inject, words", INJECTED.values(), ids=INJECTED)
def test_the_guard_reports(inject, words):
    nb = sound()
    inject(nb)
    found = faults(nb)
    assert len(found) == 1 and words in found[0]


def test_the_guard_accepts_a_named_cell_that_raises(monkeypatch):
    nb = sound()
    _error(nb)
    nb.cells[2].metadata.tags = ["raises-exception"]
    assert len(faults(nb, "shown.ipynb")) == 2
    monkeypatch.setitem(globals(), "MAY_RAISE", {("shown.ipynb", nb.cells[2].id)})
    assert faults(nb, "shown.ipynb") == []


# The comparison of two runs: it sees a number and a picture, and overlooks how a picture is packed.

def picture(grey, compress_level=6):
    """A notebook whose only output is a white picture with a corner in grey."""
    image = Image.new("L", (64, 64), 255)
    image.paste(grey, (0, 0, 32, 32))
    image.save(raw := io.BytesIO(), "PNG", compress_level=compress_level)
    data = {"image/png": base64.b64encode(raw.getvalue()).decode()}
    output = v4.new_output("display_data", data=data)
    return nbformat.writes(normalise.tidied(v4.new_notebook(cells=[v4.new_code_cell(outputs=[output])])))


def test_the_comparison_overlooks_how_a_picture_is_packed():
    assert picture(0, 0) != picture(0, 9) and normalise.same(picture(0, 0), picture(0, 9))


@pytest.mark.skipif(matplotlib.__version_info__ < normalise.DRAWN_WITH, reason="pictures are compared with the matplotlib that drew them")
def test_the_comparison_sees_a_changed_picture():
    assert not normalise.same(picture(0), picture(20))


def test_the_comparison_sees_a_changed_number():
    old = nbformat.writes(normalise.tidied(sound()))
    assert normalise.same(old, old) and not normalise.same(old, old.replace("1.234", "1.235"))


def test_tidying_leaves_nothing_that_changes_from_run_to_run():
    first, second = sound(), sound()
    second.metadata = {"language_info": {"name": "python", "version": "3.99"}}
    second.cells[1].metadata = {"execution": {"iopub.status.busy": "2001-01-01T00:00:00Z"}, "trusted": True}
    second.cells[1].execution_count, second.cells[2].execution_count = 7, 8
    second.cells[2].outputs[0].data[normalise.VIEW].model_id = "f" * 32
    assert normalise.tidied(copy.deepcopy(first)) == normalise.tidied(second)


def test_tidying_keeps_two_widgets_apart():
    nb = sound()
    nb.cells[2].outputs += [copy.deepcopy(nb.cells[2].outputs[0]) for _ in range(2)]
    nb.cells[2].outputs[1].data[normalise.VIEW].model_id = "f" * 32
    ids = [output.data[normalise.VIEW].model_id for output in normalise.tidied(nb).cells[2].outputs]
    assert [int(i, 16) for i in ids] == [1, 2, 1]


# The test command itself: it collects every cell and every doctest, and compares.

def pytest_here(*arguments):
    """Run pytest with this project's own settings in a new process."""
    command = [sys.executable, "-m", "pytest", "-c", ROOT / "pyproject.toml", "-q", "-n0", "-p", "no:cacheprovider"]
    return subprocess.run([*command, *arguments], cwd=ROOT, capture_output=True, text=True, timeout=120)


def test_plain_pytest_collects_every_cell_doctest_and_test_file(request):
    """Of this run, where it is one of all tests; asked of another where it isn't."""
    whole = request.config.args == request.config.getini("testpaths") and not request.config.option.keyword
    lines = [item.nodeid for item in request.session.items] if whole else pytest_here("--collect-only").stdout.splitlines()
    for path, name in zip(NOTEBOOKS, NAMES):
        cells = sum(cell.cell_type == "code" for cell in nbformat.read(path, as_version=4).cells)
        assert sum(line.startswith(f"notebooks/{name}::") for line in lines) == cells > 0
    for path in Path(ROOT, "curvelab").glob("*.py"):
        with_example = ">>>" in path.read_text(encoding="utf-8")
        assert any(line.startswith(f"curvelab/{path.name}::") for line in lines) == with_example
    for path in Path(ROOT, "tests").glob("test_*.py"):
        assert any(line.startswith(f"tests/{path.name}::") for line in lines)


def test_a_changed_number_and_a_changed_picture_fail_the_run(tmp_path):
    """One cell whose number is another now, one whose picture is, and one in which both are as stored."""
    draw = "from IPython.display import Image\nImage({})".format
    raw = {grey: base64.b64decode(nbformat.reads(picture(grey), as_version=4).cells[0].outputs[0].data["image/png"]) for grey in (0, 90)}
    outputs = [v4.new_output("execute_result", execution_count=1, data={"image/png": base64.b64encode(raw[0]).decode(), "text/plain": "<IPython.core.display.Image object>"})]
    said = [v4.new_output("stream", name="stdout", text="height 1.234 m\n")]
    cells = [v4.new_code_cell(source, execution_count=count, outputs=stored) for count, (source, stored) in enumerate((
        ("print('height 1.235 m')", said), (draw(raw[90]), outputs), ("print('height 1.234 m')", said), (draw(raw[0]), outputs)), 1)]
    nbformat.write(v4.new_notebook(cells=cells), tmp_path / "lesson.ipynb")
    shutil.copy(normalise.NOTEBOOKS / "conftest.py", tmp_path)
    result = pytest_here("--rootdir", tmp_path, tmp_path / "lesson.ipynb")
    assert "2 failed, 2 passed" in result.stdout and all(words in result.stdout for words in ("mismatch 'stdout'", "run tests/normalise.py")), result.stdout
