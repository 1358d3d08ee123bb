"""Pure drawing: from a scene to rows of text. Nothing here imports a terminal library."""
