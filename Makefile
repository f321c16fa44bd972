# Two commands do the set-up: `make week` (install, fill the invented district, print its week, write the bulletin) and
# `make test`. `make check` adds linting, types and layers; `make bench` measures; `make trials` runs the fault tests,
# the fuzzing, the invariants, 100,000 phone-ins about forage that can kill and ten minutes of load at full size;
# `make clone` runs the whole suite in a copy with the question of docs/building.md.
PYTHON ?= $(shell command -v python3.11 || command -v python3)
BIN = .venv/bin
DEMO = out/demo
TODAY = 2026-09-14
JOBS ?= 2

.PHONY: week test check bench trials clone lock clean

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
	$(BIN)/ruff check src tests benchmarks tools
	$(BIN)/ruff format --check --quiet src tests benchmarks tools
	$(BIN)/mypy
	$(BIN)/lint-imports

bench: .venv/test-ready
	$(BIN)/python -m benchmarks

trials: .venv/test-ready
	SIDEOATS_FULL=1 $(BIN)/python -m pytest tests/crash tests/fuzz tests/property/test_invariants.py tests/property/test_hay_nitrate_before.py --timeout 3600 --durations 0 --durations-min 5
	SIDEOATS_FULL=1 $(BIN)/python -m pytest tests/property/test_clearance_any.py -n 0 -s -q --timeout 3600
	$(BIN)/python -m benchmarks.load_desk

clone: .venv/test-ready
	SIDEOATS_WHOLE=1 $(BIN)/python -m pytest tests/unit/test_building.py -n 0 --timeout 3600

lock:
	for part in build run office test; do uv pip compile --python-version 3.11 --generate-hashes --no-annotate \
	  --quiet requirements/$$part.in --output-file requirements/$$part.txt; done

clean:
	rm -rf .venv out
