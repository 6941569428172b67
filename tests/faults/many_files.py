"""Drop very many logs at once and see them worked off steadily.

    python tests/faults/many_files.py --files 20000

Made-up logs, each of a day of its own, for twenty kilns; one new log of another kiln comes in when the
work is under way. Prints how fast they are taken in and judged, how long the new log waited, and the memory used.
"""

import argparse
import contextlib
import json
import sqlite3
import subprocess
import sys
import tempfile
import time
from datetime import datetime, timedelta
from pathlib import Path

START = "import sys; from daemon.main import main; sys.exit(main())"


def made_up(number: int) -> str:
    """Return a small log of one firing, each on a day of its own."""
    begin = datetime(1990, 1, 1) + timedelta(days=number % 12000, hours=(number // 12000) * 0.5)  # noqa: DTZ001
    rows, temp = ["time,temperature,set point,output"], 20.0
    for minute in range(0, 900, 5):
        heating = minute < 600
        temp = min(1222.0, temp + 12.5) if heating else temp - (temp - 20) * 0.016
        at = begin + timedelta(minutes=minute)
        aim, output = (min(1222.0, temp + 4), 80) if heating else (0.0, 0)
        rows.append(f"{at:%Y-%m-%dT%H:%M:%S},{temp + number % 7 / 10:.1f},{aim:.1f},{output}")
    return "\n".join(rows) + "\n"


def ask(root: Path, sql: str) -> int:
    """Return one number from the database."""
    with (
        contextlib.suppress(sqlite3.Error),
        contextlib.closing(sqlite3.connect(root / "data/coilwatch.db", timeout=10)) as db,
    ):
        return int(db.execute(sql).fetchone()[0] or 0)
    return 0


def memory_mb(pid: int) -> float:
    """Return the memory a process holds (Linux)."""
    with contextlib.suppress(OSError, StopIteration):
        lines = Path(f"/proc/{pid}/status").read_text(encoding="ascii").splitlines()
        return int(next(line for line in lines if line.startswith("VmRSS")).split()[1]) / 1024
    return 0.0


def cpu_s() -> float:
    """Return the processor time of ended children, their children included (0 where the system does not tell)."""
    with contextlib.suppress(ImportError):
        import resource

        used = resource.getrusage(resource.RUSAGE_CHILDREN)
        return used.ru_utime + used.ru_stime
    return 0.0


def main() -> int:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--files", type=int, default=20000)
    parser.add_argument("--kilns", type=int, default=20)
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder)
        kilns = [f"kiln-{number}" for number in range(args.kilns)]
        text = "[service]\nsettle_s = 0.5\nscan_s = 5\n"
        for kiln in [*kilns, "new"]:
            (root / "drop" / kiln).mkdir(parents=True)
            text += f'[[kiln]]\nid = "{kiln}"\n[kiln.log]\ntemperature_unit = "C"\n'
        (root / "coilwatch.toml").write_text(text, encoding="utf-8")
        for number in range(args.files):
            kiln = kilns[number % len(kilns)]
            (root / "drop" / kiln / f"{number:06}.csv").write_text(made_up(number // len(kilns)), encoding="utf-8")
        with (root / "output.txt").open("wb") as out:
            process = subprocess.Popen([sys.executable, "-P", "-c", START, "start"], cwd=root, stdout=out, stderr=out)
        began, new_at, new_took, most = time.monotonic(), 0.0, 0.0, 0.0
        judged = "select count(*) from firings where assessment is not null"
        while (done := ask(root, judged)) < args.files + 1 and process.poll() is None:
            most = max(most, memory_mb(process.pid))
            if not new_at and done > args.files // 10:
                (root / "drop/new/today.csv").write_text(made_up(3), encoding="utf-8")
                new_at = time.monotonic()
            if new_at and not new_took and ask(root, f"{judged} and kiln = 'new'"):
                new_took = time.monotonic() - new_at
            if int(time.monotonic() - began) % 30 == 0:
                print(f"{time.monotonic() - began:.0f} s: {done} judged", file=sys.stderr)
            time.sleep(1)
        took = time.monotonic() - began
        process.terminate()
        process.wait(20)
        states = ask(root, "select count(*) from files where state in ('taken in', 'same as another')")
        figures = {
            "files": args.files + 1,
            "judged": done,
            "taken in": states,
            "seconds": round(took),
            "per second": round(done / took, 1),
            "processor s per log": round(cpu_s() / max(done, 1), 4),
            "new log waited s": round(new_took, 1),
            "most memory MB": round(most),
        }
        print(json.dumps(figures))
        return int(done != args.files + 1)


if __name__ == "__main__":
    sys.exit(main())
