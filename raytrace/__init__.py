"""Light through the geometry. Opens no file, draws nothing, never sees a scene."""
