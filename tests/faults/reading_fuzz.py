"""Damaged, hostile and random bytes through ``read_log``: nothing but ``UnreadableLog``, no hang, bounded memory.

    python tests/faults/reading_fuzz.py --cases 1000000 [--seed 0] [--keep FOLDER]

Every case damages one of some sixty small made-up logs (all layouts) in one to six ways. A reading that succeeds is
checked: elapsed time strictly rising from 0, matching shapes, every line of the file accounted for, no control
character in any text. Exit code 1 if a case fails; with --keep the failing bytes are written there.
"""

import argparse
import sys
import time
import traceback
import tracemalloc
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE.parents[1]), str(HERE.parent / "analysis" / "reading")]

import written_logs as pen  # noqa: E402 - found by the line above

from analysis.reading import Reading, UnreadableLog, read_log  # noqa: E402
from config.kiln import Kiln, LogHints  # noqa: E402

SLOWEST_S = 2.0
MOST_MEMORY_BYTES = 60_000_000
TOKENS = (
    b"\0",
    b"\0" * 40,
    b'"',
    b"'",
    b",",
    b";",
    b"\t",
    b"\n",
    b"\r",
    b"\r\n",
    b"\n\n\n",
    b"nan",
    b"inf",
    b"-inf",
    b"1e999",
    b"-1e308",
    b"99999999999999999999999",
    b"--",
    b"ERR",
    b"OPEN",
    b"null",
    b"=",
    b" t=",
    b'x="',
    b"{",
    b"}",
    b"[",
    b"]",
    b'{"a":{"b":{"c":1}}}',
    b"\\",
    b"\xff\xfe",
    b"\xef\xbb\xbf",
    b"\x1b[31m",
    b"\xe2\x80\xae",
    b"=1+1",
    b"<script>",
    b"00:00:00",
    b"24:00:00",
    b"31/02/2026",
    b"2026-13-45",
    b"29.02.2025",
    b"12:60 PM",
    b"-0",
    b"0x10",
    b"1_000",
    b"\xd9\xa3",
    b"1,2,3,4,5,6,7,8,9",
    b"9" * 400,
    b"a" * 3000,
    b"Time,Temp\n",
    b"\xc2\xb0C",
    b"\xb0C",
    b" ",
    b"#",
    b"\x0c",
    b"\x1a",
    b"\x85",
)


def bases() -> list[bytes]:
    """Return small logs of every time style, many layouts and a few random blobs."""
    out = []
    for k, style in enumerate(pen.TIMES):
        for zones, language in ((1, "english"), (3, "german")):
            one = pen.firing(seed=k, zones=zones, sample_s=600.0 if zones == 1 else 300.0)
            layout = pen.Layout(time=style, language=language, columns=("point", "zones", "output", "volts"))
            out.append(pen.write(one, layout).data)
            out.append(
                pen.write(one, replace(layout, delimiter=";", decimal=",", units_in="row", line_end="\r\n")).data
            )
    one = pen.firing(seed=99, zones=2, sample_s=300.0)
    for layout in (
        pen.Layout(json="flat", time="ISO"),
        pen.Layout(json="nested", time="epoch s"),
        pen.Layout(json="zones", time="ISO"),
        pen.Layout(pairs=" ", language="terse", preamble=("KILN=k START=2026-03-02T08:14:00 PROGRAMME=glaze",)),
        pen.Layout(pairs="; ", sign=": ", language="terse", time="day first", quoted=True),
        pen.Layout(pairs=" ", lead=True, time="ISO", language="terse"),
        pen.Layout(fixed=True, delimiter=" "),
        pen.Layout(header=False),
        pen.Layout(quoted=True, time="day first"),
        pen.Layout(encoding="utf-16"),
        pen.Layout(encoding="utf-16-le", delimiter="\t"),
        pen.Layout(preamble=("Studio", "begun 03/04/2026 at 08:15", "")),
    ):
        out.append(pen.write(one, layout).data)
    return out


