"""Lets tests of this room import what they share with the benches, under a name of its own."""

import importlib.util
import sys
from pathlib import Path

_SUPPORT = Path(__file__).parents[1] / "support"
_HELPERS = {
    f"support_{name}": _SUPPORT / f"{name}.py" for name in ("matched", "histories", "refracted", "by_rule")
}
for _name, _path in _HELPERS.items():
    if _name not in sys.modules:
        _spec = importlib.util.spec_from_file_location(_name, _path)
        assert _spec is not None and _spec.loader is not None
        sys.modules[_name] = importlib.util.module_from_spec(_spec)
        _spec.loader.exec_module(sys.modules[_name])
