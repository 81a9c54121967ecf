"""Compiles one small kernel, with the cache that the environment names: run by tests.

Prints how often the kernel was found in the cache and how often it was compiled.
"""

from wavesim.kernels import cells, jit

if __name__ == "__main__":
    jit.compile_for(cells.half_slope, 1.0, 1.0, 1.0)
    stats = cells.half_slope.stats
    print(stats.cache_hits.total(), stats.cache_misses.total())
