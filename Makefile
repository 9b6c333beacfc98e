# Two commands are enough: `make run` and `make test`. The rest is for people who change Drydown.
PYTHON ?= python3
BIN := .venv/bin

.PHONY: run test test-long test-pages test-books lint types check bench truth docs mutants lock setup setup-test clean

run: setup
	@$(BIN)/drydown demo

# Two halves at a time, each printed when it is done; the books and pages once more on PostgreSQL.
test: setup-test lint types
	@$(MAKE) --no-print-directory -j2 --output-sync=target test-pages test-books

MODEL := tests/quality tests/plan tests/outlook tests/test_outlook.py tests/dry tests/season tests/roast tests/air \
  tests/validation

test-pages:
	@$(BIN)/python -m pytest --durations=15 --ignore=tests/books $(addprefix --ignore=,$(MODEL))

test-books:
	@$(BIN)/python -m pytest --durations=8 tests/books $(MODEL)
	@DRYDOWN_TEST_POSTGRES=1 $(BIN)/python -m pytest tests/books tests/desk

# Rounds that take an hour: kills on both databases, phones on a bad network, mixed load.
test-long: setup-test
	@DRYDOWN_TEST_LONG=1 $(BIN)/python -m pytest -s tests/faults tests/books/test_kill.py tests/books/test_stateful.py tests/quality/test_photo.py tests/misleads tests/dry/test_bounds.py tests/outlook/test_twins.py

lint: setup-test
	@$(BIN)/ruff check src tests tools bench
	@$(BIN)/ruff format --check src tests tools bench
	@$(BIN)/lint-imports --no-cache

types: setup-test
	@$(BIN)/mypy

bench: setup-test
	@$(BIN)/python -m bench

# What the forecast says against what was published (docs/validation.md); `truth-fit` estimates all anew.
truth: setup-test
	@$(BIN)/python -m drydown.validation
	@$(BIN)/python -m drydown.validation.skies

truth-fit: setup-test
	@$(BIN)/python -m drydown.validation fit

# Changes made by hand that a test must notice, then mutmut over the small pure rooms. Slow; not in CI.
mutants: setup-test
	@$(BIN)/python tools/mutants.py
	@rm -rf mutants && $(BIN)/mutmut run && $(BIN)/mutmut results | tail -40

docs: setup-test
	@$(BIN)/python tools/make_docs.py

# Write the hash-locked lists anew from the .in files (needs `uv` on the path).
lock:
	@tools/lock.sh

setup:
	@$(PYTHON) tools/setup.py run

setup-test:
	@$(PYTHON) tools/setup.py test

clean:
	rm -rf .venv .mypy_cache .ruff_cache .pytest_cache .hypothesis
