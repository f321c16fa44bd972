# Two commands do the set-up: `make week` (install, fill the invented district, print its week, write the bulletin) and
# `make test`. `make check` adds linting, types and layers; `make bench` measures; `make trials` runs the fault tests,
# the fuzzing and ten minutes of load at full size.
PYTHON ?= $(shell command -v python3.11 || command -v python3)
BIN = .venv/bin
DEMO = out/demo
TODAY = 2026-09-14
JOBS ?= 2

.PHONY: week test check bench trials lock clean

.venv/run-ready: requirements/run.txt requirements/build.txt pyproject.toml
	$(PYTHON) -m venv .venv
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements/build.txt -r requirements/run.txt
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation --editable .
	touch $@

.venv/test-ready: .venv/run-ready requirements/office.txt requirements/test.txt
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements/office.txt -r requirements/test.txt
	touch $@

week: .venv/run-ready
	@rm -rf $(DEMO) && mkdir -p $(DEMO)
	@$(BIN)/sideoats --ledger $(DEMO)/ledger.sqlite demo
	@$(BIN)/sideoats --ledger $(DEMO)/ledger.sqlite week --on $(TODAY)
	@$(BIN)/sideoats --ledger $(DEMO)/ledger.sqlite bulletin --on $(TODAY) --out $(DEMO)/bulletin

test: .venv/test-ready
	$(BIN)/python -m pytest -n $(JOBS) --dist loadfile

check: .venv/test-ready
	$(BIN)/ruff check src tests benchmarks
	$(BIN)/ruff format --check --quiet src tests benchmarks
	$(BIN)/mypy
	$(BIN)/lint-imports

bench: .venv/test-ready
	$(BIN)/python -m benchmarks

trials: .venv/test-ready
	SIDEOATS_FULL=1 $(BIN)/python -m pytest tests/crash tests/fuzz --timeout 3600 --durations 0 --durations-min 5
	$(BIN)/python -m benchmarks.load_desk

lock:
	for part in build run office test; do uv pip compile --python-version 3.11 --generate-hashes --no-annotate \
	  --quiet requirements/$$part.in --output-file requirements/$$part.txt; done

clean:
	rm -rf .venv out
