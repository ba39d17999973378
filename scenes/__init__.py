"""Scene files, words and pictures: the only layer that opens files and draws."""
