"""The question `brimline ghosts`."""
