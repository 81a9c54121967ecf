"""Engine cycles on a GPU: the kernels of `wavesim.kernels`, a crew of threads for each point."""
