"""From a checked network to the flat arrays of the kernels."""
