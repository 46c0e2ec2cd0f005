"""Mutation score of the plain files: how many small faults the tests find.

mutants.py [SAMPLE [SEED]]: mutate a copy of the project with mutmut, run each mutant
(or SAMPLE of them, drawn with SEED) against the tests that execute it and need no
database, and print how many were killed, by file. Files that no such test executes are
listed and not counted. The copy stays in .cache/mutants; `python -m mutmut show NAME`
in that folder shows a mutant.
"""

import json
import os
import random
import shutil
import subprocess
import sys
import tomllib
from collections import Counter
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
COPY = ROOT / ".cache" / "mutants"
RESULTS = COPY / "mutants"
# Exit codes that mutmut stores; others are a failed, crashed or endless test run.
SURVIVED, NO_TESTS, NOT_RUN = 0, 33, None
SETTINGS = """[mutmut]
source_paths = {roots}
only_mutate = {files}
also_copy = {others}
pytest_add_cli_args_test_selection = {tests}
pytest_add_cli_args = {options}
"""
TESTS = ["tests/published", "tests/repairs", "tests/billing", "tests/shopdesk"]
OPTIONS = [
    "--without-database",
    "--hypothesis-seed=1",
    "-p",
    "no:cacheprovider",
    # It compares source files, which differ in the copy.
    "--ignore=tests/shopdesk/test_paper_words.py",
]


def plain_files():
    """Return the files of the contract in pyproject.toml that forbids Django.

    A package in that contract stands for every file in it.
    """
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())
    contracts = project["tool"]["importlinter"]["contracts"]
    [plain] = [contract for contract in contracts if contract["type"] == "forbidden"]
    paths = [Path(module.replace(".", "/")) for module in plain["source_modules"]]
    return [
        str(file)
        for path in paths
        for file in (
            sorted(p.relative_to(ROOT) for p in (ROOT / path).glob("[!_]*.py"))
            if (ROOT / path).is_dir()
            else [path.with_suffix(".py")]
        )
    ]


def copy_project():
    shutil.rmtree(COPY, ignore_errors=True)
    tracked = subprocess.check_output(["git", "ls-files"], cwd=ROOT, text=True)
    for name in tracked.splitlines():
        (COPY / name).parent.mkdir(parents=True, exist_ok=True)
        shutil.copy2(ROOT / name, COPY / name)
    settings = {
        "roots": ["shopdesk", "repairs", "billing"],
        "files": plain_files(),
        "others": ["templates", "manage.py", ".ci"],
        "tests": TESTS,
        "options": OPTIONS,
    }
    lists = {name: "".join(f"\n    {v}" for v in of) for name, of in settings.items()}
    (COPY / "setup.cfg").write_text(SETTINGS.format_map(lists))


def run_mutmut(*names):
    command = [sys.executable, "-m", "mutmut", "run", "--max-children", "1", *names]
    environment = {
        **os.environ,
        "OPENBLAS_NUM_THREADS": "1",
        "SHOPDESK_DATA": str(COPY / "data"),
    }
    return subprocess.run(command, cwd=COPY, env=environment).returncode


def create_mutants():
    """Return the names of the mutants by file, of all files that a test executes."""
    # No mutant has this name: mutmut creates them all, runs the tests once, and stops.
    run_mutmut("none")
    stats = json.loads((RESULTS / "mutmut-stats.json").read_text())
    tests = stats["tests_by_mangled_function_name"]
    executed = {function for function, found in tests.items() if found}
    mutants = {}
    for file, names in exit_codes().items():
        if executed & {name.rsplit("__mutmut_", 1)[0] for name in names}:
            mutants[file] = sorted(names)
        else:
            print(f"Not counted: {file}")
    return mutants


def exit_codes():
    """Return the stored exit code of each mutant by file and name."""
    return {
        str(path.relative_to(RESULTS)).removesuffix(".meta"): json.loads(
            path.read_text()
        )["exit_code_by_key"]
        for path in sorted(RESULTS.rglob("*.meta"))
    }


def report(chosen, total):
    killed, tried = Counter(), Counter()
    for file, codes in exit_codes().items():
        for name in chosen & codes.keys():
            if codes[name] is NOT_RUN:
                sys.exit(f"{name} was not run.")
            tried[file] += 1
            if codes[name] in (SURVIVED, NO_TESTS):
                print(f"Survived: {name}")
            else:
                killed[file] += 1
    for file in sorted(tried):
        print(f"{killed[file]:5} of {tried[file]:5}  {file}")
    share = killed.total() / tried.total()
    print(f"{killed.total()} of {tried.total()} killed, {share:.1%}; {total} in all.")


def main(sample=0, seed=1):
    copy_project()
    names = [name for of in create_mutants().values() for name in of]
    chosen = random.Random(seed).sample(names, sample) if sample else names
    if run_mutmut(*chosen):
        sys.exit("mutmut failed.")
    report(set(chosen), len(names))


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
