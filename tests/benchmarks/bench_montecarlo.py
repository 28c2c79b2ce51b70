"""Time of a Monte Carlo of 12 inputs over that of drawing its numbers alone. Run it by hand, on a quiet machine."""

import itertools
import time

import numpy as np

from curvelab import gum, montecarlo

TRIALS, ROUNDS, HALF = 1_000_000, 40, 6
GENERATORS = {kind.__name__: kind for kind in (np.random.SFC64, np.random.PCG64)}
INPUTS = {
    "about values": [gum.Input(3.0 + i, 1.0 + i / 5) for i in range(HALF)] + [gum.within(3.0 + i, 1.0 + i / 5) for i in range(HALF)],
    "about zero": [gum.Input(0.0, 1.0 + i / 5) for i in range(HALF)] + [gum.within(0.0, 1.0 + i / 5) for i in range(HALF)],
}


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
    for (name, kind), alone, (where, inputs) in itertools.product(GENERATORS.items(), (into_buffers, as_arrays), INPUTS.items()):
        works = (lambda a=alone, k=kind: a(k)), (lambda i=inputs: montecarlo.propagate(linear, i, trials=TRIALS))
        numbers, whole = np.array([[seconds(work) for work in works] for _ in range(ROUNDS)]).T
        low, middle, high = np.quantile(whole / numbers, [0.25, 0.5, 0.75])
        print(f"{name:6} {alone.__name__:13} {np.median(numbers) * 1e3:6.1f} ms, the whole {where:13} {np.median(whole) * 1e3:6.1f} ms: "
              f"{middle:5.2f} x (middle half {low:.2f} to {high:.2f})")


if __name__ == "__main__":
    main()
