"""The question `brimline builds`."""
