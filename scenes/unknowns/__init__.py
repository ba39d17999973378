"""What of a box or lens was not measured, what stills show at other values of it, and how well stills of any shots tell it."""
