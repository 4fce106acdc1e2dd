# The two commands a newcomer needs: make demo, make test. Both set everything up by themselves.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
READY := $(VENV)/.ready

.PHONY: demo test coverage lint types contract bless pictures lock bench bench-layout bench-rectangles bench-growth bench-alike bench-jobs bench-rack crash-rack fuzz-drawings clean

demo: $(READY)
	$(BIN)/halfturn demo

# Each file's tests on one core, the files on as many as there are; one test by itself is run without all this.
test: $(READY)
	$(BIN)/ruff format --check .
	$(BIN)/ruff check .
	$(BIN)/mypy
	$(BIN)/lint-imports
	$(BIN)/python -m pytest --numprocesses auto --dist loadfile --no-loadscope-reorder

# Branch coverage of the planner (all of nesting but the audit), which is to stay above 90 %. Traced, the tests take twice
# as long: eight minutes on two cores.
coverage: $(READY)
	$(BIN)/python -m pytest --numprocesses auto --dist loadfile --no-loadscope-reorder --cov --cov-report= tests/nesting tests/external tests/cli tests/hostile
	$(BIN)/coverage report --include 'nesting/*' --omit 'nesting/audit/*' --skip-covered --sort cover --fail-under 90

lint: $(READY)
	$(BIN)/ruff format .
	$(BIN)/ruff check --fix .

types: $(READY)
	$(BIN)/mypy

contract: $(READY)
	$(BIN)/lint-imports

# Accept what the golden-file tests see today; then read the diff and look at the pictures.
bless: $(READY)
	BLESS=1 $(BIN)/python -m pytest tests

# The pictures of README and docs that show the demo, made anew of the plan that its tests make; then look at them.
pictures: $(READY)
	$(BIN)/python -m tests.demo_pictures

# Resolve the locks anew, for every platform, from pyproject.toml.
lock: $(READY)
	$(BIN)/pip install -q uv
	$(BIN)/uv pip compile -q --universal --python-version 3.11 --no-annotate --no-header pyproject.toml -o requirements.lock
	$(BIN)/uv pip compile -q --universal --python-version 3.11 --no-annotate --no-header --group dev pyproject.toml -o requirements-dev.lock

# The whole product measured and held against the figures kept: docs/bench/bench.md. LONG=1 takes longer, KEEP=1 keeps.
bench: $(READY)
	$(BIN)/python -m tests.measure $(if $(LONG),--long) $(if $(KEEP),--keep)

# Published instances where there are any; INSTANCES, SECONDS_EACH and ONLY (a pattern) may be given. Then the
# instances without published figures, at a fixed number of positions tried, against what was reached before.
INSTANCES ?= ../shared/benchmarks
export INSTANCES
SECONDS_EACH ?= 10
ONLY ?= .
KEPT := tests/nesting/layout/kept.json
bench-layout: $(READY)
	$(BIN)/python -m nesting.layout.bench --all $(INSTANCES) --seconds $(SECONDS_EACH) --only '$(ONLY)'
	$(BIN)/python -m nesting.layout.bench --all $(INSTANCES) --only 'irregular/(hides|stock|bins|mixed)' --kept $(KEPT)

# Published rectangles on sheets, planned and judged; the tables of docs/rectangles.md on stdout. Takes some minutes.
bench-rectangles: $(READY)
	$(BIN)/python -m tests.external.rectangle_jobs

# How the engine's time and memory grow from 60 pieces on one sheet to 500 on twelve.
bench-growth: $(READY)
	$(BIN)/python -m nesting.layout.growth

# Many pieces alike on one sheet, in rows and one by one: a table and a picture of docs/layout.md.
bench-alike: $(READY)
	$(BIN)/python -m tests.bench.alike

# 20 sign jobs against planning by hand, growth from 60 to 300 letters, cost over time; ten minutes of processor time.
bench-jobs: $(READY)
	$(BIN)/python -m tests.bench.choice jobs growth time

# A rack of 100,000 sheets and 1,000,000 entries; RACK=postgresql://... for an empty database on a server.
bench-rack: $(READY)
	$(BIN)/python -m tests.bench.rack $(if $(RACK),--url $(RACK))

# 300 kills at random moments under load, then 8 processes with 500 random commands each; takes some minutes.
crash-rack: $(READY)
	$(BIN)/python -m tests.inventory.rough --kills 300 --crowd 8 --operations 500

# 2,000 random and damaged drawings: each is read or refused within 5 s; then one of 20,000 entities.
fuzz-drawings: $(READY)
	$(BIN)/python tests/nesting/drawing/fuzzing.py 2000

$(READY): requirements-dev.lock pyproject.toml
	$(PYTHON) -m venv $(VENV)
	$(BIN)/pip install -q --disable-pip-version-check -r requirements-dev.lock
	$(BIN)/pip install -q --disable-pip-version-check --no-deps -e .
	$(BIN)/python -m nesting.layout.ready
	touch $(READY)

clean:
	rm -rf $(VENV) halfturn-demo build *.egg-info
