"""The question `brimline widest`."""
