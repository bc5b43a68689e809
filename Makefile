# Two commands are all anyone needs: `make run` and `make test`. Both set up everything they use.
SHELL := /bin/bash
.SHELLFLAGS := -eu -o pipefail -c
.DEFAULT_GOAL := help

VENV := .venv
PYTHON := $(VENV)/bin/python
INSTALL := $(PYTHON) -m pip --disable-pip-version-check install --quiet
UV_VERSION := 0.13.9

.PHONY: help run test lint docs lab lab-setup wheel deb audit lock clean

help:
	@echo "make run   set up, measure this machine's drives and arrays, then serve metrics until Ctrl-C"
	@echo "make test  set up and run every check and test, the VM lab included"
	@echo "make lab   boot a lab machine with md arrays in QEMU and run 'arraygauge check' in it"

run: $(VENV)/.core
	$(PYTHON) -m arraygauge run

# What only computes runs on all processors; what holds times, and the lab's machines, run alone.
test: lint docs lab-setup
	bash tests/fleet/setup.sh
	bash tests/page/setup.sh
	bash tests/package/setup.sh
	$(PYTHON) -m pytest tests/package tests/unit --ignore tests/unit/probe \
	  --ignore tests/unit/service -m 'not measures' --numprocesses auto --dist loadgroup --durations 15
	$(PYTHON) -m pytest tests/package tests/unit --ignore tests/unit/probe \
	  --ignore tests/unit/service -m measures
	$(PYTHON) -m pytest tests/unit/probe tests/unit/service tests/fleet tests/page --durations 15
	$(PYTHON) -m pytest tests/lab --durations 60

lint: $(VENV)/.dev
	$(VENV)/bin/ruff check .
	$(VENV)/bin/ruff format --check .
	$(VENV)/bin/mypy
	$(VENV)/bin/lint-imports

# A link that leads nowhere ends it. Not --quiet, which would have it count no warnings.
docs: $(VENV)/.dev
	$(VENV)/bin/mkdocs build --strict --config-file agent/docs/mkdocs.yml

lab: lab-setup
	cd tests && ../$(PYTHON) -m lab

lab-setup: $(VENV)/.dev
	bash tests/lab/setup.sh
	bash tests/lab/setup_systemd.sh

$(PYTHON):
	bash .ci/setup.sh $(VENV)

$(VENV)/.core: $(PYTHON) requirements.lock pyproject.toml
	$(INSTALL) --require-hashes -r requirements.lock
	$(INSTALL) --no-deps --no-build-isolation --editable .
	touch $@

$(VENV)/.dev: $(VENV)/.core requirements-dev.lock
	$(INSTALL) --require-hashes -r requirements-dev.lock
	touch $@

wheel deb: $(VENV)/.core
	$(PYTHON) systemd/deb/package.py $@

# Needs the database of known vulnerabilities, so it is no part of the tests.
audit: $(PYTHON)
	bash .ci/audit.sh $(PYTHON)

# The locks hold versions and hashes and no addresses, so any mirror of the index serves them.
lock: $(PYTHON)
	$(INSTALL) uv==$(UV_VERSION)
	$(VENV)/bin/uv pip compile --quiet --universal --generate-hashes --no-header --upgrade \
	  --group build pyproject.toml --output-file requirements.lock
	$(VENV)/bin/uv pip compile --quiet --universal --generate-hashes --no-header --upgrade \
	  --constraint requirements.lock --group build --group dev pyproject.toml --output-file requirements-dev.lock

clean:
	rm -rf $(VENV) .lab dist
