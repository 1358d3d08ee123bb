"""Every way the tool says no to a person, each with the exit code of the contract."""

from __future__ import annotations


class SteerError(Exception):
    """A message for a person; `exit_code` is what the process ends with."""

    exit_code = 1


class InputRefused(SteerError):
    """The input was refused and nothing of it was stored (exit 1).

    `problems` holds every problem found, each one line that names place, value and what is allowed.
    """

    exit_code = 1

    def __init__(self, problems: str | list[str]) -> None:
        self.problems = [problems] if isinstance(problems, str) else list(problems)
        super().__init__("\n".join(self.problems))


class CommandLineWrong(SteerError):
    """The command line cannot be meant (exit 2)."""

    exit_code = 2


class FolderUnusable(SteerError):
    """The drive folder, its drive.toml or its log cannot be used (exit 3)."""

    exit_code = 3
