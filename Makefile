# make reports   sets everything up (own virtual environment, pinned and hash-checked) and reports on sample_logs/
# make test      sets everything up and runs lint, types and tests
PYTHON ?= python3
ENV := .venv
BIN := $(ENV)/bin
PIP := $(BIN)/python -m pip --disable-pip-version-check --quiet

.PHONY: reports test lint types docs samples bench study clean lock
reports: $(ENV)/ready-to-run
	$(BIN)/pullbook run

$(ENV)/bin/python:
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11) and "Python 3.11 or newer is needed; put PYTHON=python3.12 behind make to name another")'
	$(PYTHON) -m venv $(ENV)

# --no-deps: a lock names everything; left to look for itself, an older pip takes the newest release of a package another
# package asks for with an extra, and then refuses it for want of a hash
$(ENV)/ready-to-run: requirements.lock pyproject.toml | $(ENV)/bin/python
	@echo "Setting up in $(ENV), once: a few minutes of downloading, without a word."
	$(PIP) install --require-hashes --no-deps -r requirements.lock
	$(PIP) install --no-deps --no-build-isolation -e .
	touch $@

$(ENV)/ready-to-test: requirements-test.lock $(ENV)/ready-to-run
	$(PIP) install --require-hashes --no-deps -r requirements-test.lock
	touch $@

test: lint types
	$(BIN)/python -m pytest -n 2 --dist loadgroup

lint: $(ENV)/ready-to-test
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/snakefmt --check workflow
	$(BIN)/codespell

types: $(ENV)/ready-to-test
	$(BIN)/mypy

docs: $(ENV)/ready-to-test
	$(BIN)/python -m sphinx -q -W --keep-going -n -d docs/built/.kept -c docs . docs/built
	@echo "docs/built/README.html"

samples: $(ENV)/ready-to-test
	$(BIN)/python -m tests.simulator.make_samples

bench: $(ENV)/ready-to-test
	$(BIN)/python -m tests.bench

study: $(ENV)/ready-to-test
	$(BIN)/python -m tests.study --days 100 --jobs 2 --out tests/study/out

lock:  # needs `uv` on the path; the locks carry hashes and no address
	uv pip compile --universal --generate-hashes --no-header --no-emit-index-url --no-annotate --python-version 3.11 \
	  --extra build pyproject.toml -o requirements.lock
	uv pip compile --universal --generate-hashes --no-header --no-emit-index-url --no-annotate --python-version 3.11 \
	  --all-extras -c requirements.lock pyproject.toml -o requirements-test.lock

clean:
	rm -rf $(ENV) docs/built .snakemake .pullbook .mypy_cache .ruff_cache .pytest_cache
