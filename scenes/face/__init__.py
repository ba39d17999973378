"""The files of the module `brimline`, which installing puts beside this package (pyproject.toml says how)."""
