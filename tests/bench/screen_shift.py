"""A 12-hour shift of the operator's screen in a few minutes: memory, and key to screen.

    python tests/bench/screen_shift.py

Headless, over an invented drive: a new snapshot every simulated reading (one in 20 s, 2,160 in all) and a
key now and then; the path grows to 1 km with 100,000 points. Prints memory by the hour and the median
time from a key to the drawn screen.
"""

from __future__ import annotations

import asyncio
import statistics
import sys
import time
from dataclasses import replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent / "support"))

READINGS = 2160
POINTS = 100_000


def memory_mb() -> float:
    """Resident memory now."""
    with open("/proc/self/status", encoding="ascii") as status:
        line = next(text for text in status if text.startswith("VmRSS"))
    return int(line.split()[1]) / 1024


async def main() -> None:
    import fake_drive
    import numpy as np

    from steer.advice import Path as Driven
    from tui.app import SteerApp

    base = fake_drive.good()
    chainage = np.linspace(0.0, 990.0, POINTS)
    line = 20.0 * np.sin(chainage / 20.0)
    spread = np.full(POINTS, 2.0)

    def at(number: int):
        upto = int(POINTS * (0.5 + 0.5 * number / READINGS))
        path = Driven(chainage[:upto], line[:upto], spread[:upto], 0.5 * line[:upto], spread[:upto])
        face = float(chainage[upto - 1])
        advice = replace(base.advice, chainage_m=face, stroke=int(face))
        return replace(
            base,
            advice=advice,
            path=path,
            end_chainage_m=1000.0,
            readings_used=upto,
            log_sequence=upto,
            extra={},
        )

    drive = fake_drive.FakeDrive(at(0))
    app = SteerApp(drive, poll_s=3600.0)
    keys, worked = [], []
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        for number in range(1, READINGS + 1):
            drive.put(at(number))
            await app.look()
            if number % 20 == 0:
                page = app.screen.query_one("#page")
                before = page.text
                start, busy = time.perf_counter(), time.process_time()
                app.post_message(_key("z"))
                while page.text == before:
                    await asyncio.sleep(0)
                keys.append(time.perf_counter() - start)
                worked.append(time.process_time() - busy)
            if number % 360 == 0:
                await pilot.press("2", "l", "1")
                print(f"{number / 180:4.0f} h: {memory_mb():.0f} MB")
        await pilot.press("q")
    print(f"key to drawn rows, 80 by 24, {POINTS:,} points: median {1000 * statistics.median(keys):.1f} ms, "
          f"worst {1000 * max(keys):.1f} ms; processor time, median {1000 * statistics.median(worked):.1f} ms")  # fmt: skip


def _key(name: str):
    from textual.events import Key

    return Key(name, name)


if __name__ == "__main__":
    asyncio.run(main())
