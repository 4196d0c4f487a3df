# A plain venv and pip: Python 3.11 or newer and make are all it takes.

PYTHON ?= $(shell for p in python3 python3.14 python3.13 python3.12 python3.11; do \
	$$p -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null && echo $$p && break; done)
VENV := .venv
BIN := $(VENV)/bin
PIP := $(BIN)/python -m pip --disable-pip-version-check --quiet
BASE := $(VENV)/.installed
FULL := $(VENV)/.installed-for-tests

.PHONY: demo test firmware soak lint bench bench-many coverage clean

demo: $(BASE)
	$(BIN)/drycount fly scenarios

test: $(FULL)
	$(BIN)/python -m sequencer.flight
	$(BIN)/lint-imports
	$(BIN)/python -m pytest -n auto

# every scenario on compiled firmware, beside the model; images go to build/firmware
firmware: $(FULL)
	$(BIN)/python -m hil.proving

soak: $(FULL)
	$(BIN)/python -m sequencer.testing.soak --pairs 100000
	$(BIN)/python -m hil.soaking --frames 10000000
	$(BIN)/python tests/hil/soak_kit_link.py --runs 10000000
	DRYCOUNT_HYPOTHESIS=soak $(BIN)/python -m pytest -n auto

lint: $(FULL)
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/lint-imports

bench: $(FULL)
	$(BIN)/python bench/run.py

bench-many: $(FULL)
	$(BIN)/python bench/run.py campaign

coverage: $(FULL)
	$(BIN)/python -m pytest -n auto --cov --cov-report=term

clean:
	rm -rf $(VENV) build dist bench.json .coverage* .pytest_cache .mypy_cache .ruff_cache \
		.hypothesis .import_linter_cache .soak
	find sequencer hil tests bench -name __pycache__ -type d -exec rm -rf {} +

$(VENV)/bin/python:
	@test -n "$(PYTHON)" || { echo "drycount needs Python 3.11 or newer" >&2; exit 2; }
	$(PYTHON) -m venv $(VENV)

$(BASE): pyproject.toml constraints.txt | $(VENV)/bin/python
	$(PIP) install -c constraints.txt -e .
	touch $@

$(FULL): pyproject.toml constraints.txt | $(VENV)/bin/python
	$(PIP) install -c constraints.txt -e '.[test,lint]'
	touch $@ $(BASE)
