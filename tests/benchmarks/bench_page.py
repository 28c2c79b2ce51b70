"""From an arrow key to the new pixels of the live page, in a real JupyterLab and Chromium. Run it by hand, on a quiet machine."""

import shutil
import subprocess
import sys
import tempfile
import time
from contextlib import contextmanager
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import numpy as np  # noqa: E402
import pytest  # noqa: E402
from playwright.sync_api import sync_playwright  # noqa: E402

from curvelab import figures, panels  # noqa: E402
from curvelab.page import png  # noqa: E402
from tests.test_browser import FLAGS, IDLE, PATIENCE, ROOT, START, chromium, connected, sentence, server, until  # noqa: E402

MOVES, PAUSE, GOAL = 40, 300, 80  # of each slider; ms
STAGES = ("key to message", "message to picture's", "to the image's address", "to the image", "to the next frame")
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
    const drawn = new MessageChannel();  // what it brings comes after the frame
    drawn.port1.onmessage = () => { if (!at.drawn) at.drawn = performance.now(); };
    image.addEventListener('load', () => { if (at.src && !at.load) { at.load = performance.now(); requestAnimationFrame(() => drawn.port2.postMessage(0)); } });
    window.look = () => { const box = image.getBoundingClientRect();
        if (!image.isConnected || !image.getAttribute('src') || !box.width || !box.height) blanks += 1;
        requestAnimationFrame(look); };
}"""
PRESS = """(handle, [moves, pause]) => {
    window.rows = [];
    const rest = () => new Promise(ready => setTimeout(ready, pause)), row = () => ['sent', 'came', 'src', 'load', 'drawn'].map((stage, i, all) => at[stage] - at[all[i - 1] || 'key']);
    handle.focus();
    (async () => {
        await rest();
        for (let i = 0; i < moves; i++) {
            const key = i % 20 < 10 ? 'ArrowRight' : 'ArrowLeft';
            handle.dispatchEvent(new KeyboardEvent('keydown', {key, code: key, bubbles: true, cancelable: true}));
            for (let waits = 0; !at.drawn && waits < 10; waits++) await rest();
            rows.push([...row(), at.drawn - at.key]);
        }
    })();
}"""


@contextmanager
def attached(driver, port):
    """The page, for as long as the driver is needed: what it is told of the network would take time from both processors."""
    browser = driver.chromium.connect_over_cdp(f"http://127.0.0.1:{port}")
    page = browser.contexts[0].pages[0]
    page.set_default_timeout(3 * PATIENCE * 1000)
    yield page
    browser.close()


def moves(driver, port, control, look=False):
    """Times of single arrow keys [ms]: of each stage, and the whole last; a row for every move. The page presses them by itself, with events of its own."""
    with attached(driver, port) as page:
        if look:
            page.evaluate("look()")  # in every frame, which takes time
        page.locator(f".curvelab-{control} .noUi-handle").evaluate(PRESS, [MOVES, PAUSE])
    time.sleep(2 * (MOVES + 1) * PAUSE / 1000)
    with attached(driver, port) as page:
        assert page.evaluate("rows.length") == MOVES, "too slow: the driver came back before the last move"
        return np.array(page.evaluate("rows"), dtype=float), page.evaluate("blanks")


@contextmanager
def opened(driver, executable, address, folder):
    """The port of a browser with the live page, started and answered."""
    command = [executable, *FLAGS, "--headless", "--window-size=1280,863", "--remote-debugging-port=0", f"--user-data-dir={folder}", "about:blank"]
    chrome = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        told = Path(folder, "DevToolsActivePort")
        until(lambda: told.exists() and "\n" in told.read_text(), "the browser starts")
        port = told.read_text().split()[0]
        with attached(driver, port) as page:
            page.add_init_script(SOCKETS)
            page.goto(address)
            assert page.evaluate("[innerWidth, innerHeight]") == [1280, 720], "the window's frame takes another height than here"
            until(lambda: connected(page, "00_live_demo"), "a kernel is there")
            page.locator(IDLE).first.wait_for()
            page.locator(START).first.click()
            page.locator(f"{IDLE} [aria-valuenow='100']").wait_for()
            until(lambda: not any("*" in prompt for prompt in page.locator(".jp-InputPrompt").all_text_contents()), "all cells have run")
            page.locator(".curvelab-answer button").nth(1).press("Enter")
            until(lambda: sentence(page).startswith("You said"), "the answer is taken")
            page.locator(".curvelab-picture").evaluate(WATCH)
        yield port
    finally:
        chrome.terminate()
        chrome.wait()


def settled(page, act):
    """Do something to the page and wait until the picture has followed."""
    said = sentence(page)
    act()
    until(lambda: sentence(page) != said, "the page follows")
    page.locator(IDLE).wait_for()


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
        with server(folder, Path(folder, "private")) as address, opened(driver, executable, address, Path(folder, "private", "browser")) as port:
            rows = []
            for control in ("length", "height", "gradient", "collimation", "phoned", "shores"):
                with attached(driver, port) as page:
                    if control == "phoned":
                        settled(page, lambda: page.locator(".curvelab-called input").press("Space"))
                    if control == "shores":
                        settled(page, lambda: page.locator(".curvelab-book select").select_option("two_kilometres"))
                rows.append(moves(driver, port, control)[0])
                middle, most = np.quantile(rows[-1][:, -1], [0.5, 0.9])
                print(f"key to new pixels, {control:23} {middle:7.0f} ms (90 % below {most:.0f} ms; goal {GOAL} ms; {MOVES} moves)")
            print(f"frames with the image missing, of no size or without an address: {moves(driver, port, 'gradient', look=True)[1]}")
            for stage, middle in zip(STAGES, np.median(np.concatenate(rows), axis=0)):
                print(f"  {stage:40} {middle:7.1f} ms")
    print("  of it in the kernel: working out {:.1f} ms, drawing {:.1f} ms, PNG {:.1f} ms".format(*in_the_kernel()))


if __name__ == "__main__":
    main()
