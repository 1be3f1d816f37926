# Everything runs from .venv at the root. The locks carry hashes and name no host.
PYTHON ?= python3
UV_VERSION := 0.13.9
BIN := .venv/bin
# Tests run on as many cores as there are; threads of the linear algebra would wait for each other.
export OPENBLAS_NUM_THREADS := 1
export OMP_NUM_THREADS := 1
# Bytecode once, now: where nothing may be written later, every start would compile all it loads
# again, which takes the desk three times as long.
COMPILED := $(BIN)/python -m compileall -q -j 2 -x '/(tests?|pip|setuptools)/' .venv/lib src

.PHONY: demo test test-long test-postgresql soak check bench mutants lock format system clean

demo: .venv/.run
	$(BIN)/walkboard demo

test: .venv/.dev system check
	$(BIN)/pytest -n 2

# The tests that wait in real time or are heavy.
test-long: .venv/.dev system
	$(BIN)/pytest -n 2 -m long --timeout 3600

# The tests of book, use cases, pages and commands once more, with every book in PostgreSQL.
test-postgresql: .venv/.dev system
	WALKBOARD_TESTS_ON=postgresql $(BIN)/pytest -n 2 tests/book tests/work tests/desk tests/cli

# Kills, odd inputs, failing disks: an hour, or as many minutes as MINUTES says.
soak: .venv/.dev
	$(BIN)/python -m tests.soak $(MINUTES)

check: .venv/.dev
	$(BIN)/ruff format --check .
	$(BIN)/ruff check .
	$(BIN)/mypy
	$(BIN)/lint-imports --no-cache
	$(BIN)/python builders/docs.py --check
	$(BIN)/python builders/notices.py --check
	$(BIN)/python builders/plain_english.py

bench: .venv/.bench system
	$(BIN)/python -m bench

# SAMPLE=60 tries sixty mutants of each package, PACKAGES="survey work" only those; all take hours.
mutants: .venv/.bench system
	$(BIN)/python builders/mutants.py $(PACKAGES) $(if $(SAMPLE),--sample $(SAMPLE))

format: .venv/.dev
	$(BIN)/ruff check --fix .
	$(BIN)/ruff format .

# Debian packages that some tests drive; without root the tests that want them say so and skip.
system:
	bash builders/system.sh

# Adds what pyproject.toml asks for; UPGRADE=-U also renews every version.
lock: .venv/.uv
	$(BIN)/uv pip compile -q $(UPGRADE) --universal --generate-hashes --python-version 3.11 pyproject.toml --group build -o requirements.lock
	$(BIN)/uv pip compile -q $(UPGRADE) --universal --generate-hashes --python-version 3.11 pyproject.toml --group build --group dev -o requirements-dev.lock
	$(BIN)/uv pip compile -q $(UPGRADE) --universal --generate-hashes --python-version 3.11 pyproject.toml --group build --group dev --group bench -o requirements-bench.lock

clean:
	rm -rf .venv build

.venv/.uv:
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11) and "Walkboard needs Python 3.11 or newer; this is " + sys.version.split()[0] + ". Try: make PYTHON=python3.11 ...")'
	$(PYTHON) -m venv .venv
	$(BIN)/python -m pip install -q --disable-pip-version-check uv==$(UV_VERSION)
	@touch $@

.venv/.run: .venv/.uv requirements.lock pyproject.toml
	$(BIN)/uv pip install -q --python $(BIN)/python --require-hashes -r requirements.lock
	$(BIN)/uv pip install -q --python $(BIN)/python --no-deps --no-build-isolation -e .
	$(COMPILED)
	@touch $@

.venv/.dev: .venv/.uv requirements-dev.lock pyproject.toml
	$(BIN)/uv pip install -q --python $(BIN)/python --require-hashes -r requirements-dev.lock
	$(BIN)/uv pip install -q --python $(BIN)/python --no-deps --no-build-isolation -e .
	$(COMPILED)
	@touch $@ .venv/.run

.venv/.bench: .venv/.dev requirements-bench.lock
	$(BIN)/uv pip install -q --python $(BIN)/python --require-hashes -r requirements-bench.lock
	@touch $@
