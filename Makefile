# The commands of the house. Everything happens in .venv; nothing else is touched.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
QUICK ?=

.PHONY: demo test check bench data clean

demo: $(VENV)/.ready
	$(BIN)/rushlight demo

test: $(VENV)/.ready-dev data
	$(BIN)/python -m pytest -n 2 --dist worksteal

check: $(VENV)/.ready-dev
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/lint-imports
	sh tests/check_bare_install.sh $(PYTHON)

bench: $(VENV)/.ready-dev
	$(BIN)/python benchmarks/centre_error.py $(if $(QUICK),--quick)
	$(BIN)/python benchmarks/closed_loop.py $(if $(QUICK),--quick)

data:
	sh tests/fetch_real_data.sh

clean:
	rm -rf $(VENV) .data demo-out

# Compiling the kernels belongs to the set-up, so that no first run stalls.
$(VENV)/.ready: requirements.lock pyproject.toml
	test -x $(BIN)/python || $(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps -r requirements.lock
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps -e .
	@echo "compiling the kernels, once …"
	$(BIN)/python -m rushlight.jobs.warm
	touch $@

$(VENV)/.ready-dev: requirements-dev.lock $(VENV)/.ready
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps -r requirements-dev.lock
	touch $@
