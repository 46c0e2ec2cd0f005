# `make demo` opens a demo shop on this machine, `make test` proves the whole.
# All that they make lies in .venv, data and .cache.

PORT ?= 8000
SERVE ?= 1
export PORT PYTHON
py := .venv/bin/python
# The plain files have one list: the contract in pyproject.toml that keeps them so.
plain = $$($(py) -c 'import tomllib; project = tomllib.load(open("pyproject.toml", "rb")); \
	[plain] = [c for c in project["tool"]["importlinter"]["contracts"] if c["type"] == "forbidden"]; \
	print(*(f"-m {module}" for module in plain["source_modules"]))')
djade = .venv/bin/djade --target-version 5.2 $$(find templates -name '*.html')

.PHONY: help demo run test lint format lock migrations pictures mutants

help: ## this list
	@sed -n 's/^\([a-z]*\): *## /make \1\t/p' Makefile | expand -t 14

demo: ## a shop with eighteen months behind it; PORT= another port, SERVE=0 not to open
	@bash .ci/machine demo
	@bash .ci/install demo
	@[ "$(SERVE)" = 0 ] || $(py) .ci/serve.py
	@$(py) manage.py migrate -v 0
	@$(py) manage.py demo
	@[ "$(SERVE)" = 0 ] || exec $(py) -m gunicorn -c .ci/serve.py shopdesk.wsgi

run: ## your own shop
	@bash .ci/machine demo
	@bash .ci/install demo
	@$(py) .ci/serve.py
	@$(py) manage.py migrate -v 0
	@exec $(py) -m gunicorn -c .ci/serve.py shopdesk.wsgi

test: ## every test, on SQLite; some of them by ARGS="-k book_in"
	@bash .ci/machine test
	@bash .ci/install dev
	env -u DATABASE_URL $(py) -m pytest --on=sqlite $(or $(ARGS),--whole -n auto)

lint: ## what a reader should not have to look for; all of it at once
	@bash .ci/install dev
	@bad=0; try() { echo "$$1:"; shift; "$$@" || bad=1; }; \
	try "ruff check" $(py) -m ruff check --quiet . ; \
	try "ruff format" $(py) -m ruff format --check --quiet . ; \
	try "djade" $(djade) --check ; \
	try "import-linter" .venv/bin/lint-imports --no-logo --cache-dir .cache/imports ; \
	try "mypy on the plain files" $(py) -m mypy $(plain) ; \
	exit $$bad

format: ## put the code and the templates in their one form
	@bash .ci/install dev
	$(py) -m ruff check --fix .
	$(py) -m ruff format .
	$(djade)

# The versions stay as they are unless asked: make lock UPGRADE=--upgrade
compile = .venv/bin/uv pip compile -q pyproject.toml --universal --python-version 3.11 \
	--generate-hashes --no-header --no-annotate $(UPGRADE)
lock: ## the locks again, from pyproject.toml
	@bash .ci/install dev
	$(compile) -o requirements.lock
	$(compile) --group dev -c requirements.lock -o requirements-dev.lock
	.venv/bin/uv pip compile -q --group installer --universal --python-version 3.11 \
		--generate-hashes --no-header --no-annotate -o .ci/installer.lock

migrations: ## the first migration of each app again, until the first release
	@bash .ci/install dev
	@bash .ci/first_migrations

pictures: ## the pictures in README.md anew, from a demo shop of their own
	@bash .ci/machine test
	@bash .ci/install dev
	@$(py) .ci/pictures.py

mutants: ## how many small faults in the plain files the tests find; SAMPLE= SEED=
	@bash .ci/machine test
	@bash .ci/install dev
	@$(py) .ci/mutants.py $(SAMPLE) $(SEED)
