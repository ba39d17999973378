"""From lenses and wishes to the smallest box: `brimline design`."""
