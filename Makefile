# One command runner for people and CI. `make help` lists the targets.
.PHONY: help venv demo serve test check bench format requirements browser clean

PYTHON ?= python3.11
BIN := .venv/bin
PORT ?= 8000

help: ## list the targets
	@grep -hE '^[a-z]+:.*##' $(MAKEFILE_LIST) | sed 's/:.*##/\t/'

venv: .venv/.complete ## the virtual environment in .venv, from requirements/

.venv/.complete: requirements/dev.txt
	test -x $(BIN)/python || $$(command -v $(PYTHON) || command -v python3) -m venv .venv
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements/dev.txt
	touch $@

demo: venv ## set everything up with the invented demo scenario and serve it
	$(BIN)/python manage.py demo --port $(PORT)

serve: venv ## serve the portal as it is (after `manage.py migrate`)
	$(BIN)/python manage.py serve --port $(PORT)

browser: ## Chromium for the browser journeys
	@command -v chromium >/dev/null || { [ "$$(id -u)" = 0 ] && apt-get update -q && apt-get install -y -q chromium; } \
		|| echo "Chromium is missing and cannot be installed here: install the package 'chromium'."

test: venv browser ## every test, against an embedded PostgreSQL of its own
	$(BIN)/python -m pytest -n 2 --dist loadfile

check: venv ## lint, format, types, import directions, migrations
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/lint-imports
	$(BIN)/python manage.py makemigrations --check --dry-run
	$(BIN)/python manage.py check

bench: venv ## side-by-side timings, one file a question
	for question in benchmarks/[a-z]*.py; do echo "== $$question"; $(BIN)/python "$$question" || exit 1; done

format: venv ## put the code in order
	$(BIN)/ruff check --fix .
	$(BIN)/ruff format .

requirements: ## compile requirements/*.in to hashed *.txt (needs uv)
	cd requirements && for name in base dev; do \
		uv pip compile --quiet --generate-hashes --no-emit-index-url --no-emit-find-links --no-annotate \
			--python-version 3.11 --universal --custom-compile-command "make requirements" -o $$name.txt $$name.in; done

clean: ## remove the virtual environment and all local data
	rm -rf .venv .local
