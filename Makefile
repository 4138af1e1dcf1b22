# `make demo` and `make test` do all the set-up; a second run reinstalls nothing.
PYTHON ?= python3
VENV ?= .venv
BIN := $(VENV)/bin
LOCKED := $(VENV)/.locked
READY := $(VENV)/.ready

.PHONY: demo test search check bench lock clean
.DEFAULT_GOAL := demo

$(LOCKED): requirements.lock
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements.lock
	@touch $@

# A test of the set-up that an empty environment cannot pass: import what the product stands on.
$(READY): $(LOCKED) pyproject.toml
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation --editable .
	$(BIN)/python -c "import lifelines, matplotlib, pandas, pint, prefect, sklearn, pivotlife.models.weibull"
	@touch $@

demo: $(READY)
	$(BIN)/pivotlife demo

check: $(READY)
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/lint-imports

# Two workers for two cores; a file's tests stay together, so that they share one small run.
test: check
	OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1 $(BIN)/pytest -n 2 --dist loadfile

# The same tests with hypothesis drawing new examples.
search: $(READY)
	PIVOTLIFE_EXAMPLES=search $(BIN)/pytest -n 2 --dist loadfile

# Slow studies: coverage over seeds, safety over seeds, speed ratios.
bench: $(READY)
	$(BIN)/pytest -m slow tests/bench -s

lock:
	$(BIN)/uv pip compile pyproject.toml --extra dev -o requirements.lock --generate-hashes \
		--no-header --no-emit-index-url --no-annotate --python-version 3.11

clean:
	rm -rf $(VENV) demo-fleet build dist .mypy_cache .ruff_cache .pytest_cache .hypothesis
