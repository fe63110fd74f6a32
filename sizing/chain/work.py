"""Shapes with the installations in front, and rows shared among cores."""

from concurrent.futures import ThreadPoolExecutor

import numpy as np

from ..checks import Refusal, within


def lead(n, **named):
    """Arrays of one shape (n, ...) from name=(value, low, high): numbers, (n,) or (n, ...); trailing axes broadcast."""
    arrays = {name: np.asarray(within(value, low, high, name)) for name, (value, low, high) in named.items()}
    depth = max(max(a.ndim for a in arrays.values()), 1)
    for name, a in arrays.items():
        if a.ndim and a.shape[0] not in (1, n):
            raise Refusal(name, a.shape, because=f"the first axis must count the {n} installations")
        arrays[name] = a.reshape(a.shape + (1,) * (depth - a.ndim)) if a.ndim else a.reshape((1,) * depth)
    shape = np.broadcast_shapes((n,) + (1,) * (depth - 1), *(a.shape for a in arrays.values()))
    return [np.broadcast_to(a, shape) for a in arrays.values()]


def spread_over(cores, n, work):
    """Calls work(first, last) over the rows; on several cores in threads: compiled loops let go of the interpreter."""
    if cores <= 1 or n < 2:
        work(0, n)
        return
    # many small shares: a core that is held up by other work does not keep the rest waiting at the end
    edges = np.linspace(0, n, min(16 * cores, n) + 1).astype(int)
    with ThreadPoolExecutor(cores) as pool:
        for done in [pool.submit(work, int(a), int(b)) for a, b in zip(edges[:-1], edges[1:], strict=True)]:
            done.result()
