"""The live page without Lab around it, as README.md opens it, in a real Chromium."""

import os
import shlex
import socket
import subprocess
import sys
from urllib.parse import urlsplit

from playwright.sync_api import sync_playwright

from tests.test_browser import FLAGS, PATIENCE, ROOT, chromium, keep, sentence, until


def test_the_page_on_a_stage_without_lab(tmp_path):
    """README's other command: the page already executed; nothing is asked of another machine."""
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    line = next(line for line in text.splitlines() if "bin/voila" in line)
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    executable, options = chromium(), shlex.split(line.partition("bin/voila ")[2])
    environment = os.environ | {"JUPYTER_PATH": "notebooks/.lab/stage", "IPYTHONDIR": str(tmp_path), "MPLCONFIGDIR": str(tmp_path)}
    command = [sys.executable, "-m", "voila", *options, "--no-browser", f"--port={port}", "--Voila.ip=127.0.0.1"]
    process = subprocess.Popen(command, cwd=ROOT, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        until(lambda: _answers(port), "the stage opens")
        with sync_playwright() as driver:
            browser = driver.chromium.launch(executable_path=executable, args=FLAGS)
            page, asked = browser.new_page(viewport={"width": 1280, "height": 720}), []
            page.set_default_timeout(2 * PATIENCE * 1000)
            page.on("request", lambda request: asked.append(request.url))
            page.goto(f"http://127.0.0.1:{port}/")
            page.locator(".curvelab-picture").wait_for()
            page.locator(".curvelab-answer button").first.click()
            until(lambda: sentence(page).startswith("You said: above the mark."), "the answer is taken")
            assert {urlsplit(address).hostname for address in asked if urlsplit(address).scheme not in ("data", "blob")} == {"127.0.0.1"}
            keep(page, "stage")
            browser.close()
    finally:
        process.terminate()
        process.wait(PATIENCE)


def _answers(port):
    with socket.socket() as probe:
        return probe.connect_ex(("127.0.0.1", port)) == 0
