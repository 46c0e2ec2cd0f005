# `make demo` starts a demo shop on this machine, `make test` runs all tests.
# All files they create are in .venv, data and .cache.

PORT ?= 8000
SERVE ?= 1
export BIND PORT PYTHON
py := .venv/bin/python
plain = $$(cd .ci; ../$(py) -c 'from mutants import plain_files; print(*plain_files())')
djade = .venv/bin/djade --target-version 5.2 $$(find templates -name '*.html')

.PHONY: help demo run test lint format lock migration messages release pictures mutants soak install sbom

help: ## show this list
	@sed -n 's/^\([a-z]*\): *## /make \1\t/p' Makefile | expand -t 14

demo: ## start a shop with 18 months of data; PORT= another port, BIND= address, SERVE=0 only fill it
	@bash .ci/machine demo
	@bash .ci/install demo
	@[ "$(SERVE)" = 0 ] || $(py) gunicorn.conf.py
	@$(py) manage.py check_database
	@$(py) manage.py migrate -v 0
	@$(py) manage.py demo
	@[ "$(SERVE)" = 0 ] || exec $(py) -m gunicorn shopdesk.wsgi

run: ## start your own shop
	@bash .ci/machine demo
	@bash .ci/install demo
	@$(py) gunicorn.conf.py
	@$(py) manage.py check_database
	@$(py) manage.py migrate -v 0
	@exec $(py) -m gunicorn shopdesk.wsgi

install: ## install what the shop needs, without starting it
	@bash .ci/machine demo
	@bash .ci/install demo

test: ## run all tests on SQLite, or some: ARGS="-k book_in"
	@bash .ci/machine test
	@bash .ci/install dev
	env -u DATABASE_URL $(py) -m pytest --on=sqlite $(or $(ARGS),--whole -n auto)

lint: ## run all linters and show all their errors
	@bash .ci/install dev
	@bad=0; try() { echo "$$1:"; shift; "$$@" || bad=1; }; \
	try "ruff check" $(py) -m ruff check --quiet . ; \
	try "ruff format" $(py) -m ruff format --check --quiet . ; \
	try "djade" $(djade) --check ; \
	try "import-linter" .venv/bin/lint-imports --no-logo --cache-dir .cache/imports ; \
	try "mypy on the plain files" $(py) -m mypy $(plain) ; \
	exit $$bad

format: ## format code and templates
	@bash .ci/install dev
	$(py) -m ruff check --fix .
	$(py) -m ruff format .
	$(djade)

# Versions stay as they are unless you say: make lock UPGRADE=--upgrade
compile = .venv/bin/uv pip compile -q pyproject.toml --universal --python-version 3.11 \
	--generate-hashes --no-header --no-annotate $(UPGRADE)
lock: ## write the lock files from pyproject.toml
	@bash .ci/install dev
	$(compile) -o requirements.lock
	$(compile) --group dev -c requirements.lock -o requirements-dev.lock
	.venv/bin/uv pip compile -q --group installer --universal --python-version 3.11 \
		--generate-hashes --no-header --no-annotate -o .ci/installer.lock

migration: ## write a migration from changed models; NAME=what_it_does
	@bash .ci/install dev
	@[ -n "$(NAME)" ] || { echo "Give it a name: make migration NAME=add_storage_place"; exit 2; }
	@$(py) manage.py makemigrations --no-header -n $(NAME) shopdesk repairs billing

messages: ## write and compile the translations of all texts; ARGS=--open lists what is missing
	@bash .ci/install dev
	@$(py) .ci/messages.py $(ARGS)

release: ## write the database of this version, from which updates are tested
	@bash .ci/install dev
	@$(py) -m tests.releases.write

pictures: ## take the pictures in README.md from a demo shop
	@bash .ci/machine test
	@bash .ci/install dev
	@$(py) .ci/pictures.py

mutants: ## mutation score of the plain files; SAMPLE= mutants drawn with SEED=
	@bash .ci/machine test
	@bash .ci/install dev
	@$(py) .ci/mutants.py $(SAMPLE) $(SEED)

soak: ## the fault tests for long, and a server at work; MINUTES= ROUNDS= MACHINE= SEED=
	@bash .ci/machine ci
	@bash .ci/install dev
	@$(py) -m tests.faults.soak $(if $(MINUTES),--minutes $(MINUTES)) \
		$(if $(ROUNDS),--rounds $(ROUNDS)) $(if $(MACHINE),--machine "$(MACHINE)") \
		$(if $(SEED),--seed $(SEED))

sbom: ## write .cache/sbom.json: all components with their versions (CycloneDX)
	@bash .ci/install dev
	@mkdir -p .cache
	@$(py) -W ignore -m cyclonedx_py requirements --pyproject pyproject.toml \
		--output-reproducible -o .cache/sbom.json requirements.lock
	@echo "Written: .cache/sbom.json"
