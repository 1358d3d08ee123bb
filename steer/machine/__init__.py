"""The machine's own geometry: cylinders to articulation and back, and the target's lever arm."""
