"""The question `brimline masks`."""
