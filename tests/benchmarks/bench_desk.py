"""How soon the day's list has its words after a new wind: 25 flights on two worker processes.

.venv/bin/python tests/benchmarks/bench_desk.py
"""

import os
import shutil
import tempfile
import time
from pathlib import Path

from driftmap.desk.app import make_app
from driftmap.desk.day import read_day
from driftmap.desk.desk import Desk, open_folder
from driftmap.desk.judging import FULL

ROOT = Path(__file__).parents[2]
FLIGHTS = 25


def main() -> None:
    """Serve a folder, type a reading, and time the words."""
    folder = open_folder(Path(tempfile.mkdtemp()))
    shutil.copy(ROOT / "sites" / "saltgrass-flat.geojson", folder.root / "site.geojson")
    names = ("willet", "dunlin", "whimbrel", "plover")
    for path in (
        *(ROOT / "examples").glob("*.csv"),
        *(ROOT / "examples").glob("*.toml"),
    ):
        if path.stem.startswith(names):
            shutil.copy(path, folder.root / "flights" / path.name)
    desk = Desk(folder)
    client = make_app(desk, "key", {"127.0.0.1:1"}).test_client()

    def ask(path: str, body: dict[str, object]) -> None:
        head = {"Host": "127.0.0.1:1", "X-Desk": "1"}
        answer = client.post(f"/key/{path}", json=body, headers=head)
        assert answer.status_code == 200, answer.get_json()

    for i in range(FLIGHTS):
        ask("day/add", {"file": f"flights/{names[i % 4]}.toml"})
    desk.queue.start()
    try:
        for wind in ("3 mph from 80", "5 mph from 90"):
            began = time.monotonic()
            ask("winds/take", {"text": wind})
            _wait(desk, began, wind)
    finally:
        desk.queue.stop()
    spent = os.times()
    print(
        f"of the processor the workers took {spent.children_user + spent.children_system:.0f} s "
        f"in all; the load at the end was {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores"
    )


def _wait(desk: Desk, began: float, wind: str) -> None:
    first = firsts = counts = slowest = 0.0
    while True:
        asked = time.monotonic()
        day = read_day(desk.folder)
        words = [desk.word(day, item) for item in day.items]
        slowest = max(slowest, time.monotonic() - asked)
        passed = time.monotonic() - began
        told = sum(word.told is not None for word in words)
        first = first or (passed if told else 0.0)
        firsts = firsts or (passed if told == FLIGHTS else 0.0)
        if all(word.told is not None and word.sure for word in words):
            counts = counts or passed
        if all(word.told is not None and word.told.samples >= FULL for word in words):
            break
        time.sleep(0.25)
    print(
        f"{wind}: first word {first:.1f} s, a first word for all {firsts:.1f} s, words "
        f"that count for all {counts:.1f} s, all in full {passed:.1f} s; the list was "
        f"answered within {1000 * slowest:.0f} ms"
    )


if __name__ == "__main__":
    main()
