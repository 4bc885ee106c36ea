"""Do the tests of the pure core notice when a line of it is wrong?

    .venv/bin/pip install mutmut==3.8.1
    .venv/bin/python tests/campaign/mutants.py --sample 400

mutmut changes `daemon/control` and `daemon/chemistry` in one small place at a time: a "<" becomes
"<=", a 2 a 3, an argument None. Each change that is drawn is run against those tests of the two
packages that reach its function, up to the first that fails. All of it happens in a copy of the
tree, `--folder`, which is kept: called again with it, it goes on with what was made there. The
longest searches (`SLOW`) are left out, since a mutant would take minutes; a survivor may be run
against them by hand. Survivors are shown, and the share that was noticed with its 95 % interval
(Wilson); the exit code is 1 if the share is below `LEAST`.
"""

import argparse
import json
import random
import re
import shutil
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Sequence
from math import sqrt
from pathlib import Path

from rich.console import Console

TREE = Path(__file__).parents[2]
PACKAGES = ("control", "chemistry")
SLOW = (
    "tests/control/test_every_combination.py",
    "tests/control/test_machine.py",
    "tests/control/test_interval.py",
    "tests/control/test_contactor.py::test_every_reachable_combination",
)
NEEDED = ("daemon", "drivers", "tests/conftest.py", *(f"tests/{each}" for each in PACKAGES))

LEAST = 0.90

SURVIVED, UNREACHED, KILLED = "survived", "reached by no test", "noticed"
WORDS = {0: SURVIVED, 5: UNREACHED, 33: UNREACHED}
"""Exit codes of a mutant's tests; with any other they noticed it, or came to no end."""

CONFIG = """
[tool.mutmut]
source_paths = ["daemon"]
only_mutate = {mutated}
also_copy = ["drivers", "tests"]
pytest_add_cli_args = ["--hypothesis-profile=unshrunk"]
pytest_add_cli_args_test_selection = {tests}
process_isolation = "forkserver"
track_dependencies = false
on_dependency_change = "ignore"
use_git_change_detection = false
"""


def copied(folder: Path, packages: Sequence[str]) -> None:
    """What mutmut needs of the tree to change these packages, and its settings, in this folder."""
    for name in NEEDED:
        source, target = TREE / name, folder / name
        target.parent.mkdir(parents=True, exist_ok=True)
        if source.is_dir():
            ignored = shutil.ignore_patterns("__pycache__")
            shutil.copytree(source, target, dirs_exist_ok=True, ignore=ignored)
        else:
            shutil.copy2(source, target)
    project = (TREE / "pyproject.toml").read_text()
    settings = CONFIG.format(
        mutated=[f"daemon/{each}/*" for each in packages],
        tests=[*(f"tests/{each}" for each in packages), *(f"--deselect={each}" for each in SLOW)],
    )
    (folder / "pyproject.toml").write_text(project + settings)


def mutmut(folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    """One of its commands, in that folder."""
    return subprocess.run(
        [sys.executable, "-m", "mutmut", *words],
        cwd=folder, capture_output=True, text=True, check=False,
    )  # fmt: skip


def results(folder: Path) -> dict[str, int | None]:
    """All mutants, and the exit code of each that has been run."""
    found: dict[str, int | None] = {}
    for path in sorted((folder / "mutants").rglob("*.meta")):
        found |= json.loads(path.read_text())["exit_code_by_key"]
    return found


def interval(share: float, count: int) -> tuple[float, float]:
    """The 95 % interval of a share of so many (Wilson 1927)."""
    z2 = 1.96**2
    middle = (share + z2 / (2 * count)) / (1 + z2 / count)
    half = sqrt(z2 * share * (1 - share) / count + z2**2 / (4 * count**2)) / (1 + z2 / count)
    return middle - half, middle + half


def drawn(names: Sequence[str], sample: int, seed: int) -> list[str]:
    """So many of these mutants, all of them if there are fewer."""
    return sorted(random.Random(seed).sample(sorted(names), min(sample, len(names))))


def plain(name: str) -> str:
    """A mutant's name without what mutmut marks its function with."""
    return re.sub(r"xǁ(\w+)ǁ", r"\1.", name).replace(".x_", ".")


def main() -> int:
    """The command; 1 when too little was noticed, 2 without mutmut."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--sample", type=int, default=400, help="how many (default: 400)")
    parser.add_argument("--seed", type=int, help="what they are drawn from (default: a fresh one)")
    parser.add_argument("--folder", type=Path, help="where it is done (default: a new folder)")
    parser.add_argument("--package", choices=PACKAGES, help="only this one, by its own tests")
    parser.add_argument("--at-once", type=int, default=1, help="mutants side by side (default: 1)")
    asked = parser.parse_args()
    say = Console(highlight=False, soft_wrap=True, markup=False).print
    folder = asked.folder or Path(tempfile.mkdtemp(prefix="mutants-"))
    seed = random.SystemRandom().randrange(10**9) if asked.seed is None else asked.seed
    say(f"seed {seed}; in {folder}")
    if not (folder / "mutants").is_dir():
        folder.mkdir(exist_ok=True)
        copied(folder, PACKAGES if asked.package is None else (asked.package,))
        # No mutant has this name: mutants are made, and it is learned which tests reach them.
        made = mutmut(folder, "run", "--max-children", str(asked.at_once), "none")
        if not results(folder):
            say(made.stdout + made.stderr)
            return 2
    every = results(folder)
    names = drawn(list(every), asked.sample, seed)
    say(f"{len(every)} mutants, {len(names)} drawn")
    ran = mutmut(folder, "run", "--max-children", str(asked.at_once), *names)
    after = results(folder)
    counts = Counter(WORDS.get(code, KILLED) for name in names if (code := after[name]) is not None)
    tried = counts.total()
    if tried == 0:
        say(ran.stdout[-3000:] + ran.stderr[-3000:])
        return 2
    for name in names:
        if after[name] in WORDS:
            say(f"--- {WORDS[after[name]]}: {plain(name)}", mutmut(folder, "show", name).stdout)
    share = counts[KILLED] / tried
    low, high = interval(share, tried)
    say(f"{tried} tried: " + ", ".join(f"{n} {what}" for what, n in counts.items()))
    say(f"noticed: {100 * share:.1f} %, 95 % interval {100 * low:.1f} to {100 * high:.1f} %")
    return 0 if share >= LEAST else 1


if __name__ == "__main__":
    raise SystemExit(main())
