# Each target works as the first command on a fresh machine with Python >= 3.11, git and make.
PYTHON ?= python3
VENV   := .venv
BIN    := $(VENV)/bin
READY  := $(VENV)/.ready

.PHONY: demo test lint types layers unit wheel bench docs clean

demo: $(READY)  ## The main job, dry: bursts and continuous power of an invented amplifier
	@$(BIN)/benchctl run sequences/burst_and_continuous.yaml \
	    --bench sim/workshop.yaml --amplifier sim/amplifiers/hx2150.yaml --dry-run \
	  || test $$? -eq 1  # 1: the run finished and a verdict fails, which is a result

test: lint types layers unit wheel  ## Everything that must hold

lint: $(READY)
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .

types: $(READY)
	$(BIN)/mypy
	$(BIN)/mypy tools

layers: $(READY)
	$(BIN)/lint-imports

unit: $(READY)
	$(BIN)/pytest -n 2

wheel: $(READY)  ## The built package in a fresh environment, used from another folder
	$(BIN)/python -m tools.wheel

bench: $(READY)  ## Timings, as ratios inside one run; nothing here passes or fails by the clock
	$(BIN)/python -m benchmarks

docs: $(READY)  ## Draw README's picture and write SAFETY.md's table of states anew
	$(BIN)/python -m tools.picture
	$(BIN)/python -m tools.state_table

clean:
	rm -rf $(VENV) build dist *.egg-info .mypy_cache .ruff_cache .pytest_cache .hypothesis .import_linter_cache

$(READY): pyproject.toml constraints.txt
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --constraint constraints.txt --editable '.[dev]'
	@touch $(READY)
