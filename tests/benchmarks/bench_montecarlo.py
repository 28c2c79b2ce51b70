"""Time of a Monte Carlo of 12 inputs over that of drawing its numbers alone. Run it by hand, on a quiet machine."""

import time

import numpy as np

from curvelab import gum, montecarlo

TRIALS, ROUNDS, HALF = 1_000_000, 40, 6
GENERATORS = {kind.__name__: kind for kind in (np.random.SFC64, np.random.PCG64, np.random.PCG64DXSM, np.random.Philox)}
NORMAL = [gum.Input(3.0 + i, 1.0 + i / 5) for i in range(HALF)]
RECTANGULAR = [gum.within(3.0 + i, 1.0 + i / 5) for i in range(HALF)]


def linear(first, *rest):
    """Sum of the inputs, in one array."""
    total = first.copy()
    for each in rest:
        total += each
    return total


def numbers_alone(kind, size=montecarlo.CHUNK):
    """Draw the numbers of all inputs into buffers that are used again, the fastest way that numpy has."""
    rng, normal, uniform = np.random.Generator(kind(1)), np.empty((HALF, size)), np.empty((HALF, size))
    for _ in range(TRIALS // size):
        rng.standard_normal(out=normal)
        rng.random(out=uniform)


def seconds(work):
    """Time that one call takes."""
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def main():
    """Print the time of each generator, and of the whole over the fastest of them."""
    times = {name: [] for name in GENERATORS}
    whole = []
    for _ in range(ROUNDS):
        for name, kind in GENERATORS.items():
            times[name].append(seconds(lambda kind=kind: numbers_alone(kind)))
        whole.append(seconds(lambda: montecarlo.propagate(linear, [*NORMAL, *RECTANGULAR], trials=TRIALS)))
    print(f"{TRIALS:.0e} draws of {HALF} normal and {HALF} rectangular inputs, a sum, mean, u, both 95 % intervals; {ROUNDS} rounds")
    for name, each in times.items():
        ratios = np.array(whole) / each
        print(f"numbers alone, {name:9} {np.median(each) * 1e3:6.1f} ms; the whole {np.median(ratios):5.2f} x "
              f"(middle half {np.quantile(ratios, 0.25):.2f} to {np.quantile(ratios, 0.75):.2f})")
    print(f"the whole {np.median(whole) * 1e3:6.1f} ms")


if __name__ == "__main__":
    main()
