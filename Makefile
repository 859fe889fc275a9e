# One command for each thing a person or CI does here: make demo, test, check, bench.

VENV := .venv
BIN := $(VENV)/bin
# What is imported is compiled then, and kept: compiling all that is installed takes a minute more.
PIP := $(BIN)/python -m pip install --quiet --no-compile --disable-pip-version-check \
	-c constraints.txt
# uv takes seconds where pip takes a minute and more. It does not read pip's settings, so where only
# those lead to a mirror it finds nothing, and pip does it.
install = ($(PIP) uv && $(BIN)/uv pip install --quiet --python $(BIN)/python -c constraints.txt \
	-e '$(1)') || $(PIP) -e '$(1)'
export PYTHONDONTWRITEBYTECODE :=

.PHONY: help demo test faults check bench bench-large prepare compile services clean
.DEFAULT_GOAL := help

help:
	@echo "make demo         the invented site: load, analyse, print what was found, serve the board"
	@echo "make test         install what the tests need, then run them all"
	@echo "make faults       only the tests that kill, stop and fill up what Bondtrail leans on"
	@echo "make check        format, lint, types and the arrows between the rooms, as CI does"
	@echo "make bench        timings, each beside its yardstick"
	@echo "make bench-large  the same, and the peak memory of loading 2 GB: takes minutes"
	@echo "make clean        remove the environment and the demo's store"

demo: $(VENV)/ready
	@$(BIN)/bondtrail demo

# Files are dealt out whole, because what a file shares is made once in each process. More processes
# than processors: many tests wait for a browser, a database or another process. In their own order:
# by number of tests the few slow ones of the browser would come last, one after the other.
# Their stores are committed to thousands of times: in memory, where there is plenty of it.
ROOM := $(shell [ "$$(df --output=avail -k /dev/shm 2>/dev/null | tail -n 1)" -gt 4000000 ] \
  2>/dev/null && echo /dev/shm || echo "$${TMPDIR:-/tmp}")
test: $(VENV)/ready-dev services
	TMPDIR=$(ROOM) $(BIN)/python -m pytest -n 3 --dist loadfile --no-loadscope-reorder \
	  -o tmp_path_retention_count=1

faults: $(VENV)/ready-dev services
	$(BIN)/python -m pytest -n 3 --dist loadfile --durations 10 tests/faults

check: $(VENV)/ready-dev
	$(BIN)/ruff format --check .
	$(BIN)/ruff check .
	$(BIN)/mypy
	$(BIN)/lint-imports

bench: $(VENV)/ready-bench
	$(BIN)/python -m benchmarks

bench-large: $(VENV)/ready-bench
	$(BIN)/python -m benchmarks --large

prepare: $(VENV)/ready-dev services

# Else each process of `test` compiles every test anew, all at the same time.
compile: $(VENV)/ready-dev
	@$(BIN)/python -m pytest --collect-only -qq >/dev/null || true

services:
	@bash .ci/services

# A stamp per set of packages: installing again is only needed when these two files change.
$(VENV)/ready: $(BIN)/python pyproject.toml constraints.txt
	@echo "Installing Bondtrail into $(VENV) ..."
	@$(call install,.)
	@touch $@

$(VENV)/ready-dev: $(BIN)/python pyproject.toml constraints.txt
	@echo "Installing Bondtrail and what its checks need into $(VENV) ..."
	@$(call install,.[dev])
	@touch $@ $(VENV)/ready

$(VENV)/ready-bench: $(VENV)/ready-dev
	@echo "Installing into $(VENV) what the yardsticks need ..."
	@$(call install,.[bench])
	@touch $@

$(BIN)/python:
	@for python in python3 python3.14 python3.13 python3.12 python3.11; do \
	  if "$$python" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then \
	    "$$python" -m venv $(VENV) && exit 0; \
	    rm -rf $(VENV); \
	    echo "$$python cannot make $(VENV): on Debian and Ubuntu, apt install python3-venv" >&2; \
	    exit 1; \
	  fi; \
	done; \
	echo "Bondtrail needs Python 3.11 or later, and none was found" >&2; exit 1

clean:
	rm -rf $(VENV) bondtrail-demo.db bondtrail-demo.db-wal bondtrail-demo.db-shm