def damaged(data: bytes, others: list[bytes], rng: np.random.Generator) -> bytes:
    """Damage a log in one to six ways."""
    for _ in range(int(rng.integers(1, 7))):
        data = _once(data, others, rng)
        if len(data) > 200_000:
            data = data[:200_000]
    return data


def _once(data: bytes, others: list[bytes], rng: np.random.Generator) -> bytes:  # noqa: C901 - a list of ways
    n = len(data)
    way = int(rng.integers(0, 13))
    at = int(rng.integers(0, n + 1))
    stop = min(n, at + int(rng.integers(1, 200)))
    if way == 0 and n:
        changed = bytearray(data)
        for place in rng.integers(0, n, int(rng.integers(1, 20))):
            changed[place] = int(rng.integers(0, 256))
        return bytes(changed)
    if way == 1:
        return data[:at] + data[stop:]
    if way == 2:
        return data[:at] + TOKENS[int(rng.integers(0, len(TOKENS)))] + data[at:]
    if way == 3:
        return data[:at]
    if way == 4:
        return data[:at] + data[at:stop] * int(rng.integers(2, 12)) + data[stop:]
    if way == 5:
        other = others[int(rng.integers(0, len(others)))]
        return data[:at] + other[int(rng.integers(0, len(other))) :]
    lines = data.split(b"\n")
    k = int(rng.integers(0, len(lines)))
    if way == 6:
        rng.shuffle(lines[k : k + 8])
        return b"\n".join(lines)
    if way == 7:
        return b"\n".join(lines[:k] + lines[k : k + 3] * int(rng.integers(2, 30)) + lines[k + 3 :])
    if way == 8:
        marks = (b",", b";", b"\t", b" ", b":", b"-", b"/", b".", b"=")
        old, new = marks[int(rng.integers(0, 9))], marks[int(rng.integers(0, 9))]
        return data.replace(old, new, int(rng.integers(1, 400)))
    if way == 9 and n:
        changed = bytearray(data)
        for place in rng.integers(0, n, 30):
            if 48 <= changed[place] <= 57:
                changed[place] = int(rng.integers(48, 58))
        return bytes(changed)
    if way == 10:
        return b"\n".join(line for i, line in enumerate(lines) if i % 5 != k % 5)
    if way == 11:
        return rng.integers(0, 256, int(rng.integers(0, 400)), dtype=np.uint8).tobytes() + data[at:]
    cells = lines[k].split(b",")
    cells[int(rng.integers(0, len(cells)))] = TOKENS[int(rng.integers(0, len(TOKENS)))]
    lines[k] = b",".join(cells)
    return b"\n".join(lines)


def hinted(rng: np.random.Generator) -> Kiln:
    """Return a kiln with random zones and hints."""
    some = rng.random
    return Kiln(
        id="juniper",
        zones=("top", "middle", "bottom")[: int(rng.integers(0, 4))],
        time_zone="Europe/Dublin" if some() < 0.7 else None,
        log=LogHints(
            temperature_unit=("C", "F", None)[int(rng.integers(0, 3))],
            time_unit=("s", "min", "h")[int(rng.integers(0, 3))] if some() < 0.1 else None,
            day_order=("day-first", "month-first")[int(rng.integers(0, 2))] if some() < 0.2 else None,
            delimiter=(",", ";", " ", "\t", "xx", "§")[int(rng.integers(0, 6))] if some() < 0.1 else None,
            decimal=(".", ",")[int(rng.integers(0, 2))] if some() < 0.1 else None,
            encoding=("utf-8", "cp1252", "utf-16", "rot13", "no such")[int(rng.integers(0, 5))]
            if some() < 0.1
            else None,
            columns={"1": "time", "2": "zone top"} if some() < 0.05 else {},
        ),
    )


