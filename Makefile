# Each target works as the first command on a fresh machine with Python >= 3.11, git and make.
PYTHON ?= python3
VENV   := .venv
BIN    := $(VENV)/bin
READY  := $(VENV)/.ready

.PHONY: demo test lint types layers clients unit wheel bench docs clean

demo: $(READY)  ## The main job, dry: bursts and continuous power of an invented amplifier
	@$(BIN)/benchctl run sequences/burst_and_continuous.yaml \
	    --bench sim/workshop.yaml --amplifier sim/amplifiers/hx2150.yaml --dry-run \
	  || test $$? -eq 1  # 1: the run finished and a verdict fails, which is a result

test: lint layers clients  ## Everything that must hold; what is told within seconds comes first
	@$(MAKE) --no-print-directory -j 3 types unit wheel  # side by side: types and wheel leave a processor idle

lint: $(READY)
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .

types: $(READY)
	$(BIN)/mypy
	$(BIN)/mypy tools

layers: $(READY)
	$(BIN)/lint-imports

# Bytecode is kept, even where the environment asks for none: or each process that a test starts compiles the program anew.
unit: $(READY)
	env -u PYTHONDONTWRITEBYTECODE \
	  $(BIN)/pytest -n 5 --dist loadfile --no-loadscope-reorder  # a module's set-up once; see tests/conftest.py

wheel: $(READY)  ## The built package in a fresh environment, used from another folder
	$(BIN)/python -m tools.wheel

# Bounded, because a machine without a network must get to the tests as well; what needs them is skipped then.
clients:  ## lxi-tools, an SCPI client that is not ours, Chromium and pdftotext, where packages can be installed
	@$(call installed,lxi,lxi-tools)
	@$(call installed,chromium,chromium)
	@$(call installed,pdftotext,poppler-utils)

# $(call installed,COMMAND,PACKAGE): Debian's package, unless the command is there.
installed = if ! command -v $(1) >/dev/null && command -v apt-get >/dev/null && [ "$$(id -u)" = 0 ]; then \
	  { timeout 120 apt-get -qq update && DEBIAN_FRONTEND=noninteractive timeout 300 \
	    apt-get -qq install --yes --no-install-recommends $(2); } >/dev/null 2>&1 \
	  || echo "$(2) cannot be installed here; the tests with it are skipped"; \
	fi

bench: $(READY)  ## Timings, as ratios inside one run; nothing here passes or fails by the clock
	$(BIN)/python -m benchmarks

docs: $(READY)  ## Draw README's picture, and write docs/reference/ and the state table of SAFETY.md anew
	$(BIN)/python -m tools.picture
	$(BIN)/python -m tools.state_table
	$(BIN)/python -m tools.reference

clean:
	rm -rf $(VENV) build dist *.egg-info .mypy_cache .ruff_cache .pytest_cache .hypothesis .import_linter_cache

$(READY): pyproject.toml constraints.txt
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --constraint constraints.txt --editable '.[dev]'
	@touch $(READY)
