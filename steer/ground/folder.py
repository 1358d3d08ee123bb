"""A scenario's drive file on disk, so that every command works on a simulated drive."""

from __future__ import annotations

from pathlib import Path
from typing import Any

INVENTED = "# Invented: a simulated drive on invented ground, no real site.\n"


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return '"' + value.replace("\\", "\\\\").replace('"', '\\"') + '"'
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{k} = {_value(v)}" for k, v in value.items()) + " }"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_value(v) for v in value) + "]"
    return repr(int(value)) if isinstance(value, int) else repr(float(value))


def drive_toml(drive: dict[str, Any], heading: str = INVENTED) -> str:
    """The text of drive.toml for a dictionary with its keys (numbers, words, lists, tables)."""
    lines = [heading]
    for name, section in drive.items():
        lines.append(f"[{name}]")
        tables = {}
        for key, value in section.items():
            if name == "machine" and isinstance(value, dict):
                tables[key] = value
            elif isinstance(value, list) and value and isinstance(value[0], dict):
                rows = "".join(f"  {_value(row)},\n" for row in value)
                lines.append(f"{key} = [\n{rows}]")
            else:
                lines.append(f"{key} = {_value(value)}")
        for key, table in tables.items():
            lines.append(f"[{name}.{key}]")
            lines.extend(f"{k} = {_value(v)}" for k, v in table.items())
        lines.append("")
    return "\n".join(lines)


def write_drive_file(drive: dict[str, Any], folder: str | Path, heading: str = INVENTED) -> Path:
    """Writes FOLDER/drive.toml, making the folder. Raises FileExistsError rather than overwrite one."""
    place = Path(folder)
    place.mkdir(parents=True, exist_ok=True)
    path = place / "drive.toml"
    with open(path, "x", encoding="utf-8") as out:
        out.write(drive_toml(drive, heading))
    return path
