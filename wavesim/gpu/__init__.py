"""Engine cycles on a GPU: the kernels of `wavesim.kernels`, one block of threads for each point."""
