"""Feed the rows of one pass to a controller: read the header, check the whole file, then send each row when its second has come.

Usage: python3 feeder.py FOLDER PASS [--now] [--to HOST:PORT]

FOLDER is an output folder written with `compile --rows HZ`. `send` below writes a line for each row, to standard output or to a TCP socket; put your controller there. `--now` does not wait.
Nothing is sent before the whole file has been checked: a file that is cut, or has other columns than its manifest, is refused.
"""

import json
import socket
import sys
import time
from pathlib import Path


def positions(header, axes):
    """The places of the axes' positions in a row. Velocities (AXIS:steps_per_s) and the shutter are no positions."""
    names = header.split(",")
    if names[0] != "t_s":
        raise SystemExit("refused: the first column is not t_s")
    missing = [axis for axis in axes if axis not in names]
    if missing:
        raise SystemExit(f"refused: no column for {', '.join(missing)}")
    known = {"t_s", "shutter", "frame", "warning", *axes, *(f"{axis}:steps_per_s" for axis in axes), *(f"{axis}:steps_per_s2" for axis in axes)}
    strange = [name for name in names if name not in known]
    if strange:
        raise SystemExit(f"refused: unknown columns {', '.join(strange)}")
    return [names.index(axis) for axis in axes]


def read(line, places, columns):
    """One row: its second and its steps. A line without its end, or with another number of cells, is refused."""
    if not line.endswith("\n"):
        raise SystemExit("refused: the last line is cut")
    cells = line[:-1].split(",")
    if len(cells) != columns:
        raise SystemExit(f"refused: a row has {len(cells)} cells, the header {columns}")
    return float(cells[0]), [int(cells[place]) for place in places]


def send(second, steps, sink):
    print(second, *steps, file=sink, flush=True)


def opened(arguments):
    """Where lines go: a socket after `--to`, otherwise standard output."""
    if "--to" not in arguments:
        return sys.stdout
    host, _, port = arguments[arguments.index("--to") + 1].rpartition(":")
    return socket.create_connection((host, int(port)), timeout=10).makefile("w", encoding="ascii", newline="\n")


def main():
    folder, name = Path(sys.argv[1]), sys.argv[2]
    manifest = json.loads((folder / "manifest.json").read_text(encoding="utf-8"))
    entry = next(p for p in manifest["passes"] if p["name"] == name)["rows"]
    axes = [column["axis"] for column in manifest["columns"]]
    path = folder / entry["file"]
    with path.open(newline="", encoding="utf-8") as rows:
        header = rows.readline().rstrip("\n")
        places, columns = positions(header, axes), len(header.split(","))
        count = sum(1 for line in rows if read(line, places, columns))
    if count != entry["rows"]:
        raise SystemExit(f"refused: {count} rows, the manifest has {entry['rows']}")
    sink = opened(sys.argv)
    start = time.monotonic()
    with path.open(newline="", encoding="utf-8") as rows:
        rows.readline()
        for line in rows:
            second, steps = read(line, places, columns)
            if "--now" not in sys.argv:
                time.sleep(max(0.0, start + second - time.monotonic()))
            send(second, steps, sink)


if __name__ == "__main__":
    main()
