"""What is wrong with a mesh file that contradicts itself."""


class DamagedMeshError(ValueError):
    """A file that contradicts itself; the text is what is wrong with it."""
