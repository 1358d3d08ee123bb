"""A steerer behind real pipes: `steer feed FOLDER` as a subprocess, JSON Lines in and out."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from types import TracebackType
from typing import Any

import numpy as np

from steer.ground import Scenario
from steer.ground.folder import write_drive_file


class FeedSteerer:
    """Drives one folder through the feed. A context manager; `advice` is the last answer, `refused` what the
    feed refused, `estimate` the face as (line, sd, level, sd). Raises RuntimeError with the feed's stderr
    when it ends before it has answered."""

    name = "feed"

    def __init__(self, scenario: Scenario, folder: str | Path, *options: str) -> None:
        write_drive_file(scenario.drive, folder)
        self._errors = open(Path(folder) / "feed_stderr.txt", "w+", encoding="utf-8")  # noqa: SIM115
        self._process = subprocess.Popen(
            [sys.executable, "-m", "steer.cli.main", "feed", str(folder), *options],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=self._errors,
            text=True,
            encoding="utf-8",
        )
        self.advice: dict[str, Any] | None = None
        self.refused: list[dict[str, Any]] = []
        self.estimate: tuple[float, float, float, float] | None = None

    def __enter__(self) -> FeedSteerer:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> int:
        """Ends the input and waits; returns the feed's exit code."""
        if self._process.stdin and not self._process.stdin.closed:
            self._process.stdin.close()
        code = self._process.wait(timeout=60)
        if self._process.stdout:
            self._process.stdout.close()
        self._errors.close()
        return code

    def _send(self, body: dict[str, Any]) -> None:
        if self._process.stdin is None or self._process.poll() is not None:
            raise RuntimeError(f"the feed has ended: {self._stderr()}")
        self._process.stdin.write(json.dumps(body) + "\n")

    def _stderr(self) -> str:
        self._errors.seek(0)
        return self._errors.read()

    def reading(self, reading: dict[str, Any]) -> None:
        self._send(reading)

    def shot(self, shot: dict[str, Any]) -> None:
        self._send(shot)

    def stroke_end(self, chainage_m: float) -> np.ndarray:
        self._send({"kind": "stroke_end", "chainage_m": round(chainage_m, 4)})
        if self._process.stdin is None or self._process.stdout is None:
            raise RuntimeError("the feed has no pipes")
        self._process.stdin.flush()
        while True:
            line = self._process.stdout.readline()
            if not line:
                raise RuntimeError(f"the feed ended without an answer: {self._stderr()}")
            answer = json.loads(line)
            if answer["kind"] == "refused":
                self.refused.append(answer)
                continue
            self.advice = answer
            seen = answer["estimate"]
            self.estimate = (seen["line_mm"], seen["line_sd_mm"], seen["level_mm"], seen["level_sd_mm"])
            return np.array(answer["correction"]["cylinder_mm"], float)
