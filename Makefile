# The commands of the house. Everything happens in .venv; nothing else is touched.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
QUICK ?=

PEERS := .venv-peers
KERNELS := $(shell grep -rl njit src/rushlight --include=*.py) $(wildcard src/rushlight/physics/*.py)

.PHONY: demo test check bench data browser clean

demo: $(VENV)/.ready
	$(BIN)/rushlight demo

test: $(VENV)/.ready-dev data browser
	$(BIN)/python -m pytest -n 2 --dist worksteal

check: $(VENV)/.ready-dev
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/lint-imports
	sh tests/check_bare_install.sh $(PYTHON)

bench: $(VENV)/.ready-dev browser
	-$(MAKE) --no-print-directory $(PEERS)/.ready
	$(BIN)/python benchmarks/centre_error.py $(if $(QUICK),--quick)
	$(BIN)/python benchmarks/detect_speed.py $(if $(QUICK),--quick)
	$(BIN)/python benchmarks/linking.py $(if $(QUICK),--quick)
	$(BIN)/python benchmarks/pipeline.py $(if $(QUICK),--quick)
	$(BIN)/python benchmarks/search_speed.py $(if $(QUICK),--quick)
	$(BIN)/python benchmarks/search_front.py $(if $(QUICK),--quick)
	$(BIN)/python benchmarks/compression.py $(if $(QUICK),--quick)
	$(BIN)/python benchmarks/drive_delay.py $(if $(QUICK),--quick)
	$(BIN)/python benchmarks/bench_delay.py $(if $(QUICK),--quick)
	$(BIN)/python benchmarks/plan_slider.py $(if $(QUICK),--quick)
	$(BIN)/python benchmarks/tolerance_calibration.py $(if $(QUICK),--quick)
	$(BIN)/python benchmarks/closed_loop.py $(if $(QUICK),--quick)
	$(BIN)/python benchmarks/space_closed_loop.py $(if $(QUICK),--quick)
	$(BIN)/python benchmarks/demos.py $(if $(QUICK),--quick)

data:
	sh tests/fetch_real_data.sh

browser:
	sh tests/install_browser.sh

clean:
	rm -rf $(VENV) $(PEERS) .data demo-out

# Compiling the kernels belongs to the set-up, so that no first run stalls, and is done anew when
# any of them changed.
$(VENV)/.ready: requirements.lock pyproject.toml $(KERNELS)
	test -x $(BIN)/python || $(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps -r requirements.lock
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps -e .
	@echo "compiling the kernels, once …"
	$(BIN)/python -m rushlight.jobs.warm
	touch $@

$(VENV)/.ready-dev: requirements-dev.lock $(VENV)/.ready
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps -r requirements-dev.lock
	touch $@

# Peers whose needs conflict with ours live apart; the benchmark asks them by a process.
$(PEERS)/.ready: benchmarks/requirements-peers.lock
	test -x $(PEERS)/bin/python || $(PYTHON) -m venv $(PEERS)
	$(PEERS)/bin/python -m pip install --quiet --disable-pip-version-check --no-deps -r $<
	touch $@
