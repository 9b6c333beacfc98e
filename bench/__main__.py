"""Run all benchmarks: `make bench`; the day's takes some minutes: `python -m bench.day`."""

from bench.drying import main

main()
