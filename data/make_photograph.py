"""Draw the invented photograph of this folder: a striped board over water, as a telescope shows it.

    python data/make_photograph.py FILE.png

Nobody took this picture. The line of sight passes 294 mm above the target mark; the picture is tilted by
1.2° and a little noisy, from a fixed seed. Everything is drawn from the numbers below, the letters too.
"""

from __future__ import annotations

import math
import sys

import numpy as np
from PIL import Image

OFFSET = 0.294  # m, of the line of sight above the target mark
SPACING = 0.600  # m, between the two scale marks
TILT = math.radians(1.2)  # by which level lines drop to the right
PIXEL = 0.00205  # m on the board
SIZE = (640, 480)  # pixels, width and height
SEED, NOISE, STEP, BLUR = 5, 0.33, 12, 2  # of the noise; its standard deviation in steps; a step of the tones [of 255]; softenings
FINE = 4  # drawn so many times finer, then averaged
WIDTH = 0.006  # m, of the crosshair
HEIGHTS = {"crosshair": 0.044, "mark": 0.044 - OFFSET, "upper": 0.310, "lower": 0.310 - SPACING}  # m above the middle
COLUMNS = {"crosshair": 320.0, "mark": 366.0, "upper": 270.0, "lower": 270.0}  # pixels, where each is best read
BANK, WATER, POST, BOARD, GREY = (164, 172, 150), (128, 152, 168), (96, 84, 72), (246, 244, 236), (204, 208, 208)
BLACK, RED = (40, 38, 44), (176, 44, 36)
LETTERS = {"I": "111 010 010 010 111", "N": "1001 1101 1011 1001 1001", "V": "101 101 101 101 010", "E": "111 100 110 100 111",
           "T": "111 010 010 010 010", "D": "110 101 101 101 110"}
WORD, STROKE, PLACE = "INVENTED", 4, (20, 18)  # text, pixels of one dot, pixels from the lower left corner


def row(name: str, column: float) -> float:
    """The row on which a line truly lies at a column [pixels, from the middle of the first]."""
    across = column - (SIZE[0] - 1) / 2
    return (SIZE[1] - 1) / 2 + across * math.tan(TILT) - HEIGHTS[name] / PIXEL / math.cos(TILT)


def picture() -> np.ndarray:
    """The photograph as it is committed (height, width, 3), whole tones of 0 to 255."""
    sharp = scene().reshape(SIZE[1], FINE, SIZE[0], FINE, 3).mean(axis=(1, 3))
    for _ in range(BLUR):
        for axis in (0, 1):
            before, after = (np.take(sharp, np.clip(np.arange(sharp.shape[axis]) + step, 0, sharp.shape[axis] - 1), axis) for step in (-1, 1))
            sharp = (before + 2 * sharp + after) / 4
    grain = np.round(np.random.default_rng(SEED).normal(0.0, NOISE, sharp.shape[:2]))
    tones = STEP * (np.round(sharp / STEP) + grain[..., None])
    tones[written()] = 255
    return np.clip(tones, 0, 255).astype(np.uint8)


def scene() -> np.ndarray:
    """The view without blur or noise, FINE times finer than the picture."""
    y, x = (np.arange(n * FINE) / FINE + (1 / FINE - 1) / 2 - (n - 1) / 2 for n in (SIZE[1], SIZE[0]))
    right = PIXEL * (x * math.cos(TILT) + y[:, None] * math.sin(TILT))  # m, along the level and up
    up = PIXEL * (x * math.sin(TILT) - y[:, None] * math.cos(TILT))
    ripple = 0.004 * np.sin(60 * right + 9 * np.sin(25 * up)) * (up < -0.4)
    view = np.where((up + ripple > -0.42)[..., None], BANK, WATER).astype(float)
    board = (abs(right) < 0.15) & (abs(up) < 0.40)
    stripes = np.floor((up + 0.40) / 0.1) % 2 == 0
    parts = [((abs(right) < 0.02) & (up < 0), POST), (board, BOARD), (board & stripes, GREY)]
    parts += [(board & (right < -0.06) & (abs(up - HEIGHTS[name]) < 0.006), BLACK) for name in ("upper", "lower")]
    parts += [(board & (right > 0.05) & (abs(up - HEIGHTS["mark"]) < 0.006), RED), (abs(up - HEIGHTS["crosshair"]) < WIDTH / 2, BLACK)]
    for where, tone in parts:
        view[where] = tone
    return view


def written() -> np.ndarray:
    """Where the word stands."""
    lines = ["0".join(LETTERS[letter].split()[i] for letter in WORD) for i in range(5)]
    dots = np.array([[dot == "1" for dot in line] for line in lines]).repeat(STROKE, 0).repeat(STROKE, 1)
    there = np.zeros((SIZE[1], SIZE[0]), dtype=bool)
    low = SIZE[1] - PLACE[1]
    there[low - dots.shape[0]:low, PLACE[0]:PLACE[0] + dots.shape[1]] = dots
    return there


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit(__doc__)
    tones, which = np.unique(picture().reshape(-1, 3), axis=0, return_inverse=True)
    image = Image.frombytes("P", SIZE, which.astype(np.uint8).tobytes())  # a palette of at most 256 tones keeps the file small
    image.putpalette(tones.tobytes())
    image.save(sys.argv[1], optimize=True)
