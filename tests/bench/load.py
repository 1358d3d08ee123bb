"""Two at once, by hand: python tests/bench/load.py [SECONDS] [READINGS A SECOND] [line | stroke]

The programs themselves on one drive: `steer feed --sync line` or `stroke` is sent readings at that rate and a
stroke's end every 3,000 of them; the screen's source polls each second and draws on anything new; `steer shots`
brings a check shot every 15 s; `steer asbuilt` is made again and again. Prints the rate that was reached and
waiting times; nobody may see an error, and the log must be whole and hold every line sent, once, in order.
"""

import json
import math
import multiprocessing as mp
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "support"))

from kills import STEER, new_drive

from steer.cli.screen_source import ScreenSource
from steer.drive import Drive
from steer.errors import SteerError
from steer.log import Log

PER_M = 3000  # readings to a stroke of 1 m; the sample drive is 100 m long


def reading(number: int) -> dict:
    s = round((number + 1) / PER_M, 6)
    wave = 4.0 * math.sin(s / 3.0)
    return {
        "kind": "reading", "chainage_m": s, "spot_right_mm": round(-wave, 2), "spot_up_mm": round(-wave / 2, 2),
        "yaw_mm_per_m": round(wave / 3, 2), "pitch_mm_per_m": 4.1, "roll_deg": 0.5,
        "cylinder_mm": [36.0, 37.0, 36.0, 35.0],
    }  # fmt: skip


def screen(folder, until, out):
    took, errors = {"refresh": [], "snapshot": []}, []
    source = ScreenSource(Drive.open(folder))
    while not until.is_set():
        try:
            started = time.perf_counter()
            news = source.refresh()
            took["refresh"].append(time.perf_counter() - started)
            if news:
                started = time.perf_counter()
                source.snapshot()
                took["snapshot"].append(time.perf_counter() - started)
        except SteerError as error:
            errors.append(str(error))
        until.wait(1.0)
    out.put((took, errors))


def command(words, took, errors):
    started = time.perf_counter()
    done = subprocess.run([*STEER, *words], capture_output=True, text=True)
    took.append(time.perf_counter() - started)
    if done.returncode or done.stderr:
        errors.append(f"{words[0]} ended with {done.returncode}: {done.stderr[:300]}")


def shots(folder, until, took, errors, numbers):
    path = Path(folder).parent / "shot.csv"
    while not until.wait(15.0):
        with Log.open(folder) as log:
            s = max((float(e.body["chainage_m"]) for e in log.events(max(0, log.last_sequence() - 50))
                     if e.kind in ("reading", "stroke_end")), default=0.0)  # fmt: skip
        number = len(numbers)
        path.write_text(f"chainage_m,point,line_mm,level_mm,sd_mm,note\n{s},face,1,1,20,shot {number}\n")
        command(["shots", str(folder), str(path)], took, errors)
        numbers.append(number)


def reports(folder, until, took, errors):
    with Log.open(folder) as log:
        while log.last_sequence() < PER_M and not until.wait(1.0):
            pass  # before some advance there is nothing to report
    while not until.wait(2.0):
        command(["asbuilt", str(folder), "--json"], took, errors)


def told(name, took):
    took = sorted(took)
    if took:
        print(
            f"{name}: {len(took)} times, median {took[len(took) // 2] * 1e3:.0f} ms, 99 % "
            f"{took[len(took) * 99 // 100] * 1e3:.0f} ms, longest {took[-1] * 1e3:.0f} ms"
        )


def feed(folder, sync, seconds, rate):
    """Send at `rate` for `seconds`; lines sent, waits for an advice, seconds that it took in all."""
    running = subprocess.Popen(
        [*STEER, "feed", str(folder), "--sync", sync],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    asked, waited, refused = {}, [], []

    def listen():
        for line in running.stdout:
            answer = json.loads(line)
            if answer["kind"] == "advice":
                waited.append(time.perf_counter() - asked.pop(round(answer["chainage_m"])))
            else:
                refused.append(line)

    listener = threading.Thread(target=listen)
    listener.start()
    started, sent, ends = time.perf_counter(), 0, 0
    while (passed := time.perf_counter() - started) < seconds:
        while sent < passed * rate and time.perf_counter() - started < seconds:
            running.stdin.write(json.dumps(reading(sent)) + "\n")
            sent += 1
            if sent % PER_M == 0:
                ends += 1
                asked[ends] = time.perf_counter()
                running.stdin.write(json.dumps({"kind": "stroke_end", "chainage_m": float(ends)}) + "\n")
        running.stdin.flush()
        time.sleep(0.01)
    running.stdin.close()
    code = running.wait()
    spent = time.perf_counter() - started
    listener.join()
    assert code == 0, code
    assert not refused, refused[:3]
    assert len(waited) == ends
    return sent, waited, spent


if __name__ == "__main__":
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 600.0
    rate = float(sys.argv[2]) if len(sys.argv) > 2 else 500.0
    sync = sys.argv[3] if len(sys.argv) > 3 else "line"
    assert seconds * rate <= 100 * PER_M, "the sample drive is too short for so many"
    with tempfile.TemporaryDirectory(dir=Path.cwd(), prefix=".load-") as place:
        folder = new_drive(Path(place) / "drive")
        Log.open(folder, write=True).close()
        until, out = mp.Event(), mp.Queue()
        took, errors, numbers = {"shots": [], "report": []}, [], []
        eye = mp.Process(target=screen, args=(folder, until, out))
        hands = [
            threading.Thread(target=shots, args=(folder, until, took["shots"], errors, numbers)),
            threading.Thread(target=reports, args=(folder, until, took["report"], errors)),
        ]
        for worker in (eye, *hands):
            worker.start()
        try:
            sent, waited, spent = feed(folder, sync, seconds, rate)
        finally:
            until.set()
            seen, more = out.get()
            for worker in (eye, *hands):
                worker.join()
        errors += more
        print(
            f"feed --sync {sync}: {sent} readings in {spent:.0f} s, {sent / spent:.0f}/s of {rate:.0f}/s asked"
        )
        told("advice at a stroke's end, from the line sent", waited)
        told("screen, what is new", seen["refresh"])
        told("screen, the drive drawn anew", seen["snapshot"])
        told("steer shots", took["shots"])
        told("steer asbuilt", took["report"])
        print(f"{len(errors)} errors {errors[:3]}")
        with Log.open(folder) as log:
            fed = [e.body["chainage_m"] for e in log.events() if e.kind == "reading"]
            kept = [e.body["note"] for e in log.events() if e.kind == "check_shot"]
        assert fed == [reading(k)["chainage_m"] for k in range(sent)], "readings"
        assert kept == [f"shot {k}" for k in numbers], "shots"
        done = subprocess.run([*STEER, "verify", str(folder)], capture_output=True, text=True)
        print(
            f"{len(fed)} readings and {len(kept)} shots there once and in order\n{done.stdout}{done.stderr}"
        )
        assert done.returncode == 0
    sys.exit(bool(errors))
