"""Known holes in what is locked, where that can be had; pip-audit is given an environment of its own in a folder.

Asked are pip's own settings and nothing else. Ends with 1 when a hole is known; when the data can't be had, it says so
in one line and ends well, for a machine without a network has to get through the checks as well.
"""

import json
import subprocess
import sys
import venv
from pathlib import Path

AUDIT = "pip-audit==2.10.1"
LOCKS = Path(__file__).resolve().parent.parent / "mill" / "requirements"
# What runs in a mill, and what the tests run with: dev.txt holds all of run.txt, and grown.txt its two more.
ASKED = ("dev.txt", "grown.txt")
WAITS_S = 600


def told(said: str) -> tuple[list[str], int, int]:
    """Of pip-audit's JSON: holes in words, how many packages were looked up, and how many could not be.

    >>> told('{"dependencies": [{"name": "a", "skip_reason": "not found"}]}')
    ([], 0, 1)
    >>> told('{"dependencies": [{"name": "a", "version": "1", "vulns": [{"id": "X-1", "fix_versions": ["2"]}]}]}')
    (['a 1: X-1, mended in 2'], 1, 0)
    """
    rows = {row["name"]: row for row in json.loads(said)["dependencies"]}.values()
    looked_up = [row for row in rows if "skip_reason" not in row]
    holes = []
    for row in looked_up:
        for hole in row["vulns"]:
            mended = " or ".join(hole["fix_versions"]) or "no version yet"
            holes.append(f"{row['name']} {row['version']}: {hole['id']}, mended in {mended}")
    return holes, len(looked_up), len(rows) - len(looked_up)


def unknown(why: str) -> int:
    print(f"Known holes were not looked up: {why}.")
    return 0


def looked_up(python: str, locks: list[Path]) -> str:
    """What pip-audit says of these locks, as JSON; empty when it can't."""
    command = [python, "-m", "pip_audit", "--format", "json", "--progress-spinner", "off", "--disable-pip", "--no-deps"]
    for lock in locks:
        command += ["--requirement", str(lock)]
    return subprocess.run(command, capture_output=True, text=True, timeout=WAITS_S, check=False).stdout


def main(folder: Path) -> int:
    venv.create(folder, with_pip=True)
    python = str(folder / ("Scripts/python.exe" if sys.platform == "win32" else "bin/python"))
    pip = [python, "-m", "pip", "install", "--quiet", "--disable-pip-version-check", AUDIT]
    try:
        if subprocess.run(pip, capture_output=True, timeout=WAITS_S, check=False).returncode:
            return unknown("pip-audit can't be had here")
        # One package first: where that isn't found, a hundred more need not be asked for.
        one = folder / "one.txt"
        one.write_text(next(line for line in (LOCKS / "run.txt").read_text().splitlines() if "==" in line).split()[0])
        if not told(looked_up(python, [one]))[1]:
            return unknown("the data can't be had here")
        holes, n_found, n_passed_over = told(looked_up(python, [LOCKS / name for name in ASKED]))
    except subprocess.TimeoutExpired:
        return unknown("no answer came in time")
    except (ValueError, LookupError):
        return unknown("the data can't be had here")
    print(f"{n_found} packages looked up, {n_passed_over} not to be found; {len(holes)} known holes.")
    print("\n".join(holes))
    return 1 if holes else 0


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1])))
