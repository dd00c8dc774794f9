# Every target sets up what it needs; a second run reuses it.
SHELL := /bin/bash
# The first Python on the path that is new enough; PYTHON=... names another.
PYTHON ?= $(shell for name in python3 python3.13 python3.12 python3.11; do \
  $$name -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null && echo $$name && break; done)
BIN := .venv/bin
PY := $(BIN)/python
UV_VERSION := 0.13.9
WORKERS ?= 2
# Pages with parts that are written from the program itself.
WRITTEN := docs/commands.md docs/accuracy.md docs/sources.md
export PYTHONDONTWRITEBYTECODE :=
unexport PYTHONPATH PYTHONHOME VIRTUAL_ENV
# One picture or test worker per core: inner thread pools only get in each other's way.
export OMP_NUM_THREADS ?= 1
export OPENBLAS_NUM_THREADS ?= 1
# The page builder advertises its successor on every run.
export NO_MKDOCS_2_WARNING := 1

.PHONY: help demo serve test test-slow check format peers bench docs docs-check lock register clean moved

help: ## list the targets
	@grep -hE '^[a-z-]+:.*##' $(MAKEFILE_LIST) | sed -E 's/:.*## /\t/' | expand -t 14

# A folder that was moved or copied keeps a .venv that points to its old place: make it anew.
ifneq ($(shell [ -x .venv/bin/python ] && cat .venv/run.stamp 2>/dev/null),$(CURDIR))
.venv/run.stamp: moved
endif

# uv is fast but knows neither pip's mirror settings nor its certificates: where it fails, pip installs the same hashes.
define install
	{ { [ -x $(BIN)/uv ] || $(PY) -m pip install --quiet --disable-pip-version-check "uv==$(UV_VERSION)"; } 2>/dev/null && \
	  UV_SYSTEM_CERTS=1 $(BIN)/uv pip install --quiet --python $(PY) --require-hashes -r $(1) 2>/dev/null; } || \
	$(PY) -m pip install --quiet --disable-pip-version-check --require-hashes -r $(1) || { \
	  echo "make: the libraries in $(1) could not be installed (see above); check the network, the disk and the pip settings, then run make again" >&2; exit 2; }
endef

.venv/run.stamp: requirements.lock pyproject.toml
	@if [ -z "$(PYTHON)" ]; then echo "make: no Python 3.11 or newer was found; install one, or name it with make PYTHON=/path/to/python3" >&2; exit 2; fi
	@echo "setting up the program (once, about a minute)"
	@if [ -e $@ ] && [ "$$(cat $@)" = "$$(pwd -P)" ] && $(PY) -c 'import pip' 2>/dev/null; then rm -f $@; else rm -rf .venv; fi
	@[ -x $(PY) ] || $(PYTHON) -m venv .venv >.venv-failed.log 2>&1 || { rm -rf .venv; \
	  echo "make: $(PYTHON) -m venv failed; it needs Python's venv and pip (Debian and Ubuntu: the package python3-venv), or another Python named with make PYTHON=/path/to/python3; what it said is in .venv-failed.log" >&2; exit 2; }
	@rm -f .venv-failed.log
	@$(call install,requirements.lock)
	@$(PY) -m pip install --quiet --disable-pip-version-check --no-build-isolation --no-deps --editable .
	@printf '%s' "$$(pwd -P)" >$@

.venv/dev.stamp: .venv/run.stamp requirements-dev.lock
	@echo "setting up the development tools (once)"
	@$(call install,requirements-dev.lock)
	@touch $@

.venv/peers.stamp: .venv/dev.stamp requirements-peers.lock
	@echo "setting up other optics libraries to compare with (once)"
	@$(PY) -m pip install --quiet --disable-pip-version-check --no-deps --require-hashes -r requirements-peers.lock
	@touch $@

demo: .venv/run.stamp ## run the main job on the invented clinic
	@$(BIN)/rimwise demo --out demo-out

serve: .venv/run.stamp ## open the workbench on this machine
	@$(BIN)/rimwise serve

# glibc gives large arrays back to the kernel at once, which clears their pages for the next ones: a fifth of the time
# of a test on pictures. Here they are kept and used again.
test test-slow: export MALLOC_MMAP_THRESHOLD_ ?= 33554432
test test-slow: export MALLOC_TRIM_THRESHOLD_ ?= 268435456

test: .venv/dev.stamp ## the tests (without the slow sets)
	@$(PY) -m pytest -m "not slow and not alone" -n $(WORKERS) --dist worksteal
	@$(PY) -m pytest -m "alone and not slow"

test-slow: .venv/dev.stamp ## the sets that take minutes
	@$(PY) -m pytest -m slow -n $(WORKERS) --timeout 3600

check: .venv/dev.stamp ## format, lint, types, import contracts, dead code
	@$(BIN)/ruff format --check .
	@$(BIN)/ruff check .
	@$(BIN)/mypy
	@$(BIN)/lint-imports --no-cache
	@$(BIN)/vulture

format: .venv/dev.stamp ## put the code into its standard form
	@$(BIN)/ruff format .
	@$(BIN)/ruff check --fix-only .

peers: .venv/peers.stamp ## other optics libraries, for a second opinion in the tests

bench: .venv/peers.stamp ## speed, as ratios against named peers in one run
	@$(PY) benchmarks/run.py

docs: .venv/dev.stamp ## build the documentation into site/
	@$(PY) -m cogapp -I builders -r $(WRITTEN)
	@$(BIN)/mkdocs build --strict --quiet

docs-check: .venv/dev.stamp ## the documentation builds and is in step with the commands
	@$(PY) -m cogapp -I builders --check $(WRITTEN)
	@$(BIN)/mkdocs build --strict --quiet --site-dir .venv/site-check

lock: .venv/run.stamp ## renew the lock files from pyproject.toml
	@$(BIN)/uv pip compile --quiet --universal --python-version 3.11 --generate-hashes --no-header --no-annotate pyproject.toml --group build -o requirements.lock
	@$(BIN)/uv pip compile --quiet --universal --python-version 3.11 --generate-hashes --no-header --no-annotate -c requirements.lock --group dev -o requirements-dev.lock
	@$(BIN)/uv pip compile --quiet --universal --python-version 3.11 --generate-hashes --no-header --no-annotate --no-deps requirements-peers.in -o requirements-peers.lock

register: .venv/run.stamp ## renew the list of pictures and other binary files
	@$(PY) builders/register_binaries.py

clean: ## remove what was made
	rm -rf .venv demo-out site .pytest_cache .mypy_cache .ruff_cache .hypothesis .benchmarks .venv-failed.log
