"""Benchmarks: speed as a ratio measured in one run, on scratch books that are thrown away."""
