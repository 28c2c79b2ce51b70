"""Frame, radii, maps, campaigns and import, each over its floor: medians of ratios over interleaved rounds. Run by hand, on a quiet machine."""

import subprocess
import sys
import time
from functools import partial
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

import numpy as np  # noqa: E402
from matplotlib.backends.backend_agg import FigureCanvasAgg  # noqa: E402

import curvelab  # noqa: E402
from curvelab import designs, ellipsoid, maps, panels, photo_page, rays_page, sceptic_page, simulation  # noqa: E402

ROUNDS = 25


def seconds(work):
    """Time that one call takes."""
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def ratio(work, floor, rounds=ROUNDS):
    """Median over rounds of the time of one over that of the other, and the median time of the floor [ms]."""
    work(), floor()
    pairs = np.array([(seconds(work), seconds(floor)) for _ in range(rounds)])
    return float(np.median(pairs[:, 0] / pairs[:, 1])), float(np.median(pairs[:, 1])) * 1e3


PAGES = {  # page, and the control that is moved
    "live page": (panels.LivePage, "gradient"), "page of lines of sight": (rays_page.rays_page, "wind"),
    "page of a photograph": (lambda: photo_page.PhotoPage(ROOT / "data" / "photograph.png", 0.1), "crosshair"),
    "sceptic's page": (lambda: sceptic_page.ScepticPage(curvelab.read_fieldbook(ROOT / "data" / "builders_level_tested")), "k"),
}


def frame(name):
    """One move of a page against matplotlib's own full draw of the same artists."""
    build, control = PAGES[name]
    page, whole = build(), build()
    for each in (page, whole) if hasattr(page, "answer") else ():
        each.answer.value = "on the mark"
    for artist in whole.figure.findobj():
        artist.set_animated(False)
    canvas, slider, places = FigureCanvasAgg(whole.figure), page.controls[control], iter(range(10**6))
    start = round(0.4 * (slider.max - slider.min) / slider.step)

    def move():
        slider.value = slider.min + slider.step * (start + next(places) % 12)

    return ratio(move, canvas.draw)


def radii():
    """The radius in azimuth of 10⁵ points against sine and cosine of them."""
    latitude, azimuth = np.random.default_rng(1).uniform((-90, 0), (90, 360), (100_000, 2)).T
    return ratio(lambda: ellipsoid.azimuth_radius(latitude, azimuth), lambda: (np.sin(latitude), np.cos(azimuth)))


def power_map():
    """Power over 200 × 200 lengths and tilts against the exponential of as many numbers."""
    plan = curvelab.plan(designs.single_line(2000.0))
    lengths, tilts, grid = np.linspace(200, 6000, 200)[None], np.linspace(1e-6, 6e-5, 200)[:, None], np.random.rand(200, 200)
    return ratio(lambda: maps.power(maps.separation(plan, lengths, tilts), 0.01), lambda: np.exp(grid))


def many_campaigns():
    """100 000 campaigns of one design against drawing their random numbers."""
    plan = curvelab.plan(designs.single_line(2000.0))
    parts = len(plan.result.contributions())
    return ratio(lambda: simulation.campaigns(plan, 1.5e-7, 100_000, 1),
                 lambda: np.random.Generator(np.random.SFC64(1)).standard_normal((parts, 100_000)), 9)


def imports():
    """Importing the library, after numpy, against importing numpy; whole processes less an empty one."""
    def process(code):
        return lambda: subprocess.run([sys.executable, "-c", code], check=True, cwd=ROOT)

    empty = np.median([seconds(process("pass")) for _ in range(9)])
    pairs = np.array([(seconds(process("import curvelab")), seconds(process("import numpy"))) for _ in range(9)]) - empty
    return float(np.median(pairs[:, 0] / pairs[:, 1])), float(np.median(pairs[:, 1])) * 1e3


def main():
    """Print a row for each."""
    for name, work, goal in (*((f"frame of the {name} over a full draw", partial(frame, name), "0.8") for name in PAGES), ("radius in azimuth, 1e5, over sin and cos", radii, "1.5"),
                             ("power map 200 x 200 over exp", power_map, "100"), ("1e5 campaigns over their random numbers", many_campaigns, "3"),
                             ("import over numpy", imports, "1.2")):
        found, floor = work()
        print(f"{name:52} {found:7.2f} x  (goal {goal} x; floor {floor:.3f} ms)")


if __name__ == "__main__":
    main()
