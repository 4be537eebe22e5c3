# Every job of the project. `make` alone lists them. Needs Python 3.11 or newer, git and make.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
PIP := $(BIN)/python -m pip --disable-pip-version-check --quiet
WORKERS ?= 2
DEMO_OUT ?= demo-out
PYTEST_ARGS ?=
SOURCES := $(shell find src docs -name '*.py' -o -name '*.md' -o -name '*.toml' 2>/dev/null | grep -v -e /_build/ -e /reference/evidence/)

# Two workers share two cores: one thread each.
export OMP_NUM_THREADS ?= 1
export OPENBLAS_NUM_THREADS ?= 1

.DEFAULT_GOAL := help
.DELETE_ON_ERROR:

.PHONY: help
help: ## list the jobs
	@echo "make JOB, where JOB is:"
	@awk -F ':.*## ' '/^[a-z-]+:.*## / {printf "  %-10s %s\n", $$1, $$2}' $(MAKEFILE_LIST)

# --- environments, one stamp each: the second run costs nothing -------------------------------

$(VENV)/.made:
	@command -v $(PYTHON) >/dev/null 2>&1 || { \
	  echo "$(PYTHON) is missing. On Debian, as root: apt-get install -y python3 python3-venv" >&2; exit 1; }
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || { \
	  echo "Python 3.11 or newer is needed, $(PYTHON) is $$($(PYTHON) -V 2>&1)." \
	       "Install one and name it: make PYTHON=python3.11 JOB (Debian 12, as root: apt-get install -y python3.11 python3.11-venv)" >&2; exit 1; }
	@$(PYTHON) -c 'import venv, ensurepip' 2>/dev/null || { \
	  echo "Python's venv is missing. On Debian, as root: apt-get install -y python3-venv" >&2; exit 1; }
	@rm -rf $(VENV)
	$(PYTHON) -m venv $(VENV)
	@touch $@

$(VENV)/.run: $(VENV)/.made requirements/run.txt requirements/build.txt pyproject.toml
	$(PIP) install --require-hashes -r requirements/run.txt -r requirements/build.txt
	$(PIP) install --no-deps --no-build-isolation --no-index -e .
	@touch $@

$(VENV)/.dev: $(VENV)/.run requirements/dev.txt requirements/bones.txt
	$(PIP) install --require-hashes -r requirements/dev.txt
	$(PIP) install --require-hashes --no-deps -r requirements/bones.txt
	@touch $@

$(VENV)/.docs: $(VENV)/.run requirements/docs.txt
	$(PIP) install --require-hashes -r requirements/docs.txt
	@touch $@

# --- jobs --------------------------------------------------------------------------------------

.PHONY: setup
setup: $(VENV)/.dev $(VENV)/.docs ## everything a contributor needs, in .venv

.PHONY: demo
demo: $(VENV)/.run ## plan the shipped demo hip and say where the report is
	$(BIN)/rimwright demo --out $(DEMO_OUT)
	@echo "The report to read: $(abspath $(DEMO_OUT))/plan/report.html; to print: report.pdf beside it."

.PHONY: test
test: $(VENV)/.dev ## all tests
	$(BIN)/python -m pytest -n $(WORKERS) --dist worksteal -p no:benchmark $(PYTEST_ARGS)

.PHONY: check
check: $(VENV)/.dev ## style, types, layers and docstrings
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/lint-imports --no-logo
	$(BIN)/python -m pytest -q -p no:cacheprovider tests/test_docstrings.py

.PHONY: format
format: $(VENV)/.dev ## lay the code out and mend what the linter can mend
	$(BIN)/ruff check --fix .
	$(BIN)/ruff format .

.PHONY: docs
docs: $(VENV)/.docs ## the documentation, in docs/_build/html; a warning is an error
	$(BIN)/python -m sphinx -q -W --keep-going -b html docs docs/_build/html
	@echo "The documentation: $(abspath docs/_build/html)/index.html"

.PHONY: bench
bench: $(VENV)/.dev ## speed, measured and printed, never a pass or a fail
	$(BIN)/python -m pytest benchmarks -p no:xdist --benchmark-only --benchmark-sort=name $(PYTEST_ARGS)

.PHONY: validate
validate: $(VENV)/.dev ## the full grid of made hips and the facts of the real ones, printed
	$(BIN)/python tests/validation/run.py

.PHONY: pictures
pictures: $(VENV)/.run ## draw the pictures of README and docs again from the demo
	$(BIN)/python docs/pictures/draw.py

.PHONY: wheel
wheel: $(VENV)/.run ## source archive and wheel, in dist
	@rm -rf dist
	$(BIN)/python -m hatchling build
	@ls dist

.PHONY: lock
lock: $(VENV)/.made ## work the hashed locks out again from pyproject.toml
	$(PIP) install --require-hashes -r requirements/lock.txt
	$(BIN)/python requirements/lock.py

.PHONY: clean
clean: ## take away what the jobs made, the environment included
	rm -rf $(VENV) dist docs/_build docs/reference/evidence $(DEMO_OUT) .pytest_cache .mypy_cache .ruff_cache .hypothesis .benchmarks
