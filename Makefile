# One obvious command for each daily thing; DEVELOPERS.md explains them.
PYTHON = .venv/bin/python

.PHONY: check lint types rooms test fix setup client

setup:
	python3 -m venv --without-pip .venv
	python3 -m pip --python $(PYTHON) install -e '.[test,lint]'

check: lint types rooms test

lint:
	.venv/bin/ruff format --check .
	.venv/bin/ruff check .

types:
	.venv/bin/mypy

rooms:
	.venv/bin/lint-imports

test:
	$(PYTHON) -m pytest

fix:
	.venv/bin/ruff format .
	.venv/bin/ruff check --fix .

client: # the typed client, from the OpenAPI document
	$(PYTHON) -m gateway.api.client.writing
