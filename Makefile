# make demo: set up, then the main job on an invented plant.  make desk: the same plant in a browser.  make test: set up, then every check.
.PHONY: help demo desk test lint compiled-cut compiled-scan compiled-other bench clean
DEMO ?= demo
# Many processes start in the tests: none compiles anew what another one has.
export PYTHONDONTWRITEBYTECODE =
help:
	@echo "make demo    set up and run the main job on an invented plant (folder $(DEMO)/)"
	@echo "make desk    the same plant in a browser, on this machine"
	@echo "make test    set up and run lint, types, layer contracts and all tests"
	@echo "make bench   run all benchmarks in full and refresh docs/figures.md"
	@echo "make clean   remove the demo plant and caches, keep .venv"

demo:
	@tools/setup core
	@.venv/bin/wideroll demo $(DEMO)

desk:
	@tools/setup core
	@test -f $(DEMO)/plant.toml || .venv/bin/wideroll demo $(DEMO)
	@.venv/bin/wideroll desk $(DEMO)

# Two processes run the tests: with as many more threads for matrices, each would wait for the other's cores.
test: export OPENBLAS_NUM_THREADS = 1
test:
	@tools/setup dev
	@$(MAKE) --no-print-directory -j 2 lint compiled-cut compiled-scan compiled-other
	.venv/bin/python -m pytest -n 2 --dist loadfile

lint:
	@tools/setup dev
	.venv/bin/ruff check .
	.venv/bin/ruff format --check .
	.venv/bin/mypy
	.venv/bin/lint-imports --no-logo

compiled-cut compiled-scan compiled-other:
	@tools/setup dev
	.venv/bin/python tools/compile_kernels.py $(@:compiled-%=%)

bench:
	@tools/setup dev
	.venv/bin/python bench/run_all.py

clean:
	rm -rf $(DEMO) artefacts .mypy_cache .ruff_cache .pytest_cache .hypothesis .import_linter_cache src/wideroll/__pycache__/compiled-*
