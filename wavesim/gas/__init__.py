"""The working gas: species, fuels, and the two models that the kernels march."""
