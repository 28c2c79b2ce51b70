"""From an arrow key to the new pixels of the live page, in a real JupyterLab and Chromium. Run it by hand, on a quiet machine."""

import shutil
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import numpy as np  # noqa: E402
import pytest  # noqa: E402
from playwright.sync_api import sync_playwright  # noqa: E402

from curvelab import figures, panels  # noqa: E402
from curvelab.page import png  # noqa: E402
from tests.test_browser import FLAGS, KERNEL, PATIENCE, ROOT, START, chromium, sentence, server, until  # noqa: E402

MOVES, GOAL = 40, 80  # of each slider; ms
STAGES = ("key to message", "message to picture's", "to the image's address", "to pixels")
SOCKETS = """
const Plain = WebSocket;
window.at = {};
window.WebSocket = class extends Plain {
    constructor(...all) { super(...all); this.addEventListener('message', event => {
        if ((event.data.byteLength || 0) > 8000 && at.sent && !at.came) at.came = performance.now(); }); }
    send(data) { if (at.key && !at.sent) at.sent = performance.now(); super.send(data); }
};"""
WATCH = """picture => {
    const image = picture.matches('img') ? picture : picture.querySelector('img');
    window.blanks = 0;
    window.addEventListener('keydown', () => { window.at = {key: performance.now()}; }, true);
    new MutationObserver(() => { if (at.key && !at.src) at.src = performance.now(); }).observe(image, {attributeFilter: ['src']});
    image.addEventListener('load', () => { if (at.src && !at.load) at.load = performance.now(); });
    window.look = () => { const box = image.getBoundingClientRect();
        if (!image.isConnected || !image.getAttribute('src') || !box.width || !box.height) blanks += 1;
        requestAnimationFrame(look); };
}"""


def moves(page, control):
    """Times of single arrow keys [ms]: of each stage, and the whole last; a row for every move that changed the picture."""
    handle, rows = page.locator(f".curvelab-{control} .noUi-handle"), []
    for i in range(MOVES):
        handle.press("ArrowRight" if i % 20 < 10 else "ArrowLeft")
        page.wait_for_function("!!at.load", polling=50)  # asked in the page, and not in every frame: to ask takes time from the kernel
        page.locator(f"{KERNEL}[data-status=idle]").wait_for()
        page.wait_for_timeout(100)
        at = page.evaluate("at")
        rows.append([at[b] - at[a] for a, b in (("key", "sent"), ("sent", "came"), ("came", "src"), ("src", "load"), ("key", "load"))])
    return np.array(rows)


def opened(driver, executable, address):
    """The live page, started and answered."""
    page = driver.chromium.launch(executable_path=executable, args=FLAGS).new_page(viewport={"width": 1280, "height": 720})
    page.set_default_timeout(3 * PATIENCE * 1000)
    page.add_init_script(SOCKETS)
    page.goto(address)
    page.get_by_text("| Idle").first.wait_for()
    page.locator(START).first.click()
    page.locator(f"{KERNEL}[data-status=idle] [aria-valuenow='100']").wait_for()
    until(lambda: not any("*" in prompt for prompt in page.locator(".jp-InputPrompt").all_text_contents()), "all cells have run")
    page.locator(".curvelab-answer button").nth(1).press("Enter")
    until(lambda: sentence(page).startswith("You said"), "the answer is taken")
    page.locator(".curvelab-picture").evaluate(WATCH)
    return page


def settled(page, act):
    """Do something to the page and wait until the picture has followed."""
    said = sentence(page)
    act()
    until(lambda: sentence(page) != said, "the page follows")
    page.locator(f"{KERNEL}[data-status=idle]").wait_for()


def in_the_kernel():
    """Median times of a move without a browser [ms]: working out and moving the artists, drawing, PNG."""
    page, rows = panels.LivePage(), []
    page.answer.value = "on the mark"
    for i in range(MOVES):
        with page.together():
            page.controls["gradient"].value = 0.002 * (i % 40)
        with figures.style():
            times = [time.perf_counter()]
            for work in (page._compute, page._drawn, lambda: png(np.asarray(page.figure.canvas.buffer_rgba()))):
                work()
                times.append(time.perf_counter())
        rows.append(np.diff(times))
    return np.median(rows, axis=0) * 1e3


def main():
    """Print a row for every slider, and where the time goes."""
    try:
        executable = chromium()
    except pytest.skip.Exception as missing:
        return print(f"left out: {missing}")
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as driver:
        for name in ("notebooks", "data"):
            shutil.copytree(ROOT / name, Path(folder, name))
        Path(folder, "private").mkdir()
        with server(folder, Path(folder, "private")) as address:
            page, rows = opened(driver, executable, address), []
            for control in ("length", "height", "gradient", "collimation", "phoned", "shores"):
                if control == "phoned":
                    settled(page, lambda: page.locator(".curvelab-called input").press("Space"))
                if control == "shores":
                    settled(page, lambda: page.locator(".curvelab-book select").select_option("two_kilometres"))
                rows.append(moves(page, control))
                middle, most = np.quantile(rows[-1][:, -1], [0.5, 0.9])
                print(f"key to new pixels, {control:23} {middle:7.0f} ms (90 % below {most:.0f} ms; goal {GOAL} ms; {MOVES} moves)")
            page.evaluate("look()")  # in every frame, which takes time: so not before
            moves(page, "gradient")
            print(f"frames with the image missing, of no size or without an address: {page.evaluate('blanks')}")
            for stage, middle in zip(STAGES, np.median(np.concatenate(rows), axis=0)):
                print(f"  {stage:40} {middle:7.1f} ms")
            page.context.browser.close()
    print("  of it in the kernel: working out {:.1f} ms, drawing {:.1f} ms, PNG {:.1f} ms".format(*in_the_kernel()))


if __name__ == "__main__":
    main()
