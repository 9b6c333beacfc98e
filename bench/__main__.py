"""Run all benchmarks: `make bench`."""

from bench.drying import main

main()
