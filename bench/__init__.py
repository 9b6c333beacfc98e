"""Benchmarks: ratios to general libraries, measured in the same run."""
