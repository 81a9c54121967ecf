"""Compiled kernels: floats, integers and arrays in SI units; no names, no units, no words.

Rules of this room
------------------
1. Every compiled function lives here and is decorated by ``entry``, ``kernel``, ``leaf`` or
   ``stage``; only an ``entry`` can be called from Python.
2. Modules import only ``math``, ``numpy``, numba (through ``jit``) and each other.
3. Leaf functions take scalars and return scalars or tuples; entries and stages see whole
   networks.
4. Arrays are made by ``wavesim.arrays.compile`` and filled here; no array is created in a step.
5. Trouble is a status code; words are spoken in ``wavesim.march.advance``.
6. Everything also runs as plain Python with ``NUMBA_DISABLE_JIT=1``.
"""
