"""The terminal screens: they draw what `steer` says and compute nothing."""
