"""Many points: executors, the store, speed curves, spaces of designs, the search."""
