"""Time to follow 512 lines of sight: medians of ratios over interleaved rounds. Run it by hand, on a quiet machine."""

import sys
import time
from pathlib import Path

import numpy as np
from scipy.integrate import solve_ivp

sys.path.insert(0, str(Path(__file__).parents[2]))
from curvelab import air
from curvelab.ray import follow
from curvelab.records import Air, Stated

LINES, NODES, ROUNDS, KAPPA = 512, 8, 200, 1 / 6_371_000
HEIGHTS = np.random.default_rng(1).uniform(1, 3, LINES)  # m
OWN, COLDER = air.layer(Air("lake", temperature=Stated(10.0), pressure=Stated(1000.0))), air.State(strength=-0.2)
PROFILES = {  # curvature of the ray [1/m] over warmer and colder water, without and with stability
    "2e-8 + B/z, B = +5e-8": lambda z: 2e-8 + 5e-8 / z,
    "2e-8 + B/z, B = -2.3e-7": lambda z: 2e-8 - 2.3e-7 / z,
    "unstable, L = -20 m": lambda z: 2e-8 - 2.3e-7 / z / np.sqrt(1 + 0.8 * z),
    "the network's own air": lambda z: OWN.curvature(z, COLDER),
}


def solved(distance, chi):
    """Heights at the far end, all lines in one call of scipy's solver."""
    def slopes(_, state):
        return np.concatenate([state[LINES:], KAPPA - chi(state[:LINES])])

    start = np.concatenate([HEIGHTS, np.zeros(LINES)])
    return solve_ivp(slopes, (0, distance), start, method="DOP853", rtol=1e-9, atol=1e-9).y[:LINES, -1]


def seconds(work):
    """Time that one call takes."""
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def main():
    """Print a row for every distance and profile, and the time for one line."""
    nodes = np.repeat(HEIGHTS[:, None], NODES, 1)
    print("follow: ms, over one profile at 8 nodes a line, solve_ivp over follow, largest difference at the far end")
    for distance in (500.0, 2000.0, 10_000.0):
        for name, chi in PROFILES.items():
            works = (
                lambda chi=chi: chi(nodes),
                lambda chi=chi, d=distance: follow(d, HEIGHTS, curvature=KAPPA, chi=chi),
                lambda chi=chi, d=distance: solved(d, chi),
            )
            profile, ours, theirs = np.array([[seconds(work) for work in works] for _ in range(ROUNDS)]).T
            apart = np.abs(works[1]().end - works[2]()).max()
            print(f"{distance:6.0f} m  {name:24} {np.median(ours) * 1e3:6.3f} ms {np.median(ours / profile):6.1f} x "
                  f"{np.median(theirs / ours):6.1f} x {apart:8.1e} m")
        one = [seconds(lambda chi=chi, d=distance: follow(d, 1.5, curvature=KAPPA, chi=chi)) for _ in range(ROUNDS)]
        print(f"{distance:6.0f} m  one line {np.median(one) * 1e3:21.3f} ms")


if __name__ == "__main__":
    main()
