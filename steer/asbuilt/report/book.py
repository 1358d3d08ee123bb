"""The report's pages in order, numbered, into one PDF."""

from __future__ import annotations

import warnings
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

from steer.asbuilt.record import AsBuilt
from steer.asbuilt.report import closing, cover, curves, deviations, listing, loads, plan, steering, surveys
from steer.asbuilt.report.sheet import SETTINGS, Running, Sheet
from steer.text import printable

# A page: its title, whether it lies on its side, and what draws it.
Page = tuple[str, bool, Callable[[Sheet], None]]


def pages_of(record: AsBuilt) -> list[Page]:
    """All pages. Those without anything to show are left out."""
    return [
        *cover.pages(record),
        *plan.pages(record),
        *deviations.pages(record),
        *curves.pages(record),
        *loads.pages(record),
        *surveys.pages(record),
        *steering.pages(record),
        *listing.pages(record),
        *closing.pages(record),
    ]


def write_report(record: AsBuilt, path: Path) -> None:
    """Write the PDF in the paper of drive.toml's [report]."""
    import matplotlib
    from matplotlib.backends.backend_pdf import PdfPages

    now = datetime.now(UTC)
    name = printable(record.file.drive.name)
    with matplotlib.rc_context(SETTINGS), warnings.catch_warnings():
        # a name in a script that the font lacks gives boxes, not a refusal
        warnings.filterwarnings("ignore", message="Glyph .* missing")
        pages = pages_of(record)
        running = Running(
            f"As-built record · {name}",
            f"made {now:%Y-%m-%d %H:%M} UTC",
            f"steer {record.version} · log of {record.seal.events} events, SHA-256 "
            f"{record.seal.head[:24]}… · "
            "an estimate; it advises and replaces no survey",
            record.file.report.paper,
            len(pages),
        )
        about = {
            "Title": f"As-built record: {name}",
            "Creator": f"steer {record.version}",
            "CreationDate": now,
        }
        with PdfPages(path, metadata=about) as book:
            for number, (title, landscape, draw) in enumerate(pages, 1):
                sheet = Sheet(running, number, title, landscape)
                draw(sheet)
                book.savefig(sheet.figure)
