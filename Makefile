# Two commands for a newcomer: `make demo` and `make test`. Each does its whole set-up.
PY := .venv/bin/python
# One thread for linear algebra: the arrays are small, and the tests run side by side already.
export OMP_NUM_THREADS := 1
export OPENBLAS_NUM_THREADS := 1
.PHONY: demo test study browsers lint types imports check bench clean

.venv/ready: requirements.lock pyproject.toml .ci/setup
	bash .ci/setup

demo: .venv/ready
	.venv/bin/trimbench demo --folder demo-out

test: .venv/ready
	bash .ci/system-packages
	$(PY) -m pytest -q -n 2

study: .venv/ready
	$(PY) -m pytest -q -s -m study --timeout 1500 tests

browsers: .venv/ready
	bash .ci/system-packages firefox-esr webkit2gtk-driver xvfb
	$(PY) -m pytest -q -m browsers tests

bench: .venv/ready
	$(PY) -m pytest -q -s --benchmark-enable --benchmark-only tests/benchmarks

lint: .venv/ready
	.venv/bin/ruff check .
	.venv/bin/ruff format --check .

types: .venv/ready
	.venv/bin/mypy

imports: .venv/ready
	.venv/bin/lint-imports

check: lint types imports test

clean:
	rm -rf .venv demo-out
