"""What came out: traces, operating points, speed curves, comparisons, and their files."""
