"""The as-built report as PDF (matplotlib): black on white, told by line and hatch, never by colour alone."""

from steer.asbuilt.report.book import write_report

__all__ = ["write_report"]
