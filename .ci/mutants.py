"""How many small faults in the plain files the tests find, by mutmut.

mutants.py [SAMPLE [SEED]]: mutate a copy of the project, try each mutant (or SAMPLE of
them, drawn by SEED) with the tests that run through it and need no database, and print
how many were killed, by file. The copy stays in .cache/mutants; there
`python -m mutmut show NAME` shows a mutant.
"""

import json
import os
import random
import shutil
import subprocess
import sys
import tomllib
from collections import Counter, defaultdict
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
COPY = ROOT / ".cache" / "mutants"
# What mutmut keeps of a mutant: the exit code of pytest, or one of its own.
SURVIVED, NO_TESTS, NOT_TRIED = 0, 33, None
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
    # It reads the source, which is another one in the copy.
    "--ignore=tests/shopdesk/test_paper_words.py",
]


def plain_files():
    """The files of the contract in pyproject.toml that keeps them plain."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())
    contracts = project["tool"]["importlinter"]["contracts"]
    [plain] = [one for one in contracts if one["type"] == "forbidden"]
    return [f"{module.replace('.', '/')}.py" for module in plain["source_modules"]]


def copy():
    """The tracked files in a folder of their own, with mutmut's settings beside."""
    shutil.rmtree(COPY, ignore_errors=True)
    listed = subprocess.check_output(["git", "ls-files"], cwd=ROOT, text=True)
    for name in listed.splitlines():
        (COPY / name).parent.mkdir(parents=True, exist_ok=True)
        shutil.copy2(ROOT / name, COPY / name)
    settings = {
        "roots": ["shopdesk", "repairs", "billing"],
        "files": plain_files(),
        "others": ["templates", "manage.py", ".ci"],
        "tests": TESTS,
        "options": OPTIONS,
    }
    listed = {name: "\n    " + "\n    ".join(of) for name, of in settings.items()}
    (COPY / "setup.cfg").write_text(SETTINGS.format_map(listed))


def run(*names):
    """Try the mutants of these names; one that is nobody's only makes them all."""
    command = [sys.executable, "-m", "mutmut", "run", "--max-children", "1", *names]
    environment = {
        **os.environ,
        "OPENBLAS_NUM_THREADS": "1",
        "SHOPDESK_DATA": str(COPY / "data"),
    }
    subprocess.run(command, cwd=COPY, env=environment, check=True)


def results():
    """The exit code of each mutant by its file and name."""
    for path in sorted((COPY / "mutants").rglob("*.meta")):
        file = str(path.relative_to(COPY / "mutants")).removesuffix(".meta")
        for name, code in json.loads(path.read_text())["exit_code_by_key"].items():
            yield file, name, code


def main(sample=0, seed=1):
    copy()
    run("none.such*")
    names = [name for _, name, _ in results()]
    chosen = random.Random(seed).sample(names, sample) if sample else names
    run(*(chosen if sample else ()))
    report(set(chosen), len(names))


def report(chosen, made):
    by_file, left = defaultdict(Counter), []
    for file, name, code in results():
        if name not in chosen:
            continue
        if code is NOT_TRIED:
            sys.exit(f"{name} was not tried.")
        is_killed = code not in (SURVIVED, NO_TESTS)
        by_file[file][is_killed] += 1
        if not is_killed:
            left.append(f"{name}{' (no test)' if code == NO_TESTS else ''}")
    print("\nNot killed:", *left, sep="\n  ")
    for file, counts in by_file.items():
        print(f"{counts[True]:5} of {counts.total():5}  {file}")
    killed = sum(counts[True] for counts in by_file.values())
    share = killed / len(chosen)
    print(f"\n{killed} of {len(chosen)} killed, {share:.1%}; {made} mutants in all.")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