def check(reading: Reading, size: int) -> None:
    """Assert what must hold of any reading."""
    assert reading.firings
    for log in reading.firings:
        n = log.elapsed_s.size
        assert n > 0
        assert log.elapsed_s[0] == 0
        assert np.isfinite(log.elapsed_s).all()
        assert (np.diff(log.elapsed_s) > 0).all()
        assert log.zone_c.shape == (n, len(log.zone_names))
        inside = log.zone_c[np.isfinite(log.zone_c)]
        assert ((inside >= -60) & (inside <= 1820)).all()
        assert not np.isinf(log.zone_c).any()
        for values in (log.set_point_c, log.output):
            assert values is None or values.shape == log.zone_c.shape
        for values in (log.volts, log.room_c, log.segment):
            assert values is None or values.shape == (n,)
        assert log.output is None or not (log.output > 1).any()
        assert log.started is None or log.started.tzinfo is not None
    rows = reading.account.rows
    parts = (rows.used, rows.repeated, rows.blank, rows.text, rows.headers, rows.cut, rows.damaged, rows.empty)
    assert rows.lines == sum(parts), rows
    assert rows.lines <= size + 1
    texts = [*reading.problems, *reading.account.preamble, reading.account.name, reading.account.time_base]
    texts += [column.name + column.why for column in reading.account.columns]
    texts += [event.text for log in reading.firings for event in log.events]
    texts += [log.programme or "" for log in reading.firings]
    assert all(char.isprintable() for text in texts for char in text), texts


def store(keep: Path | None, name: str, data: bytes, kiln: Kiln) -> None:
    """Write down a failing case."""
    if keep is not None:
        keep.mkdir(parents=True, exist_ok=True)
        (keep / f"{name}.log").write_bytes(data)
        (keep / f"{name}.kiln").write_text(repr(kiln))


def run(cases: int, seed: int, keep: Path | None, show_every: int = 20_000) -> int:
    """Run the cases; return how many failed."""
    rng = np.random.default_rng(seed)
    base = bases()
    modified = datetime(2026, 3, 3, tzinfo=UTC)
    failed = readable = 0
    slowest = peak = 0.0
    begin = time.monotonic()
    for case in range(cases):
        data = damaged(base[int(rng.integers(0, len(base)))], base, rng)
        kiln = hinted(rng)
        weigh = case % 50 == 0
        if weigh:
            tracemalloc.start()
        started = time.process_time()
        try:
            check(read_log(data, name="F001.CSV", kiln=kiln, modified=modified), len(data))
            readable += 1
        except UnreadableLog as error:
            if not error.reason:
                failed += 1
        except Exception:  # noqa: BLE001 - that none comes is what is tried
            failed += 1
            print(f"case {case} (seed {seed}) failed:\n{traceback.format_exc()}", flush=True)
            store(keep, f"{seed}-{case}", data, kiln)
        took = time.process_time() - started
        slowest = max(slowest, took)
        if weigh:
            used = tracemalloc.get_traced_memory()[1]
            tracemalloc.stop()
            peak = max(peak, used)
            if used > MOST_MEMORY_BYTES:
                failed += 1
                print(f"case {case} (seed {seed}) took {used / 1e6:.0f} MB", flush=True)
        elif took > SLOWEST_S:
            failed += 1
            print(f"case {case} (seed {seed}) took {took:.1f} s", flush=True)
        if (case + 1) % show_every == 0:
            print(
                f"{case + 1} cases, {failed} failed, {readable} readable, {time.monotonic() - begin:.0f} s", flush=True
            )
    print(
        f"{cases} cases, {failed} failed, {readable} readable, slowest {slowest:.2f} s, "
        f"most memory {peak / 1e6:.1f} MB (every 50th weighed), {time.monotonic() - begin:.0f} s"
    )
    return failed


def main() -> int:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--cases", type=int, default=20_000)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--keep", type=Path, help="folder for the bytes of failing cases")
    args = parser.parse_args()
    return int(run(args.cases, args.seed, args.keep) > 0)


if __name__ == "__main__":
    sys.exit(main())
