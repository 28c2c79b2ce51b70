"""Time of a Monte Carlo of 12 inputs over that of drawing its numbers alone. Run it by hand, on a quiet machine."""

import time

import numpy as np

from curvelab import gum, montecarlo

TRIALS, ROUNDS, HALF = 1_000_000, 40, 6
GENERATORS = {kind.__name__: kind for kind in (np.random.SFC64, np.random.PCG64, np.random.PCG64DXSM, np.random.Philox)}
NORMAL = [gum.Input(3.0 + i, 1.0 + i / 5) for i in range(HALF)]
RECTANGULAR = [gum.within(3.0 + i, 1.0 + i / 5) for i in range(HALF)]


def linear(first, second, *rest):
    """Sum of the inputs, in one array."""
    total = first + second
    for each in rest:
        total += each
    return total


def into_buffers(kind):
    """Draw the numbers of all inputs into small buffers that are used again: the fastest way that numpy has."""
    size = montecarlo.CHUNK
    rng, normal, uniform = np.random.Generator(kind(1)), np.empty((HALF, size)), np.empty((HALF, size))
    for _ in range(TRIALS // size):
        rng.standard_normal(out=normal)
        rng.random(out=uniform)


def as_arrays(kind):
    """Draw the numbers of all inputs as two arrays."""
    rng = np.random.Generator(kind(1))
    return rng.standard_normal((HALF, TRIALS)), rng.random((HALF, TRIALS))


def seconds(work):
    """Time that one call takes."""
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def main():
    """Print the time of drawing alone, and that of the whole over it."""
    print(f"{TRIALS:.0e} draws of {HALF} normal and {HALF} rectangular inputs, a sum, mean, u, both 95 % intervals; {ROUNDS} rounds")
    for name, kind in GENERATORS.items():
        for alone in (into_buffers, as_arrays):
            rounds = [(seconds(lambda alone=alone, kind=kind: alone(kind)), seconds(whole)) for _ in range(ROUNDS)]
            numbers, all_of_it = np.array(rounds).T
            low, middle, high = np.quantile(all_of_it / numbers, [0.25, 0.5, 0.75])
            print(f"{name:9} {alone.__name__:13} {np.median(numbers) * 1e3:6.1f} ms, the whole {np.median(all_of_it) * 1e3:6.1f} ms: "
                  f"{middle:5.2f} x (middle half {low:.2f} to {high:.2f})")


def whole():
    """The whole propagation."""
    return montecarlo.propagate(linear, [*NORMAL, *RECTANGULAR], trials=TRIALS)


if __name__ == "__main__":
    main()
