"""How long the program takes to answer, in processes of their own.

A person feels it at every `bottomheat --help`; a small board is five to ten
times slower than a desk. Run it with `./dev timings startup`.
"""

import statistics
import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).parents[2]
TIMES = 9

CASES = {
    "bare Python": ["-c", "pass"],
    "bottomheat --help": ["-m", "controller", "--help"],
    "bottomheat audit --help": ["-m", "controller", "audit", "--help"],
    "import the core": ["-c", "import controller.core.step"],
    "import the settings": ["-c", "import controller.adapters.settings"],
    "import the API": ["-c", "import api.app"],
    "import the simulated bench": ["-c", "import sim.world"],
}


def took_ms(words: list[str]) -> float:
    """Return how long a process took from its start to its end [ms]."""
    before = time.perf_counter()
    command = [sys.executable, *words]
    subprocess.run(command, cwd=ROOT, capture_output=True, check=True)
    return 1000 * (time.perf_counter() - before)


def main() -> None:
    """Print the median of some runs of each, the first one left out."""
    bare = 0.0
    print(f"{'median of ' + str(TIMES):28} {'ms':>6} {'above bare':>11}")
    for name, words in CASES.items():
        took_ms(words)
        median = statistics.median(took_ms(words) for _ in range(TIMES))
        bare = bare or median
        print(f"{name:28} {median:6.0f} {median - bare:11.0f}")


if __name__ == "__main__":
    main()
