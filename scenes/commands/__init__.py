"""The commands of `brimline`, one module each, imported when called."""
