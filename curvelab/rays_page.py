"""A page that shows lines of sight through warm and cold air, and the far board as they show it."""

from __future__ import annotations

import functools
import math
from collections.abc import Iterable

import numpy as np
from matplotlib.figure import Figure

from . import air, figures, ray, refraction
from .controls import Control
from .drawing import outward
from .page import Page, parts

CONTROLS = {
    "air": Control("Air, 10 m up", "°C", -10.0, 35.0, 0.5, 15.0),
    "water": Control("Water", "°C", 0.0, 30.0, 0.5, 12.0),
    "height": Control("Height of instrument", "m", 0.5, 6.0, 0.1, 1.6),
    "length": Control("Length of sight", "m", 200.0, 5000.0, 50.0, 2000.0),
    "wind": Control("Wind", "m/s", 2.0, 12.0, 0.5, 4.0),
}
SIZE = (11.6, 4.3)  # inches at 100 dpi
WIDTHS, BOXES, LABELS = (790, 370), ((0.1028, 0.13, 0.8623, 0.79), (0.1862, 0.13, 0.7673, 0.79)), (30.5, (45, 45))  # pixels of the parts; axes in them; pixels from labels to axes
BOARD, COARSE, LINES, DRAWN = 3.0, 41, 161, 9  # m of board; lines that find it, lines that show it; every so many drawn
HIDDEN = 0.02  # m: nothing lower is told, because a line within 1 cm of the water counts as meeting it
SHOWN = 0.01  # m of the board, less than a pixel of the picture
RADIUS = refraction.REFERENCE_RADIUS


def rays_page() -> Page:
    """The page of lines of sight: move the temperatures and see the light bend."""
    page = Page(CONTROLS, SIZE, _show, _describe)
    page.update()
    return page


def _show(page: Page) -> tuple[str, Iterable[str]]:
    """Follow the lines over water that follows the Earth, draw them, and say what they show."""
    at = page.values
    distance, height = at["length"], at["height"]
    here, state = air.windy(at["air"], at["water"], at["wind"])
    bending = functools.partial(here.curvature, state=state)
    straight = height + distance**2 / 2 / RADIUS  # where straight light would meet the board on the line that starts level

    def lines(apparent: np.ndarray) -> tuple[ray.Path, np.ndarray]:
        try:
            way = ray.follow(distance, height, (apparent - straight) / distance, 1 / RADIUS, bending)
        except ValueError as error:
            raise ValueError("The air is too far from the water's temperature for a line so long: some lines of sight graze the water. "
                             "Bring the two nearer, raise the instrument or shorten the sight.") from error
        return way, np.where(way.touches, math.nan, way.end)

    wide = np.linspace(-0.5 - straight, BOARD + 3 * straight, COARSE)
    shown = wide[np.nan_to_num(lines(wide)[1], nan=-1.0) >= 0]
    low, high = max(shown.min(initial=0.0) - 0.3, wide[0]), min(shown.min(initial=0.0) + BOARD + 0.5, wide[-1])
    apparent = np.unique(np.append(np.linspace(*outward(min(low, straight - 0.3), max(high, straight + 0.3)), LINES), straight))
    way, seen = lines(apparent)
    level = int(np.searchsorted(apparent, straight))
    k = float(np.asarray(way.mean(bending))[level]) * RADIUS
    chosen = sorted({*range(0, apparent.size, DRAWN), level})
    if not np.isnan(seen).all():  # the foot of what is seen, more finely
        foot = np.linspace(*apparent[np.clip(np.nanargmin(seen) + [-1, 1], 0, apparent.size - 1)], COARSE)[1:-1]
        apparent, order = np.unique(np.append(apparent, foot), return_index=True)
        seen = np.append(seen, lines(foot)[1])[order]
    left, right = page.figure.axes or parts(page.figure, page.figure.add_gridspec(1, 2, width_ratios=WIDTHS), BOXES, *LABELS)
    figures.ray_fan([_until_water(x, z) for x, z in zip(way.x[chosen], way.z[chosen])], chosen.index(level), distance=distance, top=max(BOARD, straight + 0.3), ax=left)
    figures.board_as_seen(apparent, seen, ax=right)
    return _words(at, apparent, seen, int(np.searchsorted(apparent, straight)), k), []


def _until_water(x: np.ndarray, z: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """A line up to where it meets the water."""
    below = np.flatnonzero(z <= 0)
    if not below.size:
        return x, z
    end = below[0]  # past it a line means nothing, so the last clear piece is carried on
    run, drop = x[end - 1] - x[end - 2], max(z[end - 2] - z[end - 1], 1e-9)
    return np.append(x[:end], min(x[end], x[end - 1] + z[end - 1] * run / drop)), np.append(z[:end], 0.0)


def _words(at: dict[str, float], apparent: np.ndarray, seen: np.ndarray, level: int, k: float) -> str:
    """What the picture shows, in plain English."""
    step = at["air"] - at["water"]
    told = f"Air {abs(step):.1f} °C {'warmer' if step > 0 else 'colder'} than the water" if step else "Air as warm as the water"
    if math.isnan(seen[level]):
        return f"{told}, wind {at['wind']:g} m/s: the line that starts level meets the water before the far shore."
    lift = apparent[level] - seen[level]
    way = f"{abs(lift) * 1000:.0f} mm {'below' if lift > 0 else 'above'} where straight light would, so the board looks {'raised' if lift > 0 else 'lowered'}"
    text = (f"{told}, wind {at['wind']:g} m/s: the level line is bent with k = {k:.2f} and strikes the board "
            f"{way if abs(lift) >= 0.0005 else 'within half a millimetre of where straight light would'}.")
    if _turns(seen):
        text += " Part of the board is seen more than once, upside down in between."
    hidden = float(np.nanmin(seen))
    return text + (f" Its lowest {hidden * 1000:.0f} mm can't be seen." if hidden > HIDDEN else "")


def _turns(seen: np.ndarray) -> bool:
    """Whether part of the board is seen upside down: rising heights come from falling ones, by more than can be drawn."""
    clear = seen[~np.isnan(seen)]
    return bool((np.maximum.accumulate(clear) - clear > SHOWN).any() and (clear - np.minimum.accumulate(clear) > SHOWN).any())


def _describe(figure: Figure) -> str:
    """What the picture shows, read back from its artists."""
    fan, right = (figures.named(axes) for axes in figure.axes)
    end, seen = fan["level"].get_ydata()[-1], right["seen"].get_ydata()
    clear = seen[~np.isnan(seen)]
    board = f"board seen from {clear.min() * 1000:z.0f} mm up" if clear.size else "board not seen"
    return f"level line ends {end * 1000:z.0f} mm above the water; {board}"
