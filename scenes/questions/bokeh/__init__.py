"""The question `brimline bokeh`."""
