"""Lens, camera and glass: the pencils of rays that light a picture."""
