"""Whether a state is clear: the beam as convex bodies, held against every part by planes that lie between the two."""
