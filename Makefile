# Set-up and checks. Each target makes what it needs; `make help` lists them.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin

MAKEFLAGS += --no-print-directory
# Tests start hundreds of processes: what is compiled for one serves the others.
unexport PYTHONDONTWRITEBYTECODE
.PHONY: $(shell awk -F: '/^[a-z-]+:/ {print $$1}' $(MAKEFILE_LIST))

help:  ## List the targets
	@awk -F ':.*## ' '/^[a-z-]+:.*## / {printf "  %-16s %s\n", $$1, $$2}' $(MAKEFILE_LIST)

$(VENV)/base: pyproject.toml
	@test -x $(BIN)/pip || $(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install -q --disable-pip-version-check -e .
	@touch $@

$(VENV)/tests: $(VENV)/base
	$(BIN)/python -m pip install -q --disable-pip-version-check "pip>=25.1"
	$(BIN)/python -m pip install -q --disable-pip-version-check --group test --group oracles --group browser
	@touch $@

$(VENV)/fuzz: $(VENV)/tests
	$(BIN)/python -m pip install -q --disable-pip-version-check --group fuzz
	@touch $@

$(VENV)/checks: $(VENV)/tests
	$(BIN)/python -m pip install -q --disable-pip-version-check --group check
	@touch $@

system:
	@tools/system-packages

demo: $(VENV)/base  ## Run a whole simulated cook with the page on
	$(BIN)/pitlogger demo

test: system $(VENV)/tests  ## Run all tests, on all cores
	$(BIN)/python -m pytest -q -n auto --dist loadfile

check: system $(VENV)/checks  ## Lint, types, import contracts, tests with 20 000 examples a decoder, wheel
	$(BIN)/ruff check
	$(BIN)/ruff format --check
	$(BIN)/mypy
	$(BIN)/lint-imports
	FUZZ_EXAMPLES=20000 $(BIN)/python -m pytest -q
	tools/wheel-check $(BIN)/python

lint: $(VENV)/checks  ## Lint, types and import contracts alone
	$(BIN)/ruff check
	$(BIN)/ruff format --check
	$(BIN)/mypy
	$(BIN)/lint-imports

format: $(VENV)/checks  ## Format the code
	$(BIN)/ruff check --fix
	$(BIN)/ruff format

bench: $(VENV)/tests  ## Print the table of budgets (and build/bench.json)
	$(BIN)/python -m tests.benchmarks

torture: $(VENV)/tests  ## Kill, starve and shake a real daemon (about 8 min; KILLS=1000 CUTS=1000 FLIPS=1000 ALARMS=1000 nightly)
	$(BIN)/python -m tests.torture --kills $(or $(KILLS),102) --cuts $(or $(CUTS),300) \
	    --flips $(or $(FLIPS),100) --alarms $(or $(ALARMS),30)

two-hours: $(VENV)/tests  ## Two hours of all faults at once, an alarm every minute (ALARMS=30 PACE=10: compressed)
	$(BIN)/python -m tests.torture --only together --minutes $(or $(ALARMS),120) --pace $(or $(PACE),60)

torture-worst: $(VENV)/tests  ## Five minutes of the worst of it
	$(BIN)/python -m tests.torture --only fire,rot,kill,power,disk --alarms 12 --flips 60 \
	    --kills 12 --cuts 40

fleet-demo: system $(VENV)/tests  ## Three nodes and a hub; then 300 simulated pits on PostgreSQL (5 min)
	$(BIN)/python -m tools.fleet.demo

torture-fleet: system $(VENV)/tests  ## Kill node, ingester, broker and database 200 times: is found what was sent?
	$(BIN)/python -m tests.torture.fleet --kills $(or $(KILLS),200)

bench-fleet: system $(VENV)/tests  ## Budgets of the fleet (and build/bench-fleet.json); 10 000 pits for ten minutes
	$(BIN)/python -m tests.benchmarks.fleet

soak: $(VENV)/tests  ## Three days of cooking in three minutes: does anything grow?
	$(BIN)/python -m tests.torture.soak

fuzz: $(VENV)/fuzz  ## A million coverage-guided frames a decoder (about an hour)
	$(BIN)/python tests/fuzz/decoders.py 1000000

fuzz-nightly: $(VENV)/fuzz  ## Ten million of them a decoder
	$(BIN)/python tests/fuzz/decoders.py 10000000
	$(BIN)/python -m tests.fuzz.inputs 100000

fuzz-inputs: $(VENV)/fuzz  ## 10 000 coverage-guided inputs each: HTTP bytes, API, forms, MQTT, files
	$(BIN)/python -m tests.fuzz.inputs 10000

storm-nightly: system $(VENV)/tests  ## A day in which every device is lost every five minutes
	$(BIN)/python -m pytest -q -m nightly tests/devices/test_storm.py

$(VENV)/mutate: $(VENV)/tests
	$(BIN)/python -m pip install -q --disable-pip-version-check --group mutate
	@touch $@

mutate: system $(VENV)/mutate  ## Put 400 small faults into a copy of the code: do tests notice? (hours)
	$(BIN)/python -m tests.mutation

nightly: system $(VENV)/checks $(VENV)/mutate $(VENV)/fuzz  ## All that is too long for every change (a night)
	$(MAKE) check
	$(BIN)/python -m pytest -q -m nightly
	SCHEMA_EXAMPLES=200 $(BIN)/python -m pytest -q tests/web/test_schema.py
	$(MAKE) torture KILLS=1000 CUTS=1000 FLIPS=1000 ALARMS=1000
	$(MAKE) two-hours
	$(MAKE) soak
	$(MAKE) fuzz-nightly
	$(MAKE) mutate
	tools/clean-root --suite trixie make test

bench-honesty: $(VENV)/tests  ## 200 simulated cooks: are the alarms honest?
	$(BIN)/python -m tests.benchmarks.honesty

bench-risk: $(VENV)/tests  ## Does the stated risk of running short come true?
	OPENBLAS_NUM_THREADS=1 $(BIN)/python -m tests.benchmarks.risk $(KITCHENS)

bench-forecast: $(VENV)/tests  ## Score the forecast on cooks it never saw
	$(BIN)/python -m tests.benchmarks.forecast

forecast-library: $(VENV)/base  ## Build the forecast's library from the simulated smoker
	OPENBLAS_NUM_THREADS=1 $(BIN)/python -m tools.forecast_library

forecast-library-check: $(VENV)/base  ## Build it again and compare
	OPENBLAS_NUM_THREADS=1 $(BIN)/python -m tools.forecast_library --check

lock: $(VENV)/base  ## Pin what an installation consists of, with hashes
	$(BIN)/python -m pip install -q --disable-pip-version-check "uv>=0.9"
	tools/lock $(BIN)/uv

pictures: system $(VENV)/tests  ## Make the pictures of the docs anew
	$(BIN)/python -m tests.browser.pictures
	$(BIN)/python -m docs.make_plant_pictures

deb:  ## Build a Debian package with its own environment (as root; build/deb)
	packaging/deb/build

deb-twice: deb  ## Build it again from a copy elsewhere and compare byte for byte (as root)
	copy=$$(mktemp -d) && git archive HEAD | tar -x -C $$copy && \
	    SOURCE_DATE_EPOCH=$$(git log -1 --format=%ct) $$copy/packaging/deb/build $$copy/out && \
	    cmp build/deb/pitlogger_*.deb $$copy/out/pitlogger_*.deb && echo the same; \
	    done=$$?; rm -rf $$copy; exit $$done

deb-try: deb  ## Try it in a clean Debian root made by debootstrap (as root)
	packaging/deb/try build/deb/pitlogger_*.deb

release: $(VENV)/checks  ## Wheel, sdist, lock, list of parts (SBOM) and audit, into build/release
	tools/release $(BIN)/python

clean:  ## Remove what was built
	rm -rf build dist $(VENV)

test-arm64:  ## Try it on an emulated 64-bit ARM board (root, qemu-user, half an hour)
	@tools/wheels-arm64 $(PYTHON)
	@tools/test-arm64
