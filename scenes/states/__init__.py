"""From a scene to one lens at one zoom, focus and stop, and what a clear frame needs."""
